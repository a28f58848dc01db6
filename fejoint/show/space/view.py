"""The solved joint in 3D: the section drawn over the joint's width, deformed, coloured by stress.

What is enlarged is stated in the picture: the displacements, the thickness. So
is where the colours end, because the stress at the corners of the adhesive is
singular and would leave no colour for the rest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.environment import require_extra, require_rendering
from fejoint.errors import JointError, SetupError
from fejoint.show.colours import INK, METAL, UNDEFORMED, colour_limit, lookup_table
from fejoint.show.space.arrows import LOADS, add_loads
from fejoint.show.space.camera import View, aim, direction, drawn_points, fitted, look, seen
from fejoint.show.space.captions import add_colour_bar, add_words, cut_notes, frame_notes, heading
from fejoint.show.space.frame import Frame, fit_stretch, framed
from fejoint.show.space.labels import DPI, Label, add_labels, arranged, text_size
from fejoint.show.space.pick import Spot, read_points, spots
from fejoint.show.space.ribbon import RIBBONS, add_ribbons, ribbon_notes, ribbons
from fejoint.show.space.solid import STRESSES, SolvedSection, cut_out, extruded, outline, read_section, stress_named
from fejoint.show.space.spots import add_spots, answer_clicks
from fejoint.units import DISPLAY_SYSTEMS, shown_unit

if TYPE_CHECKING:
    import pyvista as pv

    from fejoint.joint.geometry import Geometry
    from fejoint.mechanics.driver import Result
    from fejoint.show.reading import Run

__all__ = ["open_window", "stress_view", "view_png"]

Floats = NDArray[np.float64]

MOST: dict[str, float] = {"scale": 1e9, "stretch": 1e4, "apart": 1e3, "limit": 1e12}  # beyond, nothing is left to be seen
ADHERENDS = ("solid", "see-through", "hidden")
PIECES = 4  # of the side of a nine-node cell, so that bent arms look bent
MANY_CELLS = 10_000  # beyond, two pieces a side do
MOST_POINTS = 12  # that are labelled in one picture
SIDES = 0.04  # of the picture's width, free on either side
FLOOR = 0.19  # of the picture's height, taken by the colour bar and the axes' cross


def view_png(
    source: str | Path | Result | Run | SolvedSection, path: str | Path, size: tuple[int, int] = (1600, 900), **options: Any
) -> Path:
    """Write a picture of the joint in 3D; no display needed.

    Parameters
    ----------
    source, options
        As for `stress_view`.
    path : str or Path
        The picture, ``.png``: written whole or not at all.
    size : (int, int)
        Width and height in pixels.

    Raises
    ------
    SetupError
        Nothing to render with, or a file cannot be read or written.
    JointError
        No such run, or an unknown option value.
    """
    from fejoint.show.files import write_files

    path = Path(path)
    if path.suffix.lower() != ".png":
        raise SetupError(f"{path}: the 3D view is written as .png; give the file this ending.")
    plotter = stress_view(source, size=size, **options)
    try:
        write_files(path.parent, {path.name: lambda file: plotter.screenshot(file, return_img=False)})
    finally:
        plotter.close()
    return path


def open_window(source: str | Path | Result | Run | SolvedSection, **options: Any) -> None:
    """Open a window with the joint in 3D, to be turned with the mouse; returns when it is closed.

    A click on the joint shows the stress there; a slider goes along the load's path, where there is one and no ribbon.

    Parameters
    ----------
    source, options
        As for `stress_view`.

    Raises
    ------
    SetupError
        No display, nothing to render with, or a file cannot be read.
    JointError
        No such run, or an unknown option value.
    """
    from fejoint.show.space.increments import add_slider

    made = picture(source, off_screen=False, **options)
    add_slider(made, source)
    made.plotter.show()


def stress_view(
    source: str | Path | Result | Run | SolvedSection,
    stress: str = "peel",
    *,
    end: str | None = None,
    scale: float | None = None,
    stretch: float | str | None = None,
    apart: float = 0.0,
    hide: str | Sequence[str] = (),
    adherends: str = "solid",
    ribbon: str | None = None,
    points: Sequence[str | Sequence[float]] = (),
    limit: float | None = None,
    units: str = "mm",
    size: tuple[int, int] = (1600, 900),
    off_screen: bool = True,
) -> pv.Plotter:
    """Return the joint in 3D, deformed and coloured by a stress, beside its undeformed outline.

    Parameters
    ----------
    source : path, Result, Run or SolvedSection
        The folder of a run, or a solved joint.
    stress : str
        ``shear``, ``peel``, ``axial``, ``width`` or ``von-mises`` (global axes); ``plastic-strain``
        where something may yield.
    end : str, optional
        ``left`` or ``right``: look at this end of the overlap only.
    scale : float, optional
        Times the displacements are drawn; by default so that the largest is 8 % of the length shown.
    stretch : float or "fit", optional
        Times the thickness is drawn; ``fit`` for a round number that makes the
        layers easy to see, which is the default for the look at an end (there
        the more of the length is shown); else 1.
    apart : float
        How far neighbouring pieces (adherends and layers) are moved apart,
        over the thickness of what is shown.
    hide : str or sequence of str
        Regions left out: ``adhesive`` and adherends by the names of their
        regions, such as ``upper``; several separated by commas, or listed.
    adherends : str
        ``solid``, ``see-through`` (grey, the adhesive seen through them) or ``hidden``.
    ribbon : str, optional
        ``shear``, ``peel`` or ``both``: the stress on the mid-line of each
        bondline as a ribbon above the overlap.
    points : sequence of (float, float) or str
        Places x, y of the undeformed section, mm, at which the stress is
        written; texts such as ``1.5,0`` or ``0.1 inch, 0 mm`` too.
    limit : float, optional
        Stress at which the colours end, MPa. By default the largest on the
        mid-line of the layer for peel and shear, and for every stress of
        adhesive seen alone; else what 99 % of the area shown stays within.
    units : str
        Display system of what is written: ``mm``, ``SI`` or ``inch``.
    size : (int, int)
        Width and height in pixels.
    off_screen : bool
        False for a window on a display; there a click shows the stress at a place.

    Raises
    ------
    SetupError
        pyvista, a library to render with or a display is missing; a file cannot be read.
    JointError
        No such run, or an unknown option value.
    """
    return picture(
        source,
        stress,
        end=end,
        scale=scale,
        stretch=stretch,
        apart=apart,
        hide=hide,
        adherends=adherends,
        ribbon=ribbon,
        points=points,
        limit=limit,
        units=units,
        size=size,
        off_screen=off_screen,
    ).plotter


@dataclass(frozen=True, eq=False)
class Picture:
    """A joint in 3D, and what it takes to draw another section of the same mesh in its place.

    Attributes
    ----------
    plotter : pyvista.Plotter
    section : SolvedSection
    frame : Frame
    name : str
        What it is coloured by, one of `STRESSES`.
    cut : float
        Where the colours end.
    see_through : bool
    units : str
    size : (int, int)
    loads : bool
        Whether arrows of the loads are drawn.
    told : callable
        Returns what is said first of a section, in lines.
    renew : callable
        To be called with the other section, for clicks.
    """

    plotter: pv.Plotter
    section: SolvedSection
    frame: Frame
    name: str
    cut: float
    see_through: bool
    units: str
    size: tuple[int, int]
    loads: bool
    told: Callable[[SolvedSection], list[str]]
    renew: Callable[[SolvedSection], None]

    def show(self, section: SolvedSection) -> None:
        """Draw another section of the same mesh in place of this one: as far displaced, and coloured to the same end."""
        factor = shown_unit(STRESSES[self.name].unit, self.units)[0]
        plotter: Any = self.plotter
        _add_regions(plotter, section, self.frame, self.name, self.cut, self.see_through, factor)
        if self.loads:
            for name in [name for name in plotter.actors if name.startswith(LOADS)]:
                plotter.remove_actor(name, reset_camera=False)
            labels, drawn = add_loads(plotter, section, self.frame, self.size, self.units), drawn_points(plotter)
            add_labels(plotter, arranged(labels, seen(plotter), np.zeros((0, 3)), drawn), seen(plotter), text_size(self.size))
        # As many lines as there are.
        room, lines = len(self.told(self.section)), self.told(section)
        for i, line in enumerate((lines + room * [""])[:room]):
            if f"note {i}" in plotter.actors:
                plotter.actors[f"note {i}"].SetInput(line)
        self.renew(section)
        plotter.render()


def picture(
    source: str | Path | Result | Run | SolvedSection,
    stress: str = "peel",
    *,
    end: str | None = None,
    scale: float | None = None,
    stretch: float | str | None = None,
    apart: float = 0.0,
    hide: str | Sequence[str] = (),
    adherends: str = "solid",
    ribbon: str | None = None,
    points: Sequence[str | Sequence[float]] = (),
    limit: float | None = None,
    units: str = "mm",
    size: tuple[int, int] = (1600, 900),
    off_screen: bool = True,
    eye: View | None = None,
    why: str = "as asked",
) -> Picture:
    """Return the joint in 3D with what it is drawn by.

    All as `stress_view`; `eye`: from where to look; `why`: where the limit comes from, in words.
    """
    name = stress_named(stress)
    _check_words(
        end=(end, (None, "left", "right")),
        adherends=(adherends, ADHERENDS),
        ribbon=(ribbon, (None, *RIBBONS)),
        units=(units, tuple(DISPLAY_SYSTEMS)),
    )
    _check_factors(scale=scale, stretch=stretch, limit=limit, apart=apart)
    places = read_points(points)
    if len(places) > MOST_POINTS:
        raise JointError(f"point: {len(places)} places are too many for one picture; give at most {MOST_POINTS}.")
    section = read_section(source)  # before the display: the nearer cause
    stress_named(stress, section)
    coloured = set(section.regions) if name != "plastic-strain" else set(section.joint.yielding())
    hidden = _hidden(section, hide, adherends, coloured)
    frame = framed(section, end, hidden, scale, _stretch(section.joint.geometry, end, stretch), apart)
    found = _shown_spots(section, frame, spots(section, places, name), hidden)
    require_extra("pyvista", "view", "the 3D view")
    require_rendering(window=not off_screen)

    of_adhesive = adherends == "see-through" or set(section.joint.geometry.adherends()) <= hidden
    cut, why = (limit, why) if limit is not None else colour_limit(section, name, frame.shown, of_adhesive)
    plotter, text = _empty_picture(size, off_screen), text_size(size)
    factor, unit = shown_unit(STRESSES[name].unit, units)
    _add_regions(plotter, section, frame, name, cut, adherends == "see-through", factor)
    mappers = [plotter.actors[region].mapper for region in section.regions if region in plotter.actors]
    mapper = next(mapper for mapper in mappers if mapper.scalar_visibility)
    add_colour_bar(plotter, mapper, f"{STRESSES[name].label}{f', {unit}' if unit else ''}", size)

    labels: list[Label] = []
    clear = None
    if end is None and not set(section.joint.geometry.loaded) & hidden:
        labels += add_loads(plotter, section, frame, size, units)

    def told(section: SolvedSection) -> list[str]:
        return frame_notes(section, frame, hidden, units) + cut_notes(section, name, frame, cut, why, of_adhesive, units)

    notes = told(section)
    if ribbon is not None:
        raised = ribbons(section, frame, ribbon, _top(plotter, section, frame))
        peaks, clear = add_ribbons(plotter, raised, text, units)
        labels += peaks
        notes += ribbon_notes(raised, frame, units)
    labels += add_spots(plotter, frame, found, text, units)
    if not off_screen:
        notes.append("a click on the joint shows the stress there")
    free = add_words(plotter, heading(section, name, end, size), notes, size)

    drawn = drawn_points(plotter)
    room = SIDES * size[0], (1 - SIDES) * size[0], FLOOR * size[1], free - text
    if eye is None:
        view, placed = fitted(look(direction(end), size), drawn, labels, room, clear)
    else:
        view, placed = eye, arranged(labels, eye, np.zeros((0, 3)) if clear is None else clear, drawn)
    aim(plotter, view, drawn)
    add_labels(plotter, placed, view, text)
    renew = answer_clicks(plotter, section, frame, name, text, units)
    arrows = any(name.startswith(LOADS) for name in plotter.actors)
    return Picture(plotter, section, frame, name, cut, adherends == "see-through", units, size, arrows, told, renew)


# ---- options -------------------------------------------------------------


def _check_words(**options: tuple[str | None, tuple[str | None, ...]]) -> None:
    for key, (value, known) in options.items():
        if value not in known:
            raise JointError(f'{key} = "{value}": must be one of {", ".join(filter(None, known))}.')


def _check_factors(**factors: float | str | None) -> None:
    for key, factor in factors.items():
        if factor is None or (key == "stretch" and factor == "fit"):
            continue
        zero = key in ("scale", "apart")
        if isinstance(factor, str) or not (0 < factor <= MOST[key] or (zero and factor == 0)):
            said = f'"{factor}"' if isinstance(factor, str) else f"{factor:g}"
            allowed = f"{'0 or ' if zero else ''}a positive number up to {MOST[key]:g}"
            raise JointError(f"{key} = {said}: must be {allowed}{', or fit' if key == 'stretch' else ''}.")


def _stretch(g: Geometry, end: str | None, stretch: float | str | None) -> float:
    if stretch is None:
        stretch = 1.0 if end is None else "fit"
    return fit_stretch(g, end) if isinstance(stretch, str) else stretch


def _hidden(section: SolvedSection, hide: str | Sequence[str], adherends: str, coloured: set[str]) -> set[str]:
    """Return the regions that are left out; what is left must have a colour."""
    words = [word.strip() for given in ([hide] if isinstance(hide, str) else hide) for word in given.split(",")]
    for word in words:
        if word not in section.regions:
            raise JointError(f'hide = "{word}": must be one of {", ".join(section.regions)}.')
    hidden = set(words) | (set(section.joint.geometry.adherends()) if adherends == "hidden" else set())
    coloured = coloured & ({"adhesive"} if adherends == "see-through" else set(section.regions))
    if not coloured - hidden:
        what = f'hide = "{", ".join(words)}"' + (f" with adherends = {adherends}" if adherends != "solid" else "")
        raise JointError(f"{what}: leaves nothing to colour; show one of {', '.join(section.regions)}.")
    return hidden


def _shown_spots(section: SolvedSection, frame: Frame, found: list[Spot], hidden: set[str]) -> list[Spot]:
    """Return spots of what is shown: where regions meet, of one that is; JointError names a place that is not seen."""
    seen = []
    for spot in found:
        region = next((word for word in (spot.region, *spot.beside) if word not in hidden), None)
        where = f"point = {spot.x:g},{spot.y:g}: "
        if region is None:
            raise JointError(f"{where}lies in {spot.region}, which is hidden; show it, or leave the point out.")
        if frame.window is not None:
            (x0, x1), (y0, y1) = frame.window
            if not (x0 <= spot.x <= x1 and y0 <= spot.y <= y1):
                limits = f"x from {x0:.4g} to {x1:.4g} and y from {y0:.4g} to {y1:.4g} mm"
                raise JointError(f"{where}lies outside the look at this end, which shows {limits}.")
        seen.append(spot if region == spot.region else spots(section, [(spot.x, spot.y)], spot.name, region)[0])
    return seen


# ---- parts of the picture ------------------------------------------------


def _empty_picture(size: tuple[int, int], off_screen: bool) -> Any:
    import pyvista

    plotter: Any = pyvista.Plotter(off_screen=off_screen, window_size=list(size))
    plotter.set_background("white")
    plotter.enable_anti_aliasing("ssaa")
    plotter.render_window.SetDPI(DPI)
    return plotter


def _add_regions(
    plotter: Any, section: SolvedSection, frame: Frame, name: str, cut: float, see_through: bool, factor: float
) -> None:
    """Add every region, deformed and coloured, and its edges; `factor`: from MPa to the unit of the colours."""
    pieces, stress = PIECES if frame.shown.sum() < MANY_CELLS else 2, STRESSES[name]
    for region in section.regions:
        cells = frame.shown & section.cells_of(region)
        if not cells.any():
            continue
        if frame.window is None:
            body: Any = extruded(section, frame.width, cells, pieces)
            edges = outline(section, frame.width, cells, PIECES)
        else:
            body, edges = cut_out(section, frame.width, cells, frame.window, pieces)
        if body.n_cells == 0:
            continue
        _add_outline(plotter, frame, edges, region)
        body.point_data["undeformed"] = np.array(body.points)
        body.points = _moved(frame, body, region)
        body.point_data[stress.array] *= factor
        table = lookup_table(stress.signed, factor * cut)
        look: dict[str, Any] = {"scalars": stress.array, "cmap": table, "show_scalar_bar": False}
        if see_through and region != "adhesive":
            look = {"color": METAL, "opacity": 0.3, "culling": "back"}
        elif name == "plastic-strain" and region not in section.joint.yielding():
            look = {"color": METAL}  # a colour of the scale would say that it might have yielded and did not
        actor = plotter.add_mesh(body, lighting=False, name=region, reset_camera=False, **look)
        # Surfaces step back a little, so that the outlines on them are whole.
        actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
        actor.mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(1.0, 2.0)


def _moved(frame: Frame, mesh: Any, region: str) -> Floats:
    """Return where the points of a body or its edges are drawn."""
    return frame.drawn(np.asarray(mesh.points), np.asarray(mesh.point_data["displacement"]), region)


def _add_outline(plotter: Any, frame: Frame, edges: Any, region: str) -> None:
    """Add the edges of a region, undeformed in grey and deformed in ink."""
    import pyvista

    flat, moved = frame.undeformed(np.asarray(edges.points), region), _moved(frame, edges, region)
    for places, colour, thick, name in ((flat, UNDEFORMED, 1.2, "undeformed"), (moved, INK, 1.8, "deformed")):
        mesh = pyvista.PolyData(places, lines=edges.lines)
        plotter.add_mesh(
            mesh, color=colour, line_width=thick, lighting=False, name=f"{region} {name}", reset_camera=False, pickable=False
        )


def _top(plotter: Any, section: SolvedSection, frame: Frame) -> float:
    """Return the largest height of what is drawn where the overlap is, deformed or not."""
    x0, x1 = (0.0, section.joint.geometry.length) if frame.window is None else frame.window[0]
    beside = 0.05 * frame.length
    points = drawn_points(plotter)
    over = (points[:, 0] > x0 - beside) & (points[:, 0] < x1 + beside)
    return float(points[over if over.any() else slice(None), 1].max())
