"""Where along a level of a flawed bondline its curves have points, and what a nodal field is there.

Where a level is void or parted its curves are zero; they fall to zero within
`DROP` bondline thicknesses inside the flaw, so that they have one value a
place. Within half a bondline thickness of a flaw's edge where the stress is
singular, at a disbond's tip and where a void's end face meets an interface,
they keep the value at that distance: nothing from nearer is reported.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Curve
from fejoint.errors import MeshError
from fejoint.joint.description import Joint
from fejoint.joint.flaws import Flaw
from fejoint.joint.geometry import Bond

__all__ = ["CORNER_DISTANCE", "Stations", "pieces_of", "stations"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Nothing is reported from nearer to a place where the stress is singular, in bondline thicknesses.
CORNER_DISTANCE = 0.5
# Of the value that a curve keeps: a hair less, so that a peak is said to be where it was taken.
KEPT = 1 - 1e-5
# How far inside a flaw a curve has fallen to zero, in bondline thicknesses.
DROP = 1e-4


@dataclass(frozen=True, eq=False)
class Stations:
    """The points of a flawed level's curves.

    Attributes
    ----------
    x : (n,) array, mm
        Increasing; odd in number, ends and middles of pieces.
    source : (n,) array, mm
        Where the stress is taken.
    share : (n,) array
        How much of it: 1 where the level is bonded, 0 inside flaws.
    stretch : (n,) array
        Number of the bonded stretch that it is taken from.
    gap : (n,) array, mm
        The middle of the flaw that a point lies in; elsewhere of no meaning.
    nodes : tuple of arrays
        Those of every bonded stretch, in order.
    places : tuple of arrays, mm
        Their x.
    """

    x: Floats
    source: Floats
    share: Floats
    stretch: Ints
    gap: Floats
    nodes: tuple[Ints, ...]
    places: tuple[Floats, ...]

    def of(self, field: Floats) -> Floats:
        """Return a nodal field, (nodes,), at the points; 0 in flaws."""
        found = np.zeros(len(self.x))
        for i, (nodes, x) in enumerate(zip(self.nodes, self.places, strict=True)):
            own = (self.stretch == i) & (self.share > 0)
            values = field[nodes]
            found[own] = self.share[own] * Curve(x, values, values, values).at(self.source[own])
        return found


def pieces_of(line: Ints) -> tuple[Ints, ...]:
    """Return the nodes of every piece of a curve in order, of its sides, (n, 3), in order (`Discretisation.line`)."""
    parts = np.split(line, np.flatnonzero(line[1:, 0] != line[:-1, 2]) + 1)
    return tuple(np.append(own[:, :2].ravel(), own[-1, 2]) for own in parts)


def stations(nodes: tuple[Ints, ...], x_of: Floats, joint: Joint, bond: Bond, level: str) -> Stations:
    """Return the points of the curves of a bond's level, ``middle``, ``lower`` or ``upper``, in a joint with flaws.

    Parameters
    ----------
    nodes : tuple of arrays
        Those of every bonded stretch of the level, in order.
    x_of : array, mm
        x of every node.
    joint : Joint
    bond : Bond
    level : str

    Raises
    ------
    MeshError
        There are not as many stretches as the flaws leave.
    """
    curve, ta = f"bondline {bond.number} {level}", joint.geometry.bondline_thickness
    flaws = [f for f in joint.merged_flaws().flaws if f.bondline == bond.number and f.level in ("all", level)]
    # Between the overlap's end, a flaw, the next one ... and the overlap's end; a flaw at an end leaves nothing beyond it.
    between: list[Flaw | None] = [None, *flaws, None]
    between = between[1:] if flaws and flaws[0].start <= bond.start else between
    between = between[:-1] if flaws and flaws[-1].end >= bond.end else between
    before, after = between[:-1], between[1:]
    if len(nodes) != len(before):
        raise MeshError(f"{curve}: is in {len(nodes)} pieces where the flaws leave {len(before)}.")

    parts: list[tuple[Floats, Floats, Floats, Ints]] = []

    def add(x: list[float] | Floats, source: list[float] | Floats, share: list[float] | Floats, stretch: int) -> None:
        parts.append((np.asarray(x), np.asarray(source), np.asarray(share, dtype=float), np.full(len(x), stretch)))

    def held(flaw: Flaw | None) -> bool:
        return flaw is not None and (level != "middle" or flaw.kind != "void")

    drop, last = DROP * ta, len(nodes) - 1
    for i, own in enumerate(nodes):
        x = x_of[own]
        start, end = (float(v) for v in x[[0, -1]])
        distance = min(CORNER_DISTANCE * ta, (end - start) / 4)
        corner = [level != "middle" and flaw is None for flaw in (before[i], after[i])]
        low = start + distance if corner[0] or held(before[i]) else start
        high = end - distance if corner[1] or held(after[i]) else end
        if before[i] is not None:
            if i == 0:
                add([bond.start, (bond.start + start - drop) / 2], [start, start], [0, 0], i)
            add([start - drop, start - drop / 2], [low, low], [0, KEPT / 2], i)
            if low > start:
                add([start, (start + low) / 2], [low, low], [KEPT, KEPT], i)
        inside = x if (low, high) == (start, end) else Curve(x, x, x, x).part(low, high).x
        add(inside, inside, np.ones(len(inside)), i)
        if after[i] is not None:
            if high < end:
                add([(high + end) / 2, end], [high, high], [KEPT, KEPT], i)
            add([end + drop / 2, end + drop], [high, high], [KEPT / 2, 0], i)
            following = bond.end if i == last else float(x_of[nodes[i + 1][0]]) - drop
            add([(end + drop + following) / 2], [end], [0], i)
            if i == last:
                add([bond.end], [end], [0], i)
    points, sources, shares, stretches = (np.concatenate(column) for column in zip(*parts, strict=True))
    gap = np.zeros_like(points)
    for flaw in flaws:
        gap[(points >= flaw.start) & (points <= flaw.end)] = (flaw.start + flaw.end) / 2
    return Stations(points, sources, shares, stretches, gap, nodes, tuple(x_of[own] for own in nodes))
