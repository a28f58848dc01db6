"""Flaws in drawings: voids as gaps across the layer, others as slits at their level, named and measured."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap
from fejoint.joint.flaws import Flaw, reach
from fejoint.joint.geometry import Bond
from fejoint.mechanics.taper import shift
from fejoint.show.colours import FAINT, INK
from fejoint.show.pen import plate
from fejoint.show.shape import even_layer
from fejoint.units import display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["clear_of_flaws", "draw_flaws", "flaw_outlines", "flaw_texts", "name_flaws", "shade_flaws"]

Floats = NDArray[np.float64]

FLAW = "#9c2f2f"  # edges of flaws
SHADE = "#f0e4e2"  # behind curves
HATCH = {"void": "////", "disbond": "", "unwetted": "...."}
SLIT = 0.2  # height of a slit, over the layer's thickness
MOST_NAMED = 6  # more than these are numbered


def flaw_outlines(joint: Joint) -> list[tuple[Flaw, list[Floats]]]:
    """Return a joint's flaws and their outlines, closed polygons (corners, 2), mm: slits have a height to be seen by."""
    g, found = joint.geometry, []
    bonds = {bond.number: bond for bond in g.bonds()}
    for flaw in joint.merged_flaws().flaws:
        polygon = _outline(joint, flaw, bonds[flaw.bondline])
        x, y = polygon.T
        found.append((flaw, [np.column_stack([x, y + shift(g, x, y)])]))
    return found


def flaw_texts(joint: Joint, units: str) -> list[str]:
    """Return what is written on every flaw: its kind, place, and length."""
    found, many = [], len(joint.geometry.bonds()) > 1
    for flaw in joint.merged_flaws().flaws:
        what = {"void": "void", "disbond": "disbond", "unwetted": "unwetted"}[flaw.kind]
        level = "" if flaw.level in ("all", "middle") else f", {flaw.level} interface"
        found.append(f"{what} {display(flaw.length, 'mm', units)}{level}, from x = {display(flaw.start, 'mm', units)}")
        if many and not isinstance(joint.geometry, SteppedLap):
            found[-1] += f" of bondline {flaw.bondline}"
    return found


def draw_flaws(axes: Axes, joint: Joint, place: Callable[[Floats], Floats], line: float = 1.0) -> list[tuple[float, float]]:
    """Draw flaws where `place` puts corners (n, 2); return where the lower edge of each has its middle."""
    from matplotlib.patches import Polygon

    found = []
    for flaw, polygons in flaw_outlines(joint):
        for polygon in polygons:
            corners = place(polygon)
            look: dict[str, Any] = {"facecolor": "white", "edgecolor": FLAW, "linewidth": line, "zorder": 2.5}
            axes.add_patch(Polygon(corners, hatch=HATCH[flaw.kind], gid=f"flaw {flaw.kind}", **look))
            low, high = place(np.array([[flaw.start, polygon[:, 1].min()], [flaw.end, polygon[:, 1].min()]]))
            middle = float(low[0] + high[0]) / 2
            found.append((middle, _lower_edge(corners, middle)))
    return found


def name_flaws(
    axes: Axes, joint: Joint, spots: list[tuple[float, float]], bottom: float, row: float, letter: float, units: str
) -> float:
    """Write what each flaw is below a drawing, in as many rows as keep texts apart; return how low they reach.

    Parameters
    ----------
    axes : Axes
    joint : Joint
    spots : list of (x, y)
        Of `draw_flaws`.
    bottom, row : float
        Where the drawing ends, and how high a row is.
    letter : float
        How wide a letter is.
    units : str
    """
    texts = flaw_texts(joint, units)
    if len(texts) > MOST_NAMED:
        texts = [str(i) for i in range(1, len(texts) + 1)]
    ends: list[float] = []  # of the rows so far
    lowest = bottom
    x0, x1 = axes.get_xlim()
    for (x, y), text in sorted(zip(spots, texts, strict=True)):
        half = 0.5 * letter * len(text)
        middle = min(max(x, x0 + half), x1 - half)
        k = next((k for k, end in enumerate(ends) if middle - half > end + 2 * letter), len(ends))
        ends[k : k + 1] = [middle + half]
        at = bottom - (k + 0.8) * row
        lowest = min(lowest, at - 0.5 * row)
        axes.plot([x, x, middle], [y, bottom, at + 0.35 * row], color=FLAW, linewidth=0.7, zorder=3, gid="flaw leader")
        look: dict[str, Any] = {"fontsize": "small", "color": INK, "gid": "flaw text", "zorder": 4, **plate(0.9)}
        axes.text(middle, at, text, ha="center", va="center", **look)
    return lowest


def clear_of_flaws(joint: Joint, start: float, end: float) -> float:
    """Return the place along x, mm, near the middle of a stretch, where a name is clear of flaws and of what leads to theirs."""
    flaws, length = joint.merged_flaws().flaws if joint.flaws else (), end - start

    def free(x: float) -> float:
        return min((max(f.start - x, x - f.end) for f in flaws), default=length)

    places = [start + share * length for share in (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82)]
    return next((x for x in places if free(x) > 0.06 * joint.geometry.length), max(places, key=free))


def shade_flaws(axes: Axes, joint: Joint, mm: float) -> None:
    """Shade the flawed stretches behind curves along the bondline, whose x is in display units (`mm` of them a millimetre)."""
    for flaw in joint.merged_flaws().flaws:
        axes.axvspan(flaw.start * mm, flaw.end * mm, facecolor=SHADE, edgecolor=FAINT, linewidth=0.4, zorder=-1, gid="flaw")


# ---- parts ---------------------------------------------------------------


def _outline(joint: Joint, flaw: Flaw, bond: Bond) -> Floats:
    """Return the outline of a flaw in an even layer."""
    g, h = joint.geometry, joint.geometry.bondline_thickness / 2
    if flaw.kind == "void":
        if isinstance(g, SteppedLap):
            return _box(flaw.start, flaw.end, bond.y - h, bond.y + h)
        return _clipped(even_layer(g, bond), *reach(flaw, bond))
    x0, x1 = flaw.start, flaw.end
    if flaw.level == "middle" and g.fillet_height > 0:  # the fillet is parted too
        out = g.fillet_height + h
        x0, x1 = x0 - out * (x0 <= bond.start), x1 + out * (x1 >= bond.end)
    high = {"middle": SLIT / 2, "lower": SLIT - 0.5, "upper": 0.5}[flaw.level] * 2 * h
    return _box(x0, x1, bond.y + high - 2 * h * SLIT, bond.y + high)


def _lower_edge(polygon: Floats, x: float) -> float:
    """Return how low a polygon reaches at a place along x: a fillet that goes with a flaw reaches lower beside it."""
    crossed = []
    for start, end in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if min(start[0], end[0]) <= x <= max(start[0], end[0]) and start[0] != end[0]:
            crossed.append(start[1] + (x - start[0]) / (end[0] - start[0]) * (end[1] - start[1]))
    return float(min(crossed, default=polygon[:, 1].min()))


def _box(x0: float, x1: float, y0: float, y1: float) -> Floats:
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def _clipped(polygon: Floats, low: float, high: float) -> Floats:
    """Return the part of a polygon between two places along x."""
    for limit, side in ((low, 1.0), (high, -1.0)):
        if np.isinf(limit):
            continue
        kept = []
        for start, end in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
            inside = side * (start[0] - limit) >= 0
            if inside:
                kept.append(start)
            if inside != (side * (end[0] - limit) >= 0):
                kept.append(start + (limit - start[0]) / (end[0] - start[0]) * (end - start))
        polygon = np.array(kept)
    return polygon
