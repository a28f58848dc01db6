"""Hart-Smith's elastic single lap: an edge moment that keeps falling with the load, and the shear it drives.

L. J. Hart-Smith, Adhesive-bonded single-lap joints, NASA CR-112236, 1973
(title and abstract seen; the edge moment is cited from memory and was not
derived again, the shear was, and is tested against its differential equation).
The edge moment factor is k = 1/(1 + xi c + (xi c)^2/6), xi^2 = P/D, with the
moment k P (t + t_a)/2: the adherends of the overlap bend each by itself, where
Goland and Reissner's bend as one bar, so that k falls to nothing with the load
where theirs stays above 0.26.

Identical adherends that stretch and bend as thin plates, in tension; an
adhesive that shears and stretches across uniformly through its thickness; no
adherend shear, no temperature, no stress-free adhesive end, square ends.
The theory mixes moduli, and so does this module: E for the stretching,
E/(1 - nu^2) for the bending; beside finite elements in plane strain it is too
soft in stretching by that factor. Elastic part only.

Peel is derived for this project, as of two identical beams on a layer under
the edge moment alone (`goland_reissner.peel_stress`): the long overlap's end
stress is then sigma_av k (1 + t_a/t) root(3 (1 - nu^2) E_a t/(2 E t_a)), which
is Hart-Smith's (from memory). The sideways force at the edge is left out; it
adds to the peel (as `goland_reissner` shows), and counts where edge loads are given.

For unlike adherends use `volkersen` (shear only) or `two_beams`, for ends
loaded unlike `two_beams`; for the linear edge moment of held ends give the edge loads.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.balanced import even_shear
from fejoint.bondline.closed_form.goland_reissner import peel_stress
from fejoint.bondline.closed_form.grid import axial_modulus, balanced_lap, force_alone, no_temperature, places, worse_edge
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint

__all__ = ["curves", "edge_moment_factor", "shear_stress"]

Floats = NDArray[np.float64]


def edge_moment_factor(line_load: float, modulus: float, thickness: float, half_overlap: float) -> float:
    """Return Hart-Smith's k = 2 M / (P (t + t_a)).

    Parameters
    ----------
    line_load : float, N/mm
        P, in tension.
    modulus : float, MPa
        E / (1 - nu^2) of the adherends.
    thickness, half_overlap : float, mm
        t, c.

    Raises
    ------
    TheoryError
        Compression or no load.
    """
    if line_load <= 0:
        raise TheoryError("the edge moment of Hart-Smith is for joints in tension.")
    end = math.sqrt(12 * line_load / (modulus * thickness**3)) * half_overlap
    return 1 / (1 + end + end**2 / 6)


def shear_stress(
    x: Floats,
    line_load: float,
    moment: float,
    moduli: tuple[float, float],
    thickness: float,
    half_overlap: float,
    g_layer: float,
) -> Floats:
    """Return the shear stress, MPa, at x (mm from the middle).

    Solves tau''' = 2 g_layer (1/(E t) + 3/(E' t)) tau' with the end slopes
    +-g_layer (P/(E t) + 6 M/(E' t^2)) and the integral P.

    Parameters
    ----------
    x : array, mm
    line_load, moment : float, N/mm and N
        P and the edge moment M.
    moduli : (float, float), MPa
        E for stretching and E' = E/(1 - nu^2) for bending.
    thickness, half_overlap : float, mm
        t, c.
    g_layer : float, MPa/mm
        The adhesive's G over its thickness.
    """
    stretch, bend = moduli
    wave = math.sqrt(2 * g_layer / thickness * (1 / stretch + 3 / bend))
    slope = g_layer / thickness * (line_load / stretch + 6 * moment / (bend * thickness))
    return even_shear(x, line_load, half_overlap, wave, slope)


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return the one bondline of a balanced single lap by Hart-Smith.

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Edge loads of ``lower`` and ``upper`` to use in place of the theory's
        own: the ones with the larger moment count at both ends.

    Raises
    ------
    TheoryError
        Not a single lap, unlike adherends, a change of temperature, or (with
        the theory's own edge moment) not in tension, or a moment or shear
        force besides; given edge loads whose moments differ by more than 5 %.
    """
    theory = "Hart-Smith's theory of the single lap"
    geometry = balanced_lap(joint, theory)
    no_temperature(joint, theory)
    material, t, ta = geometry.lower.material, geometry.lower.thickness, geometry.bondline_thickness
    load, c, bend, edge = joint.line_load, geometry.overlap_length / 2, axial_modulus(material), worse_edge(edges, theory)
    if edge is None:
        force_alone(joint, "the edge moment of Hart-Smith")
        edge = EdgeLoads(load, 0.0, edge_moment_factor(load, bend, t, c) * load * (t + ta) / 2)
        measure = "Hart-Smith 1973, single lap"
    else:
        measure = "Hart-Smith 1973, single lap, with given edge loads"
    adhesive, x = joint.adhesive.engineering_constants(), places(geometry.overlap_length)
    moduli = material.engineering_constants()["e_x"], bend
    shear = shear_stress(x - c, load, edge.moment, moduli, t, c, adhesive["g_xy"] / ta)
    peel = peel_stress(x - c, edge.moment, edge.shear, bend, t, c, adhesive["e_y"] / ta)
    loads = EdgeLoads(load, edge.shear, -edge.moment), EdgeLoads(load, edge.shear, edge.moment)
    curve = Curve.of_theory(x, shear, peel)
    return [Bondline(number=1, middle=curve, left=loads[0], right=loads[1], measure=measure)]
