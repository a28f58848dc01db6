"""A table of joints: a CSV or Parquet file with a joint a row."""

from __future__ import annotations

import math
import stat
import warnings
from pathlib import Path
from typing import Any

from fejoint.errors import JointError
from fejoint.joint.keys import column_name, known_keys, near
from fejoint.study.wording import line, short

__all__ = ["MAX_CASES", "joints_in"]

MAX_CASES = 1_000_000  # a larger study is split, whatever the patience
MAX_BYTES = 1_000_000_000  # of a table of joints


def joints_in(path: Path) -> tuple[dict[str, Any], ...]:
    """Return the joints of a CSV or Parquet file: values by dotted key, empty cells left out.

    Columns are keys, or keys with their inside unit as a sweep's own table has
    them (whose results are passed over). Texts that are numbers or truth values
    become such.

    Raises
    ------
    JointError
        The file cannot be read, is none of the two, has no rows or too many, or a column that is no key.
    """
    known = known_keys()
    names = {column_name(key, unit): key for key, unit in known.items()}
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):  # of a pipe or a device there may be no end, or no beginning
            raise JointError(f"{path}: is a folder, a pipe or a device; sweep.table must be a CSV or Parquet file.")
        if status.st_size > MAX_BYTES:
            raise JointError(f"{path}: larger than {MAX_BYTES} bytes; split the table.")
        frame = _frame(path)
    except JointError:
        raise
    except OSError as error:
        raise JointError(f"{path}: cannot be read ({line(error.strerror or error).lower()}); check the path.") from None
    except Exception as error:  # each reader has errors of its own
        raise JointError(f"{path}: is no table that can be read ({line(error)}); give a CSV or Parquet file.") from None
    if not len(frame):
        raise JointError(f"{path}: has no rows; give a joint a row.")
    if len(frame) > MAX_CASES:
        raise JointError(f"{path}: has more than {MAX_CASES} rows; split it.")
    if {"status", "seconds"} <= set(frame.columns):  # a sweep's own table: its results are no keys
        frame = frame[[column for column in frame.columns if names.get(str(column), str(column)) in known]]
    frame = frame.drop(columns="case", errors="ignore")
    keys: dict[Any, str] = {}
    for column in frame.columns:
        key = names.get(str(column), str(column))
        if key not in known:
            raise JointError(f"{path}: no key {short(str(column))}; {near(key, known)} Columns are keys of the joint file.")
        if key in keys.values():
            raise JointError(f"{path}: {key} stands in two columns; drop one.")
        keys[column] = key
    frame = frame.rename(columns=keys)
    return tuple(
        {key: _cell(key, value) for key, value in zip(frame.columns, row, strict=True) if not _empty(value)}
        for row in frame.itertuples(index=False, name=None)
    )


def _frame(path: Path) -> Any:
    """Return a CSV or Parquet file as it stands, or the beginning of one that is too long."""
    import pandas as pd

    if path.suffix.lower() not in (".parquet", ".pq"):
        with warnings.catch_warnings():  # rows with more cells than there are columns
            warnings.simplefilter("error")
            return pd.read_csv(path, dtype=str, encoding="utf-8-sig", index_col=False, compression=None, nrows=MAX_CASES + 1)
    import pyarrow.parquet as pq

    if pq.ParquetFile(path).metadata.num_rows > MAX_CASES:  # a small file may hold very many
        raise JointError(f"{path}: has more than {MAX_CASES} rows; split it.")
    return pd.read_parquet(path).astype(object)  # here, because damaged texts are only noticed now


def _empty(value: Any) -> bool:
    """Return whether a table's cell says nothing."""
    import pandas as pd

    return value is None or value is pd.NA or value is pd.NaT or (isinstance(value, float) and math.isnan(value))


def _cell(key: str, value: Any) -> Any:
    """Return a table's cell as a value of a joint file: text that is a number or true or false becomes it, but for a title."""
    value = value.tolist() if hasattr(value, "tolist") else value
    if not isinstance(value, str) or key == "title":
        return value
    text = value.strip()
    if text in ("true", "false", "True", "False"):
        return text.lower() == "true"
    try:
        number = float(text)
    except ValueError:
        return text
    return int(number) if number.is_integer() and abs(number) < 2**53 else number
