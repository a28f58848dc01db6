"""Fitting an adhesive to test curves: curves made from known figures, point by point by a root finder, give them back."""

import math
import tomllib

import numpy as np
import pytest
from scipy.optimize import brentq

from fejoint import JointError
from fejoint.joint.file import joint_from_text, template
from fejoint.joint.fitting import fitted, shear_factor, shear_path

E, NU, START, RISE, RATE, SLOPE = 2000.0, 0.35, 20.0, 12.0, 60.0, 30.0


def hardening(plastic):
    return START + RISE * (1 - math.exp(-RATE * plastic)) + SLOPE * plastic


def curve(modulus, top, factor=1.0, path=1.0, points=80):
    """Stress at strains up to `top`: the root of modulus (strain - plastic) = factor * hardening(path * plastic)."""
    strain = np.linspace(0, top, points)

    def stress(total):
        def off(plastic):
            return modulus * (total - plastic) - factor * hardening(path * plastic)

        return modulus * total if off(0.0) <= 0 else modulus * (total - brentq(off, 0.0, total, xtol=1e-15))

    return strain, np.array([stress(e) for e in strain])


TENSION = curve(E, 0.06)
# By hand: a paraboloid's yield stress in shear is sqrt(ratio / 3) of that in tension, a cone's 2 ratio / ((ratio + 1) sqrt(3)).
FACTORS = {
    "von-mises": lambda ratio: 1 / math.sqrt(3),
    "paraboloid": lambda ratio: math.sqrt(ratio / 3),
    "cone": lambda ratio: 2 * ratio / ((ratio + 1) * math.sqrt(3)),
}


def sheared(surface="paraboloid", ratio=1.3):
    """Shear curve where plastic strain keeps the volume: equivalent strain is the engineering one over sqrt(3)."""
    return curve(E / (2 * (1 + NU)), 0.3, FACTORS[surface](ratio), 1 / math.sqrt(3))


def noisy(measured, share, seed):
    strain, stress = measured
    return strain, stress + share * stress.max() * np.random.default_rng(seed).standard_normal(len(stress))


def figures(found):
    h = found.yielding.hardening
    return (found.elastic_modulus, found.poisson_ratio, found.yielding.yield_stress, h.rise, h.rate, h.slope)


@pytest.mark.parametrize(("surface", "ratio"), [("paraboloid", 1.3), ("paraboloid", 4.0), ("cone", 1.5), ("von-mises", 1.0)])
def test_exact_curves_give_their_figures_back(surface, ratio):
    """To 1e-5: a search for least squares that ends at 1e-8 of its steps, on curves that one set of figures fits exactly."""
    found = fitted(TENSION, sheared(surface, ratio), measure="true", surface=surface)
    assert figures(found) == pytest.approx((E, NU, START, RISE, RATE, SLOPE), rel=1e-5)
    assert found.yielding.compression_ratio == pytest.approx(ratio, rel=1e-5)
    assert found.yielding.surface == surface
    assert max(found.tension.residual, found.shear.residual) < 1e-7
    assert found.notes == ()


def test_noise_moves_the_figures_little():
    """Noise of half a per cent of the largest stress on 80 points each.

    Standard errors by the linear theory of least squares, from derivatives of
    the curves above at the known figures: elastic modulus 0.4 %, shear modulus
    0.7 % (so Poisson's ratio 0.011), yield stress 0.4 %, rise 0.9 %, rate 2.1 %,
    slope 3.2 %, ratio 0.3 %. Three times that is allowed, rounded up. The curves
    themselves are met within the noise.
    """
    found = fitted(noisy(TENSION, 0.005, 1), noisy(sheared(), 0.005, 2), measure="true")
    assert found.elastic_modulus == pytest.approx(E, rel=0.012)
    assert found.poisson_ratio == pytest.approx(NU, abs=0.033)
    assert found.yielding.yield_stress == pytest.approx(START, rel=0.013)
    assert found.yielding.compression_ratio == pytest.approx(1.3, rel=0.01)
    assert found.yielding.hardening.rise == pytest.approx(RISE, rel=0.027)
    assert found.yielding.hardening.rate == pytest.approx(RATE, rel=0.064)
    assert found.yielding.hardening.slope == pytest.approx(SLOPE, rel=0.096)
    assert 0.003 < found.tension.residual < 0.0065
    assert 0.003 < found.shear.residual < 0.0065
    assert found.shear.model == pytest.approx(sheared()[1], abs=0.005 * sheared()[1].max())


def test_engineering_curves_are_turned_into_true_ones():
    """The definitions: strain = exp(e) - 1, stress = true / (1 + strain); to 1e-5 as above."""
    e, s = TENSION
    found = fitted((np.expm1(e), s / np.exp(e)), measure="engineering", poisson_ratio=NU)
    assert figures(found) == pytest.approx((E, NU, START, RISE, RATE, SLOPE), rel=1e-5)
    assert found.tension.strain == pytest.approx(e, abs=1e-15)
    wrong = fitted((np.expm1(e), s / np.exp(e)), measure="true", poisson_ratio=NU)
    assert abs(wrong.yielding.hardening.slope - SLOPE) > 0.1 * SLOPE


def test_a_tensile_curve_alone_makes_von_mises():
    found = fitted(TENSION, measure="true")
    assert found.shear is None
    assert found.yielding.surface == "von-mises"
    assert "nothing tells the compression ratio" in found.notes[0]
    with pytest.raises(JointError, match=r"^poisson_ratio is missing"):
        found.toml()
    assert found.adhesive(poisson_ratio=0.4).poisson_ratio == 0.4


def test_a_table_follows_the_tensile_curve():
    """Twelve points, straight between: the largest error of such chords is (spacing)^2 / 8 of the curvature, below 1 %."""
    found = fitted(TENSION, sheared(), measure="true", form="table")
    h = found.yielding.hardening
    assert h.form == "table"
    assert h.plastic_strain[0] == 0
    expected = [hardening(ep) for ep in h.plastic_strain]
    assert h.stress == pytest.approx(expected, rel=0.01)
    assert found.tension.residual < 0.01
    assert "goes further than the table" in found.notes[0]


def test_what_follows_the_break_is_left_out():
    e, s = TENSION
    broken = np.append(e, [0.061, 0.062, 0.07]), np.append(s, [10.0, 0.0, 0.0])
    found = fitted(broken, measure="true", poisson_ratio=NU)
    assert figures(found) == pytest.approx((E, NU, START, RISE, RATE, SLOPE), rel=1e-5)
    assert found.notes[0] == "The tension curve was followed up to strain 0.06, where its stress falls for good."


def test_the_table_of_the_file_reads_as_the_adhesive():
    found = fitted(TENSION, sheared(), measure="true")
    text = found.toml("fitted to tests of March")
    assert set(tomllib.loads(text)) == {"adhesive"}
    rest = template("single-lap").split("[adhesive]")
    text = f"{rest[0]}{text}\n[load]{rest[1].split('[load]')[1]}"
    joint = joint_from_text(text, ["analysis.adhesive_model=plastic"])
    assert joint.adhesive == found.adhesive("fitted to tests of March")
    assert joint.adhesive.source("compression_ratio") == joint.adhesive.hardening.source("rise") == "fitted to tests of March"
    strain = np.linspace(0, 0.05, 9)
    again = joint.yielding()["adhesive"]
    assert again.stress(strain) == pytest.approx(found.yielding.stress(strain), rel=1e-3)  # four digits
    assert again.compression_ratio == pytest.approx(1.3, rel=1e-3)


def test_moduli_that_no_isotropic_material_has_are_told():
    stiff = curve(3000.0, 0.3, FACTORS["paraboloid"](1.3), 1 / math.sqrt(3))
    with pytest.raises(JointError, match=r"shear modulus of 3000 MPa.*makes Poisson's ratio -0\.667.*give poisson_ratio"):
        fitted(TENSION, stiff, measure="true")
    assert fitted(TENSION, stiff, measure="true", poisson_ratio=0.35).poisson_ratio == 0.35


def test_a_ratio_at_its_limit_is_noted():
    """Shear weaker than von Mises' has no ratio of 1 or more."""
    weak = curve(E / (2 * (1 + NU)), 0.3, 0.5, 1 / math.sqrt(3))
    found = fitted(TENSION, weak, measure="true", poisson_ratio=NU)
    assert found.yielding.compression_ratio == pytest.approx(1, abs=1e-3)
    assert found.notes == ("The compression ratio stands at its limit 1: the paraboloid cannot follow both curves.",)
    assert found.shear.residual > 0.02


@pytest.mark.parametrize("surface", ["von-mises", "paraboloid", "cone"])
@pytest.mark.parametrize("ratio", [1.0, 1.3, 3.0])
@pytest.mark.parametrize("nu", [0.2, 0.5])
def test_shear_factor_and_path_follow_from_surface_and_potential(surface, ratio, nu):
    """The surfaces as written solved for pure shear; the flow as the gradient of the potential by differences."""
    lam = 1.0 if surface == "von-mises" else ratio
    nu = 0.5 if surface == "von-mises" else nu
    dilation = 1.5 * (1 - 2 * nu) / (1 + nu)

    def invariants(t):
        p = np.trace(t) / 3
        d = t - p * np.eye(3)
        return math.sqrt(1.5 * np.sum(d * d)), p

    def beyond(t, sigma):
        q, p = invariants(t)
        if surface == "paraboloid":
            return q**2 + 3 * (lam - 1) * sigma * p - lam * sigma**2
        return (lam + 1) / (2 * lam) * q + 3 * (lam - 1) / (2 * lam) * p - sigma

    def potential(t):
        q, p = invariants(t)
        return q**2 + 3 * dilation * p**2 if surface == "paraboloid" else q + dilation * p

    shear = np.zeros((3, 3))
    shear[0, 1] = shear[1, 0] = 1.0
    factor = brentq(lambda x: beyond(x * shear, 1.0), 0.01, 5.0, xtol=1e-14)
    assert shear_factor(surface, lam) == pytest.approx(factor, rel=1e-10)
    flow, h = np.zeros((3, 3)), 1e-6
    for i in range(3):
        for j in range(3):
            step = np.zeros((3, 3))
            step[i, j] += h / 2
            step[j, i] += h / 2
            flow[i, j] = (potential(shear + step) - potential(shear - step)) / (2 * h)
    equivalent = np.linalg.norm(flow) / math.sqrt(1 + 2 * nu**2)
    assert shear_path(surface, nu) == pytest.approx(equivalent / (2 * flow[0, 1]), rel=1e-8)


e, s = TENSION
BAD = [
    (((e, s[:-1]),), {}, "tension: must be two lists of one length, at least 8 points"),
    (((e[:5], s[:5]),), {}, "at least 8 points"),
    ((([1, "x"] * 5, s[:10]),), {}, "tension: must be strains and stresses"),
    (((e, np.where(e > 0.03, np.nan, s)),), {}, "tension: holds what is no finite number"),
    (((e[::-1], s),), {}, "tension: strain of point 2"),
    (((e - 0.01, s),), {}, "tension: strain of point 1 (-0.01) must not fall, nor lie below 0"),
    (((e * 100, s),), {}, "tension: strains reach 6; they are numbers, not per cent: divide by 100."),
    (((e, -s),), {}, "tension: no point lies above zero"),
    (((e, s), (e[:4], s[:4])), {}, "shear: must be two lists"),
    (((e, s),), {"measure": "nominal"}, 'measure = "nominal": must be one of engineering, true'),
    (((e, s),), {"form": "cubic"}, 'form = "cubic": must be one of saturating, table'),
    (((e, s),), {"surface": "sphere"}, 'surface = "sphere": must be'),
    (((e, s),), {"poisson_ratio": 0.6}, "poisson_ratio = 0.6: must be at least 0"),
    (((e, s),), {"plastic_poisson_ratio": 0.6}, "plastic_poisson_ratio = 0.6: must be at least 0"),
]


@pytest.mark.parametrize(("curves", "options", "says"), BAD, ids=[f"{i} {b[2][:35]}" for i, b in enumerate(BAD)])
def test_what_is_no_curve_gets_one_sentence(curves, options, says):
    with pytest.raises(JointError) as caught:
        fitted(*curves, **options)
    assert says in str(caught.value)
    assert str(caught.value).isprintable()
