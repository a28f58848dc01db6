"""How large a flaw may stay: the curve and its reading by hand, and a joint whose bond counts by its length."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fejoint import Adherend, Joint, JointError, Load, SingleLap
from fejoint.errors import ConvergenceError
from fejoint.joint.families import DoubleLap, SteppedLap
from fejoint.joint.flaws import Flaw
from fejoint.study import flaw_capacity as module
from fejoint.study import flaw_places
from fejoint.study.flaw_capacity import AtPlace, Point, flaw_capacity

PART = Adherend(material="aluminium 6082-T6", thickness=1.6, free_length=15)
LIMIT = 17.9  # MPa, shear strength of the library's toughened epoxy (from memory, marked so there)


def lap(overlap=6.0, force=1000.0, **keys) -> Joint:
    """Return a door sill lap of a cable-car cabin (invented), so short that all of its bond gives way at once."""
    geometry = SingleLap(width=25, overlap_length=overlap, bondline_thickness=0.2, lower=PART, upper=PART)
    return Joint(
        geometry=geometry,
        adhesive={"material": "toughened epoxy"},
        load=Load(force=force),
        analysis={"mesh_density": 0.75},
        **keys,
    )


def at(lengths, factors, required):
    points = [Point(a, math.nan, f, 1000 * f, "mode", "criterion") for a, f in zip(lengths, factors, strict=True)]
    return AtPlace("middle", 0.5, tuple(points), required)


# ---- reading the curve ---------------------------------------------------------------


def test_the_longest_that_may_stay_on_a_straight_line():
    """2 - a/4 meets 1.3 at 2.8, exact: a monotone cubic through points of a line is the line."""
    found = at([0, 1, 3, 5], [2, 1.75, 1.25, 0.75], 1.3)
    assert found.allowed == pytest.approx(2.8, rel=1e-9) and not found.all_may_stay
    assert found.at(4.2) == pytest.approx(0.95)


def test_between_points_of_a_curve_nothing_overshoots():
    """Where the load stays and then drops, the length lies between the two points and no load above or below both is read."""
    found = at([0, 1, 2, 3], [2, 2, 0.5, 0.5], 1.0)
    assert 1 < found.allowed < 2
    values = [found.at(a) for a in np.linspace(0, 3, 301)]
    assert max(values) <= 2 and min(values) >= 0.5 and (np.diff(values) <= 1e-12).all()


def test_a_longer_flaw_never_counts_as_better():
    """The least load of all shorter ones stays."""
    found = at([0, 1, 2, 3], [2, 1.0, 1.6, 0.5], 1.2)
    assert found.factor.tolist() == [2, 1, 1, 0.5] and found.allowed < 1


@pytest.mark.parametrize(
    ("factors", "required", "allowed", "all_may"),
    [([0.9, 0.8], 1.0, 0.0, False), ([2, 1.5], 1.0, 2.0, True), ([2, 1.0], 1.0, 2.0, True), ([1.0, 0.5], 1.0, 0.0, False)],
    ids=["none may", "all may", "just", "the sound joint just"],
)
def test_the_ends_of_the_curve(factors, required, allowed, all_may):
    found = at([0, 2], factors, required)
    assert (found.allowed, found.all_may_stay) == (allowed, all_may)


@pytest.mark.parametrize("length", [2.001, -0.1, math.nan])
def test_nothing_is_said_beyond_the_longest_that_was_solved(length):
    with pytest.raises(JointError, match=r"must be from 0 to 2 mm, the longest that was solved"):
        at([0, 2], [2, 1], 1.0).at(length)


# ---- places and lengths ------------------------------------------------------------------


def test_places_along_a_bondline():
    """Ends, quarters, middle; of a lap that is its own image those on the left alone, which stand for both."""
    alike, unlike = lap(), lap().replace(geometry=lap().geometry.replace(upper=PART.replace(thickness=2)))
    assert flaw_places._shares(5, alike) == [0, 0.25, 0.5] and flaw_places._shares(5, unlike) == [0, 0.25, 0.5, 0.75, 1]
    assert flaw_places._shares(1, unlike) == [0.5]
    tapered = lap().replace(geometry=lap().geometry.replace(bondline_taper=0.05))
    assert flaw_places._shares(3, tapered) == [0, 0.5, 1]
    assert [flaw_places.name_of(s, [0, 0.25, 0.5]) for s in (0.0, 0.25, 0.5)] == ["either end", "either quarter", "middle"]
    assert [flaw_places.name_of(s, [0, 0.5, 1.0]) for s in (0.0, 0.5, 1.0)] == ["left end", "middle", "right end"]


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 1.0])
@pytest.mark.parametrize("family", ["single", "double", "stepped"])
def test_every_length_fits_and_stays_where_it_is(family, share):
    """A joint takes each, as one flaw that is not moved; one at an end reaches it, one inside keeps its middle."""
    joint = lap(overlap=12.0)
    if family == "double":
        joint = joint.replace(geometry=DoubleLap(width=25, overlap_length=12, bondline_thickness=0.2, inner=PART, outer=PART))
    if family == "stepped":
        part = PART.replace(thickness=3, free_length=20)
        joint = joint.replace(
            geometry=SteppedLap(width=25, overlap_length=24, steps=2, bondline_thickness=0.2, lower=part, upper=part)
        )
    bond = flaw_places._bond(joint, 2 if family != "single" else 1)
    for length in flaw_places._lengths(joint, bond, share, 4):
        flaw = Flaw(kind="void", start=flaw_places.start_of(joint, bond, share, length), length=length, bondline=bond.number)
        (merged,) = joint.replace(flaws=(flaw,)).merged_flaws().flaws
        assert (merged.start, merged.end) == pytest.approx((flaw.start, flaw.end))
        if 0 < share < 1:
            assert (merged.start + merged.end) / 2 == pytest.approx(bond.start + share * 12)
        elif family != "stepped":
            assert (merged.start if share == 0 else merged.end) == pytest.approx(12 * share)


# ---- joints --------------------------------------------------------------------------------


def test_a_short_tough_bond_counts_by_its_length():
    """tau_p (L - a) w = 1.5 P: a = 6 - 1500/(17.9 x 25) = 2.648 mm, wherever it lies and of whatever kind; 0.1 % of the overlap.

    The points lie on a line, and the first of those next to the length is on it.
    """
    said = []
    found = flaw_capacity(
        lap(flaws=(Flaw(kind="void", start=1, length=1),)), "void", lengths=2, places=3, margin=0.5, progress=said.append
    )
    assert [place.name for place in found.places] == ["either end", "middle"] and found.joint.flaws == ()
    for place in found.places:
        assert place.allowed == pytest.approx(6 - 1500 / (LIMIT * 25), abs=0.006)
        assert len(place.points) == 4 and place.points[0] is found.sound
        assert [p.force for p in place.points] == pytest.approx([LIMIT * 25 * (6 - p.length) for p in place.points])
    assert said[0].startswith("joint 1 of about 5: sound") and "void from" in said[1]
    data = found.data()
    assert data["required_N"] == 1500 and data["places"][0]["points"][0]["start_mm"] is None
    with pytest.raises(JointError, match="known: either end, middle"):
        found.by("left end")


def test_loads_between_short_and_long_overlaps_are_said_to_be_too_high_for_lengths():
    """A length that may stay must not hang on a load up to a fifth too high without a word; a short tough bond's is not."""
    keys = {"lengths": 2, "places": 1, "margin": -0.95}
    (said,) = flaw_capacity(lap(9.0), "void", **keys).warnings
    assert "up to a fifth too high" in said and "cohesive zone" in said
    assert flaw_capacity(lap(), "void", **keys).warnings == ()


def test_a_joint_that_gives_way_in_the_analysis_is_left_out_and_said(monkeypatch):
    real = module.strength_of

    def sometimes(joint, **keys):
        if joint.flaws and joint.flaws[0].length > 3:
            raise ConvergenceError("no equilibrium found.")
        return real(joint, **keys)

    monkeypatch.setattr(module, "strength_of", sometimes)
    found = flaw_capacity(lap(), "void", lengths=2, places=1)
    assert len(found.warnings) == 1 and "left out, no strength could be found (no equilibrium found)" in found.warnings[0]
    assert found.by("middle").all_may_stay and found.by("middle").longest < 3


@pytest.mark.parametrize(
    ("keys", "sentence"),
    [
        ({"kind": "hole"}, "kind hole: must be one of disbond, void, unwetted"),
        ({"lengths": 1}, "lengths 1: must be from 2 to 50"),
        ({"places": 0}, "places 0: must be from 1 to 11"),
        ({"margin": math.nan}, "margin nan: must be a number above -1"),
        ({"bondline": 2}, "bondline 2: the joint has only bondline 1"),
        ({"kind": "void", "place": "lower"}, "a void goes through the layer's thickness"),
    ],
)
def test_what_is_refused_is_refused_before_anything_is_solved(keys, sentence):
    said = []
    with pytest.raises(JointError, match=sentence):
        flaw_capacity(lap(), progress=said.append, **keys)
    assert not said


def test_a_bond_too_short_for_flaws():
    with pytest.raises(JointError, match="it has no room for flaws of several lengths"):
        flaw_capacity(lap(overlap=0.6))
