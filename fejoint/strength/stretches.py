"""The bonded stretches that flaws leave of a joint's bondlines: where criteria begin, and what bears as a whole."""

from __future__ import annotations

from typing import NamedTuple

from fejoint.joint.description import Joint
from fejoint.joint.flaws import Flaw
from fejoint.joint.geometry import Bond

__all__ = ["Stretch", "bonded_left", "cracked_joint", "flawed_joint", "sound", "stretches"]

# Levels of a bondline begin this many bondline thicknesses inside an end where they are singular.
CLEAR = 0.5


class Stretch(NamedTuple):
    """A bonded stretch of a bondline.

    Attributes
    ----------
    bond : Bond
    start, end : float, mm
    left, right : Flaw or None
        What it ends at: a flaw; None for the end of the overlap.
    """

    bond: Bond
    start: float
    end: float
    left: Flaw | None
    right: Flaw | None

    def inside(self, level: str, thickness: float) -> tuple[float, float]:
        """Return from where to where a level's stress means something, mm: clear of tips and corners where it is singular.

        The curves of the interfaces already begin clear of the overlap's own corners.
        """

        def clear(flaw: Flaw | None) -> float:
            if flaw is None:
                return 0.0
            # The layer ends at a void as it does at the overlap's end, where the mid-line is regular.
            cracked = flaw.level == "middle"
            return CLEAR * thickness if cracked or level != "middle" else 0.0

        return self.start + clear(self.left), self.end - clear(self.right)


def flawed_joint(joint: Joint) -> Joint:
    """Return a joint with flaws whose `strength.disbond`, if there is one, stands among them; any other as it is.

    So all that counts flaws counts it, too, and it is merged with flaws that it meets.
    """
    return cracked_joint(joint) if joint.flaws else joint


def cracked_joint(joint: Joint) -> Joint:
    """Return a joint whose `strength.disbond`, if there is one, stands among its flaws."""
    disbond = joint.strength.disbond
    if disbond is None:
        return joint
    bond = disbond.bond(joint)
    start = bond.start if disbond.end == "left" else bond.end - disbond.length
    flaw = Flaw(kind="disbond", start=start, length=disbond.length, place=disbond.place, bondline=disbond.bondline)
    return joint.replace(flaws=(*joint.flaws, flaw), strength=joint.strength.replace(disbond=None))


def sound(joint: Joint) -> Joint:
    """Return a joint without its flaws."""
    return joint.replace(flaws=()) if joint.flaws else joint


def stretches(joint: Joint) -> dict[int, list[Stretch]]:
    """Return the bonded stretches of every bondline by its number, from the left; without flaws one each, the whole of it."""
    flaws = joint.merged_flaws().flaws
    found: dict[int, list[Stretch]] = {}
    for bond in joint.geometry.bonds():
        own = sorted((flaw for flaw in flaws if flaw.bondline == bond.number), key=lambda flaw: flaw.start)
        start, left, near = bond.start, None, 1e-9 * (bond.end - bond.start)
        found[bond.number] = parts = []
        for flaw in own:
            if flaw.start > start + near:
                parts.append(Stretch(bond, start, flaw.start, left, flaw))
            start, left = flaw.end, flaw
        if bond.end > start + near:
            parts.append(Stretch(bond, start, bond.end, left, None))
    return found


def bonded_left(joint: Joint) -> float:
    """Return the length of all bondlines that flaws, and a disbond, leave bonded, mm."""
    joint = flawed_joint(joint)
    parted = joint.strength.disbond.length if joint.strength.disbond else 0.0
    return sum(part.end - part.start for parts in stretches(joint).values() for part in parts) - parted
