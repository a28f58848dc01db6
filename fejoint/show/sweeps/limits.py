"""The columns of a sweep's table: limits on them, their numbers, which go together, what they are called."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.joint.keys import near

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Limit", "column_label", "column_of", "column_unit", "follows", "numbers", "parameters", "places", "read_limits"]

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

FORM = 'write it as "peak_peel_MPa <= 20": a column, <= or >=, and a number'
_LIMIT = re.compile(r"\s*([^<>=\s](?:[^<>=]*[^<>=\s])?)\s*(<=|>=)\s*(\S+)\s*")
# Varied and tied keys begin with one of these tables of the joint file.
TABLES = ("joint.", "adhesive.", "load.", "analysis.")
# How a column's name ends -> the unit on an axis.
UNITS = {
    "N_per_mm": "N/mm",
    "N_mm": "N mm",
    "per_K": "1/K",
    "MPa": "MPa",
    "GPa": "GPa",
    "kN": "kN",
    "mm2": "mm²",
    "mm": "mm",
    "N": "N",
    "K": "K",
}


# ---- limits --------------------------------------------------------------


@dataclass(frozen=True)
class Limit:
    """A limit on a column of a sweep's table: its values stay at or below (``<=``), or at or above (``>=``), a number.

    A shear stress is limited by its magnitude from above: its sign only tells
    the direction, and a joint in compression is no safer for it.
    """

    column: str
    sense: str
    value: float

    @classmethod
    def parse(cls, text: str) -> Self:
        """Return the limit that a text such as ``peak_peel_MPa <= 20`` states.

        Raises
        ------
        JointError
            The text has another form.
        """
        found = _LIMIT.fullmatch(text) if isinstance(text, str) else None
        try:
            value = float(found[3]) if found else math.nan
        except ValueError:
            value = math.nan
        if found is None or not math.isfinite(value):
            raise JointError(f"limit {text!r}: {FORM}.")
        return cls(found[1], found[2], value)

    def holds(self, table: pd.DataFrame) -> Bools:
        """Return in which cases of a table the limit holds; without a value it does not.

        Raises
        ------
        JointError
            The table has no such column, or the column holds texts.
        """
        return self.beyond(table) <= 0  # not where there is no value: comparisons with NaN are false

    def beyond(self, table: pd.DataFrame) -> Floats:
        """Return how far the cases of a table lie beyond the limit, in its unit: negative within it, NaN without a value."""
        values = numbers(table, self.column)
        if self.of_magnitude:
            values = np.abs(values)
        return values - self.value if self.sense == "<=" else self.value - values

    @property
    def of_magnitude(self) -> bool:
        """Whether it is the magnitude of the column that stays below."""
        return self.sense == "<=" and "shear" in _name(self.column).split() and not self.column.startswith(TABLES)

    def __str__(self) -> str:
        return f"{self.column} {self.sense} {self.value:.12g}"

    @property
    def label(self) -> str:
        """What stands on a figure, such as ``peak peel ≤ 20 MPa``."""
        sign, unit = "≤" if self.sense == "<=" else "≥", column_unit(self.column)
        name = f"|{_name(self.column)}|" if self.of_magnitude else _name(self.column)
        return f"{name} {sign} {self.value:g}{f' {unit}' if unit else ''}"


def read_limits(limits: str | Limit | Iterable[str | Limit]) -> tuple[Limit, ...]:
    """Return limits given as texts, as limits, or as one of them.

    Raises
    ------
    JointError
        A text has another form than that of a limit.
    """
    given = (limits,) if isinstance(limits, str | Limit) else tuple(limits)
    return tuple(limit if isinstance(limit, Limit) else Limit.parse(limit) for limit in given)


# ---- columns -------------------------------------------------------------


def column_of(table: pd.DataFrame, name: str) -> pd.Series[Any]:
    """Return the column of a table by its name.

    Raises
    ------
    JointError
        There is none; the text names the nearest, or all.
    """
    if name not in table.columns:
        raise JointError(f"the table has no column {name!r}; {near(str(name), map(str, table.columns))}")
    return table[name]


def numbers(table: pd.DataFrame, column: str) -> Floats:
    """Return a column of numbers, missing ones as NaN; JointError when there is none of this name, or it holds texts."""
    values = column_of(table, column)
    try:
        return np.array(values.to_numpy(dtype=float, na_value=np.nan))
    except (TypeError, ValueError):
        raise JointError(f"{column} holds texts; a column of numbers is needed here.") from None


def places(table: pd.DataFrame, column: str) -> tuple[Floats, list[str] | None]:
    """Return a column's places on an axis: numbers as they are; texts and truth values by their order, with their names."""
    values = column_of(table, column)
    if values.dtype != bool:
        with contextlib.suppress(JointError):
            return numbers(table, column), None
    names, place = np.unique([str(value) for value in values], return_inverse=True)
    return place.astype(float), names.tolist()


def follows(table: pd.DataFrame, name: str, other: str) -> bool:
    """Return whether a parameter has one value for each value of another.

    Where no number of the other comes twice, as in a Latin hypercube, that says
    nothing: numbers must then rise or fall with it, and texts never come twice.
    """
    (value, value_names), (along, along_names) = places(table, name), places(table, other)
    # By the numbers of their levels, of which one is that of no value.
    level, other_level = (np.unique(place, return_inverse=True)[1] for place in (value, along))
    order = np.argsort(other_level, kind="stable")
    steps, same = np.diff(level[order]), np.diff(other_level[order]) == 0
    if same.any() or along_names:
        return not steps[same].any()
    if value_names:
        return len(value_names) == len(value)
    return bool((steps >= 0).all() or (steps <= 0).all())


def parameters(table: pd.DataFrame) -> list[str]:
    """Return the columns that hold varied or tied keys of the joint file."""
    return [name for name in map(str, table.columns) if name.startswith(TABLES)]


def column_label(name: str) -> str:
    """Return what a person reads for a column: ``joint.overlap_length_mm`` becomes ``overlap length (mm)``.

    Parameters that move together, ``a + b``, are named one after the other.
    """
    parts = name.split(" + ")
    units = [column_unit(part) for part in parts]
    if len({*units}) > 1:
        return " + ".join(column_label(part) for part in parts)
    return " + ".join(_name(part) for part in parts) + (f" ({units[0]})" if units[0] else "")


def column_unit(name: str) -> str:
    """Return the unit of a column, as its name ends; empty for a number without one and for texts."""
    last = name.rsplit(".", 1)
    # A table of values by name has its unit before the name: adherend_peak_MPa.lower.
    return _cut(last[-1])[1] or (_cut(last[0])[1] if len(last) > 1 else "")


def _name(name: str) -> str:
    """Return the words of a column's name without its unit."""
    parts = name.split(".")
    if len(parts) > 1 and parts[0] in ("joint", "load", "analysis", "theories"):
        parts = parts[1:]
    # A figure of a material is known by its own name.
    parts = [part for part in parts[:-1] if part != "material"] + parts[-1:]
    words = [_cut(part)[0].replace("_", " ") for part in parts]
    if words[-1] == "x" and len(words) > 1:
        return " ".join(["x of", *words[:-1]])
    return " ".join(words)


def _cut(part: str) -> tuple[str, str]:
    """Return a part of a name without its unit, and the unit."""
    for ending, unit in UNITS.items():
        if part.endswith(f"_{ending}"):
            return part.removesuffix(f"_{ending}"), unit
    return part, ""
