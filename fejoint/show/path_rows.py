"""A load's path in numbers: an increment as a row of the table, and the peaks of the stress in the axes of space."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.bondline.curves import Curve, Peak, foremost
from fejoint.joint.load import QUANTITIES
from fejoint.units import display

if TYPE_CHECKING:
    from fejoint.mechanics.outcome import Outcome

__all__ = [
    "CRACK_COLUMNS",
    "LAYER_COLUMNS",
    "LOAD_WORDS",
    "PATH_COLUMNS",
    "Row",
    "cauchy_peaks",
    "column_of",
    "in_words",
    "path_row",
    "path_rows",
    "spread",
    "step_ends",
]

Row = dict[str, Any]
LOAD_WORDS = {
    "force": "force",
    "moment": "moment",
    "shear_force": "shear force",
    "temperature_change": "temperature change",
    "moisture": "moisture",
}
PATH_COLUMNS = (
    "number",
    "step",
    "force_N",
    "moment_N_mm",
    "shear_force_N",
    "temperature_change_K",
    "moisture",
    "elongation_mm",
    "turn",
    "lift_mm",
    "peak_shear_MPa",
    "peak_shear_x_mm",
    "peak_peel_MPa",
    "peak_peel_x_mm",
    "least_peel_MPa",
    "edge_moment_factor_left",
    "edge_moment_factor_right",
    "adhesive_plastic_strain",
    "adherend_plastic_strain",
    "yielded_share",
    "iterations",
)
CRACK_COLUMNS = ("parted_mm", "damaged_mm", "lost_mode_1_N", "lost_mode_2_N")
"""Beside them where the layer is cohesive: lengths of all bondlines together; work lost, per unit width"""
LAYER_COLUMNS = ("damage", "opening_mm", "sliding_mm")
"""Of bondline.csv, where the layer is cohesive"""


def column_of(key: str) -> str:
    """Return the column that holds what acts, by its key in the joint file."""
    return "_".join([key, *QUANTITIES[key].replace("*", "_").split()])


def path_rows(result: Outcome) -> list[Row]:
    """Return all increments on a load's path as rows, as `path_row` says; none of a linear analysis.

    Of a run read back they are those of its summary, so that no increment need be read.
    """
    rows = getattr(result, "summary", {}).get("path")
    return list(rows) if rows is not None else [path_row(increment) for increment in result.path]


def path_row(increment: Outcome) -> Row:
    """Return an increment of a load's path as a row of ``path.csv``, by column (N, mm, MPa, K); None where it has no value."""
    load, lengths = increment.joint.load, {bond.number: bond.end - bond.start for bond in increment.joint.geometry.bonds()}
    shear, peel, least = increment.peak_shear[0], increment.peak_peel[0], increment.least_peel[0]
    left, right = increment.edge_moment_factors or (None, None)
    strains, yielded = dict(increment.plastic_strain), increment.yielded
    of_adhesive = strains.pop("adhesive", None)
    whole = sum(lengths[number] for number in yielded)
    values = (
        increment.number,
        increment.step,
        load.force,
        load.moment,
        load.shear_force,
        load.temperature_change,
        load.moisture,
        increment.elongation,
        increment.turn,
        increment.lift,
        shear.value,
        shear.x,
        peel.value,
        peel.x,
        least.value,
        left,
        right,
        of_adhesive,
        max(strains.values(), default=None),
        sum(lengths[number] * share for number, share in yielded.items()) / whole if yielded else None,
        increment.iterations,
    )
    row = dict(zip(PATH_COLUMNS, values, strict=True))
    if increment.cracks:
        names = ("parted", "damaged", "lost_1", "lost_2")
        sums = (sum(getattr(crack, name) for crack in increment.cracks.values()) for name in names)
        row |= dict(zip(CRACK_COLUMNS, sums, strict=True))
    return row


def cauchy_peaks(outcome: Outcome) -> dict[str, tuple[Peak, int]]:
    """Return peak shear, peak peel and least peel of the mid-lines' stress in the axes of space, each with its bondline's number.

    Empty where rotations are small.
    """
    curves = [(bondline.cauchy, bondline.number) for bondline in outcome.bondlines if bondline.cauchy is not None]
    if not curves:
        return {}
    ways: dict[str, tuple[Callable[[Curve], Peak], Callable[[float], float]]] = {
        "peak_shear": (lambda curve: curve.largest("shear"), abs),
        "peak_peel": (lambda curve: curve.highest("peel"), float),
        "least_peel": (lambda curve: curve.lowest("peel"), lambda value: -value),
    }
    found = {}
    for name, (peak_of, size) in ways.items():
        peaks = [peak_of(curve) for curve, _ in curves]
        first = foremost([size(peak.value) for peak in peaks])
        found[name] = peaks[first], curves[first][1]
    return found


def step_ends(rows: Sequence[Row]) -> list[int]:
    """Return the places in a path at which its load steps end, but for the last one that was begun."""
    return [i for i in range(len(rows) - 1) if rows[i]["step"] != rows[i + 1]["step"]]


def spread(rows: Sequence[Row], most: int) -> list[int]:
    """Return the numbers of at most so many increments to be shown: ends of load steps, and others that part the way evenly."""
    if len(rows) <= most:
        return list(range(1, len(rows) + 1))
    found = [i + 1 for i in [*step_ends(rows), len(rows) - 1]][-most:]
    # Where forces change, if they do: a change of temperature alone seldom has much to show.
    forces = np.array([[row[column_of(key)] for key in ("force", "moment", "shear_force")] for row in rows])
    way = np.column_stack([forces, [[row[name] for name in ("elongation_mm", "turn", "lift_mm")] for row in rows]])
    way = way / np.maximum(np.ptp(np.vstack([np.zeros(6), way]), axis=0), 1e-300)
    done = np.diff(way, axis=0, prepend=0.0)
    loading = np.abs(np.diff(forces, axis=0, prepend=0.0)).max(axis=1) > 0
    length = np.cumsum(np.hypot.reduce(done, axis=1) * (loading if loading.any() else 1.0))
    free = most - len(found)
    for place in np.linspace(0.0, length[-1], free + 2)[1:-1]:
        number = int(np.abs(length - place).argmin()) + 1
        if number not in found:
            found.append(number)
    return sorted(found)


def in_words(row: Mapping[str, Any], units: str) -> str:
    """Return an increment in words: its number, its load step and what acts there."""
    acting = [display(row[column_of(key)], unit, units) for key, unit in QUANTITIES.items() if row[column_of(key)] and unit]
    acting += [f"moisture {row['moisture']:.3g}"] if row["moisture"] else []
    return f"{row['number']}, {row['step']}: {', '.join(acting) or 'no load'}"
