"""How long a section takes, beside two general libraries on the same mesh and element in the same run.

    python -m benchmarks.speed [--repeats 5] [--unknowns 20000 100000] [--joints single double stepped]

From the section's arrays to stresses along the mid-line, mesh making left out
on all sides (reading it into the other libraries too). Medians of CPU seconds,
one BLAS thread, the contestants taking turns so that a busy machine strikes
all alike. Nothing is asserted: compare ratios, not seconds.

  fejoint  discretise, assemble and factor, solve, recover (continuous stress),
           with SuperLU and, where installed, CHOLMOD; of the double lap, too,
           the whole section, of which the package otherwise takes half
  ngsolve  the nine-node space, its sparse Cholesky, stress at the mid-line's
           nodes; once as it stands and once with cell centres condensed
  skfem    scikit-fem as commonly written: vector element, default integration
           order, its own solve (scipy's spsolve), stress in the cells beside the mid-line

The others hold the end faces whole, moved by the package's elongation, and take
the stress as it is in the cells, which is less work than the package does; so
the largest shear along the mid-line, printed below, agrees to a part in a
hundred or so.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import argparse
import gc
import importlib.util
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np

from fejoint import Adherend, Adhesive, DoubleLap, Isotropic, Joint, Load, SingleLap, SteppedLap
from fejoint.mechanics import linear
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.factor import factorise, solver_name
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import Section, mesh_section

ALUMINIUM = Isotropic(elastic_modulus=72_000, poisson_ratio=0.33)
THIN, THICK = (Adherend(material=ALUMINIUM, thickness=t, free_length=50) for t in (1.6, 3.2))
SIZES = {"width": 25, "bondline_thickness": 0.2}
GEOMETRIES = {
    "single": SingleLap(overlap_length=12.5, lower=THIN, upper=THIN, **SIZES),
    "double": DoubleLap(overlap_length=12.5, inner=THICK, outer=THIN, **SIZES),
    "stepped": SteppedLap(steps=3, overlap_length=30, lower=THICK, upper=THICK, **SIZES),
}
JOINTS = {
    name: Joint(geometry=geometry, adhesive=Adhesive(elastic_modulus=1850, poisson_ratio=0.33), load=Load(force=2500))
    for name, geometry in GEOMETRIES.items()
}

Stages = dict[str, float]


class Clock:
    """CPU seconds by stage."""

    def __init__(self) -> None:
        self.stages: Stages = {}
        self.start = time.process_time()

    def lap(self, stage: str) -> None:
        """Book the time since the last call under a stage."""
        now = time.process_time()
        self.stages[stage] = self.stages.get(stage, 0.0) + now - self.start
        self.start = now


def middles(joint: Joint) -> list[str]:
    """Return the names of the mid-lines of all bonds."""
    return [f"bondline {bond.number} middle" for bond in joint.geometry.bonds()]


def ours(joint: Joint, section: Section, solver: str) -> tuple[Stages, float]:
    """Return the stages' seconds and the peak shear of the package."""
    os.environ["FEJOINT_SOLVER"] = solver
    factoring = 0.0

    def timed(*arguments):
        nonlocal factoring
        start = time.process_time()
        solve = factorise(*arguments)
        factoring += time.process_time() - start
        return solve

    keep, linear.factorise = linear.factorise, timed
    try:
        clock = Clock()
        discretisation = discretise(section)
        clock.lap("discretise")
        system = linear.assemble(discretisation, linear.laws_of(joint), "clamped")
        clock.lap("assemble")
        solution = linear.solve_linear(system, joint)
        clock.lap("solve")
        bondlines = recover_bondlines(solution, nodal_stress(solution))
        clock.lap("recover")
    finally:
        linear.factorise = keep
        del os.environ["FEJOINT_SOLVER"]
    clock.stages["assemble"] -= factoring
    clock.stages["factor"] = factoring
    return clock.stages, max(abs(bondline.peak_shear.value) for bondline in bondlines)


def with_ngsolve(joint: Joint, section: Section, mesh, motion: float, *, condense: bool) -> tuple[Stages, float]:
    """Return the stages' seconds and the largest mid-line shear of ngsolve."""
    import ngsolve as ng

    line = np.unique(np.hstack([section.mesh.facets[:, section.facets(name)] for name in middles(joint)]))
    x, y = section.mesh.p[:, line]
    clock = Clock()
    space = ng.VectorH1(mesh, order=2, dirichlet="gripped.*|loaded.*")
    u, v = space.TnT()
    clock.lap("discretise")
    e, nu = mesh.MaterialCF({"adhesive": 1850}, default=72_000), 0.33
    mu, lame = e / (2 * (1 + nu)), e * nu / ((1 + nu) * (1 - 2 * nu))

    def strain(field):
        return ng.Sym(ng.Grad(field))

    def stress(field):
        return 2 * mu * strain(field) + lame * ng.Trace(strain(field)) * ng.Id(2)

    form = ng.BilinearForm(space, symmetric=True, condense=condense)
    form += ng.InnerProduct(stress(u), strain(v)) * ng.dx
    form.Assemble()
    clock.lap("assemble")
    inverse = form.mat.Inverse(space.FreeDofs(condense), inverse="sparsecholesky")
    clock.lap("factor")
    found = ng.GridFunction(space)
    found.Set(ng.CF((motion, 0.0)), definedon=mesh.Boundaries("loaded.*"))
    right = (-form.mat * found.vec).Evaluate()
    if condense:
        right.data += form.harmonic_extension_trans * right
    found.vec.data += inverse * right
    if condense:
        found.vec.data += form.harmonic_extension * found.vec
    clock.lap("solve")
    shear = stress(found)[0, 1](mesh(x, y))
    clock.lap("recover")
    return clock.stages, float(np.abs(shear).max())


def with_skfem(joint: Joint, section: Section, motion: float) -> tuple[Stages, float]:
    """Return the stages' seconds and the largest mid-line shear of scikit-fem as commonly written."""
    from skfem import Basis, BilinearForm, ElementQuad0, ElementQuad2, ElementVector, condense, solve
    from skfem.helpers import ddot, eye, sym_grad, trace

    mesh = section.mesh
    clock = Clock()
    basis = Basis(mesh, ElementVector(ElementQuad2()))
    flat = basis.with_element(ElementQuad0())
    adhesive = np.isin(np.arange(mesh.nelements), section.cells("adhesive"))
    e, nu = np.where(adhesive, 1850.0, 72_000.0), 0.33
    mu, lame = e / (2 * (1 + nu)), e * nu / ((1 + nu) * (1 - 2 * nu))
    clock.lap("discretise")

    def stress(strain, w):
        return 2 * w["mu"] * strain + eye(w["lame"] * trace(strain), 2)

    @BilinearForm
    def elasticity(u, v, w):
        return ddot(stress(sym_grad(u), w), sym_grad(v))

    matrix = elasticity.assemble(basis, mu=flat.interpolate(mu), lame=flat.interpolate(lame))
    clock.lap("assemble")
    held = basis.get_dofs({"gripped", "loaded"})
    found = basis.zeros()
    found[basis.get_dofs("loaded").all("u^1")] = motion
    found = solve(*condense(matrix, x=found, D=held))
    clock.lap("factor")
    beside = np.unique(np.hstack([mesh.f2t[:, section.facets(name)] for name in middles(joint)]))
    strain = sym_grad(Basis(mesh, ElementVector(ElementQuad2()), elements=beside).interpolate(found))
    shear = 2 * 1850.0 / (2 * (1 + nu)) * strain[0, 1]
    clock.lap("recover")
    return clock.stages, float(np.abs(shear).max())


def section_of(joint: Joint, unknowns: int) -> Section:
    """Return the joint's whole section with about so many unknowns."""
    density = 1.0
    for _ in range(6):
        section = mesh_section(joint, density, whole=True)
        made = 2 * len(discretise(section).points)
        density *= (unknowns / made) ** 0.5
    return section


def contestants(joint: Joint, section: Section, motion: float) -> dict[str, Callable[[], tuple[Stages, float]]]:
    """Return what is installed here, by name; the others move the loaded end along x by `motion`."""
    chosen = {"fejoint, SuperLU": lambda: ours(joint, section, "superlu")}
    os.environ.pop("FEJOINT_SOLVER", None)
    if solver_name() == "CHOLMOD":
        chosen["fejoint, CHOLMOD"] = lambda: ours(joint, section, "")
    if importlib.util.find_spec("ngsolve") is not None:
        from benchmarks.independent import as_ngsolve_mesh

        mesh = as_ngsolve_mesh(section)
        chosen["ngsolve"] = lambda: with_ngsolve(joint, section, mesh, motion, condense=False)
        chosen["ngsolve, condensed"] = lambda: with_ngsolve(joint, section, mesh, motion, condense=True)
    chosen["skfem, as commonly written"] = lambda: with_skfem(joint, section, motion)
    return chosen


def contest(name: str, unknowns: int, repeats: int) -> None:
    """Print the table of one joint at one size."""
    joint = JOINTS[name]
    section = section_of(joint, unknowns)
    discretisation = discretise(section)
    system = linear.assemble(discretisation, linear.laws_of(joint), "clamped")
    chosen = contestants(joint, section, joint.geometry.pull * linear.solve_linear(system, joint).elongation)
    times: dict[str, list[Stages]] = {who: [] for who in chosen}
    peaks: dict[str, float] = {}
    for turn in range(repeats + 1):
        for who, run in chosen.items():
            gc.collect()
            stages, peaks[who] = run()
            if turn:  # the first turn warms up
                times[who].append(stages)
    columns = ("discretise", "assemble", "factor", "solve", "recover")
    totals = {who: statistics.median(sum(s.values()) for s in runs) for who, runs in times.items()}
    base = totals.get("ngsolve", totals["fejoint, SuperLU"])
    made = 2 * len(discretisation.points)
    print(f"\n{name} lap: {made} unknowns, {section.mesh.nelements} cells; CPU seconds, medians of {repeats}")
    print("".ljust(28) + "".join(n.rjust(11) for n in (*columns, "whole", "ratio")))
    for who, runs in times.items():
        medians = [statistics.median(s.get(n, 0.0) for s in runs) for n in columns]
        print(who.ljust(28) + "".join(f"{v:11.3f}" for v in (*medians, totals[who])) + f"{totals[who] / base:11.2f}")
    print("ratio: whole over " + ("ngsolve" if "ngsolve" in totals else "fejoint, SuperLU"))
    print("largest mid-line shear, MPa: " + ", ".join(f"{who} {value:.3f}" for who, value in peaks.items()))
    sys.stdout.flush()


def main() -> int:
    """Print a table for each joint and size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--unknowns", type=int, nargs="+", default=[20_000, 100_000])
    parser.add_argument("--joints", choices=JOINTS, nargs="+", default=list(JOINTS))
    arguments = parser.parse_args()
    for name in arguments.joints:
        for unknowns in arguments.unknowns:
            contest(name, unknowns, arguments.repeats)
    return 0


if __name__ == "__main__":
    sys.exit(main())
