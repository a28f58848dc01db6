"""The command that writes the job card of a joint, and lists the routes of surface preparation."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fejoint.cli.terminal import Changes, MaterialFiles, Units, console, known_units, said
from fejoint.errors import JointError

__all__ = ["job_card"]


def job_card(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="Joint file (TOML) with [process.preparation]; see 'fejoint new'.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="The card, .html; NAME-job-card.html beside the file unless given."),
    ] = None,
    list_routes: Annotated[
        bool, typer.Option("--routes", help="List the routes of surface preparation, with the marks of their figures, and stop.")
    ] = False,
    one_route: Annotated[
        str | None,
        typer.Option("--route", metavar="NAME", help="Show one route in full, every figure with its source, and stop."),
    ] = None,
    changes: Changes = [],  # noqa: B006 - typer copies it
    materials: MaterialFiles = [],  # noqa: B006
    units: Units = "mm",
) -> int:
    """Write the job card of a joint, for print: steps, amounts, checks, boxes to sign. Exit 1 where bonding is forbidden."""
    known_units(units)
    if list_routes or one_route is not None:
        if file is not None or out is not None or (list_routes and one_route is not None):
            raise JointError("--routes and --route only list routes: give one of them alone, without FILE and --out.")
        from fejoint.process.routes import route
        from fejoint.show.process.preparation_words import route_table, routes_table

        console().print(routes_table() if one_route is None else route_table(route(one_route)))
        return 0
    if file is None:
        raise JointError("FILE is missing: give a joint file with [process.preparation], or --routes to list the routes.")
    from fejoint.joint.file import document_from_text, joint_from_document, read_text
    from fejoint.process.description import process_of
    from fejoint.show.process.job_card import write_job_card

    document = document_from_text(read_text(file), changes, [read_text(path) for path in materials], str(file))
    if "joint" not in document:
        raise JointError(
            f"{file}: a job card needs a [joint], whose adherends and areas stand on it; add it (see 'fejoint new')."
        )
    joint = joint_from_document(document, str(file))
    process = process_of(document, str(file))
    if process is None or process.preparation is None:
        raise JointError(
            f"{file}: a job card needs [process.preparation] with a route; add it (fejoint job-card --routes lists the routes)."
        )
    target = out if out is not None else file.with_name(f"{file.stem}-job-card.html")
    try:
        card = write_job_card(joint, process, target, units)
    except JointError as error:
        raise JointError(f"{file}: {error}") from None
    print(f"Written: {card.path}")
    for sentence in card.forbidden:
        said(sentence, 1)
    return 1 if card.forbidden else 0
