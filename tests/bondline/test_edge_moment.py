"""The edge moment of a single lap: finite elements against beams, and the beam-columns of `lap_edge_moment`.

The lever arm of a lap is (t + t_a) / 2 on each side. With pinned ends statics
alone gives the linear moment. With clamped ends it takes the stiffness of the
overlap; two beams joined by a soft layer (`two_beams`, derived for this project
and tested apart against their differential equations) agree with finite
elements where a solid overlap is too stiff at its roots.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

import fejoint
from fejoint import Adherend, Adhesive, Isotropic, Joint, Load, Orthotropic, SingleLap
from fejoint.bondline.closed_form.goland_reissner import edge_moment_factor
from fejoint.bondline.closed_form.grid import axial_modulus
from fejoint.bondline.closed_form.two_beams import Beam, Layer, frame, solid_frame
from fejoint.bondline.edge_moment import lap_edge_moment

ALUMINIUM = Isotropic(elastic_modulus=72_000, poisson_ratio=0.33)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29)
TOUGHENED = Adhesive(elastic_modulus=1850, poisson_ratio=0.33)
POLYURETHANE = Adhesive(elastic_modulus=490, poisson_ratio=0.30)
# Figures from memory (Tsai & Hahn 1980); nu_yz typical.
PLY = Orthotropic(
    elastic_modulus_x=181_000,
    elastic_modulus_y=10_300,
    elastic_modulus_z=10_300,
    poisson_ratio_xy=0.28,
    poisson_ratio_xz=0.28,
    poisson_ratio_yz=0.4,
    shear_modulus_xy=7170,
)


def lap(force=2500, ends="clamped", adhesive=TOUGHENED, lower=(ALUMINIUM, 1.6, 50), upper=(ALUMINIUM, 1.6, 50), **more) -> Joint:
    """Return a lap 25 mm wide; adherends as material, thickness, free length."""
    parts = [Adherend(material=m, thickness=t, free_length=a) for m, t, a in (lower, upper)]
    sizes = {"width": 25, "overlap_length": 12.5, "bondline_thickness": 0.2, **more}
    return Joint(
        geometry=SingleLap(lower=parts[0], upper=parts[1], **sizes),
        adhesive=adhesive,
        load=Load(force=force, ends=ends),
    )


def beam(material: Isotropic, thickness: float, *, shears: bool = True) -> Beam:
    return Beam.isotropic(material.elastic_modulus, material.poisson_ratio, thickness, shears=shears)


def layer(adhesive: Adhesive) -> Layer:
    return Layer.constrained(adhesive.elastic_modulus, adhesive.poisson_ratio, 0.2)


# ---- finite elements against beams -----------------------------------------


@pytest.mark.parametrize(
    ("lower", "upper"),
    [((ALUMINIUM, 1.6, 50), (ALUMINIUM, 1.6, 50)), ((ALUMINIUM, 3.0, 20), (STEEL, 1.0, 70))],
    ids=["identical", "unlike"],
)
def test_pinned_ends_by_statics(lower, upper):
    """Pinned ends: the load's line joins the mid-points of the end faces, and statics gives both moments.

    Sideways force V = P e / l with e the offset of the mid-planes and l the
    distance of the end faces; moment V a at the end of an arm a. No model
    enters, so only round-off may separate them, which here (cells hundreds of
    times longer than high) is 1e-7 to 1e-6 of the moment: 1e-5 leaves room for
    other machines.
    """
    result = fejoint.solve(lap(ends="pinned", lower=lower, upper=upper))
    sideways = 100 * ((lower[1] + upper[1]) / 2 + 0.2) / (lower[2] + 12.5 + upper[2])
    left, right = result.bondlines[0].left, result.bondlines[0].right
    assert left.moment == pytest.approx(-sideways * lower[2], rel=1e-5)
    assert right.moment == pytest.approx(sideways * upper[2], rel=1e-5)
    assert left.shear == pytest.approx(sideways, rel=1e-5)


@pytest.mark.parametrize("adhesive", [TOUGHENED, POLYURETHANE], ids=["toughened", "polyurethane"])
def test_clamped_ends_by_two_beams_and_layer(adhesive):
    """Clamped ends: a frame of beams whose overlap is two beams joined by a layer, within 1e-3.

    Beams that shear neglect terms of order (t/a)^2 = 1e-3 beside their arms'
    bending. Measured: 4e-5 with either adhesive. A frame with a solid overlap
    lies 9e-4 (toughened) and 11e-4 (polyurethane) above finite elements: the
    adherends' roots turn on the soft layer. So the two beams are also to be
    five times nearer than the solid overlap.
    """
    result = fejoint.solve(lap(adhesive=adhesive))
    part = beam(ALUMINIUM, 1.6)
    beams = frame(part, part, layer(adhesive), 12.5, (50, 50), 100, "clamped")
    assert result.bondlines[0].left.moment == pytest.approx(beams.lower[0, 4], rel=1e-3)
    assert result.bondlines[0].right.moment == pytest.approx(beams.upper[-1, 4], rel=1e-3)
    solid = solid_frame(part, part, 0.2, 12.5, (50, 50), 100, "clamped")[1]
    found = result.bondlines[0].right.moment
    assert abs(found - beams.upper[-1, 4]) < abs(found - solid) / 5


def test_clamped_unlike_adherends_by_two_beams_and_layer():
    """The same for unlike adherends and arms, whose two edge moments differ; within 2e-3.

    (t/a)^2 is 6e-3 for the thick, short arm, of which the beams' own shear
    accounts for the larger part. Measured: 5e-5.
    """
    lower, upper = (ALUMINIUM, 2.4, 30), (STEEL, 1.2, 60)
    result = fejoint.solve(lap(lower=lower, upper=upper))
    both = frame(beam(*upper[:2]), beam(*lower[:2]), layer(TOUGHENED), 12.5, (30, 60), 100, "clamped")
    assert result.bondlines[0].left.moment == pytest.approx(both.lower[0, 4], rel=2e-3)
    assert result.bondlines[0].right.moment == pytest.approx(both.upper[-1, 4], rel=2e-3)
    assert abs(both.lower[0, 4] + both.upper[-1, 4]) > 0.1 * abs(both.lower[0, 4])


def test_solid_overlap_is_too_stiff_at_its_roots():
    """An overlap that bends as one bar gives a higher moment; the softer the adhesive, the higher beside the truth.

    The end of an adherend turns on the layer over a length of about
    (D t_a / E_a)^(1/4), 1 mm, which lengthens the arm by about a fiftieth of
    itself, on which the clamped moment depends weakly: parts in a thousand.
    """
    part = beam(ALUMINIUM, 1.6, shears=False)
    solid = solid_frame(part, part, 0.2, 12.5, (50, 50), 100, "clamped")[0]
    excess = []
    for adhesive in (TOUGHENED, POLYURETHANE):
        soft = frame(part, part, layer(adhesive), 12.5, (50, 50), 100, "clamped").lower[0, 4]
        excess.append(solid / soft - 1)
    assert 5e-4 < excess[0] < excess[1] < 5e-3


def test_two_beams_become_solid_with_a_rigid_layer():
    """The two references meet where the layer is rigid: a thousand times stiffer than metal it deforms by 1e-4 of theirs.

    The root's turning falls with the fourth root of the stiffness: 100 times the
    adhesive's 1.8 GPa would still leave a third of it.
    """
    part = beam(ALUMINIUM, 1.6, shears=False)
    solid = solid_frame(part, part, 0.2, 12.5, (50, 50), 100, "clamped")
    stiff = frame(part, part, Layer(1e8, 1e9, 0.2), 12.5, (50, 50), 100, "clamped", pieces=800)
    assert stiff.lower[0, 4] == pytest.approx(solid[0], rel=2e-4)
    assert stiff.upper[-1, 4] == pytest.approx(solid[1], rel=2e-4)


# ---- lap_edge_moment against its differential equation ---------------------


def edge_moment_numerically(joint: Joint, rotating: bool) -> float:
    """Return the larger edge moment from D w'' = -M_g + s V + P (e + w), solved by collocation.

    All three beams at once, each on 0 to 1; M_g and V are the parameters.
    """
    g, load = joint.geometry, joint.line_load
    (e1, t1), (e2, t2) = ((axial_modulus(a.material), a.thickness) for a in (g.lower, g.upper))
    lever = (t1 + t2) / 2 + g.bondline_thickness
    axis = e2 * t2 / (e1 * t1 + e2 * t2) * lever  # of the overlap, above the lower mid-plane
    d1, d2 = e1 * t1**3 / 12, e2 * t2**3 / 12
    overlap = d1 + d2 + e1 * t1 * axis**2 + e2 * t2 * (lever - axis) ** 2
    lengths = g.lower.free_length, g.overlap_length, g.upper.free_length
    heights, stiffness = (0.0, axis, lever), (d1, overlap, d2)
    start = np.cumsum([0, *lengths])
    follow = load if rotating else 0.0

    def moment(beam, s, w, p):
        return -p[0] + (start[beam] + s * lengths[beam]) * p[1] + load * heights[beam] + follow * w

    def slopes(s, y, p):
        rows = []
        for b in range(3):
            rows += [lengths[b] * y[2 * b + 1], lengths[b] * moment(b, s, y[2 * b], p) / stiffness[b]]
        return np.vstack(rows)

    def ends(a, b, p):
        joined = [b[0] - a[2], b[1] - a[3], b[2] - a[4], b[3] - a[5]]
        held = [a[0], b[4], a[1], b[5]] if joint.load.ends == "clamped" else [a[0], b[4], p[0], moment(2, 1.0, b[4], p)]
        return np.array(joined + held)

    s = np.linspace(0, 1, 401)
    found = solve_bvp(slopes, ends, s, np.zeros((6, s.size)), p=[0.0, 0.0], tol=1e-10, max_nodes=50_000)
    assert found.success
    left, right = moment(0, 1.0, found.y[0, -1], found.p), moment(2, 0.0, found.y[4, 0], found.p)
    return max(abs(left), abs(right))


CASES = {
    "coupon": lap(),
    "coupon, pinned": lap(ends="pinned"),
    "unlike": lap(lower=(ALUMINIUM, 2.4, 30), upper=(STEEL, 1.2, 60), overlap_length=25),
    "unlike, pinned": lap(ends="pinned", lower=(STEEL, 1.0, 70), upper=(ALUMINIUM, 3.0, 20), bondline_thickness=0.5),
    "plies on aluminium": lap(8000, lower=(PLY, 2.0, 40), upper=(ALUMINIUM, 2.0, 60)),
    "compressed": lap(-400),
    "compressed, pinned": lap(-150, ends="pinned"),
}


@pytest.mark.parametrize("rotating", [False, True], ids=["linear", "rotating"])
@pytest.mark.parametrize("joint", CASES.values(), ids=CASES.keys())
def test_lap_edge_moment_solves_its_equation(joint, rotating):
    """Matrix exponentials and collocation give one moment; 1e-7 is what collocation to a residual of 1e-10 is good for."""
    assert lap_edge_moment(joint, rotating) == pytest.approx(edge_moment_numerically(joint, rotating), rel=1e-7)


@pytest.mark.parametrize("joint", [CASES["coupon"], CASES["unlike, pinned"]], ids=["clamped", "pinned"])
def test_rotating_becomes_linear_at_small_load(joint):
    """The rotation's share falls with the load itself: a tenth of the load, a tenth of the share.

    P w / M is of order P a^2 / D, 0.1 at 1 N/mm here, and what is left of
    proportionality is its square: a tenth of the share is kept within 5 %.
    """
    shares = []
    for force in (2.5, 0.25):
        small = joint.replace(load=joint.load.replace(force=force))
        shares.append(1 - lap_edge_moment(small, rotating=True) / lap_edge_moment(small, rotating=False))
    assert 0 < shares[0] < 0.1
    assert shares[1] == pytest.approx(shares[0] / 10, rel=0.05)


def test_pinned_linear_moment_is_statics():
    """Without rotation and with pinned ends the beams only restate statics, to round-off."""
    joint = lap(ends="pinned", lower=(ALUMINIUM, 3.0, 20), upper=(STEEL, 1.0, 70))
    assert lap_edge_moment(joint, rotating=False) == pytest.approx(100 * 2.2 / 102.5 * 70, rel=1e-9)


@pytest.mark.parametrize("force", [5000, 50_000])
@pytest.mark.parametrize("ends", ["clamped", "pinned"])
def test_goland_and_reissner_where_the_layer_is_thin(force, ends):
    """Long identical arms and a vanishing layer: k of Goland and Reissner (1944, cited from memory), ends being far away.

    The layer raises the lever by t_a/t and the overlap's stiffness by
    12 t_a/(8 t), which moves k by at most half of that: 2 t_a/t bounds both.
    At t_a/t = 1/1000 that is 2e-3; ten times the layer, ten times the
    difference, but for its own square (a hundredth). The arms are 13 decay
    lengths or more, which leaves exp(-13) = 2e-6 of their ends.
    """
    k = edge_moment_factor(force / 25, axial_modulus(ALUMINIUM), 1.6, 12.5 / 2)
    arm = (ALUMINIUM, 1.6, 160)
    differences = []
    for ta in (0.0016, 0.016):
        joint = lap(force, ends, lower=arm, upper=arm, bondline_thickness=ta)
        differences.append(2 * lap_edge_moment(joint, rotating=True) / (joint.line_load * 1.6) / k - 1)
        assert abs(differences[-1]) < 2 * ta / 1.6
    assert differences[1] == pytest.approx(10 * differences[0], rel=0.05)


@pytest.mark.parametrize(
    ("lower", "upper", "overlap_length", "force"),
    [((ALUMINIUM, 1.0, 300), (ALUMINIUM, 4.0, 10), 60, 8000), ((ALUMINIUM, 1.0, 150), (ALUMINIUM, 3.0, 30), 40, 5000)],
    ids=["thin long arm", "less so"],
)
def test_long_arms_are_cut_without_harm(lower, upper, overlap_length, force):
    """An arm of many decay lengths, beside a short one, against collocation in pieces: 1e-5, what its digits are good for.

    300 mm are 65 decay lengths, of which 15 are kept in the exponentials: the rest is left out of these alone, not of the
    load's line.
    """
    joint = lap(force, lower=lower, upper=upper, overlap_length=overlap_length)
    assert lap_edge_moment(joint, rotating=True) == pytest.approx(edge_moment_numerically(joint, True), rel=1e-5)


def test_arms_of_any_length():
    """Very long arms neither overflow nor lose digits: alike ones bend alike, and their moment stands still with length."""
    moments = []
    for length in (400, 900, 1600):
        arm = (ALUMINIUM, 1.6, length)
        moments.append(lap_edge_moment(lap(lower=arm, upper=arm), rotating=True))
    # 400 mm are 24 decay lengths: exp(-24) is 4e-11.
    assert moments[1] == pytest.approx(moments[0], rel=1e-6)
    assert moments[2] == pytest.approx(moments[1], rel=1e-6)


@pytest.mark.parametrize(("ends", "euler_factor"), [("pinned", 1), ("clamped", 4)])
def test_compression_raises_the_moment_until_the_lap_buckles(ends, euler_factor):
    """A compressed lap bends further out, so its moment grows faster than the load; beyond buckling there is none.

    A bar of the arms' stiffness and the whole length buckles at
    pi^2 D / l^2, four times that when clamped (Euler); the overlap, nine times
    as stiff over a ninth of the length, raises it, but by less than half: the
    first mode's strain energy is spread over the whole length. A lap with
    alike arms bends antisymmetrically, the first mode is symmetric, and so
    nothing in the moment itself announces it.
    """
    euler = euler_factor * math.pi**2 * axial_modulus(ALUMINIUM) * 1.6**3 / 12 / 112.5**2

    def moment(share: float) -> float:
        return lap_edge_moment(lap(-25 * share * euler, ends), rotating=True) / (share * euler)

    linear = lap_edge_moment(lap(-25, ends), rotating=False)
    assert linear < moment(0.1) < moment(0.5) < moment(0.9) < math.inf
    assert moment(1.5) == math.inf
    assert moment(10) == math.inf
