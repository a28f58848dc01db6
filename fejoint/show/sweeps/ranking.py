"""The parameters of a sweep by what they do to a column."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.errors import JointError
from fejoint.show.colours import FAINT, INK, diverging
from fejoint.show.pen import drawing_style, settled
from fejoint.show.sweeps.charts import title, words
from fejoint.show.sweeps.limits import column_label, column_of, column_unit, numbers

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

__all__ = ["effects_figure"]


def effects_figure(effects: pd.DataFrame, column: str) -> Figure:
    """Return what each parameter does to a column as bars, in the order given; hatched where it lowers it.

    Parameters
    ----------
    effects : DataFrame
        As `fejoint.show.sweeps.effects.effects` returns it: index `parameter`; `low`, `high`, `effect`, `effect_error`, `share`.
    column : str
        The column that it is about.

    Raises
    ------
    JointError
        Columns are missing, or there is no parameter in it.
    SetupError
        matplotlib is not installed.
    """
    effect, error, share = (numbers(effects, name) for name in ("effect", "effect_error", "share"))
    spans = zip(effects.index, column_of(effects, "low"), column_of(effects, "high"), strict=True)
    names = [f"{textwrap.fill(words(name), 36)}\n{_span(name, low, high)}".strip() for name, low, high in spans]
    if not names:
        raise JointError(f"effects on {column}: no parameter in this table.")
    changes = [
        f"{value:+.3g} {column_unit(column)}".strip() if np.isfinite(value) else "results at one value alone" for value in effect
    ]
    with drawing_style():
        from matplotlib.figure import Figure

        lines = 1 + max(name.count("\n") for name in names)
        figure = Figure(figsize=(10, 1.8 + len(names) * (0.2 + 0.2 * lines)), layout="constrained")
        axes = figure.subplots()
        title(figure, f"what changes {words(column)}")
        axes.set_xlabel(f"change of {column_label(column)} from the first to the second value, others averaged")
        down, up = (diverging()[i] / 255 for i in (30, 226))
        bars = axes.barh(
            range(len(names)),
            np.nan_to_num(effect),
            xerr=np.nan_to_num(error),
            height=0.55,
            color=[down if value < 0 else up for value in effect],
            hatch=["///" if value < 0 else "" for value in effect],
            edgecolor=INK,
            linewidth=0.6,
            ecolor=INK,
        )
        axes.bar_label(bars, changes, padding=6)
        beside: dict[str, Any] = {"xycoords": ("axes fraction", "data"), "textcoords": "offset points"}
        for i, explained in enumerate(share):
            text = f"{100 * explained:.0f} %" if np.isfinite(explained) else "-"
            axes.annotate(text, (1.0, i), (14, 0), va="center", gid="share", **beside)
        beside["xycoords"] = "axes fraction"
        axes.annotate("share of\nvariance", (1.0, 1.0), (14, 6), color=FAINT, **beside)
        axes.set_title("lines: standard error" if (error > 0).any() else "", color=FAINT)
        axes.axvline(0.0, color=INK, linewidth=1.0)
        axes.margins(x=0.2)  # for what is written at the ends of the bars
        axes.set_yticks(range(len(names)), names)
        axes.set_ylim(len(names) - 0.5, -0.5)
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        return settled(figure)


def _span(parameter: str, low: Any, high: Any) -> str:
    """Return from which value to which a parameter goes."""
    if isinstance(low, str | bool | np.bool_):
        return textwrap.fill(f"{low} → {high}", 36)
    return f"{low:.4g} → {high:.4g} {column_unit(parameter.split(' + ')[0])}".strip() if low == low else ""
