"""Reuse between solves: the same numbers to the last bit, whatever was solved before, and a store that stays small.

Alone and through a store a joint goes the same way, superposition of its
system's answers to unit loads, and what is kept is made of the same
arithmetic in the same order: so equality is asked for, not closeness.
"""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from scipy.sparse import bmat, csc_array
from scipy.sparse.linalg import spsolve

from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, SingleLap, SteppedLap, solve
from fejoint.mechanics import driver
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import assemble, laws_of, solve_linear
from fejoint.mechanics.reuse import Kept, mesh_key, system_key
from fejoint.mechanics.section import mesh_section

# Round figures of the order of aluminium, steel and epoxies: stand-ins, no material's data.
METAL = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29, expansion=12e-6)
GLUES = [Adhesive(elastic_modulus=e, poisson_ratio=0.35, expansion=60e-6) for e in (500, 2_000, 4_000)]


def part(material=METAL, thickness=1.6, arm=15.0) -> Adherend:
    return Adherend(material=material, thickness=thickness, free_length=arm)


def geometries(layer: float = 0.2) -> list:
    size = {"width": 25.0, "bondline_thickness": layer}
    return [
        SingleLap(overlap_length=10.0, lower=part(), upper=part(STEEL, 1.0), **size),
        SingleLap(overlap_length=10.0, lower=part(), upper=part(), spew="fillet", **size),
        DoubleLap(overlap_length=10.0, inner=part(STEEL, 2.0), outer=part(), **size),
        DoubleLap(overlap_length=10.0, inner=part(), lower_outer=part(), upper_outer=part(STEEL), **size),
        SteppedLap(steps=2, overlap_length=12.0, lower=part(thickness=2.0), upper=part(STEEL, 2.0), **size),
    ]


LOADS = [
    Load(force=2_500),
    Load(force=-1_000),
    Load(force=0, temperature_change=-80),
    Load(force=1_500, temperature_change=40),
    Load(force=2_500, ends="pinned"),
    Load(force=700, ends="pinned", moment=2_000, temperature_change=-30),
    Load(force=900, shear_force=30),
    Load(force=0, shear_force=-15, temperature_change=20),
]
ANALYSES = [Analysis(), Analysis(error_target=0.003), Analysis(out_of_plane="generalised"), Analysis(out_of_plane="plane-strain")]


def random_joints(seed: int, number: int) -> list[Joint]:
    """Return joints of all families, loads, glues and analyses, many of which share a mesh or a system."""
    draw = np.random.default_rng(seed)
    kinds = [*geometries(), geometries(0.25)[0]]

    def one(things: list):
        return things[draw.integers(len(things))]

    return [Joint(geometry=one(kinds), adhesive=one(GLUES), load=one(LOADS), analysis=one(ANALYSES)) for _ in range(number)]


def flat(thing) -> list[float]:
    """Return every number that a result holds, in order: what the stages made, checks and refinement among them."""
    if isinstance(thing, np.ndarray):
        return thing.ravel().tolist()
    if isinstance(thing, dict):
        return [number for value in thing.values() for number in flat(value)]
    if isinstance(thing, list | tuple):
        return [number for value in thing for number in flat(value)]
    if dataclasses.is_dataclass(thing):
        return [number for f in dataclasses.fields(thing) for number in flat(getattr(thing, f.name))]
    return [float(thing)] if isinstance(thing, float | int) else []


def numbers(result) -> np.ndarray:
    s = result.solution
    parts = [
        s.displacement, s.width_strain, s.ends, s.backward_error, s.elongation, s.turn, s.lift,
        result.section.density, result.bondlines, result.edges, result.bond_forces, result.adherend_sections,
        result.spew_peaks, result.checks, result.discretisation_error, result.adhesive_stress,
    ]  # fmt: skip
    return np.array(flat(parts))


def same(a, b) -> bool:
    return np.array_equal(numbers(a), numbers(b), equal_nan=True) and a.warnings == b.warnings


@pytest.fixture(scope="module")
def joints():
    return random_joints(1, 28)


@pytest.fixture(scope="module")
def alone(joints):
    return [solve(joint) for joint in joints]


# ---- the same numbers --------------------------------------------------------


def test_random_joints_are_drawn_from_everything(joints, alone):
    """Or the tests below would prove little: all families, halves, refinement, both states of strain, every kind of load."""
    assert {j.geometry.kind for j in joints} == {"single-lap", "double-lap", "stepped-lap"}
    assert {j.half for j in joints} == {j.out_of_plane == "generalised" for j in joints} == {True, False}
    assert {r.section.density for r in alone} >= {1.0, 2.0}
    assert any(j.load.moment for j in joints) and any(j.load.shear_force for j in joints)
    keys = [system_key(j) for j in joints]
    assert len(set(keys)) < len(keys)
    assert len({mesh_key(j) for j in joints}) < len(set(keys))


@pytest.mark.parametrize("seed", [1, 2])
def test_results_do_not_depend_on_what_was_solved_before(joints, alone, seed):
    """In any order through one store every number of every result is that of the joint solved alone, bit for bit."""
    kept = Kept()
    for k in np.random.default_rng(seed).permutation(len(joints)):
        assert same(solve(joints[k], kept=kept), alone[k]), joints[k]


def test_results_do_not_depend_on_eviction(joints, alone):
    """A store too small for two joints forgets and makes anew: still bit for bit."""
    kept = Kept(number=5)
    for joint, result in zip(joints, alone, strict=True):
        assert same(solve(joint, kept=kept), result), joint
        assert len(kept) <= 5


def test_systems_that_take_turns_keep_their_answers():
    """Two materials on one mesh, loads one by one in turns: each asks its system for answers after the other's was factored."""
    kept, geometry = Kept(), geometries()[0]
    for load in LOADS[:4]:
        for glue in GLUES[:2]:
            joint = Joint(geometry=geometry, adhesive=glue, load=load)
            assert same(solve(joint, kept=kept), solve(joint))


def test_the_joints_own_names_and_limits_stay_its_own():
    """What is shared is of the section: title, width and strengths, which warnings go by, are the joint's."""
    kept, joint = Kept(), Joint(geometry=geometries()[0], adhesive=GLUES[1], load=LOADS[0])
    weak = joint.replace(title="weak", adhesive=joint.adhesive.replace(shear_strength=1.0))
    wide = joint.replace(geometry=joint.geometry.replace(width=50.0))
    first, second, third = (solve(j, kept=kept) for j in (joint, weak, wide))
    assert len(kept) == 6  # of two meshes: discretisation, pattern, system
    assert first.warnings != second.warnings
    assert (second.joint, third.joint) == (weak, wide)
    assert np.abs(third.bondlines[0].shear - first.bondlines[0].shear / 2).max() < 1e-12 * first.peak_shear[0].value
    assert third.bondlines[0].transferred[-1] == pytest.approx(50, rel=1e-3)


@pytest.mark.parametrize(
    "lost",
    [
        lambda key: key.replace("'bondline_thickness': 0.25", "'bondline_thickness': 0.2"),
        lambda key: key.replace("ends=pinned", "ends=clamped"),
        lambda key: key.replace("lifted=True", "lifted=False"),
        lambda key: re.sub(r"'([eg]|nu)_\w+': [^,}]+", "", key),
        lambda key: re.sub(r"'a_\w': [^,}]+", "", key),
        lambda key: key.replace("half=False", "half=True").replace("'half': 0.0", "'half': 1.0"),
    ],
    ids=["layer", "ends", "lift", "stiffness", "expansion", "half"],
)
def test_a_key_that_forgets_something_is_seen(monkeypatch, lost):
    """Left out of the keys, each thing that tells two systems apart gives one joint the other's numbers, or an error."""
    g, h = geometries(), geometries(0.25)
    cold = Adhesive(elastic_modulus=2_000, poisson_ratio=0.35, expansion=23e-6)
    twins = [
        Joint(geometry=g[0], adhesive=GLUES[1], load=LOADS[0]),
        Joint(geometry=h[0], adhesive=GLUES[1], load=LOADS[0]),
        Joint(geometry=g[0], adhesive=GLUES[1], load=LOADS[4]),
        Joint(geometry=g[0], adhesive=GLUES[1], load=LOADS[6]),
        Joint(geometry=g[0], adhesive=GLUES[0], load=LOADS[0]),
        Joint(geometry=g[0], adhesive=cold, load=LOADS[2]),
        Joint(geometry=g[0], adhesive=GLUES[1], load=LOADS[2]),
        Joint(geometry=g[2], adhesive=GLUES[1], load=LOADS[0]),
        Joint(geometry=g[2], adhesive=GLUES[1], load=LOADS[6]),
    ]
    wanted = [solve(joint) for joint in twins]
    for name, key in (("mesh_key", mesh_key), ("system_key", system_key)):
        monkeypatch.setattr(driver, name, lambda joint, density, key=key: lost(key(joint, density)))
    kept, seen = Kept(), 0
    for joint, result in zip(twins, wanted, strict=True):
        try:
            seen += not same(solve(joint, kept=kept), result)
        except (KeyError, ValueError, IndexError):
            seen += 1
    assert seen


def test_keys_tell_apart_what_they_must_and_nothing_else():
    """Loads of one kind and temperatures share a system; materials and ends a mesh; dimensions and densities nothing."""
    base = Joint(geometry=geometries()[0], adhesive=GLUES[1], load=LOADS[0])
    like = [
        base.replace(title="other"),
        base.replace(load=LOADS[1]),
        base.replace(load=LOADS[3]),
        base.replace(geometry=base.geometry.replace(width=10.0)),
        base.replace(analysis=ANALYSES[1]),
        base.replace(analysis=ANALYSES[2]),
        base.replace(adhesive=base.adhesive.replace(shear_strength=20.0)),
    ]
    assert {system_key(j) for j in like} == {system_key(base)}
    of_one_mesh = [base, base.replace(adhesive=GLUES[0]), base.replace(load=LOADS[4]), base.replace(load=LOADS[6])]
    assert len({mesh_key(j) for j in of_one_mesh}) == 1
    assert len({system_key(j) for j in of_one_mesh}) == 4
    stiff = base.geometry.replace(lower=part(STEEL))
    assert mesh_key(base.replace(geometry=stiff)) == mesh_key(base) != mesh_key(base, 2.0)
    assert system_key(base.replace(geometry=stiff)) != system_key(base)
    others = [base.replace(geometry=g) for g in (*geometries()[1:], *geometries(0.25))]
    assert len({mesh_key(j) for j in others}) == len(others)
    assert mesh_key(base.replace(analysis=Analysis(mesh_density=2.0))) == mesh_key(base, 2.0)
    double = Joint(geometry=geometries()[2], adhesive=GLUES[1], load=LOADS[0])
    assert mesh_key(double) != mesh_key(double.replace(load=LOADS[6]))  # half of it, and the whole


# ---- superposition against the whole load at once ----------------------------


@pytest.mark.parametrize("load", LOADS, ids=str)
@pytest.mark.parametrize("kind", range(5), ids=["single", "fillet", "half", "double", "stepped"])
def test_superposition_is_the_solution_of_the_whole_load(kind, load):
    """K u = f, or with the width strain the bordered K, solved by scipy at once, against the answers put together.

    Right-hand sides and border are written out here. What is left of the equations is a few round-offs of the terms that
    add up in a row, 1e-12 of matrix times solution plus load. Solutions themselves may part by round-off times the
    matrix's condition, 1e-16 times 1e8 (slender arms on a soft layer): 1e-7 of the largest displacement.
    """
    joint = Joint(geometry=geometries()[kind], adhesive=GLUES[1], load=load)
    section = mesh_section(joint, 0.75)
    d, laws = discretise(section), laws_of(joint, section)
    system = assemble(d, laws, load.ends, load.shear_force != 0)
    solution = solve_linear(system, joint)

    change, share = load.temperature_change, 0.5 if section.half else 1.0
    force = np.zeros(2 * len(d.points))
    per_strain, stiffness, net = np.zeros_like(force), 0.0, 0.0
    for region, law in laws.items():
        cells = section.cells(region)
        gradient = (d.grad_ajqc[cells] * d.weight_qc[cells][:, :, None, None]).sum(axis=1)
        area = d.weight_qc[cells].sum()
        for field, into in ((law.stiffness @ law.expansion * change, force), (law.stiffness[:, 3], per_strain)):
            np.add.at(into, 2 * d.nodes_ac[cells], field[0] * gradient[..., 0] + field[2] * gradient[..., 1])
            np.add.at(into, 2 * d.nodes_ac[cells] + 1, field[1] * gradient[..., 1] + field[2] * gradient[..., 0])
        stiffness += law.stiffness[3, 3] * area
        net += (law.stiffness @ law.expansion)[3] * change * area
    whole = system.transform.T @ force
    acting = {"axial": joint.geometry.pull * share * joint.line_load, "turn": joint.line_moment, "lift": joint.line_shear}
    for name, number in system.named.items():
        whole[number] += acting[name]
    column = (system.transform.T @ per_strain)[:, None]
    if joint.out_of_plane == "generalised":
        matrix = csc_array(bmat([[system.matrix, column], [column.T, [[stiffness]]]]))
        right = np.append(whole, net)
    else:
        matrix, right = system.matrix, whole
    wanted = spsolve(matrix, right)
    assert np.abs(solution.displacement.ravel() - system.transform @ wanted[: len(whole)]).max() < 1e-7 * np.abs(wanted).max()
    # The unknowns behind the displacements: the transformation has full rank.
    t = system.transform
    found = spsolve(csc_array(t.T @ t), t.T @ solution.displacement.ravel())
    found = np.append(found, [solution.width_strain] * (len(right) - len(whole)))
    scale = abs(matrix).sum(axis=0).max() * np.abs(found).max() + np.abs(right).max()
    assert np.abs(matrix @ found - right).max() < 1e-12 * scale


def test_element_matrices_add_up_to_the_matrix():
    """The gathered matrix is T' K T of the plain sum of element matrices, entry by entry (1e-13 of the largest: a few sums)."""
    for load in (LOADS[0], LOADS[4], LOADS[6]):
        for geometry in geometries():
            joint = Joint(geometry=geometry, adhesive=GLUES[1], load=load)
            section = mesh_section(joint, 0.75)
            d = discretise(section)
            system = assemble(d, laws_of(joint, section), load.ends, load.shear_force != 0)
            dofs = (2 * d.nodes_ac[:, :, None] + [0, 1]).reshape(len(d.nodes_ac), -1)
            place = np.repeat(dofs, 18, axis=1).ravel(), np.tile(dofs, (1, 18)).ravel()
            plain = csc_array((system.stiffness_ec.ravel(), place), shape=(2 * len(d.points),) * 2)
            off = abs(system.matrix - system.transform.T @ plain @ system.transform).max()
            assert off < 1e-13 * abs(system.matrix).max()


# ---- the store ---------------------------------------------------------------


def test_what_was_longest_unused_gives_way():
    """Asking for a thing makes it new again."""
    kept, made = Kept(number=2), []

    def once(name: str) -> str:
        return kept.once(name, lambda: made.append(name) or name)

    assert [once(name) for name in "abacab"] == [*"abacab"]
    assert made == [*"abcb"]


def test_size_is_bounded_and_told():
    """Arrays count once, whoever holds them; what is larger than the bound by itself is handed over and not kept."""
    kept, block = Kept(number=100, size=10_000), np.zeros(500)
    kept.once("first", lambda: {"a": block, "b": [block, (block,)]})
    assert kept.nbytes == 4_000
    kept.once("second", lambda: csc_array(np.eye(100)))
    assert 4_000 < kept.nbytes < 7_000
    kept.once("third", lambda: np.zeros(1_200))
    assert (len(kept), kept.nbytes) == (1, 9_600)
    assert kept.once("huge", lambda: np.zeros(2_000)).size == 2_000
    assert (len(kept), kept.nbytes) == (0, 0)
    assert "10" in repr(Kept(10))


def test_many_unlike_joints_keep_no_more_than_the_bound():
    """A dozen meshes through a store for some three joints: never more in it than stated, and its own figure is no fiction.

    It weighs when something new comes in; answers and patches that are made of it afterwards, a few MB, count from the
    next time on: a tenth more. And it counts at least the arrays of the last joint's fine discretisation, some MB.
    """
    kept = Kept(number=12, size=80_000_000)
    for k in range(12):
        solve(Joint(geometry=geometries(0.2 + 0.01 * k)[0], adhesive=GLUES[0], load=LOADS[k % 8]), kept=kept)
        assert 0 < len(kept) <= 12
        assert 5_000_000 < kept.nbytes <= 1.1 * kept.size


def test_a_result_holds_no_factor():
    """Results are kept by the thousand: theirs must not grow by what is only of use to the next solve."""
    joint = Joint(geometry=geometries()[0], adhesive=GLUES[0], load=LOADS[3])
    d = solve(joint, kept=Kept()).solution.discretisation
    holder = Kept(size=10**12)
    holder.once("d", lambda: dataclasses.replace(d))
    bare = holder.nbytes
    holder.once("all", lambda: d)
    assert holder.nbytes < 1.5 * bare
