"""Starts a cluster of processes on this machine's loopback, for tests."""

import json
import os
import subprocess
import sys
import time

import pytest


def start_cluster(folder, *options, protocol="tcp", workers=2):
    """Start a scheduler and workers of one thread, wait for them; return the address and what to call at the end."""
    where = folder / "scheduler.json"
    environment = os.environ | {
        # A task whose worker died is an error at once; the scheduler would else try it on three more.
        "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "0",
    }
    common = ["--protocol", protocol, "--scheduler-file", str(where), "--no-dashboard", *options]
    commands = {
        "scheduler": ["--host", "127.0.0.1", "--port", "0"],
        "worker": ["--host", "127.0.0.1", "--nthreads", "1", "--nworkers", str(workers), "--local-directory", str(folder)],
    }
    processes = []
    for kind, own in list(commands.items())[: 2 if workers else 1]:
        with (folder / f"{kind}.log").open("w") as log:
            command = [sys.executable, "-m", f"distributed.cli.dask_{kind}", *common, *own]
            processes.append(
                subprocess.Popen(
                    command, env=environment, stdout=log, stderr=log, stdin=subprocess.DEVNULL, start_new_session=True
                )
            )

    def end():
        # The scheduler first: else it would blame the tasks for the death of their workers. To terminate them would take
        # seconds. The workers' own processes end with them, and their tracker tidies up.
        for process in processes:
            process.kill()
            process.wait()

    def up():
        log = folder / "worker.log"
        return (
            where.exists()
            and where.read_text().endswith("}")
            and (not workers or log.read_text().count("Registered to:") == workers)
        )

    deadline = time.monotonic() + 30
    while time.monotonic() < deadline and all(process.poll() is None for process in processes):
        if up():
            return json.loads(where.read_text())["address"], end
        time.sleep(0.05)
    end()
    pytest.fail("no cluster came up: " + "".join(log.read_text() for log in folder.glob("*.log")))
