"""Strength against degree of cure, and when a joint may carry a load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.errors import JointError
from fejoint.process.rate_law import CureCurve

__all__ = ["StrengthLaw", "handling_time", "required_strength"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class StrengthLaw:
    """Strength against degree of cure: none below the first degree, then straight from point to point (or by a power).

    Attributes
    ----------
    degrees : (n,) array
        Rising.
    strengths : (n,) array, MPa
        Not falling.
    power : float
        Of the way within each piece; 1 is straight.
    """

    degrees: Floats
    strengths: Floats
    power: float = 1.0

    @property
    def gel(self) -> float:
        """Degree of cure below which there is no strength."""
        return float(self.degrees[0])

    def at(self, degree: ArrayLike) -> Floats:
        """Return the strength in MPa at degrees of cure (any shape)."""
        alpha = np.asarray(degree, float)
        x, y = self.degrees, self.strengths
        i = np.clip(np.searchsorted(x, alpha, side="right") - 1, 0, len(x) - 2)
        way = np.clip((alpha - x[i]) / (x[i + 1] - x[i]), 0.0, 1.0) ** self.power
        return np.asarray(np.where(alpha < x[0], 0.0, y[i] + way * (y[i + 1] - y[i])))

    def degree(self, strength: float) -> float | None:
        """Return the least degree of cure that has a strength in MPa; None where none has."""
        x, y = self.degrees, self.strengths
        if strength > y[-1]:
            return None
        if strength <= y[0]:
            return self.gel
        i = int(np.searchsorted(y, strength)) - 1
        return float(x[i] + ((strength - y[i]) / (y[i + 1] - y[i])) ** (1 / self.power) * (x[i + 1] - x[i]))


def required_strength(area: float, load: float, safety_factor: float) -> float:
    """Return the strength in MPa that an area (mm^2) needs for a load (N) times a factor.

    Raises
    ------
    JointError
        A value is not above 0.
    """
    for key, value in (("area", area), ("load", load), ("safety_factor", safety_factor)):
        if not (value > 0 and np.isfinite(value)):
            raise JointError(f"{key} = {value:g}: must be a finite number above 0.")
    return load * safety_factor / area


def handling_time(curve: CureCurve, strength: StrengthLaw, area: float, load: float, safety_factor: float) -> float | None:
    """Return when a joint may carry a handling load: from when strength times area is load times safety factor.

    Parameters
    ----------
    curve : CureCurve
    strength : StrengthLaw
    area : float, mm^2
    load : float, N
    safety_factor : float

    Returns
    -------
    float or None
        Seconds from mixing; None where that strength is never reached, or not
        within a year behind the history at its last temperature.

    Raises
    ------
    JointError
        A value is not above 0.
    """
    degree = strength.degree(required_strength(area, load, safety_factor))
    return None if degree is None else curve.time_at(degree)
