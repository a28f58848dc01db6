"""Worker processes and clusters: where they run, how they die, what a person is told."""

import concurrent.futures
import gc
import importlib.util
import json
import logging
import os
import signal
import socket
import subprocess
import sys
import textwrap
import threading
import time
from concurrent.futures.process import BrokenProcessPool

import pytest

from fejoint.errors import SetupError
from fejoint.study import engines

# A worker looks for its parent every half second; the rest is for a busy machine.
GONE_WITHIN = 5.0
# A process that is killed is gone within milliseconds; the rest is for a busy machine, and less than the first of stop's
# two waits: to get that far means that it does not work as it should.
STOPPED_WITHIN = 2.0


@pytest.fixture
def pool():
    pool = engines.local_pool(2)
    yield pool
    engines.stop(pool)


@pytest.fixture(scope="module")
def shared_pool():
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OPENBLAS_NUM_THREADS", "2")  # what a user may have set for the parent
        pool = engines.local_pool(2)
    yield pool
    engines.finish(pool)


def alive(pid):
    """Whether a process runs; one that ended and that nobody asked after (a zombie) does not."""
    try:
        with open(f"/proc/{pid}/stat", encoding="utf-8", errors="replace") as file:
            return file.read().rpartition(")")[2].split()[0] not in "ZX"
    except (FileNotFoundError, ProcessLookupError):
        return False


def wait_until(condition, seconds=GONE_WITHIN):
    deadline = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > deadline:
            return False
        time.sleep(0.05)
    return True


def script(tmp_path, text, **options):
    """Start a user's script, without any guard for the main module."""
    path = tmp_path / "script.py"
    path.write_text(textwrap.dedent(text))
    return subprocess.Popen(
        [sys.executable, str(path)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=tmp_path, **options
    )


# ---- this machine


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


def test_workers_are_other_processes_with_one_thread_each_for_linear_algebra(shared_pool):
    def describe():
        import numpy  # noqa: F401
        import scipy.linalg  # noqa: F401
        import threadpoolctl

        time.sleep(0.2)  # long enough for the other worker to take a task too
        return os.getpid(), [library["num_threads"] for library in threadpoolctl.threadpool_info()]

    assert engines.workers_of(shared_pool) == 2
    tasks = [shared_pool.submit(describe) for _ in range(6)]
    pids, threads = zip(*(task.result(60) for task in tasks), strict=True)
    assert len(set(pids)) == 2 and os.getpid() not in pids
    assert all(threads) and {number for libraries in threads for number in libraries} == {1}


def test_workers_are_loaded_before_their_first_task(shared_pool):
    loaded = shared_pool.submit(lambda: {"numpy", "skfem", "fejoint.mechanics.driver"} <= set(sys.modules)).result(60)
    assert loaded


def test_a_worker_that_grows_is_not_replaced(shared_pool):
    """loky would replace it, with a warning, one second after it grew by 300 MB."""

    def grow(megabytes):
        # kept by a module, so that it stays
        sys.kept = bytearray(b"\1" * (megabytes << 20))
        return os.getpid()

    pids = set()
    for megabytes in (1, 400, 1):
        pids |= {task.result(60) for task in [shared_pool.submit(grow, megabytes) for _ in range(4)]}
        time.sleep(1.1)
    assert len(pids) <= 2


def test_workers_must_be_one_at_least():
    with pytest.raises(SetupError, match="at least 1"):
        engines.local_pool(0)


def test_a_script_needs_no_guard_and_its_functions_travel(tmp_path):
    run = script(
        tmp_path,
        """
        from fejoint.study import engines
        factor = 3
        def triple(x):
            return factor * x
        pool = engines.local_pool(2)
        print(list(pool.map(triple, range(4))))
        engines.finish(pool)
        """,
    )
    out, err = run.communicate(timeout=60)
    assert (out, err) == ("[0, 3, 6, 9]\n", "")


BUSY = """
import os, time
from fejoint.study import engines
def busy(seconds):
    time.sleep(seconds)
    return os.getpid()
pool = engines.local_pool(2)
"""


def test_workers_end_when_their_parent_is_killed(tmp_path):
    """Also nothing is left in shared memory: loky's tracker outlives the parent and tidies up."""
    run = script(
        tmp_path,
        BUSY
        + "print(*{task.result() for task in [pool.submit(busy, 0.3) for _ in range(6)]}, flush=True)\n"
        + "tasks = [pool.submit(busy, 1000) for _ in range(9)]\ntime.sleep(1000)",
    )
    pids = [int(pid) for pid in run.stdout.readline().split()]
    assert len(pids) == 2 and all(map(alive, pids))
    run.kill()
    assert wait_until(lambda: not any(map(alive, pids)))
    run.communicate(timeout=10)
    left = [name for name in os.listdir("/dev/shm") if f"-{run.pid}-" in name]
    assert wait_until(lambda: not [name for name in os.listdir("/dev/shm") if f"-{run.pid}-" in name]), left


@pytest.mark.parametrize("after", [0.0, 0.15, 2.0])
def test_ctrl_c_is_the_parents_alone(tmp_path, after):
    """The terminal sends it to the whole group: while workers start, and while they work."""
    run = script(
        tmp_path,
        BUSY
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
    time.sleep(after)
    os.killpg(run.pid, signal.SIGINT)
    out, err = run.communicate(timeout=60)
    seconds, *pids = out.split()
    assert err == "" and len(pids) == 2 and not any(alive(int(pid)) for pid in pids)
    assert float(seconds) < STOPPED_WITHIN


@pytest.mark.parametrize("how", ["os._exit(3)", "os.kill(os.getpid(), signal.SIGKILL)", "os.abort()"])
def test_a_worker_that_dies_is_told_from_a_task_that_fails(pool, how, capfd):
    def die(how):
        exec(how, {"os": os, "signal": signal})

    with pytest.raises(BrokenProcessPool) as caught:
        pool.submit(die, how).result(60)
    assert engines.worker_died(caught.value)
    began = time.monotonic()
    engines.stop(pool)
    assert time.monotonic() - began < STOPPED_WITHIN
    assert not engines.worker_died(ZeroDivisionError()) and not engines.worker_died(concurrent.futures.CancelledError())


@pytest.mark.parametrize("size", [10, 3_000_000])
@pytest.mark.parametrize("wait", [0.0, 1.5])
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
    engines.finish(pool)


def test_finish_waits_for_what_runs_and_leaves_no_process():
    pool = engines.local_pool(2)
    future = pool.submit(task(0.5))
    workers = list(pool._processes)
    engines.finish(pool)
    assert future.result(0) in workers and not any(map(alive, workers))


def test_an_executor_of_the_users_own_is_left_alone():
    with concurrent.futures.ThreadPoolExecutor(3) as threads:
        assert engines.workers_of(threads) == 3
        engines.stop(threads)
        engines.finish(threads)
        assert threads.submit(int).result(10) == 0
    with concurrent.futures.ProcessPoolExecutor(2) as processes:
        assert engines.workers_of(processes) == 2

    class Bare(concurrent.futures.Executor):
        pass

    assert engines.workers_of(Bare()) == os.cpu_count()


@pytest.mark.parametrize(
    ("package", "start", "extra"),
    [("loky", engines.local_pool, "sweep"), ("distributed", lambda: engines.cluster_executor("tcp://127.0.0.1:1"), "cluster")],
)
def test_what_is_not_installed_is_named_with_its_extra(monkeypatch, package, start, extra):
    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == package else found(name))
    with pytest.raises(SetupError, match=rf"pip install 'fejoint\[{extra}\]'"):
        start()


# ---- a cluster


def threads_now():
    return {thread for thread in threading.enumerate() if thread.is_alive()}


@pytest.fixture
def quiet(capfd):
    """Nothing on the terminal and no thread more than before."""
    before = threads_now()
    yield
    assert wait_until(lambda: threads_now() <= before, 2.0), threads_now() - before
    gc.collect()  # a socket left open would show here, as a warning, not in some later test
    out, err = capfd.readouterr()
    assert out == "" and err == ""


def task(seconds=0.2):
    """Return a function that travels by value: a cluster's workers cannot import this file."""

    def pid_later():
        time.sleep(seconds)
        return os.getpid()

    return pid_later


def test_a_cluster_runs_functions_on_its_workers(cluster, quiet):
    executor = engines.cluster_executor(cluster)
    assert engines.workers_of(executor) == 2
    pids = {future.result(60) for future in [executor.submit(task()) for _ in range(6)]}  # not one task six times
    assert len(pids) == 2 and os.getpid() not in pids
    engines.finish(executor)


def test_a_cluster_without_its_protocol_named(cluster, quiet):
    executor = engines.cluster_executor(cluster.removeprefix("tcp://"))
    log = logging.getLogger("distributed.client")
    assert not log.isEnabledFor(logging.CRITICAL)  # it would write on the terminal when the scheduler goes
    assert executor.submit(divmod, 7, 2).result(60) == (3, 1)
    with pytest.raises(ZeroDivisionError):
        executor.submit(divmod, 7, 0).result(60)
    engines.finish(executor)
    assert log.isEnabledFor(logging.CRITICAL)  # it is the user's again


def test_stop_cancels_what_waits_on_a_cluster(cluster, quiet):
    executor = engines.cluster_executor(cluster)
    futures = [executor.submit(task(1.0)) for _ in range(40)]
    time.sleep(0.3)
    began = time.monotonic()
    engines.stop(executor)
    assert time.monotonic() - began < STOPPED_WITHIN
    assert all(future.done() for future in futures)  # none is left that somebody might wait for
    assert sum(future.cancelled() for future in futures) > 30
    # The tasks that ran go on for a second, those that waited never begin: 40 of them would take 20 s.
    after = engines.cluster_executor(cluster)
    after.submit(int).result(6)
    engines.finish(after)


def test_the_death_of_a_clusters_worker_is_recognised(cluster, quiet):
    def die():
        os.kill(os.getpid(), signal.SIGKILL)

    executor = engines.cluster_executor(cluster)
    error = executor.submit(die).exception(60)
    assert engines.worker_died(error), repr(error)
    assert executor.submit(int).result(60) == 0  # another goes on
    assert wait_until(lambda: engines.workers_of(executor) == 2, 20.0)  # for the tests after this one
    engines.finish(executor)
    assert not engines.worker_died(ValueError())


def test_a_cluster_over_tls(tls_cluster, tls_files, quiet):
    executor = engines.cluster_executor(tls_cluster, **tls_files)
    assert tls_cluster.startswith("tls://") and executor.submit(abs, -1).result(60) == 1
    engines.finish(executor)
    executor = engines.cluster_executor(tls_cluster.removeprefix("tls://"), **tls_files)
    engines.finish(executor)


@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")  # distributed leaves it to be collected
def test_wrong_tls_is_one_sentence(tls_cluster, tls_files, strangers_files, cluster, quiet):
    def refusal(address, **files):
        began = time.monotonic()
        with pytest.raises(SetupError) as caught:
            engines.cluster_executor(address, **files)
        assert time.monotonic() - began < 10.0
        assert str(caught.value).endswith(".") and "\n" not in str(caught.value)
        return str(caught.value)

    assert "needs TLS files" in refusal(tls_cluster)
    assert "needs TLS files" in refusal(tls_cluster, tls_ca=tls_files["tls_ca"])
    assert "without TLS, but" in refusal(cluster, **tls_files)
    assert "no scheduler answers" in refusal(tls_cluster.replace("tls", "tcp"))
    assert "no scheduler answers" in refusal(cluster.replace("tcp", "tls"), **tls_files)
    assert "same authority" in refusal(tls_cluster, **strangers_files)
    assert "none.pem: this TLS file cannot be read" in refusal(tls_cluster, **tls_files | {"tls_cert": "none.pem"})
    assert "no certificate of an authority" in refusal(tls_cluster, **tls_files | {"tls_ca": tls_files["tls_key"]})
    assert "does not belong to it" in refusal(tls_cluster, **tls_files | {"tls_key": strangers_files["tls_key"]})


def test_a_locked_key_is_refused_without_asking_for_its_password(tls_files, tmp_path):
    from cryptography.hazmat.primitives import serialization

    key = serialization.load_pem_private_key(tls_files["tls_key"].read_bytes(), None)
    locked = tmp_path / "locked.pem"
    secret = serialization.BestAvailableEncryption(b"gondola")
    locked.write_bytes(key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, secret))
    with pytest.raises(SetupError, match="locked by a password"):
        engines.cluster_executor("tls://127.0.0.1:1", **tls_files | {"tls_key": locked})


@pytest.mark.parametrize(
    "address", ["", "foo", "http://a:1", "tcp://a", "127.0.0.1:99999", "tcp://a:0", "tcp://a b:1", "udp://a:1"]
)
def test_a_wrong_address_is_one_sentence(address, quiet):
    with pytest.raises(SetupError, match="is no address of a scheduler; give it as tcp://HOST:PORT"):
        engines.cluster_executor(address)


@pytest.mark.parametrize("kind", ["closed", "silent", "another server", "unknown host"])
def test_no_scheduler_is_one_sentence_in_time(kind, quiet):
    """8 s unless stated otherwise; here 2 s, to be quick, and the limit for it in proportion."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        address = f"tcp://127.0.0.1:{listener.getsockname()[1]}"
        if kind == "closed":
            listener.close()
        if kind == "unknown host":
            address = "tcp://no-such-host.invalid:8786"
        if kind == "another server":

            def answer():
                with listener.accept()[0] as connection:
                    connection.sendall(b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n")

            threading.Thread(target=answer, daemon=True).start()
        began = time.monotonic()
        with pytest.raises(SetupError, match="no scheduler answers at"):
            engines.cluster_executor(address, timeout=2.0)
        assert time.monotonic() - began < 4.0


def test_a_scheduler_without_workers_is_one_sentence(tmp_path, quiet):
    where = tmp_path / "scheduler.json"
    command = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", str(where)]
    with (tmp_path / "log").open("w") as log:
        scheduler = subprocess.Popen([sys.executable, "-m", "distributed.cli.dask_scheduler", *command], stdout=log, stderr=log)
    try:
        assert wait_until(lambda: where.exists() and where.read_text().endswith("}"), 30.0)
        address = json.loads(where.read_text())["address"]
        with pytest.raises(SetupError, match="has no workers; start some: dask worker tcp://"):
            engines.cluster_executor(address, timeout=1.0)
    finally:
        scheduler.terminate()
        scheduler.wait(10)


def test_a_scheduler_that_is_gone_does_not_hold_anybody_up(tmp_path, cluster, quiet):
    from conftest import start_cluster

    address, end = start_cluster(tmp_path)
    executor = engines.cluster_executor(address)
    assert executor.submit(task(0.1)).result(60)
    futures = [executor.submit(task(60.0)) for _ in range(4)]
    end()
    assert wait_until(lambda: all(future.done() for future in futures))  # cancelled or lost; nobody waits for ever
    assert engines.workers_of(executor) == 0
    began = time.monotonic()
    engines.stop(executor)
    assert time.monotonic() - began < 6.0
