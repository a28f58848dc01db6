"""The best designs of a sweep: of the cases solved, by the limits that were set.

Best is what uses least of its tightest limit: a designer then has the most
left for what no analysis knows. Where the force itself was varied that would be
the least force, so there best is what holds the largest one within all limits.
Cases without any load say nothing of a design and are not ranked. Beside it
stand, for every key that was varied, the feasible cases at the least and at the
largest value of it, such as the shortest overlap that still holds all limits.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fejoint.show.sweeps.limits import Limit, follows, numbers, parameters, read_limits
from fejoint.show.sweeps.overview import free_parameters, main_columns

if TYPE_CHECKING:
    import pandas as pd

    from fejoint.show.sweeps.charts import Limits

__all__ = ["Best", "Extreme", "Ranked", "best_designs", "use_of_limits"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MOST = 10  # cases of a ranking
FORCE = re.compile(r"load\.force(_|$)")
LOAD = re.compile(r"load\.(force|moment|shear_force|temperature_change)(_|$)")


@dataclass(frozen=True)
class Ranked:
    """A case by what it uses of its tightest limit: 1 is all of it, more breaks it."""

    case: int
    use: float
    tightest: Limit


@dataclass(frozen=True)
class Extreme:
    """The case at the least or at the largest value of a column.

    Attributes
    ----------
    column : str
    which : str
        ``"least"``, ``"largest"``, or ``"least magnitude"`` of a result.
    value : float
        In the column's unit.
    case : int
    alike : int
        How many cases have this value; of them this one is named.
    at_end : bool
        Whether no case of the study goes further, whatever became of it: the
        study, and no limit, ends there.
    with_it : tuple of str
        Parameters that moved with this one.
    """

    column: str
    which: str
    value: float
    case: int
    alike: int = 1
    at_end: bool = False
    with_it: tuple[str, ...] = ()


@dataclass(frozen=True)
class Best:
    """What a sweep's best designs are, and what is to be said about them.

    Attributes
    ----------
    ranked : tuple of Ranked
        The feasible cases under load, best first: those that use least of their tightest
        limit, or, by force, those of the largest one. Where none is feasible, the one that comes nearest.
    extremes : tuple of Extreme
        Feasible cases at the ends of what was varied; without limits the cases with the least of each result.
    feasible : int
        How many cases are feasible; without limits, how many are done.
    notes : tuple of str
        Sentences: why there is nothing, what is left out.
    by_force : str
        The column of the force where the ranking is by its magnitude, largest first, and only of equal
        ones by the use of limits; empty where it is by the use alone.
    """

    ranked: tuple[Ranked, ...] = ()
    extremes: tuple[Extreme, ...] = ()
    feasible: int = 0
    notes: tuple[str, ...] = ()
    by_force: str = ""


def best_designs(table: pd.DataFrame, limits: Limits = (), loaded: bool = False) -> Best:
    """Return the best designs of a sweep's table.

    Parameters
    ----------
    table : DataFrame
        Index: the numbers of the cases. Of its columns `status` and, where it is there, `feasible` count.
    limits : texts or Limits
        What the designs are held against; one on a column that the table lacks is held by none.
    loaded : bool
        Whether every case carries a load that was not varied, so that none is without any.

    Raises
    ------
    JointError
        A limit has another form than that of a limit, or its column holds texts.
    """
    given = read_limits(limits)
    if not len(table):
        return Best(notes=("The table has no case.",))
    done = (table["status"] == "done").to_numpy() if "status" in table else np.ones(len(table), dtype=bool)
    if not done.any():
        return Best(notes=("No case is solved with all self-checks held, so no design is best; the table gives the reasons.",))
    if not given and "feasible" not in table:
        extremes = tuple(_least_results(table[done]))
        notes = ["No limits were set, so no design is feasible or best; set some to have them ranked (limits = [...])."]
        if done.sum() == 1:
            notes.append(f"Case {table.index[done][0]} alone is solved: there is nothing to compare it with.")
        return Best((), extremes, int(done.sum()), tuple(notes))
    use, tightest = use_of_limits(table, given)
    holds = done & feasible(table, given)
    notes = _left_out(table, given, done)
    if not given:
        notes.append("The limits themselves are not known here, so the feasible cases are not ranked.")
    under_load = loads(table) | loaded
    if given:
        notes += _without_load(holds if holds.any() else done, under_load, "feasible" if holds.any() else "solved")
    if not holds.any():
        return Best(_ranked(table, given, use, tightest, done & under_load)[:1], (), 0, ("No case is feasible.", *notes))
    if holds.sum() == 1:
        notes.insert(0, f"Case {table.index[holds][0]} alone is feasible: there is no other to compare it with.")
    by_force = next((name for name in _load_columns(table) if FORCE.match(name) and table[name].nunique() > 1), "")
    ranked = _ranked(table, given, use, tightest, holds & under_load, by_force)
    return Best(ranked[:MOST], tuple(_ends(table, holds, use)), int(holds.sum()), tuple(notes), by_force)


def loads(table: pd.DataFrame) -> Bools:
    """Return in which cases any load of the table acts: force, moment, shear force, temperature change (cases).

    Where the table has none every case counts as loaded: all have the joint file's load.
    """
    columns = _load_columns(table)
    if not columns:
        return np.ones(len(table), dtype=bool)
    acts: Bools = np.any([numbers(table, name) != 0 for name in columns], axis=0)  # a missing one is not known to be 0
    return acts


def _load_columns(table: pd.DataFrame) -> list[str]:
    return [name for name in parameters(table) if LOAD.match(name) and table[name].dtype.kind in "if"]


def _without_load(which: Bools, under_load: Bools, what: str) -> list[str]:
    """Return a sentence on those cases that carry no load, if there are any."""
    number = int((which & ~under_load).sum())
    if not number:
        return []
    cases = f"1 {what} case carries" if number == 1 else f"{number} {what} cases carry"
    none = "" if (which & under_load).any() else " There is no other to rank."
    return [f"{cases} no load at all, which says nothing of a design, and so {'is' if number == 1 else 'are'} not ranked.{none}"]


def feasible(table: pd.DataFrame, limits: Sequence[Limit]) -> Bools:
    """Return which cases hold all limits, and what the table's own column `feasible` says (cases)."""
    holds = np.ones(len(table), dtype=bool)
    if "feasible" in table:
        holds &= table["feasible"].eq(True).fillna(False).to_numpy(dtype=bool)
    for limit in limits:
        holds &= limit.holds(table) if limit.column in table else False
    return holds


# ---- shares of limits ----------------------------------------------------


def use_of_limits(table: pd.DataFrame, limits: Sequence[Limit]) -> tuple[Floats, NDArray[np.int64]]:
    """Return what each case uses of its tightest limit, and the number of that limit.

    The use of a limit is, in magnitude, the value over the limit; where a value
    must stay beyond a limit (at least a positive one, at most a negative one)
    the limit over the value. It is 1 at the limit, 0 for a value of the other
    sign where that is the safe side, infinite where it is not. A limit of zero
    has no share.

    Returns
    -------
    (cases,) array
        NaN where no limit has a share, or the value of one is missing.
    (cases,) array
        0 for the first limit; -1 where there is no use.
    """
    shares = np.array([_share(table, limit) for limit in limits if limit.column in table and limit.value != 0])
    which = np.array([i for i, limit in enumerate(limits) if limit.column in table and limit.value != 0], dtype=np.int64)
    if not len(shares):
        return np.full(len(table), np.nan), np.full(len(table), -1)
    use = shares.max(axis=0)  # NaN where one is missing
    tightest = which[np.argmax(np.nan_to_num(shares, nan=-1.0), axis=0)]
    return use, np.where(np.isnan(use), -1, tightest)


def _share(table: pd.DataFrame, limit: Limit) -> Floats:
    """Return what the cases use of a limit other than zero."""
    value = numbers(table, limit.column)
    if limit.of_magnitude:
        value = np.abs(value)
    # As an upper bound: value >= limit is -value <= -limit.
    sign = 1.0 if limit.sense == "<=" else -1.0
    value, bound = sign * value, sign * limit.value
    if bound > 0:
        return np.maximum(value, 0.0) / bound
    with np.errstate(divide="ignore"):
        # Between the limit and zero, and beyond zero, it is broken however far.
        return np.where(np.isnan(value), np.nan, np.where(value < 0, bound / np.minimum(value, 0.0), np.inf))


def _ranked(
    table: pd.DataFrame, limits: Sequence[Limit], use: Floats, tightest: NDArray[np.int64], which: Bools, by_force: str = ""
) -> tuple[Ranked, ...]:
    """Return some cases by their use of limits, least first; of equal ones in the order of the table.

    By a column of forces, the largest magnitude comes first, and the use decides between equal ones.
    """
    order = np.flatnonzero(which & np.isfinite(use))
    order = order[np.argsort(use[order], kind="stable")]
    if by_force:
        order = order[np.argsort(-np.abs(numbers(table, by_force)[order]), kind="stable")]
    return tuple(Ranked(int(table.index[i]), float(use[i]), limits[tightest[i]]) for i in order)


def _left_out(table: pd.DataFrame, limits: Sequence[Limit], done: Bools) -> list[str]:
    """Return sentences on what limits say nothing about."""
    said = []
    for limit in limits:
        if limit.column not in table:
            said.append(f"No case has a value of {limit.column}, so none holds {limit.label}.")
            continue
        without = int((~np.isfinite(numbers(table, limit.column)) & done).sum())
        if without:
            have = "cases have" if without > 1 else "case has"
            said.append(f"{without} solved {have} no value of {limit.column} and so cannot hold {limit.label}.")
        if limit.value == 0:
            said.append(f"{limit.label} says whether a case is feasible, but has no share that could be used up.")
    return said


# ---- ends of what was varied ---------------------------------------------


def _ends(table: pd.DataFrame, holds: Bools, use: Floats) -> list[Extreme]:
    """Return the feasible cases at the least and at the largest value of every varied key with numbers."""
    found = []
    for name in free_parameters(table):
        if table[name].dtype.kind not in "if":
            continue
        values, all_values = np.where(holds, numbers(table, name), np.nan), numbers(table, name)
        if not np.isfinite(values).any():
            continue
        with_it = tuple(
            other
            for other in parameters(table)
            if other != name and table[other].nunique() > 1 and follows(table, other, name) and follows(table, name, other)
        )
        for which, end, end_of_all in (
            ("least", np.nanmin(values), np.nanmin(all_values)),
            ("largest", np.nanmax(values), np.nanmax(all_values)),
        ):
            here = np.flatnonzero(values == end)
            first = here[np.argsort(use[here], kind="stable")[0]]  # NaN last
            found.append(Extreme(name, which, float(end), int(table.index[first]), len(here), bool(end == end_of_all), with_it))
    return found


def _least_results(table: pd.DataFrame) -> list[Extreme]:
    """Return for each main column of results the case in which it is least in magnitude."""
    found = []
    for name in main_columns(table):
        if name.startswith("discretisation_error"):  # says how good the mesh is, not the joint
            continue
        size = np.abs(numbers(table, name))
        if np.isfinite(size).any():
            i = int(np.nanargmin(size))
            alike = int((size == size[i]).sum())
            found.append(Extreme(name, "least magnitude", float(numbers(table, name)[i]), int(table.index[i]), alike))
    return found
