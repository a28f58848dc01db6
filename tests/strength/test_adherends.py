"""Adherends that yield or break, against sections by hand and limit analysis by numerical integration; the bond as a whole.

Limit analysis: a rectangle that does not harden carries N and M when every fibre is at its yield stress, tension on one
side of some height and compression on the other.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from laps import GLUE, METAL, WIDTH, double, field, single, stepped, without
from scipy.integrate import quad
from scipy.optimize import brentq

from fejoint.joint.flaws import Flaw
from fejoint.mechanics.load_path import AdherendSection
from fejoint.strength.adherends import adherend_capacities, buckling_capacity, plateau_capacity
from fejoint.strength.margins import margins_of

YIELD, RUPTURE = METAL["tensile_yield"], METAL["tensile_strength"]
T = 1.6


def by(found, key):
    return next(c for c in found if c.key == key)


def section(axial, moment, *, adherend="lower", place="overlap", x=0.0, thickness=T):
    return AdherendSection(adherend, place, x, thickness, axial, 0.0, moment)


def loads(*sections, joint=None, base=None):
    """Return the capacities of sections given at share 1; `base` is what they carry at share 0."""
    nothing = [section(0.0, None if s.moment is None else 0.0, adherend=s.adherend, place=s.place, x=s.x) for s in sections]
    return adherend_capacities(field(joint or single(), sections=(base or nothing, list(sections))))


# ---- sections by hand ------------------------------------------------------------


def test_net_section_is_stress_times_thickness():
    """100 N/mm in 1.6 mm are 62.5 MPa: yields at 250/62.5, breaks at 300/62.5 times the load, whatever the moment."""
    found = loads(section(100.0, 40.0))
    assert by(found, "adherend-net-yield").factor == pytest.approx(4.0, rel=1e-9)
    assert by(found, "adherend-net-yield").force == pytest.approx(YIELD * WIDTH * T, rel=1e-9)
    assert by(found, "adherend-rupture").force == pytest.approx(RUPTURE * WIDTH * T, rel=1e-9)
    assert by(found, "adherend-rupture").mode == "adherend-rupture"
    assert {c.mode for c in found} == {"adherend-yield", "adherend-rupture"}


@pytest.mark.parametrize("moment", [40.0, -40.0])
def test_first_yield_is_on_the_face(moment):
    """N/t + 6 M/t^2 = 62.5 + 93.75 MPa by hand; either sense of the moment stretches one face."""
    found = by(loads(section(100.0, moment)), "adherend-face-yield")
    assert found.factor == pytest.approx(YIELD / (100 / T + 6 * 40 / T**2), rel=1e-9)


def fully_plastic(axial, moment):
    """Return the share of N and M at which every fibre yields, from the stress block by quad: no formula of the result in it.

    The stress is +yield above the height h and -yield below; N and M are its integrals. The share is where N(h)/M(h) is N/M.
    """

    def block(height):
        def stress(y):
            return YIELD if y > height else -YIELD

        cut = {"points": [height], "limit": 200}
        n = quad(stress, -T / 2, T / 2, **cut)[0]
        m = quad(lambda y: stress(y) * y, -T / 2, T / 2, **cut)[0]
        return n, m

    def off(height):
        n, m = block(height)
        return n * moment - m * axial

    height = brentq(off, -T / 2 + 1e-9, 0.0, xtol=1e-13)
    return block(height)[0] / axial


@pytest.mark.parametrize(("axial", "moment"), [(100.0, 10.0), (100.0, 40.0), (100.0, 160.0), (3.0, 160.0)])
def test_hinge_is_the_fully_plastic_rectangle(axial, moment):
    """Steps of stress split at their place are integrated to round-off; the root to 1e-12 of the height: 1e-8 in the share."""
    found = by(loads(section(axial, moment)), "adherend-hinge")
    assert found.factor == pytest.approx(fully_plastic(axial, moment), rel=1e-8)


def test_hinge_lies_between_first_yield_and_the_net_section():
    """By how much: without an axial load 1.5 times first yield; without a moment all three are one (both by hand)."""
    bent = loads(section(0.0, 50.0))
    assert by(bent, "adherend-hinge").factor == pytest.approx(1.5 * by(bent, "adherend-face-yield").factor, rel=1e-9)
    assert by(bent, "adherend-net-yield").factor == math.inf
    assert by(bent, "adherend-net-yield").runs
    pulled = loads(section(100.0, 0.0))
    assert len({round(by(pulled, f"adherend-{key}").factor, 9) for key in ("net-yield", "face-yield", "hinge")}) == 1


def test_the_section_worked_hardest_decides_and_is_named():
    """The end of the upper adherend bends more than the overlap's edge: its place and x stand in the answer."""
    found = loads(section(100.0, 20.0), section(100.0, -90.0, adherend="upper", place="end", x=62.5))
    hinge = by(found, "adherend-hinge")
    assert hinge.place == "upper, at its end, x = 62.5 mm"
    assert hinge.x == 62.5
    assert hinge.factor == pytest.approx(fully_plastic(100.0, 90.0), rel=1e-8)


def test_adherends_have_their_own_limits():
    """The upper yields at a third of the lower's stress: it decides though both carry the same."""
    joint = single(upper=METAL | {"tensile_yield": YIELD / 3})
    found = by(loads(section(100.0, 0.0), section(100.0, 0.0, adherend="upper", x=12.5), joint=joint), "adherend-net-yield")
    assert found.factor == pytest.approx(4.0 / 3, rel=1e-9)
    assert found.figures == {"joint.lower.material.tensile_yield": YIELD, "joint.upper.material.tensile_yield": YIELD / 3}


def test_what_temperature_leaves_in_an_adherend_counts():
    """-20 N/mm before the load and 100 more at share 1: 62.5 (s - 0.2) = 250 by hand."""
    found = by(loads(section(80.0, 0.0), base=[section(-20.0, 0.0)]), "adherend-net-yield")
    assert found.factor == pytest.approx(4.2, rel=1e-9)


def test_without_a_figure_no_guess():
    """Of one adherend alone, too: its key is named; the other limits run on."""
    joint = single(upper=without(METAL, "tensile_strength"))
    found = loads(section(100.0, 0.0), joint=joint)
    assert by(found, "adherend-rupture").reason.startswith("needs joint.upper.material.tensile_strength")
    assert by(found, "adherend-hinge").runs


# ---- joints that are solved ----------------------------------------------------------


def test_edge_loads_of_a_solved_lap_give_the_face_stress(solved):
    """From the field's own edge loads by hand; N is the line load, 100 N/mm, by equilibrium to the solver's round-off."""
    joint = single()
    sections = [s for s in solved(joint).sections[1]]
    assert [s.axial for s in sections] == pytest.approx([100.0] * len(sections), rel=1e-6)
    worst = max(s.axial / s.thickness + 6 * abs(s.moment) / s.thickness**2 for s in sections)
    found = adherend_capacities(solved(joint))
    assert by(found, "adherend-face-yield").factor == pytest.approx(YIELD / worst, rel=1e-9)
    assert by(found, "adherend-net-yield").force == pytest.approx(YIELD * WIDTH * T, rel=1e-6)


def test_net_section_at_a_step(solved):
    """At the first riser of three steps a quarter of 4 mm is cut away, less half the layer: 2.9 mm of metal.

    What it carries there is the load less what the bond has passed before: not known to a formula, so bounded: at least the
    load it would carry if the first riser passed its share by area (a quarter), at most all of it.
    """
    joint = stepped()
    steps = [s for s in solved(joint).sections[1] if s.place == "step"]
    first = next(s for s in steps if s.adherend == "lower" and s.x == 0.0)
    assert first.thickness == pytest.approx(2.9, rel=1e-9)
    assert 70.0 <= first.axial <= 100.0
    found = by(adherend_capacities(solved(joint)), "adherend-net-yield")
    worst = max(s.axial / s.thickness for s in solved(joint).sections[1])
    assert found.factor == pytest.approx(YIELD / worst, rel=1e-9)
    assert "at a step" in found.place
    # Moments at steps are not known, and the hinge says nothing of them.
    assert "step" not in by(adherend_capacities(solved(joint)), "adherend-hinge").place


# ---- the bond as a whole ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("joint", "bonded"),
    [(single(), 12.5), (double(), 2 * 20.0), (stepped(), 24.0), (stepped(steps=5), 24.0)],
    ids=["single", "double", "stepped", "five steps"],
)
def test_plateau_is_shear_strength_times_bonded_area(joint, bonded):
    """tau b l, of a double lap 2 tau b l; of a stepped lap its treads, together the overlap. Exact."""
    found = plateau_capacity(joint)
    assert found.force == pytest.approx(GLUE["shear_strength"] * WIDTH * bonded, rel=1e-12)
    assert found.factor == pytest.approx(found.force / 2500, rel=1e-12)


def test_plateau_by_yield_and_under_compression():
    """Two thirds by the yield stress; pushed the force is negative and the share is not."""
    pushed = plateau_capacity(single(force=-2500.0, rules={"shear_limit": "yield"}))
    assert pushed.force == pytest.approx(-GLUE["shear_yield"] * WIDTH * 12.5, rel=1e-12)
    assert pushed.factor == pytest.approx(2.5, rel=1e-12)


def test_plateau_needs_a_figure_and_a_force():
    assert plateau_capacity(single(adhesive=without(GLUE, "shear_strength"))).reason == "needs adhesive.shear_strength; add it"
    turned = plateau_capacity(single(force=0.0, load={"moment": 500.0, "ends": "pinned"}))
    assert "load.force is 0 N" in turned.reason
    assert np.isnan(turned.force)


def test_what_a_disbond_has_parted_carries_nothing():
    """tau b (l - a); of a double lap, with a disbond in one of its bondlines, tau b (2 l - a). Exact."""
    for joint, left in ((single, 12.5 - 10.0), (double, 2 * 20.0 - 10.0)):
        found = plateau_capacity(joint(rules={"disbond": {"length": 10.0}}))
        assert found.force == pytest.approx(GLUE["shear_strength"] * WIDTH * left, rel=1e-12)


# ---- the joint as a column ----------------------------------------------------------------


@pytest.mark.parametrize(("ends", "times"), [("pinned", 1), ("clamped", 4)])
def test_buckling_is_eulers(ends, times):
    """Flush planks alike bend as one bar: pi^2 D / l^2, four times that clamped (Euler), D of plane strain.

    The stair is taken as stiff as a plank. 1e-3: cubic beam elements, eight a beam, whose error goes with the fourth power
    of an element's share of the half wave.
    """
    joint = stepped(force=-2500.0, load={"ends": ends}, arm=60.0)
    (found,) = buckling_capacity(joint)
    stiffness = METAL["elastic_modulus"] * 4.0**3 / 12 / (1 - METAL["poisson_ratio"] ** 2)
    euler = times * math.pi**2 * stiffness / (60.0 + 24.0 + 60.0) ** 2 * WIDTH
    assert found.force == pytest.approx(-euler, rel=1e-3)
    assert found.factor == pytest.approx(euler / 2500, rel=1e-3)
    assert buckling_capacity(stepped(force=2500.0)) == []


def test_a_joint_parted_from_an_end_on_buckles_as_the_shorter_one_with_the_longer_arm():
    """The frame is the same: to the last figure but round-off. Of a double lap with one bondline parted nothing changes."""
    long = single(force=-2500.0)
    lap = long.geometry
    flawed = long.replace(flaws=(Flaw(kind="disbond", start=0, length=4), Flaw(kind="void", start=lap.length - 3, length=3)))
    short = long.replace(
        geometry=lap.replace(
            overlap_length=lap.length - 7,
            lower=lap.lower.replace(free_length=lap.lower.free_length + 4),
            upper=lap.upper.replace(free_length=lap.upper.free_length + 3),
        )
    )
    (found,), (known,), (sound,) = map(buckling_capacity, (flawed, short, long))
    assert found.force == pytest.approx(known.force, rel=1e-9)
    assert abs(found.force) < 0.99 * abs(sound.force)
    both = double(force=-2500.0)
    one = both.replace(flaws=(Flaw(kind="disbond", start=0, length=4),))
    assert buckling_capacity(one)[0].force == pytest.approx(buckling_capacity(both)[0].force, rel=1e-12)


def test_an_adherend_buckles_off_a_flaw_as_a_clamped_strip():
    """Euler: 4 pi^2 D / a^2 with the thinner one's D of plane strain, exact; nothing so in tension, and it is in the margin."""
    joint = single(force=-2500.0)
    lap = joint.geometry
    thin = joint.replace(
        geometry=lap.replace(upper=lap.upper.replace(thickness=0.4)), flaws=(Flaw(kind="disbond", start=2, length=6),)
    )
    _, found = buckling_capacity(thin)
    stiffness = METAL["elastic_modulus"] * 0.4**3 / 12 / (1 - METAL["poisson_ratio"] ** 2)
    assert found.force == pytest.approx(-4 * math.pi**2 * stiffness / 36 * WIDTH, rel=1e-12)
    assert found.place.startswith("upper, at the disbond from 2 to 8 mm")
    assert buckling_capacity(thin.at(force=2500.0)) == []
    whole = replace(found, key="buckling", factor=2 * found.factor)
    (margin,) = margins_of([whole, found], None, ())
    assert margin.capacity.key == "buckling-flaw" and margin.factor == found.factor
