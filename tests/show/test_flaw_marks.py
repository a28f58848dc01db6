"""Flaws in pictures, tables and files: drawn where they are, with their measures, and read back."""

from __future__ import annotations

import numpy as np
import pytest

from fejoint import solve
from fejoint.joint.file import joint_from_text, joint_to_toml, template
from fejoint.show import flaw_marks
from fejoint.show.drawing import section_figure
from fejoint.show.files import bondline_csv, summary, write_run
from fejoint.show.mesh import mesh_figure
from fejoint.show.plots import bondline_figure
from fejoint.show.reading import read_run
from fejoint.show.shape import outlines
from fejoint.show.space.pick import singular_places
from fejoint.show.space.solid import read_section

FLAWS = {
    "single-lap": [("disbond", 0, 1.5, "middle", 1), ("void", 5, 2, None, 1), ("unwetted", 9, 1, "upper", 1)],
    "double-lap": [("disbond", 0, 1.5, "middle", 1), ("void", 5, 2, None, 2), ("unwetted", 11.5, 1, "upper", 2)],
    "stepped-lap": [("disbond", 1, 3, "middle", 1), ("void", 13, 4, None, 2), ("unwetted", 26, 2, "lower", 3)],
}
every_kind = pytest.mark.parametrize("kind", FLAWS)


def lap(kind, flaws=None, **changes):
    rows = [
        f"\n[[flaw]]\nkind = '{what}'\nstart = {start}\nlength = {length}\nbondline = {bond}"
        + (f"\nplace = '{at}'" if at else "")
        for what, start, length, at, bond in (FLAWS[kind] if flaws is None else flaws)
    ]
    length = {"double-lap": ["joint.overlap_length=12.5 mm"]}.get(kind, [])
    given = [f"{k.replace('__', '.')}={v}" for k, v in changes.items()]
    return joint_from_text(template(kind) + "".join(rows), ["title=sill, invented", *length, *given])


@pytest.fixture(scope="module")
def solved():
    return {kind: solve(lap(kind)) for kind in FLAWS}


def axes_of(figure, label):
    return next(axes for axes in figure.axes if axes.get_label() == label)


@every_kind
def test_the_section_shows_flaws_with_their_measures(kind):
    figure = section_figure(lap(kind))
    axes = axes_of(figure, "flaws")
    drawn = [patch.get_gid() for patch in axes.patches if str(patch.get_gid()).startswith("flaw")]
    assert sorted(drawn) == ["flaw disbond", "flaw unwetted", "flaw void"]
    texts = " ".join(text.get_text() for text in axes.texts)
    for what, start, length, *_ in FLAWS[kind]:
        assert f"{what} {length} mm" in texts
        assert f"from x = {start} mm" in texts
    sound = section_figure(lap(kind, []))
    assert all(axes.get_label() != "flaws" for axes in sound.axes)


def test_many_flaws_are_numbered():
    joint = lap("single-lap", [("void", 1 + k, 0.5, None, 1) for k in range(8)])
    texts = [text.get_text() for text in axes_of(section_figure(joint), "flaws").texts]
    assert [str(k) for k in range(1, 9)] == sorted(t for t in texts if t.isdigit())


@every_kind
def test_outlines_lie_where_the_flaws_are(kind):
    """A void's outline has its length times the layer's thickness; slits lie in the layer at their level."""
    joint = lap(kind)
    ta, bonds = joint.geometry.bondline_thickness, joint.geometry.bonds()
    for flaw, (polygon,) in flaw_marks.flaw_outlines(joint):
        x, y = polygon.T
        area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
        middle = bonds[flaw.bondline - 1].y
        assert (x.min(), x.max()) == pytest.approx((flaw.start, flaw.end))
        if flaw.kind == "void":
            assert area == pytest.approx(flaw.length * ta)
        else:
            at = {"middle": 0.0, "lower": -0.5, "upper": 0.5}[flaw.level] * ta + middle
            assert y.min() - 1e-9 <= at <= y.max() + 1e-9
            assert (np.abs(y - middle) <= ta / 2 + 1e-9).all()


def test_a_flaws_name_is_led_to_the_flaw():
    """A void that takes a fillet with it is met at its lower edge, not as low as the fillet reaches beside the adherend."""
    from matplotlib.figure import Figure

    joint = lap("single-lap", [("void", 10, 2.5, None, 1)], joint__spew="fillet")
    axes = Figure().add_subplot()
    ((x, y),) = flaw_marks.draw_flaws(axes, joint, lambda corners: corners)
    (bond,) = joint.geometry.bonds()
    assert (x, y) == pytest.approx((11.25, bond.y - joint.geometry.bondline_thickness / 2))


def test_an_outline_tapers_with_the_layer():
    joint = lap("single-lap", [], joint__bondline_taper="0.12 mm")
    polygons = outlines(joint.geometry)
    (layer,) = polygons["adhesive"]
    ends = [np.ptp(layer[np.isclose(layer[:, 0], x), 1]) for x in (0.0, 12.5)]
    assert ends == pytest.approx([0.14, 0.26])


@every_kind
def test_curves_are_shaded_and_the_mesh_is_opened(kind, solved):
    result = solved[kind]
    figure = bondline_figure(result)
    for label in ("shear", "peel", "load"):
        spans = [patch for patch in axes_of(figure, label).patches if patch.get_gid() == "flaw"]
        assert [round(p.get_extents().width, 6) > 0 for p in spans] == [True] * 3
    mesh = mesh_figure(result)
    assert "displaced" in axes_of(mesh, "flaw").get_title(loc="left")


@every_kind
def test_files_hold_flaws_and_are_read_back(kind, solved, tmp_path):
    result = solved[kind]
    write_run(result, tmp_path, joint_to_toml(result.joint))
    run = read_run(tmp_path)
    assert run.joint == result.joint
    assert [b.flawed for b in run.bondlines] == [b.flawed for b in result.bondlines]
    assert run.peak_shear[0].value == pytest.approx(result.peak_shear[0].value, rel=1e-6)
    rows = summary(result, theories=False)["flaws"]
    assert [(r["kind"], r["start_mm"], r["bondline"]) for r in rows] == [
        (f.kind, f.start, f.bondline) for f in result.joint.merged_flaws().flaws
    ]
    assert "nan" not in bondline_csv(result)
    assert any("across the whole width" in text for text in run.warnings)
    assert "flaws" not in summary(solve(lap(kind, [])), theories=False)


def test_a_picked_place_knows_where_flaws_make_the_stress_singular(solved):
    section = read_section(solved["single-lap"])
    places = {(round(float(x), 6), round(float(y), 6)) for x, y in singular_places(section.joint)}
    assert {(1.5, 0.0), (5.0, 0.1), (5.0, -0.1), (7.0, 0.1), (9.0, 0.1), (10.0, 0.1)} <= places
    assert (9.0, -0.1) not in places


def test_a_disbond_stays_open_where_the_view_cuts_an_end_out(solved):
    """In the window the adhesive is two pieces left of the tip: what is drawn has edges along both faces."""
    pytest.importorskip("pyvista")
    from fejoint.show.space.solid import cut_out

    section = read_section(solved["single-lap"])
    _, edges = cut_out(section, 1.0, section.cells_of("adhesive"), ((-1.0, 1.0), (-0.3, 0.3)))
    points = np.asarray(edges.points)
    on_faces = points[np.abs(points[:, 1]) < 1e-4]
    assert len(np.unique(np.sign(np.round(on_faces[:, 1], 9)))) == 2
