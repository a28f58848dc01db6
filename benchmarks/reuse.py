"""What reuse between solves is worth: loads, materials and shapes through one store, beside the same joints solved alone.

    python -m benchmarks.reuse [--cases 30]

For each family and direct solver: CPU seconds a case (one BLAS thread) of the
solve and of the summary without theories, medians of cases that take turns
with those solved alone, so that a busy machine strikes all alike. Nothing is
asserted: compare ratios, not seconds. The numbers are the same either way, to
the last bit (`tests/mechanics/test_reuse.py`).

  alone     each joint from scratch
  loads     the force changes: mesh and factored systems are there
  materials the adhesive's stiffness changes: the mesh is there, and CHOLMOD's
            analysis of the matrix; factors are not
  shapes    the layer's thickness changes: nothing is there
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import argparse
import statistics
import sys
import time
from collections.abc import Callable

from benchmarks.speed import JOINTS
from fejoint import Adhesive, Joint, solve
from fejoint.mechanics.factor import solver_name
from fejoint.mechanics.reuse import Kept
from fejoint.show.files import summary


def varied(joint: Joint) -> dict[str, Callable[[int], Joint]]:
    """Return the function that makes case i of each sweep."""
    return {
        "loads": lambda i: joint.replace(load=joint.load.replace(force=1_000.0 + i)),
        "materials": lambda i: joint.replace(adhesive=Adhesive(elastic_modulus=1_500.0 + i, poisson_ratio=0.33)),
        "shapes": lambda i: joint.replace(geometry=joint.geometry.replace(bondline_thickness=0.2 + 0.001 * i)),
    }


def seconds(joint: Joint, kept: Kept | None) -> float:
    """Return the CPU seconds of a solve and its summary."""
    start = time.process_time()
    summary(solve(joint, kept=kept), theories=False)
    return time.process_time() - start


def table(name: str, cases: int) -> None:
    """Print the rows of one family."""
    sweeps = varied(JOINTS[name])
    stores = {sweep: Kept() for sweep in sweeps}
    alone: list[float] = []
    shared: dict[str, list[float]] = {sweep: [] for sweep in sweeps}
    for i in range(cases + 1):
        taken = seconds(sweeps["loads"](i), None), {s: seconds(make(i), stores[s]) for s, make in sweeps.items()}
        if i:  # the first of each meshes, and warms up
            alone.append(taken[0])
            for sweep, value in taken[1].items():
                shared[sweep].append(value)
    base = statistics.median(alone)
    print(f"{name:10s}{solver_name():10s}{1e3 * base:10.1f}", end="")
    for values in shared.values():
        here = statistics.median(values)
        print(f"{1e3 * here:12.1f}{base / here:7.1f}", end="")
    print(flush=True)


def main() -> int:
    """Print a table of milliseconds a case and ratios to solving alone."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=30)
    arguments = parser.parse_args()
    print("ms a case".ljust(20) + "alone".rjust(10) + "".join(f"{s:>12s}{'ratio':>7s}" for s in varied(JOINTS["single"])))
    for solver in ("", "superlu"):
        os.environ["FEJOINT_SOLVER"] = solver
        if solver == "" and solver_name() == "SuperLU":  # nothing else is installed
            continue
        for name in JOINTS:
            table(name, arguments.cases)
    return 0


if __name__ == "__main__":
    sys.exit(main())
