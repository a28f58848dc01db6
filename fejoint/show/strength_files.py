"""What the prediction of strength comes to, as plain data: for ``strength.json``, tables, figures and the report."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fejoint.errors import SetupError
from fejoint.joint.description import Joint
from fejoint.show.files import csv_text, joint_as_understood, versions
from fejoint.strength.capacity import Capacity
from fejoint.strength.cohesive import CohesiveLoad
from fejoint.strength.margins import Margin
from fejoint.strength.predict import ROUTES, Strength
from fejoint.strength.stretches import bonded_left, flawed_joint
from fejoint.units import known

__all__ = ["FILE", "RATES", "flaws_data", "read_strength", "strength_csv", "strength_data", "strength_marks"]

FILE = "strength.json"
SCHEMA_VERSION = 1
MOST_BYTES = 10_000_000
VARIANTS = ("half distance", "double distance", "coarser mesh", "finer mesh")
MARKED = ("from memory", "typical")

# What the file holds, as what is made of it reads it: texts, numbers, numbers where one is known, one of some words.
ANY = "*"
LEFT_OUT = ("band", "cohesive", "flaws", "flawed_mm")  # where none was asked for, or could be


class Number:
    """A finite number."""


class Known:
    """A finite number, or null."""


RATES = ("opening_N_per_mm", "shear_N_per_mm", "total_N_per_mm")
_MARGIN = {
    **dict.fromkeys(("mode", "name", "iso_10365", "astm_d5573", "criterion", "place"), str),
    **dict.fromkeys(("force_N", "factor", "margin"), Known),
    "knockdowns": [str],
}
_CRITERION = {
    **dict.fromkeys(("key", "name", "mode", "place", "reason", "bias", "source"), str),
    **dict.fromkeys(("force_N", "factor", "x_mm", "distance_mm", "density"), Known),
    "route": frozenset(ROUTES),
    "figures": {ANY: Number},
    "variants_N": {ANY: Known},
}
_BAND = {
    "not_covered": str,
    **dict.fromkeys(("samples", "done", "seed", "below_applied"), Number),
    "scatter": [{"key": str, "variation": Number, "source": str}],
    "factors": dict.fromkeys(("5 %", "50 %", "95 %", "least", "most", "stated"), Number),
    "force_N": dict.fromkeys(("5 %", "50 %", "95 %", "stated"), Number),
    "modes": {ANY: Number},
}
SHAPE = {
    "title": str,
    "applied": dict.fromkeys(("force_N", "moment_N_mm", "shear_force_N"), Number),
    "governing": _MARGIN,
    "margins": [_MARGIN],
    "believed": (str, type(None)),
    "why": str,
    **dict.fromkeys(("overlap_over_zone", "zone_mm"), Known),
    "criteria": [_CRITERION],
    **dict.fromkeys(("point_distance_mm", "averaging_length_mm", "mesh_density"), Number),
    "bonds": [int],
    "shear_limit": frozenset({"strength", "yield"}),
    "failure_at": frozenset({"adhesive", "interface"}),
    "knockdowns": [{"name": str, "factor": Number, "source": str, "on": str}],
    "marks": {ANY: str},
    "warnings": [str],
    "versions": {ANY: str},
    "joint": dict,
    "band": _BAND,
    "cohesive": {
        **dict.fromkeys(("force_N", "factor", "x_mm", "shear_share_of_work", "process_zone_mm"), Known),
        **dict.fromkeys(("crack_mm", "mesh_difference"), Known),
        "flawed_mm": Number,
        **dict.fromkeys(("bondline", "elements_in_zone"), int),
        **{key: [Number] for key in ("elongation_mm", "load_N", "crack_lengths_mm")},
        "warnings": [str],
    },
    "flaws": {
        "merged": [{"kind": str, "level": str, "start_mm": Number, "length_mm": Number, "bondline": int}],
        "bonded_mm": Number,
        "rates_are": str,
        "tips": [
            {
                "place": str,
                "bondline": int,
                **dict.fromkeys(("x_mm", "factor", "force_N", *RATES), Known),
            }
        ],
    },
}


def strength_data(strength: Strength) -> dict[str, Any]:
    """Return the prediction as plain data, in N-mm-MPa-K; what is not known, or infinite, is None."""
    joint, load = strength.joint, strength.joint.load
    believed = strength.believed
    return {
        "schema_version": SCHEMA_VERSION,
        "title": joint.title,
        "applied": {"force_N": load.force, "moment_N_mm": load.moment, "shear_force_N": load.shear_force},
        "governing": _margin(strength.governing),
        "margins": [_margin(margin) for margin in strength.margins],
        "believed": None if believed is None else believed.key,
        "why": strength.advice.why,
        "overlap_over_zone": known(strength.advice.ratio),
        "zone_mm": known(strength.advice.zone),
        "criteria": [_capacity(capacity) for capacity in strength.capacities],
        **({} if strength.cohesive is None else {"cohesive": _zone(strength.cohesive)}),
        **({"flaws": flaws_data(strength)} if joint.flaws else {}),
        "point_distance_mm": strength.distance,
        "averaging_length_mm": strength.length,
        "mesh_density": strength.density,
        "bonds": [bond.number for bond in joint.geometry.bonds()],
        "shear_limit": joint.strength.shear_limit,
        "failure_at": joint.strength.failure_at,
        "knockdowns": [knockdown.model_dump() for knockdown in joint.strength.knockdown],
        "marks": strength_marks(strength),
        "warnings": list(strength.warnings),
        "versions": versions(),
        "joint": joint_as_understood(joint),
    }


def strength_marks(strength: Strength) -> dict[str, str]:
    """Return the figures used that come from memory or without a source, by key, with their mark."""
    materials = strength.joint.materials_by_key()
    used: dict[str, str] = {}
    for capacity in strength.capacities:
        for key in capacity.figures if capacity.runs else ():
            place, _, figure = key.rpartition(".")
            source = materials[place or "adhesive"].sources.get(figure, "")
            if source.startswith(MARKED):
                used[f"{place or 'adhesive'}.{figure}"] = source
    return used


def strength_csv(data: Mapping[str, Any]) -> str:
    """Return the criteria as a table, a row each."""
    head = ["criterion", "route", "mode", "force_N", "share_of_load", "place", "x_mm", "distance_mm", "mesh_density"]
    head += [f"{name.replace(' ', '_')}_N" for name in VARIANTS] + ["needs"]
    keys = ("key", "route", "mode", "force_N", "factor", "place", "x_mm", "distance_mm", "density")

    def cell(value: Any) -> Any:
        return "" if value is None else value

    rows = [
        [*(cell(c[key]) for key in keys), *(cell(c["variants_N"].get(name)) for name in VARIANTS), c["reason"]]
        for c in data["criteria"]
    ]
    return csv_text([head, *rows])


def read_strength(folder: str | Path, joint: Joint | None = None) -> dict[str, Any] | None:
    """Return what ``fejoint strength --out`` left in a folder; None where it holds none.

    Parameters
    ----------
    folder : path
    joint : Joint, optional
        Whose strength it must be.

    Raises
    ------
    SetupError
        It cannot be read, is damaged, of another version, or of another joint.
    """
    path = Path(folder) / FILE
    if not path.is_file():
        return None
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ValueError("too large")
        data = json.loads(path.read_text(encoding="utf-8"))
        version = data["schema_version"]
        if version != SCHEMA_VERSION:
            raise SetupError(f"{path}: is of version {version!s:.20}, not {SCHEMA_VERSION}; run fejoint strength again.")
        _check(data)
    except (OSError, ValueError, TypeError, LookupError, AttributeError, RecursionError) as error:
        raise SetupError(f"{path}: is damaged ({type(error).__name__}); run fejoint strength again.") from None
    if joint is not None and data["joint"] != json.loads(json.dumps(joint_as_understood(joint))):
        raise SetupError(f"{path}: is of another joint than the run beside it; run fejoint strength again.")
    return dict(data)


def flaws_data(strength: Strength) -> dict[str, Any]:
    """Return the flaws that a joint's strength was predicted with, and the load at which each of their tips grows."""
    joint = flawed_joint(strength.joint)
    small = not joint.analysis.large_rotation
    tips = strength.growth.tips if strength.growth else ()
    return {
        "merged": [
            {"kind": f.kind, "level": f.level, "start_mm": f.start, "length_mm": f.length, "bondline": f.bondline}
            for f in joint.merged_flaws().flaws
        ],
        "bonded_mm": bonded_left(joint),
        "rates_are": "at the joint's load" if small else "at the load at which the first tip grows",
        "tips": [
            {
                "place": tip.place,
                "bondline": tip.release.flaw.bondline,
                "x_mm": tip.release.x,
                "factor": known(tip.factor),
                "force_N": known(tip.force),
                **dict(zip(RATES, map(known, tip.release.rates if small else tip.rates), strict=True)),
            }
            for tip in tips
        ],
    }


# ---- parts ---------------------------------------------------------------


def _check(data: Any, shape: Any = None, key: str = "") -> None:
    """Raise ValueError where data are not as `strength_data` makes them."""
    shape = SHAPE if shape is None else shape
    if isinstance(shape, dict):
        if not isinstance(data, dict):
            raise ValueError(key)
        for name in data if ANY in shape else shape:
            if name in data or name not in LEFT_OUT:
                _check(data[name], shape[ANY if ANY in shape else name], name)
    elif isinstance(shape, list):
        if not isinstance(data, list):
            raise ValueError(key)
        for item in data:
            _check(item, shape[0], key)
    elif isinstance(shape, frozenset):
        if data not in shape:
            raise ValueError(key)
    elif shape is Number or (shape is Known and data is not None):
        if not isinstance(data, int | float) or isinstance(data, bool) or not math.isfinite(data):
            raise ValueError(key)
    elif shape is not Known and not isinstance(data, shape):
        raise ValueError(key)


def _capacity(c: Capacity) -> dict[str, Any]:
    return {
        "key": c.key,
        "name": c.name,
        "route": c.route,
        "mode": c.mode,
        "force_N": known(c.force),
        "factor": known(c.factor),
        "place": c.place,
        "bondline": c.bondline,
        "x_mm": known(c.x),
        "figures": c.figures,
        "distance_mm": known(c.distance),
        "density": known(c.density),
        "variants_N": {name: known(force) for name, force in c.variants.items()},
        "reason": c.reason,
        "bias": c.bias,
        "source": c.source,
    }


def _zone(c: CohesiveLoad) -> dict[str, Any]:
    return {
        "force_N": known(c.force),
        "factor": known(c.load_factor),
        "bondline": c.bondline,
        "x_mm": known(c.x),
        "shear_share_of_work": known(c.mode_2_share),
        "process_zone_mm": known(c.process_zone),
        "elements_in_zone": int(c.elements_in_zone),
        "crack_mm": known(c.crack),
        **({"flawed_mm": sum(flaw.length for flaw in c.joint.merged_flaws().flaws)} if c.joint.flaws else {}),
        "mesh_difference": known(c.mesh_difference),
        "elongation_mm": [float(v) for v in c.elongation],
        "load_N": [float(v) for v in c.load],
        "crack_lengths_mm": [float(v) for v in c.cracked],
        "warnings": list(c.warnings),
    }


def _margin(m: Margin) -> dict[str, Any]:
    return {
        "mode": m.mode.key,
        "name": m.mode.name,
        "iso_10365": m.mode.iso_10365,
        "astm_d5573": m.mode.astm_d5573,
        "criterion": m.capacity.key,
        "place": m.capacity.place,
        "knockdowns": [k.name for k in m.knockdowns],
        "force_N": known(m.force),
        "factor": known(m.factor),
        "margin": known(m.margin),
    }
