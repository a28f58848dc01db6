"""Energy release rates at every tip of a joint's flaws under its load, by the two ways of `fejoint.mechanics.closure`.

All flaws are in the mesh at once, so that they act on one another. A disbond's tip in the middle of the layer has parts of
opening and shear; one at an interface, as an unwetted patch has, a total alone. A void has no sharp tip: it is taken as
a disbond in the middle of the layer, longer by half the layer's thickness at each end. Near the free end of a layer
the layer bears little, so that such a disbond sets free what the void does as it grows, within 3 % (measured:
`tests/mechanics/test_flaw_release.py`; one as long as the void up to 15 % less).

With small rotations one factored section answers for every multiple of the load; with large ones the load's path is
followed (`fejoint.mechanics.energy_release`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError, MeshError
from fejoint.joint.description import Joint
from fejoint.joint.disbond import LEAST_AHEAD
from fejoint.joint.families import SteppedLap
from fejoint.joint.flaws import Flaw
from fejoint.mechanics.closure import Field, closure, field_of, j_integral, turn_about
from fejoint.mechanics.disbond import Tip, tips_of
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.energy_release import AGREEMENT, CONTOURS, Rates, deformed_field, lap_caution, rates_at, rates_of
from fejoint.mechanics.linear import Pattern, Solution, assemble, laws_of, pattern_of, solve_linear
from fejoint.mechanics.newton import Problem
from fejoint.mechanics.nonlinear import Deformed, follow, problem_of
from fejoint.mechanics.reuse import Kept, mesh_key, system_key
from fejoint.mechanics.section import mesh_section

__all__ = ["TipRelease", "as_cracks", "flaw_release", "flaws_rotating", "released_at_tips"]

Floats = NDArray[np.float64]

# Bondline thicknesses that stay between what a void is taken for and the next flaw, or end: nearer, both would be one.
LEFT_BETWEEN = LEAST_AHEAD * (1 + 1e-6)
# Of a tapering layer's thickness: how far boxes reach at most, since its interfaces lean.
TAPERED = 2.0
# Of the layer's thickness: how near the tip of a mesh lies to the edge of its flaw.
SAME_PLACE = 1e-3


@dataclass(frozen=True, eq=False)
class TipRelease:
    """Energy release rates at one tip of a flaw under a joint's load.

    Attributes
    ----------
    joint : Joint
    flaw : Flaw
        Merged, as `Joint.merged_flaws` gives it; its `kind` is that of the joint, also where it is taken as a disbond.
    side : str
        ``"left"`` or ``"right"``: which end of the flaw it is.
    x, y : float, mm
        Of the tip.
    opening, shear, total : float, N/mm
        As of `EnergyRelease`; the parts are NaN at an interface.
    j_integrals, contours : tuples of float, N/mm and mm
    terms, gap : (3, 2) and (2,) arrays, or None
        As of `EnergyRelease`.
    closed : bool
        Whether the faces are pressed together at the tip, so that opening counts as 0; contact is not in the analysis.
    warnings : tuple of str
    """

    joint: Joint
    flaw: Flaw
    side: str
    x: float
    y: float
    opening: float
    shear: float
    total: float
    j_integrals: tuple[float, ...]
    contours: tuple[float, ...]
    terms: Floats | None
    gap: Floats | None
    closed: bool
    warnings: tuple[str, ...]

    @property
    def split(self) -> bool:
        """Whether the parts of opening and shear mean something: in the middle of the layer."""
        return self.flaw.level in ("middle", "all")

    @property
    def rates(self) -> Rates:
        """The rates of opening and shear and their total, N/mm."""
        return Rates(self.opening, self.shear, self.total)

    @property
    def place(self) -> str:
        """Where it is, in words."""
        return f"{self.side} tip of the {self.flaw}, x = {self.x:.4g} mm, bondline {self.flaw.bondline}"

    def at(self, factor: float) -> Rates:
        """Return the rates under a multiple of the loads (`EnergyRelease.at`); JointError where rotations are large."""
        if self.terms is None or self.gap is None:
            raise JointError("energy release under another load: with large rotations solve the joint under that load.")
        return rates_at(self.terms, self.gap, factor, self.split)


def as_cracks(joint: Joint) -> Joint:
    """Return a joint whose flaws are merged, and whose voids are disbonds in the middle of the layer, a little longer.

    They are longer by half the layer's thickness at each end, or by what keeps them from being merged with what is next.
    """
    flaws, ta = joint.merged_flaws().flaws, joint.geometry.bondline_thickness
    bonds = {bond.number: bond for bond in joint.geometry.bonds()}
    cracks = []
    for flaw in flaws:
        if flaw.kind == "void":
            low, high = bonds[flaw.bondline].start, bonds[flaw.bondline].end
            others = [other for other in flaws if other.bondline == flaw.bondline and other is not flaw]
            left = [(flaw.start - low, 1), *((flaw.start - o.end, 2) for o in others if o.end < flaw.start)]
            right = [(high - flaw.end, 1), *((o.start - flaw.end, 2) for o in others if o.start > flaw.end)]
            before, after = (min(max((gap - LEFT_BETWEEN * ta) / parts, 0.0) for gap, parts in gaps) for gaps in (left, right))
            before, after = min(before, ta / 2), min(after, ta / 2)
            flaw = flaw.replace(kind="disbond", place="middle", start=flaw.start - before, length=flaw.length + before + after)
        cracks.append(flaw)
    return joint.replace(
        flaws=tuple(cracks),
        analysis=joint.analysis.replace(adhesive_model="elastic", adherend_plasticity=False, out_of_plane=joint.out_of_plane),
    )


def flaw_release(joint: Joint, density: float | None = None, kept: Kept | None = None) -> tuple[TipRelease, ...]:
    """Return the energy release rates at every tip of a joint's flaws, by bondline and along x.

    Parameters
    ----------
    joint : Joint
        With flaws; the load at the end of its path counts.
    density : float, optional
        Mesh density; by default that of the joint's first mesh.
    kept : Kept, optional
        What other calls left for this one.

    Raises
    ------
    JointError
        The joint has no flaws.
    MeshError, ConvergenceError
        As `energy_release`.
    """
    _flawed(joint)
    kept = Kept(0) if kept is None else kept
    if joint.analysis.large_rotation:
        large, problem = flaws_rotating(joint, density, kept)
        *_, end = follow(large, problem)
        return released_at_tips(end, joint)
    cracked = as_cracks(joint)
    lifted, density = cracked.load.shear_force != 0, _density(cracked, density)
    d, pattern = _meshed(cracked, density, lifted, kept)
    system = kept.once(
        system_key(cracked, density), lambda: assemble(d, laws_of(cracked, d.section), cracked.load.ends, lifted, pattern)
    )
    full = solve_linear(system, cracked)
    environment = cracked.load.temperature_change != 0 or cracked.load.moisture != 0
    bare = solve_linear(system, cracked.at(force=0.0, moment=0.0, shear_force=0.0)) if environment else None
    field = _field(full)
    found = []
    for tip, flaw, side in _places(d, joint):
        all_of_it = closure(d, tip, field, tip.lean)
        rest = all_of_it.less(all_of_it) if bare is None else closure(d, tip, _field(bare), tip.lean)
        load = all_of_it.less(rest)
        terms = np.array([rest.work(rest), rest.work(load) + load.work(rest), load.work(load)])
        gap = np.array([rest.jump[0, 1], load.jump[0, 1]])
        rates = rates_at(terms, gap, 1.0, flaw.level in ("middle", "all"))
        boxes = _contours(joint, tip, flaw)
        integrals = tuple(j_integral(d, tip, field, half / 2, half) for half in boxes)
        found.append(_found(joint, tip, flaw, side, rates, integrals, boxes, float(gap.sum()), terms, gap))
    return tuple(found)


def flaws_rotating(joint: Joint, density: float | None, kept: Kept) -> tuple[Joint, Problem]:
    """Return a joint with its flaws as cracks, large rotations and nothing that yields, and its section, to follow its path."""
    cracked = as_cracks(joint)
    cracked = cracked.replace(analysis=cracked.analysis.replace(large_rotation=True))
    return cracked, problem_of(cracked, *_meshed(cracked, density, cracked.load.guided, kept))


def released_at_tips(solution: Deformed, joint: Joint) -> tuple[TipRelease, ...]:
    """Return the energy release rates at the tips of a joint's flaws in a section at rest on its load's path."""
    d, field, found = solution.discretisation, deformed_field(solution), []
    for tip, flaw, side in _places(d, joint):
        boxes = _contours(joint, tip, flaw)
        integrals = tuple(j_integral(d, tip, field, half / 2, half) for half in boxes)
        turned = tip.lean + turn_about(d, tip, solution.displacement, boxes[-2])
        there = closure(d, tip, field, turned)
        (shear, opens), gap = there.work(there), float(there.jump[0, 1])
        # J is the energy; closure parts it (`fejoint.mechanics.energy_release.released`).
        whole = integrals[1] / (shear + opens) if shear + opens > 0 else 1.0
        rates = rates_of(whole * shear, whole * opens, gap, flaw.level in ("middle", "all"))
        found.append(_found(joint, tip, flaw, side, rates, integrals, boxes, gap))
    return tuple(found)


# ---- parts ---------------------------------------------------------------


def _flawed(joint: Joint) -> None:
    if not joint.flaws:
        raise JointError("energy release of flaws: the joint has none; add [[flaw]] to it.")


def _density(joint: Joint, density: float | None) -> float:
    return joint.analysis.mesh_density if density is None else density


def _meshed(joint: Joint, density: float | None, lifted: bool, kept: Kept) -> tuple[Discretisation, Pattern]:
    density = _density(joint, density)
    mesh = mesh_key(joint, density)  # that of a solve, too, which leaves mesh and system for this where there are no voids
    d = kept.once(mesh, lambda: discretise(mesh_section(joint, density)))
    return d, kept.once(f"{mesh} {joint.load.ends} {lifted}", lambda: pattern_of(d, joint.load.ends, lifted))


def _places(d: Discretisation, joint: Joint) -> list[tuple[Tip, Flaw, str]]:
    """Return every tip with the flaw and the side of it that it is at.

    Raises
    ------
    MeshError
        A flaw's tip is not in the mesh, or one there belongs to no flaw.
    """
    geometry, tips, found = joint.geometry, list(tips_of(d)), []
    bonds = {bond.number: bond for bond in geometry.bonds()}
    for flaw, crack in zip(joint.merged_flaws().flaws, as_cracks(joint).flaws, strict=True):
        bond = bonds[flaw.bondline]
        for side, x, there in (("left", crack.start, crack.start > bond.start), ("right", crack.end, crack.end < bond.end)):
            if not there:
                continue
            near = SAME_PLACE * geometry.bondline_thickness
            own = [tip for tip in tips if abs(tip.x - x) < near and abs(tip.y - bond.y) < geometry.thickness_at(x)]
            if len(own) != 1:
                raise MeshError(f"the mesh has {len(own)} tips of a disbond at x = {x:g} mm of bondline {bond.number}, not one.")
            tips.remove(own[0])
            found.append((own[0], flaw, side))
    if tips:
        raise MeshError(f"the mesh has a tip of a disbond at x = {tips[0].x:g} mm where the joint has none.")
    return found


def _contours(joint: Joint, tip: Tip, flaw: Flaw) -> tuple[float, ...]:
    """Return the half-widths of the boxes: from inside the layer to nearly the next tip, or end of the overlap or the tread."""
    bond = next(bond for bond in joint.geometry.bonds() if bond.number == flaw.bondline)
    h = joint.geometry.bondline_thickness / 2
    # Nothing that ends may lie in a box: of the other bondline of a double lap, too, whose layer a box may reach.
    places = [bond.start, bond.end]
    places += [x for other in as_cracks(joint).flaws for x in (other.start, other.end)]
    others = [abs(x - tip.x) for x in places if abs(x - tip.x) > SAME_PLACE * h]
    room = min(others)
    if isinstance(joint.geometry, SteppedLap):
        room -= h  # a riser is as wide
    if joint.geometry.bondline_taper:
        room = min(room, TAPERED * 2 * h)
    return tuple(float(r) for r in np.geomspace(min(0.8 * h, 0.5 * room), 0.9 * room, CONTOURS))


def _found(
    joint: Joint,
    tip: Tip,
    flaw: Flaw,
    side: str,
    rates: Rates,
    integrals: Sequence[float],
    boxes: tuple[float, ...],
    gap_now: float,
    terms: Floats | None = None,
    gap: Floats | None = None,
) -> TipRelease:
    place = f"{side} tip of the {flaw} of bondline {flaw.bondline}"
    told = []
    # Where interfaces lean, a box inside the layer alone is one.
    box, j = ("a box inside the layer", integrals[0]) if joint.geometry.bondline_taper else ("the largest box", integrals[-1])
    if gap_now >= 0 and abs(rates.total - j) > AGREEMENT * max(abs(rates.total), abs(j)):
        told.append(
            f"self-check missed: the energy release rate at the {place}, {rates.total:.4g} N/mm, and the J integral by {box}, "
            f"{j:.4g} N/mm, differ; use a finer mesh"
        )
    ends = {"left": 0.0, "right": 0.0}
    for other in joint.merged_flaws().flaws:
        ends["left"] = max(ends["left"], other.length if other.start <= 0 else 0.0)
        ends["right"] = max(ends["right"], other.length if other.end >= joint.geometry.length else 0.0)
    told += lap_caution(joint, ends)
    return TipRelease(
        joint=joint,
        flaw=flaw,
        side=side,
        x=tip.x,
        y=tip.y,
        opening=rates.opening,
        shear=rates.shear,
        total=rates.total,
        j_integrals=tuple(integrals),
        contours=boxes,
        terms=terms,
        gap=gap,
        closed=gap_now < 0,
        warnings=tuple(told),
    )


def _field(solution: Solution) -> Field:
    return field_of(
        solution.discretisation, solution.laws, solution.displacement, solution.width_strain, solution.joint.environment
    )
