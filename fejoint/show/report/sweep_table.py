"""The cases of a sweep as the rows of a page's table: what is shown, what is sorted by, what a print has room for."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from fejoint.show.pen import shortened
from fejoint.show.sweeps.best import feasible, use_of_limits
from fejoint.show.sweeps.limits import Limit, parameters
from fejoint.show.sweeps.overview import free_parameters, main_columns
from fejoint.units import display

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Case", "Cell", "Column", "Table", "cases_table", "name_parts", "number_text"]

MOST_ROWS = 3000
MOST_BYTES = 2_500_000  # of the rows: the whole page is to stay below 4 MB
DIGITS = 5
# Characters of a text: of what is seen, of that of warnings, which are long and many, and of what opens under it.
SHORT, SHORT_WARNING, LONG = 160, 32, 3000
ENDED = ("feasible", "status", "warnings")  # stand beside what was varied, so that they are seen without scrolling
LONGEST_PART = 16  # characters of a name on a line
# So many columns of each kind have room on paper beside the case and how it ended.
PRINTED_KEYS, PRINTED_RESULTS = 4, 3


class Column(NamedTuple):
    """A column: its name in parts, between which a line may break."""

    name: str
    parts: tuple[str, ...]
    is_number: bool
    is_printed: bool


class Cell(NamedTuple):
    """A cell: what is seen; the number in full where that says more; the whole of a text that is seen shortened."""

    text: str
    value: str = ""
    whole: str = ""


class Case(NamedTuple):
    """A row: `feasible` is ``yes``, ``no`` or empty; a cell for each column."""

    number: int
    status: str
    feasible: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Table:
    """The table of a page.

    Attributes
    ----------
    columns : sequence of Column
        Without that of the case's number: what was varied, how it ended, results, reason and seconds.
    rows : sequence of Case
        In the order of the sweep.
    left_out : int
        How many cases have no room: those furthest from being feasible.
    cut : bool
        Whether long texts are there by their beginnings alone.
    statuses : sequence of str
        What the rows' cases came to.
    """

    columns: Sequence[Column]
    rows: Sequence[Case]
    left_out: int
    cut: bool
    statuses: Sequence[str]


def cases_table(table: pd.DataFrame, limits: Sequence[Limit] = (), most: int = MOST_ROWS, bytes_: int = MOST_BYTES) -> Table:
    """Return the cases of a sweep as rows, at most so many and of at most about so many bytes of HTML.

    Parameters
    ----------
    table : DataFrame
        A sweep's table, index: numbers of the cases.
    limits : sequence of Limit
        Which columns a print has, and which cases come first where not all have room.
    most, bytes_ : int
    """
    printed = _printed(table, limits)
    table = table[_in_view(table)]
    names = [str(name) for name in table.columns]
    columns = [Column(name, name_parts(name), _is_number(table[name]), name in printed) for name in names]
    status = [str(value) for value in table["status"]] if "status" in table else [""] * len(table)
    holds = _yes_no(table["feasible"]) if "feasible" in table else [""] * len(table)
    order = _by_worth(table, limits) if len(table) else []
    held = [table[name].astype(object).where(table[name].notna(), None).tolist() for name in table.columns]
    found = [(i, tuple(_cell(values[i], column) for values, column in zip(held, columns, strict=True))) for i in order[:most]]
    cut = sum(_bytes(cells) for _, cells in found) > bytes_
    if cut:  # rather more cases than longer texts
        found = [(i, tuple(cell._replace(whole="") for cell in cells)) for i, cells in found]
    room = int(np.searchsorted(np.cumsum([_bytes(cells) for _, cells in found]), bytes_, side="right"))
    rows = [Case(int(table.index[i]), status[i], holds[i], cells) for i, cells in sorted(found[:room])]
    return Table(columns, rows, len(table) - len(rows), cut, tuple(dict.fromkeys(row.status for row in rows)))


def number_text(value: float, digits: int = DIGITS) -> str:
    """Return a number as a person reads it; empty for none."""
    if math.isnan(value):
        return ""
    return display(value, "", digits=digits) if math.isfinite(value) else ("∞" if value > 0 else "-∞")


def name_parts(name: str) -> tuple[str, ...]:
    """Return the parts of a column's name between which a line may break."""
    parts = [part for part in re.split(r"(?<=[._ ])", name) if part]
    return tuple(part[i : i + LONGEST_PART] for part in parts for i in range(0, len(part), LONGEST_PART))


# ---- cells ---------------------------------------------------------------


def _cell(value: Any, column: Column) -> Cell:
    if value is None or value != value:
        return Cell("")
    if isinstance(value, bool | np.bool_):
        return Cell("yes" if value else "no")
    if column.is_number:
        number = float(value)
        text = number_text(number)
        exact = f"{number:.12g}".replace("inf", "Infinity")
        return Cell(text, exact if exact != text else "")
    whole = str(value)
    text = shortened(whole, SHORT_WARNING if column.name == "warnings" else SHORT)
    return Cell(text, "", whole[:LONG] if text != " ".join(whole.split()) else "")


def _yes_no(values: pd.Series[Any]) -> list[str]:
    return ["yes" if value is True or value == 1 else "no" for value in values.fillna(False)]


def _is_number(values: pd.Series[Any]) -> bool:
    return values.dtype.kind in "iuf"


def _bytes(cells: Sequence[Cell]) -> int:
    """Return about how long a row is in HTML: an escaped character takes up to six bytes."""
    plain = sum(len(part.encode("utf-8", "replace")) for cell in cells for part in cell)
    escaped = sum(5 * sum(part.count(c) for c in "<>&'\"") for cell in cells for part in (cell.text, cell.whole) if part)
    marks = sum(20 + 14 * bool(cell.value) + 61 * bool(cell.whole) for cell in cells)
    return 110 + plain + escaped + marks


# ---- which ---------------------------------------------------------------


def _in_view(table: pd.DataFrame) -> list[str]:
    """Return the columns in the order they are shown: how a case ended comes before its many results."""
    names = [str(name) for name in table.columns]
    first = {*parameters(table), "title"}
    ended = [name for name in ENDED if name in table]
    results = [name for name in names if name not in first and name not in ended]
    return [*(name for name in names if name in first), *ended, *results]


def _printed(table: pd.DataFrame, limits: Sequence[Limit]) -> set[str]:
    """Return the columns that a print has room for: what was varied, what limits are on, how it ended."""
    results = list(dict.fromkeys([limit.column for limit in limits if limit.column in table] + main_columns(table)))
    kept = {*free_parameters(table)[:PRINTED_KEYS], *results[:PRINTED_RESULTS]}
    kept.add("feasible" if "feasible" in table else "status")
    if "reason" in table and table["reason"].astype(bool).any():
        kept |= {"reason"}
    return kept


def _by_worth(table: pd.DataFrame, limits: Sequence[Limit]) -> list[int]:
    """Return the places of the cases, those that matter most first: feasible, then done, each by its use of limits."""
    use, _ = use_of_limits(table, limits)
    done = (table["status"] == "done").to_numpy() if "status" in table else np.ones(len(table), dtype=bool)
    holds = done & feasible(table, limits) if limits or "feasible" in table else done
    return [int(i) for i in np.lexsort([np.nan_to_num(use, nan=np.inf), ~done, ~holds])]
