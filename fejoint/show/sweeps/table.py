"""What a person reads of a sweep: how its cases ended, the least and the largest of each column; and its files, read back."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from textwrap import shorten
from typing import TYPE_CHECKING, Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.errors import JointError, SetupError
from fejoint.joint.keys import near
from fejoint.show.sweeps.limits import column_of, parameters
from fejoint.show.tables import CAUTION

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["SCHEMA_VERSION", "chosen", "read_curves", "read_study_limits", "read_table", "result_columns", "sweep_report"]

SCHEMA_VERSION = 1  # of sweep.json, and with it of all files of a sweep
MEANING = {
    "done": "solved, all self-checks hold",
    "missed": "solved, but a self-check missed: look at the reason",
    "refused": "no valid joint: the reason names the value",
    "failed": "not solved: the reason says why; --retry tries again",
    "lost": "its worker died twice; --retry tries again",
    "missing": "not solved yet: run the same again to go on",
}
ENDS = ("feasible", "status", "reason", "warnings", "seconds")
MOST_ROWS = 12


def sweep_report(table: pd.DataFrame) -> RenderableType:
    """Return how the cases ended and where each column is least and largest."""
    counts = table["status"].value_counts()
    ended = Table(
        title=f"{len(table)} case{'s' if len(table) > 1 else ''}", box=box.SIMPLE_HEAD, title_justify="left", title_style="bold"
    )
    ended.add_column("cases", justify="right")
    for name in ("status", "meaning", "first reason")[: 3 if table["reason"].any() else 2]:
        ended.add_column(name, overflow="fold")
    for status, meaning in MEANING.items():
        if status in counts:
            first = Text(str(table.loc[table["status"] == status, "reason"].iloc[0])[:200])
            ended.add_row(*(str(counts[status]), status, meaning, first)[: len(ended.columns)])
    parts: list[RenderableType] = [ended]
    if "feasible" in table:
        parts.append(Text(f"{int(table['feasible'].sum())} of {len(table)} are feasible: done, and within all limits."))
    warned = table.loc[table["warnings"] != "", "warnings"]
    if len(warned):
        parts.append(Text(f"{len(warned)} of {len(table)} carry warnings (column warnings), such as case {warned.index[0]}:"))
        parts.append(Text(f"  {shorten(warned.iloc[0], 300, placeholder=' ...')}"))
    extremes = _extremes(table)
    if extremes.row_count:
        parts += [Text(""), extremes]
    parts.append(Text(CAUTION))
    return Group(*parts)


def _extremes(table: pd.DataFrame) -> Table:
    shown = Table(title="Least and largest", box=box.SIMPLE_HEAD, title_justify="left", title_style="bold")
    for name in ("column", "least", "case", "largest", "case"):
        shown.add_column(name, justify="left" if name == "column" else "right", overflow="fold")
    solved = table[table["status"].isin(["done", "missed"])]
    for name in result_columns(table):
        values = solved[name].dropna()
        if shown.row_count < MOST_ROWS and len(values) and values.dtype.kind in "if":
            low, high = values.idxmin(), values.idxmax()
            shown.add_row(Text(name), f"{values[low]:.5g}", str(low), f"{values[high]:.5g}", str(high))
    return shown


def result_columns(table: pd.DataFrame) -> list[str]:
    """Return the columns of a sweep's table that hold results."""
    varied = set(parameters(table)) | {"title", *ENDS}
    return [str(name) for name in table.columns if name not in varied]


def read_table(folder: Path) -> pd.DataFrame:
    """Return the table that a sweep wrote into a folder.

    Raises
    ------
    SetupError
        It is not there, or cannot be read.
    """
    frame = _read(folder / "sweep.parquet", "run fejoint sweep first")
    return frame if frame.index.name == "case" else frame.set_index("case")


def read_study_limits(folder: Path) -> tuple[str, ...]:
    """Return the limits that a sweep was given; none where its ``sweep.json`` does not say."""
    try:
        said = json.loads((folder / "sweep.json").read_text(encoding="utf-8"))
        return tuple(str(limit) for limit in said["limits"])
    except (OSError, ValueError, LookupError, TypeError):
        return ()


def read_curves(folder: Path) -> pd.DataFrame:
    """Return the bondlines' curves of all cases that a sweep kept; SetupError when it kept none."""
    return _read(folder / "curves.parquet", "a sweep writes it with keep_curves = true")


def _read(path: Path, cure: str) -> pd.DataFrame:
    from fejoint.environment import require_extra

    for package in ("pandas", "pyarrow"):
        require_extra(package, "sweep", "a sweep's table")
    import pandas as pd

    if not path.is_file():
        raise SetupError(f"{path}: is not there; {cure}.")
    try:
        return pd.read_parquet(path)
    except Exception:  # of many kinds: a damaged file, another format
        raise SetupError(f"{path}: cannot be read; run fejoint sweep into this folder again.") from None


def chosen(table: pd.DataFrame, conditions: Iterable[str]) -> pd.DataFrame:
    """Return the cases that meet conditions such as ``joint.overlap_length_mm=20``.

    Raises
    ------
    JointError
        Another form, no such column, or no such case.
    """
    for condition in conditions:
        name, equals, value = (part.strip() for part in condition.partition("="))
        if not equals or not value:
            raise JointError(f"--where {condition}: must be COLUMN=VALUE, such as joint.overlap_length_mm=20.")
        column = column_of(table, name)
        meets = _equal(column, value)
        if not meets.any():
            there = sorted({f"{v:g}" if isinstance(v, float) else str(v) for v in column.dropna()})
            raise JointError(f"--where {condition}: no case has this value; {near(value, there[:50])}")
        table = table[meets]
    return table


def _equal(column: pd.Series[Any], value: str) -> pd.Series[Any]:
    if column.dtype.kind not in "if":
        return column.astype(str).str.lower() == value.lower()
    try:
        number = float(value)
    except ValueError:
        raise JointError(f"--where {column.name}={value}: the column holds numbers; give one in its unit.") from None
    exact = (column - number).abs() <= 1e-9 * max(abs(number), 1e-300)
    return exact if exact.any() else column.map(lambda v: f"{v:g}") == f"{number:g}"  # as pictures and messages print it
