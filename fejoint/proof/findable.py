"""Which figures of an adhesive can be found from coupon tests, what tells each, and how they go into a joint."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.units import as_number

__all__ = ["CURVE", "FINDABLE", "LOAD", "STIFFNESS", "parsed_bounds", "stated", "unit_of", "with_figures"]

STIFFNESS, LOAD, CURVE = "stiffness", "load", "curve"
# What can be found: its unit, and what tells it.
FINDABLE: dict[str, tuple[str, str]] = {
    "adhesive.elastic_modulus": ("MPa", STIFFNESS),
    "adhesive.shear_modulus": ("MPa", STIFFNESS),
    "joint.bondline_thickness": ("mm", STIFFNESS),
    "adhesive.tensile_yield": ("MPa", CURVE),
    "adhesive.hardening.rise": ("MPa", CURVE),
    "adhesive.hardening.rate": ("", CURVE),
    "adhesive.tensile_strength": ("MPa", LOAD),
    "adhesive.shear_strength": ("MPa", LOAD),
    "adhesive.shear_yield": ("MPa", LOAD),
    "adhesive.failure_shear_strain": ("", LOAD),
    "adhesive.toughness_mode_1": ("N/mm", LOAD),
    "adhesive.toughness_mode_2": ("N/mm", LOAD),
}


def parsed_bounds(texts: Sequence[str]) -> dict[str, tuple[float, float]]:
    """Return bounds of ``KEY=LOW:HIGH`` texts, in the units inside.

    Raises
    ------
    JointError
        A text is none, or its key cannot be found.
    """
    found = {}
    for text in texts:
        key, equals, span = text.partition("=")
        low, colon, high = span.partition(":")
        if not (equals and colon):
            raise JointError(f'--bounds "{text}": must be KEY=LOW:HIGH, such as adhesive.elastic_modulus="1 GPa:4 GPa".')
        unit = unit_of(key.strip())
        try:
            found[key.strip()] = (as_number(low.strip(), unit), as_number(high.strip(), unit))
        except ValueError as error:
            raise JointError(f'--bounds "{text}": {error}.') from None
    return found


def with_figures(joint: Joint, values: Mapping[str, float]) -> Joint:
    """Return a joint with figures in place of its own, by keys of `FINDABLE`; of the elastic constants Poisson's ratio stays.

    Raises
    ------
    JointError
        A value is refused.
    """
    own: dict[str, Any] = {key.removeprefix("adhesive."): value for key, value in values.items() if key.startswith("adhesive.")}
    adhesive = joint.adhesive
    if "elastic_modulus" in own and "shear_modulus" in own:
        own["poisson_ratio"] = None
    elif "elastic_modulus" in own:
        own |= {"shear_modulus": None, "poisson_ratio": adhesive.poisson_ratio}
    elif "shear_modulus" in own:
        own |= {"elastic_modulus": None, "poisson_ratio": adhesive.poisson_ratio}
    inner = {key.removeprefix("hardening."): own.pop(key) for key in list(own) if key.startswith("hardening.")}
    if inner:
        assert adhesive.hardening is not None  # identify has looked
        own["hardening"] = adhesive.hardening.replace(**inner)
    joint = joint.replace(adhesive=adhesive.replace(**own)) if own else joint
    thickness = values.get("joint.bondline_thickness")
    return joint if thickness is None else joint.replace(geometry=joint.geometry.replace(bondline_thickness=thickness))


def unit_of(key: str) -> str:
    """Return the unit of a figure that can be found; JointError of another key."""
    if key not in FINDABLE:
        raise JointError(f"{key}: is none of the figures that can be found; these are {', '.join(FINDABLE)}.")
    return FINDABLE[key][0]


def stated(joint: Joint, key: str) -> float | None:
    """Return what a joint states of a figure that can be found; None where it does not."""
    place, _, name = key.partition(".")
    if place == "joint":
        return float(joint.geometry.bondline_thickness)
    here = joint.adhesive.hardening if name.startswith("hardening.") else joint.adhesive
    value = None if here is None else getattr(here, name.removeprefix("hardening."))
    return None if value is None else float(value)
