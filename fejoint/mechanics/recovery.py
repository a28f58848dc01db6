"""Stresses at the bondline, from the solved displacements.

Element stresses jump between elements and are best at the four 2 x 2 Gauss
points of a nine-node quadrilateral. The recovered stress is continuous: round
every mesh vertex inside the adhesive a biquadratic polynomial is fitted to the
stresses at those points of the cells that meet there, and between the vertices
the polynomials are blended (superconvergent patch recovery: Zienkiewicz & Zhu,
Int. J. Numer. Meth. Eng. 33, 1992, 1331-1364, cited from memory). Only cells of
the adhesive count: nothing is averaged across an interface. All curves, peaks and
resultants are taken from this field.

On a free end the polynomials of the nearest inner vertices are continued to
the surface, which is not forced to be free of stress: the shear at the very
end of the mid-line is small beside the peak, not exactly zero, and shrinks
with the mesh. Towards the corners, where the stress is singular, a continued
polynomial means nothing; no value from there is reported.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from skfem import ElementQuad1, ElementQuad2

from fejoint.bondline.curves import LINEAR, Bondline, Curve, EdgeLoads, Peak
from fejoint.joint.geometry import Bond
from fejoint.mechanics.discretisation import Discretisation, of_mesh
from fejoint.mechanics.linear import Solution
from fejoint.mechanics.stations import CORNER_DISTANCE, pieces_of, stations
from fejoint.mechanics.taper import middle_of_layer

__all__ = [
    "Fields",
    "Resultant",
    "cut_resultant",
    "edge_loads",
    "nodal",
    "nodal_stress",
    "passed_on",
    "recover_bondlines",
    "spew_peaks",
]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Resultant:
    """Force of the upper side on the lower through a cut, per unit width, and its moment about a point."""

    x: float
    y: float
    moment: float
    magnitude: float
    """Integral of the magnitude of the traction, N/mm"""


def nodal_stress(solution: Solution, region: str = "adhesive", kind: str = "bondline") -> Floats:
    """Return the recovered stress of a region at all nodes, shape (nodes, 4), MPa; NaN outside it.

    `kind` as of `Solution.stress`; ``carried`` has a fifth component where rotations are large.
    """
    layer = solution.layer_stress(kind) if region == "adhesive" else None
    return nodal(solution.discretisation, solution.stress(region, kind), region) if layer is None else layer


def nodal(d: Discretisation, values_icq: Floats, region: str) -> Floats:
    """Return the recovered field, (nodes, i), of values at a region's quadrature points, (i, cells, q); NaN outside."""
    fit, blend, outside = _patches(d, region)
    recovered = blend @ (fit @ values_icq.reshape(len(values_icq), -1).T)
    recovered[outside] = np.nan
    return np.asarray(recovered)


@of_mesh
def _patches(d: Discretisation, region: str) -> tuple[sp.csr_array, sp.csr_array, NDArray[np.bool_]]:
    """Return the recovery of a region's stresses as what it is, linear and of the mesh alone.

    That is the sparse matrix that fits the coefficients of the patches'
    polynomials, 9 a vertex, to the cells' stresses at their quadrature points;
    the one that makes nodal values of the coefficients; and which nodes lie outside.
    """
    cells = d.section.cells(region)
    mesh = d.section.mesh
    corners_cv = mesh.t[:, cells].T
    best_pj, shape_pv = _best_points()
    # Cell stresses at the best points: they are biquadratic in the cell's own coordinates.
    best_pq = best_pj @ np.linalg.inv(d.shape_qa)
    place_cpx = np.einsum("pv,xcv->cpx", shape_pv, mesh.p[:, corners_cv], optimize=True)

    # Inner vertices: those whose facets all lie between two cells of the region.
    facets = mesh.t2f[:, cells]
    outer = facets[(np.bincount(facets.ravel(), minlength=mesh.facets.shape[1]) == 1)[facets]]
    inner_v = np.zeros(mesh.p.shape[1], dtype=bool)
    inner_v[corners_cv] = True
    inner_v[mesh.facets[:, outer]] = False

    # Least squares round every inner vertex, in coordinates scaled by its patch.
    vertices = len(inner_v)
    extent_vx = np.zeros((vertices, 2))
    for k in range(4):
        spread = np.abs(mesh.p[:, corners_cv] - mesh.p[:, corners_cv[:, k]][:, :, None]).max(axis=2).T
        np.maximum.at(extent_vx, corners_cv[:, k], spread)

    def monomials(place_cpx: Floats) -> Floats:
        """Return the monomials of every cell's places round each of its vertices, in the patch's coordinates, (c, 4, p, 9)."""
        v = corners_cv
        return _monomials((place_cpx[:, None] - mesh.p[:, v].transpose(1, 2, 0)[:, :, None]) / extent_vx[v][:, :, None])

    m = monomials(place_cpx)
    normal = _sum_at(corners_cv, m.swapaxes(2, 3) @ m, vertices)
    # Where fewer than four cells meet the data carry a full quadratic only: switch the three higher terms off.
    few = np.bincount(corners_cv.ravel(), minlength=vertices) < 4
    normal[few, 6:, 6:] += 1e12 * np.eye(3)
    inverse = np.zeros_like(normal)
    inverse[inner_v] = np.linalg.inv(normal[inner_v])
    fit_cvmq = inverse[corners_cv] @ (m.swapaxes(2, 3) @ best_pq)

    # Blend by the vertex's bilinear hat; the small share serves the nodes of the surface, where all hats are zero.
    nodes_ca = d.nodes_ac[cells]
    hat_cva = (_HAT_ka + 1e-9) * inner_v[corners_cv][:, :, None]
    weight = _sum_at(nodes_ca, hat_cva.sum(axis=1), len(d.points))
    hat_cva = hat_cva / np.where(weight > 0, weight, np.inf)[nodes_ca][:, None]
    blend_cvam = hat_cva[..., None] * monomials(d.points[nodes_ca])

    coefficient_cvm = 9 * corners_cv[:, :, None] + np.arange(9)
    value_cq = 9 * np.arange(len(cells))[:, None] + np.arange(9)
    fit = (fit_cvmq, coefficient_cvm[:, :, :, None], value_cq[:, None, None, :], (9 * vertices, 9 * len(cells)))
    blend = (blend_cvam, nodes_ca[:, None, :, None], coefficient_cvm[:, :, None, :], (len(d.points), 9 * vertices))
    return _sparse(*fit), _sparse(*blend), weight == 0


def _sparse(values: Floats, rows: Any, columns: Any, shape: tuple[int, int]) -> sp.csr_array:
    """Return the sparse matrix of the sums of values at rows and columns, all of one shape when broadcast."""
    rows, columns = (np.broadcast_to(k.astype(np.int32), values.shape).ravel() for k in (rows, columns))
    used = values.ravel() != 0
    return sp.csr_array(sp.coo_array((values.ravel()[used], (rows[used], columns[used])), shape=shape))


def _sum_at(places: Any, values: Floats, n: int) -> Floats:
    """Return the sums of `values` that share a place (0 to n - 1); `places` has the first axes of `values`."""
    sort = sp.csr_array((np.ones(places.size), (places.ravel(), np.arange(places.size))), shape=(n, places.size))
    return np.asarray(sort @ values.reshape(places.size, -1)).reshape(n, *values.shape[places.ndim :])


def _monomials(place: Floats) -> Floats:
    """Return 1, x, y, x^2, xy, y^2, x^2 y, x y^2, x^2 y^2 along a new last axis."""
    x, y = place[..., 0], place[..., 1]
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y, x * x * y, x * y * y, x * x * y * y], axis=-1)


def _best_points() -> tuple[Floats, Floats]:
    """Return the nine biquadratic and the four bilinear shape functions at the 2 x 2 Gauss points, (4, 9) and (4, 4)."""
    gauss = 0.5 + np.array([-1.0, 1.0]) / (2 * np.sqrt(3.0))
    points = np.array([[x, y] for x in gauss for y in gauss]).T
    quadratic = np.stack([ElementQuad2().lbasis(points, a)[0] * np.ones(4) for a in range(9)], axis=1)
    linear = np.stack([ElementQuad1().lbasis(points, v)[0] * np.ones(4) for v in range(4)], axis=1)
    return quadratic, linear


# The bilinear hat of corner k at the nine nodes (corners, edge mid-points 01, 12, 23, 30, centre).
_HAT_ka = np.array(
    [
        [1, 0, 0, 0, 0.5, 0, 0, 0.5, 0.25],
        [0, 1, 0, 0, 0.5, 0.5, 0, 0, 0.25],
        [0, 0, 1, 0, 0, 0.5, 0.5, 0, 0.25],
        [0, 0, 0, 1, 0, 0, 0.5, 0.5, 0.25],
    ]
)


class Fields(NamedTuple):
    """Recovered fields of the adhesive at all nodes, beside the stress in the bondline's directions; None where there are none.

    Attributes
    ----------
    carried, cauchy : (nodes, 4 or 5) arrays, MPa
        As `nodal_stress`.
    shear_strain, plastic_strain : (nodes,) arrays
    measure : str
        Which stress the one in the bondline's directions is.
    damage, opening, sliding : (nodes,) arrays
        Of a cohesive layer.
    """

    carried: Floats | None = None
    cauchy: Floats | None = None
    shear_strain: Floats | None = None
    plastic_strain: Floats | None = None
    measure: str = LINEAR
    damage: Floats | None = None
    opening: Floats | None = None
    sliding: Floats | None = None


def recover_bondlines(solution: Solution, stress: Floats, fields: Fields = Fields()) -> list[Bondline]:  # noqa: B008
    """Return the bondlines of a solved section from the recovered adhesive stress (`nodal_stress`) and what goes with it.

    Those of a half section are its own only; `unfolded` makes it whole.
    """
    carried = stress if fields.carried is None else fields.carried
    d, joint, geometry = solution.discretisation, solution.joint, solution.joint.geometry
    edges, entries = edge_loads(solution), geometry.entries()
    # The elements of a cohesive layer know its flaws: it bears nothing there.
    flawed = [bond for bond in geometry.bonds() if joint.flaws and not joint.analysis.cohesive]
    places = {
        (bond.number, level): stations(pieces_of(d.line(f"bondline {bond.number} {level}")), d.points[:, 0], joint, bond, level)
        for bond in flawed
        for level in ("middle", "lower", "upper")
    }
    keep_off = CORNER_DISTANCE * geometry.bondline_thickness
    passed = {
        below: passed_on(solution, carried, name) for name, below, _ in geometry.cuts() if name in d.section.mesh.boundaries
    }

    def interface(bond: Bond, level: str) -> Curve:
        curve = curve_of(bond, level, stress)
        if places:
            return curve
        start, end = curve.x[[0, -1]]
        distance = min(keep_off, (end - start) / 4)
        return curve.part(start + distance, end - distance)

    def entering(bond: Bond, x: float, at_overlap_end: bool) -> EdgeLoads | None:
        here = [edges[name] for name in (bond.below, bond.above) if name in edges and entries[name] == x]
        return here[0] if here and at_overlap_end else None

    def values(bond: Bond, level: str, field: Floats) -> Floats:
        at = places.get((bond.number, level))
        return field[_nodes(d, f"bondline {bond.number} {level}")] if at is None else at.of(field)

    def curve_of(bond: Bond, level: str, of: Floats) -> Curve:
        at = places.get((bond.number, level))
        x = d.points[_nodes(d, f"bondline {bond.number} {level}"), 0] if at is None else at.x
        axial, peel, shear = (values(bond, level, of[:, k]) for k in range(3))
        return Curve(x, bond.sign * shear, peel, axial)

    def along(bond: Bond, field: Floats | None, sign: int = 1) -> Floats | None:
        return None if field is None else sign * values(bond, "middle", field) + 0.0

    def so_far(bond: Bond) -> Floats:
        cut = passed[bond.below]
        if not places:
            return cut[_nodes(d, f"bondline {bond.number} middle")]
        # A cut goes round tips, off the mid-line, and has nothing where there is a flaw: what it has passed on up to an x.
        on_middle, (x, _) = np.unique(d.line(f"bondline {bond.number} middle")), d.points.T
        beside = (x > bond.start + 1e-9) & (x < bond.end - 1e-9)
        beside[on_middle] = True
        own = np.flatnonzero(beside & ~np.isnan(cut))
        own = own[np.lexsort((bond.sign * cut[own], np.round(x[own], 9)))]
        at = places[bond.number, "middle"]
        # Nothing is passed on along a flaw: what a cut passes on round a tip counts at the tip.
        return np.interp(np.where(at.share > 0.6, at.x, at.gap), x[own], cut[own])

    def in_space(bond: Bond) -> Curve | None:
        return None if fields.cauchy is None else curve_of(bond, "middle", fields.cauchy)

    return [
        Bondline(
            number=bond.number,
            middle=curve_of(bond, "middle", stress),
            lower=interface(bond, "lower"),
            upper=interface(bond, "upper"),
            left=entering(bond, 0.0, bond.start == 0),
            right=entering(bond, geometry.length, bond.end == geometry.length),
            transferred=bond.sign * so_far(bond) + 0.0,
            measure=fields.measure,
            cauchy=in_space(bond),
            shear_strain=along(bond, fields.shear_strain, bond.sign),
            plastic_strain=along(bond, fields.plastic_strain),
            damage=along(bond, fields.damage),
            opening=along(bond, fields.opening),
            sliding=along(bond, fields.sliding, bond.sign),
            flawed=tuple((f.start, f.end) for f in joint.merged_flaws().flaws if f.bondline == bond.number),
        )
        for bond in geometry.bonds()
        if f"bondline {bond.number} middle" in d.section.mesh.boundaries
    ]


def spew_peaks(solution: Solution, stress: Floats) -> dict[int, tuple[Peak, Peak]]:
    """Return the mid-line's largest shear and most opening peel beyond the overlap, inside the spew, by bondline.

    The mid-line goes on into a fillet, and its stress may rise there; the
    curves of a bondline end with the overlap. Empty without fillets, and for
    the beads of a stepped lap, which its treads do not run into.
    """
    d, geometry, found = solution.discretisation, solution.joint.geometry, {}
    for bond in geometry.bonds():
        if f"cut {bond.number}" not in d.section.mesh.boundaries:  # of a stepped lap the first only, off which no tread goes on
            continue
        own = np.setdiff1d(d.line(f"cut {bond.number}"), d.line(f"bondline {bond.number} middle"))
        x, y = d.points[own].T
        near = 1e-6 * geometry.bondline_thickness
        beyond = (x < bond.start - near) | (x > bond.end + near)  # a cut also leaves the mid-line where it goes round a tip
        on_line = own[beyond & (np.abs(y - middle_of_layer(geometry, bond, x)) < near)]
        if len(on_line):
            shear, peel, x = bond.sign * stress[on_line, 2], stress[on_line, 1], d.points[on_line, 0]
            i, j = int(np.argmax(np.abs(shear))), int(np.argmax(peel))
            found[bond.number] = Peak(float(shear[i]), float(x[i])), Peak(float(peel[j]), float(x[j]))
    return found


def edge_loads(solution: Solution) -> dict[str, EdgeLoads]:
    """Return what every adherend carries where it enters the overlap, by equilibrium from its end face.

    The stress there is singular and is not integrated.
    """
    found = {}
    for name, (x, y) in solution.entries().items():
        end = solution.ends[name]
        side = 1.0 if end.x > x else -1.0
        # Adding 0 makes -0 a plain 0.
        found[name] = EdgeLoads(side * end.axial + 0.0, side * end.lateral + 0.0, side * end.moment_about(x, y) + 0.0)
    return found


def cut_resultant(solution: Solution, stress: Floats, curve: str, about: tuple[float, float]) -> Resultant:
    """Return the resultant of the recovered adhesive stress on a cut that parts the adherend below from the one above.

    `stress` is the field of `nodal_stress`, kind ``carried``; the moment is about
    the point `about` (mm), in N (per unit width).
    """
    nodes, force_x, force_y = _cut_forces(solution.discretisation, stress, curve)
    arm = solution.places[nodes] - np.asarray(about)
    # Simpson's rule: tractions are quadratic along a side and their moments cubic, both of which it integrates exactly.
    simpson = np.array([1, 4, 1]) / 6
    return Resultant(
        x=float((force_x @ simpson).sum()),
        y=float((force_y @ simpson).sum()),
        moment=float(((arm[..., 0] * force_y - arm[..., 1] * force_x) @ simpson).sum()),
        magnitude=float((np.hypot(force_x, force_y) @ simpson).sum()),
    )


def passed_on(solution: Solution, stress: Floats, curve: str) -> Floats:
    """Return the force along x that a cut has passed on from its left end up to each node, shape (nodes,), N/mm; NaN off it."""
    d = solution.discretisation
    line = d.line(curve)
    _, force_x, _ = _cut_forces(d, stress, curve)
    total = np.cumsum(force_x @ np.array([1, 4, 1]) / 6)
    before = np.append(0.0, total[:-1])
    found = np.full(len(d.points), np.nan)
    found[line[:, 2]] = total
    found[line[:, 0]] = before
    found[line[:, 1]] = before + force_x @ np.array([5, 8, -1]) / 24  # up to the middle of a quadratic piece
    return found


def _cut_forces(d: Discretisation, stress: Floats, curve: str) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Return the nodes of a cut's sides, (sides, 3), and the tractions along x and y times the side's length, (sides, 3).

    `stress` has xx, yy, xy, zz and, unless it is xy, the force along y on faces along x as a fifth column.
    """
    line = d.line(curve)
    points = d.points[line]
    tangent = points[:, 2] - points[:, 0]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)  # times the length; towards the side above
    s = stress[line]
    force_x = s[..., 0] * normal[:, None, 0] + s[..., 2] * normal[:, None, 1]
    force_y = s[..., 4 if s.shape[-1] > 4 else 2] * normal[:, None, 0] + s[..., 1] * normal[:, None, 1]
    return line, force_x, force_y


def _nodes(d: Discretisation, curve: str) -> NDArray[np.int64]:
    """Return the nodes of a curve in order."""
    line = d.line(curve)
    return np.append(line[:, :2].ravel(), line[-1, 2])
