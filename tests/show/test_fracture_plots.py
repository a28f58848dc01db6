"""The figure of a disbond's load: what is drawn is what was found, in the units asked for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fejoint.joint.file import joint_from_text, template
from fejoint.show.fracture_plots import disbond_figure
from fejoint.strength.fracture import load_against_length

LENGTHS = [2, 5, 8]


@pytest.fixture(scope="module")
def found():
    joint = joint_from_text(template("single-lap"))
    adhesive = joint.adhesive.replace(toughness_mode_1=0.4, toughness_mode_2=1.2, shear_strength=20.0)
    return load_against_length(joint.replace(adhesive=adhesive), LENGTHS, density=0.75)


def axes_of(figure):
    return {axes.get_label(): axes for axes in figure.axes}


def test_load_and_rates_are_those_found(found):
    axes = axes_of(disbond_figure(found))
    x, y = axes["load"].get_lines()[0].get_data()
    assert x == pytest.approx(LENGTHS) and y == pytest.approx(found.force)
    assert axes["load"].get_ylabel() == "force that grows it, N"
    opening, shear = (area.get_paths()[0].vertices[:, 1].max() for area in axes["rates"].collections)
    assert opening == pytest.approx(found.opening.max()) and shear == pytest.approx(found.total.max())
    assert axes["rates"].get_xlabel() == "disbond length, mm" and axes["rates"].get_ylabel() == "energy release rate, N/mm"


def test_what_is_left_of_the_bond_is_drawn(found):
    """tau b (l - a), by hand; exact. No line where the adhesive states no shear strength."""
    joint = found.joint
    lines = {line.get_label(): line for line in axes_of(disbond_figure(found))["load"].get_lines()}
    left = joint.geometry.overlap_length - np.array(LENGTHS)
    drawn = lines["what is left of the bond yields as a whole"].get_ydata()
    assert drawn == pytest.approx(joint.adhesive.shear_strength * joint.geometry.width * left, rel=1e-12)
    bare = joint.replace(adhesive=joint.adhesive.replace(shear_strength=None))
    figure = disbond_figure(replace(found, points=tuple(replace(point, joint=bare) for point in found.points)))
    assert "what is left of the bond yields as a whole" not in [line.get_label() for line in axes_of(figure)["load"].get_lines()]


def test_inches(found):
    """1 lbf = 4.4482216152605 N, 1 in = 25.4 mm, by definition."""
    axes = axes_of(disbond_figure(found, "inch"))
    x, y = axes["load"].get_lines()[0].get_data()
    assert x == pytest.approx(np.array(LENGTHS) / 25.4) and y == pytest.approx(found.force / 4.4482216152605)
    assert axes["load"].get_ylabel() == "force that grows it, lbf" and axes["rates"].get_xlabel() == "disbond length, in"


def test_stable_points_are_filled(found):
    axes = axes_of(disbond_figure(replace(found, stable=np.array([False, True, True]))))
    points = {line.get_label(): line for line in axes["load"].get_lines() if not line.get_label().startswith("_")}
    assert list(points["grows stably"].get_xdata()) == [5, 8] and list(points["grows on by itself"].get_xdata()) == [2]
    assert points["grows on by itself"].get_markerfacecolor() == "white"


def test_a_load_that_never_grows_it_is_said(found):
    never = np.full(3, np.inf)
    nothing = np.full(3, np.nan)
    joint = found.joint.at(force=0.0)
    figure = disbond_figure(
        replace(found, joint=joint, factor=never, force=nothing, opening=nothing, shear=nothing, total=nothing)
    )
    load = axes_of(figure)["load"]
    assert load.get_ylabel() == "load that grows it, over the joint's"
    assert any("no multiple" in text.get_text() for text in load.texts)
