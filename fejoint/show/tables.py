"""The tables that the command prints."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import TypeAdapter
from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.bondline.closed_form.comparison import Theory, compare, why_they_differ
from fejoint.bondline.curves import Peak
from fejoint.joint.library import shipped
from fejoint.joint.materials import AdherendMaterial, Adhesive
from fejoint.joint.model import unit_of
from fejoint.mechanics.driver import Result
from fejoint.show.files import joint_marks
from fejoint.units import display

__all__ = ["CAUTION", "materials_table", "result_report"]

CAUTION = (
    "These figures support tests and do not replace them. A bond that carries people needs the adhesive maker's "
    "data sheet, tests on your own process, local codes and a licensed engineer."
)


def result_report(result: Result, system: str = "mm") -> RenderableType:
    """Return what a person reads first: peaks, theories beside them, checks, marks, warnings."""
    edge = result.bondlines[0].edge
    assert edge is not None
    theories = compare(result.joint, edge)
    parts: list[RenderableType] = [_heading(result, system)]
    parts += [Text(f"Warning: {text}", style="bold") for text in result.warnings]
    parts.append(_stresses(result, theories, system))
    parts.append(Text(why_they_differ(result.joint, theories, edge), style="italic"))
    parts += [Text(f"Left out: {reason}", style="italic") for reason in dict.fromkeys(t.reason for t in theories if t.reason)]
    parts += [Text(""), _loads(result, system), Text("")]
    parts += list(_checks(result))
    parts += list(_marks(result))
    parts.append(Text(CAUTION))
    return Group(*parts)


def materials_table(system: str = "mm") -> RenderableType:
    """Return the shipped materials, every figure with its source or mark."""
    tables: list[RenderableType] = []
    kinds: dict[str, TypeAdapter[Any]] = {"adherend": TypeAdapter(AdherendMaterial), "adhesive": TypeAdapter(Adhesive)}
    for kind, materials in shipped().items():
        table = Table(title=f"{kind} materials", box=box.SIMPLE_HEAD, title_justify="left", title_style="bold")
        for column in ("name", "figure", "value", "source"):
            table.add_column(column, overflow="fold", no_wrap=column in ("figure", "value"))
        for name, figures in materials.items():
            label = name
            made = kinds[kind].validate_python(figures)
            for key, value in made.figures().items():
                if key in figures:
                    table.add_row(
                        label, key, display(value, unit_of(type(made).model_fields[key]) or "", system), made.source(key)
                    )
                    label = ""
            table.add_section()
        tables.append(table)
    return Group(*tables, Text(CAUTION))


def _heading(result: Result, system: str) -> Text:
    g, load = result.joint.geometry, result.joint.load

    def mm(value: float) -> str:
        return display(value, "mm", system)

    title = result.joint.title or g.kind
    plane = {"plane-strain": "plane strain", "generalised": "generalised plane strain"}[result.joint.out_of_plane]
    lines = [
        f"{g.kind}, overlap {mm(g.overlap_length)}, width {mm(g.width)}, bondline {mm(g.bondline_thickness)}, {g.spew} ends",
        f"force {display(load.force, 'N', system)}, {load.ends} ends, temperature change "
        f"{display(load.temperature_change, 'K', system)}, {plane}",
    ]
    return Text.assemble((title + "\n", "bold"), "\n".join(lines), "\n")


def _stresses(result: Result, theories: list[Theory], system: str) -> Table:
    table = Table(
        title="Stress along the bondline, mid-line unless it says otherwise",
        box=box.SIMPLE_HEAD,
        title_justify="left",
        title_style="bold",
        pad_edge=False,
    )
    table.add_column("")
    for column in ("peak shear", "at x", "peak peel", "at x", "least peel"):
        table.add_column(column, justify="right", no_wrap=True)
    for bondline in result.bondlines:
        name = "Finite elements" if len(result.bondlines) == 1 else f"Finite elements, bondline {bondline.number}"
        table.add_row(name, *_peaks(bondline.peak_shear, bondline.peak_peel, bondline.least_peel, system), style="bold")
        for level in ("lower", "upper"):
            curve = bondline.levels()[level]
            peaks = curve.largest("shear"), curve.highest("peel"), curve.lowest("peel")
            table.add_row(f"  at the {level} interface, clear of corners", *_peaks(*peaks, system))
    for theory in theories:
        if theory.bondline is not None:
            b = theory.bondline
            table.add_row(theory.name, *_peaks(b.peak_shear, b.peak_peel, b.least_peel, system))
    table.add_row("Mean shear (force over bonded area)", display(result.joint.mean_shear, "MPa", system), "", "", "", "")
    return table


def _peaks(shear: Peak, peel: Peak, least: Peak, system: str) -> list[str]:
    def cell(value: float, unit: str) -> str:
        return "-" if value != value else display(value, unit, system)

    return [
        cell(shear.value, "MPa"),
        cell(shear.x, "mm"),
        cell(peel.value, "MPa"),
        cell(peel.x, "mm"),
        cell(least.value, "MPa"),
    ]


def _loads(result: Result, system: str) -> Table:
    table = Table(
        title="Adherends at the overlap's ends", box=box.SIMPLE_HEAD, title_justify="left", title_style="bold", pad_edge=False
    )
    table.add_column("")
    for column in ("edge moment factor", "edge moment per width", "largest beam stress"):
        table.add_column(column, justify="right")
    g, bondline, factors = result.joint.geometry, result.bondlines[0], result.edge_moment_factors
    for i, (name, edge, thickness) in enumerate(
        (("lower, at x = 0", bondline.left, g.lower.thickness), ("upper, at x = L", bondline.right, g.upper.thickness))
    ):
        if edge is not None:
            table.add_row(
                name,
                "-" if factors is None else f"{factors[i]:.4g}",
                display(edge.moment, "N", system),
                display(edge.surface_stress(thickness), "MPa", system),
            )
    return table


def _checks(result: Result) -> Iterator[Text]:
    missed = [c.name for c in result.checks if not c.passed]
    error = result.discretisation_error
    state = "all passed" if not missed else f"MISSED: {', '.join(missed)}"
    yield Text(
        f"Numerical self-checks ({len(result.checks)}): {state}. Mesh error, estimated: "
        f"peak shear {100 * error['peak_shear']:.2g} %, peak peel {100 * error['peak_peel']:.2g} %. "
        f"{result.unknowns} unknowns, {sum(result.seconds.values()):.2g} s.",
        style="" if not missed else "bold red",
    )


def _marks(result: Result) -> Iterator[Text]:
    by_mark: dict[str, list[str]] = {}
    for key, mark in joint_marks(result.joint).items():
        by_mark.setdefault(mark, []).append(key)
    for mark, keys in by_mark.items():
        yield Text(f"Input {mark}: {', '.join(keys)}.")
