"""The job card of a joint: one HTML page for print, A4, with boxes to tick and lines to sign; no scripts.

What is known stands on it with the number of its source; what is not known
leaves room to write. Everything that a user typed is text to the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from fejoint.errors import SetupError
from fejoint.joint.description import Joint
from fejoint.process.description import Process
from fejoint.process.durations import duration
from fejoint.process.outcome import checked
from fejoint.process.preparation import Surface
from fejoint.process.routes import ALWAYS, Figure, Step, hazards
from fejoint.process.surface_verdict import material_names, surface_knockdown
from fejoint.show.process.bonding_words import Fact, adhesive_facts, amount_facts, clamp_facts, cure_facts
from fejoint.show.process.preparation_words import Alike, alike, named
from fejoint.show.report.page import page, picture
from fejoint.show.report.run_words import FAMILY, section_alt
from fejoint.units import display

if TYPE_CHECKING:
    from fejoint.show.report.page import Picture

__all__ = ["JobCard", "job_card", "write_job_card"]

FINAL_CHECKS = (
    ("Squeeze-out stands along the whole edge, both sides, without gaps; cleaned or shaped as drawn", "visual"),
    ("No voids, no lifted edges, parts in line, bondline thickness measured", "visual; feeler gauge or thickness difference"),
    ("No hollow sound, no void, no disbond", "tap test, or ultrasonic inspection by qualified people"),
    ("Witness coupon, made with the same surface, mix and cure, pulled: load and failure pattern", "lap shear coupon"),
    ("Cure log attached: time and temperature at the coldest part", "record"),
)
CHECKS_SOURCE = "common practice, no source"
ADHESIVE_HAZARD = "skin-sensitisers"
"""Of the adhesive itself: on every card"""
CAUTIONS = (
    "Read the data sheets of the adhesive, the primer and every bath before work begins: they come before this card.",
    "A figure left open is filled in from the data sheet before the step begins. Figures marked from memory, or of common "
    "practice, were not looked up.",
    "Gloves for adhesives that irritate the skin, masks for blasting dust, eye protection for both.",
    "Once prepared, a surface is touched with clean gloves only. A surface that fails its check is not bonded.",
    "Where people rely on the bond, local codes and a licensed engineer decide.",
)


@dataclass(frozen=True)
class JobCard:
    """A job card that was written.

    Attributes
    ----------
    path : Path
    forbidden : tuple of str
        Why the joint must not be bonded as stated, a sentence each; empty where nothing known speaks against it.
    """

    path: Path
    forbidden: tuple[str, ...]


def write_job_card(joint: Joint, process: Process, path: str | Path, units: str = "mm") -> JobCard:
    """Write the job card of a joint, whole or not at all.

    Raises
    ------
    JointError
        The process has no preparation, or one that does not fit the joint.
    SetupError
        Not .html, jinja2 is not installed, or the file cannot be written.
    """
    from fejoint.show.files import write_files, write_text

    path = Path(path)
    if path.suffix.lower() != ".html":
        raise SetupError(f"{path}: a job card is written as .html; give the file this ending.")
    text = job_card(joint, process, units)
    write_files(path.parent, {path.name: partial(write_text, text=text)})
    return JobCard(path, forbidden(joint, process))


def job_card(joint: Joint, process: Process, units: str = "mm") -> str:
    """Return the job card of a joint as a whole HTML page.

    Raises
    ------
    JointError
        The process has no preparation, or a part of it does not fit the joint.
    SetupError
        jinja2 is not installed.
    """
    groups, sources = _groups(joint, process), Sources()
    surfaces = [_surface(group, sources) for group in groups]
    found = checked(process, joint.geometry)
    facts = {
        "adhesive": adhesive_facts(joint, found),
        "amounts": amount_facts(joint, found, units),
        "clamping": clamp_facts(joint, found, units),
        "cure": cure_facts(found, units),
    }
    keys = dict.fromkeys([*(key for group in groups for key in group.route.hazards()), ADHESIVE_HAZARD])
    known = [hazards()[key] for key in keys]
    checks = sources.number(CHECKS_SOURCE)
    context = {
        "number": process.job.number if process.job else None,
        "cautions": CAUTIONS,
        "always": ALWAYS,
        "forbidden": forbidden(joint, process),
        "missed": [_sentence(text) for text in found.missed],
        "warnings": found.warnings,
        "joint": _joint_facts(joint, process, units),
        "drawing": _drawing(joint, units),
        "drawing_missing": "The drawing is left out: it needs matplotlib (pip install 'fejoint[plot]').",
        "wear": list(dict.fromkeys(item for hazard in known for item in hazard.wear)),
        "surfaces": surfaces,
        **{name: [_told(fact, sources) for fact in told] for name, told in facts.items()},
        "adhesive_hazard": hazards()[ADHESIVE_HAZARD],
        "hazards": [(hazard, sources.number(hazard.source)) for hazard in known],
        "checks": FINAL_CHECKS,
        "checks_source": checks,
        "notes": process.job.notes if process.job else (),
        "sources": sources.listed(),
    }
    return page("job-card.html", joint.title or FAMILY[joint.geometry.kind], context)


def forbidden(joint: Joint, process: Process) -> tuple[str, ...]:
    """Return why the joint must not be bonded as stated, a sentence for each group of adherends; empty where nothing forbids."""
    return tuple(
        f"{group.names}: {group.verdict.state}; {group.verdict.reasons[0]}; {group.verdict.what_to_do[0]}."
        for group in _groups(joint, process)
        if group.verdict.forbids_bonding
    )


def _groups(joint: Joint, process: Process) -> list[Alike]:
    from fejoint.errors import JointError

    if process.preparation is None:
        raise JointError("process.preparation is missing: a job card needs a route; add it, or own steps.")
    return alike(process.preparation, material_names(joint.geometry))


# ---- sources ---------------------------------------------------------------


@dataclass
class Sources:
    """The sources of a card's figures, numbered as they come up."""

    numbers: dict[str, int] = field(default_factory=dict)

    def number(self, source: str) -> int:
        """Return the number of a source."""
        return self.numbers.setdefault(source, len(self.numbers) + 1)

    def listed(self) -> list[tuple[int, str]]:
        """Return all, by number."""
        return [(number, source) for source, number in self.numbers.items()]


@dataclass(frozen=True)
class Told:
    """A line of the card: a name, what is known (empty: room to write), the number of its source (0: none), boxes to tick."""

    name: str
    text: str
    source: int = 0
    strong: bool = False
    ticks: tuple[str, ...] = ()


def _told(fact: Fact, sources: Sources) -> Told:
    return Told(fact.name, _on_paper(fact.text), sources.number(fact.source) if fact.source and fact.text else 0, fact.strong)


def _figure(name: str, figure: Figure, sources: Sources) -> Told:
    return Told(named(name), _on_paper(figure.value), 0 if figure.is_open else sources.number(figure.source))


def _on_paper(text: str) -> str:
    """Return a text with the signs that people write for units."""
    return text.replace(" degC", " °C").replace(" degF", " °F").replace("^2", "²")


# ---- surfaces --------------------------------------------------------------


@dataclass(frozen=True)
class StepShown:
    """A step as the card shows it."""

    operation: str
    do: str
    figures: Sequence[Told]
    check: Told | None
    wait: Told | None
    cautions: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class SurfaceShown:
    """How some adherends are prepared, as the card shows it."""

    names: str
    material: str
    title: str
    fits: str
    fits_not: str
    standards: Sequence[Told]
    steps: Sequence[StepShown]
    wait: Told
    state: str
    forbidden: bool
    findings: Sequence[str]
    to_do: Sequence[str]
    facts: Sequence[Told]


def _surface(group: Alike, sources: Sources) -> SurfaceShown:
    route, verdict = group.route, group.verdict
    return SurfaceShown(
        names=group.names,
        material=group.material or "material without a name",
        title=route.title,
        fits=route.fits,
        fits_not=route.fits_not,
        standards=[Told("", standard.value, sources.number(standard.source)) for standard in route.standards],
        steps=[_step(step, sources) for step in route.steps],
        wait=_figure("wait", route.longest_wait, sources),
        state=verdict.state,
        forbidden=verdict.forbids_bonding,
        findings=[_sentence(reason) for reason in verdict.reasons],
        to_do=[_sentence(todo) for todo in verdict.what_to_do],
        facts=_stated(group.surface),
    )


def _step(step: Step, sources: Sources) -> StepShown:
    figures = {name: _figure(name, figure, sources) for name, figure in step.figures.items()}
    return StepShown(
        step.operation,
        _sentence(step.do),
        [figures[name] for name in figures if name not in ("check", "wait")],
        figures.get("check"),
        figures.get("wait"),
        [(hazards()[key].name, hazards()[key].short) for key in step.hazards],
    )


def _stated(surface: Surface) -> list[Told]:
    """Return what the user stated of how the surface came out; what is not stated leaves room to write."""
    film = {None: "", True: "stated as passed; on this part: ", False: "stated as failed; anew: "}[surface.water_break]
    waits = [] if surface.waited is None else [Told("wait as stated", duration(surface.waited))]
    return [
        Told("prepared on", surface.prepared or ""),
        Told("prepared by", surface.done_by or ""),
        Told("water-break test", film, ticks=("passed", "failed: do not bond")),
        *waits,
        Told("bonded at (time), waited", ""),
    ]


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


# ---- the joint -------------------------------------------------------------


def _joint_facts(joint: Joint, process: Process, units: str) -> list[Told]:
    g = joint.geometry

    def mm(value: float) -> str:
        return display(value, "mm", units)

    adherends = [
        Told(f"{name.replace('_', ' ')} adherend", f"{a.material.name or 'material without a name'}, {mm(a.thickness)} thick")
        for name, a in g.adherends().items()
    ]
    names = material_names(joint.geometry)
    knockdown = None if process.preparation is None else surface_knockdown(process.preparation, names)
    return [
        Told("kind", f"{g.kind}: {FAMILY[g.kind]}"),
        *adherends,
        Told("bond", f"overlap {mm(g.length)}, width {mm(g.width)}"),
        Told("bondline thickness", mm(g.bondline_thickness)),
        Told("spew", "fillet" if g.fillet_height else "square: adhesive cleaned off flush at the ends"),
        *([Told("knockdown of the preparation", str(knockdown))] if knockdown else []),
    ]


def _drawing(joint: Joint, units: str) -> Picture | None:
    """Return the section as a picture; None where matplotlib is not there."""
    from fejoint.show.drawing import section_figure

    try:
        return picture(section_figure(joint.replace(title=""), units), section_alt(joint, units))
    except SetupError:
        return None
