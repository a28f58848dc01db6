"""What acts on a joint: its loads, temperature and moisture, at once or step by step."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Annotated, Any, Literal, Self

from annotated_types import Len
from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field, model_validator

from fejoint.joint.conditions import Environment
from fejoint.joint.model import Model, Unit, in_order, refuse
from fejoint.units import display

__all__ = ["QUANTITIES", "Load", "LoadStep", "Step"]

MOST_STEPS = 50
LONGEST_NAME = 60

# What is smaller is none: no joint feels it, and what it causes loses its digits where numbers end, at 1e-308.
NOTHING = 1e-100


def _felt(value: float) -> float:
    return value if abs(value) >= NOTHING else 0.0


Force = Annotated[float, Unit("N", ge=-1e9, le=1e9), AfterValidator(_felt)]
Moment = Annotated[float, Unit("N*mm", ge=-1e12, le=1e12), AfterValidator(_felt)]
Change = Annotated[float, Unit("K", ge=-2000, le=2000), AfterValidator(_felt)]
Moisture = Annotated[float, Unit("", ge=0, le=1), AfterValidator(_felt)]
Absolute = Annotated[float, Unit("K absolute", gt=0, le=3000)]

# What a step may change, with its inside unit.
QUANTITIES = {"force": "N", "moment": "N*mm", "shear_force": "N", "temperature_change": "K", "moisture": ""}


@dataclass(frozen=True)
class Step:
    """One stretch of the load's path, with all that acts at its end (N, N mm, N, K, mass fraction)."""

    name: str
    force: float = 0.0
    moment: float = 0.0
    shear_force: float = 0.0
    temperature_change: float = 0.0
    moisture: float = 0.0

    def values(self) -> dict[str, float]:
        """Return what acts, by key."""
        return {key: value for key, value in asdict(self).items() if key != "name"}


class LoadStep(Model):
    """One step of loading: what it names is reached in proportion, the rest stays as it was."""

    name: str = Field(examples=["cool-down"])
    """What the step is called in tables; each its own"""
    force: Force | None = Field(None, examples=["2.5 kN"])
    """Force at the end of the step"""
    moment: Moment | None = Field(None, examples=["0 N*m"])
    """Moment at the end of the step"""
    shear_force: Force | None = Field(None, examples=["0 N"])
    """Force across the joint at the end of the step"""
    temperature_change: Change | None = Field(None, examples=["-100 K"])
    """Temperature at the end of the step less the stress-free temperature"""
    moisture: Moisture | None = Field(None, examples=[0.02])
    """Moisture in the adhesive at the end of the step"""

    def values(self) -> dict[str, float]:
        """Return what the step names, by key."""
        return {key: value for key in QUANTITIES if (value := getattr(self, key)) is not None}

    def __str__(self) -> str:
        """Return the step in words."""
        return f"{self.name} ({', '.join(f'{k} {display(v, QUANTITIES[k])}' for k, v in self.values().items())})"


class Load(Model):
    """What acts on the joint; with steps, what acts at the end of the last."""

    model_config = ConfigDict(json_schema_extra={"anyOf": [{"required": ["force"]}, {"required": ["step"]}]})

    force: Force = Field(0.0, examples=["2.5 kN"])
    """Total force over the width, along the joint; negative is compression"""
    moment: Moment = Field(0.0, examples=["0 N*m"])
    """Moment on the loaded end, counter-clockwise positive; pinned ends only"""
    shear_force: Force = Field(0.0, examples=["0 N"])
    """Force on the loaded end across the joint, positive lifts it; other than 0 the end is free to move so; clamped ends only"""
    ends: Literal["clamped", "pinned"] = Field("clamped", examples=["clamped"])
    """How the ends are held: clamped (end faces do not turn) or pinned (they turn)"""
    temperature_change: Change = Field(0.0, examples=["0 K"])
    """Temperature now less the stress-free temperature"""
    moisture: Moisture = Field(0.0, examples=[0.0])
    """Mass fraction of water that the adhesive has taken up; swells what states its swelling"""
    stress_free_temperature: Absolute | None = Field(None, examples=["120 degC"])
    """Temperature at which the joint is free of stress; needed by figures that depend on the temperature"""
    step: Annotated[tuple[LoadStep, ...], Len(1, MOST_STEPS), BeforeValidator(in_order)] | None = Field(
        None, examples=[[{"name": "half", "force": "1.25 kN"}, {"name": "full", "force": "2.5 kN"}]]
    )
    """Steps of loading, in order; each names what it changes"""

    @model_validator(mode="after")
    def _stepped(self) -> Self:
        if self.step is None:
            if "force" not in self.model_fields_set:
                refuse("force", None, 'add it (total force over the width), for example force = "2.5 kN"; or give steps')
            return self
        self._check_steps(self.step)
        end = self.path()[-1].values()
        for key, value in end.items():
            if key in self.model_fields_set and getattr(self, key) != value:
                last = f"{value:g} {QUANTITIES[key]}".rstrip()
                refuse(key, getattr(self, key), f"the last step ends at {last}; leave {key} out, the steps say it")
            # The object is frozen for its users; here it is still being made.
            object.__setattr__(self, key, value)
        return self

    @staticmethod
    def _check_steps(steps: tuple[LoadStep, ...]) -> None:
        seen: list[str] = []
        now = dict.fromkeys(QUANTITIES, 0.0)
        for i, step in enumerate(steps):
            if not step.name.strip() or not step.name.isprintable() or len(step.name) > LONGEST_NAME:
                refuse(f"step.{i}.name", step.name, f"must be a name of 1 to {LONGEST_NAME} printable characters")
            if step.name in seen:
                refuse(f"step.{i}.name", step.name, f"item {seen.index(step.name) + 1} bears this name; give each its own")
            seen.append(step.name)
            then = {**now, **step.values()}
            if then == now:
                known = ", ".join(QUANTITIES)
                refuse(f"step.{i}", step, f"changes nothing: name one of {known} with another value than before")
            now = then

    @model_validator(mode="after")
    def _held(self) -> Self:
        for key, ends, why in (
            ("moment", "pinned", "a clamped end cannot turn under it"),
            ("shear_force", "clamped", "between pins nothing would hold the joint"),
        ):
            if self.ends == ends:
                continue
            for i, step in enumerate(self.step or ()):
                if getattr(step, key):
                    refuse(f"step.{i}.{key}", getattr(step, key), f'only goes with ends = "{ends}": {why}')
            if getattr(self, key) != 0:
                refuse(key, getattr(self, key), f'only goes with ends = "{ends}": {why}')
        return self

    @property
    def force_alone(self) -> bool:
        """Whether neither moment nor shear force acts."""
        return self.moment == 0 and self.shear_force == 0

    @property
    def guided(self) -> bool:
        """Whether the loaded end is free to move across the joint: a shear force acts on it at some time."""
        return any(step.shear_force != 0 for step in self.path())

    @property
    def environment(self) -> Environment:
        """Temperature and moisture now; with steps at the end of the last."""
        change, free = self.temperature_change, self.stress_free_temperature
        return Environment(change, None if free is None else free + change, self.moisture)

    def path(self) -> tuple[Step, ...]:
        """Return the steps of loading, each with all that acts at its end.

        Without steps in the file the temperature and the moisture come first,
        then the loads, as a bond is made and then used.
        """
        if self.step is not None:
            now, steps = dict.fromkeys(QUANTITIES, 0.0), []
            for step in self.step:
                now = {**now, **step.values()}
                steps.append(Step(step.name, **now))
            return tuple(steps)
        end = {key: getattr(self, key) for key in QUANTITIES}
        change, moisture = self.temperature_change, self.moisture
        first = Step(
            "cool-down" if change < 0 else "warm-up" if change > 0 else "soak", temperature_change=change, moisture=moisture
        )
        last = Step("load", **end)
        if not change and not moisture:
            return (last,)
        return (first,) if first.values() == end else (first, last)

    def at(
        self,
        *,
        force: float | None = None,
        moment: float | None = None,
        shear_force: float | None = None,
        temperature_change: float | None = None,
        moisture: float | None = None,
    ) -> Load:
        """Return the load at another moment, without steps; what is not named is as at the end."""
        named: dict[str, Any] = dict(
            force=force, moment=moment, shear_force=shear_force, temperature_change=temperature_change, moisture=moisture
        )
        now = {key: getattr(self, key) if value is None else value for key, value in named.items()}
        return Load(**now, ends=self.ends, stress_free_temperature=self.stress_free_temperature)
