"""What a fitted ageing law says of another time or temperature, and when a strength is reached: each with its interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.ageing import AgeingFit
from fejoint.errors import JointError

__all__ = ["Prediction", "Reached", "predicted", "reached"]

Floats = NDArray[np.float64]
HORIZON = 100.0  # times the longest time seen: farther nothing is looked for
POINTS = 2000


@dataclass(frozen=True)
class Prediction:
    """The strength at a time.

    Attributes
    ----------
    time : float
    temperature : float or None
        K.
    mean : float
        Of many specimens (of a law of the logarithm: their median).
    mean_interval, specimen_interval : (float, float)
        Of that mean; of one new specimen.
    confidence : float
        Of both intervals.
    cautions : tuple of str
        Where it extrapolates in time or temperature.
    """

    time: float
    temperature: float | None
    mean: float
    mean_interval: tuple[float, float]
    specimen_interval: tuple[float, float]
    confidence: float
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Reached:
    """When the strength has fallen to a stated one.

    Attributes
    ----------
    strength : float
    temperature : float or None
        K.
    time : float or None
        When the mean has; None where it does not within a hundred times the longest time seen.
    earliest, latest : float or None
        When the lower and the upper end of the mean's interval have: the interval of `time`.
    specimen : float or None
        When the lower end of a new specimen's interval has.
    confidence : float
    cautions : tuple of str
    """

    strength: float
    temperature: float | None
    time: float | None
    earliest: float | None
    latest: float | None
    specimen: float | None
    confidence: float
    cautions: tuple[str, ...]


def predicted(fit: AgeingFit, time: float, temperature: float | None = None, *, confidence: float = 0.95) -> Prediction:
    """Return the strength at a time (unit of the data's) and temperature (K) with both intervals.

    Raises
    ------
    JointError
        A time below 0, another temperature where the data have but one, none where they have several, or so far off that
        the law gives no number.
    """
    _confident(confidence)
    if not np.isfinite(time) or time < 0:
        raise JointError(f"time {time:g}: must be 0 or more.")
    at = _temperature(fit, temperature)
    t = np.array([float(time)])
    mean, low, high = fit.band(t, at, confidence, specimen=False)
    _, least, most = fit.band(t, at, confidence, specimen=True)
    if not np.all(np.isfinite([mean, low, high, least, most])):
        raise JointError(f"time {time:g}: the law {fit.name} gives no finite strength there; stay nearer to what was tested.")
    return Prediction(
        time=float(time),
        temperature=at,
        mean=float(mean[0]),
        mean_interval=(float(low[0]), float(high[0])),
        specimen_interval=(float(least[0]), float(most[0])),
        confidence=confidence,
        cautions=_cautions(fit, float(time), at),
    )


def reached(fit: AgeingFit, strength: float, temperature: float | None = None, *, confidence: float = 0.95) -> Reached:
    """Return when a strength (unit of the data's) is reached, with the interval of that time.

    The interval is that of the times at which the strength lies within the mean's interval.

    Raises
    ------
    JointError
        A strength that is not above 0, or a temperature as in `predicted`.
    """
    _confident(confidence)
    if not np.isfinite(strength) or strength <= 0:
        raise JointError(f"strength {strength:g}: must be above 0.")
    at = _temperature(fit, temperature)
    longest = float(np.max(fit.data.time))
    grid = np.append(0.0, np.geomspace(1e-4, HORIZON, POINTS)) * longest
    mean, low, high = fit.band(grid, at, confidence, specimen=False)
    lowest = fit.band(grid, at, confidence, specimen=True)[1]
    curves = (mean, low, high, lowest)
    time, earliest, latest, specimen = (_crossing(fit, grid, one, strength, at, confidence, i) for i, one in enumerate(curves))
    far = max((t for t in (time, earliest) if t is not None), default=0.0)
    return Reached(strength, at, time, earliest, latest, specimen, confidence, _cautions(fit, far, at))


def _crossing(
    fit: AgeingFit, grid: Floats, curve: Floats, strength: float, at: float | None, confidence: float, which: int
) -> float | None:
    """Return the first time at which one of mean, lower, upper end and a specimen's lower end is down at a strength."""
    from scipy.optimize import brentq

    below = np.flatnonzero(curve <= strength)
    if not len(below):
        return None
    i = int(below[0])
    if i == 0:
        return 0.0

    def surplus(t: float) -> float:
        return float(fit.band(np.array([t]), at, confidence, which == 3)[(0, 1, 2, 1)[which]][0]) - strength

    return float(brentq(surplus, grid[i - 1], grid[i]))


def _temperature(fit: AgeingFit, temperature: float | None) -> float | None:
    """Return the temperature that a prediction is for, or refuse it."""
    if fit.shape.reference is None:
        one = fit.data.temperatures
        if temperature is not None and not (len(one) == 1 and abs(one[0] - temperature) < 0.5):
            raise JointError(
                f"temperature {temperature - 273.15:.4g} degC: specimens aged at one temperature say nothing of another; "
                "leave it out, or age some at another temperature."
            )
        return None
    if temperature is None:
        raise JointError("specimens aged at several temperatures: say at which one to predict (such as 40 degC).")
    if not 0 < temperature <= 2000:
        raise JointError(f"temperature {temperature:g} K: must lie above 0 K and be 2000 K at most.")
    return float(temperature)


def _cautions(fit: AgeingFit, time: float, temperature: float | None) -> tuple[str, ...]:
    cautions = []
    longest = float(np.max(fit.data.time))
    if time > longest * (1 + 1e-9):
        cautions.append(
            f"Extrapolated in time: {time / longest:.3g} times the longest one tested; intervals hold only if the law goes on."
        )
    if temperature is not None:
        low, high = fit.data.temperatures[0], fit.data.temperatures[-1]
        if not low - 1e-6 <= temperature <= high + 1e-6:
            cautions.append(
                f"Extrapolated in temperature: {temperature - 273.15:.4g} degC is outside {low - 273.15:.4g} to "
                f"{high - 273.15:.4g} degC, and a glass transition on the way would change the law."
            )
    return tuple(cautions)


def _confident(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise JointError(f"confidence = {confidence:g}: must lie between 0 and 1.")
