"""The energy that a growing disbond sets free, per area, and its parts of opening and shear.

Two ways from one linear solution. Virtual crack closure: what it takes to close
the disbond by one cell is half the forces across the side ahead of the tip
times the openings of the side behind it, since a disbond that is a cell longer
opens there as this one opens a cell behind. Along a side of a quadratic cell
three nodes carry these forces; the one that ends the side is the next tip and
does not open. With the tip 0, the node m in the middle of the side ahead, and
the nodes as far behind, 0' and m',

    G = -(F_0 . (u_0'above - u_0'below) + F_m . (u_m'above - u_m'below)) / (2 length)

F the force that the cells above pass on at the node. The part along y is that of
opening (mode I), the part along x that of shear (mode II). (R. Krueger, The virtual
crack closure technique, NASA/CR-2002-211628, from memory; derived again.) The
parts mean something in the middle of the layer, where one material lies on both
sides. At an interface of two materials stresses and openings turn with the
logarithm of the distance, so that the parts depend on the cells' length and only
their sum has a limit.

The other way is Rice's J integral, as one over the area between two boxes round
the tip (C. F. Shih, B. Moran, T. Nakamura, Int. J. Fract. 30, 1986, 79-102, from
memory): J = int (sigma_ij u_j,x - W delta_ix) q_,i dA, q going from 1 to 0.
It does not depend on the boxes as long as nothing but straight lines along x
part materials or bound the section inside them: that holds between the ends of the
overlap, and for free strain that is even in every region (temperature, moisture),
with W of the elastic strain alone and the uniform width strain in it.

Where the joint is linear, with small rotations, the rates are quadratic in the load, with a
linear and a constant term where there is temperature or moisture. Where rotations are large
(`analysis.large_rotation`) all of the above holds per length and area of the undeformed
section, with the first Piola-Kirchhoff stress, which need not be symmetric; the parts are
those across and along the turned tip. Nothing yields here, whatever the joint's analysis says.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.conditions import Environment
from fejoint.mechanics.disbond import Tip
from fejoint.mechanics.discretisation import Discretisation
from fejoint.mechanics.elasticity import Law, strain

__all__ = ["Closure", "Field", "closure", "field_of", "j_integral"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Field:
    """What a solution holds at the quadrature points of all cells.

    Attributes
    ----------
    displacement : (nodes, 2) array, mm
    stress : (5, cells, q) array, MPa
        Of first Piola and Kirchhoff: xx, yy, xy (force along x on what was a face along x), zz, yx; small rotations: yx is xy.
    energy : (cells, q) array, N mm/mm^3
        Of the elastic strain.
    """

    displacement: Floats
    stress: Floats
    energy: Floats


@dataclass(frozen=True, eq=False)
class Closure:
    """What virtual crack closure takes from a field, linear in it.

    Attributes
    ----------
    force : (2, 2) array, N/mm
        Of the cells above at the tip and the middle of the side ahead, along x and y.
    jump : (2, 2) array, mm
        Opening at the end and the middle of the side behind, along x and y.
    length : float, mm
        Of the side.
    """

    force: Floats
    jump: Floats
    length: float

    def work(self, other: Closure) -> Floats:
        """Return the energy along x (shear) and y (opening) of these forces on the openings of another field, (2,), N/mm."""
        return np.asarray(-(self.force * other.jump).sum(axis=0) / (2 * self.length))

    def less(self, other: Closure) -> Closure:
        """Return that of the difference of two fields."""
        return Closure(self.force - other.force, self.jump - other.jump, self.length)


def field_of(
    d: Discretisation,
    laws: Mapping[str, Law],
    displacement: Floats,
    width_strain: float = 0.0,
    environment: Environment = Environment(),  # noqa: B008
) -> Field:
    """Return stress and energy of a displacement, (nodes, 2), mm, with Hooke's law of every region in an environment."""
    shape = d.weight_qc.shape
    stress, energy = np.empty((5, *shape)), np.empty(shape)
    for name, law in laws.items():
        cells = d.section.cells(name)
        total = strain(d.grad_ajqc[cells], displacement[d.nodes_ac[cells]], width_strain)
        own = law.stress(total, environment)
        stress[:, cells] = own[[0, 1, 2, 3, 2]]
        energy[cells] = 0.5 * (own * (total - law.free_strain(environment)[:, None, None])).sum(axis=0)
    return Field(displacement, stress, energy)


def closure(d: Discretisation, tip: Tip, field: Field, turned: bool = False) -> Closure:
    """Return the forces across the side ahead of a tip, and the openings of the side behind it, along x and y.

    `turned`: along and across the side ahead as it has turned.
    """
    cells = tip.cells_above
    xx, yy, xy, _, yx = field.stress[:, cells] * d.weight_qc[cells]
    gx, gy = np.moveaxis(d.grad_ajqc[cells], -1, 0)  # each (cells, q, a)
    along, across = (np.einsum("cq,cqa->ca", p, gx) + np.einsum("cq,cqa->ca", r, gy) for p, r in ((xx, xy), (yx, yy)))
    at = d.nodes_ac[cells]
    force = np.array([[part[at == node].sum() for part in (along, across)] for node in tip.ahead])
    jump = field.displacement[tip.above] - field.displacement[tip.below]
    if turned:
        side = np.diff(d.points[tip.ahead] + field.displacement[tip.ahead], axis=0)[0] * tip.forward
        c, s = side / np.hypot(*side)
        force, jump = (vectors @ np.array([[c, -s], [s, c]]) for vectors in (force, jump))
    return Closure(force, jump, tip.length)


def j_integral(d: Discretisation, tip: Tip, field: Field, inner: float, outer: float) -> float:
    """Return the J integral over the area between two boxes round a tip, of half-widths `inner` and `outer` (mm), N/mm.

    Path-independent as long as the larger box holds no material's end and no
    edge of the section other than along x.
    """
    distance = np.abs(d.points - [tip.x, tip.y]).max(axis=1)
    q_a = np.clip((outer - distance) / (outer - inner), 0.0, 1.0)[d.nodes_ac]
    cells = np.flatnonzero(np.ptp(q_a, axis=1) > 0)
    gradient, weight = d.grad_ajqc[cells], d.weight_qc[cells]
    slope = gradient[..., 0] @ field.displacement[d.nodes_ac[cells]]  # u_j,x: (cells, q, 2)
    towards = np.einsum("cqaj,ca->jcq", gradient, q_a[cells])
    xx, yy, xy, _, yx = field.stress[:, cells]
    along = xx * slope[..., 0] + yx * slope[..., 1] - field.energy[cells]
    across = xy * slope[..., 0] + yy * slope[..., 1]
    return tip.forward * float(((along * towards[0] + across * towards[1]) * weight).sum())
