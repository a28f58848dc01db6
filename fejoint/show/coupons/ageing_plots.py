"""Strength against time, as measured and as a law has it, with the intervals of the mean and of one new specimen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.coupon.ageing import AgeingFit
from fejoint.coupon.ageing_prediction import Prediction
from fejoint.show.colours import FAINT, INK
from fejoint.show.coupons.ageing_tables import degrees
from fejoint.show.pen import drawing_style, legend_below, plate, settled

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["ageing_figure"]

LINE, MEAN, SPECIMEN = "#0b2f52", "#5094cb", "#c7dcee"
POINTS = 240
MOST_PANELS = 6


def ageing_figure(fit: AgeingFit, said: Prediction | None, strength: str, time: str, confidence: float = 0.95) -> Figure:
    """Return a panel for each temperature (the first six): specimens, the law, both intervals, and what is predicted.

    Specimens that were not broken are arrows upwards from what they bore. Beyond the longest time tested the ground is
    hatched. The axes are labelled by their temperature in K, or ``all``.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure
        from matplotlib.lines import Line2D
        from matplotlib.patches import Patch

        panels: list[float | None] = [None] if fit.shape.reference is None else [*fit.data.temperatures]
        if said is not None and said.temperature is not None and not any(_same(said.temperature, p) for p in panels):
            panels = sorted([*panels, said.temperature], key=lambda p: p or 0.0)
        if len(panels) > MOST_PANELS:
            asked = None if said is None else said.temperature
            panels = [p for p in panels if _same(asked, p)] + [p for p in panels if not _same(asked, p)][: MOST_PANELS - 1]
            panels = sorted(panels[:MOST_PANELS], key=lambda p: p or 0.0)
        columns = 2 if len(panels) == 4 else min(len(panels), 3)
        rows = -(-len(panels) // columns)
        figure = Figure(figsize=((8.6, 11.0, 14.0)[columns - 1], 1.9 + 4.1 * rows), layout="constrained")
        grid = figure.subplots(rows, columns, squeeze=False, sharex=True, sharey=True).ravel()
        end = 1.04 * max(float(np.max(fit.data.time)), 0.0 if said is None else said.time)
        for axes, panel in zip(grid, panels, strict=False):
            _draw(axes, fit, panel, said, end, confidence)
            axes.set_xlabel(f"time, {time}")
            axes.tick_params(labelbottom=True)
        for axes in grid[len(panels) :]:
            axes.remove()
        grid[0].set_xlim(-0.02 * end, end)
        _limits(grid[0], fit, said, panels, confidence)
        for axes in grid[::columns]:
            axes.set_ylabel(f"strength, {strength}" if strength else "strength")
        figure.suptitle(f"Strength with ageing; law: {fit.name}", x=0.01, ha="left")
        share = f"{100 * confidence:g} %"
        handles: list[Any] = [
            Line2D([], [], marker="o", markerfacecolor="none", linestyle="none", color=INK, label="broken"),
            Line2D([], [], color=LINE, label="median" if fit.logarithmic else "mean"),
            Patch(facecolor=MEAN, alpha=0.75, label=f"{share} of the mean"),
            Patch(facecolor=SPECIMEN, label=f"{share} of one new specimen"),
        ]
        if not fit.data.broken.all():
            handles.insert(
                1, Line2D([], [], marker="^", linestyle="none", color="#b8500f", label="not broken: stronger than this")
            )
        if said is not None:
            handles.append(Line2D([], [], marker="D", color="#b8500f", label="predicted, with the interval of one specimen"))
        if end / 1.04 > float(np.max(fit.data.time)) * (1 + 1e-9):
            handles.append(Patch(facecolor="none", edgecolor=FAINT, hatch="////", linewidth=0, label="later than tested"))
        legend_below(figure, handles, 4)
        return settled(figure)


def _draw(axes: Axes, fit: AgeingFit, panel: float | None, said: Prediction | None, end: float, confidence: float) -> None:
    data, t = fit.data, np.linspace(0.0, 1.0, POINTS) ** 2 * end  # close together where a root is steep
    mean, low, high = fit.band(t, panel, confidence, specimen=False)
    _, least, most = fit.band(t, panel, confidence, specimen=True)
    axes.set_label("all" if panel is None else f"{panel:g}")
    axes.fill_between(t, least, most, color=SPECIMEN, linewidth=0, zorder=1, gid="specimen")
    axes.fill_between(t, low, high, color=MEAN, alpha=0.75, linewidth=0, zorder=2, gid="interval")
    axes.plot(t, mean, color=LINE, zorder=3, gid="mean")
    here = np.ones(len(data.time), dtype=bool)
    if panel is not None and data.temperature is not None:
        here = (np.abs(data.temperature - panel) < 1e-6) | (data.time == 0)
    look: dict[str, Any] = {"linestyle": "none", "zorder": 4}
    broken, not_broken = here & data.broken, here & ~data.broken
    axes.plot(data.time[broken], data.strength[broken], marker="o", markerfacecolor="none", color=INK, gid="broken", **look)
    for x, y in zip(data.time[not_broken], data.strength[not_broken], strict=True):
        axes.annotate(
            "", (x, y), (0, 17), xycoords="data", textcoords="offset points",
            arrowprops={"arrowstyle": "<|-", "color": "#b8500f", "shrinkA": 0, "shrinkB": 0}, zorder=4,
        )  # fmt: skip
    axes.plot(
        data.time[not_broken], data.strength[not_broken], marker="_", markersize=9, color="#b8500f", gid="not broken", **look
    )
    longest = float(np.max(data.time))
    if end > 1.05 * longest:
        axes.axvspan(longest, end, facecolor="none", edgecolor=FAINT, hatch="////", linewidth=0, alpha=0.35, zorder=0.5)
    if said is not None and _same(said.temperature, panel):
        ends = [[said.mean - said.specimen_interval[0]], [said.specimen_interval[1] - said.mean]]
        axes.errorbar([said.time], [said.mean], yerr=ends, fmt="D", color="#b8500f", capsize=5, markersize=7, zorder=5)
    if panel is not None:
        axes.set_title(f"{degrees(panel)}{'' if here[data.time > 0].any() else ' (none tested)'}", **plate())


def _limits(axes: Axes, fit: AgeingFit, said: Prediction | None, panels: list[float | None], confidence: float) -> None:
    """Show every specimen, what is predicted and where the bands begin; a band that goes far beyond is cut."""
    most = float(np.max(fit.data.strength))
    tops = [float(fit.band(np.zeros(1), panel, confidence, specimen=True)[2][0]) for panel in panels]
    tops += [] if said is None else [said.specimen_interval[1]]
    axes.set_ylim(0.0, max(1.08 * most, min(max(tops), 1.5 * most) * 1.02))


def _same(one: float | None, other: float | None) -> bool:
    return one is other or (one is not None and other is not None and abs(one - other) < 1e-6)
