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

Everything is linear and rotations are small. The rates are quadratic in the load, and
with temperature or moisture beside it they are so with a linear and a constant term.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.edge_moment import ROTATION, buckles, rotation_change
from fejoint.joint.conditions import Environment
from fejoint.joint.description import Joint
from fejoint.joint.disbond import Disbond, checked
from fejoint.joint.families import SingleLap
from fejoint.mechanics.disbond import Tip, disbonded, opening, tip_of
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.elasticity import Law, strain
from fejoint.mechanics.linear import Solution, System, assemble, laws_of, pattern_of, solve_linear
from fejoint.mechanics.reuse import Kept, system_key

__all__ = [
    "Closure",
    "EnergyRelease",
    "Field",
    "Rates",
    "closure",
    "energy_release",
    "field_of",
    "j_integral",
    "rotation_caution",
]

Floats = NDArray[np.float64]

CONTOURS = 4
# Crack closure is off by a few parts in a thousand at the cells that the tip gets, the J integral by less.
AGREEMENT = 0.02
# Faces that overlap by less than this share of their largest movement touch, to the accuracy of the cells.
TOUCHING = 1e-3


@dataclass(frozen=True, eq=False)
class Field:
    """What a linear solution holds at the quadrature points of all cells.

    Attributes
    ----------
    displacement : (nodes, 2) array, mm
    stress : (4, cells, q) array, MPa
        xx, yy, xy, zz.
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


class Rates(NamedTuple):
    """Energy release rates, N/mm: of opening, of shear, and their sum; the parts are NaN where they mean nothing."""

    opening: float
    shear: float
    total: float


@dataclass(frozen=True, eq=False)
class EnergyRelease:
    """Energy release rates of a disbond under a joint's load.

    Attributes
    ----------
    joint : Joint
    disbond : Disbond
    opening, shear, total : float, N/mm
        By virtual crack closure (mode I, mode II and their sum). Opening is 0 where
        the disbond is closed at its tip. The parts are NaN at an interface.
    j_integrals : tuple of float, N/mm
        J integrals over boxes round the tip.
    contours : tuple of float, mm
        Half-widths of these boxes, outside.
    cell : float, mm
        Length of the cells at the tip.
    terms : (3, 2) array, N/mm
        Shear and opening of the load's powers 0, 1 and 2: constant (temperature and moisture alone), linear, quadratic.
    gap : (2,) array, mm
        Opening of the side behind the tip, constant and linear in the load.
    warnings : tuple of str
    """

    joint: Joint
    disbond: Disbond
    opening: float
    shear: float
    total: float
    j_integrals: tuple[float, ...]
    contours: tuple[float, ...]
    cell: float
    terms: Floats
    gap: Floats
    warnings: tuple[str, ...]

    @property
    def split(self) -> bool:
        """Whether the parts of opening and shear mean something: in the middle of the layer."""
        return self.disbond.place == "middle"

    @property
    def j_integral(self) -> float:
        """The J integral over the largest box, N/mm."""
        return self.j_integrals[-1]

    def at(self, factor: float) -> Rates:
        """Return the rates under a multiple of force, moment and shear force, with temperature and moisture as they are."""
        return _rates(self.terms, self.gap, factor, self.split)


def energy_release(joint: Joint, disbond: Disbond, density: float | None = None, kept: Kept | None = None) -> EnergyRelease:
    """Return the energy release rates of a disbond under a joint's load, linear elastic and with small rotations.

    Parameters
    ----------
    joint : Joint
        The load at the end of its path counts.
    disbond : Disbond
    density : float, optional
        Mesh density; by default that of the joint's first mesh.
    kept : Kept, optional
        What other calls left for this one: joints that differ in load or temperature alone share a factorisation.

    Raises
    ------
    JointError
        The joint has no room for the disbond (`fejoint.joint.disbond.checked`).
    """
    checked(disbond, joint)
    system = _system(joint, disbond, density, Kept(0) if kept is None else kept)
    d, tip = system.discretisation, tip_of(system.discretisation)
    full = solve_linear(system, joint)
    field = _field(full)
    all_of_it = closure(d, tip, field)
    if joint.load.temperature_change == 0 and joint.load.moisture == 0:
        rest = all_of_it.less(all_of_it)
    else:
        rest = closure(d, tip, _field(solve_linear(system, joint.at(force=0.0, moment=0.0, shear_force=0.0))))
    load = all_of_it.less(rest)
    terms = np.array([rest.work(rest), rest.work(load) + load.work(rest), load.work(load)])
    gap = np.array([rest.jump[0, 1], load.jump[0, 1]])
    rates = _rates(terms, gap, 1.0, disbond.place == "middle")
    contours = _contours(joint, disbond)
    integrals = tuple(j_integral(d, tip, field, half / 2, half) for half in contours)
    return EnergyRelease(
        joint=joint,
        disbond=disbond,
        opening=rates.opening,
        shear=rates.shear,
        total=rates.total,
        j_integrals=integrals,
        contours=contours,
        cell=tip.length,
        terms=terms,
        gap=gap,
        warnings=tuple(_warnings(joint, disbond, full, float(gap.sum()), rates.total, integrals[-1])),
    )


def field_of(
    d: Discretisation,
    laws: Mapping[str, Law],
    displacement: Floats,
    width_strain: float = 0.0,
    environment: Environment = Environment(),  # noqa: B008
) -> Field:
    """Return stress and energy of a displacement, (nodes, 2), mm, with Hooke's law of every region in an environment."""
    shape = d.weight_qc.shape
    stress, energy = np.empty((4, *shape)), np.empty(shape)
    for name, law in laws.items():
        cells = d.section.cells(name)
        total = strain(d.grad_ajqc[cells], displacement[d.nodes_ac[cells]], width_strain)
        stress[:, cells] = own = law.stress(total, environment)
        energy[cells] = 0.5 * (own * (total - law.free_strain(environment)[:, None, None])).sum(axis=0)
    return Field(displacement, stress, energy)


def closure(d: Discretisation, tip: Tip, field: Field) -> Closure:
    """Return the forces across the side ahead of a tip, and the openings of the side behind it."""
    cells = tip.cells_above
    xx, yy, xy, _ = field.stress[:, cells] * d.weight_qc[cells]
    gx, gy = np.moveaxis(d.grad_ajqc[cells], -1, 0)  # each (cells, q, a)
    along, across = (np.einsum("cq,cqa->ca", p, gx) + np.einsum("cq,cqa->ca", r, gy) for p, r in ((xx, xy), (xy, yy)))
    at = d.nodes_ac[cells]
    force = np.array([[part[at == node].sum() for part in (along, across)] for node in tip.ahead])
    return Closure(force, field.displacement[tip.above] - field.displacement[tip.below], tip.length)


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
    xx, yy, xy, _ = field.stress[:, cells]
    along = xx * slope[..., 0] + xy * slope[..., 1] - field.energy[cells]
    across = xy * slope[..., 0] + yy * slope[..., 1]
    return tip.forward * float(((along * towards[0] + across * towards[1]) * weight).sum())


# ---- parts ---------------------------------------------------------------


def _system(joint: Joint, disbond: Disbond, density: float | None, kept: Kept) -> System:
    """Return the factored section of a joint with a disbond."""
    density = joint.analysis.mesh_density if density is None else density
    ends, lifted, parameters = joint.load.ends, joint.load.shear_force != 0, joint.geometry.script_parameters()
    mesh = f"{disbond!r} {joint.geometry.script} density={density!r} {parameters!r}"
    d = kept.once(mesh, lambda: discretise(disbonded(joint, disbond, density)))
    pattern = kept.once(f"{mesh} {ends} {lifted}", lambda: pattern_of(d, ends, lifted))
    key = f"{disbond!r} {system_key(joint, density)}"
    return kept.once(key, lambda: assemble(d, laws_of(joint, d.section), ends, lifted, pattern))


def _field(solution: Solution) -> Field:
    return field_of(
        solution.discretisation, solution.laws, solution.displacement, solution.width_strain, solution.joint.environment
    )


def _rates(terms: Floats, gap: Floats, factor: float, split: bool) -> Rates:
    shear, opening_ = (float(rate) for rate in np.array([1.0, factor, factor * factor]) @ terms)
    if gap @ [1.0, factor] <= 0:  # forces that press on faces that overlap would count as opening them
        opening_ = 0.0
    total = shear + opening_
    return Rates(opening_, shear, total) if split else Rates(np.nan, np.nan, total)


def _contours(joint: Joint, disbond: Disbond) -> tuple[float, ...]:
    """Return the half-widths of the boxes: from inside the layer, where there is room, to nearly the next end of the overlap."""
    bond, h = disbond.bond(joint), joint.geometry.bondline_thickness / 2
    room = min(disbond.length, bond.end - bond.start - disbond.length)
    return tuple(float(r) for r in np.geomspace(min(0.8 * h, 0.5 * room), 0.9 * room, CONTOURS))


def _warnings(joint: Joint, disbond: Disbond, full: Solution, gap: float, total: float, j: float) -> list[str]:
    found = []
    if joint.analysis.nonlinear:
        found.append(
            "energy release: linear elastic and with small rotations, whatever the joint's analysis is; yielding is not in it"
        )
    if disbond.place != "middle":
        found.append(
            "energy release: at an interface only the total has a meaning; its parts of opening and shear depend on the cells"
        )
    d = full.discretisation
    apart, x = opening(d, full.displacement)
    # At an interface the faces overlap within the last cells even when pulled apart, which is the equations' doing.
    tip = tip_of(d)
    seen = np.abs(x - tip.x) > (0.5 if disbond.place == "middle" else 4.5) * tip.length
    scale = max(float(np.abs(full.displacement[d.line(name)]).max()) for name in ("disbond above", "disbond below"))
    worst = int(np.argmin(np.where(seen, apart, np.inf)))
    if gap < 0:
        found.append(
            "energy release: the disbond is closed at its tip, so opening counts as 0; contact and friction between its faces "
            "are not in the analysis"
        )
    if seen.any() and apart[worst] < -TOUCHING * scale:
        found.append(
            f"energy release: the disbond's faces run into each other by up to {-apart[worst]:.3g} mm, at x = {x[worst]:.4g} mm; "
            "contact is not in the analysis"
        )
    if abs(total - j) > AGREEMENT * max(abs(total), abs(j)) and gap >= 0:
        found.append(
            f"self-check missed: the energy release rate by crack closure, {total:.4g} N/mm, and by the J integral, "
            f"{j:.4g} N/mm, differ; use a finer mesh"
        )
    return found + rotation_caution(joint, disbond)


def rotation_caution(joint: Joint, disbond: Disbond) -> list[str]:
    """Return what small rotations leave out: the disbonded stretch bends as if the arms were longer and the overlap shorter."""
    geometry, a = joint.geometry, disbond.length
    if not isinstance(geometry, SingleLap) or joint.load.force == 0:
        return []
    side = "lower" if disbond.end == "left" else "upper"
    arm = getattr(geometry, side)
    longest = 1000 * arm.thickness  # an arm's limit, beyond which the frame of beams is told nothing new
    longer = arm.replace(free_length=min(arm.free_length + a, longest))
    left = joint.replace(geometry=geometry.replace(**{"overlap_length": geometry.overlap_length - a, side: longer}))
    if buckles(left):
        return [
            "energy release: taken as a frame of beams the disbonded joint has buckled under this load: its rates mean nothing"
        ]
    change = rotation_change(left)
    if abs(change) <= ROTATION:
        return []
    turns, more = "turns" if joint.load.force > 0 else "bends further", change > 0
    return [
        f"energy release, small rotations: the joint {turns} under this load, so that the true edge moment is about "
        f"{100 * abs(change):.0f} % {'larger' if more else 'smaller'} and the energy release rate is "
        f"{'understated' if more else 'overstated'}"
    ]
