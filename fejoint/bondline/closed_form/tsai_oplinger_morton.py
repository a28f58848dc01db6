"""The shear lag of Tsai, Oplinger and Morton: Volkersen's with adherends that shear.

M. Y. Tsai, D. W. Oplinger & J. Morton, Improved theoretical solutions for
adhesive lap joints, Int. J. Solids Struct. 35, 1998, 1163-1185 (cited from
memory; what follows was derived again and is tested against its differential
equation). Shear stress that falls linearly through an adherend, from the
layer's to nothing at its free face or at the mid-plane of an inner one, lets
the adherend's mean displacement lag behind its face by tau t/(3 G). The layer is
then as soft as t_a/G_a + t1/(3 G1) + t2/(3 G2), half an inner counting with
half its thickness, and Volkersen's equation holds otherwise, with unlike
adherends and with temperature.

Shear lag only: adherends stretch and shear, the adhesive only shears; no
bending (their single-lap solution with bending is not part of this module), no
peel, no stress-free adhesive end, square ends. Use it for double laps and
for adherends soft in shear, such as plies. The shear is linear while the stress
varies slowly over a thickness: against like bars that shear as they must, held
sideways, w is 1.25 % too large at w t root(E/G) = 1, and less below. For the bending of a single lap use `goland_reissner` or
`ojalvo_eidinoff`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form import volkersen
from fejoint.bondline.closed_form.grid import axial_modulus, force_alone, free_strains, places, shear_lag_pair
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.joint.description import Joint

__all__ = ["curves", "layer_stiffness", "shear_stress"]

Floats = NDArray[np.float64]


def layer_stiffness(g_layer: float, thickness: tuple[float, float], shear_moduli: tuple[float, float]) -> float:
    """Return the layer's shear stress over the slip between the adherends' mean displacements, MPa/mm.

    Parameters
    ----------
    g_layer : float, MPa/mm
        The adhesive's G over its thickness.
    thickness : (float, float), mm
        Of both adherends; half of an inner one.
    shear_moduli : (float, float), MPa
        Of both adherends; infinite for one that does not shear.
    """
    return 1 / (1 / g_layer + sum(t / (3 * g) for t, g in zip(thickness, shear_moduli, strict=True)))


def shear_stress(
    x: Floats,
    line_load: float,
    length: float,
    stretch: tuple[float, float],
    thickness: tuple[float, float],
    shear_moduli: tuple[float, float],
    g_layer: float,
    mismatch: float = 0.0,
) -> Floats:
    """Return the shear stress, MPa: tau'' = w^2 tau with w^2 = `layer_stiffness` (1/S1 + 1/S2).

    Parameters
    ----------
    x : array, mm
        From the middle of the overlap.
    line_load : float, N/mm
        P: pulls adherend 1 at x = -length/2 and adherend 2 at x = +length/2.
    length : float, mm
        Overlap l.
    stretch : (float, float), N/mm
        S = E t of adherends 1 and 2.
    thickness, shear_moduli, g_layer
        As for `layer_stiffness`.
    mismatch : float
        Free thermal strain of adherend 2 less that of adherend 1.
    """
    k = layer_stiffness(g_layer, thickness, shear_moduli)
    return volkersen.shear_stress(x, line_load, length, stretch, k, 1.0, mismatch)


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return the bondlines of a single or double lap by shear lag with adherend shear; peel is not part of it (NaN).

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
    theory = "the shear lag of Tsai, Oplinger and Morton"
    pair = shear_lag_pair(joint, theory)
    force_alone(joint, theory)
    left, right = (joint.geometry.adherends()[name].material for name in pair.names)
    free, x = free_strains(joint), places(pair.length)
    shear = shear_stress(
        x - pair.length / 2,
        joint.line_load * pair.share,
        pair.length,
        (axial_modulus(left) * pair.thickness[0], axial_modulus(right) * pair.thickness[1]),
        pair.thickness,
        (left.engineering_constants()["g_xy"], right.engineering_constants()["g_xy"]),
        joint.adhesive.engineering_constants()["g_xy"] / joint.geometry.bondline_thickness,
        free[pair.names[1]] - free[pair.names[0]],
    )
    curve, measure = Curve.of_theory(x, shear), "Tsai, Oplinger and Morton 1998, shear lag"
    return [Bondline(number=bond.number, middle=curve, measure=measure) for bond in joint.geometry.bonds()]
