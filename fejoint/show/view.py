"""The solved joint in 3D: the section drawn over the joint's width, deformed, coloured by stress.

Works from the folder of a run alone (``section.vtu`` and ``summary.json``), or
from a result. What is enlarged is stated in the picture: the displacements,
the thickness. So is where the colours end, because the stress at the corners
of the adhesive is singular and would leave no colour for the rest.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import NDArray

from fejoint.environment import require_extra, require_rendering
from fejoint.errors import EnvironmentFault, JointError

if TYPE_CHECKING:
    import pyvista as pv

    from fejoint.mechanics.driver import Result

__all__ = ["SolvedSection", "extruded", "read_section", "show", "stress_view", "view_png"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# name: (array in section.vtu, what it is called in the picture, whether it has a sign)
STRESSES = {
    "shear": ("stress_xy_MPa", "shear stress xy", True),
    "peel": ("stress_yy_MPa", "peel stress yy", True),
    "axial": ("stress_xx_MPa", "axial stress xx", True),
    "width": ("stress_zz_MPa", "stress across the width zz", True),
    "von-mises": ("von_mises_MPa", "von Mises stress", False),
}
ADHERENDS = ("solid", "see-through", "hidden")
LAYERS = 2  # of cells across the width
PIECES = 4  # of the side of a nine-node cell, so that bent arms look bent
MANY_CELLS = 10_000  # beyond, two pieces a side do
SHOWN_DISPLACEMENT = 0.08  # the largest one, over the length shown, when the scale is automatic
INK, GREY, METAL = "#1d2429", "#8a9199", "#c9d1d8"


# ---- what is looked at ---------------------------------------------------


@dataclass(frozen=True, eq=False)
class SolvedSection:
    """A solved section as a run writes it.

    Attributes
    ----------
    points : (nodes, 2) array, mm
    cells : (cells, 9) array
        Nodes of each cell: corners, edge mid-points, centre. No node is shared between regions.
    region : (cells,) array
        Number of the region each cell belongs to.
    displacement : (nodes, 2) array, mm
    stress : dict of (nodes,) arrays, MPa
        By the names of `STRESSES`, global axes.
    regions : dict
        Number of each region by name.
    joint : dict
        The joint as understood, by the keys of its file, N-mm-MPa-K.
    """

    points: Floats
    cells: Ints
    region: Ints
    displacement: Floats
    stress: dict[str, Floats]
    regions: dict[str, int]
    joint: Mapping[str, Any]

    def cells_of(self, name: str) -> Bools:
        """Return which cells belong to a region, as a mask."""
        return np.asarray(self.region == self.regions[name])

    def mid_line(self) -> Ints:
        """Return the nodes on the mid-line of the layer inside the overlap; empty when it is not straight."""
        g = self.joint["joint"]
        tiny = 1e-6 * g["bondline_thickness"]
        x, y = self.points.T
        on = (np.abs(y) < tiny) & (x > -tiny) & (x < g["overlap_length"] + tiny)
        nodes = np.unique(self.cells[self.cells_of("adhesive")])
        return np.asarray(nodes[on[nodes]])


def read_section(source: str | Path | Result) -> SolvedSection:
    """Return the solved section of a run's folder, or of a result.

    Parameters
    ----------
    source : path or Result
        A folder with ``section.vtu`` and ``summary.json``, or a solved joint.

    Raises
    ------
    EnvironmentFault
        The folder does not hold a run, or its files are damaged.
    """
    if not isinstance(source, (str, Path)):
        from fejoint.show.files import joint_as_understood, section_mesh

        regions = {name: number for number, name in enumerate(source.solution.laws)}
        return _from_mesh(section_mesh(source), regions, joint_as_understood(source.joint))
    folder = Path(source)
    try:
        summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
        content = (folder / "section.vtu").is_file()
    except OSError:
        content = False
    except ValueError:
        raise EnvironmentFault(f"{folder / 'summary.json'}: is damaged; solve the joint again.") from None
    if not content:
        raise EnvironmentFault(f"{folder}: holds no section.vtu and summary.json; give a folder that fejoint solve --out wrote.")
    from meshio import vtu

    try:
        return _from_mesh(vtu.read(str(folder / "section.vtu")), summary["regions"], summary["joint"])
    except Exception as error:  # meshio and its XML parser raise many kinds
        raise EnvironmentFault(f"{folder}: section.vtu and summary.json cannot be used ({error!r}); solve again.") from None


def _from_mesh(mesh: Any, regions: Mapping[str, int], joint: Mapping[str, Any]) -> SolvedSection:
    return SolvedSection(
        points=np.asarray(mesh.points[:, :2], dtype=float),
        cells=np.asarray(mesh.cells_dict["quad9"], dtype=np.int64),
        region=np.asarray(mesh.cell_data_dict["region"]["quad9"], dtype=np.int64),
        displacement=np.asarray(mesh.point_data["displacement"][:, :2], dtype=float),
        stress={name: np.asarray(mesh.point_data[array], dtype=float) for name, (array, *_) in STRESSES.items()},
        regions=dict(regions),
        joint=joint,
    )


# ---- the picture ---------------------------------------------------------


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
    EnvironmentFault
        Nothing to render with, no such run, or the picture cannot be written.
    JointError
        An unknown option value.
    """
    from fejoint.show.files import write_files

    path = Path(path)
    if path.suffix.lower() != ".png":
        raise EnvironmentFault(f"{path}: the 3D view is written as .png; give the file this ending.")
    plotter = stress_view(source, size=size, **options)
    try:
        write_files(path.parent, {path.name: lambda file: plotter.screenshot(file, return_img=False)})
    finally:
        plotter.close()
    return path


def show(source: str | Path | Result, **options: Any) -> None:
    """Open a window with the joint in 3D, to be turned with the mouse; returns when it is closed.

    Parameters
    ----------
    source, options
        As for `stress_view`.

    Raises
    ------
    EnvironmentFault
        No display, nothing to render with, or no such run.
    JointError
        An unknown option value.
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
    EnvironmentFault
        pyvista, a library to render with or a display is missing; no such run.
    JointError
        An unknown option value.
    """
    name = _checked(stress, end, adherends, scale=scale, stretch=stretch, limit=limit)
    section = read_section(source)
    require_extra("pyvista", "view", "the 3D view")
    require_rendering(window=not off_screen)
    import pyvista

    frame = _frame(section, end, adherends == "hidden", scale, stretch)
    cut, why = (limit, "as asked") if limit is not None else _colour_limit(section, name, frame, adherends)

    plotter: Any = pyvista.Plotter(off_screen=off_screen, window_size=list(size))
    plotter.set_background("white")
    plotter.enable_anti_aliasing("ssaa")
    plotter.render_window.SetDPI(72)  # text sizes below are pixels
    solid = extruded(section, frame.width, frame.shown, PIECES if frame.shown.sum() < MANY_CELLS else 2)
    undeformed = np.asarray(solid.points) * [1.0, stretch, 1.0]
    solid.points = frame.drawn(np.asarray(solid.points), np.asarray(solid.point_data["displacement"]))
    signed = STRESSES[name][2]
    for region, number in section.regions.items():
        part = solid.extract_cells(np.asarray(solid.cell_data["region"]) == number)
        if part.n_cells == 0:
            continue
        look: dict[str, Any] = {"scalars": STRESSES[name][0], "cmap": _lookup_table(signed, cut), "show_scalar_bar": False}
        if adherends == "see-through" and region != "adhesive":
            look = {"color": METAL, "opacity": 0.3, "culling": "back"}
        actor = plotter.add_mesh(part, lighting=False, name=region, reset_camera=False, **look)
        # Surfaces step back a little, so that the outlines on them are whole.
        actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
        actor.mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(1.0, 2.0)
    _add_outlines(plotter, section, frame)
    _add_colour_bar(plotter, STRESSES[name][1], signed, cut, size)
    _add_words(plotter, section, name, frame, _cut_notes(section, name, frame, cut, why), size)
    inside = np.vstack([solid.points, undeformed])
    if end is None and adherends != "hidden":
        inside = np.vstack([inside, _add_force(plotter, section, frame, size)])
    _aim(plotter, inside, frame.direction, size)
    return cast("pv.Plotter", plotter)


def extruded(
    section: SolvedSection, width: float, cells: Bools | None = None, pieces: int = 2, layers: int = LAYERS
) -> pv.UnstructuredGrid:
    """Return the undeformed section as hexahedra across a width.

    Parameters
    ----------
    section : SolvedSection
    width : float, mm
        From z = 0 to z = width.
    cells : (cells,) mask, optional
        Which cells of the section; all by default.
    pieces : int
        Each nine-node cell is drawn as pieces x pieces linear ones, between
        its nodes by its shape functions; with 2 all points are nodes.
    layers : int
        Cells across the width.

    Returns
    -------
    pyvista.UnstructuredGrid
        Points in mm; point data ``displacement`` (mm, 3 components) and the
        stresses (MPa) by their names in section.vtu; cell data ``region``.
    """
    import pyvista

    shown = np.ones(len(section.cells), dtype=bool) if cells is None else cells
    first, quads = _subdivided(section.cells[shown], pieces)
    n, between = len(first), _between(pieces)

    def inside(values: Floats) -> Floats:
        """Return nodal values at the points between, once for every face between layers."""
        grid = values[section.cells[shown]][:, _GRID]
        fine = np.einsum("pi,qj,cij...->cpq...", between, between, grid, optimize=True)
        return np.tile(fine.reshape(-1, *values.shape[1:])[first], (layers + 1, *[1] * (values.ndim - 1)))

    below = quads[None] + n * np.arange(layers)[:, None, None]
    hexahedra = np.concatenate([below, below + n], axis=2).reshape(-1, 8)
    points = np.column_stack([inside(section.points), np.repeat(np.linspace(0.0, width, layers + 1), n)])
    grid = pyvista.UnstructuredGrid({pyvista.CellType.HEXAHEDRON: hexahedra}, points)
    moved = inside(section.displacement)
    grid.point_data["displacement"] = np.column_stack([moved, np.zeros(len(moved))])
    for name, (array, *_) in STRESSES.items():
        grid.point_data[array] = inside(section.stress[name])
    grid.cell_data["region"] = np.tile(np.repeat(section.region[shown], pieces**2), layers)
    return grid


# ---- what is shown, how large --------------------------------------------


@dataclass(frozen=True, eq=False)
class _Frame:
    """What part of the section is shown and how it is drawn: `motion` is the rigid one (x, y, turn) left out, about `centre`."""

    shown: Bools
    width: float
    length: float
    scale: float
    stretch: float
    centre: Floats
    motion: Floats
    direction: tuple[float, float, float]

    def relative(self, points: Floats, displacement: Floats) -> Floats:
        """Return displacements (n, 2) without the rigid motion."""
        x, y = (points - self.centre).T
        return np.asarray(displacement - self.motion[:2] - self.motion[2] * np.column_stack([-y, x]))

    def drawn(self, points: Floats, displacement: Floats) -> Floats:
        """Return where points (n, 3) with displacements (n, 3) are drawn."""
        plane = points[:, :2] + self.scale * self.relative(points[:, :2], displacement[:, :2])
        return np.column_stack([plane * [1.0, self.stretch], points[:, 2]])


def _checked(stress: str, end: str | None, adherends: str, **factors: float | None) -> str:
    """Return the stress by its own name; JointError names a bad option."""
    name = stress.strip().lower().replace(" ", "-").replace("_", "-")
    options = ("stress", name, tuple(STRESSES)), ("end", end, (None, "left", "right")), ("adherends", adherends, ADHERENDS)
    for key, value, known in options:
        if value not in known:
            raise JointError(f'{key} = "{value}": must be one of {", ".join(filter(None, known))}.')
    for key, factor in factors.items():
        if factor is not None and not (0 < factor < np.inf or (key == "scale" and factor == 0)):
            raise JointError(f"{key} = {factor:g}: must be a positive number.")
    return name


def _frame(section: SolvedSection, end: str | None, adhesive_only: bool, scale: float | None, stretch: float) -> _Frame:
    g = section.joint["joint"]
    shown = section.cells_of("adhesive") if adhesive_only else np.ones(len(section.cells), dtype=bool)
    width = float(g["width"])
    direction = (-0.32, 0.5, 1.0)
    if end is not None:
        at, half = _end_window(section, end)
        centre = section.points[section.cells[:, 8]]
        shown = shown & (np.abs(centre[:, 0] - at) < half) & (np.abs(centre[:, 1]) < 0.7 * half)
        width = min(width, 0.8 * half)
        direction = (-0.45 if end == "left" else 0.45, 0.35, 1.0)
    nodes = np.unique(section.cells[shown])
    points, moves = section.points[nodes], section.displacement[nodes]
    length = float(np.ptp(points[:, 0]))
    centre, motion = np.zeros(2), np.zeros(3)
    if end is not None or adhesive_only:
        # Drawn against its own rigid motion: that would take a part out of the picture, and hides how it strains.
        centre = points.mean(axis=0)
        motion = _rigid_motion(points - centre, moves)
    frame = _Frame(shown, width, length, 1.0, stretch, centre, motion, direction)
    if scale is None:
        drawn = frame.relative(points, moves) * [1.0, stretch]
        largest = float(np.hypot(*drawn.T).max())
        scale = float(f"{SHOWN_DISPLACEMENT * length / largest:.2g}") if largest > 0 else 1.0
    return replace(frame, scale=scale)


def _rigid_motion(places: Floats, moves: Floats) -> Floats:
    """Return the shifts along x and y and the small turn that are nearest to the displacements of places about their middle."""
    turn = (places[:, 0] @ moves[:, 1] - places[:, 1] @ moves[:, 0]) / (places**2).sum()
    return np.append(moves.mean(axis=0), turn)


def _end_window(section: SolvedSection, end: str) -> tuple[float, float]:
    """Return where an overlap end is along x, and half the length to show there, mm."""
    g = section.joint["joint"]
    x = section.points[np.unique(section.cells[section.cells_of("adhesive")]), 0]
    at = 0.0 if end == "left" else float(g["overlap_length"])
    fillet = max(-float(x.min()), float(x.max()) - g["overlap_length"])
    return at, max(6.0 * g["bondline_thickness"], 2.2 * fillet)


def _colour_limit(section: SolvedSection, name: str, frame: _Frame, adherends: str) -> tuple[float, str]:
    """Return the stress at which the colours end, clear of the singular corners, and what it is."""
    value = np.abs(section.stress[name])
    nodes = section.mid_line()
    if len(nodes) and (name in ("shear", "peel") or adherends != "solid"):
        return max(float(value[nodes].max()), 1e-12), "the largest on the layer's mid-line"
    cells = frame.shown if adherends == "solid" else frame.shown & section.cells_of("adhesive")
    corners = section.points[section.cells[cells, :4]]
    diagonals = corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]
    area = np.abs(diagonals[0][:, 0] * diagonals[1][:, 1] - diagonals[0][:, 1] * diagonals[1][:, 0]) / 2
    mean = value[section.cells[cells]].mean(axis=1)
    order = np.argsort(mean)
    share = np.cumsum(area[order]) / area.sum()
    return max(float(mean[order][np.searchsorted(share, 0.99)]), 1e-12), "what 99 % of the area shown stays within"


def _cut_notes(section: SolvedSection, name: str, frame: _Frame, cut: float, why: str) -> list[str]:
    value = section.stress[name][np.unique(section.cells[frame.shown])]
    sign = "±" if STRESSES[name][2] else ""
    notes = [f"colours cut at {sign}{cut:.3g} MPa, {why}"]
    if np.abs(value).max() > cut * (1 + 1e-9):
        notes.append(f"all values here: {value.min():.3g} to {value.max():.3g} MPa, but singular at the corners of the adhesive")
    return notes


# ---- parts of the picture ------------------------------------------------


# The nine nodes of a cell (corners, edge mid-points, centre) by row and column.
_GRID = np.array([[0, 4, 1], [7, 8, 5], [3, 6, 2]])
_SIDES = np.array([[0, 4, 1], [1, 5, 2], [2, 6, 3], [3, 7, 0]])


def _between(pieces: int) -> Floats:
    """Return the three quadratic shape functions at the ends of equal pieces of a side, shape (pieces + 1, 3)."""
    t = np.linspace(-1.0, 1.0, pieces + 1)
    return np.column_stack([t * (t - 1) / 2, 1 - t * t, t * (t + 1) / 2])


def _subdivided(cells: Ints, pieces: int) -> tuple[Ints, Ints]:
    """Part cells (c, 9) in pieces x pieces quadrilaterals that share their points along common sides.

    Returns which of the c (pieces + 1)^2 points, cell by cell and row by row,
    are the distinct ones, and the quadrilaterals (c pieces^2, 4) in the
    numbering of those.
    """
    m = pieces + 1
    nodes = int(cells.max()) + 1
    # A number for every point that two cells agree on: of a corner the node's, on a side by its middle node and the
    # place counted from the lesser corner, inside by the cell.
    key = nodes * (1 + m) + np.arange(len(cells) * m * m).reshape(-1, m, m)
    for row, column, (a, middle, b) in (
        (0, slice(None), (0, 4, 1)),
        (slice(None), -1, (1, 5, 2)),
        (-1, slice(None), (3, 6, 2)),
        (slice(None), 0, (0, 7, 3)),
    ):
        place = np.arange(m)
        place = np.where((cells[:, a] < cells[:, b])[:, None], place, place[::-1])
        key[:, row, column] = nodes + cells[:, [middle]] * m + place
    for row, column, corner in ((0, 0, 0), (0, -1, 1), (-1, -1, 2), (-1, 0, 3)):
        key[:, row, column] = cells[:, corner]
    _, first, point = np.unique(key, return_index=True, return_inverse=True)
    point = point.reshape(key.shape)
    corners = [point[:, :-1, :-1], point[:, :-1, 1:], point[:, 1:, 1:], point[:, 1:, :-1]]
    return first, np.stack(corners, axis=-1).reshape(-1, 4)


def _outline(section: SolvedSection, cells: Bools) -> tuple[Ints, Ints]:
    """Return the outline of some cells as sides (s, 3) of start, middle and end node, and the nodes at its corners."""
    sides = section.cells[cells][:, _SIDES].reshape(-1, 3)
    _, first, count = np.unique(sides[:, 1], return_index=True, return_counts=True)
    sides = sides[first[count == 1]]
    # Away from corners the two unit vectors to a node's neighbours cancel.
    along = section.points[sides[:, 2]] - section.points[sides[:, 0]]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    turn = np.zeros_like(section.points)
    np.add.at(turn, sides[:, 0], along)
    np.add.at(turn, sides[:, 2], -along)
    return sides, np.flatnonzero(np.linalg.norm(turn, axis=1) > 0.3)


def _add_outlines(plotter: Any, section: SolvedSection, frame: _Frame) -> None:
    """Add the edges of every region, undeformed in grey and deformed in ink."""
    import pyvista

    def across(values: Floats, corners: Floats, heights: tuple[float, float]) -> Floats:
        """Return a plane outline's values (n, 2) at both ends of the width, then its corners' at both, with z."""
        z = np.repeat([*heights, *heights], [len(values), len(values), len(corners), len(corners)])
        return np.column_stack([np.concatenate([values, values, corners, corners]), z])

    between = _between(PIECES)
    for region in section.regions:
        cells = frame.shown & section.cells_of(region)
        if not cells.any():
            continue
        sides, corners = _outline(section, cells)
        flat, moves = (
            across(np.einsum("pi,sij->spj", between, v[sides]).reshape(-1, 2), v[corners], heights)
            for v, heights in ((section.points, (0.0, frame.width)), (section.displacement, (0.0, 0.0)))
        )
        runs = np.arange(2 * len(sides) * (PIECES + 1)).reshape(-1, PIECES + 1)
        ribs = runs.size + np.arange(2 * len(corners)).reshape(2, -1).T
        lines = np.concatenate([np.insert(part, 0, part.shape[1], axis=1).ravel() for part in (runs, ribs)])
        for places, colour, thick, name in (
            (flat * [1.0, frame.stretch, 1.0], GREY, 1.2, "undeformed"),
            (frame.drawn(flat, moves), INK, 1.8, "deformed"),
        ):
            mesh = pyvista.PolyData(places, lines=lines)
            plotter.add_mesh(mesh, color=colour, line_width=thick, lighting=False, name=f"{region} {name}", reset_camera=False)


def _add_colour_bar(plotter: Any, title: str, signed: bool, cut: float, size: tuple[int, int]) -> None:
    text = _text_size(size)
    plotter.add_scalar_bar(
        title=f"{title}, MPa\n",
        mapper=next(a.mapper for name, a in plotter.actors.items() if name == "adhesive"),
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


def _add_words(plotter: Any, section: SolvedSection, name: str, frame: _Frame, cut: list[str], size: tuple[int, int]) -> None:
    joint, g = section.joint, section.joint["joint"]
    title = f"{joint.get('title') or g['kind']}: {STRESSES[name][1]}, global axes"
    against = ", without the rigid motion of what is shown" if frame.motion.any() else ""
    notes = [f"displacements drawn {frame.scale:g} times{against}; grey lines: undeformed"]
    notes.append("thickness to the same scale as the length")
    if frame.stretch != 1:
        notes[-1] = f"thickness drawn {frame.stretch:g} times as large as the length"
    notes[-1] += f"; width {g['width']:g} mm" + (f", a slice of {frame.width:.3g} mm shown" if frame.width < g["width"] else "")
    text = _text_size(size)
    top = 1.0 - 2.1 * text / size[1]
    plotter.add_text(title, position=(0.015, top), viewport=True, font_size=round(0.8 * text), color=INK, name="title")
    for i, note in enumerate(notes + cut):
        place = (0.015, top - 1.6 * (i + 1) * text / size[1])
        plotter.add_text(note, position=place, viewport=True, font_size=round(0.62 * text), color=INK, name=f"note {i}")
    plotter.add_axes(xlabel="x", ylabel="y", zlabel="z", color=INK, viewport=(0.0, 0.0, 0.14, 0.22))


def _add_force(plotter: Any, section: SolvedSection, frame: _Frame, size: tuple[int, int]) -> Floats:
    """Add the force at the loaded end, the one at the right; return the points (2, 3) between which it takes room."""
    import pyvista

    force = section.joint["load"]["force"]
    end = np.flatnonzero(section.points[:, 0] > section.points[:, 0].max() - 1e-9 * frame.length)
    flat = np.column_stack([section.points[end], np.full(len(end), frame.width / 2)])
    face = frame.drawn(flat, np.column_stack([section.displacement[end], np.zeros(len(end))])).mean(axis=0)
    reach = 0.07 * frame.length
    if force == 0:
        return np.array([face, face])
    reach_x = reach * np.array([1.0, 0.0, 0.0])
    tail = face + (0.1 if force > 0 else 1.1) * reach_x
    arrow = pyvista.Arrow(start=tail, direction=np.sign(force) * reach_x, scale=reach, shaft_radius=0.035, tip_radius=0.1)
    plotter.add_mesh(arrow, color=INK, lighting=False, name="force", reset_camera=False)
    plotter.add_point_labels(
        [face + 0.6 * reach_x + np.array([0.0, 0.35 * reach, 0.0])],
        [f"{force:.4g} N"],
        font_size=_text_size(size),
        text_color=INK,
        bold=False,
        shape=None,
        show_points=False,
        always_visible=True,
        justification_horizontal="center",
        name="force label",
        reset_camera=False,
    )
    return np.array([face, face + 1.15 * reach_x])


def _aim(plotter: Any, points: Floats, direction: tuple[float, float, float], size: tuple[int, int]) -> None:
    """Look along a direction so that all points fill the picture between words and colour bar."""
    towards = np.array(direction) / np.linalg.norm(direction)
    right = np.cross([0.0, 1.0, 0.0], towards)
    right /= np.linalg.norm(right)
    up = np.cross(towards, right)
    across, height = points @ right, points @ up
    low, high = 0.19, 0.77  # of the picture's height
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


def _text_size(size: tuple[int, int]) -> int:
    """Return a text height in pixels that is read well when the picture fills a page's width."""
    return max(10, round(min(size[0] / 75, size[1] / 42)))


# ---- colours -------------------------------------------------------------


def _lookup_table(signed: bool, cut: float) -> pv.LookupTable:
    """Return colours from -cut to cut (signed) or 0 to cut, MPa."""
    import pyvista

    colours = _diverging() if signed else _sequential()
    table = pyvista.LookupTable(values=np.column_stack([colours, np.full(len(colours), 255)]).astype(np.uint8))
    table.scalar_range = (-cut if signed else 0.0, cut)
    return table


def _diverging(n: int = 257) -> Ints:
    """Return blue over near-white to red, (n, 3) of 0 to 255: even steps of lightness and colour to both sides of the middle."""
    t = np.linspace(-1.0, 1.0, n)[:, None]
    # Lightness, green-red, blue-yellow (OKLab) of both ends and the middle.
    middle, blue, red = np.array([[0.95, 0.0, 0.0], [0.40, -0.03, -0.165], [0.40, 0.14, 0.07]])
    return _srgb(middle + np.where(t < 0, -t * (blue - middle), t * (red - middle)))


def _sequential(n: int = 256) -> Ints:
    """Return dark violet over teal to light yellow, (n, 3) of 0 to 255: equal distances between all neighbours."""
    s = np.linspace(0.0, 1.0, 2001)
    hue, chroma = np.radians(300.0 - 195.0 * s), 0.08 + 0.065 * s * s
    path = np.column_stack([0.22 + 0.72 * s, chroma * np.cos(hue), chroma * np.sin(hue)])
    steps = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
    even = np.linspace(0.0, steps[-1], n)
    return _srgb(np.column_stack([np.interp(even, steps, column) for column in path.T]))


def _srgb(oklab: Floats) -> Ints:
    """Return OKLab colours (n, 3) as sRGB, 0 to 255 (B. Ottosson, A perceptual color space for image processing, 2020)."""
    to_lms = np.array(
        [
            [1.0, 0.3963377774, 0.2158037573],
            [1.0, -0.1055613458, -0.0638541728],
            [1.0, -0.0894841775, -1.2914855480],
        ]
    )
    to_rgb = np.array(
        [
            [4.0767416621, -3.3077115913, 0.2309699292],
            [-1.2684380046, 2.6097574011, -0.3413193965],
            [-0.0041960863, -0.7034186147, 1.7076147010],
        ]
    )
    linear = np.clip((oklab @ to_lms.T) ** 3 @ to_rgb.T, 0.0, 1.0)
    gamma = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * gamma), dtype=np.int64)
