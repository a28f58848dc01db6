"""The section is drawn to scale, with its dimensions by their keys and nothing over anything else."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from fejoint.show import drawing


def apart(axes):
    """Check that no two texts overlap."""
    boxes = [(text.get_text(), text.get_tightbbox()) for text in axes.texts if text.get_text()]
    for i, (text, box) in enumerate(boxes):
        for other, second in boxes[:i]:
            assert not box.overlaps(second), (text, other)


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
def test_section_figure_names_dimensions_by_their_keys(changes, joint, texts, inside):
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
    apart(whole)
    apart(detail)


def test_magnification_that_is_stated_is_drawn(joint):
    figure = drawing.section_figure(joint())
    FigureCanvasAgg(figure).draw()
    whole, detail, _ = figure.axes
    scale = [axes.get_window_extent().width / np.ptp(axes.get_xlim()) for axes in (whole, detail)]
    assert detail.get_title(loc="left").split(", ")[1].split(" ")[0] == f"{scale[1] / scale[0]:.0f}"


def test_section_drawing_has_the_areas_of_the_joint(joint):
    for shown in (joint(), joint("joint.spew=fillet", "joint.upper.thickness=3 mm")):
        for name, polygons in drawing.outlines(shown.geometry).items():
            area = 0.0
            for x, y in (corners.T for corners in polygons):
                area += abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
            assert area == pytest.approx(shown.geometry.region_areas()[name])


def test_thickness_is_enlarged_by_round_factors():
    assert [drawing.round_factor(wanted) for wanted in (0.0, 0.7, 1.9, 2.0, 4.9, 99.0, 250.0)] == [1, 1, 1, 2, 3, 50, 200]


@pytest.mark.parametrize("force", [1.0, -1.0])
def test_the_arrow_of_a_force_points_its_way(force):
    axes = Figure().add_subplot()
    drawing.draw_force(axes, 1.0, 3.0, 0.5, force, 2.0)
    (arrow,) = axes.texts
    tip, tail = arrow.xy, arrow.xyann
    assert (tip, tail) == (((3.0, 0.5), (1.0, 0.5)) if force > 0 else ((1.0, 0.5), (3.0, 0.5)))
