"""The same mesh, materials and loads solved by another finite-element library, ngsolve.

What must agree is not physics but programming: same element, same rule (three
Gauss points a side, which matters where cells are not parallelograms), hence
the same numbers. How the other side is made, and what it shares with the
package (the mesh alone), is in benchmarks/independent.py. A joint that the
package solves by its upper half is solved whole on the other side, which
proves the symmetry as well.
"""

from __future__ import annotations

import dataclasses
from importlib import import_module

import numpy as np
import pytest

from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, Orthotropic, SingleLap, SteppedLap
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import assemble, laws_of, solve_linear
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import mesh_section
from fejoint.mechanics.symmetry import unfolded

pytest.importorskip("ngsolve")
independent = import_module("benchmarks.independent")

# Both sides solve the same equations, so they differ by round-off alone. Its size: the cells at the interfaces run
# along the arms, hundreds of times longer than high, so that stiffness entries reach E times as much, 3e7 MPa; times
# displacements of 0.3 mm and the unit round-off of 1e-16 that leaves 1e-9 N/mm in a node's force, which bends an arm
# of 50 mm (P L^3 / 3 D, about 1.5 mm for 1 N/mm) by 1.5e-9 mm, and hundreds of nodes add up at random, more so where
# pinned ends leave the section softer: 1e-7 of the largest displacement, and a digit in reserve. (Numbering the
# corners of the cells from another corner moves our own solution by up to 2e-7.)
DISPLACEMENT = 1e-6
# The load comes back from displacements of that exactness.
REACTION = 1e-6
# Round-off bends the arms as a whole and hardly strains the adhesive: the same share will do.
CURVES = 1e-6

ALUMINIUM = Isotropic(elastic_modulus=72_000, poisson_ratio=0.33, expansion=23.2e-6)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29, expansion=11.7e-6)
EPOXY = Adhesive(elastic_modulus=1850, poisson_ratio=0.33, expansion=60e-6)
# One ply with fibres along the joint; figures from memory (Tsai & Hahn 1980), nu_yz typical.
CARBON = Orthotropic(
    elastic_modulus_x=181_000,
    elastic_modulus_y=10_300,
    elastic_modulus_z=10_300,
    poisson_ratio_xy=0.28,
    poisson_ratio_xz=0.28,
    poisson_ratio_yz=0.4,
    shear_modulus_xy=7170,
    expansion_x=0.02e-6,
    expansion_y=22.5e-6,
    expansion_z=22.5e-6,
)


def part(material, thickness, free_length) -> Adherend:
    return Adherend(material=material, thickness=thickness, free_length=free_length)


def joint_of(family, load, analysis, **geometry) -> Joint:
    sizes = {"width": 25, "bondline_thickness": 0.2, **geometry}
    return Joint(geometry=family(**sizes), adhesive=EPOXY, load=load or Load(force=2500), analysis=analysis or Analysis())


def lap(lower=(ALUMINIUM, 1.6, 50), upper=(ALUMINIUM, 1.6, 50), load=None, analysis=None, **geometry) -> Joint:
    sizes = {"overlap_length": 12.5, **geometry}
    return joint_of(SingleLap, load, analysis, lower=part(*lower), upper=part(*upper), **sizes)


def double_lap(*outers, inner=(ALUMINIUM, 3.2, 40), load=None, **geometry) -> Joint:
    parts = [part(*outer) for outer in outers or [(ALUMINIUM, 1.6, 50)]]
    keys = ("outer",) if len(parts) == 1 else ("lower_outer", "upper_outer")
    sizes = {"overlap_length": 12.5, "inner": part(*inner), **dict(zip(keys, parts, strict=True)), **geometry}
    return joint_of(DoubleLap, load, None, **sizes)


def stepped_lap(lower=(ALUMINIUM, 3.2, 40), upper=(ALUMINIUM, 3.2, 30), load=None, **geometry) -> Joint:
    return joint_of(SteppedLap, load, None, lower=part(*lower), upper=part(*upper), **geometry)


JOINTS = {
    "plain lap": lap(),
    "pinned ends": lap(load=Load(force=2500, ends="pinned")),
    "spew fillet": lap(spew="fillet", spew_height=0.7),
    "pinned fillet, unlike arms": lap(
        (ALUMINIUM, 3.0, 20), (STEEL, 1.0, 60), Load(force=-900, ends="pinned"), spew="fillet", bondline_thickness=0.4
    ),
    "cooled, unlike thickness and material": lap(
        (ALUMINIUM, 2.0, 40), (STEEL, 1.2, 55), Load(force=4000, temperature_change=-100), overlap_length=25
    ),
    "cooled in plane strain": lap(
        upper=(STEEL, 1.6, 50), load=Load(force=0, temperature_change=-80), analysis=Analysis(out_of_plane="plane-strain")
    ),
    "carbon plies": lap((CARBON, 2.0, 50), (CARBON, 2.0, 50), Load(force=6000), bondline_thickness=0.15),
    "carbon on aluminium, heated, pinned, fillet": lap(
        (CARBON, 1.5, 35), (ALUMINIUM, 2.5, 45), Load(force=3000, ends="pinned", temperature_change=60), spew="fillet"
    ),
    "pinned, a moment": lap(load=Load(force=1500, ends="pinned", moment=4000)),
    "double lap by its half, fillets": double_lap(spew="fillet", load=Load(force=5000)),
    "double lap by its half, cooled, pinned": double_lap(
        (STEEL, 1.2, 50), load=Load(force=5000, ends="pinned", temperature_change=-60)
    ),
    "double lap, unlike outers, cooled": double_lap(
        (ALUMINIUM, 1.0, 45), (STEEL, 2.0, 45), load=Load(force=5000, temperature_change=-100)
    ),
    "double lap, unlike outers, pinned, a moment": double_lap(
        (CARBON, 1.5, 45), (ALUMINIUM, 2.5, 45), load=Load(force=5000, ends="pinned", moment=-6000), spew="fillet"
    ),
    "double lap, like outers, clamped, lifted": double_lap(load=Load(force=-2000, shear_force=30)),
    "stepped lap, unequal steps, beads": stepped_lap(step_lengths=[6, 9, 4], step_heights=[0.5, 1.2, 0.7, 0.8], spew="fillet"),
    "stepped lap, clamped, lifted": stepped_lap(steps=3, overlap_length=24, load=Load(force=2500, shear_force=-40)),
    "stepped lap, pinned, a moment, heated": stepped_lap(
        upper=(STEEL, 3.2, 30),
        steps=2,
        overlap_length=16,
        load=Load(force=2500, ends="pinned", moment=3000, temperature_change=50),
    ),
}


def solved(joint):
    """Return the package's solution, of half the section where it takes half, on the whole section."""
    section, load = mesh_section(joint), joint.load
    system = assemble(discretise(section), laws_of(joint, section), load.ends, load.shear_force != 0)
    return unfolded(solve_linear(system, joint))


@pytest.fixture(scope="module", params=JOINTS.values(), ids=JOINTS.keys())
def pair(request) -> tuple:
    """One joint, solved by the package and by ngsolve."""
    ours = solved(request.param)
    return ours, independent.solve_with_ngsolve(request.param, ours.section, ours.elongation, ours.discretisation.points)


def load_scale(joint) -> float:
    """Return the load, or what the elongation by temperature would cost if it were held back in the stiffest adherend, N/mm."""
    change = joint.load.temperature_change
    parts = [(part.material.engineering_constants(), part.thickness) for part in joint.geometry.adherends().values()]
    held_back = max(abs(constants["a_x"] * change) * constants["e_x"] * t for constants, t in parts) if change else 0.0
    return max(abs(joint.line_load), held_back)


def test_displacements_agree(pair):
    """All nodes of all cells move alike, and so does the width strain against the largest strain scale there is."""
    ours, theirs = pair
    largest = np.abs(theirs.displacement).max()
    assert np.abs(ours.displacement - theirs.displacement).max() <= DISPLACEMENT * largest
    # The width strain works on the section as displacements over its thickness do.
    thickness = ours.joint.geometry.depth
    assert abs(ours.width_strain - theirs.width_strain) <= DISPLACEMENT * largest / thickness


def test_width_strain_only_when_generalised(pair):
    """With a temperature change and no word to the contrary the width is free, otherwise held."""
    ours, theirs = pair
    free = ours.joint.load.temperature_change != 0 and ours.joint.analysis.out_of_plane == "automatic"
    assert (theirs.width_strain != 0) == free
    assert (ours.width_strain != 0) == free


def test_reaction_is_our_load(pair):
    """Moved by our elongation, the other solution asks for our load: the stiffness of the joint is the same.

    Held against the load, or against what the elongation by temperature would
    cost if it were held back, where there is no load.
    """
    ours, theirs = pair
    joint = ours.joint
    scale = load_scale(joint)
    assert abs(theirs.loaded_axial - joint.line_load) <= REACTION * scale
    assert abs(theirs.gripped_axial + joint.line_load) <= REACTION * scale


def test_shares_of_the_ends_agree(pair):
    """What every end face carries along x: of a double lap the outers' shares of the load, which are a result."""
    ours, theirs = pair
    joint = ours.joint
    for face, force in theirs.axial.items():
        _, adherend = face.split(" ")
        assert abs(force - ours.ends[adherend].axial) <= REACTION * load_scale(joint), face
    assert {face.split(" ")[1] for face in theirs.axial} == set(joint.geometry.adherends())


def test_bondline_curves_agree(pair):
    """The other displacements put through our recovery give our curves, at all levels."""
    ours, theirs = pair
    swapped = dataclasses.replace(ours, displacement=theirs.displacement, width_strain=theirs.width_strain)
    mine, other = (recover_bondlines(s, nodal_stress(s)) for s in (ours, swapped))
    peak = max(abs(p.value) for b in mine for p in (b.peak_shear, b.peak_peel, b.least_peel))
    assert len(mine) == len(ours.joint.geometry.bonds())
    for one, two in zip(mine, other, strict=True):
        for level, curve in one.levels().items():
            for stress in ("shear", "peel", "axial"):
                difference = np.abs(getattr(curve, stress) - getattr(two.levels()[level], stress)).max()
                assert difference <= CURVES * peak, (one.number, level, stress)


@pytest.mark.parametrize("name", ["plain lap", "double lap by its half, fillets", "stepped lap, clamped, lifted"])
def test_a_small_change_of_one_material_is_seen(name):
    """The agreement means something: adhesive stiffer by one hundredth on one side misses the limits by far."""
    joint = JOINTS[name]
    ours = solved(joint)
    stiffer = joint.replace(adhesive=Adhesive(elastic_modulus=1.01 * EPOXY.elastic_modulus, poisson_ratio=0.33))
    theirs = independent.solve_with_ngsolve(stiffer, ours.section, ours.elongation, ours.discretisation.points)
    largest = np.abs(theirs.displacement).max()
    assert np.abs(ours.displacement - theirs.displacement).max() > 10 * DISPLACEMENT * largest
    assert abs(theirs.loaded_axial - joint.line_load) > 10 * REACTION * joint.line_load


def test_a_half_that_is_none_is_seen():
    """The proof of symmetry means something: one outer thicker by a hundredth on the other side, in stiffness, is far from it."""
    ours = solved(double_lap())
    half = Isotropic(elastic_modulus=1.01 * ALUMINIUM.elastic_modulus, poisson_ratio=ALUMINIUM.poisson_ratio)
    unlike = double_lap((ALUMINIUM, 1.6, 50), (half, 1.6, 50))
    theirs = independent.solve_with_ngsolve(unlike, ours.section, ours.elongation, ours.discretisation.points)
    largest = np.abs(theirs.displacement).max()
    assert np.abs(ours.displacement - theirs.displacement).max() > 10 * DISPLACEMENT * largest
