"""The tables that the command prints."""

from __future__ import annotations

from collections.abc import Iterator
from math import nan
from typing import Any

import numpy as np
from pydantic import TypeAdapter
from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.bondline.closed_form.advice import why_they_differ
from fejoint.bondline.closed_form.comparison import Theory, compare
from fejoint.bondline.curves import Peak
from fejoint.joint.families import SteppedLap
from fejoint.joint.library import shipped
from fejoint.joint.load import QUANTITIES
from fejoint.joint.materials import AdherendMaterial, Adhesive
from fejoint.joint.model import unit_of
from fejoint.mechanics.as_built import peak_towards, peaks_of
from fejoint.mechanics.outcome import Outcome
from fejoint.show.files import joint_marks
from fejoint.show.flaw_marks import flaw_texts
from fejoint.show.path_rows import LOAD_WORDS, column_of, path_rows, spread
from fejoint.units import display

__all__ = ["CAUTION", "materials_table", "path_table", "result_report"]

ROUND_OFF = 1e-7  # of what sets the scale: less of it is printed as zero
UNSURE = 1e-4  # the same of integrals over recovered stresses, a tenth of what their balance is held to
MOST_ROWS = 15  # of increments on a screen
CAUTION = (
    "These figures support tests and do not replace them. A bond that carries people needs the adhesive maker's "
    "data sheet, tests on your own process, local codes and a licensed engineer."
)


def result_report(result: Outcome, system: str = "mm") -> RenderableType:
    """Return what a person reads first: peaks, theories beside them, checks, marks, warnings."""
    theories = compare(result.joint, result.edges, main=True)  # the command compare shows all
    parts: list[RenderableType] = [_heading(result, system)]
    parts += [Text(f"Warning: {text}", style="bold") for text in result.warnings]
    parts.append(_stresses(result, theories, system))
    why = why_they_differ(result.joint, theories, result.edges, peaks_of(result))
    parts += [Text(why, style="italic")] if why else []
    parts += [Text(f"Left out: {reason}", style="italic") for reason in dict.fromkeys(t.reason for t in theories if t.reason)]
    parts += [Text(""), path_table(result, system)] if path_rows(result) else []
    parts += [Text(""), _passed_on(result, system), Text(""), _adherends(result, system), Text("")]
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


def _heading(result: Outcome, system: str) -> Text:
    g, load = result.joint.geometry, result.joint.load

    def mm(value: float) -> str:
        return display(value, "mm", system)

    title = result.joint.title or g.kind
    plane = {"plane-strain": "plane strain", "generalised": "generalised plane strain"}[result.joint.out_of_plane]
    steps = f"{len(g.treads)} steps, " if isinstance(g, SteppedLap) else ""
    acting = [f"force {display(load.force, 'N', system)}"]
    acting += [f"moment {display(load.moment, 'N*mm', system)}"] if load.moment else []
    acting += [f"shear force {display(load.shear_force, 'N', system)} (loaded end free to lift)"] if load.shear_force else []
    acting += [f"moisture {load.moisture:.3g}"] if load.moisture else []
    more = "more" if g.bondline_taper > 0 else "less"
    lines = [
        f"{g.kind}, {steps}overlap {mm(g.length)}, width {mm(g.width)}, bondline {mm(g.bondline_thickness)}"
        + (f" in the middle, {mm(abs(g.bondline_taper))} {more} at its right end than at its left" if g.bondline_taper else "")
        + f", {g.spew} ends",
        f"{', '.join(acting)}, {load.ends} ends, temperature change {display(load.temperature_change, 'K', system)}, {plane}"
        + (", upper half solved by symmetry" if result.joint.half else ""),
        *([f"flaws: {'; '.join(flaw_texts(result.joint, system))}"] if result.joint.flaws else []),
    ]
    return Text.assemble((title + "\n", "bold"), "\n".join(lines), "\n")


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, box=box.SIMPLE_HEAD, title_justify="left", title_style="bold", pad_edge=False)
    table.add_column("")
    for column in columns:
        table.add_column(column, justify="right", no_wrap=True)
    return table


def _stresses(result: Outcome, theories: list[Theory], system: str) -> Table:
    title = "Stress along the bondline, mid-line unless it says otherwise"
    if result.joint.analysis.nonlinear:
        title += f"\n{result.bondlines[0].measure}"
    table = _table(title, "peak shear", "at x", "peak peel", "at x", "least peel")
    stepped = isinstance(result.joint.geometry, SteppedLap)
    bonds = {bond.number: bond for bond in result.joint.geometry.bonds()}
    for bondline in result.bondlines[-1:] if result.joint.half else result.bondlines:
        part = f", {'tread' if stepped else 'bondline'} {bondline.number}" if stepped or len(result.bondlines) > 1 else ""
        part = ", both bondlines alike" if result.joint.half else part
        row = _peaks(bondline.peak_shear, bondline.peak_peel, bondline.least_peel, system)
        table.add_row(f"Finite elements{part}", *row, style="bold")
        if bondline.cauchy is not None:
            space = bondline.cauchy
            peaks = space.largest("shear"), space.highest("peel"), space.lowest("peel")
            table.add_row("  Cauchy stress in the axes of space", *_peaks(*peaks, system))
        bond = bonds[bondline.number]
        # Those of up to twenty treads stand in bondline.csv.
        for level, adherend in () if stepped else (("lower", bond.below), ("upper", bond.above)):
            curve = bondline.levels()[level]
            peaks = curve.largest("shear"), curve.highest("peel"), curve.lowest("peel")
            name = "outer" if result.joint.half and adherend != "inner" else adherend.replace("_", " ")
            table.add_row(f"  at the {name} interface, clear of corners", *_peaks(*peaks, system))
        if bondline.number in result.spew_peaks:
            shear, peel = result.spew_peaks[bondline.number]
            table.add_row("  mid-line beyond the overlap, in the spew", *_peaks(shear, peel, Peak(nan, nan), system))
    for theory in theories:
        if theory.bondlines:
            shear = peak_towards(theory.bondlines, result.peak_shear[0].value)
            peel = max((b.peak_peel for b in theory.bondlines), key=lambda peak: peak.value)
            least = min((b.least_peel for b in theory.bondlines), key=lambda peak: peak.value)
            table.add_row(theory.name, *_peaks(shear, peel, least, system))
    area = "area of the treads" if stepped else "bonded area"
    table.add_row(f"Mean shear (force over {area})", display(result.joint.mean_shear, "MPa", system), "", "", "", "")
    return table


def path_table(result: Outcome, system: str = "mm", most: int | None = MOST_ROWS) -> Table:
    """Return the increments on a load's path, a row each; where there are more than `most`, ends of load steps and some more."""
    rows = path_rows(result)
    shown = [rows[number - 1] for number in spread(rows, len(rows) if most is None else most)]
    acting = [key for key in QUANTITIES if any(row[column_of(key)] for row in rows)] or ["force"]
    strains = [name for name in ("adhesive", "adherend") if any(row[f"{name}_plastic_strain"] is not None for row in rows)]
    said = "" if len(shown) == len(rows) else f", {len(shown)} of {len(rows)} increments"
    columns = [LOAD_WORDS[key].removesuffix(" change") for key in acting] + ["elongation", "peak shear", "peak peel"]
    columns += [f"plastic, {name}" for name in strains] + (["yielded"] if "adhesive" in strains else [])
    table = _table(f"Along the load's path{said}", *columns)
    for row in shown:
        table.add_row(
            f"{row['number']}, {row['step']}",
            *(display(row[column_of(key)], QUANTITIES[key], system) for key in acting),
            display(row["elongation_mm"], "mm", system, 3),
            *(display(row[name], "MPa", system) for name in ("peak_shear_MPa", "peak_peel_MPa")),
            *(f"{row[f'{name}_plastic_strain']:.3g}" for name in strains),
            *([f"{100 * row['yielded_share']:.0f} %"] if "adhesive" in strains else []),
        )
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


def _passed_on(result: Outcome, system: str) -> Table:
    """Return which part of the bond passes on how much of the load, and where along the overlap."""
    g, total = result.joint.geometry, result.joint.line_load
    # What goes to and fro sets the scale below which a load is round-off.
    passed = [np.abs(b.transferred).max() for b in result.bondlines if b.transferred is not None]
    floor = UNSURE * max(abs(total), *passed)
    forces = {name: force if abs(force) > floor else 0.0 for name, force in result.bond_forces.items()}

    def share(force: float, of: float) -> str:
        return "-" if result.joint.load.force == 0 else f"{100 * force / of:.1f} %"

    if isinstance(g, SteppedLap):
        table = _table("Load passed on, from the left", "load", "share", "so far", "mean stress")
        areas = {f"tread {i}": length for i, length in enumerate(g.treads, 1)}
        areas |= {f"riser {i}": height for i, height in enumerate(g.risers, 1)}
        so_far = 0.0
        for name, force in forces.items():
            so_far += force
            across = "tension" if force >= 0 else "compression"
            stress = abs(force) if name.startswith("riser") else force
            mean = f"{display(stress / areas[name], 'MPa', system)} {across if name.startswith('riser') else 'shear'}"
            table.add_row(name, display(force * g.width, "N", system), share(force, total), share(so_far, total), mean)
        return table
    table = _table("Load passed on, from the left", "load", "share", "by x = L/4", "by L/2", "by 3L/4", "mean shear")
    for bondline in result.bondlines:
        name = f"bondline {bondline.number}"
        force = forces[name]
        assert bondline.transferred is not None
        by = [float(np.interp(k * g.length / 4, bondline.x, bondline.transferred)) for k in (1, 2, 3)]
        mean = display(force / g.length, "MPa", system)
        load = display(force * g.width, "N", system)
        table.add_row(name, load, share(force, total), *(share(part, force) for part in by), mean)
    return table


def _adherends(result: Outcome, system: str) -> Table:
    """Return what the adherends carry where they enter the overlap, and where else they carry more: at their ends, at steps."""
    factors = result.edge_moment_factors
    columns = ["load per width", "moment per width", "largest beam stress"]
    title = "Adherends where they enter the overlap"
    if isinstance(result.joint.geometry, SteppedLap):
        title += ", and at their most stressed step (mean stress)"
    table = _table(title, *columns, *(["edge moment factor"] if factors else []))
    entering = {s.adherend: s for s in result.adherend_sections if s.place == "overlap"}
    ends = [s for s in result.adherend_sections if s.place == "end" and s.peak_stress > entering[s.adherend].peak_stress * 1.001]
    steps = {
        name: max(found, key=lambda s: s.peak_stress)
        for name in entering
        if (found := [s for s in result.adherend_sections if s.place == "step" and s.adherend == name])
    }
    gripped = result.joint.geometry.gripped
    # Loads far below those that make up the largest beam stress are round-off.
    floor = ROUND_OFF * max(s.peak_stress * s.thickness for s in result.adherend_sections)

    def load(value: float, unit: str, per: float = 1.0) -> str:
        return display(value if abs(value) > floor * per else 0.0, unit, system)

    for i, section in enumerate([*entering.values(), *ends, *steps.values()]):
        place = f"{section.adherend.replace('_', ' ')}, at x = {display(section.x, 'mm', system)}"
        if section.place == "step":
            place += f", {display(section.thickness, 'mm', system)} left"
        elif section.place == "end":
            place += f", its {'gripped' if section.adherend in gripped else 'loaded'} end"
        table.add_row(
            place,
            load(section.axial, "N/mm"),
            "-" if section.moment is None else load(section.moment, "N", section.thickness),
            display(section.peak_stress, "MPa", system),
            *([f"{factors[i]:.4g}" if i < len(factors) else ""] if factors else []),
        )
    return table


def _checks(result: Outcome) -> Iterator[Text]:
    missed = [c.name for c in result.checks if not c.passed]
    error = result.discretisation_error
    state = "all passed" if not missed else f"MISSED: {', '.join(missed)}"
    of_mesh = ", ".join(
        f"{name.replace('_', ' ')} {'unknown' if value != value else f'{100 * value:.2g} %'}" for name, value in error.items()
    )
    yield Text(
        f"Numerical self-checks ({len(result.checks)}): {state}. Mesh error, estimated: {of_mesh or 'not of an increment'}. "
        f"{result.unknowns} unknowns, {sum(result.seconds.values()):.2g} s.",
        style="" if not missed else "bold red",
    )


def _marks(result: Outcome) -> Iterator[Text]:
    by_mark: dict[str, list[str]] = {}
    for key, mark in joint_marks(result.joint).items():
        by_mark.setdefault(mark, []).append(key)
    for mark, keys in by_mark.items():
        yield Text(f"Input {mark}: {', '.join(keys)}.")
