"""Where closed forms are evaluated, and what they take from a joint."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import DoubleLap, SingleLap
from fejoint.joint.materials import AdherendMaterial, Adhesive

__all__ = [
    "Pair",
    "axial_modulus",
    "balanced_lap",
    "force_alone",
    "free_strains",
    "larger_moment",
    "no_temperature",
    "places",
    "shear_lag_pair",
    "single_lap",
    "worse_edge",
]


# Share of the larger edge moment by which the other may differ and still count as like it.
ALIKE = 0.05


def places(length: float, pieces: int = 400) -> NDArray[np.float64]:
    """Return places from 0 to `length` (mm), dense at both ends, with the middles of all pieces."""
    ends = length * (1 - np.cos(np.linspace(0, np.pi, pieces + 1))) / 2
    x = np.empty(2 * pieces + 1)
    x[::2], x[1::2] = ends, (ends[1:] + ends[:-1]) / 2
    return x


def axial_modulus(material: AdherendMaterial | Adhesive) -> float:
    """Return stress over strain along x with no width strain and free thickness, MPa.

    E / (1 - nu^2) when isotropic. In generalised plane strain the true value
    lies between this and E; theories here are held to plane strain.
    """
    c = material.engineering_constants()
    return c["e_x"] / (1 - c["nu_xz"] ** 2 * c["e_z"] / c["e_x"])


def free_strains(joint: Joint) -> dict[str, float]:
    """Return the strain along x that every adherend takes up by temperature alone, the width held alike.

    (1 + nu) alpha times the change where the width does not strain, less nu
    times the width strain where it does: what goes with `axial_modulus`. The
    width strain of generalised plane strain is that of the regions' widths
    balancing each other, each with its E_z and area.
    """
    change = joint.load.temperature_change
    width = 0.0
    if joint.out_of_plane == "generalised":
        areas = joint.geometry.region_areas()
        constants = {name: material.engineering_constants() for name, material in joint.materials().items()}
        stiffness = {name: c["e_z"] * areas[name] for name, c in constants.items()}
        width = change * sum(stiffness[n] * c["a_z"] for n, c in constants.items()) / sum(stiffness.values())

    def strain(material: AdherendMaterial) -> float:
        c = material.engineering_constants()
        return c["a_x"] * change + c["nu_xz"] * c["e_z"] / c["e_x"] * (c["a_z"] * change - width)

    return {name: strain(part.material) for name, part in joint.geometry.adherends().items()}


def single_lap(joint: Joint, theory: str) -> SingleLap:
    """Return the geometry of a single lap; TheoryError for any other family."""
    if not isinstance(joint.geometry, SingleLap):
        raise TheoryError(f"{theory} is for single-lap joints; this is a {joint.geometry.kind} joint.")
    return joint.geometry


def balanced_lap(joint: Joint, theory: str) -> SingleLap:
    """Return the geometry of a single lap of identical adherends; TheoryError for any other joint."""
    geometry = single_lap(joint, theory)
    constants = [part.material.engineering_constants() for part in (geometry.lower, geometry.upper)]
    if constants[0] != constants[1] or geometry.lower.thickness != geometry.upper.thickness:
        raise TheoryError(f"{theory} is for identical adherends; use Volkersen for the shear of unlike ones.")
    return geometry


def force_alone(joint: Joint, theory: str) -> None:
    """Refuse a joint under more than a force along it."""
    if not joint.load.force_alone:
        raise TheoryError(f"{theory} is for a force along the joint alone, without moment or shear_force.")


def no_temperature(joint: Joint, theory: str) -> None:
    """Refuse a change of temperature."""
    if joint.load.temperature_change != 0:
        raise TheoryError(f"{theory} has no temperature in it; temperature_change must be 0.")


def larger_moment(left: EdgeLoads, right: EdgeLoads) -> EdgeLoads:
    """Return the edge loads with the larger moment; the left ones when they are equal but for round-off."""
    return right if abs(right.moment) > abs(left.moment) * (1 + 1e-6) else left


def worse_edge(edges: Mapping[str, EdgeLoads] | None, theory: str) -> EdgeLoads | None:
    """Return the edge loads of the end of a single lap with the larger moment; None where none are given.

    As of the right end, where a positive moment opens the bondline: half a
    turn, which leaves the geometry as it is, takes the left end there and
    turns the sign of the moment alone.

    Raises
    ------
    TheoryError
        The moments of both ends differ by more than `ALIKE`: the theories that
        ask for one edge put it on both ends.
    """
    if edges is None:
        return None
    left, right = edges["lower"], edges["upper"]
    turned = EdgeLoads(left.axial, left.shear, -left.moment)
    worse = larger_moment(turned, right)
    if abs(turned.moment - right.moment) > ALIKE * abs(worse.moment):
        raise TheoryError(
            f"{theory} takes both ends of the overlap loaded alike; here the edge moments that open it are "
            f"{turned.moment:.4g} N at the left and {right.moment:.4g} N at the right; use two beams and a layer."
        )
    return worse


class Pair(NamedTuple):
    """What a bondline joins in a shear lag: the adherend loaded at its left end and the one at its right.

    Attributes
    ----------
    names : (str, str)
        Their regions.
    thickness : (float, float), mm
        How much of each goes with this bondline.
    share : float
        Part of the joint's load that this bondline passes on.
    length : float, mm
    """

    names: tuple[str, str]
    thickness: tuple[float, float]
    share: float
    length: float


def shear_lag_pair(joint: Joint, theory: str) -> Pair:
    """Return what every bondline of a single or double lap joins; TheoryError for other families and unlike outers.

    In a double lap with like outers that is half the inner, under half the
    load, and one outer.
    """
    g = joint.geometry
    if isinstance(g, SingleLap):
        return Pair(("lower", "upper"), (g.lower.thickness, g.upper.thickness), 1.0, g.overlap_length)
    if not isinstance(g, DoubleLap):
        raise TheoryError(f"{theory} is for single-lap and double-lap joints; this is a {g.kind} joint.")
    if not g.has_like_halves:
        raise TheoryError(f"{theory} takes like outers in a double lap; with unlike ones the shares of the load are not known.")
    return Pair(("inner", "upper_outer"), (g.inner.thickness / 2, g.outers[1].thickness), 0.5, g.overlap_length)
