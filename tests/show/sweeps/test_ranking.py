"""Parameters ranked by effect: bars in order, with their numbers, nothing cut or covered."""

import numpy as np
import pandas as pd
import pytest
from chart_parts import PEEL, L, M, T, check_layout
from matplotlib.container import BarContainer
from matplotlib.text import Text

from fejoint.errors import JointError
from fejoint.show.sweeps.ranking import effects_figure


def ranked(**rows):
    columns = ["low", "high", "effect", "effect_error", "share"]
    return pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("parameter")


def test_effects_are_bars_in_order(inside, apart):
    rows = {
        L: (10.0, 50.0, -42.6, 1.5, 0.71),
        f"{T} + joint.upper.thickness_mm": (1.0, 3.0, 20.0, 0.0, 0.2),
        M: ("aluminium 2024-T3", "glass fibre laminate, quasi-isotropic", 9.2, 0.0, 0.05),
        "load.temperature_change_K": (np.nan, np.nan, np.nan, np.nan, np.nan),
    }
    figure = effects_figure(ranked(**rows), PEEL)
    axes = figure.axes[0]
    (bars,) = (part for part in axes.containers if isinstance(part, BarContainer))
    assert [bar.get_width() for bar in bars] == [-42.6, 20.0, 9.2, 0.0]
    assert (np.diff([bar.get_y() for bar in bars]) > 0).all() and axes.yaxis_inverted()
    assert bool(bars[0].get_hatch()) and not bars[1].get_hatch()  # the sign without colour
    texts = [text.get_text().replace("\n", " ") for text in axes.texts]
    assert texts[:4] == ["-42.6 MPa", "+20 MPa", "+9.2 MPa", "results at one value alone"]
    assert [text.get_text() for text in axes.texts if text.get_gid() == "share"] == ["71 %", "20 %", "5 %", "-"]
    named = [label.get_text().replace("\n", " ") for label in axes.get_yticklabels()]
    assert named[:2] == ["overlap length 10 → 50 mm", "lower thickness + upper thickness 1 → 3 mm"]
    assert named[2] == "lower material aluminium 2024-T3 → glass fibre laminate, quasi-isotropic"
    assert "peak peel (MPa)" in axes.get_xlabel()
    check_layout(figure, inside, apart, "effects")
    room = axes.get_window_extent()
    for text in axes.texts[:4]:
        box = Text.get_window_extent(text)
        assert box.x0 >= room.x0 and box.x1 <= room.x1, text


@pytest.mark.parametrize("effect", [-3.0, 3.0, 0.0])
def test_a_lone_effect(effect, inside, apart):
    figure = effects_figure(ranked(**{L: (10.0, 50.0, effect, 0.0, 1.0)}), PEEL)
    check_layout(figure, inside, apart, effect)
    low, high = figure.axes[0].get_xlim()
    assert low <= min(effect, 0.0) <= max(effect, 0.0) <= high


def test_effects_of_nothing():
    with pytest.raises(JointError, match="no parameter"):
        effects_figure(ranked(), PEEL)
    with pytest.raises(JointError, match="no column 'share'"):
        effects_figure(ranked(**{L: (1.0, 2.0, 3.0, 0.0, 0.5)}).drop(columns="share"), PEEL)
