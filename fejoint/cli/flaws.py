"""The command that says how large a flaw may stay: capacity against its length and place, and what given flaws leave."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.cli.terminal import (
    Changes,
    FlawsFile,
    JointFile,
    MaterialFiles,
    Units,
    answered,
    files_can_be_made,
    known_units,
    read_flaws,
    read_prepared,
    said,
    shown,
)
from fejoint.errors import JointError

__all__ = ["flaws"]

KINDS = ("disbond", "void", "unwetted")


def flaws(
    file: JointFile,
    found: FlawsFile = None,
    kinds: Annotated[
        list[str], typer.Option("--kind", metavar="KIND", help=f"Of the flaw that may stay: {', '.join(KINDS)}; may be repeated.")
    ] = ["disbond"],  # noqa: B006 - typer copies it
    place: Annotated[
        str,
        typer.Option("--place", metavar="PLACE", help="Where in the layer's thickness it lies: middle, lower or upper."),
    ] = "",
    bondline: Annotated[int, typer.Option("--bondline", metavar="N", help="Number of the bondline it lies in.")] = 1,
    lengths: Annotated[int, typer.Option("--lengths", metavar="N", help="Lengths at every place; 0 leaves the curves out.")] = 6,
    places: Annotated[
        int, typer.Option("--places", metavar="N", help="Places evenly along the bondline, from end to end; 1: the middle.")
    ] = 5,
    margin: Annotated[
        float,
        typer.Option("--require-margin", metavar="M", help="Margin that must be left; exit 1 where given flaws leave less."),
    ] = 0.0,
    cohesive: Annotated[
        bool, typer.Option("--cohesive", help="Ask the cohesive zone as well, for every flaw: many times as long.")
    ] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for flaws.json, flaw-capacity.csv and flaw-capacity.png.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print all of it as JSON.")] = False,
    changes: Changes = [],  # noqa: B006
    materials: MaterialFiles = [],  # noqa: B006
    units: Units = "mm",
) -> int:
    """Say how large a flaw may stay: capacity against its length and place; and what given flaws leave of the joint's strength.

    Flaws are those of the joint file and of an inspection's table. Which may stay is decided by the codes that apply and the
    responsible engineer.
    """
    known_units(units)
    _check(kinds, place, lengths, margin)
    joint, text = read_prepared(file, changes, materials)
    inspection = None
    if found is not None:
        joint, text, inspection = read_flaws(joint, text, found)
    files_can_be_made(out)
    from fejoint.mechanics.reuse import Kept
    from fejoint.show.flaw_files import flaw_report_data
    from fejoint.show.flaw_tables import flaw_report
    from fejoint.strength.predict import QUICK, ROUTES, strength_of
    from fejoint.strength.stretches import sound
    from fejoint.study.flaw_capacity import flaw_capacity
    from fejoint.study.flaw_places import planned

    for kind in kinds if lengths else ():  # what would stop the curves in the end stops all now
        planned(joint, kind, _place_of(kind, place), bondline, lengths=lengths, places=places, margin=margin)
    routes, kept = ROUTES if cohesive else QUICK, Kept()

    def work(say: Any) -> Any:
        tell = say or (lambda text: None)
        tell("the joint without flaws")
        without = strength_of(sound(joint), routes=routes, variants=False, progress=say, kept=kept)
        tell("the joint with its flaws")
        with_them = strength_of(joint, routes=routes, variants=False, progress=say, kept=kept) if joint.flaws else None
        keys = {"lengths": lengths, "places": places, "margin": margin, "cohesive": cohesive, "progress": say, "kept": kept}
        curves = [flaw_capacity(joint, kind, _place_of(kind, place), bondline, **keys) for kind in kinds] if lengths else []
        return without, with_them, curves

    without, with_them, curves = shown(work)
    data = flaw_report_data(joint, without, with_them, [curve.data() for curve in curves], inspection)
    written = _written(data, out, text, units) if out is not None else []
    answered(data, lambda: flaw_report(data, units), out, written, as_json)
    left = (with_them or without).governing.margin
    if not left >= margin:
        what = "the flaws leave a margin" if with_them else "even without flaws the margin is"
        return said(f"{what} of {left:+.3g}, below the {margin:g} required.".replace("is of", "is"), 1)
    return 0


# ---- parts ---------------------------------------------------------------


def _check(kinds: list[str], place: str, lengths: int, margin: float) -> None:
    """Refuse options before anything is read or solved."""
    for kind in kinds:
        if kind not in KINDS:
            raise JointError(f"--kind {kind}: must be one of {', '.join(KINDS)}.")
    if place and place not in ("middle", "lower", "upper"):
        raise JointError(f"--place {place}: must be middle, lower or upper.")
    if place and all(kind == "void" for kind in kinds):
        raise JointError("--place only goes with a disbond or an unwetted patch: a void goes through the layer; leave it out.")
    if lengths and not 2 <= lengths <= 50:
        raise JointError(f"--lengths {lengths}: must be 0, or from 2 to 50.")
    if not math.isfinite(margin) or margin <= -1:
        raise JointError(f"--require-margin {margin}: must be a finite number above -1, such as 0.5.")


def _place_of(kind: str, place: str) -> str | None:
    return None if kind == "void" or not place else place


def _written(data: dict[str, Any], out: Path, text: str, units: str) -> list[Path]:
    """Write the files, all or nothing."""
    from fejoint.show.files import write_files, write_text
    from fejoint.show.flaw_files import CAPACITY_CSV, FILE, capacity_csv
    from fejoint.show.flaw_plots import flaw_capacity_figure

    writers: dict[str, Any] = {
        FILE: lambda path: write_text(path, json.dumps(data, indent=2, allow_nan=False) + "\n"),
        "joint.toml": lambda path: write_text(path, text),
    }
    if data["capacity"]:
        figure = flaw_capacity_figure(data, units)
        writers[CAPACITY_CSV] = lambda path: write_text(path, capacity_csv(data["capacity"]))
        writers["flaw-capacity.png"] = lambda path: figure.savefig(path, format="png")
    return write_files(out, writers)
