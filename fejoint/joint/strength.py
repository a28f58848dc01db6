"""What the prediction of strength is told beside the joint: distances, limits, knockdowns, scatter of the inputs."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from fejoint.joint.disbond import Disbond
from fejoint.joint.model import Model, Unit, in_order, refuse

__all__ = ["Knockdown", "Scatter", "StrengthRules"]

Distance = Annotated[float, Unit("mm", gt=0, le=1000)]


class Knockdown(Model):
    """A factor on the load that a part of the joint bears, with its name and where it comes from."""

    name: str = Field(examples=["hot and wet"])
    """What it stands for"""
    factor: Annotated[float, Unit("", gt=0, le=1)] = Field(examples=[0.7])
    """Share of the load that is left"""
    source: str = Field("user's", examples=["user's"])
    """Where it comes from"""
    on: Literal["adhesive", "adherends", "all"] = Field("adhesive", examples=["adhesive"])
    """What it counts for: adhesive, adherends, all"""

    def __str__(self) -> str:
        """Return the knockdown in words."""
        return f"{self.name} {self.factor:g} on {self.on} ({self.source})"

    @model_validator(mode="after")
    def _said(self) -> Self:
        for key in ("name", "source"):
            value = getattr(self, key)
            if not value.strip() or not value.isprintable() or len(value) > 80:
                refuse(key, value, "must be text of 1 to 80 printable characters")
        return self


class Scatter(Model):
    """How much an input scatters from joint to joint."""

    key: str = Field(examples=["adhesive.shear_strength"])
    """Dotted key of the joint file"""
    variation: Annotated[float, Unit("", gt=0, le=0.5)] = Field(examples=[0.08])
    """Standard deviation as a share of the value"""
    source: str = Field("user's", examples=["user's"])
    """Where it comes from"""

    def __str__(self) -> str:
        """Return the scatter in words."""
        return f"{self.key} {100 * self.variation:.3g} % ({self.source})"


class StrengthRules(Model):
    """What the prediction of strength is told beside the joint."""

    point_distance: Distance | None = Field(None, examples=["0.2 mm"])
    """Distance from the overlap's end at which point criteria take the stress; the bondline thickness when left out"""
    averaging_length: Distance | None = Field(None, examples=["0.8 mm"])
    """Length from the overlap's end over which averaging criteria take the stress; four times point_distance when left out"""
    shear_limit: Literal["strength", "yield"] = Field("strength", examples=["strength"])
    """Which shear stress criteria allow: strength or yield; the two may differ by a factor of two"""
    failure_at: Literal["adhesive", "interface"] = Field("adhesive", examples=["adhesive"])
    """Where the bond parts, as its user judges the preparation: within the adhesive, or at the interface"""
    disbond: Disbond | None = Field(None, examples=[{"length": "3 mm", "end": "left", "place": "middle"}])
    """A disbond whose growth is asked for"""
    knockdown: Annotated[tuple[Knockdown, ...], BeforeValidator(in_order)] = Field(
        (), examples=[[{"name": "hot and wet", "factor": 0.7, "source": "user's"}]]
    )
    """Factors on the load, each with its name and source"""
    scatter: Annotated[tuple[Scatter, ...], BeforeValidator(in_order)] = Field(
        (), examples=[[{"key": "adhesive.shear_strength", "variation": 0.08}]]
    )
    """Inputs that scatter, for the band of the load"""

    @property
    def bond_mode(self) -> str:
        """How the bond fails where it does: ``"cohesive"``, or ``"interface"``."""
        return "interface" if self.failure_at == "interface" else "cohesive"

    @model_validator(mode="after")
    def _each_once(self) -> Self:
        keys = [item.key for item in self.scatter]
        for i, key in enumerate(keys):
            if key in keys[:i]:
                refuse(f"scatter.{i}.key", key, "is there already; give each input once")
        return self
