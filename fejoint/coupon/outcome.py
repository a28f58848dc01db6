"""What a coupon test comes to: its specimens, each with its curve, its figures and what was seen of it."""

from __future__ import annotations

from dataclasses import dataclass

from fejoint.coupon.curve import Pull
from fejoint.coupon.description import Coupons, Specimen
from fejoint.coupon.patterns import Pattern, averaged
from fejoint.coupon.reduction import Reduction
from fejoint.coupon.standards import KINDS, Kind, rounded

__all__ = ["ReducedSpecimen", "ReducedTest"]


@dataclass(frozen=True, eq=False)
class ReducedSpecimen:
    """One specimen: its curve, dimensions and figures.

    Attributes
    ----------
    pull : Pull
        The machine's compliance taken off.
    entry : Specimen
        What the file says of it: pattern, note, whether it is left out.
    dimensions : dict
        mm, MPa.
    reduction : Reduction
    """

    pull: Pull
    entry: Specimen
    dimensions: dict[str, float]
    reduction: Reduction

    @property
    def name(self) -> str:
        """The specimen's name."""
        return self.pull.name

    @property
    def counts(self) -> bool:
        """Whether it is part of the statistics."""
        return not self.entry.excluded


@dataclass(frozen=True, eq=False)
class ReducedTest:
    """A coupon test with all its specimens reduced.

    Attributes
    ----------
    test : Coupons
    specimens : tuple of ReducedSpecimen
        In the files' order.
    machine_compliance : float
        mm/N, taken off every displacement.
    metal_compliance : float or None
        mm/N, of the run on metal alone.
    cautions : tuple of str
        Where the test is not as the standard has it, and what else to mind; a sentence each.
    """

    test: Coupons
    specimens: tuple[ReducedSpecimen, ...]
    machine_compliance: float
    metal_compliance: float | None
    cautions: tuple[str, ...]

    @property
    def kind(self) -> Kind:
        """The kind of test."""
        return KINDS[self.test.what]

    @property
    def counted(self) -> tuple[ReducedSpecimen, ...]:
        """Specimens that are part of the statistics."""
        return tuple(one for one in self.specimens if one.counts)

    def values(self, key: str = "") -> list[float]:
        """Return one figure of every specimen that counts and has it, the main one unless named; in its inside unit."""
        key = key or self.kind.main
        return [one.reduction.figures[key].value for one in self.counted if key in one.reduction.figures]

    @property
    def pattern(self) -> Pattern | None:
        """Mean failure pattern of the specimens that count and have one."""
        return averaged([one.entry.seen for one in self.counted if one.entry.seen is not None])

    def reported(self, value: float) -> str:
        """Return a value as the standard rounds it, or to three digits."""
        followed = self.test.followed
        return rounded(value, followed.digits if followed is not None else 3)
