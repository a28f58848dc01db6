"""What a cure is told in tables: a history of temperature, measured cures, strengths at degrees of cure."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from fejoint.joint.model import Model, Unit, refuse

__all__ = ["AtTime", "Degree", "MeasuredCure", "StrengthPoint"]

Time = Annotated[float, Unit("s", ge=0, le=1e9)]
Temperature = Annotated[float, Unit("K absolute", ge=100, le=1000)]
Degree = Annotated[float, Unit("", ge=0, le=1)]
Strength = Annotated[float, Unit("MPa", ge=0, le=10000)]


class AtTime(Model):
    """A point of the history of temperature."""

    time: Time = Field(examples=["0 min"])
    """Time since mixing"""
    temperature: Temperature = Field(examples=["23 degC"])
    """Temperature of the adhesive"""


class MeasuredCure(Model):
    """A degree of cure, or a strength, after a time at a steady temperature."""

    time: Annotated[float, Unit("s", gt=0, le=1e9)] = Field(examples=["4 h"])
    """Time since mixing"""
    temperature: Temperature = Field(examples=["23 degC"])
    """Steady temperature"""
    degree: Degree | None = Field(None, examples=[0.62])
    """Degree of cure then; or give strength"""
    strength: Strength | None = Field(None, examples=["3 MPa"])
    """Strength then, above 0 and below full_strength, from which the degree follows by the law of strength"""

    @model_validator(mode="after")
    def _one(self) -> Self:
        if (self.degree is None) == (self.strength is None):
            refuse("degree", self.degree, "give it or strength, one of the two")
        return self


class StrengthPoint(Model):
    """A strength at a degree of cure."""

    degree: Degree = Field(examples=[0.8])
    """Degree of cure"""
    strength: Strength = Field(examples=["12 MPa"])
    """Strength of the bond, as tested"""
