"""What the adherends carry, what the spew carries beyond the overlap, and what a run warns of."""

from __future__ import annotations

import math

import numpy as np
import pytest

import fejoint
from fejoint import Adherend, Isotropic, SteppedLap
from fejoint.bondline.edge_moment import buckling_share, rotation_change

METAL = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33)


def section(result, adherend, place):
    return next(s for s in result.adherend_sections if (s.adherend, s.place) == (adherend, place))


def test_the_grip_of_a_lifted_lap_is_its_most_stressed_section(lap):
    """Statics of a guided lap of alike arms: by antisymmetry the moments at both ends are (V l - P e) / 2; 1e-6, round-off.

    l the distance of the end faces, e that of the mid-planes; at the overlap
    V less per mm of arm. Beam stress there is 6 M / t^2 beside P / t.
    """
    joint = lap()
    joint = joint.replace(load=joint.load.replace(shear_force=300.0))
    result = fejoint.solve(joint)
    v, p, lever, length = 12.0, 100.0, 1.8, 112.5
    moment = (v * length - p * lever) / 2
    end, entry = section(result, "lower", "end"), section(result, "lower", "overlap")
    assert abs(end.moment) == pytest.approx(moment, rel=1e-6)
    assert abs(abs(end.moment) - abs(entry.moment)) < abs(end.moment)  # along the arm it falls
    assert entry.moment - end.moment == pytest.approx(math.copysign(v * 50, -end.moment), rel=1e-6)
    assert result.adherend_peaks["lower"] == pytest.approx(p / 1.6 + 6 * moment / 1.6**2, rel=1e-6)


def test_a_pinned_end_has_no_moment_but_the_one_that_acts(lap):
    """The loaded end carries the applied moment, the gripped one none; round-off of 1e-6 of it."""
    joint = lap(ends="pinned")
    joint = joint.replace(load=joint.load.replace(moment=5000.0))
    result = fejoint.solve(joint)
    assert section(result, "upper", "end").moment == pytest.approx(200.0, rel=1e-6)
    assert section(result, "lower", "end").moment == pytest.approx(0.0, abs=2e-4)


def test_steps_carry_what_has_not_been_passed_on(lap):
    """An adherend carries at a step what the bond has not yet passed on, over the metal that is left; 1e-3, the balance."""
    part = Adherend(material=METAL, thickness=3.0, free_length=30)
    joint = lap().replace(
        geometry=SteppedLap(width=25, steps=3, overlap_length=24, bondline_thickness=0.2, lower=part, upper=part)
    )
    result = fejoint.solve(joint)
    steps = [s for s in result.adherend_sections if s.place == "step"]
    net = joint.geometry.net_thickness()
    assert len(steps) == 6
    for name in ("lower", "upper"):
        own = [s for s in steps if s.adherend == name]
        assert [s.thickness for s in own] == pytest.approx(net[name])
        assert all(s.peak_stress == pytest.approx(abs(s.axial) / s.thickness) for s in own)
    # Where tread 2 begins the upper has what riser 1, tread 1 and riser 2 have passed on.
    passed = sum(result.bond_forces[name] for name in ("riser 1", "tread 1", "riser 2"))
    lower_at_2 = [s for s in steps if s.adherend == "lower"][1]
    assert lower_at_2.axial == pytest.approx(100 - passed, rel=1e-3)


def test_spew_goes_on_with_the_mid_line(lap):
    """The mid-line's stress beyond the overlap joins the curve within it: the same at x = 0, and told only with fillets."""
    assert fejoint.solve(lap()).spew_peaks == {}
    result = fejoint.solve(lap(fillet=True))
    shear, peel = result.spew_peaks[1]
    assert not 0 < shear.x < 12.5
    assert not 0 < peel.x < 12.5
    # The shear at the overlap's very end is part of both.
    ends = np.abs(result.bondlines[0].shear[[0, -1]]).max()
    assert abs(shear.value) >= 0.99 * ends


def test_rotation_may_raise_the_larger_moment_of_unlike_adherends(lap):
    """Thin on thick, pinned, in tension: the larger moment rises as the lap swings onto its load's line; alike ones straighten.

    97.78 and 135.92 N, solved apart by collocation of the beam-columns; four digits given.
    """
    unlike = lap(ends="pinned", lower_thickness=1.0, upper_thickness=3.0)
    assert rotation_change(unlike) == pytest.approx(135.92 / 97.78 - 1, abs=2e-3)
    assert any("larger than the linear" in text for text in fejoint.solve(unlike).warnings)
    assert rotation_change(lap()) < 0
    assert any("smaller than the linear" in text for text in fejoint.solve(lap()).warnings)


def test_a_joint_that_moves_far_sideways_is_told(lap):
    """A force of 100 N/mm on an end that lifts by many thicknesses changes the bending by more than there is."""
    joint = lap()
    lifted = fejoint.solve(joint.replace(load=joint.load.replace(shear_force=300.0)))
    assert any("moves sideways" in text for text in lifted.warnings)
    still = fejoint.solve(joint.replace(load=joint.load.replace(force=0.0, shear_force=5.0)))
    assert not any("moves sideways" in text for text in still.warnings)


def test_a_buckled_joint_does_not_pass(lap):
    """Guided arms of 50 mm against one another: just above the load at which the frame buckles the run is marked.

    The share grows with the load in proportion (both are Euler's, bisected to 1e-6).
    """
    light, heavy = (buckling_share(lap(force=-f)) for f in (1000.0, 2000.0))
    assert heavy == pytest.approx(2 * light, rel=1e-5)
    limit = 1000.0 / light
    above, below = (fejoint.solve(lap(force=-share * limit)) for share in (1.01, 0.99))
    assert not above.passed
    assert below.passed
    assert "buckling" not in {c.name for c in fejoint.solve(lap()).checks}
