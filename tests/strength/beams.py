"""Fracture beams, plates and strips as meshes of their own, for the energy release of the package to be held against formulas.

Tensor grids that are opened along y = 0 from x = 0 to the tip; layers from below,
each of one material. Ends are loaded by tractions, and supports take no more than
the rigid motions, unless a test says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import scipy.sparse as sp
from scipy.sparse.linalg import spsolve
from skfem import MeshQuad

from fejoint.joint.conditions import Environment
from fejoint.joint.materials import Isotropic, Orthotropic
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.disbond import Tip, opened, tip_of
from fejoint.mechanics.elasticity import Law, element_stiffness, law
from fejoint.mechanics.closure import Field, closure, field_of, j_integral
from fejoint.mechanics.linear import cell_dofs
from fejoint.mechanics.section import Section


class Layer(NamedTuple):
    """A layer: E (MPa), nu, thickness (mm), number of cells across (0: as graded), thermal expansion (1/K); or any material."""

    modulus: float
    ratio: float
    thickness: float
    cells: int
    expansion: float = 0.0
    other: Orthotropic | None = None


@dataclass
class Strip:
    """A strip of layers, opened from its left end."""

    d: Discretisation
    laws: dict[str, Law]
    matrix: sp.csr_array
    tip: Tip

    def face(self, x: float, low: float, high: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return nodes, heights and weights (of Simpson's rule, mm) of an upright face between two heights."""
        ends = self.d.points[self.d.section.mesh.facets]  # (2, facets, 2)
        own = (np.abs(ends[..., 0] - x) < 1e-9) & (ends[..., 1] > low - 1e-9) & (ends[..., 1] < high + 1e-9)
        return self._weighted(np.flatnonzero(own.all(axis=0)))

    def edge(self, y: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return the same of the edge along x at a height."""
        ends = self.d.points[self.d.section.mesh.facets]
        return self._weighted(np.flatnonzero((np.abs(ends[..., 1] - y) < 1e-9).all(axis=0)))

    def _weighted(self, facets: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        mesh, points = self.d.section.mesh, self.d.points
        nodes = np.concatenate([mesh.facets[0, facets], self.d.facet_nodes[facets], mesh.facets[1, facets]])
        length = np.hypot(*np.diff(points[mesh.facets[:, facets]], axis=0)[0].T)
        weight = np.bincount(nodes, np.concatenate([length, 4 * length, length]) / 6, len(points))
        used = np.flatnonzero(weight)
        return used, points[used, 1], weight[used]

    def traction(self, face, along: float = 0.0, across: float = 0.0, moment: float = 0.0) -> np.ndarray:
        """Return nodal forces, (nodes, 2), of a force along x, one along y and a moment (counter-clockwise) on a face, N/mm and N."""
        nodes, y, weight = face
        middle = weight @ y / weight.sum()
        force = np.zeros_like(self.d.points)
        force[nodes, 0] = along * weight / weight.sum()
        if moment:
            force[nodes, 0] -= moment * weight * (y - middle) / (weight @ (y - middle) ** 2)
        force[nodes, 1] = across * weight / weight.sum()
        return force

    def thermal(self, change: float) -> np.ndarray:
        """Return the nodal forces, (nodes, 2), that make free expansion of a change of temperature (K), in plane strain."""
        force = np.zeros_like(self.d.points)
        for name, own in self.laws.items():
            cells = self.d.section.cells(name)
            xx, yy, xy, _ = own.free_stress(Environment(temperature_change=change))
            gradient = np.einsum("cqaj,cq->caj", self.d.grad_ajqc[cells], self.d.weight_qc[cells])
            np.add.at(force, self.d.nodes_ac[cells], gradient @ np.array([[xx, xy], [xy, yy]]))
        return force

    def solved(self, force: np.ndarray, held: np.ndarray) -> np.ndarray:
        """Return the displacement, (nodes, 2), under nodal forces with some displacements (2 a node, by number) held."""
        free = np.setdiff1d(np.arange(force.size), held)
        u = np.zeros(force.size)
        u[free] = spsolve(self.matrix[np.ix_(free, free)].tocsc(), force.ravel()[free])
        return u.reshape(-1, 2)

    def at_rest(self) -> np.ndarray:
        """Return the numbers of three displacements that take the rigid motions: of two nodes at the right end."""
        nodes, y, _ = self.face(self.d.points[:, 0].max(), -np.inf, np.inf)
        low, high = nodes[np.argmin(y)], nodes[np.argmax(y)]
        return np.array([2 * low, 2 * low + 1, 2 * high])

    def field(self, u: np.ndarray, change: float = 0.0) -> Field:
        return field_of(self.d, self.laws, u, environment=Environment(temperature_change=change))

    def rates(self, u: np.ndarray, change: float = 0.0) -> tuple[float, float]:
        """Return the energy release rates of shear and opening by crack closure, N/mm."""
        found = closure(self.d, self.tip, self.field(u, change))
        shear, opening = found.work(found)
        return float(shear), float(opening)

    def j(self, u: np.ndarray, outer: float, change: float = 0.0) -> float:
        return j_integral(self.d, self.tip, self.field(u, change), outer / 2, outer)

    def energy(self, u: np.ndarray, change: float = 0.0) -> float:
        return float((self.field(u, change).energy * self.d.weight_qc).sum())


def grown(start: float, end: float, first: float, ratio: float = 1.3, longest: float = np.inf) -> np.ndarray:
    """Return places from `start` to `end` (excluded is the start) whose distances grow from `first`."""
    sizes = [first]
    while sum(sizes) < abs(end - start):
        sizes.append(min(sizes[-1] * ratio, longest))
    steps = np.cumsum(sizes) * abs(end - start) / sum(sizes)
    return start + np.sign(end - start) * steps


def strip(layers: list[Layer], crack_above: int, crack: float, length: float, cell: float, longest: float = np.inf) -> Strip:
    """Return a strip of layers whose disbond, from x = 0 to `crack`, lies above the first `crack_above` of them, at y = 0.

    `cell` is the length of the cells at the tip, mm; towards y = 0 cells across the layers next to it grow finer to that size.
    """
    even = cell * np.arange(-4, 5)
    left = grown(crack - 4 * cell, 0.0, cell * 1.3, longest=longest)[::-1]
    right = grown(crack + 4 * cell, length, cell * 1.3, longest=longest)
    x = np.concatenate([left, crack + even, right])
    bottom = -sum(layer.thickness for layer in layers[:crack_above])
    y, region, low = [np.array([bottom])], [], bottom
    for i, layer in enumerate(layers):
        high = low + layer.thickness
        if layer.cells:
            rows = np.linspace(low, high, layer.cells + 1)[1:]
        elif i < crack_above:  # finer towards y = 0 above
            rows = np.append(grown(high, low, cell)[::-1][1:], high)
        else:
            rows = grown(low, high, cell)
        y.append(rows)
        region += [i] * len(rows)
        low = high
    y = np.concatenate(y)
    y[np.argmin(np.abs(y))] = 0.0
    mesh = MeshQuad.init_tensor(x, y)
    of_row = np.array(region)[np.searchsorted(y, mesh.p[1, mesh.t].mean(axis=0)) - 1]
    mesh = mesh.with_subdomains({f"layer {i}": np.flatnonzero(of_row == i) for i in range(len(layers))}).with_boundaries({})
    ends = mesh.p[:, mesh.facets]
    along = (np.abs(ends[1]) < 1e-12).all(axis=0) & (ends[0].mean(axis=0) < crack)
    d = discretise(opened(Section(mesh, 1.0), np.flatnonzero(along)))
    laws = {
        f"layer {i}": law(m.other or Isotropic(elastic_modulus=m.modulus, poisson_ratio=m.ratio, expansion=m.expansion))
        for i, m in enumerate(layers)
    }
    stiffness = np.empty((len(d.nodes_ac), 4, 4))
    for name, own in laws.items():
        stiffness[d.section.cells(name)] = own.stiffness
    k = element_stiffness(stiffness, d.xx_abc, d.xy_abc, d.yy_abc)
    dofs = cell_dofs(d)
    rows, columns = np.repeat(dofs, 18, axis=1).ravel(), np.tile(dofs, (1, 18)).ravel()
    matrix = sp.csr_array(sp.coo_array((k.ravel(), (rows, columns)), shape=(2 * len(d.points),) * 2))
    return Strip(d, laws, matrix, tip_of(d))
