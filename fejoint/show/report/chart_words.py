"""What a chart of a sweep shows, in words and numbers, for whoever does not see it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.show.pen import shortened
from fejoint.show.sweeps.charts import Cases, words
from fejoint.show.sweeps.effects import effects
from fejoint.show.sweeps.limits import Limit, column_unit, numbers
from fejoint.show.sweeps.overview import free_parameters
from fejoint.units import display

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["KINDS", "chart_alt"]

MOST = 6  # parameters that are named
LONGEST = 90  # characters of a name
# How the words on each kind of chart begin.
KINDS = {"curves": "Curves", "contours": "Contours", "effects": "Bars"}


def chart_alt(kind: str, column: str, table: pd.DataFrame, limits: Sequence[Limit]) -> str:
    """Return what a chart of a column shows.

    Parameters
    ----------
    kind : str
        ``"curves"``, ``"contours"`` or ``"effects"``.
    column : str
    table : DataFrame
        The sweep's table.
    limits : sequence of Limit
    """
    said = _of_effects(column, table) if kind == "effects" else _of_cases(kind, column, table, limits)
    return " ".join(said)


def _of_cases(kind: str, column: str, table: pd.DataFrame, limits: Sequence[Limit]) -> list[str]:
    """Return sentences on the least and the largest value, and on what it is at the ends of the axes."""
    cases = Cases.of(table, column, list(limits))
    free = free_parameters(table)
    along = [name for name in free if table[name].dtype.kind in "if"][: 2 if kind == "contours" else 1]
    by = [name for name in free if name not in along] if kind == "curves" else []
    value, there = cases.value, ~cases.without
    about = f"{KINDS[kind]}: {_name(column)} over {' and '.join(map(_name, along))}"
    said = [f"{about}{f', by {_name(by[-1])}' if by else ''}, {len(table)} cases."]
    if not there.any():
        return [*said, "No case has a result."]
    low, high = int(np.nanargmin(value)), int(np.nanargmax(value))
    said.append(
        f"Least {_value(value[low], column)} in case {table.index[low]}, largest {_value(value[high], column)} "
        f"in case {table.index[high]}."
    )
    for name in along:
        place = numbers(table, name)
        ends = [np.nanmin(place[there]), np.nanmax(place[there])]
        said.append(
            "; ".join(f"at {_name(name)} {_value(end, name)}: {_span(value[there & (place == end)], column)}" for end in ends)
            + "."
        )
        said[-1] = said[-1][0].upper() + said[-1][1:]
    if cases.beyond.any() or limits:
        what = " and ".join(limit.label for limit in limits) or "the limits"
        said.append(f"{int(cases.good.sum())} cases hold {what}, {int(cases.beyond.sum())} do not.")
    if cases.without.any():
        said.append(f"{int(cases.without.sum())} have no result.")
    return said


def _of_effects(column: str, table: pd.DataFrame) -> list[str]:
    """Return sentences on what each parameter does."""
    said = [f"{KINDS['effects']}: what each varied key changes of {_name(column)}, the one that explains most first."]
    try:
        found = effects(table, column)
    except JointError:
        return said
    for name, row in list(found.iterrows())[:MOST]:
        first = str(name).split(" + ")[0]
        if not np.isfinite(row["effect"]):
            said.append(f"{_name(str(name))}: results at one value alone.")
            continue
        said.append(
            f"{_name(str(name))} from {_value(row['low'], first)} to {_value(row['high'], first)}: "
            f"{row['effect']:+.3g} {column_unit(column)}".rstrip()
            + (f", {100 * row['share']:.0f} % of the variance." if np.isfinite(row["share"]) else ".")
        )
    if len(found) > MOST:
        said.append(f"{len(found) - MOST} more follow.")
    return said


def _name(column: str) -> str:
    return shortened(words(column), LONGEST)


def _value(value: Any, column: str) -> str:
    if isinstance(value, str | bool | np.bool_):
        return shortened(str(value), LONGEST)
    return f"{display(float(value), '', digits=4)} {column_unit(column)}".rstrip()


def _span(values: NDArray[np.float64], column: str) -> str:
    low, high = float(values.min()), float(values.max())
    return _value(low, column) if low == high else f"{_value(low, column)} to {_value(high, column)}"
