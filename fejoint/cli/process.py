"""The command that checks a bonding process."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.cli.terminal import Changes, MaterialFiles, Units, answered, files_can_be_made, known_units, said
from fejoint.errors import JointError

__all__ = ["process"]


def process(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="Joint file (TOML) with [process], or with it alone.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help="Folder for process.json and pictures of wetting, squeeze-out and cure."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print the process as JSON.")] = False,
    require: Annotated[
        bool,
        typer.Option(
            "--require",
            help="Exit 1 where the adhesive does not wet, or the process misses thickness, cure, handling or preparation.",
        ),
    ] = False,
    new: Annotated[
        bool,
        typer.Option("--new", help="Print a commented [process] table with every key, to be put into a joint file, and stop."),
    ] = False,
    changes: Changes = [],  # noqa: B006 - typer copies it
    materials: MaterialFiles = [],  # noqa: B006
    units: Units = "mm",
) -> int:
    """Check a bonding process: wetting, squeeze-out, cure, preparation."""
    known_units(units)
    if new:
        if file is not None or out is not None or as_json or require or changes or materials:
            raise JointError("--new only prints a table to be filled in: give it alone.")
        from fejoint.process.template import template

        print(template(), end="")
        return 0
    if file is None:
        raise JointError("FILE is missing: give a joint file with [process], or --new for a table to be filled in.")
    stated, joint, title = _read(file, changes, materials)
    geometry = None if joint is None else joint.geometry
    if out is not None:  # what would stop the pictures in the end stops them now
        from fejoint.show.files import check_kind

        check_kind(out, "run")
        files_can_be_made(out)
    from fejoint.process.outcome import checked
    from fejoint.show.process.data import process_data
    from fejoint.show.process.tables import process_report

    try:
        found = checked(stated, geometry)
        lines = _preparation(stated, joint)
    except JointError as error:
        raise JointError(f"{file}: {error}") from None
    data = process_data(found, title)
    if lines is not None:
        data["preparation"] = lines
    written = _written(found, data, out, units) if out is not None else []
    answered(data, lambda: process_report(data, units, lines), out, written, as_json)
    if require and found.missed:
        return said(f"{'; '.join(found.missed)}.", 1)
    return 0


def _read(file: Path, changes: list[str], materials: list[Path]) -> tuple[Any, Any, str]:
    """Return the process of a file, its joint (None where it has none), and its title."""
    from fejoint.joint.file import document_from_text, joint_from_document, read_text
    from fejoint.process.description import process_of

    document = document_from_text(read_text(file), changes, [read_text(path) for path in materials], str(file))
    stated = process_of(document, str(file))
    if stated is None:
        raise JointError(f"{file}: has no [process] table; add one, with wetting, squeeze_out, cure or preparation.")
    title = document.get("title", "")
    if "joint" in document:
        joint = joint_from_document(document, str(file))
        return stated, joint, joint.title
    unknown = sorted(set(document) - {"title", "process", "materials"})
    if unknown:
        raise JointError(
            f"{file}: {unknown[0]}: unknown key beside [process] where there is no [joint]; remove it or add a joint."
        )
    if not isinstance(title, str):
        raise JointError(f"{file}: title must be text in quotes.")
    return stated, None, title


def _preparation(stated: Any, joint: Any) -> list[str] | None:
    """Return the lines of the preparation; None where none is stated."""
    if stated.preparation is None:
        return None
    from fejoint.process.surface_verdict import material_names
    from fejoint.show.process.preparation_words import preparation_lines

    return preparation_lines(stated.preparation, None if joint is None else material_names(joint.geometry))


def _written(found: Any, data: dict[str, Any], out: Path, units: str) -> list[Path]:
    """Write process.json and the pictures, all or nothing."""
    from fejoint.show.files import write_files, write_text
    from fejoint.show.process.data import FILE
    from fejoint.show.process.plots import process_figures

    figures = process_figures(found, data["title"], units)
    writers: dict[str, Any] = {FILE: lambda path: write_text(path, json.dumps(data, indent=2, allow_nan=False) + "\n")}
    for name, figure in figures.items():
        writers[name] = lambda path, figure=figure: figure.savefig(path, format="png")
    return write_files(out, writers)
