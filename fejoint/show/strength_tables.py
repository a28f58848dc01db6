"""The prediction of strength in words and tables."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.show.strength_files import RATES
from fejoint.show.strength_words import answer, force, named, share, zone_in_words
from fejoint.units import display

__all__ = [
    "INSPECTION",
    "criteria_table",
    "flaws_in_words",
    "flaws_table",
    "knockdowns_in_words",
    "left_out_in_words",
    "limits_in_words",
    "margins_table",
    "marks_in_words",
    "strength_report",
]

ROUTES = {
    "stress": "Stress along the bondline",
    "plateau": "The bond as a whole",
    "energy": "Energy released",
    "cohesive": "Cohesive zone",
    "adherend": "Adherends",
}
SUPPORT = (
    "Predicted loads support tests and do not replace them; they are no allowables. Where people rely on a bond, the adhesive "
    "maker's data sheet, tests on your own process, local codes and a licensed engineer decide."
)
INSPECTION = (
    "Which flaws may stay is decided by the codes that apply and by the responsible engineer. Nondestructive inspection finds "
    "what is apart; it finds no weak (kissing) bond, where faces touch and do not hold. Loads are static ones: flaws grow at "
    "lower loads under repeated loading."
)
SHORT_VARIANTS = {
    "half distance": "1/2 distance",
    "double distance": "2 x",
    "coarser mesh": "1/2 density",
    "finer mesh": "2 x",
}


def strength_report(data: Mapping[str, Any], system: str = "mm") -> RenderableType:
    """Return what the command prints."""
    parts: list[RenderableType] = [Text(data["title"] or "joint", style="bold"), Text(answer(data, system)), Text("")]
    parts += [Text(f"Warning: {text}", style="bold") for text in data["warnings"]]
    parts += [margins_table(data, system), Text(knockdowns_in_words(data)), Text("")]
    parts.append(criteria_table(data, system))
    if data.get("flaws"):
        parts += [flaws_table(data, system), Text(flaws_in_words(data, system)), Text("")]
    if data.get("cohesive"):
        parts += [Text(zone_in_words(data["cohesive"], system)), Text("")]
    if data.get("band"):
        from fejoint.show.strength_band import band_in_words

        parts += [Text(band_in_words(data["band"], system)), Text("")]
    parts += [Text(f"Left out: {text}", style="italic") for text in left_out_in_words(data)]
    parts.append(Text(f"{limits_in_words(data, system)} {distances_in_words(data, system)}"))
    parts += [Text(text) for text in marks_in_words(data)]
    parts.append(Text(SUPPORT))
    return Group(*parts)


def margins_table(data: Mapping[str, Any], system: str = "mm") -> Table:
    """Return the margin against every way of failing, the governing one first."""
    table = _table("Margin against each way of failing")
    for column in ("way of failing", "load borne", "margin", "by", "ISO 10365 / ASTM D5573"):
        table.add_column(column, justify="right" if column in ("load borne", "margin") else "left", overflow="fold")
    for i, m in enumerate(data["margins"]):
        table.add_row(
            m["name"] + (", governs" if i == 0 else ""),
            force(m, system) if data["applied"]["force_N"] and m["factor"] is not None else share(m),
            "-" if m["margin"] is None else f"{m['margin']:+.2f}",
            named(data, m["criterion"]).strip('"'),
            m["iso_10365"] if m["iso_10365"].startswith("none") else f"{m['iso_10365']} / {m['astm_d5573']}",
            style="bold" if i == 0 else "",
        )
    return table


def criteria_table(data: Mapping[str, Any], system: str = "mm") -> Table:
    """Return the load by every criterion that can run, by route, with those at other distances and meshes."""
    table = _table(
        "Load by each criterion, without knockdowns; beside it at other distances from the overlap's end, on other meshes"
    )
    table.add_column("criterion", overflow="fold")
    for name in ("load", *SHORT_VARIANTS.values()):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("where", overflow="fold")
    route, by_force = "", bool(data["applied"]["force_N"])
    alone = len(data["bonds"]) == 1

    def cell(value: float | None) -> str:
        return display(value, "N", system) if by_force and value is not None else "-"

    for c in data["criteria"]:
        if c["reason"]:
            continue
        if c["route"] != route:
            route = c["route"]
            table.add_row(ROUTES[route], style="italic")
        load = cell(c["force_N"]) if by_force and c["factor"] is not None else share(c)
        chosen = c["key"] == data["believed"]
        table.add_row(
            f"  {c['name']}" + (", believed" if chosen else ""),
            load,
            *("" if name not in c["variants_N"] else cell(c["variants_N"][name]) for name in SHORT_VARIANTS),
            c["place"].removeprefix("bondline 1, ") if alone else c["place"],
            style="bold" if chosen else "",
        )
    return table


def flaws_table(data: Mapping[str, Any], system: str = "mm") -> Table:
    """Return the energy release rate at every tip of the flaws, and the load at which it grows, the first marked."""
    flaws = data["flaws"]
    table = _table(f"Flaws: energy release rates {flaws['rates_are']}, and the load at which each tip grows, without knockdowns")
    for column in ("tip", "opening", "shear", "in all", "grows at"):
        table.add_column(column, justify="left" if column == "tip" else "right", overflow="fold")
    known = [tip["factor"] for tip in flaws["tips"] if tip["factor"] is not None]
    for tip in flaws["tips"]:
        first = bool(known) and tip["factor"] == min(known)
        rates = ("-" if tip[key] is None else display(tip[key], "N/mm", system, 3) for key in RATES)
        load = force(tip, system) if data["applied"]["force_N"] and tip["factor"] is not None else share(tip)
        table.add_row(tip["place"] + (", first" if first else ""), *rates, load, style="bold" if first else "")
    return table


def flaws_in_words(data: Mapping[str, Any], system: str = "mm") -> str:
    """Return what the flaws leave, and what no inspection finds, in a few sentences."""
    flaws = data["flaws"]
    return f"{len(flaws['merged'])} flaws leave {display(flaws['bonded_mm'], 'mm', system)} bonded in all. {INSPECTION}".replace(
        "1 flaws leave", "1 flaw leaves"
    )


def limits_in_words(data: Mapping[str, Any], system: str = "mm") -> str:
    """Return the figures of the materials that the loads hang on, in one sentence."""
    figures: dict[str, float] = {}
    for c in data["criteria"]:
        figures |= {} if c["reason"] else c["figures"]
    each = [f"{key.rpartition('.')[2]} {_figure(key, value, system)}" for key, value in _once(figures).items()]
    return f"Limits: {', '.join(each)}."


def _table(title: str) -> Table:
    return Table(title=title, box=box.SIMPLE_HEAD, title_justify="left", title_style="bold", pad_edge=False)


def knockdowns_in_words(data: Mapping[str, Any]) -> str:
    """Return the knockdowns, each with factor and source."""
    if not data["knockdowns"]:
        return (
            "No knockdowns: margins are those of sound, new, dry bonds at the figures given; [[strength.knockdown]] states some."
        )
    each = [f"{k['name']} {k['factor']:g} on {k['on']} (source: {k['source']})" for k in data["knockdowns"]]
    return f"Knockdowns, factors on the load: {'; '.join(each)}."


def left_out_in_words(data: Mapping[str, Any]) -> list[str]:
    """Return the criteria that cannot run, those of one reason in one sentence."""
    by_reason: dict[str, list[str]] = {}
    for c in data["criteria"]:
        if c["reason"]:
            by_reason.setdefault(c["reason"], []).append(c["name"])
    return [f"{'; '.join(names)}: {reason}." for reason, names in by_reason.items()]


def marks_in_words(data: Mapping[str, Any]) -> list[str]:
    """Return the marks of the figures used, a line each mark."""
    by_mark: dict[str, list[str]] = {}
    for key, mark in data["marks"].items():
        by_mark.setdefault(mark, []).append(key)
    return [f"Input {mark}: {', '.join(keys)}." for mark, keys in by_mark.items()]


def distances_in_words(data: Mapping[str, Any], system: str) -> str:
    """Return where the criteria take the stress, and what shear is held against."""
    distance, length = display(data["point_distance_mm"], "mm", system), display(data["averaging_length_mm"], "mm", system)
    limit = {"strength": "shear_strength", "yield": "shear_yield"}[data["shear_limit"]]
    where = {"adhesive": "the mid-line of the layer", "interface": "its interfaces"}[data["failure_at"]]
    edges = " and from every edge of a flaw" if data.get("flaws") else ""
    return (
        f"Point criteria take the stress at {distance} from the overlap's end{edges}, averages over {length}, on {where}; "
        f"mesh density {data['mesh_density']:g}. Shear is held against adhesive.{limit} (strength.shear_limit)."
    )


def _once(figures: Mapping[str, float]) -> dict[str, float]:
    """Return figures without those of the same name and value: adherends alike."""
    seen: dict[tuple[str, float], str] = {}
    for key, value in figures.items():
        seen.setdefault((key.rpartition(".")[2], value), key)
    return {key: figures[key] for key in seen.values()}


def _figure(key: str, value: float, system: str) -> str:
    figure = key.rpartition(".")[2]
    unit = "N/mm" if figure.startswith("toughness") else "" if figure.endswith("strain") else "MPa"
    return display(value, unit, system)
