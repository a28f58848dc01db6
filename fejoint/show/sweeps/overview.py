"""Which pictures suit a sweep: by the number of its parameters, of its first two columns."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from fejoint.errors import JointError
from fejoint.show.sweeps.charts import others
from fejoint.show.sweeps.contours import contour_figure
from fejoint.show.sweeps.curve_families import family_figure
from fejoint.show.sweeps.effects import effects
from fejoint.show.sweeps.ranking import effects_figure
from fejoint.show.sweeps.table import result_columns

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["KINDS", "free_parameters", "main_columns", "overview"]

KINDS = ("curves", "contours", "effects")
COLUMNS = 2  # so many are drawn


def overview(table: pd.DataFrame, limits: tuple[str, ...] = ()) -> Iterator[tuple[str, Any]]:
    """Yield figures with a file name, without ending: curves along one parameter, contours over two, effects of two and more.

    What cannot be drawn (a column without two unlike values, too few cases) is left out.
    """
    free = free_parameters(table)
    numeric = [name for name in free if table[name].dtype.kind in "if"]
    for column in main_columns(table)[:COLUMNS]:
        for kind, figure in _figures(table, column, free, numeric, limits):
            yield f"{kind}-{column}", figure


def free_parameters(table: pd.DataFrame) -> list[str]:
    """Return the parameters that vary, of those that move together the first."""
    free: list[str] = []
    while rest := others(table, free):
        free.append(rest[0])
    return free


def main_columns(table: pd.DataFrame) -> list[str]:
    """Return the columns of results that are numbers, not all alike, and no place along the overlap."""
    drawn = [name for name in result_columns(table) if table[name].dtype.kind == "f" and table[name].nunique() > 1]
    return [name for name in drawn if not name.endswith((".x_mm", ".bondline"))]


def _figures(
    table: pd.DataFrame, column: str, free: list[str], numeric: list[str], limits: tuple[str, ...]
) -> Iterator[tuple[str, Any]]:
    with contextlib.suppress(JointError):
        if numeric and len(free) <= 2:
            by = next((name for name in reversed(free) if name != numeric[0]), None)
            yield "curves", family_figure(table, column, numeric[0], by, limits)
    with contextlib.suppress(JointError):
        if len(numeric) == len(free) == 2:
            yield "contours", contour_figure(table, column, numeric[0], numeric[1], limits)
    with contextlib.suppress(JointError):
        if len(free) > 1:
            yield "effects", effects_figure(effects(table, column), column)
