"""Finds how a tester's table is written: delimiter, decimal sign, where its head is, which column holds what, in which unit."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fejoint.coupon.head import found_columns, is_unit, name_and_unit
from fejoint.coupon.reading import INSIDE, Reading
from fejoint.errors import JointError
from fejoint.units import as_number

__all__ = ["Form", "cells_of", "form_of"]

MOST = 1e12  # of any number: what is larger was mistyped, and its ratios may leave all numbers
SEARCHED = 500  # lines in which the table's head must lie
DELIMITERS = {";": "semicolon", "\t": "tab", ",": "comma", "|": "bar"}

_COMMA = re.compile(r"^[+-]?\d*,\d+(?:[eE][+-]?\d+)?$")
_GROUPED = re.compile(r"^[+-]?[1-9]\d{0,2}[.,]\d{3}$")  # 1,234: one and a bit, or more than a thousand
_POINT = re.compile(r"^[+-]?\d*\.\d+(?:[eE][+-]?\d+)?$")


@dataclass(frozen=True)
class Form:
    """How a table is written: all that is the same in each of its blocks."""

    place: str
    delimiter: str
    decimal: str
    thousands: str
    head: tuple[str, ...]
    head_line: int
    columns: dict[str, int]  # by what it holds, from 0
    factors: dict[str, float]
    units_row: bool
    beside: tuple[tuple[int, str], ...] = ()
    """Of specimens side by side: by how many columns each is further on, and its name"""

    @property
    def sides(self) -> list[tuple[str, Form]]:
        """The form of each specimen's columns with its name; of one specimen only this form, without a name."""
        parts = [
            (name, replace(self, columns={key: c + further for key, c in self.columns.items()})) for further, name in self.beside
        ]
        return parts or [("", self)]

    def value(self, key: str, cell: str) -> float:
        """Return a cell of a column as a number in the unit inside; ValueError when it is none."""
        return self._clock(cell) if key == "time" and ":" in cell else self.number(cell) * self.factors[key]

    def _clock(self, cell: str) -> float:
        """Return a time of day, or since the start, as h:min:s or min:s in seconds; ValueError when it is none."""
        parts = cell.split(":")
        if not 2 <= len(parts) <= 3 or not all(part.isdecimal() for part in parts[:-1]):
            raise ValueError(cell)
        last = self.number(parts[-1])
        if not 0 <= last < 60:
            raise ValueError(cell)
        return sum(int(part) * 60.0 ** (len(parts) - 1 - i) for i, part in enumerate(parts[:-1])) + last

    def number(self, cell: str) -> float:
        """Return a cell as a number; ValueError when it is none."""
        if self.thousands:
            whole, mark, part = cell.partition(self.decimal)
            if self.thousands in whole and not re.fullmatch(
                rf"[+-]?\d{{1,3}}(?:{re.escape(self.thousands)}\d{{3}})+", whole.strip()
            ):
                raise ValueError(cell)
            cell = whole.replace(self.thousands, "") + mark + part
        if (self.decimal == "," and "." in cell) or (self.decimal == "." and "," in cell) or "_" in cell:
            raise ValueError(cell)
        value = float(cell.replace(self.decimal, "."))
        if not abs(value) < MOST:
            raise ValueError(cell)
        return value

    def at(self, line: int, key: str) -> str:
        """Return where a cell is, in words."""
        column = self.columns[key]
        return f"{self.place}, line {line + 1}, column {column + 1} ({self.head[column].strip() or key.replace('_', ' ')})"


def cells_of(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line, without quotes and blanks round them."""
    if '"' not in line:
        return [cell.strip() for cell in line.split(delimiter)]
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
    except csv.Error:
        return [cell.strip() for cell in line.split(delimiter)]


def _looks_numeric(cell: str) -> bool:
    return bool(re.fullmatch(r"[+-]?(?:\d[\d.,' ]*|[.,]\d+)(?:[eE][+-]?\d+)?", cell))


def _numeric_row(cells: Sequence[str]) -> bool:
    """Return whether a row looks like one of a table: two numbers at least, and at most one cell (a name) of something else."""
    numbers = sum(map(_looks_numeric, cells))
    return numbers >= 2 and sum(1 for cell in cells if cell) - numbers <= 1


def form_of(lines: list[str], reading: Reading, place: str) -> Form:
    """Return how the table in a text is written, as stated or as its first lines show.

    Raises
    ------
    JointError
        There is no table, or something that must not be guessed is not said.
    """
    delimiter = reading.delimiter or _delimiter(lines, place)
    rows = [cells_of(line, delimiter) for line in lines[: SEARCHED + (reading.header_lines or 0)]]
    head_line = reading.header_lines if reading.header_lines is not None else _head_line(rows, reading, place)
    if head_line >= len(rows) or not any(rows[head_line]):
        raise JointError(
            f"{place}: data.header_lines = {head_line}: line {head_line + 1} should hold the names of the columns, and is "
            f"{'empty' if head_line < len(rows) else 'not there'}."
        )
    head = tuple(rows[head_line])
    after = rows[head_line + 1] if head_line + 1 < len(rows) else []
    units_row = bool(after) and not any(map(_looks_numeric, after)) and any(map(is_unit, after))
    units = [name_and_unit(cell)[1] for cell in head]
    beside, columns = found_columns(rows, head_line, reading, place)
    decimal, thousands = _numbers(rows[head_line + 1 + units_row :], columns, reading, place)
    factors = {}
    for key in INSIDE:
        if key not in columns:
            continue
        column = columns[key]
        stated = getattr(reading.units, key)
        told = [
            stated or (after[c].strip("[]() ") if units_row and c < len(after) else "") or units[c]
            for c in (column + further for further, _ in beside or ((0, ""),))
            if c < len(units)
        ]
        if len(set(told)) > 1:
            raise JointError(
                f"{place}: specimens side by side have the {key.replace('_', ' ')} in different units ({', '.join(told)}); "
                "write them in one."
            )
        unit = told[0] or ("s" if key == "time" else "")
        if key == "time" and ":" in unit:  # hh:mm:ss
            unit = "s"
        if not unit:
            raise JointError(
                f'{place}: column {column + 1} ({head[column]}) says no unit; give data.units.{key}, such as "{INSIDE[key]}".'
            )
        try:
            factors[key] = as_number(f"1 {unit}", INSIDE[key])
        except ValueError as error:
            raise JointError(
                f'{place}: column {column + 1} ({head[column]}), unit "{unit}": {error}; data.units.{key} overrides it.'
            ) from None
    return Form(place, delimiter, decimal, thousands, head, head_line, columns, factors, units_row, beside)


def _delimiter(lines: list[str], place: str) -> str:
    """Return the delimiter that makes most rows of numbers, the rarer sign in texts first."""
    best, most = "", 0
    for delimiter in DELIMITERS:
        rows = (cells_of(line, delimiter) for line in lines[:SEARCHED] if delimiter in line)
        score = sum(1 for cells in rows if _numeric_row(cells))
        if score > most:
            best, most = delimiter, score
    if not best:
        raise JointError(
            f"{place}: no table of numbers found in its first {SEARCHED} lines; columns must be parted by one of "
            f"{', '.join(DELIMITERS.values())}, or say data.delimiter and data.header_lines."
        )
    return best


def _head_line(rows: list[list[str]], reading: Reading, place: str) -> int:
    """Return the line of the head: of names, over numbers, with columns of force and displacement.

    Other tables, such as one of results, may stand before it; what the first one lacks is said where none serves.
    """
    refused: JointError | None = None
    for line in _heads(rows):
        try:
            found_columns(rows, line, reading, place)
        except JointError as error:
            refused = refused or error
        else:
            return line
    raise refused or JointError(
        f"{place}: no line with the names of the columns stands over its numbers; give data.header_lines."
    )


def _heads(rows: list[list[str]]) -> Iterator[int]:
    """Yield lines of names over a row of numbers, a row of units between them passed over."""
    seen = -1
    for i, cells in enumerate(rows):
        if not _numeric_row(cells):
            continue
        for j in range(i - 1, max(i - 4, seen), -1):
            named = [cell for cell in rows[j] if cell]
            if len(named) < 2 or len(rows[j]) < len(cells) - 1 or any(map(_looks_numeric, named)):
                continue
            bare = 2 * sum(is_unit(cell) for cell in named) >= len(named)  # degrees or per cent may stand among them
            if not (bare and j > 0 and len([cell for cell in rows[j - 1] if cell]) >= 2):
                seen = j
                yield j
                break


def _numbers(rows: list[list[str]], columns: dict[str, int], reading: Reading, place: str) -> tuple[str, str]:
    """Return the decimal sign and that of thousands, as given or as the first rows show them."""
    cells = [row[c] for row in rows for key, c in columns.items() if key != "specimen" and c < len(row)]
    both = [cell for cell in cells if "." in cell and "," in cell and _looks_numeric(cell)]
    commas, points = any(map(_COMMA.match, cells)), any(map(_POINT.match, cells))
    decimal: str | None = reading.decimal
    thousands: str | None = reading.thousands
    if decimal is None:
        if both:
            decimal = "," if both[0].rfind(",") > both[0].rfind(".") else "."
        elif commas and points:
            raise JointError(
                f"{place}: numbers have both points and commas; say which is which: data.decimal and data.thousands."
            )
        else:
            decimal = "," if commas else "."
        signed = [cell for cell in cells if _COMMA.match(cell) or _POINT.match(cell)]
        if signed and thousands is None and not both and all(map(_GROUPED.match, signed)):
            raise JointError(
                f'{place}: "{signed[0]}" may be a number with a decimal sign or one in thousands, and no other cell tells; say '
                "which: data.decimal and data.thousands."
            )
    if thousands is None:
        other = "." if decimal == "," else ","
        repeated = re.compile(rf"[+-]?\d{{1,3}}(?:{re.escape(other)}\d{{3}})+(?:{re.escape(decimal)}\d*)?")
        grouped = both or any(cell.count(other) > 1 and repeated.fullmatch(cell) for cell in cells)
        thousands = (
            other if grouped else next((mark for mark in (" ", "'") if any(mark in c and _looks_numeric(c) for c in cells)), "")
        )
    if decimal == thousands:
        raise JointError(f'{place}: data.decimal and data.thousands are both "{decimal}"; they must differ.')
    return decimal, thousands
