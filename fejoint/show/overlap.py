"""The overlap drawn on the x axis of curves, thick enough for its parts to be named."""

from __future__ import annotations

from itertools import accumulate
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import Geometry
from fejoint.show.colours import FAINT, INK
from fejoint.show.flaw_marks import clear_of_flaws, draw_flaws, name_flaws
from fejoint.show.pen import LEADER, draw_force, draw_moment, draw_regions
from fejoint.show.shape import outlines
from fejoint.units import display

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_overlap"]

Floats = NDArray[np.float64]

BEYOND = 0.14  # how much of either side is shown, over the overlap's length
THIN = 0.5  # an adherend is drawn at least so thick, over the thickest one
ROW = 0.16  # of texts below, over the depth
LETTER = 0.0086  # how wide a small letter is, over what is shown
LAYERS = 0.27  # all layers are drawn at least so thick together, over all adherends


def draw_overlap(axes: Axes, joint: Joint, mm: float, units: str) -> None:
    """Draw the overlap on an x axis in display units (`mm` of them a millimetre), its thickness not to scale."""
    g = joint.geometry
    true, drawn = _heights(g)

    def put(corners: Floats) -> Floats:
        return np.column_stack([corners[:, 0] * mm, np.interp(corners[:, 1], true, drawn)])

    draw_regions(axes, {name: [put(corners) for corners in parts] for name, parts in outlines(g).items()})
    length, beyond, depth = g.length * mm, BEYOND * g.length * mm, drawn[-1] - drawn[0]
    axes.set_xlim(-beyond, length + beyond)
    lowest = drawn[0]
    if joint.flaws:
        row, letter = ROW * depth, LETTER * (length + 2 * beyond)
        lowest = name_flaws(axes, joint, draw_flaws(axes, joint, put), drawn[0] - 0.3 * row, row, letter, units)
    axes.set_ylim(lowest - 0.04 * depth, drawn[-1] + 0.04 * depth)
    axes.set_axis_off()
    look: dict[str, Any] = {"color": INK, "ha": "center", "va": "center", "fontsize": "medium"}
    middles = dict(zip(g.adherends(), ((drawn[:-1] + drawn[1:]) / 2)[::2], strict=False))
    if isinstance(g, SteppedLap):
        t = g.lower.thickness
        middles = {"lower": -0.08 * t, "upper": 0.08 * t}
        free = 0.24 * t, -0.24 * t
        _name_stair(axes, joint, g, mm, look)
    else:
        clear = clear_of_flaws(joint, 0.0, g.length) * mm
        for name, y in middles.items():
            axes.text(clear, y, g.adherend_key(name), **look)
        for number, bond in enumerate(g.bonds(), start=1):
            text = f"bondline {number}" if len(g.bonds()) > 1 else "adhesive"  # as curves and peaks call them
            axes.text(clear, np.interp(bond.y, true, drawn), text, **{**look, "fontsize": "small"})
        # Beside an adherend that ends there is room for words.
        ends = [[y for name, y in middles.items() if g.entries()[name] == x] for x in (g.length, 0.0)]
        free = ends[0][-1], ends[1][0]
    load = joint.load
    if load.force != 0:
        for name, y in middles.items():
            x, out = (0.0, -beyond) if g.entries()[name] == 0 else (length, beyond)
            near, far = (0.25, 0.85) if load.force_alone or name not in g.loaded else (0.42, 0.95)
            draw_force(axes, (x + near * out, y), (x + far * out, y), load.force, 1.8)
        axes.text(-0.55 * beyond, free[0], f"force\n{display(load.force, 'N', units)}", **look)
    if load.force_alone:
        axes.text(length + 0.55 * beyond, free[1], "thickness\nnot to scale", **{**look, "color": FAINT})
        return
    axes.set_title("thickness not to scale", loc="right", color=FAINT, fontsize="medium")
    (name,) = g.loaded
    tall = (
        0.4 * float(np.diff(drawn)[::2][list(middles).index(name)]) if not isinstance(g, SteppedLap) else 0.2 * g.lower.thickness
    )
    x, out = (0.0, -beyond) if g.pull < 0 else (length, beyond)
    y, place = middles[name], x + 0.2 * out
    if load.moment != 0:
        draw_moment(axes, place, y - tall, y + tall, g.pull, load.moment, 1.8)
        text = f"moment\n{display(load.moment, 'N*mm', units).replace('*', ' ')}"
    else:
        up = tall * np.sign(load.shear_force)
        draw_force(axes, (place, y - up), (place, y + up), 1.0, 1.8)
        text = f"shear force\n{display(load.shear_force, 'N', units)}"
    axes.text(x + 0.55 * out, free[1] if g.pull > 0 else ends[0][0], text, **look)


def _heights(g: Geometry) -> tuple[Floats, Floats]:
    """Return the heights of all surfaces and interfaces from below, mm, and those they are drawn at."""
    f = g.fillet_height
    if isinstance(g, SteppedLap):
        t = g.lower.thickness
        true = np.array([-t / 2 - f, t / 2 + f])
        return true, true
    metal = np.array([part.thickness for part in g.adherends().values()])
    shown = np.maximum(metal, THIN * metal.max())
    layer = max(g.bondline_thickness, LAYERS * float(shown.sum()) / (len(metal) - 1))
    ta, first = g.bondline_thickness, g.bonds()[0]
    true = _stacked(metal, ta) + first.y - ta / 2 - metal[0]
    return true, _stacked(shown, layer) - (shown.sum() + layer * (len(metal) - 1)) / 2


def _stacked(plates: Floats, layer: float) -> Floats:
    """Return the heights of all surfaces of plates with layers between, from 0."""
    parts = [part for plate in plates for part in (float(plate), layer)][:-1]
    return np.array([0.0, *accumulate(parts)])


def _name_stair(axes: Axes, joint: Joint, g: SteppedLap, mm: float, look: dict[str, Any]) -> None:
    """Write names on both sides of a stair, and at its middle tread."""
    length, t = g.length * mm, g.lower.thickness
    bond = g.bonds()[len(g.treads) // 2]
    axes.text(0.2 * length, -0.28 * t, "lower", **look)
    axes.text(0.8 * length, 0.28 * t, "upper", **look)
    place, label = (bond.start + 0.4 * (bond.end - bond.start)) * mm, bond.y - 0.3 * t
    if joint.flaws:
        place = clear_of_flaws(joint, bond.start, bond.end) * mm
    label = max(label, -0.38 * t)
    axes.annotate("adhesive", (place, bond.y), (place - 0.06 * length, label), arrowprops=LEADER, **look)
