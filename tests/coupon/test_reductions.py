"""Lap shear, peel, thick adherends, rounding: formulas by hand, curves whose figures are known, reference regressions.

Unless a test says otherwise numbers are compared to 1e-9: algebra in doubles.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from fejoint.coupon.curve import Pull
from fejoint.coupon.lap_shear import lap_shear
from fejoint.coupon.peel import first_peak, t_peel
from fejoint.coupon.standards import KINDS, rounded, standard, standards
from fejoint.coupon.thick_adherend import metal_compliance, thick_adherend
from fejoint.errors import JointError

EXACT = 1e-9


def test_lap_shear_by_hand():
    """8000 N on 25 x 12.5 mm are 25.6 MPa, on two such bonds 12.8 MPa; on 25 x 1.6 mm of metal 200 MPa."""
    pull = Pull("S1", np.array([0.1, 0.3, 0.5, 0.6]), np.array([0.0, 5000, 8000, 100]), time=np.array([2.0, 30, 62, 63]))
    dims = {"width": 25.0, "overlap_length": 12.5, "thickness": 1.6}
    single, double = lap_shear(pull, dims).figures, lap_shear(pull, dims, bonds=2).figures
    assert single["strength"].value == pytest.approx(25.6, rel=EXACT)
    assert double["strength"].value == pytest.approx(12.8, rel=EXACT)
    assert single["adherend_stress"].value == pytest.approx(200, rel=EXACT)
    assert (single["time"].value, single["travel"].value) == pytest.approx((60, 0.4), rel=EXACT)
    with pytest.raises(JointError, match="specimen S1: width and overlap_length missing; give them in"):
        lap_shear(pull, {})


def peel(points=2001, skip=0.0):
    """Return 100 N and a sine of 20 N over whole waves of 10 mm between 40 and 240 mm of travel, whose mean is 100 N."""
    x = np.linspace(0, 300, points)
    force = 100 + 20 * np.sin(2 * np.pi * x / 10)
    return Pull("P1", x, np.where(x < 20, 9 * x, force))


def test_peel_is_the_work_over_the_travel():
    """Mean of whole waves; trapezoids of a sine with 67 points a wave are off by (2 pi/67)^2/12 of its 20 N at most, 0.015 N."""
    found = t_peel(peel(), {"width": 25.0}, length=100, skip=20, after_peak=False)
    assert found.figures["peel_force"].value == pytest.approx(100 / 25, abs=0.015 / 25)
    assert found.plateau[:2] == (40, 240)
    assert found.figures["most"].value == pytest.approx(120 / 25, rel=1e-3)  # between points of the sine's top
    assert found.figures["least"].value == pytest.approx(80 / 25, rel=1e-3)
    # How densely a part was recorded does not count: every second point of its first half left out.
    pull = peel(8001)
    keep = (np.arange(8001) % 8 == 0) | (pull.displacement > 140)
    uneven = Pull("P1", pull.displacement[keep], pull.force[keep])
    found = t_peel(uneven, {"width": 25.0}, length=100, skip=20, after_peak=False)
    assert found.figures["peel_force"].value == pytest.approx(4, abs=0.015)


def test_peel_after_the_first_peak():
    """A rise to 180 N at 20 mm, then 100 N: the peak is where the force first falls by 5 %, and what is averaged begins there."""
    x = np.linspace(0, 300, 3001)
    force = np.where(x <= 20, 9 * x, np.maximum(180 - 40 * (x - 20), 100))
    pull = Pull("P1", x, force)
    assert pull.displacement[first_peak(pull)] == pytest.approx(20, abs=0.1)
    found = t_peel(pull, {"width": 25.0}, length=50, skip=5)
    assert found.plateau[0] == pytest.approx(30, abs=0.1)
    assert found.figures["peel_force"].value == pytest.approx(4, rel=EXACT)
    assert found.figures["first_peak"].value == pytest.approx(7.2, rel=EXACT)
    with pytest.raises(JointError, match=r"ends at 300 mm, and averaging over 200 mm of bond from 20 mm .* needs 420 mm"):
        t_peel(pull, {"width": 25.0}, length=200)
    back = Pull("P1", np.append(x, [200.0, 301.0]), np.append(force, [10.0, 10.0]))
    with pytest.raises(JointError, match="displacement turns back"):
        t_peel(back, {"width": 25.0}, length=50)


THICK = {"width": 25.0, "overlap_length": 5.0, "bondline_thickness": 0.2, "gauge_length": 2.0}


def thick(G=850.0, metal=26000.0, noise=0.0, seed=0, points=200):
    """Return a straight layer of modulus G up to 20 MPa, then flat at 20 MPa to a strain of 0.3, between points 2 mm apart."""
    strain = np.concatenate([np.linspace(0, 20 / G, points), np.linspace(20 / G, 0.3, 50)[1:]])
    stress = np.minimum(G * strain, 20.0)
    force = stress * 25 * 5
    extension = 0.2 * strain + 1.8 * stress / metal
    extension = extension + noise * np.random.default_rng(seed).standard_normal(len(strain)) * (strain > 0)
    return Pull("T1", extension, force, extension=extension)


def test_thick_adherend_returns_what_made_it():
    """Metal taken off by its modulus, or by a run on metal alone over the same points: modulus, strength, strains."""
    pull, dims = thick(), {**THICK, "adherend_shear_modulus": 26000.0}
    by_formula = thick_adherend(pull, dims, (0.1, 0.9))
    force = np.linspace(0, 5000, 30)
    run = Pull("metal", force * 1e-6, force, extension=force * 2.0 / (25 * 5 * 26000.0))
    by_run = thick_adherend(pull, THICK, (0.1, 0.9), metal=metal_compliance(run))
    for found in (by_formula, by_run):
        value = {key: figure.value for key, figure in found.figures.items()}
        assert value["modulus"] == pytest.approx(850, rel=1e-6)
        assert value["chord_modulus"] == pytest.approx(850, rel=1e-6)
        assert value["strength"] == pytest.approx(20, rel=EXACT)
        assert value["strain_at_break"] == pytest.approx(0.3, rel=EXACT)
    by_strain = thick_adherend(pull, dims, (0.005, 0.02), by_strain=True)
    assert by_strain.figures["modulus"].value == pytest.approx(850, rel=1e-6)
    # Nothing taken off: extension per thickness is gamma + tau (g - t)/(t G_metal), so 1/G rises by 9/26000.
    bare = thick_adherend(pull, {k: v for k, v in THICK.items() if k != "gauge_length"}, (0.1, 0.9))
    assert bare.figures["modulus"].value == pytest.approx(1 / (1 / 850 + 9 / 26000), rel=1e-6)
    assert "was not taken off" in bare.notes[0]


def test_modulus_and_interval_are_those_of_a_reference_regression():
    """scipy.stats.linregress of strain over stress within the window, turned over."""
    pull = thick(noise=1e-4)
    dims = {**THICK, "adherend_shear_modulus": 26000.0}
    found = thick_adherend(pull, dims, (0.2, 0.8)).figures["modulus"]
    stress = pull.force / 125
    strain = (pull.extension - pull.extension[0] - 1.8 * stress / 26000) / 0.2
    inside = (stress / 20 >= 0.2) & (stress / 20 <= 0.8)
    theirs = stats.linregress(stress[inside], strain[inside])
    t = stats.t.ppf(0.975, inside.sum() - 2)
    assert found.value == pytest.approx(1 / theirs.slope, rel=EXACT)
    assert found.low == pytest.approx(1 / (theirs.slope + t * theirs.stderr), rel=1e-7)
    assert found.high == pytest.approx(1 / (theirs.slope - t * theirs.stderr), rel=1e-7)


def test_the_modulus_interval_covers():
    """500 invented specimens at 90 %: the binomial's standard deviation is 1.3 %, three of them are allowed."""
    dims = {**THICK, "adherend_shear_modulus": 26000.0}
    hits = 0
    for seed in range(500):
        figure = thick_adherend(thick(noise=1e-4, seed=seed, points=60), dims, (0.2, 0.8), confidence=0.90).figures["modulus"]
        hits += figure.low <= 850 <= figure.high
    assert 0.86 <= hits / 500 <= 0.94


@pytest.mark.parametrize(
    ("change", "window", "said"),
    [
        ({"gauge_length": 0.1}, (0.1, 0.9), "gauge_length = 0.1 mm must be larger than bondline_thickness, 0.2 mm"),
        ({"gauge_length": None}, (0.1, 0.9), "gauge_length missing"),
        ({"adherend_shear_modulus": 300.0}, (0.1, 0.9), "strain does not surely rise between 10 % and 90 % of strength"),
        ({}, (0.1, 0.101), "between 10 % and 10.1 % of strength: 1, and the line of the modulus needs 3"),
    ],
)
def test_bad_thick_adherends(change, window, said):
    with pytest.raises(JointError, match=said):
        thick_adherend(thick(), {**THICK, "adherend_shear_modulus": 26000.0, **change}, window)
    with pytest.raises(JointError, match="needs a column of an extensometer"):
        thick_adherend(Pull("T", np.arange(4.0), np.arange(4.0)), THICK, (0.1, 0.9))
    with pytest.raises(JointError, match="run on metal alone needs a column of the extensometer"):
        metal_compliance(Pull("metal", np.arange(4.0), np.arange(4.0)))


# ---- standards -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "digits", "said"),
    [
        # Half to even (ASTM E29's rule, from memory), on the digits as written: 12.25 is an exact half, 12.35 as well.
        (12.25, 3, "12.2"),
        (12.35, 3, "12.4"),
        (12.251, 3, "12.3"),
        (9.996, 3, "10.0"),
        (2345.0, 3, "2340"),
        (2355.0, 3, "2360"),
        (0.00123456, 3, "0.00123"),
        (-12.25, 3, "-12.2"),
        (0.0, 3, "0"),
        (99.95, 3, "100"),
    ],
)
def test_rounding(value, digits, said):
    assert rounded(value, digits) == said


def test_standards_are_marked():
    """Every figure of every standard says where it comes from, by one of a few marks; each kind of test has its words."""
    marks = ("from memory", "test-house page", "contents page")
    for known in standards().values():
        assert known.kind in KINDS
        figures = [*known.dimensions.values(), *(one for one in (known.speed, known.fewest) if one is not None)]
        assert all(any(mark in one.mark for mark in marks) for one in figures), known.name
        assert any(mark in known.formula_mark for mark in marks)
        assert "from memory" in known.rounding_mark and "our choice" in known.rounding_mark
    needed = "ASTM D1002, ASTM D3528, ASTM D1876, ASTM D5656, ISO 4587, ISO 11339, ISO 11003-2, ISO 25217"
    assert set(standards()) == set(needed.split(", "))


NAMES = {"astm d1002": "ASTM D1002", "ASTM D1002-10": "ASTM D1002", "ISO 11003-2:2019": "ISO 11003-2", "iso4587:2003": "ISO 4587"}


@pytest.mark.parametrize(("given", "name"), NAMES.items())
def test_standards_by_name(given, name):
    assert standard(given).name == name


def test_an_unknown_standard():
    with pytest.raises(JointError, match=r'coupons\.standard = "ISO 9999": is not known here'):
        standard("ISO 9999")


def test_a_window_that_the_curve_does_not_fill_is_refused_with_what_to_do():
    """A strain that is never reached, and a curve of few points."""
    extension = np.linspace(0, 0.05, 100)
    force = 3750 * np.tanh(extension / 0.0075)
    size = {"width": 25.0, "overlap_length": 5.0, "bondline_thickness": 0.2}
    whole = Pull("T1", extension, force, extension=extension)
    with pytest.raises(JointError, match=r"its strain reaches 0.25 and no 0.9"):
        thick_adherend(whole, size, (0.1, 0.9), by_strain=True)
    few = Pull("T1", extension[::25], force[::25], extension=extension[::25])
    with pytest.raises(JointError, match=r"points between 10 % and 40 % of strength: 0, .*record more often"):
        thick_adherend(few, size, (0.1, 0.4))
