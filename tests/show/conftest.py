"""What the tests of figures and pictures share: joints to vary, runs and their folders, and what is read off axes."""

from __future__ import annotations

import re

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

import fejoint
from fejoint.joint.file import joint_from_text, joint_to_toml, template
from fejoint.show.files import write_run
from fejoint.show.space.solid import read_section

UNLIKE_OUTERS = """
[joint.upper_outer]
material = "aluminium 2024-T3"
thickness = "3 mm"
free_length = "50 mm"
"""

SILL = """
title = "door sill coupon, cooled and pulled (invented)"
[joint]
kind = "single-lap"
width = "25 mm"
overlap_length = "4 mm"
bondline_thickness = "0.4 mm"
[joint.lower]
material = "aluminium 6082-T6"
thickness = "1.6 mm"
free_length = "6 mm"
[joint.upper]
material = "aluminium 6082-T6"
thickness = "1.6 mm"
free_length = "6 mm"
[adhesive]
material = "toughened epoxy"
[load]
ends = "clamped"
[[load.step]]
name = "cool-down"
temperature_change = "-20 K"
[[load.step]]
name = "pull"
force = "1.1 kN"
[analysis]
large_rotation = true
adhesive_model = "plastic"
mesh_density = 0.75
error_target = 0.5
"""


def _joint(*changes, kind="single-lap"):
    return joint_from_text(template(kind), ["adhesive.elastic_modulus=2GPa", *changes])


def _double(*changes):
    """Return a double lap with unlike outers."""
    text = template("double-lap").replace("[joint.outer]", "[joint.lower_outer]") + UNLIKE_OUTERS
    return joint_from_text(text, ["adhesive.elastic_modulus=2GPa", *changes])


def _stepped(lengths, heights, *changes):
    """Return a stepped lap with lengths and heights of its own, mm."""
    text = re.sub(r"(?m)^(steps|overlap_length) = .*\n", "", template("stepped-lap"))
    keys = [f"joint.step_lengths={list(lengths)}", f"joint.step_heights={list(heights)}"]
    thickness = [f"joint.{name}.thickness={sum(heights):g}" for name in ("lower", "upper")]
    return joint_from_text(text, ["adhesive.elastic_modulus=2GPa", *thickness, *keys, *changes])


@pytest.fixture(scope="session")
def joint():
    """Return the function that makes a joint from a family's template, with changes."""
    return _joint


@pytest.fixture(scope="session")
def families():
    """Return joints of every family, square and with spew, alike and unlike, each under loads of its own."""
    return {
        "single": _joint(),
        "single filleted": _joint("joint.spew=fillet", "joint.upper.thickness=2.5 mm", "load.shear_force=20 N"),
        "double": _joint(kind="double-lap"),
        "double unlike": _double("joint.spew=fillet", "load.shear_force=-20 N"),
        "double pinned": _joint("load.ends=pinned", "load.moment=1 N*m", "load.force=-1 kN", kind="double-lap"),
        "stepped": _joint("load.shear_force=20 N", kind="stepped-lap"),
        "stepped once": _joint("joint.steps=1", "load.ends=pinned", "load.moment=-1 N*m", kind="stepped-lap"),
        "stepped unequal": _stepped((3, 5, 4, 6), (0.5, 0.4, 0.6, 0.3, 0.7), "joint.spew=fillet", "load.force=-1 kN"),
    }


@pytest.fixture(scope="session")
def filleted():
    """Return a solved joint with spew fillets and unlike adherends."""
    return fejoint.solve(_joint("joint.spew=fillet", "joint.upper.thickness=2.5 mm"))


@pytest.fixture(scope="session")
def solved(families, filleted):
    """Return solved joints of every family, coarse meshes sufficing for pictures."""
    rough = {"mesh_density": 0.75, "error_target": 0.5}
    results = {"single": filleted}
    for name, shown in families.items():
        if not name.startswith("single"):
            results[name] = fejoint.solve(shown.model_copy(update={"analysis": shown.analysis.model_copy(update=rough)}))
    return results


@pytest.fixture(scope="session")
def folder(filleted, tmp_path_factory):
    """Return the folder of its run, not to be changed."""
    path = tmp_path_factory.mktemp("show") / "run"
    write_run(filleted, path, joint_to_toml(filleted.joint))
    return path


@pytest.fixture(scope="session")
def sill_file(tmp_path_factory):
    """Return the joint file of a sill coupon whose adhesive yields along its load's path, coarse for quick tests."""
    path = tmp_path_factory.mktemp("sill") / "sill.toml"
    path.write_text(SILL, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def sill(sill_file):
    """Return that coupon, solved."""
    return fejoint.solve(fejoint.load(sill_file))


@pytest.fixture(scope="session")
def sill_folder(sill, sill_file):
    """Return the folder of its run, not to be changed."""
    path = sill_file.parent / "run"
    write_run(sill, path, SILL)
    return path


@pytest.fixture(scope="session")
def section(folder):
    return read_section(folder)


@pytest.fixture(scope="session")
def areas(section):
    """Return the areas of the regions as its joint has them, mm2."""
    g = section.joint.geometry
    length, ta = g.overlap_length, g.bondline_thickness
    leg = 2 * ta  # a fillet as high as the bondline is thick
    return {
        "lower": g.lower.thickness * (g.lower.free_length + length),
        "upper": g.upper.thickness * (g.upper.free_length + length),
        "adhesive": length * ta + leg**2,
    }


def _texts(axes):
    return [t.get_text() for t in axes.texts]


def _inside(figure, what):
    FigureCanvasAgg(figure).draw()
    width, height = figure.canvas.get_width_height()
    for axes in figure.axes:
        for text in [*axes.texts, axes.xaxis.label, axes.yaxis.label, axes.title, axes._left_title]:
            box = text.get_window_extent()
            if text.get_text() and text.get_visible():
                assert box.x0 > -1, (what, text)
                assert box.x1 < width + 1, (what, text)
                assert box.y0 > -1, (what, text)
                assert box.y1 < height + 1, (what, text)


def _apart(axes, what):
    boxes = [(text.get_text(), Text.get_window_extent(text)) for text in axes.texts if text.get_text()]  # leaders not counted
    for i, (text, box) in enumerate(boxes):
        for other, second in boxes[:i]:
            assert not box.overlaps(second), (what, text, other)


@pytest.fixture(scope="session")
def texts():
    """Return the function that lists the texts of axes."""
    return _texts


@pytest.fixture(scope="session")
def inside():
    """Return the function that checks that all texts of a figure lie inside it."""
    return _inside


@pytest.fixture(scope="session")
def apart():
    """Return the function that checks that no two texts of axes overlap."""
    return _apart
