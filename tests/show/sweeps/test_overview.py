"""Pictures of a sweep: which are drawn, by what varies in it."""

import itertools

import numpy as np
import pandas as pd
import pytest
from scipy.stats import qmc

from fejoint.show.sweeps.overview import overview

A, B, M = "joint.overlap_length_mm", "joint.lower.thickness_mm", "joint.lower.material"
GRID = {A: [10.0, 20.0, 30.0], B: [1.0, 2.0, 3.0], M: ["steel", "aluminium"]}


def grid(*names):
    return pd.DataFrame(list(itertools.product(*(GRID[name] for name in names))), columns=list(names))


def sample(*names):
    x = qmc.LatinHypercube(len(names), rng=4).random(16)
    columns = {name: np.where(x[:, i] < 0.5, *GRID[M]) if name == M else x[:, i] for i, name in enumerate(names)}
    return pd.DataFrame(columns)


def pictures(table):
    """Return the figures of tables with invented results, by name."""
    table["peak"] = sum((table[n] if n != M else 9.0 * (table[n] == "steel")) * (i + 1) for i, n in enumerate(table.columns))
    table = table.assign(**{"peak.x_mm": table["peak"] / 2, "same": 1.0, "status": "done"})
    return dict(overview(table))


@pytest.mark.parametrize(
    ("table", "kinds"),
    [
        (grid(A), ["curves"]),
        (grid(A, B), ["curves", "contours", "effects"]),
        (grid(A, M), ["curves", "effects"]),
        (grid(M), []),
        (grid(A, B, M), ["effects"]),
        (grid(A, B).assign(**{"joint.upper.thickness_mm": lambda t: 2 * t[B]}), ["curves", "contours", "effects"]),
        (sample(A, B), ["curves", "contours", "effects"]),
        (sample(A, M), ["curves", "effects"]),
        (sample(M, A), ["curves", "effects"]),
        (sample(A, B, M), ["effects"]),
    ],
)
def test_pictures_suit_what_varies(table, kinds):
    assert list(pictures(table)) == [f"{kind}-peak" for kind in kinds]


def test_materials_of_a_sample_have_a_curve_each():
    axes = pictures(sample(A, M))["curves-peak"].axes[0]
    assert len([line for line in axes.lines if line.get_gid() == "curve"]) == 2


def test_two_columns_are_drawn():
    table = grid(A).assign(peak=[1.0, 3.0, 2.0], second=[1.0, 2.0, 2.0], third=[3.0, 1.0, 2.0], status="done")
    assert [name for name, _ in overview(table)] == ["curves-peak", "curves-second"]
