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

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.grid import axial_modulus, force_alone, free_strains, places, shear_lag_pair
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.joint.description import Joint

__all__ = ["curves", "shear_stress"]

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


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return the bondlines of a single or double lap by Volkersen's theory; peel is not part of it (NaN).

    A double lap has like outers: each bondline joins half the inner to one
    outer, under half the load.

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Not used: the theory has no edge moment.

    Raises
    ------
    TheoryError
        Another family, unlike outers, a moment or a shear force.
    """
    theory = "Volkersen's theory"
    pair = shear_lag_pair(joint, theory)
    force_alone(joint, theory)
    (left, right), parts, free = pair.names, joint.geometry.adherends(), free_strains(joint)
    x = places(pair.length)
    shear = shear_stress(
        x - pair.length / 2,
        joint.line_load * pair.share,
        pair.length,
        (axial_modulus(parts[left].material) * pair.thickness[0], axial_modulus(parts[right].material) * pair.thickness[1]),
        joint.adhesive.engineering_constants()["g_xy"],
        joint.geometry.bondline_thickness,
        free[right] - free[left],
    )
    curve = Curve.of_theory(x, shear)
    return [Bondline(number=bond.number, middle=curve, measure="Volkersen 1938") for bond in joint.geometry.bonds()]
