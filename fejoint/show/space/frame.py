"""What of a solved section is shown and where it is drawn: moved by the load, its thickness stretched, its pieces apart."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import Geometry
from fejoint.show.shape import end_faces, end_window, round_factor
from fejoint.show.space.solid import SolvedSection, Window

__all__ = ["Frame", "fit_stretch", "framed"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SHOWN_DISPLACEMENT = 0.08  # the largest one, over the length shown, when the scale is automatic
SHOWN_THICKNESS = 0.16  # of the whole stack, over the joint's length, when the stretch is fit
HEIGHT = 0.7  # of the look at an overlap's end, over its length
MOST_AT_AN_END = 3.0  # times: beyond, the field about the corners cannot be recognised


@dataclass(frozen=True, eq=False)
class Frame:
    """What part of a section is shown and how it is drawn.

    Attributes
    ----------
    shown : (cells,) mask
    nodes : (n,) array
        The nodes of what is shown.
    window : limits of x and y, mm, or None
        What is shown of the cells; all of them without it.
    width, length : float, mm, of what is shown, undeformed
    scale, stretch : float, times the displacements and the thickness are drawn
    centre, motion : arrays (2,), (3,)
        The rigid motion left out: along x and y (mm), and a small turn about the centre (mm).
    gap : float, mm
        How far neighbouring pieces are moved apart, before the stretch.
    geometry : Geometry
        Of the joint: it says which piece lies on which.
    """

    shown: Bools
    nodes: Ints
    window: Window | None
    width: float
    length: float
    scale: float
    stretch: float
    centre: Floats
    motion: Floats
    gap: float
    geometry: Geometry

    def relative(self, points: Floats, displacement: Floats) -> Floats:
        """Return displacements (n, 2) without the rigid motion."""
        x, y = (points - self.centre).T
        return np.asarray(displacement - self.motion[:2] - self.motion[2] * np.column_stack([-y, x]))

    def drawn(self, points: Floats, displacement: Floats, region: str) -> Floats:
        """Return where points (n, 3) of a region, with displacements (n, 2 or 3), are drawn."""
        plane = points[:, :2] + self.scale * self.relative(points[:, :2], displacement[:, :2])
        return self._lifted(plane, points, region)

    def undeformed(self, points: Floats, region: str) -> Floats:
        """Return where points (n, 3) of a region are drawn when nothing is displaced."""
        return self._lifted(points[:, :2], points, region)

    def lift(self, region: str, y: Floats) -> Floats:
        """Return how far points of a region, at undeformed heights y, are moved up with their piece, mm.

        Adherends are counted from below, with the layers between; the middle of the stack stays.
        """
        order = {name: 2.0 * i for i, name in enumerate(self.geometry.adherends())}
        middle = max(order.values()) / 2
        if region in order:
            return np.full(len(y), self.gap * (order[region] - middle))
        # A layer lies half-way between the two that it joins; of several the nearest one is meant.
        bonds = self.geometry.bonds()
        nearest = np.abs(np.subtract.outer(y, [bond.y for bond in bonds])).argmin(axis=1)
        levels = np.array([(order[bond.below] + order[bond.above]) / 2 for bond in bonds])
        return np.asarray(self.gap * (levels[nearest] - middle))

    def _lifted(self, plane: Floats, points: Floats, region: str) -> Floats:
        y = plane[:, 1] + self.lift(region, points[:, 1])
        return np.column_stack([plane[:, 0], self.stretch * y, points[:, 2]])


def fit_stretch(g: Geometry, end: str | None) -> float:
    """Return a round factor by which the thickness is drawn so that layers are seen, of the whole joint or at an end."""
    if end is None:
        x = [face.x for face in end_faces(g).values()]
        return round_factor(SHOWN_THICKNESS * (max(x) - min(x)) / g.depth)
    (x0, x1), _ = end_window(g, end, HEIGHT)
    reach = g.treads[0 if end == "left" else -1] if isinstance(g, SteppedLap) else g.length / 2
    return round_factor(min(MOST_AT_AN_END, reach / ((x1 - x0) / 2)))


def framed(
    section: SolvedSection,
    end: str | None = None,
    hidden: Collection[str] = (),
    scale: float | None = None,
    stretch: float = 1.0,
    apart: float = 0.0,
) -> Frame:
    """Return the frame of a section, or of one end of the overlap.

    Parameters
    ----------
    section : SolvedSection
    end : str, optional
        ``left`` or ``right``: of this end of the overlap; the more the thickness is stretched, the more length is shown.
    hidden : collection of str
        Regions left out.
    scale : float, optional
        Times the displacements are drawn; by default one that fits.
    stretch : float
        Times the thickness is drawn.
    apart : float
        How far neighbouring pieces are moved apart, over the thickness of what is shown.

    Raises
    ------
    JointError
        Nothing is left to show.
    """
    g = section.joint.geometry
    shown = np.ones(len(section.cells), dtype=bool)
    for name in hidden:
        shown &= ~section.cells_of(name)
    width, window, tall = g.width, None, g.depth
    if end is None:
        nodes = np.unique(section.cells[shown])
    else:
        window = (x0, x1), (y0, y1) = _stretched_window(g, end, stretch)
        (x, y), corners = section.points.T, section.cells[:, :4]
        # Cells with some of their area in the window, and the nodes in it.
        across = (x[corners].max(axis=1) > x0) & (x[corners].min(axis=1) < x1)
        shown = shown & across & (y[corners].max(axis=1) > y0) & (y[corners].min(axis=1) < y1)
        nodes = np.unique(section.cells[shown])
        nodes = nodes[(x[nodes] >= x0) & (x[nodes] <= x1) & (y[nodes] >= y0) & (y[nodes] <= y1)]
        width, tall = min(width, 0.4 * (x1 - x0)), y1 - y0
    if len(nodes) == 0:
        where = "" if end is None else f" at the {end} end of the overlap"
        words = ", ".join(name for name in section.regions if name in hidden)
        raise JointError(f'hide = "{words}": leaves nothing to show{where}; hide fewer regions.')
    points, moves = section.points[nodes], section.displacement[nodes]
    centre, motion = np.zeros(2), np.zeros(3)
    if end is not None or set(g.adherends()) <= set(hidden):
        # Drawn against its own rigid motion: that would take a part out of the picture, and hides how it strains.
        centre = points.mean(axis=0)
        motion = _rigid_motion(points - centre, moves)
    length = float(np.ptp(points[:, 0]))
    frame = Frame(shown, nodes, window, width, length, 1.0, stretch, centre, motion, apart * tall, g)
    return replace(frame, scale=_fit_scale(frame, points, moves) if scale is None else scale)


def _stretched_window(g: Geometry, end: str, stretch: float) -> Window:
    """Return limits of x and y, mm, of the look at an end: as high as without a stretch, and longer by it."""
    (x0, x1), y = end_window(g, end, HEIGHT)
    middle, half = (x0 + x1) / 2, stretch * (x1 - x0) / 2
    return (middle - half, middle + half), y


def _fit_scale(frame: Frame, points: Floats, moves: Floats) -> float:
    """Return a scale of two digits that draws the largest displacement as `SHOWN_DISPLACEMENT` of the length."""
    x, y = (frame.relative(points, moves) * [1.0, frame.stretch]).T
    largest = float(np.hypot(x, y).max())
    return float(f"{SHOWN_DISPLACEMENT * frame.length / largest:.2g}") if largest > 0 else 1.0


def _rigid_motion(places: Floats, moves: Floats) -> Floats:
    """Return the shifts along x and y and the small turn that are nearest to the displacements of places about their middle."""
    turn = (places[:, 0] @ moves[:, 1] - places[:, 1] @ moves[:, 0]) / (places**2).sum()
    return np.append(moves.mean(axis=0), turn)
