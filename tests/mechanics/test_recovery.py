"""The recovered bondline stress: exact where it must be, honest at free ends, in balance, convergent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import fejoint
from fejoint.mechanics.recovery import cut_resultant, nodal_stress, recover_bondlines

STEEL = {"elastic_modulus": 200_000.0, "poisson_ratio": 0.29, "expansion": 12e-6}
UNLIKE = {"upper": STEEL, "upper_thickness": 1.0, "lower_arm": 40.0, "upper_arm": 60.0}
# Displacements of about 100 (x^2 over the overlap), known to 1e-16 of that, over cells of 0.004 mm give strains
# to 1e-11 where the largest is about 10; the fits cost two digits.
EXACT = 1e-9


def given_displacement(level, u, v):
    """Return the level's solution with a displacement given as functions of the place."""
    x, y = level.solution.discretisation.points.T
    return replace(level.solution, displacement=np.column_stack([u(x, y), v(x, y)]))


def glue_stress(solution, strain) -> tuple[np.ndarray, np.ndarray]:
    """Return the adhesive's nodes and the stress there by Hooke's law from a strain given by hand."""
    d = solution.discretisation
    nodes = np.unique(d.nodes_ac[d.section.cells("adhesive")])
    xx, yy, xy = strain(*d.points[nodes].T)
    return nodes, np.stack([xx, yy, xy, 0 * xx], axis=1) @ solution.laws["adhesive"].stiffness.T


@pytest.mark.parametrize("fillet", [False, True, 1.0], ids=["square", "fillet", "tall fillet"])
def test_linear_stress_is_recovered_exactly(lap, level, fillet):
    """A quadratic displacement, within the elements' reach on any cell: its stress at all nodes, surfaces and corners too."""
    solution = given_displacement(
        level(lap(fillet=fillet)), lambda x, y: x**2 - 3 * x * y + 0.5 * y**2, lambda x, y: 2 * y**2 + x * y - 0.3 * x**2 + x
    )
    nodes, exact = glue_stress(solution, lambda x, y: (2 * x - 3 * y, 4 * y + x, -3 * x + y + y - 0.6 * x + 1))
    assert np.abs(nodal_stress(solution)[nodes] - exact).max() < EXACT * np.abs(exact).max()


def test_quadratic_stress_is_recovered_exactly_on_rectangles(lap, level):
    """A cubic displacement, which the elements only interpolate: at the 2 x 2 Gauss points its strain is exact nonetheless.

    Barlow, Int. J. Numer. Meth. Eng. 10, 1976, 243-251, and Zienkiewicz & Zhu, 33, 1992, 1331-1364, both from memory.
    Lengths in 10 mm keep the cubic as small as the square was.
    """
    solution = given_displacement(
        level(lap(**UNLIKE)), lambda x, y: x**3 / 10 - x * x * y + y**3, lambda x, y: x * y * y - 2 * y**3 + x**3 / 20
    )
    nodes, exact = glue_stress(
        solution, lambda x, y: (0.3 * x**2 - 2 * x * y, 2 * x * y - 6 * y**2, -(x**2) + 3 * y**2 + y**2 + 0.15 * x**2)
    )
    assert np.abs(nodal_stress(solution)[nodes] - exact).max() < EXACT * np.abs(exact).max()


def test_stress_belongs_to_the_adhesive_alone(plain):
    """Nothing is averaged across an interface: nodes outside the adhesive have no value, those in it all have one."""
    d = plain.solution.discretisation
    inside = np.zeros(len(d.points), dtype=bool)
    inside[d.nodes_ac[d.section.cells("adhesive")]] = True
    assert np.isnan(plain.stress[~inside]).all()
    assert np.isfinite(plain.stress[inside]).all()


def test_recovery_knows_thermal_strain(lap, level):
    """Held still, a cooled layer carries -C alpha dT (from a displacement of zero; tolerance as above)."""
    solution = level(lap(temperature=-50.0, out_of_plane="plane-strain")).solution
    still = replace(solution, displacement=np.zeros_like(solution.displacement))
    nodes = np.unique(still.discretisation.nodes_ac[still.section.cells("adhesive")])
    bulk = 2000 / (1 - 2 * 0.35) * 60e-6 * 50.0  # E alpha |dT| / (1 - 2 nu), all three directions
    assert np.abs(nodal_stress(still)[nodes] - [bulk, bulk, 0, bulk]).max() < EXACT * bulk


@pytest.mark.parametrize("keys", [{}, UNLIKE, {"layer": 1.0}, {"layer": 0.05, "overlap": 50.0}, {"ends": "pinned"}])
def test_mid_line_shear_vanishes_at_a_free_square_end(lap, level, keys):
    """The end face is free, so its shear is zero: below 1 % of the peak on the default mesh, and less on a finer one.

    The bound is that of the default error target: an end value as wrong as the peak may be.
    """
    shares = []
    for density in (1.0, 2.0):
        b = level(lap(**keys), density).bondline
        shares.append(np.abs(b.shear[[0, -1]]).max() / abs(b.peak_shear.value))
    assert shares[0] < 0.01
    assert shares[1] < shares[0]


def test_axial_stress_vanishes_at_a_free_square_end(lap, level):
    """The other stress of a free face, by the same bound, as a share of the peel beside it."""
    b = level(lap()).bondline
    assert np.abs(b.middle.axial[[0, -1]]).max() < 0.01 * b.peak_peel.value


@pytest.mark.parametrize("fillet", [True, 1.0], ids=["fillet", "tall fillet"])
def test_free_edge_of_a_fillet_is_free_of_traction(lap, level, fillet):
    """Half way down the 45-degree edge, where the cut ends, both tractions are below 1 % of the peak, as on a square end."""
    solved = level(lap(fillet=fillet))
    line = solved.solution.discretisation.line("cut 1")
    for node in (line[0, 0], line[-1, 2]):
        xx, yy, xy, _ = solved.stress[node]
        traction = np.array([-xx + xy, -xy + yy]) / np.sqrt(2)
        assert np.abs(traction).max() < 0.01 * solved.bondline.peak_peel.value


def test_interface_curves_keep_off_the_corners(plain):
    """They start half a bondline thickness inside, where the mid-line starts at the end itself, and follow the nodes."""
    b, d = plain.bondline, plain.solution.discretisation
    assert b.x[[0, -1]] == pytest.approx([0.0, 12.5], abs=1e-9)
    for name in ("lower", "upper"):
        curve = getattr(b, name)
        assert curve.x[[0, -1]] == pytest.approx([0.1, 12.4], abs=1e-9)
        assert (np.diff(curve.x) > 0).all()
        nodes = np.unique(d.line(f"bondline 1 {name}"))
        nodes = nodes[(d.points[nodes, 0] > 0.1) & (d.points[nodes, 0] < 12.4)]
        for k, stress in enumerate(("axial", "peel", "shear")):
            # The first and last piece are cut and sampled anew from the same parabola: round-off of the interpolation.
            assert curve.at(d.points[nodes, 0], stress) == pytest.approx(plain.stress[nodes, k], abs=1e-9)


def test_short_overlap_keeps_its_middle_half(lap, level):
    """Where half a thickness from both ends would leave little, a quarter of the overlap is left out at each end."""
    b = level(lap(overlap=0.3, force=100.0)).bondline
    assert b.lower.x[[0, -1]] == pytest.approx([0.075, 0.225], abs=1e-9)


# ---- edge loads --------------------------------------------------------------


@pytest.mark.parametrize("ends", ["clamped", "pinned"])
@pytest.mark.parametrize("keys", [{}, UNLIKE], ids=["balanced", "unlike"])
def test_edge_loads_hold_the_overlap_in_balance(lap, level, keys, ends):
    """The overlap as a free body: M_right - M_left + V L = P times the distance of the mid-planes; equal forces at both ends.

    Tolerance 1e-6: solver round-off (condition number 1e10).
    """
    solved = level(lap(**keys, ends=ends))
    g, left, right = solved.solution.joint.geometry, solved.bondline.left, solved.bondline.right
    lever = (g.lower.thickness + g.upper.thickness) / 2 + g.bondline_thickness
    assert left.axial == pytest.approx(100.0, rel=1e-6)
    assert right.axial == pytest.approx(100.0, rel=1e-6)
    assert left.shear == pytest.approx(right.shear, abs=1e-6 * 100)
    assert right.moment - left.moment + right.shear * g.overlap_length == pytest.approx(100.0 * lever, rel=1e-6)


@pytest.mark.parametrize("ends", ["clamped", "pinned"])
def test_edge_loads_agree_with_the_stress_in_the_arms(lap, level, ends):
    """Integrals of the element stresses over a column of cells in each arm, carried to the overlap's end by statics.

    Galerkin's equations hold for shifts and turns of the column's faces, so these means are exact: tolerance 1e-6, round-off.
    """
    solved = level(lap(**UNLIKE, ends=ends))
    s, g = solved.solution, solved.solution.joint.geometry
    d, length = s.discretisation, g.overlap_length
    for region, edge, end, (low, high) in (
        ("lower", solved.bondline.left, 0.0, (-20.0, -5.0)),
        ("upper", solved.bondline.right, length, (length + 5.0, length + 20.0)),
    ):
        cells = d.section.cells(region)
        corners = d.section.mesh.p[0, d.section.mesh.t[:, cells]]
        start, stop = corners.min(axis=0), corners.max(axis=0)
        first = start[(start > low) & (stop < high)].min()
        column = np.abs(start - first) < 1e-6
        width = float((stop - start)[column].mean())
        xx, _, xy, _ = s.stress(region)[:, column]
        weight = d.weight_qc[cells[column]]
        y = np.einsum("qa,ca->cq", d.shape_qa, d.points[d.nodes_ac[cells[column]], 1])
        middle = d.points[np.unique(d.nodes_ac[cells]), 1]
        middle = (middle.min() + middle.max()) / 2
        axial, shear, moment = ((f * weight).sum() / width for f in (xx, xy, -(y - middle) * xx))
        assert edge.axial == pytest.approx(axial, rel=1e-6)
        assert edge.shear == pytest.approx(shear, abs=1e-6 * 100)
        assert edge.moment == pytest.approx(moment + shear * (first + width / 2 - end), abs=1e-6 * 100)


def test_edge_moments_between_pins_follow_from_statics(lap, level):
    """Pins hold the force's offset by V = P e / (whole length); edge moments are V times the arms, the factors 2 M/(P (t + t_a)).

    Tolerance 1e-6: solver round-off.
    """
    solved = level(lap(**UNLIKE, ends="pinned"))
    lever, whole = (1.6 + 1.0) / 2 + 0.2, 40 + 12.5 + 60
    v = 100.0 * lever / whole
    assert solved.bondline.left.moment == pytest.approx(-v * 40, rel=1e-6)
    assert solved.bondline.right.moment == pytest.approx(v * 60, rel=1e-6)
    factors = fejoint.solve(lap(**UNLIKE, ends="pinned")).edge_moment_factors
    assert factors == pytest.approx((2 * v * 40 / (100 * 1.8), 2 * v * 60 / (100 * 1.2)), rel=1e-6)
    assert fejoint.solve(lap(force=0.0)).edge_moment_factors is None


# ---- the cut -----------------------------------------------------------------


@pytest.mark.parametrize("fillet", [False, True], ids=["square", "fillet"])
def test_cut_carries_the_resultant_of_a_uniform_stress(lap, level, fillet):
    """Uniform stress gives stress times the cut's projections, whatever way the cut takes through the fillets (EXACT)."""
    solution = given_displacement(level(lap(fillet=fillet)), lambda x, y: 2e-3 * x + 1e-3 * y, lambda x, y: 3e-3 * y)
    stress = nodal_stress(solution)
    xx, yy, xy, _ = solution.laws["adhesive"].stiffness @ [2e-3, 3e-3, 1e-3, 0]
    d = solution.discretisation
    line = d.line("cut 1")
    start, end = d.points[line[0, 0]], d.points[line[-1, 2]]
    along, up = end - start
    found = cut_resultant(solution, stress, "cut 1", (1.0, 0.3))  # off the line, so that both arms count
    scale = yy * along
    assert found.x == pytest.approx(xy * along - xx * up, abs=EXACT * scale)
    assert found.y == pytest.approx(yy * along - xy * up, abs=EXACT * scale)
    # Moments x f_y - y f_x of uniform stress along the way: differences of squares of its ends, and the area under it.
    x, y = d.points[line].transpose(2, 0, 1)
    area_under = float(((y[:, 0] + y[:, 2]) / 2 * (x[:, 2] - x[:, 0])).sum())
    area_beside = float(end @ [end[1], 0] - start @ [start[1], 0]) - area_under
    moment = yy * (end[0] ** 2 - start[0] ** 2) / 2 - xy * area_beside - xy * area_under + xx * (end[1] ** 2 - start[1] ** 2) / 2
    assert found.moment == pytest.approx(moment - 1.0 * found.y + 0.3 * found.x, abs=EXACT * scale * 12.5)


@pytest.mark.parametrize("keys", [{}, UNLIKE, {"fillet": True}, {"fillet": 1.0, "ends": "pinned"}])
def test_recovered_stress_transfers_the_load_ever_better(lap, level, keys):
    """Shear over the cut tends to the load as the mesh is refined; on the default mesh it is within 1e-3 (the check's limit)."""
    misses = []
    for density in (0.5, 1.0, 2.0):
        solved = level(lap(**keys), density)
        misses.append(abs(cut_resultant(solved.solution, solved.stress, "cut 1", (0, 0)).x / 100 - 1))
    assert misses[1] < 1e-3
    assert misses[2] < misses[0] / 2


# ---- convergence -------------------------------------------------------------


@pytest.mark.parametrize(
    "keys",
    [{}, {"upper": STEEL, "lower_arm": 20.0, "upper_arm": 90.0, "layer": 0.1}, {"fillet": True, "overlap": 25.0}],
    ids=["square", "unlike", "fillet"],
)
def test_curves_converge(lap, curves_at, keys):
    """Each halving of the cells at least halves the root-mean-square error over a whole curve, on all three levels.

    The corners' singular field has an exponent above 1/2 (Williams, J. Appl. Mech. 19, 1952, 526-528, from memory, for
    corners up to 270 degrees), which pollutes the stress elsewhere with twice that order, at least 1. Compared from two
    cells a half layer upwards: one cell carries no graded field. Density 4 is the reference.
    """
    joint = lap(**keys)
    half, length = joint.geometry.bondline_thickness / 2, joint.geometry.overlap_length
    lines = [curves_at(joint, density).levels() for density in (0.5, 1.0, 2.0, 4.0)]
    for place, start in {"middle": 0.0, "lower": half, "upper": half}.items():
        x = np.linspace(start, length - start, 400)
        for name in ("shear", "peel"):
            values = [line[place].at(x, name) for line in lines]
            errors = np.array([np.sqrt(np.mean((v - values[-1]) ** 2)) for v in values[:-1]])
            assert (errors[1:] < errors[:-1] / 2).all(), (place, name, errors)


def test_mid_line_peaks_lie_inside_the_ends(plain):
    """A square end peaks inside, shear further than peel: about 0.6 and 0.4 thicknesses (seen with another FE library).

    Bands of 0.2 thicknesses round those rounded figures.
    """
    b = plain.bondline
    for peak, share in ((b.peak_shear, 0.6), (b.peak_peel, 0.4)):
        inside = min(peak.x, 12.5 - peak.x) / 0.2
        assert inside == pytest.approx(share, abs=0.1)


def test_bondlines_are_complete(plain):
    """One bondline, three levels, both edge loads, the measure named."""
    (b,) = recover_bondlines(plain.solution, plain.stress)
    assert b.number == 1
    assert list(b.levels()) == ["middle", "lower", "upper"]
    assert "Cauchy" in b.measure
