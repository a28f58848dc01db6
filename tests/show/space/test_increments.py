"""The 3D view along a load's path: which increment is shown, the slider, the moving picture."""

import numpy as np
import pytest

from fejoint.cli import run
from fejoint.errors import JointError, SetupError
from fejoint.show.space import increments
from fejoint.show.space.solid import STRESSES, read_section
from fejoint.show.space.view import picture, stress_view

SMALL = (480, 300)


def points(made):
    """Where the points of the upper adherend are drawn."""
    mapper = made.plotter.actors["upper"].mapper
    mapper.Update()
    return np.array(mapper.dataset.points)


def test_the_section_at_an_increment_is_that_of_its_result(sill, sill_folder):
    for source in (sill, sill_folder):
        section = increments.section_at(source, 9)
        assert section.joint.load.force == pytest.approx(sill.path[8].joint.load.force, rel=1e-12)
        np.testing.assert_allclose(section.stress["peel"], read_section(sill.path[8]).stress["peel"], rtol=1e-12, atol=1e-12)
        assert section.increment["number"] == 9
    assert len(increments.along(sill_folder).rows) == len(sill.path)


def test_what_is_not_there_is_one_sentence(sill, sill_folder, filleted, folder, tmp_path, capsys):
    with pytest.raises(JointError, match=f"step = 99: must be the number of an increment, 1 to {len(sill.path)}"):
        increments.section_at(sill, 99)
    with pytest.raises(JointError, match="step = 1: this run has no load path"):
        increments.section_at(folder, 1)
    with pytest.raises(JointError, match="nothing may yield in this analysis; show one of shear, peel"):
        stress_view(filleted, "plastic strain")
    with pytest.raises(JointError, match="leaves nothing to colour"):
        stress_view(sill, "plastic strain", hide="adhesive")
    with pytest.raises(JointError, match="animate: this run has no load path"):
        increments.animate_gif(folder, tmp_path / "a.gif")
    with pytest.raises(SetupError, match=r"a\.mov: a moving picture is written as \.gif"):
        increments.animate_gif(sill, tmp_path / "a.mov")
    assert run(["view", str(sill_folder), "--animate", "a.gif", "--step", "3"]) == 2
    assert "leave --png, --step and --point out" in capsys.readouterr().err
    assert run(["draw", str(sill_folder), "--what", "mesh", "--step", "3"]) == 2
    assert "--step 3: only goes with --what bondline or plastic-zone" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_the_plastic_strain_has_colours_where_something_may_yield(sill):
    plotter = stress_view(sill, "plastic-strain", end="left", size=SMALL)
    try:
        array = STRESSES["plastic-strain"].array
        body = plotter.actors["adhesive"].mapper
        assert body.scalar_visibility
        assert body.dataset.point_data[array].max() > 0
        assert not plotter.actors["lower"].mapper.scalar_visibility  # it may not
        (note,) = [actor.GetInput() for name, actor in plotter.actors.items() if name == "note 0"]
        assert note == f"increment {len(sill.path)}, pull: 1100 N, -20 K"
        title = plotter.actors["title"].GetInput()
        assert title.endswith("equivalent plastic strain, left end of the overlap")
        assert "global axes" not in title  # it has none
    finally:
        plotter.close()


def test_a_slider_draws_another_increment_in_place_of_the_last(sill, sill_folder):
    made = picture(sill, "peel", size=SMALL)
    try:
        go = increments.add_slider(made, sill_folder)
        last = points(made)
        cut = made.plotter.actors["upper"].mapper.scalar_range
        go(8)
        moved = points(made)
        other = picture(sill.path[7], "peel", size=SMALL, scale=made.frame.scale, limit=made.cut)
        np.testing.assert_allclose(moved, points(other), atol=1e-9)
        other.plotter.close()
        assert np.abs(moved - last).max() > 1e-3
        assert made.plotter.actors["upper"].mapper.scalar_range == cut  # one scale for all
        (slider,) = made.plotter.widgets.slider_widgets
        assert slider.GetRepresentation().GetTitleText().startswith("8, pull: ")
        assert made.plotter.actors["note 0"].GetInput().startswith("increment 8, pull: ")
        assert made.plotter.actors["force label"].GetInput() == f"{sill.path[7].joint.load.force:.4g} N"
        go(2)
        assert "force" not in made.plotter.actors  # nothing pulls yet
        go(len(sill.path))
        np.testing.assert_allclose(points(made), last, atol=1e-9)
    finally:
        made.plotter.close()


def test_there_is_no_slider_without_a_path_or_over_ribbons(sill, filleted):
    for source, options in ((filleted, {}), (sill, {"ribbon": "peel"})):
        made = picture(source, "peel", size=SMALL, **options)
        try:
            assert increments.add_slider(made, source) is None
            assert not made.plotter.widgets.slider_widgets
        finally:
            made.plotter.close()


def test_a_moving_picture_has_a_frame_an_increment_and_one_eye(sill, tmp_path, monkeypatch):
    from PIL import Image

    monkeypatch.setattr(increments, "MOST_FRAMES", 4)
    path = increments.animate_gif(sill, tmp_path / "along.gif", size=SMALL, stress="plastic-strain", end="left")
    with Image.open(path) as moving:
        assert moving.n_frames == 4
        assert moving.size == SMALL
        frames = []
        for k in range(4):
            moving.seek(k)
            frames.append(np.asarray(moving.convert("RGB"), dtype=int))
        assert moving.info["duration"] == 1500  # the last one stands
    bar = slice(250, 292), slice(120, 360)
    for frame in frames[1:]:
        assert (frame != frames[0]).any()
        np.testing.assert_array_equal(frame[bar], frames[0][bar])  # the same colours, to the same end
