"""Failure patterns: the standards' words, shares that add to 100, the dominating class. Shares are made up."""

from __future__ import annotations

import pytest

from fejoint.coupon.patterns import PATTERNS, averaged, pattern_of
from fejoint.proof import measured


def test_words_are_those_of_the_proof():
    """One table, wherever it is asked for."""
    assert measured.PATTERNS is PATTERNS


THIRDS = dict.fromkeys(("cohesive", "adhesive", "stock-break"), 33.3)  # whole thirds lose 0.1 in rounding


@pytest.mark.parametrize(
    ("given", "shares", "word"),
    [
        ("cohesive", {"cohesive": 100}, "cohesive"),
        ("CF", {"cohesive": 100}, "cohesive"),
        ("Light fibre tear", {"light-fiber-tear": 100}, "light-fiber-tear"),
        ({"adhesive": 20, "cohesive": 80}, {"cohesive": 80, "adhesive": 20}, "cohesive"),
        ({"adhesive": 50, "cohesive": 50}, {"adhesive": 50, "cohesive": 50}, "mixed"),
        # The example of ASTM D5573 as a publisher's abstract has it: 20 % adhesive, 60 % light-fiber-tear, 20 % fiber-tear.
        (
            {"adhesive": 20, "light-fiber-tear": 60, "fiber-tear": 20},
            {"light-fiber-tear": 60, "adhesive": 20, "fiber-tear": 20},
            "light-fiber-tear",
        ),
        (
            {"cohesive": 33.3, "adhesive": 33.3, "stock-break": 33.3},
            {"cohesive": 33.3, "adhesive": 33.3, "stock-break": 33.3},
            "mixed",
        ),
        ({"cohesive": 100, "adhesive": 0}, {"cohesive": 100}, "cohesive"),
    ],
)
def test_patterns(given, shares, word):
    found = pattern_of(given)
    assert list(found.shares.items()) == list(shares.items())
    assert found.word == word


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("mixed", "mixed needs its shares"),
        ("broken", "must be one of adhesive, cohesive"),
        ({"cohesive": 80, "adhesive": 10}, "must add to 100 per cent of the area, and add to 90"),
        ({"cohesive": 99.4}, "add to 99.4"),
        ({"cohesive": 80, "CF": 20}, "cohesive is there twice"),
        ({"mixed": 100}, '"mixed" is no class'),
        ({"glue": 100}, '"glue" is no class'),
        ({"cohesive": "80"}, "must be per cent of the bonded area, from 0 to 100"),
        ({"cohesive": 120, "adhesive": -20}, "from 0 to 100"),
        ({"cohesive": True}, "from 0 to 100"),
        ({"cohesive": float("nan")}, "from 0 to 100"),
        ({}, "add to 0"),
    ],
)
def test_bad_patterns(given, said):
    with pytest.raises(ValueError, match=said):
        pattern_of(given)


def test_mean_pattern():
    """By hand: 80 and 50 per cent cohesive are 65."""
    mean = averaged([pattern_of({"cohesive": 80, "adhesive": 20}), pattern_of({"adhesive": 50, "cohesive": 50})])
    assert mean.shares == {"cohesive": 65.0, "adhesive": 35.0}
    assert str(mean) == "65 % cohesive, 35 % adhesive"
    assert averaged([]) is None
