"""The command that says what load breaks a joint, how, and with what margin."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.cli.solving import solved_into
from fejoint.cli.terminal import (
    Changes,
    FlawsFile,
    JointFile,
    MaterialFiles,
    Units,
    console,
    files_can_be_made,
    known_units,
    read_prepared,
    said,
    shown,
)
from fejoint.errors import JointError

__all__ = ["strength"]


def strength(
    file: JointFile,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Folder for strength.json, strength.csv, strength.png and the files of the run."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the prediction as JSON.")] = False,
    criterion: Annotated[
        str, typer.Option("--criterion", metavar="KEY", help="Ask for one criterion alone, by its key in strength.csv.")
    ] = "",
    quick: Annotated[
        bool, typer.Option("--quick", help="Leave out the cohesive zone, and other distances and meshes, which take longest.")
    ] = False,
    finer: Annotated[
        bool, typer.Option("--finer-path", help="Of a load path also that on a mesh of twice the density, which takes longest.")
    ] = False,
    samples: Annotated[
        int, typer.Option("--samples", metavar="N", help="Joints for the band that the scatter of the inputs makes; 0 for none.")
    ] = 0,
    lengths: Annotated[
        int,
        typer.Option(
            "--disbond-lengths",
            metavar="N",
            help="Also disbond.csv and disbond.png: load against the disbond's length, at N of them.",
        ),
    ] = 0,
    least: Annotated[
        float | None, typer.Option("--require-margin", metavar="M", help="Exit 1 where the least margin is below M.")
    ] = None,
    flaws: FlawsFile = None,
    changes: Changes = [],  # noqa: B006 - typer copies it
    materials: MaterialFiles = [],  # noqa: B006
    units: Units = "mm",
) -> int:
    """Say what load breaks a joint, how, and with what margin: every criterion, which to believe, and why."""
    known_units(units)
    for name, number, most in (("samples", samples, 4096), ("disbond-lengths", lengths, 200)):
        if number < 0 or number == 1 or number > most:
            raise JointError(f"--{name} {number}: must be 0, or from 2 to {most}.")
    if least is not None and not math.isfinite(least):
        raise JointError(f"--require-margin {least}: must be a finite number, such as 0.5.")
    if quick and criterion == "cohesive-zone":
        raise JointError("--criterion cohesive-zone: --quick leaves it out; give one of the two.")
    if lengths and out is None:
        raise JointError("--disbond-lengths writes disbond.csv and disbond.png: give a folder, --out DIR.")
    joint, text = read_prepared(file, changes, materials, flaws)
    if lengths and joint.strength.disbond is None:
        raise JointError("--disbond-lengths needs strength.disbond: where the disbond is; add it to the joint file.")
    if lengths and joint.flaws:
        raise JointError("--disbond-lengths is for a disbond alone: the joint has flaws; see fejoint flaws, or leave them out.")
    if samples and not joint.strength.scatter:
        raise JointError("--samples needs [[strength.scatter]]: what scatters, and how much; add it to the joint file.")
    if out is not None:
        from fejoint.show.files import check_kind

        check_kind(out, "run")
        files_can_be_made(out)
    from fejoint.show.strength_files import strength_data
    from fejoint.show.strength_tables import strength_report
    from fejoint.strength.predict import QUICK, ROUTES, strength_of

    # One criterion's sentence has no use for what takes longest, files and JSON have.
    alone = bool(criterion) and out is None and not as_json
    zone = not quick and (not alone or criterion == "cohesive-zone")
    routes, variants = ROUTES if zone else QUICK, not (quick or alone)
    found = shown(lambda progress: strength_of(joint, routes=routes, variants=variants, finer_path=finer, progress=progress))
    if criterion:
        found.by(criterion)
    data = strength_data(found)
    if samples:
        data["band"] = _band(joint, samples)
    written = _written(found, data, out, text, units) if out is not None else []
    if lengths and out is not None:
        written += _disbond(joint, lengths, out, units)
    if as_json:
        print(json.dumps(data, indent=2, allow_nan=False))
    elif criterion:
        print(_one(found, criterion, units))
    else:
        console().print(strength_report(data, units))
        if written:
            print(f"Written to {out}: {', '.join(path.name for path in written)}")
    margin = found.margin_by(criterion).margin if criterion else found.governing.margin
    if least is not None and not criterion and found.believed is None:
        return said(f"no margin of the bond is known: {found.advice.why}.", 1)
    if least is not None and not margin >= least:
        return said(f"the least margin, {margin:+.3g}, is below the {least:g} required.", 1)
    return 0 if found.result.passed or found.result.limit else 1


def _one(found: Any, key: str, units: str) -> str:
    """Return one criterion's load and margin in a sentence, with its known bias."""
    from fejoint.units import display

    margin = found.margin_by(key)
    capacity = margin.capacity
    load = display(margin.force, "N", units) if found.joint.load.force else f"{margin.factor:.4g} times the load"
    counted = f", knockdowns counted in ({', '.join(k.name for k in margin.knockdowns)})" if margin.knockdowns else ""
    return (
        f"{capacity.name}: {load}{counted}, margin {margin.margin:+.3g}; {margin.mode.name}, {capacity.place}.\n"
        f"Known bias: {capacity.bias}.\nSource: {capacity.source}."
    )


def _written(found: Any, data: dict[str, Any], out: Path, text: str, units: str) -> list[Path]:
    """Write the prediction, and the run that belongs to it, all or nothing."""
    from fejoint.show.files import write_files, write_run, write_text
    from fejoint.show.strength_files import FILE, strength_csv
    from fejoint.show.strength_plots import strength_figure

    figure = strength_figure(data, units)
    if found.joint.analysis.nonlinear:  # of which the prediction has followed the path farther than the joint's load
        run = write_run(solved_into(found.joint, out, False), out, text)
    else:
        run = write_run(found.result, out, text)
    writers: dict[str, Any] = {
        FILE: lambda path: write_text(path, json.dumps(data, indent=2, allow_nan=False) + "\n"),
        "strength.csv": lambda path: write_text(path, strength_csv(data)),
        "strength.png": lambda path: figure.savefig(path, format="png"),
    }
    return run + write_files(out, writers)


def _band(joint: Any, samples: int) -> dict[str, Any]:
    """Return the band that the scatter of the inputs makes of the load, as plain data."""
    from fejoint.study.scatter import load_band

    def work(say: Any) -> Any:
        told = None if say is None else lambda p: say(f"band, joint {p.finished} of {p.total}")
        return load_band(joint, samples, progress=told)

    found: dict[str, Any] = shown(work).data()
    return found


def _disbond(joint: Any, number: int, out: Path, units: str) -> list[Path]:
    """Write load against the disbond's length: a table and a figure."""
    import numpy as np

    from fejoint.joint.disbond import room
    from fejoint.show.files import csv_text, write_files, write_text
    from fejoint.show.fracture_plots import disbond_figure
    from fejoint.strength.fracture import load_against_length

    disbond = joint.strength.disbond
    least, most = room(disbond, joint)
    bond, first = disbond.bond(joint), max(least, 0.02 * most)
    whole = bond.end - bond.start
    # Closer and closer towards both ends of the overlap, where the load changes fastest.
    ratios = np.geomspace(first / (whole - first), most / (whole - most), number)
    lengths = np.clip(whole * ratios / (1 + ratios), first, most).tolist()
    found = shown(lambda say: load_against_length(joint, lengths, disbond.end, disbond.place, disbond.bondline, progress=say))
    figure = disbond_figure(found, units)
    rows = zip(found.lengths, found.force, found.factor, found.opening, found.shear, found.total, found.stable, strict=True)
    head = ["length_mm", "force_N", "share_of_load", "G_I_N_per_mm", "G_II_N_per_mm", "G_N_per_mm", "stable"]
    text = csv_text([head, *([*map(float, row[:-1]), bool(row[-1])] for row in rows)])
    return write_files(
        out,
        {"disbond.csv": lambda path: write_text(path, text), "disbond.png": lambda path: figure.savefig(path, format="png")},
    )
