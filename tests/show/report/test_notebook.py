"""What a notebook shows: drawn, in numbers, and whatever a user typed as text."""

from __future__ import annotations

import json
import subprocess
import sys
from html.parser import HTMLParser

import pandas as pd
import pytest

import fejoint
from fejoint import environment
from fejoint.joint.file import joint_from_text, template
from fejoint.show.sweeps.study_table import StudyTable
from fejoint.units import display

HOSTILE = "<script>alert(1)</script> \"' onload=x $\\frac \u202e end"
LIMIT_OF_A_CELL = 500_000  # bytes: a notebook keeps what it shows, and a hundred cells must stay below 50 MB


class Parsed(HTMLParser):
    """What a browser would make of a piece of HTML: its tags with attributes, and its text."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.tags, self.text = [], ""
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text += data


@pytest.fixture(scope="module")
def hostile(solved):
    """Return a solved joint of a hostile title."""
    from dataclasses import replace

    result = solved["single"]
    joint = joint_from_text(template("single-lap")).model_copy(update={"title": HOSTILE + 10_000 * "x"})
    return replace(result, joint=result.joint.model_copy(update={"title": joint.title}), warnings=[HOSTILE])


@pytest.fixture(autouse=True)
def faces():
    """Use a public name: the package hands the faces to the classes then."""
    assert fejoint.Joint


def test_a_joint_is_its_drawing(joint):
    found = Parsed(joint()._repr_html_())
    ((_, image),) = [tag for tag in found.tags if tag[0] == "img"]
    assert image["src"].startswith("data:image/svg+xml;base64,")
    assert "12.5 mm" in image["alt"]  # the template's overlap
    assert joint().title in found.text


def test_a_result_says_its_peaks_and_warnings(solved):
    result = solved["double unlike"]
    found = Parsed(result._repr_html_())
    for peak, _ in (result.peak_shear, result.peak_peel, result.least_peel):
        assert display(peak.value, "MPa") in found.text
    for warning in result.warnings:
        assert warning in found.text
    assert len(result._repr_html_()) < LIMIT_OF_A_CELL


def test_what_a_user_typed_is_text(hostile):
    for shown in (hostile.joint, hostile):
        found = Parsed(shown._repr_html_())
        assert {tag for tag, _ in found.tags} <= {"div", "p", "strong", "bdi", "dl", "dt", "dd", "img"}
        assert not [name for _, attributes in found.tags for name in attributes if name.startswith("on")]
        assert "<script>alert(1)</script>" in found.text
        assert len(shown._repr_html_()) < LIMIT_OF_A_CELL


def test_a_sweeps_table_says_how_its_cases_ended():
    table = StudyTable({"status": ["done", "done", "refused"], "feasible": [True, False, False], "title": [HOSTILE] * 3})
    html = table._repr_html_()
    found = Parsed(html)
    assert "3 cases: 2 done, 1 refused. 1 feasible" in found.text
    assert "script" not in {tag for tag, _ in found.tags}
    assert type(table[table.feasible]) is type(table[["status"]]) is pd.DataFrame
    assert Parsed(StudyTable({"status": ["done"]})._repr_html_()).text.startswith("1 case: 1 done.")


def test_a_status_is_text_too():
    table = StudyTable({"status": [HOSTILE, HOSTILE, "done"]})
    found = Parsed(table._repr_html_())
    assert {tag for tag, _ in found.tags} <= {"p", "div", "style", "table", "thead", "tbody", "tr", "th", "td"}
    assert f"3 cases: 2 {HOSTILE}, 1 done." in found.text


@pytest.mark.parametrize("columns", [["peak_peel_MPa"], ["status", "status"]], ids=["without", "twice"])
def test_a_table_without_one_column_of_statuses_is_shown_as_pandas_shows_it(columns):
    plain = pd.DataFrame([["done"] * len(columns)] * 2, columns=columns)
    assert StudyTable(plain)._repr_html_() == plain._repr_html_()


def test_without_the_extra_the_plain_text_stands(joint, monkeypatch):
    monkeypatch.setattr(environment.importlib.util, "find_spec", lambda name: None)
    assert joint()._repr_html_() is None


def test_whichever_public_name_comes_first_the_faces_are_there():
    code = """
import json, fejoint
joint = fejoint.load.__module__ and __import__("fejoint.joint.description", fromlist=["Joint"]).Joint
first = hasattr(joint, "_repr_html_")
fejoint.solve
from fejoint.mechanics.driver import Result
from fejoint.show.reading import Run
print(json.dumps([first, hasattr(Result, "_repr_html_"), hasattr(Run, "_repr_html_")]))
"""
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(run.stdout) == [True, True, True]
    assert fejoint.Joint._repr_html_.__doc__
