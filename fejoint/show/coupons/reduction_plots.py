"""A coupon test as figures: every curve with the points read off it, what was made of it beside; failure patterns as bars."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.coupon.outcome import ReducedSpecimen, ReducedTest
from fejoint.coupon.patterns import PATTERNS
from fejoint.show.colours import FAINT, INK
from fejoint.show.coupons.reduction_data import thinned
from fejoint.show.pen import drawing_style, legend_below, plate, printable, settled, shortened
from fejoint.units import shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["coupons_figure", "patterns_figure"]

INKS = ("#0b2f52", "#b8500f", "#4f9a94", "#8c6bb1", "#5094cb", "#a8801c", "#30383f", "#c06a8e")
DASHES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (6, 2, 1.2, 2)))
MARKS = {
    "largest force": "o",
    "first peak": "^",
    "off the straight line": "D",
    "5 % more compliance": "s",
    "crack read": "|",
}
MOST_POINTS = 40_000  # of all curves: more is no longer to be seen, and makes the report heavy
MOST_NAMED = 16  # specimens with a look of their own; of more, all look alike
BANDS: dict[str, tuple[str, str]] = {  # colour and hatch of each class, told apart without colour too
    "cohesive": ("#4f9a94", ""),
    "thin-layer cohesive": ("#a9d3cf", ".."),
    "adhesive": ("#b8500f", "//"),
    "fiber-tear": ("#8c6bb1", "xx"),
    "light-fiber-tear": ("#c9b8dc", "xx"),
    "delamination": ("#5a3f7d", "--"),
    "stock-break": ("#8a9199", "\\\\"),
    "substrate": ("#c9d1d8", "\\\\"),
    "mixed": ("#ffffff", ""),
}


def coupons_figure(found: ReducedTest, units: str = "mm") -> Figure:
    """Return the force-displacement curves with the points read off, and where there is one the second curve beside them.

    That is shear stress over strain of thick adherends, toughness over crack
    length of beams. The axes are labelled pulls and reduced.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        second = any(one.reduction.curve is not None for one in found.specimens)
        figure = Figure(figsize=(12.5, 5.8) if second else (10, 6.2), layout="constrained")
        panels = figure.subplots(1, 2 if second else 1, squeeze=False)[0]
        looks = _looks(found)
        panels[0].set_label("pulls")
        handles = _draw_pulls(panels[0], found, looks, units)
        if second:
            panels[1].set_label("reduced")
            _draw_reduced(panels[1], found, looks, units)
        figure.suptitle(shortened(printable(found.test.title) or found.kind.words, 100), x=0.01, ha="left")
        legend_below(figure, handles, 6)
        return settled(figure)


def _looks(found: ReducedTest) -> list[dict[str, Any]]:
    """Return how each specimen's line looks: left-out ones grey and thin."""
    looks: list[dict[str, Any]] = []
    i = 0
    many = len(found.counted) > MOST_NAMED
    for one in found.specimens:
        if not one.counts:
            looks.append({"color": "#a3abb1", "linestyle": (0, (1.2, 1.6)), "linewidth": 1.3, "zorder": 1.8})
        elif many:
            looks.append({"color": INKS[0], "linestyle": "-", "linewidth": 0.8, "alpha": 0.6})
        else:
            looks.append({"color": INKS[i % len(INKS)], "linestyle": DASHES[i // len(INKS) % len(DASHES)], "linewidth": 1.5})
            i += 1
    return looks


def _draw_pulls(axes: Axes, found: ReducedTest, looks: list[dict[str, Any]], units: str) -> list[Any]:
    """Draw force over displacement, with marks; return what the legend says."""
    from matplotlib.lines import Line2D

    mm, length = shown_unit("mm", units)
    newton, force = shown_unit("N", units)
    if units == "mm" and max(one.pull.largest for one in found.specimens) >= 2000:
        newton, force = 1e-3, "kN"
    marks: dict[str, None] = {}
    for one, look in zip(found.specimens, looks, strict=True):
        x, y = thinned(one.pull.displacement, one.pull.force, _share(found))
        axes.plot(mm * x, newton * y, **look)
        for name in dict.fromkeys(mark.name for mark in one.reduction.marks):
            marks[name] = None
            points = np.array([(mark.displacement, mark.force) for mark in one.reduction.marks if mark.name == name]).T
            size = 9 if name == "crack read" else 6
            point: dict[str, Any] = {"marker": MARKS.get(name, "o"), "markersize": size, "markerfacecolor": "white"}
            axes.plot(
                mm * points[0], newton * points[1], linestyle="", color=look["color"], markeredgewidth=1.3, zorder=3.5, **point
            )
        if one.reduction.plateau is not None:
            low, high, mean = one.reduction.plateau
            axes.plot(
                [mm * low, mm * high], [newton * mean] * 2, color=look["color"], linewidth=3.2, alpha=0.45, solid_capstyle="butt"
            )
    plateau = [one.reduction.plateau for one in found.counted if one.reduction.plateau is not None]
    if plateau:
        low, high = min(p[0] for p in plateau), max(p[1] for p in plateau)
        axes.axvspan(mm * low, mm * high, color="#f0f2f4", zorder=0, linewidth=0)
    axes.set_xlabel(f"displacement{', machine taken off' if found.machine_compliance else ''}, {length}")
    axes.set_ylabel(f"force, {force}")
    axes.set_xlim(left=min(0.0, mm * min(float(one.pull.displacement.min()) for one in found.specimens)))
    axes.set_ylim(bottom=0.0)
    axes.set_title(f"{found.kind.words}: curves, and the points read off them", color=FAINT)
    handles = _named(found, looks)
    for name in marks:
        size = 8 if name == "crack read" else 6
        sign = Line2D([], [], color=INK, linestyle="", label=name, marker=MARKS.get(name, "o"), markersize=size)
        sign.set_markerfacecolor("white")
        handles.append(sign)
    if plateau:
        handles.append(Line2D([], [], color=INK, linewidth=3.2, alpha=0.45, label="mean over the length averaged"))
    return handles


def _named(found: ReducedTest, looks: list[dict[str, Any]]) -> list[Any]:
    from matplotlib.lines import Line2D

    if len(found.counted) > MOST_NAMED:
        names = {f"{len(found.counted)} specimens": looks[next(i for i, one in enumerate(found.specimens) if one.counts)]}
        left = [look for one, look in zip(found.specimens, looks, strict=True) if not one.counts]
        names |= {f"{len(left)} left out": left[0]} if left else {}
    else:
        pairs = zip(found.specimens, looks, strict=True)
        names = {shortened(printable(one.name), 24) + ("" if one.counts else ", left out"): look for one, look in pairs}
    return [Line2D([], [], label=name, **{k: v for k, v in look.items() if k != "zorder"}) for name, look in names.items()]


def _share(found: ReducedTest) -> int:
    """Return how many points of each curve are drawn."""
    return max(MOST_POINTS // len(found.specimens), 100)


def _draw_reduced(axes: Axes, found: ReducedTest, looks: list[dict[str, Any]], units: str) -> None:
    """Draw the second curve of each specimen, with its mean and interval, or the slope that is its modulus."""
    thick = found.test.what == "thick-adherend shear"
    mm, length = shown_unit("mm", units)
    per, unit = shown_unit("MPa" if thick else "N/mm", units)
    points = found.test.what == "dcb"
    for one, look in zip(found.specimens, looks, strict=True):
        if one.reduction.curve is None:
            continue
        x, y = thinned(*one.reduction.curve, _share(found))
        look = {**look, **({"marker": "o", "markersize": 4, "linewidth": 0.9} if points else {})}
        axes.plot((1.0 if thick else mm) * x, per * y, **look)
        figure = one.reduction.figures[found.kind.main]
        if points and figure.low is not None and figure.high is not None:
            axes.fill_between(mm * x, per * figure.low, per * figure.high, color=look["color"], alpha=0.13, linewidth=0)
        if "modulus" in one.reduction.more:
            (g0, g1), (s0, s1) = one.reduction.more["modulus"]
            reach = 2.2 * (s1 - s0)
            axes.plot(
                [g0, g0 + reach * (g1 - g0) / (s1 - s0)], [per * s0, per * (s0 + reach)], color=look["color"], linewidth=0.8
            )
    axes.set_ylim(bottom=0.0)
    if thick:
        axes.set_xlim(left=0.0)
        axes.set_xlabel("shear strain of the adhesive")
        axes.set_ylabel(f"shear stress, {unit}")
        axes.set_title("thin lines: the slopes that are the moduli", color=FAINT)
        return
    axes.set_xlabel(f"{'' if points else 'effective '}crack length, {length}")
    axes.set_ylabel(f"toughness, {unit}")
    share = f"{100 * found.test.reduction.confidence:g} %"
    axes.set_title(f"while the crack grows; band: mean, {share} interval" if points else "by the effective crack", color=FAINT)


def patterns_figure(found: ReducedTest) -> Figure:
    """Return the failure pattern of each specimen as a bar of area, and their mean; axes are labelled patterns.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure
        from matplotlib.patches import Patch

        seen: list[tuple[str, dict[str, float], bool]] = [
            (shortened(printable(one.name), 24) + ("" if one.counts else ", left out"), one.entry.seen.shares, one.counts)
            for one in found.specimens
            if one.entry.seen is not None
        ]
        if found.pattern is not None:
            seen.append((f"mean of {_patterned(found.counted)}", found.pattern.shares, True))
        figure = Figure(figsize=(10, 1.9 + 0.42 * len(seen)), layout="constrained")
        axes = figure.subplots()
        axes.set_label("patterns")
        used = [word for word in PATTERNS if any(word in shares for _, shares, _ in seen)]
        for i, (_, shares, counts) in enumerate(seen):
            place, start = i + (0.35 if found.pattern is not None and i == len(seen) - 1 else 0.0), 0.0
            for word in used:
                share = shares.get(word, 0.0)
                if share <= 0:
                    continue
                colour, hatch = BANDS[word]
                bar: dict[str, Any] = {"height": 0.7, "color": colour, "hatch": hatch, "edgecolor": "white", "linewidth": 0.8}
                axes.barh(place, share, left=start, alpha=1.0 if counts else 0.45, **bar)
                if share >= 7:
                    axes.text(
                        start + share / 2, place, f"{share:.3g}", ha="center", va="center", color=INK, fontsize=9, **plate(0.75)
                    )
                start += share
        places = [i + (0.35 if found.pattern is not None and i == len(seen) - 1 else 0.0) for i in range(len(seen))]
        axes.set_yticks(places, [name for name, _, _ in seen])
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        axes.set_ylim((places[-1] if places else 0) + 0.55, -0.55)
        axes.set_xlim(0, 100)
        axes.set_xlabel("share of the bonded area, %")
        figure.suptitle("Failure patterns, words of ASTM D5573 and ISO 10365", x=0.01, ha="left")
        handles = [Patch(facecolor=BANDS[word][0], hatch=BANDS[word][1], edgecolor="white", label=word) for word in used]
        legend_below(figure, handles, 5)
        return settled(figure)


def _patterned(specimens: tuple[ReducedSpecimen, ...]) -> str:
    n = int(np.sum([one.entry.seen is not None for one in specimens]))
    return f"{n} that count{'s' if n == 1 else ''}"
