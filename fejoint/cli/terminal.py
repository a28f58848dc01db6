"""What the commands share: options, reading a joint file, the console, progress, one sentence."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.errors import JointError, one_line
from fejoint.units import DISPLAY_SYSTEMS

__all__ = [
    "Changes",
    "FlawsFile",
    "JointFile",
    "MaterialFiles",
    "Units",
    "answered",
    "console",
    "files_can_be_made",
    "known_units",
    "read_flaws",
    "read_joint",
    "read_prepared",
    "said",
    "shown",
]

JointFile = Annotated[Path, typer.Argument(metavar="FILE", help="Joint file (TOML); see 'fejoint new'.")]
Changes = Annotated[list[str], typer.Option("--set", metavar="KEY=VALUE", help="Override a key; may be repeated.")]
MaterialFiles = Annotated[
    list[Path], typer.Option("--materials", metavar="FILE", help="File of further materials; may be repeated.")
]
Units = Annotated[
    str, typer.Option("--units", metavar="SYSTEM", help="Units shown: mm (N-mm-MPa), SI (N-m-Pa), inch (lbf-in-psi).")
]
FlawsFile = Annotated[
    Path | None,
    typer.Option(
        "--flaws",
        metavar="CSV",
        help="Inspection results: a flaw a line, columns start_mm, length_mm, kind and, if wanted, place, bondline, width_mm, "
        "note, found_by.",
    ),
]


def read_joint(file: Path, changes: list[str], materials: list[Path], flaws: Path | None = None) -> tuple[Any, str]:
    """Return the joint and the text that makes it again; with the flaws of an inspection's file, saying how they are counted."""
    from fejoint.joint.file import joint_from_text, read_text, with_changes

    text, material_texts = read_text(file), [read_text(path) for path in materials]
    joint = joint_from_text(text, changes, material_texts, str(file))
    text = with_changes(text, changes, material_texts)
    if flaws is None:
        return joint, text
    joint, text, found = read_flaws(joint, text, flaws)
    for sentence in found.said:
        said(f"{sentence}.", 0)
    return joint, text


def read_flaws(joint: Any, text: str, flaws: Path) -> tuple[Any, str, Any]:
    """Return a joint with the flaws of an inspection's file, the text that makes it again, and the inspection."""
    from fejoint.joint.inspection import read_inspection, text_with_flaws, with_flaws

    found = read_inspection(flaws)
    return with_flaws(joint, found), text_with_flaws(text, found), found


def read_prepared(file: Path, changes: list[str], materials: list[Path], flaws: Path | None = None) -> tuple[Any, str]:
    """Return the joint and the text that makes it again, a knockdown that its process states for the surfaces counted in both.

    It is counted once, also where the text is read again.
    """
    joint, text = read_joint(file, changes, materials, flaws)
    import tomllib

    from fejoint.joint.file import with_knockdowns
    from fejoint.process.description import process_of
    from fejoint.process.surface_verdict import material_names, with_surface_knockdown

    process = process_of(tomllib.loads(text), str(file))
    if process is None or process.preparation is None:
        return joint, text
    rules = with_surface_knockdown(joint.strength, process.preparation, material_names(joint.geometry))
    if rules == joint.strength:
        return joint, text
    return joint.replace(strength=rules), with_knockdowns(text, rules)


def shown(work: Callable[[Callable[[str], None] | None], Any]) -> Any:
    """Do what takes time; on a terminal show what it says of its progress."""
    if not sys.stderr.isatty():
        return work(None)
    with console(stderr=True).status("reading") as status:
        return work(status.update)


def files_can_be_made(out: Path | None, page: bool = False) -> None:
    """Refuse now what would stop figures, and a page, in the end."""
    from fejoint.environment import require_extra

    if out is None:
        return
    require_extra("matplotlib", "plot", "--out")
    if page:
        require_extra("jinja2", "report", "--out")


def answered(data: Any, report: Callable[[], Any], out: Path | None, written: list[Path], as_json: bool) -> None:
    """Print what was found: as JSON, or as its report and the files that were written."""
    if as_json:
        print(json.dumps(data, indent=2, allow_nan=False))
        return
    console().print(report())
    if written:
        print(f"Written to {out}: {', '.join(path.name for path in written)}")


def known_units(system: str) -> None:
    """Refuse an unknown display system."""
    if system not in DISPLAY_SYSTEMS:
        raise JointError(f"--units {system}: must be one of {', '.join(DISPLAY_SYSTEMS)}.")


def console(stderr: bool = False) -> Any:
    """Return a console; 120 columns wide where output is no terminal."""
    from rich.console import Console

    wide = None if sys.stdout.isatty() else 120
    return Console(stderr=stderr, highlight=False, width=wide)


def said(sentence: str, code: int) -> int:
    """Say a sentence on standard error and return the exit code."""
    print(f"fejoint: {one_line(sentence)}", file=sys.stderr)
    return code
