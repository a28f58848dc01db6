"""Volkersen's shear lag, with thermal mismatch.

O. Volkersen, Die Nietkraftverteilung in zugbeanspruchten Nietverbindungen mit
konstanten Laschenquerschnitten, Luftfahrtforschung 15, 1938, 41-47; thermal
term: W. T. Chen & C. W. Nelson, IBM J. Res. Dev. 23(2), 1979, 179-188 (both
cited from memory; the equations were derived again and are tested against
their differential equation).

Adherends only stretch, the adhesive only shears: no bending, no peel, no
adherend shear, no stress-free adhesive end. Use it for shear where bending is
small, for unlike adherends and thermal mismatch; for the bending of a single
lap use `goland_reissner`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.grid import axial_modulus, free_strains, places, single_lap
from fejoint.bondline.curves import Bondline, Curve
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import DoubleLap

__all__ = ["curves", "double_lap", "shear_stress"]

Floats = NDArray[np.float64]


def shear_stress(
    x: Floats,
    line_load: float,
    length: float,
    stretch: tuple[float, float],
    shear_modulus: float,
    thickness: float,
    mismatch: float = 0.0,
) -> Floats:
    """Return the shear stress, MPa.

    Parameters
    ----------
    x : array, mm
        From the middle of the overlap.
    line_load : float, N/mm
        P: pulls adherend 1 at x = -length/2 and adherend 2 at x = +length/2.
    length : float, mm
        Overlap l.
    stretch : (float, float), N/mm
        E t of adherends 1 and 2.
    shear_modulus, thickness : float, MPa and mm
        Of the adhesive: G, t_a.
    mismatch : float
        Free thermal strain of adherend 2 less that of adherend 1.
    """
    s1, s2 = stretch
    k = shear_modulus / thickness
    w = np.sqrt(k * (1 / s1 + 1 / s2))
    half = w * length / 2
    even = line_load * w / 2
    odd = line_load * w / 2 * (s1 - s2) / (s1 + s2) + k * mismatch / w
    # cosh(wx)/sinh(wl/2) and sinh(wx)/cosh(wl/2), both divided by exp(wl/2): long overlaps do not overflow.
    rise, fall = np.exp(w * x - half), np.exp(-w * x - half)
    return np.asarray(even * (rise + fall) / -np.expm1(-2 * half) + odd * (rise - fall) / (1 + np.exp(-2 * half)))


def curves(joint: Joint) -> Bondline:
    """Return the bondline of a single-lap joint by Volkersen's theory; peel is not part of it (NaN).

    Raises
    ------
    TheoryError
        Not a single lap.
    """
    geometry = single_lap(joint, "Volkersen's theory")
    lower, upper = geometry.lower, geometry.upper
    x = places(geometry.overlap_length)
    free = free_strains(joint)
    shear = shear_stress(
        x - geometry.overlap_length / 2,
        joint.line_load,
        geometry.overlap_length,
        (axial_modulus(lower.material) * lower.thickness, axial_modulus(upper.material) * upper.thickness),
        joint.adhesive.engineering_constants()["g_xy"],
        geometry.bondline_thickness,
        free["upper"] - free["lower"],
    )
    nothing = np.full_like(x, np.nan)
    return Bondline(number=1, middle=Curve(x, shear, nothing, nothing), measure="Volkersen 1938")


def double_lap(joint: Joint) -> list[Bondline]:
    """Return both bondlines of a double lap with like outers: half the inner and one outer, under half the load, each.

    Raises
    ------
    TheoryError
        Not a double lap, or unlike outers.
    """
    g = joint.geometry
    if not isinstance(g, DoubleLap):
        raise TheoryError(f"Volkersen's double lap is for double-lap joints; this is a {g.kind} joint.")
    if not g.has_like_halves:
        raise TheoryError("Volkersen's double lap is for like outers; with unlike ones the shares of the load are not known.")
    inner, outer = g.inner, g.outers[1]
    x, free = places(g.overlap_length), free_strains(joint)
    shear = shear_stress(
        x - g.overlap_length / 2,
        joint.line_load / 2,
        g.overlap_length,
        (axial_modulus(inner.material) * inner.thickness / 2, axial_modulus(outer.material) * outer.thickness),
        joint.adhesive.engineering_constants()["g_xy"],
        g.bondline_thickness,
        free["upper_outer"] - free["inner"],
    )
    nothing = np.full_like(x, np.nan)
    curve = Curve(x, shear, nothing, nothing)
    return [Bondline(number=bond.number, middle=curve, measure="Volkersen 1938") for bond in g.bonds()]
