"""Ojalvo and Eidinoff's single lap: Goland and Reissner's shear with the thickness of the layer in the lever arms.

I. U. Ojalvo & H. L. Eidinoff, Bond thickness effects upon stresses in
single-lap adhesive joints, AIAA J. 16(3), 1978, 204-211 (cited from memory;
the shear was derived again and is tested against its differential equation).

Identical adherends that stretch and bend as thin plates; the adherends' forces
act (t + t_a)/2 from the layer's middle, not t/2, so that a thicker layer bends
the adherends more. Mean shear through the layer only: that the shear varies
through its thickness is part of the paper but not of this module, nor is
peel (NaN), of which this project has no equation that it can stand for;
`goland_reissner` gives peel. No adherend shear, no temperature, no stress-free
adhesive end, square ends. As t_a/t goes to 0 it becomes `goland_reissner`.

The edge moment is k P (t + t_a)/2 with Goland and Reissner's k, or that of
given edge loads, alike at both ends. For unlike adherends use `volkersen`
(shear only), for unlike ends `two_beams`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.balanced import even_shear
from fejoint.bondline.closed_form.goland_reissner import own_edge
from fejoint.bondline.closed_form.grid import axial_modulus, balanced_lap, no_temperature, places, worse_edge
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.joint.description import Joint

__all__ = ["curves", "shear_stress"]

Floats = NDArray[np.float64]


def shear_stress(
    x: Floats,
    line_load: float,
    moment: float,
    modulus: float,
    thickness: float,
    half_overlap: float,
    shear_modulus: float,
    bondline_thickness: float,
) -> Floats:
    """Return the shear stress, MPa, at x (mm from the middle).

    Solves tau''' = (G/t_a) (2/(E t) + 2 h^2/D) tau', h = (t + t_a)/2 and
    D = E t^3/12, with the end slopes +-(G/t_a) (P/(E t) + h M/D) and the
    integral P.

    Parameters
    ----------
    x : array, mm
    line_load, moment : float, N/mm and N
        P and the edge moment M.
    modulus : float, MPa
        E / (1 - nu^2) of the adherends.
    thickness, half_overlap : float, mm
        t, c.
    shear_modulus, bondline_thickness : float, MPa and mm
        Of the adhesive: G, t_a.
    """
    k, arm = shear_modulus / bondline_thickness, (thickness + bondline_thickness) / 2
    stretch, bend = modulus * thickness, modulus * thickness**3 / 12
    wave = math.sqrt(2 * k * (1 / stretch + arm**2 / bend))
    return even_shear(x, line_load, half_overlap, wave, k * (line_load / stretch + arm * moment / bend))


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return the one bondline of a balanced single lap by Ojalvo and Eidinoff; peel is not given (NaN).

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Edge loads of ``lower`` and ``upper`` to use in place of Goland and
        Reissner's: the ones with the larger moment count at both ends.

    Raises
    ------
    TheoryError
        Not a single lap, unlike adherends, a change of temperature, or (with
        the theory's own edge moment) not in tension, a moment or shear force
        besides, or pinned arms of unlike length; given edge loads whose moments
        differ by more than 5 %.
    """
    theory = "the theory of Ojalvo and Eidinoff"
    geometry = balanced_lap(joint, theory)
    no_temperature(joint, theory)
    t, ta, c = geometry.lower.thickness, geometry.bondline_thickness, geometry.overlap_length / 2
    load, modulus, edge = joint.line_load, axial_modulus(geometry.lower.material), worse_edge(edges, theory)
    if edge is None:
        edge = own_edge(joint, t + ta)
        measure = "Ojalvo and Eidinoff 1978"
    else:
        measure = "Ojalvo and Eidinoff 1978 with given edge loads"
    x, g = places(geometry.overlap_length), joint.adhesive.engineering_constants()["g_xy"]
    curve = Curve.of_theory(x, shear_stress(x - c, load, edge.moment, modulus, t, c, g, ta))
    loads = EdgeLoads(load, edge.shear, -edge.moment), EdgeLoads(load, edge.shear, edge.moment)
    return [Bondline(number=1, middle=curve, left=loads[0], right=loads[1], measure=measure)]
