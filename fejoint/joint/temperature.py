"""Figures of an adhesive that depend on the temperature: its ``at_temperature`` table."""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise
from typing import Annotated, Self

from annotated_types import Len
from pydantic import BeforeValidator, Field, model_validator

from fejoint.joint.model import Unit, in_order, refuse
from fejoint.joint.sourced import Sourced

__all__ = ["COLUMNS", "AtTemperature"]

MOST = 100
COLUMNS = ("elastic_modulus", "tensile_yield", "expansion")


class AtTemperature(Sourced):
    """A table against absolute temperature; between its temperatures the figures run straight, beyond them there are none."""

    temperature: Annotated[
        tuple[Annotated[float, Unit("K absolute", gt=0, le=3000)], ...], Len(2, MOST), BeforeValidator(in_order)
    ] = Field(examples=[["-40 degC", "23 degC", "120 degC"]])
    """Temperatures, from cold to hot"""
    elastic_modulus: (
        Annotated[tuple[Annotated[float, Unit("MPa", gt=0)], ...], Len(2, MOST), BeforeValidator(in_order)] | None
    ) = Field(None, examples=[["2.3 GPa", "2 GPa", "0.6 GPa"]])
    """Young's modulus at each; Poisson's ratio stays"""
    tensile_yield: Annotated[tuple[Annotated[float, Unit("MPa", gt=0)], ...], Len(2, MOST), BeforeValidator(in_order)] | None = (
        Field(None, examples=[["18 MPa", "13 MPa", "3 MPa"]])
    )
    """Tensile yield stress at each; the whole hardening curve is scaled with it"""
    expansion: Annotated[tuple[Annotated[float, Unit("1/K")], ...], Len(2, MOST), BeforeValidator(in_order)] | None = Field(
        None, examples=[["55e-6 1/K", "60e-6 1/K", "75e-6 1/K"]]
    )
    """Mean coefficient of thermal expansion from the stress-free temperature to each"""

    @model_validator(mode="after")
    def _is_a_table(self) -> Self:
        for i, (before, after) in enumerate(pairwise(self.temperature), 2):
            if after <= before:
                why = f"must rise from item to item; item {i} ({after:g} K) follows {before:g} K"
                refuse("temperature", self.temperature, why)
        given = {key: column for key in COLUMNS if (column := getattr(self, key)) is not None}
        if not given:
            refuse("elastic_modulus", None, f"a table holds at least one of {', '.join(COLUMNS)}; add it")
        for key, column in given.items():
            if len(column) != len(self.temperature):
                why = f"must hold {len(self.temperature)} figures, one for each temperature, not {len(column)}"
                refuse(key, column, why)
        return self

    def figure(self, key: str, temperature: float, otherwise: float) -> float:
        """Return a figure at an absolute temperature (K) within the table; `otherwise` where it has no such column."""
        column = getattr(self, key)
        if column is None:
            return otherwise
        t = self.temperature
        i = min(max(bisect_right(t, temperature), 1), len(t) - 1)
        share = min(max((temperature - t[i - 1]) / (t[i] - t[i - 1]), 0.0), 1.0)
        return float((1 - share) * column[i - 1] + share * column[i])
