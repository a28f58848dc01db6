"""Ojalvo and Eidinoff's shear, against its differential equations, its limits and a worked case.

I. U. Ojalvo & H. L. Eidinoff, AIAA J. 16(3), 1978, 204-211 (from memory). The
worked case was derived for this project and confirmed by numerical solution; it
proves the algebra, not the citation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from fejoint import Adherend, Adhesive, DoubleLap, Isotropic, Joint, Load, SingleLap, TheoryError
from fejoint.bondline.closed_form import goland_reissner, ojalvo_eidinoff
from fejoint.bondline.closed_form.ojalvo_eidinoff import shear_stress
from fejoint.bondline.curves import EdgeLoads

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)

# modulus, thickness, half overlap, G, t_a
SECTIONS = {
    "O1": (70_000, 2.0, 12.5, 1000, 0.2),
    "thick layer": (80_000, 1.6, 25.0, 190, 1.5),
    "short": (220_000, 3.0, 4.0, 560, 0.2),
}


def numerically(load, moment, modulus, t, c, g, ta):
    """Return the shear stress of two like beams whose interface forces act h = (t + t_a)/2 from their mid-planes.

    tau' = (G/t_a)((N1 - N2)/(E t) + h m/D), N1' = tau, m' = 2 h tau - Q with
    N2 = P - N1 and m = M1 + M2; N1 goes from 0 to P, m from -M to M, which finds the constant Q.
    """
    h, d, scale = (t + ta) / 2, modulus * t**3 / 12, load / (2 * c)

    def slopes(x, y, q):  # tau, N1 and m over the mean shear
        tau, n1, m = y
        return np.vstack([g / ta * ((2 * n1 - 2 * c) / (modulus * t) + h * m / d), tau, 2 * h * tau - q[0]])

    def ends(a, b, q):
        return np.array([a[1], b[1] - 2 * c, a[2] + moment / scale, b[2] - moment / scale])

    x = np.linspace(-c, c, 401)
    found = solve_bvp(slopes, ends, x, np.ones((3, x.size)), p=[0.1], tol=1e-9, max_nodes=20_000)
    assert found.success
    return lambda z: scale * found.sol(z)[0]


@pytest.mark.parametrize("section", SECTIONS.values(), ids=SECTIONS.keys())
@pytest.mark.parametrize("factor", [0.0, 0.57, 1.0])
def test_shear_solves_its_equations(section, factor):
    """Collocation to a residual of 1e-9 reproduces the closed form to 1e-7 of its peak."""
    _, t, c, _, ta = section
    moment, x = factor * 200 * (t + ta) / 2, np.linspace(-c, c, 201)
    exact = shear_stress(x, 200.0, moment, *section)
    assert np.abs(exact - numerically(200.0, moment, *section)(x)).max() <= 1e-7 * np.abs(exact).max()


def test_worked_case():
    """O1, derived for this project: G2's joint with k 0.570182: tau over its mean is 5.1030562 at the end; 8 digits given.

    k has six digits, and half a unit of its last moves the ratio by 6e-7 of it.
    """
    modulus, t, c, g, ta = SECTIONS["O1"]
    end = shear_stress(np.array([c]), 200, 0.570182 * 200 * (t + ta) / 2, modulus, t, c, g, ta)
    assert end / (200 / (2 * c)) == pytest.approx([5.1030562], rel=7e-7)


def test_the_form_with_a_and_b():
    """tau/tau_av = A cosh(lambda r x/c) + B with their lambda, r, A and B (from memory); round-off."""
    modulus, t, c, g, ta = SECTIONS["O1"]
    k, be = 0.57, ta / t
    lam, r = math.sqrt(g * c**2 / (modulus * t * ta)), math.sqrt(2 + 6 * (1 + be) ** 2)
    a = 2 * lam * (1 + 3 * (1 + be) ** 2 * k) / (r * math.sinh(lam * r))
    b = 1 - a * math.sinh(lam * r) / (lam * r)
    x = np.linspace(-c, c, 31)
    ours = shear_stress(x, 200, k * 200 * (t + ta) / 2, modulus, t, c, g, ta) / (200 / (2 * c))
    assert ours == pytest.approx(a * np.cosh(lam * r * x / c) + b, rel=1e-10)


def test_thin_layer_is_goland_and_reissner():
    """With G/t_a kept, t_a/t -> 0 gives Goland and Reissner's shear, coded apart; they part in proportion to t_a/t."""
    x, parts = np.linspace(-12.5, 12.5, 51), []
    theirs = goland_reissner.shear_stress(x, 200, 0.57, 70_000, 2.0, 12.5, 5000)
    for ta in (1e-3, 1e-4):
        ours = shear_stress(x, 200, 0.57 * 200 * (2.0 + ta) / 2, 70_000, 2.0, 12.5, 5000 * ta, ta)
        parts.append(np.abs(ours - theirs).max() / theirs.max())
    assert parts[1] < 1e-4  # the end slope moves by 2 t_a/t in its larger part
    assert parts[0] / parts[1] == pytest.approx(10, rel=1e-2)


def test_limits_of_overlap():
    """Short: P/(2 c), next term of order (w c)^2. Endless: P/(2c) + slope/w less its mean, without overflow."""
    modulus, t, _, g, ta = SECTIONS["O1"]
    h, d = (t + ta) / 2, modulus * t**3 / 12
    wave = math.sqrt(2 * g / ta * (1 / (modulus * t) + h**2 / d))
    short = shear_stress(np.array([0.0, 0.01]), 200, 100, modulus, t, 0.01, g, ta)
    assert short == pytest.approx([1e4] * 2, rel=(wave * 0.01) ** 2)
    c, slope = 2000 / wave, g / ta * (200 / (modulus * t) + h * 100 / d)
    with np.errstate(over="raise", invalid="raise"):
        end, middle = shear_stress(np.array([c, 0.0]), 200, 100, modulus, t, c, g, ta)
    assert end == pytest.approx(100 / c + slope / wave * (1 - 1 / 2000), rel=1e-12)
    assert middle == pytest.approx(100 / c - slope / wave / 2000, rel=1e-12)


@pytest.mark.parametrize("section", SECTIONS.values(), ids=SECTIONS.keys())
def test_transfers_the_load(section):
    """The integral of the shear stress is the load; Gauss with 60 points integrates these curves to round-off."""
    place, weight = np.polynomial.legendre.leggauss(60)
    c = section[2]
    assert c * (weight @ shear_stress(c * place, 200, 150.0, *section)) == pytest.approx(200, rel=1e-12)


# ---- a joint in, curves out ------------------------------------------------


def lap(upper_thickness=2.0, **load) -> Joint:
    parts = [Adherend(material=ALUMINIUM, thickness=t, free_length=40) for t in (2.0, upper_thickness)]
    return Joint(
        geometry=SingleLap(
            width=25, overlap_length=25, bondline_thickness=0.2, lower=parts[0], upper=parts[1], spew="fillet", spew_height=0.3
        ),
        adhesive=Adhesive(elastic_modulus=2800, shear_modulus=1000, expansion=60e-6),
        load=Load(**{"force": 5000, **load}),
    )


@pytest.mark.parametrize(("ends", "arm"), [("clamped", math.inf), ("pinned", 40)])
def test_curves_of_a_joint(ends, arm):
    """Goland and Reissner's k about (t + t_a)/2, plane strain; no peel."""
    (bondline,) = ojalvo_eidinoff.curves(lap(ends=ends))
    modulus = 70_000 / (1 - 0.33**2)
    moment = goland_reissner.edge_moment_factor(200, modulus, 2.0, 12.5, arm) * 220
    expected = shear_stress(bondline.x - 12.5, 200, moment, modulus, 2.0, 12.5, 1000, 0.2)
    assert bondline.shear == pytest.approx(expected, rel=1e-12)
    assert np.isnan(bondline.peel).all()
    assert bondline.right.moment == pytest.approx(moment, rel=1e-12)
    # The slope of an arm's moment, M sinh(u x)/sinh(u L), u^2 = P/D.
    u = math.sqrt(12 * 200 / (modulus * 2.0**3))
    coth = 1 if math.isinf(arm) else math.cosh(u * arm) / math.sinh(u * arm)
    assert bondline.right.shear == pytest.approx(moment * u * coth, rel=1e-12)
    assert bondline.left == EdgeLoads(bondline.right.axial, bondline.right.shear, -bondline.right.moment)
    assert "Ojalvo and Eidinoff 1978" in bondline.measure
    # 400 pieces of piecewise quadratics: the mean is exact to 1e-8.
    assert bondline.middle.mean("shear") == pytest.approx(lap().mean_shear, rel=1e-8)


def test_given_edge_loads():
    """Those of the end with the larger moment drive the shear, in compression and with a moment too."""
    edges = {"lower": EdgeLoads(200.0, 2.0, -155.0), "upper": EdgeLoads(200.0, 3.0, 150.0)}
    (bondline,) = ojalvo_eidinoff.curves(lap(moment=100, ends="pinned"), edges)
    modulus = 70_000 / (1 - 0.33**2)
    expected = shear_stress(bondline.x - 12.5, 200, 155.0, modulus, 2.0, 12.5, 1000, 0.2)
    assert bondline.shear == pytest.approx(expected, rel=1e-12)
    assert bondline.right == EdgeLoads(200.0, 2.0, 155.0)
    assert "given edge loads" in bondline.measure
    turned = {name: EdgeLoads(-e.axial, -e.shear, -e.moment) for name, e in edges.items()}
    (pushed,) = ojalvo_eidinoff.curves(lap(force=-5000), turned)
    assert pushed.shear == pytest.approx(-bondline.shear, rel=1e-12)


def test_joints_outside_it_are_refused():
    """One sentence each, with the reason; that of the edge moment names Goland and Reissner, whose it is."""
    double = DoubleLap(
        width=25, overlap_length=25, bondline_thickness=0.2, inner=lap().geometry.lower, outer=lap().geometry.upper
    )
    unlike_arms = lap().geometry.replace(upper=lap().geometry.upper.replace(free_length=90))
    for joint, reason in (
        (lap(upper_thickness=1.5), r"Ojalvo.*identical adherends.*Volkersen"),
        (lap(force=-5000), r"Goland.*tension"),
        (lap(temperature_change=-60), r"Ojalvo.*temperature"),
        (lap(moment=100, ends="pinned"), r"Goland.*moment"),
        (lap(shear_force=10), r"Goland.*shear_force"),
        (lap().replace(geometry=double), r"Ojalvo.*single-lap.*double-lap"),
        (lap(ends="pinned").replace(geometry=unlike_arms), r"Goland.*pinned arms of one length"),
    ):
        with pytest.raises(TheoryError, match=reason):
            ojalvo_eidinoff.curves(joint)
    unlike_ends = {"lower": EdgeLoads(200.0, 2.0, -22.4), "upper": EdgeLoads(200.0, 2.0, 77.6)}
    with pytest.raises(TheoryError, match=r"Ojalvo.*both ends.*alike.*two beams"):
        ojalvo_eidinoff.curves(lap(), unlike_ends)
