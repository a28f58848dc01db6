"""The page of a run along a load's path: its section, its view's steps, and no word of a linear analysis."""

import re
from dataclasses import replace

import pytest

from fejoint.show.path_rows import path_rows
from fejoint.show.reading import read_run
from fejoint.show.report import run_page as module
from fejoint.show.report import scene
from fejoint.show.report.page import Picture


@pytest.fixture(scope="module")
def run(sill_folder):
    return read_run(sill_folder)


WHY = "limit load: the joint carries 999 N in step 'pull' <b>and</b> no more"


@pytest.fixture(scope="module")
def page(run):
    """Return the page of the run as if its load had not been reached, its pictures made but not written out."""
    patch = pytest.MonkeyPatch()
    for name in ("_solid", "_solid_end"):
        patch.setattr(module, name, lambda run, units: None)
    patch.setattr(module, "_scene", lambda run, units: ([], {}))
    patch.setattr(module, "picture", lambda figure, alt, caption="", pixels=False: Picture("data:,", alt, caption))
    try:
        return module.run_page(replace(run, limit=WHY, asked=run.joint))
    finally:
        patch.undo()


def words(page):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", re.sub(r'"data:[^"]*"', '""', page)))


def test_the_path_has_its_section_with_every_increment(run, page):
    text = words(page)
    start, end = page.index('<h2 id="path">'), page.index('<h2 id="solid">')
    section = page[start:end]
    for row in path_rows(run):
        assert f"{row['number']}, {row['step']}" in section
    assert section.count("<figure>") == 5  # load and travel, curves, edge moment, zones at first and at the end
    assert '<a href="#path">Along the load' in page
    assert "in the steps cool-down and pull, with large rotation and an adhesive that yields" in text
    assert run.bondlines[0].measure in text
    for name in ("Cauchy stress in the axes of space", "Largest plastic strain", "Within the yield surface", "Load reached"):
        assert name in text
    assert "This picture is missing" not in text
    assert re.search(r"hardening\.rise .{0,120}yielding", text)
    assert "Content-Security-Policy" in page


def test_what_the_steps_give_is_no_default(page):
    text = words(page)
    assert re.search(r"load\.force [\d.]+ N (?!\(default\))", text)
    assert re.search(r"load\.moment 0 N\*mm \(default\)", text)


def test_no_word_of_a_linear_analysis(page):
    text = words(page)
    for said in ("analysis is linear", "linear analysis", "linear elasticity", "The linear result"):
        assert said not in text, said
    assert "it knows no crack and no damage" in text


def test_why_a_load_was_not_reached_stands_first(page):
    answers = page[page.index('<table class="answer">') :]
    assert re.search(r'<tr><th scope="row">([^<]*)</th>', answers)[1] == "Load not reached"
    assert "&lt;b&gt;and&lt;/b&gt; no more." in page
    assert "<b>and</b>" not in page


def test_the_view_has_the_increments_as_steps(run, sill, monkeypatch):
    monkeypatch.setattr(scene, "MOST_STEPS", len(sill.path))
    monkeypatch.setattr(scene, "MOST_NODES", len(sill.path) * len(run.section.points))
    data = scene.scene_data(run)
    assert len(data["steps"]) == len(sill.path)
    assert data["steps"][-1] == f"{len(sill.path)}, pull: 1100 N, -20 K"
    (strain,) = [one for one in data["stresses"] if one["key"] == "plastic-strain"]
    assert (strain["unit"], strain["factor"], strain["regions"], strain["signed"]) == ("", 1.0, ["adhesive"], False)
    assert {one["unit"] for one in data["stresses"] if one is not strain} == {"MPa"}
    (piece,) = [one for one in data["pieces"] if one["adhesive"]]
    for k in (0, 8, -1):
        section = run.path[k].section
        low, high = section.stress["plastic-strain"].min(), section.stress["plastic-strain"].max()
        assert piece["steps"][k]["ranges"][0]["plastic-strain"] == pytest.approx([low, high], rel=1e-5, abs=1e-12)
    (peel,) = [one for one in data["shown"][0]["ribbon"]["ribbons"] if one["stress"] == "peel"]
    assert len(peel["steps"]) == len(sill.path)
    # Points of the mid-line: none lies above the peak between them, and the nearest less than 2 % below.
    peak = run.path[8].bondlines[0].cauchy.highest("peel").value
    assert 0.98 * peak <= max(peel["steps"][8][0]) <= peak * (1 + 1e-6)


def test_steps_are_thinned_out_where_the_mesh_is_fine(run, monkeypatch):
    nodes = len(run.section.points)
    for most, steps in ((3 * nodes, 3), (nodes // 2, 1)):
        monkeypatch.setattr(scene, "MOST_NODES", most)
        found = scene._steps(run, run.section, "mm")
        assert len(found) == steps
        assert found[-1].section is run.section
