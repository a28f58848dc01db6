"""The solid has the size, the cells and the values of the section, and a folder that holds no run is refused."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest

from fejoint.errors import JointError, SetupError
from fejoint.show import solid


def test_folder_and_result_give_the_same_section(filleted, section):
    direct = solid.read_section(filleted)
    np.testing.assert_array_equal(direct.cells, section.cells)
    np.testing.assert_allclose(direct.points, section.points, atol=1e-12)
    for name in solid.STRESSES:
        np.testing.assert_allclose(direct.stress[name], section.stress[name], rtol=1e-12, atol=1e-9)
    assert direct.regions == section.regions
    assert direct.joint["joint"]["width"] == section.joint["joint"]["width"] == 25.0


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
        for name, stress in solid.STRESSES.items():
            values = body.point_data[stress.array]
            assert (values.min(), values.max()) == (section.stress[name].min(), section.stress[name].max())
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
    thickness = section.joint["joint"]["lower"]["thickness"]
    outside = 2 * area + 2 * (thickness + area / thickness)
    assert faces.area == pytest.approx(outside)  # faces inside would add to it


def test_the_outline_is_the_edges_of_the_body(section):
    g = section.joint["joint"]
    edges = solid.outline(section, 25.0, section.cells_of("lower"), pieces=4)
    around = 2 * (g["lower"]["thickness"] + g["lower"]["free_length"] + g["overlap_length"])
    assert edges.compute_cell_sizes(area=False, volume=False).cell_data["Length"].sum() == pytest.approx(2 * around + 4 * 25.0)
    assert set(edges.points[:, 2]) == {0.0, 25.0}


def test_the_outline_moves_by_the_shape_functions(section):
    quadratic = solid.SolvedSection(**{**vars(section), "displacement": section.points**2})
    edges = solid.outline(quadratic, 25.0, section.cells_of("adhesive"), pieces=4)
    np.testing.assert_allclose(edges.point_data["displacement"][:, :2], edges.points[:, :2] ** 2, rtol=1e-9, atol=1e-9)
    assert not edges.point_data["displacement"][:, 2].any()


def test_a_part_is_drawn_without_its_rigid_motion(section):
    turn, shift = 0.01, np.array([3.0, -2.0])
    moved = section.displacement + shift + turn * np.column_stack([-section.points[:, 1], section.points[:, 0]])
    turned = solid.SolvedSection(**{**vars(section), "displacement": moved})
    for end in ("left", "right"):
        here, there = (solid.framed(s, end, False, None, 2.0) for s in (section, turned))
        assert here.scale == there.scale
        places = np.column_stack([section.points, np.zeros(len(section.points))])
        np.testing.assert_allclose(
            here.drawn(places, section.displacement), there.drawn(places, turned.displacement), rtol=0, atol=1e-9 * here.scale
        )
    assert not solid.framed(section, None, False, None, 1.0).motion.any()


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
    (copy / "summary.json").write_text(json.dumps({"joint": {}}), encoding="utf-8")
    with pytest.raises(SetupError, match="cannot be used"):
        solid.read_section(copy)
