"""Along the load's path: increment by increment, each as long as it can be, to the end or to the limit load.

An increment is solved at a given load while that goes well. Where the joint
softens so far that it does not, the increment is given by how far the load's
point travels instead, and the load is a result: so the largest load that the
joint carries is found and not merely approached.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay

from fejoint.errors import ConvergenceError
from fejoint.joint.conditions import Environment
from fejoint.joint.description import Joint
from fejoint.joint.load import Step
from fejoint.mechanics.behaviour import behaviours_of
from fejoint.mechanics.body import Body, Stresses
from fejoint.mechanics.discretisation import Discretisation, of_mesh
from fejoint.mechanics.ends import deformed_end_forces, end_faces
from fejoint.mechanics.interface import interfaces_of, tied_inside
from fejoint.mechanics.layer import Nodal, nodal_tractions
from fejoint.mechanics.linear import Pattern, Solution, laws_of, pattern_of
from fejoint.mechanics.newton import Equilibrium, Loading, Problem, State, equilibrium

__all__ = ["Deformed", "Pace", "Stretch", "deformed", "follow", "pattern_for", "problem_of"]

Floats = NDArray[np.float64]

# Lengths of increments, as shares of a step: the first, the longest (so that curves against the load have points enough)
# and the one below which the load's travel is given in its place.
FIRST, LONGEST, SHORTEST = 0.1, 0.2, 0.02
EASY, HARD = 5, 8  # iterations: fewer make the next increment longer, more make it shorter
# Where the load's point travels this much farther for the same share than at the step's start, travel is what is given.
SOFTER = 1.5
# Travel in one increment at most, over that of the step's first increment: a joint that flows is followed in strides.
FARTHEST = 4.0
# The load counts as at its limit where it grows by less than this share of what the same travel cost at the step's start.
LIMIT = 5e-3
MOST_INCREMENTS = 150
# Halvings of a travel, and what it may shrink to over that of the step's first increment, before the increment is given up.
CUTS, SMALLEST = 8, 2e-3


@dataclass(frozen=True, eq=False)
class Pace:
    """How far the path has come and how it goes on.

    Attributes
    ----------
    number : int
        Of the increment.
    step : int
        Number of the load step.
    share : float
        Of the load step.
    length : float
        Of the next increment, as a share of the step.
    travel : float or None
        Work of the step's loads on the next increment's displacements, N; None: the increment is given by its length.
    ease : float
        Travel by share at the step's start.
    velocity : array
        Unknowns by share, of the last increment.
    slopes : (float, float)
        Of a layer that parts: see `fejoint.mechanics.parting`, which gives the others a meaning of its own, too.
    """

    number: int
    step: int
    share: float
    length: float
    travel: float | None
    ease: float
    velocity: Floats
    slopes: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Deformed(Solution):
    """A section at rest on its load's path.

    Attributes
    ----------
    body : Body
    state : State
    pace : Pace
    step : str
        Name of the load step.
    iterations : int
    residual : float
        Largest force out of balance, over the largest force of a cell on a node.
    internal : (2 nodes,) array, N/mm
        Forces of the section on its nodes.
    """

    body: Body
    state: State
    pace: Pace
    step: str
    iterations: int
    residual: float
    internal: Floats

    @property
    def places(self) -> Floats:
        """Where forces act for their moments, (nodes, 2), mm: the displaced nodes."""
        if not self.joint.analysis.large_rotation:
            return self.discretisation.points
        return np.asarray(self.discretisation.points + self.displacement)

    def entries(self) -> dict[str, tuple[float, float]]:
        """Return where the mid-plane of every adherend enters the overlap, displaced, x and y, mm."""
        d, geometry, found = self.discretisation, self.joint.geometry, {}
        for face in end_faces(d):
            reach = geometry.adherends()[face.adherend].thickness
            nodes, shares = _round_about(d, face.adherend, geometry.entries()[face.adherend], face.middle, reach)
            x, y = shares @ self.places[nodes]
            found[face.adherend] = (float(x), float(y))
        return found

    def stress(self, region: str, kind: str = "bondline") -> Floats:
        """Return the element stresses of a region at its quadrature points, shape (4 or 5, cells, q), MPa (see `Stresses`)."""
        layer = self.layer_stress(kind) if region == "adhesive" else None
        if layer is not None:  # as the elements of the layer would have it: of its nodes
            d = self.discretisation
            return np.asarray(np.einsum("qa,cai->icq", d.shape_qa, layer[d.nodes_ac[d.section.cells(region)]], optimize=True))
        if region not in self._stresses:
            self._stresses[region] = self.body.stresses(
                region, self.displacement, self.width_strain, self.state.history, self.joint.environment
            )
        return np.asarray(getattr(self._stresses[region], kind))

    def elastic_strain(self, region: str) -> Floats:
        """Return the elastic strain of a region at its quadrature points, free strain included, (points, 4)."""
        return self.body.elastic_strain(region, self.displacement, self.width_strain, self.state.history)

    def plastic_strain(self, region: str) -> Floats:
        """Return the equivalent plastic strain of a region at its quadrature points, (cells, q)."""
        return self.state.history[region][1]

    @property
    def layer(self) -> Nodal | None:
        """What a cohesive layer bears and how far it is parted, at the nodes; None of another layer."""
        if not self.body.interfaces:
            return None
        if "_kept_layer" not in self.__dict__:
            self.__dict__["_kept_layer"] = nodal_tractions(self.body, self.displacement, self.state.history)
        kept: Nodal = self.__dict__["_kept_layer"]
        return kept

    def layer_stress(self, kind: str) -> Floats | None:
        """Return the stress of a cohesive layer at the nodes, as `fejoint.mechanics.recovery.nodal_stress`; None of another."""
        return None if self.layer is None else np.asarray(getattr(self.layer, kind))

    @property
    def _stresses(self) -> dict[str, Stresses]:
        kept: dict[str, Stresses] = self.__dict__.setdefault("_kept_stresses", {})
        return kept


def pattern_for(joint: Joint, d: Discretisation, lifted: bool) -> Pattern:
    """Return the pattern of a joint's matrix (`pattern_of`): with interface elements where its layer is cohesive."""
    if not joint.analysis.cohesive:
        return pattern_of(d, joint.load.ends, lifted)
    dofs = Body(d, behaviours_of(joint), interfaces_of(joint, d)).dofs
    tied = tied_inside(d, joint.geometry.bonds(), joint.geometry.bondline_thickness)
    return pattern_of(d, joint.load.ends, lifted, dofs, tied)


def problem_of(joint: Joint, d: Discretisation, pattern: Pattern) -> Problem:
    """Return the section whose equilibrium is sought along a joint's load path."""
    body = Body(d, behaviours_of(joint), interfaces_of(joint, d))
    return Problem(
        body,
        pattern,
        joint.out_of_plane == "generalised",
        all(b.symmetric for b in body.behaviours.values()) and not body.interfaces,
        joint.analysis.large_rotation,
    )


def follow(
    joint: Joint,
    problem: Problem,
    start: tuple[State, Pace] | None = None,
    say: Callable[[str], None] = lambda text: None,
    until: tuple[int, float] | None = None,
) -> Iterator[Deformed]:
    """Yield the section at rest at the end of every increment of a joint's load path.

    Parameters
    ----------
    joint : Joint
    problem : Problem
        See `problem_of`.
    start : (State, Pace), optional
        Of an increment of the same path, to go on from; the undeformed section by default.
    say : callable
        Called with a line of text before each increment.
    until : (int, float), optional
        Number of the step and share of it where to end, in place of the path's end.

    Raises
    ------
    ConvergenceError
        No equilibrium beyond the last one that was yielded: its message says whether that is a limit load.
    """
    path = joint.load.path()
    state, pace = start or (State.virgin(problem), Pace(0, 0, 0.0, FIRST, None, 0.0, np.zeros(0)))
    last, last_share = until or (len(path) - 1, 1.0)
    for i in range(pace.step, last + 1):
        step, before = path[i], path[i - 1] if i else Step("")
        end = last_share if i == last else 1.0
        if pace.step != i:
            pace = Pace(pace.number, i, 0.0, FIRST, None, 0.0, np.zeros(0))
        stretch = Stretch(joint, problem, before, step)
        while pace.share < end:
            say(f"{step.name}: {100 * pace.share:.0f} % done, increment {pace.number + 1}")
            found, pace = _increment(stretch, state, pace, end)
            state = found.state
            yield deformed(joint, problem, found.state, pace, found.iterations, found.residuals[-1], found.internal, step.name)


# ---- parts ---------------------------------------------------------------


@of_mesh
def _round_about(d: Discretisation, region: str, x: float, y: float, reach: float) -> tuple[NDArray[np.int64], Floats]:
    """Return three nodes of a region round a place, and their shares in it: a stepped lap has no nodes where it is entered."""
    nodes = np.unique(d.nodes_ac[d.section.cells(region)])
    near = nodes[np.abs(d.points[nodes, 0] - x) < reach]
    mesh = Delaunay(d.points[near])
    triangle = int(mesh.find_simplex([x, y], tol=1e-9))
    to = mesh.transform[triangle]
    two = to[:2] @ (np.array([x, y]) - to[2])
    return near[mesh.simplices[triangle]], np.array([*two, 1 - two.sum()])


class Stretch:
    """One load step of a joint: what acts at every share of it."""

    def __init__(self, joint: Joint, problem: Problem, before: Step, step: Step) -> None:
        self.joint, self.problem = joint, problem
        self.before, self.after, self.name = before.values(), step.values(), step.name
        width, named = joint.geometry.width, problem.pattern.named
        unit = {
            "axial": ("force", joint.geometry.pull / width),
            "turn": ("moment", 1 / width),
            "lift": ("shear_force", 1 / width),
        }
        self.base = {n: unit[n][1] * self.before[unit[n][0]] for n in named}
        self.rate = {n: unit[n][1] * (self.after[unit[n][0]] - self.before[unit[n][0]]) for n in named}
        changes = {key: self.after[key] - self.before[key] for key in self.after}
        # The load's travel makes sense of loads alone, while temperature and moisture rest.
        self.loads_alone = changes["temperature_change"] == changes["moisture"] == 0 and any(self.rate.values())

    def values(self, share: float) -> dict[str, float]:
        """Return what acts at a share, by key, a whole share to the last digit."""
        if share == 1:
            return self.after
        return {key: value + share * (self.after[key] - value) for key, value in self.before.items()}

    def environment(self, share: float) -> Environment:
        """Return temperature and moisture at a share."""
        now, free = self.values(share), self.joint.load.stress_free_temperature
        change = now["temperature_change"]
        return Environment(change, None if free is None else free + change, now["moisture"])

    def work(self, move: Floats) -> float:
        """Return the work of the step's loads on a change of the unknowns, N."""
        named = self.problem.pattern.named
        return float(sum(value * move[named[name]] for name, value in self.rate.items()))

    def at(
        self, state: State, share: float, guess: Floats, travel: float | None = None, along: Floats | None = None
    ) -> Equilibrium:
        """Return the section at rest at a share, or after a travel (`Loading`)."""
        loading = Loading(self.base, self.rate, self.environment(share), share, travel, along)
        return equilibrium(self.problem, state, loading, guess)


def _increment(stretch: Stretch, state: State, pace: Pace, end: float) -> tuple[Equilibrium, Pace]:
    """Return the next increment of a step, cut back as often as it takes, and the pace after it."""
    if pace.number >= MOST_INCREMENTS:
        raise ConvergenceError(
            f"not at the load's end after {MOST_INCREMENTS} increments, at {100 * pace.share:.4g} % of step {stretch.name!r}: "
            "take the load in fewer steps, or ask for a smaller one.",
            load_factor=pace.share,
        )
    x, length = state.unknowns, pace.length
    velocity = pace.velocity if len(pace.velocity) else np.zeros_like(x)
    residual = float("nan")
    if pace.travel is None:
        while True:
            share = end if pace.share + 1.3 * length >= end else pace.share + length
            try:
                found = stretch.at(state, share, x + (share - pace.share) * velocity)
            except ConvergenceError as error:
                residual = error.residual
                length = (share - pace.share) / 2
            else:
                return found, _next(stretch, pace, x, found, share)
            if len(velocity) and velocity.any():
                velocity = np.zeros_like(x)  # the next try does not lean on the past
            if length < SHORTEST and stretch.loads_alone:
                break
            if length < SHORTEST / 32:
                raise ConvergenceError(
                    f"no equilibrium found beyond {100 * pace.share:.4g} % of step {stretch.name!r}.",
                    load_factor=pace.share,
                    residual=residual,
                )
        travel = 0.5 * pace.ease * length if pace.ease else _first_travel(stretch, state, pace, length)
        velocity = pace.velocity if len(pace.velocity) else velocity
    else:
        travel = pace.travel
    return _by_travel(stretch, state, pace, travel, velocity, end, residual)


def _first_travel(stretch: Stretch, state: State, pace: Pace, length: float) -> float:
    """Return a travel to begin with where not even the step's first increment came to rest."""
    rest = stretch.at(state, pace.share, state.unknowns)
    small = 1e-6 * length
    return (
        stretch.work(stretch.at(rest.state, pace.share + small, state.unknowns).state.unknowns - state.unknowns) * length / small
    )


def _by_travel(
    stretch: Stretch, state: State, pace: Pace, travel: float, velocity: Floats, end: float, residual: float
) -> tuple[Equilibrium, Pace]:
    x = state.unknowns
    for attempt in range(CUTS):
        if travel < SMALLEST * FIRST * pace.ease:
            break
        if attempt > 1:  # what came before leads astray
            velocity = np.zeros_like(x)
        speed = stretch.work(velocity)
        ahead = travel / speed if speed > 0 else 0.0
        try:
            found = stretch.at(state, pace.share + ahead, x + ahead * velocity, travel)
        except ConvergenceError as error:
            residual, travel = error.residual, travel / 2
            continue
        gained = found.share - pace.share
        if gained <= LIMIT * travel / max(pace.ease, 1e-300):
            raise ConvergenceError(
                f"limit load at {100 * pace.share:.4g} % of step {stretch.name!r}",
                load_factor=pace.share,
                residual=found.residuals[-1],
            )
        if found.share >= end:  # just there: once more, at the load itself
            try:
                found = stretch.at(state, end, x + (end - pace.share) / gained * (found.state.unknowns - x))
            except ConvergenceError as error:
                residual, travel = error.residual, travel / 2
                continue
            return found, _next(stretch, pace, x, found, end)
        return found, _next(stretch, pace, x, found, found.share, travel)
    raise ConvergenceError(
        f"no equilibrium found beyond {100 * pace.share:.4g} % of step {stretch.name!r}.",
        load_factor=pace.share,
        residual=residual,
    )


def _next(stretch: Stretch, pace: Pace, x: Floats, found: Equilibrium, share: float, travel: float | None = None) -> Pace:
    """Return the pace after an increment that came to rest."""
    done, hurry = share - pace.share, 1.6 if found.iterations <= EASY else 1.0 if found.iterations < HARD else 0.6
    velocity = (found.state.unknowns - x) / done
    ease = pace.ease or stretch.work(found.state.unknowns - x) / done
    gone = stretch.work(found.state.unknowns - x)
    if travel is not None or (stretch.loads_alone and gone > SOFTER * ease * done > 0):
        travel = min(hurry * (gone if travel is None else travel), FARTHEST * FIRST * ease)
    return Pace(pace.number + 1, pace.step, share, min(hurry * done, LONGEST), travel, ease, velocity)


def deformed(
    joint: Joint, problem: Problem, state: State, pace: Pace, iterations: int, residual: float, internal: Floats, step: str
) -> Deformed:
    """Return the section at rest with all that goes with it; `joint` is the one whose load path this is on."""
    d, pattern, x, path = problem.body.discretisation, problem.pattern, state.unknowns, joint.load.path()
    stretch = Stretch(joint, problem, path[pace.step - 1] if pace.step else Step(""), path[pace.step])
    joint = joint.at(**stretch.values(pace.share))
    displacement = np.asarray(pattern.transform @ x).reshape(-1, 2)
    places = d.points + displacement if joint.analysis.large_rotation else d.points

    def moved(name: str) -> float:
        return float(x[pattern.named[name]]) if name in pattern.named else 0.0

    return Deformed(
        joint=joint,
        discretisation=d,
        laws=laws_of(joint, d.section),
        displacement=displacement,
        width_strain=state.width,
        ends={face.adherend: deformed_end_forces(places, internal, face) for face in end_faces(d)},
        backward_error=0.0,
        elongation=joint.geometry.pull * moved("axial"),
        turn=float(np.arcsin(np.clip(moved("turn"), -1, 1))) if problem.large else moved("turn"),
        lift=moved("lift"),
        body=problem.body,
        state=state,
        pace=pace,
        step=step,
        iterations=iterations,
        residual=residual,
        internal=internal,
    )
