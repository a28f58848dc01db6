"""The command that reduces coupon tests."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.cli.terminal import Units, console, known_units

__all__ = ["coupons"]


def coupons(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Coupon-test file (TOML) with a [coupons] table.")],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for coupons.json, coupons.csv, the figures and report.html."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the test as JSON.")] = False,
    units: Units = "mm",
) -> int:
    """Reduce coupon tests: strengths, toughness, failure patterns, statistics."""
    from fejoint.coupon.reduce import reduce_file

    known_units(units)
    if out is not None:  # what would stop the files in the end stops them now
        from fejoint.environment import require_extra

        require_extra("matplotlib", "plot", "--out")
        require_extra("jinja2", "report", "--out")
    from fejoint.show.coupons.reduction_data import coupons_data, looked

    found = reduce_file(file)
    data = coupons_data(found, looked(found))
    written = _written(found, data, out, units) if out is not None else []
    if as_json:
        print(json.dumps(data, indent=2, allow_nan=False))
    else:
        from fejoint.show.coupons.reduction_tables import coupons_report

        console().print(coupons_report(found, looked(found, units), units))
        if written:
            print(f"Written to {out}: {', '.join(path.name for path in written)}")
    return 0


def _written(found: Any, data: dict[str, Any], out: Path, units: str) -> list[Path]:
    """Write the test, its figures and its report, all or nothing."""
    from fejoint.show.coupons.reduction_data import coupons_csv, looked
    from fejoint.show.coupons.reduction_page import coupons_figures, coupons_page
    from fejoint.show.files import write_files, write_text

    statistics = looked(found, units)
    figures = coupons_figures(found, statistics, units)
    page = coupons_page(found, statistics, figures, units)
    writers: dict[str, Any] = {
        "coupons.json": lambda path: write_text(path, json.dumps(data, indent=2, allow_nan=False) + "\n"),
        "coupons.csv": lambda path: write_text(path, coupons_csv(found)),
        "report.html": lambda path: write_text(path, page),
        **{name: lambda path, figure=figure: figure.savefig(path, format="png") for name, figure in figures.items()},
    }
    return write_files(out, writers)
