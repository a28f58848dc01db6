"""Krenk's energy release rates, against the energy that two beams on a layer give up, their limits and worked cases.

S. Krenk, Eng. Fract. Mech. 43(4), 1992, 549-559 (from memory). The worked case
was derived for this project and confirmed by numerical solution; it proves the
algebra, not the citation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.linalg import expm

from fejoint import Adherend, Adhesive, DoubleLap, Isotropic, Joint, Load, SingleLap, TheoryError
from fejoint.bondline.closed_form import goland_reissner
from fejoint.bondline.closed_form.krenk import end_stresses, energy_release, long_overlap, stored
from fejoint.bondline.curves import EdgeLoads

# No Poisson's ratio: plane strain and plane stress are one, as the worked cases have it.
METAL = Isotropic(elastic_modulus=70_000, poisson_ratio=0.0, expansion=23e-6)
E, T, TA, G_LAYER, E_LAYER = 70_000.0, 2.0, 0.2, 1000 / 0.2, 2800 / 0.2
D = E * T**3 / 12


def lap(overlap=25.0, upper_thickness=T, **load) -> Joint:
    parts = [Adherend(material=METAL, thickness=t, free_length=40) for t in (T, upper_thickness)]
    return Joint(
        geometry=SingleLap(width=25, overlap_length=overlap, bondline_thickness=TA, lower=parts[0], upper=parts[1]),
        adhesive=Adhesive(elastic_modulus=2800, shear_modulus=1000, expansion=60e-6),
        load=Load(**{"force": 5000, **load}),
    )


def both(moment, shear_force, load=200.0):
    return {"lower": EdgeLoads(load, shear_force, -moment), "upper": EdgeLoads(load, shear_force, moment)}


def in_balance(factor, overlap, load=200.0):
    """Return edge moment and sideways force of a lap in balance undeformed: M = k P t/2, P t = 2 M + l V."""
    return factor * load * T / 2, (1 - factor) * load * T / overlap


# ---- two beams on a layer, by matrix exponentials --------------------------


def two_beams(length, left, right, pieces=16):
    """Return the states at both ends, (2, 12): u, N, w, w', M, Q of the upper beam (1), then of the lower (2).

    N1' = tau = -N2', M = D w'', Q = tau t/2 - M', Q1' = sigma = -Q2', tau = g (u1 + t/2 w1' - u2 + t/2 w2'),
    sigma = e (w1 - w2). `left` and `right` hold N, M, Q of both beams; the lower one is held at the left.
    """
    tau, sigma = np.zeros(12), np.zeros(12)
    tau[[0, 3, 6, 9]] = G_LAYER * np.array([1, T / 2, -1, T / 2])
    sigma[[2, 8]] = E_LAYER * np.array([1.0, -1.0])
    a = np.zeros((12, 12))
    for base, sign in ((0, 1), (6, -1)):
        a[base, base + 1] = 1 / (E * T)
        a[base + 1] = sign * tau
        a[base + 2, base + 3] = 1
        a[base + 3, base + 4] = 1 / D
        a[base + 4] = tau * T / 2
        a[base + 4, base + 5] -= 1
        a[base + 5] = sign * sigma
    step, n = expm(a * length / pieces), 12 * (pieces + 1)
    k, r = np.zeros((n, n)), np.zeros(n)
    for i in range(pieces):
        k[12 * i : 12 * i + 12, 12 * i : 12 * i + 12] = step
        k[12 * i : 12 * i + 12, 12 * i + 12 : 12 * i + 24] = -np.eye(12)
    forces = [1, 4, 5, 7, 10, 11]
    held = [(0, place, value) for place, value in zip(forces, left, strict=True)]
    held += [(0, place, 0.0) for place in (6, 8, 9)]
    held += [(pieces, place, value) for place, value in zip(forces[:3], right[:3], strict=True)]  # the rest by balance
    for row, (node, place, value) in enumerate(held, 12 * pieces):
        k[row, 12 * node + place], r[row] = 1.0, value
    scale = np.abs(k).max(axis=1)
    y = np.linalg.solve(k / scale[:, None], r / scale)
    assert y[-5:][[0, 3, 4]] == pytest.approx(right[3:], abs=1e-6 * max(map(abs, right)))
    return np.array([y[:12], y[-12:]]), (float(tau @ y[-12:]), float(sigma @ y[-12:]))


def energy(states) -> float:
    """Return half the work of the end forces, N u + M w' + Q w."""
    force, way = [1, 4, 5, 7, 10, 11], [0, 3, 2, 6, 9, 8]
    return float(states[1, force] @ states[1, way] - states[0, force] @ states[0, way]) / 2


def released(load, moment, shear_force, overlap, step=0.01) -> float:
    """Return the energy that the joint gives up per length as its left end parts, at fixed loads: by a central difference.

    Where it has parted the lower beam goes on alone, with N = P, M' = -Q, Q = V.
    Its error is (step w)^2/6 or so, w the layers' largest decay: 1e-5.
    """
    total = []
    for a in (-step, step):
        left = (0, 0, 0, load, -moment - shear_force * a, shear_force)
        states, _ = two_beams(overlap - a, left, (load, moment, shear_force, 0, 0, 0))
        far = ((moment + shear_force * a) ** 3 - moment**3) / (3 * shear_force) if shear_force else moment**2 * a
        total.append(energy(states) + load**2 / (2 * E * T) * a + far / (2 * D))
    return (total[1] - total[0]) / (2 * step)


@pytest.mark.parametrize("overlap", [8.0, 25.0])
@pytest.mark.parametrize("factor", [0.3, 0.5, 0.9])
def test_rates_are_the_energy_given_up(overlap, factor):
    """G_I + G_II of the end stresses is minus the slope of the energy, on short overlaps too; to 1e-4 (the difference: 1e-5)."""
    moment, shear_force = in_balance(factor, overlap)
    opening, shear = energy_release(lap(overlap), both(moment, shear_force))
    assert opening + shear == pytest.approx(released(200.0, moment, shear_force, overlap), rel=1e-4)
    assert min(opening, shear) > 0.01 * (opening + shear)  # both count


def test_end_stresses_solve_the_two_beams_and_the_worked_case():
    """B1, derived for this project: G2's joint, k 0.5, V = (1 - k) P t/(2 c): tau 36.40776, sigma 43.70849; seven digits.

    The exponentials keep some nine digits.
    """
    moment, shear_force = in_balance(0.5, 25.0)
    peel, shear = end_stresses(lap(), both(moment, shear_force))
    assert (shear, peel) == (pytest.approx(36.40776, rel=3e-7), pytest.approx(43.70849, rel=3e-7))
    _, (tau, sigma) = two_beams(25.0, (0, 0, 0, 200, -moment, shear_force), (200, moment, shear_force, 0, 0, 0))
    assert (shear, peel) == (pytest.approx(tau, rel=1e-7), pytest.approx(sigma, rel=1e-7))
    assert stored(peel, shear, E_LAYER, G_LAYER) == (
        pytest.approx(43.70849**2 * 0.2 / (2 * 2800), rel=1e-6),
        pytest.approx(36.40776**2 * 0.2 / (2 * 1000), rel=1e-6),
    )


@pytest.mark.parametrize("k", [0.0, 0.2612, 0.57, 1.0])
def test_long_overlap_as_published(k):
    """(1 + 3k)^2 P^2/(16 E t), 3 k^2 P^2/(4 E t) (from memory), and their sum is the beams' energy before less behind.

    Before: one beam with P and M; behind: both as one bar of 8 D with P and
    M - P t/2 about its middle. Without moment G_II is a quarter of shear lag's P^2/(4 E t). Algebra: round-off.
    """
    load, moment = 200.0, k * 200.0 * T / 2
    opening, shear = long_overlap(load, moment, 0.0, E, T)
    assert shear == pytest.approx((1 + 3 * k) ** 2 * load**2 / (16 * E * T), rel=1e-12)
    assert opening == pytest.approx(3 * k**2 * load**2 / (4 * E * T), rel=1e-12)
    before = load**2 / (2 * E * T) + moment**2 / (2 * D)
    behind = load**2 / (4 * E * T) + (moment - load * T / 2) ** 2 / (16 * D)
    assert opening + shear == pytest.approx(before - behind, rel=1e-12)


def test_long_overlaps_come_to_it():
    """The layer drops out with the overlap's length.

    k = 1 leaves no sideways force: exponentially. Else the shear in the middle, 3 (1 - k) P/(8 c), goes over
    the end's P w (1 + 3 k)/8, w^2 = 8 G/(E t t_a): 2 x 3 (1 - k)/(w c (1 + 3 k)) in G_II.
    """
    moment, shear_force = in_balance(1.0, 60.0)
    found = energy_release(lap(60.0), both(moment, shear_force))
    assert found == pytest.approx(long_overlap(200.0, moment, shear_force, E, T, E_LAYER), rel=1e-9)
    moment, shear_force = in_balance(0.5, 1000.0)
    opening, shear = energy_release(lap(1000.0), both(moment, shear_force))
    endless = long_overlap(200.0, moment, shear_force, E, T, E_LAYER)
    assert opening == pytest.approx(endless.opening, rel=1e-9)
    wave = math.sqrt(8 * G_LAYER / (E * T))
    assert shear / endless.shear - 1 == pytest.approx(2 * 3 * 0.5 / (wave * 500 * 2.5), rel=1e-2)


@pytest.mark.parametrize("k", [0.3, 0.5, 0.9])
def test_the_sideways_force_shears_the_layer_all_along(k):
    """With the layer's own stiffness both rates are those of the end stresses, but for exp(-w l): the other end's reach.

    Round-off of hyperbolic functions and of the curve's end: 1e-9.
    """
    moment, shear_force = in_balance(k, 60.0)
    found = energy_release(lap(60.0), both(moment, shear_force))
    assert found == pytest.approx(long_overlap(200.0, moment, shear_force, E, T, E_LAYER, G_LAYER), rel=1e-9)


def test_own_edge_loads_are_goland_and_reissners():
    """Without given edge loads: their own moment and sideways force."""
    edge = goland_reissner.curves(lap())[0].right
    assert energy_release(lap()) == pytest.approx(energy_release(lap(), both(edge.moment, edge.shear)), rel=1e-12)


def test_a_closing_end_has_no_opening_rate():
    """Turned over, in compression, the end closes: no G_I, the same G_II."""
    moment, shear_force = in_balance(0.5, 25.0)
    pulled = energy_release(lap(), both(moment, shear_force))
    pushed = energy_release(lap(force=-5000), both(-moment, -shear_force, -200.0))
    assert pushed.opening == 0
    assert pushed.shear == pytest.approx(pulled.shear, rel=1e-12)
    assert long_overlap(-200.0, -moment, 0.0, E, T).opening == 0
    assert pulled.opening > 0


def test_joints_outside_it_are_refused():
    """One sentence each, with the reason; where the edge moment is at fault it names Goland and Reissner."""
    double = DoubleLap(width=25, overlap_length=25, bondline_thickness=TA, inner=lap().geometry.lower, outer=lap().geometry.upper)
    for joint, reason in (
        (lap(upper_thickness=1.5), r"Krenk.*identical adherends"),
        (lap().replace(geometry=double), r"Krenk.*single-lap.*double-lap"),
        (lap(force=-5000), "tension"),
        (lap(moment=100, ends="pinned"), "moment"),
        (lap(temperature_change=-60), "temperature"),
    ):
        with pytest.raises(TheoryError, match=reason):
            energy_release(joint)
    unlike_ends = {"lower": EdgeLoads(200.0, 2.0, -22.4), "upper": EdgeLoads(200.0, 2.0, 77.6)}
    with pytest.raises(TheoryError, match=r"both ends.*alike"):
        energy_release(lap(), unlike_ends)
