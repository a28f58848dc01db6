"""The load's path as results: every increment with its curves, checks and plastic strains, to be shown, kept and gone on from."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import LOGARITHMIC, PIOLA, SMALL, TRACTIONS, Bondline
from fejoint.errors import ConvergenceError
from fejoint.joint.description import Joint
from fejoint.mechanics.checks import ENERGY_LIMIT, Check, balances, buckling_checks, jump_check, stress_floor
from fejoint.mechanics.discretisation import Discretisation
from fejoint.mechanics.frames import FRAMES
from fejoint.mechanics.layer import crack_of, first_parting
from fejoint.mechanics.linear import Pattern
from fejoint.mechanics.load_path import adherend_sections, bond_forces
from fejoint.mechanics.newton import State
from fejoint.mechanics.nonlinear import Deformed, Pace, deformed, follow, problem_of
from fejoint.mechanics.parting import follow_parting
from fejoint.mechanics.recovery import Fields, edge_loads, nodal, nodal_stress, recover_bondlines, spew_peaks
from fejoint.mechanics.result import Result

__all__ = ["Marker", "follow_path", "largest_of", "marker_of"]

Floats = NDArray[np.float64]

YIELDED = 1e-4  # equivalent plastic strain from which a place counts as yielded: a twentieth of that at a 0.2 % proof stress
# Newton's iterations stop at 1e-8 of the largest force of a cell; ten times that is no equilibrium.
RESIDUAL_LIMIT = 1e-7
# What a returned stress may ask for once more, as plastic strain: round-off of strains of order one.
YIELD_LIMIT = 1e-9
ALL = 0.98  # share of a line or a section that counts as the whole of it: the last points are at free ends


class Marker(NamedTuple):
    """What is needed to go on behind an increment: the section at rest, how far it is, and with what ease it came there."""

    state: State
    pace: Pace
    iterations: int
    residual: float
    internal: Floats


def marker_of(result: Result) -> Marker:
    """Return the marker of an increment on a load's path."""
    solution = result.solution
    assert isinstance(solution, Deformed)
    return Marker(solution.state, solution.pace, solution.iterations, solution.residual, solution.internal)


def follow_path(
    joint: Joint,
    d: Discretisation,
    pattern: Pattern,
    say: Callable[[str], None],
    record: Callable[[Result], None] | None = None,
    start: Sequence[Marker] = (),
    until: tuple[int, float] | None = None,
    curves_of_last_only: bool = False,
) -> tuple[list[Result], str, tuple[int, float]]:
    """Return the results along a joint's load path, why it ended early (or nothing) and step and share that it reached.

    Parameters
    ----------
    joint : Joint
    d, pattern : Discretisation, Pattern
        Its whole section and how the ends hold it.
    say : callable
        Called with a line of text before each increment.
    record : callable, optional
        Called with every new result.
    start : sequence of Marker, optional
        Increments that are there already, in order.
    until : (int, float), optional
        Number of the step and share of it where to end.
    curves_of_last_only : bool
        Whether only the last result is wanted.

    Raises
    ------
    ConvergenceError
        Not even the first increment comes to rest.
    """
    problem = problem_of(joint, d, pattern)
    before: Deformed | None = None
    found: list[Result] = []
    names = [step.name for step in joint.load.path()]
    for marker in start:
        now = deformed(joint, problem, *marker[:3], marker.residual, marker.internal, names[marker.pace.step])
        found.append(_result(now, before))
        before = now
    stopped, last = "", before
    try:
        way = follow_parting if problem.body.interfaces else follow
        for now in way(joint, problem, (last.state, last.pace) if last else None, say, until):
            last = now
            if not curves_of_last_only:
                found.append(_result(now, before))
                if record is not None:
                    record(found[-1])
                before = now
    except ConvergenceError as error:
        if last is None:
            raise
        stopped = str(error)
    assert last is not None
    if curves_of_last_only:
        found = [_result(last, None)]
    top = found[largest_of(found)]
    at = top.solution
    assert isinstance(at, Deformed)
    return found, _why(top, at, stopped) if stopped else "", (at.pace.step, at.pace.share)


def largest_of(results: Sequence[Result]) -> int:
    """Return the place, among increments on a load's path, of the one with the largest share of the last step."""
    paces = [marker_of(result).pace for result in results]
    return max((i for i, pace in enumerate(paces) if pace.step == paces[-1].step), key=lambda i: paces[i].share)


# ---- parts ---------------------------------------------------------------


def _result(solution: Deformed, before: Deformed | None) -> Result:
    joint, d = solution.joint, solution.discretisation
    large, plastic = joint.analysis.large_rotation, joint.analysis.adhesive_model == "plastic"
    stress, layer = nodal_stress(solution), solution.layer
    fields = Fields(
        carried=nodal_stress(solution, kind="carried") if large else stress,
        cauchy=nodal_stress(solution, kind="cauchy") if large else None,
        shear_strain=nodal(d, _shear_strain(solution, "adhesive")[None], "adhesive")[:, 0]
        if layer is None
        else layer.sliding / joint.geometry.bondline_thickness,
        plastic_strain=np.maximum(nodal(d, solution.plastic_strain("adhesive")[None], "adhesive")[:, 0], 0.0)
        if plastic
        else None,
        measure=TRACTIONS if layer is not None else (LOGARITHMIC if plastic else PIOLA) if large else SMALL,
        damage=None if layer is None else layer.damage,
        opening=None if layer is None else layer.opening,
        sliding=None if layer is None else layer.sliding,
    )
    assert fields.carried is not None
    bondlines = recover_bondlines(solution, stress, fields)
    return Result(
        joint=joint,
        section=solution.section,
        solution=solution,
        bondlines=bondlines,
        edges=edge_loads(solution),
        bond_forces=bond_forces(solution, fields.carried),
        adherend_sections=adherend_sections(solution, bondlines),
        spew_peaks=spew_peaks(solution, stress),
        checks=_checks(solution, before, stress, fields.carried),
        discretisation_error={},
        unknowns=2 * len(d.points),
        adhesive_stress=stress,
        seconds={},
        warnings=[],
        elongation=solution.elongation,
        turn=solution.turn,
        lift=solution.lift,
        asked=None,
        step=solution.step,
        number=solution.pace.number,
        iterations=solution.iterations,
        plastic_strain={
            name: max((float(np.max(b.plastic_strain)) for b in bondlines if b.plastic_strain is not None), default=0.0)
            if name == "adhesive"
            else float(solution.plastic_strain(name).max())
            for name in joint.yielding()
        },
        yielded={b.number: _yielded(b) for b in bondlines if b.plastic_strain is not None},
        cracks={
            number: crack_of(interface, solution.state.history[interface.name])
            for number, interface in enumerate(solution.body.interfaces, 1)
        },
    )


def _yielded(bondline: Bondline) -> float:
    """Return the share of a mid-line, flaws apart, whose plastic strain counts."""
    assert bondline.plastic_strain is not None
    x = np.linspace(bondline.x[0], bondline.x[-1], 2001)
    for low, high in bondline.flawed:
        x = x[(x <= low) | (x >= high)]
    return float(np.mean(np.interp(x, bondline.x, bondline.plastic_strain) > YIELDED))


def _shear_strain(solution: Deformed, region: str) -> Floats:
    """Return the engineering shear strain at a region's quadrature points, (c, q)."""
    d = solution.discretisation
    cells = d.section.cells(region)
    gradient = np.einsum("cqaj,cai->cqij", d.grad_ajqc[cells], solution.displacement[d.nodes_ac[cells]], optimize=True)
    frame = FRAMES["green_lagrange" if solution.joint.analysis.large_rotation else "small"]
    flat = gradient.reshape(-1, 2, 2)
    none = np.zeros(len(flat))
    measured = frame.measured(flat, solution.width_strain, none, frame.start(len(flat)))
    return measured.strain[:, 2].reshape(gradient.shape[:2])


def _checks(solution: Deformed, before: Deformed | None, stress: Floats, carried: Floats) -> list[Check]:
    joint = solution.joint
    found = balances(solution, carried)
    work, done, size = _work(solution, before)
    found += [
        Check(
            "energy_balance",
            abs(work - done) / max(size, 1e-300),
            ENERGY_LIMIT,
            "work of the element stresses on the increment's strains, against that of the loads on the loaded end",
        ),
        *([] if solution.body.interfaces else [jump_check(solution, stress, stress_floor(joint))]),
        Check(
            "newton_residual",
            solution.residual,
            RESIDUAL_LIMIT,
            "largest force out of balance at a node, against the largest force of a cell on a node",
        ),
    ]
    if joint.yielding():
        found.append(
            Check(
                "yield_excess", _excess(solution), YIELD_LIMIT, "plastic strain that the stress would still cause if asked again"
            )
        )
    return found + buckling_checks(joint)


def _work(solution: Deformed, before: Deformed | None) -> tuple[float, float, float]:
    """Return the work of stresses and of loads on the last increment, and a sum of positive terms to hold them against, N."""
    d, work, size, large = solution.discretisation, 0.0, 0.0, solution.joint.analysis.large_rotation
    moved = solution.displacement - (0.0 if before is None else before.displacement)
    widened = solution.width_strain - (0.0 if before is None else before.width_strain)
    for region in solution.body.behaviours:
        cells = d.section.cells(region)
        gradient = np.einsum("cqaj,cai->ijcq", d.grad_ajqc[cells], moved[d.nodes_ac[cells]], optimize=True)
        p = solution.stress(region, "carried")
        p = (p + (0.0 if before is None else before.stress(region, "carried"))) / 2
        parts = (
            p * [gradient[0, 0], gradient[1, 1], gradient[0, 1], np.full_like(p[0], widened), gradient[1, 0]] * d.weight_qc[cells]
        )
        work += float(parts.sum())
        size += float(np.abs(parts).sum())

    for interface in solution.body.interfaces:
        force = sum(
            interface.evaluate(at.displacement, at.state.history[interface.name], False).force
            for at in (solution, before)
            if at is not None
        )
        parts = force / 2 * moved.ravel()[interface.dofs]
        work += float(parts.sum())
        size += float(np.abs(parts).sum())

    def loads(of: Deformed | None) -> Floats:
        if of is None:
            return np.zeros(3)
        # The moment's work is on the angle; where that is large the unknown is its sine.
        lean = math.cos(of.turn) if large else 1.0
        return np.array([of.joint.line_load, of.joint.line_moment / lean, of.joint.line_shear])

    def places(of: Deformed | None) -> Floats:
        if of is None:
            return np.zeros(3)
        return np.array([of.elongation, math.sin(of.turn) if large else of.turn, of.lift])

    done = float((loads(solution) + loads(before)) / 2 @ (places(solution) - places(before)))
    return work, done, size


def _excess(solution: Deformed) -> float:
    """Return the largest plastic strain that the stress would still cause if the return were asked for once more."""
    largest, environment = 0.0, solution.joint.environment
    for region in solution.joint.yielding():
        core = solution.body.behaviours[region].core(environment)
        elastic = solution.elastic_strain(region)
        plastic = solution.plastic_strain(region).ravel()
        largest = max(largest, float(np.abs(core.respond(elastic, plastic, False).plastic - plastic).max()))
    return largest


def _why(result: Result, last: Deformed, said: str) -> str:
    """Return why a path ended before its load, in one sentence; `result` is of the last section at rest."""
    joint, share = last.joint, 100 * last.pace.share
    at = f"{joint.load.force:.4g} N" if joint.load.force else f"{share:.4g} % of the step"
    if last.body.interfaces and "limit load" in said:
        return _parted(last, at, share, said)
    yields = [b for b in result.yielded.items() if b[1] > ALL]
    through = [name for name in joint.yielding() if name != "adhesive" and _yielded_through(last, name)]
    if yields and len(yields) == len(joint.geometry.bonds()):
        cause = "the adhesive has yielded along the whole bondline"
    elif through:
        cause = f"the {through[0].replace('_', ' ')} adherend has yielded through its thickness"
    elif yields:
        cause = f"the adhesive has yielded along the whole of bondline {yields[0][0]}"
    elif joint.analysis.large_rotation and joint.load.force < 0:
        cause = "the joint gives way sideways under compression"
    else:
        cause = ""
    if "limit load" in said or cause:
        reason = cause or "it gives way without gaining load"
        return f"limit load: the joint carries {at} in step {last.step!r} and no more, {share:.4g} % of the step: {reason}"
    tip = any(y.surface != "von-mises" for y in joint.yielding().values())
    more = " A cone or paraboloid has no stiffness at its tip; some hardening, or von Mises, may go further." if tip else ""
    return f"not converged beyond {at} in step {last.step!r}: {said}{more}"


def _parted(last: Deformed, at: str, share: float, said: str) -> str:
    """Return why the layer bears no more, in one sentence."""
    first = first_parting(last.body, last.state.history)
    mode = "in opening" if first.share < 0.2 else "in shear" if first.share > 0.8 else "in opening and shear"
    where = f"from x = {first.x:.4g} mm of bondline {first.bondline}" if first.progress > 0 else "at once"
    behind = f" ({said.split('; ')[1].rstrip('.')})" if "; " in said else ""
    return (
        f"limit load: the joint carries {at} in step {last.step!r} and no more, {share:.4g} % of the step: the adhesive parts "
        f"{where}, {mode} (mode II has {100 * first.share:.0f} % of the work there){behind}"
    )


def _yielded_through(solution: Deformed, name: str) -> bool:
    """Return whether somewhere along an adherend all points through the thickness have yielded."""
    d = solution.discretisation
    cells = d.section.cells(name)
    x = np.einsum("qa,ca->cq", d.shape_qa, d.points[d.nodes_ac[cells], 0])
    weight, flowed = d.weight_qc[cells], solution.plastic_strain(name) > YIELDED
    # In slices of half the thickness: a hinge is as long as that.
    slices = np.floor(x / (0.5 * solution.joint.geometry.adherends()[name].thickness)).astype(int)
    slices -= slices.min()
    whole, part = (np.bincount(slices.ravel(), (weight * share).ravel()) for share in (1.0, flowed))
    return bool((part > ALL * whole)[whole > 0].any())
