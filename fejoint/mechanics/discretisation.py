"""Nodes, shape functions and their integrals on a meshed section, whatever the materials."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import update_wrapper
from typing import Any, Concatenate, ParamSpec, TypeVar

import numpy as np
from numpy.typing import NDArray
from skfem import CellBasis, ElementQuad2

from fejoint.mechanics.section import Section

__all__ = ["Discretisation", "discretise", "of_mesh", "shared"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
P = ParamSpec("P")
Made = TypeVar("Made")


def shared(made: Made) -> Made:
    """Return arrays, or a tuple or list of things among which are some, such that nobody can write into them.

    What serves one joint after another must not be changed by the first.
    """
    for part in made if isinstance(made, tuple | list) else (made,):
        if isinstance(part, np.ndarray):
            part.flags.writeable = False
    return made


def of_mesh(make: Callable[Concatenate[Discretisation, P], Made]) -> Callable[Concatenate[Discretisation, P], Made]:
    """Let a function of a discretisation, and of names and flags, work once: what it made stays with the discretisation.

    For what depends on the mesh alone, so that other materials and loads find it there. Nobody changes it afterwards.
    """

    def once(d: Discretisation, /, *names: P.args, **more: P.kwargs) -> Made:
        key = (make.__module__, make.__qualname__, *names, *sorted(more.items()))
        if key not in d.made:
            d.made[key] = shared(make(d, *names, **more))
        made: Made = d.made[key]
        return made

    update_wrapper(once, make)
    return once


@dataclass(frozen=True, eq=False)
class Discretisation:
    """Nodes, shape functions and their integrals on one section, whatever the materials.

    Indices: a, b shape function (9), q quadrature point (9), c cell.

    Attributes
    ----------
    section : Section
    points : (nodes, 2) array, mm
    nodes_ac : (c, 9) array
        Node numbers of every cell: corners, edge mid-points, centre.
    facet_nodes : (facets,) array
        Number of the node in the middle of every facet.
    shape_qa : (9, 9) array
        Shape functions at the quadrature points.
    grad_ajqc : (c, q, a, 2) array, 1/mm
    weight_qc : (c, q) array, mm^2
    xx_abc, xy_abc, yy_abc : (c, a, a) arrays
        Integrals of products of shape function derivatives.
    made : dict
        What else was made of them (`of_mesh`).
    """

    section: Section
    points: Floats
    nodes_ac: Ints
    facet_nodes: Ints
    shape_qa: Floats
    grad_ajqc: Floats
    weight_qc: Floats
    xx_abc: Floats
    xy_abc: Floats
    yy_abc: Floats
    made: dict[Any, Any] = field(default_factory=dict, init=False, repr=False)

    @of_mesh
    def line(self, curve: str) -> Ints:
        """Return the nodes of a named curve facet by facet, shape (facets, 3): start, middle, end.

        Facets are directed along +x, downwards where vertical (but for those of
        the curve ``"... upwards"`` of the same name), and sorted by x, then along
        that direction.
        """
        mesh = self.section.mesh
        facets = self.section.facets(curve)
        upwards = np.isin(facets, mesh.boundaries.get(f"{curve} upwards", []))
        ends = mesh.facets[:, facets].T
        nodes = np.column_stack([ends[:, 0], self.facet_nodes[facets], ends[:, 1]])
        run, rise = (self.points[nodes[:, 2]] - self.points[nodes[:, 0]]).T
        vertical = np.abs(run) < 1e-6 * np.abs(rise)
        backwards = np.where(vertical, (rise > 0) ^ upwards, run < 0)
        nodes[backwards] = nodes[backwards, ::-1]
        x, y = self.points[nodes[:, 1]].T
        # The facets of a vertical line share their x but for round-off.
        return nodes[np.lexsort((np.where(upwards, y, -y), np.round(x, 9)))]


def discretise(section: Section) -> Discretisation:
    """Return the shape functions of a section and their integrals."""
    # Order 4 (three points a side) is exact on parallelograms and costs far less than skfem's default.
    basis = CellBasis(section.mesh, ElementQuad2(), intorder=4)
    grad_ajqc = np.stack([basis.basis[a][0].grad for a in range(9)]).transpose(2, 3, 0, 1)
    weight_qc = np.ascontiguousarray(basis.dx)
    grad_ajqc = np.ascontiguousarray(grad_ajqc)
    x, y = grad_ajqc[..., 0], grad_ajqc[..., 1]
    wx = (weight_qc[..., None] * x).transpose(0, 2, 1)
    wy = (weight_qc[..., None] * y).transpose(0, 2, 1)
    shape_qa = np.stack([np.asarray(basis.basis[a][0])[0] for a in range(9)], axis=1)
    made = Discretisation(
        section=section,
        points=np.ascontiguousarray(basis.doflocs.T),
        nodes_ac=np.ascontiguousarray(basis.element_dofs.T),
        facet_nodes=basis.facet_dofs[0],
        shape_qa=shape_qa,
        grad_ajqc=grad_ajqc,
        weight_qc=weight_qc,
        xx_abc=wx @ x,
        xy_abc=wx @ y,
        yy_abc=wy @ y,
    )
    mesh = section.mesh
    shared([*vars(made).values(), mesh.p, mesh.t, *(mesh.subdomains or {}).values(), *(mesh.boundaries or {}).values()])
    return made
