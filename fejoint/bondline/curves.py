"""The stresses along a bondline: the one result type of finite elements and closed forms alike.

Needs nothing of the mechanics, so that a study by closed forms alone starts
without them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "LINEAR",
    "LOGARITHMIC",
    "PIOLA",
    "SMALL",
    "TRACTIONS",
    "Bondline",
    "Curve",
    "EdgeLoads",
    "Peak",
    "foremost",
    "foremost_peak",
]

Floats = NDArray[np.float64]

LINEAR = "linear (small rotation): Cauchy stress in the bondline's directions"
SMALL = "small rotation: Cauchy stress in the bondline's directions, engineering strain"
PIOLA = "large rotation: second Piola-Kirchhoff stress in the bondline's own directions, Green-Lagrange strain"
TRACTIONS = "cohesive layer: its shear and normal traction per undeformed length, along and across its mid-line; nothing axial"
LOGARITHMIC = "large rotation: Cauchy stress in the directions of the turned mid-line, logarithmic strain"


@dataclass(frozen=True)
class Peak:
    """An extreme value and its place."""

    value: float
    x: float


def foremost(sizes: Sequence[float]) -> int:
    """Return the place of the largest size, of those equal to it but for round-off the first; 0 where none is a number."""
    largest = max((size for size in sizes if size == size), default=0.0)
    return next((i for i, size in enumerate(sizes) if size >= largest - 1e-6 * abs(largest)), 0)


def foremost_peak(peaks: Sequence[Peak], size: Callable[[Peak], float]) -> Peak:
    """Return the peak whose size is the largest, chosen as `foremost` does, so that tables, cases and pictures name the same."""
    return peaks[foremost([size(peak) for peak in peaks])]


@dataclass(frozen=True, eq=False)
class Curve:
    """Stresses along one level of a bondline, piecewise quadratic between every other point.

    Attributes
    ----------
    x : (n,) array, mm
        Places, increasing; odd in number: ends and middles of the pieces.
    shear, peel, axial : (n,) arrays, MPa
        Shear is positive for a joint in tension, peel when it opens; NaN
        where a theory does not give the stress.
    """

    x: Floats
    shear: Floats
    peel: Floats
    axial: Floats
    _extremes: dict[tuple[str, float], Peak] = field(default_factory=dict, init=False, repr=False)

    @classmethod
    def of_theory(cls, x: Floats, shear: Floats, peel: Floats | None = None) -> Curve:
        """Return the curve of a theory: it gives no axial stress, and some no peel (NaN)."""
        nothing = np.full_like(x, np.nan)
        return cls(x, shear, nothing if peel is None else peel, nothing)

    def at(self, x: Floats | float, name: str = "shear") -> Floats:
        """Return ``shear``, ``peel`` or ``axial`` at any places x (mm) inside the curve."""
        place, value = np.atleast_1d(np.asarray(x, dtype=float)), getattr(self, name)
        piece = np.clip(np.searchsorted(self.x[::2], place, side="right") - 1, 0, len(self.x) // 2 - 1)
        x0, x1, x2 = (self.x[2 * piece + k] for k in range(3))
        v0, v1, v2 = (value[2 * piece + k] for k in range(3))
        return np.asarray(
            v0 * (place - x1) * (place - x2) / ((x0 - x1) * (x0 - x2))
            + v1 * (place - x0) * (place - x2) / ((x1 - x0) * (x1 - x2))
            + v2 * (place - x0) * (place - x1) / ((x2 - x0) * (x2 - x1))
        )

    def highest(self, name: str) -> Peak:
        """Return the largest value of a stress and where it is, between points too."""
        return self._extreme(name, 1.0)

    def lowest(self, name: str) -> Peak:
        """Return the least value of a stress and where it is, between points too."""
        return self._extreme(name, -1.0)

    def largest(self, name: str) -> Peak:
        """Return the value that is largest in magnitude, with its sign."""
        high, low = self.highest(name), self.lowest(name)
        # Values that differ by round-off alone count as equal, so that a symmetric joint reports one end always.
        return low if abs(low.value) > abs(high.value) * (1 + 1e-6) else high

    def mean(self, name: str) -> float:
        """Return the average of a stress over the length (exact for the piecewise quadratics)."""
        value, width = getattr(self, name), np.diff(self.x[::2])
        areas = width * (value[0:-1:2] + 4 * value[1::2] + value[2::2]) / 6
        return float(areas.sum() / width.sum())

    def part(self, start: float, end: float) -> Curve:
        """Return the curve between two places, itself made of its points inside and the two ends."""
        # An end that meets one of the points but for round-off makes no piece of its own.
        ends, near = self.x[::2], 1e-9 * (end - start)
        pieces = np.concatenate([[start], ends[(ends > start + near) & (ends < end - near)], [end]])
        x = np.empty(2 * len(pieces) - 1)
        x[::2], x[1::2] = pieces, (pieces[1:] + pieces[:-1]) / 2
        return Curve(x, *(self.at(x, name) for name in ("shear", "peel", "axial")))

    def _extreme(self, name: str, sign: float) -> Peak:
        if (name, sign) not in self._extremes:  # asked for by checks, tables and summary alike
            self._extremes[name, sign] = self._find_extreme(name, sign)
        return self._extremes[name, sign]

    def _find_extreme(self, name: str, sign: float) -> Peak:
        value = sign * getattr(self, name)
        v0, v1, v2 = value[0:-1:2], value[1::2], value[2::2]
        # Vertex of the parabola through each piece's three points, at -1, 0, 1.
        slope, bend = (v2 - v0) / 2, (v0 + v2) / 2 - v1
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.where(bend < 0, np.clip(-slope / (2 * bend), -1, 1), np.where(v2 > v0, 1.0, -1.0))
        top = v1 + slope * t + bend * t * t
        if np.isnan(top).all():
            return Peak(float("nan"), float("nan"))
        # The two ends of a balanced joint are equal but for round-off: take the left one, always.
        best = np.nanmax(top)
        k = int(np.flatnonzero(top >= best - 1e-6 * abs(best))[0])
        x0, x2 = self.x[2 * k], self.x[2 * k + 2]
        return Peak(float(sign * top[k]), float((x0 + x2) / 2 + t[k] * (x2 - x0) / 2))


@dataclass(frozen=True)
class EdgeLoads:
    """What an adherend carries at the overlap's end, per unit width, about its own mid-plane.

    Attributes
    ----------
    axial : float, N/mm
        Tension positive.
    shear : float, N/mm
        Upwards on the side that faces +x.
    moment : float, N
        Counter-clockwise on the side that faces +x: positive stretches the lower face.
    """

    axial: float
    shear: float
    moment: float

    def surface_stress(self, thickness: float) -> float:
        """Return the largest beam stress on the faces, MPa: axial plus bending, in magnitude."""
        return abs(self.axial) / thickness + 6 * abs(self.moment) / thickness**2


@dataclass(frozen=True, eq=False)
class Bondline:
    """Stresses of one bondline.

    Attributes
    ----------
    number : int
        1, 2, ...: from below (double lap) or from the left (stepped lap).
    middle : Curve
        Mid-line of the layer.
    lower, upper : Curve or None
        The two interfaces, adhesive side, from half a bondline thickness
        inside the corners (where the stress is singular); None for a theory
        that has no thickness in it.
    left, right : EdgeLoads or None
        What the adherend that enters at each end carries there; None where
        the bondline does not reach the overlap's end.
    transferred : (n,) array or None, N/mm
        Load that the bond has passed on between the overlap's left end and
        each place of the mid-line, spew fillets and risers on the way
        included; None for a theory.
    measure : str
        Which stress this is.
    cauchy : Curve or None
        Mid-line stress in the axes of space beside that in the bondline's own
        directions; None where rotations are small.
    shear_strain, plastic_strain : (n,) arrays or None
        Along the mid-line, of an analysis along the load's path: engineering
        shear strain (twice that of Green and Lagrange where rotations are
        large: in simple shear the tangent of the angle), and equivalent
        plastic strain where the adhesive may yield.
    damage, opening, sliding : (n,) arrays or None
        Along the mid-line of a cohesive layer: 0 where it is sound, 1 where it has parted; how far its faces
        have come apart across and along it, mm (sliding as shear: positive for a joint in tension).
    flawed : tuple of (float, float), mm
        From where to where it has flaws, along x. Curves are 0 there on levels that are void or parted.
    """

    number: int
    middle: Curve
    lower: Curve | None = None
    upper: Curve | None = None
    left: EdgeLoads | None = None
    right: EdgeLoads | None = None
    transferred: Floats | None = None
    measure: str = LINEAR
    cauchy: Curve | None = None
    shear_strain: Floats | None = None
    plastic_strain: Floats | None = None
    damage: Floats | None = None
    opening: Floats | None = None
    sliding: Floats | None = None
    flawed: tuple[tuple[float, float], ...] = ()

    def bonded_round(self, x: float) -> tuple[float, float]:
        """Return from where to where the stretch between flaws goes that a place lies in, mm; the mid-line's ends without any."""
        start, end = float(self.x[0]), float(self.x[-1])
        for low, high in self.flawed:
            # The place of a peak may be a flaw's edge; which side it is on is then what is bonded.
            if high <= x + 1e-6 * (end - start):
                start = max(start, high)
            elif low >= x - 1e-6 * (end - start):
                end = min(end, low)
        return start, end

    @property
    def edge(self) -> EdgeLoads | None:
        """Edge loads of the end with the larger moment; the left one when they are equal but for round-off."""
        if self.left is None or self.right is None:
            return None
        return self.right if abs(self.right.moment) > abs(self.left.moment) * (1 + 1e-6) else self.left

    @property
    def x(self) -> Floats:
        """Places along the mid-line, mm."""
        return self.middle.x

    @property
    def shear(self) -> Floats:
        """Mid-line shear stress, MPa."""
        return self.middle.shear

    @property
    def peel(self) -> Floats:
        """Mid-line peel stress, MPa."""
        return self.middle.peel

    @property
    def peak_shear(self) -> Peak:
        """Mid-line shear of largest magnitude."""
        return self.middle.largest("shear")

    @property
    def peak_peel(self) -> Peak:
        """Largest (most opening) mid-line peel."""
        return self.middle.highest("peel")

    @property
    def least_peel(self) -> Peak:
        """Least (most closing) mid-line peel."""
        return self.middle.lowest("peel")

    def levels(self) -> dict[str, Curve]:
        """Return the curves there are, by level."""
        return {name: c for name in ("middle", "lower", "upper") if (c := getattr(self, name)) is not None}
