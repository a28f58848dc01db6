"""Hart-Smith's elastic single lap, against its differential equations, its limits and a worked case.

L. J. Hart-Smith, NASA CR-112236, 1973 (title and abstract seen; edge moment and
largest peel from memory). The worked case was derived for this project and
confirmed by numerical solution; it proves the algebra, not the citation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from fejoint import Adherend, Adhesive, DoubleLap, Isotropic, Joint, Load, SingleLap, TheoryError
from fejoint.bondline.closed_form import goland_reissner, hart_smith_single
from fejoint.bondline.closed_form.hart_smith_single import edge_moment_factor, shear_stress
from fejoint.bondline.curves import EdgeLoads

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)
BEND = 70_000 / (1 - 0.33**2)

# E, E', thickness, half overlap, G / t_a
SECTIONS = {
    "worked case": (70_000, BEND, 2.0, 12.5, 5000),
    "long and soft": (80_000, 80_000, 1.6, 25.0, 380),
    "short": (200_000, 220_000, 3.0, 4.0, 2800),
}


# ---- the edge moment -------------------------------------------------------


def test_edge_moment_as_stated():
    """k = 1/(1 + xi c + (xi c)^2/6) with xi c = 1 and 2: 6/13 and 3/11; xi^2 = 12 P/(E' t^3)."""
    load = BEND * 8 / 12 / 12.5**2
    assert edge_moment_factor(load, BEND, 2.0, 12.5) == pytest.approx(6 / 13, rel=1e-12)
    assert edge_moment_factor(4 * load, BEND, 2.0, 12.5) == pytest.approx(3 / 11, rel=1e-12)


def test_edge_moment_limits():
    """No load: 1, as Goland and Reissner's, and alike to first order (both 1 - xi c); much load: 0, where theirs stays.

    The second-order terms are 5/6 and 1 times (xi c)^2: they part by a sixth of it.
    """
    load = 1e-4
    end = math.sqrt(12 * load / (BEND * 8)) * 12.5
    ours, theirs = edge_moment_factor(load, BEND, 2.0, 12.5), goland_reissner.edge_moment_factor(load, BEND, 2.0, 12.5)
    assert ours == pytest.approx(1 - end, abs=end**2)
    assert theirs - ours == pytest.approx(end**2 / 6, rel=10 * end)
    assert edge_moment_factor(1e9, BEND, 2.0, 12.5) < 1e-3
    assert goland_reissner.edge_moment_factor(1e9, BEND, 2.0, 12.5) > 0.26


@pytest.mark.parametrize("load", [0.0, -10.0])
def test_edge_moment_needs_tension(load):
    """Compression and no load are refused, in words."""
    with pytest.raises(TheoryError, match=r"Hart-Smith.*tension"):
        edge_moment_factor(load, BEND, 2.0, 12.5)


# ---- shear -----------------------------------------------------------------


def numerically(load, moment, stretch, bend, t, c, g_layer):
    """Return the shear stress of two like beams: forces N1, N2 = P - N1, moments M1 + M2 = m, sideways force Q in all.

    tau' = g_layer ((N1 - N2)/(E t) + (t/2) m/D), N1' = tau, m' = tau t - Q;
    N1 goes from 0 to P and m from -M to M, which finds the constant Q.
    """
    scale = load / (2 * c)
    d = bend * t**3 / 12

    def slopes(x, y, q):  # tau, N1 and m over the mean shear
        tau, n1, m = y
        return np.vstack([g_layer * ((2 * n1 - 2 * c) / (stretch * t) + t / 2 * m / d), tau, tau * t - q[0]])

    def ends(a, b, q):
        return np.array([a[1], b[1] - 2 * c, a[2] + moment / scale, b[2] - moment / scale])

    x = np.linspace(-c, c, 401)
    found = solve_bvp(slopes, ends, x, np.ones((3, x.size)), p=[0.1], tol=1e-9, max_nodes=20_000)
    assert found.success
    return lambda z: scale * found.sol(z)[0]


@pytest.mark.parametrize("section", SECTIONS.values(), ids=SECTIONS.keys())
@pytest.mark.parametrize("moment", [0.0, 114.0, 220.0])
def test_shear_solves_its_equations(section, moment):
    """Collocation to a residual of 1e-9 reproduces the closed form to 1e-7 of its peak."""
    stretch, bend, t, c, g_layer = section
    x = np.linspace(-c, c, 201)
    exact = shear_stress(x, 200.0, moment, (stretch, bend), t, c, g_layer)
    assert np.abs(exact - numerically(200.0, moment, *section)(x)).max() <= 1e-7 * np.abs(exact).max()


def test_worked_case():
    """H-S SLJ, derived for this project: 200 N/mm on 2 mm of 70 GPa, 0.33, overlap 25, G 1000, t_a 0.2.

    With M = k P (t + t_a)/2 and k of above: tau 38.251511 at the end, 2.519668
    in the middle; given to 8 and 7 digits.
    """
    stretch, bend, t, c, g_layer = SECTIONS["worked case"]
    moment = edge_moment_factor(200, bend, t, c) * 200 * 2.2 / 2
    end, middle = shear_stress(np.array([c, 0.0]), 200, moment, (stretch, bend), t, c, g_layer)
    assert end == pytest.approx(38.251511, rel=2e-8)
    assert middle == pytest.approx(2.519668, rel=3e-7)


def test_one_modulus_and_goland_reissners_moment_give_their_shear():
    """With nu = 0 (E = E') and M = k P t/2 the curve is Goland and Reissner's, which is coded apart; round-off."""
    x = np.linspace(-12.5, 12.5, 51)
    for k in (0.0, 0.57, 1.0):
        ours = shear_stress(x, 200, k * 200 * 2.0 / 2, (70_000, 70_000), 2.0, 12.5, 5000)
        assert ours == pytest.approx(goland_reissner.shear_stress(x, 200, k, 70_000, 2.0, 12.5, 5000), rel=1e-10)


def test_limits_of_overlap():
    """Short: P/(2 c) with a next term of order (w c)^2. Endless: end stress P/(2c) + slope/w less its mean; no overflow."""
    moduli = (70_000, BEND)
    wave = math.sqrt(2 * 5000 / 2.0 * (1 / 70_000 + 3 / BEND))
    assert shear_stress(np.array([0.0, 0.01]), 200, 100, moduli, 2.0, 0.01, 5000) == pytest.approx(
        [1e4] * 2, rel=(wave * 0.01) ** 2
    )
    c = 2000 / wave
    slope = 5000 / 2.0 * (200 / 70_000 + 6 * 100 / (BEND * 2.0))
    with np.errstate(over="raise", invalid="raise"):
        end, middle = shear_stress(np.array([c, 0.0]), 200, 100, moduli, 2.0, c, 5000)
    assert end == pytest.approx(100 / c + slope / wave * (1 - 1 / 2000), rel=1e-12)
    assert middle == pytest.approx(100 / c - slope / wave / 2000, rel=1e-12)


@pytest.mark.parametrize("section", SECTIONS.values(), ids=SECTIONS.keys())
def test_transfers_the_load(section):
    """The integral of the shear stress is the load; Gauss with 60 points integrates these curves to round-off."""
    stretch, bend, t, c, g_layer = section
    place, weight = np.polynomial.legendre.leggauss(60)
    shear = shear_stress(c * place, 200, 150.0, (stretch, bend), t, c, g_layer)
    assert c * (weight @ shear) == pytest.approx(200, rel=1e-12)


# ---- a joint in, curves out ------------------------------------------------


def lap(upper_thickness=2.0, overlap=25, **load) -> Joint:
    parts = [Adherend(material=ALUMINIUM, thickness=t, free_length=40) for t in (2.0, upper_thickness)]
    return Joint(
        geometry=SingleLap(
            width=25,
            overlap_length=overlap,
            bondline_thickness=0.2,
            lower=parts[0],
            upper=parts[1],
            spew="fillet",
            spew_height=0.3,
        ),
        adhesive=Adhesive(elastic_modulus=2800, shear_modulus=1000, expansion=60e-6),
        load=Load(**{"force": 5000, **load}),
    )


def peel_numerically(moment, sideways, bend, t, c, e_layer):
    """Return the peel of two like beams on a layer: D w'''' = -2 e_layer w for the opening w, D w'' = M, D w''' = -+V."""
    d = bend * t**3 / 12
    unit = (d / (2 * e_layer)) ** 0.25

    def slopes(x, y):  # sigma and its derivatives, each times the unit length; sigma = e_layer w
        return np.vstack([y[1], y[2], y[3], -y[0]]) / unit

    def ends(a, b):
        m, v = e_layer / d * moment * unit**2, e_layer / d * sideways * unit**3
        return np.array([a[2] - m, a[3] - v, b[2] - m, b[3] + v])

    x = np.linspace(-c, c, 801)
    found = solve_bvp(slopes, ends, x, np.zeros((4, x.size)), tol=1e-9, max_nodes=50_000)
    assert found.success
    return lambda z: found.sol(z)[0]


def test_curves_of_a_joint():
    """E stretches, E/(1 - nu^2) bends; peel is the two beams' under the edge moment alone, to 1e-6 of its peak."""
    (bondline,) = hart_smith_single.curves(lap())
    moment = edge_moment_factor(200, BEND, 2.0, 12.5) * 220
    x = bondline.x - 12.5
    assert bondline.shear == pytest.approx(shear_stress(x, 200, moment, (70_000, BEND), 2.0, 12.5, 5000), rel=1e-12)
    assert bondline.shear[-1] == pytest.approx(38.251511, rel=2e-8)  # H-S SLJ once more, by way of a joint
    found = peel_numerically(moment, 0.0, BEND, 2.0, 12.5, 14_000)(x)
    assert np.abs(bondline.peel - found).max() <= 1e-6 * bondline.peel.max()
    assert bondline.right == EdgeLoads(200.0, 0.0, pytest.approx(moment, rel=1e-12))
    assert bondline.left == EdgeLoads(200.0, 0.0, pytest.approx(-moment, rel=1e-12))
    assert "Hart-Smith 1973" in bondline.measure
    # 400 pieces of piecewise quadratics: the mean is exact to 1e-8.
    assert bondline.middle.mean("shear") == pytest.approx(lap().mean_shear, rel=1e-8)


def test_largest_peel_as_published():
    """Long overlap: sigma_av k (1 + t_a/t) root(3 (1 - nu^2) E_a t/(2 E t_a)), from memory; to exp(-2 lambda), lambda > 30."""
    (bondline,) = hart_smith_single.curves(lap(overlap=100))
    k = edge_moment_factor(200, BEND, 2.0, 50)
    expected = 200 / 2.0 * k * 1.1 * math.sqrt(3 * 2800 * 2.0 / (2 * BEND * 0.2))
    assert bondline.peak_peel.value == pytest.approx(expected, rel=1e-9)


def test_given_edge_loads():
    """Those of the end with the larger moment drive shear and peel, in compression and with a moment too."""
    edges = {"lower": EdgeLoads(200.0, 2.0, -145.0), "upper": EdgeLoads(200.0, 3.0, 150.0)}
    (bondline,) = hart_smith_single.curves(lap(moment=100, ends="pinned"), edges)
    x = bondline.x - 12.5
    assert bondline.shear == pytest.approx(shear_stress(x, 200, 150.0, (70_000, BEND), 2.0, 12.5, 5000), rel=1e-12)
    found = peel_numerically(150.0, 3.0, BEND, 2.0, 12.5, 14_000)(x)
    assert np.abs(bondline.peel - found).max() <= 1e-6 * bondline.peel.max()
    assert "given edge loads" in bondline.measure
    turned = {"lower": EdgeLoads(-200.0, -3.0, 150.0), "upper": EdgeLoads(-200.0, -2.0, -145.0)}
    (pushed,) = hart_smith_single.curves(lap(force=-5000), turned)
    assert pushed.shear == pytest.approx(-bondline.shear, rel=1e-12)
    assert pushed.peel == pytest.approx(-bondline.peel, rel=1e-12)


def test_joints_outside_it_are_refused():
    """One sentence each, which names the theory and the reason."""
    double = DoubleLap(
        width=25, overlap_length=25, bondline_thickness=0.2, inner=lap().geometry.lower, outer=lap().geometry.upper
    )
    for joint, reason in (
        (lap(upper_thickness=1.5), r"identical adherends.*Volkersen"),
        (lap(force=-5000), "tension"),
        (lap(temperature_change=-60), "temperature"),
        (lap(moment=100, ends="pinned"), "moment"),
        (lap(shear_force=10), "shear_force"),
        (lap().replace(geometry=double), r"single-lap.*double-lap"),
    ):
        with pytest.raises(TheoryError, match=rf"Hart-Smith.*{reason}"):
            hart_smith_single.curves(joint)
    unlike_ends = {"lower": EdgeLoads(200.0, 2.0, -22.4), "upper": EdgeLoads(200.0, 2.0, 77.6)}
    with pytest.raises(TheoryError, match=r"Hart-Smith.*both ends.*alike.*two beams"):
        hart_smith_single.curves(lap(), unlike_ends)
