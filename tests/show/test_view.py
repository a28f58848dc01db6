"""The 3D view shows the numbers of the run, states its scales, and fails in words on a bare machine."""

from __future__ import annotations

import ctypes
import json
import os
import shutil

import matplotlib.image
import numpy as np
import pytest

import fejoint
from fejoint.environment import SYSTEM_LIBRARIES, require_rendering
from fejoint.errors import EnvironmentFault, JointError
from fejoint.joint.file import joint_from_text, joint_to_toml, template
from fejoint.show import view
from fejoint.show.files import write_run


@pytest.fixture(scope="module")
def result():
    changes = ["adhesive.elastic_modulus=2GPa", "joint.spew=fillet", "joint.upper.thickness=2.5 mm"]
    return fejoint.solve(joint_from_text(template("single-lap"), changes))


@pytest.fixture(scope="module")
def folder(result, tmp_path_factory):
    path = tmp_path_factory.mktemp("view") / "run"
    write_run(result, path, joint_to_toml(result.joint))
    return path


@pytest.fixture(scope="module")
def section(folder):
    return view.read_section(folder)


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


# ---- the solid -----------------------------------------------------------


def test_folder_and_result_give_the_same_section(result, section):
    direct = view.read_section(result)
    np.testing.assert_array_equal(direct.cells, section.cells)
    np.testing.assert_allclose(direct.points, section.points, atol=1e-12)
    for name in view.STRESSES:
        np.testing.assert_allclose(direct.stress[name], section.stress[name], rtol=1e-12, atol=1e-9)
    assert direct.regions == section.regions
    assert direct.joint["joint"]["width"] == section.joint["joint"]["width"] == 25.0


@pytest.mark.parametrize(("pieces", "layers"), [(2, 3), (4, 1)])
def test_extrusion_has_the_size_cells_and_values_of_the_section(section, pieces, layers):
    solid = view.extruded(section, 25.0, pieces=pieces, layers=layers)
    cells, nodes = len(section.cells), len(section.points)
    assert solid.n_cells == cells * pieces**2 * layers
    if pieces == 2:
        assert solid.n_points == nodes * (layers + 1)
    low, high = section.points.min(axis=0), section.points.max(axis=0)
    np.testing.assert_allclose(solid.bounds, [low[0], high[0], low[1], high[1], 0.0, 25.0], atol=1e-12)
    if pieces == 2:
        for name, (array, *_) in view.STRESSES.items():
            values = solid.point_data[array]
            assert (values.min(), values.max()) == (section.stress[name].min(), section.stress[name].max())
    volume = solid.compute_cell_sizes(length=False, area=False).cell_data["Volume"]
    assert volume.min() > 0
    for name, number in section.regions.items():
        of_region = volume[solid.cell_data["region"] == number].sum()
        assert of_region == pytest.approx(25.0 * joint_areas(section)[name])


def joint_areas(section):
    g = section.joint["joint"]
    length, ta = g["overlap_length"], g["bondline_thickness"]
    leg = 2 * ta  # a fillet as high as the bondline is thick
    return {
        "lower": g["lower"]["thickness"] * (g["lower"]["free_length"] + length),
        "upper": g["upper"]["thickness"] * (g["upper"]["free_length"] + length),
        "adhesive": length * ta + leg**2,
    }


def test_pieces_between_nodes_follow_the_shape_functions(section):
    # A stress that is quadratic in x must come out so at the points between the nodes too.
    quadratic = view.SolvedSection(**{**vars(section), "stress": dict.fromkeys(view.STRESSES, section.points[:, 0] ** 2)})
    solid = view.extruded(quadratic, 1.0, section.cells_of("lower"), pieces=4)
    np.testing.assert_allclose(solid.point_data["stress_yy_MPa"], solid.points[:, 0] ** 2, rtol=1e-9, atol=1e-9)


def test_points_are_shared_inside_a_region_and_not_between_regions(section):
    solid = view.extruded(section, 1.0, pieces=4, layers=1)
    faces = solid.extract_cells(np.asarray(solid.cell_data["region"]) == section.regions["lower"]).extract_surface(
        algorithm="dataset_surface"
    )
    area = joint_areas(section)["lower"]
    thickness = section.joint["joint"]["lower"]["thickness"]
    outside = 2 * area + 2 * (thickness + area / thickness)
    assert faces.area == pytest.approx(outside)  # faces inside would add to it


# ---- the picture ---------------------------------------------------------


def test_picture_states_its_scales_and_colours(folder, section, result, picture):
    plotter = picture(folder, "peel")
    title, moved, thickness, cut, everything = words(plotter)
    assert "peel stress yy, global axes" in title
    assert "thickness to the same scale" in thickness
    assert "width 25 mm" in thickness
    largest = np.hypot(*section.displacement.T).max()
    scale = float(moved.split("drawn ")[1].split(" ")[0])
    assert scale * largest == pytest.approx(0.08 * np.ptp(section.points[:, 0]), rel=0.06)  # two digits are stated
    nodes = section.mid_line()
    peak = np.abs(section.stress["peel"][nodes]).max()
    assert peak == pytest.approx(result.peak_peel[0].value, rel=0.01)
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
    g = section.joint["joint"]
    plotter = picture(folder, "von Mises", scale=50.0, stretch=4.0, limit=12.0, adherends="see-through")
    text = " ".join(words(plotter))
    for part in ("drawn 50 times", "thickness drawn 4 times", "cut at 12 MPa, as asked"):
        assert part in text
    assert plotter.actors["lower"].prop.opacity < 1
    low, high = plotter.actors["lower undeformed"].bounds[2:4]
    assert high - low == pytest.approx(4.0 * g["lower"]["thickness"])
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


def test_the_picture_is_written_and_not_blank(folder, tmp_path):
    path = view.view_png(folder, tmp_path / "new" / "joint.png", size=(800, 450), stress="shear")
    pixels = matplotlib.image.imread(path)[..., :3]
    assert pixels.shape == (450, 800, 3)
    body = pixels[120:330, 60:740]
    assert body.std() > 0.05
    drawn = np.flatnonzero((body.min(axis=2) < 0.97).any(axis=0))
    assert np.ptp(drawn) > 0.85 * body.shape[1]  # the joint fills the picture
    assert [p.name for p in path.parent.iterdir()] == ["joint.png"]


def test_colours_step_evenly_and_have_a_light_middle():
    signed, plain = view._diverging(), view._sequential()
    luminance = [0.2126, 0.7152, 0.0722]
    assert (np.diff(plain @ luminance) >= -0.5).all()
    middle = signed[len(signed) // 2]
    assert np.ptp(middle) <= 1
    assert middle.min() > 220
    light = signed @ luminance
    np.testing.assert_allclose(light, light[::-1], atol=30)


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


def test_folders_that_hold_no_run(folder, tmp_path):
    with pytest.raises(EnvironmentFault, match="no section"):
        view.read_section(tmp_path / "nowhere")
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    (copy / "section.vtu").write_bytes((folder / "section.vtu").read_bytes()[:1000])
    with pytest.raises(EnvironmentFault, match="cannot be used"):
        view.read_section(copy)
    (copy / "summary.json").write_text("{", encoding="utf-8")
    with pytest.raises(EnvironmentFault, match="damaged"):
        view.read_section(copy)
    shutil.copy(folder / "section.vtu", copy)
    (copy / "summary.json").write_text(json.dumps({"joint": {}}), encoding="utf-8")
    with pytest.raises(EnvironmentFault, match="cannot be used"):
        view.read_section(copy)


def test_without_a_library_to_render_with(folder, tmp_path, monkeypatch):
    def refuse(name, *rest, **options):
        raise OSError(f"{name}: cannot open shared object file")

    monkeypatch.setattr(ctypes, "CDLL", refuse)
    with pytest.raises(EnvironmentFault, match=r"libEGL\.so\.1 or libOSMesa\.so\.8") as fault:
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
    with pytest.raises(EnvironmentFault, match="--png"):
        view.show(folder)


def test_pictures_are_png(folder, tmp_path):
    with pytest.raises(EnvironmentFault, match=r"\.png"):
        view.view_png(folder, tmp_path / "joint.jpg")
