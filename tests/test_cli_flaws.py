"""`fejoint flaws`, and `--flaws` of the commands that solve, as their user meets them: prints, files, exit codes, refusals."""

from __future__ import annotations

import csv
import json

import pytest

from fejoint.cli import run
from fejoint.joint.file import load
from fejoint.show.strength_files import read_strength
from tests.test_cli_strength import PLATEAU, SILL

SCAN = """start_mm;length_mm;kind;place;width_mm;found_by
0,5;0,8;void;;6;ultrasonic scan
1,2;0,6;unwetted;lower;;ultrasonic scan
"""  # together 1.3 mm of a void, which leaves 4.7 of 6 mm
LEFT = PLATEAU * 4.7 / 6


@pytest.fixture
def files(tmp_path):
    """Return the paths of a joint file and of an inspection's."""
    joint, scan = tmp_path / "sill.toml", tmp_path / "scan.csv"
    joint.write_text(SILL, encoding="utf-8")
    scan.write_text(SCAN, encoding="utf-8")
    return str(joint), str(scan)


def printed(capsys):
    return " ".join(capsys.readouterr().out.split())


def test_what_flaws_leave_and_how_large_one_may_stay(files, tmp_path, capsys):
    """By hand: 17.9 MPa x 25 x 4.7 mm x 0.7 with them; 1.2 times 1.5 kN needs 1800/(0.7 x 17.9 x 25) of 6 mm."""
    joint, scan = files
    out = tmp_path / "run"
    code = run(
        [
            "flaws",
            joint,
            "--flaws",
            scan,
            "--kind",
            "void",
            "--lengths",
            "2",
            "--places",
            "1",
            "--require-margin",
            "0.2",
            "--out",
            str(out),
        ]
    )
    assert code == 1  # the given flaws leave less than is required
    text = capsys.readouterr()
    assert f"the flaws leave a margin of {0.7 * LEFT / 1500 - 1:+.3g}, below the 0.2 required." in text.err
    text = " ".join(text.out.split())
    for words in (
        "Flaws as given",
        "counted as one void from 0.5 to 1.8 mm",
        "counts across the whole width",
        f"Without flaws it bears {0.7 * PLATEAU:.0f} N",
        f"With them it bears {0.7 * LEFT:.0f} N (margin {0.7 * LEFT / 1500 - 1:+.2f}), 22 % less",
        "what is left of the bond gives way as a whole before a flaw grows",
        "left tip of the void from 0.5 to 1.8 mm",
        "to be borne 1800 N (1.2 times the load)",
        "Knockdowns are counted in: hot and wet 0.7",
        "decided by the codes that apply and by the responsible engineer",
        "finds no weak (kissing) bond",
        "Input from memory",
    ):
        assert words in text, words
    assert {p.name for p in out.iterdir()} == {"flaws.json", "flaw-capacity.csv", "flaw-capacity.png", "joint.toml"}
    data = json.loads((out / "flaws.json").read_text(encoding="utf-8"))
    (one,) = data["capacity"]
    assert one["places"][0]["allowed_mm"] == pytest.approx(6 - 1800 / (0.7 * 17.9 * 25), abs=0.006)
    assert data["with"]["force_N"] == pytest.approx(0.7 * LEFT) and data["inspection"]["rows"][0]["width_mm"] == 6
    with (out / "flaw-capacity.csv").open(newline="") as opened:
        rows = list(csv.DictReader(opened))
    assert len(rows) == len(one["places"][0]["points"]) and float(rows[0]["force_N"]) == pytest.approx(0.7 * PLATEAU)
    assert (out / "flaw-capacity.png").read_bytes().startswith(b"\x89PNG")
    assert [flaw.kind for flaw in load(out / "joint.toml").flaws] == ["void", "unwetted"]


def test_json_alone_and_flaws_of_the_joint_file(files, tmp_path, capsys):
    """No curves, no table: what is printed parses."""
    joint, _ = files
    with open(joint, "a", encoding="utf-8") as file:
        file.write('[[flaw]]\nkind = "disbond"\nstart = "0 mm"\nlength = "1 mm"\n')
    assert run(["flaws", joint, "--lengths", "0", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert (
        data["capacity"] == []
        and len(data["flaws"]["tips"]) == 1
        and data["with"]["force_N"] == pytest.approx(0.7 * PLATEAU * 5 / 6)
    )


def test_strength_and_solve_take_an_inspection(files, tmp_path, capsys):
    """The prediction, the run and the joint's text all have the flaws; the folder repeats itself without the table."""
    joint, scan = files
    out = tmp_path / "run"
    assert run(["strength", joint, "--flaws", scan, "--quick", "--out", str(out)]) == 0
    text = capsys.readouterr()
    assert "counts across the whole width" in text.err and "growth of a flaw" in text.out
    data = read_strength(out, load(out / "joint.toml"))
    assert data["flaws"]["bonded_mm"] == pytest.approx(4.7) and data["governing"]["force_N"] == pytest.approx(0.7 * LEFT)
    assert len(json.loads((out / "summary.json").read_text())["joint"]["flaw"]) == 2
    if run(["report", str(out)]) == 0:  # where its extra is there
        page = (out / "report.html").read_text(encoding="utf-8")
        assert "left tip of the void from 0.5 to 1.8 mm" in page and "no weak (kissing) bond" in page
    capsys.readouterr()
    assert run(["solve", joint, "--flaws", scan, "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["joint"]["flaw"]) == 2


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (["--kind", "hole"], "--kind hole: must be one of disbond, void, unwetted."),
        (["--place", "top"], "--place top: must be middle, lower or upper."),
        (["--kind", "void", "--place", "lower"], "--place only goes with a disbond or an unwetted patch"),
        (["--kind", "unwetted", "--place", "middle"], 'place = "middle": an unwetted patch lies at an interface'),
        (["--lengths", "1"], "--lengths 1: must be 0, or from 2 to 50."),
        (["--places", "0"], "places 0: must be from 1 to 11."),
        (["--bondline", "3"], "bondline 3: the joint has only bondline 1."),
        (["--require-margin", "nan"], "--require-margin nan: must be a finite number"),
        (["--units", "furlong"], "--units furlong: must be one of"),
        (["--set", "load.force=0"], "load.force = 0 N: strength is a share of the loads"),
        (["--set", "flaw=[{kind='void', start='7 mm', length='1 mm'}]"], "flaw item 1.start"),
        (["--flaws", "none.csv"], "none.csv: cannot be read"),
    ],
)
def test_bad_options_write_nothing(files, tmp_path, capsys, options, sentence):
    out = tmp_path / "refused"
    assert run(["flaws", files[0], *options, "--out", str(out)]) == 2
    text = capsys.readouterr()
    assert sentence in text.err and text.out == "" and text.err.count("\n") == 1
    assert not out.exists()


def test_bad_rows_are_named_by_file_line_and_column(files, tmp_path, capsys):
    scan = tmp_path / "bad.csv"
    scan.write_text("start_mm,length_mm,kind\n9,1,void\nx,1,void\n", encoding="utf-8")
    for command in ("flaws", "strength", "solve"):
        assert run([command, files[0], "--flaws", str(scan)]) == 2
        assert 'bad.csv: line 3, column start_mm: "x" must be a number alone' in capsys.readouterr().err
    scan.write_text("start_mm,length_mm,kind\n9,1,void\n", encoding="utf-8")
    assert run(["flaws", files[0], "--flaws", str(scan)]) == 2
    assert "bad.csv: line 2: start = " in capsys.readouterr().err
