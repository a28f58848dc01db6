"""Statistics of coupons and ageing laws: as tables that a person reads, and as JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.coupon.basis import BASES, NOT_AN_ALLOWABLE, BasisValues
from fejoint.coupon.lots import Lot, Lots
from fejoint.coupon.outliers import LOOK_INTO, Outliers
from fejoint.coupon.pooling import Groups, Pooled
from fejoint.show.pen import printable

__all__ = [
    "MEANING",
    "METHOD_WORDS",
    "number",
    "percent",
    "recommended_words",
    "rows_table",
    "statistics_json",
    "statistics_rows",
    "statistics_sentences",
    "statistics_table",
]

METHOD_WORDS = {
    "normal": "normal",
    "lognormal": "lognormal",
    "weibull": "Weibull",
    "by rank": "by rank (non-parametric)",
    "by two values": "by two values (non-parametric)",
}
MEANING = (
    "s: sample standard deviation, divided by n - 1. 95 % of the mean: its interval. "
    "B-basis: 90 % of all such coupons are stronger, with 95 % confidence; "
    "A-basis: 99 %, with 95 %. Level: how often such a distribution gives values as odd or odder; below 5 % it is rejected."
)


def number(value: float | None, digits: int = 4) -> str:
    """Return a number to some significant digits, or a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "-"
    if value and not 1e-3 <= abs(value) < 1e6:
        return f"{value:.{digits - 1}e}"
    places = max(0, digits - 1 - math.floor(math.log10(abs(value)))) if value else digits - 1
    return f"{value:.{places}f}"


def percent(level: float) -> str:
    """Return a level of a test in per cent, to two digits."""
    return f"{100 * level:.2g} %" if level < 0.995 else "100 %"


# ---- rows, for tables here and in the report ---------------------------------


def statistics_rows(found: Lots, unit: str) -> list[tuple[str, list[str], list[list[str]]]]:
    """Return the tables of lots as title, head and rows of text, for a console or a page (nothing is escaped)."""
    lots = [*found.lots, *([found.whole] if found.whole else [])]
    per = f", {unit}" if unit else ""
    head = ["coupons", "n", "mean", "s (n - 1)", "CV, %", "median", "least", "most", "95 % of the mean"]
    rows = [_described_row(lot) for lot in lots]
    tables = [(f"Mean and scatter{per}", head, rows)]
    for lot in lots:
        if lot.basis is not None:
            tables.append(_basis_rows(lot, lot.basis, per))
    for pool in found.pooled:
        if pool.groups:
            tables.append(_pooled_rows(pool, per))
    return tables


def _described_row(lot: Lot) -> list[str]:
    d = lot.described
    variation = None if d.variation is None else 100 * d.variation
    numbers = [d.mean, d.deviation, variation, d.median, d.minimum, d.maximum]
    return [
        printable(lot.name),
        str(d.n),
        *(number(v, 3 if v is variation else 4) for v in numbers),
        " to ".join(map(number, d.interval)),
    ]


def _basis_rows(lot: Lot, basis: BasisValues, per: str) -> tuple[str, list[str], list[list[str]]]:
    level = {a.distribution: a.level for a in basis.agreements}
    rows = []
    for method, words in METHOD_WORDS.items():
        by = {name: basis.bound(name, method) for name in BASES}
        why = "; ".join(f"{name}: {b.reason}" for name, b in by.items() if b.reason)
        lowest = [name for name in BASES if basis.bound(name).method == method]
        marks = [f"recommended {' and '.join(reversed(lowest))}"] if lowest else []
        marks += [why] if why else []
        rejected = any(a.rejected for a in basis.agreements if a.distribution == method)
        marks += ["rejected"] if rejected else []
        shown = "-" if method not in level else f"{percent(level[method])}"
        rows.append([words, shown, *(number(by[name].value) for name in ("B", "A")), "; ".join(marks)])
    return f"Basis values: {printable(lot.name)}", ["distribution", "level", f"B-basis{per}", f"A-basis{per}", ""], rows


def _pooled_rows(pool: Pooled, per: str) -> tuple[str, list[str], list[list[str]]]:
    scatter = number(pool.scatter) + per.replace(",", "") if pool.of == "deviation" else f"{100 * pool.scatter:.3g} %"
    words = {"deviation": "standard deviation", "variation": "coefficient of variation (approximate)"}[pool.of]
    head = ["group", "n", f"mean{per}", f"B-basis{per}", f"A-basis{per}", "k of B", "k of A"]
    rows = [
        [
            printable(g.name),
            str(g.n),
            number(g.mean),
            number(g.values["B"]),
            number(g.values["A"]),
            number(g.factors["B"]),
            number(g.factors["A"]),
        ]
        for g in pool.groups
    ]
    return f"Pooled {words}: {scatter}, {pool.freedom} degrees of freedom", head, rows


# ---- what a person reads -----------------------------------------------------


def statistics_table(found: Lots, unit: str) -> RenderableType:
    """Return what a person reads of lots: tables, outliers, agreement, recommendation, cautions."""
    parts: list[RenderableType] = []
    for title, head, rows in statistics_rows(found, unit):
        parts += [Text(title, style="bold"), rows_table(head, rows), Text("")]
    parts += [Text(sentence) for sentence in statistics_sentences(found, unit)]
    return Group(*parts, Text(MEANING, style="dim"))


def statistics_sentences(found: Lots, unit: str) -> list[str]:
    """Return what is to be said below the tables, a sentence or two each."""
    lots = [*found.lots, *([found.whole] if found.whole else [])]
    said = [sentence for lot in lots for sentence in _lot_sentences(lot, unit)]
    if any(lot.outliers and lot.outliers.found for lot in lots):
        said.append(LOOK_INTO)
    if found.compared is not None:
        said.append(_alike(found.compared))
    said += [_pooling(pool) for pool in found.pooled]
    said += [_sentence(text) for text in found.refused]
    return [*said, NOT_AN_ALLOWABLE]


def _lot_sentences(lot: Lot, unit: str) -> list[str]:
    name, said = printable(lot.name), [printable(text) for text in lot.refused]
    if lot.outliers is not None:
        said.append(f"{name}: {_outliers(lot.outliers, unit)}")
    if lot.shapiro is not None:
        verdict = "speaks against" if lot.shapiro.level < 0.05 else "does not speak against"
        said.append(f"{name}: Shapiro-Wilk's test (level {percent(lot.shapiro.level)}) {verdict} a normal distribution.")
    if lot.basis is not None:
        said.append(f"{name}: recommended is {recommended_words(lot.basis, unit)}: {lot.basis.reason}")
        said += [f"{name}: {text}" for text in lot.basis.cautions if text != NOT_AN_ALLOWABLE]
    return said


def recommended_words(basis: BasisValues, unit: str) -> str:
    """Return the recommended basis values with their methods, in words."""
    found = [basis.bound("B"), basis.bound("A")]
    if all(b.value is None for b in found):
        return "none"
    words = {b.basis: METHOD_WORDS.get(b.method, "none").removesuffix(" (non-parametric)") for b in found}
    shown = [f"{b.basis}-basis {number(b.value)} {unit}".rstrip() + f" ({words[b.basis]})" for b in found]
    return ", ".join(shown)


def _outliers(found: Outliers, unit: str) -> str:
    looked = f"looked for {found.most} at most, level {100 * found.significance:g} %"
    if not found.found:
        step = found.steps[0] if found.steps else None
        rest = f" (largest normed residual {step.residual:.3f}, critical {step.critical:.3f}; {looked})" if step else ""
        return f"no outlier{rest}."
    what = ", ".join(
        f"{number(one.value)} {unit}".rstrip() + f" (coupon {one.place + 1}, normed residual {one.residual:.3f}, "
        f"critical {one.critical:.3f})"
        for one in found.found
    )
    return f"outlier{'s' if len(found.found) > 1 else ''} {what}; {looked}."


def _alike(groups: Groups) -> str:
    levels = (
        f"equal scatter: Brown-Forsythe, level {percent(groups.variances)}; one population: k-sample Anderson-Darling, "
        f"level {percent(groups.distributions)}{' or more' if groups.distributions >= 0.25 else ''}"
        f"{' or less' if groups.distributions <= 0.001 else ''}"
    )
    if groups.alike:
        return f"The groups could be of one population ({levels}); that they are is for who made them to say."
    return f"The groups are not of one population ({levels}): their values are not taken together."


def _pooling(pool: Pooled) -> str:
    if pool.refused:
        return _sentence(pool.refused)
    return (
        f"Pooling of {pool.of}s takes for granted that groups scatter alike (Brown-Forsythe, level {percent(pool.variances)}) "
        f"and are normal (Anderson-Darling on all residuals, level {percent(pool.normality)}); neither is spoken against."
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def rows_table(head: list[str], rows: Iterable[list[str]]) -> Table:
    """Return rows of text as a table of the console, numbers to the right."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for i, name in enumerate(head):
        table.add_column(Text(name), justify="left" if i == 0 or not name else "right", overflow="fold")
    for row in rows:
        table.add_row(*map(Text, row))
    return table


# ---- JSON ----------------------------------------------------------------------


def statistics_json(found: Lots, unit: str, source: str) -> dict[str, Any]:
    """Return lots ready for JSON: values in their unit, deviations with n - 1."""
    whole = None if found.whole is None else _lot_json(found.whole)
    return {
        "schema_version": 1,
        "source": source,
        "unit": unit,
        "deviation": "sample standard deviation, divided by n - 1",
        "note": NOT_AN_ALLOWABLE,
        "groups": [_lot_json(lot) for lot in found.lots],
        "compared": None if found.compared is None else {**asdict(found.compared), "alike": found.compared.alike},
        "whole": whole,
        "pooled": [asdict(pool) for pool in found.pooled],
        "refused": list(found.refused),
    }


def _lot_json(lot: Lot) -> dict[str, Any]:
    data = asdict(lot)
    if lot.basis is not None:
        data["basis"]["recommended_bounds"] = {name: asdict(lot.basis.bound(name)) for name in BASES}
    return data
