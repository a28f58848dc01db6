"""What a worker does: solve some cases and hand back what is kept of each. Nothing here is printed or written."""

from __future__ import annotations

import threading
import time
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fejoint.errors import FejointError, SetupError, one_line
from fejoint.mechanics.driver import Result, solve
from fejoint.mechanics.reuse import Kept
from fejoint.show.files import bondline_csv
from fejoint.study.cases import joint_of, numeric_versions
from fejoint.study.columns import Function, column_values
from fejoint.study.journal import Outcome, Value

__all__ = ["Task", "unpacked", "work"]

_of_this_thread = threading.local()


@dataclass(frozen=True)
class Task:
    """Some cases of one study.

    Attributes
    ----------
    document : dict
        The joint file.
    names, functions
        The columns.
    curves : bool
        Whether the bondlines' curves are kept.
    versions : dict
        What the sweep was started with; other versions would give other numbers.
    cases : tuple of (key, values)
        Case keys, and what each sets in the joint file.
    seconds : float
        The worker starts no further case after this time, so that what is finished reaches the journal.
    """

    document: Mapping[str, Any]
    names: tuple[str, ...]
    functions: Mapping[str, Function]
    curves: bool
    versions: Mapping[str, str]
    cases: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    seconds: float = field(default=0.25)


def work(task: Task) -> list[Outcome]:
    """Return the outcomes of a task's first cases: of all, or of those that its time allowed.

    Raises
    ------
    SetupError
        Versions here are not those that the sweep was started with.
    """
    here = numeric_versions()
    unlike = [f"{name} {here.get(name)} here, {asked} there" for name, asked in task.versions.items() if here.get(name) != asked]
    if unlike:
        raise SetupError(f"a worker runs other versions than the machine that sends the work ({unlike[0]}); make them alike.")
    kept = _of_this_thread.__dict__.setdefault("kept", Kept())
    start, outcomes = time.perf_counter(), []
    for key, values in task.cases:
        outcomes.append(_outcome(task, key, values, kept))
        if time.perf_counter() - start > task.seconds:
            break
    return outcomes


def _outcome(task: Task, key: str, values: Mapping[str, Any], kept: Kept) -> Outcome:
    start = time.perf_counter()

    def spent() -> float:
        return round(time.perf_counter() - start, 6)

    try:
        result = solve(joint_of(task.document, values), kept=kept)
        curves = zlib.compress(bondline_csv(result).encode()) if task.curves else None
        found: dict[str, Value] = {"warnings": "; ".join(result.warnings)}
        found |= column_values(result, task.names, task.functions)  # last: a function of the user's may change the result
    except FejointError as error:
        return Outcome(key, "failed", str(error), seconds=spent())
    except Exception as error:  # one case must not stop the others, whatever it runs into
        return Outcome(key, "failed", one_line(f"unexpected {type(error).__name__}: {error}"), seconds=spent())
    return Outcome(key, "done" if result.passed else "missed", _missed(result), found, spent(), curves)


def _missed(result: Result) -> str:
    return "" if result.passed else next((w for w in result.warnings if w.startswith("self-check")), "a self-check missed")


def unpacked(curves: bytes) -> str:
    """Return the text of `bondline_csv` from what an outcome keeps of it."""
    return zlib.decompress(curves).decode()
