"""Arrays as text that a page can hold: whole numbers of a small step, little-endian, in base64."""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["packed", "packed_indices"]

Floats = NDArray[np.float64]

LARGEST = 32767  # steps to either side of the middle
MOST_BEYOND = 0.2  # of the values that may lie beyond what the steps reach, to be given one by one


def packed(values: Floats, tolerance: float, around: float | None = None) -> dict[str, Any]:
    """Return values to within a tolerance, as short as they can be had.

    Parameters
    ----------
    values : (n,) array
    tolerance : float
        The largest error of a value, but that of single precision always.
    around : float, optional
        A value to be kept exactly, from which steps are counted; by default the middle of all.

    Returns
    -------
    dict
        ``type`` ``uint16`` (value = low + step * number; those ``at`` given
        places are ``beyond``, as float32) or ``float32``; ``data`` in base64.
    """
    values = np.asarray(values, dtype=float)
    if values.size == 0:
        return {"type": "float32", "data": ""}
    middle = (values.max() + values.min()) / 2 if around is None else around
    reach = float(np.abs(values - middle).max())
    step = min(2 * tolerance, reach / LARGEST) or 1.0
    beyond = np.flatnonzero(np.abs(values - middle) > (LARGEST + 0.5) * step)
    if len(beyond) > MOST_BEYOND * values.size:
        return {"type": "float32", "data": _text(values.astype("<f4"))}
    low = middle - LARGEST * step
    numbers = np.rint((values - middle) / step).clip(-LARGEST, LARGEST) + LARGEST
    found = {"type": "uint16", "low": float(low), "step": float(step), "data": _text(numbers.astype("<u2"))}
    if len(beyond):
        found |= {"at": _text(beyond.astype("<u4")), "beyond": _text(values[beyond].astype("<f4"))}
    return found


def packed_indices(numbers: NDArray[np.int64]) -> dict[str, Any]:
    """Return whole numbers from 0 on, row after row."""
    short = numbers.size == 0 or numbers.max() < 2**16
    return {"type": "uint16" if short else "uint32", "data": _text(numbers.astype("<u2" if short else "<u4"))}


def _text(numbers: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(numbers).tobytes()).decode("ascii")
