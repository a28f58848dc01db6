"""The load that a joint with a cohesive layer bears, whatever load it states: over the peak and down the other side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import ConvergenceError, JointError
from fejoint.joint.cohesion import MOST_CELLS
from fejoint.joint.description import Joint
from fejoint.joint.load import Step
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.interface import Interface
from fejoint.mechanics.layer import Onset, crack_of, first_parting
from fejoint.mechanics.newton import Problem, State
from fejoint.mechanics.nonlinear import Deformed, Stretch, pattern_for, problem_of
from fejoint.mechanics.parting import follow_parting
from fejoint.mechanics.reuse import Kept, mesh_key
from fejoint.mechanics.section import mesh_section

__all__ = ["CohesiveLoad", "cohesive_load"]

Floats = NDArray[np.float64]

ENOUGH = 3  # elements in the process zone below which the load hangs on the mesh (common practice, no source)
PROBE = 1e-3  # of the load, for how far it is from the onset of damage


@dataclass(frozen=True, eq=False)
class CohesiveLoad:
    """The largest load of a joint with a cohesive layer.

    Attributes
    ----------
    joint : Joint
        As given, with a cohesive layer.
    force : float, N
        At the peak; 0 where no force acts.
    load_factor : float
        The joint's loads at the peak, as multiples of those that it states.
    bondline, x : int, float
        Where it parts first, mm from the overlap's left end.
    mode_2_share : float
        Of the work lost there up to the peak.
    process_zone : float, mm
        Length that is damaged and still bears there at the peak.
    elements_in_zone : int
    crack : float, mm
        Length of all bondlines that is parted at the peak, flaws among it.
    parted : bool
        Whether the path was followed until a fifth of the peak was left.
    mesh_difference : float
        Share by which a mesh of half the density has another peak; NaN where it was not asked for.
    elongation, load, cracked : (n,) arrays
        Along the path from nothing on: mm; N, or where no force acts the load factor; mm.
    lost : (n, 2) array, N mm
        Work lost in opening and in sliding up to there, over the width.
    warnings : list of str
    """

    joint: Joint
    force: float
    load_factor: float
    bondline: int
    x: float
    mode_2_share: float
    process_zone: float
    elements_in_zone: int
    crack: float
    parted: bool
    mesh_difference: float
    elongation: Floats
    load: Floats
    cracked: Floats
    lost: Floats
    warnings: list[str]


def cohesive_load(
    joint: Joint, kept: Kept | None = None, progress: Callable[[str], None] | None = None, *, two_meshes: bool = True
) -> CohesiveLoad:
    """Return the largest load of a joint whose layer is cohesive, and how it comes down from there.

    Force, moment and shear force are scaled together; temperature and moisture
    come first and stay. The layer is taken as cohesive whatever
    ``analysis.adhesive_model`` says; large rotation and plastic adherends are as the joint asks.

    Parameters
    ----------
    joint : Joint
    kept : Kept, optional
        What other solves left for this one (meshes).
    progress : callable, optional
        Called with a line of text before each increment.
    two_meshes : bool
        Whether to find the peak on a mesh of half the density as well.

    Raises
    ------
    JointError
        Nothing acts on the joint that could be scaled; it has load steps of its own; a figure that the model needs is missing.
    ConvergenceError
        No equilibrium was found before the peak.
    """
    if not joint.analysis.cohesive:
        joint = joint.replace(analysis=joint.analysis.replace(adhesive_model="cohesive"))
    load = joint.load
    if load.step is not None:
        raise JointError("load.step: the largest load is sought by scaling one load; leave the steps out.")
    if not (load.force or load.moment or load.shear_force):
        raise JointError("load.force = 0: there is no load to scale; give a force, moment or shear force of any size.")
    say = progress or (lambda text: None)
    found = _peak(joint, joint.analysis.mesh_density, kept, say)
    difference = float("nan")
    if two_meshes:
        say("once more, on the coarser mesh")
        coarse = _peak(joint, joint.analysis.mesh_density / 2, kept, say, up_to_the_peak=True)
        difference = abs(coarse.load_factor / found.load_factor - 1)
    warnings = list(found.warnings)
    if difference > 0.02:
        warnings.append(
            f"the largest load changes by {100 * difference:.2g} % from a mesh of half the density to this one: raise "
            "analysis.mesh_density"
        )
    return replace(found, mesh_difference=difference, warnings=warnings)


# ---- parts ---------------------------------------------------------------


def _peak(
    joint: Joint, density: float, kept: Kept | None, say: Callable[[str], None], *, up_to_the_peak: bool = False
) -> CohesiveLoad:
    kept = Kept(0) if kept is None else kept
    d = kept.once(mesh_key(joint, density), lambda: discretise(mesh_section(joint, density)))
    problem = problem_of(joint, d, pattern_for(joint, d, joint.load.guided))
    scale = _onset(joint, problem)
    load = joint.load
    # One share of the step is then about the load of onset, whatever the joint states.
    scaled = joint.replace(
        load=load.at(force=scale * load.force, moment=scale * load.moment, shear_force=scale * load.shear_force),
        analysis=joint.analysis.replace(out_of_plane=joint.out_of_plane),
    )
    steps, parted, why = len(scaled.load.path()), False, ""
    shares, elongation, cracked, lost = [0.0], [0.0], [0.0], [(0.0, 0.0)]
    top: Deformed | None = None
    try:
        for now in follow_parting(scaled, problem, None, say, (steps - 1, np.inf)):
            on_the_way = now.pace.step < steps - 1
            shares.append(0.0 if on_the_way else now.pace.share)
            elongation.append(now.elongation)
            cracks = [crack_of(i, now.state.history[i.name]) for i in problem.body.interfaces]
            cracked.append(sum(crack.parted for crack in cracks))
            lost.append((sum(crack.lost_1 for crack in cracks), sum(crack.lost_2 for crack in cracks)))
            # The share of a step before the load's own is none of the load.
            if top is None or top.pace.step < now.pace.step or on_the_way or now.pace.share > top.pace.share:
                top = now
            elif up_to_the_peak and now.pace.share < 0.98 * top.pace.share:
                break
    except ConvergenceError as error:
        parted, why = str(error).startswith("limit load"), str(error)
        if top is None or not parted or top.pace.step < steps - 1:
            raise
    assert top is not None
    share = scale * top.pace.share
    first = first_parting(problem.body, top.state.history)
    interface = problem.body.interfaces[first.bondline - 1]
    zone, elements = _zone(interface, top.state, first)
    return CohesiveLoad(
        joint=joint,
        force=share * joint.load.force,
        load_factor=share,
        bondline=first.bondline,
        x=first.x,
        mode_2_share=first.share,
        process_zone=zone,
        elements_in_zone=elements,
        crack=cracked[shares.index(top.pace.share)],
        parted=parted and "; behind it" not in why,
        mesh_difference=float("nan"),
        elongation=np.array(elongation),
        load=scale * np.array(shares) * (joint.load.force or 1.0),
        cracked=np.array(cracked),
        lost=joint.geometry.width * np.array(lost),
        warnings=_warnings(joint, elements, interface, why),
    )


def _onset(joint: Joint, problem: Problem) -> float:
    """Return the share of the joint's load at which damage would begin, in proportion to a small share of it."""
    stretch = Stretch(joint, problem, Step(""), Step("load", joint.load.force, joint.load.moment, joint.load.shear_force))
    start = State.virgin(problem)
    state = stretch.at(start, PROBE, start.unknowns).state
    onset = max(i.law.onset(state.history[i.name][0][i.sound][:, :2]).max() for i in problem.body.interfaces)
    return float(PROBE / onset)


def _zone(interface: Interface, state: State, first: Onset) -> tuple[float, int]:
    """Return the length of the damaged layer that still bears, next to where it parts first, and how many elements are in it."""
    damage = state.history[interface.name][1]
    held = np.asarray(((damage > 0) & interface.sound).any(axis=1))
    off = np.where(interface.sound, np.abs(interface.place - first.x), np.inf)  # at a flaw's edge the element beside it
    at = int(np.argmin(off.min(axis=1)))
    if not held[at]:
        return 0.0, 0
    bounds = np.flatnonzero(~held)
    left, right = bounds[bounds < at], bounds[bounds > at]
    run = slice(left[-1] + 1 if len(left) else 0, right[0] if len(right) else len(held))
    part = (damage[run] > 0) & (damage[run] < 1)
    return float(interface.weight[run][part].sum()), int(part.any(axis=1).sum())


def _warnings(joint: Joint, elements: int, interface: Interface, why: str) -> list[str]:
    found = []
    if elements < ENOUGH:
        few = f"the process zone is {elements} elements long, fewer than {ENOUGH}"
        found.append(f"{few}: the load hangs on the mesh; raise analysis.mesh_density")
    longest = float((interface.x[:, 2] - interface.x[:, 0]).max())
    if longest <= 1.01 * joint.geometry.length / MOST_CELLS / joint.analysis.mesh_density and elements < 2 * ENOUGH:
        found.append(f"the overlap is so much longer than the process zone that its cells are held at {longest:.3g} mm")
    if "; behind it" in why:
        found.append(f"{why.split('; ')[1]}: the falling branch ends there")
    return found
