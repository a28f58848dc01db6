"""Three series of single laps (benchmarks/lap_series.py): what of them is known by hand, and which way the trend goes."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from benchmarks.lap_series import ADHESIVES, FROM_MEMORY, figure, lap, of_the_shear_limit, passes, series, study, table, text
from fejoint.strength.capacity import Capacity

BRITTLE, FLEXIBLE = ADHESIVES[0], ADHESIVES[2]
CONDITIONS = "Linear elasticity, small rotation, clamped ends."


@pytest.fixture(scope="module")
def points():
    """Return the brittle adhesive's shortest and longest lap, and the flexible one's longest."""
    return [*study([BRITTLE], [12.5, 50.0]), *study([FLEXIBLE], [50.0])]


@pytest.mark.parametrize(("limit", "tau"), [("yield", 25.1), ("strength", 30.2)])
def test_limit_analysis_is_shear_stress_times_area(limit, tau, points):
    """By hand: tau l b of a layer that flows all along; to 1e-12, a product of three doubles."""
    for lapped in series(points, BRITTLE, limit):
        assert lapped.loads["plateau"].force == pytest.approx(tau * lapped.overlap * 25, rel=1e-12)


def test_adherend_yields_at_stress_times_section(points):
    """By hand: 261.67 MPa x 25 mm x 3 mm; the sheet's load balances the reaction to 1e-9, 1e-6 leaves room for round-off."""
    for lapped in points:
        assert lapped.loads["adherend-net-yield"].force == pytest.approx(261.67 * 25 * 3, rel=1e-6)
        assert lapped.loads["adherend-rupture"].force == pytest.approx(324 * 25 * 3, rel=1e-6)


def test_adherend_takes_over_where_both_bear_the_same(points):
    """By hand: tau l b = sigma_y b t at l = 261.67 x 3 / 30.2 = 25.994 mm; both are straight lines, 1e-6 as above."""
    laps = series(points, BRITTLE, "strength")
    assert passes(laps, "plateau", "adherend-net-yield") == pytest.approx(261.67 * 3 / 30.2, rel=1e-6)
    assert passes(laps, "energy-end", "adherend-net-yield") == float("inf")
    assert passes(laps[1:], "plateau", "adherend-net-yield") == 0


def test_a_strong_brittle_adhesive_uses_less_of_its_strength_than_a_weak_ductile_one(points):
    """Single laps favour weak ductile adhesives, strong brittle ones need joints of even stress.

    Trend read in the abstract of Barbosa et al., Applied Adhesion Science 6:15,
    2018. Only the order is held: the share of its shear strength that a long lap
    uses, and here the load itself, though the brittle adhesive is three times as strong.
    """
    brittle, flexible = (series(points, name, "strength")[-1] for name in (BRITTLE, FLEXIBLE))
    used = {p.adhesive: p.force(p.believed) / p.force("plateau") for p in (brittle, flexible)}
    assert used[BRITTLE] < used[FLEXIBLE]
    assert brittle.force(brittle.believed) < flexible.force(flexible.believed)
    assert brittle.force("plateau") > flexible.force("plateau")


def test_a_load_beyond_the_path_is_above_what_was_met(points):
    """Nothing is read into a load that was not followed so far but that it lies beyond."""
    laps = series(points, BRITTLE, "strength")
    never, bare = Capacity(key="x", name="x", route="adherend", mode="adherend-yield", reason="not met"), laps[1].loads["plateau"]
    unmet = [replace(p, loads={**p.loads, "adherend-net-yield": never, "plateau": bare}) for p in laps]
    assert passes(unmet, "plateau", "adherend-net-yield") == float("inf")
    ended = [laps[0], replace(laps[1], loads={**laps[1].loads, "plateau": never})]
    assert passes(ended, "plateau", "adherend-net-yield") == 50.0


def test_only_what_looks_at_the_shear_limit_changes_with_it(points):
    weak, strong = (series(points, BRITTLE, limit)[-1] for limit in ("yield", "strength"))
    ratios = {key: c.force / weak.loads[key].force for key, c in strong.bond.items()}
    for key in ("shear-peak", "shear-point", "shear-mean", "plateau"):  # in proportion to it: 30.2 / 25.1
        assert ratios[key] == pytest.approx(30.2 / 25.1, rel=1e-9)
    for key in ("peel-point", "principal-point", "energy-end"):
        assert ratios[key] == pytest.approx(1, rel=1e-9)
    assert 1 < ratios["interaction-point"] < 30.2 / 25.1
    assert {key for key, c in strong.bond.items() if of_the_shear_limit(c)} == {key for key in ratios if ratios[key] > 1 + 1e-9}


def test_marks_and_shear_limits_stay_visible(points):
    printed = text(points, CONDITIONS)
    assert FROM_MEMORY in printed
    assert "Nothing is fitted, and no measured load stands here." in printed
    assert "50 (yield 25.1)" in printed and "50 (strength 30.2)" in printed
    assert "a factor of" in printed
    listed = list(csv.DictReader(io.StringIO(table(points))))
    assert {row["mark"] for row in listed} == {FROM_MEMORY}
    plateau = next(row for row in listed if (row["adhesive"], row["criterion"]) == (FLEXIBLE, "plateau"))
    assert plateau["looks at tau"] == "yes"
    assert float(plateau["50 mm, tau = shear strength, kN"]) == pytest.approx(10.17 * 50 * 25 / 1000, abs=5e-5)
    assert lap(BRITTLE, 25).adhesive.source("shear_strength") == FROM_MEMORY


def test_the_figure_says_what_it_is_made_of(points):
    drawn = figure([p for p in points if p.adhesive == BRITTLE], CONDITIONS)
    assert "from memory" in drawn.get_suptitle()
    axes = drawn.axes[0]
    assert "yield 25.1, strength 30.2" in axes.get_title(loc="left")
    heights = {line.get_label(): list(line.get_ydata()) for line in axes.lines}
    assert heights["bondline yields as a whole, tau = shear yield"] == pytest.approx([7.84375, 31.375])
    assert heights["adherend yields through its thickness"] == pytest.approx([19.62525] * 2)
