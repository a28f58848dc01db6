"""Where closed forms are evaluated, and what they take from a joint."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import TheoryError
from fejoint.joint.families import Joint, SingleLap
from fejoint.joint.materials import AdherendMaterial, Adhesive

__all__ = ["axial_modulus", "places", "single_lap"]


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


def single_lap(joint: Joint, theory: str) -> SingleLap:
    """Return the geometry of a single lap; TheoryError for any other family."""
    if not isinstance(joint.geometry, SingleLap):
        raise TheoryError(f"{theory} is for single-lap joints; this is a {joint.geometry.kind} joint.")
    return joint.geometry
