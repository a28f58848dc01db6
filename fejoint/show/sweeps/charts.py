"""What the charts of a sweep's table are made of: its cases and their marks, axes, colours.

A chart shows the values of the cases and nothing else: between them it draws
straight lines. Cases that break a limit have open marks, cases without a result
crosses. Colours step evenly in lightness, so that a grey print still tells them apart.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.show.colours import INK, sequential
from fejoint.show.pen import printable, shortened
from fejoint.show.plots import save_figure
from fejoint.show.sweeps.limits import Limit, column_label, column_unit, follows, numbers, parameters

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure

__all__ = [
    "CROSS",
    "LIMIT_COLOUR",
    "MOST_LETTERS",
    "Cases",
    "Limits",
    "colour_bar",
    "colour_map",
    "infeasible",
    "is_geometric",
    "line_mark",
    "others",
    "save_chart",
    "set_axis",
    "title",
    "vary",
    "words",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Limits = str | Limit | Iterable[str | Limit]

MOST_LETTERS = 72  # of a value that is a text
LIMIT_COLOUR = "#b8500f"
CROSS: dict[str, Any] = {"linestyle": "none", "marker": "x", "markersize": 7, "color": INK, "zorder": 4, "gid": "no result"}
NO_RESULT = ("refused", "failed", "lost")


# ---- cases ---------------------------------------------------------------


@dataclass(frozen=True)
class Cases:
    """What becomes of the cases of a table on a chart; all (cases)."""

    value: Floats
    without: Bools  # no value to show: refused, failed, lost, or not a number
    beyond: Bools  # a value, but it breaks a limit or the table says so

    @classmethod
    def of(cls, table: pd.DataFrame, column: str, limits: Sequence[Limit]) -> Cases:
        """Return the cases of a table by a column of numbers; JointError when there are none."""
        value = numbers(table, column)
        if not len(value):
            raise JointError("the table has no case to draw.")
        without = ~np.isfinite(value)
        if "status" in table:
            without |= table["status"].isin(NO_RESULT).to_numpy()
        beyond = np.any([infeasible(table), *(~limit.holds(table) for limit in limits)], axis=0)
        return cls(np.where(without, np.nan, value), without, beyond & ~without)

    @property
    def good(self) -> Bools:
        """A value, and all limits hold."""
        return ~(self.without | self.beyond)

    def draw(
        self, axes: Axes, x: Floats, y: Floats, colours: Any, which: Any = True, size: float = 1.0, marker: str = "o"
    ) -> None:
        """Mark the cases with a value, of a selection: filled where all limits hold, else open; colours (cases)."""
        # As large as so many leave room for.
        area = (size * (7.0 if len(x) <= 150 else 4.5 if len(x) <= 1500 else 2.5)) ** 2
        for gid, mask in (("feasible", self.good & which), ("infeasible", self.beyond & which)):
            if mask.any():
                face, edge = colours[mask] if gid == "feasible" else "white", colours[mask]
                axes.scatter(x[mask], y[mask], area, facecolors=face, edgecolors=edge, marker=marker, zorder=4, gid=gid)

    def key(self, limits: Sequence[Limit]) -> list[Any]:
        """Return what explains the marks that are there."""
        look: dict[str, Any] = {"linestyle": "none", "marker": "o", "color": INK}
        broken = limits[0].label if len(limits) == 1 else "a limit"
        marks = [
            (self.good.any() and self.beyond.any(), "within all limits", look),
            (self.beyond.any(), f"breaks {broken}", {**look, "markerfacecolor": "white"}),
            (self.without.any(), "no result (refused, failed or lost)", CROSS),
        ]
        return [line_mark(label=label, **mark) for there, label, mark in marks if there]


def infeasible(table: pd.DataFrame) -> Bools:
    """Return which cases the table's own column says to be infeasible."""
    if "feasible" not in table:
        return np.zeros(len(table), dtype=bool)
    return np.array(table["feasible"].eq(False).fillna(False).to_numpy(dtype=bool))


def others(table: pd.DataFrame, shown: Sequence[str]) -> list[str]:
    """Return the parameters that vary and are not tied to one of those shown."""
    return [
        name
        for name in parameters(table)
        if name not in shown and table[name].nunique() > 1 and not any(follows(table, name, other) for other in shown)
    ]


def vary(names: Sequence[str]) -> str:
    """Return a sentence about parameters that vary beside those shown."""
    return f"{', '.join(names)} {'varies' if len(names) == 1 else 'vary'} too"


# ---- axes ----------------------------------------------------------------


def words(column: str) -> str:
    """Return a column's name in words, without the unit."""
    return column_label(column).removesuffix(f" ({column_unit(column)})")


def title(figure: Figure, text: str) -> None:
    """Write over a figure, in as many lines as it takes."""
    figure.suptitle("\n".join(textwrap.wrap(text, int(9.3 * figure.get_figwidth()))), x=0.01, ha="left")


def is_geometric(values: Floats) -> bool:
    """Return whether values are spread evenly by their ratios rather than by their differences."""
    found = np.unique(values[np.isfinite(values)])
    if len(found) < 3 or found[0] <= 0 or found[-1] < 3 * found[0]:
        return False
    even = np.linspace(0.0, 1.0, len(found))
    off = [np.abs((v - v[0]) / (v[-1] - v[0]) - even).max() for v in (found, np.log(found))]
    return bool(off[1] < 0.5 * off[0])


def set_axis(axes: Axes, which: str, column: str, values: Floats, names: list[str] | None = None) -> None:
    """Label an axis (``"x"``, ``"y"``), in logarithms where the values are spread so, and name texts."""
    from matplotlib.ticker import FixedLocator, LogLocator, NullLocator

    axis = axes.xaxis if which == "x" else axes.yaxis
    axis.set_label_text(column_label(column))
    if names is not None:
        axis.set_ticks(range(len(names)), [textwrap.fill(shortened(printable(name), MOST_LETTERS), 18) for name in names])
        axes.set(**{f"{which}lim": (-0.5, len(names) - 0.5)})
    elif is_geometric(values):
        axes.set(**{f"{which}scale": "log"})
        found = np.unique(values[np.isfinite(values)])
        axis.set_major_locator(FixedLocator(found.tolist()) if len(found) <= 8 else LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.set_minor_locator(NullLocator())
        axis.set_major_formatter("{x:g}")


def colour_map(low: float, high: float) -> Colormap:
    """Return the part of the map of one-sided stresses between two shares of it."""
    from matplotlib.colors import ListedColormap

    return ListedColormap((sequential()[round(low * 255) : round(high * 255) + 1] / 255).tolist())


def colour_bar(figure: Figure, axes: Any, shown: ScalarMappable, column: str) -> Axes:
    """Explain colours beside axes (one, or a list); return the bar's own axes."""
    bar = figure.colorbar(shown, ax=axes, pad=0.02, aspect=30, label=column_label(column))
    bar.outline.set_visible(False)
    bar.ax.grid(visible=False)
    return bar.ax


def line_mark(**look: Any) -> Any:
    """Return a line or a mark for a legend."""
    from matplotlib.lines import Line2D

    return Line2D([], [], **look)


# ---- files ---------------------------------------------------------------


def save_chart(figure: Figure, place: str | Path) -> list[Path]:
    """Write a chart as png and svg; `place` is their path without the ending.

    Raises
    ------
    SetupError
        The folder cannot be written.
    """
    # Names of columns have dots in them, so endings are put on rather than changed.
    return [save_figure(figure, Path(f"{place}{ending}")) for ending in (".png", ".svg")]
