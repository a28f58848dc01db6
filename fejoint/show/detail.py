"""The left end of the overlap magnified: the layer and its spew, or the first step of a stair, with names and dimensions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import Geometry
from fejoint.show.colours import FAINT, INK
from fejoint.show.flaw_marks import draw_flaws
from fejoint.show.pen import ARROW, DOUBLE_ARROW, LEADER, draw_regions, keyed, plate, thin_dimension
from fejoint.show.shape import end_window, outlines, stair
from fejoint.units import display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_end"]

DETAIL = 0.62  # height over width


def draw_end(axes: Axes, joint: Joint, units: str) -> None:
    """Draw the left end of the overlap, all of it to one scale."""
    g = joint.geometry
    # y counts from the layer's middle, of a stair from the surface.
    origin = g.depth / 2 if isinstance(g, SteppedLap) else g.bonds()[-1].y
    limits_x, limits_y = end_window(g, "left", DETAIL)
    draw_regions(axes, {name: [p - [0.0, origin] for p in polygons] for name, polygons in outlines(g).items()})
    draw_flaws(axes, joint, lambda corners: corners - [0.0, origin])
    axes.set_xlim(*limits_x)
    axes.set_ylim(limits_y[0] - origin, limits_y[1] - origin)
    axes.set_aspect(1.0)
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines[:].set_visible(True)
    axes.spines[:].set_color(FAINT)
    ground = plate(0.9) if joint.flaws else {}
    if isinstance(g, SteppedLap):
        _name_stair(axes, g, units)
    else:
        _name_layer(axes, g, units, ground)


def _name_layer(axes: Axes, g: Geometry, units: str, ground: dict[str, Any]) -> None:
    """Write names and dimensions of a layer's left end, y from its middle."""
    (x0, x1), (y0, y1), bond = axes.get_xlim(), axes.get_ylim(), g.bonds()[-1]
    h, f, size, parts = g.bondline_thickness / 2, g.fillet_height, x1 - x0, g.adherends()
    text = keyed(["bondline_thickness"], g.bondline_thickness, units)
    up, start = (g.thickness_at(x) - g.bondline_thickness for x in (0.4 * x1, 0.0))  # what a taper has moved the upper face by
    if g.bondline_taper:
        text += f",\nhere {display(g.thickness_at(0.4 * x1), 'mm', units, 3)}"
    below, above = (max(min(0.09 * size, 0.75 * parts[name].thickness), 0.05 * size) for name in (bond.below, bond.above))
    thin_dimension(axes, 0.4 * x1, -h, h + up, text, (below, above), -0.015 * size, below=True)
    axes.annotate("x = 0", (0.0, h + start), (0.1 * x1, h + start + 0.1 * size), arrowprops=LEADER)
    if f > 0:
        corner = h + start
        axes.annotate("", (-0.035 * size, corner + f), (-0.035 * size, corner), arrowprops=DOUBLE_ARROW)
        axes.text(-0.05 * size, corner + f, keyed(["spew_height"], f, units), ha="right", va="bottom")
    low, high = max(0.94 * y0, -h - 0.9 * parts[bond.below].thickness), min(0.94 * y1, h + 0.9 * parts[bond.above].thickness)
    axes.text(0.97 * x0, low, g.adherend_key(bond.below), va="bottom")
    axes.text(0.97 * x1, high, g.adherend_key(bond.above), ha="right", va="top")
    if g.bondline_thickness > 0.045 * size:
        axes.text(0.97 * x1, 0.0, "adhesive", ha="right", va="center", zorder=4, **ground)
    else:  # too thin to be written on
        axes.annotate("adhesive", (0.85 * x1, 0.0), (0.8 * x1, -h - 0.1 * size), ha="center", va="top", arrowprops=LEADER)


def _name_stair(axes: Axes, g: SteppedLap, units: str) -> None:
    """Write names and dimensions of a stair's left end, y from the surface."""
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    h, f, size, riser = g.bondline_thickness / 2, g.fillet_height, x1 - x0, g.risers[0]
    corners = stair(g) - [0.0, g.depth / 2]
    axes.plot(*corners.T, color=INK, linewidth=0.8, linestyle=(0, (6, 3, 1, 3)), gid="mid-line")
    length = 0.09 * size
    # Left of the riser its height, under the first tread the layer's thickness.
    x = 0.62 * x0
    axes.plot([x - 0.03 * size, 0.0], [-riser, -riser], color=FAINT, linewidth=0.7)
    axes.annotate("", (x, 0.0), (x, length), arrowprops=ARROW)
    axes.annotate("", (x, -riser), (x, -riser - length), arrowprops=ARROW)
    which = "each" if np.ptp(g.risers) < 1e-9 * riser else "first"
    axes.text(0.97 * x0, 0.93 * y1, f"step_heights, {which} = {display(riser, 'mm', units)}", va="top")
    text = keyed(["bondline_thickness"], g.bondline_thickness, units)
    place = min(0.62 * x1, 0.6 * g.treads[0])
    above = max(min(length, 0.8 * (riser - h)), 0.04 * size)
    thin_dimension(axes, place, -riser - h, -riser + h, text, (length, above), -0.015 * size, below=True)
    axes.annotate("x = 0", (0.0, f), (-0.07 * size, f + 0.03 * size), ha="right", va="bottom", arrowprops=LEADER)
    if f > 0:
        axes.annotate("", (h + f, f), (h + f, 0.0), arrowprops=DOUBLE_ARROW)
        axes.plot([h, h + f + 0.02 * size], [f, f], color=FAINT, linewidth=0.7)
        axes.text(0.97 * x1, f + 0.01 * size, keyed(["spew_height"], f, units), ha="right", va="bottom")
    axes.text(0.97 * x0, 0.94 * y0, "lower", va="bottom")
    axes.text(0.97 * x1, -(riser - h) / 2, "upper", ha="right", va="center")
    axes.annotate("adhesive", (0.85 * x1, -riser), (0.97 * x1, -riser - h - 0.06 * size), ha="right", va="top", arrowprops=LEADER)
