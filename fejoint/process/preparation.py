"""How the surfaces of a joint are prepared: the ``[process.preparation]`` table, and whether that serves."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time
from typing import Annotated, Any, Literal, Self

from annotated_types import Len
from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from fejoint.errors import JointError
from fejoint.joint.model import Model, Unit, in_order, refuse, whole
from fejoint.joint.sourced import Sourced
from fejoint.joint.strength import Knockdown
from fejoint.process.durations import duration
from fejoint.process.routes import FIGURES, OPEN, Figure, Route, Step, families, hazards, no_route, route, routes

__all__ = [
    "OVERRIDES",
    "OwnFigure",
    "OwnStep",
    "Preparation",
    "Surface",
    "SurfaceKnockdown",
]

OWN = "own steps"
PRIMING = Step(
    "prime",
    "Prime, dry and cure as the primer's data sheet says.",
    dict.fromkeys(("temperature", "time", "check"), Figure("", OPEN)),
    ("solvents", "skin-sensitisers"),
)
"""The step for a primer of the user's, where the route has none"""


def _text(value: str) -> str:
    if not value.strip() or not value.isprintable() or len(value) > 300:
        raise ValueError("must be text of 1 to 300 printable characters")
    return value


def _moment(value: Any) -> Any:
    """Return a date or time of TOML as text."""
    return (
        value.isoformat(" ", "minutes")
        if isinstance(value, datetime)
        else str(value)
        if isinstance(value, date | time)
        else value
    )


Text = Annotated[str, AfterValidator(_text)]
Time = Annotated[float, Unit("s", ge=0, le=1e9)]


class OwnFigure(Model):
    """A figure of the user's in place of one of the route's, or of one that it leaves open."""

    step: Annotated[int, Field(ge=1, strict=True), BeforeValidator(whole)] = Field(examples=[5])
    """Number of the step, from 1"""
    of: Literal["bath", "concentration", "temperature", "time", "voltage", "check", "wait"] = Field(examples=["time"])
    """Which figure of it"""
    value: Text = Field(examples=["22 min"])
    """The figure, with its unit"""
    source: Text = Field("user's", examples=["plant's procedure"])
    """Where it comes from"""


class OwnStep(Model):
    """A step of the user's own route."""

    operation: Text = Field(examples=["degrease"])
    """Name of the step"""
    do: Text = Field(examples=["wipe with solvent, one way only"])
    """What is done"""
    bath: Text | None = Field(None, examples=["ketone"])
    """Bath or medium"""
    concentration: Text | None = Field(None, examples=["5 % by weight"])
    """Concentration of the bath"""
    temperature: Text | None = Field(None, examples=["60 degC"])
    """Temperature of the bath, or of the place"""
    time: Text | None = Field(None, examples=["10 min"])
    """How long"""
    voltage: Text | None = Field(None, examples=["10 V"])
    """Voltage, where there is one"""
    check: Text | None = Field(None, examples=["water-break test"])
    """What is checked after it"""
    wait: Text | None = Field(None, examples=["30 min"])
    """Longest wait before the next step"""
    hazards: Annotated[tuple[str, ...], BeforeValidator(in_order)] = Field((), examples=[["solvents"]])
    """What can hurt, by keys such as solvents, caustics, blasting-dust"""
    water_break: bool = Field(False, examples=[True])
    """Whether the check is a water-break test"""
    source: Text = Field("user's", examples=["shop's procedure 12"])
    """Where its figures come from"""

    @model_validator(mode="after")
    def _hazards_known(self) -> Self:
        for i, key in enumerate(self.hazards):
            if key not in hazards():
                refuse(f"hazards.{i}", key, f"must be one of {', '.join(hazards())}")
        return self

    def as_step(self) -> Step:
        """Return it as a step of a route."""
        given = {name: getattr(self, name) for name in FIGURES}
        figures = {name: Figure(value, self.source) for name, value in given.items() if value is not None}
        return Step(self.operation, self.do, figures, self.hazards, self.water_break)


class SurfaceKnockdown(Knockdown):
    """What a preparation leaves of the load that the bond bears: only with its source, since no route here bears one."""

    name: str = Field("surface preparation", examples=["surface preparation"])
    """What it stands for"""
    source: str = Field(examples=["user's"])
    """Where it comes from: "user's", or a citation"""


class Surface(Sourced):
    """How one surface, or every surface, is prepared."""

    route: str | None = Field(None, examples=["aluminium-phosphoric-anodise"])
    """Name of a shipped route; fejoint job-card --routes lists them"""
    step: Annotated[tuple[OwnStep, ...], Len(0, 50), BeforeValidator(in_order)] = Field(
        (), examples=[[{"operation": "degrease", "do": "wipe with solvent, one way only"}]]
    )
    """Own steps in order, in place of a route"""
    figure: Annotated[tuple[OwnFigure, ...], BeforeValidator(in_order)] = Field(
        (), examples=[[{"step": 5, "of": "time", "value": "22 min"}]]
    )
    """Figures in place of the route's, or of those that it leaves open"""
    family: str | None = Field(None, examples=["aluminium"])
    """Family of the material, where its name does not tell: aluminium, steel, titanium, composite, plastic"""
    primer: Text | None = Field(None, examples=["the primer of the adhesive's data sheet"])
    """Primer, where one is used"""
    prepared: Annotated[Text, BeforeValidator(_moment)] | None = Field(None, examples=["2026-03-02 08:30"])
    """When the surface was prepared"""
    waited: Time | None = Field(None, examples=["2 h"])
    """How long it waited, or will wait, between the last step and bonding"""
    longest_wait: Time | None = Field(None, examples=["8 h"])
    """How long it may wait, by the data sheet; in place of the route's"""
    water_break: bool | None = Field(None, examples=[True])
    """Whether the water-break test was passed: true where the film of water held; leave out until it is done"""
    done_by: Text | None = Field(None, examples=["name of the operator"])
    """Who prepares it"""
    knockdown: SurfaceKnockdown | None = Field(None, examples=[{"factor": 0.9, "source": "user's"}])
    """What the preparation leaves of the bond's strength: factor and source"""

    @model_validator(mode="after")
    def _one_route(self) -> Self:
        if self.route is not None:
            if self.route not in routes():
                refuse("route", self.route, no_route(self.route))
            if self.step:
                refuse(
                    "step", [step.operation for step in self.step], "own steps stand in place of a route; leave one of them out"
                )
        if self.family is not None and self.family not in families():
            refuse("family", self.family, f"must be one of {', '.join(families())}")
        for key, source in self.sources.items():
            try:
                _text(source)
            except ValueError as error:
                refuse(f"{key}.source", source, str(error))
        steps = len(route(self.route).steps) if self.route else len(self.step)
        seen: list[tuple[int, str]] = []
        for i, figure in enumerate(self.figure):
            if figure.step > steps:
                refuse(f"figure.{i}.step", figure.step, f"the route has {steps} steps; give one of them")
            if (figure.step, figure.of) in seen:
                refuse(f"figure.{i}.of", figure.of, f"is there already for step {figure.step}; give each figure once")
            seen.append((figure.step, figure.of))
        return self

    @property
    def is_stated(self) -> bool:
        """Whether it names a route or steps of its own."""
        return self.route is not None or bool(self.step)

    def as_route(self) -> Route:
        """Return the route as it is to be done: the user's figures, wait and primer in their places.

        Raises
        ------
        JointError
            Neither a route nor steps are stated.
        """
        if not self.is_stated:
            raise JointError("process.preparation.route is missing (how the surface is prepared): add it, or own steps.")
        if self.route is not None:
            found = route(self.route)
        else:
            said = "what their user judges them to fit"
            steps = tuple(step.as_step() for step in self.step)
            found = Route(OWN, "Own steps", (), said, "unknown here", steps, Figure("", OPEN))
        done = list(found.steps)
        for figure in self.figure:
            step = done[figure.step - 1]
            done[figure.step - 1] = replace(step, figures={**step.figures, figure.of: Figure(figure.value, figure.source)})
        if self.primer is not None:
            bath = Figure(self.primer, self.sources.get("primer", "user's"))
            if not any(step.operation == "prime" for step in done):
                done.append(PRIMING)
            done = [replace(s, figures={**s.figures, "bath": bath}) if s.operation == "prime" else s for s in done]
        wait = found.longest_wait
        if self.longest_wait is not None:
            wait = Figure(duration(self.longest_wait), self.sources.get("longest_wait", "user's"))
        ordered = (replace(s, figures={name: s.figures[name] for name in FIGURES if name in s.figures}) for s in done)
        return replace(found, steps=tuple(ordered), longest_wait=wait)

    def most_wait(self) -> float | None:
        """Return the longest wait before bonding, s; None where only the data sheet knows it."""
        return self.as_route().longest_wait.seconds if self.longest_wait is None else self.longest_wait


class Preparation(Surface):
    """How the surfaces are prepared; a table of one adherend takes the place of all that stands above it."""

    lower: Surface | None = Field(None)
    """Lower adherend alone"""
    upper: Surface | None = Field(None)
    """Upper adherend alone"""
    inner: Surface | None = Field(None)
    """Inner adherend of a double lap alone"""
    outer: Surface | None = Field(None)
    """Both outer adherends of a double lap"""
    lower_outer: Surface | None = Field(None)
    """Lower outer adherend alone"""
    upper_outer: Surface | None = Field(None)
    """Upper outer adherend alone"""

    @model_validator(mode="after")
    def _stated(self) -> Self:
        for name in OVERRIDES:
            own = getattr(self, name)
            if own is not None and not own.is_stated:
                refuse(
                    f"{name}.route", None, "it takes the place of the preparation above, so it needs a route or steps of its own"
                )
        if not self.is_stated and not any(getattr(self, name) for name in OVERRIDES):
            refuse("route", None, f"give one of {', '.join(routes())}, or own steps")
        return self


OVERRIDES = ("lower", "upper", "inner", "outer", "lower_outer", "upper_outer")
