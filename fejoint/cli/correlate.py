"""The commands that hold coupon tests against their prediction, and find figures of the adhesive from them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from fejoint.cli.terminal import Units, answered, console, files_can_be_made, known_units, said, shown
from fejoint.errors import JointError

__all__ = ["correlate", "identify"]

TestFile = Annotated[
    Path, typer.Argument(metavar="TEST.toml", help="Test file: a joint file with [measured], and best with [measured.curve].")
]


def correlate(
    file: TestFile,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Folder for correlation.json, correlation.csv, curve.png, causes.png, correlation.html."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the correlation as JSON.")] = False,
    quick: Annotated[
        bool, typer.Option("--quick", help="Leave out the cohesive zone and paths with yielding, which take longest.")
    ] = False,
    units: Units = "mm",
) -> int:
    """Hold a coupon test against its prediction, and name what may explain the difference."""
    known_units(units)
    files_can_be_made(out, page=True)
    from fejoint.proof.correlation import correlate as correlated
    from fejoint.proof.effects import tried
    from fejoint.proof.measured import read_test
    from fejoint.show.correlation.data import correlation_data
    from fejoint.show.correlation.files import write_correlation
    from fejoint.show.correlation.tables import correlation_report
    from fejoint.strength.predict import QUICK, ROUTES

    test = read_test(file)
    with _whole_or_nothing():
        found = shown(lambda progress: correlated(test, QUICK if quick else ROUTES, progress=progress))
        causes = shown(lambda progress: tried(found, progress=progress))
    data = correlation_data(found, causes)
    written = write_correlation(data, out, units) if out is not None else []
    answered(data, lambda: correlation_report(data, units), out, written, as_json)
    return 0


def identify(
    files: Annotated[list[Path], typer.Argument(metavar="TEST.toml ...", help="Test files of one adhesive.")],
    find: Annotated[
        list[str], typer.Option("--find", metavar="KEY", help="Figure to find, such as adhesive.shear_modulus; may be repeated.")
    ] = [],  # noqa: B006 - typer copies it
    bounds: Annotated[
        list[str],
        typer.Option("--bounds", metavar="KEY=LOW:HIGH", help="Bounds of a figure; a fifth to five times its start by default."),
    ] = [],  # noqa: B006
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for identify.json, adhesive.toml and fit.png.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print what was found as JSON.")] = False,
    quick: Annotated[bool, typer.Option("--quick", help="Of loads: leave out the cohesive zone, which takes longest.")] = False,
    units: Units = "mm",
) -> int:
    """Find figures of an adhesive from coupon tests, with their intervals, and say what the tests cannot tell."""
    known_units(units)
    from fejoint.proof.findable import FINDABLE, parsed_bounds
    from fejoint.proof.identify import identify as identified

    if not find:
        raise JointError(f"--find is missing: name what to find, of {', '.join(FINDABLE)}.")
    spans = parsed_bounds(bounds)
    files_can_be_made(out)
    from fejoint.proof.measured import read_test
    from fejoint.show.correlation.data import identified_data
    from fejoint.show.correlation.files import adhesive_toml, write_identified
    from fejoint.show.correlation.tables import identified_report
    from fejoint.strength.predict import QUICK, ROUTES

    tests = [read_test(file) for file in files]
    if len({test.name for test in tests}) < len(tests):
        raise JointError("two of the test files have the same name, so that nothing would tell them apart; rename one.")
    with _whole_or_nothing():
        found = shown(lambda progress: identified(tests, find, spans, QUICK if quick else ROUTES, progress))
    data = identified_data(found)
    written = write_identified(found, data, out, units) if out is not None else []
    if as_json:
        print(json.dumps(data, indent=2, allow_nan=False))
    else:
        console().print(identified_report(data, units))
        if written:
            print(f"Written to {out}: {', '.join(path.name for path in written)}")
        else:
            print(adhesive_toml(found, data), end="")
    return 0


@contextmanager
def _whole_or_nothing() -> Iterator[None]:
    """Say that an interruption of what takes long has left no files."""
    try:
        yield
    except KeyboardInterrupt:
        raise typer.Exit(said("interrupted before it was finished; nothing was written.", 130)) from None
