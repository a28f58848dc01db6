"""A bonding process as matplotlib figures: wetting, the glue line under the clamps, cure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fejoint.process.durations import duration
from fejoint.process.outcome import Checked
from fejoint.process.squeeze import Squeezed
from fejoint.show.colours import FAINT, INK
from fejoint.show.pen import drawing_style, legend_below, plate, settled
from fejoint.show.process.axes import BLUE, DASHED, DOTTED, ORANGE, RED, clock_ticks, headed
from fejoint.show.process.cure_plots import cure_figure, fit_figure
from fejoint.show.process.wetting_plots import wetting_figure
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["cure_figure", "fit_figure", "process_figures", "squeeze_figure", "wetting_figure"]


def process_figures(found: Checked, title: str = "", units: str = "mm") -> dict[str, Figure]:
    """Return the figures of a process by file name: ``wetting.png``, ``squeeze-out.png``, ``cure.png``, ``cure-fit.png``.

    Only those of parts that the process has.

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
        fitted = fit_figure(found.cure, title, units)
        if fitted is not None:
            made["cure-fit.png"] = fitted
    return made


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
        headed(figure, title, "glue line under the clamps")
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
        clock_ticks(axes, first, last)
        axes.set_ylim(0.0, 1.05 * factor * s.start)
        axes.set_xlabel("time since the clamps closed")
        axes.set_ylabel(f"thickness, {unit}")
        law = "Newtonian" if s.film.flow_index == 1 else f"power law, flow index {s.film.flow_index:g}"
        axes.set_title(
            f"{s.film.shape}, {display(s.film.pressure, 'MPa', units)} mean pressure, {s.film.viscosity:g} Pa*s, {law}",
            color=FAINT,
        )
        legend_below(figure, axes.get_legend_handles_labels()[0], 3)
        return settled(figure)
