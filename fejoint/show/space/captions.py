"""What the 3D picture says of itself: what is shown, what is enlarged, where the colours end."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np

from fejoint.show.colours import INK
from fejoint.show.path_rows import in_words
from fejoint.show.space.frame import Frame
from fejoint.show.space.labels import shortened, text_actor, text_extent, text_size
from fejoint.show.space.solid import STRESSES, SolvedSection
from fejoint.show.strength_words import in_short
from fejoint.units import display

__all__ = ["WORDS", "add_colour_bar", "add_words", "cut_notes", "frame_notes", "heading", "width_note"]

Size = tuple[int, int]

MARGIN = 0.015  # of the picture's width, left of the words
TITLE, NOTE = 1.6, 1.24  # heights of letters, over those of labels
SPACING = 1.3  # of lines, over the height of letters
WORDS = {  # `{}` for numbers: an interactive view fills them in anew
    "scale": "displacements drawn {} times{}; grey lines: undeformed",
    "motion": ", without the rigid motion of what is shown",
    "true": "thickness to the same scale as the length",
    "stretched": "thickness drawn {} times as large as the length",
    "apart": "pieces moved {} apart across the thickness",
    "range": "all values here: {} to {}, but singular at the corners of the adhesive",
    "flawed": " and where flaws end",
}
MANY, MOST = 1e3, 1e7  # between, numbers at the colour bar have no exponent


def heading(section: SolvedSection, name: str, end: str | None, size: Size) -> str:
    """Return the title: the joint, shortened so that the rest stays, the stress and the look."""
    joint = section.joint
    where = "" if end is None else f", {end} end of the overlap"
    axes = ", global axes" if STRESSES[name].unit else ""
    rest, pixels = f": {STRESSES[name].label}{axes}{where}", round(TITLE * text_size(size))
    room = (1 - 2 * MARGIN) * size[0] - text_extent(rest, pixels)[0]
    return shortened(joint.title or joint.geometry.kind, pixels, room) + rest


def frame_notes(section: SolvedSection, frame: Frame, hidden: Collection[str], units: str = "mm") -> list[str]:
    """Return what is said of displacements, thickness and width, and of pieces moved or left out, in a display system."""
    g = section.joint.geometry
    against = WORDS["motion"] if frame.motion.any() else ""
    thickness = WORDS["true"] if frame.stretch == 1 else WORDS["stretched"].format(f"{frame.stretch:g}")
    notes = [
        WORDS["scale"].format(f"{frame.scale:g}", against),
        f"{thickness}; {width_note(section, frame, units)}",
    ]
    pieces = [WORDS["apart"].format(display(frame.gap, "mm", units, 3))] if frame.gap else []
    if hidden:
        pieces.append(f"hidden: {', '.join(name for name in section.regions if name in hidden)}")
        if frame.window is None and set(g.loaded) & set(hidden):
            pieces[-1] += ", with the load on it"
    verdict = [] if section.strength is None else [in_short(section.strength, units)]
    on_path = [f"increment {in_words(section.increment, units)}"] if section.increment else []
    return verdict + on_path + notes + (["; ".join(pieces)] if pieces else [])


def width_note(section: SolvedSection, frame: Frame, units: str = "mm") -> str:
    """Return what is said of the joint's width, and of how much of it is shown."""
    width = section.joint.geometry.width
    sliced = f", a slice of {display(frame.width, 'mm', units, 3)} shown" if frame.width < width else ""
    return f"width {display(width, 'mm', units)}{sliced}"


def cut_notes(
    section: SolvedSection,
    name: str,
    frame: Frame,
    cut: float,
    why: str,
    adhesive_alone: bool,
    units: str = "mm",
    ranged: bool = True,
) -> list[str]:
    """Return what is said of where the colours of all that is shown, or of its adhesive alone, end, and of what lies beyond.

    `ranged`: whether all values are told, where some lie beyond; what hides pieces afterwards tells them itself.
    """
    nodes = frame.nodes
    if adhesive_alone:
        nodes = np.intersect1d(nodes, section.cells[section.cells_of("adhesive")])
    value = section.stress[name][nodes]
    sign = "±" if STRESSES[name].signed else ""
    notes = [f"colours cut at {sign}{display(cut, STRESSES[name].unit, units, 3)}, {why}"]
    if ranged and np.abs(value).max(initial=0.0) > cut * (1 + 1e-9):
        low, high = (display(float(v), STRESSES[name].unit, units, 3) for v in (value.min(), value.max()))
        notes.append(WORDS["range"].format(low.split()[0], high) + (WORDS["flawed"] if section.joint.flaws else ""))
    if name == "shear" and any(bond.sign < 0 for bond in section.joint.geometry.bonds()):
        notes.append("in these axes the lower layer's shear has the sign opposite to that along its bondline")
    return notes


def add_words(plotter: Any, title: str, notes: list[str], size: Size) -> float:
    """Add the heading, the notes under it and the axes' cross; return the height under the last note, pixels from below."""
    text, y = text_size(size), float(size[1])
    for i, line in enumerate([title, *notes]):
        pixels = round((TITLE if i == 0 else NOTE) * text)
        y -= SPACING * pixels
        actor = text_actor(shortened(line, pixels, (1 - 2 * MARGIN) * size[0]), pixels, "left")
        actor.GetPositionCoordinate().SetCoordinateSystemToNormalizedViewport()
        actor.GetPositionCoordinate().SetValue(MARGIN, y / size[1])
        plotter.add_actor(actor, name=f"note {i - 1}" if i else "title", reset_camera=False, pickable=False)
    plotter.add_axes(xlabel="x", ylabel="y", zlabel="z", color=INK, viewport=(0.0, 0.0, 0.14, 0.22))
    return y


def add_colour_bar(plotter: Any, mapper: Any, label: str, size: Size) -> None:
    """Add the bar of the colours that a mapper uses; the label ends with their unit."""
    text = text_size(size)
    plotter.add_scalar_bar(
        title=f"{label}\n",
        mapper=mapper,
        n_labels=5,
        fmt="%.0f" if MANY <= mapper.scalar_range[1] < MOST else "%.3g",
        color=INK,
        title_font_size=text,
        label_font_size=text,
        unconstrained_font_size=True,
        vertical=False,
        width=0.5,
        height=0.11,
        position_x=0.25,
        position_y=0.02,
    )
