"""The table of a sweep, from its plan and its journal, and the files of its folder."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fejoint.joint.keys import column_name
from fejoint.show.files import versions, write_files
from fejoint.show.sweeps.limits import Limit
from fejoint.show.sweeps.table import SCHEMA_VERSION
from fejoint.study.cases import Case
from fejoint.study.journal import Journal, Outcome
from fejoint.study.plan import Plan
from fejoint.study.work import unpacked

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["curves_of", "table_of", "write_sweep"]

MISSING = Outcome("", "missing", "not solved yet: the sweep was stopped; run it again")


def table_of(plan: Plan, cases: Sequence[Case], journal: Journal, limits: Sequence[str] = ()) -> pd.DataFrame:
    """Return the table of a sweep: a row a case, numbered from 1; units in the names of the columns.

    First what was varied, then the columns of the results (NaN where a case has
    none), ``feasible`` where limits were given, ``status``, ``reason``,
    ``warnings`` and ``seconds``.
    """
    import pandas as pd

    found = dict.fromkeys(column_name(key, unit) for key, unit in plan.units.items())
    columns: dict[str, list[Any]] = {name: [] for name in found}
    results: dict[str, list[Any]] = {}
    ends: dict[str, list[Any]] = {"status": [], "reason": [], "warnings": [], "seconds": []}
    by_key = {outcome.key: outcome for outcome in journal.outcomes(dict.fromkeys(case.key for case in cases))}
    for row, case in enumerate(cases):
        for name, value in plan.columns(case.number).items():
            columns[name].append(value)
        outcome = by_key.get(case.key, MISSING)
        said = dict(outcome.values)
        ends["warnings"].append(said.pop("warnings", None) or "")
        for name, value in said.items():
            results.setdefault(name, [None] * row).append(value)
        for values in results.values():
            values.extend([None] * (row + 1 - len(values)))
        for name in ("status", "reason", "seconds"):
            ends[name].append(getattr(outcome, name))
    table = pd.DataFrame(
        {name: _typed(values) for name, values in (columns | results | ends).items()},
        index=pd.RangeIndex(1, len(cases) + 1, name="case"),
    )
    if limits:
        holds = table["status"] == "done"
        for limit in map(Limit.parse, limits):
            # A column that no case has a value for is not there.
            holds &= limit.holds(table) if limit.column in table else False
        table.insert(len(columns) + len(results), "feasible", holds)
    return table


def _typed(values: list[Any]) -> Any:
    """Return a column's values with one type: numbers, truth values or text."""
    import pandas as pd

    kinds = {type(value) for value in values if value is not None}
    if kinds and kinds <= {int, float}:
        return pd.array(values, dtype="float64") if float in kinds or None in values else pd.array(values, dtype="int64")
    if kinds == {bool}:
        return pd.array(values, dtype="boolean" if None in values else "bool")
    if not kinds:
        return pd.array(values, dtype="float64")
    return pd.array([None if value is None else str(value) for value in values], dtype="str")


def curves_of(cases: Sequence[Case], journal: Journal) -> Iterator[tuple[int, pd.DataFrame]]:
    """Yield the number (from 1) of every case and the curves of its bondlines, as in ``bondline.csv``."""
    import pandas as pd

    for case in cases:
        for outcome in journal.outcomes([case.key], curves=True):
            if outcome.curves is not None:
                yield case.number + 1, pd.read_csv(io.StringIO(unpacked(outcome.curves)))


def write_sweep(
    folder: Path,
    table: pd.DataFrame,
    joint_file: str,
    about: Mapping[str, Any],
    curves: Iterator[tuple[int, pd.DataFrame]] | None,
) -> list[Path]:
    """Write ``sweep.csv``, ``sweep.parquet``, ``sweep.json``, ``joint.toml`` and, with curves, ``curves.parquet``.

    Raises
    ------
    SetupError
        The folder cannot be written or the disk is full; nothing new is left behind.
    """
    counts = {status: int(count) for status, count in sorted(table["status"].value_counts().items())}
    said = {"schema_version": SCHEMA_VERSION, "cases": len(table), "statuses": counts, **about, "versions": versions()}
    writers = {
        "sweep.csv": lambda path: table.to_csv(path, lineterminator="\n"),
        # As a column: the numbers of a pandas range are known to pandas alone.
        "sweep.parquet": lambda path: table.to_parquet(path, index=True),
        "sweep.json": lambda path: path.write_text(json.dumps(said, indent=2, allow_nan=False) + "\n", encoding="utf-8"),
        "joint.toml": lambda path: path.write_text(joint_file, encoding="utf-8", newline="\n"),
    }
    if curves is not None:
        writers["curves.parquet"] = lambda path: _stream(path, curves)
    return write_files(folder, writers)


def _stream(path: Path, curves: Iterator[tuple[int, pd.DataFrame]]) -> None:
    """Write curves case by case: all of them together may be more than the memory."""
    import pandas as pd
    import pyarrow as pa
    import pyarrow.parquet as pq

    number, text = pa.int64(), pa.string()
    columns = {"x_mm": pa.float64(), "shear_MPa": pa.float64(), "peel_MPa": pa.float64(), "axial_MPa": pa.float64()}
    along = ("transferred_N", "shear_strain", "plastic_strain", "cauchy_shear_MPa", "cauchy_peel_MPa", "cauchy_axial_MPa")
    kinds = {"case": number, "bondline": number, "level": text, **columns, "measure": text, **dict.fromkeys(along, pa.float64())}
    schema = pa.schema(list(kinds.items()))
    with pq.ParquetWriter(path, schema) as writer:
        while some := [frame.assign(case=case).reindex(columns=list(kinds)) for case, frame in islice(curves, 100)]:
            writer.write_table(pa.Table.from_pandas(pd.concat(some), schema=schema, preserve_index=False))
