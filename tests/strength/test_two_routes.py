"""Two routes to one load: a long disbond grows where a cohesive layer is parted and where energy release meets its toughness.

Both are the project's own, and share nothing but the arms' material: interface elements followed past the peak on
one side, virtual crack closure on cells of adhesive, held to handbooks in tests/mechanics/test_energy_release.py, on the other.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fejoint.mechanics.separation import TractionLaw
from tests.mechanics.split_beams import NU, E, Pulled, Split
from tests.strength.beams import Layer, strip

MODULUS, RATIO, THICKNESS, ARM = 1850.0, 0.33, 0.2, 3.0
TOUGHNESS = 0.43
CONSTRAINED = MODULUS * (1 - RATIO) / ((1 + RATIO) * (1 - 2 * RATIO))


def by_energy(crack: float) -> float:
    """Return the load at which a double cantilever beam's crack grows, N/mm."""
    half = Layer(MODULUS, RATIO, THICKNESS / 2, 8)
    beam = strip([Layer(E, NU, ARM, 0), half, half, Layer(E, NU, ARM, 0)], 2, crack, crack + 60.0, THICKNESS / 16, longest=2.0)
    upper, lower = beam.face(0.0, THICKNESS / 2, THICKNESS / 2 + ARM), beam.face(0.0, -THICKNESS / 2 - ARM, -THICKNESS / 2)
    u = beam.solved(beam.traction(upper, across=1.0) + beam.traction(lower, across=-1.0), beam.at_rest())
    return math.sqrt(TOUGHNESS / beam.rates(u)[1])


def test_a_long_disbond_grows_at_one_load_by_both_routes():
    """3 % asked for: the process zone, some 3 mm of 75, is a crack with an effective length that the energy lost tells."""
    law = TractionLaw(CONSTRAINED / THICKNESS, MODULUS / (2 * (1 + RATIO)) / THICKNESS, 21.63, 17.9, TOUGHNESS, 4.7)
    split = Split(law, ARM, THICKNESS, 160.0, 60.0, 1.0, "dcb", (60.0, 90.0))
    last = Pulled(split).path(crack=75.0)[-1]
    crack = split.crack + last["lost"] / TOUGHNESS
    assert crack > 70
    assert last["force"] == pytest.approx(by_energy(crack), rel=0.03)
    # A law of another shape, the same toughness: the same load again.
    flat = replace(split, law=replace(law, plateau_1=0.6))
    other = Pulled(flat).path(crack=75.0)[-1]
    assert other["force"] == pytest.approx(by_energy(split.crack + other["lost"] / TOUGHNESS), rel=0.03)
