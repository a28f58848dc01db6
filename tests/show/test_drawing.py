"""The section is drawn to scale, with its dimensions by their keys and nothing over anything else."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.text import Text

from fejoint.show import drawing, pen, shape


@pytest.mark.parametrize(
    "changes",
    [
        [],
        ["joint.spew=fillet", "load.force=-1 kN", "load.ends=pinned"],
        ["joint.lower.thickness=6 mm", "joint.bondline_thickness=0.1 mm", "joint.lower.free_length=10 mm"],
        ["joint.overlap_length=90 mm", "joint.lower.free_length=10 mm", "joint.upper.free_length=10 mm"],
        ["joint.lower.free_length=300 mm", "joint.upper.free_length=3 mm", "load.force=0"],
        ["joint.bondline_thickness=3 mm", "joint.spew=fillet"],
    ],
)
def test_section_figure_names_dimensions_by_their_keys(changes, joint, texts, inside, apart):
    shown = joint(*changes)
    figure = drawing.section_figure(shown)
    whole, detail, facts = figure.axes
    g = shown.geometry
    for key, value in {
        "overlap_length": g.overlap_length,
        "lower.thickness": g.lower.thickness,
        "lower.free_length": g.lower.free_length,
        "upper.thickness": g.upper.thickness,
        "upper.free_length": g.upper.free_length,
    }.items():
        assert f"{key} = {value:g} mm" in texts(whole)
    assert f"bondline_thickness = {g.bondline_thickness:g} mm" in texts(detail)
    assert any(text.startswith("spew_height") for text in texts(detail)) == (g.spew == "fillet")
    assert "times the length scale above" in detail.get_title(loc="left")
    rows = texts(facts)
    assert rows[rows.index("width") + 1] == "25 mm"
    assert ("force" in texts(whole)) == (shown.load.force != 0)
    inside(figure, changes)
    apart(whole, changes)
    apart(detail, changes)


# What must be named in the drawing of each joint, in the whole and in the detail.
KEYS = {
    "single": (["overlap_length = 12.5 mm", "lower.thickness = 1.6 mm", "upper.free_length = 50 mm"], []),
    "double": (
        [
            "overlap_length = 25 mm",
            "inner.thickness = 1.6 mm",
            "outer.thickness = 1.6 mm",
            "inner.free_length = 50 mm",
            "outer.free_length = 50 mm",
        ],
        ["inner", "outer"],
    ),
    "double unlike": (
        [
            "lower_outer.thickness = 1.6 mm",
            "upper_outer.thickness = 3 mm",
            "lower_outer.free_length =\nupper_outer.free_length = 50 mm",
        ],
        ["spew_height = 0.2 mm", "upper_outer"],
    ),
    "stepped": (
        [
            "overlap_length = 30 mm, steps = 3",
            "lower.thickness =\nupper.thickness = 1.6 mm",
            "lower.free_length = 50 mm",
            "upper.free_length = 50 mm",
        ],
        ["step_heights, each = 0.4 mm", "lower", "upper"],
    ),
    "stepped once": (["overlap_length = 30 mm, steps = 1"], ["step_heights, each = 0.8 mm"]),
    "stepped unequal": (["step_lengths = 3, 5, 4, 6 mm"], ["step_heights, first = 0.5 mm", "spew_height = 0.2 mm"]),
}


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_all_families_are_drawn_with_their_keys(families, texts, inside, apart, units):
    for name, shown in families.items():
        figure = drawing.section_figure(shown, units)
        whole, detail, facts = figure.axes
        if units == "mm":
            wanted, near = KEYS.get(name, ([], []))
            assert set(wanted) <= set(texts(whole)), name
            assert {*near, "bondline_thickness = 0.2 mm"} <= set(texts(detail)), name
        for axes in (whole, detail, facts):
            apart(axes, name)
        inside(figure, name)


def test_loads_that_act_are_listed_and_drawn_by_their_keys(families, texts):
    for name, shown in families.items():
        whole, _, facts = drawing.section_figure(shown).axes
        rows = texts(facts)
        for key in ("force", "moment", "shear_force"):
            acts = getattr(shown.load, key) != 0
            assert (key in texts(whole)) == acts, (name, key)
            assert (key in rows) == (acts or key == "force"), (name, key)
        if shown.load.moment != 0:
            assert rows[rows.index("moment") + 1] == f"{shown.load.moment:g} N mm"


def test_thicknesses_are_not_written_over_the_lines_at_the_overlap_ends(joint, families):
    short = joint("joint.overlap_length=30 mm", "joint.upper.free_length=40 mm", "joint.lower.free_length=60 mm")
    for name, shown in [*families.items(), ("short", short)]:
        figure = drawing.section_figure(shown)
        FigureCanvasAgg(figure).draw()
        whole = figure.axes[0]
        lines = [line for line in whole.lines if np.ptp(line.get_xdata()) == 0]
        ends = [line for line in lines if line.get_xdata()[0] in (0.0, shown.geometry.length)]
        assert ends, name
        for text in (text for text in whole.texts if "thickness" in text.get_text()):
            box = Text.get_window_extent(text)
            for line in ends:
                (x0, y0), (_, y1) = whole.transData.transform(line.get_xydata())
                beside = x0 < box.x0 or x0 > box.x1 or max(y0, y1) < box.y0 or min(y0, y1) > box.y1
                assert beside, (name, text.get_text())


def test_names_in_the_detail_stay_clear_of_its_frame(families):
    for name, shown in families.items():
        figure = drawing.section_figure(shown)
        FigureCanvasAgg(figure).draw()
        detail = figure.axes[1]
        frame = detail.get_window_extent()
        for text in (text for text in detail.texts if text.get_text()):
            box = Text.get_window_extent(text)
            assert box.x0 > frame.x0 + 4, (name, text.get_text())
            assert box.x1 < frame.x1 - 4, (name, text.get_text())


def arrows(axes, width):
    """Return tail and tip of the arrows of a line width, from the left."""
    found = [t for t in axes.texts if getattr(t, "arrow_patch", None) and t.arrow_patch.get_linewidth() == width]
    return sorted((t.xyann, t.xy) for t in found)


def test_the_force_is_drawn_at_the_loaded_end(families):
    for name, shown in families.items():
        whole = drawing.section_figure(shown).axes[0]
        g, load = shown.geometry, shown.load
        (loaded,) = g.loaded
        face = shape.end_faces(g)[loaded]
        along = [(tail, tip) for tail, tip in arrows(whole, 2.2) if tail[1] == tip[1]]
        across = [(tail, tip) for tail, tip in arrows(whole, 2.2) if tail[0] == tip[0]]
        ((tail, tip),) = along
        assert tail[1] == pytest.approx(face.middle), name
        assert min(abs(tail[0]), abs(tip[0])) > abs(face.x), name
        assert np.sign(tail[0]) == face.side == g.pull, name
        assert np.sign(tip[0] - tail[0]) == np.sign(load.force) * g.pull, name
        assert [np.sign(tip[1] - tail[1]) for tail, tip in across] == ([np.sign(load.shear_force)] if load.shear_force else [])


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("moment", [-3.0, 3.0])
def test_a_positive_moment_is_drawn_counter_clockwise(side, moment):
    axes = Figure().add_subplot()
    axes.set_xlim(-2.0, 2.0)
    axes.set_ylim(-2.0, 2.0)
    pen.draw_moment(axes, side * 1.0, -1.0, 1.0, side, moment, 1.0)
    FigureCanvasAgg(axes.figure).draw()
    path = axes.transData.inverted().transform(axes.texts[0].arrow_patch.get_path().interpolated(20).vertices)
    shaft = path[:20]
    turn = np.cross(np.pad(shaft[:-1], ((0, 0), (0, 1))), np.pad(shaft[1:], ((0, 0), (0, 1))))[:, 2].sum()
    assert np.sign(turn) == np.sign(moment)  # about the joint, which lies at x = 0
    assert (side * shaft[1:-1, 0] > 1.0).all()  # away from it


def test_regions_are_drawn_where_they_are(families):
    for name, shown in families.items():
        figure = drawing.section_figure(shown)
        g = shown.geometry
        for axes in figure.axes[:2]:
            drawn = [patch for patch in axes.patches if isinstance(patch, Polygon) and patch.get_gid()]
            assert {patch.get_gid() for patch in drawn} == set(g.region_areas()), name
            for region, wanted in g.region_areas().items():
                found = 0.0
                for patch in drawn:
                    if patch.get_gid() == region:
                        x, y = patch.get_xy()[:-1].T
                        found += abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
                assert found == pytest.approx(wanted), (name, region)


def test_magnification_that_is_stated_is_drawn(families):
    for name, shown in families.items():
        figure = drawing.section_figure(shown)
        FigureCanvasAgg(figure).draw()
        whole, detail, _ = figure.axes
        scale = [axes.get_window_extent().width / np.ptp(axes.get_xlim()) for axes in (whole, detail)]
        assert detail.get_title(loc="left").split(", ")[1].split(" ")[0] == f"{scale[1] / scale[0]:.0f}", name


@pytest.mark.parametrize("force", [1.0, -1.0])
def test_the_arrow_of_a_force_points_its_way(force):
    axes = Figure().add_subplot()
    pen.draw_force(axes, (1.0, 0.5), (3.0, 0.5), force, 2.0)
    (arrow,) = axes.texts
    tip, tail = arrow.xy, arrow.xyann
    assert (tip, tail) == (((3.0, 0.5), (1.0, 0.5)) if force > 0 else ((1.0, 0.5), (3.0, 0.5)))
