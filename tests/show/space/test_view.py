"""The 3D view shows the numbers of the run, states its scales, and fails in words on a bare machine."""

from __future__ import annotations

import ctypes
import os
import re

import matplotlib.image
import numpy as np
import pytest

import fejoint
from fejoint.cli import run
from fejoint.environment import SYSTEM_LIBRARIES, require_rendering
from fejoint.errors import JointError, SetupError
from fejoint.show.shape import end_faces, end_window
from fejoint.show.space import arrows, camera, view
from fejoint.show.space.frame import fit_stretch
from fejoint.show.space.labels import text_extent
from fejoint.units import display


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


def test_all_that_is_written_is_in_the_units_asked_for(solved, picture):
    # 1 in = 25.4 mm, 1 psi = 6894.757 Pa, 1 lbf = 4.4482216 N.
    result, options = solved["double pinned"], {"points": ["1,0"], "ribbon": "both", "apart": 0.3}
    plain, other = picture(result, **options), picture(result, units="inch", **options)
    texts = [actor.GetInput() for actor in other.actors.values() if hasattr(actor, "GetInput") and actor.IsA("vtkTextActor")]
    texts += [actor.GetTitle() for actor in other.scalar_bars.values()]
    assert sum("psi" in text for text in texts) > 5
    assert any(text.endswith("lbf in") for text in texts)
    assert not any(re.search(r"\b(MPa|mm|N)\b", text) for text in texts)
    for region in ("inner", "adhesive"):
        ends = [p.actors[region].mapper.scalar_range for p in (plain, other)]
        values = [p.actors[region].mapper.dataset.point_data["stress_yy_MPa"] for p in (plain, other)]
        for one, same in (ends, values):
            np.testing.assert_allclose(one, np.multiply(same, 6.894757e-3), rtol=1e-6)
    force = float(other.actors["force label"].GetInput().split()[0])
    assert force == pytest.approx(result.joint.load.force / 4.4482216, rel=5e-4)  # four digits


def test_what_adhesive_alone_is_coloured_is_told_of_it_alone(section, picture):
    # Where the adherends have no colours, their stresses are none of the values that are shown.
    nodes = np.unique(section.cells[section.cells_of("adhesive")])
    for adherends in ("see-through", "hidden"):
        *_, cut, everything = words(picture(section, "axial", adherends=adherends))
        low, high = section.stress["axial"][nodes].min(), section.stress["axial"][nodes].max()
        assert "largest on the layer's mid-line" in cut
        assert everything.startswith(f"all values here: {low:.3g} to {high:.3g} MPa")


@pytest.mark.parametrize("end", ["left", "right"])
def test_an_overlap_end_is_shown_alone(folder, section, picture, end):
    plotter = picture(folder, "peel", end=end)
    at = 0.0 if end == "left" else 12.5
    low, high = plotter.actors["adhesive undeformed"].bounds[:2]
    assert low - 1e-9 <= at <= high + 1e-9
    # As high as without a stretch, and by that factor longer: the adherend that goes on fills the window's length.
    (x0, x1), (y0, y1) = end_window(section.joint.geometry, end, 0.7)
    low, high = np.reshape(plotter.actors["lower undeformed" if end == "left" else "upper undeformed"].bounds, (3, 2)).T
    assert (low[0], high[0]) == pytest.approx((at - 1.5 * (x1 - x0), at + 1.5 * (x1 - x0)), abs=1e-4)
    assert (low[1], high[1]) == pytest.approx((3.0 * y0, -0.3) if end == "left" else (0.3, 3.0 * y1), abs=1e-4)
    assert "end of the overlap" in words(plotter)[0]
    assert "thickness drawn 3 times as large" in words(plotter)[2]
    assert "without the rigid motion" in words(plotter)[1]
    assert "a slice of" in words(plotter)[2]


def test_pieces_are_drawn_apart(solved, picture):
    # Piece by piece from below, by a gap of so many thicknesses; the drawing's place is the deformed one otherwise.
    order = {
        "single": ["lower", "adhesive", "upper"],
        "double": ["lower_outer", None, "inner", None, "upper_outer"],
        "stepped": ["lower", "adhesive", "upper"],
    }
    for name, pieces in order.items():
        depth = solved[name].joint.geometry.depth
        whole, moved = (picture(solved[name], scale=0.0, stretch=2.0, apart=apart) for apart in (0.0, 0.5))
        assert f"pieces moved {0.5 * depth:.3g} mm apart across the thickness" in words(moved)[3]
        for level, piece in enumerate(pieces):
            for kind in ("", " deformed", " undeformed"):
                if piece is not None:
                    there, here = (p.actors[piece + kind].mapper.dataset.points for p in (whole, moved))
                    lift = (level - (len(pieces) - 1) / 2) * 0.5 * depth * 2.0
                    np.testing.assert_allclose(here, np.add(there, [0.0, lift, 0.0]), atol=1e-4, err_msg=f"{name} {piece}{kind}")
        if name == "double":  # the two layers are one region and two pieces
            there, here = (p.actors["adhesive"].mapper.dataset.points for p in (whole, moved))
            np.testing.assert_allclose(here[:, 1] - there[:, 1], np.sign(there[:, 1]) * 0.5 * depth * 2.0, atol=1e-4)
        # The arrow goes with the adherend that it pulls.
        (loaded,) = solved[name].joint.geometry.loaded
        lift = np.subtract(*(np.mean(p.actors[loaded].bounds[2:4]) for p in (moved, whole)))
        arrow = np.subtract(*(np.mean(p.actors["force"].bounds[2:4]) for p in (moved, whole)))
        assert arrow == pytest.approx(lift, abs=1e-3), name


def test_regions_are_hidden(filleted, picture):
    plotter = picture(filleted, hide=["upper"])
    assert "upper" not in plotter.actors
    assert "upper undeformed" not in plotter.actors
    assert {"lower", "adhesive"} <= set(plotter.actors)
    assert "force" not in plotter.actors  # it acts on the adherend that is hidden, and the picture says so
    assert "hidden: upper, with the load on it" in words(plotter)[3]
    plotter = picture(filleted, hide="lower,adhesive", stress="axial")
    assert "force" in plotter.actors
    assert words(plotter)[3] == "hidden: lower, adhesive"
    assert plotter.scalar_bars["axial stress xx, MPa\n"] is not None


def test_a_stretch_that_fits_is_a_round_number_and_stated(solved, picture):
    for name, result in solved.items():
        g = result.joint.geometry
        for end in (None, "left", "right"):
            factor = fit_stretch(g, end)
            assert factor in (1.0, 2.0, 3.0, 5.0, 10.0, 20.0), name
            assert factor <= 3.0 or end is None, name
        x = [face.x for face in end_faces(g).values()]
        assert 0.05 < fit_stretch(g, None) * g.depth / (max(x) - min(x)) < 0.25, name
    assert (
        f"drawn {fit_stretch(solved['single'].joint.geometry, None):g} times"
        in words(picture(solved["single"], stretch="fit"))[2]
    )
    assert "to the same scale" in words(picture(solved["single"], end="left", stretch=1.0))[2]


ALL = {"ribbon": "both", "points": ["0,0", "0.5,0", "1,0.5", "0.4,-0.6"], "apart": 0.4}
LOOKS = [
    ("single", (900, 700), {**ALL}),
    ("single", (640, 400), {**ALL, "end": "left"}),
    ("double pinned", (900, 700), {"ribbon": "both", "stretch": "fit"}),
    ("double unlike", (1600, 900), {"ribbon": "both", "end": "right", "adherends": "see-through"}),
    ("stepped unequal", (700, 900), {"ribbon": "both", "hide": "upper", "apart": 1.0}),
    ("single", (900, 500), {"points": [(0.3 * i, 0.0) for i in range(12)], "stress": "shear"}),
]


@pytest.mark.parametrize(("name", "size", "options"), LOOKS)
def test_nothing_is_cut_and_no_text_is_on_another(solved, name, size, options):
    plotter = view.stress_view(solved[name], size=size, **options)
    try:
        plotter.render()
        renderer, boxes = plotter.renderer, {}
        for key, actor in plotter.actors.items():
            if hasattr(actor, "GetInput") and hasattr(actor, "GetBoundingBox"):  # a text: as vtk lays it out
                box = [0.0] * 4
                actor.GetBoundingBox(renderer, box)
                x, y = actor.GetPositionCoordinate().GetComputedViewportValue(renderer)
                boxes[key] = box = [x + box[0], x + box[1], y + box[2], y + box[3]]
                assert box[0] >= -1, key
                assert box[1] <= size[0], key
                assert box[2] >= -1, key
                assert box[3] <= size[1], key
        # Points go through vtk's own projection, not that of the code under test.
        matrix = plotter.camera.GetCompositeProjectionTransformMatrix(size[0] / size[1], -1, 1)
        matrix = np.array([[matrix.GetElement(i, j) for j in range(4)] for i in range(4)])
        floor = min(box[2] for key, box in boxes.items() if key == "title" or key.startswith("note"))
        points = camera.drawn_points(plotter)
        seen = (np.column_stack([points, np.ones(len(points))]) @ matrix.T)[:, :2] * np.array(size) / 2 + np.array(size) / 2
        assert seen[:, 0].min() > 0
        assert seen[:, 0].max() < size[0]
        assert seen[:, 1].min() > 0.13 * size[1]  # above the colour bar
        assert seen[:, 1].max() < floor
        assert max(np.ptp(seen[:, 0]) / size[0], np.ptp(seen[:, 1]) / size[1]) > 0.3  # nor does it become small
        keys = sorted(boxes)
        for i, one in enumerate(keys):
            for other in keys[:i]:
                (a, b, c, d), (e, f, g, h) = boxes[one], boxes[other]
                assert max(e - b, a - f, g - d, c - h) > -1, (one, other)
    finally:
        plotter.close()


def test_places_are_labelled_where_they_are_drawn(filleted, picture):
    section = view.read_section(filleted)
    plotter = picture(section, "shear", points=[(3.0, 0.0), "5 mm, 1 mm"], scale=40.0, stretch=2.0, apart=0.5)
    for i, (x, y, region) in enumerate([(3.0, 0.0, "adhesive"), (5.0, 1.0, "upper")], start=1):
        (spot,) = view.spots(section, [(x, y)], "shear")
        assert plotter.actors[f"point {i}"].GetInput().replace("\n", " ") == str(spot)
        assert f"({region})" in str(spot)
        lift = (0.5 * section.joint.geometry.depth) * (region == "upper")
        moved = [x + 40.0 * spot.displacement[0], 2.0 * (y + 40.0 * spot.displacement[1] + lift)]
        np.testing.assert_allclose(plotter.actors[f"point {i} mark"].mapper.dataset.points[0, :2], moved, atol=1e-4)


def test_a_place_at_a_corner_is_labelled_as_one(section, picture):
    plotter = picture(section, "peel", points=[(0.0, 0.1), (0.0, -0.1)])
    corner, beside = (plotter.actors[f"point {i}"].GetInput().split("\n") for i in (1, 2))
    assert corner[0].endswith(" MPa (singular corner)")
    assert beside[0].endswith(" MPa")
    assert len(corner) == len(beside) == 2


def test_any_title_is_shown_on_one_line_as_it_stands(filleted, picture):
    joint = filleted.joint
    for text in ("<script>alert(1)</script>", "costs $5 and $\\frac{", "many\nlines\tand  gaps", "x" * 10_000, "ab " * 3000):
        section = type(view.read_section(filleted))(
            **{**vars(view.read_section(filleted)), "joint": joint.model_copy(update={"title": text})}
        )
        plotter = picture(section)
        (title, *_) = words(plotter)
        assert "\n" not in title
        assert title.endswith(": peel stress yy, global axes")
        box = [0.0] * 4
        plotter.render()
        plotter.actors["title"].GetBoundingBox(plotter.renderer, box)
        assert box[1] < 480


def test_a_dollar_begins_no_formula():
    # As a formula the words between two of them would lose their blanks; an S is about as wide as a dollar sign.
    plain, dollars = (text_extent(f"costs {c}5 or as much as {c}6", 24)[0] for c in "S$")
    assert dollars == pytest.approx(plain, rel=0.1)


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
        for key, value, unit in (
            ("force", load.force, "N"),
            ("shear force", load.shear_force, "N"),
            ("moment", load.moment, "N*mm"),
        ):
            if value != 0:
                assert plotter.actors[f"{key} label"].GetInput() == display(value, unit).replace("*", " "), name
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
    put = arrows._load_label
    monkeypatch.setattr(arrows, "_load_label", lambda place, *rest: (places.append(place), put(place, *rest))[1])
    for kind, *changes in cases:
        places.clear()
        result = fejoint.solve(joint(*changes, "analysis.mesh_density=0.75", "analysis.error_target=0.5", kind=kind))
        plotter = picture(result)
        eye, acts = np.array(camera.EYE), [name for name in ("force", "moment", "shear force") if name in plotter.actors]
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
    put = arrows._load_label
    monkeypatch.setattr(arrows, "_load_label", lambda place, text, *rest: (said.append(text), put(place, text, *rest))[1])
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
        ({"stretch": "glass"}, "stretch"),
        ({"apart": -0.1}, "apart"),
        ({"hide": ["lower", "wing"]}, "hide"),
        ({"hide": "lower, upper, adhesive"}, "hide"),
        ({"hide": "adhesive", "adherends": "see-through"}, "hide"),
        ({"ribbon": "axial"}, "ribbon"),
        ({"units": "feet"}, "units"),
        ({"points": ["1"]}, "point"),
        ({"points": [(100.0, 0.0)]}, "point"),
        ({"points": [(0.0, 1.0)], "hide": "upper"}, "point"),
        ({"points": [(10.0, 0.0)], "end": "left"}, "point"),
        ({"points": [(1.0, 0.0)] * 13}, "point"),
    ],
)
def test_options_are_refused_by_name(folder, options, says):
    with pytest.raises(JointError, match=f"^{says}( = .*|: 13.*)[a-z .]+$"):
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


# ---- the command ---------------------------------------------------------


def test_the_command_prints_what_it_labels(folder, section, tmp_path, capsys):
    spots = [str(spot) for spot in view.spots(section, [(0.5, -0.3), (-1.0, -0.5)], "axial")]
    arguments = ["view", str(folder), "--stress", "axial", "--point", "0.5,-0.3", "--point", "-1 mm, -0.05 cm"]
    assert run(arguments) == 0  # no window and no renderer for that
    assert capsys.readouterr().out.splitlines() == spots
    options = ["--end", "left", "--scale", "3", "--stretch", "2.5", "--apart", "0.2", "--hide", "upper", "--adherends", "solid"]
    assert run([*arguments, *options, "--ribbon", "both", "--limit", "7", "--png", str(tmp_path / "a.png")]) == 0
    assert capsys.readouterr().out.splitlines() == [*spots, f"Written: {tmp_path / 'a.png'}"]
    assert matplotlib.image.imread(tmp_path / "a.png").shape[:2] == (900, 1600)


def test_the_command_says_what_depends_on_the_mesh(folder, section, capsys):
    end = section.joint.geometry.length
    assert run(["view", str(folder), "--point", f"{end},-0.1", "--point", "3,0"]) == 0
    corner, within = capsys.readouterr().out.splitlines()
    assert corner.endswith(" mm (adhesive, beside lower), near a corner, where the stress is singular: depends on the mesh")
    assert "singular" not in within


def test_the_command_speaks_in_the_units_asked_for(folder, section, capsys):
    assert run(["view", str(folder), "--point", "2.54,0.508", "--units", "inch"]) == 0
    (spot,) = view.spots(section, [(2.54, 0.508)], "peel")
    assert capsys.readouterr().out.strip() == " ".join(spot.lines("inch"))
    assert run(["view", str(folder), "--point", "0,0", "--units", "feet"]) == 2
    assert capsys.readouterr().err == "fejoint: --units feet: must be one of mm, SI, inch.\n"


@pytest.mark.parametrize(
    "option",
    [
        "--end left",
        "--scale 0",
        "--stretch fit",
        "--apart 0.5",
        "--hide upper",
        "--adherends hidden",
        "--ribbon peel",
        "--limit 3",
    ],
)
def test_what_goes_with_a_picture_is_not_ignored_without_one(folder, capsys, option):
    name, value = option.split()
    assert run(["view", str(folder), "--point", "0,0", name, value]) == 2
    out, said = capsys.readouterr()
    assert (out, said) == ("", f"fejoint: {name} only goes with a picture; give --png, or leave --point out.\n")


@pytest.mark.parametrize(
    ("option", "value", "known"),
    [
        ("--stress", "hoop", "von-mises"),
        ("--end", "top", "left, right"),
        ("--adherends", "glass", "see-through"),
        ("--ribbon", "axial", "shear, peel, both"),
        ("--hide", "wing", "lower, upper, adhesive"),
        ("--stretch", "wide", "a positive number up to 10000, or fit"),
        ("--apart", "-1", "0 or a positive number"),
        ("--scale", "nan", "0 or a positive number"),
        ("--limit", "0", "a positive number"),
        ("--scale", "1e+30", "0 or a positive number up to 1e+09"),
        ("--point", "1;2", "two lengths"),
    ],
)
def test_the_command_refuses_in_one_sentence(folder, tmp_path, capsys, option, value, known):
    assert run(["view", str(folder), "--png", str(tmp_path / "a.png"), option, value]) == 2
    out, said = capsys.readouterr()
    assert out == ""
    assert said.count("\n") == 1
    assert said.startswith(f"fejoint: {option[2:]} = ")
    assert value in said
    assert known in said
    assert list(tmp_path.iterdir()) == []
