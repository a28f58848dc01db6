"""Figures of a user's own in the place of some of a material's."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fejoint.joint.hardening import form_of
from fejoint.joint.isotropic import Isotropic
from fejoint.joint.library import ELASTIC

__all__ = ["merged", "overridden"]


def overridden(table: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """Return a library material's table with figures of its user's own in place of some.

    Of the elastic constants those not named follow: where one modulus is
    changed the ratio stays, where the ratio is changed the modulus stays.
    """
    changed = [key for key in ELASTIC if key in own]
    if changed and any(key in table for key in ELASTIC):
        kept = _any_two(table)
        keep = [] if len(changed) > 1 else ["elastic_modulus" if changed == ["poisson_ratio"] else "poisson_ratio"]
        table = {key: value for key, value in table.items() if key not in ELASTIC}
        table.update({key: kept[key] for key in keep})
    return merged(table, own)


def merged(table: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """Return a material's table with figures of another in place of its own.

    Of a hardening of the same form its keys are taken one by one; a table of
    stresses brings the yield stress with it.
    """
    table, own = dict(table), dict(own)
    form = form_of(own.get("hardening"))
    if form is not None and form == form_of(table.get("hardening")):
        own["hardening"] = {**table["hardening"], **own["hardening"]}
    if form == "table" and "tensile_yield" not in own:
        table.pop("tensile_yield", None)
    return {**table, **own}


def _any_two(table: dict[str, Any]) -> dict[str, Any]:
    """Return all three elastic constants of a library table, a derived one with its origin."""
    full = Isotropic.model_validate({key: table[key] for key in ELASTIC if key in table})
    derived = {"source": "follows from the library's other two elastic constants"}
    return {key: table.get(key, {"value": getattr(full, key), **derived}) for key in ELASTIC}
