"""Curves and drawings of a joint, as matplotlib figures.

Every function returns a `matplotlib.figure.Figure` that belongs to nobody: no
window, no global state, the same on a machine without a display. Stresses are
those that the result holds; nothing is computed here but where ink goes.
Lines differ by dash and lightness, so that a grey print still tells them apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Bondline, Curve, Peak
from fejoint.environment import require_extra
from fejoint.errors import EnvironmentFault, JointError
from fejoint.joint.families import Joint, SingleLap
from fejoint.units import DISPLAY_SYSTEMS, as_number, display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

    from fejoint.mechanics.driver import Result

__all__ = ["bondline_figure", "mesh_figure", "save_figure", "section_figure"]

Floats = NDArray[np.float64]

FORMATS = (".png", ".svg", ".pdf")
REGION_COLOURS = {"lower": "#dfe4e8", "upper": "#c9d1d8", "adhesive": "#d98a32"}
OUTLINE = "#30383f"
INK = "#1d2429"
FAINT = "#7c868e"
# Finite elements first, then theories in the order given: dash and lightness both change.
CURVES: list[dict[str, Any]] = [
    {"color": "#0b2f52", "linestyle": "-", "linewidth": 2.3},
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
    EnvironmentFault
        matplotlib is not installed.
    """
    with _style():
        from matplotlib.figure import Figure

        figure = Figure(layout="constrained")
        top, shear, peel = figure.subplots(3, 1, sharex=True, gridspec_kw={"height_ratios": [1.25, 3.0, 3.0]})
        geometry = result.joint.geometry
        mm, length_unit = _unit("mm", units)
        figure.suptitle(_title(result.joint, "stresses along the bondline"), x=0.01, ha="left")
        _overlap_strip(top, result.joint, mm, units)
        for axes, name in ((shear, "shear"), (peel, "peel")):
            _stress_panel(axes, name, result, theories or {}, units, interfaces)
            for end in (0.0, geometry.overlap_length):
                axes.axvline(end * mm, color=FAINT, linewidth=0.8, linestyle=(0, (2, 3)), zorder=0)
        shear.set_title(MIDLINE_NOTE, color=FAINT, fontsize="medium")
        peel.set_xlabel(f"x along the overlap, {length_unit}")
        handles, labels = shear.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=2 if len(labels) > 3 else max(len(labels), 1))
        return _settled(figure)


def _stress_panel(
    axes: Axes, name: str, result: Result, theories: Mapping[str, Bondline], units: str, interfaces: bool
) -> None:
    """Draw one stress along all bondlines, its theories, and what is marked."""
    mm, _ = _unit("mm", units)
    mpa, unit = _unit("MPa", units)
    axes.set_ylabel(f"{name} stress, {unit}")
    axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
    several = len(result.bondlines) > 1
    for i, bondline in enumerate(result.bondlines):
        label = f"finite elements, bondline {bondline.number}" if several else "finite elements"
        look = {**CURVES[0], "alpha": 1.0 - 0.5 * i / len(result.bondlines)}
        x, values = _dense(bondline.middle, name)
        axes.plot(x * mm, values * mpa, label=label, zorder=3, **look)
        for level, marker in (("lower", 6), ("upper", 7)) if interfaces else ():
            curve = bondline.levels().get(level)
            if curve is not None:
                look = {"color": CURVES[0]["color"], "linewidth": 0.9, "marker": marker, "markevery": 0.12, "markersize": 5}
                x, values = _dense(curve, name)
                axes.plot(x * mm, values * mpa, label=f"{label}, {level} interface", **look)
    for i, (theory, bondline) in enumerate(theories.items()):
        values = getattr(bondline, name)
        if not np.isnan(values).all():
            axes.plot(bondline.x * mm, values * mpa, label=theory, **CURVES[1 + i % (len(CURVES) - 1)])
    axes.margins(y=0.16)
    if name == "shear":
        _mark_mean(axes, result, mm, mpa, units)
        _mark_peak(axes, result.peak_shear[0], "peak", result, units)
    else:
        _mark_peak(axes, result.peak_peel[0], "peak", result, units)
        _mark_peak(axes, result.least_peel[0], "least", result, units)


def _dense(curve: Curve, name: str) -> tuple[Floats, Floats]:
    """Return places and stresses between the points too, so that the quadratic pieces are drawn as curves."""
    x = np.unique(np.concatenate([np.linspace(curve.x[:-1], curve.x[1:], 5).ravel(), curve.x]))
    return x, curve.at(x, name)


def _mark_mean(axes: Axes, result: Result, mm: float, mpa: float, units: str) -> None:
    length, mean = result.joint.geometry.overlap_length * mm, result.joint.mean_shear
    axes.plot([0.0, length], [mean * mpa] * 2, color=INK, linewidth=1.0, linestyle=(0, (4, 3)), gid="mean shear")
    # Beyond the overlap's end, where no curve runs.
    axes.text(1.015 * length, mean * mpa, f"mean\n{display(mean, 'MPa', units, 3)}", va="center", **_plate())


def _mark_peak(axes: Axes, peak: Peak, word: str, result: Result, units: str) -> None:
    """Mark an extreme with its value and place, the text towards the overlap's middle."""
    mm, mpa = _unit("mm", units)[0], _unit("MPa", units)[0]
    place, value = peak.x * mm, peak.value * mpa
    left = peak.x <= result.joint.geometry.overlap_length / 2
    low, high = axes.get_ylim()
    up = value > (low + high) / 2
    axes.plot([place], [value], marker="o", color=CURVES[0]["color"], markerfacecolor="white", zorder=5, gid=f"{word} mark")
    axes.annotate(
        f"{word} {display(peak.value, 'MPa', units, 3)} at x = {display(peak.x, 'mm', units, 3)}",
        (place, value),
        xytext=(34 if left else -34, 8 if up else -8),
        textcoords="offset points",
        ha="left" if left else "right",
        va="center",
        arrowprops={"arrowstyle": "-", "color": FAINT, "linewidth": 0.9, "shrinkB": 4},
        zorder=6,
        **_plate(),
    )


def _overlap_strip(axes: Axes, joint: Joint, mm: float, units: str) -> None:
    """Draw the overlap on the curves' x axis, the layer thick enough to be seen."""
    g = joint.geometry
    length, beyond = g.overlap_length, 0.14 * g.overlap_length
    total = g.lower.thickness + g.upper.thickness
    half_layer = max(g.bondline_thickness, 0.27 * total) / 2
    h = g.bondline_thickness / 2

    def drawn(xy: Floats) -> Floats:
        # The layer is drawn at its own scale across the thickness, the adherends keep theirs.
        y = xy[:, 1]
        across = np.where(np.abs(y) <= h, y / h * half_layer, y + np.sign(y) * (half_layer - h))
        return np.column_stack([xy[:, 0] * mm, across])

    _fill_regions(axes, {name: [drawn(p) for p in parts] for name, parts in _outlines(g).items()})
    bottom, top = -half_layer - g.lower.thickness, half_layer + g.upper.thickness
    axes.set_xlim(-beyond * mm, (length + beyond) * mm)
    axes.set_ylim(bottom - 0.04 * total, top + 0.04 * total)
    axes.set_axis_off()
    _force_arrows(axes, joint, beyond * mm, length * mm, (bottom - half_layer) / 2, (top + half_layer) / 2)
    free: dict[str, Any] = {"color": INK, "ha": "center", "va": "center", "fontsize": "medium"}
    if joint.load.force != 0:
        axes.text(-0.5 * beyond * mm, (half_layer + top) / 2, f"force\n{display(joint.load.force, 'N', units)}", **free)
    axes.text((length + 0.5 * beyond) * mm, (bottom - half_layer) / 2, "thickness\nnot to scale", **{**free, "color": FAINT})
    for name, y in (("upper", (half_layer + top) / 2), ("adhesive", 0.0), ("lower", (bottom - half_layer) / 2)):
        axes.text(0.5 * length * mm, y, name, **free)


def _force_arrows(axes: Axes, joint: Joint, beyond: float, length: float, y_left: float, y_right: float) -> None:
    if joint.load.force == 0:
        return
    for near, far, y in ((-0.25 * beyond, -0.85 * beyond, y_left), (length + 0.25 * beyond, length + 0.85 * beyond, y_right)):
        tail, tip = (near, far) if joint.load.force > 0 else (far, near)
        axes.annotate("", (tip, y), (tail, y), arrowprops=_arrow(1.8))


# ---- drawings ------------------------------------------------------------


def section_figure(joint: Joint, units: str = "mm") -> Figure:
    """Return the joint drawn to scale, its dimensions named by their keys in the joint file, and an overlap end magnified.

    Parameters
    ----------
    joint : Joint
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    EnvironmentFault
        matplotlib is not installed.
    """
    with _style():
        from matplotlib.figure import Figure

        g = joint.geometry
        span = g.lower.free_length + g.overlap_length + g.upper.free_length
        total = g.lower.thickness + g.bondline_thickness + g.upper.thickness
        stretch = _round_factor(0.03 * span / total)
        # The whole is drawn 10 inches wide with a tenth of its length round it; the height follows.
        room = min(10.0 / 1.2 * (0.19 + stretch * total / span), 4.5)
        height = room + 4.3
        figure = Figure(figsize=(10, height))
        figure.suptitle(_title(joint, "section"), x=0.02, y=1 - 0.15 / height, va="top", ha="left")
        whole = figure.add_axes((0.0, 3.55 / height, 1.0, room / height))
        detail = figure.add_axes((0.02, 0.15 / height, 0.56, 3.0 / height), anchor="W")
        table = figure.add_axes((0.62, 0.15 / height, 0.37, 3.0 / height))
        _draw_whole(whole, joint, stretch, units)
        _draw_detail(detail, joint, units)
        scale = f"lengths to scale; thickness drawn {stretch:g} times as large" if stretch > 1 else "to scale"
        whole.set_title(scale, color=FAINT, x=0.02)
        magnified = _drawn_scale(figure, detail) / _drawn_scale(figure, whole)
        detail.set_title(f"left overlap end, {magnified:.0f} times the length scale above", color=FAINT)
        _draw_facts(table, joint, units)
        return figure


def _draw_whole(axes: Axes, joint: Joint, stretch: float, units: str) -> None:
    """Draw the whole section with its dimensions, the thickness `stretch` times."""
    g = joint.geometry
    h, length = g.bondline_thickness / 2, g.overlap_length
    left, right = -g.lower.free_length, length + g.upper.free_length
    bottom, top, span = -h - g.lower.thickness, h + g.upper.thickness, right - left
    step = span / stretch  # a length across the thickness as large on paper as the joint is long
    _fill_regions(axes, _outlines(g))
    _draw_ends(axes, joint, left, right, span, step)

    below, above, gap = bottom - 0.062 * step, top + 0.055 * step, 0.0355 * step
    for name, start, end, feet in (("lower", left, 0.0, bottom), ("upper", length, right, (bottom, h))):
        text = f"{name}.free_length = {display(getattr(g, name).free_length, 'mm', units)}"
        aside = None if end - start > 0.32 * span else -0.02 * step
        _dimension(axes, (start, below), (end, below), text, feet, aside, (left + 0.04 * span, right - 0.04 * span))
    text = f"overlap_length = {display(length, 'mm', units)}"
    _dimension(axes, (0.0, above), (length, above), text, top, None if length > 0.32 * span else 0.02 * step)
    text = f"lower.thickness = {display(g.lower.thickness, 'mm', units)}"
    x = left + min(0.05 * span, -0.5 * left)
    words = [_gap(axes, x, bottom, -h, text, (gap, gap), 0.006 * span, below=True)]
    text = f"upper.thickness = {display(g.upper.thickness, 'mm', units)}"
    x = right - min(0.075 * span, 0.65 * right)
    words += [_gap(axes, x, h, top, text, (gap, gap), -0.006 * span)]
    for word in words:  # extension lines may pass behind
        word.set_bbox(_plate(1.0)["bbox"])

    axes.set_xlim(left - 0.1 * span, right + 0.1 * span)
    axes.set_ylim(bottom - 0.1 * step, top + 0.09 * step)
    axes.set_aspect(stretch)
    axes.set_axis_off()


def _draw_ends(axes: Axes, joint: Joint, left: float, right: float, span: float, step: float) -> None:
    """Draw how the ends are held, and the force."""
    from matplotlib.patches import Ellipse, Rectangle

    g, h = joint.geometry, joint.geometry.bondline_thickness / 2
    lower, upper = (-h - g.lower.thickness, -h), (h, h + g.upper.thickness)
    hatch: dict[str, Any] = {"facecolor": "white", "edgecolor": OUTLINE, "hatch": "/////", "linewidth": 0.0}
    wall, pad = 0.012 * span, 0.018 * step
    axes.add_patch(Rectangle((left - wall, lower[0] - pad), wall, lower[1] - lower[0] + 2 * pad, **hatch))
    axes.plot([left, left], [lower[0] - pad, lower[1] + pad], color=OUTLINE, linewidth=1.4)
    if joint.load.ends == "clamped":
        guide = min(0.04 * span, 0.4 * right)
        for y, height in ((upper[0], -pad), (upper[1], pad)):
            axes.add_patch(Rectangle((right - guide, y), guide, height, **hatch))
            axes.plot([right - guide, right], [y, y], color=OUTLINE, linewidth=1.4)
    else:
        for x, face in ((left, lower), (right, upper)):
            pin = Ellipse((x, sum(face) / 2), 0.012 * span, 0.012 * step, facecolor="white", edgecolor=OUTLINE, zorder=4)
            axes.add_patch(pin)
    axes.text(left - 0.02 * span, sum(lower) / 2, f"{joint.load.ends}\nend", ha="right", va="center", fontsize="small")
    if joint.load.force != 0:
        y = sum(upper) / 2
        near, far = right + 0.012 * span, right + 0.075 * span
        tail, tip = (near, far) if joint.load.force > 0 else (far, near)
        axes.annotate("", (tip, y), (tail, y), arrowprops=_arrow(2.2))
        axes.text(right + 0.09 * span, y + 0.02 * step, "force", ha="right", va="bottom")


def _draw_detail(axes: Axes, joint: Joint, units: str) -> None:
    """Draw the left end of the overlap, all of it to one scale."""
    g = joint.geometry
    ta, h = g.bondline_thickness, g.bondline_thickness / 2
    (x0, x1), (y0, y1) = _end_window(g, 0.0, 0.62)
    _fill_regions(axes, _outlines(g))
    axes.set_xlim(x0, x1)
    axes.set_ylim(y0, y1)
    axes.set_aspect(1.0)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines[:].set_visible(True)
    axes.spines[:].set_color(FAINT)
    size = x1 - x0
    text = f"bondline_thickness = {display(ta, 'mm', units)}"
    lengths = tuple(max(min(0.09 * size, 0.75 * part.thickness), 0.05 * size) for part in (g.lower, g.upper))
    _gap(axes, 0.4 * x1, -h, h, text, lengths, -0.015 * size, below=True)
    axes.annotate("x = 0", (0.0, h), (0.1 * x1, h + 0.1 * size), arrowprops=_leader())
    f = g.fillet_height
    if f > 0:
        _dimension(axes, (-0.035 * size, h), (-0.035 * size, h + f), "", 0.0)
        axes.text(-0.05 * size, h + f, f"spew_height = {display(f, 'mm', units)}", ha="right", va="bottom")
    axes.text(0.97 * x0, max(0.94 * y0, -h - 0.9 * g.lower.thickness), "lower", va="bottom")
    axes.text(0.97 * x1, min(0.94 * y1, h + 0.9 * g.upper.thickness), "upper", ha="right", va="top")
    if ta > 0.045 * size:
        axes.text(0.97 * x1, 0.0, "adhesive", ha="right", va="center")
    else:  # too thin to be written on
        axes.annotate("adhesive", (0.85 * x1, 0.0), (0.8 * x1, -h - 0.1 * size), ha="center", va="top", arrowprops=_leader())


def _draw_facts(axes: Axes, joint: Joint, units: str) -> None:
    """List what a section cannot show."""
    g, load = joint.geometry, joint.load
    facts = [
        ("width", display(g.width, "mm", units)),
        ("spew", g.spew),
        ("force", display(load.force, "N", units) + (" (compression)" if load.force < 0 else "")),
        ("ends", load.ends),
        ("temperature_change", display(load.temperature_change, "K", units)),
        ("lower.material", _material(joint, "lower", units)),
        ("upper.material", _material(joint, "upper", units)),
        ("adhesive", _material(joint, "adhesive", units)),
    ]
    axes.set_axis_off()
    for i, (key, text) in enumerate(facts):
        y = 0.97 - 0.125 * i
        axes.text(0.0, y, key, color=FAINT, va="top", transform=axes.transAxes)
        axes.text(0.5, y, text, va="top", transform=axes.transAxes)


def _material(joint: Joint, region: str, units: str) -> str:
    """Return a material's name, or its modulus along the joint when it has none."""
    material = joint.materials()[region]
    modulus = display(material.engineering_constants()["e_x"], "MPa", units)
    return shorten(material.name, 24, placeholder=" ...") or f"E = {modulus}"


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
    EnvironmentFault
        matplotlib is not installed.
    JointError
        Another `end`.
    """
    if end not in ("left", "right"):
        raise JointError(f'end = "{end}": must be one of left, right.')
    with _style():
        from matplotlib.figure import Figure

        figure = Figure(figsize=(10, 7.6), layout="constrained")
        whole, near = figure.subplots(2, 1, gridspec_kw={"height_ratios": [1.0, 2.3]})
        mesh, g = result.section.mesh, result.joint.geometry
        mm, unit = _unit("mm", units)
        cells = mesh.t.shape[1]
        figure.suptitle(_title(result.joint, f"mesh, {cells} nine-node cells, {result.unknowns} unknowns"), x=0.01, ha="left")
        low, high = mesh.p.min(axis=1) * mm, mesh.p.max(axis=1) * mm
        stretch = _round_factor(0.16 * (high[0] - low[0]) / (high[1] - low[1]))
        (x0, x1), (y0, y1) = _end_window(g, 0.0 if end == "left" else g.overlap_length, 0.42)
        margin = 0.01 * (high[0] - low[0])
        _draw_mesh(whole, result, mm, 0.25)
        whole.set_xlim(low[0] - margin, high[0] + margin)
        whole.set_ylim(low[1] - margin / stretch, high[1] + margin / stretch)
        whole.set_aspect(stretch)
        whole.set_title("whole section" + (f", thickness drawn {stretch:g} times as large" if stretch > 1 else ""), color=FAINT)
        _draw_mesh(near, result, mm, 0.7)
        near.set_xlim(x0 * mm, x1 * mm)
        near.set_ylim(y0 * mm, y1 * mm)
        near.set_aspect(1.0)
        near.set_title(f"{end} end of the overlap, to scale", color=FAINT)
        for axes in (whole, near):
            axes.grid(visible=False)
            axes.set_xlabel(f"x, {unit}")
            axes.set_ylabel(f"y, {unit}")
        near.legend(loc="upper left" if end == "left" else "lower right")
        return _settled(figure)


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
    EnvironmentFault
        Another ending, or the folder cannot be written.
    """
    from fejoint.show.files import write_files

    path = Path(path)
    kind = path.suffix.lower()
    if kind not in FORMATS:
        raise EnvironmentFault(f"{path}: a figure is written as {', '.join(FORMATS)}; give the file one of these endings.")
    # Without dates in it, the same figure makes the same file.
    metadata: dict[str, Any] = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(kind, {})
    with _style():
        write_files(path.parent, {path.name: lambda p: figure.savefig(p, format=kind[1:], metadata=metadata)})
    return path


# ---- parts ---------------------------------------------------------------


@contextmanager
def _style() -> Iterator[None]:
    """Draw in fejoint's style and leave matplotlib's settings as they were."""
    require_extra("matplotlib", "plot", "drawing figures")
    from matplotlib import rc_context

    with resources.as_file(resources.files("fejoint.show") / "fejoint.mplstyle") as file, rc_context(fname=file):
        yield


def _settled(figure: Figure) -> Figure:
    """Return a figure laid out for good, its axes at rounded places: the last digits of the layout vary from run to run."""
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    for axes in figure.axes:
        x, y, width, height = (round(float(v), 6) for v in axes.get_position(original=True).bounds)
        axes.set_position((x, y, width, height))
    return figure


def _unit(inside: str, system: str) -> tuple[float, str]:
    """Return the factor from an inside unit to the one shown, and the shown one's name."""
    shown = DISPLAY_SYSTEMS[system].get(inside, inside)
    return 1.0 / as_number(f"1 {shown}", inside), shown.replace("inch", "in")


def _title(joint: Joint, what: str) -> str:
    return f"{joint.title or joint.geometry.kind}: {what}"


def _outlines(g: SingleLap) -> dict[str, list[Floats]]:
    """Return the outlines of the regions, each a list of closed polygons (corners, 2), mm."""
    h, length, f = g.bondline_thickness / 2, g.overlap_length, g.fillet_height
    layer = [(0.0, -h), (length, -h), (length, h), (0.0, h)]
    if f > 0:
        leg = f + 2 * h
        layer = [(-leg, -h), (length, -h), (length, -h - f), (length + leg, h), (0.0, h), (0.0, h + f)]
    return {
        "lower": [_box(-g.lower.free_length, length, -h - g.lower.thickness, -h)],
        "adhesive": [np.array(layer)],
        "upper": [_box(0.0, length + g.upper.free_length, h, h + g.upper.thickness)],
    }


def _box(x0: float, x1: float, y0: float, y1: float) -> Floats:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def _fill_regions(axes: Axes, outlines: Mapping[str, list[Floats]]) -> None:
    from matplotlib.patches import Polygon

    for name, polygons in outlines.items():
        # A layer that is thin on paper must not vanish between its outlines.
        line, order = (0.3, 1.5) if name == "adhesive" else (0.9, 1.0)
        look: dict[str, Any] = {"edgecolor": OUTLINE, "linewidth": line, "zorder": order, "gid": name}
        for corners in polygons:
            axes.add_patch(Polygon(corners, facecolor=REGION_COLOURS[name], **look))
    axes.grid(visible=False)


def _end_window(g: SingleLap, end: float, height: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return limits of x and y (mm) that show an overlap end with some of both adherends; height over width given."""
    half = max(5.0 * g.bondline_thickness, 2.6 * (g.fillet_height + g.bondline_thickness) if g.fillet_height > 0 else 0.0)
    return (end - half, end + half), (-half * height, half * height)


def _round_factor(wanted: float) -> float:
    """Return 1, or the number of 2, 3, 5, 10, 20 ... next below what is wanted."""
    factors = [1.0] + [m * 10.0**k for k in range(5) for m in (2.0, 3.0, 5.0, 10.0)]
    return max((f for f in factors if f <= wanted), default=1.0)


def _drawn_scale(figure: Figure, axes: Axes) -> float:
    """Return how many inches of paper a unit of x takes."""
    axes.apply_aspect()
    low, high = axes.get_xlim()
    return float(axes.get_position().width * figure.get_figwidth() / (high - low))


def _plate(alpha: float = 0.8) -> dict[str, Any]:
    """Return the ground that keeps a text readable over lines."""
    return {"bbox": {"facecolor": "white", "edgecolor": "none", "alpha": alpha, "pad": 1.5}}


def _arrow(width: float) -> dict[str, Any]:
    return {"arrowstyle": "-|>", "color": INK, "linewidth": width, "mutation_scale": 16, "shrinkA": 0, "shrinkB": 0}


def _leader() -> dict[str, Any]:
    return {"arrowstyle": "-", "color": FAINT, "linewidth": 0.9, "shrinkA": 2, "shrinkB": 2}


def _dimension(
    axes: Axes,
    start: tuple[float, float],
    end: tuple[float, float],
    text: str,
    feet: float | tuple[float, float],
    beside: float | None = None,
    within: tuple[float, float] = (-np.inf, np.inf),
) -> None:
    """Draw a dimension line; `feet`: where its extension lines begin; `beside`: lifts the text; `within`: its limits of x."""
    arrow = {"arrowstyle": "<|-|>", "color": INK, "linewidth": 0.9, "mutation_scale": 9, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", end, start, arrowprops=arrow)
    if not text:
        return
    for point, foot in zip((start, end), feet if isinstance(feet, tuple) else (feet, feet), strict=True):
        axes.plot([point[0]] * 2, [foot, point[1]], color=FAINT, linewidth=0.7, zorder=0)
    x = min(max((start[0] + end[0]) / 2, within[0]), within[1])
    axes.text(x, (start[1] + end[1]) / 2 + (beside or 0.0), text, ha="center", va="center", **({} if beside else _plate(1.0)))


def _gap(
    axes: Axes,
    x: float,
    y0: float,
    y1: float,
    text: str,
    lengths: tuple[float, ...],
    beside: float,
    below: bool = False,
) -> Text:
    """Draw a thin dimension: arrows of two lengths point at its faces from outside, the text beside the upper or lower one."""
    arrow = {"arrowstyle": "-|>", "color": INK, "linewidth": 0.9, "mutation_scale": 9, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (x, y0), (x, y0 - lengths[0]), arrowprops=arrow)
    axes.annotate("", (x, y1), (x, y1 + lengths[1]), arrowprops=arrow)
    y = y0 - 0.7 * lengths[0] if below else y1 + 0.7 * lengths[1]
    return axes.text(x + beside, y, text, ha="left" if beside > 0 else "right", va="center")
