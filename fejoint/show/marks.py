"""Where the text of a mark stands: beside its point, where it covers no curve and no other text."""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from fejoint.show.colours import FAINT
from fejoint.show.pen import plate

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.text import Annotation

__all__ = ["noted", "place_clear"]

# Where the text of a mark may stand, points from it: the first places are the best ones.
ASIDE = (34.0, 20.0, 56.0, 80.0, 130.0, 190.0)
LIFTS = tuple(s * lift for lift in (8.0, 5.0, 12.0, 16.0, 21.0, 27.0, 34.0, 42.0, 52.0, 64.0, 78.0, 95.0) for s in (1, -1))
CLEAR = 2.5  # points between such a text and lines


def noted(axes: Axes, text: str, x: float, y: float) -> Annotation:
    """Return the text of a mark at a point, with a line to it; `place_clear` moves it to where there is room."""
    note = axes.annotate(
        text,
        (x, y),
        xytext=(0, 0),
        textcoords="offset points",
        va="center",
        gid="mark",
        arrowprops={"arrowstyle": "-", "color": FAINT, "linewidth": 0.9, "shrinkB": 4},
        zorder=6,
        **plate(),
    )
    note.set_in_layout(False)  # it is moved to where there is room
    return note


def place_clear(axes: Axes, note: Annotation, side: int) -> None:
    """Move the text of a mark beside it, nearest first, to where it covers no curve and no other text; `side`: to try first."""
    from matplotlib.path import Path as Line
    from matplotlib.text import Text
    from matplotlib.transforms import Bbox

    point = axes.figure.dpi / 72  # pixels
    place = axes.transData.transform(note.xy)
    up = 1 if axes.transAxes.inverted().transform(place)[1] > 0.5 else -1
    # What is drawn faintly may pass behind a text where there is no better place.
    lines = [
        (Line(line.get_transform().transform(line.get_xydata())), 0.3 if line.get_color() == FAINT else 100.0)
        for line in axes.lines
    ]
    others = [Text.get_window_extent(text) for text in axes.texts if text is not note]
    extent, room = Text.get_window_extent(note), axes.get_window_extent()
    best, least = (side * ASIDE[0], up * LIFTS[0]), np.inf
    for aside, lift in product((s * a for s in (side, -side) for a in ASIDE), (up * lift for lift in LIFTS)):
        x, y = place + np.array([aside, lift]) * point
        text = Bbox.from_bounds(x if aside > 0 else x - extent.width, y - extent.height / 2, extent.width, extent.height)
        box, middle = text.padded(CLEAR * point), np.array([text.x0 + text.x1, text.y0 + text.y1]) / 2
        leader = Line([place + 8 * point * (middle - place) / np.hypot(*(middle - place)), middle])
        cost = np.hypot(abs(aside) - ASIDE[0], 2 * (abs(lift) - LIFTS[0])) / 100 + 0.5 * (aside * side < 0)
        cost += 100.0 * (box.x0 < room.x0 or box.x1 > room.x1 or box.y0 < room.y0 or box.y1 > room.y1)
        cost += 100.0 * sum(box.overlaps(other) for other in others)
        for line, weight in lines:
            cost += weight * line.intersects_bbox(box, filled=False) + 0.01 * weight * line.intersects_path(leader, filled=False)
        if cost < least:
            best, least = (aside, lift), cost
    note.set_position(best)
    note.set_horizontalalignment("left" if best[0] > 0 else "right")
