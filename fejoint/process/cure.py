"""Degree of cure and strength against time, for any history of temperature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BeforeValidator, Field, model_validator

from fejoint.errors import JointError
from fejoint.joint.model import Model, Unit, in_order, refuse
from fejoint.process.cure_fit import CureFit, CurePoint, fitted_law
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
Time = Annotated[float, Unit("s", ge=0, le=1e9)]
Temperature = Annotated[float, Unit("K absolute", gt=0, le=1000)]
Degree = Annotated[float, Unit("", ge=0, le=1)]
Strength = Annotated[float, Unit("MPa", ge=0, le=10000)]

NEAR = 2.0  # K: as far as a law from points at one temperature is used


class AtTime(Model):
    """A point of the history of temperature."""

    time: Time = Field(examples=["0 min"])
    """Time since mixing"""
    temperature: Temperature = Field(examples=["23 degC"])
    """Temperature of the adhesive"""


class MeasuredCure(Model):
    """A degree of cure, or a strength, after a time at a steady temperature."""

    time: Annotated[float, Unit("s", gt=0, le=1e9)] = Field(examples=["4 h"])
    """Time since mixing"""
    temperature: Temperature = Field(examples=["23 degC"])
    """Steady temperature"""
    degree: Degree | None = Field(None, examples=[0.62])
    """Degree of cure then; or give strength"""
    strength: Strength | None = Field(None, examples=["3 MPa"])
    """Strength then, above 0 and below full_strength, from which the degree follows by the law of strength"""

    @model_validator(mode="after")
    def _one(self) -> Self:
        if (self.degree is None) == (self.strength is None):
            refuse("degree", self.degree, "give it or strength, one of the two")
        return self


class StrengthPoint(Model):
    """A strength at a degree of cure."""

    degree: Degree = Field(examples=[0.8])
    """Degree of cure"""
    strength: Strength = Field(examples=["12 MPa"])
    """Strength of the bond, as tested"""


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
    order: Annotated[float, Unit("", gt=0, le=10)] | None = Field(None, examples=[1.5])
    """n, the power of what is not yet cured; 1 when left out"""
    autocatalytic_rate_factor: Annotated[float, Unit("1/s", ge=0, le=1e60)] | None = Field(None, examples=["5e5 1/s"])
    """A of the autocatalytic part, k2 = A exp(-E/RT)"""
    autocatalytic_activation_energy: Annotated[float, Unit("J/mol", ge=0, le=1e6)] | None = Field(None, examples=["55 kJ/mol"])
    """E of the autocatalytic part; that of the n-th order part when left out"""
    autocatalytic_power: Annotated[float, Unit("", gt=0, le=10)] | None = Field(None, examples=[0.9])
    """m, the power of the degree of cure; 1 when left out"""
    largest_degree: Annotated[float, Unit("", gt=0, le=1)] = Field(1.0, examples=[0.95])
    """Degree of cure that is never passed, such as where the adhesive becomes a glass"""
    start_degree: Annotated[float, Unit("", ge=0, lt=1)] = Field(0.0, examples=[0.01])
    """Degree of cure at the start"""
    points: Annotated[tuple[MeasuredCure, ...], BeforeValidator(in_order), Field(max_length=5000)] = Field(
        (), examples=[[{"time": "4 h", "temperature": "23 degC", "degree": 0.62}]]
    )
    """Measured degrees of cure, or strengths, to which the rate law is fitted in place of rate_factor"""
    fit: Literal["n-th order", "autocatalytic"] = Field("n-th order", examples=["n-th order"])
    """Law to fit to the points"""
    full_strength: Annotated[float, Unit("MPa", gt=0, le=10000)] | None = Field(None, examples=["20 MPa"])
    """Strength of the bond at a degree of cure of 1, as your own lap coupons bear it (force over area)"""
    gel_degree: Annotated[float, Unit("", ge=0, lt=1)] = Field(0.6, examples=[0.6])
    """Degree of cure up to which there is no strength (typical, no source)"""
    strength_power: Annotated[float, Unit("", gt=0, le=10)] = Field(1.0, examples=[1.0])
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
        for i, (one, two) in enumerate(zip(times[:-1], times[1:], strict=True), start=1):
            if not two > one:
                refuse(f"temperatures.{i}.time", two, f"must lie above the time before it, {one:g} s")
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
        for i, (one, two) in enumerate(zip(self.strength_points[:-1], self.strength_points[1:], strict=True), start=1):
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
class StrengthLaw:
    """Strength against degree of cure: none below the first degree, then straight from point to point (or by a power).

    Attributes
    ----------
    degrees : (n,) array
        Rising.
    strengths : (n,) array, MPa
        Not falling.
    power : float
        Of the way within each piece; 1 is straight.
    """

    degrees: Floats
    strengths: Floats
    power: float = 1.0

    @property
    def gel(self) -> float:
        """Degree of cure below which there is no strength."""
        return float(self.degrees[0])

    def at(self, degree: ArrayLike) -> Floats:
        """Return the strength in MPa at degrees of cure (any shape)."""
        alpha = np.asarray(degree, float)
        x, y = self.degrees, self.strengths
        i = np.clip(np.searchsorted(x, alpha, side="right") - 1, 0, len(x) - 2)
        way = np.clip((alpha - x[i]) / (x[i + 1] - x[i]), 0.0, 1.0) ** self.power
        return np.asarray(np.where(alpha < x[0], 0.0, y[i] + way * (y[i + 1] - y[i])))

    def degree(self, strength: float) -> float | None:
        """Return the least degree of cure that has a strength in MPa; None where none has."""
        x, y = self.degrees, self.strengths
        if strength > y[-1]:
            return None
        if strength <= y[0]:
            return self.gel
        i = int(np.searchsorted(y, strength)) - 1
        return float(x[i] + ((strength - y[i]) / (y[i + 1] - y[i])) ** (1 / self.power) * (x[i + 1] - x[i]))


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


def required_strength(area: float, load: float, safety_factor: float) -> float:
    """Return the strength in MPa that an area (mm^2) needs for a load (N) times a factor.

    Raises
    ------
    JointError
        A value is not above 0.
    """
    for key, value in (("area", area), ("load", load), ("safety_factor", safety_factor)):
        if not (value > 0 and np.isfinite(value)):
            raise JointError(f"{key} = {value:g}: must be a finite number above 0.")
    return load * safety_factor / area


def handling_time(curve: CureCurve, strength: StrengthLaw, area: float, load: float, safety_factor: float) -> float | None:
    """Return when a joint may carry a handling load: from when strength times area is load times safety factor.

    Parameters
    ----------
    curve : CureCurve
    strength : StrengthLaw
    area : float, mm^2
    load : float, N
    safety_factor : float

    Returns
    -------
    float or None
        Seconds from mixing; None where that strength is never reached, or not
        within a year behind the history at its last temperature.

    Raises
    ------
    JointError
        A value is not above 0.
    """
    degree = strength.degree(required_strength(area, load, safety_factor))
    return None if degree is None else curve.time_at(degree)


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
    raise NotImplementedError
