"""The dotted keys of a joint file: which there are, in which unit, and how a value is put in the place of one."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.families import FAMILIES
from fejoint.joint.library import named
from fejoint.joint.materials import Isotropic, Material, Orthotropic, merged, overridden
from fejoint.joint.model import Model, models_in, unit_of
from fejoint.joint.sourced import Sourced

__all__ = ["column_name", "known_keys", "near", "value_at", "with_values"]

MOST_NAMED = 12  # words of a hint
_UNIT_IN_A_NAME = {"N*mm": "N_mm", "N/mm": "N_per_mm", "1/K": "per_K", "K absolute": "K"}


@cache
def known_keys(kind: str | None = None) -> dict[str, str | None]:
    """Return every key of a joint file of a family (of all families for None) with its inside unit; None: no quantity.

    A material has a key of its own, which takes a name or a table, and one for
    each figure.
    """
    known: dict[str, str | None] = {}

    def walk(model: type[Model], prefix: str) -> None:
        for name, field in model.model_fields.items():
            if (issubclass(model, Material) and name == "name") or (issubclass(model, Sourced) and name == "sources"):
                continue
            listed = "tuple" in str(field.annotation)
            key, inner = f"{prefix}{field.alias or name}", [] if listed else models_in(field.annotation)
            if name == "geometry":
                inner = [FAMILIES[k] for k in ([kind] if kind in FAMILIES else FAMILIES)]
            if name == "material" or not inner:
                known[key] = None if listed else unit_of(field)
            for part in inner:
                walk(part, f"{key}.")

    walk(Joint, "")
    known["adhesive.material"] = None
    return known


def column_name(key: str, unit: str | None) -> str:
    """Return the name of a table's column: the key and, of a quantity, its unit, such as ``joint.overlap_length_mm``."""
    return f"{key}_{_UNIT_IN_A_NAME.get(unit, unit)}" if unit else key


def near(word: str, known: Iterable[str]) -> str:
    """Return the hint of an error sentence: the known word nearest to another, or what is known."""
    known = list(known)
    found = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    if found:
        return f"did you mean {found[0]}?"
    more = f" and {len(known) - MOST_NAMED} more" if len(known) > MOST_NAMED else ""
    return f"known: {', '.join(known[:MOST_NAMED])}{more}."


def value_at(document: Mapping[str, Any], key: str) -> Any:
    """Return what a document says under a dotted key; None when it says nothing."""
    here: Any = document
    for part in key.split("."):
        here = here.get(part) if isinstance(here, Mapping) else None
    return here


def with_values(document: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """Return a joint file's dict with values in place of those of dotted keys; the given one stays as it is.

    A figure of an adherend's material that is given by name opens the
    library's table.

    Raises
    ------
    JointError
        A key leads into a value, or a material is unknown.
    """
    new = dict(document)
    of_materials: dict[str, dict[str, Any]] = {}
    for key, value in values.items():
        _check_written(key, value)
        place, of_material, figure = key.partition(".material.")
        if of_material:
            _put(of_materials.setdefault(f"{place}.material", {}), figure.split("."), value)
        else:
            _put(new, key.split("."), value)
    for place, own in of_materials.items():
        table = value_at(new, place)
        if isinstance(table, str):
            try:
                opened = named("adherend", table, document.get("materials"))
            except ValueError as error:
                raise JointError(f'{place} = "{table}": {error}.') from None
            _check_alike(place, opened, own)
            table = overridden(opened, own)
        elif table is None or isinstance(table, Mapping):
            _check_alike(place, table or {}, own)
            table = merged(table or {}, own)
        else:
            raise JointError(f"{place}: is a value, neither the name of a material nor a table; check it.")
        _put(new, place.split("."), table)
    return new


def _check_written(key: str, value: Any) -> None:
    """Refuse what would fail in error sentences and in the keys of cases."""
    try:
        json.dumps(value, default=str)
    except (TypeError, ValueError, RecursionError):
        raise JointError(
            f"{key}: holds what no joint file can: thousands of digits, keys that are no text, or lists nested without end."
        ) from None


def _check_alike(place: str, table: Mapping[str, Any], own: Mapping[str, Any]) -> None:
    """Refuse a figure by direction of a material that has none by direction, and the other way round."""
    for kind, other, has in ((Isotropic, Orthotropic, "none"), (Orthotropic, Isotropic, "all its figures")):
        foreign = next((key for key in own if key in other.model_fields), None)
        if foreign and any(key in kind.model_fields for key in table if key not in ("name", "sources")):
            raise JointError(f"{place}.{foreign}: the material has {has} by direction; vary what it has, or give it a table.")


def _put(document: dict[str, Any], path: list[str], value: Any) -> None:
    for i, part in enumerate(path[:-1]):
        inner = document.get(part, {})
        if not isinstance(inner, Mapping):
            raise JointError(f"{'.'.join(path)}: {'.'.join(path[: i + 1])} is a value, not a table; check the key.")
        inner = dict(inner)
        document[part] = inner
        document = inner
    document[path[-1]] = value
