"""What may explain a difference between a coupon and its prediction: each cause tried alone, the rest as it is.

A cause that moves the prediction to where the coupons are may explain the
difference; whether it does, only a look at the coupons tells. A poor
preparation has no number without tests of it, so it has none here unless its
user states one with its source.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from typing import Any, Literal

from fejoint.errors import ConvergenceError, JointError, MeshError, TheoryError
from fejoint.joint.cohesion import FIGURES
from fejoint.joint.description import Joint
from fejoint.joint.isotropic import Isotropic
from fejoint.joint.keys import known_keys
from fejoint.mechanics.reuse import Kept
from fejoint.proof.correlation import Correlation
from fejoint.proof.coupons import QUICK
from fejoint.proof.predicted import predicted
from fejoint.units import display

__all__ = ["ASSUMED_SPREAD", "Cause", "Change", "Effect", "Tried", "causes", "tried"]

ASSUMED_SPREAD = 0.2  # of the bondline's thickness and of the machine's compliance, either way (an assumption)
DEVIATIONS = 2.0  # how many standard deviations of an input's own scatter it is varied by
THICKNESS = "joint.bondline_thickness"
FELT = 0.005  # share of load or stiffness below which a change counts as none
ASSUMED = f"an assumption: {100 * ASSUMED_SPREAD:g} % either way"
Verdict = Literal["alone", "load", "stiffness", "towards", "past", "away", "none", "unnamed"]


@dataclass(frozen=True, eq=False)
class Change:
    """One way in which a coupon may have been another than was predicted.

    Attributes
    ----------
    label : str
        What it is changed to, in words.
    joint : Joint or None
        The coupon then; None where it stays.
    knockdown : float
        Share of the load that is left.
    compliance : float, mm/N
        Of the machine, beyond what was taken off.
    quick : bool
        Whether it is asked without the cohesive zone, whatever the rest is asked by.
    partial : bool
        Whether a part of it can be, such as a thickness in between.
    """

    label: str
    joint: Joint | None = None
    knockdown: float = 1.0
    compliance: float = 0.0
    quick: bool = False
    partial: bool = True


@dataclass(frozen=True, eq=False)
class Cause:
    """A cause of a difference, by the changes that stand for it; a `reason` where it cannot be named."""

    key: str
    name: str
    source: str
    changes: tuple[Change, ...] = ()
    reason: str = ""


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


def causes(correlation: Correlation) -> list[Cause]:
    """Return the causes to try of a test: those that make sense for its joint, then its user's own."""
    test, joint = correlation.test, correlation.test.joint
    found = [
        *_scattered(correlation),
        *_geometry(correlation),
        _machine(correlation),
        *_behaviour(correlation),
        _preparation(correlation),
    ]
    for i, own in enumerate(test.measured.cause, 1):
        machine = test.measured.curve.machine_compliance if test.measured.curve is not None else None
        change = (
            Change(", ".join(f"{key} = {value}" for key, value in own.set.items()), test.joint_with(own.set))
            if own.set
            else Change(f"times {own.knockdown:g}", knockdown=own.knockdown)
            if own.knockdown is not None
            else Change(
                display(own.machine_compliance or 0.0, "mm/N"), compliance=(own.machine_compliance or 0.0) - (machine or 0.0)
            )
        )
        found.append(Cause(f"own-{i}", own.name, own.origin, (change,)))
    found += [
        Cause(f"knockdown-{i}", one.name, one.source, (Change(f"times {one.factor:g}", knockdown=one.factor),))
        for i, one in enumerate(joint.strength.knockdown, 1)
    ]
    return found


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


# ---- which ---------------------------------------------------------------


def _scattered(correlation: Correlation) -> Iterator[Cause]:
    """Yield inputs of which the file says how they scatter, and the bondline's thickness in any case."""
    joint, known = correlation.test.joint, known_keys(correlation.test.joint.geometry.kind)
    stated = {one.key: one for one in joint.strength.scatter}
    thickness = stated.pop(THICKNESS, None)
    spread, source = (ASSUMED_SPREAD, ASSUMED)
    if thickness is not None:
        spread = DEVIATIONS * thickness.variation
        source = f"{DEVIATIONS:g} standard deviations of {100 * thickness.variation:.3g} % ({thickness.source})"
    value = joint.geometry.bondline_thickness
    pair = tuple(_varied(correlation, THICKNESS, value * by, "mm") for by in (1 - spread, 1 + spread))
    yield Cause("thickness", "bondline thickness", source, pair)
    for key, one in stated.items():
        middle = _figure(joint, key)
        if middle is None:
            continue
        source = f"{DEVIATIONS:g} standard deviations of {100 * one.variation:.3g} % ({one.source})"
        by = DEVIATIONS * one.variation
        pair = tuple(_varied(correlation, key, middle * factor, known.get(key) or "") for factor in (1 - by, 1 + by))
        yield Cause(key, key.removeprefix("joint.").replace(".", " ").replace("_", " "), source, pair)


def _varied(correlation: Correlation, key: str, value: float, unit: str) -> Change:
    return Change(display(value, unit, digits=3), correlation.test.joint_with({key: value}))


def _figure(joint: Joint, key: str) -> float | None:
    """Return the value of a number of a joint, by dotted key; None where it has none."""
    here: Any = joint
    for part in key.split("."):
        here = getattr(here, "geometry" if part == "joint" and here is joint else part, None)
    return float(here) if isinstance(here, int | float) and not isinstance(here, bool) else None


def _geometry(correlation: Correlation) -> Iterator[Cause]:
    """Yield the fillet and the grips."""
    joint = correlation.test.joint
    square = joint.geometry.fillet_height == 0
    name, label = "spew fillet", "a fillet as high as the bondline is thick" if square else "square ends, no fillet"
    try:
        geometry = joint.geometry.replace(spew="fillet" if square else "square", **({} if square else {"spew_height": None}))
        yield Cause("fillet", name, "the shape of the ends", (Change(label, joint.replace(geometry=geometry)),))
    except JointError as error:
        yield Cause("fillet", name, "the shape of the ends", reason=str(error).rstrip("."))
    load = joint.load
    ends = "pinned" if load.ends == "clamped" else "clamped"
    if not (load.moment or load.shear_force):
        yield Cause(
            "grips", "grips", "how the ends are held", (Change(f"{ends} ends", joint.replace(load=load.replace(ends=ends))),)
        )


def _machine(correlation: Correlation) -> Cause:
    """Return the compliance of the machine, which changes the curve's stiffness alone."""
    curve, name = correlation.test.measured.curve, "compliance of the machine"
    key, source = "machine", "the stiffness of the curve only"
    if curve is None:
        return Cause(key, name, source, reason="the test names no curve, and the load does not feel it")
    if curve.gauge == "extensometer":
        return Cause(key, name, source, reason="an extensometer does not see it")
    if curve.machine_compliance is None:
        wanted = correlation.compliance_wanted
        more = (
            f"; {display(wanted, 'mm/N', digits=3)} would make both stiffnesses equal"
            if wanted > 0
            else "; the coupon was stiffer than predicted, and a machine that gives way makes it look softer"
        )
        return Cause(key, name, source, reason=f"measured.curve.machine_compliance is not stated{more}")
    c = curve.machine_compliance
    pair = tuple(
        Change(display(by * c, "mm/N", digits=3), compliance=(by - 1) * c) for by in (1 - ASSUMED_SPREAD, 1 + ASSUMED_SPREAD)
    )
    return Cause(key, name, f"{ASSUMED}; {source}", pair)


def _behaviour(correlation: Correlation) -> Iterator[Cause]:
    """Yield what the analysis leaves out: yield and damage of the adhesive, yield of the adherends, straightening."""
    joint, analysis, quick = correlation.test.joint, correlation.test.joint.analysis, "cohesive" not in correlation.routes
    cohesive = correlation.predicted.kind == "cohesive"
    late = "left out for speed (--quick)"

    def model(name: str) -> Joint:
        return joint.replace(analysis=analysis.replace(adhesive_model=name))

    changes, missing = [], []
    if cohesive or analysis.adhesive_model == "plastic":
        changes.append(Change("all elastic, load by criterion", model("elastic"), quick=True, partial=False))
    if not joint.adhesive.yields:
        missing.append("tensile_yield is not stated")
    elif cohesive or analysis.adhesive_model != "plastic":
        if quick:
            missing.append(f"the adhesive's yield is {late}")
        else:
            changes.append(Change("the adhesive yields, no damage", model("plastic"), quick=True, partial=False))
    if not cohesive:
        lacking = [key for key in FIGURES if getattr(joint.adhesive, key) is None]
        if lacking or quick:
            missing.append(f"the cohesive zone needs {', '.join(lacking)}" if lacking else f"the cohesive zone is {late}")
        else:
            changes.append(Change("cohesive zone", model("elastic"), partial=False))
    yield Cause(
        "plasticity",
        "yield and damage of the adhesive",
        "model of the adhesive",
        tuple(changes),
        "; ".join(missing) if not changes else "",
    )
    metals = [part.material for part in joint.geometry.adherends().values()]
    name = "yield of the adherends"
    if analysis.adherend_plasticity:
        pass  # coupons do yield and do straighten: to leave that out explains nothing
    elif quick:
        yield Cause("adherends", name, "model of the adherends", reason=late)
    elif not any(isinstance(metal, Isotropic) and metal.yields for metal in metals):
        yield Cause("adherends", name, "model of the adherends", reason="no adherend states its tensile_yield")
    elif all(isinstance(metal, Isotropic) and metal.yields for metal in metals):
        other = joint.replace(analysis=analysis.replace(adherend_plasticity=True))
        yield Cause("adherends", name, "model of the adherends", (Change("they yield", other, partial=False),))
    if not analysis.large_rotation:
        other = joint.replace(analysis=analysis.replace(large_rotation=True))
        change = Change("large rotation", other, partial=False)
        yield Cause("rotation", "straightening under load", "model of the geometry", (change,))


def _preparation(correlation: Correlation) -> Cause:
    """Return the preparation, which has no number of its own."""
    pattern = correlation.test.measured.pattern
    seen = f"; seen: {pattern} failure" if pattern else "; look at the failure pattern"
    why = "no knockdown with a source is stated, and none can be calculated: add it as [[measured.cause]]"
    return Cause("preparation", "preparation of the surfaces", "tests of it", reason=f"{why}{seen}")


# ---- what it does ----------------------------------------------------------


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
    return _judged(Tried(cause, tuple(effects), why), correlation)


def _effect(change: Change, correlation: Correlation, kept: Kept, say: Callable[[str], None]) -> Effect:
    base, stiffness = correlation.predicted, correlation.predicted_stiffness
    load, by = base.load, ""
    if change.joint is not None:
        routes = QUICK if change.quick else correlation.routes
        found = predicted(change.joint, correlation.gauge, routes, kept, say)
        load, stiffness = found.load, found.stiffness(*correlation.line)
        by = found.by.name if found.by.key != base.by.key else ""
    if change.compliance:
        stiffness = 1 / (1 / stiffness + change.compliance)
    return Effect(change, change.knockdown * load, stiffness, by)


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
    differs = [name for name, (start, _, measured, allowed) in pairs.items() if abs(start - measured) > allowed]
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
