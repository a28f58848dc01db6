"""The faces of parts of a section as quadrilaterals and triangles, cut where a window ends, and their outlines."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.show.space.pick import interpolated
from fejoint.show.space.solid import CORNER, GRID

__all__ = ["Part", "Surface", "cell_grid", "surface"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Window = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Part:
    """What a window shows of some cells.

    Attributes
    ----------
    inside : (i,) array
        Which cells are shown whole.
    triangles : (t, 3) array
        Nodes of what is left of cells that the window's sides cut.
    edges : (e, 2) array
        Nodes of the outline, side by side: each begins where another ends, and has what is shown on its left.
    corners : (k,) array
        The nodes where the outline turns.
    """

    inside: Ints
    triangles: Ints
    edges: Ints
    corners: Ints


@dataclass(frozen=True, eq=False)
class Surface:
    """Cells, what their nodes hold, and the parts that windows show.

    Attributes
    ----------
    cells : (c, 9) or (c, 4) array
        Numbers of rows of `values`.
    values : (n, k) array
        Nodes; after those of the cells the ones that cuts made.
    parts : list of Part, one a window
    """

    cells: Ints
    values: Floats
    parts: list[Part]


def cell_grid(corners_alone: bool) -> Ints:
    """Return the nodes of a cell by row and column: of its nine, or of the corners alone."""
    return np.array([[0, 1], [3, 2]]) if corners_alone else GRID


def surface(cells: Ints, held: Floats, windows: list[Window | None], corners_alone: bool) -> Surface:
    """Return the faces of cells within windows.

    Parameters
    ----------
    cells : (c, 9) array
        Nodes of each cell: corners in turn, edge mid-points, centre.
    held : (nodes, k) array
        What nodes hold: first x and y, mm, then anything else. Faces are flat between nodes; the nodes
        that cuts make hold what the cells' shape functions give at their place.
    windows : list
        Limits of x and y, mm; None for all.
    corners_alone : bool
        Whether to leave out the nodes between corners.
    """
    grid = cell_grid(corners_alone)
    used, numbers = np.unique(cells[:, : grid.size], return_inverse=True)
    numbers, values = np.asarray(numbers.reshape(len(cells), -1), dtype=np.int64), held[used]
    around = np.stack([grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]], axis=-1).reshape(-1, 4)
    # Counter-clockwise, whichever way the mesh has them, so that an outline has what it goes round on its left.
    a, b, c = (values[numbers[:, k], :2] for k in range(3))
    reversed_cells = (b - a)[:, 0] * (c - b)[:, 1] < (b - a)[:, 1] * (c - b)[:, 0]
    quads = numbers[:, around]
    quads[reversed_cells] = quads[reversed_cells][..., ::-1]
    parts = []
    for window in windows:
        inside, cut = np.ones(len(cells), dtype=bool), np.zeros(len(cells), dtype=bool)
        if window is not None:
            low, high = (f(values[numbers[:, :4], :2], axis=1) for f in (np.min, np.max))
            start, end = np.array(window).T
            inside = ((low >= start) & (high <= end)).all(axis=1)
            cut = ((high > start) & (low < end)).all(axis=1) & ~inside
        triangles = quads[cut][..., [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3)
        if window is not None:
            of, before = np.repeat(np.flatnonzero(cut), 2 * len(around)), len(values)
            for axis, limits in enumerate(window):
                for limit, sign in zip(limits, (1.0, -1.0), strict=True):
                    tiny = 1e-9 * float(np.ptp(window[0]))
                    triangles, kept, values = _clipped(triangles, values, axis, limit, sign, tiny)
                    of = of[kept]
            # Any of the cells that share a node does: they hold the same there.
            fresh, first = np.unique(triangles, return_index=True)
            fresh, whose = fresh[fresh >= before], of[first[fresh >= before] // 3]
            values[fresh, 2:] = interpolated(held[cells[whose]], values[fresh, :2])[:, 2:]
        edges = _outline(quads[inside].reshape(-1, 4), triangles)
        parts.append(Part(np.flatnonzero(inside), triangles, edges, _corners(values[:, :2], edges)))
    return Surface(numbers, values, parts)


def _clipped(triangles: Ints, values: Floats, axis: int, limit: float, sign: float, tiny: float) -> tuple[Ints, Ints, Floats]:
    """Return what lies beyond a limit (sign 1) or before it (-1), what each is a part of, and the values with new nodes added."""
    off = sign * (values[:, axis] - limit)
    off[np.abs(off) < tiny] = 0.0
    at = off[triangles]
    mixed = (at.min(axis=1) < 0) & (at.max(axis=1) > 0)
    whole, tips = ~mixed & (at.max(axis=1) > 0), at >= 0
    one, two = mixed & (tips.sum(axis=1) == 1), mixed & (tips.sum(axis=1) == 2)
    # Turned so that the node which is alone on its side comes first: a inside, or o outside.
    a, b, c = _turned(triangles[one], tips[one].argmax(axis=1)).T
    o, p, q = _turned(triangles[two], (~tips[two]).argmax(axis=1)).T
    crossings = np.column_stack([np.concatenate([a, a, p, q]), np.concatenate([b, c, o, o])])
    distinct, which = np.unique(crossings, axis=0, return_inverse=True)
    share = off[distinct[:, 0]] / (off[distinct[:, 0]] - off[distinct[:, 1]])
    fresh = values[distinct[:, 0]] + share[:, None] * (values[distinct[:, 1]] - values[distinct[:, 0]])
    # A node on the limit is where its own sides cross it.
    name = np.where(off[distinct[:, 0]] == 0, distinct[:, 0], len(values) + np.arange(len(distinct)))[which.ravel()]
    ab, ac, po, qo = np.split(name, np.cumsum([len(a), len(a), len(p)]))
    made = [np.column_stack(nodes) for nodes in ((a, ab, ac), (p, q, qo), (p, qo, po))]
    kept = np.concatenate([triangles[whole], *made])
    of = np.concatenate([np.flatnonzero(mask) for mask in (whole, one, two, two)])
    flat = (kept[:, 0] == kept[:, 1]) | (kept[:, 1] == kept[:, 2]) | (kept[:, 2] == kept[:, 0])
    return kept[~flat], of[~flat], np.concatenate([values, fresh])


def _turned(triangles: Ints, first: Ints) -> Ints:
    return np.take_along_axis(triangles, (first[:, None] + np.arange(3)) % 3, axis=1)


def _outline(quads: Ints, triangles: Ints) -> Ints:
    """Return the sides (e, 2) that belong to one face only."""
    sides = np.concatenate(
        [np.stack([faces, np.roll(faces, -1, axis=1)], axis=-1).reshape(-1, 2) for faces in (quads, triangles)]
    )
    _, first, count = np.unique(np.sort(sides, axis=1), axis=0, return_index=True, return_counts=True)
    return np.asarray(sides[np.sort(first[count == 1])])


def _corners(points: Floats, edges: Ints) -> Ints:
    """Return the nodes at which an outline turns."""
    along = points[edges[:, 1]] - points[edges[:, 0]]
    along /= np.linalg.norm(along, axis=1, keepdims=True).clip(1e-300)
    turn = np.zeros_like(points)
    np.add.at(turn, edges[:, 0], along)
    np.add.at(turn, edges[:, 1], -along)
    return np.flatnonzero(np.linalg.norm(turn, axis=1) > CORNER)
