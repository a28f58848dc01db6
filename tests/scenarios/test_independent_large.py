"""A lap that turns far, solved by another finite-element library, ngsolve, on the same mesh.

As in test_independent_fe.py, what must agree is programming: same element, same
rule, hence the same numbers. The other side writes down the energy of a St
Venant-Kirchhoff body and differentiates it by itself
(benchmarks/independent_large.py).
"""

from __future__ import annotations

from importlib import import_module

import numpy as np
import pytest

from benchmarks.nonlinear import pulled
from fejoint import Adherend, Adhesive, Analysis, Isotropic, Joint, Load, SingleLap
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import pattern_of
from fejoint.mechanics.nonlinear import Deformed, problem_of
from fejoint.mechanics.section import mesh_section

pytest.importorskip("ngsolve")
independent = import_module("benchmarks.independent_large")

# Both sides solve the same equations to round-off: as for linear solutions (test_independent_fe.py), 1e-7 of the largest
# displacement and a digit in reserve. The last step of Newton's method, which both take, squares what the one before left.
DISPLACEMENT = 1e-6
REACTION = 1e-6

ALUMINIUM = Isotropic(elastic_modulus=72_000, poisson_ratio=0.33)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29)
EPOXY = Adhesive(elastic_modulus=1850, poisson_ratio=0.33)
JOINT = Joint(
    geometry=SingleLap(
        width=25,
        overlap_length=12.5,
        bondline_thickness=0.2,
        lower=Adherend(material=ALUMINIUM, thickness=1.6, free_length=40),
        upper=Adherend(material=STEEL, thickness=1.0, free_length=50),
    ),
    adhesive=EPOXY,
    load=Load(force=7500),
    analysis=Analysis(large_rotation=True),
)
LOADS = (100.0, 300.0)


@pytest.fixture(scope="module")
def ours() -> list[Deformed]:
    """The package's solutions, on a coarse mesh: the equations are the same on any."""
    d = discretise(mesh_section(JOINT, 0.5))
    return pulled(JOINT, problem_of(JOINT, d, pattern_of(d, "clamped", False)), LOADS)


def theirs(ours, adhesive=EPOXY):
    """Return ngsolve's solutions with the loaded end moved as in ours."""
    d = ours[0].discretisation
    elongations = [found.elongation for found in ours]
    joint = JOINT.replace(adhesive=adhesive)
    return independent.solve_large_rotation(joint, d.section, list(LOADS), d.points, elongations=elongations)


def test_it_turns_far(ours):
    """The comparison means something: under the larger load the adherends turn by degrees, and the lap's stiffness has grown."""
    steepest = np.abs(ours[-1].displacement[:, 1]).max() / 40
    assert steepest > 0.01
    assert ours[1].elongation / ours[0].elongation < 2.9


def test_displacements_and_reactions_agree(ours):
    """All nodes move alike, the reaction to our elongation is our load, and the faces carry the same forces and moments."""
    for own, other in zip(ours, theirs(ours), strict=True):
        largest = np.abs(other.displacement).max()
        assert np.abs(own.displacement - other.displacement).max() <= DISPLACEMENT * largest
        load = own.joint.line_load
        assert abs(other.load - load) <= REACTION * load
        for face, (along, across, moment) in other.forces.items():
            end = own.ends[face.split(" ")[1]]
            # Moments: of forces through a lever of a millimetre and more.
            np.testing.assert_allclose([along, across, moment], [end.axial, end.lateral, end.moment], atol=10 * REACTION * load)


def test_a_small_change_of_one_material_is_seen(ours):
    """Adhesive stiffer by one hundredth on one side misses the limits by far."""
    own, other = ours[-1], theirs(ours, Adhesive(elastic_modulus=1.01 * 1850, poisson_ratio=0.33))[-1]
    assert np.abs(own.displacement - other.displacement).max() > 10 * DISPLACEMENT * np.abs(other.displacement).max()
    assert abs(other.load - own.joint.line_load) > 10 * REACTION * own.joint.line_load
