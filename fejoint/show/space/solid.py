"""The solved section as a body in space: read from a run's folder or a result, drawn out over a width, outlined."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Curve
from fejoint.errors import FejointError, JointError, SetupError
from fejoint.joint.description import Joint
from fejoint.joint.flaws import tips
from fejoint.joint.geometry import Bond
from fejoint.mechanics.stations import CORNER_DISTANCE, stations
from fejoint.mechanics.taper import middle_of_layer

if TYPE_CHECKING:
    import pyvista as pv

    from fejoint.mechanics.driver import Result
    from fejoint.show.reading import Run

__all__ = [
    "SCHEMA_VERSION",
    "STRESSES",
    "SolvedSection",
    "Stress",
    "cut_out",
    "extruded",
    "outline",
    "read_section",
    "read_summary",
    "stress_named",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
HAIR = 1e-5  # between the faces of a disbond, in bondline thicknesses
Window = tuple[tuple[float, float], tuple[float, float]]


class Stress(NamedTuple):
    """A stress (or a strain) to colour by: its array in section.vtu, its name in pictures, whether it has a sign, its unit."""

    array: str
    label: str
    signed: bool
    unit: str = "MPa"


STRESSES = {
    "shear": Stress("stress_xy_MPa", "shear stress xy", True),
    "peel": Stress("stress_yy_MPa", "peel stress yy", True),
    "axial": Stress("stress_xx_MPa", "axial stress xx", True),
    "width": Stress("stress_zz_MPa", "stress across the width zz", True),
    "von-mises": Stress("von_mises_MPa", "von Mises stress", False),
    "plastic-strain": Stress("equivalent_plastic_strain", "equivalent plastic strain", False, ""),  # where something may yield
}
RUN_FILES = ("section.vtu", "summary.json")
SCHEMA_VERSION = 1  # of summary.json, and with it of all files of a run
CORNER = 0.3  # how far the two unit vectors along an outline are from cancelling at a point that counts as a corner
NO_Z = ((0, 0), (0, 1))  # what turns vectors (n, 2) of the section into (n, 3)
# The nine nodes of a cell (corners, edge mid-points, centre) by row and column; its sides by start, middle and end.
GRID = np.array([[0, 4, 1], [7, 8, 5], [3, 6, 2]])
SIDES = np.array([[0, 4, 1], [1, 5, 2], [2, 6, 3], [3, 7, 0]])


def stress_named(word: str, section: SolvedSection | None = None) -> str:
    """Return a stress by its own name in `STRESSES`, from a word such as ``von Mises``.

    Raises
    ------
    JointError
        It is none of them, or the section, if one is given, has no such thing.
    """
    name = word.strip().lower().replace(" ", "-").replace("_", "-")
    if name not in STRESSES:
        raise JointError(f'stress = "{word}": must be one of {", ".join(STRESSES)}.')
    if section is not None and name not in section.stress:
        raise JointError(f'stress = "{word}": nothing may yield in this analysis; show one of {", ".join(section.stress)}.')
    return name


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
        By the names of `STRESSES`, global axes; the plastic strain only where something may yield.
    regions : dict
        Number of each region by name.
    joint : Joint
        The joint as the run understood it.
    increment : dict or None
        Of a section on its load's path: its row of ``path.csv``.
    strength : dict or None
        ``strength.json``, where ``fejoint strength`` has been beside the run.
    """

    points: Floats
    cells: Ints
    region: Ints
    displacement: Floats
    stress: dict[str, Floats]
    regions: dict[str, int]
    joint: Joint
    increment: Mapping[str, Any] | None = None
    strength: Mapping[str, Any] | None = None

    def cells_of(self, name: str) -> Bools:
        """Return which cells belong to a region, as a mask."""
        return np.asarray(self.region == self.regions[name])

    def mid_line_pieces(self) -> list[tuple[Ints, ...]]:
        """Return the nodes on the mid-line of every bond, inside the overlap, along x: ends and middles of cells in turn.

        In one piece where it has no flaws, and between those along which the mid-line is void or parted.
        """
        g = self.joint.geometry
        tiny = 1e-6 * g.bondline_thickness
        nodes = np.unique(self.cells[self.cells_of("adhesive")])
        nodes = nodes[np.argsort(self.points[nodes, 0])]
        x, y = self.points[nodes].T
        found = []
        for bond in g.bonds():
            on_line = np.abs(y - middle_of_layer(g, bond, x)) < tiny
            stretches = [(bond.start, bond.end)] if self.joint.analysis.cohesive else _bonded(self.joint, bond)
            found.append(tuple(nodes[on_line & (x > low - tiny) & (x < high + tiny)] for low, high in stretches))
        return found

    def mid_lines(self) -> list[Ints]:
        """Return the nodes of every piece of the mid-lines (`mid_line_pieces`) without cells nearer to a tip than curves are."""
        found, near = [], CORNER_DISTANCE * self.joint.geometry.bondline_thickness
        for bond, pieces in zip(self.joint.geometry.bonds(), self.mid_line_pieces(), strict=True):
            places = np.array([] if self.joint.analysis.cohesive else tips(self.joint, bond, "middle"))
            for nodes in pieces:
                clear = np.abs(self.points[nodes, 0] - places[:, None]).min(axis=0, initial=np.inf) > near * (1 - 1e-9)
                kept = np.flatnonzero(clear[:-2:2] & clear[2::2])  # cells
                found.append(nodes[2 * kept[0] : 2 * kept[-1] + 3] if len(kept) else nodes[:0])
        return found

    def mid_line_curves(self) -> list[Curve]:
        """Return the stresses on the mid-line of every bond, with the signs of a bondline."""
        found = []
        for bond, pieces in zip(self.joint.geometry.bonds(), self.mid_line_pieces(), strict=True):
            shear, peel, axial = (self.stress[name] for name in ("shear", "peel", "axial"))
            x, nodes = self.points[:, 0], pieces[0]
            if self.joint.flaws and not self.joint.analysis.cohesive:
                at = stations(pieces, x, self.joint, bond, "middle")
                found.append(Curve(at.x, bond.sign * at.of(shear), at.of(peel), at.of(axial)))
            else:
                found.append(Curve(x[nodes], bond.sign * shear[nodes], peel[nodes], axial[nodes]))
        return found


def _bonded(joint: Joint, bond: Bond) -> list[tuple[float, float]]:
    """Return the stretches of a bond along which its mid-line is neither void nor parted."""
    cut = [f for f in joint.merged_flaws().flaws if f.bondline == bond.number and f.level in ("all", "middle")]
    ends = [bond.start, *(x for flaw in cut for x in (flaw.start, flaw.end)), bond.end]
    return [(low, high) for low, high in zip(ends[::2], ends[1::2], strict=True) if high > low]


def read_section(source: str | Path | Result | Run | SolvedSection) -> SolvedSection:
    """Return the solved section of a run's folder, of a run read back, or of a result; one of its own as it is.

    Parameters
    ----------
    source : path, Result, Run or SolvedSection
        A folder with ``section.vtu`` and ``summary.json``, or a solved joint.

    Raises
    ------
    JointError
        There is no such folder, or it is not that of a run.
    SetupError
        Its files cannot be read or are damaged.
    """
    if isinstance(source, SolvedSection):
        return source
    if not isinstance(source, (str, Path)):
        if isinstance(source.section, SolvedSection):
            return source.section
        from fejoint.show.files import section_mesh
        from fejoint.show.path_rows import path_row

        regions = {name: number for number, name in enumerate(source.solution.laws)}
        return _from_mesh(section_mesh(source), regions, source.joint, path_row(source) if source.number else None)
    folder = Path(source)
    summary = read_summary(folder)
    from meshio import vtu

    try:
        joint = Joint.model_validate(summary["joint"], by_alias=True)  # what the picture states is taken from it
        if not set(joint.geometry.region_areas()) <= set(summary["regions"]):
            raise ValueError("regions are missing")
        section = _from_mesh(vtu.read(str(folder / "section.vtu")), summary["regions"], joint, summary.get("increment"))
    except Exception as error:  # meshio and its XML parser raise many kinds
        raise SetupError(f"{folder}: section.vtu and summary.json cannot be used ({error!r}); solve again.") from None
    from fejoint.show.strength_files import read_strength

    try:
        asked = summary.get("asked")
        of = joint if asked is None else Joint.model_validate(asked, by_alias=True)
        return replace(section, strength=read_strength(folder, of))
    except FejointError:  # the picture goes without its sentence; the report says why
        return section


def read_summary(folder: Path, files: Sequence[str] = RUN_FILES) -> Any:
    """Return what a run's ``summary.json`` says, once the folder is seen to hold some files of a run.

    Raises
    ------
    JointError
        There is no such folder, or it holds no file of this name.
    SetupError
        It cannot be read, is damaged, or another version of fejoint wrote it.
    """
    try:
        missing = [name for name in files if not (folder / name).is_file()]
        content = b"" if missing else (folder / "summary.json").read_bytes()
    except OSError as error:
        raise SetupError(f"{folder}: cannot be read ({(error.strerror or str(error)).lower()}).") from None
    if missing:
        what = f"holds no {' and no '.join(missing)}" if folder.exists() else "there is no such folder"
        raise JointError(f"{folder}: {what}; give a folder that fejoint solve --out wrote.")
    try:
        said = json.loads(content)
        version = said["schema_version"]
    except (ValueError, TypeError, LookupError, RecursionError):
        raise SetupError(f"{folder / 'summary.json'}: is damaged; solve the joint again.") from None
    if version != SCHEMA_VERSION:
        raise SetupError(
            f"{folder / 'summary.json'}: has schema_version {version!r}, this fejoint reads {SCHEMA_VERSION}; "
            "solve the joint again, or use the fejoint that wrote it."
        )
    return said


def _from_mesh(mesh: Any, regions: Mapping[str, int], joint: Joint, increment: Mapping[str, Any] | None) -> SolvedSection:
    section = SolvedSection(
        points=np.asarray(mesh.points[:, :2], dtype=float),
        cells=np.asarray(mesh.cells_dict["quad9"], dtype=np.int64),
        region=np.asarray(mesh.cell_data_dict["region"]["quad9"], dtype=np.int64),
        displacement=np.asarray(mesh.point_data["displacement"][:, :2], dtype=float),
        stress={
            name: np.asarray(mesh.point_data[stress.array], dtype=float)
            for name, stress in STRESSES.items()
            if stress.unit or stress.array in mesh.point_data
        },
        regions=dict(regions),
        joint=joint,
        increment=increment,
    )
    values = (section.points, section.displacement, *section.stress.values())
    if not all(np.isfinite(v).all() and len(v) == len(section.points) for v in values):
        raise ValueError("its points hold no numbers")
    if section.cells.min() < 0 or section.cells.max() >= len(section.points):
        raise ValueError("its cells have no points")
    if sorted(section.regions.values()) != np.unique(section.region).tolist():
        raise ValueError("its regions are others")
    return section


# ---- its body and outline ------------------------------------------------


def extruded(
    section: SolvedSection, width: float, cells: Bools | None = None, pieces: int = 2, layers: int = 2
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
    n, of_face = len(first), _inside(section.cells[shown], pieces, first)

    def inside(values: Floats) -> Floats:
        """Return nodal values at the points between, once for every face between layers."""
        return np.tile(of_face(values), (layers + 1, *[1] * (values.ndim - 1)))

    below = quads[None] + n * np.arange(layers)[:, None, None]
    hexahedra = np.concatenate([below, below + n], axis=2).reshape(-1, 8)
    points = np.column_stack([inside(section.points), np.repeat(np.linspace(0.0, width, layers + 1), n)])
    grid = pyvista.UnstructuredGrid({pyvista.CellType.HEXAHEDRON: hexahedra}, points)
    grid.point_data["displacement"] = np.pad(inside(section.displacement), NO_Z)
    for name, values in section.stress.items():
        grid.point_data[STRESSES[name].array] = inside(values)
    grid.cell_data["region"] = np.tile(np.repeat(section.region[shown], pieces**2), layers)
    return grid


def outline(section: SolvedSection, width: float, cells: Bools, pieces: int = 2) -> pv.PolyData:
    """Return the edges of the undeformed body that `extruded` makes of some cells, as lines.

    Points are in mm, point data ``displacement`` too (3 components); a cell's side is drawn with so many pieces.
    """
    import pyvista

    sides, corners = _rim(section, cells)
    between = _between(pieces)

    def along(values: Floats) -> Floats:
        """Return nodal values (n, 2) along the sides at both ends of the width, then at the corners at both."""
        rim = np.einsum("pi,sij->spj", between, values[sides]).reshape(-1, 2)
        return np.concatenate([rim, rim, values[corners], values[corners]])

    on_sides, at_corners = len(sides) * (pieces + 1), len(corners)
    runs = np.arange(2 * on_sides).reshape(-1, pieces + 1)
    ribs = 2 * on_sides + np.arange(2 * at_corners).reshape(2, -1).T
    lines = np.concatenate([np.insert(part, 0, part.shape[1], axis=1).ravel() for part in (runs, ribs)])
    z = np.repeat([0.0, width, 0.0, width], [on_sides, on_sides, at_corners, at_corners])
    edges = pyvista.PolyData(np.column_stack([along(section.points), z]), lines=lines)
    edges.point_data["displacement"] = np.pad(along(section.displacement), NO_Z)
    return edges


def cut_out(
    section: SolvedSection, width: float, cells: Bools, window: Window, pieces: int = 2
) -> tuple[pv.PolyData, pv.PolyData]:
    """Return the surface of the undeformed body within a window of x and y, and its edges as lines.

    Points and point data as those of `extruded`; between nodes of the cells
    that the window's sides cut, values are those of the pieces drawn.
    """
    import pyvista

    first, quads = _subdivided(section.cells[cells], pieces)
    inside = _inside(section.cells[cells], pieces, first)
    places = np.pad(inside(_faces_apart(section, cells)), NO_Z)
    flat = pyvista.PolyData(places, faces=np.insert(quads, 0, 4, axis=1).ravel())
    flat.point_data["displacement"] = np.pad(inside(section.displacement), NO_Z)
    for name, values in section.stress.items():
        flat.point_data[STRESSES[name].array] = inside(values)
    for axis, limits in enumerate(window):
        for limit, sign in zip(limits, (1.0, -1.0), strict=True):
            unit = np.eye(3)[axis]
            flat = flat.clip(normal=sign * unit, origin=limit * unit, invert=False)
    # What lies on a side of the window is cut off without an area: such slivers would have edges of their own.
    flat = flat.triangulate().clean(tolerance=1e-9)
    body = flat.extrude((0.0, 0.0, width), capping=True)
    edges = body.extract_feature_edges(30.0, boundary_edges=False, non_manifold_edges=False, manifold_edges=False)
    return body, edges


def _faces_apart(section: SolvedSection, cells: Bools) -> Floats:
    """Return the nodes' places with the faces of a disbond within some cells a hair apart, so that `clean` leaves them two."""
    if not section.joint.flaws:
        return section.points
    own = section.cells[cells]
    nodes = np.unique(own)
    _, which, count = np.unique(np.round(section.points[nodes], 9), axis=0, return_inverse=True, return_counts=True)
    twice = nodes[count[which.ravel()] > 1]
    inwards = np.zeros_like(section.points)  # towards the cells that have the node
    np.add.at(inwards, own, section.points[own[:, 8]][:, None] - section.points[own])
    moved = section.points.copy()
    moved[twice] += HAIR * section.joint.geometry.bondline_thickness * np.sign(inwards[twice]) * [0.0, 1.0]
    return moved


def _inside(cells: Ints, pieces: int, first: Ints) -> Callable[[Floats], Floats]:
    """Return the function that takes nodal values to the distinct points (`_subdivided`) of parted cells."""
    between = _between(pieces)

    def inside(values: Floats) -> Floats:
        fine = np.einsum("pi,qj,cij...->cpq...", between, between, values[cells][:, GRID], optimize=True)
        return np.asarray(fine.reshape(-1, *values.shape[1:])[first])

    return inside


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
    place, each = np.arange(m), slice(None)
    for row, column, (a, middle, b) in ((0, each, (0, 4, 1)), (each, -1, (1, 5, 2)), (-1, each, (3, 6, 2)), (each, 0, (0, 7, 3))):
        counted = np.where((cells[:, a] < cells[:, b])[:, None], place, place[::-1])
        key[:, row, column] = nodes + cells[:, [middle]] * m + counted
    for row, column, corner in ((0, 0, 0), (0, -1, 1), (-1, -1, 2), (-1, 0, 3)):
        key[:, row, column] = cells[:, corner]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    point = inverse.reshape(key.shape)
    corners = [point[:, :-1, :-1], point[:, :-1, 1:], point[:, 1:, 1:], point[:, 1:, :-1]]
    return first, np.stack(corners, axis=-1).reshape(-1, 4)


def _rim(section: SolvedSection, cells: Bools) -> tuple[Ints, Ints]:
    """Return the outline of some cells as sides (s, 3) of start, middle and end node, and the nodes at its corners."""
    sides = section.cells[cells][:, SIDES].reshape(-1, 3)
    _, first, count = np.unique(sides[:, 1], return_index=True, return_counts=True)
    sides = sides[first[count == 1]]
    # Away from corners the two unit vectors to a node's neighbours cancel.
    along = section.points[sides[:, 2]] - section.points[sides[:, 0]]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    turn = np.zeros_like(section.points)
    np.add.at(turn, sides[:, 0], along)
    np.add.at(turn, sides[:, 2], -along)
    return sides, np.flatnonzero(np.linalg.norm(turn, axis=1) > CORNER)
