"""Spoiled sweeps: every one works or is refused in one sentence, and nothing is left half-written.

    python -m benchmarks.spoiled [--number 10000] [--seed 1] [--ways csv parquet ...]

Starts from a sound joint file with a ``[sweep]``, a sound table of joints, sound
options or arguments of `fejoint.sweep`, and spoils it: keys misspelt, dropped
or doubled, values retyped, swapped or nested, units exchanged, bytes flipped,
ends cut off, paths that lead elsewhere. Printed by way of spoiling: how many
worked, how many were refused. Exit code 1 when one met anything else: an
exception that is none of fejoint's, a sentence of several lines or without end,
a file outside the sweep's folder, a journal that is not sound, a run that hangs.

Almost nothing is solved: a joint solved beforehand stands for most others, the
work is done in this process. tests/study/test_spoiled.py does some hundreds.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import argparse
import contextlib
import copy
import datetime
import decimal
import hashlib
import io
import itertools
import json
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
import tomllib
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pint

import fejoint
from fejoint.cli import run
from fejoint.errors import FejointError
from fejoint.joint.file import joint_from_text, template
from fejoint.joint.keys import column_name, known_keys
from fejoint.mechanics import driver

LONGEST = 600  # characters of a sentence
PATIENCE = 60  # seconds of a run
REAL = 400  # of so many joints one is really solved
OURS = {"journal.sqlite", "sweep.csv", "sweep.parquet", "sweep.json", "joint.toml", "curves.parquet"}


# ---- what is spoiled -----------------------------------------------------


@dataclass(frozen=True)
class Spoiled:
    """A spoiled sweep.

    Attributes
    ----------
    joint : bytes
        The joint file, ``joint.toml``.
    options : list of str
        Of the command line, after file and ``--out``.
    arguments : dict, optional
        Of `fejoint.sweep`, which is called then, instead of the command line.
    files : dict
        Further files beside the joint file: their bytes, or what makes one at a path.
    words : tuple of str
        Of these one stands in the sentence, if it is refused.
    out : str
        The folder's name.
    """

    joint: bytes
    options: list[str] = field(default_factory=list)
    arguments: dict[str, Any] | None = None
    files: Mapping[str, bytes | Callable[[Path], Any]] = field(default_factory=dict)
    words: tuple[str, ...] = ()
    out: str = "out"


class Raw(str):
    """Text that stands in a TOML file as it is."""


def toml(value: Any) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, Raw):
        return str(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key, ensure_ascii=False)} = {toml(v)}" for key, v in value.items()) + " }"
    if isinstance(value, list):
        return f"[{', '.join(toml(v) for v in value)}]"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, float):
        return repr(value)
    return json.dumps(value, ensure_ascii=False)


def document_text(document: Mapping[str, Any]) -> str:
    """Return a joint file's dict as TOML, a line a key."""
    lines = []
    for key, value in document.items():
        if not isinstance(value, dict):
            lines.append(f"{json.dumps(key, ensure_ascii=False)} = {toml(value)}")
    for table, inner in document.items():
        if isinstance(inner, dict):
            lines += ["", f"[{json.dumps(table, ensure_ascii=False)}]"]
            lines += [f"{json.dumps(key, ensure_ascii=False)} = {toml(value)}" for key, value in inner.items()]
    return "\n".join(lines) + "\n"


VARY = {
    "single-lap": {
        "joint.overlap_length": {"from": "10 mm", "to": "40 mm", "steps": 3},
        "joint.lower.thickness": ["1.2 mm", 2, 2.5],
        "adhesive.elastic_modulus": {"from": "1 GPa", "to": "4 GPa", "steps": 2, "spacing": "logarithmic"},
    },
    "double-lap": {"joint.overlap_length": [20, "30 mm"], "joint.inner.material": ["aluminium 2024-T3", "steel A36"]},
    "stepped-lap": {"load.force": {"from": "1 kN", "to": "2 kN", "steps": 3}, "load.ends": ["clamped", "pinned"]},
}
TIE = {
    "single-lap": {"joint.upper.thickness": "joint.lower.thickness"},
    "double-lap": {"joint.outer.material": "joint.inner.material"},
    "stepped-lap": {},
}
BASES = {
    kind: {
        **tomllib.loads(template(kind)),
        "sweep": {
            "points": "grid",
            "columns": ["peak_shear_MPa", "peak_peel_MPa", "adherend_peak_MPa"],
            "limits": ["peak_shear_MPa <= 30"],
            "vary": VARY[kind],
            "tie": TIE[kind],
        },
    }
    for kind in VARY
}
KEYS = known_keys()
COLUMNS = [column_name(key, unit) for key, unit in KEYS.items()]

CODE = "__import__('pathlib').Path('canary').touch()"
TEXTS = [
    "",
    " ",
    "\t",
    "x" * 10_000,
    "mm " * 3_000,
    "9" * 10_000,
    "1 " + "m" * 10_000,
    "[bold red]x[/] [link=file:///etc/passwd]y[/link]",
    "\x1b[31mred\x1b[0m",
    "two\nlines",
    "\r\n\u2028\u2029\x85",
    "\u202eabc\u200b",
    "=1+1",
    "=cmd|' /C calc'!A0",
    "@SUM(1)",
    CODE,
    "{0.__class__}",
    "%s%n%x",
    "$(touch canary)",
    "'; DROP TABLE outcome; --",
    "../../canary",
    "/etc/passwd",
    "file:///etc/passwd",
    "nan",
    "inf mm",
    "1e400 mm",
    "1e-400 mm",
    "-1 mm",
    "0",
    "10 parsec",
    "3 mm mm mm**3",
    "9**9**9 mm",
    "mm",
    "1;2",
    "true",
    "null",
    "steel A36",
    "clamped",
    "peak_shear_MPa",
    "joint.overlap_length",
    "single-lap",
    "\u0661\u0662 mm",
    "1_000",
    "\U0001f6a1",
    "\u00e9\u00df\u4e2d",
]
UNITS = ["mm", "m", "in", "MPa", "GPa", "ksi", "N", "kN", "K", "degC", "degF", "1/K", "N/mm", "N*mm", "kg", "s", "", "furlong"]
NUMBERS = [0, 1, -1, 2, 7, 0.5, -0.0, 1e-300, 1e300, 1e9, -1e9, 10**6, 10**12, 2**63, -(2**63), 10**400]
NUMBERS += [float("nan"), float("inf"), -float("inf"), 5001, 1.0, True, False]
DATES = [datetime.date(2026, 1, 31), datetime.time(7, 30), datetime.datetime(2026, 1, 31, 7, 30, tzinfo=datetime.UTC)]
DEEP = [Raw("[" * n + "]" * n) for n in (3, 90, 2_000)] + [Raw("{ a = " * n + "1" + " }" * n) for n in (3, 90, 2_000)]
DEEP += [Raw("9" * 5_000), Raw("0x" + "f" * 5_000), Raw("1" + "0" * 400 + ".0")]


def scalar(rng: random.Random) -> Any:
    """Return a value that may stand in a TOML file, seldom one that is meant there."""
    kind = rng.randrange(6)
    if kind == 0:
        return rng.choice(TEXTS)
    if kind == 1:
        return rng.choice(NUMBERS)
    if kind == 2:
        return f"{rng.choice([1, 12.5, -3, 1e3, 0])} {rng.choice(UNITS)}"
    if kind == 3:
        return rng.choice([*DATES, *DEEP])
    if kind == 4:
        return rng.choice(list(KEYS))
    return "".join(chr(rng.choice([rng.randrange(32, 127), rng.randrange(128, 0x2FF)])) for _ in range(rng.randrange(8)))


def nested(rng: random.Random, depth: int = 2) -> Any:
    """Return a scalar, or a list or table of some."""
    kind = rng.randrange(4) if depth else 0
    if kind == 2:
        return [nested(rng, depth - 1) for _ in range(rng.randrange(4))]
    if kind == 3:
        names = ["from", "to", "steps", "spacing", "value", "source", "joint.overlap_length", "material", "", "a b", "\n"]
        return {rng.choice(names): nested(rng, depth - 1) for _ in range(rng.randrange(4))}
    return scalar(rng)


def misspelt(rng: random.Random, word: str) -> str:
    """Return a word with one slip of the fingers."""
    if not word:
        return "x"
    at = rng.randrange(len(word))
    return rng.choice(
        [
            word[:at] + word[at + 1 :],
            word[:at] + word[at] + word[at:],
            word[:at] + rng.choice("abc.\" \n=[]\\é'") + word[at + 1 :],
            word.upper(),
            f"{word}.",
            f" {word}",
            word + word[::-1],
            word[at:] + "x" * 10_000,
        ]
    )


def _places(table: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the path of everything inside tables and lists."""
    for key, value in table.items() if isinstance(table, dict) else enumerate(table) if isinstance(table, list) else ():
        yield (*path, key)
        yield from _places(value, (*path, key))


def _holder(document: Any, path: tuple[Any, ...]) -> Any:
    for part in path[:-1]:
        document = document[part]
    return document


def _base(rng: random.Random) -> dict[str, Any]:
    return copy.deepcopy(BASES[rng.choice(["single-lap", "single-lap", "double-lap", "stepped-lap"])])


def _somewhere(rng: random.Random, document: dict[str, Any]) -> tuple[Any, ...]:
    """Return a place in a document, mostly in its sweep."""
    inside = [p for p in _places(document) if p[0] == "sweep"] if rng.randrange(4) else list(_places(document))
    return rng.choice(inside)


def _names(path: tuple[Any, ...]) -> tuple[str, ...]:
    """Return words of which a sentence about a place holds one: the keys on the way to it and their last parts."""
    texts = [str(part) for part in path if isinstance(part, str) and part != "sweep"] or ["sweep"]
    return (*texts, *(text.split(".")[-1] for text in texts))


def spoiled_key(rng: random.Random) -> Spoiled:
    """Drop, misspell, double or move a key."""
    document = _base(rng)
    path = _somewhere(rng, document)
    table, key = _holder(document, path), path[-1]
    way = rng.choice(["drop", "misspell", "double", "move"])
    if way == "double":
        lines = document_text(document).splitlines()
        at = rng.randrange(len(lines))
        return Spoiled("\n".join([*lines[:at], lines[at], *lines[at:]]).encode())
    value = table.pop(key)
    if way == "misspell":
        new = misspelt(rng, str(key))
        table.insert(key, new) if isinstance(table, list) else table.update({new: value})
    if way == "move":
        document[rng.choice(["joint", "load", "sweep", "adhesive", "materials"])] = {str(key): value}
    return Spoiled(document_text(document).encode("utf-8", "surrogatepass"))


def spoiled_value(rng: random.Random) -> Spoiled:
    """Put nonsense in the place of one value."""
    document = _base(rng)
    path = _somewhere(rng, document)
    _holder(document, path)[path[-1]] = nested(rng)
    return Spoiled(document_text(document).encode(), words=(*_names(path), "TOML", "deeply", "limit", "joint.", "cases"))


def spoiled_unit(rng: random.Random) -> Spoiled:
    """Give quantities other units, and numbers other sizes."""
    document = _base(rng)
    leaves = [p for p in _places(document) if not isinstance(_holder(document, p)[p[-1]], dict | list)]
    for _ in range(1 + rng.randrange(3)):
        path = rng.choice(leaves)
        number = rng.choice([1, 10, 12.5, -2, 1e5, 1e-5])
        _holder(document, path)[path[-1]] = f"{number} {rng.choice(UNITS)}" if rng.randrange(3) else number
    return Spoiled(document_text(document).encode())


def spoiled_several(rng: random.Random) -> Spoiled:
    """Swap values, and put nonsense in the place of some."""
    document = _base(rng)
    for _ in range(2 + rng.randrange(3)):
        one, other = _somewhere(rng, document), _somewhere(rng, document)
        with contextlib.suppress(KeyError, IndexError, TypeError):  # the place went with what was put above it
            first, second = _holder(document, one), _holder(document, other)
            a, b = copy.deepcopy(first[one[-1]]), copy.deepcopy(second[other[-1]])
            first[one[-1]], second[other[-1]] = (b, a) if rng.randrange(2) else (nested(rng), a)
    return Spoiled(document_text(document).encode())


def _flipped(rng: random.Random, content: bytes) -> bytes:
    data = bytearray(content)
    for _ in range(1 + rng.randrange(4)):
        if data:
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)


def _cut(rng: random.Random, content: bytes) -> bytes:
    at, until = sorted((rng.randrange(len(content) + 1), rng.randrange(len(content) + 1)))
    return rng.choice([content[:at], content[at:], content[:at] + content[until:], content[:until] + content[at:]])


def spoiled_bytes(rng: random.Random) -> Spoiled:
    """Flip bits of the joint file, or cut some of it off."""
    content = document_text(_base(rng)).encode()
    return Spoiled(_flipped(rng, content) if rng.randrange(2) else _cut(rng, content))


def spoiled_toml(rng: random.Random) -> Spoiled:
    """Put arbitrary tables and values in the place of the sweep."""
    document = _base(rng)
    names = ["vary", "tie", "points", "samples", "seed", "table", "columns", "limits", "keep_curves", "x"]
    sweep = {rng.choice(names): nested(rng, 3) for _ in range(rng.randrange(5))}
    if rng.randrange(2):
        sweep["vary"] = {rng.choice(list(KEYS)): nested(rng, 2) for _ in range(1 + rng.randrange(3))}
    document["sweep"] = sweep if rng.randrange(8) else nested(rng)
    return Spoiled(document_text(document).encode())


def spoiled_set(rng: random.Random) -> Spoiled:
    """Give --set nonsense for a key of the sweep or of the joint."""
    keys = ["sweep", "sweep.points", "sweep.samples", "sweep.seed", "sweep.table", "sweep.columns", "sweep.limits"]
    keys += ["sweep.vary", "sweep.tie", "sweep.keep_curves", "sweep.vary.x", "sweep.vary.joint.overlap_length"]
    keys += ['sweep.vary."joint.overlap_length"', "sweep..x", "", ".", "sweep.points.x", "title", *KEYS]
    options = []
    for _ in range(1 + rng.randrange(3)):
        key = rng.choice(keys)
        key = misspelt(rng, key) if not rng.randrange(5) else key
        value = nested(rng) if rng.randrange(2) else rng.choice(["grid", "sobol", "4", "[10,20]", "\udcff", "a\udc80b"])
        text = value if isinstance(value, str) and rng.randrange(2) else toml(value)
        options += ["--set", f"{key}{rng.choice(['=', '=', '=', ' = ', '', ':'])}{text}".replace("\0", "")]
    return Spoiled(document_text(_base(rng)).encode(), options)


def spoiled_options(rng: random.Random) -> Spoiled:
    """Give the other options nonsense: workers, folder, materials, what is unknown."""
    value = str(rng.choice([*TEXTS, *NUMBERS[:8]])).replace("\0", "")
    option = rng.choice(["--workers", "--materials", "--retries", "--tls-ca", "--set", "--yes", "extra"])
    files = {
        "own.toml": rng.choice([b"\xff\xfe", b"[adherend.x]\nelastic_modulus = 'x'\n", b"adherend = 3\n", b"[adhesive]\nx=1"])
    }
    options = [option, value] if option != "extra" else [value or "x"]
    if option == "--materials" and rng.randrange(2):
        options = ["--materials", "own.toml"]
    return Spoiled(document_text(_base(rng)).encode(), options, files=files)


OUTS = [
    "joint.toml",
    "joint.toml/x",
    "o" * 300,
    "o" * 5_000,
    "a/b/c",
    "[bold]x[/]",
    "two\nlines",
    "-",
    "=1",
    " ",
    "é\udcff",
    "x\x1b[31m",
]


def spoiled_out(rng: random.Random) -> Spoiled:
    """Name a folder that cannot be one, or that has something else in it."""
    document = _base(rng)
    out = rng.choice([*OUTS, "out", "out"])
    files: dict[str, bytes] = {}
    if out == "out":
        content = rng.choice([b"", b"x", b"SQLite format 3\0" + b"\0" * 84, bytes(200), b"SQLite format 3\0" + bytes(range(84))])
        files = {rng.choice(["out/journal.sqlite", "out/journal.sqlite/x", "out/sweep.csv/x", "out"]): content}
    return Spoiled(document_text(document).encode(), files=files, out=out)


def _table(rng: random.Random) -> tuple[dict[str, Any], list[str], list[list[Any]]]:
    """Return a joint file's dict that has a table, and the table's columns and rows, sound so far."""
    document = copy.deepcopy(BASES["single-lap"])
    document["sweep"] = {"table": "joints.csv", "columns": ["peak_shear_MPa"], "limits": ["peak_shear_MPa <= 30"]}
    rows: list[list[Any]] = [["10 mm", 1000, "a"], ["2 cm", "2.5e3", "b"], [30, "3000", "=1+1"]]
    return document, ["joint.overlap_length", "load.force_N", "title"], rows


def _cell(rng: random.Random) -> Any:
    value = scalar(rng)
    return None if not rng.randrange(6) else str(value) if isinstance(value, Raw) else value


def _spoil_table(rng: random.Random, columns: list[str], rows: list[list[Any]]) -> None:
    for _ in range(1 + rng.randrange(3)):
        way, at = rng.randrange(6), rng.randrange(len(columns))
        if way == 0:
            columns[at] = rng.choice([misspelt(rng, columns[at]), rng.choice(COLUMNS), rng.choice(list(KEYS)), rng.choice(TEXTS)])
        elif way == 1:
            columns.append(rng.choice([*COLUMNS, *KEYS, columns[at], "", "status"]))
            for row in rows:
                row.append(_cell(rng))
        elif way == 2:
            rng.choice(rows)[at] = _cell(rng)
        elif way == 3:
            for row in rows:
                row[at] = _cell(rng)
        elif way == 4 and len(rows) > 1:
            rows.pop()
        else:
            columns.reverse()


def spoiled_csv(rng: random.Random) -> Spoiled:
    """Spoil a CSV table of joints: columns, cells, quotes, lines, bytes."""
    document, columns, rows = _table(rng)
    _spoil_table(rng, columns, rows)
    if not rng.randrange(3):
        rng.choice(rows).extend(["x", "y"])
    lines = [columns, *([("" if cell is None else cell) for cell in row] for row in rows)]
    mark = rng.choice([",", ",", ",", ";", "\t"])
    quoted = ('"' + str(cell).replace('"', '""') + '"' if rng.randrange(3) else str(cell) for line in lines for cell in line)
    text = "\n".join(mark.join(itertools.islice(quoted, len(line))) for line in lines) + "\n"
    content = text.encode(rng.choice(["utf-8", "utf-8", "utf-8-sig", "utf-16"]), "surrogatepass")
    content = rng.choice([content, content, _flipped(rng, content), _cut(rng, content), content + bytes(3)])
    document["sweep"]["table"] = name = rng.choice(["joints.csv", "joints.csv", "joints.txt", "joints", "joints.csv.gz"])
    if rng.randrange(6):
        return Spoiled(document_text(document).encode(), files={name: content})
    del document["sweep"]["table"]
    return Spoiled(document_text(document).encode(), files={name: content}, arguments={"table": f"{{folder}}/{name}"})


def spoiled_parquet(rng: random.Random) -> Spoiled:
    """Spoil a Parquet table of joints: columns, cells of any type, bytes."""
    document, columns, rows = _table(rng)
    document["sweep"]["table"] = "joints.parquet"
    _spoil_table(rng, columns, rows)
    names = list(dict.fromkeys(columns))
    frame = pd.DataFrame({name: pd.Series([str(row[i]) for row in rows]) for i, name in enumerate(names)})
    typed: list[Any] = [
        pd.array([1, None, 3], dtype="Int64"),
        pd.array([True, None, False], dtype="boolean"),
        pd.array(["10 mm", None, "=1"], dtype="string"),
        pd.Series([b"\xff\xfe", b"10 mm", b""]),
        pd.Series([[1.0, 2.0], [], [3.0]]),
        pd.Series([{"value": 1.0, "source": "x"}] * 3),
        pd.to_datetime(pd.Series(["2026-01-31", None, "2026-02-01"])),
        pd.Series([decimal.Decimal("12.5"), decimal.Decimal("1E+3"), None]),
        pd.Series(["a", "b", "a"], dtype="category"),
        pd.to_timedelta(pd.Series([1, 2, 3]), unit="s"),
        pd.Series([np.float32(12.1), np.float32("nan"), np.float32("inf")]),
        pd.Series([None, None, None]),
        pd.Series([2**63, 1, 2], dtype="uint64"),
    ]
    for _ in range(rng.randrange(3)):
        values = pd.Series(rng.choice(typed))
        frame[rng.choice([*KEYS, *COLUMNS])] = values[: len(frame)]
    if not rng.randrange(4):
        frame = frame.set_index(frame.columns[0])
    buffer = io.BytesIO()
    frame.to_parquet(buffer)
    content = buffer.getvalue()
    content = rng.choice([content, content, content, _flipped(rng, content), _cut(rng, content)])
    return Spoiled(document_text(document).encode(), files={"joints.parquet": content})


def _sparse(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(20_000_000_000)


def spoiled_path(rng: random.Random) -> Spoiled:
    """Let the table be what is no file of its kind, or stand elsewhere."""
    document = copy.deepcopy(BASES["single-lap"])
    sound = b"joint.overlap_length\n20\n30\n"
    files: dict[str, bytes | Callable[[Path], Any]] = {"own/joints.csv": sound, "pipe.csv": os.mkfifo, "huge.csv": _sparse}
    files |= {"pipe.parquet": os.mkfifo, "huge.parquet": _sparse, "fake.parquet": sound, "in.toml": os.mkfifo}
    files["to-zero.csv"] = lambda path: path.symlink_to("/dev/zero")
    files["loop.csv"] = lambda path: path.symlink_to(path)
    files["to-own.csv"] = lambda path: path.symlink_to(path.parent / "own" / "joints.csv")
    names = [*files, "own", "own/", ".", "..", "", "/", "own/../own/joints.csv", "../joints.csv", "/etc/passwd", "/dev/zero"]
    names += [
        "/dev/null",
        "/dev/tty",
        "/proc/self/mem",
        "/proc/self/environ",
        "~/joints.csv",
        "own/joints.csv\0",
        "a" * 300 + ".csv",
    ]
    names += [
        "a/" * 5_000,
        "two\nlines.csv",
        "http://127.0.0.1:9/x.csv",
        "s3://bucket/x.parquet",
        "[bold]x[/].csv",
        "\x1b[31m.csv",
    ]
    names += ["own/joints.csv ", "joint.toml", "\ud800.csv", "C:\\x.csv", "\u202e.csv"]
    name = rng.choice(names)
    words = ("table", "joint.toml", name[-20:].strip() or "table", "TOML", "path", "table", "key")
    if rng.randrange(2) or "\ud800" in name:
        del document["sweep"]
        given: Any = name if name.startswith(("/", "http", "s3", "~")) else f"{{folder}}/{name}"
        given = Path(given) if rng.randrange(2) else given
        return Spoiled(document_text(document).encode(), files=files, arguments={"table": given}, words=words)
    document["sweep"] = {"table": name}
    return Spoiled(document_text(document).encode(), files=files, words=words)


class _Odd:
    """Nothing that a sweep could use, and loud when it is asked."""

    def __repr__(self) -> str:
        return "<odd\nthing>" * 1_000


def _deep(levels: int) -> list[Any]:
    value: list[Any] = []
    for _ in range(levels):
        value = [value]
    return value


def _round() -> list[Any]:
    value: list[Any] = [10]
    value.append(value)
    return value


def _odd_objects() -> list[Any]:
    ureg = pint.application_registry
    return [
        None,
        {1, 2},
        frozenset(["10 mm"]),
        (n for n in (1, 2)),
        iter([1, 2]),
        {"a": {"b": {"c": [1]}}},
        {1: 2, None: 3, (1, 2): 4},
        {},
        [],
        (),
        [None],
        [[]],
        [[10, 20], [30]],
        float("nan"),
        [float("nan"), float("inf")],
        10**400,
        [10**400, -(10**5000)],
        np.float64(12.5),
        np.int64(3),
        np.bool_(True),
        np.array(3.0),
        np.array([10.0, 20.0]),
        np.arange(6.0).reshape(2, 3),
        np.array(["10 mm", "20 mm"]),
        np.array([1, "a", None], dtype=object),
        np.array([], dtype=float),
        np.float32(12.1),
        ureg.Quantity(12, "mm"),
        ureg.Quantity([10, 20], "mm"),
        ureg.Quantity([10, 20], "kg"),
        [ureg.Quantity(1, "cm"), ureg.Quantity(1, "GPa")],
        ureg.Quantity([[10, 20], [30, 40]], "mm"),
        ureg.Quantity(np.array(10.0), "mm"),
        b"10 mm",
        [b"10 mm", bytearray(b"20")],
        "\ud800",
        ["\ud800", "\udcff mm"],
        "x" * 10_000,
        ["x" * 10_000],
        range(10, 13),
        range(10**12),
        range(10**30),
        range(0),
        _Odd(),
        [_Odd()],
        _Odd,
        len,
        lambda result: 1.0,
        str,
        1 + 2j,
        [1 + 2j],
        decimal.Decimal("12.5"),
        [decimal.Decimal("12.5"), decimal.Decimal("NaN")],
        Path("joints.csv"),
        pd.Series([10.0, 20.0]),
        pd.Series([10.0, None]),
        pd.DataFrame({"a": [1, 2]}),
        pd.NA,
        pd.NaT,
        [pd.NA, pd.NaT],
        np.datetime64("2026-01-31"),
        datetime.date(2026, 1, 31),
        True,
        0,
        -1,
        1.5,
        "10 mm",
        ["10 mm", "20 mm"],
        memoryview(b"12"),
        _deep(50),
        _deep(3_000),
        _round(),
        {"from": 10, "to": 20, "steps": np.int64(2)},
        {"from": np.float64(10), "to": ureg.Quantity(2, "cm"), "steps": 2},
        {"from": 10, "to": 20, "steps": 2.0},
        {"from": 10, "to": 20, "steps": 10**30},
        {"from": 10, "to": 20, "steps": -1},
        {"from": 10, "to": 20, "steps": True},
        {"from": None, "to": [20], "steps": 2},
        {"from": -1e308, "to": 1e308, "steps": 3},
        {"from": 1e-308, "to": 1e308, "steps": 3, "spacing": "logarithmic"},
        {"from": 5e-324, "to": 1e-323, "steps": 3, "spacing": "logarithmic"},
        {"from": ureg.Quantity([1, 2], "mm"), "to": 3, "steps": 2},
        {"start": 10, "stop": 20, "steps": 2},
        {"from": 10, "to": 20, "steps": 2, "\ud800": 1},
        {"from": "x" * 10_000, "to": "y" * 10_000, "steps": 2},
        {"from": 10, "to": 20},
        {"from": _Odd(), "to": 20, "steps": 2},
    ]


def _joints(rng: random.Random) -> Any:
    return rng.choice(
        ["", ".", "/dev/zero", "joint\0.toml", "\ud800", "x" * 10_000, b"joint.toml", 3, {}, [], "two\nlines", _Odd()]
    )


def spoiled_argument(rng: random.Random) -> Spoiled:
    """Call `fejoint.sweep` with what is of another type, size or dimension."""
    objects = _odd_objects()
    key = rng.choice(["joint.overlap_length", "joint.lower.material", "joint.lower.material.elastic_modulus", *KEYS])
    good: dict[str, Any] = {"vary": {"joint.overlap_length": [10, 20]}, "columns": ["peak_shear_MPa"]}
    odd = rng.choice(objects)
    way = rng.randrange(10)
    words: tuple[str, ...] = ()
    if way < 4:
        good["vary"] = {key: odd} | ({"joint.overlap_length": [20, 30]} if rng.randrange(2) else {})
        good["points"] = rng.choice(["grid", "grid", "grid", "zip", "sobol", "latin-hypercube"])
        good |= {"samples": rng.choice([2, 4])} if good["points"] in ("sobol", "latin-hypercube") else {}
    elif way == 4:
        name = rng.choice(["vary", "tie", "columns", "limits", "points", "samples", "seed", "keep_curves", "table"])
        good[name], words = odd, (name, "sweep", "column", "limit", "deeply")
    elif way == 5:
        name = rng.choice(["tie", "columns", "limits"])
        good[name] = {"joint.upper.thickness": odd} if name == "tie" else [odd, *([odd] if rng.randrange(3) else [])]
        words = (name, "column", "limit", "upper.thickness", "deeply")
    elif way == 6:
        with contextlib.suppress(TypeError):  # what has no hash is no key
            good["vary"] = {odd: [10, 20]}
    elif way == 7:
        good["joint"] = _joints(rng)
    elif way == 8:
        name = rng.choice(["out", "workers", "retry", "yes", "changes", "material_files"])
        good[name], words = odd, (name, "out", "material", "--set", "path", "deeply")
    else:
        good["vary"] = {key: [odd, 20, rng.choice(objects)]}
    return Spoiled(
        document_text({k: v for k, v in BASES["single-lap"].items() if k != "sweep"}).encode(), arguments=good, words=words
    )


WAYS: dict[str, Callable[[random.Random], Spoiled]] = {
    "key": spoiled_key,
    "value": spoiled_value,
    "unit": spoiled_unit,
    "several": spoiled_several,
    "bytes": spoiled_bytes,
    "toml": spoiled_toml,
    "set": spoiled_set,
    "options": spoiled_options,
    "out": spoiled_out,
    "csv": spoiled_csv,
    "parquet": spoiled_parquet,
    "path": spoiled_path,
    "argument": spoiled_argument,
}


# ---- doing it ------------------------------------------------------------


class Inline(Executor):
    """Does the work at once, in this process."""

    _max_workers = 1

    def submit(self, function: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        try:
            future.set_result(function(*args, **kwargs))
        except BaseException as error:
            future.set_exception(error)
        return future


_solved: dict[str, driver.Result] = {}
_asked = itertools.count(1)


def cheap_solve(joint: Any, progress: Any = None, kept: Any = None) -> driver.Result:
    """Return the result of another joint of the same family, solved beforehand; now and then the joint's own."""
    kind = joint.geometry.kind
    small = joint.geometry.length < 100 and joint.analysis.mesh_density < 3 and joint.analysis.error_target > 5e-3
    if small and not next(_asked) % REAL:
        return driver.solve(joint, progress=progress, kept=kept)
    if kind not in _solved:
        _solved[kind] = driver.solve(joint_from_text(template(kind)))
    return _solved[kind]


@contextlib.contextmanager
def cheap() -> Iterator[None]:
    """Let sweeps solve almost nothing, in this process."""
    from fejoint.study import sweep, work

    before = (sweep.solve, work.solve, sweep.local_pool)
    sweep.solve = work.solve = cheap_solve  # type: ignore[assignment]
    sweep.local_pool = lambda workers: Inline()  # type: ignore[assignment,return-value]
    try:
        yield
    finally:
        sweep.solve, work.solve, sweep.local_pool = before


class Wrong(Exception):  # noqa: N818 - what is looked for here, no error of a program
    """What must not come of any input."""


def outcome(spoiled: Spoiled, folder: Path) -> tuple[str, str]:
    """Return "worked" or "refused" and the sentence; anything else is a `Wrong` or the exception that it met.

    Parameters
    ----------
    spoiled : Spoiled
    folder : Path
        An empty folder.
    """
    (folder / "joint.toml").write_bytes(spoiled.joint)
    for name, content in spoiled.files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        if callable(content):
            content(folder / name)
        else:
            (folder / name).write_bytes(content)
    before, here = _tree(folder), Path.cwd()
    os.chdir(folder)
    try:
        with cheap(), in_time(), warnings.catch_warnings():
            warnings.simplefilter("error")
            ended, sentence, reasons = _called(spoiled, folder) if spoiled.arguments is not None else _commanded(spoiled)
    finally:
        os.chdir(here)
    if ended == "refused":
        _check_sentence(sentence)
        if spoiled.words and not any(word in sentence for word in spoiled.words):
            raise Wrong(f"the sentence names none of {[w[:60] for w in spoiled.words]}: {sentence!r}")
    for reason in reasons:
        _check_sentence(reason)
    _check_left(folder, before, spoiled, ended)
    return ended, sentence


def _check_sentence(sentence: str) -> None:
    if not sentence or not sentence.isprintable():
        raise Wrong(f"a sentence of several lines, or with what is not to be printed: {sentence[:2000]!r}")
    if len(sentence) > LONGEST:
        raise Wrong(f"a sentence of {len(sentence)} characters: {sentence[:2000]!r}")


def _called(spoiled: Spoiled, folder: Path) -> tuple[str, str, list[str]]:
    def placed(value: Any) -> Any:
        if isinstance(value, str | Path) and "{folder}" in str(value):
            return type(value)(str(value).replace("{folder}", str(folder)))
        return value

    given = {name: placed(value) for name, value in (spoiled.arguments or {}).items()}
    given = {"joint": folder / "joint.toml", "out": folder / spoiled.out, "executor": Inline()} | given
    try:
        table = fejoint.sweep(given.pop("joint"), given.pop("vary", None), **given)
    except FejointError as error:
        return "refused", str(error), []
    return "worked", "", _reasons(table)


def _commanded(spoiled: Spoiled) -> tuple[str, str, list[str]]:
    printed, said = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", errors=e) for e in ("strict", "backslashreplace"))
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(said):
        code = run(["sweep", "joint.toml", "--out", spoiled.out, *spoiled.options])
        printed.flush()
    said.flush()
    text = said.buffer.getvalue().decode()  # type: ignore[attr-defined]
    if code == 2:
        if not text.startswith("fejoint: ") or not text.endswith("\n"):
            raise Wrong(f"exit code 2 with {text[:2000]!r}")
        return "refused", text.removeprefix("fejoint: ").removesuffix("\n"), []
    if code not in (0, 1) or text:
        raise Wrong(f"exit code {code} with {text[:2000]!r}")
    return "worked", "", _reasons(pd.read_parquet(Path(spoiled.out) / "sweep.parquet"))


def _reasons(table: pd.DataFrame) -> list[str]:
    """Return why cases have no result; all others have one."""
    ended = table["status"].isin(["refused", "failed"])
    if not (ended | table["status"].isin(["done", "missed"])).all() or (table["status"] == "lost").any():
        raise Wrong(f"ended as {sorted(set(table['status']))}")
    unexpected = [reason for reason in table.loc[table["status"] == "failed", "reason"] if "unexpected" in reason]
    if unexpected:
        raise Wrong(unexpected[0])
    return list(dict.fromkeys(table.loc[ended, "reason"]))


def _tree(folder: Path) -> dict[str, str]:
    """Return every file below a folder with what is in it, as text to compare."""
    found = {}
    for path in sorted(folder.rglob("*")):
        small = path.is_file() and not path.is_symlink() and path.stat().st_size < 10_000_000
        found[str(path.relative_to(folder))] = hashlib.sha256(path.read_bytes()).hexdigest() if small else "special"
    return found


def _check_left(folder: Path, before: dict[str, str], spoiled: Spoiled, ended: str) -> None:
    """Refuse files outside the sweep's folder, foreign or half-written ones in it, and a journal that is not sound."""
    after = _tree(folder)
    given = spoiled.arguments is not None and "out" in spoiled.arguments
    out = folder / (str(spoiled.arguments["out"]) if given and spoiled.arguments else spoiled.out)
    inside = f"{os.path.relpath(out, folder)}/"
    if changed := [
        name
        for name, content in before.items()
        if after.get(name) != content and not (ended == "worked" and name.startswith(inside))
    ]:
        raise Wrong(f"changed: {changed[:3]}")
    for name in set(after) - set(before):
        rest = name.removeprefix(inside)
        if f"{name}/" == inside or inside.startswith(f"{name}/"):
            continue
        if not name.startswith(inside) or (rest not in OURS and not rest.endswith((".png", ".svg"))):
            raise Wrong(f"left behind: {name[-200:]}")
        if ended == "refused" and rest != "journal.sqlite":
            raise Wrong(f"refused, but wrote {rest}")
    journal = out / "journal.sqlite"
    if os.path.lexists(journal) and f"{inside}journal.sqlite" not in before:
        with contextlib.closing(sqlite3.connect(journal)) as connection:
            if connection.execute("PRAGMA integrity_check").fetchone() != ("ok",):
                raise Wrong("the journal is damaged")
            connection.execute("SELECT count(*) FROM outcome").fetchone()


@contextlib.contextmanager
def in_time(seconds: int = PATIENCE) -> Iterator[None]:
    """Stop what takes longer, whatever exceptions it catches; it is a `Wrong` then."""

    class Rung(BaseException):
        pass

    def ring(*_: Any) -> None:
        raise Rung

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(seconds)
    try:
        yield
    except Rung:
        raise Wrong(f"not done after {seconds} s") from None
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def main() -> int:
    """Spoil as many sweeps as asked for, and print what came of them."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--number", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--ways", nargs="+", choices=list(WAYS), default=list(WAYS))
    parser.add_argument("--shown", type=int, default=20, help="how many wrong ones are shown in full")
    arguments = parser.parse_args()
    counts: dict[str, Counter[str]] = {way: Counter() for way in arguments.ways}
    slowest, wrong = (0.0, ""), Counter[str]()
    for number, way in zip(range(arguments.number), itertools.cycle(arguments.ways)):
        seed = f"{arguments.seed} {number}"
        folder = Path(tempfile.mkdtemp(prefix="spoiled-"))
        start = time.perf_counter()
        try:
            spoiled = WAYS[way](random.Random(seed))
            ended, _ = outcome(spoiled, folder)
        except Exception as error:
            ended = "wrong"
            where = traceback.extract_tb(error.__traceback__)
            inside = next((f for f in reversed(where) if "/fejoint/" in f.filename), where[-1])
            name = f"{type(error).__name__} in {Path(inside.filename).name}:{inside.lineno}: {str(error)[:60]!r}"
            name = name[:110] if not isinstance(error, Wrong) else f"{str(error)[:110]!r}"
            wrong[name] += 1
            if len(wrong) <= arguments.shown and wrong[name] == 1:
                print(f"--ways {way} --seed {arguments.seed}, number {number}: {type(error).__name__}: {str(error)[:700]}")
                print("".join(traceback.format_list(where[-4:])) if not isinstance(error, Wrong) else "")
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        counts[way][ended] += 1
        slowest = max(slowest, (time.perf_counter() - start, f"{way}, number {number}"))
    print(f"{'way':12s} {'worked':>8s} {'refused':>8s} {'wrong':>8s}")
    for way, count in counts.items():
        print(f"{way:12s} {count['worked']:8d} {count['refused']:8d} {count['wrong']:8d}")
    total = sum(counts.values(), Counter[str]())
    print(f"{'all':12s} {total['worked']:8d} {total['refused']:8d} {total['wrong']:8d}")
    print(f"slowest: {slowest[0]:.1f} s ({slowest[1]}); joints asked for: {next(_asked) - 1}")
    for name, number in wrong.most_common():
        print(f"{number:6d} x {name}")
    return 1 if total["wrong"] else 0


if __name__ == "__main__":
    sys.exit(main())
