"""T-peel: the force per width, averaged over a stated length of bond peeled."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fejoint.coupon.curve import Pull
from fejoint.coupon.reduction import Figure, Mark, Reduction, needed
from fejoint.errors import JointError

__all__ = ["FALL", "TRAVEL_PER_PEEL", "first_peak", "t_peel"]

TRAVEL_PER_PEEL = 2.0  # of a T: both arms are pulled out by the length that is peeled
FALL = 0.05  # of the force: a fall by which a peak counts as one (our choice)


def first_peak(pull: Pull) -> int:
    """Return the place of the first peak: the largest force before the first fall by 5 % of it; of none, the largest."""
    highest = np.maximum.accumulate(pull.force)
    fallen = np.flatnonzero((pull.force < (1 - FALL) * highest) & (highest > 0.2 * pull.largest))
    end = int(fallen[0]) if len(fallen) else len(pull.force)
    return int(np.argmax(pull.force[:end]))


def t_peel(
    pull: Pull, dimensions: Mapping[str, float | None], length: float, skip: float = 0.0, after_peak: bool = True
) -> Reduction:
    """Return the mean peel force per width over a length of bond peeled.

    The mean is the work over the travel (trapezoids), so that it does not
    depend on how densely the tester recorded. It holds the work of bending both
    arms for good, too: it compares coupons of the same arms, and is no toughness.

    Parameters
    ----------
    pull : Pull
    dimensions : mapping
        ``width``, mm.
    length : float
        Of bond over which the force is averaged, mm; the grips travel twice as far.
    skip : float
        Length of bond before it that does not count, mm.
    after_peak : bool
        Whether `skip` begins at the first peak; else where the record begins.

    Raises
    ------
    JointError
        The width is missing, displacement falls, or the travel ends before the stated length.
    """
    (width,) = needed(pull.name, dimensions, "width")
    peak = first_peak(pull)
    x = pull.displacement
    start = float(x[peak] if after_peak else x[0]) + TRAVEL_PER_PEEL * skip
    end = start + TRAVEL_PER_PEEL * length
    if end > x[-1] * (1 + 1e-9):
        raise JointError(
            f"specimen {pull.name}: its travel ends at {x[-1]:.4g} mm, and averaging over {length:g} mm of bond from "
            f"{start:.4g} mm of travel on needs {end:.4g} mm (the grips travel twice the length peeled); give a shorter "
            "coupons.reduction.peel_length, or peel_skip."
        )
    order = np.maximum.accumulate(x)
    if (order - x > 0.01 * (x[-1] - x[0])).any():
        raise JointError(f"specimen {pull.name}: its displacement turns back by over 1 % of the travel; leave the return out.")
    inside = (order > start) & (order < end)
    at = np.concatenate([[start], order[inside], [end]])
    force = np.concatenate([[np.interp(start, order, pull.force)], pull.force[inside], [np.interp(end, order, pull.force)]])
    mean = float(np.sum(np.diff(at) * (force[1:] + force[:-1]) / 2) / (end - start))
    figures = {
        "peel_force": Figure("mean peel force per width", mean / width, "N/mm"),
        "least": Figure("least peel force per width in that length", float(force.min()) / width, "N/mm"),
        "most": Figure("largest peel force per width in that length", float(force.max()) / width, "N/mm"),
        "first_peak": Figure("first peak per width", float(pull.force[peak]) / width, "N/mm"),
    }
    return Reduction(figures, (Mark("first peak", float(x[peak]), float(pull.force[peak])),), plateau=(start, end, mean))
