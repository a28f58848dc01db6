"""The head of a tester's table: which column holds what, in which unit, and whether specimens stand side by side."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from fejoint.coupon.reading import INSIDE, Reading
from fejoint.coupon.side_by_side import side_by_side, specimen_names
from fejoint.errors import JointError
from fejoint.units import as_number

__all__ = ["WORDS", "found_columns", "is_unit", "name_and_unit"]

# What columns are called, in small letters, the likeliest first; a head may go on after the word.
WORDS = {
    "force": ("force", "load", "kraft", "standard force", "f"),
    "displacement": (
        "displacement",
        "crosshead",
        "travel",
        "stroke",
        "position",
        "opening",
        "deflection",
        "grip separation",
        "weg",
        "standardweg",
    ),
    "extension": ("extension", "extensometer", "dehnweg", "gauge extension"),
    "time": ("time", "zeit", "elapsed time", "test time"),
    "specimen": ("specimen", "sample", "coupon", "probe", "test piece"),
    "crack_length": ("crack length", "crack", "risslänge"),
}
_IN_BRACKETS = re.compile(r"^(.*?)\s*[\[(]\s*([^\[\]()]*?)\s*[\])]\s*$")
_AFTER_MARK = re.compile(r"^(.*?)(?:\s*[/_,]\s*|\s+in\s+)([^\s/_,]+(?:/[^\s/_,]+)?)\s*$")


def is_unit(cell: str) -> bool:
    """Return whether a cell is a unit of what a column may hold, in brackets or without."""
    cell = cell.strip("[]() ")
    for inside in dict.fromkeys(INSIDE.values()):
        try:
            as_number(f"1 {cell}", inside)
        except ValueError:
            continue
        return bool(cell)
    return False


def name_and_unit(cell: str) -> tuple[str, str]:
    """Return a column's name and the unit that its head says: Load [kN], Load (kN), Load / kN, load_kN, Load, kN, Load in kN."""
    cell = cell.lstrip("# ")  # of a head that is marked as a note
    found = _IN_BRACKETS.match(cell)
    if found:
        return found[1], found[2]
    found = _AFTER_MARK.match(cell)
    if found and is_unit(found[2]):
        return found[1], found[2]
    return cell, ""


def found_columns(
    rows: list[list[str]], head_line: int, reading: Reading, place: str
) -> tuple[tuple[tuple[int, str], ...], dict[str, int]]:
    """Return specimens side by side, if the head repeats itself so, and the place of each column (of the first of them)."""
    head = rows[head_line]
    names = [name_and_unit(cell)[0] for cell in head]
    if reading.columns.force is None and reading.columns.displacement is None:
        for period, labels in side_by_side(names):
            try:
                columns = _columns([name for name, _ in labels[0]], head[:period], reading, place)
            except JointError:
                continue
            return tuple((i * period, name) for i, name in enumerate(specimen_names(labels, rows[:head_line]))), columns
    return (), _columns(names, head, reading, place)


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


def _listed(names: Iterable[str]) -> str:
    shown = [name or "(no name)" for name in names]
    return ", ".join(shown[:12]) + (f" and {len(shown) - 12} more" if len(shown) > 12 else "")
