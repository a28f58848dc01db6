"""What a reduction returns, whatever the test: named figures with intervals, the points read off the curve, curves beside it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError

__all__ = ["Figure", "Line", "Mark", "Reduction", "fitted_line", "needed", "t_factor"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Figure:
    """One figure of one specimen.

    Attributes
    ----------
    name : str
        In words.
    value : float
        In `unit`.
    unit : str
        One of `fejoint.units.DIMENSIONS`.
    low, high : float or None
        Interval at the confidence of the test file, where the curve itself tells one.
    """

    name: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Mark:
    """A point that was read off a curve: mm and N of the pull as corrected."""

    name: str
    displacement: float
    force: float


@dataclass(frozen=True, eq=False)
class Reduction:
    """What a specimen's curve comes to.

    Attributes
    ----------
    figures : dict
        By key, such as ``strength``; the main one of the kind is among them.
    marks : tuple of Mark
    plateau : (low, high, mean) or None
        Displacements (mm) between which the mean force (N) was taken.
    curve : (x, y) arrays or None
        A second curve: shear strain and stress (MPa); crack length (mm) and toughness (N/mm).
    band : (y_low, y_high) arrays or None
        Interval of that curve's values.
    notes : tuple of str
        What a reader must know, a sentence each.
    """

    figures: dict[str, Figure]
    marks: tuple[Mark, ...] = ()
    plateau: tuple[float, float, float] | None = None
    curve: tuple[Floats, Floats] | None = None
    notes: tuple[str, ...] = ()
    more: Mapping[str, tuple[Floats, Floats]] = field(default_factory=dict)


@dataclass(frozen=True)
class Line:
    """A straight line by least squares: y = intercept + slope x, with standard errors and what is left over."""

    slope: float
    intercept: float
    slope_error: float
    intercept_error: float
    residual: float
    """Standard deviation of what is left over, with n - 2"""
    number: int
    mean: float
    """Of x"""

    @property
    def freedom(self) -> int:
        """Degrees of freedom."""
        return self.number - 2


def fitted_line(x: Floats, y: Floats, what: str) -> Line:
    """Return the line through points by least squares; `what` is what errors call them.

    Raises
    ------
    JointError
        Fewer than three points, or all at one x.
    """
    n = len(x)
    if n < 3:
        raise JointError(f"{what}: has {n} point{'' if n == 1 else 's'}, and a line with its interval needs 3.")
    dx, dy = x - x.mean(), y - y.mean()
    squares = float(dx @ dx)
    if squares <= 1e-24 * max(1.0, float(np.max(np.abs(x))) ** 2):
        raise JointError(f"{what}: all points lie at {x[0]:g}; a line needs points at different places.")
    slope = float(dx @ dy) / squares
    left = dy - slope * dx
    residual = math.sqrt(float(left @ left) / (n - 2))
    return Line(
        slope,
        float(y.mean() - slope * x.mean()),
        residual / math.sqrt(squares),
        residual * math.sqrt(1 / n + float(x.mean()) ** 2 / squares),
        residual,
        n,
        float(x.mean()),
    )


def t_factor(freedom: float, confidence: float) -> float:
    """Return how many standard errors a two-sided interval reaches to each side: Student's t."""
    from scipy.stats import t

    return float(t.ppf(0.5 + confidence / 2, freedom))


def needed(name: str, dimensions: Mapping[str, float | None], *keys: str) -> tuple[float, ...]:
    """Return the dimensions that a reduction cannot do without.

    Raises
    ------
    JointError
        One is missing: names specimen and keys.
    """
    missing = [key for key in keys if dimensions.get(key) is None]
    if missing:
        raise JointError(
            f"specimen {name}: {' and '.join(missing)} missing; give {'it' if len(missing) == 1 else 'them'} in "
            f"[coupons.specimen] for all, or in [[coupons.specimens]] for this one."
        )
    return tuple(float(dimensions[key]) for key in keys)  # type: ignore[arg-type]
