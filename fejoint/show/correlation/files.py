"""The files of a correlation and of figures found from tests: written whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from fejoint.proof.identify import Identified
from fejoint.show.correlation.data import correlation_csv
from fejoint.show.correlation.page import correlation_page
from fejoint.show.correlation.plots import causes_figure, curve_figure, fit_figure
from fejoint.show.files import write_files, write_text
from fejoint.units import display

__all__ = ["adhesive_toml", "write_correlation", "write_identified"]

BOTH_WAYS = (("first", "second"), ("second", "first"))


def write_correlation(data: dict[str, Any], folder: str | Path, units: str = "mm", html: bool = True) -> list[Path]:
    """Write ``correlation.json``, ``correlation.csv``, ``curve.png``, ``causes.png`` and ``correlation.html``.

    Parameters
    ----------
    data : dict
        As `correlation_data` returns it.
    folder : path
        Made if it is not there.
    units : str
        Display system of pictures and page.
    html : bool
        Whether to write the page, which needs jinja2.

    Raises
    ------
    SetupError
        The folder cannot be written, or matplotlib or jinja2 is not installed.
    """
    curve, causes = curve_figure(data, units), causes_figure(data, units)
    writers: dict[str, Callable[[Path], Any]] = {
        "correlation.json": lambda path: write_text(path, json.dumps(data, indent=2, allow_nan=False) + "\n"),
        "correlation.csv": lambda path: write_text(path, correlation_csv(data)),
        "curve.png": lambda path: curve.savefig(path, format="png"),
        "causes.png": lambda path: causes.savefig(path, format="png"),
    }
    if html:
        text = correlation_page(data, curve, causes, units)
        writers["correlation.html"] = lambda path: write_text(path, text)
    return write_files(folder, writers)


def write_identified(found: Identified, data: dict[str, Any], folder: str | Path, units: str = "mm") -> list[Path]:
    """Write ``identify.json``, ``adhesive.toml`` and ``fit.png``; raises as `write_correlation`."""
    figure, text = fit_figure(data, units), adhesive_toml(found, data)
    return write_files(
        folder,
        {
            "identify.json": lambda path: write_text(path, json.dumps(data, indent=2, allow_nan=False) + "\n"),
            "adhesive.toml": lambda path: write_text(path, text),
            "fit.png": lambda path: figure.savefig(path, format="png"),
        },
    )


def adhesive_toml(found: Identified, data: Mapping[str, Any]) -> str:
    """Return an ``[adhesive]`` table for a joint file, each figure found with its tests and interval as its source.

    A library adhesive stays named; what was found stands beside it. Figures that
    the tests do not tell are left as the file has them, with a comment.
    """
    import tomlkit

    from fejoint.joint.file import plain

    document = found.tests[0].document.get("adhesive", {})
    stated = found.tests[0].joint.adhesive
    if "material" in document:
        table: Any = tomlkit.table()
        table.update({key: value for key, value in document.items()})
    else:
        table = plain(stated)
    tests = ", ".join(test["name"] for test in data["tests"])
    comments = []
    for one in data["figures"]:
        place, _, name = one["key"].partition(".")
        unit = one["unit"]
        value: Any = float(f"{one['value']:.4g}")
        shown = f"{value:g} {unit}" if unit else value
        if one["at_bound"] or one["no_influence"]:
            comments.append(f"{one['key']}: not told by these tests, so it stays as it was")
        elif place == "joint":
            comments.append(f"{one['key']} = {shown} was found beside it")
        else:
            span = "interval not known"
            others = [pair[b] for pair in data["not_told_apart"] for a, b in BOTH_WAYS if pair[a] == one["key"]]
            apart = f"; not told apart from {' and '.join(others)}" if others else ""
            if one["low"] is not None and one["high"] is not None:
                low, high = (display(one[end], unit, digits=3) for end in ("low", "high"))
                span = f"95 % interval {low} to {high}"
            figure = tomlkit.inline_table()
            figure.update({"value": shown, "source": f"identified from {tests}; {span}{apart}"})
            _put(table, name, figure, stated)
    whole = tomlkit.document()
    for text in [*comments, *data["warnings"]]:
        whole.add(tomlkit.comment(text))
    whole["adhesive"] = table
    return tomlkit.dumps(whole)


def _put(table: Any, name: str, figure: Any, stated: Any) -> None:
    """Put a figure into an adhesive's table; of the elastic constants only two stay."""
    if name.startswith("hardening."):
        inner = dict(table.get("hardening", {}))
        inner[name.removeprefix("hardening.")] = figure
        table["hardening"] = inner
        return
    table[name] = figure
    other = {"elastic_modulus": "shear_modulus", "shear_modulus": "elastic_modulus"}.get(name)
    if other is None:
        return
    if other in table and not _found(table[other]):
        if "poisson_ratio" not in table and "material" not in table:
            table["poisson_ratio"] = float(f"{stated.poisson_ratio:.6g}")
        del table[other]
    elif other in table and "poisson_ratio" in table:
        del table["poisson_ratio"]


def _found(figure: Any) -> bool:
    return isinstance(figure, Mapping) and str(figure.get("source", "")).startswith("identified from")
