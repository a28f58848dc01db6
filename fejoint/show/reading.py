"""The files of a run read back: the solved joint as everything that shows one takes it, from a folder as from memory."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, overload

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Bondline, Curve, EdgeLoads, Peak
from fejoint.errors import SetupError
from fejoint.mechanics.checks import Check
from fejoint.mechanics.layer import Crack
from fejoint.mechanics.load_path import AdherendSection
from fejoint.mechanics.outcome import Outcome
from fejoint.show.path_rows import CRACK_COLUMNS, LAYER_COLUMNS, PATH_COLUMNS
from fejoint.show.pen import shortened
from fejoint.show.space.solid import SolvedSection, read_section, read_summary

if TYPE_CHECKING:
    from fejoint.joint.description import Joint

__all__ = ["Run", "read_run"]

Floats = NDArray[np.float64]
Rows = list[dict[str, str]]

FILES = ("summary.json", "section.vtu", "bondline.csv", "adherends.csv", "joint.toml")
SAME = 1e-6  # a share: values of one run differ by the digits written
MOST_BYTES = 100_000_000  # of a table: larger ones are none that a run wrote
LARGEST = 1e100  # of a number: none of a run comes near, and what is made of smaller ones overflows nowhere


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Run(Outcome):
    """A solved joint as the files of its run hold it.

    Attributes
    ----------
    section : SolvedSection
        Mesh, displacement and stresses, of ``section.vtu``.
    summary : dict
        ``summary.json``, as it stands.
    joint_file : str
        Text of ``joint.toml``, which repeats the run; with a limit load it has the load that was asked for.
    strength : dict or None
        ``strength.json``, where ``fejoint strength`` has been beside the run.
    strength_refused : str
        Why it is left out, where it is damaged or of another joint.
    path
        Every increment on the load's path, a `Run` read from its folder when it is asked for; the last one
        is the end state as the path left it.
    """

    section: SolvedSection
    summary: dict[str, Any]
    joint_file: str
    strength: dict[str, Any] | None = None
    strength_refused: str = ""


class PathOfRuns(Sequence["Run"]):
    """The increments in a run's folder, each read when it is first asked for.

    Parameters
    ----------
    folder : path
        Of the path, which has a folder an increment.
    number : int
        How many there are.
    """

    def __init__(self, folder: Path, number: int) -> None:
        self._folders = [folder / f"{k:04d}" for k in range(1, number + 1)]
        self._read: dict[int, Run] = {}

    def __len__(self) -> int:
        return len(self._folders)

    @overload
    def __getitem__(self, place: int) -> Run: ...

    @overload
    def __getitem__(self, place: slice) -> tuple[Run, ...]: ...

    def __getitem__(self, place: int | slice) -> Run | tuple[Run, ...]:
        if isinstance(place, slice):
            return tuple(self[k] for k in range(*place.indices(len(self))))
        k = range(len(self))[place]
        if k not in self._read:
            run = read_run(self._folders[k])
            if run.number != k + 1:
                raise SetupError(f"{self._folders[k]}: is not increment {k + 1} of this path; solve the joint again.")
            self._read[k] = run
        return self._read[k]


def read_run(folder: str | Path) -> Run:
    """Return the run that ``fejoint solve --out`` or `fejoint.show.files.write_run` left in a folder.

    Parameters
    ----------
    folder : str or Path

    Raises
    ------
    JointError
        There is no such folder, or a file of a run is missing: says which.
    SetupError
        A file cannot be read, is damaged, or is of another version: says which.
    """
    folder = Path(folder)
    summary = read_summary(folder, FILES)
    section = read_section(folder)
    bonds, sections = _rows(folder / "bondline.csv"), _rows(folder / "adherends.csv")
    try:
        joint_file = (folder / "joint.toml").read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SetupError(f"{folder / 'joint.toml'}: cannot be read ({_reason(error)}); solve the joint again.") from None
    joint = section.joint
    try:
        edges = {
            str(name): EdgeLoads(*(_number(e[key]) for key in ("axial_N_per_mm", "shear_N_per_mm", "moment_N")))
            for name, e in summary["edge_loads"].items()
        }
        run = Run(
            joint=joint,
            bondlines=_bondlines(bonds, joint, edges),
            edges=edges,
            bond_forces={str(name): _number(force) / joint.geometry.width for name, force in summary["transferred_N"].items()},
            adherend_sections=[_section(row) for row in sections],
            spew_peaks={
                int(number): (
                    Peak(_number(p["shear"]), _number(p["shear_x_mm"])),
                    Peak(_number(p["peel"]), _number(p["peel_x_mm"])),
                )
                for number, p in summary["spew_peaks_MPa"].items()
            },
            checks=[_check(check) for check in summary["checks"]],
            discretisation_error={str(k): _number_or_none(v) for k, v in summary["discretisation_error"].items()},
            unknowns=int(summary["dofs"]),
            seconds={str(stage): _number(seconds) for stage, seconds in summary["seconds"].items()},
            warnings=[str(text) for text in summary["warnings"]],
            **_along_the_path(summary, folder),
            section=section,
            summary=summary,
            joint_file=joint_file,
        )
        run = _with_strength(run, folder)
        if set(edges) != set(joint.geometry.adherends()) or not run.checks or run.unknowns <= 0:
            raise ValueError("edge_loads, checks or dofs")
        entering = {s.adherend for s in run.adherend_sections if s.place == "overlap"}
        if entering != set(edges) or not {s.adherend for s in run.adherend_sections} <= entering:
            raise ValueError("adherends.csv, adherend")
        on_the_way = run.number > 0 and not run.path  # of an increment the mesh error is not known
        if not on_the_way and not {"peak_shear", "peak_peel"} <= set(run.discretisation_error):
            raise ValueError("discretisation_error")
        if not isinstance(summary["versions"], dict):
            raise ValueError("versions")
        _check_belongs_together(run)
    except (ValueError, TypeError, LookupError, AttributeError, OverflowError) as error:
        why = shortened(str(error), 200)
        raise SetupError(f"{folder}: its files do not belong together or are damaged ({why}); solve the joint again.") from None
    return run


def _check_belongs_together(run: Run) -> None:
    """Raise ValueError where the files are not of one run: each holds something that another one holds, too."""
    for name in ("peak_shear", "peak_peel", "least_peel"):
        stated, found = float(run.summary[f"{name}_MPa"]["value"]), getattr(run, name)[0].value
        if not math.isclose(stated, found, rel_tol=SAME, abs_tol=1e-9):
            raise ValueError(f"bondline.csv has a {name.replace('_', ' ')} of {found:.6g} MPa, summary.json {stated:.6g}")
    for adherend, stated in run.summary["adherend_peak_MPa"].items():
        found = run.adherend_peaks[adherend]
        if not math.isclose(float(stated), found, rel_tol=SAME, abs_tol=1e-9):
            raise ValueError(f"adherends.csv has {found:.6g} MPa in {adherend}, summary.json {float(stated):.6g}")
    for bondline, drawn in zip(run.bondlines, run.section.mid_line_curves(), strict=True):
        # Where rotations are large the curve in the bondline's own directions is not that in the axes of space.
        in_space = bondline.middle if bondline.cauchy is None else bondline.cauchy
        x, peel = drawn.x, drawn.peel
        # Node by node: where the stress is steep the digits of x would count.
        here = len(x) == len(in_space.x) and np.allclose(x, in_space.x, rtol=0, atol=1e-6 * run.joint.geometry.length)
        off = np.abs(in_space.peel - peel).max() if here else np.inf
        if off > SAME * np.abs(in_space.peel).max() + 1e-9:
            raise ValueError(f"section.vtu has another peel along bondline {bondline.number} than bondline.csv")


# ---- parts ---------------------------------------------------------------


def _with_strength(run: Run, folder: Path) -> Run:
    """Return a run with what ``fejoint strength`` left beside it; one that is damaged costs the run nothing else."""
    from fejoint.show.strength_files import read_strength

    try:
        return replace(run, strength=read_strength(folder, run.joint if run.asked is None else run.asked))
    except SetupError as error:
        return replace(run, strength_refused=str(error))


def _rows(path: Path) -> Rows:
    """Return the rows of a table by the names of its columns."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise SetupError(f"{path}: is too large for a table of a run; solve the joint again.")
        with path.open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise SetupError(f"{path}: cannot be read ({_reason(error)}); solve the joint again.") from None


def _bondlines(rows: Rows, joint: Joint, edges: dict[str, EdgeLoads]) -> list[Bondline]:
    g = joint.geometry
    entries = g.entries()
    found = []
    for bond in g.bonds():
        curves: dict[str, Any] = {}
        measure, along = "", {}
        for level in ("middle", "lower", "upper"):
            here = [row for row in rows if row["bondline"] == str(bond.number) and row["level"] == level]
            if not here and level == "middle":
                raise ValueError(f"bondline.csv has no mid-line of bondline {bond.number}")
            if here:
                curves[level] = Curve(*(_column(here, name) for name in ("x_mm", "shear_MPa", "peel_MPa", "axial_MPa")))
            if level == "middle":
                measure = here[0]["measure"]
                along = _along(here, curves[level])
                along["transferred"] = _column(here, "transferred_N") / g.width
        ends = {
            x: next((edges[name] for name in (bond.below, bond.above) if name in edges and entries[name] == x), None)
            for x in (0.0, g.length)
        }
        found.append(
            Bondline(
                number=bond.number,
                **curves,
                left=ends[0.0] if bond.start == 0 else None,
                right=ends[g.length] if bond.end == g.length else None,
                measure=measure,
                flawed=tuple((f.start, f.end) for f in joint.merged_flaws().flaws if f.bondline == bond.number),
                **along,
            )
        )
    bonds = g.bonds()
    # Layers over one stretch of the overlap share the mesh lines across it, but for where one of them has a flaw.
    beside = [b.x for b, bond in zip(found, bonds, strict=True) if (bond.start, bond.end) == (bonds[0].start, bonds[0].end)]
    if not joint.flaws and any(len(x) != len(beside[0]) or not np.allclose(x, beside[0]) for x in beside):
        raise ValueError("bondline.csv, x_mm of its bondlines")
    return found


def _along(rows: Rows, middle: Curve) -> dict[str, Any]:
    """Return what an analysis along the load's path has on a mid-line beside its stress; nothing of a linear one."""
    found: dict[str, Any] = {}
    for name in ("shear_strain", "plastic_strain"):
        if rows[0].get(name):
            found[name] = _column(rows, name)
    for column in LAYER_COLUMNS:
        if rows[0].get(column):
            found[column.removesuffix("_mm")] = _column(rows, column)
    if rows[0].get("cauchy_peel_MPa"):
        in_space = (_column(rows, f"cauchy_{name}_MPa") for name in ("shear", "peel", "axial"))
        found["cauchy"] = Curve(middle.x, *in_space)
    return found


def _along_the_path(summary: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Return what a run along a load's path holds beside a linear one, as fields of an outcome."""
    from fejoint.joint.description import Joint

    found: dict[str, Any] = {
        "elongation": _number(summary["elongation_mm"]),
        "turn": _number(summary["turn"]),
        "lift": _number(summary["lift_mm"]),
    }
    if "path" not in summary:
        return found
    rows = summary["path"]
    if [row["number"] for row in rows] != list(range(1, len(rows) + 1)):
        raise ValueError("summary.json, path")
    for row in rows:
        if not isinstance(row["step"], str) or not all(value is None or _number(value) is not None for value in _numbers(row)):
            raise ValueError("summary.json, path")
    path = PathOfRuns(folder / "path", len(rows)) if rows else ()
    return found | {
        "asked": Joint.model_validate(summary["asked"], by_alias=True) if "asked" in summary else None,
        "step": str(summary["step"]),
        "number": int(summary["number"]),
        "iterations": int(summary["iterations"]),
        "plastic_strain": {str(name): _number(value) for name, value in summary["plastic_strain"].items()},
        "yielded": {int(number): _number(share) for number, share in summary["yielded"].items()},
        "cracks": {
            int(number): Crack(**{name: _number(value) for name, value in said.items()})
            for number, said in summary.get("cracks", {}).items()
        },
        "limit": str(summary["limit"]),
        "path": path,
    }


def _numbers(row: dict[str, Any]) -> Iterator[Any]:
    """Yield what must be numbers in a row of the path."""
    return (row[name] for name in (*PATH_COLUMNS, *CRACK_COLUMNS) if name != "step" and (name in PATH_COLUMNS or name in row))


def _column(rows: Rows, name: str) -> Floats:
    values = np.array([float(row[name]) for row in rows])
    if not (np.abs(values) < LARGEST).all() or (name == "x_mm" and (len(values) % 2 == 0 or (np.diff(values) <= 0).any())):
        raise ValueError(f"bondline.csv, {name}")
    return values


def _section(row: dict[str, str]) -> AdherendSection:
    def given(name: str) -> float | None:
        return _number(row[name]) if row[name] else None

    x, thickness, axial = (_number(row[name]) for name in ("x_mm", "thickness_mm", "axial_N_per_mm"))
    if thickness < 1 / LARGEST:
        raise ValueError("adherends.csv, thickness_mm")
    return AdherendSection(row["adherend"], row["place"], x, thickness, axial, given("shear_N_per_mm"), given("moment_N"))


def _check(said: dict[str, Any]) -> Check:
    check = Check(str(said["name"]), _number_or_none(said["value"]), _number(said["limit"]), str(said["meaning"]))
    if check.passed != said["passed"]:
        raise ValueError(f"check {check.name}")
    return check


def _number(value: Any) -> float:
    """Return a number of a run; ValueError where no run writes it."""
    number = float(value)
    if not abs(number) < LARGEST:  # nor is NaN
        raise ValueError(f"{value!s:.40} is no number of a run")
    return number


def _number_or_none(value: Any) -> float:
    """Return a number of the summary, where null stands for none."""
    return math.nan if value is None else _number(value)


def _reason(error: Exception) -> str:
    return (
        getattr(error, "strerror", None) or ("no UTF-8 text" if isinstance(error, UnicodeDecodeError) else str(error))
    ).lower()
