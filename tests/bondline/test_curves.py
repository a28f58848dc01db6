"""Curves along a bondline: piecewise quadratics are evaluated, searched, averaged and cut exactly."""

from __future__ import annotations

import numpy as np
import pytest

from fejoint.bondline.curves import Bondline, Curve, EdgeLoads, foremost

NODES = np.array([0.0, 1.0, 2.5, 3.0, 7.0])  # ends of the pieces, mm


def places() -> np.ndarray:
    x = np.empty(2 * len(NODES) - 1)
    x[::2], x[1::2] = NODES, (NODES[1:] + NODES[:-1]) / 2
    return x


def curve(shear=None, peel=None, axial=None) -> Curve:
    """Return a curve whose stresses are given functions of x; zero where none is given."""
    x = places()
    return Curve(x, *(np.zeros_like(x) if f is None else f(x) for f in (shear, peel, axial)))


def parabola(x):
    """Highest at x = 2.1 (9.0), lowest at x = 7."""
    return 9.0 - 2.0 * (x - 2.1) ** 2


def test_at_is_exact_on_a_quadratic():
    """Between the points, at them and at both ends the parabola is met to round-off."""
    x = np.concatenate([np.linspace(0, 7, 101), places()])
    assert curve(peel=parabola).at(x, "peel") == pytest.approx(parabola(x), rel=1e-12, abs=1e-12)


def test_at_takes_a_single_place_and_shear_by_default():
    """One number in, an array of one out; the stress is shear unless named."""
    assert curve(shear=lambda x: x**2).at(2.2) == pytest.approx([4.84], rel=1e-12)


def test_at_uses_the_piece_that_the_place_is_in():
    """A curve with a kink at x = 2.5 keeps it: its left and right parts do not mix."""
    kinked = curve(shear=lambda x: np.where(x <= 2.5, x**2, 6.25 - 4 * (x - 2.5)))
    x = np.array([1.2, 2.4999, 2.5, 2.7, 6.0])
    assert kinked.at(x) == pytest.approx(np.where(x <= 2.5, x**2, 6.25 - 4 * (x - 2.5)), rel=1e-12)


def test_uneven_middles_are_met_too():
    """The middle point of a piece need not be half way: three places define the parabola."""
    x = np.array([0.0, 0.3, 2.0])
    zero = np.zeros(3)
    one = Curve(x, x**2 - x, zero, zero)
    assert one.at(np.array([1.0, 1.5])) == pytest.approx([0.0, 0.75], abs=1e-12)


def test_extremes_between_points():
    """The vertex of a piece is found between its points, a one-sided extreme at the end of the curve."""
    high, low = curve(shear=parabola).highest("shear"), curve(shear=parabola).lowest("shear")
    assert (high.value, high.x) == (pytest.approx(9.0, rel=1e-12), pytest.approx(2.1, rel=1e-12))
    assert (low.value, low.x) == (pytest.approx(parabola(7.0), rel=1e-12), pytest.approx(7.0))
    valley = curve(peel=lambda x: -parabola(x)).lowest("peel")
    assert (valley.value, valley.x) == (pytest.approx(-9.0, rel=1e-12), pytest.approx(2.1, rel=1e-12))


def test_extremes_of_a_straight_line():
    """Without bend there is no vertex: the ends are the extremes."""
    line = curve(shear=lambda x: 3.0 - x)
    assert (line.highest("shear").value, line.highest("shear").x) == (pytest.approx(3.0), pytest.approx(0.0))
    assert (line.lowest("shear").value, line.lowest("shear").x) == (pytest.approx(-4.0), pytest.approx(7.0))


def test_extreme_of_a_constant():
    """A constant is its own extreme, somewhere on the curve."""
    flat = curve(shear=lambda x: np.full_like(x, 2.0)).highest("shear")
    assert flat.value == 2.0
    assert 0.0 <= flat.x <= 7.0


def test_largest_keeps_its_sign():
    """The largest magnitude wins, negative as it is."""
    assert curve(shear=parabola).largest("shear").value == pytest.approx(parabola(7.0))
    assert curve(shear=lambda x: -parabola(x)).largest("shear").value == pytest.approx(-parabola(7.0))


def test_largest_of_equal_extremes_is_the_positive_one():
    """Extremes that differ by round-off alone (an antisymmetric joint) give the positive one, whichever is larger."""
    for tilt in (1.0, -1.0):
        odd = curve(shear=lambda x, tilt=tilt: (x - 3.5) * (1 + tilt * 1e-12 * (x > 3.5)))
        assert odd.largest("shear").value == pytest.approx(3.5, rel=1e-9)


def test_mean_is_exact_on_quadratics():
    """Piecewise quadratics are averaged exactly, piece by piece by length: integral of parabola over 7 mm."""
    exact = 9.0 - 2.0 / 3 * ((7 - 2.1) ** 3 + 2.1**3) / 7
    assert curve(peel=parabola).mean("peel") == pytest.approx(exact, rel=1e-12)


def test_part_is_the_same_curve_between_two_places():
    """A part has the places asked for as ends, keeps the pieces' ends inside, and equals the whole everywhere."""
    whole = curve(parabola, lambda x: np.where(x <= 2.5, x, 5 - x), lambda x: x**2)
    part = whole.part(0.7, 6.2)
    assert part.x[::2] == pytest.approx([0.7, 1.0, 2.5, 3.0, 6.2])
    x = np.linspace(0.7, 6.2, 57)
    for name in ("shear", "peel", "axial"):
        assert part.at(x, name) == pytest.approx(whole.at(x, name), rel=1e-12, abs=1e-12)


def test_part_to_the_ends_is_the_whole():
    """Cut at its own ends a curve loses nothing and gains no empty pieces."""
    part = curve(parabola).part(0.0, 7.0)
    assert part.x == pytest.approx(places())
    assert part.mean("shear") == pytest.approx(curve(parabola).mean("shear"), rel=1e-12)


def test_a_stress_that_a_theory_lacks():
    """A curve of NaN has NaN for extremes and mean, without a warning; the other stresses are not touched."""
    lacking = curve(parabola, lambda x: np.full_like(x, np.nan), lambda x: np.full_like(x, np.nan))
    for peak in (lacking.highest("peel"), lacking.lowest("peel"), lacking.largest("axial")):
        assert np.isnan(peak.value)
        assert np.isnan(peak.x)
    assert np.isnan(lacking.mean("peel"))
    assert np.isnan(lacking.at(1.0, "axial")).all()
    assert lacking.highest("shear").value == pytest.approx(9.0)
    assert np.isnan(lacking.part(1.0, 2.0).peel).all()


def test_bondline_reads_its_mid_line():
    """Peaks, places and levels of a bondline are those of its mid-line; levels lists only what there is."""
    middle = curve(parabola, lambda x: x - 3.0)
    bondline = Bondline(number=1, middle=middle)
    assert bondline.x is middle.x
    assert bondline.peak_shear.value == pytest.approx(parabola(7.0))
    assert (bondline.peak_peel.value, bondline.least_peel.value) == (pytest.approx(4.0), pytest.approx(-3.0))
    assert list(bondline.levels()) == ["middle"]
    assert list(Bondline(number=1, middle=middle, lower=middle, upper=middle).levels()) == ["middle", "lower", "upper"]


def test_surface_stress_of_an_edge():
    """Axial force over thickness plus 6 M / t^2, both in magnitude: 100/2 + 6 50/4 MPa."""
    assert EdgeLoads(100.0, 3.0, -50.0).surface_stress(2.0) == pytest.approx(125.0)
    assert EdgeLoads(-100.0, 3.0, -50.0).surface_stress(2.0) == pytest.approx(125.0)


def test_a_part_that_ends_at_a_point_but_for_round_off_has_no_sliver():
    whole = curve(shear=parabola)
    part = whole.part(1.0 - 1e-12, 3.0 + 1e-12)
    assert list(part.x[::2]) == [1.0 - 1e-12, 2.5, 3.0 + 1e-12]
    assert part.mean("shear") == pytest.approx(whole.part(1.0, 3.0).mean("shear"), rel=1e-9)


def test_the_foremost_is_the_first_of_equals_and_never_what_is_no_number():
    assert foremost([1.0, 2.0, 2.0 * (1 + 1e-9), 0.5]) == 1
    assert foremost([float("nan"), -3.0, -2.0]) == 2
    assert foremost([float("nan")]) == 0
