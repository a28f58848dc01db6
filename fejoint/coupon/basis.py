"""A- and B-basis values of coupons, by distribution, and which of them to lean on."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.distributions import DISTRIBUTIONS, fitted
from fejoint.coupon.normality import SIGNIFICANCE, Agreement, agreement
from fejoint.coupon.statistics import as_values
from fejoint.coupon.tolerance import normal_factor, number_by_rank, rank, two_value_factor, weibull_factor

__all__ = ["BASES", "NOT_AN_ALLOWABLE", "BasisValues", "Bound", "basis_values"]

Floats = NDArray[np.float64]
Basis = Literal["A", "B"]

BASES: dict[Basis, tuple[float, float]] = {"A": (0.99, 0.95), "B": (0.90, 0.95)}
"""What a basis value means: the share of all coupons that is stronger, and the confidence."""

LEAST = 3
"""Values that a basis value is worked out from: of two nobody can tell how they scatter."""

NOT_AN_ALLOWABLE = (
    "Basis values of these coupons, not a design allowable: that takes enough batches, the environments of service and "
    "the authority's agreement."
)
METHODS = ("normal", "lognormal", "weibull", "by rank", "by two values")


@dataclass(frozen=True)
class Bound:
    """One basis value.

    Attributes
    ----------
    basis : str
        ``A`` or ``B``.
    method : str
        ``normal``, ``lognormal``, ``weibull``, ``by rank`` (non-parametric) or ``by two values``.
    value : float or None
        In the unit of the values; None where it is refused.
    factor : float or None
        Normal: k of mean - k s. Lognormal: k of the logarithms. Weibull: k of scale exp(-k / shape). By rank: the rank
        of the value taken. By two values: k of x_r (x_1 / x_r)^k.
    needed : int or None
        How many values it needs where there are too few.
    reason : str
        Why it is refused; empty otherwise.
    """

    basis: Basis
    method: str
    value: float | None
    factor: float | None = None
    needed: int | None = None
    reason: str = ""


@dataclass(frozen=True)
class BasisValues:
    """A- and B-basis values of one lot of values; of these coupons, not a design allowable.

    Attributes
    ----------
    n : int
    bounds : tuple of Bound
        Two for each method, A before B.
    agreements : tuple of Agreement
        How well each distribution agrees with the values.
    recommended : str
        The method to lean on.
    reason : str
        Why, in a sentence.
    cautions : tuple of str
        What a reader should know.
    """

    n: int
    bounds: tuple[Bound, ...]
    agreements: tuple[Agreement, ...]
    recommended: str
    reason: str
    cautions: tuple[str, ...] = field(default=())

    def bound(self, basis: Basis, method: str | None = None) -> Bound:
        """Return the bound of a basis by a method, the recommended one unless another is named."""
        wanted = self.recommended if method is None else method
        return next(b for b in self.bounds if b.basis == basis and b.method == wanted)


def basis_values(values: Iterable[float], *, significance: float = SIGNIFICANCE, name: str = "values") -> BasisValues:
    """Return A-basis (99 % stronger) and B-basis values (90 % stronger), both with 95 % confidence, by every method.

    The recommended distribution is, of those that the values do not speak against, the one with the lowest B-basis
    value: so that chance never picks a stronger one.

    Parameters
    ----------
    values : iterable of float
        At least 3 strengths of like coupons, in one unit, each from a coupon of its own.
    significance : float
        A distribution is rejected when values as far from it, or farther, are rarer than this.
    name : str
        What the values are called in a refusal.

    Raises
    ------
    JointError
        Fewer than 3 values, what is no finite number, or values that are all equal.
    """
    raise NotImplementedError
