"""The double lap's symmetry: half a section against the whole, who may be halved, and outers that change places."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial import KDTree

from fejoint import Adherend, Adhesive, DoubleLap, Isotropic, Joint, Load, SingleLap, SteppedLap, solve
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import assemble, laws_of, solve_linear
from fejoint.mechanics.load_path import bond_forces
from fejoint.mechanics.recovery import edge_loads, nodal_stress, recover_bondlines
from fejoint.mechanics.section import mesh_section
from fejoint.mechanics.symmetry import unfolded

# Round figures of the order of aluminium, steel and an epoxy: stand-ins, no material's data.
METAL = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29, expansion=12e-6)
GLUE = Adhesive(elastic_modulus=2_000, poisson_ratio=0.35, expansion=60e-6)
PLY = "carbon ply T300/5208, 0 degrees"

# Both meshes have the same cells; what is left is the round-off of two solutions, 1e-16 times a condition number of 1e7
# to 1e8 in displacements, and in stresses as shares of the peak.
ROUND_OFF = 1e-8


def part(material=METAL, thickness=1.6, arm=20.0) -> Adherend:
    return Adherend(material=material, thickness=thickness, free_length=arm)


def double(inner=None, lower=None, upper=None, load=None, **more) -> Joint:
    """Return a double lap under 100 N/mm; one outer for both unless an upper one is given."""
    sizes = {"width": 25.0, "overlap_length": 12.5, "bondline_thickness": 0.2, **more}
    lower = lower or part()
    outers = {"outer": lower} if upper is None else {"lower_outer": lower, "upper_outer": upper}
    geometry = DoubleLap(inner=inner or part(STEEL, 2.0), **outers, **sizes)
    return Joint(geometry=geometry, adhesive=GLUE, load=load or Load(force=2500))


def at(joint: Joint, *, whole: bool):
    """Return a joint solved at density 1, on the whole section or on its half, made whole."""
    section = mesh_section(joint, 1.0, whole=whole)
    system = assemble(discretise(section), laws_of(joint, section), joint.load.ends, joint.load.shear_force != 0)
    solution = unfolded(solve_linear(system, joint))
    stress = nodal_stress(solution)
    return SimpleNamespace(
        half=section.half, solution=solution, stress=stress, bondlines=recover_bondlines(solution, stress),
        forces=bond_forces(solution, stress), edges=edge_loads(solution),
    )  # fmt: skip


def levels(bondline) -> np.ndarray:
    """Return shear, peel and axial stress of mid-line and interfaces in one row of numbers."""
    return np.concatenate([[c.shear, c.peel, c.axial] for c in bondline.levels().values()], axis=1).ravel()


HALVED = {
    "plain": double(),
    "fillets": double(spew="fillet"),
    "pinned, cooled": double(load=Load(force=2500, temperature_change=-80, ends="pinned")),
    "cooled alone": double(load=Load(force=0, temperature_change=-80)),
    "carbon inner": double(part(PLY, 3.0)),
}


@pytest.mark.parametrize("joint", HALVED.values(), ids=HALVED)
def test_half_and_whole_agree(joint):
    """The mirrored half is the whole: displacements to 1e-8 of the largest, curves of the peak, forces and edge loads too."""
    half, whole = at(joint, whole=False), at(joint, whole=True)
    assert half.half and not whole.half
    distance, place = KDTree(whole.solution.discretisation.points).query(half.solution.discretisation.points)
    assert len(place) == len(whole.solution.discretisation.points) == len(set(place))
    assert distance.max() < 1e-9
    found, expected = half.solution.displacement, whole.solution.displacement[place]
    assert np.abs(found - expected).max() < ROUND_OFF * np.abs(expected).max()
    assert half.solution.width_strain == pytest.approx(whole.solution.width_strain, rel=ROUND_OFF)
    assert half.solution.elongation == pytest.approx(whole.solution.elongation, rel=ROUND_OFF)
    peak = max(abs(b.peak_shear.value) for b in whole.bondlines)
    for a, b in zip(half.bondlines, whole.bondlines, strict=True):
        assert a.number == b.number
        assert np.abs(a.x - b.x).max() < 1e-9
        assert np.abs(levels(a) - levels(b)).max() < ROUND_OFF * peak
        assert np.abs(a.transferred - b.transferred).max() < ROUND_OFF * peak * 12.5
    for name, force in whole.forces.items():
        assert half.forces[name] == pytest.approx(force, abs=ROUND_OFF * peak * 12.5)
    # Edge moments by equilibrium from ends 30 mm away.
    for name, edge in whole.edges.items():
        other = half.edges[name]
        assert other.axial == pytest.approx(edge.axial, abs=ROUND_OFF * peak * 12.5)
        assert other.shear == pytest.approx(edge.shear, abs=ROUND_OFF * peak * 12.5)
        assert other.moment == pytest.approx(edge.moment, abs=ROUND_OFF * peak * 12.5 * 30)


def test_both_bondlines_of_a_half_are_mirror_images():
    """One outer's curves are the other's, the interfaces changing places; edge loads of the outers likewise."""
    s = at(HALVED["fillets"], whole=False)
    below, above = s.bondlines
    for a, b in ((below.middle, above.middle), (below.lower, above.upper), (below.upper, above.lower)):
        assert np.array_equal(a.x, b.x)
        assert np.abs(a.shear - b.shear).max() < ROUND_OFF * above.peak_shear.value
        assert np.abs(a.peel - b.peel).max() < ROUND_OFF * above.peak_shear.value
    assert s.edges["lower_outer"].axial == pytest.approx(s.edges["upper_outer"].axial, rel=ROUND_OFF)
    assert s.edges["lower_outer"].moment == pytest.approx(-s.edges["upper_outer"].moment, rel=ROUND_OFF)
    assert s.edges["inner"].shear == s.edges["inner"].moment == 0.0


WHOLE = {
    "unlike outers": double(lower=part(), upper=part(thickness=1.61)),
    "another alloy": double(lower=part(), upper=part(Isotropic(elastic_modulus=70_001, poisson_ratio=0.33, expansion=23e-6))),
    "another expansion": double(lower=part(), upper=part(Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=24e-6))),
    "moment": double(load=Load(force=2500, moment=1.0, ends="pinned")),
    "shear force": double(load=Load(force=2500, shear_force=0.1)),
}


@pytest.mark.parametrize("joint", WHOLE.values(), ids=WHOLE)
def test_half_is_refused_to_all_that_is_not_symmetric(joint):
    """Unlike outers, a moment or a shear force take the whole section, however little of it there is."""
    assert not joint.half
    assert not mesh_section(joint, 0.75).half


def test_other_families_are_never_halved():
    sizes = {"width": 25, "bondline_thickness": 0.2, "lower": part(thickness=3.0), "upper": part(thickness=3.0)}
    for geometry in (SingleLap(overlap_length=12.5, **sizes), SteppedLap(steps=1, overlap_length=12.5, **sizes)):
        assert not Joint(geometry=geometry, adhesive=GLUE, load=Load(force=2500)).half


def test_like_outers_are_like_however_they_are_given():
    """`outer` and two equal outers are one joint, halved alike: the very same numbers. Names and strengths do not count."""
    named = METAL.replace(name="the same metal, another sheet", tensile_yield=250.0)
    given = at(double(lower=part()), whole=False)
    for upper in (part(), part(named)):
        joint = double(lower=part(), upper=upper)
        assert joint.half
        other = at(joint, whole=False)
        for a, b in zip(given.bondlines, other.bondlines, strict=True):
            assert np.array_equal(levels(a), levels(b))
        assert given.forces == other.forces


LOADS = {
    "pulled": Load(force=2500),
    "cooled": Load(force=0, temperature_change=-80, ends="pinned"),
    "turned": Load(force=1000, moment=1500, ends="pinned"),
    "lifted": Load(force=1000, shear_force=30),
}


@pytest.mark.parametrize("load", LOADS.values(), ids=LOADS)
def test_outers_that_change_places_mirror_the_joint(load):
    """Lower outer for upper, a moment and a sideways force the other way round: bondline 1 is 2, what turns turns back.

    The mesh of one is the other's mirror image but for how gmsh places the points of a graded line, to 2e-5 of a cell
    (measured apart); within a cell the stress changes by at most about its peak, so 1e-4 of the peak, as for a single
    lap turned end for end.
    """
    one, two = part(METAL, 2.4), part(STEEL, 1.2)
    back = load.replace(moment=-load.moment, shear_force=-load.shear_force)
    there, mirrored = (
        at(joint, whole=True) for joint in (double(lower=one, upper=two, load=load), double(lower=two, upper=one, load=back))
    )
    peak = max(abs(b.peak_shear.value) for b in there.bondlines)
    share = 1e-4
    for a, b in ((there.bondlines[0], mirrored.bondlines[1]), (there.bondlines[1], mirrored.bondlines[0])):
        for c, d in ((a.middle, b.middle), (a.lower, b.upper), (a.upper, b.lower)):
            for name in ("shear", "peel", "axial"):
                assert np.abs(getattr(c, name) - getattr(d, name)).max() < share * peak
    for name, twin in (("lower_outer", "upper_outer"), ("inner", "inner"), ("upper_outer", "lower_outer")):
        a, b = there.edges[name], mirrored.edges[twin]
        assert a.axial == pytest.approx(b.axial, abs=share * peak * 12.5)
        assert a.shear == pytest.approx(-b.shear, abs=share * peak * 12.5)
        assert a.moment == pytest.approx(-b.moment, abs=share * peak * 12.5**2)
    assert there.solution.turn == pytest.approx(-mirrored.solution.turn, abs=share * abs(there.solution.turn))
    assert there.solution.lift == pytest.approx(-mirrored.solution.lift, abs=share * abs(there.solution.lift))
    # Or the mirror would prove nothing.
    assert np.abs(levels(there.bondlines[0]) - levels(mirrored.bondlines[0])).max() > 0.05 * peak


def test_one_percent_of_one_outer_is_seen():
    """A lower outer 1 % stiffer takes the whole section, draws load and parts the bondlines by far more than 1e-8.

    In proportion to the stiffnesses half of 1 % of an outer's share moves, 0.1 % of the load or more.
    """
    stiffer = Isotropic(elastic_modulus=70_700, poisson_ratio=0.33, expansion=23e-6)
    joint = double(lower=part(stiffer), upper=part())
    assert not joint.half
    like, unlike = at(double(), whole=True), at(joint, whole=True)
    peak = like.bondlines[0].peak_shear.value
    assert abs(like.forces["bondline 1"] - like.forces["bondline 2"]) < ROUND_OFF * 100
    assert unlike.forces["bondline 1"] - unlike.forces["bondline 2"] > 0.1
    assert np.abs(levels(unlike.bondlines[0]) - levels(unlike.bondlines[1])).max() > 1e-3 * peak


def test_result_of_a_half_is_that_of_the_whole_joint():
    """From joint to result: both bondlines, both outers, the whole section and all checks, though half of it was solved."""
    result = solve(double())
    assert result.passed
    assert not result.section.half
    assert [b.number for b in result.bondlines] == [1, 2]
    assert set(result.edges) == {"lower_outer", "inner", "upper_outer"}
    assert result.edges["inner"].axial == pytest.approx(100.0, rel=1e-6)
    assert result.edges["upper_outer"].axial == pytest.approx(50.0, rel=1e-6)
    assert set(result.solution.laws) == {"lower_outer", "inner", "upper_outer", "adhesive"}
