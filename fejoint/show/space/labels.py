"""Texts in the 3D picture: how large they are, on poles that keep them clear of one another, and as actors."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.show.colours import INK

if TYPE_CHECKING:
    from fejoint.show.space.camera import View

__all__ = ["DPI", "Box", "Label", "add_labels", "arranged", "shortened", "text_actor", "text_extent", "text_size"]

Floats = NDArray[np.float64]

DPI = 72  # so that text sizes are pixels
LONGEST = 500  # characters that a text is shortened from
CLEAR = 4.0  # pixels between two texts
ASIDE = 14.0  # pixels between texts on the side and what they stand beside
MOST_HEIGHTS = 16  # that a pole is tried with
MOST_TURNS = 100  # in which a text on the side is put above what it is on
BAD = 2  # a text on another one; 1 is one on what should be clear
ALIGNED = {"left": (0.0, 1.0), "center": (0.5, 0.5), "right": (1.0, 0.0)}  # of a text's width to both sides of its place


class Box(NamedTuple):
    """A rectangle of the picture, pixels from its lower left corner."""

    left: float
    right: float
    bottom: float
    top: float

    def overlaps(self, other: Box, clear: float = 0.0) -> bool:
        """Return whether two rectangles have less than some pixels between them, thrice as many on a line."""
        beside = max(other.left - self.right, self.left - other.right)
        return beside < 3 * clear and max(other.bottom - self.top, self.bottom - other.top) < clear

    def lifted(self, by: float) -> Box:
        """Return the rectangle so many pixels farther up."""
        return self._replace(bottom=self.bottom + by, top=self.top + by)

    def holds(self, points: Floats) -> bool:
        """Return whether any of some points (n, 2) of the picture lies in it."""
        x, y = points.T
        return bool(((x >= self.left) & (x <= self.right) & (y >= self.bottom) & (y <= self.top)).any())


@dataclass(frozen=True, eq=False)
class Label:
    """A text at a place of the joint.

    Attributes
    ----------
    name : str
        Of its actor.
    text : str
    place : (3,) array, mm
    extent : (float, float), pixels
        Width and height of the text.
    align : str
        Which part of the text stands at the place: ``left``, ``center``, ``right``.
    kind : str
        ``fixed``: it stays at its place; ``flag``: it may be raised on a pole; ``side``:
        it stands beside the points to be kept clear, a leader to its place.
    offset : (float, float), pixels
        To the right and up, from the place to the text.
    """

    name: str
    text: str
    place: Floats
    extent: tuple[float, float]
    align: str = "center"
    kind: str = "fixed"
    offset: tuple[float, float] = (0.0, 0.0)

    @property
    def margins(self) -> tuple[float, float, float, float]:
        """How far the text reaches to the left, right, below and above its place, pixels."""
        (left, right), (wide, tall), (x, y) = ALIGNED[self.align], self.extent, self.offset
        return left * wide - x, right * wide + x, -y, y + tall

    def box(self, view: View) -> Box:
        """Return where the text is seen."""
        x, y = view.pixels(self.place)[0]
        left, right, below, above = self.margins
        return Box(x - left, x + right, y - below, y + above)

    def pole(self, view: View, top: float | None = None) -> Box:
        """Return where a flag's pole is seen, up to the text or to some height."""
        x, y = view.pixels(self.place)[0]
        return Box(x, x, y, y + self.offset[1] if top is None else top)

    def foot(self, view: View) -> Floats:
        """Return where the text stands, mm: straight above the place, but for what it stands aside."""
        (x, y), up = self.offset, np.array([0.0, 1.0, 0.0])
        return np.asarray(self.place + view.pixel * (x * view.right + y / view.up[1] * up))


# ---- where they stand ----------------------------------------------------


def arranged(labels: Sequence[Label], view: View, clear: Floats, points: Floats) -> list[Label]:
    """Return labels so placed that no text is on another one.

    Parameters
    ----------
    labels : Labels
    view : View
    clear : (n, 3) array, mm
        Points that texts on the side stand beside, and flags keep clear of where they can.
    points : (n, 3) array, mm
        All that is drawn: flags that are too many stand beside it.
    """
    kinds = {kind: [label for label in labels if label.kind == kind] for kind in ("fixed", "side", "flag")}
    done = kinds["fixed"] + _beside(kinds["side"], kinds["fixed"], view, view.pixels(clear))
    seen, flags = view.pixels(clear), sorted(kinds["flag"], key=lambda label: label.box(view).bottom)
    fault, best = min((_raised(done, turn, view, seen) for turn in (flags, flags[::-1])), key=lambda found: found[0])
    if fault[0] >= BAD:
        best = done + _beside(flags, done, view, view.pixels(points))
    order = {label.name: i for i, label in enumerate(labels)}
    return sorted(best, key=lambda label: order[label.name])


def _beside(labels: Sequence[Label], others: Sequence[Label], view: View, seen: Floats) -> list[Label]:
    """Return labels in columns on both sides of points (n, 2) of the picture, near the heights of their places."""
    if not labels:
        return []
    ends = {"right": float(seen[:, 0].min()) - ASIDE, "left": float(seen[:, 0].max()) + ASIDE}
    across = {label.name: float(view.pixels(label.place)[0, 0]) for label in labels}
    middle = float(np.median(list(across.values())))
    fixed, done = [other.box(view) for other in others], []
    for end in ends:
        column = [label for label in labels if end == (label.align if label.align in ends else _side(across[label.name], middle))]
        column.sort(key=lambda label: (float(view.pixels(label.place)[0, 1]), label.name))
        boxes: list[Box] = []
        ways = [replace(label, align=end, offset=(ends[end] - across[label.name], -label.extent[1] / 2)) for label in column]
        wanted = [way.box(view) for way in ways]
        for box in wanted:
            for _ in range(MOST_TURNS):
                over = [other for other in (*fixed, *boxes) if box.overlaps(other, CLEAR)]
                if not over:
                    break
                box = box.lifted(max(other.top for other in over) + CLEAR + 1e-6 - box.bottom)
            boxes.append(box)
        # All went up: as far down again as puts them, on the whole, at the heights of their places.
        back = -float(np.mean([box.bottom - want.bottom for box, want in zip(boxes, wanted, strict=True)])) if boxes else 0.0
        if not any(box.lifted(back).overlaps(other, CLEAR) for box in boxes for other in fixed):
            boxes = [box.lifted(back) for box in boxes]
        fixed += boxes
        done += [
            replace(way, offset=(way.offset[0], way.offset[1] + box.bottom - want.bottom))
            for way, box, want in zip(ways, boxes, wanted, strict=True)
        ]
    return done


def _side(x: float, middle: float) -> str:
    return "right" if x < middle else "left"


def _raised(
    others: Sequence[Label], flags: Sequence[Label], view: View, seen: Floats
) -> tuple[tuple[float, float, float], list[Label]]:
    """Return flags raised one after another, with the others, and what is wrong: the worst, all of it, the height of poles."""
    done, faults = list(others), []
    texts: list[Box] = [label.box(view) for label in others]
    poles: list[Box] = []
    for i, label in enumerate(flags):
        later = [other.pole(view, top=float(view.size[1])) for other in flags[i + 1 :]]
        best, fault = label, BAD
        for way in _ways(label, view):
            box, pole = way.box(view), way.pole(view)
            if any(box.overlaps(other, CLEAR) or pole.overlaps(other, 1.0) for other in texts):
                continue
            if any(box.overlaps(other, 1.0) for other in (*poles, *later)):
                continue
            found = int(box.holds(seen))
            if found < fault:
                best, fault = way, found
            if fault == 0:
                break
        if fault >= BAD:
            return (BAD, BAD, 0.0), done
        done.append(best)
        faults.append(fault)
        texts.append(best.box(view))
        poles.append(best.pole(view))
    return (max(faults, default=0), sum(faults), sum(label.offset[1] for label in done)), done


def _ways(label: Label, view: View) -> Iterator[Label]:
    """Yield a flag at rising heights, to either side of its pole; those within the picture's width where there are some."""
    (x, _), (wide, tall) = view.pixels(label.place)[0], label.extent
    inside = {
        side: x - left * wide >= CLEAR and x + right * wide <= view.size[0] - CLEAR for side, (left, right) in ALIGNED.items()
    }
    sides = sorted((side for side in ALIGNED if inside[side] or not any(inside.values())), key=lambda side: side != label.align)
    for step, side in product(range(MOST_HEIGHTS), sides):
        yield replace(label, offset=(0.0, label.offset[1] + 0.5 * step * tall), align=side)


# ---- as actors -----------------------------------------------------------


def add_labels(plotter: Any, labels: Sequence[Label], view: View, pixels: int) -> None:
    """Add labels, texts so many pixels high, with their poles and leaders; texts keep to their places when it is turned."""
    import pyvista

    for label in labels:
        foot = label.foot(view)
        if label.kind != "fixed":
            # A leader ends at the middle of the text's near side, a pole below the text.
            end = foot if label.kind == "flag" and not label.offset[0] else replace(label, offset=_near_side(label)).foot(view)
            line = pyvista.Line(label.place, end)
            plotter.add_mesh(line, color=INK, line_width=1.2, lighting=False, name=f"{label.name} line", reset_camera=False)
        actor = text_actor(label.text, pixels, label.align)
        actor.GetPositionCoordinate().SetCoordinateSystemToWorld()
        actor.GetPositionCoordinate().SetValue(*foot)
        plotter.add_actor(actor, name=label.name, reset_camera=False, pickable=False)


def _near_side(label: Label) -> tuple[float, float]:
    """Return where a leader ends, pixels from the place."""
    (x, y), gap = label.offset, CLEAR if label.align == "right" else -CLEAR
    return x + gap, y + label.extent[1] / 2


def text_extent(text: str, pixels: int) -> tuple[float, float]:
    """Return width and height of a text in the picture, pixels."""
    import pyvista  # noqa: F401 - loads vtk's fonts
    from vtkmodules.vtkRenderingCore import vtkTextRenderer

    box = [0, 0, 0, 0]
    actor = text_actor(text, pixels, "left")
    vtkTextRenderer.GetInstance().GetBoundingBox(actor.GetTextProperty(), actor.GetInput(), box, DPI)
    return box[1] - box[0] + 1.0, box[3] - box[2] + 1.0


def shortened(text: str, pixels: int, wide: float) -> str:
    """Return a text on one line, cut so that it is at most so many pixels wide."""
    line = " ".join(text.split())
    if text_extent(line[:LONGEST], pixels)[0] <= wide and len(line) <= LONGEST:
        return line
    low, high = 0, min(len(line), LONGEST)
    while high - low > 1:
        middle = (low + high) // 2
        fits = text_extent(f"{line[:middle]} ...", pixels)[0] <= wide
        low, high = (middle, high) if fits else (low, middle)
    words = line[:low] if " " not in line[:low] else line[:low].rsplit(" ", 1)[0]  # cut between words where there are some
    return f"{words.rstrip()} ..."


def _plain(text: str) -> str:
    """Return a text so that vtk shows it as it stands: a dollar sign would begin a formula."""
    return text.replace("$", "\\$")


def text_size(size: tuple[int, int]) -> int:
    """Return a text height in pixels that is read well when the picture fills a page's width."""
    return max(10, round(min(size[0] / 75, size[1] / 42)))


def text_actor(text: str, pixels: int, align: str) -> Any:
    """Return a text so many pixels high on a white ground, its lower edge at its place."""
    import pyvista
    from vtkmodules.vtkRenderingCore import vtkTextActor

    actor = vtkTextActor()
    actor.SetInput(_plain(text))
    look = actor.GetTextProperty()
    look.SetFontSize(pixels)
    look.SetColor(pyvista.Color(INK).float_rgb)
    look.SetBackgroundColor(1.0, 1.0, 1.0)
    look.SetBackgroundOpacity(0.85)
    look.SetJustification({"left": 0, "center": 1, "right": 2}[align])
    look.SetVerticalJustificationToBottom()
    return actor
