"""The distributions that strengths of coupons are compared with: fitted, their shares and quantiles."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.coupon.statistics import as_values
from fejoint.errors import JointError

__all__ = ["DISTRIBUTIONS", "Distribution", "Fitted", "fitted", "least_extreme_value"]

Floats = NDArray[np.float64]
Distribution = Literal["normal", "lognormal", "weibull"]
DISTRIBUTIONS: tuple[Distribution, ...] = ("normal", "lognormal", "weibull")
LEAST = 2  # values: a place and a spread


@dataclass(frozen=True)
class Fitted:
    """A distribution fitted to values.

    Each is one of a place and a spread: of the values (normal), of their logarithms (lognormal), or of their
    logarithms as the smallest of many (Weibull: scale exp(place), shape 1 / spread).

    Attributes
    ----------
    distribution : str
        ``normal``, ``lognormal`` or ``weibull``.
    place, spread : float
        Normal and lognormal: mean and sample standard deviation (n - 1), of the logarithms for the latter. Weibull: by
        maximum likelihood, of two parameters (no strength below which nothing breaks).
    """

    distribution: Distribution
    place: float
    spread: float

    @property
    def logarithmic(self) -> bool:
        """Whether it is of the values' logarithms."""
        return self.distribution != "normal"

    @property
    def figures(self) -> dict[str, float]:
        """Its figures by the names they go by."""
        if self.distribution == "weibull":
            return {"scale": math.exp(self.place), "shape": 1 / self.spread}
        if self.distribution == "lognormal":
            return {"median": math.exp(self.place), "deviation of logarithms": self.spread}
        return {"mean": self.place, "deviation": self.spread}

    def standard(self, values: ArrayLike) -> Floats:
        """Return values (n,) less the place, over the spread (on their logarithms where it is of those)."""
        x = np.asarray(values, dtype=float)
        return np.asarray(((np.log(x) if self.logarithmic else x) - self.place) / self.spread)

    def share_below(self, values: ArrayLike) -> Floats:
        """Return the share of all values that lies below some."""
        from scipy.special import ndtr

        z = self.standard(values)
        return np.asarray(-np.expm1(-np.exp(z)) if self.distribution == "weibull" else ndtr(z))

    def quantile(self, share: ArrayLike) -> Floats:
        """Return the values that given shares, between 0 and 1, lie below."""
        x = self.place + self.spread * standard_quantile(self.distribution, share)
        return np.asarray(np.exp(x) if self.logarithmic else x)

    def density(self, values: ArrayLike) -> Floats:
        """Return the probability density, per unit of the values."""
        x, z = np.asarray(values, dtype=float), self.standard(values)
        standard = np.exp(z - np.exp(z)) if self.distribution == "weibull" else np.exp(-z * z / 2) / math.sqrt(2 * math.pi)
        return np.asarray(standard / self.spread / (x if self.logarithmic else 1.0))


def standard_quantile(distribution: Distribution, share: ArrayLike) -> Floats:
    """Return quantiles of a distribution with place 0 and spread 1 (of the logarithms where it is of those)."""
    from scipy.special import ndtri

    p = np.asarray(share, dtype=float)
    return np.asarray(np.log(-np.log1p(-p)) if distribution == "weibull" else ndtri(p))


def fitted(values: Iterable[float], distribution: Distribution, *, name: str = "values") -> Fitted:
    """Return a distribution fitted to values (n,), n at least 2.

    Raises
    ------
    JointError
        Too few values, all of them equal, or not above 0 where logarithms are taken.
    """
    if distribution not in DISTRIBUTIONS:
        raise JointError(f"distribution = {distribution}: must be one of {', '.join(DISTRIBUTIONS)}.")
    x = as_values(values, LEAST, f"a {distribution} distribution", name=name, positive=distribution != "normal")
    if np.ptp(x) <= 1e-12 * np.max(np.abs(x)):
        raise JointError(f"{name}: all {len(x)} are equal; a {distribution} distribution needs values that scatter.")
    if distribution == "weibull":
        return Fitted(distribution, *least_extreme_value(np.log(x)))
    y = x if distribution == "normal" else np.log(x)
    return Fitted(distribution, float(np.mean(y)), float(np.std(y, ddof=1)))


def least_extreme_value(y: Floats) -> tuple[float, float]:
    """Return place u and spread b of the distribution 1 - exp(-exp((y - u) / b)) of greatest likelihood.

    y (n,) are logarithms of values that follow Weibull's distribution, not all equal. With w_i = exp(y_i / b) the
    likelihood is greatest where sum(w y) / sum(w) - b = mean(y), and u = b log(mean(w)).
    """
    from scipy.optimize import brentq

    scale, middle = float(np.std(y)), float(np.mean(y))
    t = (y - middle) / scale
    top = float(np.max(t))

    def slope(rate: float) -> float:
        w = np.exp(rate * (t - top))
        return float(np.sum(w * t) / np.sum(w)) - 1 / rate

    high = 2.0
    while slope(high) < 0:  # it rises with the rate, from below 0 to the largest t
        high *= 2
    rate = float(brentq(slope, 1e-6, high, xtol=1e-14, rtol=1e-14))
    place = top + math.log(float(np.mean(np.exp(rate * (t - top))))) / rate
    return middle + scale * place, scale / rate
