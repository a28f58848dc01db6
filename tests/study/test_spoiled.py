"""Spoiled sweeps, by thousands of small ways: they work, or are refused in one sentence; nothing is half-written, nothing runs.

What is spoiled how, and what must hold of every outcome, is in
benchmarks/spoiled.py, which does ten thousand; here are some hundred, shrunk
to the smallest by hypothesis, and what is worth a name of its own.
"""

import io
import os
import random
import time

import numpy as np
import pandas as pd
import pint
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import fejoint
from benchmarks import spoiled as bench
from benchmarks.spoiled import BASES, CODE, WAYS, Inline, Spoiled, Wrong, cheap, document_text, outcome
from fejoint import JointError, SetupError
from fejoint.joint.file import joint_from_text, template
from fejoint.study.plan import MAX_CASES

LENGTH = "joint.overlap_length"
LAP = {key: value for key, value in BASES["single-lap"].items() if key != "sweep"}


@pytest.fixture
def joint_file(tmp_path):
    path = tmp_path / "joint.toml"
    path.write_text(document_text(LAP), encoding="utf-8")
    return path


def swept(joint_file, vary=None, **given):
    """The table of a sweep that solves almost nothing."""
    with cheap():
        return fejoint.sweep(joint_file, vary, executor=Inline(), **{"columns": ["peak_shear_MPa"], **given})


def refusal(joint_file, vary=None, **given):
    with pytest.raises((JointError, SetupError)) as caught:
        swept(joint_file, vary, **given)
    sentence = str(caught.value)
    assert sentence.isprintable()
    assert len(sentence) <= bench.LONGEST
    return sentence


# ---- some hundred of all ways --------------------------------------------


@pytest.mark.parametrize("way", WAYS)
def test_a_spoiled_sweep_works_or_is_refused_in_one_sentence(way, tmp_path_factory):
    @settings(max_examples=20, deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow])
    @given(st.randoms(use_true_random=False))
    def holds(rng):
        outcome(WAYS[way](rng), tmp_path_factory.mktemp("spoiled"))

    holds()


@pytest.mark.parametrize("way", WAYS)
def test_ways_spoil(way, tmp_path_factory):
    """Most are refused, or in most some case is: a way after which all works spoils nothing."""
    refused = 0
    for number in range(9):
        ended, _ = outcome(WAYS[way](random.Random(f"{way} {number}")), tmp_path_factory.mktemp("spoiled"))
        refused += ended == "refused"
    assert refused >= 2


def test_what_is_not_spoiled_works(tmp_path):
    for kind, document in BASES.items():
        (tmp_path / kind).mkdir()
        assert outcome(Spoiled(document_text(document).encode()), tmp_path / kind) == ("worked", "")


# What must be found, as an exception of a function of the sweep -> what is said of it.
BAD = {
    "two lines": (JointError("x\ny"), "several lines"),
    "endless": (JointError("x" * 10_000), "characters"),
    "nothing": (JointError(""), "several lines"),
    "another exception": (KeyError("x"), "x"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_is_wrong_would_be_seen(case, tmp_path, monkeypatch):
    from fejoint.study import sweep

    def fail(*_):
        raise error

    error, said = BAD[case]
    error.args = {"two lines": ("x\ny",), "endless": ("x" * 10_000,)}.get(case, error.args)  # past what errors do themselves
    monkeypatch.setattr(sweep, "make_plan", fail)
    with pytest.raises((Wrong, KeyError), match=said):
        outcome(Spoiled(document_text(LAP).encode(), arguments={"vary": {LENGTH: [10]}}), tmp_path)


def test_what_hangs_would_be_seen():
    def read():
        while True:
            try:
                time.sleep(5)
            except Exception:  # as readers of files may do
                continue

    with pytest.raises(Wrong, match="not done after 1 s"), bench.in_time(1):
        read()


def test_files_elsewhere_would_be_seen(tmp_path, monkeypatch):
    from fejoint.study import sweep

    monkeypatch.setattr(
        sweep, "make_plan", lambda *_: (tmp_path / "canary").touch() or (_ for _ in ()).throw(JointError("sweep"))
    )
    with pytest.raises(Wrong, match="left behind: canary"):
        outcome(Spoiled(document_text(LAP).encode(), arguments={"vary": {LENGTH: [10]}}), tmp_path)


# ---- single cases ---------------------------------------------------------


def test_refused_values_do_not_stop_the_others(joint_file, tmp_path):
    """Solved in earnest: three of ten are joints."""
    values = [12, "2 cm", "3 kg", -1, None, [1], float("nan"), 10**400, {"a": 1}, np.float64(14)]
    table = fejoint.sweep(joint_file, {LENGTH: values}, columns=["peak_shear_MPa"], executor=Inline(), out=tmp_path / "out")
    assert list(table["status"]) == ["done", "done", *["refused"] * 7, "done"]
    assert table["peak_shear_MPa"].notna().tolist() == (table["status"] == "done").tolist()
    refused = table[table["status"] == "refused"]
    assert refused["reason"].str.contains(LENGTH, regex=False).all()
    assert refused["reason"].str.contains("must|missing").all()
    assert np.isnan(table["joint.overlap_length_mm"][3])
    assert table["joint.overlap_length_mm"][2] == 20


def test_a_sweep_of_refused_joints_alone_is_a_table(joint_file, tmp_path):
    """With limits too, though there is no column to hold against them."""
    table = swept(joint_file, {LENGTH: ["3 kg", -1]}, limits=["peak_shear_MPa <= 30"], out=tmp_path / "out")
    assert list(table["status"]) == ["refused", "refused"]
    assert not table["feasible"].any()
    assert (tmp_path / "out" / "sweep.csv").is_file()


def test_a_limit_on_no_column_is_refused_before_anything_is_solved(joint_file, tmp_path):
    sentence = refusal(joint_file, {LENGTH: [10, 20]}, limits=["peak_shaer_MPa <= 30"], out=tmp_path / "out")
    assert "did you mean peak_shear_MPa?" in sentence
    assert not (tmp_path / "out").exists()


ODD_VALUES = {
    "quantities of the wrong dimension": pint.application_registry.Quantity([10, 20], "kg"),
    "a quantity of two dimensions of array": pint.application_registry.Quantity([[10, 20], [30, 40]], "mm"),
    "bytes": [b"10 mm"],
    "lone surrogates": ["\ud800 mm", "\udcff"],
    "a list that holds itself": [bench._round()],
    "nested deeply": [bench._deep(3_000)],
    "thousands of digits": [10**5000, -(10**5000)],
    "keys that are no text": [{1: 2, None: 3}],
    "text without end": ["x" * 10_000],
}


@pytest.mark.parametrize("case", ODD_VALUES)
@pytest.mark.parametrize("key", [LENGTH, "joint.lower.material", "joint.kind"])
def test_odd_values_are_refused_case_by_case(case, key, joint_file, tmp_path, capsys):
    table = swept(joint_file, {key: ODD_VALUES[case]}, out=tmp_path / "out")
    assert set(table["status"]) == {"refused"}
    assert table["reason"].str.contains(key.split(".")[-1], regex=False).all()
    assert all(reason.isprintable() and len(reason) <= bench.LONGEST for reason in table["reason"])
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("case", ODD_VALUES)
def test_odd_titles_work_or_are_refused(case, joint_file, tmp_path):
    """Of a title any text will do; its table is written and can be read again."""
    table = swept(joint_file, {"title": ODD_VALUES[case]}, out=tmp_path / "out")
    assert set(table["status"]) <= {"done", "refused"}
    assert list(pd.read_parquet(tmp_path / "out" / "sweep.parquet")["title"]) == list(table["title"])


@pytest.mark.parametrize("odd", [{1, 2}, "10 mm", 10, b"10", (n for n in (1, 2)), None, object(), np.float64(3), range(10**30)])
def test_what_is_no_list_of_values_is_refused(odd, joint_file):
    assert f"sweep.vary.{LENGTH}" in refusal(joint_file, {LENGTH: odd})


@pytest.mark.parametrize(
    ("name", "odd"),
    [
        ("vary", [LENGTH, [10]]),
        ("tie", 3),
        ("columns", {"a": 1}),
        ("columns", [object()]),
        ("limits", "peak_shear_MPa <= 30"),
        ("limits", [3]),
        ("limits", range(10**12)),
        ("columns", range(10**12)),
        ("points", b"grid"),
        ("samples", "many"),
        ("seed", -1),
        ("keep_curves", "perhaps"),
        ("workers", "two"),
        ("workers", 0),
        ("changes", "title=x"),
        ("changes", [3]),
        ("material_files", [3]),
        ("material_files", 3),
        ("out", 3),
        ("out", "a\0b"),
        ("out", "\ud800"),
    ],
)
def test_arguments_of_another_type_are_refused(name, odd, joint_file, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sentence = refusal(joint_file, **{"vary": {LENGTH: [10]}, name: odd})
    word = {"changes": ("changes", "--set"), "material_files": ("material_files", "check the path")}.get(name, (name[:-1],))
    assert any(w in sentence for w in word)
    assert [path.name for path in tmp_path.iterdir()] == ["joint.toml"]


@pytest.mark.parametrize("joint", ["joint\0.toml", "\ud800", "x" * 10_000, "/dev/zero", "two\nlines", 3, b"joint.toml", None])
def test_what_is_no_joint_is_refused(joint, tmp_path):
    with bench.in_time(10):
        refusal(joint, {LENGTH: [10]}, out=tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_more_than_a_million_cases_are_refused_whatever_the_patience(joint_file):
    steps = {"from": 10, "to": 20, "steps": 10_000}
    vary = {LENGTH: steps, "load.force": steps}
    with bench.in_time(20):
        assert f"more than {MAX_CASES} cases" in refusal(joint_file, vary, yes=True)
        assert f"more than {MAX_CASES} values" in refusal(joint_file, {LENGTH: range(10**12)}, yes=True)


# ---- tables of joints ------------------------------------------------------


def table_file(tmp_path, content, name="joints.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def parquet(frame):
    buffer = io.BytesIO()
    frame.to_parquet(buffer)
    return buffer.getvalue()


NO_FILES = {
    "pipe.csv": os.mkfifo,
    "pipe.parquet": os.mkfifo,
    "zero.csv": lambda path: path.symlink_to("/dev/zero"),
    "zero.parquet": lambda path: path.symlink_to("/dev/zero"),
    "loop.csv": lambda path: path.symlink_to(path),
    "folder.csv": lambda path: path.mkdir(),
    "folder.parquet": lambda path: path.mkdir(),
    "huge.csv": bench._sparse,
    "huge.parquet": bench._sparse,
    "nothing.csv": lambda path: None,
    f"{'long' * 100}.csv": lambda path: None,
    "two\nlines\x1b[31m.csv": lambda path: None,
}


@pytest.mark.parametrize("name", NO_FILES)
def test_a_table_that_is_no_file_is_refused_at_once(name, joint_file, tmp_path):
    NO_FILES[name](tmp_path / name)
    with bench.in_time(10):  # refused without being read: a few milliseconds
        sentence = refusal(joint_file, table=tmp_path / name, out=tmp_path / "out")
    assert "cannot be read" in sentence or "CSV or Parquet" in sentence or "larger than" in sentence
    assert not (tmp_path / "out").exists()


def test_a_small_file_of_very_many_joints_is_refused(joint_file, tmp_path):
    content = parquet(pd.DataFrame({LENGTH: np.full(MAX_CASES + 1, 20.0)}))
    assert len(content) < 100_000
    assert f"more than {MAX_CASES} rows" in refusal(joint_file, table=table_file(tmp_path, content, "joints.parquet"))


def test_a_packed_file_is_no_table(joint_file, tmp_path):
    """It may unpack without end."""
    import gzip

    path = table_file(tmp_path, gzip.compress(f"{LENGTH}\n20\n".encode()), "joints.csv.gz")
    assert "no table that can be read" in refusal(joint_file, table=path)


def test_a_row_with_more_cells_than_columns_is_refused(joint_file, tmp_path):
    """It would else shift all of its values by a column."""
    path = table_file(tmp_path, f"{LENGTH},load.force\n20,1000\n20,1000,3\n")
    assert "no table that can be read" in refusal(joint_file, table=path)
    path = table_file(tmp_path, f"{LENGTH},load.force\n10,20,1000\n")
    assert "no table that can be read" in refusal(joint_file, table=path)


def test_empty_cells_of_every_kind_leave_the_joint_files_value(joint_file, tmp_path):
    frame = pd.DataFrame(
        {
            LENGTH: pd.array([20, None, 30], dtype="Int64"),
            "load.force_N": [1000.0, float("nan"), 3000.0],
            "title": pd.array(["a", None, "c"], dtype="string"),
            "analysis.large_rotation": pd.array([False, None, False], dtype="boolean"),
        }
    )
    table = swept(joint_file, table=table_file(tmp_path, parquet(frame), "joints.parquet"))
    assert list(table["status"]) == ["done"] * 3
    assert table["joint.overlap_length_mm"].tolist()[::2] == [20, 30]


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_texts_are_kept_as_they_are(ending, joint_file, tmp_path):
    """Formulas of spreadsheets, numbers in a title, markup: a text is a text."""
    titles = ["=1+1", "=cmd|' /C calc'!A0", "1234", "true", "[bold]x[/]", "1e5", "007"]
    frame = pd.DataFrame({LENGTH: "20", "title": titles})
    path = tmp_path / f"joints.{ending}"
    frame.to_csv(path, index=False) if ending == "csv" else frame.to_parquet(path)
    table = swept(joint_file, table=path, out=tmp_path / "out")
    assert list(table["title"]) == titles
    assert list(table["status"]) == ["done"] * len(titles)
    assert list(pd.read_csv(tmp_path / "out" / "sweep.csv", dtype=str)["title"]) == titles
    assert list(pd.read_parquet(tmp_path / "out" / "sweep.parquet")["title"]) == titles


def test_cells_of_other_types_are_refused_case_by_case(joint_file, tmp_path):
    for cells in ([[1.0, 2.0], [3.0]], [b"\xff", b""], [{"value": 1.0}, {"value": 2.0}], pd.to_datetime(["2026-01-31"] * 2)):
        path = table_file(tmp_path, parquet(pd.DataFrame({LENGTH: cells})), "joints.parquet")
        assert list(swept(joint_file, table=path)["status"]) == ["refused", "refused"]


def test_the_table_stays_where_the_user_pointed(tmp_path, monkeypatch):
    """Of a joint file it stands beside it; of an argument where the caller is; no file but it is read."""
    (tmp_path / "study").mkdir()
    content = f"{LENGTH}\n20\n30\n"
    for place, lengths in (("joints.csv", content), ("study/joints.csv", f"{LENGTH}\n40\n")):
        table_file(tmp_path, lengths, place)
    file = tmp_path / "study" / "joint.toml"
    monkeypatch.chdir(tmp_path)
    for said, wanted in (("joints.csv", [40]), ("../joints.csv", [20, 30]), (str(tmp_path / "joints.csv"), [20, 30])):
        file.write_text(document_text({**LAP, "sweep": {"table": said}}))
        assert swept(file)["joint.overlap_length_mm"].tolist() == wanted
    assert swept(file, table="joints.csv")["joint.overlap_length_mm"].tolist() == [20, 30]


# ---- nothing runs, nothing goes elsewhere -----------------------------------


def test_nothing_that_is_named_or_given_is_run(joint_file, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for text in (CODE, f"{{{CODE}}}", "$(touch canary)", "`touch canary`", "@joint_file", "x' OR '1'='1"):
        swept(joint_file, {"title": [text], LENGTH: [text], "joint.lower.material": [text], "load.ends": [text]}, out="out")
        refusal(joint_file, {text: [1]})
        refusal(joint_file, {LENGTH: {"from": text, "to": text, "steps": 2}})
        refusal(joint_file, {LENGTH: [10]}, tie={text: text})
        refusal(joint_file, {LENGTH: [10]}, limits=[f"{text} <= 1", text])
        refusal(joint_file, {LENGTH: [10]}, columns=[text])
        refusal(joint_file, table=text)
    assert {path.name for path in tmp_path.iterdir()} == {"joint.toml", "out"}


def test_names_in_values_do_not_leave_the_folder(tmp_path):
    """File names come from nothing that is given: values, titles and names of functions that look like paths."""
    (tmp_path / "in").mkdir()
    document = {
        **LAP,
        "title": "../../title",
        "materials": {"adherend": {"../../own": {"elastic_modulus": 7e4, "poisson_ratio": 0.3}}},
    }
    file = tmp_path / "in" / "joint.toml"
    file.write_text(document_text(document))

    def column(result):
        return "../../text"

    vary = {"joint.lower.material": ["../../own", "../../../etc/passwd"], "title": ["../../a", "/a"]}
    table = swept(file, vary, columns=["peak_shear_MPa", column], keep_curves=True, out=tmp_path / "in" / "out")
    assert sorted(table["status"]) == ["done", "done", "refused", "refused"]
    assert [path.name for path in tmp_path.iterdir()] == ["in"]
    assert {path.name for path in (tmp_path / "in").iterdir()} == {"joint.toml", "out"}
    assert {path.name for path in (tmp_path / "in" / "out").iterdir()} == bench.OURS


def test_cheap_results_are_real_ones():
    """What stands for other joints in these tests is what the solver finds for the template."""
    joint = joint_from_text(template("single-lap"))
    assert bench.cheap_solve(joint).peak_shear == fejoint.solve(joint).peak_shear
