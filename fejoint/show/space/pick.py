"""The stress at any place of a solved section, by the shape functions of its nine-node cells."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.geometry import Geometry
from fejoint.mechanics.taper import shift
from fejoint.show.shape import outlines
from fejoint.show.space.solid import GRID, STRESSES, SolvedSection, stress_named
from fejoint.units import as_number, display

__all__ = [
    "SINGULAR",
    "Spot",
    "interpolated",
    "nearest_spot",
    "read_point",
    "read_points",
    "singular_corners",
    "singular_places",
    "singular_reach",
    "spots",
    "stress_at",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

TOUCH = 1e-6  # bondline thicknesses: a place so near a cell lies on it
AT_ONCE = 4_000_000  # pairs of a place and a cell that are looked through together
SINGULAR = "near a corner, where the stress is singular: depends on the mesh"
SINGULAR_SHORT = "(singular corner)"
MOST_STEPS = 30  # of Newton's iteration; cells with straight sides need few


class Spot(NamedTuple):
    """A stress at a place of the undeformed section.

    Attributes
    ----------
    value : float, MPa
        A plastic strain has no unit.
    region : str
        Whose stress it is; where several meet, that of the adhesive.
    beside : tuple of str
        The other regions that meet there.
    x, y : float, mm
    name : str
        One of `fejoint.show.space.solid.STRESSES`.
    displacement : (float, float), mm
    singular : bool
        Whether it lies so near one of `singular_places` that its value depends on the mesh.
    """

    value: float
    region: str
    beside: tuple[str, ...]
    x: float
    y: float
    name: str
    displacement: tuple[float, float]
    singular: bool

    def lines(self, units: str = "mm", short: bool = False) -> tuple[str, str]:
        """Return the value, and where it is, in a display system; `short`: in few words that it depends on the mesh."""
        meets = f", beside {' and '.join(self.beside)}" if self.beside else ""
        x, y = (display(round(v, 6) + 0.0, "mm", units) for v in (self.x, self.y))  # no -0
        value = display(self.value, STRESSES[self.name].unit, units, 3)
        said, place = f"{STRESSES[self.name].label} {value}", f"at x = {x.split()[0]}, y = {y} ({self.region}{meets})"
        if self.singular:
            return (f"{said} {SINGULAR_SHORT}", place) if short else (said, f"{place}, {SINGULAR}")
        return said, place

    def __str__(self) -> str:
        return " ".join(self.lines())


def stress_at(section: SolvedSection, x: float, y: float, name: str = "peel", region: str | None = None) -> tuple[float, str]:
    """Return a stress at a place of the undeformed section, and the region it is of.

    Parameters
    ----------
    section : SolvedSection
    x, y : float, mm
    name : str
        One of `fejoint.show.space.solid.STRESSES`, global axes.
    region : str, optional
        Whose stress is wanted where regions meet; by default the adhesive's.
        Stresses jump there.

    Returns
    -------
    (float, str)
        MPa, and the region.

    Raises
    ------
    JointError
        The place lies outside the section (or outside the region asked for), or there is no such stress.
    """
    (spot,) = spots(section, [(x, y)], name, region)
    return spot.value, spot.region


def spots(
    section: SolvedSection, points: Sequence[tuple[float, float]] | Floats, name: str = "peel", region: str | None = None
) -> list[Spot]:
    """Return a stress at places (n, 2) of the undeformed section, mm; other parameters and errors as those of `stress_at`."""
    name = stress_named(name, section)
    if region is not None and region not in section.regions:
        raise JointError(f'region = "{region}": must be one of {", ".join(section.regions)}.')
    places = np.asarray(points, dtype=float).reshape(-1, 2)
    point, cell, local = _located(section, places)
    shapes, nodes = _shapes(local)[0], section.cells[cell]
    values = np.einsum("kn,kn->k", shapes, section.stress[name][nodes])
    moves = np.einsum("kn,kni->ki", shapes, section.displacement[nodes])
    names = {number: word for word, number in section.regions.items()}
    g = section.joint.geometry
    apart = np.hypot(*(places[:, None] - singular_places(section.joint)).transpose(2, 0, 1)).min(axis=1)
    # The middle of the layer, whose stresses are reported, lies as far as the reach from a square end's corners: it is not meant.
    singular = apart < singular_reach(g) * (1 - TOUCH)
    found = []
    for i, (x, y) in enumerate(places):
        pairs = np.flatnonzero(point == i)
        # Cells of one region share their nodes, so that any of them gives the value.
        here = {names[int(section.region[cell[k]])]: k for k in pairs[::-1]}
        wanted = sorted(here, key=lambda word: word != "adhesive") if region is None else [region]
        if not wanted or wanted[0] not in here:
            raise _outside(section, float(x), float(y), region, list(here))
        k, beside = here[wanted[0]], tuple(word for word in here if word != wanted[0])
        move = float(moves[k, 0]), float(moves[k, 1])
        found.append(Spot(float(values[k]), wanted[0], beside, float(x), float(y), name, move, bool(singular[i])))
    return found


def nearest_spot(section: SolvedSection, x: float, y: float, name: str, region: str) -> Spot:
    """Return a stress of a region at a place on it, or at its node nearest to a place that round-off has put beside it."""
    try:
        return spots(section, [(x, y)], name, region)[0]
    except JointError:
        nodes = np.unique(section.cells[section.cells_of(region)])
        node = nodes[np.hypot(*(section.points[nodes] - [x, y]).T).argmin()]
        return spots(section, section.points[[node]], name, region)[0]


def singular_corners(g: Geometry) -> Floats:
    """Return the sharp corners (n, 2) of the adhesive at which it meets an adherend, mm: there the stress is singular.

    Corners of a bead's free surface are none of them.
    """
    regions = outlines(g)
    corners = np.unique(np.concatenate(regions.pop("adhesive")), axis=0)
    metal = [polygon for polygons in regions.values() for polygon in polygons]
    start = np.concatenate(metal)
    side = np.concatenate([np.roll(polygon, -1, axis=0) for polygon in metal]) - start
    from_start = corners[:, None] - start  # (corners, sides, 2)
    along = np.clip((from_start * side).sum(axis=2) / (side**2).sum(axis=1), 0.0, 1.0)
    off = np.hypot(*(from_start - along[..., None] * side).transpose(2, 0, 1)).min(axis=1)
    return np.asarray(corners[off < TOUCH * g.bondline_thickness])


def singular_places(joint: Joint) -> Floats:
    """Return where the stress is singular (n, 2), mm: at `singular_corners`, and where flaws end inside their bondlines."""
    g, found = joint.geometry, [singular_corners(joint.geometry)]
    for flaw in joint.merged_flaws().flaws if not joint.analysis.cohesive else ():
        bond = next(bond for bond in g.bonds() if bond.number == flaw.bondline)
        x = np.array([edge for edge in (flaw.start, flaw.end) if bond.start < edge < bond.end])
        half = g.bondline_thickness / 2
        for level in {"middle": (0.0,), "lower": (-half,), "upper": (half,), "all": (-half, half)}[flaw.level]:
            y = np.full_like(x, bond.y + level)
            found.append(np.column_stack([x, y + shift(g, x, y)]))
    return np.concatenate(found)


def singular_reach(g: Geometry) -> float:
    """Return how near a corner, mm, a stress is marked as one that depends on the mesh: half the thickness of the layer."""
    return g.bondline_thickness / 2


def interpolated(held: Floats, places: Floats) -> Floats:
    """Return what cells hold at a place each, by their shape functions.

    Parameters
    ----------
    held : (k, 9, m) array
        What the nodes of k cells hold: first x and y, then anything else.
    places : (k, 2) array
        In the cells, or so near them that their map goes on.

    Returns
    -------
    (k, m) array
    """
    at, _ = _local(held[:, :, :2], places)
    return np.asarray(np.einsum("kn,knm->km", _shapes(at)[0], held))


def read_points(texts: Sequence[str | Sequence[float]]) -> list[tuple[float, float]]:
    """Return places, mm, given as texts such as ``1.5,0`` or ``0.2 inch, 0 mm``, or as pairs of numbers."""
    return [read_point(text) for text in texts]


def read_point(given: Any) -> tuple[float, float]:
    """Return a place, mm, given as a text such as ``1.5,0`` or as a pair.

    Raises
    ------
    JointError
        It is neither.
    """
    parts = given.split(",") if isinstance(given, str) else given
    shown = given if isinstance(given, str) else ",".join(map(str, given)) if isinstance(given, list | tuple) else given
    try:
        x, y = parts
        return as_number(x, "mm"), as_number(y, "mm")
    except (TypeError, ValueError):
        raise JointError(f'point = "{shown}": must be two lengths, x and y, such as 1.5,0 (mm) or "0.1 inch, 0 mm".') from None


# ---- parts ---------------------------------------------------------------


def _outside(section: SolvedSection, x: float, y: float, region: str | None, here: list[str]) -> JointError:
    where = f"point = {x:g},{y:g}: "
    if here:
        return JointError(f"{where}lies in {' and '.join(here)}, not in {region}.")
    low, high = section.points.min(axis=0), section.points.max(axis=0)
    limits = " and ".join(f"{axis} from {low[i]:.4g} to {high[i]:.4g}" for i, axis in enumerate("xy"))
    return JointError(f"{where}lies outside the section, which lies within {limits} mm.")


def _located(section: SolvedSection, places: Floats) -> tuple[Ints, Ints, Floats]:
    """Return which places (n, 2) lie in which cells, as pairs (k,) and (k,), and where in the cell's own square (k, 2)."""
    touch = TOUCH * section.joint.geometry.bondline_thickness
    corners = section.points[section.cells]
    low, high = corners.min(axis=1) - touch, corners.max(axis=1) + touch
    found: list[tuple[Ints, Ints]] = []
    step = max(1, AT_ONCE // len(section.cells))
    for start in range(0, len(places), step):
        part = places[start : start + step, None]
        point, cell = np.nonzero(((part >= low) & (part <= high)).all(axis=2))
        found.append((point + start, cell))
    point, cell = (np.concatenate(parts) for parts in zip(*found, strict=True)) if found else (np.zeros(0, int),) * 2
    local, reach = _local(corners[cell], places[point])
    inside = (np.abs(local) <= 1.0 + touch / reach).all(axis=1)
    return point[inside], cell[inside], local[inside]


def _local(corners: Floats, places: Floats) -> tuple[Floats, Floats]:
    """Return where places (k, 2) lie in cells (k, 9, 2), by Newton's method, and how long the cells' half axes are there."""
    at = np.zeros_like(places)
    gradient = np.zeros((len(places), 2, 2))
    for _ in range(MOST_STEPS):
        shapes, slopes = _shapes(at)
        gradient = np.einsum("kni,knj->kij", corners, slopes)
        off = np.einsum("kn,kni->ki", shapes, corners) - places
        step = np.linalg.solve(gradient, off[..., None])[..., 0] if len(places) else off
        at = np.clip(at - step, -2.0, 2.0)  # outside the cell its map may fold
        if np.abs(step).max(initial=0.0) < 1e-13:
            break
    return at, np.linalg.norm(gradient, axis=1)


def _shapes(at: Floats) -> tuple[Floats, Floats]:
    """Return the nine shape functions (k, 9) at places (k, 2) of the square from -1 to 1, and their slopes (k, 9, 2)."""
    t = np.asarray(at)
    line = np.stack([t * (t - 1) / 2, 1 - t * t, t * (t + 1) / 2], axis=-1)  # (k, axis, of three)
    slope = np.stack([t - 0.5, -2 * t, t + 0.5], axis=-1)
    shapes, slopes = np.empty((len(t), 9)), np.empty((len(t), 9, 2))
    rows, columns = np.indices((3, 3))
    for row, column in zip(rows.ravel(), columns.ravel(), strict=True):
        node = GRID[row, column]
        shapes[:, node] = line[:, 1, row] * line[:, 0, column]
        slopes[:, node, 0] = line[:, 1, row] * slope[:, 0, column]
        slopes[:, node, 1] = slope[:, 1, row] * line[:, 0, column]
    return shapes, slopes
