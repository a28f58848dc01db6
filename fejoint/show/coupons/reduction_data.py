"""What a coupon test comes to, as plain data: for ``coupons.json`` and ``coupons.csv``; always N, mm, MPa, s."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint import __version__
from fejoint.coupon.description import DIMENSIONS
from fejoint.coupon.lots import Lots, lots_of
from fejoint.coupon.outcome import ReducedSpecimen, ReducedTest
from fejoint.errors import JointError
from fejoint.joint.model import unit_of
from fejoint.show.coupons.statistics_tables import statistics_json
from fejoint.show.files import csv_text
from fejoint.units import shown_unit

__all__ = ["SUPPORT", "Looked", "coupons_csv", "coupons_data", "looked", "standard_in_words", "thinned"]

Floats = NDArray[np.float64]

SCHEMA_VERSION = 1
SUPPORT = (
    "Figures of coupons are no design allowables. Where people rely on a bond, the adhesive maker's data sheet, tests on your "
    "own process, local codes and a licensed engineer decide."
)


MOST_POINTS = 500  # of a curve in the json


def thinned(x: Floats, y: Floats, most: int) -> tuple[Floats, Floats]:
    """Return at most some two more than so many points of a curve: evenly taken, with its highest."""
    if len(x) <= most:
        return x, y
    kept = np.unique(np.append(np.linspace(0, len(x) - 1, most).round().astype(int), int(np.argmax(y))))
    return x[kept], y[kept]


@dataclass(frozen=True)
class Looked:
    """The statistics of a test's main figure, or why there are none.

    Attributes
    ----------
    lots : Lots or None
    refused : str
        The sentence with the number needed; empty where there are statistics.
    unit : str
        Of the values.
    """

    lots: Lots | None
    refused: str
    unit: str


def looked(found: ReducedTest, system: str = "mm") -> Looked:
    """Return the statistics of the main figure of the specimens that count, in a display system."""
    factor, unit = shown_unit(found.kind.unit, system)
    name = found.kind.title
    try:
        return Looked(lots_of({name: [factor * value for value in found.values()]}), "", unit)
    except JointError as error:
        return Looked(None, str(error), unit)


def standard_in_words(found: ReducedTest) -> list[str]:
    """Return what is known of the standard, each with its mark, a sentence each."""
    known = found.test.followed
    if known is None:
        return [f"No standard is stated; kind of test: {found.kind.words}. Values are rounded to three digits (our choice)."]
    said = [
        f"{known.name}: {known.measures}. Its full text could not be had here.",
        f"Formula: {known.formula} ({known.formula_mark}).",
        f"Rounding: {known.digits} significant digits ({known.rounding_mark}).",
    ]
    for key, nominal in known.dimensions.items():
        said.append(f"{key.replace('_', ' ').capitalize()}: {nominal.value:g} mm ({nominal.mark}).")
    if known.speed is not None:
        said.append(f"Speed: {known.speed.value:g} mm/min ({known.speed.mark}).")
    if known.fewest is not None:
        said.append(f"Specimens: at least {known.fewest.value:g} ({known.fewest.mark}).")
    if known.break_within is not None:
        low, high, mark = known.break_within
        said.append(f"Break within {low:g} to {high:g} s ({mark}).")
    if known.peel is not None:
        length, skip, after, mark = known.peel
        where = "after the first peak" if after else "from the beginning of the record"
        said.append(f"Averaged over {length:g} mm of bond, {skip:g} mm left out, {where} ({mark}).")
    return said


def coupons_data(found: ReducedTest, statistics: Looked) -> dict[str, Any]:
    """Return a coupon test as plain data.

    Parameters
    ----------
    found : ReducedTest
    statistics : Looked
        In the inside units: of ``looked(found)``.
    """
    test = found.test
    return {
        "schema_version": SCHEMA_VERSION,
        "title": test.title,
        "kind": test.what,
        "standard": None if test.followed is None else test.followed.name,
        "standard_says": standard_in_words(found),
        "source": test.source,
        **{key: getattr(test, key) for key in ("adhesive", "adherends", "preparation", "conditions", "note")},
        "speed_mm_per_min": test.speed,
        "machine_compliance_mm_per_N": found.machine_compliance,
        "metal_compliance_mm_per_N": found.metal_compliance,
        "confidence": test.reduction.confidence,
        "main_figure": found.kind.main,
        "specimens": [_specimen(found, one) for one in found.specimens],
        "pattern": None if found.pattern is None else {"shares": found.pattern.shares, "word": found.pattern.word},
        "statistics": None if statistics.lots is None else statistics_json(statistics.lots, statistics.unit, test.source),
        "statistics_refused": statistics.refused,
        "cautions": [*found.cautions, SUPPORT],
        "versions": {"fejoint": __version__},
    }


def _specimen(found: ReducedTest, one: ReducedSpecimen) -> dict[str, Any]:
    seen = one.entry.seen
    main, curve = one.reduction.figures[found.kind.main], one.reduction.curve
    drawn = None if curve is None else thinned(*curve, MOST_POINTS)
    return {
        "name": one.name,
        "counts": one.counts,
        "reason": one.entry.reason,
        "note": one.entry.note,
        "dimensions": one.dimensions,
        "reported": found.reported(main.value),
        "figures": {
            key: {"name": f.name, "value": f.value, "unit": f.unit, "interval": None if f.low is None else [f.low, f.high]}
            for key, f in one.reduction.figures.items()
        },
        "read_off": [
            {"name": mark.name, "displacement_mm": mark.displacement, "force_N": mark.force} for mark in one.reduction.marks
        ],
        "curve": None if drawn is None else {"x": drawn[0].tolist(), "y": drawn[1].tolist()},
        "pattern": None if seen is None else {"shares": seen.shares, "word": seen.word},
        "notes": list(one.reduction.notes),
        "points": len(one.pull.force),
    }


def coupons_csv(found: ReducedTest) -> str:
    """Return a row for each specimen: dimensions, figures with their intervals, failure pattern."""
    used = [key for key in DIMENSIONS if any(key in one.dimensions for one in found.specimens)]
    units = {key: unit_of(type(found.test.specimen).model_fields[key]) or "" for key in used}
    keys = list(dict.fromkeys(key for one in found.specimens for key in one.reduction.figures))
    figures = {key: next(one.reduction.figures[key] for one in found.specimens if key in one.reduction.figures) for key in keys}
    between = [key for key in keys if figures[key].low is not None]
    head = ["specimen", "counts", "reason", "pattern", "pattern_shares"]
    head += [_column(key, units[key]) for key in used]
    for key in keys:
        column = _column(f"measured_{key}" if key in used else key, figures[key].unit)
        head += [column] + ([f"{column}_low", f"{column}_high"] if key in between else [])
    rows: list[list[Any]] = [head]
    for one in found.specimens:
        seen = one.entry.seen
        row: list[Any] = [one.name, str(one.counts).lower(), one.entry.reason]
        row += ["", ""] if seen is None else [seen.word, str(seen)]
        row += [_cell(one.dimensions.get(key)) for key in used]
        for key in keys:
            figure = one.reduction.figures.get(key)
            row.append(_cell(figure.value if figure else None))
            if key in between:
                row += [_cell(figure.low if figure else None), _cell(figure.high if figure else None)]
        rows.append(row)
    return csv_text(rows)


def _column(key: str, unit: str) -> str:
    return f"{key}_{unit.replace('/', '_per_')}" if unit else key


def _cell(value: float | None) -> str:
    return "" if value is None else f"{value:.9g}"
