"""The shear lag of a stepped lap, step by step.

Volkersen's equation (`volkersen`) holds on every tread with the thickness
that the steps leave there; load and shear go over from tread to tread without
a jump. Derived for this project from these assumptions; the idea of doing so
is L. J. Hart-Smith's, NASA CR-112237, 1973 (cited from memory).

Adherends only stretch, the treads only shear, the risers carry nothing: their
share of the load, which finite elements give, is left to the treads. No
bending, no peel, no adherend shear.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.grid import axial_modulus, force_alone, free_strains, places
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap

__all__ = ["curves", "step_coefficients", "step_shear"]

Floats = NDArray[np.float64]


def step_coefficients(
    lengths: Sequence[float], lower: Sequence[float], upper: Sequence[float], k: float, line_load: float, mismatch: float = 0.0
) -> Floats:
    """Return the coefficients a, b of every step's load, shape (steps, 2), N/mm.

    The load of the lower adherend is N = p + a exp(-w x) + b exp(-w (l - x)),
    x from the step's left end, which solves N'' - w^2 N = -w^2 p with
    w^2 = k (1/S1 + 1/S2) and p the lower's share of the load when both strain
    alike. N is the whole load at the left end and none at the right; N and
    the shear stress -N' are continuous.

    Parameters
    ----------
    lengths : (steps,) numbers, mm
    lower, upper : (steps,) numbers, N/mm
        Stiffness E t of the adherends under and over every step, S1 and S2.
    k : float, MPa/mm
        Shear modulus of the adhesive over its thickness.
    line_load : float, N/mm
    mismatch : float
        Free thermal strain of the upper adherend less that of the lower.
    """
    length, s1, s2 = (np.asarray(v, dtype=float) for v in (lengths, lower, upper))
    n = len(length)
    w = np.sqrt(k * (1 / s1 + 1 / s2))
    share = (line_load / s2 + mismatch) / (1 / s1 + 1 / s2)
    decay = np.exp(-w * length)
    matrix, right = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
    matrix[0, :2], right[0] = [1.0, decay[0]], line_load - share[0]
    matrix[-1, -2:], right[-1] = [decay[-1], 1.0], -share[-1]
    for i in range(n - 1):
        a, b, c, d = range(2 * i, 2 * i + 4)
        matrix[2 * i + 1, [a, b, c, d]] = [decay[i], 1.0, -1.0, -decay[i + 1]]
        right[2 * i + 1] = share[i + 1] - share[i]
        matrix[2 * i + 2, [a, b, c, d]] = [w[i] * decay[i], -w[i], -w[i + 1], w[i + 1] * decay[i + 1]]
    return np.asarray(np.linalg.solve(matrix, right).reshape(n, 2), dtype=np.float64)


def step_shear(x: Floats, length: float, stiffness: tuple[float, float], k: float, coefficients: Floats) -> Floats:
    """Return the shear stress, MPa, at x (mm from the step's left end); the other arguments as for `step_coefficients`."""
    w = np.sqrt(k * (1 / stiffness[0] + 1 / stiffness[1]))
    a, b = coefficients
    return np.asarray(w * (a * np.exp(-w * x) - b * np.exp(-w * (length - x))))


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return the treads of a stepped lap by shear lag; peel is not part of it (NaN).

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Not used: the theory has no edge moment.

    Raises
    ------
    TheoryError
        Not a stepped lap, a moment or a shear force.
    """
    g = joint.geometry
    if not isinstance(g, SteppedLap):
        raise TheoryError(f"shear lag step by step is for stepped-lap joints; this is a {g.kind} joint.")
    force_alone(joint, "shear lag step by step")
    net, free = g.net_thickness(), free_strains(joint)
    lower, upper = ([axial_modulus(g.adherends()[name].material) * t for t in net[name]] for name in ("lower", "upper"))
    k = joint.adhesive.engineering_constants()["g_xy"] / g.bondline_thickness
    found = step_coefficients(g.treads, lower, upper, k, joint.line_load, free["upper"] - free["lower"])
    bondlines = []
    for i, end in enumerate(accumulate(g.treads)):
        x = places(g.treads[i])
        shear = step_shear(x, g.treads[i], (lower[i], upper[i]), k, found[i])
        curve = Curve.of_theory(end - g.treads[i] + x, shear)
        bondlines.append(Bondline(number=i + 1, middle=curve, measure="shear lag, step by step"))
    return bondlines
