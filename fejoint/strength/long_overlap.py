"""The load at which a long overlap parts from its end: energy of the adherends alone.

Far behind a parting end the loaded adherend carries all of the load, far ahead
of it both share it; what the difference gives up goes into the bond, whatever
the shape of its stress-strain curve. For shear lag alone that is Hart-Smith's capacity of
a long overlap (NASA CR-112235 and -112236, 1973, from memory; double laps are tested against
`hart_smith_double.long_capacity`); for balanced single laps the bending that
opens the end is in it, too (`krenk`).
"""

from __future__ import annotations

import math
from dataclasses import replace

from fejoint.bondline.closed_form import krenk, two_beams
from fejoint.bondline.closed_form.grid import axial_modulus, free_strains
from fejoint.bondline.curves import foremost
from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap
from fejoint.joint.materials import Orthotropic
from fejoint.mechanics.load_path import AdherendSection
from fejoint.strength.capacity import Capacity
from fejoint.strength.criteria import first_share, met
from fejoint.strength.field import Field, unloaded
from fejoint.strength.mixed_mode import growth_index

__all__ = ["is_balanced", "long_overlap_capacity", "shear_lag_load"]


def shear_lag_load(loaded: float, other: float, toughness: float, mismatch: float = 0.0, sign: int = 1) -> float:
    """Return the line load at which a long overlap parts from the end where `loaded` enters, N/mm, by stretching alone.

    P = (S/S_o) (X + sqrt(2 G / (1/S_l + 1/S_o))), S the sum of both
    stiffnesses and X = S_l S_o/S times the mismatch.

    Parameters
    ----------
    loaded, other : float, N/mm
        Stiffness E t of what enters loaded, and of what takes the load over.
    toughness : float, N/mm
        Of all bondlines that part there, together.
    mismatch : float
        Free strain of the other less that of the loaded.
    sign : int
        1 for tension, -1 for compression: then the load is negative.
    """
    whole = loaded + other
    locked = loaded * other / whole * mismatch
    return whole / other * (locked + sign * math.sqrt(2 * toughness / (1 / loaded + 1 / other)))


def is_balanced(joint: Joint) -> bool:
    """Whether a joint is a single lap of adherends alike, so that opening and shear part."""
    g = joint.geometry
    if g.kind != "single-lap":
        return False
    lower, upper = g.adherends()["lower"], g.adherends()["upper"]
    alike = lower.thickness == upper.thickness and lower.material == upper.material
    return alike and not isinstance(lower.material, Orthotropic)


def long_overlap_capacity(field: Field) -> Capacity:
    """Return the load at which the overlap's end parts, had the overlap no other end.

    Of a balanced single lap the field's edge loads count, which turn it open.
    """
    joint = field.joint
    adhesive, geometry = joint.adhesive, joint.geometry
    made = Capacity(
        key="energy-end",
        name="energy of a long overlap",
        route="energy",
        mode=joint.strength.bond_mode,
        bias="for overlaps long against the zone in which the bond gives way; on shorter ones it is too high",
        source="from memory: Krenk, Eng. Fract. Mech. 43, 1992, 549-559; Hart-Smith, NASA CR-112235, 1973",
    )
    if isinstance(geometry, SteppedLap):
        return replace(made, reason="is for single and double laps: the steps of a stepped lap share the load out")
    single = geometry.kind == "single-lap"
    for key in ("toughness_mode_1", "toughness_mode_2")[0 if single else 1 :]:
        if getattr(adhesive, key) is None:
            return replace(made, reason=f"needs adhesive.{key}; add it")
    assert adhesive.toughness_mode_2 is not None
    if is_balanced(joint) and joint.load.force_alone:
        return _balanced(made, field)
    if single:
        return _unlike(made, field)
    if not joint.load.force_alone or not joint.load.force:
        return replace(made, reason="is for a force along the joint alone")
    width, sign = geometry.width, -1 if joint.load.force < 0 else 1
    parts, free = geometry.adherends(), free_strains(joint)
    stiffness = {name: axial_modulus(part.material) * part.thickness for name, part in parts.items()}
    bonds = geometry.bonds()
    entering = [geometry.loaded, geometry.gripped]
    loads = {}
    for names, others in (entering, entering[::-1]):
        s, o = sum(stiffness[n] for n in names), sum(stiffness[n] for n in others)
        mismatch = sum(free[n] * stiffness[n] for n in others) / o - sum(free[n] * stiffness[n] for n in names) / s
        loads[names] = shear_lag_load(s, o, len(bonds) * adhesive.toughness_mode_2, mismatch, sign)
    names = min(loads, key=lambda n: sign * loads[n])
    load = loads[names] if sign * loads[names] > 0 else 0.0
    x = geometry.entries()[names[0]]
    return replace(
        made,
        factor=load * width / joint.load.force,
        force=load * width,
        place=f"where load enters by {' and '.join(n.replace('_', ' ') for n in names)}, x = {x:.4g} mm",
        x=x,
        figures={"toughness_mode_2": adhesive.toughness_mode_2},
        bias=made.bias + "; shear alone: leaves peel out",
    )


def _balanced(made: Capacity, field: Field) -> Capacity:
    """Return the load of a balanced single lap by its edge loads (Krenk)."""
    adhesive, lower = field.joint.adhesive, field.joint.geometry.adherends()["lower"]
    assert adhesive.toughness_mode_1 is not None and adhesive.toughness_mode_2 is not None
    modulus, (e_layer, g_layer) = axial_modulus(lower.material), _layer(field.joint)

    ta, length = field.joint.geometry.bondline_thickness, field.joint.geometry.length

    def opens(section: AdherendSection) -> float:
        # A moment that opens bends the adherend away from the other.
        return (section.moment or 0.0) * (-1 if section.adherend == "lower" else 1)

    def index(section: AdherendSection, entering: list[AdherendSection]) -> float:
        # A sideways force on either's face lifts the upper or pulls the lower down. Along a path it is known in the axes of
        # space alone; in those of the overlap, which turns, it is what balances the moments, P (t + ta) = M + M + V l.
        sideways = section.shear or 0.0
        if not field.endless and len(entering) == 2:
            sideways = (section.axial * (lower.thickness + ta) - sum(map(opens, entering))) / length
        rates = krenk.long_overlap(section.axial, opens(section), sideways, modulus, lower.thickness, e_layer, g_layer)
        return growth_index(*rates, adhesive)

    def worst(share: float) -> tuple[float, AdherendSection]:
        entering = [s for s in field.sections_at(share) if s.place == "overlap"]
        indices = [index(section, entering) for section in entering]
        best = foremost(indices)
        return indices[best], entering[best]

    found = met(made, field, lambda share: worst(share)[0])
    if not found.is_met:
        return found
    section = worst(found.factor)[1]
    return replace(
        found,
        place=f"overlap's end where the {section.adherend} adherend enters, x = {section.x:.4g} mm",
        x=section.x,
        density=field.density,
        figures={"toughness_mode_1": adhesive.toughness_mode_1, "toughness_mode_2": adhesive.toughness_mode_2},
    )


def _unlike(made: Capacity, field: Field) -> Capacity:
    """Return the load of any single lap by the energy of the layer's end between two beams, whose overlap is as long as it is."""
    joint, adhesive = field.joint, field.joint.adhesive
    assert adhesive.toughness_mode_1 is not None and adhesive.toughness_mode_2 is not None
    if not field.endless:
        return replace(made, reason="is for linear elasticity where the adherends are unlike, or more than a force acts")
    e_layer, g_layer = _layer(joint)
    bare, full = (two_beams.curves(j, form="middle")[0] for j in (unloaded(joint), joint))
    ends = {
        end: tuple((b[k], f[k] - b[k]) for b, f in ((bare.peel, full.peel), (bare.shear, full.shear)))
        for end, k in (("left", 0), ("right", -1))
    }

    def index(end: str, share: float) -> float:
        peel, shear = (float(start + share * slope) for start, slope in ends[end])
        return growth_index(*krenk.stored(peel, shear, e_layer, g_layer), adhesive)

    shares = {end: first_share(lambda share, end=end: index(end, share), field) for end in ends}  # type: ignore[misc]
    end = min(shares, key=lambda e: shares[e])
    x = {"left": 0.0, "right": joint.geometry.length}[end]
    return replace(
        made,
        factor=shares[end],
        force=shares[end] * joint.load.force,
        place=f"overlap's {end} end, x = {x:.4g} mm",
        x=x,
        figures={"toughness_mode_1": adhesive.toughness_mode_1, "toughness_mode_2": adhesive.toughness_mode_2},
        name="energy of the overlap's end",
        bias="linear, so that the edge moments are those of small rotation; on short overlaps it is too high",
        source="from memory: Krenk, Eng. Fract. Mech. 43, 1992, 549-559, with the end stresses of two beams and a layer",
    )


def _layer(joint: Joint) -> tuple[float, float]:
    """Return the layer's moduli across and in shear over its thickness, MPa/mm."""
    layer = two_beams.Layer.of(joint.adhesive, joint.geometry.bondline_thickness)
    return layer.peel_modulus / layer.thickness, layer.shear_modulus / layer.thickness
