"""A bonded joint as its user states it: family and dimensions, adhesive, load and kind of analysis, checked together."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fejoint.joint.families import AnyFamily
from fejoint.joint.materials import AdherendMaterial, Adhesive, Orthotropic
from fejoint.joint.model import Model, Unit, refuse

__all__ = ["Analysis", "Joint", "Load"]


class Load(Model):
    """What acts on the joint."""

    force: Annotated[float, Unit("N", ge=-1e9, le=1e9)] = Field(examples=["2.5 kN"])
    """Total force over the width, along the joint; negative is compression"""
    moment: Annotated[float, Unit("N*mm", ge=-1e12, le=1e12)] = Field(0.0, examples=["0 N*m"])
    """Moment on the loaded end, counter-clockwise positive; pinned ends only"""
    shear_force: Annotated[float, Unit("N", ge=-1e9, le=1e9)] = Field(0.0, examples=["0 N"])
    """Force on the loaded end across the joint, positive lifts it; other than 0 the end is free to move so; clamped ends only"""
    ends: Literal["clamped", "pinned"] = Field("clamped", examples=["clamped"])
    """How the ends are held: clamped (end faces do not turn) or pinned (they turn)"""
    temperature_change: Annotated[float, Unit("K", ge=-2000, le=2000)] = Field(0.0, examples=["0 K"])
    """Temperature now less the stress-free temperature"""

    @property
    def force_alone(self) -> bool:
        """Whether neither moment nor shear force acts."""
        return self.moment == 0 and self.shear_force == 0

    @model_validator(mode="after")
    def _held(self) -> Self:
        if self.moment != 0 and self.ends != "pinned":
            refuse("moment", self.moment, 'only goes with ends = "pinned": a clamped end cannot turn under it')
        if self.shear_force != 0 and self.ends != "clamped":
            refuse("shear_force", self.shear_force, 'only goes with ends = "clamped": between pins nothing would hold the joint')
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
    geometry: AnyFamily = Field(alias="joint")
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
    def line_moment(self) -> float:
        """Moment on the loaded end per width, N."""
        return self.load.moment / self.geometry.width

    @property
    def line_shear(self) -> float:
        """Force across the joint on the loaded end per width, N/mm."""
        return self.load.shear_force / self.geometry.width

    @property
    def mean_shear(self) -> float:
        """Force over all bonded area, MPa."""
        return self.line_load / self.geometry.bonded_length

    @property
    def half(self) -> bool:
        """Whether the upper half of the section stands for the whole, by symmetry about y = 0."""
        return self.geometry.has_like_halves and self.load.force_alone

    def materials(self) -> dict[str, AdherendMaterial | Adhesive]:
        """Return the material of every named region of the section."""
        return {**{n: a.material for n, a in self.geometry.adherends().items()}, "adhesive": self.adhesive}

    def materials_by_key(self) -> dict[str, AdherendMaterial | Adhesive]:
        """Return every material by its dotted key in the joint file."""
        parts = {f"joint.{self.geometry.adherend_key(n)}.material": a.material for n, a in self.geometry.adherends().items()}
        return {**parts, "adhesive": self.adhesive}
