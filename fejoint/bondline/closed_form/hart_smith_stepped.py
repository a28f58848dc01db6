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
from fejoint.joint.families import SteppedLap

__all__ = ["capacity", "curves"]

THEORY = "Hart-Smith's stepped lap"


def capacity(joint: Joint) -> Capacity:
    """Return what a stepped lap carries, N/mm: adhesive or adherend, where steps have taken metal away.

    An adherend's limit is the load at which its mean stress reaches its
    tensile_yield or tensile_strength somewhere on a tread, inside it or at its
    end, with the stress by mismatch. Both figures count under compression too:
    its own strength there and buckling are not looked at. Where all of the
    adhesive yields before, it is that of the net section at the adherend's own
    end, which carries the whole force.

    Raises
    ------
    TheoryError
        Not a stepped lap under a force alone, an adhesive without shear_yield
        or failure_shear_strain, or one that the mismatch alone breaks.
    """
    g, overlap, layer = _treads(joint)
    overlap = overlap.along(joint.load.force)
    load, where = overlap_capacity(overlap, layer)
    name = f"adhesive at x = {' and '.join(f'{x:.4g}' for x in where)} mm" if where else "adhesive, all of it yields"
    limits, net = {name: load}, g.net_thickness()
    for key, word in (("tensile_yield", "yields"), ("tensile_strength", "breaks")):
        stress = [getattr(part.material, key, None) for part in (g.lower, g.upper)]
        known = tuple(float("inf") if s is None else s for s in stress)
        on_treads = net_section_load(overlap, layer, net["lower"], net["upper"], (known[0], known[1]))
        # All of the force passes the lower's net section at the left and the upper's at the right, whatever the layer does.
        at_ends = (net["lower"][0], net["upper"][-1])
        for part, limit, on_tread, thickness in zip(g.adherends(), known, on_treads, at_ends, strict=True):
            if limit < float("inf"):
                limits[f"{part} {word}"] = min(on_tread, limit * thickness)
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
        bondlines.append(Bondline(number=i + 1, middle=Curve.of_theory(x, found.shear(x)), measure=measure))
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
