"""Lots of coupons looked at from all sides: what each statistic says, and the refusal of each that has too few."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from fejoint.coupon.basis import BasisValues, basis_values
from fejoint.coupon.normality import SIGNIFICANCE, ShapiroWilk, shapiro_wilk
from fejoint.coupon.outliers import Outliers, outliers
from fejoint.coupon.pooling import Groups, Pooled, compared, pooled
from fejoint.coupon.statistics import Described, as_values, described
from fejoint.errors import JointError

__all__ = ["Lot", "Lots", "looked_at", "lots_of"]

Found = TypeVar("Found")
ALL = "all together"


@dataclass(frozen=True)
class Lot:
    """Values of like coupons and what can be said of them; what has too few values is None and stands in `refused`."""

    name: str
    values: tuple[float, ...]
    described: Described
    outliers: Outliers | None
    shapiro: ShapiroWilk | None
    basis: BasisValues | None
    refused: tuple[str, ...]


@dataclass(frozen=True)
class Lots:
    """Lots side by side.

    Attributes
    ----------
    lots : tuple of Lot
        One a group.
    compared : Groups or None
        Whether they could be of one population; None for one lot.
    whole : Lot or None
        All values as one lot, where they could be of one population.
    pooled : tuple of Pooled
        By standard deviation and, where that is refused, by coefficient of variation too.
    refused : tuple of str
    """

    lots: tuple[Lot, ...]
    compared: Groups | None
    whole: Lot | None
    pooled: tuple[Pooled, ...]
    refused: tuple[str, ...]


def looked_at(values: Iterable[float], name: str = "values", *, significance: float = SIGNIFICANCE) -> Lot:
    """Return a lot of at least 2 values, with every statistic that they are enough for.

    Raises
    ------
    JointError
        Fewer than 2 values, or what is no finite number.
    """
    x = tuple(as_values(values, 2, "a standard deviation", name=name).tolist())
    refused: list[str] = []
    return Lot(
        name=name,
        values=x,
        described=described(x, name=name),
        outliers=_unless(lambda: outliers(x, significance=significance, name=name), refused),
        shapiro=_unless(lambda: shapiro_wilk(x, name=name), refused),
        basis=_unless(lambda: basis_values(x, significance=significance, name=name), refused),
        refused=tuple(refused),
    )


def lots_of(groups: Mapping[str, Iterable[float]], *, significance: float = SIGNIFICANCE) -> Lots:
    """Return groups of coupons (batches, environments), each by itself, compared, together and pooled as far as allowed.

    Raises
    ------
    JointError
        No group, or one of fewer than 2 values, or what is no finite number.
    """
    if not groups:
        raise JointError("no coupons given; a standard deviation needs at least 2.")
    lots = tuple(looked_at(x, str(name), significance=significance) for name, x in groups.items())
    if len(lots) < 2:
        return Lots(lots, None, None, (), ())
    refused: list[str] = []
    values = {lot.name: lot.values for lot in lots}
    alike = _unless(lambda: compared(values, significance=significance), refused)
    one = [v for lot in lots for v in lot.values]
    whole = looked_at(one, ALL, significance=significance) if alike is not None and alike.alike else None
    found: list[Pooled] = []
    for of in ("deviation", "variation") if alike is not None else ():
        by = _unless(lambda of=of: pooled(values, of, significance=significance), refused)  # type: ignore[misc]
        found += [] if by is None else [by]
        if by is not None and not by.refused:
            break
    return Lots(lots, alike, whole, tuple(found), tuple(dict.fromkeys(refused)))


def _unless(work: Callable[[], Found], refused: list[str]) -> Found | None:
    try:
        return work()
    except JointError as error:
        refused.append(str(error))
        return None
