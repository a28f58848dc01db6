"""What is kept of a case: names in the summary, or functions of the result, as flat columns."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from fejoint.errors import JointError
from fejoint.joint.keys import near
from fejoint.mechanics.driver import Result
from fejoint.show.files import summary
from fejoint.study.journal import Value
from fejoint.study.wording import short

__all__ = ["Function", "column_values", "source_of", "split_columns", "unknown_column"]

Function = Callable[[Result], Any]

_TAKEN = ("case", "title", "feasible", "status", "reason", "warnings", "seconds")


def split_columns(columns: Sequence[Any]) -> tuple[tuple[str, ...], dict[str, Function]]:
    """Return the names in the summary and the functions by name.

    Raises
    ------
    JointError
        Neither, a function without a name of its own, or a name used twice.
    """
    if isinstance(columns, str) or not isinstance(columns, Iterable):
        raise JointError(f"columns = {short(columns)}: must be a list of names in summary.json and of functions of the result.")
    names: list[str] = []
    functions: dict[str, Function] = {}
    for column in columns:
        if column == "warnings":  # every sweep has them
            continue
        if isinstance(column, str):
            name = column
            names.append(column)
        elif callable(column):
            name = getattr(column, "__name__", "")
            if not name.isidentifier():
                raise JointError("columns: a function needs a name for its column: define it with def NAME(result).")
            functions[name] = column
        else:
            raise JointError(f"columns: {short(column)} is neither a name in summary.json nor a function of the result.")
        if name in _TAKEN or len(names) + len(functions) > len({*names, *functions}):
            raise JointError(f"columns: the name {name!r} is taken; leave it out or give the function another name.")
    return tuple(names), functions


def column_values(result: Result, names: Iterable[str], functions: Mapping[str, Function]) -> dict[str, Value]:
    """Return the columns of a result.

    A name of a table in the summary stands for all that it holds
    (``adherend_peak_MPa`` for ``adherend_peak_MPa.lower`` and so on), that of a
    peak for its value. What a case does not have is None.

    Raises
    ------
    JointError
        A function fails, or returns what is no number, text or truth value, nor a dict of such.
    """
    names = tuple(names)
    found: dict[str, Value] = {}
    known = summary(result, theories=any(name.split(".")[0] == "theories" for name in names))
    for name in names:
        found.update(_flat(name, _at(known, name)) or {name: None})
    for name, function in functions.items():
        try:
            value = function(result)
        except Exception as error:
            raise JointError(f"column {name}: its function fails ({type(error).__name__}: {error}).") from None
        flat = _flat(name, value)
        if not flat and value is not None:
            raise JointError(
                f"column {name}: its function must return a number, text or truth value, not {type(value).__name__}."
            )
        found.update(flat or {name: None})
    return found


def unknown_column(result: Result, names: Iterable[str], whole: bool = True) -> str | None:
    """Return the sentence on the first name that the summary of a result does not have; None if all are there.

    Unless `whole`, only the first part of a dotted name is looked at: what is nested differs from joint to joint.
    """
    known = summary(result)
    for name in names:
        if not whole and name.split(".")[0] in known:
            continue
        if not _has(known, name):
            here, path = known, name.split(".")
            while path and isinstance(here, Mapping) and path[0] in here:
                here = _by_name(here[path.pop(0)])
            start = name.removesuffix(".".join(path))
            choices = [f"{start}{key}" for key in here] if isinstance(here, Mapping) else []
            return f"sweep.columns: the summary has no {name!r}; {near(name, choices or known)}"
    return None


def source_of(function: Function) -> str:
    """Return what a function does, as text that changes when it does.

    Its own text, defaults and the plain values of its closure count; functions
    that it calls do not.
    """
    plain: Any = inspect.unwrap(function)
    code = getattr(plain, "__code__", None)
    if code is None:  # an object with __call__
        return f"{type(plain).__module__}.{type(plain).__qualname__} {sorted(getattr(plain, '__dict__', {}).items())!r}"
    try:
        text = inspect.getsource(plain)
    except (OSError, TypeError):  # typed in, or made by exec
        text = repr((code.co_code.hex(), code.co_names, [c for c in code.co_consts if not hasattr(c, "co_code")]))
    closed = {k: v for k, v in inspect.getclosurevars(plain).nonlocals.items() if isinstance(v, str | int | float | bool | tuple)}
    return f"{text} {plain.__defaults__!r} {plain.__kwdefaults__!r} {sorted(closed.items())!r}"


def _by_name(value: Any) -> Any:
    """Return a list of tables that have a name as a table of them."""
    if isinstance(value, list) and value and all(isinstance(item, Mapping) and "name" in item for item in value):
        return {item["name"]: {k: v for k, v in item.items() if k != "name"} for item in value}
    return value


def _at(known: Any, name: str) -> Any:
    for part in name.split("."):
        known = known.get(part) if isinstance(known, Mapping) else None
        known = _by_name(known)
    return known


def _has(known: Any, name: str) -> bool:
    for part in name.split("."):
        if not isinstance(known, Mapping) or part not in known:
            return False
        known = _by_name(known[part])
    return True


def _flat(name: str, value: Any) -> dict[str, Value]:
    value = _by_name(value)
    value = value.item() if hasattr(value, "item") and getattr(value, "size", 1) == 1 else value  # numpy's
    if isinstance(value, Mapping):
        if "value" in value:
            return _flat(name, value["value"])
        return {k: v for key, inner in value.items() for k, v in _flat(f"{name}.{key}", inner).items()}
    if isinstance(value, list | tuple) and all(isinstance(item, str) for item in value):
        return {name: "; ".join(value)}
    if isinstance(value, float):
        return {name: value if math.isfinite(value) else None}
    if isinstance(value, int) and abs(value) >= 2**63:  # no column of numbers holds it
        return {}
    return {name: value} if isinstance(value, str | bool | int) else {}
