"""A sweep as its user meets it: the table, what is solved and what is not, the files, the refusals."""

import csv
import io
import json
import os
import re
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import fejoint
from benchmarks.survival import SILL, Here
from fejoint.errors import FejointError, JointError, SetupError
from fejoint.joint.file import template
from fejoint.show.files import bondline_csv, summary


@pytest.fixture
def sill(tmp_path):
    path = tmp_path / "sill.toml"
    path.write_text(SILL, encoding="utf-8")
    return path


@pytest.fixture
def counted():
    """A column that counts what is computed, in a list."""
    computed = []

    def force_seen(result):
        computed.append(result.joint.load.force)
        return result.joint.load.force

    force_seen.computed = computed
    return force_seen


def sweep(joint, vary=None, **options):
    return fejoint.sweep(joint, vary=vary, **{"executor": Here(), **options})


def same(one, other):
    """To the last bit: kept systems are the same numbers, and files hold all digits."""
    pd.testing.assert_frame_equal(one.drop(columns="seconds"), other.drop(columns="seconds"), check_exact=True)


def status_of(result):
    """At the top of a module: for executors that know functions by their name."""
    return result.passed


# ---- the table


def test_columns_are_named_with_units_and_refused_cases_have_no_values(sill):
    table = sweep(
        sill,
        {
            "joint.overlap_length": ["1 cm", 12, "-2 mm"],
            "adhesive.elastic_modulus": ["2 GPa"],
            "joint.lower.material": ["aluminium 6082-T6", "aluminium 9999"],
        },
        columns=["peak_shear_MPa", "peak_shear_MPa.x_mm", "adherend_peak_MPa", "theories.Volkersen.peak_shear_MPa", "passed"],
    )
    assert list(table.columns) == [
        "joint.overlap_length_mm",
        "adhesive.elastic_modulus_MPa",
        "joint.lower.material",
        "peak_shear_MPa",
        "peak_shear_MPa.x_mm",
        "adherend_peak_MPa.lower",
        "adherend_peak_MPa.upper",
        "theories.Volkersen.peak_shear_MPa",
        "passed",
        "status",
        "reason",
        "warnings",
        "seconds",
    ]
    assert table.index.name == "case" and list(table.index) == [1, 2, 3, 4, 5, 6]
    assert list(table["joint.overlap_length_mm"]) == [10, 10, 12, 12, -2, -2]
    assert set(table["adhesive.elastic_modulus_MPa"]) == {2000}
    assert list(table["status"]) == ["done", "refused", "done", "refused", "refused", "refused"]
    assert table["peak_shear_MPa"].isna().tolist() == [False, True, False, True, True, True]
    assert (table["seconds"] >= 0).all()
    # The sentence is the one that the joint alone is refused with.
    for case, change in ((2, 'joint.lower.material="aluminium 9999"'), (5, 'joint.overlap_length="-2 mm"')):
        with pytest.raises(JointError) as caught:
            fejoint.load(sill, changes=[change])
        assert table["reason"][case] == str(caught.value).removeprefix(f"{sill}: ")
    assert list(table["reason"][[1, 3]]) == ["", ""]


def test_values_are_those_of_solving_each_joint_alone(sill):
    """Exactly: whatever is kept from case to case is a function of its key alone. A random sample, and every peak of it."""
    vary = {
        "joint.overlap_length": [10, 14],
        "load.force": [500, -1200, 2500],
        "load.temperature_change": [0, -40],
        "adhesive.elastic_modulus": [1800, 2600],
    }
    table = sweep(sill, vary)
    assert set(table["status"]) == {"done"} and len(table) == 24
    for case in np.random.default_rng(4).choice(table.index, 6, replace=False):
        row = table.loc[case]
        changes = [f"{key}={row[key + unit]}" for key, unit in zip(vary, ("_mm", "_N", "_K", "_MPa"), strict=True)]
        known = summary(fejoint.solve(fejoint.load(sill, changes=changes)))
        for name in ("peak_shear_MPa", "peak_peel_MPa", "least_peel_MPa"):
            assert row[name] == known[name]["value"]
        assert row["peak_shear_MPa.x_mm"] == known["peak_shear_MPa"]["x_mm"]
        assert row["mean_shear_MPa"] == known["mean_shear_MPa"]
        assert row["adherend_peak_MPa.upper"] == known["adherend_peak_MPa"]["upper"]


def test_a_joint_of_python_is_that_of_its_file(sill, tmp_path):
    vary = {"load.force": [1000, 2000]}
    same(sweep(fejoint.load(sill), vary), sweep(sill, vary))


def test_a_function_that_fails_fails_its_case_alone(sill):
    def share(result):
        return 1.0 / (result.joint.load.force - 2000)

    table = sweep(sill, {"load.force": [1000, 2000, 3000]}, columns=["peak_shear_MPa", share])
    assert list(table["status"]) == ["done", "failed", "done"]
    assert table["reason"][2] == "column share: its function fails (ZeroDivisionError: float division by zero)."
    assert table.loc[1, "share"] == -1e-3 and np.isnan(table.loc[2, "share"]) and np.isnan(table.loc[2, "peak_shear_MPa"])


def test_limits_make_cases_feasible(sill):
    table = sweep(sill, {"load.force": [1000, 2000, 3000, -1e12]}, columns=["peak_shear_MPa"])
    middle = table["peak_shear_MPa"][2]
    limits = [f"peak_shear_MPa <= {float(middle)!r}", "load.force_N >= 1500"]
    table = sweep(sill, {"load.force": [1000, 2000, 3000, -1e12]}, columns=["peak_shear_MPa"], limits=limits)
    assert list(table["status"]) == ["done", "done", "done", "refused"]
    assert list(table["feasible"]) == [False, True, False, False]  # a limit itself is within; what has no value is not
    assert list(table.columns[-5:]) == ["feasible", "status", "reason", "warnings", "seconds"]


def test_a_limit_on_a_column_that_is_not_there_is_refused_before_anything_is_solved(sill, counted):
    with pytest.raises(JointError, match="did you mean peak_shear_MPa"):
        sweep(sill, {"load.force": [1000]}, columns=["peak_shear_MPa", counted], limits=["peak_sheer_MPa <= 20"])
    assert counted.computed == []


def test_limits_when_no_case_has_a_result(sill):
    table = sweep(sill, {"load.force": ["1 kg", "2 kg"]}, limits=["peak_shear_MPa <= 20"])
    assert list(table["status"]) == ["refused"] * 2 and list(table["feasible"]) == [False] * 2


def test_a_column_that_is_not_there_is_refused_before_anything_is_solved(sill, counted, tmp_path):
    with pytest.raises(JointError, match="did you mean peak_peel_MPa"):
        sweep(sill, {"load.force": [1000]}, columns=["peak_peal_MPa", counted], out=tmp_path / "out")
    assert counted.computed == [] and not (tmp_path / "out" / "sweep.csv").exists()


# ---- points


def test_tied_zipped_and_sampled_points(sill):
    columns = ["peak_shear_MPa"]
    tied = sweep(
        sill,
        {"joint.lower.thickness": [1.5, "2 mm"]},
        tie={"joint.upper.thickness": "joint.lower.thickness"},
        columns=columns,
    )
    assert list(tied["joint.upper.thickness_mm"]) == [1.5, 2.0]
    alone = fejoint.solve(fejoint.load(sill, changes=["joint.lower.thickness=1.5", "joint.upper.thickness=1.5"]))
    assert tied["peak_shear_MPa"][1] == alone.peak_shear[0].value

    zipped = sweep(
        sill,
        {"load.force": [1000, 2000], "load.temperature_change": {"from": 0, "to": -10, "steps": 2}},
        points="zip",
        columns=columns,
    )
    assert zipped[["load.force_N", "load.temperature_change_K"]].to_numpy().tolist() == [[1000, 0], [2000, -10]]

    for points in ("sobol", "latin-hypercube"):
        vary = {"load.force": {"from": "1 kN", "to": "3 kN"}, "load.temperature_change": {"from": -40, "to": 0}}
        sampled = sweep(sill, vary, points=points, samples=4, seed=3, columns=columns)
        assert len(sampled) == 4 and sampled["load.force_N"].between(1000, 3000).all() and sampled["load.force_N"].nunique() == 4
        same(sampled, sweep(sill, vary, points=points, samples=4, seed=3, columns=columns))
        other = sweep(sill, vary, points=points, samples=4, seed=4, columns=columns)
        assert not set(sampled["load.force_N"]) & set(other["load.force_N"])
    with pytest.raises(JointError, match="power of two"):
        sweep(sill, {"load.force": {"from": 1, "to": 2}}, points="sobol", samples=5)


def test_a_table_of_joints_of_unlike_families(sill, tmp_path):
    """Keys that a family does not have stay empty in its rows."""
    (tmp_path / "joints.csv").write_text(
        "joint.kind,joint.overlap_length_mm,joint.inner.material,joint.inner.thickness,joint.inner.free_length,"
        "joint.outer.material,joint.outer.thickness,joint.outer.free_length,joint.lower.material,joint.lower.thickness,"
        "joint.lower.free_length,joint.upper.material,joint.upper.thickness,joint.upper.free_length\n"
        "single-lap,14,,,,,,,aluminium 6082-T6,2 mm,50 mm,aluminium 6082-T6,2 mm,50 mm\n"
        "double-lap,14,aluminium 6082-T6,3,50 mm,aluminium 6082-T6,1.6 mm,0.05 m,,,,,,\n"
        "double-lap,14,,,,,,,aluminium 6082-T6,2 mm,50 mm,aluminium 6082-T6,2 mm,50 mm\n"
    )
    base = tmp_path / "base.toml"
    base.write_text(
        '[joint]\nkind = "single-lap"\nwidth = 25\nbondline_thickness = 0.2\n'
        '[adhesive]\nmaterial = "toughened epoxy"\n[load]\nforce = "2.5 kN"\n'
    )
    table = sweep(base, table=tmp_path / "joints.csv", columns=["peak_shear_MPa", "peak_peel_MPa"])
    assert list(table["status"]) == ["done", "done", "refused"], list(table["reason"])
    assert "inner" in table["reason"][3] or "lower" in table["reason"][3]
    sheet = fejoint.Adherend(material="aluminium 6082-T6", thickness=2, free_length=50)
    thin, thick = (fejoint.Adherend(material="aluminium 6082-T6", thickness=t, free_length=50) for t in (1.6, 3))
    size = {"width": 25, "overlap_length": 14, "bondline_thickness": 0.2}
    for case, geometry in (
        (1, fejoint.SingleLap(**size, lower=sheet, upper=sheet)),
        (2, fejoint.DoubleLap(**size, inner=thick, outer=thin)),
    ):
        adhesive, load = fejoint.Adhesive(material="toughened epoxy"), fejoint.Load(force=2500)
        alone = fejoint.solve(fejoint.Joint(geometry=geometry, adhesive=adhesive, load=load))
        assert table["peak_shear_MPa"][case] == alone.peak_shear[0].value
        assert table["peak_peel_MPa"][case] == alone.peak_peel[0].value


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_the_columns_of_a_sweep_are_a_table_of_joints(sill, tmp_path, ending, counted):
    vary = {
        "joint.overlap_length": {"from": 10, "to": 14, "steps": 4},
        "load.force": ["1.1 kN", 2000],
        "joint.lower.material": ["aluminium 6082-T6", "aluminium 2024-T3"],
    }
    columns = ["peak_shear_MPa", "peak_peel_MPa", counted]
    first = sweep(sill, vary, columns=columns, out=tmp_path / "out")
    written = tmp_path / "out" / f"sweep.{ending}"
    frame = pd.read_csv(written, index_col="case") if ending == "csv" else pd.read_parquet(written)
    parameters = frame[[name for name in frame if name.startswith(("joint.", "load."))]]
    joints = tmp_path / f"joints.{ending}"
    parameters.to_csv(joints, index=False) if ending == "csv" else parameters.to_parquet(joints, index=False)
    same(sweep(sill, table=joints, columns=columns), first)
    # The same joints are the same cases: in the same folder nothing is left to do.
    before = len(counted.computed)
    same(sweep(sill, table=joints, columns=columns, out=tmp_path / "out"), first)
    assert len(counted.computed) == before


# ---- what is solved


def test_a_joint_that_comes_twice_is_solved_once(sill, counted, tmp_path):
    table = sweep(sill, {"load.force": [1000, "1 kN", 2000, 1000.0]}, columns=["peak_shear_MPa", counted], out=tmp_path / "out")
    assert sorted(counted.computed) == [1000, 2000]
    assert list(table["status"]) == ["done"] * 4 and table["peak_shear_MPa"][[1, 2, 4]].nunique() == 1


def test_further_values_are_solved_and_the_former_are_not(sill, counted, tmp_path):
    options = {"columns": ["peak_shear_MPa", counted], "out": tmp_path / "out"}
    first = sweep(sill, {"load.force": [1000, 2000, -1e12]}, **options)
    assert sorted(counted.computed) == [1000, 2000]
    same(sweep(sill, {"load.force": [1000, 2000, -1e12]}, **options), first)
    assert sorted(counted.computed) == [1000, 2000]
    more = sweep(sill, {"load.force": [3000, 1000, 2000, 1500, -1e12]}, **options)
    assert sorted(counted.computed) == [1000, 1500, 2000, 3000]
    same(more.loc[2:3].reset_index(drop=True), first.loc[1:2].reset_index(drop=True))
    fewer = sweep(sill, {"load.force": [1500]}, **options)
    assert len(counted.computed) == 4 and len(fewer) == 1


def test_failed_cases_are_tried_again_when_asked(sill, tmp_path):
    broken = tmp_path / "broken"
    broken.touch()
    runs = []

    def value(result):
        runs.append(result.joint.load.force)
        if broken.exists() and result.joint.load.force == 2000:
            raise OSError("no licence")
        return 1.0

    options = {"columns": ["peak_shear_MPa", value], "out": tmp_path / "out"}
    vary = {"load.force": [1000, 2000]}
    assert list(sweep(sill, vary, **options)["status"]) == ["done", "failed"]
    broken.unlink()
    assert list(sweep(sill, vary, **options)["status"]) == ["done", "failed"] and len(runs) == 2
    assert list(sweep(sill, vary, retry=True, **options)["status"]) == ["done", "done"]
    assert runs.count(1000) == 1 and runs.count(2000) == 2


def column_a():
    def edge(result):
        return 1.0

    return edge


def column_b():
    def edge(result):
        return 2.0

    return edge


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"changes": ["joint.width=30"]}, "joint.width was "),
        ({"changes": ['adhesive.material="flexible polyurethane"']}, "adhesive.material was "),
        ({"vary": {"load.temperature_change": [0, 1]}}, "varied keys was load.force and is now load.temperature_change"),
        ({"columns": ["peak_peel_MPa", column_a()]}, "columns was edge, peak_shear_MPa and is now edge, peak_peel_MPa"),
        ({"columns": ["peak_shear_MPa", column_b()]}, "function edge was "),
        ({"keep_curves": True}, "curves kept was false and is now true"),
    ],
)
def test_a_folder_belongs_to_one_study(sill, tmp_path, change, named):
    given = {"vary": {"load.force": [1000]}, "columns": ["peak_shear_MPa", column_a()], "out": tmp_path / "out"}
    first = sweep(sill, **given)
    files = {path: path.read_bytes() for path in (tmp_path / "out").iterdir()}
    with pytest.raises(SetupError) as caught:
        sweep(sill, **given | change)
    assert "belongs to another study" in str(caught.value) and named in str(caught.value)
    assert {path: path.read_bytes() for path in (tmp_path / "out").iterdir()} == files
    same(sweep(sill, **given), first)


def test_two_sweeps_in_one_folder_the_second_is_refused_and_the_first_not_disturbed(sill, tmp_path):
    sill.write_text(SILL + '[sweep]\ncolumns = ["peak_shear_MPa"]\n[sweep.vary]\n"load.force" = [1000, 2000]\n')
    out, seen = tmp_path / "out", []

    def second(result):
        if not seen:
            command = [sys.executable, "-m", "fejoint", "sweep", str(sill), "--out", str(out)]
            seen.append(subprocess.run(command, capture_output=True, text=True, timeout=120, check=False))
        return True

    table = sweep(sill, columns=["peak_shear_MPa", second], out=out)
    assert list(table["status"]) == ["done", "done"]
    assert seen[0].returncode == 2 and seen[0].stdout == ""
    assert re.fullmatch(r"fejoint: \S+journal\.sqlite: is in use by process \d+ on .*\.\n", seen[0].stderr), seen[0].stderr
    assert f"process {os.getpid()} " in seen[0].stderr


@pytest.mark.parametrize("kind", ["threads", "processes"])
def test_executors_of_the_users_own(sill, kind):
    vary = {"load.force": [1000, 2000], "joint.overlap_length": [10, 12, 14]}
    columns = ["peak_shear_MPa", status_of]
    made = ThreadPoolExecutor(2) if kind == "threads" else ProcessPoolExecutor(2, mp_context=get_context("spawn"))
    with made as executor:
        same(sweep(sill, vary, columns=columns, executor=executor), sweep(sill, vary, columns=columns))
        assert executor.submit(int).result(60) == 0  # it is its owner's to end


def test_more_than_5000_cases_are_asked_about(sill, tmp_path, counted, monkeypatch):
    vary = {"load.force": {"from": 1, "to": 1000, "steps": 5001}}
    with pytest.raises(JointError) as caught:
        sweep(sill, vary, columns=["peak_shear_MPa", counted], out=tmp_path / "out")
    assert re.fullmatch(
        r"this sweep has 5001 cases \(5001\), more than 5000: one takes [\d.]+ s, all of them about \d+ \w+ with 1 worker, "
        r"less where cases share a mesh; say --yes \(yes=True\) if it is meant, or take fewer values\.",
        str(caught.value),
    )
    assert counted.computed == [] and not (tmp_path / "out").exists()
    monkeypatch.setattr("fejoint.study.sweep.ASK_ABOVE", 2)
    vary = {"load.force": [1000, 2000, 3000]}
    with pytest.raises(JointError, match="has 3 cases"):
        sweep(sill, vary)
    assert len(sweep(sill, vary, yes=True)) == 3 and len(sweep(sill, {"load.force": [1000, 2000]})) == 2


def test_progress_rises_to_the_end(sill, tmp_path, monkeypatch):
    monkeypatch.setattr("fejoint.study.sweep.EVERY", 0.0)
    for _ in range(2):  # the second time, nothing is left to do
        told = []
        sweep(sill, {"load.force": [*range(1000, 1020), -1e12]}, out=tmp_path / "out", progress=told.append)
        counts = [state.finished for state in told]
        assert counts == sorted(counts) and counts[-1] == 21 and {state.total for state in told} == {21}
        assert told[-1].failed == 1 and told[-1].seconds >= 0
    assert told[-1].now == 0


# ---- files


def test_the_files_hold_the_table(sill, tmp_path):
    def words(result):
        return 'a "quoted", text' if result.joint.load.force > 1500 else None

    table = sweep(
        sill,
        {"load.force": [1000, 2000, -1e12], "joint.upper.material": ["aluminium 6082-T6"]},
        columns=["peak_shear_MPa", "passed", words],
        limits=["peak_shear_MPa <= 20"],
        out=tmp_path / "out",
    )
    out = tmp_path / "out"
    assert sorted(path.name for path in out.iterdir()) == [
        "joint.toml",
        "journal.sqlite",
        "sweep.csv",
        "sweep.json",
        "sweep.parquet",
    ]
    pd.testing.assert_frame_equal(pd.read_parquet(out / "sweep.parquet"), pd.DataFrame(table), check_exact=True)
    with (out / "sweep.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == ["case", *table] and [row["case"] for row in rows] == ["1", "2", "3"]
    for name in table:
        texts = [row[name] for row in rows]
        if table[name].dtype.kind == "f":  # all digits are there: to the last bit
            np.testing.assert_array_equal([float(text or "nan") for text in texts], table[name])
        else:
            assert texts == ["" if value is None or value is pd.NA or value != value else str(value) for value in table[name]]
    said = json.loads((out / "sweep.json").read_text())
    assert said["cases"] == 3 and said["statuses"] == {"done": 2, "refused": 1}
    assert said["varied"] == ["load.force_N", "joint.upper.material"] and said["limits"] == ["peak_shear_MPa <= 20"]
    assert (out / "joint.toml").read_text() == SILL


def test_every_reader_of_parquet_finds_the_number_of_a_case(sill, tmp_path):
    import pyarrow.parquet as pq

    sweep(sill, {"load.force": [1000, 2000]}, columns=["peak_shear_MPa"], out=tmp_path / "out")
    assert pq.read_table(tmp_path / "out" / "sweep.parquet").to_pydict()["case"] == [1, 2]


def test_curves_are_those_of_each_joint_alone(sill, tmp_path):
    sweep(sill, {"load.force": [1000, -1e12, 2000]}, keep_curves=True, columns=["peak_shear_MPa"], out=tmp_path / "out")
    curves = pd.read_parquet(tmp_path / "out" / "curves.parquet")
    assert list(curves["case"].unique()) == [1, 3]
    for case, force in ((1, 1000), (3, 2000)):
        result = fejoint.solve(fejoint.load(sill, changes=[f"load.force={force}"]))
        alone = pd.read_csv(io.StringIO(bondline_csv(result)))
        kept = curves[curves["case"] == case].drop(columns="case").reset_index(drop=True)
        pd.testing.assert_frame_equal(kept[list(alone)], alone, check_exact=True, check_dtype=False)
    with pytest.raises(JointError, match="keep_curves"):
        sweep(sill, {"load.force": [1000]}, keep_curves=True)


def test_folders_that_cannot_be_written(sill, tmp_path):
    (tmp_path / "file").write_text("")
    for place in (tmp_path / "file", tmp_path / "file" / "below", "/proc/none"):
        with pytest.raises(SetupError, match="choose another folder") as caught:
            sweep(sill, {"load.force": [1000]}, out=place)
        assert str(place) in str(caught.value)
    (tmp_path / "empty").mkdir()
    assert len(sweep(sill, {"load.force": [1000]}, out=tmp_path / "empty")) == 1
    if os.geteuid() == 0:  # permissions do not bind root: a file system that is read-only does
        folder = tmp_path / "read-only"
        folder.mkdir()
        if subprocess.run(["mount", "-t", "tmpfs", "-o", "ro", "tmpfs", folder], capture_output=True, check=False).returncode:
            pytest.skip("no file system can be mounted here")
        try:
            with pytest.raises(SetupError, match="read-only"):
                sweep(sill, {"load.force": [1000]}, out=folder)
        finally:
            subprocess.run(["umount", folder], check=True)
    else:
        (tmp_path / "empty").chmod(0o500)
        with pytest.raises(SetupError, match="permission"):
            sweep(sill, {"load.force": [1000]}, out=tmp_path / "empty" / "below")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"vary": {"load.force": [1]}, "workers": 0}, "1 or more"),
        ({"vary": {"load.farce": [1]}}, "did you mean load.force"),
        ({"vary": {}}, "sweep.vary"),
        ({}, "sweep.vary"),
        ({"vary": {"load.force": [1]}, "columns": [lambda result: 1]}, "def NAME"),
        ({"vary": {"load.force": [1]}, "columns": ["peak_shear_MPa", "peak_shear_MPa"]}, "is taken"),
        ({"vary": {"load.force": [1]}, "columns": [3]}, "neither a name"),
        ({"vary": {"load.force": [1]}, "limits": ["peak_shear_MPa < 3"]}, "limit 'peak_shear_MPa < 3'"),
    ],
)
def test_arguments_that_are_none(sill, given, said):
    with pytest.raises(FejointError) as caught:
        sweep(sill, **given)
    assert said in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", ["single-lap", "double-lap", "stepped-lap"])
def test_the_template_of_every_family_can_be_swept(tmp_path, kind):
    path = tmp_path / "joint.toml"
    path.write_text(template(kind), encoding="utf-8")
    table = sweep(path, {"load.force": [1000, 2000]}, columns=["peak_shear_MPa"])
    assert list(table["status"]) == ["done"] * 2
    # Linear: twice the load, twice the stress, but for rounding.
    assert table["peak_shear_MPa"][2] == pytest.approx(2 * table["peak_shear_MPa"][1], rel=1e-9)


# ---- the README's own words

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
SECTION = README.partition("\n## From one joint to 1,000 in ten lines\n")[2].partition("\n## ")[0]


def block(language):
    return re.search(rf"```{language}\n(.*?)```", SECTION, re.DOTALL)[1]


def run_script(folder, text):
    sill = re.search(r"```toml\n(title = .*?)```", README, re.DOTALL)[1]
    (folder / "sill.toml").write_text(sill, encoding="utf-8")
    (folder / "script.py").write_text(text, encoding="utf-8")
    done = subprocess.run([sys.executable, "script.py"], cwd=folder, capture_output=True, text=True, timeout=1800, check=False)
    assert done.returncode == 0 and done.stderr == "", done.stderr
    return done.stdout, pd.read_parquet(folder / "sill-sweep" / "sweep.parquet")


def test_the_readmes_script_runs_with_fewer_steps(tmp_path):
    text = block("python").replace('"steps": 25', '"steps": 2').replace('"steps": 10', '"steps": 3')
    printed, table = run_script(tmp_path, text)
    assert len(table) == 2 * 4 * 3 and set(table["status"]) == {"done"}
    assert table["feasible"].any() and "load.force_N" in printed
    assert (table["joint.upper.thickness_mm"] == table["joint.lower.thickness_mm"]).all()


@pytest.mark.slow
def test_the_readmes_script_runs_as_written(tmp_path):
    lines = [line for line in block("python").splitlines() if line.strip()]
    _, table = run_script(tmp_path, block("python"))
    assert len(table) == 25 * 4 * 10 and len(lines) <= 12
    assert set(table["status"]) <= {"done", "missed"}


@pytest.mark.parametrize("as_written", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_the_readmes_table_and_commands_run(tmp_path, monkeypatch, capsys, as_written):
    from fejoint.cli import run

    sill = re.search(r"```toml\n(title = .*?)```", README, re.DOTALL)[1]
    text = block("toml") if as_written else block("toml").replace("steps = 7", "steps = 2").replace("steps = 5", "steps = 2")
    (tmp_path / "sill.toml").write_text(sill + "\n" + text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    if not as_written:
        monkeypatch.setattr("fejoint.study.sweep.local_pool", lambda workers: Here())
    commands = [line.split()[1:] for line in block("sh").splitlines()]
    assert [command[0] for command in commands] == ["sweep", "chart"]
    assert [run(command) for command in commands] == [0, 0], capsys.readouterr()
    table = pd.read_parquet("sill-sweep/sweep.parquet")
    assert len(table) == (35 if as_written else 4)
    assert "theories.Volkersen.peak_shear_MPa" in table and "feasible" in table
    assert (table["joint.upper.free_length_mm"] == table["joint.overlap_length_mm"]).all()
    assert list(Path("sill-sweep").glob("curves-*.png"))
    capsys.readouterr()


# ---- what two readers of the tables stumbled over


def test_shear_is_limited_by_its_magnitude(sill):
    """A joint in compression has shear of the other sign, and is no safer for it."""
    short = ["joint.lower.free_length=10", "joint.upper.free_length=10"]  # does not buckle
    forces, limits = {"load.force": [-3000, -1000, 1000, 3000]}, ["peak_shear_MPa <= 15"]
    table = sweep(sill, forces, columns=["peak_shear_MPa"], limits=limits, changes=short)
    assert list(table["status"]) == ["done"] * 4
    assert list(table["feasible"]) == [False, True, True, False]
    # Linear: the same joint under the opposite force; 1e-9 of the values is round-off.
    assert table["peak_shear_MPa"].to_numpy() == pytest.approx(-table["peak_shear_MPa"].to_numpy()[::-1], rel=1e-9)


def test_a_sweeps_own_table_is_taken_back(sill, tmp_path):
    first = sweep(sill, {"joint.overlap_length": [10, 12], "load.ends": ["clamped", "pinned"]}, out=tmp_path / "out")
    for name in ("sweep.csv", "sweep.parquet"):
        same(sweep(sill, table=tmp_path / "out" / name), first)


def test_an_empty_cell_stands_for_what_the_joint_file_says_and_the_table_shows_it(sill, tmp_path):
    (tmp_path / "joints.csv").write_text("joint.overlap_length,load.force\n10 mm,1 kN\n,2 kN\n")
    table = sweep(sill, table=tmp_path / "joints.csv", columns=["mean_shear_MPa"])
    length = fejoint.load(sill).geometry.overlap_length
    width = fejoint.load(sill).geometry.width
    assert list(table["joint.overlap_length_mm"]) == [10.0, length]
    assert table["mean_shear_MPa"][2] == pytest.approx(2000 / (length * width))


def test_warnings_of_the_solver_stand_in_the_table(sill):
    table = sweep(sill, {"load.force": [10, 9000]}, columns=["peak_shear_MPa"])
    alone = fejoint.solve(fejoint.load(sill, ["load.force=9000"]))
    assert table["warnings"][2] == "; ".join(alone.warnings) != ""


def test_columns_are_judged_by_what_any_case_may_have(sill):
    """The spew's peaks are of fillets only; whether a case with one comes first must not matter."""
    tables = [
        sweep(sill, {"joint.spew": order}, columns=["spew_peaks_MPa.1.shear"]).set_index("joint.spew")["spew_peaks_MPa.1.shear"]
        for order in (["square", "fillet"], ["fillet", "square"])
    ]
    assert np.isnan(tables[0]["square"]) and tables[0]["fillet"] == tables[1]["fillet"] > 0


def test_equal_quantities_are_one_study(sill, tmp_path):
    sweep(sill, {"load.force": [1000]}, out=tmp_path / "out", changes=["joint.lower.thickness=1.6"])
    table = sweep(sill, {"load.force": [1000, 2000]}, out=tmp_path / "out", changes=["joint.lower.thickness='0.16 cm'"])
    assert list(table["status"]) == ["done", "done"]


def test_an_executor_that_is_none_is_one_sentence(sill):
    with pytest.raises(JointError, match="for a number of processes there is workers"):
        sweep(sill, {"load.force": [1000]}, executor=2)
