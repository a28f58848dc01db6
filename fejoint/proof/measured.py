"""A test: a joint, the loads that like coupons of it failed at, and how they looked; as data, in a TOML file.

The file is a joint file with one table more, ``[measured]``. Its
``load.force`` says in which direction the coupons were loaded, and may be
left out: it is then the mean of the loads. Nothing is fitted to the loads.
"""

from __future__ import annotations

import statistics
from typing import Annotated, Any, Self

from annotated_types import Len
from pydantic import BeforeValidator, Field, ValidationError, model_validator

from fejoint.coupon.patterns import ANY, BOND, METAL, PATTERNS
from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.model import Model, Unit, as_joint_error, in_order, refuse
from fejoint.proof.case import CaseFile
from fejoint.proof.document import OWN, joint_of, parted
from fejoint.strength.capacity import ADHESIVE_MODES, Mode

__all__ = ["PATTERNS", "CouponTest", "Measured", "coupons_from_text", "parted_files"]

MOST_LOADS = 10_000


class Measured(Model):
    """What was measured on like coupons."""

    loads: Annotated[tuple[Annotated[float, Unit("N", ge=1e-3, le=1e9)], ...], BeforeValidator(in_order), Len(1, MOST_LOADS)] = (
        Field(examples=[["2.51 kN", "2.44 kN", "2.60 kN"]])
    )
    """Failure loads of like coupons, in magnitude"""
    source: str = Field(examples=["our laboratory, lot 12, 23 degC"])
    """Where the loads come from: who tested what, when"""
    pattern: str = Field("", examples=["cohesive"])
    """Failure pattern as seen, a word of ASTM D5573 or ISO 10365; most of the coupons', or mixed"""
    note: str = Field("", examples=["one coupon left out: void over a third of the overlap"])
    """What else a reader should know"""

    @model_validator(mode="after")
    def _said(self) -> Self:
        if not self.source.strip():
            refuse("source", self.source, "must say where the loads come from")
        if self.pattern and self.pattern not in PATTERNS:
            refuse("pattern", self.pattern, f"must be one of {', '.join(PATTERNS)}, or be left out")
        return self

    @property
    def mean(self) -> float:
        """Mean of the loads, N."""
        return statistics.fmean(self.loads)

    @property
    def deviation(self) -> float | None:
        """Standard deviation of the loads, N, with n - 1: of the lot, not of these coupons alone; None of a single load."""
        return statistics.stdev(self.loads) if len(self.loads) > 1 else None

    def counts_against(self, mode: Mode) -> bool:
        """Return whether these loads are failures in a mode, as far as the pattern says; else they are a lower bound of it."""
        return PATTERNS.get(self.pattern, ANY) in (ANY, BOND if mode.key in ADHESIVE_MODES else METAL)


class CouponTest(Model):
    """A joint and what coupons of it were measured to bear."""

    name: str
    measured: Measured
    """What was measured"""
    joint: Joint
    """The coupon"""

    @model_validator(mode="after")
    def _pulled(self) -> Self:
        if self.joint.load.force == 0:
            refuse("load.force", 0.0, "must not be 0, since the measured loads are forces; leave it out, or give a first load")
        return self


def coupons_from_text(text: str, name: str = "test", place: str = "test file") -> CouponTest:
    """Return the test that the text of a test file describes; `place` is what errors call the file.

    Raises
    ------
    JointError
    """
    document, own = parted(text, place)
    for key in OWN:
        if key in own and key != "measured":
            raise JointError(f"{place}: [measured] does not go with [case] and [[expect]]; give each a file of its own.")
    if not isinstance(own.get("measured"), dict):
        raise JointError(f"{place}: measured must be a table of keys: write [measured], and loads and source under it.")
    try:
        measured = Measured.model_validate(own["measured"])
    except ValidationError as error:
        raise JointError(f"{place}: measured.{as_joint_error(error, Measured)}") from None
    joint = joint_of(_loaded(document, measured.mean), place)
    try:
        return CouponTest(name=name, measured=measured, joint=joint)
    except JointError as error:
        raise JointError(f"{place}: {error}") from None


def _loaded(document: dict[str, Any], force: float) -> dict[str, Any]:
    """Return a joint file's dict with a force where it names neither force nor steps."""
    load = document.get("load", {})
    if not isinstance(load, dict) or "force" in load or "step" in load:
        return document
    return {**document, "load": {**load, "force": force}}


def parted_files(files: list[CaseFile]) -> tuple[list[CaseFile], list[CaseFile]]:
    """Return which files are cases and which are tests; what cannot be told apart counts as a case, whose reader says why."""
    kinds = [(file, _is_test(file)) for file in files]
    return [file for file, is_test in kinds if not is_test], [file for file, is_test in kinds if is_test]


def _is_test(file: CaseFile) -> bool:
    try:
        return isinstance(file.text, str) and "measured" in parted(file.text, file.place)[1]
    except JointError:
        return False
