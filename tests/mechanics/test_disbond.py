"""Opening a mesh: what is parted, what is carried through, and where the tip is."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components
from skfem import MeshQuad

from fejoint import MeshError
from fejoint.joint.disbond import Disbond
from fejoint.joint.file import joint_from_text, template
from fejoint.mechanics.disbond import FACES, disbonded, opened, opening, tip_of
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.section import Section, mesh_section, read_script, script_path


def plate() -> Section:
    """Return 8 by 4 square cells of 1 mm, y = 0 in their middle."""
    mesh = MeshQuad.init_tensor(np.arange(9.0), np.arange(-2.0, 3.0)).with_subdomains({"all": np.arange(32)})
    line = np.flatnonzero((mesh.p[1, mesh.facets] == 0).all(axis=0))
    return Section(mesh.with_boundaries({"middle": line, "left": np.flatnonzero((mesh.p[0, mesh.facets] == 0).all(axis=0))}), 1.0)


def along(section: Section, start: float, end: float) -> np.ndarray:
    middle = section.mesh.p[0, section.mesh.facets].mean(axis=0)
    facets = section.facets("middle")
    return facets[(middle[facets] > start) & (middle[facets] < end)]


def pieces(mesh: MeshQuad) -> int:
    """Return of how many pieces a mesh is, by the vertices that cells share."""
    cells = np.tile(np.arange(mesh.t.shape[1]), 4)
    links = sp.coo_array((np.ones(cells.size), (cells, mesh.t.ravel())), shape=(mesh.t.shape[1], mesh.p.shape[1])).tocsr()
    return connected_components(links @ links.T)[0]


@pytest.mark.parametrize(
    ("start", "end", "more", "parts"),
    [(0, 3, 3, 1), (5, 8, 3, 1), (2, 6, 3, 1), (0, 8, 9, 2)],
    ids=["from the left", "from the right", "inside", "through"],
)
def test_vertices_along_a_disbond_become_two(start, end, more, parts):
    """By hand: every vertex but the tips, of which there are one, one, two and none."""
    whole = plate()
    parted = opened(whole, along(whole, start, end))
    assert parted.mesh.p.shape[1] == whole.mesh.p.shape[1] + more
    assert pieces(parted.mesh) == parts
    assert np.array_equal(parted.mesh.p[:, parted.mesh.t], whole.mesh.p[:, whole.mesh.t])
    edge = [len(mesh.boundary_facets()) for mesh in (whole.mesh, parted.mesh)]
    assert edge[1] == edge[0] + 2 * (end - start)
    assert np.array_equal(parted.cells("all"), whole.cells("all"))
    for name in ("middle", "left"):
        a, b = (np.sort(s.mesh.p[:, s.mesh.facets[:, s.facets(name)]].mean(axis=1)) for s in (whole, parted))
        assert np.array_equal(a, b)
    below, above = (parted.mesh.f2t[:, parted.facets(name)] for name in FACES)
    assert (below[1] == -1).all() and (above[1] == -1).all()
    height = parted.mesh.p[1, parted.mesh.t].mean(axis=0)
    assert (height[below[0]] == -0.5).all() and (height[above[0]] == 0.5).all()


def test_nothing_to_part_is_refused():
    whole = plate()
    for facets in (whole.facets("left"), np.array([], dtype=np.int64)):
        with pytest.raises(MeshError, match="between two cells"):
            opened(whole, facets)


def test_the_tip():
    whole = plate()
    for start, end, x, forward in ((0, 3, 3.0, 1), (5, 8, 5.0, -1)):
        d = discretise(opened(whole, along(whole, start, end)))
        tip = tip_of(d)
        assert (tip.x, tip.y, tip.forward, tip.length) == (x, 0.0, forward, 1.0)
        assert np.array_equal(d.points[tip.ahead], [[x, 0], [x + forward / 2, 0]])
        for face in (tip.below, tip.above):
            assert np.array_equal(d.points[face], [[x - forward, 0], [x - forward / 2, 0]])
        assert not np.isin(tip.below, tip.above).any()
        assert np.isin(tip.below, np.unique(d.line(FACES[0]))).all()
        centres = d.points[d.nodes_ac[tip.cells_above, 8]]
        assert (centres[:, 1] == 0.5).all() and sorted(centres[:, 0]) == [x - 0.5, x + 0.5]


def test_tips_that_closure_cannot_take_are_refused():
    whole = plate()
    with pytest.raises(MeshError, match="end at one place inside the section, not at 2"):
        tip_of(discretise(opened(whole, along(whole, 2, 6))))
    x = np.array([0.0, 1.0, 2.0, 3.0, 4.1, 5.2])
    mesh = MeshQuad.init_tensor(x, np.arange(-2.0, 3.0)).with_subdomains({"all": np.arange(20)})
    line = np.flatnonzero((mesh.p[1, mesh.facets] == 0).all(axis=0))
    graded = Section(mesh.with_boundaries({"middle": line}), 1.0)
    with pytest.raises(MeshError, match="must be even"):
        tip_of(discretise(opened(graded, along(graded, 0, 3))))


def test_opening_is_across_the_faces():
    """The cells above are moved as one: by what is known along x and y."""
    whole = plate()
    d = discretise(opened(whole, along(whole, 0, 8)))
    moved = np.zeros_like(d.points)
    moved[np.unique(d.nodes_ac[d.points[d.nodes_ac[:, 8], 1] > 0])] = [0.3, -0.1]
    apart, x = opening(d, moved)
    assert apart == pytest.approx(np.full(24, -0.1)) and (np.diff(x) >= 0).all()


# ---- joints ------------------------------------------------------------------

CASES = {
    "middle": ({}, {}),
    "right": ({}, {"end": "right", "place": "lower"}),
    "short": ({}, {"length": 0.05}),
    "long": ({}, {"length": 12.2, "place": "upper"}),
    "fillet": ({"fillet": True}, {}),
    "up the end face": ({"fillet": 0.5}, {"place": "upper"}),
    "along the fillet's foot": ({"fillet": 0.5}, {"place": "lower"}),
}


@pytest.mark.parametrize(("keys", "where"), CASES.values(), ids=CASES)
@pytest.mark.parametrize("density", [0.75, 1.0])
def test_disbonds_in_laps(lap, keys, where, density):
    """Regions keep their areas (by hand), the tip lies where it is stated, and cells at it are even and small."""
    joint, disbond = lap(**keys), Disbond(**{"length": 3.0, **where})
    section = disbonded(joint, disbond, density)
    mesh, d = section.mesh, discretise(section)
    tip, (x, y) = tip_of(d), disbond.tip(joint)
    assert (tip.x, tip.y) == (pytest.approx(x, abs=1e-9), pytest.approx(y, abs=1e-9))
    assert 0 < tip.length <= 0.1 / 8 / density * 1.5
    areas = {name: float(d.weight_qc[cells].sum()) for name, cells in mesh.subdomains.items()}
    expected = joint.geometry.region_areas()
    assert areas == {name: pytest.approx(area, rel=1e-6) for name, area in expected.items()}
    assert set(joint.geometry.curve_names()) <= set(mesh.boundaries)
    # The disbond reaches a free surface at its far end and ends inside: one piece, parted from the tip outwards.
    assert pieces(mesh) == 1
    below, above = (np.unique(d.line(name)) for name in FACES)
    assert len(np.intersect1d(below, above)) == 1
    if disbond.place != "middle":
        sides = [mesh.f2t[0, section.facets(name)] for name in FACES]
        adherend = section.cells(disbond.place)
        assert np.isin(sides[0], adherend).all() == (disbond.place == "lower")
        assert np.isin(sides[1], adherend).all() == (disbond.place == "upper")
        # All of the contact between the two that lies behind the tip: none is left.
        region = np.zeros(mesh.t.shape[1], dtype=int)
        region[section.cells("adhesive")], region[adherend] = 1, 2
        inner = np.flatnonzero(mesh.f2t[1] >= 0)
        contact = inner[(np.sort(region[mesh.f2t[:, inner]], axis=0) == [[1], [2]]).all(axis=0)]
        assert ((mesh.p[0, mesh.facets[:, contact]].mean(axis=0) - x) * tip.forward > 0).all()


@pytest.mark.parametrize("bondline", [1, 2])
@pytest.mark.parametrize("place", ["lower", "middle", "upper"])
def test_disbonds_in_double_laps(bondline, place):
    """In the layer meant, though the inner and the adhesive are one region for both."""
    joint = joint_from_text(template("double-lap"))
    disbond = Disbond(length=2, bondline=bondline, place=place)
    d = discretise(disbonded(joint, disbond, 0.75))
    y = d.points[np.unique(d.line(FACES[0])), 1]
    assert y == pytest.approx(np.full(len(y), disbond.tip(joint)[1]), abs=1e-9)
    assert not d.section.half


def test_meshes_without_a_disbond_are_as_ever(lap):
    """The script's own default, and a joint that names no disbond: the same mesh to the last bit."""
    joint = lap()
    plain = mesh_section(joint).mesh
    named = read_script(
        script_path("single_lap.geo"), {**joint.geometry.script_parameters(), "mesh_density": 1, "disbond_tip": 0}
    )
    assert np.array_equal(plain.p, named.p) and np.array_equal(plain.t, named.t)
