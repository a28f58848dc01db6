"""The shape of a joint's section, for all that draws it: outlines of its regions, end faces, and where to look closely."""

from __future__ import annotations

from itertools import accumulate
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import Bond, Geometry
from fejoint.mechanics.taper import shift

__all__ = ["EndFace", "end_faces", "end_window", "even_layer", "outlines", "round_factor", "stair"]

Floats = NDArray[np.float64]
Point = tuple[float, float]


class EndFace(NamedTuple):
    """The far end face of an adherend, mm; `side` is -1 at the left of the joint, +1 at the right."""

    x: float
    bottom: float
    top: float
    side: int

    @property
    def middle(self) -> float:
        """Height of its mid-plane, mm."""
        return (self.bottom + self.top) / 2


def outlines(g: Geometry) -> dict[str, list[Floats]]:
    """Return the outlines of the regions, each a list of closed polygons (corners, 2), mm."""
    found = _outlines_of_stair(g) if isinstance(g, SteppedLap) else _outlines_of_stack(g)
    return {name: [_tapered(g, polygon) for polygon in parts] for name, parts in found.items()} if g.bondline_taper else found


def end_faces(g: Geometry) -> dict[str, EndFace]:
    """Return the far end face of every adherend, by its name."""
    polygons, faces = outlines(g), {}
    for name, entry in g.entries().items():
        (x, y), side = polygons[name][0].T, -1 if entry == 0 else 1
        far = side * (side * x).max()
        at = y[np.isclose(x, far)]
        faces[name] = EndFace(float(far), float(at.min()), float(at.max()), side)
    return faces


def end_window(g: Geometry, end: str, height: float) -> tuple[Point, Point]:
    """Return limits of x and y (mm) that show the adhesive's singular corners at an overlap end, and some of the adherends.

    Of several layers the uppermost one is shown; of a stepped lap the butt
    end, down (or up) to the next tread.

    Parameters
    ----------
    g : Geometry
    end : str
        ``left`` or ``right``.
    height : float
        Height of the window over its width.
    """
    ta, f, left = g.bondline_thickness, g.fillet_height, end == "left"
    x = 0.0 if left else g.length
    half = max(5.0 * ta, 2.6 * (f + ta) if f > 0 else 0.0)
    if isinstance(g, SteppedLap):
        tall = f + g.risers[0 if left else -1] + ta / 2  # from the bead's top to the tread's far interface
        half = max(half, 0.95 * tall / height)
        y = (1 if left else -1) * (g.lower.thickness / 2 + f - tall / 2)
    else:
        y = g.bonds()[-1].y
    return (x - half, x + half), (y - half * height, y + half * height)


def stair(g: SteppedLap) -> Floats:
    """Return the corners (n, 2) of the middle of a stepped lap's adhesive, from the top surface to the bottom one, mm."""
    x = [0.0, *accumulate(g.treads)]
    y = [g.lower.thickness / 2 - down for down in (0.0, *accumulate(g.risers))]
    return np.array([corner for i, place in enumerate(x) for corner in ((place, y[i]), (place, y[i + 1]))])


def round_factor(wanted: float) -> float:
    """Return 1, or the number of 2, 3, 5, 10, 20 ... next below what is wanted."""
    factors = [1.0] + [m * 10.0**k for k in range(5) for m in (2.0, 3.0, 5.0, 10.0)]
    return max((f for f in factors if f <= wanted), default=1.0)


def _tapered(g: Geometry, polygon: Floats) -> Floats:
    """Return an outline of the section with an even layer as it is with the taper, which bends it at the overlap's ends."""
    corners = []
    for start, end in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        shares = [(x - start[0]) / (end[0] - start[0]) for x in (0.0, g.length) if (start[0] - x) * (end[0] - x) < 0]
        corners += [start, *(start + share * (end - start) for share in sorted(shares))]
    x, y = np.array(corners).T
    return np.column_stack([x, y + shift(g, x, y)])


# ---- parts ---------------------------------------------------------------


def _outlines_of_stack(g: Geometry) -> dict[str, list[Floats]]:
    """Return the outlines where plates lie on one another."""
    h, bonds, entries, parts = g.bondline_thickness / 2, g.bonds(), g.entries(), g.adherends()
    bottom = {bond.above: bond.y + h for bond in bonds}
    bottom[bonds[0].below] = bonds[0].y - h - parts[bonds[0].below].thickness
    found = {}
    for name, part in parts.items():
        x0, x1 = (-part.free_length, g.length) if entries[name] == 0 else (0.0, g.length + part.free_length)
        y0, y1 = bottom[name], bottom[name] + part.thickness
        found[name] = [np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])]
    found["adhesive"] = [even_layer(g, bond) for bond in bonds]
    return found


def even_layer(g: Geometry, bond: Bond) -> Floats:
    """Return the outline of a layer between plates, without taper; a fillet climbs the end face of the plate that ends there."""
    h, f, below_enters_left = g.bondline_thickness / 2, g.fillet_height, g.entries()[bond.below] == 0
    a, b = bond.start, bond.end
    if f == 0:
        corners = [(a, -h), (b, -h), (b, h), (a, h)]
    else:
        leg = f + 2 * h
        corners = [(a - leg, -h), (b, -h), (b, -h - f), (b + leg, h), (a, h), (a, h + f)]
    return np.array(corners) * [1.0, 1.0 if below_enters_left else -1.0] + [0.0, bond.y]


def _outlines_of_stair(g: SteppedLap) -> dict[str, list[Floats]]:
    """Return the outlines of two adherends with a stair of adhesive between, its ends cut off flush or under beads."""
    h, f, t = g.bondline_thickness / 2, g.fillet_height, g.lower.thickness
    below, above = stair(g) - h, stair(g) + h
    for line in (below, above):
        line[0, 1], line[-1, 1] = t / 2, -t / 2
    bead = [(-h - f, 0.0), (-h, f), (h, f), (h + f, 0.0)] if f > 0 else []
    top = [(x, t / 2 + y) for x, y in reversed(bead)]
    bottom = [(g.length + x, -t / 2 - y) for x, y in bead]
    far, end = -g.lower.free_length, g.length + g.upper.free_length
    return {
        "lower": [np.array([(far, -t / 2), *below[::-1], (far, t / 2)])],
        "adhesive": [np.array([*below, *bottom, *above[::-1], *top])],
        "upper": [np.array([(end, t / 2), *above, (end, -t / 2)])],
    }
