"""The figures say what the result holds, with units, and leave nothing behind."""

from __future__ import annotations

import hashlib

import matplotlib
import matplotlib.image
import numpy as np
import pytest

import fejoint
from fejoint.bondline.closed_form import goland_reissner, volkersen
from fejoint.environment import require_extra
from fejoint.errors import JointError, SetupError
from fejoint.show import plots


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
    ("units", "length", "stress", "mm", "mpa"), [("mm", "mm", "MPa", 1.0, 1.0), ("inch", "in", "psi", 25.4, 0.00689476)]
)
def test_bondline_figure_marks_what_the_result_holds(result, texts, units, length, stress, mm, mpa):
    figure = plots.bondline_figure(result, units=units)
    strip, shear, peel = figure.axes
    assert shear.get_ylabel() == f"shear stress, {stress}"
    assert peel.get_ylabel() == f"peel stress, {stress}"
    assert peel.get_xlabel() == f"x along the overlap, {length}"
    peaks = (shear, "peak", result.peak_shear), (peel, "peak", result.peak_peel), (peel, "least", result.least_peel)
    for axes, word, (peak, _) in peaks:
        mark = by_gid(axes, f"{word} mark")
        assert np.multiply(mark.get_xdata(), mm) == pytest.approx(peak.x, abs=1e-9)
        assert np.multiply(mark.get_ydata(), mpa) == pytest.approx(peak.value, rel=1e-5)
        label = next(text for text in texts(axes) if text.startswith(word))
        assert stress in label
        assert f"{length}" in label.split("x = ")[1]
    assert np.multiply(by_gid(shear, "mean shear").get_ydata(), mpa) == pytest.approx(result.joint.mean_shear, rel=1e-5)
    assert strip.get_xlim() == shear.get_xlim() == peel.get_xlim()
    assert any("mid-line" in shear.get_title(loc=place) for place in ("left", "center"))


def test_curves_pass_through_the_points_of_the_result(result):
    _, shear, peel = plots.bondline_figure(result).axes
    for axes, name in ((shear, "shear"), (peel, "peel")):
        line = next(line for line in axes.lines if line.get_label() == "finite elements")
        drawn = np.interp(result.bondlines[0].x, line.get_xdata(), line.get_ydata())
        np.testing.assert_allclose(drawn, getattr(result.bondlines[0], name), rtol=1e-9, atol=1e-9)


def test_theories_are_drawn_apart_and_without_what_they_lack(pressed):
    edge = pressed.bondlines[0].left
    theories = {"Volkersen": volkersen.curves(pressed.joint), "Goland": goland_reissner.curves(pressed.joint, edge)}
    figure = plots.bondline_figure(pressed, theories, interfaces=True)
    _, shear, peel = figure.axes
    labels = {line.get_label() for line in shear.lines}
    assert {"finite elements", "finite elements, lower interface", "Volkersen", "Goland"} <= labels
    assert "Volkersen" not in {line.get_label() for line in peel.lines}  # it has no peel
    shown = [line for line in shear.lines if line.get_label() in ("finite elements", *theories)]
    assert len({str(line._dash_pattern) for line in shown}) == 3  # apart by dash, not by colour alone
    assert next(text.get_text() for text in figure.legends[0].get_texts()) == "finite elements"


def test_mesh_figure_draws_every_cell(result, inside):
    for end in ("left", "right"):
        figure = plots.mesh_figure(result, end=end)
        whole, near = figure.axes
        for axes in (whole, near):
            assert sum(len(c.get_paths()) for c in axes.collections) == result.section.mesh.t.shape[1]
            assert (axes.get_xlabel(), axes.get_ylabel()) == ("x, mm", "y, mm")
        at = 0.0 if end == "left" else result.joint.geometry.overlap_length
        assert np.mean(near.get_xlim()) == pytest.approx(at)
        inside(figure, end)
    with pytest.raises(JointError, match="end"):
        plots.mesh_figure(result, end="top")


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
    figure = plots.mesh_figure(result)
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
