"""Stretches that flaws cut off: at which load one of them gives way on its own.

All of a bond can be at its strength at once only where it is no longer than the zone in which it gives way
(`fejoint.strength.advice`): beyond that the adherends' stretch makes the layer at one end slip and open past its limit
before the other end is loaded. A stretch that is shorter than the zone, and parted from the next one by a flaw whose
far end lies beyond the zone, so bears what it is given by the adherends until it is at its strength, and then gives
way as a whole, by itself. The load of that is counted; what is left may bear more afterwards, or not, which is not
relied upon. (Beside a cohesive zone: `tests/strength/test_cohesive_flaws.py`.)
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fejoint.strength.capacity import Capacity
from fejoint.strength.criteria import met, shear_limit_key
from fejoint.strength.field import Field, Line
from fejoint.strength.stretches import Stretch, stretches

__all__ = ["cut_off", "ligament_capacity"]


def cut_off(parts: list[Stretch], zone: float) -> list[Stretch]:
    """Return which stretches of a bondline bear on their own; `zone` (mm) is the length in which its bond gives way."""

    def alone(part: Stretch) -> bool:
        length = part.end - part.start
        flaws = [flaw for flaw in (part.left, part.right) if flaw is not None]
        return length < zone and bool(flaws) and all(length + flaw.length > zone for flaw in flaws)

    return [part for part in parts if alone(part)] if len(parts) > 1 else []


def ligament_capacity(field: Field, zone: float) -> list[Capacity]:
    """Return the load at which the first stretch that flaws cut off gives way; nothing where none is cut off.

    The mean of shear and peel along its mid-line is held against the strengths, by the root of squares.

    Parameters
    ----------
    field : Field
        Of the joint with its flaws.
    zone : float, mm
        NaN where it is not known: then none is taken as cut off.
    """
    joint, adhesive = field.joint, field.joint.adhesive
    alone = [part for parts in stretches(joint).values() for part in cut_off(parts, zone)]
    lines = [line for part in alone for line in field.lines if line.level == "middle" and _of(line, part)]
    if not lines:
        return []
    keys = [shear_limit_key(joint.strength.shear_limit), "tensile_strength"]
    figures = {key: getattr(adhesive, key) for key in keys}
    made = Capacity(
        key="ligament",
        name="a stretch cut off by flaws gives way",
        route="stress",
        mode=joint.strength.bond_mode,
        density=field.density,
        figures={key: value for key, value in figures.items() if value is not None},
        bias="elastic stress shared out over the stretch: up to a fifth too high; what is left then may bear more, which is not "
        "counted",
        source="derived; beside a cohesive zone in the tests",
    )
    missing = next((key for key, value in figures.items() if value is None), None)
    if missing is not None:
        return [replace(made, reason=f"needs adhesive.{missing}; add it")]

    def index(line: Line, share: float) -> float:
        curve = field.curve(line, share)
        shear, peel = (curve.mean(name) / figures[key] for name, key in zip(("shear", "peel"), keys, strict=True))
        return float(np.hypot(shear, max(peel, 0.0)))

    found = met(made, field, lambda share: max(index(line, share) for line in lines))
    if not found.is_met:
        return [found]
    worst = max(lines, key=lambda line: index(line, found.factor))
    place = f"bondline {worst.number}, from {worst.left:.4g} to {worst.right:.4g} mm"
    return [replace(found, place=place, bondline=worst.number, x=(worst.left + worst.right) / 2)]


def _of(line: Line, part: Stretch) -> bool:
    return line.number == part.bond.number and line.left == part.start and line.right == part.end
