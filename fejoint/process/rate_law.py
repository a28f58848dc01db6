"""Degree of cure against time for any history of temperature.

d alpha/dt = (k1 + k2 alpha^m) (alpha_max - alpha)^n, k_i = A_i exp(-E_i / (R T)).

k1 alone is the n-th order law, k2 with it the autocatalytic one. The heat that
the cure itself makes is left out: the temperature is the adhesive's, as given.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import count, pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.errors import JointError

__all__ = ["GAS_CONSTANT", "CureCurve", "History", "RateLaw", "cure_curve"]

Floats = NDArray[np.float64]
Piece = Callable[[float], float]

GAS_CONSTANT = 8.31446261815324  # J/(mol K), exact in the SI since 2019
YEAR = 365.25 * 86400.0  # s
RTOL, ATOL = 1e-9, 1e-12  # of the degree of cure
FULL = 1e-9  # short of the largest degree: what is left to cure then counts for nothing, and may end in a corner (order below 1)
MOST_CALLS = 100_000  # of the rate on one piece, where some hundred are usual
UNSOLVED = "the rate law cannot be solved along this history of temperature; check its factors, energies, order and power."
EVEN = 101  # points of a piece beside those that the solver chose


class _TooLongError(Exception):
    """The solver does not come to an end."""


@dataclass(frozen=True)
class RateLaw:
    """A law of cure; `factor_1`, `energy_1` of the n-th order part, `factor_2`, `energy_2`, `power` of the autocatalytic one.

    Attributes
    ----------
    factor_1, factor_2 : float, 1/s
        A_i; 0 leaves the part out.
    energy_1, energy_2 : float, J/mol
        E_i.
    order : float
        n.
    power : float
        m.
    largest : float
        Degree of cure that is never passed, such as where the adhesive becomes a glass.
    """

    factor_1: float
    energy_1: float
    order: float = 1.0
    factor_2: float = 0.0
    energy_2: float = 0.0
    power: float = 1.0
    largest: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what is no law."""
        for key in ("factor_1", "energy_1", "factor_2", "energy_2", "power", "order"):
            value = getattr(self, key)
            if not (value >= 0 and math.isfinite(value)):
                raise JointError(f"{key} = {value:g}: must be a finite number, at least 0.")
        if not self.order > 0:
            raise JointError(f"order = {self.order:g}: must lie above 0.")
        if not 0 < self.largest <= 1:
            raise JointError(f"largest = {self.largest:g}: must lie above 0 and be at most 1.")
        if not self.factor_1 + self.factor_2 > 0:
            raise JointError("factor_1 = 0: must lie above 0 where factor_2 is 0, or nothing cures.")

    def constants(self, temperature: ArrayLike) -> tuple[Floats, Floats]:
        """Return k1 and k2 in 1/s at temperatures (any shape) in K."""
        t = np.asarray(temperature, float)
        found = [a * np.exp(-e / (GAS_CONSTANT * t)) for a, e in ((self.factor_1, self.energy_1), (self.factor_2, self.energy_2))]
        return found[0], found[1]

    def rate(self, degree: ArrayLike, temperature: ArrayLike) -> Floats:
        """Return d alpha/dt in 1/s at degrees of cure and temperatures (K) of one shape."""
        alpha = np.maximum(np.asarray(degree, float), 0.0)
        k1, k2 = self.constants(temperature)
        return np.asarray((k1 + k2 * alpha**self.power) * np.maximum(self.largest - alpha, 0.0) ** self.order)


@dataclass(frozen=True, eq=False)
class History:
    """Temperature against time, straight between its points: `time` (n,) in s from 0, rising, and `temperature` (n,) in K."""

    time: Floats
    temperature: Floats

    @classmethod
    def of(cls, points: Sequence[tuple[float, float]]) -> History:
        """Return the history of points (time in s, temperature in K).

        Raises
        ------
        JointError
            Times are negative, do not begin at 0, or do not rise.
        """
        found = np.asarray(points, float).reshape(-1, 2)
        time, temperature = found[:, 0], found[:, 1]
        if len(time) < 2:
            raise JointError("temperatures: must hold at least two points (time, temperature).")
        if not np.isfinite(found).all() or time[0] != 0 or not np.all(np.diff(time) > 0):
            raise JointError("temperatures: times must begin at 0 and rise from point to point; none may be negative.")
        if not np.all(temperature > 0):
            raise JointError("temperatures: must lie above 0 K.")
        return cls(time, temperature)

    def at(self, time: ArrayLike) -> Floats:
        """Return the temperature in K at times (any shape) in s; behind the last point its own."""
        return np.asarray(np.interp(np.asarray(time, float), self.time, self.temperature))


@dataclass(frozen=True, eq=False)
class CureCurve:
    """Degree of cure against time.

    Attributes
    ----------
    law : RateLaw
    history : History
    time : (n,) array, s
        Over the history.
    degree : (n,) array
    later : (m,) array, (m,) array
        Time and degree for a year more at the last temperature.
    pieces : tuple of functions
        Degree at a time, one for each piece of the history and one for the year after it.
    """

    law: RateLaw
    history: History
    time: Floats
    degree: Floats
    later: tuple[Floats, Floats]
    pieces: tuple[Piece, ...]

    @property
    def end_degree(self) -> float:
        """Degree of cure at the end of the history."""
        return float(self.degree[-1])

    def at(self, time: float) -> float:
        """Return the degree of cure at a time in s; behind the history for a year more at its last temperature.

        Raises
        ------
        JointError
            The time is negative, or later.
        """
        if not 0 <= time <= self.later[0][-1]:
            raise JointError(f"time = {time:g} s: must be at least 0 and at most a year behind the history of temperature.")
        piece = min(int(np.searchsorted(self.history.time, time, side="right")) - 1, len(self.pieces) - 1)
        return self.pieces[piece](time)

    def time_at(self, degree: float) -> float | None:
        """Return when a degree of cure is reached, in s; None where it is not, a year behind the history at the latest."""
        from scipy.optimize import brentq

        time, grown = np.concatenate([self.time, self.later[0]]), np.concatenate([self.degree, self.later[1]])
        if degree <= grown[0]:
            return 0.0
        place = int(np.searchsorted(grown, degree))
        if place == len(grown):
            return None
        low, high = float(time[place - 1]), float(time[place])
        if self.at(low) >= degree:
            return low
        if self.at(high) <= degree:
            return high
        return float(brentq(lambda t: self.at(t) - degree, low, high, xtol=1e-12 * max(high, 1.0), rtol=1e-12))


def cure_curve(law: RateLaw, history: History, start: float = 0.0) -> CureCurve:
    """Return the degree of cure along a history of temperature, from a degree at its start.

    Raises
    ------
    JointError
        The start lies outside 0 to the law's largest degree, nothing ever begins, or the rates are beyond what can be solved.
    """
    if not 0 <= start < law.largest:
        raise JointError(f"start = {start:g}: must be at least 0 and lie below the largest degree of cure, {law.largest:g}.")
    if start == 0 and law.factor_1 == 0 and law.power > 0:
        raise JointError("start = 0: must lie above 0 where the law is autocatalytic alone, or the cure never begins.")
    ends = np.append(history.time, history.time[-1] + YEAR)
    degree = start
    found: list[tuple[Floats, Floats, Piece]] = []
    # Each piece on its own: at a corner of the history the rate has one, too.
    for begin, end in pairwise(map(float, ends)):
        found.append(_piece(law, history, begin, end, degree))
        degree = float(found[-1][1][-1])
    *within, (later, grown, _) = found
    time, degrees = (np.concatenate([piece[i] for piece in within]) for i in (0, 1))
    return CureCurve(law, history, time, degrees, (later, grown), tuple(piece for _, _, piece in found))


def _piece(law: RateLaw, history: History, begin: float, end: float, degree: float) -> tuple[Floats, Floats, Piece]:
    """Return times, degrees and the interpolant of a stretch of time without corners."""
    from scipy.integrate import solve_ivp

    full = law.largest * (1 - FULL)
    if degree >= full:
        return np.array([begin, end]), np.array([degree, degree]), lambda _: degree
    calls = count()

    def rate(time: float, alpha: Floats) -> Floats:
        if next(calls) > MOST_CALLS:
            raise _TooLongError
        return law.rate(alpha, history.at(time))

    def to_full(_: float, alpha: Floats) -> float:
        return float(alpha[0]) - full

    to_full.terminal = True  # type: ignore[attr-defined]
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("error")
            solved = solve_ivp(
                rate, (begin, end), [degree], method="LSODA", dense_output=True, events=to_full, rtol=RTOL, atol=ATOL
            )
            last = float(solved.t[-1])
            even = np.union1d(solved.t, np.linspace(begin, last, EVEN))
            raw = np.asarray(solved.sol(even)[0], float)
    except (_TooLongError, UserWarning, RuntimeWarning, ValueError):
        raise JointError(UNSOLVED) from None
    if not solved.success or not np.isfinite(raw).all():
        raise JointError(UNSOLVED)
    grown = np.clip(np.maximum.accumulate(raw), degree, law.largest)
    if last < end:  # it is cured: nothing more happens
        even, grown = np.append(even, end), np.append(grown, grown[-1])
    most = float(grown[-1])
    return even, grown, lambda time: float(np.clip(solved.sol(min(time, last))[0], degree, most))
