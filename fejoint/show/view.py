"""The solved joint in 3D: the section drawn over the joint's width, deformed, coloured by stress.

What is enlarged is stated in the picture: the displacements, the thickness. So
is where the colours end, because the stress at the corners of the adhesive is
singular and would leave no colour for the rest.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray

from fejoint.environment import require_extra, require_rendering
from fejoint.errors import JointError, SetupError
from fejoint.show.arrows import EYE, add_loads, text_size
from fejoint.show.colours import INK, colour_limit, lookup_table
from fejoint.show.solid import STRESSES, Frame, SolvedSection, Stress, cut_out, extruded, framed, outline, read_section

if TYPE_CHECKING:
    import pyvista as pv

    from fejoint.mechanics.driver import Result

__all__ = ["open_window", "stress_view", "view_png"]

Floats = NDArray[np.float64]

ADHERENDS = ("solid", "see-through", "hidden")
PIECES = 4  # of the side of a nine-node cell, so that bent arms look bent
MANY_CELLS = 10_000  # beyond, two pieces a side do
UNDEFORMED, METAL = "#8a9199", "#c9d1d8"


def view_png(source: str | Path | Result, path: str | Path, size: tuple[int, int] = (1600, 900), **options: Any) -> Path:
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


def open_window(source: str | Path | Result, **options: Any) -> None:
    """Open a window with the joint in 3D, to be turned with the mouse; returns when it is closed.

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
    stress_view(source, off_screen=False, **options).show()


def stress_view(
    source: str | Path | Result,
    stress: str = "peel",
    *,
    end: str | None = None,
    scale: float | None = None,
    stretch: float = 1.0,
    adherends: str = "solid",
    limit: float | None = None,
    size: tuple[int, int] = (1600, 900),
    off_screen: bool = True,
) -> pv.Plotter:
    """Return the joint in 3D, deformed and coloured by a stress, beside its undeformed outline.

    Parameters
    ----------
    source : path or Result
        The folder of a run, or a solved joint.
    stress : str
        ``shear``, ``peel``, ``axial``, ``width`` or ``von-mises`` (global axes).
    end : str, optional
        ``left`` or ``right``: look at this end of the overlap only.
    scale : float, optional
        Times the displacements are drawn; by default so that the largest is 8 % of the length shown.
    stretch : float
        Times the thickness is drawn.
    adherends : str
        ``solid``, ``see-through`` (grey, the adhesive seen through them) or ``hidden``.
    limit : float, optional
        Stress at which the colours end, MPa. By default the largest on the
        mid-line of the layer for peel and shear, and for every stress of
        adhesive seen alone; else what 99 % of the area shown stays within.
    size : (int, int)
        Width and height in pixels.
    off_screen : bool
        False for a window on a display.

    Raises
    ------
    SetupError
        pyvista, a library to render with or a display is missing; a file cannot be read.
    JointError
        No such run, or an unknown option value.
    """
    name = _stress_name(stress, end, adherends)
    _check_factors(scale=scale, stretch=stretch, limit=limit)
    section = read_section(source)  # before the display is asked for: a wrong folder is the nearer cause
    require_extra("pyvista", "view", "the 3D view")
    require_rendering(window=not off_screen)

    frame = framed(section, end, adherends == "hidden", scale, stretch)
    cut, why = (limit, "as asked") if limit is not None else colour_limit(section, name, frame.shown, adherends != "solid")
    plotter = _empty_picture(size, off_screen)
    points = _add_regions(plotter, section, frame, STRESSES[name], cut, adherends == "see-through")
    _add_colour_bar(plotter, STRESSES[name].label, size)
    notes = _scale_notes(section, frame) + _cut_notes(section, name, frame, cut, why)
    _add_words(plotter, _title(section, name), notes, size)
    if end is None and adherends != "hidden":
        points = np.vstack([points, add_loads(plotter, section, frame, size)])
    _aim(plotter, points, _direction(end), size, len(notes))
    return cast("pv.Plotter", plotter)


# ---- options -------------------------------------------------------------


def _stress_name(stress: str, end: str | None, adherends: str) -> str:
    """Return the stress by its own name; JointError names a word that is not known."""
    name = stress.strip().lower().replace(" ", "-").replace("_", "-")
    options = ("stress", name, tuple(STRESSES)), ("end", end, (None, "left", "right")), ("adherends", adherends, ADHERENDS)
    for key, value, known in options:
        if value not in known:
            raise JointError(f'{key} = "{value}": must be one of {", ".join(filter(None, known))}.')
    return name


def _check_factors(**factors: float | None) -> None:
    for key, factor in factors.items():
        if factor is not None and not (0 < factor < np.inf or (key == "scale" and factor == 0)):
            raise JointError(f"{key} = {factor:g}: must be a positive number.")


# ---- words ---------------------------------------------------------------


def _title(section: SolvedSection, name: str) -> str:
    joint = section.joint
    return f"{joint.title or joint.geometry.kind}: {STRESSES[name].label}, global axes"


def _scale_notes(section: SolvedSection, frame: Frame) -> list[str]:
    """Return what is said of displacements, thickness and width."""
    width = section.joint.geometry.width
    against = ", without the rigid motion of what is shown" if frame.motion.any() else ""
    thickness = "thickness to the same scale as the length"
    if frame.stretch != 1:
        thickness = f"thickness drawn {frame.stretch:g} times as large as the length"
    sliced = f", a slice of {frame.width:.3g} mm shown" if frame.width < width else ""
    return [
        f"displacements drawn {frame.scale:g} times{against}; grey lines: undeformed",
        f"{thickness}; width {width:g} mm{sliced}",
    ]


def _cut_notes(section: SolvedSection, name: str, frame: Frame, cut: float, why: str) -> list[str]:
    """Return what is said of where the colours end, and of what lies beyond."""
    value = section.stress[name][frame.nodes]
    sign = "±" if STRESSES[name].signed else ""
    notes = [f"colours cut at {sign}{cut:.3g} MPa, {why}"]
    if np.abs(value).max() > cut * (1 + 1e-9):
        notes.append(f"all values here: {value.min():.3g} to {value.max():.3g} MPa, but singular at the corners of the adhesive")
    if name == "shear" and any(bond.sign < 0 for bond in section.joint.geometry.bonds()):
        notes.append("in these axes the lower layer's shear has the sign opposite to that along its bondline")
    return notes


# ---- parts of the picture ------------------------------------------------


def _empty_picture(size: tuple[int, int], off_screen: bool) -> Any:
    import pyvista

    plotter: Any = pyvista.Plotter(off_screen=off_screen, window_size=list(size))
    plotter.set_background("white")
    plotter.enable_anti_aliasing("ssaa")
    plotter.render_window.SetDPI(72)  # text sizes below are pixels
    return plotter


def _add_regions(plotter: Any, section: SolvedSection, frame: Frame, stress: Stress, cut: float, see_through: bool) -> Floats:
    """Add every region, deformed and coloured, and its edges; return the points (n, 3) between which all takes room."""
    pieces = PIECES if frame.shown.sum() < MANY_CELLS else 2
    taken = []
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
        taken += [np.asarray(body.points) * [1.0, frame.stretch, 1.0], _moved(frame, body)]
        _add_outline(plotter, frame, edges, region)
        body.points = taken[-1]
        look: dict[str, Any] = {"scalars": stress.array, "cmap": lookup_table(stress.signed, cut), "show_scalar_bar": False}
        if see_through and region != "adhesive":
            look = {"color": METAL, "opacity": 0.3, "culling": "back"}
        actor = plotter.add_mesh(body, lighting=False, name=region, reset_camera=False, **look)
        # Surfaces step back a little, so that the outlines on them are whole.
        actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
        actor.mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(1.0, 2.0)
    return np.vstack(taken)


def _moved(frame: Frame, mesh: Any) -> Floats:
    """Return where the points of a body or its edges are drawn."""
    return frame.drawn(np.asarray(mesh.points), np.asarray(mesh.point_data["displacement"]))


def _add_outline(plotter: Any, frame: Frame, edges: Any, region: str) -> None:
    """Add the edges of a region, undeformed in grey and deformed in ink."""
    import pyvista

    flat = np.asarray(edges.points) * [1.0, frame.stretch, 1.0]
    for places, colour, thick, name in ((flat, UNDEFORMED, 1.2, "undeformed"), (_moved(frame, edges), INK, 1.8, "deformed")):
        mesh = pyvista.PolyData(places, lines=edges.lines)
        plotter.add_mesh(mesh, color=colour, line_width=thick, lighting=False, name=f"{region} {name}", reset_camera=False)


def _add_colour_bar(plotter: Any, label: str, size: tuple[int, int]) -> None:
    text = text_size(size)
    plotter.add_scalar_bar(
        title=f"{label}, MPa\n",
        mapper=plotter.actors["adhesive"].mapper,
        n_labels=5,
        fmt="%.3g",
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


def _add_words(plotter: Any, title: str, notes: list[str], size: tuple[int, int]) -> None:
    """Add the title, the notes under it and the axes' cross."""
    text = text_size(size)
    top = 1.0 - 2.1 * text / size[1]
    plotter.add_text(title, position=(0.015, top), viewport=True, font_size=round(0.8 * text), color=INK, name="title")
    for i, note in enumerate(notes):
        place = (0.015, top - 1.6 * (i + 1) * text / size[1])
        plotter.add_text(note, position=place, viewport=True, font_size=round(0.62 * text), color=INK, name=f"note {i}")
    plotter.add_axes(xlabel="x", ylabel="y", zlabel="z", color=INK, viewport=(0.0, 0.0, 0.14, 0.22))


# ---- where it is looked at from ------------------------------------------


def _direction(end: str | None) -> tuple[float, float, float]:
    """Return the direction in which the eye lies, from the whole joint or from an overlap end."""
    return EYE if end is None else (-0.45 if end == "left" else 0.45, 0.35, 1.0)


def _aim(plotter: Any, points: Floats, direction: tuple[float, float, float], size: tuple[int, int], notes: int) -> None:
    """Look along a direction so that all points fill the picture between words and colour bar."""
    towards = np.array(direction) / np.linalg.norm(direction)
    right = np.cross([0.0, 1.0, 0.0], towards)
    right /= np.linalg.norm(right)
    up = np.cross(towards, right)
    across, height = points @ right, points @ up
    low, high = 0.19, 0.93 - 0.04 * max(notes, 4)  # of the picture's height
    half = max(np.ptp(height) / 2 / (high - low), np.ptp(across) / 2 * size[1] / size[0] / 0.9)
    lift = (low + high - 1.0) * half
    focus = (across.max() + across.min()) / 2 * right + ((height.max() + height.min()) / 2 - lift) * up
    focus = focus + (points @ towards).mean() * towards
    camera = plotter.camera
    camera.parallel_projection = True
    camera.focal_point = focus
    camera.position = focus + towards * 4 * np.ptp(points, axis=0).max()
    camera.up = (0.0, 1.0, 0.0)
    camera.parallel_scale = half
    plotter.reset_camera_clipping_range()
