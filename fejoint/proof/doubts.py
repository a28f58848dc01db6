"""What figures found from tests must not be trusted for, in plain sentences: not told apart, at a bound, no influence, misfit."""

from __future__ import annotations

import math
from itertools import groupby

from fejoint.proof.estimate import Estimate
from fejoint.proof.identify import Identified

__all__ = ["MISFIT", "doubts", "further_test"]

MISFIT = 2.0  # times the coupons' own scatter: beyond it what is left over is no scatter (an assumption)
WIDE = 9.0  # upper over lower end of an interval: a factor of three either way tells next to nothing (an assumption)
MODULI = {"adhesive.elastic_modulus", "adhesive.shear_modulus"}
THICKNESS = "joint.bondline_thickness"
TOUGHNESSES = {"adhesive.toughness_mode_1", "adhesive.toughness_mode_2"}
STRENGTHS = {"adhesive.tensile_strength", "adhesive.shear_strength", "adhesive.shear_yield"}
YIELDING = {"adhesive.tensile_yield", "adhesive.hardening.rise", "adhesive.hardening.rate"}


def doubts(found: Identified) -> list[str]:
    """Return what to know before the figures are used, a sentence each."""
    estimate = found.estimate
    told = [_pair(*pair) for pair in estimate.alike]
    for one, value, low, high in zip(estimate.sought, estimate.values, estimate.low, estimate.high, strict=True):
        if one.key in estimate.no_influence:
            told.append(
                f"{one.key} has no influence on what was measured: the tests say nothing of it, and its value is where the "
                f"search began or ended by chance; {_seen_by(one.key, found.quick)}."
            )
        elif one.key in estimate.at_bound:
            side = "lower" if value / one.low < one.high / value else "upper"
            told.append(
                f"{one.key} stands at its {side} bound: the tests ask for more than the bounds allow, so it is no estimate; "
                "widen --bounds, or doubt the model or the tests."
            )
        elif high / low > WIDE:
            told.append(
                f"{one.key} is hardly told by these tests: its interval reaches from {low:.3g} to {high:.3g} {one.unit}; "
                f"{_seen_by(one.key, found.quick)}."
            )
    if estimate.freedom <= 0:
        told.append(
            "There are as many figures as measured values: nothing is left over to tell an interval by; give more coupons."
        )
    elif (misfit := _misfit(found)) > MISFIT:
        told.append(
            f"The tests are missed by {misfit:.2g} times the scatter of like coupons: the model does not follow them all, and "
            "the intervals do not know that error."
        )
    if not estimate.settled:
        told.append("The search did not come to rest; begin nearer, or give narrower --bounds.")
    return [*told, *found.notes]


def further_test(first: str, second: str) -> str:
    """Return which further test would tell two figures apart."""
    pair = {first, second}
    if THICKNESS in pair:
        return "measure the bondline's thickness (microsection), or add coupons of another, known thickness"
    if pair <= MODULI:
        return "a bulk tensile test tells the elastic modulus, a thick-adherend shear test the shear modulus"
    if pair <= TOUGHNESSES:
        return "a double-cantilever or peel test tells mode I, an end-notched one mode II"
    if pair & TOUGHNESSES and pair & (STRENGTHS | YIELDING):
        return "coupons of another overlap length: short ones tell the strength, long ones the toughness; or a peel test"
    if pair <= STRENGTHS:
        return "a butt joint pulled apart tells the tensile strength, a thick-adherend shear test the shear strength"
    if pair <= YIELDING:
        return "a curve to a larger strain, such as that of a thick-adherend shear test"
    if pair & MODULI and pair & YIELDING:
        return "a curve with more of its early part, by an extensometer on the specimen"
    return "coupons of another overlap length or bondline thickness, or a peel test"


def _pair(first: str, second: str, correlation: float) -> str:
    way = "one larger and the other smaller" if correlation < 0 else "both larger or both smaller"
    return (
        f"The tests cannot tell {first} and {second} apart (correlation {correlation:+.3f}): {way} fits nearly as well, so take "
        f"neither value alone; {further_test(first, second)}."
    )


def _seen_by(key: str, quick: bool) -> str:
    if key in MODULI:
        return "measure nearer to the bond, by an extensometer with a short gauge or on thick adherends"
    if key in TOUGHNESSES:
        if quick:
            return "the cohesive zone, which feels it, was left out (--quick)"
        return "a longer overlap or a peel test would feel it"
    if key in STRENGTHS:
        return "a shorter overlap would feel it"
    return "another test would have to feel it"


def _misfit(found: Identified) -> float:
    """Return how far the model is from the means of like coupons, over the scatter of these means; NaN where it is not known."""
    estimate: Estimate = found.estimate
    rows = sorted(((one.test, one.kind, one.at if one.at == one.at else 0.0), i) for i, one in enumerate(found.observations))
    squares, number = 0.0, 0
    for _, group in groupby(rows, key=lambda row: row[0]):
        places = [i for _, i in group]
        off = [math.log(estimate.expected[i] / estimate.observed[i]) / estimate.sd[i] for i in places]
        squares += sum(off) ** 2 / len(off)
        number += 1
    fixed = {*estimate.no_influence, *estimate.at_bound}
    spare = number - sum(one.key not in fixed for one in estimate.sought)
    if spare <= 0 or any("an assumption" in note for note in found.notes):
        return math.nan
    return math.sqrt(squares / spare)
