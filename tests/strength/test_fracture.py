"""The load at which a disbond grows: rules by hand, loads solved again, beams' energy, and Krenk's rates."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.linalg import expm

from fejoint import Adhesive, JointError, TheoryError
from fejoint.bondline.closed_form import krenk
from fejoint.joint.disbond import Disbond
from fejoint.mechanics.energy_release import energy_release
from fejoint.strength.fracture import disbond_load, growth_index, krenk_load, load_against_length
from tests.mechanics.conftest import GLUE, METAL, _lap

# Round figures of the order of a toughened epoxy: stand-ins, no material's data.
TOUGH = {**GLUE, "toughness_mode_1": 0.4, "toughness_mode_2": 1.2}
STEEL = {"elastic_modulus": 200_000.0, "poisson_ratio": 0.3, "expansion": 12e-6}


# ---- rules -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "opening", "shear", "index"),
    [
        ({}, 0.2, 0.3, 0.75),  # 1/2 + 1/4
        ({"mixed_mode_exponent": 2}, 0.2, 0.3, math.sqrt(0.25 + 0.0625)),
        ({"mixed_mode_rule": "b-k", "mixed_mode_exponent": 2}, 0.2, 0.3, 0.5 / 0.688),  # 0.4 + 0.8 * 0.6^2
        ({"mixed_mode_rule": "b-k", "mixed_mode_exponent": 1}, 0.3, 0.3, 0.75),  # 0.4 + 0.8 * 0.5
        ({"mixed_mode_exponent": 0.5}, 0.1, 0.3, 1.0),  # 1/2 + 1/2
    ],
)
def test_rules_by_hand(keys, opening, shear, index):
    assert growth_index(opening, shear, Adhesive(**TOUGH, **keys)) == pytest.approx(index, rel=1e-12)


@pytest.mark.parametrize("keys", [{}, {"mixed_mode_exponent": 3}, {"mixed_mode_rule": "b-k", "mixed_mode_exponent": 2.3}])
def test_one_mode_alone_grows_at_its_toughness(keys):
    """Both rules' definition; and the index goes with the rates."""
    adhesive = Adhesive(**TOUGH, **keys)
    assert growth_index(0.4, 0, adhesive) == pytest.approx(1, rel=1e-12)
    assert growth_index(0, 1.2, adhesive) == pytest.approx(1, rel=1e-12)
    assert growth_index(0, 0, adhesive) == 0
    assert growth_index(0.7, 1.1, adhesive) == pytest.approx(10 * growth_index(0.07, 0.11, adhesive), rel=1e-12)


def test_missing_toughness_is_named():
    """Which key, in one sentence, before anything is solved; at an interface the second is not asked for."""
    for given, missing in (({"toughness_mode_2": 1.2}, 1), ({"toughness_mode_1": 0.4}, 2)):
        joint = _lap(adhesive={**GLUE, **given})
        with pytest.raises(JointError, match=f"^adhesive.toughness_mode_{missing} is missing: .*add it.$"):
            disbond_load(joint, Disbond(length=3))
    assert disbond_load(joint, Disbond(length=3, place="upper"), 0.75).factor > 0


# ---- loads -------------------------------------------------------------------


@pytest.mark.parametrize("rule", [{}, {"mixed_mode_exponent": 2}, {"mixed_mode_rule": "b-k", "mixed_mode_exponent": 2}])
@pytest.mark.parametrize("keys", [{}, {"upper": STEEL, "temperature": -60.0}], ids=["alike", "cooled"])
def test_under_its_load_it_grows(keys, rule):
    """The joint solved again under that load: its rates meet the rule, to round-off."""
    joint, disbond = _lap(**keys, adhesive={**TOUGH, **rule}), Disbond(length=3)
    found = disbond_load(joint, disbond, 0.75)
    assert found.force == pytest.approx(found.factor * 2500.0)
    again = energy_release(joint.at(force=found.force), disbond, 0.75)
    assert growth_index(again.opening, again.shear, joint.adhesive) == pytest.approx(1, rel=1e-7)
    assert tuple(found.rates) == pytest.approx(tuple(again.rates), rel=1e-7)
    assert found.warnings[-1].startswith("energy release, small rotations")


def test_at_an_interface_the_total_meets_mode_one():
    joint, disbond = _lap(adhesive=TOUGH), Disbond(length=3, place="lower")
    found = disbond_load(joint, disbond, 0.75)
    assert energy_release(joint.at(force=found.force), disbond, 0.75).total == pytest.approx(0.4, rel=1e-7)
    assert math.isnan(found.rates.opening) and any("a lower bound" in text for text in found.warnings)


def test_pressed_together_it_grows_by_shear_alone():
    found = disbond_load(_lap(adhesive=TOUGH, force=-100.0), Disbond(length=3), 0.75)
    assert (found.rates.opening, found.rates.shear) == (0.0, pytest.approx(1.2, rel=1e-9)) and found.force < 0
    assert any("closed at its tip" in text for text in found.warnings)


def test_without_a_mechanical_load():
    """What cooling alone grows asks for none; what cooling does not grow, no multiple of nothing does."""
    disbond = Disbond(length=3, place="lower")
    weak = {**TOUGH, "toughness_mode_1": 1e-4}
    found = disbond_load(_lap(upper=STEEL, temperature=-60.0, adhesive=weak), disbond, 0.75)
    assert (found.factor, found.force) == (0.0, 0.0) and any("without any mechanical load" in text for text in found.warnings)
    for temperature in (0.0, -60.0):
        found = disbond_load(_lap(upper=STEEL, temperature=temperature, force=0.0, adhesive=TOUGH), disbond, 0.75)
        assert math.isinf(found.factor) and found.force == 0.0 and any("no multiple" in text for text in found.warnings)


def test_load_against_length():
    """Of a long overlap in tension: the arms bend more as the disbond grows, so that it grows at ever less load."""
    joint = _lap(adhesive=TOUGH, overlap=25.0)
    said = []
    found = load_against_length(joint, ["2 mm", 4, 8], density=0.75, progress=said.append)
    assert found.lengths.tolist() == [2, 4, 8] and len(said) == 3
    assert (np.diff(found.force) < 0).all() and not found.stable.any()
    one = disbond_load(joint, Disbond(length=4), 0.75)
    assert (found.force[1], found.opening[1], found.shear[1]) == pytest.approx((one.force, one.rates.opening, one.rates.shear))
    assert len([text for text in found.warnings if "small rotations" in text]) == 1


@pytest.mark.parametrize("lengths", [[3], [3, 3], [4, 3], []])
def test_lengths_must_rise(lengths):
    with pytest.raises(JointError, match="two or more, each larger"):
        load_against_length(_lap(adhesive=TOUGH), lengths)


def test_lengths_are_checked_before_anything_is_solved():
    said = []
    with pytest.raises(JointError, match=r"disbond.length = 13 mm"):
        load_against_length(_lap(adhesive=TOUGH), [3, 13], progress=said.append)
    assert not said


# ---- beams -------------------------------------------------------------------

THIN = {"overlap": 60.0, "layer": 0.05, "lower_thickness": 3.0, "upper_thickness": 3.0, "lower_arm": 80.0, "upper_arm": 80.0}


def beams(joint, length: float, rotating: bool) -> krenk.Release:
    """Return Krenk's rates of opening and shear at the tip of a disbond from the left of a clamped lap of like adherends.

    G_I = M^2/(4 D), G_II = (P + 6 M/t)^2/(16 E' t) (S. Krenk, Eng. Fract. Mech. 43, 1992, 549-559, from memory). M is that of
    three beams in line, D w'' = -M_grip + V s + P (e + w), whose axes lie at heights e; small rotations leave w out on the
    right. As in split beams the crack seems longer by 0.677 t for opening and by 0.206 t for shear (Z. Suo, G. Bao, B. Fan, J.
    Mech. Phys. Solids 40, 1992, 1-16, from memory): along that length the moment goes on to grow; and where an arm enters the
    overlap its moment, half of which opens and half of which shears, turns it as along a length of the mean of the two.
    """
    g, load = joint.geometry, joint.line_load
    t, ta = g.lower.thickness, g.bondline_thickness
    modulus = METAL["elastic_modulus"] / (1 - METAL["poisson_ratio"] ** 2)
    arm = modulus * t**3 / 12
    both = modulus * ((2 * t + ta) ** 3 - ta**3) / 12
    pieces = [(g.lower.free_length + length, arm, 0.0), (g.overlap_length - length, both, (t + ta) / 2)]
    pieces.append((g.upper.free_length, arm, t + ta))
    state = np.zeros((5, 3))  # w, w', -M_grip + V s, V, 1, by the unknowns M_grip and V and by what is known
    state[2, 0], state[3, 1], state[4, 2] = -1.0, 1.0, 1.0
    root = (0.677 + 0.206) / 2 * t / arm
    at_the_tip = None
    for i, (span, stiffness, height) in enumerate(pieces):
        moment = np.array([rotating * load, 0.0, 1.0, 0.0, load * height])  # of the state
        a = np.zeros((5, 5))
        a[0, 1] = a[2, 3] = 1.0
        a[1] = moment / stiffness
        if i == 2:
            state[1] += root * moment @ state
        state = expm(a * span) @ state
        if i == 0:
            at_the_tip = state.copy()
            state[1] += root * moment @ state
    unknowns = np.append(np.linalg.solve(state[:2, :2], -state[:2, 2]), 1.0)
    w, turn, rest, force, _ = at_the_tip @ unknowns
    moment, rise = rest + rotating * load * w, force + rotating * load * turn
    opens, shears = (abs(moment + c * t * rise) for c in (0.677, 0.206))
    return krenk.Release(opens**2 / (4 * arm), (load + 6 * shears / t) ** 2 / (16 * modulus * t))


@pytest.mark.parametrize("rotating", [False, True], ids=["small rotations", "large rotations"])
def test_a_lap_as_beams(rotating):
    """4 % of the total: what Krenk leaves out is the layer, whose part in the lever is t_a/t = 1.7 %, twice in G.

    So it is of the parts with small rotations. With large ones 10 %: as the layer is sheared by 0.1 Green's strain across it
    has 0.1^2/2 in it, beside 0.04 of peel, which shifts some of the energy from one part to the other.
    """
    joint = _lap(**THIN, force=10_000.0, large_rotation=rotating)
    found = energy_release(joint, Disbond(length=10), 0.75)
    expected = beams(joint, 10.0, rotating)
    assert found.total == pytest.approx(sum(expected), rel=0.04)
    assert (found.opening, found.shear) == pytest.approx(tuple(expected), rel=0.1 if rotating else 0.04)
    if rotating:  # the two are far apart, so that one cannot pass for the other
        small = beams(joint, 10.0, rotating=False)
        assert expected.opening < 0.6 * small.opening and expected.shear < 0.7 * small.shear


def test_krenk_load():
    """His rates, at that force, meet the rule; they are those of the theory for the joint under that force."""
    joint = _lap(**THIN, adhesive=TOUGH)
    force, *rates = krenk_load(joint)
    assert rates == pytest.approx(list(krenk.energy_release(joint.at(force=force))))
    assert growth_index(*rates, joint.adhesive) == pytest.approx(1, rel=1e-9)
    with pytest.raises(TheoryError):
        krenk_load(_lap(upper=STEEL, adhesive=TOUGH))


# ---- large rotations -----------------------------------------------------------


def test_small_loads_know_no_large_rotation():
    """Under a thousandth of the load both are one, to 0.5 %: the moment changes by the turning, which goes with the load."""
    disbond = Disbond(length=3)
    small, large = (energy_release(_lap(force=2.5, large_rotation=on), disbond, 0.75) for on in (False, True))
    assert (large.opening, large.shear, large.total) == pytest.approx((small.opening, small.shear, small.total), rel=5e-3)


def test_under_its_load_it_grows_with_large_rotations():
    """The joint solved again under that load, to the search's tolerance; a turned lap bears more than small rotations say."""
    disbond = Disbond(length=3)
    joint = _lap(adhesive=TOUGH, large_rotation=True)
    found = disbond_load(joint, disbond, 0.75)
    assert growth_index(found.rates.opening, found.rates.shear, joint.adhesive) == pytest.approx(1, abs=2e-4)
    again = energy_release(joint.at(force=found.force), disbond, 0.75)
    assert tuple(again.rates) == pytest.approx(tuple(found.rates), rel=1e-5)
    small = joint.replace(analysis=joint.analysis.replace(large_rotation=False))
    assert found.force > 1.1 * disbond_load(small, disbond, 0.75).force
    assert not any("small rotations" in text for text in found.warnings)
    with pytest.raises(JointError, match="solve the joint under that load"):
        again.at(2.0)
