"""Where the 3D picture is looked at from, so that all that is drawn fills it and nothing is cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.show.space.labels import Label, arranged

__all__ = ["EYE", "Room", "View", "aim", "direction", "drawn_points", "fitted", "look", "seen"]

Floats = NDArray[np.float64]
Room = tuple[float, float, float, float]  # left, right, bottom, top, pixels from the picture's lower left corner

EYE = (-0.32, 0.5, 1.0)  # the direction in which the eye lies that looks at the whole joint
TRIES = 60  # of the scale, which depends on where the labels are, and they on it
STEP, FITS = 1.03, 1 + 1e-9
SMALLEST = 1e-9  # mm, of a pixel


@dataclass(frozen=True, eq=False)
class View:
    """A look along a direction, without perspective.

    Attributes
    ----------
    towards, right, up : (3,) arrays
        Unit vectors to the eye and along the picture's sides.
    focus : (3,) array, mm
        What is seen in the middle of the picture.
    pixel : float, mm
        Size of a pixel.
    size : (int, int), pixels
    """

    towards: Floats
    right: Floats
    up: Floats
    focus: Floats
    pixel: float
    size: tuple[int, int]

    def pixels(self, points: Floats) -> Floats:
        """Return where points (n, 3) are seen, (n, 2), from the lower left corner."""
        off = (np.atleast_2d(points) - self.focus) / self.pixel
        return np.column_stack([off @ self.right, off @ self.up]) + np.array(self.size) / 2


def direction(end: str | None) -> tuple[float, float, float]:
    """Return the direction in which the eye lies, from the whole joint or from an overlap end."""
    return EYE if end is None else (-0.45 if end == "left" else 0.45, 0.35, 1.0)


def look(towards: tuple[float, float, float], size: tuple[int, int]) -> View:
    """Return the view from a direction, not yet aimed at anything."""
    to = np.array(towards) / np.linalg.norm(towards)
    right = np.cross([0.0, 1.0, 0.0], to)
    right /= np.linalg.norm(right)
    return View(to, right, np.cross(to, right), np.zeros(3), 1.0, size)


def drawn_points(plotter: Any) -> Floats:
    """Return the points (n, 3) of all that has been added to a plotter."""
    meshes = [getattr(getattr(actor, "mapper", None), "dataset", None) for actor in plotter.actors.values()]  # texts have none
    return np.vstack([np.asarray(mesh.points, dtype=float) for mesh in meshes if mesh is not None])


def fitted(
    view: View, points: Floats, labels: Sequence[Label], room: Room, clear: Floats | None = None
) -> tuple[View, list[Label]]:
    """Return the view in which points (n, 3) and labels fill some room, and the labels so that no text is on another.

    Texts keep clear of points `clear` (n, 3) too, where that is possible.
    """
    placed, clear = list(labels), np.zeros((0, 3)) if clear is None else clear
    view = _centred(view, _least_pixel(view, points, [], room), points, [], room)
    for _ in range(TRIES):
        placed = arranged(labels, view, clear, points)
        if _least_pixel(view, points, placed, room) <= view.pixel * FITS:
            break
        # Where texts are to one another depends on the scale: step by step, lest texts of one unlucky scale set it.
        view = _centred(view, STEP * view.pixel, points, placed, room)
    return _centred(view, view.pixel, points, placed, room), placed


def aim(plotter: Any, view: View, points: Floats) -> None:
    """Set the camera of a plotter as a view says; points (n, 3) tell how far off the eye must be."""
    camera = plotter.camera
    camera.parallel_projection = True
    camera.focal_point = view.focus
    camera.position = view.focus + view.towards * 4 * np.ptp(points, axis=0).max()
    camera.up = (0.0, 1.0, 0.0)
    camera.parallel_scale = view.pixel * view.size[1] / 2
    plotter.reset_camera_clipping_range()


def seen(plotter: Any) -> View:
    """Return the view that a plotter shows now, however the joint has been turned."""
    camera = plotter.camera
    to = np.subtract(camera.position, camera.focal_point)
    to /= np.linalg.norm(to)
    right = np.cross(camera.up, to)
    right /= np.linalg.norm(right)
    wide, tall = plotter.window_size
    return View(to, right, np.cross(to, right), np.array(camera.focal_point), 2 * camera.parallel_scale / tall, (wide, tall))


def _least_pixel(view: View, points: Floats, labels: Sequence[Label], room: Room) -> float:
    """Return the size of a pixel, mm, at the largest scale at which points and labels stay within the room."""

    def fits(pixel: float) -> bool:
        left, right, bottom, top = _taken(view, pixel, points, labels)
        return right - left <= room[1] - room[0] and top - bottom <= room[3] - room[2]

    # The larger a pixel, the less room points take; texts take some at any scale.
    across, height = points @ view.right, points @ view.up
    low = high = max(np.ptp(across) / (room[1] - room[0]), np.ptp(height) / (room[3] - room[2]), SMALLEST)
    while not fits(high) and high < 1e3 * low:
        high *= 2
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if fits(middle) else (middle, high)
    return float(high)


def _centred(view: View, pixel: float, points: Floats, labels: Sequence[Label], room: Room) -> View:
    """Return the view in which what is drawn, at some size of a pixel, takes the middle of the room."""
    left, right, bottom, top = _taken(view, pixel, points, labels)
    wide, tall = view.size
    across = (left + right) / 2 - (room[0] + room[1]) / 2 + wide / 2
    height = (bottom + top) / 2 - (room[2] + room[3]) / 2 + tall / 2
    focus = (points @ view.towards).mean() * view.towards + pixel * (across * view.right + height * view.up)
    return replace(view, focus=focus, pixel=pixel)


def _taken(view: View, pixel: float, points: Floats, labels: Sequence[Label]) -> Room:
    """Return from where to where points and labels reach, pixels from where the origin is seen."""
    across, height = points @ view.right / pixel, points @ view.up / pixel
    ends = [(float(across.min()), float(across.max()), float(height.min()), float(height.max()))]
    for label in labels:
        x, y = float(label.place @ view.right) / pixel, float(label.place @ view.up) / pixel
        left, right, below, above = label.margins
        ends.append((x - left, x + right, y - below, y + above))
    lefts, rights, bottoms, tops = zip(*ends, strict=True)
    return min(lefts), max(rights), min(bottoms), max(tops)
