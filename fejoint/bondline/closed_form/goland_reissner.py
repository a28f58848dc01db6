"""Goland and Reissner's single lap: edge moment, shear and peel of the flexible layer.

M. Goland & E. Reissner, The stresses in cemented joints, J. Appl. Mech. 11,
1944, A17-A27 (cited from memory beyond its first page; the equations were
derived again and are tested against their differential equations).

Identical adherends that stretch and bend as thin plates; the adhesive only
shears and stretches across, uniformly through its thickness, whose share in
the lever arm is left out; no stress-free adhesive end. The edge moment is
that of a bar that rotates under its load (the lap counts as one bar of double
thickness), so it falls as the load grows. Valid while t_a E / (t E_a) and
t_a G / (t G_a) are about 10 or more. For unlike adherends use Volkersen (shear only).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.grid import axial_modulus, places, single_lap
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint

__all__ = ["curves", "edge_moment_factor", "peel_stress", "shear_stress"]

Floats = NDArray[np.float64]


def edge_moment_factor(line_load: float, modulus: float, thickness: float, half_overlap: float, arm: float = math.inf) -> float:
    """Return k = 2 M / (P t), the edge moment of Goland and Reissner.

    Parameters
    ----------
    line_load : float, N/mm
        P, in tension.
    modulus : float, MPa
        E / (1 - nu^2) of the adherends.
    thickness, half_overlap, arm : float, mm
        t, c, and the free length of an adherend up to a pinned end (infinite
        by default, as in their paper).

    Raises
    ------
    TheoryError
        Compression or no load.
    """
    if line_load <= 0:
        raise TheoryError("the edge moment of Goland and Reissner is for joints in tension.")
    u1 = math.sqrt(12 * line_load / (modulus * thickness**3))
    u2 = u1 / (2 * math.sqrt(2))
    arms = 1.0 if math.isinf(arm) else 1 / math.tanh(u1 * arm)
    return 1 / (1 + 2 * math.sqrt(2) * arms * math.tanh(u2 * half_overlap))


def shear_stress(
    x: Floats, line_load: float, factor: float, modulus: float, thickness: float, half_overlap: float, g_layer: float
) -> Floats:
    """Return the shear stress, MPa, at x (mm from the middle).

    `factor` is k = 2 M / (P t); `modulus` E / (1 - nu^2); `g_layer` the
    adhesive's G over its thickness, MPa/mm.
    """
    b = math.sqrt(8 * g_layer * thickness / modulus)
    end = b * half_overlap / thickness
    # cosh(bx/t)/sinh(bc/t), written so that long overlaps do not overflow.
    shape = (np.exp(b * x / thickness - end) + np.exp(-b * x / thickness - end)) / -math.expm1(-2 * end)
    return line_load / (8 * half_overlap) * (end * (1 + 3 * factor) * shape + 3 * (1 - factor))


def peel_stress(
    x: Floats, moment: float, shear_force: float, modulus: float, thickness: float, half_overlap: float, e_layer: float
) -> Floats:
    """Return the peel stress, MPa, at x (mm from the middle).

    Solves w'''' D + 2 e_layer w = 0 for the opening w with the edge moment
    `moment` (N) and the edge shear force `shear_force` (N/mm) at both ends;
    `e_layer` is the adhesive's modulus over its thickness, MPa/mm.
    """
    d = modulus * thickness**3 / 12
    root = (e_layer / (2 * d)) ** 0.25
    lam = root * half_overlap
    # The two symmetric solutions, divided by exp(lam) so that long overlaps do not overflow.
    z = root * x
    near, far = np.exp(np.abs(z) - lam) / 2, np.exp(-np.abs(z) - lam) / 2
    f1, f2 = (near + far) * np.cos(z), (near - far) * np.sin(np.abs(z))
    ch, sh = (1 + math.exp(-2 * lam)) / 2, (1 - math.exp(-2 * lam)) / 2
    c, s = math.cos(lam), math.sin(lam)
    # sigma = A f1 + B f2;  sigma'' = (e_layer/D) M  and  sigma''' = -(e_layer/D) V  at x = c, mirrored at -c
    rhs = np.array([moment / root**2, -shear_force / root**3]) * e_layer / d
    matrix = np.array([[-2 * sh * s, 2 * ch * c], [-2 * (ch * s + sh * c), 2 * (sh * c - ch * s)]])
    a, b = np.linalg.solve(matrix, rhs)
    return np.asarray(a * f1 + b * f2)


def curves(joint: Joint, edge: EdgeLoads | None = None) -> Bondline:
    """Return the bondline of a balanced single-lap joint by Goland and Reissner.

    Parameters
    ----------
    joint : Joint
    edge : EdgeLoads, optional
        Edge loads to use in place of the theory's own, such as those from
        finite elements (magnitudes count).

    Raises
    ------
    TheoryError
        Not a single lap, unlike adherends, or (with the theory's own edge
        moment) not in tension.
    """
    geometry = single_lap(joint, "The theory of Goland and Reissner")
    lower, upper = geometry.lower, geometry.upper
    constants = [part.material.engineering_constants() for part in (lower, upper)]
    if constants[0] != constants[1] or lower.thickness != upper.thickness:
        raise TheoryError(
            "the theory of Goland and Reissner is for identical adherends; use Volkersen for the shear of unlike ones."
        )
    load, t, c = joint.line_load, lower.thickness, geometry.overlap_length / 2
    modulus = axial_modulus(lower.material)
    if edge is None:
        pinned = joint.load.ends == "pinned" and lower.free_length == upper.free_length
        factor = edge_moment_factor(load, modulus, t, c, lower.free_length if pinned else math.inf)
        moment = factor * load * t / 2
        shear_force = factor * load * math.sqrt(3 * load / (t * modulus))
        measure = "Goland and Reissner 1944"
    else:
        moment, shear_force = abs(edge.moment), abs(edge.shear)
        factor = 2 * moment / (abs(load) * t) if load else 0.0
        moment, shear_force = math.copysign(moment, load), math.copysign(shear_force, load)
        measure = "Goland and Reissner 1944 with given edge loads"
    adhesive, ta = joint.adhesive.engineering_constants(), geometry.bondline_thickness
    x = places(geometry.overlap_length)
    shear = shear_stress(x - c, load, factor, modulus, t, c, adhesive["g_xy"] / ta)
    peel = peel_stress(x - c, moment, shear_force, modulus, t, c, adhesive["e_y"] / ta)
    loads = EdgeLoads(load, shear_force, -moment), EdgeLoads(load, shear_force, moment)
    return Bondline(
        number=1, middle=Curve(x, shear, peel, np.full_like(x, np.nan)), left=loads[0], right=loads[1], measure=measure
    )
