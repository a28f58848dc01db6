"""Do values agree with a distribution? Anderson-Darling's distance with its observed significance level, Shapiro-Wilk.

What they mean: a low level speaks against the distribution; a high one does not prove it. With ten coupons most
distributions of like scatter agree, so agreement alone is no reason to take the one that promises most.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.distributions import Distribution, fitted
from fejoint.coupon.statistics import as_values
from fejoint.errors import JointError

__all__ = ["SIGNIFICANCE", "Agreement", "ShapiroWilk", "agreement", "distance", "observed_level", "shapiro_wilk"]

Floats = NDArray[np.float64]

SIGNIFICANCE = 0.05
LEAST = 5
"""Values that the test needs: with five its level is right within a tenth at 5 % and 10 % (simulated), with three it is not."""
LEAST_SHAPIRO, MOST_SHAPIRO = 3, 5000

# Share of normal samples as far away, by the corrected distance a: D'Agostino & Stephens, Goodness-of-Fit Techniques,
# 1986 (from memory; its levels are tested by simulation). Upper end of a, sign, coefficients of exp(c0 + c1 a + c2 a^2).
_NORMAL = (
    (0.2, -1, (-13.436, 101.14, -223.73)),
    (0.34, -1, (-8.318, 42.796, -59.938)),
    (0.6, 1, (0.9177, -4.279, -1.38)),
    (13.0, 1, (1.2937, -5.709, 0.0186)),
)


@dataclass(frozen=True)
class Agreement:
    """How far values lie from a distribution fitted to them.

    Attributes
    ----------
    distribution : str
        ``normal``, ``lognormal`` or ``weibull``.
    distance : float
        Anderson-Darling's A^2.
    corrected : float
        The same with the correction for few values.
    level : float
        Observed significance level, 0 to 1: how often values of such a distribution lie as far from their own fit or
        farther. Right within a tenth up to 0.1, rough above 0.3, where it decides nothing.
    rejected : bool
        Whether the level is below the significance asked for.
    """

    distribution: Distribution
    distance: float
    corrected: float
    level: float
    rejected: bool


@dataclass(frozen=True)
class ShapiroWilk:
    """Shapiro and Wilk's test of a normal distribution: its statistic (1 is as normal as can be) and its level."""

    statistic: float
    level: float


def agreement(
    values: Iterable[float], distribution: Distribution, *, significance: float = SIGNIFICANCE, name: str = "values"
) -> Agreement:
    """Return how well values (n,), at least 5, agree with a distribution fitted to them (Anderson-Darling).

    Raises
    ------
    JointError
        Fewer than 5 values, all equal, or not above 0 where logarithms are taken.
    """
    if not 0 < significance < 1:
        raise JointError(f"significance = {significance:g}: must lie between 0 and 1.")
    x = as_values(values, LEAST, "Anderson-Darling's test", name=name, positive=distribution != "normal")
    fit = fitted(x, distribution, name=name)
    far = distance(fit.share_below(x))
    corrected, level = observed_level(far, len(x), distribution)
    return Agreement(distribution, far, corrected, level, level < significance)


def distance(share: Floats) -> float:
    """Return Anderson-Darling's A^2 of the shares (n,) that a distribution has below each value, in any order."""
    u = np.clip(np.sort(share), 1e-300, 1 - 1e-16)
    n = len(u)
    odd = 2 * np.arange(1, n + 1) - 1
    return float(-n - np.mean(odd * (np.log(u) + np.log1p(-u[::-1]))))


def observed_level(far: float, n: int, distribution: Distribution) -> tuple[float, float]:
    """Return A^2 corrected for few values, and its observed significance level.

    Normal, and lognormal by the logarithms: D'Agostino & Stephens 1986. Weibull: MIL-HDBK-17's formulas, kept by CMH-17.
    All from memory; the levels are tested by simulation.
    """
    if distribution == "weibull":
        a = far * (1 + 0.2 / math.sqrt(n))
        return a, 1 / (1 + math.exp(min(-0.10 + 1.24 * math.log(max(a, 1e-12)) + 4.48 * a, 700.0)))
    a = far * (1 + 0.75 / n + 2.25 / n**2)
    sign, (c0, c1, c2) = next(((s, c) for end, s, c in _NORMAL if a < end), (1, (-math.inf, 0.0, 0.0)))
    share = math.exp(c0 + c1 * a + c2 * a * a)
    return a, min(max(1 - share if sign < 0 else share, 0.0), 1.0)


def shapiro_wilk(values: Iterable[float], *, name: str = "values") -> ShapiroWilk:
    """Return Shapiro-Wilk's test of a normal distribution, as scipy works it out (Royston 1995).

    Raises
    ------
    JointError
        Fewer than 3 values, more than 5000, or all equal.
    """
    from scipy.stats import shapiro

    x = as_values(values, LEAST_SHAPIRO, "Shapiro-Wilk's test", name=name)
    if len(x) > MOST_SHAPIRO:
        raise JointError(f"{name}: {len(x)} values; Shapiro-Wilk's test takes {MOST_SHAPIRO} at most.")
    if np.ptp(x) <= 1e-12 * np.max(np.abs(x)):
        raise JointError(f"{name}: all {len(x)} are equal; Shapiro-Wilk's test needs values that scatter.")
    found = shapiro((x - np.mean(x)) / np.std(x))
    return ShapiroWilk(float(found.statistic), float(found.pvalue))
