"""The command that reduces coupon tests."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fejoint.cli.terminal import Units, answered, files_can_be_made, known_units
from fejoint.errors import JointError

__all__ = ["coupons"]


def coupons(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="Coupon-test file (TOML) with a [coupons] table.")] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for coupons.json, coupons.csv, the figures and report.html."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the test as JSON.")] = False,
    units: Units = "mm",
    new: Annotated[
        str,
        typer.Option("--new", metavar="KIND", help="Print a commented file to start from: a kind of test, or a standard."),
    ] = "",
) -> int:
    """Reduce coupon tests: strengths, toughness, failure patterns, statistics."""
    if new:
        if file is not None or out is not None or as_json:
            raise JointError("--new prints a file to start from, and goes with no FILE and no other option.")
        from fejoint.coupon.template import coupons_template

        print(coupons_template(new), end="")
        return 0
    if file is None:
        raise JointError("give a coupon-test file, or --new KIND for one to start from, such as --new dcb.")
    from fejoint.coupon.reduce import reduce_coupons

    known_units(units)
    files_can_be_made(out, page=True)
    from fejoint.show.coupons.reduction_data import coupons_data, looked
    from fejoint.show.coupons.reduction_tables import coupons_report

    found = reduce_coupons(file)
    data = coupons_data(found, looked(found))
    written: list[Path] = []
    if out is not None:
        from fejoint.show.coupons.reduction_files import write_coupons

        written = write_coupons(found, out, units)
    answered(data, lambda: coupons_report(found, looked(found, units), units), out, written, as_json)
    return 0
