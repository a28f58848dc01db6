"""The package's own mesh, assembly, solver and recovery under the assumptions that theories of the bondline make."""

from __future__ import annotations

import dataclasses

import numpy as np

from benchmarks.two_beams import Beam
from fejoint import Joint
from fejoint.bondline.closed_form import volkersen
from fejoint.bondline.curves import Bondline
from fejoint.mechanics.elasticity import Law
from fejoint.mechanics.factor import factorise
from fejoint.mechanics.linear import System, assemble, discretise, solve_linear
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import mesh_section


def assumed_laws(joint: Joint, multiplier: float, *, peel: bool) -> dict[str, Law]:
    """Return laws as the theories assume: adherends that stretch along x, a layer of shear and, if wanted, peel stiffness.

    What theories take as rigid (the adherends' shear and their stiffness
    across) is the real one times `multiplier`. Along x and across the width
    the adherends, which are isotropic, are plates free through their thickness.
    """
    laws = {}
    for name, part in joint.geometry.adherends().items():
        m = part.material
        plate = m.elastic_modulus / (1 - m.poisson_ratio**2)
        stiffness = np.diag([plate, multiplier * plate, multiplier * m.shear_modulus, plate])
        stiffness[[0, 3], [3, 0]] = m.poisson_ratio * plate
        expansion = m.expansion or 0.0
        laws[name] = Law(stiffness, np.array([expansion, 0.0, 0.0, expansion]))
    across = joint.adhesive.elastic_modulus if peel else 0.0
    laws["adhesive"] = Law(np.diag([0.0, across, joint.adhesive.shear_modulus, 0.0]), np.zeros(4))
    return laws


def beams_of(joint: Joint, *, shears: bool = True) -> tuple[Beam, Beam]:
    """Return the upper and the lower adherend (isotropic) as beams."""
    parts = [(part.material, part.thickness) for part in (joint.geometry.upper, joint.geometry.lower)]
    upper, lower = (Beam.isotropic(m.elastic_modulus, m.poisson_ratio, t, shears=shears) for m, t in parts)
    return upper, lower


def two_beam_bondline(joint: Joint, density: float, multiplier: float = 1000.0) -> Bondline:
    """Return the bondline with adherends that only stretch and bend and a layer of shear and peel stiffness alone."""
    system = assemble(discretise(mesh_section(joint, density)), assumed_laws(joint, multiplier, peel=True), joint.load.ends)
    solution = solve_linear(system, joint)
    return recover_bondlines(solution, nodal_stress(solution))[0]


def held_sideways(system: System, laws: dict[str, Law]) -> System:
    """Return the system with every displacement along y held, and other laws that differ in peel stiffness alone."""
    keep = np.setdiff1d(np.arange(system.transform.shape[1]), system.transform[1::2].indices)
    matrix = system.matrix[keep][:, keep].tocsc()
    return dataclasses.replace(
        system,
        laws=laws,
        matrix=matrix,
        transform=system.transform[:, keep],
        solve=factorise(matrix),
        named={name: int(np.searchsorted(keep, number)) for name, number in system.named.items()},
    )


def volkersen_difference(joint: Joint, density: float, multiplier: float = 1e4) -> float:
    """Return how far the recovered mid-line shear is from Volkersen's, over the whole overlap, as a share of its peak."""
    # The peel stiffness lets the section be factored before it is held; held, it has nothing to act on.
    free = assemble(discretise(mesh_section(joint, density)), assumed_laws(joint, multiplier, peel=True), "clamped")
    solution = solve_linear(held_sideways(free, assumed_laws(joint, multiplier, peel=False)), joint)
    found = recover_bondlines(solution, nodal_stress(solution))[0].middle
    theory = volkersen.curves(joint).middle
    return float(np.abs(found.at(theory.x) - theory.shear).max() / np.abs(theory.shear).max())
