"""The mesh of a section, as a matplotlib figure: whole, and at one end of the overlap."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.joint.flaws import flaw_edges
from fejoint.mechanics.outcome import Outcome
from fejoint.mechanics.taper import middle_of_layer
from fejoint.show.colours import FAINT, OUTLINE, REGION_COLOURS
from fejoint.show.pen import drawing_style, heading, settled
from fejoint.show.shape import end_window, round_factor
from fejoint.show.space.solid import read_section
from fejoint.units import shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fejoint.mechanics.driver import Result
    from fejoint.show.reading import Run
    from fejoint.show.space.solid import SolvedSection

__all__ = ["mesh_figure"]

Floats = NDArray[np.float64]


def mesh_figure(result: Result | Run, end: str = "left", units: str = "mm") -> Figure:
    """Return the mesh of the section: whole, at one end of the overlap, and round an end of a flaw (axes whole, end, flaw).

    Parameters
    ----------
    result : Result or Run
    end : str
        ``"left"`` or ``"right"``: which overlap end is magnified.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    JointError
        Another `end`, or something that is not solved.
    """
    if not isinstance(result, Outcome):
        raise JointError(f"mesh_figure: a {type(result).__name__} has no mesh; solve it first, or read a run with read_run.")
    if end not in ("left", "right"):
        raise JointError(f'end = "{end}": must be one of left, right.')
    with drawing_style():
        from matplotlib.figure import Figure

        mm, unit = shown_unit("mm", units)
        section = read_section(result)
        edges = flaw_edges(result.joint) if not result.joint.analysis.cohesive else {}
        figure = Figure(figsize=(10, 12.4 if edges else 7.6), layout="constrained")
        whole, near, *opened = figure.subplots(
            2 + bool(edges), 1, gridspec_kw={"height_ratios": [1.0, 2.3, 2.3][: 2 + bool(edges)]}
        )
        title = heading(result.joint, f"mesh, {len(section.cells)} nine-node cells, {result.unknowns} unknowns")
        figure.suptitle(title, x=0.01, ha="left")
        _whole_mesh(whole, section, mm)
        _mesh_at_end(near, section, end, mm)
        if edges:
            _mesh_at_flaw(opened[0], section, min(edges, key=lambda x: (not edges[x], x)), mm)
        for axes, label in zip(figure.axes, ("whole", "end", "flaw"), strict=False):
            axes.set_label(label)
            axes.grid(visible=False)
            axes.set_xlabel(f"x, {unit}")
            axes.set_ylabel(f"y, {unit}")
        _name_regions(figure, near)
        return settled(figure)


def _whole_mesh(axes: Axes, section: SolvedSection, mm: float) -> None:
    low, high = section.points.min(axis=0) * mm, section.points.max(axis=0) * mm
    stretch = round_factor(0.16 * (high[0] - low[0]) / (high[1] - low[1]))
    margin = 0.01 * (high[0] - low[0])
    _draw_mesh(axes, section, mm, 0.25)
    axes.set_xlim(low[0] - margin, high[0] + margin)
    axes.set_ylim(low[1] - margin / stretch, high[1] + margin / stretch)
    axes.set_aspect(stretch)
    axes.set_title("whole section" + (f", thickness drawn {stretch:g} times as large" if stretch > 1 else ""), color=FAINT)


def _mesh_at_end(axes: Axes, section: SolvedSection, end: str, mm: float) -> None:
    (x0, x1), (y0, y1) = end_window(section.joint.geometry, end, 0.42)
    _draw_mesh(axes, section, mm, 0.7)
    axes.set_xlim(x0 * mm, x1 * mm)
    axes.set_ylim(y0 * mm, y1 * mm)
    axes.set_aspect(1.0)
    axes.set_title(f"{end} end of the overlap, to scale", color=FAINT)


def _mesh_at_flaw(axes: Axes, section: SolvedSection, x: float, mm: float) -> None:
    """Draw the mesh round a place where a flaw ends, displaced so much that an opening is seen."""
    g, ta = section.joint.geometry, section.joint.geometry.bondline_thickness
    flaw = next(f for f in section.joint.merged_flaws().flaws if min(abs(f.start - x), abs(f.end - x)) < 1e-6 * ta)
    bond = next(bond for bond in g.bonds() if bond.number == flaw.bondline)
    y = float(middle_of_layer(g, bond, np.array(x)))
    half = 2.5 * ta
    near = (np.abs(section.points - [x, y]) < [half, 0.42 * half]).all(axis=1)
    # What the stretch does as a rigid body says nothing of the flaw.
    (px, py), moved = (section.points[near] - [x, y]).T, section.displacement[near]
    one, none = np.ones_like(px), np.zeros_like(px)
    rigid = np.vstack([np.column_stack([one, none, -py]), np.column_stack([none, one, px])])
    (a, b, turn), *_ = np.linalg.lstsq(rigid, moved.T.ravel(), rcond=None)
    bent = section.displacement - [a, b] - turn * (section.points - [x, y])[:, ::-1] * [-1.0, 1.0]
    largest = float(np.abs(bent[near]).max())
    scale = round_factor(0.25 * ta / largest) if largest > 0 else 1.0
    _draw_mesh(axes, section, mm, 0.7, scale * bent)
    axes.set_xlim((x - half) * mm, (x + half) * mm)
    axes.set_ylim((y - 0.42 * half) * mm, (y + 0.42 * half) * mm)
    axes.set_aspect(1.0)
    axes.set_title(f"at an end of the {flaw} of bondline {flaw.bondline}, displaced {scale:g} times as far", color=FAINT)


def _name_regions(figure: Figure, axes: Axes) -> None:
    """Name the regions by their colours, those of one colour together."""
    handles: list[Any] = []
    names: dict[str | None, str] = {}
    for handle, name in zip(*axes.get_legend_handles_labels(), strict=True):
        colour = REGION_COLOURS.get(name)
        if colour not in names:
            handles.append(handle)
        names[colour] = f"{names[colour]}, {name}" if colour in names else name
    figure.legend(handles, names.values(), loc="outside lower center", ncols=len(handles))


def _draw_mesh(axes: Axes, section: SolvedSection, mm: float, line: float, moved: Floats | float = 0.0) -> None:
    from matplotlib.collections import PolyCollection

    corners_cvx = (section.points + moved)[section.cells[:, :4]] * mm
    for region in section.regions:
        look: dict[str, Any] = {"facecolor": REGION_COLOURS.get(region, "#e8e8e8"), "edgecolor": OUTLINE, "linewidth": line}
        # Thousands of cells as a picture, also in svg and pdf: as outlines they would take megabytes.
        axes.add_collection(
            PolyCollection(list(corners_cvx[section.cells_of(region)]), label=region, rasterized=True, **look), autolim=False
        )
