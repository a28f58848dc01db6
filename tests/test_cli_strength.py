"""`fejoint strength` as its user meets it: what it prints and writes, exit codes, what is refused before it writes."""

from __future__ import annotations

import csv
import json

import pytest

from benchmarks.survival import Here
from fejoint.cli import run
from fejoint.show.strength_files import read_strength

# A door sill lap of a cable-car cabin (invented), short so that it solves fast.
SILL = """
title = "door sill, lap coupon (invented)"

[joint]
kind = "single-lap"
width = "25 mm"
overlap_length = "6 mm"
bondline_thickness = "0.4 mm"

[joint.lower]
material = "aluminium 6082-T6"
thickness = "2 mm"
free_length = "20 mm"

[joint.upper]
material = "aluminium 6082-T6"
thickness = "2 mm"
free_length = "20 mm"

[adhesive]
material = "toughened epoxy"

[load]
force = "1.5 kN"

[[strength.knockdown]]
name = "hot and wet"
factor = 0.7
source = "user's"
"""
SCATTER = """
[[strength.scatter]]
key = "adhesive.shear_strength"
variation = 0.08
"""
DISBOND = """
[strength.disbond]
length = "2 mm"
end = "left"
place = "middle"
"""
# 17.9 MPa of shear strength (from memory, marked so) on 25 mm by 6 mm.
PLATEAU = 17.9 * 25 * 6
OF_A_RUN = {"adherends.csv", "bondline.csv", "joint.toml", "section.vtu", "summary.json"}


@pytest.fixture
def sill(tmp_path):
    """Return the function that writes a joint file, with more in it."""

    def write(more=""):
        path = tmp_path / "sill.toml"
        path.write_text(SILL + more, encoding="utf-8")
        return str(path)

    return write


def refused(capsys, tmp_path, *arguments):
    """Run what must be refused: exit 2, one sentence, no folder; return the sentence."""
    out = tmp_path / "refused"
    assert run(["strength", *arguments, "--out", str(out)]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.count("\n") == 1
    assert printed.err.startswith("fejoint: ")
    assert not out.exists()
    return printed.err


def test_it_says_what_fails_first_and_why_to_believe_it(sill, capsys):
    """The plateau by hand, 17.9 x 25 x 6 N, knocked down by 0.7: believed on so short a lap, and it governs."""
    assert run(["strength", sill(), "--quick"]) == 0
    text = " ".join(capsys.readouterr().out.split())
    for words in (
        "door sill, lap coupon (invented)",
        "It holds: what fails first is cohesive failure in the adhesive",
        f"margin of safety {0.7 * PLATEAU / 1500 - 1:+.2f}",
        "with knockdowns (hot and wet)",
        'believe "bondline yields as a whole"',
        "gives way as a whole",
        "Knockdowns, factors on the load: hot and wet 0.7 on adhesive (source: user's).",
        "Input from memory",
        "adhesive.shear_strength",
        "no allowables",
    ):
        assert words in text, words


def test_json_is_the_file_and_nothing_else(sill, tmp_path, capsys):
    """What is printed parses, and is what --out writes, but for the band, which neither was asked for."""
    out = tmp_path / "run"
    assert run(["strength", sill(), "--quick", "--json", "--out", str(out)]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["governing"]["force_N"] == pytest.approx(0.7 * PLATEAU, rel=1e-9)
    assert read_strength(out) == data
    assert "band" not in data


def test_files_of_a_prediction_and_of_its_run(sill, tmp_path, capsys):
    """strength.json, .csv and .png beside the run's own; a row a criterion, with other distances and meshes; a picture."""
    out = tmp_path / "run"
    assert run(["strength", sill(), "--out", str(out)]) == 0
    assert "Written to" in capsys.readouterr().out
    assert {p.name for p in out.iterdir()} == OF_A_RUN | {"strength.json", "strength.csv", "strength.png"}
    assert (out / "strength.png").read_bytes().startswith(b"\x89PNG")
    with (out / "strength.csv").open(newline="") as opened:
        rows = {row["criterion"]: row for row in csv.DictReader(opened)}
    assert float(rows["plateau"]["force_N"]) == pytest.approx(PLATEAU, rel=1e-6)
    for column in ("half_distance_N", "double_distance_N", "coarser_mesh_N", "finer_mesh_N"):
        assert float(rows["shear-point"][column]) > 0
    assert rows["strain-peak"]["force_N"] == ""
    assert 'analysis.adhesive_model = "plastic"' in rows["strain-peak"]["needs"]
    # The folder repeats itself.
    assert run(["strength", str(out / "joint.toml"), "--quick", "--out", str(out)]) == 0


def test_one_criterion_alone(sill, capsys):
    """Its load with the knockdown in it, its margin, bias and source; one that cannot run says what it needs."""
    assert run(["strength", sill(), "--quick", "--criterion", "plateau"]) == 0
    text = capsys.readouterr().out
    assert f"margin {0.7 * PLATEAU / 1500 - 1:+.3g}" in text
    assert "knockdowns counted in (hot and wet)" in text
    assert "Known bias: the most that the bond can pass on" in text
    assert "Source: limit analysis" in text
    assert run(["strength", sill(), "--quick", "--criterion", "strain-peak"]) == 2
    sentence = capsys.readouterr().err
    assert 'needs analysis.adhesive_model = "plastic"' in sentence
    assert "those that can run here: shear-peak" in sentence


def test_a_margin_that_is_required(sill, capsys):
    """Exit 1 below it, 0 at or above; of one criterion where that is asked for. The file's margin is 0.25 by hand."""
    margin = 0.7 * PLATEAU / 1500 - 1
    assert margin == pytest.approx(0.253, abs=1e-3)
    assert run(["strength", sill(), "--quick", "--require-margin", "0.25"]) == 0
    capsys.readouterr()
    assert run(["strength", sill(), "--quick", "--require-margin", "0.26"]) == 1
    assert "the least margin, +0.253, is below the 0.26 required." in capsys.readouterr().err
    assert run(["strength", sill(), "--quick", "--require-margin", "0.26", "--criterion", "adherend-net-yield"]) == 0
    capsys.readouterr()
    # A negative margin is a result, not an error.
    assert run(["strength", sill(), "--quick", "--set", "load.force=9 kN"]) == 0
    assert "It does not hold" in capsys.readouterr().out


def test_a_bond_without_figures_meets_no_required_margin(sill, tmp_path, capsys):
    """The adherends' margins are large; the bond's is not known, and that is not enough."""
    text = SILL.replace('material = "toughened epoxy"', 'elastic_modulus = "2 GPa"\npoisson_ratio = 0.35')
    path = tmp_path / "bare.toml"
    path.write_text(text, encoding="utf-8")
    assert run(["strength", str(path), "--quick"]) == 0
    assert "Whether it holds is not known" in capsys.readouterr().out
    assert run(["strength", str(path), "--quick", "--require-margin", "-0.9"]) == 1
    assert "no margin of the bond is known" in capsys.readouterr().err


def test_other_units(sill, capsys):
    """The plateau in pounds: 2685 N are 603.6 lbf (exact: 4.4482216 N)."""
    assert run(["strength", sill(), "--quick", "--units", "inch", "--criterion", "plateau"]) == 0
    load = float(capsys.readouterr().out.partition(": ")[2].split()[0])
    assert load == pytest.approx(0.7 * PLATEAU / 4.4482216, rel=1e-3)


def test_a_band_beside_the_prediction(sill, tmp_path, capsys, monkeypatch):
    """Words and numbers of the scatter of the inputs, and what they do not cover; solved in this process, for speed."""
    monkeypatch.setattr("fejoint.study.sweep.local_pool", lambda workers: Here())
    out = tmp_path / "run"
    assert run(["strength", sill(SCATTER), "--quick", "--samples", "8", "--out", str(out)]) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert "Band by the scatter of adhesive.shear_strength 8 % (user's): of 8 joints" in text
    assert "model error not included" in text
    band = read_strength(out)["band"]
    # Median of 8 of the strength's 8 %: the two middle joints lie in the middle fourth of the probability, 0.32 deviations.
    assert band["factors"]["50 %"] == pytest.approx(0.7 * PLATEAU / 1500, rel=0.32 * 0.08)


def test_load_against_the_disbonds_length(sill, tmp_path, capsys):
    """A table and a figure; the longer the disbond, the smaller the load (beams: the arms' energy grows)."""
    out = tmp_path / "run"
    assert run(["strength", sill(DISBOND), "--quick", "--disbond-lengths", "3", "--out", str(out)]) == 0
    with (out / "disbond.csv").open(newline="") as opened:
        rows = list(csv.DictReader(opened))
    assert len(rows) == 3
    assert float(rows[-1]["length_mm"]) == pytest.approx(6 - 0.4)
    assert float(rows[-1]["force_N"]) < float(rows[0]["force_N"])
    assert (out / "disbond.png").read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("options", "more", "sentence"),
    [
        (["--samples", "1"], "", "--samples 1: must be 0, or from 2 to 4096."),
        (["--samples", "5000"], "", "--samples 5000: must be 0, or from 2 to 4096."),
        (["--samples", "8"], "", "--samples needs [[strength.scatter]]"),
        (["--disbond-lengths", "3"], "", "--disbond-lengths needs strength.disbond"),
        (["--disbond-lengths", "-1"], DISBOND, "--disbond-lengths -1: must be 0, or from 2 to 200."),
        (["--criterion", "glue"], "", "criterion glue: no such criterion; known: shear-peak"),
        (["--criterion", "cohesive-zone"], "", "--quick leaves it out"),
        (["--require-margin", "nan"], "", "--require-margin nan: must be a finite number"),
        (["--units", "furlong"], "", "--units furlong: must be one of"),
        (["--set", "load.force=0"], "", "load.force = 0 N: strength is a share of the loads"),
        (["--set", "strength.point_distance=7 mm"], "", 'strength.point_distance = "7 mm": must be at most'),
        (["--set", "strength.knockdown.0.factor=1.2"], "", "strength.knockdown"),
        (["--set", "strength.disbond.length=9 mm"], DISBOND, "strength.disbond.length = 9 mm: must be from"),
        (["--samples", "8"], SCATTER.replace("shear_strength", "colour"), "the joint has no number there"),
    ],
)
def test_bad_options_write_nothing(sill, tmp_path, capsys, options, more, sentence):
    assert sentence in refused(capsys, tmp_path, sill(more), "--quick", *options)


def test_disbond_lengths_need_a_folder(sill, capsys):
    assert run(["strength", sill(DISBOND), "--disbond-lengths", "3"]) == 2
    assert "give a folder, --out DIR" in capsys.readouterr().err
