"""Results of an inspection, a flaw a line of a CSV file, as flaws of a joint."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fejoint.errors import JointError, one_line
from fejoint.joint.file import plain, read_text
from fejoint.joint.flaws import Flaw
from fejoint.joint.geometry import WITHIN
from fejoint.units import as_number

if TYPE_CHECKING:
    from fejoint.joint.description import Joint

__all__ = ["Inspected", "Inspection", "inspected", "read_inspection", "text_with_flaws", "with_flaws"]

LENGTHS = ("start", "length", "width")
WORDS = ("kind", "place", "bondline", "note", "found_by")
NEEDED = ("start", "length", "kind")
MOST_ROWS = 1000
MOST_NAMED = 5  # errors in one sentence
# A number, and a unit that does not go on as a number does ("1.000,5" has two points).
_PLAIN = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?(\s*[^\W\d_]\S*)?")
# A length's column: its key, and the unit as "start_mm", "start mm", "start (mm)" or "start [mm]".
_HEAD = re.compile(rf"({'|'.join(LENGTHS)})(?:$|[ _]*([(\[])? *(\S+?) *(?(2)[)\]]))")


@dataclass(frozen=True)
class Inspected:
    """One line of an inspection.

    Attributes
    ----------
    flaw : Flaw
    line : int
        Of the file.
    width : float or None, mm
        Of the patch, where it is stated; the flaw counts across the whole width all the same.
    note, found_by : str
    """

    flaw: Flaw
    line: int
    width: float | None = None
    note: str = ""
    found_by: str = ""


@dataclass(frozen=True)
class Inspection:
    """The flaws that an inspection found, and what is to be said of them.

    Attributes
    ----------
    name : str
        Of the file.
    rows : tuple of Inspected
    said : tuple of str
        Sentences: what is counted otherwise than it was found.
    """

    name: str
    rows: tuple[Inspected, ...]
    said: tuple[str, ...] = ()

    @property
    def flaws(self) -> tuple[Flaw, ...]:
        """The flaws, in the file's order."""
        return tuple(row.flaw for row in self.rows)


def read_inspection(path: str | Path) -> Inspection:
    """Return what an inspection's CSV file says.

    A first line of column names; ``start``, ``length`` and, of a patch that is narrower than the joint, ``width`` with their
    unit behind (``start_mm``, ``start (mm)``), or without one, the cells then as in a joint file (``3 mm``; bare numbers are
    mm); ``kind``; and if wanted ``place``, ``bondline``, ``note``, ``found_by``. Columns are parted by commas, semicolons or
    tabs; where they are not by commas a comma may stand for the decimal point.

    Raises
    ------
    JointError
        The file cannot be read, or says what no flaw is: each place by line and column.
    """
    try:
        lines = read_text(path).splitlines()
    except JointError as error:
        raise JointError(str(error).replace("give a joint file (TOML, UTF-8)", "give a CSV file (UTF-8)")) from None
    return inspected(lines, str(path))


def inspected(lines: list[str], name: str) -> Inspection:
    """Return what the lines of an inspection's CSV file say (see `read_inspection`); `name` is for error sentences."""
    first = next((i for i, text in enumerate(lines) if text.strip(" ,;\t")), None)
    if first is None:
        raise JointError(f"{name}: is empty; it must have a first line with the columns {', '.join(NEEDED)} and a flaw a line.")
    mark = max(";\t,", key=lines[first].count)
    try:
        rows = [(reader.line_num + first, row) for reader in [csv.reader(lines[first:], delimiter=mark)] for row in reader]
    except csv.Error as error:
        raise JointError(f"{name}: cannot be read as a table ({error}).") from None
    head = [cell.strip() for cell in rows[0][1]]
    while head and not head[-1]:  # a spreadsheet leaves empty columns at the right
        head.pop()
    columns = _columns(head, name)
    rows = [(line, _without_tail(row, len(head))) for line, row in rows[1:] if any(cell.strip() for cell in row)]
    if not rows:
        raise JointError(f"{name}: has no flaws below its first line; leave the file out where nothing was found.")
    if len(rows) > MOST_ROWS:
        raise JointError(f"{name}: has more than {MOST_ROWS} flaws; give those of this joint.")
    found, wrong = [], list[str]()
    for line, row in rows:
        if len(row) > len(columns):
            more = " (is a comma a decimal point here? then part the columns by semicolons)" if mark == "," else ""
            wrong.append(f"line {line}: has {len(row)} cells where there are {len(columns)} columns{more}")
            continue
        cells = {key: (cell.strip(), unit, head) for (key, unit, head), cell in zip(columns, row, strict=False)}
        found += _flaw(cells, line, wrong)
    _refuse(wrong, name)
    patches = [row for row in found if row.width is not None]
    said = [
        f"{name}: the flaws of line{'s' if len(patches) > 1 else ''} {', '.join(str(row.line) for row in patches)} are patches "
        "that state a width; each counts across the whole width of the joint, which is on the safe side"
    ]
    return Inspection(name, tuple(found), tuple(said if patches else ()))


def with_flaws(joint: Joint, found: Inspection) -> Joint:
    """Return a joint with the flaws of an inspection beside its own.

    Raises
    ------
    JointError
        A flaw is none of this joint: each by the file's line; or they leave too little bonded.
    """
    wrong = []
    for row in found.rows:
        try:
            joint.replace(flaws=(row.flaw,))
        except JointError as error:
            said = str(error).rstrip(".")
            # Of the one flaw its key is enough; what is said of all of them ("flaw = [{...}]: leaves ...") is said of it.
            said = said.removeprefix("flaw item 1.") if said.startswith("flaw item 1.") else f"it {said.partition(']: ')[2]}"
            wrong.append(f"line {row.line}: {said}")
            continue
        if row.width is not None and row.width * WITHIN > joint.geometry.width:
            limit = f"must be at most the joint's {joint.geometry.width:g} mm"
            wrong.append(f'line {row.line}: width = "{row.width:g} mm": {limit}')
    _refuse(wrong, found.name)
    try:
        return joint.replace(flaws=(*joint.flaws, *found.flaws))
    except JointError as error:
        raise JointError(f"{found.name}: {error}") from None


def text_with_flaws(text: str, found: Inspection) -> str:
    """Return the text of a joint file with the flaws of an inspection written into it, so that it says all by itself."""
    import tomlkit

    document = tomlkit.parse(text)
    if "flaw" not in document:
        document.add(tomlkit.nl())
        document["flaw"] = tomlkit.aot()
    own: Any = document["flaw"]
    for row in found.rows:
        in_a_line = isinstance(own, tomlkit.items.Array)
        item: Any = tomlkit.inline_table() if in_a_line else tomlkit.table()
        item.update(plain(row.flaw))
        if not in_a_line:
            item.comment(one_line(f"line {row.line} of {Path(found.name).name}"))
        own.append(item)
    return tomlkit.dumps(document)


# ---- parts ---------------------------------------------------------------


def _columns(head: list[str], name: str) -> list[tuple[str, str | None, str]]:
    """Return key, unit and heading of every column; JointError where one is unknown, missing or there twice."""
    columns: list[tuple[str, str | None, str]] = []
    for cell in head:
        length = _HEAD.fullmatch(cell.lower())
        if cell.lower() in WORDS:
            columns.append((cell.lower(), None, cell))
        elif length:
            key, unit = length[1], length[3]
            columns.append((key, unit or None, cell))
            if unit:
                try:
                    as_number(f"1 {unit}", "mm")
                except ValueError:
                    raise JointError(f"{name}: column {cell}: {unit} is no unit of length; write {key}_mm.") from None
        else:
            known = ", ".join([*(f"{key}_mm" for key in LENGTHS), *WORDS])
            raise JointError(f'{name}: column "{cell}" is not known; columns are {known}.')
    keys = [key for key, *_ in columns]
    for key in NEEDED:
        if key not in keys:
            shown = f"{key}_mm" if key in LENGTHS else key
            raise JointError(f"{name}: has no column {shown}; its first line must name {', '.join(NEEDED)}.")
    twice = next((key for key in keys if keys.count(key) > 1), None)
    if twice is not None:
        raise JointError(f"{name}: has the column {twice} twice; drop one.")
    return columns


def _flaw(cells: dict[str, tuple[str, str | None, str]], line: int, wrong: list[str]) -> list[Inspected]:
    """Return what a line says, in a list; an empty one, and what is wrong, where it says nothing that can be used."""
    given: dict[str, Any] = {}
    width, before = None, len(wrong)
    for key, (cell, unit, head) in cells.items():
        try:
            if key in LENGTHS and cell:
                value = _length(cell, unit)
                if key != "width":
                    given[key] = value
                elif value > 0:
                    width = value
                else:
                    raise ValueError("must lie above 0 mm")
            elif key in NEEDED and not cell:
                raise ValueError("is empty; fill it in")
            elif key == "bondline" and cell:
                given[key] = int(cell.replace("_", " "))  # to Python 1_0 is 10
            elif key in ("kind", "place") and cell:
                given[key] = cell.lower()
        except ValueError as error:
            said = "must be a whole number" if key == "bondline" else str(error)
            shown = f'"{cell[:30]}" ' if cell else ""
            wrong.append(f"line {line}, column {head}: {shown}{said}")
    if len(wrong) > before:
        return []
    try:
        flaw = Flaw(**given)
    except JointError as error:
        head = next((h for key, (_, _, h) in cells.items() if str(error).startswith(key)), "")
        place = f"line {line}, column {head}" if head else f"line {line}"
        wrong.append(f"{place}: {str(error).rstrip('.')}")
        return []
    note, by = (one_line(cells.get(key, ("", None, ""))[0]) for key in ("note", "found_by"))  # they go to a terminal
    return [Inspected(flaw, line, width, note, by)]


def _length(cell: str, unit: str | None) -> float:
    """Return a cell's length, mm; ValueError says what is wrong with it."""
    form = _PLAIN.fullmatch(cell)
    if not form or (unit and form[4]):
        raise ValueError("must be a number alone, such as 3.5" + (f"; the column is in {unit}" if unit else ""))
    return as_number(f"{cell.replace(',', '.')} {unit or ''}".rstrip(), "mm")


def _without_tail(row: list[str], columns: int) -> list[str]:
    """Return a row without the empty cells beyond its columns."""
    return row[:columns] if not any(cell.strip() for cell in row[columns:]) else row


def _refuse(wrong: list[str], name: str) -> None:
    if wrong:
        more = f"; and {len(wrong) - MOST_NAMED} more" if len(wrong) > MOST_NAMED else ""
        raise JointError(f"{name}: {'; '.join(wrong[:MOST_NAMED])}{more}.")
