"""What the figures of a bonding process share: inks, the text over them, axes of time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fejoint.process.durations import duration
from fejoint.show.colours import REGION_COLOURS
from fejoint.show.pen import printable, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["BLUE", "DASHED", "DOTTED", "ORANGE", "RED", "clock_ticks", "headed"]

BLUE, RED, ORANGE = "#0b2f52", "#b8500f", REGION_COLOURS["adhesive"]
DASHED, DOTTED = (0, (6, 2)), (0, (1.2, 1.6))
LETTERS_PER_INCH = 8.0  # of a figure's title
# Where an axis of time has its ticks when it is logarithmic, in s.
CLOCK = (0.01, 0.1, 1.0, 10.0, 60.0, 600.0, 3600.0, 6 * 3600.0, 86400.0, 7 * 86400.0, 30 * 86400.0, 365 * 86400.0)


def headed(figure: Figure, title: str, what: str) -> None:
    """Write a title, cut so that what the figure shows stands beside it on one line, over the figure."""
    room = max(int(LETTERS_PER_INCH * figure.get_figwidth()) - len(what) - 2, 12)
    figure.suptitle(printable(f"{shortened(title, room)}: {what}" if title else what), x=0.01, ha="left")


def clock_ticks(axes: Axes, first: float, last: float) -> None:
    """Tick a logarithmic axis of time as a clock does."""
    from matplotlib.ticker import NullLocator

    ticks = [t for t in CLOCK if first <= t <= last]
    axes.set_xticks(ticks, [duration(t) for t in ticks])
    axes.xaxis.set_minor_locator(NullLocator())
