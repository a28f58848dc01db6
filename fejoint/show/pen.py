"""What every matplotlib figure here is drawn with: style, layout, regions, arrows, dimensions.

A figure is a `matplotlib.figure.Figure` that belongs to nobody: no window, no
global state, the same on a machine without a display.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.environment import require_extra
from fejoint.joint.description import Joint
from fejoint.show.colours import FAINT, INK, OUTLINE, REGION_COLOURS
from fejoint.units import display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "ARROW",
    "DOUBLE_ARROW",
    "LEADER",
    "dimension",
    "draw_force",
    "draw_moment",
    "draw_regions",
    "drawing_style",
    "heading",
    "keyed",
    "legend_below",
    "listed",
    "plate",
    "printable",
    "settled",
    "shortened",
    "thin_dimension",
]

Floats = NDArray[np.float64]
Point = tuple[float, float]

ARROW: dict[str, Any] = {"arrowstyle": "-|>", "color": INK, "linewidth": 0.9, "mutation_scale": 9, "shrinkA": 0, "shrinkB": 0}
DOUBLE_ARROW = {**ARROW, "arrowstyle": "<|-|>"}
MOST_LETTERS = 90  # of a joint's title over a figure
LEADER: dict[str, Any] = {"arrowstyle": "-", "color": FAINT, "linewidth": 0.9, "shrinkA": 2, "shrinkB": 2}


@contextmanager
def drawing_style() -> Iterator[None]:
    """Draw in fejoint's style and leave matplotlib's settings as they were.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    require_extra("matplotlib", "plot", "drawing figures")
    from matplotlib import rc_context

    style = resources.files("fejoint.show") / "fejoint.mplstyle"
    with resources.as_file(style) as file, rc_context(fname=file), warnings.catch_warnings():
        # Titles may be in any script; what the font lacks is drawn as a box, without a warning a letter.
        warnings.filterwarnings("ignore", r"Glyph \d+ .* missing from font", UserWarning)
        yield


def heading(joint: Joint, what: str) -> str:
    """Return the text over a figure: the joint's title, cut at `MOST_LETTERS`, and what the figure shows."""
    return f"{shortened(printable(joint.title), MOST_LETTERS) or joint.geometry.kind}: {what}"


def printable(text: str) -> str:
    """Return a text in one line without what has no shape of its own, such as marks that turn the direction of writing."""
    return "".join(letter for letter in " ".join(text.split()) if letter.isprintable())


def shortened(text: str, most: int) -> str:
    """Return a text in one line of at most so many characters, cut at its end."""
    line = " ".join(text.split())
    return line if len(line) <= most else f"{line[: most - 4].rstrip()} ..."


def plate(alpha: float = 0.8) -> dict[str, Any]:
    """Return the ground that keeps a text readable over lines, as options of the text."""
    return {"bbox": {"facecolor": "white", "edgecolor": "none", "alpha": alpha, "pad": 1.5}}


def legend_below(figure: Figure, handles: Sequence[Any], columns: int) -> None:
    """Add a legend below, in as many columns, at most those given, as the figure is wide enough for."""
    for n in range(min(columns, len(handles)), 0, -1):
        legend = figure.legend(handles=handles, loc="outside lower center", ncols=n)
        if n == 1 or legend.get_window_extent().width <= 0.98 * figure.bbox.width:
            return
        legend.remove()


def settled(figure: Figure) -> Figure:
    """Return a figure laid out for good, its axes at rounded places: the last digits of the layout vary from run to run."""
    figure.draw_without_rendering()
    figure.set_layout_engine("none")
    for axes in figure.axes:
        x, y, width, height = (round(float(v), 6) for v in axes.get_position(original=True).bounds)
        axes.set_position((x, y, width, height))
    return figure


def draw_regions(axes: Axes, polygons: Mapping[str, list[Floats]]) -> None:
    """Fill regions given by their outlines, as `outlines` returns them."""
    from matplotlib.patches import Polygon

    for name, parts in polygons.items():
        # A layer that is thin on paper must not vanish between its outlines.
        line, order = (0.3, 1.5) if name == "adhesive" else (0.9, 1.0)
        look: dict[str, Any] = {"edgecolor": OUTLINE, "linewidth": line, "zorder": order, "gid": name}
        for corners in parts:
            axes.add_patch(Polygon(corners, facecolor=REGION_COLOURS[name], **look))
    axes.grid(visible=False)


# ---- loads ---------------------------------------------------------------


def draw_force(axes: Axes, near: Point, far: Point, force: float, width: float) -> None:
    """Draw an arrow between two places, away from the near one when the force is positive and towards it when not."""
    tail, tip = (near, far) if force > 0 else (far, near)
    axes.annotate("", tip, tail, arrowprops={**ARROW, "linewidth": width, "mutation_scale": 16})


def draw_moment(axes: Axes, x: float, low: float, high: float, side: int, moment: float, width: float) -> None:
    """Draw a curved arrow beside x, from low to high, round the left (side -1) or right (+1): counter-clockwise when positive."""
    sense = 1 if moment > 0 else -1
    tail, tip = (low, high) if sense == side else (high, low)
    bent = {"connectionstyle": f"arc3,rad={0.7 * sense:g}", "linewidth": width, "mutation_scale": 14}
    axes.annotate("", (x, tip), (x, tail), arrowprops={**ARROW, **bent})


# ---- dimensions ----------------------------------------------------------


def dimension(axes: Axes, start: Point, end: Point, text: str, feet: Point, lift: float, within: Point) -> None:
    """Draw a dimension whose extension lines begin at the feet (y), its text lifted off and centred within limits of x."""
    axes.annotate("", end, start, arrowprops=DOUBLE_ARROW)
    for point, foot in zip((start, end), feet, strict=True):
        axes.plot([point[0]] * 2, [foot, point[1]], color=FAINT, linewidth=0.7, zorder=2)
    x = min(max((start[0] + end[0]) / 2, within[0]), within[1])
    place = {"va": "center", **plate(1.0)} if lift == 0 else {"va": "top" if lift < 0 else "bottom"}
    axes.text(x, (start[1] + end[1]) / 2 + lift, text, ha="center", **place)


def thin_dimension(
    axes: Axes, x: float, y0: float, y1: float, text: str, lengths: Point, beside: float, below: bool = False, **look: Any
) -> None:
    """Draw a thin dimension: arrows of two lengths point at its faces from outside, the text beside the upper or lower one."""
    axes.annotate("", (x, y0), (x, y0 - lengths[0]), arrowprops=ARROW)
    axes.annotate("", (x, y1), (x, y1 + lengths[1]), arrowprops=ARROW)
    y = y0 - 0.7 * lengths[0] if below else y1 + 0.7 * lengths[1]
    axes.text(x + beside, y, text, ha="left" if beside > 0 else "right", va="center", **look)


def keyed(keys: list[str], value: float, units: str, between: str = " = ") -> str:
    """Return what is written on a dimension: its keys in the joint file and its value (mm)."""
    return f"{between.join(keys)} = {display(value, 'mm', units)}"


def listed(values: tuple[float, ...], units: str, most: int = 10) -> str:
    """Return a list of lengths, or how many there are from the least to the largest."""
    shown = [display(value, "mm", units) for value in values]
    unit = shown[0].split(" ")[1]
    numbers = [text.split(" ")[0] for text in shown]
    if len(set(numbers)) == 1 and len(numbers) > 1:
        return f"{len(numbers)} of {shown[0]}"
    if len(numbers) <= most:
        return f"{', '.join(numbers)} {unit}"
    least, largest = (display(value, "mm", units, 3) for value in (min(values), max(values)))
    return f"{len(numbers)} of {least.split(' ')[0]} to {largest}"
