"""The load at which a disbond grows against its length, as a matplotlib figure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.show.colours import FAINT, INK
from fejoint.show.pen import drawing_style, heading, legend_below, settled
from fejoint.show.plots import ELEMENTS
from fejoint.strength.adherends import plateau_capacity
from fejoint.strength.fracture import LoadAgainstLength
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["disbond_figure"]

PLACES = {
    "middle": "in the middle of the layer",
    "lower": "along the lower interface",
    "upper": "along the upper interface",
}
# Opening lighter than shear, for a grey print; at an interface there is one sum alone.
YIELDS: dict[str, Any] = {"color": "#d98a32", "linewidth": 1.6, "linestyle": (0, (4, 2))}
OPENING, SHEAR, SUM = "#9cc3e6", "#2c659b", "#c9d1d8"


def disbond_figure(found: LoadAgainstLength, units: str = "mm") -> Figure:
    """Return the load at which a disbond grows against its length, over the energy release rates at that load.

    Axes are labelled load and rates (`Axes.get_label`). Filled points: growth asks for more load
    as the disbond gets longer (stable); open points: it runs on. A broken line: the shear stress
    allowed, times the area that is left. The load is the force, or a multiple of the joint's load
    where that has no force; the joint's own is a line across.

    Parameters
    ----------
    found : LoadAgainstLength
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(8.4, 8.0), layout="constrained")
        load, rates = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": [1.2, 1.0]})
        disbond = found.points[0].disbond
        where = f"disbond from the {disbond.end} end, {PLACES[disbond.place]}"
        bonds = found.joint.geometry.bonds()
        where += f" of bondline {disbond.bondline}" if len(bonds) > 1 else ""
        figure.suptitle(heading(found.joint, "growth of a disbond"), x=0.01, ha="left")
        load.set_title(where, color=FAINT)
        mm, length_unit = shown_unit("mm", units)
        _draw_load(load, found, mm, units)
        _draw_rates(rates, found, mm, units)
        rates.set_xlabel(f"disbond length, {length_unit}")
        rates.set_xlim(0.0, 1.03 * mm * float(found.lengths[-1]))
        for axes, name in ((load, "load"), (rates, "rates")):
            axes.set_label(name)
        figure.align_ylabels((load, rates))
        legend_below(figure, [h for axes in figure.axes for h in axes.get_legend_handles_labels()[0]], 3)
        return settled(figure)


def _draw_load(axes: Axes, found: LoadAgainstLength, mm: float, units: str) -> None:
    force = found.joint.load.force
    newton, unit = shown_unit("N", units) if force else (1.0, "")
    value = newton * (found.force if force else found.factor)
    own = newton * force if force else 1.0
    axes.plot(mm * found.lengths, value, zorder=3, **ELEMENTS[0])
    point: dict[str, Any] = {"linestyle": "", "marker": "o", "markersize": 6, "color": ELEMENTS[0]["color"], "zorder": 4}
    for stable, face, label in ((True, ELEMENTS[0]["color"], "grows stably"), (False, "white", "grows on by itself")):
        own_points = (found.stable == stable) & np.isfinite(value)
        if own_points.any():
            axes.plot(mm * found.lengths[own_points], value[own_points], markerfacecolor=face, label=label, **point)
    left = [plateau_capacity(p.joint.replace(strength=p.joint.strength.replace(disbond=p.disbond))).force for p in found.points]
    if np.isfinite(left).all():  # it may lie far above, and is then of no concern
        axes.plot(mm * found.lengths, newton * np.array(left), label="what is left of the bond yields as a whole", **YIELDS)
    axes.axhline(own, color=INK, linewidth=1.0, linestyle=(0, (6, 2)))
    text = f"the joint's load, {display(force, 'N', units)}" if force else "the joint's load"
    axes.annotate(text, (0.99, own), xycoords=("axes fraction", "data"), xytext=(0, 4), textcoords="offset points", ha="right")
    axes.set_ylabel(f"force that grows it, {unit}" if force else "load that grows it, over the joint's")
    finite = np.append(value[np.isfinite(value)], own)
    low, high = min(0.0, float(finite.min())), max(0.0, float(finite.max()))
    axes.set_ylim(1.12 * low, 1.12 * high)
    if not np.isfinite(value).any():
        axes.text(0.5, 0.5, "no multiple of the load grows it", transform=axes.transAxes, ha="center", color=FAINT)


def _draw_rates(axes: Axes, found: LoadAgainstLength, mm: float, units: str) -> None:
    scale, unit = shown_unit("N/mm", units)
    x = mm * found.lengths
    parted = found.points[0].release.split
    parts = [("opening (mode I)", OPENING, found.opening), ("shear (mode II)", SHEAR, found.shear)]
    if not parted:
        parts = [("opening and shear together, held against mode I toughness", SUM, found.total)]
    low = np.zeros_like(x)
    for label, colour, rate in parts:
        high = low + scale * rate
        axes.fill_between(x, low, high, color=colour, linewidth=0.0, label=label)
        low = high
    axes.plot(x, low, color=INK, linewidth=1.2)
    axes.set_ylabel(f"energy release rate, {unit}")
    axes.set_title("at the load that grows it", color=FAINT)
    axes.set_ylim(0.0, 1.12 * float(np.nanmax(low, initial=1e-12)))
