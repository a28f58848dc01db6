"""What a joint is exposed to beside its loads: temperature and moisture, at one moment."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Environment", "celsius"]

ZERO_CELSIUS = 273.15


@dataclass(frozen=True)
class Environment:
    """Temperature and moisture that materials are asked about.

    Attributes
    ----------
    temperature_change : float, K
        Temperature now less the stress-free temperature.
    temperature : float or None, K
        Absolute temperature now; None where the joint does not state its stress-free temperature.
    moisture : float
        Mass fraction of water taken up.
    """

    temperature_change: float = 0.0
    temperature: float | None = None
    moisture: float = 0.0


def celsius(kelvin: float) -> str:
    """Return an absolute temperature as people write it."""
    return f"{round(kelvin - ZERO_CELSIUS, 6) + 0.0:g} degC"
