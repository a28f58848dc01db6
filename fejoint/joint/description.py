"""A bonded joint as its user states it: family and dimensions, adhesive, load and kind of analysis, checked together."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from fejoint.joint.conditions import Environment
from fejoint.joint.families import AnyFamily
from fejoint.joint.flaws import Flaw, Merged, check_flaws, edge_parameters, flaw_edges, merged
from fejoint.joint.load import Load
from fejoint.joint.materials import AdherendMaterial, Adhesive, Isotropic
from fejoint.joint.model import Model, Unit, in_order
from fejoint.joint.needed import check_figures
from fejoint.joint.strength import StrengthRules

if TYPE_CHECKING:
    from fejoint.joint.yielding import Yielding

__all__ = ["Analysis", "Joint", "Load"]


class Analysis(Model):
    """How the joint is analysed."""

    large_rotation: bool = Field(False, examples=[False])
    """Let the joint straighten under load"""
    adhesive_model: Literal["elastic", "plastic", "cohesive"] = Field("elastic", examples=["elastic"])
    """Behaviour of the adhesive: elastic; plastic beyond its yield stress; or cohesive, which damages and parts"""
    adherend_plasticity: bool = Field(False, examples=[False])
    """Let the adherends yield, the isotropic ones"""
    out_of_plane: Literal["plane-strain", "generalised", "automatic"] = Field("automatic", examples=["automatic"])
    """Across the width: plane-strain, generalised (no net force), automatic (generalised when temperature or moisture change)"""
    error_target: Annotated[float, Unit("", ge=1e-4, le=0.5)] = Field(0.01, examples=[0.01])
    """Allowed discretisation error of peak shear and peel, as a share of them"""
    mesh_density: Annotated[float, Unit("", ge=0.75, le=16)] = Field(1.0, examples=[1.0])
    """Fineness of the first mesh; 2.0 halves the elements everywhere"""

    @property
    def nonlinear(self) -> bool:
        """Whether the answer is not in proportion to the load: large rotation, or anything that yields or parts."""
        return self.large_rotation or self.adherend_plasticity or self.adhesive_model != "elastic"

    @property
    def cohesive(self) -> bool:
        """Whether the layer is one of tractions and separations."""
        return self.adhesive_model == "cohesive"


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
    strength: StrengthRules = Field(default_factory=StrengthRules)
    """What the prediction of strength is told"""
    flaws: Annotated[tuple[Flaw, ...], BeforeValidator(in_order)] = Field(
        (), alias="flaw", examples=[[{"kind": "void", "start": "3 mm", "length": "2 mm"}]]
    )
    """Voids, disbonds and unwetted patches of the bondlines"""

    @model_validator(mode="after")
    def _figures_known(self) -> Self:
        check_figures(self)
        check_flaws(self)
        return self

    @property
    def out_of_plane(self) -> str:
        """``"plane-strain"`` or ``"generalised"``: what `analysis.out_of_plane` comes to, the same on all of the load's path."""
        if self.analysis.out_of_plane != "automatic":
            return self.analysis.out_of_plane
        swollen = any(step.temperature_change != 0 or step.moisture != 0 for step in self.load.path())
        return "generalised" if swollen else "plane-strain"

    @property
    def environment(self) -> Environment:
        """Temperature and moisture at the end of the load's path."""
        return self.load.environment

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
        """Force over all bonded area, MPa: without that of flaws."""
        flawed = sum(flaw.length for flaw in self.merged_flaws().flaws) if self.flaws else 0.0
        return self.line_load / (self.geometry.bonded_length - flawed)

    @property
    def half(self) -> bool:
        """Whether the upper half of the section stands for the whole, by symmetry about y = 0."""
        return self.geometry.has_like_halves and self.load.force_alone and not self.analysis.nonlinear and not self.flaws

    def merged_flaws(self) -> Merged:
        """Return the flaws that the joint is solved with, and what is to be said of how they came about (`flaws.merged`)."""
        return merged(self)

    def at(self, **now: float) -> Joint:
        """Return the joint under another momentary load, without steps (`Load.at`): what is not named is as at its path's end.

        It stays in the state out of plane that the whole path has.
        """
        return self.replace(load=self.load.at(**now), analysis=self.analysis.replace(out_of_plane=self.out_of_plane))

    def elastic(self) -> Joint:
        """Return the joint under small rotation and all elastic, in the state out of plane that its whole path has."""
        analysis = self.analysis.replace(
            large_rotation=False, adhesive_model="elastic", adherend_plasticity=False, out_of_plane=self.out_of_plane
        )
        return self.replace(analysis=analysis)

    def script_parameters(self, half: bool) -> dict[str, float]:
        """Return the geometry script's parameters, mm: the family's, flaws' edges, how long a cohesive layer's cells may be."""
        from fejoint.joint.cohesion import longest_cell

        parameters = self.geometry.script_parameters(half) | (edge_parameters(flaw_edges(self)) if self.flaws else {})
        return {**parameters, "longest_bonded_cell": longest_cell(self)} if self.analysis.cohesive else parameters

    def yielding(self) -> dict[str, Yielding]:
        """Return how each region yields that may do so in this analysis, by the region's name."""
        from fejoint.joint.yielding import yielding_of

        adhesive, metal = self.analysis.adhesive_model == "plastic", self.analysis.adherend_plasticity
        return {
            name: yielding_of(material)
            for name, material in self.materials().items()
            if isinstance(material, Isotropic) and (adhesive if name == "adhesive" else metal)
        }

    def materials(self) -> dict[str, AdherendMaterial | Adhesive]:
        """Return the material of every named region of the section."""
        return {**{n: a.material for n, a in self.geometry.adherends().items()}, "adhesive": self.adhesive}

    def materials_by_key(self) -> dict[str, AdherendMaterial | Adhesive]:
        """Return every material by its dotted key in the joint file."""
        parts = {f"joint.{self.geometry.adherend_key(n)}.material": a.material for n, a in self.geometry.adherends().items()}
        return {**parts, "adhesive": self.adhesive}
