"""The journal: nothing that was recorded is lost, nothing half-written is there, nothing wrong is read back."""

import contextlib
import errno
import fcntl
import hashlib
import json
import math
import os
import random
import signal
import sqlite3
import stat
import subprocess
import sys
import textwrap
import time
import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fejoint.errors import SetupError
from fejoint.study.journal import STATUSES, Journal, Outcome

STUDY = {"version fejoint": "0.1.0", "joint.load.force": "2 kN", "joint.overlap_length": "12.5 mm", "columns": "peak_shear_MPa"}


def key(number):
    return hashlib.sha256(str(number).encode()).hexdigest()


def outcome(number, **changes):
    given = {"status": "done", "values": {"peak_shear_MPa": number / 7, "passed": True}, "seconds": 0.25} | changes
    return Outcome(key(number), **given)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "sweep.sqlite"


def names(folder):
    return sorted(file.name for file in folder.iterdir())


def refusal(path, study=STUDY):
    """What a person is told who opens a journal: one sentence."""
    with pytest.raises(SetupError) as caught:
        Journal(path, study)
    text = str(caught.value)
    assert text.startswith(str(path.parent)) and text.endswith(".") and "\n" not in text
    return text


def python(code, *arguments, **options):
    command = [sys.executable, "-c", textwrap.dedent(code), *map(str, arguments)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options)


# ---- keeping and giving back


@pytest.mark.parametrize("kept", ["in a file", "in memory"])
def test_outcomes_come_back_as_they_went_in_and_in_the_order_asked_for(path, kept):
    given = [outcome(i, status=status, reason=f"because of {i}", curves=bytes([i]) * i) for i, status in enumerate(STATUSES)]
    with Journal(path if kept == "in a file" else None, STUDY) as journal:
        assert journal.statuses() == {}
        journal.record(given[:2])
        journal.record(iter(given[2:]))
        assert journal.statuses() == {one.key: one.status for one in given}
        asked = [key(4), key("unknown"), key(0), key(2)]
        assert list(journal.outcomes(asked, curves=True)) == [given[4], given[0], given[2]]
        assert [one.curves for one in journal.outcomes(asked)] == [None, None, None]
        # in place of the former one, curves too
        journal.record([outcome(4, status="done")])
        assert list(journal.outcomes([key(4)], curves=True)) == [outcome(4)]
        assert len(journal.statuses()) == len(STATUSES)


def test_a_journal_that_is_opened_again_knows_everything_and_leaves_one_file(path):
    with Journal(path, STUDY) as journal:
        journal.record([outcome(1), outcome(2)])
    assert names(path.parent) == ["sweep.sqlite"]
    with Journal(path, STUDY) as journal:
        journal.record([outcome(3)])
        assert list(journal.outcomes(map(key, (1, 2, 3)))) == [outcome(1), outcome(2), outcome(3)]
    assert names(path.parent) == ["sweep.sqlite"]


values = st.one_of(
    st.floats(), st.floats(-5e-324 * 2**40, 5e-324 * 2**40), st.integers(), st.booleans(), st.none(), st.text(), st.just(-0.0)
)


@given(values=st.dictionaries(st.text(), values, max_size=8), reason=st.text(), seconds=st.floats(0.0))
def test_values_come_back_bit_by_bit(values, reason, seconds):
    """Python's repr of a float is the shortest text that reads back as the same one, so nothing is allowed to differ."""
    with Journal(None, {}) as journal:
        journal.record([Outcome("a", "done", reason, values, seconds)])
        (back,) = journal.outcomes(["a"])
    expected = {name: None if isinstance(v, float) and not math.isfinite(v) else v for name, v in values.items()}
    assert [(name, type(v), repr(v)) for name, v in back.values.items()] == [
        (name, type(v), repr(v)) for name, v in expected.items()
    ]
    assert back.reason == reason and (repr(back.seconds) == repr(seconds))


def test_numbers_of_numpy_are_kept_as_pythons():
    given = {
        "a": np.float64(0.1),
        "b": np.float32(0.5),
        "c": np.int64(3),
        "d": np.bool_(True),
        "e": np.float32("nan"),
        "f": np.nan,
    }
    with Journal(None, {}) as journal:
        journal.record([Outcome("a", "done", values=given)])
        (back,) = journal.outcomes(["a"])
        assert back.values == {"a": 0.1, "b": 0.5, "c": 3, "d": True, "e": None, "f": None}
        with pytest.raises((TypeError, AttributeError)):
            journal.record([Outcome("b", "done", values={"a": object()})])
        assert journal.statuses() == {"a": "done"}


def test_a_reason_that_is_no_text_is_kept_as_far_as_it_is():
    with Journal(None, {}) as journal:
        journal.record([Outcome("a", "failed", "file \udcff is not there")])
        assert next(journal.outcomes(["a"])).reason == "file ? is not there"


@pytest.mark.parametrize("wrong", ["a status", "an error half-way", "an interruption"])
def test_a_record_is_all_or_nothing(path, wrong):
    def some():
        yield outcome(2)
        if wrong == "a status":
            yield outcome(3, status="finished")
        raise KeyboardInterrupt if wrong == "an interruption" else ZeroDivisionError

    with Journal(path, STUDY) as journal:
        journal.record([outcome(1)])
        with pytest.raises((ValueError, ZeroDivisionError, KeyboardInterrupt)):
            journal.record(some())
        assert list(journal.statuses()) == [key(1)]
        journal.record([outcome(4)])
        assert list(journal.statuses()) == [key(1), key(4)]


def test_every_commit_goes_to_the_disk(path):
    """A power cut cannot be tried here. sqlite.org/pragma.html: FULL (2) syncs the log after every transaction."""
    with Journal(path, STUDY) as journal:
        assert journal._connection.execute("PRAGMA synchronous").fetchone() == (2,)
        assert journal._connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_a_closed_journal_says_so(path):
    journal = Journal(path, STUDY)
    journal.close()
    journal.close()
    with pytest.raises(ValueError, match="is closed"):
        journal.record([outcome(1)])


def test_a_disk_that_is_full_before_anything_is_open_is_one_sentence_without_assertions_too(path):
    code = """
        import sqlite3, sys
        from pathlib import Path
        from fejoint.study import journal
        def full(*_):
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorcode = sqlite3.SQLITE_FULL
            raise error
        journal._create = full
        try:
            journal.Journal(Path(sys.argv[1]), {})
        except journal.SetupError as error:
            print(error)
    """
    out, err = python(code, path, env=os.environ | {"PYTHONOPTIMIZE": "1"}).communicate(timeout=60)
    assert (out, err) == (f"{path.parent} is full: what was finished is kept; free some space and run the same again.\n", "")


class Impatient:
    """A connection of SQLite whose user presses Ctrl-C, once more, at a moment of the closing."""

    def __init__(self, connection, moment):
        self.connection, self.moment, self.closed = connection, moment, False

    def execute(self, text):
        if self.moment in text:
            raise KeyboardInterrupt
        return self.connection.execute(text)

    def close(self):
        self.connection.close()
        self.closed = True
        if self.moment == "close":
            raise KeyboardInterrupt


@pytest.mark.parametrize("moment", ["wal_checkpoint", "close"])
def test_ctrl_c_while_it_closes_leaves_no_lock(path, moment):
    journal = Journal(path, STUDY)
    journal.record([outcome(1)])
    journal._connection = connection = Impatient(journal._connection, moment)
    with pytest.raises(KeyboardInterrupt):
        journal.close()
    assert connection.closed
    with Journal(path, STUDY) as journal:
        assert len(journal.statuses()) == 1
    assert names(path.parent) == ["sweep.sqlite"]


def test_streaming_needs_no_memory():
    """2,000 outcomes with 50 kB each are 100 MB; one at a time with its row is far below 1 MB."""
    number, size = 2000, 50_000
    with Journal(None, STUDY) as journal:
        journal.record(outcome(i, curves=bytes(size)) for i in range(number))
        keys = [key(i) for i in range(number)]
        tracemalloc.start()
        try:
            total = sum(len(one.curves) for one in journal.outcomes(keys, curves=True))
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
    assert total == number * size
    assert peak < 1_000_000


# ---- whose journal it is


def test_another_study_is_told_by_what_differs(path):
    with Journal(path, STUDY) as journal:
        journal.record([outcome(1)])
    before = path.read_bytes()
    text = refusal(path, STUDY | {"joint.load.force": "3 kN"})
    assert "belongs to another study: joint.load.force was 2 kN and is now 3 kN; choose another folder for --out" in text
    fewer = {name: value for name, value in STUDY.items() if name != "columns"}
    assert "columns was peak_shear_MPa and is now not given" in refusal(path, fewer)
    assert "limits was not given and is now peak_peel_MPa <= 20" in refusal(path, STUDY | {"limits": "peak_peel_MPa <= 20"})
    text = refusal(path, {name: "other" for name in STUDY})
    assert text.count(" was ") == 3 and "(and 1 more)" in text
    assert path.read_bytes() == before and names(path.parent) == ["sweep.sqlite"]
    with Journal(path, dict(reversed(STUDY.items()))) as journal:
        assert journal.statuses() == {key(1): "done"}


def foreign_database(path):
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("CREATE TABLE outcome (key TEXT)")


def later_format(path):
    Journal(path, STUDY).close()
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 7")


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda path: path.write_text("case,peak_shear_MPa\n" * 50), "is no journal of a sweep"),
        (lambda path: path.write_bytes(b""), "is no journal of a sweep"),
        (lambda path: path.write_bytes(b"SQLite format 3\0"), "is no journal of a sweep"),
        (foreign_database, "is a database of another program"),
        (later_format, "its format is 7, this one's is 1"),
    ],
)
def test_what_is_no_journal_is_left_untouched(path, make, said):
    make(path)
    before = path.read_bytes(), names(path.parent)
    assert said in refusal(path)
    assert (path.read_bytes(), names(path.parent)) == before


def test_no_folder_and_a_folder_in_its_place(tmp_path):
    assert "there is no folder" in refusal(tmp_path / "none" / "sweep.sqlite")
    (tmp_path / "sweep.sqlite").mkdir()
    assert "is a folder" in refusal(tmp_path / "sweep.sqlite")
    assert names(tmp_path) == ["sweep.sqlite"]


@contextlib.contextmanager
def mounted(folder, options):
    """A small file system of its own; needs the right to mount."""
    folder.mkdir(exist_ok=True)
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)], capture_output=True, text=True)
    if done.returncode:
        pytest.skip(f"no file system can be mounted here: {done.stderr.strip()}")
    try:
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)


@pytest.mark.parametrize("there", [False, True])
def test_a_folder_that_cannot_be_written(tmp_path, there):
    folder = tmp_path / "read-only"
    folder.mkdir()
    with contextlib.ExitStack() as stack:
        if os.geteuid() == 0:  # permissions do not bind root
            stack.enter_context(mounted(folder, "size=1m"))
        if there:
            Journal(folder / "sweep.sqlite", STUDY).close()
        if os.geteuid() == 0:
            subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        else:
            folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
        assert "read-only" in refusal(folder / "sweep.sqlite") or "permission" in refusal(folder / "sweep.sqlite")


# ---- one run at a time


def test_two_runs_at_once_are_refused_with_the_name_of_the_first(path):
    with Journal(path, STUDY) as journal:
        journal.record([outcome(1)])
        said = refusal(path)  # in this process
        assert f"is in use by process {os.getpid()} on " in said and "wait for it or choose another folder" in said
        other = python(
            """
            import sys; from pathlib import Path; from fejoint.study.journal import Journal
            try:
                Journal(Path(sys.argv[1]), {})
            except Exception as error:
                print(error)
            """,
            path,
        )
        assert other.communicate(timeout=60) == (said + "\n", "")
        journal.record([outcome(2)])
        assert len(journal.statuses()) == 2
    Journal(path, STUDY).close()


HOLD = """
import os, sys, time
from pathlib import Path
from fejoint.study.journal import Journal, Outcome
journal = Journal(Path(sys.argv[1]), {})
journal.record([Outcome("a", "done")])
if "fork" in sys.argv and os.fork() == 0:
    print(os.getpid(), flush=True)
    os.close(1), os.close(2)
    time.sleep(1000)
if "exec" in sys.argv:
    import subprocess
    no = subprocess.DEVNULL
    print(subprocess.Popen(["sleep", "1000"], stdout=no, stderr=no, close_fds=False).pid, flush=True)
if "alone" in sys.argv:
    print(0, flush=True)
time.sleep(1000)
"""


@pytest.mark.parametrize("children", ["alone", "fork", "exec"])
def test_a_killed_run_leaves_no_lock_even_if_its_workers_live_on(path, children):
    run = python(HOLD, path, children)
    child = int(run.stdout.readline())
    try:
        assert f"process {run.pid} on" in refusal(path, {})
        run.kill()
        run.communicate(timeout=10)
        with Journal(path, {}) as journal:
            assert journal.statuses() == {"a": "done"}
        assert names(path.parent) == ["sweep.sqlite"]
    finally:
        if child:
            os.kill(child, signal.SIGKILL)


def test_a_lock_file_that_is_removed_while_it_is_waited_for_locks_nothing(path, monkeypatch):
    """Its holder removes it between another one's opening and locking it: a third would lock a file of the same name."""
    real, removed = fcntl.flock, []

    def flock(file, operation):
        if not removed:
            removed.append(path.with_name("sweep.sqlite.lock"))
            removed[0].unlink()
        real(file, operation)

    monkeypatch.setattr(fcntl, "flock", flock)
    with Journal(path, STUDY):
        assert removed[0].exists() and "is in use by" in refusal(path)


def test_a_file_system_without_locks_is_refused(path, monkeypatch):
    def flock(*_):
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    monkeypatch.setattr(fcntl, "flock", flock)
    with pytest.raises(SetupError, match=r"files cannot be locked there \(no locks available\); choose a folder on a local disk"):
        Journal(path, STUDY)


def test_a_person_reads_along(path):
    with Journal(path, STUDY) as journal:
        journal.record([outcome(1)])
        with contextlib.closing(sqlite3.connect(path)) as reader:
            rows = reader.execute("SELECT status, count(*) FROM outcome GROUP BY status")
            journal.record([outcome(2, status="missed")])  # while the reader is at it
            assert rows.fetchall() == [("done", 1)]
            assert reader.execute("SELECT count(*) FROM outcome").fetchone() == (2,)
            reader.execute("BEGIN")
            reader.execute("SELECT * FROM outcome").fetchone()
            began = time.perf_counter()
            journal.close()
            assert time.perf_counter() - began < 2.0
    with Journal(path, STUDY) as journal:
        assert len(journal.statuses()) == 2
    assert names(path.parent) == ["sweep.sqlite"]


def test_a_person_who_holds_it_is_named(path, monkeypatch):
    monkeypatch.setattr("fejoint.study.journal._PATIENCE", 0.1)
    with Journal(path, STUDY) as journal, contextlib.closing(sqlite3.connect(path, isolation_level=None)) as other:
        journal.record([outcome(1)])
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(SetupError, match=r"another program holds it \(1 finished case is kept\)"):
            journal.record([outcome(2)])
        other.execute("ROLLBACK")
        journal.record([outcome(2)])


# ---- accidents

WRITE = """
import os, sys
from pathlib import Path
from fejoint.study.journal import Journal, Outcome
with Journal(Path(sys.argv[1]), {}) as journal:
    number = len(journal.statuses())
    while True:
        some = [Outcome(str(i), "done", "", {"a": i / 7}, i / 3, bytes([i % 256]) * 20_000) for i in range(number, number + 3)]
        journal.record(some)
        number += 3
        os.write(1, f"{number}\\n".encode())
"""


def test_killed_at_any_moment_it_keeps_all_that_record_returned_for(path):
    """One journal, 10 runs on it, each killed: some while they open it, most while they write."""
    moments, total = random.Random(3), 0
    for run in range(10):
        writer = python(WRITE, path)
        if run % 4:
            writer.stdout.readline()
            time.sleep(moments.uniform(0.0, 0.1))
        else:
            time.sleep(moments.uniform(0.05, 0.3))
        writer.kill()
        told = writer.communicate(timeout=10)[0].split()
        if told:
            total = int(told[-1])
        if not path.exists():
            continue
        with contextlib.closing(sqlite3.connect(path)) as reader:
            assert reader.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        if run % 5 == 2:  # else it is the next run that picks it up
            with Journal(path, {}) as journal:
                assert len(journal.statuses()) % 3 == 0
        with contextlib.closing(sqlite3.connect(path)) as reader:
            there = reader.execute("SELECT count(*) FROM outcome").fetchone()[0]
        assert there >= total and there % 3 == 0
        total = there
    assert total > 100
    with Journal(path, {}) as journal:
        for number, one in enumerate(journal.outcomes(map(str, range(total)), curves=True)):
            assert one == Outcome(str(number), "done", "", {"a": number / 7}, number / 3, bytes([number % 256]) * 20_000)
        assert number == total - 1
    assert names(path.parent) == ["sweep.sqlite"]


BREAK_OFF = """
import os, sys
from pathlib import Path
from fejoint.study import journal
def create(connection, study):
    connection.executescript(journal._SCHEMA)
    if sys.argv[2] == "written":
        connection.execute("COMMIT")
    os.kill(os.getpid(), 9)
journal._create = create
journal.Journal(Path(sys.argv[1]), {})
"""


@pytest.mark.parametrize("moment", ["begun", "written"])
def test_killed_while_it_is_made_it_is_not_there_at_all(path, moment):
    """Not as a file that is no journal, which would be refused ever after."""
    run = python(BREAK_OFF, path, moment)
    run.communicate(timeout=30)
    assert run.returncode == -signal.SIGKILL and not path.exists() and names(path.parent)
    with Journal(path, STUDY) as journal:
        journal.record([outcome(1)])
    assert names(path.parent) == ["sweep.sqlite"]


FILL = """
import json, sys
from pathlib import Path
from fejoint.errors import SetupError
from fejoint.study.journal import Journal, Outcome
if len(sys.argv) > 2:
    import resource
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
number, said = 0, None
with Journal(Path(sys.argv[1]), {}) as journal:
    number = len(journal.statuses())
    try:
        for _ in range(2000):
            journal.record([Outcome(str(i), "done", curves=bytes(5000)) for i in (number, number + 1)])
            number += 2
    except SetupError as error:
        said = str(error)
    kept = sorted(journal.statuses(), key=int)
    journal_reads = sum(len(one.curves) for one in journal.outcomes(kept, curves=True))
print(json.dumps([number, said, len(kept), journal_reads]))
"""


def check_full(folder, said_first, *limit):
    path = folder / "sweep.sqlite"
    out, err = python(FILL, path, *limit).communicate(timeout=60)
    assert err == ""
    number, said, kept, read = json.loads(out)
    assert kept == number > 20 and read == 5000 * kept
    assert said_first in said and f"{number} finished cases are kept" in said and said.endswith(".")
    return path, number


def test_a_full_disk_keeps_what_was_recorded(tmp_path):
    folder = tmp_path / "small"
    with mounted(folder, "size=1m"):
        (folder / "ballast").write_bytes(bytes(200_000))
        path, number = check_full(folder, f"{folder} is full: ")
        with contextlib.closing(sqlite3.connect(path)) as reader:
            assert reader.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        (folder / "ballast").unlink()  # space is made, and the same is run again
        with Journal(path, {}) as journal:
            assert len(journal.statuses()) == number
            journal.record([outcome(1)])
        (folder / "ballast").write_bytes(bytes(int(os.statvfs(folder).f_bavail * os.statvfs(folder).f_bsize)))
        full = folder / "another.sqlite"
        assert f"{folder} is full" in refusal(full) or "no space left" in refusal(full)
        assert not full.exists()


def test_a_limit_of_a_files_size_keeps_what_was_recorded(tmp_path):
    path, number = check_full(tmp_path, "cannot be written (disk I/O error)", 400_000)
    with contextlib.closing(sqlite3.connect(path)) as reader:
        assert reader.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    with Journal(path, {}) as journal:  # without the limit it goes on
        journal.record([outcome(1)])
        assert len(journal.statuses()) == number + 1


@pytest.fixture
def full_journal(path):
    with Journal(path, STUDY) as journal:
        journal.record([outcome(i, curves=str(i).encode() * 5000, reason=f"number {i:05d}") for i in range(300)])
    return path


def read_all(path):
    with Journal(path, STUDY) as journal:
        return list(journal.outcomes(map(key, range(300)), curves=True))


@pytest.mark.parametrize("part", [0.02, 0.5, 0.999])
def test_a_truncated_journal_is_told(full_journal, part):
    data = full_journal.read_bytes()
    full_journal.write_bytes(data[: int(part * len(data))])
    before = full_journal.read_bytes()
    assert "is damaged" in refusal(full_journal)
    assert full_journal.read_bytes() == before and names(full_journal.parent) == ["sweep.sqlite"]


def test_a_damaged_page_is_told_on_opening(full_journal):
    """Not in the middle of the run, after hours."""
    data = bytearray(full_journal.read_bytes())
    size = int.from_bytes(data[16:18], "big")
    page = data.index(b"number 00123") // size * size
    data[page + 8 : page + 40] = bytes(32)  # pointers to the rows of this page
    full_journal.write_bytes(data)
    assert "is damaged" in refusal(full_journal)


@pytest.mark.parametrize("seed", range(6))
def test_garbage_in_the_middle_is_told_and_never_read_as_a_result(full_journal, seed):
    """SQLite itself has no checksums: garbage in the middle of a large value would come back as the value."""
    whole = read_all(full_journal)
    chance = random.Random(seed)
    data = bytearray(full_journal.read_bytes())
    size = chance.choice([1, 100, 4096, 20_000])
    place = chance.randrange(100, len(data) - size)
    data[place : place + size] = bytes(byte ^ 0x5A for byte in data[place : place + size])
    full_journal.write_bytes(data)
    try:
        back = read_all(full_journal)
    except SetupError as error:
        assert "is damaged" in str(error) or "belongs to another study" in str(error)
    else:
        assert back == whole  # the garbage fell on a page that nothing uses


@pytest.mark.parametrize(("old", "new"), [(b"number 00123", b"number 00124"), (b"123123123123", b"123123123124")])
def test_a_changed_value_is_told(full_journal, old, new):
    data = full_journal.read_bytes()
    assert old in data
    full_journal.write_bytes(data.replace(old, new, 1))
    with pytest.raises(SetupError, match=r"is damaged \(checksum of case .*move the file away, and the cases are solved anew"):
        read_all(full_journal)


def test_what_a_removed_journal_left_is_not_played_into_a_new_one(path):
    """The write-ahead log of a killed run, and no file that it belongs to."""
    run = python(HOLD, path, "alone")
    run.stdout.readline()
    run.kill()
    run.communicate(timeout=10)
    assert "sweep.sqlite-wal" in names(path.parent)
    path.unlink()
    with Journal(path, STUDY) as journal:
        assert journal.statuses() == {}
        journal.record([outcome(1)])
    assert names(path.parent) == ["sweep.sqlite"]
