"""Curves along the bondline and the mesh of a section, as matplotlib figures.

Every function returns a `matplotlib.figure.Figure` that belongs to nobody: no
window, no global state, the same on a machine without a display. Stresses are
those that the result holds; nothing is computed here but where ink goes.
Lines differ by dash and lightness, so that a grey print still tells them apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Bondline, Curve, Peak
from fejoint.errors import JointError, SetupError
from fejoint.joint.description import Joint
from fejoint.show.colours import FAINT, INK, OUTLINE, REGION_COLOURS
from fejoint.show.pen import draw_force, draw_regions, drawing_style, heading, plate
from fejoint.show.shape import end_window, outlines, round_factor
from fejoint.units import DISPLAY_SYSTEMS, as_number, display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fejoint.mechanics.driver import Result

__all__ = ["bondline_figure", "mesh_figure", "save_figure"]

Floats = NDArray[np.float64]

FORMATS = (".png", ".svg", ".pdf")
# Finite elements, then theories in the order given: dash and lightness both change.
ELEMENTS: dict[str, Any] = {"color": "#0b2f52", "linestyle": "-", "linewidth": 2.3}
INTERFACE: dict[str, Any] = {"color": ELEMENTS["color"], "linewidth": 0.9, "markevery": 0.12, "markersize": 5}
MARKERS = {"lower": 6, "upper": 7}  # of the interfaces: matplotlib's carets upwards and downwards
THEORIES: list[dict[str, Any]] = [
    {"color": "#b8500f", "linestyle": (0, (6, 2))},
    {"color": "#4f9a94", "linestyle": (0, (6, 2, 1.2, 2))},
    {"color": "#8c6bb1", "linestyle": (0, (1.2, 1.6))},
    {"color": "#8a9199", "linestyle": (0, (10, 2, 1.2, 2, 1.2, 2))},
]
MIDLINE_NOTE = "mid-line of the layer, clear of the corners, where the stress is singular"


# ---- curves --------------------------------------------------------------


def bondline_figure(
    result: Result, theories: Mapping[str, Bondline] | None = None, units: str = "mm", interfaces: bool = False
) -> Figure:
    """Return shear and peel along the bondline, under the section of the overlap on the same x axis.

    The mean shear and the peaks are marked with value and place.

    Parameters
    ----------
    result : Result
        A solved joint; all its bondlines are drawn.
    theories : mapping of name to Bondline, optional
        Closed forms to draw over it. A stress that a theory does not give (NaN) is left out.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.
    interfaces : bool
        Whether to draw the two interfaces too, from where they are clear of the corners.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(layout="constrained")
        top, shear, peel = figure.subplots(3, 1, sharex=True, gridspec_kw={"height_ratios": [1.25, 3.0, 3.0]})
        mm, length_unit = _unit("mm", units)
        figure.suptitle(heading(result.joint, "stresses along the bondline"), x=0.01, ha="left")
        _overlap_strip(top, result.joint, mm, units)
        for axes, name in ((shear, "shear"), (peel, "peel")):
            _draw_curves(axes, name, result, theories or {}, units, interfaces)
            _mark_values(axes, name, result, units)
            for end in (0.0, result.joint.geometry.overlap_length):
                axes.axvline(end * mm, color=FAINT, linewidth=0.8, linestyle=(0, (2, 3)), zorder=0)
        shear.set_title(MIDLINE_NOTE, color=FAINT, fontsize="medium")
        peel.set_xlabel(f"x along the overlap, {length_unit}")
        handles, labels = shear.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=2 if len(labels) > 3 else max(len(labels), 1))
        return _settled(figure)


def _draw_curves(axes: Axes, name: str, result: Result, theories: Mapping[str, Bondline], units: str, interfaces: bool) -> None:
    """Draw one stress along all bondlines, and what theories say of it."""
    mm, _ = _unit("mm", units)
    mpa, unit = _unit("MPa", units)
    axes.set_ylabel(f"{name} stress, {unit}")
    axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
    count = len(result.bondlines)
    for i, bondline in enumerate(result.bondlines):
        label = "finite elements" + (f", bondline {bondline.number}" if count > 1 else "")
        x, values = _dense(bondline.middle, name)
        axes.plot(x * mm, values * mpa, label=label, zorder=3, alpha=1.0 - 0.5 * i / count, **ELEMENTS)
        for level, curve in bondline.levels().items() if interfaces else ():
            if level in MARKERS:
                x, values = _dense(curve, name)
                axes.plot(x * mm, values * mpa, label=f"{label}, {level} interface", marker=MARKERS[level], **INTERFACE)
    for i, (theory, bondline) in enumerate(theories.items()):
        values = getattr(bondline, name)
        if not np.isnan(values).all():
            axes.plot(bondline.x * mm, values * mpa, label=theory, **THEORIES[i % len(THEORIES)])
    axes.margins(y=0.16)


def _dense(curve: Curve, name: str) -> tuple[Floats, Floats]:
    """Return places and stresses between the points too, so that the quadratic pieces are drawn as curves."""
    x = np.unique(np.concatenate([np.linspace(curve.x[:-1], curve.x[1:], 5).ravel(), curve.x]))
    return x, curve.at(x, name)


def _mark_values(axes: Axes, name: str, result: Result, units: str) -> None:
    """Mark the mean and the extremes of a stress."""
    if name == "shear":
        _mark_mean(axes, result, units)
        _mark_peak(axes, result.peak_shear[0], "peak", result, units)
    else:
        _mark_peak(axes, result.peak_peel[0], "peak", result, units)
        _mark_peak(axes, result.least_peel[0], "least", result, units)


def _mark_mean(axes: Axes, result: Result, units: str) -> None:
    mm, mpa = _unit("mm", units)[0], _unit("MPa", units)[0]
    length, mean = result.joint.geometry.overlap_length * mm, result.joint.mean_shear
    axes.plot([0.0, length], [mean * mpa] * 2, color=INK, linewidth=1.0, linestyle=(0, (4, 3)), gid="mean shear")
    # Beyond the overlap's end, where no curve runs.
    axes.text(1.015 * length, mean * mpa, f"mean\n{display(mean, 'MPa', units, 3)}", va="center", **plate())


def _mark_peak(axes: Axes, peak: Peak, word: str, result: Result, units: str) -> None:
    """Mark an extreme with its value and place, the text towards the overlap's middle."""
    mm, mpa = _unit("mm", units)[0], _unit("MPa", units)[0]
    place, value = peak.x * mm, peak.value * mpa
    left = peak.x <= result.joint.geometry.overlap_length / 2
    low, high = axes.get_ylim()
    up = value > (low + high) / 2
    axes.plot([place], [value], marker="o", color=ELEMENTS["color"], markerfacecolor="white", zorder=5, gid=f"{word} mark")
    axes.annotate(
        f"{word} {display(peak.value, 'MPa', units, 3)} at x = {display(peak.x, 'mm', units, 3)}",
        (place, value),
        xytext=(34 if left else -34, 8 if up else -8),
        textcoords="offset points",
        ha="left" if left else "right",
        va="center",
        arrowprops={"arrowstyle": "-", "color": FAINT, "linewidth": 0.9, "shrinkB": 4},
        zorder=6,
        **plate(),
    )


def _overlap_strip(axes: Axes, joint: Joint, mm: float, units: str) -> None:
    """Draw the overlap on the curves' x axis, the layer thick enough to be seen."""
    g = joint.geometry
    beyond = 0.14 * g.overlap_length
    total = g.lower.thickness + g.upper.thickness
    half_layer = max(g.bondline_thickness, 0.27 * total) / 2
    h = g.bondline_thickness / 2

    def drawn(xy: Floats) -> Floats:
        # The layer is drawn at its own scale across the thickness, the adherends keep theirs.
        y = xy[:, 1]
        across = np.where(np.abs(y) <= h, y / h * half_layer, y + np.sign(y) * (half_layer - h))
        return np.column_stack([xy[:, 0] * mm, across])

    draw_regions(axes, {name: [drawn(corners) for corners in parts] for name, parts in outlines(g).items()})
    bottom, top = -half_layer - g.lower.thickness, half_layer + g.upper.thickness
    axes.set_xlim(-beyond * mm, (g.overlap_length + beyond) * mm)
    axes.set_ylim(bottom - 0.04 * total, top + 0.04 * total)
    axes.set_axis_off()
    _strip_words(axes, joint, beyond * mm, g.overlap_length * mm, (bottom - half_layer) / 2, (top + half_layer) / 2, units)


def _strip_words(axes: Axes, joint: Joint, beyond: float, length: float, lower: float, upper: float, units: str) -> None:
    """Name force and regions; all places as drawn, `lower` and `upper` the adherends' middles."""
    force = joint.load.force
    look: dict[str, Any] = {"color": INK, "ha": "center", "va": "center", "fontsize": "medium"}
    if force != 0:
        draw_force(axes, -0.25 * beyond, -0.85 * beyond, lower, force, 1.8)
        draw_force(axes, length + 0.25 * beyond, length + 0.85 * beyond, upper, force, 1.8)
        axes.text(-0.5 * beyond, upper, f"force\n{display(force, 'N', units)}", **look)
    axes.text(length + 0.5 * beyond, lower, "thickness\nnot to scale", **{**look, "color": FAINT})
    for name, y in (("upper", upper), ("adhesive", 0.0), ("lower", lower)):
        axes.text(0.5 * length, y, name, **look)


def _unit(inside: str, system: str) -> tuple[float, str]:
    """Return the factor from an inside unit to the one shown, and the shown one's name."""
    shown = DISPLAY_SYSTEMS[system].get(inside, inside)
    return 1.0 / as_number(f"1 {shown}", inside), shown.replace("inch", "in")


# ---- mesh ----------------------------------------------------------------


def mesh_figure(result: Result, end: str = "left", units: str = "mm") -> Figure:
    """Return the mesh of the section: whole, and at one end of the overlap.

    Parameters
    ----------
    result : Result
    end : str
        ``"left"`` or ``"right"``: which overlap end is magnified.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    JointError
        Another `end`.
    """
    if end not in ("left", "right"):
        raise JointError(f'end = "{end}": must be one of left, right.')
    with drawing_style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(10, 7.6), layout="constrained")
        whole, near = figure.subplots(2, 1, gridspec_kw={"height_ratios": [1.0, 2.3]})
        mm, unit = _unit("mm", units)
        cells = result.section.mesh.t.shape[1]
        title = heading(result.joint, f"mesh, {cells} nine-node cells, {result.unknowns} unknowns")
        figure.suptitle(title, x=0.01, ha="left")
        _whole_mesh(whole, result, mm)
        _mesh_at_end(near, result, end, mm)
        for axes in (whole, near):
            axes.grid(visible=False)
            axes.set_xlabel(f"x, {unit}")
            axes.set_ylabel(f"y, {unit}")
        return _settled(figure)


def _whole_mesh(axes: Axes, result: Result, mm: float) -> None:
    points = result.section.mesh.p
    low, high = points.min(axis=1) * mm, points.max(axis=1) * mm
    stretch = round_factor(0.16 * (high[0] - low[0]) / (high[1] - low[1]))
    margin = 0.01 * (high[0] - low[0])
    _draw_mesh(axes, result, mm, 0.25)
    axes.set_xlim(low[0] - margin, high[0] + margin)
    axes.set_ylim(low[1] - margin / stretch, high[1] + margin / stretch)
    axes.set_aspect(stretch)
    axes.set_title("whole section" + (f", thickness drawn {stretch:g} times as large" if stretch > 1 else ""), color=FAINT)


def _mesh_at_end(axes: Axes, result: Result, end: str, mm: float) -> None:
    g = result.joint.geometry
    (x0, x1), (y0, y1) = end_window(g, 0.0 if end == "left" else g.overlap_length, 0.42)
    _draw_mesh(axes, result, mm, 0.7)
    axes.set_xlim(x0 * mm, x1 * mm)
    axes.set_ylim(y0 * mm, y1 * mm)
    axes.set_aspect(1.0)
    axes.set_title(f"{end} end of the overlap, to scale", color=FAINT)
    axes.legend(loc="upper left" if end == "left" else "lower right")


def _draw_mesh(axes: Axes, result: Result, mm: float, line: float) -> None:
    from matplotlib.collections import PolyCollection

    mesh = result.section.mesh
    corners_cvx = mesh.p[:, mesh.t].transpose(2, 1, 0) * mm
    for region, cells in mesh.subdomains.items():
        look: dict[str, Any] = {"facecolor": REGION_COLOURS.get(region, "#e8e8e8"), "edgecolor": OUTLINE, "linewidth": line}
        # Thousands of cells as a picture, also in svg and pdf: as outlines they would take megabytes.
        axes.add_collection(PolyCollection(corners_cvx[cells], label=region, rasterized=True, **look), autolim=False)


# ---- files ---------------------------------------------------------------


def save_figure(figure: Figure, path: str | Path) -> Path:
    """Write a figure as png, svg or pdf, by the name's ending: whole or not at all.

    Raises
    ------
    SetupError
        Another ending, or the folder cannot be written.
    """
    from fejoint.show.files import write_files

    path = Path(path)
    kind = path.suffix.lower()
    if kind not in FORMATS:
        raise SetupError(f"{path}: a figure is written as {', '.join(FORMATS)}; give the file one of these endings.")
    # Without dates in it, the same figure makes the same file.
    metadata: dict[str, Any] = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(kind, {})
    with drawing_style():
        write_files(path.parent, {path.name: lambda p: figure.savefig(p, format=kind[1:], metadata=metadata)})
    return path


def _settled(figure: Figure) -> Figure:
    """Return a figure laid out for good, its axes at rounded places: the last digits of the layout vary from run to run."""
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    for axes in figure.axes:
        x, y, width, height = (round(float(v), 6) for v in axes.get_position(original=True).bounds)
        axes.set_position((x, y, width, height))
    return figure
