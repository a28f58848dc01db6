"""Two beams joined by a layer, with their free arms: the general linear theory of a single lap.

The adherends are beams that stretch, bend and, if wanted, shear; they may be
unlike in every way. The layer shears and stretches across, with a shear stress
uniform through its thickness:

    tau / G = (u1 + t1/2 r1 - u2 + t2/2 r2) / ta + (w1' + w2') / 2 [+ ta^2 tau'' / (12 E')]
    sigma   = E' (w1 - w2) / ta

(1 the upper, 2 the lower beam; u, w displacements of the mid-line along x and
y, r its rotation). Virtual work then gives

    N1' = tau,  N2' = -tau,  Qi' = +-sigma,  Mi' = tau (ti + ta)/2 - Qi,  Mi = Di ri',  Ni = Si (ui' - ei)

with ei the free thermal strain, and wi' = ri + (Qi - tau ta/2) / (5/6 Gi ti) in
beams that shear (ri alone without); so the lever arms reach to the middle of
the layer. Without the term in w' they are t/2, as in the theory of Goland and
Reissner (and ta drops out of the other equations). The term in brackets stems
from the layer's own equilibrium (its peel stress varies through the thickness
by ta tau', which bends the layer's cross-section); with it the shear stress is
zero at the ends, as it must be on a free surface.

Where the equations come from: derived for this project. Theories of this kind
without that term are W. J. Renton & J. R. Vinson 1975, and D. A. Bigwood &
A. D. Crocombe 1989 (cited from memory). The boundary value problem is solved by
matrix exponentials over short pieces, all states in one system, which keeps the
digits that one long exponential loses.

Held against finite elements of real materials, free ends: edge moments of the
frame (tests/bondline/test_edge_moment.py; moment, lift and cooling in
tests/bondline/test_two_beams.py, with peak shear within 5 %), shear and peel of
soft layers a bondline thickness inside the ends, 3 % of the peaks
(tests/scenarios/test_theories_meet_fe.py), and both peaks under the edge loads
of finite elements (tests/bondline/test_comparison.py, over the laps of
benchmarks/as_built.py): peel at the very end, where the real layer is free to
contract, lies above the mid-line's peak.

Valid for any single lap whose layer is the softest part: the adherends' own
give across the interface is left out (in peel about 13/35 of t/E' a side, in
shear, beyond that of beams, 2/15 of t/G), as are the layer's stress along the
joint, and so its own expansion, and spew fillets. Linear: small rotations, so
the edge moment does not fall as the load grows; see
`fejoint.bondline.edge_moment` for how much it would. For a stress that is to be
quoted by its author's name use `goland_reissner` or `volkersen`; for double and
stepped laps `volkersen` and `shear_lag`; for an adhesive that yields
`hart_smith_double` and `hart_smith_stepped`.

N, mm, MPa, all per unit width.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm, schur, solve_sylvester
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

from fejoint.bondline.closed_form.grid import axial_modulus, free_strains, places, single_lap
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.geometry import Adherend
from fejoint.joint.materials import Adhesive

__all__ = ["Beam", "Lap", "Layer", "curves", "frame", "overlap", "solid_frame"]

Floats = NDArray[np.float64]
Form = Literal["faces", "middle", "free ends"]

U, N, W, R, M, Q = range(6)  # place of each quantity in a beam's state
TAU, SLOPE = 12, 13  # and of the shear stress and its slope, after both beams, where they are states of their own


@dataclass(frozen=True)
class Beam:
    """An adherend as a beam.

    Attributes
    ----------
    stretch : float, N/mm
        S, axial force over strain: E t / (1 - nu^2) for a sheet with its width held.
    bending : float, N mm
        D, moment over curvature: S t^2 / 12 for the same.
    thickness : float, mm
        Twice the distance from the mid-line to the bonded face.
    shear_softness : float, mm/N
        Turning of the mid-line against the cross-section per shear force; 0 for a beam that does not shear.
    """

    stretch: float
    bending: float
    thickness: float
    shear_softness: float = 0.0

    @classmethod
    def plate(cls, modulus: float, thickness: float, shear_modulus: float = math.inf) -> Beam:
        """Return the beam of one material: E / (1 - nu^2) and, if it is to shear, G (5/6 of the section counts)."""
        softness = 0.0 if math.isinf(shear_modulus) else 1 / (5 / 6 * shear_modulus * thickness)
        return cls(modulus * thickness, modulus * thickness**3 / 12, thickness, softness)

    @classmethod
    def isotropic(cls, modulus: float, poisson_ratio: float, thickness: float, *, shears: bool = True) -> Beam:
        """Return the beam of a material with E and nu, its width held."""
        shear_modulus = modulus / (2 * (1 + poisson_ratio))
        return cls.plate(modulus / (1 - poisson_ratio**2), thickness, shear_modulus if shears else math.inf)

    @classmethod
    def of(cls, part: Adherend) -> Beam:
        """Return the beam of an adherend, isotropic or not: it stretches and bends with `axial_modulus`, shears with G_xy."""
        return cls.plate(axial_modulus(part.material), part.thickness, part.material.engineering_constants()["g_xy"])

    @property
    def modulus(self) -> float:
        """Stress over strain along the beam, MPa."""
        return self.stretch / self.thickness


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
    form: Form = "middle"

    @classmethod
    def constrained(cls, modulus: float, poisson_ratio: float, thickness: float, form: Form = "middle") -> Layer:
        """Return the layer of an adhesive with E and nu, kept by its adherends from straining in its plane."""
        nu = poisson_ratio
        return cls(modulus / (2 * (1 + nu)), modulus * (1 - nu) / ((1 + nu) * (1 - 2 * nu)), thickness, form)

    @classmethod
    def of(cls, adhesive: Adhesive, thickness: float, form: Form = "middle") -> Layer:
        """Return the layer of an adhesive, constrained.

        Why constrained: the layer is far wider and longer than it is thick and
        its adherends far stiffer, so that under peel it can contract neither
        along the joint nor across the width. Only within about a thickness
        of its ends can it do so.
        """
        c = adhesive.engineering_constants()
        return cls.constrained(c["e_x"], c["nu_xy"], thickness, form)


@dataclass(frozen=True, eq=False)
class Lap:
    """The solved overlap: states of the beams (u, N, w, r, M, Q) and stresses of the layer at `x`, from 0 at its left."""

    x: Floats
    upper: Floats
    lower: Floats
    shear: Floats
    peel: Floats


def overlap(
    upper: Beam,
    lower: Beam,
    layer: Layer,
    length: float,
    left: Sequence[float],
    right: Sequence[float],
    pieces: int = 400,
    strains: tuple[float, float] = (0.0, 0.0),
) -> Lap:
    """Return the overlap under edge loads (N, Q, M): of the lower beam at its left, of the upper beam at its right.

    The loads must balance; what does not is left on the lower beam's right
    end. `strains` are the free thermal strains of upper and lower beam.
    """
    a, b, tau, sigma = _overlap(upper, lower, layer, strains)
    x = places(length, pieces)
    free_upper = [(N, 0.0), (Q, 0.0), (M, 0.0)]
    # The loads balance: three displacements at the lower beam's ends take the place of its three free ends at the right.
    start = [*free_upper, (6 + N, left[0]), (6 + Q, left[1]), (6 + M, left[2]), (6 + U, 0.0), (6 + W, 0.0)]
    end = [(N, right[0]), (Q, right[1]), (M, right[2]), (6 + W, 0.0)]
    if len(a) > TAU:
        start.append((TAU, 0.0))
        end.append((TAU, 0.0))
    states = _solve([(a, b, x)], start, end, _units(upper, lower, layer))[0]
    return Lap(x, states[:, :6], states[:, 6:12], states @ tau, states @ sigma)


def frame(
    upper: Beam,
    lower: Beam,
    layer: Layer,
    length: float,
    arms: tuple[float, float],
    load: float,
    ends: str,
    pieces: int = 400,
    *,
    moment: float = 0.0,
    shear_force: float = 0.0,
    strains: tuple[float, float] = (0.0, 0.0),
) -> Lap:
    """Return the overlap of a lap held at the ends of its arms (lower at the left, upper at the right) and loaded at the right.

    `load` pulls, `moment` turns a pinned end counter-clockwise, `shear_force`
    lifts a clamped one, which is then free to move so (0: it is held).
    `strains` are the free thermal strains of upper and lower beam.
    """
    a, b, tau, sigma = _overlap(upper, lower, layer, strains)
    x = places(length, pieces)
    sections = [
        (*_arm(lower, strains[1]), np.linspace(0, arms[0], 11)),
        (a, b, x),
        (*_arm(upper, strains[0]), np.linspace(0, arms[1], 11)),
    ]
    states = _solve(sections, *_held(ends, load, moment, shear_force), _units(upper, lower, layer))[1]
    return Lap(x, states[:, :6], states[:, 6:12], states @ tau, states @ sigma)


def solid_frame(
    upper: Beam, lower: Beam, gap: float, length: float, arms: tuple[float, float], load: float, ends: str
) -> tuple[float, float]:
    """Return the edge moments, left and right, when the overlap bends as one bar, as it would with a rigid layer."""
    lever = (upper.thickness + lower.thickness) / 2 + gap
    axis = upper.stretch * lever / (upper.stretch + lower.stretch)  # of the bar, above the lower mid-plane
    bending = upper.bending + lower.bending + upper.stretch * (lever - axis) ** 2 + lower.stretch * axis**2
    bar = Beam(upper.stretch + lower.stretch, bending, lever)
    pieces = np.linspace(0, 1, 11)
    parts = ((lower, arms[0]), (bar, length), (upper, arms[1]))
    sections = [(*_arm(part), pieces * reach) for part, reach in parts]
    states = _solve(sections, *_held(ends, load), _units(upper, lower), steps=(axis, lever - axis))
    return float(states[0][-1, M]), float(states[2][0, M])


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None, form: Form = "free ends") -> list[Bondline]:
    """Return the bondline of a single lap: any adherends, loads and ends.

    Parameters
    ----------
    joint : Joint
    edges : mapping, optional
        Edge loads of ``lower`` and ``upper``, such as those from finite
        elements, which then load the overlap alone; by default those of the
        frame of both arms and the overlap, held and loaded as the joint is.
    form : {"free ends", "middle", "faces"}
        Of the layer (`Layer`). With "faces", where the lever arms leave out
        the layer, the edges' shear forces are those that balance the moments.

    Raises
    ------
    TheoryError
        Not a single lap, or edge loads that do not balance.
    """
    g = single_lap(joint, "The theory of two beams and a layer")
    upper, lower, length = Beam.of(g.upper), Beam.of(g.lower), g.overlap_length
    layer = Layer.of(joint.adhesive, g.bondline_thickness, form)
    free = free_strains(joint)
    strains = free["upper"], free["lower"]
    if edges is None:
        found = frame(
            upper,
            lower,
            layer,
            length,
            (g.lower.free_length, g.upper.free_length),
            joint.line_load,
            joint.load.ends,
            moment=joint.line_moment,
            shear_force=joint.line_shear,
            strains=strains,
        )
        loads = "edge loads of a frame"
    else:
        left, right = ((end.axial, end.shear, end.moment) for end in _balanced(edges, joint, form))
        found = overlap(upper, lower, layer, length, left, right, strains=strains)
        loads = "given edge loads"
    ends = [EdgeLoads(*(float(state[i]) for i in (N, Q, M))) for state in (found.lower[0], found.upper[-1])]
    curve = Curve.of_theory(found.x, found.shear, found.peel)
    measure = f"two beams and a layer, {MEANING[form]}, {loads} (fejoint 2026)"
    return [Bondline(number=1, middle=curve, left=ends[0], right=ends[1], measure=measure)]


# ---- parts ---------------------------------------------------------------

MEANING = {"free ends": "ends free of shear", "middle": "lever arms to its middle", "faces": "lever arms to its faces"}

# Finite elements balance to 1e-6; a hundred times more is still far below what shows.
BALANCE = 1e-4
# Of the thermal forces that they hold back within; all that is left of edge loads where those bend a joint freely.
ROUND_OFF = 1e-6


def _balanced(edges: Mapping[str, EdgeLoads], joint: Joint, form: str) -> tuple[EdgeLoads, EdgeLoads]:
    """Return the edge loads, left and right, as the layer's form balances them."""
    g = single_lap(joint, "The theory of two beams and a layer")
    left, right = edges["lower"], edges["upper"]
    arms = (g.lower.thickness + g.upper.thickness) / 2
    lever = arms + g.bondline_thickness
    off = right.moment - left.moment + right.shear * g.overlap_length - right.axial * lever
    moment = abs(right.moment) + abs(left.moment) + abs(right.axial) * lever + abs(right.shear) * g.overlap_length
    force = abs(right.axial) + abs(right.shear)
    gaps = (abs(left.axial - right.axial), abs(left.shear - right.shear))
    floor = ROUND_OFF * _thermal_force(joint)
    reach = lever + g.overlap_length
    if max(gaps) > BALANCE * force + floor or abs(off) > BALANCE * moment + floor * reach:
        raise TheoryError("the edge loads given to the theory of two beams and a layer do not balance over the overlap.")
    if form == "faces":
        shear = (right.axial * arms - right.moment + left.moment) / g.overlap_length
        return EdgeLoads(left.axial, shear, left.moment), EdgeLoads(right.axial, shear, right.moment)
    return left, right


def _thermal_force(joint: Joint) -> float:
    """Return what a change of temperature would load a lap with were it held, N/mm: the softer adherend, and the layer."""
    g, adhesive = single_lap(joint, "The theory of two beams and a layer"), joint.adhesive
    softer = min(Beam.of(part).stretch for part in (g.lower, g.upper))
    layer = axial_modulus(adhesive) * g.bondline_thickness * adhesive.engineering_constants()["a_x"]
    return softer * max(map(abs, free_strains(joint).values())) + abs(layer * joint.load.temperature_change)


def _held(
    ends: str, load: float, moment: float = 0.0, shear_force: float = 0.0
) -> tuple[list[tuple[int, float]], list[tuple[int, float]]]:
    start, end = [(U, 0.0), (W, 0.0)], [(N, load), (W, 0.0) if shear_force == 0 else (Q, shear_force)]
    turns = ((R, 0.0), (R, 0.0)) if ends == "clamped" else ((M, 0.0), (M, moment))
    return [*start, turns[0]], [*end, turns[1]]


def _units(upper: Beam, lower: Beam, layer: Layer | None = None) -> Floats:
    """Return units of the states, such that all entries of the equations come near one another."""
    t = (upper.thickness + lower.thickness) / 2
    e = (upper.stretch + lower.stretch) / (2 * t)
    beam = np.empty(6)
    beam[[U, N, W, R, M, Q]] = t, e * t, t, 1.0, e * t**2, e * t
    if layer is None:
        return beam
    tau = max(e, layer.shear_modulus * t / layer.thickness)
    rate = math.sqrt(12 * layer.peel_modulus / layer.shear_modulus) / layer.thickness
    return np.array([*beam, *beam, tau, tau * rate])


def _arm(beam: Beam, strain: float = 0.0) -> tuple[Floats, Floats]:
    """Return A and b of y' = A y + b for a beam alone."""
    a, b = np.zeros((6, 6)), np.zeros(6)
    a[U, N], b[U] = 1 / beam.stretch, strain
    a[W, R], a[W, Q] = 1.0, beam.shear_softness
    a[R, M] = 1 / beam.bending
    a[M, Q] = -1.0
    return a, b


def _overlap(upper: Beam, lower: Beam, layer: Layer, strains: tuple[float, float]) -> tuple[Floats, Floats, Floats, Floats]:
    """Return A and b of y' = A y + b for both beams and the layer, and the rows that make tau and sigma of the state."""
    g, e, ta = layer.shear_modulus, layer.peel_modulus, layer.thickness
    free = layer.form == "free ends"
    size = 14 if free else 12
    reach = 0.0 if layer.form == "faces" else ta / 2
    beams = ((upper, 0, 1.0, strains[0]), (lower, 6, -1.0, strains[1]))
    slide, tau, sigma = np.zeros(size), np.zeros(size), np.zeros(size)
    softening = 1.0
    for beam, first, side, _ in beams:
        slide[first + U] = side * g / ta
        slide[first + R] = (beam.thickness / 2 + reach) * g / ta
        slide[first + Q] = reach * beam.shear_softness * g / ta
        sigma[first + W] = side * e / ta
        softening += reach**2 * beam.shear_softness * g / ta
    a, b = np.zeros((size, size)), np.zeros(size)
    if free:
        tau[TAU] = 1.0
        a[TAU, SLOPE] = 1.0
        a[SLOPE] = 12 * e / (g * ta**2) * (softening * tau - slide)
    else:
        tau = slide / softening
    for beam, first, side, strain in beams:
        a[first : first + 6, first : first + 6], b[first : first + 6] = _arm(beam, strain)
        a[first + W] -= reach * beam.shear_softness * tau
        a[first + N] += side * tau
        a[first + M] += (beam.thickness / 2 + reach) * tau
        a[first + Q] += side * sigma
    return a, b, tau, sigma


def _solve(
    sections: list[tuple[Floats, Floats, Floats]],
    start: list[tuple[int, float]],
    end: list[tuple[int, float]],
    units: Floats,
    steps: tuple[float, float] = (0.0, 0.0),
) -> list[Floats]:
    """Return the states at all places of all sections, each given by A and b of y' = A y + b and its places.

    `start` and `end` give values of the first and the last state. Where an arm
    meets an overlap of two beams, the beam that it does not continue is free;
    where it meets a single bar, the axis steps up by `steps`.
    """
    sizes = [len(a) + 1 for a, _, _ in sections]  # (y, 1)
    first = np.cumsum([0, *(len(x) * n for (_, _, x), n in zip(sections, sizes, strict=True))])
    rows, columns, factors = [], [], []
    right: list[float] = []
    modes = []
    count = 0
    for (a, b, x), n, base in zip(sections, sizes, first, strict=False):
        unit = units[: n - 1]
        shapes, here, there = _pieces(a * unit / unit[:, None], b / unit, x)
        modes.append(shapes * np.append(unit, 1.0)[:, None])
        row = count + np.arange(n * (len(x) - 1)).reshape(-1, n, 1)
        column = base + n * np.arange(len(x) - 1)[:, None, None] + np.arange(n)
        for block, at in ((here, column), (there, column + n)):
            i, j, k = np.nonzero(block)
            rows.append(row[i, j, 0])
            columns.append(at[i, 0, k])
            factors.append(block[i, j, k])
        right += [0.0] * row.size
        count += row.size

    def equation(terms: list[tuple[int, int, int, float]], value: float = 0.0) -> None:
        """Add a condition: section, place in it (0 or -1), quantity, factor; then the value."""
        nonlocal count
        scale = units[terms[0][2]] if terms[0][2] < len(units) else 1.0
        for section, place, quantity, factor in terms:
            n = sizes[section]
            column = (first[section] if place == 0 else first[section + 1] - n) + np.arange(n)
            rows.append(np.full(n, count))
            columns.append(column)
            factors.append(factor / scale * modes[section][quantity])
        right.append(value / scale)
        count += 1

    for section, n in enumerate(sizes):
        # The last entry of (y, 1); its own row sets the scale of no unit.
        rows.append(np.full(n, count))
        columns.append(first[section] + np.arange(n))
        factors.append(modes[section][-1])
        right.append(1.0)
        count += 1
    for s, (left_size, right_size) in enumerate(pairwise(sizes)):
        into = 6 if right_size > 7 else 0  # the lower beam goes on into the overlap, the upper out of it
        for c in range(6):
            terms = [(s, -1, c, 1.0), (s + 1, 0, into + c, -1.0)]
            if c == U:  # one cross-section: u falls with the height of the axis where it turns
                terms.append((s, -1, R, -steps[s]))
            if c == M:  # tension along an axis that steps up
                terms.append((s, -1, N, steps[s]))
            equation(terms)
        for section, place, free_beam, n in ((s + 1, 0, 0, right_size), (s, -1, 6, left_size)):
            if n > 7:
                for c in (N, M, Q):
                    equation([(section, place, free_beam + c, 1.0)])
            if n > TAU + 1:
                equation([(section, place, TAU, 1.0)])
    for section, place, conditions in ((0, 0, start), (len(sections) - 1, -1, end)):
        for c, value in conditions:
            equation([(section, place, c, 1.0)], value)
    entries = np.concatenate(factors), (np.concatenate(rows), np.concatenate(columns))
    y = splu(coo_array(entries, shape=(count, int(first[-1]))).tocsc()).solve(np.array(right))
    return [
        y[base:stop].reshape(-1, n) @ shapes[:-1].T for base, stop, n, shapes in zip(first, first[1:], sizes, modes, strict=False)
    ]


def _pieces(a: Floats, b: Floats, x: Floats) -> tuple[Floats, Floats, Floats]:
    """Return modes and, for every piece of x, what ties their amounts c at both its ends: L c(left) + R c(right) = 0.

    (y, 1) = modes @ c. Where nothing grows much over a piece the modes are the
    quantities themselves. What does is parted from the rest, and what decays
    from what grows (which is followed backwards), so that no exponential
    ever exceeds exp(4): thin layers have edge effects far shorter than a piece.
    """
    n = len(a) + 1
    whole = np.zeros((n, n))
    whole[:-1, :-1], whole[:-1, -1] = a, b
    # Pieces of one length, which the symmetric places have in fours, share their exponentials.
    length, same = np.unique(np.round(np.diff(x) / x[-1], 15), return_inverse=True)
    length = length * x[-1]
    fast = 4 / length.max()
    modes, (slow, rest) = _parted(whole, lambda re, im: abs(re) < fast)
    inner, (decaying, growing) = _parted(rest, lambda re, im: re < 0)
    ns, nd = len(slow), len(slow) + len(decaying)
    modes[:, ns:] = modes[:, ns:] @ inner
    left, right = np.zeros((len(length), n, n)), np.zeros((len(length), n, n))
    h = length[:, None, None]
    left[:, :ns, :ns], left[:, ns:nd, ns:nd], left[:, nd:, nd:] = expm(h * slow), expm(h * decaying), -np.eye(n - nd)
    right[:, :nd, :nd], right[:, nd:, nd:] = -np.eye(nd), expm(-h * growing)
    return modes, left[same], right[same]


def _parted(matrix: Floats, first: Callable[[float, float], bool]) -> tuple[Floats, tuple[Floats, Floats]]:
    """Return V and two blocks with matrix V = V diag(blocks): eigenvalues that `first` picks by their parts, and the rest."""
    triangle, vectors, k = schur(matrix, sort=first) if len(matrix) else (matrix, matrix, 0)
    if k in (0, len(matrix)):
        return np.eye(len(matrix)), (matrix[:k, :k], matrix[k:, k:])
    coupling = solve_sylvester(triangle[:k, :k], -triangle[k:, k:], -triangle[:k, k:])
    vectors[:, k:] += vectors[:, :k] @ coupling
    return vectors, (triangle[:k, :k], triangle[k:, k:])
