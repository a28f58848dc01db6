"""Internal forces and their tangent on a meshed section, for any behaviour of its regions.

Where a region may yield its change of volume is projected, cell by cell, onto
functions linear in x and y: plastic flow hardly changes the volume, and nine
points a cell that each ask for that leave the nodes no freedom to flow (a
nine-node cell with a linear discontinuous pressure is stable; Brezzi & Fortin,
Mixed and Hybrid Finite Element Methods, 1991, ch. VI, from memory). The
projected volume enters the strain as a shift and its mean stress the forces
projected the same way, so that forces and tangent stay those of one energy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.mechanics.behaviour import Behaviour
from fejoint.mechanics.discretisation import Discretisation, of_mesh
from fejoint.mechanics.frames import VOLUME, Logarithmic, Measured
from fejoint.mechanics.interface import Interface, padded
from fejoint.mechanics.linear import cell_dofs

__all__ = ["Body", "Evaluated", "History", "Stresses"]

Floats = NDArray[np.float64]
History = Mapping[str, tuple[Floats, Floats]]
"""By region what is remembered at the quadrature points: the frame's history (c, q, m), the equivalent plastic strain (c, q);
by interface its own (`fejoint.mechanics.interface.Stuck`)"""


@dataclass(frozen=True, eq=False)
class Evaluated:
    """What a section answers to displacements.

    Attributes
    ----------
    internal : (2 nodes,) array, N/mm
    across : float, N
        Force across the width.
    scale : float, N/mm
        Largest force of a cell on a node: what a residual is held against.
    history : History
        At the end of the increment.
    stiffness_ec : (c, 18, 18) array or None
        Tangent of every element (`Body.dofs`); None where it was not asked for, as the following.
    width_column, width_row : (2 nodes,) arrays
        Derivatives of `internal` by the width strain, and of `across` by the displacements.
    width_stiffness : float
    """

    internal: Floats
    across: float
    scale: float
    history: History
    stiffness_ec: Floats | None = None
    width_column: Floats | None = None
    width_row: Floats | None = None
    width_stiffness: float = 0.0


@dataclass(frozen=True, eq=False)
class Stresses:
    """Stresses of a region at its quadrature points, each (4, c, q), MPa.

    Attributes
    ----------
    bondline : array
        In the bondline's own directions, by the measure of the region's frame: xx, yy, xy, zz.
    cauchy : array
        Cauchy stress in the axes of space.
    carried : (5, c, q) array
        First Piola-Kirchhoff stress xx, yy, xy, zz, yx: what crosses lines of the undeformed section.
    """

    bondline: Floats
    cauchy: Floats
    carried: Floats


@dataclass(frozen=True, eq=False)
class Body:
    """A meshed section with the behaviour of its regions, and interfaces in place of those that have none."""

    discretisation: Discretisation
    behaviours: Mapping[str, Behaviour]
    interfaces: tuple[Interface, ...] = ()

    @property
    def dofs(self) -> NDArray[np.int64]:
        """Displacements of every element by number, (c, 18): cells that have a behaviour, then interface elements (`padded`)."""
        dofs = cell_dofs(self.discretisation)
        if not self.interfaces:
            return dofs
        return np.concatenate([dofs[self._sound()], *(padded(part.dofs) for part in self.interfaces)])

    def start(self) -> History:
        """Return the history of a virgin section."""
        found = {}
        for name, behaviour in self.behaviours.items():
            shape = self.discretisation.weight_qc[self._cells(name)].shape
            found[name] = behaviour.frame.start(shape[0] * shape[1]).reshape(*shape, -1), np.zeros(shape)
        return found | {part.name: part.start() for part in self.interfaces}

    def evaluate(
        self, displacement: Floats, width: float, history: History, environment: Any, tangent: bool, across: bool
    ) -> Evaluated:
        """Return forces, new history and, with `tangent`, how the forces go with the displacements.

        Parameters
        ----------
        displacement : (nodes, 2) array, mm
        width : float
            Strain across the width.
        history : History
            At the increment's start.
        environment : Environment
            At its end.
        tangent : bool
        across : bool
            Whether the width strain is an unknown, so that its derivatives are wanted.
        """
        d = self.discretisation
        dofs = cell_dofs(d)
        size = 2 * len(d.points)
        force_ca, new = np.zeros(dofs.shape), {}
        stiffness = np.empty((len(dofs), 18, 18)) if tangent else None
        column_ca, row_ca = np.zeros(dofs.shape), np.zeros(dofs.shape)
        net = width_stiffness = held = 0.0
        for name, behaviour in self.behaviours.items():
            cells = self._cells(name)
            part = _Part(d, name, displacement, width, history[name])
            core = behaviour.core(environment)
            if self.interfaces:  # adherends alone may expand freely: what they would ask for if they could not is the scale then
                held = max(held, float(np.abs(core.of_elastic(np.zeros((1, 4)))).max()) * float(np.sqrt(part.weight.max())))
            measured, shift = part.measured(behaviour)
            updated = core.respond(measured.strain, part.plastic, tangent)
            new[name] = part.advanced(behaviour, updated, shift)
            if behaviour.dilates:
                updated = behaviour.of_plastic_volume(core, measured.strain, part.metric, updated)
            weight = part.weight
            stress = updated.stress
            excess = part.projected_mean(stress) - stress @ VOLUME / 3 if behaviour.projected else None
            force = np.einsum("nij,nj->ni", measured.force_of, stress)
            if excess is not None:
                force = force + excess[:, None] * measured.dilatation
            weighted = (force * weight[:, None]).reshape(*part.shape, 5)
            force_ca[cells] = (part.gradient_of_nodes_t @ weighted[..., :4].reshape(len(cells), -1, 1))[..., 0]
            net += float(weighted[..., 4].sum())
            if stiffness is None:
                continue
            assert updated.moduli is not None
            by_strain = measured.force_of @ updated.moduli  # n, 5, 4
            by = by_strain @ measured.by_gradient
            geometric = behaviour.frame.geometric(measured, stress, force, width)
            if geometric is not None:
                by = by + geometric
            by = by * weight[:, None, None]
            b = part.gradient_of_nodes
            left = by[:, :4, :4].reshape(*part.shape, 4, 4) @ b.reshape(*part.shape, 4, 18)
            k = part.gradient_of_nodes_t @ left.reshape(len(cells), -1, 18)
            column = part.gradient_of_nodes_t @ by[:, :4, 4].reshape(len(cells), -1, 1)
            row = by[:, 4, :4].reshape(len(cells), 1, -1) @ b
            if behaviour.projected:
                # The shift of volume as one more component of the gradient: its row r, forces by it and mean stress by all.
                r = part.shift_by_nodes(measured.dilatation[:, :4])  # c, q, 18
                by_shift = (by_strain @ VOLUME / 3) * weight[:, None]
                mean_by = (updated.moduli.transpose(0, 2, 1) @ VOLUME / 3)[:, None, :] @ measured.by_gradient
                mean_by = mean_by[:, 0] * weight[:, None]
                own = np.einsum("i,nij,j->n", VOLUME, updated.moduli, VOLUME) / 9 * weight
                to_nodes = (b.reshape(*part.shape, 4, 18) * by_shift[:, :4].reshape(*part.shape, 4, 1)).sum(axis=2)
                from_nodes = (b.reshape(*part.shape, 4, 18) * mean_by[:, :4].reshape(*part.shape, 4, 1)).sum(axis=2)
                from_nodes += own.reshape(*part.shape, 1) * r
                k = k + to_nodes.transpose(0, 2, 1) @ r + r.transpose(0, 2, 1) @ from_nodes
                column = column + r.transpose(0, 2, 1) @ mean_by[:, 4].reshape(len(cells), -1, 1)
                row = row + by_shift[:, 4].reshape(len(cells), 1, -1) @ r
            stiffness[cells] = k
            column_ca[cells], row_ca[cells] = column[..., 0], row[:, 0]
            width_stiffness += float(by[:, 4, 4].sum())

        def summed(by_cell: Floats) -> Floats:
            return np.asarray(np.bincount(dofs.ravel(), by_cell.ravel(), size), dtype=np.float64)

        internal, joined = summed(force_ca), []
        for interface in self.interfaces:
            stuck = interface.evaluate(displacement, history[interface.name], tangent)
            new[interface.name] = stuck.history
            internal += np.bincount(interface.dofs.ravel(), stuck.force.ravel(), size)
            if stuck.stiffness is not None:
                joined.append(padded(stuck.stiffness))
        if stiffness is not None and self.interfaces:
            stiffness = np.concatenate([stiffness[self._sound()], *joined])
        return Evaluated(
            internal=internal,
            across=net,
            scale=max(float(np.abs(force_ca).max()), held),
            history=new,
            stiffness_ec=stiffness,
            width_column=summed(column_ca) if tangent and across else None,
            width_row=summed(row_ca) if tangent and across else None,
            width_stiffness=width_stiffness,
        )

    def stresses(self, name: str, displacement: Floats, width: float, history: History, environment: Any) -> Stresses:
        """Return the stresses of a region, its history being that at the same state."""
        behaviour = self.behaviours[name]
        part = _Part(self.discretisation, name, displacement, width, history[name])
        measured, _ = part.measured(behaviour)
        stress = behaviour.core(environment).of_elastic(measured.strain)
        if isinstance(behaviour.frame, Logarithmic) and behaviour.dilates:
            stress = behaviour.frame.plastic_volume(part.metric)[:, None] * stress
        if behaviour.projected:
            stress = stress + (part.projected_mean(stress) - stress @ VOLUME / 3)[:, None] * VOLUME
        force = np.einsum("nij,nj->ni", measured.force_of, stress)
        frame, h = behaviour.frame, part.gradient

        def shaped(values: Floats) -> Floats:
            return np.ascontiguousarray(values.T).reshape(-1, *part.shape)

        return Stresses(
            bondline=shaped(frame.bondline(h, width, stress)),
            cauchy=shaped(frame.cauchy(h, width, stress)),
            carried=shaped(force[:, [0, 3, 1, 4, 2]]),
        )

    def elastic_strain(self, name: str, displacement: Floats, width: float, history: History) -> Floats:
        """Return the elastic strain of a region, its history being that at the same state, (points, 4)."""
        part = _Part(self.discretisation, name, displacement, width, history[name])
        return part.measured(self.behaviours[name])[0].strain

    def _sound(self) -> NDArray[np.int64]:
        """Return the cells that have a behaviour."""
        return np.sort(np.concatenate([self._cells(name) for name in self.behaviours]))

    def _cells(self, name: str) -> NDArray[np.int64]:
        return self.discretisation.section.cells(name)


class _Part:
    """One region at one set of displacements: its gradients at the quadrature points, and the projection of its volume."""

    def __init__(self, d: Discretisation, name: str, displacement: Floats, width: float, history: tuple[Floats, Floats]) -> None:
        cells = d.section.cells(name)
        self.d, self.name, self.width = d, name, width
        self.shape = d.weight_qc[cells].shape
        self.weight = _weights(d, name)
        u = displacement[d.nodes_ac[cells]].transpose(0, 2, 1)[:, None]
        self.gradient = (u @ _gradients(d, name)).reshape(-1, 2, 2)
        self.metric = history[0].reshape(self.gradient.shape[0], -1)
        self.plastic = history[1].ravel()
        self.gradient_of_nodes, self.gradient_of_nodes_t = _gradient_of_nodes(d, name)

    def measured(self, behaviour: Behaviour) -> tuple[Measured, Floats]:
        """Return the trial strain, and the shift that makes its volume the projected one."""
        frame, n = behaviour.frame, len(self.gradient)
        shift = np.zeros(n)
        if behaviour.projected:
            volume = frame.volume(self.gradient, self.width)
            shift = self._projected(volume) - volume
        return frame.measured(self.gradient, self.width, shift, self.metric), shift

    def advanced(self, behaviour: Behaviour, updated: Any, shift: Floats) -> tuple[Floats, Floats]:
        """Return the history at the increment's end; unchanged, to the last bit, where nothing flowed."""
        if not behaviour.projected:
            return self.metric.reshape(*self.shape, -1), self.plastic.reshape(self.shape)
        metric, flowed = self.metric, updated.plastic != self.plastic
        if flowed.any():
            metric = metric.copy()
            metric[flowed] = behaviour.frame.advanced(self.gradient[flowed], self.width, shift[flowed], updated.elastic[flowed])
        return metric.reshape(*self.shape, -1), np.asarray(updated.plastic).reshape(self.shape)

    def projected_mean(self, stress: Floats) -> Floats:
        """Return the projected mean stress, (n,)."""
        return self._projected(stress @ VOLUME / 3)

    def shift_by_nodes(self, dilatation: Floats) -> Floats:
        """Return the derivatives of the shift by the cell's displacements, (c, q, 18)."""
        own = (dilatation.reshape(*self.shape, 1, 4) @ self.gradient_of_nodes.reshape(*self.shape, 4, 18))[:, :, 0]
        return np.asarray(_projection(self.d, self.name) @ own - own)

    def _projected(self, values: Floats) -> Floats:
        return np.asarray((_projection(self.d, self.name) @ values.reshape(*self.shape, 1)).ravel())


# What the mesh alone decides. The arrays live as long as their mesh.


@of_mesh
def _weights(d: Discretisation, name: str) -> Floats:
    return np.ascontiguousarray(d.weight_qc[d.section.cells(name)]).ravel()


@of_mesh
def _gradients(d: Discretisation, name: str) -> Floats:
    """Return the shape functions' gradients at the quadrature points, (c, q, a, 2)."""
    return np.ascontiguousarray(d.grad_ajqc[d.section.cells(name)])


@of_mesh
def _gradient_of_nodes(d: Discretisation, name: str) -> tuple[Floats, Floats]:
    """Return what makes gradients xx, xy, yx, yy of a cell's displacements, (c, 4 q, 18), and its transpose."""
    g = _gradients(d, name)
    cells, points = g.shape[:2]
    b = np.zeros((cells, points, 2, 2, 9, 2))
    for i in (0, 1):
        b[:, :, i, :, :, i] = g.transpose(0, 1, 3, 2)
    b = b.reshape(cells, 4 * points, 18)
    return b, np.ascontiguousarray(b.transpose(0, 2, 1))


@of_mesh
def _projection(d: Discretisation, name: str) -> Floats:
    """Return what projects values at a cell's quadrature points onto functions linear in x and y, (c, q, q)."""
    cells = d.section.cells(name)
    place = np.einsum("qa,cai->cqi", d.shape_qa, d.points[d.nodes_ac[cells]])
    place = place - place.mean(axis=1, keepdims=True)
    basis = np.concatenate([np.ones((*place.shape[:2], 1)), place / np.abs(place).max(axis=1, keepdims=True)], axis=2)
    weighted = (basis * d.weight_qc[cells][..., None]).transpose(0, 2, 1)
    return np.asarray(basis @ np.linalg.solve(weighted @ basis, weighted))
