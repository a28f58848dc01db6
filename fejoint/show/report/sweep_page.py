"""The page of a sweep: what was asked, how its cases ended, the best designs, charts, and all cases to sort and filter.

Its numbers are those of ``sweep.parquet``, in the units that the names of its
columns have (N, mm, MPa, K), whatever the display system.
"""

from __future__ import annotations

import io
import json
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fejoint.errors import JointError, SetupError
from fejoint.joint.keys import column_name
from fejoint.show.pen import shortened
from fejoint.show.report.chart_words import KINDS, chart_alt
from fejoint.show.report.page import Picture, Row, Table, download, few_colours, page, picture, png_picture, visible
from fejoint.show.report.sweep_table import cases_table, name_parts, number_text
from fejoint.show.sweeps.best import Best, best_designs
from fejoint.show.sweeps.charts import words
from fejoint.show.sweeps.limits import Limit, follows, numbers, parameters, read_limits
from fejoint.show.sweeps.overview import free_parameters, main_columns, overview
from fejoint.show.sweeps.table import MEANING, SCHEMA_VERSION, read_table
from fejoint.units import as_number

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

__all__ = ["sweep_page"]

HEAVIEST = 250_000  # characters of a chart as a drawing: with more marks it is one of pixels
PNG_DPI = 130
FEW = 12  # values of a varied key that are listed
REASON, WARNING = 300, 900  # characters shown of a first reason, of a first warning
LOADS = {"force": "N", "moment": "N*mm", "shear_force": "N", "temperature_change": "K"}
POINTS = {
    "grid": "every combination of the values below",
    "zip": "the values below side by side: the first of every key together, then the second, and so on",
    "latin-hypercube": "samples of a Latin hypercube between the ends below",
    "sobol": "points of a Sobol' sequence between the ends below",
}


def sweep_page(
    folder: Path, units: str = "mm", progress: Callable[[str], None] | None = None, most_bytes: int | None = None
) -> str:
    """Return the page of a folder that ``fejoint sweep`` wrote, as HTML that needs no other file.

    Parameters
    ----------
    folder : Path
    units : str
        Display system; a sweep's columns keep the units of their names, so it changes nothing here.
    progress : callable, optional
        Told in a word or two what is being done.
    most_bytes : int, optional
        A page that would be larger goes without its charts.

    Raises
    ------
    JointError
        ``sweep.parquet``, ``sweep.json`` or ``joint.toml`` is missing: says which.
    SetupError
        One of them cannot be read, is damaged, or of another version: says which.
    """
    say = progress or (lambda _: None)
    say("reading")
    folder = Path(folder)
    about, joint_file = _about(folder), _joint_file(folder)
    table = _table(folder)
    limits = _limits(folder, about, table)
    document = _document(joint_file)
    best = best_designs(table, limits, _is_loaded(document, table))
    say("drawing")
    charts, no_charts = _charts(table, limits)
    say("writing")
    cases = cases_table(table, limits)
    title = document.get("title")
    context = {
        "cases": len(table),
        "kind": _kind(document),
        "points_table": shortened(str(about["sweep"].get("table") or ""), 200),
        "points": _points(about["sweep"]),
        "varied": _varied(table),
        "limits": [(str(limit), limit.label) for limit in limits],
        "has_limits": bool(limits) or "feasible" in table,
        "of_magnitude": any(limit.of_magnitude for limit in limits),
        "ended": _ended(table),
        "warned": _warned(table),
        "best": best,
        "by_force": words(best.by_force) if best.by_force else "",
        "ranked": _ranked(table, best, limits),
        "extremes": _extremes(table, best),
        "load_varied": [words(name) for name in free_parameters(table) if name.startswith("load.")],
        "table": cases,
        # Places of columns; the first is the number of the case.
        "unprinted": [i for i, column in enumerate(cases.columns, start=2) if not column.is_printed],
        "numeric": [i for i, column in enumerate(cases.columns, start=2) if column.is_number],
        "example": _example(table, limits),
        "magnitude": _magnitude(table),
        "versions": {str(name): str(version) for name, version in about["versions"].items()},
        "joint_file": visible(joint_file),
        "joint_link": download(joint_file),
        "by_command": _is_in_file(about["sweep"], document),
    }
    heading = title if isinstance(title, str) and title.strip() else f"sweep {folder.resolve().name}"

    def filled(charts: Sequence[Picture], no_charts: str) -> str:
        has_marks = any(not chart.alt.startswith(KINDS["effects"]) for chart in charts)
        more = {"charts": charts, "no_charts": no_charts, "has_marks": has_marks}
        return page("sweep.html", heading, {**context, **more}, [_script()])

    text = filled(charts, no_charts)
    if charts and most_bytes is not None and len(text.encode("utf-8")) > most_bytes:
        why = f"With charts this page would take more than {most_bytes / 1e6:g} MB; fejoint chart draws them as files."
        text = filled((), why)
    return text


# ---- files ---------------------------------------------------------------


def _about(folder: Path) -> dict[str, Any]:
    """Return what ``sweep.json`` says."""
    path = folder / "sweep.json"
    text = _text(path)
    try:
        said = json.loads(text)
        version = said["schema_version"]
    except (ValueError, LookupError, TypeError, RecursionError):
        raise SetupError(f"{path}: is damaged or not from a sweep; run fejoint sweep into this folder again.") from None
    if version != SCHEMA_VERSION:
        raise SetupError(
            f"{path}: has schema version {shortened(str(version), 40)}, and this fejoint reads {SCHEMA_VERSION}; "
            "use the fejoint that wrote it, or run the sweep again."
        )
    if not all(isinstance(said.get(key), kind) for key, kind in (("sweep", dict), ("versions", dict), ("limits", list))):
        raise SetupError(f"{path}: lacks sweep, versions or limits; run fejoint sweep into this folder again.")
    return dict(said)


def _table(folder: Path) -> pd.DataFrame:
    """Return the table, an integer number for each case."""
    path = folder / "sweep.parquet"
    if not path.is_file():
        raise JointError(f"{path}: is not there; run fejoint sweep into this folder again.")
    try:
        table = read_table(folder)
        if (
            table.index.dtype.kind not in "iu"
            or not table.index.is_unique
            or "status" not in table
            or not table.columns.is_unique
            or not table["status"].map(lambda status: isinstance(status, str)).all()
        ):
            raise KeyError
    except KeyError:
        raise SetupError(f"{path}: is no table of a sweep; run fejoint sweep into this folder again.") from None
    return table


def _joint_file(folder: Path) -> str:
    return _text(folder / "joint.toml")


def _text(path: Path) -> str:
    if not path.is_file():
        raise JointError(f"{path}: is not there; run fejoint sweep into this folder again.")
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise SetupError(f"{path}: cannot be read; run fejoint sweep into this folder again.") from None


def _limits(folder: Path, about: Mapping[str, Any], table: pd.DataFrame) -> tuple[Limit, ...]:
    try:
        limits = read_limits([str(limit) for limit in about["limits"]])
        for limit in limits:
            if limit.column in table:
                numbers(table, limit.column)
    except JointError as error:
        raise SetupError(f"{folder / 'sweep.json'}: {error}") from None
    return limits


def _document(joint_file: str) -> dict[str, Any]:
    """Return the joint file as a dict; an empty one where it is damaged, which the page can do without."""
    try:
        return tomllib.loads(joint_file)
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}


def _script() -> str:
    return resources.files(__package__).joinpath("table.js").read_text(encoding="utf-8")


# ---- what was asked ------------------------------------------------------


def _kind(document: Mapping[str, Any]) -> str:
    joint = document.get("joint")
    kind = joint.get("kind") if isinstance(joint, Mapping) else None
    return kind if isinstance(kind, str) else ""


def _points(said: Mapping[str, Any]) -> str:
    """Return in words how the points of a study were made."""
    if said.get("table") is not None:
        return f"a joint for each row of {shortened(str(said['table']), 120)}"
    points = str(said.get("points", "grid"))
    words = POINTS.get(points, "the values below")
    if "samples" in said:
        words = f"{said['samples']} {words} (seed {said.get('seed', 0)})"
    return words


def _varied(table: pd.DataFrame) -> list[tuple[str, str, str, str]]:
    """Return of every key that varies its column, from where to where, how many values, and what moves with it."""
    rows = []
    for name in free_parameters(table):
        column = table[name]
        if column.dtype.kind in "if":
            found = numbers(table, name)
            span = f"{number_text(float(np.nanmin(found)))} to {number_text(float(np.nanmax(found)))}"
        else:
            texts = list(dict.fromkeys(shortened(str(value), 60) for value in column.dropna()))
            more = f" and {len(texts) - FEW} more" if len(texts) > FEW else ""
            span = ", ".join(texts[:FEW]) + more
        tied = [
            other for other in parameters(table) if other != name and table[other].nunique() > 1 and follows(table, other, name)
        ]
        rows.append((name, span, str(column.nunique()), ", ".join(tied)))
    return rows


def _is_in_file(said: Mapping[str, Any], document: Mapping[str, Any]) -> bool:
    """Return whether the joint file's own ``[sweep]`` table is the study, so that the command repeats it."""
    own = document.get("sweep")
    if not isinstance(own, Mapping) or not own:
        return False
    usual: dict[str, Any] = {"points": "grid", "seed": 0, "keep_curves": False, "limits": [], "tie": {}, "vary": {}}
    return all(said.get(key, usual.get(key)) == value for key, value in own.items()) and set(said) <= set(own)


# ---- how the cases ended -------------------------------------------------


def _ended(table: pd.DataFrame) -> Table:
    """Return the counts of the statuses, with their meaning and the first reason."""
    counts = table["status"].value_counts()
    known = [name for name in MEANING if name in counts]
    rows = []
    for status in [*known, *(str(name) for name in counts.index if name not in MEANING)]:
        reasons = table.loc[table["status"] == status, "reason"].dropna() if "reason" in table else []
        first = next((str(reason) for reason in reasons if reason), "")
        look = {"done": "good", "failed": "bad", "lost": "bad", "missed": "bad"}.get(status, "")
        rows.append(Row([status, str(counts[status]), MEANING.get(status, ""), shortened(first, REASON)], look))
    if not any(row.cells[3] for row in rows):
        return Table("Cases by their status", ["status", "cases", "meaning"], [Row(r.cells[:3], r.look) for r in rows], (0, 2))
    return Table("Cases by their status", ["status", "cases", "meaning", "first reason"], rows, words=(0, 2, 3))


def _warned(table: pd.DataFrame) -> tuple[int, int, int, str] | None:
    """Return how many cases carry warnings, how many feasible ones among them, and the first case with its warnings."""
    if "warnings" not in table:
        return None
    has = table["warnings"].fillna("").astype(str) != ""
    if not has.any():
        return None
    of_feasible = int((has & table["feasible"].eq(True)).sum()) if "feasible" in table else 0
    first = table.index[has][0]
    return int(has.sum()), of_feasible, int(first), shortened(str(table.loc[first, "warnings"]), WARNING)


# ---- best designs --------------------------------------------------------


def _is_loaded(document: Mapping[str, Any], table: pd.DataFrame) -> bool:
    """Return whether the joint file has a load that the table does not vary: every case carries it."""
    load = document.get("load")
    if not isinstance(load, Mapping):
        return False
    for key, unit in LOADS.items():
        if key in load and column_name(f"load.{key}", unit) not in table:
            try:
                if as_number(load[key], unit) != 0:
                    return True
            except ValueError:  # damaged; the page does without
                continue
    return False


def _ranked(table: pd.DataFrame, best: Best, limits: Sequence[Limit]) -> dict[str, Any]:
    """Return the ranking as columns and rows: what is used of the tightest limit, what the case is, what it comes to."""
    shown = [*free_parameters(table)[:5], *dict.fromkeys(limit.column for limit in limits if limit.column in table)][:8]
    rows = [
        {
            "case": found.case,
            "use": f"{100 * found.use:.3g}\N{NO-BREAK SPACE}%",
            "tightest": found.tightest.label,
            "values": [_shown(table.at[found.case, name]) for name in shown],
            "warned": _carries(table, found.case),
        }
        for found in best.ranked
    ]
    return {"columns": [(name_parts(name), table[name].dtype.kind in "if") for name in shown], "rows": rows}


def _extremes(table: pd.DataFrame, best: Best) -> list[dict[str, Any]]:
    rows = []
    for found in best.extremes:
        if found.which == "least magnitude":
            remark = ""
        elif found.at_end:
            remark = "the study goes no further"
        else:
            remark = f"no {'smaller' if found.which == 'least' else 'larger'} value of the study is feasible"
        rows.append(
            {
                "column": found.column,
                "with_it": list(found.with_it),
                "which": found.which,
                "value": number_text(found.value),
                "case": found.case,
                "alike": found.alike,
                "remark": remark,
                "warned": _carries(table, found.case),
            }
        )
    return rows


def _carries(table: pd.DataFrame, case: int) -> str:
    said = table.at[case, "warnings"] if "warnings" in table else ""
    return "yes" if isinstance(said, str) and said else "no"


def _shown(value: Any) -> str:
    if isinstance(value, int | float | np.number) and not isinstance(value, bool | np.bool_):
        return number_text(float(value))
    return shortened(str(value), 60)


def _example(table: pd.DataFrame, limits: Sequence[Limit]) -> str:
    """Return a comparison that the table's filter takes."""
    for limit in limits:
        if limit.column in table:
            if limit.of_magnitude:  # the filter takes the signed value where no bars say otherwise
                return str(limit).replace(limit.column, f"|{limit.column}|", 1)
            return str(limit)
    for name in main_columns(table):
        return f"{name} <= {number_text(float(np.nanmedian(numbers(table, name))), 2)}"
    return "status = done"


def _magnitude(table: pd.DataFrame) -> str:
    """Return a comparison of a magnitude that the table's filter takes."""
    name = next((name for name in main_columns(table) if "shear" in name), next(iter(main_columns(table)), "peak_shear_MPa"))
    return f"|{name}| < 10"


# ---- charts --------------------------------------------------------------


def _charts(table: pd.DataFrame, limits: Sequence[Limit]) -> tuple[list[Picture], str]:
    """Return the charts that suit the sweep, and why there is none."""
    try:
        found = list(_drawn(table, limits))
    except SetupError as error:
        return [], str(error)
    return found, "" if found else "None suits what was varied here: too few values, or results that are all alike."


def _drawn(table: pd.DataFrame, limits: Sequence[Limit]) -> Iterator[Picture]:
    for name, figure in overview(table, tuple(str(limit) for limit in limits)):
        kind, _, column = name.partition("-")
        drawn = picture(figure, chart_alt(kind, column, table, limits))
        yield drawn if len(drawn.source) <= HEAVIEST else _as_pixels(figure, drawn.alt)


def _as_pixels(figure: Figure, alt: str) -> Picture:
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=PNG_DPI)
    return png_picture(few_colours(out.getvalue()), alt)
