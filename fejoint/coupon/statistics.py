"""What a few numbers of like coupons say: mean, sample standard deviation, scatter, median, the interval of the mean."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError

__all__ = ["Described", "as_values", "described"]

Floats = NDArray[np.float64]

LARGEST, SMALLEST = 1e100, 1e-100  # of values whose squares and products are numbers, too
LEAST = 2
"""Values that a standard deviation needs."""

DEVIATION_WORDS = "sample standard deviation (divided by n - 1)"


@dataclass(frozen=True)
class Described:
    """A lot of values in a few numbers, in the unit of the values.

    Attributes
    ----------
    n : int
    mean : float
    deviation : float
        Sample standard deviation: the squares' sum divided by n - 1.
    variation : float or None
        Deviation over the mean's size (no unit: 0.05 is 5 %); None where the mean is 0.
    median, minimum, maximum : float
    interval : (float, float)
        Confidence interval of the mean, by Student's t with n - 1 degrees of freedom: where the mean of ever more such
        values would lie, not where the next value will.
    confidence : float
        Of the interval.
    """

    n: int
    mean: float
    deviation: float
    variation: float | None
    median: float
    minimum: float
    maximum: float
    interval: tuple[float, float]
    confidence: float


def as_values(values: Iterable[float], least: int, what: str, *, name: str = "values", positive: bool = False) -> Floats:
    """Return values as an array (n,), once they are enough for what is asked of them.

    Parameters
    ----------
    values : iterable of float
        In one unit.
    least : int
        How many are needed, at least.
    what : str
        What needs them, for the refusal: ``"a standard deviation"``.
    name : str
        What the values are called in a refusal.
    positive : bool
        Whether all must lie above 0, as a logarithm wants it.

    Raises
    ------
    JointError
        Too few (with the number needed), no numbers, not finite, or not positive where they must be.
    """
    found = []
    for number, value in enumerate(values, start=1):
        try:
            one = math.nan if isinstance(value, bool | str) else float(value)
        except (TypeError, ValueError):
            one = math.nan
        if not math.isfinite(one) or abs(one) > LARGEST:
            said = f", {LARGEST:g} at most; give another unit" if math.isfinite(one) else ""
            raise JointError(f"{name}: value {number} ({value!r:.40}) must be a finite number{said}.")
        found.append(one)
    if any(found) and max(map(abs, found)) < SMALLEST:
        raise JointError(f"{name}: no value is larger than {SMALLEST:g}, too small to square; give them in another unit.")
    if len(found) < least:
        raise JointError(f"{name}: {_count(len(found))} given; {what} needs at least {least}.")
    if positive and min(found) <= 0:
        raise JointError(f"{name}: {min(found):g} is among them; {what} needs values above 0.")
    return np.array(found)


def described(values: Iterable[float], *, confidence: float = 0.95, name: str = "values") -> Described:
    """Return mean, sample standard deviation (n - 1), coefficient of variation, median, range and the mean's interval.

    Parameters
    ----------
    values : iterable of float
        At least 2, in one unit.
    confidence : float
        Of the mean's interval, between 0 and 1.
    name : str
        What the values are called in a refusal.

    Raises
    ------
    JointError
        Fewer than 2 values, or what is no finite number.

    Notes
    -----
    The interval takes the values for a sample of a normal distribution; a mean of five or more is little troubled by others.
    """
    from scipy.special import stdtrit

    if not 0 < confidence < 1:
        raise JointError(f"confidence = {confidence:g}: must lie between 0 and 1.")
    x = as_values(values, LEAST, "a standard deviation", name=name)
    n, mean = len(x), float(np.mean(x))
    deviation = float(np.std(x, ddof=1))
    half = float(stdtrit(n - 1, 0.5 + confidence / 2)) * deviation / math.sqrt(n)
    return Described(
        n=n,
        mean=mean,
        deviation=deviation,
        variation=deviation / abs(mean) if mean else None,
        median=float(np.median(x)),
        minimum=float(x.min()),
        maximum=float(x.max()),
        interval=(mean - half, mean + half),
        confidence=confidence,
    )


def _count(n: int) -> str:
    return "1 value" if n == 1 else f"{n} values"
