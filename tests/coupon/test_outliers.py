"""Outliers: critical residuals against simulation and tables from memory; which values are found."""

import numpy as np
import pytest

from fejoint.coupon.outliers import critical_residual, outliers
from fejoint.errors import JointError

# Rosner's 54 values (Technometrics 25, 1983), as handbooks of statistics print them: from memory. Their residuals below
# are from memory too, and only the right values give them.
ROSNER = (
    "-0.25 0.68 0.94 1.15 1.20 1.26 1.26 1.34 1.38 1.43 1.49 1.49 1.55 1.56 1.58 1.65 1.69 1.70 1.76 1.77 1.81 1.91 1.94 1.96 "
    "1.99 2.06 2.09 2.10 2.14 2.15 2.23 2.24 2.26 2.35 2.37 2.40 2.47 2.54 2.62 2.64 2.90 2.92 2.92 2.93 3.21 3.26 3.30 3.59 "
    "3.68 4.30 4.64 5.34 5.42 6.01"
)


@pytest.mark.parametrize(
    ("n", "side", "table"),
    [(3, "both", 1.155), (5, "both", 1.715), (10, "both", 2.290), (20, "both", 2.709), (10, "high", 2.176), (20, "low", 2.557)],
)
def test_critical_residuals_are_the_tables(n, side, table):
    """Grubbs' tables at 5 %, from memory; they have three digits."""
    assert critical_residual(n, 0.05, side) == pytest.approx(table, abs=0.001)


@pytest.mark.parametrize(("n", "side"), [(5, "both"), (12, "both"), (12, "low"), (30, "high")])
def test_normal_values_have_an_outlier_as_rarely_as_said(n, side):
    """100,000 lots: 5 % within four standard errors of 0.0007, and Bonferroni's safe side is of no account here."""
    x = np.random.default_rng(1).standard_normal((100_000, n))
    away = (x - x.mean(1, keepdims=True)) / x.std(1, ddof=1, keepdims=True)
    size = {"both": np.abs(away), "low": -away, "high": away}[side].max(1)
    assert np.mean(size > critical_residual(n, 0.05, side)) == pytest.approx(0.05, abs=0.003)


def test_repeated_search_is_that_of_the_published_example():
    """Three outliers though the first residual alone is not critical: taken one by one until the first miss, none is found.

    Printed with three digits, some cut and not rounded: 0.0015.
    """
    values = [float(v) for v in ROSNER.split()]
    found = outliers(values, most=10)
    assert [step.residual for step in found.steps[:3]] == pytest.approx([3.118, 2.942, 3.179], abs=0.0015)
    assert [step.critical for step in found.steps[:3]] == pytest.approx([3.158, 3.151, 3.143], abs=0.0015)
    assert [one.value for one in found.found] == [6.01, 5.42, 5.34]
    assert outliers(values, most=1).found == ()


def test_places_sides_and_limit():
    values = [22.0, 22.4, 21.8, 22.1, 15.0, 22.3, 21.9, 22.2]
    assert [one.place for one in outliers(values).found] == [4]
    assert outliers(values).most == 1
    assert outliers(values, side="low").found and not outliers(values, side="high").found
    assert outliers(values * 4).most == 3
    assert outliers([5.0, 5.0, 5.0, 5.0]).steps == ()
    apart = [*(22 + 0.1 * i for i in range(-6, 7)), 5.0, 17.0]  # both are beyond their critical residuals
    assert [one.value for one in outliers(apart, most=3).found] == [5.0, 17.0]
    pair = [22.0, 22.4, 21.8, 22.1, 15.0, 15.1, 22.3, 21.9, 22.2]  # two that hide one another
    assert not outliers(pair).found
    assert sorted(one.place for one in outliers(pair, most=2).found) == [4, 5]


@pytest.mark.parametrize(
    ("values", "options", "says"),
    [
        ([1.0, 2.0], {}, "2 values given; a test of outliers needs at least 3."),
        ([1.0, 2.0, 3.0], {"most": 2}, "most = 2: must lie between 1 and 1"),
        ([1.0, 2.0, 3.0], {"side": "left"}, "side = left"),
        ([1.0, 2.0, 3.0], {"significance": 5}, "significance = 5"),
    ],
)
def test_bad_arguments(values, options, says):
    with pytest.raises(JointError, match=says):
        outliers(values, **options)
