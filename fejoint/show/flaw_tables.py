"""How large a flaw may stay, in words and tables."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.show.strength_tables import INSPECTION, SUPPORT, flaws_table, marks_in_words
from fejoint.units import display

__all__ = ["allowed_table", "borne_in_words", "flaw_report", "in_words", "named_kind"]

STATIC = (
    "One flaw at a time, in an otherwise sound bond; between the lengths that were solved by a monotone curve, beyond them not."
)


def flaw_report(data: Mapping[str, Any], system: str = "mm") -> RenderableType:
    """Return what the command prints (`fejoint.show.flaw_files.flaw_report_data`)."""
    parts: list[RenderableType] = [Text(data["title"] or "joint", style="bold"), Text("")]
    if data["given"]:
        parts += [given_table(data, system)]
    parts += [Text(f"{text}.") for text in data["said"]]
    told = dict.fromkeys(text for text in data["warnings"] if text not in data["said"])
    parts += [Text(f"Warning: {text}", style="bold") for text in told]
    parts += [Text(text) for text in borne_in_words(data, system)] + [Text("")]
    if data.get("flaws"):
        parts.append(flaws_table(data, system))
    for one in data["capacity"]:
        parts.append(allowed_table(one, data, system))
    if data["capacity"]:
        parts.append(Text(STATIC))
    parts += [Text(text) for text in marks_in_words(data)]
    parts += [Text(INSPECTION, style="bold"), Text(SUPPORT)]
    return Group(*parts)


def given_table(data: Mapping[str, Any], system: str = "mm") -> Table:
    """Return the flaws as they were given."""
    rows = (data.get("inspection") or {}).get("rows", [])
    # Those of the joint file come first.
    before = len(data["given"]) - len(rows)
    table = _table("Flaws as given" + (f" (those of {data['inspection']['file']} with their line)" if rows else ""))
    for column in ("kind", "from", "to", "in the layer", "bondline") + (("line", "found by, note") if rows else ()):
        table.add_column(
            column, justify="left" if column in ("kind", "in the layer", "found by, note") else "right", overflow="fold"
        )
    for i, flaw in enumerate(data["given"]):
        row = rows[i - before] if i >= before and rows else None
        cells = [
            named_kind(flaw["kind"]),
            display(flaw["start_mm"], "mm", system),
            display(flaw["start_mm"] + flaw["length_mm"], "mm", system),
            {None: "through it", "middle": "middle", "lower": "lower interface", "upper": "upper interface"}[flaw["place"]],
            str(flaw["bondline"]),
        ]
        if rows:
            said = "; ".join(text for text in (row["found_by"], row["note"]) if text) if row else "joint file"
            cells += [str(row["line"]) if row else "", said]
        table.add_row(*(Text(cell) for cell in cells))
    return table


def borne_in_words(data: Mapping[str, Any], system: str = "mm") -> list[str]:
    """Return what the joint bears without and with its flaws, a sentence each."""
    found = [f"Without flaws it bears {_load(data['without'], data, system)}: {_how(data['without'])}."]
    if data.get("with"):
        with_them, without = data["with"], data["without"]
        lost = ""
        if with_them["factor"] is not None and without["factor"]:
            lost = f", {100 * (1 - with_them['factor'] / without['factor']):.0f} % less"
        found.append(f"With them it bears {_load(with_them, data, system)}{lost}: {_how(with_them)}; {with_them['why']}.")
    counted = data["without"]["knockdowns"]
    if counted:
        found.append(f"Knockdowns are counted in: {', '.join(counted)}.")
    return found


def allowed_table(one: Mapping[str, Any], data: Mapping[str, Any], system: str = "mm") -> Table:
    """Return the longest flaw of a kind that may stay, at every place."""
    many = len(data["bonds"]) > 1
    where = {
        "": "",
        "middle": " in the middle of the layer",
        "lower": " at the lower interface",
        "upper": " at the upper interface",
    }
    of = f"{named_kind(one['kind'])}{where[one['place']]}{' of bondline ' + str(one['bondline']) if many else ''}"
    by = ", cohesive zone asked" if one["cohesive"] else ""
    table = _table(f"How large a flaw may stay: {of}; to be borne {_required(one, data, system)}{by}")
    for column in ("where", "longest that may stay", "borne then", "without it", "longest solved", "bears"):
        table.add_column(column, justify="left" if column == "where" else "right", overflow="fold")
    for at in one["places"]:
        first, last = at["points"][0], at["points"][-1]
        allowed = in_words(at, system)
        then = last["counted_factor"] if at["all_may_stay"] else one["required_factor"] if at["allowed_mm"] else None
        table.add_row(
            at["name"],
            allowed,
            "-" if then is None else _share(then, data, system),
            _share(first["factor"], data, system),
            display(at["longest_mm"], "mm", system),
            _share(last["counted_factor"], data, system),
            style="" if at["allowed_mm"] else "bold",
        )
    return table


def named_kind(kind: str) -> str:
    """Return what a kind of flaw is called."""
    return "unwetted patch" if kind == "unwetted" else kind


def in_words(at: Mapping[str, Any], system: str = "mm") -> str:
    """Return the longest flaw that may stay at a place, in words."""
    if at["all_may_stay"]:
        return f"at least {display(at['longest_mm'], 'mm', system, 3)}"
    return display(at["allowed_mm"], "mm", system, 3) if at["allowed_mm"] else "none"


# ---- parts ---------------------------------------------------------------


def _table(title: str) -> Table:
    return Table(title=title, box=box.SIMPLE_HEAD, title_justify="left", title_style="bold", pad_edge=False)


def _load(borne: Mapping[str, Any], data: Mapping[str, Any], system: str) -> str:
    margin = "" if borne["margin"] is None else f" (margin {borne['margin']:+.2f})"
    return f"{_share(borne['factor'], data, system)}{margin}"


def _how(borne: Mapping[str, Any]) -> str:
    return f"{borne['mode']}, by {borne['criterion']}" + (f", {borne['place']}" if borne["place"] else "")


def _share(factor: float | None, data: Mapping[str, Any], system: str) -> str:
    if factor is None:
        return "any load"
    force = data["applied"]["force_N"]
    return display(factor * force, "N", system) if force else f"{factor:.3g} times the load"


def _required(one: Mapping[str, Any], data: Mapping[str, Any], system: str) -> str:
    factor, force = one["required_factor"], data["applied"]["force_N"]
    if not force:
        return f"{factor:g} times the load"
    return f"{display(one['required_N'], 'N', system)}" + (f" ({factor:g} times the load)" if factor != 1 else "")
