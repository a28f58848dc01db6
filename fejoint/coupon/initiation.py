"""Where a crack begins to grow, as a curve shows it: off the straight line, 5 % more compliance, the largest force."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fejoint.coupon.curve import Pull
from fejoint.coupon.reduction import Mark, fitted_line

__all__ = ["FIVE", "LOW_HIGH", "Beginning", "beginning"]

LOW_HIGH = (0.15, 0.55)  # shares of the largest force between which the curve counts as straight (our choice, an input)
FIVE = 1.05  # ISO 25217: 5 % more compliance (from memory)
OFF = 0.01  # of the straight line's displacement: what counts as off it, beyond three times the scatter (our choice)
LEAST = 5  # points of a straight part


@dataclass(frozen=True)
class Beginning:
    """The straight beginning of a curve and the points where the crack counts as growing.

    Attributes
    ----------
    compliance : float
        Of the straight part, mm/N.
    slack : float
        Displacement at which that line meets zero force, mm.
    scatter : float
        Standard deviation of displacement about the line, mm.
    nonlinear, five : Mark
        Where the curve leaves the line for good; where a line of 5 % more
        compliance meets it, or the largest force where that comes first.
    """

    compliance: float
    slack: float
    scatter: float
    nonlinear: Mark
    five: Mark


def beginning(pull: Pull, window: tuple[float, float] = LOW_HIGH) -> Beginning | None:
    """Return how a curve begins; None of one without a straight part, such as a table of readings during growth.

    Parameters
    ----------
    pull : Pull
    window : (low, high)
        Shares of the largest force between which the curve counts as straight.
    """
    top = int(np.argmax(pull.force))
    force, x = pull.force[: top + 1], pull.displacement[: top + 1]
    rising = np.flatnonzero(force >= window[1] * force[top])
    end = int(rising[0]) + 1
    inside = np.flatnonzero(force[:end] >= window[0] * force[top])
    if len(inside) < LEAST or not force[0] < window[0] * force[top]:
        return None
    line = fitted_line(force[inside], x[inside], f"specimen {pull.name}, straight part")
    if line.slope <= 0:
        return None
    off = x - (line.intercept + line.slope * force)
    limit = np.maximum(OFF * line.slope * force, 3 * line.residual)
    on = np.flatnonzero(off <= limit)
    left = min(int(on[-1]) + 1, top) if len(on) else 0
    beyond = x - (line.intercept + FIVE * line.slope * force)
    meets = np.flatnonzero((beyond >= 0) & (force > window[1] * force[top]))
    most = Mark("largest force", float(x[top]), float(force[top]))
    five = most
    if len(meets) and meets[0] > 0:
        i = int(meets[0])
        share = float(beyond[i - 1] / (beyond[i - 1] - beyond[i])) if beyond[i - 1] < 0 else 1.0
        at = [float(part[i - 1] + share * (part[i] - part[i - 1])) for part in (x, force)]
        five = Mark("5 % more compliance", *at)
    nonlinear = Mark("off the straight line", float(x[left]), float(force[left])) if left < top else most
    return Beginning(line.slope, line.intercept, line.residual, nonlinear, five)
