"""What the tests of figures and pictures share: a joint to vary, a run and its folder, and what is read off axes."""

from __future__ import annotations

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

import fejoint
from fejoint.joint.file import joint_from_text, joint_to_toml, template
from fejoint.show.files import write_run
from fejoint.show.solid import read_section


def _joint(*changes):
    return joint_from_text(template("single-lap"), ["adhesive.elastic_modulus=2GPa", *changes])


@pytest.fixture(scope="session")
def joint():
    """Return the function that makes a joint from the template, with changes."""
    return _joint


@pytest.fixture(scope="session")
def filleted():
    """Return a solved joint with spew fillets and unlike adherends."""
    return fejoint.solve(_joint("joint.spew=fillet", "joint.upper.thickness=2.5 mm"))


@pytest.fixture(scope="session")
def folder(filleted, tmp_path_factory):
    """Return the folder of its run, not to be changed."""
    path = tmp_path_factory.mktemp("show") / "run"
    write_run(filleted, path, joint_to_toml(filleted.joint))
    return path


@pytest.fixture(scope="session")
def section(folder):
    return read_section(folder)


@pytest.fixture(scope="session")
def areas(section):
    """Return the areas of the regions as its joint has them, mm2."""
    g = section.joint["joint"]
    length, ta = g["overlap_length"], g["bondline_thickness"]
    leg = 2 * ta  # a fillet as high as the bondline is thick
    return {
        "lower": g["lower"]["thickness"] * (g["lower"]["free_length"] + length),
        "upper": g["upper"]["thickness"] * (g["upper"]["free_length"] + length),
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


@pytest.fixture(scope="session")
def texts():
    """Return the function that lists the texts of axes."""
    return _texts


@pytest.fixture(scope="session")
def inside():
    """Return the function that checks that all texts of a figure lie inside it."""
    return _inside
