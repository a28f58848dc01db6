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
from fejoint.joint.description import Joint
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

        Facets are directed along +x, downwards where vertical, and sorted by
        x, then downwards.
        """
        mesh = self.section.mesh
        facets = self.section.facets(curve)
        ends = mesh.facets[:, facets].T
        nodes = np.column_stack([ends[:, 0], self.facet_nodes[facets], ends[:, 1]])
        run, rise = (self.points[nodes[:, 2]] - self.points[nodes[:, 0]]).T
        vertical = np.abs(run) < 1e-6 * np.abs(rise)
        backwards = np.where(vertical, rise > 0, run < 0)
        nodes[backwards] = nodes[backwards, ::-1]
        x, y = self.points[nodes[:, 1]].T
        # The facets of a vertical line share their x but for round-off.
        return nodes[np.lexsort((-y, np.round(x, 9)))]


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
    named: dict[str, int]
    """Numbers of the unknowns that loads work on: ``axial``, ``turn``, ``lift`` of the loaded end, where it has them"""


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
    ends : dict of EndForces
        On the far end of every adherend, by its name.
    backward_error : float
        Residual over (norm of the matrix times that of the solution, plus the load's).
    elongation : float
        Displacement of the loaded end in the direction of a tensile force, mm.
    turn : float
        Rotation of the loaded end, counter-clockwise.
    lift : float
        Mean displacement of the loaded end along y, mm.
    """

    joint: Joint
    discretisation: Discretisation
    laws: dict[str, Law]
    displacement: Floats
    width_strain: float
    ends: dict[str, EndForces]
    backward_error: float
    elongation: float
    turn: float
    lift: float

    @property
    def section(self) -> Section:
        """The meshed section."""
        return self.discretisation.section

    @property
    def gripped(self) -> EndForces:
        """On the gripped end, all its adherends together, about the middle that they turn about."""
        return self._together(self.joint.geometry.gripped)

    @property
    def loaded(self) -> EndForces:
        """On the loaded end, all its adherends together, about the middle that they turn about."""
        return self._together(self.joint.geometry.loaded)

    def _together(self, names: tuple[str, ...]) -> EndForces:
        adherends = self.joint.geometry.adherends()
        parts = [(adherends[name].thickness, self.ends[name]) for name in names if name in self.ends]
        x, y = parts[0][1].x, sum(t * end.y for t, end in parts) / sum(t for t, _ in parts)
        return EndForces(
            axial=sum(end.axial for _, end in parts),
            lateral=sum(end.lateral for _, end in parts),
            moment=sum(end.moment_about(x, y) for _, end in parts),
            x=x,
            y=y,
        )


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


def assemble(discretisation: Discretisation, laws: dict[str, Law], ends: str, lifted: bool = False) -> System:
    """Return the factored system of a section with given materials and ends.

    Ends: the face moves as one in x and its mean displacement along y is zero
    (so that it is free to contract); ``"clamped"`` faces do not turn,
    ``"pinned"`` ones turn rigidly about their mid-plane. The gripped face
    stays where it is along x. An end of two adherends moves and turns as one,
    and each of them is held along y. With `lifted` the mean displacement
    along y of the loaded end is an unknown instead of zero. Of a half section
    the line of symmetry stays where it is along y and nothing turns.
    """
    d = discretisation
    stiffness_ec = element_stiffness(_cell_field(d, {n: m.stiffness for n, m in laws.items()}), d.xx_abc, d.xy_abc, d.yy_abc)
    transform, unknown, named = _ends(d, ends, lifted)

    # Cells away from the end faces map one to one; only the few at the faces need the transformation.
    dofs = _cell_dofs(d)
    at_ends = (unknown[dofs] < 0).any(axis=1)
    end_cells = np.flatnonzero(at_ends)
    n = transform.shape[1]
    inner = _scatter(unknown[dofs[~at_ends]], stiffness_ec[~at_ends], n)
    face = _scatter(dofs[end_cells], stiffness_ec[end_cells], len(unknown))
    matrix = inner + sp.csc_array(transform.T @ face @ transform)
    return System(d, laws, ends, matrix, transform, factorise(matrix), stiffness_ec, end_cells, named)


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
    pull = joint.geometry.pull * (0.5 if d.section.half else 1.0)
    acting = {"axial": pull * joint.line_load, "turn": joint.line_moment, "lift": joint.line_shear}
    for name, number in system.named.items():
        load[number] += acting[name]

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

    def moved(name: str) -> float:
        return float(unknowns[system.named[name]]) if name in system.named else 0.0

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
        ends={part.adherend: _resultant(d, forces, part) for part in _faces(d)},
        backward_error=backward_error,
        elongation=joint.geometry.pull * moved("axial"),
        turn=moved("turn"),
        lift=moved("lift"),
    )


def laws_of(joint: Joint, section: Section | None = None) -> dict[str, Law]:
    """Return Hooke's law of every region of a joint, or of those that a section has."""
    made = {name: law(material) for name, material in joint.materials().items()}
    return made if section is None else {name: m for name, m in made.items() if name in section.mesh.subdomains}


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


@dataclass(frozen=True)
class _Face:
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


def _faces(d: Discretisation) -> list[_Face]:
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
            faces.append(_Face(end, adherend, nodes, d.points[nodes, 1], weight, bool(np.isin(nodes, symmetry).any())))
    return faces


def _ends(d: Discretisation, ends: str, lifted: bool) -> tuple[sp.csr_array, Ints, dict[str, int]]:
    """Return how the ends tie the displacements to the unknowns.

    That is the matrix that makes displacements (2 a node) from unknowns; the
    number of the unknown that each displacement is, -1 on the tied ones of
    the end faces; and the unknowns that loads work on, by name.
    """
    special: list[tuple[int, dict[int | str, float]]] = []
    faces = _faces(d)
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
    return transform, number, {name: extra[name] for name in ("axial", "turn", "lift") if name in extra}


def _resultant(d: Discretisation, forces: Floats, face: _Face) -> EndForces:
    fx, fy = forces.reshape(-1, 2)[face.nodes].T
    return EndForces(
        axial=float(fx.sum()),
        lateral=float(fy.sum()),
        moment=float(-(face.y - face.middle) @ fx),
        x=float(d.points[face.nodes, 0].mean()),
        y=face.middle,
    )
