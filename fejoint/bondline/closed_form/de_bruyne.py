"""De Bruyne's stress concentration of a balanced lap, and his joint factor.

N. A. de Bruyne, The strength of glued joints, Aircraft Engineering 16, 1944,
115-118 (cited from memory; the concentration was derived again from Volkersen's
equation and is tested against it). Volkersen's shear lag of identical adherends in a form
for design: peak over mean shear is n = root D coth root D with one number
D = G_a l^2 / (2 E t t_a); joints of one adhesive, one bondline thickness and one
adherend metal with the same joint factor root t / l have the same n.

Identical adherends that only stretch, an adhesive that only shears: no
bending, no peel, no adherend shear, no temperature, no stress-free adhesive
end, square ends. Right where bending is held back; for the bending of a single
lap use `goland_reissner`, for unlike adherends, double laps and temperature
`volkersen`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.bondline.closed_form.grid import axial_modulus, balanced_lap, force_alone, no_temperature, places
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.joint.description import Joint

__all__ = ["concentration", "curves", "joint_factor", "shear_stress"]

Floats = NDArray[np.float64]


def concentration(length: ArrayLike, stretch: ArrayLike, g_layer: ArrayLike) -> Floats:
    """Return peak over mean shear, n = root D coth root D with D = g_layer l^2 / (2 stretch).

    Parameters
    ----------
    length : float or array, mm
        Overlap l.
    stretch : float or array, N/mm
        E t of one adherend.
    g_layer : float or array, MPa/mm
        The adhesive's G over its thickness.
    """
    root = np.sqrt(np.asarray(g_layer) * np.asarray(length, dtype=float) ** 2 / (2 * np.asarray(stretch)))
    return np.asarray(root / np.tanh(root))


def joint_factor(thickness: ArrayLike, length: ArrayLike) -> Floats:
    """Return de Bruyne's joint factor root t / l, mm^-1/2, from adherend thickness and overlap, mm.

    It compares joints of one adhesive, one bondline thickness and one adherend metal alone.
    """
    return np.asarray(np.sqrt(thickness) / np.asarray(length, dtype=float))


def shear_stress(x: Floats, line_load: float, length: float, stretch: float, g_layer: float) -> Floats:
    """Return the shear stress, MPa, at x (mm from the middle); `line_load` N/mm, the rest as for `concentration`."""
    root = np.sqrt(g_layer * length**2 / (2 * stretch))
    z = 2 * root * np.asarray(x, dtype=float) / length
    # root cosh(z) / sinh(root), written so that long overlaps do not overflow.
    ratio = root * (np.exp(z - root) + np.exp(-z - root)) / -np.expm1(-2 * root)
    return np.asarray(line_load / length * ratio)


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return the one bondline of a balanced single lap by de Bruyne; peel is not part of it (NaN).

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Not used: the theory has no edge moment.

    Raises
    ------
    TheoryError
        Not a single lap, unlike adherends, a moment or shear force, a change
        of temperature.
    """
    theory = "de Bruyne's theory"
    geometry = balanced_lap(joint, theory)
    force_alone(joint, theory)
    no_temperature(joint, theory)
    length, x = geometry.overlap_length, places(geometry.overlap_length)
    stretch = axial_modulus(geometry.lower.material) * geometry.lower.thickness
    g_layer = joint.adhesive.engineering_constants()["g_xy"] / geometry.bondline_thickness
    curve = Curve.of_theory(x, shear_stress(x - length / 2, joint.line_load, length, stretch, g_layer))
    return [Bondline(number=1, middle=curve, measure="de Bruyne 1944")]
