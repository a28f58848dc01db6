"""Along the path of a joint whose layer parts: over the peak of the load, down the falling branch, and through a snap-back.

Past the peak no equilibrium is found at a given load, and where the arms give
back more than the crack takes none at a given travel of the loaded end: both turn back. What
never turns back is the place that parts. So beyond the onset of damage an increment
is given by how far the places in the process zone part on (their separation
towards failure, weighted by length: one linear equation, `Loading.along`), and the
load is a result, with whichever sign.

The pace of such a path: `length` is the progress of the next increment, the most
that any place may come nearer to failure (1 is the whole way); `travel` the share of the load
gained by the last one; `ease` the largest share of the step so far; `velocity` the last
change of the unknowns; `slopes` how the share goes with the progress from here on, and the progress of the last increment.

Up to the largest load a short look ahead at the end of every increment says whether the load still
rises there. Where it does not, the largest load lies within the increment, which is
then cut until that load is known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import ConvergenceError
from fejoint.joint.description import Joint
from fejoint.joint.load import Step
from fejoint.mechanics.newton import Equilibrium, Problem, State
from fejoint.mechanics.nonlinear import Deformed, Pace, Stretch, deformed

__all__ = ["follow_parting", "fresh", "parted"]

Floats = NDArray[np.float64]

FIRST, LONGEST = 0.1, 0.25  # shares of a step while nothing is damaged
PROGRESS, MOST, LEAST = 0.1, 0.35, 1e-3  # of the places in the process zone in one increment: the first, the most, the least
EASY, HARD = 3, 8  # iterations: fewer make the next increment longer, more make it shorter
TRIES = 14
PASSED = 0.98  # share of the largest load below which it counts as passed
GONE = 0.2  # share of the largest load at which the joint counts as parted
# How far the largest load may lie above that of the nearest increments, as a share of it; and the least progress for that.
KNOWN, FINEST = 5e-4, 0.005
AHEAD = 1e-4  # progress of a look ahead, the mean of its places
MOST_INCREMENTS = 500
LOADED = 0.7  # of the largest onset: where nothing is damaged yet these places are given


def follow_parting(
    joint: Joint,
    problem: Problem,
    start: tuple[State, Pace] | None = None,
    say: Callable[[str], None] = lambda text: None,
    until: tuple[int, float] | None = None,
) -> Iterator[Deformed]:
    """Yield the section at rest at the end of every increment of a joint's load path, past the peak too.

    Parameters as of `fejoint.mechanics.nonlinear.follow`. A share of `until` may be infinite: the path then
    goes on until the joint has parted, whatever the load.

    Raises
    ------
    ConvergenceError
        The load was not reached: the message begins with ``limit load`` where the joint has parted, and `load_factor` is
        the largest share; else no equilibrium was found beyond the last one that was yielded.
    """
    path = joint.load.path()
    state, pace = start or (State.virgin(problem), fresh())
    last, last_share = until or (len(path) - 1, 1.0)
    for i in range(pace.step, last + 1):
        end = last_share if i == last else 1.0
        if pace.step != i:
            pace = fresh(pace.number, i)
        stretch = Stretch(joint, problem, path[i - 1] if i else Step(""), path[i])
        for found, reached in parted(stretch, state, pace, end, say):
            state, pace = found.state, reached
            yield deformed(joint, problem, state, pace, found.iterations, found.residuals[-1], found.internal, stretch.name)


def parted(
    stretch: Stretch, state: State, pace: Pace, end: float, say: Callable[[str], None] = lambda text: None
) -> Iterator[tuple[Equilibrium, Pace]]:
    """Yield equilibrium and pace at the end of every increment of one load step, up to its share `end`.

    Raises as `follow_parting`.
    """
    while pace.share < end:
        if pace.ease > 0 and pace.share <= GONE * pace.ease:
            raise ConvergenceError(f"limit load at {100 * pace.ease:.4g} % of step {stretch.name!r}", load_factor=pace.ease)
        if pace.number >= MOST_INCREMENTS:
            many = f"not at the load's end after {MOST_INCREMENTS} increments"
            raise ConvergenceError(f"{many} of step {stretch.name!r}.", load_factor=pace.ease)
        say(f"{stretch.name}: {100 * pace.share:.1f} % done, increment {pace.number + 1}")
        found, pace = _increment(stretch, state, pace, end)
        state = found.state
        yield found, pace


def fresh(number: int = 0, step: int = 0) -> Pace:
    """Return the pace at the start of a load step."""
    return Pace(number, step, 0.0, PROGRESS, 0.0, 0.0, np.zeros(0))


# ---- parts ---------------------------------------------------------------


class _Zone(NamedTuple):
    """What an increment is measured by.

    Attributes
    ----------
    along : (unknowns,) array
        Makes the mean progress of the zone's places of a change of the unknowns.
    slope : (zone, 12) array
        Makes the progress of each place of its element's displacements.
    dofs : (zone, 12) array
        Those displacements by number.
    onset : float
        How far the place that is nearest to its onset is towards it.
    damaged : bool
        Whether any place is damaged and not yet parted.
    """

    along: Floats
    slope: Floats
    dofs: NDArray[np.int64]
    onset: float
    damaged: bool


def _zone(problem: Problem, state: State) -> _Zone:
    """Return the places that part, or where nothing does yet those that are most loaded, and how their progress is measured."""
    d, transform = problem.body.discretisation, problem.pattern.transform
    displacement = np.asarray(transform @ state.unknowns).reshape(-1, 2)
    slopes: list[Floats] = []
    dofs: list[NDArray[np.int64]] = []
    weights, onsets, active = [], [], []
    for interface in problem.body.interfaces:
        history = state.history[interface.name]
        by = interface.evaluate(displacement, history, False).separation_by
        separation = history[0].reshape(-1, 4)[:, :2]
        damage = history[1].ravel()
        _, slope = interface.law.progress(separation)
        asked = interface.law.respond(separation, np.zeros(len(damage)), False).damage
        slopes.append((slope[:, None] @ by.reshape(-1, 2, 12))[:, 0])
        dofs.append(np.repeat(interface.dofs, history[1].shape[1], axis=0))
        weights.append(interface.weight.ravel())
        onsets.append(np.where(damage < 1, interface.law.onset(separation), 0.0))
        active.append((damage > 0) & (damage < 1) & (asked >= damage - 1e-9))
    onset, part = np.concatenate(onsets), np.concatenate(active)
    damaged = bool(part.any())
    if not damaged:
        part = onset >= LOADED * onset.max()
    slope, dof, weight = np.concatenate(slopes)[part], np.concatenate(dofs)[part], np.concatenate(weights)[part]
    row = np.bincount(dof.ravel(), (slope * weight[:, None]).ravel(), 2 * len(d.points)) / weight.sum()
    return _Zone(transform.T @ row, slope, dof, float(onset.max()), damaged)


def _increment(stretch: Stretch, state: State, pace: Pace, end: float) -> tuple[Equilibrium, Pace]:
    """Return the next increment of a step, cut back as often as it takes, and the pace after it."""
    zone = _zone(stretch.problem, state)
    if not len(pace.velocity) or not stretch.loads_alone or not (zone.damaged or zone.onset > 0):
        return _by_load(stretch, state, pace, end)
    if not zone.damaged:
        # In proportion to the load, or nearly so: up to the onset and a little beyond.
        ahead = (1.02 / zone.onset - 1) * pace.share if zone.onset < 1 else 0.0
        if ahead > 0.05 * pace.share:
            return _by_load(stretch, state, pace, end, ahead)
    return _by_progress(stretch, state, pace, end, zone)


def _by_load(stretch: Stretch, state: State, pace: Pace, end: float, most: float = np.inf) -> tuple[Equilibrium, Pace]:
    """Return an increment at a given load."""
    x = state.unknowns
    whole = end if np.isfinite(end) else max(1.0, pace.share / LONGEST)
    length, residual = min(most, (FIRST if not len(pace.velocity) else LONGEST) * whole), float("nan")
    for _ in range(TRIES):
        share = end if pace.share + 1.1 * length >= end else pace.share + length
        rate = pace.velocity * ((share - pace.share) / pace.travel) if len(pace.velocity) and pace.travel else 0.0
        try:
            found = stretch.at(state, share, x + rate)
        except ConvergenceError as error:
            residual, length = error.residual, (share - pace.share) / 3
            continue
        farthest = _farthest(stretch.problem, state, found.state)
        if farthest > 1.2 * MOST:
            length = (share - pace.share) * max(0.1, 0.7 * MOST / farthest)
        elif stretch.loads_alone and not _climbs(stretch, found):
            length = (share - pace.share) / 3
        else:
            return found, _next(pace, x, found, share, max(farthest, LEAST), PROGRESS)
    raise _stuck(stretch, pace, residual)


def _farthest(problem: Problem, before: State, after: State) -> float:
    """Return the largest progress towards failure of any place in an increment."""
    found = 0.0
    for interface in problem.body.interfaces:
        was, now = (interface.law.progress(s.history[interface.name][0].reshape(-1, 4)[:, :2])[0] for s in (before, after))
        held = before.history[interface.name][1].ravel() < 1
        found = max(found, float((np.minimum(now, 1.0) - np.minimum(was, 1.0))[held].max(initial=0.0)))
    return found


def _by_progress(stretch: Stretch, state: State, pace: Pace, end: float, zone: _Zone) -> tuple[Equilibrium, Pace]:
    """Return an increment at a given progress of the places that part."""
    x, residual = state.unknowns, float("nan")
    assert pace.travel is not None
    progress = pace.length
    move = np.asarray(stretch.problem.pattern.transform @ pace.velocity)
    grows = (zone.slope * move[zone.dofs]).sum(axis=1).max()
    mean = float(zone.along @ pace.velocity)
    for attempt in range(TRIES):
        if progress < LEAST:
            break
        if grows > 0 and mean > 0 and attempt < 3:
            ahead = progress / grows
            guess, share, travel = x + ahead * pace.velocity, pace.share + ahead * pace.travel, ahead * mean
        else:  # what came before leads astray
            guess, share, travel = x, pace.share, progress / 3
        try:
            found = stretch.at(state, share, guess, travel, zone.along)
        except ConvergenceError as error:
            residual, progress = error.residual, progress / 2
            continue
        if _farthest(stretch.problem, state, found.state) > 2 * MOST:
            progress /= 2
            continue
        rises = pace.slopes[0] > 0 and max(found.share, pace.share) >= PASSED * pace.ease
        slope = _look_ahead(stretch, found) if rises and found.share > pace.share else -1.0
        if rises and slope <= 0 and progress > FINEST:
            # While the load rises ever less it is, in this increment, at most what it would be if it rose as at its start.
            most = pace.share + pace.slopes[0] * progress
            if most - max(found.share, pace.share) > KNOWN * abs(pace.ease):
                progress = max(FINEST, progress / 3)
                continue
        if found.share < end:
            return found, _next(pace, x, found, found.share, progress, slope=slope)
        # Just there: once more, at the load itself, where the falling branch has an equilibrium, too.
        part = (end - pace.share) / (found.share - pace.share)
        try:
            found = stretch.at(state, end, x + part * (found.state.unknowns - x))
        except ConvergenceError as error:
            residual, progress = error.residual, progress / 2
            continue
        if not rises or _climbs(stretch, found):
            return found, _next(pace, x, found, end, progress)
        progress /= 2
    raise _stuck(stretch, pace, residual)


def _climbs(stretch: Stretch, found: Equilibrium) -> bool:
    """Return whether the load still rises behind an increment: what is not damaged does so."""
    history = found.state.history
    damaged = any((history[i.name][1][i.sound] > 0).any() for i in stretch.problem.body.interfaces)
    return not damaged or _look_ahead(stretch, found) > 0


def _look_ahead(stretch: Stretch, found: Equilibrium) -> float:
    """Return how the share goes with the progress behind an increment: by a very short one, which is not kept."""
    zone = _zone(stretch.problem, found.state)
    try:
        beyond = stretch.at(found.state, found.share, found.state.unknowns, AHEAD, zone.along)
    except ConvergenceError:
        return -1.0
    return (beyond.share - found.share) / max(_farthest(stretch.problem, found.state, beyond.state), 1e-12)


def _next(
    pace: Pace,
    x: Floats,
    found: Equilibrium,
    share: float,
    progress: float,
    length: float | None = None,
    slope: float | None = None,
) -> Pace:
    """Return the pace after an increment that came to rest.

    `length` is that of the next one, where it is no question of ease; `slope` the share by progress from here on, where known.
    """
    hurry = 2.0 if found.iterations <= EASY else 1.4 if found.iterations < HARD else 0.7
    gained = share - pace.share
    return Pace(
        number=pace.number + 1,
        step=pace.step,
        share=share,
        length=min(hurry * progress, MOST) if length is None else length,
        travel=gained,
        ease=max(pace.ease, share),
        velocity=found.state.unknowns - x,
        slopes=(gained / progress if slope is None else slope, progress),
    )


def _stuck(stretch: Stretch, pace: Pace, residual: float) -> ConvergenceError:
    said = f"no equilibrium found beyond {100 * pace.share:.4g} % of step {stretch.name!r}."
    if pace.share < PASSED * pace.ease:
        said = f"limit load at {100 * pace.ease:.4g} % of step {stretch.name!r}; behind it {said}"
    return ConvergenceError(said, load_factor=pace.ease, residual=residual)
