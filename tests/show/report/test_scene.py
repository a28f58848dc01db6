"""The data of the interactive view, decoded here on its own and held against the section; the script's hold on the markup."""

import base64
import json
import re
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest

import fejoint
import fejoint.show.report.scene as scene
from fejoint.errors import SetupError
from fejoint.show.colours import colour_limit
from fejoint.show.report.arrays import packed, packed_indices
from fejoint.show.report.surface import surface
from fejoint.show.space.frame import framed
from fejoint.show.space.pick import spots
from fejoint.show.space.ribbon import ribbons
from fejoint.show.space.solid import STRESSES as SHOWN
from fejoint.show.space.solid import read_section

STRESSES = {name: stress for name, stress in SHOWN.items() if stress.unit}  # those of a linear analysis: nothing yields

TYPES = {"uint16": "<u2", "uint32": "<u4", "float32": "<f4"}
# The nine nodes of a cell as the mesh's format has them: corners in turn, middles of the sides from 0-1 on, centre.
NINE = [[0, 4, 8, 7], [4, 1, 5, 8], [8, 5, 2, 6], [7, 8, 6, 3]]
# In the page, of the 8 MB it may have; the drawing library takes 4.8 MB.
LARGEST_SHARE, LARGEST_EVER = 1.5e6, 2.2e6


@pytest.fixture(scope="module")
def data(filleted):
    """The data of the solved joint with fillets, through JSON as in a page."""
    return json.loads(json.dumps(scene.scene_data(filleted), allow_nan=False))


@pytest.fixture(scope="module")
def others(families):
    """Solved joints of the other families, coarse meshes sufficing."""
    rough = {"mesh_density": 0.75, "error_target": 0.5}
    joints = {name: families[name] for name in ("double unlike", "stepped")}
    return {
        name: fejoint.solve(joint.model_copy(update={"analysis": joint.analysis.model_copy(update=rough)}))
        for name, joint in joints.items()
    }


@pytest.fixture(scope="module")
def pieces(data):
    return {piece["label"]: piece for piece in data["pieces"]}


def raw(text, kind):
    return np.frombuffer(base64.b64decode(text, validate=True), dtype=TYPES[kind])


def decoded(given):
    values = raw(given["data"], given["type"])
    if given["type"] != "uint16":
        return values.astype(float)
    values = given["low"] + given["step"] * values.astype(float)
    if "at" in given:
        values[raw(given["at"], "uint32")] = raw(given["beyond"], "float32")
    return values


def whole_numbers(given, columns=1):
    return raw(given["data"], given["type"]).astype(int).reshape(-1, columns)


def area(corners):
    """The area of polygons (n, k, 2), positive counter-clockwise."""
    x, y = np.moveaxis(corners, -1, 0)
    return ((x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y).sum(axis=1) / 2).sum()


def outline_area(points, edges):
    (x0, y0), (x1, y1) = points[edges[:, 0]].T, points[edges[:, 1]].T
    return ((x0 * y1 - x1 * y0) / 2).sum()


# ---- arrays


@pytest.mark.parametrize("around", [None, 0.0])
def test_packed_values_are_within_the_tolerance_and_the_middle_is_kept(around):
    values = np.concatenate([np.linspace(-0.4, 1.0, 5001), [0.0, 250.0, -80.0]])
    short = packed(values, 5e-5, around if around is not None else 0.3)
    assert short["type"] == "uint16"
    assert len(raw(short["at"], "uint32")) == 2
    # Those beyond are single precision, 6e-8 of themselves; steps carry the round-off of doubles too.
    assert np.abs(decoded(short) - values).max() < 5e-5 * (1 + 1e-9)
    if around is not None:
        assert (decoded(short)[values == 0.0] == 0.0).all()


def test_packed_values_that_need_more_digits_get_them_and_fewer_take_no_more_room_than_they_need():
    values = np.linspace(-1.0, 1.0, 999)
    fine = packed(values, 1e-7)
    assert fine["type"] == "float32"
    assert np.abs(decoded(fine) - values).max() < 1e-7
    coarse = packed(values, 10.0)
    assert np.abs(decoded(coarse) - values).max() < 1e-4  # as fine as 16 bits are, though asked for less
    for same in (np.full(7, 3.25), np.zeros(7)):
        assert (decoded(packed(same, 1e-9)) == same).all()
    assert decoded(packed(np.zeros(0), 1.0)).size == 0


def test_indices_take_two_bytes_as_long_as_they_can():
    for most, kind in ((65535, "uint16"), (65536, "uint32")):
        given = packed_indices(np.array([[0, 1], [most, 2]]))
        assert given["type"] == kind
        assert whole_numbers(given, 2).tolist() == [[0, 1], [most, 2]]


# ---- what nodes hold


def test_nodes_hold_what_the_section_holds(filleted, data, pieces, section):
    views = [view for look in data["looks"] for view in look["views"]]
    lengths = [data["shown"][view["shown"]]["length"] for view in views]
    for name, piece in pieces.items():
        nodes = np.unique(section.cells[section.cells_of(name)])
        n = len(nodes)  # beyond, the nodes that cuts made
        # A quarter of a thousandth of what is shown is a quarter of a pixel in a picture of a thousand.
        for axis, column in (("x", 0), ("y", 1)):
            off = np.abs(decoded(piece[axis])[:n] - section.points[nodes, column])
            assert off.max() < min(lengths) / 4000
        (step,) = piece["steps"]
        for axis, column in (("ux", 0), ("uy", 1)):
            off = np.abs(decoded(step[axis])[:n] - section.displacement[nodes, column]).max()
            for view, length in zip(views, lengths, strict=True):
                for frame in view["frames"]:
                    assert 2 * frame["scale"] * off * view["stretch"] <= length / 4000 * (1 + 1e-9)
        # Four digits where the colours end: half of the last one.
        for stress in STRESSES:
            given, want = decoded(step["stresses"][stress])[:n], section.stress[stress][nodes]
            ends = [shown["limits"][stress][0]["limit"] for shown in data["shown"]]
            # Beyond what the steps reach, single precision.
            assert (np.abs(given - want) < np.maximum(5e-5 * min(ends) * (1 + 1e-9), 1e-7 * np.abs(want))).all()


def test_the_adhesive_keeps_its_digits_where_it_is_seen_alone(filleted, section, monkeypatch):
    """Colours of the adhesive alone may end far below those of all; so many digits 16 bits do not give by chance."""
    monkeypatch.setattr(scene, "READ", 2e-5)
    data = scene.scene_data(filleted)
    (adhesive,) = (piece for piece in data["pieces"] if piece["adhesive"])
    nodes = np.unique(section.cells[section.cells_of("adhesive")])
    ends = {
        name: [min(shown["limits"][name][alone]["limit"] for shown in data["shown"]) for alone in (0, 1)] for name in STRESSES
    }
    assert min(alone / all_of_it for all_of_it, alone in ends.values()) < 0.5
    for name, (_, alone) in ends.items():
        given = decoded(adhesive["steps"][0]["stresses"][name])[: len(nodes)]
        want = section.stress[name][nodes]
        assert (np.abs(given - want) < np.maximum(2e-5 * alone * (1 + 1e-9), 1e-7 * np.abs(want))).all()


def test_a_step_more_is_an_array_more(filleted, monkeypatch, section):
    steps = scene._steps
    halved = {"displacement": section.displacement / 2, "stress": {name: values / 2 for name, values in section.stress.items()}}
    half = scene.Step("half the load", replace(section, **halved))
    monkeypatch.setattr(scene, "_steps", lambda *given: [half, *steps(*given)])
    data = scene.scene_data(filleted)
    assert data["steps"] == ["half the load", "full load"]
    for piece in data["pieces"]:
        first, last = (decoded(step["stresses"]["peel"]) for step in piece["steps"])
        # Each within half a last digit of the colours' end.
        end = min(shown["limits"]["peel"][0]["limit"] for shown in data["shown"])
        assert np.abs(2 * first - last).max() < 3 * 5e-5 * end + 1e-6 * np.abs(last).max()
    for shown in data["shown"]:  # nine digits are written
        for ribbon in shown["ribbon"]["ribbons"]:
            for before, after, curve in zip(*ribbon["steps"], ribbon["curves"], strict=True):
                assert after == curve["values"]
                np.testing.assert_allclose(2 * np.array(before), after, rtol=1e-8, atol=1e-12)


# ---- faces


def faces(piece, part, grid):
    """The corners of all triangles of a part, as the script makes them, and its outline."""
    points = np.column_stack([decoded(piece["x"]), decoded(piece["y"])])
    cells = whole_numbers(piece["cells"], grid.size)[whole_numbers(part["inside"]).ravel()]
    around = np.stack([grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]], axis=-1).reshape(-1, 4)
    quads = cells[:, around].reshape(-1, 4)
    return points, quads, whole_numbers(part["triangles"], 3), whole_numbers(part["edges"], 2)


def rectangles(g):
    """The adherends of a single lap: limits of x and y."""
    ta, length = g.bondline_thickness, g.overlap_length
    return {
        "lower": ((-g.lower.free_length, length), (-ta / 2 - g.lower.thickness, -ta / 2)),
        "upper": ((0.0, length + g.upper.free_length), (ta / 2, ta / 2 + g.upper.thickness)),
    }


def sides(limits, window):
    """What a window shows of a rectangle: its two sides."""
    return [min(b, d) - max(a, c) for (a, b), (c, d) in zip(limits, window, strict=True)]


def held(section):
    return np.column_stack([section.points, section.displacement])


def windows(section):
    # A window whose sides are on lines of the mesh, through nodes, is cut as well as any.
    x, y = np.unique(section.points[:, 0]), np.unique(section.points[:, 1])
    lines = (float(x[len(x) // 3]), float(x[len(x) // 2])), (float(y[3]), float(y[-4]))
    return [None, lines, *(framed(section, end, (), None, stretch).window for end in ("left", "right") for stretch in (1.0, 3.0))]


@pytest.mark.parametrize("corners_alone", [False, True])
def test_faces_cover_what_a_window_shows_and_outlines_go_round_it(section, areas, corners_alone):
    g = section.joint.geometry
    around = [[0, 1, 2, 3]] if corners_alone else NINE
    for name in section.regions:
        made = surface(section.cells[section.cells_of(name)], held(section), windows(section), corners_alone)
        points = made.values[:, :2]
        for window, part in zip(windows(section), made.parts, strict=True):
            quads = made.cells[part.inside][:, around].reshape(-1, 4)
            # Round-off: the mesher's coordinates carry some 1e-12 of the joint's length.
            covered = area(points[quads]) + area(points[part.triangles])
            along = points[part.edges[:, 1]] - points[part.edges[:, 0]]
            round_it = np.hypot(*along.T).sum()
            if window is None:
                assert covered == pytest.approx(areas[name], rel=1e-9)
            elif name != "adhesive":
                wide, tall = sides(rectangles(g)[name], window)
                assert covered == pytest.approx(wide * tall, rel=1e-9)
                assert round_it == pytest.approx(2 * (wide + tall), rel=1e-9)  # no side too many
            assert outline_area(points, part.edges) == pytest.approx(covered, rel=1e-9)
            begin, end = (np.bincount(column, minlength=len(points)) for column in part.edges.T)
            assert (begin == end).all()
            assert np.isin(part.corners, part.edges).all()
            if window is not None:
                shown = points[np.unique(np.concatenate([part.edges.ravel(), part.triangles.ravel()]))]
                (x0, x1), (y0, y1) = window
                assert (np.abs(shown - [(x0 + x1) / 2, (y0 + y1) / 2]) <= np.array([x1 - x0, y1 - y0]) / 2 * (1 + 1e-9)).all()


def test_a_side_of_a_window_may_go_through_nodes():
    """Half of a square that stands on a corner, cut from corner to corner: an area of 1, and 2 + 2 sqrt(2) round it."""
    corners = np.array([[-1.0, 0.0], [0.0, -1.0], [1.0, 0.0], [0.0, 1.0]])
    points = np.concatenate([corners, (corners + np.roll(corners, -1, axis=0)) / 2, [[0.0, 0.0]]])
    for start, end in ((0.0, 9.0), (-9.0, 0.0)):
        for window in (((start, end), (-9.0, 9.0)), ((-9.0, 9.0), (start, end))):
            made = surface(np.arange(9)[None], points, [window], False)
            (part,) = made.parts
            assert area(made.values[part.triangles]) == pytest.approx(1.0)
            along = made.values[part.edges[:, 1]] - made.values[part.edges[:, 0]]
            assert np.hypot(*along.T).sum() == pytest.approx(2.0 + 2.0 * np.sqrt(2.0))
            assert len(part.corners) == 3


def test_adhesive_at_an_end_is_its_layer_and_its_fillet(section):
    g = section.joint.geometry
    window = framed(section, "left").window
    made = surface(section.cells[section.cells_of("adhesive")], held(section), [window], False)
    (part,) = made.parts
    leg = 2 * g.bondline_thickness  # the fillet is as high as the bondline is thick
    points = made.values[:, :2]
    covered = area(points[made.cells[part.inside][:, NINE].reshape(-1, 4)]) + area(points[part.triangles])
    assert covered == pytest.approx(window[0][1] * g.bondline_thickness + leg**2 / 2, rel=1e-9)
    # Toe and top of the fillet, where it meets the end face, and two on the side of the window.
    assert len(part.corners) == 5


def test_what_cuts_made_lies_between_what_nodes_hold(section):
    """A linear field stays itself on the sides of a window."""
    x, y = section.points.T
    field = np.column_stack([section.points, 3.0 + 2.0 * x - 5.0 * y])
    made = surface(section.cells[section.cells_of("lower")], field, [framed(section, "right").window], False)
    assert len(made.values) > made.cells.max() + 1
    # Round-off of 1e-15 of values up to some hundreds.
    np.testing.assert_allclose(made.values[:, 2], 3.0 + 2.0 * made.values[:, 0] - 5.0 * made.values[:, 1], rtol=0, atol=1e-9)


@pytest.mark.parametrize("corners_alone", [False, True])
def test_what_cuts_made_holds_what_the_cells_hold_there(section, corners_alone):
    """A quadratic field, which cells of nine nodes hold exactly, also where a window cuts them between nodes.

    To round-off: 1e-15 of values up to some thousands, through the solution of a place's coordinates in its cell.
    """

    def field(x, y):
        return 3.0 + 2.0 * x - 5.0 * y + 0.7 * x * x - 4.0 * x * y + 11.0 * y * y

    x, y = section.points.T
    with_field = np.column_stack([section.points, field(x, y), -2.0 * field(x, y)])
    for name in section.regions:
        made = surface(section.cells[section.cells_of(name)], with_field, windows(section), corners_alone)
        fresh = 0
        for part in made.parts:
            nodes = np.unique(part.triangles)
            fresh += (nodes > made.cells.max()).sum()
            want = field(*made.values[nodes, :2].T)
            np.testing.assert_allclose(made.values[nodes, 2], want, rtol=1e-9, atol=1e-8, err_msg=name)
            np.testing.assert_allclose(made.values[nodes, 3], -2.0 * want, rtol=1e-9, atol=1e-8, err_msg=name)
        assert fresh > 10


def test_what_the_page_holds_where_a_window_cuts_is_what_is_read_there(section, data, pieces):
    """Every stress, within the steps of the arrays, as the command reads it there: where cells are cut, between their nodes.

    Places of the page are rounded, which a slope makes a difference of values: allowed is what the stress changes by
    between places two steps round it.
    """
    met = 0
    for name, piece in pieces.items():
        x, y = decoded(piece["x"]), decoded(piece["y"])
        step = max(piece[axis].get("step", 0.0) for axis in "xy") + 1e-5  # of single precision: 4e-6 mm at 60 mm
        around = 2 * step * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
        cut = np.unique(np.concatenate([whole_numbers(part["triangles"]) for part in piece["parts"]]))
        cut = cut[cut >= len(np.unique(section.cells[section.cells_of(name)]))]
        for node in np.random.default_rng(3).choice(cut, 12, replace=False):
            for stress in STRESSES:
                try:
                    near = [spot.value for spot in spots(section, around + np.array([x[node], y[node]]), stress, name)]
                except fejoint.JointError:
                    continue  # on the region's own outline
                given = piece["steps"][0]["stresses"][stress]
                room = given.get("step", 0.0) + 1e-6 * abs(near[0])
                assert min(near) - room <= decoded(given)[node] <= max(near) + room, (name, stress, x[node], y[node])
                met += 1
    assert met > 100


def test_cells_that_go_the_other_way_are_turned(section, areas):
    cells = section.cells[section.cells_of("upper")].copy()
    plain = surface(cells, held(section), [None], False)
    cells[::2] = cells[::2][:, [0, 3, 2, 1, 7, 6, 5, 4, 8]]
    mixed = surface(cells, held(section), [None], False)
    assert len(mixed.parts[0].edges) == len(plain.parts[0].edges)
    assert outline_area(mixed.values[:, :2], mixed.parts[0].edges) == pytest.approx(areas["upper"], rel=1e-9)


def test_the_page_holds_these_faces(data, pieces, areas):
    grid = np.array(data["grid"])
    for name, piece in pieces.items():
        assert len(piece["parts"]) == len(data["shown"])
        points, quads, triangles, edges = faces(piece, piece["parts"][0], grid)
        assert len(triangles) == 0
        # Places are off by at most 1/4000 of the shortest look, over the sides of a layer of a fifth of a millimetre.
        assert area(points[quads]) == pytest.approx(areas[name], rel=1e-2)
        assert outline_area(points, edges) == pytest.approx(area(points[quads]), rel=1e-9)


# ---- looks, words, sizes


def test_looks_are_those_of_the_still_pictures(data, section):
    metal = tuple(section.joint.geometry.adherends())
    assert [look["key"] for look in data["looks"]] == ["whole", "left", "right"]
    for look in data["looks"]:
        end = None if look["key"] == "whole" else look["key"]
        assert look["views"][0]["stretch"] == 1
        for view in look["views"][::2]:
            for hidden, given in zip(((), metal), view["frames"], strict=True):
                frame = framed(section, end, hidden, None, float(view["stretch"]))
                assert given == {"scale": frame.scale, "centre": frame.centre.tolist(), "motion": frame.motion.tolist()}
            shown = data["shown"][view["shown"]]
            frame = framed(section, end, (), None, float(view["stretch"]))
            assert (shown["width"], shown["length"]) == (frame.width, frame.length)
            for stress in STRESSES:
                cuts = [colour_limit(section, stress, frame.shown, alone) for alone in (False, True)]
                assert [given["limit"] for given in shown["limits"][stress]] == [cut for cut, _ in cuts]
                for given, (_, why) in zip(shown["limits"][stress], cuts, strict=True):
                    assert why in given["notes"][0]


def test_corners_are_told_and_what_is_said_of_them(data):
    # The layer is 0.2 mm thick, as high as its fillets; 12.5 mm long.
    given = {(round(x, 9), round(y, 9)) for x, y in data["singular"]["corners"]}
    assert given == {(-0.4, -0.1), (0.0, 0.1), (0.0, 0.3), (12.9, 0.1), (12.5, -0.1), (12.5, -0.3)}
    assert data["singular"]["reach"] == 0.1
    assert "depends on the mesh" in data["notes"]["singular"]


@pytest.mark.parametrize("hidden", [(), ("lower",), ("adhesive",), ("lower", "upper")])
def test_ranges_of_the_pieces_are_together_what_the_still_picture_tells_of_them(data, section, hidden):
    for look in data["looks"]:
        for view in look["views"]:
            end = None if look["key"] == "whole" else look["key"]
            nodes = framed(section, end, hidden, None, float(view["stretch"])).nodes
            for stress in STRESSES:
                told = [
                    piece["steps"][0]["ranges"][view["shown"]][stress] for piece in data["pieces"] if piece["label"] not in hidden
                ]
                values = section.stress[stress][nodes]
                # Six digits are written.
                assert min(low for low, _ in told) == pytest.approx(values.min(), rel=5e-6)
                assert max(high for _, high in told) == pytest.approx(values.max(), rel=5e-6)
    assert not any("All values" in note for cuts in data["shown"][0]["limits"].values() for cut in cuts for note in cut["notes"])
    assert data["notes"]["range"].startswith("All values here: {} to {}, ")


def test_every_stress_has_a_place_and_signed_ones_the_map_round_zero(data):
    assert [(s["key"], s["label"], s["signed"]) for s in data["stresses"]] == [
        (k, s.label, s.signed) for k, s in STRESSES.items()
    ]
    signed, unsigned = data["maps"]["signed"], data["maps"]["unsigned"]
    assert len(signed) % 2 == 1
    red, blue = (int(signed[i][1:3], 16) - int(signed[i][5:], 16) for i in (-1, 0))
    assert red > 0 > blue
    assert max(int(signed[len(signed) // 2][k : k + 2], 16) for k in (1, 3, 5)) > 225  # near white in the middle
    assert int(unsigned[0][3:5], 16) < int(unsigned[-1][3:5], 16)


def test_pieces_are_stacked_from_below_and_layers_are_pieces_of_their_own(filleted, others):
    for name, labels in {
        "single": ["lower", "adhesive", "upper"],
        "double unlike": ["lower outer", "adhesive 1", "inner", "adhesive 2", "upper outer"],
        "stepped": ["lower", "adhesive", "upper"],
    }.items():
        result = filleted if name == "single" else others[name]
        data = scene.scene_data(result)
        assert [piece["label"] for piece in data["pieces"]] == labels
        ranks = [piece["rank"] for piece in data["pieces"]]
        assert np.diff(ranks).tolist() == [1.0] * (len(ranks) - 1)
        assert sum(ranks) == 0
        assert [piece["adhesive"] for piece in data["pieces"]] == ["adhesive" in label for label in labels]
        bands = {tuple(ribbon["z"]) for ribbon in data["shown"][0]["ribbon"]["ribbons"]}
        assert len(bands) == (2 if "double" in name else 1)  # the treads of a stair are one ribbon
        for stress in STRESSES:
            words = " ".join(data["shown"][0]["limits"][stress][0]["notes"])
            assert ("lower layer's shear" in words) == ("double" in name and stress == "shear")


@pytest.mark.parametrize("name", ["filleted", "double unlike", "stepped"])
def test_ribbons_are_the_curves_of_the_bondlines_within_the_look(filleted, others, name):
    """Held against the run's own bondlines: places, values, which layer, and the share of the picture's length they rise to."""
    result = filleted if name == "filleted" else others[name]
    data, g = scene.scene_data(result), result.joint.geometry
    lines = {f"bondline {line.number}": line for line in result.bondlines}
    for look in data["looks"]:
        for view in look["views"]:
            shown = data["shown"][view["shown"]]
            ribbons, choices = shown["ribbon"]["ribbons"], shown["ribbon"]["choices"]
            end = None if look["key"] == "whole" else look["key"]
            (x0, x1), (y0, y1) = framed(read_section(result), end, (), None, float(view["stretch"])).window or 2 * (
                (-99.0, 99.0),
            )
            met = set()
            for ribbon in ribbons:
                for curve in ribbon["curves"]:
                    line = lines.get(curve["name"], result.bondlines[0])
                    assert len(result.bondlines) == 1 or curve["name"] in lines
                    met.add((ribbon["stress"], line.number))
                    x = np.array(curve["x"])
                    assert (np.diff(x) > 0).all()
                    assert (x[0], x[-1]) == pytest.approx((max(x0, line.x[0]), min(x1, line.x[-1])), abs=1e-6)
                    # Written with nine digits, places to 5e-8 mm at 20 mm: slopes are at most some 100 MPa/mm.
                    want = line.middle.at(x.clip(line.x[0], line.x[-1]), ribbon["stress"])
                    np.testing.assert_allclose(curve["values"], want, rtol=1e-8, atol=1e-5)
            seen = {bond for bond, of in enumerate(g.bonds(), 1) if y0 < of.y < y1 and of.start < x1 and of.end > x0}
            assert met == {(stress, number) for stress in ("shear", "peel") for number in seen}
            assert len(seen) >= 1
            peaks = {s: max(np.abs(c["values"]).max() for r in ribbons if r["stress"] == s for c in r["curves"]) for s in STACKED}
            for asked, names in {"shear": ["shear"], "peel": ["peel"], "both": ["peel", "shear"]}.items():
                choice = choices[asked]
                assert list(choice["bases"]) == names  # from below
                largest = max(peaks[stress] for stress in names)
                # As in the still picture: 0.11 of the length, 0.2 at an end; the height of a MPa is rounded to two digits.
                assert choice["high"] * largest == pytest.approx((0.11 if end is None else 0.2) * shown["length"], rel=0.05)
                tops = []
                for stress, base in choice["bases"].items():
                    values = np.concatenate([c["values"] for r in ribbons if r["stress"] == stress for c in r["curves"]])
                    assert base + choice["high"] * min(0.0, values.min()) > max(tops, default=0.0)  # clear of what is below
                    tops.append(base + choice["high"] * values.max())
            for ribbon in ribbons:
                back, front = ribbon["z"]
                assert 0 <= back < front <= shown["width"]


STACKED = ("peel", "shear")


@pytest.mark.parametrize("name", ["filleted", "double unlike", "stepped"])
def test_a_bondlines_ribbons_have_the_colour_of_the_still_picture_at_every_look(filleted, others, name):
    result = filleted if name == "filleted" else others[name]
    data, section = scene.scene_data(result), read_section(result)
    still = {one.bond: one.colour for one in ribbons(section, framed(section), "both", 0.0)}
    for shown in data["shown"]:
        for ribbon in shown["ribbon"]["ribbons"]:
            assert ribbon["colour"] == still[ribbon["name"] if len(still) > 1 else ""]
    assert len(set(still.values())) == len(still)


def test_units_of_what_is_read_off(filleted):
    data = scene.scene_data(filleted, "inch")
    assert data["length"]["unit"] == "in"
    assert data["length"]["factor"] == pytest.approx(1 / 25.4)
    assert data["stress"]["unit"] == "psi"
    assert data["stress"]["factor"] == pytest.approx(145.0377, rel=1e-6)  # 1 MPa; 1 psi = 6894.757 Pa
    notes = data["shown"][0]["limits"]["peel"][0]["notes"]
    assert all("psi" in note and "MPa" not in note for note in notes)


def test_no_more_bytes_than_a_page_can_bear(filleted, section, monkeypatch):
    cells = len(section.cells)
    fine = scene.scene_data(filleted)
    assert len(fine["grid"]) == 3
    assert len(json.dumps(fine)) / cells * scene.MANY_CELLS < LARGEST_SHARE
    monkeypatch.setattr(scene, "MANY_CELLS", cells - 1)
    coarse = scene.scene_data(filleted)
    assert len(coarse["grid"]) == 2
    assert any(f"{cells:,} cells are drawn by their corners alone" in note for note in coarse["notes"]["always"])
    assert not any("corners alone" in note for note in fine["notes"]["always"])
    parts = sum(len(json.dumps(piece["parts"])) for piece in coarse["pieces"])  # grows with the root of the cells
    assert (len(json.dumps(coarse["pieces"])) - parts) / cells * scene.MOST_CELLS < LARGEST_EVER
    monkeypatch.setattr(scene, "MOST_CELLS", cells - 1)
    refused = scene.scene_data(filleted)
    assert list(refused) == ["refusal"]
    assert f"{cells:,} cells" in refused["refusal"]


# ---- script and markup


def test_scripts_are_the_library_and_ours_and_ours_makes_no_markup_of_data():
    library, ours = scene.scene_scripts()
    assert library.startswith("/**\n* plotly.js")
    assert len(library) > 1e6
    for word in ("innerHTML", "outerHTML", "insertAdjacent", "eval(", "Function(", "document.write", "http"):
        assert word not in ours


def test_without_the_library_is_said_what_to_install(monkeypatch, tmp_path):
    found = scene.util.find_spec
    spec = replace_spec(found("plotly"), tmp_path)
    monkeypatch.setattr(scene.util, "find_spec", lambda name: spec)
    with pytest.raises(SetupError, match=r"without its plotly\.min\.js: pip install"):
        scene.scene_scripts()
    monkeypatch.setattr(scene.util, "find_spec", lambda name: None)
    with pytest.raises(SetupError, match=r"pip install 'fejoint\[report\]'"):
        scene.scene_scripts()


def replace_spec(spec, place):
    spec.submodule_search_locations = [str(place)]
    return spec


def test_every_part_that_the_script_takes_hold_of_is_in_the_markup_and_labelled():
    folder = resources.files("fejoint.show.report")
    script, markup = (folder.joinpath(name).read_text(encoding="utf-8") for name in ("scene.js", "scene.html"))
    ids = re.findall(r'\bid="([^"]+)"', markup)
    assert len(ids) == len(set(ids))
    taken = set(re.findall(r'\b(?:at|on)\("([a-z-]+)"', script)) | {
        f"{kind}-{axis}" for kind in ("axis", "letter") for axis in "xyz"
    }
    assert len(taken) > 15
    assert {f"scene-{name}" for name in taken} <= set(ids)
    assert {"scene", "scene-block"} <= set(ids)
    buttons = re.findall(r'<button type="button" id="scene-([a-z-]+)"', markup)
    assert buttons == ["turn-left", "turn-right", "turn-up", "turn-down", "nearer", "farther", "reset"]
    for button in buttons:
        assert re.search(rf'"?{button}"?(: \(|[,: ])', script)
    fields = re.findall(r'<(?:select|input) id="([^"]+)"', markup)
    for field in fields:
        assert f'<label for="{field}">' in markup or f'<label><input id="{field}"' in markup


def test_words_leave_room_for_the_numbers_the_script_puts_in(data):
    notes = data["notes"]
    assert notes["scale"].count("{}") == 2
    assert notes["stretched"].count("{}") == notes["apart"].count("{}") == 1
    script = resources.files("fejoint.show.report").joinpath("scene.js").read_text(encoding="utf-8")
    for word in notes:
        assert re.search(rf"(words|notes)\.{word}\b", script)
