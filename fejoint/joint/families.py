"""The joint families: one class each, with its keys, its limits and what it tells the mechanics."""

from __future__ import annotations

from itertools import accumulate, pairwise
from typing import Annotated, ClassVar, Literal, Self

from annotated_types import Len
from pydantic import BeforeValidator, Field, model_validator

from fejoint.joint.geometry import WITHIN, Adherend, Bond, Geometry, Length
from fejoint.joint.model import in_order, refuse, whole

__all__ = ["FAMILIES", "AnyFamily", "DoubleLap", "SingleLap", "SteppedLap"]

MAX_STEPS = 20


class SingleLap(Geometry):
    """Two adherends, one overlap: `lower` is gripped at the left, `upper` loaded at the right."""

    script: ClassVar[str] = "single_lap.geo"
    gripped: ClassVar[tuple[str, ...]] = ("lower",)
    loaded: ClassVar[tuple[str, ...]] = ("upper",)

    kind: Literal["single-lap"] = Field("single-lap", examples=["single-lap"])
    """Joint family"""
    overlap_length: Length = Field(examples=["12.5 mm"])
    """Length of the overlap, along the load"""
    lower: Adherend
    """Adherend gripped at the left"""
    upper: Adherend
    """Adherend loaded at the right"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        ta = self.bondline_thickness
        if self.overlap_length <= ta:
            refuse("overlap_length", self.overlap_length, f"must be longer than the bondline is thick ({ta:g} mm)")
        self._check_proportions()
        self._check_taper()
        self._check_spew("nine tenths of the thinner adherend's")
        return self

    @property
    def length(self) -> float:
        """Length L of the overlap, mm."""
        return self.overlap_length

    @property
    def depth(self) -> float:
        """Thickness of the whole stack at the overlap, mm."""
        return self.lower.thickness + self.bondline_thickness + self.upper.thickness

    @property
    def fillet_room(self) -> float:
        """The largest height that a spew fillet has room for, mm."""
        return 0.9 * min(self.lower.thickness, self.upper.thickness)

    def adherends(self) -> dict[str, Adherend]:
        """Return the adherends by the name of their region, from below."""
        return {"lower": self.lower, "upper": self.upper}

    def bonds(self) -> list[Bond]:
        """Return the one bond."""
        return [Bond(1, "lower", "upper", 0.0, self.overlap_length, 0.0)]

    def script_parameters(self, half: bool = False) -> dict[str, float]:
        """Return the geometry script's parameters, mm."""
        return {
            "overlap_length": self.overlap_length,
            "bondline_thickness": self.bondline_thickness,
            "lower_thickness": self.lower.thickness,
            "lower_free_length": self.lower.free_length,
            "upper_thickness": self.upper.thickness,
            "upper_free_length": self.upper.free_length,
            "spew_height": self.fillet_height,
        }

    def region_areas(self, half: bool = False) -> dict[str, float]:
        """Return the area that each named region of the section must have, mm^2."""
        f, ta, length = self.fillet_height, self.bondline_thickness, self.overlap_length
        leg = f + ta if f > 0 else 0.0
        return {
            "lower": self.lower.thickness * (self.lower.free_length + length),
            "adhesive": ta * length + leg**2,
            "upper": self.upper.thickness * (self.upper.free_length + length),
        }


class DoubleLap(Geometry):
    """An inner adherend between two outers: `inner` is loaded at the left, the outers are held at the right as one."""

    script: ClassVar[str] = "double_lap.geo"
    gripped: ClassVar[tuple[str, ...]] = ("lower_outer", "upper_outer")
    loaded: ClassVar[tuple[str, ...]] = ("inner",)
    pull: ClassVar[int] = -1

    kind: Literal["double-lap"] = Field("double-lap", examples=["double-lap"])
    """Joint family"""
    overlap_length: Length = Field(examples=["25 mm"])
    """Length of the overlap, along the load"""
    inner: Adherend
    """Adherend in the middle, loaded at the left"""
    outer: Adherend | None = Field(
        None, examples=[{"material": "aluminium 2024-T3", "thickness": "1.6 mm", "free_length": "50 mm"}]
    )
    """Both outers alike, held at the right; or give lower_outer and upper_outer"""
    lower_outer: Adherend | None = None
    """Outer adherend below, when the outers are unlike"""
    upper_outer: Adherend | None = None
    """Outer adherend above, when the outers are unlike"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.outer is not None:
            for key in ("lower_outer", "upper_outer"):
                if getattr(self, key) is not None:
                    refuse(
                        key, getattr(self, key), "only goes without outer; give outer for both, or lower_outer and upper_outer"
                    )
        elif self.lower_outer is None and self.upper_outer is None:
            refuse("outer", None, "add it for both outers alike, or lower_outer and upper_outer")
        else:
            for key, other in (("lower_outer", "upper_outer"), ("upper_outer", "lower_outer")):
                if getattr(self, key) is None:
                    refuse(key, None, f"it goes with {other}; add it, or give outer for both alike")
        below, above = self.outers
        if below.free_length != above.free_length:
            limit = f"must equal lower_outer.free_length ({below.free_length:g} mm): both outers end in one grip"
            refuse("upper_outer.free_length", above.free_length, limit)
        ta = self.bondline_thickness
        if self.overlap_length <= ta:
            refuse("overlap_length", self.overlap_length, f"must be longer than the bondline is thick ({ta:g} mm)")
        self._check_proportions()
        self._check_taper()
        self._check_spew("nine tenths of the thinnest outer's and of half the inner's thickness")
        return self

    @property
    def outers(self) -> tuple[Adherend, Adherend]:
        """Lower and upper outer."""
        below, above = self.lower_outer or self.outer, self.upper_outer or self.outer
        assert below is not None and above is not None
        return below, above

    @property
    def length(self) -> float:
        """Length L of the overlap, mm."""
        return self.overlap_length

    @property
    def depth(self) -> float:
        """Thickness of the whole stack at the overlap, mm."""
        return sum(part.thickness for part in self.adherends().values()) + 2 * self.bondline_thickness

    @property
    def fillet_room(self) -> float:
        """The largest height that a spew fillet has room for, mm."""
        return 0.9 * min(self.inner.thickness / 2, *(part.thickness for part in self.outers))

    @property
    def has_like_halves(self) -> bool:
        """Whether the outers are alike in all that counts for stress."""
        below, above = self.outers
        like = below.material.engineering_constants() == above.material.engineering_constants()
        return like and below.thickness == above.thickness

    def adherends(self) -> dict[str, Adherend]:
        """Return the adherends by the name of their region, from below."""
        below, above = self.outers
        return {"lower_outer": below, "inner": self.inner, "upper_outer": above}

    def adherend_key(self, name: str) -> str:
        """Return the key under ``joint`` of the adherend of a region."""
        return "outer" if self.outer is not None and name != "inner" else name

    def bonds(self) -> list[Bond]:
        """Return the lower and the upper bond."""
        y = (self.inner.thickness + self.bondline_thickness) / 2
        return [
            Bond(1, "lower_outer", "inner", 0.0, self.overlap_length, -y, -1),
            Bond(2, "inner", "upper_outer", 0.0, self.overlap_length, y),
        ]

    def script_parameters(self, half: bool = False) -> dict[str, float]:
        """Return the geometry script's parameters, mm; of the upper half alone where that is asked for."""
        below, above = self.outers
        return {
            "overlap_length": self.overlap_length,
            "bondline_thickness": self.bondline_thickness,
            "inner_thickness": self.inner.thickness,
            "inner_free_length": self.inner.free_length,
            "lower_outer_thickness": below.thickness,
            "upper_outer_thickness": above.thickness,
            "outer_free_length": above.free_length,
            "spew_height": self.fillet_height,
            "half": float(half),
        }

    def region_areas(self, half: bool = False) -> dict[str, float]:
        """Return the area that each named region of the section must have, mm^2."""
        f, ta, length = self.fillet_height, self.bondline_thickness, self.overlap_length
        leg = f + ta if f > 0 else 0.0
        areas = {name: part.thickness * (part.free_length + length) for name, part in self.adherends().items()}
        areas["adhesive"] = 2 * (ta * length + leg**2)
        if half:
            del areas["lower_outer"]
            areas |= {name: areas[name] / 2 for name in ("inner", "adhesive")}
        return areas

    def curve_names(self, half: bool = False) -> list[str]:
        """Return the named curves that the section must have."""
        names = super().curve_names()
        return ["symmetry", *(n for n in names if not n.startswith(("bondline 1", "cut 1")))] if half else names


class SteppedLap(Geometry):
    """Two flush adherends joined along a stair of treads and risers: `lower` is gripped at the left, `upper` loaded."""

    script: ClassVar[str] = "stepped_lap.geo"
    gripped: ClassVar[tuple[str, ...]] = ("lower",)
    loaded: ClassVar[tuple[str, ...]] = ("upper",)

    kind: Literal["stepped-lap"] = Field("stepped-lap", examples=["stepped-lap"])
    """Joint family"""
    steps: Annotated[int, Field(ge=1, le=MAX_STEPS, strict=True), BeforeValidator(whole)] | None = Field(None, examples=[3])
    """Number of treads, equally long; with overlap_length"""
    overlap_length: Length | None = Field(None, examples=["30 mm"])
    """Length of all treads together, along the load"""
    step_lengths: Annotated[tuple[Length, ...], Len(1, MAX_STEPS), BeforeValidator(in_order)] | None = Field(
        None, examples=[["10 mm", "10 mm", "10 mm"]]
    )
    """Length of every tread from the left, instead of steps and overlap_length"""
    step_heights: Annotated[tuple[Length, ...], Len(2, MAX_STEPS + 1), BeforeValidator(in_order)] | None = Field(
        None, examples=[["0.4 mm", "0.4 mm", "0.4 mm", "0.4 mm"]]
    )
    """Height of every riser from the left, both butt ends among them; by default all equal"""
    lower: Adherend
    """Adherend gripped at the left"""
    upper: Adherend
    """Adherend loaded at the right, as thick as the lower"""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.step_lengths is not None:
            for key in ("steps", "overlap_length"):
                if getattr(self, key) is not None:
                    refuse(key, getattr(self, key), "only goes without step_lengths; leave one of them out")
        else:
            for key in ("steps", "overlap_length"):
                if getattr(self, key) is None:
                    refuse(key, None, "give steps and overlap_length, or step_lengths")
        if self.lower.thickness != self.upper.thickness:
            flush = f"must equal lower.thickness ({self.lower.thickness:g} mm): the adherends of a stepped lap are flush"
            refuse("upper.thickness", self.upper.thickness, flush)
        self._check_proportions()
        self._check_taper()
        self._check_steps()
        for name, part in self.adherends().items():
            if part.free_length < part.thickness:
                limit = f"must be at least the adherend's thickness ({part.thickness:g} mm)"
                refuse(f"{name}.free_length", part.free_length, limit)
        self._check_spew("four tenths of the first and last tread's length, nine tenths of the adherend's thickness")
        return self

    def _check_steps(self) -> None:
        ta, t = self.bondline_thickness, self.lower.thickness
        shortest = min(self.treads)
        if shortest <= ta:
            given = getattr(self, self.length_key)
            refuse(self.length_key, given, f"every tread must be longer than the bondline is thick ({ta:g} mm)")
        least, ends = 0.05 * ta, 0.55 * ta
        if self.step_heights is None:
            most = int(t / ends - 1 + 1e-9)
            if most < 1:
                why = f"leaves no metal at the ends of adherends {t:g} mm thick, which have room for {t / 1.1:g} mm"
                refuse("bondline_thickness", ta, why)
            if t / (len(self.treads) + 1) < ends * WITHIN:
                key = "steps" if self.step_lengths is None else "step_lengths"
                why = f"leave no metal at the ends, where a step must be higher than half the bondline; at most {most}"
                refuse(key, getattr(self, key), f"{len(self.treads)} steps in {t:g} mm {why}")
            return
        heights = self.step_heights
        if len(heights) != len(self.treads) + 1:
            refuse("step_heights", heights, f"must hold {len(self.treads) + 1} heights, one more than there are treads")
        if abs(sum(heights) - t) > 1e-6 * t:
            refuse("step_heights", heights, f"must add up to the adherends' thickness ({t:g} mm), not to {sum(heights):g} mm")
        for place, height in (("first", heights[0]), ("last", heights[-1])):
            if height < ends * WITHIN:
                limit = f"the {place} step leaves no metal: it must be higher than half the bondline's thickness"
                refuse("step_heights", heights, f"{limit} (at least {ends:g} mm)")
        if min(heights) < least * WITHIN:
            refuse("step_heights", heights, f"every step must be at least 1/20 of the bondline's thickness ({least:g} mm)")

    @property
    def treads(self) -> tuple[float, ...]:
        """Length of every tread, mm."""
        if self.step_lengths is not None:
            return self.step_lengths
        assert self.steps is not None and self.overlap_length is not None
        return (self.overlap_length / self.steps,) * self.steps

    @property
    def risers(self) -> tuple[float, ...]:
        """Height of every riser, mm."""
        n = len(self.treads) + 1
        return self.step_heights or (self.lower.thickness / n,) * n

    @property
    def length(self) -> float:
        """Length L of the overlap, mm."""
        return [*accumulate(self.treads)][-1]

    @property
    def length_key(self) -> str:
        """The key under ``joint`` that gives the overlap's length."""
        return "overlap_length" if self.step_lengths is None else "step_lengths"

    @property
    def depth(self) -> float:
        """Thickness of the whole stack at the overlap, mm."""
        return self.lower.thickness

    @property
    def fillet_room(self) -> float:
        """The largest height that the bead of spew over a butt end has room for, mm."""
        return min(0.4 * self.treads[0], 0.4 * self.treads[-1], 0.9 * self.lower.thickness)

    def adherends(self) -> dict[str, Adherend]:
        """Return the adherends by the name of their region, from below."""
        return {"lower": self.lower, "upper": self.upper}

    def bonds(self) -> list[Bond]:
        """Return the treads from the left."""
        x = [0.0, *accumulate(self.treads)]
        y = [self.lower.thickness / 2 - down for down in accumulate(self.risers)]
        return [Bond(i + 1, "lower", "upper", a, b, y[i]) for i, (a, b) in enumerate(pairwise(x))]

    def cuts(self) -> list[tuple[str, str, str]]:
        """Return the one cut along the whole stair."""
        return [("cut 1", "lower", "upper")]

    def net_thickness(self) -> dict[str, tuple[float, ...]]:
        """Return the metal left under and over every tread, mm, by adherend."""
        t, h = self.lower.thickness, self.bondline_thickness / 2
        down = list(accumulate(self.risers))[:-1]
        return {"lower": tuple(t - d - h for d in down), "upper": tuple(d - h for d in down)}

    def script_parameters(self, half: bool = False) -> dict[str, float]:
        """Return the geometry script's parameters, mm."""
        return {
            "steps": float(len(self.treads)),
            "thickness": self.lower.thickness,
            "bondline_thickness": self.bondline_thickness,
            "lower_free_length": self.lower.free_length,
            "upper_free_length": self.upper.free_length,
            "spew_height": self.fillet_height,
            **{f"step_length_{i}": length for i, length in enumerate(self.treads, 1)},
            **{f"step_height_{i}": height for i, height in enumerate(self.risers, 1)},
        }

    def region_areas(self, half: bool = False) -> dict[str, float]:
        """Return the area that each named region of the section must have, mm^2."""
        f, ta, t = self.fillet_height, self.bondline_thickness, self.lower.thickness
        areas = {}
        for name, net in self.net_thickness().items():
            steps = sum(a * b for a, b in zip(self.treads, net, strict=True))
            areas[name] = t * (self.adherends()[name].free_length - ta / 2) + steps
        whole = t * (self.lower.free_length + self.length + self.upper.free_length)
        return {**areas, "adhesive": whole - sum(areas.values()) + 2 * (ta * f + f**2)}

    def curve_names(self, half: bool = False) -> list[str]:
        """Return the named curves that the section must have."""
        return [*super().curve_names(), *(f"riser {i} middle" for i in range(1, len(self.risers) + 1))]


AnyFamily = Annotated[SingleLap | DoubleLap | SteppedLap, Field(discriminator="kind")]
FAMILIES: dict[str, type[Geometry]] = {"single-lap": SingleLap, "double-lap": DoubleLap, "stepped-lap": SteppedLap}
