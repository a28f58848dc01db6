"""Groups of coupons: are they alike, and what a scatter that they share says of each (pooled environments).

Pooling takes for granted that within each group the strengths are normal and that all groups scatter alike (by as much,
or by the same share of their means); means may differ. Both are tested, and where the values speak against one of them
pooling is refused.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.basis import BASES
from fejoint.coupon.normality import SIGNIFICANCE, distance, observed_level
from fejoint.coupon.statistics import as_values
from fejoint.coupon.tolerance import normal_factor
from fejoint.errors import JointError

__all__ = ["Groups", "Pooled", "PooledGroup", "compared", "pooled"]

Floats = NDArray[np.float64]
LEAST = 3  # values a group: of two, distances from their median are always equal


@dataclass(frozen=True)
class Groups:
    """Whether groups (batches, environments) could be of one population.

    Attributes
    ----------
    names : tuple of str
    variances : float
        Level of Brown and Forsythe's test (Levene's with medians): how often groups of equal scatter differ so much.
    distributions : float
        Level of the k-sample Anderson-Darling test, between 0.001 and 0.25: how often groups of one population do.
    significance : float
    """

    names: tuple[str, ...]
    variances: float
    distributions: float
    significance: float

    @property
    def alike(self) -> bool:
        """Whether neither test speaks against one population: only then may all be taken for one lot."""
        return min(self.variances, self.distributions) >= self.significance


@dataclass(frozen=True)
class PooledGroup:
    """One group of pooled ones: its own mean, the scatter of all.

    Attributes
    ----------
    name : str
    n : int
    mean : float
    factors : dict
        By basis: k of mean - k s, or mean (1 - k v) where coefficients of variation are pooled.
    values : dict
        By basis, in the unit of the values.
    """

    name: str
    n: int
    mean: float
    factors: Mapping[str, float]
    values: Mapping[str, float]


@dataclass(frozen=True)
class Pooled:
    """Basis values of groups that share their scatter.

    Attributes
    ----------
    of : str
        ``deviation`` (groups scatter by as much) or ``variation`` (by the same share of their means; approximate).
    scatter : float
        Pooled standard deviation, in the unit of the values, or pooled coefficient of variation.
    freedom : int
        Degrees of freedom: values less groups.
    variances : float
        Level of Brown and Forsythe's test that the groups scatter alike.
    normality : float
        Level of Anderson-Darling's test on all residuals together (approximate: each group has a mean of its own).
    groups : tuple of PooledGroup
        Empty where pooling is refused.
    refused : str
        Why; empty otherwise.
    """

    of: str
    scatter: float
    freedom: int
    variances: float
    normality: float
    groups: tuple[PooledGroup, ...]
    refused: str = ""


def compared(groups: Mapping[str, Iterable[float]], *, significance: float = SIGNIFICANCE) -> Groups:
    """Return whether groups, two or more of at least 3 values each, could be of one population.

    Raises
    ------
    JointError
        Fewer than two groups, too few values in one, or all equal.
    """
    from scipy.stats import anderson_ksamp

    lots = _lots(groups)
    if np.ptp(np.concatenate(list(lots.values()))) == 0:
        raise JointError("all values of all groups are equal; comparing them needs values that scatter.")
    with warnings.catch_warnings():  # that the level is cut at 0.001 and 0.25, and on names of arguments
        warnings.simplefilter("ignore")
        level = float(anderson_ksamp(list(lots.values())).pvalue)
    return Groups(tuple(lots), _brown_forsythe(list(lots.values())), level, significance)


def pooled(groups: Mapping[str, Iterable[float]], of: str = "deviation", *, significance: float = SIGNIFICANCE) -> Pooled:
    """Return A- and B-basis values of every group by the scatter of all of them.

    mean_j - k_j s with s^2 the squares' sum about the groups' own means over values less groups, and k_j from the
    noncentral t with these degrees of freedom and sqrt(n_j): exact where groups are normal and scatter alike, and for
    one group the plain normal factor. Pooled coefficients of variation do the same with values over their group's mean,
    which is close but not exact; for strengths in other environments they fit better, as weak ones scatter less.

    Parameters
    ----------
    groups : mapping of str to values
        Environments, at least one, each with at least 3 values.
    of : str
        ``deviation`` or ``variation``.
    significance : float
        Below which a test's level refuses pooling.

    Raises
    ------
    JointError
        Too few values, all equal, or means that are not above 0 where coefficients of variation are pooled.
    """
    if of not in ("deviation", "variation"):
        raise JointError(f"pooling of {of}: must be one of deviation, variation.")
    lots = _lots(groups, least=1)
    scaled = of == "variation"
    means = {name: float(np.mean(x)) for name, x in lots.items()}
    if scaled and min(means.values()) <= 0:
        raise JointError("pooled coefficients of variation need groups whose means are above 0; pool standard deviations.")
    unit = {name: means[name] if scaled else 1.0 for name in lots}
    away = {name: (x - means[name]) / unit[name] for name, x in lots.items()}
    freedom = sum(map(len, lots.values())) - len(lots)
    scatter = math.sqrt(sum(float(np.sum(a * a)) for a in away.values()) / freedom)
    if scatter <= 1e-12 * max(abs(m / unit[name]) for name, m in means.items()):
        raise JointError("all values of every group are equal; pooling needs values that scatter.")
    variances = _brown_forsythe([x / unit[name] for name, x in lots.items()]) if len(lots) > 1 else 1.0
    normality = _normality(away, scatter)
    against = [
        *(
            [f"the groups do not scatter alike (Brown-Forsythe, level {100 * variances:.2g} %)"]
            if variances < significance
            else []
        ),
        *(
            [f"the residuals are not normal (Anderson-Darling, level {100 * normality:.2g} %)"]
            if normality < significance
            else []
        ),
    ]
    refused = f"pooling of {of}s is refused: {' and '.join(against)}; take each group's own basis values." if against else ""
    found = []
    for name, x in {} if refused else lots.items():
        factors: dict[str, float] = {basis: normal_factor(len(x), *BASES[basis], freedom=freedom) for basis in BASES}
        values: dict[str, float] = {basis: means[name] - k * scatter * unit[name] for basis, k in factors.items()}
        found.append(PooledGroup(name, len(x), means[name], factors, values))
    return Pooled(of, scatter, freedom, variances, normality, tuple(found), refused)


def _lots(groups: Mapping[str, Iterable[float]], least: int = 2) -> dict[str, Floats]:
    if len(groups) < least:
        raise JointError(f"{len(groups)} group{'' if len(groups) == 1 else 's'} given; comparing needs at least {least}.")
    return {str(name): as_values(x, LEAST, "comparing or pooling groups", name=f"group {name}") for name, x in groups.items()}


def _brown_forsythe(lots: list[Floats]) -> float:
    from scipy.stats import levene

    with np.errstate(divide="ignore", invalid="ignore"):
        level = float(levene(*lots, center="median").pvalue)
    return 1.0 if math.isnan(level) else level


def _normality(away: Mapping[str, Floats], scatter: float) -> float:
    """Return the level of all residuals together; each made as wide as a residual about the true mean."""
    from scipy.special import ndtr

    z = np.concatenate([a * math.sqrt(len(a) / (len(a) - 1)) for a in away.values()]) / scatter
    return observed_level(distance(ndtr(z)), len(z), "normal")[1]
