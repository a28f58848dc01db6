"""A law of cure fitted to a user's points: degrees of cure after times at steady temperatures."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.process.rate_law import GAS_CONSTANT, RateLaw

__all__ = ["CureFit", "CurePoint", "Interval", "Kind", "fitted_law", "isothermal_degree"]

Floats = NDArray[np.float64]
Kind = Literal["n-th order", "autocatalytic"]

CONFIDENCE = 0.95
SAME_TEMPERATURE = 1.0  # K: readings closer than this do not tell an activation energy
WIDE = 0.5  # of an activation energy: an interval wider than this to one side is said
# Bounds: ln k at the mean temperature (1/s), E (J/mol), n, ln b, m.
BOUNDS = {
    "ln_k": (-60.0, 30.0),
    "energy": (1e3, 4e5),
    "order": (0.1, 5.0),
    "ln_b": (math.log(1e-6), math.log(1e3)),
    "power": (0.05, 4.0),
}
WORDS = {"order": "order", "start_share": "share of the start", "power": "autocatalytic power"}
GRID = 4000
MOST_STEPS = 100  # of one search, where ten to fifty are usual
POOR = 0.05  # root mean square of degrees of cure: a law that misses by more is said


@dataclass(frozen=True)
class CurePoint:
    """A degree of cure (above 0, at most 1) after a time (s) at one steady temperature (K)."""

    time: float
    temperature: float
    degree: float


@dataclass(frozen=True)
class Interval:
    """A figure with its 95 % confidence interval; `low` and `high` are None where it is given, or nothing is left over."""

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True, eq=False)
class CureFit:
    """A law of cure fitted to points.

    Attributes
    ----------
    law : RateLaw
    kind : str
    figures : dict of Interval
        ``rate_factor`` (A, 1/s), ``activation_energy`` (E, J/mol), ``order`` (n)
        and, autocatalytic, ``start_share`` (k1 over k2) and ``power`` (m).
    points : tuple of CurePoint
    residuals : (points,) array
        Degree of the law less that of the point.
    at_temperature : float or None, K
        The one temperature that the law holds at, where points at others are
        missing and no activation energy was given.
    warnings : tuple of str
    """

    law: RateLaw
    kind: Kind
    figures: dict[str, Interval]
    points: tuple[CurePoint, ...]
    residuals: Floats
    at_temperature: float | None
    warnings: tuple[str, ...]

    @property
    def scatter(self) -> float:
        """Root mean square of the residuals."""
        return float(np.sqrt(np.mean(self.residuals**2)))


def isothermal_degree(
    theta: Floats, order: float, largest: float = 1.0, share: float | None = None, power: float = 1.0
) -> Floats:
    """Return the degree of cure at reduced times theta = k t, from 0, at a steady temperature.

    Parameters
    ----------
    theta : (n,) array
    order, largest : float
    share : float, optional
        k1 over k2 of an autocatalytic law with theta = k2 t; the n-th order law without.
    power : float

    Returns
    -------
    (n,) array
        n-th order: 1 - (1 - (1 - n) theta)^(1/(1 - n)), or 1 - exp(-theta) for n = 1 (at a largest degree
        of 1); autocatalytic: by quadrature of d theta = d alpha / ((b + alpha^m) (largest - alpha)^n).
    """
    theta = np.asarray(theta, float)
    if share is None:
        if abs(order - 1) < 1e-9:
            return np.asarray(-largest * np.expm1(-theta))
        left = np.maximum(1 - (1 - order) * theta * largest ** (order - 1), 0.0)
        with np.errstate(divide="ignore"):
            return np.asarray(largest * (1 - left ** (1 / (1 - order))))
    # In u = -ln(1 - alpha/largest), on a logarithmic grid: the rate may begin many decades below its peak.
    u = np.concatenate([[0.0], np.geomspace(1e-9, 40.0, GRID)])
    alpha, left = -largest * np.expm1(-u), largest * np.exp(-u)
    slope = left ** (1 - order) / (share + alpha**power)
    passed = np.concatenate([[0.0], np.cumsum(np.diff(u) * (slope[1:] + slope[:-1]) / 2)])
    return np.asarray(np.interp(theta, passed, alpha))


def fitted_law(
    points: Sequence[CurePoint], kind: Kind = "n-th order", *, largest: float = 1.0, activation_energy: float | None = None
) -> CureFit:
    """Return the law of cure that follows points best, by bounded least squares on the degree of cure.

    The autocatalytic law has one activation energy for both its parts.

    Parameters
    ----------
    points : sequence of CurePoint
    kind : str
    largest : float
        Degree of cure that is never passed.
    activation_energy : float, J/mol, optional
        Not fitted where it is given.

    Raises
    ------
    JointError
        A point is none, or there are fewer than figures to fit.
    """
    if kind not in get_args(Kind):
        raise JointError(f'kind = "{kind}": must be one of {", ".join(get_args(Kind))}.')
    time, temperature, degree = _columns(points, largest)
    spread = float(np.ptp(temperature))
    fixed = activation_energy
    if fixed is None and spread < SAME_TEMPERATURE:
        fixed = 0.0
    names = ["ln_k", *([] if fixed is not None else ["energy"]), "order", *(["ln_b", "power"] if kind == "autocatalytic" else [])]
    if len(time) < len(names):
        raise JointError(f"points: hold {len(time)}, fewer than the {len(names)} figures of the law; add points.")
    mean = 1 / float(np.mean(1 / temperature))

    def model(x: Floats) -> Floats:
        v = dict(zip(names, x, strict=True))
        energy = fixed if fixed is not None else v["energy"]
        k = np.exp(v["ln_k"] - energy / GAS_CONSTANT * (1 / temperature - 1 / mean))
        share = math.exp(v["ln_b"]) if "ln_b" in v else None
        return isothermal_degree(k * time, v["order"], largest, share, v.get("power", 1.0))

    x, jacobian = _searched(model, degree, names, time)
    residuals = model(x) - degree
    freedom = len(time) - len(names)
    covariance = _covariance(jacobian, residuals, freedom)
    v = dict(zip(names, x, strict=True))
    energy = fixed if fixed is not None else float(v["energy"])
    ln_a = v["ln_k"] + energy / (GAS_CONSTANT * mean)
    factor, share = math.exp(min(ln_a, 700.0)), math.exp(v["ln_b"]) if "ln_b" in v else None
    if share is None:
        law = RateLaw(factor, energy, float(v["order"]), largest=largest)
    else:
        law = RateLaw(factor * share, energy, float(v["order"]), factor, energy, float(v["power"]), largest)
    at = mean if activation_energy is None and fixed is not None else None
    figures = _figures(names, x, covariance, freedom, energy, mean, at is not None)
    scatter = float(np.sqrt(np.mean(residuals**2)))
    warnings = _warnings(names, x, figures, freedom, scatter, at, activation_energy is not None and spread < SAME_TEMPERATURE)
    return CureFit(law, kind, figures, tuple(points), residuals, at, warnings)


def _columns(points: Sequence[CurePoint], largest: float) -> tuple[Floats, Floats, Floats]:
    for i, p in enumerate(points, start=1):
        if not (p.time > 0 and p.temperature > 0 and math.isfinite(p.time) and math.isfinite(p.temperature)):
            raise JointError(f"points item {i}: time and temperature must be finite and lie above 0.")
        if not 0 <= p.degree <= largest:
            raise JointError(f"points item {i}: degree = {p.degree:g}: must be at least 0 and at most {largest:g}.")
    table = np.array([[p.time, p.temperature, p.degree] for p in points]).reshape(-1, 3)
    if not len(table):
        raise JointError("points: hold none; add points.")
    return table[:, 0], table[:, 1], table[:, 2]


def _searched(model: Callable[[Floats], Floats], degree: Floats, names: list[str], time: Floats) -> tuple[Floats, Floats]:
    """Return the best figures and the derivatives there, from several starts."""
    from scipy.optimize import least_squares

    low, high = (np.array([BOUNDS[name][i] for name in names]) for i in (0, 1))
    scale = np.array([{"energy": 1e4}.get(name, 1.0) for name in names])
    best = None
    usual = -math.log(float(np.median(time)))
    for order, power in ((1.0, 0.5), (2.0, 1.0), (0.6, 1.5)):
        for shift in (0.0, 2.0):
            start = {"ln_k": usual + shift, "energy": 6e4, "order": order, "ln_b": math.log(0.05), "power": power}
            x0 = np.clip([start[name] for name in names], low + 1e-6, high - 1e-6)
            found = least_squares(
                lambda x: model(x) - degree,
                x0,
                bounds=(low, high),
                x_scale=scale,
                xtol=1e-12,
                ftol=1e-12,
                gtol=1e-12,
                max_nfev=MOST_STEPS,
            )
            if best is None or found.cost < best.cost:
                best = found
    assert best is not None
    return np.asarray(best.x), np.asarray(best.jac)


def _covariance(jacobian: Floats, residuals: Floats, freedom: int) -> Floats | None:
    """Return the covariance of the figures; None where the points leave nothing over."""
    if freedom < 1:
        return None
    # Figures of unlike size: scaled, so that only what the points do not tell makes the matrix singular.
    size = np.linalg.norm(jacobian, axis=0)
    size[size == 0] = 1e-300
    scaled = jacobian / size
    inverse = np.linalg.pinv(scaled.T @ scaled, rcond=1e-15, hermitian=True)
    return np.asarray(inverse / np.outer(size, size) * float(residuals @ residuals) / freedom)


def _figures(
    names: list[str], x: Floats, covariance: Floats | None, freedom: int, energy: float, mean: float, alone: bool
) -> dict[str, Interval]:
    """Return the figures with their intervals, those of logarithms taken back."""
    from scipy.stats import t as student

    times = float(student.ppf((1 + CONFIDENCE) / 2, freedom)) if freedom else 0.0

    def interval(weights: dict[str, float], value: float, logarithm: bool = False) -> Interval:
        def back(v: float) -> float:
            return math.exp(min(v, 700.0)) if logarithm else v

        if covariance is None:
            return Interval(back(value), None, None)
        w = np.array([weights.get(name, 0.0) for name in names])
        half = times * math.sqrt(max(float(w @ covariance @ w), 0.0))
        return Interval(back(value), back(value - half), back(value + half))

    v = dict(zip(names, map(float, x), strict=True))
    of_energy = 1 / (GAS_CONSTANT * mean)
    found = {"rate_factor": interval({"ln_k": 1.0, "energy": of_energy}, v["ln_k"] + energy * of_energy, True)}
    if "energy" in v:
        found["activation_energy"] = interval({"energy": 1.0}, energy)
    elif not alone:
        found["activation_energy"] = Interval(energy, None, None)
    found["order"] = interval({"order": 1.0}, v["order"])
    if "ln_b" in v:
        found["start_share"] = interval({"ln_b": 1.0}, v["ln_b"], True)
        found["power"] = interval({"power": 1.0}, v["power"])
    return found


def _warnings(
    names: list[str], x: Floats, figures: dict[str, Interval], freedom: int, scatter: float, at: float | None, one_given: bool
) -> tuple[str, ...]:
    said: list[str] = []
    if at is not None:
        said.append(
            f"The points are at one temperature, {at - 273.15:.4g} degC, which cannot tell the rate factor and the activation "
            "energy apart: the law holds at that temperature alone; add points at another one, or give activation_energy."
        )
    elif one_given:
        said.append("The points are at one temperature: at others the law hangs on the activation_energy given.")
    if scatter > POOR:
        said.append(f"The law misses the points by {scatter:.2g} in degree of cure (root mean square): it does not suit them.")
    if not freedom:
        said.append("There are as many figures as points: nothing is left over to tell how well the law is known; add points.")
    energy = figures.get("activation_energy")
    if energy is not None and energy.high is not None and energy.high - energy.value > WIDE * energy.value:
        said.append(
            "The points hardly tell the rate factor and the activation energy apart (95 % interval wider than half the "
            "activation energy): add points at temperatures farther apart."
        )
    loose = [name for key, name in WORDS.items() if key in figures and _is_loose(figures[key], key == "start_share")]
    if loose:
        said.append(f"The points hardly tell the {' and the '.join(loose)}: add points at early times, or take a simpler law.")
    words = {"ln_k": "rate", "energy": "activation energy", "order": "order", "ln_b": "start share", "power": "power"}
    at_bound = [words[n] for n, value in zip(names, x, strict=True) if not _inside(n, float(value))]
    if at_bound:
        said.append(f"The {' and the '.join(at_bound)} stands at the limit of the search: this law does not suit the points.")
    return tuple(said)


def _is_loose(figure: Interval, by_ratio: bool) -> bool:
    """Return whether an interval leaves a figure open: as wide to one side as the figure, or a hundredfold."""
    if figure.high is None:
        return False
    return figure.high > (100 if by_ratio else 2) * figure.value


def _inside(name: str, value: float) -> bool:
    low, high = BOUNDS[name]
    return low + 1e-4 * (high - low) < value < high - 1e-4 * (high - low)
