"""The drop that an adhesive makes on a surface, and the surface's wetting envelope, as a matplotlib figure."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.process.energies import Energies, wetting_envelope
from fejoint.process.wetting import Wetted, Wetting
from fejoint.show.colours import FAINT, INK, METAL, sequential
from fejoint.show.pen import drawing_style, plate, printable, settled, shortened
from fejoint.show.process.axes import DASHED, DOTTED, ORANGE, RED, headed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["wetting_figure"]

WATER_BREAK = {True: "passed, the film stayed whole", False: "failed, the film broke", None: "not recorded"}
TITLES = {
    "wets": "the adhesive wets the surface",
    "marginal": "the adhesive wets the surface badly",
    "does not wet": "the adhesive does not wet the surface",
    "not known": "wetting is not known",
}


def wetting_figure(w: Wetted, given: Wetting, title: str = "") -> Figure | None:
    """Return the drop that the adhesive makes and the wetting envelope of the surface; None where neither is known.

    The envelope: which angle a liquid of any dispersive and polar part makes on
    the surface (Owens & Wendt), and where the adhesive and the probe liquids lie.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    drop, envelope = w.angle is not None, w.surface is not None
    if not drop and not envelope:
        return None
    with drawing_style():
        from matplotlib.figure import Figure

        ratios = [1.0] * drop + [1.45] * envelope
        figure = Figure(figsize=(10.5, 5.4) if len(ratios) > 1 else (6.5, 5.2), layout="constrained")
        grid = figure.subplots(1, len(ratios), width_ratios=ratios, squeeze=False)[0]
        headed(figure, title, TITLES[w.verdict.word])
        if w.angle is not None:
            _draw_drop(grid[0], w.angle, given)
        if w.surface is not None:
            _draw_envelope(grid[-1], w, given, figure)
        return settled(figure)


def _draw_drop(axes: Axes, angle: float, given: Wetting) -> None:
    """Draw a drop of a contact angle in section, without weight, and its angle."""
    from matplotlib.patches import Polygon, Rectangle

    shown = max(angle, 5.0)  # a drop that spreads is a film
    theta = math.radians(shown)
    base = 1.0 if shown <= 90 else math.sin(theta)
    radius = base / math.sin(theta) if shown < 179 else 1.0
    centre = -radius * math.cos(theta)
    turn = np.linspace(-theta, theta, 181)
    outline = np.column_stack([radius * np.sin(turn), centre + radius * np.cos(turn)])
    axes.add_patch(Polygon(outline, facecolor=ORANGE, edgecolor=INK, linewidth=1.0, alpha=0.85))
    axes.add_patch(Rectangle((-1.6, -0.28), 3.2, 0.28, facecolor=METAL, edgecolor=INK, linewidth=0.9))
    corner = (base if shown < 179 else 0.0, 0.0)
    if angle > 3:
        # The tangent where the drop meets the surface; the angle is measured through the liquid.
        reach = 0.75
        tip = (corner[0] - reach * math.cos(theta), reach * math.sin(theta))
        axes.plot([corner[0], tip[0]], [0.0, tip[1]], color=RED, linewidth=1.6)
        arc = math.pi - np.linspace(0.0, theta, 60)
        axes.plot(corner[0] + 0.4 * np.cos(arc), 0.4 * np.sin(arc), color=RED, linewidth=1.4)
    how = "read on the surface" if given.adhesive_angle is not None else "from surface energies"
    said = "spreads by itself" if angle == 0 else f"contact angle {angle:.3g} degrees"
    axes.text(0.0, max(float(outline[:, 1].max()), 0.5) + 0.2, f"adhesive: {said}\n({how})", ha="center", va="bottom")
    note = f"water-break test: {WATER_BREAK[given.water_film_whole]}"
    axes.text(0.0, -0.42, note, ha="center", va="top", color=RED if given.water_film_whole is False else INK)
    axes.set_xlim(-1.7, 1.7)
    axes.set_ylim(-0.75, max(float(outline[:, 1].max()), 0.5) + 0.6)
    axes.set_aspect("equal")
    axes.set_axis_off()


def _draw_envelope(axes: Axes, w: Wetted, given: Wetting, figure: Figure) -> None:
    """Draw the angle that liquids make on the surface, over their dispersive and polar parts."""
    from matplotlib.colors import ListedColormap

    assert w.surface is not None
    points = [("surface", w.surface, "s")] + ([("adhesive", w.adhesive, "o")] if w.adhesive is not None else [])
    for probe in dict.fromkeys(probe.liquid.name or "probe liquid" for probe in given.readings):
        liquid = next(p.liquid for p in given.readings if (p.liquid.name or "probe liquid") == probe)
        points.append((probe, liquid, "^"))
    most = [1.22 * max(max(getattr(e, part) for _, e, _ in points), 15.0) for part in ("dispersive", "polar")]
    d, p = np.meshgrid(np.linspace(0.0, most[0], 161)[1:], np.linspace(0.0, most[1], 161))
    work = 2 * (np.sqrt(w.surface.dispersive * d) + np.sqrt(w.surface.polar * p))
    angles = np.degrees(np.arccos(np.clip(work / (d + p) - 1, -1.0, 1.0)))
    colours = ListedColormap(sequential(256)[::-1][:190] / 255.0)
    filled = axes.contourf(d, p, angles, levels=np.arange(0.0, 91.0, 10.0), cmap=colours, extend="max", alpha=0.75)
    bar = figure.colorbar(filled, ax=axes, pad=0.02)
    bar.set_label("contact angle of a liquid on the surface, degrees")
    direction = np.linspace(0.0, 90.0, 181)
    looks: tuple[tuple[float, Any], ...] = ((0.0, "-"), (given.wets_up_to, DASHED), (given.does_not_above, DOTTED))
    for limit, dash in looks:
        if limit < 180:
            axes.plot(
                *wetting_envelope(w.surface, limit, direction),
                color=INK,
                linestyle=dash,
                linewidth=1.6,
                label=f"{limit:g} degrees",
            )
    for name, e, marker in points:
        axes.plot(
            e.dispersive,
            e.polar,
            marker,
            color=RED if name == "adhesive" else INK,
            markeredgecolor="white",
            markersize=9,
            zorder=4,
            clip_on=False,
        )
        _label(axes, name, e, most)
    axes.set_xlim(0.0, most[0])
    axes.set_ylim(0.0, most[1])
    axes.grid(visible=False)
    axes.set_xlabel("dispersive part, mN/m")
    axes.set_ylabel("polar part, mN/m")
    axes.set_title("wetting envelope: liquids on this surface", color=FAINT)
    axes.legend(loc="upper right", frameon=True, framealpha=0.85, edgecolor="none")


def _label(axes: Axes, name: str, e: Energies, most: list[float]) -> None:
    """Write a name beside a point, on the side that has room."""
    left = e.dispersive > 0.62 * most[0]
    up = 6 if e.polar < 0.9 * most[1] else -12
    axes.annotate(
        printable(shortened(name, 28)),
        (e.dispersive, e.polar),
        xytext=(-8 if left else 8, up),
        textcoords="offset points",
        ha="right" if left else "left",
        zorder=5,
        **plate(0.75),
    )
