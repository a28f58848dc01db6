"""What each cause of a difference does to a coupon's prediction, tried alone, and what that says beside the measurement."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import Literal

from fejoint.errors import ConvergenceError, JointError, MeshError, TheoryError
from fejoint.mechanics.reuse import Kept
from fejoint.proof.causes import Cause, Change, causes
from fejoint.proof.correlation import Correlation
from fejoint.proof.coupons import QUICK, breaking_load
from fejoint.proof.predicted import predicted
from fejoint.strength.margins import margin_of

__all__ = ["Effect", "Tried", "tried"]

FELT = 0.005  # share of load or stiffness below which a change counts as none
Verdict = Literal["alone", "load", "stiffness", "towards", "past", "away", "none", "unnamed"]


@dataclass(frozen=True, eq=False)
class Effect:
    """What one change of a coupon does to its prediction.

    Attributes
    ----------
    change : Change
    load : float, N
        The predicted load then.
    stiffness : float, N/mm
        NaN where there is no curve, or the change does not tell.
    by : str
        Name of the criterion of the load where it is another than that of the prediction; else empty.
    """

    change: Change
    load: float
    stiffness: float
    by: str = ""


@dataclass(frozen=True, eq=False)
class Tried:
    """A cause that was tried: its effects, and what they say beside the measurement.

    Attributes
    ----------
    cause : Cause
    effects : tuple of Effect
        None where the cause cannot be named or tried.
    reason : str
        Why not.
    verdict : str
        ``alone``: may explain all that differs; ``load`` or ``stiffness``: may explain the one, but not both by the same
        amount; ``towards``: moves the prediction towards the measurement, not far enough; ``past``: beyond it; ``away``;
        ``none``: hardly moves it, or nothing needs explaining; ``unnamed``.
    best : Effect or None
        The effect that the verdict is of.
    share : float
        How much of that change it takes, 0 to 1; NaN unless it may explain something.
    moves : tuple of str
        What it moves towards the measurement: ``load``, ``stiffness``.
    """

    cause: Cause
    effects: tuple[Effect, ...] = ()
    reason: str = ""
    verdict: Verdict = "none"
    best: Effect | None = None
    share: float = math.nan
    moves: tuple[str, ...] = ()


def tried(
    correlation: Correlation,
    kept: Kept | None = None,
    progress: Callable[[str], None] | None = None,
    only: Collection[str] | None = None,
) -> list[Tried]:
    """Return every cause of a test, tried alone.

    Parameters
    ----------
    correlation : Correlation
        What the causes are to explain.
    kept : Kept, optional
    progress : callable, optional
        Called with a line of text before each stage.
    only : collection of str, optional
        Keys of the causes to try; all unless given.

    Raises
    ------
    SetupError
        The machine lacks something.
    """
    kept = Kept() if kept is None else kept
    say = progress or (lambda text: None)
    chosen = [one for one in causes(correlation) if only is None or one.key in only]
    return [_tried(one, correlation, kept, lambda text, name=one.name: say(f"{name}: {text}")) for one in chosen]  # type: ignore[misc]


def _tried(cause: Cause, correlation: Correlation, kept: Kept, say: Callable[[str], None]) -> Tried:
    if not cause.changes:
        return Tried(cause, reason=cause.reason, verdict="unnamed")
    effects: list[Effect] = []
    why = ""
    for change in cause.changes:
        try:
            effects.append(_effect(change, correlation, kept, say))
        except (JointError, TheoryError, MeshError, ConvergenceError) as error:
            why = f"{change.label}: {error}".rstrip(".")
    if not effects:
        return Tried(cause, reason=why, verdict="unnamed")
    return _judged(Tried(cause, tuple(effects), why or cause.reason), correlation)


def _effect(change: Change, correlation: Correlation, kept: Kept, say: Callable[[str], None]) -> Effect:
    base, stiffness = correlation.predicted, correlation.predicted_stiffness
    load, by = base.load, ""
    if change.joint is not None:
        routes = QUICK if change.quick else correlation.routes
        found = predicted(change.joint, correlation.gauge, routes, kept, say)
        load, stiffness = found.load, found.stiffness(*correlation.line)
        by = found.by.name if found.by.key != base.by.key else ""
    if change.knockdown is not None:  # which may leave another part the weakest
        first = breaking_load(base.strength, [change.knockdown]) or base.by
        load = abs(margin_of(first, [change.knockdown]).force)
        by = first.name if first.key != base.by.key else ""
    if change.compliance:
        gives = 1 / stiffness + change.compliance
        if not gives > 0:
            raise JointError("takes more off for the machine than the coupon gives way with it")
        stiffness = 1 / gives
    return Effect(change, load, stiffness, by)


def _judged(one: Tried, correlation: Correlation) -> Tried:
    """Return a cause with what its effects say beside the measurement."""
    if correlation.within_scatter:
        return replace(one, verdict="none")
    ranks: dict[str, int] = {"alone": 4, "load": 3, "stiffness": 3, "towards": 2, "past": 2, "away": 1, "none": 0}
    found = [(effect, *_verdict(effect, correlation)) for effect in one.effects]
    effect, verdict, share, moves = max(found, key=lambda item: ranks[item[1]])
    return replace(one, verdict=verdict, best=effect, share=share, moves=moves)


def _verdict(effect: Effect, correlation: Correlation) -> tuple[Verdict, float, tuple[str, ...]]:
    pairs = {"load": (correlation.predicted.load, effect.load, correlation.load, correlation.load_allowance)}
    if correlation.specimens:
        stiffness = (correlation.predicted_stiffness, effect.stiffness, correlation.stiffness, correlation.stiffness_allowance)
        pairs["stiffness"] = stiffness
    spans = {name: _span(*pair, effect.change.partial) for name, pair in pairs.items()}
    differs = correlation.differs
    felt = {
        name: (end - start) / (measured - start)
        for name, (start, end, measured, _) in pairs.items()
        if abs(end / start - 1) > FELT
    }
    moves = tuple(name for name in differs if felt.get(name, 0.0) > 0)
    low, high = max(span[0] for span in spans.values()), min(span[1] for span in spans.values())
    if low <= high and moves:
        return "alone", low, moves
    for name in differs:
        if spans[name][0] <= spans[name][1]:
            return ("load" if name == "load" else "stiffness"), spans[name][0], moves
    beyond = tuple(name for name in moves if felt[name] > 1)
    if beyond:  # either so or not, so that no part of it stops at the coupons
        return "past", math.nan, beyond
    return ("towards" if moves else "away" if any(name in felt for name in differs) else "none"), math.nan, moves


def _span(start: float, end: float, measured: float, allowed: float, partial: bool) -> tuple[float, float]:
    """Return from which to which share of a change the prediction lies within the scatter; the first above the second: never."""
    never = (1.0, 0.0)
    if not math.isfinite(end):
        return never
    if end == start:
        return (0.0, 1.0) if abs(start - measured) <= allowed else never
    ends = sorted(((measured - allowed - start) / (end - start), (measured + allowed - start) / (end - start)))
    low, high = max(ends[0], 0.0), min(ends[1], 1.0)
    if not partial:
        return (1.0, 1.0) if ends[0] <= 1.0 <= ends[1] else never
    return (low, high) if low <= high else never
