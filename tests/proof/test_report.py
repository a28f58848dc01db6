"""The report as a figure and as a table: everything in it, readable."""

from __future__ import annotations

import io
import math

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from rich.console import Console

from fejoint.proof.case import CaseFile
from fejoint.proof.runner import run_cases
from fejoint.show.proof import LEAST, report_figure, report_table


@pytest.fixture(scope="module")
def report(case_text):
    """Return a report of three cases: met and missed, exact, unreadable."""
    mixed = case_text({}, {"value": '"27 MPa"'}, {"quantity": '"peak_peel"'})
    exact = case_text({"quantity": '"peak_shear_x"', "value": '"0 mm"', "tolerance": None, "absolute": '"1 mm"'})
    return run_cases([CaseFile("mixed", "", mixed), CaseFile("exact", "", exact), CaseFile("broken", "broken.toml", "[")])


def test_the_figure_has_a_dot_for_every_number_where_it_belongs(report):
    axes = report_figure(report).axes[0]
    dots = [(line.get_gid(), line.get_xdata()[0], line.get_ydata()[0]) for line in axes.lines if line.get_gid()]
    rows = [row for case in report.cases for row in case.rows if math.isfinite(row.ratio)]
    assert [(verdict, x) for verdict, x, _ in dots] == [(row.verdict, max(row.ratio, LEAST)) for row in rows]
    assert [x > 1 for _, x, _ in dots] == [verdict == "missed" for verdict, _, _ in dots]
    heights = [y for _, _, y in dots]
    assert heights == sorted(heights)
    texts = " ".join(text.get_text() for text in axes.texts)
    assert "peak_shear, of Volkersen" in texts  # the one that missed is named
    assert "does not give this quantity" in texts
    assert "broken.toml" in texts


def test_all_of_the_figure_lies_inside_it(report):
    figure = report_figure(report)
    FigureCanvasAgg(figure).draw()
    width, height = figure.canvas.get_width_height()
    axes = figure.axes[0]
    for text in [*axes.texts, *axes.get_yticklabels(), *figure.texts, axes.xaxis.label]:
        box = text.get_window_extent()
        assert box.x0 > -1, text
        assert box.x1 < width + 1, text
        assert box.y0 > -1, text
        assert box.y1 < height + 1, text


def test_marks_of_the_source_travel_into_the_table(case_text, report):
    text = case_text({}).replace('source = "derived"', 'source = "from memory: somebody 1944"')
    console = Console(width=120, record=True, file=io.StringIO())
    console.print(report_table(run_cases([CaseFile("one", "", text)])))
    printed = console.export_text()
    assert "from memory: somebody 1944" in printed
    assert max(len(line.rstrip()) for line in printed.splitlines()) <= 120


def test_an_empty_report_has_a_figure_too():
    assert report_figure(run_cases([CaseFile("broken", "x.toml", "[")])).axes
