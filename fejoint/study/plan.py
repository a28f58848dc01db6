"""What a sweep varies: the ``[sweep]`` table of a joint file, and the points that it comes to.

    [sweep]
    points = "grid"                       # grid | zip | latin-hypercube | sobol
    columns = ["peak_shear_MPa", "peak_peel_MPa"]

    [sweep.vary]
    "joint.overlap_length" = { from = "10 mm", to = "40 mm", steps = 7 }
    "joint.lower.thickness" = ["1.5 mm", "2 mm"]

    [sweep.tie]
    "joint.upper.thickness" = "joint.lower.thickness"

Points are never all made at once: the n-th is a function of n.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationError, model_validator

from fejoint.errors import JointError
from fejoint.joint.keys import column_name, known_keys, near, value_at
from fejoint.joint.model import Model, as_joint_error, refuse
from fejoint.show.sweeps.limits import Limit
from fejoint.study.joint_table import MAX_CASES, joints_in
from fejoint.study.wording import as_json, short
from fejoint.units import as_number

__all__ = ["DEFAULT_COLUMNS", "MAX_CASES", "Plan", "Sweep", "make_plan", "sweep_schema", "sweep_table"]

DEFAULT_COLUMNS = (
    "peak_shear_MPa",
    "peak_shear_MPa.x_mm",
    "peak_peel_MPa",
    "peak_peel_MPa.x_mm",
    "least_peel_MPa",
    "mean_shear_MPa",
    "adherend_peak_MPa",
    "discretisation_error",
)
VALUES = 'must be a list of values, such as ["10 mm", "20 mm"], or { from = "10 mm", to = "40 mm", steps = 7 }'


class Sweep(Model):
    """The ``[sweep]`` table: which keys take which values, and what is kept of every case."""

    vary: dict[str, Any] = Field(default_factory=dict, examples=[{"joint.overlap_length": ["10 mm", "20 mm"]}])
    """Values by dotted key: a list, or { from, to, steps, spacing = "linear" or "logarithmic" }"""
    tie: dict[str, str] = Field(default_factory=dict, examples=[{"joint.upper.thickness": "joint.lower.thickness"}])
    """Keys that take the value of a varied key in every case"""
    points: Literal["grid", "zip", "latin-hypercube", "sobol"] = Field("grid", examples=["grid"])
    """How values go together: every combination, side by side, or so many samples of the space"""
    samples: int | None = Field(None, ge=1, le=MAX_CASES, examples=[64])
    """Number of samples of latin-hypercube and sobol (of this a power of two)"""
    seed: int = Field(0, ge=0, le=2**63 - 1, examples=[0])
    """Seed of the samples: the same seed makes the same points"""
    table: str | None = Field(None, examples=["joints.csv"])
    """A CSV or Parquet file of joints instead: a row each, columns by dotted key; beside the joint file"""
    columns: tuple[str, ...] = Field(DEFAULT_COLUMNS, fail_fast=True, examples=[["peak_shear_MPa", "peak_peel_MPa"]])
    """What is kept of each case: names in summary.json, dotted where nested"""
    limits: tuple[str, ...] = Field((), fail_fast=True, examples=[["peak_peel_MPa <= 20"]])
    """Limits on columns, which say whether a case is feasible"""
    keep_curves: bool = Field(False, examples=[False])
    """Keep the stresses along all bondlines of every case, in curves.parquet"""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        sampled = self.points in ("latin-hypercube", "sobol")
        if self.table is not None:
            if self.vary or sampled or self.points == "zip":
                refuse("table", self.table, "brings its own points: leave vary and points out")
        elif not self.vary:
            refuse("vary", None, 'name at least one key and its values, such as "joint.overlap_length" = ["10 mm", "20 mm"]')
        elif sampled and self.samples is None:
            refuse("samples", None, f'points = "{self.points}" needs a number of samples, such as samples = 64')
        if not sampled and self.samples is not None:
            refuse("samples", self.samples, 'only goes with points = "latin-hypercube" or "sobol"')
        if self.points == "sobol" and self.samples and self.samples & (self.samples - 1):
            above = 1 << self.samples.bit_length()
            refuse("samples", self.samples, f"of sobol must be a power of two, such as {above // 2} or {above}")
        if not self.columns:
            refuse("columns", None, f'name at least one, such as "{DEFAULT_COLUMNS[0]}"')
        return self


class _InFile(Model):
    """Gives error sentences the key as it stands in the file."""

    sweep: Sweep


def sweep_table(document: Mapping[str, Any], given: Mapping[str, Any]) -> Sweep:
    """Return the sweep of a joint file's dict, with what was given as arguments in place of its keys.

    Raises
    ------
    JointError
        There is none, or a value is refused.
    """
    table = document.get("sweep", {})
    if not isinstance(table, Mapping):
        raise JointError("sweep: must be a table, [sweep]; see the README.")
    try:
        return _validated({"sweep": {**table, **given}})
    except RecursionError:
        raise JointError("sweep: its tables or lists are nested too deeply.") from None


def _validated(document: Mapping[str, Any]) -> Sweep:
    try:
        return _InFile.model_validate(document).sweep
    except ValidationError as error:
        raise as_joint_error(error, _InFile) from None


def sweep_schema() -> dict[str, Any]:
    """Return the JSON schema of the ``[sweep]`` table."""
    return Sweep.model_json_schema(by_alias=True)


class Range(Model):
    """Values from one to another."""

    start: Any = Field(alias="from", examples=["10 mm"])
    """First value"""
    stop: Any = Field(alias="to", examples=["40 mm"])
    """Last value"""
    steps: int | None = Field(None, ge=1, le=MAX_CASES, examples=[7])
    """How many values, both ends among them"""
    spacing: Literal["linear", "logarithmic"] = Field("linear", examples=["linear"])
    """Equal differences or equal ratios"""


@dataclass(frozen=True)
class Axis:
    """The values of one varied key: a list, or (`start`, `stop`) for samples in between."""

    key: str
    unit: str | None
    values: Sequence[Any]
    start: float = math.nan
    stop: float = math.nan
    logarithmic: bool = False

    def between(self, share: float) -> Any:
        """Return the value at a share (0 to 1) of the way; of a list, its items take equal shares."""
        if len(self.values):
            return self.values[min(int(share * len(self.values)), len(self.values) - 1)]
        if self.logarithmic:
            return float(self.start * (self.stop / self.start) ** share)
        return float(self.start + share * (self.stop - self.start))


@dataclass(frozen=True)
class Plan:
    """The points of a sweep.

    Attributes
    ----------
    number : int
        Of points.
    axes : tuple of Axis
        The varied keys; empty for a table of joints.
    units : dict
        Every key that points set, tied ones too, with its inside unit (None: no quantity).
    base : dict
        What the joint file says under these keys, for points that say nothing.
    """

    number: int
    axes: tuple[Axis, ...]
    units: dict[str, str | None]
    points: str
    tie: dict[str, str]
    base: dict[str, Any] = field(default_factory=dict)
    shares: NDArray[np.float64] | None = None
    rows: tuple[dict[str, Any], ...] = ()

    def values(self, n: int) -> dict[str, Any]:
        """Return the values of point n (from 0) by dotted key."""
        if not self.axes:
            found = dict(self.rows[n])
        elif self.shares is not None:
            found = {axis.key: axis.between(float(share)) for axis, share in zip(self.axes, self.shares[n], strict=True)}
        elif self.points == "zip":
            found = {axis.key: axis.values[n] for axis in self.axes}
        else:
            places = np.unravel_index(n, [len(axis.values) for axis in self.axes])
            found = {axis.key: axis.values[int(i)] for axis, i in zip(self.axes, places, strict=True)}
        return found | {key: found[source] for key, source in self.tie.items() if source in found}

    def columns(self, n: int) -> dict[str, Any]:
        """Return the values of point n by the names of the table's columns: quantities as numbers in inside units."""
        found = self.values(n)
        return {column_name(key, unit): _in_table(found.get(key, self.base.get(key)), unit) for key, unit in self.units.items()}


def make_plan(sweep: Sweep, document: Mapping[str, Any], folder: Path) -> Plan:
    """Return the points of a sweep of the joint that a document describes.

    Parameters
    ----------
    sweep : Sweep
    document : dict
        The joint file.
    folder : Path
        Where a ``table`` stands.

    Raises
    ------
    JointError
        A key that the joint file does not have, values that are none, lists of
        unlike length, a limit that is none.
    """
    for limit in sweep.limits:
        Limit.parse(limit)
    rows = joints_in(folder / sweep.table) if sweep.table is not None else ()
    keys = list(sweep.vary) if sweep.table is None else list(dict.fromkeys(key for row in rows for key in row))
    kind = value_at(document, "joint.kind")
    known = known_keys(kind if isinstance(kind, str) and "joint.kind" not in keys else None)
    units = {}
    for key in [*keys, *sweep.tie]:
        if key not in known:
            where = sweep.table if sweep.table is not None else "sweep.tie" if key in sweep.tie else "sweep.vary"
            raise JointError(f"{where}: no key {short(key)}; {near(key, known)}")
        units[key] = known[key]
    for key, source in sweep.tie.items():
        if source not in keys:
            raise JointError(f"sweep.tie.{key} = {short(source)}: must be a varied key; {near(source, keys)}")
        if key in keys:
            raise JointError(f"sweep.tie.{key}: is varied itself; leave it out of one of the two.")
        if units[key] != units[source]:
            raise JointError(f"sweep.tie.{key} = {short(source)}: the two are not of one dimension; tie like to like.")
    _no_key_inside_another(list(units))
    base = {key: value_at(document, key) for key in units}
    if sweep.table is not None:
        return Plan(len(rows), (), units, "table", dict(sweep.tie), base, rows=rows)
    sampled = sweep.points in ("latin-hypercube", "sobol")
    axes = tuple(_axis(key, given, units[key], sampled) for key, given in sweep.vary.items())
    plan = Plan(0, axes, units, sweep.points, dict(sweep.tie), base)
    if sampled:
        assert sweep.samples is not None  # refused by Sweep
        return replace(plan, number=sweep.samples, shares=_shares(sweep.points, sweep.samples, sweep.seed, len(axes)))
    lengths = [len(axis.values) for axis in axes]
    if sweep.points == "zip":
        if len(set(lengths)) > 1:
            counted = ", ".join(f"{axis.key} has {n}" for axis, n in zip(axes, lengths, strict=True))
            raise JointError(f'sweep.points = "zip": all lists must be of one length, but {counted}.')
        return replace(plan, number=lengths[0])
    number = math.prod(lengths)
    if number > MAX_CASES:
        raise JointError(f"sweep.vary: {' x '.join(map(str, lengths))} values make more than {MAX_CASES} cases; split the study.")
    return replace(plan, number=number)


def _axis(key: str, given: Any, unit: str | None, sampled: bool) -> Axis:
    where = f"sweep.vary.{key}"
    if not isinstance(given, Mapping):
        given = given.tolist() if hasattr(given, "tolist") and not hasattr(given, "units") else given
        if hasattr(given, "units") and hasattr(given, "magnitude") and hasattr(given.magnitude, "__len__"):
            given = list(given)  # an array of pint's
        if not isinstance(given, list | tuple | range):
            raise JointError(f"{where} = {short(given)}: {VALUES}.")
        if not given:
            raise JointError(f"{where} = []: {VALUES}.")
        if isinstance(given, range):
            given = given[: MAX_CASES + 1]
        if len(given) > MAX_CASES:
            raise JointError(f"{where}: has more than {MAX_CASES} values; split the study.")
        return Axis(key, unit, list(given))
    if not all(isinstance(name, str) for name in given):
        raise JointError(f"{where} = {short(given)}: {VALUES}.")
    try:
        given = Range.model_validate(given, by_name=False, by_alias=True)
    except ValidationError as error:
        raise JointError(f"{where}: {as_joint_error(error, Range)}") from None
    if unit is None:
        raise JointError(f"{where}: is no quantity, so it has no values from one to another: give a list.")
    try:
        start, stop = as_number(given.start, unit), as_number(given.stop, unit)
    except ValueError as error:
        raise JointError(f"{where} = {{ from = {short(given.start)}, to = {short(given.stop)} }}: {error}.") from None
    logarithmic = given.spacing == "logarithmic"
    if logarithmic and start * stop <= 0:
        raise JointError(f"{where}: from and to of logarithmic spacing must both be above (or both below) zero.")
    if sampled:
        if given.steps is not None:
            raise JointError(f"{where}.steps = {given.steps}: samples lie anywhere between the ends: leave steps out.")
        return Axis(key, unit, (), start, stop, logarithmic)
    if given.steps is None:
        raise JointError(f"{where}.steps is missing: say how many values from one end to the other, such as steps = 7.")
    spaced = np.geomspace if logarithmic else np.linspace
    # Twelve digits: 0.30000000000000004 would be another joint than 0.3, and no user's.
    with np.errstate(all="ignore"):  # the joints refuse what lies beyond all numbers
        return Axis(key, unit, [float(f"{value:.12g}") for value in spaced(start, stop, given.steps)])


def _shares(kind: str, samples: int, seed: int, axes: int) -> NDArray[np.float64]:
    """Return the samples of the unit cube, shape (samples, axes)."""
    from scipy.stats import qmc

    if kind == "latin-hypercube":
        return np.asarray(qmc.LatinHypercube(axes, rng=np.random.default_rng(seed)).random(samples))
    if axes > qmc.Sobol.MAXDIM:
        raise JointError(f'sweep.points = "sobol": takes at most {qmc.Sobol.MAXDIM} keys.')
    return np.asarray(qmc.Sobol(axes, rng=np.random.default_rng(seed)).random(samples))


def _in_table(value: Any, unit: str | None) -> Any:
    if unit is not None:
        try:
            return as_number(value, unit)
        except ValueError:  # the joint refuses it too, and its sentence says so
            return math.nan
    value = value.tolist() if hasattr(value, "tolist") else value
    if isinstance(value, Mapping) and isinstance(value.get("name"), str):
        value = value["name"]
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode()  # Python's texts may hold what no file can
    plain = value is None or isinstance(value, float) or (isinstance(value, int) and abs(value) < 2**63)
    return value if plain else as_json(value)


def _no_key_inside_another(keys: list[str]) -> None:
    for key in keys:
        inside = next((other for other in keys if other.startswith(f"{key}.")), None)
        if inside:
            raise JointError(f"sweep: {inside} lies inside {key}, which takes other values itself; leave one of them out.")
