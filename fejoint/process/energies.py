"""Surface energies in a dispersive and a polar part: work of adhesion, contact angle, spreading, and a surface's own energy.

Young-Dupre, W = gl (1 + cos theta), says what a contact angle is worth; the
geometric means of Owens & Wendt (J. Appl. Polym. Sci. 13, 1969, 1741-1747),
W = 2 (sqrt(gs_d gl_d) + sqrt(gs_p gl_p)), say what two materials make of each
other. Both hold for a smooth, clean, even surface at rest: roughness, dirt and
the way a drop came there (advancing, receding) change what is read. 1 mN/m is
1 mJ/m^2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Annotated, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, model_validator

from fejoint.errors import JointError
from fejoint.joint.model import Model, Unit, refuse

__all__ = [
    "Energies",
    "Reading",
    "SurfaceEnergy",
    "angle_band",
    "contact_angle",
    "spreading",
    "surface_energy",
    "wetting_envelope",
    "work_of_adhesion",
    "work_of_angle",
]

Floats = NDArray[np.float64]

LEAST_DIRECTION = 5.0  # degrees between the directions of two liquids; glycerol and ethylene glycol have 4
LEAST_UNCERTAINTY = 0.01  # degrees: nobody reads an angle better, and weights of nearly nothing would divide by zero
USUAL_UNCERTAINTY = 2.0  # degrees of a reading; common practice, no source


class Energies(Model):
    """Surface energy (of a liquid: tension) in two parts."""

    dispersive: Annotated[float, Unit("mN/m", ge=0, le=10000)] = Field(examples=["21.8 mN/m"])
    """Dispersive part"""
    polar: Annotated[float, Unit("mN/m", ge=0, le=10000)] = Field(examples=["51.0 mN/m"])
    """Polar part"""
    source: str = Field("user's", examples=["user's"])
    """Where the figures come from"""
    name: str = Field("", examples=["water"])
    """What it is"""

    @property
    def total(self) -> float:
        """Both parts together, mN/m."""
        return self.dispersive + self.polar

    @property
    def roots(self) -> Floats:
        """Square roots of the dispersive and the polar part, (2,) in (mN/m)^(1/2)."""
        return np.sqrt([self.dispersive, self.polar])

    @model_validator(mode="after")
    def _some(self) -> Self:
        if not self.total > 0:
            refuse("dispersive", self.dispersive, "must lie above 0 where the polar part is 0")
        if not self.source.strip() or not self.source.isprintable() or len(self.source) > 200:
            refuse("source", self.source, "must be text of 1 to 200 printable characters")
        if not self.name.isprintable() or len(self.name) > 80:
            refuse("name", self.name, "must be text of at most 80 printable characters")
        return self


@dataclass(frozen=True)
class Reading:
    """A contact angle of a probe liquid, in degrees above 0 up to 180, and its standard uncertainty."""

    liquid: Energies
    angle: float
    uncertainty: float = USUAL_UNCERTAINTY

    def __post_init__(self) -> None:
        """Refuse what is no angle; one of 0 says only that the liquid spreads, which is a bound and no reading."""
        if not 0 < self.angle <= 180:
            raise JointError(
                f"angle = {self.angle:g} deg: must lie above 0 and be at most 180; a liquid that spreads tells none."
            )
        if not LEAST_UNCERTAINTY <= self.uncertainty <= 45:
            raise JointError(f"uncertainty = {self.uncertainty:g} deg: must be at least {LEAST_UNCERTAINTY:g} and at most 45.")


@dataclass(frozen=True, eq=False)
class SurfaceEnergy:
    """Surface energy of a solid from readings of its contact angles.

    Attributes
    ----------
    energies : Energies, mN/m
    errors : (float, float, float), mN/m
        Standard errors of the dispersive part, the polar part and the total.
    covariance : (2, 2) array, (mN/m)^2
        Of the dispersive and the polar part.
    root_covariance : (2, 2) array, mN/m
        Of their square roots, which is what the readings are linear in.
    residuals : (readings,) array, degrees
        Angle read less that of the energies found.
    freedom : int
        Readings beyond the two that are needed.
    scatter : float
        How far readings lie from the energies found, over their stated
        uncertainty (root of the reduced chi square); 0 where freedom is 0.
        Above 1 it widens the errors; below 1 it does not narrow them, as a few
        readings may agree by chance.
    clipped : str
        ``"polar"`` or ``"dispersive"`` where its root came out negative and was set to 0; else empty.
    """

    energies: Energies
    errors: tuple[float, float, float]
    covariance: Floats
    root_covariance: Floats
    residuals: Floats
    freedom: int
    scatter: float
    clipped: str

    @property
    def dispersive(self) -> float:
        """Dispersive part, mN/m."""
        return self.energies.dispersive

    @property
    def polar(self) -> float:
        """Polar part, mN/m."""
        return self.energies.polar

    @property
    def total(self) -> float:
        """Both parts together, mN/m."""
        return self.energies.total


# ---- of two materials ------------------------------------------------------


def work_of_adhesion(solid: Energies, liquid: Energies) -> float:
    """Return the work of adhesion of a liquid on a solid, mJ/m^2 (Owens & Wendt 1969, geometric means of both parts)."""
    return float(2 * solid.roots @ liquid.roots)


def work_of_angle(tension: float, angle: float) -> float:
    """Return the work of adhesion (mJ/m^2) that a contact angle (degrees) of a liquid of a tension (mN/m) shows (Young-Dupre).

    Raises
    ------
    JointError
        The angle lies outside 0 to 180, or the tension is not above 0.
    """
    if not 0 <= angle <= 180:
        raise JointError(f"angle = {angle:g} deg: must be at least 0 and at most 180.")
    if not (tension > 0 and math.isfinite(tension)):
        raise JointError(f"tension = {tension:g} mN/m: must lie above 0.")
    return tension * (1 + math.cos(math.radians(angle)))


def spreading(work: float, tension: float) -> float:
    """Return the spreading coefficient, mN/m: work of adhesion less that of cohesion, 2 gl; from 0 on the liquid spreads."""
    return work - 2 * tension


def contact_angle(solid: Energies, liquid: Energies) -> float:
    """Return the contact angle of a liquid on a solid in degrees; 0 where it spreads."""
    return _angle(work_of_adhesion(solid, liquid) / liquid.total - 1)


def _angle(cosine: float) -> float:
    return math.degrees(math.acos(min(max(cosine, -1.0), 1.0)))


def angle_band(surface: SurfaceEnergy, liquid: Energies) -> tuple[float, float]:
    """Return the contact angles one standard error of the surface's energy below and above, degrees."""
    work = work_of_adhesion(surface.energies, liquid)
    # The work is linear in the roots of the surface's parts, so this needs no derivative where one of them is 0.
    error = 2 * math.sqrt(max(float(liquid.roots @ surface.root_covariance @ liquid.roots), 0.0))
    return _angle((work + error) / liquid.total - 1), _angle((work - error) / liquid.total - 1)


def wetting_envelope(solid: Energies, angle: float, direction: ArrayLike) -> tuple[Floats, Floats]:
    """Return the liquids that make a contact angle on a solid: their dispersive and polar parts.

    Parameters
    ----------
    solid : Energies
    angle : float
        Degrees, below 180.
    direction : (n,) array
        Degrees from the dispersive axis (0) to the polar one (90).

    Returns
    -------
    two (n,) arrays, mN/m
        A liquid nearer to the origin makes a smaller angle.
    """
    phi = np.radians(np.asarray(direction, float))
    d, p = np.cos(phi), np.maximum(np.sin(phi), 0.0)
    d = np.maximum(d, 0.0)
    half = (1 + math.cos(math.radians(angle))) / 2
    size = ((np.sqrt(solid.dispersive * d) + np.sqrt(solid.polar * p)) / (half * (d + p))) ** 2
    return size * d, size * p


# ---- of a surface's readings -----------------------------------------------


def surface_energy(readings: Sequence[Reading]) -> SurfaceEnergy:
    """Return the surface energy that contact angles of two or more probe liquids show, by least squares.

    Owens & Wendt's equation is linear in the square roots of the surface's two
    parts: gl (1 + cos theta) / 2 = sqrt(gl_d) x_d + sqrt(gl_p) x_p. Each reading
    counts by the uncertainty of its left side. Several readings of one liquid
    are several entries.

    Raises
    ------
    JointError
        Fewer than two liquids, or liquids that cannot be told apart.
    """
    a = np.array([reading.liquid.roots for reading in readings]).reshape(-1, 2)
    apart = _largest_direction(a)
    if len(np.unique(a, axis=0)) < 2:
        raise JointError("readings: hold one liquid alone, which does not tell two parts; add readings of a second.")
    if apart < LEAST_DIRECTION:
        raise JointError(
            f"readings: the liquids cannot be told apart, their dispersive and polar parts being nearly in one ratio (directions "
            f"{apart:.2g} degrees apart, {LEAST_DIRECTION:g} needed); add one that is nearly all dispersive, or water."
        )
    tension = np.array([reading.liquid.total for reading in readings])
    theta, sigma = (np.radians([getattr(reading, key) for reading in readings]) for key in ("angle", "uncertainty"))
    y = tension * (1 + np.cos(theta)) / 2
    # The second term is that of the second order: near 0 and 180 degrees the first vanishes.
    error = tension / 2 * np.sqrt(np.sin(theta) ** 2 * sigma**2 + np.cos(theta) ** 2 * sigma**4 / 2)
    rows, left = a / error[:, None], y / error
    normal = np.linalg.inv(rows.T @ rows)
    x = normal @ (rows.T @ left)
    clipped = ""
    for i, part in enumerate(("dispersive", "polar")):
        if x[i] < 0:  # the other one alone, which cannot be negative then
            clipped, other = part, rows[:, 1 - i]
            x = np.zeros(2)
            x[1 - i] = other @ left / (other @ other)
    freedom = len(left) - 2
    scatter = math.sqrt(float(np.sum((left - rows @ x) ** 2)) / freedom) if freedom else 0.0
    of_roots = normal * max(scatter, 1.0) ** 2
    # Of squares of normal variables, exactly: the errors do not vanish where a part is 0.
    covariance = 4 * np.outer(x, x) * of_roots + 2 * of_roots**2
    found = Energies(dispersive=float(x[0] ** 2), polar=float(x[1] ** 2), source="from contact angles")
    errors = (math.sqrt(covariance[0, 0]), math.sqrt(covariance[1, 1]), math.sqrt(max(float(covariance.sum()), 0.0)))
    residuals = np.array([reading.angle - contact_angle(found, reading.liquid) for reading in readings])
    return SurfaceEnergy(found, errors, covariance, of_roots, residuals, freedom, scatter, clipped)


def _largest_direction(roots: Floats) -> float:
    """Return the largest angle between the directions of any two liquids, degrees."""
    directions = np.degrees(np.arctan2(roots[:, 1], roots[:, 0]))
    return max((abs(float(one - two)) for one, two in combinations(directions, 2)), default=0.0)
