"""A test of like coupons as its user states it: standard, specimens, where the tester's tables are; the ``[coupons]`` table."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from annotated_types import Len
from pydantic import BeforeValidator, Field, model_validator

from fejoint.coupon.patterns import Pattern, pattern_of
from fejoint.coupon.standards import KINDS, Standard, standard
from fejoint.coupon.tester import Reading
from fejoint.errors import JointError
from fejoint.joint.model import Model, Unit, in_order, refuse

__all__ = ["DIMENSIONS", "CalibrationPoint", "Coupons", "Data", "Dimensions", "Options", "Specimen"]

Length = Annotated[float, Unit("mm", gt=0, le=10_000)]
Modulus = Annotated[float, Unit("MPa", ge=1, le=1e7)]
Window = Annotated[
    tuple[Annotated[float, Unit("", gt=0, lt=10)], Annotated[float, Unit("", gt=0, lt=10)]], BeforeValidator(in_order)
]
MOST_LETTERS = 2_000
DIMENSIONS = (  # in the order they are shown
    "width",
    "overlap_length",
    "thickness",
    "bondline_thickness",
    "gauge_length",
    "arm_thickness",
    "crack_length",
    "half_span",
    "pin_height",
    "block_length",
    "opening_offset",
    "elastic_modulus",
    "adherend_shear_modulus",
)


def _listed(value: Any) -> Any:
    """Return one name as a list of it."""
    return (value,) if isinstance(value, str) else in_order(value)


class Dimensions(Model):
    """What a specimen measures; each kind of test names what it cannot do without."""

    width: Length | None = Field(None, examples=["25.1 mm"])
    """Width of the bond"""
    overlap_length: Length | None = Field(None, examples=["12.4 mm"])
    """Length of the bond along the load, of each bond of a double lap"""
    thickness: Length | None = Field(None, examples=["1.6 mm"])
    """Thickness of the adherend, of a double lap the inner one"""
    bondline_thickness: Length | None = Field(None, examples=["0.2 mm"])
    """Thickness of the adhesive"""
    gauge_length: Length | None = Field(None, examples=["2 mm"])
    """Distance of the extensometer's points across the bond, bondline and metal together"""
    arm_thickness: Length | None = Field(None, examples=["6 mm"])
    """Thickness of one arm of a beam"""
    crack_length: Length | None = Field(None, examples=["45 mm"])
    """From the loading line, or the support, to the crack tip before it grows"""
    half_span: Length | None = Field(None, examples=["80 mm"])
    """From the support to the middle, of end-notched flexure"""
    pin_height: Length | None = Field(None, examples=["10 mm"])
    """From the loading pin to the arm's mid-plane"""
    block_length: Length | None = Field(None, examples=["10 mm"])
    """From the loading pin to the loading block's edge, along the arm"""
    opening_offset: Length | None = Field(None, examples=["4 mm"])
    """|Delta| of a double cantilever beam of the same arms"""
    elastic_modulus: Modulus | None = Field(None, examples=["70 GPa"])
    """Elastic modulus of the arms"""
    adherend_shear_modulus: Modulus | None = Field(None, examples=["26 GPa"])
    """Shear modulus of the adherends"""


class CalibrationPoint(Model):
    """The compliance of a specimen at one crack length."""

    in_a_line = True
    crack_length: Length = Field(examples=["30 mm"])
    """Crack length"""
    compliance: Annotated[float, Unit("mm/N", gt=0, le=1e3)] = Field(examples=["2.3e-3 mm/N"])
    """Displacement over force, as the machine recorded it"""


class Specimen(Dimensions):
    """One specimen: what is its own."""

    name: str = Field(examples=["S1"])
    """As in the tester's file"""
    pattern: str | dict[str, Any] | None = Field(None, examples=[{"cohesive": 80, "adhesive": 20}])
    """Failure pattern: a word of ASTM D5573 or ISO 10365, or words with per cents of the area"""
    note: str = Field("", max_length=MOST_LETTERS, examples=["void at the edge"])
    """What was seen"""
    excluded: bool = Field(False, examples=[True])
    """Left out of the statistics; needs a reason"""
    reason: str = Field("", max_length=MOST_LETTERS, examples=["slipped in the grips"])
    """Why it is left out"""
    calibration: Annotated[tuple[CalibrationPoint, ...], BeforeValidator(in_order), Len(0, 100)] = Field(
        (), examples=[[{"crack_length": "30 mm", "compliance": "2.3e-3 mm/N"}]]
    )
    """Compliance at several crack lengths before growth, of end-notched flexure"""

    @model_validator(mode="after")
    def _said(self) -> Self:
        if not self.name.strip():
            refuse("name", self.name, "must be the specimen's name in the tester's file")
        if self.excluded and not self.reason.strip():
            refuse("reason", self.reason, "must say why the specimen is left out")
        if self.pattern is not None:
            try:
                pattern_of(self.pattern)
            except ValueError as error:
                refuse("pattern", self.pattern, str(error))
        return self

    @property
    def seen(self) -> Pattern | None:
        """The failure pattern."""
        return None if self.pattern is None else pattern_of(self.pattern)


class Data(Reading):
    """Where the tester's tables are, and how they are read."""

    files: Annotated[tuple[str, ...], BeforeValidator(lambda v: (v,) if isinstance(v, str) else in_order(v)), Len(1, 200)] = (
        Field(examples=["door-sill.csv"])
    )
    """One file or several, beside this file"""
    machine_compliance: Annotated[float, Unit("mm/N", ge=0, le=1)] | None = Field(None, examples=["5e-6 mm/N"])
    """What machine and grips give way per force; taken off every displacement"""
    compliance_run: str | None = Field(None, examples=["stiff-block.csv"])
    """Or a file of a run on a specimen far stiffer than the machine, read in the same way"""
    metal_run: str | None = Field(None, examples=["metal-only.csv"])
    """A run on metal alone with the same extensometer, of thick adherends, read in the same way"""

    @model_validator(mode="after")
    def _one_compliance(self) -> Self:
        if self.machine_compliance is not None and self.compliance_run is not None:
            refuse("compliance_run", self.compliance_run, "only without machine_compliance; leave one of the two out")
        return self


class Options(Model):
    """How curves are reduced, where a standard leaves it open or is not followed."""

    confidence: Annotated[float, Unit("", ge=0.5, le=0.999)] = Field(0.95, examples=[0.95])
    """Of every interval"""
    peel_length: Length | None = Field(None, examples=["100 mm"])
    """Length of bond over which the peel force is averaged; the grips travel twice as far"""
    peel_skip: Annotated[float, Unit("mm", ge=0, le=10_000)] | None = Field(None, examples=["25 mm"])
    """Length of bond before it that does not count"""
    after_first_peak: bool | None = Field(None, examples=[False])
    """Whether peel_skip begins at the first peak; else where the record begins"""
    modulus_window: Window = Field((0.1, 0.4), examples=[[0.1, 0.4]])
    """Shares of the largest stress, or strains, between which the shear modulus is taken"""
    modulus_by: Literal["stress", "strain"] = Field("stress", examples=["stress"])
    """What modulus_window means"""
    initial_window: Window = Field((0.15, 0.55), examples=[[0.15, 0.55]])
    """Shares of the largest force between which a curve counts as straight, of beams with a crack"""

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        for key in ("modulus_window", "initial_window"):
            low, high = getattr(self, key)
            shares = key == "initial_window" or self.modulus_by == "stress"
            if not low < high or (shares and high >= 1):
                refuse(key, [low, high], f"must be two rising {'shares below 1' if shares else 'strains'}, such as [0.1, 0.4]")
        return self


class Coupons(Model):
    """A test of like coupons."""

    title: str = Field("", max_length=MOST_LETTERS, examples=["door sill, lap coupons"])
    """What it is"""
    standard: str | None = Field(None, examples=["ISO 4587"])
    """Test standard: ASTM D1002, D3528, D1876, D5656, ISO 4587, 11339, 11003-2, 25217"""
    kind: Literal["single-lap shear", "double-lap shear", "t-peel", "thick-adherend shear", "dcb", "enf"] | None = Field(
        None, examples=["single-lap shear"]
    )
    """Kind of test, where no standard is followed"""
    source: str = Field(max_length=MOST_LETTERS, examples=["our laboratory, A. Person, 12 March"])
    """Who tested what, when"""
    adhesive: str = Field("", max_length=MOST_LETTERS, examples=["toughened epoxy, lot 12"])
    """Adhesive and lot"""
    adherends: str = Field("", max_length=MOST_LETTERS, examples=["aluminium 6082-T6, 1.6 mm"])
    """Adherends"""
    preparation: str = Field("", max_length=MOST_LETTERS, examples=["wiped, abraded, wiped, primed"])
    """Surface preparation and cure"""
    conditions: str = Field("", max_length=MOST_LETTERS, examples=["23 degC, 50 % r.h."])
    """Conditions of the test"""
    speed: Annotated[float, Unit("mm/min", gt=0, le=1e5)] | None = Field(None, examples=["1.3 mm/min"])
    """Speed of the machine"""
    note: str = Field("", max_length=MOST_LETTERS)
    """What else a reader should know"""
    data: Data
    """Where the tester's tables are"""
    reduction: Options = Options()
    """How curves are reduced"""
    specimen: Dimensions = Dimensions()
    """Dimensions that all specimens share"""
    specimens: Annotated[tuple[Specimen, ...], BeforeValidator(in_order), Len(0, 1000)] = Field(())
    """Specimens with what is their own"""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if not self.source.strip():
            refuse("source", self.source, "must say who tested what, and when")
        if self.standard is None and self.kind is None:
            refuse("kind", None, f"give coupons.standard, or coupons.kind: one of {', '.join(KINDS)}")
        if self.standard is not None:
            try:
                known = standard(self.standard)
            except JointError as error:
                refuse("standard", self.standard, str(error).partition(": ")[2].rstrip("."))
            if self.kind not in (None, known.kind):
                refuse("kind", self.kind, f"{known.name} is for {known.kind}; leave kind out, or the standard")
        names = [one.name for one in self.specimens]
        for i, name in enumerate(names):
            if name in names[:i]:
                refuse(f"specimens.{i}.name", name, "is there already; give each specimen once")
        return self

    @property
    def followed(self) -> Standard | None:
        """The standard."""
        return None if self.standard is None else standard(self.standard)

    @property
    def what(self) -> str:
        """The kind of test, one of `KINDS`."""
        return self.followed.kind if self.followed is not None else str(self.kind)

    def of(self, name: str) -> Specimen:
        """Return what is known of a specimen: its own entry, or one that has only the common dimensions."""
        return next((one for one in self.specimens if one.name == name), Specimen(name=name))

    def dimensions(self, name: str) -> dict[str, float]:
        """Return the dimensions of a specimen, its own before the common ones: mm, MPa."""
        own = self.of(name)
        pairs = ((key, getattr(own, key), getattr(self.specimen, key)) for key in DIMENSIONS)
        return {key: float(mine if mine is not None else common) for key, mine, common in pairs if (mine, common) != (None, None)}
