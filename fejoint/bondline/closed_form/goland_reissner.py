"""Goland and Reissner's single lap: edge moment, shear and peel of the flexible layer.

M. Goland & E. Reissner, The stresses in cemented joints, J. Appl. Mech. 11,
1944, A17-A27 (cited from memory beyond its first page; the equations were
derived again and are tested against their differential equations).

Identical adherends that stretch and bend as thin plates; the adhesive only
shears and stretches across, uniformly through its thickness, whose share in
the lever arm is left out; no stress-free adhesive end. The edge moment is
that of a bar that rotates under its load (the lap counts as one bar of double
thickness), so it falls as the load grows; clamped arms count as endless,
pinned ones with their length. Both ends of the overlap are loaded alike.
Temperature is not part of it. Valid while t_a E / (t E_a) and
t_a G / (t G_a) are about 10 or more. For unlike adherends use Volkersen (shear only).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.grid import axial_modulus, balanced_lap, force_alone, no_temperature, places, worse_edge
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint

__all__ = ["curves", "edge_moment_factor", "edge_shear", "own_edge", "peel_stress", "shear_stress"]

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
    u1 = _decay(line_load, modulus, thickness)
    u2 = u1 / (2 * math.sqrt(2))
    return 1 / (1 + 2 * math.sqrt(2) * math.tanh(u2 * half_overlap) / math.tanh(u1 * arm))


def edge_shear(moment: float, line_load: float, modulus: float, thickness: float, arm: float = math.inf) -> float:
    """Return the edge shear force, N/mm, that goes with the edge moment `moment` (N): M u1 coth(u1 L), u1^2 = P/D.

    The slope of the arm's moment, which grows as sinh(u1 x) from the pinned end
    (k P root(3 P/(t E)) with endless arms); arguments as for `edge_moment_factor`.
    """
    u1 = _decay(line_load, modulus, thickness)
    return moment * u1 / math.tanh(u1 * arm)


def _decay(line_load: float, modulus: float, thickness: float) -> float:
    """Return u1, 1/mm: over 1/u1 the moment of an arm in tension falls to 1/e."""
    return math.sqrt(12 * line_load / (modulus * thickness**3))


def own_edge(joint: Joint, lever: float) -> EdgeLoads:
    """Return their edge loads at the right end of a balanced single lap; its arms are endless unless they are pinned.

    `lever`, mm, is the height between the adherends' forces: t in their theory.

    Raises
    ------
    TheoryError
        Another joint, a moment or shear force, compression or no load, pinned
        arms of unlike length.
    """
    theory = "the edge moment of Goland and Reissner"
    geometry = balanced_lap(joint, "the theory of Goland and Reissner")
    force_alone(joint, theory)
    lower, upper, arm = geometry.lower, geometry.upper, math.inf
    if joint.load.ends == "pinned":
        arm = lower.free_length
        if not math.isclose(arm, upper.free_length):
            raise TheoryError(
                f"{theory} takes pinned arms of one length; here they are {arm:g} and {upper.free_length:g} mm long; "
                "use two beams and a layer."
            )
    load, modulus, t = joint.line_load, axial_modulus(lower.material), lower.thickness
    moment = edge_moment_factor(load, modulus, t, geometry.overlap_length / 2, arm) * load * lever / 2
    return EdgeLoads(load, edge_shear(moment, load, modulus, t, arm), moment)


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


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return the one bondline of a balanced single-lap joint by Goland and Reissner.

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Edge loads of ``lower`` and ``upper`` to use in place of the theory's
        own, such as those from finite elements: the ones with the larger
        moment count at both ends.

    Raises
    ------
    TheoryError
        Not a single lap, unlike adherends, a change of temperature, or (with
        the theory's own edge moment) not in tension, a moment or shear force
        besides, or pinned arms of unlike length; given edge loads without a
        force along the joint, or whose moments differ by more than 5 %.
    """
    theory = "the theory of Goland and Reissner"
    geometry = balanced_lap(joint, theory)
    no_temperature(joint, theory)
    load, t, c = joint.line_load, geometry.lower.thickness, geometry.overlap_length / 2
    modulus, edge = axial_modulus(geometry.lower.material), worse_edge(edges, theory)
    if edge is None:
        edge = own_edge(joint, t)
        measure = "Goland and Reissner 1944"
    else:
        if load == 0:
            raise TheoryError(f"{theory} needs a force along the joint; here it is 0.")
        measure = "Goland and Reissner 1944 with given edge loads"
    factor = 2 * edge.moment / (load * t)
    adhesive, ta = joint.adhesive.engineering_constants(), geometry.bondline_thickness
    x = places(geometry.overlap_length)
    shear = shear_stress(x - c, load, factor, modulus, t, c, adhesive["g_xy"] / ta)
    peel = peel_stress(x - c, edge.moment, edge.shear, modulus, t, c, adhesive["e_y"] / ta)
    loads = EdgeLoads(load, edge.shear, -edge.moment), EdgeLoads(load, edge.shear, edge.moment)
    curve = Curve.of_theory(x, shear, peel)
    return [Bondline(number=1, middle=curve, left=loads[0], right=loads[1], measure=measure)]
