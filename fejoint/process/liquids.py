"""Shipped surface energies of probe liquids and solids, each with its source."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Annotated, Any

from pydantic import BeforeValidator

from fejoint.process.energies import Energies

__all__ = ["Liquid", "Solid", "liquids", "solids"]


@cache
def _shipped() -> dict[str, dict[str, Energies]]:
    text = resources.files("fejoint.process").joinpath("liquids.toml").read_text(encoding="utf-8")
    return {
        kind: {name: Energies(name=name, **entry) for name, entry in table.items()} for kind, table in tomllib.loads(text).items()
    }


def liquids() -> dict[str, Energies]:
    """Return the shipped probe liquids by name, mN/m at about 20 degC."""
    return dict(_shipped()["liquid"])


def solids() -> dict[str, Energies]:
    """Return the shipped solids by name, mN/m at about 20 degC."""
    return dict(_shipped()["solid"])


def _named(kind: str) -> BeforeValidator:
    """Return what takes the name of a shipped material in place of its energies."""

    def energies(value: Any) -> Any:
        if not isinstance(value, str):
            return value
        known = _shipped()[kind]
        if value not in known:
            raise ValueError(
                f"no such {kind} is shipped; known: {', '.join(known)}; or a table, "
                '{ dispersive = "21.8 mN/m", polar = "51 mN/m" }'
            )
        return known[value]

    return BeforeValidator(energies, json_schema_input_type=Energies | str)


Liquid = Annotated[Energies, _named("liquid")]
Solid = Annotated[Energies, _named("solid")]
