"""What a bonding process comes to, as plain data: for ``process.json`` and the tables."""

from __future__ import annotations

from importlib import metadata
from typing import Any

from fejoint import __version__
from fejoint.process.cure import Cured
from fejoint.process.cure_fit import Interval
from fejoint.process.energies import Energies
from fejoint.process.outcome import Checked
from fejoint.process.squeeze import Squeezed
from fejoint.process.wetting import Wetted, Wetting

__all__ = ["FILE", "process_data"]

FILE = "process.json"
SCHEMA_VERSION = 1
MOST_POINTS = 400  # of a curve in the file


def process_data(found: Checked, title: str = "") -> dict[str, Any]:
    """Return a process as plain data: mm, N, MPa, s, K, mN/m, degrees, as the keys say; what is not known is None."""
    process = found.process
    data: dict[str, Any] = {"schema_version": SCHEMA_VERSION, "title": title, "bonded_area_mm2": found.area}
    if found.wetting is not None and process.wetting is not None:
        data["wetting"] = _wetting(found.wetting, process.wetting)
    if found.squeeze_out is not None and process.squeeze_out is not None:
        data["squeeze_out"] = _squeeze_out(found.squeeze_out)
    if found.cure is not None:
        data["cure"] = _cure(found.cure)
        data["cure"]["handling_load_N"] = process.cure.handling_load if process.cure is not None else None
        data["cure"]["safety_factor"] = process.cure.safety_factor if process.cure is not None else None
        data["cure"]["needed_degree"] = process.cure.needed_degree if process.cure is not None else None
    return {
        **data,
        "warnings": list(found.warnings),
        "missed": list(found.missed),
        "cautions": list(found.cautions),
        "versions": {"fejoint": __version__, **{name: metadata.version(name) for name in ("numpy", "scipy", "pydantic")}},
    }


def _energies(e: Energies | None) -> dict[str, Any] | None:
    if e is None:
        return None
    return {
        "dispersive_mN_per_m": e.dispersive,
        "polar_mN_per_m": e.polar,
        "total_mN_per_m": e.total,
        "source": e.source,
        "name": e.name,
    }


def _wetting(w: Wetted, given: Wetting) -> dict[str, Any]:
    m = w.measured
    measured = None
    if m is not None:
        names = [(probe, angle) for probe in given.readings for angle in probe.angles]
        measured = {
            **dict(zip(("dispersive_error", "polar_error", "total_error"), m.errors, strict=True)),
            "covariance": m.covariance.tolist(),
            "degrees_of_freedom": m.freedom,
            "scatter_over_stated": m.scatter,
            "clipped": m.clipped,
            "readings": [
                {"liquid": _energies(probe.liquid), "angle_deg": angle, "residual_deg": float(residual)}
                for (probe, angle), residual in zip(names, m.residuals, strict=True)
            ],
        }
    return {
        "verdict": w.verdict.word,
        "reasons": list(w.verdict.reasons),
        "advice": list(w.verdict.advice),
        "water_film_whole": given.water_film_whole,
        "angle_deg": w.angle,
        "angle_was_read": given.adhesive_angle is not None,
        "computed_angle_deg": w.computed_angle,
        "computed_angle_band_deg": None if w.band is None else list(w.band),
        "wets_up_to_deg": given.wets_up_to,
        "does_not_above_deg": given.does_not_above,
        "work_of_adhesion_mJ_per_m2": w.work,
        "spreading_mN_per_m": w.spreading,
        "adhesive": _energies(w.adhesive),
        "adhesive_tension_mN_per_m": w.tension,
        "surface": _energies(w.surface),
        "surface_from_readings": measured,
        "notes": list(w.notes),
    }


def _squeeze_out(s: Squeezed) -> dict[str, Any]:
    film = s.film
    return {
        "shape": film.shape,
        "strip_width_mm" if film.shape == "strip" else "radius_mm": film.size,
        "bonds": s.number,
        "bond_area_mm2": s.bond_area,
        "area_mm2": s.area,
        "clamp_pressure_MPa": film.pressure,
        "clamp_force_N": s.force,
        "viscosity_Pa_s": film.viscosity,
        "flow_index": film.flow_index,
        "viscosity_rate_per_s": film.at_rate,
        "start_thickness_mm": s.start,
        "target_thickness_mm": s.target,
        "spacer_diameter_mm": s.spacer,
        "final_thickness_mm": s.final,
        "time_to_target_s": s.time_to_target,
        "time_to_spacers_s": s.time_to_spacers,
        "flow_time_s": s.flow_time,
        "thickness_at_end_of_flow_mm": s.at_end,
        "thickness_at_end_of_flow_without_spacers_mm": s.at_end_without_spacers,
        "volume_mL": s.amount.volume,
        "volume_in_glue_line_mL": s.amount.net,
        "mass_g": s.amount.mass,
        "cartridges": s.amount.cartridges,
        "curve": {
            "time_s": s.time.tolist(),
            "thickness_mm": s.thickness.tolist(),
            "without_spacers_mm": s.without_spacers.tolist(),
        },
        "notes": list(s.notes),
    }


def _interval(value: Interval) -> dict[str, Any]:
    return {"value": value.value, "low_95": value.low, "high_95": value.high}


def _cure(c: Cured) -> dict[str, Any]:
    law, curve = c.law, c.curve
    every = max(1, len(curve.time) // MOST_POINTS)
    # The last point is the end of the history, whatever the step.
    kept = sorted({*range(0, len(curve.time), every), len(curve.time) - 1})
    fit = None
    if c.fit is not None:
        fit = {
            "kind": c.fit.kind,
            "figures": {key: _interval(value) for key, value in c.fit.figures.items()},
            "scatter": c.fit.scatter,
            "only_at_K": c.fit.at_temperature,
            "points": [
                {"time_s": p.time, "temperature_K": p.temperature, "degree": p.degree, "residual": float(r)}
                for p, r in zip(c.fit.points, c.fit.residuals, strict=True)
            ],
        }
    return {
        "law": {
            "rate_factor_per_s": law.factor_1,
            "activation_energy_J_per_mol": law.energy_1,
            "order": law.order,
            "autocatalytic_rate_factor_per_s": law.factor_2,
            "autocatalytic_activation_energy_J_per_mol": law.energy_2,
            "autocatalytic_power": law.power,
            "largest_degree": law.largest,
        },
        "fit": fit,
        "end_time_s": c.end_time,
        "end_degree": c.end_degree,
        "end_strength_MPa": c.end_strength,
        "gel_degree": None if c.strength is None else c.strength.gel,
        "gel_time_s": c.gel_time,
        "needed_strength_MPa": c.needed_strength,
        "handling_area_mm2": c.area,
        "handling_time_s": c.handling_time,
        "needed_degree_time_s": c.needed_time,
        "curve": {
            "time_s": curve.time[kept].tolist(),
            "temperature_K": curve.history.at(curve.time[kept]).tolist(),
            "degree": curve.degree[kept].tolist(),
            "strength_MPa": None if c.strengths is None else c.strengths[kept].tolist(),
        },
        "notes": list(c.notes),
    }
