"""The shear stress of a layer between two identical adherends, whatever drives it.

Identical adherends that stretch and bend alike leave tau''' = w^2 tau' for the
shear stress, of which the even solution with given load and end slope is the
common part of the single-lap theories here; they differ in w and in the slope.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

__all__ = ["even_shear"]

Floats = NDArray[np.float64]


def even_shear(x: Floats, line_load: float, half_overlap: float, wave: float, slope: float) -> Floats:
    """Return the shear stress, MPa, at x (mm from the middle): tau''' = w^2 tau', even, with tau'(c) and the integral given.

    Parameters
    ----------
    x : array, mm
    line_load : float, N/mm
        The integral over the overlap.
    half_overlap : float, mm
        c.
    wave : float, 1/mm
        w.
    slope : float, MPa/mm
        tau'(c) = -tau'(-c).
    """
    end = wave * half_overlap
    # cosh(wx)/sinh(wc), written so that long overlaps do not overflow; its mean is 1/(wc).
    shape = (np.exp(wave * x - end) + np.exp(-wave * x - end)) / -math.expm1(-2 * end)
    return np.asarray(line_load / (2 * half_overlap) + slope / wave * (shape - 1 / end))
