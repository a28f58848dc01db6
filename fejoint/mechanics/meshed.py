"""A meshed cross-section: cells and sides of cells that go by the name of their region or curve."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from skfem import MeshQuad

from fejoint.errors import MeshError

__all__ = ["Section", "areas_of", "facets_between"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Section:
    """The meshed cross-section of a joint.

    Attributes
    ----------
    mesh : skfem.MeshQuad
        Straight-sided quadrilaterals, mm. Its subdomains are the regions
        (the adherends by name, ``adhesive``), its boundaries the named curves
        (``gripped``, ``loaded``, ``bondline 1 middle``, ``symmetry``, ...).
    density : float
        Mesh density it was made with.
    """

    mesh: MeshQuad
    density: float

    @property
    def half(self) -> bool:
        """Whether it is the upper half of a section that is its own mirror image about y = 0."""
        return "symmetry" in self.mesh.boundaries

    def cells(self, region: str) -> NDArray[np.int64]:
        """Return the cell numbers of a region."""
        return np.asarray(self.mesh.subdomains[region], dtype=np.int64)

    def facets(self, curve: str) -> NDArray[np.int64]:
        """Return the facet numbers of a named curve."""
        return np.asarray(self.mesh.boundaries[curve], dtype=np.int64)


def areas_of(corners: Floats) -> Floats:
    """Return the signed areas of quadrilaterals; corners has shape (2, 4, cells)."""
    x, y = corners
    return 0.5 * np.asarray((x[2] - x[0]) * (y[3] - y[1]) - (x[3] - x[1]) * (y[2] - y[0]))


def facets_between(mesh: MeshQuad, nodes: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the numbers of the facets between pairs of nodes, shape (2, n).

    Raises
    ------
    MeshError
        A pair is not a side of any cell.
    """

    def keyed(pairs: NDArray[np.int64]) -> NDArray[np.int64]:
        # 64 bits: the product of two node numbers outgrows the 32 that scikit-fem keeps them in.
        low, high = np.sort(pairs.astype(np.int64), axis=0)
        return np.asarray(low * mesh.p.shape[1] + high)

    keys, wanted = keyed(mesh.facets), keyed(nodes)
    order = np.argsort(keys)
    place = np.minimum(np.searchsorted(keys[order], wanted), len(order) - 1)
    if not np.array_equal(keys[order][place], wanted):
        raise MeshError("these nodes are not the ends of sides of cells.")
    return np.asarray(order[place])
