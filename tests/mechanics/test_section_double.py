"""The double lap's meshed section, from its script: areas, names, grading, and the half as the mirror image of the whole."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from fejoint.mechanics.section import read_script, script_path

# Ends of lines lie where the script puts them, to round-off of coordinates of 100 mm; gmsh places the points between
# by stepping along the line, which misses the geometric series by up to 2e-5 of the cell there (as on a single lap).
PLACE = 1e-9
GRADED = 1e-4

# As the script's header has them; one test holds the script to it.
DEFAULTS = {
    "overlap_length": 25.0,
    "bondline_thickness": 0.2,
    "inner_thickness": 3.2,
    "inner_free_length": 50.0,
    "lower_outer_thickness": 1.6,
    "upper_outer_thickness": 1.6,
    "outer_free_length": 50.0,
    "spew_height": 0.0,
    "half": 0.0,
    "mesh_density": 1.0,
}
SQUARE = {
    "plain": {},
    "unlike": {"lower_outer_thickness": 0.8, "upper_outer_thickness": 3.0, "inner_thickness": 2.0, "inner_free_length": 20.0},
    "thin layer on 100 mm": {"bondline_thickness": 0.05, "overlap_length": 100.0},
    "thick layer": {"bondline_thickness": 3.0, "overlap_length": 10.0},
}
FILLETS = {
    "fillet": {"spew_height": 0.2},
    "tall fillet": {"spew_height": 1.4},  # 0.44 of the inner's thickness: those on its end face nearly meet
    "low fillet": {"spew_height": 0.02},
    "unlike, fillet": {**SQUARE["unlike"], "spew_height": 0.7},
}
SECTIONS = SQUARE | FILLETS
every_section = pytest.mark.parametrize("keys", SECTIONS.values(), ids=SECTIONS)
whole_and_half = pytest.mark.parametrize("half", [0.0, 1.0], ids=["whole", "half"])


def read(**keys: float):
    """Return the mesh and its dimensions, the defaults filled in."""
    g = DEFAULTS | keys
    ta, f = g["bondline_thickness"], g["spew_height"]
    return read_script(script_path("double_lap.geo"), g), SimpleNamespace(
        length=g["overlap_length"],
        ta=ta,
        inner=g["inner_thickness"],
        face=g["inner_thickness"] / 2,  # y of the inner's upper surface
        arm=g["inner_free_length"],
        lower=g["lower_outer_thickness"],
        upper=g["upper_outer_thickness"],
        outer_arm=g["outer_free_length"],
        leg=f + ta if f > 0 else 0.0,
        climb=f,
    )


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


def beside(mesh, curve: str) -> set[str]:
    """Return the regions on both sides of a curve; "" where there is none."""
    cells = mesh.f2t[:, mesh.boundaries[curve]]
    return set(np.where(cells < 0, "", region_of_cells(mesh)[cells]).ravel())


def distinct(places: np.ndarray) -> np.ndarray:
    """Return places in order, each once."""
    return np.unique(np.round(places, 9))


def test_defaults_are_those_of_the_header():
    """The script alone, as gmsh opens it, is the section of the stated defaults."""
    mesh, _ = read()
    alone = read_script(script_path("double_lap.geo"), {})
    assert np.array_equal(alone.p, mesh.p)
    assert np.array_equal(alone.t, mesh.t)


@every_section
@whole_and_half
def test_regions_have_the_areas_of_the_joint(keys, half):
    """Every cell in one region, convex and counter-clockwise; areas by hand, fillets as right triangles, four in the whole.

    Tolerance 1e-9: sums of double-precision areas.
    """
    mesh, g = read(**keys, half=half)
    assert (corner_jacobians(mesh) > 0).all()
    p = mesh.p[:, mesh.t]
    area = 0.5 * np.abs((p[0] * np.roll(p[1], -1, axis=0) - p[1] * np.roll(p[0], -1, axis=0)).sum(axis=0))
    share = 0.5 if half else 1.0
    wanted = {
        "inner": share * g.inner * (g.arm + g.length),
        "upper_outer": g.upper * (g.outer_arm + g.length),
        "adhesive": share * (2 * g.ta * g.length + 4 * g.leg**2 / 2),
    }
    if not half:
        wanted["lower_outer"] = g.lower * (g.outer_arm + g.length)
    assert set(mesh.subdomains) == set(wanted)
    assert sorted(np.concatenate(list(mesh.subdomains.values()))) == list(range(mesh.t.shape[1]))
    for name, cells in mesh.subdomains.items():
        assert area[cells].sum() == pytest.approx(wanted[name], rel=1e-9), name


@every_section
@whole_and_half
def test_cells_join_up(keys, half):
    """Sides of one cell only make up the outline and nothing else, whose length is added up by hand (1e-9: round-off)."""
    mesh, g = read(**keys, half=half)

    def side(thickness):
        """Return the outline of one half, without y = 0, from the loaded end's middle round to the inner's right end's."""
        end = np.sqrt(2) * g.leg if g.leg else g.ta
        inner = g.face + (g.arm - g.leg) + (g.face - g.climb)
        outer = (thickness - g.climb) + (g.length + g.outer_arm) + thickness + (g.outer_arm - g.leg)
        return inner + outer + 2 * end

    wanted = side(g.upper) + (g.arm + g.length if half else side(g.lower))
    assert lengths(mesh, mesh.boundary_facets()).sum() == pytest.approx(wanted, rel=1e-9)


@every_section
@whole_and_half
def test_curves_lie_where_their_names_say(keys, half):
    """End faces, mid-lines, interfaces, symmetry: place, extent, length, and the regions on both sides."""
    mesh, g = read(**keys, half=half)
    end, bonded = g.length + g.outer_arm, (0.0, g.length)
    expected = {
        "loaded": ((-g.arm, -g.arm), (0.0 if half else -g.face, g.face), {"inner", ""}),
        "bondline 2 lower": (bonded, (g.face,) * 2, {"inner", "adhesive"}),
        "bondline 2 middle": (bonded, (g.face + g.ta / 2,) * 2, {"adhesive"}),
        "bondline 2 upper": (bonded, (g.face + g.ta,) * 2, {"upper_outer", "adhesive"}),
    }
    if half:
        expected["symmetry"] = ((-g.arm, g.length), (0.0, 0.0), {"inner", ""})
        expected["gripped"] = ((end, end), (g.face + g.ta, g.face + g.ta + g.upper), {"upper_outer", ""})
    else:
        gripped = (-g.face - g.ta - g.lower, g.face + g.ta + g.upper)
        expected["gripped"] = ((end, end), gripped, {"lower_outer", "upper_outer", ""})
        expected["bondline 1 upper"] = (bonded, (-g.face,) * 2, {"inner", "adhesive"})
        expected["bondline 1 middle"] = (bonded, (-g.face - g.ta / 2,) * 2, {"adhesive"})
        expected["bondline 1 lower"] = (bonded, (-g.face - g.ta,) * 2, {"lower_outer", "adhesive"})
    assert set(mesh.boundaries) == {*expected, "cut 2", *([] if half else ["cut 1"])}
    for name, (along, across, regions) in expected.items():
        points = mesh.p[:, mesh.facets[:, mesh.boundaries[name]]]
        for at, (low, high) in zip(points, (along, across), strict=True):
            assert [at.min(), at.max()] == pytest.approx([low, high], abs=PLACE), name
        straight = (along[1] - along[0]) + (across[1] - across[0])
        if name == "gripped" and not half:
            straight = g.lower + g.upper  # the two faces, not the gap between them
        assert lengths(mesh, mesh.boundaries[name]).sum() == pytest.approx(straight, rel=1e-9), name
        assert beside(mesh, name) == regions, name


@every_section
@whole_and_half
def test_cuts_part_the_adherends(keys, half):
    """One line through the adhesive, free surface to free surface, that leaves no way from one interface to the other.

    Clear of the corners: its ends lie on the mid-line's height, none of its nodes nearer to an interface than a third of
    the thickness, where the three quadrilaterals of a triangle as high as the layer meet (round-off).
    """
    mesh, g = read(**keys, half=half)
    region = region_of_cells(mesh)
    for number, below, above, y in (
        (1, "lower_outer", "inner", -g.face - g.ta / 2),
        (2, "inner", "upper_outer", g.face + g.ta / 2),
    ):
        if half and number == 1:
            continue
        cut = mesh.boundaries[f"cut {number}"]
        assert beside(mesh, f"cut {number}") == {"adhesive"}
        times = np.bincount(mesh.facets[:, cut].ravel(), minlength=mesh.p.shape[1])
        ends = np.flatnonzero(times == 1)
        assert len(ends) == 2 and times.max() == 2
        assert set(ends) <= set(mesh.boundary_nodes())
        assert mesh.p[1, ends] == pytest.approx(y, abs=PLACE)
        assert np.abs(mesh.p[1, times > 0] - y).max() < g.ta / 6 + PLACE

        # Adhesive cells that hang together when the sides on the cut are taken away.
        kept = np.setdiff1d(np.flatnonzero(mesh.f2t[1] >= 0), cut)
        pairs = mesh.f2t[:, kept]
        pairs = pairs[:, (region[pairs] == "adhesive").all(axis=0)]
        cells = mesh.t.shape[1]
        part = connected_components(coo_matrix((np.ones(pairs.shape[1]), pairs), shape=(cells, cells)))[1]
        pieces = {}
        for name, level in ((below, "lower"), (above, "upper")):
            touching = mesh.f2t[:, mesh.boundaries[f"bondline {number} {level}"]].ravel()
            assert set(region[touching]) == {name, "adhesive"}
            pieces[level] = set(part[touching[region[touching] == "adhesive"]])
        assert len(pieces["lower"]) == len(pieces["upper"]) == 1
        assert pieces["lower"] != pieces["upper"]


@every_section
def test_layers_have_enough_cells_and_their_mid_lines_are_mesh_lines(keys):
    """An even number of cells through either thickness, six or more, the same at every x of the bonded length."""
    mesh, g = read(**keys)
    x, y = mesh.p[:, np.unique(mesh.t[:, mesh.subdomains["adhesive"]])]
    lines = distinct(mesh.p[0, mesh.facets[:, mesh.boundaries["bondline 2 middle"]].ravel()])
    assert np.array_equal(lines, distinct(mesh.p[0, mesh.facets[:, mesh.boundaries["bondline 1 middle"]].ravel()]))
    for line in lines:
        for middle in (-g.face - g.ta / 2, g.face + g.ta / 2):
            here = (np.abs(x - line) < 1e-8) & (np.abs(y - middle) < g.ta / 2 + 1e-8)
            through = np.sort(y[here]) - middle
            assert len(through) - 1 >= 6
            assert (len(through) - 1) % 2 == 0
            assert through + through[::-1] == pytest.approx(0, abs=GRADED * g.ta / 8)
            assert np.abs(through).min() < PLACE


@pytest.mark.parametrize("keys", SQUARE.values(), ids=SQUARE)
def test_cells_grow_by_a_constant_ratio_from_ends_and_interfaces(keys):
    """Away from the overlap ends by at most 1.35, away from the interfaces by at most 1.8; the inner's up to y = 0.

    Along x they stop growing when they are two thicknesses long; what is left over may make them one step longer.
    Tolerance 1e-4 of the ratio: places are off by up to 2e-5 of a cell, on both sides of both cells.
    """
    mesh, g = read(**keys)
    on_inner = distinct(mesh.p[0, np.abs(mesh.p[1] - g.face) < PLACE])
    on_outer = distinct(mesh.p[0, np.abs(mesh.p[1] - g.face - g.ta) < PLACE])
    column = distinct(mesh.p[1, np.abs(mesh.p[0]) < PLACE])

    def cells(places, fine, coarse):
        """Return the sizes of cells from a fine end to a coarse one."""
        low, high = min(fine, coarse), max(fine, coarse)
        sizes = np.diff(places[(places >= low - 1e-8) & (places <= high + 1e-8)])
        assert sizes.sum() == pytest.approx(high - low)
        return sizes if fine < coarse else sizes[::-1]

    middle, thinner = g.length / 2, min(g.lower, g.upper)
    along = {
        "inner's arm": (cells(on_inner, 0.0, -g.arm), g.inner),
        "left half": (cells(on_inner, 0.0, middle), min(thinner, g.inner)),
        "right half": (cells(on_inner, g.length, middle), min(thinner, g.inner)),
        "outers' arm": (cells(on_outer, g.length, g.length + g.outer_arm), thinner),
    }
    across = {}
    for sign, outer in ((-1, g.lower), (1, g.upper)):
        bond = (g.face, g.face + g.ta / 2, g.face + g.ta)
        across[f"inner {sign}"] = cells(column, sign * bond[0], 0.0)
        across[f"inner half layer {sign}"] = cells(column, sign * bond[0], sign * bond[1])
        across[f"outer half layer {sign}"] = cells(column, sign * bond[2], sign * bond[1])
        across[f"outer {sign}"] = cells(column, sign * bond[2], sign * (bond[2] + outer))
    for place, size in {**across, **{place: size for place, (size, _) in along.items()}}.items():
        growth = 1.8 if place in across else 1.35
        ratio = size[1:] / size[:-1]
        even = np.abs(ratio - 1) < GRADED
        growing = ratio[: np.argmax(even) - 1] if even.any() else ratio  # the last ratio before even cells is what is left over
        assert growing == pytest.approx(growing[0], rel=GRADED), place
        assert even[len(growing) + 1 :].all(), place
        assert 1.0 < growing[0] <= growth * (1 + GRADED), place
        assert 1 / growth < ratio[-1] or even[-1], place
    for place, (size, thickness) in along.items():
        assert size.max() <= 1.35 * 2 * thickness, place
    first = [size[0] for size in (*across.values(), *(size for size, _ in along.values()))]
    assert min(first) <= g.ta / 15
    # Neighbours across an end or an interface are of like size: no jump where the stress is steepest.
    assert max(first) < 1.8 * min(first)


@pytest.mark.parametrize("start", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("name", ["plain", "unlike", "tall fillet", "unlike, fillet", "thick layer"])
@whole_and_half
def test_double_density_keeps_every_mesh_line(name, half, start):
    """Each node of the coarser mesh is one of the finer, whose cells are four times as many, as the error estimate takes them.

    Tolerance: both meshes' points as gmsh places them, 1e-4 of the cell at the node.
    """
    coarse, fine = (read(**SECTIONS[name], half=half, mesh_density=density)[0] for density in (start, 2 * start))
    assert fine.t.shape[1] == 4 * coarse.t.shape[1]
    off = KDTree(fine.p.T).query(coarse.p.T)[0]
    longest = np.zeros(coarse.p.shape[1])
    for node in coarse.facets:
        np.maximum.at(longest, node, lengths(coarse, slice(None)))
    assert (off < GRADED * longest).all()


@pytest.mark.parametrize("keys", FILLETS.values(), ids=FILLETS)
@whole_and_half
def test_fillets_are_45_degree_triangles_at_every_end(keys, half):
    """Free edges at 45 degrees, legs as long as layer plus climb.

    At x = 0 on the inner and up the outers' end faces, at x = L on the outers and along the inner's. Tolerances: 1e-6 of
    a slope of cells as short as 1e-3 mm at coordinates of 100 mm; 1e-9 as round-off.
    """
    mesh, g = read(**keys, half=half)
    free = np.intersect1d(mesh.boundary_facets(), np.unique(mesh.t2f[:, mesh.subdomains["adhesive"]]))
    start, end = mesh.p[:, mesh.facets[0, free]], mesh.p[:, mesh.facets[1, free]]
    dx, dy = end - start
    above = start[1] > 0
    assert dy / dx == pytest.approx(np.where(above, 1.0, -1.0), abs=1e-6)
    for upper in (True,) if half else (True, False):
        for left in (True, False):
            on = (above == upper) & ((start[0] < g.length / 2) == left)
            assert np.hypot(dx, dy)[on].sum() == pytest.approx(np.sqrt(2) * g.leg, rel=1e-9)
            x = np.concatenate([start[0, on], end[0, on]])
            y = np.abs(np.concatenate([start[1, on], end[1, on]]))
            toe, top = (np.argmin(x), np.argmax(x)) if left else (np.argmax(x), np.argmin(x))
            here = [x[toe], y[toe], x[top], y[top]]
            outer = g.face + g.ta
            wanted = [-g.leg, g.face, 0.0, outer + g.climb] if left else [g.length + g.leg, outer, g.length, g.face - g.climb]
            assert here == pytest.approx(wanted, abs=PLACE)


@pytest.mark.parametrize(
    "keys", [k for n, k in SECTIONS.items() if "unlike" not in n], ids=[n for n in SECTIONS if "unlike" not in n]
)
@pytest.mark.parametrize("density", [0.75, 1.0, 2.0])
def test_whole_is_its_half_and_the_mirror_image(keys, density):
    """Alike outers: the same nodes, cells, regions and curves, above as in the half and below mirrored, to 1e-9 mm.

    Round-off, not 2e-5 of a cell: lines below y = 0 are drawn as the mirror images of those above.
    """
    whole, _ = read(**keys, mesh_density=density)
    half, _ = read(**keys, mesh_density=density, half=1.0)
    upper_node = KDTree(whole.p.T).query(half.p.T)
    lower_node = KDTree(whole.p.T).query((half.p * [[1], [-1]]).T)
    assert max(upper_node[0].max(), lower_node[0].max()) < PLACE
    assert set(upper_node[1]) | set(lower_node[1]) == set(range(whole.p.shape[1]))
    shared = set(upper_node[1]) & set(lower_node[1])
    assert shared == set(np.flatnonzero(np.abs(whole.p[1]) < PLACE))

    def as_sets(nodes):
        return set(map(frozenset, nodes.T.tolist()))

    swapped = {"upper_outer": "lower_outer"}
    for name, cells in half.subdomains.items():
        above, below = (as_sets(node[half.t[:, cells]]) for node in (upper_node[1], lower_node[1]))
        assert above <= as_sets(whole.t[:, whole.subdomains[name]]), name
        assert below <= as_sets(whole.t[:, whole.subdomains[swapped.get(name, name)]]), name
    assert whole.t.shape[1] == 2 * half.t.shape[1]
    swapped = {"2 lower": "1 upper", "2 middle": "1 middle", "2 upper": "1 lower"}
    swapped = {f"bondline {old}": f"bondline {new}" for old, new in swapped.items()} | {"cut 2": "cut 1"}
    for name, facets in half.boundaries.items():
        if name == "symmetry":
            continue
        above, below = (as_sets(node[half.facets[:, facets]]) for node in (upper_node[1], lower_node[1]))
        ours = [as_sets(whole.facets[:, whole.boundaries[n]]) for n in (name, swapped.get(name, name))]
        if name in swapped:
            assert [above, below] == ours, name
        else:
            assert above | below == ours[0], name


def test_middle_of_the_inner_is_a_mesh_line_of_every_whole():
    """Also where the outers are unlike: y = 0 parts no cell (1e-9, round-off)."""
    for name in ("unlike", "unlike, fillet"):
        mesh, g = read(**SECTIONS[name])
        y = mesh.p[1, mesh.t]
        assert not ((y.min(axis=0) < -PLACE) & (y.max(axis=0) > PLACE)).any()
        on = np.flatnonzero((np.abs(mesh.p[1, mesh.facets]) < PLACE).all(axis=0))
        assert lengths(mesh, on).sum() == pytest.approx(g.arm + g.length, rel=1e-9)


def test_half_has_no_lower_outer():
    """Whatever its thickness, the upper half is the same mesh."""
    thin, thick = (read(half=1.0, lower_outer_thickness=t)[0] for t in (0.5, 8.0))
    assert np.array_equal(thin.p, thick.p)
    assert np.array_equal(thin.t, thick.t)


SHARE = st.floats(0.0, 1.0)  # place in a range of sizes, on a logarithmic scale


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.tuples(*[SHARE] * 7), st.one_of(st.none(), SHARE))
def test_any_proportions_can_be_meshed(shares, climb):
    """Whatever a joint's limits let pass becomes a section of convex cells of the right area (25 drawn ones, always the same).

    Those of a single lap: thicknesses from 1/20 to 1000 layers, lengths to 1000 thicknesses, fillets up to nine tenths
    of an outer, or of half the inner. Areas to 1e-6, as `mesh_section` wants them.
    """

    def between(low, high, share):
        return float(low * (high / low) ** share)

    layer, overlap, inner, lower, upper, arm, outer_arm = shares
    ta = between(0.02, 5.0, layer)
    inner, lower, upper = (between(max(ta / 20, 0.05), min(1000 * ta, 50.0), t) for t in (inner, lower, upper))
    highest, f = min(0.45 * inner, 0.9 * lower, 0.9 * upper), 0.0
    if climb is not None and 0.1 * ta < highest:
        f = between(0.1 * ta, highest, climb)
    leg = f + ta if f else 0.0
    thinnest, shortest = min(inner, lower, upper), 1.001 * max(1.1 * leg, 0.1 * ta)
    keys = {
        "overlap_length": between(1.01 * ta, min(999 * thinnest, 9_999.0), overlap),
        "bondline_thickness": ta,
        "inner_thickness": inner,
        "inner_free_length": between(shortest, min(999 * inner, 9_999.0), arm),
        "lower_outer_thickness": lower,
        "upper_outer_thickness": upper,
        "outer_free_length": between(shortest, min(999 * lower, 999 * upper, 9_999.0), outer_arm),
        "spew_height": f,
    }
    for density in (0.5, 1.0):
        for half in (0.0, 1.0):
            mesh, g = read(**keys, mesh_density=density, half=half)
            jacobians = corner_jacobians(mesh)
            assert (jacobians > 0).all()
            total = (g.inner * (g.arm + g.length) + 2 * g.ta * g.length + 2 * leg**2) * (0.5 if half else 1.0)
            total += (g.upper + (0.0 if half else g.lower)) * (g.outer_arm + g.length)
            assert jacobians.sum() / 4 == pytest.approx(total, rel=1e-6)
