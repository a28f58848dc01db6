"""Values that lie too far from the rest to be chance: the largest normed residual, by Student's t.

An outlier is looked into (the coupon, its bondline, the grips, the record), not just left out: it stays in unless a
cause is found, and that cause is written down. The test takes the rest for normal.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.statistics import as_values
from fejoint.errors import JointError

__all__ = ["LOOK_INTO", "Outlier", "Outliers", "critical_residual", "outliers"]

Floats = NDArray[np.float64]
Side = Literal["both", "low", "high"]

LEAST = 3
LOOK_INTO = (
    "An outlier is looked into (coupon, bondline, grips, record), not just left out: it stays in unless a cause is found "
    "and written down. Until then it weighs on which distributions are rejected, so do not lean on the basis values yet."
)


@dataclass(frozen=True)
class Outlier:
    """The value farthest from the mean at one step.

    Attributes
    ----------
    place : int
        Its place among the values given, from 0.
    value : float
    residual : float
        Its distance from the mean of those still in, in their sample standard deviations.
    critical : float
        What the residual must exceed.
    """

    place: int
    value: float
    residual: float
    critical: float

    @property
    def exceeds(self) -> bool:
        """Whether the residual is more than the critical one."""
        return self.residual > self.critical


@dataclass(frozen=True)
class Outliers:
    """The outliers among values.

    Attributes
    ----------
    found : tuple of Outlier
        Those that count as outliers, farthest first.
    steps : tuple of Outlier
        All that were looked at, one a step.
    side : str
        ``both``, ``low`` or ``high``.
    significance : float
        How often values without an outlier are said to have one.
    most : int
        How many were looked for, at most.
    """

    found: tuple[Outlier, ...]
    steps: tuple[Outlier, ...]
    side: Side
    significance: float
    most: int


def outliers(
    values: Iterable[float],
    *,
    significance: float = 0.05,
    side: Side = "both",
    most: int | None = None,
    name: str = "values",
) -> Outliers:
    """Return the outliers among values (n,), at least 3, by the largest normed residual.

    Repeated up to `most` times with the farthest value taken out each time; all up to the last step whose residual
    exceeds its critical one count, so that two that hide one another are found (generalised extreme Studentised deviate;
    Rosner 1983, from memory).

    Parameters
    ----------
    values : iterable of float
    significance : float
        Between 0 and 0.5.
    side : str
        ``both``; ``low`` or ``high`` where only such outliers are looked for, said before the values are seen.
    most : int or None
        Outliers looked for, at most; a tenth of the values, at least 1, unless given. Never so many that fewer than 3 stay.
    name : str
        What the values are called in a refusal.

    Raises
    ------
    JointError
        Fewer than 3 values, or an argument out of its range.
    """
    if not 0 < significance < 0.5:
        raise JointError(f"significance = {significance:g}: must lie between 0 and 0.5.")
    if side not in ("both", "low", "high"):
        raise JointError(f"side = {side}: must be one of both, low, high.")
    x = as_values(values, LEAST, "a test of outliers", name=name)
    most = max(1, len(x) // 10) if most is None else most
    if not 1 <= most <= len(x) - LEAST + 1:
        raise JointError(
            f"most = {most}: must lie between 1 and {len(x) - LEAST + 1}, so that {LEAST} values stay to compare with."
        )
    inside = list(range(len(x)))
    steps: list[Outlier] = []
    for _ in range(most):
        rest = x[inside]
        away, deviation = rest - np.mean(rest), float(np.std(rest, ddof=1))
        if deviation <= 1e-12 * float(np.max(np.abs(rest))):
            break  # what is left is all equal
        size = np.abs(away) if side == "both" else -away if side == "low" else away
        at = int(np.argmax(size))
        critical = critical_residual(len(rest), significance, side)
        steps.append(Outlier(inside[at], float(rest[at]), float(size[at]) / deviation, critical))
        del inside[at]
    last = max((i for i, step in enumerate(steps, start=1) if step.exceeds), default=0)
    return Outliers(tuple(steps[:last]), tuple(steps), side, significance, most)


def critical_residual(n: int, significance: float = 0.05, side: Side = "both") -> float:
    """Return the normed residual that the largest of n normal values exceeds as rarely as the significance says.

    (n - 1) / sqrt(n) sqrt(t^2 / (n - 2 + t^2)), t Student's quantile with n - 2 degrees of freedom at 1 - significance / n
    (half of it for both sides): Grubbs 1969 (from memory). Safe by Bonferroni's inequality, and all but exact.
    """
    from scipy.special import stdtrit

    t = float(stdtrit(n - 2, 1 - significance / (n * (2 if side == "both" else 1))))
    return (n - 1) / math.sqrt(n) * math.sqrt(t * t / (n - 2 + t * t))
