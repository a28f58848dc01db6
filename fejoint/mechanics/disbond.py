"""A disbond in a meshed section: the mesh opened along it, and the nodes at its tip."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import MeshError
from fejoint.joint.description import Joint
from fejoint.joint.disbond import Disbond
from fejoint.mechanics.discretisation import Discretisation, of_mesh
from fejoint.mechanics.meshed import Section
from fejoint.mechanics.opened import FACES, opened, sides_along
from fejoint.mechanics.section import mesh_section

__all__ = ["FACES", "Tip", "disbonded", "opened", "opening", "tip_of", "tips_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Even cells come out of gmsh equal to 2e-5; a mesh that is graded at the tip differs by percents.
EVEN = 1e-3
# A tapering glue line's middle may lean by a twentieth.
STEEPEST = 0.06


@dataclass(frozen=True)
class Tip:
    """The nodes that virtual crack closure asks for: cells are as long behind the tip as ahead of it.

    Attributes
    ----------
    x, y : float, mm
    forward : int
        1 where the disbond grows along x, -1 where against it.
    length : float, mm
        Of the cells at the tip.
    ahead : (2,) array
        The tip, and the node in the middle of the side ahead of it.
    below, above : (2,) arrays
        The nodes as far behind the tip as the side is long, and half as far, on both faces.
    cells_above : (n,) array
        Cells above the disbond's line that have a node `ahead`.
    lean : float
        Angle from x to the line that it grows along, counter-clockwise: other than 0 in a tapering glue line.
    """

    x: float
    y: float
    forward: int
    length: float
    ahead: Ints
    below: Ints
    above: Ints
    cells_above: Ints
    lean: float = 0.0


def disbonded(joint: Joint, disbond: Disbond, density: float | None = None) -> Section:
    """Return the meshed whole section of a joint, opened along a disbond that fits (`fejoint.joint.disbond.checked`)."""
    section = mesh_section(joint, density, whole=True, disbond_tip=disbond.tip(joint)[0])
    bond = disbond.bond(joint)
    below = {"middle": None, "lower": bond.below, "upper": "adhesive"}[disbond.place]
    return opened(section, _sides(section, joint, disbond), None if below is None else section.cells(below))


@of_mesh
def tip_of(d: Discretisation) -> Tip:
    """Return the tip of an opened section's one disbond (`tips_of`); MeshError where there is not one tip."""
    tips = tips_of(d)
    if len(tips) != 1:
        raise MeshError(f"a disbond must end at one place inside the section, not at {len(tips)}.")
    return tips[0]


@of_mesh
def tips_of(d: Discretisation) -> tuple[Tip, ...]:
    """Return the tips of an opened section's disbonds, which must end along x, in order along x, upwards.

    Raises
    ------
    MeshError
        The cells at one are not even.
    """
    below, above = (d.line(name) for name in FACES)
    shared = np.intersect1d(below[:, [0, 2]], above[:, [0, 2]])
    tips = [_tip(d, int(node), below, above) for node in shared]
    return tuple(sorted(tips, key=lambda tip: (round(tip.x, 9), tip.y)))


def _tip(d: Discretisation, tip: int, below: Ints, above: Ints) -> Tip:
    mesh, points = d.section.mesh, d.points
    row = int(np.flatnonzero((below[:, [0, 2]] == tip).any(axis=1))[0])
    forward = 1 if below[row, 2] == tip else -1
    behind = [0, 1] if forward > 0 else [2, 1]
    back = points[tip] - points[below[row, behind[0]]]
    length = float(np.hypot(*back))
    sides = np.flatnonzero((mesh.facets == tip).any(axis=0))
    others = mesh.facets[:, sides].sum(axis=0) - tip
    off = np.hypot(*(points[others] - points[tip] - back).T)
    nearest = int(np.argmin(off))
    if off[nearest] > EVEN * length or abs(back[1]) > STEEPEST * length:
        raise MeshError("the cells at a disbond's tip must be even, and lie along x.")
    ahead = np.array([tip, d.facet_nodes[sides[nearest]]])
    touching = np.isin(d.nodes_ac, ahead).any(axis=1)
    higher = points[d.nodes_ac[:, 8], 1] > points[tip, 1]
    x, y = (float(v) for v in points[tip])
    higher_cells = np.flatnonzero(touching & higher)
    lean = float(np.arctan2(forward * back[1], forward * back[0]))
    return Tip(x, y, forward, length, ahead, below[row, behind], above[row, behind], higher_cells, lean)


def opening(d: Discretisation, displacement: Floats) -> tuple[Floats, Floats]:
    """Return how far apart the faces move across their plane, and where along x, both in mm and of shape (3 * facets,).

    Negative where they run into each other; in order along x.
    """
    below, above = (d.line(name) for name in FACES)
    tangent = d.points[below[:, 2]] - d.points[below[:, 0]]
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) / np.hypot(*tangent.T)[:, None]
    jump = displacement[above] - displacement[below]
    # Where the disbond runs upright, up a fillet's face, the normal has to be turned away from the cell that counts as below.
    sides, cell = d.section.facets(FACES[0]), np.empty(len(d.points), dtype=np.int64)
    cell[d.facet_nodes[sides]] = d.section.mesh.f2t[0, sides]
    middle = below[:, 1]
    away = np.sign(((d.points[middle] - d.points[d.nodes_ac[cell[middle], 8]]) * normal).sum(axis=1))
    apart = away[:, None] * (jump * normal[:, None]).sum(axis=2)
    return apart.ravel(), d.points[below, 0].ravel()


def _sides(section: Section, joint: Joint, disbond: Disbond) -> Ints:
    """Return the facets along a disbond: of the cut through the layer, or between the adhesive and an adherend."""
    tip, left = disbond.tip(joint)[0], disbond.end == "left"
    low, high = (-np.inf, tip) if left else (tip, np.inf)
    return sides_along(section, joint.geometry.bonds(), disbond.bond(joint), disbond.place, low, high)
