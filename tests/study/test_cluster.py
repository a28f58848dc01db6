"""A sweep on a cluster: the numbers of the process pool, and one sentence when something is wrong with it."""

import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import pandas as pd
import pytest
from clusters import start_cluster

import fejoint
from benchmarks.survival import SILL, Here, wait_until
from fejoint.cli import run
from fejoint.study import engines
from fejoint.study.cluster import cluster_executor

JOINT = (
    SILL
    + """
[sweep.vary]
"joint.overlap_length" = ["10 mm", "12 mm", "-3 mm"]
"load.force" = { from = "1 kN", to = "2 kN", steps = 5 }
"""
)
CASES, REFUSED = 15, 5


@pytest.fixture
def joint_file(tmp_path):
    path = tmp_path / "sill.toml"
    path.write_text(JOINT, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def reference(tmp_path_factory):
    """The table by this machine's process pool."""
    path = tmp_path_factory.mktemp("reference") / "sill.toml"
    path.write_text(JOINT, encoding="utf-8")
    return fejoint.sweep(path, workers=2).drop(columns="seconds")


@pytest.fixture
def on_cluster(cluster):
    executor = cluster_executor(cluster)
    yield executor
    engines.stop(executor)


def assert_same(table, reference):
    """To the last bit: solving is the same code on the same machine, whoever calls it."""
    pd.testing.assert_frame_equal(table.drop(columns="seconds"), reference, check_exact=True)


def tls_options(files):
    return [part for name, path in files.items() for part in (f"--{name.replace('_', '-')}", str(path))]


def refusal(capsys, *arguments, code=2):
    assert run([str(a) for a in arguments]) == code
    out, err = capsys.readouterr()
    assert out == "" and err.startswith("fejoint: ") and err.endswith((".\n", "?\n")) and err.count("\n") == 1
    return err


def test_a_cluster_gives_the_numbers_of_the_process_pool(joint_file, reference, on_cluster, tmp_path):
    assert list(reference["status"]).count("refused") == REFUSED and len(reference) == CASES
    table = fejoint.sweep(joint_file, executor=on_cluster, out=tmp_path / "out")
    assert_same(table, reference)
    assert_same(fejoint.sweep(joint_file, executor=Here()), reference)
    assert_same(pd.read_parquet(tmp_path / "out" / "sweep.parquet"), reference)
    # The executor is its owner's: it goes on working.
    assert on_cluster.submit(divmod, 7, 2).result(60) == (3, 1)


def test_functions_of_the_result_travel_to_a_cluster(joint_file, on_cluster):
    """Defined in a function, it travels by value, as one of a script does: the workers do not have this file."""
    here = os.getpid()

    def elsewhere(result):
        return os.getpid() != here

    table = fejoint.sweep(
        joint_file, vary={"load.force": [1000, 1500]}, columns=["peak_shear_MPa", elsewhere], executor=on_cluster
    )
    assert list(table["elsewhere"]) == [True, True]


@pytest.mark.parametrize("secure", [False, True])
def test_the_command_line_on_a_cluster(joint_file, reference, request, tmp_path, capsys, secure):
    address = request.getfixturevalue("tls_cluster" if secure else "cluster")
    options = tls_options(request.getfixturevalue("tls_files")) if secure else []
    assert run(["sweep", str(joint_file), "--out", str(tmp_path / "out"), "--cluster", address, *options]) == 0
    assert_same(pd.read_parquet(tmp_path / "out" / "sweep.parquet"), reference)
    out, err = capsys.readouterr()
    assert "15 cases" in out and "sweep.csv" in out and err == ""


def test_tls_options_that_do_not_fit(joint_file, cluster, tls_cluster, tls_files, tmp_path, capsys):
    out = tmp_path / "out"
    sweep = ["sweep", joint_file, "--out", out]
    ca, cert, key = (tls_files[f"tls_{name}"] for name in ("ca", "cert", "key"))
    assert "only go with --cluster" in refusal(capsys, *sweep, "--tls-ca", ca)
    assert "only go with --cluster" in refusal(capsys, *sweep, "--tls-key", key)
    assert "--workers" in refusal(capsys, *sweep, "--cluster", cluster, "--workers", 2)
    assert "needs TLS files" in refusal(capsys, *sweep, "--cluster", tls_cluster)
    assert "needs TLS files" in refusal(capsys, *sweep, "--cluster", tls_cluster, "--tls-ca", ca)
    assert "does not belong to it" in refusal(capsys, *sweep, "--cluster", tls_cluster, "--tls-ca", ca, "--tls-cert", cert)
    assert "without TLS, but" in refusal(capsys, *sweep, "--cluster", cluster, *tls_options(tls_files))
    nowhere = tmp_path / "none.pem"
    assert "none.pem" in refusal(
        capsys, *sweep, "--cluster", tls_cluster, "--tls-ca", nowhere, "--tls-cert", cert, "--tls-key", key
    )
    assert "is no address" in refusal(capsys, *sweep, "--cluster", "udp://here")
    assert not out.exists()


def test_an_unreachable_cluster_is_one_sentence(joint_file, tmp_path, capsys):
    """Within ten seconds: eight for it to answer, stated in `cluster_executor`, and two for a busy machine."""
    with socket.create_server(("127.0.0.1", 0)) as silent:  # connects, and says nothing
        address = f"tcp://127.0.0.1:{silent.getsockname()[1]}"
        began = time.monotonic()
        assert f"no scheduler answers at {address}" in refusal(
            capsys, "sweep", joint_file, "--out", tmp_path / "out", "--cluster", address
        )
        assert time.monotonic() - began < 10.0
    assert not (tmp_path / "out").exists()


def test_a_case_that_kills_the_clusters_worker_is_lost_and_the_others_are_done(joint_file, on_cluster, tmp_path):
    deadly = tmp_path / "deadly"
    deadly.write_text("")
    tally = tmp_path / "tally.txt"

    def computed(result):
        with tally.open("a") as file:
            file.write(f"{result.joint.load.force:g}\n")
        if result.joint.load.force == 1200 and deadly.exists():
            os.kill(os.getpid(), signal.SIGKILL)
        return result.joint.load.force

    def study(**more):
        return fejoint.sweep(
            joint_file,
            vary={"load.force": [1000, 1100, 1200, 1300, 1400]},
            columns=["peak_shear_MPa", computed],
            executor=on_cluster,
            out=tmp_path / "out",
            **more,
        )

    table = study()
    assert list(table["status"]) == ["done", "done", "lost", "done", "done"]
    assert "worker died" in table["reason"][3] and table["reason"][3].endswith("alone")
    assert table["peak_shear_MPa"].isna().tolist() == [False, False, True, False, False]
    assert tally.read_text().split().count("1200") == 2  # once more, not over and over
    assert wait_until(lambda: engines.workers_of(on_cluster) == 2, 60.0)
    deadly.unlink()
    assert list(study()["status"])[2] == "lost"  # it is not tried again unasked
    assert list(study(retry=True)["status"]) == ["done"] * 5
    assert tally.read_text().split().count("1200") == 3


def rows_of(journal):
    if not journal.exists():
        return 0
    with closing(sqlite3.connect(journal)) as reader:
        return reader.execute("SELECT count(*) FROM outcome").fetchone()[0]


def test_a_cluster_that_goes_away_is_one_sentence_and_what_is_finished_is_kept(joint_file, tmp_path):
    address, end = start_cluster(tmp_path)
    out = tmp_path / "out"
    joint_file.write_text(JOINT.replace("steps = 5", "steps = 400"), encoding="utf-8")
    command = [sys.executable, "-m", "fejoint", "sweep", str(joint_file), "--out", str(out), "--cluster", address]
    sweep = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        assert wait_until(lambda: rows_of(out / "journal.sqlite") >= 410, 60.0)
    finally:
        end()
    try:
        said, err = sweep.communicate(timeout=120)
    finally:
        sweep.kill()
    assert sweep.returncode == 2 and said == ""
    assert err.startswith("fejoint: ") and err.count("\n") == 1 and "cluster" in err and "finished cases are kept" in err
    assert 410 <= rows_of(out / "journal.sqlite") < 1200  # 400 of them refused
    with closing(sqlite3.connect(out / "journal.sqlite")) as reader:  # nothing is blamed on the cases
        assert {status for (status,) in reader.execute("SELECT status FROM outcome")} == {"done", "refused"}
    assert not (out / "sweep.csv").exists()
