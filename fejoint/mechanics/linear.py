"""Assemble, factor, solve: the linear section.

Nine-node quadrilaterals. What depends on the mesh alone (`Discretisation`) is
apart from what depends on the materials (`System`), so that studies can reuse
both: loads and temperatures share a factorisation, materials share a mesh.

A system is solved for unit loads, one by one, and a joint's solution is put
together from these answers. That is the one way, whether a system serves one
joint or many, so that a result does not depend on what was solved before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from fejoint.errors import ConvergenceError
from fejoint.joint.description import Joint
from fejoint.mechanics.discretisation import Discretisation, of_mesh
from fejoint.mechanics.elasticity import Law, element_stiffness, law, strain
from fejoint.mechanics.ends import EndForces, end_faces, end_forces, tied_ends
from fejoint.mechanics.factor import Analysis, factorise
from fejoint.mechanics.section import Section

__all__ = ["Answer", "Pattern", "Solution", "System", "assemble", "cell_dofs", "laws_of", "pattern_of", "solve_linear"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Pattern:
    """What the matrix of a section owes to its mesh and ends alone.

    Attributes
    ----------
    transform, named
        See `System`.
    end_cells : array
        Cells at the end faces.
    indices, indptr : arrays
        The matrix's pattern of entries, by compressed columns.
    gather : (entries, c * 18 * 18) sparse array
        Makes the matrix's entries from the element stiffness matrices.
    analysis : Analysis
        What `factorise` knows of the pattern.
    """

    transform: sp.csr_array
    named: dict[str, int]
    end_cells: Ints
    indices: NDArray[np.int32]
    indptr: NDArray[np.int32]
    gather: sp.csr_array
    analysis: Analysis

    def matrix(self, stiffness_ec: Floats) -> sp.csc_array:
        """Return the section's matrix of element stiffness matrices, (c, 18, 18), symmetric or not."""
        n = self.transform.shape[1]
        return sp.csc_array((self.gather @ stiffness_ec.ravel(), self.indices, self.indptr), shape=(n, n))


@dataclass(frozen=True, eq=False)
class Answer:
    """What a system answers to a unit load.

    The loads: ``axial``, ``turn``, ``lift``, 1 N/mm or N on the loaded end;
    ``temperature``, 1 K; ``moisture``, a mass fraction of 1; ``width``, minus a
    unit strain across the width.

    Attributes
    ----------
    load, unknowns : (unknowns,) arrays
    displacement : (2 nodes,) array, mm
    end_forces : (2 nodes,) array, N/mm
        Right on the end faces: what their cells ask for beyond the body's own load.
    across : float, N
        Force across the width that the load would take at rest.
    """

    load: Floats
    unknowns: Floats
    displacement: Floats
    end_forces: Floats
    across: float


@dataclass(frozen=True, eq=False)
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
    answers: dict[str, Answer] = field(default_factory=dict, init=False, repr=False)
    """Those to unit loads that were asked for so far"""

    def answer(self, name: str) -> Answer:
        """Return the answer to a unit load."""
        if name not in self.answers:
            self.answers[name] = _answer(self, name)
        return self.answers[name]

    @cached_property
    def largest_row(self) -> float:
        """The matrix's norm: the largest sum of magnitudes in a row (a column of it, which is symmetric)."""
        return float(np.add.reduceat(np.abs(self.matrix.data), self.matrix.indptr[:-1]).max())


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
    def places(self) -> Floats:
        """Where forces act for their moments, (nodes, 2), mm: the undeformed nodes, where rotations are small."""
        return self.discretisation.points

    def entries(self) -> dict[str, tuple[float, float]]:
        """Return where the mid-plane of every adherend enters the overlap, x and y, mm, for the moments there."""
        return {name: (x, self.ends[name].y) for name, x in self.joint.geometry.entries().items() if name in self.ends}

    def strain(self, region: str) -> Floats:
        """Return the element strains of a region at its quadrature points, shape (4, cells, q), free strain included."""
        d = self.discretisation
        cells = d.section.cells(region)
        return strain(d.grad_ajqc[cells], self.displacement[d.nodes_ac[cells]], self.width_strain)

    def stress(self, region: str, kind: str = "bondline") -> Floats:
        """Return the element stresses of a region at its quadrature points, shape (4, cells, q), MPa.

        `kind` is ``bondline`` (in its own directions), ``cauchy`` (in the axes of
        space) or ``carried`` (per area of the undeformed section); small
        rotations know no difference.
        """
        return self.laws[region].stress(self.strain(region), self.joint.environment)

    def layer_stress(self, kind: str) -> Floats | None:
        """Return the nodal stress of a layer that has no cells of its own; None of one that has."""
        return None

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


def assemble(
    discretisation: Discretisation, laws: dict[str, Law], ends: str, lifted: bool = False, pattern: Pattern | None = None
) -> System:
    """Return the factored system of a section with given materials and ends.

    Ends: the face moves as one in x and its mean displacement along y is zero
    (so that it is free to contract); ``"clamped"`` faces do not turn,
    ``"pinned"`` ones turn rigidly about their mid-plane. The gripped face
    stays where it is along x. An end of two adherends moves and turns as one,
    and each of them is held along y. With `lifted` the mean displacement
    along y of the loaded end is an unknown instead of zero. Of a half section
    the line of symmetry stays where it is along y and nothing turns.

    `pattern` is that of the section and these ends (`pattern_of`), where it is
    at hand from other materials.
    """
    d, pattern = discretisation, pattern or pattern_of(discretisation, ends, lifted)
    stiffness_ec = element_stiffness(_cell_field(d, {n: m.stiffness for n, m in laws.items()}), d.xx_abc, d.xy_abc, d.yy_abc)
    matrix = pattern.matrix(stiffness_ec)
    solve = factorise(matrix, pattern.analysis)
    return System(d, laws, ends, matrix, pattern.transform, solve, stiffness_ec, pattern.end_cells, pattern.named)


def solve_linear(system: System, joint: Joint) -> Solution:
    """Return displacements and reactions of a factored system under a joint's load.

    Raises
    ------
    ConvergenceError
        The solution is not finite.
    """
    d = system.discretisation
    pull = joint.geometry.pull * (0.5 if d.section.half else 1.0)
    ends = {"axial": pull * joint.line_load, "turn": joint.line_moment, "lift": joint.line_shear}
    loads = {name: ends[name] for name in system.named}
    loads |= {"temperature": joint.load.temperature_change, "moisture": joint.load.moisture}
    parts = [(size, system.answer(name)) for name, size in loads.items() if size != 0]
    width_strain = 0.0
    if joint.out_of_plane == "generalised":
        # One more unknown, the width strain e: K u + k e = f and k.u + s e = net thermal force across the width.
        width = system.answer("width")
        net = sum(size * (answer.across - width.load @ answer.unknowns) for size, answer in parts)
        width_strain = float(net / (width.across - width.load @ width.unknowns))
        parts.append((-width_strain, width))

    def total(name: str, size: int) -> Floats:
        return np.asarray(sum((share * getattr(answer, name) for share, answer in parts), np.zeros(size)))

    unknowns, load = (total(name, system.matrix.shape[0]) for name in ("unknowns", "load"))
    if not np.isfinite(unknowns).all():
        raise ConvergenceError("the equations have no finite solution.")
    residual = system.matrix @ unknowns - load
    scale = system.largest_row * np.abs(unknowns).max() + np.abs(load).max()
    backward_error = float(np.abs(residual).max() / scale) if scale > 0 else 0.0

    def moved(name: str) -> float:
        return float(unknowns[system.named[name]]) if name in system.named else 0.0

    forces = total("end_forces", 2 * len(d.points))
    return Solution(
        joint=joint,
        discretisation=d,
        laws=system.laws,
        displacement=total("displacement", 2 * len(d.points)).reshape(-1, 2),
        width_strain=width_strain,
        ends={part.adherend: end_forces(d, forces, part) for part in end_faces(d)},
        backward_error=backward_error,
        elongation=joint.geometry.pull * moved("axial"),
        turn=moved("turn"),
        lift=moved("lift"),
    )


def laws_of(joint: Joint, section: Section | None = None) -> dict[str, Law]:
    """Return Hooke's law of every region of a joint, or of those that a section has."""
    made = {name: law(material, joint.environment) for name, material in joint.materials().items()}
    return made if section is None else {name: m for name, m in made.items() if name in section.mesh.subdomains}


def pattern_of(
    d: Discretisation,
    ends: str,
    lifted: bool = False,
    dofs: Ints | None = None,
    tied: Sequence[tuple[int, dict[int | str, float]]] = (),
) -> Pattern:
    """Return the pattern of a section's matrix, and how its entries are made, whatever the materials.

    `dofs` are the displacements of every element by number, (c, 18), where the elements are not the section's
    cells; `tied` displacements that follow others (`tied_ends`).
    """
    transform, unknown, named = tied_ends(d, ends, lifted, tied)
    dofs, n = cell_dofs(d) if dofs is None else dofs, transform.shape[1]
    size = dofs.shape[1]
    # Entry (a, b) of a cell's matrix goes to the unknowns that its displacements a and b are made of. Away from the end
    # faces cells map one to one, and row a of a cell's matrix goes to one row of the section's; at the faces an entry
    # goes to any number. 32-bit numbers halve the traffic of these arrays, which are the largest.
    at_ends = (unknown[dofs] < 0).any(axis=1)
    inner, face = unknown[dofs[~at_ends]].astype(np.int32), transform[dofs[at_ends].ravel()]
    cell, a, b = (k.ravel() for k in np.indices((at_ends.sum(), size, size)))
    of_face, left, right = _pairs(face.indptr, cell * size + a, cell * size + b)
    every = np.arange(dofs.size * size, dtype=np.int32).reshape(len(dofs), -1)
    entry = np.concatenate([every[~at_ends].ravel(), every[at_ends].ravel()[of_face]])
    column = np.concatenate([np.tile(inner, (1, size)).ravel(), face.indices[right]])
    share = face.data[left] * face.data[right]

    # Sorted by row, whole rows of the cells at a time, then by column.
    row = np.concatenate([inner.ravel(), face.indices[left]])
    length = np.concatenate([np.full(inner.size, size), np.ones(len(left), dtype=np.int64)])
    by_row = _order(row, n)
    order = _runs(np.cumsum(length)[by_row] - length[by_row], length[by_row])
    row = np.repeat(row[by_row], length[by_row])
    by_column = _order(column[order], n)
    entry, row, at_face = entry[order][by_column], row[by_column], (order >= inner.size * size)[by_column]
    shares = np.ones(len(order))
    shares[at_face] = share[order[by_column[at_face]] - inner.size * size]
    per_column = np.bincount(column, minlength=n)
    new = np.append(True, row[1:] != row[:-1])
    new[np.cumsum(per_column[:-1])] = True
    starts = np.append(np.flatnonzero(new), len(order)).astype(np.int32)
    return Pattern(
        transform=transform,
        named=named,
        end_cells=np.flatnonzero(at_ends),
        indices=row[starts[:-1]],
        indptr=np.searchsorted(starts, np.append(0, np.cumsum(per_column))).astype(np.int32),
        gather=sp.csr_array((shares, entry, starts), shape=(len(starts) - 1, every.size)),
        analysis=Analysis(),
    )


# ---- parts ---------------------------------------------------------------


def _pairs(indptr: Ints, first: Ints, second: Ints) -> tuple[Ints, Ints, Ints]:
    """Return all pairs of an entry of row first[i] with one of row second[i] of a compressed matrix: i and both entries."""
    counts = np.diff(indptr)
    sizes = counts[first] * counts[second]
    pair = np.repeat(np.arange(len(first)), sizes)
    left, right = np.divmod(_runs(np.zeros_like(sizes), sizes), counts[second][pair])
    return pair, indptr[first][pair] + left, indptr[second][pair] + right


def _runs(starts: Ints, lengths: Ints) -> Ints:
    """Return the numbers that count up from each start, one run behind the other."""
    return np.arange(lengths.sum(), dtype=np.int32) + np.repeat((starts - np.cumsum(lengths) + lengths).astype(np.int32), lengths)


def _order(keys: Ints, n: int) -> Ints:
    """Return the stable order of keys from 0 to n - 1 (by counting, which takes scipy a fraction of a sort's time)."""
    numbers = np.arange(len(keys), dtype=np.int32)
    sort = sp.csr_array((np.ones(len(keys), dtype=np.int8), (keys.astype(np.int32), numbers)), shape=(n, len(keys)))
    return np.asarray(sort.indices)


def _answer(system: System, name: str) -> Answer:
    d = system.discretisation
    body, across = np.zeros(2 * len(d.points)), 0.0
    if name in ("temperature", "moisture", "width"):
        unit = {"temperature": "expansion", "moisture": "swelling"}
        stress = {n: m.stiffness @ getattr(m, unit[name]) if name in unit else m.stiffness[:, 3] for n, m in system.laws.items()}
        stress_ic = _cell_field(d, stress)
        gradient = _gradient(d)
        force = stress_ic[:, None, [0, 1]] * gradient + stress_ic[:, None, [2, 2]] * gradient[:, :, ::-1]
        body = np.asarray(np.bincount(cell_dofs(d).ravel(), force.ravel(), len(body)), dtype=np.float64)
        across = float(stress_ic[:, 3] @ d.weight_qc.sum(axis=1))
    load = system.transform.T @ body
    if name in system.named:
        load[system.named[name]] = 1.0
    # One right-hand side at a time: its answer then is the same to the last bit, whichever others are asked for.
    unknowns = system.solve(load[:, None])[:, 0]
    displacement = system.transform @ unknowns
    dofs = cell_dofs(d)[system.end_cells]
    internal = np.einsum("cab,cb->ca", system.stiffness_ec[system.end_cells], displacement[dofs])
    return Answer(load, unknowns, displacement, np.bincount(dofs.ravel(), internal.ravel(), len(body)) - body, across)


@of_mesh
def _gradient(d: Discretisation) -> Floats:
    """Return the integrals of the shape functions' derivatives, shape (c, a, 2), mm."""
    return np.asarray(np.einsum("cqaj,cq->caj", d.grad_ajqc, d.weight_qc, optimize=True))


@of_mesh
def cell_dofs(d: Discretisation) -> Ints:
    """Return the displacements of every cell by number, (c, 18): along x and y of its first node, and so on."""
    return (2 * d.nodes_ac[:, :, None] + np.arange(2)).reshape(len(d.nodes_ac), -1)


def _cell_field(d: Discretisation, by_region: dict[str, Floats]) -> Floats:
    """Return a value per region as a value per cell."""
    some = next(iter(by_region.values()))
    field = np.empty((len(d.nodes_ac), *some.shape))
    for name, value in by_region.items():
        field[d.section.cells(name)] = value
    return field
