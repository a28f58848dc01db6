"""What acts on a joint, as arrows in the 3D picture."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.show.colours import INK
from fejoint.show.space.camera import EYE
from fejoint.show.space.frame import Frame
from fejoint.show.space.labels import Label, text_extent, text_size
from fejoint.show.space.solid import SolvedSection
from fejoint.units import display

__all__ = ["add_loads"]

Floats = NDArray[np.float64]

LOADS = ("force", "moment", "shear force")  # how the names of all that is added begin
GAP = 0.25  # how clear of the body arrows and words are, over an arrow's length


def add_loads(plotter: Any, section: SolvedSection, frame: Frame, size: tuple[int, int], units: str = "mm") -> list[Label]:
    """Add what acts on the loaded end; return what is written at it, in a display system."""
    load, g = section.joint.load, section.joint.geometry
    (loaded,) = g.loaded
    nodes = np.unique(section.cells[section.cells_of(loaded)])
    x = g.pull * section.points[nodes, 0]
    end = nodes[x > x.max() - 1e-9 * frame.length]
    flat = np.column_stack([section.points[end], np.full(len(end), frame.width / 2)])
    drawn = frame.drawn(flat, section.displacement[end], loaded)
    face = drawn.mean(axis=0)
    reach = 0.07 * frame.length
    along, up = reach * np.array([g.pull, 0.0, 0.0]), reach * np.array([0.0, 1.0, 0.0])
    half = float(np.ptp(drawn[:, 1])) / 2 / reach
    # Seen from the left, what stands close to a right end is hidden behind it, and words close to a left end lie over it.
    labels: list[Label] = []
    near, label = max(0.1, 0.03 + _hidden(0.0, half, frame, reach)) if g.pull > 0 else 0.1, 0.2 if g.pull > 0 else 0.5
    aside = max(0.5, GAP + _hidden(-np.sign(load.shear_force), half, frame, reach)) if g.pull > 0 else 0.1
    if load.moment != 0:
        turn = np.radians(np.linspace(-55.0, 35.0, 19)) * np.sign(load.moment) * g.pull
        arc = face + np.outer(np.cos(turn), along) + np.outer(np.sin(turn), up)
        _add_curved_arrow(plotter, arc, reach, "moment")
        beside = 0.6 if g.pull > 0 else GAP + _hidden(1.3, half, frame, reach)
        text = display(load.moment, "N*mm", units).replace("*", " ")
        labels.append(_load_label(face + beside * along + 1.1 * up, text, g.pull, size, "moment label"))
        near = 1.2
    if load.shear_force != 0:
        foot, lift = face + aside * along, np.sign(load.shear_force) * up
        _add_arrow(plotter, foot, foot + lift, reach, "shear force")
        text, beside = display(load.shear_force, "N", units), 0.2
        if g.pull < 0:
            beside = max(beside, GAP - aside + _hidden(0.9 * np.sign(load.shear_force) + 0.2, half, frame, reach))
        labels.append(_load_label(foot + beside * along + 0.9 * lift, text, g.pull, size, "shear force label"))
        near = aside
    if load.force != 0:
        places = face + near * along, face + (near + 1.0) * along
        _add_arrow(plotter, *(places if load.force > 0 else places[::-1]), reach, "force")
        place = places[0] + label * along + 0.3 * up
        labels.append(_load_label(place, display(load.force, "N", units), g.pull, size, "force label"))
    return labels


def _hidden(height: float, half: float, frame: Frame, reach: float) -> float:
    """Return how far from the middle of an end face the body covers, or is covered, as the eye sees it, in arrows' lengths.

    Above a left end (below a right one) by some height the body's other half
    of the width stands out that far; `half` is half its thickness.
    """
    return max(0.0, -EYE[0] * min((height + half) / EYE[1], frame.width / 2 / reach))


def _add_arrow(plotter: Any, tail: Floats, tip: Floats, reach: float, name: str) -> None:
    import pyvista

    arrow = pyvista.Arrow(start=tail, direction=tip - tail, scale=reach, shaft_radius=0.035, tip_radius=0.1)
    plotter.add_mesh(arrow, color=INK, lighting=False, name=name, reset_camera=False)


def _add_curved_arrow(plotter: Any, path: Floats, reach: float, name: str) -> None:
    """Add an arrow along a path (n, 3), its head from the last but two points on."""
    import pyvista

    way = path[-1] - path[-4]
    head = pyvista.Cone(center=path[-1], direction=way, height=0.25 * reach, radius=0.1 * reach)
    shaft = pyvista.lines_from_points(path).tube(radius=0.035 * reach)
    plotter.add_mesh(shaft.merge(head), color=INK, lighting=False, name=name, reset_camera=False)


def _load_label(place: Floats, text: str, side: int, size: tuple[int, int], name: str) -> Label:
    """Return a text that begins at a place on the right of the joint (side 1), or ends there on its left (-1)."""
    return Label(name, text, place, text_extent(text, text_size(size)), "left" if side > 0 else "right")
