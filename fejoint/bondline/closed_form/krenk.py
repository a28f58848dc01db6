"""Krenk's energy release rates at the overlap's end of a balanced single lap.

S. Krenk, Energy release rate of symmetric adhesive joints, Eng. Fract. Mech.
43(4), 1992, 549-559 (cited from memory; derived again). Between beams a layer
that only shears and stretches across gives up, as it parts at its end, the
energy stored there: G_I = sigma^2 t_a/(2 E_a) and G_II = tau^2 t_a/(2 G_a) of
the end stresses, which are those of `goland_reissner` for the edge loads at
hand. On a long overlap the layer drops out: `long_overlap` gives the rates from
the edge loads alone, and their sum is the beams' energy before less behind.
On any overlap it is the energy that the joint gives up, where the edge loads are in balance
undeformed, P t = 2 M + 2 c V (linear finite elements, nearly: their arm is t + t_a); Goland and
Reissner's own are in balance as the joint turns under its load.

Assumptions and validity are those of `goland_reissner`: identical adherends,
thin plates, flexible layer, square ends, no temperature, and both ends of the
overlap loaded alike (edge moments within 5 % of each other; others are refused);
an end that closes has no G_I. There is no curve in it. For unlike adherends or
ends use finite elements.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from fejoint.bondline.closed_form import goland_reissner
from fejoint.bondline.closed_form.grid import balanced_lap
from fejoint.bondline.curves import EdgeLoads
from fejoint.joint.description import Joint

__all__ = ["Release", "end_stresses", "energy_release", "long_overlap", "stored"]


class Release(NamedTuple):
    """Energy release rates of opening and of shear, G_I and G_II, N/mm."""

    opening: float
    shear: float


def stored(peel: float, shear: float, e_layer: float, g_layer: float) -> Release:
    """Return the rates from the stresses at the overlap's end, MPa; `e_layer`, `g_layer` are E and G over t_a, MPa/mm."""
    return Release(max(peel, 0.0) ** 2 / (2 * e_layer), shear**2 / (2 * g_layer))


def long_overlap(
    line_load: float,
    moment: float,
    shear_force: float,
    modulus: float,
    thickness: float,
    e_layer: float = math.inf,
    g_layer: float = math.inf,
) -> Release:
    """Return the rates at the end of a long overlap: (M + V/r)^2/(4 D) and (P + 6 M/t)^2/(16 E t).

    r^4 = e_layer/(2 D) is where the layer's stiffness stays in; without a
    sideways force the rates are those of the beams' energy. A sideways force bends
    the overlap as a bar of 2 t, whose shear stress 3 V/(4 t) the layer carries all along,
    at its end beside the other (Goland and Reissner's constant term).

    Parameters
    ----------
    line_load, moment, shear_force : float, N/mm, N, N/mm
        Edge loads; a positive moment and a positive sideways force open.
    modulus, thickness : float, MPa and mm
        E / (1 - nu^2) and t of the adherends.
    e_layer, g_layer : float, MPa/mm
        The adhesive's moduli over its thickness; only with a sideways force.
    """
    bend = modulus * thickness**3 / 12
    opening = moment + shear_force * (2 * bend / e_layer) ** 0.25
    along = 3 * shear_force / (4 * thickness) / math.sqrt(2 * g_layer)
    sliding = (line_load + 6 * moment / thickness) / math.sqrt(16 * modulus * thickness) + along
    return Release(max(opening, 0.0) ** 2 / (4 * bend), sliding**2)


def end_stresses(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> tuple[float, float]:
    """Return peel and shear at the overlap's end, MPa, of Goland and Reissner; arguments as for `energy_release`."""
    (bondline,) = goland_reissner.curves(joint, edges)
    return float(bondline.peel[-1]), float(bondline.shear[-1])


def energy_release(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> Release:
    """Return G_I and G_II at the overlap's end of a balanced single lap, N/mm.

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Edge loads of ``lower`` and ``upper``, which must be alike: those with
        the larger moment count at both ends. Goland and Reissner's own by default.

    Raises
    ------
    TheoryError
        As `goland_reissner.curves`.
    """
    balanced_lap(joint, "Krenk's energy release")
    adhesive, ta = joint.adhesive.engineering_constants(), joint.geometry.bondline_thickness
    return stored(*end_stresses(joint, edges), adhesive["e_y"] / ta, adhesive["g_xy"] / ta)
