"""A bonding process as matplotlib figures: the drop and the wetting envelope, the glue line, cure and strength."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.process.cure import Cured
from fejoint.process.durations import duration
from fejoint.process.energies import Energies, wetting_envelope
from fejoint.process.outcome import Checked
from fejoint.process.squeeze import Squeezed
from fejoint.process.wetting import Wetted, Wetting
from fejoint.show.colours import FAINT, INK, METAL, REGION_COLOURS, sequential
from fejoint.show.pen import drawing_style, legend_below, plate, printable, settled, shortened
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["cure_figure", "process_figures", "squeeze_figure", "wetting_figure"]

BLUE, RED, ORANGE = "#0b2f52", "#b8500f", REGION_COLOURS["adhesive"]
DASHED, DOTTED = (0, (6, 2)), (0, (1.2, 1.6))
ZERO_C = 273.15
# Where a time axis has its ticks when it is logarithmic, in s.
CLOCK = (0.01, 0.1, 1.0, 10.0, 60.0, 600.0, 3600.0, 6 * 3600.0, 86400.0, 7 * 86400.0, 30 * 86400.0, 365 * 86400.0)
AXIS_UNITS = ((3 * 86400.0, 86400.0, "d"), (2 * 3600.0, 3600.0, "h"), (180.0, 60.0, "min"), (0.0, 1.0, "s"))


def process_figures(found: Checked, title: str = "", units: str = "mm") -> dict[str, Figure]:
    """Return the figures of a process by file name: ``wetting.png``, ``squeeze-out.png``, ``cure.png``, those that it has.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    made: dict[str, Figure] = {}
    if found.wetting is not None and found.process.wetting is not None:
        figure = wetting_figure(found.wetting, found.process.wetting, title)
        if figure is not None:
            made["wetting.png"] = figure
    if found.squeeze_out is not None:
        made["squeeze-out.png"] = squeeze_figure(found.squeeze_out, title, units)
    if found.cure is not None and found.process.cure is not None:
        load = found.process.cure.handling_load
        made["cure.png"] = cure_figure(found.cure, title, units, load, found.process.cure.needed_degree)
    return made


def _headed(figure: Figure, title: str, what: str) -> None:
    figure.suptitle(printable(f"{shortened(title, 90)}: {what}" if title else what), x=0.01, ha="left")


# ---- wetting ---------------------------------------------------------------


def wetting_figure(w: Wetted, given: Wetting, title: str = "") -> Figure | None:
    """Return the drop that the adhesive makes and the wetting envelope of the surface; None where neither is known.

    The envelope: which angle a liquid of any dispersive and polar part makes on
    the surface (Owens & Wendt), and where the adhesive and the probe liquids lie.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    drop, envelope = w.angle is not None, w.surface is not None
    if not drop and not envelope:
        return None
    with drawing_style():
        from matplotlib.figure import Figure

        ratios = [1.0] * drop + [1.45] * envelope
        figure = Figure(figsize=(10.5, 5.4) if len(ratios) > 1 else (6.5, 5.2), layout="constrained")
        grid = figure.subplots(1, len(ratios), width_ratios=ratios, squeeze=False)[0]
        _headed(figure, title, f"wetting: {w.verdict.word}")
        if w.angle is not None:
            _draw_drop(grid[0], w.angle, given)
        if w.surface is not None:
            _draw_envelope(grid[-1], w, given, figure)
        return settled(figure)


def _draw_drop(axes: Axes, angle: float, given: Wetting) -> None:
    """Draw a drop of a contact angle in section, without weight, and its angle."""
    from matplotlib.patches import Polygon, Rectangle

    shown = max(angle, 1.5)  # a drop that spreads is a film
    theta = math.radians(shown)
    base = 1.0 if shown <= 90 else math.sin(theta)
    radius = base / math.sin(theta) if shown < 179 else 1.0
    centre = -radius * math.cos(theta)
    turn = np.linspace(-theta, theta, 181)
    outline = np.column_stack([radius * np.sin(turn), centre + radius * np.cos(turn)])
    axes.add_patch(Polygon(outline, facecolor=ORANGE, edgecolor=INK, linewidth=1.0, alpha=0.85))
    axes.add_patch(Rectangle((-1.6, -0.28), 3.2, 0.28, facecolor=METAL, edgecolor=INK, linewidth=0.9))
    corner = (base if shown < 179 else 0.0, 0.0)
    if angle > 3:
        # The tangent where the drop meets the surface; the angle is measured through the liquid.
        reach = 0.75
        tip = (corner[0] - reach * math.cos(theta), reach * math.sin(theta))
        axes.plot([corner[0], tip[0]], [0.0, tip[1]], color=RED, linewidth=1.6)
        arc = math.pi - np.linspace(0.0, theta, 60)
        axes.plot(corner[0] + 0.4 * np.cos(arc), 0.4 * np.sin(arc), color=RED, linewidth=1.4)
    how = "read on the surface" if given.adhesive_angle is not None else "from surface energies"
    said = "spreads by itself" if angle == 0 else f"contact angle {angle:.3g} degrees"
    axes.set_title(f"adhesive: {said}\n({how})", color=FAINT)
    water = {True: "water-break test: passed, the film stayed whole", False: "water-break test: FAILED, the film broke"}
    note = water.get(given.water_film_whole, "water-break test: not recorded")  # type: ignore[call-overload]
    axes.text(0.0, -0.42, note, ha="center", va="top", color=RED if given.water_film_whole is False else INK)
    axes.set_xlim(-1.7, 1.7)
    axes.set_ylim(-0.75, 2.15)
    axes.set_aspect("equal")
    axes.set_axis_off()


def _draw_envelope(axes: Axes, w: Wetted, given: Wetting, figure: Figure) -> None:
    """Draw the angle that liquids make on the surface, over their dispersive and polar parts."""
    from matplotlib.colors import ListedColormap

    assert w.surface is not None
    points = [("surface", w.surface, "s")] + ([("adhesive", w.adhesive, "o")] if w.adhesive is not None else [])
    for probe in dict.fromkeys(probe.liquid.name or "probe liquid" for probe in given.readings):
        liquid = next(p.liquid for p in given.readings if (p.liquid.name or "probe liquid") == probe)
        points.append((probe, liquid, "^"))
    most = [1.22 * max(max(getattr(e, part) for _, e, _ in points), 15.0) for part in ("dispersive", "polar")]
    d, p = np.meshgrid(np.linspace(0.0, most[0], 161)[1:], np.linspace(0.0, most[1], 161))
    work = 2 * (np.sqrt(w.surface.dispersive * d) + np.sqrt(w.surface.polar * p))
    angles = np.degrees(np.arccos(np.clip(work / (d + p) - 1, -1.0, 1.0)))
    colours = ListedColormap(sequential(256)[::-1][:190] / 255.0)
    filled = axes.contourf(d, p, angles, levels=np.arange(0.0, 91.0, 10.0), cmap=colours, extend="max", alpha=0.75)
    bar = figure.colorbar(filled, ax=axes, pad=0.02)
    bar.set_label("contact angle of a liquid on the surface, degrees")
    direction = np.linspace(0.0, 90.0, 181)
    looks: tuple[tuple[float, Any], ...] = ((0.0, "-"), (given.wets_up_to, DASHED), (given.does_not_above, DOTTED))
    for limit, dash in looks:
        if limit < 180:
            axes.plot(
                *wetting_envelope(w.surface, limit, direction),
                color=INK,
                linestyle=dash,
                linewidth=1.6,
                label=f"{limit:g} degrees",
            )
    for name, e, marker in points:
        axes.plot(
            e.dispersive,
            e.polar,
            marker,
            color=RED if name == "adhesive" else INK,
            markeredgecolor="white",
            markersize=9,
            zorder=4,
        )
        _label(axes, name, e, most)
    axes.set_xlim(0.0, most[0])
    axes.set_ylim(0.0, most[1])
    axes.grid(visible=False)
    axes.set_xlabel("dispersive part, mN/m")
    axes.set_ylabel("polar part, mN/m")
    axes.set_title("wetting envelope: liquids on this surface", color=FAINT)
    axes.legend(loc="upper right", frameon=True, framealpha=0.85, edgecolor="none")


def _label(axes: Axes, name: str, e: Energies, most: list[float]) -> None:
    """Write a name beside a point, on the side that has room."""
    left = e.dispersive > 0.62 * most[0]
    up = 6 if e.polar < 0.9 * most[1] else -12
    axes.annotate(
        printable(shortened(name, 28)),
        (e.dispersive, e.polar),
        xytext=(-8 if left else 8, up),
        textcoords="offset points",
        ha="right" if left else "left",
        zorder=5,
        **plate(0.75),
    )


# ---- squeeze-out -----------------------------------------------------------


def squeeze_figure(s: Squeezed, title: str = "", units: str = "mm") -> Figure:
    """Return the glue line's thickness against time under the clamps, with what stops it.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        factor, unit = shown_unit("mm", units)
        figure = Figure(figsize=(9.5, 5.2), layout="constrained")
        axes = figure.subplots()
        _headed(figure, title, "glue line under the clamps")
        time = s.time[1:]
        axes.plot(time, factor * s.thickness[1:], color=BLUE, linewidth=2.3, label="glue line", zorder=3)
        if s.spacer is not None:
            axes.plot(time, factor * s.without_spacers[1:], color=BLUE, linestyle=DOTTED, label="without spacer beads")
            axes.axhline(
                factor * s.spacer, color=ORANGE, linewidth=1.6, label=f"spacer beads {display(s.spacer, 'mm', units, 3)}"
            )
        axes.axhline(
            factor * s.target, color=RED, linestyle=DASHED, label=f"target {display(s.target, 'mm', units, 3)}", zorder=2
        )
        axes.set_xscale("log")
        first, last = max(float(time[0]), 1e-3 * (s.time_to_target or s.time_to_spacers or float(time[-1]))), float(time[-1])
        axes.set_xlim(first, last)
        if s.time_to_target is not None and s.time_to_target > 0:
            axes.plot(s.time_to_target, factor * s.target, "o", color=RED, markeredgecolor="white", zorder=4)
            axes.annotate(
                f"{duration(s.time_to_target)}",
                (s.time_to_target, factor * s.target),
                xytext=(6, 10),
                textcoords="offset points",
                zorder=5,
                **plate(),
            )
        if s.flow_time is not None:
            axes.axvline(s.flow_time, color=INK, linewidth=1.2, linestyle=DASHED, label="no longer flows")
            axes.axvspan(s.flow_time, last, color=FAINT, alpha=0.12, linewidth=0)
        _clock(axes, first, last)
        axes.set_ylim(0.0, 1.05 * factor * s.start)
        axes.set_xlabel("time since the clamps closed")
        axes.set_ylabel(f"thickness, {unit}")
        law = "Newtonian" if s.film.flow_index == 1 else f"power law, flow index {s.film.flow_index:g}"
        axes.set_title(
            f"{s.film.shape}, {display(s.film.pressure, 'MPa', units)} mean pressure, {s.film.viscosity:g} Pa*s, {law}",
            color=FAINT,
        )
        legend_below(figure, axes.get_legend_handles_labels()[0], 5)
        return settled(figure)


def _clock(axes: Axes, first: float, last: float) -> None:
    """Tick a logarithmic axis of time as a clock does."""
    from matplotlib.ticker import NullLocator

    ticks = [t for t in CLOCK if first <= t <= last]
    axes.set_xticks(ticks, [duration(t) for t in ticks])
    axes.xaxis.set_minor_locator(NullLocator())


# ---- cure ------------------------------------------------------------------


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
        _headed(figure, title, "cure and handling")
        wanted = [t for t in (c.handling_time, c.needed_time) if t is not None]
        end = max([c.end_time, *(1.08 * t for t in wanted if t < 4 * c.end_time)])
        scale, unit = next((size, name) for least, size, name in AXIS_UNITS if end >= least)
        keep = c.curve.later[0] <= end
        later = np.append(c.curve.later[0][keep], end) if end > c.end_time else np.empty(0)
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
        (1.0, height),
        xycoords=("axes fraction", "data"),
        xytext=(-4, 3),
        textcoords="offset points",
        ha="right",
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
