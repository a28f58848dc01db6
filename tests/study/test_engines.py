"""Worker processes: where they run, how they die, what a person is told."""

import concurrent.futures
import errno
import importlib.util
import os
import signal
import subprocess
import sys
import textwrap
import threading
import time
import types
from concurrent.futures.process import BrokenProcessPool

import pytest

from benchmarks.survival import alive, wait_until
from fejoint.errors import SetupError
from fejoint.study import engines

# A worker looks for its parent every half second; the rest is for a busy machine.
GONE_WITHIN = 5.0
# A process that is killed is gone within milliseconds; the rest is for a busy machine, and less than the first of stop's
# two waits: to get that far means that it does not work as it should.
STOPPED_WITHIN = 2.0


def script(tmp_path, text, **options):
    """Start a user's script, without any guard for the main module."""
    path = tmp_path / "script.py"
    path.write_text(textwrap.dedent(text))
    return subprocess.Popen(
        [sys.executable, str(path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path, **options
    )


def test_cores_are_those_the_process_is_bound_to():
    code = (
        "import os; os.sched_setaffinity(0, [min(os.sched_getaffinity(0))]); from fejoint.study.engines import *; print(cores())"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "1\n"
    assert 1 <= engines.cores() <= len(os.sched_getaffinity(0))


@pytest.mark.parametrize(
    ("files", "groups", "granted"),
    [
        ({"cpu.max": "150000 100000"}, "0::/", 1.5),
        ({"cpu.max": "max 100000"}, "0::/", float("inf")),
        # the limit of a group above counts as well; a container names a group that it does not see
        ({"job/cpu.max": "200000 100000", "job/step/cpu.max": "max 100000"}, "0::/job/step", 2.0),
        ({"cpu.max": "300000 100000"}, "0::/not/to/be/seen", 3.0),
        ({"cpu/cpu.cfs_quota_us": "50000", "cpu/cpu.cfs_period_us": "100000"}, "4:memory:/\n1:cpu,cpuacct:/", 0.5),
        ({"cpu/cpu.cfs_quota_us": "-1", "cpu/cpu.cfs_period_us": "100000"}, "1:cpu:/", float("inf")),
        ({}, "", float("inf")),
    ],
)
def test_quota_of_the_control_group(tmp_path, files, groups, granted):
    """Formats: cgroup(7), kernel documentation of cgroup-v2 (cpu.max) and sched-bwc (cpu.cfs_*)."""
    for name, text in files.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text + "\n")
    (tmp_path / "own").write_text(groups + "\n" if groups else "")
    assert engines._quota(tmp_path, tmp_path / "own") == granted


def test_a_quota_below_one_core_leaves_one(monkeypatch):
    monkeypatch.setattr(engines, "_quota", lambda: 0.2)
    assert engines.cores() == 1


def test_workers_are_prepared_and_keep_on(monkeypatch):
    """One thread for linear algebra, loaded before the first task, and not replaced when they grow.

    loky would replace a worker, with a warning, that has grown by 300 MB since its first task, a second or more ago.
    """
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "2")  # what a user may have set for the parent

    def describe():
        import threadpoolctl

        loaded = {"numpy", "scipy.linalg", "skfem", "fejoint.mechanics.driver"} <= set(sys.modules)
        time.sleep(0.2)  # long enough for the other worker to take a task too
        threads = {library["num_threads"] for library in threadpoolctl.threadpool_info()}
        return os.getpid(), loaded, threads

    def grow(megabytes):
        sys.kept = b"\1" * (megabytes << 20)
        time.sleep(0.2)
        return os.getpid()

    pool = engines.local_pool(2)
    try:
        assert engines.workers_of(pool) == 2
        pids, loaded, threads = zip(*(task.result(60) for task in [pool.submit(describe) for _ in range(4)]), strict=True)
        assert len(set(pids)) == 2 and os.getpid() not in pids
        assert all(loaded) and set.union(*threads) == {1}
        time.sleep(1.1)
        grown = [task.result(60) for megabytes in (350, 1) for task in [pool.submit(grow, megabytes) for _ in range(4)]]
        assert set(grown) == set(pids)
    finally:
        engines.stop(pool)


def test_workers_must_be_one_at_least():
    with pytest.raises(SetupError, match="at least 1"):
        engines.local_pool(0)


BUSY = """
import os, time
from fejoint.study import engines
def busy(seconds):
    time.sleep(seconds)
    return os.getpid()
pool = engines.local_pool(2)
"""


def test_a_script_needs_no_guard_and_its_workers_end_when_it_is_killed(tmp_path):
    """Its functions travel. Nothing is left in shared memory either: loky's tracker outlives the parent and tidies up."""
    run = script(
        tmp_path,
        BUSY
        + "print(*{task.result() for task in [pool.submit(busy, 0.2) for _ in range(4)]}, flush=True)\n"
        + "tasks = [pool.submit(busy, 1000) for _ in range(9)]\ntime.sleep(1000)",
    )
    pids = [int(pid) for pid in run.stdout.readline().split()]
    assert len(pids) == 2 and run.pid not in pids and all(map(alive, pids))
    run.kill()
    assert wait_until(lambda: not any(map(alive, pids)), GONE_WITHIN)
    run.communicate(timeout=10)
    assert wait_until(lambda: not [name for name in os.listdir("/dev/shm") if f"-{run.pid}-" in name], GONE_WITHIN)


@pytest.mark.parametrize("while_they", ["start", "work"])
def test_ctrl_c_is_the_parents_alone(tmp_path, while_they):
    """The terminal sends it to the whole group."""
    run = script(
        tmp_path,
        BUSY
        + ("pool.submit(busy, 0).result()\n" if while_they == "work" else "")
        + textwrap.dedent("""
        try:
            tasks = [pool.submit(busy, 1000) for _ in range(3)]
            print("ready", flush=True)
            time.sleep(1000)
        except KeyboardInterrupt:
            pids = list(pool._processes)
            time.sleep(1.0)  # a worker that minds Ctrl-C has the time to say so
            began = time.monotonic()
            engines.stop(pool)
            print(time.monotonic() - began, *pids)
        """),
        start_new_session=True,
    )
    assert run.stdout.readline() == "ready\n"
    os.killpg(run.pid, signal.SIGINT)
    out, err = run.communicate(timeout=60)
    seconds, *pids = out.split()
    assert err == "" and len(pids) == 2 and not any(alive(int(pid)) for pid in pids)
    assert float(seconds) < STOPPED_WITHIN


@pytest.mark.parametrize("how", ["interrupted", "no more processes"])
def test_a_pool_that_does_not_come_up_leaves_no_worker(monkeypatch, how):
    """Ctrl-C is held back while workers start and comes when all are there; the system may refuse the second one."""
    from loky.backend.process import LokyProcess

    start, started = LokyProcess.start, []

    def start_or_not(process):
        if started and how == "no more processes":
            raise OSError(errno.EAGAIN, os.strerror(errno.EAGAIN))
        start(process)
        started.append(process.pid)
        if how == "interrupted":
            signal.pthread_kill(threading.get_ident(), signal.SIGINT)  # this thread, not one that lets it through

    monkeypatch.setattr(LokyProcess, "start", start_or_not)
    with pytest.raises((KeyboardInterrupt, SetupError)) as caught:
        engines.local_pool(2)
    if how == "interrupted":
        assert caught.type is KeyboardInterrupt and len(started) == 2
    else:
        said = "workers cannot be started (resource temporarily unavailable); try fewer of them."
        assert str(caught.value) == said and len(started) == 1
    assert wait_until(lambda: not any(map(alive, started)), 1.0)
    assert signal.SIGINT not in signal.pthread_sigmask(signal.SIG_BLOCK, ())


@pytest.mark.parametrize("killed", [True, False])
def test_a_worker_that_dies_is_told_from_a_task_that_it_cannot_read(monkeypatch, capfd, killed):
    """loky gives the pool up in both cases."""
    pool = engines.local_pool(1)
    # A module that is here and not there: its functions travel by name.
    module = types.ModuleType("only_here")
    exec("def column(): ...", module.__dict__)
    monkeypatch.setitem(sys.modules, "only_here", module)

    def die():
        os.kill(os.getpid(), signal.SIGKILL)

    error = pool.submit(die if killed else module.column).exception(60)
    assert isinstance(error, BrokenProcessPool) and engines.worker_died(error) == killed
    if not killed:
        assert "ModuleNotFoundError: No module named 'only_here'\n" in str(error.__cause__)  # what a person is told
    began = time.monotonic()
    engines.stop(pool)
    assert time.monotonic() - began < STOPPED_WITHIN
    assert not engines.worker_died(ZeroDivisionError()) and not engines.worker_died(concurrent.futures.CancelledError())


@pytest.mark.parametrize(("size", "wait"), [(10, 0.0), (3_000_000, 1.0)])
def test_stop_never_hangs_whatever_waits(size, wait):
    """Large arguments fill the pipe to the workers, and nobody reads it any more."""

    def work(data):
        time.sleep(1000)

    pool = engines.local_pool(2)
    tasks = [pool.submit(work, bytes(size)) for _ in range(30)]
    time.sleep(wait)
    workers = list(pool._processes)
    began = time.monotonic()
    engines.stop(pool)
    assert time.monotonic() - began < STOPPED_WITHIN
    assert len(workers) == 2 and wait_until(lambda: not any(map(alive, workers)), 1.0)
    assert all(task.done() for task in tasks)
    engines.stop(pool)  # again: nothing happens


def test_an_executor_of_the_users_own_is_left_alone():
    with concurrent.futures.ThreadPoolExecutor(3) as threads:
        assert engines.workers_of(threads) == 3
        engines.stop(threads)
        assert threads.submit(int).result(10) == 0
    with concurrent.futures.ProcessPoolExecutor(2) as processes:
        assert engines.workers_of(processes) == 2

    class Bare(concurrent.futures.Executor):
        pass

    assert engines.workers_of(Bare()) == os.cpu_count()


def test_loky_that_is_not_installed_is_named_with_its_extra(monkeypatch):
    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "loky" else found(name))
    with pytest.raises(SetupError, match=r"pip install 'fejoint\[sweep\]'"):
        engines.local_pool()
