"""A disbond in a meshed section: the mesh opened along it, and the nodes at its tip.

Opening parts the mesh along sides of cells. Every vertex becomes as many as
there are groups of cells round it that still hang together side by side; at
the tip they do, round the front of it, so that the tip stays one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from skfem import MeshQuad

from fejoint.errors import MeshError
from fejoint.joint.description import Joint
from fejoint.joint.disbond import Disbond
from fejoint.mechanics.discretisation import Discretisation, of_mesh
from fejoint.mechanics.section import Section, mesh_section

__all__ = ["FACES", "Tip", "disbonded", "opened", "opening", "tip_of", "tips_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Curves along the faces of a disbond: the sides of the cells below it and of those above.
FACES = ("disbond below", "disbond above")
# Even cells come out of gmsh equal to 2e-5; a mesh that is graded at the tip differs by percents.
EVEN = 1e-3
# A tapering glue line's middle may lean by a twentieth.
STEEPEST = 0.06


@dataclass(frozen=True)
class Tip:
    """The nodes that virtual crack closure asks for: cells are as long behind the tip as ahead of it.

    Attributes
    ----------
    x, y : float, mm
    forward : int
        1 where the disbond grows along x, -1 where against it.
    length : float, mm
        Of the cells at the tip.
    ahead : (2,) array
        The tip, and the node in the middle of the side ahead of it.
    below, above : (2,) arrays
        The nodes as far behind the tip as the side is long, and half as far, on both faces.
    cells_above : (n,) array
        Cells above the disbond's line that have a node `ahead`.
    lean : float
        Angle from x to the line that it grows along, counter-clockwise: other than 0 in a tapering glue line.
    """

    x: float
    y: float
    forward: int
    length: float
    ahead: Ints
    below: Ints
    above: Ints
    cells_above: Ints
    lean: float = 0.0


def disbonded(joint: Joint, disbond: Disbond, density: float | None = None) -> Section:
    """Return the meshed whole section of a joint, opened along a disbond that fits (`fejoint.joint.disbond.checked`)."""
    section = mesh_section(joint, density, whole=True, disbond_tip=disbond.tip(joint)[0])
    bond = disbond.bond(joint)
    below = {"middle": None, "lower": bond.below, "upper": "adhesive"}[disbond.place]
    return opened(section, _sides(section, joint, disbond), None if below is None else section.cells(below))


def opened(section: Section, facets: Ints, below: Ints | None = None) -> Section:
    """Return a section whose mesh is parted along some of its facets, each between two cells.

    Regions and curves go with it; a curve that runs along the disbond keeps
    the side of the cell below. The faces are two new curves (`FACES`).

    Parameters
    ----------
    section : Section
    facets : (n,) array
    below : array, optional
        Cells that count as below the disbond, one at each facet; by default
        those that lie lower, which says nothing where it runs upright.

    Raises
    ------
    MeshError
        A facet lies on the section's edge, where there is nothing to part.
    """
    mesh = section.mesh
    facets = np.asarray(facets, dtype=np.int64)
    if len(facets) == 0 or (mesh.f2t[1, facets] < 0).any():
        raise MeshError("a disbond must run along sides between two cells.")
    cells = mesh.t.shape[1]
    corners = np.arange(4 * cells).reshape(4, cells)  # every corner of every cell
    joined = np.setdiff1d(np.flatnonzero(mesh.f2t[1] >= 0), facets)
    first, second = (
        corners[np.argmax(mesh.t[:, cell][:, None] == mesh.facets[None, :, joined], axis=0), cell] for cell in mesh.f2t[:, joined]
    )
    links = sp.coo_array((np.ones(first.size), (first.ravel(), second.ravel())), shape=(4 * cells, 4 * cells))
    _, vertex = connected_components(links, directed=False)
    # Numbered by the vertex that they were, so that a mesh that is opened nowhere stays as it is.
    old = np.zeros(vertex.max() + 1, dtype=np.int64)
    old[vertex] = mesh.t.ravel()
    order = np.argsort(old, kind="stable")
    number = np.empty_like(order)
    number[order] = np.arange(len(order))
    parted = MeshQuad(np.ascontiguousarray(mesh.p[:, old[order]]), np.ascontiguousarray(number[vertex].reshape(4, cells)))

    # A facet is the same side of the same cell; of the two cells along the disbond, that below comes first.
    height = mesh.p[1, mesh.t].mean(axis=0) if below is None else -np.isin(np.arange(cells), below).astype(float)
    sides = mesh.f2t.copy()
    swap = facets[height[sides[0, facets]] > height[sides[1, facets]]]
    sides[:, swap] = sides[::-1, swap]

    def moved(which: Ints, side: int = 0) -> Ints:
        cell = sides[side, which]
        local = np.argmax(mesh.t2f[:, cell] == which, axis=0)
        return np.asarray(parted.t2f[local, cell], dtype=np.int64)

    curves = {name: moved(np.asarray(members, dtype=np.int64)) for name, members in mesh.boundaries.items()}
    curves |= {name: moved(facets, side) for side, name in enumerate(FACES)}
    return Section(parted.with_subdomains(mesh.subdomains).with_boundaries(curves), section.density)


def tip_of(d: Discretisation) -> Tip:
    """Return the tip of an opened section's one disbond (`tips_of`); MeshError where there is not one tip."""
    tips = tips_of(d)
    if len(tips) != 1:
        raise MeshError(f"a disbond must end at one place inside the section, not at {len(tips)}.")
    return tips[0]


@of_mesh
def tips_of(d: Discretisation) -> tuple[Tip, ...]:
    """Return the tips of an opened section's disbonds, which must end along x, in order along x, upwards.

    Raises
    ------
    MeshError
        The cells at one are not even.
    """
    below, above = (d.line(name) for name in FACES)
    shared = np.intersect1d(below[:, [0, 2]], above[:, [0, 2]])
    tips = [_tip(d, int(node), below, above) for node in shared]
    return tuple(sorted(tips, key=lambda tip: (round(tip.x, 9), tip.y)))


def _tip(d: Discretisation, tip: int, below: Ints, above: Ints) -> Tip:
    mesh, points = d.section.mesh, d.points
    row = int(np.flatnonzero((below[:, [0, 2]] == tip).any(axis=1))[0])
    forward = 1 if below[row, 2] == tip else -1
    behind = [0, 1] if forward > 0 else [2, 1]
    back = points[tip] - points[below[row, behind[0]]]
    length = float(np.hypot(*back))
    sides = np.flatnonzero((mesh.facets == tip).any(axis=0))
    others = mesh.facets[:, sides].sum(axis=0) - tip
    off = np.hypot(*(points[others] - points[tip] - back).T)
    nearest = int(np.argmin(off))
    if off[nearest] > EVEN * length or abs(back[1]) > STEEPEST * length:
        raise MeshError("the cells at a disbond's tip must be even, and lie along x.")
    ahead = np.array([tip, d.facet_nodes[sides[nearest]]])
    touching = np.isin(d.nodes_ac, ahead).any(axis=1)
    higher = points[d.nodes_ac[:, 8], 1] > points[tip, 1]
    x, y = (float(v) for v in points[tip])
    higher_cells = np.flatnonzero(touching & higher)
    lean = float(np.arctan2(forward * back[1], forward * back[0]))
    return Tip(x, y, forward, length, ahead, below[row, behind], above[row, behind], higher_cells, lean)


def opening(d: Discretisation, displacement: Floats) -> tuple[Floats, Floats]:
    """Return how far apart the faces move across their plane, and where along x, both in mm and of shape (3 * facets,).

    Negative where they run into each other; in order along x.
    """
    below, above = (d.line(name) for name in FACES)
    tangent = d.points[below[:, 2]] - d.points[below[:, 0]]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) / np.hypot(*tangent.T)[:, None]
    jump = displacement[above] - displacement[below]
    # Where the disbond runs upright, up a fillet's face, the normal has to be turned away from the cell that counts as below.
    sides, cell = d.section.facets(FACES[0]), np.empty(len(d.points), dtype=np.int64)
    cell[d.facet_nodes[sides]] = d.section.mesh.f2t[0, sides]
    middle = below[:, 1]
    away = np.sign(((d.points[middle] - d.points[d.nodes_ac[cell[middle], 8]]) * normal).sum(axis=1))
    apart = away[:, None] * (jump * normal[:, None]).sum(axis=2)
    return apart.ravel(), d.points[below, 0].ravel()


def _sides(section: Section, joint: Joint, disbond: Disbond) -> Ints:
    """Return the facets along a disbond: of the cut through the layer, or between the adhesive and an adherend."""
    mesh, bond = section.mesh, disbond.bond(joint)
    if disbond.place == "middle":
        candidates = section.facets(f"cut {bond.number}")
    else:
        region = np.zeros(mesh.t.shape[1], dtype=np.int64)
        region[section.cells("adhesive")] = 1
        region[section.cells(bond.below if disbond.place == "lower" else bond.above)] = 2
        inner = np.flatnonzero(mesh.f2t[1] >= 0)
        candidates = inner[np.abs(np.diff(region[mesh.f2t[:, inner]], axis=0))[0] * region[mesh.f2t[:, inner]].min(axis=0) == 1]
    x, y = mesh.p[:, mesh.facets[:, candidates]].mean(axis=1)
    tip, bonds = disbond.tip(joint)[0], joint.geometry.bonds()
    behind = x < tip if disbond.end == "left" else x > tip
    # The inner of a double lap meets both layers: the nearer one is meant.
    nearest = np.argmin([np.abs(y - other.y) for other in bonds], axis=0)
    return np.asarray(candidates[behind & (nearest == bonds.index(bond))])
