"""Adherends that yield, break or buckle, and the bond that yields as a whole: loads that no stress peak decides."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from fejoint.bondline.edge_moment import buckling_share
from fejoint.joint.description import Joint
from fejoint.joint.materials import Orthotropic
from fejoint.mechanics.load_path import AdherendSection
from fejoint.strength.capacity import Capacity
from fejoint.strength.criteria import met, shear_limit_key
from fejoint.strength.field import Field
from fejoint.strength.stretches import bonded_left

__all__ = ["adherend_capacities", "buckling_capacity", "plateau_capacity"]


@dataclass(frozen=True)
class _Limit:
    """How a section of an adherend reaches its limit: which figure, of what."""

    key: str
    name: str
    figure: str
    mode: str
    index: Callable[[AdherendSection, float], float]
    bias: str
    source: str


def _through(section: AdherendSection, limit: float) -> float:
    return abs(section.axial_stress) / limit


def _on_the_face(section: AdherendSection, limit: float) -> float:
    return section.peak_stress / limit


def _hinge(section: AdherendSection, limit: float) -> float:
    full = limit * section.thickness
    return abs(section.axial / full) ** 2 + 4 * abs(section.moment or 0.0) / (full * section.thickness)


LIMITS = (
    _Limit(
        "adherend-net-yield",
        "adherend yields through its thickness",
        "tensile_yield",
        "adherend-yield",
        _through,
        "load over thickness, bending left out; a wide sheet yields up to 15 % later in plane strain",
        "common practice, no source",
    ),
    _Limit(
        "adherend-face-yield",
        "adherend begins to yield on its face",
        "tensile_yield",
        "adherend-yield",
        _on_the_face,
        "beam stress N/t + 6 M/t^2 where the adherend enters the overlap or is held: the first yield, not the last load; linear "
        "elasticity has too large a moment, and so too small a load, where the joint straightens",
        "beam theory",
    ),
    _Limit(
        "adherend-hinge",
        "adherend yields all through in bending",
        "tensile_yield",
        "adherend-yield",
        _hinge,
        "(N/N_y)^2 + M/M_y = 1 of a rectangle that does not harden, M_y = yield stress t^2/4; the moment as for first yield",
        "limit analysis of a rectangular section under tension and bending",
    ),
    _Limit(
        "adherend-rupture",
        "adherend breaks",
        "tensile_strength",
        "adherend-rupture",
        _through,
        "load over thickness against tensile strength; holes, welds and bending left out",
        "common practice, no source",
    ),
)


def adherend_capacities(field: Field) -> list[Capacity]:
    """Return the load at which an adherend yields (three measures) or breaks, each the least of all adherends and places."""
    return [_capacity(field, limit) for limit in LIMITS]


def plateau_capacity(joint: Joint) -> Capacity:
    """Return the load at which all of the bond carries the shear stress that is allowed: global yielding of the bondline.

    What flaws or a disbond have parted carries nothing.
    """
    key, geometry = shear_limit_key(joint.strength.shear_limit), joint.geometry
    limit, force = getattr(joint.adhesive, key), joint.load.force
    made = Capacity(
        key="plateau",
        name="bondline yields as a whole",
        route="plateau",
        mode=joint.strength.bond_mode,
        figures={} if limit is None else {key: limit},
        bias="the most that the bond can pass on by shear: met by tough adhesives on short overlaps, never exceeded by more than "
        "friction; leaves peel out",
        source="limit analysis: shear stress times bonded area",
    )
    if limit is None:
        return replace(made, reason=f"needs adhesive.{key}; add it")
    if not force:
        return replace(made, reason="needs a force along the joint: load.force is 0 N")
    borne = limit * bonded_left(joint) * geometry.width
    left = "the flaws leave" if joint.flaws else "the disbond leaves" if joint.strength.disbond else ""
    place = f"all along what {left}" if left else "all along"
    return replace(made, factor=borne / abs(force), force=math.copysign(borne, force), place=place)


def buckling_capacity(joint: Joint) -> list[Capacity]:
    """Return the compression at which a joint buckles; nothing in tension.

    A load's path with large rotation may run past it: a lap of like adherends bends antisymmetrically, and buckles
    symmetrically.
    """
    if joint.load.force >= 0:
        return []
    factor = 1 / buckling_share(joint)
    return [
        Capacity(
            key="buckling",
            name="joint buckles",
            route="adherend",
            mode="buckling",
            factor=factor,
            force=factor * joint.load.force,
            place="as a whole",
            bias="of straight parts held as the ends are: a lap is bent from the start, and its stresses grow beyond those of "
            "linear elasticity well below this load; analysis.large_rotation = true follows them",
            source="frame of beams; its ends and stiffness are the joint's",
        )
    ]


def _capacity(field: Field, limit: _Limit) -> Capacity:
    adherends = field.joint.geometry.adherends()
    figures, missing = {}, []
    for name, adherend in adherends.items():
        value = None if isinstance(adherend.material, Orthotropic) else getattr(adherend.material, limit.figure)
        key = f"joint.{field.joint.geometry.adherend_key(name)}.material.{limit.figure}"
        if value is None:
            missing.append(key)
        else:
            figures[key] = float(value)
    of = {name: figures.get(f"joint.{field.joint.geometry.adherend_key(name)}.material.{limit.figure}") for name in adherends}
    made = Capacity(
        key=limit.key,
        name=limit.name,
        route="adherend",
        mode=limit.mode,
        density=field.density,
        figures=figures,
        bias=limit.bias,
        source=limit.source,
    )
    if missing:  # the one of which nothing is known may be the first to give way
        return replace(made, reason=f"needs {missing[0]}; add it (isotropic adherends only)")

    def highest(share: float) -> tuple[float, AdherendSection]:
        # At steps no moment is known: what bends there is left out of measures that need it.
        indices = [
            (limit.index(s, float(of[s.adherend] or math.inf)), s)
            for s in field.sections_at(share)
            if s.moment is not None or limit.index is _through
        ]
        return max(indices, key=lambda pair: pair[0])

    # The load in an arm is the load on the joint, on its path and beyond the path's end; at a step it is not.
    plain = limit.index is _through and all(s.place != "step" for s in field.sections[0])
    found = met(made, replace(field, endless=True) if plain else field, lambda share: highest(share)[0])
    if not found.is_met:
        return found
    _, section = highest(found.factor)
    where = {"overlap": "where it enters the overlap", "end": "at its end", "step": "at a step"}[section.place]
    place = f"{section.adherend.replace('_', ' ')}, {where}, x = {section.x:.4g} mm"
    return replace(found, place=place, x=section.x)
