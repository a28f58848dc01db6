"""Mean and scatter against the standard library and scipy; what is refused."""

import statistics

import numpy as np
import pytest
from scipy import stats

from fejoint.coupon.statistics import described
from fejoint.errors import JointError

VALUES = [22.4, 23.1, 21.7, 24.0, 22.9, 20.8, 23.6]


def test_numbers_are_those_of_the_standard_library_and_of_scipy():
    """Same definitions, so to rounding (1e-12): statistics.stdev divides by n - 1, pstdev by n."""
    found = described(VALUES)
    assert found.n == 7
    assert found.mean == pytest.approx(statistics.mean(VALUES), rel=1e-12)
    assert found.deviation == pytest.approx(statistics.stdev(VALUES), rel=1e-12)
    assert found.deviation != pytest.approx(statistics.pstdev(VALUES), rel=0.05)
    assert found.median == statistics.median(VALUES)
    assert (found.minimum, found.maximum) == (20.8, 24.0)
    assert found.variation == pytest.approx(stats.variation(VALUES, ddof=1), rel=1e-12)
    for confidence in (0.95, 0.5):
        interval = stats.ttest_1samp(VALUES, 0.0).confidence_interval(confidence)
        assert described(VALUES, confidence=confidence).interval == pytest.approx(tuple(interval), rel=1e-12)


def test_a_mean_of_nothing_has_no_coefficient_of_variation():
    assert described([-1.0, 1.0]).variation is None
    assert described([-3.0, -1.0]).variation == pytest.approx(2**0.5 / 2)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ([], "0 values given; a standard deviation needs at least 2."),
        ([3.0], "1 value given; a standard deviation needs at least 2."),
        ([1.0, "2"], "value 2 ('2') must be a finite number."),
        ([1.0, True], "value 2 (True) must be a finite number."),
        ([1.0, None], "value 2 (None) must be a finite number."),
        ([1.0, np.nan], "must be a finite number."),
        ([1.0, 1e200], "must be a finite number, 1e+100 at most; give another unit."),
        ([1e-300, 2e-300, 3e-300], "give them in another unit."),
    ],
)
def test_too_few_and_no_numbers_are_refused(values, says):
    with pytest.raises(JointError) as error:
        described(values, name="lot 4")
    assert str(error.value).startswith("lot 4: ")
    assert says in str(error.value)


def test_confidence_is_a_share():
    with pytest.raises(JointError, match="between 0 and 1"):
        described(VALUES, confidence=95)
