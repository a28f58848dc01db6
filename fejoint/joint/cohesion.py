"""The figures of a cohesive layer: its stiffness, whether its toughness leaves room for its strength, and cells that it needs.

A layer far wider than it is thick, between stiff adherends, cannot contract along the joint or across
it: opened, it answers with the constrained modulus E (1 - nu) / ((1 + nu) (1 - 2 nu)).
Beside a layer of elastic cells in a double cantilever beam that is nearer than the plane
strain modulus E / (1 - nu^2) (measured: `tests/mechanics/test_interface.py`).

Such a layer has no free strain of its own: temperature and moisture act through the adherends alone.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fejoint.joint.materials import Adhesive, Orthotropic

if TYPE_CHECKING:
    from fejoint.joint.description import Joint
    from fejoint.joint.materials import AdherendMaterial

__all__ = ["FIGURES", "constrained_modulus", "exponent_of", "layer_stiffness", "longest_cell", "onset_energy", "toughness_at"]

FIGURES = ("tensile_strength", "shear_strength", "toughness_mode_1", "toughness_mode_2")
"""What an adhesive must state for the cohesive model, beside its elastic constants"""
IN_THE_ZONE = 10  # cells of density 1 in the process zone, so that half the density still has five
MOST_CELLS = 800  # along an overlap


def constrained_modulus(adhesive: Adhesive) -> float:
    """Return the modulus of an adhesive that is stretched and cannot contract, MPa."""
    e, nu = adhesive.elastic_modulus, adhesive.poisson_ratio
    assert e is not None and nu is not None  # set by the material
    return e * (1 - nu) / ((1 + nu) * (1 - 2 * nu))


def layer_stiffness(adhesive: Adhesive, thickness: float) -> tuple[float, float]:
    """Return the stiffness of a layer in opening and in sliding, N/mm^3."""
    assert adhesive.shear_modulus is not None
    return constrained_modulus(adhesive) / thickness, adhesive.shear_modulus / thickness


def exponent_of(adhesive: Adhesive) -> float:
    """Return the exponent of the adhesive's rule for fracture in both modes together."""
    return 1.0 if adhesive.mixed_mode_exponent is None else adhesive.mixed_mode_exponent


def toughness_at(adhesive: Adhesive, share: float) -> float:
    """Return the toughness where mode II has a share of the energy released, N/mm."""
    first, second, m = adhesive.toughness_mode_1, adhesive.toughness_mode_2, exponent_of(adhesive)
    assert first is not None and second is not None
    if adhesive.mixed_mode_rule == "b-k":
        return first + (second - first) * float(share**m)
    return float((((1 - share) / first) ** m + (share / second) ** m) ** (-1 / m))


def onset_energy(adhesive: Adhesive, thickness: float, share: float) -> float:
    """Return the elastic energy of a layer where damage begins, at a share of mode II in it, N/mm."""
    normal, shear = layer_stiffness(adhesive, thickness)
    assert adhesive.tensile_strength is not None and adhesive.shear_strength is not None
    return 1 / (2 * ((1 - share) * normal / adhesive.tensile_strength**2 + share * shear / adhesive.shear_strength**2))


def longest_cell(joint: Joint) -> float:
    """Return how long a cell of the overlap may be at mesh density 1, mm.

    A tenth of the shorter process zone. In a body so large that its size does not
    matter that zone is about l = E G_c / strength^2 long (Hillerborg, Modeer & Petersson, Cem. Concr. Res. 6,
    1976, 773-782, from memory); in an adherend of thickness t about (l t^3)^(1/4) in opening and (l t)^(1/2) in
    shear (Yang & Cox, Int. J. Fract. 133, 2005, 107-137, from memory), which is what counts where it is shorter.
    """
    adhesive, parts = joint.adhesive, joint.geometry.adherends().values()
    t, modulus = min(p.thickness for p in parts), min(_along(p.material) for p in parts)
    assert adhesive.toughness_mode_1 is not None and adhesive.toughness_mode_2 is not None
    assert adhesive.tensile_strength is not None and adhesive.shear_strength is not None
    opening = modulus * adhesive.toughness_mode_1 / adhesive.tensile_strength**2
    sliding = modulus * adhesive.toughness_mode_2 / adhesive.shear_strength**2
    zone = min(opening, (opening * t**3) ** 0.25, sliding, math.sqrt(sliding * t))
    return max(float(zone) / IN_THE_ZONE, joint.geometry.length / MOST_CELLS)


def _along(material: AdherendMaterial) -> float:
    """Return Young's modulus along the joint, MPa."""
    modulus = material.elastic_modulus_x if isinstance(material, Orthotropic) else material.elastic_modulus
    assert modulus is not None
    return modulus
