"""How the far ends of a joint are held and loaded: what ties their nodes, and the forces on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from fejoint.mechanics.discretisation import Discretisation, of_mesh

__all__ = ["EndForces", "Face", "deformed_end_forces", "end_faces", "end_forces", "tied_ends"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class EndForces:
    """Resultant of what the surroundings do to an end face, per unit width.

    Attributes
    ----------
    axial, lateral : float, N/mm
        Along x and y.
    moment : float, N
        About the face's mid-plane, counter-clockwise positive.
    x, y : float, mm
        The face's mid-plane.
    """

    axial: float
    lateral: float
    moment: float
    x: float
    y: float

    def moment_about(self, x: float, y: float) -> float:
        """Return the moment about another point (mm), N."""
        return self.moment + self.lateral * (self.x - x) - self.axial * (self.y - y)


@dataclass(frozen=True)
class Face:
    """The far end face of an adherend.

    Attributes
    ----------
    end : str
        ``gripped`` or ``loaded``.
    adherend : str
    nodes, y, weight : (n,) arrays
        Its nodes, their height (mm) and share of the face's length (mm, Simpson's rule).
    mirrored : bool
        Whether the line of symmetry cuts it.
    """

    end: str
    adherend: str
    nodes: Ints
    y: Floats
    weight: Floats
    mirrored: bool

    @property
    def middle(self) -> float:
        """Height of its mid-plane, mm."""
        return float(self.weight @ self.y / self.weight.sum())


@of_mesh
def end_faces(d: Discretisation) -> list[Face]:
    """Return the far end faces of all adherends."""
    mesh = d.section.mesh
    symmetry = np.unique(d.line("symmetry")) if d.section.half else np.empty(0, dtype=np.int64)
    faces = []
    for end in ("gripped", "loaded"):
        line = d.line(end)
        length = np.abs(d.points[line[:, 2], 1] - d.points[line[:, 0], 1])
        share = length[:, None] * np.array([1, 4, 1]) / 6
        pieces = np.cumsum(np.append(False, line[1:, 0] != line[:-1, 2]))  # an end of two adherends has a gap between them
        for piece in range(pieces[-1] + 1):
            own = line[pieces == piece]
            adherend = next(n for n, cells in mesh.subdomains.items() if np.isin(own[0, 1], d.facet_nodes[mesh.t2f[:, cells]]))
            nodes = np.unique(own)
            weight = np.bincount(own.ravel(), share[pieces == piece].ravel(), len(d.points))[nodes]
            faces.append(Face(end, adherend, nodes, d.points[nodes, 1], weight, bool(np.isin(nodes, symmetry).any())))
    return faces


def tied_ends(
    d: Discretisation, ends: str, lifted: bool, tied: Sequence[tuple[int, dict[int | str, float]]] = ()
) -> tuple[sp.csr_array, Ints, dict[str, int]]:
    """Return how the ends tie the displacements to the unknowns.

    That is the matrix that makes displacements (2 a node) from unknowns; the
    number of the unknown that each displacement is, -1 on the tied ones of
    the end faces; and the unknowns that loads work on, by name. `tied` are
    displacements that follow others besides: number, and shares of the others in it.
    """
    special = list(tied)
    faces = end_faces(d)
    for face in faces:
        together = [f for f in faces if f.end == face.end]
        middle = sum(f.middle * f.weight.sum() for f in together) / sum(f.weight.sum() for f in together)
        for node, height in zip(face.nodes, face.y, strict=True):
            terms: dict[int | str, float] = {} if face.end == "gripped" else {"axial": 1.0}
            if ends == "pinned" and not d.section.half:
                terms["turn" if face.end == "loaded" else "turn gripped"] = middle - float(height)
            special.append((2 * int(node), terms))
        if face.mirrored:  # its mean displacement along y is zero by symmetry
            continue
        # The mean displacement along y is zero (or the lift): the node with the largest weight follows from the others.
        k = int(np.argmax(face.weight))
        follows: dict[int | str, float] = {
            2 * int(n) + 1: -float(w / face.weight[k])
            for i, (n, w) in enumerate(zip(face.nodes, face.weight, strict=True))
            if i != k
        }
        if lifted and face.end == "loaded":
            follows["lift"] = float(face.weight.sum() / face.weight[k])
        special.append((2 * int(face.nodes[k]) + 1, follows))
    if d.section.half:
        special += [(2 * int(node) + 1, {}) for node in np.unique(d.line("symmetry"))]

    size = 2 * len(d.points)
    held = np.array([dof for dof, _ in special])
    is_free = np.ones(size, dtype=bool)
    is_free[held] = False
    free = np.flatnonzero(is_free)
    number = np.full(size, -1)
    number[free] = np.arange(len(free))
    names = sorted({key for _, terms in special for key in terms if isinstance(key, str)})
    extra = {name: len(free) + i for i, name in enumerate(names)}
    rows, columns, values = [free], [number[free]], [np.ones(len(free))]
    for dof, terms in special:
        rows.append(np.full(len(terms), dof))
        columns.append(np.array([extra[k] if isinstance(k, str) else number[k] for k in terms], dtype=np.int64))
        values.append(np.array(list(terms.values())))
    entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
    transform = sp.csr_array(sp.coo_array(entries, shape=(size, len(free) + len(names))))
    return transform, number, {name: extra[name] for name in ("axial", "turn", "lift") if name in extra}


def end_forces(d: Discretisation, forces: Floats, face: Face) -> EndForces:
    """Return the resultant of nodal forces, shape (2 nodes,), N/mm, on an end face."""
    fx, fy = forces.reshape(-1, 2)[face.nodes].T
    return EndForces(
        axial=float(fx.sum()),
        lateral=float(fy.sum()),
        moment=float(-(face.y - face.middle) @ fx),
        x=float(d.points[face.nodes, 0].mean()),
        y=face.middle,
    )


def deformed_end_forces(places: Floats, forces: Floats, face: Face) -> EndForces:
    """Return the resultant of nodal forces on an end face whose nodes lie at `places`, shape (nodes, 2), mm."""
    force, place, share = forces.reshape(-1, 2)[face.nodes], places[face.nodes], face.weight / face.weight.sum()
    x, y = (float(v) for v in share @ place)
    arm = place - [x, y]
    moment = arm[:, 0] * force[:, 1] - arm[:, 1] * force[:, 0]
    return EndForces(float(force[:, 0].sum()), float(force[:, 1].sum()), float(moment.sum()), x, y)
