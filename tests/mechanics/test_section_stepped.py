"""The stepped lap's meshed section: areas, names, the cut along the stair, nesting, beads, and its turn by 180 degrees."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from fejoint import Adherend, Adhesive, Joint, Load, MeshError, SteppedLap
from fejoint.mechanics.section import mesh_section, read_script, script_path

METAL = {"elastic_modulus": 70_000.0, "poisson_ratio": 0.33}
GLUE = {"elastic_modulus": 2_000.0, "poisson_ratio": 0.35}
# Ends of lines lie where the script puts them, to round-off of coordinates of 100 mm; gmsh places the points between
# by stepping along the line, which misses the geometric series by up to 2e-5 of the cell there (as on a single lap).
PLACE = 1e-9
GRADED = 1e-4

SQUARE = {
    "one step": {"treads": (10.0,)},
    "three steps": {},
    # 4/21 mm high, which is less than the layer's 0.2 mm: treads lie in one another's layer.
    "twenty steps lower than the layer": {"treads": (3.0,) * 20},
    "steps as low as may be": {"heights": (1.2, 0.011, 0.02, 2.769)},
    "unequal": {"treads": (5.0, 12.0, 8.0), "heights": (0.3, 1.7, 0.8, 1.2), "lower_arm": 30.0, "upper_arm": 80.0},
    "thin tips": {"heights": (0.112, 1.9, 1.876, 0.112)},
    "short treads": {"treads": (0.21, 0.3, 0.21)},
    "short arms, thin layer": {"thickness": 12.0, "layer": 0.05, "treads": (30.0,) * 2, "lower_arm": 12.0, "upper_arm": 12.0},
    "thick layer": {"thickness": 12.0, "layer": 3.0, "treads": (20.0, 10.0)},
}
BEADS = {
    "beads": {"climb": 0.2},
    "one step, beads": {"treads": (9.0,), "climb": 3.6},
    "high beads on thin tips": {**SQUARE["thin tips"], "climb": 3.6},
    "low beads": {"climb": 0.021},
    "unequal, beads": {**SQUARE["unequal"], "climb": 1.5},
    "twenty steps, beads": {"treads": (3.0,) * 20, "climb": 0.5},
    "thick layer, beads": {**SQUARE["thick layer"], "climb": 0.31},
}
SECTIONS = SQUARE | BEADS
every_section = pytest.mark.parametrize("name", SECTIONS)


def lap(*, treads=(10.0,) * 3, heights=None, thickness=4.0, layer=0.2, lower_arm=50.0, upper_arm=50.0, climb=0.0) -> Joint:
    """Return the joint of some dimensions (mm)."""
    spew = {"spew": "fillet", "spew_height": climb} if climb else {}
    lower, upper = (Adherend(material=METAL, thickness=thickness, free_length=arm) for arm in (lower_arm, upper_arm))
    geometry = SteppedLap(
        width=25, bondline_thickness=layer, step_lengths=treads, step_heights=heights, lower=lower, upper=upper, **spew
    )
    return Joint(geometry=geometry, adhesive=Adhesive(**GLUE), load=Load(force=1000))


def dimensions(
    *, treads=(10.0,) * 3, heights=None, thickness=4.0, layer=0.2, lower_arm=50.0, upper_arm=50.0, climb=0.0
) -> SimpleNamespace:
    """Return the section by hand: the stair's vertices, shape (2*steps + 2, 2), and lengths."""
    n = len(treads)
    down = np.cumsum(np.full(n + 1, thickness / (n + 1)) if heights is None else heights)
    x, y = np.concatenate([[0.0], np.cumsum(treads)]), thickness / 2 - np.concatenate([[0.0], down])
    y[-1] = -thickness / 2
    return SimpleNamespace(
        steps=n,
        t=thickness,
        h=layer / 2,
        climb=climb,
        length=x[-1],
        left=-lower_arm,
        right=x[-1] + upper_arm,
        stair=np.column_stack([np.repeat(x, 2), np.concatenate([[y[0]], np.repeat(y[1:-1], 2), [y[-1]]])]),
    )


@cache
def made(name: str, density: float = 1.0):
    """Return the mesh of a named section."""
    return mesh_section(lap(**SECTIONS[name]), density).mesh


def corner_jacobians(mesh) -> np.ndarray:
    """Return twice the areas of the four corner triangles of every cell, shape (4, cells); positive when convex."""
    p = mesh.p[:, mesh.t]
    a, b = np.roll(p, -1, axis=1) - p, np.roll(p, 1, axis=1) - p
    return a[0] * b[1] - a[1] * b[0]


def lengths(mesh, facets) -> np.ndarray:
    """Return the lengths of facets."""
    return np.linalg.norm(mesh.p[:, mesh.facets[1, facets]] - mesh.p[:, mesh.facets[0, facets]], axis=0)


def region_of_cells(mesh) -> np.ndarray:
    """Return the name of every cell's region."""
    region = np.empty(mesh.t.shape[1], dtype=object)
    for name, cells in mesh.subdomains.items():
        region[cells] = name
    return region


def beside(mesh, region, facets) -> set[str]:
    """Return the regions on both sides of facets; "" where there is none."""
    cells = mesh.f2t[:, facets]
    return set(np.where(cells < 0, "", region[cells]).ravel())


def ends_of(mesh, facets) -> np.ndarray:
    """Return the two ends of a curve, node numbers; it must be one path that does not cross itself."""
    nodes, times = np.unique(mesh.facets[:, facets], return_counts=True)
    assert len(np.unique(facets)) == len(facets)
    assert times.max() <= 2
    assert (times == 1).sum() == 2
    graph = coo_matrix((np.ones(len(facets)), mesh.facets[:, facets]), shape=(mesh.p.shape[1],) * 2)
    assert len(np.unique(connected_components(graph, directed=False)[1][nodes])) == 1
    return nodes[times == 1]


def polygon_area(corners: np.ndarray) -> float:
    """Return the area of a polygon, corners counter-clockwise, shape (n, 2)."""
    x, y = corners.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


# ---- what is checked, of any mesh and its dimensions ------------------------


def check_areas(mesh, g):
    """Every cell in one region, convex and counter-clockwise; the areas those of polygons round the regions.

    The adhesive, mitred at every corner, is as large as layer times stair; a bead is a trapezium. Tolerance 1e-9: sums of
    double-precision areas.
    """
    assert (corner_jacobians(mesh) > 0).all()
    p = mesh.p[:, mesh.t]
    area = 0.5 * np.abs((p[0] * np.roll(p[1], -1, axis=0) - p[1] * np.roll(p[0], -1, axis=0)).sum(axis=0))
    below, above = g.stair[1:-1] - g.h, g.stair[1:-1] + g.h
    top, bottom = g.t / 2, -g.t / 2
    wanted = {
        "lower": polygon_area(
            np.array([(g.left, bottom), (g.length - g.h, bottom), *below[::-1], (-g.h, top), (g.left, top)]),
        ),
        "adhesive": 2 * g.h * (g.length + g.t) + 2 * g.climb * (2 * g.h + g.climb),
        "upper": polygon_area(np.array([(g.right, top), (g.h, top), *above, (g.length + g.h, bottom), (g.right, bottom)])),
    }
    assert set(mesh.subdomains) == set(wanted)
    assert np.array_equal(np.sort(np.concatenate(list(mesh.subdomains.values()))), np.arange(mesh.t.shape[1]))
    for name, cells in mesh.subdomains.items():
        assert area[cells].sum() == pytest.approx(wanted[name], rel=1e-9), name


def check_outline(mesh, g):
    """Sides of one cell only make up the outline and nothing else, whose length is added up by hand (1e-9: round-off)."""
    beads = 2 * (2 * np.sqrt(2) * g.climb - 2 * g.climb)  # two flanks in place of what each stands on beside the gap
    wanted = 2 * (g.right - g.left + g.t) + beads
    assert lengths(mesh, mesh.boundary_facets()).sum() == pytest.approx(wanted, rel=1e-9)


def check_curves(mesh, g):
    """Every named curve and no other: straight from end to end, as long as it is far, with its regions on both sides.

    Tolerances: round-off of coordinates of 100 mm for places, of sums for lengths.
    """
    half = np.array([g.h, g.h])
    expected = {
        "gripped": ((g.left, -g.t / 2), (g.left, g.t / 2), {"lower", ""}),
        "loaded": ((g.right, -g.t / 2), (g.right, g.t / 2), {"upper", ""}),
    }
    for i in range(1, g.steps + 1):
        a, b = g.stair[2 * i - 1], g.stair[2 * i]
        expected[f"bondline {i} lower"] = (a - half, b - half, {"lower", "adhesive"})
        expected[f"bondline {i} middle"] = (a, b, {"adhesive"})
        expected[f"bondline {i} upper"] = (a + half, b + half, {"upper", "adhesive"})
    for i in range(1, g.steps + 2):
        a, b = g.stair[2 * i - 2].copy(), g.stair[2 * i - 1].copy()
        a[1] += g.climb if i == 1 else 0.0  # through the beads to the free surface
        b[1] -= g.climb if i == g.steps + 1 else 0.0
        expected[f"riser {i} middle"] = (a, b, {"adhesive"})
    assert set(mesh.boundaries) == {*expected, "cut 1"}
    region = region_of_cells(mesh)
    for name, (a, b, regions) in expected.items():
        facets = mesh.boundaries[name]
        far = np.linalg.norm(np.subtract(b, a))
        along = np.subtract(b, a) / far
        from_a = mesh.p[:, np.unique(mesh.facets[:, facets])].T - a
        reached = from_a @ along
        assert [reached.min(), reached.max()] == pytest.approx([0, far], abs=PLACE), name
        assert np.abs(from_a @ (-along[1], along[0])).max() < PLACE, name
        assert lengths(mesh, facets).sum() == pytest.approx(far, rel=1e-9, abs=PLACE), name
        ends_of(mesh, facets)
        assert beside(mesh, region, facets) == regions, name


def check_cut(mesh, g):
    """One line along the whole stair, free surface to free surface, adhesive on both sides; without it the joint is in two.

    The one part holds the lower adherend, the other the upper. Tolerances as for the curves.
    """
    cut = mesh.boundaries["cut 1"]
    assert beside(mesh, region_of_cells(mesh), cut) == {"adhesive"}
    ends = ends_of(mesh, cut)
    assert set(ends) <= set(mesh.boundary_nodes())
    x, y = mesh.p[:, ends[np.argsort(-mesh.p[1, ends])]]
    assert x == pytest.approx([0, g.length], abs=PLACE)
    assert y == pytest.approx([g.t / 2 + g.climb, -g.t / 2 - g.climb], abs=PLACE)
    assert lengths(mesh, cut).sum() == pytest.approx(g.length + g.t + 2 * g.climb, rel=1e-9)
    pairs = mesh.f2t[:, np.setdiff1d(np.flatnonzero(mesh.f2t[1] >= 0), cut)]
    cells = mesh.t.shape[1]
    parts, part = connected_components(coo_matrix((np.ones(pairs.shape[1]), pairs), shape=(cells, cells)), directed=False)
    assert parts == 2
    lower, upper = (set(part[mesh.subdomains[name]]) for name in ("lower", "upper"))
    assert len(lower) == len(upper) == 1
    assert lower != upper


def check_layer(mesh, g):
    """From any side on a tread's lower interface straight across: an even number of cells, six or more, then the upper one.

    Half-way lies the side on the middle, everywhere as many cells from it; the same to both sides of every riser but the
    butt ends.
    """
    inside = np.zeros(mesh.t.shape[1], dtype=bool)
    inside[mesh.subdomains["adhesive"]] = True

    def next_sides(sides, cells):
        """Return the sides opposite in the cells, and the cells behind those (-1: none)."""
        local = np.argmax(mesh.t2f[:, cells] == sides, axis=0)
        opposite = mesh.t2f[(local + 2) % 4, cells]
        behind = np.where(mesh.f2t[0, opposite] == cells, mesh.f2t[1, opposite], mesh.f2t[0, opposite])
        return opposite, behind

    rows = set()
    for i in range(1, g.steps + 1):
        sides = mesh.boundaries[f"bondline {i} lower"]
        both = mesh.f2t[:, sides]
        cells = np.where(inside[both[0]], both[0], both[1])
        crossed = [sides]
        while inside[cells].any():
            assert inside[cells].all()
            sides, cells = next_sides(sides, cells)
            crossed.append(sides)
        assert np.array_equal(crossed[-1], mesh.boundaries[f"bondline {i} upper"])
        rows.add(len(crossed) - 1)
        assert np.array_equal(crossed[(len(crossed) - 1) // 2], mesh.boundaries[f"bondline {i} middle"])
    assert len(rows) == 1
    across = rows.pop()
    assert across >= 6
    assert across % 2 == 0
    for i in range(2, g.steps + 1):
        for side in (0, 1):
            sides = mesh.boundaries[f"riser {i} middle"]
            cells = mesh.f2t[side, sides]
            for _ in range(across // 2):
                assert inside[cells].all()
                sides, cells = next_sides(sides, cells)
            assert not inside[cells].any()


def check_nested(coarse, fine):
    """Each node of the coarser mesh is one of the finer, whose cells are four times as many, as the error estimate takes them.

    Tolerance: both meshes' points as gmsh places them, 1e-4 of the cell at the node.
    """
    assert fine.t.shape[1] == 4 * coarse.t.shape[1]
    off = KDTree(fine.p.T).query(coarse.p.T)[0]
    longest = np.zeros(coarse.p.shape[1])
    for node in coarse.facets:
        np.maximum.at(longest, node, lengths(coarse, slice(None)))
    assert (off < GRADED * longest).all()


def check_beads(mesh, g, place=PLACE):
    """Over the upper and under the lower butt end: flanks at 45 degrees, as high as the spew climbs, flat as the gap is wide.

    Tolerances: 1e-6 of a slope of cells as short as 1e-3 mm at coordinates of 100 mm; round-off of places and sums.
    """
    free = np.intersect1d(mesh.boundary_facets(), np.unique(mesh.t2f[:, mesh.subdomains["adhesive"]]))
    start, end = mesh.p[:, mesh.facets[0, free]], mesh.p[:, mesh.facets[1, free]]
    dx, dy = np.abs(end - start)
    flat = dy < PLACE
    assert dy[~flat] == pytest.approx(dx[~flat], rel=1e-6, abs=place - PLACE)
    for sign, gap in ((1, 0.0), (-1, g.length)):
        here = sign * start[1] > 0
        across, up = (start - [[gap], [0.0]])[:, here]
        across, up = np.append(across, (end[0] - gap)[here]), np.append(sign * up, sign * end[1, here])
        assert [across.min(), across.max()] == pytest.approx([-g.h - g.climb, g.h + g.climb], abs=place)
        assert [up.min(), up.max()] == pytest.approx([g.t / 2, g.t / 2 + g.climb], abs=place)
        assert np.hypot(dx, dy)[here & ~flat].sum() == pytest.approx(2 * np.sqrt(2) * g.climb, rel=1e-9, abs=place - PLACE)
        assert dx[here & flat].sum() == pytest.approx(2 * g.h, rel=1e-9)
        assert np.abs(start[1, here & flat]) == pytest.approx(g.t / 2 + g.climb, abs=place)


def check_turned(mesh, g):
    """Turned by 180 degrees about its middle it is the same: nodes, cells, regions and curves.

    Tolerance: points as gmsh places them along lines from either end, 1e-4 of the cell at the node.
    """
    off, node = KDTree(mesh.p.T).query(([[g.length], [0.0]] - mesh.p).T)
    shortest = np.full(mesh.p.shape[1], np.inf)
    longest = np.zeros(mesh.p.shape[1])
    for end in mesh.facets:
        np.minimum.at(shortest, end, lengths(mesh, slice(None)))
        np.maximum.at(longest, end, lengths(mesh, slice(None)))
    assert (off < GRADED * longest).all()
    assert (off < 0.5 * shortest).all()  # no other node can be meant
    assert np.array_equal(np.sort(node), np.arange(mesh.p.shape[1]))

    def as_sets(nodes):
        return set(map(frozenset, nodes.T.tolist()))

    turned = {"lower": "upper", "upper": "lower", "gripped": "loaded", "loaded": "gripped"}
    for name, cells in mesh.subdomains.items():
        assert as_sets(node[mesh.t[:, cells]]) == as_sets(mesh.t[:, mesh.subdomains[turned.get(name, name)]]), name
    for name, facets in mesh.boundaries.items():
        kind, _, rest = name.partition(" ")
        number, _, level = rest.partition(" ")
        last = {"bondline": g.steps + 1, "riser": g.steps + 2}.get(kind)
        other = f"{kind} {last - int(number)} {turned.get(level, level)}" if last else turned.get(name, name)
        assert as_sets(node[mesh.facets[:, facets]]) == as_sets(mesh.facets[:, mesh.boundaries[other]]), name


# ---- what the script delivers -----------------------------------------------


@every_section
@pytest.mark.parametrize("check", [check_areas, check_outline, check_curves, check_cut, check_layer])
def test_section_is_the_joint_s(check, name):
    """One, three and twenty steps, unequal, as low and as short as may be, square and with beads: see the checks."""
    check(made(name), dimensions(**SECTIONS[name]))


@pytest.mark.parametrize("name", BEADS)
def test_beads_are_trapezia_with_45_degree_flanks(name):
    """See the check."""
    check_beads(made(name), dimensions(**SECTIONS[name]))


@pytest.mark.parametrize(
    ("name", "start"), [(name, start) for name in SECTIONS for start in ((0.5,) if "twenty" in name else (0.5, 1.0))]
)
def test_double_density_keeps_every_mesh_line(name, start):
    """Densities 0.5, 1 and 2; see the check."""
    check_nested(made(name, start), made(name, 2 * start))


@pytest.mark.parametrize("share", [1e-3, 0.1, 0.5 - 1e-9, 0.5, 0.5 + 1e-9, 0.501, 0.7, 0.9])
def test_beads_of_one_step_may_pass_each_other(share):
    """On a single tread both tips carry a bead's toe; the script takes them in any order, further than joints are let to.

    Toes nearer than 1e-7 of the tread to each other share a line, so the beads' places are taken as off by as much.
    """
    keys = {"treads": (10.0,), "lower_arm": 20.0, "upper_arm": 20.0}
    parameters = lap(**keys).geometry.script_parameters() | {"spew_height": 10 * share}
    mesh, g = read_script(script_path("stepped_lap.geo"), parameters), dimensions(**keys, climb=10 * share)
    for check in (check_outline, check_curves, check_cut):
        check(mesh, g)
    check_beads(mesh, g, 1e-7 * g.length)
    assert (corner_jacobians(mesh) > 0).all()


@pytest.mark.parametrize(
    "keys",
    [
        {},
        SECTIONS["twenty steps, beads"],
        SECTIONS["one step, beads"],
        {"treads": (5.0, 9.0, 5.0), "heights": (0.3, 1.7, 1.7, 0.3), "climb": 0.2},
        {"treads": (5.0, 9.0, 9.0, 5.0), "heights": (0.2, 1.1, 1.4, 1.1, 0.2)},
    ],
)
def test_turned_by_180_degrees_it_is_the_same(keys):
    """Alike arms and a stair that reads the same from both ends; see the check."""
    check_turned(mesh_section(lap(**keys), 0.75).mesh, dimensions(**keys))


def test_script_opens_on_its_own():
    """Without a parameter, as gmsh opens it, it is the section of the defaults in its header; steps alone makes equal risers."""
    alone = read_script(script_path("stepped_lap.geo"), {})
    assert np.array_equal(alone.p, made("three steps").p)
    assert np.array_equal(alone.t, made("three steps").t)
    for steps in (1, 7, 20):
        check_curves(read_script(script_path("stepped_lap.geo"), {"steps": steps}), dimensions(treads=(10.0,) * steps))


SHARE = st.floats(0.0, 1.0)  # place in a range of sizes, on a logarithmic scale


@settings(max_examples=40, deadline=None, derandomize=True)
@given(
    st.tuples(*[SHARE] * 4),
    st.one_of(st.none(), SHARE),
    st.lists(st.tuples(SHARE, SHARE), min_size=1, max_size=20),
    SHARE,
    st.sampled_from([0.5, 1.0]),
)
def test_any_accepted_geometry_can_be_meshed(shares, climb, steps, last, density):
    """Whatever the joint's own limits let pass becomes a section of convex cells that join up (40 drawn ones, always the same).

    `mesh_section` itself holds the areas to 1e-6.
    """

    def between(low, high, share):
        return float(low * (high / low) ** share)

    layer, thickness, lower, upper = shares
    n, ta = len(steps), between(0.02, 5.0, layer)
    least = np.array([0.551, *[0.051] * (n - 1), 0.551]) * ta
    t = between(1.001 * least.sum(), min(1000 * ta, 50.0), thickness)
    weights = np.array([between(1.0, 1000.0, share) for share in (*(height for height, _ in steps), last)])
    treads = [between(1.01 * ta, min(999 * t, 9_999.0) / n, share) for _, share in steps]
    room = min(0.4 * treads[0], 0.4 * treads[-1], 0.9 * t)
    f = 0.0 if climb is None or room < 0.1 * ta else between(0.1 * ta, room, climb)
    shortest = max(1.001 * t, 1.11 * (f + ta) if f else 0.0)
    keys = {
        "treads": tuple(treads),
        "heights": tuple(map(float, least + weights / weights.sum() * (t - least.sum()))),
        "thickness": t,
        "layer": ta,
        "lower_arm": between(shortest, min(999 * t, 9_999.0), lower),
        "upper_arm": between(shortest, min(999 * t, 9_999.0), upper),
        "climb": f,
    }
    mesh = mesh_section(lap(**keys), density).mesh
    assert (corner_jacobians(mesh) > 0).all()
    check_outline(mesh, dimensions(**keys))


# ---- when script and joint disagree -----------------------------------------

CHANGES = {
    "bead's corner": (
        "{PX(3*r+a+1), b * (surface_y + f), 0};\n  flank",
        "{PX(3*r+a+1) + a*h/9, b * (surface_y + f), 0};\n  flank",
        (check_areas, check_outline, check_beads),
    ),
    "bead's toe": ("px += a * foot_l(s); pf", "px += 1.01 * a * foot_l(s); pf", (check_areas, check_outline, check_beads)),
    "mitre": ("ux = 1; uy = 0; turn = 1;", "ux = 1; uy = 0; turn = -1;", (check_areas, check_outline, check_curves)),
    "feet of lines outside the adherend": ("slope = Min(1,", "slope = -Min(1,", (check_areas, check_outline)),
    "layer": ("h = bondline_thickness / 2;", "h = bondline_thickness / 1.998;", (check_areas, check_curves)),
    "treads": (
        "edge = step_length~{(k+1)/2};",
        "edge = 1.001 * step_length~{(k+1)/2};",
        (check_areas, check_outline, check_curves, check_cut),
    ),
    "gap in the cut": ("stair() += middle();", "If (k != 2)\n stair() += middle();\n EndIf", (check_cut,)),
    "cut that ends in the bead": ("    middle() += W(2);", "    r = 0;", (check_curves, check_cut)),
    "middle on the interface": ("middle() += C(3*i+1);", "middle() += C(3*i);", (check_curves, check_cut, check_layer)),
    "interface on the middle": ("lower() += C(3*i);", "lower() += C(3*i+1);", (check_curves, check_layer)),
    "interface on the wrong side": ("upper() += C(3*i+2);", "upper() += C(3*i);", (check_curves, check_layer)),
    "end face's name": ('Curve("gripped")', 'Curve("held")', (check_curves,)),
    "riser's name": ('("riser %g middle", k/2+1)', '("riser %g middle", k/2+2)', (check_curves,)),
    "few cells across": ("Max(1, Round(half_layer_cells * mesh_density))", "2", (check_layer, check_nested)),
    "odd numbers of cells": ("2 * Max(1, Round(Log", "1 + Max(1, Round(Log", (check_nested,)),
    "ratios that are not roots": ("R() += high^(fine * n1 / N(i));", "R() += high^fine;", (check_nested,)),
    "ratios across the layer": ("growth_h^(half_layer_cells / half_cells)", "growth_h", (check_nested,)),
    "one adherend unlike the other": ("high^(n1 / depth_cells)", "high^((1 + a / 9) * n1 / depth_cells)", (check_turned,)),
}


@pytest.fixture
def changed(tmp_path):
    """Return the function that makes a changed copy of the script, beside what it includes."""

    def change(old: str, new: str) -> Path:
        for script in script_path("stepped_lap.geo").parent.glob("*.geo"):
            (tmp_path / script.name).write_text(script.read_text())
        copy = tmp_path / "stepped_lap.geo"
        assert copy.read_text().count(old) == 1
        copy.write_text(copy.read_text().replace(old, new))
        return copy

    return change


@pytest.mark.parametrize(("old", "new", "checks"), CHANGES.values(), ids=CHANGES)
def test_every_check_sees_a_changed_script(changed, old, new, checks):
    """None of the checks above passes whatever the script does."""
    keys = {"climb": 0.5}
    copy, parameters = changed(old, new), lap(**keys).geometry.script_parameters()
    mesh = read_script(copy, {**parameters, "mesh_density": 1.0})
    for check in checks:
        other = read_script(copy, {**parameters, "mesh_density": 0.5}) if check is check_nested else None
        with pytest.raises(AssertionError):
            check(other, mesh) if other else check(mesh, dimensions(**keys))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"riser %g middle", k/2+1', '"riser %g middle", k/2+2', "the curve named 'riser 1 middle' is missing"),
        ("edge = step_length~{(k+1)/2};", "edge = 1.001 * step_length~{(k+1)/2};", "region 'lower' has"),
    ],
)
def test_changed_section_is_refused(changed, monkeypatch, old, new, says):
    """The package itself misses a curve by its name, and a region by its area."""
    copy = changed(old, new)
    monkeypatch.setattr("fejoint.mechanics.section.script_path", lambda _: copy)
    with pytest.raises(MeshError, match=says):
        mesh_section(lap())


@pytest.mark.parametrize(
    ("broken", "says"),
    [
        ('DefineConstant[ steps = {1, Name "Parameters/steps"} ];\nb = c;\n', "Unknown variable 'c'"),
        ('DefineConstant[ steps = {1, Name "Parameters/steps"} ];\nFor i In {1:3}\n  b = c;\nEndFor\n', "Unknown variable 'c'"),
        ('DefineConstant[ steps = {1, Name "Parameters/steps"} ];\nPoint(1) = {0, 0\n', "syntax error"),
    ],
    ids=["line", "loop", "syntax"],
)
def test_read_script_works_again_after_a_script_that_gmsh_cannot_read(tmp_path, broken, says):
    """gmsh's reader stays where it stopped, so the next script would fail too: it is started anew, with its settings."""
    (tmp_path / "broken.geo").write_text(broken)
    for _ in range(2):
        with pytest.raises(MeshError, match=r"broken\.geo: gmsh cannot mesh it \(.*" + says):
            read_script(tmp_path / "broken.geo", {"steps": 2.0})
        again = mesh_section(lap()).mesh
        assert np.array_equal(again.p, made("three steps").p)
        assert np.array_equal(again.t, made("three steps").t)
        assert all(np.array_equal(again.boundaries[name], made("three steps").boundaries[name]) for name in again.boundaries)
