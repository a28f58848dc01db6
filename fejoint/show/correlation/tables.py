"""A correlation, and figures found from tests, as a person reads them in a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.show.correlation.data import by
from fejoint.show.correlation.words import findings, percent, verdict_in_words
from fejoint.show.pen import printable
from fejoint.units import display

__all__ = ["correlation_report", "figure_text", "identified_report"]


def correlation_report(data: Mapping[str, Any], units: str = "mm") -> RenderableType:
    """Return what was measured beside what is predicted, the causes tried, and what they say."""
    parts: list[RenderableType] = [
        Text(printable(data["title"]), style="bold"),
        Text(f"{printable(data['source'])}; {coupons(data['number'])}; seen: {data['pattern'] or 'not stated'}", style="dim"),
        _sides(data, units),
    ]
    if data["measured"]["specimens"]:
        parts.append(_specimens(data, units))
    if data["causes"]:
        parts.append(_causes(data, units))
    parts += [Text(f"- {sentence}") for sentence in findings(data, units)]
    parts += [Text(""), *(Text(text, style="dim") for text in data["cautions"])]
    if data["marked_figures"]:
        parts.append(Text(f"From memory or typical, so check: {', '.join(data['marked_figures'])}.", style="dim"))
    return Group(*parts)


def coupons(number: int) -> str:
    """Return a number of coupons in words."""
    return f"{number} coupon{'' if number == 1 else 's'}"


def identified_report(data: Mapping[str, Any], units: str = "mm") -> RenderableType:
    """Return the figures found, with their intervals, and what to doubt."""
    table = _table("Figures found", ["figure", "value", "95 % interval", "began at", "bounds"], words=(0,))
    for one in data["figures"]:
        span = _span(one["low"], one["high"], one["unit"], units)
        marks = " (at its bound)" if one["at_bound"] else " (no influence)" if one["no_influence"] else ""
        _add(
            table,
            one["key"],
            figure_text(one["value"], one["unit"], units) + marks,
            span,
            figure_text(one["start"], one["unit"], units),
            " to ".join(display(bound, one["unit"], units, 3) for bound in one["bounds"]),
        )
    tests = ", ".join(f"{printable(test['name'])} ({coupons(test['coupons'])})" for test in data["tests"])
    seen = _table(
        "Measured and fitted (means of like coupons)", ["test", "what", "measured", "before", "fitted", "off"], words=(0, 1)
    )
    for row in _groups(data):
        _add(
            seen,
            printable(row["test"]),
            row["kind"] + ("" if row["at_mm"] is None else f" at {display(row['at_mm'], 'mm', units, 3)}"),
            *(figure_text(row[key], row["unit"], units) for key in ("measured", "before", "fitted")),
            percent(row["fitted"] / row["measured"]),
        )
    parts: list[RenderableType] = [Text(f"From {tests}", style="dim"), table, seen]
    parts += [Text(f"- {sentence}", style="bold") for sentence in data["warnings"]]
    return Group(*parts, Text(""), *(Text(text, style="dim") for text in data["cautions"]))


def figure_text(value: float | None, unit: str, units: str) -> str:
    """Return a figure with its unit; a dash where there is none."""
    return "-" if value is None else display(value, unit, units)


def _span(low: float | None, high: float | None, unit: str, units: str) -> str:
    if low is None or high is None:
        return "not known"
    if high > 1e3 * low:
        return "without end"
    return f"{display(low, unit, units, 3)} to {display(high, unit, units, 3)}"


def _groups(data: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Return the observations of like coupons together, by their means."""
    groups: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for one in data["observations"]:
        groups.setdefault((one["test"], one["kind"], one["at_mm"]), []).append(one)
    return [{**rows[0], "measured": sum(row["measured"] for row in rows) / len(rows)} for rows in groups.values()]


def _table(title: str, columns: list[str], words: tuple[int, ...] = (0,)) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", box=box.SIMPLE, pad_edge=False)
    for i, name in enumerate(columns):
        table.add_column(name, justify="left" if i in words else "right", overflow="fold")
    return table


def _add(table: Table, *cells: str, style: str = "") -> None:
    """Add a row; names of tests, specimens and causes are text, whatever brackets they hold."""
    table.add_row(*(Text(cell) for cell in cells), style=style)


def _sides(data: Mapping[str, Any], units: str) -> Table:
    p, m = data["predicted"], data["measured"]
    table = _table("", ["", "predicted", "measured", "predicted over measured"])
    gauge = data["gauge"]
    between = "" if gauge is None else " between grips" if gauge["between"] == "grips" else " of the extensometer"
    rows = [("failure load", "load_N", "N", "load"), (f"stiffness{between}", "stiffness_N_per_mm", "N/mm", "stiffness")]
    rows.append(("work up to the load", "work_N_mm", "N*mm", "work"))
    for name, key, unit, ratio in rows:
        if data["ratios"][ratio] is not None:
            _add(table, name, *(figure_text(side[key], unit, units) for side in (p, m)), f"{data['ratios'][ratio]:.3f}")
    table.caption = f"predicted by: {p['name']}; {p['curve']}"
    table.caption_justify = "left"
    return table


def _specimens(data: Mapping[str, Any], units: str) -> Table:
    table = _table(
        "Specimens", ["specimen", "load", "stiffness", "slack taken off", "largest difference", "root mean square difference"]
    )
    for one in data["measured"]["specimens"]:
        off = (one["largest_difference"], one["rms_difference"])
        _add(
            table,
            printable(one["name"]),
            display(one["load_N"], "N", units),
            display(one["stiffness_N_per_mm"], "N/mm", units),
            display(round(one["slack_mm"], 5) + 0.0, "mm", units, 2),  # of rounded figures no slack is left over
            *(
                "-" if value is None else f"{100 * value:+.1f} %" if i == 0 else f"{100 * value:.1f} %"
                for i, value in enumerate(off)
            ),
        )
    table.caption = "differences: predicted less measured force at the same displacement, of the specimen's largest force"
    table.caption_justify = "left"
    return table


def _causes(data: Mapping[str, Any], units: str) -> Table:
    table = _table("Causes, each varied alone", ["cause", "changed to", "load", "stiffness", "what it says"], words=(0, 1, 4))
    for cause in data["causes"]:
        name, verdict = printable(cause["name"]), verdict_in_words(data, cause)
        style = "bold" if cause["verdict"] == "alone" else "dim" if cause["verdict"] in ("unnamed", "none") else ""
        for i, effect in enumerate(cause["effects"]):
            told = verdict if effect["change"] == (cause["change"] or effect["change"]) and (i == 0 or cause["change"]) else ""
            cells = (percent(effect["load_ratio"]), percent(effect["stiffness_ratio"]))
            _add(table, name if i == 0 else "", printable(effect["change"]) + by(effect), *cells, told, style=style)
        if not cause["effects"]:
            _add(table, name, "", "-", "-", verdict, style=style)
    return table
