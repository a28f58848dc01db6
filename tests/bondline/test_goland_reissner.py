"""Goland and Reissner's single lap, against its differential equations, its limits and a worked case.

M. Goland & E. Reissner, J. Appl. Mech. 11, 1944, A17-A27 (from memory beyond
its first page). The worked case was derived for this project and confirmed by
numerical solution of the differential equations; it proves the algebra, not
the citation.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from fejoint import Adherend, Adhesive, Isotropic, Joint, Load, SingleLap, TheoryError
from fejoint.bondline.closed_form import goland_reissner
from fejoint.bondline.closed_form.goland_reissner import edge_moment_factor, edge_shear, peel_stress, shear_stress
from fejoint.bondline.curves import EdgeLoads

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33)

# modulus, thickness, half overlap, G, E of the layer, its thickness
SECTIONS = {
    "G2": (70_000, 2.0, 12.5, 1000, 2800, 0.2),
    "long and soft": (80_000, 1.6, 25.0, 190, 490, 0.5),
    "short": (220_000, 3.0, 4.0, 560, 1850, 0.2),
}


# ---- the edge moment -------------------------------------------------------


def edge_numerically(load, modulus, t, c, arm) -> tuple[float, float]:
    """Return k and the edge shear force from the beam-columns D w'' = -P (alpha x - w): an arm, half a bar of double thickness.

    The load's line runs from the pinned end to the lap's middle, t/2 above.
    Scaled to 0 to 1 in both parts: w and w' join, w is zero at the pin and in
    the middle of the overlap (measured from the load's line's foot).
    """
    d1 = modulus * t**3 / 12
    slope = t / 2 / (arm + c)

    def slopes(s, y):
        first, second = slope * arm * s, slope * (arm + s * c) - t / 2
        return np.vstack([arm * y[1], -arm * load / d1 * (first - y[0]), c * y[3], -c * load / (8 * d1) * (second - y[2])])

    def ends(a, b):
        return np.array([a[0], b[2], b[0] - a[2], b[1] - a[3]])

    s = np.linspace(0, 1, 801)
    found = solve_bvp(slopes, ends, s, np.zeros((4, s.size)), tol=1e-10, max_nodes=50_000)
    assert found.success
    # The arm's moment is P (alpha x - w), its shear force the slope of that.
    return 2 * (slope * arm - found.y[0, -1]) / t, load * (slope - found.y[1, -1])


@pytest.mark.parametrize("load", [2.0, 60.0, 200.0])
@pytest.mark.parametrize(("t", "c", "arm"), [(2.0, 12.5, 40.0), (1.6, 6.25, 100.0), (3.0, 25.0, 15.0)])
def test_edge_loads_solve_the_beam_columns(load, t, c, arm):
    """Collocation to a residual of 1e-10 gives k, and the shear force from it, to 1e-7."""
    k, sideways = edge_numerically(load, 78_555.0, t, c, arm)
    assert edge_moment_factor(load, 78_555.0, t, c, arm) == pytest.approx(k, rel=1e-7)
    assert edge_shear(k * load * t / 2, load, 78_555.0, t, arm) == pytest.approx(sideways, rel=1e-7)


def test_edge_shear_limits():
    """Endless arms: k P root(3 P/(t E)), as in their paper (from memory); no load: the lever M/L of a pinned arm, by statics.

    Round-off; and the next term of u L coth(u L), (u L)^2/3, of which twice is let pass.
    """
    modulus, t, arm = 78_555.0, 2.0, 40.0
    assert edge_shear(0.57 * 200 * t / 2, 200, modulus, t) == pytest.approx(
        0.57 * 200 * math.sqrt(3 * 200 / (t * modulus)), rel=1e-12
    )
    small = 12 * 1e-4 / (modulus * t**3) * arm**2
    assert edge_shear(30.0, 1e-4, modulus, t, arm) == pytest.approx(30.0 / arm, rel=small)


def test_edge_moment_of_the_worked_case():
    """k of G2 and O1, derived for this project: 200 N/mm on 2 mm aluminium (70 GPa, 0.33), overlap 25 mm: 0.570182."""
    assert edge_moment_factor(200, 70_000 / (1 - 0.33**2), 2.0, 12.5) == pytest.approx(0.570182, rel=1e-6)


def test_edge_moment_limits():
    """No load: 1 with endless arms, a / (a + c) by statics with pinned ones; much load: 1 / (1 + 2 root 2).

    The next terms are of order u1 c with endless arms, (u1 a)^2 with pinned
    ones, exp(-2 u2 c) at high load.
    """
    modulus, t, c, arm = 78_555.0, 2.0, 12.5, 40.0
    u1 = math.sqrt(12 * 1e-7 / (modulus * t**3))
    assert edge_moment_factor(1e-7, modulus, t, c) == pytest.approx(1.0, abs=2 * u1 * c)
    assert edge_moment_factor(1e-7, modulus, t, c, arm) == pytest.approx(arm / (arm + c), rel=10 * (u1 * arm) ** 2)
    assert edge_moment_factor(1e6, modulus, t, c) == pytest.approx(1 / (1 + 2 * math.sqrt(2)), rel=1e-9)
    assert 1 / (1 + 2 * math.sqrt(2)) == pytest.approx(0.261204, rel=1e-6)
    # Arms of fifteen decay lengths are endless to exp(-30).
    u1 = math.sqrt(12 * 200 / (modulus * t**3))
    assert edge_moment_factor(200, modulus, t, c, 15 / u1) == pytest.approx(edge_moment_factor(200, modulus, t, c), rel=1e-12)


@pytest.mark.parametrize("load", [0.0, -10.0])
def test_edge_moment_needs_tension(load):
    """Compression and no load are refused, in words."""
    with pytest.raises(TheoryError, match="tension"):
        edge_moment_factor(load, 78_555.0, 2.0, 12.5)


# ---- shear and peel --------------------------------------------------------


@pytest.mark.parametrize("section", SECTIONS.values(), ids=SECTIONS.keys())
@pytest.mark.parametrize("factor", [0.0, 0.57, 1.0])
def test_shear_solves_its_equation(section, factor):
    """tau''' = 8 G/(E t t_a) tau' with end slope +-(G/t_a) P (1 + 3 k)/(E t) and integral P; collocation to 1e-7."""
    modulus, t, c, g, _, ta = section
    load = 200.0
    scale = load / (2 * c)
    slope = g / ta * load / (modulus * t) * (1 + 3 * factor) / scale

    def slopes(x, y):  # tau, tau', tau'' over the mean, and their integral
        return np.vstack([y[1], y[2], 8 * g / (modulus * t * ta) * y[1], y[0]])

    def ends(a, b):
        return np.array([a[1] + slope, b[1] - slope, a[3], b[3] - 2 * c])

    x = np.linspace(-c, c, 401)
    found = solve_bvp(slopes, ends, x, np.zeros((4, x.size)), tol=1e-9, max_nodes=20_000)
    assert found.success
    exact = shear_stress(x, load, factor, modulus, t, c, g / ta)
    assert np.abs(exact - scale * found.sol(x)[0]).max() <= 1e-7 * np.abs(exact).max()


@pytest.mark.parametrize("section", SECTIONS.values(), ids=SECTIONS.keys())
@pytest.mark.parametrize(("moment", "shear_force"), [(100.0, 0.0), (0.0, 12.0), (114.0, 9.5)])
def test_peel_solves_its_equation(section, moment, shear_force):
    """sigma'''' + 2 E_a/(D t_a) sigma = 0 with sigma'' = E_a M/(D t_a), sigma''' = -+E_a V/(D t_a) at the ends; to 1e-6.

    The fourth-order equation oscillates and decays within a hundredth of the
    longest overlap: collocation loses a digit against the shear.
    """
    modulus, t, c, _, e, ta = section
    d = modulus * t**3 / 12
    q = e / ta / d
    unit = (2 * q) ** -0.25  # a length on which all derivatives are of one size
    exact_end = abs(peel_stress(np.array([c]), moment, shear_force, modulus, t, c, e / ta)[0])

    def slopes(x, y):
        return np.vstack([y[1], y[2], y[3], -y[0]]) / unit

    def ends(a, b):
        m, v = q * moment * unit**2 / exact_end, q * shear_force * unit**3 / exact_end
        return np.array([a[2] - m, a[3] - v, b[2] - m, b[3] + v])

    x = np.linspace(-c, c, 801)
    found = solve_bvp(slopes, ends, x, np.zeros((4, x.size)), tol=1e-9, max_nodes=50_000)
    assert found.success
    exact = peel_stress(x, moment, shear_force, modulus, t, c, e / ta)
    assert np.abs(exact - exact_end * found.sol(x)[0]).max() <= 1e-6 * np.abs(exact).max()


def test_worked_case():
    """G2, derived for this project: plane stress, 200 N/mm, 2 mm of 70 GPa, overlap 25, G 1000, E_a 2800, t_a 0.2.

    tau 38.80022 at the end and 2.66974 in the middle, sigma 48.55183 and
    -0.0338148 MPa; given to 7, 6, 7 and 6 digits.
    """
    modulus, t, c, g, e, ta = SECTIONS["G2"]
    k = edge_moment_factor(200, modulus / (1 - 0.33**2), t, c)
    x = np.array([c, 0.0])
    end, middle = shear_stress(x, 200, k, modulus, t, c, g / ta)
    assert end == pytest.approx(38.80022, rel=3e-7)
    assert middle == pytest.approx(2.66974, rel=3e-6)
    sideways = k * 200 * math.sqrt(3 * (1 - 0.33**2) * 200 / (t * modulus))
    end, middle = peel_stress(x, k * 200 * t / 2, sideways, modulus, t, c, e / ta)
    assert end == pytest.approx(48.55183, rel=3e-7)
    assert middle == pytest.approx(-0.0338148, rel=3e-6)


@pytest.mark.parametrize("section", SECTIONS.values(), ids=SECTIONS.keys())
def test_resultants(section):
    """Shear adds up to the load and peel to the sideways force, whose moment balances too.

    About the middle, peel is symmetric and gives no moment. Gauss with 200
    points integrates these curves to round-off.
    """
    modulus, t, c, g, e, ta = section
    place, weight = np.polynomial.legendre.leggauss(200)
    shear = shear_stress(c * place, 200, 0.6, modulus, t, c, g / ta)
    assert c * (weight @ shear) == pytest.approx(200, rel=1e-12)
    peel = peel_stress(c * place, 120.0, 9.5, modulus, t, c, e / ta)
    assert c * (weight @ peel) == pytest.approx(9.5, abs=1e-10 * c * (weight @ np.abs(peel)))
    assert peel == pytest.approx(peel[::-1], rel=1e-9, abs=1e-12 * np.abs(peel).max())


def test_no_edge_moment_is_shear_lag_of_the_bending_lap():
    """With k = 0 the end slope is that of pure stretching, P G/(E t t_a), a quarter of the slope with k = 1."""
    modulus, t, c, g, _, ta = SECTIONS["G2"]
    h = 1e-6
    slopes = []
    for factor in (0.0, 1.0):
        inside, end = shear_stress(np.array([c - h, c]), 200, factor, modulus, t, c, g / ta)
        slopes.append((end - inside) / h)
    # The difference quotient is off by h tau''/(2 tau') = 1e-7, and by round-off over h, 1e-8.
    assert slopes[0] == pytest.approx(200 * g / (modulus * t * ta), rel=1e-5)
    assert slopes[1] == pytest.approx(4 * slopes[0], rel=1e-5)


def test_long_overlap_peel():
    """On a long overlap sigma_end = (P t/c^2)(k lambda^2/2 + k' lambda), to exp(-2 lambda), with k' = V c/(P t)."""
    modulus, t, c, _, e, ta = 70_000, 2.0, 50.0, 1000, 2800, 0.2
    lam = c / t * (6 * e * t / (modulus * ta)) ** 0.25
    k, sideways = 0.57, 9.0
    expected = 200 * t / c**2 * (k * lam**2 / 2 + sideways * c / (200 * t) * lam)
    end = peel_stress(np.array([c]), k * 200 * t / 2, sideways, modulus, t, c, e / ta)
    assert end == pytest.approx([expected], rel=1e-12)


def test_very_long_overlap_does_not_overflow():
    """At b c / t = 1000 (w l = 2000) and lambda of 2000 the ends still follow the endless overlap, the middle is still."""
    modulus, t, g, e, ta = 70_000, 2.0, 1000, 2800, 0.2
    b = math.sqrt(8 * g * t / (modulus * ta))
    c = 1000 * t / b
    with np.errstate(over="raise", invalid="raise"):
        end, middle = shear_stress(np.array([c, 0.0]), 200, 0.5, modulus, t, c, g / ta)
        assert end == pytest.approx(200 / (8 * c) * (1000 * 2.5 + 1.5), rel=1e-12)
        assert middle == pytest.approx(200 / (8 * c) * 1.5, rel=1e-12)
        root = (6 * e * t / (modulus * ta)) ** 0.25 / t
        c = 2000 / root
        end, middle = peel_stress(np.array([c, 0.0]), 100.0, 9.0, modulus, t, c, e / ta)
    assert end == pytest.approx(200 * t / c**2 * (0.5 * 2000**2 / 2 + 9.0 * c / (200 * t) * 2000), rel=1e-9)
    assert abs(middle) < 1e-100


# ---- a joint in, curves out ------------------------------------------------


def lap(force=5000, ends="clamped", upper_thickness=2.0, arms=(40, 40)) -> Joint:
    parts = [Adherend(material=ALUMINIUM, thickness=t, free_length=a) for t, a in zip((2.0, upper_thickness), arms, strict=True)]
    return Joint(
        geometry=SingleLap(width=25, overlap_length=25, bondline_thickness=0.2, lower=parts[0], upper=parts[1]),
        adhesive=Adhesive(elastic_modulus=2800, shear_modulus=1000),
        load=Load(force=force, ends=ends),
    )


@pytest.mark.parametrize(
    ("ends", "arms", "arm"), [("clamped", (40, 40), math.inf), ("clamped", (40, 50), math.inf), ("pinned", (15, 15), 15)]
)
def test_curves_of_a_joint(ends, arms, arm):
    """The theory's own edge loads: endless arms unless they are pinned; plane strain throughout.

    An arm of 15 mm is less than a decay length: its shear force is a third above an endless one's.
    """
    joint = lap(ends=ends, arms=arms)
    (bondline,) = goland_reissner.curves(joint)
    modulus = 70_000 / (1 - 0.33**2)
    k = edge_moment_factor(200, modulus, 2.0, 12.5, arm)
    x = bondline.x - 12.5
    assert bondline.shear == pytest.approx(shear_stress(x, 200, k, modulus, 2.0, 12.5, 1000 / 0.2), rel=1e-12)
    u1 = math.sqrt(12 * 200 / (modulus * 2.0**3))
    sideways = k * 200 * u1 * (1 if math.isinf(arm) else math.cosh(u1 * arm) / math.sinh(u1 * arm))
    peel = peel_stress(x, k * 200, sideways, modulus, 2.0, 12.5, 2800 / 0.2)
    assert bondline.peel == pytest.approx(peel, rel=1e-9, abs=1e-9 * np.abs(peel).max())
    assert bondline.left.moment == pytest.approx(-k * 200, rel=1e-12)
    assert bondline.right == EdgeLoads(200.0, bondline.left.shear, -bondline.left.moment)
    assert bondline.left.shear == pytest.approx(sideways, rel=1e-12)
    assert (bondline.x[0], bondline.x[-1]) == (0.0, 25.0)
    assert "Goland and Reissner" in bondline.measure
    # 400 pieces of piecewise quadratics: the mean is exact to 1e-8.
    assert bondline.middle.mean("shear") == pytest.approx(joint.mean_shear, rel=1e-8)


def test_curves_with_given_edge_loads():
    """Edge loads from elsewhere take the place of the theory's own: those with the larger moment drive shear and peel."""
    given = {"lower": EdgeLoads(200.0, 2.0, -145.0), "upper": EdgeLoads(200.0, 3.0, 150.0)}
    (bondline,) = goland_reissner.curves(lap(), given)
    modulus = 70_000 / (1 - 0.33**2)
    x = bondline.x - 12.5
    assert bondline.shear == pytest.approx(shear_stress(x, 200, 0.75, modulus, 2.0, 12.5, 5000), rel=1e-12)
    expected = peel_stress(x, 150.0, 3.0, modulus, 2.0, 12.5, 14_000)
    assert bondline.peel == pytest.approx(expected, rel=1e-9, abs=1e-9 * np.abs(expected).max())
    assert "given edge loads" in bondline.measure


def test_given_edge_loads_serve_compression():
    """In compression the theory itself has no edge moment, but with given edge loads it turns all signs over."""
    push, pull = (
        {n: EdgeLoads(s * 200.0, s * 3.0, s * side * 150.0) for n, side in (("lower", -1), ("upper", 1))} for s in (-1, 1)
    )
    (pushed,), (pulled,) = goland_reissner.curves(lap(-5000), push), goland_reissner.curves(lap(), pull)
    assert pushed.shear == pytest.approx(-pulled.shear, rel=1e-12)
    assert pushed.peel == pytest.approx(-pulled.peel, rel=1e-12)
    with pytest.raises(TheoryError, match="tension"):
        goland_reissner.curves(lap(-5000))


def test_unlike_adherends_are_refused():
    """Unlike thickness is refused, and the sentence says what serves instead."""
    with pytest.raises(TheoryError, match=r"identical adherends.*Volkersen"):
        goland_reissner.curves(lap(upper_thickness=1.5))


def test_other_families_are_refused_by_name():
    """The refusal names the theory, what it is for and what it was given."""
    other = SimpleNamespace(geometry=SimpleNamespace(kind="double-lap"))
    with pytest.raises(TheoryError, match=r"Goland and Reissner.*single-lap.*double-lap"):
        goland_reissner.curves(other)


def test_given_edge_loads_that_close_the_bondline():
    """A moment that closes keeps its sign: k is negative, and peel is compressive at the ends, for either end's edge loads."""
    for worse, other in (("lower", "upper"), ("upper", "lower")):
        opens = {"lower": -1, "upper": 1}
        given = {worse: EdgeLoads(200.0, 0.0, -150.0 * opens[worse]), other: EdgeLoads(200.0, 0.0, -145.0 * opens[other])}
        (bondline,) = goland_reissner.curves(lap(), given)
        expected = shear_stress(bondline.x - 12.5, 200, -0.75, 70_000 / (1 - 0.33**2), 2.0, 12.5, 5000)
        assert bondline.shear == pytest.approx(expected, rel=1e-12)
        assert bondline.peel[0] < 0
        assert bondline.peel[-1] < 0
        assert bondline.right.moment == -bondline.left.moment == -150.0


def test_what_the_theory_has_not_is_refused():
    """Temperature, a moment or a shear force without given edge loads, and given ones without a force along the joint."""
    with_moment = lap(ends="pinned").replace(load=Load(force=5000, moment=100, ends="pinned"))
    given = {"lower": EdgeLoads(200.0, 3.0, -145.0), "upper": EdgeLoads(200.0, 3.0, 150.0)}
    for joint, edges, reason in (
        (with_moment, None, "edge moment of Goland and Reissner.*moment or shear_force"),
        (lap().replace(load=Load(force=5000, shear_force=10)), None, "edge moment of Goland and Reissner.*moment or shear_force"),
        (
            lap().replace(load=Load(force=0, moment=100, ends="pinned")),
            given,
            "Goland and Reissner needs a force along the joint",
        ),
    ):
        with pytest.raises(TheoryError, match=reason):
            goland_reissner.curves(joint, edges)
    assert goland_reissner.curves(with_moment, given)[0].right.moment == 150.0
    metal, glue = (m.replace(expansion=20e-6) for m in (ALUMINIUM, lap().adhesive))
    parts = [Adherend(material=metal, thickness=2.0, free_length=40)] * 2
    geometry = lap().geometry.replace(lower=parts[0], upper=parts[1])
    with pytest.raises(TheoryError, match="Goland and Reissner has no temperature"):
        goland_reissner.curves(Joint(geometry=geometry, adhesive=glue, load=Load(force=5000, temperature_change=-60)))


def test_pinned_arms_of_unlike_length_are_refused():
    """Their edge loads are those of two arms alike; with given ones the arms do not matter."""
    joint = lap(ends="pinned", arms=(20, 150))
    with pytest.raises(TheoryError, match=r"pinned arms of one length.*20 and 150 mm.*two beams"):
        goland_reissner.curves(joint)
    given = {"lower": EdgeLoads(200.0, 3.0, -150.0), "upper": EdgeLoads(200.0, 3.0, 150.0)}
    assert goland_reissner.curves(joint, given)[0].right.moment == 150.0


@pytest.mark.parametrize(("left", "right"), [(-22.4, 77.6), (-77.6, 22.4), (50.0, 50.0), (-94.9, 100.0), (0.0, -10.0)])
def test_ends_loaded_unlike_are_refused(left, right):
    """Half a turn must take one end's loads into the other's, left.moment = -right.moment, within 5 % of the larger."""
    given = {"lower": EdgeLoads(200.0, 3.0, left), "upper": EdgeLoads(200.0, 3.0, right)}
    with pytest.raises(TheoryError, match=r"Goland and Reissner takes both ends.*alike.*two beams and a layer"):
        goland_reissner.curves(lap(), given)


@pytest.mark.parametrize(("left", "right"), [(-95.1, 100.0), (100.0, -95.1), (0.0, 0.0)])
def test_ends_loaded_nearly_alike_are_taken(left, right):
    given = {"lower": EdgeLoads(200.0, 3.0, left), "upper": EdgeLoads(200.0, 3.0, right)}
    assert goland_reissner.curves(lap(), given)[0].right.moment == max(-left, right, key=abs)
