"""How a tester's table is read, as its user states it: delimiter, decimal sign, head, columns, units, encoding."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from fejoint.joint.model import Model, refuse
from fejoint.units import as_number

__all__ = ["INSIDE", "ColumnUnits", "Columns", "Reading"]

Name = str | Annotated[int, Field(ge=1, le=10_000)]
INSIDE = {"force": "N", "displacement": "mm", "extension": "mm", "time": "s", "crack_length": "mm"}


class Columns(Model):
    """Which column holds what: by its name in the head, without the unit, or by its number from 1."""

    force: Name | None = Field(None, examples=["Load"])
    """Force"""
    displacement: Name | None = Field(None, examples=["Crosshead"])
    """Displacement of the grips or of the loading point"""
    extension: Name | None = Field(None, examples=["Extensometer"])
    """What an extensometer on the specimen read"""
    time: Name | None = Field(None, examples=["Time"])
    """Time"""
    specimen: Name | None = Field(None, examples=["Specimen"])
    """Name of the specimen, where several are in one table"""
    crack_length: Name | None = Field(None, examples=["Crack length"])
    """Crack length where it was read, empty elsewhere"""


class ColumnUnits(Model):
    """The unit of each column; from its head or from a row of units when left out."""

    force: str | None = Field(None, examples=["kN"])
    """Of the force"""
    displacement: str | None = Field(None, examples=["mm"])
    """Of the displacement"""
    extension: str | None = Field(None, examples=["um"])
    """Of the extension"""
    time: str | None = Field(None, examples=["s"])
    """Of the time; seconds where nothing says otherwise"""
    crack_length: str | None = Field(None, examples=["mm"])
    """Of the crack length"""

    @model_validator(mode="after")
    def _are_units(self) -> Self:
        for key, inside in INSIDE.items():
            unit = getattr(self, key)
            if unit is not None:
                try:
                    as_number(f"1 {unit}", inside)
                except ValueError as error:
                    refuse(key, unit, str(error))
        return self


class Reading(Model):
    """How a tester's table is read; what is left out is found from the text."""

    delimiter: Literal[";", ",", "\t", "|"] | None = Field(None, examples=[";"])
    """What stands between columns: semicolon, comma, tab or bar"""
    decimal: Literal[".", ","] | None = Field(None, examples=[","])
    """Decimal point or comma"""
    thousands: Literal["", ".", ",", " ", "'"] | None = Field(None, examples=["."])
    """What parts thousands in numbers; nothing unless found"""
    header_lines: Annotated[int, Field(ge=0, le=10_000)] | None = Field(None, examples=[12])
    """Lines before the one with the names of the columns"""
    columns: Columns = Columns()
    """Which column holds what"""
    units: ColumnUnits = ColumnUnits()
    """Unit of each column"""
    encoding: Literal["utf-8", "latin-1", "utf-16"] | None = Field(None, examples=["latin-1"])
    """How the file holds its letters"""
    negative: bool = Field(False, examples=[True])
    """Force and displacement were recorded as negative, as of a specimen pressed on: turn both"""
