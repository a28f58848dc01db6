"""The meshed section: areas, names, grading, senses, and what happens when script and joint disagree."""

from __future__ import annotations

import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import KDTree

from fejoint import Joint, MeshError
from fejoint.joint.families import SingleLap
from fejoint.joint.file import joint_from_text, template
from fejoint.mechanics import section as section_module
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import mesh_section, read_script, script_path

METAL = {"elastic_modulus": 70_000.0, "poisson_ratio": 0.33}
# Ends of lines lie where the script puts them, to round-off; gmsh places the points between by stepping along the
# line, which on a single line misses the geometric series by up to 2e-5 of the cell there (measured apart, any precision).
PLACE = 1e-9
GRADED = 1e-4

SECTIONS = {
    "plain": {},
    "unlike": {"lower_thickness": 1.0, "upper_thickness": 3.0, "lower_arm": 30.0, "upper_arm": 80.0, "overlap": 20.0},
    "fillet": {"fillet": True},
    "tall fillet": {"fillet": 1.2},
    "low fillet": {"fillet": 0.05},
    "thin layer on 100 mm": {"layer": 0.05, "overlap": 100.0},
    "thick layer": {"layer": 3.0, "overlap": 10.0},
}
every_section = pytest.mark.parametrize("keys", SECTIONS.values(), ids=SECTIONS)


def corner_jacobians(mesh) -> np.ndarray:
    """Return twice the areas of the four corner triangles of every cell, shape (4, cells); positive when convex."""
    p = mesh.p[:, mesh.t]
    a, b = np.roll(p, -1, axis=1) - p, np.roll(p, 1, axis=1) - p
    return a[0] * b[1] - a[1] * b[0]


def places(mesh, curve: str, axis: int = 0) -> np.ndarray:
    """Return where the vertices of a named curve lie along an axis, sorted."""
    return np.sort(mesh.p[axis, np.unique(mesh.facets[:, mesh.boundaries[curve]])])


# ---- what the script delivers ----------------------------------------------


@every_section
def test_regions_have_the_areas_of_the_joint(lap, keys):
    """Every cell in one region, convex and counter-clockwise; areas by hand, fillets as two right triangles.

    Tolerance 1e-9: sums of double-precision areas.
    """
    joint = lap(**keys)
    g, mesh = joint.geometry, mesh_section(joint).mesh
    assert (corner_jacobians(mesh) > 0).all()
    p = mesh.p[:, mesh.t]
    area = 0.5 * np.abs((p[0] * np.roll(p[1], -1, axis=0) - p[1] * np.roll(p[0], -1, axis=0)).sum(axis=0))
    leg = g.fillet_height + g.bondline_thickness if "fillet" in keys else 0.0
    wanted = {
        "lower": g.lower.thickness * (g.lower.free_length + g.overlap_length),
        "upper": g.upper.thickness * (g.upper.free_length + g.overlap_length),
        "adhesive": g.bondline_thickness * g.overlap_length + 2 * leg**2 / 2,
    }
    assert set(mesh.subdomains) == set(wanted)
    assert sorted(np.concatenate(list(mesh.subdomains.values()))) == list(range(mesh.t.shape[1]))
    for name, cells in mesh.subdomains.items():
        assert area[cells].sum() == pytest.approx(wanted[name], rel=1e-9)


@every_section
def test_curves_lie_where_their_names_say(lap, keys):
    """End faces, mid-line and interfaces: place, extent, and the cells on both sides."""
    joint = lap(**keys)
    g, section = joint.geometry, mesh_section(joint)
    mesh, h, length = section.mesh, joint.geometry.bondline_thickness / 2, joint.geometry.overlap_length
    assert [name for name in mesh.boundaries if name.endswith("middle")] == ["bondline 1 middle"]
    expected = {
        "gripped": ((-g.lower.free_length,) * 2, (-h - g.lower.thickness, -h)),
        "loaded": ((length + g.upper.free_length,) * 2, (h, h + g.upper.thickness)),
        "bondline 1 middle": ((0, length), (0, 0)),
        "bondline 1 lower": ((0, length), (-h, -h)),
        "bondline 1 upper": ((0, length), (h, h)),
    }
    for name, spans in expected.items():
        for axis, (low, high) in enumerate(spans):
            at = places(mesh, name, axis)
            assert at[[0, -1]] == pytest.approx([low, high], abs=PLACE * 100), name
    sides = {"middle": {"adhesive"}, "lower": {"lower", "adhesive"}, "upper": {"upper", "adhesive"}}
    region = np.empty(mesh.t.shape[1], dtype=object)
    for name, cells in mesh.subdomains.items():
        region[cells] = name
    for level, names in sides.items():
        assert set(region[mesh.f2t[:, mesh.boundaries[f"bondline 1 {level}"]]].ravel()) == names
    # The cut runs through the adhesive only, from one free surface to another.
    cut = mesh.facets[:, mesh.boundaries["cut 1"]]
    assert set(region[mesh.f2t[:, mesh.boundaries["cut 1"]]].ravel()) == {"adhesive"}
    ends = np.flatnonzero(np.bincount(cut.ravel(), minlength=mesh.p.shape[1]) == 1)
    assert len(ends) == 2
    assert set(ends) <= set(mesh.boundary_nodes())


@every_section
def test_layer_has_enough_cells_and_its_mid_line_is_a_mesh_line(lap, keys):
    """An even number of cells through the thickness, six or more, the same at every x of the bonded length."""
    joint = lap(**keys)
    mesh, h = mesh_section(joint).mesh, joint.geometry.bondline_thickness / 2
    x, y = np.round(mesh.p[:, np.unique(mesh.t[:, mesh.subdomains["adhesive"]])], 9)
    for line in np.unique(np.round(places(mesh, "bondline 1 middle"), 9)):
        through = np.sort(y[(x == line) & (np.abs(y) <= h + 1e-9)])
        assert len(through) - 1 >= 6
        assert (len(through) - 1) % 2 == 0
        assert through + through[::-1] == pytest.approx(0, abs=GRADED * h / 4)  # the same above and below the mid-line
        assert 0.0 in through


@pytest.mark.parametrize("name", ["plain", "unlike", "thin layer on 100 mm", "thick layer"])
def test_cells_grow_by_a_constant_ratio_from_ends_and_interfaces(lap, name):
    """Away from the overlap ends by at most 1.35, away from the interfaces by at most 1.8; the smallest lie at the corners.

    Along x they stop growing when they are two thicknesses long. Tolerance 1e-4 of the ratio: places are off by up to
    2e-5 of a cell, on both sides of both cells.
    """
    joint = lap(**SECTIONS[name])
    g, mesh = joint.geometry, mesh_section(joint).mesh
    h, middle = g.bondline_thickness / 2, g.overlap_length / 2
    lower, glue = (mesh.p[:, np.unique(mesh.t[:, mesh.subdomains[region]])] for region in ("lower", "adhesive"))
    top = np.unique(np.round(lower[0, np.abs(lower[1] + h) < 1e-9], 9))
    depth = np.unique(np.round(lower[1, np.abs(lower[0]) < 1e-9], 9))
    through = np.unique(np.round(glue[1, np.abs(glue[0]) < 1e-9], 9))
    sizes = {
        "arm": np.diff(-top[top <= 1e-9][::-1]),
        "left half": np.diff(top[(top >= -1e-9) & (top <= middle + 1e-9)]),
        "right half": np.diff(-top[top >= middle - 1e-9][::-1]),
        "adherend": np.diff(-depth[::-1]),
        "half layer": np.diff(through[through <= 1e-9]),
    }
    for place, size in sizes.items():
        growth = 1.8 if place in ("adherend", "half layer") else 1.35
        ratio = size[1:] / size[:-1]
        even = np.abs(ratio - 1) < GRADED
        growing = ratio[: np.argmax(even) - 1] if even.any() else ratio  # the last ratio before even cells is what is left over
        assert growing == pytest.approx(growing[0], rel=GRADED), place
        assert even[len(growing) + 1 :].all(), place
        assert 1.0 < growing[0] <= growth * (1 + GRADED), place
        assert 1 / growth < ratio[-1] or even[-1], place
        if growth == 1.35:
            assert size.max() <= growth * 2 * max(g.lower.thickness, g.upper.thickness), place
    smallest = min(size[0] for size in sizes.values())
    assert smallest <= g.bondline_thickness / 15
    # Neighbours across an end or an interface are of like size: no jump where the stress is steepest.
    assert max(size[0] for size in sizes.values()) < 1.8 * smallest


@pytest.mark.parametrize("start", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("name", ["plain", "unlike", "tall fillet", "thick layer"])
def test_double_density_keeps_every_mesh_line(lap, name, start):
    """Each node of the coarser mesh is one of the finer, whose cells are four times as many, as the error estimate takes them.

    Tolerance: both meshes' points as gmsh places them, 1e-4 of the cell at the node.
    """
    joint = lap(**SECTIONS[name])
    coarse, fine = mesh_section(joint, start).mesh, mesh_section(joint, 2 * start).mesh
    assert fine.t.shape[1] == 4 * coarse.t.shape[1]
    off = KDTree(fine.p.T).query(coarse.p.T)[0]
    start_node, end_node = coarse.facets
    length = np.linalg.norm(coarse.p[:, start_node] - coarse.p[:, end_node], axis=0)
    longest = np.zeros(coarse.p.shape[1])
    np.maximum.at(longest, start_node, length)
    np.maximum.at(longest, end_node, length)
    assert (off < GRADED * longest).all()


@pytest.mark.parametrize("climb", [True, 0.05, 1.2])
def test_fillet_is_a_45_degree_triangle_at_both_ends(lap, climb):
    """Free edge at 45 degrees, legs as long as layer plus climb: on the passing adherend and up the end face."""
    joint = lap(fillet=climb)
    g, mesh = joint.geometry, mesh_section(joint).mesh
    h, leg, length = g.bondline_thickness / 2, g.fillet_height + g.bondline_thickness, g.overlap_length
    free = np.intersect1d(mesh.boundary_facets(), np.unique(mesh.t2f[:, mesh.subdomains["adhesive"]]))
    start, end = mesh.p[:, mesh.facets[0, free]], mesh.p[:, mesh.facets[1, free]]
    dx, dy = end - start
    assert dy / dx == pytest.approx(1.0, abs=1e-6)
    for left in (True, False):
        on = (start[0] < length / 2) == left
        assert np.hypot(dx, dy)[on].sum() == pytest.approx(np.sqrt(2) * leg, rel=1e-9)
    x, y = mesh.p[:, np.unique(mesh.t[:, mesh.subdomains["adhesive"]])]
    assert [x.min(), x.max()] == pytest.approx([-leg, length + leg])
    assert [y.min(), y.max()] == pytest.approx([-h - g.fillet_height, h + g.fillet_height])
    assert y[np.argmin(x)] == pytest.approx(-h)  # the left toe lies on the lower adherend,
    assert y[np.argmax(x)] == pytest.approx(h)  # the right one on the upper


def test_default_fillet_climbs_as_high_as_the_layer_is_thick(lap):
    """By default the bondline's thickness, at most half the thinner adherend."""
    assert lap(fillet=True).geometry.fillet_height == pytest.approx(0.2)
    assert lap(fillet=True, layer=1.0, upper_thickness=1.2).geometry.fillet_height == pytest.approx(0.6)


def test_mesh_is_the_same_when_made_twice(lap):
    """A pure function: another joint meshed in between leaves no trace."""
    first = mesh_section(lap()).mesh
    mesh_section(lap(**SECTIONS["tall fillet"]))
    again = mesh_section(lap()).mesh
    assert np.array_equal(first.p, again.p)
    assert np.array_equal(first.t, again.t)
    for names in ("subdomains", "boundaries"):
        one, other = getattr(first, names), getattr(again, names)
        assert list(one) == list(other)
        assert all(np.array_equal(one[name], other[name]) for name in one)


def test_sections_made_in_threads_do_not_mix(lap):
    """gmsh holds one model a process; meshes made at once from several threads equal those made in turn."""
    joints = [lap(overlap=10.0 + k, fillet=bool(k % 2)) for k in range(8)]
    in_turn = [mesh_section(joint).mesh for joint in joints]
    with ThreadPoolExecutor(4) as pool:
        at_once = [section.mesh for section in pool.map(mesh_section, joints)]
    for one, other in zip(in_turn, at_once, strict=True):
        assert np.array_equal(one.p, other.p)
        assert np.array_equal(one.t, other.t)


SHARE = st.floats(0.0, 1.0)  # place in a range of sizes, on a logarithmic scale


@settings(max_examples=40, deadline=None, derandomize=True)
@given(SHARE, SHARE, SHARE, SHARE, SHARE, SHARE, st.one_of(st.none(), SHARE))
def test_any_accepted_geometry_can_be_meshed(layer, overlap, t1, t2, arm1, arm2, climb):
    """Whatever the joint's own limits let pass becomes a section of convex cells (40 drawn ones, always the same)."""

    def between(low, high, share):
        return float(low * (high / low) ** share)

    ta = between(0.02, 5.0, layer)
    thick = [between(max(ta / 20, 0.05), min(1000 * ta, 50.0), t) for t in (t1, t2)]
    spew, leg = {}, 0.0
    if climb is not None and 0.1 * ta < 0.9 * min(thick):
        spew = {"spew": "fillet", "spew_height": between(0.1 * ta, 0.9 * min(thick), climb)}
        leg = spew["spew_height"] + ta
    lower, upper = (
        {"material": METAL, "thickness": t, "free_length": between(1.001 * max(1.1 * leg, 0.1 * ta), min(999 * t, 9_999.0), arm)}
        for t, arm in zip(thick, (arm1, arm2), strict=True)
    )
    length = between(1.01 * ta, min(999 * min(thick), 9_999.0), overlap)
    geometry = SingleLap(width=25, overlap_length=length, bondline_thickness=ta, lower=lower, upper=upper, **spew)
    joint = Joint(geometry=geometry, adhesive={"elastic_modulus": 2000, "poisson_ratio": 0.35}, load={"force": 1000})
    for density in (0.5, 1.0):
        assert (corner_jacobians(mesh_section(joint, density).mesh) > 0).all()


# ---- senses ----------------------------------------------------------------


def moved(plain, displacement):
    """Return the bondline of a solution whose displacement is replaced by a function of the place."""
    solution = plain.solution
    d = solution.discretisation
    solution = replace(solution, displacement=np.column_stack(displacement(*d.points.T)))
    return recover_bondlines(solution, nodal_stress(solution))[0]


def test_peel_is_positive_when_the_layer_opens(plain):
    """Every level stretched by 1e-3 through the thickness: peel C22 1e-3, no shear (1e-9: stress of a linear field)."""
    opened = moved(plain, lambda x, y: (0 * x, 1e-3 * y))
    c = plain.solution.laws["adhesive"].stiffness
    for curve in opened.levels().values():
        assert curve.peel == pytest.approx(1e-3 * c[1, 1], rel=1e-9)
        assert curve.axial == pytest.approx(1e-3 * c[0, 1], rel=1e-9)
        assert np.abs(curve.shear).max() < 1e-9 * c[1, 1] * 1e-3


def test_shear_is_positive_when_the_upper_side_moves_with_the_load(plain):
    """The upper side moved along +x, as tension moves it: shear + G 1e-3 (as above)."""
    sheared = moved(plain, lambda x, y: (1e-3 * y, 0 * x))
    for curve in sheared.levels().values():
        assert curve.shear == pytest.approx(1e-3 * 2000 / (2 * 1.35), rel=1e-9)


def test_joint_in_tension_shears_positively_and_opens_at_its_ends(plain):
    """The lap's own answer: mean shear is force over area (the balance's limit 1e-3), both ends open, the middle closes."""
    b = plain.bondline
    assert b.middle.mean("shear") == pytest.approx(100 / 12.5, rel=1e-3)
    assert b.peel[[0, -1]].min() > 0
    assert b.least_peel.value < 0


def test_curves_run_along_x_whatever_the_mesh_says(lap):
    """Nodes of a line come from left to right and join up, also on a mesh whose facets are numbered otherwise."""
    section = mesh_section(lap(fillet=True))
    for name in ("bondline 1 middle", "bondline 1 lower", "bondline 1 upper", "cut 1"):
        d = discretise(section)
        line = d.line(name)
        assert np.array_equal(line[1:, 0], line[:-1, 2])
        assert (np.diff(d.points[line, 0], axis=1) > 0).all()
        shuffled = dict(section.mesh.boundaries)
        shuffled[name] = shuffled[name][::-1]
        assert np.array_equal(discretise(replace(section, mesh=section.mesh.with_boundaries(shuffled))).line(name), line)


# ---- when script and joint disagree ----------------------------------------


@pytest.fixture
def spoiled(tmp_path, monkeypatch):
    """Return the function that lets the package use changed copies of the script and of what it includes."""

    def spoil(old: str, new: str, also: str = ""):
        texts = {name: script_path(name).read_text() for name in ("growth.geo", "flaws.geo", "grid.geo", "single_lap.geo")}
        assert any(old in text for text in texts.values())
        for name, text in texts.items():
            (tmp_path / name).write_text(text.replace(old, new))
        copy = tmp_path / "single_lap.geo"
        copy.write_text(copy.read_text() + also)
        monkeypatch.setattr(section_module, "script_path", lambda name: tmp_path / name)
        return copy

    return spoil


@pytest.mark.parametrize("name", ["lower", "adhesive", "upper"])
def test_missing_region_is_named(lap, spoiled, name):
    """A surface under another name is missed by its own."""
    spoiled(f'Physical Surface("{name}")', 'Physical Surface("something")')
    with pytest.raises(MeshError, match=rf"single_lap\.geo: the surface named '{name}' is missing"):
        mesh_section(lap())


@pytest.mark.parametrize("name", ["gripped", "loaded", "bondline 1 middle", "bondline 1 lower", "bondline 1 upper", "cut 1"])
def test_missing_curve_is_named(lap, spoiled, name):
    """A curve under another name is missed by its own."""
    spoiled(f'Physical Curve("{name}")', 'Physical Curve("something")')
    with pytest.raises(MeshError, match=rf"single_lap\.geo: the curve named '{name}' is missing"):
        mesh_section(lap())


def test_wrong_area_is_told_with_both_numbers(lap, spoiled):
    """A layer drawn a thousandth too thick: the region, what it has, what it should have."""
    spoiled("h = bondline_thickness / 2;", "h = bondline_thickness / 1.998;")
    with pytest.raises(MeshError, match=r"region 'adhesive' has 2\.5025\d* mm\^2 where the joint has 2\.5 mm\^2"):
        mesh_section(lap())


def test_cells_other_than_quadrilaterals_are_refused(lap, spoiled):
    """Triangles, left where surfaces are not recombined."""
    spoiled("Recombine Surface {surface};", "")
    with pytest.raises(MeshError, match="cells other than 4-node quadrilaterals"):
        mesh_section(lap())


STRAY_SQUARE = """
Point(9001) = {0, 20, 0}; Point(9002) = {1, 20, 0}; Point(9003) = {1, 21, 0}; Point(9004) = {0, 21, 0};
Line(9001) = {9001, 9002}; Line(9002) = {9002, 9003}; Line(9003) = {9003, 9004}; Line(9004) = {9004, 9001};
Curve Loop(9001) = {9001, 9002, 9003, 9004}; Plane Surface(9001) = {9001};
Transfinite Surface {9001}; Recombine Surface {9001};
"""


def test_cell_without_region_is_refused(lap, spoiled):
    """A surface that belongs to no named region has no material."""
    spoiled("DefineConstant", "DefineConstant", also=STRAY_SQUARE)
    with pytest.raises(MeshError, match="every cell must belong to exactly one named region"):
        mesh_section(lap())


def test_cell_in_two_regions_is_refused(lap, spoiled):
    """Two materials in one place."""
    spoiled('Physical Surface("upper") = upper();', 'Physical Surface("upper") = {upper(), adhesive()};')
    with pytest.raises(MeshError, match="region 'upper' has"):
        mesh_section(lap())


def test_unknown_parameter_is_told_with_the_known_ones():
    """gmsh would ignore it silently; the names that there are stand in the message."""
    with pytest.raises(MeshError, match=r"no parameter 'overlap_lenght'; it has bondline_thickness, .*overlap_length"):
        read_script(script_path("single_lap.geo"), {"overlap_lenght": 20.0})


def test_parameter_that_the_script_lost_is_told(lap, spoiled):
    """The joint's dimension must not be dropped because a script no longer asks for it."""
    spoiled('"Parameters/upper_free_length"', '"Parameters/upper_length"')
    with pytest.raises(MeshError, match="no parameter 'upper_free_length'"):
        mesh_section(lap())


def test_script_that_gmsh_cannot_read_is_told(tmp_path):
    """A syntax error is a MeshError in one sentence, not gmsh's own exception.

    In a process of its own: gmsh's reader does not recover from a syntax error.
    """
    (tmp_path / "broken.geo").write_text('DefineConstant[ a = {1, Name "Parameters/a"} ];\nb = c;\n')
    code = f"""
from pathlib import Path
from fejoint import MeshError
from fejoint.mechanics.section import read_script
try:
    read_script(Path({str(tmp_path / "broken.geo")!r}), {{"a": 2.0}})
except MeshError as error:
    print(error)
"""
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60).stdout
    assert said.startswith("broken.geo: gmsh cannot mesh it (")
    assert "Unknown variable 'c'" in said


def test_script_that_is_not_shipped_is_told():
    """An installation without its scripts says so."""
    with pytest.raises(MeshError, match=r"triple_lap\.geo: this geometry script is not part of the installation"):
        script_path("triple_lap.geo")


def test_good_mesh_after_a_bad_one(lap, spoiled, monkeypatch):
    """A refused script leaves nothing behind in gmsh."""
    before = mesh_section(lap()).mesh
    spoiled("Recombine Surface {surface};", "")
    with pytest.raises(MeshError):
        mesh_section(lap())
    monkeypatch.undo()
    assert np.array_equal(mesh_section(lap()).mesh.p, before.p)


def test_changed_script_is_read_anew(lap, spoiled):
    """Known parameters are remembered by file and time of change: an edited script is not judged by its former self."""
    copy = spoiled('"Parameters/upper_free_length"', '"Parameters/upper_length"')
    with pytest.raises(MeshError):
        mesh_section(lap())
    spoiled("DefineConstant", "DefineConstant")
    assert copy.exists()
    mesh_section(lap())


def test_the_finest_mesh_allowed_finds_its_curves():
    """Node numbers beyond 46340, whose products outgrow 32 bits: the interfaces still lie where the joint has them."""
    mesh = mesh_section(joint_from_text(template("single-lap")), 16.0)
    assert mesh.mesh.p.shape[1] > 2**18
    for level, y in (("middle", 0.0), ("lower", -0.1), ("upper", 0.1)):
        points = mesh.mesh.p[:, mesh.mesh.facets[:, mesh.facets(f"bondline 1 {level}")]]
        assert np.abs(points[1] - y).max() < 1e-9  # round-off of coordinates of 100 mm
        assert (points[0].min(), points[0].max()) == pytest.approx((0.0, 12.5), abs=1e-9)
