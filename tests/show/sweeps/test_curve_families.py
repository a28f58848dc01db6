"""Families of curves: every mark stands for a case, curves are those of the results, nothing is cut or covered."""

import itertools

import numpy as np
import pandas as pd
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
    curves,
    drawn,
    grid,
    legend_texts,
    lightness,
    marks,
    refused,
    same_points,
    sampled_materials,
    samples,
    with_refused,
)
from matplotlib.text import Text

import fejoint
from fejoint.errors import JointError
from fejoint.show.sweeps.curve_families import bondline_family_figure, family_figure


@pytest.fixture
def table():
    return with_refused()


@pytest.fixture
def scattered():
    return samples()


# ---- a column over a parameter -------------------------------------------


def test_a_family_has_a_curve_for_each_value(table, inside, apart):
    figure = family_figure(table, PEEL, L, T, [f"{PEEL} <= 50"])
    axes = figure.axes[0]
    found = curves(axes)
    assert len(found) == len(THICKNESSES)
    for curve, thickness in zip(found, THICKNESSES, strict=True):
        part = table[table[T] == thickness]
        np.testing.assert_array_equal(curve.get_xydata(), part[[L, PEEL]])  # with a gap where there is no result
    for gid, which in (("feasible", table[PEEL] <= 50), ("infeasible", table[PEEL] > 50)):
        same_points(marks(axes, gid), table.loc[which, [L, PEEL]])
    assert all((part.get_facecolor() == 1.0).all() for part in drawn(axes, "infeasible"))
    assert sorted(marks(axes, "no result")[:, 0]) == [10.0, 10.0]
    (limit,) = [line for line in axes.lines if line.get_gid() == "limit"]
    assert set(limit.get_ydata()) == {50.0}
    assert [text.get_text().replace("\n", " ") for text in axes.texts] == ["peak peel ≤ 50 MPa"]
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("overlap length (mm)", "peak peel (MPa)")
    legend, key = figure.legends
    assert legend.get_title().get_text() == "lower thickness (mm)"
    assert [text.get_text() for text in legend.get_texts()] == ["3", "2", "1.5", "1"]
    assert [text.get_text() for text in key.get_texts()] == [
        "within all limits",
        "breaks peak peel ≤ 50 MPa",
        "no result (refused, failed or lost)",
    ]
    # A grey print: lightness rises by at least a twentieth from curve to curve, and markers differ.
    assert np.diff([lightness(curve.get_color()) for curve in found]).min() > 0.05
    shapes = {part.get_paths()[0].vertices.tobytes() for part in drawn(axes, "feasible")}
    assert len(shapes) == len(THICKNESSES)
    check_layout(figure, inside, apart, "family")


def test_limits_on_other_columns_and_the_tables_own_word_open_the_marks(table):
    axes = family_figure(table, PEEL, L, T, [f"{SHEAR} <= 22"]).axes[0]
    same_points(marks(axes, "infeasible"), table.loc[table[SHEAR] > 22, [L, PEEL]])
    table["feasible"] = table[PEEL] <= 40
    axes = family_figure(table, PEEL, L, T).axes[0]
    same_points(marks(axes, "infeasible"), table.loc[table[PEEL] > 40, [L, PEEL]])


def test_a_limit_far_off_is_said_and_does_not_squash_the_curves(table):
    for value, word in ((400, "above"), (-400, "below")):
        axes = family_figure(table, PEEL, L, T, f"{PEEL} <= {value}").axes[0]
        assert [text.get_text().replace("\n", " ") for text in axes.texts] == [f"peak peel ≤ {value} MPa lies {word}"]
        assert np.ptp(axes.get_ylim()) < 1.3 * np.ptp(table[PEEL].dropna())


@pytest.mark.parametrize("value", [72, 76, 78])
def test_a_limits_text_keeps_off_the_names_of_the_curves(table, value):
    """Beside the samples of lines in the legend it would read as one of them: a letter's width, 10 points, between."""
    figure = family_figure(table, PEEL, L, T, f"{PEEL} <= {value}")
    legend = figure.legends[0]
    (text,) = figure.axes[0].texts
    lines = [Text.get_window_extent(part) for part in legend.get_texts()] + [
        part.get_window_extent() for part in legend.get_lines()
    ]
    assert min(box.x0 for box in lines) - Text.get_window_extent(text).x1 >= 10 / 72 * figure.dpi


def test_many_curves_take_a_colour_bar(inside, apart):
    table = grid(**{L: LENGTHS, G: np.geomspace(100, 2000, 12)})
    figure = family_figure(table, PEEL, L, G)
    axes, bar = figure.axes
    assert bar.get_ylabel() == "adhesive shear modulus (MPa)"
    assert bar.get_yscale() == "log"
    found = curves(axes)
    light = [lightness(curve.get_color()) for curve in found]
    assert len(found) == 12 and (np.diff(light) > 0).all()
    assert not figure.legends
    check_layout(figure, inside, apart, "many")


def test_samples_and_further_parameters_are_not_joined(scattered, inside, apart):
    figure = family_figure(scattered, PEEL, L, G)
    assert not curves(figure.axes[0])
    assert len(marks(figure.axes[0], "feasible")) == scattered[PEEL].notna().sum()
    figure = family_figure(scattered, PEEL, L)
    assert not curves(figure.axes[0])
    assert "adhesive shear modulus varies too" in figure.axes[0].get_title(loc="left")
    check_layout(figure, inside, apart, "samples")


def test_unlike_materials_of_a_sample_are_not_joined():
    table = sampled_materials()
    axes = family_figure(table, PEEL, L).axes[0]
    assert not curves(axes)
    assert "lower material varies too" in axes.get_title(loc="left")
    found = curves(family_figure(table, PEEL, L, M).axes[0])
    for curve, name in zip(found, ["aluminium", "steel"], strict=True):
        np.testing.assert_array_equal(curve.get_xydata(), table.loc[table[M] == name, [L, PEEL]].sort_values(L))


def test_texts_stand_along_the_axis_or_name_the_curves(inside, apart):
    names = ["steel DC04, cold rolled", "aluminium 2024-T3", "glass fibre laminate, quasi-isotropic"]
    table = grid(**{M: names, L: LENGTHS})
    table["joint.lower.material.elastic_modulus_MPa"] = table[M].map(dict(zip(names, [210e3, 73e3, 20e3], strict=True)))
    figure = family_figure(table, PEEL, M, L)
    axes = figure.axes[0]
    assert [label.get_text().replace("\n", " ").replace("- ", "-") for label in axes.get_xticklabels()] == sorted(names)
    assert not curves(axes)  # texts have no order
    assert {line.get_linestyle() for line in figure.legends[0].get_lines()} == {"None"}
    check_layout(figure, inside, apart, "texts along")
    figure = family_figure(table, PEEL, L, M, [f"{PEEL} <= 40"])
    assert len(curves(figure.axes[0])) == 3
    shown = [text.replace("\n", " ") for text in legend_texts(figure)]
    assert shown[:3] == sorted(names, reverse=True)
    check_layout(figure, inside, apart, "texts name")


def test_many_texts_have_their_names_joined_or_not():
    table = grid(**{M: [f"alloy {i:02}" for i in range(12)], L: LENGTHS, T: [1.0, 2.0]})
    for part in (table, table[table[T] == 1.0]):
        figure = family_figure(part, PEEL, L, M)
        assert legend_texts(figure) == [f"alloy {i:02}" for i in range(12)][::-1]
        assert len(marks(figure.axes[0], "feasible")) == len(part)


def test_axes_are_logarithmic_where_values_are_spaced_so():
    table = grid(**{L: [10.0, 20.0, 40.0, 80.0], T: THICKNESSES[:2]})
    axes = family_figure(table, PEEL, L, T).axes[0]
    assert axes.get_xscale() == "log"
    assert [label.get_text() for label in axes.get_xticklabels()] == ["10", "20", "40", "80"]
    for lengths in ([10.0, 20.0, 30.0, 40.0], [10.0, 11.0, 12.1, 13.31], [-1.0, 1.0, 10.0, 100.0], [10.0, 40.0]):
        axes = family_figure(grid(**{L: lengths, T: THICKNESSES[:2]}), PEEL, L, T).axes[0]
        assert axes.get_xscale() == "linear", lengths


def test_few_cases_none_good_and_none_at_all(table, inside, apart):
    lone = grid(**{L: LENGTHS})
    figure = family_figure(lone, PEEL, L)
    assert len(curves(figure.axes[0])) == 1
    assert not figure.legends
    for what, part, limits in (
        ("one", table.iloc[:1], f"{PEEL} <= 60"),
        ("all break", table, f"{PEEL} <= 1"),
        ("all refused", refused(table.copy(), table.index > 0), f"{PEEL} <= 60"),
    ):
        figure = family_figure(part, PEEL, L, T, limits)
        check_layout(figure, inside, apart, what)
    assert figure.axes[0].get_title(loc="left") == "no case has a result"
    assert not len(marks(figure.axes[0], "feasible"))
    with pytest.raises(JointError, match="no case"):
        family_figure(table.iloc[:0], PEEL, L, T)


@pytest.mark.parametrize("name", ["column", "x", "y", "limit"])
def test_unknown_columns_are_named_with_the_nearest(table, name):
    names = {"column": PEEL, "x": L, "y": T, "limit": SHEAR}
    names[name] = names[name][:-1]
    with pytest.raises(JointError, match="did you mean"):
        family_figure(table, names["column"], names["x"], names["y"], f"{names['limit']} <= 3")


# ---- curves along the bondline -------------------------------------------


@pytest.fixture(scope="module")
def swept(joint):
    """Return solved joints of three overlaps, their table and their curves."""
    results = {
        i: fejoint.solve(joint(f"joint.overlap_length={length} mm", "analysis.mesh_density=0.75", "analysis.error_target=0.5"))
        for i, length in enumerate((10, 15, 25), 1)
    }
    table = pd.DataFrame({L: [10.0, 15.0, 25.0]}, index=pd.RangeIndex(1, 4, name="case"))
    return results, table, pd.concat([as_frame(case, result.bondlines) for case, result in results.items()])


def as_frame(case, bondlines):
    parts = []
    for bondline in bondlines:
        for level, curve in bondline.levels().items():
            stresses = {f"{name}_MPa": getattr(curve, name) for name in ("shear", "peel", "axial")}
            parts.append(pd.DataFrame({"case": case, "bondline": bondline.number, "level": level, "x_mm": curve.x, **stresses}))
    return pd.concat(parts)


@pytest.mark.parametrize("stress", ["shear", "peel"])
def test_bondline_families_show_the_curves_of_the_results(swept, stress, inside, apart):
    results, table, curves = swept
    figure = bondline_family_figure(curves.sample(frac=1, random_state=1), table, L, stress)
    axes = figure.axes[0]
    for case, result in results.items():
        (line,) = [line for line in axes.lines if line.get_gid() == f"case {case}"]
        bondline = result.bondlines[0]
        np.testing.assert_array_equal(line.get_xydata(), np.column_stack([bondline.x, getattr(bondline, stress)]))
    assert axes.get_ylabel() == f"{stress} stress (MPa)"
    assert axes.get_xlabel() == "x along the overlap (mm)"
    assert legend_texts(figure) == ["25", "15", "10"]
    lines = [line for line in axes.lines if str(line.get_gid()).startswith("case")]
    assert len({line.get_marker() for line in lines}) == 3
    check_layout(figure, inside, apart, stress)


def many(cases, bondlines=1):
    """Return invented curves of many cases."""
    x = np.linspace(0.0, 20.0, 9)
    names = pd.DataFrame(list(itertools.product(range(1, cases + 1), range(1, bondlines + 1))), columns=["case", "bondline"])
    return names.merge(pd.DataFrame({"level": "middle", "x_mm": x, "shear_MPa": x**2, "peel_MPa": -x}), how="cross")


def test_many_cases_take_a_colour_bar_and_bondlines_a_panel_each(inside, apart):
    table = grid(**{L: [float(v) for v in range(10, 20)], T: [1.0, 3.0]})
    table["feasible"] = table[PEEL] <= 65
    figure = bondline_family_figure(many(20, 2), table, L)
    *panels, bar = figure.axes
    assert [axes.get_title(loc="left") for axes in panels] == ["bondline 1", "bondline 2"]
    assert bar.get_ylabel() == "overlap length (mm)"
    for axes in panels:
        lines = {int(line.get_gid()[5:]): line for line in axes.lines if str(line.get_gid()).startswith("case")}
        assert len(lines) == 20
        dashed = [case for case, line in lines.items() if line.get_linestyle() != "-"]
        assert dashed == list(table.index[~table["feasible"]])
        light = [lightness(lines[case].get_color()) for case in table[table[T] == 1.0].index]
        assert (np.diff(light) > 0).all()
    assert legend_texts(figure) == ["infeasible"]
    check_layout(figure, inside, apart, "panels")
    # A table of some cases shows those alone.
    figure = bondline_family_figure(many(20), table.iloc[:5], L)
    assert len([line for line in figure.axes[0].lines if str(line.get_gid()).startswith("case")]) == 5
    check_layout(figure, inside, apart, "few")


def test_curves_by_texts_and_what_is_refused(inside, apart):
    table = grid(**{M: ["steel", "aluminium"], L: [float(v) for v in range(10, 20)]})
    figure = bondline_family_figure(many(20), table, M, "peel")
    assert legend_texts(figure) == ["steel", "aluminium"]
    check_layout(figure, inside, apart, "texts")
    with pytest.raises(JointError, match="must be one of shear, peel, axial"):
        bondline_family_figure(many(3), table, M, "pel")
    with pytest.raises(JointError, match="keep_curves"):
        bondline_family_figure(many(3), table.iloc[10:], M)
    with pytest.raises(JointError, match="did you mean"):
        bondline_family_figure(many(3), table, M[:-1])
    with pytest.raises(JointError, match="no column 'x_mm'"):
        bondline_family_figure(many(3).drop(columns="x_mm"), table, M)
