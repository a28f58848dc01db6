"""What mechanics takes of a material that may yield: its yield surface, flow and hardening curve."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.hardening import Hardening
from fejoint.joint.materials import Adhesive, Isotropic

__all__ = ["PROOF_STRAIN", "SHIFT", "Hardening", "Yielding", "yielding_of"]

Floats = NDArray[np.float64]

PROOF_STRAIN = 0.002  # plastic strain at the proof stress
# Ramberg and Osgood's curve has plastic strain at any stress and no finite slope at none: its first
# millionth of plastic strain is left out, so that yielding begins somewhere.
SHIFT = 1e-6


@dataclass(frozen=True)
class Yielding:
    """A material's yielding: when, in which direction, and how the yield stress grows.

    Attributes
    ----------
    yield_stress : float, MPa
        Yield stress in tension; with an exponent the 0.2 % proof stress.
    hardening : Hardening or None
        How it grows; None is perfectly plastic.
    surface : str
        ``"von-mises"``, ``"cone"`` or ``"paraboloid"``.
    compression_ratio : float
        Yield stress in compression over that in tension; 1 for von Mises.
    plastic_poisson_ratio : float
        That of the plastic strain under tension; 0.5 keeps the volume, as von Mises does.
    temperatures, factors : tuples of float, K and none
        By how much the whole curve is scaled at which absolute temperature; linear between. Empty: the same at all.
    """

    yield_stress: float
    hardening: Hardening | None = None
    surface: str = "von-mises"
    compression_ratio: float = 1.0
    plastic_poisson_ratio: float = 0.5
    temperatures: tuple[float, ...] = ()
    factors: tuple[float, ...] = ()

    def stress(self, plastic_strain: Floats | float, temperature: float | None = None) -> Floats:
        """Return the yield stress in tension, MPa, at equivalent plastic strains of any shape.

        Parameters
        ----------
        plastic_strain : array
            Equivalent plastic strain, at least 0.
        temperature : float, K
            Absolute temperature; only asked of materials whose yield stress depends on it.

        Raises
        ------
        ValueError
            No temperature was given, and the yield stress depends on it.
        """
        e, h = np.asarray(plastic_strain, dtype=np.float64), self.hardening
        if h is None:
            sigma = np.full_like(e, self.yield_stress)
        elif h.form == "table":
            assert h.plastic_strain is not None and h.stress is not None
            sigma = np.interp(e, h.plastic_strain, h.stress)
        elif h.form == "power":
            assert h.exponent is not None
            sigma = self.yield_stress * ((e + SHIFT) / (PROOF_STRAIN + SHIFT)) ** (1 / h.exponent)
        else:
            assert h.rise is not None and h.rate is not None
            sigma = self.yield_stress - h.rise * np.expm1(-h.rate * e) + (h.slope or 0.0) * e
        return np.asarray(self._factor(temperature) * sigma, dtype=np.float64)

    def slope(self, plastic_strain: Floats | float, temperature: float | None = None) -> Floats:
        """Return the slope of `stress`, MPa, at the same plastic strains; at a kink of a table the one after it."""
        e, h = np.asarray(plastic_strain, dtype=np.float64), self.hardening
        if h is None:
            slope = np.zeros_like(e)
        elif h.form == "table":
            assert h.plastic_strain is not None and h.stress is not None
            # Behind the last point the stress stays.
            slopes = np.append(np.diff(h.stress) / np.diff(h.plastic_strain), 0.0)
            slope = slopes[np.maximum(np.searchsorted(h.plastic_strain, e, side="right") - 1, 0)]
        elif h.form == "power":
            assert h.exponent is not None
            sigma = self.yield_stress * ((e + SHIFT) / (PROOF_STRAIN + SHIFT)) ** (1 / h.exponent)
            slope = sigma / (h.exponent * (e + SHIFT))
        else:
            assert h.rise is not None and h.rate is not None
            slope = h.rise * h.rate * np.exp(-h.rate * e) + (h.slope or 0.0)
        return np.asarray(self._factor(temperature) * slope, dtype=np.float64)

    def _factor(self, temperature: float | None) -> float:
        if not self.temperatures:
            return 1.0
        if temperature is None:
            raise ValueError("the yield stress depends on the temperature: give it")
        return float(np.interp(temperature, self.temperatures, self.factors))


def yielding_of(material: Isotropic) -> Yielding:
    """Return how a material yields, one that states where it begins to (`Isotropic.yields`)."""
    start, adhesive = material.tensile_yield, material if isinstance(material, Adhesive) else None
    at = adhesive.at_temperature if adhesive is not None else None
    temperatures: tuple[float, ...] = ()
    factors: tuple[float, ...] = ()
    if at is not None and at.tensile_yield is not None:
        start = start or at.tensile_yield[0]
        temperatures, factors = at.temperature, tuple(stress / start for stress in at.tensile_yield)
    if start is None:
        raise ValueError("the material does not state where yielding begins")
    made = Yielding(start, material.hardening, temperatures=temperatures, factors=factors)
    if adhesive is None or adhesive.compression_ratio is None or adhesive.yield_surface == "von-mises":
        return made  # von Mises takes no notice of the two figures
    nu = 0.5 if adhesive.plastic_poisson_ratio is None else adhesive.plastic_poisson_ratio
    return replace(made, surface=adhesive.yield_surface, compression_ratio=adhesive.compression_ratio, plastic_poisson_ratio=nu)
