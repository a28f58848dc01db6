"""Contours of a sweep: they are those of the field, exactly what breaks a limit is hatched, nothing is covered."""

import tracemalloc

import numpy as np
import pytest
from chart_parts import (
    LENGTHS,
    PEEL,
    SHEAR,
    THICKNESSES,
    G,
    L,
    M,
    T,
    check_layout,
    drawn,
    grid,
    is_within,
    legend_texts,
    marks,
    refused,
    same_points,
    sampled_materials,
    samples,
    with_refused,
)

from fejoint.errors import JointError
from fejoint.show.sweeps.contours import _lay_ground, contour_figure
from fejoint.show.sweeps.limits import Limit


@pytest.fixture
def table():
    return with_refused()


@pytest.fixture
def scattered():
    return samples()


@pytest.mark.parametrize("which", ["grid", "samples"])
def test_contour_lines_are_those_of_a_known_field(which, scattered, inside, apart):
    """Peel is linear in what is drawn (the modulus in logarithms), so that cells and triangles give it exactly."""
    table = grid(**{L: LENGTHS, G: [100.0, 200.0, 400.0, 800.0, 1600.0]}) if which == "grid" else scattered
    figure = contour_figure(table, PEEL, L, G)
    axes, bar = figure.axes
    assert axes.get_yscale() == "log"
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("overlap length (mm)", "adhesive shear modulus (MPa)")
    assert bar.get_ylabel() == "peak peel (MPa)"
    (lines,) = drawn(axes, "contour lines")
    found = 0
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        x, g = path.vertices.T
        np.testing.assert_allclose(70 - x + 10 * np.log(g / 100), level, rtol=1e-9)
        found += len(x)
    assert len(lines.levels) >= 4 and found > 20
    # Filled areas: every case lies in that of its value, and in no other.
    (areas,) = drawn(axes, "contours")
    known = table[table[PEEL].notna()]
    for low, high, path in zip(areas.levels[:-1], areas.levels[1:], areas.get_paths(), strict=True):
        clear = (known[PEEL] > low + 0.1) & (known[PEEL] < high - 0.1)
        off = (known[PEEL] < low - 0.1) | (known[PEEL] > high + 0.1)
        area = axes.transData.transform_path(path)
        if clear.any():
            at = axes.transData.transform(known.loc[clear, [L, G]])
            assert (area.contains_points(at, radius=0.01) | area.contains_points(at, radius=-0.01)).all()
        assert not area.contains_points(axes.transData.transform(known.loc[off, [L, G]])).any()
    check_layout(figure, inside, apart, which)


@pytest.mark.parametrize("which", ["grid", "samples"])
def test_exactly_what_breaks_a_limit_is_hatched(which, table, scattered, inside, apart):
    found, y = (table, T) if which == "grid" else (scattered, G)
    limits = [f"{PEEL} <= 52", f"{SHEAR} >= 15.5"]
    figure = contour_figure(found, PEEL, L, y, limits)
    axes = figure.axes[0]
    known = found[found[PEEL].notna()]
    for text in limits:
        area = drawn(axes, f"beyond {text}")
        breaks = ~Limit.parse(text).holds(known)
        assert 3 < breaks.sum() < len(known) - 3
        np.testing.assert_array_equal(is_within(axes, area, known[[L, y]].to_numpy()), breaks)
        (line,) = drawn(axes, f"limit {text}")
        (path,) = line.get_paths()
        if text.startswith(SHEAR):
            np.testing.assert_allclose(path.vertices[:, 0], 21.0, rtol=1e-9)
        assert f"hatched: breaks {Limit.parse(text).label}" in legend_texts(figure)
        assert Limit.parse(text).label in [t.get_text() for t in axes.texts]
    assert len({area.hatches[0] for text in limits for area in drawn(axes, f"beyond {text}")}) == 2
    # Every case has its mark: filled, open or a cross.
    good = np.all([Limit.parse(text).holds(found) for text in limits], axis=0)
    same_points(marks(axes, "feasible"), found.loc[good, [L, y]])
    same_points(marks(axes, "infeasible"), found.loc[~good & found[PEEL].notna(), [L, y]])
    same_points(marks(axes, "no result"), found.loc[found[PEEL].isna(), [L, y]])
    check_layout(figure, inside, apart, which)


@pytest.mark.parametrize("which", ["grid", "samples"])
def test_cases_without_a_result_have_no_colour_but_a_hatch(which, table, scattered):
    found, y = (table, T) if which == "grid" else (scattered, G)
    axes = contour_figure(found, PEEL, L, y).axes[0]
    without = found[PEEL].isna().to_numpy()
    assert without.sum() >= 2
    points = found[[L, y]].to_numpy()
    (ground,) = drawn(axes, "no result area")
    assert ground.get_hatch()
    assert ground.get_zorder() < drawn(axes, "contours")[0].get_zorder()  # shows where no colour covers it
    hull = is_within(axes, [ground], points[without])
    assert hull.all()
    coloured = is_within(axes, drawn(axes, "contours"), points)
    np.testing.assert_array_equal(coloured, ~without)


def test_what_the_table_calls_infeasible_is_hatched_half_way(table):
    table["feasible"] = table[PEEL] <= 45
    axes = contour_figure(table, SHEAR, L, T).axes[0]
    area = drawn(axes, "infeasible by the table")
    known = table[table[PEEL].notna()]
    np.testing.assert_array_equal(is_within(axes, area, known[[L, T]].to_numpy()), known[PEEL] > 45)
    # Limits that say so already need no second hatch.
    axes = contour_figure(table, SHEAR, L, T, f"{PEEL} <= 45").axes[0]
    assert not drawn(axes, "infeasible by the table")


def test_contours_of_odd_tables(table, inside, apart):
    figure = contour_figure(table, PEEL, L, T, f"{PEEL} <= 1")  # none good
    known = table[table[PEEL].notna()]
    axes = figure.axes[0]
    assert is_within(axes, drawn(axes, f"beyond {PEEL} <= 1"), known[[L, T]].to_numpy()).all()
    assert not drawn(axes, f"limit {PEEL} <= 1")
    check_layout(figure, inside, apart, "none good")
    figure = contour_figure(table, PEEL, L, T, f"{PEEL} <= 1000")
    assert "peak peel ≤ 1000 MPa holds everywhere" in legend_texts(figure)
    figure = contour_figure(refused(table.copy(), table.index > 0), PEEL, L, T, f"{PEEL} <= 1")
    assert len(figure.axes) == 1 and "too few cases side by side have a result" in figure.axes[0].get_title(loc="left")
    check_layout(figure, inside, apart, "no result")
    figure = contour_figure(table.assign(**{PEEL: 3.0}), PEEL, L, T)
    assert figure.axes[0].get_title(loc="left") == "the same everywhere: 3 MPa"
    check_layout(figure, inside, apart, "the same")


def test_contours_that_cannot_be_drawn(table, scattered):
    third = grid(**{L: LENGTHS, T: THICKNESSES, M: ["steel", "aluminium"]})
    with pytest.raises(JointError, match=r"joint.lower.material varies too.*table\[table\['joint.lower.material'\] == 'alumin"):
        contour_figure(third, PEEL, L, T)
    contour_figure(third[third[M] == "steel"], PEEL, L, T)
    sampled = scattered.assign(**{T: np.random.default_rng(0).random(len(scattered))})
    with pytest.raises(JointError, match="thickness_mm varies too; pass a table in which the rest is held"):
        contour_figure(sampled, PEEL, L, G)
    contour_figure(scattered.assign(**{T: 2 * scattered[L]}), PEEL, L, G)  # tied
    with pytest.raises(JointError, match=r"lower\.material varies too"):
        contour_figure(sampled_materials().assign(**{T: np.random.default_rng(0).random(12)}), PEEL, L, T)
    lone = table[table[T] == 1.0]
    with pytest.raises(JointError, match="texts"):
        contour_figure(third, PEEL, L, M)
    with pytest.raises(JointError, match="span no area"):
        contour_figure(lone, PEEL, L, T)
    with pytest.raises(JointError, match="span no area"):
        contour_figure(table.iloc[:1], PEEL, L, T)
    with pytest.raises(JointError, match="span no area"):
        contour_figure(lone, PEEL, L, L)
    line = table[table[L] / 10 == table[T]].assign(**{PEEL: 1.0})
    with pytest.raises(JointError, match="span no area"):
        contour_figure(line, PEEL, L, T)


@pytest.mark.parametrize("name", ["column", "x", "y", "limit"])
def test_unknown_columns_are_named_with_the_nearest(table, name):
    names = {"column": PEEL, "x": L, "y": T, "limit": SHEAR}
    names[name] = names[name][:-1]
    with pytest.raises(JointError, match="did you mean"):
        contour_figure(table, names["column"], names["x"], names["y"], f"{names['limit']} <= 3")


def test_many_scattered_cases_need_no_grid_of_all_their_places():
    """Triangles between n points are fewer than 2 n, which with what finds them is a few kB a point, and matplotlib is
    some 20 MB; a grid of all places of x and y would hold n^2 numbers: 128 MB here."""
    x, y = np.random.default_rng(5).random((2, 4000))
    tracemalloc.start()
    try:
        ground = _lay_ground(x, y)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert ground.grid is None
    assert len(x) < len(ground.corners) < 2 * len(x)
    assert most < 6e7
