"""A disbond as its user states it, and what a joint has no room for."""

from __future__ import annotations

import numpy as np
import pytest

from fejoint import Joint, JointError
from fejoint.joint.disbond import Disbond, checked
from fejoint.joint.file import joint_from_text, template


def joint(kind: str) -> Joint:
    return joint_from_text(template(kind))


def test_where_it_ends():
    """By hand: overlaps of 12.5 and 25 mm, layers of 0.2 mm, an inner of 1.6 mm."""
    single, double = joint("single-lap"), joint("double-lap")
    assert single.geometry.length == 12.5 and double.geometry.length == 25 and double.geometry.inner.thickness == 1.6
    assert Disbond(length="3 mm").tip(single) == (3.0, 0.0)
    assert Disbond(length=3, end="right", place="lower").tip(single) == (9.5, -0.1)
    assert Disbond(length=3, end="right", bondline=np.int64(2), place="upper").tip(double) == (22.0, pytest.approx(1.0))
    assert Disbond(length=3, place="upper").tip(double) == (3.0, pytest.approx(-0.8))
    assert checked(Disbond(length=12.3), single) == Disbond(length=12.3)


@pytest.mark.parametrize(
    ("kind", "keys", "words"),
    [
        ("single-lap", {"length": 12.31}, "disbond.length = 12.31 mm: must be from 0.05 mm .* to 12.3 mm"),
        ("single-lap", {"length": 0.04}, "disbond.length = 0.04 mm: must be from 0.05 mm"),
        ("single-lap", {"length": 3, "bondline": 2}, "disbond.bondline = 2: the joint has only bondline 1"),
        ("double-lap", {"length": 3, "bondline": 3}, "disbond.bondline = 3: the joint has bondlines 1 to 2"),
        ("stepped-lap", {"length": 3}, "a stepped lap cannot have one yet"),
        ("single-lap", {"length": 0}, 'length = "0 mm": must lie above 0 mm'),
        ("single-lap", {"length": "3 N"}, "length = .*3 N.*: must be a length"),
        ("single-lap", {"length": 3, "end": "top"}, 'end = "top": must be "left" or "right"'),
        ("single-lap", {"length": 3, "place": "side"}, 'place = "side": must be "middle", "lower" or "upper"'),
        ("single-lap", {"length": 3, "bondline": 0}, "bondline = 0: must be at least 1"),
        ("single-lap", {"length": 3, "bondline": 1.5}, "bondline = 1.5"),
        ("single-lap", {"lenght": 3}, "lenght: unknown key; did you mean length"),
        ("single-lap", {}, "length is missing"),
    ],
)
def test_refused_in_one_sentence(kind, keys, words):
    with pytest.raises(JointError, match=words) as caught:
        checked(Disbond(**keys), joint(kind))
    assert "\n" not in str(caught.value)


def test_a_short_overlap_has_no_room():
    base = joint("single-lap")
    short = base.replace(geometry=base.geometry.replace(overlap_length=0.205))
    with pytest.raises(JointError, match="the overlap is too short for any"):
        checked(Disbond(length=0.05), short)


def test_mixed_mode_of_an_adhesive():
    adhesive = joint("single-lap").adhesive
    assert (adhesive.mixed_mode_rule, adhesive.mixed_mode_exponent) == ("power", None)
    assert adhesive.replace(mixed_mode_rule="b-k", mixed_mode_exponent="2").mixed_mode_exponent == 2.0
    with pytest.raises(JointError, match='mixed_mode_exponent is missing: mixed_mode_rule = "b-k" needs it'):
        adhesive.replace(mixed_mode_rule="b-k")
    with pytest.raises(JointError, match="mixed_mode_exponent = 11: must be at most 10"):
        adhesive.replace(mixed_mode_exponent=11)
