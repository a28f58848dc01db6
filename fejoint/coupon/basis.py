"""A- and B-basis values of coupons, by distribution, and which of them to lean on."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.distributions import DISTRIBUTIONS, Distribution, fitted
from fejoint.coupon.normality import LEAST as LEAST_AGREEMENT
from fejoint.coupon.normality import SIGNIFICANCE, Agreement, agreement
from fejoint.coupon.statistics import as_values
from fejoint.coupon.tolerance import normal_factor, number_by_rank, rank, two_value_factor, weibull_factor
from fejoint.errors import JointError

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
BY_RANK, BY_TWO = "by rank", "by two values"
PUBLISHED = 18
"""Coupons that a B-basis is commonly published from, of 3 batches or more (common practice, from memory)."""


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
        How well each distribution agrees with the values; none with fewer than 5 values.
    candidates : tuple of str
        The methods that the values leave: of each basis the lowest value among them is recommended.
    recommended : str
        The method of the recommended B-basis value (that of the A-basis may be another: see `bound`); empty where none
        serves.
    reason : str
        Why, in a sentence.
    cautions : tuple of str
        What a reader should know.
    """

    n: int
    bounds: tuple[Bound, ...]
    agreements: tuple[Agreement, ...]
    candidates: tuple[str, ...]
    recommended: str
    reason: str
    cautions: tuple[str, ...] = ()

    def bound(self, basis: Basis, method: str | None = None) -> Bound:
        """Return the bound of a basis by a method; the recommended one, of the lowest value, unless a method is named."""
        by = {b.method: b for b in self.bounds if b.basis == basis}
        if method is not None:
            return by[method]
        found = [(value, m) for m in self.candidates if (value := by[m].value) is not None]
        return by[min(found)[1]] if found else Bound(basis, "", None, reason=self.reason)


def basis_values(values: Iterable[float], *, significance: float = SIGNIFICANCE, name: str = "values") -> BasisValues:
    """Return A-basis (99 % stronger) and B-basis values (90 % stronger), both with 95 % confidence, by every method.

    Recommended is, of the distributions that the values do not speak against, the one with the lowest value, for each
    basis by itself: so that chance never picks a stronger one. (Simulated for 6 to 20 coupons, the choice included: the
    confidence is 97 % or more for normal and lognormal strengths, 93.5 to 95 % for Weibull's, whose own distribution is
    rejected for one lot in twenty.) Where the values speak against all, it is the value by
    rank, or by two values where there are too few for that.

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
    x = as_values(values, LEAST, "a basis value", name=name)
    if np.ptp(x) <= 1e-12 * np.max(np.abs(x)):
        raise JointError(f"{name}: all {len(x)} are equal; a basis value needs values that scatter.")
    positive = bool(np.min(x) > 0)
    usable: tuple[Distribution, ...] = DISTRIBUTIONS if positive else ("normal",)
    bounds = [_by_distribution(x, basis, d, positive) for d in DISTRIBUTIONS for basis in BASES]
    bounds += [_by_rank(x, basis) for basis in BASES] + [_by_two(x, basis, positive) for basis in BASES]
    enough = len(x) >= LEAST_AGREEMENT
    agreements = tuple(agreement(x, d, significance=significance, name=name) for d in usable) if enough else ()
    candidates, recommended, reason = _recommended(bounds, agreements, usable, significance)
    found = BasisValues(len(x), tuple(bounds), agreements, candidates, recommended, reason)
    return replace(found, cautions=_cautions(found))


def _by_distribution(x: Floats, basis: Basis, distribution: Distribution, positive: bool) -> Bound:
    if not positive and distribution != "normal":
        return Bound(basis, distribution, None, reason="needs values above 0")
    fit = fitted(x, distribution)
    share, confidence = BASES[basis]
    k = weibull_factor(x, fit, share, confidence) if distribution == "weibull" else normal_factor(len(x), share, confidence)
    value = fit.place - k * fit.spread
    return Bound(basis, distribution, math.exp(value) if fit.logarithmic else value, k)


def _by_rank(x: Floats, basis: Basis) -> Bound:
    r = rank(len(x), *BASES[basis])
    if r:
        return Bound(basis, BY_RANK, float(np.sort(x)[r - 1]), float(r))
    needed = number_by_rank(*BASES[basis])
    return Bound(basis, BY_RANK, None, needed=needed, reason=f"needs {needed} values, has {len(x)}")


def _by_two(x: Floats, basis: Basis, positive: bool) -> Bound:
    if not positive:
        return Bound(basis, BY_TWO, None, reason="needs values above 0")
    if len(x) >= number_by_rank(*BASES[basis]):
        return Bound(basis, BY_TWO, None, reason="has no use where a value by rank is to be had")
    r, k = two_value_factor(len(x), *BASES[basis])
    least, other = np.sort(x)[[0, r - 1]]
    if least == other:
        return Bound(basis, BY_TWO, None, reason=f"the {r} lowest values are equal: record more digits")
    return Bound(basis, BY_TWO, float(other * (least / other) ** k), k)


def _recommended(
    bounds: list[Bound], agreements: tuple[Agreement, ...], usable: tuple[Distribution, ...], significance: float
) -> tuple[tuple[str, ...], str, str]:
    """Return the methods that are left, that of the B-basis and why."""
    value = {b.method: b.value for b in bounds if b.basis == "B" and b.value is not None}
    rejected = [a.distribution for a in agreements if a.rejected]
    left = [d for d in usable if d not in rejected]
    against = f"the values speak against {_listed(rejected)} (Anderson-Darling, below {100 * significance:g} %)"
    if left:
        lowest = min(left, key=lambda d: value[d])
        if not agreements:
            why = f"there are too few values to tell distributions apart (that takes {LEAST_AGREEMENT})"
        elif rejected:
            why = against
        else:
            why = f"the values speak against none of {_listed(left)}" if len(left) > 1 else "the values do not speak against it"
        of = f"; of {_listed(left)} the lowest value is taken, so that chance picks no stronger one" if len(left) > 1 else ""
        return tuple(left), lowest, f"{why}{of}."
    for method in (BY_RANK, BY_TWO):
        if method in value:
            return (BY_RANK, BY_TWO), method, f"{against}; {method} no distribution is taken for granted."
    return (), "", f"{against}; a value by rank needs {number_by_rank(*BASES['B'])} values."


def _cautions(found: BasisValues) -> tuple[str, ...]:
    cautions = [NOT_AN_ALLOWABLE]
    if found.n < PUBLISHED:
        cautions.append(
            f"{found.n} coupons: a B-basis is commonly published from {PUBLISHED} or more, of 3 batches or more "
            "(common practice, from memory)."
        )
    below = [f"{basis}-basis" for basis in BASES if (v := found.bound(basis).value) is not None and v <= 0]
    if below:
        cautions.append(f"The {' and the '.join(below)} value is not above 0: for this scatter there are too few coupons.")
    return tuple(cautions)


def _listed(names: Iterable[str]) -> str:
    *first, last = [name.replace("weibull", "Weibull") for name in names] or [""]
    return f"{', '.join(first)} and {last}" if first else last
