"""A stress picked at a place is the one that the nine-node cells hold there, of the region that is named."""

from __future__ import annotations

import numpy as np
import pytest
from vtkmodules import vtkCommonDataModel

from fejoint.errors import JointError
from fejoint.show.space import pick, spots
from fejoint.show.space.solid import STRESSES, SolvedSection, read_section
from fejoint.show.space.view import stress_view


def filled(section, function):
    """Return a section whose stresses and displacements are functions of x and y."""
    value = function(*section.points.T)
    moves = 1e-3 * np.column_stack([value, -2 * value])
    return SolvedSection(**{**vars(section), "stress": dict.fromkeys(STRESSES, value), "displacement": moves})


def inside(section, number, seed):
    """Return places in cells of a section: points of their corners' plane, by weights that add up to one."""
    rng = np.random.default_rng(seed)
    cells = rng.choice(len(section.cells), number)
    weights = rng.dirichlet(np.ones(4), number)
    return np.einsum("kc,kci->ki", weights, section.points[section.cells[cells, :4]]), section.region[cells]


def test_a_quadratic_field_is_picked_exactly_in_every_family(solved):
    # A quadratic of x and y is a biquadratic of the coordinates of a straight-sided cell, which nine nodes hold exactly;
    # fillets and stairs have cells that are no rectangles. Tolerance: round-off.
    def function(x, y):
        return 3.0 - 0.2 * x + 0.7 * y + 0.01 * x * x - 0.4 * x * y + 1.3 * y * y

    for name, result in solved.items():
        section = filled(read_section(result), function)
        places, regions = inside(section, 60, 1)
        found = pick.spots(section, places, "shear")
        np.testing.assert_allclose([spot.value for spot in found], function(*places.T), rtol=1e-9, atol=1e-9, err_msg=name)
        moves = np.array([spot.displacement for spot in found])
        np.testing.assert_allclose(moves[:, 1], -2e-3 * function(*places.T), rtol=1e-9, atol=1e-9, err_msg=name)
        assert [section.regions[spot.region] for spot in found] == list(regions), name
        assert not any(spot.beside for spot in found), name  # no place at random lies where regions meet


def test_a_stress_at_a_node_is_the_nodes_own(section):
    nodes = np.unique(section.cells[section.cells_of("upper")])[::37]
    for node in nodes:
        value, region = pick.stress_at(section, *section.points[node], "von Mises", region="upper")
        assert region == "upper"
        assert value == pytest.approx(section.stress["von-mises"][node], rel=1e-9, abs=1e-9)


def test_where_regions_meet_the_adhesives_stress_is_told_and_the_others_can_be_asked_for(section):
    # On the interface above the layer's middle: stress xx jumps from adhesive to aluminium, about as the moduli do.
    x, y = 6.0, section.joint.geometry.bondline_thickness / 2
    (spot,) = pick.spots(section, [(x, y)], "axial")
    assert (spot.region, spot.beside) == ("adhesive", ("upper",))
    assert "(adhesive, beside upper)" in str(spot)
    metal, region = pick.stress_at(section, x, y, "axial", region="upper")
    assert region == "upper"
    assert abs(metal) > 3 * abs(spot.value)
    with pytest.raises(JointError, match=r"^point = 6,0\.1: lies in adhesive and upper, not in lower"):
        pick.stress_at(section, x, y, "axial", region="lower")


def test_a_spot_says_value_unit_place_and_region(section):
    (spot,) = pick.spots(section, [(0.5, -0.3)], "peel")
    value, region = pick.stress_at(section, 0.5, -0.3)
    assert str(spot) == f"peel stress yy {value:.3g} MPa at x = 0.5, y = -0.3 mm (lower)"
    assert region == "lower"


def test_a_spot_is_written_in_other_units(section):
    # An inch is 25.4 mm; a psi is 6894.757 Pa.
    (spot,) = pick.spots(section, [(2.54, 0.508)], "peel")
    value, place = spot.lines("inch")
    assert value.endswith(" psi")
    assert float(value.split()[-2]) == pytest.approx(spot.value / 6.894757e-3, rel=5e-3)  # three digits
    assert place == "at x = 0.1, y = 0.02 in (upper)"


def test_corners_are_where_adhesive_and_adherends_meet(families):
    """By hand from the joints' lengths, mm: layers 0.2 thick, their middle at y = 0 in single laps."""

    def corners(name):
        return {(round(x, 9), round(y, 9)) for x, y in pick.singular_corners(families[name].geometry)}

    length = families["single"].geometry.length
    assert corners("single") == {(x, y) for x in (0.0, length) for y in (-0.1, 0.1)}
    # Toes and tops of fillets as high as the layer is thick, at 45 degrees, and the adherends' corners within.
    filleted = {(-0.4, -0.1), (0.0, 0.1), (0.0, 0.3), (length + 0.4, 0.1), (length, -0.1), (length, -0.3)}
    assert corners("single filleted") == filleted
    # Two corners at either end of the stair's adhesive and two at each of its turns; feet of beads, not their free corners.
    g = families["stepped unequal"].geometry
    top, f, turns = g.lower.thickness / 2, g.fillet_height, 2 * len(g.risers) - 2
    found = corners("stepped unequal")
    assert {(round(x, 9), top) for x in (-0.1 - f, -0.1, 0.1, 0.1 + f)} <= found
    assert len(found) == 2 * turns + 8
    assert max(y for _, y in found) == pytest.approx(top)


def test_a_stress_near_a_corner_is_said_to_depend_on_the_mesh(section, families):
    near = "near a corner, where the stress is singular: depends on the mesh"
    # The reach is half the layer's 0.2 mm; whatever region it is of.
    for x, y, marked in [
        (0, 0.1, True),
        (0.06, 0.17, True),
        (0.07, 0.03, True),
        (0.08, 0.17, False),
        (0, 0, False),
        (-0.4, -0.1, True),
    ]:
        (spot,) = pick.spots(section, [(x, y)], "peel")
        assert spot.singular is marked, (x, y)
        assert str(spot).endswith(f"), {near}") is marked
        long, short = spot.lines(), spot.lines(short=True)
        assert (short == (f"{long[0]} (singular corner)", long[1].removesuffix(f", {near}"))) is marked
    # At a square end the middle of the layer, whose peaks are reported, is no nearer than the reach.
    square = SolvedSection(**{**vars(section), "joint": families["single"]})
    assert [spot.singular for spot in pick.spots(square, [(0.0, 0.0), (0.0, 0.001), (0.0, -0.1)])] == [False, True, True]


def test_places_are_lengths():
    assert pick.read_points(["1.5,-0.2", (1, 2.0), "1 inch, 0 mm"]) == [(1.5, -0.2), (1.0, 2.0), (25.4, 0.0)]
    for wrong in ("1", "1,2,3", "a,b", "nan,0", "1 kg,0", 3, None):
        with pytest.raises(JointError, match=r"^point = .*: must be two lengths"):
            pick.read_point(wrong)


@pytest.mark.parametrize(
    ("point", "options", "says"),
    [
        (
            (0.0, 2.7),
            {},
            "^point = 0,2.7: lies outside the section, which lies within x from -50 to 62.5 and y from -1.7 to 2.6 mm",
        ),
        ((-0.3, 0.004), {}, "^point = -0.3,0.004: lies outside the section"),  # just over the fillet's slope, y = x + 0.3
        ((-1.0, 1.0), {}, "^point = -1,1: lies outside the section"),  # over the lower adherend's free arm
        ((0.0, 0.0), {"name": "hoop"}, "^stress = "),
        ((0.0, 0.0), {"region": "wing"}, "^region = .*lower, upper, adhesive"),
    ],
)
def test_no_stress_where_there_is_none(section, point, options, says):
    with pytest.raises(JointError, match=says):
        pick.stress_at(section, *point, **options)


# ---- in the picture ------------------------------------------------------


def pixel(plotter, place):
    """Return where vtk itself shows a place of space."""
    renderer = plotter.renderer
    renderer.SetWorldPoint(*place, 1.0)
    renderer.WorldToDisplay()
    return tuple(round(v) for v in renderer.GetDisplayPoint()[:2])


@pytest.mark.parametrize("options", [{"scale": 30.0}, {"end": "left"}, {"apart": 1.0, "stretch": 3.0}])
def test_a_click_finds_the_undeformed_place(section, options):
    plotter = stress_view(section, "axial", size=(800, 600), **options)
    try:
        plotter.render()
        body = plotter.actors["upper"].mapper.dataset
        flat = np.asarray(body.point_data["undeformed"])
        front = np.flatnonzero(np.isclose(flat[:, 2], flat[:, 2].max()) & (flat[:, 0] < 1.5) & (flat[:, 1] < 0.65))
        met, spot_at = 0, spots.picking(plotter, section, "axial")
        for point in front[:: len(front) // 8]:
            spot, z = spot_at(pixel(plotter, body.points[point]))
            if spot is None or spot.region != "upper":
                continue  # on the outline a pixel may lie beside the body, or on the other piece
            near = max(np.ptp(body.points[:, 0]) / 300, 0.002)  # a pixel and a half of the picture
            assert abs(spot.x - flat[point, 0]) < near
            assert abs(spot.y - flat[point, 1]) < near
            assert z == pytest.approx(flat[point, 2], abs=2 * near)
            assert spot.value == pytest.approx(pick.stress_at(section, spot.x, spot.y, "axial", "upper")[0])
            met += 1
        assert met >= 4
        assert spot_at((2, 2)) == (None, 0.0)
    finally:
        plotter.close()


def test_a_click_goes_by_search_trees(section, monkeypatch):
    """A picker says nothing when it does not know a locator's data, and looks through every cell: then no tree is built."""
    made, kind = [], vtkCommonDataModel.vtkStaticCellLocator
    monkeypatch.setattr(vtkCommonDataModel, "vtkStaticCellLocator", lambda: (made.append(kind()), made[-1])[1])
    plotter = stress_view(section, adherends="hidden", size=(400, 300))
    try:
        plotter.render()
        made.clear()
        spot_at, body = spots.picking(plotter, section, "peel"), plotter.actors["adhesive"].mapper.dataset
        assert spot_at(pixel(plotter, body.center))[0].region == "adhesive"
        (locator,) = made
        assert locator.GetBuildTime() > 0
    finally:
        plotter.close()


def test_a_click_shows_the_stress_and_the_next_one_replaces_it(section, monkeypatch):
    made, picking = [], spots.picking
    monkeypatch.setattr(spots, "picking", lambda *given: (made.append(given), picking(*given))[1])
    plotter = stress_view(section, "peel", end="left", size=(800, 600))
    try:
        plotter.render()
        interactor, body = plotter.iren.interactor, plotter.actors["lower"].mapper.dataset
        flat = np.asarray(body.point_data["undeformed"])
        middle = np.isclose(flat[:, 2], flat[:, 2].max()) & (np.abs(flat[:, 1] + 0.4) < 0.2) & (np.abs(flat[:, 0]) < 2.0)
        front = np.flatnonzero(middle)
        said = []
        for point in front[[0, -1]]:
            place = pixel(plotter, body.points[point])
            for event in ("LeftButtonPressEvent", "LeftButtonReleaseEvent"):
                interactor.SetEventInformation(*place)
                interactor.InvokeEvent(event)
            said.append(plotter.actors["clicked"].GetInput())
            assert said[-1].startswith("peel stress yy ")
            assert said[-1].endswith("mm (lower)")
        assert said[0] != said[1]
        assert len(made) == 1  # search trees of the bodies take seconds: one set serves for all clicks
        # The mouse drawn on turns the joint and picks nothing.
        interactor.SetEventInformation(*place)
        interactor.InvokeEvent("LeftButtonPressEvent")
        interactor.SetEventInformation(5, 5)
        interactor.InvokeEvent("LeftButtonReleaseEvent")
        assert plotter.actors["clicked"].GetInput() == said[1]
    finally:
        plotter.close()
