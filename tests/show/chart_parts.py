"""What the tests of charts share: tables of sweeps with invented results, and what is read off a chart."""

import itertools

import numpy as np
import pandas as pd
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.text import Text
from scipy.stats import qmc

L, T, G, M = "joint.overlap_length_mm", "joint.lower.thickness_mm", "adhesive.shear_modulus_MPa", "joint.lower.material"
PEEL, SHEAR = "peak_peel_MPa", "peak_shear_MPa"


def grid(**levels):
    return solved(pd.DataFrame(list(itertools.product(*levels.values())), columns=list(levels)))


def solved(table):
    """Return a table with invented results: linear in the logarithm of the modulus and in the rest."""
    of_g = 10 * np.log(table[G] / 100) if G in table else 0.0
    table[PEEL] = 70 - table.get(L, 0.0) + 10 * table.get(T, 0.0) + of_g
    table[SHEAR] = 5 + 0.5 * table.get(L, 0.0)
    table["status"] = "done"
    table.index = pd.RangeIndex(1, len(table) + 1, name="case")
    return table


def refused(table, which):
    table.loc[which, [PEEL, SHEAR]] = np.nan
    table.loc[which, "status"] = "refused"
    return table


LENGTHS, THICKNESSES = [10.0, 20.0, 30.0, 40.0, 50.0], [1.0, 1.5, 2.0, 3.0]


def with_refused():
    """Return a grid with a tied parameter, of which some cases are refused."""
    found = grid(**{L: LENGTHS, T: THICKNESSES})
    found["joint.upper.thickness_mm"] = found[T]  # tied
    return refused(found, (found[L] == 10) & (found[T] >= 2))


def samples():
    """Return a Latin hypercube of which some cases are refused."""
    x = qmc.LatinHypercube(2, seed=4).random(150)
    found = solved(pd.DataFrame({L: 10 + 40 * x[:, 0], G: 100 * 20 ** x[:, 1]}))
    return refused(found, (found[L] < 22) & (found[G] > 600))


def sampled_materials():
    """Return a sample of lengths with one of two materials each."""
    x = qmc.LatinHypercube(2, seed=4).random(12)
    found = solved(pd.DataFrame({L: 10 + 40 * x[:, 0], M: np.where(x[:, 1] < 0.5, "steel", "aluminium")}))
    found[PEEL] += 30.0 * (found[M] == "steel")
    return found


def curves(axes):
    return [line for line in axes.lines if line.get_gid() == "curve"]


def marks(axes, gid):
    """Return where marks of one kind are."""
    parts = [line.get_xydata() for line in axes.lines if line.get_gid() == gid]
    parts += [part.get_offsets() for part in axes.collections if part.get_gid() == gid]
    return np.concatenate(parts) if parts else np.empty((0, 2))


def same_points(got, expected):
    order = [np.lexsort(np.asarray(p).T) for p in (got, expected)]
    np.testing.assert_allclose(np.asarray(got)[order[0]], np.asarray(expected)[order[1]], rtol=1e-12)


def drawn(axes, gid):
    return [part for part in axes.collections if part.get_gid() == gid]


def is_within(axes, parts, points):
    """Return which points lie in areas, by their paths as drawn; a hundredth of a pixel of play at edges."""
    at = axes.transData.transform(points)
    inside = np.zeros(len(points), dtype=bool)
    for path in [path for part in parts for path in part.get_paths() if len(path.vertices)]:
        shown = axes.transData.transform_path(path)
        inside |= shown.contains_points(at, radius=0.01) | shown.contains_points(at, radius=-0.01)
    return inside


def legend_texts(figure):
    return [text.get_text() for legend in figure.legends for text in legend.get_texts()]


def shown_ticks(axis):
    low, high = sorted(axis.get_view_interval())
    within = [low <= place <= high for place in axis.get_majorticklocs()]
    return [
        label
        for label, shown in zip(axis.get_majorticklabels(), within, strict=False)
        if shown and label.get_visible() and label.get_text()
    ]


def check_layout(figure, inside, apart, what):
    inside(figure, what)
    FigureCanvasAgg(figure).draw()
    width, height = figure.canvas.get_width_height()
    boxes = [legend.get_window_extent() for legend in figure.legends]
    boxes += [Text.get_window_extent(figure._suptitle)] if figure._suptitle else []
    for axes in figure.axes:
        apart(axes, what)
        boxes.append(axes.get_window_extent())
        for axis in (axes.xaxis, axes.yaxis):
            ticks = shown_ticks(axis)
            for text in [*ticks, *([axis.label] if axis.label.get_text() else [])]:
                box = Text.get_window_extent(text)
                assert box.x0 > -1 and box.x1 < width + 1 and box.y0 > -1 and box.y1 < height + 1, (what, text)
            around = [Text.get_window_extent(text) for text in [*ticks, *([axis.label] if axis.label.get_text() else [])]]
            for i, box in enumerate(around):
                assert not any(box.overlaps(other) for other in around[:i]), (what, ticks[i:])
    for i, box in enumerate(boxes):
        assert box.x0 > -1 and box.x1 < width + 1 and box.y0 > -1 and box.y1 < height + 1, what
        for other in boxes[:i]:
            shared = box.x1 - 1 > other.x0 and other.x1 - 1 > box.x0 and box.y1 - 1 > other.y0 and other.y1 - 1 > box.y0
            assert not shared, what


def lightness(colour):
    return to_rgb(colour) @ np.array([0.2126, 0.7152, 0.0722])
