"""One-sided tolerance bounds: what a share of all values lies above, with a confidence.

normal, lognormal   mean - k s, k from the noncentral t distribution: exact
Weibull             exact, given how the values lie to one another (below)
by rank             a value of the sample, by the binomial distribution: exact or safe for any distribution
by two values       the smallest and another, for distributions whose logarithm of the share below is concave: safe
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.distributions import Fitted, standard_quantile

__all__ = ["normal_factor", "number_by_rank", "rank", "two_value_factor", "weibull_factor"]

Floats = NDArray[np.float64]
POINTS = 400  # of the quadrature: 7 digits


@lru_cache(maxsize=4096)
def normal_factor(n: float, share: float = 0.90, confidence: float = 0.95, freedom: float | None = None) -> float:
    """Return k: mean - k s lies below a share of all values, with a confidence.

    k = t' / sqrt(n), t' the quantile (of the confidence) of the noncentral t distribution with n - 1 degrees of freedom
    and noncentrality z sqrt(n), z the normal quantile of the share (textbook formula; also in ISO 16269-6, from memory).

    Parameters
    ----------
    n : float
        Values whose mean it is, at least 2.
    share, confidence : float
        Between 0 and 1: 0.90 and 0.95 is the B-basis, 0.99 and 0.95 the A-basis.
    freedom : float or None
        Degrees of freedom of s; n - 1 unless it comes from more values than the mean.
    """
    from scipy.special import ndtri
    from scipy.stats import nct

    root = math.sqrt(n)
    return float(nct.ppf(confidence, n - 1 if freedom is None else freedom, float(ndtri(share)) * root)) / root


def weibull_factor(values: Floats, fit: Fitted, share: float = 0.90, confidence: float = 0.95) -> float:
    """Return k: scale exp(-k / shape) lies below a share of all values, with a confidence; scale, shape by likelihood.

    Exact. With a_i the fitted residuals (log x_i - u) / b and z the fitted b over the true one, what the data say of z
    has the density z^(n-2) exp(z sum a) / (sum exp(a z))^n, and given z the share's quantile follows a gamma
    distribution of n: one integral, one root. It is the conditional solution for distributions of a place and a spread
    (J. F. Lawless, Statistical Models and Methods for Lifetime Data, 1982, from memory); derived anew here, and its
    coverage is tested by simulation.
    """
    from scipy.optimize import brentq
    from scipy.special import gammainc

    a, n = fit.standard(values), len(values)
    top, total = float(np.max(a)), float(np.sum(a))

    def densities(log_z: Floats) -> tuple[Floats, Floats, Floats]:
        z = np.exp(log_z)
        log_sum = np.log(np.sum(np.exp(np.outer(z, a - top)), axis=1)) + z * top
        return z, log_sum, (n - 1) * log_z + z * total - n * log_sum  # the last per log z

    log_z = np.linspace(math.log(1e-4), math.log(60.0), POINTS)
    z, log_sum, log_density = densities(log_z)
    keep = log_density > np.max(log_density) - 45
    if keep.sum() < POINTS // 2:  # many values: a narrow peak, looked at more closely
        z, log_sum, log_density = densities(np.linspace(log_z[keep][0], log_z[keep][-1], POINTS))
    weight = np.exp(log_density - np.max(log_density))
    weight /= np.sum(weight)
    low = float(standard_quantile("weibull", 1 - share))

    def surplus(k: float) -> float:
        return float(weight @ gammainc(n, np.exp(np.minimum(low + k * z + log_sum, 700.0)))) - confidence

    least, most = -10.0, 10.0
    while surplus(most) < 0:
        most *= 2
    return float(brentq(surplus, least, most, xtol=1e-10))


def rank(n: int, share: float = 0.90, confidence: float = 0.95) -> int:
    """Return r: the r-th smallest of n values lies below a share of all, with a confidence; 0 when even the smallest does not.

    The largest r for which at least r of n values fall among the weakest (1 - share) with that confidence: binomial.
    """
    from scipy.stats import binom

    return int(np.searchsorted(binom.cdf(np.arange(n + 1), n, 1 - share), 1 - confidence, side="right"))


def number_by_rank(share: float = 0.90, confidence: float = 0.95) -> int:
    """Return how many values it takes for the smallest to lie below a share of all with a confidence: 29 and 299."""
    return math.ceil(math.log(1 - confidence) / math.log(share))


@lru_cache(maxsize=512)
def two_value_factor(n: int, share: float = 0.90, confidence: float = 0.95) -> tuple[int, float]:
    """Return r and k: x_r (x_1 / x_r)^k lies below a share of all values, with at least the confidence.

    x_1 is the smallest of n values and x_r the r-th smallest. Holds for every distribution of log x whose share below,
    F, has a concave logarithm (normal, lognormal, Weibull, logistic, gamma among them), after Hanson & Koopmans 1964
    (from memory). Derived: log F = T is concave, so log x is a convex function of T, and a line through two of its points
    lies below it on the far side; so the bound holds whenever it does for the line, that is when U_1^k U_r^(1-k) is no
    more than 1 - share for the smallest and the r-th smallest U of n even ones. r is the one that gives the highest
    bound for a normal sample of scatter 1; chosen before any value is seen.
    """
    from scipy.stats import norm

    i = np.arange(1, n + 1)
    scores = norm.ppf((i - 0.375) / (n + 0.25))  # expected normal order statistics, Blom 1958 (from memory)
    best = (0, math.nan, -math.inf)
    for r in range(2, n + 1):
        k = _two_value_k(n, r, 1 - share, confidence)
        if (bound := scores[r - 1] - k * (scores[r - 1] - scores[0])) > best[2]:
            best = (r, k, bound)
        elif r > best[0] + 5:
            break  # it only falls from here on
    return best[0], best[1]


def _two_value_k(n: int, r: int, weak: float, confidence: float) -> float:
    """Return k with P(U_1^k U_r^(1-k) <= weak) = confidence, or 1 where the smallest alone is enough.

    U_r follows a beta distribution (r, n + 1 - r); given it, U_1 / U_r is the smallest of r - 1 even values.
    """
    from scipy.optimize import brentq
    from scipy.special import betaincinv

    nodes, weights = np.polynomial.legendre.leggauss(200)
    u = betaincinv(r, n + 1 - r, (nodes + 1) / 2)  # quantiles of U_r at even shares
    weights = weights / 2

    def surplus(k: float) -> float:
        ratio = np.minimum((weak / u) ** (1 / k), 1.0)  # of U_1 to U_r, up to which the bound holds
        return float(weights @ (1 - (1 - ratio) ** (r - 1))) - confidence

    if surplus(1.0) >= 0:
        return 1.0
    most = 2.0
    while surplus(most) < 0:
        most *= 2
    return float(brentq(surplus, 1.0, most, xtol=1e-12))
