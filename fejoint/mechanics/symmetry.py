"""From the solved upper half of a section to the whole: its mirror image about y = 0 joined to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from skfem import MeshQuad

from fejoint.mechanics.discretisation import Discretisation, discretise, of_mesh
from fejoint.mechanics.ends import EndForces
from fejoint.mechanics.linear import Solution
from fejoint.mechanics.section import Section, facets_between

__all__ = ["unfolded"]

# A mirrored cell has its corners the other way round, so that they stay counter-clockwise; with them go its
# edge mid-points (between corners 0 1, 1 2, 2 3, 3 0) and its centre.
MIRRORED_NODES = [3, 2, 1, 0, 6, 5, 4, 7, 8]
LEVELS = {"middle": "middle", "lower": "upper", "upper": "lower"}


def unfolded(solution: Solution) -> Solution:
    """Return the solution on the whole section from that of its upper half; any other one unchanged."""
    if not solution.section.half:
        return solution
    half, geometry = solution.discretisation, solution.joint.geometry
    d = _unfolded(half)
    displacement = np.empty_like(d.points)
    cells = len(half.nodes_ac)
    displacement[d.nodes_ac[:cells]] = solution.displacement[half.nodes_ac]
    displacement[d.nodes_ac[cells:]] = solution.displacement[half.nodes_ac[:, MIRRORED_NODES]] * [1.0, -1.0]
    # What acts on an adherend that the line of symmetry cuts is doubled, its couple and sideways force cancel.
    ends = {}
    for name in geometry.adherends():
        own = solution.ends.get(name)
        if own is None:
            twin = solution.ends[_twin(name)]
            ends[name] = EndForces(twin.axial, -twin.lateral, -twin.moment, twin.x, -twin.y)
        elif _twin(name) == name:
            ends[name] = EndForces(2 * own.axial, 0.0, 0.0, own.x, 0.0)
        else:
            ends[name] = own
    return replace(
        solution,
        discretisation=d,
        laws={n: solution.laws[n if n in solution.laws else _twin(n)] for n in geometry.region_areas()},
        displacement=displacement,
        ends=ends,
    )


@of_mesh
def _unfolded(half: Discretisation) -> Discretisation:
    return discretise(_whole(half.section))


def _twin(name: str) -> str:
    """Return the name of the region in whose place a region's mirror image lies."""
    return name.replace("upper", "#").replace("lower", "upper").replace("#", "lower")


def _whole(section: Section) -> Section:
    """Return the whole section: the half and its mirror image, joined along the line of symmetry."""
    mesh = section.mesh
    n, cells = mesh.p.shape[1], mesh.t.shape[1]
    shared = np.zeros(n, dtype=bool)
    shared[mesh.facets[:, section.facets("symmetry")]] = True
    image = np.where(shared, np.arange(n), n + np.cumsum(~shared) - 1)
    points = np.hstack([mesh.p, mesh.p[:, ~shared] * [[1.0], [-1.0]]])
    points[1, np.flatnonzero(shared)] = 0.0
    whole = MeshQuad(points, np.hstack([mesh.t, image[mesh.t[::-1]]]))

    regions: dict[str, list[NDArray[np.int64]]] = {}
    for name, members in mesh.subdomains.items():
        regions.setdefault(name, []).append(members)
        regions.setdefault(_twin(name), []).append(members + cells)

    curves: dict[str, list[NDArray[np.int64]]] = {}
    for name in mesh.boundaries:
        if name == "symmetry":
            continue
        ends = mesh.facets[:, section.facets(name)]
        for curve, pairs in ((name, ends), (_image_of_curve(name), image[ends])):
            curves.setdefault(curve, []).append(facets_between(whole, pairs))
    mesh = whole.with_subdomains({k: np.concatenate(v) for k, v in regions.items()})
    mesh = mesh.with_boundaries({k: np.concatenate(v) for k, v in curves.items()})
    return Section(mesh, section.density)


def _image_of_curve(name: str) -> str:
    """Return the name of a curve's mirror image: bondline 2 and cut 2 become 1, the interfaces change places."""
    words = name.replace("2", "1").split()
    return " ".join([*words[:-1], LEVELS.get(words[-1], words[-1])])
