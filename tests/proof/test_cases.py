"""The shipped cases, each by the runner that `fejoint benchmark` uses; tolerances and their reasons stand in the cases."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

import fejoint
from fejoint.proof.case import shipped_cases
from fejoint.proof.runner import run_case

CASES = shipped_cases()


@pytest.mark.parametrize("file", CASES, ids=[file.name for file in CASES])
def test_shipped_case_is_met(file):
    report = run_case(file.read())
    rows = [f"{r.expectation.label}: {r.got:.9g} for {r.expected:.9g} {r.message}" for r in report.rows if r.verdict != "met"]
    assert report.rows
    assert not rows


def test_all_case_files_ship_and_are_found_as_package_data():
    folder = Path(fejoint.__file__).parent / "proof" / "cases"
    assert [file.name for file in CASES] == sorted(path.stem for path in folder.glob("*.toml"))
    assert len(CASES) >= 15
    assert resources.files("fejoint.proof").joinpath("cases", "volkersen-balanced.toml").is_file()


def test_every_case_says_what_it_is_and_why_each_tolerance():
    for file in CASES:
        case = file.read()
        assert case.about.title, file.name
        assert all(len(e.reason) > 5 for e in case.expect), file.name
        assert not any(word in file.text for word in ("/tmp", "/work")), file.name
        if file.name.startswith("frozen"):
            assert case.about.source.startswith("frozen by fejoint"), file.name
