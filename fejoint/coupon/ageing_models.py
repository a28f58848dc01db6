"""How strength falls with time, and with temperature: the mean of each model and its slopes by the parameters.

    line            S = S0 - k t
    root-of-time    S = S0 - k sqrt(t)              as where water spreads into the layer
    level-off       S = F + (S0 - F) exp(-k t)      towards a floor F

With one temperature k is a number. With several k = exp(c - E / R (1 / T - 1 / T_ref)) (Arrhenius), so that it is above
0 and E is the activation energy. S may be the strength or its natural logarithm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

__all__ = ["GAS_CONSTANT", "MODELS", "Model", "Shape"]

Floats = NDArray[np.float64]
Model = Literal["line", "root-of-time", "level-off"]
MODELS: tuple[Model, ...] = ("line", "root-of-time", "level-off")
GAS_CONSTANT = 8.314462618  # J/(mol K), exact by the definition of kelvin and mole
ENERGIES = 1e3 * np.array([0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 75.0, 90.0, 110.0, 140.0, 180.0])  # J/mol, to start from
RATES = np.geomspace(0.1, 300.0, 24)  # of level-off, per longest time, to start from


@dataclass(frozen=True)
class Shape:
    """A model with or without an Arrhenius rate.

    Attributes
    ----------
    model : str
    reference : float or None
        Temperature at which the rate is exp(c), K; None where there is one temperature and no law.
    """

    model: Model
    reference: float | None

    @property
    def names(self) -> tuple[str, ...]:
        """The parameters, in order."""
        start = ("start", "floor") if self.model == "level-off" else ("start",)
        if self.reference is not None:
            return (*start, "log rate", "activation energy")
        return (*start, "log rate" if self.model == "level-off" else "rate")

    def mean(self, parameters: Floats, time: Floats, temperature: Floats | None) -> tuple[Floats, Floats]:
        """Return the mean (n,) at times (n,) and temperatures (n,) in K, and its slopes by the parameters (n, p)."""
        one = np.ones_like(time)
        if self.reference is None and self.model != "level-off":
            g = self._clock(time)
            return parameters[0] - parameters[1] * g, np.column_stack([one, -g])
        hotter = self._hotter(temperature, time)
        energy = parameters[-1] if self.reference is not None else 0.0
        log_rate = parameters[-2] if self.reference is not None else parameters[-1]
        rate = np.exp(np.clip(log_rate + energy * hotter, -300, 300))  # farther than any search goes on purpose
        if self.model == "level-off":
            start, floor = parameters[:2]
            left = np.exp(-np.minimum(rate * time, 700))
            by_log = -(start - floor) * left * rate * time
            value, slopes = floor + (start - floor) * left, [left, 1 - left, by_log]
        else:
            by_log = -rate * self._clock(time)
            value, slopes = parameters[0] + by_log, [one, by_log]
        if self.reference is not None:
            slopes.append(by_log * hotter)
        return value, np.column_stack(slopes)

    def starts(self, time: Floats, y: Floats, temperature: Floats | None) -> Floats | None:
        """Return parameters to start from, by least squares over a grid of rates and energies; None where nothing falls."""
        hotter = self._hotter(temperature, time)
        energies = ENERGIES if self.reference is not None else ENERGIES[:1]
        best: tuple[float, Floats | None] = (np.inf, None)
        for energy in energies:
            speed = np.exp(energy * hotter)
            for rate in RATES / np.max(time) if self.model == "level-off" else np.ones(1):
                fall = -np.expm1(-rate * speed * time) if self.model == "level-off" else speed * self._clock(time)
                matrix = np.column_stack([np.ones_like(fall), -fall])
                (start, by), *_ = np.linalg.lstsq(matrix, y, rcond=None)
                left = float(np.sum((y - matrix @ [start, by]) ** 2))
                law = [float(energy)] if self.reference is not None else []
                if self.model == "level-off":
                    found = [start, start - by, np.log(rate), *law]
                else:
                    found = [start, np.log(by) if by > 0 else np.nan, *law] if law else [start, by]
                if left < best[0] and (by > 0 or (self.model != "level-off" and not law)):
                    best = (left, np.array(found))
        return best[1]

    def fastest(self, parameters: Floats, temperature: Floats | None) -> float:
        """Return the largest log rate at temperatures (n,), of models that have one."""
        if self.reference is None or temperature is None:
            return float(parameters[-1])
        return float(np.max(parameters[-2] + parameters[-1] * self._hotter(temperature, temperature)))

    def _clock(self, time: Floats) -> Floats:
        return np.sqrt(time) if self.model == "root-of-time" else time

    def _hotter(self, temperature: Floats | None, time: Floats) -> Floats:
        """Return (1 / T_ref - 1 / T) / R, mol/J."""
        if self.reference is None or temperature is None:
            return np.zeros_like(time)
        return np.asarray((1 / self.reference - 1 / temperature) / GAS_CONSTANT)
