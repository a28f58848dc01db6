"""The traction of a separation: held to its own triangle and trapezium, to the fracture criteria, and to finite differences.

References outside the project: the area of a triangle and of a trapezium; the power law and Benzeggagh and
Kenane's criterion (Compos. Sci. Technol. 56, 1996, 439-449, from memory), written out here once more; work by
numerical integration of the tractions alone (scipy).
"""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
from scipy.integrate import quad, trapezoid

from fejoint.mechanics.separation import TractionLaw

# An invented layer, 0.2 mm thick, of the size of a toughened epoxy.
LAW = TractionLaw(13_000.0, 3_500.0, 21.6, 17.9, 0.43, 4.7)
LAWS = {
    "bilinear, power": LAW,
    "plateaus, power 1.5": dataclasses.replace(LAW, plateau_1=0.2, plateau_2=0.7, exponent=1.5),
    "plateau of mode II alone, b-k": dataclasses.replace(LAW, plateau_2=0.9, rule="b-k", exponent=2.3),
}
EXACT = 1e-9  # formulas of a few operations each, and kinks that fall between points of the integration are given to it
ANGLES = np.radians([0.0, 1.0, 20.0, 45.0, 70.0, 89.0, 90.0])


def pulled(law, separations, damage=0.0):
    """Return the tractions along a list of separations that one place goes through."""
    separations = np.array(separations)
    asked = law.respond(separations, np.zeros(len(separations)), False).damage
    so_far = np.maximum.accumulate(np.maximum(asked, damage))
    answer = law.respond(separations, so_far, False)
    assert np.array_equal(answer.damage, so_far)
    return answer.traction, so_far[-1]


def criterion(law, share):
    """Return the toughness of a mix by its formula."""
    if law.rule == "b-k":
        return law.toughness_1 + (law.toughness_2 - law.toughness_1) * share**law.exponent
    m = law.exponent
    return (((1 - share) / law.toughness_1) ** m + (share / law.toughness_2) ** m) ** (-1 / m)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
@pytest.mark.parametrize("mode", [0, 1])
def test_a_pure_mode_is_its_triangle_or_trapezium(law, mode):
    stiffness = (law.normal_stiffness, law.shear_stiffness)[mode]
    strength = (law.normal_strength, law.shear_strength)[mode]
    toughness = (law.toughness_1, law.toughness_2)[mode]
    r = (law.plateau_1, law.plateau_2)[mode]
    onset = strength / stiffness
    # Area of the trapezium with the corners 0, onset, onset + r (failure - onset), failure and the height of the strength.
    failure = (2 * toughness / strength + r * onset) / (1 + r)
    end = onset + r * (failure - onset)
    x = np.linspace(0, 1.1 * failure, 400)
    separations = np.zeros((400, 2))
    separations[:, mode] = x
    expected = (
        np.interp(x, [0, onset, end, failure], [0, strength, strength, 0])
        if r
        else np.interp(x, [0, onset, failure], [0, strength, 0])
    )
    found, damage = pulled(law, separations)
    assert np.abs(found[:, mode] - expected).max() <= 1e-6 * strength  # asked for; round-off is far less
    assert not found[:, 1 - mode].any()
    assert damage == 1.0


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
@pytest.mark.parametrize("angle", ANGLES)
def test_the_work_of_a_path_of_one_mix_is_the_criterion_s_toughness(law, angle):
    way = np.array([np.cos(angle), np.sin(angle)])

    def traction(s):
        return float(law.respond(s * way[None], np.zeros(1), False).traction[0] @ way)

    share = law.shear_stiffness * way[1] ** 2 / (law.normal_stiffness * way[0] ** 2 + law.shear_stiffness * way[1] ** 2)
    mix = law.mix(np.array([share]))
    first = 1 / law.onset(way[None])[0]
    last = first * mix.failure[0]
    end = first + mix.plateau[0] * (last - first)
    # Piecewise of degree one between the corners, so that the quadrature is exact; it fails by percents if a corner is elsewhere.
    work = quad(traction, 0, 1.5 * last, points=[first, end, last], epsabs=0, epsrel=1e-10, limit=200)[0]
    assert work == pytest.approx(criterion(law, share), rel=1e-7)
    # The modes' own works by trapezia of the tractions: their ratio is the mix.
    s = np.linspace(0, 1.01 * last, 4001)
    found, damage = pulled(law, s[:, None] * way)
    works = [trapezoid(found[:, i], s * way[i]) for i in (0, 1)]
    assert damage == 1.0
    assert works[1] / sum(works) == pytest.approx(share, abs=1e-9)
    assert sum(works) == pytest.approx(criterion(law, share), rel=1e-4)  # trapezia astride two corners, 4000 of them


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_onset_is_quadratic_in_the_stresses(law):
    for angle in ANGLES:
        way = np.array([[np.cos(angle), np.sin(angle)]])
        first = 1 / law.onset(way)[0]
        below, above = (law.respond(way * first * s, np.zeros(1)) for s in (1 - 1e-9, 1 + 1e-6))
        assert below.damage[0] == 0.0 < above.damage[0]
        normal, shear = below.traction[0]
        assert (normal / law.normal_strength) ** 2 + (shear / law.shear_strength) ** 2 == pytest.approx(1, abs=1e-8)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_unloading_goes_straight_to_the_origin_and_back(law):
    for way in ([1.0, 0.0], [0.0, 1.0], [0.4, 1.0]):
        way = np.array(way)
        far = 0.5 * law.mix(law.shares(way[None])).failure[0] / law.onset(way[None])[0] * way
        out, damage = pulled(law, [far])
        assert 0 < damage < 1
        for s in (0.7, 0.2, 0.0, 0.5, 1.0):
            back, same = pulled(law, [s * far], damage)
            assert np.allclose(back, s * out, rtol=1e-12, atol=1e-12)
            assert same == damage
        # Sliding the other way: the same damage, the traction the other way round.
        other, _ = pulled(law, [far * [1, -1]], damage)
        assert np.allclose(other, out * [1, -1])


def test_closing_presses_with_the_sound_stiffness_and_damages_nothing():
    for damage in (0.0, 0.6, 1.0):
        found = LAW.respond(np.array([[-0.01, 0.0], [-10.0, 0.0]]), np.full(2, damage))
        assert np.allclose(found.traction[:, 0], LAW.normal_stiffness * np.array([-0.01, -10.0]), rtol=1e-12)
        assert np.allclose(found.damage, damage)
        assert np.allclose(found.moduli[:, 0, 0], LAW.normal_stiffness)
    # Sliding under pressure is pure mode II.
    x = np.linspace(0, 2 * 2 * LAW.toughness_2 / LAW.shear_strength, 20001)
    found, damage = pulled(LAW, np.stack([np.full_like(x, -0.002), x], axis=1))
    assert damage == 1.0
    assert trapezoid(found[:, 1], x) == pytest.approx(LAW.toughness_2, rel=1e-5)  # trapezia over 20000 pieces


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_damage_never_falls_and_no_energy_is_won_where_the_mix_changes(law):
    rng = np.random.default_rng(7)
    for _ in range(8):
        corners = rng.uniform(-0.3, 1.0, (6, 2)) * [0.05, 0.4]
        way = np.concatenate([np.linspace(a, b, 200) for a, b in itertools.pairwise(corners)])
        damage, tractions, damages = np.zeros(1), [], []
        for separation in way:
            answer = law.respond(separation[None], damage, False)
            damage = answer.damage
            tractions.append(answer.traction[0])
            damages.append(damage[0])
        assert (np.diff(damages) >= 0).all()
        # Work put in, less what is stored (that of the secant stiffness): lost, and never won back.
        put = np.concatenate(
            [[0.0], np.cumsum(((np.array(tractions)[1:] + tractions[:-1]) / 2 * np.diff(way, axis=0)).sum(axis=1))]
        )
        put += float(tractions[0] @ way[0]) / 2
        stored = (np.array(tractions) * way).sum(axis=1) / 2
        lost = put - stored
        assert (np.diff(lost) >= -1e-4 * law.toughness_2).all()  # trapezia over kinks, 200 pieces a side


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_what_is_lost_is_the_work_less_what_is_stored(law):
    for angle in ANGLES:
        way = np.array([[np.cos(angle), np.sin(angle)]])
        last = law.mix(law.shares(way)).failure[0] / law.onset(way)[0]
        steps = np.linspace(0, 1.05 * last, 61)
        damage, lost = np.zeros(1), np.zeros((1, 2))
        for a, b in itertools.pairwise(steps):
            lost = lost + law.dissipated(a * way, b * way, damage)
            damage = law.respond(b * way, damage, False).damage
        share = law.shares(way)[0]
        # Sums over 8 pieces in each of 60 increments: their error is of the square of a 480th of the way, beside that at kinks.
        assert lost.sum() == pytest.approx(criterion(law, share), rel=2e-3)
        assert lost[0, 1] / lost.sum() == pytest.approx(share, abs=1e-9)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS)
def test_moduli_are_the_derivatives_of_the_traction(law):
    rng = np.random.default_rng(3)
    separation = rng.uniform(-0.2, 1.0, (400, 2)) * [0.06, 0.5]
    for damage in (np.zeros(400), np.full(400, 0.95), rng.uniform(0, 1, 400)):
        found, h = law.respond(separation, damage), 1e-7
        for j in (0, 1):
            step = np.zeros(2)
            step[j] = h
            up, down = (law.respond(separation + s * step, damage, False).traction for s in (1, -1))
            numeric = (up - down) / (2 * h)
            # Central differences of 1e-7 mm: rounding 1e-15 * 100 MPa / 1e-7 mm, curvature less; none of the places is at a kink.
            scale = np.array([law.normal_stiffness, law.shear_stiffness])
            assert (np.abs(numeric - found.moduli[:, :, j]) / scale).max() < 1e-6


def test_progress_is_one_at_failure_and_its_slope_is_along_one_mix():
    for angle in ANGLES:
        way = np.array([[np.cos(angle), np.sin(angle)]])
        value, slope = LAW.progress(way * 0.01)
        last = 0.01 / value[0]
        assert LAW.respond(way * last * (1 + 1e-9), np.zeros(1), False).damage[0] == 1.0
        assert LAW.respond(way * last * (1 - 1e-6), np.zeros(1), False).damage[0] < 1.0
        assert float(slope[0] @ way[0]) * 0.01 == pytest.approx(value[0], rel=1e-12)
