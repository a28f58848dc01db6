"""Contact angles and surface energies against Young-Dupre's identities, Owens & Wendt's table and minimisers of scipy."""

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit, nnls

from fejoint.errors import JointError
from fejoint.process.energies import (
    Energies,
    Reading,
    angle_band,
    contact_angle,
    spreading,
    surface_energy,
    wetting_envelope,
    work_of_adhesion,
    work_of_angle,
)
from fejoint.process.liquids import liquids, solids

WATER, DIIODOMETHANE, PARTLY = (liquids()[name] for name in ("water", "diiodomethane", "diiodomethane, partly polar"))
# Contact angles of water and diiodomethane from the table of Owens & Wendt 1969 (from memory), whole degrees.
OWENS_WENDT = {"PTFE": (108, 77), "polystyrene": (91, 35), "PVC": (87, 36), "PMMA": (80, 41)}


@pytest.mark.parametrize(
    ("water", "diiodomethane", "dispersive", "polar"), [(90, 45, 37.0105, 1.25342), (70, 40, 39.6102, 7.42847)]
)
def test_worked_pairs(water, diiodomethane, dispersive, polar):
    """Two equations with two unknowns, solved by hand to six digits: half a unit of the last one."""
    found = surface_energy([Reading(WATER, water), Reading(DIIODOMETHANE, diiodomethane)])
    assert found.dispersive == pytest.approx(dispersive, abs=5e-5)
    assert found.polar == pytest.approx(polar, abs=5e-6)
    assert found.total == pytest.approx(dispersive + polar, abs=6e-5)
    assert found.freedom == 0 and found.scatter == 0 and not found.clipped
    assert np.abs(found.residuals).max() < 1e-9  # they pass through both readings


@pytest.mark.parametrize("solid", OWENS_WENDT)
def test_polymers_of_owens_and_wendt(solid):
    """Their parts make their angles again: angles are whole degrees and parts tenths, so 1.5 degrees."""
    for liquid, angle in zip((WATER, PARTLY), OWENS_WENDT[solid], strict=True):
        assert contact_angle(solids()[solid], liquid) == pytest.approx(angle, abs=1.5)


def test_young_dupre_identities():
    assert work_of_angle(72.8, 90) == pytest.approx(72.8, rel=1e-14)  # Wa = gl
    assert work_of_angle(72.8, 0) == pytest.approx(2 * 72.8, rel=1e-14)  # as much as cohesion
    assert work_of_angle(72.8, 180) == pytest.approx(0.0, abs=1e-12)
    for angle in (0.0, 20.0, 75.0, 130.0):  # S = gl (cos theta - 1)
        work = work_of_angle(44.0, angle)
        assert spreading(work, 44.0) == pytest.approx(44.0 * (math.cos(math.radians(angle)) - 1), abs=1e-12)


def test_a_material_on_itself_coheres():
    assert work_of_adhesion(WATER, WATER) == pytest.approx(2 * WATER.total, rel=1e-14)
    assert contact_angle(WATER, WATER) == pytest.approx(0.0, abs=1e-5)


def test_the_angle_has_the_work_of_the_energies():
    """Young-Dupre and Owens & Wendt say one thing of one drop."""
    for solid in solids().values():
        work = 2 * (math.sqrt(solid.dispersive * 21.8) + math.sqrt(solid.polar * 51.0))
        assert work_of_adhesion(solid, WATER) == pytest.approx(work, rel=1e-12)
        assert work_of_angle(72.8, contact_angle(solid, WATER)) == pytest.approx(work, rel=1e-12)


def readings(angles, uncertainty=2.0):
    probes = [liquids()[name] for name in ("water", "diiodomethane", "formamide", "ethylene glycol")]
    return [Reading(probes[i % 4], angle, uncertainty) for i, angle in enumerate(angles)]


def test_more_readings_than_needed_against_a_minimiser_of_scipy():
    """Weights, residuals and widened errors: scipy's curve_fit on the same linear form, to its own tolerance, 1e-6."""
    given = readings([71, 42, 55, 47, 68, 45, 50, 44])
    gamma = np.array([r.liquid.total for r in given])
    d, p = (np.sqrt([getattr(r.liquid, key) for r in given]) for key in ("dispersive", "polar"))
    theta, s = np.radians([r.angle for r in given]), math.radians(2.0)
    sigma = gamma / 2 * np.sqrt(np.sin(theta) ** 2 * s**2 + np.cos(theta) ** 2 * s**4 / 2)
    y = gamma * (1 + np.cos(theta)) / 2
    x, _ = curve_fit(lambda _, a, b: d * a + p * b, np.arange(8), y, p0=[5, 3], sigma=sigma, absolute_sigma=True)
    _, widened = curve_fit(lambda _, a, b: d * a + p * b, np.arange(8), y, p0=[5, 3], sigma=sigma)
    found = surface_energy(given)
    assert [found.dispersive, found.polar] == pytest.approx(x**2, rel=1e-6)
    assert found.scatter > 1 and found.freedom == 6
    assert found.root_covariance == pytest.approx(widened, rel=1e-5)
    made = [contact_angle(found.energies, r.liquid) for r in given]
    assert found.residuals == pytest.approx(np.degrees(theta) - made, abs=1e-9)


def test_errors_are_those_of_readings_drawn_at_random():
    """20,000 draws know a standard deviation within 0.5 %; the curvature of the cosine at 2 degrees makes some 2 %."""
    found = surface_energy([Reading(WATER, 70), Reading(DIIODOMETHANE, 40)])
    rng = np.random.default_rng(7)
    theta = np.radians(np.array([70.0, 40.0]) + rng.normal(0, 2.0, (20_000, 2)))
    y = np.array([72.8, 50.8]) * (1 + np.cos(theta)) / 2
    x = np.linalg.solve(np.sqrt([[21.8, 51.0], [50.8, 0.0]]), y.T)
    drawn = x**2
    assert found.errors[:2] == pytest.approx(drawn.std(axis=1), rel=0.03)
    assert found.errors[2] == pytest.approx(drawn.sum(axis=0).std(), rel=0.03)
    assert found.covariance[0, 1] == pytest.approx(np.cov(drawn)[0, 1], rel=0.06)


def test_agreeing_readings_do_not_narrow_the_errors():
    solid = Energies(dispersive=35.0, polar=8.0)
    exact = [Reading(liquid, contact_angle(solid, liquid)) for liquid in (WATER, DIIODOMETHANE, PARTLY, WATER)]
    found = surface_energy(exact)
    assert (found.dispersive, found.polar) == pytest.approx((35.0, 8.0), rel=1e-9)
    assert found.scatter < 1e-6 and min(found.errors) > 0.1


def test_a_negative_root_is_clipped_as_by_nonnegative_least_squares():
    """Water at 115 and diiodomethane at 40 degrees have no polar part; scipy's nnls on the same rows, rounding apart."""
    given = [Reading(WATER, 115), Reading(DIIODOMETHANE, 40)]
    theta, s = np.radians([115, 40]), math.radians(2.0)
    gamma = np.array([72.8, 50.8])
    sigma = gamma / 2 * np.sqrt(np.sin(theta) ** 2 * s**2 + np.cos(theta) ** 2 * s**4 / 2)
    a = np.sqrt([[21.8, 51.0], [50.8, 0.0]])
    x, _ = nnls(a / sigma[:, None], gamma * (1 + np.cos(theta)) / 2 / sigma)
    found = surface_energy(given)
    assert found.clipped == "polar" and found.polar == x[1] == 0
    assert found.dispersive == pytest.approx(x[0] ** 2, rel=1e-10)
    assert found.errors[1] > 0  # a part that is 0 is known no better for it


def test_the_band_of_an_angle_is_that_of_the_readings():
    """Along the error of one draw the work is linear: 20,000 draws, as above."""
    liquid = Energies(dispersive=30.0, polar=25.0)
    found = surface_energy([Reading(WATER, 80), Reading(DIIODOMETHANE, 50)])
    rng = np.random.default_rng(3)
    roots = rng.multivariate_normal(found.energies.roots, found.root_covariance, 20_000)
    cosine = 2 * roots @ liquid.roots / liquid.total - 1
    low, high = angle_band(found, liquid)
    assert math.cos(math.radians(low)) - math.cos(math.radians(high)) == pytest.approx(2 * cosine.std(), rel=0.03)
    assert low < contact_angle(found.energies, liquid) < high


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0, 120.0])
def test_liquids_on_the_envelope_make_its_angle(angle):
    solid = solids()["PMMA"]
    d, p = wetting_envelope(solid, angle, np.linspace(0, 90, 19))
    made = [contact_angle(solid, Energies(dispersive=float(a), polar=float(b))) for a, b in zip(d, p, strict=True)]
    assert made == pytest.approx([angle] * 19, abs=1e-5)  # at 0 an arccosine of rounding
    if angle == 0:  # the surface itself, as a liquid, just spreads: it lies on the line
        place = math.degrees(math.atan2(solid.polar, solid.dispersive))
        assert np.ravel(wetting_envelope(solid, 0.0, [place])) == pytest.approx([solid.dispersive, solid.polar], rel=1e-12)


def test_liquids_that_cannot_be_told_apart_are_refused():
    glycerol, glycol = liquids()["glycerol"], liquids()["ethylene glycol"]
    with pytest.raises(JointError, match=r"cannot be told apart.*4\.2 degrees apart"):
        surface_energy([Reading(glycerol, 60), Reading(glycol, 50)])
    with pytest.raises(JointError, match="one liquid alone"):
        surface_energy([Reading(WATER, 60), Reading(WATER, 62)])
    with pytest.raises(JointError, match="one liquid alone"):
        surface_energy([])
    twice = Energies(dispersive=2 * 21.8, polar=2 * 51.0)
    with pytest.raises(JointError, match="cannot be told apart"):
        surface_energy([Reading(WATER, 60), Reading(twice, 80)])


@pytest.mark.parametrize("angle", [0.0, -5.0, 180.5, math.nan])
def test_angles_that_are_none_are_refused(angle):
    with pytest.raises(JointError, match="angle"):
        Reading(WATER, angle)
    if angle != 0:
        with pytest.raises(JointError, match="angle"):
            work_of_angle(72.8, angle)


def test_every_shipped_figure_says_where_it_comes_from():
    for table in (liquids(), solids()):
        assert all(e.source.startswith(("read ", "from memory: ", "typical, no source")) for e in table.values())
    assert WATER.total == pytest.approx(72.8) and PARTLY.total == DIIODOMETHANE.total == pytest.approx(50.8)
