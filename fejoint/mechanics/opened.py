"""A meshed section parted along sides of its cells, or with some of its cells taken out.

Parting goes by corners: every vertex becomes as many as there are groups of
cells round it that still hang together side by side; at the tip of what is
parted they do, round the front of it, so that the tip stays one.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from skfem import MeshQuad

from fejoint.errors import MeshError
from fejoint.joint.geometry import Bond
from fejoint.mechanics.meshed import Section

__all__ = ["FACES", "opened", "sides_along", "without"]

Ints = NDArray[np.int64]

# Curves along the faces of a disbond: the sides of the cells below it and of those above.
FACES = ("disbond below", "disbond above")


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


def without(section: Section, cells: Ints) -> Section:
    """Return a section without some of its cells, and without the nodes and sides that belonged to them alone."""
    mesh = section.mesh
    left = np.setdiff1d(np.arange(mesh.t.shape[1]), cells)
    used = np.unique(mesh.t[:, left])
    number = np.full(mesh.p.shape[1], -1)
    number[used] = np.arange(len(used))
    cell = np.full(mesh.t.shape[1], -1)
    cell[left] = np.arange(len(left))
    rest = MeshQuad(np.ascontiguousarray(mesh.p[:, used]), np.ascontiguousarray(number[mesh.t[:, left]]))
    # A side stays where one of its cells does, as the same side of that cell.
    kept = [np.where(side >= 0, cell[side], -1) for side in mesh.f2t]
    of = np.where(kept[0] >= 0, 0, 1)
    curves = {}
    for name, members in mesh.boundaries.items():
        facets = np.asarray(members, dtype=np.int64)
        facets = facets[(kept[0][facets] >= 0) | (kept[1][facets] >= 0)]
        own = mesh.f2t[of[facets], facets]
        local = np.argmax(mesh.t2f[:, own] == facets, axis=0)
        curves[name] = np.asarray(rest.t2f[local, cell[own]], dtype=np.int64)
    regions = {name: cell[np.intersect1d(members, left)] for name, members in mesh.subdomains.items()}
    return Section(rest.with_subdomains(regions).with_boundaries(curves), section.density)


def sides_along(section: Section, bonds: Sequence[Bond], bond: Bond, level: str, low: float, high: float) -> Ints:
    """Return the facets of a level of a bond between two places along x, mm: ``middle``, ``lower`` or ``upper``.

    Of the middle those of its cut; of an interface those between the adhesive and
    the adherend, round its fillet too. Only facets between two cells.
    """
    mesh = section.mesh
    if level == "middle":
        candidates = section.facets(f"cut {bond.number}" if f"cut {bond.number}" in mesh.boundaries else "cut 1")
        candidates = candidates[mesh.f2t[1, candidates] >= 0]
    else:
        region = np.zeros(mesh.t.shape[1], dtype=np.int64)
        region[section.cells("adhesive")] = 1
        region[section.cells(bond.below if level == "lower" else bond.above)] = 2
        inner = np.flatnonzero(mesh.f2t[1] >= 0)
        candidates = inner[np.abs(np.diff(region[mesh.f2t[:, inner]], axis=0))[0] * region[mesh.f2t[:, inner]].min(axis=0) == 1]
    x, y = mesh.p[:, mesh.facets[:, candidates]].mean(axis=1)
    # Another bond's layer may be met too, of a double lap's inner: the nearest bond is meant. Treads lie side by side.
    over = [other for other in bonds if other.start < min(bond.end, high) and other.end > max(bond.start, low)]
    nearest = np.argmin([np.abs(y - other.y) for other in over], axis=0)
    return np.asarray(candidates[(x > low) & (x < high) & (nearest == over.index(bond))])
