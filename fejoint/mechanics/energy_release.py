"""Energy release rates of a disbond in a joint under its load, by the two ways of `fejoint.mechanics.closure`.

With small rotations one factored section answers for every multiple of the load. With
large ones (`analysis.large_rotation`) the load's path is followed; the adhesive and the
adherends stay elastic, whatever the joint's analysis says: this is fracture mechanics
of elastic bodies, and what yields round the tip is part of the toughness that was measured.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.edge_moment import ROTATION, buckles, rotation_change
from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.disbond import Disbond, checked
from fejoint.joint.families import SingleLap
from fejoint.mechanics.closure import Field, closure, field_of, j_integral, turn_about
from fejoint.mechanics.disbond import disbonded, opening, tip_of
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.linear import Pattern, Solution, System, assemble, laws_of, pattern_of, solve_linear
from fejoint.mechanics.newton import Problem
from fejoint.mechanics.nonlinear import Deformed, follow, problem_of
from fejoint.mechanics.reuse import Kept, system_key

__all__ = [
    "EnergyRelease",
    "Rates",
    "deformed_field",
    "energy_release",
    "lap_caution",
    "rates_at",
    "rates_of",
    "released",
    "rotating",
    "rotation_caution",
]

Floats = NDArray[np.float64]

CONTOURS = 4
# Crack closure is off by a few parts in a thousand at the cells that the tip gets, the J integral by less.
AGREEMENT = 0.02
# Faces that overlap by less than this share of their largest movement touch, to the accuracy of the cells.
TOUCHING = 1e-3


class Rates(NamedTuple):
    """Energy release rates, N/mm: of opening, of shear, and their sum; the parts are NaN where they mean nothing."""

    opening: float
    shear: float
    total: float


@dataclass(frozen=True, eq=False)
class EnergyRelease:
    """Energy release rates of a disbond under a joint's load.

    Attributes
    ----------
    joint : Joint
    disbond : Disbond
    opening, shear, total : float, N/mm
        By virtual crack closure (mode I, mode II and their sum); with large rotations the
        total is the J integral over the second box, and closure says how it is parted. Opening
        is 0 where the disbond is closed at its tip. The parts are NaN at an interface.
    j_integrals : tuple of float, N/mm
        J integrals over boxes round the tip.
    contours : tuple of float, mm
        Half-widths of these boxes, outside.
    cell : float, mm
        Length of the cells at the tip.
    terms : (3, 2) array, N/mm, or None
        Shear and opening of the load's powers 0, 1 and 2: constant (temperature and moisture alone), linear, quadratic.
        None where rotations are large.
    gap : (2,) array, mm, or None
        Opening of the side behind the tip, constant and linear in the load.
    warnings : tuple of str
    """

    joint: Joint
    disbond: Disbond
    opening: float
    shear: float
    total: float
    j_integrals: tuple[float, ...]
    contours: tuple[float, ...]
    cell: float
    terms: Floats | None
    gap: Floats | None
    warnings: tuple[str, ...]

    @property
    def split(self) -> bool:
        """Whether the parts of opening and shear mean something: in the middle of the layer."""
        return self.disbond.place == "middle"

    @property
    def rates(self) -> Rates:
        """The rates of opening and shear and their total, N/mm."""
        return Rates(self.opening, self.shear, self.total)

    @property
    def j_integral(self) -> float:
        """The J integral over the largest box, N/mm."""
        return self.j_integrals[-1]

    def at(self, factor: float) -> Rates:
        """Return the rates under a multiple of force, moment and shear force, with temperature and moisture as they are.

        Raises
        ------
        JointError
            Rotations are large, so that one load says nothing of another.
        """
        if self.terms is None or self.gap is None:
            raise JointError("energy release under another load: with large rotations solve the joint under that load.")
        return rates_at(self.terms, self.gap, factor, self.split)


def energy_release(joint: Joint, disbond: Disbond, density: float | None = None, kept: Kept | None = None) -> EnergyRelease:
    """Return the energy release rates of a disbond under a joint's load, with small or large rotations as the joint says.

    Parameters
    ----------
    joint : Joint
        The load at the end of its path counts.
    disbond : Disbond
    density : float, optional
        Mesh density; by default that of the joint's first mesh.
    kept : Kept, optional
        What other calls left for this one: joints that differ in load or temperature alone share a factorisation.

    Raises
    ------
    JointError
        The joint has no room for the disbond (`fejoint.joint.disbond.checked`).
    ConvergenceError
        With large rotations: the load cannot be reached.
    """
    checked(disbond, joint)
    kept = Kept(0) if kept is None else kept
    if joint.analysis.large_rotation:
        joint, problem = rotating(joint, disbond, density, kept)
        *_, end = follow(joint, problem)
        return released(end, disbond)
    system = _system(joint, disbond, density, kept)
    d, tip = system.discretisation, tip_of(system.discretisation)
    full = solve_linear(system, joint)
    field = _field(full)
    all_of_it = closure(d, tip, field)
    if joint.load.temperature_change == 0 and joint.load.moisture == 0:
        rest = all_of_it.less(all_of_it)
    else:
        rest = closure(d, tip, _field(solve_linear(system, joint.at(force=0.0, moment=0.0, shear_force=0.0))))
    load = all_of_it.less(rest)
    terms = np.array([rest.work(rest), rest.work(load) + load.work(rest), load.work(load)])
    gap = np.array([rest.jump[0, 1], load.jump[0, 1]])
    rates = rates_at(terms, gap, 1.0, disbond.place == "middle")
    return _found(full, disbond, rates, _integrals(full, disbond, field), float(gap.sum()), terms, gap)


def rotating(joint: Joint, disbond: Disbond, density: float | None, kept: Kept) -> tuple[Joint, Problem]:
    """Return a joint with large rotations and nothing that yields, and its section with a disbond, to follow its load's path."""
    analysis = joint.analysis.replace(
        large_rotation=True, adhesive_model="elastic", adherend_plasticity=False, out_of_plane=joint.out_of_plane
    )
    joint = joint.replace(analysis=analysis)
    return joint, problem_of(joint, *_meshed(joint, disbond, density, joint.load.guided, kept))


def released(solution: Deformed, disbond: Disbond) -> EnergyRelease:
    """Return the energy release rates of a disbond in a section at rest on its load's path, with large rotations."""
    d, field = solution.discretisation, deformed_field(solution)
    # The cells at the tip are strained far, so that half the force times the opening is not quite the work of closing it,
    # some percent off where an adhesive of 2 GPa takes 1 N/mm. J is the energy all the same: closure only parts it.
    integrals = _integrals(solution, disbond, field)
    turned = turn_about(d, tip_of(d), solution.displacement, _contours(solution.joint, disbond)[-2])
    found = closure(d, tip_of(d), field, turned)
    (shear, opens), gap = found.work(found), float(found.jump[0, 1])
    whole = integrals[1] / (shear + opens) if shear + opens > 0 else 1.0
    rates = rates_of(whole * shear, whole * opens, gap, disbond.place == "middle")
    return _found(solution, disbond, rates, integrals, gap)


def deformed_field(solution: Deformed) -> Field:
    """Return stress and energy, per length and area of the undeformed section, of one at rest on its load's path."""
    d = solution.discretisation
    stress, energy = np.empty((5, *d.weight_qc.shape)), np.empty(d.weight_qc.shape)
    for name, law in solution.laws.items():
        cells = d.section.cells(name)
        stress[:, cells] = solution.stress(name, "carried")
        elastic = solution.elastic_strain(name).T.reshape(4, *energy[cells].shape)
        free = law.free_strain(solution.joint.environment)[:, None, None]
        energy[cells] = 0.5 * (solution.stress(name, "bondline") * (elastic - free)).sum(axis=0)
    return Field(solution.displacement, stress, energy)


# ---- parts ---------------------------------------------------------------


def _found(
    solution: Solution,
    disbond: Disbond,
    rates: Rates,
    integrals: tuple[float, ...],
    gap_now: float,
    terms: Floats | None = None,
    gap: Floats | None = None,
) -> EnergyRelease:
    return EnergyRelease(
        joint=solution.joint,
        disbond=disbond,
        opening=rates.opening,
        shear=rates.shear,
        total=rates.total,
        j_integrals=integrals,
        contours=_contours(solution.joint, disbond),
        cell=tip_of(solution.discretisation).length,
        terms=terms,
        gap=gap,
        warnings=tuple(_warnings(solution, disbond, gap_now, rates.total, integrals[-1])),
    )


def _integrals(solution: Solution, disbond: Disbond, field: Field) -> tuple[float, ...]:
    d = solution.discretisation
    return tuple(j_integral(d, tip_of(d), field, half / 2, half) for half in _contours(solution.joint, disbond))


def _meshed(joint: Joint, disbond: Disbond, density: float | None, lifted: bool, kept: Kept) -> tuple[Discretisation, Pattern]:
    """Return the opened section of a joint and the pattern of its matrix with the ends as they are held."""
    density, ends, parameters = _density(joint, density), joint.load.ends, joint.geometry.script_parameters()
    mesh = f"{disbond!r} {joint.geometry.script} density={density!r} {parameters!r}"
    d = kept.once(mesh, lambda: discretise(disbonded(joint, disbond, density)))
    return d, kept.once(f"{mesh} {ends} {lifted}", lambda: pattern_of(d, ends, lifted))


def _density(joint: Joint, density: float | None) -> float:
    return joint.analysis.mesh_density if density is None else density


def _system(joint: Joint, disbond: Disbond, density: float | None, kept: Kept) -> System:
    """Return the factored section of a joint with a disbond."""
    lifted = joint.load.shear_force != 0
    d, pattern = _meshed(joint, disbond, density, lifted, kept)
    key = f"{disbond!r} {system_key(joint, _density(joint, density))}"
    return kept.once(key, lambda: assemble(d, laws_of(joint, d.section), joint.load.ends, lifted, pattern))


def _field(solution: Solution) -> Field:
    return field_of(
        solution.discretisation, solution.laws, solution.displacement, solution.width_strain, solution.joint.environment
    )


def rates_at(terms: Floats, gap: Floats, factor: float, split: bool) -> Rates:
    """Return the rates of a multiple of the load by their terms (`EnergyRelease`)."""
    shear, opens = np.array([1.0, factor, factor * factor]) @ terms
    return rates_of(shear, opens, float(gap @ [1.0, factor]), split)


def rates_of(shear: float, opens: float, gap: float, split: bool) -> Rates:
    """Return the rates of shear and opening, the latter none where the tip is closed; their sum alone at an interface."""
    shear, opens = float(shear), float(opens)
    if gap <= 0:  # forces that press on faces that overlap would count as opening them
        opens = 0.0
    return Rates(opens, shear, shear + opens) if split else Rates(np.nan, np.nan, shear + opens)


def _contours(joint: Joint, disbond: Disbond) -> tuple[float, ...]:
    """Return the half-widths of the boxes: from inside the layer, where there is room, to nearly the next end of the overlap."""
    bond, h = disbond.bond(joint), joint.geometry.bondline_thickness / 2
    room = min(disbond.length, bond.end - bond.start - disbond.length)
    return tuple(float(r) for r in np.geomspace(min(0.8 * h, 0.5 * room), 0.9 * room, CONTOURS))


def _warnings(solution: Solution, disbond: Disbond, gap: float, total: float, j: float) -> list[str]:
    joint, d, found = solution.joint, solution.discretisation, list[str]()
    if disbond.place != "middle":
        found.append(
            "energy release: at an interface only the total has a meaning; its parts of opening and shear depend on the cells"
        )
    apart, x = opening(d, solution.displacement)
    # At an interface the faces overlap within the last cells even when pulled apart, which is the equations' doing.
    tip = tip_of(d)
    seen = np.abs(x - tip.x) > (0.5 if disbond.place == "middle" else 4.5) * tip.length
    scale = max(float(np.abs(solution.displacement[d.line(name)]).max()) for name in ("disbond above", "disbond below"))
    worst = int(np.argmin(np.where(seen, apart, np.inf)))
    if gap < 0:
        found.append(
            "energy release: the disbond is closed at its tip, so opening counts as 0; contact and friction between its faces "
            "are not in the analysis"
        )
    if seen.any() and apart[worst] < -TOUCHING * scale:
        found.append(
            f"energy release: the disbond's faces run into each other by up to {-apart[worst]:.3g} mm, at x = {x[worst]:.4g} mm; "
            "contact is not in the analysis"
        )
    if abs(total - j) > AGREEMENT * max(abs(total), abs(j)) and gap >= 0:
        found.append(
            f"self-check missed: the energy release rate at the tip, {total:.4g} N/mm, and by the largest box of the J integral, "
            f"{j:.4g} N/mm, differ; use a finer mesh"
        )
    return found + rotation_caution(joint, disbond)


def rotation_caution(joint: Joint, disbond: Disbond) -> list[str]:
    """Return what small rotations leave out: the disbonded stretch bends as if the arms were longer and the overlap shorter."""
    ends = {"left": 0.0, "right": 0.0, disbond.end: disbond.length}
    return lap_caution(joint, ends)


def lap_caution(joint: Joint, parted: Mapping[str, float]) -> list[str]:
    """Return what small rotations leave out of a single lap that is parted along lengths, mm, from its left and right end."""
    geometry = joint.geometry
    if joint.analysis.large_rotation or not isinstance(geometry, SingleLap) or joint.load.force == 0:
        return []
    arms = {}
    for side, end in (("lower", "left"), ("upper", "right")):
        arm = getattr(geometry, side)
        longest = 1000 * arm.thickness  # an arm's limit, beyond which the frame of beams is told nothing new
        arms[side] = arm.replace(free_length=min(arm.free_length + parted[end], longest))
    shorter = max(geometry.overlap_length - sum(parted.values()), 1.01 * geometry.bondline_thickness)
    # Fillets may not fit it, and beams know none.
    square = {"spew": "square", "spew_height": None, "overlap_length": shorter, "bondline_taper": 0.0, **arms}
    left = joint.replace(geometry=geometry.replace(**square), flaws=())
    if buckles(left):
        return [
            "energy release: taken as a frame of beams the disbonded joint has buckled under this load: its rates mean nothing"
        ]
    change = rotation_change(left)
    if abs(change) <= ROTATION:
        return []
    turns, more = "turns" if joint.load.force > 0 else "bends further", change > 0
    return [
        f"energy release, small rotations: the joint {turns} under this load, so that the true edge moment is about "
        f"{100 * abs(change):.0f} % {'larger' if more else 'smaller'} and the energy release rate is "
        f"{'understated' if more else 'overstated'}"
    ]
