"""What any linear joint must obey, and bodies whose stresses can be written down."""

from __future__ import annotations

import numpy as np
import pytest
from skfem import MeshQuad

from fejoint.joint.materials import Isotropic
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.elasticity import law
from fejoint.mechanics.factor import solver_name
from fejoint.mechanics.linear import assemble, solve_linear
from fejoint.mechanics.section import Section

# A backward stable solver errs by the unit round-off 1e-16 times the condition number, which for
# stiffness ratios of 35 and lengths of 1e4 smallest cells is of order 1e10.
SOLVER = 1e-6
STEEL = {"elastic_modulus": 200_000.0, "poisson_ratio": 0.29, "expansion": 12e-6}
UNLIKE = {"upper": STEEL, "upper_thickness": 1.0, "lower_arm": 40.0, "upper_arm": 60.0}


def curves(level) -> np.ndarray:
    """Return shear, peel and axial stress of the mid-line, shape (3, n)."""
    middle = level.bondline.middle
    return np.stack([middle.shear, middle.peel, middle.axial])


def same(a, b, share: float = SOLVER) -> bool:
    return bool(np.abs(a - b).max() <= share * np.abs(b).max())


def test_no_load_no_stress(lap, level):
    """Nothing applied, nothing found: exactly zero."""
    idle = level(lap(force=0.0))
    assert not idle.solution.displacement.any()
    assert not curves(idle).any()


def test_stress_is_proportional_to_the_force(lap, level, plain):
    """Linear analysis: 3.7 times the force, 3.7 times the stress and the elongation."""
    more = level(lap(force=3.7 * 2500))
    assert same(curves(more), 3.7 * curves(plain))
    assert more.solution.elongation == pytest.approx(3.7 * plain.solution.elongation, rel=SOLVER)


def test_reversed_force_reverses_everything(lap, level):
    """Compression is tension with the other sign, on unlike adherends too; edge loads as well."""
    push, pull = level(lap(**UNLIKE, force=-2500.0)), level(lap(**UNLIKE))
    assert same(curves(push), -curves(pull))
    assert push.bondline.left.moment == pytest.approx(-pull.bondline.left.moment, rel=SOLVER)


@pytest.mark.parametrize("out_of_plane", ["plane-strain", "generalised"])
def test_force_and_temperature_superpose(lap, level, out_of_plane):
    """Force alone plus cool-down alone is both together."""
    force, cold, both = (
        level(lap(**UNLIKE, out_of_plane=out_of_plane, **load))
        for load in ({"force": 900.0}, {"force": 0.0, "temperature": -80.0}, {"force": 900.0, "temperature": -80.0})
    )
    assert same(curves(force) + curves(cold), curves(both))
    assert np.abs(curves(cold)).max() > 1.0  # the sum is not one term alone


@pytest.mark.parametrize("ends", ["clamped", "pinned"])
@pytest.mark.parametrize("temperature", [0.0, -80.0])
def test_joint_turned_end_for_end_has_mirrored_curves(lap, level, ends, temperature):
    """Half a turn in the plane swaps lower with upper: shear, peel and axial at x become those at L - x.

    Turned meshes differ by how gmsh places the points of a graded line, to 2e-5 of a cell (measured apart on a single
    line); within a cell the stress changes by at most about its peak, so the curves are given 1e-4 of the peak.
    """
    joint = lap(**UNLIKE, ends=ends, temperature=temperature)
    g = joint.geometry
    turned = joint.replace(geometry=g.replace(lower=g.upper, upper=g.lower))
    there, back = level(joint), level(turned)
    assert same(curves(back)[:, ::-1], curves(there), 1e-4)
    cell = np.gradient(there.bondline.x)
    assert (np.abs(g.overlap_length - back.bondline.x[::-1] - there.bondline.x) < 1e-4 * cell).all()
    for level_name in ("lower", "upper"):
        other = "upper" if level_name == "lower" else "lower"
        a, b = getattr(there.bondline, level_name), getattr(back.bondline, other)
        assert same(b.shear[::-1], a.shear, 1e-4)
    assert not same(curves(there)[:, ::-1], curves(there), 1e-1)  # or the turn would prove nothing


@pytest.mark.parametrize("temperature", [0.0, -80.0])
def test_balanced_joint_is_symmetric(lap, level, temperature):
    """Like adherends: both ends of the overlap are stressed alike (tolerance as for the turned joint)."""
    found = curves(level(lap(temperature=temperature)))
    assert same(found[:, ::-1], found, 1e-4)


def test_edge_moments_of_a_balanced_joint_are_equal(plain):
    """Half a turn carries the left end into the right; the moment keeps its sense, its face changes."""
    left, right = plain.bondline.left, plain.bondline.right
    assert left.moment == pytest.approx(-right.moment, rel=SOLVER)
    assert left.axial == pytest.approx(100.0, rel=SOLVER)  # 2500 N over 25 mm
    assert right.axial == pytest.approx(100.0, rel=SOLVER)
    assert left.shear == pytest.approx(right.shear, rel=SOLVER)


# Round-off of free expansion: displacements known to 1e-16 of their largest value, divided by cells
# 1e-4 of the length, give strains to 1e-12 of the free one; the solver's sums over 1e4 unknowns add two to three digits.
EXPANSION = 1e-8


def one_material(lap, out_of_plane):
    material = {"elastic_modulus": 70_000.0, "poisson_ratio": 0.33, "expansion": 23e-6}
    return lap(
        lower=material, upper=material, adhesive=material, upper_thickness=2.5, fillet=True,
        force=0.0, temperature=-100.0, ends="pinned", out_of_plane=out_of_plane,
    )  # fmt: skip


@pytest.mark.parametrize("out_of_plane", ["plane-strain", "generalised"])
def test_free_expansion_of_one_material(lap, level, out_of_plane):
    """One material on determinate supports shrinks without in-plane stress; only a held width is stressed.

    Pinned ends hold three motions of the body (x at the left, y at both mid-planes) and let the faces turn,
    so nothing is constrained; clamped ones would bend it. Across the width -E alpha dT when that is held, 0 when free.
    """
    solved = level(one_material(lap, out_of_plane)).solution
    unit = 70_000.0 * 23e-6 * 100.0  # E alpha |dT|
    for region in solved.laws:
        xx, yy, xy, zz = solved.stress(region)
        assert max(np.abs(xx).max(), np.abs(yy).max(), np.abs(xy).max()) < EXPANSION * unit
        held = unit if out_of_plane == "plane-strain" else 0.0
        assert np.abs(zz - held).max() < EXPANSION * unit
    free = 23e-6 * -100.0
    assert solved.width_strain == pytest.approx(0.0 if out_of_plane == "plane-strain" else free, rel=EXPANSION)


def test_clamped_ends_resist_the_expansion_of_a_lap(lap, level):
    """The counter-proof: with faces that cannot turn, the shrinking offset of the mid-planes bends the arms."""
    joint = one_material(lap, "generalised")
    solved = level(joint.replace(load=joint.load.replace(ends="clamped"))).solution
    assert np.abs(solved.stress("lower")[0]).max() > 1e-3 * 161


def test_generalised_plane_strain_has_no_net_force_across_the_width(lap, level):
    """The width strain is chosen so that sigma_z, from the element stresses, sums to zero over the section.

    Tolerance 1e-9: the width strain comes from one equation, so the sum is wrong by round-off
    times the ratio of the in-plane terms in it to their sum, a few digits.
    """
    solved = level(lap(**UNLIKE, temperature=-80.0)).solution
    weight = solved.discretisation.weight_qc
    parts = [solved.stress(r)[3] * weight[solved.section.cells(r)] for r in solved.laws]
    assert abs(sum(p.sum() for p in parts)) < 1e-9 * sum(np.abs(p).sum() for p in parts)
    assert solved.width_strain < 0


@pytest.mark.parametrize(("ends", "nu"), [("clamped", 0.33), ("pinned", 0.33), ("clamped", 0.0)])
def test_arm_stretches_by_its_plane_strain_modulus(lap, level, ends, nu):
    """Far from both ends an arm stretches by P / (t E / (1 - nu^2)), whatever it bends.

    Taken between two mesh lines at least 5 thicknesses from grip and overlap, where end effects of a strip have decayed
    (Saint-Venant, exp(-4.2 x/t)) to 1e-9. Tolerance 1e-3: what the long cells there make of the bending, which the mean
    over the thickness sees only through their unevenness; E for E/(1 - nu^2) would be 11 % off.
    """
    metal = {"elastic_modulus": 70_000.0, "poisson_ratio": nu}
    solved = level(lap(lower=metal, ends=ends)).solution
    d = solved.discretisation
    nodes = np.unique(d.nodes_ac[d.section.cells("lower")])
    x = np.round(d.points[nodes, 0], 9)
    lines = np.unique(np.round(d.section.mesh.p[0, d.section.mesh.t[:, d.section.cells("lower")]], 9))
    lines = lines[(lines > -50 + 8) & (lines < -8)]
    stretched = []
    for line in lines[[0, -1]]:
        on = nodes[x == line]
        on = on[np.argsort(d.points[on, 1])]
        y, u = d.points[on, 1], solved.displacement[on, 0]
        steps = np.diff(y[::2])  # corner, middle, corner, ...: Simpson
        stretched.append(float(steps @ (u[:-2:2] + 4 * u[1:-1:2] + u[2::2]) / 6 / steps.sum()))
    strain = (stretched[1] - stretched[0]) / (lines[-1] - lines[0])
    assert strain == pytest.approx(100.0 / (1.6 * 70_000.0 / (1 - nu**2)), rel=1e-3)


def curvature(e1, e2, nu, a1, a2, t1, t2, change, out_of_plane, lap):
    """Return the curvature of a free two-layer strip from the turn of its end faces, by the package's solver."""
    x, y = np.linspace(-5, 5, 11), np.concatenate([np.linspace(-t1, 0, 4), np.linspace(0, t2, 4)[1:]])
    mesh = MeshQuad.init_tensor(x, y)
    low = mesh.p[1, mesh.t].mean(axis=0) < 0
    mesh = mesh.with_subdomains({"lower": np.flatnonzero(low), "upper": np.flatnonzero(~low)})
    mesh = mesh.with_boundaries({"gripped": lambda p: p[0] < -5 + 1e-9, "loaded": lambda p: p[0] > 5 - 1e-9})
    d = discretise(Section(mesh, 1.0))
    laws = {
        "lower": law(Isotropic(elastic_modulus=e1, poisson_ratio=nu, expansion=a1)),
        "upper": law(Isotropic(elastic_modulus=e2, poisson_ratio=nu, expansion=a2)),
    }
    # Of the joint only temperature, force and kind of plane state are used here.
    joint = lap(force=0.0, temperature=change, ends="pinned", out_of_plane=out_of_plane)
    solved = solve_linear(assemble(d, laws, "pinned"), joint)
    turns = []
    for face in ("gripped", "loaded"):
        line = np.unique(d.line(face))
        turns.append(-np.polyfit(d.points[line, 1], solved.displacement[line, 0], 1)[0])
    return (turns[1] - turns[0]) / 10


@pytest.mark.parametrize("nu", [0.0, 0.3])
@pytest.mark.parametrize(("e2", "t2"), [(70_000.0, 1.0), (200_000.0, 0.7)], ids=["like layers", "unlike layers"])
def test_bimetal_strip_curves_as_timoshenko_says(lap, nu, e2, t2):
    """Curvature 6 (a2 - a1) dT (1 + m)^2 / (h (3 (1 + m)^2 + (1 + m n)(m^2 + 1/(m n)))), m = t1/t2, n = E1/E2.

    Timoshenko, J. Opt. Soc. Am. 11, 1925, 233-255, from memory; positive with the layer that grows more outside.
    With equal nu and a held width every layer expands by (1 + nu) alpha and both moduli grow alike: (1 + nu) times
    it. Pinned faces stay plane and free of force and moment, as in that theory, so it is exact up to round-off, which
    the patch test puts below 1e-10; 1e-8 leaves two digits to the curvature's difference.
    """
    e1, t1, a1, a2, change = 70_000.0, 1.0, 12e-6, 23e-6, 50.0
    m, n, h = t1 / t2, e1 / e2, t1 + t2
    theory = 6 * (a2 - a1) * change * (1 + m) ** 2 / (h * (3 * (1 + m) ** 2 + (1 + m * n) * (m**2 + 1 / (m * n))))
    # The upper layer grows more: the right end face turns clockwise, the left one counter-clockwise.
    found = -curvature(e1, e2, nu, a1, a2, t1, t2, change, "plane-strain", lap)
    assert found == pytest.approx((1 + nu) * theory, rel=1e-8)


def test_bimetal_strip_of_free_width_without_poisson_effect(lap):
    """With nu = 0 the width does not matter: generalised plane strain gives Timoshenko's curvature too (as above)."""
    strained, generalised = (
        curvature(70_000.0, 200_000.0, 0.0, 12e-6, 23e-6, 1.0, 0.7, 50.0, kind, lap) for kind in ("plane-strain", "generalised")
    )
    assert generalised == pytest.approx(strained, rel=1e-8)


def test_clamped_ends_carry_moment_and_pinned_ones_none(lap, level):
    """The moment on the end faces about their mid-plane; both pairs of reactions balance the load's offset."""
    clamped, pinned = level(lap()).solution, level(lap(ends="pinned")).solution
    unit = 100.0 * 1.8  # force times the distance of the mid-planes
    assert max(abs(pinned.gripped.moment), abs(pinned.loaded.moment)) < SOLVER * unit
    assert abs(clamped.loaded.moment) > 0.01 * unit
    for solved in (clamped, pinned):
        g, r = solved.gripped, solved.loaded
        assert g.axial + r.axial == pytest.approx(0.0, abs=SOLVER * 100)
        assert g.lateral + r.lateral == pytest.approx(0.0, abs=SOLVER * 100)
        turning = g.moment + r.moment + g.x * g.lateral - g.y * g.axial + r.x * r.lateral - r.y * r.axial
        assert turning == pytest.approx(0.0, abs=SOLVER * unit)


def test_end_faces_move_as_the_design_says(lap, level):
    """Clamped faces stay straight and upright, pinned ones straight; both keep their mean height and may contract.

    Tolerance 1e-12 mm: these are ties between unknowns, kept to round-off of displacements below 1 mm.
    """
    for ends in ("clamped", "pinned"):
        solved = level(lap(ends=ends)).solution
        d = solved.discretisation
        for face in ("gripped", "loaded"):
            line = d.line(face)
            nodes = np.unique(line)
            slope = np.polyfit(d.points[nodes, 1], solved.displacement[nodes, 0], 1)
            assert np.abs(np.polyval(slope, d.points[nodes, 1]) - solved.displacement[nodes, 0]).max() < 1e-12
            assert (abs(slope[0]) < 1e-12) == (ends == "clamped")
            heights, sideways = d.points[line, 1], solved.displacement[line, 1]
            assert abs((heights[:, 0] - heights[:, 2]) @ sideways @ [1 / 6, 4 / 6, 1 / 6]) < 1e-12
            assert np.ptp(sideways) > 1e-5  # thickness free to change: about nu P/E = 5e-4 mm
            if face == "loaded":
                assert slope[1] + slope[0] * heights.mean() > 0


def test_both_direct_solvers_agree(lap, level, plain, monkeypatch):
    """SuperLU and CHOLMOD solve the same equations (limits of a backward stable solver, twice)."""
    if solver_name() != "CHOLMOD":
        pytest.skip("CHOLMOD is not installed")
    monkeypatch.setenv("FEJOINT_SOLVER", "superlu")
    assert solver_name() == "SuperLU"
    assert same(curves(level(lap())), curves(plain))
