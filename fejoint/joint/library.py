"""Materials by name: those that ship with fejoint, and a user's own files in the same form."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from typing import Any

__all__ = ["ELASTIC", "named", "shipped"]

Table = Mapping[str, Any]
Library = Mapping[str, Mapping[str, Table]]  # "adherend" or "adhesive" -> name -> figures

ELASTIC = ("elastic_modulus", "shear_modulus", "poisson_ratio")


@cache
def shipped() -> Library:
    """Return the shipped library: "adherend" and "adhesive", each name with its figures and their sources."""
    return tomllib.loads(resources.files(__package__).joinpath("library.toml").read_text(encoding="utf-8"))


def named(kind: str, name: str, extra: Library | None) -> dict[str, Any]:
    """Return the table of the material `name`; a user's own (`extra`) comes before the shipped one.

    Raises
    ------
    ValueError
        No such material; the text names the nearest, or all.
    """
    known = {**shipped().get(kind, {}), **(extra or {}).get(kind, {})}
    if name in known:
        return {"name": name, **known[name]}
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    hint = f'did you mean "{near[0]}"?' if near else "known: " + ", ".join(f'"{n}"' for n in known)
    raise ValueError(f"no {kind} material of this name; {hint} (the command fejoint materials lists all)")
