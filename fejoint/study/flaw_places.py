"""Where along a bondline flaws are put, and how long, to ask what a joint bears with them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.disbond import LEAST_AHEAD, SHORTEST
from fejoint.joint.families import SteppedLap
from fejoint.joint.flaws import Flaw
from fejoint.joint.geometry import Bond
from fejoint.strength.long_overlap import is_balanced
from fejoint.strength.stretches import sound

__all__ = ["KINDS", "MOST_LENGTHS", "name_of", "planned", "start_of"]

KINDS = ("disbond", "void", "unwetted")
MOST_LENGTHS, MOST_PLACES = 50, 11
NAMES = {0.0: "left end", 0.25: "left quarter", 0.5: "middle", 0.75: "right quarter", 1.0: "right end"}


def planned(
    joint: Joint, kind: str, place: str | None, bondline: int, *, lengths: int, places: int, margin: float
) -> tuple[Joint, Bond, Flaw, dict[float, list[float]]]:
    """Return what `flaw_capacity` of these would solve: the sound joint, the bond, a flaw of the kind, lengths by share.

    Raises
    ------
    JointError
        As `fejoint.study.flaw_capacity.flaw_capacity`, and before anything is solved.
    """
    _check(kind, lengths, places, margin)
    bare = sound(joint)
    bare = bare.replace(strength=bare.strength.replace(disbond=None)) if bare.strength.disbond else bare
    bond = _bond(bare, bondline)
    first = Flaw(kind=kind, start=bond.start, length=1.0, place=place, bondline=bondline)
    return bare, bond, first, {share: _lengths(bare, bond, share, lengths) for share in _shares(places, bare)}


def name_of(share: float, shares: Sequence[float]) -> str:
    """Return what the place at a share of the bondline is called, `shares` being all that flaws are put at."""
    known = next((name for at, name in NAMES.items() if abs(at - share) < 1e-9), f"at {share:.2g} of the bondline")
    if len(shares) > 1 and shares[-1] < 0.75:  # what is on the left stands for both
        known = known.replace("left end", "either end").replace("left quarter", "either quarter")
    return known


def start_of(joint: Joint, bond: Bond, share: float, length: float) -> float:
    """Return where a flaw of a length begins at a share of the bondline, mm."""
    low, high = _within(joint, bond)
    if share in (0.0, 1.0):
        return low if share == 0.0 else high - length
    return bond.start + share * (bond.end - bond.start) - length / 2


# ---- parts ---------------------------------------------------------------


def _check(kind: str, lengths: int, places: int, margin: float) -> None:
    if kind not in KINDS:
        raise JointError(f"kind {kind}: must be one of {', '.join(KINDS)}.")
    for name, number, least, most in (("lengths", lengths, 2, MOST_LENGTHS), ("places", places, 1, MOST_PLACES)):
        if not least <= number <= most:
            raise JointError(f"{name} {number}: must be from {least} to {most}.")
    if not -1 < margin < 1000:  # a NaN, too
        raise JointError(f"margin {margin}: must be a number above -1, such as 0.5.")


def _bond(joint: Joint, number: int) -> Bond:
    bonds = joint.geometry.bonds()
    found = next((bond for bond in bonds if bond.number == number), None)
    if found is None:
        there = "only bondline 1" if len(bonds) == 1 else f"bondlines 1 to {len(bonds)}"
        raise JointError(f"bondline {number}: the joint has {there}.")
    return found


def _shares(places: int, joint: Joint) -> list[float]:
    """Return where along the bondline flaws are put; of a joint whose right half is as its left, those on the left alone."""
    shares = [0.5] if places == 1 else [i / (places - 1) for i in range(places)]
    turned = is_balanced(joint) and joint.load.force_alone and not joint.geometry.bondline_taper
    lower, upper = (joint.geometry.adherends()[name] for name in ("lower", "upper")) if turned else (None, None)
    if turned and lower == upper:
        shares = [share for share in shares if share <= 0.5 + 1e-9]
    return shares


def _within(joint: Joint, bond: Bond) -> tuple[float, float]:
    """Return between which places a flaw may lie, mm: in a stepped lap clear of the risers."""
    clear = LEAST_AHEAD * joint.geometry.bondline_thickness if isinstance(joint.geometry, SteppedLap) else 0.0
    return bond.start + clear, bond.end - clear


def _lengths(joint: Joint, bond: Bond, share: float, number: int) -> list[float]:
    """Return the lengths of the flaw at a place, denser where they are short; JointError where there is no room for any."""
    low, high = _within(joint, bond)
    ta = joint.geometry.bondline_thickness
    if share in (0.0, 1.0):
        most = high - low - 2 * ta
    else:
        middle = bond.start + share * (bond.end - bond.start)
        most = 2 * (min(middle - low, high - middle) - 1.01 * LEAST_AHEAD * ta)
    least = max(SHORTEST * ta, 0.03 * most)
    if most < 2 * least:
        raise JointError(
            f"bondline {bond.number}: {bond.end - bond.start:g} mm long, it has no room for flaws of several lengths; "
            "ask for fewer places, or give the flaw itself."
        )
    return [float(length) for length in least + (most - least) * np.linspace(0, 1, number) ** 1.5]
