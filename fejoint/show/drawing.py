"""The section of a joint drawn to scale: its dimensions by their keys, how it is held and loaded, an overlap end magnified."""

from __future__ import annotations

from itertools import pairwise
from textwrap import shorten
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import Geometry
from fejoint.show.colours import FAINT, INK, OUTLINE
from fejoint.show.detail import draw_end
from fejoint.show.flaw_marks import draw_flaws
from fejoint.show.overlap import draw_overlap
from fejoint.show.pen import (
    dimension,
    draw_force,
    draw_moment,
    draw_regions,
    drawing_style,
    heading,
    keyed,
    listed,
    plate,
    thin_dimension,
)
from fejoint.show.shape import EndFace, end_faces, outlines, round_factor, stair
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fejoint.mechanics.outcome import Outcome

__all__ = ["section_figure"]

PAPER = 10.0  # inches: how wide a figure is
LETTER = 0.092  # inches: how wide a letter is


def section_figure(joint: Joint | Outcome, units: str = "mm") -> Figure:
    """Return the joint drawn to scale, its dimensions named by their keys in the joint file, and an overlap end magnified.

    The axes are labelled whole, end and facts, with flaws those of the overlap flaws (`Axes.get_label`).

    Parameters
    ----------
    joint : Joint
        Or a solved one, a `Result` or a `Run`.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    joint = joint if isinstance(joint, Joint) else joint.joint
    with drawing_style():
        from matplotlib.figure import Figure

        frame = _framed(joint)
        room = min(PAPER * frame.height / frame.width, 4.5)
        strip = 2.3 if joint.flaws else 0.0
        height = room + 4.3 + strip
        figure = Figure(figsize=(PAPER, height))
        figure.suptitle(heading(joint, "section"), x=0.02, y=1 - 0.15 / height, va="top", ha="left")
        whole = figure.add_axes((0.0, (3.55 + strip) / height, 1.0, room / height))
        detail = figure.add_axes((0.02, 0.15 / height, 0.56, 3.0 / height), anchor="W")
        table = figure.add_axes((0.62, 0.15 / height, 0.37, 3.0 / height))
        _draw_whole(whole, joint, frame, units)
        draw_end(detail, joint, units)
        stretch = frame.stretch
        scale = f"lengths to scale; thickness drawn {stretch:g} times as large" if stretch > 1 else "to scale"
        whole.set_title(scale, color=FAINT, x=0.02)
        magnified = _drawn_scale(figure, detail) / _drawn_scale(figure, whole)
        what = "left overlap end" + (" of bondline 2 (the upper one)" if joint.geometry.kind == "double-lap" else "")
        detail.set_title(f"{what}, {magnified:.0f} times the length scale above", color=FAINT)
        _draw_facts(table, joint, units)
        for axes, label in ((whole, "whole"), (detail, "end"), (table, "facts")):
            axes.set_label(label)
        if joint.flaws:
            overlap = figure.add_axes((0.05, 3.5 / height, 0.9, (strip - 0.3) / height), label="flaws")
            draw_overlap(overlap, joint, shown_unit("mm", units)[0], units)
            overlap.set_title("flaws, across the whole width; thickness not to scale", color=FAINT, loc="left")
        return figure


class _Frame(NamedTuple):
    """How far the whole section reaches, mm, how many times its thickness is drawn, and the margins over the length."""

    left: float
    right: float
    bottom: float
    top: float
    stretch: float
    margins: tuple[float, float]

    @property
    def span(self) -> float:
        return self.right - self.left

    @property
    def step(self) -> float:
        """A length across the thickness that is as large on paper as the joint is long."""
        return self.span / self.stretch

    @property
    def width(self) -> float:
        """Width of the drawing over the joint's length."""
        return 1.0 + sum(self.margins)

    @property
    def height(self) -> float:
        """Height of the drawing on paper over the joint's length."""
        return (self.top - self.bottom) / self.step + 0.19

    def text(self, text: str) -> float:
        """Return about how long the longest line of a text is on paper, mm of the joint."""
        return LETTER * max(map(len, text.split("\n"))) / PAPER * self.width * self.span

    def within(self, text: str) -> tuple[float, float]:
        """Return between which x (mm) the middle of a text may lie."""
        half = 0.5 * self.text(text)
        return self.left - 0.06 * self.span + half, self.right + 0.06 * self.span - half


def _framed(joint: Joint) -> _Frame:
    g = joint.geometry
    (left, bottom), (right, top) = _limits(g)
    # A stair is seen only where it is drawn larger than plates need be.
    share = 0.07 if isinstance(g, SteppedLap) else 0.03
    loaded, grip = 0.1 if joint.load.moment == joint.load.shear_force == 0 else 0.14, 0.1
    margins = (grip, loaded) if g.pull > 0 else (loaded, grip)
    return _Frame(left, right, bottom, top, round_factor(share * (right - left) / (top - bottom)), margins)


def _limits(g: Geometry) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the least and largest x, y of the section, mm."""
    corners = np.concatenate([polygon for parts in outlines(g).values() for polygon in parts])
    (left, bottom), (right, top) = corners.min(axis=0), corners.max(axis=0)
    return (float(left), float(bottom)), (float(right), float(top))


# ---- the whole -----------------------------------------------------------


def _draw_whole(axes: Axes, joint: Joint, frame: _Frame, units: str) -> None:
    """Draw the whole section with its ends, loads and dimensions."""
    left, right, bottom, top, stretch, margins = frame
    g, faces = joint.geometry, end_faces(joint.geometry)
    draw_regions(axes, outlines(g))
    draw_flaws(axes, joint, lambda corners: corners, 0.6)
    _draw_grip(axes, [faces[name] for name in g.gripped], joint.load.ends, frame)
    for name in g.loaded:
        _draw_guide(axes, faces[name], joint, frame)
        _draw_loads(axes, faces[name], joint, frame)
    _draw_lengths(axes, g, frame, units)
    _draw_thicknesses(axes, g, frame, units)
    axes.set_xlim(left - margins[0] * frame.span, right + margins[1] * frame.span)
    axes.set_ylim(bottom - 0.1 * frame.step, top + 0.09 * frame.step)
    axes.set_aspect(stretch)
    axes.set_axis_off()


def _draw_grip(axes: Axes, faces: list[EndFace], ends: str, frame: _Frame) -> None:
    """Draw how the gripped end is held: several adherends in one grip, a spacer between them; pinned, as one about a pin."""
    span, step = frame.span, frame.step
    x, side = faces[0].x, faces[0].side
    bottom, top = min(face.bottom for face in faces), max(face.top for face in faces)
    middle, pad, radius = (bottom + top) / 2, 0.018 * step, 0.006
    wall = x  # where what does not move begins
    if len(faces) > 1:
        inner = sorted(faces, key=lambda face: face.bottom)
        guide = -side * min(0.04 * span, 0.4 * frame.right, -0.4 * frame.left)
        for below, above in pairwise(inner):
            _box(axes, x, x + guide, below.top, above.bottom, facecolor="#aeb6bd")
        if ends == "pinned":
            _box(axes, x, x + side * radius * span, bottom, top, facecolor=OUTLINE)
            wall = x + side * 3 * radius * span
    low, high = (bottom - pad, top + pad) if wall == x else (middle - 2 * pad, middle + 2 * pad)
    _hatched(axes, wall, wall + side * 0.012 * span, low, high)
    axes.plot([wall, wall], [low, high], color=OUTLINE, linewidth=1.4)
    if ends == "pinned":
        _pin(axes, wall - side * radius * span * (wall != x), middle, frame)
    text = wall + side * 0.02 * span
    axes.text(text, middle, f"{ends}\nend", ha="right" if side < 0 else "left", va="center", fontsize="small")


def _draw_guide(axes: Axes, face: EndFace, joint: Joint, frame: _Frame) -> None:
    """Draw how the loaded end is held: in a guide along x, by a pin, or by what keeps it from turning alone."""
    span, pad = frame.span, 0.018 * frame.step
    if joint.load.ends == "pinned":
        _pin(axes, face.x, face.middle, frame)
    elif joint.load.shear_force != 0:
        _box(axes, face.x, face.x + face.side * 0.006 * span, face.bottom - pad, face.top + pad, facecolor=OUTLINE)
    else:
        inside = face.x - face.side * min(0.04 * span, 0.4 * abs(face.x))
        for y, beyond in ((face.bottom, -pad), (face.top, pad)):
            _hatched(axes, inside, face.x, *sorted((y, y + beyond)))
            axes.plot([inside, face.x], [y, y], color=OUTLINE, linewidth=1.4)


def _draw_loads(axes: Axes, face: EndFace, joint: Joint, frame: _Frame) -> None:
    """Draw what acts on a loaded end, by the keys of the load."""
    load, side, span, step = joint.load, face.side, frame.span, frame.step
    y, out = face.middle, "left" if side > 0 else "right"

    def beyond(share: float) -> float:
        return face.x + side * share * span

    near = 0.012
    if load.moment != 0:
        draw_moment(axes, beyond(0.014), y - 0.04 * step, y + 0.04 * step, side, load.moment, 1.6)
        axes.text(beyond(0.014), y + 0.055 * step, "moment", ha=out, va="center")
        near = 0.052
    if load.shear_force != 0:
        reach = 0.065 * np.sign(load.shear_force) * step
        draw_force(axes, (beyond(0.012), y), (beyond(0.012), y + reach), 1.0, 2.2)
        axes.text(beyond(0.022), y + 0.85 * reach, "shear_force", ha=out, va="center")
    if load.force != 0:
        draw_force(axes, (beyond(near), y), (beyond(near + 0.063), y), load.force, 2.2)
        axes.text(beyond(near + 0.078), y + 0.02 * step, "force", ha="right" if side > 0 else "left", va="bottom")


def _draw_lengths(axes: Axes, g: Geometry, frame: _Frame, units: str) -> None:
    """Draw the free lengths below the section and the overlap above it; a text too long for its line stands beside it."""
    bottom, top, span, step = frame.bottom, frame.top, frame.span, frame.step
    entries, faces, stepped = g.entries(), end_faces(g), isinstance(g, SteppedLap)
    half = g.depth / 2
    for names in _alike(g).values():
        face, entry = faces[names[0]], entries[names[0]]
        keys = list(dict.fromkeys(f"{g.adherend_key(name)}.free_length" for name in names))
        text = keyed(keys, g.adherends()[names[0]].free_length, units, " =\n")
        # An overlap ends where the adherend that ends there has its face; of a stair that is the surface of a butt end.
        at_entry = bottom if not stepped else half if entry == 0 else -half
        ends = sorted([(face.x, face.bottom), (entry, at_entry)])
        (start, _), (end, _) = ends
        y = bottom - 0.062 * step
        lift = 0.0 if end - start > frame.text(text) + 0.05 * span else -0.006 * step
        dimension(axes, (start, y), (end, y), text, (ends[0][1], ends[1][1]), lift, frame.within(text))
    y = top + 0.055 * step
    text, feet = keyed([g.length_key], g.length, units), (top, top)
    if isinstance(g, SteppedLap):
        text, feet = _overlap_of_stair(g, units), (half, -half)
        for x, below in stair(g)[3:-1:2]:
            axes.plot([x, x], [below, y], color=FAINT, linewidth=0.5, zorder=2, gid="riser")
            axes.plot([x, x], [y - 0.006 * step, y + 0.006 * step], color=INK, linewidth=0.9)
    lift = 0.0 if g.length > frame.text(text) + 0.05 * span and not stepped else 0.009 * step
    dimension(axes, (0.0, y), (g.length, y), text, feet, lift, frame.within(text))


def _draw_thicknesses(axes: Axes, g: Geometry, frame: _Frame, units: str) -> None:
    """Draw the adherends' thicknesses; extension lines may pass behind their texts."""
    span, gap = frame.span, 0.0355 * frame.step
    faces = end_faces(g)
    shown = {key: names[-1:] for key, names in _alike(g, "thickness").items()}
    if isinstance(g, SteppedLap):
        shown = {"lower": ["lower", "upper"]}
    right = [names[0] for names in shown.values() if faces[names[0]].side > 0]
    for names in shown.values():
        face, part = faces[names[0]], g.adherends()[names[0]]
        text = keyed([f"{g.adherend_key(name)}.thickness" for name in names], part.thickness, units)
        # Clear of the guide of a loaded end; two at one end stand apart.
        off = (0.05, 0.5) if face.side < 0 and names[0] not in g.loaded else (0.055 if face.side > 0 else 0.075, 0.65)
        x = face.x - face.side * min(off[0] * span, off[1] * part.free_length)
        below = face.side < 0 or (len(right) > 1 and names[0] == right[0])
        room = [gap, gap]
        for other in faces.values():  # arrows between two adherends end before the other one
            if other.side == face.side and other.bottom > face.top:
                room[1] = min(gap, 0.85 * (other.bottom - face.top))
            if other.side == face.side and other.top < face.bottom:
                room[0] = min(gap, 0.85 * (face.bottom - other.top))
        if len(right) > 1 and below and face.side > 0:
            x -= 0.03 * span if part.free_length > 0.1 * span else 0.0
        if frame.text(text) + 0.012 * span > abs(x - g.entries()[names[0]]):  # not over the line from the overlap's end
            text = text.replace(" = ", " =\n", len(names) - 1)
        thin_dimension(axes, x, face.bottom, face.top, text, (room[0], room[1]), -face.side * 0.006 * span, below, **plate(1.0))


def _overlap_of_stair(g: SteppedLap, units: str) -> str:
    """Return what is written on a stepped overlap's length."""
    if g.step_lengths is None:
        return f"{keyed(['overlap_length'], g.length, units)}, steps = {len(g.treads)}"
    return f"step_lengths = {listed(g.treads, units)}"


def _alike(g: Geometry, quantity: str = "free_length") -> dict[str, list[str]]:
    """Return the names of adherends that share a dimension, by the key of the first: under one key, or in one grip."""
    found: dict[str, list[str]] = {}
    for name in g.adherends():
        key = g.adherend_key(name)
        if quantity == "free_length" and name in g.gripped and len(g.gripped) > 1:
            key = g.adherend_key(g.gripped[0])
        found.setdefault(key, []).append(name)
    return found


# ---- facts ---------------------------------------------------------------


def _draw_facts(axes: Axes, joint: Joint, units: str) -> None:
    """List what a section cannot show."""
    g, load = joint.geometry, joint.load
    facts = [("width", display(g.width, "mm", units)), ("spew", g.spew)]
    facts += [("bondline_taper", display(g.bondline_taper, "mm", units))] if g.bondline_taper else []
    if isinstance(g, SteppedLap):
        facts.append(("step_heights", listed(g.risers, units, 4)))
    facts.append(("force", display(load.force, "N", units) + (" (compression)" if load.force < 0 else "")))
    if load.moment != 0:
        facts.append(("moment", display(load.moment, "N*mm", units).replace("*", " ")))
    if load.shear_force != 0:
        facts.append(("shear_force", display(load.shear_force, "N", units)))
    facts.append(("ends", load.ends + (", free to lift" if load.shear_force != 0 else "")))
    facts.append(("temperature_change", display(load.temperature_change, "K", units)))
    keys = {g.adherend_key(name): name for name in g.adherends()}
    facts += [(f"{key}.material", _material(joint, name, units)) for key, name in keys.items()]
    facts.append(("adhesive", _material(joint, "adhesive", units)))
    axes.set_axis_off()
    for i, (key, text) in enumerate(facts):
        y = 0.97 - min(0.125, 0.95 / len(facts)) * i
        axes.text(0.0, y, key, color=FAINT, va="top", transform=axes.transAxes)
        axes.text(0.5, y, text, va="top", transform=axes.transAxes)


def _material(joint: Joint, region: str, units: str) -> str:
    """Return a material's name, or its modulus along the joint when it has none."""
    material = joint.materials()[region]
    modulus = display(material.engineering_constants()["e_x"], "MPa", units)
    return shorten(material.name, 24, placeholder=" ...") or f"E = {modulus}"


# ---- small parts ---------------------------------------------------------


def _box(axes: Axes, x0: float, x1: float, y0: float, y1: float, **look: Any) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(Rectangle((min(x0, x1), y0), abs(x1 - x0), y1 - y0, **{"edgecolor": OUTLINE, "linewidth": 0.9, **look}))


def _hatched(axes: Axes, x0: float, x1: float, y0: float, y1: float) -> None:
    _box(axes, x0, x1, y0, y1, facecolor="white", hatch="/////", linewidth=0.0)


def _pin(axes: Axes, x: float, y: float, frame: _Frame) -> None:
    from matplotlib.patches import Ellipse

    axes.add_patch(Ellipse((x, y), 0.012 * frame.span, 0.012 * frame.step, facecolor="white", edgecolor=OUTLINE, zorder=4))


def _drawn_scale(figure: Figure, axes: Axes) -> float:
    """Return how many inches of paper a unit of x takes."""
    axes.apply_aspect()
    low, high = axes.get_xlim()
    return float(axes.get_position().width * figure.get_figwidth() / (high - low))
