"""Assemble, factor, solve: the linear section.

Nine-node quadrilaterals. What depends on the mesh alone (`Discretisation`) is
apart from what depends on the materials (`System`), so that studies can reuse
both: loads and temperatures share a factorisation, materials share a mesh.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from skfem import CellBasis, ElementQuad2

from fejoint.errors import ConvergenceError
from fejoint.joint.families import Joint
from fejoint.mechanics.elasticity import Law, element_stiffness, law
from fejoint.mechanics.factor import factorise
from fejoint.mechanics.section import Section

__all__ = ["Discretisation", "EndForces", "Solution", "System", "assemble", "discretise", "laws_of", "solve_linear"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
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

    def line(self, curve: str) -> Ints:
        """Return the nodes of a named curve facet by facet, shape (facets, 3): start, middle, end.

        Facets are directed along +x (downwards where vertical) and sorted by
        their place along that direction.
        """
        mesh = self.section.mesh
        facets = self.section.facets(curve)
        ends = mesh.facets[:, facets].T
        nodes = np.column_stack([ends[:, 0], self.facet_nodes[facets], ends[:, 1]])
        along = self.points[:, 0] - self.points[:, 1]
        backwards = along[nodes[:, 2]] < along[nodes[:, 0]]
        nodes[backwards] = nodes[backwards, ::-1]
        return nodes[np.argsort(along[nodes[:, 1]], kind="stable")]


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


@dataclass(frozen=True)
class System:
    """A factored section: materials and ends are in, loads are not.

    `solve` takes right-hand sides of shape (unknowns, loads).
    """

    discretisation: Discretisation
    laws: dict[str, Law]
    ends: str
    matrix: sp.csc_array
    transform: sp.csr_array
    solve: Callable[[Floats], Floats]
    stiffness_ec: Floats
    end_cells: Ints
    axial_unknown: int


@dataclass(frozen=True)
class Solution:
    """The solved section.

    Attributes
    ----------
    joint : Joint
    discretisation : Discretisation
    laws : dict of Law
        Hooke's law by region.
    displacement : (nodes, 2) array, mm
    width_strain : float
        The uniform strain across the width (0 in plane strain).
    gripped, loaded : EndForces
    backward_error : float
        Residual over (norm of the matrix times that of the solution, plus the load's).
    elongation : float
        Displacement of the loaded end along x, mm.
    """

    joint: Joint
    discretisation: Discretisation
    laws: dict[str, Law]
    displacement: Floats
    width_strain: float
    gripped: EndForces
    loaded: EndForces
    backward_error: float
    elongation: float

    @property
    def section(self) -> Section:
        """The meshed section."""
        return self.discretisation.section


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
    return Discretisation(
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


def assemble(discretisation: Discretisation, laws: dict[str, Law], ends: str) -> System:
    """Return the factored system of a section with given materials and ends.

    Ends: the face moves as one in x and its mean displacement along y is zero
    (so that it is free to contract); ``"clamped"`` faces do not turn,
    ``"pinned"`` ones turn rigidly about their mid-plane. The gripped face
    stays where it is along x.
    """
    d = discretisation
    stiffness_ec = element_stiffness(_cell_field(d, {n: m.stiffness for n, m in laws.items()}), d.xx_abc, d.xy_abc, d.yy_abc)
    transform, unknown, axial_unknown = _ends(d, ends)

    # Cells away from the end faces map one to one; only the few at the faces need the transformation.
    dofs = _cell_dofs(d)
    at_ends = (unknown[dofs] < 0).any(axis=1)
    end_cells = np.flatnonzero(at_ends)
    n = transform.shape[1]
    inner = _scatter(unknown[dofs[~at_ends]], stiffness_ec[~at_ends], n)
    face = _scatter(dofs[end_cells], stiffness_ec[end_cells], len(unknown))
    matrix = inner + sp.csc_array(transform.T @ face @ transform)
    return System(d, laws, ends, matrix, transform, factorise(matrix), stiffness_ec, end_cells, axial_unknown)


def solve_linear(system: System, joint: Joint) -> Solution:
    """Return displacements and reactions of a factored system under a joint's load.

    Raises
    ------
    ConvergenceError
        The solution is not finite.
    """
    d = system.discretisation
    change = joint.load.temperature_change
    generalised = joint.out_of_plane == "generalised"
    gradient = np.einsum("cqaj,cq->caj", d.grad_ajqc, d.weight_qc, optimize=True) if change or generalised else None

    def nodal_forces(stress_by_region: dict[str, Floats]) -> Floats:
        """Return the nodal forces that balance a stress (4 components) uniform in each region."""
        if gradient is None:
            return np.zeros(2 * len(d.points))
        stress_ic = _cell_field(d, stress_by_region)
        force = stress_ic[:, None, [0, 1]] * gradient + stress_ic[:, None, [2, 2]] * gradient[:, :, ::-1]
        return np.asarray(np.bincount(_cell_dofs(d).ravel(), force.reshape(-1), 2 * len(d.points)), dtype=np.float64)

    thermal = nodal_forces({name: m.free_stress(change) for name, m in system.laws.items()})
    load = system.transform.T @ thermal
    load[system.axial_unknown] += joint.line_load

    width_strain = 0.0
    if generalised:
        # One more unknown, the width strain e: K u + k e = f and k.u + s e = net thermal force across the width.
        forces_per_strain = nodal_forces({name: m.stiffness[:, 3] for name, m in system.laws.items()})
        per_strain = system.transform.T @ forces_per_strain
        solved = system.solve(np.column_stack([load, per_strain]))
        area = {name: float(d.weight_qc[d.section.cells(name)].sum()) for name in system.laws}
        s = sum(m.stiffness[3, 3] * area[name] for name, m in system.laws.items())
        net = sum(m.free_stress(change)[3] * area[name] for name, m in system.laws.items())
        width_strain = float((net - per_strain @ solved[:, 0]) / (s - per_strain @ solved[:, 1]))
        unknowns = solved[:, 0] - width_strain * solved[:, 1]
        load = load - width_strain * per_strain
        full_load = thermal - width_strain * forces_per_strain
    else:
        unknowns = system.solve(load[:, None])[:, 0]
        full_load = thermal

    if not np.isfinite(unknowns).all():
        raise ConvergenceError("the equations have no finite solution.")
    residual = system.matrix @ unknowns - load
    largest_row = np.add.reduceat(np.abs(system.matrix.data), system.matrix.indptr[:-1]).max()  # symmetric: columns are rows
    scale = largest_row * np.abs(unknowns).max() + np.abs(load).max()
    backward_error = float(np.abs(residual).max() / scale) if scale > 0 else 0.0
    displacement = (system.transform @ unknowns).reshape(-1, 2)

    # Forces on the end faces: what their cells ask for beyond the body's own thermal load.
    dofs = _cell_dofs(d)[system.end_cells]
    internal = np.einsum("cab,cb->ca", system.stiffness_ec[system.end_cells], displacement.ravel()[dofs])
    forces = np.bincount(dofs.ravel(), internal.ravel(), 2 * len(d.points)) - full_load
    return Solution(
        joint=joint,
        discretisation=d,
        laws=system.laws,
        displacement=displacement,
        width_strain=width_strain,
        gripped=_resultant(d, forces, "gripped"),
        loaded=_resultant(d, forces, "loaded"),
        backward_error=backward_error,
        elongation=float(unknowns[system.axial_unknown]),
    )


def laws_of(joint: Joint) -> dict[str, Law]:
    """Return Hooke's law of every region of a joint's section."""
    return {name: law(material) for name, material in joint.materials().items()}


# ---- parts ---------------------------------------------------------------


def _cell_field(d: Discretisation, by_region: dict[str, Floats]) -> Floats:
    """Return a value per region as a value per cell."""
    some = next(iter(by_region.values()))
    field = np.empty((len(d.nodes_ac), *some.shape))
    for name, value in by_region.items():
        field[d.section.cells(name)] = value
    return field


def _cell_dofs(d: Discretisation) -> Ints:
    return (2 * d.nodes_ac[:, :, None] + np.arange(2)).reshape(len(d.nodes_ac), -1)


def _scatter(dofs: Ints, matrices: Floats, n: int) -> sp.csc_array:
    # 32-bit numbers, which the sparse matrix ends up with anyway, halve the traffic of the largest arrays here.
    dofs = dofs.astype(np.int32)
    rows = np.repeat(dofs, dofs.shape[1], axis=1).ravel()
    columns = np.tile(dofs, (1, dofs.shape[1])).ravel()
    return sp.csc_array(sp.coo_array((matrices.ravel(), (rows, columns)), shape=(n, n)))


def _ends(d: Discretisation, ends: str) -> tuple[sp.csr_array, Ints, int]:
    """Return how the ends tie the displacements to the unknowns.

    That is the matrix that makes displacements (2 a node) from unknowns; the
    number of the unknown that each displacement is, -1 on the tied ones of
    the end faces; and the unknown that the axial force works on.
    """
    special: list[tuple[int, dict[int | str, float]]] = []
    for face in ("gripped", "loaded"):
        nodes, y, weight, middle = _face(d, face)
        for node, height in zip(nodes, y, strict=True):
            terms: dict[int | str, float] = {} if face == "gripped" else {"axial": 1.0}
            if ends == "pinned":
                terms[f"turn {face}"] = middle - float(height)
            special.append((2 * int(node), terms))
        # The mean displacement along y is zero: the node with the largest weight follows from the others.
        k = int(np.argmax(weight))
        follows: dict[int | str, float] = {
            2 * int(n) + 1: -float(w / weight[k]) for i, (n, w) in enumerate(zip(nodes, weight, strict=True)) if i != k
        }
        special.append((2 * int(nodes[k]) + 1, follows))

    size = 2 * len(d.points)
    held = np.array([dof for dof, _ in special])
    free = np.setdiff1d(np.arange(size), held)
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
    return transform, number, extra["axial"]


def _face(d: Discretisation, face: str) -> tuple[Ints, Floats, Floats, float]:
    """Return nodes of an end face, their y, their share of its length (Simpson), and the y of its mid-plane."""
    line = d.line(face)
    length = np.abs(d.points[line[:, 2], 1] - d.points[line[:, 0], 1])
    share = (length[:, None] * np.array([1, 4, 1]) / 6).ravel()
    nodes = np.unique(line)
    weight = np.asarray(np.bincount(line.ravel(), share, len(d.points))[nodes], dtype=np.float64)
    y = d.points[nodes, 1]
    return nodes, y, weight, float(weight @ y / weight.sum())


def _resultant(d: Discretisation, forces: Floats, face: str) -> EndForces:
    nodes, y, _, middle = _face(d, face)
    fx, fy = forces.reshape(-1, 2)[nodes].T
    return EndForces(
        axial=float(fx.sum()),
        lateral=float(fy.sum()),
        moment=float(-(y - middle) @ fx),
        x=float(d.points[nodes, 0].mean()),
        y=middle,
    )
