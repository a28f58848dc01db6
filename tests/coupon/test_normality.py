"""Distributions fitted and tested: against scipy, and the levels against simulation."""

import warnings

import numpy as np
import pytest
from scipy import stats

from fejoint.coupon.distributions import DISTRIBUTIONS, fitted
from fejoint.coupon.normality import agreement, distance, observed_level, shapiro_wilk
from fejoint.errors import JointError

RNG = np.random.default_rng(7)
LOTS = [20 + 2 * RNG.standard_normal(9), 25 * RNG.weibull(12, 25), np.exp(3 + 0.3 * RNG.standard_normal(14))]


def scipys(name, x):
    """Return scipy's distribution of the same name with its own fit."""
    if name == "normal":
        return stats.norm(np.mean(x), np.std(x, ddof=1))
    if name == "lognormal":
        y = np.log(x)
        return stats.lognorm(np.std(y, ddof=1), scale=np.exp(np.mean(y)))
    shape, _, scale = stats.weibull_min.fit(x, floc=0)
    return stats.weibull_min(shape, scale=scale)


@pytest.mark.parametrize("name", DISTRIBUTIONS)
@pytest.mark.parametrize("lot", range(3))
def test_fits_are_scipys(name, lot):
    """Shares, quantiles, densities: 1e-4, which is what scipy's search for Weibull's shape reaches."""
    x = LOTS[lot]
    mine, other = fitted(x, name), scipys(name, x)
    at = np.linspace(0.8 * x.min(), 1.2 * x.max(), 7)
    np.testing.assert_allclose(mine.share_below(at), other.cdf(at), rtol=2e-3, atol=1e-5)
    np.testing.assert_allclose(mine.density(at), other.pdf(at), rtol=2e-3, atol=1e-5)
    np.testing.assert_allclose(mine.quantile([0.01, 0.1, 0.5]), other.ppf([0.01, 0.1, 0.5]), rtol=2e-4)


@pytest.mark.parametrize("lot", range(3))
@pytest.mark.parametrize("name", DISTRIBUTIONS)
def test_distances_are_scipys(name, lot):
    """scipy.stats.anderson: normal of x or log x; Weibull as the least extreme value of log x, by likelihood. 1e-6."""
    x = LOTS[lot]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # on what its levels will be called
        other = stats.anderson(x if name == "normal" else np.log(x), "gumbel_l" if name == "weibull" else "norm").statistic
    assert agreement(x, name).distance == pytest.approx(other, rel=1e-5)


@pytest.mark.parametrize("n", [5, 10, 30])
@pytest.mark.parametrize("name", ["normal", "weibull"])
def test_levels_are_as_rare_as_they_say(n, name):
    """The formulas are from memory: of 16,000 lots (Weibull: 2,000) of the very distribution a share p has a level below p.

    Tolerance: a tenth of p for what the formulas miss (said in the docstring), and three standard errors.
    """
    rng, lots = np.random.default_rng(n), 16_000
    levels = np.empty(lots)
    if name == "normal":
        x = rng.standard_normal((lots, n))
        shares = stats.norm.cdf((x - x.mean(1, keepdims=True)) / x.std(1, ddof=1, keepdims=True))
    else:
        shares = np.stack([fitted(row, name).share_below(row) for row in rng.weibull(1.0, (lots // 8, n))])
        levels = levels[: lots // 8]
    for i, row in enumerate(shares):
        levels[i] = observed_level(distance(row), n, name)[1]
    for p in (0.05, 0.10):
        assert np.mean(levels < p) == pytest.approx(p, abs=0.12 * p + 3 * (p / len(levels)) ** 0.5)


def test_levels_fall_with_the_distance_and_stay_shares():
    for name in DISTRIBUTIONS:
        levels = [observed_level(far, 12, name)[1] for far in np.geomspace(0.02, 400.0, 300)]
        assert all(0 <= level <= 1 for level in levels)
        assert np.all(np.diff(levels) <= 0.005)  # the four pieces meet within half a percent


def test_what_is_far_from_normal_is_rejected():
    x = np.random.default_rng(3).exponential(size=40)
    assert agreement(x, "normal").rejected
    assert not agreement(x, "weibull").rejected
    assert shapiro_wilk(x).level < 0.001


def test_shapiro_wilk_is_scipys():
    for x in LOTS:
        found, other = shapiro_wilk(x), stats.shapiro(x)
        assert found.statistic == pytest.approx(other.statistic, rel=1e-9)
        assert found.level == pytest.approx(other.pvalue, rel=1e-6)


@pytest.mark.parametrize(
    ("work", "says"),
    [
        (lambda: agreement([1.0, 2, 3, 4], "normal"), "4 values given; Anderson-Darling's test needs at least 5."),
        (lambda: agreement([1.0, 2, 3, 4, -1], "weibull"), "needs values above 0"),
        (lambda: agreement([2.0] * 6, "normal"), "all 6 are equal"),
        (lambda: agreement([1.0, 2, 3, 4, 5], "gamma"), "must be one of normal, lognormal, weibull"),
        (lambda: shapiro_wilk([1.0, 2.0]), "2 values given; Shapiro-Wilk's test needs at least 3."),
        (lambda: shapiro_wilk([2.0] * 5), "all 5 are equal"),
    ],
)
def test_refusals(work, says):
    with pytest.raises(JointError, match=says):
        work()
