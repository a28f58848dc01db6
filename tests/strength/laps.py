"""Laps to vary by keywords, and stresses made by hand, for the tests of strength."""

from __future__ import annotations

from typing import Any

import numpy as np

from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Joint, Load, SingleLap, SteppedLap
from fejoint.joint.strength import StrengthRules
from fejoint.strength.field import Field, Line

# Round figures of the order of aluminium and of an epoxy: stand-ins, no material's data. Invented door sill of a cable-car cabin.
METAL = {
    "elastic_modulus": 70_000.0,
    "poisson_ratio": 0.33,
    "expansion": 23e-6,
    "tensile_yield": 250.0,
    "tensile_strength": 300.0,
}
GLUE = {
    "elastic_modulus": 2_000.0,
    "poisson_ratio": 0.35,
    "expansion": 60e-6,
    "tensile_yield": 30.0,
    "shear_yield": 20.0,
    "shear_strength": 30.0,
    "tensile_strength": 45.0,
    "failure_shear_strain": 0.1,
    "toughness_mode_1": 0.4,
    "toughness_mode_2": 0.8,
}
WIDTH, LAYER = 25.0, 0.2
QUICK = ("stress", "plateau", "energy", "adherend")  # the cohesive zone takes many times as long, and has tests of its own


def without(figures: dict[str, Any], *keys: str) -> dict[str, Any]:
    """Return figures less some."""
    return {key: value for key, value in figures.items() if key not in keys}


def made(
    geometry: Any, *, adhesive: Any = GLUE, rules: Any = None, force=2500.0, temperature=0.0, load=None, **analysis
) -> Joint:
    """Return a joint of a geometry."""
    return Joint(
        geometry=geometry,
        adhesive=Adhesive(**adhesive),
        load=Load(force=force, temperature_change=temperature, **(load or {})),
        analysis=Analysis(**analysis),
        strength=StrengthRules(**(rules or {})),
    )


def single(
    *, overlap=12.5, lower=METAL, upper=METAL, thickness=(1.6, 1.6), arm=50.0, layer=LAYER, spew="square", **rest: Any
) -> Joint:
    """Return a single lap."""
    parts = [Adherend(material=m, thickness=t, free_length=arm) for m, t in zip((lower, upper), thickness, strict=True)]
    geometry = SingleLap(width=WIDTH, overlap_length=overlap, bondline_thickness=layer, spew=spew, lower=parts[0], upper=parts[1])
    return made(geometry, **rest)


def double(*, overlap=20.0, inner=METAL, outer=METAL, thickness=(3.0, 1.5), arm=30.0, layer=LAYER, **rest: Any) -> Joint:
    """Return a double lap."""
    parts = [Adherend(material=m, thickness=t, free_length=arm) for m, t in zip((inner, outer), thickness, strict=True)]
    return made(DoubleLap(width=WIDTH, overlap_length=overlap, bondline_thickness=layer, inner=parts[0], outer=parts[1]), **rest)


def stepped(*, steps=3, overlap=24.0, thickness=4.0, arm=30.0, layer=LAYER, material=METAL, **rest: Any) -> Joint:
    """Return a stepped lap."""
    part = Adherend(material=material, thickness=thickness, free_length=arm)
    geometry = SteppedLap(width=WIDTH, overlap_length=overlap, steps=steps, bondline_thickness=layer, lower=part, upper=part)
    return made(geometry, **rest)


def line(x, unit, base=None, number=1, level="middle", shares=2, strain=None) -> Line:
    """Return a line with the stresses `base` (3, m) at share 0, and `unit` more at share 1, 2, ..."""
    base = np.zeros_like(unit) if base is None else base
    stress = np.stack([base + k * unit for k in range(shares)])
    return Line(number, level, float(x[0]), float(x[-1]), np.asarray(x), stress, strain)


def field(joint: Joint, *lines: Line, shares=(0.0, 1.0), endless=True, why="", sections=((), ())) -> Field:
    """Return a field of stresses made by hand."""
    return Field(joint, 1.0, np.array(shares), lines, sections, endless, why)
