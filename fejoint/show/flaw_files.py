"""How large a flaw may stay, as plain data: for ``flaws.json``, ``flaw-capacity.csv``, tables and figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fejoint.joint.description import Joint
from fejoint.show.files import csv_text, joint_as_understood, versions
from fejoint.show.strength_files import flaws_data, strength_marks
from fejoint.strength.predict import Strength
from fejoint.units import known

if TYPE_CHECKING:
    from fejoint.joint.inspection import Inspection

__all__ = ["CAPACITY_CSV", "FILE", "capacity_csv", "flaw_report_data"]

FILE, CAPACITY_CSV = "flaws.json", "flaw-capacity.csv"
SCHEMA_VERSION = 1


def flaw_report_data(
    joint: Joint,
    sound: Strength,
    flawed: Strength | None,
    capacity: Sequence[Mapping[str, Any]],
    inspection: Inspection | None = None,
) -> dict[str, Any]:
    """Return all that is known of a joint's flaws as plain data, in N-mm-MPa-K; what is not known, or infinite, is None.

    Parameters
    ----------
    joint : Joint
        With its flaws.
    sound, flawed : Strength
        Without its flaws, and with them; None where it has none.
    capacity : sequence of mapping
        How large a flaw may stay, one a kind: `fejoint.study.flaw_capacity.FlawCapacity.data`.
    inspection : Inspection, optional
        What was found where flaws come from a file.
    """
    return {
        "schema_version": SCHEMA_VERSION,
        "title": joint.title,
        "applied": {"force_N": joint.load.force, "moment_N_mm": joint.load.moment, "shear_force_N": joint.load.shear_force},
        "given": [
            {
                "kind": f.kind,
                "place": None if f.level == "all" else f.level,
                "start_mm": f.start,
                "length_mm": f.length,
                "bondline": f.bondline,
            }
            for f in joint.flaws
        ],
        **({} if inspection is None else {"inspection": _inspection(inspection)}),
        "said": [*joint.merged_flaws().said, *(inspection.said if inspection else ())],
        "without": _borne(sound),
        **({} if flawed is None else {"with": _borne(flawed), "flaws": flaws_data(flawed)}),
        "capacity": [dict(one) for one in capacity],
        "bonds": [bond.number for bond in joint.geometry.bonds()],
        "marks": strength_marks(sound),
        "warnings": list(flawed.warnings if flawed else sound.warnings) + [text for one in capacity for text in one["warnings"]],
        "versions": versions(),
        "joint": joint_as_understood(joint),
    }


def capacity_csv(data: Sequence[Mapping[str, Any]]) -> str:
    """Return what the joint bears against the length of a flaw as a table, a row each joint."""
    head = ["kind", "place_in_layer", "bondline", "where", "length_mm", "start_mm", "force_N", "share_of_load", "fails_first"]
    rows = [
        [
            one["kind"],
            one["place"],
            one["bondline"],
            at["name"],
            point["length_mm"],
            "" if point["start_mm"] is None else point["start_mm"],
            "" if point["force_N"] is None else point["force_N"],
            "" if point["factor"] is None else point["factor"],
            f"{point['mode']}, by {point['criterion']}",
        ]
        for one in data
        for at in one["places"]
        for point in at["points"]
    ]
    return csv_text([head, *rows])


# ---- parts ---------------------------------------------------------------


def _borne(strength: Strength) -> dict[str, Any]:
    least = strength.governing
    return {
        "force_N": known(least.force),
        "factor": known(least.factor),
        "margin": known(least.margin),
        "mode": least.mode.name,
        "criterion": least.capacity.name,
        "place": least.capacity.place,
        "knockdowns": [f"{k.name} {k.factor:g}" for k in least.knockdowns],
        "why": strength.advice.why,
    }


def _inspection(inspection: Inspection) -> dict[str, Any]:
    return {
        "file": inspection.name,
        "rows": [
            {"line": row.line, "width_mm": row.width, "note": row.note, "found_by": row.found_by, "flaw": str(row.flaw)}
            for row in inspection.rows
        ],
    }
