"""Figures of a load's path: what is drawn is what the result holds, with names, units and marks, and no text outside."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fejoint.errors import JointError
from fejoint.show import path_plots
from fejoint.show.path_rows import in_words, path_rows, spread
from fejoint.show.plots import bondline_figure
from fejoint.show.reading import read_run

PSI, INCH, LBF = 145.0377, 25.4, 4.448222  # MPa, mm and N in them; from memory, to seven digits


def named(figure):
    return {axes.get_label(): axes for axes in figure.axes if axes.get_label()}


def drawn(axes, label):
    (line,) = [line for line in axes.lines if line.get_label().startswith(label)]
    return np.asarray(line.get_xdata(), dtype=float), np.asarray(line.get_ydata(), dtype=float)


def test_the_path_is_that_of_the_table_in_every_display_system(sill, sill_folder, inside):
    force = np.array([one.joint.load.force for one in sill.path])
    for result, units in ((sill, "mm"), (read_run(sill_folder), "inch")):
        figure = path_plots.path_figure(result, units)
        inside(figure, units)
        parts = named(figure)
        assert list(parts) == ["travel", "peaks", "strain", "yielded"]
        pull, length, stress = (1.0, 1.0, 1.0) if units == "mm" else (1 / LBF, 1 / INCH, PSI)
        x, y = drawn(parts["travel"], "finite elements")
        # From nothing; constants to seven digits.
        np.testing.assert_allclose(x, length * np.array([0.0, *(one.elongation for one in sill.path)]), rtol=1e-6)
        np.testing.assert_allclose(y, pull * np.array([0.0, *force]), rtol=1e-6, atol=1e-9)
        for name in ("shear", "peel"):
            peaks = [getattr(one, f"peak_{name}")[0].value for one in sill.path]
            x, y = drawn(parts["peaks"], f"peak {name}")
            np.testing.assert_allclose(x, pull * force, rtol=1e-6, atol=1e-9)
            np.testing.assert_allclose(y, stress * np.array(peaks), rtol=1e-6)
        _, y = drawn(parts["strain"], "adhesive")
        np.testing.assert_allclose(y, [one.plastic_strain["adhesive"] for one in sill.path], rtol=1e-12)
        _, y = drawn(parts["yielded"], "adhesive")
        np.testing.assert_allclose(y, [100 * one.yielded[1] for one in sill.path], rtol=1e-12)
        assert parts["travel"].get_xlabel() == f"elongation, {'mm' if units == 'mm' else 'in'}"
        assert parts["peaks"].get_xlabel() == f"force, {'N' if units == 'mm' else 'lbf'}"
        # One load step ends on the way: a ring in every axes, named in the first.
        last = [one.step for one in sill.path].index("pull") - 1
        (ring,) = [line for line in parts["travel"].lines if line.get_gid() == "rings"]
        assert ring.get_xdata()[0] == pytest.approx(length * sill.path[last].elongation, rel=1e-6)
        assert {text.get_text() for text in parts["travel"].texts} == {"end of cool-down", "end of pull"}


def test_a_limit_load_is_marked_and_the_load_asked_for_is_drawn(sill, inside):
    reached = sill.path[-2]
    stopped = replace(reached, limit="limit load", asked=sill.joint, path=sill.path[:-1])
    figure = path_plots.path_figure(stopped)
    inside(figure, "limit")
    axes = named(figure)["travel"]
    assert "limit load of pull" in {text.get_text() for text in axes.texts}
    assert drawn(axes, "force asked for")[1][0] == 1100


def test_edge_moments_stand_beside_the_published_factors(sill, inside):
    """Goland & Reissner 1944 and Hart-Smith 1973 written out here anew; both to round-off."""
    figure = path_plots.edge_moment_figure(sill)
    inside(figure, "edge moment")
    axes = named(figure)["factor"]
    g = sill.joint.geometry
    e, nu, t, c = g.lower.material.elastic_modulus, g.lower.material.poisson_ratio, g.lower.thickness, g.overlap_length / 2
    force, factor = drawn(axes, "Goland and Reissner")
    assert force[-1] == 1100
    assert force[0] < 1
    u2 = np.sqrt(3 * (1 - nu**2) / 2) * np.sqrt(force / g.width / (t * e)) / t
    # k = cosh(u2 c) / (cosh(u2 c) + 2 sqrt(2) sinh(u2 c)), with endless arms
    np.testing.assert_allclose(factor, 1 / (1 + 2 * math.sqrt(2) * np.tanh(u2 * c)), rtol=1e-9)
    force, factor = drawn(axes, "Hart-Smith")
    xi = np.sqrt(force / g.width / (e * t**3 / 12 / (1 - nu**2)))
    np.testing.assert_allclose(factor, 1 / (1 + xi * c + (xi * c) ** 2 / 6), rtol=1e-9)
    _, linear = drawn(axes, "beams, small rotation")
    assert np.ptp(linear) < 1e-9
    _, turning = drawn(axes, "beams, large rotation")
    assert turning[0] == pytest.approx(linear[0], rel=1e-3)  # under next to no load
    assert (np.diff(turning) < 0).all()
    force, found = drawn(axes, "finite elements")
    told = [one for one in sill.path if one.joint.load.force]
    np.testing.assert_allclose(force, [one.joint.load.force for one in told])
    np.testing.assert_allclose(np.abs(found), [max(map(abs, one.edge_moment_factors)) for one in told])


def test_plastic_zones_are_those_of_the_section(sill, sill_folder, inside):
    run = read_run(sill_folder)
    for number in (None, len(sill.path) - 1):
        figure = path_plots.plastic_zone_figure(run, number)
        inside(figure, number)
        parts = named(figure)
        shown = run.path[-1 if number is None else number - 1]
        for name in ("overlap", "left", "right"):
            (mesh,) = [one for one in parts[name].collections if one.get_array() is not None]
            np.testing.assert_array_equal(mesh.get_array(), shown.section.stress["plastic-strain"])
            low, high = parts[name].get_xlim()
            assert low < {"left": 0.0, "right": 4.0, "overlap": 2.0}[name] < high
        peak = max(shown.bondlines[0].plastic_strain)
        # Between points the parabola through them may lie higher: by a tenth at most on this mesh.
        assert peak <= mesh.norm.vmax * (1 + 1e-9) <= 1.1 * peak
        assert parts["overlap"].get_title("left").startswith(f"increment {shown.number}, pull: ")


def test_curves_by_increment_are_those_of_the_increments(sill, inside):
    figure = path_plots.bondline_steps_figure(sill, [6, 9, len(sill.path)])
    inside(figure, "steps")
    parts = named(figure)
    rows = path_rows(sill)
    for number in (6, 9, len(sill.path)):
        label, (bondline,) = in_words(rows[number - 1], "mm"), sill.path[number - 1].bondlines
        x, shear = drawn(parts["shear"], label)
        assert {*bondline.x} <= {*x}
        np.testing.assert_allclose(shear[np.isin(x, bondline.x)], bondline.shear, rtol=1e-9, atol=1e-9)
        np.testing.assert_array_equal(drawn(parts["strain"], label)[1], bondline.plastic_strain)
    light = [np.dot(line.get_color()[:3], [0.2126, 0.7152, 0.0722]) for line in parts["peel"].lines[:3]]
    assert light == sorted(light)  # from dark to light
    assert sill.bondlines[0].measure in parts["shear"].get_title("left")
    assert sill.bondlines[0].measure in named(bondline_figure(sill))["shear"].get_title("left")


def test_of_many_increments_ends_of_steps_and_even_parts_of_the_way_are_shown():
    step = {"moment_N_mm": 0.0, "shear_force_N": 0.0, "turn": 0.0, "lift_mm": 0.0}
    cooled = [{"step": "cool", "force_N": 0.0, "elongation_mm": -0.01 * k, **step} for k in range(1, 11)]
    # As many increments again up to the first thousandth of the way as beyond it.
    shares = [*np.linspace(1e-5, 1e-3, 50), *np.linspace(0.02, 1.0, 50)]
    pulled = [{"step": "pull", "force_N": 100 * k, "elongation_mm": -0.1 + 0.2 * k, **step} for k in shares]
    rows = [{**row, "number": i} for i, row in enumerate([*cooled, *pulled], start=1)]
    chosen = spread(rows, 6)
    assert len(chosen) == 6
    assert {10, 110} <= set(chosen)
    force = [rows[number - 1]["force_N"] for number in chosen if number > 10]
    np.testing.assert_allclose(np.diff([0.0, *force]), 20.0, atol=2.0)  # a fiftieth of the way apart, at most
    assert spread(rows[:4], 6) == [1, 2, 3, 4]
    assert spread(rows, 1) == [110]


def test_what_cannot_be_drawn_is_one_sentence(sill, filleted):
    for figure in (path_plots.path_figure, path_plots.edge_moment_figure, path_plots.plastic_zone_figure):
        with pytest.raises(JointError, match="this result has no load path"):
            figure(filleted)
    for number in (0, 99):
        with pytest.raises(JointError, match=f"step = {number}: must be the number of an increment, 1 to {len(sill.path)}"):
            path_plots.plastic_zone_figure(sill, number)
    with pytest.raises(JointError, match="only a single lap under a force alone"):
        path_plots.edge_moment_figure(replace(sill, path=sill.path[:3]))
