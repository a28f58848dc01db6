"""What acts on a joint, as arrows in the 3D picture."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.show.colours import INK
from fejoint.show.solid import Frame, SolvedSection

__all__ = ["add_loads", "text_size"]

Floats = NDArray[np.float64]


def add_loads(plotter: Any, section: SolvedSection, frame: Frame, size: tuple[int, int]) -> Floats:
    """Add what acts on the loaded end; return the points (n, 3) between which that takes room."""
    load, g = section.joint.load, section.joint.geometry
    x = g.pull * section.points[:, 0]
    end = np.flatnonzero(x > x.max() - 1e-9 * frame.length)
    flat = np.column_stack([section.points[end], np.full(len(end), frame.width / 2)])
    face = frame.drawn(flat, section.displacement[end]).mean(axis=0)
    reach = 0.07 * frame.length
    along, up = reach * np.array([g.pull, 0.0, 0.0]), reach * np.array([0.0, 1.0, 0.0])
    # Seen from the left, what stands close to a right end is hidden behind it, and words close to a left end lie over it.
    taken, near, aside, label = [face], 0.1, 0.5 if g.pull > 0 else 0.1, 0.2 if g.pull > 0 else 0.5
    if load.moment != 0:
        turn = np.radians(np.linspace(-55.0, 35.0, 19)) * np.sign(load.moment) * g.pull
        arc = face + np.outer(np.cos(turn), along) + np.outer(np.sin(turn), up)
        _add_curved_arrow(plotter, arc, reach, "moment")
        _add_load_label(plotter, face + 0.6 * along + 1.1 * up, f"{load.moment:.4g} N mm", g.pull, size, "moment label")
        taken += [*arc, face + 1.35 * up]
        near = 1.2
    if load.shear_force != 0:
        foot, lift = face + aside * along, np.sign(load.shear_force) * up
        _add_arrow(plotter, foot, foot + lift, reach, "shear force")
        _add_load_label(plotter, foot + 0.2 * along + 0.9 * lift, f"{load.shear_force:.4g} N", g.pull, size, "shear force label")
        taken += [foot + 1.1 * lift]
        near = aside
    if load.force != 0:
        places = face + near * along, face + (near + 1.0) * along
        _add_arrow(plotter, *(places if load.force > 0 else places[::-1]), reach, "force")
        _add_load_label(plotter, places[0] + label * along + 0.3 * up, f"{load.force:.4g} N", g.pull, size, "force label")
        taken += [places[1] + (0.2 + label) * along]
    return np.array(taken)


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


def _add_load_label(plotter: Any, place: Floats, text: str, side: int, size: tuple[int, int], name: str) -> None:
    """Add a text that begins at a place on the right of the joint (side 1), or ends there on its left (-1)."""
    plotter.add_point_labels(
        [place],
        [text],
        font_size=text_size(size),
        text_color=INK,
        bold=False,
        shape=None,
        show_points=False,
        always_visible=True,
        justification_horizontal="left" if side > 0 else "right",
        name=name,
        reset_camera=False,
    )


def text_size(size: tuple[int, int]) -> int:
    """Return a text height in pixels that is read well when the picture fills a page's width."""
    return max(10, round(min(size[0] / 75, size[1] / 42)))
