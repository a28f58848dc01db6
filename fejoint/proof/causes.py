"""What may explain a difference between a coupon and its prediction: each cause tried alone, the rest as it is.

A cause that moves the prediction to where the coupons are may explain the
difference; whether it does, only a look at the coupons tells. A poor
preparation has no number without tests of it, so it has none here unless its
user states one with its source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from fejoint.errors import JointError
from fejoint.joint.cohesion import FIGURES
from fejoint.joint.description import Joint
from fejoint.joint.isotropic import Isotropic
from fejoint.joint.keys import known_keys
from fejoint.joint.strength import Knockdown
from fejoint.proof.correlation import Correlation
from fejoint.proof.tested import MeasuredCurve, NamedCause
from fejoint.units import display

__all__ = ["ASSUMED_SPREAD", "Cause", "Change", "causes"]

ASSUMED_SPREAD = 0.2  # of the bondline's thickness and of the machine's compliance, either way (an assumption)
DEVIATIONS = 2.0  # how many standard deviations of an input's own scatter it is varied by
THICKNESS = "joint.bondline_thickness"
ASSUMED = f"an assumption: {100 * ASSUMED_SPREAD:g} % either way"


@dataclass(frozen=True, eq=False)
class Change:
    """One way in which a coupon may have been another than was predicted.

    Attributes
    ----------
    label : str
        What it is changed to, in words.
    joint : Joint or None
        The coupon then; None where it stays.
    knockdown : Knockdown or None
        What is left of the load.
    compliance : float, mm/N
        Of the machine, beyond what was taken off.
    quick : bool
        Whether it is asked without the cohesive zone, whatever the rest is asked by.
    partial : bool
        Whether a part of it can be, such as a thickness in between.
    """

    label: str
    joint: Joint | None = None
    knockdown: Knockdown | None = None
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
    found += [_own(correlation, one, f"own-{i}") for i, one in enumerate(test.measured.cause, 1)]
    of_surfaces = test.surface_knockdown
    found += [
        Cause(f"knockdown-{i}", one.name, one.source, (_knocked(one),))
        for i, one in enumerate(joint.strength.knockdown, 1)
        if one != of_surfaces  # which is tried as the preparation
    ]
    return found


# ---- which ---------------------------------------------------------------


def _own(correlation: Correlation, own: NamedCause, key: str) -> Cause:
    """Return a cause that the test's user names."""
    test, curve = correlation.test, correlation.test.measured.curve
    if own.set:
        label = ", ".join(f"{of} = {value}" for of, value in own.set.items())
        return Cause(key, own.name, own.origin, (Change(label, test.joint_with(own.set)),))
    if own.knockdown is not None:
        rule = Knockdown(name=own.name, factor=own.knockdown, source=own.origin, on="all")
        return Cause(key, own.name, own.origin, (_knocked(rule),))
    unseen = _unseen_machine(curve)
    if unseen or curve is None or own.machine_compliance is None:
        return Cause(key, own.name, own.origin, reason=unseen)
    more = own.machine_compliance - (curve.machine_compliance or 0.0)
    return Cause(key, own.name, own.origin, (Change(display(own.machine_compliance, "mm/N"), compliance=more),))


def _knocked(rule: Knockdown) -> Change:
    on = "" if rule.on == "all" else f" on the {'adhesive' if rule.on == 'adhesive' else 'adherends'}"
    return Change(f"times {rule.factor:g}{on}", knockdown=rule)


def _unseen_machine(curve: MeasuredCurve | None) -> str:
    """Return why what the machine gives way is not seen; empty where it is."""
    if curve is None:
        return "the test names no curve, and the load does not feel it"
    return "an extensometer does not see it" if curve.gauge == "extensometer" else ""


def _scattered(correlation: Correlation) -> Iterator[Cause]:
    """Yield inputs of which the file says how they scatter, and the bondline's thickness in any case."""
    joint = correlation.test.joint
    stated = {one.key: one for one in joint.strength.scatter}
    thickness = stated.pop(THICKNESS, None)
    spread, source = (ASSUMED_SPREAD, ASSUMED)
    if thickness is not None:
        spread = DEVIATIONS * thickness.variation
        source = f"{DEVIATIONS:g} standard deviations of {100 * thickness.variation:.3g} % ({thickness.source})"
    value = joint.geometry.bondline_thickness
    yield _varied(correlation, Cause("thickness", "bondline thickness", source), THICKNESS, value, spread)
    for key, one in stated.items():
        middle = _figure(joint, key)
        if middle is None:
            continue
        source = f"{DEVIATIONS:g} standard deviations of {100 * one.variation:.3g} % ({one.source})"
        by = DEVIATIONS * one.variation
        name = key.removeprefix("joint.").replace(".", " ").replace("_", " ")
        yield _varied(correlation, Cause(key, name, source), key, middle, by)


def _varied(correlation: Correlation, cause: Cause, key: str, middle: float, spread: float) -> Cause:
    """Return a cause with a number by a share less and more; values that no joint can have are left out, and said."""
    unit, changes, why = known_keys(correlation.test.joint.geometry.kind).get(key) or "", [], ""
    for value in (middle * (1 - spread), middle * (1 + spread)):
        try:
            changes.append(Change(display(value, unit, digits=3), correlation.test.joint_with({key: value})))
        except JointError as error:
            why = str(error).rstrip(".")
    return replace(cause, changes=tuple(changes), reason=why)


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
    unseen = _unseen_machine(curve)
    if unseen or curve is None:
        return Cause(key, name, source, reason=unseen)
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
        name = "straightening under load" if joint.load.force > 0 else "bending out under load"
        yield Cause("rotation", name, "model of the geometry", (change,))


def _preparation(correlation: Correlation) -> Cause:
    """Return the preparation, which has no number but what its user states."""
    key, name, stated = "preparation", "preparation of the surfaces", correlation.test.surface_knockdown
    if stated is not None:
        return Cause(key, name, f"{stated.name}: {stated.source}", (_knocked(stated),))
    pattern = correlation.test.measured.pattern
    seen = f"; seen: {pattern} failure" if pattern else "; look at the failure pattern"
    why = "no knockdown with a source is stated, and none can be calculated: add process.preparation.knockdown"
    return Cause(key, name, "tests of it", reason=f"{why}{seen}")
