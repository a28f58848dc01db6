"""Degree of cure and strength against time, for any history of temperature."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import BeforeValidator, Field, model_validator

from fejoint.errors import JointError
from fejoint.joint.model import Model, Unit, in_order, refuse
from fejoint.process.cure_fit import CureFit, CurePoint, fitted_law
from fejoint.process.cure_strength import StrengthLaw, handling_time, required_strength
from fejoint.process.cure_tables import AtTime, Degree, MeasuredCure, StrengthPoint
from fejoint.process.durations import duration
from fejoint.process.rate_law import CureCurve, History, RateLaw, cure_curve

__all__ = [
    "AtTime",
    "Cure",
    "Cured",
    "MeasuredCure",
    "StrengthLaw",
    "StrengthPoint",
    "cured",
    "handling_time",
    "required_strength",
]

Floats = NDArray[np.float64]

KELVIN = 273.15
LEAST_STEP = 1e-3  # s between points of a history: nothing is heated faster
NEAR = 2.0  # K: as far as a law from points at one temperature is used


class Cure(Model):
    """Degree of cure and strength against time, for any history of temperature."""

    temperatures: Annotated[tuple[AtTime, ...], BeforeValidator(in_order), Field(min_length=2, max_length=2000)] = Field(
        examples=[[{"time": "0 h", "temperature": "23 degC"}, {"time": "24 h", "temperature": "23 degC"}]]
    )
    """Temperature of the adhesive from mixing on, straight between points"""
    rate_factor: Annotated[float, Unit("1/s", ge=0, le=1e60)] | None = Field(None, examples=["2e5 1/s"])
    """A of the n-th order part, k1 = A exp(-E/RT)"""
    activation_energy: Annotated[float, Unit("J/mol", ge=0, le=1e6)] | None = Field(None, examples=["58 kJ/mol"])
    """E of the n-th order part; beside points, where it is not to be fitted"""
    order: Annotated[float, Unit("", ge=0.1, le=10)] | None = Field(None, examples=[1.5])
    """n, the power of what is not yet cured; 1 when left out"""
    autocatalytic_rate_factor: Annotated[float, Unit("1/s", ge=0, le=1e60)] | None = Field(None, examples=["5e5 1/s"])
    """A of the autocatalytic part, k2 = A exp(-E/RT)"""
    autocatalytic_activation_energy: Annotated[float, Unit("J/mol", ge=0, le=1e6)] | None = Field(None, examples=["55 kJ/mol"])
    """E of the autocatalytic part; that of the n-th order part when left out"""
    autocatalytic_power: Annotated[float, Unit("", ge=0.1, le=10)] | None = Field(None, examples=[0.9])
    """m, the power of the degree of cure; 1 when left out"""
    largest_degree: Annotated[float, Unit("", ge=0.01, le=1)] = Field(1.0, examples=[0.95])
    """Degree of cure that is never passed, such as where the adhesive becomes a glass"""
    start_degree: Annotated[float, Unit("", ge=0, lt=1)] = Field(0.0, examples=[0.01])
    """Degree of cure at the start"""
    points: Annotated[tuple[MeasuredCure, ...], BeforeValidator(in_order), Field(max_length=5000)] = Field(
        (),
        examples=[
            [
                {"time": "2 h", "temperature": "23 degC", "degree": 0.45},
                {"time": "6 h", "temperature": "23 degC", "degree": 0.72},
                {"time": "1 h", "temperature": "40 degC", "degree": 0.63},
                {"time": "3 h", "temperature": "40 degC", "degree": 0.87},
            ]
        ],
    )
    """Measured degrees of cure, or strengths, to which the rate law is fitted in place of rate_factor"""
    fit: Literal["n-th order", "autocatalytic"] = Field("n-th order", examples=["n-th order"])
    """Law to fit to the points"""
    full_strength: Annotated[float, Unit("MPa", gt=0, le=10000)] | None = Field(None, examples=["20 MPa"])
    """Strength of the bond at a degree of cure of 1, as your own lap coupons bear it (force over area)"""
    gel_degree: Annotated[float, Unit("", ge=0, lt=1)] = Field(0.6, examples=[0.6])
    """Degree of cure up to which there is no strength (typical, no source)"""
    strength_power: Annotated[float, Unit("", ge=0.1, le=10)] = Field(1.0, examples=[1.0])
    """Power with which the strength rises behind the gel degree: 1 is straight (typical, no source)"""
    strength_points: Annotated[tuple[StrengthPoint, ...], BeforeValidator(in_order), Field(max_length=500)] = Field(
        (), examples=[[{"degree": 0.6, "strength": "0 MPa"}, {"degree": 0.95, "strength": "18 MPa"}]]
    )
    """Strengths at degrees of cure, straight between them, in place of full_strength, gel_degree and strength_power"""
    handling_load: Annotated[float, Unit("N", gt=0, le=1e9)] | None = Field(None, examples=["150 N"])
    """Load that the joint is to carry when it is handled"""
    handling_area: Annotated[float, Unit("mm^2", gt=0, le=1e10)] | None = Field(None, examples=["312 mm^2"])
    """Bonded area that carries it; the joint's when left out"""
    safety_factor: Annotated[float, Unit("", ge=1, le=100)] = Field(3.0, examples=[3])
    """Factor on the handling load (common practice, no source)"""
    needed_degree: Degree | None = Field(None, examples=[0.9])
    """Degree of cure that the history is to reach"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        times = [point.time for point in self.temperatures]
        if times[0] != 0:
            refuse("temperatures.0.time", times[0], "must be 0: the history begins when the adhesive is mixed")
        for i, (one, two) in enumerate(pairwise(times), start=1):
            if not two - one >= LEAST_STEP:
                refuse(
                    f"temperatures.{i}.time", two, f"must lie above the time before it, {one:g} s, by {LEAST_STEP:g} s at least"
                )
        if self.strength_points:
            self._table()
        if self.points:
            self._of_points()
        elif not (self.rate_factor or 0.0) + (self.autocatalytic_rate_factor or 0.0) > 0:
            refuse("rate_factor", self.rate_factor, "give it above 0, or autocatalytic_rate_factor, or points to fit the law to")
        elif self.rate_factor and self.activation_energy is None:
            refuse("activation_energy", None, "add it to the rate_factor")
        elif self.autocatalytic_rate_factor and self.autocatalytic_activation_energy is None and self.activation_energy is None:
            refuse("autocatalytic_activation_energy", None, "add it to the autocatalytic_rate_factor")
        elif not self.rate_factor and not self.start_degree:
            refuse("start_degree", self.start_degree, "must lie above 0 where the law is autocatalytic alone")
        if not self.start_degree < self.largest_degree:
            refuse("start_degree", self.start_degree, f"must lie below largest_degree, {self.largest_degree:g}")
        if self.handling_load is not None and self.full_strength is None and not self.strength_points:
            refuse("full_strength", None, "handling_load needs it, or strength_points; add it")
        return self

    def _table(self) -> None:
        if self.full_strength is not None:
            refuse("full_strength", self.full_strength, "must be left out where strength_points say it")
        if len(self.strength_points) < 2:
            refuse("strength_points", self.strength_points, "must hold at least 2")
        for i, (one, two) in enumerate(pairwise(self.strength_points), start=1):
            if not two.degree > one.degree:
                refuse(f"strength_points.{i}.degree", two.degree, f"must lie above the one before it, {one.degree:g}")
            if not two.strength >= one.strength:
                refuse(
                    f"strength_points.{i}.strength", two.strength, f"must not fall below the one before it, {one.strength:g} MPa"
                )

    def _of_points(self) -> None:
        given = ("rate_factor", "order", "autocatalytic_rate_factor", "autocatalytic_activation_energy", "autocatalytic_power")
        for key in given:
            if getattr(self, key) is not None:
                refuse(key, getattr(self, key), "must be left out where it is fitted to points")
        if self.start_degree:
            refuse("start_degree", self.start_degree, "must be left out beside points, which are fitted from a degree of 0")
        strength = self.strength_law()
        for i, point in enumerate(self.points):
            if point.degree is not None and point.degree > self.largest_degree:
                refuse(f"points.{i}.degree", point.degree, f"must be at most largest_degree, {self.largest_degree:g}")
            if point.strength is None:
                continue
            if strength is None:
                refuse(
                    f"points.{i}.strength", point.strength, "needs full_strength or strength_points, which make a degree of it"
                )
            degree = strength.degree(point.strength) if point.strength > 0 else None
            if degree is None or not degree <= self.largest_degree:
                refuse(
                    f"points.{i}.strength",
                    point.strength,
                    f"must lie above 0 and be at most {strength.at(self.largest_degree):.4g}",
                )

    def strength_law(self) -> StrengthLaw | None:
        """Return strength against degree of cure; None where nothing is said of it."""
        if self.strength_points:
            points = self.strength_points
            return StrengthLaw(np.array([p.degree for p in points]), np.array([p.strength for p in points]))
        if self.full_strength is None:
            return None
        return StrengthLaw(np.array([self.gel_degree, 1.0]), np.array([0.0, self.full_strength]), self.strength_power)

    def history(self) -> History:
        """Return the history of temperature."""
        return History.of([(point.time, point.temperature) for point in self.temperatures])


@dataclass(frozen=True, eq=False)
class Cured:
    """What a history of temperature makes of the adhesive; times in s from mixing.

    Attributes
    ----------
    law : RateLaw
    fit : CureFit or None
        Where the law was fitted to points.
    curve : CureCurve
    strength : StrengthLaw or None
    strengths : (n,) array or None, MPa
        At the times of the curve.
    end_time, end_degree : float
        Of the history.
    end_strength : float or None, MPa
    gel_time : float or None
        When strength begins; None where it is not known or not reached.
    needed_strength : float or None, MPa
        For handling: load times factor over area.
    area : float or None, mm^2
    handling_time : float or None
        When the joint may carry the handling load.
    needed_time : float or None
        When the needed degree of cure is reached.
    notes, warnings : tuple of str
    """

    law: RateLaw
    fit: CureFit | None
    curve: CureCurve
    strength: StrengthLaw | None
    strengths: Floats | None
    end_time: float
    end_degree: float
    end_strength: float | None
    gel_time: float | None
    needed_strength: float | None
    area: float | None
    handling_time: float | None
    needed_time: float | None
    notes: tuple[str, ...]
    warnings: tuple[str, ...]


def cured(cure: Cure, area: float | None = None) -> Cured:
    """Return what the history makes of the adhesive.

    Parameters
    ----------
    cure : Cure
    area : float, mm^2, optional
        Bonded area of the joint, where the cure does not say its own.

    Raises
    ------
    JointError
        The points do not tell a law, or not at the history's temperatures; the area is missing.
    """
    fit = _fit(cure)
    law = _given_law(cure) if fit is None else fit.law
    history, strength = cure.history(), cure.strength_law()
    if fit is not None and fit.at_temperature is not None:
        off = max(abs(fit.at_temperature - history.temperature))
        if off > NEAR:
            raise JointError(
                f"process.cure.points: are all at {fit.at_temperature - KELVIN:.4g} degC, which does not tell the law at the "
                f"history's temperatures, {off:.3g} degrees off: add points at another temperature, or give activation_energy."
            )
    try:
        curve = cure_curve(law, history, cure.start_degree)
    except JointError as error:
        raise JointError(f"process.cure: {error}") from None
    area = cure.handling_area if cure.handling_area is not None else area
    needed = ready = None
    if cure.handling_load is not None and strength is not None:
        if area is None:
            raise JointError("process.cure.handling_area is missing: add it, or a [joint] whose bonded area it is.")
        needed = required_strength(area, cure.handling_load, cure.safety_factor)
        ready = handling_time(curve, strength, area, cure.handling_load, cure.safety_factor)
    found = Cured(
        law=law,
        fit=fit,
        curve=curve,
        strength=strength,
        strengths=None if strength is None else strength.at(curve.degree),
        end_time=float(history.time[-1]),
        end_degree=curve.end_degree,
        end_strength=None if strength is None else float(strength.at(curve.end_degree)),
        gel_time=None if strength is None else curve.time_at(strength.gel),
        needed_strength=needed,
        area=area,
        handling_time=ready,
        needed_time=None if cure.needed_degree is None else curve.time_at(cure.needed_degree),
        notes=(),
        warnings=(),
    )
    return replace(found, notes=_notes(cure, found), warnings=_warnings(cure, found))


def _given_law(cure: Cure) -> RateLaw:
    one, two = cure.activation_energy or 0.0, cure.autocatalytic_activation_energy
    order = 1.0 if cure.order is None else cure.order
    power = 1.0 if cure.autocatalytic_power is None else cure.autocatalytic_power
    second = cure.autocatalytic_rate_factor or 0.0
    return RateLaw(cure.rate_factor or 0.0, one, order, second, one if two is None else two, power, cure.largest_degree)


def _fit(cure: Cure) -> CureFit | None:
    """Return the law fitted to the points; a strength is turned into the degree that has it."""
    if not cure.points:
        return None
    strength = cure.strength_law()
    points = []
    for point in cure.points:
        degree = point.degree
        if degree is None:
            assert strength is not None and point.strength is not None
            degree = strength.degree(point.strength)
        assert degree is not None
        points.append(CurePoint(point.time, point.temperature, degree))
    try:
        return fitted_law(points, cure.fit, largest=cure.largest_degree, activation_energy=cure.activation_energy)
    except JointError as error:
        raise JointError(f"process.cure.{error}") from None


def _notes(cure: Cure, found: Cured) -> tuple[str, ...]:
    notes = [
        "The heat of the reaction is not counted: the temperatures are those of the adhesive itself; thick beads get hotter."
    ]
    if found.fit is not None:
        notes.append(
            f"{found.fit.kind[0].upper()}{found.fit.kind[1:]} law, fitted to {len(found.fit.points)} points, which it misses by "
            f"{found.fit.scatter:.2g} in degree of cure (root mean square)."
        )
        if any(point.strength is not None for point in cure.points):
            notes.append("Strengths were turned into degrees of cure by the law of strength as stated: the fit hangs on it.")
    if found.strength is not None:
        notes.append("Strengths hold at the temperature that they were tested at: a warm bond bears less, so let it cool first.")
    if found.needed_strength is not None:
        notes.append("Handling counts force over area, as on your own lap coupons: a joint that is peeled or bent bears less.")
    if not cure.strength_points and cure.full_strength is not None:
        assumed = [key for key in ("gel_degree", "strength_power") if key not in cure.model_fields_set]
        if assumed:
            notes.append(f"Assumed, typical, no source: {', '.join(f'{key} {getattr(cure, key):g}' for key in assumed)}.")
    late = [t for t in (found.handling_time, found.needed_time) if t is not None and t > found.end_time]
    if late:
        notes.append(f"Times behind the end of the history, {duration(found.end_time)}, go on at its last temperature.")
    return tuple(notes)


def _warnings(cure: Cure, found: Cured) -> tuple[str, ...]:
    said = list(found.fit.warnings if found.fit is not None else ())
    if found.fit is not None and found.fit.at_temperature is None:
        measured = [point.temperature for point in cure.points]
        low, high = min(measured), max(measured)
        history = found.curve.history.temperature
        if min(history) < low - NEAR or max(history) > high + NEAR:
            said.append(
                f"The history leaves the temperatures of the points, {low - KELVIN:.4g} to {high - KELVIN:.4g} degC: "
                "outside them the law is a guess."
            )
    if cure.handling_load is not None and found.handling_time is None:
        most = None if found.strength is None else float(found.strength.at(found.curve.later[1][-1]))
        said.append(
            f"The strength needed for handling, {found.needed_strength:.3g} MPa, is never reached: within a year it comes to "
            f"{most:.3g} MPa; warm the joint, or support it."
        )
    if cure.needed_degree is not None and (found.needed_time is None or found.needed_time > found.end_time):
        said.append(
            f"The history ends at a degree of cure of {found.end_degree:.3g}, below the {cure.needed_degree:g} needed: "
            "cure for longer, or warmer as far as the data sheet allows."
        )
    return tuple(said)
