"""Which figures of its materials a joint needs, given its load and analysis."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fejoint.joint.cohesion import FIGURES, onset_energy, toughness_at
from fejoint.joint.conditions import celsius
from fejoint.joint.materials import Adhesive, Isotropic, Orthotropic
from fejoint.joint.model import refuse

if TYPE_CHECKING:
    from fejoint.joint.description import Joint

__all__ = ["check_figures"]


def check_figures(joint: Joint) -> None:
    """Refuse a joint, while it is being made, whose materials lack a figure that its load or analysis asks for."""
    _check_expansion(joint)
    _check_swelling(joint)
    _check_temperatures(joint)
    _check_yielding(joint)
    if joint.analysis.cohesive:
        _check_cohesion(joint)


def _check_expansion(joint: Joint) -> None:
    place = _first(joint, "temperature_change", " K")
    if not place:
        return
    for key, material in joint.materials_by_key().items():
        at = material.at_temperature if isinstance(material, Adhesive) else None
        if at is not None and at.expansion is not None:
            continue
        for figure in ("expansion_x", "expansion_y", "expansion_z") if isinstance(material, Orthotropic) else ("expansion",):
            if getattr(material, figure) is None:
                refuse(f"{key}.{figure}", None, f"needed because {place}; add it")


def _check_swelling(joint: Joint) -> None:
    place = _first(joint, "moisture", "")
    if place and joint.adhesive.swelling is None:
        refuse("adhesive.swelling", None, f"needed because {place} (strain per mass fraction of moisture, such as 0.3); add it")


def _first(joint: Joint, key: str, unit: str) -> str:
    """Return where the load first has a quantity other than 0, in words; nothing where it never has."""
    for i, step in enumerate(joint.load.step or (), 1):
        if getattr(step, key):
            return f"load.step item {i}.{key} = {getattr(step, key):g}{unit}"
    value = getattr(joint.load, key)
    return f"load.{key} = {value:g}{unit}" if value else ""


def _check_temperatures(joint: Joint) -> None:
    table, free = joint.adhesive.at_temperature, joint.load.stress_free_temperature
    if free is not None:
        for step in joint.load.path():
            if free + step.temperature_change <= 0:
                reached = f"step {step.name} reaches {free + step.temperature_change:g} K, below absolute zero"
                refuse("load.stress_free_temperature", free, f"{reached}; check it and temperature_change")
    if table is None:
        return
    if free is None:
        why = 'adhesive.at_temperature needs it (where the joint is free of stress); add it, for example "120 degC"'
        refuse("load.stress_free_temperature", None, why)
    low, high = table.temperature[0], table.temperature[-1]
    needed = {"the stress-free temperature": free}
    needed |= {f"step {step.name}": free + step.temperature_change for step in joint.load.path()}
    for what, temperature in needed.items():
        # Within a millionth of a kelvin: sums of differences are rounded.
        if not low - 1e-6 <= temperature <= high + 1e-6:
            covers = f"covers {celsius(low)} to {celsius(high)}, but {what} is at {celsius(temperature)}"
            refuse("adhesive.at_temperature.temperature", table.temperature, f"{covers}; add figures up to there")


def _check_yielding(joint: Joint) -> None:
    for key, material in joint.materials_by_key().items():
        if isinstance(material, Adhesive):
            wanted = 'analysis.adhesive_model = "plastic"' if joint.analysis.adhesive_model == "plastic" else ""
        else:
            wanted = "analysis.adherend_plasticity = true" if joint.analysis.adherend_plasticity else ""
        if wanted and isinstance(material, Isotropic) and not material.yields:
            refuse(f"{key}.tensile_yield", None, f"needed because {wanted}; add it, with hardening where it is known")


def _check_cohesion(joint: Joint) -> None:
    adhesive, geometry = joint.adhesive, joint.geometry
    model = 'analysis.adhesive_model = "cohesive"'
    if geometry.kind not in ("single-lap", "double-lap"):
        why = f'{model} knows single and double laps; take one of these, or "plastic"'
        refuse("analysis.adhesive_model", joint.analysis.adhesive_model, why)
    if geometry.spew != "square":
        refuse("joint.spew", geometry.spew, f'{model} has a layer with square ends alone; take spew = "square"')
    if geometry.bondline_taper:
        why = f"{model} has a layer of one thickness; leave the taper out"
        refuse("joint.bondline_taper", geometry.bondline_taper, why)
    for key in FIGURES:
        if getattr(adhesive, key) is None:
            refuse(f"adhesive.{key}", None, f"needed because {model}; add it")
    if adhesive.at_temperature is not None:
        why = f"{model} takes one set of figures; leave the table out and give figures at the temperature of use"
        refuse("adhesive.at_temperature", adhesive.at_temperature, why)
    ta = geometry.bondline_thickness
    for key, strength, share in (
        ("toughness_mode_1", adhesive.tensile_strength, 0.0),
        ("toughness_mode_2", adhesive.shear_strength, 1.0),
    ):
        least = onset_energy(adhesive, ta, share)
        if not toughness_at(adhesive, share) > least:
            why = (
                f"must lie above {least:.4g} N/mm, what a layer {ta:g} mm thick stores elastically up to its strength of "
                f"{strength:g} MPa: check both, or take a thinner layer"
            )
            refuse(f"adhesive.{key}", getattr(adhesive, key), why)
    for i in range(1, 100):
        if not toughness_at(adhesive, i / 100) > onset_energy(adhesive, ta, i / 100):
            why = f"leaves less toughness at {i} % of mode II than the layer stores elastically up to its strength; take another"
            refuse("adhesive.mixed_mode_exponent", adhesive.mixed_mode_exponent, why)
