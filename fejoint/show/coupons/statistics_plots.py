"""Values of coupons as points, and on normal probability paper with fitted distributions and basis values."""

from __future__ import annotations

from itertools import cycle
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.basis import BASES
from fejoint.coupon.distributions import DISTRIBUTIONS, Distribution, fitted
from fejoint.coupon.lots import Lot, Lots
from fejoint.show.colours import FAINT, INK
from fejoint.show.coupons.statistics_tables import METHOD_WORDS, recommended_words
from fejoint.show.pen import drawing_style, legend_below, plate, printable, settled, shortened

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["statistics_figure"]

Floats = NDArray[np.float64]
INKS = ("#0b2f52", "#b8500f", "#4f9a94", "#8c6bb1", "#5094cb", "#30383f")
MARKERS = ("o", "s", "^", "D", "v", "P", "X")
LINES: dict[str, dict[str, Any]] = {
    "normal": {"color": "#0b2f52", "linestyle": "-"},
    "lognormal": {"color": "#b8500f", "linestyle": (0, (6, 2))},
    "weibull": {"color": "#4f9a94", "linestyle": (0, (6, 2, 1.2, 2))},
}
SHARES = (0.002, 0.01, 0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95, 0.99, 0.998)
MOST_GROUPS, MOST_LINES, NAME_LENGTH = 30, 8, 28


def statistics_figure(found: Lots, unit: str, quantity: str = "strength") -> Figure:
    """Return the values of each group, and below them their shares on normal probability paper.

    One lot has its fitted distributions as lines, with the B-basis (at 10 %) and A-basis values (at 1 %) marked; of
    several, each has the line of its recommended distribution. The axes are labelled values and shares.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        lots = found.lots[:MOST_GROUPS]
        rows = 1.3 + 0.5 * len(lots)  # inches; one above the other, so that letters keep their size on a page
        figure = Figure(figsize=(10, rows + 5.6), layout="constrained")
        values, shares = figure.subplots(2, 1, gridspec_kw={"height_ratios": [rows, 4.4]})
        values.set_label("values")
        shares.set_label("shares")
        label = f"{quantity}, {unit}" if unit else quantity
        n = sum(len(lot.values) for lot in found.lots)
        more = f", the first {len(lots)} of {len(found.lots)} groups" if len(lots) < len(found.lots) else ""
        figure.suptitle(f"{n} coupons{more}. Basis values of these coupons, not a design allowable", x=0.01, ha="left")
        handles = _draw_values(values, lots)
        handles += _draw_one(shares, lots[0]) if len(lots) == 1 else _draw_several(shares, found.lots)
        for axes in (values, shares):
            axes.set_xlabel(label)
        legend_below(figure, handles, 4)
        return settled(figure)


def _draw_values(axes: Axes, lots: tuple[Lot, ...]) -> list[Any]:
    """Draw a row of points a group, its mean and standard deviation, its recommended basis values; outliers are ringed."""
    from matplotlib.lines import Line2D

    for row, (lot, look) in enumerate(zip(lots, _looks(), strict=False)):
        axes.plot(lot.values, np.full(len(lot.values), row), linestyle="none", markerfacecolor="none", gid="values", **look)
        d = lot.described
        axes.errorbar([d.mean], [row - 0.22], xerr=d.deviation, fmt="|", color=INK, capsize=4, markersize=11, elinewidth=1.4)
        for basis in BASES if lot.basis else ():
            assert lot.basis is not None
            value = lot.basis.bound(basis).value
            if value is not None:
                axes.plot([value], [row + 0.22], marker=5, color=INK, linestyle="none", gid=f"{basis}-basis")
                beside = {"xytext": (4, 0), "ha": "left"} if basis == "B" else {"xytext": (-9, 0), "ha": "right"}
                text: dict[str, Any] = {"textcoords": "offset points", "va": "center", "fontsize": 9, **beside}
                axes.annotate(f"{basis}-basis", (value, row + 0.22), **text)
        for one in lot.outliers.found if lot.outliers else ():
            axes.plot([one.value], [row], marker="o", markersize=15, markerfacecolor="none", color=INK, gid="outlier")
    axes.set_yticks(range(len(lots)), [shortened(printable(lot.name), NAME_LENGTH) for lot in lots])
    axes.set_ylim(len(lots) - 0.5, -0.5)
    bounds = [lot.basis.bound(basis).value for lot in lots if lot.basis for basis in BASES]
    spots = [*(v for lot in lots for v in lot.values), *(v for v in bounds if v is not None)]
    spots += [lot.described.mean + sign * lot.described.deviation for lot in lots for sign in (-1, 1)]
    room = 0.05 * (max(spots) - min(spots)) or 1.0
    axes.set_xlim(min(spots) - (3.8 if any(lot.basis for lot in lots) else 1.0) * room, max(spots) + room)
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.set_title("coupons; bar: mean and standard deviation (n - 1)")
    handles = [Line2D([], [], marker=5, color=INK, linestyle="none", label="recommended A- and B-basis")]
    if any(lot.outliers and lot.outliers.found for lot in lots):
        handles.append(
            Line2D(
                [],
                [],
                marker="o",
                markersize=12,
                markerfacecolor="none",
                color=INK,
                linestyle="none",
                label="outlier: look into it",
            )
        )
    return handles


def _draw_one(axes: Axes, lot: Lot) -> list[Any]:
    """Draw one lot on probability paper: points, fitted distributions, basis values."""
    from matplotlib.lines import Line2D

    x = np.sort(lot.values)
    handles = [Line2D([], [], marker="o", markerfacecolor="none", color=INK, linestyle="none", label="coupons, by rank")]
    spots = [*x.tolist()]
    drawn: tuple[Distribution, ...] = DISTRIBUTIONS if x[0] > 0 else ("normal",)
    drawn = drawn if lot.basis else ()
    for name in drawn:
        handles.append(Line2D([], [], label=METHOD_WORDS[name], **LINES[name]))
        for basis in BASES if lot.basis else ():
            assert lot.basis is not None
            value, line = lot.basis.bound(basis, name).value, LINES[name]
            if value is not None and value > min(0.0, x[0]):
                filled = line["color"] if lot.basis.bound(basis).method == name else "white"
                look = {"marker": "D", "markersize": 8, "linestyle": "none", "color": line["color"], "markerfacecolor": filled}
                axes.plot([value], [_paper(1 - BASES[basis][0])], zorder=4, gid=f"{name} {basis}", **look)
                spots.append(value)
    _paper_axes(axes, spots)
    _draw_line(axes, lot, drawn)
    axes.plot(
        x, _paper(_positions(len(x))), marker="o", markerfacecolor="none", color=INK, linestyle="none", zorder=3, gid="ranks"
    )
    for basis, (share, _) in BASES.items() if lot.basis else ():
        axes.axhline(_paper(1 - share), color=FAINT, linewidth=1.0, zorder=1)
        axes.text(0.99, _paper(1 - share), f"{basis}-basis at {100 * (1 - share):g} %", transform=axes.get_yaxis_transform(),
                  ha="right", va="bottom", color=FAINT, fontsize=9.5, **plate())  # fmt: skip
    if lot.basis:
        handles.append(Line2D([], [], marker="D", markerfacecolor="white", color=INK, linestyle="none", label="its basis values"))
        handles.append(Line2D([], [], marker="D", color=INK, linestyle="none", label="the recommended ones"))
        axes.set_title(f"recommended: {recommended_words(lot.basis, '')}")
    else:
        axes.set_title("no basis values: too few coupons, or all are equal")
    return handles


def _draw_several(axes: Axes, lots: tuple[Lot, ...]) -> list[Any]:
    """Draw several lots on probability paper, each with the line of its recommended distribution."""
    from matplotlib.lines import Line2D

    left_out = len(lots) - MOST_LINES
    lots = lots[:MOST_LINES]
    spots = [v for lot in lots for v in lot.values]
    spots += [v for lot in lots if lot.basis and (v := lot.basis.bound("B").value) is not None]
    _paper_axes(axes, spots)
    handles = []
    for lot, look in zip(lots, _looks(), strict=False):
        x = np.sort(lot.values)
        axes.plot(x, _paper(_positions(len(x))), markerfacecolor="none", linestyle="none", zorder=3, gid="ranks", **look)
        name = lot.basis.recommended if lot.basis and lot.basis.recommended in LINES else None
        if name is not None:
            _draw_line(axes, lot, (name,), look["color"])  # type: ignore[arg-type]
        words = f"{shortened(printable(lot.name), NAME_LENGTH)}{f' ({METHOD_WORDS[name]})' if name else ''}"
        handles.append(Line2D([], [], markerfacecolor="none", linestyle="-" if name else "none", label=words, **look))
    axes.set_title(f"each with its recommended distribution{f'; {left_out} more not drawn' if left_out > 0 else ''}")
    return handles


def _draw_line(axes: Axes, lot: Lot, names: tuple[Distribution, ...], colour: str | None = None) -> None:
    shares = np.linspace(-3.2, 3.2, 200)
    from scipy.special import ndtr

    for name in names:
        line = LINES[name] if colour is None else {"color": colour, "linestyle": "-"}
        axes.plot(fitted(lot.values, name).quantile(ndtr(shares)), shares, linewidth=1.5, zorder=2, gid=name, **line)


def _paper_axes(axes: Axes, spots: list[float]) -> None:
    """Set limits by what is to be seen, and shares as percentages where a normal distribution makes a straight line."""
    low, high = min(spots), max(spots)
    room = 0.06 * (high - low) or 0.05 * abs(high) or 1.0
    axes.set_xlim(low - room, high + room)
    axes.set_ylim(_paper(0.0012), _paper(0.9988))
    axes.set_yticks([_paper(share) for share in SHARES], [f"{100 * share:g}" for share in SHARES])
    axes.set_ylabel("share below, % (normal probability scale)")


def _paper(share: Any) -> Any:
    from scipy.special import ndtri

    return ndtri(share)


def _positions(n: int) -> Floats:
    """Return the shares that n values in order stand for (Blom 1958, from memory)."""
    return np.asarray((np.arange(1, n + 1) - 0.375) / (n + 0.25))


def _looks() -> Any:
    return ({"marker": m, "color": c} for m, c in zip(cycle(MARKERS), cycle(INKS), strict=False))
