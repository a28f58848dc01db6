"""Worker processes of this machine, and what a study asks of any executor it runs on.

One on a cluster is made in `cluster`; a user's own serves as well, and stays the
user's: `stop` ends only what was made here or there.

Workers are fresh interpreters by loky: a script needs no ``if __name__ ==
"__main__"``, and functions defined in it travel by cloudpickle. A worker uses one
thread for linear algebra, ignores Ctrl-C (the terminal sends it to all;
the parent decides) and ends within seconds after its parent is gone, however
that went. loky keeps semaphores in /dev/shm, which its tracker process removes even
when the parent was killed; nothing else is left behind.
"""

from __future__ import annotations

import contextlib
import importlib
import math
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor
from multiprocessing import resource_tracker
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary

from fejoint.environment import require_extra
from fejoint.errors import SetupError

__all__ = ["ENDINGS", "cores", "local_pool", "stop", "worker_died", "workers_of"]

# Read by the libraries when they are loaded, so set before a worker's interpreter starts. glibc's allocator stays as it
# is: told to map every large block on its own it keeps a worker at 370 MB instead of 470, and takes half as long again a joint.
_ENVIRONMENT = {
    name: "1"
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
}

# Loaded by every worker as it starts, all workers at a time, before its first task.
_HEAVY = ("fejoint.study.work",)

# How often a worker looks whether its parent is still there, and what ending may take, s.
_WATCH = 0.5
_GRACE = 5.0

# How to end, at once, each executor that was made here or in `cluster`.
ENDINGS: WeakKeyDictionary[Executor, Callable[[Any], None]] = WeakKeyDictionary()


def cores() -> int:
    """Return how many cores this process may use: those it is bound to, within the quota of its control group; at least 1."""
    return max(1, math.ceil(min(len(os.sched_getaffinity(0)), _quota())))


def _quota(root: Path = Path("/sys/fs/cgroup"), own: Path = Path("/proc/self/cgroup")) -> float:
    """Return the cores that this process's control groups (of either version) grant; infinite without a limit."""
    granted = math.inf
    try:
        lines = own.read_text(encoding="ascii", errors="replace").splitlines()
    except OSError:
        return granted
    for line in lines:
        _, controllers, path = line.split(":", 2)
        if controllers and "cpu" not in controllers.split(","):
            continue
        top = root if not controllers else root / "cpu"
        place = top / path.lstrip("/")
        # A container sees its own group as the root, whatever the path says: the root is always looked at.
        for folder in {place, *place.parents, top}:
            if folder == top or top in folder.parents:
                granted = min(granted, _granted(folder, version=1 if controllers else 2))
    return granted


def _granted(folder: Path, version: int) -> float:
    try:
        if version == 2:
            limit, period = (folder / "cpu.max").read_text(encoding="ascii").split()
        else:
            limit, period = ((folder / f"cpu.cfs_{name}_us").read_text(encoding="ascii") for name in ("quota", "period"))
        cores = float(limit) / float(period)  # "max" and -1: no limit
    except (OSError, ValueError, ZeroDivisionError):
        return math.inf
    return cores if cores > 0.0 else math.inf


def local_pool(workers: int | None = None) -> Executor:
    """Start worker processes on this machine; they load what they need while this returns.

    Parameters
    ----------
    workers : int, optional
        Default: as many as there are `cores`.

    Raises
    ------
    SetupError
        loky is not installed, or no process can be started.
    """
    require_extra("loky", "sweep", "a sweep on several cores")
    from loky.process_executor import ProcessPoolExecutor

    if workers is not None and workers < 1:
        raise SetupError(f"{workers} workers cannot work; give at least 1.")
    try:
        # timeout None: workers that idle stay
        pool: Executor = ProcessPoolExecutor(
            max_workers=workers or cores(), timeout=None, initializer=_begin, initargs=(os.getpid(),), env=_ENVIRONMENT
        )
        ENDINGS[pool] = _end_pool
        try:
            _start(pool)
        except BaseException:  # some workers run already
            stop(pool)
            raise
    except OSError as error:
        raise SetupError(f"workers cannot be started ({(error.strerror or str(error)).lower()}); try fewer of them.") from None
    return pool


def _start(pool: Executor) -> None:
    """Start the workers. A Ctrl-C meanwhile is raised when all are there."""
    # Workers inherit the signals that the starting thread holds back. Else a Ctrl-C while they start would show their
    # tracebacks; and gmsh sets the handler of SIGINT anew. The thread that replaces workers inherits them, too.
    resource_tracker.ensure_running()  # first: starting it lets SIGINT through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        pool.submit(_nothing)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _nothing() -> None:
    """The first task, which starts the workers."""


def _begin(parent: int) -> None:
    """Prepare a worker: deaf to Ctrl-C, tied to its parent, loaded."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(parent,), name="parent watch", daemon=True).start()
    # loky replaces workers that grow by 300 MB after their first task. One that meets a fine mesh does, and is sound.
    sys.modules["loky.process_executor"]._MAX_MEMORY_LEAK_SIZE = sys.maxsize  # type: ignore[attr-defined]
    for module in _HEAVY:
        importlib.import_module(module)


def _end_with(parent: int) -> None:
    """End this process as soon as its parent is another than it was: the parent is gone, and nobody wants the results."""
    while os.getppid() == parent:
        time.sleep(_WATCH)
    os.kill(os.getpid(), signal.SIGKILL)


def _end_pool(pool: Any) -> None:
    workers, manager = list(pool._processes.values()), pool._executor_manager_thread
    pool.shutdown(wait=False, kill_workers=True)
    if manager is not None:
        manager.join(_GRACE / 2)
    for worker in workers:
        if worker.exitcode is None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(worker.pid, signal.SIGKILL)
    if manager is not None:
        manager.join(_GRACE / 2)


def workers_of(executor: Executor) -> int:
    """Return how many tasks an executor runs at once; of a cluster, now (0 when its scheduler does not answer)."""
    client, workers = getattr(executor, "_client", None), getattr(executor, "_max_workers", None)
    if client is not None and hasattr(client, "scheduler"):
        try:
            return sum(client.sync(client.scheduler.ncores, callback_timeout=_GRACE).values())
        except Exception:
            return 0
    return workers if isinstance(workers, int) and workers > 0 else os.cpu_count() or 1


def worker_died(error: BaseException) -> bool:
    """Return whether an error says that the process which ran a task is gone, not that the task failed."""
    if isinstance(error, BrokenExecutor):
        # loky gives a pool up, too, for a task that the workers cannot import, or a result that cannot be read here.
        return "un-serialize" not in str(error)
    distributed = sys.modules.get("distributed")  # not imported: without it there, no error of it is
    return distributed is not None and isinstance(error, distributed.KilledWorker)


def stop(executor: Executor) -> None:
    """End an executor that was made here at once, whatever it does: kill own workers, cancel what waits on a cluster.

    Takes a few seconds at most. Another one is left alone: its futures are to be cancelled.
    """
    ending = ENDINGS.pop(executor, None)
    if ending is not None:
        ending(executor)
