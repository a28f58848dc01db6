"""The section of a joint drawn to scale, and what every matplotlib figure here is drawn with.

A figure is a `matplotlib.figure.Figure` that belongs to nobody: no window, no
global state, the same on a machine without a display.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib import resources
from textwrap import shorten
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.environment import require_extra
from fejoint.joint.families import Joint, SingleLap
from fejoint.show.colours import FAINT, INK, OUTLINE, REGION_COLOURS
from fejoint.units import display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "draw_force",
    "draw_regions",
    "drawing_style",
    "end_window",
    "heading",
    "outlines",
    "plate",
    "round_factor",
    "section_figure",
]

Floats = NDArray[np.float64]
Point = tuple[float, float]

ARROW: dict[str, Any] = {"arrowstyle": "-|>", "color": INK, "linewidth": 0.9, "mutation_scale": 9, "shrinkA": 0, "shrinkB": 0}
DOUBLE_ARROW = {**ARROW, "arrowstyle": "<|-|>"}
LEADER: dict[str, Any] = {"arrowstyle": "-", "color": FAINT, "linewidth": 0.9, "shrinkA": 2, "shrinkB": 2}


# ---- the section ---------------------------------------------------------


def section_figure(joint: Joint, units: str = "mm") -> Figure:
    """Return the joint drawn to scale, its dimensions named by their keys in the joint file, and an overlap end magnified.

    Parameters
    ----------
    joint : Joint
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        extent = _extent(joint.geometry)
        # The whole is drawn 10 inches wide with a tenth of its length round it; the height follows.
        room = min(10.0 / 1.2 * (0.19 + extent.thickness / extent.step), 4.5)
        height = room + 4.3
        figure = Figure(figsize=(10, height))
        figure.suptitle(heading(joint, "section"), x=0.02, y=1 - 0.15 / height, va="top", ha="left")
        whole = figure.add_axes((0.0, 3.55 / height, 1.0, room / height))
        detail = figure.add_axes((0.02, 0.15 / height, 0.56, 3.0 / height), anchor="W")
        table = figure.add_axes((0.62, 0.15 / height, 0.37, 3.0 / height))
        _draw_whole(whole, joint, extent, units)
        _draw_detail(detail, joint, units)
        stretch = extent.stretch
        scale = f"lengths to scale; thickness drawn {stretch:g} times as large" if stretch > 1 else "to scale"
        whole.set_title(scale, color=FAINT, x=0.02)
        magnified = _drawn_scale(figure, detail) / _drawn_scale(figure, whole)
        detail.set_title(f"left overlap end, {magnified:.0f} times the length scale above", color=FAINT)
        _draw_facts(table, joint, units)
        return figure


class _Extent(NamedTuple):
    """How far the whole section reaches, mm, and how many times its thickness is drawn."""

    left: float
    right: float
    bottom: float
    top: float
    stretch: float

    @property
    def span(self) -> float:
        return self.right - self.left

    @property
    def thickness(self) -> float:
        return self.top - self.bottom

    @property
    def step(self) -> float:
        """A length across the thickness that is as large on paper as the joint is long."""
        return self.span / self.stretch


def _extent(g: SingleLap) -> _Extent:
    h, right = g.bondline_thickness / 2, g.overlap_length + g.upper.free_length
    extent = _Extent(-g.lower.free_length, right, -h - g.lower.thickness, h + g.upper.thickness, 1.0)
    return extent._replace(stretch=round_factor(0.03 * extent.span / extent.thickness))


def _draw_whole(axes: Axes, joint: Joint, extent: _Extent, units: str) -> None:
    """Draw the whole section with its ends, force and dimensions."""
    left, right, bottom, top, stretch = extent
    span, step = extent.span, extent.step
    draw_regions(axes, outlines(joint.geometry))
    _draw_ends(axes, joint, extent)
    if joint.load.force != 0:
        y = top - joint.geometry.upper.thickness / 2
        draw_force(axes, right + 0.012 * span, right + 0.075 * span, y, joint.load.force, 2.2)
        axes.text(right + 0.09 * span, y + 0.02 * step, "force", ha="right", va="bottom")
    _draw_lengths(axes, joint.geometry, extent, units)
    _draw_thicknesses(axes, joint.geometry, extent, units)
    axes.set_xlim(left - 0.1 * span, right + 0.1 * span)
    axes.set_ylim(bottom - 0.1 * step, top + 0.09 * step)
    axes.set_aspect(stretch)
    axes.set_axis_off()


def _draw_ends(axes: Axes, joint: Joint, extent: _Extent) -> None:
    """Draw how the ends are held."""
    from matplotlib.patches import Ellipse, Rectangle

    left, right, bottom, top, _ = extent
    span, step = extent.span, extent.step
    lower, upper = (bottom, bottom + joint.geometry.lower.thickness), (top - joint.geometry.upper.thickness, top)
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


def _draw_lengths(axes: Axes, g: SingleLap, extent: _Extent, units: str) -> None:
    """Draw the free lengths below the section and the overlap above it; a text too long for its line stands beside it."""
    left, right, bottom, top, _ = extent
    span, step, length = extent.span, extent.step, g.overlap_length
    within = (left + 0.04 * span, right - 0.04 * span)
    y = bottom - 0.062 * step
    feet = {"lower": (bottom, bottom), "upper": (bottom, top - g.upper.thickness)}
    for name, start, end in (("lower", left, 0.0), ("upper", length, right)):
        text = _keyed(f"{name}.free_length", getattr(g, name).free_length, units)
        _dimension(axes, (start, y), (end, y), text, feet[name], 0.0 if end - start > 0.32 * span else -0.02 * step, within)
    y = top + 0.055 * step
    text = _keyed("overlap_length", length, units)
    _dimension(axes, (0.0, y), (length, y), text, (top, top), 0.0 if length > 0.32 * span else 0.02 * step)


def _draw_thicknesses(axes: Axes, g: SingleLap, extent: _Extent, units: str) -> None:
    """Draw the adherends' thicknesses; extension lines may pass behind their texts."""
    left, right, bottom, top, _ = extent
    span, gap = extent.span, 0.0355 * extent.step
    x = left + min(0.05 * span, -0.5 * left)
    text = _keyed("lower.thickness", g.lower.thickness, units)
    _thin_dimension(axes, x, bottom, bottom + g.lower.thickness, text, (gap, gap), 0.006 * span, below=True, **plate(1.0))
    x = right - min(0.075 * span, 0.65 * right)
    text = _keyed("upper.thickness", g.upper.thickness, units)
    _thin_dimension(axes, x, top - g.upper.thickness, top, text, (gap, gap), -0.006 * span, **plate(1.0))


def _draw_detail(axes: Axes, joint: Joint, units: str) -> None:
    """Draw the left end of the overlap, all of it to one scale."""
    g = joint.geometry
    h, f = g.bondline_thickness / 2, g.fillet_height
    (x0, x1), (y0, y1) = end_window(g, 0.0, 0.62)
    draw_regions(axes, outlines(g))
    axes.set_xlim(x0, x1)
    axes.set_ylim(y0, y1)
    axes.set_aspect(1.0)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines[:].set_visible(True)
    axes.spines[:].set_color(FAINT)
    size = x1 - x0
    text = _keyed("bondline_thickness", g.bondline_thickness, units)
    below, above = (max(min(0.09 * size, 0.75 * part.thickness), 0.05 * size) for part in (g.lower, g.upper))
    _thin_dimension(axes, 0.4 * x1, -h, h, text, (below, above), -0.015 * size, below=True)
    axes.annotate("x = 0", (0.0, h), (0.1 * x1, h + 0.1 * size), arrowprops=LEADER)
    if f > 0:
        axes.annotate("", (-0.035 * size, h + f), (-0.035 * size, h), arrowprops=DOUBLE_ARROW)
        axes.text(-0.05 * size, h + f, _keyed("spew_height", f, units), ha="right", va="bottom")
    axes.text(0.97 * x0, max(0.94 * y0, -h - 0.9 * g.lower.thickness), "lower", va="bottom")
    axes.text(0.97 * x1, min(0.94 * y1, h + 0.9 * g.upper.thickness), "upper", ha="right", va="top")
    if g.bondline_thickness > 0.045 * size:
        axes.text(0.97 * x1, 0.0, "adhesive", ha="right", va="center")
    else:  # too thin to be written on
        axes.annotate("adhesive", (0.85 * x1, 0.0), (0.8 * x1, -h - 0.1 * size), ha="center", va="top", arrowprops=LEADER)


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


def _keyed(key: str, value: float, units: str) -> str:
    return f"{key} = {display(value, 'mm', units)}"


def _drawn_scale(figure: Figure, axes: Axes) -> float:
    """Return how many inches of paper a unit of x takes."""
    axes.apply_aspect()
    low, high = axes.get_xlim()
    return float(axes.get_position().width * figure.get_figwidth() / (high - low))


# ---- dimensions ----------------------------------------------------------


def _dimension(
    axes: Axes, start: Point, end: Point, text: str, feet: Point, lift: float, within: Point = (-np.inf, np.inf)
) -> None:
    """Draw a dimension whose extension lines begin at the feet (y), its text lifted off the line and within limits of x."""
    axes.annotate("", end, start, arrowprops=DOUBLE_ARROW)
    for point, foot in zip((start, end), feet, strict=True):
        axes.plot([point[0]] * 2, [foot, point[1]], color=FAINT, linewidth=0.7, zorder=0)
    x = min(max((start[0] + end[0]) / 2, within[0]), within[1])
    axes.text(x, (start[1] + end[1]) / 2 + lift, text, ha="center", va="center", **({} if lift else plate(1.0)))


def _thin_dimension(
    axes: Axes, x: float, y0: float, y1: float, text: str, lengths: Point, beside: float, below: bool = False, **look: Any
) -> None:
    """Draw a thin dimension: arrows of two lengths point at its faces from outside, the text beside the upper or lower one."""
    axes.annotate("", (x, y0), (x, y0 - lengths[0]), arrowprops=ARROW)
    axes.annotate("", (x, y1), (x, y1 + lengths[1]), arrowprops=ARROW)
    y = y0 - 0.7 * lengths[0] if below else y1 + 0.7 * lengths[1]
    axes.text(x + beside, y, text, ha="left" if beside > 0 else "right", va="center", **look)


# ---- what all figures share ----------------------------------------------


@contextmanager
def drawing_style() -> Iterator[None]:
    """Draw in fejoint's style and leave matplotlib's settings as they were.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    require_extra("matplotlib", "plot", "drawing figures")
    from matplotlib import rc_context

    with resources.as_file(resources.files("fejoint.show") / "fejoint.mplstyle") as file, rc_context(fname=file):
        yield


def heading(joint: Joint, what: str) -> str:
    """Return the text over a figure."""
    return f"{joint.title or joint.geometry.kind}: {what}"


def plate(alpha: float = 0.8) -> dict[str, Any]:
    """Return the ground that keeps a text readable over lines, as options of the text."""
    return {"bbox": {"facecolor": "white", "edgecolor": "none", "alpha": alpha, "pad": 1.5}}


def outlines(g: SingleLap) -> dict[str, list[Floats]]:
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


def draw_regions(axes: Axes, polygons: Mapping[str, list[Floats]]) -> None:
    """Fill regions given by their outlines, as `outlines` returns them."""
    from matplotlib.patches import Polygon

    for name, parts in polygons.items():
        # A layer that is thin on paper must not vanish between its outlines.
        line, order = (0.3, 1.5) if name == "adhesive" else (0.9, 1.0)
        look: dict[str, Any] = {"edgecolor": OUTLINE, "linewidth": line, "zorder": order, "gid": name}
        for corners in parts:
            axes.add_patch(Polygon(corners, facecolor=REGION_COLOURS[name], **look))
    axes.grid(visible=False)


def draw_force(axes: Axes, near: float, far: float, y: float, force: float, width: float) -> None:
    """Draw an arrow between two places along x, away from the near one in tension and towards it in compression."""
    tail, tip = (near, far) if force > 0 else (far, near)
    axes.annotate("", (tip, y), (tail, y), arrowprops={**ARROW, "linewidth": width, "mutation_scale": 16})


def end_window(g: SingleLap, end: float, height: float) -> tuple[Point, Point]:
    """Return limits of x and y (mm) that show an overlap end with some of both adherends; height over width given."""
    half = max(5.0 * g.bondline_thickness, 2.6 * (g.fillet_height + g.bondline_thickness) if g.fillet_height > 0 else 0.0)
    return (end - half, end + half), (-half * height, half * height)


def round_factor(wanted: float) -> float:
    """Return 1, or the number of 2, 3, 5, 10, 20 ... next below what is wanted."""
    factors = [1.0] + [m * 10.0**k for k in range(5) for m in (2.0, 3.0, 5.0, 10.0)]
    return max((f for f in factors if f <= wanted), default=1.0)
