"""Routes by which surfaces are prepared, as data: steps in order, every figure with its source, hazards with their cautions.

The data are `preparations/*.toml`, one family of materials a file, and
`hazards.toml`. A figure that nobody here knows for sure is open: the adhesive
maker's or the plant's data sheet decides, and the job card leaves room for it.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from textwrap import shorten
from typing import Any

from fejoint.errors import JointError
from fejoint.units import as_number

__all__ = [
    "ALWAYS",
    "FIGURES",
    "MARKS",
    "OPEN",
    "Family",
    "Figure",
    "Hazard",
    "Route",
    "Step",
    "families",
    "families_of",
    "hazards",
    "no_route",
    "route",
    "routes",
    "routes_for",
]

OPEN = "data sheet decides"
USERS = "user's"
MARKS = ("READ", "from memory", "common practice, no source", OPEN, USERS)
ALWAYS = "Follow local codes, the data sheet and licensed practice."
# What a step may say, in the order in which it is read.
FIGURES = ("bath", "concentration", "temperature", "time", "voltage", "check", "wait")


@dataclass(frozen=True)
class Figure:
    """A figure of a route, in words or with its unit, and where it comes from.

    Attributes
    ----------
    value : str
        Such as ``"19 to 25 degC"``; empty where it is left open.
    source : str
        Begins with its mark, one of `MARKS`; what a user stated bears "user's".
    """

    value: str
    source: str

    @property
    def is_open(self) -> bool:
        """Whether it is left to the data sheet."""
        return not self.value

    @property
    def mark(self) -> str:
        """How sure it is, one of `MARKS`; what bears none of the others is the user's."""
        return next((mark for mark in MARKS if self.source.startswith(mark)), USERS)

    @property
    def seconds(self) -> float | None:
        """The time that it states, s; None where it states none, or in words."""
        try:
            return as_number(self.value, "s")
        except ValueError:
            return None

    def __str__(self) -> str:
        """Return the figure in words, with its source."""
        return OPEN if self.is_open else f"{self.value} ({self.source})"


@dataclass(frozen=True)
class Step:
    """A step of a route: what is done, with what figures, what is checked after it, what can hurt.

    `figures` holds those of `FIGURES` that the step has, by name; `water_break`
    says whether the check is a water-break test; `hazards` are keys of `hazards()`.
    """

    operation: str
    do: str
    figures: Mapping[str, Figure]
    hazards: tuple[str, ...] = ()
    water_break: bool = False


@dataclass(frozen=True)
class Route:
    """A way to prepare a surface.

    `families` are those of materials that it fits, `only` and `never` words
    of a material's name that decide within them; `fits` and `fits_not` say it
    for people. `longest_wait` is from the last step to bonding.
    """

    name: str
    title: str
    families: tuple[str, ...]
    fits: str
    fits_not: str
    steps: tuple[Step, ...]
    longest_wait: Figure
    standards: tuple[Figure, ...] = ()
    only: tuple[str, ...] = ()
    never: tuple[str, ...] = ()

    @property
    def water_break(self) -> bool:
        """Whether a water-break test is among the checks."""
        return any(step.water_break for step in self.steps)

    def figures(self) -> list[Figure]:
        """Return every figure of the route: standards, steps, wait."""
        return [*self.standards, *(f for step in self.steps for f in step.figures.values()), self.longest_wait]

    def marks(self) -> dict[str, int]:
        """Return how many figures bear each mark, of those that occur."""
        found = [figure.mark for figure in self.figures()]
        return {mark: found.count(mark) for mark in MARKS if mark in found}

    def hazards(self) -> list[str]:
        """Return the keys of all hazards of the steps, each once, in their order."""
        return list(dict.fromkeys(key for step in self.steps for key in step.hazards))

    def unfit(self, family: str, material: str) -> str:
        """Return why the route does not fit a material of a family; empty where it does."""
        if self.families and family not in self.families:
            titles = " and ".join(families()[name].title.lower() for name in self.families)
            return f"{self.name} is for {titles}"
        word = _word_in(material, self.never)
        if word:
            return f"{self.name} is not for {word}: {_lower(self.fits_not)}"
        if self.only and material and not _word_in(material, self.only):
            return f"{self.name} is for {', '.join(self.only)} only"
        return ""


@dataclass(frozen=True)
class Family:
    """A family of materials, and the words that tell it by a material's name."""

    name: str
    title: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Hazard:
    """What can hurt, the usual cautions, what to wear, where that comes from (`source`, with its mark)."""

    key: str
    name: str
    what: str
    short: str
    cautions: tuple[str, ...]
    wear: tuple[str, ...]
    source: str


@cache
def hazards() -> dict[str, Hazard]:
    """Return every hazard by its key."""
    table = _table("hazards.toml")
    return {
        key: Hazard(key, h["name"], h["what"], h["short"], tuple(h["cautions"]), tuple(h["wear"]), h["source"])
        for key, h in table.items()
    }


@cache
def families() -> dict[str, Family]:
    """Return the families of materials for which there are routes, by name."""
    found = (document["family"] for document in _documents())
    return {f["name"]: Family(f["name"], f["title"], tuple(f["words"])) for f in found}


@cache
def routes() -> dict[str, Route]:
    """Return every shipped route by its name, family by family."""
    found = {}
    for document in _documents():
        family = document["family"]["name"]
        for name, table in document["route"].items():
            found[name] = _route(name, family, table)
    return found


def route(name: str) -> Route:
    """Return a shipped route.

    Raises
    ------
    JointError
        There is none of this name: says the nearest.
    """
    if name not in routes():
        raise JointError(f"route {shorten(name, 60, placeholder=' ...')}: {no_route(name)}.")
    return routes()[name]


def no_route(name: str) -> str:
    """Return that there is no route of a name, and which is meant."""
    near = difflib.get_close_matches(name[:100], routes(), n=1, cutoff=0.4)
    hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(routes())}"
    return f"there is none of this name; {hint} (fejoint job-card --routes lists all)"


def families_of(material: str) -> tuple[str, ...]:
    """Return the families that the name of a material tells, by whole words; several, or none, where it is not plain."""
    return tuple(family.name for family in families().values() if _word_in(material, family.words))


def routes_for(material: str) -> list[Route]:
    """Return the routes that fit a family of materials, or a material by its name, in the order of the data."""
    if material in families():
        return [found for found in routes().values() if material in found.families]
    told = families_of(material)
    return [found for found in routes().values() if any(not found.unfit(family, material) for family in told)]


# ---- reading the data ------------------------------------------------------


def _table(name: str) -> dict[str, Any]:
    return tomllib.loads(resources.files(__package__).joinpath(name).read_text(encoding="utf-8"))


@cache
def _documents() -> list[dict[str, Any]]:
    """Return the data files; metals come before plastics, by the alphabet with what stands nearest the metals first."""
    folder = resources.files(__package__).joinpath("preparations")
    names = sorted(entry.name for entry in folder.iterdir() if entry.name.endswith(".toml"))
    order = ("aluminium.toml", "steel.toml", "titanium.toml")
    return [_table(f"preparations/{name}") for name in [*order, *(n for n in names if n not in order)]]


def _route(name: str, family: str, table: Mapping[str, Any]) -> Route:
    return Route(
        name=name,
        title=table["title"],
        families=(family, *table.get("also", ())),
        fits=table["fits"],
        fits_not=table["fits_not"],
        steps=tuple(_step(step) for step in table["step"]),
        longest_wait=_figure(table["longest_wait"]),
        standards=tuple(_figure(standard) for standard in table["standards"]),
        only=tuple(table.get("only", ())),
        never=tuple(table.get("never", ())),
    )


def _step(table: Mapping[str, Any]) -> Step:
    figures = {key: _figure(table[key]) for key in FIGURES if key in table}
    return Step(table["operation"], table["do"], figures, tuple(table["hazards"]), table.get("water_break", False))


def _figure(given: Any) -> Figure:
    return Figure("", OPEN) if given == OPEN else Figure(given["value"], given["source"])


def _word_in(text: str, words: Iterable[str]) -> str:
    """Return the first of some words that stands in a text as a whole word, whatever its case; empty where none does."""
    return next((word for word in words if re.search(rf"(?<![^\W_]){re.escape(word)}(?![^\W_])", text, re.IGNORECASE)), "")


def _lower(text: str) -> str:
    """Return a sentence as it goes on in another one."""
    return text[:1].lower() + text[1:].rstrip(".")
