"""Predicted against measured failure loads: as a table, as JSON, as a figure."""

from __future__ import annotations

import math
from itertools import cycle
from typing import TYPE_CHECKING, Any

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.rule import Rule
from rich.table import Table
from rich.text import Text

from fejoint.proof.coupons import CouponReport, CouponsReport, Criterion, Prediction
from fejoint.proof.measured import PATTERNS
from fejoint.show.colours import FAINT, INK
from fejoint.show.pen import drawing_style, plate, printable, settled, shortened
from fejoint.units import display

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["coupons_figure", "coupons_json", "coupons_table"]

BAD = "bold red"
INSIDE = "within the scatter"
MEANING = (
    "Nothing is fitted. Error: predicted less mean measured load, as a share of the latter; above 0 a criterion promises too "
    f"much. {INSIDE.capitalize()}: by no more than one standard deviation (n - 1) of the measured loads."
)
INTERFACE = (
    "The coupons parted at the interface, but the criteria take the adhesive's own figures: a bond that parts so bears less. "
    'Look at the preparation; or set strength.failure_at = "interface", with figures measured on such bonds.'
)
# Of the figure: looks of the criteria, each another marker or ink; letters of a name.
INKS = ("#0b2f52", "#b8500f", "#4f9a94", "#8c6bb1", "#5094cb", "#30383f")
MARKERS = ("o", "s", "^", "D", "v", "P", "X")
NAME_LENGTH, ROW_HEIGHT = 44, 0.34
TICKS = tuple(digit * 10.0**power for power in range(-4, 5) for digit in (1, 2, 5))


# ---- table -----------------------------------------------------------------

ROWS = {"criterion": 44, "predicted": 10, "ratio": 6, "error": 8, "": 46}
SUMMARY = {"criterion": 44, "tests": 5, "mean error": 10, "bias": 8, "spread": 7, "within": 6, "worst": 30}
LEFT = ("criterion", "", "worst")


def coupons_table(report: CouponsReport) -> RenderableType:
    """Return what a person reads: every test with its loads and a row a criterion; then every criterion over all tests."""
    parts: list[RenderableType] = [_row(ROWS, list(ROWS)), Rule(style="dim")]
    for test in report.tests:
        parts += _test_part(test)
    criteria = [one for one in report.criteria if one.counted]
    if criteria:
        parts += [Text(""), Text("All tests, by criterion", style="bold"), _row(SUMMARY, list(SUMMARY)), Rule(style="dim")]
        parts += [_row(SUMMARY, _summary_cells(one)) for one in criteria]
        idle = [one.name for one in report.criteria if not one.counted]
        parts += [Text(f"Held against no test: {'; '.join(idle)}.", style="dim")] if idle else []
    return Group(*parts, Text(""), Text(_counted(report)), Text(MEANING))


def _test_part(test: CouponReport) -> list[RenderableType]:
    source = f"  {printable(test.test.measured.source)}" if test.test else ""
    parts: list[RenderableType] = [Text.assemble((test.name, "bold"), source)]
    if test.test:
        parts.append(Text(f"  {_measured(test)}"))
        note = printable(test.test.measured.note)
        parts += [Text(f"  {note}", style="dim")] if note else []
    parts += [Text(f"    {test.message}", style=BAD)] if test.message else []
    for prediction in test.predictions:
        parts.append(_row(ROWS, _cells(prediction), _style(prediction)))
    parts += [Text(f"    {INTERFACE}", style="bold")] if test.at_the_interface else []
    return parts


def _row(columns: dict[str, int], cells: list[str], style: str = "") -> Padding:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 1, 0, 0))
    for name, width in columns.items():
        table.add_column(width=width, justify="left" if name in LEFT else "right", overflow="fold")
    table.add_row(*(Text(cell) for cell in cells), style=style)
    return Padding(table, (0, 0, 0, 2))


def _style(prediction: Prediction) -> str:
    return "dim" if prediction.excluded else "bold" if prediction.of_joint else ""


def _measured(test: CouponReport) -> str:
    """Return the loads of a test in words: mean, standard deviation, number, pattern."""
    assert test.test is not None
    m = test.test.measured
    number = f"{len(m.loads)} coupons" if len(m.loads) > 1 else "1 coupon"
    scatter = (
        f"standard deviation {display(m.deviation, 'N', digits=3)} ({_share(m.deviation / m.mean)})"
        if m.deviation is not None
        else "scatter not known"
    )
    return f"measured: mean {display(m.mean, 'N')}, {scatter}, {number}; seen: {m.pattern or 'not stated'}"


def _cells(prediction: Prediction) -> list[str]:
    capacity, ran = prediction.capacity, math.isfinite(prediction.force)
    words = [prediction.excluded, INSIDE if prediction.inside and not prediction.excluded else ""]
    if prediction.of_joint:
        words += [f"by: {capacity.name}", "" if prediction.as_seen else f"but {PATTERNS[prediction.measured.pattern]} parted"]
    return [
        prediction.name,
        display(prediction.force, "N") if ran else "-",
        f"{prediction.ratio:.2f}" if ran else "-",
        _signed(prediction.error) if ran and not prediction.excluded else "-",
        "; ".join(word for word in words if word),
    ]


def _summary_cells(one: Criterion) -> list[str]:
    name, error = one.worst or ("", math.nan)
    return [
        one.name,
        str(len(one.counted)),
        _share(one.mean_error),
        _signed(one.bias),
        _share(one.spread),
        f"{one.inside}/{len(one.counted)}",
        f"{_signed(error)}, {name}",
    ]


def _share(value: float) -> str:
    return f"{100 * value:.1f} %" if math.isfinite(value) else "-"


def _signed(value: float) -> str:
    return f"{100 * value:+.1f} %" if math.isfinite(value) else "-"


def _counted(report: CouponsReport) -> str:
    coupons = sum(len(test.test.measured.loads) for test in report.tests if test.test)
    seconds = sum(test.seconds for test in report.tests)
    words = {"bad": "refused", "missed": "not solved"}
    trouble = [f"{n} {words[v]}" for v in words if (n := sum(test.verdict == v for test in report.tests))]
    return f"Tests: {len(report.tests)}, of {coupons} coupons{''.join(f', {text}' for text in trouble)}. {seconds:.2g} s."


# ---- JSON ------------------------------------------------------------------


def coupons_json(report: CouponsReport) -> dict[str, Any]:
    """Return the tests and the criteria over all of them, ready for JSON (N; errors as shares)."""
    return {
        "tests": [_test_json(test) for test in report.tests],
        "criteria": [_criterion_json(one) for one in report.criteria],
    }


def _test_json(test: CouponReport) -> dict[str, Any]:
    m = test.test.measured if test.test else None
    return {
        "name": test.name,
        "title": test.test.joint.title if test.test else "",
        "source": m.source if m else "",
        "note": m.note if m else "",
        "pattern": m.pattern if m else "",
        "loads_N": list(m.loads) if m else [],
        "mean_N": m.mean if m else None,
        "deviation_N": m.deviation if m else None,
        "number": len(m.loads) if m else 0,
        "verdict": test.verdict,
        "message": test.message,
        "seconds": test.seconds,
        "predictions": [_prediction_json(one) for one in test.predictions],
    }


def _prediction_json(one: Prediction) -> dict[str, Any]:
    capacity = one.capacity
    return {
        "criterion": one.key,
        "name": one.name,
        "by": capacity.key,
        "route": capacity.route,
        "mode": capacity.mode,
        "predicted_N": _finite(one.force),
        "ratio": _finite(one.ratio),
        "error": _finite(one.error),
        "inside_scatter": one.inside,
        "counted": not one.excluded,
        "excluded": one.excluded,
        "figures": dict(capacity.figures),
        "source": capacity.source,
    }


def _criterion_json(one: Criterion) -> dict[str, Any]:
    name, error = one.worst or (None, math.nan)
    return {
        "criterion": one.key,
        "name": one.name,
        "tests": len(one.counted),
        "mean_error": _finite(one.mean_error),
        "bias": _finite(one.bias),
        "spread": _finite(one.spread),
        "inside_scatter": one.inside,
        "worst": {"test": name, "error": _finite(error)},
        "left_out": [{"test": test, "reason": reason} for test, reason in one.left_out],
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


# ---- figure ----------------------------------------------------------------


def coupons_figure(report: CouponsReport) -> Figure:
    """Return predicted over measured loads with the scatter of the latter, and beside it their ratio by criterion.

    The axes are labelled loads and ratios. Hollow marks do not count among a
    criterion's errors: something else parted, or nothing does.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure
        from matplotlib.lines import Line2D

        criteria = report.criteria
        looks = _looks([one.key for one in criteria])
        figure = Figure(figsize=(14, max(5.6, 2.2 + ROW_HEIGHT * len(criteria))), layout="constrained")
        loads, ratios = figure.subplots(1, 2, gridspec_kw={"width_ratios": [1.0, 1.15]})
        loads.set_label("loads")
        ratios.set_label("ratios")
        figure.suptitle(f"Predicted and measured failure loads. {_counted(report).rsplit('. ', 1)[0]}", x=0.01, ha="left")
        _draw_loads(loads, report, looks)
        _draw_ratios(ratios, report, criteria, looks)
        mark: dict[str, Any] = {"linestyle": "none", "color": INK, "markersize": 7}
        figure.legend(
            handles=[
                Line2D([], [], marker="o", label="a test", **mark),
                Line2D(
                    [], [], marker="o", markerfacecolor="white", label="does not count: something else parted, or nothing", **mark
                ),
                Line2D([], [], marker="|", label="mean over the tests", **{**mark, "markersize": 14, "markeredgewidth": 2}),
                Line2D([], [], color=FAINT, linewidth=2, label="one standard deviation of the measured loads"),
            ],
            loc="outside lower center",
            ncols=4,
        )
        return settled(figure)


def _looks(keys: list[str]) -> dict[str, dict[str, Any]]:
    """Return marker and ink of each criterion; their periods have no common divisor, so that 42 differ."""
    return {key: {"marker": m, "color": c} for key, m, c in zip(keys, cycle(MARKERS), cycle(INKS), strict=False)}


def _drawn(report: CouponsReport) -> list[tuple[CouponReport, Prediction]]:
    return [(test, one) for test in report.tests for one in test.predictions if math.isfinite(one.force)]


def _mark(one: Prediction, look: dict[str, Any]) -> dict[str, Any]:
    gid = "left out" if one.excluded else "counted"
    return {**look, "markerfacecolor": "white" if one.excluded else look["color"], "markersize": 7, "gid": gid, "zorder": 3}


def _draw_loads(axes: Axes, report: CouponsReport, looks: dict[str, dict[str, Any]]) -> None:
    """Draw predicted over measured load, kN, with the line on which they are equal and the band of a tenth to either side."""
    found = _drawn(report)
    right = 1.15 * max([1e-9, *((one.measured.mean + (one.measured.deviation or 0.0)) / 1000 for _, one in found)])
    top = 1.08 * max([right, *(one.force / 1000 for _, one in found)])
    axes.fill_between([0, right], [0, 0.9 * right], [0, 1.1 * right], color=FAINT, alpha=0.12, linewidth=0, zorder=0)
    axes.plot([0, right], [0, right], color=INK, linewidth=1.2, zorder=1)
    for _, one in found:
        x, y = one.measured.mean / 1000, one.force / 1000
        if one.measured.deviation:
            axes.errorbar(
                [x], [y], xerr=one.measured.deviation / 1000, ecolor=FAINT, elinewidth=1.6, capsize=4, fmt="none", zorder=2
            )
        axes.plot([x], [y], linestyle="none", **_mark(one, looks[one.key]))
    axes.set_xlim(0, right)
    axes.set_ylim(0, top)
    axes.set_xlabel("mean measured load, kN")
    axes.set_ylabel("predicted load, kN")
    axes.set_title("line: equal; band: within a tenth; marks as on the right")


def _draw_ratios(axes: Axes, report: CouponsReport, criteria: tuple[Criterion, ...], looks: dict[str, dict[str, Any]]) -> None:
    """Draw a row of ratios a criterion, its mean, and behind each mark the scatter of the test's loads."""
    rows = {one.key: i for i, one in enumerate(criteria)}
    found = _drawn(report)
    for _, one in found:
        y, share = rows[one.key], (one.measured.deviation or 0.0) / one.measured.mean
        # The ratio if another coupon of the lot had been the mean.
        axes.plot(
            [one.ratio * max(1 - share, 1e-3), one.ratio * (1 + share)], [y, y], color=FAINT, linewidth=2, alpha=0.5, zorder=1
        )
        axes.plot([one.ratio], [y], linestyle="none", **_mark(one, looks[one.key]))
    for row in criteria:
        if row.counted:
            mean: dict[str, Any] = {
                "marker": "|",
                "markersize": 18,
                "markeredgewidth": 2,
                "color": INK,
                "zorder": 4,
                "gid": "mean",
            }
            axes.plot([1 + row.bias], [rows[row.key]], linestyle="none", **mean)
        elif not any(one.key == row.key for _, one in found):
            small: dict[str, Any] = {"va": "center", "fontsize": 8.5, "color": FAINT, **plate()}
            axes.text(0.02, rows[row.key], shortened(row.left_out[0][1], 75), transform=axes.get_yaxis_transform(), **small)
    axes.axvspan(0.9, 1.1, color=FAINT, alpha=0.12, linewidth=0, zorder=0)
    axes.axvline(1.0, color=INK, linewidth=1.2, zorder=1)
    axes.set_yticks(range(len(criteria)), [shortened(one.name, NAME_LENGTH) for one in criteria])
    axes.set_ylim(max(len(criteria), 1) - 0.5, -0.5)
    ratios = [one.ratio for _, one in found]
    low, high = min([0.5, *ratios]) / 1.25, max([2.0, *ratios]) * 1.25
    axes.set_xscale("log")  # half as much is as wrong as twice as much
    axes.set_xlim(low, high)
    axes.set_xticks([tick for tick in TICKS if low <= tick <= high])
    axes.minorticks_off()
    axes.xaxis.set_major_formatter("{x:g}")
    axes.tick_params(axis="y", length=0)
    axes.grid(visible=False, axis="y")
    axes.set_xlabel("predicted over mean measured load")
    axes.set_title("above 1 a criterion promises too much")
