"""Volkersen's shear lag of a double lap, against three bars and two layers, its limits and worked cases.

O. Volkersen, Luftfahrtforschung 15, 1938, 41-47 (from memory): half the inner
adherend and one outer are a lap of their own. The worked cases were derived
for this project and confirmed by numerical solution of the differential
equation; they prove the algebra, not the citation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks.assumed import three_bars
from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, SteppedLap, TheoryError
from fejoint.bondline.closed_form import volkersen
from fejoint.bondline.closed_form.comparison import compare

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)
STEEL = Isotropic(elastic_modulus=210_000, poisson_ratio=0.3, expansion=12e-6)
# As in the worked cases, which know no width: nu = 0 makes E/(1 - nu^2) E itself and (1 + nu) alpha alpha itself.
PLAIN = Isotropic(elastic_modulus=70_000, poisson_ratio=0.0, expansion=23e-6)
PLAIN_STEEL = Isotropic(elastic_modulus=210_000, poisson_ratio=0.0, expansion=12e-6)
EPOXY = Adhesive(elastic_modulus=2800, shear_modulus=1000, expansion=60e-6)


def double(
    inner=(ALUMINIUM, 3.2), outer=(ALUMINIUM, 1.6), overlap=25.0, layer=0.15, adhesive=EPOXY, out_of_plane="plane-strain", **load
) -> Joint:
    """Return a double lap under 200 N/mm; adherends as material and thickness."""
    parts = [Adherend(material=m, thickness=t, free_length=40) for m, t in (inner, outer)]
    return Joint(
        geometry=DoubleLap(width=25, overlap_length=overlap, bondline_thickness=layer, inner=parts[0], outer=parts[1]),
        adhesive=adhesive,
        load=Load(**{"force": 5000, **load}),
        analysis=Analysis(out_of_plane=out_of_plane),
    )


CASES = {
    "balanced": double(),
    "stiff inner, soft layer": double(
        (STEEL, 4.0), (ALUMINIUM, 1.0), 40.0, 0.5, Adhesive(elastic_modulus=490, poisson_ratio=0.3)
    ),
    "stiff outers, pushed": double((ALUMINIUM, 2.0), (STEEL, 3.0), force=-3000),
    "cooled": double((STEEL, 2.0), (ALUMINIUM, 2.0), force=0, temperature_change=-100),
    "pulled and warmed": double((ALUMINIUM, 3.0), (STEEL, 1.0), 12.5, temperature_change=60),
}
every_case = pytest.mark.parametrize("joint", CASES.values(), ids=CASES)


@every_case
def test_three_bars_and_two_layers(joint):
    """The closed form is the three bars' solution: 1e-8 of the peak, exponentials and a direct solver's round-off."""
    x = np.linspace(0, joint.geometry.overlap_length, 61)
    found = volkersen.curves(joint)
    expected = three_bars(joint, x)
    peak = np.abs(expected).max()
    # Curves of 400 pieces are quadratic between their points: (w h)^3/125 of the peak at most, 1e-6; at the points exact.
    for b, shear in zip(found, expected, strict=True):
        assert np.abs(b.middle.at(x) - shear).max() < 1e-6 * peak
        assert abs(b.shear[0] - shear[0]) < 1e-8 * peak
        assert abs(b.shear[-1] - shear[-1]) < 1e-8 * peak


def test_worked_case():
    """T2 without adherend shear, derived for this project: aluminium 1.6/3.2/1.6, G 1000, t_a 0.15, l 25, 200 N/mm.

    Eight digits are given. Both bondlines are alike and, the adherends being balanced, so are both ends.
    """
    joint = double((PLAIN, 3.2), (PLAIN, 1.6))
    for b in volkersen.curves(joint):
        assert b.shear[[0, -1]] == pytest.approx([17.257830] * 2, rel=5e-8)


def test_worked_case_cooled():
    """V3, derived for this project: aluminium 2 mm (half of 4) on steel 1 mm, G 1000, t_a 0.2, 100 K colder, no load.

    The end of the steel's side bears 22.442332 (eight digits); antisymmetric, and without load nothing is passed on.
    """
    joint = double((PLAIN, 4.0), (PLAIN_STEEL, 1.0), layer=0.2, force=0, temperature_change=-100)
    for b in volkersen.curves(joint):
        assert b.shear[-1] == pytest.approx(22.442332, rel=5e-8)
        assert b.shear[::-1] == pytest.approx(-b.shear, rel=1e-12, abs=1e-12)


def test_as_written_for_the_double_lap():
    """P w cosh(wx)/(4 sinh(wl/2)) + P w/4 (2 S_o - S_i)/(2 S_o + S_i) sinh(wx)/cosh(wl/2), w^2 = G/t_a (1/S_o + 2/S_i).

    Shigley's Mechanical Engineering Design, ch. 9, eq. 9-7 (from memory), there with the outers pulled at the left: x is
    turned round here. To round-off.
    """
    joint = double((PLAIN, 2.0), (PLAIN_STEEL, 1.2))
    so, si, length = 210_000 * 1.2, 70_000 * 2.0, 25.0
    w = math.sqrt(1000 / 0.15 * (1 / so + 2 / si))
    b = volkersen.curves(joint)[0]
    x = length / 2 - b.x
    even = 200 * w / 4 * np.cosh(w * x) / math.sinh(w * length / 2)
    odd = 200 * w / 4 * (2 * so - si) / (2 * so + si) * np.sinh(w * x) / math.cosh(w * length / 2)
    assert b.shear == pytest.approx(even + odd, rel=1e-11)
    assert b.shear[0] > b.shear[-1]  # the softer inner is loaded at the left


@every_case
def test_each_bond_passes_half_the_load(joint):
    """400 pieces of piecewise quadratics integrate these curves to 1e-9 of peak times length."""
    for b in volkersen.curves(joint):
        length = joint.geometry.overlap_length
        passed = b.middle.mean("shear") * length
        assert abs(passed - joint.line_load / 2) < 1e-9 * np.abs(b.shear).max() * length


def test_short_overlap_shears_evenly():
    """For w l -> 0 the stress is P/(2 l) everywhere; the next term is of order (w l)^2."""
    joint = double(overlap=0.2, layer=0.1)
    stretch = 70_000 / (1 - 0.33**2) * 1.6
    wl = math.sqrt(1000 / 0.1 * 2 / stretch) * 0.2
    for b in volkersen.curves(joint):
        assert b.shear == pytest.approx(np.full_like(b.x, 500.0), rel=wl**2)


def test_long_balanced_overlap_peaks_at_a_quarter_of_p_w():
    """Half the load to either side, half of w times it at the ends: P w/4, to exp(-w l)."""
    joint = double((PLAIN, 3.2), (PLAIN, 1.6), overlap=200)
    w = math.sqrt(1000 / 0.15 * 2 / 112e3)
    for b in volkersen.curves(joint):
        assert b.peak_shear.value == pytest.approx(200 * w / 4, rel=1e-9)


def test_rigid_outers_leave_the_inner_alone():
    """Outers without stretch: tau = (P/2) w cosh(w (l - x))/sinh(w l), w^2 = 2 G/(t_a S_i), highest where the inner enters.

    Outers of 1e6 times the inner's modulus leave 5e-7 of the compliance, so 1e-6 of the peak.
    """
    rigid = Isotropic(elastic_modulus=70e9, poisson_ratio=0.0)
    b = volkersen.curves(double((PLAIN, 3.2), (rigid, 3.2)))[1]
    w = math.sqrt(2 * 1000 / 0.15 / (70_000 * 3.2))
    expected = 100 * w * np.cosh(w * (25 - b.x)) / math.sinh(w * 25)
    assert np.abs(b.shear - expected).max() < 1e-6 * expected[0]


def test_curves_of_a_joint():
    """Both bonds, numbered from below, x from the left end of the overlap; no peel."""
    found = volkersen.curves(CASES["pulled and warmed"])
    assert [b.number for b in found] == [1, 2]
    assert all((b.x[0], b.x[-1]) == (0.0, 12.5) for b in found)
    assert all(np.isnan(b.peel).all() and "Volkersen" in b.measure for b in found)
    assert np.array_equal(found[0].shear, found[1].shear)


def test_unlike_outers_and_other_families_are_refused():
    """Each refusal says why; `compare` passes it on as its reason."""
    joint = double()
    g = joint.geometry
    unlike = g.replace(outer=None, lower_outer=g.outer, upper_outer=g.outer.replace(thickness=1.61))
    with pytest.raises(TheoryError, match="like outers"):
        volkersen.curves(joint.replace(geometry=unlike))
    assert "like outers" in compare(joint.replace(geometry=unlike))[0].reason
    stepped = SteppedLap(width=25, steps=2, overlap_length=25, bondline_thickness=0.15, lower=g.inner, upper=g.inner)
    with pytest.raises(TheoryError, match="stepped-lap"):
        volkersen.curves(joint.replace(geometry=stepped))
    like = g.replace(outer=None, lower_outer=g.outer, upper_outer=g.outer)
    given = volkersen.curves(joint.replace(geometry=like))
    assert np.array_equal(given[0].shear, volkersen.curves(joint)[0].shear)
