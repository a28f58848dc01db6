"""What all joint families share: adherends, bonds between them, and what the mechanics asks of a family.

Besides its keys a family says which geometry script draws it and with which
parameters, what each named region is made of and how large it must come out,
where its bonds lie, and which adherends are gripped and which are loaded.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal, NamedTuple

from pydantic import Field

from fejoint.joint.materials import AdherendMaterial
from fejoint.joint.model import Model, Unit, refuse

__all__ = ["WITHIN", "Adherend", "Bond", "Geometry", "Length"]

# Of a limit that is a product: 0.02 is a tenth of 0.2, though 0.1 * 0.2 comes out larger.
WITHIN = 1 - 1e-9
# A taper's limits: of the thickness in the middle, so that a third is left at the thin end; and of the overlap's length.
MOST_TAPER, STEEPEST = 4 / 3, 0.1
Length = Annotated[float, Unit("mm", gt=0, le=10_000)]


class Adherend(Model):
    """One of the bonded parts."""

    material: AdherendMaterial = Field(examples=["aluminium 2024-T3"])
    """A library name, or a table of properties"""
    thickness: Length = Field(examples=["1.6 mm"])
    """Thickness"""
    free_length: Length = Field(examples=["50 mm"])
    """Length outside the overlap, up to the grip"""


class Bond(NamedTuple):
    """A straight bondline between two adherends: what its curves are named by.

    `sign` makes its shear positive when a tensile force on the joint is passed
    on: that of the global xy shear stress, or the opposite.
    """

    number: int
    below: str
    above: str
    start: float
    end: float
    y: float
    sign: int = 1


class Geometry(Model):
    """The keys that every family has, and what it tells the mechanics."""

    script: ClassVar[str]
    gripped: ClassVar[tuple[str, ...]]
    """Adherends whose far ends are held"""
    loaded: ClassVar[tuple[str, ...]]
    """Adherends whose far ends the force acts on"""
    pull: ClassVar[int] = 1
    """Direction along x in which a tensile force moves the loaded end"""

    kind: str
    width: Length = Field(examples=["25 mm"])
    """Width of the joint, across the load"""
    bondline_thickness: Length = Field(examples=["0.2 mm"])
    """Thickness of the adhesive layer"""
    spew: Literal["square", "fillet"] = Field("square", examples=["square"])
    """End of the adhesive: square, or a 45-degree spew fillet"""
    spew_height: Length | None = Field(None, examples=["0.2 mm"])
    """How far a fillet climbs the end face; by default bondline_thickness, or less where there is no room for it"""
    bondline_taper: Annotated[float, Unit("mm", ge=-10_000, le=10_000)] = Field(0.0, examples=["0 mm"])
    """How much thicker the layer is at the overlap's right end than at its left; bondline_thickness is that in the middle"""

    @property
    def length(self) -> float:
        """Length L of the overlap, mm: from x = 0 to x = L."""
        raise NotImplementedError

    @property
    def length_key(self) -> str:
        """The key under ``joint`` that gives the overlap's length."""
        return "overlap_length"

    @property
    def bonded_length(self) -> float:
        """Length of all bondlines together, mm."""
        return sum(bond.end - bond.start for bond in self.bonds())

    @property
    def depth(self) -> float:
        """Thickness of the whole stack at the overlap, mm."""
        raise NotImplementedError

    @property
    def fillet_room(self) -> float:
        """The largest height that a spew fillet has room for, mm."""
        raise NotImplementedError

    @property
    def fillet_height(self) -> float:
        """How far the spew climbs the end face of an adherend, mm; 0 for a square end."""
        if self.spew == "square":
            return 0.0
        return min(self.bondline_thickness, self.fillet_room * 5 / 9) if self.spew_height is None else self.spew_height

    @property
    def has_like_halves(self) -> bool:
        """Whether the section is its own mirror image about y = 0."""
        return False

    def adherends(self) -> dict[str, Adherend]:
        """Return the adherends by the name of their region, from below."""
        raise NotImplementedError

    def adherend_key(self, name: str) -> str:
        """Return the key under ``joint`` of the adherend of a region."""
        return name

    def bonds(self) -> list[Bond]:
        """Return the bonds, numbered from 1."""
        raise NotImplementedError

    def cuts(self) -> list[tuple[str, str, str]]:
        """Return the cuts through the adhesive: curve, adherend below, adherend above."""
        return [(f"cut {bond.number}", bond.below, bond.above) for bond in self.bonds()]

    def entries(self) -> dict[str, float]:
        """Return where each adherend enters the overlap, x in mm."""
        left = self.gripped if self.pull > 0 else self.loaded
        return {name: 0.0 if name in left else self.length for name in self.adherends()}

    def script_parameters(self, half: bool = False) -> dict[str, float]:
        """Return the geometry script's parameters, mm; of the upper half alone where that is asked for."""
        raise NotImplementedError

    def region_areas(self, half: bool = False) -> dict[str, float]:
        """Return the area that each named region of the section must have, mm^2."""
        raise NotImplementedError

    def curve_names(self, half: bool = False) -> list[str]:
        """Return the named curves that the section must have."""
        bonds = [f"bondline {bond.number} {level}" for bond in self.bonds() for level in ("middle", "lower", "upper")]
        return ["gripped", "loaded", *bonds, *(cut for cut, _, _ in self.cuts())]

    # ---- checks that families share ----

    def _check_proportions(self) -> None:
        """Refuse proportions beyond which no bonded joint lies, and round-off eats the result of any solver."""
        ta, parts = self.bondline_thickness, self.adherends()
        thinnest = min(part.thickness for part in parts.values())
        for name, part in parts.items():
            key = self.adherend_key(name)
            if not ta / 20 <= part.thickness <= 1000 * ta:
                refuse(
                    f"{key}.thickness",
                    part.thickness,
                    f"must be from 1/20 to 1000 times the bondline's thickness ({ta / 20:g} to {1000 * ta:g} mm)",
                )
            if not ta / 10 <= part.free_length <= 1000 * part.thickness:
                refuse(
                    f"{key}.free_length",
                    part.free_length,
                    f"must be from a tenth of the bondline's thickness to 1000 times the adherend's "
                    f"({ta / 10:g} to {1000 * part.thickness:g} mm)",
                )
        if self.length > 1000 * thinnest:
            limit = f"must be at most 1000 times the thinnest adherend's thickness ({1000 * thinnest:g} mm)"
            given = getattr(self, self.length_key)
            refuse(self.length_key, given, f"{limit} in all" if isinstance(given, tuple) else limit)

    def _check_taper(self) -> None:
        """Refuse a taper that leaves too thin a layer at one end, or that leans the adherend noticeably."""
        most = min(MOST_TAPER * self.bondline_thickness, STEEPEST * self.length)
        if abs(self.bondline_taper) > most / WITHIN:
            limit = (
                f"must be from {-most:g} mm to {most:g} mm (at least a third of bondline_thickness must be left at the thin end, "
                f"and the layer may grow by {STEEPEST:g} of the overlap's length at most)"
            )
            refuse("bondline_taper", self.bondline_taper, limit)

    def thickness_at(self, x: float) -> float:
        """Return the thickness of the layer at a place along the joint, mm: linear within the overlap, constant outside."""
        return self.bondline_thickness + self.bondline_taper * (min(max(x / self.length, 0.0), 1.0) - 0.5)

    def _check_spew(self, room: str) -> None:
        """Refuse a spew that does not fit; `room` says in words what `fillet_room` is."""
        ta = self.bondline_thickness
        if self.spew_height is not None:
            if self.spew == "square":
                refuse("spew_height", self.spew_height, 'only goes with spew = "fillet"')
            if not 0.1 * ta * WITHIN <= self.spew_height <= self.fillet_room / WITHIN:
                refuse(
                    "spew_height",
                    self.spew_height,
                    f"must be from a tenth of the bondline's thickness to {room} ({0.1 * ta:g} to {self.fillet_room:g} mm)",
                )
        elif self.spew == "fillet" and self.fillet_height < 0.1 * ta * WITHIN:
            refuse("spew", self.spew, f'the adherends leave a fillet no room ({room}: {self.fillet_room:g} mm); use "square"')
        leg = self.fillet_height + ta
        for name, part in self.adherends().items():
            if self.spew == "fillet" and part.free_length <= 1.1 * leg:
                key = self.adherend_key(name)
                refuse(f"{key}.free_length", part.free_length, f"must be longer than the fillet on it ({1.1 * leg:g} mm)")
