"""Cure and strength against time, and what the law was fitted to, as matplotlib figures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.process.cure import Cured
from fejoint.process.durations import duration
from fejoint.process.rate_law import History, cure_curve
from fejoint.show.colours import FAINT, sequential
from fejoint.show.pen import drawing_style, plate, settled
from fejoint.show.process.axes import BLUE, DASHED, RED, clock_ticks, headed
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["cure_figure", "fit_figure"]

ZERO_C = 273.15
MARKERS = ("o", "s", "^", "D", "v", "P")
AXIS_UNITS = ((3 * 86400.0, 86400.0, "d"), (2 * 3600.0, 3600.0, "h"), (180.0, 60.0, "min"), (0.0, 1.0, "s"))


def cure_figure(
    c: Cured, title: str = "", units: str = "mm", load: float | None = None, needed_degree: float | None = None
) -> Figure:
    """Return temperature, degree of cure and strength against time, with when the joint may be handled.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        rows = 2 + (c.strength is not None)
        figure = Figure(figsize=(9.5, 2.1 + 2.2 * rows), layout="constrained")
        grid = figure.subplots(rows, 1, sharex=True, height_ratios=[0.8, *[1.2] * (rows - 1)])
        headed(figure, title, "cure and handling")
        wanted = [t for t in (c.handling_time, c.needed_time) if t is not None]
        end = max([c.end_time, *(1.08 * t for t in wanted if t < 4 * c.end_time)])
        scale, unit = next((size, name) for least, size, name in AXIS_UNITS if end >= least)
        later = np.linspace(c.end_time, end, 200)[1:] if end > c.end_time else np.empty(0)
        time = np.concatenate([c.curve.time, later])
        degree = np.concatenate([c.curve.degree, [c.curve.at(float(t)) for t in later]])
        _draw_temperature(grid[0], c, time / scale, time, units)
        grid[1].plot(time / scale, degree, color=BLUE, linewidth=2.3)
        grid[1].set_ylabel("degree of cure")
        grid[1].set_ylim(0.0, 1.02)
        if needed_degree is not None:
            _line(grid[1], needed_degree, f"needed {needed_degree:g}", RED)
        if c.strength is not None:
            _line(grid[1], c.strength.gel, f"strength begins {c.strength.gel:.3g}", FAINT)
            _draw_strength(grid[2], c, time / scale, degree, units)
        if c.handling_time is not None and load is not None and c.handling_time <= end:
            for axes in grid[1:]:
                axes.axvline(c.handling_time / scale, color=RED, linewidth=1.4)
            beside = c.handling_time > 0.6 * end
            grid[1].annotate(
                f"may carry {display(load, 'N', units)}\n{_after(c.handling_time)}",
                (c.handling_time / scale, 0.06),
                xytext=(-6 if beside else 6, 0),
                textcoords="offset points",
                ha="right" if beside else "left",
                **plate(),
            )
        if end > c.end_time:
            for axes in grid:
                axes.axvspan(c.end_time / scale, end / scale, color=FAINT, alpha=0.12, linewidth=0)
            grid[0].set_title("grey: behind the stated history, at its last temperature", color=FAINT)
        grid[-1].set_xlim(0.0, end / scale)
        grid[-1].set_xlabel(f"time since mixing, {unit}")
        figure.align_ylabels(list(grid))
        return settled(figure)


def _after(time: float) -> str:
    return f"after {duration(time)}"


def _line(axes: Axes, height: float, text: str, colour: str) -> None:
    axes.axhline(height, color=colour, linestyle=DASHED, linewidth=1.3)
    axes.annotate(
        text,
        (0.0, height),
        xycoords=("axes fraction", "data"),
        xytext=(6, 3),
        textcoords="offset points",
        **plate(0.7),
    )


def _draw_temperature(axes: Axes, c: Cured, shown: Any, time: Any, units: str) -> None:
    celsius = c.curve.history.at(time) - ZERO_C
    degrees, unit = (celsius * 1.8 + 32, "degF") if units == "inch" else (celsius, "degC")
    axes.plot(shown, degrees, color=RED, linewidth=2.0)
    axes.set_ylabel(f"temperature, {unit}")
    low, high = float(np.min(degrees)), float(np.max(degrees))
    room = max(0.15 * (high - low), 3.0)
    axes.set_ylim(low - room, high + room)


def _draw_strength(axes: Axes, c: Cured, shown: Any, degree: Any, units: str) -> None:
    assert c.strength is not None
    factor, unit = shown_unit("MPa", units)
    strength = factor * c.strength.at(degree)
    axes.plot(shown, strength, color=BLUE, linewidth=2.3)
    axes.fill_between(shown, 0.0, strength, color=BLUE, alpha=0.08, linewidth=0)
    top = float(np.max(strength))
    if c.needed_strength is not None:
        _line(axes, factor * c.needed_strength, f"needed for handling {display(c.needed_strength, 'MPa', units, 3)}", RED)
        top = max(top, factor * c.needed_strength)
    axes.set_ylim(0.0, 1.12 * top if top > 0 else 1.0)
    axes.set_ylabel(f"strength, {unit}")


# ---- the fit ---------------------------------------------------------------


def fit_figure(c: Cured, title: str = "", units: str = "mm") -> Figure | None:
    """Return the points that the law was fitted to, with the law at each of their temperatures; None where it was not fitted.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    if c.fit is None:
        return None
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(9.5, 5.2), layout="constrained")
        axes = figure.subplots()
        headed(figure, title, f"{c.fit.kind} law and the points it was fitted to")
        temperatures = sorted({p.temperature for p in c.fit.points})
        colours = sequential(256) / 255.0
        times = np.geomspace(min(p.time for p in c.fit.points) / 4, 3 * max(p.time for p in c.fit.points), 200)
        for i, kelvin in enumerate(temperatures):
            colour = colours[int(190 * i / max(len(temperatures) - 1, 1))]
            steady = cure_curve(c.law, History.of([(0.0, kelvin), (float(times[-1]), kelvin)]))
            axes.plot(times, [steady.at(float(t)) for t in times], color=colour, linewidth=1.8)
            there = [p for p in c.fit.points if p.temperature == kelvin]
            marker = MARKERS[i % len(MARKERS)]
            look = {"color": colour, "markeredgecolor": "white", "label": display(kelvin, "K absolute", units, 3)}
            axes.plot([p.time for p in there], [p.degree for p in there], marker, zorder=3, **look)
        axes.set_xscale("log")
        axes.set_xlim(times[0], times[-1])
        clock_ticks(axes, float(times[0]), float(times[-1]))
        axes.set_ylim(0.0, 1.02)
        axes.set_xlabel("time at a steady temperature")
        axes.set_ylabel("degree of cure")
        axes.set_title(f"missed by {c.fit.scatter:.2g} (root mean square)", color=FAINT)
        axes.legend(loc="lower right")
        return settled(figure)
