"""From a point of a sweep to a joint or its refusal, and the key that its result goes by."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.file import joint_from_document
from fejoint.joint.keys import known_keys, with_values
from fejoint.mechanics.reuse import mesh_key, system_key
from fejoint.show.files import joint_as_understood
from fejoint.show.path_files import digest, numeric_versions
from fejoint.study.columns import Function, source_of
from fejoint.study.plan import Plan
from fejoint.units import as_number

__all__ = ["Case", "flat", "identity", "joint_of", "numeric_versions", "understood"]


@dataclass(frozen=True, slots=True)
class Case:
    """A point of a sweep as understood.

    Attributes
    ----------
    number : int
        Of the point, from 0.
    key : str
        What its result goes by: a hash of the joint as understood, the
        analysis, the geometry scripts and all versions that have a part in it.
    group : bytes
        Sorts cases that share a mesh together, and in those the ones that share a system.
    refusal : str
        Why the joint is refused; empty when it is not.
    """

    number: int
    key: str
    group: bytes
    refusal: str = ""


def joint_of(document: Mapping[str, Any], values: Mapping[str, Any]) -> Joint:
    """Return the joint of a point: the joint file's dict with the point's values in it; JointError when it is refused."""
    return joint_from_document(with_values(document, values))


def understood(plan: Plan, document: Mapping[str, Any]) -> Iterator[Case]:
    """Yield every point of a plan as a case."""
    versioned = repr(numeric_versions())
    for number in range(plan.number):
        values = plan.values(number)
        try:
            joint = joint_of(document, values)
        except JointError as error:
            yield Case(number, digest("refused", versioned, _json(values), str(error)), b"", str(error))
            continue
        said = joint_as_understood(joint)
        said.pop("title")
        group = b"".join(
            hashlib.blake2b(repr(key).encode(), digest_size=8).digest() for key in (mesh_key(joint), system_key(joint))
        )
        yield Case(number, digest("joint", versioned, _json(said)), group)


def identity(
    document: Mapping[str, Any], plan: Plan, columns: tuple[str, ...], functions: Mapping[str, Function], curves: bool
) -> dict[str, str]:
    """Return what a journal belongs to, in words that its user can compare.

    A result goes by its case's key, which holds the whole joint. This keeps
    studies apart, and holds what no key does: what is kept of each result.
    """
    base = {key: value for key, value in document.items() if key not in ("title", "sweep", "materials", "process")}
    units = known_keys()
    varied = tuple(plan.units)
    return {
        **{f"version of {name}": version for name, version in numeric_versions().items()},
        **{
            key: _json(_number(value, units.get(key)))
            for key, value in sorted(flat(base))
            if not any(key == other or key.startswith(f"{other}.") for other in varied)
        },
        "varied keys": ", ".join(sorted(varied)),
        "columns": ", ".join(sorted((*columns, *functions))),
        **{f"function {name}": digest(source_of(function))[:16] for name, function in functions.items()},
        "curves kept": _json(curves),
    }


def _number(value: Any, unit: str | None) -> Any:
    """Return a quantity as a number in its inside unit, so that 12.5 and "12.5 mm" are one."""
    try:
        return value if unit is None else as_number(value, unit)
    except ValueError:  # the joint refuses it, too
        return value


def flat(table: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    """Yield the values of nested tables by dotted key."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value


def _json(value: Any) -> str:
    try:
        return json.dumps(value, sort_keys=True, default=str)
    except (TypeError, ValueError, RecursionError):  # what no joint file holds, and every joint refuses
        return "no value of a joint file"
