"""Does the result hold? Checks that a wrong solution of the wrong system would not pass.

That reactions equal the load holds for anything that solves K u = f, right or
wrong. The checks here hold the recovered stresses, which come from another
piece of code, against the loads; compare two meshes; and look at what the
elements disagree on. Each is a share of a scale that is never zero.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Bondline
from fejoint.bondline.edge_moment import buckling_share
from fejoint.joint.description import Joint
from fejoint.joint.flaws import tips
from fejoint.mechanics.elasticity import strain
from fejoint.mechanics.linear import Solution, laws_of
from fejoint.mechanics.recovery import cut_resultant
from fejoint.mechanics.stations import CORNER_DISTANCE

__all__ = [
    "Check",
    "balances",
    "buckling_checks",
    "discretisation_error",
    "jump_check",
    "parted_error",
    "peak_difference",
    "solution_checks",
    "stress_floor",
]

Floats = NDArray[np.float64]

# Limits, and why: what a curve's integral or balance may be off is a tenth of the default error
# target for its peak (0.01), since an integral averages the error of the points.
BALANCE_LIMIT = 1e-3
# Element stresses converge an order slower than the recovered ones; a jump of a tenth of the peak
# puts the mean of both sides, which is what is reported, within a few percent even if nothing cancels.
JUMP_LIMIT = 0.1
# Where the layer yields, fans of slip start at the corners, across which peel turns within a cell; the reported mean of
# both sides lies within half the jump, and the two meshes' difference says how well the peaks are known.
YIELDED_JUMP_LIMIT = 0.3
# Work of stresses against work of loads is exact but for round-off, unit round-off times the stiffest entry
# times the square of the displacement over the work: slender arms (100 thicknesses long) on a soft layer,
# which bend far at little work, come to 1e-5. A wrong law or a lost term comes to percents.
ENERGY_LIMIT = 1e-4
# A backward stable direct solver leaves a small multiple of the unit round-off, 1e-16.
BACKWARD_LIMIT = 1e-12


@dataclass(frozen=True)
class Check:
    """One self-check: passed when the value is no larger than the limit."""

    name: str
    value: float
    limit: float
    meaning: str

    @property
    def passed(self) -> bool:
        """Whether the check holds (NaN does not)."""
        return bool(self.value <= self.limit)


def solution_checks(solution: Solution, stress: Floats, carried: Floats | None = None) -> list[Check]:
    """Return the checks of one solution.

    Parameters
    ----------
    solution : Solution
    stress : (nodes, 4) array, MPa
        The recovered adhesive stress (`nodal_stress`).
    carried : (nodes, 5) array, optional
        The same, kind ``carried``, where rotations are large.
    """
    joint = solution.joint
    floor = stress_floor(joint)
    work = _internal_work(solution)
    done = joint.line_load * solution.elongation + joint.line_moment * solution.turn + joint.line_shear * solution.lift
    checks = [
        *balances(solution, stress if carried is None else carried),
        Check(
            "energy_balance",
            abs(work[0] - done) / max(work[1], 1e-300),
            ENERGY_LIMIT,
            "work of the element stresses on the strains, against that of the loads on the loaded end",
        ),
        jump_check(solution, stress, floor),
        Check(
            "solver_backward_error",
            solution.backward_error,
            BACKWARD_LIMIT,
            "residual of the linear solver, against the size of its matrix, solution and load",
        ),
    ]
    return checks + buckling_checks(joint)


def balances(solution: Solution, carried: Floats) -> list[Check]:
    """Return the balances of the recovered adhesive stress, kind ``carried``, with the load and the reactions."""
    joint, geometry = solution.joint, solution.joint.geometry
    middle = geometry.length / 2, 0.0
    cuts = {name: cut_resultant(solution, carried, name, middle) for name, _, _ in geometry.cuts()}
    # What is left of the forces on every adherend with the half layers on it: none, if the stresses are right.
    left_over = np.zeros((len(solution.ends), 3))
    for row, (adherend, end) in zip(left_over, solution.ends.items(), strict=True):
        # On the loaded end what the joint states, not what the solver made of it.
        axial = geometry.pull * joint.line_load if adherend in geometry.loaded else end.axial
        row += axial, end.lateral, end.moment_about(*middle)
        for name, below, above in geometry.cuts():
            sign = (adherend == below) - (adherend == above)
            row += sign * np.array([cuts[name].x, cuts[name].y, cuts[name].moment])
    along, across, turning = (float(v) for v in np.abs(left_over).max(axis=0))
    force = max(abs(joint.line_load), *(abs(v) for end in solution.ends.values() for v in (end.axial, end.lateral)))
    # Scale: the load, or what the bondline transfers to and fro, with a load or without; the last never vanishes.
    floor = stress_floor(joint)
    if joint.analysis.cohesive:  # a layer that has parted bears nothing: a thousandth of its strength counts as that
        floor = max(floor, 1e-3 * (joint.adhesive.shear_strength or 0.0))
    scale = max(force, *(cut.magnitude for cut in cuts.values()), floor * geometry.bonded_length)
    return [
        Check(
            "load_transferred",
            along / scale,
            BALANCE_LIMIT,
            "load carried across the adhesive by the recovered stress, against the load on each adherend",
        ),
        Check(
            "peel_balance",
            across / scale,
            BALANCE_LIMIT,
            "net force of the recovered stress across the joint, against the sideways reaction on each adherend",
        ),
        Check(
            "moment_balance",
            turning / (scale * max(geometry.depth, geometry.length)),
            BALANCE_LIMIT,
            "moment of the recovered stresses about the joint's middle, against that of each adherend's end",
        ),
    ]


def jump_check(solution: Solution, stress: Floats, floor: float) -> Check:
    """Return the check of what the elements disagree on."""
    return Check(
        "stress_jump",
        _jump(solution, stress, floor),
        YIELDED_JUMP_LIMIT if solution.joint.analysis.adhesive_model == "plastic" else JUMP_LIMIT,
        "largest jump of element stress at the mid-line, against the largest mid-line stress",
    )


def buckling_checks(joint: Joint) -> list[Check]:
    """Return the check of a compressed joint, which small rotations do not see buckle."""
    if joint.load.force >= 0 or joint.analysis.large_rotation:
        return []
    return [
        Check(
            "buckling",
            buckling_share(joint),
            1.0,
            "compression, against that at which the joint buckles as a frame of beams, where linear results end",
        )
    ]


def stress_floor(joint: Joint) -> float:
    """Return the stress below which a bondline counts as free of stress, MPa.

    A thousandth of the stress of fully restrained thermal expansion: a joint
    that expands almost freely is left with small differences of large numbers,
    whose relative error means nothing. Practically zero without a change of
    temperature.
    """
    restrained = max(float(np.abs(of.free_stress(joint.environment)).max()) for of in laws_of(joint).values())
    return max(1e-3 * restrained, 1e-200)


# The stretch on which two meshes are compared, from a peak outwards and inwards, in bondline thicknesses.
OUTWARDS, INWARDS = 0.2, 0.3
# The finer mesh's error is the two meshes' difference over 2^p - 1 for order p. The recovered stress is of
# order 3 to 4 where the field is smooth, and the corners slow it: 5 keeps the estimate between 0.6 and 3
# times the error for every order from 2 to 4.
SETTLING = 5.0


def discretisation_error(fine: list[Bondline], coarse: list[Bondline], thickness: float, floor: float = 0.0) -> dict[str, float]:
    """Return the estimated error of peak shear and peak peel of the finer of two nested meshes, as shares of them.

    It is the root mean square of the difference between the two meshes'
    curves close to the peak (`OUTWARDS`, `INWARDS`), so that two curves that
    happen to cross at the peak do not feign accuracy, over 5 (`SETTLING`).
    `coarse` comes from the mesh of half the density; `thickness` is the
    bondline's (mm), `floor` the stress that counts as none (MPa).
    """
    errors = {}
    for key, name in (("peak_shear", "shear"), ("peak_peel", "peel")):
        found = [peak_difference(a, b, name, thickness) for a, b in zip(fine, coarse, strict=True)]
        # What counts is the joint's peak: a bondline that carries little need not be known as well as that.
        errors[key] = max(difference for difference, _ in found) / SETTLING / max(floor, *(scale for _, scale in found))
    return errors


# Of a layer that parts it is over 2^2 - 1: where the damage ends lies between nodes, which leaves order 2.
PARTED_SETTLING = 3.0


def parted_error(fine: list[Bondline], coarse: list[Bondline]) -> dict[str, float]:
    """Return the estimated error of the shear and peel of a cohesive layer, as `discretisation_error`, but along all of it.

    Its peaks are its strengths, on any mesh; what a mesh decides is where they stand. So it is the root mean square of the
    difference of two meshes' curves over the whole length, as a share of the largest traction of any kind.
    """
    errors = {}
    scale = max(abs(b.middle.largest(name).value) for b in fine for name in ("shear", "peel"))
    for key, name in (("peak_shear", "shear"), ("peak_peel", "peel")):
        found = []
        for a, b in zip(fine, coarse, strict=True):
            x = np.linspace(a.x[0], a.x[-1], 2001)
            found.append(float(np.sqrt(np.mean((a.middle.at(x, name) - b.middle.at(x, name)) ** 2))))
        errors[key] = max(found) / PARTED_SETTLING / max(scale, 1e-300)
    return errors


def peak_difference(a: Bondline, b: Bondline, name: str, thickness: float) -> tuple[float, float]:
    """Return the mean-square difference of two results at the peak of the first, and the scale to hold it against."""
    peak = a.peak_shear if name == "shear" else a.peak_peel
    # Between flaws, so that nothing is taken from inside one.
    start, end = a.bonded_round(peak.x)
    inwards = thickness if peak.x < (start + end) / 2 else -thickness
    low, high = np.clip(sorted((peak.x - OUTWARDS * inwards, peak.x + INWARDS * inwards)), start, end)
    x = np.linspace(low, high, 41)
    difference = float(np.sqrt(np.mean((a.middle.at(x, name) - b.middle.at(x, name)) ** 2)))
    # A peel that hardly opens is held against what the layer carries otherwise, so that the share means something.
    others = 0.1 * max(abs(a.middle.largest(n).value) for n in ("shear", "peel"))
    return difference, max(abs(peak.value), others, 1e-300)


def _internal_work(solution: Solution) -> tuple[float, float]:
    """Return the work of the element stresses on the total strain, and a sum of positive terms to hold it against."""
    d, environment = solution.discretisation, solution.joint.environment
    every = strain(d.grad_ajqc, solution.displacement[d.nodes_ac], solution.width_strain)
    total = absolute = 0.0
    for region, law in solution.laws.items():
        cells = d.section.cells(region)
        weight, e = d.weight_qc[cells], every[:, cells]
        stress = law.stress(e, environment)
        # Free expansion has strain and no stress: what round-off acts on is the stress that the strain alone would give.
        held = np.abs(law.free_stress(environment))[:, None, None]
        total += float((stress * e * weight).sum())
        absolute += float(((np.abs(stress) + held) * np.abs(e) * weight).sum())
    return total, absolute


def _jump(solution: Solution, stress: Floats, floor: float) -> float:
    """Return the largest jump of shear or peel between elements on the mid-lines, over the largest stress there."""
    d = solution.discretisation
    cells = d.section.cells("adhesive")
    nodal = np.einsum("aq,icq->cai", np.linalg.inv(d.shape_qa), solution.stress("adhesive"), optimize=True)
    jump, scale = 0.0, floor
    for bond in solution.joint.geometry.bonds():
        line = np.unique(d.line(f"bondline {bond.number} middle"))
        keep_off = CORNER_DISTANCE * solution.joint.geometry.bondline_thickness
        for tip in tips(solution.joint, bond, "middle"):  # nothing is reported from there
            line = line[np.abs(d.points[line, 0] - tip) > keep_off]
        on_line = np.isin(d.nodes_ac[cells], line)
        nodes, values = d.nodes_ac[cells][on_line], nodal[on_line][:, [1, 2]]
        high, low = np.full((len(d.points), 2), -np.inf), np.full((len(d.points), 2), np.inf)
        np.maximum.at(high, nodes, values)
        np.minimum.at(low, nodes, values)
        scale = max(scale, float(np.abs(stress[line][:, [1, 2]]).max()))
        jump = max(jump, float((high[line] - low[line]).max()))
    return jump / scale
