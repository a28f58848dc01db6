"""Quantities in, N-mm-MPa-K inside.

A quantity may come as a bare number (already in the inside unit), as a string
with a unit (``"0.2 mm"``, ``"10 ksi"``) or as a pint quantity. Only the number
and the unit's name are read from a string: it is never evaluated.
"""

from __future__ import annotations

import math
import re
from functools import cache, lru_cache
from typing import Any

__all__ = ["DISPLAY_SYSTEMS", "as_number", "display", "known", "shown_unit"]

# inside unit -> what an error message calls it, with an example
DIMENSIONS = {
    "mm": ("a length", "25 mm"),
    "MPa": ("a stress", "2 GPa"),
    "N": ("a force", "2.5 kN"),
    "N*mm": ("a moment", "3 N*m"),
    "N/mm": ("a toughness (energy per area)", "0.43 N/mm"),
    "K": ("a temperature difference", "-100 K"),
    "K absolute": ("an absolute temperature", "120 degC"),
    "1/K": ("an expansion per degree", "23e-6 1/K"),
    "s": ("a time", "30 min"),
    "1/s": ("a rate", "2e5 1/s"),
    "deg": ("an angle", "65 deg"),
    "mN/m": ("a surface energy or tension", "72.8 mJ/m^2"),
    "Pa*s": ("a viscosity", "40 Pa*s"),
    "J/mol": ("an activation energy", "60 kJ/mol"),
    "mm/N": ("a compliance", "5e-6 mm/N"),
    "mm/min": ("a speed", "1.3 mm/min"),
    "g/cm^3": ("a density", "1.15 g/cm^3"),
    "mm^2": ("an area", "300 mm^2"),
    "mL": ("a volume", "50 mL"),
    "": ("a number without unit", "0.35"),
}

# A display system names the unit shown for each inside unit.
DISPLAY_SYSTEMS: dict[str, dict[str, str]] = {
    "mm": {},
    "SI": {"mm": "m", "MPa": "Pa", "N*mm": "N*m", "N/mm": "N/m"},
    "inch": {"mm": "inch", "MPa": "psi", "N": "lbf", "N*mm": "lbf*inch", "N/mm": "lbf/inch", "K": "delta_degF"},
}

# Absolute temperatures have a zero of their own: kelvins of one degree of a scale, and the scale's reading at 0 K.
ABSOLUTE = "K absolute"
_SCALES = {"K": (1.0, 0.0), "C": (1.0, -273.15), "F": (1 / 1.8, -459.67), "R": (1 / 1.8, 0.0)}
_NAMES_OF_SCALES = {
    **dict.fromkeys(("K", "kelvin", "degK", "°K"), "K"),
    **dict.fromkeys(("degC", "°C", "celsius", "degree_Celsius", "degrees_Celsius"), "C"),
    **dict.fromkeys(("degF", "°F", "fahrenheit", "degree_Fahrenheit", "degrees_Fahrenheit"), "F"),
    **dict.fromkeys(("degR", "°R", "rankine", "degree_Rankine"), "R"),
}
_SCALE_OF = {name.lower(): scale for name, scale in _NAMES_OF_SCALES.items()}

_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*")
# Temperatures but absolute ones are differences, so an offset scale is read as one, in pint's own spelling
# (degree_Celsius) too; delta_degree_Celsius is one already and stays.
_OFFSET_SCALE = re.compile(r"(?:°|\bdeg(?:rees?_?)?)\s*([CF])\b|\b(?:degrees?_)?(celsius|fahrenheit)\b", re.IGNORECASE)


@cache
def _registry() -> Any:
    import pint

    return pint.application_registry


@lru_cache(maxsize=1024)
def _factor(unit: str, inside: str) -> float:
    """Return the factor from `unit` to `inside`; ValueError when they do not match."""
    import pint

    registry = _registry()
    text = _OFFSET_SCALE.sub(lambda m: f"delta_deg{(m[1] or m[2])[0].upper()}", unit)
    text = f"1{text}" if text.startswith("/") else text
    try:
        return float(registry.Quantity(1.0, registry.parse_units(text)).to(inside or "dimensionless").magnitude)
    except pint.DimensionalityError:
        raise ValueError(_wanted(inside)) from None
    except Exception:  # pint raises many kinds (also TypeError, tokenizer errors) on a malformed unit
        raise ValueError(f"{unit!r} is not a unit; {_wanted(inside)}") from None


def _quantity(number: float, unit: str, inside: str) -> float:
    """Return a number of a unit in the unit `inside`."""
    if inside != ABSOLUTE:
        return number * _factor(unit, inside)
    scale = _SCALE_OF.get("".join(unit.removesuffix("absolute").split()).lower())
    if scale is None:
        raise ValueError(_wanted(inside))
    kelvin, zero = _SCALES[scale]
    return round((number - zero) * kelvin, 9)  # 233.15 for -40 degC, not 233.14999999999998


def _wanted(inside: str) -> str:
    name, example = DIMENSIONS[inside]
    return f"must be {name}, such as {example!r}"


def as_number(value: Any, inside: str) -> float:
    """Return `value` as a finite number in the unit `inside`.

    Parameters
    ----------
    value : float, str or pint.Quantity
        A bare number is taken to be in `inside` already.
    inside : str
        One of ``mm``, ``MPa``, ``N``, ``N*mm``, ``N/mm``, ``K`` (a difference),
        ``K absolute``, ``1/K`` or the empty string (no unit).

    Raises
    ------
    ValueError
        Not a quantity, not finite, or of another dimension; the text says
        what is wanted.
    """
    if isinstance(value, bool) or (hasattr(value, "ndim") and value.ndim):  # an array, even of one number, is none
        raise ValueError(_wanted(inside))
    if isinstance(value, str):
        match = _QUANTITY.fullmatch(value)
        if match is None:
            raise ValueError(_wanted(inside))
        number = _quantity(float(match[1]), match[2], inside) if match[2] else float(match[1])
    elif hasattr(value, "to") and hasattr(value, "magnitude"):
        number = _quantity(float(value.magnitude), str(value.units), inside)
    else:
        try:
            number = float(value)
        except (TypeError, ValueError):
            raise ValueError(_wanted(inside)) from None
        except OverflowError:
            number = math.inf
    if not math.isfinite(number):
        raise ValueError("must be a finite number; " + _wanted(inside))
    return number


def display(value: float, inside: str, system: str = "mm", digits: int = 4) -> str:
    """Return `value` (in unit `inside`) as text in a display system, with its unit."""
    if inside == ABSOLUTE:
        scale = "F" if system == "inch" else "C"
        kelvin, zero = _SCALES[scale]
        return f"{_digits(round(value / kelvin + zero, 9), digits)} deg{scale}"
    unit = DISPLAY_SYSTEMS[system].get(inside, inside)
    shown = value if unit == inside else value / _factor(unit, inside)
    name = unit.replace("delta_deg", "deg").replace("inch", "in")
    return f"{_digits(shown, digits)} {name}".rstrip()


def shown_unit(inside: str, system: str) -> tuple[float, str]:
    """Return the factor from an inside unit to the one of a display system, and that one's name; K for absolute temperatures."""
    if inside == ABSOLUTE:
        return 1.0, "K"
    shown = DISPLAY_SYSTEMS[system].get(inside, inside)
    return 1.0 / as_number(f"1 {shown}", inside), shown.replace("inch", "in")


def _digits(value: float, digits: int) -> str:
    """Return a number to some significant digits, without an exponent where people would write none."""
    value += 0.0  # no "-0"
    if value == 0 or not 1e-3 <= abs(value) < 1e7:
        return f"{value:.{digits}g}"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    text = f"{round(value, places):.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def known(value: float) -> float | None:
    """Return a number as plain data have it, None where it is not finite: JSON knows neither infinity nor NaN."""
    return float(value) if math.isfinite(value) else None
