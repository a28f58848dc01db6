"""Basis values: factors against the published table and the exact noncentral t, coverage by simulation."""

import math

import numpy as np
import pytest
from scipy import stats

from fejoint.coupon.basis import BASES, NOT_AN_ALLOWABLE, basis_values
from fejoint.coupon.distributions import fitted
from fejoint.coupon.tolerance import normal_factor, number_by_rank, rank, two_value_factor, weibull_factor
from fejoint.errors import JointError

# CMH-17-1G, factors of normal distributions, as shared/checks.md has them (read); the table is rounded up.
TABLE_B = {
    2: 20.581, 3: 6.157, 4: 4.163, 5: 3.408, 6: 3.007, 8: 2.583, 10: 2.355,
    15: 2.069, 18: 1.974, 20: 1.927, 25: 1.839, 30: 1.778, 50: 1.646,
}  # fmt: skip
TABLE_A = {5: 5.741, 10: 3.981, 18: 3.370, 30: 3.064}
EXACT_B = {5: 3.40663, 10: 2.35464, 18: 1.97380, 30: 1.77733}  # shared/checks.md, noncentral t

# Hanson-Koopmans factors of B- and A-basis values as CMH-17 tables them, from memory: n, rank, factor.
TWO_VALUES_B = {2: (2, 35.177), 3: (3, 7.859), 4: (4, 4.505), 5: (4, 4.101), 6: (5, 3.064), 8: (6, 2.382), 10: (6, 2.137)}
TWO_VALUES_A = {2: 80.0038, 3: 16.9122}


# ---- normal --------------------------------------------------------------------


def test_factors_are_the_published_ones():
    for basis, table in (("B", TABLE_B), ("A", TABLE_A)):
        for n, k in table.items():
            assert normal_factor(n, *BASES[basis]) == pytest.approx(k, abs=0.002), (basis, n)


def test_factors_are_the_exact_ones():
    for n, k in EXACT_B.items():
        assert normal_factor(n) == pytest.approx(k, abs=1e-5)


@pytest.mark.parametrize("n", [3, 8, 25])
def test_factors_solve_the_integral(n):
    """P(mean - k s < quantile) over the chi distribution of s, by adaptive quadrature: 1e-8."""
    from scipy.integrate import quad

    for share, confidence in BASES.values():
        k, z = normal_factor(n, share, confidence), stats.norm.ppf(share)

        def below(s, k=k, z=z):
            return stats.norm.cdf((k * s - z) * math.sqrt(n)) * stats.chi.pdf(s * math.sqrt(n - 1), n - 1) * math.sqrt(n - 1)

        assert quad(below, 0, 8, epsabs=1e-12, limit=200)[0] == pytest.approx(confidence, abs=1e-8)


def test_values_are_mean_less_k_deviations():
    x = np.array([22.4, 23.1, 21.7, 24.0, 22.9, 20.8, 23.6, 22.2, 23.0, 21.9])
    found = basis_values(x)
    assert found.bound("B", "normal").value == pytest.approx(x.mean() - 2.35464 * x.std(ddof=1), abs=1e-4)
    assert found.bound("A", "normal").value == pytest.approx(x.mean() - 3.981 * x.std(ddof=1), abs=0.002 * x.std(ddof=1))
    y = np.log(x)
    assert found.bound("B", "lognormal").value == pytest.approx(math.exp(y.mean() - 2.35464 * y.std(ddof=1)), rel=1e-5)


# ---- Weibull -------------------------------------------------------------------


def conditional(a, n, log_density, quantile, confidence):
    """Return k so that place - k spread is the bound, for any distribution of a place and a spread, by brute force.

    What data say of z1 = (fitted place - place) / fitted spread and z2 = fitted spread / spread has the density
    z2^(n-1) prod f(z2 (a_i + z1)); the quantile exceeds the bound where z1 - quantile / z2 <= k. The grid is of v = z1 z2
    and log z2.
    """
    v, z2 = np.linspace(-9, 6, 601), np.exp(np.linspace(-4.5, 2.0, 521))
    log_p = (n - 1) * np.log(z2)[:, None] + sum(log_density(z2[:, None] * one + v[None, :]) for one in a)
    p = np.exp(log_p - log_p.max())
    needed = ((v[None, :] - quantile) / z2[:, None]).ravel()
    order = np.argsort(needed)
    share = np.cumsum(p.ravel()[order])
    return float(np.interp(confidence, share / share[-1], needed[order]))


def least_extreme(w):
    return w - np.exp(np.minimum(w, 700))


def test_the_brute_force_is_right_for_normal_values():
    """The same sum over a grid with a normal density must give the noncentral t: 2e-3 is the grid's."""
    x = np.array([0.3, -1.2, 0.8, 1.9, -0.4, 0.1])
    a = (x - x.mean()) / x.std(ddof=1)
    k = conditional(a, 6, lambda w: -w * w / 2, stats.norm.ppf(0.1), 0.95)
    assert k == pytest.approx(normal_factor(6), abs=2e-3 * normal_factor(6))


@pytest.mark.parametrize("share", [0.90, 0.99])
def test_weibull_factor_is_the_brute_force_one(share):
    """2e-3, the grid's error as seen with the normal distribution."""
    for values in ([21.0, 23.5, 24.2, 19.0, 22.8], [11.0, 11.9, 12.4, 10.1, 12.2, 12.6, 9.2, 11.6, 12.0]):
        fit = fitted(values, "weibull")
        brute = conditional(fit.standard(values), len(values), least_extreme, math.log(-math.log(share)), 0.95)
        assert weibull_factor(np.array(values), fit, share) == pytest.approx(brute, rel=2e-3)


@pytest.mark.parametrize("n", [4, pytest.param(12, marks=pytest.mark.slow)])
def test_weibull_bounds_lie_below_the_quantile_as_often_as_said(n):
    """95 % within three standard errors of 1,000 lots (0.021)."""
    rng, hits = np.random.default_rng(n), {"A": 0, "B": 0}
    for _ in range(1000):
        x = 20 * rng.weibull(9.0, n)
        fit = fitted(x, "weibull")
        for basis, (share, confidence) in BASES.items():
            bound = math.exp(fit.place - weibull_factor(x, fit, share, confidence) * fit.spread)
            hits[basis] += bound <= 20 * (-math.log(share)) ** (1 / 9)
    assert hits["A"] / 1000 == pytest.approx(0.95, abs=0.021)
    assert hits["B"] / 1000 == pytest.approx(0.95, abs=0.021)


def test_mean_weibull_factor_is_the_handbooks():
    """CMH-17's factor of all lots of n together, V_B = 3.803 + exp(1.79 - 0.516 ln n + 5.1 / n), from memory: the mean of ours,
    which go by the lot, within 2 % of 300 lots of 20."""
    rng, n = np.random.default_rng(0), 20
    mine = [weibull_factor(x, fitted(x, "weibull")) for x in rng.weibull(5.0, (300, n))]
    v = 3.803 + math.exp(1.79 - 0.516 * math.log(n) + 5.1 / n)
    assert np.mean(mine) == pytest.approx(-math.log(-math.log(0.9)) + v / math.sqrt(n), rel=0.02)


# ---- non-parametric --------------------------------------------------------------


@pytest.mark.parametrize("basis", ["A", "B"])
def test_ranks_by_the_beta_distribution(basis):
    """The r-th smallest of n even values follows a beta distribution (r, n + 1 - r): another way to the same rank."""
    share, confidence = BASES[basis]
    for n in (28, 29, 45, 46, 93, 298, 299, 300, 700):
        enough = [r for r in range(1, n) if stats.beta.cdf(1 - share, r, n + 1 - r) >= confidence]
        assert rank(n, share, confidence) == (enough[-1] if enough else 0), n
    assert number_by_rank(share, confidence) == {"A": 299, "B": 29}[basis]


def test_two_value_factors_are_the_tabled_ones():
    for n, (r, k) in TWO_VALUES_B.items():
        found = two_value_factor(n)
        assert found[0] == r
        assert found[1] == pytest.approx(k, abs=0.001)
    for n, k in TWO_VALUES_A.items():
        assert two_value_factor(n, 0.99)[1] == pytest.approx(k, abs=0.0001 * k)


@pytest.mark.parametrize("n", [3, 8, 20])
@pytest.mark.parametrize("kind", ["lognormal", "weibull", "normal", "logistic", "worst"])
def test_bounds_by_two_values_are_safe(n, kind):
    """40,000 lots; at least 95 % less three standard errors (0.0033). The worst case, log x = log of an even value, is exact."""
    rng, size = np.random.default_rng(n), (40_000, n)
    log_x, quantile = {
        "lognormal": (lambda: 0.1 * rng.standard_normal(size), lambda p: 0.1 * stats.norm.ppf(p)),
        "weibull": (lambda: np.log(rng.weibull(8, size)), lambda p: np.log(-np.log1p(-p)) / 8),
        "normal": (lambda: np.log(20 + 2 * rng.standard_normal(size)), lambda p: np.log(20 + 2 * stats.norm.ppf(p))),
        "logistic": (lambda: 0.1 * rng.logistic(size=size), lambda p: 0.1 * np.log(p / (1 - p))),
        "worst": (lambda: np.log(rng.random(size)), np.log),
    }[kind]
    y = np.sort(log_x(), axis=1)
    for share, confidence in BASES.values():
        r, k = two_value_factor(n, share, confidence)
        hits = np.mean(y[:, r - 1] + k * (y[:, 0] - y[:, r - 1]) <= quantile(1 - share))
        assert hits > confidence - 0.0033
        if kind == "worst":
            assert hits == pytest.approx(confidence, abs=0.0033)


# ---- which to lean on ------------------------------------------------------------


def test_the_lowest_of_those_that_agree_is_recommended():
    x = np.random.default_rng(2).normal(22.0, 1.0, 24)
    found = basis_values(x)
    assert not any(a.rejected for a in found.agreements)
    for basis in BASES:
        assert found.bound(basis).value == min(found.bound(basis, m).value for m in ("normal", "lognormal", "weibull"))
    assert "speak against none" in found.reason
    assert found.cautions == (NOT_AN_ALLOWABLE,)


def test_without_a_distribution_ranks_are_taken():
    rng = np.random.default_rng(0)
    two_lots = np.concatenate([rng.normal(10.0, 0.2, 25), rng.normal(20.0, 0.2, 25)])
    found = basis_values(two_lots)
    assert all(a.rejected for a in found.agreements)
    assert found.recommended == "by rank"
    assert found.bound("B").value == np.sort(two_lots)[1]  # 46 values and more: the second smallest
    assert found.bound("A").method == "by two values"
    few = basis_values(two_lots[::4])
    assert few.recommended == "by two values"
    rounded = basis_values([20.0] * 7 + [24.0])
    assert "the 6 lowest values are equal" in rounded.bound("B", "by two values").reason
    assert rounded.bound("B").value is None
    below = basis_values(two_lots[::4] - 12)
    assert below.recommended == ""
    assert below.bound("B").value is None and "a value by rank needs 29 values" in below.bound("B").reason


def test_too_few_are_told_how_many_are_needed():
    found = basis_values([21.0, 22.0, 23.5])
    assert found.bound("B", "by rank").needed == 29
    assert found.bound("A", "by rank").needed == 299
    assert found.bound("A", "by rank").value is None
    assert found.agreements == ()
    assert "too few values to tell distributions apart" in found.reason
    assert any("18 or more" in text for text in found.cautions)
    assert any("not above 0" in text for text in basis_values([10.0, 25.0, 39.0]).cautions)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ([21.0, 22.0], "2 values given; a basis value needs at least 3."),
        ([21.0] * 8, "all 8 are equal"),
        ([21.0, 22.0, math.inf], "must be a finite number"),
    ],
)
def test_refusals(values, says):
    with pytest.raises(JointError, match=says):
        basis_values(values)


def test_scale_changes_nothing_but_the_unit():
    x = np.random.default_rng(5).normal(22.0, 1.5, 9)
    mine, other = basis_values(x), basis_values(145.0377 * x)
    for bound, same in zip(mine.bounds, other.bounds, strict=True):
        if bound.value is not None:
            assert same.value == pytest.approx(145.0377 * bound.value, rel=1e-9)
    assert mine.recommended == other.recommended


@pytest.mark.slow
@pytest.mark.parametrize("n", [6, 12, 20])
@pytest.mark.parametrize("kind", ["normal", "lognormal", "weibull"])
def test_the_recommended_value_is_as_safe_as_it_says(n, kind):
    """Chosen after looking at the values, it must still hold: 95 %, less 1.5 % for the twentieth of lots whose own distribution
    is rejected by chance, less three standard errors of 1,000 lots (0.021)."""
    rng, hits = np.random.default_rng(n), {"A": 0, "B": 0}
    make, true = {
        "normal": (lambda: rng.normal(20, 2, n), lambda p: stats.norm.ppf(p, 20, 2)),
        "lognormal": (lambda: 20 * np.exp(0.15 * rng.standard_normal(n)), lambda p: 20 * np.exp(0.15 * stats.norm.ppf(p))),
        "weibull": (lambda: 20 * rng.weibull(10, n), lambda p: 20 * (-np.log1p(-p)) ** 0.1),
    }[kind]
    for _ in range(1000):
        found = basis_values(make())
        for basis, (share, _) in BASES.items():
            hits[basis] += found.bound(basis).value <= true(1 - share)
    assert min(hits.values()) / 1000 > 0.95 - 0.015 - 0.021
