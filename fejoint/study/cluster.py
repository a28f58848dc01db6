"""Run the cases of a study on a cluster.

A scheduler of dask.distributed and its workers, started by the user. The nannies
of ``dask worker`` set one thread for linear algebra themselves. A task whose
worker died is tried elsewhere by the scheduler, three times unless its
configuration says otherwise, before its error is `KilledWorker`. What runs on a
cluster cannot be interrupted: `engines.stop` cancels what waits.
"""

from __future__ import annotations

import asyncio
import contextlib
import functools
import importlib
import logging
import os
import re
import ssl
import threading
import warnings
from collections.abc import Callable
from concurrent.futures import CancelledError, Executor, Future, InvalidStateError
from pathlib import Path
from typing import Any
from weakref import WeakSet

from fejoint.environment import require_extra
from fejoint.errors import SetupError
from fejoint.study.engines import ENDINGS

__all__ = ["cluster_executor"]

# What taking leave of the scheduler may take, s.
_GRACE = 5.0


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
    ENDINGS[executor] = functools.partial(_end_cluster, loud=loud)
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


def _end_cluster(executor: _Cluster, loud: dict[str, int]) -> None:
    # The scheduler forgets what no client waits for.
    _within(_GRACE, lambda: executor._client.close(timeout=_GRACE))
    executor.end_futures()
    _restore(loud)


def _silenced() -> dict[str, int]:
    """Keep the log of distributed off the terminal, and return the former levels; what goes wrong comes as an error."""
    names = [name for name in logging.root.manager.loggerDict if name.split(".")[0] == "distributed"]
    names.append("tornado.application")  # tells of the same when a scheduler goes
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
