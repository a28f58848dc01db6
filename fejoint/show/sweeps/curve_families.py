"""Families of curves of a sweep: a column over one parameter, a stress along the bondline; coloured by another parameter.

Up to nine values, and texts, have a marker and a name each, more a colour bar.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.show.colours import FAINT, INK
from fejoint.show.pen import drawing_style, legend_below, printable, settled, shortened
from fejoint.show.sweeps.charts import (
    CROSS,
    LIMIT_COLOUR,
    MOST_LETTERS,
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
from fejoint.show.sweeps.limits import Limit, column_label, column_of, places, read_limits

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.cm import ScalarMappable
    from matplotlib.figure import Figure

__all__ = ["bondline_family_figure", "family_figure"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FEW = 9  # values with a marker and a name each
MARKERS = ("o", "s", "^", "D", "v", "P", "*", "X", "h")
LEGEND_ROOM = 1.0  # around the names of the values, in letters
DASHED = (0, (4, 2))


# ---- what tells curves apart ---------------------------------------------


@dataclass(frozen=True)
class _Kinds:
    """The values of a parameter, each with a colour, and a marker and a name where they are few or texts."""

    column: str
    place: Floats  # (cases)
    names: list[str] | None

    def __iter__(self) -> Iterator[tuple[Bools, str]]:
        """Give the cases of each value and their marker."""
        for i, value in enumerate(self.values):
            yield self.place == value, MARKERS[i % FEW] if self.named else "o"

    @property
    def values(self) -> Floats:
        return np.unique(self.place[np.isfinite(self.place)])

    @property
    def named(self) -> bool:
        return self.names is not None or len(self.values) <= FEW

    def scale(self) -> ScalarMappable:
        """Return the colours of places; the lightest of the map would be lost on white paper."""
        from matplotlib.cm import ScalarMappable
        from matplotlib.colors import LogNorm, Normalize

        norm = LogNorm if is_geometric(self.values) and self.names is None else Normalize
        return ScalarMappable(norm(self.values[0], self.values[-1]), colour_map(0.0, 0.80))

    def explain(self, figure: Figure, axes: Sequence[Axes], line: str) -> None:
        """Name the values right of the axes, or put a colour bar there."""
        if self.named:
            texts = [f"{value:.6g}" for value in self.values] if self.names is None else self.names
            texts = [textwrap.fill(shortened(printable(text), MOST_LETTERS), 24) for text in texts]
            handles = [
                line_mark(label=text, color=colour, marker=marker, linestyle=line)
                for text, colour, (_, marker) in zip(texts, self.scale().to_rgba(self.values), self, strict=True)
            ]
            heading = "\n".join(textwrap.wrap(column_label(self.column), 24))
            # Room around it, so that what stands right of the axes does not seem to lead into its lines.
            look: dict[str, Any] = {"alignment": "left", "borderpad": LEGEND_ROOM}
            figure.legend(handles=handles[::-1], title=heading, loc="outside right upper", **look)
        else:
            set_axis(colour_bar(figure, axes, self.scale(), self.column), "y", self.column, self.values)


# ---- a column over a parameter -------------------------------------------


def family_figure(table: pd.DataFrame, column: str, along: str, by: str | None = None, limits: Limits = ()) -> Figure:
    """Return a column over one parameter, a curve for each value of another.

    Open marks break a limit; crosses at the bottom have no result. Where further
    parameters vary, or texts are along the axis, the marks are not joined.

    Parameters
    ----------
    table : DataFrame
        A sweep's table.
    column : str
        The column of numbers to show.
    along : str
        The parameter along the axis: numbers, texts or truth values.
    by : str, optional
        The parameter that tells the curves apart.
    limits : texts or Limits
        Limits to hold the cases against, besides the table's own column `feasible`; one on `column` is drawn as a line.

    Raises
    ------
    JointError
        No such column, or no numbers in it.
    SetupError
        matplotlib is not installed.
    """
    limits = read_limits(limits)
    cases = Cases.of(table, column, limits)
    x, x_names = places(table, along)
    kinds = _Kinds(by, *places(table, by)) if by else _Kinds("", np.zeros(len(x)), None)
    rest = others(table, [along, by] if by else [along])
    joined = not rest and x_names is None and len(kinds.values) < len(x)
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(10, 6.4), layout="constrained")
        axes = figure.subplots()
        title(figure, f"{column_label(column)} over {words(along)}{f', by {words(by)}' if by else ''}")
        set_axis(axes, "x", along, x, x_names)
        axes.set_ylabel(column_label(column))
        colours = kinds.scale().to_rgba(kinds.place)
        for which, marker in kinds if kinds.named else [(True, "o")]:
            cases.draw(axes, x, cases.value, colours, which, marker=marker)
        for which, _ in kinds if joined else ():
            order = np.flatnonzero(which)[np.argsort(x[which], kind="stable")]
            axes.plot(x[order], cases.value[order], color=colours[order[0]], gid="curve")  # NaN leaves a gap
        axes.margins(y=0.09)
        _draw_limits(axes, cases.value, [limit for limit in limits if limit.column == column])
        if cases.without.any():
            lost = x[cases.without]
            axes.plot(lost, np.full(len(lost), 0.02), transform=axes.get_xaxis_transform(), **CROSS)
        if cases.without.all():
            axes.set_title("no case has a result", color=FAINT)
            axes.set_yticks([])
        elif rest:
            note = f"each mark a case; not joined, since {vary([words(name) for name in rest])}"
            axes.set_title("\n".join(textwrap.wrap(note, 95)), color=FAINT)
        if by:
            kinds.explain(figure, [axes], "-" if joined else "none")
        legend_below(figure, cases.key(limits), 4)
        return settled(figure)


def _draw_limits(axes: Axes, values: Floats, limits: Sequence[Limit]) -> None:
    """Draw the limits among the values or near them, and say of others on which side they lie; texts right of the axes."""
    found = values[np.isfinite(values)]
    low, high = (found.min(), found.max()) if len(found) else (0.0, 0.0)
    room = 0.6 * ((high - low) or abs(high) or 1.0)
    for limit in limits:
        bounds = (limit.value, -limit.value) if limit.of_magnitude and low < 0 else (limit.value,)
        near = [value for value in bounds if low - room <= value <= high + room]
        for value in near:
            axes.axhline(value, color=LIMIT_COLOUR, linewidth=1.4, linestyle=(0, (7, 3)), zorder=1.5, gid="limit")
        above = limit.value > high
        text, place = (limit.label, near[0]) if near else (f"{limit.label} lies {'above' if above else 'below'}", float(above))
        look: dict[str, Any] = {"xycoords": ("axes fraction", "data" if near else "axes fraction"), "color": LIMIT_COLOUR}
        text = re.sub(" (?=[≤≥]|lies)", "\n", text)
        axes.annotate(text, (1.0, place), (6, 0), textcoords="offset points", va="center", **look)


# ---- curves along the bondline -------------------------------------------


def bondline_family_figure(curves: pd.DataFrame, table: pd.DataFrame, by: str, stress: str = "shear") -> Figure:
    """Return one stress along the mid-line of many cases' bondlines, coloured by a parameter; a panel for each bondline.

    Cases that the table says to be infeasible are dashed.

    Parameters
    ----------
    curves : DataFrame
        Columns `case`, `bondline`, `level`, `x_mm`, `shear_MPa`, `peel_MPa`, `axial_MPa`, as a sweep keeps them.
    table : DataFrame
        The sweep's table, index `case`; cases that it lacks are left out.
    by : str
        The parameter that gives the colour: numbers, texts or truth values.
    stress : str
        ``"shear"``, ``"peel"`` or ``"axial"``.

    Raises
    ------
    JointError
        Another stress, no such column, or no curves of these cases.
    SetupError
        matplotlib is not installed.
    """
    if stress not in ("shear", "peel", "axial"):
        raise JointError(f'stress = "{stress}": must be one of shear, peel, axial.')
    for name in ("case", "bondline", "level", "x_mm", f"{stress}_MPa"):
        column_of(curves, name)
    drawn = curves[(curves["level"] == "middle") & curves["case"].isin(table.index)].sort_values("x_mm", kind="stable")
    if not len(drawn):
        raise JointError(
            "no curves of the cases in this table: keep curves in the sweep (keep_curves = true), and pass their table."
        )
    table = table[table.index.isin(drawn["case"])]
    kinds, dashed = _Kinds(by, *places(table, by)), infeasible(table)
    with drawing_style():
        from matplotlib.figure import Figure

        found = sorted(drawn["bondline"].unique())
        figure = Figure(figsize=(10, 2.6 + 3.6 * min(len(found), 3)), layout="constrained")
        panels = dict(zip(found, figure.subplots(len(found), 1, sharex=True, sharey=True, squeeze=False)[:, 0], strict=True))
        title(figure, f"{stress} along the bondline (mid-line), by {words(by)}, {len(table)} cases")
        colours = kinds.scale().to_rgba(kinds.place)
        for (number, case), part in drawn.groupby(["bondline", "case"]):
            at = table.index.get_loc(case)
            kind = int(np.searchsorted(kinds.values, kinds.place[at]))
            look: dict[str, Any] = {"color": colours[at], "linestyle": DASHED if dashed[at] else "-", "linewidth": 1.2}
            if kinds.named:
                look |= {"marker": MARKERS[kind % FEW], "markersize": 5, "markevery": (0.06 + 0.012 * kind, 0.14)}
            panels[number].plot(part["x_mm"], part[f"{stress}_MPa"], gid=f"case {case}", **look)
        for number, axes in panels.items():
            axes.set_ylabel(f"{stress} stress (MPa)")
            axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
            axes.set_title(f"bondline {number}" if len(panels) > 1 else "", color=FAINT)
        panels[found[-1]].set_xlabel("x along the overlap (mm)")
        kinds.explain(figure, list(panels.values()), "-")
        legend_below(figure, [line_mark(color=INK, linestyle=DASHED, label="infeasible")] if dashed.any() else [], 1)
        return settled(figure)
