"""Theories beside finite elements: as a table, as JSON, as a figure."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.bondline.curves import Bondline
from fejoint.joint.families import DoubleLap
from fejoint.mechanics.as_built import FAR, Beside, Comparison, Stretch
from fejoint.show.colours import FAINT, INK
from fejoint.show.files import joint_as_understood, versions, write_files
from fejoint.show.looks import theory_looks
from fejoint.show.pen import drawing_style, heading, plate
from fejoint.units import display, known, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["comparison_figure", "comparison_json", "comparison_table", "write_comparison"]

Floats = NDArray[np.float64]

SCHEMA_VERSION = 1
STRESSES = ("shear", "peel")
FEW = 3  # stretches that a cell lists; of more it gives the number
ELEMENTS: dict[str, Any] = {"color": "#0b2f52", "linestyle": "-", "linewidth": 2.4}
BESIDE: dict[str, Any] = {"color": "#c4622d", "linestyle": (0, (4, 1.5)), "linewidth": 2.4}  # the upper of two unlike bondlines
REST = "#d4d9dd"  # bars of theories that are not drawn as lines
BAND = "#eef1f3"  # within a tenth


# ---- table -----------------------------------------------------------------


def comparison_table(comparison: Comparison, system: str = "mm") -> RenderableType:
    """Return what a person reads: theories with their ratios, why they differ, which to trust, which refused."""
    result = comparison.result
    g, length = result.joint.geometry, shown_unit("mm", system)
    title = f"Theories beside finite elements, and at which x ({length[1]}) each is off by more than a tenth of the FE peak"
    table = Table(
        title=title if comparison.rows else "Finite elements alone",
        box=box.SIMPLE_HEAD,
        title_justify="left",
        title_style="bold",
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )
    table.add_column("", overflow="fold", min_width=22)
    for name in STRESSES:
        table.add_column(f"peak {name}", justify="right", no_wrap=True)
        if comparison.rows:
            table.add_column("FE / theory", justify="right", no_wrap=True)
            table.add_column("off at x", overflow="fold")
    fe = [display(peak.value, "MPa", system) for peak in (result.peak_shear[0], result.peak_peel[0])]
    gap = ["", ""] if comparison.rows else []
    table.add_row("Finite elements", fe[0], *gap, fe[1], *gap, style="bold")
    for row in comparison.rows:
        cells = [cell for beside in (row.shear, row.peel) for cell in _cells(beside, system)]
        table.add_row(row.name, *cells, style="bold" if row.name in (comparison.advice.shear, comparison.advice.peel) else "")
    parts: list[RenderableType] = [Text.assemble((f"{result.joint.title or g.kind}\n", "bold"))]
    parts += [Text(f"Warning: {text}", style="bold") for text in result.warnings]
    inside = display(g.bondline_thickness, "mm", system)
    inset = f"Off at x: counted from one bondline thickness, {inside}, inside the ends.\n"
    parts += [table, *([Text(inset, style="italic")] if comparison.rows else [])]
    parts += [Text.assemble(("Why they differ. ", "bold"), comparison.why, "\n")] if comparison.why else []
    parts.append(Text.assemble(("Which to trust. ", "bold"), comparison.advice.text, "\n"))
    reasons: dict[str, list[str]] = {}
    for name, reason in comparison.refused.items():
        reasons.setdefault(reason, []).append(name)
    parts += [Text(f"Left out, {'; '.join(names)}: {reason}", style="italic") for reason, names in reasons.items()]
    return Group(*parts)


def _cells(beside: Beside | None, system: str) -> list[str]:
    if beside is None:
        return ["-", "-", ""]
    ratio = "-" if math.isnan(beside.ratio) else f"{beside.ratio:.3f}"
    return [display(beside.peak.value, "MPa", system), ratio, _places(beside.off, system)]


def _places(off: Sequence[Stretch], system: str) -> str:
    """Return stretches in words; those of like bondlines once."""
    factor = shown_unit("mm", system)[0]
    found = sorted({(round(s.start * factor, 9), round(s.end * factor, 9)) for s in off})
    if not found:
        return "nowhere"
    if len(found) > FEW:
        return f"{len(found)} stretches, {found[0][0]:.3g} to {max(end for _, end in found):.3g}"
    return ", ".join(f"{start:.3g} to {end:.3g}" for start, end in found)


# ---- files -----------------------------------------------------------------


def comparison_json(comparison: Comparison) -> dict[str, Any]:
    """Return the comparison ready for JSON (N, mm, MPa); a ratio is finite elements over theory, null where there is none."""
    result, joint = comparison.result, comparison.result.joint
    return {
        "schema_version": SCHEMA_VERSION,
        "title": joint.title,
        "passed": result.passed,
        "finite_elements": {
            name: {"peak_MPa": peak.value, "x_mm": peak.x, "bondline": number}
            for name, (peak, number) in (("shear", result.peak_shear), ("peel", result.peak_peel))
        },
        "off_beyond": FAR,
        "theories": {
            row.name: {"measure": row.measure, **{name: _beside(getattr(row, name)) for name in STRESSES}}
            for row in comparison.rows
        },
        "refused": comparison.refused,
        "validity": {
            key: value if isinstance(value, bool) else known(value) for key, value in asdict(comparison.validity).items()
        },
        "why": comparison.why,
        "trust": {
            "shear": comparison.advice.shear or None,
            "peel": comparison.advice.peel or None,
            "doubts": list(comparison.advice.doubts),
            "text": comparison.advice.text,
        },
        "warnings": result.warnings,
        "versions": versions(),
        "joint": joint_as_understood(joint),
    }


def write_comparison(comparison: Comparison, folder: str | Path, figure: Figure | None = None) -> list[Path]:
    """Write ``comparison.json`` and, with a figure, ``comparison.png``: all or none.

    Raises
    ------
    SetupError
        The folder cannot be written or the disk is full; nothing new is left behind.
    """
    text = json.dumps(comparison_json(comparison), indent=2, allow_nan=False, ensure_ascii=False) + "\n"
    writers: dict[str, Any] = {"comparison.json": lambda path: path.write_text(text, encoding="utf-8", newline="\n")}
    if figure is not None:
        writers["comparison.png"] = lambda path: figure.savefig(path, format="png")
    return write_files(folder, writers)


def _beside(beside: Beside | None) -> dict[str, Any] | None:
    if beside is None:
        return None
    return {
        "peak_MPa": known(beside.peak.value),
        "x_mm": known(beside.peak.x),
        "fe_over_theory": known(beside.ratio),
        "off_mm": [{"bondline": s.bondline, "from": s.start, "to": s.end} for s in beside.off],
    }


# ---- figure ----------------------------------------------------------------


def comparison_figure(comparison: Comparison, system: str = "mm") -> Figure:
    """Return shear and peel of finite elements and the main theories, whole and at the peak's end, and all ratios as bars.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        joint = comparison.result.joint
        looks = theory_looks(joint.geometry, ())
        bars = max(3, max(sum(getattr(row, name) is not None for row in comparison.rows) for name in STRESSES))
        figure = Figure(figsize=(15, 5.2 + 0.42 * bars), layout="constrained")
        what = "theories beside finite elements" if comparison.rows else "finite elements alone"
        figure.suptitle(heading(joint, what), x=0.01, ha="left")
        # Without theories there are no ratios, and the curves take the whole width.
        widths = [1.35, 1.0, 0.95] if comparison.rows else [1.35, 1.0]
        grid = figure.subplots(2, len(widths), gridspec_kw={"width_ratios": widths})
        for name, (whole, end, *ratios) in zip(STRESSES, grid, strict=True):
            _draw_curves(whole, comparison, looks, name, system)
            _draw_curves(end, comparison, looks, name, system)
            _zoom(end, comparison, name, system)
            for axes in ratios:
                _draw_ratios(axes, comparison, looks, name)
        for axes in grid[1, :2]:
            axes.set_xlabel(f"x along the overlap, {shown_unit('mm', system)[1]}")
        handles, labels = grid[0, 0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=min(len(labels), 3))
        return figure


def _draw_curves(axes: Axes, comparison: Comparison, looks: dict[str, dict[str, Any]], name: str, system: str) -> None:
    """Draw one stress of finite elements and of the theories that give it."""
    result = comparison.result
    length, mpa = shown_unit("mm", system)[0], shown_unit("MPa", system)
    for bondlines, which, look in _solved_lines(comparison):
        x, values = _line(bondlines, name)
        axes.plot(x * length, values * mpa[0], label=f"finite elements, mid-line{which}", zorder=3, **look)
    for row in comparison.rows:
        if row.name in looks:
            given = getattr(row, name) is not None
            x, values = _line(row.bondlines[-1:] if result.joint.half else row.bondlines, name)
            values = values if given else np.full_like(values, np.nan)  # its name stands in the legend all the same
            axes.plot(x * length, values * mpa[0], label=row.name, zorder=4, **looks[row.name])
    axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
    axes.set_ylabel(f"{name} stress, {mpa[1]}")


def _solved_lines(comparison: Comparison) -> list[tuple[list[Bondline], str, dict[str, Any]]]:
    """Return what finite elements draw: the bondlines of each line, what its label adds, its look."""
    result = comparison.result
    if result.joint.half:
        return [(result.bondlines[-1:], "", ELEMENTS)]
    if isinstance(result.joint.geometry, DoubleLap):  # one bondline over the other, at the same x
        places = (", lower bondline", ", upper bondline")
        return [([b], place, look) for b, place, look in zip(result.bondlines, places, (ELEMENTS, BESIDE), strict=True)]
    return [(result.bondlines, "", ELEMENTS)]


def _line(bondlines: Sequence[Bondline], name: str) -> tuple[Floats, Floats]:
    """Return bondlines as one line, points between points, with a gap where one follows another."""
    xs, values = [], []
    for bondline in bondlines:
        curve = bondline.middle
        x = np.unique(np.concatenate([np.linspace(curve.x[:-1], curve.x[1:], 4).ravel(), curve.x]))
        xs += [x, x[-1:]]
        values += [curve.at(x, name), np.array([np.nan])]
    return np.concatenate(xs[:-1]), np.concatenate(values[:-1])


def _zoom(axes: Axes, comparison: Comparison, name: str, system: str) -> None:
    """Look at the end where the peak of finite elements is, with the strip marked that is not counted."""
    result, factor = comparison.result, shown_unit("mm", system)[0]
    g = result.joint.geometry
    ta, peak = g.bondline_thickness, getattr(result, f"peak_{name}")[0]
    reach = min(g.length / 2, max(8 * ta, 0.12 * g.length))
    left = peak.x <= g.length / 2
    low, high = (-0.04 * reach, reach) if left else (g.length - reach, g.length + 0.04 * reach)
    strip = (0.0, ta) if left else (g.length - ta, g.length)
    axes.axvspan(strip[0] * factor, strip[1] * factor, color=BAND, zorder=0, gid="strip")
    axes.set_xlim(low * factor, high * factor)
    shown = []
    for line in axes.lines:
        x, y = np.asarray(line.get_xdata(), dtype=float), np.asarray(line.get_ydata(), dtype=float)
        if len(x) > 2:
            shown.append(y[(x >= low * factor) & (x <= high * factor) & np.isfinite(y)])
    values = np.concatenate(shown)
    room = 0.07 * (values.max() - values.min() or 1.0)
    axes.set_ylim(values.min() - room, values.max() + room)
    axes.set_ylabel("")
    axes.set_title(f"{'left' if left else 'right'} end (grey: one bondline thickness)", fontsize="medium", color=FAINT)


def _draw_ratios(axes: Axes, comparison: Comparison, looks: dict[str, dict[str, Any]], name: str) -> None:
    """Draw the ratios of peaks as bars from 1, with their values."""
    rows = [row for row in comparison.rows if getattr(row, name) is not None and not math.isnan(getattr(row, name).ratio)]
    if not rows:
        axes.set_axis_off()
        axes.text(0.5, 0.5, f"no theory here gives\nthe {name} of this joint", ha="center", va="center", transform=axes.transAxes)
        return
    axes.set_title(f"peak {name}: finite elements over theory", fontsize="medium", color=FAINT)
    axes.axvspan(1 - FAR, 1 + FAR, color=BAND, zorder=0)
    axes.axvline(1.0, color=INK, linewidth=1.0, zorder=3)
    ratios = [getattr(row, name).ratio for row in rows]
    low, high = min(1 - FAR, *ratios), max(1 + FAR, *ratios)
    axes.set_xlim(low - 0.22 * (high - low), high + 0.22 * (high - low))
    for i, (row, ratio) in enumerate(zip(rows, ratios, strict=True)):
        colour = looks[row.name]["color"] if row.name in looks else REST
        axes.barh(i, ratio - 1, left=1.0, height=0.62, color=colour, edgecolor=INK, linewidth=0.5, zorder=2)
        side = 1 if ratio >= 1 else -1
        axes.annotate(
            f"{ratio:.2f}",
            (ratio, i),
            (4 * side, 0),
            textcoords="offset points",
            ha="left" if side > 0 else "right",
            va="center",
            fontsize="small",
            **plate(),
        )
    labels = [row.name.replace(", ", ",\n", 1) if len(row.name) > 26 else row.name for row in rows]
    axes.set_yticks(range(len(rows)), labels, fontsize="small")
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.grid(visible=False, axis="y")
