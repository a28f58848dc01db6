"""Hart-Smith's double lap: an adhesive that yields, unlike adherends, thermal mismatch, and the load that they carry.

L. J. Hart-Smith, Adhesive-bonded double-lap joints, NASA CR-112235, 1973 (cited
from memory). His long overlaps and his balanced ones of any length were derived
again and are tested against the differential equation; overlaps of any length
with unlike adherends and mismatch are solved exactly by `elastic_plastic`
(derived for this project), which holds both as special cases.

Adherends only stretch, the layer only shears, elastic up to its yield stress
and at that stress up to its failure strain. On a long overlap what counts is
the area under the adhesive's shear curve alone, whatever its shape. The
adherends' stiffness is E / (1 - nu^2), their width being held, where
Hart-Smith has E. No bending, no adherend shear, no stress-free adhesive end;
peel is an estimate of its own (`peel_peak`) and not in the capacity.

Valid for double laps with like outers whose adherends stay elastic. For the
shear of an elastic adhesive use `volkersen`; for single laps `two_beams`; for
stepped ones `hart_smith_stepped`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from scipy.optimize import brentq

from fejoint.bondline.closed_form.elastic_plastic import (
    Capacity,
    Overlap,
    YieldingLayer,
    at_load,
    net_section_load,
    yielding_layer,
)
from fejoint.bondline.closed_form.elastic_plastic import capacity as overlap_capacity
from fejoint.bondline.closed_form.grid import axial_modulus, force_alone, free_strains
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import DoubleLap

__all__ = ["balanced_capacity", "capacity", "curves", "long_capacity", "peel_peak"]

THEORY = "Hart-Smith's double lap"


def long_capacity(inner: float, outer: float, energy: float, mismatch: float = 0.0) -> tuple[float, float]:
    """Return the load at which a long overlap fails where the inner is loaded, and where the outers are, N/mm.

    Parameters
    ----------
    inner, outer : float, N/mm
        E t of the inner adherend and of one outer.
    energy : float, N/mm
        Area under the adhesive's shear curve times its thickness, ta tau_p (ge / 2 + gp): its mode II toughness.
    mismatch : float
        Free thermal strain of the outers less that of the inner.
    """
    at_inner = mismatch * inner + math.sqrt(4 * energy * inner * (1 + inner / (2 * outer)))
    at_outer = -mismatch * 2 * outer + math.sqrt(8 * energy * outer * (1 + 2 * outer / inner))
    return at_inner, at_outer


def balanced_capacity(length: float, outer: float, layer: YieldingLayer) -> tuple[float, float]:
    """Return the load (N/mm) that a balanced overlap carries, the inner twice as stiff as one outer, and its elastic trough (mm).

    With w^2 = 2 G / (ta E t) of one outer and d the trough between both yielded
    ends, (w (l - d)/2 + tanh(w d/2))^2 = 2 gp/ge + tanh(w d/2)^2; none where
    (w l/2)^2 <= 2 gp/ge, and the whole layer yields.
    """
    w = math.sqrt(2 * layer.shear_modulus / (layer.thickness * outer))
    ratio = 2 * layer.plastic_strain / layer.elastic_strain
    if (w * length / 2) ** 2 <= ratio:
        return 2 * layer.yield_stress * length, 0.0

    def excess(trough: float) -> float:
        end = math.tanh(w * trough / 2)
        return (w * (length - trough) / 2 + end) ** 2 - end**2 - ratio

    trough = float(brentq(excess, 0.0, length, xtol=1e-14 * length))
    return 2 * layer.yield_stress * (length - trough + 2 * math.tanh(w * trough / 2) / w), trough


def peel_peak(yield_stress: float, peel_modulus: float, thickness: float, outer_modulus: float, outer_thickness: float) -> float:
    """Return the peel stress at the outers' ends when the adhesive there yields in shear, MPa.

    tau_p (3 E' to / (Eo ta))^(1/4): the outer as a beam on the layer, bent by
    the shear stress on its face, whose moment per length, tau_p to / 2, leaves
    an edge force on the free end. Free ends of the outers lie where the inner
    enters. Formula from memory (NASA CR-112235); the beam gives the same.

    Parameters
    ----------
    yield_stress : float, MPa
        tau_p.
    peel_modulus, thickness : float, MPa and mm
        E' and ta of the adhesive.
    outer_modulus, outer_thickness : float, MPa and mm
        Eo / (1 - nu^2) and to.
    """
    return float(yield_stress * (3 * peel_modulus * outer_thickness / (outer_modulus * thickness)) ** 0.25)


def capacity(joint: Joint) -> Capacity:
    """Return what a double lap carries, N/mm, and which end or adherend governs.

    An adherend's limit is the load at which its mean stress reaches its
    tensile_yield or tensile_strength, where it is loaded or, by mismatch, inside
    the overlap; of the outers the weaker counts. Both figures count under
    compression too: its own strength there and buckling are not looked at.

    Raises
    ------
    TheoryError
        Not a double lap with like outers under a force alone, an adhesive
        without shear_yield or failure_shear_strain, or one that the mismatch
        alone breaks.
    """
    g, overlap, layer = _half(joint)
    overlap = overlap.along(joint.load.force)
    load, where = overlap_capacity(overlap, layer)
    ends = {(): "adhesive, all of it yields", (0.0,): "adhesive, where the inner enters"}
    name = ends.get(where, "adhesive, where the outers enter" if len(where) == 1 else "adhesive, at both ends")
    limits = {name: 2 * load}
    halves = (g.inner.thickness / 2, g.outers[1].thickness)
    for key, inner_word, outer_word in (("tensile_yield", "yields", "yield"), ("tensile_strength", "breaks", "break")):
        # Like outers are alike in stiffness, not always in strength.
        figures = [[getattr(part.material, key, None) for part in parts] for parts in ((g.inner,), g.outers)]
        known = tuple(min((s for s in stress if s is not None), default=math.inf) for stress in figures)
        inside = net_section_load(overlap, layer, (halves[0],), (halves[1],), (known[0], known[1]))
        for name, limit, on_half, thickness in zip(
            (f"inner {inner_word}", f"outers {outer_word}"), known, inside, halves, strict=True
        ):
            if limit < math.inf:
                # All of the force passes the adherend where it is loaded, whatever the layer does.
                limits[name] = 2 * min(on_half, limit * thickness)
    return Capacity.least(limits)


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return both bondlines of a double lap under its load, elastic or partly yielded; peel is not part of it (NaN).

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Not used: the theory has no edge moment.

    Raises
    ------
    TheoryError
        As `capacity`, or a load beyond what the adhesive carries. The
        adherends stay elastic under any load here; what they bear is in
        `capacity`.
    """
    g, overlap, layer = _half(joint)
    found = at_load(overlap, layer, joint.line_load / 2)
    x = found.places(0)
    curve = Curve.of_theory(x, found.shear(x))
    yielded = sum(b - a for a, b in found.yielded())
    measure = f"Hart-Smith 1973, double lap, {f'yielded over {yielded:.3g} mm' if yielded else 'elastic throughout'}"
    return [Bondline(number=bond.number, middle=curve, measure=measure) for bond in g.bonds()]


def _half(joint: Joint) -> tuple[DoubleLap, Overlap, YieldingLayer]:
    """Return the geometry, half the inner with one outer as an overlap (the inner comes in at the left), and the layer."""
    g = joint.geometry
    if not isinstance(g, DoubleLap):
        raise TheoryError(f"{THEORY} is for double-lap joints; this is a {g.kind} joint.")
    if not g.has_like_halves:
        raise TheoryError(f"{THEORY} is for like outers; with unlike ones the shares of the load are not known.")
    force_alone(joint, THEORY)
    layer, free = yielding_layer(joint, THEORY), free_strains(joint)
    inner, outer = (axial_modulus(part.material) * part.thickness for part in (g.inner, g.outers[1]))
    overlap = Overlap((g.overlap_length,), (inner / 2,), (outer,), free["upper_outer"] - free["inner"])
    return g, overlap, layer
