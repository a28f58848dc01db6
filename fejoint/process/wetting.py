"""Whether an adhesive wets a surface: contact angles, surface energies, work of adhesion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, model_validator

from fejoint.errors import JointError
from fejoint.joint.model import Model, Unit, in_order, refuse
from fejoint.process.energies import (
    LEAST_UNCERTAINTY,
    USUAL_UNCERTAINTY,
    Energies,
    Reading,
    SurfaceEnergy,
    angle_band,
    contact_angle,
    spreading,
    surface_energy,
    work_of_adhesion,
    work_of_angle,
)
from fejoint.process.liquids import Liquid, Solid, liquids
from fejoint.process.verdict import DOES_NOT_ABOVE, WETS_UP_TO, Verdict, wets

__all__ = ["ProbeReadings", "Wetted", "Wetting", "wetted"]


WATER_FILM_UP_TO = 60.0  # degrees of water where its film may stay whole; common practice, no source


def _as_list(value: Any) -> Any:
    """Return one reading as a list of one."""
    return [value] if isinstance(value, str | float | int) and not isinstance(value, bool) else in_order(value)


class ProbeReadings(Model):
    """Contact angles of one probe liquid on the surface."""

    liquid: Liquid = Field(examples=["water"])
    """Probe liquid: a shipped name, or its energies"""
    angles: Annotated[
        tuple[Annotated[float, Unit("deg", gt=0, le=180)], ...], BeforeValidator(_as_list), Field(min_length=1, max_length=1000)
    ] = Field(examples=[["70 deg", "72 deg"]])
    """Contact angles read, drop by drop"""


class Wetting(Model):
    """Whether an adhesive wets a surface: contact angles, surface energies, work of adhesion."""

    adhesive: Energies | None = Field(None, examples=[{"dispersive": "33 mN/m", "polar": "9 mN/m", "source": "user's"}])
    """Surface energies of the uncured adhesive"""
    adhesive_tension: Annotated[float, Unit("mN/m", gt=0, le=10000)] | None = Field(None, examples=["42 mN/m"])
    """Surface tension of the uncured adhesive, where its parts are not known"""
    adhesive_angle: Annotated[float, Unit("deg", ge=0, le=180)] | None = Field(None, examples=["25 deg"])
    """Contact angle of the adhesive itself on the surface, where it was read"""
    surface: Solid | None = Field(None, examples=["PMMA"])
    """Surface energies of the prepared surface: a shipped name, or its parts"""
    readings: Annotated[tuple[ProbeReadings, ...], BeforeValidator(in_order), Field(max_length=100)] = Field(
        (), examples=[[{"liquid": "water", "angles": ["70 deg"]}, {"liquid": "diiodomethane", "angles": ["40 deg"]}]]
    )
    """Contact angles of two or more probe liquids on the prepared surface"""
    reading_uncertainty: Annotated[float, Unit("deg", ge=LEAST_UNCERTAINTY, le=45)] = Field(USUAL_UNCERTAINTY, examples=["2 deg"])
    """Standard uncertainty of one angle read (common practice, no source)"""
    water_film_whole: bool | None = Field(None, examples=[True])
    """Water-break test (ASTM F22): whether the film of water stayed whole"""
    wets_up_to: Annotated[float, Unit("deg", ge=0, le=180)] = Field(WETS_UP_TO, examples=["30 deg"])
    """Contact angle up to which the adhesive wets (common practice, no source)"""
    does_not_above: Annotated[float, Unit("deg", ge=0, le=180)] = Field(DOES_NOT_ABOVE, examples=["60 deg"])
    """Contact angle above which the adhesive does not wet (common practice, no source)"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.wets_up_to > self.does_not_above:
            refuse("wets_up_to", self.wets_up_to, f"must be at most does_not_above, {self.does_not_above:g} deg")
        if self.surface is not None and self.readings:
            refuse("surface", self.surface, "must be left out where readings tell it; give one of the two")
        if self.adhesive is not None and self.adhesive_tension is not None:
            refuse("adhesive_tension", self.adhesive_tension, "must be left out where adhesive gives both parts")
        if self.readings:
            try:
                self.surface_energy()
            except JointError as error:
                refuse("readings", self.readings, str(error).removeprefix("readings: ").rstrip("."))
        # Readings of the surface alone are worth its energy, without a verdict.
        if self.adhesive_angle is None and self.surface is None and not self.readings and self.water_film_whole is None:
            refuse("adhesive_angle", None, "give it, or adhesive with surface or readings, or water_film_whole")
        return self

    def surface_energy(self) -> SurfaceEnergy | None:
        """Return the surface energy that the readings show; None without readings.

        Raises
        ------
        JointError
            The liquids cannot be told apart.
        """
        if not self.readings:
            return None
        return surface_energy(
            [Reading(probe.liquid, angle, self.reading_uncertainty) for probe in self.readings for angle in probe.angles]
        )


@dataclass(frozen=True, eq=False)
class Wetted:
    """What is known of the wetting.

    Attributes
    ----------
    verdict : Verdict
    measured : SurfaceEnergy or None
        The surface's energy from readings.
    surface : Energies or None
    adhesive : Energies or None
    tension : float or None, mN/m
        The adhesive's.
    angle : float or None, degrees
        Of the adhesive on the surface: as read, else computed.
    computed_angle : float or None, degrees
        By Owens & Wendt.
    band : (float, float) or None, degrees
        The computed angle, one standard error of the readings to both sides.
    work, spreading : float or None, mJ/m^2 and mN/m
        Work of adhesion and spreading coefficient.
    notes : tuple of str
    """

    verdict: Verdict
    measured: SurfaceEnergy | None
    surface: Energies | None
    adhesive: Energies | None
    tension: float | None
    angle: float | None
    computed_angle: float | None
    band: tuple[float, float] | None
    work: float | None
    spreading: float | None
    notes: tuple[str, ...]


def wetted(wetting: Wetting) -> Wetted:
    """Return what is known of the wetting: a contact angle that was read counts before one that is computed."""
    measured = wetting.surface_energy()
    surface = measured.energies if measured is not None else wetting.surface
    adhesive = wetting.adhesive
    tension = adhesive.total if adhesive is not None else wetting.adhesive_tension
    computed = work = band = None
    if surface is not None and adhesive is not None:
        computed, work = contact_angle(surface, adhesive), work_of_adhesion(surface, adhesive)
        band = angle_band(measured, adhesive) if measured is not None else None
    angle = computed
    if wetting.adhesive_angle is not None:
        angle = wetting.adhesive_angle
        work = None if tension is None else work_of_angle(tension, angle)
    spread = None if work is None or tension is None else spreading(work, tension)
    verdict = wets(
        angle,
        band=band if wetting.adhesive_angle is None else None,
        solid=None if surface is None else surface.total,
        liquid=tension,
        water_film=wetting.water_film_whole,
        wets_up_to=wetting.wets_up_to,
        does_not_above=wetting.does_not_above,
    )
    notes = _notes(wetting, measured, surface, angle, computed)
    return Wetted(verdict, measured, surface, adhesive, tension, angle, computed, band, work, spread, notes)


def _notes(
    wetting: Wetting, measured: SurfaceEnergy | None, surface: Energies | None, angle: float | None, computed: float | None
) -> tuple[str, ...]:
    notes: list[str] = []
    if measured is not None:
        stated = f"{wetting.reading_uncertainty:g} degrees of each reading"
        if not measured.freedom:
            notes.append(f"Two readings leave nothing over: the standard errors are those that {stated} make.")
        elif measured.scatter <= 1:
            notes.append(f"The readings agree within the {stated}, which make the standard errors.")
        else:
            notes.append(
                f"The readings scatter {measured.scatter:.2g} times as far as the {stated} explain; the standard errors count it."
            )
        if measured.clipped:
            notes.append(
                f"The {measured.clipped} part came out with a negative root and was set to 0: the readings contradict each other "
                "or the liquids' figures; read again, or check which figures of the liquids are used."
            )
    if wetting.adhesive_angle is not None and computed is not None and angle is not None:
        notes.append(f"The adhesive's own angle, {angle:.3g} degrees, counts; surface energies make it {computed:.3g} degrees.")
    if wetting.water_film_whole and surface is not None and contact_angle(surface, liquids()["water"]) > WATER_FILM_UP_TO:
        notes.append(
            f"The film of water stayed whole, but by its energies water makes {contact_angle(surface, liquids()['water']):.3g} "
            "degrees on this surface: they were not the same surface, or one of them is wrong."
        )
    if wetting.adhesive_angle == 0:
        notes.append("An adhesive that spreads tells only that its work of adhesion is at least twice its tension.")
    return tuple(notes)
