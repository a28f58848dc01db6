"""Where the cases of a study run: worker processes of this machine, or a cluster.

Both are `concurrent.futures.Executor`; a user's own serves as well, and stays
the user's: `finish` and `stop` end only what was made here.

**This machine.** Fresh interpreters by loky: a script needs no ``if __name__ ==
"__main__"``, and functions defined in it travel by cloudpickle. A worker uses one
thread for linear algebra, ignores Ctrl-C (the terminal sends it to all;
the parent decides) and ends within seconds after its parent is gone, however
that went. loky keeps semaphores in /dev/shm, which its tracker process removes even
when the parent was killed; nothing else is left behind.

**A cluster.** A scheduler of dask.distributed and its workers, started by the
user. The nannies of ``dask worker`` set one thread for linear algebra
themselves. A task whose worker died is tried elsewhere by the scheduler, three
times unless its configuration says otherwise, before its error is `KilledWorker`. What
runs on a cluster cannot be interrupted: `stop` cancels what waits.
"""

from __future__ import annotations

import asyncio
import contextlib
import functools
import importlib
import logging
import math
import os
import re
import signal
import ssl
import sys
import threading
import time
import warnings
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, InvalidStateError
from multiprocessing import resource_tracker
from pathlib import Path
from typing import Any
from weakref import WeakKeyDictionary, WeakSet

from fejoint.environment import require_extra
from fejoint.errors import SetupError

__all__ = ["cluster_executor", "cores", "finish", "local_pool", "stop", "worker_died", "workers_of"]

# Read by the libraries when they are loaded, so set before a worker's interpreter starts.
ONE_THREAD = {
    name: "1"
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
}

# Loaded by every worker as it starts, all workers at a time, before its first task.
_HEAVY = ("fejoint.study.work",)

# How often a worker looks whether its parent is still there, and what ending may take, s.
_WATCH = 0.5
_GRACE = 5.0

# How to end each executor that was made here; the flag says whether in haste.
_ENDINGS: WeakKeyDictionary[Executor, Callable[[Any, bool], None]] = WeakKeyDictionary()


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
            max_workers=workers or cores(), timeout=None, initializer=_begin, initargs=(os.getpid(),), env=ONE_THREAD
        )
        # Workers inherit the signals that the starting thread holds back. Else a Ctrl-C while they start would show their
        # tracebacks; and gmsh sets the handler of SIGINT anew. The thread that replaces workers inherits them, too.
        resource_tracker.ensure_running()  # first: starting it lets SIGINT through again
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            pool.submit(_nothing)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
    except OSError as error:
        raise SetupError(f"workers cannot be started ({(error.strerror or str(error)).lower()}); try fewer of them.") from None
    _ENDINGS[pool] = _end_pool
    return pool


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


def _end_pool(pool: Any, haste: bool) -> None:
    if not haste:
        pool.shutdown(wait=True)
        return
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


def cluster_executor(
    address: str,
    *,
    tls_ca: str | Path | None = None,
    tls_cert: str | Path | None = None,
    tls_key: str | Path | None = None,
    timeout: float = 8.0,
) -> Executor:
    """Connect to the scheduler of a cluster that has workers.

    Parameters
    ----------
    address : str
        ``tcp://HOST:PORT`` or ``tls://HOST:PORT``; ``HOST:PORT`` goes by whether there are TLS files.
    tls_ca, tls_cert, tls_key : path, optional
        Certificate of the authority; own certificate; its key, when the certificate's file does not hold it.
    timeout : float
        For the scheduler to answer and a worker to be there, s.

    Raises
    ------
    SetupError
        dask.distributed is not installed; wrong address or TLS files; no scheduler answers; it has no workers.
    """
    require_extra("distributed", "cluster", "a sweep on a cluster")
    address, security = _checked(address.strip(), tls_ca, tls_cert, tls_key)
    distributed: Any = importlib.import_module("distributed")  # its types are too few to check against
    loud = _silenced()
    try:
        _probe(distributed, address, security, timeout)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of unlike versions: a sweep compares those that matter itself
            client: Any = distributed.Client(address, timeout=timeout, security=security, set_as_default=False)
        executor = _Cluster(client)
    except BaseException as error:
        _restore(loud)
        if isinstance(error, SetupError) or not isinstance(error, Exception):
            raise
        raise _silent(address) from error
    _ENDINGS[executor] = functools.partial(_end_cluster, loud=loud)
    return executor


def _probe(distributed: Any, address: str, security: Any, timeout: float) -> None:
    """Ask whether a scheduler is there that has workers, and leave nothing behind.

    A client that fails leaves a thread, and waits for ever on a port that is open but says nothing.
    """
    answered = False

    async def ask() -> None:
        nonlocal answered
        arguments = security.get_connection_args("client") if security else {}
        async with distributed.rpc(address, timeout=timeout, connection_args=arguments) as scheduler:
            while not (await scheduler.ncores()):
                answered = True
                await asyncio.sleep(0.1)

    # In a thread of its own: a notebook has an event loop in this one.
    error = _within(timeout + 1.0, lambda: asyncio.run(asyncio.wait_for(ask(), timeout)))
    if error is not None and answered:
        raise SetupError(f"the cluster at {address} has no workers; start some: dask worker {address} --nthreads 1") from error
    if error is not None:
        raise _silent(address) from error


def _silent(address: str) -> SetupError:
    kind = "with TLS, under the same authority" if address.startswith("tls") else "without TLS"
    return SetupError(f"no scheduler answers at {address}; see that it runs there {kind}, and that this machine reaches it.")


def _checked(address: str, ca: str | Path | None, cert: str | Path | None, key: str | Path | None) -> tuple[str, Any]:
    """Return the address with its protocol and the TLS settings, after what can be wrong with them without a network."""
    form = re.fullmatch(r"(?:(tcp|tls)://)?([^\s:/@]+|\[[0-9a-fA-F:.]+\]):(\d{1,5})/?", address)
    if not form or not 0 < int(form[3]) < 65536:
        raise SetupError(f"{address or 'nothing'!r} is no address of a scheduler; give it as tcp://HOST:PORT or tls://HOST:PORT.")
    secure = form[1] == "tls" or (form[1] is None and any((ca, cert, key)))
    address = f"{'tls' if secure else 'tcp'}://{form[2]}:{form[3]}"
    if not secure:
        if any((ca, cert, key)):
            raise SetupError(f"{address} is without TLS, but TLS files are given; write tls:// or leave the files out.")
        return address, None
    if ca is None or cert is None:
        raise SetupError(f"{address} needs TLS files: the certificate of the authority, one's own certificate and its key.")
    _check_certificates(ca, cert, key)
    distributed: Any = importlib.import_module("distributed")
    return address, distributed.Security(
        require_encryption=True,
        tls_ca_file=str(ca),
        tls_client_cert=str(cert),
        tls_client_key=None if key is None else str(key),
    )


def _check_certificates(ca: str | Path, cert: str | Path, key: str | Path | None) -> None:
    for file in (ca, cert, key):
        if file is not None and not os.access(file, os.R_OK):
            raise SetupError(f"{file}: this TLS file cannot be read.")
    try:
        context = ssl.create_default_context(cafile=str(ca))
    except (ssl.SSLError, OSError):
        raise SetupError(f"{ca}: is no certificate of an authority (PEM).") from None

    def locked() -> str:
        raise SetupError(f"{key or cert}: the key is locked by a password, which nobody is there to type; unlock it.")

    try:
        context.load_cert_chain(str(cert), None if key is None else str(key), password=locked)
    except (ssl.SSLError, OSError):
        raise SetupError(f"{cert}: is no certificate (PEM), or {key or 'the key in it'} does not belong to it.") from None


class _Cluster(Executor):
    """The executor of a client, whose futures all come to an end."""

    def __init__(self, client: Any) -> None:
        self._client = client
        # Not pure: a task tried once more is another task, not the former one's result.
        self._executor = client.get_executor(pure=False)
        self._given: WeakSet[Future[Any]] = WeakSet()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = self._executor.submit(fn, *args, **kwargs)
        self._given.add(future)
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        self._executor.shutdown(wait=wait and not cancel_futures)

    def end_futures(self) -> None:
        """End what the client left: it forgets a future whose result it is fetching just when it is closed."""
        for future in list(self._given):
            with contextlib.suppress(InvalidStateError):  # nearly all of them
                future.set_exception(CancelledError("the cluster was left"))


def _end_cluster(executor: _Cluster, _haste: bool, *, loud: dict[str, int]) -> None:
    tornado = {"tornado.application": logging.getLogger("tornado.application").level}
    _restore(dict.fromkeys(tornado, logging.CRITICAL + 1))  # tells of the same
    # The scheduler forgets what no client waits for.
    _within(_GRACE, lambda: executor._client.close(timeout=_GRACE))
    executor.end_futures()
    _restore(loud | tornado)


def _threads(client: Any) -> int:
    """Return how many tasks the workers of a cluster run at once, now."""
    return sum(client.sync(client.scheduler.ncores, callback_timeout=_GRACE).values())


def _silenced() -> dict[str, int]:
    """Keep the log of distributed off the terminal, and return the former levels; what goes wrong comes as an error."""
    names = [name for name in logging.root.manager.loggerDict if name.split(".")[0] == "distributed"]
    former = {name: logging.getLogger(name).level for name in names}
    _restore(dict.fromkeys(names, logging.CRITICAL + 1))
    return former


def _restore(levels: dict[str, int]) -> None:
    for name, level in levels.items():
        logging.getLogger(name).setLevel(level)


def _within(seconds: float, action: Callable[[], Any]) -> Exception | None:
    """Do something that may fail or hang when the other side is gone; go on after a while in any case, with the error."""
    error: Exception | None = TimeoutError()

    def run() -> None:
        nonlocal error
        try:
            action()
            error = None
        except Exception as failure:
            error = failure

    thread = threading.Thread(target=run, name="on its own", daemon=True)
    thread.start()
    thread.join(seconds)
    return error


def workers_of(executor: Executor) -> int:
    """Return how many tasks an executor runs at once; of a cluster, now (0 when its scheduler does not answer)."""
    client, workers = getattr(executor, "_client", None), getattr(executor, "_max_workers", None)
    if client is not None and hasattr(client, "scheduler"):
        try:
            return _threads(client)
        except Exception:
            return 0
    return workers if isinstance(workers, int) and workers > 0 else os.cpu_count() or 1


def worker_died(error: BaseException) -> bool:
    """Return whether an error says that the process which ran a task is gone, not that the task failed."""
    distributed = sys.modules.get("distributed")  # not imported: without it there, no error of it is
    return isinstance(error, BrokenExecutor) or (distributed is not None and isinstance(error, distributed.KilledWorker))


def finish(executor: Executor) -> None:
    """End an executor that was made here and has nothing left to do; another one is left alone."""
    _end(executor, haste=False)


def stop(executor: Executor) -> None:
    """End an executor that was made here at once, whatever it does: kill own workers, cancel what waits on a cluster.

    Takes a few seconds at most. Another one is left alone: its futures are to be cancelled.
    """
    _end(executor, haste=True)


def _end(executor: Executor, haste: bool) -> None:
    ending = _ENDINGS.pop(executor, None)
    if ending is not None:
        ending(executor, haste)
