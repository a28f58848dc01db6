"""Figures of a correlation: measured and predicted curves, causes as bars; and of figures found: measured against fitted."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.show.colours import FAINT, INK, diverging
from fejoint.show.correlation.tables import figure_text
from fejoint.show.correlation.words import VERDICTS, percent, verdict_in_words
from fejoint.show.pen import drawing_style, legend_below, plate, printable, settled, shortened
from fejoint.show.plots import ELEMENTS
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["causes_figure", "curve_figure", "fit_figure"]

INKS = ("#b8500f", "#4f9a94", "#8c6bb1", "#8a9199", "#d98a32", "#5b7f2b")
MARKERS = ("o", "s", "^", "D", "v", "P")
MOST_LETTERS = 100
SHORT = 12  # letters of a change that fits beside its bar


def curve_figure(data: Mapping[str, Any], units: str = "mm") -> Figure:
    """Return force against displacement, measured and predicted, and the scatter of the measured loads as a band.

    Parameters
    ----------
    data : mapping
        As `correlation_data` returns it.
    units : str
        Display system.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(10, 6.6), layout="constrained")
        axes = figure.subplots()
        axes.set_label("curve")
        m, p = data["measured"], data["predicted"]
        (mm, length), (newton, force) = shown_unit("mm", units), shown_unit("N", units)
        low, high = (newton * (m["load_N"] + side * m["load_allowance_N"]) for side in (-1, 1))
        axes.axhspan(low, high, color=FAINT, alpha=0.15, linewidth=0, zorder=0)
        axes.axhline(newton * m["load_N"], color=FAINT, linewidth=1.2, linestyle=(0, (5, 2)), zorder=1)
        ends = [0.0]
        for i, one in enumerate(m["specimens"]):
            u, f = mm * np.array(one["displacement_mm"]), newton * np.array(one["force_N"])
            look: dict[str, Any] = {"color": INKS[i % len(INKS)], "linewidth": 1.2, "marker": MARKERS[i % len(MARKERS)]}
            label = f" {shortened(printable(one['name']), 24)}" if i < len(INKS) else "_"  # a legend leaves out what begins so
            axes.plot(u, f, markersize=5, markerfacecolor="white", markevery=0.12, label=label, zorder=2, **look)
            ends.append(float(u[np.argmax(f)]))
        u, f = mm * np.array(p["displacement_mm"]), newton * np.array(p["force_N"])
        top = int(np.argmax(f))  # the load lies on the rising branch, between two points that were solved
        load = newton * p["load_N"]
        at = float(np.interp(load, f[: top + 1], u[: top + 1]))
        if p["kind"] != "cohesive":  # which goes on behind the load; others break there, however far they were followed
            before = f < load * (1 - 1e-9)
            before[top:] = False
            u, f = np.append(u[before], at), np.append(f[before], min(load, float(f[top])))
        axes.plot(u, f, label=f"predicted: {p['name']}", zorder=3, **ELEMENTS[0])
        axes.plot([at], [newton * p["load_N"]], marker="X", markersize=10, color=ELEMENTS[0]["color"], linestyle="none", zorder=4)
        axes.annotate(
            f"predicted {display(p['load_N'], 'N', units)}",
            (at, newton * p["load_N"]),
            (12, 8 if p["kind"] == "cohesive" else -16),  # clear of the curve
            textcoords="offset points",
            **plate(),
        )
        ends.append(at)
        axes.set_xlim(0, 1.45 * max(ends))
        axes.set_ylim(0, 1.18 * max(high, newton * p["load_N"], float(f.max())))
        axes.annotate(
            f"measured {display(m['load_N'], 'N', units)}, {_band(m)}",
            (0.0, newton * m["load_N"]),
            (6, 5),
            xycoords=("axes fraction", "data"),
            textcoords="offset points",
            color=INK,
            **plate(),
        )
        gauge = data["gauge"]
        axes.set_xlabel(f"{_between(gauge, units)}, {length}" if gauge else f"predicted displacement between the grips, {length}")
        axes.set_ylabel(f"force, {force}")
        axes.set_title(_ratios(data), color=FAINT)
        figure.suptitle(f"{shortened(printable(data['title']), MOST_LETTERS)}: measured and predicted", x=0.01, ha="left")
        legend_below(figure, axes.get_legend_handles_labels()[0], 4)
        return settled(figure)


def causes_figure(data: Mapping[str, Any], units: str = "mm") -> Figure:
    """Return what each cause does to the predicted load and stiffness, as bars; where the coupons are stands as a band.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        order = list(VERDICTS)
        causes = sorted(data["causes"], key=lambda c: (order.index(c["verdict"]), -_size(c)))
        sides = ["load"] + ["stiffness"] * (data["ratios"]["stiffness"] is not None)
        height = 0.62 * max(len(causes), 1) + 2.0
        figure = Figure(figsize=(7.6 + 4.2 * (len(sides) - 1), height), layout="constrained")
        grid = figure.subplots(1, len(sides), squeeze=False, sharey=True)[0]
        for axes, side in zip(grid, sides, strict=True):
            _draw_bars(axes, side, causes, data, units)
        names = ["\n".join([*textwrap.wrap(printable(cause["name"]), 30)[:2]]) for cause in causes]
        grid[0].set_yticks(range(len(causes)), names)
        grid[0].set_ylim(len(causes) - 0.4, -0.6)
        for i, cause in enumerate(causes):
            word = verdict_in_words(data, cause)
            grid[-1].annotate(
                "\n".join(textwrap.wrap(word, 20)),
                (1.0, i),
                (10, 0),
                xycoords=("axes fraction", "data"),
                textcoords="offset points",
                va="center",
                fontsize=9.5,
                fontweight="bold" if cause["verdict"] == "alone" else "normal",
                color=INK if cause["verdict"] in ("alone", "load", "stiffness") else FAINT,
            )
        figure.suptitle(f"{shortened(printable(data['title']), 70)}: each cause alone", x=0.01, ha="left")
        return settled(figure)


def fit_figure(data: Mapping[str, Any], units: str = "mm") -> Figure:
    """Return measured over fitted values of every coupon, and each figure's interval within its bounds.

    Parameters
    ----------
    data : mapping
        As `identified_data` returns it.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(11.5, max(4.6, 2.0 + 0.34 * len(_rows(data)))), layout="constrained")
        left, right = figure.subplots(1, 2, gridspec_kw={"width_ratios": [1.25, 1.0]})
        _draw_misfits(left, data, units)
        _draw_intervals(right, data["figures"], units)
        tests = ", ".join(printable(test["name"]) for test in data["tests"])
        figure.suptitle(shortened(f"Figures found from {tests}", MOST_LETTERS), x=0.01, ha="left")
        return settled(figure)


# ---- parts ---------------------------------------------------------------


def _between(gauge: Mapping[str, Any], units: str) -> str:
    if gauge["between"] == "extensometer":
        return f"extension over {display(gauge['length_mm'], 'mm', units)}"
    if gauge["machine_compliance_mm_per_N"] is None:
        return "displacement between the grips, nothing taken off for the machine"
    return "displacement between the grips, the machine's taken off"


def _band(m: Mapping[str, Any]) -> str:
    return "band: one standard deviation" if m["load_deviation_N"] == m["load_allowance_N"] else "band: assumed scatter"


def _ratios(data: Mapping[str, Any]) -> str:
    told = [f"{name} {percent(ratio)}" for name, ratio in data["ratios"].items() if ratio is not None]
    return f"predicted against measured: {', '.join(told)}"


def _size(cause: Mapping[str, Any]) -> float:
    ratios = [effect[key] for effect in cause["effects"] for key in ("load_ratio", "stiffness_ratio")]
    return max((abs(ratio - 1) for ratio in ratios if ratio is not None), default=0.0)


def _draw_bars(axes: Axes, side: str, causes: Sequence[Mapping[str, Any]], data: Mapping[str, Any], units: str) -> None:
    """Draw a bar from the prediction to each change of it, per cent; hatched where it lowers it."""
    m, p, unit = data["measured"], data["predicted"], "N" if side == "load" else "N/mm"
    key = "load_N" if side == "load" else "stiffness_N_per_mm"
    allowance = m["load_allowance_N" if side == "load" else "stiffness_allowance_N_per_mm"]
    middle, half = 100 * (m[key] / p[key] - 1), 100 * allowance / p[key]
    axes.axvspan(middle - half, middle + half, color="#d98a32", alpha=0.25, linewidth=0, zorder=0)
    axes.axvline(middle, color="#b8500f", linewidth=1.2, linestyle=(0, (5, 2)), zorder=1)
    axes.axvline(0.0, color=INK, linewidth=1.0, zorder=1)
    down, up = (diverging()[i] / 255 for i in (30, 226))
    reach = [0.0, middle - half, middle + half]
    for i, cause in enumerate(causes):
        found = [(100 * (e[f"{side}_ratio"] - 1), e["change"]) for e in cause["effects"] if e[f"{side}_ratio"] is not None]
        for value, change in found:
            raised = value >= 0
            look: dict[str, Any] = {"color": up if raised else down, "hatch": "" if raised else "///", "edgecolor": INK}
            axes.barh([i], [value], height=0.52, linewidth=0.6, zorder=2, **look)
            reach.append(value)
            if abs(value) < 0.05:
                continue
            # What it was changed to stands once, beside the bars of the load where there are any.
            told_by = "load" if any(abs(e["load_ratio"] - 1) >= 5e-4 for e in cause["effects"]) else "stiffness"
            short = side == told_by and len(found) > 1 and len(change) <= SHORT
            told = f"{value:+.1f} %" + (f"\n{printable(change)}" if short else "")
            axes.annotate(
                told,
                (value, i),
                (5 if raised else -5, 0),
                textcoords="offset points",
                ha="left" if raised else "right",
                va="center",
                linespacing=1.0,
                fontsize=8.5,
                zorder=3,
                **plate(0.6),
            )
        if not found or all(abs(value) < 0.05 for value, _ in found):
            text = "no change" if found else "not tried"
            axes.annotate(text, (0, i), (5, 0), textcoords="offset points", va="center", fontsize=8.5, color=FAINT, **plate(0.6))
    room = 0.34 * (max(reach) - min(reach) or 1.0)
    axes.set_xlim(min(reach) - room, max(reach) + room)
    axes.set_xlabel(f"change of the predicted {side}, %\nfrom {display(p[key], unit, units)}")
    apart = f"{abs(middle):.1f} % {'above' if middle > 0 else 'below'} the prediction" if abs(middle) >= 0.05 else "as predicted"
    axes.set_title(f"{side}: coupons {apart}", color="#b8500f")
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")


def _rows(data: Mapping[str, Any]) -> dict[tuple[Any, ...], list[Mapping[str, Any]]]:
    groups: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for one in data["observations"]:
        groups.setdefault((one["test"], one["kind"], one["at_mm"]), []).append(one)
    return groups


def _draw_misfits(axes: Axes, data: Mapping[str, Any], units: str) -> None:
    """Draw a row of coupons for each test and kind: measured over fitted, and where the file's own figures stood."""
    axes.set_label("misfits")
    names = []
    for i, ((test, kind, at), rows) in enumerate(_rows(data).items()):
        share = [100 * (one["measured"] / one["fitted"] - 1) for one in rows]
        before = rows[0]["before"]
        if before is not None:
            axes.plot(
                [100 * (before / rows[0]["fitted"] - 1)],
                [i],
                marker="|",
                markersize=16,
                markeredgewidth=2,
                color=FAINT,
                linestyle="none",
            )
        axes.plot(share, [i] * len(share), marker="o", markerfacecolor="white", color=INKS[0], linestyle="none", alpha=0.9)
        where = "" if at is None else f" at {display(at, 'mm', units, 3)}"
        names.append(f"{shortened(printable(test), 22)}: {kind}{where}")
    axes.axvline(0.0, color=INK, linewidth=1.0)
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    axes.margins(x=0.15)
    axes.set_xlabel("above the fitted value, %")
    axes.set_title("rings: coupons; bars: the file's own figures", color=FAINT)


def _draw_intervals(axes: Axes, figures: Sequence[Mapping[str, Any]], units: str) -> None:
    """Draw each figure found over where the search began, with its interval; a logarithmic scale."""
    axes.set_label("intervals")
    for i, one in enumerate(figures):
        start = one["start"]
        axes.plot([b / start for b in one["bounds"]], [i, i], color=FAINT, linewidth=1.0, marker="|", markersize=8, zorder=1)
        if one["low"] is not None and one["high"] is not None:
            ends = [min(max(one[end], one["bounds"][0] / 3), one["bounds"][1] * 3) / start for end in ("low", "high")]
            axes.plot(ends, [i, i], color=ELEMENTS[0]["color"], linewidth=4, alpha=0.5, solid_capstyle="butt", zorder=2)
        axes.plot([one["value"] / start], [i], marker="o", color=ELEMENTS[0]["color"], markersize=8, zorder=3)
        doubt = " (at its bound)" if one["at_bound"] else " (no influence)" if one["no_influence"] else ""
        axes.annotate(
            f"{one['key']}\n{figure_text(one['value'], one['unit'], units)}{doubt}",
            (min(max(one["value"] / start, 0.55), 1.8), i),  # clear of the axes' ends
            (0, 10),
            textcoords="offset points",
            ha="center",
            fontsize=9,
            **plate(),
        )
    axes.set_xscale("log")
    ticks = [t for t in (0.1, 0.2, 0.5, 1, 2, 5, 10) if axes.get_xlim()[0] <= t <= axes.get_xlim()[1]]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    axes.axvline(1.0, color=INK, linewidth=1.0, zorder=0)
    axes.set_yticks([])
    axes.set_ylim(len(figures) - 0.4, -0.8)
    axes.set_xlabel("over where the search began")
    axes.set_title("thick: 95 % interval; thin: bounds", color=FAINT)
