"""Reads what a tensile tester writes: a table of force and displacement as text, of one or several specimens.

The table's form is found from the text itself - delimiter, decimal comma,
lines before the head, units in the head or in a row under it - and each part of
it may be said instead. What cannot be told for sure, such as whether a column
without a unit holds N or kN, is asked for, not guessed.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Sequence
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.curve import Pull
from fejoint.coupon.head import WORDS
from fejoint.coupon.reading import INSIDE, Columns, ColumnUnits, Reading
from fejoint.coupon.table_form import Form, cells_of, form_of
from fejoint.errors import JointError

__all__ = ["ColumnUnits", "Columns", "Reading", "decoded", "pulls_from_file", "pulls_from_text"]

Floats = NDArray[np.float64]

MOST_BYTES = 50_000_000
MOST_POINTS = 2_000_000  # of a file
MOST_SPECIMENS = 1_000
LEAST_POINTS = 3  # of a specimen: fewer make no curve
SIGNS = str.maketrans(
    {"\u00a0": " ", "\u202f": " ", "\u2009": " ", "\u2019": "'", "\u2212": "-"}
)  # as some programs print numbers
_NAMED = re.compile(
    rf"^\s*(?:{'|'.join(WORDS['specimen'])})\s*(?:no\.?|number|name|id|nr\.?)?\s*[:=#]?\s*(.+?)\s*$", re.IGNORECASE
)


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
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):  # of a pipe or a device there may be no end
            raise JointError(f"{path}: is a folder, a pipe or a device; give a file of the tester's.")
        if status.st_size > MOST_BYTES:
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
        elif len(data) > 3:  # Latin letters, two bytes each, no mark
            for first, name in ((1, "utf-16-le"), (0, "utf-16-be")):
                if data[first:200:2].count(0) > 0.8 * len(data[first:200:2]):
                    encoding = name
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
    lines = text.translate(SIGNS).splitlines()
    if len(lines) > MOST_POINTS:
        raise JointError(f"{place}: has more than {MOST_POINTS} lines; export fewer points a second, or split it.")
    form = form_of(lines, reading, place)
    blocks = _blocks(lines, form)
    found: list[Pull] = []
    for number, (first, last, block_name) in enumerate(blocks, start=1):
        alone = name or Path(place).stem
        called = block_name or (alone if len(blocks) == 1 else f"{alone} {number}")
        sides = form.sides
        for i, (side, part) in enumerate(sides, start=1):
            found += _pulls(lines, part, first, last, side or (called if len(sides) == 1 else f"{called} {i}"), reading)
        if len(found) > MOST_SPECIMENS:
            raise JointError(f"{place}: holds more than {MOST_SPECIMENS} specimens; check data.columns.specimen.")
    return found


# ---- blocks and columns of numbers -----------------------------------------


def _blocks(lines: list[str], form: Form) -> list[tuple[int, int, str]]:
    """Return first and last line (exclusive) and name of each block of numbers; a block begins where the head stands again."""
    marker = lines[form.head_line].strip()
    heads = [i for i, line in enumerate(lines) if i >= form.head_line and line.strip() == marker]
    found = []
    above = 0
    for head, following in zip(heads, [*heads[1:], len(lines)], strict=True):
        last = _end_of_rows(lines, head + 1 + form.units_row, following, form)
        found.append((head + 1 + form.units_row, last, _block_name(lines[above:head], form) if len(heads) > 1 else ""))
        above = last
    return found


def _end_of_rows(lines: list[str], first: int, following: int, form: Form) -> int:
    """Return where a block's rows end (exclusive): before the notes under it, if there are any.

    Notes begin with an empty line, or with one that has no number in a column that is read; a line that has numbers in
    some of them is a damaged row, and stays, to be refused.
    """
    whole = len(_filled(form))
    last = next((i for i in range(following - 1, first - 1, -1) if _numbers_in(lines[i], form) == whole), None)
    if last is None:
        return following
    after = last + 1
    top = next(i for i in range(first, following) if lines[i].strip())
    gaps = any(not lines[i].strip() for i in range(top, last))  # then an empty line ends nothing
    while gaps and after < following and not lines[after].strip():
        after += 1
    return following if after < following and lines[after].strip() and _numbers_in(lines[after], form) else last + 1


def _numbers_in(line: str, form: Form) -> int:
    """Return how many columns (but crack lengths) have numbers in a line; of specimens side by side, of the one with most."""
    cells, most = cells_of(line, form.delimiter), 0
    for _, part in form.sides:
        count = 0
        for key in _filled(form):
            try:
                part.value(key, cells[part.columns[key]])
                count += 1
            except (ValueError, IndexError):
                continue
        most = max(most, count)
    return most


def _filled(form: Form) -> list[str]:
    return [key for key in INSIDE if key in form.columns and key != "crack_length"]


def _block_name(lines: Sequence[str], form: Form) -> str:
    for line in reversed(lines):
        found = _NAMED.match(" ".join(cell for cell in cells_of(line, form.delimiter) if cell))
        if found:
            return found[1]
    return ""


def _pulls(lines: list[str], form: Form, first: int, last: int, name: str, reading: Reading) -> list[Pull]:
    """Return the pulls of one block."""
    keys = [key for key in INSIDE if key in form.columns]
    values: dict[str, list[float]] = {key: [] for key in keys}
    names: list[str] = []
    at: list[int] = []
    widest = max(form.columns.values())
    for i in range(first, last):
        if not lines[i].strip():
            continue
        cells = cells_of(lines[i], form.delimiter)
        cells += [""] * (widest + 1 - len(cells))
        if not any(cells[column] for column in form.columns.values()):
            continue
        for key in keys:
            cell = cells[form.columns[key]]
            if not cell and key == "crack_length":
                values[key].append(np.nan)
                continue
            try:
                values[key].append(form.value(key, cell))
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


def _pull(label: str, columns: dict[str, Floats], lines: NDArray[np.int64], form: Form) -> Pull:
    if len(lines) < LEAST_POINTS:
        raise JointError(f"{form.place}: specimen {label} has {len(lines)} points, and a curve needs {LEAST_POINTS}.")
    time = columns.get("time")
    if time is not None and (time < 0).any():
        i = int(np.argmax(time < 0))
        raise JointError(
            f"{form.at(int(lines[i]), 'time')}: time is {time[i]:g} s; times must be 0 or more, so leave out what was recorded "
            "before the start, or let data.columns.time name another column."
        )
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


def _not_a_number(form: Form, line: int, key: str, cell: str) -> NoReturn:
    what = f'"{cell[:30]}" is no number with the decimal sign "{form.decimal}"' if cell else "a number is missing"
    raise JointError(f"{form.at(line, key)}: {what}; check data.columns.{key}, data.decimal and data.thousands.")
