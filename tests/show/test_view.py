"""The 3D view shows the numbers of the run, states its scales, and fails in words on a bare machine."""

from __future__ import annotations

import ctypes
import os

import matplotlib.image
import numpy as np
import pytest

import fejoint
from fejoint.environment import SYSTEM_LIBRARIES, require_rendering
from fejoint.errors import JointError, SetupError
from fejoint.show import arrows, view


def words(plotter):
    return [actor.GetInput() for name, actor in plotter.actors.items() if name == "title" or name.startswith("note")]


@pytest.fixture
def picture():
    """Make plotters and close them."""
    made = []

    def make(*args, **options):
        made.append(view.stress_view(*args, size=(480, 270), **options))
        return made[-1]

    yield make
    for plotter in made:
        plotter.close()


# ---- the picture ---------------------------------------------------------


def test_picture_states_its_scales_and_colours(folder, section, filleted, picture):
    plotter = picture(folder, "peel")
    title, moved, thickness, cut, everything = words(plotter)
    assert "peel stress yy, global axes" in title
    assert "thickness to the same scale" in thickness
    assert "width 25 mm" in thickness
    largest = np.hypot(*section.displacement.T).max()
    scale = float(moved.split("drawn ")[1].split(" ")[0])
    assert scale * largest == pytest.approx(0.08 * np.ptp(section.points[:, 0]), rel=0.06)  # two digits are stated
    peak = filleted.peak_peel[0].value
    assert f"±{peak:.3g} MPa" in cut
    assert "singular at the corners" in everything
    assert plotter.scalar_bars["peel stress yy, MPa\n"] is not None
    for region in section.regions:
        np.testing.assert_allclose(plotter.actors[region].mapper.scalar_range, (-peak, peak))
    upper = np.unique(section.cells[section.cells_of("upper")])
    drawn = section.points[upper] + scale * section.displacement[upper]
    low, high = drawn.min(axis=0), drawn.max(axis=0)
    np.testing.assert_allclose(plotter.actors["upper"].bounds, [low[0], high[0], low[1], high[1], 0.0, 25.0], atol=0.01)


def test_options_are_drawn_and_stated(folder, section, picture):
    g = section.joint.geometry
    plotter = picture(folder, "von Mises", scale=50.0, stretch=4.0, limit=12.0, adherends="see-through")
    text = " ".join(words(plotter))
    for part in ("drawn 50 times", "thickness drawn 4 times", "cut at 12 MPa, as asked"):
        assert part in text
    assert plotter.actors["lower"].prop.opacity < 1
    low, high = plotter.actors["lower undeformed"].bounds[2:4]
    assert high - low == pytest.approx(4.0 * g.lower.thickness)
    hidden = picture(folder, "shear", adherends="hidden", scale=0.0)
    assert "lower" not in hidden.actors
    assert hidden.actors["adhesive"].bounds[:2] == pytest.approx((-0.4, 12.9))


@pytest.mark.parametrize("end", ["left", "right"])
def test_an_overlap_end_is_shown_alone(folder, section, picture, end):
    plotter = picture(folder, "peel", end=end)
    at = 0.0 if end == "left" else 12.5
    low, high = plotter.actors["adhesive undeformed"].bounds[:2]
    assert low - 1e-9 <= at <= high + 1e-9
    assert high - low < 3.0
    assert "without the rigid motion" in words(plotter)[1]
    assert "a slice of" in words(plotter)[2]


def test_every_region_of_every_family_is_shown(solved, picture):
    for name, result in solved.items():
        plotter = picture(result, "peel")
        for region, number in result.joint.geometry.region_areas().items():
            low, high = np.asarray(plotter.actors[f"{region} undeformed"].bounds).reshape(3, 2).T
            cells = result.section.mesh.subdomains[region]
            nodes = result.section.mesh.p[:, np.unique(result.section.mesh.t[:, cells])]
            np.testing.assert_allclose(low, [*nodes.min(axis=1), 0.0], atol=1e-5, err_msg=f"{name} {region} {number}")
            np.testing.assert_allclose(high, [*nodes.max(axis=1), 25.0], atol=1e-5, err_msg=f"{name} {region} {number}")
        pixels = plotter.screenshot(return_img=True)[..., :3].astype(int)
        assert (np.abs(pixels[..., 0] - pixels[..., 2]) > 30)[90:210].any(), name  # peel, away from the colour bar
        for end in ("left", "right"):
            near = picture(result, "peel", end=end)
            pixels = near.screenshot(return_img=True)[60:200, 60:420, :3].astype(int)
            assert (pixels.min(axis=2) < 245).mean() > 0.1, (name, end)
            assert (np.abs(pixels[..., 0] - pixels[..., 2]) > 30).mean() > 0.005, (name, end)


def test_loads_are_shown_at_the_loaded_end(solved, picture):
    for name, result in solved.items():
        plotter = picture(result, "shear")
        load, pull = result.joint.load, result.joint.geometry.pull
        (loaded,) = result.joint.geometry.loaded
        end = np.multiply(pull, plotter.actors[loaded].bounds[:2]).max()
        arrow = np.multiply(pull, plotter.actors["force"].bounds[:2])
        assert arrow.min() > end, name
        assert ("moment" in plotter.actors) == (load.moment != 0), name
        assert ("shear force" in plotter.actors) == (load.shear_force != 0), name
        # The tip of an arrow is thicker than its tail: more of its points lie in that half.
        points = plotter.actors["force"].mapper.dataset.points
        thick = [np.ptp(points[side, 1]) for side in (points[:, 0] > points[:, 0].mean(), points[:, 0] < points[:, 0].mean())]
        assert np.sign(thick[0] - thick[1]) == pull * np.sign(load.force), name
        if load.shear_force != 0:
            base = plotter.actors["shear force"].mapper.dataset.points[:, 1]
            start = plotter.actors["force"].mapper.dataset.points[:, 1].mean()
            assert np.sign(base.mean() - start) == np.sign(load.shear_force), name
        said = "lower layer's shear has the sign opposite" in " ".join(words(plotter))
        assert said == name.startswith("double"), name


def test_what_acts_is_seen_beside_the_body(joint, picture, monkeypatch):
    # No straight way from an arrow to the eye goes through the body, and words stand clear of it: those at a left end in front.
    cases = [
        ("single-lap", "load.shear_force=-60 N", "joint.width=60 mm"),
        ("single-lap", "load.shear_force=60 N", "joint.upper.thickness=6 mm"),
        ("stepped-lap", "load.shear_force=-20 N", "joint.width=100 mm"),
        ("double-lap", "load.shear_force=-60 N", "joint.width=60 mm"),
        ("double-lap", "load.ends=pinned", "load.moment=2 N*m"),
    ]
    places = []
    monkeypatch.setattr(arrows, "_add_load_label", lambda plotter, place, *rest: places.append(place))
    for kind, *changes in cases:
        places.clear()
        result = fejoint.solve(joint(*changes, "analysis.mesh_density=0.75", "analysis.error_target=0.5", kind=kind))
        plotter = picture(result)
        eye, acts = np.array(arrows.EYE), [name for name in ("force", "moment", "shear force") if name in plotter.actors]
        assert len(acts) == len(places) == 2, changes
        for region in result.joint.geometry.adherends():
            surface = plotter.actors[region].mapper.dataset.extract_surface(algorithm="dataset_surface").triangulate()
            for name in acts:
                for point in plotter.actors[name].mapper.dataset.points[::7]:
                    assert len(surface.ray_trace(point, point + 200 * eye)[0]) == 0, (changes, name)
            for place in places:
                assert len(surface.ray_trace(place - 200 * eye, place + 200 * eye)[0]) == 0, (changes, place)


def test_what_acts_is_written_as_in_the_table(joint, picture, monkeypatch):
    said = []
    monkeypatch.setattr(arrows, "_add_load_label", lambda plotter, place, text, *rest: said.append(text))
    rough = "analysis.mesh_density=0.75", "analysis.error_target=0.5"
    picture(fejoint.solve(joint("load.force=10234 N", "load.ends=pinned", "load.moment=12 N*m", *rough)))
    picture(fejoint.solve(joint("load.force=-100 kN", "load.shear_force=-1020 N", *rough)))
    assert said == ["12000 N mm", "10230 N", "-1020 N", "-100000 N"]  # four digits, no exponent


@pytest.mark.parametrize("pull", [-1, 1])
@pytest.mark.parametrize("sense", [-1, 1])
def test_a_moment_turns_its_way(joint, picture, monkeypatch, pull, sense):
    kind = "single-lap" if pull > 0 else "double-lap"
    shown = joint("load.ends=pinned", f"load.moment={sense} N*m", "analysis.error_target=0.5", kind=kind)
    drawn = []
    monkeypatch.setattr(arrows, "_add_curved_arrow", lambda plotter, path, reach, name: drawn.append(path))
    picture(fejoint.solve(shown))
    (path,) = drawn
    middle = path[len(path) // 2]
    assert pull * (middle[0] - path[[0, -1], 0].mean()) > 0  # bulges away from the joint
    assert np.sign(path[-1, 1] - path[0, 1]) == sense * pull  # up on the right is counter-clockwise


def test_the_picture_is_written_and_not_blank(folder, tmp_path):
    path = view.view_png(folder, tmp_path / "new" / "joint.png", size=(800, 450), stress="shear")
    pixels = matplotlib.image.imread(path)[..., :3]
    assert pixels.shape == (450, 800, 3)
    body = pixels[120:330, 60:740]
    assert body.std() > 0.05
    drawn = np.flatnonzero((body.min(axis=2) < 0.97).any(axis=0))
    assert np.ptp(drawn) > 0.85 * body.shape[1]  # the joint fills the picture
    assert [p.name for p in path.parent.iterdir()] == ["joint.png"]


# ---- what can be wrong ---------------------------------------------------


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"stress": "hoop"}, "stress"),
        ({"end": "top"}, "end"),
        ({"adherends": "glass"}, "adherends"),
        ({"scale": -1.0}, "scale"),
        ({"stretch": 0.0}, "stretch"),
        ({"limit": float("nan")}, "limit"),
    ],
)
def test_options_are_refused_by_name(folder, options, says):
    with pytest.raises(JointError, match=f"^{says} = "):
        view.stress_view(folder, **options)


def test_without_a_library_to_render_with(folder, tmp_path, monkeypatch):
    def refuse(name, *rest, **options):
        raise OSError(f"{name}: cannot open shared object file")

    monkeypatch.setattr(ctypes, "CDLL", refuse)
    with pytest.raises(SetupError, match=r"libEGL\.so\.1 or libOSMesa\.so\.8") as fault:
        view.view_png(folder, tmp_path / "joint.png")
    assert SYSTEM_LIBRARIES in str(fault.value)
    assert list(tmp_path.iterdir()) == []


def test_rendering_takes_what_there_is(monkeypatch):
    def only(present):
        def load(name, *rest, **options):
            if name not in present:
                raise OSError(name)

        monkeypatch.setattr(ctypes, "CDLL", load)

    monkeypatch.setenv("VTK_DEFAULT_OPENGL_WINDOW", "vtkXOpenGLRenderWindow")
    only({"libOSMesa.so.8"})
    require_rendering()
    assert os.environ["VTK_DEFAULT_OPENGL_WINDOW"] == "vtkOSOpenGLRenderWindow"
    only({"libEGL.so.1"})
    require_rendering()
    assert os.environ["VTK_DEFAULT_OPENGL_WINDOW"] == "vtkEGLRenderWindow"


@pytest.mark.parametrize("display", [None, ":98"])
def test_a_window_without_a_display_is_refused_in_one_sentence(folder, monkeypatch, display):
    # vtk itself ends the process on a display that does not answer.
    monkeypatch.delenv("DISPLAY", raising=False)
    if display is not None:
        monkeypatch.setenv("DISPLAY", display)
    with pytest.raises(SetupError, match="--png"):
        view.open_window(folder)


def test_a_window_on_no_run_is_refused_before_the_display_is_asked_for(tmp_path, monkeypatch):
    monkeypatch.setattr(view, "require_rendering", lambda **options: pytest.fail("the display was asked for"))
    for source in (tmp_path / "nowhere", tmp_path):
        with pytest.raises(JointError, match=r"; give a folder that fejoint solve --out wrote\.$"):
            view.open_window(source)


def test_pictures_are_png(folder, tmp_path):
    with pytest.raises(SetupError, match=r"\.png"):
        view.view_png(folder, tmp_path / "joint.jpg")
