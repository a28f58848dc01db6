"""Flaws of a bondline: voids, disbonds and unwetted patches, each a stretch along which the bond does not hold."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal, NamedTuple, Self

from pydantic import BeforeValidator, Field, model_validator

from fejoint.joint.disbond import LEAST_AHEAD, SHORTEST
from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import WITHIN, Bond, Length
from fejoint.joint.model import Model, Unit, refuse, whole

if TYPE_CHECKING:
    from fejoint.joint.description import Joint

__all__ = [
    "MOST_FLAWS",
    "WHOLE_WIDTH",
    "Flaw",
    "Merged",
    "check_flaws",
    "edge_parameters",
    "flaw_edges",
    "merged",
    "reach",
    "tips",
]

# Stretches of a joint, after merging; each needs cells of its own.
MOST_FLAWS = 20
# Of a place that a sum of figures makes, mm: 24 + 1 is the end of an overlap of 25.
SAME = 1e-6
GRAVITY = ("disbond", "unwetted", "void")
WHOLE_WIDTH = "flaws are taken across the whole width: a patch that does not span it is counted as if it did"


class Flaw(Model):
    """A stretch of a bondline along which nothing holds, across the whole width."""

    in_a_line: ClassVar[bool] = True

    kind: Literal["void", "disbond", "unwetted"] = Field(examples=["void"])
    """void: no adhesive, through the layer's thickness; disbond: faces apart; unwetted: never bonded, at an interface"""
    start: Annotated[float, Unit("mm", ge=0, le=100_000)] = Field(examples=["3 mm"])
    """Where it begins along the joint: x, which is 0 at the overlap's left end, in a stepped lap too"""
    length: Length = Field(examples=["2 mm"])
    """How far it goes on along the joint; a spew fillet at an end that it reaches is lost with it"""
    place: Literal["middle", "lower", "upper"] | None = Field(None, examples=["lower"])
    """Where in the layer's thickness: disbond middle, lower or upper; unwetted lower or upper; a void has no place"""
    bondline: Annotated[int, Field(ge=1, strict=True), BeforeValidator(whole)] = Field(1, examples=[1])
    """Number of the bondline, of a stepped lap that of the tread"""

    @model_validator(mode="after")
    def _place_fits(self) -> Self:
        if self.kind == "void" and self.place is not None:
            refuse("place", self.place, "a void goes through the layer's thickness and has no place; leave it out")
        if self.kind == "unwetted" and self.place == "middle":
            refuse("place", self.place, 'an unwetted patch lies at an interface, "lower" or "upper"')
        return self

    @property
    def end(self) -> float:
        """Where it ends, x in mm."""
        return self.start + self.length

    @property
    def level(self) -> str:
        """Where in the thickness: ``"middle"``, ``"lower"``, ``"upper"``, or ``"all"`` of a void."""
        return "all" if self.kind == "void" else self.place or {"disbond": "middle", "unwetted": "lower"}[self.kind]

    def __str__(self) -> str:
        """Return the flaw in words."""
        where = {"all": "", "middle": " in the middle of the layer"}.get(self.level, f" at the {self.level} interface")
        what = "unwetted patch" if self.kind == "unwetted" else self.kind
        return f"{what} from {self.start:g} to {self.end:g} mm{where}"


class Merged(NamedTuple):
    """The flaws that a joint is solved with.

    Attributes
    ----------
    flaws : tuple of Flaw
        By bondline, then along x; no two of a bondline touch. One that ends where its bondline ends reaches that
        place exactly.
    said : tuple of str
        What was made of those that the user gave, where that is something else.
    """

    flaws: tuple[Flaw, ...]
    said: tuple[str, ...]


def merged(joint: Joint) -> Merged:
    """Return a joint's flaws with those of a bondline that overlap, touch or leave too little between them as one.

    What is nearer to an end of the bondline than its adhesive is thick reaches
    that end, and flaws that are nearer to each other than that are one: so
    thin a bridge of adhesive is not relied on. The union has the graver kind:
    a void, then an unwetted patch, then a disbond; of equal kinds in unlike
    places, the place of the longer.
    """
    said: list[str] = []
    found: list[Flaw] = []
    for bond in joint.geometry.bonds():
        own = [(i, flaw) for i, flaw in enumerate(joint.flaws, 1) if flaw.bondline == bond.number]
        found += _of_bond(sorted(own, key=lambda item: item[1].start), bond, joint, said)
    return Merged(tuple(found), tuple(said))


def _of_bond(own: list[tuple[int, Flaw]], bond: Bond, joint: Joint, said: list[str]) -> list[Flaw]:
    least = LEAST_AHEAD * joint.geometry.bondline_thickness
    groups: list[list[tuple[int, Flaw]]] = []
    reach = 0.0
    for item in own:
        if groups and item[1].start < reach + least - SAME:
            groups[-1].append(item)
        else:
            groups.append([item])
        reach = max(reach, item[1].end) if len(groups[-1]) > 1 else item[1].end
    found = []
    for group in groups:
        union = _union([flaw for _, flaw in group])
        if len(group) > 1:
            numbers = [str(i) for i in sorted(i for i, _ in group)]
            why = "overlap" if _overlap([flaw for _, flaw in group]) else f"leave less than {least:g} mm bonded between them"
            said.append(
                f"flaws {', '.join(numbers[:-1])} and {numbers[-1]} of bondline {bond.number} {why}: counted as one {union}"
            )
        start, end = union.start, union.end
        start = bond.start if start < bond.start + least - SAME else start
        end = bond.end if end > bond.end - least + SAME else end
        if start < union.start - SAME or end > union.end + SAME:
            sides = [side for side, there in (("start", start < union.start - SAME), ("end", end > union.end + SAME)) if there]
            said.append(
                f"the {union} of bondline {bond.number} leaves less than {least:g} mm bonded at the overlap's "
                f"{' and '.join(sides)}: counted as reaching it"
            )
        found.append(union if (start, end) == (union.start, union.end) else union.replace(start=start, length=end - start))
    return found


def _union(flaws: list[Flaw]) -> Flaw:
    if len(flaws) == 1:
        return flaws[0]
    gravest = max(flaws, key=lambda flaw: (GRAVITY.index(flaw.kind), flaw.length))
    start = flaws[0].start
    return gravest.replace(start=start, length=max(flaw.end for flaw in flaws) - start)


def _overlap(flaws: list[Flaw]) -> bool:
    """Return whether flaws, in order along x, overlap or touch one after the other."""
    reach = flaws[0].end
    for flaw in flaws[1:]:
        if flaw.start > reach + SAME:
            return False
        reach = max(reach, flaw.end)
    return True


def reach(flaw: Flaw, bond: Bond) -> tuple[float, float]:
    """Return from where to where along x a flaw goes, mm: without end where it reaches that of its bondline, fillet and all."""
    return -math.inf if flaw.start <= bond.start else flaw.start, math.inf if flaw.end >= bond.end else flaw.end


def tips(joint: Joint, bond: Bond, level: str) -> tuple[float, ...]:
    """Return where along x the stress at a level of a bond is singular for a flaw, mm.

    At the tips of what is parted at that level; at an interface also where a void's end face meets it.
    """
    found: list[float] = []
    for flaw in merged(joint).flaws:
        if flaw.bondline == bond.number and (flaw.level == level or (flaw.kind == "void" and level != "middle")):
            found += [x for x in reach(flaw, bond) if math.isfinite(x)]
    return tuple(sorted(found))


def flaw_edges(joint: Joint) -> dict[float, bool]:
    """Return where along x, mm, a joint's flaws end inside their bondlines, in order; and whether as a disbond's tip."""
    bonds = {bond.number: bond for bond in joint.geometry.bonds()}
    found: dict[float, bool] = {}
    for flaw in merged(joint).flaws:
        bond = bonds[flaw.bondline]
        for x in (flaw.start, flaw.end):
            if bond.start < x < bond.end:
                # Of two bondlines the same place, but for round-off, is one.
                x = next((known for known in found if abs(known - x) < SAME), x)
                found[x] = found.get(x, False) or flaw.kind != "void"
    return dict(sorted(found.items()))


def edge_parameters(edges: dict[float, bool]) -> dict[str, float]:
    """Return the geometry scripts' parameters for edges of flaws (`flaw_edges`)."""
    parameters = {"flaw_edges": float(len(edges)), "flaw_tips": float(sum(edges.values()))}
    for i, (x, tip) in enumerate(sorted(edges.items()), 1):
        parameters |= {f"flaw_edge_{i}": x, f"flaw_tip_{i}": float(tip)}
    return parameters


# ---- checks ------------------------------------------------------------------


def check_flaws(joint: Joint) -> None:
    """Refuse a joint, while it is being made, whose flaws it has no room for or whose analysis knows none."""
    if not joint.flaws:
        return
    for i, flaw in enumerate(joint.flaws):
        _check_flaw(i, flaw, joint)
    flaws, ta = merged(joint).flaws, joint.geometry.bondline_thickness
    if len(flaws) > MOST_FLAWS:
        refuse("flaw", joint.flaws, f"must be at most {MOST_FLAWS} that do not touch, not {len(flaws)}; leave small ones out")
    for bond in joint.geometry.bonds():
        left = bond.end - bond.start - sum(flaw.length for flaw in flaws if flaw.bondline == bond.number)
        if left < LEAST_AHEAD * ta * WITHIN:
            why = f"leaves {max(left, 0.0):g} mm of bondline {bond.number} bonded; it must be at least {LEAST_AHEAD * ta:g} mm"
            refuse("flaw", joint.flaws, f"{why} (the bondline's thickness)")


def _check_flaw(i: int, flaw: Flaw, joint: Joint) -> None:
    geometry, ta = joint.geometry, joint.geometry.bondline_thickness
    bonds = {bond.number: bond for bond in geometry.bonds()}
    if flaw.bondline not in bonds:
        there = "only bondline 1" if len(bonds) == 1 else f"bondlines 1 to {len(bonds)}"
        refuse(f"flaw.{i}.bondline", flaw.bondline, f"the joint has {there}")
    bond = bonds[flaw.bondline]
    if flaw.length < SHORTEST * ta * WITHIN:
        limit = f"must be at least a quarter of the bondline's thickness ({SHORTEST * ta:g} mm)"
        refuse(f"flaw.{i}.length", flaw.length, f"{limit}; leave smaller flaws out")
    low, high = bond.start, bond.end
    what = "the overlap"
    if isinstance(geometry, SteppedLap):
        # The layer turns at a tread's ends, and a flaw would have to turn with it.
        low, high = low + LEAST_AHEAD * ta, high - LEAST_AHEAD * ta
        what = f"tread {bond.number} without a bondline's thickness at each end, where the stair turns"
    if not low - SAME <= flaw.start < high - SAME:
        refuse(f"flaw.{i}.start", flaw.start, f"must be from {low:g} mm to below {high:g} mm ({what})")
    if flaw.end > high + SAME:
        limit = f"must be at most {high - flaw.start:g} mm from its start at {flaw.start:g} mm"
        refuse(f"flaw.{i}.length", flaw.length, f"{limit} ({what} ends at {high:g} mm)")
