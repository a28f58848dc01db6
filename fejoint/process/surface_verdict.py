"""Whether a preparation serves a material, and what it leaves of the bond's strength where its user says so."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from fejoint.errors import JointError
from fejoint.joint.geometry import Geometry
from fejoint.joint.strength import Knockdown, StrengthRules
from fejoint.process.durations import duration
from fejoint.process.preparation import OVERRIDES, Preparation, Surface
from fejoint.process.routes import Route, families, families_of, routes_for

__all__ = [
    "EVERY_SURFACE",
    "STATES",
    "SurfaceVerdict",
    "material_names",
    "surface_knockdown",
    "surfaces",
    "unnamed_materials",
    "verdict",
    "verdicts",
    "with_surface_knockdown",
]

State = Literal["fit", "checks open", "wait exceeded", "water break failed", "not fit"]
STATES: tuple[State, ...] = ("fit", "checks open", "wait exceeded", "water break failed", "not fit")
"""What a verdict can be, from good to bad"""
EVERY_SURFACE = "every surface"
"""What all adherends together are called where there is no joint to name them"""


@dataclass(frozen=True)
class SurfaceVerdict:
    """Whether a preparation serves a material.

    Attributes
    ----------
    state : str
        The worst of what was found, one of `STATES`.
    reasons : tuple of str
        Everything found, the worst first.
    what_to_do : tuple of str
        In the same order, each once.
    """

    state: State
    reasons: tuple[str, ...]
    what_to_do: tuple[str, ...]

    @property
    def forbids_bonding(self) -> bool:
        """Whether what is known speaks against bonding."""
        return self.state not in ("fit", "checks open")


def verdict(preparation: Surface, material: str) -> SurfaceVerdict:
    """Return whether a preparation serves a material, by the material's name, its family, the wait and the water-break test.

    What is not stated is never taken for passed: it leaves checks open.

    Raises
    ------
    JointError
        The preparation states neither a route nor steps.
    """
    planned = preparation.as_route()
    found = [*_fits(preparation, planned, material), *_water(preparation, planned), *_wait(preparation, planned)]
    found.sort(key=lambda finding: -STATES.index(finding[0]))
    state: State = found[0][0] if found else "fit"
    what_to_do = dict.fromkeys(todo for _, _, todo in found if todo)
    return SurfaceVerdict(state, tuple(reason for _, reason, _ in found), tuple(what_to_do))


def material_names(geometry: Geometry) -> dict[str, str]:
    """Return the name of the material of every adherend, by adherend; empty where a material has none."""
    return {name: adherend.material.name for name, adherend in geometry.adherends().items()}


def unnamed_materials(preparation: Preparation) -> dict[str, str]:
    """Return what stands for the adherends where there is no joint: the tables that are stated, of materials without a name."""
    own = [name for name in OVERRIDES if getattr(preparation, name) is not None]
    return dict.fromkeys([EVERY_SURFACE] * preparation.is_stated + own, "")


def verdicts(preparation: Preparation, materials: Mapping[str, str]) -> dict[str, SurfaceVerdict]:
    """Return the verdict on every adherend; `materials` are the names of their materials, by adherend.

    Raises
    ------
    JointError
        A table is for an adherend that the joint has not, or an adherend has no route.
    """
    return {name: verdict(surface, materials[name]) for name, surface in surfaces(preparation, materials).items()}


def surfaces(preparation: Preparation, adherends: Iterable[str]) -> dict[str, Surface]:
    """Return how each adherend is prepared: by its own table, by that of both outers, or as all are.

    Raises
    ------
    JointError
        A table is for an adherend that the joint has not, or an adherend has no route.
    """
    names = list(adherends)
    usable = {*names, *(["outer"] if any(name.endswith("_outer") for name in names) else [])}
    for name in OVERRIDES:
        if getattr(preparation, name) is not None and name not in usable:
            raise JointError(f"process.preparation.{name}: the joint's adherends are {', '.join(names)}; name one of them.")
    found: dict[str, Surface] = {}
    for name in names:
        own = getattr(preparation, name, None)
        if own is None and name.endswith("_outer"):
            own = preparation.outer
        found[name] = preparation if own is None else own
        if not found[name].is_stated:
            raise JointError(
                f"process.preparation: the adherend {name} has no route; add process.preparation.route for all, "
                f"or [process.preparation.{name}] with one."
            )
    return found


def surface_knockdown(preparation: Preparation, adherends: Iterable[str]) -> Knockdown | None:
    """Return what the preparation leaves of the bond's strength as a knockdown, where its user gave one.

    Of several surfaces the lowest factor counts: a bond parts at its worst interface, not at each in turn.
    """
    given = [s.knockdown for s in surfaces(preparation, adherends).values() if s.knockdown is not None]
    if not given:
        return None
    least = min(given, key=lambda knockdown: knockdown.factor)
    return Knockdown(name=least.name, factor=least.factor, source=least.source, on=least.on)


def with_surface_knockdown(rules: StrengthRules, preparation: Preparation, adherends: Iterable[str]) -> StrengthRules:
    """Return the rules of a prediction of strength with that of the preparation, where there is one, among theirs once."""
    found = surface_knockdown(preparation, adherends)
    return rules if found is None or found in rules.knockdown else rules.replace(knockdown=(*rules.knockdown, found))


Finding = tuple[State, str, str]


def _fits(preparation: Surface, planned: Route, material: str) -> list[Finding]:
    if not planned.families:  # own steps: nobody here knows
        return [
            (
                "checks open",
                "own steps: whether they fit the material is their user's judgement",
                "pull a witness coupon made with them",
            )
        ]
    told = families_of(material)
    if preparation.family:
        if told and preparation.family not in told:  # an acid for one metal may ruin another, so neither is believed
            names = " and ".join(told)
            reason = f'family = "{preparation.family}" contradicts the material\'s name, "{material}", which tells {names}'
            return [("not fit", reason, "leave family out, or name the material for what it is")]
        told = (preparation.family,)
    if not told:
        named = f'the name "{material}" tells no family of materials' if material else "the material has no name"
        return [
            ("checks open", f"{named}, so whether {planned.name} fits is not known",
             f"state process.preparation.family, one of {', '.join(families())}")
        ]  # fmt: skip
    against = [planned.unfit(family, material) for family in told]
    if not all(against):
        return []
    others = [found.name for found in routes_for(material) or routes_for(told[0])]
    return [("not fit", against[0], f"take one of {', '.join(others)}, or what the adhesive's data sheet names")]


def _water(preparation: Surface, planned: Route) -> list[Finding]:
    if preparation.water_break is False:
        todo = "do not bond; clean again from the first step on and repeat the test"
        return [("water break failed", "the film of water broke (ASTM F22): the surface is not clean", todo)]
    if preparation.water_break is None and planned.water_break:
        todo = "do the water-break test (ASTM F22) and state water_break = true or false"
        return [("checks open", "the water-break test is not stated", todo)]
    return []


def _wait(preparation: Surface, planned: Route) -> list[Finding]:
    waited, most = preparation.waited, preparation.most_wait()
    if most is None:
        todo = "take the longest wait from the adhesive's or the primer's data sheet and state longest_wait"
        return [("checks open", "how long the surface may wait is left to the data sheet", todo)]
    limit = f"{duration(most)} ({planned.longest_wait.source})"
    if waited is None:
        todo = "bond within that time, and state waited"
        return [("checks open", f"how long the surface waits is not stated; it may wait {limit}", todo)]
    if waited > most:
        todo = "do not bond; prepare the surface again, and plan the bonding within the wait"
        return [("wait exceeded", f"it waits {duration(waited)}, longer than {limit}", todo)]
    return []
