"""Reads what a tensile tester writes: a table of force and displacement as text, of one or several specimens.

The table's form is found from the text itself - delimiter, decimal comma,
lines before the head, units in the head or in a row under it - and each part of
it may be said instead. What cannot be told for sure, such as whether a column
without a unit holds N or kN, is asked for, not guessed.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, NoReturn, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from fejoint.coupon.curve import Pull
from fejoint.errors import JointError
from fejoint.joint.model import Model, refuse
from fejoint.units import as_number

__all__ = ["ColumnUnits", "Columns", "Reading", "decoded", "pulls_from_file", "pulls_from_text"]

Floats = NDArray[np.float64]

MOST_BYTES = 50_000_000
MOST_POINTS = 2_000_000  # of a file
MOST_SPECIMENS = 1_000
LEAST_POINTS = 3  # of a specimen: fewer make no curve
SEARCHED = 500  # lines in which the table's head must lie
DELIMITERS = {";": "semicolon", "\t": "tab", ",": "comma", "|": "bar"}

Name = str | Annotated[int, Field(ge=1, le=10_000)]
# What columns are called, in small letters, the likeliest first; a head may go on after the word.
WORDS = {
    "force": ("force", "load", "kraft", "standard force", "f"),
    "displacement": ("displacement", "crosshead", "travel", "stroke", "position", "grip separation", "weg", "standardweg"),
    "extension": ("extension", "extensometer", "dehnweg", "gauge extension"),
    "time": ("time", "zeit", "elapsed time", "test time"),
    "specimen": ("specimen", "sample", "coupon", "probe", "test piece"),
    "crack_length": ("crack length", "crack", "risslänge", "a"),
}
INSIDE = {"force": "N", "displacement": "mm", "extension": "mm", "time": "s", "crack_length": "mm"}
_IN_BRACKETS = re.compile(r"^(.*?)\s*[\[(]\s*([^\[\]()]*?)\s*[\])]\s*$")
_AFTER_MARK = re.compile(r"^(.*?)\s*[/_,]\s*([^\s/_,]+(?:/[^\s/_,]+)?)\s*$")
_COMMA = re.compile(r"^[+-]?\d*,\d+(?:[eE][+-]?\d+)?$")
_POINT = re.compile(r"^[+-]?\d*\.\d+(?:[eE][+-]?\d+)?$")
_NAMED = re.compile(
    rf"^\s*(?:{'|'.join(WORDS['specimen'])})\s*(?:no\.?|number|name|id|nr\.?)?\s*[:=#]?\s*(.+?)\s*$", re.IGNORECASE
)


class Columns(Model):
    """Which column holds what: by its name in the head, without the unit, or by its number from 1."""

    force: Name | None = Field(None, examples=["Load"])
    """Force"""
    displacement: Name | None = Field(None, examples=["Crosshead"])
    """Displacement of the grips or of the loading point"""
    extension: Name | None = Field(None, examples=["Extensometer"])
    """What an extensometer on the specimen read"""
    time: Name | None = Field(None, examples=["Time"])
    """Time"""
    specimen: Name | None = Field(None, examples=["Specimen"])
    """Name of the specimen, where several are in one table"""
    crack_length: Name | None = Field(None, examples=["Crack length"])
    """Crack length where it was read, empty elsewhere"""


class ColumnUnits(Model):
    """The unit of each column; from its head or from a row of units when left out."""

    force: str | None = Field(None, examples=["kN"])
    """Of the force"""
    displacement: str | None = Field(None, examples=["mm"])
    """Of the displacement"""
    extension: str | None = Field(None, examples=["um"])
    """Of the extension"""
    time: str | None = Field(None, examples=["s"])
    """Of the time; seconds where nothing says otherwise"""
    crack_length: str | None = Field(None, examples=["mm"])
    """Of the crack length"""

    @model_validator(mode="after")
    def _are_units(self) -> Self:
        for key, inside in INSIDE.items():
            unit = getattr(self, key)
            if unit is not None:
                try:
                    as_number(f"1 {unit}", inside)
                except ValueError as error:
                    refuse(key, unit, str(error))
        return self


class Reading(Model):
    """How a tester's table is read; what is left out is found from the text."""

    delimiter: Literal[";", ",", "\t", "|"] | None = Field(None, examples=[";"])
    """What stands between columns: semicolon, comma, tab or bar"""
    decimal: Literal[".", ","] | None = Field(None, examples=[","])
    """Decimal point or comma"""
    thousands: Literal["", ".", ",", " ", "'"] | None = Field(None, examples=["."])
    """What parts thousands in numbers; nothing unless found"""
    header_lines: Annotated[int, Field(ge=0, le=10_000)] | None = Field(None, examples=[12])
    """Lines before the one with the names of the columns"""
    columns: Columns = Columns()
    """Which column holds what"""
    units: ColumnUnits = ColumnUnits()
    """Unit of each column"""
    encoding: Literal["utf-8", "latin-1", "utf-16"] | None = Field(None, examples=["latin-1"])
    """How the file holds its letters"""
    negative: bool = Field(False, examples=[True])
    """Force and displacement were recorded as negative, as of a specimen pressed on: turn both"""


# ---- text ------------------------------------------------------------------


def pulls_from_file(path: str | Path, reading: Reading | None = None) -> list[Pull]:
    """Return the pulls of a tester's file; its name, without ending, is that of a single specimen.

    Raises
    ------
    JointError
        It cannot be read, is larger than 50 MB, or holds no such table: says file, line and column.
    """
    path, reading = Path(path), reading or Reading()
    try:
        if path.stat().st_size > MOST_BYTES:
            raise JointError(f"{path}: is larger than {MOST_BYTES / 1e6:g} MB; export fewer points a second, or split it.")
        data = path.read_bytes()
    except OSError as error:
        raise JointError(f"{path}: cannot be read ({(error.strerror or str(error)).lower()}).") from None
    return pulls_from_text(decoded(data, reading.encoding, str(path)), reading, str(path), name=path.stem)


def decoded(data: bytes, encoding: str | None, place: str) -> str:
    """Return the text of a file's bytes; by its byte-order mark, as UTF-8, else as Latin-1 unless an encoding is given.

    Raises
    ------
    JointError
        The bytes are no text in that encoding.
    """
    if encoding is None:
        if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
            encoding = "utf-16"
        elif len(data) > 3 and data[1:200:2].count(0) > 0.8 * len(data[1:200:2]):  # Latin letters, two bytes each, no mark
            encoding = "utf-16-le"
    for tried in (encoding,) if encoding else ("utf-8", "latin-1"):
        try:
            text = data.decode("utf-8-sig" if tried == "utf-8" else tried)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            raise JointError(f"{place}: is no text file; export the test as text (CSV).")
        return text.removeprefix("\ufeff")
    raise JointError(f"{place}: is no text in {encoding}; give data.encoding, one of utf-8, latin-1, utf-16.")


def pulls_from_text(text: str, reading: Reading | None = None, place: str = "test data", name: str = "") -> list[Pull]:
    """Return the pulls that a tester's table holds, in their order; forces in N, lengths in mm, times in s.

    Parameters
    ----------
    text : str
        One table, of one specimen or of several told apart by a column; or the
        same table again and again, a block a specimen.
    reading : Reading, optional
        What to go by in place of what is found.
    place : str
        What errors call the file.
    name : str
        Of a single specimen without name; blocks without name get it with their number.

    Raises
    ------
    JointError
        One sentence with file, line and column: a force that is text, times that
        decrease, no table, a column or a unit that is not there, too few points.
    """
    reading = reading or Reading()
    lines = text.splitlines()
    if len(lines) > MOST_POINTS:
        raise JointError(f"{place}: has more than {MOST_POINTS} lines; export fewer points a second, or split it.")
    form = _form(lines, reading, place)
    blocks = _blocks(lines, form)
    found: list[Pull] = []
    for number, (first, last, block_name) in enumerate(blocks, start=1):
        alone = name or Path(place).stem
        found += _pulls(lines, form, first, last, block_name or (alone if len(blocks) == 1 else f"{alone} {number}"), reading)
        if len(found) > MOST_SPECIMENS:
            raise JointError(f"{place}: holds more than {MOST_SPECIMENS} specimens; check data.columns.specimen.")
    return found


# ---- form of the table -----------------------------------------------------


@dataclass(frozen=True)
class _Form:
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
        if not np.isfinite(value):
            raise ValueError(cell)
        return value

    def at(self, line: int, key: str) -> str:
        """Return where a cell is, in words."""
        column = self.columns[key]
        return f"{self.place}, line {line + 1}, column {column + 1} ({self.head[column].strip() or key.replace('_', ' ')})"


def _cells(line: str, delimiter: str) -> list[str]:
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


def _form(lines: list[str], reading: Reading, place: str) -> _Form:
    delimiter = reading.delimiter or _delimiter(lines, place)
    rows = [_cells(line, delimiter) for line in lines[: SEARCHED + (reading.header_lines or 0)]]
    head_line = reading.header_lines if reading.header_lines is not None else _head_line(rows, place)
    if head_line >= len(rows) or not any(rows[head_line]):
        raise JointError(
            f"{place}: data.header_lines = {head_line}: line {head_line + 1} should hold the names of the columns, and is "
            f"{'empty' if head_line < len(rows) else 'not there'}."
        )
    head = tuple(rows[head_line])
    after = rows[head_line + 1] if head_line + 1 < len(rows) else []
    units_row = bool(after) and not any(map(_looks_numeric, after)) and any(map(_is_unit, after))
    names, units = zip(*(_name_and_unit(cell) for cell in head), strict=True)
    columns = _columns(names, head, reading, place)
    decimal, thousands = _numbers(rows[head_line + 1 + units_row :], columns, delimiter, reading, place)
    factors = {}
    for key in INSIDE:
        if key not in columns:
            continue
        column = columns[key]
        said = getattr(reading.units, key) or (after[column].strip("[]() ") if units_row and column < len(after) else "")
        unit = said or units[column] or ("s" if key == "time" else "")
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
    return _Form(place, delimiter, decimal, thousands, head, head_line, columns, factors, units_row)


def _delimiter(lines: list[str], place: str) -> str:
    """Return the delimiter that makes most rows of numbers, the rarer sign in texts first."""
    best, most = "", 0
    for delimiter in DELIMITERS:
        rows = (_cells(line, delimiter) for line in lines[:SEARCHED] if delimiter in line)
        score = sum(1 for cells in rows if _numeric_row(cells))
        if score > most:
            best, most = delimiter, score
    if not best:
        raise JointError(
            f"{place}: no table of numbers found in its first {SEARCHED} lines; columns must be parted by one of "
            f"{', '.join(DELIMITERS.values())}, or say data.delimiter and data.header_lines."
        )
    return best


def _head_line(rows: list[list[str]], place: str) -> int:
    """Return the line of the head: the last one of names before the first row of numbers, a row of units left out."""
    for i, cells in enumerate(rows):
        if not _numeric_row(cells):
            continue
        for j in range(i - 1, max(i - 4, -1), -1):
            named = [cell for cell in rows[j] if cell]
            wide = len(named) >= 2 and len(rows[j]) >= len(cells) - 1
            if not wide or any(map(_looks_numeric, named)):
                continue
            bare = all(_is_unit(cell) for cell in named)
            if not (bare and j > 0 and len([cell for cell in rows[j - 1] if cell]) >= 2):
                return j
        if any(len([cell for cell in later if cell]) >= 2 and not any(map(_looks_numeric, later)) for later in rows[i:]):
            continue  # numbers among the lines before the head
        break
    raise JointError(f"{place}: no line with the names of the columns stands over its numbers; give data.header_lines.")


def _is_unit(cell: str) -> bool:
    cell = cell.strip("[]() ")
    for inside in dict.fromkeys(INSIDE.values()):
        try:
            as_number(f"1 {cell}", inside)
        except ValueError:
            continue
        return bool(cell)
    return False


def _name_and_unit(cell: str) -> tuple[str, str]:
    """Return a column's name and the unit that its head says: Load [kN], Load (kN), Load / kN, load_kN, Load, kN."""
    found = _IN_BRACKETS.match(cell)
    if found:
        return found[1], found[2]
    found = _AFTER_MARK.match(cell)
    if found and _is_unit(found[2]):
        return found[1], found[2]
    return cell, ""


def _columns(names: Sequence[str], head: Sequence[str], reading: Reading, place: str) -> dict[str, int]:
    """Return the place of each column by what it holds."""
    found: dict[str, int] = {}
    plain = [" ".join(name.replace("_", " ").lower().split()) for name in names]
    for key in WORDS:
        asked = getattr(reading.columns, key)
        if isinstance(asked, int):
            if asked > len(names):
                raise JointError(f"{place}: data.columns.{key} = {asked}: the table has {len(names)} columns.")
            found[key] = asked - 1
        elif asked is not None:
            wanted = " ".join(asked.replace("_", " ").lower().split())
            places = [i for i, name in enumerate(plain) if wanted in (name, " ".join(head[i].lower().split()))]
            if len(places) != 1:
                which = "there is none" if not places else f"there are {len(places)}; give its number"
                raise JointError(f'{place}: data.columns.{key} = "{asked}": {which}; columns: {_listed(head)}.')
            found[key] = places[0]
    taken = set(found.values())
    for key, words in WORDS.items():
        if key in found:
            continue
        for word in words:
            long = len(word) > 2
            places = [
                i for i, name in enumerate(plain) if i not in taken and (name == word or (long and name.startswith(f"{word} ")))
            ]
            if len(places) > 1 and key in ("force", "displacement"):
                raise JointError(
                    f"{place}: columns {_listed(head[i] for i in places)} may all be the {key}; give data.columns.{key}."
                )
            if places:
                found[key] = places[0]
                taken.add(places[0])
                break
    if "displacement" not in found and "extension" in found and reading.columns.displacement is None:
        found["displacement"] = found["extension"]  # the only length there is
        taken.add(found["extension"])
    for key in ("force", "displacement"):
        if key not in found:
            raise JointError(
                f"{place}: no column is the {key}, as far as names tell; give data.columns.{key}; columns: {_listed(head)}."
            )
    if found["force"] == found["displacement"]:
        raise JointError(f"{place}: data.columns: force and displacement are one column ({head[found['force']]}); give two.")
    return found


def _listed(names: Any) -> str:
    shown = [name or "(no name)" for name in names]
    return ", ".join(shown[:12]) + (f" and {len(shown) - 12} more" if len(shown) > 12 else "")


def _numbers(rows: list[list[str]], columns: dict[str, int], delimiter: str, reading: Reading, place: str) -> tuple[str, str]:
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
            decimal = "," if commas and delimiter != "," else "."
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


# ---- blocks and columns of numbers -----------------------------------------


def _blocks(lines: list[str], form: _Form) -> list[tuple[int, int, str]]:
    """Return first and last line (exclusive) and name of each block of numbers; a block begins where the head stands again."""
    marker = lines[form.head_line].strip()
    heads = [i for i, line in enumerate(lines) if i >= form.head_line and line.strip() == marker]
    found = []
    above = 0
    for head, following in zip(heads, [*heads[1:], len(lines)], strict=True):
        last = following
        while last > head + 1 and not _is_row(lines[last - 1], form) and (following < len(lines) or not lines[last - 1].strip()):
            last -= 1
        found.append((head + 1 + form.units_row, last, _block_name(lines[above:head], form) if len(heads) > 1 else ""))
        above = last
    return found


def _is_row(line: str, form: _Form) -> bool:
    cells = _cells(line, form.delimiter)
    try:
        form.number(cells[form.columns["force"]])
        form.number(cells[form.columns["displacement"]])
    except (ValueError, IndexError):
        return False
    return True


def _block_name(lines: Sequence[str], form: _Form) -> str:
    for line in reversed(lines):
        found = _NAMED.match(" ".join(cell for cell in _cells(line, form.delimiter) if cell))
        if found:
            return found[1]
    return ""


def _pulls(lines: list[str], form: _Form, first: int, last: int, name: str, reading: Reading) -> list[Pull]:
    """Return the pulls of one block."""
    keys = [key for key in INSIDE if key in form.columns]
    values: dict[str, list[float]] = {key: [] for key in keys}
    names: list[str] = []
    at: list[int] = []
    widest = max(form.columns.values())
    for i in range(first, last):
        if not lines[i].strip():
            continue
        cells = _cells(lines[i], form.delimiter)
        cells += [""] * (widest + 1 - len(cells))
        if not any(cells):
            continue
        for key in keys:
            cell = cells[form.columns[key]]
            if not cell and key == "crack_length":
                values[key].append(np.nan)
                continue
            try:
                values[key].append(form.number(cell) * form.factors[key])
            except ValueError:
                _not_a_number(form, i, key, cell)
        names.append(cells[form.columns["specimen"]] if "specimen" in form.columns else name)
        at.append(i)
    arrays = {key: np.array(column) for key, column in values.items()}
    if reading.negative:
        arrays["force"], arrays["displacement"] = -arrays["force"], -arrays["displacement"]
    where, labels = np.array(at, dtype=int), np.array(names, dtype=object)
    if not len(where):
        raise JointError(f"{form.place}: no numbers stand under the names of the columns (line {form.head_line + 1}).")
    found = []
    for label in dict.fromkeys(names):
        if not label:
            raise JointError(f"{form.at(int(where[labels == label][0]), 'specimen')}: names no specimen.")
        chosen = labels == label
        found.append(_pull(label, {key: column[chosen] for key, column in arrays.items()}, where[chosen], form))
    return found


def _pull(label: str, columns: dict[str, Floats], lines: NDArray[np.int64], form: _Form) -> Pull:
    if len(lines) < LEAST_POINTS:
        raise JointError(f"{form.place}: specimen {label} has {len(lines)} points, and a curve needs {LEAST_POINTS}.")
    time = columns.get("time")
    if time is not None and (np.diff(time) < 0).any():
        i = int(np.argmax(np.diff(time) < 0)) + 1
        raise JointError(
            f"{form.at(int(lines[i]), 'time')}: time falls from {time[i - 1]:g} s to {time[i]:g} s; times must not decrease, "
            "so give each specimen its own name, or block, and order the rows."
        )
    if not np.max(columns["force"]) > 0:
        raise JointError(
            f"{form.place}: specimen {label}: no force lies above 0; if pressing counts as negative, say data.negative = true."
        )
    return Pull(
        name=label,
        displacement=columns["displacement"],
        force=columns["force"],
        extension=columns.get("extension"),
        time=time,
        crack_length=columns.get("crack_length"),
    )


def _not_a_number(form: _Form, line: int, key: str, cell: str) -> NoReturn:
    shown = f'"{cell[:30]}"' if cell else "an empty cell"
    raise JointError(
        f'{form.at(line, key)}: {shown} is no number with the decimal sign "{form.decimal}"; '
        f"check data.columns.{key}, data.decimal and data.thousands."
    )
