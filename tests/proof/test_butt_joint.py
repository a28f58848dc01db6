"""A layer between stiff blocks, pulled: what no joint family here has, on the mechanics themselves."""

from __future__ import annotations

import numpy as np
import pytest
from skfem import MeshQuad

from fejoint import Adherend, Adhesive, Isotropic, Joint, Load, SingleLap
from fejoint.joint.materials import Isotropic as Material
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.elasticity import law
from fejoint.mechanics.linear import assemble, solve_linear
from fejoint.mechanics.section import Section

HEIGHT, LAYER, BLOCK = 20.0, 0.2, 5.0


def pulled(nu: float, stiffness: float = 1e9):
    """Return stress across a layer over strain across it, in its middle, MPa; blocks of 20 mm height left and right."""
    inside = np.linspace(-LAYER / 2, LAYER / 2, 5)
    x = np.concatenate([np.linspace(-BLOCK, -LAYER / 2, 6)[:-1], inside, np.linspace(LAYER / 2, BLOCK, 6)[1:]])
    half = HEIGHT / 2 * (1 - 0.85 ** np.arange(30)) / (1 - 0.85**29)  # finer towards the free ends
    y = np.concatenate([-half[::-1], half[1:]])
    mesh = MeshQuad.init_tensor(x, y)
    middle = mesh.p[0, mesh.t].mean(axis=0)
    mesh = mesh.with_subdomains(
        {"lower": np.flatnonzero(middle < -LAYER / 2), "upper": np.flatnonzero(middle > LAYER / 2),
         "adhesive": np.flatnonzero(np.abs(middle) < LAYER / 2)}
    )  # fmt: skip
    mesh = mesh.with_boundaries({"gripped": lambda p: p[0] < -BLOCK + 1e-9, "loaded": lambda p: p[0] > BLOCK - 1e-9})
    block = law(Material(elastic_modulus=stiffness, poisson_ratio=0.3))
    laws = {"lower": block, "upper": block, "adhesive": law(Adhesive(elastic_modulus=2000.0, poisson_ratio=nu))}
    # Of the joint only force, width and the plane strain are used here.
    part = Adherend(material=Isotropic(elastic_modulus=1.0, poisson_ratio=0.3), thickness=1, free_length=1)
    geometry = SingleLap(width=1, overlap_length=1, bondline_thickness=0.2, lower=part, upper=part)
    joint = Joint(geometry=geometry, adhesive=Adhesive(elastic_modulus=1, poisson_ratio=0.3), load=Load(force=10 * HEIGHT))
    solution = solve_linear(assemble(discretise(Section(mesh, 1.0)), laws, "clamped"), joint)
    centre = np.abs(mesh.p[1, mesh.t[:, solution.section.cells("adhesive")]].mean(axis=0)) < 1.5
    stress, strain = solution.stress("adhesive")[:, centre], solution.strain("adhesive")[:, centre]
    return stress[0].mean() / strain[0].mean()


@pytest.mark.parametrize("nu", [0.0, 0.3, 0.45])
def test_constrained_layer_between_stiff_blocks(nu):
    """In the middle the layer strains across itself alone: E (1 - nu) / ((1 + nu) (1 - 2 nu)), to 1e-3.

    Elementary elasticity. The free ends, 50 layer thicknesses away, are not felt; blocks of 1e9 MPa follow the
    contraction that they prevent by 2000 / 1e9 of it; what is left is round-off for stiffness ratios of 5e5.
    """
    constrained = 2000.0 * (1 - nu) / ((1 + nu) * (1 - 2 * nu))
    assert pulled(nu) == pytest.approx(constrained, rel=1e-3)


def test_blocks_as_soft_as_the_layer_let_it_contract():
    """The counter-proof: one material throughout is a bar in plane strain, E / (1 - nu^2), exactly (1e-9, round-off)."""
    material = Material(elastic_modulus=2000.0, poisson_ratio=0.3)
    assert pulled(0.3, 2000.0) == pytest.approx(material.elastic_modulus / (1 - 0.3**2), rel=1e-9)
