"""The report of a coupon test: one HTML page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from fejoint.coupon.description import DIMENSIONS
from fejoint.coupon.outcome import ReducedTest
from fejoint.joint.model import unit_of
from fejoint.show.coupons.reduction_data import SUPPORT, Looked, standard_in_words
from fejoint.show.coupons.reduction_plots import coupons_figure, patterns_figure
from fejoint.show.coupons.reduction_tables import answer, facts, figure_rows, noted, specimen_rows
from fejoint.show.coupons.statistics_plots import statistics_figure
from fejoint.show.coupons.statistics_tables import MEANING, statistics_rows, statistics_sentences
from fejoint.show.report.page import Row, Table, page, picture
from fejoint.units import display

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["coupons_figures", "coupons_page"]

SECTIONS = [
    ("answer", "The answer in short"),
    ("curves", "Curves"),
    ("specimens", "Specimens"),
    ("patterns", "Failure patterns"),
    ("statistics", "Statistics"),
    ("standard", "The standard"),
    ("cautions", "Cautions"),
]
MOST_ACROSS = 8  # specimens side by side in the table of all figures; of more, the csv file has them


def coupons_figures(found: ReducedTest, statistics: Looked, units: str = "mm") -> dict[str, Figure]:
    """Return the figures of a coupon test by the names of their files; none of patterns or statistics that are not there.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    figures = {"coupons.png": coupons_figure(found, units)}
    if found.pattern is not None:
        figures["patterns.png"] = patterns_figure(found)
    if statistics.lots is not None:
        figures["statistics.png"] = statistics_figure(statistics.lots, statistics.unit, found.kind.title)
    return figures


def coupons_page(found: ReducedTest, statistics: Looked, figures: Mapping[str, Figure], units: str = "mm") -> str:
    """Return the report of a coupon test as HTML.

    Parameters
    ----------
    found : ReducedTest
    statistics : Looked
        In the display system.
    figures : mapping
        As `coupons_figures` returns them.
    units : str
        Display system.

    Raises
    ------
    SetupError
        matplotlib or jinja2 is not installed.
    """
    test = found.test
    head, rows = specimen_rows(found, units)
    lines = [Row(row, look) for row, look in rows]
    seen = {
        "coupons.png": _curves_alt(found),
        "patterns.png": f"Bars of area by failure pattern; on average {found.pattern}.",
        "statistics.png": "Values of the specimens, and their shares on normal probability paper with fitted distributions.",
    }
    pictures = {name.removesuffix(".png"): picture(figures[name], alt) if name in figures else None for name, alt in seen.items()}
    context = {
        "sections": SECTIONS,
        "answer": answer(found, statistics, units),
        "facts": facts(found),
        "support": SUPPORT,
        "pictures": pictures,
        "tables": {
            "specimens": Table("Specimens, the main figure as it is reported", head, lines, words=(0, len(head) - 1)),
            "dimensions": _dimensions(found, units),
            "figures": _figures(found, units),
            "statistics": [] if statistics.lots is None else _statistics(statistics),
        },
        "left_out": [(one.name, one.entry.reason) for one in found.specimens if not one.counts],
        "notes": [(", ".join(names), text) for text, names in noted(found).items()],
        "confidence": f"{100 * test.reduction.confidence:g} %",
        "statistics_refused": statistics.refused,
        "statistics_sentences": []
        if statistics.lots is None
        else [*statistics_sentences(statistics.lots, statistics.unit), MEANING],
        "standard": standard_in_words(found),
        "cautions": found.cautions,
    }
    return page("coupons.html", test.title or found.kind.words, context)


def _curves_alt(found: ReducedTest) -> str:
    marks = list(dict.fromkeys(mark.name for one in found.specimens for mark in one.reduction.marks))
    return f"Force over displacement of {len(found.specimens)} specimens; marked: {', '.join(marks)}."


def _dimensions(found: ReducedTest, units: str) -> Table:
    used = [key for key in DIMENSIONS if any(key in one.dimensions for one in found.specimens)]
    unit = {key: unit_of(type(found.test.specimen).model_fields[key]) or "" for key in used}
    rows = [
        Row([one.name, *(display(one.dimensions[key], unit[key], units) if key in one.dimensions else "-" for key in used)])
        for one in found.specimens
    ]
    return Table("Dimensions", ["specimen", *(key.replace("_", " ") for key in used)], rows)


def _figures(found: ReducedTest, units: str) -> Table:
    head, rows = figure_rows(found, units)
    cut = len(head) > MOST_ACROSS + 1
    caption = f"All figures, of the first {MOST_ACROSS} specimens (coupons.csv has all)" if cut else "All figures"
    return Table(caption, head[: MOST_ACROSS + 1], [Row(row[: MOST_ACROSS + 1], "under" if under else "") for row, under in rows])


def _statistics(statistics: Looked) -> list[Table]:
    assert statistics.lots is not None
    return [
        Table(title, head, [Row(row) for row in rows], words=(0, *(i for i, name in enumerate(head) if not name)))
        for title, head, rows in statistics_rows(statistics.lots, statistics.unit)
    ]
