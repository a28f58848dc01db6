"""Stresses at picked places, written in the 3D picture and shown on a click."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.show.colours import INK
from fejoint.show.space.camera import seen
from fejoint.show.space.frame import Frame
from fejoint.show.space.labels import Label, add_labels, text_extent
from fejoint.show.space.pick import Spot, nearest_spot
from fejoint.show.space.solid import SolvedSection

__all__ = ["add_spots", "answer_clicks", "picking"]

Floats = NDArray[np.float64]

STILL = 4  # pixels: farther, the mouse was drawn, which turns the joint
BEFORE = 1e-3  # of the length shown, by which a mark stands before the body's face
CLICKED = "clicked"

Picked = tuple[Spot | None, float]


def add_spots(plotter: Any, frame: Frame, found: list[Spot], pixels: int, units: str = "mm") -> list[Label]:
    """Add marks on the body's face where stresses are picked; return what is written at them."""
    return [_marked(plotter, frame, spot, frame.width, f"point {i}", pixels, units) for i, spot in enumerate(found, start=1)]


def answer_clicks(
    plotter: Any, section: SolvedSection, frame: Frame, name: str, pixels: int, units: str = "mm"
) -> Callable[[SolvedSection], None]:
    """Let a click on the joint show the stress there; the mouse drawn on still turns the joint.

    Returns the function to be called with another section once that is drawn in place of this one.
    """
    interactor = getattr(plotter.iren, "interactor", None)
    if interactor is None:
        return lambda section: None
    pressed: list[int] = []
    answers = [picking(plotter, section, name)]

    def forget() -> None:
        for part in ("", " line", " mark"):
            plotter.remove_actor(f"{CLICKED}{part}", reset_camera=False)

    def renew(section: SolvedSection) -> None:
        forget()
        answers[0] = picking(plotter, section, name)

    def press(*_: Any) -> None:
        pressed[:] = interactor.GetEventPosition()

    def release(*_: Any) -> None:
        place, start = interactor.GetEventPosition(), tuple(pressed)
        pressed.clear()  # the wheel and the other buttons end here too
        if not start or np.hypot(*np.subtract(place, start)) > STILL:
            return
        spot, z = answers[0](place)
        forget()
        if spot is not None:
            label = _marked(plotter, frame, spot, z, CLICKED, pixels, units)
            add_labels(plotter, [label], seen(plotter), pixels)
        plotter.render()

    plotter.iren.add_observer("LeftButtonPressEvent", press)
    plotter.iren.add_observer("EndInteractionEvent", release)
    return renew


def picking(plotter: Any, section: SolvedSection, name: str) -> Callable[[tuple[int, int]], Picked]:
    """Return the function that finds the stress at what is seen at a pixel, counted from the lower left corner.

    It gives the spot and its z in mm; None beside the joint. Of the bodies it
    knows those that are there when it is made; its search trees take time at
    the first pixel, and serve for all that follow.
    """
    from vtkmodules.vtkCommonCore import reference
    from vtkmodules.vtkCommonDataModel import vtkStaticCellLocator
    from vtkmodules.vtkRenderingCore import vtkCellPicker

    picker = vtkCellPicker()
    picker.SetTolerance(0.0)
    picker.PickFromListOn()
    bodies = {region: plotter.actors[region] for region in section.regions if region in plotter.actors}
    for actor in bodies.values():
        # Without one every cell would be looked through, and so they are when it is of a copy (`mapper.dataset` is one).
        locator = vtkStaticCellLocator()
        locator.SetDataSet(actor.mapper.GetInput())
        picker.AddPickList(actor)
        picker.AddLocator(locator)

    def spot_at(place: tuple[int, int]) -> Picked:
        if not picker.Pick(*place, 0.0, plotter.renderer) or picker.GetActor() is None:
            return None, 0.0
        region = next(word for word, actor in bodies.items() if actor is picker.GetActor())
        # The joint is drawn deformed: where a place on it comes from its cell knows.
        mesh = bodies[region].mapper.dataset
        cell = mesh.GetCell(picker.GetCellId())
        weights = np.zeros(cell.GetNumberOfPoints())
        cell.EvaluatePosition(picker.GetPickPosition(), [0.0] * 3, reference(0), [0.0] * 3, reference(0.0), weights)
        corners = [cell.GetPointId(i) for i in range(len(weights))]
        x, y, z = weights @ np.asarray(mesh.point_data["undeformed"])[corners]
        return nearest_spot(section, float(x), float(y), name, region), float(z)

    return spot_at


def _marked(plotter: Any, frame: Frame, spot: Spot, z: float, name: str, pixels: int, units: str) -> Label:
    """Add the mark of a spot at some z of the body; return its label."""
    import pyvista

    place = frame.drawn(np.array([[spot.x, spot.y, z]]), np.array([spot.displacement]), spot.region)[0]
    place[2] += BEFORE * frame.length
    plotter.add_mesh(
        pyvista.PolyData(place[None]),
        color=INK,
        point_size=max(6, pixels // 2),
        render_points_as_spheres=True,
        lighting=False,
        name=f"{name} mark",
        reset_camera=False,
        pickable=False,
    )
    text = "\n".join(spot.lines(units, short=True))
    return Label(name, text, place, text_extent(text, pixels), kind="flag", offset=(0.0, 1.2 * pixels))
