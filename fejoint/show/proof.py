"""What became of cases: as a table, as JSON, as a figure."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich import box
from rich.console import Group, RenderableType
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from fejoint.proof.coupons import CouponsReport
from fejoint.proof.quantities import FINITE_ELEMENTS, QUANTITIES
from fejoint.proof.runner import CaseReport, Report, Row, Verdict
from fejoint.show.colours import FAINT, INK
from fejoint.show.files import versions, write_files
from fejoint.show.measured import coupons_figure, coupons_json
from fejoint.show.pen import drawing_style, plate
from fejoint.units import display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["quantities_table", "report_figure", "report_json", "report_table", "write_report", "write_texts"]

SCHEMA_VERSION = 1
NO_TESTS = CouponsReport(())
VERDICTS: tuple[Verdict, ...] = ("met", "missed", "bad")
BAD = "bold red"
MARKS = {"met": "met", "missed": "MISSED", "bad": "BAD"}
# Of the figure: differences below this share of the allowed one are drawn at it; inks; inches; letters.
LEAST = 1e-5
INKED, RED = "#0b2f52", "#b8500f"
HEAD, CASE_HEIGHT, DOT_HEIGHT, NAMED_HEIGHT = 1.5, 0.25, 0.075, 0.15
NAME_LENGTH, MESSAGE_LENGTH = 40, 110


# ---- table -----------------------------------------------------------------

# Every case has a table of its own under its name and source; fixed widths keep their columns in line.
COLUMNS = {"case, source, quantity": 60, "expected": 14, "got": 14, "difference": 11, "tolerance": 9, "": 6}


def report_table(report: Report) -> RenderableType:
    """Return what a person reads: every case with its source, a row an expectation; why, where one is bad or more than missed."""
    parts: list[RenderableType] = [_row(list(COLUMNS)), Rule(style="dim")]
    for case in report.cases:
        source = f"  {case.case.about.source}" if case.case else ""
        parts.append(Text.assemble((case.name, "bold"), source))
        if case.case is None:
            parts.append(_row(["", "", "", "", "", MARKS["bad"]], BAD))
            parts.append(Text(f"    {case.message}", style="bold"))
        for row in case.rows:
            parts.append(_row([*_cells(row), MARKS[row.verdict]], "" if row.verdict == "met" else BAD))
            parts += [Text(f"    {row.message}", style="bold")] if row.message else []
    return Group(*parts, Text(""), Text(_counted(report)))


def _row(cells: list[str], style: str = "") -> Table:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    for i, width in enumerate(COLUMNS.values()):
        table.add_column(width=width, justify="left" if i in (0, len(COLUMNS) - 1) else "right", overflow="fold")
    table.add_row(*cells, style=style)
    return table


def _cells(row: Row) -> list[str]:
    e, unit = row.expectation, row.expectation.asked.unit
    asked = f"  {_label(row)}"
    digits = max(4, min(8, 1 - math.floor(math.log10(e.tolerance)))) if e.tolerance else 4

    def shown(value: float, places: int = 4) -> str:
        return display(value, unit, digits=places) if math.isfinite(value) else "-"

    difference, allowed = shown(row.difference, 2), shown(row.allowed, 2)
    if e.tolerance is not None:
        allowed = _share(e.tolerance)
        difference = _share(row.difference / abs(row.expected)) if math.isfinite(row.difference) and row.expected else difference
    return [asked, shown(row.expected, digits), shown(row.got, digits), difference, allowed]


def _label(row: Row) -> str:
    """Return what is asked of whom, and against what, in one line."""
    e = row.expectation
    of = f", of {e.of}" if e.of != FINITE_ELEMENTS else ""
    return f"{e.label}{of}{f', vs {e.theory}' if e.theory else ''}"


def _share(value: float) -> str:
    return f"{100 * value:.2g} %" if abs(value) >= 1e-5 else f"{value:.1e}" if value else "0"


def _counted(report: Report) -> str:
    seconds = sum(case.seconds for case in report.cases)
    verdicts = ", ".join(f"{report.count(verdict)} {verdict}" for verdict in VERDICTS)
    return f"Cases: {len(report.cases)}. Expectations: {verdicts}. {seconds:.2g} s."


def quantities_table() -> RenderableType:
    """Return all that a case can ask for."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for column in ("quantity", "unit", "goes with", "of", "meaning"):
        table.add_column(column, overflow="fold", no_wrap=column in ("quantity", "unit"))
    for name, quantity in QUANTITIES.items():
        keys = ", ".join(f"{key} (needed)" if key in quantity.needs else key for key in quantity.takes)
        of = "all" if quantity.theories else FINITE_ELEMENTS
        table.add_row(name, quantity.unit or "-", keys or "-", of, quantity.meaning)
    return table


# ---- JSON ------------------------------------------------------------------


def report_json(report: Report, measured: CouponsReport = NO_TESTS) -> dict[str, Any]:
    """Return the report, with tests beside the cases where there are some, ready for JSON (N, mm, MPa, K).

    ``met``, ``missed`` and ``bad`` count expectations; the verdict is the worst of cases and tests.
    """
    return {
        "schema_version": SCHEMA_VERSION,
        "verdict": max(report.verdict, measured.verdict, key=VERDICTS.index),
        **{verdict: report.count(verdict) for verdict in VERDICTS},
        "cases": [_case_json(case) for case in report.cases],
        **coupons_json(measured),
        "versions": versions(),
    }


def _case_json(case: CaseReport) -> dict[str, Any]:
    about = case.case.about if case.case else None
    return {
        "name": case.name,
        "title": about.title if about else "",
        "source": about.source if about else "",
        "note": about.note if about else "",
        "verdict": case.verdict,
        "message": case.message,
        "seconds": case.seconds,
        "rows": [_row_json(row) for row in case.rows],
    }


def _row_json(row: Row) -> dict[str, Any]:
    e = row.expectation
    place = {key: value for key in ("bondline", "at", "adherend", "part") if (value := getattr(e, key)) is not None}
    numbers = {"expected": row.expected, "got": row.got, "difference": row.difference, "allowed": row.allowed}
    return {
        "quantity": e.quantity,
        **place,
        "of": e.of,
        "theory": e.theory,
        "unit": e.asked.unit,
        **{key: value if math.isfinite(value) else None for key, value in numbers.items()},
        "reason": e.reason,
        "verdict": row.verdict,
        "message": row.message,
    }


# ---- figure ----------------------------------------------------------------


def report_figure(report: Report) -> Figure:
    """Return a figure with a dot for every expectation: its difference over the allowed one, grouped by case.

    Within a case the dots come in the order of its file; those that missed are named.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        heights = [max(CASE_HEIGHT, DOT_HEIGHT + sum(map(_height, case.rows))) for case in report.cases]
        figure = Figure(figsize=(10, HEAD + max(sum(heights), 1.0)), layout="constrained")
        axes = figure.subplots()
        figure.suptitle(_counted(report).rsplit(". ", 1)[0], x=0.01, ha="left")
        ratios = [row.ratio for case in report.cases for row in case.rows if math.isfinite(row.ratio)]
        high = max(10.0, *(3 * ratio for ratio in ratios)) if ratios else 10.0
        top, middles = 0.0, []
        for i, (case, height) in enumerate(zip(report.cases, heights, strict=True)):
            if i % 2 == 0:
                axes.axhspan(top, top + height, color=FAINT, alpha=0.10, linewidth=0, zorder=0)
            _draw_case(axes, case, top, height)
            middles.append(top + height / 2)
            top += height
        axes.axvline(1.0, color=INK, linewidth=1.2, zorder=2)
        axes.axvspan(1.0, high, color=RED, alpha=0.08, linewidth=0, zorder=0)
        axes.text(1.0, 1.0, "allowed", transform=axes.get_xaxis_transform(), ha="center", va="bottom", color=INK)
        axes.set_yticks(middles, [_short(case.name) for case in report.cases])
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        axes.set_xscale("log")
        axes.xaxis.set_major_formatter("{x:g}")
        axes.set_xlim(LEAST / 2, high)
        axes.set_ylim(top, 0.0)
        axes.set_xlabel("difference over the allowed one, in magnitude")
        _key(figure)
        return figure


def _height(row: Row) -> float:
    """Return the height of a row, inches: a dot, with its name where it missed."""
    return DOT_HEIGHT if row.verdict == "met" else NAMED_HEIGHT


def _draw_case(axes: Axes, case: CaseReport, top: float, height: float) -> None:
    """Draw the dots of a case into its band (inches)."""
    small: dict[str, Any] = {"va": "center", "fontsize": 8, "color": RED, **plate()}
    if case.case is None:
        axes.text(LEAST, top + height / 2, _short(f"bad: {case.message}", MESSAGE_LENGTH), **small)
    y = top + (height - sum(map(_height, case.rows))) / 2
    for row in case.rows:
        y += _height(row)
        middle = y - _height(row) / 2
        if not math.isfinite(row.ratio):
            axes.text(LEAST, middle, _short(f"{row.verdict}: {_label(row)}: {row.message}", MESSAGE_LENGTH), **small)
            continue
        x, colour = max(row.ratio, LEAST), INKED if row.verdict == "met" else RED
        marker = "X" if row.verdict != "met" else "<" if row.ratio < LEAST else "o"
        face = colour if row.expectation.of == FINITE_ELEMENTS else "white"
        axes.plot(
            [x], [middle], marker=marker, color=colour, markerfacecolor=face, markersize=5, linestyle="none", gid=row.verdict
        )
        if row.verdict != "met":
            axes.annotate(_short(_label(row)), (x, middle), (-6, 0), textcoords="offset points", ha="right", **small)


def _key(figure: Figure) -> None:
    from matplotlib.lines import Line2D

    looks = [("finite elements", "o", INKED, INKED), ("a theory", "o", INKED, "white")]
    looks += [(f"below {LEAST:g}", "<", INKED, INKED), ("missed", "X", RED, RED)]
    handles = [
        Line2D([], [], color=colour, marker=marker, markerfacecolor=face, markersize=6, linestyle="none", label=text)
        for text, marker, colour, face in looks
    ]
    figure.legend(handles=handles, loc="outside lower center", ncols=len(handles))


def _short(text: str, length: int = NAME_LENGTH) -> str:
    text = " ".join(text.split())
    return text if len(text) <= length else text[: length - 3] + "..."


# ---- files -----------------------------------------------------------------


def write_report(report: Report, folder: str | Path, measured: CouponsReport = NO_TESTS) -> list[Path]:
    """Write ``report.json``, ``report.png`` where there are cases and ``measured.png`` where there are tests, all or none.

    Raises
    ------
    SetupError
        matplotlib is not installed, or the folder cannot be written.
    """
    figures = {"report.png": report_figure(report)} if report.cases or not measured.tests else {}
    if measured.tests:
        figures["measured.png"] = coupons_figure(measured)

    def drawing(figure: Figure) -> Callable[[Path], Any]:
        def draw(path: Path) -> None:
            with drawing_style():
                figure.savefig(path, format="png")

        return draw

    text = json.dumps(report_json(report, measured), indent=2, allow_nan=False) + "\n"
    return write_files(folder, {"report.json": _text(text), **{name: drawing(figure) for name, figure in figures.items()}})


def write_texts(folder: str | Path, texts: Mapping[str, str]) -> list[Path]:
    """Write texts by the names of their files, all or none."""
    return write_files(folder, {name: _text(text) for name, text in texts.items()})


def _text(text: str) -> Callable[[Path], Any]:
    return lambda path: path.write_text(text, encoding="utf-8", newline="\n")
