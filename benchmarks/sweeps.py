"""What a sweep costs and saves: ratios within one run, never asserted.

    python -m benchmarks.sweeps [--cases 200] [--memory 10000]

  workers    the same sweep of unlike geometries on one worker and on two (goal: 1.8 times as fast)
  reuse      a sweep over loads and one over materials, against solving each case alone from scratch in one
             process (goals: 20 and 3 times as fast); a sweep over geometries, where there is nothing to reuse
  overhead   wall time of a sweep on one worker, less the time that its cases took, a case (goal: 2 ms)
  memory     of this process and of its worker, after 100 cases and after many (goal: flat)

Start-up of the workers is left out: each sweep is run once with a few cases first, on the same executor.
Wall times on a machine that others use as well are rough; the ratios are of runs that take turns.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import resource
import statistics
import tempfile
import time
from importlib import resources

import numpy as np
import psutil

import fejoint
from fejoint.joint.file import document_from_joint, joint_from_text
from fejoint.study.cases import joint_of
from fejoint.study.engines import local_pool, stop

SILL = joint_from_text(resources.files("fejoint.demo").joinpath("door-sill.toml").read_text(encoding="utf-8"))
GOALS = {"workers": 1.8, "loads": 20.0, "materials": 3.0}


def over(key: str, start: float, stop_: float, number: int) -> dict[str, list[float]]:
    """Return a variation of one key."""
    return {key: [float(value) for value in np.linspace(start, stop_, number)]}


def timed_sweep(executor, vary, **options) -> tuple[float, float]:
    """Return the wall seconds of a sweep into a fresh journal, and the sum of its cases' own."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        table = fejoint.sweep(SILL, vary, executor=executor, out=folder, yes=True, **options)
        wall = time.perf_counter() - start
    assert set(table["status"]) <= {"done", "missed"}, table["status"].value_counts()
    return wall, float(table["seconds"].sum())


def alone(vary, sample: int) -> float:
    """Return the median wall seconds of solving a joint from scratch, over some of a sweep's joints."""
    (key, values), document, seconds = *vary.items(), document_from_joint(SILL), []
    for value in values[:: max(1, len(values) // sample)]:
        start = time.perf_counter()
        fejoint.solve(joint_of(document, {key: value}))
        seconds.append(time.perf_counter() - start)
    return statistics.median(seconds)


def megabytes(process: psutil.Process) -> float:
    return process.memory_info().rss / 1e6


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--memory", type=int, default=10_000)
    options = parser.parse_args()
    geometries = over("joint.overlap_length", 10, 40, options.cases)
    loads = over("load.force", 500, 5000, options.cases)
    materials = over("adhesive.elastic_modulus", 500, 5000, options.cases)
    fejoint.solve(SILL)

    one, two = local_pool(1), local_pool(2)
    try:
        for pool in (one, two):
            timed_sweep(pool, over("joint.width", 20, 25, 4))
        walls = [(timed_sweep(one, geometries)[0], timed_sweep(two, geometries)[0]) for _ in range(3)]
        ratio = statistics.median(a / b for a, b in walls)
        print(f"workers    two against one: {ratio:.2f} times as fast (goal {GOALS['workers']:g}); {walls[0][0]:.1f} s on one")
        for name, vary in (("loads", loads), ("materials", materials), ("geometries", geometries)):
            each = alone(vary, 15)
            wall, busy = timed_sweep(one, vary)
            goal = f"goal {GOALS[name]:g}" if name in GOALS else "nothing to reuse"
            print(f"reuse      {name}: {each * options.cases / wall:.1f} times as fast as each alone ({goal}); ", end="")
            in_sweep, solving = 1e3 * wall / options.cases, 1e3 * busy / options.cases
            print(f"{1e3 * each:.0f} ms alone, {in_sweep:.1f} ms in the sweep, {solving:.1f} of it solving")
        wall, busy = timed_sweep(one, geometries)
        print(f"overhead   {1e3 * (wall - busy) / options.cases:.2f} ms a case (goal 2 ms), journal, table and files in it")
    finally:
        stop(one)
        stop(two)
    memory(options.memory)


def memory(number: int) -> None:
    """Print the memory of this process and of its worker as cases go by."""
    pool = local_pool(1)
    try:
        timed_sweep(pool, over("load.force", 500, 600, 4))
        us = psutil.Process()
        worker = max(us.children(), key=megabytes)
        for cases in (100, number // 10, number):
            lengths, forces = max(1, cases // 100), 100
            seen: list[tuple[float, float]] = []
            vary = over("joint.overlap_length", 10, 40, lengths) | over("load.force", 500, 5000, forces)
            timed_sweep(pool, vary, progress=lambda _, seen=seen: seen.append((megabytes(us), megabytes(worker))))
            mine, its = (max(column) for column in zip(*seen, strict=True))
            print(f"memory     {lengths * forces:6d} cases: this process up to {mine:.0f} MB, its worker up to {its:.0f} MB")
        print(f"memory     largest of this process ever: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3:.0f} MB")
    finally:
        stop(pool)


if __name__ == "__main__":
    main()
