"""The scarf joint: two sheets cut to one slope and bonded flush, with uniform stress along the bond.

By equilibrium alone: the sheet's stress P / t seen on a plane at an angle to
the load. Standard mechanics; L. J. Hart-Smith, NASA CR-112237, 1973, has it as
the limit of many steps (cited from memory). The stress is uniform only where
both sheets are equally stiff, E1 t = E2 t: then they strain alike and nothing
else than the layer's uniform stress keeps them in line. Unlike sheets load the
thin end of the stiffer one more; no closed form here covers that.

The layer's thickness, the feather edges and the bending of thin ends are left
out. There is no scarf family to draw and mesh yet: functions on numbers only.
For flush joints with treads use `shear_lag` or `hart_smith_stepped`.
"""

from __future__ import annotations

import math

from fejoint.errors import TheoryError

__all__ = ["SLOPE_BY_RULE", "bond_length", "capacity", "steepest_angle", "stresses"]

SLOPE_BY_RULE = 1 / 50
"""Rise over length of a scarf by rule of thumb, 1 in 50: MIL-HDBK-17-3F, vol. 3, ch. 12. Made for composites; no calculation."""


def stresses(line_load: float, thickness: float, angle: float, moduli: tuple[float, float] | None = None) -> tuple[float, float]:
    """Return shear and peel stress along the bond, MPa: (P / t) sin a cos a and (P / t) sin^2 a.

    Parameters
    ----------
    line_load, thickness : float, N/mm and mm
        P and t.
    angle : float, radians
        a, between bond and load.
    moduli : (float, float), optional
        Of both sheets, MPa, to have unlike ones refused.

    Raises
    ------
    TheoryError
        Unlike sheets, or no angle of a scarf.
    """
    if moduli is not None and not math.isclose(*moduli, rel_tol=1e-6):
        raise TheoryError(
            f"the scarf's stress is uniform only between equally stiff sheets; not between {moduli[0]:g} and {moduli[1]:g} MPa."
        )
    _check(angle)
    return (
        line_load / thickness * math.sin(angle) * math.cos(angle),
        line_load / thickness * math.sin(angle) ** 2,
    )


def capacity(shear_strength: float, thickness: float, angle: float) -> float:
    """Return the load at which the bond's shear stress reaches the adhesive's strength, N/mm: tau t / (sin a cos a).

    The peel stress, tan a times the shear stress, is not counted.
    """
    _check(angle)
    return shear_strength * thickness / (math.sin(angle) * math.cos(angle))


def steepest_angle(shear_strength: float, sheet_strength: float) -> float:
    """Return the largest angle (radians, at most pi / 4) at which the bond is as strong as the sheets: sin 2a = 2 tau / sigma."""
    return math.asin(min(1.0, 2 * shear_strength / sheet_strength)) / 2


def bond_length(thickness: float, angle: float) -> float:
    """Return the length of the bond along its slope, mm."""
    _check(angle)
    return thickness / math.sin(angle)


def _check(angle: float) -> None:
    if not 0 < angle < math.pi / 2:
        raise TheoryError(f"the angle of a scarf lies between 0 and 90 degrees (pi / 2); {angle:g} does not.")
