"""Two beams joined by a layer, with their free arms: a reference solved apart from the package.

The adherends are beams that stretch, bend and, if wanted, shear; the layer
shears and stretches across, with a shear stress uniform through its thickness:

    tau / G = (u1 + t1/2 r1 - u2 + t2/2 r2) / ta + (w1' + w2') / 2 [+ ta^2 tau'' / (12 E')]
    sigma   = E' (w1 - w2) / ta

(1 the upper, 2 the lower beam; u, w displacements of the mid-line along x and
y, r its rotation). Virtual work then gives

    N1' = tau,  N2' = -tau,  Qi' = +-sigma,  Mi' = tau (ti + ta)/2 - Qi,  Mi = Di ri'

so the lever arms reach to the middle of the layer. Without the term in w' the
lever arms are t/2, as in the theory of Goland and Reissner. The term in
brackets stems from the layer's own equilibrium (its peel stress varies through
the thickness by ta tau', which bends the layer's cross-section); with it the
shear stress is zero at the ends, as it must be on a free surface.

The equations were derived for this project. The boundary value problem is
solved by matrix exponentials over short pieces, all states in one system,
which keeps the digits that one long exponential loses. N, mm, MPa, all per
unit width.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

Floats = NDArray[np.float64]

U, N, W, R, M, Q = range(6)  # place of each quantity in a beam's state
TAU, SLOPE = 12, 13  # and of the shear stress and its slope, after both beams, where they are states of their own


@dataclass(frozen=True)
class Beam:
    """An adherend: E / (1 - nu^2), thickness, and a shear modulus if it is to shear."""

    modulus: float
    thickness: float
    shear_modulus: float = math.inf

    @classmethod
    def isotropic(cls, modulus: float, poisson_ratio: float, thickness: float, *, shears: bool = True) -> Beam:
        """Return the beam of a material with E and nu, its width held."""
        shear_modulus = modulus / (2 * (1 + poisson_ratio))
        return cls(modulus / (1 - poisson_ratio**2), thickness, shear_modulus if shears else math.inf)

    @property
    def bending(self) -> float:
        return self.modulus * self.thickness**3 / 12

    @property
    def shear_softness(self) -> float:
        """Rotation of the mid-line against the cross-section per shear force (5/6 of the section counts)."""
        return 0.0 if math.isinf(self.shear_modulus) else 1 / (5 / 6 * self.shear_modulus * self.thickness)


@dataclass(frozen=True)
class Layer:
    """An adhesive layer.

    `form` is "faces" (lever arms end at the adherends' faces), "middle" (they
    reach the middle of the layer) or "free ends" (the same, and no shear
    stress on the ends).
    """

    shear_modulus: float
    peel_modulus: float
    thickness: float
    form: Literal["faces", "middle", "free ends"] = "middle"

    @classmethod
    def constrained(
        cls, modulus: float, poisson_ratio: float, thickness: float, form: Literal["faces", "middle", "free ends"] = "middle"
    ) -> Layer:
        """Return the layer of an adhesive with E and nu, kept by its adherends from straining in its plane."""
        nu = poisson_ratio
        return cls(modulus / (2 * (1 + nu)), modulus * (1 - nu) / ((1 + nu) * (1 - 2 * nu)), thickness, form)


@dataclass(frozen=True)
class Lap:
    """The solved overlap: states of the beams and stresses of the layer at `x`, from 0 at its left."""

    x: Floats
    upper: Floats
    lower: Floats
    shear: Floats
    peel: Floats


def overlap(
    upper: Beam, lower: Beam, layer: Layer, length: float, left: Sequence[float], right: Sequence[float], pieces: int = 400
) -> Lap:
    """Return the overlap under edge loads (N, Q, M): of the lower beam at its left, of the upper beam at its right."""
    a, tau, sigma = _overlap(upper, lower, layer)
    x = _places(length, pieces)
    free_upper = [(N, 0.0), (Q, 0.0), (M, 0.0)]
    # The loads balance: three displacements at the lower beam's ends take the place of its three free ends at the right.
    start = [*free_upper, (6 + N, left[0]), (6 + Q, left[1]), (6 + M, left[2]), (6 + U, 0.0), (6 + W, 0.0)]
    end = [(N, right[0]), (Q, right[1]), (M, right[2]), (6 + W, 0.0)]
    if len(a) > TAU:
        start.append((TAU, 0.0))
        end.append((TAU, 0.0))
    states = _solve([(a, x)], start, end)[0]
    return Lap(x, states[:, :6], states[:, 6:12], states @ tau, states @ sigma)


def frame(
    upper: Beam, lower: Beam, layer: Layer, length: float, arms: tuple[float, float], load: float, ends: str, pieces: int = 400
) -> Lap:
    """Return the overlap of a lap held at the ends of its arms (lower at the left, upper at the right) and pulled by `load`."""
    a, tau, sigma = _overlap(upper, lower, layer)
    x = _places(length, pieces)
    sections = [(_arm(lower), np.linspace(0, arms[0], 11)), (a, x), (_arm(upper), np.linspace(0, arms[1], 11))]
    states = _solve(sections, *_held(ends, load))[1]
    return Lap(x, states[:, :6], states[:, 6:12], states @ tau, states @ sigma)


def solid_frame(
    upper: Beam, lower: Beam, gap: float, length: float, arms: tuple[float, float], load: float, ends: str
) -> tuple[float, float]:
    """Return the edge moments, left and right, when the overlap bends as one bar, as it would with a rigid layer."""
    e1, e2 = upper.modulus * upper.thickness, lower.modulus * lower.thickness
    lever = (upper.thickness + lower.thickness) / 2 + gap
    axis = e1 * lever / (e1 + e2)  # of the bar, above the lower mid-plane
    bar = _arm(Beam(e1 + e2, 1.0))
    bar[R, M] = 1 / (upper.bending + lower.bending + e1 * (lever - axis) ** 2 + e2 * axis**2)
    pieces = np.linspace(0, 1, 11)
    sections = [(_arm(lower), pieces * arms[0]), (bar, pieces * length), (_arm(upper), pieces * arms[1])]
    states = _solve(sections, *_held(ends, load), steps=(axis, lever - axis))
    return float(states[0][-1, M]), float(states[2][0, M])


# ---- parts ---------------------------------------------------------------


def _held(ends: str, load: float) -> tuple[list[tuple[int, float]], list[tuple[int, float]]]:
    turn = R if ends == "clamped" else M
    return [(U, 0.0), (W, 0.0), (turn, 0.0)], [(N, load), (W, 0.0), (turn, 0.0)]


def _places(length: float, pieces: int) -> Floats:
    return length * (1 - np.cos(np.linspace(0, np.pi, pieces + 1))) / 2


def _arm(beam: Beam) -> Floats:
    """Return A of y' = A y for a beam alone."""
    a = np.zeros((6, 6))
    a[U, N] = 1 / (beam.modulus * beam.thickness)
    a[W, R], a[W, Q] = 1.0, beam.shear_softness
    a[R, M] = 1 / beam.bending
    a[M, Q] = -1.0
    return a


def _overlap(upper: Beam, lower: Beam, layer: Layer) -> tuple[Floats, Floats, Floats]:
    """Return A of y' = A y for both beams and the layer, and the rows that make tau and sigma of the state."""
    g, e, ta = layer.shear_modulus, layer.peel_modulus, layer.thickness
    free = layer.form == "free ends"
    size = 14 if free else 12
    reach = 0.0 if layer.form == "faces" else ta / 2
    beams = ((upper, 0, 1.0), (lower, 6, -1.0))
    slide, tau, sigma = np.zeros(size), np.zeros(size), np.zeros(size)
    softening = 1.0
    for beam, first, side in beams:
        slide[first + U] = side * g / ta
        slide[first + R] = (beam.thickness / 2 + reach) * g / ta
        slide[first + Q] = reach * beam.shear_softness * g / ta
        sigma[first + W] = side * e / ta
        softening += reach**2 * beam.shear_softness * g / ta
    a = np.zeros((size, size))
    if free:
        tau[TAU] = 1.0
        a[TAU, SLOPE] = 1.0
        a[SLOPE] = 12 * e / (g * ta**2) * (softening * tau - slide)
    else:
        tau = slide / softening
    for beam, first, side in beams:
        a[first : first + 6, first : first + 6] = _arm(beam)
        a[first + W] -= reach * beam.shear_softness * tau
        a[first + N] += side * tau
        a[first + M] += (beam.thickness / 2 + reach) * tau
        a[first + Q] += side * sigma
    return a, tau, sigma


def _solve(
    sections: list[tuple[Floats, Floats]],
    start: list[tuple[int, float]],
    end: list[tuple[int, float]],
    steps: tuple[float, float] = (0.0, 0.0),
) -> list[Floats]:
    """Return the states at all places of all sections.

    `start` and `end` give values of the first and the last state. Where an arm
    meets an overlap of two beams, the beam that it does not continue is free;
    where it meets a single bar, the axis steps up by `steps`.
    """
    first = np.cumsum([0, *(len(x) * len(a) for a, x in sections)])
    rows: list[int] = []
    columns: list[int] = []
    factors: list[float] = []
    right: list[float] = []

    def equation(terms: list[tuple[int, float]], value: float = 0.0) -> None:
        largest = max(abs(factor) for _, factor in terms)
        for column, factor in terms:
            rows.append(len(right))
            columns.append(column)
            factors.append(factor / largest)
        right.append(value / largest)

    for (a, x), base in zip(sections, first, strict=False):
        n = len(a)
        for i, (x0, x1) in enumerate(pairwise(x)):
            through = expm(a * (x1 - x0))
            here, there = base + i * n, base + (i + 1) * n
            for r in range(n):
                equation([*((here + c, through[r, c]) for c in range(n)), (there + r, -1.0)])
    for s, ((a, x), (b, _)) in enumerate(pairwise(sections)):
        last, following = first[s] + (len(x) - 1) * len(a), first[s + 1]
        into = 6 if len(b) > 6 else 0  # the lower beam goes on into the overlap, the upper out of it
        for c in range(6):
            terms = [(last + c, 1.0), (following + into + c, -1.0)]
            if c == U:  # one cross-section: u falls with the height of the axis where it turns
                terms.append((last + R, -steps[s]))
            if c == M:  # tension along an axis that steps up
                terms.append((last + N, steps[s]))
            equation(terms)
        for state, free_beam, size in ((following, 0, len(b)), (last, 6, len(a))):
            if size > 6:
                for c in (N, M, Q):
                    equation([(state + free_beam + c, 1.0)])
            if size > TAU:
                equation([(state + TAU, 1.0)])
    for c, value in start:
        equation([(c, 1.0)], value)
    for c, value in end:
        equation([(first[-1] - len(sections[-1][0]) + c, 1.0)], value)
    matrix = coo_array((factors, (rows, columns)), shape=(len(right), first[-1])).tocsc()
    y = splu(matrix).solve(np.array(right))
    return [y[base : base + len(x) * len(a)].reshape(len(x), len(a)) for (a, x), base in zip(sections, first, strict=False)]
