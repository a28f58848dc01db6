"""Do values agree with a distribution? Anderson-Darling's distance with its observed significance level, Shapiro-Wilk."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.distributions import Distribution, fitted
from fejoint.coupon.statistics import as_values
from fejoint.errors import JointError

__all__ = ["SIGNIFICANCE", "Agreement", "agreement", "shapiro_wilk"]

Floats = NDArray[np.float64]

SIGNIFICANCE = 0.05


@dataclass(frozen=True)
class Agreement:
    """How far values lie from a distribution fitted to them.

    Attributes
    ----------
    distribution : str
    distance : float
        Anderson-Darling's A^2.
    corrected : float
        The same with the correction for few values.
    level : float
        Observed significance level: how often values of such a distribution lie as far from it or farther.
    rejected : bool
        Whether the level is below the significance asked for.
    """

    distribution: Distribution
    distance: float
    corrected: float
    level: float
    rejected: bool


def agreement(
    values: Iterable[float], distribution: Distribution, *, significance: float = SIGNIFICANCE, name: str = "values"
) -> Agreement:
    """Return how well values agree with a distribution (Anderson-Darling)."""
    raise NotImplementedError


def shapiro_wilk(values: Iterable[float], *, name: str = "values") -> tuple[float, float]:
    """Return Shapiro-Wilk's statistic and its significance level."""
    raise NotImplementedError
