"""The load at which a long overlap parts from its end, against shear lag solved by scipy, beams' energy and finite elements.

Shear lag: T' = -tau, u1' = T/S1, u2' = (P - T)/S2 + mismatch, tau = G (u2 - u1)/ta; an elastic layer parts at its end when
ta tau^2/(2 G) is its toughness, and on a long overlap any other law does at the same load.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from laps import GLUE, METAL, WIDTH, double, field, single, stepped, without
from scipy.integrate import solve_bvp, solve_ivp

from fejoint.bondline.closed_form.hart_smith_double import long_capacity
from fejoint.joint.disbond import Disbond
from fejoint.mechanics.load_path import AdherendSection
from fejoint.strength.fracture import disbond_load
from fejoint.strength.long_overlap import is_balanced, long_overlap_capacity, shear_lag_load

STEEL = METAL | {"elastic_modulus": 210_000.0, "poisson_ratio": 0.3, "expansion": 12e-6}
PLANE = 70_000 / (1 - 0.33**2)  # MPa, the width being held
TOUGH = GLUE["toughness_mode_2"]


def end_stress(load, loaded, other, mismatch, g=2000 / 2.7, ta=0.2):
    """Return the layer's shear where `loaded` enters at the left of an overlap 25 decay lengths long, by collocation."""
    wave = math.sqrt(g / ta * (1 / loaded + 1 / other))
    length, scale = 25 / wave, abs(load)

    def slopes(x, y):
        u1, u2, t1 = y
        return np.vstack([t1 / loaded, (load / scale - t1) / other + mismatch / scale, g / ta * (u1 - u2)])

    def ends(a, b):
        return np.array([a[0], a[2] - load / scale, b[2]])

    x = np.linspace(0, length, 1001)
    found = solve_bvp(slopes, ends, x, np.zeros((3, x.size)), tol=1e-8, max_nodes=50_000)
    assert found.success
    return scale * g / ta * (found.sol(0)[1] - found.sol(0)[0])


# ---- shear lag ------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("loaded", "other", "mismatch"),
    [(125e3, 125e3, 0.0), (125e3, 60e3, 0.0), (60e3, 125e3, 0.0), (125e3, 230e3, 6e-4), (230e3, 125e3, -6e-4)],
)
def test_shear_lag_load_is_that_of_the_differential_equation(loaded, other, mismatch, sign):
    """At that load the elastic layer's end holds the toughness as energy: collocation to 1e-8, so 1e-6 in its square."""
    load = shear_lag_load(loaded, other, TOUGH, mismatch, sign)
    stress = end_stress(load, loaded, other, mismatch)
    assert 0.2 * stress**2 / (2 * 2000 / 2.7) == pytest.approx(TOUGH, rel=1e-6)
    assert sign * load > 0


def test_any_law_of_the_layer_parts_at_that_load():
    """A layer that is stiff, then softens: shot from its far end by solve_ivp, it bears the same, 1e-4.

    Slip d, S'' law: d'' = tau(d) (1/S1 + 1/S2), T1 - its share = d'/(1/S1 + 1/S2). From a slip of 1e-9 of failure at the far
    end the slope of the growing solution is w d; integrated until the slip of failure, the load is (S/S_o) d'/(1/S1 + 1/S2).
    """
    s1, s2, strength, onset = 125e3, 60e3, 30.0, 0.004
    failure = 2 * TOUGH / strength
    give = 1 / s1 + 1 / s2

    def tau(d):
        return strength * d / onset if d < onset else strength * (failure - d) / (failure - onset)

    def parted(x, y):
        return y[0] - failure

    parted.terminal = True
    start = 1e-9 * failure
    wave = math.sqrt(strength / onset * give)
    shot = solve_ivp(
        lambda x, y: [y[1], tau(y[0]) * give], [0, 1000], [start, wave * start], events=parted, rtol=1e-10, atol=1e-16
    )
    load = (s1 + s2) / s2 * shot.y_events[0][0][1] / give
    assert shear_lag_load(s1, s2, TOUGH) == pytest.approx(load, rel=1e-4)


def test_balanced_shear_lag_as_published():
    """sqrt(4 E t G) of two alike (from memory, e.g. Krenk 1992 without bending); Hart-Smith's long double lap both ends.

    NASA CR-112235 (from memory): half the joint is half the inner on one outer, so both bondlines' energy parts at once.
    Algebra: round-off.
    """
    assert shear_lag_load(100e3, 100e3, 0.8) == pytest.approx(math.sqrt(4 * 100e3 * 0.8), rel=1e-12)
    inner, outer, mismatch = 200e3, 80e3, 4e-4
    at_inner, at_outer = long_capacity(inner, outer, 0.8, mismatch)
    assert shear_lag_load(inner, 2 * outer, 2 * 0.8, mismatch) == pytest.approx(at_inner, rel=1e-12)
    assert shear_lag_load(2 * outer, inner, 2 * 0.8, -mismatch) == pytest.approx(at_outer, rel=1e-12)


def test_a_mismatch_that_pulls_the_same_way_takes_load_off():
    """An other that would grow longer slips out under tension: it lags less behind the loaded, and the load is larger.

    Sign by hand: at the loaded one's end its strain exceeds the other's by P/S_l; mismatch makes the other longer, too.
    Compressed, the same mismatch takes as much off.
    """
    plain, helped, harmed = (shear_lag_load(100e3, 100e3, 0.8, m) for m in (0.0, 5e-4, -5e-4))
    assert helped - plain == pytest.approx(100e3 * 5e-4, rel=1e-9)
    assert plain - harmed == pytest.approx(100e3 * 5e-4, rel=1e-9)
    assert shear_lag_load(100e3, 100e3, 0.8, 5e-4, -1) == pytest.approx(-harmed, rel=1e-12)


# ---- double laps -------------------------------------------------------------------------


@pytest.mark.parametrize("force", [2500.0, -2500.0])
def test_a_double_lap_parts_at_its_weaker_end(force):
    """The lesser of Hart-Smith's two ends, by E t of the sheets with their width held; pushed as much as pulled."""
    joint = double(outer=STEEL, force=force)
    found = long_overlap_capacity(field(joint))
    both = long_capacity(PLANE * 3.0, 210_000 / (1 - 0.3**2) * 1.5, TOUGH)
    assert found.factor == pytest.approx(min(both) * WIDTH / 2500, rel=1e-12)
    assert found.force == pytest.approx(math.copysign(min(both) * WIDTH, force), rel=1e-12)
    # The inner is the softer side, so that the layer is stretched most where it enters, on the left.
    assert both[0] < both[1]
    assert found.x == 0.0
    assert "inner" in found.place


@pytest.mark.parametrize("force", [2500.0, -2500.0])
def test_a_cooled_double_lap(force):
    """Steel outers on aluminium, 80 K colder, in plane strain: mismatch by hand (1.3 x 12 - 1.33 x 23) e-6 x -80.

    Pushed, Hart-Smith's formulas hold with the mismatch reversed (mirror image of all stresses).
    """
    joint = double(outer=STEEL, force=force, temperature=-80.0, out_of_plane="plane-strain")
    mismatch = -80 * (1.3 * 12e-6 - 1.33 * 23e-6) * math.copysign(1, force)
    both = long_capacity(PLANE * 3.0, 210_000 / (1 - 0.3**2) * 1.5, TOUGH, mismatch)
    found = long_overlap_capacity(field(joint))
    assert found.force == pytest.approx(math.copysign(min(both) * WIDTH, force), rel=1e-9)


def test_a_mismatch_that_parts_the_end_leaves_no_load():
    """600 K colder and brittle: one end parts by itself, X^2 (1/S_i + 1/S_o)/2 > G; the load is 0, not negative."""
    joint = double(outer=STEEL, temperature=-600.0, out_of_plane="plane-strain", adhesive=GLUE | {"toughness_mode_2": 0.05})
    found = long_overlap_capacity(field(joint))
    assert (found.factor, found.force) == (0.0, 0.0)


# ---- single laps ------------------------------------------------------------------------


def edge(moment, axial=100.0, shear=0.0):
    """Return a field of a balanced lap whose both edges carry the same; a positive moment opens."""
    joint = single(adhesive=GLUE | {"toughness_mode_1": TOUGH})
    lower = AdherendSection("lower", "overlap", 0.0, 1.6, axial, shear, -moment)
    upper = AdherendSection("upper", "overlap", 12.5, 1.6, axial, shear, moment)
    nothing = [AdherendSection(s.adherend, s.place, s.x, s.thickness, 0.0, 0.0, 0.0) for s in (lower, upper)]
    return field(joint, sections=(nothing, [lower, upper]))


@pytest.mark.parametrize("moment", [0.0, 20.0, 60.0, 80.0])
def test_a_balanced_lap_is_the_beams_balance_of_energy(moment):
    """One toughness for both modes: then the sum of Krenk's rates counts, the beams' energy before less behind, by hand.

    Before: one beam with P and M; behind: both as a bar of 2 E t and 8 D with P and M - P t/2 (checks from memory:
    Krenk, Eng. Fract. Mech. 43, 1992). Algebra, root to 1e-10.
    """
    d, p, t = PLANE * 1.6**3 / 12, 100.0, 1.6
    before = p**2 / (2 * PLANE * t) + moment**2 / (2 * d)
    behind = p**2 / (4 * PLANE * t) + (moment - p * t / 2) ** 2 / (16 * d)
    found = long_overlap_capacity(edge(moment))
    assert found.factor == pytest.approx(math.sqrt(TOUGH / (before - behind)), rel=1e-8)


def test_a_moment_that_closes_opens_nothing():
    """Pushed, axial load and moment turn round: G_I is gone, and only shear by Krenk, (P + 6 M/t)^2/(16 E t), parts it."""
    found = long_overlap_capacity(edge(-60.0, axial=-100.0))
    shear = (100 + 6 * 60 / 1.6) ** 2 / (16 * PLANE * 1.6)
    assert found.factor == pytest.approx(math.sqrt(TOUGH / shear), rel=1e-8)
    opened = long_overlap_capacity(edge(60.0))
    assert opened.factor < found.factor


def test_the_edge_that_opens_more_is_named():
    """The upper's edge has the larger moment: its place."""
    made = edge(40.0)
    lower, upper = made.sections[1]
    worse = AdherendSection("upper", "overlap", 12.5, 1.6, 100.0, 0.0, 70.0)
    found = long_overlap_capacity(field(made.joint, sections=(made.sections[0], [lower, worse])))
    assert found.x == upper.x
    assert "upper" in found.place


@pytest.mark.parametrize("overlap", [12.5, 25.0, 50.0])
def test_unlike_laps_come_to_the_balanced_one(solved, overlap):
    """Adherends that differ by 1e-7 are no longer balanced, and another theory answers: within 1 % of the same load.

    What stays between them: edge loads of finite elements there and of a frame of beams here (edge moments agree to some
    0.2 %, DEVELOPERS.md), and lever arms of the overlap to the adherends' faces there, to the layer's middle here.
    """
    alike, nearly = single(overlap=overlap), single(overlap=overlap, upper=METAL | {"elastic_modulus": 70_000 * (1 + 1e-7)})
    assert is_balanced(alike)
    assert not is_balanced(nearly)
    one, other = long_overlap_capacity(solved(alike)), long_overlap_capacity(solved(nearly))
    assert other.force == pytest.approx(one.force, rel=0.01)


def test_a_short_disbond_grows_at_the_load_of_the_end(solved):
    """By finite elements with a disbond of three layers' thickness, crack closure in place of beams: within 3 %.

    The disbond itself moves the end by 0.6 mm of 25, and the beams leave out the adherends' shear and root rotation; at a
    disbond of 1 mm the load is lower by a hundredth, at 0.1 mm, within the layer's own free edge, it is higher.
    """
    joint = single(overlap=25.0)
    grown = disbond_load(joint, Disbond(length=0.6))
    assert long_overlap_capacity(solved(joint)).force == pytest.approx(grown.force, rel=0.03)


def test_along_a_path_the_sideways_force_is_that_across_the_turned_overlap():
    """P (t + ta) = 2 M + V l of the overlap, by hand; without rotation the edge's own force is the same (moments of a lap).

    So a path whose edge carries no force across in space, for it turns, bears what a straight lap with that force does.
    """
    moment, force = 60.0, (100.0 * 1.8 - 2 * 60.0) / 12.5
    straight, turned = edge(moment, shear=force), edge(moment)
    turned = field(
        turned.joint, shares=(0.0, 10.0), endless=False, why="end", sections=(turned.sections[0], tenfold(turned.sections[1]))
    )
    assert long_overlap_capacity(turned).factor == pytest.approx(long_overlap_capacity(straight).factor, rel=1e-8)


def tenfold(sections):
    return [replace(s, axial=10 * s.axial, shear=10 * s.shear, moment=10 * s.moment) for s in sections]


# ---- refusals ----------------------------------------------------------------------------


def test_it_says_what_it_is_not_for_and_what_it_needs():
    assert "stepped lap" in long_overlap_capacity(field(stepped())).reason
    needs_both = single(adhesive=without(GLUE, "toughness_mode_1"))
    assert long_overlap_capacity(field(needs_both)).reason == "needs adhesive.toughness_mode_1; add it"
    # A double lap parts by shear alone.
    assert long_overlap_capacity(field(double(adhesive=without(GLUE, "toughness_mode_1")))).runs
    assert "force along the joint alone" in long_overlap_capacity(field(double(load={"shear_force": 10.0}))).reason
