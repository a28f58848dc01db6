"""Cure against closed forms of the rate law, exponential integrals and scipy's integrators; strength and handling."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.special import exp1

from fejoint.errors import JointError
from fejoint.process.cure import Cure, cured
from fejoint.process.cure_strength import StrengthLaw, handling_time, required_strength
from fejoint.process.rate_law import YEAR, History, RateLaw, cure_curve

R = 8.314462618  # J/(mol K)
# The solver is asked for 1e-9; a hundred times that is far below any use.
TOLERANCE = 1e-7


def nth_order(theta, n):
    """1 - (1 - (1 - n) k t)^(1/(1 - n)), 1 - exp(-k t) for n = 1."""
    if n == 1:
        return 1 - np.exp(-theta)
    return 1 - np.maximum(1 - (1 - n) * theta, 0.0) ** (1 / (1 - n))


@pytest.mark.parametrize("n", [0.5, 1.0, 1.5, 2.0, 3.0])
def test_nth_order_at_a_steady_temperature(n):
    law = RateLaw(4e5, 55e3, n)
    k = 4e5 * math.exp(-55e3 / (R * 300.0))
    curve = cure_curve(law, History.of([(0, 300.0), (5 / k, 300.0)]))
    assert curve.degree == pytest.approx(nth_order(k * curve.time, n), abs=TOLERANCE)


def test_autocatalytic_law_is_the_logistic_curve():
    """d alpha/dt = k alpha (1 - alpha) from alpha0, in closed form."""
    k, start = 2e-3, 0.02
    curve = cure_curve(RateLaw(0.0, 0.0, 1.0, k, 0.0, 1.0), History.of([(0, 300.0), (6000.0, 300.0)]), start)
    assert curve.degree == pytest.approx(1 / (1 + (1 / start - 1) * np.exp(-k * curve.time)), abs=TOLERANCE)


def test_both_parts_in_closed_form():
    """d alpha/dt = (k1 + k2 alpha)(1 - alpha), from 0: (e - 1) / (e + k2/k1), e = exp((k1 + k2) t)."""
    k1, k2 = 3e-4, 4e-3
    curve = cure_curve(RateLaw(k1, 0.0, 1.0, k2, 0.0, 1.0), History.of([(0, 300.0), (3000.0, 300.0)]))
    e = np.exp((k1 + k2) * curve.time)
    assert curve.degree == pytest.approx((e - 1) / (e + k2 / k1), abs=TOLERANCE)


def test_first_order_along_a_ramp_is_an_exponential_integral():
    """Int exp(-E/RT) dT = T exp(-x) - (E/R) E1(x), x = E/RT; closed form, no integrator."""
    a, energy, pace, first = 4e5, 55e3, 0.02, 290.0

    def passed(t):
        x = energy / (R * t)
        return t * np.exp(-x) - energy / R * exp1(x)

    curve = cure_curve(RateLaw(a, energy), History.of([(0, first), (5000.0, first + pace * 5000.0)]))
    theta = a / pace * (passed(first + pace * curve.time) - passed(first))
    assert curve.degree == pytest.approx(1 - np.exp(-theta), abs=TOLERANCE)
    assert curve.end_degree > 0.9  # the ramp passes through the whole cure


@pytest.mark.parametrize("start", [0.0, 0.05])
def test_autocatalytic_law_along_a_broken_history_against_solve_ivp(start):
    """The law written anew, an implicit method, one call a piece."""
    points = [(0.0, 291.0), (3600.0, 293.0), (5400.0, 333.0), (9000.0, 333.0), (12600.0, 295.0)]
    a1, e1, a2, e2, m, n, most = 2e4, 52e3, 6e5, 58e3, 0.8, 1.4, 0.93
    law = RateLaw(a1, e1, n, a2, e2, m, most)
    curve = cure_curve(law, History.of(points), start)

    def rate(t, alpha):
        for (t0, k0), (t1, k1) in pairwise(points):
            if t0 <= t <= t1:
                kelvin = k0 + (k1 - k0) * (t - t0) / (t1 - t0)
                break
        ks = a1 * math.exp(-e1 / (R * kelvin)), a2 * math.exp(-e2 / (R * kelvin))
        alpha = np.clip(alpha, 0.0, most)
        return (ks[0] + ks[1] * alpha**m) * (most - alpha) ** n

    alpha = start
    for (begin, _), (end, _) in pairwise(points):
        solved = solve_ivp(rate, (begin, end), [alpha], method="Radau", rtol=1e-9, atol=1e-12)
        alpha = float(solved.y[0, -1])
        assert curve.at(end) == pytest.approx(alpha, abs=TOLERANCE)
    assert np.all(np.diff(curve.degree) >= 0) and curve.degree.max() <= most


@pytest.mark.parametrize("degree", [0.1, 0.55, 0.9])
def test_time_to_a_degree_is_where_the_curve_has_it(degree):
    """For one energy theta = G(alpha) at any temperature: the time of a degree by quadrature, behind the history too."""
    law = RateLaw(4e5, 55e3, 1.5)
    curve = cure_curve(law, History.of([(0, 290.0), (2000.0, 330.0), (4000.0, 300.0)]))
    found = curve.time_at(degree)
    theta = ((1 - degree) ** -0.5 - 1) / 0.5

    def k(t):
        return 4e5 * math.exp(-55e3 / (R * np.interp(t, [0, 2000, 4000], [290, 330, 300])))

    corners = [t for t in (0.0, 2000.0, 4000.0) if t < found] + [found]
    passed = sum(quad(k, a, b, epsabs=0, epsrel=1e-11)[0] for a, b in pairwise(corners))
    assert passed == pytest.approx(theta, rel=1e-6)
    assert curve.at(found) == pytest.approx(degree, abs=1e-8)


def test_what_is_never_reached_is_none():
    law = RateLaw(4e5, 55e3, 1.0, largest=0.8)
    curve = cure_curve(law, History.of([(0, 300.0), (3600.0, 300.0)]))
    assert curve.time_at(0.81) is None
    assert curve.time_at(0.0) == 0.0
    assert curve.at(3600.0 + YEAR) <= 0.8
    with pytest.raises(JointError, match="a year"):
        curve.at(3600.0 + 2 * YEAR)


def test_strength_rises_from_the_gel():
    law = StrengthLaw(np.array([0.6, 1.0]), np.array([0.0, 20.0]), 2.0)
    assert law.at([0.2, 0.6, 0.8, 1.0]) == pytest.approx([0.0, 0.0, 5.0, 20.0])
    assert law.degree(5.0) == pytest.approx(0.8)
    assert law.degree(20.1) is None
    table = StrengthLaw(np.array([0.5, 0.7, 0.7 + 0.2]), np.array([1.0, 1.0, 13.0]))
    assert table.at([0.49, 0.5, 0.6, 0.8, 0.95]) == pytest.approx([0.0, 1.0, 1.0, 7.0, 13.0])
    assert table.degree(0.5) == table.degree(1.0) == 0.5
    assert table.degree(7.0) == pytest.approx(0.8)


def test_handling_time_in_closed_form():
    """First order, straight strength: alpha = gel + (1 - gel) F f / (A s), t = -ln(1 - alpha) / k."""
    k = 1e-4
    curve = cure_curve(RateLaw(k, 0.0), History.of([(0, 296.0), (1e5, 296.0)]))
    strength = StrengthLaw(np.array([0.5, 1.0]), np.array([0.0, 16.0]))
    assert required_strength(300.0, 200.0, 3.0) == pytest.approx(2.0)
    alpha = 0.5 + 0.5 * 200 * 3 / (300 * 16)
    assert handling_time(curve, strength, 300.0, 200.0, 3.0) == pytest.approx(-math.log(1 - alpha) / k, rel=1e-7)
    assert handling_time(curve, strength, 300.0, 2000.0, 3.0) is None  # more than full strength
    with pytest.raises(JointError, match="area"):
        required_strength(0.0, 200.0, 3.0)


AT_23 = [{"time": 0, "temperature": "23 degC"}, {"time": "1 d", "temperature": "23 degC"}]


def test_a_cure_from_its_keys():
    """20 MPa, n = 1, k of 40 kJ/mol at 296.15 K; half an hour short of anything else."""
    k = 1e3 * math.exp(-40e3 / (R * 296.15))
    stated = Cure(temperatures=AT_23, rate_factor=1e3, activation_energy="40 kJ/mol", full_strength="20 MPa", needed_degree=0.99)
    found = cured(stated)
    alpha = 1 - math.exp(-k * 86400)
    assert found.end_degree == pytest.approx(alpha, abs=TOLERANCE)
    assert found.end_strength == pytest.approx(20 * (alpha - 0.6) / 0.4, abs=1e-5)
    assert found.gel_time == pytest.approx(-math.log(0.4) / k, rel=1e-6)
    assert found.needed_time == pytest.approx(-math.log(0.01) / k, rel=1e-6)
    assert any("gel_degree 0.6" in note for note in found.notes)  # what was assumed is said
    with pytest.raises(JointError, match="handling_area"):
        cured(stated.replace(handling_load=100))


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([(0, 300), (-5, 300)], "rise"),
        ([(0, 300), (5, 300), (5, 310)], "rise"),
        ([(1, 300), (5, 300)], "begin at 0"),
        ([(0, 300)], "two points"),
        ([(0, 300), (5, -3)], "above 0 K"),
    ],
)
def test_histories_that_are_none(points, says):
    with pytest.raises(JointError, match=says):
        History.of(points)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: RateLaw(0.0, 1e4), "factor_1"),
        (lambda: RateLaw(1.0, -1.0), "energy_1"),
        (lambda: RateLaw(1.0, 1.0, 0.0), "order"),
        (lambda: RateLaw(1.0, 1.0, largest=1.2), "largest"),
        (lambda: cure_curve(RateLaw(0.0, 0.0, 1.0, 1.0), History.of([(0, 300), (1, 300)])), "never begins"),
        (lambda: cure_curve(RateLaw(1.0, 0.0), History.of([(0, 300), (1, 300)]), 1.0), "start"),
    ],
)
def test_laws_that_are_none(make, says):
    with pytest.raises(JointError, match=says):
        make()
