"""What a joint bears against the length of a flaw, as a matplotlib figure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.show.colours import FAINT, INK, sequential
from fejoint.show.flaw_tables import in_words, named_kind
from fejoint.show.pen import drawing_style, plate, printable, settled, shortened
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["flaw_capacity_figure"]

RED = "#b8500f"  # of the load that must be borne, as the load applied in the figure of strength
DARKEST, LIGHTEST = 0.08, 0.8
MARKERS, DASHES = "os^Dv<>Ph*X", ["-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1, 2)), "-", (0, (4, 1))]
FINE = 200


def flaw_capacity_figure(data: Mapping[str, Any], units: str = "mm") -> Figure:
    """Return what a joint bears against the length of one flaw: a panel a kind, a line a place, allowed lengths marked.

    Points are joints that were solved; the line across is the load that must be borne, and where a line meets it a
    mark stands on it and the length below.

    Parameters
    ----------
    data : mapping
        As `fejoint.show.flaw_files.flaw_report_data` returns it.
    units : str
        Display system.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        kinds = data["capacity"]
        figure = Figure(figsize=(10.5, 0.8 + 3.9 * len(kinds)), layout="constrained")
        panels = figure.subplots(len(kinds), 1, squeeze=False)[:, 0]
        title = printable(shortened(f"{data['title'] or 'joint'}: how large a flaw may stay", 90))
        figure.suptitle(title, x=0.01, ha="left")
        for axes, one in zip(panels, kinds, strict=True):
            _draw(axes, one, data, units)
            axes.set_label(one["kind"])
        return settled(figure)


# ---- parts ---------------------------------------------------------------


def _draw(axes: Axes, one: Mapping[str, Any], data: Mapping[str, Any], units: str) -> None:
    from scipy.interpolate import PchipInterpolator

    mm, length_unit = shown_unit("mm", units)
    force = data["applied"]["force_N"]
    scale, unit = shown_unit("N", units) if force else (1.0, "")
    if force and units == "mm":
        scale, unit = 1e-3, "kN"
    scale *= abs(force) if force else 1.0
    colours = sequential(201) / 255.0
    many = max(len(one["places"]) - 1, 1)
    for i, at in enumerate(one["places"]):
        colour = tuple(colours[round(200 * (DARKEST + (LIGHTEST - DARKEST) * i / many))])
        points = [p for p in at["points"] if p["counted_factor"] is not None]
        x, y = (np.array([p[key] for p in points]) for key in ("length_mm", "counted_factor"))
        look: dict[str, Any] = {"color": colour, "zorder": 3 + 0.01 * i}
        if len(points) > 1:
            fine = np.linspace(x[0], x[-1], FINE)
            axes.plot(mm * fine, scale * PchipInterpolator(x, y)(fine), linewidth=1.8, linestyle=DASHES[i % len(DASHES)], **look)
        dots: dict[str, Any] = {"marker": MARKERS[i % len(MARKERS)], "markersize": 5.5, **look}
        axes.plot(mm * x, scale * y, linestyle="", **dots)
        axes.plot([], [], linewidth=1.8, linestyle=DASHES[i % len(DASHES)], label=f"{at['name']}: {in_words(at, units)}", **dots)
        if at["allowed_mm"] and not at["all_may_stay"]:
            ring: dict[str, Any] = {
                "markersize": 12,
                "markerfacecolor": "none",
                "markeredgecolor": colour,
                "markeredgewidth": 1.8,
            }
            at_required = scale * one["required_factor"]
            axes.plot(mm * at["allowed_mm"], at_required, linestyle="", marker="o", zorder=5, **ring)
            axes.plot([mm * at["allowed_mm"]] * 2, [0, at_required], color=colour, linewidth=0.9, linestyle=(0, (1, 2)), zorder=2)
    required = scale * one["required_factor"]
    # Curves begin at the sound joint and fall: what is to be borne is named where they are far off.
    at_right = one["required_factor"] > 0.5 * (one["places"][0]["points"][0]["counted_factor"] or 0.0)
    axes.axhline(required, color=RED, linewidth=1.8, zorder=2.5)
    shown = display(abs(one["required_N"]), "N", units) if force else f"{one['required_factor']:g} times the load"
    axes.annotate(
        f"to be borne: {shown}",
        (0.992 if at_right else 0.008, required),
        xycoords=("axes fraction", "data"),
        xytext=(0, 4),
        textcoords="offset points",
        ha="right" if at_right else "left",
        color=RED,
        zorder=6,
        **plate(),
    )
    top = max([required, *(scale * p["counted_factor"] for at in one["places"] for p in at["points"] if p["counted_factor"])])
    longest = max(at["longest_mm"] for at in one["places"])
    axes.set_xlim(0, 1.03 * mm * longest)
    axes.set_ylim(0, 1.12 * top)
    axes.set_xlabel(f"length of the flaw, {length_unit}")
    axes.set_ylabel(f"borne, {unit}" if force else "borne, times the load")
    where = {"": "", "middle": ", middle of the layer", "lower": ", lower interface", "upper": ", upper interface"}[one["place"]]
    of = f" of bondline {one['bondline']}" if len(data["bonds"]) > 1 else ""
    counted = "knockdowns counted in" if data["without"]["knockdowns"] else "no knockdowns"
    axes.set_title(f"one {named_kind(one['kind'])}{where}{of}; {counted}", color=FAINT)
    axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), title="longest that may stay", alignment="left")
    axes.tick_params(colors=INK)
