"""What a load path costs, in units of one linear solve of the same section: measured, never asserted.

    python -m benchmarks.paths [--repeats 3]

The joint is invented: the lap of a cable-car cabin's door sill, with large
rotation and a hardening adhesive, pulled until its bondline has yielded from
end to end. CPU seconds of this process, one thread; ratios travel from machine
to machine, seconds do not.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time

from fejoint import Adherend, Adhesive, Analysis, ConvergenceError, Isotropic, Joint, Load, SingleLap
from fejoint.mechanics import newton
from fejoint.mechanics.discretisation import Discretisation, discretise
from fejoint.mechanics.factor import solver_name
from fejoint.mechanics.linear import assemble, laws_of, pattern_of, solve_linear
from fejoint.mechanics.nonlinear import follow, problem_of
from fejoint.mechanics.path import YIELDED
from fejoint.mechanics.recovery import nodal
from fejoint.mechanics.section import mesh_section

SHEET = Adherend(
    material=Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, tensile_yield=400, hardening={"exponent": 12}),
    thickness=1.6,
    free_length=50,
)
ADHESIVE = Adhesive(elastic_modulus=2000, poisson_ratio=0.35, tensile_yield=25, hardening={"rise": 15, "rate": 50, "slope": 20})
ANALYSES = {
    "large rotation": Analysis(large_rotation=True),
    "plastic adhesive": Analysis(adhesive_model="plastic"),
    "large rotation, plastic adhesive": Analysis(large_rotation=True, adhesive_model="plastic"),
    "all together": Analysis(large_rotation=True, adhesive_model="plastic", adherend_plasticity=True),
}


def joint_of(analysis: Analysis) -> Joint:
    """Return the lap with an analysis, its load beyond what yields the bondline."""
    return Joint(
        geometry=SingleLap(width=25, overlap_length=12.5, bondline_thickness=0.2, lower=SHEET, upper=SHEET),
        adhesive=ADHESIVE,
        load=Load(force=9000),
        analysis=analysis,
    )


def linear_seconds(joint: Joint, d: Discretisation) -> float:
    """Return the CPU seconds of one linear solve, mesh and pattern being there: assemble, factor, solve."""
    pattern = pattern_of(d, joint.load.ends)
    start = time.process_time()
    solve_linear(assemble(d, laws_of(joint), joint.load.ends, False, pattern), joint)
    return time.process_time() - start


def path_seconds(joint: Joint, d: Discretisation) -> tuple[float, int, int, float, float]:
    """Return CPU seconds, increments, iterations, factorisations and force (N) up to yield from end to end of the bondline."""
    problem = problem_of(joint, d, pattern_of(d, joint.load.ends))
    line = d.line("bondline 1 middle").ravel()
    factored = 0

    def counted(*arguments):
        nonlocal factored
        factored += 1
        return keep(*arguments)

    keep, newton.factorise_any = newton.factorise_any, counted
    start, increments, iterations, force = time.process_time(), 0, 0, 0.0
    try:
        for found in follow(joint, problem):
            increments, iterations, force = increments + 1, iterations + found.iterations, found.joint.load.force
            plastic = nodal(d, found.plastic_strain("adhesive")[None], "adhesive")[line, 0]
            if plastic.min() > YIELDED:
                break
    except ConvergenceError as error:
        print(f"ended early: {error}")
    finally:
        newton.factorise_any = keep
    return time.process_time() - start, increments, iterations, factored, force


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=3)
    repeats = parser.parse_args().repeats
    d = discretise(mesh_section(joint_of(ANALYSES["large rotation"]), 1.0))
    print(f"{2 * len(d.points)} unknowns, {solver_name()}; units of one linear solve, medians of {repeats}")
    print("".ljust(36) + "".join(n.rjust(14) for n in ("force, N", "increments", "iterations", "factorised", "units")))
    for name, analysis in ANALYSES.items():
        joint = joint_of(analysis)
        linear_seconds(joint, d)  # warms up
        units, counts = [], (0, 0, 0, 0.0)
        for _ in range(repeats):
            unit = statistics.median(linear_seconds(joint, d) for _ in range(3))
            seconds, *rest = path_seconds(joint, d)
            counts = tuple(rest)
            units.append(seconds / unit)
        increments, iterations, factored, force = counts
        print(name.ljust(36) + f"{force:14.0f}{increments:14}{iterations:14}{factored:14}{statistics.median(units):14.1f}")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
