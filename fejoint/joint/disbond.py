"""A disbond: a stretch of a bondline, from one of its ends, along which nothing holds."""

from __future__ import annotations

import operator
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field

from fejoint.errors import JointError
from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import Bond, Length
from fejoint.joint.model import Model

if TYPE_CHECKING:
    from fejoint.joint.description import Joint

__all__ = ["Disbond", "checked"]

# Bondline thicknesses that must stay bonded ahead of the tip, and that a disbond must be long. Nearer to a free surface
# the stress at the tip and that at the corner are one, and the mesh would have to be finer than the rest bears.
LEAST_AHEAD, SHORTEST = 1.0, 0.05


def _whole(value: Any) -> Any:
    """Return whole numbers of other libraries as Python's own."""
    return operator.index(value) if hasattr(value, "__index__") and not isinstance(value, bool) else value


class Disbond(Model):
    """A crack in the adhesive, or along one of its interfaces, from an end of a bondline across the whole width."""

    in_a_line: ClassVar[bool] = True

    length: Length = Field(examples=["3 mm"])
    """Length of the disbond from the overlap's end; a spew fillet there is parted too"""
    end: Literal["left", "right"] = Field("left", examples=["left"])
    """End of the overlap at which it starts"""
    place: Literal["middle", "lower", "upper"] = Field("middle", examples=["middle"])
    """Where in the layer's thickness: along its middle, or along its lower or upper interface"""
    bondline: Annotated[int, Field(ge=1, strict=True), BeforeValidator(_whole)] = Field(1, examples=[1])
    """Number of the bondline"""

    def bond(self, joint: Joint) -> Bond:
        """Return the bond that it is in."""
        return next(bond for bond in joint.geometry.bonds() if bond.number == self.bondline)

    def tip(self, joint: Joint) -> tuple[float, float]:
        """Return where it ends inside the joint, x and y, mm."""
        bond, half = self.bond(joint), joint.geometry.bondline_thickness / 2
        x = bond.start + self.length if self.end == "left" else bond.end - self.length
        return x, bond.y + {"middle": 0.0, "lower": -half, "upper": half}[self.place]


def checked(disbond: Disbond, joint: Joint) -> Disbond:
    """Return a disbond that the joint has room for.

    Raises
    ------
    JointError
        A stepped lap, a bondline that there is not, or a disbond that is too
        long or too short.
    """
    geometry, ta = joint.geometry, joint.geometry.bondline_thickness
    if isinstance(geometry, SteppedLap):
        raise JointError(
            "disbond: a stepped lap cannot have one yet, since it would have to turn at every riser; "
            'joint.kind must be "single-lap" or "double-lap".'
        )
    bonds = geometry.bonds()
    if disbond.bondline > len(bonds):
        there = "only bondline 1" if len(bonds) == 1 else f"bondlines 1 to {len(bonds)}"
        raise JointError(f"disbond.bondline = {disbond.bondline}: the joint has {there}.")
    bond = disbond.bond(joint)
    most, least = bond.end - bond.start - LEAST_AHEAD * ta, SHORTEST * ta
    if not least <= disbond.length <= most:
        why = (
            f"must be from {least:g} mm (a twentieth of the bondline's thickness) "
            f"to {most:g} mm (the overlap less that thickness)"
            if most > least
            else "the overlap is too short for any, it must be longer than 1.05 times the bondline's thickness"
        )
        raise JointError(f"disbond.length = {disbond.length:g} mm: {why}.")
    return disbond
