"""The one way through: from a joint to a checked result, refining the mesh until it is good enough."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Bondline
from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.mechanics.cautions import cautions
from fejoint.mechanics.checks import Check, discretisation_error, parted_error, solution_checks, stress_floor
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.linear import Pattern, Solution, assemble, laws_of, solve_linear
from fejoint.mechanics.load_path import adherend_sections, bond_forces
from fejoint.mechanics.nonlinear import pattern_for
from fejoint.mechanics.path import Marker, follow_path, largest_of, marker_of
from fejoint.mechanics.recovery import edge_loads, nodal_stress, recover_bondlines, spew_peaks
from fejoint.mechanics.result import Result
from fejoint.mechanics.reuse import Kept, mesh_key, system_key
from fejoint.mechanics.section import mesh_section
from fejoint.mechanics.symmetry import unfolded

__all__ = ["Level", "Result", "path_on", "solve", "solve_on"]

# Refinement stops here: beyond it a result that is still not good enough is handed over as such.
MAX_UNKNOWNS = 1_000_000
MAX_REFINEMENTS = 3
# Share of a limit load at which two meshes are compared.
BEFORE_THE_LIMIT = 0.95
# Checks that a finer mesh does not mend: of round-off, which it makes worse, and of the load.
NOT_OF_THE_MESH = ("energy_balance", "solver_backward_error", "buckling")


@dataclass(frozen=True, eq=False)
class Level:
    """One mesh, solved: displacements, recovered adhesive stress (nodes, 4) and curves."""

    solution: Solution
    stress: NDArray[np.float64]
    bondlines: list[Bondline]


def solve(
    joint: Joint,
    progress: Callable[[str], None] | None = None,
    kept: Kept | None = None,
    record: Callable[[Result], None] | None = None,
    start: Sequence[Marker] = (),
) -> Result:
    """Solve a joint and check the result.

    The joint is solved on its first mesh and on one of half the density, which
    gives the discretisation error of peak shear and peel; while that is above
    ``analysis.error_target``, or a balance of the recovered stresses misses,
    the mesh is refined. A result that still misses is returned with the check
    that says so.

    With large rotation or plasticity the mesh is the one that is good enough
    for the elastic joint under small rotation; on it the load's path is followed
    increment by increment, and on the mesh of half the density once more for the
    error of the end. Where the load cannot be reached the result is that of the
    largest load that was, its `limit` says why, and the check ``load_reached`` misses.

    A cohesive layer is meshed as its process zone needs. Where the load cannot be
    reached the path goes on behind the largest load, down to a fifth of it; the
    result is that of the largest load all the same.

    Parameters
    ----------
    joint : Joint
    progress : callable, optional
        Called with a line of text before each stage.
    kept : Kept, optional
        What other solves left for this one, and where it leaves its own: joints
        that share a mesh, or all but their load, are then solved faster, to the
        same numbers. One a thread.
    record : callable, optional
        Called with the result of every increment on the load's path, as soon as it is there.
    start : sequence of Marker, optional
        Those of the increments of an interrupted run of the same joint, in order; it goes on behind the last.

    Raises
    ------
    JointError
        It is no joint.
    MeshError, SetupError
        The section cannot be meshed.
    ConvergenceError
        The equations have no finite solution; not even the first increment comes to rest.

    Examples
    --------
    >>> import fejoint
    >>> result = fejoint.solve(fejoint.load("joint.toml"))  # doctest: +SKIP
    >>> result.bondlines[0].shear  # doctest: +SKIP
    """
    if not isinstance(joint, Joint):
        raise JointError(f"solve: a {type(joint).__name__} is no Joint; make one, or read a file with fejoint.load.")
    say = progress or (lambda text: None)
    if joint.analysis.nonlinear:
        return _along_the_path(joint, say, kept, record, start)
    clock = {"mesh": 0.0, "assemble": 0.0, "solve": 0.0, "recover": 0.0}
    density = joint.analysis.mesh_density
    kept = Kept(0) if kept is None else kept
    coarse = _solve_level(joint, density / 2, clock, say, kept)
    for refinement in range(MAX_REFINEMENTS + 1):
        level = _solve_level(joint, density, clock, say, kept)
        thickness = joint.geometry.bondline_thickness
        error = discretisation_error(level.bondlines, coarse.bondlines, thickness, stress_floor(joint))
        checks = solution_checks(level.solution, level.stress) + _error_checks(error, joint)
        unknowns = 2 * len(level.solution.discretisation.points)
        mendable = any(not check.passed and check.name not in NOT_OF_THE_MESH for check in checks)
        if not mendable or refinement == MAX_REFINEMENTS or 4 * unknowns > MAX_UNKNOWNS:
            break
        coarse, density = level, 2 * density
    sections = adherend_sections(level.solution, level.bondlines)
    forces = bond_forces(level.solution, level.stress)
    return Result(
        joint=joint,
        section=level.solution.section,
        solution=level.solution,
        bondlines=level.bondlines,
        edges=edge_loads(level.solution),
        bond_forces=forces,
        adherend_sections=sections,
        spew_peaks=spew_peaks(level.solution, level.stress),
        checks=checks,
        discretisation_error=error,
        unknowns=unknowns,
        adhesive_stress=level.stress,
        seconds={name: round(value, 4) for name, value in clock.items()},
        warnings=cautions(level.solution, level.bondlines, sections, forces, checks),
        elongation=level.solution.elongation,
        turn=level.solution.turn,
        lift=level.solution.lift,
    )


def solve_on(joint: Joint, density: float, kept: Kept) -> Level:
    """Return a joint solved by linear elasticity on the mesh of one density, without a look at its error.

    Raises
    ------
    MeshError, SetupError, ConvergenceError
        As `solve`.
    """
    return _solve_level(joint, density, dict.fromkeys(("mesh", "assemble", "solve", "recover"), 0.0), lambda text: None, kept)


def path_on(joint: Joint, density: float, kept: Kept, say: Callable[[str], None]) -> tuple[list[Result], str]:
    """Return the results along a joint's load path on the mesh of one density, and why it ended early (or nothing).

    Raises
    ------
    MeshError, SetupError, ConvergenceError
        As `solve`.
    """
    clock = dict.fromkeys(("mesh", "assemble"), 0.0)
    found, limit, *_ = follow_path(joint, *_meshed(joint, density, joint.load.guided, clock, say, kept), say)
    return found, limit


def _along_the_path(
    joint: Joint,
    say: Callable[[str], None],
    kept: Kept | None,
    record: Callable[[Result], None] | None,
    start: Sequence[Marker],
) -> Result:
    kept = Kept(0) if kept is None else kept
    start_time, floor = time.perf_counter(), stress_floor(joint)
    density, clock = joint.analysis.mesh_density, {"mesh": 0.0, "assemble": 0.0, "solve": 0.0, "recover": 0.0}
    if not joint.analysis.cohesive:
        first = solve(joint.elastic(), say, kept)
        density, clock = first.section.density, first.seconds
    clock = {**clock, "path": 0.0}

    def meshed(density: float) -> tuple[Discretisation, Pattern]:
        return _meshed(joint, density, joint.load.guided, clock, say, kept)

    found, limit, done = follow_path(joint, *meshed(density), say, record, start)
    top = largest_of(found)
    last, rising = found[top], found[: top + 1]
    # At a limit load the displacements of two meshes have nothing in common: the error is that of a little earlier.
    compared = next((r for r in reversed(rising) if not limit or _share(r, done[0]) <= BEFORE_THE_LIMIT * done[1]), last)
    pace = marker_of(compared).pace
    until = (pace.step, pace.share)
    say("the path once more, on the coarser mesh")
    error = dict.fromkeys(("peak_shear", "peak_peel"), float("nan"))
    coarse, missed, _ = follow_path(joint, *meshed(density / 2), say, None, (), until, curves_of_last_only=True)
    if not missed:
        pair, thickness = (compared.bondlines, coarse[-1].bondlines), joint.geometry.bondline_thickness
        error = parted_error(*pair) if joint.analysis.cohesive else discretisation_error(*pair, thickness, floor)
    checks = [
        *last.checks,
        Check("load_reached", 0.0 if not limit else 1.0 - done[1], 0.0, "share of the last load step that could not be reached"),
        *_error_checks(error, joint),
    ]
    clock["path"] = time.perf_counter() - start_time - sum(clock.values())
    seconds = {stage: round(value, 4) for stage, value in clock.items()}
    said_otherwise = [check for check in checks if not limit or check.name != "load_reached"]
    told = cautions(last.solution, last.bondlines, last.adherend_sections, last.bond_forces, said_otherwise)
    end = replace(last, checks=checks, discretisation_error=error, seconds=seconds, warnings=([limit] if limit else []) + told)
    end = replace(end, limit=limit, asked=joint, joint=last.joint if limit else joint)
    return replace(end, path=(*found[:top], end, *found[top + 1 :]))


def _share(result: Result, step: int) -> float:
    """Return how much of a step was done at an increment: less than none for one of an earlier step."""
    pace = marker_of(result).pace
    return pace.share if pace.step == step else -1.0


def _error_checks(error: dict[str, float], joint: Joint) -> list[Check]:
    target = joint.analysis.error_target
    return [
        Check(f"{name}_error", value, target, f"estimated mesh error of {name.replace('_', ' ')}")
        for name, value in error.items()
    ]


def _timed(clock: dict[str, float], stage: str, work: Callable[[], Any]) -> Any:
    start = time.perf_counter()
    made = work()
    clock[stage] += time.perf_counter() - start
    return made


def _meshed(
    joint: Joint, density: float, lifted: bool, clock: dict[str, float], say: Callable[[str], None], kept: Kept
) -> tuple[Discretisation, Pattern]:
    """Return a joint's section of a density, and the pattern of its matrix with the ends as they are held."""

    def made() -> Discretisation:
        say(f"meshing, density {density:g}")
        section = _timed(clock, "mesh", lambda: mesh_section(joint, density))
        found: Discretisation = _timed(clock, "assemble", lambda: discretise(section))
        return found

    mesh, ends = mesh_key(joint, density), joint.load.ends
    d = kept.once(mesh, made)
    pattern = kept.once(f"{mesh} {ends} {lifted}", lambda: _timed(clock, "assemble", lambda: pattern_for(joint, d, lifted)))
    return d, pattern


def _solve_level(joint: Joint, density: float, clock: dict[str, float], say: Callable[[str], None], kept: Kept) -> Level:
    load, lifted = joint.load, joint.load.shear_force != 0
    d, pattern = _meshed(joint, density, lifted, clock, say, kept)
    say(f"solving, {len(d.nodes_ac)} cells")
    system = kept.once(
        system_key(joint, density),
        lambda: _timed(clock, "assemble", lambda: assemble(d, laws_of(joint, d.section), load.ends, lifted, pattern)),
    )
    solution = _timed(clock, "solve", lambda: unfolded(solve_linear(system, joint)))
    stress = _timed(clock, "recover", lambda: nodal_stress(solution))
    return Level(solution, stress, _timed(clock, "recover", lambda: recover_bondlines(solution, stress)))
