"""How a glue line thins under clamp pressure, and how much adhesive an area takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field, model_validator

from fejoint.errors import JointError
from fejoint.joint.geometry import Geometry
from fejoint.joint.model import Model, Unit, refuse, whole
from fejoint.process.durations import duration
from fejoint.process.film import Amount, Film, amount, rectangle_share

__all__ = ["Amount", "Film", "SqueezeOut", "Squeezed", "amount", "squeezed"]

Floats = NDArray[np.float64]

Length = Annotated[float, Unit("mm", ge=1e-3, le=1e5)]
Thickness = Annotated[float, Unit("mm", ge=1e-4, le=100)]
ALLOWANCE = 0.3  # common practice, no source
USUAL_START = 3.0  # times the target, where nothing says how thick the adhesive is put on
POINTS = 201
LONGEST = 100 * 365.25 * 86400.0  # s
LONG_STRIP = 0.9  # share of a strip's time from which its ends do not count


class SqueezeOut(Model):
    """How a glue line thins under clamp pressure, and how much adhesive an area takes."""

    viscosity: Annotated[float, Unit("Pa*s", ge=1e-6, le=1e9)] = Field(examples=["120 Pa*s"])
    """Viscosity of the mixed adhesive, at viscosity_rate where it thins under shear"""
    flow_index: Annotated[float, Unit("", ge=0.1, le=2)] = Field(1.0, examples=[0.6])
    """Power of the shear rate that the shear stress follows: 1 for Newton, less where it thins under shear"""
    viscosity_rate: Annotated[float, Unit("1/s", ge=1e-6, le=1e6)] = Field(1.0, examples=["1 1/s"])
    """Shear rate at which the viscosity was measured"""
    clamp_pressure: Annotated[float, Unit("MPa", ge=1e-9, le=100)] | None = Field(None, examples=["0.1 MPa"])
    """Mean pressure of the clamps on the bond; or give clamp_force"""
    clamp_force: Annotated[float, Unit("N", ge=1e-6, le=1e8)] | None = Field(None, examples=["200 N"])
    """Force of all clamps on one bond; or give clamp_pressure"""
    shape: Literal["strip", "disc"] = Field("strip", examples=["strip"])
    """Shape of the bond: strip (open at both long edges) or disc"""
    width: Length | None = Field(None, examples=["12.5 mm"])
    """Of a strip: from one free edge to the other; the joint's overlap length when left out"""
    length: Length | None = Field(None, examples=["25 mm"])
    """Of a strip: along its free edges; the joint's width when left out"""
    diameter: Length | None = Field(None, examples=["30 mm"])
    """Of a disc"""
    number: Annotated[int, Field(ge=1, le=1_000_000, strict=True), BeforeValidator(whole)] | None = Field(None, examples=[1])
    """How many such bonds the amount is for; the joint's bonds when left out"""
    start_thickness: Thickness | None = Field(None, examples=["0.6 mm"])
    """Thickness of the adhesive when the clamps close; three times the target when left out"""
    target_thickness: Thickness | None = Field(None, examples=["0.2 mm"])
    """Thickness to reach; the joint's bondline_thickness when left out"""
    spacer_diameter: Thickness | None = Field(None, examples=["0.2 mm"])
    """Diameter of spacer beads, which no glue line falls below"""
    working_life: Annotated[float, Unit("s", ge=1e-3, le=1e9)] | None = Field(None, examples=["40 min"])
    """Time from mixing within which the adhesive still flows (pot life)"""
    time_before_clamping: Annotated[float, Unit("s", ge=0, le=1e9)] = Field(0.0, examples=["10 min"])
    """Time from mixing until the clamps close"""
    allowance: Annotated[float, Unit("", ge=0, le=20)] = Field(ALLOWANCE, examples=[0.3])
    """Adhesive beside what stays in the glue line, as a share of it (common practice, no source)"""
    density: Annotated[float, Unit("g/cm^3", gt=0, le=30)] | None = Field(None, examples=["1.15 g/cm^3"])
    """Density of the mixed adhesive"""
    cartridge: Annotated[float, Unit("mL", ge=1e-3, le=1e6)] | None = Field(None, examples=["50 mL"])
    """What one cartridge gives"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if (self.clamp_pressure is None) == (self.clamp_force is None):
            refuse("clamp_pressure", self.clamp_pressure, "give it or clamp_force, one of the two")
        wrong = ("diameter",) if self.shape == "strip" else ("width", "length")
        for key in wrong:
            if getattr(self, key) is not None:
                refuse(key, getattr(self, key), f"is no size of a {self.shape}; leave it out")
        if self.shape == "disc" and self.diameter is None:
            refuse("diameter", None, "a disc needs it; add it")
        if None not in (self.start_thickness, self.target_thickness) and self.start_thickness <= self.target_thickness:  # type: ignore[operator]
            refuse("start_thickness", self.start_thickness, f"must lie above target_thickness, {self.target_thickness:g} mm")
        if None not in (self.start_thickness, self.spacer_diameter) and self.start_thickness < self.spacer_diameter:  # type: ignore[operator]
            refuse("start_thickness", self.start_thickness, f"must be at least spacer_diameter, {self.spacer_diameter:g} mm")
        if self.working_life is not None and self.time_before_clamping >= self.working_life:
            refuse("time_before_clamping", self.time_before_clamping, f"must lie below working_life, {self.working_life:g} s")
        return self


@dataclass(frozen=True, eq=False)
class Squeezed:
    """What the clamps make of the glue line; thicknesses in mm, times in s from when the clamps close.

    Attributes
    ----------
    film : Film
    number : int
        Bonds.
    bond_area, area : float, mm^2
        Of one bond and of all.
    force : float, N
        Of the clamps on one bond.
    start, target : float
    spacer : float or None
    final : float
        Thickness of the finished glue line that the amount is for: the target, or the spacer beads where they are larger.
    time_to_target : float or None
        None where spacer beads keep the line from it.
    time_to_spacers : float or None
    flow_time : float or None
        How long the adhesive still flows after the clamps close.
    at_end, at_end_without_spacers : float or None
        Thickness when it no longer flows.
    time, thickness, without_spacers : (n,) arrays
        The glue line against time.
    amount : Amount
        For all bonds.
    notes, warnings : tuple of str
    """

    film: Film
    number: int
    bond_area: float
    area: float
    force: float
    start: float
    target: float
    spacer: float | None
    final: float
    time_to_target: float | None
    time_to_spacers: float | None
    flow_time: float | None
    at_end: float | None
    at_end_without_spacers: float | None
    time: Floats
    thickness: Floats
    without_spacers: Floats
    amount: Amount
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def squeezed(squeeze: SqueezeOut, geometry: Geometry | None = None) -> Squeezed:
    """Return what the clamps make of the glue line, the joint's dimensions in place of what is not given.

    Raises
    ------
    JointError
        A dimension is missing, or the thicknesses do not fit one another.
    """
    film, bond_area, length = _film(squeeze, geometry)
    number = squeeze.number or (1 if geometry is None else round(geometry.bonded_length / geometry.length))
    target = _given(squeeze.target_thickness, None if geometry is None else geometry.bondline_thickness, "target_thickness")
    spacer = squeeze.spacer_diameter
    start = squeeze.start_thickness
    if start is None:
        start = USUAL_START * max(target, spacer or 0.0)
    if start <= target:
        raise JointError(
            f'process.squeeze_out.start_thickness = "{start:g} mm": must lie above the target, {target:g} mm; '
            "put more adhesive on, or say what target_thickness is wanted."
        )
    floor = spacer or 0.0
    reach = film.time_to(start, target) if target >= floor else None
    stop = film.time_to(start, spacer) if spacer else None
    slowest = max(t for t in (reach, stop) if t is not None)
    if not slowest <= LONGEST:
        raise JointError(
            "process.squeeze_out: the line would take more than a hundred years; check viscosity, flow_index, clamps and sizes."
        )
    flows = None if squeeze.working_life is None else squeeze.working_life - squeeze.time_before_clamping
    free_end = None if flows is None else float(film.thickness(start, flows))
    final = max(target, floor)
    times = _times(slowest, flows)
    free = film.thickness(start, times)
    needed = amount(number * bond_area, final, squeeze.allowance, squeeze.density, squeeze.cartridge)
    return Squeezed(
        film=film,
        number=number,
        bond_area=bond_area,
        area=number * bond_area,
        force=film.pressure * bond_area,
        start=start,
        target=target,
        spacer=spacer,
        final=final,
        time_to_target=reach,
        time_to_spacers=stop,
        flow_time=flows,
        at_end=None if free_end is None else max(free_end, floor),
        at_end_without_spacers=free_end,
        time=times,
        thickness=np.maximum(free, floor),
        without_spacers=free,
        amount=needed,
        notes=_notes(squeeze, film, length, start, number * bond_area, needed),
        warnings=_warnings(spacer, target, start, reach, flows, free_end),
    )


def _film(squeeze: SqueezeOut, geometry: Geometry | None) -> tuple[Film, float, float | None]:
    """Return the film, the area of one bond and, of a strip, its length."""
    length: float | None = None
    if squeeze.shape == "disc":
        assert squeeze.diameter is not None
        size, area = squeeze.diameter / 2, math.pi * squeeze.diameter**2 / 4
    else:
        # A stepped lap's treads are bonds of their own, but flow as one strip to both ends.
        size = _given(squeeze.width, None if geometry is None else geometry.length, "width")
        length = _given(squeeze.length, None if geometry is None else geometry.width, "length")
        area = size * length
    pressure = squeeze.clamp_pressure
    if pressure is None:
        assert squeeze.clamp_force is not None
        pressure = squeeze.clamp_force / area
    film = Film(squeeze.shape, size, pressure, squeeze.viscosity, squeeze.flow_index, squeeze.viscosity_rate)
    return film, area, length


def _given(value: float | None, of_joint: float | None, key: str) -> float:
    if value is not None:
        return value
    if of_joint is None:
        raise JointError(f"process.squeeze_out.{key} is missing: add it, or a [joint] whose dimension it is.")
    return of_joint


def _times(reach: float, flows: float | None) -> Floats:
    """Return times at which the line is drawn: dense at first, where it thins fastest, to past what is of interest."""
    end = max(1.5 * reach, 1.05 * (flows or 0.0)) or 1.0
    first = 1e-4 * (min(reach, end) or end)
    return np.concatenate([[0.0], np.geomspace(first, end, POINTS - 1)])


def _notes(squeeze: SqueezeOut, film: Film, length: float | None, start: float, area: float, needed: Amount) -> tuple[str, ...]:
    notes = ["The viscosity is taken as steady while the adhesive flows; it rises, so times are on the short side."]
    if squeeze.spacer_diameter is not None:
        notes.append("Once the line stands on its spacer beads they bear some of the clamps' force; how much is not modelled.")
    if squeeze.start_thickness is None:
        notes.append(f"start_thickness was not given: {start:.3g} mm is taken, three times the line, which is on the slow side.")
    put_on = 1000 * needed.volume / area
    if squeeze.start_thickness is not None and put_on < start * (1 - 1e-9):
        notes.append(
            f"The amount is {put_on:.3g} mm thick over the whole area, less than the {start:.3g} mm at the start: it has to "
            "spread first, which the time leaves out; lay it so that no air is shut in."
        )
    if film.shape == "strip" and length is not None:
        share = rectangle_share(film.size, length)
        if share < LONG_STRIP:
            notes.append(
                f"Adhesive leaves at the strip's ends too: open all round, a Newtonian film takes {share:.2g} of the time."
            )
    if film.flow_index != 1:
        rates = [
            film.shear_rate(start),
            film.shear_rate(max(squeeze.spacer_diameter or 0.0, squeeze.target_thickness or start / 10)),
        ]
        notes.append(f"Shear rates at the plates fall from {rates[0]:.2g} to {rates[1]:.2g} 1/s: the power law must hold there.")
    return tuple(notes)


def _warnings(
    spacer: float | None, target: float, start: float, reach: float | None, flows: float | None, free_end: float | None
) -> tuple[str, ...]:
    said: list[str] = []
    floor = spacer or 0.0
    if reach is None:
        said.append(
            f"Spacer beads of {floor:.3g} mm keep the line from its target of {target:.3g} mm: take smaller beads, "
            "or design the joint for the thicker line."
        )
    aim = max(target, floor)
    if flows is not None and free_end is not None and free_end > aim * (1 + 1e-9):
        said.append(
            f"The adhesive flows for {duration(flows)} under the clamps and stays {free_end:.3g} mm thick, above {aim:.3g} mm: "
            "put less on, press harder, clamp sooner, or take an adhesive that flows better or for longer."
        )
    elif not floor:
        until = f", to {free_end:.3g} mm when the adhesive no longer flows" if free_end is not None else ""
        said.append(f"Without spacer beads, shims or stops the line thins past its target{until}: a line too thin is a weak one.")
    elif target > floor * (1 + 1e-9):
        said.append(f"Spacer beads of {floor:.3g} mm let the line thin past its target, {target:.3g} mm: take larger ones.")
    return tuple(said)
