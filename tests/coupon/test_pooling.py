"""Groups compared and pooled: factors against the plain ones, coverage by simulation, tests against scipy."""

import numpy as np
import pytest
from scipy import stats

from fejoint.coupon.pooling import compared, pooled
from fejoint.coupon.tolerance import normal_factor
from fejoint.errors import JointError

RNG = np.random.default_rng(12)
ENVIRONMENTS = {"cold": RNG.normal(28, 1.4, 8), "room": RNG.normal(25, 1.4, 9), "hot and wet": RNG.normal(17, 1.4, 6)}


def test_one_group_has_the_plain_factor():
    x = ENVIRONMENTS["room"]
    for of in ("deviation", "variation"):
        found = pooled({"room": x}, of)
        (group,) = found.groups
        assert group.factors["B"] == pytest.approx(normal_factor(9), rel=1e-12)
        assert group.values["B"] == pytest.approx(x.mean() - normal_factor(9) * x.std(ddof=1), rel=1e-12)
        assert found.freedom == 8


def test_scatter_and_factors_are_those_of_the_formula():
    found = pooled(ENVIRONMENTS)
    lots = list(ENVIRONMENTS.values())
    squares = sum((len(x) - 1) * x.var(ddof=1) for x in lots)
    assert found.freedom == 20
    assert found.scatter == pytest.approx((squares / 20) ** 0.5, rel=1e-12)
    for group, x in zip(found.groups, lots, strict=True):
        root = len(x) ** 0.5
        k = stats.nct.ppf(0.95, 20, stats.norm.ppf(0.99) * root) / root
        assert group.values["A"] == pytest.approx(x.mean() - k * found.scatter, rel=1e-9)


@pytest.mark.parametrize("of", ["deviation", "variation"])
def test_bounds_lie_below_the_quantile_as_often_as_said(of):
    """700 times three environments, refused or not: 95 % within three standard errors (0.025); of coefficients of variation
    (approximate) 0.01 more."""
    rng, hits, count = np.random.default_rng(4), np.zeros(3), 0
    means = np.array([28.0, 22.0, 15.0])
    deviations = 0.06 * means if of == "variation" else np.full(3, 1.5)
    quantiles = means - stats.norm.ppf(0.9) * deviations
    for _ in range(700):
        lots = {str(i): rng.normal(m, s, n) for i, (m, s, n) in enumerate(zip(means, deviations, (5, 8, 6), strict=True))}
        found = pooled(lots, of, significance=1e-12)
        hits += [g.values["B"] <= q for g, q in zip(found.groups, quantiles, strict=True)]
        count += 1
    np.testing.assert_allclose(hits / count, 0.95, atol=0.025 + (0.01 if of == "variation" else 0.0))


def test_unlike_scatter_is_refused():
    rng = np.random.default_rng(1)
    lots = {"dry": rng.normal(25, 0.3, 12), "wet": rng.normal(15, 3.0, 12)}
    found = pooled(lots)
    assert found.groups == ()
    assert "do not scatter alike" in found.refused
    assert found.variances == pytest.approx(stats.levene(*lots.values(), center="median").pvalue, rel=1e-12)


def test_residuals_that_are_not_normal_are_refused():
    rng = np.random.default_rng(1)
    found = pooled({"dry": 20 + rng.exponential(2.0, 25), "wet": 15 + rng.exponential(2.0, 25)})
    assert found.groups == () and "not normal" in found.refused


def test_groups_that_scatter_by_their_means_are_pooled_by_variation_alone():
    """The same normal scores in every group, so that no chance is in it."""
    scores = stats.norm.ppf((np.arange(1, 15) - 0.5) / 14)
    lots = {str(m): m * (1 + 0.06 * scores) for m in (8.0, 20.0, 40.0)}
    assert pooled(lots).refused
    assert len(pooled(lots, "variation").groups) == 3


def test_comparison_is_scipys():
    found = compared(ENVIRONMENTS)
    assert not found.alike
    lots = list(ENVIRONMENTS.values())
    with pytest.warns(UserWarning, match=r".*"):
        level = stats.anderson_ksamp(lots).pvalue
    assert found.distributions == pytest.approx(level, rel=1e-12)
    values = np.linspace(20.0, 24.0, 24)
    assert compared({name: values[i::3] for i, name in enumerate("ABC")}).alike


@pytest.mark.parametrize(
    ("work", "says"),
    [
        (lambda: compared({"a": [1.0, 2, 3]}), "1 group given; comparing needs at least 2."),
        (
            lambda: compared({"a": [1.0, 2, 3], "b": [1.0, 2]}),
            "group b: 2 values given; comparing or pooling groups needs at least 3.",
        ),
        (lambda: compared({"a": [1.0] * 3, "b": [1.0] * 3}), "all values of all groups are equal"),
        (lambda: pooled({"a": [1.0] * 3, "b": [2.0] * 3}), "all values of every group are equal"),
        (lambda: pooled({"a": [-1.0, -2, -3], "b": [2.0, 3, 4]}, "variation"), "means are above 0"),
        (lambda: pooled({"a": [1.0, 2, 3]}, "range"), "must be one of deviation, variation"),
        (lambda: pooled({}), "0 groups given"),
    ],
)
def test_refusals(work, says):
    with pytest.raises(JointError, match=says):
        work()
