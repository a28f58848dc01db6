"""The figures say what the result holds, with units, and leave nothing behind."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import matplotlib
import matplotlib.image
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

import fejoint
from fejoint.bondline.closed_form import goland_reissner, shear_lag, volkersen
from fejoint.bondline.curves import Peak
from fejoint.environment import require_extra
from fejoint.errors import JointError, SetupError
from fejoint.show import drawing, mesh, plots
from fejoint.show.looks import LOOKS, theory_looks
from fejoint.units import display


@pytest.fixture(scope="module")
def result(joint):
    return fejoint.solve(joint("joint.upper.thickness=2.5 mm"))


@pytest.fixture(scope="module")
def pressed(joint):
    return fejoint.solve(joint("joint.spew=fillet", "load.force=-1 kN", "load.ends=pinned"))


def by_gid(axes, gid):
    (line,) = [line for line in axes.lines if line.get_gid() == gid]
    return line


@pytest.mark.parametrize(
    ("units", "length", "stress", "mm", "mpa", "newton"),
    [("mm", "mm", "MPa", 1.0, 1.0, 1.0), ("inch", "in", "psi", 25.4, 0.00689476, 4.4482216)],
)
def test_bondline_figure_marks_what_the_result_holds(result, texts, units, length, stress, mm, mpa, newton):
    figure = plots.bondline_figure(result, units=units)
    strip, shear, peel, load = figure.axes
    assert shear.get_ylabel() == f"shear stress, {stress}"
    assert peel.get_ylabel() == f"peel stress, {stress}"
    assert load.get_xlabel() == f"x along the overlap, {length}"
    assert load.get_ylabel() == f"load passed on, {'N' if units == 'mm' else 'lbf'}"
    peaks = (shear, "peak", result.peak_shear), (peel, "peak", result.peak_peel), (peel, "least", result.least_peel)
    for axes, word, (peak, _) in peaks:
        mark = by_gid(axes, f"{word} mark")
        assert np.multiply(mark.get_xdata(), mm) == pytest.approx(peak.x, abs=1e-9)
        assert np.multiply(mark.get_ydata(), mpa) == pytest.approx(peak.value, rel=1e-5)
        label = next(text for text in texts(axes) if text.startswith(word))
        assert stress in label
        assert f"{length}" in label.split("x = ")[1]
    assert np.multiply(by_gid(shear, "mean level").get_ydata(), mpa) == pytest.approx(result.joint.mean_shear, rel=1e-5)
    assert np.multiply(by_gid(load, "force level").get_ydata(), newton) == pytest.approx(result.joint.load.force, rel=1e-5)
    assert strip.get_xlim() == shear.get_xlim() == peel.get_xlim() == load.get_xlim()
    assert any("mid-line" in shear.get_title(loc=place) for place in ("left", "center"))


def test_curves_pass_through_the_points_of_the_result(result):
    _, shear, peel, _ = plots.bondline_figure(result).axes
    for axes, name in ((shear, "shear"), (peel, "peel")):
        line = next(line for line in axes.lines if line.get_label() == "finite elements")
        drawn = np.interp(result.bondlines[0].x, line.get_xdata(), line.get_ydata())
        np.testing.assert_allclose(drawn, getattr(result.bondlines[0], name), rtol=1e-9, atol=1e-9)


def test_theories_are_drawn_apart_and_without_what_they_lack(pressed):
    goland = goland_reissner.curves(pressed.joint, pressed.edges)[0]  # one bondline or a list of them
    theories = {"Volkersen": volkersen.curves(pressed.joint), "Goland": goland}
    figure = plots.bondline_figure(pressed, theories, interfaces=True)
    _, shear, peel, _ = figure.axes
    labels = {line.get_label() for line in shear.lines}
    assert {"finite elements", "finite elements, lower interface", "Volkersen", "Goland"} <= labels
    assert "Volkersen" not in {line.get_label() for line in peel.lines}  # it has no peel
    shown = [line for line in shear.lines if line.get_label() in ("finite elements", *theories)]
    assert len({str(line._dash_pattern) for line in shown}) == 3  # apart by dash, not by colour alone
    assert next(text.get_text() for text in figure.legends[0].get_texts()) == "finite elements"


def test_bondlines_that_lie_on_one_another_are_drawn_once_and_said_to(solved, texts):
    _, shear, _, load = plots.bondline_figure(solved["double"]).axes
    labels = [line.get_label() for line in shear.lines if line.get_label().startswith("finite")]
    assert labels == ["finite elements, both bondlines (alike)"]
    assert not any("bondline" in text for text in texts(shear))  # the peak is in both
    assert {"each bondline", "both bondlines together"} <= set(texts(load))


def test_unlike_bondlines_are_drawn_apart(solved, texts):
    for name in ("double unlike", "double pinned"):
        result = solved[name]
        figure = plots.bondline_figure(result, interfaces=True)
        _, shear, peel, load = figure.axes
        for axes, stress in ((shear, "shear"), (peel, "peel")):
            lines = {line.get_label(): line for line in axes.lines}
            for bondline in result.bondlines:
                line = lines[f"finite elements, bondline {bondline.number}"]
                drawn = np.interp(bondline.x, line.get_xdata(), line.get_ydata())
                np.testing.assert_allclose(drawn, getattr(bondline, stress), rtol=1e-9, atol=1e-9)
                assert f"finite elements, bondline {bondline.number}, lower interface" in lines
        styles = [line for label, line in lines.items() if label.startswith("finite") and "interface" not in label]
        assert len({line.get_color() for line in styles}) == len({line.get_linewidth() for line in styles}) == 2
        number = result.peak_peel[1]
        assert any(text.startswith("peak") and text.endswith(f"bondline {number}") for text in texts(peel)), name
        assert "both bondlines together" in texts(load)


def test_treads_make_one_line_with_gaps(solved, texts):
    for name, steps in (("stepped", 3), ("stepped once", 1), ("stepped unequal", 4)):
        result = solved[name]
        _, shear, peel, load = plots.bondline_figure(result).axes
        for axes, stress in ((shear, "shear"), (peel, "peel")):
            (line,) = [line for line in axes.lines if line.get_label().startswith("finite")]
            x, values = line.get_xdata(), line.get_ydata()
            gaps = np.flatnonzero(np.isnan(values))
            assert len(gaps) == steps - 1
            for part, bondline in zip(np.split(np.arange(len(x)), gaps), result.bondlines, strict=True):
                part = part[~np.isnan(values[part])]
                drawn = np.interp(bondline.x, x[part], values[part])
                np.testing.assert_allclose(drawn, getattr(bondline, stress), rtol=1e-9, atol=1e-9)
        for axes in (shear, peel, load):
            places = [line.get_xdata()[0] for line in axes.lines if line.get_gid() == "riser"]
            assert places == pytest.approx([bond.start for bond in result.joint.geometry.bonds()[1:]])
        if steps > 1:
            assert any(f"tread {result.peak_peel[1]}" in text for text in texts(peel))


def test_the_load_goes_over_from_nothing_to_all(solved, result):
    # To what the balance of the recovered stresses holds: the limit of the self-check, 1 %.
    for name, shown in [*solved.items(), ("square", result)]:
        load = plots.bondline_figure(shown).axes[3]
        lines = [line for line in load.lines if line.get_gid() == "load"]
        total = [line for line in load.lines if line.get_gid() == "load of all"] or lines
        (line,) = total
        x, force = line.get_xdata(), shown.joint.load.force
        assert (x[0], x[-1]) == (0.0, pytest.approx(shown.joint.geometry.length)), name
        assert line.get_ydata()[0] == 0.0, name
        assert line.get_ydata()[-1] == pytest.approx(force, rel=0.01), name
        # In between: what the bondlines have passed on, tread by tread or layer by layer.
        passed = [b.transferred * shown.joint.geometry.width for b in shown.bondlines]
        parts = [np.concatenate(passed)] if name.startswith("stepped") else passed[: len(lines)]
        for line, part in zip(lines, parts, strict=True):
            np.testing.assert_allclose(line.get_ydata()[1:-1], part, rtol=1e-9, atol=1e-9)
        if total is not lines:
            x = [b.x for b in shown.bondlines]
            np.testing.assert_allclose(x[0], x[1], rtol=0, atol=1e-9)


def test_the_overlap_is_drawn_over_its_curves(solved, texts, inside, apart):
    for name, result in solved.items():
        figure = plots.bondline_figure(result)
        strip = figure.axes[0]
        g = result.joint.geometry
        inside(figure, name)
        apart(strip, name)
        layers = {"bondline 1", "bondline 2"} if name.startswith("double") else {"adhesive"}  # as the legend calls them
        assert {g.adherend_key(region) for region in g.adherends()} | layers <= set(texts(strip)), name
        assert {patch.get_gid() for patch in strip.patches if patch.get_gid()} == set(g.region_areas()), name
        # An arrow at the far side of every adherend, away from the overlap in tension.
        along = [t for t in strip.texts if t.get_text() == "" and getattr(t, "arrow_patch", None) and t.xyann[1] == t.xy[1]]
        arrows = [(t.xyann[0], t.xy[0]) for t in along]
        assert len(arrows) == len(g.adherends()), name
        for tail, tip in arrows:
            outwards = -1 if tail < g.length / 2 else 1
            assert np.sign(tip - tail) == outwards * np.sign(result.joint.load.force), name
        assert sum(tail < 0 for tail, _ in arrows) == sum(x == 0 for x in g.entries().values()), name


def test_loads_of_the_ends_are_drawn_over_the_curves(solved, texts):
    for name, result in solved.items():
        strip = plots.bondline_figure(result).axes[0]
        load, g = result.joint.load, result.joint.geometry
        said, titles = texts(strip), [strip.get_title(loc=place) for place in ("left", "center", "right")]
        assert (f"moment\n{load.moment:g} N mm" in said) == (load.moment != 0), name
        assert (f"shear force\n{load.shear_force:g} N" in said) == (load.shear_force != 0), name
        assert ("thickness\nnot to scale" in said) != ("thickness not to scale" in titles), name
        others = [t for t in strip.texts if getattr(t, "arrow_patch", None) and not t.get_text() and t.xyann[1] != t.xy[1]]
        assert len(others) == (not load.force_alone), name
        for arrow in others:
            assert g.pull * (arrow.xy[0] - g.length / 2) > g.length / 2, name  # on the loaded side
        for arrow in others if load.shear_force else ():
            assert np.sign(arrow.xy[1] - arrow.xyann[1]) == np.sign(load.shear_force), name


def test_the_words_of_marks_cover_no_curve(joint, solved, result, pressed, apart):
    thick = [f"joint.{key}" for key in ("lower.thickness=6 mm", "upper.thickness=6 mm", "overlap_length=36 mm", "spew=fillet")]
    crowded = fejoint.solve(joint(*thick, "joint.bondline_thickness=0.3 mm", "analysis.error_target=0.5", kind="stepped-lap"))
    # 60 points of a line between any two of its own are denser than its letters are wide.
    for name, shown in [*solved.items(), ("square", result), ("pressed", pressed), ("crowded", crowded)]:
        theories = {"Volkersen": volkersen.curves(shown.joint)} if name in ("square", "pressed") else {}
        if name == "pressed":
            theories["Goland"] = goland_reissner.curves(shown.joint, shown.edges)
        if name == "crowded":
            theories["Shear lag"] = shear_lag.curves(shown.joint)
        figure = plots.bondline_figure(shown, theories)
        FigureCanvasAgg(figure).draw()
        for axes in figure.axes[1:3]:
            apart(axes, name)
            words = [text for text in axes.texts if text.get_text().startswith(("peak", "least"))]
            assert len(words) == (1 if axes is figure.axes[1] else 2), name
            for text in words:
                box = Text.get_window_extent(text)
                room = axes.get_window_extent()
                assert room.y0 < box.y0 < box.y1 < room.y1, (name, text)
                for line in axes.lines:
                    if line.get_color() != plots.FAINT:
                        points = axes.transData.transform(line.get_xydata())
                        share = np.linspace(0.0, 1.0, 60)[:, None, None]
                        x, y = (points[:-1] + share * np.diff(points, axis=0)).reshape(-1, 2).T
                        assert not ((x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)).any(), (name, text, line)


def test_a_legend_of_long_names_is_not_cut(result):
    bondlines = volkersen.curves(result.joint)
    for count in (1, 2, 3, 5):
        names = [f"a closed form of its own by number {k}, with much to be said of it" for k in range(count)]
        figure = plots.bondline_figure(result, dict.fromkeys(names, bondlines), interfaces=count == 3)
        FigureCanvasAgg(figure).draw()
        box = figure.legends[0].get_window_extent()
        width, height = figure.canvas.get_width_height()
        assert box.x0 > 0, count
        assert box.y0 > 0, count
        assert box.x1 < width, count
        assert box.y1 < height, count
        assert len(figure.legends) == 1
    short = plots.bondline_figure(result, {"A": bondlines, "B": bondlines})
    assert short.legends[0]._ncols == 3  # one row where there is room


@pytest.mark.parametrize("share", [0.9, 1.1])
def test_more_in_the_spew_is_said(pressed, result, share):
    assert pressed.spew_peaks, "the joint has fillets"
    shear, peel = pressed.peak_shear[0], pressed.peak_peel[0]
    peaks = {1: (Peak(share * shear.value, -0.1), Peak(share * peel.value, -0.1))}
    _, above, below, _ = plots.bondline_figure(replace(pressed, spew_peaks=peaks)).axes
    for axes, peak in ((above, shear), (below, peel)):
        said = axes.get_title(loc="left")
        told = f"in the spew beyond the overlap up to {display(share * peak.value, 'MPa', digits=3)}"
        assert (told in said) == ("spew" in said) == (share > 1)
    assert "mid-line of the layer within the overlap, clear" in above.get_title(loc="left")
    assert "mid-line of the layer, clear" in plots.bondline_figure(result).axes[1].get_title(loc="left")


def test_mesh_figure_draws_every_cell(solved, inside):
    for name, result in solved.items():
        g = result.joint.geometry
        for end in ("left", "right"):
            figure = mesh.mesh_figure(result, end=end)
            whole, near = figure.axes
            for axes in (whole, near):
                assert sum(len(c.get_paths()) for c in axes.collections) == result.section.mesh.t.shape[1]
                assert (axes.get_xlabel(), axes.get_ylabel()) == ("x, mm", "y, mm")
            assert np.mean(near.get_xlim()) == pytest.approx(0.0 if end == "left" else g.length)
            named = ", ".join(text.get_text() for text in figure.legends[0].get_texts())
            assert set(named.split(", ")) == set(g.region_areas()), name
            inside(figure, (name, end))
    with pytest.raises(JointError, match="end"):
        mesh.mesh_figure(result, end="top")


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_figures_are_written_the_same_each_time(result, tmp_path, kind):
    sums = []
    for name in ("a", "b"):
        path = plots.save_figure(plots.bondline_figure(result), tmp_path / "new" / f"{name}.{kind}")
        sums.append(hashlib.sha256(path.read_bytes()).hexdigest())
    assert sums[0] == sums[1]
    assert sorted(p.name for p in (tmp_path / "new").iterdir()) == [f"a.{kind}", f"b.{kind}"]
    if kind == "png":
        picture = matplotlib.image.imread(path)
        assert picture.shape[1] >= 1200
        assert picture[..., :3].std() > 0.05
    if kind == "svg":
        assert "shear stress, MPa" in path.read_text(encoding="utf-8")


def test_a_figure_that_cannot_be_written_leaves_nothing(result, tmp_path):
    figure = mesh.mesh_figure(result)
    with pytest.raises(SetupError, match=r"\.png, \.svg, \.pdf"):
        plots.save_figure(figure, tmp_path / "mesh.bmp")
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    with pytest.raises(SetupError):
        plots.save_figure(figure, tmp_path / "file" / "mesh.png")
    assert [p.name for p in tmp_path.iterdir()] == ["file"]


def test_settings_of_matplotlib_stay_as_they_were(result, monkeypatch):
    before = dict(matplotlib.rcParams)
    plots.bondline_figure(result)
    assert dict(matplotlib.rcParams) == before
    monkeypatch.setattr("fejoint.environment.importlib.util.find_spec", lambda name: None)
    with pytest.raises(SetupError, match=r"pip install 'fejoint\[plot\]'"):
        plots.bondline_figure(result)
    with pytest.raises(SetupError, match="needs nothing"):
        require_extra("nothing", "plot")


@pytest.mark.parametrize("stress", ["shear", "peel"])
def test_one_stress_is_drawn_into_axes_of_the_caller(result, texts, stress):
    from matplotlib.figure import Figure

    figure = Figure(figsize=(12, 5))
    left, right = figure.subplots(1, 2)
    axes = plots.stress_axes(result, stress, right, plots.main_theories(result), units="inch")
    assert axes is right
    assert not left.lines
    assert axes.get_ylabel() == f"{stress} stress, psi"
    peak = (result.peak_shear if stress == "shear" else result.peak_peel)[0]
    assert any(text.startswith(f"peak {display(peak.value, 'MPa', 'inch', 3)} at x") for text in texts(axes))
    first, *others = axes.get_legend_handles_labels()[1]
    assert first == "finite elements"
    assert others
    own = plots.stress_axes(result, stress).get_figure()
    assert stress in own.get_suptitle()
    assert len(own.legends) == 1


def test_only_bondline_stresses_can_be_asked_for(result):
    with pytest.raises(JointError, match="must be one of shear, peel"):
        plots.stress_axes(result, "axial")


def test_axes_go_by_name(result):
    assert [axes.get_label() for axes in plots.bondline_figure(result).axes] == ["section", "shear", "peel", "load"]


@pytest.mark.parametrize("title", ["$\\frac{1\n2", "\u202edrawkcab 界面", "x" * 10_000])
def test_any_title_can_be_drawn(result, title, tmp_path):
    joint = result.joint.model_copy(update={"title": title})
    figure = plots.bondline_figure(replace(result, joint=joint))
    plots.save_figure(figure, tmp_path / "figure.png")
    heading = figure.get_suptitle()
    assert heading.endswith("stresses along the bondline")
    assert len(heading) < 130
    assert heading.isprintable()


def test_a_grey_print_tells_lines_apart_from_one_another_and_from_paper():
    """Dashes tell lines apart; against paper they keep 3:1, what WCAG 2.2, success criterion 1.4.11, asks of graphics."""
    from matplotlib.colors import to_rgb

    looks = [plots.ELEMENTS[0], *LOOKS]
    assert len({str(look["linestyle"]) for look in looks}) == len(looks)
    for look in [*looks, plots.ELEMENTS[1]]:
        rgb = np.array(to_rgb(look["color"]))
        linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
        luminance = linear @ [0.2126, 0.7152, 0.0722]  # relative luminance of sRGB, IEC 61966-2-1
        assert 1.05 / (luminance + 0.05) >= 3.0, look


def test_a_theory_looks_the_same_whichever_others_are_drawn(result):
    whole = plots.main_theories(result)
    *_, last = whole
    (alone,) = [
        line for line in plots.stress_axes(result, "shear", theories={last: whole[last]}).lines if line.get_label() == last
    ]
    (among,) = [line for line in plots.stress_axes(result, "shear", theories=whole).lines if line.get_label() == last]
    assert alone.get_color() == among.get_color() == theory_looks(result.joint.geometry, ())[last]["color"]


def test_the_section_of_a_result_is_that_of_its_joint(result):
    assert drawing.section_figure(result).get_suptitle() == drawing.section_figure(result.joint).get_suptitle()


def test_a_joint_has_no_mesh(result):
    with pytest.raises(JointError, match="solve it first"):
        mesh.mesh_figure(result.joint)
