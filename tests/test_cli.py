"""The command line as its user meets it: exit codes, one sentence, files whole or not at all."""

import errno
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import meshio
import numpy as np
import pytest

from fejoint.cli import run
from fejoint.errors import ConvergenceError
from fejoint.joint.file import load, template


@pytest.fixture
def joint_file(tmp_path):
    path = tmp_path / "joint.toml"
    path.write_text(template("single-lap"), encoding="utf-8")
    return path


def test_solve_writes_the_files_of_a_run(joint_file, tmp_path, capsys):
    out = tmp_path / "run"
    assert run(["solve", str(joint_file), "--out", str(out)]) == 0
    printed = capsys.readouterr().out
    assert "Finite elements" in printed
    assert "MPa" in printed
    assert sorted(p.name for p in out.iterdir()) == ["adherends.csv", "bondline.csv", "joint.toml", "section.vtu", "summary.json"]

    rows = (out / "bondline.csv").read_text().splitlines()
    assert rows[0] == (
        "bondline,level,x_mm,shear_MPa,peel_MPa,axial_MPa,measure,transferred_N,"
        "shear_strain,plastic_strain,cauchy_shear_MPa,cauchy_peel_MPa,cauchy_axial_MPa"
    )
    table = [row.split(",") for row in rows[1:]]
    assert {row[1] for row in table} == {"middle", "lower", "upper"}
    middle = np.array([[float(v) for v in row[2:5]] for row in table if row[1] == "middle"])
    assert middle[0, 0] == 0
    assert middle[-1, 0] == 12.5
    lower = [float(row[2]) for row in table if row[1] == "lower"]
    assert lower[0] == pytest.approx(0.1)  # half the bondline thickness off the corner
    # The curve in the file, quadratic between every other point, carries the load: 100 N/mm within the
    # 0.1 % that the run's own check allows.
    x, shear = middle[:, 0], middle[:, 1]
    carried = (np.diff(x[::2]) * (shear[:-1:2] + 4 * shear[1::2] + shear[2::2]) / 6).sum()
    assert carried == pytest.approx(100, rel=1e-3)

    summary = json.loads((out / "summary.json").read_text())
    for key in (
        "schema_version peak_shear_MPa peak_peel_MPa least_peel_MPa mean_shear_MPa applied_N reaction_N checks "
        "discretisation_error edge_moment_factor "
        "adherend_peak_MPa stress_measure out_of_plane dofs seconds warnings versions joint"
    ).split():
        assert key in summary
    assert summary["mean_shear_MPa"] == pytest.approx(8.0)  # 2500 N / (25 mm * 12.5 mm)
    assert summary["reaction_N"] == pytest.approx(2500, rel=1e-6)
    assert summary["peak_shear_MPa"]["value"] == pytest.approx(middle[:, 1].max(), rel=5e-3)
    assert all(check["passed"] for check in summary["checks"])
    assert summary["joint"]["joint"]["overlap_length"] == 12.5

    mesh = meshio.read(out / "section.vtu")
    assert set(mesh.point_data) >= {"displacement", "stress_xx_MPa", "stress_xy_MPa", "von_mises_MPa"}
    assert mesh.cells[0].type == "quad9"
    assert len(mesh.cell_data["region"][0]) == len(mesh.cells[0].data)
    assert (out / "joint.toml").read_text() == joint_file.read_text()
    assert load(out / "joint.toml") == load(joint_file)


def test_a_run_repeats_itself_from_its_folder_with_changes_kept(joint_file, tmp_path, capsys):
    first, second = tmp_path / "a", tmp_path / "b"
    changes = ["--set", "joint.overlap_length=20 mm", "--set", "joint.lower.thickness=2"]
    assert run(["solve", str(joint_file), "--out", str(first), *changes]) == 0
    assert run(["solve", str(first / "joint.toml"), "--out", str(second)]) == 0
    assert (first / "bondline.csv").read_bytes() == (second / "bondline.csv").read_bytes()
    capsys.readouterr()


def test_json_goes_to_stdout_alone(joint_file, capsys):
    assert run(["solve", str(joint_file), "--json", "--set", "load.force=0"]) == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary["edge_moment_factor"] is None
    assert summary["peak_shear_MPa"]["value"] == 0


def test_units_only_change_what_is_shown(joint_file, capsys):
    assert run(["solve", str(joint_file), "--units", "inch"]) == 0
    assert "psi" in capsys.readouterr().out
    assert run(["solve", str(joint_file), "--units", "furlong"]) == 2
    assert "mm, SI, inch" in capsys.readouterr().err


def test_check_new_materials_schema_version(joint_file, capsys):
    assert run(["check", str(joint_file)]) == 0
    assert run(["new", "single-lap"]) == 0
    assert 'kind = "single-lap"' in capsys.readouterr().out
    assert run(["new", "butt"]) == 2
    capsys.readouterr()
    assert run(["materials"]) == 0
    text = capsys.readouterr().out
    for name in ("2024-T3", "7075-T6", "6082-T6", "A36", "Ti-6Al-4V", "T300/5208", "polyurethane", "from memory", "typical"):
        assert name in text
    assert run(["schema"]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == "fejoint joint file"
    assert run(["--version"]) == 0


def test_materials_of_the_users_own(joint_file, tmp_path, capsys):
    own = tmp_path / "own.toml"
    own.write_text('[adherend."sheet A"]\nelastic_modulus = { value = "69 GPa", source = "mill" }\npoisson_ratio = 0.33\n')
    out = tmp_path / "run"
    arguments = ["solve", str(joint_file), "--materials", str(own), "--set", "joint.lower.material=sheet A", "--out", str(out)]
    assert run(arguments) == 0
    assert run(["check", str(out / "joint.toml")]) == 0
    capsys.readouterr()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["solve", "nothing.toml"], "cannot be read"),
        (["solve", "{file}", "--set", "joint.width=2 kg"], "must be a length"),
        (["solve", "{file}", "--set", "joint.widht=2"], "did you mean width"),
        (["solve", "{file}", "--materials", "nothing.toml"], "cannot be read"),
        (["solve"], "Missing argument"),
        (["sole", "{file}"], "No such command"),
        (["solve", "{file}", "--ouf", "x"], "No such option"),
        (["demo", "bridge"], "no such demo"),
        (["view", "nowhere"], "nowhere"),
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


def test_a_folder_that_cannot_be_written(joint_file, tmp_path, capsys):
    blocked = tmp_path / "file"
    blocked.write_text("x")
    assert run(["solve", str(joint_file), "--out", str(blocked / "run")]) == 2
    assert "cannot be written" in capsys.readouterr().err


@pytest.mark.parametrize("there_before", [False, True])
def test_a_full_disk_leaves_nothing_behind(joint_file, tmp_path, capsys, monkeypatch, there_before):
    out = tmp_path / "run"
    if there_before:
        out.mkdir()
        (out / "bondline.csv").write_text("old")

    def full(path, text):
        Path(path).write_text(text[:10])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("fejoint.show.files.write_text", full)
    assert run(["solve", str(joint_file), "--out", str(out)]) == 2
    assert "no space left" in capsys.readouterr().err
    if there_before:
        assert [p.name for p in out.iterdir()] == ["bondline.csv"]
        assert (out / "bondline.csv").read_text() == "old"
    else:
        assert not out.exists()


def test_a_missed_check_keeps_the_files_marks_them_and_exits_1(joint_file, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("fejoint.mechanics.driver.MAX_UNKNOWNS", 1)
    out = tmp_path / "run"
    assert run(["solve", str(joint_file), "--out", str(out), "--set", "analysis.error_target=0.0001"]) == 1
    assert "MISSED" in capsys.readouterr().out
    summary = json.loads((out / "summary.json").read_text())
    assert summary["passed"] is False
    assert any("self-check missed" in text for text in summary["warnings"])


def test_no_convergence_exits_3(joint_file, capsys, monkeypatch):
    def fails(*_):
        raise ConvergenceError("the stiffness matrix cannot be factored.")

    monkeypatch.setattr("fejoint.mechanics.linear.factorise", fails)
    assert run(["solve", str(joint_file)]) == 3
    assert "cannot be factored" in capsys.readouterr().err


def test_ctrl_c_exits_130_and_leaves_nothing(joint_file, tmp_path):
    out = tmp_path / "run"
    arguments = [sys.executable, "-m", "fejoint", "solve", str(joint_file), "--out", str(out), "--set", "analysis.mesh_density=4"]
    process = subprocess.Popen(arguments, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    # While modules load Python itself may swallow the signal, so at work: gmsh is there, and the mesh takes longer than this.
    while process.poll() is None and "libgmsh" not in Path(f"/proc/{process.pid}/maps").read_text():
        time.sleep(0.1)
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 130
    assert "Traceback" not in err
    assert not out.exists()


def test_missing_system_library_is_one_sentence(joint_file, tmp_path):
    """A gmsh that cannot load its libraries raises OSError on import; here a stand-in does."""
    (tmp_path / "gmsh.py").write_text("raise OSError('libGLU.so.1: cannot open shared object file')\n")
    environment = {**os.environ, "PYTHONPATH": str(tmp_path)}
    arguments = [sys.executable, "-m", "fejoint", "solve", str(joint_file)]
    done = subprocess.run(arguments, capture_output=True, text=True, env=environment, check=False)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "libGLU.so.1" in done.stderr
    assert "apt-get install" in done.stderr


def test_the_demo_ends_in_tables_and_pictures(tmp_path, capsys):
    out = tmp_path / "demo"
    assert run(["demo", "--out", str(out)]) == 0
    for name in (
        "bondline.csv",
        "summary.json",
        "section.vtu",
        "joint.toml",
        "bondline.png",
        "section.png",
        "mesh.png",
        "view.png",
    ):
        assert (out / name).stat().st_size > 0
    assert "door sill" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["floor-strap", "roof-winter"])
def test_the_other_demos_pass_their_checks(name, tmp_path, capsys, monkeypatch):
    monkeypatch.setattr("fejoint.cli.demos.pictures", lambda result, folder: [])
    assert run(["demo", name, "--out", str(tmp_path)]) == 0
    assert "all passed" in capsys.readouterr().out


def test_a_stress_above_a_stated_limit_is_said_with_the_limits_source(joint_file, capsys):
    """The library's toughened epoxy: 17.9 MPa in shear, 21.63 in tension, from memory; no joint of 2.5 kN stays below."""
    assert run(["solve", str(joint_file), "--set", 'adhesive={material="toughened epoxy"}', "--json"]) == 0
    warnings = " ".join(json.loads(capsys.readouterr().out)["warnings"])
    assert "above the material's shear strength, 17.9 MPa (from memory" in warnings
    assert "above the material's tensile strength, 21.6 MPa (from memory" in warnings
    assert (
        run(["solve", str(joint_file), "--set", 'adhesive={material="toughened epoxy"}', "--set", "load.force=100", "--json"])
        == 0
    )
    assert "above the material" not in " ".join(json.loads(capsys.readouterr().out)["warnings"])


def test_a_summary_without_regions_is_one_sentence(joint_file, tmp_path, capsys):
    out = tmp_path / "run"
    assert run(["solve", str(joint_file), "--out", str(out)]) == 0
    summary = json.loads((out / "summary.json").read_text())
    (out / "summary.json").write_text(json.dumps({**summary, "regions": {}}))
    capsys.readouterr()
    assert run(["view", str(out), "--png", str(tmp_path / "x.png")]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_check_looks_at_the_process_too(tmp_path, capsys):
    file = tmp_path / "joint.toml"
    file.write_text(template("single-lap") + '\n[process.squeeze_out]\nviscosity = "4 MPa"\n', encoding="utf-8")
    assert run(["check", str(file)]) == 2
    assert "process.squeeze_out.viscosity" in capsys.readouterr().err
