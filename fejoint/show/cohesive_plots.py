"""How a cohesive layer parts, as a matplotlib figure: load and travel over the peak, the crack, damage along the bondline."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.errors import JointError
from fejoint.mechanics.outcome import Outcome
from fejoint.show.colours import FAINT, INK, sequential
from fejoint.show.marks import noted, place_clear
from fejoint.show.path_plots import DARKEST, LIGHTEST, MOST_CURVES, Quantity, increment_of, load_of
from fejoint.show.path_rows import Row, in_words, path_rows, spread
from fejoint.show.pen import drawing_style, heading, legend_below, settled
from fejoint.show.plots import ELEMENTS, joined
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Annotation

__all__ = ["parting_figure"]

DASHED: dict[str, Any] = {**ELEMENTS[1], "linestyle": (0, (6, 2))}


def parting_figure(result: Outcome, units: str = "mm") -> Figure:
    """Return the load against the elongation with its peak, the length that is parted and damaged, and damage along the bondline.

    Every point is an increment; the ring is the largest load. Lines of damage run from dark to light along the
    path. Axes are labelled (`Axes.get_label`) travel, crack and damage.

    Parameters
    ----------
    result : Outcome
        Of a joint with a cohesive layer, a `Result` or read back from a folder.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    JointError
        The layer is not cohesive.
    """
    rows = path_rows(result)
    if not rows or "parted_mm" not in rows[0]:
        raise JointError('parting_figure: the layer is not cohesive; ask for analysis.adhesive_model = "cohesive".')
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(10, 8.2), layout="constrained")
        parts = figure.subplot_mosaic([["travel", "crack"], ["damage", "damage"]], height_ratios=[1.0, 0.9])
        figure.suptitle(heading(result.joint, "how the layer parts"), x=0.01, ha="left")
        load, top = load_of(rows, units), result.number - 1
        mark = _draw_travel(parts["travel"], result, rows, load, top, units)
        _draw_crack(parts["crack"], rows, load, top, units)
        _draw_damage(parts["damage"], result, rows, units)
        for name, axes in parts.items():
            axes.set_label(name)
        legend_below(figure, parts["damage"].get_legend_handles_labels()[0], 3)
        settled(figure)
        if mark is not None:
            place_clear(parts["travel"], mark, -1)
        return figure


# ---- parts ---------------------------------------------------------------


def _draw_travel(axes: Axes, result: Outcome, rows: Sequence[Row], load: Quantity, top: int, units: str) -> Annotation | None:
    """Draw the load against the elongation, its largest value marked; return what is written at the mark."""
    mm, unit = shown_unit("mm", units)
    x = mm * np.array([row["elongation_mm"] for row in rows])
    axes.plot([0.0, *x], [0.0, *load.values], marker="o", markersize=3.5, **ELEMENTS[0])
    axes.plot(
        x[top], load.values[top], linestyle="", marker="o", markersize=9, markerfacecolor="none", markeredgecolor=INK, zorder=4
    )
    note = None
    if load.key == "force":
        word = "largest load" if result.limit else "load asked for"
        note = noted(axes, f"{word}: {display(rows[top]['force_N'], 'N', units)}", float(x[top]), float(load.values[top]))
    axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
    axes.margins(x=0.06, y=0.14)
    axes.set_xlabel(f"elongation, {unit}")
    axes.set_ylabel(load.label)
    return note


def _draw_crack(axes: Axes, rows: Sequence[Row], load: Quantity, top: int, units: str) -> None:
    """Draw against the load how much of the bondlines is parted, and how much is damaged and still bears."""
    mm, unit = shown_unit("mm", units)
    for label, name, look in (("parted", "parted_mm", ELEMENTS[0]), ("damaged, still bearing", "damaged_mm", DASHED)):
        y = mm * np.array([row[name] for row in rows])
        axes.plot([0.0, *load.values], [0.0, *y], label=label, marker="o", markersize=3.5, **look)
        axes.plot(
            load.values[top],
            y[top],
            linestyle="",
            marker="o",
            markersize=9,
            markerfacecolor="none",
            markeredgecolor=INK,
            zorder=4,
        )
    axes.margins(x=0.06, y=0.1)
    axes.locator_params(axis="x", nbins=6)
    axes.set_xlabel(load.label)
    axes.set_ylabel(f"length of the bondline, {unit}")
    axes.legend(loc="best")


def _draw_damage(axes: Axes, result: Outcome, rows: Sequence[Row], units: str) -> None:
    """Draw the damage along the bondlines at several increments, that of the largest load among them."""
    mm, unit = shown_unit("mm", units)
    damaged = [i for i, row in enumerate(rows) if row["damaged_mm"] or row["parted_mm"]] or [len(rows) - 1]
    chosen = [damaged[number - 1] + 1 for number in spread([rows[i] for i in damaged], MOST_CURVES - 1)]
    colours = sequential(201) / 255.0
    numbers = sorted({*chosen, result.number})
    for i, number in enumerate(numbers):
        share = DARKEST + (LIGHTEST - DARKEST) * (i / max(len(numbers) - 1, 1))
        x, values = joined([(b.x, b.damage) for b in increment_of(result, number).bondlines if b.damage is not None])
        label = in_words(rows[number - 1], units)
        top = number == result.number and bool(result.limit)
        axes.plot(
            mm * x,
            values,
            label=f"{label} (largest)" if top else label,
            color=tuple(colours[round(200 * share)]),
            linewidth=2.4 if top else 1.6,
            zorder=3 + 0.01 * i,
        )
    axes.set_ylim(-0.03, 1.05)
    axes.margins(x=0.02)
    axes.set_xlabel(f"x along the overlap, {unit}")
    axes.set_ylabel("damage (1: parted)")
