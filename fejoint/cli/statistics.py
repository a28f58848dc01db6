"""The commands that say what numbers of like coupons allow, and how strength falls with ageing."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fejoint.cli.terminal import console, files_can_be_made
from fejoint.errors import JointError
from fejoint.units import as_number

if TYPE_CHECKING:
    from fejoint.coupon.ageing import Aged, AgeingFit
    from fejoint.coupon.ageing_prediction import Prediction
    from fejoint.coupon.value_table import ValueTable

__all__ = ["ageing", "statistics"]

ValueFile = Annotated[
    Path, typer.Argument(metavar="FILE.csv", help="Table with one coupon a line and units in the columns' names: strength_MPa.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print all as JSON.")]
INSIDES = ("MPa", "N", "N/mm", "mm", "")  # what a column of strengths may be


def statistics(
    file: ValueFile,
    column: Annotated[str, typer.Option("--column", metavar="NAME", help="Column of the values; strength... unless given.")] = "",
    by: Annotated[str, typer.Option("--by", metavar="COLUMN", help="Column that parts groups: batches, environments.")] = "",
    unit: Annotated[str, typer.Option("--unit", metavar="UNIT", help="Unit of the values where the column names none.")] = "",
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for statistics.json and statistics.png.")
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Say what numbers of like coupons allow: mean, scatter, outliers, A- and B-basis."""
    from fejoint.coupon.lots import lots_of
    from fejoint.coupon.value_table import quantity_of, read_values
    from fejoint.show.coupons.statistics_tables import statistics_json, statistics_table

    files_can_be_made(out)
    table = read_values(file)
    column = column or _column(table, ("strength", "load", "force", "toughness", "value"), "--column")
    unit = _unit(table, column, unit)
    values = table.numbers(column)
    groups: dict[str, list[float]] = {}
    for name, value in zip(table.texts(by) if by else [column] * len(values), values, strict=True):
        if not name:
            raise JointError(f"{table.name}: column {by} is empty for one coupon or more; every coupon needs its group.")
        groups.setdefault(name, []).append(value)
    found = lots_of(groups)
    data = statistics_json(found, unit, table.name)
    if out is not None:
        from fejoint.show.coupons.statistics_plots import statistics_figure

        quantity = quantity_of(column) if unit else column.replace("_", " ")
        _write(out, "statistics", data, statistics_figure(found, unit, quantity))
    if as_json:
        print(_as_json(data), end="")
    else:
        console().print(statistics_table(found, unit))
        if out is not None:
            print(f"Written to {out}: statistics.json, statistics.png")
    return 0


def ageing(
    file: ValueFile,
    time: Annotated[str, typer.Option("--time", metavar="COLUMN", help="Column of times; time... unless given.")] = "",
    strength: Annotated[str, typer.Option("--strength", metavar="COLUMN", help="Column of strengths; strength...")] = "",
    temperature: Annotated[
        str, typer.Option("--temperature", metavar="COLUMN", help="Column of temperatures; temperature..., where there is one.")
    ] = "",
    broken: Annotated[
        str,
        typer.Option(
            "--broken", metavar="COLUMN", help="Column of yes and no; a specimen not broken is stronger than its value."
        ),
    ] = "",
    model: Annotated[
        str, typer.Option("--model", metavar="NAME", help="line, root-of-time or level-off; the best of them unless given.")
    ] = "",
    logarithmic: Annotated[bool, typer.Option("--log", help="With --model: of the strength's logarithm.")] = False,
    at: Annotated[
        str, typer.Option("--at", metavar="TIME", help='Time to predict for: "240 month"; the longest unless given.')
    ] = "",
    at_temperature: Annotated[
        str, typer.Option("--at-temperature", metavar="TEMPERATURE", help='Temperature to predict for: "40 degC".')
    ] = "",
    reach: Annotated[str, typer.Option("--reach", metavar="STRENGTH", help='Say when this strength is reached: "12 MPa".')] = "",
    out: Annotated[Path | None, typer.Option("--out", metavar="DIR", help="Folder for ageing.json and ageing.png.")] = None,
    as_json: AsJson = False,
) -> int:
    """Fit strength against time and temperature, and predict it with its interval."""
    from fejoint.coupon.ageing_prediction import predicted, reached
    from fejoint.coupon.value_table import read_values
    from fejoint.show.coupons.ageing_tables import ageing_json, ageing_sentences, ageing_table

    files_can_be_made(out)
    if logarithmic and not model:
        raise JointError("--log goes with --model; without it laws of logarithms are tried as well.")
    table = read_values(file)
    data, units = _aged(table, time, strength, temperature, broken)
    fits, refused, chosen, why = _fits(data, model, logarithmic)
    time_at = _given(at, units[1], ("s",), "--at") if at else float(data.time.max())
    hot = _temperature_at(at_temperature, chosen)
    mine = predicted(chosen, time_at, hot)
    predictions = [mine if fit is chosen else _unless(lambda fit=fit: predicted(fit, time_at, hot)) for fit in fits]  # type: ignore[misc]
    when = reached(chosen, _given(reach, units[0], INSIDES, "--reach"), hot) if reach else None
    told = ageing_json(fits, predictions, chosen, when, refused, units, table.name)
    if out is not None:
        from fejoint.show.coupons.ageing_plots import ageing_figure

        _write(out, "ageing", told, ageing_figure(chosen, mine, *units))
    if as_json:
        print(_as_json(told), end="")
    else:
        sentences = ageing_sentences(chosen, why, mine, when, refused, *units)
        console().print(ageing_table(fits, predictions, chosen, sentences, units[0]))
        if out is not None:
            print(f"Written to {out}: ageing.json, ageing.png")
    return 0


# ---- tables ------------------------------------------------------------------


def _column(table: ValueTable, words: tuple[str, ...], option: str) -> str:
    """Return the column that begins with one of some words; refused where there is none, or more."""
    for word in words:
        found = table.beginning((word,))
        if found is not None:
            return found
    raise JointError(f"{table.name}: has no one column {words[0]}_...; say with {option} which of {', '.join(table.columns)}.")


def _unit(table: ValueTable, column: str, unit: str) -> str:
    from fejoint.coupon.value_table import unit_of

    named = unit_of(column)
    if unit and not _is_unit(unit):
        raise JointError(f"--unit {unit}: must be a unit of strength, force, toughness or length, such as MPa.")
    if unit and named and _is_unit(named) and unit != named:
        raise JointError(f"--unit {unit}: the column {column} of {table.name} says {named}; leave the option out.")
    return unit or (named if _is_unit(named) else "")


def _is_unit(text: str) -> bool:
    return any(_number(f"1 {text}", inside) is not None for inside in (*INSIDES, "s")) if text else False


def _number(text: str, inside: str) -> float | None:
    try:
        return as_number(text, inside)
    except ValueError:
        return None


def _aged(table: ValueTable, time: str, strength: str, temperature: str, broken: str) -> tuple[Aged, tuple[str, str]]:
    """Return the specimens of a table, and the units of strength and time."""
    from fejoint.coupon.ageing import aged
    from fejoint.coupon.value_table import unit_of

    time = time or _column(table, ("time",), "--time")
    strength = strength or _column(table, ("strength", "load", "force", "toughness"), "--strength")
    temperature = temperature or table.beginning(("temperature",)) or ""
    broken = broken or table.beginning(("broken",)) or ""
    unit = unit_of(time)
    if not unit or _number(f"1 {unit}", "s") is None:
        raise JointError(f"{table.name}: the column {time} must end with its unit, such as time_h, time_day or time_month.")
    hot = None
    if temperature:
        scale = unit_of(temperature)
        if not scale or _number(f"1 {scale}", "K absolute") is None:
            raise JointError(f"{table.name}: the column {temperature} must end with its unit: temperature_degC, _K or _degF.")
        # Of what has not aged the temperature does not matter.
        hot = [
            math.nan if math.isnan(v) else as_number(f"{v!r} {scale}", "K absolute")
            for v in table.numbers(temperature, blank=True)
        ]
        missing = [i for i, (v, t) in enumerate(zip(hot, table.numbers(time), strict=True)) if math.isnan(v) and t != 0]
        if missing:
            raise JointError(f"{table.name}, line {table.lines[missing[0]]}: {temperature} is empty; an aged specimen needs it.")
    data = aged(
        table.numbers(time), table.numbers(strength), hot, table.answers(broken) if broken else None,
    )  # fmt: skip
    return data, (_unit(table, strength, ""), unit)


# ---- options -----------------------------------------------------------------


def _fits(data: Aged, model: str, logarithmic: bool) -> tuple[list[AgeingFit], list[str], AgeingFit, str]:
    """Return all laws with why others were left out, the one to take, and why."""
    from fejoint.coupon.ageing import ageing_fit, ageing_fits

    if model:
        chosen = ageing_fit(data, model, logarithmic=logarithmic)  # type: ignore[arg-type]
        try:
            fits, refused = ageing_fits(data)
        except JointError:
            fits, refused = [chosen], []
        fits = [chosen if (f.shape.model, f.logarithmic) == (model, logarithmic) else f for f in fits]
        return fits, refused, chosen, "It was asked for."
    fits, refused = ageing_fits(data)
    held = [fit for fit in fits if fit.lack_of_fit is None or not fit.lack_of_fit.rejected]
    chosen = (held or fits)[0]
    tested = all(fit.lack_of_fit is not None for fit in fits)
    why = "Of all laws" if not tested else "Of the laws that the specimens do not reject" if held else "All are rejected; of them"
    return (
        fits,
        refused,
        chosen,
        f"{why} it has the lowest criterion: a choice by these specimens, so look at the others' answers too.",
    )


def _unless(work: Callable[[], Prediction]) -> Prediction | None:
    """Return what another law predicts, or None where it gives no number there."""
    try:
        return work()
    except JointError:
        return None


def _given(text: str, unit: str, insides: tuple[str, ...], option: str) -> float:
    """Return what an option says in the unit of its column; a bare number is in that unit already."""
    bare = re.fullmatch(r"\s*[+-]?[\d.]+(?:[eE][+-]?\d+)?\s*", text)
    for inside in insides:
        one = _number(f"1 {unit}", inside) if unit else None
        value = _number(text, inside)
        if bare and value is not None:
            return value
        if one is not None and value is not None:
            return value / one
    raise JointError(f"{option} {text}: must be a number with a unit that goes with {unit or 'that of the column'}.")


def _temperature_at(text: str, fit: AgeingFit) -> float | None:
    """Return the temperature to predict for, K; where none is said and there are several, the lowest tested."""
    if not text:
        return None if fit.shape.reference is None else fit.data.temperatures[0]
    value = _number(text, "K absolute") if re.search("[A-Za-z°]", text) else None
    if value is None:
        raise JointError(f"--at-temperature {text}: must be an absolute temperature with its unit, such as 40 degC.")
    return value


def _write(out: Path, name: str, data: dict[str, Any], figure: Any) -> None:
    from fejoint.show.files import write_files, write_text

    write_files(
        out,
        {
            f"{name}.json": lambda path: write_text(path, _as_json(data)),
            f"{name}.png": lambda path: figure.savefig(path, format="png"),
        },
    )


def _as_json(data: dict[str, Any]) -> str:
    return json.dumps(data, indent=2, allow_nan=False) + "\n"
