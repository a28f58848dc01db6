"""Contours of a sweep: a column over two parameters, hatched where a limit is broken."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.show.colours import FAINT, INK
from fejoint.show.pen import drawing_style, legend_below, plate, settled
from fejoint.show.sweeps.charts import (
    CROSS,
    LIMIT_COLOUR,
    Cases,
    Limits,
    colour_bar,
    colour_map,
    infeasible,
    is_geometric,
    line_mark,
    others,
    set_axis,
    title,
    vary,
    words,
)
from fejoint.show.sweeps.limits import Limit, column_label, column_unit, numbers, read_limits

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["contour_figure"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

DASHES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (1.4, 1.6)), (0, (6, 2, 1.2, 2)))  # of limits, in their order
HATCHES = ("///", "\\\\\\", "---", "|||")
EMPTY: dict[str, Any] = {"facecolor": "#f0f1f2", "edgecolor": "#b9c0c5", "hatch": "xx", "linewidth": 0.0}
LEVELS = 9
FLATTEST = 0.01  # of triangles: radius of the inner circle over that of the outer one


# ---- the chart -----------------------------------------------------------


def contour_figure(table: pd.DataFrame, column: str, x: str, y: str, limits: Limits = ()) -> Figure:
    """Return a column as contours over two parameters.

    On a full grid by its cells, on other points by the triangles between them
    (Delaunay). Where a limit is broken the chart is hatched, up to the limit's
    own contour line; a column `feasible` that says more is hatched half-way to
    the next case. Around cases without a result there is no colour, but a hatch.

    Parameters
    ----------
    table : DataFrame
        A sweep's table, in which nothing but x and y (and what is tied to them) varies.
    column : str
        The column of numbers to show.
    x, y : str
        Parameters with numbers.
    limits : texts or Limits
        Limits to draw, on any columns.

    Raises
    ------
    JointError
        No such column, no numbers in it, another parameter varies too, or the cases span no area.
    SetupError
        matplotlib is not installed.
    """
    limits = read_limits(limits)
    cases = Cases.of(table, column, limits)
    at = numbers(table, x), numbers(table, y)
    rest = others(table, [x, y])
    if rest:
        such = f"table[table[{rest[0]!r}] == {table[rest[0]].mode().tolist()[0]!r}]"
        raise JointError(f"contours over {x} and {y}: {vary(rest)}; pass a table in which the rest is held, such as {such}.")
    ground = _lay_ground(*at)
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(10, 7.4), layout="constrained")
        axes = figure.subplots()
        axes.grid(visible=False)
        title(figure, f"{column_label(column)} over {words(x)} and {words(y)}")
        set_axis(axes, "x", x, at[0])
        set_axis(axes, "y", y, at[1])
        cases.draw(axes, *at, np.full(len(table), INK), size=0.6)
        axes.plot(*(place[cases.without] for place in at), **CROSS)
        axes.margins(0.02)
        axes.set(xlim=axes.get_xlim(), ylim=axes.get_ylim())  # by the cases alone
        lines = _draw_contours(figure, axes, ground, cases.value, column)
        key, limit_lines = _draw_limits(axes, ground, table, cases, limits)
        if cases.without.any():
            from matplotlib.patches import Patch

            ground.hatch_rest(axes, cases.value, zorder=0.5, gid="no result area", **EMPTY)
            key.append(Patch(label="no result here", **EMPTY))
        if not cases.beyond.any():
            key.append(line_mark(label="case", linestyle="none", marker="o", color=INK, markersize=4.5))
        legend_below(figure, [*key, *cases.key(limits)], 4)
        settled(figure)
        # Where a text fits on a line is known once the axes have their places; those of limits come first.
        names = [name for line, text in limit_lines for name in axes.clabel(line, fmt=lambda _, text=text: text, inline=False)]
        names += axes.clabel(lines, fmt="%g", fontsize=9, inline=False) if lines is not None else []
        _thin_out(axes, names)
        return figure


def _draw_contours(figure: Figure, axes: Axes, ground: _Ground, value: Floats, column: str) -> Any:
    """Draw the coloured contours with their colour bar; return the lines between the colours, if there are any."""
    from matplotlib.ticker import MaxNLocator

    if not ground.holds(value):
        axes.set_title("too few cases side by side have a result", color=FAINT)
        return None
    low, high = float(np.nanmin(value)), float(np.nanmax(value))
    if high - low <= 1e-9 * max(abs(low), abs(high)):
        axes.set_title(f"the same everywhere: {low:.6g} {column_unit(column)}".strip(), color=FAINT)
        # One colour; the bar needs a range all the same.
        levels = low + (0.05 * abs(low) or 1.0) * np.array([-1.0, 1.0])
    else:
        levels = np.asarray(MaxNLocator(LEVELS, min_n_ticks=4).tick_values(low, high))
    # The darkest of the map would swallow ink.
    areas = ground.contour(axes, "contourf", value, levels=levels, cmap=colour_map(0.28, 1.0), zorder=1)
    areas.set_gid("contours")
    colour_bar(figure, axes, areas, column)
    inner = levels[(levels > low) & (levels < high)]
    if not len(inner):
        return None
    lines = ground.contour(axes, "contour", value, levels=inner, colors=INK, linewidths=0.7, zorder=2)
    lines.set_gid("contour lines")
    return lines


def _draw_limits(
    axes: Axes, ground: _Ground, table: pd.DataFrame, cases: Cases, limits: Sequence[Limit]
) -> tuple[list[Any], list[tuple[Any, str]]]:
    """Hatch where limits are broken and draw their lines; return what explains them, and the lines with their texts."""
    from matplotlib.patches import Patch

    key: list[Any] = []
    lines: list[tuple[Any, str]] = []
    said = infeasible(table)
    for i, limit in enumerate(limits):
        said &= limit.holds(table)
        # Positive where the limit is broken.
        beyond = np.where(cases.without, np.nan, limit.beyond(table))
        if not ground.holds(beyond):
            continue
        if np.nanmax(beyond) <= 0:
            key.append(Patch(facecolor="none", label=f"{limit.label} holds everywhere"))
            continue
        hatch, dash = HATCHES[i % len(HATCHES)], DASHES[i % len(DASHES)]
        look: dict[str, Any] = {"edgecolor": LIMIT_COLOUR, "linewidth": 1.8, "linestyle": dash}
        _hatch(axes, ground, beyond, hatch, f"beyond {limit}")
        key.append(Patch(facecolor="none", hatch=hatch, label=f"hatched: breaks {limit.label}", **look))
        if np.nanmin(beyond) < 0:
            look = {"colors": LIMIT_COLOUR, "linewidths": 2.2, "linestyles": [dash], "zorder": 3}
            lines.append((ground.contour(axes, "contour", beyond, levels=[0.0], **look), limit.label))
            lines[-1][0].set_gid(f"limit {limit}")
    # What the table says beyond the limits: half-way to the next case.
    more = np.where(cases.without, np.nan, said - 0.5)
    if (more > 0).any() and ground.holds(more):
        hatch = HATCHES[len(limits) % len(HATCHES)]
        _hatch(axes, ground, more, hatch, "infeasible by the table")
        key.append(Patch(facecolor="none", edgecolor=LIMIT_COLOUR, hatch=hatch, label="hatched: infeasible by the table"))
    return key, lines


def _hatch(axes: Axes, ground: _Ground, field: Floats, hatch: str, gid: str) -> None:
    """Hatch where a field is positive."""
    levels = [0.0, 2 * np.nanmax(field)]
    area = ground.contour(axes, "contourf", field, levels=levels, colors="none", hatches=[hatch], zorder=1.5)
    area.set(edgecolor=LIMIT_COLOUR, linewidth=0.0, gid=gid)


def _thin_out(axes: Axes, texts: Iterable[Any]) -> None:
    """Give texts a ground that keeps them readable; take away those that cover one before them or reach beyond the axes."""
    from matplotlib.text import Text

    room = axes.get_window_extent()
    taken: list[Any] = []
    for text in texts:
        text.set(zorder=6, **plate())
        box = Text.get_window_extent(text)
        if box.count_overlaps(taken) or box.x0 < room.x0 or box.x1 > room.x1 or box.y0 < room.y0 or box.y1 > room.y1:
            text.remove()
        else:
            taken.append(box)


# ---- what contours are drawn on ------------------------------------------


@dataclass(frozen=True)
class _Ground:
    """Cells or triangles between cases.

    All is as seen, in logarithms where the axis is drawn so, so that what is
    straight on paper is straight in the chart.
    """

    x: Floats  # (cases)
    y: Floats
    logarithmic: tuple[bool, bool]
    corners: Ints  # (cells, 4) or (triangles, 3): which cases
    grid: Ints | None  # (levels of y, levels of x): which case; None when it is triangles

    def contour(self, axes: Axes, kind: str, value: Floats, **look: Any) -> Any:
        """Draw lines (kind ``"contour"``) or areas (``"contourf"``) of values (cases), none around cases without one."""
        from matplotlib.path import Path
        from matplotlib.tri import Triangulation

        if self.grid is not None:
            at = self.x[self.grid[0]], self.y[self.grid[:, 0]]
            drawn = getattr(axes, kind)(*at, np.ma.masked_invalid(value[self.grid]), **look)
        else:
            triangles = Triangulation(self.x, self.y, self.corners, ~np.isfinite(value)[self.corners].all(axis=1))
            drawn = getattr(axes, f"tri{kind}")(triangles, np.nan_to_num(value), **look)
        drawn.set_paths([Path(self._on_axes(path.vertices), path.codes) for path in drawn.get_paths()])
        return drawn

    def holds(self, value: Floats) -> bool:
        """Return whether enough cases side by side have a value for contours."""
        return bool((np.isfinite(value)[self.corners].sum(axis=1) >= 3).any())

    def hatch_rest(self, axes: Axes, value: Floats, **look: Any) -> None:
        """Draw areas wherever a case beside has no value."""
        from matplotlib.collections import PolyCollection

        rest = self.corners[~np.isfinite(value)[self.corners].all(axis=1)]
        axes.add_collection(PolyCollection(list(self._on_axes(np.stack([self.x, self.y], axis=-1)[rest])), **look))

    def _on_axes(self, seen: Any) -> Floats:
        """Return places as seen (..., 2) in the numbers of the axes."""
        return np.where(self.logarithmic, np.exp(np.where(self.logarithmic, seen, 0.0)), seen)


def _lay_ground(x: Floats, y: Floats) -> _Ground:
    """Return the ground between the places of cases; JointError when they span no area."""
    logarithmic = is_geometric(x), is_geometric(y)
    x, y = (np.log(v) if log else v for v, log in zip((x, y), logarithmic, strict=True))
    (xs, i), (ys, j) = (np.unique(v, return_inverse=True) for v in (x, y))
    full = len(xs) * len(ys) <= len(x)
    if full:
        grid = np.full((len(ys), len(xs)), -1)
        grid[j, i] = np.arange(len(x))
        full = bool((grid >= 0).all())
    if full:
        corners = np.stack([grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]], axis=-1).reshape(-1, 4)
    else:
        corners = _triangles(x, y)
    if not len(corners):
        raise JointError("contours: the cases lie on a line and span no area; use family_figure.")
    return _Ground(x, y, logarithmic, corners, grid if full else None)


def _triangles(x: Floats, y: Floats) -> Ints:
    """Return triangles between points (Delaunay), by what the eye sees: both axes as long as one another."""
    from matplotlib.tri import TriAnalyzer, Triangulation

    seen = [(v - v.min()) / (np.ptp(v) or 1.0) for v in (x, y)]
    first = np.unique(np.round(seen, 9), axis=1, return_index=True)[1]
    try:
        found = Triangulation(seen[0][first], seen[1][first])
        return np.asarray(first[found.triangles[~TriAnalyzer(found).get_flat_tri_mask(FLATTEST)]])
    except (RuntimeError, ValueError):  # matplotlib's, of points on a line, or fewer than three
        return np.empty((0, 3), dtype=np.int64)
