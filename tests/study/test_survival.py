"""What a sweep survives, at the size of a test; the full size is benchmarks/survival.py, which also says what a kill may cost."""

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from itertools import pairwise

import pandas as pd
import pytest

import fejoint
from benchmarks import survival
from benchmarks.survival import SILL, Here, Study, alive, at_risk, descendants, equal, full_disk, killed, unmounted, wait_until
from fejoint.errors import SetupError

JOINTS = 24


def lap(**load):
    sheet = fejoint.Adherend(material="aluminium 6082-T6", thickness=1.6, free_length="50 mm")
    return fejoint.Joint(
        geometry=fejoint.SingleLap(width=25, overlap_length=10, bondline_thickness=0.2, lower=sheet, upper=sheet),
        adhesive=fejoint.Adhesive(material="toughened epoxy"),
        load=fejoint.Load(**load or {"force": "1 kN"}),
    )


@pytest.fixture(scope="session")
def reference():
    """The study's table, solved one case after the other in this process, where nothing happens to anybody."""

    def computed(result):
        return f"{result.joint.geometry.overlap_length:g}/{result.joint.load.force:g}"

    return fejoint.sweep(
        lap(),
        vary={"joint.overlap_length": list(survival.OVERLAPS), "load.force": list(range(1000, 1000 + JOINTS // 2))},
        columns=["peak_shear_MPa", "peak_peel_MPa", "adherend_peak_MPa", computed],
        executor=Here(),
    ).drop(columns="seconds")


def test_what_is_at_risk_is_counted_right():
    """By hand: 2 workers, 2 tasks each, and in 0.25 s three cases of 0.1 s are begun (at 0, 0.1, 0.2 s)."""
    assert at_risk(workers=2, pause=0.1) == 2 * 2 * 3
    assert at_risk(workers=3, pause=0.0) == 3 * 2 * 64
    assert at_risk(workers=1, pause=0.3) == 2


def test_killed_over_and_over_it_comes_to_the_same_table(tmp_path, reference):
    study, kills = Study(tmp_path, JOINTS), 3
    rows = list(killed(study, kills, random.Random(5)))
    assert study.run() == (0, "")
    assert all(row.sound for row in rows), "PRAGMA integrity_check"
    assert not any(row.orphans for row in rows), "workers go when their parent has gone"
    assert not any(row.again for row in rows), "what the journal held is not computed again"
    assert all(row.lost <= at_risk() for row in rows)
    assert all(one.after <= other.before for one, other in pairwise(rows))
    assert 0 < rows[-1].after < JOINTS, "killed in the middle, or nothing was tested"
    # All that is computed more than once is what the kills lost, and every case was computed.
    counts = Counter(study.computed())
    assert len(counts) == JOINTS
    assert sum(counts.values()) - JOINTS == sum(row.lost for row in rows) <= kills * at_risk()
    assert equal(study.table(), reference)


@pytest.mark.slow
def test_killed_over_and_over_at_full_size():
    assert subprocess.run([sys.executable, "-m", "benchmarks.survival"], check=False).returncode == 0


def test_a_worker_killed_from_outside_changes_nothing(tmp_path, reference):
    study = Study(tmp_path, JOINTS)
    code, number = survival.workers_killed(study, 1, random.Random(2))
    assert (code, number) == (0, 1)
    assert equal(study.table(), reference)
    assert sum(Counter(study.computed()).values()) - JOINTS <= at_risk()
    assert len(study.computing()) > 2  # others went on in its place


def test_a_case_that_kills_its_worker_is_tried_once_more_then_lost(tmp_path, reference):
    deadly = "10/1003"
    study = Study(tmp_path, JOINTS, pause=0.0, deadly=(deadly,))
    assert study.run() == (0, "")
    table = study.table()
    lost = table["status"] == "lost"
    assert list(table.index[lost]) == [4]  # the fourth force of the first overlap
    assert table["reason"][4] == "its worker died, and again when it was tried alone"
    assert table.loc[4, ["peak_shear_MPa", "peak_peel_MPa"]].isna().all()
    pd.testing.assert_frame_equal(table[~lost], reference[~lost], check_exact=True)
    assert Counter(study.computed())[deadly] == 2

    before = Counter(study.computed())
    study.deadly = ()
    assert study.run(retry=True) == (0, "")
    assert Counter(study.computed()) - before == {deadly: 1}
    assert equal(study.table(), reference)


@pytest.mark.slow
def test_workers_that_die_whatever_they_do_end_the_sweep(tmp_path):
    """Nobody waits for a sweep whose every case takes a worker with it; 6 deaths in a row are enough."""

    def deadly(result):
        os.kill(os.getpid(), signal.SIGKILL)

    with pytest.raises(SetupError, match="the workers die whatever they are given") as caught:
        fejoint.sweep(
            lap(), vary={"load.force": list(range(100, 130))}, columns=["peak_shear_MPa", deadly], workers=1, out=tmp_path
        )
    assert str(caught.value).endswith(".")
    assert not (tmp_path / "sweep.csv").exists()


@pytest.mark.parametrize("kept", [10, pytest.param(20, marks=pytest.mark.slow)])
def test_a_full_disk_is_one_sentence_and_with_space_it_goes_on(tmp_path, reference, kept):
    """About so many cases fit; 2.5 to 5 kB each, journal and write-ahead log together."""
    study = Study(tmp_path, JOINTS, pause=0.0)
    if os.geteuid() != 0:
        pytest.skip("no file system can be mounted here: not root")
    try:
        code, said, sound, number = full_disk(study, 70_000 + 2_500 * kept)
    except subprocess.CalledProcessError as error:
        pytest.skip(f"no file system can be mounted here: {error.stderr}")
    try:
        assert code == 2 and sound
        assert said.count("\n") == 1 and said.endswith(".\n") and "free" in said and "space" in said
        assert number < JOINTS and (number == 0 or f"{number} finished case" in said)
        before = len(study.computed())
        assert study.run() == (0, "")
        assert len(study.computed()) - before == JOINTS - number
        assert equal(study.table(), reference)
    finally:
        unmounted(study)


@pytest.mark.slow
def test_a_limit_of_a_files_size_is_one_sentence_and_without_it_it_goes_on(tmp_path, reference):
    """For machines on which nobody may mount: the kernel refuses to let a file grow beyond a limit (setrlimit(2))."""
    study = Study(tmp_path, JOINTS, pause=0.0)
    limited = study.start(largest_file=60_000)
    out, err = limited.communicate(timeout=survival.DEADLINE)
    assert limited.returncode == 2 and out == ""
    assert err.count("\n") == 1 and err.endswith(".\n") and "cannot be written" in err
    assert study.sound() and len(study.kept()) < JOINTS
    assert study.run() == (0, "")
    assert equal(study.table(), reference)


class Breaks(Here):
    """Does one task, then is broken: it takes nothing more, or takes it and fails it, as the standard library's pool does."""

    def __init__(self, at):
        self.at, self.tasks = at, 0

    def submit(self, fn, /, *args, **kwargs):
        self.tasks += 1
        if self.tasks == 1:
            return super().submit(fn, *args, **kwargs)
        if self.at == "submit":
            raise BrokenProcessPool("A child process terminated abruptly")
        future = Future()
        future.set_exception(BrokenProcessPool("A process in the process pool was terminated abruptly"))
        return future


@pytest.mark.parametrize("at", ["submit", "result"])
def test_a_users_own_executor_that_breaks_is_one_sentence_and_a_new_one_goes_on(tmp_path, at):
    given = {"vary": {"load.force": [1000, 1001, 1002, 1003]}, "columns": ["peak_shear_MPa"], "out": tmp_path}
    with pytest.raises(SetupError, match="the executor's workers died; finished cases are kept: run the same again") as caught:
        fejoint.sweep(lap(), executor=Breaks(at), **given)
    assert str(caught.value).endswith(".") and not (tmp_path / "sweep.csv").exists()
    study = Study(tmp_path / "unused", 0)
    study.out = tmp_path
    assert 1 <= study.rows() < 4
    table = fejoint.sweep(lap(), executor=Here(), **given)
    assert list(table["status"]) == ["done"] * 4  # nothing is blamed on the cases


# ---- Ctrl-C

STUDY = (
    SILL
    + """
[sweep]
columns = ["peak_shear_MPa", "theories.Volkersen.peak_shear_MPa"]
[sweep.vary]
"joint.overlap_length" = { from = 10, to = 16, steps = 12 }
"""
)


@pytest.mark.parametrize("moment", ["at work", "at the start"])
def test_ctrl_c_says_what_is_kept_and_leaves_nobody_behind(tmp_path, moment):
    """Within 5 s, and ten more for a busy machine. Columns beside the default ones: this process has solved a joint before."""
    file, out = tmp_path / "sill.toml", tmp_path / "out"
    file.write_text(STUDY)
    command = [sys.executable, "-m", "fejoint", "sweep", str(file), "--out", str(out), "--workers", "2"]

    def start():
        return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)

    rows = survival.Study(tmp_path / "unused", 0)
    rows.out = out
    sweep = start()
    if moment == "at work":
        assert wait_until(lambda: rows.rows() >= 3, 120.0)
    else:
        assert wait_until(lambda: len(descendants(sweep.pid)) >= 2, 120.0)
    family = descendants(sweep.pid)
    os.killpg(sweep.pid, signal.SIGINT)  # as a terminal does: the whole group
    began = time.monotonic()
    said, err = sweep.communicate(timeout=60)
    assert time.monotonic() - began < 15.0
    assert sweep.returncode == 130 and said == ""
    kept = rows.rows()
    assert kept < 12 and err in (
        f"fejoint: interrupted: {kept} of 12 cases are kept in {out}; run the same again to go on.\n",
        *(["fejoint: interrupted: nothing begun.\n"] if kept == 0 else []),
    )
    assert wait_until(lambda: not any(map(alive, family)), 5.0)
    assert rows.sound()
    if (out / "sweep.csv").exists():  # of what there is so far
        so_far = pd.read_csv(out / "sweep.csv")
        assert (so_far["status"] == "done").sum() == kept
        assert (so_far["status"] == "missing").sum() == 12 - kept
    if moment == "at work":
        again = start()
        said, err = again.communicate(timeout=survival.DEADLINE)
        assert (again.returncode, err) == (0, "")
        assert equal(rows.table(), fejoint.sweep(file, executor=Here()).drop(columns="seconds"))
