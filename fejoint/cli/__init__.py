"""The command line: parse, call, print. The only module that exits.

Exit codes: 0 done; 1 it ran and a self-check missed (files kept and marked);
2 input, file or environment (one sentence, nothing written); 3 not converged, or
the load is more than the joint can carry (what was found is kept); 130 interrupted.
"""

from __future__ import annotations

import json
import os
import sys
import tomllib
from pathlib import Path
from typing import Annotated

import typer

from fejoint import __version__
from fejoint.cli.correlate import correlate, identify
from fejoint.cli.coupons import coupons
from fejoint.cli.demos import demo
from fejoint.cli.fit import fit
from fejoint.cli.flaws import flaws
from fejoint.cli.job_card import job_card
from fejoint.cli.pictures import draw, report, view
from fejoint.cli.process import process
from fejoint.cli.solving import code_of, solved, solved_into
from fejoint.cli.statistics import ageing, statistics
from fejoint.cli.strength import strength
from fejoint.cli.sweep import chart, sweep
from fejoint.cli.terminal import (
    Changes,
    FlawsFile,
    JointFile,
    MaterialFiles,
    Units,
    answered,
    console,
    files_can_be_made,
    known_units,
    read_joint,
    said,
    shown,
)
from fejoint.environment import SYSTEM_LIBRARIES
from fejoint.errors import ConvergenceError, FejointError, JointError

__all__ = ["main", "run"]

app = typer.Typer(
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Shear and peel stress along the bondline of bonded joints, from a joint file.",
)


def main() -> None:
    """Run the command line and exit."""
    sys.exit(run(sys.argv[1:]))


def run(arguments: list[str]) -> int:
    """Run the command line on a list of arguments and return the exit code."""
    try:
        code = app(arguments or ["--help"], standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except (KeyboardInterrupt, typer.Abort):
        return said("interrupted.", 130)
    except ConvergenceError as error:
        return said(str(error), 3)
    except FejointError as error:
        return said(str(error), 2)
    except ImportError as error:  # of a package that is there but broken, or of one that it needs itself
        return said(f"a Python package cannot be loaded ({error}); install it anew, or what it names; {SYSTEM_LIBRARIES}", 2)
    except typer.TyperException as error:  # wrong options and arguments
        return said(f"{error.format_message().rstrip('.')}; see fejoint --help.", 2)
    except OSError as error:  # of standard output: the files have their own
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - what is left to print has nowhere to go
        if isinstance(error, BrokenPipeError):  # the reader, such as head, has seen enough
            return 0
        return said(f"cannot print ({(error.strerror or str(error)).lower()}).", 2)


@app.command()
def solve(
    file: JointFile,
    out: Annotated[Path | None, typer.Option("--out", metavar="DIR", help="Folder for the files of the run.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the summary as JSON.")] = False,
    flaws: FlawsFile = None,
    changes: Changes = [],  # noqa: B006 - typer copies it
    materials: MaterialFiles = [],  # noqa: B006
    afresh: Annotated[
        bool, typer.Option("--afresh", help="Start over where an interrupted load path would be gone on with.")
    ] = False,
    units: Units = "mm",
) -> int:
    """Solve a joint: stresses along the bondline, theories beside them, self-checks; run again to go on along a load path."""
    known_units(units)
    joint, text = read_joint(file, changes, materials, flaws)
    if afresh and (out is None or not joint.analysis.nonlinear):
        raise JointError("--afresh only goes with --out and an analysis along the load's path; leave it out.")
    if out is not None:  # what would stop the files in the end stops them now
        from fejoint.show.files import check_kind

        check_kind(out, "run")
    result = solved(joint) if out is None or not joint.analysis.nonlinear else solved_into(joint, out, afresh)
    if out is not None:
        from fejoint.show.files import write_run

        write_run(result, out, text)
    if as_json:
        from fejoint.show.files import summary

        print(json.dumps(summary(result), indent=2, allow_nan=False))
    else:
        from fejoint.show.tables import result_report

        console().print(result_report(result, units))
        if out is not None:
            more = f"; path.csv, path/0001 to path/{len(result.path):04d}" if result.path else ""
            print(f"Written to {out}: bondline.csv, adherends.csv, summary.json, section.vtu, joint.toml{more}")
    return code_of(result)


@app.command()
def compare(
    file: JointFile,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for comparison.json and comparison.png.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the comparison as JSON.")] = False,
    changes: Changes = [],  # noqa: B006 - typer copies it
    materials: MaterialFiles = [],  # noqa: B006
    units: Units = "mm",
) -> int:
    """Hold every theory for a joint against finite elements: ratios, where each is off, which to trust."""
    from fejoint.mechanics.as_built import compared
    from fejoint.show.comparison import comparison_figure, comparison_json, comparison_table, write_comparison

    known_units(units)
    joint, _ = read_joint(file, changes, materials)
    found = compared(solved(joint))
    written: list[Path] = []
    if out is not None:
        figure = None
        try:
            figure = comparison_figure(found, units)
        except FejointError as error:
            said(f"comparison.png left out: {error}", 0)
        written = write_comparison(found, out, figure)
    answered(comparison_json(found), lambda: comparison_table(found, units), out, written, as_json)
    return code_of(found.result)


@app.command()
def check(file: JointFile, changes: Changes = [], materials: MaterialFiles = []) -> int:  # noqa: B006
    """Check a joint file without solving it."""
    joint, text = read_joint(file, changes, materials)
    from fejoint.process.description import process_of

    said_too, document = "", tomllib.loads(text)
    process_of(document, str(file))
    if "sweep" in document:
        from fejoint.study.sweep import ASK_ABOVE, looked_over

        number, refused, first = looked_over(file, changes, materials)
        said_too = f", with a sweep of {number} cases" + (f", {refused} of them refused, such as: {first}" if refused else "")
        said_too += f"; it needs --yes, being more than {ASK_ABOVE}" if number > ASK_ABOVE else ""
    print(f"{file}: a valid {joint.geometry.kind} joint{said_too.rstrip('.')}.")
    return 0


@app.command()
def new(kind: Annotated[str, typer.Argument(metavar="KIND", help="Joint family: single-lap, double-lap, stepped-lap.")]) -> int:
    """Print a commented joint file to start from."""
    from fejoint.joint.file import template

    print(template(kind), end="")
    return 0


@app.command()
def benchmark(
    cases: Annotated[
        list[Path],
        typer.Argument(metavar="FILE|DIR", help="Case and test files, or folders of them; the shipped cases unless given."),
    ] = [],  # noqa: B006
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for report.json, report.png and, of tests, measured.png.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the report as JSON.")] = False,
    quick: Annotated[bool, typer.Option("--quick", help="Of tests: leave out the cohesive zone, which takes longest.")] = False,
    quantities: Annotated[bool, typer.Option("--quantities", help="List what a case can ask for, and stop.")] = False,
    freeze: Annotated[
        Path | None, typer.Option("--freeze", metavar="DIR", help="Solve joint files and write each as a regression case.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Let --freeze overwrite a case.")] = False,
) -> int:
    """Hold finite elements and theories against cases, and predicted loads against measured ones.

    A case is a joint of which something is known from outside; a test one whose coupons were loaded until they failed.
    """
    from fejoint.proof.case import case_files, shipped_cases

    if quantities:
        from fejoint.show.proof import quantities_table

        console().print(quantities_table())
        return 0
    if freeze is not None:
        return _frozen(cases, freeze, force)
    if force:
        raise JointError("--force only goes with --freeze; leave it out.")
    from fejoint.proof.measured import parted_files

    files, tests = parted_files(case_files(cases) if cases else shipped_cases())
    if quick and not tests:
        raise JointError("--quick only goes with tests (files with [measured]); leave it out.")
    if out is not None:  # what would stop the report in the end stops it now
        files_can_be_made(out)
    from fejoint.proof.coupons import QUICK, CouponsReport, run_coupons
    from fejoint.proof.runner import run_cases
    from fejoint.show.measured import coupons_table
    from fejoint.show.proof import report_json, report_table, write_report
    from fejoint.strength.predict import ROUTES

    report = shown(lambda progress: run_cases(files, progress))
    measured: CouponsReport = shown(lambda progress: run_coupons(tests, QUICK if quick else ROUTES, progress))
    written = write_report(report, out, measured) if out is not None else []
    found = report_json(report, measured)
    if as_json:
        print(json.dumps(found, indent=2, allow_nan=False))
    else:
        for table in [report_table(report)] * bool(files) + [coupons_table(measured)] * bool(tests):
            console().print(table)
        if written:
            print(f"Written to {out}: {', '.join(path.name for path in written)}")
    return {"met": 0, "missed": 1, "bad": 2}[found["verdict"]]


def _frozen(files: list[Path], folder: Path, force: bool) -> int:
    """Write regression cases of joint files; all are read before the first is solved."""
    from datetime import date

    from fejoint.joint.file import joint_from_text, read_text
    from fejoint.proof.freeze import frozen_case
    from fejoint.show.proof import write_texts

    if not files:
        raise JointError("--freeze needs a joint file to solve; give FILE.")
    texts = {file: read_text(file) for file in files}
    joints = {file: joint_from_text(text, name=str(file)) for file, text in texts.items()}
    targets = [folder / f"{file.stem}.toml" for file in files]
    if len(set(targets)) < len(targets):
        raise JointError("--freeze: two of the files have the same name, so one case would overwrite the other; rename one.")
    for target in targets:
        if target.exists() and not force:
            raise JointError(f"{target}: is there already; choose another folder, or overwrite it with --force.")
    today, made = date.today().isoformat(), {}
    for file, target in zip(files, targets, strict=True):
        made[target.name] = frozen_case(solved(joints[file]), texts[file], str(file), today)
    for path in write_texts(folder, made):
        print(f"Written: {path}")
    return 0


@app.command()
def materials(units: Units = "mm") -> int:
    """List the shipped materials, every figure with its source or mark."""
    from fejoint.show.tables import materials_table

    known_units(units)
    console().print(materials_table(units))
    return 0


@app.command()
def schema() -> int:
    """Print the JSON schema of the joint file, for editors."""
    from fejoint.joint.file import joint_schema
    from fejoint.process.description import process_schema
    from fejoint.study.plan import sweep_schema

    print(json.dumps(joint_schema({"sweep": sweep_schema(), "process": process_schema()}), indent=2))
    return 0


app.command()(demo)
app.command()(view)
app.command()(draw)
app.command()(report)
app.command()(sweep)
app.command()(chart)
app.command()(fit)
app.command()(strength)
app.command()(flaws)
app.command()(process)
app.command()(coupons)
app.command()(statistics)
app.command()(ageing)
app.command()(correlate)
app.command()(identify)
app.command("job-card")(job_card)


@app.callback(invoke_without_command=True)
def _top(version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False) -> None:
    if version:
        print(f"fejoint {__version__}")
        raise typer.Exit()
