"""The shear lag of a stepped lap, against its differential equation, its limits and a worked case.

Volkersen's equation on every tread (derived for this project; the idea of
going step by step is L. J. Hart-Smith's, NASA CR-112237, 1973, from memory).
The worked case was derived for this project and confirmed by numerical
solution; it proves the algebra, not the citation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, SteppedLap, TheoryError
from fejoint.bondline.closed_form import shear_lag, volkersen
from fejoint.bondline.closed_form.shear_lag import step_coefficients, step_shear

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)
STEEL = Isotropic(elastic_modulus=210_000, poisson_ratio=0.3, expansion=12e-6)

# lengths, E t below, E t above, adhesive's G / t_a, line load, free strain of the upper less that of the lower
CASES = {
    "worked case S1": ((10.0,) * 3, (210e3, 140e3, 70e3), (70e3, 140e3, 210e3), 5000.0, 300.0, 0.0),
    "one step": ((25.0,), (210e3,), (105e3,), 5000.0, 200.0, 0.0),
    "four unequal steps": ((4.0, 11.0, 2.5, 7.0), (260e3, 150e3, 90e3, 30e3), (25e3, 200e3, 310e3, 600e3), 2800.0, 150.0, 0.0),
    "four unequal steps, cooled and pushed": (
        (4.0, 11.0, 2.5, 7.0), (260e3, 150e3, 90e3, 30e3), (25e3, 200e3, 310e3, 600e3), 2800.0, -80.0, -1.1e-3,
    ),
    "cooled alone": ((6.0, 6.0), (200e3, 70e3), (110e3, 250e3), 9000.0, 0.0, 9e-4),
}  # fmt: skip
every_case = pytest.mark.parametrize("case", CASES.values(), ids=CASES)


def shear_along(case, places) -> list[np.ndarray]:
    """Return the closed form's shear on every step, at places from 0 to 1 of each."""
    lengths, lower, upper, k, _, _ = case
    found = step_coefficients(*case)
    return [
        step_shear(np.asarray(places) * length, length, (s1, s2), k, own)
        for length, s1, s2, own in zip(lengths, lower, upper, found, strict=True)
    ]


def loads_along(case, place) -> np.ndarray:
    """Return the load of the lower adherend at one place, 0 to 1, of every step, from the coefficients' definition."""
    lengths, lower, upper, k, load, mismatch = (np.asarray(v, dtype=float) for v in case)
    w = np.sqrt(k * (1 / lower + 1 / upper))
    a, b = step_coefficients(*case).T
    share = (load / upper + mismatch) / (1 / lower + 1 / upper)
    return share + a * np.exp(-w * lengths * place) + b * np.exp(-w * lengths * (1 - place))


def numerically(case, places) -> list[np.ndarray]:
    """Return the shear from N' = -tau, tau' = k (N2/S2 + mismatch - N/S1), N2 = P - N, every step stretched to 0..1.

    The whole load at the left end, none at the right; N and tau are continuous.
    """
    lengths, lower, upper, k, load, mismatch = case
    n = len(lengths)

    def slopes(_, y):
        rows = []
        for i in range(n):
            axial, tau = y[2 * i : 2 * i + 2]
            rows += [-lengths[i] * tau, lengths[i] * k * ((load - axial) / upper[i] + mismatch - axial / lower[i])]
        return np.vstack(rows)

    def ends(a, b):
        return np.array([a[0] - load, *(b[: 2 * n - 2] - a[2:]), b[2 * n - 2]])

    found = solve_bvp(slopes, ends, np.linspace(0, 1, 401), np.zeros((2 * n, 401)), tol=1e-9, max_nodes=20_000)
    assert found.success
    return [found.sol(np.asarray(places))[2 * i + 1] for i in range(n)]


@every_case
def test_solves_the_differential_equation(case):
    """Collocation to a residual of 1e-9 reproduces the closed form to 1e-7 of its peak."""
    places = np.linspace(0, 1, 101)
    exact, other = np.concatenate(shear_along(case, places)), np.concatenate(numerically(case, places))
    assert np.abs(exact - other).max() <= 1e-7 * np.abs(exact).max()


def test_worked_case():
    """S1, derived for this project: aluminium 70 GPa, 10 mm steps (3, 1), (2, 2), (1, 3) mm, G 1000, t_a 0.2, 300 N/mm.

    Eight digits are given, so half a unit of the last: 5e-8 of 10.
    """
    case = CASES["worked case S1"]
    ends = np.array(shear_along(case, [0.0, 1.0]))
    assert [ends[0, 0], ends[1, 0], ends[2, 0]] == pytest.approx([24.199652, 12.619487, 12.619487], rel=5e-8)
    assert ends[:, 1] == pytest.approx([12.619487, 12.619487, 24.199652], rel=5e-8)
    passed = loads_along(case, 0.0) - loads_along(case, 1.0)
    assert passed == pytest.approx([108.88358, 82.232834, 108.88358], rel=5e-8)


@every_case
def test_load_and_shear_go_over_from_step_to_step(case):
    """The whole load enters at the left, none is left at the right; neither load nor shear jumps (round-off, 1e-12)."""
    load = case[4]
    start, end = loads_along(case, 0.0), loads_along(case, 1.0)
    shear = np.array(shear_along(case, [0.0, 1.0]))
    force, stress = max(np.abs(start).max(), np.abs(end).max()), np.abs(shear).max()
    assert abs(start[0] - load) < 1e-12 * force
    assert abs(end[-1]) < 1e-12 * force
    assert np.abs(start[1:] - end[:-1]).max(initial=0.0) < 1e-12 * force
    assert np.abs(shear[1:, 0] - shear[:-1, 1]).max(initial=0.0) < 1e-12 * stress


@every_case
def test_shear_passes_on_what_the_lower_adherend_loses(case):
    """On every step the integral of the shear is the lower's load less; Gauss with 60 points integrates it to round-off."""
    x, weight = np.polynomial.legendre.leggauss(60)
    passed = loads_along(case, 0.0) - loads_along(case, 1.0)
    shear = np.array(shear_along(case, (1 + x) / 2))
    integral = np.array(case[0]) / 2 * (shear @ weight)
    assert np.abs(integral - passed).max() < 1e-12 * np.sum(case[0]) * np.abs(shear).max()


@pytest.mark.parametrize("mismatch", [0.0, -1.1e-3])
def test_one_step_is_volkersens_lap(mismatch):
    """One step is a lap of two adherends: Volkersen's closed form, to round-off (1e-12)."""
    length, s1, s2 = 25.0, 210e3, 105e3
    x = np.linspace(0, length, 101)
    found = step_coefficients((length,), (s1,), (s2,), 5000.0, 200.0, mismatch)[0]
    expected = volkersen.shear_stress(x - length / 2, 200.0, length, (s1, s2), 1000, 0.2, mismatch)
    assert np.abs(step_shear(x, length, (s1, s2), 5000.0, found) - expected).max() < 1e-12 * np.abs(expected).max()


def test_steps_of_equal_stiffness_are_one_long_step():
    """A step that takes no metal away is no step: 3 + 9 + 5 + 8 mm of the same stiffness are 25 mm (1e-12)."""
    lengths = (3.0, 9.0, 5.0, 8.0)
    places = np.linspace(0, 1, 41)
    case = (lengths, (210e3,) * 4, (105e3,) * 4, 5000.0, 200.0, 4e-4)
    x = np.concatenate([sum(lengths[:i]) + length * places for i, length in enumerate(lengths)])
    expected = volkersen.shear_stress(x - 12.5, 200.0, 25.0, (210e3, 105e3), 1000, 0.2, 4e-4)
    assert np.abs(np.concatenate(shear_along(case, places)) - expected).max() < 1e-12 * np.abs(expected).max()


def test_many_small_steps_are_a_scarf():
    """Steps without end between adherends that taper linearly share the load alike everywhere: tau = P / l.

    A scarf of like adherends is uniformly stressed (Hart-Smith 1973, from memory). With n equal steps the metal under the
    middle of step i is t (2 n + 1 - 2 i)/(2 n), so that N = P times that solves N/S1 = N2/S2 at every step's middle; what
    is left oscillates with the step and falls with its length squared, (w l/n)^2 / 8 of the mean or so.
    """
    lost = []
    for n in (20, 40):
        i = np.arange(1, n + 1)
        lower = 280e3 * (2 * n + 1 - 2 * i) / (2 * n)
        shear = np.array(shear_along(((30.0 / n,) * n, lower, lower[::-1], 5000.0, 300.0, 0.0), [0.0, 0.5, 1.0]))
        inside = shear[n // 4 : -n // 4]
        lost.append(np.abs(inside / 10.0 - 1).max())
    assert lost[0] < 0.05
    assert lost[1] < lost[0] / 3


def test_very_long_treads_do_not_overflow():
    """At w l = 2000 a step hyperbolic functions would overflow; the first end follows the endless step exactly.

    tau = w (P - p), p the lower's share P S1/(S1 + S2); the last one likewise, w p.
    """
    s1, s2 = (210e3, 140e3, 70e3), (70e3, 140e3, 210e3)
    w = math.sqrt(5000 * (1 / 210e3 + 1 / 70e3))
    length = 2000 / w
    with np.errstate(over="raise", invalid="raise"):
        shear = shear_along(((length,) * 3, s1, s2, 5000.0, 300.0, 0.0), [0.0, 0.5, 1.0])
    assert shear[0][0] == pytest.approx(w * 300 * 0.25, rel=1e-12)
    assert shear[2][2] == pytest.approx(w * 300 * 0.25, rel=1e-12)
    assert max(abs(s[1]) for s in shear) < 1e-100


# ---- a joint in, curves out ------------------------------------------------

HEIGHTS = (0.6, 1.1, 0.9, 1.4)
LENGTHS = (5.0, 8.0, 3.0)


def stepped(out_of_plane="automatic", **load) -> Joint:
    """Return a lap of aluminium on steel with unlike treads and risers, 200 N/mm."""
    return Joint(
        geometry=SteppedLap(
            width=25, step_lengths=LENGTHS, step_heights=HEIGHTS, bondline_thickness=0.2,
            lower=Adherend(material=ALUMINIUM, thickness=4.0, free_length=30),
            upper=Adherend(material=STEEL, thickness=4.0, free_length=30),
        ),
        adhesive=Adhesive(elastic_modulus=2800, shear_modulus=1000, expansion=60e-6),
        load=Load(**{"force": 5000, **load}),
        analysis=Analysis(out_of_plane=out_of_plane),
    )  # fmt: skip


def by_hand(load: float, mismatch: float = 0.0):
    """Return the case of the joint above: metal between the outer face and half a layer short of the tread's level."""
    down = np.cumsum(HEIGHTS)[:-1]
    lower = 70_000 / (1 - 0.33**2) * (4.0 - down - 0.1)
    upper = 210_000 / (1 - 0.3**2) * (down - 0.1)
    return LENGTHS, tuple(lower), tuple(upper), 1000 / 0.2, load, mismatch


def same_as(bondlines, case) -> bool:
    """Return whether curves are those of a case, to 1e-12 of its peak."""
    starts = np.cumsum([0.0, *LENGTHS])
    expected = [shear_along(case, (b.x - starts[i]) / LENGTHS[i])[i] for i, b in enumerate(bondlines)]
    peak = max(np.abs(e).max() for e in expected)
    return all(np.abs(b.shear - e).max() < 1e-12 * peak for b, e in zip(bondlines, expected, strict=True))


def test_curves_of_a_joint():
    """One curve a tread, numbered from the left, x along the whole overlap; E/(1 - nu^2) for the held width."""
    found = shear_lag.curves(stepped())
    assert [b.number for b in found] == [1, 2, 3]
    assert [x for b in found for x in (b.x[0], b.x[-1])] == pytest.approx([0, 5, 5, 13, 13, 16])
    assert same_as(found, by_hand(200.0))
    assert all(np.isnan(b.peel).all() and np.isnan(b.middle.axial).all() for b in found)
    assert all("shear lag" in b.measure for b in found)
    # 400 pieces of piecewise quadratics: the mean is exact to 1e-9; the treads pass on the whole load.
    passed = sum(b.middle.mean("shear") * length for b, length in zip(found, LENGTHS, strict=True))
    assert passed == pytest.approx(200.0, rel=1e-9)


def test_temperature_with_the_width_held():
    """A held width pushes along x: the free strain is (1 + nu) alpha times the change, as the stiffness is E/(1 - nu^2)."""
    found = shear_lag.curves(stepped("plane-strain", temperature_change=-60))
    assert same_as(found, by_hand(200.0, -60 * (1.3 * 12e-6 - 1.33 * 23e-6)))


def test_temperature_with_one_common_width_strain():
    """A common width strain lies between the adherends' free ones: the mismatch between those it gives with either."""
    found = np.concatenate([b.shear for b in shear_lag.curves(stepped(temperature_change=-60))])
    low, high = (
        np.concatenate([
            b.shear
            for b in joint_curves(-60 * (1.3 * 12e-6 - 1.33 * 23e-6 - (0.3 - 0.33) * width))
        ])
        for width in (12e-6, 23e-6)
    )  # fmt: skip
    assert (found >= np.minimum(low, high) - 1e-9).all()
    assert (found <= np.maximum(low, high) + 1e-9).all()
    assert np.abs(high - low).max() < 0.03 * np.abs(found).max()
    assert not same_as(shear_lag.curves(stepped(temperature_change=-60)), by_hand(200.0))


def joint_curves(mismatch: float):
    """Return the curves of the joint above with a mismatch by hand, at the places of its own."""
    starts = np.cumsum([0.0, *LENGTHS])
    plain = shear_lag.curves(stepped())
    shear = [shear_along(by_hand(200.0, mismatch), (b.x - starts[i]) / LENGTHS[i])[i] for i, b in enumerate(plain)]
    return [type(b.middle)(b.x, s, s, s) for b, s in zip(plain, shear, strict=True)]


def test_compression_turns_the_sign():
    """Without temperature the theory is proportional to the load."""
    pulled, pushed = shear_lag.curves(stepped()), shear_lag.curves(stepped(force=-5000))
    for a, b in zip(pulled, pushed, strict=True):
        assert b.shear == pytest.approx(-a.shear, rel=1e-12)


def test_other_families_are_refused_by_name():
    """The refusal says what the theory is for and what it was given."""
    part = Adherend(material=ALUMINIUM, thickness=2, free_length=20)
    double = stepped().replace(geometry=DoubleLap(width=25, overlap_length=20, bondline_thickness=0.2, inner=part, outer=part))
    with pytest.raises(TheoryError, match=r"stepped-lap.*double-lap"):
        shear_lag.curves(double)
