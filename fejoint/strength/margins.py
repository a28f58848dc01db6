"""Margins: the load that each way of failing leaves, knocked down by the factors that its user states."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fejoint.joint.strength import Knockdown
from fejoint.strength.capacity import ADHESIVE_MODES, MODES, Capacity, Mode

__all__ = ["Margin", "margin_of", "margins_of"]


# Criteria of all but the bond that end what a joint bears, by the way of failing.
WHOLE = {
    "adherend-yield": ("adherend-hinge", "adherend-net-yield", "limit-load"),
    "adherend-rupture": ("adherend-rupture",),
    "buckling": ("buckling", "buckling-flaw", "limit-load"),
}


@dataclass(frozen=True, kw_only=True)
class Margin:
    """What is left against one way of failing.

    Attributes
    ----------
    mode : Mode
    capacity : Capacity
        Whose load stands for the mode.
    knockdowns : tuple of Knockdown
        That count for it.
    factor : float
        Share of the joint's loads that is borne, knockdowns counted in.
    force : float, N
        The same times the joint's force.
    """

    mode: Mode
    capacity: Capacity
    knockdowns: tuple[Knockdown, ...]
    factor: float
    force: float

    @property
    def margin(self) -> float:
        """Margin of safety: the load borne over the load applied, less 1."""
        return self.factor - 1


def margin_of(capacity: Capacity, knockdowns: Sequence[Knockdown]) -> Margin:
    """Return the margin that a capacity leaves. Knockdowns are factors on the load that is borne."""
    part = "adhesive" if capacity.mode in ADHESIVE_MODES else "adherends"
    counted = tuple(k for k in knockdowns if k.on in (part, "all"))
    left = math.prod(k.factor for k in counted)
    return Margin(
        mode=MODES[capacity.mode],
        capacity=capacity,
        knockdowns=counted,
        factor=left * capacity.factor,
        force=left * capacity.force,
    )


def margins_of(capacities: Sequence[Capacity], believed: Capacity | None, knockdowns: Sequence[Knockdown]) -> list[Margin]:
    """Return the margin against every way of failing, the least first.

    The bond's is that of the criterion to believe; yield of an adherend that of
    yield all through, in bending, by the load alone or as the load's path found it, whichever comes first; buckling, too.
    """
    of = {c.key: c for c in capacities if c.runs}
    chosen = [believed] if believed is not None else []
    # Where the path ended before a hinge was there, yield by the load alone would say that there is none.
    unmet = any(c.key == "adherend-hinge" and c.reason.startswith("not met") for c in capacities)
    of = {key: c for key, c in of.items() if not (unmet and key == "adherend-net-yield")}
    for mode, keys in WHOLE.items():
        found = [of[key] for key in keys if key in of and of[key].mode == mode]
        chosen += [min(found, key=lambda c: c.factor)] if found else []
    return sorted((margin_of(c, knockdowns) for c in chosen), key=lambda m: m.factor)
