"""Hart-Smith's stepped lap, step by step, with an adhesive that yields: its shear, and the load that the joint carries.

L. J. Hart-Smith, Adhesive-bonded scarf and stepped-lap joints, NASA CR-112237,
1973 (cited from memory): shear lag on every tread with the thickness that the
steps leave there, load and slip going over from tread to tread. He marches from
one end; here all treads are solved at once and exactly, by `elastic_plastic`
(derived for this project).

Adherends only stretch and stay elastic, the treads only shear, the risers carry
nothing. No bending, no peel, no adherend shear. The adherends' stiffness is
E / (1 - nu^2), their width being held. For an elastic adhesive use `shear_lag`,
which this then equals; the risers' share, which evens the treads out, takes
finite elements.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.optimize import brentq

from fejoint.bondline.closed_form.elastic_plastic import (
    NEARLY,
    Capacity,
    Overlap,
    YieldingLayer,
    at_load,
    shear_lag,
    yielding_layer,
)
from fejoint.bondline.closed_form.elastic_plastic import capacity as overlap_capacity
from fejoint.bondline.closed_form.grid import axial_modulus, force_alone, free_strains
from fejoint.bondline.curves import Bondline, Curve, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap

__all__ = ["capacity", "curves", "net_section_load"]

THEORY = "Hart-Smith's stepped lap"


def net_section_load(
    overlap: Overlap, layer: YieldingLayer, lower: tuple[float, ...], upper: tuple[float, ...], limits: tuple[float, float]
) -> tuple[float, float]:
    """Return the load (N/mm) at which the mean stress of the lower and of the upper adherend first reaches its limit on a tread.

    `lower` and `upper` are the thicknesses there (mm), `limits` the stresses
    (MPa). Infinite where all of the layer yields before.
    """
    most = NEARLY * layer.yield_stress * overlap.length

    def excess(load: float, which: int) -> float:
        carried = shear_lag(overlap, layer, load).lower_loads()
        worst = np.max(np.abs(carried[:-1]) / lower) if which == 0 else np.max(np.abs(load - carried[1:]) / upper)
        return float(worst - limits[which])

    found = []
    for which in (0, 1):
        if excess(0.0, which) >= 0:
            found.append(0.0)
        elif excess(most, which) < 0:
            found.append(float("inf"))
        else:
            found.append(float(brentq(excess, 0.0, most, args=(which,), xtol=1e-10 * most)))
    return found[0], found[1]


def capacity(joint: Joint) -> Capacity:
    """Return what a stepped lap carries, N/mm: adhesive or adherend, whole or where steps have taken metal away.

    Raises
    ------
    TheoryError
        Not a stepped lap under a force alone, an adhesive without shear_yield
        or failure_shear_strain, or one that the mismatch alone breaks.
    """
    g, overlap, layer = _treads(joint)
    side = -1 if joint.load.force < 0 else 1
    overlap = Overlap(overlap.lengths, overlap.lower, overlap.upper, side * overlap.mismatch)
    load, where = overlap_capacity(overlap, layer)
    name = f"adhesive at x = {' and '.join(f'{x:.4g}' for x in where)} mm" if where else "adhesive, all of it yields"
    limits, net = {name: load}, g.net_thickness()
    for key, word in (("tensile_yield", "yields"), ("tensile_strength", "breaks")):
        stress = [getattr(part.material, key, None) for part in (g.lower, g.upper)]
        known = tuple(float("inf") if s is None else s for s in stress)
        on_treads = net_section_load(overlap, layer, net["lower"], net["upper"], (known[0], known[1]))
        for part, limit, at_step in zip(g.adherends(), known, on_treads, strict=True):
            if limit < float("inf"):
                limits[f"{part} {word}"] = min(at_step, limit * g.lower.thickness)
    return Capacity.least(limits)


def curves(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Bondline]:
    """Return the treads of a stepped lap under its load, elastic or partly yielded; peel is not part of it (NaN).

    Parameters
    ----------
    joint : Joint
    edges : mapping of EdgeLoads, optional
        Not used: the theory has no edge moment.

    Raises
    ------
    TheoryError
        As `capacity`, or a load beyond what the adhesive carries.
    """
    g, overlap, layer = _treads(joint)
    found = at_load(overlap, layer, joint.line_load)
    yielded = sum(b - a for a, b in found.yielded())
    measure = f"Hart-Smith 1973, stepped lap, {f'yielded over {yielded:.3g} mm' if yielded else 'elastic throughout'}"
    bondlines = []
    for i in range(len(g.treads)):
        x = found.places(i)
        nothing = np.full_like(x, np.nan)
        bondlines.append(Bondline(number=i + 1, middle=Curve(x, found.shear(x), nothing, nothing), measure=measure))
    return bondlines


def _treads(joint: Joint) -> tuple[SteppedLap, Overlap, YieldingLayer]:
    """Return the geometry, its treads as an overlap, and the layer."""
    g = joint.geometry
    if not isinstance(g, SteppedLap):
        raise TheoryError(f"{THEORY} is for stepped-lap joints; this is a {g.kind} joint.")
    force_alone(joint, THEORY)
    layer, free, net = yielding_layer(joint, THEORY), free_strains(joint), g.net_thickness()
    lower, upper = (tuple(axial_modulus(part.material) * t for t in net[name]) for name, part in g.adherends().items())
    return g, Overlap(tuple(g.treads), lower, upper, free["upper"] - free["lower"]), layer
