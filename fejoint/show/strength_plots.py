"""The load by every criterion as a figure: bars by route, their spread, the load applied."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fejoint.show.colours import FAINT, INK
from fejoint.show.pen import drawing_style, legend_below, printable, settled, shortened
from fejoint.show.strength_tables import ROUTES
from fejoint.units import shown_unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["strength_figure"]

# Routes differ in lightness as in hue, so that they part without colour, too.
COLOURS = {"stress": "#9db8d2", "plateau": "#d98a32", "energy": "#3d7a5d", "cohesive": "#0b2f52", "adherend": "#8a9199"}
RED = "#b8500f"
HEIGHT, HEAD = 0.27, 1.9  # inches, of a bar and of what stands over and under them


def strength_figure(data: Mapping[str, Any], units: str = "mm", headed: bool = True) -> Figure:
    """Return a figure with a bar for every criterion that can run: its load, the range at other distances and meshes.

    Parameters
    ----------
    data : mapping
        As `fejoint.show.strength_files.strength_data` returns it.
    units : str
        Display system.
    headed : bool
        Whether the joint's title stands over it.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure
        from matplotlib.lines import Line2D
        from matplotlib.patches import Patch

        by_force = bool(data["applied"]["force_N"])
        factor, unit = shown_unit("N", units) if by_force else (1.0, "")
        if by_force and units == "mm":
            factor, unit = 1e-3, "kN"
        rows = [c for c in data["criteria"] if not c["reason"] and c["factor"] is not None]

        def load(c: Mapping[str, Any], value: float | None) -> float:
            if by_force:
                return abs(value or 0.0) * factor
            return float(c["factor"])

        figure = Figure(figsize=(10, HEAD + HEIGHT * max(len(rows), 4)), layout="constrained")
        axes = figure.subplots()
        shared = {k["name"] for k in data["knockdowns"]}
        if headed:
            figure.suptitle(printable(shortened(f"{data['title'] or 'joint'}: load by each criterion", 90)), x=0.01, ha="left")
        for i, c in enumerate(rows):
            value = load(c, c["force_N"])
            chosen = c["key"] == data["believed"]
            axes.barh(i, value, height=0.72, color=COLOURS[c["route"]], edgecolor=INK if chosen else "none", linewidth=1.6)
            others = [load(c, v) for v in c["variants_N"].values() if v is not None] if by_force else []
            if others:
                low, high = min([value, *others]), max([value, *others])
                axes.plot([low, high], [i, i], color=INK, linewidth=1.2, marker="|", markersize=6)
        names = [c["name"] + (", believed" if c["key"] == data["believed"] else "") for c in rows]
        axes.set_yticks(range(len(rows)), names)
        for label, c in zip(axes.get_yticklabels(), rows, strict=True):
            label.set_fontweight("bold" if c["key"] == data["believed"] else "normal")
        axes.tick_params(axis="y", length=0)
        axes.grid(visible=False, axis="y")
        axes.set_ylim(len(rows) - 0.4, -0.6)
        applied = abs(data["applied"]["force_N"]) * factor if by_force else 1.0
        axes.axvline(applied, color=RED, linewidth=1.8)
        handles: list[Any] = [
            Patch(color=COLOURS[r], label=ROUTES[r].lower()) for r in ROUTES if any(c["route"] == r for c in rows)
        ]
        handles.append(Line2D([], [], color=RED, linewidth=1.8, label="load applied"))
        least = data["governing"]
        if least["factor"] is not None:
            borne = abs(least["force_N"]) * factor if by_force else least["factor"]
            axes.axvline(borne, color=INK, linewidth=1.4, linestyle=(0, (4, 2)))
            said = "governs" + (", knockdowns counted in" if shared and least["knockdowns"] else "")
            handles.append(Line2D([], [], color=INK, linewidth=1.4, linestyle=(0, (4, 2)), label=f"{least['name']}: {said}"))
        if by_force and any(c["variants_N"] for c in rows):
            handles.append(Line2D([], [], color=INK, linewidth=1.2, marker="|", label="half and double distance and mesh"))
        axes.set_xlim(0, None)
        axes.set_xlabel(f"force, {unit}" if by_force else "share of the loads applied")
        axes.xaxis.label.set_color(FAINT)
        legend_below(figure, handles, 3)
        return settled(figure)
