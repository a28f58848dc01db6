"""Strength against time and temperature: fitted by greatest likelihood, specimens that were not broken counted as such.

Without such specimens the line and the root of time at one temperature are plain least squares, and their intervals are
exact; all others hold for large numbers and are made wider by Student's t (their coverage is tested by simulation).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.ageing_models import MODELS, Model, Shape
from fejoint.coupon.likelihood import greatest
from fejoint.coupon.statistics import as_values
from fejoint.errors import JointError

__all__ = ["Aged", "AgeingFit", "LackOfFit", "aged", "ageing_fit", "ageing_fits"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Aged:
    """Strengths of specimens that were aged.

    Attributes
    ----------
    time : (n,) array
        Any one unit.
    strength : (n,) array
        Any one unit; of a specimen that was not broken what it bore.
    broken : (n,) array of bool
    temperature : (n,) array, K, or None
        None where it was one and the same, or is not known.
    """

    time: Floats
    strength: Floats
    broken: Bools
    temperature: Floats | None = None

    @property
    def temperatures(self) -> tuple[float, ...]:
        """The temperatures of specimens that had time to age, K, lowest first."""
        if self.temperature is None:
            return ()
        return tuple(np.unique(self.temperature[self.time > 0]).tolist())


@dataclass(frozen=True)
class LackOfFit:
    """Whether groups of like specimens lie farther from the model than they scatter (F test).

    Attributes
    ----------
    statistic : float
    freedom : (int, int)
        Of what the model misses and of the scatter within groups.
    level : float
        How often a right model lies as far off, or farther.
    """

    statistic: float
    freedom: tuple[int, int]
    level: float

    @property
    def rejected(self) -> bool:
        """Whether the model is rejected: below 5 %."""
        return self.level < 0.05


@dataclass(frozen=True, eq=False)
class AgeingFit:
    """A model fitted to aged specimens.

    Attributes
    ----------
    data : Aged
    shape : Shape
    logarithmic : bool
        Whether the model is of the strength's natural logarithm.
    parameters : (p,) array
        By `shape.names`: strengths (or logarithms), rates by the unit of time, energy in J/mol.
    covariance : (p, p) array
        Of the parameters.
    deviation : float
        Standard deviation about the model, divided by n - p; of logarithms where it is of those.
    freedom : int
        Degrees of freedom of Student's t: broken specimens less parameters.
    criterion : float
        Akaike's, for few values: lower is better; comparable among models of the same specimens.
    lack_of_fit : LackOfFit or None
        None where specimens were not broken, or too few times were repeated.
    """

    data: Aged
    shape: Shape
    logarithmic: bool
    parameters: Floats
    covariance: Floats
    deviation: float
    freedom: int
    criterion: float
    lack_of_fit: LackOfFit | None

    @property
    def name(self) -> str:
        """The model in words."""
        return f"{self.shape.model}{' of the logarithm' if self.logarithmic else ''}"

    @property
    def errors(self) -> Floats:
        """Standard errors of the parameters (p,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def determined(self) -> float | None:
        """Share r^2 of the squares that the model explains; None where specimens were not broken."""
        if not self.data.broken.all():
            return None
        y = self._scale(self.data.strength)
        m, _ = self.shape.mean(self.parameters, self.data.time, self.data.temperature)
        return 1 - float(np.sum((y - m) ** 2) / np.sum((y - np.mean(y)) ** 2))

    def band(self, time: Floats, temperature: float | None, confidence: float, specimen: bool) -> tuple[Floats, Floats, Floats]:
        """Return the mean, and the interval's ends, at times (n,): of the mean, or of one new specimen.

        Of a logarithm the mean is turned back as it stands: it is the median of the strengths.
        """
        from scipy.special import stdtrit

        t = np.asarray(time, dtype=float)
        hot = None if temperature is None else np.full_like(t, temperature)
        m, j = self.shape.mean(self.parameters, t, hot)
        square = np.einsum("np,pq,nq->n", j, self.covariance, j) + (self.deviation**2 if specimen else 0.0)
        half = float(stdtrit(self.freedom, 0.5 + confidence / 2)) * np.sqrt(np.maximum(square, 0.0))
        found = (m, m - half, m + half)
        if not self.logarithmic:
            return found
        mean, low, high = (np.exp(np.clip(x, -700, 700)) for x in found)
        return mean, low, high

    def _scale(self, strength: Floats) -> Floats:
        return np.log(strength) if self.logarithmic else strength


def aged(
    time: Iterable[float],
    strength: Iterable[float],
    temperature: Iterable[float] | None = None,
    broken: Iterable[bool] | None = None,
) -> Aged:
    """Return aged specimens, checked.

    Parameters
    ----------
    time, strength : (n,)
        Any unit each; times 0 or more, strengths above 0.
    temperature : (n,), K, or None
        NaN is allowed for specimens of time 0, whose temperature does not matter.
    broken : (n,) of bool, or None
        False for a specimen that was not broken, whose strength is above what it bore; all broken unless given.

    Raises
    ------
    JointError
        Numbers out of their range, or columns of unlike length.
    """
    t = as_values(time, 1, "ageing", name="time")
    s = as_values(strength, 1, "ageing", name="strength", positive=True)
    b = np.ones(len(t), dtype=bool) if broken is None else np.array([bool(one) for one in broken])
    if np.min(t) < 0:
        raise JointError(f"time: {np.min(t):g} is among them; a time of ageing must be 0 or more.")
    hot = None
    if temperature is not None:
        raw = np.array([float(one) for one in temperature])
        if len(raw) == len(t):
            known = raw[~np.isnan(raw)]
            raw = np.where(np.isnan(raw) & (t == 0), np.min(known) if len(known) else 293.15, raw)
        hot = as_values(raw, 1, "ageing", name="temperature")
        if np.min(hot) <= 0 or np.max(hot) > 2000:
            worst = np.min(hot) if np.min(hot) <= 0 else np.max(hot)
            raise JointError(f"temperature: {worst:g} K is among them; must lie above 0 K and be 2000 K at most.")
    if len({len(t), len(s), len(b)} | ({len(hot)} if hot is not None else set())) != 1:
        raise JointError("time, strength, temperature and broken must have as many values each, one a specimen.")
    return Aged(t, s, b, hot)


def ageing_fit(data: Aged, model: Model = "line", *, logarithmic: bool = False) -> AgeingFit:
    """Return a model fitted to aged specimens.

    Parameters
    ----------
    data : Aged
        With an Arrhenius rate where specimens aged at two temperatures or more.
    model : str
        ``line``, ``root-of-time`` or ``level-off``.
    logarithmic : bool
        Whether the model is of the strength's natural logarithm.

    Raises
    ------
    JointError
        Too few broken specimens, times or temperatures (with the number needed), or values that the model cannot follow.
    """
    if model not in MODELS:
        raise JointError(f"model {model}: must be one of {', '.join(MODELS)}.")
    hot = data.temperature if len(data.temperatures) > 1 else None
    reference = None if hot is None else 1 / float(np.mean(1 / np.array(data.temperatures)))
    shape = Shape(model, reference)
    p, broken, n = len(shape.names), int(np.sum(data.broken)), len(data.time)
    what = f"the model {model}{' with an Arrhenius rate' if hot is not None else ''}"
    _enough(broken, p + 2, "broken specimen", what)
    _enough(len(np.unique(data.time)), 3 if model == "level-off" else 2, "time", what)
    y = np.log(data.strength) if logarithmic else data.strength
    start = shape.starts(data.time, y, hot)
    if start is None:
        raise JointError(
            f"{what} needs a strength that falls with time; this one does not: take the model line at one temperature."
        )
    theta, s, inverse, value = greatest(lambda q: shape.mean(q, data.time, hot), y, data.broken, start)
    if model == "level-off" and shape.fastest(theta, hot) + math.log(float(np.max(data.time))) < math.log(0.1):
        raise JointError(f"{what} finds no sign that the strength levels off within these times; take line or root-of-time.")
    wider = n / (n - p)  # squares over n - p instead of n
    number = p + 1
    value -= float(np.sum(np.log(data.strength[data.broken]))) if logarithmic else 0.0
    few = 2 * number * (number + 1) / (n - number - 1) if n > number + 1 else math.inf
    return AgeingFit(
        data=data,
        shape=shape,
        logarithmic=logarithmic,
        parameters=theta,
        covariance=inverse[:p, :p] * wider,
        deviation=s * math.sqrt(wider),
        freedom=broken - p,
        criterion=2 * number - 2 * value + few,
        lack_of_fit=_lack_of_fit(data, y, shape, theta, hot),
    )


def ageing_fits(data: Aged) -> tuple[list[AgeingFit], list[str]]:
    """Return every model that the specimens allow, of strengths and of logarithms, best criterion first; and why not others.

    Raises
    ------
    JointError
        None can be fitted.
    """
    fits, refused = [], []
    for model in MODELS:
        for logarithmic in (False, True):
            try:
                fits.append(ageing_fit(data, model, logarithmic=logarithmic))
            except JointError as error:
                refused.append(str(error))
    if not fits:
        raise JointError(refused[0])
    return sorted(fits, key=lambda fit: fit.criterion), list(dict.fromkeys(refused))


def _enough(found: int, needed: int, thing: str, what: str) -> None:
    if found < needed:
        raise JointError(f"{found} {thing}{'' if found == 1 else 's'} given; {what} needs at least {needed}.")


def _lack_of_fit(data: Aged, y: Floats, shape: Shape, theta: Floats, hot: Floats | None) -> LackOfFit | None:
    """Return the F test of the group means' distances from the model against the scatter within groups."""
    from scipy.special import fdtrc

    if not data.broken.all():
        return None
    # All that have not aged are of one group, whatever their temperature.
    keys = np.column_stack([data.time, np.zeros(len(y)) if hot is None else np.where(data.time > 0, hot, 0.0)])
    _, group = np.unique(keys, axis=0, return_inverse=True)
    group = group.ravel()
    count = np.bincount(group)
    means = np.bincount(group, y) / count
    within = float(np.sum((y - means[group]) ** 2))
    m, _ = shape.mean(theta, data.time, hot)
    missed = float(np.sum((means[group] - m) ** 2))
    first, second = len(count) - len(theta), len(y) - len(count)
    if first < 1 or second < 1 or within <= 0:
        return None
    statistic = missed / first / (within / second)
    return LackOfFit(statistic, (first, second), float(fdtrc(first, second, statistic)))
