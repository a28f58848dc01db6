"""The whole job on the door sill (invented), as its user types it: every step ends well and keeps what the walk-through says."""

import json
import re
import shlex

import pytest

from fejoint.cli import run
from fejoint.cli.whole_job import FILES, STEPS
from fejoint.joint.library import named

MICROSECTION = 0.5  # mm: the thickness that pull.csv was made with (tests/proof/made_up.py)


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sill") / "job"
    return folder, run(["demo", "--whole-job", "--out", str(folder)])


def read(folder, name):
    return json.loads((folder / name).read_text(encoding="utf-8"))


def test_every_step_ends_well_and_the_page_leads_through_it(job):
    folder, code = job
    assert code == 0
    page = (folder / "whole-job.html").read_text(encoding="utf-8")
    for step in STEPS:
        assert step.title in page.replace("&#39;", "'")
        assert all((folder / name).stat().st_size > 0 for name, _ in step.pictures)
    assert page.count("<img") == sum(len(step.pictures) for step in STEPS)
    links = re.findall(r'<a href="([^"#]+)"', page)
    assert links == [step.page for step in STEPS if step.page]
    assert all((folder / link).is_file() for link in links)
    assert "licensed engineer" in page
    assert "nvented" in page


def test_the_commands_of_the_page_can_be_typed_as_they_stand(job):
    folder, _ = job
    for step in STEPS:
        typed = shlex.join(["fejoint", *(a.replace("{}", str(folder)) for a in step.arguments)])
        assert typed in (folder / "whole-job.html").read_text(encoding="utf-8").replace("&#39;", "'")


def test_the_story_holds(job):
    folder, _ = job
    assert read(folder, "process/process.json")["wetting"]["verdict"] == "wets"
    card = (folder / "job-card.html").read_text(encoding="utf-8")
    assert "Gloves" in card
    assert "Mask" in card
    # Two of the inspection's flaws overlap: merged, and said.
    assert any("counted as one" in sentence for sentence in read(folder, "flaws/flaws.json")["said"])
    # The glue line is thicker than meant, which makes the coupons softer than predicted.
    correlation = read(folder, "correlation/correlation.json")
    assert correlation["predicted"]["stiffness_N_per_mm"] > correlation["measured"]["stiffness_N_per_mm"]
    thick = next(cause for cause in correlation["causes"] if cause["name"].startswith("thick glue line"))
    assert thick["verdict"] == "stiffness"
    assert thick["share"] <= 1
    # With the thickness that the pull was made with, the modulus that it was made with lies in the interval.
    found = read(folder, "identified/identify.json")["figures"][0]
    assert found["low"] < 1850 < found["high"]
    assert named("adhesive", "toughened epoxy", None)["elastic_modulus"]["value"] == "1.85 GPa"
    text = (folder / "as-built.toml").read_text(encoding="utf-8")
    assert f'bondline_thickness = "{MICROSECTION} mm"' in text


def test_another_mans_files_are_not_written_over(tmp_path, capsys):
    (tmp_path / "sill.toml").write_text("mine")
    assert run(["demo", "--whole-job", "--out", str(tmp_path)]) == 2
    assert "choose another folder" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["sill.toml"]


def test_it_goes_with_nothing_else(capsys):
    assert run(["demo", "roof-rib", "--whole-job"]) == 2
    assert "leave out the rest" in capsys.readouterr().err


def test_every_file_of_it_says_that_it_is_invented():
    from importlib import resources

    for name in FILES:
        assert "nvented" in resources.files("fejoint.demo").joinpath(name).read_text(encoding="utf-8").replace(
            "INVENTED", "Invented"
        )
