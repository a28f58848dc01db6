"""Return mapping: curves by hand, the rate equations, finite differences, and what no law may do."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fejoint.mechanics.plasticity import updated

E, NU = 2000.0, 0.35  # round figures of the order of an epoxy's, no material's data
G, K = E / (2 * (1 + NU)), E / (3 * (1 - 2 * NU))
YIELD = 20.0
ONE = np.array([1.0, 1.0, 0.0, 1.0])
NO_STRAIN = np.zeros(4)
TABLE = np.array([0.0, 0.01, 0.05]), np.array([20.0, 28.0, 31.0])

CURVES = {
    "perfect": (lambda e: np.full_like(e, YIELD), np.zeros_like),
    "linear": (lambda e: YIELD + 300 * e, lambda e: np.full_like(e, 300.0)),
    "saturating": (lambda e: YIELD + 12 * (1 - np.exp(-60 * e)) + 30 * e, lambda e: 720 * np.exp(-60 * e) + 30),
    "table": (
        lambda e: np.interp(e, *TABLE),
        lambda e: np.array([800.0, 75.0, 0.0])[np.searchsorted(TABLE[0], e, side="right") - 1],
    ),
    # Steep at first: a power law shifted by a small plastic strain.
    "power": (lambda e: YIELD * ((e + 1e-6) / 0.002) ** 0.05, lambda e: YIELD * 25 * ((e + 1e-6) / 0.002) ** -0.95),
}


@dataclass(frozen=True)
class Stuff:
    """A material that yields, with a strength that falls by 0.4 % a kelvin above 23 degC."""

    surface: str
    compression_ratio: float = 1.0
    plastic_poisson_ratio: float = 0.5
    curve: str = "perfect"

    def stress(self, plastic_strain, temperature=None):
        return CURVES[self.curve][0](plastic_strain) * self.softened(temperature)

    def slope(self, plastic_strain, temperature=None):
        return CURVES[self.curve][1](plastic_strain) * self.softened(temperature)

    @staticmethod
    def softened(temperature):
        return 1.0 if temperature is None else 1 - 0.004 * (temperature - 23)

    def excess(self, stress, plastic, temperature=None):
        """Return how far outside its surface a stress is, by the yield stress: the surfaces as they are written down."""
        q, p, sigma, ratio = *invariants(stress), self.stress(plastic, temperature), self.compression_ratio
        if self.surface == "paraboloid":
            return (q**2 + 3 * (ratio - 1) * sigma * p - ratio * sigma**2) / sigma**2
        return ((ratio + 1) / (2 * ratio) * q + 3 * (ratio - 1) / (2 * ratio) * p - sigma) / sigma


MISES = Stuff("von-mises")
# With nu_p from isochoric to what dilates most without negative plastic work: the cone's associated flow, (3 - l) / (4 l).
SURFACES = [
    MISES,
    Stuff("cone", 1.3, 0.5),
    Stuff("cone", 1.3, 0.4),
    Stuff("cone", 1.3, 1.7 / 5.2),
    Stuff("paraboloid", 1.3, 0.5),
    Stuff("paraboloid", 1.3, 0.35),
    Stuff("paraboloid", 1.5, 0.1),
]
ALL = [replace(surface, curve=curve) for surface in SURFACES for curve in CURVES]


def named(stuff):
    return f"{stuff.surface}-{stuff.compression_ratio:g}-{stuff.plastic_poisson_ratio:.2f}-{stuff.curve}"


every = pytest.mark.parametrize("stuff", ALL, ids=named)
every_surface = pytest.mark.parametrize("stuff", SURFACES, ids=named)


def tensor(stress):
    """Return 3 x 3 stresses of 4-vectors."""
    full = np.zeros((*stress.shape[:-1], 3, 3))
    full[..., 0, 0], full[..., 1, 1], full[..., 2, 2] = stress[..., 0], stress[..., 1], stress[..., 3]
    full[..., 0, 1] = full[..., 1, 0] = stress[..., 2]
    return full


def invariants(stress):
    """Return von Mises and mean stress."""
    full = tensor(stress)
    p = np.trace(full, axis1=-2, axis2=-1) / 3
    deviator = full - p[..., None, None] * np.eye(3)
    return np.sqrt(1.5 * (deviator**2).sum((-2, -1))), p


def step(stuff, trial, plastic=0.0, free=NO_STRAIN, temperature=None, **more):
    return updated(stuff, E, NU, trial, np.broadcast_to(plastic, len(trial)).astype(float), free, temperature, **more)


def hooke(strain):
    """Return the elastic stress."""
    volume = strain @ ONE
    return 2 * G * strain * [1, 1, 0.5, 1] + (K - 2 * G / 3) * volume[:, None] * ONE


def states(stuff, n=400, seed=1, reach=(0.3, 4.0)):
    """Return random elastic trial strains, some within the surface and some outside, and plastic strains."""
    rng = np.random.default_rng(seed)
    strain = rng.normal(size=(n, 4)) + rng.normal(size=(n, 1)) * 0.7 * ONE
    strain[:, 2] *= 2
    q, p = invariants(hooke(strain))
    strain *= (YIELD / np.hypot(q, p) * rng.uniform(*reach, n))[:, None]
    return strain, rng.uniform(0, 0.06, n)


def held(stuff, strain, released, **more):
    """Return the step in which the strain components `released` have gone where their stresses are zero (Newton's method)."""
    strain = strain.copy()
    for _ in range(60):
        after = step(stuff, strain, **more)
        wrong = after.stress[:, released]
        if np.abs(wrong).max() < 1e-11 * YIELD:
            return strain, after
        strain[:, released] -= np.linalg.solve(after.moduli[:, released][:, :, released], wrong[..., None])[..., 0]
    raise AssertionError(f"no free sides: {np.abs(wrong).max()} MPa")


# Curves by hand. Newton's method leaves 1e-11 of the yield stress on the free sides; the conditions it solves
# are well posed, so all is right to some 1e-10.
BY_HAND = 1e-9


@every
def test_uniaxial_tension_returns_the_curve_and_the_plastic_poisson_ratio(stuff):
    along = np.linspace(0.002, 0.08, 40)
    # Newton's method starts without change of volume: at the tip there would be no stiffness to go by.
    strain, after = held(stuff, along[:, None] * [1, -0.5, 0, -0.5], [1, 3])
    stress = after.stress[:, 0]
    plastic = along - stress / E
    assert np.all(stress[plastic < 1e-12] < YIELD * 1.001)
    yielded = plastic > 1e-12
    assert yielded.sum() > 25
    assert after.plastic == pytest.approx(plastic, abs=BY_HAND)
    assert stress[yielded] == pytest.approx(stuff.stress(after.plastic)[yielded], rel=BY_HAND)
    lateral = strain[:, [1, 3]] + NU * stress[:, None] / E
    assert lateral == pytest.approx(-stuff.plastic_poisson_ratio * plastic[:, None] * [1, 1], abs=BY_HAND)


@every
def test_uniaxial_compression_yields_at_the_ratio(stuff):
    """The cone dilates in compression too: axial -(1 - t/3) x, lateral (1/2 + t/3) x, and x counts 3 / (2 (1 + nu_p))."""
    along = np.linspace(-0.08, -0.03, 12)
    strain, after = held(stuff, along[:, None] * [1, -0.4, 0, -0.4], [1, 3])
    stress, nu_p = after.stress[:, 0], stuff.plastic_poisson_ratio
    axial = stress / E - along
    by_axial, sideways = (3 / (1 + 4 * nu_p), (2 - nu_p) / (1 + 4 * nu_p)) if stuff.surface == "cone" else (1, nu_p)
    assert after.plastic == pytest.approx(axial * by_axial, abs=BY_HAND)
    assert stress == pytest.approx(-stuff.compression_ratio * stuff.stress(after.plastic), rel=BY_HAND)
    assert strain[:, 1] + NU * stress / E == pytest.approx(axial * sideways, abs=BY_HAND)


@every
def test_pure_shear_by_hand(stuff):
    """Mean stress 0: q = sqrt(3) tau; plastic shear sqrt(3) x of the cone's flow, which counts 3 x / (2 (1 + nu_p)).

    The paraboloid's flow has no volume there: |d eps_p| = gamma_p / sqrt 2.
    """
    gamma = np.linspace(0.04, 0.12, 12)
    _, after = held(stuff, gamma[:, None] * [0, 0, 1, 0], [0, 1, 3])
    tau, ratio, nu_p = after.stress[:, 2], stuff.compression_ratio, stuff.plastic_poisson_ratio
    share = {
        "von-mises": 1 / np.sqrt(3),
        "cone": 2 * ratio / ((ratio + 1) * np.sqrt(3)),
        "paraboloid": np.sqrt(ratio / 3),
    }[stuff.surface]
    counts = 1 / np.sqrt(2 + 4 * nu_p**2) if stuff.surface == "paraboloid" else np.sqrt(3) / (2 * (1 + nu_p))
    assert after.plastic == pytest.approx((gamma - tau / G) * counts, abs=BY_HAND)
    assert tau == pytest.approx(share * stuff.stress(after.plastic), rel=BY_HAND)


def rates(stuff, stress, plastic, strain_rate):
    """Return the rates of stress and plastic strain of a state on the surface: the law as it is written, no return mapping."""
    q, p = invariants(stress)
    deviator = stress - p * ONE
    ratio, nu_p = stuff.compression_ratio, stuff.plastic_poisson_ratio
    sigma, slope = stuff.stress(plastic), stuff.slope(plastic)
    # Vectors of strain: engineering shear, so the shear components count twice.
    twice = np.array([1, 1, 2, 1])
    if stuff.surface == "paraboloid":
        normal = 3 * deviator * twice + (ratio - 1) * sigma * ONE
        by_sigma = 3 * (ratio - 1) * p - 2 * ratio * sigma
        flow = 3 * deviator * twice + 2 / 3 * 4.5 * (1 - 2 * nu_p) / (1 + nu_p) * p * ONE
    else:
        normal = (ratio + 1) / (2 * ratio) * 1.5 * deviator * twice / q + (ratio - 1) / (2 * ratio) * ONE
        by_sigma = -1
        flow = 1.5 * deviator * twice / q + (1 - 2 * nu_p) / (2 * (1 + nu_p)) * ONE
    size = np.sqrt((flow**2 / twice).sum() / (1 + 2 * nu_p**2))
    c = hooke(np.eye(4))
    x = normal @ c @ strain_rate / (normal @ c @ flow - by_sigma * slope * size)
    return c @ (strain_rate - x * flow), x * size


@pytest.mark.parametrize("stuff", [s for s in ALL if s.curve == "saturating"], ids=named)
def test_many_small_steps_meet_the_rate_equations(stuff):
    """On a path that turns. Implicit steps err by their length: halving it halves the error, and 2 x fine - coarse is right.

    The error itself is of the order of the turn within a step, 1 / 60 of the yield stress; extrapolated it is of second order,
    some 1e-4, and solve_ivp's 1e-9. The ratio of errors is 2 up to a term of the order of the step.
    """

    def path(s):  # shear throughout, tension along that turns into tension across; away from the tip
        return np.array([0.012 * np.sin(3 * s), -0.009 * np.sin(4 * s), 0.05 * s, -0.003 * s])

    start = 0.5

    def end(steps):
        first = step(stuff, path(start)[None])
        elastic, plastic = first.elastic, first.plastic
        for a, b in zip(*(np.linspace(start, 1, steps + 1)[i:j] for i, j in ((0, -1), (1, None))), strict=True):
            after = step(stuff, elastic + path(b) - path(a), plastic, tangent=False)
            elastic, plastic = after.elastic, after.plastic
        return first, np.append(after.stress[0] / YIELD, 100 * plastic)

    first, coarse = end(60)
    _, fine = end(120)
    assert first.plastic[0] > 0

    def derivative(s, y):
        rate = (path(s + 1e-6) - path(s - 1e-6)) / 2e-6
        return np.append(*rates(stuff, y[:4], y[4], rate))

    y = solve_ivp(derivative, (start, 1), np.append(first.stress[0], first.plastic), rtol=1e-9, atol=1e-9, method="DOP853").y[
        :, -1
    ]
    right = np.append(y[:4] / YIELD, 100 * y[4])
    assert right[4] > 1
    assert np.linalg.norm(coarse - right) < 0.05
    assert np.linalg.norm(coarse - right) / np.linalg.norm(fine - right) == pytest.approx(2, abs=0.15)
    assert 2 * fine - coarse == pytest.approx(right, abs=1e-3)


# Of the trial (up to 4 times the yield stress) round-off is 1e-15, returns end at 1e-13.
@every
def test_the_yield_condition_is_met(stuff):
    strain, plastic = states(stuff)
    after = step(stuff, strain, plastic)
    flowed = after.plastic > plastic
    assert 0.3 < flowed.mean() < 1
    excess = stuff.excess(after.stress, after.plastic)
    assert np.abs(excess[flowed]).max() < 1e-10
    assert excess.max() < 1e-10
    assert np.array_equal(after.elastic[~flowed], strain[~flowed])
    assert after.stress == pytest.approx(hooke(after.elastic), abs=1e-12 * YIELD)


@every
def test_plastic_work_is_never_negative(stuff):
    strain, plastic = states(stuff, n=2000, seed=2, reach=(0.5, 10))
    after = step(stuff, strain, plastic, tangent=False)
    work = (after.stress * (strain - after.elastic)).sum(1)
    assert work.min() > -1e-12 * YIELD * np.abs(strain).max()  # round-off of what is elastic
    assert work[after.plastic > plastic + 1e-6].min() > 0


def test_a_cone_that_dilates_too_much_works_backwards_in_deep_compression():
    """The module's caution: with q = (sigma - b p) / a the work q + t p turns negative at p = -sigma / (a t - b)."""
    ratio, nu_p = 1.3, 0.1
    a, b, t = (ratio + 1) / (2 * ratio), 3 * (ratio - 1) / (2 * ratio), 3 * (1 - 2 * nu_p) / (2 * (1 + nu_p))
    assert nu_p < (3 - ratio) / (4 * ratio)
    p = -YIELD / (a * t - b) * np.array([0.9, 1.1])
    q = (YIELD - b * p) / a * 1.001  # a little outside, so that p hardly changes
    strain = p[:, None] / (3 * K) * ONE + q[:, None] / (np.sqrt(3) * G) * [0, 0, 1, 0]
    after = step(Stuff("cone", ratio, nu_p), strain)
    work = (after.stress * (strain - after.elastic)).sum(1)
    assert work[0] > 0 > work[1]


@pytest.mark.parametrize("free", [NO_STRAIN, np.array([-0.012, -0.012, 0, -0.012])], ids=["no eigenstrain", "cooled"])
@every
def test_moduli_are_the_derivatives_of_the_stress(stuff, free):
    """Central differences over h = 2e-7 in strain, relative to Young's modulus: two errors.

    Returns end at 1e-13 of some 40 MPa: 1e-13 * 40 / h / 2000 = 1e-8. The moduli change by themselves over a strain of
    1e-3 (a tenth of the yield strain; less only next to the tip): (h / 1e-3)^2 = 4e-8. So 1e-6 is far from both. The kinks are
    left out: where a point begins to yield, at a table's points, and where the tip begins.
    """
    h = 2e-7
    strain, plastic = states(stuff, n=600, seed=3)
    strain[:100] = 0.03 * ONE + 0.3 * strain[:100]  # hydrostatic tension: to the tip
    if stuff.curve == "power":
        plastic += 1e-3  # the curve itself bends over 1e-6 at first
    q = invariants(step(stuff, strain, plastic, tangent=False).stress)[0]

    def kind(trial):
        after = step(stuff, trial, plastic, tangent=False)
        segment = np.searchsorted(TABLE[0], after.plastic) if stuff.curve == "table" else 0
        return np.stack([after.plastic > plastic, invariants(after.stress)[0] < 1e-9, segment + 0 * plastic])

    mean = (strain @ ONE)[:, None] / 3 * ONE
    deviator = strain - mean
    smooth = np.ones(len(strain), dtype=bool)
    for trial in (0.98 * strain, 1.02 * strain, mean + 0.97 * deviator, mean + 1.03 * deviator, 1.03 * mean + deviator):
        smooth &= (kind(trial) == kind(strain)).all(0)
    smooth &= (q > 0.2 * YIELD) | (q < 1e-9)  # next to the tip the paraboloid is as steep as a square root
    strain, plastic = strain[smooth], plastic[smooth]
    assert smooth.sum() > 250

    after = step(stuff, strain + free, plastic, free)
    moved = [
        (step(stuff, strain + free + d, plastic, free).stress - step(stuff, strain + free - d, plastic, free).stress) / (2 * h)
        for d in h * np.eye(4)
    ]
    assert np.abs(after.moduli - np.stack(moved, axis=2)).max() < 1e-6 * E
    flowed = after.plastic > plastic
    assert np.abs(after.moduli[flowed] - hooke(np.eye(4))).max() > 0.1 * E
    if stuff.surface == "cone" or (stuff.surface == "paraboloid" and stuff.plastic_poisson_ratio == 0.5):
        assert (invariants(after.stress[flowed])[0] < 1e-9).sum() > 10  # the tip is among them


@pytest.mark.parametrize("curve", CURVES)
def test_associated_flow_has_symmetric_moduli(curve):
    """To the last digit by von Mises; the associated cone to round-off; another cone not at all."""
    for stuff, error in ((MISES, 0.0), (Stuff("cone", 1.3, 1.7 / 5.2), 1e-13), (Stuff("cone", 1.3, 0.5), None)):
        stuff = replace(stuff, curve=curve)
        strain, plastic = states(stuff, seed=4)
        after = step(stuff, strain, plastic)
        regular = invariants(after.stress)[0] > 1e-9
        skew = np.abs(after.moduli - after.moduli.transpose(0, 2, 1))[regular].max() / E
        assert skew <= error if error is not None else skew > 0.05


@every
def test_turned_axes_turn_the_answer(stuff):
    strain, plastic = states(stuff, seed=5)
    c, s = np.cos(0.7), np.sin(0.7)
    of_stress = np.array(
        [[c * c, s * s, 2 * c * s, 0], [s * s, c * c, -2 * c * s, 0], [-c * s, c * s, c * c - s * s, 0], [0, 0, 0, 1]]
    )
    of_strain = np.linalg.inv(of_stress).T
    straight, turned = step(stuff, strain, plastic), step(stuff, strain @ of_strain.T, plastic)
    # Round-off of the trial, and returns that end at 1e-13 of the yield stress, now a little sooner, now later.
    assert turned.stress == pytest.approx(straight.stress @ of_stress.T, abs=1e-11 * YIELD)
    assert turned.elastic == pytest.approx(straight.elastic @ of_strain.T, abs=1e-13)
    assert turned.plastic == pytest.approx(straight.plastic, abs=1e-13)
    # Near the tip the moduli are more sensitive by orders of magnitude.
    regular = invariants(straight.stress)[0] > 0.1 * YIELD
    back = of_stress @ straight.moduli @ of_stress.T
    assert turned.moduli[regular] == pytest.approx(back[regular], abs=1e-9 * E)


@every_surface
def test_points_do_not_know_of_each_other(stuff):
    stuff = replace(stuff, curve="saturating")
    strain, plastic = states(stuff, n=80, seed=6)
    together = step(stuff, strain, plastic)
    for i in range(80):
        alone = step(stuff, strain[i : i + 1], plastic[i : i + 1])
        assert together.stress[i] == pytest.approx(alone.stress[0], abs=1e-12 * YIELD)  # products of matrices differ by size
        assert together.moduli[i] == pytest.approx(alone.moduli[0], abs=1e-9 * E)
    without = step(stuff, strain, plastic, tangent=False)
    assert without.moduli is None
    assert np.array_equal(without.stress, together.stress)
    assert np.array_equal(without.elastic, together.elastic)


@every
def test_what_has_been_returned_stays(stuff):
    """A step without strain changes nothing, and is elastic."""
    strain, plastic = states(stuff, seed=7)
    once = step(stuff, strain, plastic)
    twice = step(stuff, once.elastic, once.plastic)
    assert np.array_equal(twice.plastic, once.plastic)
    assert np.array_equal(twice.elastic, once.elastic)
    assert (
        np.array_equal(twice.moduli, np.broadcast_to(hooke(np.eye(4)), (len(strain), 4, 4)))
        or np.abs(twice.moduli - hooke(np.eye(4))).max() < 1e-12 * E
    )


def test_arguments_are_left_alone():
    strain, plastic = states(MISES)
    kept = strain.copy(), plastic.copy()
    after = step(MISES, strain, plastic)
    after.elastic[:] = after.plastic[:] = 7
    after.moduli[0] = 7
    assert np.array_equal(strain, kept[0])
    assert np.array_equal(plastic, kept[1])


@every
def test_the_eigenstrain_alone_has_no_stress(stuff):
    free = np.array([-0.012, -0.012, 0.0, -0.012])
    still = step(stuff, np.tile(free, (3, 1)), free=free)
    assert not still.stress.any()
    assert not still.plastic.any()
    assert np.array_equal(still.elastic, np.tile(free, (3, 1)))
    strain, plastic = states(stuff, seed=8)
    plain, cooled = step(stuff, strain, plastic), step(stuff, strain + free, plastic, free)
    assert cooled.stress == pytest.approx(plain.stress, abs=1e-10 * YIELD)  # strain + free - free is strain but for round-off
    assert cooled.elastic == pytest.approx(plain.elastic + free, abs=1e-13)


# Cooled by 200 K while held all round: 60e-6 / K * 200 K * E / (1 - 2 nu) = 80 MPa of hydrostatic tension.
COOLED = np.array([-0.012, -0.012, 0.0, -0.012])


@every_surface
@pytest.mark.parametrize("hardening", [0.0, 300.0])
def test_held_all_round_and_cooled(stuff, hardening):
    """Von Mises never yields; cone and paraboloid do at their tips, whatever the flow.

    There p = share (sigma + hardening e), with e = v / sqrt(3 + 6 nu_p^2) and p = 80 MPa - K v: a line by hand.
    """
    stuff = replace(stuff, curve="linear" if hardening else "perfect")
    after = step(stuff, np.zeros((1, 4)), free=COOLED)
    ratio, count = stuff.compression_ratio, 1 / np.sqrt(3 + 6 * stuff.plastic_poisson_ratio**2)
    if stuff.surface == "von-mises":
        p, v = 80.0, 0.0
    else:
        share = ratio / (3 * (ratio - 1)) * (2 if stuff.surface == "cone" else 1)
        v = (80 - share * YIELD) / (K + share * hardening * count)
        p = 80 - K * v
        assert v > 0
    assert after.stress[0] == pytest.approx(p * ONE, abs=1e-11 * YIELD)
    assert after.plastic[0] == pytest.approx(v * count, abs=1e-13)
    assert after.elastic[0] == pytest.approx(-v / 3 * ONE, abs=1e-14)


@pytest.mark.parametrize("surface", ["cone", "paraboloid"])
def test_isochoric_is_a_limit(surface):
    """Beyond the tip nu_p = 0.5 does what nu_p = 0.5 - 1e-9 does, up to some 1e-8 of the trial's deviator."""
    rng = np.random.default_rng(9)
    strain = (0.02 + 0.02 * rng.random(200))[:, None] * ONE + 0.005 * rng.normal(size=(200, 4))
    exact, near = (step(Stuff(surface, 1.3, nu_p, "linear"), strain) for nu_p in (0.5, 0.5 - 1e-9))
    assert (invariants(exact.stress)[0] < 1e-12).sum() > 100
    assert near.stress == pytest.approx(exact.stress, abs=1e-6 * YIELD)
    assert near.plastic == pytest.approx(exact.plastic, abs=1e-7)


@every
def test_temperature_goes_to_the_curve(stuff):
    """At 73 degC the strength is a fifth less; strains and stresses scaled by it give the same but for that factor.

    Without hardening exactly so, since all is homogeneous; with it the yield condition and another answer than at 23 degC.
    """
    strain, plastic = states(stuff, seed=10, reach=(1.5, 4))
    cold, warm = step(stuff, strain, plastic), step(stuff, 0.8 * strain, plastic, temperature=73.0)
    flowed = warm.plastic > plastic
    assert np.abs(stuff.excess(warm.stress, warm.plastic, 73.0)[flowed]).max() < 1e-10
    if stuff.curve == "perfect":
        assert warm.stress == pytest.approx(0.8 * cold.stress, abs=1e-11 * YIELD)
    else:
        assert np.abs(warm.stress - step(stuff, 0.8 * strain, plastic).stress).max() > 0.05 * YIELD


@pytest.mark.parametrize("nu_p", [0.0, 0.3, 0.5 - 1e-12, 0.5])
@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("surface", ["cone", "paraboloid"])
def test_nothing_is_too_far(surface, curve, nu_p):
    """Trials from nothing to a strain of 100, on and off the axes, at ratios up to 3: always a stress on the surface.

    Round-off is a share of the trial, here up to 1e5 times the yield stress: 1e-15 * 1e5 times some tens.
    """
    rng = np.random.default_rng(11)
    strain = np.concatenate([rng.normal(size=(300, 4)), ONE + 1e-9 * rng.normal(size=(50, 4)), np.tile(ONE, (2, 1)), np.eye(4)])
    strain = np.concatenate([sign * size * strain for sign in (1, -1) for size in (0, 1e-9, 0.01, 0.1, 1, 100)])
    for ratio in (1.0, 1.0 + 1e-9, 1.3, 3.0):
        stuff = Stuff(surface, ratio, nu_p, curve)
        after = step(stuff, strain)
        for values in vars(after).values():
            assert np.isfinite(values).all()
        assert (after.plastic >= 0).all()
        size = np.maximum(1, np.abs(hooke(strain)).max(1) / YIELD)
        q, p = invariants(after.stress)
        scale = np.maximum(1, (q + 3 * ratio * np.abs(p)) / YIELD) ** (2 if surface == "paraboloid" else 1)
        flowed = after.plastic > 0
        assert (np.abs(stuff.excess(after.stress, after.plastic)) / (size * scale))[flowed].max() < 1e-12


@pytest.mark.parametrize("nu_p", [0.1, 0.35, 0.5])
def test_great_pressure_costs_no_digits(nu_p):
    """At p of 1e5 times the yield stress the paraboloid's q is some 300 times.

    This test's own q loses 1e-16 * 1e5 / 300, some 1e-13, and returns end at 1e-13, so 1e-12 is kept. A root of the paraboloid's
    quadratic equation taken as a small difference would be off by 1e-16 * 1e5, some 1e-11.
    """
    stuff = Stuff("paraboloid", 1.3, nu_p)
    rng = np.random.default_rng(13)
    direction = rng.normal(size=(200, 4))
    direction -= (direction @ ONE)[:, None] / 3 * ONE
    direction *= (600 * YIELD / invariants(hooke(direction))[0])[:, None]
    after = step(stuff, direction - 1e5 * YIELD / (3 * K) * ONE)
    q, p = invariants(after.stress)
    assert (after.plastic > 0).all()
    assert q**2 / (1.3 * YIELD**2 - 0.9 * YIELD * p) == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("surface", ["cone", "paraboloid"])
def test_equal_strength_and_isochoric_flow_are_von_mises(surface):
    for curve in CURVES:
        strain, plastic = states(MISES, seed=12)
        mises, other = (step(Stuff(s, curve=curve), strain, plastic) for s in ("von-mises", surface))
        assert other.stress == pytest.approx(mises.stress, abs=1e-11 * YIELD)
        assert other.plastic == pytest.approx(mises.plastic, abs=1e-13)
        assert other.moduli == pytest.approx(mises.moduli, abs=1e-10 * E)
