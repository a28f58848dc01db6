"""Bounded least squares of positive figures, with confidence intervals, and what the data cannot tell.

Figures and observations are taken by their logarithms: a figure of half the
size is as far off as one of twice the size, none becomes negative, and
differences are shares. The intervals are those of the problem made linear at
the end: the scatter that is left over, times the inverse of J^T J, times
Student's t (G. A. F. Seber & C. J. Wild, Nonlinear Regression, 1989, ch. 5, from memory).
They know scatter, not the model's own error.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError

__all__ = ["ALIKE", "CONFIDENCE", "Estimate", "Sought", "covariance", "estimated"]

Floats = NDArray[np.float64]
Model = Callable[[Mapping[str, float]], Floats]

CONFIDENCE = 0.95
ALIKE = 0.95  # correlation of two figures above which the data cannot tell them apart
# Change of an observation by that of a figure, both as shares, below which the figure has no influence: what it would
# take to see it, a change of the figure by many times its size, is more than any test of it is in doubt by.
NO_INFLUENCE = 2e-3
AT_BOUND = 1e-3  # of the way between the bounds, by logarithms
MOST_TURNS = 30
ROUGH = 0.01  # a step from which on the search ends sooner
NEARLY_SINGULAR = 1e-3  # smallest over largest singular value of the scaled slopes


@dataclass(frozen=True)
class Sought:
    """A figure that is sought.

    Attributes
    ----------
    key : str
        Dotted key of the joint file.
    unit : str
    start, low, high : float
        Where the search begins and its bounds, all above 0.
    step : float
        Of its logarithm, for the slopes.
    """

    key: str
    unit: str
    start: float
    low: float
    high: float
    step: float = 1e-3


@dataclass(frozen=True, eq=False)
class Estimate:
    """Figures found by least squares.

    Attributes
    ----------
    sought : tuple of Sought
    values : (p,) array
    low, high : (p,) arrays
        Bounds of the confidence intervals; NaN of a figure that the data do not tell.
    correlation : (p, p) array
        Of the logarithms of the figures; NaN of a figure at its bound or without influence.
    observed, expected : (n,) arrays
        What was measured, and what the model makes of the figures.
    sd : (n,) array
        Scatter by which each observation was weighed, as a share.
    jacobian : (n, p) array
        Change of observations by that of figures, both as shares.
    scatter : float
        What is left over per degree of freedom, in units of `sd`; NaN without any.
    freedom : int
        Observations less figures found.
    at_bound, no_influence : tuple of str
        Keys.
    alike : tuple of (str, str, float)
        Pairs that the data cannot tell apart, and their correlation.
    evaluations : int
    settled : bool
        Whether the search came to rest.
    """

    sought: tuple[Sought, ...]
    values: Floats
    low: Floats
    high: Floats
    correlation: Floats
    observed: Floats
    expected: Floats
    sd: Floats
    jacobian: Floats
    scatter: float
    freedom: int
    at_bound: tuple[str, ...] = ()
    no_influence: tuple[str, ...] = ()
    alike: tuple[tuple[str, str, float], ...] = ()
    evaluations: int = 0
    settled: bool = True

    def interval(self, key: str) -> tuple[float, float]:
        """Return the confidence interval of a figure."""
        i = [one.key for one in self.sought].index(key)
        return float(self.low[i]), float(self.high[i])

    def value(self, key: str) -> float:
        """Return the figure found under a key."""
        return float(self.values[[one.key for one in self.sought].index(key)])


def estimated(
    model: Model,
    observed: Sequence[float] | Floats,
    sd: Sequence[float] | Floats,
    sought: Sequence[Sought],
    progress: Callable[[str], None] | None = None,
) -> Estimate:
    """Return the figures by which a model follows observations best.

    Parameters
    ----------
    model : callable
        From figures by key to what is observed, (n,) array, above 0; where it has no answer, NaN.
    observed : (n,) array
        Above 0.
    sd : (n,) array
        Scatter of each, as a share of it; only the ratios count.
    sought : sequence of Sought
    progress : callable, optional
        Called with a line of text before each evaluation.

    Raises
    ------
    JointError
        Nothing is sought, there are fewer observations than figures, or the model has no answer where the search begins.
    """
    from scipy.optimize import least_squares

    y, weight = np.log(np.asarray(observed, dtype=np.float64)), 1 / np.asarray(sd, dtype=np.float64)
    if not sought:
        raise JointError("nothing is sought: name a figure, such as adhesive.elastic_modulus.")
    if len(y) < len(sought):
        raise JointError(
            f"{len(sought)} figures are sought from {len(y)} measured value{'s' if len(y) > 1 else ''}: name fewer figures, or "
            "give more tests."
        )
    done: dict[bytes, Floats] = {}
    say = progress or (lambda text: None)

    def predicted(x: Floats) -> Floats:
        key = np.round(x, 12).tobytes()
        if key not in done:
            say(f"evaluation {len(done) + 1}: " + ", ".join(f"{s.key} {math.exp(v):.4g}" for s, v in zip(sought, x, strict=True)))
            with np.errstate(invalid="ignore", divide="ignore"):
                done[key] = np.log(model({s.key: float(np.exp(v)) for s, v in zip(sought, x, strict=True)}))
        return done[key]

    low, high = (np.log([getattr(s, name) for s in sought]) for name in ("low", "high"))
    start = np.clip(np.log([s.start for s in sought]), low + 1e-6, high - 1e-6)
    if not np.isfinite(predicted(start)).all():
        raise JointError("the model has no answer where the search begins; choose other start values in the joint file.")

    def residuals(x: Floats) -> Floats:
        off = predicted(x) - y
        # Where there is no answer the search must not go: a difference far larger than any.
        return np.asarray(weight * np.where(np.isfinite(off), off, 10.0))

    def slopes(x: Floats) -> Floats:
        columns = []
        for j, one in enumerate(sought):
            forward = one.step if x[j] + one.step <= high[j] else -one.step
            slope = np.full(len(y), np.nan)
            for size in (forward, -forward):  # back where there is no answer ahead
                step = np.zeros(len(x))
                step[j] = size
                if not np.isfinite(slope).all():
                    slope = (predicted(x + step) - predicted(x)) / size
            columns.append(np.where(np.isfinite(slope), slope, 0.0))
        return np.stack(columns, axis=1)

    # A model whose slopes need large steps is not known better than that.
    rough = max(s.step for s in sought) > ROUGH
    found = least_squares(
        residuals,
        start,
        jac=lambda x: weight[:, None] * slopes(x),
        bounds=(low, high),
        xtol=1e-3 if rough else 1e-6,
        ftol=1e-3 if rough else 1e-10,
        gtol=1e-10,
        max_nfev=MOST_TURNS,
    )
    x, jacobian = found.x, slopes(found.x)
    return _told(
        tuple(sought), x, (low, high), np.exp(y), np.exp(predicted(x)), 1 / weight, jacobian, len(done), found.status > 0
    )


def covariance(jacobian: Floats, weight: Floats, sum_of_squares: Floats | float) -> tuple[Floats, Floats]:
    """Return the covariance of logarithms of figures for each sum of squared weighed residuals, and the t-quantile's half width.

    Parameters
    ----------
    jacobian : (n, p) array
    weight : (n,) array
    sum_of_squares : (...) array
        Of one data set, or of many alike.

    Returns
    -------
    (..., p, p) array, (..., p) array
        Covariance; half the width of the confidence intervals of the logarithms. NaN where n is p.
    """
    from scipy.stats import t as student

    n, p = jacobian.shape
    weighed = weight[:, None] * jacobian
    inverse = np.linalg.inv(weighed.T @ weighed)
    variance = np.asarray(sum_of_squares, dtype=np.float64) / (n - p) if n > p else np.full(np.shape(sum_of_squares), np.nan)
    spread = variance[..., None, None] * inverse
    quantile = float(student.ppf((1 + CONFIDENCE) / 2, n - p)) if n > p else math.nan
    return spread, quantile * np.sqrt(np.diagonal(spread, axis1=-2, axis2=-1))


# ---- what the data tell ----------------------------------------------------


def _told(
    sought: tuple[Sought, ...],
    x: Floats,
    bounds: tuple[Floats, Floats],
    observed: Floats,
    expected: Floats,
    sd: Floats,
    jacobian: Floats,
    evaluations: int,
    settled: bool,
) -> Estimate:
    n, p = jacobian.shape
    low, high = bounds
    reach = AT_BOUND * (high - low)
    bound = (x - low < reach) | (high - x < reach)
    idle = np.abs(jacobian).max(axis=0) < NO_INFLUENCE
    free = ~(bound | idle)
    keys = [one.key for one in sought]
    left = np.log(expected / observed) / sd
    squares, freedom = float(left @ left), n - int(free.sum())
    correlation, half = np.full((p, p), np.nan), np.full(p, np.nan)
    alike: list[tuple[str, str, float]] = []
    if free.any():
        part = jacobian[:, free] / sd[:, None]
        names = [key for key, is_free in zip(keys, free, strict=True) if is_free]
        size = np.linalg.norm(part, axis=0)
        values = np.linalg.svd(part / size, compute_uv=False)
        if values[-1] > 1e-7 * values[0]:
            _, width = covariance(jacobian[:, free], 1 / sd, squares)
            # The pattern does not hang on what is left over, so that it is known without any.
            inverse = np.linalg.inv(part.T @ part)
            scale = np.sqrt(np.diagonal(inverse))
            inner = inverse / np.outer(scale, scale)
            half[free] = width
        else:  # singular: what is opposed is what the columns have in common
            inner = -(part / size).T @ (part / size)
            np.fill_diagonal(inner, 1.0)
        correlation[np.ix_(free, free)] = inner
        pairs = [(names[i], names[j], float(inner[i, j])) for i, j in combinations(range(len(names)), 2)]
        alike = [pair for pair in pairs if abs(pair[2]) > ALIKE]
        if pairs and not alike and values[-1] < NEARLY_SINGULAR * values[0]:  # several of them together
            alike = [max(pairs, key=lambda pair: abs(pair[2]))]
    values_found = np.exp(x)
    return Estimate(
        sought=sought,
        values=values_found,
        low=values_found * np.exp(-half),
        high=values_found * np.exp(half),
        correlation=correlation,
        observed=observed,
        expected=expected,
        sd=sd,
        jacobian=jacobian,
        scatter=math.sqrt(squares / freedom) if freedom > 0 else math.nan,
        freedom=freedom,
        at_bound=tuple(key for key, is_bound in zip(keys, bound, strict=True) if is_bound),
        no_influence=tuple(key for key, is_idle in zip(keys, idle, strict=True) if is_idle),
        alike=tuple(alike),
        evaluations=evaluations,
        settled=settled,
    )
