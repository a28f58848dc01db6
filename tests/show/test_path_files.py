"""The files of a load's path: what they hold, and that an interrupted path goes on to the same numbers."""

import csv
import json
import shutil
from dataclasses import replace

import numpy as np
import pytest

import fejoint
import fejoint.show.path_files as path_files
from fejoint.cli import run
from fejoint.errors import JointError, SetupError
from fejoint.mechanics.path import marker_of
from fejoint.show.files import write_run
from fejoint.show.path_files import PathWriter
from fejoint.show.reading import read_run

COLUMNS = (
    "number,step,force_N,moment_N_mm,shear_force_N,temperature_change_K,moisture,elongation_mm,turn,lift_mm,peak_shear_MPa,"
    "peak_shear_x_mm,peak_peel_MPa,peak_peel_x_mm,least_peel_MPa,edge_moment_factor_left,edge_moment_factor_right,"
    "adhesive_plastic_strain,adherend_plastic_strain,yielded_share,iterations"
)
OF_A_RUN = ["adherends.csv", "bondline.csv", "joint.toml", "section.vtu", "summary.json"]


class StoppedError(Exception):
    """Stands for whatever ends a run before its time."""


def rows_of(file):
    with file.open(newline="") as opened:
        return list(csv.DictReader(opened))


def texts_of(folder):
    """Every file of a run by its name that holds numbers, without times."""
    found = {f"{path.parent.name}/{path.name}": path.read_bytes() for path in folder.rglob("*.csv")}
    return found | {f"{path.parent.name}/{path.name}": path.read_bytes() for path in folder.rglob("section.vtu")}


def stopping(writer, number):
    """Return what records increments and stops the run behind one."""

    def record(result):
        writer.record(result)
        if result.number == number:
            raise StoppedError

    return record


# ---- what they hold --------------------------------------------------------


def test_a_path_is_a_table_and_a_folder_an_increment(sill, sill_folder):
    lines = (sill_folder / "path.csv").read_text().splitlines()
    assert lines[0] == COLUMNS
    rows, count = rows_of(sill_folder / "path.csv"), len(sill.path)
    assert [int(row["number"]) for row in rows] == list(range(1, count + 1))
    folders = sorted(path for path in (sill_folder / "path").iterdir() if path.is_dir())
    assert [path.name for path in folders] == [f"{k:04d}" for k in range(1, count + 1)]
    steps = [row["step"] for row in rows]
    assert steps == sorted(steps)  # cool-down before pull
    first = steps.index("pull")
    assert {float(row["force_N"]) for row in rows[:first]} == {0.0}
    assert float(rows[first - 1]["temperature_change_K"]) == -20
    assert (float(rows[-1]["force_N"]), float(rows[-1]["temperature_change_K"])) == (1100, -20)
    assert all(row["edge_moment_factor_left"] == "" for row in rows[:first])  # no force, no factor
    assert {row["adherend_plastic_strain"] for row in rows} == {""}  # they may not yield
    for row, folder in zip(rows, folders, strict=True):
        assert sorted(path.name for path in folder.iterdir()) == sorted([*OF_A_RUN, "state.npz"])
        middle = [line for line in rows_of(folder / "bondline.csv") if line["level"] == "middle"]
        # Peaks lie between points too, so no point is above them; the nearest is at most 2 % below on this mesh.
        for name in ("shear", "peel"):
            highest = max(float(line[f"{name}_MPa"]) for line in middle)
            assert 0.98 * highest <= float(row[f"peak_{name}_MPa"]) <= 1.02 * highest
        strain = max(float(line["plastic_strain"]) for line in middle)
        assert float(row["adhesive_plastic_strain"]) == pytest.approx(strain, rel=1e-8)
        assert json.loads((folder / "summary.json").read_text())["elongation_mm"] == pytest.approx(
            float(row["elongation_mm"]), rel=1e-8
        )


def test_joint_files_of_increments_are_whole_and_say_what_acts(sill_folder):
    for row in rows_of(sill_folder / "path.csv"):
        joint = fejoint.load(sill_folder / "path" / f"{int(row['number']):04d}" / "joint.toml")
        assert joint.load.step is None
        # The table has nine digits.
        assert joint.load.force == pytest.approx(float(row["force_N"]), rel=1e-8)
        assert joint.load.temperature_change == pytest.approx(float(row["temperature_change_K"]), rel=1e-8)


def test_what_is_written_is_read_back(sill, sill_folder):
    read = read_run(sill_folder)
    assert (read.step, read.number, read.limit) == ("pull", len(sill.path), "")
    assert read.iterations == sill.iterations
    assert (read.elongation, read.turn, read.lift) == (sill.elongation, sill.turn, sill.lift)
    assert read.plastic_strain == sill.plastic_strain
    assert read.yielded == sill.yielded
    assert read.joint == sill.joint
    assert len(read.path) == len(sill.path)
    for one, other in zip(read.path, sill.path, strict=True):
        assert one.number == other.number
        for a, b in zip(one.bondlines, other.bondlines, strict=True):
            assert a.measure == b.measure
            for name in ("shear", "peel", "plastic_strain", "shear_strain"):  # nine digits are written
                np.testing.assert_allclose(getattr(a, name), getattr(b, name), rtol=1e-8, atol=1e-12)
            np.testing.assert_allclose(a.cauchy.peel, b.cauchy.peel, rtol=1e-8, atol=1e-12)
    assert read.path[-1].number == read.path[len(read.path) - 1].number
    assert [one.number for one in read.path[1:3]] == [2, 3]
    with pytest.raises(IndexError):
        read.path[len(read.path)]


def test_the_mesh_file_holds_the_stress_of_space_and_the_plastic_strain(sill, sill_folder):
    section = read_run(sill_folder).section
    (nodes,) = section.mid_lines()
    (bondline,) = sill.bondlines
    np.testing.assert_allclose(section.stress["peel"][nodes], bondline.cauchy.peel, rtol=1e-12)
    # Both stresses are of one magnitude; here the mid-line turns by 3 mrad and more, so they differ by more than a thousandth.
    assert np.abs(section.stress["peel"][nodes] - bondline.peel).max() > 1e-3 * np.abs(bondline.peel).max()
    np.testing.assert_allclose(section.stress["plastic-strain"][nodes], bondline.plastic_strain, rtol=1e-12, atol=1e-15)
    metal = section.cells[section.cells_of("lower") | section.cells_of("upper")]
    assert (section.stress["plastic-strain"][metal] == 0).all()


def test_a_linear_run_has_no_path_and_nothing_in_its_columns(folder):
    summary = json.loads((folder / "summary.json").read_text())
    assert not {"path", "limit", "increment"} & set(summary)
    assert not (folder / "path").exists()
    for row in rows_of(folder / "bondline.csv"):
        assert {row[name] for name in ("shear_strain", "plastic_strain", "cauchy_shear_MPa", "cauchy_axial_MPa")} == {""}
    assert read_run(folder).path == ()


@pytest.mark.parametrize("name", ["summary.json", "bondline.csv", "section.vtu"])
def test_files_of_two_increments_do_not_belong_together(sill_folder, tmp_path, name):
    shutil.copytree(sill_folder, tmp_path / "run")
    last, before = sorted(path for path in (tmp_path / "run" / "path").iterdir() if path.is_dir())[-1:-3:-1]
    shutil.copy(before / name, last / name)
    with pytest.raises(SetupError, match="its files do not belong together"):
        read_run(last)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda s: s["path"].pop(0),
        lambda s: s["path"][0].pop("force_N"),
        lambda s: s["path"].__setitem__(0, 3),
        lambda s: s["path"][0].update(elongation_mm="far"),
        lambda s: s.update(path=7),
        lambda s: s.update(yielded=[1]),
        lambda s: s.update(plastic_strain={"adhesive": None}),
        lambda s: s.update(number="x"),
    ],
)
def test_a_spoiled_path_is_one_sentence(sill_folder, tmp_path, spoil):
    place = tmp_path / "run"
    shutil.copytree(sill_folder, place, ignore=shutil.ignore_patterns("path"))
    summary = json.loads((place / "summary.json").read_text())
    spoil(summary)
    (place / "summary.json").write_text(json.dumps(summary))
    with pytest.raises(SetupError, match="do not belong together or are damaged"):
        read_run(place)


def test_a_missing_increment_is_named_when_it_is_asked_for(sill_folder, tmp_path):
    shutil.copytree(sill_folder, tmp_path / "run")
    shutil.rmtree(tmp_path / "run" / "path" / "0002")
    found = read_run(tmp_path / "run")
    assert found.path[0].number == 1
    with pytest.raises(JointError, match="0002: there is no such folder"):
        found.path[1]


# ---- going on --------------------------------------------------------------


def test_a_state_comes_back_to_the_last_bit(sill, sill_folder):
    for result in (sill.path[0], sill.path[-2]):
        marker = marker_of(result)
        read = path_files._read_state(sill.joint, sill_folder / "path" / f"{result.number:04d}" / "state.npz")
        assert (read.iterations, read.residual) == (marker.iterations, marker.residual)
        for name in ("number", "step", "share", "length", "travel", "ease"):
            assert getattr(read.pace, name) == getattr(marker.pace, name), name
        assert read.state.width == marker.state.width
        arrays = [
            (
                m.state.unknowns,
                m.pace.velocity,
                m.internal,
                *(part for name in ("adhesive", "lower", "upper") for part in m.state.history[name]),
            )
            for m in (read, marker)
        ]
        assert read.state.history.keys() == marker.state.history.keys()
        for one, other in zip(*arrays, strict=True):
            assert one.dtype == other.dtype
            assert one.tobytes() == other.tobytes()
    travelled = marker._replace(pace=replace(marker.pace, travel=0.1))
    path = sill_folder.parent / "state.npz"
    path_files._write_state(travelled, path)
    assert path_files._read_state(sill.joint, path).pace.travel == 0.1


def test_an_interrupted_path_goes_on_to_the_same_numbers(sill, sill_folder, tmp_path):
    """Behind an increment of each step, and what was half written when it stopped is none."""
    at, whole = tmp_path / "run", texts_of(sill_folder)
    for number in (3, 9):
        writer = PathWriter(sill.joint, at)
        with pytest.raises(StoppedError):
            fejoint.solve(sill.joint, record=stopping(writer, number), start=writer.start)
        assert not (at / "summary.json").exists()
        assert [int(row["number"]) for row in rows_of(at / "path.csv")] == list(range(1, number + 1))
        (at / "path" / ".writing-left").mkdir()
    writer, recorded = PathWriter(sill.joint, at), []
    assert [marker.pace.number for marker in writer.start] == list(range(1, 10))

    def record(result):
        recorded.append(result.number)
        writer.record(result)

    result = fejoint.solve(sill.joint, record=record, start=writer.start)
    assert recorded == list(range(10, len(sill.path) + 1))
    write_run(result, at, (sill_folder / "joint.toml").read_text())
    assert texts_of(at) == whole
    assert not list((at / "path").glob(".writing*"))
    assert PathWriter(sill.joint, at).start == ()  # it has come to its end


def test_the_same_command_goes_on_and_afresh_does_not(sill_file, sill_folder, tmp_path, capsys, monkeypatch):
    out, real = tmp_path / "run", PathWriter.record

    def interrupted(self, result):
        real(self, result)
        if result.number == 4:
            raise KeyboardInterrupt

    command = ["solve", str(sill_file), "--out", str(out)]
    monkeypatch.setattr(PathWriter, "record", interrupted)
    assert run(command) == 130
    said = capsys.readouterr().err
    assert said == f"fejoint: interrupted; increments 1 to 4 are in {out}, the same command goes on behind the last.\n"
    joint = fejoint.load(sill_file)
    assert [len(PathWriter(joint, out, afresh).start) for afresh in (False, True)] == [4, 0]
    monkeypatch.setattr(PathWriter, "record", real)
    assert run([*command, "--json"]) == 0
    printed = capsys.readouterr()
    assert printed.err == f"fejoint: {out}: going on behind increment 4; --afresh starts over.\n"
    summary = json.loads(printed.out)
    assert [row["number"] for row in summary["path"]] == list(range(1, len(summary["path"]) + 1))
    assert summary["stress_measure"].startswith("large rotation: Cauchy stress in the directions of the turned mid-line")
    assert set(summary) >= {"limit", "step", "number", "iterations", "plastic_strain", "yielded", "cauchy_peak_peel_MPa"}
    assert texts_of(out) == texts_of(sill_folder)
    assert run(["solve", str(sill_file), "--afresh"]) == 2
    assert "--afresh only goes with --out" in capsys.readouterr().err


def test_a_damaged_increment_is_gone_over_again(sill, sill_folder, tmp_path):
    at = tmp_path / "run"
    shutil.copytree(sill_folder, at, ignore=shutil.ignore_patterns("summary.json"))
    for k in range(1, len(sill.path) + 1):
        shutil.copy(sill_folder / "path" / f"{k:04d}" / "summary.json", at / "path" / f"{k:04d}" / "summary.json")
    assert len(PathWriter(sill.joint, at).start) == len(sill.path)
    state = at / "path" / "0005" / "state.npz"
    state.write_bytes(state.read_bytes()[:-200])
    assert len(PathWriter(sill.joint, at).start) == 4
    (at / "path" / "0003" / "summary.json").write_text("{")
    assert len(PathWriter(sill.joint, at).start) == 2
    (at / "path" / "path.json").unlink()
    assert PathWriter(sill.joint, at).start == ()


def test_another_joints_path_is_replaced_and_what_is_not_ours_stays(sill, sill_folder, tmp_path):
    at = tmp_path / "run"
    shutil.copytree(sill_folder, at)
    for place in (at, at / "path"):
        (place / "notes.txt").write_text("mine")
    other = sill.joint.model_copy(update={"title": "another"})
    before = texts_of(at)
    writer = PathWriter(other, at)
    assert writer.start == ()
    assert texts_of(at) == before  # until there is something to take its place
    with pytest.raises(StoppedError):
        fejoint.solve(other, record=stopping(writer, 2))
    assert sorted(path.name for path in at.iterdir()) == ["notes.txt", "path", "path.csv"]
    assert sorted(path.name for path in (at / "path").iterdir()) == ["0001", "0002", "notes.txt", "path.json"]
    assert len(PathWriter(other, at).start) == 2
    assert PathWriter(sill.joint, at).start == ()
    write_run(sill, at, "")  # from Python, over what is there
    assert {name: text for name, text in texts_of(at).items() if "vtu" not in name} == {
        name: text for name, text in before.items() if "vtu" not in name
    }


def test_a_linear_run_takes_the_place_of_a_path(filleted, sill_folder, tmp_path):
    at = tmp_path / "run"
    shutil.copytree(sill_folder, at)
    write_run(filleted, at, "")
    assert sorted(path.name for path in at.iterdir()) == OF_A_RUN
    assert read_run(at).path == ()


def test_a_sweep_does_not_start_in_the_folder_of_a_path(sill_file, sill_folder, tmp_path, capsys):
    at = tmp_path / "run"
    shutil.copytree(sill_folder / "path", at / "path")
    swept = tmp_path / "swept.toml"
    swept.write_text(sill_file.read_text() + '\n[sweep.vary]\n"joint.width" = ["20 mm"]\n', encoding="utf-8")
    assert run(["sweep", str(swept), "--out", str(at)]) == 2
    assert "holds the files of a run (path/path.json)" in capsys.readouterr().err


# ---- a load that cannot be reached -----------------------------------------


def test_a_limit_load_is_said_and_its_files_are_kept(sill, sill_file, tmp_path, capsys, monkeypatch):
    """The driver's answer is stood in for: what is tested is what becomes of it."""
    why = "limit load: the joint carries 1376 N in step 'pull' and no more"
    reached = sill.path[-2]
    stopped = replace(
        reached, limit=why, asked=sill.joint, discretisation_error=dict.fromkeys(("peak_shear", "peak_peel"), np.nan)
    )
    stopped = replace(stopped, path=(*sill.path[:-2], stopped))
    monkeypatch.setattr("fejoint.mechanics.driver.solve", lambda *given, **named: stopped)
    out = tmp_path / "run"
    assert run(["solve", str(sill_file), "--out", str(out)]) == 3
    assert capsys.readouterr().err == f"fejoint: {why}.\n"
    read = read_run(out)
    assert read.limit == why
    assert read.asked == sill.joint
    assert read.joint == reached.joint
    assert read.joint.load.force < 1100
    assert (out / "joint.toml").read_text() == sill_file.read_text()
    assert len(read.path) == len(sill.path) - 1
