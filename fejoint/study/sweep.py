"""Many joints from one: plan, hand out, keep, tabulate."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fejoint.environment import require_extra
from fejoint.errors import FejointError, JointError, SetupError
from fejoint.joint.description import Joint
from fejoint.joint.file import document_from_joint, document_from_text, joint_to_toml, read_text
from fejoint.joint.keys import near
from fejoint.mechanics.driver import Result, solve
from fejoint.show.files import check_kind
from fejoint.show.sweeps.limits import Limit
from fejoint.study.cases import Case, identity, joint_of, numeric_versions, understood
from fejoint.study.columns import Function, column_values, split_columns, unknown_column
from fejoint.study.dispatch import Progress, dispatch
from fejoint.study.engines import cores, local_pool, workers_of
from fejoint.study.journal import Journal, Outcome
from fejoint.study.plan import DEFAULT_COLUMNS, Plan, Sweep, make_plan, sweep_table
from fejoint.study.table import curves_of, table_of, write_sweep
from fejoint.study.wording import plain_data
from fejoint.study.work import Task

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ASK_ABOVE", "looked_over", "sweep"]

ASK_ABOVE = 5000  # cases: a larger sweep is meant, or a slip
RETRIED = ("failed", "lost")
TRIES = 100  # points that are looked at for one that is no refused joint, to measure and to check columns by
EVERY = 0.2  # seconds between two calls of `progress`


def sweep(
    joint: Joint | str | Path,
    vary: Mapping[str, Any] | None = None,
    *,
    tie: Mapping[str, str] | None = None,
    points: str | None = None,
    samples: int | None = None,
    seed: int | None = None,
    table: str | Path | None = None,
    columns: Sequence[str | Function] | None = None,
    limits: Sequence[str] | None = None,
    keep_curves: bool | None = None,
    out: str | Path | None = None,
    executor: Executor | None = None,
    workers: int | None = None,
    retry: bool = False,
    yes: bool = False,
    progress: Callable[[Progress], None] | None = None,
    changes: Sequence[str] = (),
    material_files: Sequence[str | Path] = (),
) -> pd.DataFrame:
    """Solve a joint over and over with some of its keys varied, on all cores, and return the table.

    Every finished case goes into a journal in `out` at once. Running the same
    again does only what is missing, so an interrupted or killed sweep goes on
    where it was; further values of the same keys may be added.

    Parameters
    ----------
    joint : Joint, or path of a joint file
        What is varied. A file may have a ``[sweep]`` table, whose keys the
        arguments of the same name take the place of.
    vary : dict
        Values by dotted key of the joint file (``"joint.overlap_length"``,
        ``"adhesive.elastic_modulus"``, ``"joint.lower.material"``): a list, or
        ``{"from": 10, "to": 40, "steps": 7, "spacing": "logarithmic"}``.
        Numbers are N, mm, MPa, K unless they come with a unit.
    tie : dict
        Keys that take the value of a varied one: ``{"joint.upper.thickness": "joint.lower.thickness"}``.
    points : str
        ``"grid"`` (every combination), ``"zip"`` (side by side),
        ``"latin-hypercube"`` or ``"sobol"`` (`samples` points between the ends, by `seed`).
    table : path
        CSV or Parquet file of joints instead of `vary`: a row each, columns by dotted key.
    columns : list
        What is kept of each case: names in ``summary.json``, dotted where
        nested, and functions of the `Result` that return a number, a text or a
        truth value, whose name becomes the column's.
    limits : list of str
        Such as ``"peak_peel_MPa <= 20"``: make the column ``feasible``.
    keep_curves : bool
        Keep the stresses along the bondlines of every case (``curves.parquet`` in `out`).
    out : path
        Folder of the journal and of the files; without it nothing is kept on disk.
    executor : concurrent.futures.Executor
        Who does the work; unless given, a pool of `workers` processes, one a core.
    workers : int
        Processes of that pool.
    retry : bool
        Try the journal's failed and lost cases again.
    yes : bool
        Do a sweep of more than `ASK_ABOVE` cases.
    progress : callable
        Called with a `Progress` several times a second.
    changes, material_files
        As for `fejoint.load`, of a joint file.

    Returns
    -------
    pandas.DataFrame
        A row a case, numbered from 1: the varied keys with units in their
        names, the columns, ``feasible``, ``status`` (``done``; ``missed``: a
        self-check did; ``refused``: no valid joint; ``failed``; ``lost``: its
        worker died twice), ``reason``, ``warnings`` of the solver, ``seconds``.

    Raises
    ------
    JointError
        Unknown key or column, values that are none, too many cases.
    SetupError
        The folder cannot be written, its journal is in use or belongs to
        another study, or the workers cannot do the work. What is finished stays.
    KeyboardInterrupt
        Interrupted; what is finished stays.

    Examples
    --------
    >>> import fejoint
    >>> table = fejoint.sweep(joint, vary={"joint.overlap_length": [10, 20, 30]})  # doctest: +SKIP
    """
    for package in ("pandas", "pyarrow", "loky"):
        require_extra(package, "sweep", "a sweep")
    document, text, folder = _read(joint, changes, material_files)
    names, functions = split_columns(columns) if columns is not None else (None, {})
    given = {
        "vary": vary,
        "tie": tie,
        "points": points,
        "samples": samples,
        "seed": seed,
        "table": None if table is None else str(table),
        "columns": None if functions and not names else names,  # functions alone stand beside the usual columns
        "limits": limits,
        "keep_curves": keep_curves,
    }
    description = sweep_table(document, {key: value for key, value in given.items() if value is not None})
    names, functions = split_columns((*description.columns, *functions.values()))
    if description.keep_curves and out is None:
        raise JointError("keep_curves = true: the curves go into a file, so this needs a folder: give out (--out DIR).")
    if workers is not None and (not isinstance(workers, int) or workers < 1):
        raise JointError("workers: must be a whole number, 1 or more.")
    if executor is not None and not isinstance(executor, Executor):
        raise JointError("executor: must be a concurrent.futures.Executor; for a number of processes there is workers.")
    if workers is not None and executor is not None:
        raise JointError("workers: an executor has its own number of workers; leave one of the two out.")
    plan = make_plan(description, document, folder if table is None else Path())
    _check_limits(description.limits, (*names, *functions, *plan.columns(0)))
    at_once = workers or (cores() if executor is None else workers_of(executor))
    if plan.number > ASK_ABOVE and not yes:
        raise JointError(_too_many(plan, document, at_once))
    cases = list(understood(plan, document))
    about = identity(document, plan, names, functions, description.keep_curves)
    place = None if out is None else _folder(out) / "journal.sqlite"
    if place is None or not place.exists():  # else it was checked then
        _check_columns(plan, document, names, description.limits)
    with Journal(place, about) as journal:
        known = journal.statuses()
        pending, total = _pending(cases, known, retry), len({case.key for case in cases})
        finished = _Finished(journal, progress, total, known, cases, pending)
        finished([Outcome(case.key, "refused", case.refusal) for case in pending if case.refusal])
        pending = sorted((case for case in pending if not case.refusal), key=lambda case: (case.group, case.number))
        if pending:
            task = Task(_without_sweep(document), names, functions, description.keep_curves, numeric_versions())
            engine = (lambda: local_pool(min(at_once, len(pending)))) if executor is None else (lambda: executor)
            try:
                dispatch(pending, plan.values, task, engine, executor is None, finished, finished.tell)
            except KeyboardInterrupt:
                _tabulated(out, plan, cases, journal, description, text)  # what there is so far can be looked at
                raise
            finally:
                finished.tell(last=True)
        found = _tabulated(out, plan, cases, journal, description, text)
    finished.tell(last=True)
    return found


def _tabulated(
    out: str | Path | None, plan: Plan, cases: Sequence[Case], journal: Journal, description: Sweep, text: str
) -> pd.DataFrame:
    """Return the table of what the journal holds, written into the folder where there is one."""
    from fejoint.show.sweeps.study_table import StudyTable

    table = StudyTable(table_of(plan, cases, journal, description.limits))
    if out is None:
        return table
    about = {
        "varied": list(table.columns[: len(plan.units)]),
        "limits": list(description.limits),
        "sweep": {key: plain_data(value) for key, value in description.model_dump(exclude_defaults=True).items()},
    }
    write_sweep(Path(out), table, text, about, curves_of(cases, journal) if description.keep_curves else None)
    return table


def looked_over(path: str | Path, changes: Sequence[str] = (), material_files: Sequence[str | Path] = ()) -> tuple[int, int, str]:
    """Return how many cases the ``[sweep]`` table of a joint file comes to, how many are refused, and the first refusal.

    Nothing is solved; of more cases than `ASK_ABOVE` only so many are looked at.

    Raises
    ------
    JointError
        A value of the table is refused.
    """
    document, _, folder = _read(path, changes, material_files)
    plan = make_plan(sweep_table(document, {}), document, folder)
    refusals = [case.refusal for case in islice(understood(plan, document), ASK_ABOVE) if case.refusal]
    return plan.number, len(refusals), refusals[0] if refusals else ""


class _Finished:
    """Takes outcomes into the journal and tells how far the sweep is."""

    def __init__(
        self,
        journal: Journal,
        progress: Callable[[Progress], None] | None,
        total: int,
        known: Mapping[str, str],
        cases: Sequence[Case],
        pending: Sequence[Case],
    ) -> None:
        self.journal, self.progress, self.total = journal, progress, total
        waiting = {case.key for case in pending}
        before = [known[key] for key in {case.key for case in cases} - waiting]
        self.count, self.failed, self.now = len(before), sum(status not in ("done", "missed") for status in before), 0
        self.start, self.told = time.monotonic(), 0.0

    def __call__(self, outcomes: list[Outcome]) -> None:
        """Keep outcomes."""
        if outcomes:
            self.journal.record(outcomes)
            self.count += len(outcomes)
            self.now += sum(outcome.status != "refused" for outcome in outcomes)
            self.failed += sum(outcome.status not in ("done", "missed") for outcome in outcomes)
        self.tell()

    def tell(self, last: bool = False) -> None:
        """Call `progress`, not too often."""
        clock = time.monotonic()
        if self.progress is not None and (last or clock - self.told > EVERY):
            self.told = clock
            self.progress(Progress(self.total, self.count, self.failed, clock - self.start, self.now))


def _read(
    joint: Joint | str | Path, changes: Sequence[str], material_files: Sequence[str | Path]
) -> tuple[dict[str, Any], str, Path]:
    """Return the joint file's dict, its text, and where its relative paths start."""
    if isinstance(joint, Joint):
        return document_from_joint(joint), joint_to_toml(joint), Path()
    if not isinstance(joint, str | Path):
        raise JointError(f"sweep: a {type(joint).__name__} is no Joint and no path; make a Joint, or name a joint file.")
    from fejoint.joint.file import with_changes

    for name, given in (("changes", changes), ("material_files", material_files)):
        if not isinstance(given, list | tuple):
            raise JointError(f"{name}: must be a list.")
    text, materials = read_text(joint), [read_text(path) for path in material_files]
    document = document_from_text(text, changes, materials, str(joint))
    return document, with_changes(text, changes, materials), Path(joint).parent


def _folder(out: str | Path) -> Path:
    try:
        os.fspath(out).encode()
        Path(out).mkdir(parents=True, exist_ok=True)
    except (AttributeError, TypeError, ValueError):  # no text, or characters that no name or no file may have
        raise SetupError(f"out = {str(out)!r}: can be no name of a folder; choose another.") from None
    except OSError as error:
        raise SetupError(f"{out}: cannot be made ({(error.strerror or str(error)).lower()}); choose another folder.") from None
    check_kind(out, "sweep")
    return Path(out)


def _without_sweep(document: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in document.items() if key != "sweep"}


def _pending(cases: Sequence[Case], known: Mapping[str, str], retry: bool) -> list[Case]:
    """Return the cases that are to be done, each key once."""
    todo = {case.key: case for case in reversed(cases) if case.key not in known or (retry and known[case.key] in RETRIED)}
    return sorted(todo.values(), key=lambda case: case.number)


def _first(plan: Plan, document: Mapping[str, Any]) -> Result | None:
    """Return the result of the first point that has one; None when the first many have none."""
    for number in range(min(plan.number, TRIES)):
        try:
            return solve(joint_of(document, plan.values(number)))
        except FejointError:
            continue
    return None


def _check_columns(plan: Plan, document: Mapping[str, Any], names: tuple[str, ...], limits: Sequence[str]) -> None:
    """Refuse columns that no result has, and limits on them, before thousands of cases go without.

    The user's functions are left to the workers: what they do should not end this process.
    """
    inside = [limit.column for limit in map(Limit.parse, limits) if any(limit.column.startswith(f"{name}.") for name in names)]
    inside = [column for column in inside if column not in names]
    result = _first(plan, document) if names != DEFAULT_COLUMNS or inside else None
    if result is None:
        return
    # Where the family, the spew or a material is varied, other cases may have what the first has not.
    alike = not any(unit is None for unit in plan.units.values())
    sentence = unknown_column(result, names, whole=alike)
    if sentence:
        raise JointError(sentence)
    there = column_values(result, names, {}) if alike else inside
    for column in inside:
        if column not in there:
            raise JointError(f"sweep.limits: no column {column!r}; {near(column, there)}")


def _check_limits(limits: Sequence[str], columns: Sequence[str]) -> None:
    """Refuse a limit on what is no column; a column may come to a table of them, ``adherend_peak_MPa.lower``."""
    for limit in map(Limit.parse, limits):
        if not any(limit.column == name or limit.column.startswith(f"{name}.") for name in columns):
            raise JointError(f"limit {str(limit)!r}: no column {limit.column!r}; {near(limit.column, columns)}")


def _too_many(plan: Plan, document: Mapping[str, Any], workers: int) -> str:
    sizes = " x ".join(str(len(axis.values)) for axis in plan.axes) if plan.points == "grid" else ""
    said = f"this sweep has {plan.number} cases{f' ({sizes})' if sizes else ''}, more than {ASK_ABOVE}"
    start = time.perf_counter()
    result = _first(plan, document)
    if result is None:
        return f"{said}, and the first {min(plan.number, TRIES)} of them are refused; narrow the values."
    one = time.perf_counter() - start
    span = _span(one * plan.number / workers)
    return (
        f"{said}: one takes {one:.2f} s, all of them about {span} with {workers} worker{'s' if workers > 1 else ''}, "
        "less where cases share a mesh; say --yes (yes=True) if it is meant, or take fewer values."
    )


def _span(seconds: float) -> str:
    for unit, size in (("days", 86400.0), ("hours", 3600.0), ("minutes", 60.0)):
        if seconds >= 2 * size:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} seconds"
