"""Test standards as data, each figure with its mark; and rounding as they ask for it."""

from __future__ import annotations

import difflib
import math
import tomllib
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from functools import cache
from importlib import resources
from typing import Any

from fejoint.errors import JointError
from fejoint.units import as_number

__all__ = ["KINDS", "Kind", "Nominal", "Standard", "rounded", "standard", "standards"]


@dataclass(frozen=True)
class Kind:
    """A kind of coupon: what is reported of it first, and in which words."""

    words: str
    main: str
    """Key of the main figure"""
    unit: str
    title: str
    """Of the main figure"""


KINDS = {
    "single-lap shear": Kind("single-lap shear", "strength", "MPa", "lap shear strength"),
    "double-lap shear": Kind("double-lap shear", "strength", "MPa", "lap shear strength"),
    "t-peel": Kind("T-peel", "peel_force", "N/mm", "mean peel force per width"),
    "thick-adherend shear": Kind("thick-adherend shear", "strength", "MPa", "shear strength"),
    "dcb": Kind("double cantilever beam", "toughness", "N/mm", "toughness G_Ic"),
    "enf": Kind("end-notched flexure", "toughness", "N/mm", "toughness G_IIc"),
}


@dataclass(frozen=True)
class Nominal:
    """A figure that a standard asks for, in inside units, and where it comes from."""

    value: float
    mark: str


@dataclass(frozen=True)
class Standard:
    """What one standard asks for, as far as it is known here."""

    name: str
    kind: str
    measures: str
    formula: str
    formula_mark: str
    digits: int
    rounding_mark: str
    dimensions: dict[str, Nominal]
    speed: Nominal | None
    """mm/min"""
    fewest: Nominal | None
    """Specimens"""
    break_within: tuple[float, float, str] | None
    """Seconds from and to, and the mark"""
    peel: tuple[float, float, bool, str] | None
    """Length of bond averaged over, mm; length left out before it; whether from the first peak; the mark"""


@cache
def standards() -> dict[str, Standard]:
    """Return the standards known here, by name."""
    text = resources.files("fejoint.coupon").joinpath("standards.toml").read_text(encoding="utf-8")
    return {name: _made(name, table) for name, table in tomllib.loads(text).items()}


def _made(name: str, table: dict[str, Any]) -> Standard:
    def nominal(given: dict[str, Any] | None, unit: str) -> Nominal | None:
        return None if given is None else Nominal(as_number(given["value"], unit), given["mark"])

    dimensions = {key: Nominal(as_number(one["value"], "mm"), one["mark"]) for key, one in table["dimensions"].items()}
    within, peel = table.get("break_within"), table.get("peel")
    return Standard(
        name,
        table["kind"],
        table["measures"],
        table["formula"],
        table["formula_mark"],
        table["rounding"]["digits"],
        table["rounding"]["mark"],
        dimensions,
        nominal(table.get("speed"), "mm/min"),
        nominal(table.get("fewest"), ""),
        None if within is None else (as_number(within["low"], "s"), as_number(within["high"], "s"), within["mark"]),
        None
        if peel is None
        else (as_number(peel["length"], "mm"), as_number(peel["skip"], "mm"), bool(peel["after_peak"]), peel["mark"]),
    )


def standard(name: str) -> Standard:
    """Return a standard by its name; capitals, years and spaces do not matter (``astm d1002-10`` is ASTM D1002).

    Raises
    ------
    JointError
        It is not known here.
    """
    known = standards()

    def plain(text: str) -> str:
        return "".join(letter for letter in text.lower() if letter.isalnum())

    year = name.split(":")[0]
    for given in (year, year.rpartition("-")[0]):
        found = next((one for one in known.values() if plain(one.name) == plain(given)), None)
        if found is not None:
            return found
    near = difflib.get_close_matches(name, known, n=1)
    hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(known)}; or give coupons.kind instead."
    raise JointError(f'coupons.standard = "{name[:60]}": is not known here; {hint}')


def rounded(value: float, digits: int = 3) -> str:
    """Return a value to so many significant digits, an exact half to the even digit (the rule of ASTM E29, from memory).

    The decimal digits of the number as Python writes it are rounded, not its binary ones.
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    exact = Decimal(repr(float(value)))
    step = Decimal(1).scaleb(exact.adjusted() - digits + 1)
    result = exact.quantize(step, rounding=ROUND_HALF_EVEN)
    if result.adjusted() > exact.adjusted():  # 9.996 to 10.0
        result = exact.quantize(step.scaleb(1), rounding=ROUND_HALF_EVEN)
    return f"{result:f}"
