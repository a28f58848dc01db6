"""A finite-element operator that makes the assumptions of the classical beam-and-spring theories; for tests only.

Goland and Reissner's second stage and its kin take the layer's shear strain as
du/dy alone, without dv/dx. So their lever arms end at the adherends' faces,
which no continuum does: with dv/dx kept they reach the middle of the layer.
This operator drops dv/dx in the layer and leaves it only du/dy and dv/dy to
resist; the adherends stretch along x and are rigid across and in shear. It is
not what the package solves joints with; mesh, shape functions, assembly of
the adherends and factorisation are the package's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from skfem import MeshQuad

from fejoint.bondline.closed_form.grid import places
from fejoint.bondline.closed_form.two_beams import Beam, Layer
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.elasticity import element_stiffness
from fejoint.mechanics.factor import factorise
from fejoint.mechanics.linear import cell_dofs
from fejoint.mechanics.section import Section

Floats = NDArray[np.float64]
Loads = tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class Classical:
    """Shear and peel of the layer at x, mm and MPa."""

    x: Floats
    shear: Floats
    peel: Floats


def solve_classical(
    upper: Beam, lower: Beam, layer: Layer, length: float, left: Loads, right: Loads, cells: int = 90, multiplier: float = 1e6
) -> Classical:
    """Return the overlap under edge loads (N, Q, M) of the lower beam at its left and the upper beam at its right.

    They must balance with lever arms that end at the faces, as for
    `two_beams.overlap` with the form "faces":
    N (t1 + t2) / 2 + M_left - M_right = Q length.
    """
    d = discretise(_section(upper, lower, layer, length, cells))
    dofs, n = cell_dofs(d), 2 * len(d.points)
    stiffness = np.zeros((len(d.nodes_ac), 4, 4))
    for name, beam in (("upper", upper), ("lower", lower)):
        stiffness[d.section.cells(name)] = beam.modulus * np.diag([1.0, multiplier, multiplier, 0.0])
    element = element_stiffness(stiffness, d.xx_abc, d.xy_abc, d.yy_abc)
    glue = d.section.cells("adhesive")
    along, across = np.arange(0, 18, 2), np.arange(1, 18, 2)
    element[np.ix_(glue, along, along)] = layer.shear_modulus * d.yy_abc[glue]
    element[np.ix_(glue, across, across)] = layer.peel_modulus * d.yy_abc[glue]
    rows, columns = np.repeat(dofs, dofs.shape[1], axis=1), np.tile(dofs, (1, dofs.shape[1]))
    matrix = sp.csc_array(sp.coo_array((element.ravel(), (rows.ravel(), columns.ravel())), shape=(n, n)))

    load = np.zeros(n)
    _add_loads(load, d, "left", lower.thickness, left, -1.0)
    _add_loads(load, d, "right", upper.thickness, right, 1.0)
    # The loads balance: three displacements of the lower beam, held, carry nothing.
    half = layer.thickness / 2
    held = [2 * _node(d, 0.0, -half - lower.thickness / 2) + k for k in (0, 1)]
    held.append(2 * _node(d, length, -half - lower.thickness / 2) + 1)
    free = np.setdiff1d(np.arange(n), held)
    u = np.zeros(n)
    u[free] = factorise(matrix[free][:, free].tocsc())(load[free][:, None])[:, 0]
    u = u.reshape(-1, 2)
    top, bottom = (nodes[np.argsort(d.points[nodes, 0])] for nodes in (_level(d, half), _level(d, -half)))
    opened = (u[top] - u[bottom]) / layer.thickness  # nothing but du/dy and dv/dy, both uniform across the layer
    return Classical(d.points[top, 0], layer.shear_modulus * opened[:, 0], layer.peel_modulus * opened[:, 1])


def _section(upper: Beam, lower: Beam, layer: Layer, length: float, cells: int) -> Section:
    """Return the overlap alone, cells graded towards its ends."""
    h = layer.thickness / 2
    y = np.concatenate(
        [
            np.linspace(-h - lower.thickness, -h, 5)[:-1],
            [-h, 0.0],
            np.linspace(h, h + upper.thickness, 5),
        ]
    )
    mesh = MeshQuad.init_tensor(places(length, cells)[::2], y)
    middle = mesh.p[1, mesh.t].mean(axis=0)
    mesh = mesh.with_subdomains(
        {
            "lower": np.flatnonzero(middle < -h),
            "adhesive": np.flatnonzero(np.abs(middle) < h),
            "upper": np.flatnonzero(middle > h),
        }
    )
    mesh = mesh.with_boundaries(
        {
            "left": lambda p: (p[0] < 1e-9) & (p[1] < -h),
            "right": lambda p: (p[0] > length - 1e-9) & (p[1] > h),
        }
    )
    return Section(mesh, 1.0)


def _add_loads(load: Floats, d: Discretisation, face: str, thickness: float, loads: Loads, side: float) -> None:
    """Add the nodal forces of N, Q and M on an end face: stresses uniform and linear through the thickness."""
    line = d.line(face)
    y = d.points[line, 1]
    middle = (y.max() + y.min()) / 2
    axial, shear, moment = loads
    traction = side * (axial / thickness - 12 * moment * (y - middle) / thickness**3)
    length = np.abs(y[:, 2] - y[:, 0])[:, None]
    start, end = traction[:, [0]], traction[:, [2]]
    along = np.hstack([start / 6, (start + end) / 3, end / 6]) * length  # exact for a linear traction
    np.add.at(load, 2 * line, along)
    np.add.at(load, 2 * line + 1, side * shear / thickness * length * np.array([[1, 4, 1]]) / 6)


def _level(d: Discretisation, y: float) -> NDArray[np.int64]:
    return np.flatnonzero(np.abs(d.points[:, 1] - y) < 1e-9)


def _node(d: Discretisation, x: float, y: float) -> int:
    return int(np.argmin(np.hypot(d.points[:, 0] - x, d.points[:, 1] - y)))
