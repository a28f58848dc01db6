"""The executor on a cluster: how it connects, stops and fails, and what a person is told."""

import gc
import importlib.util
import logging
import os
import signal
import socket
import threading
import time

import pytest
from clusters import start_cluster

from benchmarks.survival import wait_until
from fejoint.errors import SetupError
from fejoint.study import engines
from fejoint.study.cluster import cluster_executor

# To leave a cluster takes two messages; the rest is for a busy machine.
STOPPED_WITHIN = 2.0


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
    executor = cluster_executor(cluster)
    assert engines.workers_of(executor) == 2
    pids = {future.result(60) for future in [executor.submit(task()) for _ in range(6)]}  # not one task six times
    assert len(pids) == 2 and os.getpid() not in pids
    engines.stop(executor)


def test_a_cluster_without_its_protocol_named(cluster, quiet):
    executor = cluster_executor(cluster.removeprefix("tcp://"))
    log = logging.getLogger("distributed.client")
    assert not log.isEnabledFor(logging.CRITICAL)  # it would write on the terminal when the scheduler goes
    assert executor.submit(divmod, 7, 2).result(60) == (3, 1)
    with pytest.raises(ZeroDivisionError):
        executor.submit(divmod, 7, 0).result(60)
    engines.stop(executor)
    assert log.isEnabledFor(logging.CRITICAL)  # it is the user's again


def test_stop_cancels_what_waits_on_a_cluster(cluster, quiet):
    executor = cluster_executor(cluster)
    futures = [executor.submit(task(1.0)) for _ in range(40)]
    time.sleep(0.3)
    began = time.monotonic()
    engines.stop(executor)
    assert time.monotonic() - began < STOPPED_WITHIN
    assert all(future.done() for future in futures)  # none is left that somebody might wait for
    assert sum(future.cancelled() for future in futures) > 30
    # The tasks that ran go on for a second, those that waited never begin: 40 of them would take 20 s.
    after = cluster_executor(cluster)
    after.submit(int).result(6)
    engines.stop(after)


def test_the_death_of_a_clusters_worker_is_recognised(cluster, quiet):
    def die():
        os.kill(os.getpid(), signal.SIGKILL)

    executor = cluster_executor(cluster)
    error = executor.submit(die).exception(60)
    assert engines.worker_died(error), repr(error)
    assert executor.submit(int).result(60) == 0  # another goes on
    assert wait_until(lambda: engines.workers_of(executor) == 2, 20.0)  # for the tests after this one
    engines.stop(executor)
    assert not engines.worker_died(ValueError())


def test_a_cluster_over_tls(tls_cluster, tls_files, quiet):
    executor = cluster_executor(tls_cluster, **tls_files)
    assert tls_cluster.startswith("tls://") and executor.submit(abs, -1).result(60) == 1
    engines.stop(executor)
    executor = cluster_executor(tls_cluster.removeprefix("tls://"), **tls_files)
    engines.stop(executor)


@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")  # distributed leaves it to be collected
def test_wrong_tls_is_one_sentence(tls_cluster, tls_files, strangers_files, cluster, quiet):
    def refusal(address, **files):
        began = time.monotonic()
        with pytest.raises(SetupError) as caught:
            cluster_executor(address, **files)
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
        cluster_executor("tls://127.0.0.1:1", **tls_files | {"tls_key": locked})


def test_a_wrong_address_is_one_sentence(quiet):
    for address in ("", "foo", "http://a:1", "tcp://a", "127.0.0.1:99999", "tcp://a:0", "tcp://a b:1", "udp://a:1"):
        with pytest.raises(SetupError, match="is no address of a scheduler; give it as tcp://HOST:PORT"):
            cluster_executor(address)


@pytest.mark.parametrize("kind", ["closed", "silent", "another server"])
def test_no_scheduler_is_one_sentence_in_time(kind, quiet):
    """8 s unless stated otherwise; here 1 s, to be quick, as much again for the thread that asks, and 1 s for a busy machine."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        address = f"tcp://127.0.0.1:{listener.getsockname()[1]}"
        if kind == "closed":
            listener.close()
        if kind == "another server":

            def answer():
                with listener.accept()[0] as connection:
                    connection.sendall(b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n")

            threading.Thread(target=answer, daemon=True).start()
        began = time.monotonic()
        with pytest.raises(SetupError, match="no scheduler answers at"):
            cluster_executor(address, timeout=1.0)
        assert time.monotonic() - began < 3.0


def test_a_scheduler_without_workers_is_one_sentence(tmp_path, quiet):
    address, end = start_cluster(tmp_path, workers=0)
    try:
        with pytest.raises(SetupError, match="has no workers; start some: dask worker tcp://"):
            cluster_executor(address, timeout=1.0)
    finally:
        end()


def test_a_scheduler_that_is_gone_does_not_hold_anybody_up(tmp_path, monkeypatch, quiet):
    monkeypatch.setattr(engines, "_GRACE", 1.0)  # for it to answer how many workers it has
    address, end = start_cluster(tmp_path, workers=1)
    executor = cluster_executor(address)
    assert executor.submit(task(0.1)).result(60)
    futures = [executor.submit(task(60.0)) for _ in range(4)]
    end()
    assert wait_until(lambda: all(future.done() for future in futures), 5.0)  # cancelled or lost; nobody waits for ever
    assert engines.workers_of(executor) == 0
    began = time.monotonic()
    engines.stop(executor)
    assert time.monotonic() - began < 6.0


def test_distributed_that_is_not_installed_is_named_with_its_extra(monkeypatch):
    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None if name == "distributed" else found(name))
    with pytest.raises(SetupError, match=r"pip install 'fejoint\[cluster\]'"):
        cluster_executor("tcp://127.0.0.1:1")
