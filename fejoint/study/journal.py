"""The journal of a study: what is known of every case, on disk as soon as it is known.

One SQLite file. What `Journal.record` returned for outlives a killed process
and a power cut (write-ahead log, synchronous=FULL); what it did not return for
is not there at all. A study that is run again goes on from it.

One run at a time writes (`lock`). The SQLite file itself is never
opened by other means while SQLite has it open: closing it would drop SQLite's own locks
(POSIX locks belong to process and file). Anybody may read the journal while it is
written, on the same machine: ``sqlite3 FILE 'select status, count(*) from
outcome group by status'``. A file system without locks is refused, since SQLite
could not be trusted on it either.

NaN and infinities are stored as null and come back as None; all other numbers
come back bit by bit. Every row carries a checksum, because SQLite has none and
a damaged figure looks like any other.
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import sqlite3
import struct
import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fejoint.errors import SetupError
from fejoint.study.lock import Lock

__all__ = ["STATUSES", "Journal", "Outcome", "Value"]

Value = float | int | str | bool | None

STATUSES = ("done", "missed", "refused", "failed", "lost")

APPLICATION_ID = 0x66656A6F  # "fejo"
SCHEMA_VERSION = 1

# Curves stand apart: they are large, and most readers do not want them.
_SCHEMA = f"""
BEGIN IMMEDIATE;
PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {SCHEMA_VERSION};
CREATE TABLE study (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE outcome (
    key TEXT PRIMARY KEY, status TEXT NOT NULL, reason TEXT NOT NULL, columns TEXT NOT NULL, seconds REAL,
    checksum INTEGER NOT NULL
);
CREATE TABLE curve (key TEXT PRIMARY KEY, curves BLOB NOT NULL, checksum INTEGER NOT NULL);
"""

# What lies beside a journal while it is open, or after its process was killed.
_SQLITE_COMPANIONS = ("-wal", "-shm", "-journal")
# Seconds that a write waits for somebody else's transaction (a person with sqlite3).
_PATIENCE = 30.0


@dataclass(frozen=True)
class Outcome:
    """What came of one case.

    Attributes
    ----------
    key : str
        SHA-256 of the case, in hexadecimal.
    status : str
        ``done``; ``missed`` (solved, but a self-check missed); ``refused`` (by the joint);
        ``failed`` (an error while solving); ``lost`` (its worker died).
    reason : str
        A sentence; of a missed case its first warning.
    values : dict
        By column.
    seconds : float
        That it took.
    curves : bytes, optional
        Kept as given.
    """

    key: str
    status: str
    reason: str = ""
    values: dict[str, Value] = field(default_factory=dict)
    seconds: float = 0.0
    curves: bytes | None = None


class Journal:
    """Outcomes of a study's cases on disk; a context manager.

    Parameters
    ----------
    path : path or None
        The file; made if it is not there, its folder must be. None keeps everything in memory.
    study : mapping of str to str
        What the outcomes belong to (joint, columns, versions); of one that is there, it must be the same.

    Raises
    ------
    SetupError
        Another study's, in use by another run, damaged, no journal at all, or it cannot be written. It stays as it is.
    """

    def __init__(self, path: Path | None, study: Mapping[str, str]) -> None:
        self._shown = "the journal" if path is None else str(path)
        self._folder = "the memory" if path is None else str(path.parent)
        self._lock: Lock | None = None
        self._connection: sqlite3.Connection | None = None
        try:
            if path is None:
                self._connection = _connect(":memory:")
                _create(self._connection, study)
            else:
                self._open(path.resolve(), study)
        except BaseException as error:
            self.close()
            if isinstance(error, sqlite3.Error | OSError):
                raise self._explained(error) from error
            raise

    def _open(self, path: Path, study: Mapping[str, str]) -> None:
        if path.is_dir():
            raise SetupError(f"{self._shown}: is a folder, not a journal.")
        if not path.parent.is_dir():
            raise SetupError(f"{self._shown}: there is no folder {self._folder}.")
        self._lock = Lock(path, self._shown)
        if not path.exists():
            _make(path, study)
        else:
            self._refuse_foreign(path)
        self._connection = _connect(f"{path.as_uri()}?mode=rw")
        complaint = self._connection.execute("PRAGMA quick_check(1)").fetchone()[0]  # 0.14 s for 10,000 cases, 500 MB
        if complaint != "ok":
            raise sqlite3.DatabaseError(complaint.splitlines()[-1].lower())
        self._refuse_other(study)
        self._connection.execute("PRAGMA journal_mode = WAL")
        self._connection.execute("PRAGMA synchronous = FULL")

    def _refuse_foreign(self, path: Path) -> None:
        """Look at the head of the file, before SQLite does, which would tidy up a foreign database."""
        with path.open("rb") as file:
            head = file.read(100)
        if len(head) < 100 or not head.startswith(b"SQLite format 3\0"):
            raise SetupError(f"{self._shown}: is no journal of a sweep, or a damaged one; {_ELSEWHERE}.")
        version, application = struct.unpack(">I", head[60:64])[0], struct.unpack(">I", head[68:72])[0]
        if application != APPLICATION_ID:
            raise SetupError(f"{self._shown}: is a database of another program, not a journal of a sweep; {_ELSEWHERE}.")
        if version != SCHEMA_VERSION:
            raise SetupError(
                f"{self._shown}: was written by another version of fejoint (its format is {version}, "
                f"this one's is {SCHEMA_VERSION}); {_ELSEWHERE}."
            )

    def _refuse_other(self, study: Mapping[str, str]) -> None:
        assert self._connection is not None
        known = dict(self._connection.execute("SELECT name, value FROM study"))
        names = [*study, *(name for name in known if name not in study)]
        unlike = [
            f"{name} was {known.get(name, _NOT_GIVEN)} and is now {study.get(name, _NOT_GIVEN)}"
            for name in names
            if known.get(name) != study.get(name)
        ]
        if unlike:
            more = f" (and {len(unlike) - 3} more)" if len(unlike) > 3 else ""
            raise SetupError(f"{self._shown}: belongs to another study: {', '.join(unlike[:3])}{more}; {_ELSEWHERE}.")

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def statuses(self) -> dict[str, str]:
        """Return the status of every case in it, by key."""
        with self._explaining() as connection:
            return dict(connection.execute("SELECT key, status FROM outcome"))

    def record(self, outcomes: Iterable[Outcome]) -> None:
        """Write outcomes down, all or none, in place of those with the same keys; they are on the disk when this returns.

        Raises
        ------
        SetupError
            The disk is full or cannot be written; everything recorded before is kept.
        """
        with self._explaining() as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                for outcome in outcomes:
                    connection.execute("REPLACE INTO outcome VALUES (?, ?, ?, ?, ?, ?)", _row(outcome))
                    if outcome.curves is None:
                        connection.execute("DELETE FROM curve WHERE key = ?", (outcome.key,))
                    else:
                        row = (outcome.key, outcome.curves, zlib.crc32(outcome.curves))
                        connection.execute("REPLACE INTO curve VALUES (?, ?, ?)", row)
                connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:  # a full disk ends it by itself
                    with contextlib.suppress(sqlite3.Error):
                        connection.execute("ROLLBACK")
                raise

    def outcomes(self, keys: Iterable[str], curves: bool = False) -> Iterator[Outcome]:
        """Yield the outcomes of some cases, in the order of the keys, one in memory at a time.

        Parameters
        ----------
        keys : iterable of str
            Those that are not in the journal are passed over.
        curves : bool
            Whether to read the curves too.
        """
        for key in keys:
            with self._explaining() as connection:
                row = connection.execute("SELECT * FROM outcome WHERE key = ?", (key,)).fetchone()
                kept = connection.execute("SELECT * FROM curve WHERE key = ?", (key,)).fetchone() if row and curves else None
                if row is None:
                    continue
                if row[-1] != _checksum(*row[:-1]) or (kept and kept[-1] != zlib.crc32(kept[1])):
                    raise sqlite3.DatabaseError(f"checksum of case {key[:12]}")
            _, status, reason, columns, seconds, _ = row
            seconds = math.nan if seconds is None else seconds
            yield Outcome(key, status, reason, json.loads(columns), seconds, kept[1] if kept else None)

    def close(self) -> None:
        """Close it, leaving one file if possible; what cannot be tidied up now is when it is opened next.

        Never raises but for an interruption, and lets go of the file then too.
        """
        connection, self._connection = self._connection, None
        lock, self._lock = self._lock, None
        try:
            if connection is not None:
                _tidy_and_close(connection)
        finally:
            if lock is not None:
                lock.release()

    @contextlib.contextmanager
    def _explaining(self) -> Iterator[sqlite3.Connection]:
        if self._connection is None:
            raise ValueError(f"{self._shown} is closed")
        try:
            yield self._connection
        except sqlite3.Error as error:
            raise self._explained(error) from error

    def _explained(self, error: sqlite3.Error | OSError) -> SetupError:
        """Return what a person makes of an error of SQLite or of the file system."""
        if isinstance(error, OSError):
            reason = (error.strerror or str(error)).lower()
            return SetupError(f"{self._shown}: cannot be written ({reason}); choose another folder.")
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code == sqlite3.SQLITE_FULL:
            return SetupError(f"{self._folder} is full: {self._kept()}; free some space and run the same again.")
        if code == sqlite3.SQLITE_BUSY:
            return SetupError(f"{self._shown}: another program holds it ({self._kept()}); close it there and run the same again.")
        if code in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
            kept = f": {self._kept()}" if self._connection else ""
            return SetupError(f"{self._shown}: cannot be written ({error}){kept}; see to the disk, or choose another folder.")
        if isinstance(error, sqlite3.ProgrammingError | sqlite3.InterfaceError):
            raise error  # a mistake in a program, not in a file
        return SetupError(f"{self._shown}: is damaged ({error}); {_ELSEWHERE}, and the cases are solved anew.")

    def _kept(self) -> str:
        unknown = "what was finished is kept"
        if self._connection is None:
            return unknown
        try:
            number = self._connection.execute("SELECT count(*) FROM outcome").fetchone()[0]
        except sqlite3.Error:
            return unknown
        return f"{number:,} finished case{'s are' if number != 1 else ' is'} kept"


_ELSEWHERE = "choose another folder for --out, or move the file away"
_NOT_GIVEN = "not given"


def _connect(name: str) -> sqlite3.Connection:
    # isolation_level None: transactions begin and end where this module says so
    return sqlite3.connect(name, timeout=_PATIENCE, isolation_level=None, uri=name.startswith("file:"))


def _tidy_and_close(connection: sqlite3.Connection) -> None:
    try:
        with contextlib.suppress(sqlite3.Error):
            connection.execute("PRAGMA busy_timeout = 0")  # a reader may go on; waiting for it gains nothing
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        with contextlib.suppress(sqlite3.Error):
            connection.close()


def _create(connection: sqlite3.Connection, study: Mapping[str, str]) -> None:
    connection.executescript(_SCHEMA)
    connection.executemany("INSERT INTO study VALUES (?, ?)", study.items())
    connection.execute("COMMIT")


def _make(path: Path, study: Mapping[str, str]) -> None:
    """Make an empty journal under another name first: one under its own is complete, whenever the power goes."""
    new = path.with_name(path.name + ".new")
    # What a journal that was removed left beside it would be played into the new one.
    for rest in [new, *(Path(str(file) + companion) for file in (path, new) for companion in _SQLITE_COMPANIONS)]:
        rest.unlink(missing_ok=True)
    try:
        with contextlib.closing(_connect(f"{new.as_uri()}?mode=rwc")) as connection:
            _create(connection, study)
        new.rename(path)
    except BaseException:
        for rest in (new, Path(f"{new}-journal")):
            with contextlib.suppress(OSError):
                rest.unlink(missing_ok=True)
        raise
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)


def _row(outcome: Outcome) -> tuple[Any, ...]:
    if outcome.status not in STATUSES:
        raise ValueError(f"status {outcome.status!r} is none of {', '.join(STATUSES)}")
    values = {name: None if isinstance(v, float) and not math.isfinite(v) else v for name, v in outcome.values.items()}
    columns = json.dumps(values, allow_nan=False, separators=(",", ":"), default=_plain)
    reason = outcome.reason.encode("utf-8", "replace").decode("utf-8")  # names of files may hold what is no text
    seconds = float(outcome.seconds)
    row = (outcome.key, outcome.status, reason, columns, None if math.isnan(seconds) else seconds)
    return (*row, _checksum(*row))


def _plain(value: Any) -> Value:
    """Return a number of numpy as one of Python."""
    plain = value.item()
    if isinstance(plain, float) and not math.isfinite(plain):
        return None
    if isinstance(plain, float | int | str | bool):
        return plain
    raise TypeError(f"a journal keeps no {type(value).__name__}")


def _checksum(key: str, status: str, reason: str, columns: str, seconds: float | None) -> int:
    return zlib.crc32("\0".join([key, status, reason, columns, repr(seconds)]).encode())
