"""How the yield stress grows with plastic strain: the keys of a material's ``hardening``.

It is the yield stress in uniaxial tension against the plastic strain there: with
large rotation true stress against logarithmic strain, else the engineer's.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from annotated_types import Len
from pydantic import BeforeValidator, Field, model_validator

from fejoint.joint.model import Unit, in_order, refuse
from fejoint.joint.sourced import Sourced

__all__ = ["Form", "Hardening", "form_of"]

Form = Literal["table", "saturating", "power"]
# Every form goes by the keys that only it has.
FORMS: dict[Form, tuple[str, ...]] = {
    "table": ("plastic_strain", "stress"),
    "saturating": ("rise", "rate", "slope"),
    "power": ("exponent",),
}
NEEDED: dict[Form, tuple[str, ...]] = {**FORMS, "saturating": ("rise", "rate")}
ONE_OF = "give plastic_strain and stress (a table), rise and rate (saturating), or exponent (Ramberg-Osgood)"
LONGEST = 200
SOFTENS = (
    "the stress must not fall: a layer that softens fails in a band whose width the mesh would choose; end the table at "
    "its largest stress, which then stays"
)


class Hardening(Sourced):
    """The yield stress in tension against plastic strain, in one of three forms.

    A table; or yield stress + rise (1 - exp(-rate ep)) + slope ep; or Ramberg
    and Osgood's ep = 0.002 (stress / tensile_yield)^exponent, with the tensile
    yield stress as 0.2 % proof stress.
    """

    plastic_strain: (
        Annotated[tuple[Annotated[float, Unit("", ge=0, le=10)], ...], Len(1, LONGEST), BeforeValidator(in_order)] | None
    ) = Field(None, examples=[[0, 0.01, 0.05]])
    """Plastic strain in tension, from 0 up; with stress"""
    stress: Annotated[tuple[Annotated[float, Unit("MPa", gt=0)], ...], Len(1, LONGEST), BeforeValidator(in_order)] | None = Field(
        None, examples=[["20 MPa", "28 MPa", "31 MPa"]]
    )
    """Yield stress at each plastic strain; the first is the tensile yield stress, the last one stays"""
    rise: Annotated[float, Unit("MPa", ge=0)] | None = Field(None, examples=["12 MPa"])
    """How far the yield stress rises in the end, above tensile_yield; with rate"""
    rate: Annotated[float, Unit("", gt=0, le=1e6)] | None = Field(None, examples=[60])
    """How fast it does so: after a plastic strain of 3 / rate it has risen by 95 %"""
    slope: Annotated[float, Unit("MPa", ge=0)] | None = Field(None, examples=["30 MPa"])
    """Steady rise per plastic strain beside it; 0 when left out"""
    exponent: Annotated[float, Unit("", ge=1, le=1000)] | None = Field(None, examples=[20])
    """Exponent of Ramberg and Osgood's curve through tensile_yield as 0.2 % proof stress"""

    @property
    def form(self) -> Form:
        """Which of the three it is."""
        return "table" if self.stress is not None else "power" if self.exponent is not None else "saturating"

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        given = {form: [key for key in keys if getattr(self, key) is not None] for form, keys in FORMS.items()}
        used = [form for form, keys in given.items() if keys]
        if not used:
            refuse("rise", None, ONE_OF)
        if len(used) > 1:
            key = given[used[1]][0]
            refuse(key, getattr(self, key), f"does not go with {given[used[0]][0]}: {ONE_OF}")
        for key in NEEDED[used[0]]:
            if getattr(self, key) is None:
                refuse(key, None, f"it goes with {given[used[0]][0]}; {ONE_OF}")
        if used == ["table"]:
            self._check_table()
        return self

    def _check_table(self) -> None:
        strain, stress = self.plastic_strain, self.stress
        assert strain is not None and stress is not None
        if len(strain) != len(stress):
            refuse("stress", stress, f"must hold {len(strain)} stresses, one for each plastic_strain, not {len(stress)}")
        if strain[0] != 0:
            refuse("plastic_strain", strain, f"must begin with 0, where yielding begins, not with {strain[0]:g}")
        for i, (before, after) in enumerate(pairwise(strain), 2):
            if after <= before:
                refuse("plastic_strain", strain, f"must rise from item to item; item {i} ({after:g}) follows {before:g}")
        for i, (before, after) in enumerate(pairwise(stress), 2):
            if after < before:
                refuse("stress", stress, f"item {i} ({after:g} MPa) lies below the one before ({before:g} MPa); {SOFTENS}")


def form_of(table: Any) -> Form | None:
    """Return which form the keys of a table belong to; None for keys of several, or none."""
    found = [form for form, keys in FORMS.items() if isinstance(table, dict) and any(key in table for key in keys)]
    return found[0] if len(found) == 1 else None
