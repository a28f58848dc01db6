"""A coupon test in words and tables, for the console and for the report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.coupon.outcome import ReducedTest
from fejoint.coupon.reduction import Figure
from fejoint.coupon.standards import rounded
from fejoint.show.coupons.reduction_data import SUPPORT, Looked, standard_in_words
from fejoint.show.coupons.statistics_tables import statistics_table
from fejoint.show.pen import printable
from fejoint.units import display, shown_unit

__all__ = ["answer", "coupons_report", "facts", "figure_rows", "interval", "noted", "specimen_rows"]

# Which figures stand in the table of specimens, by kind, with their heads; all others are in the files.
SHOWN: dict[str, dict[str, str]] = {
    "single-lap shear": {"strength": "strength", "force": "force", "travel": "at", "adherend_stress": "adherend"},
    "double-lap shear": {"strength": "strength", "force": "force", "travel": "at", "adherend_stress": "adherend"},
    "t-peel": {"peel_force": "mean", "least": "least", "most": "most", "first_peak": "first peak"},
    "thick-adherend shear": {
        "strength": "strength",
        "modulus": "modulus",
        "chord_modulus": "by chord",
        "strain_at_strength": "strain at strength",
        "strain_at_break": "at break",
    },
    "dcb": {
        "toughness": "G_Ic, growing",
        "nonlinear": "off the line",
        "initiation": "5 % or largest",
        "offset": "|Delta|",
        "modulus": "E of arms",
    },
    "enf": {
        "toughness": "G_IIc",
        "corrected": "corrected beam",
        "plain": "plain beam",
        "effective": "effective crack",
        "modulus": "E of arms",
    },
}


def coupons_report(found: ReducedTest, statistics: Looked, system: str = "mm") -> RenderableType:
    """Return what the command prints."""
    parts: list[RenderableType] = [
        Text(printable(found.test.title) or found.kind.words, style="bold"),
        Text(answer(found, statistics, system)),
        Text(f"Source: {printable(found.test.source)}"),
        Text(""),
    ]
    table = Table(
        title=f"Specimens, {100 * found.test.reduction.confidence:g} % intervals of each specimen's own curve",
        box=box.SIMPLE_HEAD,
        title_justify="left",
        title_style="bold",
        pad_edge=False,
    )
    head, rows = specimen_rows(found, system)
    for i, name in enumerate(head):
        table.add_column(name, justify="left" if i in (0, len(head) - 1) else "right", overflow="fold")
    for row, look in rows:
        table.add_row(*map(Text, row), style={"marked": "dim", "strong": "bold"}.get(look, ""))
    parts.append(table)
    left = [one for one in found.specimens if not one.counts]
    parts += [Text(f"Left out: {printable(one.name)}, {printable(one.entry.reason)}.", style="italic") for one in left]
    for text, names in noted(found).items():
        who = "all specimens" if len(names) == len(found.specimens) and len(names) > 1 else ", ".join(map(printable, names))
        parts.append(Text(f"{who}: {text}"))
    parts.append(Text(""))
    if statistics.lots is not None:
        parts.append(statistics_table(statistics.lots, statistics.unit))
    else:
        parts.append(Text(f"No statistics: {statistics.refused}"))
    parts += [Text(""), *(Text(text, style="dim") for text in standard_in_words(found)), Text("")]
    parts += [Text(f"Mind: {printable(text)}") for text in found.cautions]
    return Group(*parts, Text(SUPPORT))


def answer(found: ReducedTest, statistics: Looked, system: str = "mm") -> str:
    """Return the test in one sentence: mean, standard deviation, specimens, pattern."""
    factor, unit = shown_unit(found.kind.unit, system)
    values, n = found.values(), len(found.counted)
    title = found.kind.title[:1].upper() + found.kind.title[1:]
    mean = found.reported(factor * sum(values) / len(values))
    if statistics.lots is None:
        said = f"{title} {mean} {unit} of {n} specimen{'' if n == 1 else 's'}"
    else:
        d = statistics.lots.lots[0].described
        variation = "" if d.variation is None else f", {100 * d.variation:.2g} %"
        said = f"{title} {mean} {unit}, standard deviation {rounded(d.deviation, 2)} {unit}{variation}, {n} specimens"
    left = len(found.specimens) - n
    said += f", {left} left out" if left else ""
    how = "" if found.pattern is None else f"; failed {found.pattern}"
    known = found.test.followed
    by = found.kind.words if known is None else f"to the formula of {known.name}"
    return f"{said}{how} ({by})."


def facts(found: ReducedTest) -> list[tuple[str, str]]:
    """Return what was tested, as names and texts; what was not said is left out."""
    test, machine = found.test, found.machine_compliance
    pairs = [
        ("Kind of test", found.kind.words),
        ("Standard", "none" if test.followed is None else test.followed.name),
        ("Source", test.source),
        ("Adhesive", test.adhesive),
        ("Adherends", test.adherends),
        ("Preparation and cure", test.preparation),
        ("Conditions", test.conditions),
        ("Speed", "" if test.speed is None else f"{test.speed:g} mm/min"),
        ("Tester's files", ", ".join(test.data.files)),
        ("Machine's compliance", f"{machine:.3g} mm/N, taken off every displacement" if machine else "none taken off"),
        ("Run on metal alone", "" if found.metal_compliance is None else f"{found.metal_compliance:.3g} mm/N"),
        ("Note", test.note),
    ]
    return [(name, text) for name, text in pairs if text]


def interval(figure: Figure, system: str) -> str:
    """Return a figure's interval without its unit; empty where it has none."""
    if figure.low is None or figure.high is None:
        return ""
    factor, _ = shown_unit(figure.unit, system)
    return f"{rounded(factor * figure.low)} to {rounded(factor * figure.high)}"


def specimen_rows(found: ReducedTest, system: str) -> tuple[list[str], list[tuple[list[str], str]]]:
    """Return the table of specimens: its head, and rows with their look; the main figure as the standard rounds it.

    The last row is the mean of those that count, where there are two or more.
    """
    has = {key for one in found.specimens for key in one.reduction.figures}
    shown = [key for key in SHOWN[found.test.what] if key in has]
    between = any(one.reduction.figures[found.kind.main].low is not None for one in found.specimens)
    head = ["specimen"]
    for key in shown:
        name = SHOWN[found.test.what][key]
        head += [name, "interval"] if key == found.kind.main and between else [name]
    rows: list[tuple[list[str], str]] = []
    for one in found.specimens:
        name = printable(one.name) + ("" if one.counts else " (left out)")
        cells = _cells(found, one.reduction.figures, shown, between, system)
        rows.append(
            ([name, *cells, "not stated" if one.entry.seen is None else str(one.entry.seen)], "" if one.counts else "marked")
        )
    if len(found.counted) > 1:
        means = {key: _mean(found, key) for key in shown}
        cells = _cells(found, {key: figure for key, figure in means.items() if figure}, shown, between, system)
        rows.append((["mean", *cells, "" if found.pattern is None else str(found.pattern)], "strong"))
    return [*head, "failure pattern"], rows


def _mean(found: ReducedTest, key: str) -> Figure | None:
    figures = [one.reduction.figures[key] for one in found.counted if key in one.reduction.figures]
    if len(figures) < 2:
        return None
    return Figure(figures[0].name, sum(figure.value for figure in figures) / len(figures), figures[0].unit)


def _cells(found: ReducedTest, figures: Mapping[str, Figure], shown: list[str], between: bool, system: str) -> list[str]:
    cells = []
    for key in shown:
        figure = figures.get(key)
        if figure is None:
            cells.append("-")
        elif key == found.kind.main:
            factor, unit = shown_unit(figure.unit, system)
            cells.append(f"{found.reported(factor * figure.value)} {unit}")
        else:
            cells.append(display(figure.value, figure.unit, system, digits=3))
        if key == found.kind.main and between:
            cells.append("" if figure is None else interval(figure, system))
    return cells


def figure_rows(found: ReducedTest, system: str) -> tuple[list[str], list[tuple[list[str], bool]]]:
    """Return every figure of every specimen: the head, and rows, each with whether it is the interval of the row above."""
    keys = list(dict.fromkeys(key for one in found.specimens for key in one.reduction.figures))
    rows: list[tuple[list[str], bool]] = []
    for key in keys:
        figures: Sequence[Figure | None] = [one.reduction.figures.get(key) for one in found.specimens]
        first = next(figure for figure in figures if figure is not None)
        factor, unit = shown_unit(first.unit, system)
        name = f"{first.name}, {unit}" if unit else first.name
        rows.append(([name, *("-" if f is None else display(factor * f.value, "", digits=4) for f in figures)], False))
        if any(f is not None and f.low is not None for f in figures):
            between = ("-" if f is None else interval(f, system) or "-" for f in figures)
            rows.append(([f"{100 * found.test.reduction.confidence:g} % interval", *between], True))
    return ["figure", *(one.name for one in found.specimens)], rows


def noted(found: ReducedTest) -> dict[str, list[str]]:
    """Return the notes of specimens, those that several share once."""
    notes: dict[str, list[str]] = {}
    for one in found.specimens:
        for text in (*one.reduction.notes, *([f"seen: {printable(one.entry.note)}."] if one.entry.note else [])):
            notes.setdefault(text, []).append(one.name)
    return notes
