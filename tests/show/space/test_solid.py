"""The solid has the size, the cells and the values of the section, and a folder that holds no run is refused."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest

from fejoint.errors import JointError, SetupError
from fejoint.joint.file import joint_to_toml
from fejoint.show.files import write_run
from fejoint.show.shape import outlines
from fejoint.show.space import solid
from fejoint.show.space.frame import framed


def test_folder_and_result_give_the_same_section(filleted, section):
    direct = solid.read_section(filleted)
    np.testing.assert_array_equal(direct.cells, section.cells)
    np.testing.assert_allclose(direct.points, section.points, atol=1e-12)
    assert list(section.stress) == [name for name, stress in solid.STRESSES.items() if stress.unit]  # nothing may yield
    for name in section.stress:
        np.testing.assert_allclose(direct.stress[name], section.stress[name], rtol=1e-12, atol=1e-9)
    assert direct.regions == section.regions
    assert direct.joint == section.joint == filleted.joint


def test_a_folder_of_any_family_is_all_that_is_needed(solved, tmp_path):
    for name in ("double unlike", "stepped unequal"):
        result = solved[name]
        write_run(result, tmp_path / name, joint_to_toml(result.joint))
        read = solid.read_section(tmp_path / name)
        assert read.joint == result.joint, name
        np.testing.assert_allclose(read.points, solid.read_section(result).points, atol=1e-12)
        assert set(read.regions) == set(result.joint.geometry.region_areas())


@pytest.mark.parametrize(("pieces", "layers"), [(2, 3), (4, 1)])
def test_extrusion_has_the_size_cells_and_values_of_the_section(section, areas, pieces, layers):
    body = solid.extruded(section, 25.0, pieces=pieces, layers=layers)
    cells, nodes = len(section.cells), len(section.points)
    assert body.n_cells == cells * pieces**2 * layers
    if pieces == 2:
        assert body.n_points == nodes * (layers + 1)
    low, high = section.points.min(axis=0), section.points.max(axis=0)
    np.testing.assert_allclose(body.bounds, [low[0], high[0], low[1], high[1], 0.0, 25.0], atol=1e-12)
    if pieces == 2:
        for name, of_nodes in section.stress.items():
            values = body.point_data[solid.STRESSES[name].array]
            assert (values.min(), values.max()) == (of_nodes.min(), of_nodes.max())
    volume = body.compute_cell_sizes(length=False, area=False).cell_data["Volume"]
    assert volume.min() > 0
    for name, number in section.regions.items():
        of_region = volume[body.cell_data["region"] == number].sum()
        assert of_region == pytest.approx(25.0 * areas[name])


def test_pieces_between_nodes_follow_the_shape_functions(section):
    # A stress that is quadratic in x must come out so at the points between the nodes too.
    quadratic = solid.SolvedSection(**{**vars(section), "stress": dict.fromkeys(solid.STRESSES, section.points[:, 0] ** 2)})
    body = solid.extruded(quadratic, 1.0, section.cells_of("lower"), pieces=4)
    np.testing.assert_allclose(body.point_data["stress_yy_MPa"], body.points[:, 0] ** 2, rtol=1e-9, atol=1e-9)


def test_points_are_shared_inside_a_region_and_not_between_regions(section, areas):
    body = solid.extruded(section, 1.0, pieces=4, layers=1)
    faces = body.extract_cells(np.asarray(body.cell_data["region"]) == section.regions["lower"]).extract_surface(
        algorithm="dataset_surface"
    )
    area = areas["lower"]
    thickness = section.joint.geometry.lower.thickness
    outside = 2 * area + 2 * (thickness + area / thickness)
    assert faces.area == pytest.approx(outside)  # faces inside would add to it


def test_the_outline_is_the_edges_of_the_body(section):
    g = section.joint.geometry
    edges = solid.outline(section, 25.0, section.cells_of("lower"), pieces=4)
    around = 2 * (g.lower.thickness + g.lower.free_length + g.overlap_length)
    assert edges.compute_cell_sizes(area=False, volume=False).cell_data["Length"].sum() == pytest.approx(2 * around + 4 * 25.0)
    assert set(edges.points[:, 2]) == {0.0, 25.0}


def test_the_outline_moves_by_the_shape_functions(section):
    quadratic = solid.SolvedSection(**{**vars(section), "displacement": section.points**2})
    edges = solid.outline(quadratic, 25.0, section.cells_of("adhesive"), pieces=4)
    np.testing.assert_allclose(edges.point_data["displacement"][:, :2], edges.points[:, :2] ** 2, rtol=1e-9, atol=1e-9)
    assert not edges.point_data["displacement"][:, 2].any()


def test_the_mid_line_is_that_of_every_bond(solved):
    for name, result in solved.items():
        here = solid.read_section(result)
        for bond, bondline, on in zip(result.joint.geometry.bonds(), result.bondlines, here.mid_lines(), strict=True):
            np.testing.assert_allclose(here.points[on, 1], bond.y, rtol=0, atol=1e-9, err_msg=name)
            np.testing.assert_allclose(here.points[on, 0], bondline.x, rtol=0, atol=1e-9, err_msg=name)
            np.testing.assert_allclose(here.stress["peel"][on], bondline.peel, rtol=1e-9, atol=1e-9, err_msg=name)


def cut(corners, axis, limit, sign):
    """Return the part of a polygon on one side of a line across an axis (Sutherland and Hodgman, from memory)."""
    found = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        inside = sign * (np.array([a[axis], b[axis]]) - limit) >= 0
        if inside[0]:
            found.append(a)
        if inside[0] != inside[1]:
            found.append(a + (b - a) * (limit - a[axis]) / (b[axis] - a[axis]))
    return np.array(found).reshape(-1, 2)


@pytest.mark.parametrize("end", ["left", "right"])
def test_an_overlap_end_is_cut_out_along_its_window(solved, end):
    for name, result in solved.items():
        here = solid.read_section(result)
        frame = framed(here, end, (), 1.0, 1.0)
        (x0, x1), (y0, y1) = frame.window
        polygons = outlines(result.joint.geometry)
        for region in here.regions:
            cells = frame.shown & here.cells_of(region)
            wanted = 0.0
            for corners in polygons[region]:
                for axis, limit, sign in ((0, x0, 1), (0, x1, -1), (1, y0, 1), (1, y1, -1)):
                    corners = cut(corners, axis, limit, sign)
                x, y = corners.T
                wanted += abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
            if not cells.any():
                assert wanted == pytest.approx(0.0, abs=1e-9), (name, region)
                continue
            body, edges = solid.cut_out(here, 2.0, cells, frame.window, pieces=2)
            low, high = np.asarray(body.bounds).reshape(3, 2).T
            assert (low >= [x0 - 1e-6, y0 - 1e-6, 0.0]).all()
            assert (high <= [x1 + 1e-6, y1 + 1e-6, 2.0]).all()
            # Single precision of the cut: the body is shown, not computed with.
            assert body.triangulate().volume == pytest.approx(2.0 * wanted, rel=1e-4), (name, region)
            assert edges.n_lines > 0
            on = np.isin(np.round(edges.points[:, 2], 6), (0.0, 2.0))
            assert on.all(), (name, region)  # edges run along the outlines and across the width, nowhere else


def test_a_part_is_drawn_without_its_rigid_motion(section):
    turn, shift = 0.01, np.array([3.0, -2.0])
    moved = section.displacement + shift + turn * np.column_stack([-section.points[:, 1], section.points[:, 0]])
    turned = solid.SolvedSection(**{**vars(section), "displacement": moved})
    for end in ("left", "right"):
        here, there = (framed(s, end, (), None, 2.0) for s in (section, turned))
        assert here.scale == there.scale
        places = np.column_stack([section.points, np.zeros(len(section.points))])
        np.testing.assert_allclose(
            here.drawn(places, section.displacement, "lower"),
            there.drawn(places, turned.displacement, "lower"),
            rtol=0,
            atol=1e-9 * here.scale,
        )
    assert not framed(section).motion.any()


def test_folders_that_hold_no_run(folder, tmp_path):
    with pytest.raises(JointError, match="nowhere: there is no such folder"):
        solid.read_section(tmp_path / "nowhere")
    (tmp_path / "file").write_text("no folder", encoding="utf-8")
    for empty in (tmp_path, tmp_path / "file"):
        with pytest.raises(JointError, match=r"holds no section\.vtu and no summary\.json"):
            solid.read_section(empty)
    shutil.copy(folder / "summary.json", tmp_path)
    with pytest.raises(JointError, match=r"holds no section\.vtu;"):
        solid.read_section(tmp_path)


def test_files_that_are_damaged(folder, tmp_path):
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    (copy / "section.vtu").write_bytes((folder / "section.vtu").read_bytes()[:1000])
    with pytest.raises(SetupError, match="cannot be used"):
        solid.read_section(copy)
    (copy / "summary.json").write_text("{", encoding="utf-8")
    with pytest.raises(SetupError, match="damaged"):
        solid.read_section(copy)
    shutil.copy(folder / "section.vtu", copy)
    (copy / "summary.json").write_text(json.dumps({"schema_version": solid.SCHEMA_VERSION, "joint": {}}), encoding="utf-8")
    with pytest.raises(SetupError, match="cannot be used"):
        solid.read_section(copy)
