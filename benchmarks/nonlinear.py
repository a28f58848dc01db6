"""Large rotation and yielding: closed forms that do not come from the package, and its finite elements under their assumptions.

The first part is references, each with the equation that it solves, for checks of
its own (tests/scenarios); nothing of the package is in it. The second part puts
the assumptions into the package's own elements: mesh, frames, return mapping
and Newton's method are what joints are solved with.

The lap of beams that turn far has a module of its own, `beams_large`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.integrate import quad, solve_bvp
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq
from scipy.special import ellipe, ellipeinc, ellipk, ellipkinc
from skfem import MeshQuad

from benchmarks.beams_large import Glue, Lap, LargeLap, Strip
from fejoint import Isotropic, Joint
from fejoint.bondline.curves import Bondline
from fejoint.errors import ConvergenceError
from fejoint.joint.conditions import Environment
from fejoint.joint.hardening import Hardening
from fejoint.joint.yielding import Yielding, yielding_of
from fejoint.mechanics.behaviour import Behaviour, Hooke, Yields
from fejoint.mechanics.body import Body
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.factor import Analysis
from fejoint.mechanics.frames import FRAMES, Frame
from fejoint.mechanics.linear import cell_dofs, pattern_of
from fejoint.mechanics.newton import Equilibrium, Loading, Problem, State, equilibrium
from fejoint.mechanics.nonlinear import Deformed, Pace, deformed
from fejoint.mechanics.plasticity import Updated
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import Section, mesh_section

Floats = NDArray[np.float64]

# ---- the elastica ----------------------------------------------------------


@dataclass(frozen=True)
class Elastica:
    """The tip of a cantilever: how far it has moved across and towards the root, over the length, and its turn."""

    across: float
    towards: float
    turn: float


def elastica(load: float) -> Elastica:
    """Return the cantilever under a force across its first direction that keeps its direction; `load` is P L^2 / (E I).

    K. E. Bisshopp & D. C. Drucker, Quart. Appl. Math. 3, 1945, 272-275 (from memory). With k^2 = (1 + sin turn) / 2 and
    k sin f = 1 / sqrt 2: sqrt(load) = K(k) - F(k, f), across = 1 - 2 (E(k) - E(k, f)) / sqrt(load) and
    towards = 1 - sqrt(2 sin turn / load).
    """

    def parts(turn: float) -> tuple[float, float, float]:
        square = (1 + math.sin(turn)) / 2
        return square, math.asin(1 / math.sqrt(2 * square)), square

    def root(turn: float) -> float:
        m, f, _ = parts(turn)
        return float(ellipk(m) - ellipkinc(f, m))

    turn = brentq(lambda turn: root(turn) - math.sqrt(load), 1e-12, math.pi / 2 - 1e-12, xtol=1e-15)
    m, f, _ = parts(turn)
    rise = 1 - 2 * float(ellipe(m) - ellipeinc(f, m)) / math.sqrt(load)
    return Elastica(rise, 1 - math.sqrt(2 * math.sin(turn) / load), turn)


def elastica_by_collocation(load: float) -> Elastica:
    """Return the same from theta'' = -load cos theta, theta(0) = 0, theta'(1) = 0, and the integrals of its sine and cosine."""

    def slopes(s, y):
        return np.vstack([y[1], -load * np.cos(y[0]), np.cos(y[0]), np.sin(y[0])])

    def ends(a, b):
        return np.array([a[0], b[1], a[2], a[3]])

    s = np.linspace(0, 1, 41)
    turn = min(load / 2, 1.2)
    guess = np.vstack([turn * (2 * s - s**2), 2 * turn * (1 - s), s, 0 * s])
    found = solve_bvp(slopes, ends, s, guess, tol=1e-10, max_nodes=20_000)
    assert found.success
    theta, _, x, y = found.y[:, -1]
    return Elastica(float(y), float(1 - x), float(theta))


# ---- the thick-walled cylinder ---------------------------------------------


@dataclass(frozen=True)
class Cylinder:
    """A cylinder under internal pressure, its length held, of a perfectly plastic material after von Mises.

    R. Hill, The Mathematical Theory of Plasticity, 1950, ch. V (from memory), for nu = 1/2, where half the yield condition
    is s_theta - s_r = 2 k, k = sigma_y / sqrt 3, wherever it yields: the stress across the plane is the mean of the others.
    With nu < 1/2 it is off by (1/2 - nu) (s_r + s_theta), which the yield condition squares: nu = 0.499 misses by
    less than 1e-5.
    """

    inner: float
    outer: float
    modulus: float
    poisson_ratio: float
    yield_stress: float

    @property
    def shear_yield(self) -> float:
        """Yield stress in shear, k."""
        return self.yield_stress / math.sqrt(3)

    def pressure(self, front: float) -> float:
        """Return the pressure at which it has yielded out to a radius."""
        k = self.shear_yield
        return k * (1 - (front / self.outer) ** 2 + 2 * math.log(front / self.inner))

    @property
    def limit(self) -> float:
        """Pressure at which all of it yields: 2 k ln(b / a)."""
        return self.pressure(self.outer)

    def widening(self, front: float) -> float:
        """Return the displacement of the outer surface, which is that of the elastic ring beyond the front (Lame), mm.

        The front's pressure k (1 - c^2/b^2) puts the ring at yield; u(b) = 2 (1 - nu^2) / E p c^2 b / (b^2 - c^2).
        """
        soft = 2 * (1 - self.poisson_ratio**2) / self.modulus
        return soft * self.shear_yield * front**2 / self.outer

    def front(self, widening: float) -> float:
        """Return the radius out to which it has yielded when its outer surface has moved out so far."""
        soft = 2 * (1 - self.poisson_ratio**2) / self.modulus
        return math.sqrt(widening * self.outer / (soft * self.shear_yield))

    def pressure_by_integration(self, front: float) -> float:
        """Return the pressure from equilibrium, d s_r/dr = (s_theta - s_r) / r, through both zones."""
        k = self.shear_yield

        def difference(r: float) -> float:
            return 2 * k * min(1.0, (front / r) ** 2)

        inside = quad(lambda r: difference(r) / r, self.inner, front, epsabs=0, epsrel=1e-12)[0]
        return float(inside + quad(lambda r: difference(r) / r, front, self.outer, epsabs=0, epsrel=1e-12)[0])


# ---- the double lap whose layer yields -------------------------------------


@dataclass(frozen=True)
class YieldingDoubleLap:
    """Half a double lap: one outer adherend, half the inner one, and a layer that shears, elastic and then perfectly plastic.

    L. J. Hart-Smith, NASA CR-112235, 1973 (from memory). The outer's slip against the inner d obeys
    d'' = C tau(d / ta), C = 1/S_o + 1/S_i, S_o = E_o t_o and S_i = E_i t_i / 2 (E / (1 - nu^2) for plates), and has the slopes
    d'(0) = -F/S_i + e, d'(l) = F/S_o + e at the inner's and the outer's loaded end, F half the joint's load and e the free
    strain of the outer less that of the inner: the inner is loaded at x = 0.

    Attributes
    ----------
    outer, inner : float, N/mm
        S_o and S_i.
    """

    length: float
    outer: float
    inner: float
    thickness: float
    shear_modulus: float
    yield_stress: float
    mismatch: float = 0.0

    @property
    def softness(self) -> float:
        """C."""
        return 1 / self.outer + 1 / self.inner

    @property
    def wave(self) -> float:
        """w of the elastic layer, 1/mm."""
        return math.sqrt(self.shear_modulus / self.thickness * self.softness)

    @property
    def elastic_strain(self) -> float:
        """Shear strain at yield."""
        return self.yield_stress / self.shear_modulus

    def slopes(self, load: float) -> tuple[float, float]:
        """Return d' at the left and the right end, under the joint's load (N/mm)."""
        half = load / 2
        return -half / self.inner + self.mismatch, half / self.outer + self.mismatch

    def zones(self, load: float) -> tuple[float, float]:
        """Return how long the layer has yielded at the left and the right end; both ends must have.

        The elastic trough between them, e long, ends on the yield strain with the slopes -+w d_y tanh(w e / 2), and has
        passed on 2 tau_p tanh(w e / 2) / w: so F = tau_p (l - e) + that gives e,
        whatever the mismatch, which moves it to one side.
        """
        left, right = self.slopes(load)
        rise, y = self.wave, self.elastic_strain * self.thickness

        def missing(e: float) -> float:
            return self.length - e + 2 * math.tanh(rise * e / 2) / rise - load / 2 / self.yield_stress

        trough = brentq(missing, 0.0, self.length, xtol=1e-14)
        slope = rise * y * math.tanh(rise * trough / 2)
        curvature = self.softness * self.yield_stress
        zones = (-left - slope) / curvature, (right - slope) / curvature
        assert min(zones) > 0, "one end has not yielded"
        return zones

    def end_strains(self, load: float) -> tuple[float, float]:
        """Return the shear strain at the left and the right end."""
        zones = self.zones(load)
        trough = self.length - sum(zones)
        y = self.elastic_strain * self.thickness
        slope = self.wave * y * math.tanh(self.wave * trough / 2)
        curvature = self.softness * self.yield_stress
        left, right = ((y + slope * a + curvature * a**2 / 2) / self.thickness for a in zones)
        return left, right

    def capacity(self, plastic_strain: float) -> float:
        """Return the load at which the larger end strain is the elastic one and `plastic_strain` together, N/mm.

        For an overlap so long that its middle carries nothing: the lower of
        +-e S 2 + sqrt(2 ta tau_p (g_e / 2 + g_p) 2 S (1 + S / S')) 2 with S that of the adherend loaded where it breaks.
        """
        energy = self.thickness * self.yield_stress * (self.elastic_strain / 2 + plastic_strain)
        # At the left d'(0)^2 = 2 C (energy): what the slope has built up from the quiet middle.
        slope = math.sqrt(2 * self.softness * energy)
        return 2 * min(self.inner * (slope + self.mismatch), self.outer * (slope - self.mismatch))

    def by_collocation(self, load: float) -> tuple[float, float]:
        """Return the end strains from the differential equation."""
        left, right = self.slopes(load)
        y = self.elastic_strain * self.thickness

        def slopes(x, d):
            return np.vstack([d[1], self.softness * self.yield_stress * np.clip(d[0] / y, -1, 1)])

        def ends(a, b):
            return np.array([a[1] - left, b[1] - right]) / abs(left)

        x = np.linspace(0, self.length, 1001)
        zones = self.zones(load)
        guess = y * np.clip(1 - np.minimum((x - zones[0]) * self.wave / 2, (self.length - zones[1] - x) * self.wave / 2), 0, 9)
        found = solve_bvp(slopes, ends, x, np.vstack([guess, np.gradient(guess, x)]), tol=1e-7, max_nodes=100_000)
        assert found.success, found.message
        return float(found.y[0, 0] / self.thickness), float(found.y[0, -1] / self.thickness)


# ---- the package's elements under these assumptions ------------------------


@dataclass(frozen=True, eq=False)
class Assumed:
    """A region's behaviour as a theory assumes it: one core, whatever the environment."""

    frame: Frame
    fixed: Any
    projected: bool = False
    dilates: bool = False

    def core(self, environment: Environment) -> Any:
        """Return the core."""
        return self.fixed


@dataclass(frozen=True, eq=False)
class Tied:
    """What ties a section's displacements, for checks that hold it as no joint is held: see `linear.Pattern`.

    They move as the columns of `transform` say; `named` ones bear loads.
    """

    discretisation: Discretisation
    transform: sp.csr_array
    named: dict[str, int] = field(default_factory=lambda: {"axial": 0})

    @property
    def analysis(self) -> Analysis:
        """A new one every time: the product leaves entries out that are zero, so the pattern is not always the same."""
        return Analysis()

    def matrix(self, stiffness_ec: Floats) -> sp.csc_array:
        """Return the section's matrix of element stiffness matrices."""
        dofs, n = cell_dofs(self.discretisation), self.transform.shape[0]
        rows, columns = np.repeat(dofs, dofs.shape[1], axis=1), np.tile(dofs, (1, dofs.shape[1]))
        whole = sp.csr_array(sp.coo_array((stiffness_ec.ravel(), (rows.ravel(), columns.ravel())), shape=(n, n)))
        matrix = sp.csc_array(self.transform.T @ (whole @ self.transform))
        matrix.sort_indices()
        return matrix


def climbed(problem: Problem, name: str, loads: Sequence[float], shortest: float = 1 / 64) -> list[Equilibrium]:
    """Return the section at rest under one load after another on the unknown `name`.

    Each is foreseen by a parabola through the last three, and approached in
    halves where Newton's method does not find it, down to a share of the last load.
    """
    known, found = [(0.0, State.virgin(problem))], []
    for load in loads:
        goals = [load]
        while goals:
            goal, past = goals[-1], known[-3:]
            shares = [math.prod((goal - other) / (own - other) for other, _ in past if other != own) for own, _ in past]
            guess = np.asarray(sum(share * state.unknowns for share, (_, state) in zip(shares, past, strict=True)))
            try:
                now = equilibrium(problem, past[-1][1], Loading({}, {name: goal}, Environment(), 1.0), guess)
            except ConvergenceError:
                goals.append((goal + past[-1][0]) / 2)
                if abs(goal - past[-1][0]) < shortest * abs(loads[-1]):
                    raise
            else:
                known.append((goals.pop(), now.state))
        found.append(now)
    return found


# Elastica: a strip whose one end is held and whose other end is moved across and does not turn. By symmetry each half is
# a cantilever that is loaded at the strip's middle.


def strip_across(load: float, slenderness: float = 100.0, cells: int = 120) -> Elastica:
    """Return the package's elements in place of `elastica`: a strip of 2 L, with L over its thickness the `slenderness`."""
    thickness, modulus = 1.0, 70_000.0
    length = 2 * slenderness * thickness
    mesh = MeshQuad.init_tensor(np.linspace(0, length, cells + 1), np.linspace(-thickness / 2, thickness / 2, 3))
    mesh = mesh.with_subdomains({"strip": np.arange(mesh.t.shape[1])})
    mesh = mesh.with_boundaries({"gripped": lambda p: p[0] < 1e-9, "loaded": lambda p: p[0] > length - 1e-9})
    d = discretise(Section(mesh, 1.0))
    strip = Isotropic(elastic_modulus=modulus, poisson_ratio=0.0)
    body = Body(d, {"strip": Behaviour(strip, FRAMES["green_lagrange"], None)})
    problem = Problem(body, pattern_of(d, "clamped", True))
    unit = modulus * thickness**3 / 12 / (length / 2) ** 2
    loads = load * unit * np.linspace(0, 1, 2 + math.ceil(2 * load))[1:]
    x, named = climbed(problem, "lift", list(loads))[-1].state.unknowns, problem.pattern.named
    u = np.asarray(problem.pattern.transform @ x).reshape(-1, 2)
    middle = np.flatnonzero(np.abs(d.points[:, 0] - length / 2) < 1e-9)
    up = middle[np.argsort(d.points[middle, 1])]
    rise = u[up[-1]] - u[up[0]]
    turn = math.atan2(-rise[0], thickness + rise[1])
    return Elastica(float(x[named["lift"]]) / length, -float(x[named["axial"]]) / length, turn)


# The cylinder: a wedge of it, one cell wide, whose sides slide along themselves.


def cylinder_path(
    cylinder: Cylinder, travels: Sequence[float], cells: int = 40, angle: float = 0.01
) -> list[tuple[float, float]]:
    """Return pressure and displacement of the outer surface after inner displacements (mm) of the package's elements."""
    radii = np.linspace(cylinder.inner, cylinder.outer, cells + 1)
    mesh = MeshQuad.init_tensor(radii, np.array([0.0, angle]))
    r, f = mesh.p
    mesh = MeshQuad(np.stack([r * np.cos(f), r * np.sin(f)]), mesh.t).with_subdomains({"metal": np.arange(mesh.t.shape[1])})
    d = discretise(Section(mesh, 1.0))
    metal = Isotropic(elastic_modulus=cylinder.modulus, poisson_ratio=cylinder.poisson_ratio, tensile_yield=cylinder.yield_stress)
    body = Body(d, {"metal": Behaviour(metal, FRAMES["small"], yielding_of(metal))})
    place = np.arctan2(d.points[:, 1], d.points[:, 0])
    across = np.stack([np.cos(place), np.sin(place)], axis=1)
    # On the sides the displacement is radial; on the inner surface, whose middle node lies on a chord, it is one number.
    inside = np.hypot(*d.points.T) < cylinder.inner + (cylinder.outer - cylinder.inner) / cells / 4
    side = (np.abs(place) < 1e-9) | (np.abs(place - angle) < 1e-9)
    rows, columns, values, n = [], [], [], 1
    for node in range(len(d.points)):
        if inside[node] or side[node]:
            number = 0 if inside[node] else n
            rows += [2 * node, 2 * node + 1]
            columns += [number, number]
            values += [*across[node]]
            n += not inside[node]
        else:
            rows += [2 * node, 2 * node + 1]
            columns += [n, n + 1]
            values += [1.0, 1.0]
            n += 2
    transform = sp.csr_array(sp.coo_array((values, (rows, columns)), shape=(2 * len(d.points), n)))
    problem = Problem(body, Tied(d, transform, {"pressure": 0}))
    area = cylinder.inner * angle
    outer = int(np.argmax(d.points[:, 0]))
    state, share, reached, found = State.virgin(problem), 0.0, 0.0, []
    speed = np.zeros(n)
    for travel in travels:
        loading = Loading({}, {"pressure": area}, Environment(), share, travel=area * (travel - reached))
        now = equilibrium(problem, state, loading, state.unknowns + (travel - reached) * speed)
        speed = (now.state.unknowns - state.unknowns) / (travel - reached)
        state, share, reached = now.state, now.share, travel
        found.append((share, float(np.asarray(transform @ state.unknowns)[2 * outer])))
    return found


# The lap of beams that turn far.


def beams_lap(joint: Joint, peel_modulus: float) -> Lap:
    """Return a single lap of isotropic adherends without lateral contraction, for `beams_large`."""
    g = joint.geometry
    strips = [Strip(part.material.elastic_modulus, part.thickness, part.free_length) for part in (g.lower, g.upper)]
    return Lap(*strips, Glue(joint.adhesive.shear_modulus, peel_modulus, g.bondline_thickness), g.overlap_length, joint.load.ends)


# Without any stiffness along it a layer under shear S is no stable body: waves along it that are shorter than about
# 2 S / G of its thickness cost no energy. It takes S^2 / G, 5 MPa here; four times as much carries ta 20 MPa against E t, 3e-5.
ALONG = 20.0


def matched_lap(
    joint: Joint, loads: Sequence[float], peel_modulus: float, multiplier: float = 100.0, density: float = 1.0
) -> list[Deformed]:
    """Return the package's elements under loads (N/mm): adherends rigid across and in shear, a layer with no stress along it."""
    laws = {
        name: part.material.elastic_modulus * np.diag([1.0, multiplier, multiplier, 1.0])
        for name, part in joint.geometry.adherends().items()
    }
    laws["adhesive"] = np.diag([ALONG, peel_modulus, joint.adhesive.shear_modulus, 0.0])
    frame = FRAMES["green_lagrange"]
    d = discretise(mesh_section(joint, density))
    body = Body(d, {name: Assumed(frame, Hooke(law, np.zeros(4))) for name, law in laws.items()})
    return pulled(joint, Problem(body, pattern_of(d, joint.load.ends, False)), loads)


def pulled(joint: Joint, problem: Problem, loads: Sequence[float]) -> list[Deformed]:
    """Return a joint's section under a force alone, in N/mm, one after another."""
    found = []
    for load, now in zip(loads, climbed(problem, "axial", [joint.geometry.pull * load for load in loads]), strict=True):
        at = joint.at(force=load * joint.geometry.width)
        pace = Pace(0, 0, 1.0, 0.1, None, 0.0, np.zeros(0))
        step = at.load.path()[0].name
        found.append(deformed(at, problem, now.state, pace, now.iterations, now.residuals[-1], now.internal, step))
    return found


@dataclass(frozen=True)
class LapDifference:
    """How far elements are from beams: shear and peel as shares of their peaks, edge moments and elongation relative."""

    shear: float
    peel: float
    moments: float
    elongation: float


def lap_difference(found: Deformed, beams: LargeLap) -> LapDifference:
    """Return the differences, of the curves from one bondline thickness inside the ends."""
    bondline: Bondline = recover_bondlines(found, nodal_stress(found))[0]
    g, x = found.joint.geometry, bondline.middle.x
    inside = (x >= g.bondline_thickness) & (x <= g.overlap_length - g.bondline_thickness)
    gaps = {}
    for stress in ("shear", "peel"):
        gap = np.abs(getattr(bondline.middle, stress) - beams.at(x, stress))[inside].max()
        gaps[stress] = float(gap / np.abs(getattr(beams, stress)).max())
    assert bondline.left is not None and bondline.right is not None
    pairs = ((bondline.left.moment, beams.left[2]), (bondline.right.moment, beams.right[2]))
    return LapDifference(
        moments=max(abs(ours / theirs - 1) for ours, theirs in pairs),
        elongation=abs(found.elongation / beams.elongation - 1),
        **gaps,
    )


# The double lap whose layer yields.


@dataclass(frozen=True, eq=False)
class ShearAlone:
    """A core that yields and has no stress but shear."""

    whole: Yields

    def respond(self, trial: Floats, plastic: Floats, tangent: bool) -> Updated:
        """Return what the shear strain alone makes of it."""
        only = np.zeros_like(trial)
        only[:, 2] = trial[:, 2]
        found = self.whole.respond(only, plastic, tangent)
        stress = np.zeros_like(trial)
        stress[:, 2] = found.stress[:, 2]
        moduli = None
        if found.moduli is not None:
            moduli = np.zeros((len(trial), 4, 4))
            moduli[:, 2, 2] = found.moduli[:, 2, 2]
        return Updated(stress, moduli, trial - only + found.elastic, found.plastic)

    def of_elastic(self, elastic: Floats) -> Floats:
        """Return the shear stress of an elastic strain."""
        only = np.zeros_like(elastic)
        only[:, 2] = self.whole.hooke.stiffness[2, 2] * elastic[:, 2]
        return only


# A layer that goes on at one stress does not say where in its thickness it shears; with this slope of the stress, MPa
# (tension), over the plastic strain the shear stress rises by a thousandth of 35 MPa as its shear strain grows by 0.4.
SLOPE = 0.26


@dataclass(frozen=True, eq=False)
class Sheared:
    """Places (mm) and shear strain along a bond."""

    x: Floats
    strain: Floats

    @property
    def end_strains(self) -> tuple[float, float]:
        """Shear strain at the left and the right end."""
        return float(self.strain[0]), float(self.strain[-1])

    def zones(self, elastic_strain: float) -> tuple[float, float]:
        """Return how long the layer has yielded at the left and the right end, by cubics: the strain has no kink there."""
        above = CubicSpline(self.x, self.strain - elastic_strain).roots(extrapolate=False)
        return float(above[0] - self.x[0]), float(self.x[-1] - above[-1])


def matched_double_lap(
    joint: Joint,
    loads: Sequence[float],
    yield_stress: float,
    mismatch: float = 0.0,
    multiplier: float = 100.0,
    density: float = 1.0,
) -> list[Sheared]:
    """Return the upper bond of a double lap with like outers, under loads (N/mm) and a layer's yield stress in shear.

    The whole section is held along y, the adherends only stretch and the layer only shears; `mismatch` is the free strain
    of the outers less that of the inner, given to the outers.
    """
    g, small = joint.geometry, FRAMES["small"]
    behaviours: dict[str, Any] = {}
    for name, part in g.adherends().items():
        plate = part.material.elastic_modulus / (1 - part.material.poisson_ratio**2)
        free = np.array([0.0 if name == "inner" else mismatch, 0.0, 0.0, 0.0])
        behaviours[name] = Assumed(small, Hooke(plate * np.diag([1.0, multiplier, multiplier, 1.0]), free))
    modulus, nu = joint.adhesive.elastic_modulus, joint.adhesive.poisson_ratio
    start = yield_stress * math.sqrt(3)
    rising = Hardening(plastic_strain=[0.0, 10.0], stress=[start, start + 10 * SLOPE])
    law = Hooke(np.diag([0.0, 0.0, joint.adhesive.shear_modulus, 0.0]), np.zeros(4))
    behaviours["adhesive"] = Assumed(small, ShearAlone(Yields(law, Yielding(start, rising), modulus, nu, None)), projected=True)
    d = discretise(mesh_section(joint, density, whole=True))
    ends = pattern_of(d, "clamped", False)
    keep = np.unique(ends.transform[0::2].indices)
    along = sp.diags_array(np.tile([1.0, 0.0], len(d.points)))
    tied = Tied(d, sp.csr_array(along @ ends.transform[:, keep]), {"axial": int(np.searchsorted(keep, ends.named["axial"]))})
    problem = Problem(Body(d, behaviours), tied)
    top, bottom = (np.unique(d.line(f"bondline 2 {side}")) for side in ("upper", "lower"))
    top, bottom = (nodes[np.argsort(d.points[nodes, 0])] for nodes in (top, bottom))
    found = []
    for now in climbed(problem, "axial", [g.pull * load for load in loads]):
        u = np.asarray(tied.transform @ now.state.unknowns)[0::2]
        found.append(Sheared(d.points[top, 0], (u[top] - u[bottom]) / g.bondline_thickness))
    return found
