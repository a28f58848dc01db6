"""The preparation of surfaces in sentences, and the routes as tables."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fejoint.process.preparation import Preparation, Surface
from fejoint.process.routes import ALWAYS, FIGURES, OPEN, Route, Step, families, hazards, routes
from fejoint.process.surface_verdict import SurfaceVerdict, surface_knockdown, surfaces, unnamed_materials, verdict

if TYPE_CHECKING:
    from rich.table import Table

__all__ = ["Alike", "alike", "figure_lines", "marks_in_words", "named", "preparation_lines", "route_table", "routes_table"]


@dataclass(frozen=True)
class Alike:
    """Adherends of one material that are prepared alike."""

    adherends: tuple[str, ...]
    material: str
    surface: Surface
    route: Route
    verdict: SurfaceVerdict

    @property
    def names(self) -> str:
        """The adherends in words."""
        shown = [name.replace("_", " ") for name in self.adherends]
        return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)


def alike(preparation: Preparation, materials: Mapping[str, str]) -> list[Alike]:
    """Return the adherends in groups that are prepared alike; `materials` are the names of their materials, by adherend.

    Raises
    ------
    JointError
        A table is for an adherend that the joint has not, or an adherend has no route.
    """
    found: dict[tuple[int, str], list[str]] = {}
    by_name = surfaces(preparation, materials)
    for name, surface in by_name.items():
        found.setdefault((id(surface), materials[name]), []).append(name)
    groups = [(names, by_name[names[0]], material) for (_, material), names in found.items()]
    return [
        Alike(tuple(names), material, surface, surface.as_route(), verdict(surface, material))
        for names, surface, material in groups
    ]


def preparation_lines(preparation: Preparation, materials: Mapping[str, str] | None = None) -> list[str]:
    """Return what is to be said of a preparation, a line each: verdict, reasons, what to do, steps, marks, hazards, knockdown.

    Parameters
    ----------
    preparation : Preparation
    materials : mapping, optional
        Names of the materials, by adherend; without them, as where there is no joint, the tables that are stated stand for it.

    Raises
    ------
    JointError
        A table is for an adherend that the joint has not, or an adherend has no route.
    """
    lines: list[str] = []
    if materials is None:
        materials = unnamed_materials(preparation)
    groups = alike(preparation, materials)
    for group in groups:
        of = f" ({group.material})" if group.material else ""
        title = f"{group.route.title} [{group.route.name}]" if group.route.families else group.route.title
        lines.append(f"{group.names}{of}: {title}: {group.verdict.state}.")
        lines += [f"  {reason[:1].upper()}{reason[1:]}." for reason in group.verdict.reasons]
        lines += [f"  To do: {todo}." for todo in group.verdict.what_to_do]
        lines.append(f"  Steps: {', '.join(step.operation for step in group.route.steps)}.")
        lines.append(f"  Figures: {marks_in_words(group.route)}.")
    known = dict.fromkeys(key for group in groups for key in group.route.hazards())
    if known:
        lines.append(f"Hazards: {', '.join(hazards()[key].name for key in known)}. {ALWAYS}")
    else:
        lines.append(ALWAYS)
    found = surface_knockdown(preparation, materials)
    if found is not None:
        lines.append(f"Knockdown: {found}.")
    else:
        lines.append("No knockdown: no factor is given here for a route; state your own with its source.")
    return lines


def marks_in_words(route: Route) -> str:
    """Return how many figures of a route bear each mark."""
    return ", ".join(f"{number} {'left to the data sheet' if mark == OPEN else mark}" for mark, number in route.marks().items())


def routes_table(found: Iterable[Route] | None = None) -> Table:
    """Return the routes as a table: what each fits, its steps, the marks of its figures."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(title="Routes of surface preparation", box=box.SIMPLE_HEAD, title_justify="left", expand=False)
    table.add_column("route", no_wrap=True)
    for column, ratio in (("fits / does not fit", 5), ("steps", 3), ("figures", 3)):
        table.add_column(column, ratio=ratio, overflow="fold")
    last = ""
    for route in routes().values() if found is None else found:
        if route.families[0] != last:
            last = route.families[0]
            table.add_section()
            table.add_row(Text(families()[last].title, style="bold"))
        fits = Text(f"{route.fits}\nNot: {route.fits_not}")
        table.add_row(
            Text(route.name), fits, Text(", ".join(step.operation for step in route.steps)), Text(marks_in_words(route))
        )
    table.caption = (
        f"{ALWAYS} fejoint job-card --route NAME shows one in full. Figures from memory or of common practice were not looked "
        "up: the data sheet comes first."
    )
    table.caption_justify = "left"
    return table


def route_table(route: Route) -> Table:
    """Return one route as a table: every step with its figures, each with its source."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(
        title=f"{route.title} [{route.name}]".replace("[", r"\["), box=box.SIMPLE_HEAD, title_justify="left", show_lines=True
    )
    for column, ratio in (("step", 2), ("what is done", 5), ("figures, with their sources", 6), ("hazards", 3)):
        table.add_column(column, ratio=ratio, overflow="fold")
    for number, step in enumerate(route.steps, start=1):
        names = ", ".join(hazards()[key].name for key in step.hazards)
        table.add_row(Text(f"{number} {step.operation}"), Text(step.do), Text("\n".join(figure_lines(step))), Text(names))
    standards = "; ".join(str(standard) for standard in route.standards)
    table.caption = Text(
        f"Fits: {route.fits}\nDoes not: {route.fits_not}\nLongest wait before bonding: {route.longest_wait}\n"
        f"{f'Standards: {standards}' if standards else 'Standards: none stated'}\n{ALWAYS}"
    )
    table.caption_justify = "left"
    return table


def figure_lines(step: Step) -> list[str]:
    """Return the figures of a step, a line each."""
    return [f"{named(name)}: {step.figures[name]}" for name in FIGURES if name in step.figures]


def named(figure: str) -> str:
    """Return what a figure is called."""
    return {"wait": "longest wait", "bath": "with"}.get(figure, figure)
