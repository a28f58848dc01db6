"""The law of cure fitted to points: figures put in come out, intervals as scipy's, what points do not tell is said."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import curve_fit
from scipy.stats import t as student

from fejoint.errors import JointError
from fejoint.process.cure import Cure, cured
from fejoint.process.cure_fit import CurePoint, fitted_law, isothermal_degree

R = 8.314462618
HOUR = 3600.0


def degrees_of(law, times, kelvin):
    """Solve the law written anew: (k1 + k2 a^m)(1 - a)^n."""
    a1, e1, n, a2, e2, m = law
    k1, k2 = a1 * math.exp(-e1 / (R * kelvin)), a2 * math.exp(-e2 / (R * kelvin))
    solved = solve_ivp(
        lambda _, a: (k1 + k2 * np.clip(a, 0, 1) ** m) * (1 - np.clip(a, 0, 1)) ** n,
        (0, max(times)), [0.0], method="LSODA", t_eval=times, rtol=1e-10, atol=1e-13,
    )  # fmt: skip
    return solved.y[0]


def points_of(law, kelvins, number=6, noise=0.0):
    rng = np.random.default_rng(11)
    found = []
    for kelvin in kelvins:
        reach = 20 * HOUR * math.exp(58e3 / R * (1 / kelvin - 1 / 296.0))
        times = np.geomspace(0.05, 1.5, number) * reach
        degrees = degrees_of(law, times, kelvin) + noise * rng.normal(size=number)
        found += [CurePoint(float(t), kelvin, float(np.clip(a, 0, 1))) for t, a in zip(times, degrees, strict=True)]
    return found


NTH = (1.2e6, 58e3, 1.6, 0.0, 0.0, 1.0)
SLOW_START = (4e4, 58e3, 1.3, 1.5e6, 58e3, 0.9)


def test_nth_order_figures_come_out():
    """Data without scatter, solved at 1e-10: what a search at 1e-14 leaves is far below 1e-4."""
    found = fitted_law(points_of(NTH, (296.0, 313.0, 333.0)))
    law = found.law
    assert (law.energy_1, law.order) == pytest.approx((58e3, 1.6), rel=1e-4)
    assert law.factor_1 == pytest.approx(1.2e6, rel=1e-3)
    assert found.scatter < 1e-6 and not found.warnings


def test_autocatalytic_figures_come_out():
    """As above; the quadrature of the fit has 4,000 points, 1e-5 of a degree of cure, which a weak figure magnifies: 1 %."""
    found = fitted_law(points_of(SLOW_START, (296.0, 313.0, 333.0)), "autocatalytic")
    law = found.law
    assert (law.energy_1, law.energy_2, law.order, law.power) == pytest.approx((58e3, 58e3, 1.3, 0.9), rel=1e-2)
    assert (law.factor_1, law.factor_2) == pytest.approx((4e4, 1.5e6), rel=2e-2)
    assert found.scatter < 1e-5 and not found.warnings


def test_intervals_are_those_of_an_independent_fit():
    """curve_fit on A and E themselves (no reference temperature), t-quantile by scipy: 2 % for its numerical derivatives."""
    points = points_of(NTH, (296.0, 313.0, 333.0), noise=0.01)
    found = fitted_law(points)
    time, kelvin, degree = np.array([[p.time, p.temperature, p.degree] for p in points]).T

    def model(_, ln_a, energy, n):
        kt = np.exp(ln_a - 1e3 * energy / (R * kelvin)) * time
        return 1 - (1 + (n - 1) * kt) ** (-1 / (n - 1))

    x, covariance = curve_fit(model, time, degree, p0=[14.0, 58.0, 1.6], ftol=1e-13, xtol=1e-13)
    half = student.ppf(0.975, len(points) - 3) * np.sqrt(np.diag(covariance))
    energy, order, factor = (found.figures[key] for key in ("activation_energy", "order", "rate_factor"))
    assert (energy.value, order.value) == pytest.approx((1e3 * x[1], x[2]), rel=1e-4)
    assert energy.high - energy.value == pytest.approx(1e3 * half[1], rel=0.02)
    assert order.value - order.low == pytest.approx(half[2], rel=0.02)
    assert math.log(factor.high / factor.value) == pytest.approx(half[0], rel=0.02)
    assert energy.low < 58e3 < energy.high and order.low < 1.6 < order.high


@pytest.mark.parametrize(("n", "share", "m"), [(1.4, 0.01, 0.6), (1.0, 1e-4, 1.5), (0.7, 0.5, 1.0)])
def test_quadrature_is_the_differential_equation(n, share, m):
    """4,000 points on a logarithmic grid: trapezoids err by (0.006)^2 / 12 a step; 2e-5."""
    theta = np.linspace(0.0, 12.0, 40)
    solved = degrees_of((share, 0.0, n, 1.0, 0.0, m), theta[1:], 300.0)
    assert isothermal_degree(theta, n, 1.0, share, m)[1:] == pytest.approx(solved, abs=2e-5)


def test_the_largest_degree_scales_the_law():
    """d a/dt = k (A - a)^n: with a = A b it is d b/dt = k A^(n - 1) (1 - b)^n."""
    theta = np.linspace(0, 5, 20)
    for n in (1.0, 1.7):
        assert isothermal_degree(theta, n, 0.9) == pytest.approx(0.9 * isothermal_degree(theta * 0.9 ** (n - 1), n), rel=1e-12)


def test_one_temperature_does_not_tell_the_activation_energy():
    found = fitted_law(points_of(NTH, (313.0,)))
    assert found.at_temperature == pytest.approx(313.0)
    assert "activation_energy" not in found.figures
    assert any("cannot tell the rate factor and the activation energy apart" in text for text in found.warnings)
    given = fitted_law(points_of(NTH, (313.0,)), activation_energy=58e3)
    assert given.at_temperature is None and given.law.factor_1 == pytest.approx(1.2e6, rel=1e-3)
    assert any("hangs on the activation_energy given" in text for text in given.warnings)


def test_near_temperatures_hardly_tell_it():
    found = fitted_law(points_of(NTH, (311.5, 313.5), noise=0.03))
    assert any("hardly tell" in text for text in found.warnings)


def test_a_law_with_too_many_figures_is_said_to_be_loose():
    """Points of an n-th order law with scatter do not tell how an autocatalytic one begins."""
    found = fitted_law(points_of(NTH, (296.0, 313.0, 333.0), noise=0.01), "autocatalytic")
    assert any("share of the start" in text or "autocatalytic power" in text or "at the limit" in text for text in found.warnings)


def test_as_many_figures_as_points_leave_nothing_over():
    found = fitted_law(points_of(NTH, (296.0, 313.0, 333.0), number=1))
    assert found.figures["order"].low is None
    assert any("nothing is left over" in text for text in found.warnings)
    with pytest.raises(JointError, match="fewer than the 3 figures"):
        fitted_law(points_of(NTH, (296.0, 313.0), number=1))


def in_file(points):
    return [{"time": p.time, "temperature": p.temperature, "degree": p.degree} for p in points]


def history(kelvin):
    return [{"time": 0, "temperature": kelvin}, {"time": "1 d", "temperature": kelvin}]


def test_a_law_of_one_temperature_is_not_used_at_another():
    points = in_file(points_of(NTH, (313.0,)))
    assert cured(Cure(temperatures=history(313.0), points=points)).end_degree > 0.5
    with pytest.raises(JointError, match="17 degrees off"):
        cured(Cure(temperatures=history(296.0), points=points))


def test_outside_the_points_the_law_is_a_guess():
    found = cured(Cure(temperatures=history(353.0), points=in_file(points_of(NTH, (296.0, 313.0)))))
    assert any("the law is a guess" in text for text in found.warnings)


def test_strengths_stand_for_degrees():
    """Strengths made of degrees by 18 (a - 0.5) / 0.5 are turned back: the same law to the last digits."""
    points = [p for p in points_of(NTH, (296.0, 313.0)) if p.degree > 0.52]
    strengths = [{"time": p.time, "temperature": p.temperature, "strength": 36 * (p.degree - 0.5)} for p in points]
    more = {"temperatures": history(296.0), "full_strength": 18.0, "gel_degree": 0.5}
    one, two = cured(Cure(points=in_file(points), **more)), cured(Cure(points=strengths, **more))
    assert one.law.energy_1 == pytest.approx(two.law.energy_1, rel=1e-6)
    assert one.end_degree == pytest.approx(two.end_degree, rel=1e-8)
