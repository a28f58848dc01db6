"""A test: a joint, the loads that like coupons of it failed at, and how they looked; as data, in a TOML file.

The file is a joint file with one table more, ``[measured]``. Its
``load.force`` says in which direction the coupons were loaded, and may be
left out: it is then the mean of the loads. Nothing is fitted to the loads.
It may name the tester's curve; without loads these are then the largest forces in it.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Self

from annotated_types import Len
from pydantic import BeforeValidator, Field, ValidationError, model_validator

from fejoint.coupon.curve import Pull
from fejoint.coupon.patterns import ANY, BOND, METAL, PATTERNS, PLIES
from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.file import document_from_joint, joint_from_document, read_text
from fejoint.joint.keys import with_values
from fejoint.joint.model import Model, Unit, as_joint_error, in_order, refuse
from fejoint.joint.strength import Knockdown
from fejoint.process.description import Process, process_of
from fejoint.process.surface_verdict import material_names, surface_knockdown, surfaces, verdict
from fejoint.proof.case import CaseFile
from fejoint.proof.document import OWN, joint_of, parted
from fejoint.proof.tested import MeasuredCurve, NamedCause, pulls_of
from fejoint.strength.capacity import ADHESIVE_MODES, Mode

__all__ = ["PATTERNS", "CouponTest", "Measured", "coupons_from_text", "parted_files", "read_test"]

MOST_LOADS = 10_000
WATER_BREAK_FAILED = "the water-break test (ASTM F22) failed"


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
    curve: MeasuredCurve | None = None
    """The tester's curve of the same coupons"""
    cause: Annotated[tuple[NamedCause, ...], BeforeValidator(in_order)] = ()
    """Causes of a difference that are to be tried beside the usual ones"""

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

    @property
    def only_at_least(self) -> bool:
        """Whether the adherend parted, so that the bond bears at least these loads."""
        return PATTERNS.get(self.pattern, ANY) in (METAL, PLIES)

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
    document: dict[str, Any] = Field(default_factory=dict, repr=False)
    """The joint's part of its file, for values in place of others"""
    folder: str = ""
    """Where its file is, for the files that it names"""
    process: Process | None = None
    """How the coupons were bonded"""

    def pulls(self) -> list[Pull]:
        """Return the measured curves, what the machine gave way taken off; none where the file names none.

        Raises
        ------
        JointError
            As `fejoint.proof.tested.pulls_of`.
        """
        return [] if self.measured.curve is None else pulls_of(self.measured.curve, self.folder)

    @property
    def surface_knockdown(self) -> Knockdown | None:
        """What the preparation of the surfaces leaves of the load, where the file states it with its source."""
        prepared = None if self.process is None else self.process.preparation
        return None if prepared is None else surface_knockdown(prepared, material_names(self.joint.geometry))

    @property
    def against_surfaces(self) -> tuple[str, ...]:
        """What the file says of the surfaces that forbids bonding, such as a failed water-break test; a phrase each."""
        if self.process is None:
            return ()
        prepared, wetting, names = self.process.preparation, self.process.wetting, material_names(self.joint.geometry)
        broken = wetting is not None and wetting.water_film_whole is False
        found: dict[str, list[str]] = {}
        if prepared is not None:
            for adherend, surface in surfaces(prepared, names).items():
                told = verdict(surface, names[adherend])
                if surface.water_break is False or (broken and surface.water_break is None):
                    found.setdefault(WATER_BREAK_FAILED, []).append(adherend)
                elif told.forbids_bonding:
                    found.setdefault(told.reasons[0], []).append(adherend)
        elif broken:
            found[WATER_BREAK_FAILED] = list(names)
        return tuple(f"{reason} ({', '.join(adherends)})" for reason, adherends in found.items())

    def joint_with(self, values: Mapping[str, Any]) -> Joint:
        """Return the coupon with values in place of those of dotted keys.

        Raises
        ------
        JointError
            A key or a value is refused.
        """
        return joint_from_document(with_values(self.document or document_from_joint(self.joint), values))

    @model_validator(mode="after")
    def _pulled(self) -> Self:
        if self.joint.load.force == 0:
            refuse("load.force", 0.0, "must not be 0, since the measured loads are forces; leave it out, or give a first load")
        return self


def coupons_from_text(text: str, name: str = "test", place: str = "test file", folder: str | Path | None = None) -> CouponTest:
    """Return the test that the text of a test file describes; `place` is what errors call the file.

    Parameters
    ----------
    text, name, place : str
    folder : path, optional
        Where the file is; without it the files that it names are looked for in the working folder.

    Raises
    ------
    JointError
    """
    document, own = parted(text, place)
    for key in OWN:
        if key in own and key != "measured":
            raise JointError(f"{place}: [measured] does not go with [case] and [[expect]]; give each a file of its own.")
    process = process_of(document, place)
    if not isinstance(own.get("measured"), dict):
        raise JointError(f"{place}: measured must be a table of keys: write [measured], and loads and source under it.")
    table = own["measured"]
    if isinstance(table.get("cause"), dict):
        raise JointError(f"{place}: measured.cause is one table of a list: write [[measured.cause]], in double brackets.")
    here = "" if folder is None else str(folder)
    try:
        if "loads" not in table and isinstance(table.get("curve"), dict):
            table = {**table, "loads": _largest(table["curve"], here)}
        measured = Measured.model_validate(table)
    except ValidationError as error:
        raise JointError(f"{place}: measured.{as_joint_error(error, Measured)}") from None
    except JointError as error:
        raise JointError(f"{place}: {error}") from None
    _check_direction(document, measured, place)
    document = _loaded(document, measured.mean)
    joint = joint_of(document, place)
    try:
        test = CouponTest(name=name, measured=measured, joint=joint, document=document, folder=here, process=process)
        _ = test.surface_knockdown  # refuses tables of adherends that the joint has not
        for i, cause in enumerate(measured.cause, 1):
            _tried(test, cause, i)
    except JointError as error:
        raise JointError(f"{place}: {error}") from None
    return test


def read_test(path: str | Path) -> CouponTest:
    """Return the test that a test file describes.

    Raises
    ------
    JointError
        It cannot be read, is no test, or a value is refused.
    """
    path = Path(path)
    return coupons_from_text(read_text(path), path.stem, str(path), path.parent)


def _largest(curve: dict[str, Any], folder: str) -> list[float]:
    """Return the largest force of every specimen that a table ``curve`` names."""
    try:
        checked = MeasuredCurve.model_validate(curve)
    except ValidationError as error:
        raise JointError(f"measured.curve.{as_joint_error(error, MeasuredCurve)}") from None
    return [pull.largest for pull in pulls_of(checked, folder)]


def _tried(test: CouponTest, cause: NamedCause, number: int) -> None:
    """Refuse a cause whose values are none of the joint's, before anything is solved."""
    try:
        test.joint_with(cause.set)
    except JointError as error:
        raise JointError(f"measured.cause item {number} ({cause.name}): set: {error}") from None


def _check_direction(document: dict[str, Any], measured: Measured, place: str) -> None:
    """Refuse to take coupons for pulled whose tester recorded negative forces: they were pressed, most likely."""
    load = document.get("load", {})
    if measured.curve is not None and measured.curve.data.negative and not {"force", "step"} & set(load):
        raise JointError(
            f"{place}: load.force is missing: measured.curve.data.negative = true turns the forces, so say which way they were; "
            f'load.force = "{-measured.mean:.4g} N" where the coupons were pressed, "{measured.mean:.4g} N" where pulled.'
        )


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
