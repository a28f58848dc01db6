"""Files of charts, and what varies beside what they show."""

import matplotlib
import numpy as np
import pandas as pd
import pytest
from chart_parts import PEEL, G, L, M, T, grid, sampled_materials, with_refused

from fejoint.show.sweeps.charts import others, save_chart
from fejoint.show.sweeps.contours import contour_figure


@pytest.fixture
def table():
    return with_refused()


def test_charts_are_written_twice_and_the_same_each_time(table, tmp_path):
    before = dict(matplotlib.rcParams)
    paths = [save_chart(contour_figure(table, PEEL, L, T, f"{PEEL} <= 45"), tmp_path / f"{i}" / L) for i in "ab"]
    assert [path.name for path in paths[0]] == [f"{L}.png", f"{L}.svg"]
    for one, other in zip(*paths, strict=True):
        assert one.read_bytes() == other.read_bytes()
    assert "peak peel ≤ 45 MPa" in paths[0][1].read_text(encoding="utf-8")
    assert dict(matplotlib.rcParams) == before


A = [10.0, 20.0, 30.0, 40.0, 50.0]


@pytest.mark.parametrize(
    ("shown", "other", "tied"),
    [
        (A, [3.0, 4.0, 4.0, 5.0, 5.0], True),  # rises with it
        (A, [3.0, 5.0, 4.0, 7.0, 6.0], False),
        (A, ["alu", "steel", "alu", "steel", "steel"], False),  # no length comes twice: that says nothing of the material
        (A, [True, False, True, True, False], False),
        (A, ["b", "e", "a", "d", "c"], True),  # each length its own
        (["b", "e", "a", "d", "c"], [3.0, 4.0, 4.0, 9.0, 5.0], True),  # what belongs to a text
        (["b", "b", "a", "d", "d"], [3.0, 3.0, 4.0, 1.0, 1.0], True),
        (["b", "b", "a", "d", "d"], A, False),
        ([1.0, 1.0, 2.0, 2.0, 3.0], ["b", "b", "a", "a", "b"], True),
        ([1.0, 1.0, 2.0, 2.0, 3.0], ["b", "a", "a", "a", "b"], False),
        ([np.nan, np.nan, 2.0, 2.0, 3.0], [np.nan, np.nan, 4.0, 4.0, 3.0], True),  # a key that some cases lack
        ([np.nan, np.nan, 2.0, 2.0, 3.0], [4.0, np.nan, 4.0, 4.0, 3.0], False),
    ],
)
def test_others_are_those_not_tied_to_what_is_shown(shown, other, tied):
    assert others(pd.DataFrame({L: shown, T: other, G: 5.0}), [L]) == ([] if tied else [T])


def test_others_of_samples_and_grids():
    assert others(sampled_materials(), [L]) == [M]
    assert others(sampled_materials(), [M]) == [L]
    table = grid(**{L: A, T: [1.0, 2.0], M: ["steel", "aluminium"]})
    assert others(table, [L]) == [T, M]
    assert others(table, [L, M]) == [T]
