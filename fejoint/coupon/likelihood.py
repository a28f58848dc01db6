"""Greatest likelihood of normal scatter about a mean, with specimens that were not broken: steps of Newton, damped."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError

__all__ = ["greatest"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Mean = Callable[[Floats], tuple[Floats, Floats]]
STEPS = 200
SMALL = 1e-12  # gain of a step that is not worth taking, in logarithms of the likelihood


def greatest(mean: Mean, y: Floats, broken: Bools, start: Floats) -> tuple[Floats, float, Floats, float]:
    """Return the parameters (p,), the standard deviation, the inverse of the information and log likelihood.

    y_i = mean_i + normal scatter; of a specimen that was not broken (broken_i false) only that it bears more than y_i is
    known. Information is the second derivative of log likelihood by parameters and log deviation, (p + 1, p + 1), without
    the mean's own curvature (as in Gauss-Newton).

    Raises
    ------
    JointError
        The values do not determine the parameters, or do not scatter about the mean.
    """
    theta = np.asarray(start, dtype=float)
    m, _ = mean(theta)
    log_s = math.log(max(float(np.std((y - m)[broken])), 1e-9 * float(np.max(np.abs(y))), 1e-300))
    damping, value = 1e-3, _log_likelihood(y, m, log_s, broken)
    for _ in range(STEPS):
        if log_s < math.log(1e-8 * float(np.max(np.abs(y)))):
            raise JointError("the model goes through every value: without scatter there is no interval to give.")
        gradient, information = _slopes(mean, theta, log_s, y, broken)
        scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
        even = information / np.outer(scale, scale)  # parameters of unlike size
        if _gain(even, gradient / scale) < SMALL:
            break
        while True:
            try:
                step = np.linalg.solve(even + damping * np.eye(len(even)), gradient / scale) / scale
            except np.linalg.LinAlgError:
                step = np.full(len(even), np.nan)
            tried, tried_s = theta + step[:-1], log_s + float(np.clip(step[-1], -1, 1))
            now = _log_likelihood(y, mean(tried)[0], tried_s, broken) if np.all(np.isfinite(step)) else -math.inf
            if now >= value:
                break
            damping *= 4
            if damping > 1e12:
                now, tried, tried_s = value, theta, log_s
                break
        theta, log_s, value = tried, tried_s, now
        if damping > 1e12:
            break
        damping = max(damping / 10, 1e-12)
    _, information = _slopes(mean, theta, log_s, y, broken)
    scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
    even = information / np.outer(scale, scale)
    if not np.all(np.isfinite(even)) or np.linalg.eigvalsh(even)[0] < 1e-9:
        raise JointError("the values do not determine every parameter of this model; take one with fewer, or test more times.")
    return theta, math.exp(log_s), np.linalg.inv(even) / np.outer(scale, scale), value


def _gain(information: Floats, gradient: Floats) -> float:
    """Return twice what Newton's step would gain; without end where the information is not positive."""
    try:
        return float(np.sum(np.linalg.solve(np.linalg.cholesky(information), gradient) ** 2))
    except np.linalg.LinAlgError:
        return math.inf


def _log_likelihood(y: Floats, m: Floats, log_s: float, broken: Bools) -> float:
    from scipy.special import log_ndtr

    z = (y - m) / math.exp(log_s)
    if not np.all(np.isfinite(z)):
        return -math.inf
    exact = -0.5 * z[broken] ** 2 - log_s - 0.5 * math.log(2 * math.pi)
    return float(np.sum(exact) + np.sum(log_ndtr(-z[~broken])))


def _slopes(mean: Mean, theta: Floats, log_s: float, y: Floats, broken: Bools) -> tuple[Floats, Floats]:
    """Return gradient and information by parameters and log deviation."""
    from scipy.special import log_ndtr

    m, j = mean(theta)
    s = math.exp(log_s)
    z = (y - m) / s
    # Broken: -z^2 / 2 - log s. Not broken: log Q(z), of slope -h with the hazard h = density / Q.
    hazard = np.exp(-0.5 * z * z - 0.5 * math.log(2 * math.pi) - log_ndtr(-z))
    bend = hazard * (hazard - z)
    by_m = np.where(broken, z, hazard) / s
    by_s = np.where(broken, z * z - 1, hazard * z)
    mm = np.where(broken, 1.0, bend) / s**2
    ms = np.where(broken, 2 * z, bend * z + hazard) / s
    ss = np.where(broken, 2 * z * z, bend * z * z + hazard * z)
    gradient = np.append(j.T @ by_m, np.sum(by_s))
    corner = j.T @ ms
    information = np.block([[j.T @ (mm[:, None] * j), corner[:, None]], [corner[None, :], np.sum(ss)[None, None]]])
    return gradient, information
