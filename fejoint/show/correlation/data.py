"""A coupon test beside its prediction as plain data: what ``correlation.json`` holds, and all that is shown is made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fejoint.proof.correlation import Correlation
from fejoint.proof.doubts import doubts
from fejoint.proof.effects import Tried
from fejoint.proof.identify import UNITS, Identified
from fejoint.proof.predicted import KINDS
from fejoint.show.files import csv_text, joint_marks, versions
from fejoint.strength.capacity import MODES
from fejoint.units import known

__all__ = ["SCHEMA_VERSION", "by", "correlation_csv", "correlation_data", "identified_data"]

SCHEMA_VERSION = "1.0"
MOST_POINTS = 600  # of a measured curve, in files and figures
CAUTIONS = (
    "A cause that moves the prediction to where the coupons are may explain the difference; only the coupons themselves "
    "(microsection, failure pattern, a test of the machine) show whether it does, and several may act together.",
    "Each cause is varied alone. Knockdowns of the file are not in the prediction.",
    "Coupons support a design and do not replace tests of the joint itself; local codes, the adhesive maker's data sheet and, "
    "for a bond that carries people, a licensed engineer decide.",
)
CAUTIONS_OF_FIGURES = (
    "Figures found so reproduce these tests by this model; an interval knows the scatter of the coupons, not the model's error.",
    "They are no design allowables and no data sheet: use them for the kind of joint and the conditions that were tested.",
)


def correlation_data(correlation: Correlation, tried: Sequence[Tried]) -> dict[str, Any]:
    """Return a correlation with the causes tried, ready for JSON (N, mm, N/mm, N mm; ratios are predicted over measured)."""
    c, test = correlation, correlation.test
    measured, found, curve = test.measured, correlation.predicted, test.measured.curve
    low, high = c.line
    return {
        "schema_version": SCHEMA_VERSION,
        "title": test.joint.title or test.name,
        "test": test.name,
        "source": measured.source,
        "note": measured.note,
        "pattern": measured.pattern,
        "number": len(measured.loads),
        "loads_N": list(measured.loads),
        "routes": list(c.routes),
        "gauge": None
        if curve is None
        else {
            "file": curve.file,
            "between": curve.gauge,
            "length_mm": c.gauge,
            "machine_compliance_mm_per_N": curve.machine_compliance,
            "line_N": [low, high],
        },
        "predicted": {
            "by": found.by.key,
            "name": found.by.name,
            "mode": found.by.mode,
            "mode_name": MODES[found.by.mode].name,
            "kind": found.kind,
            "curve": KINDS[found.kind],
            "load_N": found.load,
            "stiffness_N_per_mm": known(c.predicted_stiffness),
            "work_N_mm": known(c.predicted_work),
            "displacement_mm": [float(f"{v:.8g}") for v in found.displacement],
            "force_N": [float(f"{v:.8g}") for v in found.force],
            "warnings": list(found.strength.warnings),
        },
        "measured": {
            "load_N": c.load,
            "load_deviation_N": measured.deviation,
            "load_allowance_N": c.load_allowance,
            "stiffness_N_per_mm": known(c.stiffness),
            "stiffness_allowance_N_per_mm": known(c.stiffness_allowance),
            "work_N_mm": known(c.work),
            "specimens": [
                {
                    "name": one.name,
                    "load_N": one.load,
                    "stiffness_N_per_mm": one.stiffness,
                    "slack_mm": one.slack,
                    "work_N_mm": one.work,
                    "largest_difference": known(one.largest_difference),
                    "rms_difference": known(one.rms_difference),
                    **_thinned(one.displacement, one.force),
                }
                for one in c.specimens
            ],
        },
        "ratios": {name: known(getattr(c, f"{name}_ratio")) for name in ("load", "stiffness", "work")},
        "compliance_wanted_mm_per_N": known(c.compliance_wanted) if c.specimens else None,
        "as_seen": measured.counts_against(MODES[found.by.mode]),
        "within_scatter": c.within_scatter,
        "differs": list(c.differs),
        "against_surfaces": list(test.against_surfaces),
        "causes": [_cause(one, c) for one in tried],
        "marked_figures": joint_marks(test.joint),
        "cautions": list(CAUTIONS),
        "versions": versions(),
    }


def _cause(one: Tried, c: Correlation) -> dict[str, Any]:
    return {
        "key": one.cause.key,
        "name": one.cause.name,
        "source": one.cause.source,
        "verdict": one.verdict,
        "moves": list(one.moves),
        "change": one.best.change.label if one.best is not None else None,
        "by": one.best.by if one.best is not None else "",
        "share": known(one.share),
        "partial": one.best is not None and one.best.change.partial,
        "reason": one.reason,
        "effects": [
            {
                "change": effect.change.label,
                "by": effect.by,
                "load_N": effect.load,
                "load_ratio": effect.load / c.predicted.load,
                "stiffness_N_per_mm": known(effect.stiffness),
                "stiffness_ratio": known(effect.stiffness / c.predicted_stiffness),
            }
            for effect in one.effects
        ],
    }


def _thinned(displacement: Any, force: Any) -> dict[str, list[float]]:
    """Return a curve with as many points as a figure shows, its largest force among them."""
    keep = np.unique([*np.linspace(0, len(force) - 1, MOST_POINTS).astype(int), int(np.argmax(force))])
    return {
        "displacement_mm": [float(f"{v:.6g}") for v in displacement[keep]],
        "force_N": [float(f"{v:.6g}") for v in force[keep]],
    }


def correlation_csv(data: dict[str, Any]) -> str:
    """Return a row for what was measured, one for what is predicted, and one for every change of every cause, as CSV."""
    head = ["what", "change", "load_N", "load_over_predicted", "stiffness_N_per_mm", "stiffness_over_predicted"]
    rows: list[list[Any]] = [[*head, "verdict", "source", "reason"]]
    p, m = data["predicted"], data["measured"]
    base = (p["load_N"], p["stiffness_N_per_mm"])
    for what, one, source in (("measured, mean", m, data["source"]), ("predicted", p, p["name"])):
        values = (one["load_N"], one["stiffness_N_per_mm"])
        cells = [cell for value, of in zip(values, base, strict=True) for cell in (_text(value), _text(_over(value, of)))]
        rows.append([what, "", *cells, "", source, ""])
    for cause in data["causes"]:
        for effect in cause["effects"]:
            cells = [_text(effect[key]) for key in ("load_N", "load_ratio", "stiffness_N_per_mm", "stiffness_ratio")]
            rows.append(
                [cause["name"], effect["change"] + by(effect), *cells, cause["verdict"], cause["source"], cause["reason"]]
            )
        if not cause["effects"]:
            rows.append([cause["name"], "", "", "", "", "", cause["verdict"], cause["source"], cause["reason"]])
    return csv_text(rows)


def identified_data(found: Identified) -> dict[str, Any]:
    """Return figures found from tests, ready for JSON (N, mm, MPa)."""
    e = found.estimate
    keys = [one.key for one in e.sought]
    return {
        "schema_version": SCHEMA_VERSION,
        "tests": [
            {"name": test.name, "title": test.joint.title, "source": test.measured.source, "coupons": len(test.measured.loads)}
            for test in found.tests
        ],
        "quick": found.quick,
        "figures": [
            {
                "key": one.key,
                "unit": one.unit,
                "value": float(e.values[i]),
                "low": known(e.low[i]),
                "high": known(e.high[i]),
                "start": one.start,
                "bounds": [one.low, one.high],
                "at_bound": one.key in e.at_bound,
                "no_influence": one.key in e.no_influence,
            }
            for i, one in enumerate(e.sought)
        ],
        "confidence": 0.95,
        "correlation": {a: {b: known(e.correlation[i, j]) for j, b in enumerate(keys)} for i, a in enumerate(keys)},
        "not_told_apart": [{"first": a, "second": b, "correlation": c} for a, b, c in e.alike],
        "scatter": known(e.scatter),
        "freedom": e.freedom,
        "evaluations": e.evaluations,
        "observations": [
            {
                "test": one.test,
                "specimen": one.specimen,
                "kind": one.kind,
                "unit": UNITS[one.kind],
                "at_mm": known(one.at),
                "measured": one.value,
                "before": known(before),
                "fitted": float(e.expected[i]),
                "assumed_scatter": float(e.sd[i]),
            }
            for i, (one, before) in enumerate(zip(found.observations, found.before, strict=True))
        ],
        "warnings": doubts(found),
        "cautions": list(CAUTIONS_OF_FIGURES),
        "versions": versions(),
    }


def by(effect: Mapping[str, Any]) -> str:
    """Return which criterion tells an effect's load, where it is another than that of the prediction."""
    return f"; load by {effect['by']}" if effect["by"] else ""


def _over(value: float | None, of: float | None) -> float | None:
    return None if value is None or not of else value / of


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"
