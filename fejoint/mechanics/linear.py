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

from fejoint.errors import ConvergenceError
from fejoint.joint.description import Joint
from fejoint.mechanics.discretisation import Discretisation
from fejoint.mechanics.elasticity import Law, element_stiffness, law
from fejoint.mechanics.ends import EndForces, end_faces, end_forces, tied_ends
from fejoint.mechanics.factor import factorise
from fejoint.mechanics.section import Section

__all__ = ["Solution", "System", "assemble", "laws_of", "solve_linear"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


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
    transform, unknown, named = tied_ends(d, ends, lifted)

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
        ends={part.adherend: end_forces(d, forces, part) for part in end_faces(d)},
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
