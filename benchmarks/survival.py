"""What a sweep survives: its process killed over and over, its workers killed one by one, its disk full.

    python -m benchmarks.survival [--joints 500] [--kills 20] [--seed 1]

An invented study of the cabin's door sill: a lap of two overlaps under many
forces. Each accident is held against the same study left alone: in the end the
tables must be equal to the last bit (but for the column `seconds`), the journal
sound after every accident, and no case that the journal held may have been
computed again. Cases are counted where they are computed: a column of the
study appends a line to a file for each.

**What a kill may cost.** At most `TASKS_A_WORKER` tasks a worker are out at a
time, and each of them ends with the first case that its `seconds` (0.25 s) are
over after. Between a case's computation and its row on the disk there is no more
than that. A case of this study takes `PAUSE` at least, so a task computes at
most floor(0.25 s / PAUSE) + 1 cases: `at_risk` of them, whatever the machine.
Without a known least time of a case the bound is that of the tasks' size:
TASKS_A_WORKER x LARGEST_TASK a worker, 128.

Prints a table and exits 1 on a miss. tests/study/test_survival.py runs the same
at a smaller size.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import contextlib
import math
import random
import resource
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path

import pandas as pd

from fejoint.study.dispatch import LARGEST_TASK, TASKS_A_WORKER
from fejoint.study.work import Task

# The invented door sill, which the tests of sweeps start from too.
SILL = resources.files("fejoint.demo").joinpath("door-sill.toml").read_text(encoding="utf-8")

WORKERS = 2
PAUSE = 0.1  # s that every case takes at least
TASK_SECONDS: float = Task.__dataclass_fields__["seconds"].default
OVERLAPS = (10, 14)  # mm
DEADLINE = 300.0  # s, for anything to come to its end: no measure of speed, but of patience
# What a user would run; no guard for the main module.
SCRIPT = """
import os
import sys
import time

import fejoint
from fejoint.errors import FejointError

out, tally, joints, workers, pause, retry = sys.argv[1:7]
deadly = sys.argv[7:]


def computed(result):
    case = f"{result.joint.geometry.overlap_length:g}/{result.joint.load.force:g}"
    file = os.open(tally, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    os.write(file, f"{os.getpid()} {case}\\n".encode())
    os.close(file)
    if case in deadly:
        os.kill(os.getpid(), 9)
    time.sleep(float(pause))
    return case


sheet = fejoint.Adherend(material="aluminium 6082-T6", thickness=1.6, free_length="50 mm")
joint = fejoint.Joint(
    geometry=fejoint.SingleLap(width=25, overlap_length=10, bondline_thickness=0.2, lower=sheet, upper=sheet),
    adhesive=fejoint.Adhesive(material="toughened epoxy"),
    load=fejoint.Load(force="1 kN"),
)
try:
    fejoint.sweep(
        joint,
        vary={"joint.overlap_length": OVERLAPS, "load.force": list(range(1000, 1000 + int(joints) // 2))},
        columns=["peak_shear_MPa", "peak_peel_MPa", "adherend_peak_MPa", computed],
        out=out,
        workers=int(workers),
        retry=retry == "retry",
    )
except FejointError as error:
    print(error, file=sys.stderr)
    sys.exit(2)
""".replace("OVERLAPS", str(list(OVERLAPS)))


def at_risk(workers: int = WORKERS, pause: float = PAUSE) -> int:
    """Return how many cases may be computed and not yet on the disk at any moment."""
    return workers * TASKS_A_WORKER * min(LARGEST_TASK, math.floor(TASK_SECONDS / pause) + 1 if pause else LARGEST_TASK)


# ---- processes -----------------------------------------------------------


def alive(pid: int) -> bool:
    """Return whether a process runs; one that ended and that nobody asked after (a zombie) does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()[0] not in "ZX"
    except (FileNotFoundError, ProcessLookupError):
        return False


def descendants(pid: int) -> list[int]:
    """Return the processes that a process started, and those that they did."""
    parents: dict[int, list[int]] = {}
    for place in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError, ValueError, IndexError):
            words = place.read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()
            parents.setdefault(int(words[1]), []).append(int(place.parent.name))
    found, open_ends = [], [pid]
    while open_ends:
        children = parents.get(open_ends.pop(), [])
        found += children
        open_ends += children
    return found


def wait_until(condition: Callable[[], object], seconds: float = DEADLINE) -> bool:
    """Return whether a condition came true in time."""
    deadline = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.01)
    return True


class Here(Executor):
    """Does every task at once, in this process and thread: no workers that could die."""

    _max_workers = 1

    def submit(self, fn, /, *args, **kwargs):
        future: Future = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


# ---- the study -----------------------------------------------------------


@dataclass
class Study:
    """The study in a folder of its own, with the count of what was computed.

    `pause` and `deadly` (cases that kill their worker) may change from run to run; neither is part of what a journal is held to.
    """

    folder: Path
    joints: int
    workers: int = WORKERS
    pause: float = PAUSE
    deadly: tuple[str, ...] = ()
    out: Path = field(init=False)
    tally: Path = field(init=False)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        self.out, self.tally = self.folder / "out", self.folder / "tally.txt"
        (self.folder / "study.py").write_text(SCRIPT, encoding="utf-8")

    def start(self, retry: bool = False, largest_file: int = resource.RLIM_INFINITY) -> subprocess.Popen[str]:
        """Start the script, in a session of its own; no file may grow beyond `largest_file` bytes."""
        arguments = [self.out, self.tally, self.joints, self.workers, self.pause, "retry" if retry else "-", *self.deadly]
        return subprocess.Popen(
            [sys.executable, str(self.folder / "study.py"), *map(str, arguments)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (largest_file, resource.RLIM_INFINITY)),
        )

    def run(self, retry: bool = False) -> tuple[int, str]:
        """Run it to the end; return the exit code and what it said."""
        process = self.start(retry)
        out, err = process.communicate(timeout=DEADLINE)
        return process.returncode, out + err

    def computed(self) -> list[str]:
        """Return the cases computed by now, one after the other."""
        if not self.tally.exists():
            return []
        return [line.split()[1] for line in self.tally.read_text().splitlines()]

    def computing(self) -> set[int]:
        """Return the processes that have computed a case."""
        return {int(line.split()[0]) for line in self.tally.read_text().splitlines()} if self.tally.exists() else set()

    def kept(self) -> set[str]:
        """Return the cases that the journal holds."""
        if not (self.out / "journal.sqlite").exists():
            return set()
        with contextlib.closing(sqlite3.connect(self.out / "journal.sqlite")) as reader:
            query = "SELECT json_extract(columns, '$.computed') FROM outcome WHERE status = 'done'"
            return {case for (case,) in reader.execute(query)}

    def rows(self) -> int:
        """Return how many cases the journal holds, however they ended."""
        if not (self.out / "journal.sqlite").exists():
            return 0
        with contextlib.closing(sqlite3.connect(self.out / "journal.sqlite")) as reader:
            return int(reader.execute("SELECT count(*) FROM outcome").fetchone()[0])

    def sound(self) -> bool:
        """Return whether SQLite finds the journal whole; one that is not there yet is."""
        if not (self.out / "journal.sqlite").exists():
            return True
        with contextlib.closing(sqlite3.connect(self.out / "journal.sqlite")) as reader:
            return reader.execute("PRAGMA integrity_check").fetchall() == [("ok",)]

    def table(self) -> pd.DataFrame:
        """Return the final table by case, without the column `seconds`."""
        return pd.read_parquet(self.out / "sweep.parquet").sort_index().drop(columns="seconds")


def equal(one: pd.DataFrame, other: pd.DataFrame) -> bool:
    """Return whether two tables agree in every digit, type and name."""
    try:
        pd.testing.assert_frame_equal(one, other, check_exact=True)
    except AssertionError:
        return False
    return True


# ---- accidents -----------------------------------------------------------


@dataclass(frozen=True)
class Kill:
    """One killed run: what the journal held before and after, what was computed and lost, what was computed in vain."""

    moment: str
    before: int
    after: int
    lost: int
    again: int
    sound: bool
    orphans: int


def killed(study: Study, kills: int, moments: random.Random) -> Iterator[Kill]:
    """Run the study `kills` times, each killed by SIGKILL at a random moment; what is left of it remains to be done.

    A quarter of the moments lie while it starts (up to 3 s), the others while
    it works: after a random number of cases, and up to half a second more.
    """
    for number in range(kills):
        before, begun = study.kept(), len(study.computed())
        process = study.start()
        if number % 4 == 3:
            delay = moments.uniform(0.0, 3.0)
            moment = f"{delay:.2f} s after its start"
            wait_until(lambda process=process: process.poll() is not None, delay)
        else:
            most = max(1, (study.joints - len(before)) // (kills - number + 1))
            cases, delay = moments.randint(1, most), moments.uniform(0.0, 0.5)
            moment = f"{cases} cases and {delay:.2f} s"
            enough = begun + cases
            wait_until(lambda e=enough, p=process: len(study.computed()) >= e or p.poll() is not None)
            time.sleep(delay)
        family = descendants(process.pid)
        process.kill()  # this process alone: workers are to find out by themselves
        process.wait(DEADLINE)
        wait_until(lambda family=family: not any(map(alive, family)), 20.0)
        orphans = [pid for pid in family if alive(pid)]
        for pid in orphans:
            os.kill(pid, signal.SIGKILL)
        process.communicate(timeout=DEADLINE)
        sound, after = study.sound(), study.kept()
        now = study.computed()[begun:]
        yield Kill(moment, len(before), len(after), len(set(now) - after), len(set(now) & before), sound, len(orphans))


def full_disk(study: Study, size: int) -> tuple[int, str, bool, int]:
    """Run the study on a file system of `size` bytes; return exit code, sentence, soundness and number of cases kept.

    The file system stays, with room, for the next run; `unmounted` takes it away.
    """
    study.out.mkdir(exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(study.out)], check=True, capture_output=True)
    code, said = study.run()
    found = code, said, study.sound(), len(study.kept())
    subprocess.run(["mount", "-o", "remount,size=100m", str(study.out)], check=True, capture_output=True)
    return found


def unmounted(study: Study) -> None:
    """Take the file system of `full_disk` away."""
    subprocess.run(["umount", str(study.out)], check=True, capture_output=True)


def workers_killed(study: Study, kills: int, moments: random.Random) -> tuple[int, int]:
    """Run the study to its end and kill a worker of it now and then; return the exit code and how many were killed."""
    process, done, spent = study.start(), 0, set[int]()
    while done < kills:
        enough = len(study.computed()) + moments.randint(3, max(4, study.joints // (4 * kills)))
        wait_until(lambda e=enough: len(study.computed()) >= e or process.poll() is not None)
        if process.poll() is not None:
            break
        at_work = sorted(pid for pid in study.computing() - spent if alive(pid))
        if at_work:
            victim = moments.choice(at_work)
            os.kill(victim, signal.SIGKILL)
            spent |= set(at_work)  # its sound fellows are replaced with it
            done += 1
    out, err = process.communicate(timeout=DEADLINE)
    print(out + err, file=sys.stderr, end="")
    return process.returncode, done


def main() -> int:
    """Have all accidents happen, print what came of them, exit 1 on a miss."""
    parser = argparse.ArgumentParser(description="What a sweep survives.")
    parser.add_argument("--joints", type=int, default=500)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    moments, misses = random.Random(asked.seed), []

    def hold(what: str, holds: bool) -> None:
        print(f"  {'holds ' if holds else 'MISSED'}  {what}", flush=True)
        if not holds:
            misses.append(what)

    with tempfile.TemporaryDirectory() as folder:
        top, start = Path(folder), time.perf_counter()
        alone = Study(top / "alone", asked.joints)
        code, said = alone.run()
        print(f"left alone: {asked.joints} joints in {time.perf_counter() - start:.0f} s, {WORKERS} workers")
        hold("every case is done, and computed once", code == 0 and set(Counter(alone.computed()).values()) == {1})
        reference = alone.table()
        if code or len(reference) != asked.joints:
            print(said)
            return 1

        print(f"\nthe process killed at {asked.kills} moments; at risk each time: {at_risk()} cases or fewer")
        study, rows = Study(top / "killed", asked.joints), []
        print(f"{'killed after':>26} {'kept before':>12} {'kept after':>11} {'lost':>5} {'again':>6} journal  orphans")
        for kill in killed(study, asked.kills, moments):
            rows.append(kill)
            soundness = "ok" if kill.sound else "BAD"
            print(
                f"{kill.moment:>26} {kill.before:12} {kill.after:11} {kill.lost:5} {kill.again:6} {soundness:7} {kill.orphans:8}"
            )
        code, said = study.run()
        counts = Counter(study.computed())
        more = sum(count - 1 for count in counts.values())
        print(
            f"computed {sum(counts.values())} times for {len(counts)} cases: {more} again, the bound is {asked.kills * at_risk()}"
        )
        hold("journal sound after every kill", all(kill.sound for kill in rows))
        hold("no case of the journal is computed again", not any(kill.again for kill in rows))
        hold("no more lost than was at risk", all(kill.lost <= at_risk() for kill in rows))
        hold("computed again: only what the kills lost", more == sum(kill.lost for kill in rows))
        hold("no process left behind", not any(kill.orphans for kill in rows))
        hold("the table is that of the study left alone", code == 0 and equal(study.table(), reference))

        print("\na worker killed in the middle, five times")
        study = Study(top / "workers", asked.joints)
        code, done = workers_killed(study, 5, moments)
        counts, table = Counter(study.computed()), study.table()
        more, lost = sum(counts.values()) - len(counts), table["status"] == "lost"
        print(f"{done} killed; {more} cases computed again, the bound is {done * at_risk()}; {lost.sum()} lost")
        hold("five were killed", done == 5)
        hold("no more computed again than was at risk", more <= done * at_risk())
        # One that is tried alone, after the death of a worker, and is struck then, has lost two workers.
        hold("lost: none by the first kill, one at most by each of the others", lost.sum() < done and code == 0)
        hold("all others are those of the study left alone", equal(table[~lost], reference[~lost]))
        code, said = study.run(retry=True)
        hold("tried again, the table is that of the study left alone", code == 0 and equal(study.table(), reference))

        if os.geteuid() == 0:
            for size in (2500 * asked.joints, 4000 * asked.joints):
                print(f"\na disk of {size // 1000} kB")
                study = Study(top / f"full-{size}", asked.joints, pause=0.0)
                try:
                    code, said, sound, kept = full_disk(study, size)
                    print(f"exit code {code}, {kept} kept: {said.strip()}")
                    hold("exit code 2, one sentence", code == 2 and said.count("\n") == 1)
                    hold("journal sound", sound)
                    code, said = study.run()
                    hold("with more space the table is that of the study left alone", equal(study.table(), reference))
                finally:
                    unmounted(study)
        print(f"\n{time.perf_counter() - start:.0f} s; {len(misses)} missed")
    return 1 if misses else 0


if __name__ == "__main__":
    sys.exit(main())
