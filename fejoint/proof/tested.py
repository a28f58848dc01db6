"""What a test file says beside its loads: the tester's curve, and causes of a difference that its user names."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from fejoint.coupon.curve import Pull
from fejoint.coupon.tester import Reading, pulls_from_file
from fejoint.errors import JointError
from fejoint.joint.file import path_under
from fejoint.joint.model import Model, Unit, refuse

__all__ = ["MeasuredCurve", "NamedCause", "pulls_of"]

LONGEST_NAME = 80
Compliance = Annotated[float, Unit("mm/N", ge=0, le=1)]
Share = Annotated[float, Unit("", gt=0, lt=1)]


class MeasuredCurve(Model):
    """The tester's curve of like coupons: where it is, and what its displacement is measured between."""

    file: str = Field(examples=["pull.csv"])
    """The tester's table (text, CSV), beside the test file or in a folder under it"""
    specimen: str = Field("", examples=["sill-2"])
    """One specimen's name; all of the table when left out"""
    gauge: Literal["grips", "extensometer"] = Field("grips", examples=["grips"])
    """What the displacement is of: the grips, or an extensometer on the adherends' mid-planes, about the overlap's middle"""
    gauge_length: Annotated[float, Unit("mm", gt=0, le=1e4)] | None = Field(None, examples=["50 mm"])
    """Of the extensometer"""
    machine_compliance: Compliance | None = Field(None, examples=["8e-6 mm/N"])
    """How far machine, load cell and grips give way per force; taken off the displacement of the grips"""
    line_from: Share = Field(0.1, examples=[0.1])
    """Share of the largest force from which the curve's stiffness is taken (common practice, no source)"""
    line_to: Share = Field(0.4, examples=[0.4])
    """Share of the largest force up to which the curve's stiffness is taken (common practice, no source)"""
    data: Reading = Reading()
    """How the table is read, where it does not say so itself"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if not self.file.strip():
            refuse("file", self.file, "must name the tester's table, such as pull.csv")
        if self.gauge == "extensometer" and self.gauge_length is None:
            refuse("gauge_length", None, 'an extensometer has one: add it, or set gauge = "grips"')
        if self.gauge == "grips" and self.gauge_length is not None:
            refuse("gauge_length", self.gauge_length, 'only goes with gauge = "extensometer": between grips it is the joint\'s')
        if self.gauge == "extensometer" and self.machine_compliance is not None:
            refuse("machine_compliance", self.machine_compliance, "an extensometer does not see the machine: leave it out")
        if self.line_to <= self.line_from:
            refuse("line_to", self.line_to, f"must lie above line_from ({self.line_from:g})")
        return self


class NamedCause(Model):
    """A cause of a difference that the test's user names: other values of the joint, a knockdown, or another machine."""

    name: str = Field(examples=["thick glue line, by microsection"])
    """What it is called"""
    set: dict[str, Any] = Field(default_factory=dict, examples=[{"joint.bondline_thickness": "0.3 mm"}])
    """Values in place of those of the file, by dotted key; or give knockdown, or machine_compliance"""
    knockdown: Annotated[float, Unit("", gt=0, le=1)] | None = Field(None, examples=[0.8])
    """Share of the load that is left; only with its source"""
    machine_compliance: Compliance | None = Field(None, examples=["1.2e-5 mm/N"])
    """What the machine's compliance may be instead"""
    source: str = Field("", examples=["user's"])
    """Where it comes from; user's when left out, but a knockdown must say it"""

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        for key in ("name", "source"):
            value = getattr(self, key)
            if (key == "name" and not value.strip()) or not value.isprintable() or len(value) > LONGEST_NAME:
                refuse(key, value, f"must be text of 1 to {LONGEST_NAME} printable characters")
        given = [key for key in ("set", "knockdown", "machine_compliance") if getattr(self, key) not in (None, {})]
        if len(given) != 1:
            why = "give one of set, knockdown and machine_compliance"
            refuse(given[1] if given else "set", getattr(self, given[1]) if given else None, why)
        if self.knockdown is not None and not self.source.strip():
            refuse("source", None, "a knockdown is no more than a guess without it: say where it comes from, or user's")
        return self

    @property
    def origin(self) -> str:
        """Where it comes from."""
        return self.source.strip() or "user's"


def pulls_of(curve: MeasuredCurve, folder: str | Path) -> list[Pull]:
    """Return the pulls that a test file names, what the machine gave way taken off.

    Parameters
    ----------
    curve : MeasuredCurve
    folder : path
        Of the test file.

    Raises
    ------
    JointError
        The file lies elsewhere than under the test file's folder, cannot be read, or lacks the specimen or the extensometer.
    """
    pulls = pulls_from_file(_under(folder, curve.file), curve.data)
    if curve.specimen:
        chosen = [pull for pull in pulls if pull.name == curve.specimen]
        if not chosen:
            names = ", ".join(pull.name for pull in pulls[:8])
            raise JointError(f'measured.curve.specimen = "{curve.specimen}": no such specimen in {curve.file}; there: {names}.')
        pulls = chosen
    if curve.gauge == "extensometer":
        for pull in pulls:
            if pull.extension is None:
                raise JointError(
                    f'measured.curve.gauge = "extensometer": specimen {pull.name} of {curve.file} has no extension; '
                    'name its column in measured.curve.data.columns.extension, or set gauge = "grips".'
                )
        return pulls
    return [pull.without_machine(curve.machine_compliance or 0.0) for pull in pulls]


def _under(folder: str | Path, name: str) -> Path:
    """Return the path of a file that a test file names, which must stay under its folder."""
    path = path_under(folder, name)
    if path is None:
        raise JointError(f'measured.curve.file = "{name}": must stay under the folder of the test file; copy the table there.')
    return path
