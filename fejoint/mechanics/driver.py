"""The one way through: from a joint to a checked result, refining the mesh until it is good enough."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Bondline
from fejoint.bondline.edge_moment import ROTATION, buckles, rotation_change
from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap
from fejoint.joint.materials import AdherendMaterial, Adhesive
from fejoint.mechanics.checks import Check, discretisation_error, solution_checks, stress_floor
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.linear import Solution, assemble, laws_of, pattern_of, solve_linear
from fejoint.mechanics.load_path import AdherendSection, adherend_peaks, adherend_sections, bond_forces
from fejoint.mechanics.outcome import Outcome
from fejoint.mechanics.recovery import edge_loads, nodal_stress, recover_bondlines, spew_peaks
from fejoint.mechanics.reuse import Kept, mesh_key, system_key
from fejoint.mechanics.section import Section, mesh_section
from fejoint.mechanics.symmetry import unfolded

__all__ = ["NEAR_BUCKLING", "Result", "solve"]

# Refinement stops here: beyond it a result that is still not good enough is handed over as such.
MAX_UNKNOWNS = 1_000_000
MAX_REFINEMENTS = 3
# From this share of the buckling force on a warning says so: there a beam-column moves sideways about twice as far as a
# linear analysis says, by 1 / (1 - P / P_cr) (theory of elastic stability, from memory).
NEAR_BUCKLING = 0.5
# Checks that a finer mesh does not mend: of round-off, which it makes worse, and of the load.
NOT_OF_THE_MESH = ("energy_balance", "solver_backward_error", "buckling")


@dataclass(frozen=True, eq=False, repr=False)
class Result(Outcome):
    """A solved joint, complete: what it comes to, and the mesh and displacements behind that.

    Attributes
    ----------
    section : Section
        The last mesh.
    solution : Solution
        Displacements and reactions on it.
    adhesive_stress : (nodes, 4) array, MPa
        Recovered stress xx, yy, xy, zz; NaN outside the adhesive.
    """

    section: Section
    solution: Solution
    adhesive_stress: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Level:
    """One mesh, solved."""

    solution: Solution
    stress: NDArray[np.float64]
    bondlines: list[Bondline]


def solve(joint: Joint, progress: Callable[[str], None] | None = None, kept: Kept | None = None) -> Result:
    """Solve a joint and check the result.

    The joint is solved on its first mesh and on one of half the density, which
    gives the discretisation error of peak shear and peel; while that is above
    ``analysis.error_target``, or a balance of the recovered stresses misses,
    the mesh is refined. A result that still misses is returned with the check
    that says so.

    Parameters
    ----------
    joint : Joint
    progress : callable, optional
        Called with a line of text before each stage.
    kept : Kept, optional
        What other solves left for this one, and where it leaves its own: joints
        that share a mesh, or all but their load, are then solved faster, to the
        same numbers. One a thread.

    Raises
    ------
    JointError
        It is no joint.
    MeshError, SetupError
        The section cannot be meshed.
    ConvergenceError
        The equations have no finite solution.

    Examples
    --------
    >>> import fejoint
    >>> result = fejoint.solve(fejoint.load("joint.toml"))  # doctest: +SKIP
    >>> result.bondlines[0].shear  # doctest: +SKIP
    """
    if not isinstance(joint, Joint):
        raise JointError(f"solve: a {type(joint).__name__} is no Joint; make one, or read a file with fejoint.load.")
    say = progress or (lambda text: None)
    clock = {"mesh": 0.0, "assemble": 0.0, "solve": 0.0, "recover": 0.0}
    density = joint.analysis.mesh_density
    kept = Kept(0) if kept is None else kept
    coarse = _solve_level(joint, density / 2, clock, say, kept)
    for refinement in range(MAX_REFINEMENTS + 1):
        level = _solve_level(joint, density, clock, say, kept)
        thickness = joint.geometry.bondline_thickness
        error = discretisation_error(level.bondlines, coarse.bondlines, thickness, stress_floor(joint))
        checks = solution_checks(level.solution, level.stress) + [
            Check(f"{name}_error", value, joint.analysis.error_target, f"estimated mesh error of {name.replace('_', ' ')}")
            for name, value in error.items()
        ]
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
        warnings=_warnings(level, sections, forces, checks),
    )


def _solve_level(joint: Joint, density: float, clock: dict[str, float], say: Callable[[str], None], kept: Kept) -> _Level:
    def timed(stage: str, work: Callable[[], Any]) -> Any:
        start = time.perf_counter()
        made = work()
        clock[stage] += time.perf_counter() - start
        return made

    def meshed() -> Discretisation:
        say(f"meshing, density {density:g}")
        section = timed("mesh", lambda: mesh_section(joint, density))
        made: Discretisation = timed("assemble", lambda: discretise(section))
        return made

    load, lifted = joint.load, joint.load.shear_force != 0
    mesh, held = mesh_key(joint, density), f"{load.ends} {lifted}"
    d = kept.once(mesh, meshed)
    say(f"solving, {len(d.nodes_ac)} cells")
    pattern = kept.once(f"{mesh} {held}", lambda: timed("assemble", lambda: pattern_of(d, load.ends, lifted)))
    system = kept.once(
        system_key(joint, density),
        lambda: timed("assemble", lambda: assemble(d, laws_of(joint, d.section), load.ends, lifted, pattern)),
    )
    solution = timed("solve", lambda: unfolded(solve_linear(system, joint)))
    stress = timed("recover", lambda: nodal_stress(solution))
    return _Level(solution, stress, timed("recover", lambda: recover_bondlines(solution, stress)))


def _warnings(level: _Level, sections: list[AdherendSection], forces: dict[str, float], checks: list[Check]) -> list[str]:
    joint, found = level.solution.joint, []
    for check in checks:
        if not check.passed:
            found.append(f"self-check missed: {check.name} = {check.value:.3g}, limit {check.limit:g} ({check.meaning})")
    found += _over_limits(joint, level.bondlines, sections, forces)
    share = next((check.value for check in checks if check.name == "buckling"), 0.0)
    found += _rotation(level.solution, sections, share)
    return found


def _rotation(solution: Solution, sections: list[AdherendSection], share: float) -> list[str]:
    """Return what is to be said of a joint that turns or moves sideways under its load, which a linear analysis leaves out."""
    joint = solution.joint
    if buckles(joint):
        return ["taken as a frame of beams the joint has buckled under this compression: its linear stresses mean nothing"]
    near = []
    if share >= NEAR_BUCKLING:
        near = [
            f"this compression is {100 * share:.0f} % of that at which the joint buckles as a frame of beams: it bends far more "
            "than a linear analysis says, and how much the straightness of the real parts decides"
        ]
    return near + _turned(solution, sections)


def _turned(solution: Solution, sections: list[AdherendSection]) -> list[str]:
    """Return by how much the joint's turning or moving sideways changes what the linear analysis found."""
    joint = solution.joint
    pulled = joint.load.force > 0
    change = rotation_change(joint)
    if abs(change) > ROTATION:
        more = change > 0
        return [
            f"linear analysis: the joint {'turns' if pulled else 'bends further'} under this load, so the true edge moment "
            f"is about {100 * abs(change):.0f} % {'larger' if more else 'smaller'} than the linear one; shear and peel at "
            f"the overlap ends are {'understated' if more else 'overstated'}"
        ]
    # Other joints and loads: what the force makes of the sideways movement, as bending stress, against what there is.
    moved = float(np.abs(solution.displacement[:, 1]).max())
    bending = max(6 * abs(joint.line_load) * moved / s.thickness**2 for s in sections)
    largest = max(s.peak_stress for s in sections)
    if bending > ROTATION * largest and not (joint.load.force_alone and joint.geometry.kind == "single-lap"):
        return [
            f"linear analysis: the joint moves sideways by up to {moved:.3g} mm, where this force changes its bending stress "
            f"by up to about {bending:.3g} MPa, {100 * bending / largest:.0f} % of the largest beam stress"
        ]
    return []


def _over_limits(joint: Joint, bondlines: list[Bondline], sections: list[AdherendSection], forces: dict[str, float]) -> list[str]:
    """Return where a linear stress lies above a limit that the material states; no prediction of failure."""
    shear = max(abs(b.peak_shear.value) for b in bondlines)
    peel = max(b.peak_peel.value for b in bondlines)
    stated: list[tuple[str, float, Adhesive | AdherendMaterial, tuple[str, str]]] = [
        ("peak shear", shear, joint.adhesive, ("shear_strength", "shear_yield")),
        ("peak peel", peel, joint.adhesive, ("tensile_strength", "tensile_yield")),
    ]
    if isinstance(joint.geometry, SteppedLap):
        tension = {f"riser {i}": forces[f"riser {i}"] / height for i, height in enumerate(joint.geometry.risers, 1)}
        worst = max(tension, key=lambda name: tension[name])
        limits = ("tensile_strength", "tensile_yield")
        stated.append((f"mean tension across {worst}", tension[worst], joint.adhesive, limits))
    parts = joint.geometry.adherends()
    for name, stress in adherend_peaks(sections).items():
        what = f"largest beam stress of the {name.replace('_', ' ')} adherend"
        stated.append((what, stress, parts[name].material, ("tensile_strength", "tensile_yield")))
    found = []
    for what, stress, material, limits in stated:
        limit = next((key for key in limits if stress > (getattr(material, key, None) or math.inf)), None)
        if limit is not None:
            found.append(
                f"{what}, {stress:.3g} MPa, is above the material's {limit.replace('_', ' ')}, "
                f"{getattr(material, limit):.3g} MPa ({material.source(limit)}), which a linear analysis does not see"
            )
    return found
