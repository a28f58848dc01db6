"""How a film between two plates thins under a steady pressure (Stefan's problem), and how much adhesive an area takes.

Lubrication theory: the film is thin beside its width, full from the start and
sticks to both plates, which are rigid and stay parallel; it flows out where it
is free. A power-law fluid has the shear stress tau = K rate^n (n = 1: Newton).

Flow out of a slit of thickness h under a pressure gradient g, per unit breadth:
q = 2n/(2n+1) (h/2)^((2n+1)/n) (g/K)^(1/n). A strip of width w closing at -dh/dt
has q = -dh/dt x at x from its middle, a disc of radius R q = -dh/dt r/2; their
pressures, integrated, bear the clamps. So -dh/dt = C h^((2n+1)/n), and

    h^(-(n+1)/n) = h0^(-(n+1)/n) + (n+1)/n C t.

For n = 1 these are 1/h^2 = 1/h0^2 + 2 P t/(eta w^2) for a strip and
1/h0^2 + 4 P t/(3 eta R^2) for a disc (Stefan 1874; power law: Scott 1931, both
from memory, derived above), P the mean pressure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.errors import JointError

__all__ = ["Amount", "Film", "amount", "rectangle_share"]

Floats = NDArray[np.float64]
PA = 1e6  # Pa of a MPa


@dataclass(frozen=True)
class Film:
    """A film under clamp pressure.

    Attributes
    ----------
    shape : str
        ``"strip"``, long and open at both long edges, or ``"disc"``.
    size : float, mm
        Width of the strip, from free edge to free edge, or radius of the disc.
    pressure : float, MPa
        Mean pressure, steady.
    viscosity : float, Pa*s
        At the shear rate `at_rate`.
    flow_index : float
        n of the power law: 1 for Newton, less where the fluid thins under shear.
    at_rate : float, 1/s
        Shear rate of the viscosity; of no meaning where n = 1.
    """

    shape: Literal["strip", "disc"]
    size: float
    pressure: float
    viscosity: float
    flow_index: float = 1.0
    at_rate: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what is no film."""
        if self.shape not in ("strip", "disc"):
            raise JointError(f'shape = "{self.shape}": must be "strip" or "disc".')
        for key in ("size", "pressure", "viscosity", "flow_index", "at_rate"):
            value = getattr(self, key)
            if not (value > 0 and math.isfinite(value)):
                raise JointError(f"{key} = {value:g}: must be a finite number above 0.")

    @property
    def consistency(self) -> float:
        """K of the power law, in Pa*s^n."""
        return float(self.viscosity * self.at_rate ** (1 - self.flow_index))

    @property
    def speed(self) -> float:
        """C of the closing speed C h^((2n+1)/n), in mm and s."""
        n, ratio = self.flow_index, PA * self.pressure / self.consistency
        if self.shape == "strip":
            # P w = 2 K (C (2n+1)/(2n))^n 2^(2n+1) (w/2)^(n+2)/(n+2)
            per_n = ratio * self.size * (n + 2) / (2 ** (2 * n + 2) * (self.size / 2) ** (n + 2))
            return float(2 * n / (2 * n + 1) * per_n ** (1 / n))
        # P pi R^2 = pi K (C (2n+1)/(4n))^n 2^(2n+1) R^(n+3)/(n+3)
        per_n = ratio * (n + 3) / (2 ** (2 * n + 1) * self.size ** (n + 1))
        return float(4 * n / (2 * n + 1) * per_n ** (1 / n))

    def closing_speed(self, thickness: ArrayLike) -> Floats:
        """Return -dh/dt in mm/s at thicknesses (any shape) in mm."""
        n = self.flow_index
        return np.asarray(self.speed * np.asarray(thickness, float) ** ((2 * n + 1) / n))

    def thickness(self, start: float, time: ArrayLike) -> Floats:
        """Return the thickness in mm after times (any shape) in s, from a start in mm.

        Raises
        ------
        JointError
            A time is negative, or the start is not above 0.
        """
        times = np.asarray(time, float)
        if not np.all(times >= 0):
            raise JointError("time: must not be negative.")
        _positive("start", start)
        power = (self.flow_index + 1) / self.flow_index
        return np.asarray(start * (1 + power * self.speed * start**power * times) ** (-1 / power))

    def time_to(self, start: float, target: float) -> float:
        """Return the time in s from a start to a target thickness, both in mm; 0 where it is there already.

        Raises
        ------
        JointError
            A thickness is not above 0.
        """
        _positive("start", start)
        _positive("target", target)
        if target >= start:
            return 0.0
        power = (self.flow_index + 1) / self.flow_index
        return float(((start / target) ** power - 1) / (power * self.speed * start**power))

    def shear_rate(self, thickness: float) -> float:
        """Return the largest shear rate in 1/s, at the plates by the free edge, at a thickness in mm."""
        n = self.flow_index
        flow = float(self.closing_speed(thickness)) * self.size / 2
        return flow * (2 * n + 1) / n * 2 / thickness**2


def rectangle_share(width: float, length: float) -> float:
    """Return the time that a rectangle open at all four edges takes, over that of a strip of its width without ends.

    Newton's fluid: the pressure solves Poisson's equation, as the stress
    function of a bar in torsion does, so the share is that series' (from memory:
    Timoshenko & Goodier, Theory of Elasticity; derived from Poisson's equation).

    Raises
    ------
    JointError
        A side is not above 0.
    """
    _positive("width", width)
    _positive("length", length)
    a, b = sorted((width, length))
    odd = np.arange(1, 60, 2)
    terms = np.tanh(odd * math.pi * b / (2 * a)) / odd**5
    share = 1 - 192 * a / (math.pi**5 * b) * float(terms.sum())
    return share * (a / width) ** 2


@dataclass(frozen=True)
class Amount:
    """Adhesive for an area.

    Attributes
    ----------
    volume : float, mL
        With the allowance.
    net : float, mL
        What stays in the glue line.
    mass : float or None, g
        None without a density.
    cartridges : int or None
        Of the size given; None without.
    """

    volume: float
    net: float
    mass: float | None
    cartridges: int | None


def amount(
    area: float, thickness: float, allowance: float, density: float | None = None, cartridge: float | None = None
) -> Amount:
    """Return how much adhesive an area takes.

    Parameters
    ----------
    area : float, mm^2
    thickness : float, mm
        Of the finished glue line.
    allowance : float
        What is put on beside it, for squeeze-out, tools and the nozzle, as a share of it.
    density : float, g/cm^3, optional
    cartridge : float, mL, optional
        What one cartridge gives.

    Raises
    ------
    JointError
        A value is out of range.
    """
    _positive("area", area)
    _positive("thickness", thickness)
    for key, value in (("density", density), ("cartridge", cartridge)):
        if value is not None:
            _positive(key, value)
    if not (allowance >= 0 and math.isfinite(allowance)):
        raise JointError(f"allowance = {allowance:g}: must be at least 0.")
    net = area * thickness / 1000
    volume = net * (1 + allowance)
    number = None if cartridge is None else max(1, math.ceil(volume / cartridge * (1 - 1e-12)))
    return Amount(volume, net, None if density is None else volume * density, number)


def _positive(key: str, value: float) -> None:
    if not (value > 0 and math.isfinite(value)):
        raise JointError(f"{key} = {value:g}: must be a finite number above 0.")
