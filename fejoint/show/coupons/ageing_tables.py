"""Ageing laws: as tables and sentences that a person reads, and as JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from fejoint.coupon.ageing import AgeingFit
from fejoint.coupon.ageing_prediction import HORIZON, Prediction, Reached
from fejoint.show.coupons.statistics_tables import number, percent, rows_table

__all__ = ["ageing_json", "ageing_rows", "ageing_sentences", "ageing_table", "degrees", "law_words"]

MEANING = (
    "s: standard deviation about the law, divided by n less its parameters. Criterion: Akaike's for few values, lower is better, "
    "of which 2 or less is no difference. Lack of fit: how often a right law misses the groups' means as far; below 5 % it is "
    "rejected. Intervals: of the mean, and of one new specimen; they hold if the law does."
)
CAUTION = (
    "Strengths of these coupons aged this way: what a joint meets in service (load, wet and dry in turn, salt, sun) may age it "
    "faster; the adhesive maker's data sheet and the authority have the last word."
)
_CLOCK = {"line": "", "root-of-time": "^0.5", "level-off": ""}


def law_words(fit: AgeingFit, strength: str, time: str) -> str:
    """Return a fitted law with its figures, standard errors behind them."""
    figures = dict(zip(fit.shape.names, zip(fit.parameters.tolist(), fit.errors.tolist(), strict=True), strict=True))
    unit = "" if fit.logarithmic else f" {strength}".rstrip()
    said = []
    for name, (value, error) in figures.items():
        if name == "activation energy":
            said.append(f"activation energy {value / 1000:.4g} kJ/mol (standard error {error / 1000:.2g})")
        elif name == "log rate":
            per = f" per {time}" if fit.shape.model == "level-off" else f"{unit} per {time}{_CLOCK[fit.shape.model]}"
            at = "" if fit.shape.reference is None else f" at {degrees(fit.shape.reference)}"
            said.append(f"rate{at} {math.exp(value):.4g}{per} (standard error {100 * error:.2g} %)")
        elif name == "rate":
            said.append(f"rate {value:.6g}{unit} per {time}{_CLOCK[fit.shape.model]} (standard error {error:.2g})")
        else:
            said.append(f"{name} {value:.6g}{unit} (standard error {error:.2g})")
    logged = "natural logarithms: " if fit.logarithmic else ""
    return f"{fit.name}: {logged}{', '.join(said)}; s = {number(fit.deviation)}{unit}"


def degrees(kelvin: float) -> str:
    """Return a temperature in degrees Celsius."""
    return f"{round(kelvin - 273.15, 6):.4g} degC"


def ageing_rows(
    fits: Sequence[AgeingFit], said: Sequence[Prediction | None], chosen: AgeingFit, unit: str
) -> tuple[list[str], list[list[str]]]:
    """Return head and rows of the table of laws, for a console or a page; `said` holds what each law predicts."""
    per = f", {unit}" if unit else ""
    head = ["law", "s", "r^2", "criterion", "lack of fit", f"mean{per}", "95 % of the mean", "95 % of a specimen", ""]
    rows = []
    for fit, one in zip(fits, said, strict=True):
        lack = "-" if fit.lack_of_fit is None else percent(fit.lack_of_fit.level)
        marks = ["rejected"] if fit.lack_of_fit is not None and fit.lack_of_fit.rejected else []
        marks += ["taken"] if fit is chosen else []
        numbers = ["-", "-", "-"]
        if one is not None:
            numbers = [number(one.mean), *(" to ".join(map(number, i)) for i in (one.mean_interval, one.specimen_interval))]
        r2 = "-" if fit.determined is None else f"{fit.determined:.4f}"
        rows.append(
            [
                fit.name,
                number(fit.deviation),
                r2,
                f"{fit.criterion:.2f}" if math.isfinite(fit.criterion) else "-",
                lack,
                *numbers,
                ", ".join(marks),
            ]
        )
    return head, rows


def ageing_sentences(
    fit: AgeingFit, why: str, one: Prediction | None, when: Reached | None, refused: Sequence[str], strength: str, time: str
) -> list[str]:
    """Return what is to be said of the law that was taken."""
    data = fit.data
    unbroken = int((~data.broken).sum())
    said = [f"Taken: {law_words(fit, strength, time)}. {why}"]
    said.append(
        f"{len(data.time)} specimens, {unbroken} of them not broken (counted as stronger than what they bore)."
        if unbroken
        else f"{len(data.time)} specimens, all broken."
    )
    if fit.lack_of_fit is not None and fit.lack_of_fit.rejected:
        said.append(
            "The law is rejected by its lack of fit: do not lean on its intervals; another law, or another cause, is at work."
        )
    elif fit.lack_of_fit is None:
        said.append(
            "Lack of fit is not tested: that takes more times than the law has figures, some tested twice, and all broken."
        )
    if one is not None:
        at = "" if one.temperature is None else f" at {degrees(one.temperature)}"
        mean, low, high, least, most = map(number, (one.mean, *one.mean_interval, *one.specimen_interval))
        said.append(
            f"After {one.time:.4g} {time}{at}: mean {mean} {strength}, {100 * one.confidence:g} % interval of the mean {low} to "
            f"{high}, of one new specimen {least} to {most} {strength}."
        )
        if one.mean <= 0:
            said.append("The mean itself is not above 0 there: this law cannot hold so long, and another one must be taken.")
        elif one.specimen_interval[0] <= 0:
            said.append("The lower end is not above 0: the law promises nothing for one specimen there.")
        said += list(one.cautions)
    if when is not None:
        at = "" if when.temperature is None else f" at {degrees(when.temperature)}"
        never = f"not within {HORIZON:g} times the longest time tested"
        mean_time = never if when.time is None else f"after {when.time:.4g} {time}"
        ends = " to ".join("longer than looked for" if t is None else f"{t:.4g} {time}" for t in (when.earliest, when.latest))
        one_time = never if when.specimen is None else f"after {when.specimen:.4g} {time}"
        said.append(
            f"{number(when.strength)} {strength}{at}: the mean is down to it {mean_time} ({100 * when.confidence:g} % interval "
            f"{ends}); the lower end for one specimen {one_time}."
        )
        said += [text for text in when.cautions if one is None or text not in one.cautions]
    said += [f"Left out: {text}" for text in refused]
    return [*said, CAUTION]


def ageing_table(
    fits: Sequence[AgeingFit], predictions: Sequence[Prediction | None], chosen: AgeingFit, sentences: Sequence[str], unit: str
) -> RenderableType:
    """Return what a person reads of ageing laws."""
    head, rows = ageing_rows(fits, predictions, chosen, unit)
    return Group(
        Text("Strength against time", style="bold"),
        rows_table(head, rows),
        Text(""),
        *map(Text, sentences),
        Text(MEANING, style="dim"),
    )


def ageing_json(
    fits: Sequence[AgeingFit],
    predictions: Sequence[Prediction | None],
    chosen: AgeingFit,
    when: Reached | None,
    refused: Sequence[str],
    units: tuple[str, str],
    source: str,
) -> dict[str, Any]:
    """Return ageing laws ready for JSON: strengths and times in the units of the table, temperatures in K."""
    laws = []
    for fit, one in zip(fits, predictions, strict=True):
        estimates = dict(zip(fit.shape.names, fit.parameters.tolist(), strict=True))
        laws.append(
            {
                "model": fit.shape.model,
                "of_logarithms": fit.logarithmic,
                "taken": fit is chosen,
                "reference_temperature_K": fit.shape.reference,
                "parameters": estimates,
                "standard_errors": dict(zip(fit.shape.names, fit.errors.tolist(), strict=True)),
                "deviation": fit.deviation,
                "degrees_of_freedom": fit.freedom,
                "r_squared": fit.determined,
                "criterion": fit.criterion if math.isfinite(fit.criterion) else None,
                "lack_of_fit": None
                if fit.lack_of_fit is None
                else {**asdict(fit.lack_of_fit), "rejected": fit.lack_of_fit.rejected},
                "prediction": None if one is None else asdict(one),
            }
        )
    data = chosen.data
    return {
        "schema_version": 1,
        "source": source,
        "strength_unit": units[0],
        "time_unit": units[1],
        "specimens": len(data.time),
        "not_broken": int((~data.broken).sum()),
        "laws": laws,
        "reached": None if when is None else asdict(when),
        "refused": list(refused),
        "note": CAUTION,
    }
