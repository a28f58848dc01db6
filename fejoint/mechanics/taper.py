"""A tapering glue line: the meshed section of an even one, sheared so that its layer grows along the overlap.

What lies above the layer moves up or down by a function of x that is linear
within the overlap and constant outside, and the layer's nodes in proportion to
where they are between its faces. That is a shear, which keeps the adherends'
areas, and every cell where it was in the order of things. In a double lap both
outers move, as mirror images of each other; in a stepped lap the upper adherend
does as one.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.description import Joint
from fejoint.joint.families import DoubleLap, SteppedLap
from fejoint.joint.geometry import Bond, Geometry

if TYPE_CHECKING:  # pictures ask for heights alone, without finite elements
    from fejoint.mechanics.meshed import Section

__all__ = ["middle_of_layer", "shift", "tapered"]

Floats = NDArray[np.float64]


def tapered(section: Section, joint: Joint) -> Section:
    """Return the meshed section of a joint whose layer is even with the joint's taper; the same where it has none."""
    geometry, mesh = joint.geometry, section.mesh
    if geometry.bondline_taper == 0:
        return section
    x, y = mesh.p
    moved = type(mesh)(np.array([x, y + shift(geometry, x, y)]), mesh.t)
    return replace(section, mesh=moved.with_subdomains(mesh.subdomains).with_boundaries(mesh.boundaries))


def shift(geometry: Geometry, x: Floats, y: Floats) -> Floats:
    """Return how far up places of the section with an even layer move, mm, all of one shape."""
    thicker = geometry.bondline_taper * (np.clip(x / geometry.length, 0.0, 1.0) - 0.5)
    mirrored = isinstance(geometry, DoubleLap)
    above = _above_middle(geometry, x, np.abs(y) if mirrored else y)
    share = np.clip(0.5 + above / geometry.bondline_thickness, 0.0, 1.0)
    return np.asarray((np.sign(y) if mirrored else 1.0) * share * thicker)


def middle_of_layer(geometry: Geometry, bond: Bond, x: Floats) -> Floats:
    """Return how high the middle of a bond's layer, or its continuation into the spew, lies at places along x, mm."""
    thicker = geometry.bondline_taper * (np.clip(x / geometry.length, 0.0, 1.0) - 0.5)
    return np.asarray(bond.y + (-0.5 if isinstance(geometry, DoubleLap) and bond.y < 0 else 0.5) * thicker)


def _above_middle(geometry: Geometry, x: Floats, y: Floats) -> Floats:
    """Return how far above the middle of the layer places lie, mm; beside a stepped lap's risers, how far to the right."""
    bonds = geometry.bonds()
    if not isinstance(geometry, SteppedLap):
        return np.asarray(y - bonds[-1].y)
    # Above the stair lies what is right of a riser and above the tread that follows it, or right of the last riser.
    corners = [np.minimum(x - bond.start, y - bond.y) for bond in bonds]
    return np.asarray(np.max([*corners, x - geometry.length], axis=0))
