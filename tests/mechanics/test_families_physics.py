"""What the joints of every family must obey: statics, bodies whose stresses can be written down, beams, superposition."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from scipy.linalg import expm
from scipy.optimize import brentq

from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, SingleLap, SteppedLap, solve
from fejoint.bondline.closed_form.grid import axial_modulus
from fejoint.bondline.curves import Bondline
from fejoint.bondline.edge_moment import buckles
from fejoint.mechanics.checks import solution_checks
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import Solution, assemble, laws_of, solve_linear
from fejoint.mechanics.load_path import bond_forces
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import mesh_section
from fejoint.mechanics.symmetry import unfolded

# Round figures of the order of aluminium, steel and an epoxy: stand-ins, no material's data.
METAL = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29, expansion=12e-6)
GLUE = Adhesive(elastic_modulus=2_000, poisson_ratio=0.35, expansion=60e-6)
METAL_GLUE = Adhesive(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)

PULL = Load(force=2500)  # 100 N/mm

# A backward stable solver errs by the unit round-off 1e-16 times the condition number, here of order 1e9.
ROUND_OFF = 1e-7


def part(material=METAL, thickness=1.6, arm=20.0) -> Adherend:
    return Adherend(material=material, thickness=thickness, free_length=arm)


def joint_of(geometry, adhesive=GLUE, load=PULL, **analysis) -> Joint:
    return Joint(geometry=geometry, adhesive=adhesive, load=load, analysis=Analysis(**analysis))


def single(lower=None, upper=None, overlap=12.5, **more) -> SingleLap:
    sizes = {"width": 25.0, "bondline_thickness": 0.2, **more}
    return SingleLap(overlap_length=overlap, lower=lower or part(), upper=upper or part(), **sizes)


def double(inner=None, lower=None, upper=None, overlap=12.5, **more) -> DoubleLap:
    """Return a double lap; the upper outer is like the lower unless given."""
    sizes = {"width": 25.0, "bondline_thickness": 0.2, **more}
    below = lower or part()
    return DoubleLap(
        overlap_length=overlap, inner=inner or part(thickness=3.2), lower_outer=below, upper_outer=upper or below, **sizes
    )


def stepped(lengths=(6.0, 6.0), heights=None, thickness=3.0, arm=20.0, lower=METAL, upper=METAL, **more) -> SteppedLap:
    sizes = {"width": 25.0, "bondline_thickness": 0.2, **more}
    parts = [part(m, thickness, arm) for m in (lower, upper)]
    return SteppedLap(step_lengths=lengths, step_heights=heights, lower=parts[0], upper=parts[1], **sizes)


@dataclass(frozen=True, eq=False)
class Solved:
    solution: Solution
    stress: np.ndarray
    bondlines: list[Bondline]


@cache
def solved(joint: Joint, density: float = 1.0) -> Solved:
    """Return a joint's whole section solved on the mesh of one density."""
    section = mesh_section(joint, density)
    system = assemble(discretise(section), laws_of(joint, section), joint.load.ends, joint.load.shear_force != 0)
    solution = unfolded(solve_linear(system, joint))
    stress = nodal_stress(solution)
    return Solved(solution, stress, recover_bondlines(solution, stress))


def curves(joint: Joint) -> np.ndarray:
    """Return shear, peel and axial stress of all mid-lines, shape (3, n)."""
    middles = [b.middle for b in solved(joint).bondlines]
    return np.concatenate([np.stack([m.shear, m.peel, m.axial]) for m in middles], axis=1)


FAMILIES = {
    "single": single(part(), part(STEEL, 1.0)),
    "single, fillet": single(spew="fillet"),
    "double": double(),
    "double, fillet": double(spew="fillet"),
    "double, unlike": double(part(STEEL, 2.0), part(METAL, 2.4), part(METAL, 1.2)),
    "stepped": stepped(),
    "stepped, unlike, beads": stepped((4.0, 7.0, 3.0), (0.6, 1.0, 0.5, 0.9), upper=STEEL, spew="fillet"),
}
LOADS = {
    "clamped": PULL,
    "pinned": Load(force=2500, ends="pinned"),
    "moment": Load(force=2500, moment=2500, ends="pinned"),
    "moment alone": Load(force=0, moment=2500, ends="pinned"),
    "shear force": Load(force=2500, shear_force=-50),
}
every_family = pytest.mark.parametrize("geometry", FAMILIES.values(), ids=FAMILIES)
every_load = pytest.mark.parametrize("load", LOADS.values(), ids=LOADS)


# ---- statics ---------------------------------------------------------------


@every_load
@every_family
def test_ends_balance(geometry, load):
    """Forces on all ends and their moments about the middle add up to nothing; the loaded end bears what was stated.

    Round-off: 1e-7 of 100 N/mm, of moments as 100 N/mm times the joint's length.
    """
    joint = joint_of(geometry, load=load)
    s = solved(joint).solution
    ends = list(s.ends.values())
    middle = geometry.length / 2, 0.0
    length = abs(s.loaded.x - s.gripped.x)
    assert abs(sum(e.axial for e in ends)) < ROUND_OFF * 100
    assert abs(sum(e.lateral for e in ends)) < ROUND_OFF * 100
    assert abs(sum(e.moment_about(*middle) for e in ends)) < ROUND_OFF * 100 * length
    assert s.loaded.axial == pytest.approx(geometry.pull * load.force / 25, abs=ROUND_OFF * 100)
    if load.ends == "pinned":
        assert s.loaded.moment == pytest.approx(load.moment / 25, abs=ROUND_OFF * 100 * length)
        # The pivot of an end of two adherends is the middle of their faces taken together.
        thickness = {name: geometry.adherends()[name].thickness for name in geometry.gripped}
        pivot = sum(t * s.ends[name].y for name, t in thickness.items()) / sum(thickness.values())
        turning = sum(s.ends[name].moment_about(s.gripped.x, pivot) for name in geometry.gripped)
        assert turning == pytest.approx(0.0, abs=ROUND_OFF * 100 * length)
    if load.shear_force:
        assert s.loaded.lateral == pytest.approx(load.shear_force / 25, abs=ROUND_OFF * 100)


def test_pinned_outers_together_bear_no_moment():
    """`Solution.gripped` tells the moment of both outers about the pivot they turn about: none (round-off as above)."""
    s = solved(joint_of(FAMILIES["double, unlike"], load=LOADS["pinned"])).solution
    assert s.gripped.moment == pytest.approx(0.0, abs=ROUND_OFF * 100 * 52.5)


@every_load
@every_family
def test_recovered_stresses_balance(geometry, load):
    """The package's own checks of balance hold at density 1: forces and moments to 1e-3, work to 1e-4 (`checks`)."""
    s = solved(joint_of(geometry, load=load))
    checks = {c.name: c for c in solution_checks(s.solution, s.stress)}
    for name in ("load_transferred", "peel_balance", "moment_balance", "energy_balance"):
        assert checks[name].passed, checks[name]


@every_load
@every_family
def test_bond_passes_the_load_on(geometry, load):
    """All parts of the bond together pass on the force, over whole cuts with fillets, beads and risers: to 0.1 %.

    As the checks' balance: a tenth of the default error target. A moment or a sideways force alone passes nothing on; its
    bondlines carry up to 100 N/mm to and fro, to which the 0.1 % applies.
    """
    joint = joint_of(geometry, load=load)
    s = solved(joint)
    parts = bond_forces(s.solution, s.stress)
    assert sum(parts.values()) == pytest.approx(load.force / 25, abs=0.1)
    assert len(parts) == {"single-lap": 1, "double-lap": 2, "stepped-lap": 2 * len(geometry.bonds()) + 1}[geometry.kind]
    if geometry.has_like_halves and load in (PULL, LOADS["pinned"]):
        assert parts["bondline 1"] == pytest.approx(parts["bondline 2"], rel=1e-9)


@every_load
@every_family
def test_transferred_grows_by_the_shear(geometry, load):
    """`transferred` rises by the mid-line shear's integral, piece by piece, and comes to what the bond passes on in all.

    The same recovered stress by the same rule: round-off, 1e-9 of 100 N/mm. Before the mid-line lies the left fillet or
    riser, behind it the right one; a square end of a lap has none.
    """
    joint = joint_of(geometry, load=load)
    s = solved(joint)
    parts = bond_forces(s.solution, s.stress)
    for b in s.bondlines:
        pieces = np.diff(b.x[::2]) * (b.shear[:-1:2] + 4 * b.shear[1::2] + b.shear[2::2]) / 6
        assert np.abs(np.diff(b.transferred[::2]) - pieces).max() < 1e-7
    if geometry.kind == "stepped-lap":
        passed = parts["riser 1"]
        for i, b in enumerate(s.bondlines, 1):
            assert b.transferred[0] == pytest.approx(passed, abs=1e-7)
            passed += parts[f"tread {i}"]
            assert b.transferred[-1] == pytest.approx(passed, abs=1e-7)
            passed += parts[f"riser {i + 1}"]
        return
    for b in s.bondlines:
        if geometry.spew == "square":
            assert b.transferred[0] == 0.0
            assert b.transferred[-1] == pytest.approx(parts[f"bondline {b.number}"], abs=1e-7)
        elif load.force and not load.moment and not load.shear_force:
            assert 0 < b.transferred[0] < 0.5 * parts[f"bondline {b.number}"]
            assert b.transferred[-1] < parts[f"bondline {b.number}"]


# ---- bodies whose stresses can be written down -----------------------------

UNIFORM = {
    "one step": stepped((8.0,)),
    "three steps": stepped((4.0, 4.0, 4.0)),
    "three unequal steps": stepped((5.0, 2.0, 3.5), (0.4, 1.3, 0.5, 0.8)),
    "twenty steps": stepped((2.0,) * 20, thickness=4.0),
}
BARS = [(name, ends) for name in UNIFORM for ends in ("clamped", "pinned") if (name, ends) != ("twenty steps", "pinned")]


@pytest.mark.parametrize(("name", "ends"), BARS)
def test_stepped_lap_of_one_material_is_a_bar(name, ends):
    """Flush and of one material, a stepped lap is a bar: P/t along x, nu times it across the width, nothing else, everywhere.

    Faces are free to contract, so the uniform field is exact, and it lies in every element's space: 1e-9 of P/t is left to
    round-off (displacements of 0.05 mm known to 1e-16 over cells of 5e-3 mm are strains to 1e-15 of 4e-4; the solver's
    sums over 1e5 unknowns take two or three digits more).
    """
    geometry = UNIFORM[name]
    s = solved(joint_of(geometry, METAL_GLUE, Load(force=2500, ends=ends))).solution
    stress = 100 / geometry.lower.thickness
    expected = np.array([stress, 0.0, 0.0, 0.33 * stress])[:, None, None]
    for region in ("lower", "upper", "adhesive"):
        assert np.abs(s.stress(region) - expected).max() < 1e-9 * stress
    length = 2 * geometry.lower.free_length + geometry.length
    assert s.elongation == pytest.approx(stress * length * (1 - 0.33**2) / 70_000, rel=1e-9)


def test_bar_with_another_adhesive_is_none():
    """The counter-proof: with the adhesive's modulus 1 % off the uniform stress is off by far more than the tolerance."""
    softer = Adhesive(elastic_modulus=69_300, poisson_ratio=0.33)
    s = solved(joint_of(UNIFORM["three steps"], softer)).solution
    assert np.abs(s.stress("adhesive")[0] * 3 / 100 - 1).max() > 1e-3


@pytest.mark.parametrize("load", [Load(force=0, temperature_change=-100), Load(force=0, temperature_change=80, ends="pinned")])
@pytest.mark.parametrize("name", ["three unequal steps", "double"])
def test_free_expansion_of_one_material(name, load):
    """One material on supports that let it go shrinks and grows without stress: 1e-9 of E alpha dT.

    Clamped faces too: nothing turns. A stepped lap is held along y at its mid-plane, the width free (generalised). The grip
    of a double lap holds each outer's mean height, which expansion through the thickness would change; so its material here
    does not expand along y, and the expansion left is free.
    """
    geometry = UNIFORM.get(name) or double(part(thickness=2.0), part(thickness=1.5))
    joint = joint_of(geometry, METAL_GLUE, load, out_of_plane="generalised")
    section = mesh_section(joint, 1.0)
    laws = laws_of(joint, section)
    if name == "double":
        laws = {n: replace(law, expansion=law.expansion * [1.0, 0.0, 1.0, 1.0]) for n, law in laws.items()}
    s = solve_linear(assemble(discretise(section), laws, load.ends), joint)
    unit = 70_000 * 23e-6 * abs(load.temperature_change)
    for region in s.laws:
        assert np.abs(s.stress(region)).max() < 1e-9 * unit
    assert s.width_strain == pytest.approx(23e-6 * load.temperature_change, rel=1e-8)


def test_grip_holds_the_outers_apart():
    """A double lap of one material that expands along y too: the grip, which keeps the outers' heights, bends them.

    Each outer's far face would move by alpha dT times its height; held, an arm of length a between the overlap and a face
    that cannot turn (pinned ones do not either: the pair turns as one) pushes sideways with 12 D delta / a^3. The arm's root
    turns a little on the overlap, as if the arm were up to a thickness longer: 1/(1 + t/a)^3 at least, 0.91 here.
    """
    geometry = double(part(thickness=2.0), part(thickness=1.5, arm=50.0))
    joint = joint_of(geometry, METAL_GLUE, Load(force=0, temperature_change=100, ends="pinned"), out_of_plane="generalised")
    ends = solved(joint).solution.ends
    # With the width free, E alone counts for stress along x beside a strain across that nothing resists: D lies between.
    height, a, d = 1.0 + 0.2 + 0.75, 50.0, 70_000 * 1.5**3 / 12
    push = 12 * d * 23e-6 * 100 * height / a**3
    assert ends["upper_outer"].lateral == pytest.approx(-ends["lower_outer"].lateral, rel=1e-6)
    assert push * 0.91 < -ends["upper_outer"].lateral < push / (1 - 0.33**2)


# ---- how the load is shared in the middle of a long overlap ----------------


def middle_shares(geometry: DoubleLap) -> tuple[Solved, float, list[float], list[float]]:
    """Return the solution, E' of the layer, and what a composite section carries below and above the layers' mid-lines.

    The section in the middle stays plane and each layer is free across: strain N/EA - M (y - y0)/EI with force and moment of
    statics about the stiffness-weighted axis y0, from what acts on the loaded end.
    """
    s = solved(joint_of(geometry))
    ta, parts = geometry.bondline_thickness, geometry.adherends()
    glue, metal = axial_modulus(GLUE), {name: axial_modulus(p.material) for name, p in parts.items()}
    ti, below, above = (parts[n].thickness for n in ("inner", "lower_outer", "upper_outer"))
    y = np.cumsum([-ti / 2 - ta - below, below, ta / 2, ta / 2, ti, ta / 2, ta / 2, above])
    e = np.array([metal["lower_outer"], glue, glue, metal["inner"], glue, glue, metal["upper_outer"]])
    centre, thick = (y[1:] + y[:-1]) / 2, np.diff(y)
    ea = (e * thick).sum()
    y0 = (e * thick * centre).sum() / ea
    ei = (e * (thick**3 / 12 + thick * (centre - y0) ** 2)).sum()
    moment = -s.solution.loaded.moment_about(geometry.length / 2, y0)  # the loaded end lies to the left
    force = e * thick * (100 / ea - moment * (centre - y0) / ei)
    plain = e * thick * 100 / ea
    return s, glue, [force[:2].sum(), force[5:].sum()], [plain[:2].sum(), plain[5:].sum()]


def transferred_in_the_middle(s: Solved, length: float) -> list[float]:
    # From the middle of one piece, quadratic within 1e-6 there.
    return [float(np.interp(length / 2, b.x, b.transferred)) for b in s.bondlines]


def test_like_outers_share_by_stiffness():
    """In the middle of 100 mm each outer carries its E/(1 - nu^2) t over that of the whole stack, layers included: 0.1 %.

    The stack is symmetric and stays straight, layers side by side strain alike. What is left of the ends there is
    exp(-w l/2) with w = 0.25/mm, 4e-6 of P.
    """
    geometry = double(part(STEEL, 2.0), part(METAL, 1.6), overlap=100.0)
    s, glue, _, plain = middle_shares(geometry)
    outer, inner = 70_000 / (1 - 0.33**2) * 1.6, 200_000 / (1 - 0.29**2) * 2.0
    share = 100 * (outer + glue * 0.1) / (2 * outer + inner + 2 * glue * 0.2)
    assert plain == pytest.approx([share, share], rel=1e-12)
    assert transferred_in_the_middle(s, 100.0) == pytest.approx([share, share], rel=1e-3)


def test_unlike_outers_share_as_one_composite_section():
    """With unlike outers the stack bends as well, all along: they share by stiffness and by where they lie.

    The axis of the stack is not the inner's, so the force bends it, and no overlap is long enough for that to die out.
    Force and moment of statics in the middle, on a section that stays plane (a constant sideways force shears the layers,
    by a slip that is constant and leaves the strains alone): 0.1 % of P. Stiffness alone is off by more than 1 % of P.
    """
    geometry = double(part(METAL, 2.0), part(STEEL, 2.0), part(METAL, 1.0), overlap=100.0)
    s, _, composite, plain = middle_shares(geometry)
    found = transferred_in_the_middle(s, 100.0)
    assert found == pytest.approx(composite, abs=0.1)
    assert max(abs(a - b) for a, b in zip(found, plain, strict=True)) > 1.0


# ---- moment and shear force against beams ----------------------------------


def turn_between(solution: Solution, region: str, low: float, high: float) -> float:
    """Return how far an adherend's section at `high` has turned against that at `low`, counter-clockwise.

    From u along its two free faces, to which parabolas are fitted: under a moment that varies linearly along x the turn is
    one, and what shear warps the sections by is the same everywhere.
    """
    d = solution.discretisation
    nodes = np.unique(d.nodes_ac[d.section.cells(region)])
    nodes = nodes[(d.points[nodes, 0] > low - 1e-9) & (d.points[nodes, 0] < high + 1e-9)]
    y = d.points[nodes, 1]
    difference = []
    for face in (y.min(), y.max()):
        on = nodes[np.abs(y - face) < 1e-9]
        assert len(on) >= 5
        line = np.polyfit(d.points[on, 0], solution.displacement[on, 0], 2)
        difference.append(np.polyval(line, high) - np.polyval(line, low))
    return float(difference[0] - difference[1]) / float(np.ptp(y))


ARMS = {
    "single, gripped": (single(part(arm=40.0), part(STEEL, 1.0, 40.0)), "lower", (-40.0, 0.0)),
    "single, loaded": (single(part(arm=40.0), part(STEEL, 1.0, 40.0)), "upper", (12.5, 52.5)),
    "double, inner": (double(part(STEEL, 2.0, 40.0), part(METAL, 2.4), part(METAL, 1.2)), "inner", (-40.0, 0.0)),
    "stepped, gripped": (stepped(arm=40.0), "lower", (-40.0, 0.0)),
    "stepped, loaded": (stepped(arm=40.0, upper=STEEL), "upper", (12.0, 52.0)),
}


@pytest.mark.parametrize(("geometry", "region", "span"), ARMS.values(), ids=ARMS)
def test_arm_bends_under_a_moment_as_a_beam(geometry, region, span):
    """A moment on the loaded end alone, pinned ends: statics gives every section's moment, E t^3/(12 (1 - nu^2)) its bending.

    Sideways reactions -M/l on the loaded end and M/l on the grip, l apart; the moment grows from none at the grip to M. In
    plane elasticity a section's turn under a moment that varies linearly has a constant part from shear and else follows
    M/D exactly, three thicknesses from grip and overlap (end effects decay by exp(-4.2 x/t), 3e-6). 2e-3 is for long cells.
    """
    joint = joint_of(geometry, load=LOADS["moment alone"])
    s, moment = solved(joint).solution, 100.0
    grip, load = s.gripped, s.loaded
    distance = load.x - grip.x
    # Round-off is 1e-7 to 1e-6 of them on cells hundreds of times longer than high, by the solver: 1e-5 leaves room.
    assert load.lateral == pytest.approx(-moment / distance, rel=1e-5)
    assert grip.lateral == pytest.approx(moment / distance, rel=1e-5)
    assert load.moment == pytest.approx(moment, rel=1e-5)
    adherend = geometry.adherends()[region]
    low, high = span[0] + 3 * adherend.thickness, span[1] - 3 * adherend.thickness
    bending = axial_modulus(adherend.material) * adherend.thickness**3 / 12
    # What the part to the right does to that to the left.
    inner = geometry.pull * moment * (np.array([low, high]) - grip.x) / distance
    expected = inner.mean() * (high - low) / bending
    assert turn_between(s, region, low, high) == pytest.approx(expected, rel=2e-3)


BAR = stepped((10.0, 10.0), thickness=4.0, arm=30.0)


def held_bulge(poisson_ratio: float) -> float:
    """Return what the shear part of a deflection loses where a face is held by its mean alone, in units of V L/(G t).

    There the shear traction is uniform, in the bar a parabola; the difference, V t^2/60 in the second moment y^2/2, works on
    the bulge nu/(1 - nu) M y^2/(2 D) that bending gives the section. With M = V L in all (both ends together, or the one
    that bears it) twice that work per V is nu/5.
    """
    return poisson_ratio / 5


def test_shear_force_lifts_a_bar_as_a_beam():
    """A uniform bar (stepped lap of one material), its loaded end free to move across and not to turn: a guided cantilever.

    Lift V L^3/(12 D) + (6/5 - nu/5) V L/(G t) (bending and shear of a rectangular section, 6/5 from memory; `held_bulge`),
    end moments V L/2 each. What is left of the ends does not grow with L: a tenth of V/G, 4e-5 of the lift; with as much for
    long cells at twice the default density, 1e-4. The shear part is 9e-3 of the lift, nu/5 in it 5e-4.
    """
    joint = joint_of(BAR, METAL_GLUE, Load(force=0, shear_force=50))
    s, v, length, t = solved(joint, 2.0).solution, 2.0, 80.0, 4.0
    bent = v * length**3 / (12 * axial_modulus(METAL) * t**3 / 12)
    sheared = (6 / 5 - held_bulge(0.33)) * v * length / (METAL.shear_modulus * t)
    assert s.lift == pytest.approx(bent + sheared, rel=1e-4)
    assert s.loaded.lateral == pytest.approx(v, rel=1e-6)
    assert s.gripped.lateral == pytest.approx(-v, rel=1e-6)
    for end in (s.loaded, s.gripped):
        assert end.moment == pytest.approx(-v * length / 2, rel=1e-6)
    assert abs(s.elongation) < 1e-8 * s.lift


def test_moment_turns_a_bar_as_a_beam():
    """A uniform bar on pins with a moment on its loaded end: that end turns by M L/(3 D) + (6/5 - nu/5) M/(G t L).

    The sideways force is M/L. As for the lift: a tenth of M/(G L^2) is left of the ends, 1e-5, and 1e-4 of the long cells;
    the shear part is 2e-3.
    """
    s, moment, length, t = solved(joint_of(BAR, METAL_GLUE, LOADS["moment alone"]), 2.0).solution, 100.0, 80.0, 4.0
    bent = moment * length / (3 * axial_modulus(METAL) * t**3 / 12)
    sheared = (6 / 5 - held_bulge(0.33)) * moment / (METAL.shear_modulus * t * length)
    assert s.turn == pytest.approx(bent + sheared, rel=1e-4)


@every_family
def test_shear_force_is_carried_to_the_grip(geometry):
    """Statics of the guided end: the grip holds the sideways force, both ends' moments balance its lever; it is lifted up."""
    s = solved(joint_of(geometry, load=Load(force=0, shear_force=50))).solution
    distance = s.loaded.x - s.gripped.x
    assert s.gripped.lateral == pytest.approx(-2.0, rel=1e-6)
    assert s.gripped.moment + s.loaded.moment == pytest.approx(-2.0 * distance, rel=1e-6)
    assert s.lift > 0


# ---- superposition ---------------------------------------------------------

UNLIKE = {"double": FAMILIES["double, unlike"], "stepped": stepped(upper=STEEL), "single": FAMILIES["single"]}
# Load cases whose ends are alike, so that they may be added up: a shear force frees the loaded end.
SUMS = {
    "pinned": [{"force": 900.0}, {"moment": -1500.0}, {"temperature_change": -80.0}],
    "guided": [{"force": 900.0, "shear_force": 20.0}, {"temperature_change": -80.0, "shear_force": -55.0}],
}


@pytest.mark.parametrize("out_of_plane", ["plane-strain", "generalised"])
@pytest.mark.parametrize("ends", SUMS)
@pytest.mark.parametrize("geometry", UNLIKE.values(), ids=UNLIKE)
def test_loads_superpose_and_reverse(geometry, ends, out_of_plane):
    """Curves of the loads alone add up to those of all together, and all loads reversed reverse them: 1e-7 of the peak."""

    def loaded(keys: dict[str, float]) -> Joint:
        load = Load(**{"force": 0.0, "ends": "pinned" if ends == "pinned" else "clamped", **keys})
        return joint_of(geometry, load=load, out_of_plane=out_of_plane)

    together: dict[str, float] = {}
    for case in SUMS[ends]:
        together = {key: together.get(key, 0.0) + case.get(key, 0.0) for key in {**together, **case}}
    alone = [curves(loaded(case)) for case in SUMS[ends]]
    both = curves(loaded(together))
    peak = np.abs(both).max()
    assert np.abs(sum(alone) - both).max() < 1e-7 * peak
    assert np.abs(curves(loaded({key: -value for key, value in together.items()})) + both).max() < 1e-7 * peak
    assert all(np.abs(c).max() > 0.01 * peak for c in alone)  # or the sum would prove nothing


@every_family
def test_no_load_no_stress(geometry):
    """Nothing applied, nothing found: exactly zero."""
    assert not solved(joint_of(geometry, load=Load(force=0))).solution.displacement.any()


# ---- other materials, compression ------------------------------------------

PLY = "carbon ply T300/5208, 0 degrees"
THROUGH = {
    "double, pushed": joint_of(double(), load=Load(force=-2500)),
    "double, carbon outers": joint_of(double(part(), part(PLY, 2.0))),
    "double, carbon inner, pushed and cooled": joint_of(
        double(part(PLY, 3.0), part(thickness=1.2), part(thickness=2.0)), load=Load(force=-2500, temperature_change=-60)
    ),
    "stepped, pushed": joint_of(stepped(), load=Load(force=-2500)),
    "stepped, carbon on aluminium, cooled": joint_of(stepped(upper=PLY), load=Load(force=2500, temperature_change=-60)),
    "stepped, carbon, shear force": joint_of(stepped(lower=PLY, upper=PLY), load=Load(force=0, shear_force=30)),
}


@pytest.mark.parametrize("joint", THROUGH.values(), ids=THROUGH)
def test_compression_and_carbon_pass_all_checks(joint):
    """From the joint to the checked result: every self-check holds at the default error target."""
    result = solve(joint)
    assert result.passed, [c for c in result.checks if not c.passed]
    assert sum(result.bond_forces.values()) == pytest.approx(joint.line_load, abs=0.1)


# ---- buckling of the frame -------------------------------------------------


def critical_thrust(beams: list[tuple[float, float]], held: str, low: float, high: float) -> float:
    """Return the thrust at which beams in line (length, bending stiffness) buckle, the root between low and high, N/mm.

    States w, w', M, H with w'' = M/D, M' = H - T w', H' = 0, stepped through by matrix exponentials: the two that the left
    end leaves free must make the right end's conditions singular.
    """
    left, right = {"clamped": ((2, 3), (0, 1)), "pinned": ((1, 3), (0, 2)), "guided": ((2, 3), (1, 3))}[held]

    def singular(thrust: float) -> float:
        through = np.eye(4)
        for length, stiffness in beams:
            a = np.zeros((4, 4))
            a[0, 1], a[1, 2], a[2, 3], a[2, 1] = 1.0, 1 / stiffness, 1.0, -thrust
            through = expm(a * length) @ through
        return float(np.linalg.det(through[np.ix_(right, left)]))

    return float(brentq(singular, low, high, xtol=1e-12 * high))


def held(ends: str, thrust: float) -> Load:
    """Return a thrust, N/mm over 25 mm; guided ends by a shear force that is next to nothing."""
    if ends == "guided":
        return Load(force=-25 * thrust, shear_force=1e-6)
    return Load(force=-25 * thrust, ends=ends)


@pytest.mark.parametrize(("ends", "factor"), [("clamped", 4), ("pinned", 1), ("guided", 1)])
def test_stepped_bar_buckles_where_euler_says(ends, factor):
    """A stepped lap counts as a bar: 4 pi^2 D/L^2 clamped, pi^2 D/L^2 pinned or guided (Euler): 1e-4 below not, above yes.

    24 cubic beam elements find the first mode's thrust to 1e-6 from above.
    """
    euler = factor * math.pi**2 * axial_modulus(METAL) * 4.0**3 / 12 / 80.0**2
    assert not buckles(joint_of(BAR, load=held(ends, 0.9999 * euler)))
    assert buckles(joint_of(BAR, load=held(ends, 1.0001 * euler)))
    assert not buckles(joint_of(BAR, load=Load(force=25 * 2 * euler)))


@pytest.mark.parametrize(("ends", "factor"), [("clamped", 4), ("pinned", 1), ("guided", 1)])
def test_double_lap_buckles_as_its_frame(ends, factor):
    """Inner, stack and both outers, each by itself, in line: where the chain of exact beams does, to 1e-4.

    The root lies between the Euler loads of a bar as soft as the softest part and one as stiff as the stack.
    """
    geometry = double(part(STEEL, 2.0, 60.0), part(METAL, 2.4, 40.0), part(METAL, 1.2, 40.0), overlap=30.0)
    ti, below, above, ta = 2.0, 2.4, 1.2, 0.2
    e, s = axial_modulus(METAL), axial_modulus(STEEL)
    stack = [(s * ti, 0.0, ti), (e * below, -(ti + below) / 2 - ta, below), (e * above, (ti + above) / 2 + ta, above)]
    y0 = sum(k * y for k, y, _ in stack) / sum(k for k, _, _ in stack)
    whole = sum(k * (t**2 / 12 + (y - y0) ** 2) for k, y, t in stack)
    beams = [(60.0, s * ti**3 / 12), (30.0, whole), (40.0, e * (below**3 + above**3) / 12)]
    soft = factor * math.pi**2 * min(d for _, d in beams) / 130**2
    # Up from there in small steps: the first change of sign is the first mode.
    grid = soft * np.linspace(0.999, 8.0, 60)
    for low, high in pairwise(grid):
        try:
            thrust = critical_thrust(beams, ends, float(low), float(high))
            break
        except ValueError:
            continue
    assert soft < thrust < factor * math.pi**2 * whole / 130**2
    assert not buckles(joint_of(geometry, load=held(ends, 0.9999 * thrust)))
    assert buckles(joint_of(geometry, load=held(ends, 1.0001 * thrust)))


@pytest.mark.parametrize(("share", "warned"), [(0.45, False), (0.55, True), (0.95, True)])
def test_compression_near_buckling_is_warned_of(share, warned):
    """Half the buckling load is where a beam-column's deflection is twice the linear one (from memory)."""
    euler = 4 * math.pi**2 * axial_modulus(METAL) * 4.0**3 / 12 / 80.0**2  # of the bar above
    found = solve(joint_of(BAR, load=held("clamped", share * euler)))
    said = [text for text in found.warnings if "of that at which the joint buckles" in text]
    assert bool(said) == warned
    assert all(f"{100 * share:.0f} %" in text for text in said)
