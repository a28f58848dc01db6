"""Figures found from tests: against closed forms, against a general-purpose fit, and what their intervals promise.

Data here are made up from formulas and noise; none was measured. The forward
models are closed forms or the tool's own finite elements; the data of the
latter come from closed forms, not from the tool.
"""

from __future__ import annotations

import math

import made_up
import numpy as np
import pytest
from scipy.integrate import solve_bvp
from scipy.optimize import curve_fit

from fejoint.errors import JointError
from fejoint.mechanics.reuse import Kept
from fejoint.proof.doubts import doubts, further_test
from fejoint.proof.estimate import Sought, covariance, estimated
from fejoint.proof.findable import STIFFNESS, parsed_bounds, with_figures
from fejoint.proof.identify import Identified, _Coupon, identify
from fejoint.proof.measured import coupons_from_text
from fejoint.proof.predicted import stiffness_of
from fejoint.strength.predict import QUICK

E, T = "adhesive.elastic_modulus", "joint.bondline_thickness"
SHEAR = "adhesive.shear_modulus"


def sought(key, start, low=None, high=None):
    return Sought(key, "MPa", start, low or start / 10, high or start * 10)


# ---- the search, on closed forms -------------------------------------------


# A double cantilever beam on its adhesive: each arm a beam on an elastic foundation of 2 E_a / t_a per area. From memory: Krenk,
# Eng. Fract. Mech. 43, 1992, 549-559, and the beam on Winkler's foundation; derived again, and solved below by scipy.
ARM, WIDTH, CRACK, LAYER, METAL = 6.0, 25.0, 40.0, 0.3, 70e3


def cantilever_compliance(adhesive):
    """Return the opening of a double cantilever beam per load, mm/N, by the closed form."""
    d = METAL * WIDTH * ARM**3 / 12
    lam = (2 * adhesive / LAYER * WIDTH / (4 * d)) ** 0.25
    return 2 / (3 * d) * (CRACK**3 + 3 * CRACK**2 / lam + 3 * CRACK / lam**2 + 3 / (2 * lam**3))


def solved_cantilever(adhesive, length=120.0):
    """Return the same by solving the differential equation of the arm: D w'''' = -k w behind the crack's tip."""
    d, k = METAL * WIDTH * ARM**3 / 12, 2 * adhesive / LAYER * WIDTH
    # Scaled with 1 / lam, a unit load; tip at 0, the arm's end free far behind it.
    lam = (k / (4 * d)) ** 0.25
    x = np.linspace(0.0, length * lam, 400)

    def beam(_, y):
        return np.vstack([y[1], y[2], y[3], -4 * y[0]])

    def ends(ya, yb):
        # At the tip the moment P a and the shear P of the arm: D w'' = P a, D w''' = P, signs by x pointing away from the load.
        return np.array([ya[2] - CRACK / (d * lam**2), ya[3] - 1 / (d * lam**3), yb[2], yb[3]])

    found = solve_bvp(beam, ends, x, np.zeros((4, len(x))), tol=1e-9, max_nodes=100_000)
    assert found.success
    w, turn = found.y[0, 0], -found.y[1, 0] * lam
    return 2 * (w + turn * CRACK + CRACK**3 / (3 * d))


def test_adhesive_modulus_of_a_double_cantilever_beam():
    """Data of the differential equation, solved by scipy to 1e-9, model its closed form: the modulus returns to 1e-4.

    The compliance changes by some 1/20 of the modulus' change, so that what is known to 1e-6 gives the modulus to 2e-5;
    the end 120 mm behind the tip, where the closed form has none, is worth exp(-120 lam), nothing.
    """
    seen = solved_cantilever(2500.0)
    assert cantilever_compliance(2500.0) == pytest.approx(seen, rel=1e-6)
    found = estimated(lambda v: np.full(4, 1 / cantilever_compliance(v[E])), [1 / seen] * 4, [0.01] * 4, [sought(E, 1000.0)])
    assert found.value(E) == pytest.approx(2500.0, rel=1e-4)
    assert found.settled and not found.alike and not found.no_influence


def test_values_and_intervals_are_those_of_a_general_purpose_fit():
    """scipy's curve_fit on logarithms, absolute_sigma=False: the same minimum (1e-5) and covariance (1e-3, of slopes)."""
    rng = np.random.default_rng(5)
    lengths = np.array([5.0, 10.0, 20.0, 40.0])

    def model(strength, toughness):  # a made-up saturating load, smooth in both
        return 1 / (1 / (strength * lengths) + 1 / np.sqrt(2e5 * toughness))

    load = model(30.0, 2.0) * np.exp(0.03 * rng.standard_normal(4))
    keys = ("adhesive.shear_strength", "adhesive.toughness_mode_2")
    found = estimated(
        lambda v: model(v[keys[0]], v[keys[1]]), load, [0.03] * 4, [sought(keys[0], 20.0), sought(keys[1], 1.0, 0.05, 50.0)]
    )
    best, spread = curve_fit(
        lambda x, a, b: np.log(model(np.exp(a), np.exp(b))), lengths, np.log(load), np.log([20.0, 1.0]), absolute_sigma=False
    )
    assert found.values == pytest.approx(np.exp(best), rel=1e-5)
    half = np.log(found.high / found.values)
    t = 4.302653  # of two degrees of freedom, 97.5 %: tables of Student's t
    assert half == pytest.approx(t * np.sqrt(np.diag(spread)), rel=1e-3)
    of_both = spread[0, 1] / math.sqrt(spread[0, 0] * spread[1, 1])
    assert found.correlation[0, 1] == pytest.approx(of_both, abs=1e-3)


def test_intervals_hold_the_truth_as_often_as_they_say():
    """95 % intervals of 4,000 made-up data sets of a linear model: 95 % within three standard errors, 1.03 %, of coverage."""
    rng = np.random.default_rng(11)
    n, p, number = 8, 2, 4000
    jacobian = np.column_stack([np.ones(n), np.linspace(-1.0, 0.6, n)])
    weight = 1 / rng.uniform(0.02, 0.05, n)
    noise = rng.standard_normal((number, n)) / weight
    weighed = weight[:, None] * jacobian
    found = (noise * weight) @ np.linalg.pinv(weighed).T  # off the truth, which is 0
    left = noise * weight - found @ weighed.T
    _, half = covariance(jacobian, weight, (left**2).sum(axis=1))
    assert half.shape == (number, p)
    held = (np.abs(found) <= half).mean(axis=0)
    assert held == pytest.approx(0.95, abs=3 * math.sqrt(0.95 * 0.05 / number))


def test_figures_that_data_cannot_tell_apart_are_named():
    # A stiffness of G b l / t_a knows their ratio alone; two thicknesses measured would part them.
    keys = [sought(SHEAR, 700.0), Sought(T, "mm", 0.2, 0.02, 2.0)]
    found = estimated(lambda v: np.full(5, 250 * v[SHEAR] / v[T]), [8e5, 8.1e5, 7.9e5, 8e5, 8.05e5], [0.01] * 5, keys)
    assert [pair[:2] for pair in found.alike] == [(SHEAR, T)]
    assert found.alike[0][2] == pytest.approx(1.0, abs=1e-6)  # both larger fits as well
    assert np.isnan(found.low).all() and np.isnan(found.high).all()
    assert found.value(SHEAR) / found.value(T) == pytest.approx(8e5 / 250, rel=0.01)

    def parted(v):
        return np.array([250 * v[SHEAR] / v[T], 250 * v[SHEAR] / v[T], 125 * v[SHEAR], 125 * v[SHEAR]])

    apart = estimated(parted, [8e5, 8.1e5, 8e4, 8.05e4], [0.01] * 4, keys)
    assert not apart.alike
    assert np.isfinite(apart.low).all()


def test_bounds_and_figures_without_influence_are_named():
    keys = [sought(SHEAR, 700.0, 600.0, 800.0), sought("adhesive.toughness_mode_1", 1.0)]
    found = estimated(lambda v: np.full(3, 1000 * v[SHEAR]), [5e5, 5e5, 5.1e5], [0.01] * 3, keys)
    assert found.at_bound == (SHEAR,)
    assert found.no_influence == ("adhesive.toughness_mode_1",)
    said = doubts(Identified(found, (), (), ()))
    assert any("stands at its lower bound" in sentence for sentence in said)
    assert any("has no influence on what was measured" in sentence for sentence in said)


def test_too_few_values_are_refused_and_just_enough_have_no_interval():
    keys = [sought(SHEAR, 700.0), sought(E, 2000.0)]
    with pytest.raises(JointError, match="2 figures are sought from 1 measured value"):
        estimated(lambda v: np.array([v[SHEAR]]), [1.0], [0.1], keys)
    found = estimated(lambda v: np.array([v[SHEAR], v[E]]), [650.0, 2100.0], [0.1, 0.1], keys)
    assert found.values == pytest.approx([650.0, 2100.0], rel=1e-6)
    assert np.isnan(found.low).all() and found.freedom == 0


@pytest.mark.parametrize(
    ("pair", "says"),
    [
        ((SHEAR, T), "measure the bondline's thickness"),
        (("adhesive.toughness_mode_1", "adhesive.toughness_mode_2"), "double-cantilever or peel test"),
        (("adhesive.shear_strength", "adhesive.toughness_mode_2"), "another overlap length"),
        (("adhesive.tensile_yield", "adhesive.hardening.rise"), "larger strain"),
    ],
)
def test_a_further_test_is_named_for_each_pair(pair, says):
    assert says in further_test(*pair)
    assert further_test(*pair) == further_test(*reversed(pair))


# ---- the tool's own predictions, on data of closed forms --------------------


@pytest.fixture
def thick(tmp_path):
    """Return the function that makes tests of thick adherends whose pulls follow G b l / t_a, with noise."""
    rng = np.random.default_rng(7)

    def make(modulus, pairs, noise=0.02, more="", **how):
        tests = []
        for i, (length, thickness) in enumerate(pairs):
            shares = np.exp(noise * rng.standard_normal(4))
            k = modulus * 25 * length / thickness
            table = made_up.line_pull(k, 20 * 25 * length, [f"{i}-{j}" for j in range(4)], shares)
            (tmp_path / f"p{i}.csv").write_text(table)
            text = made_up.thick_lap(length, thickness, f"p{i}.csv", more, **how)
            tests.append(coupons_from_text(text, f"t{i}", f"t{i}.toml", tmp_path))
        return tests

    return make


def test_shear_modulus_of_thick_adherends_by_finite_elements(thick):
    """Pulls of the closed form with 2 % of noise: the modulus lies in the interval, widened by 1.5 % for the layer's free ends.

    The interval of 12 coupons is about 2 % / sqrt(12) times t, some 1.3 % either way; the free ends carry no shear over
    some half thickness each, 1 to 2 % of these overlaps, so that the modulus found is that much too large.
    """
    tests = thick(600.0, [(10.0, 0.2), (20.0, 0.2), (10.0, 0.4)])
    found = identify(tests, [SHEAR], routes=QUICK)
    low, high = found.estimate.interval(SHEAR)
    assert low / 1.015 <= 600.0 <= high
    assert 1.005 < high / low < 1.06
    assert not doubts(found)
    assert {one.kind for one in found.observations} == {STIFFNESS}
    assert found.joint().adhesive.shear_modulus == pytest.approx(found.values[SHEAR])


def extensometer_pull(stiffness, top, shares):
    """Return a tester's table with what an extensometer read, and a crosshead that moves twice as far."""
    lines = ["specimen,displacement [mm],extension [mm],force [N]"]
    for i, share in enumerate(shares):
        for f in np.linspace(0.0, top, 60):
            lines.append(f"{i},{2 * f / (stiffness * share):.9f},{f / (stiffness * share):.9f},{f:.4f}")
    return "\n".join(lines) + "\n"


DOUBLE = """
[joint]
kind = "double-lap"
width = "25 mm"
overlap_length = "{length} mm"
bondline_thickness = "0.4 mm"
[joint.inner]
material = {{ elastic_modulus = "70 GPa", poisson_ratio = 0.0 }}
thickness = "2 mm"
free_length = "30 mm"
[joint.outer]
material = {{ elastic_modulus = "70 GPa", poisson_ratio = 0.0 }}
thickness = "1 mm"
free_length = "30 mm"
[adhesive]
shear_modulus = "{start} MPa"
poisson_ratio = 0.3
[load]
[measured]
source = "made up from shear lag"
[measured.curve]
file = "{file}"
gauge = "extensometer"
gauge_length = "{length} mm"
"""


def test_shear_modulus_of_double_laps_that_follow_shear_lag(tmp_path):
    """Volkersen's two bars and a layer (from memory; derived again here), two overlaps, no noise: the modulus within 4 %.

    Bars of stiffness E t under N, a layer of G / t_a: with w^2 = (G / t_a) (2 / E t) the overlap gives way by
    P (t_a w coth(w l / 2) / (2 G) + l / (2 E t)) from one loaded end to the other, P on one outer and half the inner. The
    adherends' own shear (t / 3 G each: 0.5 % of the layer's), the layer's free ends and the ends of the bars, two-dimensional
    here, are 1 to 2 % of the stiffness, of which the modulus' share is 0.4.
    """
    g, et, ta, tests = 100.0, 70e3, 0.4, []
    w = math.sqrt(g / ta * 2 / et)
    for length in (15.0, 25.0):
        gives = (ta * w / math.tanh(w * length / 2) / (2 * g) + length / (2 * et)) / (2 * 25)
        (tmp_path / f"{length:g}.csv").write_text(extensometer_pull(1 / gives, 2000.0, (1.0, 1.0)))
        text = DOUBLE.format(length=length, start=200, file=f"{length:g}.csv")
        tests.append(coupons_from_text(text, f"{length:g}", "double.toml", tmp_path))
    found = identify(tests, [SHEAR], routes=QUICK)
    assert found.values[SHEAR] == pytest.approx(g, rel=0.04)


def test_what_the_tool_itself_predicts_returns_within_its_interval(tmp_path):
    """Invented: stiffnesses predicted at 1.5 GPa over a short gauge, 2 % of noise on five coupons, searched for from 2 GPa on."""
    text = made_up.thick_lap(12.5, 0.2, modulus="70 GPa").replace("[measured.curve]", '[measured.curve]\ngauge = "extensometer"')
    text = text.replace("[measured.curve]", '[measured.curve]\ngauge_length = "14 mm"')
    (tmp_path / "pull.csv").write_text(extensometer_pull(1e5, 4000.0, (1.0,)))
    start = coupons_from_text(text, "t", "t.toml", tmp_path)
    k = stiffness_of(with_figures(start.joint, {E: 1500.0}), 400.0, 1600.0, 14.0)
    shares = np.exp(0.02 * np.random.default_rng(2).standard_normal(5))
    (tmp_path / "pull.csv").write_text(extensometer_pull(k, 4000.0, shares))
    found = identify([coupons_from_text(text, "t", "t.toml", tmp_path)], [E], routes=QUICK)
    low, high = found.estimate.interval(E)
    assert low < 1500.0 < high
    assert high / low < 2  # it tells something: a fiftieth of the bounds


def test_tests_of_one_kind_cannot_tell_modulus_and_thickness(thick):
    found = identify(thick(600.0, [(10.0, 0.2)]), [SHEAR, T], routes=QUICK)
    said = doubts(found)
    assert f"cannot tell {SHEAR} and {T} apart" in said[0]
    assert "measure the bondline's thickness" in said[0]
    # Nor elastic and shear modulus: a layer in simple shear hardly feels the former.
    both = identify(thick(600.0, [(10.0, 0.2)]), [E, SHEAR], routes=QUICK)
    assert any(E in sentence for sentence in doubts(both))


def test_strength_of_a_layer_that_gives_way_as_a_whole(thick):
    """F = tau b l exactly: the strength is the geometric mean of F / (b l), its interval that of n - 1 by a table of t."""
    tests = thick(600.0, [(10.0, 0.2), (20.0, 0.2)], loads="loads = [5000, 5200, 5100]\n")
    one = tests[0].measured.replace(loads=[5000.0, 5200.0, 5100.0])
    two = tests[1].measured.replace(loads=[10100.0, 10300.0])
    tests = [test.replace(measured=measured) for test, measured in zip(tests, (one, two), strict=True)]
    found = identify(tests, ["adhesive.shear_strength"], routes=QUICK)
    stresses = np.log([load / 250 for load in one.loads] + [load / 500 for load in two.loads])
    assert found.values["adhesive.shear_strength"] == pytest.approx(math.exp(stresses.mean()), rel=1e-4)
    half = 2.776445 * stresses.std(ddof=1) / math.sqrt(5)  # t of four degrees of freedom, 97.5 %
    low, high = found.estimate.interval("adhesive.shear_strength")
    assert math.log(high / low) / 2 == pytest.approx(half, rel=1e-3)
    # What does not part the bond is not told.
    idle = identify(tests, ["adhesive.toughness_mode_1"], routes=QUICK)
    assert any("toughness_mode_1 has no influence" in sentence for sentence in doubts(idle))


def test_loads_at_which_the_adherend_parted_tell_nothing_of_the_bond(thick):
    """Of 30 MPa and, where the adherend parted, of 20: the former alone is found; without it nothing can be."""
    tests = [
        test.replace(measured=test.measured.replace(loads=[stress * 25 * length, 1.01 * stress * 25 * length], pattern=pattern))
        for test, stress, length, pattern in zip(
            thick(600.0, [(10.0, 0.2), (20.0, 0.2)]), (30.0, 20.0), (10.0, 20.0), ("adhesive", "substrate"), strict=True
        )
    ]
    found = identify(tests, ["adhesive.shear_strength"], routes=QUICK)
    assert found.values["adhesive.shear_strength"] == pytest.approx(30.0 * math.sqrt(1.01), rel=1e-4)
    said = doubts(found)
    assert "Loads left out, since the adherend parted and the bond bore at least as much: t1." in said
    assert any(sentence.startswith("Parted at the interface (adhesive failure): t0;") for sentence in said)
    with pytest.raises(JointError, match="in all of the tests the adherend did"):
        identify(tests[1:], ["adhesive.shear_strength"], routes=QUICK)


YIELDS = 'tensile_yield = "30 MPa"\nhardening = { rise = "8 MPa", rate = 60 }\n'


def sheared(strain, g=2000 / 2.7, start=30.0, rise=8.0, rate=60.0):
    """Return the shear stress of a von Mises layer at an engineering shear strain: gamma = tau / G + sqrt(3) e_p."""
    from scipy.optimize import brentq

    root = math.sqrt(3)

    def stress(plastic):
        return (start - rise * math.expm1(-rate * plastic)) / root

    if g * strain <= start / root:
        return g * strain
    return stress(brentq(lambda p: stress(p) / g + root * p - strain, 0.0, strain / root))


def yielding_test(tmp_path, start="30 MPa"):
    strains = np.concatenate([np.linspace(0, 0.024, 30), np.linspace(0.026, 0.1, 40)])
    lines = ["specimen,displacement [mm],force [N]"]
    for name, share in (("a", 0.995), ("b", 1.005)):
        lines += [f"{name},{0.2 * s:.8f},{share * 250 * sheared(s):.4f}" for s in strains]
    (tmp_path / "p.csv").write_text("\n".join(lines))
    adhesive = YIELDS.replace('"30 MPa"', f'"{start}"')
    text = made_up.thick_lap(10.0, 0.2, "p.csv", '[analysis]\nadhesive_model = "plastic"\nmesh_density = 0.75', adhesive)
    return coupons_from_text(text, "yields", "yields.toml", tmp_path)


def test_forces_along_the_curve_of_a_layer_that_yields(tmp_path):
    """By finite elements within 2 % of the layer in simple shear: free ends, and stress across the width (von Mises)."""
    test = yielding_test(tmp_path)
    coupon = _Coupon.of(test, ["curve"])
    found = coupon.expected({}, QUICK, Kept())
    assert len(coupon.observations) == 8
    for one, force in zip(coupon.observations, found, strict=True):
        assert force == pytest.approx(250 * sheared(one.at / 0.2), rel=0.02)


@pytest.mark.slow
def test_yield_stress_and_rise_of_thick_adherends(tmp_path):
    """Pulls of the closed form: both figures lie in their intervals, widened for the layer's free ends.

    These are worth 2 % of the stress, so 2 % of the yield stress, and 2 % of 30 + 8 MPa, a tenth, of the rise of 8 MPa.
    """
    keys = ["adhesive.tensile_yield", "adhesive.hardening.rise"]
    found = identify([yielding_test(tmp_path, "25 MPa")], keys, routes=QUICK)
    for key, truth, ends in zip(keys, (30.0, 8.0), (1.02, 1.1), strict=True):
        low, high = found.estimate.interval(key)
        assert low / ends <= truth <= high * ends, (key, found.values)


# ---- what is asked ---------------------------------------------------------


@pytest.mark.parametrize(
    ("find", "bounds", "says"),
    [
        (["adhesive.shear_modulos"], {}, "adhesive.shear_modulos: is none of the figures that can be found; these are adhesive."),
        ([], {}, "nothing is sought: name a figure"),
        ([SHEAR], {SHEAR: (3.0, 1.0)}, "must be two values above 0, the lower one first, not 3 and 1"),
        ([SHEAR], {E: (1.0, 3.0)}, f"--bounds {E}: is not sought"),
        (["adhesive.tensile_yield"], {}, 'set analysis.adhesive_model = "plastic"'),
        (["adhesive.shear_yield"], {}, "the first test's file does not state it"),
        ([T], {}, "the tests state unlike ones"),
    ],
)
def test_what_is_refused(thick, find, bounds, says):
    tests = thick(600.0, [(10.0, 0.2), (10.0, 0.4)])
    with pytest.raises(JointError) as refused:
        identify(tests, find, bounds, QUICK)
    assert says in str(refused.value)


def test_a_pair_of_moduli_that_no_material_has_is_no_answer_and_no_end(thick):
    """Poisson's ratio of 1: the search has to turn back there, not to stop with what a joint file would be told."""
    coupon = _Coupon.of(thick(600.0, [(10.0, 0.2)])[0], [STIFFNESS])
    assert np.isnan(coupon.expected({E: 4000.0, SHEAR: 1000.0}, QUICK, Kept())).all()


def test_slopes_look_back_where_there_is_no_answer_ahead():
    # y = v, answered up to the very place where the search begins and ends.
    found = estimated(
        lambda v: np.full(3, v[SHEAR] if v[SHEAR] <= 650.0 else np.nan), [650.0] * 3, [0.1] * 3, [sought(SHEAR, 650.0)]
    )
    assert found.jacobian == pytest.approx(np.ones((3, 1)), rel=1e-6)
    assert not found.no_influence


def test_a_modulus_needs_a_curve(tmp_path):
    test = coupons_from_text(made_up.thick_lap(csv="", loads="loads = [5000]\n"), "t", "t.toml", tmp_path)
    with pytest.raises(JointError, match=r"adhesive.shear_modulus: is told by the curve's stiffness, and no test names a curve"):
        identify([test], [SHEAR])


def test_bounds_are_read_with_their_units():
    assert parsed_bounds(["adhesive.elastic_modulus=1 GPa:4000"]) == {E: (1000.0, 4000.0)}
    for text, says in (("x", "must be KEY=LOW:HIGH"), (f"{E}=1 kg:3", "must be a stress"), ("adhesive.x=1:2", "none of the fig")):
        with pytest.raises(JointError, match=says):
            parsed_bounds([text])


def test_figures_in_place_of_others_keep_poissons_ratio(thick):
    joint = thick(600.0, [(10.0, 0.2)])[0].joint
    for values, wanted in (
        ({SHEAR: 500.0}, (1350.0, 500.0, 0.35)),
        ({E: 1000.0}, (1000.0, 1000 / 2.7, 0.35)),
        ({E: 1300.0, SHEAR: 500.0}, (1300.0, 500.0, 0.3)),
    ):
        a = with_figures(joint, values).adhesive
        assert (a.elastic_modulus, a.shear_modulus, a.poisson_ratio) == pytest.approx(wanted, rel=1e-9)
