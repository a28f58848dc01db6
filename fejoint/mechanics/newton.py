"""Equilibrium of a section by Newton's method, at a given load or at a given displacement of the load.

The unknowns are those of the section (`tied_ends`), with the width strain and
the share of the load beside them where they are unknown. One factorisation an
iteration, of the section's own matrix: the few unknowns beside it are found
from their answers (block elimination).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import ConvergenceError
from fejoint.mechanics.body import Body, Evaluated, History
from fejoint.mechanics.factor import factorise_any
from fejoint.mechanics.linear import Pattern

__all__ = ["Equilibrium", "Loading", "Problem", "State", "equilibrium"]

Floats = NDArray[np.float64]

# Of the largest force of a cell on a node. Newton's last step squares the error, so that what is left is round-off as a rule.
TOLERANCE = 1e-8
MOST_ITERATIONS = 14
# Of the stiffest entry times the largest displacement: what is left of large forces that cancel inside a stiff cell. It
# loosens the tolerance up to ten times and no more: what has flown off has large displacements, too.
ROUND_OFF, LOOSEST = 4e-15, 1e-7
# A section that is unloaded keeps round-off of this share, and more, of the forces that it bore at the increment's start.
REMEMBERED = 1e-3
# A step is shortened where the work of the residual on it has not fallen to this share.
ENOUGH = 0.9
SHORTENINGS = 4
# After this many iterations a residual that is still this large is better met by a shorter increment.
LATE, FAR = 8, 1e-3
# Iterations that grow the residual by more than this do not come back.
RUNAWAY = 1e6


@dataclass(frozen=True, eq=False)
class Problem:
    """A section whose equilibrium is sought.

    Attributes
    ----------
    body : Body
    pattern : Pattern
    generalised : bool
        Whether the width strain is an unknown, free of force across the width.
    symmetric : bool
        Whether the tangent is.
    large : bool
        Whether rotations are: the unknown of a face that turns is the sine of its angle then.
    """

    body: Body
    pattern: Pattern
    generalised: bool = False
    symmetric: bool = False
    large: bool = False


@dataclass(frozen=True, eq=False)
class Loading:
    """What acts at the end of an increment.

    Attributes
    ----------
    base, rate : dict
        Forces on the unknowns by name (``axial``, ``turn``, ``lift``; N/mm, N): base + share * rate.
    environment : Environment
    share : float
        Of the rate; where `travel` is given, only a first guess.
    travel : float or None
        Work of the rate on the increment's displacements, N: given in place of the share.
    along : array or None
        What is multiplied by the change of the unknowns to make the travel, in place of the rate.
    """

    base: dict[str, float]
    rate: dict[str, float]
    environment: Any
    share: float
    travel: float | None = None
    along: Floats | None = None


@dataclass(frozen=True, eq=False)
class State:
    """A section at rest.

    Attributes
    ----------
    unknowns : array
    width : float
        Width strain.
    history : History
    scale : float, N/mm
        Largest force of a cell on a node.
    """

    unknowns: Floats
    width: float
    history: History
    scale: float = 0.0

    @classmethod
    def virgin(cls, problem: Problem) -> State:
        """Return the undeformed section."""
        return cls(np.zeros(problem.pattern.transform.shape[1]), 0.0, problem.body.start())


@dataclass(frozen=True, eq=False)
class Equilibrium:
    """Where the iterations ended.

    Attributes
    ----------
    state : State
    share : float
        Of the loading's rate.
    internal : (2 nodes,) array, N/mm
        Forces of the section on its nodes.
    iterations : int
    residuals : list of float
        Largest out-of-balance force, over the largest force of a cell on a node, by iteration.
    """

    state: State
    share: float
    internal: Floats
    iterations: int
    residuals: list[float]


def equilibrium(problem: Problem, start: State, loading: Loading, guess: Floats | None = None) -> Equilibrium:
    """Return the section at rest at the end of an increment.

    Parameters
    ----------
    problem : Problem
    start : State
        At the increment's start.
    loading : Loading
    guess : array, optional
        Unknowns to begin with in place of those of the start.

    Raises
    ------
    ConvergenceError
        The iterations do not come to rest; `load_factor` is the share.
    """
    transform, named = problem.pattern.transform, problem.pattern.named
    rate = np.zeros(transform.shape[1])
    for name, value in loading.rate.items():
        if value:
            rate[named[name]] = value
    along = rate if loading.along is None else loading.along
    x = start.unknowns.copy() if guess is None else guess.copy()
    width, share = start.width, loading.share

    def evaluated(x: Floats, width: float) -> Evaluated:
        u = np.asarray(transform @ x).reshape(-1, 2)
        with np.errstate(all="ignore"):  # what flies off is found by its residual
            return problem.body.evaluate(u, width, start.history, loading.environment, True, problem.generalised)

    def out_of_balance(now: Evaluated, x: Floats, width: float, share: float) -> tuple[Floats, Floats]:
        """Return the residuals of the section's unknowns and of those beside them."""
        force = _external(problem, loading, x, share)
        residual = force - transform.T @ now.internal
        beside = []
        if problem.generalised:
            beside.append(-now.across)
        if loading.travel is not None:
            beside.append(loading.travel - float(along @ (x - start.unknowns)))
        return residual, np.array(beside)

    residuals: list[float] = []
    reference = 1e-200
    now = evaluated(x, width)
    residual, beside = out_of_balance(now, x, width, share)
    for iteration in range(MOST_ITERATIONS):
        largest = max(float(np.abs(residual).max()), abs(float(beside[0])) if problem.generalised else 0.0)
        scale = max(now.scale, REMEMBERED * start.scale, 1e-200)
        residuals.append(largest / scale)
        reached = loading.travel is None or abs(beside[-1]) <= 1e-6 * abs(loading.travel)
        cancelled = ROUND_OFF * _stiffest(now) * float(np.abs(start.unknowns).max(initial=0.0))
        if largest <= max(TOLERANCE * scale, min(cancelled, LOOSEST * scale)) and reached:
            return Equilibrium(State(x, width, now.history, scale), share, now.internal, iteration, residuals)
        if iteration < 2:  # a guess at rest says nothing of the forces to come
            reference = max(reference, largest, scale)
        if not np.isfinite(largest) or largest > RUNAWAY * reference or (iteration >= LATE and residuals[-1] > FAR):
            break
        step, more = _step(problem, loading, now, x, share, residual, beside, rate, along)
        if not np.isfinite(step).all():
            break
        wider = float(more[0]) if problem.generalised else 0.0
        farther = float(more[-1]) if loading.travel is not None else 0.0
        length, work = 1.0, float(residual @ step)
        # The first step is a guess, and at a given travel the load is a result: there no energy need fall on the way.
        falls = loading.travel is None and iteration > 0
        for left_over in range(SHORTENINGS, -1, -1):
            now = evaluated(x + length * step, width + length * wider)
            residual, beside = out_of_balance(now, x + length * step, width + length * wider, share + length * farther)
            left = float(residual @ step)
            if not left_over or (np.isfinite(left) and (not falls or abs(left) <= ENOUGH * abs(work))):
                break
            length *= float(np.clip(work / (work - left), 0.1, 0.5)) if np.isfinite(left) and left != work else 0.25
        x, width, share = x + length * step, width + length * wider, share + length * farther
    raise ConvergenceError("the iterations did not come to rest.", load_factor=share, residual=residuals[-1])


def _stiffest(now: Evaluated) -> float:
    return float(np.abs(now.stiffness_ec).max()) if now.stiffness_ec is not None else 0.0


def _external(problem: Problem, loading: Loading, x: Floats, share: float) -> Floats:
    force = np.zeros(len(x))
    for name, number in problem.pattern.named.items():
        value = loading.base.get(name, 0.0) + share * loading.rate.get(name, 0.0)
        # The unknown of a face that turns far is the sine of its angle, so that the face stays a plane: work M d(angle).
        leans = problem.large and name == "turn"
        force[number] = value / np.sqrt(max(1 - x[number] ** 2, 1e-12)) if leans else value
    return force


def _step(
    problem: Problem,
    loading: Loading,
    now: Evaluated,
    x: Floats,
    share: float,
    residual: Floats,
    beside: Floats,
    rate: Floats,
    along: Floats,
) -> tuple[Floats, Floats]:
    """Return Newton's step of the section's unknowns, and of those beside them."""
    pattern = problem.pattern
    transform = pattern.transform
    assert now.stiffness_ec is not None
    matrix = pattern.matrix(now.stiffness_ec)
    turn = pattern.named.get("turn")
    if turn is not None and problem.large:
        moment = loading.base.get("turn", 0.0) + share * loading.rate.get("turn", 0.0)
        if moment:
            matrix = _with_more(matrix, turn, -moment * x[turn] / max(1 - x[turn] ** 2, 1e-12) ** 1.5)
    columns, rows = [], []
    if problem.generalised:
        columns.append(transform.T @ now.width_column)
        rows.append(transform.T @ now.width_row)
    if loading.travel is not None:
        columns.append(-rate)
        rows.append(along)
    corner = np.zeros((len(columns), len(columns)))
    if problem.generalised:
        corner[0, 0] = now.width_stiffness
    solve = factorise_any(matrix, pattern.analysis, problem.symmetric)
    answers = solve(np.column_stack([residual, *columns]))
    if not columns:
        return answers[:, 0], np.zeros(0)
    across = np.stack(rows)
    more = np.linalg.solve(corner - across @ answers[:, 1:], beside - across @ answers[:, 0])
    return np.asarray(answers[:, 0] - answers[:, 1:] @ more), np.asarray(more, dtype=np.float64)


def _with_more(matrix: Any, place: int, more: float) -> Any:
    """Return a matrix with something added to one entry of its diagonal."""
    matrix = matrix.copy()
    matrix[place, place] += more
    return matrix
