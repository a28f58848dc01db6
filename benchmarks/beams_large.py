"""A single lap whose adherends turn far: two beams and a layer with finite rotations, solved by scipy, twice.

Nothing of the package is used. An adherend is a strip that is rigid across and
in shear: its section turns with its mid-line r(s), the point at height h is
r + h n, and the Green-Lagrange strain there is ((l - h k)^2 - 1) / 2, with l
the stretch of the mid-line and k = theta' its turning. The stress of a
St Venant-Kirchhoff strip goes with it, which makes

    N = C/2 [(l^3 - l) t + 3 l k^2 I],  M = C/2 [(3 l^2 - 1) k I + k^3 J],  I = t^3/12,  J = t^5/80

so that nothing but the strip's rigidity is assumed. The layer's position is
linear through its thickness between the two bonded faces; with F_x the mean of
their derivatives along s and F_y their distance over the thickness its stresses
in its own directions (second Piola-Kirchhoff; none along it) are

    S_yy = E' (F_y . F_y - 1) / 2,    S / G = F_x . F_y + ta^2 S'' / (12 E'),  S = S_xy

where the last term stems from its own equilibrium: the peel varies through the
thickness by ta S', which bends the layer's cross-section, and lets the shear
stress be zero on its free ends. Without that term the stress beside the ends is
1 to 2 percent lower, since the ends take no load. Virtual work then says what the layer
does to the beams: a force B = S F_x + S_yy F_y on each face and, since F_x is a
derivative, a tension A / 2, A = ta S F_y, along each face. A beam's force f and
moment m with those of its face in them follow

    f' = +-B,   m' = -l (f - A/2) . n - h k A/2 . n -+ h B . t
    N = (f - A/2) . t,   M = m + h A/2 . t

(upper signs for the upper beam, h from its mid-line to the bonded face), and
are zero on free ends. For small loads that is the linear theory of two beams
and a layer with free ends. `large_lap` solves these equations by collocation;
`lap_by_energy` never sees them: it makes the energy of the same strains
stationary, in Hermite elements, with S a field of its own.

Derived for this project. Finite strain of beams: E. Reissner, J. Appl. Math.
Phys. (ZAMP) 23, 1972, 795-804 (from memory).

N, mm, MPa, all per unit width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_bvp
from scipy.interpolate import CubicSpline
from scipy.sparse import coo_array
from scipy.sparse.linalg import spsolve

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Strip:
    """An adherend: modulus along it (MPa), thickness and length of its arm (mm)."""

    modulus: float
    thickness: float
    free_length: float

    @property
    def inertia(self) -> float:
        """I, mm^3."""
        return self.thickness**3 / 12

    def forces(self, stretch, turning):
        """Return N and M (N/mm, N) at a stretch and a turning (1/mm)."""
        fifth = self.thickness**5 / 80
        axial = (stretch**3 - stretch) * self.thickness + 3 * stretch * turning**2 * self.inertia
        moment = (3 * stretch**2 - 1) * turning * self.inertia + turning**3 * fifth
        return self.modulus / 2 * axial, self.modulus / 2 * moment

    def energy(self, stretch, turning):
        """Return the strain energy per length, N: the integral of C/2 E^2 through the thickness, by three Gauss points."""
        places, weights = np.polynomial.legendre.leggauss(3)
        total = 0.0
        for place, weight in zip(places, weights, strict=True):
            strain = ((stretch - place * self.thickness / 2 * turning) ** 2 - 1) / 2
            total = total + weight * self.thickness / 2 * self.modulus / 2 * strain**2
        return total


@dataclass(frozen=True)
class Glue:
    """A layer: shear modulus, modulus across (MPa) and thickness (mm)."""

    shear_modulus: float
    peel_modulus: float
    thickness: float


@dataclass(frozen=True)
class Lap:
    """A lap: the lower strip is held at its left end, the upper one at its right end and pulled there.

    `ends` are "clamped" (they do not turn) or "pinned"; both stay at their height.
    """

    lower: Strip
    upper: Strip
    glue: Glue
    length: float
    ends: str = "clamped"

    @property
    def heights(self) -> tuple[float, float]:
        """Mid-lines of the lower and the upper strip above that of the layer, mm."""
        gap = self.glue.thickness
        return -(gap + self.lower.thickness) / 2, (gap + self.upper.thickness) / 2


@dataclass(frozen=True, eq=False)
class LargeLap:
    """A solved lap.

    Attributes
    ----------
    x : (n,) array, mm
        Places along the overlap, from 0 at its left, before it was loaded.
    shear, peel : (n,) arrays, MPa
        Second Piola-Kirchhoff stress of the layer in its own directions.
    turns : (2, n) array
        Rotation of the lower and the upper strip.
    left, right : (force along x, along y, moment)
        What the lower strip's arm passes on to the overlap at its left end, and the overlap to the upper strip's arm at its
        right end; the moment about the mid-line where it is then. N/mm and N, counter-clockwise on a face that looks to +x.
    elongation : float, mm
    """

    x: Floats
    shear: Floats
    peel: Floats
    turns: Floats
    left: tuple[float, float, float]
    right: tuple[float, float, float]
    elongation: float

    def at(self, x: Floats, stress: str) -> Floats:
        """Return a stress at places along the overlap, by cubics."""
        return np.asarray(CubicSpline(self.x, getattr(self, stress))(x))


# ---- by collocation --------------------------------------------------------


def large_lap(lap: Lap, loads: Sequence[float], points: int = 401, tolerance: float = 1e-4) -> list[LargeLap]:
    """Return the lap under each of a sequence of growing loads (N/mm), which it also climbs by.

    States, all against s from 0 to 1 on each stretch: of the lower arm x, y, theta, m; of the overlap the same of the lower
    and of the upper strip, the upper one's force along x and y, S and S'; of the upper arm as of the lower.
    Parameter: the force along y.
    """
    (low, high), length = lap.heights, lap.length
    arms = lap.lower.free_length, lap.upper.free_length
    s = (1 - np.cos(np.linspace(0, np.pi, 81))) / 2
    guess = np.zeros((20, len(s)))
    guess[0], guess[1] = arms[0] * (s - 1), low
    guess[4], guess[5], guess[8], guess[9] = length * s, low, length * s, high
    guess[16], guess[17] = length + arms[1] * s, high
    sideways = np.zeros(1)
    found, before = [], 0.0
    for load in loads:
        if before:
            guess[[3, 7, 11, 12, 13, 14, 15, 19]] *= load / before

        def slopes(s, y, p, load=load):
            force = np.stack([np.full_like(s, load), np.full_like(s, p[0])])
            left = _free(lap.lower, y[2], y[3], force)
            right = _free(lap.upper, y[18], y[19], force)
            middle = _joined(lap, y[4:16], force)[0]
            return np.vstack([arms[0] * left, length * middle, arms[1] * right])

        def ends(a, b, p, load=load):
            turn = 3 if lap.ends == "pinned" else 2
            return np.array(
                [
                    a[0] + arms[0],
                    a[1] - low,
                    a[turn],
                    *(b[:4] - a[4:8]),
                    a[11] / load,
                    a[12] / load,
                    a[13] / load,
                    b[7] / load,
                    b[12] / load - 1,
                    (b[13] - p[0]) / load,
                    a[14],
                    b[14],
                    *(b[8:12] - a[16:20]),
                    b[17] - high,
                    b[16 + turn],
                ]
            )

        solved = solve_bvp(slopes, ends, s, guess, p=sideways, tol=tolerance, max_nodes=20_000)
        if not solved.success:
            raise RuntimeError(f"the lap under {load:g} N/mm: {solved.message}")
        s, guess, sideways, before = solved.x, solved.y, solved.p, load
        fine = (1 - np.cos(np.linspace(0, np.pi, points))) / 2
        y = solved.sol(fine)
        force = np.stack([np.full_like(fine, load), np.full_like(fine, sideways[0])])
        _, peel = _joined(lap, y[4:16], force)
        found.append(
            LargeLap(
                x=length * fine,
                shear=y[14],
                peel=peel,
                turns=y[[6, 10]],
                left=(load, float(sideways[0]), float(y[7, 0])),
                right=(load, float(sideways[0]), float(y[11, -1])),
                elongation=float(y[16, -1] - length - arms[1]),
            )
        )
    return found


def _axes(theta):
    """Return tangent and normal, (2, n) each."""
    c, s = np.cos(theta), np.sin(theta)
    return np.stack([c, s]), np.stack([-s, c])


def _dot(a, b):
    return (a * b).sum(axis=0)


def _strains(strip: Strip, axial, moment):
    """Return stretch and turning under N and M, by fixed-point iterations (each gains two digits: strains are small)."""
    stretch, turning = np.ones_like(axial), np.zeros_like(axial)
    for _ in range(8):
        n, m = strip.forces(stretch, turning)
        stretch = stretch + (axial - n) / (strip.modulus * strip.thickness)
        turning = turning + (moment - m) / (strip.modulus * strip.inertia)
    return stretch, turning


def _free(strip: Strip, theta, moment, force):
    """Return the slopes of x, y, theta, m of an arm."""
    t, n = _axes(theta)
    stretch, turning = _strains(strip, _dot(force, t), moment)
    return np.vstack([stretch * t, turning, -stretch * _dot(force, n)])


def _joined(lap: Lap, y, force):
    """Return the slopes of the overlap's twelve states, and the layer's peel."""
    glue, strips = lap.glue, (lap.lower, lap.upper)
    reach = lap.lower.thickness / 2, -lap.upper.thickness / 2
    states = (y[0:4], y[4:8])
    forces = (force - y[8:10], y[8:10])
    shear, shear_slope = y[10:12]
    axes = [_axes(state[2]) for state in states]
    faces = [state[:2] + h * n for state, h, (_, n) in zip(states, reach, axes, strict=True)]
    across = (faces[1] - faces[0]) / glue.thickness
    peel = glue.peel_modulus * (_dot(across, across) - 1) / 2
    tension = glue.thickness * shear * across / 2
    pairs = [
        _strains(strip, _dot(f - tension, t), state[3] + h * _dot(tension, t))
        for strip, f, state, h, (t, _) in zip(strips, forces, states, reach, axes, strict=True)
    ]
    along = sum((stretch - h * k) * t / 2 for (stretch, k), h, (t, _) in zip(pairs, reach, axes, strict=True))
    push = shear * along + peel * across
    slopes = []
    for f, (stretch, k), h, (t, n), sign in zip(forces, pairs, reach, axes, (-1, 1), strict=True):
        moment_slope = -stretch * _dot(f - tension, n) - h * k * _dot(tension, n) - sign * h * _dot(push, t)
        slopes += [*(stretch * t), k, moment_slope]
    bend = 12 * glue.peel_modulus / glue.thickness**2 * (shear / glue.shear_modulus - _dot(along, across))
    return np.vstack([*slopes, push, shear_slope, bend]), peel


# ---- by energy -------------------------------------------------------------


def lap_by_energy(lap: Lap, loads: Sequence[float], cells: tuple[int, int, int] = (30, 120, 30)) -> list[LargeLap]:
    """Return the same by Hermite cubics whose energy is stationary; first derivatives by complex steps.

    Stresses and turns are those in the middle of the overlap's cells; edge loads are left out (nan) but for the force along x.
    """
    (low, high), (left, middle, right) = lap.heights, cells
    grid = (1 - np.cos(np.linspace(0, np.pi, middle + 1))) / 2 * lap.length
    lower = np.concatenate([np.linspace(-lap.lower.free_length, 0, left + 1)[:-1], grid])
    upper = np.concatenate([grid, lap.length + np.linspace(0, lap.upper.free_length, right + 1)[1:]])
    n, m = len(lower), len(upper)
    # Numbers of a node: x, x', y, y'; after all of them S and S' of the overlap's nodes.
    u = np.zeros(4 * (n + m) + 2 * len(grid))
    for first, place, height in ((0, lower, low), (n, upper, high)):
        u[4 * first : 4 * (first + len(place))] = np.column_stack(
            [place, np.ones_like(place), np.full_like(place, height), np.zeros_like(place)]
        ).ravel()
    turned = [] if lap.ends == "pinned" else [3, 4 * (n + m) - 1]
    held = np.array([0, 2, 4 * (n + m) - 2, *turned, 4 * (n + m), len(u) - 2])
    free = np.setdiff1d(np.arange(len(u)), held)

    gauss, weights = np.polynomial.legendre.leggauss(4)
    parts = []  # energy per length of position, slope and curvature; the numbers; the shape functions; weights
    spans = ((lower, 0, 0, left), (upper, n, middle, middle + right))
    for strip, (place, first, start, stop) in zip((lap.lower, lap.upper), spans, strict=True):
        parts.append((lambda z, strip=strip: _beam_energy(strip, z), *_pieces(place, first, start, stop, gauss, weights)))
    both = (lower, 0, left, left + middle), (upper, n, 0, middle)
    numbers, shape, weight = _overlap_pieces(*both, 4 * (n + m), gauss, weights)
    middles = _overlap_pieces(*both, 4 * (n + m), np.zeros(1), np.full(1, 2.0))
    parts.append((lambda z: _overlap_energy(lap, z), numbers, shape, weight))

    end = 4 * (n + m) - 4
    found = []
    for load in loads:
        for _ in range(40):
            gradient = np.zeros(len(u))
            gradient[end] = -load
            entries = []
            for energy, numbers, shape, weight in parts:
                z = np.einsum("cqzu,cu->zcq", shape, u[numbers])
                force = _derivatives(energy, z)
                stiff = _second_derivatives(energy, z)
                np.add.at(gradient, numbers, np.einsum("zcq,cqzu,cq->cu", force, shape, weight))
                matrix = np.einsum("yzcq,cqyu,cqzv,cq->cuv", stiff, shape, shape, weight, optimize=True)
                rows, columns = np.broadcast_arrays(numbers[:, :, None], numbers[:, None, :])
                entries.append((matrix.ravel(), rows.ravel(), columns.ravel()))
            values, rows, columns = (np.concatenate(part) for part in zip(*entries, strict=True))
            matrix = coo_array((values, (rows, columns)), shape=(len(u), len(u))).tocsc()
            step = spsolve(matrix[free][:, free], -gradient[free])
            u[free] += step
            if np.abs(step[free < 4 * (n + m)]).max() < 1e-8:
                break
        else:
            raise RuntimeError(f"the lap under {load:g} N/mm does not settle")
        z = np.einsum("cqzu,cu->zcq", middles[1], u[middles[0]])[:, :, 0]
        _, peel = _layer(lap, z[:6], z[6:12])
        turns = np.stack([np.arctan2(z[3], z[2]), np.arctan2(z[9], z[8])])
        loads_of = (load, np.nan, np.nan)
        elongation = float(u[end] - lap.length - lap.upper.free_length)
        found.append(LargeLap((grid[1:] + grid[:-1]) / 2, z[12], peel, turns, loads_of, loads_of, elongation))
    return found


def _pieces(place, first, start, stop, gauss, weights):
    """Return numbers (c, 8), position, slope and curvature by them (c, q, 6, 8) and weights (c, q) of some cells of a strip."""
    h = np.diff(place)[start:stop]
    at = (gauss + 1) / 2
    one, x = np.ones_like(at), at
    values = np.array([1 - 3 * x**2 + 2 * x**3, x - 2 * x**2 + x**3, 3 * x**2 - 2 * x**3, x**3 - x**2])
    slopes = np.array([-6 * x + 6 * x**2, 1 - 4 * x + 3 * x**2, 6 * x - 6 * x**2, 3 * x**2 - 2 * x])
    bends = np.array([-6 * one + 12 * x, -4 + 6 * x, 6 - 12 * x, 6 * x - 2])
    scale = np.stack([np.ones_like(h), h, np.ones_like(h), h], axis=1)
    shape = np.zeros((len(h), len(at), 6, 8))
    for i, (rows, power) in enumerate(((values, 0), (slopes, 1), (bends, 2))):
        of_cell = rows.T[None] * scale[:, None] / h[:, None, None] ** power
        for axis in (0, 1):
            shape[:, :, 2 * i + axis, [2 * axis, 2 * axis + 1, 4 + 2 * axis, 5 + 2 * axis]] = of_cell
    node = first + np.arange(start, stop)
    numbers = (4 * node[:, None] + np.arange(8)).astype(np.int64)
    return numbers, shape, h[:, None] * weights / 2


def _overlap_pieces(of_lower, of_upper, first, gauss, weights):
    """Return the same of both strips and S together: numbers (c, 20), the shape functions (c, q, 14, 20), weights."""
    (lower, below, weight), (upper, above, _) = (_pieces(*part, gauss, weights) for part in (of_lower, of_upper))
    shape = np.zeros((*below.shape[:2], 14, 20))
    shape[:, :, :6, :8], shape[:, :, 6:12, 8:16] = below, above
    shape[:, :, 12:, 16:] = above[:, :, [0, 2]][..., [0, 1, 4, 5]]
    layer = first + 2 * np.arange(len(lower))[:, None] + np.arange(4)
    return np.hstack([lower, upper, layer]), shape, weight


def _size(p):
    return np.sqrt(p[0] ** 2 + p[1] ** 2)  # no abs: complex steps go through


def _bent(p, q):
    return (p[0] * q[1] - p[1] * q[0]) / _size(p) ** 2


def _beam_energy(strip: Strip, z):
    return strip.energy(_size(z[2:4]), _bent(z[2:4], z[4:6]))


def _layer(lap: Lap, lower, upper):
    """Return F_x . F_y and S_yy of the layer between two strips with positions, slopes and curvatures (6, ...)."""
    faces, slopes = [], []
    for z, h in ((lower, lap.lower.thickness / 2), (upper, -lap.upper.thickness / 2)):
        r, p, q = z[:2], z[2:4], z[4:6]
        faces.append(r + h * np.stack([-p[1], p[0]]) / _size(p))
        slopes.append(p * (1 - h * _bent(p, q) / _size(p)))
    across, along = (faces[1] - faces[0]) / lap.glue.thickness, (slopes[0] + slopes[1]) / 2
    return _dot(along, across), lap.glue.peel_modulus * (_dot(across, across) - 1) / 2


def _overlap_energy(lap: Lap, z):
    """Return the energy of both strips and the layer between them per length, S varied on its own (Hellinger-Reissner)."""
    glue, (shear, slope) = lap.glue, z[12:14]
    strain, peel = _layer(lap, z[:6], z[6:12])
    give = shear**2 / glue.shear_modulus + (glue.thickness * slope) ** 2 / (12 * glue.peel_modulus)
    layer = glue.thickness * (shear * strain - give / 2 + peel**2 / (2 * glue.peel_modulus))
    return _beam_energy(lap.lower, z[:6]) + _beam_energy(lap.upper, z[6:12]) + layer


def _steps(z, size):
    """Return z (k, ...) with a step in each of its variables, (k, k, ...): the second axis says in which."""
    k = len(z)
    return z[:, None] + size * np.eye(k).reshape(k, k, *[1] * (z.ndim - 1))


def _derivatives(energy, z):
    """Return the derivatives of an energy, (k, ...), by steps along the imaginary axis: exact to round-off."""
    return energy(_steps(z, 1e-30j)).imag / 1e-30


def _second_derivatives(energy, z):
    """Return the derivatives' derivatives, (k, k, ...), by central differences: good enough for Newton's method."""
    return (_derivatives(energy, _steps(z, 1e-5)) - _derivatives(energy, _steps(z, -1e-5))) / 2e-5
