"""Adherends that yield, break or buckle, and the bond that yields as a whole: loads that no stress peak decides."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from fejoint.bondline.closed_form.grid import axial_modulus
from fejoint.bondline.edge_moment import buckling_share
from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap
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
    factor = 1 / buckling_share(_without_parted_ends(joint))
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
        ),
        *_beside_flaws(joint),
    ]


def _beside_flaws(joint: Joint) -> list[Capacity]:
    """Return the compression at which an adherend buckles off a flaw between two bonded stretches; nothing without one.

    A strip as long as the flaw, clamped where the bond goes on: 4 pi^2 D / a^2 of a width of one, D = E' t^3 / 12. All of
    the force is taken to be in it, which is so at one end of the overlap and no more than so elsewhere.
    """
    found: list[tuple[float, str]] = []
    parts, bonds = joint.geometry.adherends(), {bond.number: bond for bond in joint.geometry.bonds()}
    for flaw in joint.merged_flaws().flaws:
        bond = bonds[flaw.bondline]
        if flaw.start <= bond.start or flaw.end >= bond.end or isinstance(joint.geometry, SteppedLap):
            continue  # what ends there bears nothing there; a stair's adherends are as thick as the whole on one side
        for name in (bond.below, bond.above):
            bending = axial_modulus(parts[name].material) * parts[name].thickness ** 3 / 12
            found.append((4 * math.pi**2 * bending / flaw.length**2, f"{name.replace('_', ' ')}, at the {flaw}"))
    if not found:
        return []
    thrust, place = min(found)
    factor = thrust / -joint.line_load
    return [
        Capacity(
            key="buckling-flaw",
            name="adherend buckles beside a flaw",
            route="adherend",
            mode="buckling",
            factor=factor,
            force=factor * joint.load.force,
            place=place,
            bias="all of the force in the one adherend, which is too low a load where others share it; clamped where the bond "
            "goes on, which is too high where the layer is soft",
            source="Euler's clamped strip; of a delamination (from memory): Chai et al., Int. J. Solids Struct. 17, 1981",
        )
    ]


def _without_parted_ends(joint: Joint) -> Joint:
    """Return a joint as its frame is: where all bondlines are parted from an end on, the overlap ends there, arms longer."""
    g = joint.geometry
    flaws = joint.merged_flaws().flaws
    if not flaws or isinstance(g, SteppedLap):
        return joint
    numbers = [bond.number for bond in g.bonds()]
    left = min(max([f.length for f in flaws if f.bondline == n and f.start <= 0] or [0.0]) for n in numbers)
    right = min(max([f.length for f in flaws if f.bondline == n and f.end >= g.length] or [0.0]) for n in numbers)
    if not left and not right:
        return joint
    longer = {
        g.adherend_key(name): part.replace(free_length=part.free_length + (left if g.entries()[name] == 0.0 else right))
        for name, part in g.adherends().items()
    }
    shorter = g.replace(overlap_length=g.length - left - right, bondline_taper=0.0, **longer)  # a frame knows no taper
    return joint.replace(flaws=(), geometry=shorter, strength=joint.strength.replace(disbond=None))


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
