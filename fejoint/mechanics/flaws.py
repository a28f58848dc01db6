"""A joint's flaws in its meshed section: voids taken out, disbonds and unwetted patches parted.

The mesh has lines where flaws end (`geometries/flaws.geo`). A void's cells are
taken out: what is left is the mesh of a joint whose layer ends there, and all
that follows knows one kind of section only. The faces of a disbond, or of an
unwetted patch, are parted along sides of cells.

The curves of a bondline then lack what is void or parted at their level. A cut,
through which load is counted, keeps clear of the tips of disbonds, where the
stress is singular: in the middle of the layer it goes round beneath them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.description import Joint
from fejoint.joint.flaws import reach, tips
from fejoint.joint.geometry import Bond
from fejoint.mechanics.meshed import Section
from fejoint.mechanics.opened import opened, sides_along, without

__all__ = ["UPWARDS", "flawed"]

Ints = NDArray[np.int64]

# Of a cut: those of its sides along which it runs upwards, and not, as upright sides do otherwise, down (`Discretisation.line`).
UPWARDS = "{} upwards"
# Of half the layer's thickness: how wide a berth a cut gives to a tip.
BERTH = 0.5


def flawed(section: Section, joint: Joint) -> Section:
    """Return the meshed section of a sound joint with the joint's flaws in it."""
    geometry = joint.geometry
    bonds = {bond.number: bond for bond in geometry.bonds()}
    flaws = joint.merged_flaws().flaws
    facets, below = [np.empty(0, dtype=np.int64)], [np.empty(0, dtype=np.int64)]
    gone = [np.empty(0, dtype=np.int64)]
    for flaw in flaws:
        bond = bonds[flaw.bondline]
        low, high = reach(flaw, bond)
        if flaw.kind == "void":
            gone.append(_layer_cells(section, joint, bond, low, high))
            continue
        sides = sides_along(section, geometry.bonds(), bond, flaw.level, low, high)
        facets.append(sides)
        below.append(_cells_below(section, sides, {"lower": bond.below, "upper": "adhesive"}.get(flaw.level)))
    parted, lower, void = (np.concatenate(part) for part in (facets, below, gone))
    section = _with_curves(section, joint, parted, void)
    if len(parted):
        section = opened(section, parted, lower)
    return without(section, void) if len(void) else section


# ---- parts ---------------------------------------------------------------


def _layer_cells(section: Section, joint: Joint, bond: Bond, low: float, high: float) -> Ints:
    """Return the adhesive's cells of a bond between two places along x, its fillets among them."""
    cells, geometry = section.cells("adhesive"), joint.geometry
    x, y = section.mesh.p[:, section.mesh.t[:, cells]].mean(axis=1)
    # A fillet climbs on from the layer; of a stepped lap only the layer along the tread is meant.
    near = geometry.bondline_thickness / 2 + (geometry.fillet_height if np.isinf([low, high]).any() else 0.0)
    return np.asarray(cells[(x > low) & (x < high) & (np.abs(y - bond.y) < near)])


def _cells_below(section: Section, facets: Ints, region: str | None) -> Ints:
    """Return the cell at each facet that counts as below it: that of a region, or the lower one."""
    sides = section.mesh.f2t[:, facets]
    if region is None:
        height = section.mesh.p[1, section.mesh.t].mean(axis=0)
        second = height[sides[1]] < height[sides[0]]
    else:
        second = np.isin(sides[1], section.cells(region))
    return np.asarray(np.where(second, sides[1], sides[0]))


def _with_curves(section: Section, joint: Joint, parted: Ints, void: Ints) -> Section:
    """Return a section whose bondlines' curves and cuts lack what is void or parted, cuts led round the tips in the middle."""
    mesh, geometry = section.mesh, joint.geometry
    holds = np.zeros(mesh.t.shape[1], dtype=bool)
    holds[section.cells("adhesive")] = True
    holds[void] = False
    of_layer = holds[mesh.f2t].any(axis=0)
    of_layer[parted] = False
    names = [name for name in mesh.boundaries if name.startswith(("bondline ", "cut ", "riser "))]
    curves = {name: section.facets(name)[of_layer[section.facets(name)]] for name in names}
    for bond in geometry.bonds():
        cut = f"cut {bond.number}" if f"cut {bond.number}" in curves else "cut 1"
        in_middle = tips(joint, bond, "middle")
        if in_middle:
            boxes = _berths(section, holds, bond, in_middle, BERTH * geometry.bondline_thickness / 2)
            curves |= _led_round(section, holds, curves, cut, boxes)
    return Section(mesh.with_boundaries({**mesh.boundaries, **curves}), section.density)


def _berths(section: Section, holds: NDArray[np.bool_], bond: Bond, places: tuple[float, ...], berth: float) -> NDArray[np.bool_]:
    """Return which cells lie in the lower halves of boxes round tips in the middle of the layer."""
    x, y = section.mesh.p[:, section.mesh.t].mean(axis=1)
    near = np.min([np.abs(x - place) for place in places], axis=0) < berth
    return np.asarray(holds & near & (y < bond.y) & (y > bond.y - berth))


def _led_round(
    section: Section, holds: NDArray[np.bool_], curves: dict[str, Ints], cut: str, boxes: NDArray[np.bool_]
) -> dict[str, Ints]:
    """Return a cut that has the cells of boxes above it instead of below, and where it then runs upwards."""
    mesh, way, up = section.mesh, curves[cut], curves.get(UPWARDS.format(cut), np.empty(0, dtype=np.int64))
    x, y = mesh.p[:, mesh.t].mean(axis=1)
    between = np.flatnonzero(mesh.f2t[1] >= 0)
    first, second = mesh.f2t[:, between]
    touched = between[boxes[first] | boxes[second]]
    rim = (boxes[first] != boxes[second]) & holds[first] & holds[second]
    inside, outside = (np.where(boxes[first] == within, first, second)[rim] for within in (True, False))
    rim, top = between[rim], y[boxes].max()
    low = y[outside] <= top + 1e-9  # the middle is no part of it, above which the layer counts as above anyway
    rim, inside = rim[low], inside[low]
    ends = mesh.p[0, mesh.facets[:, rim]]
    rising = (np.abs(np.diff(ends, axis=0))[0] < 1e-9) & (x[inside] < ends.mean(axis=0))
    return {cut: np.union1d(np.setdiff1d(way, touched), rim), UPWARDS.format(cut): np.union1d(up, rim[rising])}
