"""A run read back from its files is the run that was solved, and a damaged folder is one clear sentence."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
from meshio import vtu

import fejoint
from fejoint.errors import JointError, SetupError
from fejoint.mechanics.as_built import compared
from fejoint.show import mesh
from fejoint.show.files import write_run
from fejoint.show.reading import FILES, read_run
from fejoint.show.space.solid import SCHEMA_VERSION, read_section

# bondline.csv and adherends.csv hold nine digits, so a value read back is off by at most 5e-9 of itself; peaks between
# points come from three of them.
DIGITS = 1e-8
PLACE = 1e-5  # mm: a flat top's place is where the slope vanishes, which those digits move by more than themselves


@pytest.fixture(scope="module")
def folder(solved, tmp_path_factory):
    place = tmp_path_factory.mktemp("run") / "single"
    write_run(solved["single"], place, 'title = "kept"\n')
    return place


def test_a_run_of_every_family_reads_back_as_it_was(solved, tmp_path):
    for name, result in solved.items():
        write_run(result, tmp_path / name, "")
        run = read_run(tmp_path / name)
        for attribute in ("peak_shear", "peak_peel", "least_peel"):
            (peak, number), (read, read_number) = getattr(result, attribute), getattr(run, attribute)
            assert read.value == pytest.approx(peak.value, rel=DIGITS), (name, attribute)
            assert read.x == pytest.approx(peak.x, abs=PLACE), (name, attribute)
            assert read_number == number
        assert run.joint == result.joint
        assert run.edges == result.edges
        assert run.adherend_peaks == pytest.approx(result.adherend_peaks, rel=DIGITS)
        assert run.bond_forces == pytest.approx(result.bond_forces, rel=1e-12)
        assert run.spew_peaks == result.spew_peaks
        assert run.checks == result.checks
        assert (run.passed, run.warnings, run.unknowns) == (result.passed, result.warnings, result.unknowns)
        for bondline, read in zip(result.bondlines, run.bondlines, strict=True):
            assert (read.number, read.left, read.right, read.measure) == (
                bondline.number,
                bondline.left,
                bondline.right,
                bondline.measure,
            )
            assert read.transferred == pytest.approx(bondline.transferred, rel=DIGITS, abs=1e-9)
            assert set(read.levels()) == set(bondline.levels())
            for level, curve in bondline.levels().items():
                for of in ("x", "shear", "peel", "axial"):
                    found = getattr(read.levels()[level], of)
                    assert found == pytest.approx(getattr(curve, of), rel=DIGITS, abs=1e-9), (name, level, of)


def test_theories_stand_beside_a_run_as_beside_its_result(solved, folder):
    run, result = read_run(folder), solved["single"]
    assert run.joint_file == 'title = "kept"\n'
    found, before = compared(run), compared(result)
    assert [row.name for row in found.rows] == [row.name for row in before.rows]
    for row, was in zip(found.rows, before.rows, strict=True):
        assert row.shear.ratio == pytest.approx(was.shear.ratio, rel=1e-6)
    assert found.advice.text == before.advice.text


def test_mesh_and_section_are_those_of_the_result(solved, folder):
    run, result = read_run(folder), solved["single"]
    assert read_section(run) is run.section
    assert np.array_equal(read_section(result).cells, run.section.cells)
    titles = {mesh.mesh_figure(source).get_suptitle() for source in (run, result)}
    assert len(titles) == 1
    assert f"{result.section.mesh.t.shape[1]} nine-node cells, {result.unknowns} unknowns" in titles.pop()


@pytest.mark.parametrize("name", FILES)
def test_a_missing_file_is_named(folder, tmp_path, name):
    place = tmp_path / "run"
    shutil.copytree(folder, place)
    (place / name).unlink()
    with pytest.raises(JointError, match=rf"holds no {name}; give a folder that fejoint solve --out wrote"):
        read_run(place)


def test_no_folder_is_said(tmp_path):
    with pytest.raises(JointError, match="there is no such folder"):
        read_run(tmp_path / "nowhere")


@pytest.mark.parametrize("version", [SCHEMA_VERSION + 1, "2", None])
def test_another_schema_version_is_named(folder, tmp_path, version):
    place = tmp_path / "run"
    shutil.copytree(folder, place)
    summary = json.loads((place / "summary.json").read_text())
    (place / "summary.json").write_text(json.dumps({**summary, "schema_version": version}))
    with pytest.raises(SetupError, match=rf"has schema_version {version!r}, this fejoint reads {SCHEMA_VERSION}"):
        read_run(place)


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("summary.json", "{", "["),
        ("summary.json", '"edge_loads": {', '"edge_loads": {"third": {"axial_N_per_mm": 1, "shear_N_per_mm": 1, "moment_N": 1},'),
        ("summary.json", '"dofs": ', '"dofs": -'),
        ("summary.json", '"passed": true', '"passed": 0'),
        ("summary.json", '"limit": 0.001', '"limit": "none"'),
        ("summary.json", '"dofs": ', '"dofs": 1e999, "was": '),
        ("summary.json", '"dofs": ', f'"dofs": {"9" * 400}.5, "was": '),
        ("summary.json", '"limit": 0.001', f'"limit": {"9" * 400}'),
        ("summary.json", '"shear_x_mm": ', f'"shear_x_mm": {"9" * 400}, "was": '),
        ("summary.json", '"peel": ', '"peel": {}, "was": '),
        ("summary.json", '"versions": {', '"versions": ["1.0"], "were": {'),
        ("summary.json", '"regions": {', '"regions": {"lower": "one", "upper": 1, "adhesive": 2}, "were": {'),
        ("summary.json", '"regions": {', '"regions": {"lower": 0, "upper": 0, "adhesive": 2}, "were": {'),
        ("summary.json", '"regions": {', '"regions": {"lower": 0, "upper": 1}, "were": {'),
        ("summary.json", '"regions": {', '"regions": [0, 1, 2], "were": {'),
        ("summary.json", '"limit": 0.001', '"limit": 1e999'),
        ("summary.json", '"value": ', '"value": -1e999, "was": '),
        ("summary.json", '"shear_x_mm": ', '"shear_x_mm": 1e999, "was": '),
        ("summary.json", '"axial_N_per_mm": ', '"axial_N_per_mm": NaN, "was": '),
        ("summary.json", '"bondline 1": ', '"bondline 1": 1e999, "was": '),
        ("summary.json", '"discretisation_error": {', '"discretisation_error": {"peak": 0.1}, "was": {'),
        ("bondline.csv", "x_mm", "place"),
        ("bondline.csv", "1,middle,0,", "1,middle,900,"),
        ("bondline.csv", "middle", "upper"),
        ("bondline.csv", "1,middle,0,", f"1,middle,{'x' * 1000},"),
        ("adherends.csv", "lower,overlap,0,", "lower,overlap,zero,"),
        ("adherends.csv", "lower,overlap,0,1.6,", "lower,overlap,0,0,"),
        ("adherends.csv", "lower,overlap,0,1.6,", "lower,overlap,0,1e-320,"),
        ("adherends.csv", "lower,overlap,0,", "lower,overlap,1e308,"),
        ("adherends.csv", "upper,overlap", "upper,end"),
        ("adherends.csv", "upper,end", "another,end"),
        ("section.vtu", "</Points>", ""),
        ("joint.toml", "kept", "kept\udcff"),
    ],
)
def test_a_damaged_file_is_one_sentence(folder, tmp_path, name, old, new):
    place = tmp_path / "run"
    shutil.copytree(folder, place)
    content = (place / name).read_bytes()
    spoiled = content.replace(old.encode(), new.encode("utf-8", "surrogateescape"))
    assert spoiled != content
    (place / name).write_bytes(spoiled)
    with pytest.raises(SetupError, match=r"solve (the joint )?again") as caught:
        read_run(place)
    assert str(place) in str(caught.value)
    assert len(str(caught.value).replace(str(place), "")) < 400


def test_layers_of_one_overlap_with_unlike_places_are_damage(solved, tmp_path):
    """They share the mesh lines across the overlap, on which what they pass on is added up."""
    place = tmp_path / "run"
    write_run(solved["double unlike"], place, "")
    read_run(place)
    lines = (place / "bondline.csv").read_text().splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if line.startswith("2,middle"))
    (place / "bondline.csv").write_text("".join(lines[: at + 1] + lines[at + 3 :]))
    with pytest.raises(SetupError, match=r"x_mm of its bondlines.*solve the joint again"):
        read_run(place)


def _no_such_node(mesh):
    mesh.cells[0].data[3, 5] = len(mesh.points)


def _node_below_all(mesh):
    mesh.cells[0].data[3, 5] = -1


def _point_at_infinity(mesh):
    mesh.points[7, 1] = np.inf


def _no_displacement(mesh):
    mesh.point_data["displacement"][7, 0] = np.nan


def _no_stress(mesh):
    mesh.point_data["stress_yy_MPa"][7] = np.nan


def _another_region(mesh):
    mesh.cell_data["region"][0][mesh.cell_data["region"][0] == 2] = 5


def _one_region_fewer(mesh):
    mesh.cell_data["region"][0][:] = 0


def _no_stresses(mesh):
    del mesh.point_data["stress_xy_MPa"]


@pytest.mark.parametrize(
    "spoil",
    [
        _no_such_node,
        _node_below_all,
        _point_at_infinity,
        _no_displacement,
        _no_stress,
        _another_region,
        _one_region_fewer,
        _no_stresses,
    ],
)
def test_a_damaged_section_is_one_sentence(folder, tmp_path, spoil):
    place = tmp_path / "run"
    shutil.copytree(folder, place)
    section = vtu.read(str(place / "section.vtu"))
    vtu.write(str(place / "section.vtu"), section)
    assert np.array_equal(read_run(place).section.points, section.points[:, :2])  # written again it is whole
    spoil(section)
    vtu.write(str(place / "section.vtu"), section)
    with pytest.raises(SetupError, match=r"section\.vtu and summary\.json cannot be used .*; solve again"):
        read_run(place)


def test_a_result_and_a_run_say_the_same_of_themselves(solved, folder):
    assert repr(read_run(folder)).removeprefix("Run") == repr(solved["single"]).removeprefix("Result")
    assert isinstance(solved["single"], fejoint.Result)


@pytest.mark.parametrize("name", ["summary.json", "bondline.csv", "adherends.csv", "section.vtu"])
def test_files_of_two_runs_do_not_belong_together(solved, folder, tmp_path, name):
    """One file of a run under another load, in a folder of the same joint: the others hold something that contradicts it."""
    place = tmp_path / "run"
    shutil.copytree(folder, place)
    result = solved["single"]
    other = result.joint.model_copy(
        update={"load": result.joint.load.model_copy(update={"force": 1.5 * result.joint.load.force})}
    )
    write_run(fejoint.solve(other), tmp_path / "other", 'title = "kept"\n')
    shutil.copy(tmp_path / "other" / name, place / name)
    with pytest.raises(SetupError, match="its files do not belong together"):
        read_run(place)
