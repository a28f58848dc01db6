"""The joint families, the load and the analysis: everything a user states, checked.

One class a family. Besides its keys a family says, for the mechanics, which
geometry script draws it and with which parameters, what each named region is
made of, and how large each region must come out.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field, model_validator

from fejoint.joint.materials import AdherendMaterial, Adhesive, Orthotropic
from fejoint.joint.model import Model, Unit, refuse

__all__ = ["FAMILIES", "Adherend", "Analysis", "Joint", "Load", "SingleLap"]

Length = Annotated[float, Unit("mm", gt=0, le=10_000)]


class Adherend(Model):
    """One of the bonded parts."""

    material: AdherendMaterial = Field(examples=["aluminium 2024-T3"])
    """A library name, or a table of properties"""
    thickness: Length = Field(examples=["1.6 mm"])
    """Thickness"""
    free_length: Length = Field(examples=["50 mm"])
    """Length outside the overlap, up to the grip"""


class SingleLap(Model):
    """Two adherends, one overlap: `lower` is gripped at the left, `upper` loaded at the right."""

    script: ClassVar[str] = "single_lap.geo"

    kind: Literal["single-lap"] = Field("single-lap", examples=["single-lap"])
    """Joint family"""
    width: Length = Field(examples=["25 mm"])
    """Width of the joint, across the load"""
    overlap_length: Length = Field(examples=["12.5 mm"])
    """Length of the overlap, along the load"""
    bondline_thickness: Length = Field(examples=["0.2 mm"])
    """Thickness of the adhesive layer"""
    spew: Literal["square", "fillet"] = Field("square", examples=["square"])
    """End of the adhesive: square, or a 45-degree spew fillet"""
    spew_height: Length | None = Field(None, examples=["0.2 mm"])
    """How far a fillet climbs the end face; by default bondline_thickness, at most half the thinner adherend"""
    lower: Adherend
    """Adherend gripped at the left"""
    upper: Adherend
    """Adherend loaded at the right"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        ta = self.bondline_thickness
        if self.overlap_length <= ta:
            refuse("overlap_length", self.overlap_length, f"must be longer than the bondline is thick ({ta:g} mm)")
        thinnest = min(self.lower.thickness, self.upper.thickness)
        # Beyond these proportions no bonded joint lies, and round-off eats the result of any solver.
        if self.overlap_length > 1000 * thinnest:
            refuse(
                "overlap_length",
                self.overlap_length,
                f"must be at most 1000 times the thinner adherend's thickness ({1000 * thinnest:g} mm)",
            )
        for name, part in (("lower", self.lower), ("upper", self.upper)):
            if not ta / 20 <= part.thickness <= 1000 * ta:
                refuse(
                    f"{name}.thickness",
                    part.thickness,
                    f"must be from 1/20 to 1000 times the bondline's thickness ({ta / 20:g} to {1000 * ta:g} mm)",
                )
            if not ta / 10 <= part.free_length <= 1000 * part.thickness:
                refuse(
                    f"{name}.free_length",
                    part.free_length,
                    f"must be from a tenth of the bondline's thickness to 1000 times the adherend's "
                    f"({ta / 10:g} to {1000 * part.thickness:g} mm)",
                )
        if self.spew_height is not None:
            if self.spew == "square":
                refuse("spew_height", self.spew_height, 'only goes with spew = "fillet"')
            if not 0.1 * ta <= self.spew_height <= 0.9 * thinnest:
                refuse(
                    "spew_height",
                    self.spew_height,
                    f"must be from a tenth of the bondline's thickness to nine tenths of the thinner adherend's "
                    f"({0.1 * ta:g} to {0.9 * thinnest:g} mm)",
                )
        leg = self.fillet_height + ta
        for name, part in (("lower", self.lower), ("upper", self.upper)):
            if self.spew == "fillet" and part.free_length <= 1.1 * leg:
                refuse(f"{name}.free_length", part.free_length, f"must be longer than the fillet on it ({1.1 * leg:g} mm)")
        return self

    @property
    def fillet_height(self) -> float:
        """How far the spew climbs the end face of an adherend, mm; 0 for a square end."""
        if self.spew == "square":
            return 0.0
        if self.spew_height is not None:
            return self.spew_height
        return min(self.bondline_thickness, self.lower.thickness / 2, self.upper.thickness / 2)

    @property
    def lever(self) -> float:
        """Distance between the mid-planes of the adherends, mm."""
        return (self.lower.thickness + self.upper.thickness) / 2 + self.bondline_thickness

    @property
    def bonded_length(self) -> float:
        """Length over which load is transferred, mm."""
        return self.overlap_length

    def script_parameters(self) -> dict[str, float]:
        """Return the geometry script's parameters, mm."""
        return {
            "overlap_length": self.overlap_length,
            "bondline_thickness": self.bondline_thickness,
            "lower_thickness": self.lower.thickness,
            "lower_free_length": self.lower.free_length,
            "upper_thickness": self.upper.thickness,
            "upper_free_length": self.upper.free_length,
            "spew_height": self.fillet_height,
        }

    def region_areas(self) -> dict[str, float]:
        """Return the area that each named region of the section must have, mm^2."""
        f, ta, length = self.fillet_height, self.bondline_thickness, self.overlap_length
        leg = f + ta if f > 0 else 0.0
        return {
            "lower": self.lower.thickness * (self.lower.free_length + length),
            "adhesive": ta * length + leg**2,
            "upper": self.upper.thickness * (self.upper.free_length + length),
        }

    def adherends(self) -> dict[str, Adherend]:
        """Return the adherends by the name of their region."""
        return {"lower": self.lower, "upper": self.upper}


FAMILIES: dict[str, type[SingleLap]] = {"single-lap": SingleLap}


class Load(Model):
    """What acts on the joint."""

    force: Annotated[float, Unit("N")] = Field(examples=["2.5 kN"])
    """Total force over the width, along the joint; negative is compression"""
    moment: Annotated[float, Unit("N*mm")] = Field(0.0, examples=["0 N*m"])
    """Moment on the loaded end; pinned ends only"""
    shear_force: Annotated[float, Unit("N")] = Field(0.0, examples=["0 N"])
    """Force on the loaded end across the joint; positive lifts it"""
    ends: Literal["clamped", "pinned"] = Field("clamped", examples=["clamped"])
    """How the ends are held: clamped (end faces do not turn) or pinned (they turn)"""
    temperature_change: Annotated[float, Unit("K")] = Field(0.0, examples=["0 K"])
    """Temperature now less the stress-free temperature"""

    @model_validator(mode="after")
    def _available(self) -> Self:
        for key in ("moment", "shear_force"):
            if getattr(self, key) != 0:
                refuse(key, getattr(self, key), "this version only knows 0; leave the key out")
        return self


class Analysis(Model):
    """How the joint is analysed."""

    large_rotation: bool = Field(False, examples=[False])
    """Let the joint straighten under load"""
    adhesive_model: Literal["elastic", "plastic", "cohesive"] = Field("elastic", examples=["elastic"])
    """Behaviour of the adhesive"""
    adherend_plasticity: bool = Field(False, examples=[False])
    """Let the adherends yield"""
    out_of_plane: Literal["plane-strain", "generalised", "automatic"] = Field("automatic", examples=["automatic"])
    """Across the width: plane-strain, generalised (no net force), automatic (generalised when the temperature changes)"""
    error_target: Annotated[float, Unit("", ge=1e-4, le=0.5)] = Field(0.01, examples=[0.01])
    """Allowed discretisation error of peak shear and peel, as a share of them"""
    mesh_density: Annotated[float, Unit("", ge=0.75, le=16)] = Field(1.0, examples=[1.0])
    """Fineness of the first mesh; 2.0 halves the elements everywhere"""

    @model_validator(mode="after")
    def _available(self) -> Self:
        if self.large_rotation:
            refuse("large_rotation", True, "this version only knows false; leave the key out")
        if self.adhesive_model != "elastic":
            refuse("adhesive_model", self.adhesive_model, 'this version only knows "elastic"')
        if self.adherend_plasticity:
            refuse("adherend_plasticity", True, "this version only knows false; leave the key out")
        return self


class Joint(Model):
    """A bonded joint as stated by its user: geometry, materials, load and kind of analysis.

    Equal joints compare equal; a joint is never changed, only replaced.
    Numbers are N, mm, MPa, K; strings with units and pint quantities are taken
    wherever a number is.
    """

    title: str = Field("", examples=["lap coupon"])
    """What this joint is"""
    geometry: SingleLap = Field(alias="joint")
    """The joint's family and dimensions"""
    adhesive: Adhesive
    """The adhesive"""
    load: Load
    """What acts on the joint"""
    analysis: Analysis = Field(default_factory=Analysis)
    """How the joint is analysed"""

    @model_validator(mode="after")
    def _expansion_known(self) -> Self:
        if self.load.temperature_change == 0:
            return self
        for place, material in self.materials_by_key().items():
            keys = ("expansion_x", "expansion_y", "expansion_z") if isinstance(material, Orthotropic) else ("expansion",)
            for key in keys:
                if getattr(material, key) is None:
                    refuse(
                        f"{place}.{key}",
                        None,
                        f"needed because load.temperature_change = {self.load.temperature_change:g} K; add it",
                    )
        return self

    @property
    def out_of_plane(self) -> str:
        """``"plane-strain"`` or ``"generalised"``: what `analysis.out_of_plane` comes to."""
        if self.analysis.out_of_plane != "automatic":
            return self.analysis.out_of_plane
        return "generalised" if self.load.temperature_change != 0 else "plane-strain"

    @property
    def line_load(self) -> float:
        """Force per width, N/mm."""
        return self.load.force / self.geometry.width

    @property
    def mean_shear(self) -> float:
        """Force over all bonded area, MPa."""
        return self.line_load / self.geometry.bonded_length

    def materials(self) -> dict[str, AdherendMaterial | Adhesive]:
        """Return the material of every named region of the section."""
        return {**{n: a.material for n, a in self.geometry.adherends().items()}, "adhesive": self.adhesive}

    def materials_by_key(self) -> dict[str, AdherendMaterial | Adhesive]:
        """Return every material by its dotted key in the joint file."""
        parts = {f"joint.{name}.material": part.material for name, part in self.geometry.adherends().items()}
        return {**parts, "adhesive": self.adhesive}
