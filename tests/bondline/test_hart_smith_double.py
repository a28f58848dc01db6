"""Hart-Smith's double lap, against its differential equation, long and balanced overlaps, and a worked case.

L. J. Hart-Smith, NASA CR-112235, 1973 (from memory). The worked case was
derived for this project and confirmed by numerical solution of the differential
equation; it proves the algebra, not the citation.
"""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import quad, solve_bvp

from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, TheoryError
from fejoint.bondline.closed_form import hart_smith_double, volkersen
from fejoint.bondline.closed_form.elastic_plastic import Overlap, YieldingLayer, capacity, shear_lag
from fejoint.bondline.closed_form.grid import axial_modulus, free_strains
from fejoint.bondline.closed_form.hart_smith_double import balanced_capacity, long_capacity, peel_peak

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6, tensile_yield=250, tensile_strength=290)
TITANIUM = Isotropic(elastic_modulus=114_000, poisson_ratio=0.34, expansion=9.5e-6)
DUCTILE = Adhesive(elastic_modulus=2800, shear_modulus=1000, expansion=60e-6, shear_yield=35, failure_shear_strain=0.435)
H1 = YieldingLayer(1000, 0.15, 35, 0.435)  # ge 0.035, gp 0.4


# ---- capacity on numbers ---------------------------------------------------


def test_worked_case():
    """H1, derived for this project: aluminium 70 GPa 1.6/3.2/1.6, t_a 0.15, tau_p 35, ge 0.035, gp 0.4: 1981.878 N/mm."""
    inner, outer = 70_000 * 3.2, 70_000 * 1.6
    assert long_capacity(inner, outer, H1.energy) == pytest.approx((1981.878, 1981.878), rel=3e-7)
    # On a finite overlap: 200 mm are 69 decay lengths.
    assert balanced_capacity(200, outer, H1)[0] == pytest.approx(1981.878, rel=3e-7)


def capacity_numerically(length, inner, outer, layer, mismatch, end) -> float:
    """Return the load P at which the strain at one end reaches failure, from d'' = tau(d) (1/S1 + 1/S2) by collocation.

    d' = -P/(2 S1) + e at the inner's end, P/(2 S2) + e at the outers', S1 half
    the inner, S2 one outer; P is the unknown parameter.
    """
    s1, s2 = inner / 2, outer
    unit = layer.elastic_strain * layer.thickness
    w2 = layer.yield_stress / unit * (1 / s1 + 1 / s2)
    ratio = layer.failure_strain / layer.elastic_strain
    guess = min(long_capacity(inner, outer, layer.energy, mismatch)) / 2

    def slopes(x, y, p):
        return np.vstack([y[1], w2 * np.clip(y[0], -1, 1)])

    def ends(a, b, p):
        broken = a[0] - ratio if end == "inner" else b[0] - ratio
        scale = guess / s2 / unit
        return np.array([a[1] - (mismatch - p[0] * guess / s1) / unit, b[1] - (mismatch + p[0] * guess / s2) / unit, broken]) / [
            scale,
            scale,
            1,
        ]

    x = np.linspace(0, length, 2001)
    w = math.sqrt(w2)
    start = ratio * (np.exp(-w * x) + np.exp(-w * (length - x)))
    found = solve_bvp(slopes, ends, x, np.vstack([start, np.gradient(start, x)]), p=[1.0], tol=1e-7, max_nodes=100_000)
    assert found.success
    return 2 * guess * float(found.p[0])


UNLIKE = {
    "balanced": (45.0, 224e3, 112e3, 0.0),
    "stiff inner": (40.0, 400e3, 112e3, 0.0),
    "stiff outers": (35.0, 120e3, 160e3, 0.0),
    "stiff inner, cooled": (40.0, 400e3, 112e3, 1e-3),
    "stiff outers, cooled": (60.0, 160e3, 200e3, -1.2e-3),
}


@pytest.mark.parametrize(("length", "inner", "outer", "mismatch"), UNLIKE.values(), ids=UNLIKE.keys())
def test_capacity_solves_the_differential_equation(length, inner, outer, mismatch):
    """Any length, unlike adherends and mismatch: collocation with the load as unknown, to 1e-4.

    Collocation to a residual of 1e-7 falls to first order in the cell with the law's kink.
    """
    load, where = capacity(Overlap((length,), (inner / 2,), (outer,), mismatch), H1)
    end = "inner" if where[0] == 0.0 else "outer"
    assert 2 * load == pytest.approx(capacity_numerically(length, inner, outer, H1, mismatch, end), rel=1e-4)


@pytest.mark.parametrize("length", [5.0, 15.0, 27.0, 28.0, 30.0, 45.0, 100.0, 250.0])
def test_balanced_overlaps_by_the_trough(length):
    """Balanced, no mismatch: Hart-Smith's equation for the elastic trough and the general solution are one, to 1e-10."""
    load, trough = balanced_capacity(length, 112e3, H1)
    overlap = Overlap((length,), (112e3,), (112e3,))
    found, _ = capacity(overlap, H1)
    assert 2 * found == pytest.approx(load, rel=1e-10)
    if trough > 0:
        elastic = length - sum(b - a for a, b in shear_lag(overlap, H1, found).yielded())
        assert elastic == pytest.approx(trough, rel=1e-7)
    else:
        assert load == 2 * 35 * length


@pytest.mark.parametrize("mismatch", [0.0, 1e-3, -2e-3, 4e-3])
@pytest.mark.parametrize(("inner", "outer"), [(224e3, 112e3), (400e3, 112e3), (120e3, 160e3)])
def test_long_overlaps_by_the_formula(inner, outer, mismatch):
    """300 mm are 80 decay lengths or more: the lower of the two ends' formulas, to round-off (1e-9), and that end governs."""
    ends = long_capacity(inner, outer, H1.energy, mismatch)
    load, where = capacity(Overlap((300.0,), (inner / 2,), (outer,), mismatch), H1)
    assert 2 * load == pytest.approx(min(ends), rel=1e-9)
    if ends[0] != pytest.approx(ends[1]):
        assert where == ((0.0,) if ends[0] < ends[1] else (300.0,))


@pytest.mark.parametrize("shape", ["elastic", "softening", "hardening", "S"])
def test_only_the_area_under_the_shear_curve_counts(shape):
    """A long overlap with any shear curve of one area carries one load: first integral of d'' = C tau(d), solved by collocation.

    The formula knows the elastic-plastic area alone. The curves hold theirs to
    1e-9 by quadrature; the overlap of 120 mm leaves exp(-20) of the far end;
    collocation to 1e-8 of a smooth law: 1e-5.
    """
    area, ta = H1.energy / H1.thickness, H1.thickness
    raw = {
        "elastic": lambda g: g,
        "softening": lambda g: np.tanh(8 * g / 0.4),
        "hardening": lambda g: g + 3 * g**3 / 0.16,
        "S": lambda g: np.tanh(20 * g / 0.4) * (1 + 0.5 * np.sin(6 * g / 0.4)),
    }[shape]
    last = 0.4
    scale = area / quad(raw, 0, last, epsabs=1e-12, epsrel=1e-12)[0]
    s1, s2 = 224e3 / 2, 90e3
    expected = min(long_capacity(224e3, 90e3, H1.energy))

    def slopes(x, y, p):
        return np.vstack([y[1], scale * raw(y[0] * last) * (1 / s1 + 1 / s2) / (ta * last)])

    # The outers' end governs; far away the layer is at rest.
    def ends(a, b, p):
        rate = math.sqrt(scale * raw(1e-6) / 1e-6 * (1 / s1 + 1 / s2) / ta)
        return np.array([a[1] - rate * a[0], b[0] - 1, (b[1] - p[0] * expected / 2 / s2 / (ta * last)) / 0.5])

    x = np.linspace(0, 120, 4001)
    start = np.exp(-0.3 * (120 - x))
    found = solve_bvp(slopes, ends, x, np.vstack([start, 0.3 * start]), p=[1.0], tol=1e-8, max_nodes=200_000)
    assert found.success
    assert found.p[0] == pytest.approx(1, rel=1e-5)


def test_long_capacity_is_the_work_of_the_layer():
    """At its loaded end the load's strain energy release, P^2/4 (1/S1 - 1/(S1 + S2))/2 a side, is the layer's area: G_IIc."""
    inner, outer = 300e3, 90e3
    at_inner, at_outer = long_capacity(inner, outer, H1.energy)
    for load, stretch in ((at_inner, inner / 2), (at_outer, outer)):
        released = (load / 2) ** 2 / 2 * (1 / stretch - 1 / (inner / 2 + outer))
        assert released == pytest.approx(H1.energy, rel=1e-12)


def test_peel_peak():
    """By the outer as a beam on the layer: 36.1703 MPa for tau_p 35, E' 2800, nu 0.33, 1.6 mm of 70 GPa, t_a 0.15 (six digits).

    The worked case was derived for this project; the formula is from memory.
    The beam: D w'''' + (E'/ta) w = 0 on a half-line, no moment at its end,
    the shear there D w''' = tau_p to/2 from the shear stress on the face.
    """
    modulus = 70_000 / (1 - 0.33**2)
    found = peel_peak(35, 2800, 0.15, modulus, 1.6)
    assert found == pytest.approx(36.1703, rel=2e-6)
    d, k = modulus * 1.6**3 / 12, 2800 / 0.15
    unit = (d / k) ** 0.25

    def slopes(s, y):
        return np.vstack([y[1], y[2], y[3], -y[0]])

    def ends(a, b):
        return np.array([a[2], a[3] - 35 * 1.6 / 2 * unit**3 / d, b[0], b[1]])

    s = np.linspace(0, 30, 801)
    beam = solve_bvp(slopes, ends, s, np.zeros((4, s.size)), tol=1e-9, max_nodes=20_000)
    assert abs(k * beam.y[0, 0]) == pytest.approx(found, rel=1e-6)


# ---- a joint in ------------------------------------------------------------


def lap(inner=(ALUMINIUM, 3.2), outer=(ALUMINIUM, 1.6), adhesive=DUCTILE, overlap_length=50, out_of_plane="automatic", **load):
    parts = {name: Adherend(material=m, thickness=t, free_length=60) for name, (m, t) in (("inner", inner), ("outer", outer))}
    return Joint(
        geometry=DoubleLap(width=25, overlap_length=overlap_length, bondline_thickness=0.15, **parts),
        adhesive=adhesive,
        load=Load(**{"force": 20_000, **load}),
        analysis=Analysis(out_of_plane=out_of_plane),
    )


def test_capacity_of_a_joint():
    """H1 as a joint, the width held: E/(1 - nu^2) in place of E raises the long capacity by its root; the metal yields before.

    The adhesive's load to half the last of seven digits, 3e-7. The metal's by
    statics, stress times thickness, to the 1e-10 of 21 000 N/mm to which the
    root is found, 2.6e-9 of it: 5e-9.
    """
    found = hart_smith_double.capacity(lap(overlap_length=300))
    assert found.limits["adhesive, at both ends"] == pytest.approx(1981.878 / math.sqrt(1 - 0.33**2), rel=3e-7)
    assert found.limits["inner yields"] == pytest.approx(250 * 3.2, rel=5e-9)
    assert found.limits["outers yield"] == pytest.approx(250 * 3.2, rel=5e-9)
    assert found.limits["inner breaks"] == pytest.approx(290 * 3.2, rel=5e-9)
    assert found.limits["outers break"] == pytest.approx(290 * 3.2, rel=5e-9)
    assert (found.load, found.governs) == (found.limits["inner yields"], "inner yields")
    # All of the layer yields before the metal does: the metal's is that where it is loaded, to round-off.
    short = hart_smith_double.capacity(lap(overlap_length=10))
    assert (short.load, short.governs) == (pytest.approx(2 * 35 * 10, rel=1e-12), "adhesive, all of it yields")
    assert short.limits["inner yields"] == pytest.approx(250 * 3.2, rel=1e-12)
    assert short.limits["outers break"] == pytest.approx(290 * 3.2, rel=1e-12)


@pytest.mark.parametrize("weaker", ["lower_outer", "upper_outer"])
@pytest.mark.parametrize("overlap_length", [10, 300])
def test_the_weaker_outer_counts(weaker, overlap_length):
    """Outers alike in stiffness, one of a softer temper: both bear alike, so its figures are the limits, whichever it is.

    Stress times thickness, the root found to 2e-8 of the least: 1e-7. An outer without a figure leaves the other's.
    """
    sheets = {
        name: Adherend(material=ALUMINIUM.replace(tensile_yield=40 if name == weaker else 300), thickness=1.6, free_length=60)
        for name in ("lower_outer", "upper_outer")
    }
    sheets[weaker] = sheets[weaker].replace(material=sheets[weaker].material.replace(tensile_strength=None))
    joint = lap(overlap_length=overlap_length)
    inner = joint.geometry.inner
    joint = joint.replace(
        geometry=DoubleLap(width=25, overlap_length=overlap_length, bondline_thickness=0.15, inner=inner, **sheets)
    )
    found = hart_smith_double.capacity(joint)
    assert found.limits["outers yield"] == pytest.approx(40 * 3.2, rel=1e-7)
    assert found.limits["outers break"] == pytest.approx(290 * 3.2, rel=1e-7)
    assert found.governs == "outers yield"


@pytest.mark.parametrize(("change", "force"), [(-80, 20_000), (80, -20_000)])
def test_mismatch_can_yield_the_inner_inside_the_overlap(change, force):
    """Aluminium between titanium, cooled and pulled (or heated and pushed): in the middle of 300 mm both stretch alike.

    There N1 = (P/2/S2 + e)/(1/S1 + 1/S2), S1 half the inner; from it the load
    at which it stands at its yield stress, below stress times thickness by more
    than a tenth. exp(-30) of the ends is left there; the root is found to 1e-10
    of 21 000 N/mm, 1e-8 of it: 1e-7.
    """
    soft = ALUMINIUM.replace(tensile_yield=100)
    joint = lap(inner=(soft, 3.2), outer=(TITANIUM, 1.6), overlap_length=300, temperature_change=change, force=force)
    free = free_strains(joint)
    mismatch = math.copysign(1, force) * (free["upper_outer"] - free["inner"])
    s1, s2 = axial_modulus(soft) * 1.6, axial_modulus(TITANIUM) * 1.6
    expected = 2 * s2 * (100 * 1.6 * (1 / s1 + 1 / s2) - mismatch)
    assert 0 < expected < 0.9 * 100 * 3.2
    found = hart_smith_double.capacity(joint)
    assert found.limits["inner yields"] == pytest.approx(expected, rel=1e-7)
    # The other way round it relieves the inner, which then yields where it is loaded.
    other = hart_smith_double.capacity(joint.replace(load=Load(force=-force, temperature_change=change)))
    assert other.limits["inner yields"] == pytest.approx(100 * 3.2, rel=1e-7)
    # By the mismatch alone it yields already.
    weak = lap(
        inner=(ALUMINIUM.replace(tensile_yield=50), 3.2), outer=(TITANIUM, 1.6), overlap_length=300, temperature_change=-80
    )
    assert hart_smith_double.capacity(weak).limits["inner yields"] == 0


@pytest.mark.parametrize(("force", "side"), [(20_000, 1), (-20_000, -1), (0, 1)])
def test_governing_end(force, side):
    """Cooled titanium outers on an aluminium inner: the end that governs and its load, by the formula, pulled and pushed."""
    joint = lap(outer=(TITANIUM, 1.6), overlap_length=300, force=force, temperature_change=-60)
    free = free_strains(joint)
    inner, outer = axial_modulus(ALUMINIUM) * 3.2, axial_modulus(TITANIUM) * 1.6
    ends = long_capacity(inner, outer, H1.energy, side * (free["upper_outer"] - free["inner"]))
    found = hart_smith_double.capacity(joint)
    name = f"adhesive, where the {'inner enters' if ends[0] < ends[1] else 'outers enter'}"
    assert found.limits[name] == pytest.approx(min(ends), rel=1e-8)
    assert abs(ends[0] - ends[1]) > 0.1 * min(ends)  # the case decides


def test_elastic_curves_are_volkersens():
    """Below yield, with unlike adherends and cooled: Volkersen's double lap, another form of the same solution, to round-off.

    Its curve has twice the pieces: every fourth place is one that both have, with their ends.
    """
    joint = lap(outer=(TITANIUM, 1.6), force=2000, temperature_change=-20)
    found, expected = hart_smith_double.curves(joint), volkersen.curves(joint)
    assert [b.number for b in found] == [1, 2]
    assert "elastic throughout" in found[0].measure and "Hart-Smith 1973" in found[0].measure
    assert found[0].x[::2] == pytest.approx(expected[0].x[::4], abs=1e-12 * 50)
    assert found[0].shear[::2] == pytest.approx(expected[0].shear[::4], abs=1e-11 * expected[0].shear.max())
    assert found[0].peak_shear.value == pytest.approx(expected[0].peak_shear.value, rel=1e-11)
    assert found[0].middle.mean("shear") == pytest.approx(joint.mean_shear, rel=1e-7)


def test_yielded_curves():
    """Beyond yield the shear is cut off at shear_yield, still adds up to the load, and the inner comes in at the left."""
    joint = lap(inner=(ALUMINIUM, 6.0), outer=(ALUMINIUM, 4.8), force=30_000)
    assert hart_smith_double.capacity(joint).load > joint.line_load  # the metal stays elastic, as the theory has it
    found = hart_smith_double.curves(joint)[0]
    assert found.peak_shear.value == pytest.approx(35, rel=1e-9)
    assert "yielded over" in found.measure
    # Exact on the plastic stretches, which are pieces of their own; 200 pieces of quadratics on the elastic one.
    assert found.middle.mean("shear") == pytest.approx(joint.mean_shear, rel=1e-7)
    left, right = (np.flatnonzero(found.shear[::side] < 35 - 1e-9)[0] for side in (1, -1))
    assert found.x[left] > found.x[-1] - found.x[-1 - right]  # half the inner is softer than an outer: its end yields further
    assert np.isnan(found.peel).all()


def test_refusals():
    """Another family, unlike outers, a moment, figures that are missing, failure before yield, too much load: in words."""
    other = SimpleNamespace(geometry=SimpleNamespace(kind="single-lap"))
    with pytest.raises(TheoryError, match=r"double lap.*double-lap.*single-lap"):
        hart_smith_double.capacity(other)
    sheet, plate = (Adherend(material=ALUMINIUM, thickness=t, free_length=60) for t in (1.6, 2.0))
    unlike = DoubleLap(width=25, overlap_length=50, bondline_thickness=0.15, inner=plate, lower_outer=sheet, upper_outer=plate)
    with pytest.raises(TheoryError, match="like outers"):
        hart_smith_double.capacity(lap().replace(geometry=unlike))
    with pytest.raises(TheoryError, match="force along the joint alone"):
        hart_smith_double.capacity(lap(ends="pinned", moment=100))
    for key in ("shear_yield", "failure_shear_strain"):
        with pytest.raises(TheoryError, match=key):
            hart_smith_double.capacity(lap(adhesive=DUCTILE.replace(**{key: None})))
    with pytest.raises(TheoryError, match="yields before it fails"):
        hart_smith_double.capacity(lap(adhesive=DUCTILE.replace(failure_shear_strain=0.03)))
    with pytest.raises(TheoryError, match="beyond what the adhesive carries"):
        hart_smith_double.curves(lap(force=60_000))


def test_curves_go_on_where_the_metal_has_yielded():
    """A load beyond the metal's limit and below the adhesive's is answered, as the docstring says: metal stays elastic there."""
    joint = lap(inner=(ALUMINIUM, 2.0), force=30_000)
    found = hart_smith_double.capacity(joint)
    adhesive = next(load for name, load in found.limits.items() if name.startswith("adhesive"))
    assert found.load < joint.line_load < adhesive
    assert hart_smith_double.curves(joint)[0].peak_shear.value == pytest.approx(35, rel=1e-9)
