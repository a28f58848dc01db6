"""Hart-Smith's stepped lap, against the elastic treads, one tread as a lap, and statics.

L. J. Hart-Smith, NASA CR-112237, 1973 (from memory). The solution itself is
held against its differential equation in `test_elastic_plastic`.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fejoint import Adherend, Adhesive, Isotropic, Joint, Load, SteppedLap, TheoryError
from fejoint.bondline.closed_form import hart_smith_stepped, shear_lag
from fejoint.bondline.closed_form.elastic_plastic import Overlap, YieldingLayer
from fejoint.bondline.closed_form.elastic_plastic import capacity as overlap_capacity
from fejoint.bondline.closed_form.elastic_plastic import shear_lag as solved
from fejoint.bondline.closed_form.grid import axial_modulus

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6, tensile_yield=250, tensile_strength=290)
TITANIUM = Isotropic(elastic_modulus=114_000, poisson_ratio=0.34, expansion=9.5e-6)
DUCTILE = Adhesive(elastic_modulus=1850, poisson_ratio=0.33, expansion=60e-6, shear_yield=14.6, failure_shear_strain=0.2)


def stair(lower=ALUMINIUM, upper=ALUMINIUM, adhesive=DUCTILE, thickness=6.0, lengths=(15, 12, 20), heights=None, **load) -> Joint:
    parts = [Adherend(material=m, thickness=thickness, free_length=70) for m in (lower, upper)]
    return Joint(
        geometry=SteppedLap(
            width=50, step_lengths=lengths, step_heights=heights, bondline_thickness=0.3, lower=parts[0], upper=parts[1]
        ),
        adhesive=adhesive,
        load=Load(**{"force": 10_000, **load}),
    )


@pytest.mark.parametrize(
    "joint", [stair(), stair(upper=TITANIUM, temperature_change=-20, force=8000)], ids=["like", "unlike, cooled"]
)
def test_elastic_curves_are_shear_lag(joint):
    """Below yield every tread has the curve of the elastic module, on the same places, to round-off."""
    found, expected = hart_smith_stepped.curves(joint), shear_lag.curves(joint)
    assert [b.number for b in found] == [1, 2, 3]
    for mine, other in zip(found, expected, strict=True):
        assert (mine.x[0], mine.x[-1]) == pytest.approx((other.x[0], other.x[-1]))
        for place in (0, -1):
            assert mine.shear[place] == pytest.approx(other.shear[place], rel=1e-9)
        assert mine.middle.mean("shear") == pytest.approx(other.middle.mean("shear"), rel=1e-6)
        assert np.isnan(mine.peel).all()
    assert "elastic throughout" in found[0].measure and "Hart-Smith 1973" in found[0].measure


def test_yielded_curves():
    """Beyond yield: no more than shear_yield anywhere, and all treads together pass the load on."""
    joint = stair(force=29_000)
    found = hart_smith_stepped.curves(joint)
    assert max(b.peak_shear.value for b in found) == pytest.approx(14.6, rel=1e-9)
    passed = sum(b.middle.mean("shear") * (b.x[-1] - b.x[0]) for b in found)
    assert passed == pytest.approx(joint.line_load, rel=1e-7)
    assert "yielded over" in found[0].measure


def test_capacity_of_a_joint():
    """The adhesive's limit by the solution of its treads; the metal's, with one tread, by statics: stress times what is left.

    One tread takes 3 of 6 mm, and half the bondline, 0.15 mm: 2.85 mm carry
    the whole force at its ends, in the upper and in the lower adherend.
    """
    found = hart_smith_stepped.capacity(stair(lengths=(100,), heights=(3, 3)))
    stretch = axial_modulus(ALUMINIUM) * 2.85
    layer = YieldingLayer(1850 / 2.66, 0.3, 14.6, 0.2)
    load, where = overlap_capacity(Overlap((100.0,), (stretch,), (stretch,)), layer)
    assert where == (0.0, 100.0)
    assert found.limits == {
        "adhesive at x = 0 and 100 mm": pytest.approx(load, rel=1e-9),
        "lower yields": pytest.approx(250 * 2.85, rel=1e-8),
        "upper yields": pytest.approx(250 * 2.85, rel=1e-8),
        "lower breaks": pytest.approx(290 * 2.85, rel=1e-8),
        "upper breaks": pytest.approx(290 * 2.85, rel=1e-8),
    }
    assert found.load == min(found.limits.values())
    assert found.limits[found.governs] == found.load
    short = hart_smith_stepped.capacity(stair(lengths=(20,), heights=(3, 3)))
    assert (short.governs, short.load) == ("adhesive, all of it yields", pytest.approx(14.6 * 20, rel=1e-12))


def test_metal_where_all_of_the_adhesive_yields_before():
    """The force passes the net section at either adherend's own end, whatever the layer does: stress times what is left there.

    Risers 1.25, 1.5, 1.5 and 1.75 mm of 6, and half the bondline, 0.15: 4.6 and 4.1 mm.
    """
    found = hart_smith_stepped.capacity(stair(lengths=(15, 12, 20), heights=(1.25, 1.5, 1.5, 1.75)))
    assert found.governs == "adhesive, all of it yields"
    assert found.limits["lower yields"] == pytest.approx(250 * 4.6, rel=1e-12)
    assert found.limits["lower breaks"] == pytest.approx(290 * 4.6, rel=1e-12)
    assert found.limits["upper yields"] == pytest.approx(250 * 4.1, rel=1e-12)
    assert found.limits["upper breaks"] == pytest.approx(290 * 4.1, rel=1e-12)


def soft(limit: float) -> Isotropic:
    return ALUMINIUM.replace(tensile_yield=limit)


def test_mismatch_can_yield_the_metal_inside_a_tread():
    """Aluminium on titanium, one tread of 60 mm, 80 K cooler: at its limit the lower stands at its yield stress in the middle.

    N(x) by the trapezoidal rule over the shear stress at 60 001 places, which is good to 1e-7.
    """
    joint = stair(lower=soft(80), upper=TITANIUM, lengths=(60,), heights=(3, 3), temperature_change=-80)
    load = hart_smith_stepped.capacity(joint).limits["lower yields"]
    assert 0 < load < 0.9 * 80 * 2.85
    _, treads, layer = hart_smith_stepped._treads(joint)
    x = np.linspace(0, 60, 60_001)
    shear = solved(treads, layer, load).shear(x)
    carried = load - np.concatenate([[0.0], np.cumsum((shear[1:] + shear[:-1]) / 2 * np.diff(x))])
    assert np.abs(carried).max() / 2.85 == pytest.approx(80, rel=1e-6)
    assert 10 < x[np.argmax(np.abs(carried))] < 50


@pytest.mark.parametrize(("change", "force"), [(-80, 10_000), (80, 10_000), (-80, -10_000), (80, -10_000)])
@pytest.mark.parametrize("treads", [(60,), (20, 20, 20)])
def test_metal_that_mismatch_alone_yields_carries_nothing(change, force, treads):
    """Cooled or heated, pulled or pushed, of one tread or of three: at no load the lower is beyond its yield stress already."""
    joint = stair(lower=soft(20), upper=TITANIUM, lengths=treads, heights=None, temperature_change=change, force=force)
    found = hart_smith_stepped.capacity(joint)
    assert found.limits["lower yields"] == 0
    assert (found.load, found.governs) == (0, "lower yields")


def test_a_thin_step_inside_governs_the_metal():
    """A tall step after a long first tread: at its load the second tread's net section stands at its yield stress exactly."""
    joint = stair(lengths=(8, 90, 90), heights=(0.4, 4.2, 0.7, 0.7))
    found = hart_smith_stepped.capacity(joint)
    g = joint.geometry
    net = g.net_thickness()
    treads = Overlap(tuple(g.treads), *(tuple(axial_modulus(ALUMINIUM) * t for t in net[name]) for name in ("lower", "upper")))
    layer = YieldingLayer(1850 / 2.66, 0.3, 14.6, 0.2)
    load = found.limits["lower yields"]
    stress = solved(treads, layer, load).lower_loads()[:-1] / net["lower"]
    assert stress.max() == pytest.approx(250, rel=1e-6)
    assert np.argmax(stress) == 1


def test_one_tread_of_many_equal_ones():
    """Cutting the treads of a stair in two, without a step between, changes nothing, to 1e-9."""
    whole = Overlap((20.0, 30.0), (300e3, 150e3), (120e3, 250e3), 5e-4)
    parts = Overlap((8.0, 12.0, 1.0, 29.0), (300e3, 300e3, 150e3, 150e3), (120e3, 120e3, 250e3, 250e3), 5e-4)
    layer = YieldingLayer(560, 0.2, 14.6, 0.15)
    assert overlap_capacity(parts, layer)[0] == pytest.approx(overlap_capacity(whole, layer)[0], rel=1e-9)
    x = np.linspace(0, 50, 101)
    assert solved(parts, layer, 400.0).strain(x) == pytest.approx(solved(whole, layer, 400.0).strain(x), rel=1e-8, abs=1e-12)


def test_compression_turns_mismatch_round():
    """Pushed, the end that the mismatch relieved is the one that it strains: capacities differ, and swap with the mismatch."""
    cold, warm = (
        {
            force: hart_smith_stepped.capacity(
                stair(upper=TITANIUM, lengths=(40, 40, 40), force=force, temperature_change=change)
            )
            for force in (9000, -9000)
        }
        for change in (-40, 40)
    )
    adhesive = [
        next(v for k, v in found.limits.items() if k.startswith("adhesive"))
        for found in (cold[9000], cold[-9000], warm[9000], warm[-9000])
    ]
    assert adhesive[0] == pytest.approx(adhesive[3], rel=1e-9)
    assert adhesive[1] == pytest.approx(adhesive[2], rel=1e-9)
    assert abs(adhesive[0] - adhesive[1]) > 0.02 * adhesive[0]


def test_refusals():
    """Another family, a moment, a figure that is missing, too much load: in words."""
    other = SimpleNamespace(geometry=SimpleNamespace(kind="single-lap"))
    with pytest.raises(TheoryError, match=r"stepped lap.*stepped-lap.*single-lap"):
        hart_smith_stepped.curves(other)
    with pytest.raises(TheoryError, match="force along the joint alone"):
        hart_smith_stepped.curves(stair(ends="pinned", moment=100))
    with pytest.raises(TheoryError, match="failure_shear_strain"):
        hart_smith_stepped.capacity(stair(adhesive=DUCTILE.replace(failure_shear_strain=None)))
    with pytest.raises(TheoryError, match="beyond what the adhesive carries"):
        hart_smith_stepped.curves(stair(force=60_000))
