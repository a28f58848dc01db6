"""The edge moment of a single lap as a frame of beams, with and without rotation under load.

Three beams in line, the two free adherends and the overlap (adherends and
adhesive bending as one), whose axes lie at different heights. Their deflection
w obeys D w'' = -M_g + s V + P (e + w): M_g, V moment and sideways force at the
grip, s the distance from it, e the height of the beam's axis above the grip's.
Leaving w out on the right gives the linear moment; keeping it is the
beam-column of Goland and Reissner, here with the ends as they are held.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

from fejoint.bondline.closed_form.grid import axial_modulus
from fejoint.joint.description import Joint
from fejoint.joint.families import SingleLap, SteppedLap

__all__ = ["ROTATION", "buckles", "buckling_share", "lap_edge_moment", "rotation_change"]

Floats = NDArray[np.float64]

# Share of the linear moment or stress from which what a linear analysis leaves out is told.
ROTATION = 0.05


def lap_edge_moment(joint: Joint, rotating: bool) -> float:
    """Return the larger of the two edge moments of a single lap, N per unit width; infinite where it buckles."""
    g, load = joint.geometry, joint.line_load
    assert isinstance(g, SingleLap)
    ta = g.bondline_thickness
    t1, t2 = g.lower.thickness, g.upper.thickness
    s1, s2 = axial_modulus(g.lower.material) * t1, axial_modulus(g.upper.material) * t2
    lever = (t1 + t2) / 2 + ta
    heights = (0.0, s2 / (s1 + s2) * lever, lever)  # of the beams' axes, above the grip's
    follow = load if rotating else 0.0

    def long_enough(length: float, stiffness: float) -> float:
        # In the middle of 15 decay lengths a beam in tension lies on the load's line; over more, exponentials lose all digits.
        return min(length, 15 * math.sqrt(stiffness / load)) if rotating and load > 0 else length

    clamped = joint.load.ends == "clamped"
    if rotating and buckles(joint):
        return math.inf
    # State: w, w', m = -M_g + s V, V, 1.
    steps = []
    for (length, d), e in zip(_beams_in_line(joint), heights, strict=True):
        a = np.zeros((5, 5))
        a[0, 1] = 1.0
        a[1] = [follow / d, 0.0, 1 / d, 0.0, load * e / d]
        a[2, 3] = 1.0
        kept = long_enough(length, d)
        half, skip = expm(a * kept / 2), np.eye(5)
        if kept < length:  # what is left out: m grows by V times its length, and w follows the load's line
            skip[2, 3], skip[0, 3] = length - kept, -(length - kept) / load
        steps.append(half @ skip @ half)
    through = steps[2] @ steps[1] @ steps[0]
    start = np.zeros((5, 3))  # columns: the two unknowns at the grip, and what is known
    start[2 if clamped else 1, 0] = 1.0
    start[3, 1] = 1.0
    start[4, 2] = 1.0
    end = through @ start
    last = end[1] if clamped else end[2] + follow * end[0] + load * lever * start[4]
    try:
        unknowns = np.linalg.solve(np.array([end[0, :2], last[:2]]), -np.array([end[0, 2], last[2]]))
    except np.linalg.LinAlgError:
        return math.inf
    state = steps[0] @ (start @ np.append(unknowns, 1.0))
    left = state[2] + follow * state[0]
    state = steps[1] @ state
    right = state[2] + follow * state[0] + load * lever
    moment = max(abs(left), abs(right))
    return float(moment) if math.isfinite(moment) else math.inf


def rotation_change(joint: Joint) -> float:
    """Return how far the edge moment of a joint that rotates under its load is from the linear one, as a share of that.

    Both moments are those of the same frame of beams (`lap_edge_moment`). It
    falls (negative) for most laps in tension, which straighten; the larger one
    of unlike adherends may rise, as the joint swings onto its load's line.
    Infinite where it buckles; zero for joints that are no single lap, or under
    more than a force.
    """
    if joint.load.force == 0 or not joint.load.force_alone or not isinstance(joint.geometry, SingleLap):
        return 0.0
    linear = abs(lap_edge_moment(joint, rotating=False))
    rotating = abs(lap_edge_moment(joint, rotating=True))
    if math.isinf(rotating):
        return math.inf
    return (rotating - linear) / linear if linear > 0 else 0.0


def buckles(joint: Joint) -> bool:
    """Return whether a joint, as a frame of beams held as its ends are, buckles under its load."""
    return joint.load.force < 0 and _buckles(_beams_in_line(joint), -joint.line_load, *_held(joint))


def buckling_share(joint: Joint) -> float:
    """Return a joint's compression over that at which it buckles as a frame of beams held as its ends are; 0 in tension."""
    if joint.load.force >= 0:
        return 0.0
    beams, held = _beams_in_line(joint), _held(joint)
    # No more than its whole length carries as its stiffest beam, clamped at both ends; bisect in the load's logarithm.
    length, stiffness = sum(beam[0] for beam in beams), max(beam[1] for beam in beams)
    high = 4 * math.pi**2 * stiffness / length**2
    low = 1e-6 * high
    for _ in range(40):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if _buckles(beams, middle, *held) else (middle, high)
    return -joint.line_load / high


def _held(joint: Joint) -> tuple[bool, bool]:
    """Return whether the ends are clamped, and whether the loaded one is free to move sideways."""
    return joint.load.ends == "clamped", joint.load.shear_force != 0


def _beams_in_line(joint: Joint) -> list[tuple[float, float]]:
    """Return length and bending stiffness of the left end, the overlap as one bar, and the right end.

    Two outers bend each by itself outside the overlap. A stepped overlap is
    taken as thick as its flush adherends, and as stiff as the softer one.
    """
    g = joint.geometry
    parts = list(g.adherends().values())
    stretch = [axial_modulus(part.material) * part.thickness for part in parts]
    bending = [s * part.thickness**2 / 12 for s, part in zip(stretch, parts, strict=True)]
    if isinstance(g, SteppedLap):
        overlap = min(bending)
    else:
        height = [part.thickness + g.bondline_thickness for part in parts]
        y = [sum(height[:i]) + part.thickness / 2 for i, part in enumerate(parts)]
        axis = sum(s * place for s, place in zip(stretch, y, strict=True)) / sum(stretch)
        overlap = sum(bending) + sum(s * (place - axis) ** 2 for s, place in zip(stretch, y, strict=True))
    ends: list[tuple[float, float]] = []
    for x in (0.0, g.length):
        names = [name for name, place in g.entries().items() if place == x]
        here = [(part.free_length, b) for (name, part), b in zip(g.adherends().items(), bending, strict=True) if name in names]
        ends.append((here[0][0], sum(b for _, b in here)))
    return [ends[0], (g.length, overlap), ends[1]]


def _buckles(beams: list[tuple[float, float]], thrust: float, clamped: bool, lifted: bool = False, pieces: int = 8) -> bool:
    """Return whether beams in line (length, bending stiffness) buckle below a thrust, N/mm.

    They are held sideways at both ends; lifted, at the first alone.

    Cubic beam elements: they do not as long as their stiffness less the thrust's
    part stays positive definite. The moment itself need not tell: alike arms
    bend antisymmetrically, and the first mode is symmetric.
    """
    size = 2 * (pieces * len(beams) + 1)
    k = np.zeros((size, size))
    for i in range(pieces * len(beams)):
        length, stiffness = beams[i // pieces]
        h = length / pieces
        bend = np.array([[12, 6, -12, 6], [6, 4, -6, 2], [-12, -6, 12, -6], [6, 2, -6, 4]]) * stiffness / h**3
        push = np.array([[36, 3, -36, 3], [3, 4, -3, -1], [-36, -3, 36, -3], [3, -1, -3, 4]]) * thrust / (30 * h)
        turn = np.array([1, h, 1, h])
        k[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += (bend - push) * turn * turn[:, None]
    free = np.setdiff1d(np.arange(size), [0, *([] if lifted else [size - 2]), *([1, size - 1] if clamped else [])])
    scale = np.sqrt(np.abs(np.diag(k)[free]))
    try:
        np.linalg.cholesky(k[np.ix_(free, free)] / scale / scale[:, None])
    except np.linalg.LinAlgError:
        return True
    return False
