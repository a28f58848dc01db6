"""Which load to believe: the bounds of the advice against shear lag with a softening layer, solved by scipy; and each branch.

Shear lag of a balanced overlap whose layer has a law tau(d) of its slip: d'' = 2 tau(d)/(E t), symmetric about the middle,
load P = E t d'(l/2). In units of E t = 1, strength = 1 and slip at failure = 1.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from fejoint.strength.advice import LONG, SHORT, advice
from fejoint.strength.capacity import Capacity


def borne(ratio, onset, plateau=0.0):
    """Return the most that an overlap bears, over the lesser of all of it at its strength and a long one's energy.

    Parameters
    ----------
    ratio : float
        Overlap over zone: strength times length over the long overlap's load, sqrt(4 E t G).
    onset : float
        Slip at which the strength is reached, over that at failure.
    plateau : float
        Share of the slip beyond at which the strength holds before it falls straight to nothing.
    """
    falls = onset + plateau * (1 - onset)
    toughness = onset / 2 + (falls - onset) + (1 - falls) / 2
    long = math.sqrt(4 * toughness)
    length = ratio * long

    def tau(d):
        return d / onset if d < onset else 1.0 if d < falls else max(0.0, (1 - d) / (1 - falls))

    def load(logarithm):
        """Return the load at a slip of the middle: half an overlap shot to its end."""
        shot = solve_ivp(
            lambda x, y: [y[1], 2 * tau(y[0])],
            [0, length / 2],
            [math.exp(logarithm), 0.0],
            rtol=1e-7,
            atol=1e-12,
            max_step=length / 100,
        )
        return shot.y[1, -1]

    # The load rises to one maximum with the slip of the middle, which on long overlaps is tiny.
    slips = np.concatenate([np.linspace(math.log(1e-12), math.log(onset), 25), np.log(np.linspace(onset, 1, 12)[1:])])
    loads = [load(s) for s in slips]
    best = int(np.argmax(loads))
    around = slips[max(best - 1, 0)], slips[min(best + 1, len(slips) - 1)]
    refined = minimize_scalar(lambda s: -load(s), bounds=around, method="bounded", options={"xatol": 1e-4})
    return max(-refined.fun, max(loads)) / min(length, long)


@pytest.mark.parametrize("onset", [0.02, 0.4])
def test_between_the_limits_a_softening_layer_lies_up_to_a_fifth_below_the_lesser(onset):
    """What advice.py claims of a bilinear law, at the limits and half-way: 0.79 or more within them, 0.94 outside."""
    for ratio in (0.25, SHORT, 1.0, LONG, 3.0):
        share = borne(ratio, onset)
        assert share <= 1 + 1e-3  # neither bound is passed: the maximum is found to about 1e-4
        assert share >= (0.79 if SHORT < ratio < LONG else 0.94), ratio


@pytest.mark.slow
@pytest.mark.parametrize("onset", [0.005, 0.05, 0.1, 0.2, 0.4])
def test_the_claim_over_all_ratios(onset):
    """As above at many ratios."""
    for ratio in (0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9, 1.0, 1.1, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0):
        assert borne(ratio, onset) >= (0.79 if SHORT < ratio < LONG else 0.94), ratio


@pytest.mark.parametrize("ratio", [0.4, 0.98, 1.3])
def test_for_a_layer_that_yields_and_then_breaks_the_lesser_is_exact(ratio):
    """Onset 0.002, then flat, and a fall over the last 1e-3 of the slip: within 1 %, which rounding by onset and fall leaves.

    A law of that onset gives away about its elastic share, sqrt(0.002) at ratio 1 at most (derived); away from 1 far less.
    """
    assert borne(ratio, 0.002, plateau=0.999) == pytest.approx(1.0, abs=0.05 if ratio == 0.98 else 0.01)


# ---- which is believed ----------------------------------------------------------------


def capacity(key, factor, route="stress", mode="cohesive", **rest):
    return Capacity(key=key, name=key, route=route, mode=mode, factor=factor, force=factor * 1000, **rest)


def chosen(length=10.0, **factors):
    """Return the advice on capacities by key (- written _)."""
    return advice([capacity(key.replace("_", "-"), factor) for key, factor in factors.items()], length)


@pytest.mark.parametrize(
    ("plateau", "end", "believed", "words"),
    [
        (1.0, 4.0, "plateau", "gives way as a whole"),
        (8.0, 2.0, "energy-end", "toughness decides"),
        (1.5, 1.0, "energy-end", "up to a fifth too high"),
        (1.0, 1.5, "plateau", "up to a fifth too high"),
    ],
    ids=["short", "long", "between, energy less", "between, plateau less"],
)
def test_regimes(plateau, end, believed, words):
    """Overlap over zone is plateau over energy; the zone is the overlap over that. Peaks of stress do not count in any."""
    found = chosen(plateau=plateau, energy_end=end, interaction_point=0.1, shear_peak=0.05)
    assert found.believed.key == believed
    assert found.ratio == pytest.approx(plateau / end, rel=1e-12)
    assert found.zone == pytest.approx(10.0 * end / plateau, rel=1e-12)
    assert words in found.why


def test_a_short_bond_that_breaks_at_a_strain_first():
    """Where both run, the lesser of plateau and the layer that yields and breaks."""
    assert chosen(plateau=1.0, energy_end=4.0, elastic_plastic=0.8).believed.key == "elastic-plastic"
    assert chosen(plateau=1.0, energy_end=4.0, elastic_plastic=1.2).believed.key == "plateau"


@pytest.mark.parametrize(("plateau", "words"), [(0.3, "limit analysis should agree"), (1.0, "only a law"), (3.0, "energy")])
def test_the_cohesive_zone_is_believed_where_it_ran(plateau, words):
    found = chosen(plateau=plateau, energy_end=1.0, cohesive_zone=0.9)
    assert found.believed.key == "cohesive-zone"
    assert words in found.why
    assert chosen(cohesive_zone=0.9).why == "the cohesive zone has both strength and toughness in it"


def test_a_disbond_decides_whatever_the_stress():
    found = chosen(plateau=1.0, energy_end=4.0, energy_disbond=0.8, interaction_point=0.5, cohesive_zone=0.9)
    assert found.believed.key == "energy-disbond"
    assert "disbond" in found.why


@pytest.mark.parametrize("least", ["plateau", "cohesive_zone", "elastic_plastic"])
def test_a_disbond_makes_no_bond_stronger(least):
    """The sound bond's own load, where that is less: a short disbond grows at a load that the layer never bears."""
    found = chosen(**{"plateau": 1.0, "cohesive_zone": 0.9, least: 0.5}, energy_end=4.0, energy_disbond=0.8)
    assert found.believed.key == least.replace("_", "-")
    assert "before its disbond grows" in found.why


def test_with_figures_missing_the_least_that_runs():
    """No toughness: plateau or a point of stress, and why it is a guess or an upper bound; nothing at all is said, too."""
    guess = chosen(plateau=1.0, interaction_point=0.5, shear_point=0.7)
    assert (guess.believed.key, math.isnan(guess.ratio)) == ("interaction-point", True)
    assert "a guess" in guess.why
    bound = chosen(plateau=0.3, shear_point=0.7)
    assert bound.believed.key == "plateau"
    assert "upper bound" in bound.why
    assert chosen(energy_end=0.3).believed.key == "energy-end"
    assert chosen(plateau=2.0, elastic_plastic=1.0, shear_point=0.1).believed.key == "elastic-plastic"
    nothing = advice([capacity("plateau", math.nan, reason="needs adhesive.shear_strength; add it")], 10.0)
    assert nothing.believed is None
    assert "neither strength nor toughness" in nothing.why


def test_what_cannot_run_or_never_fails_is_not_believed():
    """An infinite energy, or one that did not run, leaves the others; an end that parts by itself is believed at 0."""
    assert chosen(plateau=1.0, energy_end=math.inf).believed.key == "plateau"
    assert chosen(plateau=1.0, energy_end=0.0).believed.factor == 0.0


def test_no_load_beyond_the_bonds_limit_load_is_believed():
    """What equilibrium along the path excludes is believed by no criterion; a limit of the adherends is none of the bond."""
    of = [capacity("plateau", 3.0, "plateau"), capacity("energy-end", 9.0, "energy")]
    bond, metal = (capacity("limit-load", 2.0, "plateau", mode=mode) for mode in ("cohesive", "adherend-yield"))
    assert advice([*of, bond], 10.0).believed is bond
    assert "bears no more" in advice([*of, bond], 10.0).why
    assert advice([*of, metal], 10.0).believed.key == "plateau"
    higher = capacity("limit-load", 4.0, "plateau")
    assert advice([*of, higher], 10.0).believed.key == "plateau"
    assert advice([bond], 10.0).believed is bond
