"""`fejoint benchmark` as its user meets it: exit codes, sentences, files whole or not at all."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time

import pytest

from fejoint.cli import run
from fejoint.joint.file import template
from fejoint.proof.case import shipped_cases
from fejoint.show.proof import NO_TESTS

LAP = template("single-lap")
CASE = (
    LAP
    + """
[case]
title = "own"
source = "from memory: somebody"

[[expect]]
of = "Volkersen"
quantity = "load_share"
value = {value}
tolerance = 1e-6
reason = "statics"
"""
)


# A sheet that breaks through: its load is sigma_u b t by hand, 483 MPa x 25 mm x 1.6 mm; none was measured.
TEST = (
    LAP
    + """
[measured]
loads = ["19320 N", "19220 N", "19420 N"]
source = "made up"
pattern = "stock-break"
"""
)


@pytest.fixture
def folder(tmp_path):
    """Return a folder with a case that is met."""
    cases = tmp_path / "cases"
    cases.mkdir()
    (cases / "good.toml").write_text(CASE.replace("{value}", "1"))
    return cases


def test_all_met_is_exit_code_0_and_a_table(folder, capsys):
    assert run(["benchmark", str(folder)]) == 0
    printed = capsys.readouterr().out
    for text in ("good", "from memory: somebody", "load_share, of Volkersen", "met", "1 met, 0 missed, 0 bad"):
        assert text in printed


def test_a_miss_is_exit_code_1(folder, capsys):
    (folder / "off.toml").write_text(CASE.replace("{value}", "1.1"))
    assert run(["benchmark", str(folder)]) == 1
    printed = capsys.readouterr().out
    assert "MISSED" in printed
    assert "-9.1 %" in printed  # 1 of 1.1
    assert "1 met, 1 missed, 0 bad" in printed


def test_one_bad_among_good_is_exit_code_2_and_the_good_are_run(folder, capsys):
    (folder / "bad.toml").write_text(CASE.replace("{value}", '"1 kg"'))
    (folder / "off.toml").write_text(CASE.replace("{value}", "1.1"))
    assert run(["benchmark", str(folder)]) == 2
    captured = capsys.readouterr()
    printed = " ".join(captured.out.split())
    assert 'bad.toml: expect item 1.value = "1 kg": must be a number without unit' in printed
    assert "1 met, 1 missed, 1 bad" in printed
    assert captured.err == ""


def test_a_test_beside_a_case_goes_its_own_way(folder, tmp_path, capsys):
    (folder / "pulled.toml").write_text(TEST)
    out = tmp_path / "out"
    assert run(["benchmark", str(folder), "--quick", "--out", str(out)]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    for text in (
        "1 met, 0 missed, 0 bad",
        "measured: mean 19320 N, standard deviation 100 N (0.5 %), 3 coupons; seen: stock-break",
        "adherend breaks 19320 N 1.00",
        "within the scatter",
        "needs adhesive.shear_strength",
        "Tests: 1, of 3 coupons.",
        "report.json, report.png, measured.png",
    ):
        assert text in printed
    assert sorted(path.name for path in out.iterdir()) == ["measured.png", "report.json", "report.png"]
    found = json.loads((out / "report.json").read_text())
    assert (found["verdict"], found["met"], len(found["cases"]), len(found["tests"])) == ("met", 1, 1, 1)
    rupture = next(one for one in found["criteria"] if one["criterion"] == "adherend-rupture")
    assert (rupture["tests"], rupture["worst"]["test"]) == (1, "pulled")
    assert rupture["bias"] == pytest.approx(0, abs=1e-6)


def test_tests_alone_make_no_report_of_cases(tmp_path, capsys):
    (tmp_path / "pulled.toml").write_text(TEST)
    out = tmp_path / "out"
    assert run(["benchmark", str(tmp_path / "pulled.toml"), "--quick", "--out", str(out), "--json"]) == 0
    assert sorted(path.name for path in out.iterdir()) == ["measured.png", "report.json"]
    printed = json.loads(capsys.readouterr().out)
    assert printed == json.loads((out / "report.json").read_text())


def test_the_cohesive_zone_is_asked_unless_it_is_to_be_quick(tmp_path, monkeypatch, capsys):
    (tmp_path / "pulled.toml").write_text(TEST)
    asked = []
    monkeypatch.setattr("fejoint.proof.coupons.run_coupons", lambda tests, routes, progress: asked.append(routes) or NO_TESTS)
    for option in ([], ["--quick"]):
        assert run(["benchmark", str(tmp_path / "pulled.toml"), *option]) == 0
    assert [("cohesive" in routes) for routes in asked] == [True, False]
    capsys.readouterr()


@pytest.mark.slow
def test_the_cohesive_zone_stands_in_the_report(tmp_path, capsys):
    """All routes at once, written as JSON; the load of the zone lies within that of limit analysis, shear strength times area."""
    text = TEST.replace('elastic_modulus = "2 GPa"', 'material = "toughened epoxy"').replace('pattern = "stock-break"', "")
    (tmp_path / "pulled.toml").write_text(text)
    assert run(["benchmark", str(tmp_path / "pulled.toml"), "--json"]) == 0
    found = {one["criterion"]: one for one in json.loads(capsys.readouterr().out)["tests"][0]["predictions"]}
    assert 0 < found["cohesive-zone"]["predicted_N"] < found["plateau"]["predicted_N"]
    assert found["joint"]["by"] == "cohesive-zone"
    assert found["plateau"]["predicted_N"] == pytest.approx(17.9 * 12.5 * 25, rel=1e-12)  # of the library


def test_a_bad_test_is_exit_code_2_and_the_others_are_predicted(folder, capsys):
    (folder / "pulled.toml").write_text(TEST)
    (folder / "bad.toml").write_text(TEST.replace('"19220 N"', '"19220 kg"'))
    assert run(["benchmark", str(folder), "--quick"]) == 2
    captured = capsys.readouterr()
    printed = " ".join(captured.out.split())
    assert 'bad.toml: measured.loads item 2 = "19220 kg": must be a force' in printed
    assert "Tests: 2, of 3 coupons, 1 refused." in printed
    assert captured.err == ""


def test_no_argument_runs_the_shipped_cases(monkeypatch, capsys):
    few = [file for file in shipped_cases() if file.name.startswith("volkersen")]
    monkeypatch.setattr("fejoint.proof.case.shipped_cases", lambda: few)
    assert run(["benchmark"]) == 0
    assert "volkersen-cooled" in capsys.readouterr().out


def test_out_writes_report_and_figure_and_json_goes_to_stdout_alone(folder, tmp_path, capsys):
    (folder / "bad.toml").write_text("[case]\n")
    out = tmp_path / "out"
    assert run(["benchmark", str(folder), "--out", str(out), "--json"]) == 2
    printed = json.loads(capsys.readouterr().out)
    assert sorted(path.name for path in out.iterdir()) == ["report.json", "report.png"]
    assert json.loads((out / "report.json").read_text()) == printed
    assert (out / "report.png").read_bytes().startswith(b"\x89PNG")
    assert (printed["verdict"], printed["met"], printed["missed"], printed["bad"]) == ("bad", 1, 0, 1)
    good = next(case for case in printed["cases"] if case["name"] == "good")
    assert good["source"] == "from memory: somebody"
    row = good["rows"][0]
    assert row["verdict"] == "met"
    assert row["expected"] == 1
    assert row["got"] == pytest.approx(1, abs=1e-6)
    assert row["allowed"] == pytest.approx(1e-6)
    assert row["unit"] == ""


def test_a_folder_that_cannot_be_written(folder, tmp_path, capsys):
    blocked = tmp_path / "file"
    blocked.write_text("x")
    assert run(["benchmark", str(folder), "--out", str(blocked / "out")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_without_matplotlib_out_is_refused_before_anything_runs(folder, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("fejoint.environment.importlib.util.find_spec", lambda name: None)
    monkeypatch.setattr("fejoint.proof.runner.run_cases", lambda *_: pytest.fail("ran"))
    assert run(["benchmark", str(folder), "--out", str(tmp_path / "out")]) == 2
    assert "fejoint[plot]" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_quantities_are_listed(capsys):
    assert run(["benchmark", "--quantities"]) == 0
    printed = capsys.readouterr().out
    for name in ("peak_shear", "edge_moment_factor", "load_share", "width_strain"):
        assert name in printed


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["gone"], "no such file or folder"),
        (["{tmp}/empty"], "holds no case files"),
        (["--force"], "--force only goes with --freeze"),
        (["--quick", "{tmp}/cases"], "--quick only goes with tests"),
        (["--freeze", "{tmp}/out"], "--freeze needs a joint file"),
        (["--freeze", "{tmp}/out", "gone.toml"], "cannot be read"),
        (["--freeze", "{tmp}/out", "{tmp}/cases/good.toml"], "unknown key"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(arguments, says, folder, tmp_path, capsys):
    (tmp_path / "empty").mkdir()
    assert run(["benchmark", *(a.replace("{tmp}", str(tmp_path)) for a in arguments)]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert says in captured.err
    assert not (tmp_path / "out").exists()


def test_freeze_then_run_then_change(tmp_path, capsys):
    """A frozen case is met as it stands, and missed with 5 % less of the adhesive's modulus."""
    joint, out = tmp_path / "sill.toml", tmp_path / "frozen"
    joint.write_text(LAP)
    assert run(["benchmark", "--freeze", str(out), str(joint)]) == 0
    assert "sill.toml" in capsys.readouterr().out
    frozen = out / "sill.toml"
    text = frozen.read_text()
    assert text.startswith(LAP.rstrip())
    assert run(["benchmark", str(frozen)]) == 0
    assert run(["benchmark", "--freeze", str(out), str(joint)]) == 2
    assert "--force" in capsys.readouterr().err
    assert frozen.read_text() == text
    assert 'elastic_modulus = "2 GPa"' in text
    frozen.write_text(text.replace('elastic_modulus = "2 GPa"', 'elastic_modulus = "1.9 GPa"'))
    assert run(["benchmark", str(frozen)]) == 1
    assert run(["benchmark", "--freeze", str(out), "--force", str(joint)]) == 0
    assert run(["benchmark", str(frozen)]) == 0
    capsys.readouterr()


def test_freeze_refuses_missed_self_checks_and_two_of_one_name(tmp_path, capsys, monkeypatch):
    joint, other = tmp_path / "sill.toml", tmp_path / "other" / "sill.toml"
    other.parent.mkdir()
    for path in (joint, other):
        path.write_text(LAP.replace("[analysis]", "[analysis]\nerror_target = 1e-4", 1))
    assert run(["benchmark", "--freeze", str(tmp_path / "out"), str(joint), str(other)]) == 2
    assert "same name" in capsys.readouterr().err
    monkeypatch.setattr("fejoint.mechanics.driver.MAX_UNKNOWNS", 1)
    assert run(["benchmark", "--freeze", str(tmp_path / "out"), str(joint)]) == 2
    assert "nothing to freeze" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_ctrl_c_exits_130_and_leaves_nothing(tmp_path):
    cases = tmp_path / "cases"
    cases.mkdir()
    slow = CASE.replace("{value}", "1").replace('of = "Volkersen"', "").replace("[analysis]", "[analysis]\nmesh_density = 4", 1)
    for name in "abcdefghij":  # more than three seconds of work on any machine
        (cases / f"{name}.toml").write_text(slow)
    out = tmp_path / "out"
    arguments = [sys.executable, "-m", "fejoint", "benchmark", str(cases), "--out", str(out)]
    process = subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(3.0)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in err
    assert not out.exists()
