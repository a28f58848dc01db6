"""Where closed forms are evaluated, and what they take from a joint."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import SingleLap
from fejoint.joint.materials import AdherendMaterial, Adhesive

__all__ = ["axial_modulus", "free_strains", "places", "single_lap"]


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
