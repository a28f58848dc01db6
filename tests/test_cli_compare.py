"""The command compare: table, files, exit codes."""

import json
import sys

import pytest

from fejoint.cli import run
from fejoint.errors import ConvergenceError
from fejoint.joint.file import template


@pytest.fixture
def joint_file(tmp_path):
    path = tmp_path / "joint.toml"
    path.write_text(template("single-lap"), encoding="utf-8")
    return path


@pytest.fixture
def rough(tmp_path):
    """Return the function that writes a family's joint file, solved on coarse meshes, which suffice for what is shown."""

    def write(kind):
        path = tmp_path / f"{kind}.toml"
        path.write_text(template(kind), encoding="utf-8")
        return [str(path), "--set", "analysis.mesh_density=0.75", "--set", "analysis.error_target=0.5"]

    return write


def strict(text):
    """Read JSON as the standard has it, without NaN and Infinity."""

    def refuse(name):
        raise ValueError(name)

    return json.loads(text, parse_constant=refuse)


def test_table_and_files(joint_file, tmp_path, capsys):
    out = tmp_path / "out"
    assert run(["compare", str(joint_file), "--out", str(out)]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    for text in ("Finite elements", "FE / theory", "Two beams and a layer", "Why they differ.", "Which to trust."):
        assert text in printed
    assert sorted(path.name for path in out.iterdir()) == ["comparison.json", "comparison.png"]
    assert (out / "comparison.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    found = strict((out / "comparison.json").read_text(encoding="utf-8"))
    keys = "schema_version title passed finite_elements off_beyond theories refused validity why trust warnings versions joint"
    assert set(found) == set(keys.split())
    for name, theory in found["theories"].items():
        for stress in ("shear", "peel"):
            if theory[stress] is not None:
                ratio = found["finite_elements"][stress]["peak_MPa"] / theory[stress]["peak_MPa"]
                assert theory[stress]["fe_over_theory"] == pytest.approx(ratio, rel=1e-9), name
    assert found["theories"]["Volkersen"]["peel"] is None
    assert found["trust"]["shear"] in found["theories"]
    assert found["refused"] == {}


def test_json_goes_to_stdout_alone_with_changes(joint_file, capsys):
    changes = ["--set", "load.temperature_change=-40 K", "--set", "adhesive.expansion=60e-6 1/K"]
    assert run(["compare", str(joint_file), "--json", *changes]) == 0
    found = strict(capsys.readouterr().out)
    assert found["joint"]["load"]["temperature_change"] == -40
    assert "temperature" in found["refused"]["de Bruyne"]
    assert "de Bruyne" not in found["theories"]


def test_what_a_theory_refuses_is_said_once(rough, capsys):
    assert run(["compare", *rough("single-lap"), "--set", "joint.upper.thickness=3 mm"]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert printed.count("Left out, Goland-Reissner, its own edge moment; Goland-Reissner, edge moment of FE:") == 1


@pytest.mark.parametrize("kind", ["double-lap", "stepped-lap"])
def test_other_families(kind, rough, tmp_path, capsys):
    assert run(["compare", *rough(kind), "--out", str(tmp_path / "out")]) == 0
    assert "no theory here gives the peel" in " ".join(capsys.readouterr().out.split()).lower()
    assert (tmp_path / "out" / "comparison.png").stat().st_size > 0


def test_a_joint_that_no_theory_covers(rough, tmp_path, capsys):
    lifted = [*rough("double-lap"), "--set", "load.shear_force=20 N"]
    assert run(["compare", *lifted, "--out", str(tmp_path / "out")]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert "Finite elements alone" in printed and "FE / theory" not in printed and "Off at x" not in printed
    assert printed.count("take finite elements") == 1
    assert (tmp_path / "out" / "comparison.png").stat().st_size > 0


def test_a_joint_without_load(rough, tmp_path, capsys):
    assert run(["compare", *rough("single-lap"), "--set", "load.force=0", "--out", str(tmp_path / "out")]) == 0
    found = strict((tmp_path / "out" / "comparison.json").read_text(encoding="utf-8"))
    assert all(theory["shear"]["fe_over_theory"] is None for theory in found["theories"].values())
    capsys.readouterr()


def test_units_only_change_what_is_shown(rough, capsys):
    assert run(["compare", *rough("single-lap"), "--units", "inch"]) == 0
    printed = capsys.readouterr().out
    table = printed.split("Why they differ")[0].split("Theories")[1]
    assert "psi" in table and "at which x (in)" in table and "MPa" not in table


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["compare", "nothing.toml"], "cannot be read"),
        (["compare", "{file}", "--set", "joint.widht=2"], "did you mean width"),
        (["compare", "{file}", "--units", "furlong"], "mm, SI, inch"),
        (["compare", "{file}", "--materials", "nothing.toml"], "cannot be read"),
        (["compare"], "Missing argument"),
    ],
)
def test_bad_input_is_one_sentence_and_exit_code_2(arguments, says, joint_file, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.iterdir())
    assert run([a.replace("{file}", str(joint_file)) for a in arguments]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert says in captured.err
    assert sorted(tmp_path.iterdir()) == before


def test_a_folder_that_cannot_be_written(rough, tmp_path, capsys):
    blocked = tmp_path / "file"
    blocked.write_text("x")
    assert run(["compare", *rough("single-lap"), "--out", str(blocked / "out")]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "cannot be written" in captured.err


def test_a_missed_check_keeps_the_files_marks_them_and_exits_1(joint_file, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("fejoint.mechanics.driver.MAX_UNKNOWNS", 1)
    out = tmp_path / "out"
    assert run(["compare", str(joint_file), "--out", str(out), "--set", "analysis.error_target=0.0001"]) == 1
    assert "self-check missed" in " ".join(capsys.readouterr().out.split())
    assert strict((out / "comparison.json").read_text(encoding="utf-8"))["passed"] is False


def test_no_convergence_exits_3(joint_file, capsys, monkeypatch):
    def fails(*_):
        raise ConvergenceError("the stiffness matrix cannot be factored.")

    monkeypatch.setattr("fejoint.mechanics.linear.factorise", fails)
    assert run(["compare", str(joint_file)]) == 3
    assert "cannot be factored" in capsys.readouterr().err


def test_without_matplotlib_the_figures_file_is_left_out(rough, tmp_path, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    out = tmp_path / "out"
    assert run(["compare", *rough("single-lap"), "--out", str(out)]) == 0
    assert [path.name for path in out.iterdir()] == ["comparison.json"]
    assert "comparison.png left out" in capsys.readouterr().err
