"""Reads a table of values from a CSV file: one coupon a line, the columns named in the first."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from fejoint.coupon.tester import decoded
from fejoint.errors import JointError

__all__ = ["ValueTable", "quantity_of", "read_values", "unit_of"]

MOST_BYTES = 20_000_000
_IN_BRACKETS = re.compile(r"\s*[\[(]\s*([^\[\]()]+?)\s*[\])]\s*$")
YES, NO = ("yes", "y", "true", "1"), ("no", "n", "false", "0")


@dataclass(frozen=True)
class ValueTable:
    """A table of texts.

    Attributes
    ----------
    name : str
        Of the file, for refusals.
    columns : mapping of str to tuple of str
        By the names of the first line; all of one length.
    lines : tuple of int
        Where each row stands in the file.
    decimal_comma : bool
        Whether numbers are written with a comma.
    """

    name: str
    columns: Mapping[str, tuple[str, ...]]
    lines: tuple[int, ...]
    decimal_comma: bool

    def texts(self, column: str) -> tuple[str, ...]:
        """Return a column as it is written.

        Raises
        ------
        JointError
            There is no such column.
        """
        if column not in self.columns:
            raise JointError(f"{self.name}: has no column {column}; it has {', '.join(self.columns)}.")
        return self.columns[column]

    def numbers(self, column: str, *, blank: bool = False) -> tuple[float, ...]:
        """Return a column of numbers; where `blank` is allowed an empty cell is NaN.

        Raises
        ------
        JointError
            There is no such column, a cell is no finite number (says its line), or commas and points are mixed.
        """
        found: list[float] = []
        texts = self.texts(column)
        if any("," in text for text in texts) and any("." in text for text in texts):
            raise JointError(f"{self.name}: {column} mixes decimal commas and points; write all its numbers one way.")
        for line, text in zip(self.lines, texts, strict=True):
            if not text and blank:
                found.append(math.nan)
                continue
            try:
                value = float(text.replace(",", ".") if self.decimal_comma else text)
            except ValueError:
                value = math.nan
            if not math.isfinite(value) or "_" in text:
                raise JointError(f'{self.name}, line {line}: {column} = "{text[:40]}" must be a finite number.')
            found.append(value)
        return tuple(found)

    def answers(self, column: str) -> tuple[bool, ...]:
        """Return a column of yes and no (also true and false, 1 and 0).

        Raises
        ------
        JointError
            There is no such column, or a cell is neither: says its line.
        """
        found = []
        for line, text in zip(self.lines, self.texts(column), strict=True):
            if text.lower() not in YES + NO:
                raise JointError(f'{self.name}, line {line}: {column} = "{text[:40]}" must be yes or no.')
            found.append(text.lower() in YES)
        return tuple(found)

    def beginning(self, starts: Iterable[str]) -> str | None:
        """Return the one column whose name is, or begins with, one of some words; None where there is none or more."""
        words = tuple(starts)
        found = [name for name in self.columns if re.split(r"[_\s\[(/]", name.lower())[0] in words]
        return found[0] if len(found) == 1 else None


def read_values(path: Path) -> ValueTable:
    """Return the table of a CSV file.

    Cells part at semicolons (then numbers may have decimal commas), tabs or commas, as the first line has them; empty
    lines and lines that begin with # are left out.

    Raises
    ------
    JointError
        The file cannot be read, or is no table: says where.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise JointError(f"{path}: is too large for a table of coupons ({MOST_BYTES // 1_000_000} MB at most).")
        text = decoded(path.read_bytes(), None, str(path))
    except OSError as error:
        raise JointError(f"{path}: cannot be read ({(error.strerror or str(error)).lower()}).") from None
    kept = [(i, line) for i, line in enumerate(text.splitlines(), start=1) if line.strip(" ;,\t") and not line.startswith("#")]
    if len(kept) < 2:
        raise JointError(f"{path}: needs a first line with the names of the columns and a line for each coupon.")
    # A table of one column has nothing to part: its commas are decimal.
    mark = next((c for c in (";", "\t", ",") if c in kept[0][1]), ";")
    try:
        rows = [[cell.strip() for cell in row] for row in csv.reader([line for _, line in kept], delimiter=mark, strict=True)]
    except csv.Error as error:
        raise JointError(f"{path}: is no table ({error}).") from None
    head = rows[0]
    if len(rows) != len(kept):
        raise JointError(f"{path}: a cell in quotes must end on its own line.")
    if len(set(head)) != len(head) or "" in head:
        raise JointError(f"{path}: its first line must name every column, each once.")
    for (line, _), row in zip(kept, rows, strict=True):
        if len(row) != len(head):
            raise JointError(f"{path}, line {line}: has {len(row)} cells; the first line names {len(head)} columns.")
    columns = {name: tuple(row[i] for row in rows[1:]) for i, name in enumerate(head)}
    return ValueTable(path.name, columns, tuple(line for line, _ in kept[1:]), mark != ",")


def unit_of(column: str) -> str:
    """Return the unit at the end of a column's name (``strength_MPa``, ``strength (MPa)``, ``[MPa]``), or an empty text."""
    bracketed = _IN_BRACKETS.search(column)
    if bracketed:
        return bracketed[1]
    return column.rsplit("_", 1)[1] if "_" in column else ""


def quantity_of(column: str) -> str:
    """Return a column's name without its unit, underscores as blanks."""
    unit = unit_of(column)
    return (_IN_BRACKETS.sub("", column).removesuffix(f"_{unit}") if unit else column).replace("_", " ")
