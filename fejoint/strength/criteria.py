"""Criteria on the stress field: which stress, where, against which limit, and the share of the load at which it is met.

A criterion's index is 1 where the bond is at its limit. Four measures of
stress (shear, peel, both by the root of their squares, largest principal
stress), each in three forms: at its peak, at a point at a distance from the
overlap's end, and averaged over a length from there. Peaks are those of the
mid-line (or of the interfaces, which are taken clear of the singular
corners); point and average forms need a distance that no single test gives.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from fejoint.bondline.curves import Curve
from fejoint.joint.materials import Adhesive
from fejoint.strength.capacity import Capacity
from fejoint.strength.field import STRESSES, Field, Line

__all__ = ["FORMS", "MEASURES", "Form", "Measure", "PathEndedError", "first_share", "met", "shear_limit_key", "stress_capacities"]

Floats = NDArray[np.float64]

# Shares of the load between which the first that meets a criterion is sought, where stresses do not start from nothing.
FARTHEST = 1e9  # beyond it is round-off: this stress does not grow with the load
PIECES = 64


class PathEndedError(Exception):
    """A load's path ended, and says why, before a criterion was met."""


@dataclass(frozen=True)
class Measure:
    """What of the stress counts, over its limit."""

    key: str
    name: str
    needs: tuple[str, ...]
    index: Callable[[Floats, Floats, Floats, dict[str, float]], Floats]
    bias: str
    source: str


@dataclass(frozen=True)
class Form:
    """Where the stress is taken: by its distance from the end of the overlap, or of any stretch that flaws leave bonded."""

    key: str
    name: str
    bias: str
    source: str


def _principal(shear: Floats, peel: Floats, axial: Floats, limit: dict[str, float]) -> Floats:
    along = np.where(np.isnan(axial), 0.0, axial)
    return np.asarray(((along + peel) / 2 + np.hypot((along - peel) / 2, shear)) / limit["tensile"])


def _interaction(shear: Floats, peel: Floats, axial: Floats, limit: dict[str, float]) -> Floats:
    return np.asarray(np.hypot(shear / limit["shear"], np.maximum(peel, 0.0) / limit["tensile"]))


MEASURES = (
    Measure(
        "shear",
        "shear",
        ("shear",),
        lambda shear, peel, axial, limit: np.abs(shear) / limit["shear"],
        "leaves peel out: too high where the overlap's end opens",
        "common practice, no source",
    ),
    Measure(
        "peel",
        "peel",
        ("tensile",),
        lambda shear, peel, axial, limit: np.maximum(peel, 0.0) / limit["tensile"],
        "leaves shear out",
        "common practice, no source",
    ),
    Measure(
        "interaction",
        "shear and peel, root of squares",
        ("shear", "tensile"),
        _interaction,
        "an ellipse is a guess at how the two act together",
        "common practice, no source",
    ),
    Measure(
        "principal",
        "largest principal stress",
        ("tensile",),
        _principal,
        "in the plane; for brittle adhesives, takes shear to break at the tensile strength",
        "common practice, no source",
    ),
)
FORMS = (
    Form(
        "peak",
        "peak",
        "elastic peaks are relieved by flow: too low for all but brittle adhesives, the more the longer the overlap",
        "common practice, no source",
    ),
    Form(
        "point",
        "at a point",
        "the distance must be found by tests of the same adhesive and bondline; untested, the load is a guess",
        "from memory: Whitney & Nuismer, J. Compos. Mater. 8, 1974, 253-265, of notched laminates; for bonds common practice",
    ),
    Form(
        "mean",
        "averaged",
        "the length must be found by tests of the same adhesive and bondline; untested, the load is a guess",
        "from memory: Whitney & Nuismer, J. Compos. Mater. 8, 1974, 253-265; a length four times the point's distance "
        "by the theory of critical distances (from memory: Taylor, 2007)",
    ),
)


def shear_limit_key(joint_rule: str) -> str:
    """Return the adhesive's key of the shear stress that is allowed."""
    return {"strength": "shear_strength", "yield": "shear_yield"}[joint_rule]


def stress_capacities(field: Field, distance: float, length: float) -> list[Capacity]:
    """Return the load by every measure and form on one field.

    Parameters
    ----------
    field : Field
    distance, length : float, mm
        Of the point from the ends of every bonded stretch, and averaged over.
    """
    rules, adhesive = field.joint.strength, field.joint.adhesive
    keys = {"shear": shear_limit_key(rules.shear_limit), "tensile": "tensile_strength"}
    found = []
    for measure in MEASURES:
        figures = {keys[name]: getattr(adhesive, keys[name]) for name in measure.needs}
        missing = [key for key, value in figures.items() if value is None]
        for form in FORMS:
            found.append(_capacity(field, measure, form, distance, length, figures, missing))
    found.append(_strain_capacity(field, adhesive))
    return found


def first_share(index: Callable[[float], float], field: Field) -> float:
    """Return the least share of the loads at which an index reaches 1: 0 where none is needed, infinite where it never does.

    Raises
    ------
    PathEndedError
        It is not reached on the load's path.
    """
    if index(0.0) >= 1:
        return 0.0
    if field.endless:
        start = index(1.0)
        # In proportion, where nothing acts but the loads: one Newton step from a first guess by proportion brackets it.
        guess = 1 / start if start > 0 and math.isfinite(start) else 1.0
        low, high = 0.0, guess / PIECES
        while high < FARTHEST * max(guess, 1.0):
            if index(high) >= 1:
                share = float(brentq(lambda share: index(share) - 1, low, high, xtol=1e-12, rtol=1e-10))
                return share if share < FARTHEST else math.inf
            low, high = high, high + guess / PIECES if high < 2 * guess else 2 * high
        return math.inf
    for low, high in zip(field.shares[:-1], field.shares[1:], strict=True):
        if index(high) >= 1:
            return float(brentq(lambda share: index(share) - 1, low, high, xtol=1e-12, rtol=1e-10))
    raise PathEndedError(field.why_ended)


def met(
    made: Capacity, field: Field, index: Callable[[float], float], never: str = "nowhere: it does not grow with the load"
) -> Capacity:
    """Return a capacity with the load at which its index reaches 1: with the reason where the path ended before."""
    try:
        share = first_share(index, field)
    except PathEndedError as error:
        return replace(made, reason=f"not met where the load's path ended: {error}")
    if not math.isfinite(share):
        return replace(made, factor=math.inf, force=math.inf, place=never)
    return replace(made, factor=share, force=share * field.joint.load.force)


def _taken(line: Line, form: Form, distance: float, length: float) -> tuple[Floats, Floats]:
    """Return the places that a form looks at, and the stresses there at every share, (shares, 3, places).

    All forms are linear in the stress, so that between shares these run straight as the curves do.
    """
    curves = [Curve(line.x, *stress) for stress in line.stress]
    first, last = float(line.x[0]), float(line.x[-1])
    if form.key == "mean":
        reach = min(length, last - first)
        parts = [[curve.part(first, first + reach), curve.part(last - reach, last)] for curve in curves]
        means = [[[part.mean(name) for part in both] for name in STRESSES] for both in parts]
        return np.array([first + reach / 2, last - reach / 2]), np.array(means)
    if form.key == "peak":  # between the curve's points, too, where it is quadratic
        x = np.unique(np.concatenate([line.x, (line.x[1:] + line.x[:-1]) / 2]))
    else:
        inside = min(distance, (line.right - line.left) / 2)
        x = np.clip([line.left + inside, line.right - inside], first, last)
    return x, np.array([[curve.at(x, name) for name in STRESSES] for curve in curves])


def _capacity(
    field: Field,
    measure: Measure,
    form: Form,
    distance: float,
    length: float,
    figures: dict[str, float],
    missing: list[str],
) -> Capacity:
    joint = field.joint
    at_interface = joint.strength.failure_at == "interface"
    lines = [line for line in field.lines if (line.level != "middle") == at_interface]
    made = Capacity(
        key=f"{measure.key}-{form.key}",
        name=f"{measure.name}, {form.name}",
        route="stress",
        mode=joint.strength.bond_mode,
        distance={"peak": math.nan, "point": distance, "mean": length}[form.key],
        density=field.density,
        figures={key: value for key, value in figures.items() if value is not None},
        bias=f"{measure.bias}; {form.bias}",
        source=f"{measure.source}; {form.source}" if measure.source != form.source else measure.source,
    )
    if missing:
        return replace(made, reason=f"needs adhesive.{missing[0]}; add it")
    if not lines:
        return replace(made, reason="no stretch that the flaws leave is long enough to be clear of both its ends")
    limit = {"shear" if key.startswith("shear") else "tensile": value for key, value in made.figures.items()}
    taken = [(line, *_taken(line, form, distance, length)) for line in lines]

    def highest(share: float) -> tuple[float, Line, float]:
        best: tuple[float, Line, float] = (-1.0, lines[0], math.nan)
        for line, x, stress in taken:
            shear, peel, axial = field.between(stress, share)
            index = measure.index(shear, peel, axial, limit)
            k = int(np.argmax(np.where(np.isnan(index), -1.0, index)))
            # Of ends that are equal but for round-off, the first.
            if index[k] > best[0] * (1 + 1e-6):
                near = np.flatnonzero(index >= index[k] - 1e-6 * abs(index[k]))
                best = float(index[k]), line, float(x[near[0]])
        return best

    found = met(made, field, lambda share: highest(share)[0], "nowhere: this stress does not grow with the load")
    if not found.is_met:
        return found
    _, line, x = highest(found.factor)
    return replace(found, place=_place(line, x), bondline=line.number, x=x)


def _strain_capacity(field: Field, adhesive: Adhesive) -> Capacity:
    limit = adhesive.failure_shear_strain
    made = Capacity(
        key="strain-peak",
        name="shear strain, peak",
        route="stress",
        mode="cohesive",
        density=field.density,
        figures={} if limit is None else {"failure_shear_strain": limit},
        bias="the strain at which a thick-adherend coupon breaks; leaves peel out; grows as the mesh gets finer",
        source="from memory: Hart-Smith, NASA CR-112236, 1973, whose joints fail at a shear strain",
    )
    lines = [line for line in field.lines if line.strain is not None]
    if limit is None:
        return replace(made, reason="needs adhesive.failure_shear_strain; add it")
    if not lines or field.joint.analysis.adhesive_model != "plastic":
        return replace(made, reason='needs analysis.adhesive_model = "plastic": an elastic strain falls short of it')

    def highest(share: float) -> tuple[float, Line, float]:
        best: tuple[float, Line, float] = (-1.0, lines[0], math.nan)
        for line in lines:
            strain = np.abs(np.asarray(field.strain(line, share)))
            k = int(np.argmax(strain))
            if strain[k] / limit > best[0] * (1 + 1e-6):
                best = float(strain[k] / limit), line, float(line.x[k])
        return best

    found = met(made, field, lambda share: highest(share)[0])
    if not found.is_met:
        return found
    _, line, x = highest(found.factor)
    return replace(found, place=_place(line, x), bondline=line.number, x=x)


def _place(line: Line, x: float) -> str:
    where = {"middle": "mid-line", "lower": "lower interface", "upper": "upper interface"}[line.level]
    return f"bondline {line.number}, {where}, x = {x:.4g} mm"
