"""The tables of a run's page: the joint by the keys of its file, its materials, and what the command prints."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import rich.table
from rich.console import Group, RenderableType
from rich.text import Text

from fejoint.joint.description import Joint
from fejoint.joint.library import ELASTIC
from fejoint.joint.materials import Adhesive, Isotropic, Material
from fejoint.joint.model import Model, unit_of
from fejoint.mechanics.outcome import Outcome
from fejoint.show.pen import shortened
from fejoint.show.report.page import LONGEST_HEADING, Row, Table
from fejoint.units import display

__all__ = ["Key", "as_table", "check_table", "key_table", "keys_of", "material_tables", "tables_in", "version_table"]

MARKS = ("from memory", "typical, no source", "typical")  # how a source begins that stands for none
DERIVED = "follows from the other two elastic constants"

YIELDING = ("yield_surface", "tensile_yield", "hardening", "compression_ratio", "plastic_poisson_ratio")

# What every self-check would catch.
CAUGHT = {
    "load_transferred": (
        "Load through the adhesive",
        "The stress found in the adhesive, added up along the bond, must carry the load. Misses when the mesh is too coarse "
        "for the stress, or the load is not the one asked for.",
    ),
    "peel_balance": (
        "Balance across the joint",
        "What the adhesive pulls apart here it must hold together there. Misses when peel stresses are wrong, or the ends "
        "hold what they should not.",
    ),
    "moment_balance": (
        "Balance of moments",
        "Shear and peel together must turn each adherend as much as its end is turned. Misses when stresses are right in sum "
        "but stand in the wrong place.",
    ),
    "energy_balance": (
        "Work in, work stored",
        "The work of the loads must be found again in the material. Misses when a material law is wrong or a part of the "
        "section was left out.",
    ),
    "stress_jump": (
        "Agreement of neighbouring elements",
        "Elements that share a node must give nearly the same stress there. Misses when the mesh is too coarse.",
    ),
    "solver_backward_error": (
        "Equations solved",
        "The displacements must solve the equations to the last digits. Misses when the solver broke down.",
    ),
    "peak_shear_error": (
        "Mesh error of peak shear",
        "The same joint on a mesh half as fine must give nearly the same peak. Misses when the mesh is too coarse there.",
    ),
    "peak_peel_error": (
        "Mesh error of peak peel",
        "As above, for the peak of peel.",
    ),
    "buckling": (
        "Below buckling",
        "Under compression a slender joint gives way sideways before the adhesive does. Misses when the force is above that: "
        "the linear result then means nothing.",
    ),
    "newton_residual": (
        "At rest",
        "At the end of every increment no force must be left over at any node. Misses when the iterations stopped too early.",
    ),
    "yield_excess": (
        "Within the yield surface",
        "No stress may lie beyond what the material yields at. Misses when the return to the yield surface went wrong.",
    ),
    "load_reached": (
        "Load reached",
        "The path must end at the load asked for. Misses when the joint cannot carry it: the result is that of the largest load "
        "it was brought to.",
    ),
}


# ---- the joint -------------------------------------------------------------


class Key(NamedTuple):
    """A value of the joint file."""

    key: str
    value: str
    meaning: str
    given: bool


def keys_of(joint: Joint, units: str) -> list[Key]:
    """Return every key of a joint's file but those of its materials, with its value in a display system."""
    return list(_walked(joint, "", units))


def _walked(model: Model, prefix: str, units: str) -> Iterator[Key]:
    for name, field in type(model).model_fields.items():
        value, key = getattr(model, name), f"{prefix}{field.alias or name}"
        if value is None:
            continue
        if isinstance(value, Material):
            yield Key(key, _name(value), "Material; its figures are in the tables of materials", True)
        elif isinstance(value, Model):
            yield from _walked(value, f"{key}.", units)
        else:
            given = name in model.model_fields_set or value != field.default  # steps give a load what its own keys do not
            yield Key(key, _shown(value, unit_of(field), units), field.description or "", given)


def _name(material: Material) -> str:
    return shortened(material.name, LONGEST_HEADING) or "figures of its own"


def _shown(value: Any, unit: str | None, units: str) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, tuple):
        return ", ".join(_shown(item, unit, units) for item in value)
    return display(value, unit or "", units) if isinstance(value, float) else shortened(str(value), LONGEST_HEADING)


def key_table(caption: str, keys: list[Key]) -> Table:
    """Return keys with values and meanings; what the file leaves to its default says so."""
    rows = [Row((k.key, k.value if k.given else f"{k.value} (default)", k.meaning)) for k in keys]
    return Table(caption, ("key in the joint file", "value", "meaning"), rows, words=(0, 1, 2))


# ---- materials -------------------------------------------------------------


def material_tables(joint: Joint, units: str, predicted: Collection[str] = ()) -> list[Table]:
    """Return a table for every material of the joint, like ones once: figures, sources, marks, what they serve for.

    `predicted` are the figures that a prediction of strength was made with.
    """
    found: dict[str, tuple[Material, list[str]]] = {}
    for key, material in joint.materials_by_key().items():
        found.setdefault(repr(material.model_dump()), (material, []))[1].append(key)
    return [_of_material(material, keys, joint, units, predicted) for material, keys in found.values()]


def _of_material(material: Material, keys: list[str], joint: Joint, units: str, predicted: Collection[str]) -> Table:
    fields = type(material).model_fields
    rows = []
    for figure, value in material.figures().items():
        source = DERIVED if _is_derived(material, figure) else material.source(figure)
        mark = next((mark for mark in MARKS if source.startswith(mark)), "")
        cells = (
            figure,
            display(value, unit_of(fields[figure]) or "", units),
            (fields[figure].description or "").partition(";")[0],
            "strength" if figure in predicted else _use(figure, joint, keys),
            mark or "none",
            source.removeprefix(mark).lstrip(":, "),
        )
        rows.append(Row(cells, "marked" if mark else ""))
    for part, held in material.parts().items():
        for name, field in type(held).model_fields.items():
            value = getattr(held, name)
            if value is None or name == "sources":
                continue
            source = held.source(name)
            mark = next((mark for mark in MARKS if source.startswith(mark)), "")
            shown, meaning = _shown(value, unit_of(field), units), (field.description or "").partition(";")[0]
            said = source.removeprefix(mark).lstrip(":, ")
            rows.append(
                Row((f"{part}.{name}", shown, meaning, _use(part, joint, keys), mark or "none", said), "marked" if mark else "")
            )
    if isinstance(material, Adhesive):
        for figure, chosen in (("mixed_mode_rule", material.mixed_mode_rule), ("yield_surface", material.yield_surface)):
            meaning = (fields[figure].description or "").partition(";")[0]
            used = "strength" if figure == "mixed_mode_rule" and "toughness_mode_1" in predicted else _use(figure, joint, keys)
            rows.append(Row((figure, chosen, meaning, used, "none", "")))
    what = "Adhesive" if isinstance(material, Adhesive) else "Adherend"
    caption = f"{what}: {_name(material)} ({', '.join(keys)})"
    return Table(caption, ("figure", "value", "meaning", "used for", "mark", "source"), rows, words=(0, 2, 3, 4, 5))


def _is_derived(material: Material, figure: str) -> bool:
    """Return whether a figure is the one of three elastic constants that nobody gave."""
    if not isinstance(material, Isotropic) or figure not in ELASTIC:
        return False
    without = [key for key in ELASTIC if key not in material.sources]
    return figure not in material.model_fields_set or without == [figure]


def _use(figure: str, joint: Joint, keys: Sequence[str]) -> str:
    """Return what a figure serves for in this run, of a material that stands at some keys of the joint file."""
    path = joint.load.path()
    if figure.startswith(("elastic", "shear_modulus", "poisson")):
        return "stiffness"
    if figure.startswith("expansion"):
        return "expansion" if any(step.temperature_change for step in path) else "not used: no change of temperature"
    if figure == "swelling":
        return "swelling" if any(step.moisture for step in path) else "not used: no moisture"
    if figure == "at_temperature":
        return "figures at the temperature"
    g, yields = joint.geometry, joint.yielding()
    places = {"adhesive": "adhesive", **{name: f"joint.{g.adherend_key(name)}.material" for name in g.adherends()}}
    yielding = any(places[name] in keys for name in yields)
    if yielding and figure in YIELDING:
        return "yielding"
    if figure.endswith(("_strength", "_yield")):
        return "not used: it yields" if yielding else "warnings only"
    return f"not used by {'this' if joint.analysis.nonlinear else 'a linear'} analysis"


# ---- what the command prints -----------------------------------------------


def tables_in(printed: RenderableType, *first: str) -> list[Table]:
    """Return the tables among what a command prints; `first` heads the first column of each, which has no heading there."""
    parts = printed.renderables if isinstance(printed, Group) else [printed]
    tables = [part for part in parts if isinstance(part, rich.table.Table)]
    return [as_table(table, head) for table, head in zip(tables, first, strict=True)]


def as_table(printed: rich.table.Table, first: str) -> Table:
    """Return a printed table as one of the page."""
    columns = printed.columns
    heads = [first, *(_said(column.header) for column in columns[1:])]
    cells = [[_said(cell) for cell in column.cells] for column in columns]
    looks = ["strong" if row.style == "bold" else "" for row in printed.rows]
    rows = []
    for look, row in zip(looks, zip(*cells, strict=True), strict=True):
        rows.append(Row([row[0].strip(), *row[1:]], look or ("under" if row[0].startswith(" ") else "")))
    words = tuple(i for i, column in enumerate(columns) if column.justify != "right")
    return Table(_said(printed.title or ""), heads, rows, words)


def _said(cell: Any) -> str:
    return cell.plain if isinstance(cell, Text) else str(cell)


# ---- checks and versions ---------------------------------------------------


def check_table(outcome: Outcome) -> Table:
    """Return the self-checks in plain words, with value, limit and whether they passed."""
    rows = []
    for check in outcome.checks:
        name, words = CAUGHT.get(check.name, (check.name.replace("_", " "), check.meaning))
        said = "passed" if check.passed else "MISSED"
        rows.append(
            Row((name, said, f"{check.value:.2g}", f"{check.limit:g}", f"{words} [{check.name}]"), "" if check.passed else "bad")
        )
    caption = "Self-checks of the numbers (a check passes when its value is no larger than its limit; both are shares)"
    return Table(caption, ("check", "result", "value", "limit", "what it would catch"), rows, words=(0, 1, 4))


def version_table(versions: Mapping[str, Any]) -> Table:
    """Return what had a part in the numbers, with its version."""
    rows = [Row((str(name), str(version))) for name, version in versions.items()]
    return Table("Versions", ("part", "version"), rows, words=(0, 1))
