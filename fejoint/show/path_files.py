"""The files of a load's path: every increment a run of its own, written as soon as it is finished, and read to go on from.

A path belongs to one joint, as understood, with its analysis and its load
steps, and to what computes its numbers. Of another one nothing is gone on
from: its files are replaced.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import tempfile
import zipfile
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from fejoint.errors import SetupError
from fejoint.joint.description import Joint
from fejoint.joint.file import joint_to_toml
from fejoint.mechanics.newton import State
from fejoint.mechanics.nonlinear import Pace
from fejoint.mechanics.outcome import Outcome
from fejoint.mechanics.path import Marker, marker_of
from fejoint.mechanics.result import Result
from fejoint.mechanics.section import script_path
from fejoint.show.files import (
    PATH,
    RUN_FILES,
    check_kind,
    csv_text,
    joint_as_understood,
    run_writers,
    versions,
    write_files,
    write_text,
)
from fejoint.show.path_rows import Row, path_row

__all__ = ["PathWriter", "digest", "numeric_versions", "path_csv", "path_identity", "write_path"]

IDENTITY, STATE, TABLE = "path.json", "state.npz", "path.csv"
INCREMENT = re.compile(r"\d{4,}")
SCRATCH = ".writing-"
SHARES = ("share", "length", "ease")  # of a pace, beside what may be none and what is counted


class PathWriter:
    """Writes a load's path into a run's folder as it is found, and tells what an interrupted run left to go on from.

    Parameters
    ----------
    joint : Joint
    folder : path
        Of the run.
    afresh : bool
        Whether to start over, whatever is there.

    Attributes
    ----------
    start : tuple of Marker
        Of the increments that are there of an unfinished path of this joint, in order: what
        `fejoint.solve` takes to go on. None of a path that came to its end.

    Raises
    ------
    SetupError
        The folder holds a sweep, or cannot be read.
    """

    def __init__(self, joint: Joint, folder: str | Path, afresh: bool = False) -> None:
        self.folder, self.joint = Path(folder), joint
        check_kind(folder, "run")
        self._rows: list[Row] = []
        self.start: tuple[Marker, ...] = ()
        unfinished = not (self.folder / "summary.json").is_file()
        if unfinished and not afresh and _said(self.folder / PATH / IDENTITY) == _identity_said(joint):
            found = list(_unfinished(joint, self.folder / PATH))
            self.start = tuple(marker for marker, _ in found)
            self._rows = [row for _, row in found]
        self._begun = False

    @property
    def written(self) -> int:
        """How many increments of this joint's path are there."""
        return len(self._rows)

    def record(self, result: Result) -> None:
        """Write an increment, whole or not at all, and the table anew.

        Raises
        ------
        SetupError
            The folder cannot be written or the disk is full.
        """
        if not self._begun:
            self._begin()
        _write_increment(result, self.folder / PATH)
        self._rows.append(path_row(result))
        write_files(self.folder, {TABLE: lambda path: write_text(path, _table(self._rows))})

    def _begin(self) -> None:
        """Make room: what is gone on from stays, what is there of another path or run goes."""
        kept = len(self.start)
        remove_path(self.folder, kept)
        if not kept:
            for name in RUN_FILES:
                (self.folder / name).unlink(missing_ok=True)
        write_files(
            self.folder / PATH, {IDENTITY: lambda path: write_text(path, json.dumps(_identity_said(self.joint), indent=2))}
        )
        self._begun = True


def write_path(result: Result, folder: str | Path) -> None:
    """Write the path of a result into a run's folder, but for the increments of it that are there.

    Raises
    ------
    SetupError
        The folder cannot be written or the disk is full.
    """
    place, said = Path(folder) / PATH, _identity_said(result.asked or result.joint)
    there = [_same(increment, place / f"{increment.number:04d}") for increment in result.path]
    kept = there.index(False) if False in there else len(there)
    if _said(place / IDENTITY) != said:
        kept = 0
    remove_path(folder, kept)
    write_files(place, {IDENTITY: lambda path: write_text(path, json.dumps(said, indent=2))})
    for increment in result.path[kept:]:
        assert isinstance(increment, Result)
        _write_increment(increment, place)
    write_files(folder, {TABLE: lambda path: write_text(path, path_csv(result.path))})


def remove_path(folder: str | Path, kept: int = 0) -> None:
    """Remove a path's files from a run's folder, all but its first increments; what is none of them stays."""
    place = Path(folder) / PATH
    try:
        if not place.is_dir():
            return
        for entry in sorted(place.iterdir()):
            number = int(entry.name) if INCREMENT.fullmatch(entry.name) else None
            if entry.name.startswith(SCRATCH) or (number is not None and not 0 < number <= kept):
                shutil.rmtree(entry)
        if not kept:
            (place / IDENTITY).unlink(missing_ok=True)
            (Path(folder) / TABLE).unlink(missing_ok=True)
            if not any(place.iterdir()):
                place.rmdir()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise SetupError(f"{folder}: cannot be written ({reason}); choose another folder or free some space.") from None


def path_csv(path: Iterable[Outcome]) -> str:
    """Return the increments of a path as CSV, one a row, N, mm, MPa, K."""
    return _table([path_row(increment) for increment in path])


def path_identity(joint: Joint) -> str:
    """Return a hash of all that decides a joint's load path: the joint as understood, geometry scripts and versions."""
    said = joint_as_understood(joint)
    said.pop("strength")  # what is made of the results changes none of them
    return digest(json.dumps([said, numeric_versions()], sort_keys=True, default=str))


def numeric_versions() -> dict[str, str]:
    """Return the versions of what computes the numbers, the direct solver and the geometry scripts among them."""
    found = {name: version for name, version in versions().items() if name not in ("python", "pydantic")}
    return found | {"geometry scripts": _scripts()}


# ---- parts ---------------------------------------------------------------


@cache
def _scripts() -> str:
    """Return a hash of the geometry scripts: with the joint they decide the mesh."""
    folder = script_path("single_lap.geo").parent
    return digest(*(f"{path.name} {path.read_text(encoding='utf-8')}" for path in sorted(folder.glob("*.geo"))))[:16]


def digest(*parts: str) -> str:
    """Return a hash of texts."""
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()


def _identity_said(joint: Joint) -> dict[str, Any]:
    """Return what ``path.json`` holds of a joint's path."""
    return {"identity": path_identity(joint), "versions": numeric_versions()}


def _said(file: Path) -> Any:
    """Return what a JSON file holds; None where it holds nothing of use."""
    try:
        return json.loads(file.read_bytes())
    except (OSError, ValueError, RecursionError):
        return None


def _table(rows: list[Row]) -> str:
    texts = [
        [f"{value:.9g}" if isinstance(value, float) else "" if value is None else value for value in row.values()] for row in rows
    ]
    return csv_text([list(rows[0]), *texts])


def _same(increment: Outcome, folder: Path) -> bool:
    """Return whether a folder holds an increment already."""
    said = _said(folder / "summary.json")
    return isinstance(said, dict) and said.get("increment") == json.loads(json.dumps(path_row(increment)))


def _write_increment(result: Result, place: Path) -> None:
    """Write the folder of an increment, its joint under what acts there; under another name first, which nobody reads."""
    result = replace(result, joint=result.joint.at())
    place.mkdir(parents=True, exist_ok=True)
    scratch = Path(tempfile.mkdtemp(prefix=SCRATCH, dir=place))
    try:
        writers = run_writers(result, joint_to_toml(result.joint))
        write_files(scratch / "whole", {**writers, STATE: lambda path: _write_state(marker_of(result), path)})
        target = place / f"{result.number:04d}"
        if target.exists():
            shutil.rmtree(target)
        os.rename(scratch / "whole", target)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise SetupError(f"{place}: cannot be written ({reason}); choose another folder or free some space.") from None
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


# ---- the state that a path is gone on from --------------------------------


def _write_state(marker: Marker, path: Path) -> None:
    """Write a marker, to the last bit: the numbers as numpy holds them."""
    state, pace = marker.state, marker.pace
    arrays: dict[str, Any] = {
        "unknowns": state.unknowns,
        "width": state.width,
        **{f"metric {name}": metric for name, (metric, _) in state.history.items()},
        **{f"plastic {name}": plastic for name, (_, plastic) in state.history.items()},
        "counted": np.array([pace.number, pace.step, marker.iterations]),
        "shares": np.array([getattr(pace, name) for name in SHARES]),
        "travel": np.array([] if pace.travel is None else [pace.travel]),
        "velocity": pace.velocity,
        "slopes": np.array(pace.slopes),
        "residual": marker.residual,
        "internal": marker.internal,
    }
    with path.open("wb") as file:
        np.savez_compressed(file, allow_pickle=False, **arrays)


def _read_state(joint: Joint, path: Path) -> Marker:
    """Return the marker in a file; ValueError and its like where it is none."""
    with path.open("rb") as file, np.load(file, allow_pickle=False) as held:
        regions = [*joint.geometry.region_areas()]
        if joint.analysis.cohesive:
            regions = [name for name in regions if name != "adhesive"] + [f"bondline {b.number}" for b in joint.geometry.bonds()]
        number, step, iterations = (int(value) for value in held["counted"])
        shares = {name: float(value) for name, value in zip(SHARES, held["shares"], strict=True)}
        travel = float(held["travel"][0]) if len(held["travel"]) else None
        state = State(
            held["unknowns"],
            float(held["width"]),
            {name: (held[f"metric {name}"], held[f"plastic {name}"]) for name in regions},
        )
        slopes = (float(held["slopes"][0]), float(held["slopes"][1]))
        pace = Pace(number=number, step=step, travel=travel, velocity=held["velocity"], slopes=slopes, **shares)
        return Marker(state, pace, iterations, float(held["residual"]), held["internal"])


def _unfinished(joint: Joint, place: Path) -> Iterable[tuple[Marker, Row]]:
    """Yield marker and row of the increments that are there, from the first up to one that is missing or damaged."""
    number = 1
    while (place / f"{number:04d}").is_dir():
        folder = place / f"{number:04d}"
        try:
            marker, row = _read_state(joint, folder / STATE), _said(folder / "summary.json")["increment"]
        except (OSError, ValueError, LookupError, TypeError, EOFError, zipfile.BadZipFile):
            return
        if marker.pace.number != number or not isinstance(row, dict):
            return
        yield marker, row
        number += 1
