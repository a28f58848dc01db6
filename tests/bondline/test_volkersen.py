"""Volkersen's shear lag with thermal mismatch, against its differential equation, its limits and worked cases.

O. Volkersen, Luftfahrtforschung 15, 1938, 41-47; thermal term W. T. Chen &
C. W. Nelson, IBM J. Res. Dev. 23(2), 1979, 179-188 (both from memory). The
worked cases were derived for this project and confirmed by numerical solution
of the differential equation; they prove the algebra, not the citation.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, Orthotropic, SingleLap, TheoryError
from fejoint.bondline.closed_form import volkersen
from fejoint.bondline.closed_form.volkersen import shear_stress

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)
STEEL = Isotropic(elastic_modulus=210_000, poisson_ratio=0.3, expansion=12e-6)

# line load, overlap, E1 t1, E2 t2, shear modulus, bondline, free strain of 2 less that of 1
CASES = {
    "balanced": (200, 25, 140e3, 140e3, 1000, 0.2, 0.0),
    "unlike": (200, 25, 210e3, 105e3, 1000, 0.2, 0.0),
    "unlike, compressed, soft": (-150, 40, 70e3, 300e3, 150, 0.5, 0.0),
    "thermal alone": (0, 25, 140e3, 210e3, 1000, 0.2, -1.1e-3),
    "thermal and load": (120, 12.5, 112e3, 210e3, 560, 0.1, 8e-4),
}


def raw(x, case):
    """Return the closed form for one of the cases."""
    load, length, s1, s2, g, ta, mismatch = case
    return shear_stress(np.asarray(x, dtype=float), load, length, (s1, s2), g, ta, mismatch)


def numerically(case):
    """Return the shear stress from u1' = T1/S1, u2' = (P - T1)/S2 + mismatch, T1' = -tau, tau = G (u2 - u1)/ta.

    Adherend 1 carries P at the left and nothing at the right.
    """
    load, length, s1, s2, g, ta, mismatch = case
    scale = max(abs(load), abs(mismatch) / (1 / s1 + 1 / s2))  # of the forces, so that all rows are of one size

    def slopes(x, y):
        u1, u2, t1 = y
        return np.vstack([t1 / s1, (load / scale - t1) / s2 + mismatch / scale, g / ta * (u1 - u2)])

    def ends(a, b):
        return np.array([a[0], a[2] - load / scale, b[2]])

    x = np.linspace(-length / 2, length / 2, 401)
    found = solve_bvp(slopes, ends, x, np.zeros((3, x.size)), tol=1e-9, max_nodes=20_000)
    assert found.success
    return lambda z: scale * g / ta * (found.sol(z)[1] - found.sol(z)[0])


def wave(case) -> float:
    """Return w of tau'' = w^2 tau."""
    _, _, s1, s2, g, ta, _ = case
    return math.sqrt(g / ta * (1 / s1 + 1 / s2))


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_solves_the_differential_equation(case):
    """Collocation to a residual of 1e-9 reproduces the closed form to 1e-7 of its peak."""
    x = np.linspace(-case[1] / 2, case[1] / 2, 201)
    exact = raw(x, case)
    assert np.abs(exact - numerically(case)(x)).max() <= 1e-7 * np.abs(exact).max()


def test_worked_case_balanced():
    """V1, derived for this project: aluminium 70 GPa, 2 mm on 2 mm, l 25, G 1000, t_a 0.2, 200 N/mm; seven digits given."""
    end, middle, other = raw([12.5, 0.0, -12.5], CASES["balanced"])
    assert end == pytest.approx(26.79323, rel=5e-7)
    assert other == pytest.approx(end, rel=1e-12)
    assert middle == pytest.approx(1.895112, rel=5e-7)
    assert end / (200 / 25) == pytest.approx(3.349154, rel=5e-7)
    # The same as root D coth root D, D = G l^2 / (2 E t t_a): N. A. de Bruyne, Aircraft Eng. 16, 1944 (from memory).
    d = 1000 * 25**2 / (2 * 140e3 * 0.2)
    assert end / 8 == pytest.approx(math.sqrt(d) / math.tanh(math.sqrt(d)), rel=1e-12)


def test_worked_case_unlike_thickness():
    """V2, derived for this project: as V1 with 3 mm (pulled at the left) on 1.5 mm; eight digits given."""
    left, right = raw([-12.5, 12.5], CASES["unlike"])
    assert right == pytest.approx(35.679625, rel=5e-8)
    assert left == pytest.approx(17.906834, rel=5e-8)


def test_worked_case_cooled():
    """V3, derived for this project: aluminium 2 mm on steel 1 mm, 100 K colder, no load: antisymmetric, zero mean."""
    case = (0.0, 25, 140e3, 210e3, 1000, 0.2, (12e-6 - 23e-6) * -100)
    right, left = raw([12.5, -12.5], case)
    assert right == pytest.approx(22.442332, rel=5e-8)
    assert left == pytest.approx(-right, rel=1e-12)
    x, weight = np.polynomial.legendre.leggauss(60)
    assert abs(weight @ raw(12.5 * x, case)) < 1e-12 * right


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_transfers_the_load(case):
    """The integral of the shear stress is the load; Gauss with 60 points integrates these curves to round-off."""
    x, weight = np.polynomial.legendre.leggauss(60)
    length = case[1]
    transferred = length / 2 * (weight @ raw(length / 2 * x, case))
    scale = length * np.abs(raw(length / 2 * x, case)).max()
    assert abs(transferred - case[0]) <= 1e-13 * scale


def test_peaks_where_the_softer_adherend_is_loaded():
    """The softer adherend stretches most where it is loaded, and there the layer shears most; swapped, it swaps ends."""
    load, length, s1, s2, *rest = CASES["unlike"]
    assert s2 < s1  # adherend 2 is loaded at the right
    left, right = raw([-12.5, 12.5], CASES["unlike"])
    assert right > left
    assert raw([-12.5, 12.5], (load, length, s2, s1, *rest)) == pytest.approx([right, left], rel=1e-12)


def test_short_overlap_shears_evenly():
    """For w l -> 0 the stress is P / l everywhere; the next term is of order (w l)^2."""
    case = (200, 0.05, 140e3, 140e3, 1000, 0.2, 0.0)
    wl = wave(case) * case[1]
    assert raw([-0.025, 0.0, 0.025], case) == pytest.approx([4000] * 3, rel=wl**2)


def test_unlike_short_overlap_shears_evenly_too():
    """With unlike adherends the first term beyond P / l is odd and of order w l (s1 - s2)/(s1 + s2)."""
    case = (200, 0.05, 210e3, 105e3, 1000, 0.2, 0.0)
    wl = wave(case) * case[1]
    left, middle, right = raw([-0.025, 0.0, 0.025], case)
    assert middle == pytest.approx(4000, rel=wl**2)
    assert (right + left) / 2 == pytest.approx(4000, rel=wl**2)
    assert (right - left) / (right + left) == pytest.approx(wl**2 / 4 / 3, rel=2 * wl**2)


def test_long_balanced_overlap_peaks_at_half_p_w():
    """For w l -> infinity the end stress is P w / 2, to exp(-w l)."""
    case = (200, 200, 140e3, 140e3, 1000, 0.2, 0.0)
    w = wave(case)
    assert raw([100.0], case) == pytest.approx([200 * w / 2], rel=3 * math.exp(-w * 200))


@pytest.mark.parametrize("mismatch", [0.0, 1e-3])
def test_very_long_overlap_does_not_overflow(mismatch):
    """At w l = 2000 the hyperbolic functions alone would overflow; the ends follow the endless overlap exactly.

    tau = P w s1/(s1 + s2) + G mismatch / (t_a w) at the right, P w s2/(s1 + s2)
    less the same at the left, zero between.
    """
    s1, s2 = 210e3, 105e3
    w = math.sqrt(1000 / 0.2 * (1 / s1 + 1 / s2))
    case = (200, 2000 / w, s1, s2, 1000, 0.2, mismatch)
    with np.errstate(over="raise", invalid="raise"):
        left, middle, right = raw([-case[1] / 2, 0.0, case[1] / 2], case)
    thermal = 1000 / 0.2 * mismatch / w
    assert right == pytest.approx(200 * w * s1 / (s1 + s2) + thermal, rel=1e-12)
    assert left == pytest.approx(200 * w * s2 / (s1 + s2) - thermal, rel=1e-12)
    assert abs(middle) < 1e-100


# ---- a joint in, curves out ------------------------------------------------


def lap(out_of_plane="automatic", **load) -> Joint:
    return Joint(
        geometry=SingleLap(
            width=25,
            overlap_length=20,
            bondline_thickness=0.25,
            lower=Adherend(material=ALUMINIUM, thickness=2.0, free_length=40),
            upper=Adherend(material=STEEL, thickness=1.0, free_length=60),
        ),
        adhesive=Adhesive(elastic_modulus=2800, shear_modulus=1000, expansion=60e-6),
        load=Load(**{"force": 5000, **load}),
        analysis=Analysis(out_of_plane=out_of_plane),
    )


STRETCH = (70_000 / (1 - 0.33**2) * 2.0, 210_000 / (1 - 0.3**2) * 1.0)


def test_curves_of_a_joint():
    """Lower is adherend 1 (pulled at x = 0), upper 2, with E/(1 - nu^2) for the held width; x counts from the left end."""
    joint = lap()
    (bondline,) = volkersen.curves(joint)
    expected = shear_stress(bondline.x - 10, 200, 20, STRETCH, 1000, 0.25)
    assert bondline.shear == pytest.approx(expected, rel=1e-12)
    assert (bondline.x[0], bondline.x[-1]) == (0.0, 20.0)
    assert np.isnan(bondline.peel).all()
    assert np.isnan(bondline.middle.axial).all()
    assert "Volkersen" in bondline.measure
    # 400 pieces, an eightieth of a decay length each at most, of piecewise quadratics: the mean is exact to 1e-9.
    assert bondline.middle.mean("shear") == pytest.approx(joint.mean_shear, rel=1e-9)
    assert bondline.peak_shear.value == pytest.approx(np.abs(expected).max(), rel=1e-6)


def test_temperature_with_the_width_held():
    """A held width pushes along x: the free strain is (1 + nu) alpha times the change, as the stiffness is E/(1 - nu^2)."""
    (bondline,) = volkersen.curves(lap("plane-strain", temperature_change=-60))
    mismatch = -60 * (1.3 * 12e-6 - 1.33 * 23e-6)
    assert bondline.shear == pytest.approx(shear_stress(bondline.x - 10, 200, 20, STRETCH, 1000, 0.25, mismatch), rel=1e-12)


def test_temperature_with_one_common_width_strain():
    """A common width strain e takes nu e off: nothing in the mismatch where the ratios are alike, a little where not.

    e itself lies between the adherends' free strains; its estimate is left to
    the theory, for it moves the mismatch by 2 % at most here.
    """
    shear = volkersen.curves(lap(temperature_change=-60))[0].shear
    x = volkersen.curves(lap())[0].x - 10
    low, high = (
        shear_stress(x, 200, 20, STRETCH, 1000, 0.25, -60 * (1.3 * 12e-6 - 1.33 * 23e-6 - (0.3 - 0.33) * expansion))
        for expansion in (12e-6, 23e-6)
    )
    assert (shear >= np.minimum(low, high) - 1e-9).all()
    assert (shear <= np.maximum(low, high) + 1e-9).all()
    assert np.abs(high - low).max() < 0.03 * np.abs(shear).max()


def test_compression_turns_the_sign():
    """Without temperature the theory is proportional to the load."""
    (pulled,), (pushed,) = volkersen.curves(lap()), volkersen.curves(lap(force=-5000))
    assert pushed.shear == pytest.approx(-pulled.shear, rel=1e-12)
    assert pushed.peak_shear.value < 0


def test_orthotropic_adherend_counts_along_the_joint():
    """A ply enters with its stiffness along x, its width held: E_x / (1 - nu_xz nu_zx); nu_zx is nu_xz E_z / E_x."""
    ply = Orthotropic(
        elastic_modulus_x=140_000,
        elastic_modulus_y=9000,
        elastic_modulus_z=10_000,
        poisson_ratio_xy=0.3,
        poisson_ratio_xz=0.25,
        poisson_ratio_yz=0.4,
        shear_modulus_xy=5000,
    )
    plain = lap()
    joint = plain.replace(geometry=plain.geometry.replace(upper=Adherend(material=ply, thickness=1.5, free_length=60)))
    (bondline,) = volkersen.curves(joint)
    stretch = (STRETCH[0], 140_000 / (1 - 0.25 * 0.25 * 10_000 / 140_000) * 1.5)
    assert bondline.shear == pytest.approx(shear_stress(bondline.x - 10, 200, 20, stretch, 1000, 0.25), rel=1e-12)


def test_other_families_are_refused_by_name():
    """The refusal names the theory, what it is for and what it was given."""
    other = SimpleNamespace(geometry=SimpleNamespace(kind="stepped-lap"))
    with pytest.raises(TheoryError, match=r"Volkersen.*single-lap.*double-lap.*stepped-lap"):
        volkersen.curves(other)


DOUBLE = DoubleLap(
    width=25,
    overlap_length=20,
    bondline_thickness=0.25,
    inner=Adherend(material=ALUMINIUM, thickness=3.0, free_length=40),
    outer=Adherend(material=STEEL, thickness=1.0, free_length=60),
)


def test_double_lap_is_half_the_inner_on_an_outer():
    """Both bondlines: half the inner (pulled at x = 0) on one outer, under half the load; temperature as in a single lap."""
    joint = lap("plane-strain", temperature_change=-60).replace(geometry=DOUBLE)
    first, second = volkersen.curves(joint)
    stretch = (STRETCH[0] / 2.0 * 1.5, STRETCH[1])
    mismatch = -60 * (1.3 * 12e-6 - 1.33 * 23e-6)
    expected = shear_stress(first.x - 10, 100, 20, stretch, 1000, 0.25, mismatch)
    assert first.shear == pytest.approx(expected, rel=1e-12)
    assert second.shear == pytest.approx(expected, rel=1e-12)
    assert (first.number, second.number) == (1, 2)
    # T2 without adherend shear, derived for this project: 1.6/3.2 mm of 70 GPa, l 25, G 1000, t_a 0.15, 200 N/mm; 8 digits.
    metal = Isotropic(elastic_modulus=70_000, poisson_ratio=0)
    parts = (Adherend(material=metal, thickness=t, free_length=40) for t in (3.2, 1.6))
    t2 = DoubleLap(width=25, overlap_length=25, bondline_thickness=0.15, **dict(zip(("inner", "outer"), parts, strict=True)))
    assert volkersen.curves(lap().replace(geometry=t2))[1].shear[-1] == pytest.approx(17.257830, rel=5e-8)


def test_unlike_outers_and_sideways_loads_are_refused():
    """With unlike outers the shares of the load are not known; a moment or a shear force is not in the theory."""
    thin, thick = (Adherend(material=STEEL, thickness=t, free_length=60) for t in (1.0, 1.5))
    unlike = DOUBLE.replace(outer=None, lower_outer=thin, upper_outer=thick)
    for joint, reason in (
        (lap().replace(geometry=unlike), "like outers"),
        (lap(moment=100, ends="pinned"), "moment"),
        (lap(shear_force=10), "shear_force"),
    ):
        with pytest.raises(TheoryError, match=f"Volkersen.*{reason}"):
            volkersen.curves(joint)
