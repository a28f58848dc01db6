"""A disbond: a stretch of a bondline, from one of its ends, along which nothing holds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

from pydantic import BeforeValidator, Field

from fejoint.errors import JointError
from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import Bond, Length
from fejoint.joint.model import Model, whole

if TYPE_CHECKING:
    from fejoint.joint.description import Joint

__all__ = ["Disbond", "checked", "room"]

# Bondline thicknesses that must stay bonded ahead of the tip, and that a disbond must be long. Nearer to a free surface
# the stress at the tip and that at the corner are one, and the mesh would have to be finer than the rest bears.
LEAST_AHEAD, SHORTEST = 1.0, 0.25


class Disbond(Model):
    """A crack in the adhesive, or along one of its interfaces, from an end of a bondline across the whole width."""

    in_a_line: ClassVar[bool] = True

    length: Length = Field(examples=["3 mm"])
    """Length of the disbond from the overlap's end; a spew fillet there is parted too"""
    end: Literal["left", "right"] = Field("left", examples=["left"])
    """End of the overlap at which it starts"""
    place: Literal["middle", "lower", "upper"] = Field("middle", examples=["middle"])
    """Where in the layer's thickness: along its middle, or along its lower or upper interface"""
    bondline: Annotated[int, Field(ge=1, strict=True), BeforeValidator(whole)] = Field(1, examples=[1])
    """Number of the bondline"""

    def bond(self, joint: Joint) -> Bond:
        """Return the bond that it is in."""
        return next(bond for bond in joint.geometry.bonds() if bond.number == self.bondline)

    def tip(self, joint: Joint) -> tuple[float, float]:
        """Return where it ends inside the joint, x and y, mm."""
        bond, half = self.bond(joint), joint.geometry.bondline_thickness / 2
        x = bond.start + self.length if self.end == "left" else bond.end - self.length
        return x, bond.y + {"middle": 0.0, "lower": -half, "upper": half}[self.place]


def room(disbond: Disbond, joint: Joint) -> tuple[float, float]:
    """Return the least and the greatest length that a disbond in a place may have, mm."""
    bond, ta = disbond.bond(joint), joint.geometry.bondline_thickness
    return SHORTEST * ta, bond.end - bond.start - LEAST_AHEAD * ta


def checked(disbond: Disbond, joint: Joint) -> Disbond:
    """Return a disbond that the joint has room for.

    Raises
    ------
    JointError
        A stepped lap, a bondline that there is not, or a disbond that is too
        long or too short.
    """
    geometry = joint.geometry
    if isinstance(geometry, SteppedLap):
        raise JointError(
            "disbond: a stepped lap cannot have one yet, since it would have to turn at every riser; "
            'joint.kind must be "single-lap" or "double-lap".'
        )
    if joint.flaws:
        raise JointError('disbond: the joint has flaws of its own; give the disbond as one of them, kind = "disbond".')
    bonds = geometry.bonds()
    if disbond.bondline > len(bonds):
        there = "only bondline 1" if len(bonds) == 1 else f"bondlines 1 to {len(bonds)}"
        raise JointError(f"disbond.bondline = {disbond.bondline}: the joint has {there}.")
    least, most = room(disbond, joint)
    if not least <= disbond.length <= most:
        why = (
            f"must be from {least:g} mm (a quarter of the bondline's thickness) to {most:g} mm (the overlap less that thickness)"
            if most > least
            else "the overlap is too short for any, it must be longer than 1.25 times the bondline's thickness"
        )
        raise JointError(f"disbond.length = {disbond.length:g} mm: {why}.")
    return disbond
