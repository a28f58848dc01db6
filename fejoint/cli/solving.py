"""Solving from the command line: with progress, along a load path into its folder, and the exit code of what came out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from fejoint.cli.terminal import said, shown

if TYPE_CHECKING:
    from fejoint.mechanics.driver import Result

__all__ = ["code_of", "solved", "solved_into"]


def solved(joint: Any) -> Result:
    """Solve a joint, showing its progress on a terminal."""
    from fejoint.mechanics.driver import solve as solve_joint

    result: Result = shown(lambda progress: solve_joint(joint, progress=progress))
    return result


def code_of(result: Any) -> int:
    """Return the exit code of a solved joint; say why its load could not be reached, where it was not."""
    if result.limit:
        return said(f"{result.limit}.", 3)
    return 0 if result.passed else 1


def solved_into(joint: Any, folder: Path, afresh: bool) -> Result:
    """Solve a joint along its load's path, every increment written as soon as it is finished; go on where there are some."""
    from fejoint.mechanics.driver import solve as solve_joint
    from fejoint.show.path_files import PathWriter

    writer = PathWriter(joint, folder, afresh)
    if writer.start:
        said(f"{folder}: going on behind increment {len(writer.start)}; --afresh starts over.", 0)
    try:
        found: Result = shown(lambda progress: solve_joint(joint, progress, None, writer.record, writer.start))
    except KeyboardInterrupt:
        if not writer.written:
            raise
        n = writer.written
        kept = f"increment 1 is in {folder}" if n == 1 else f"increments 1 to {n} are in {folder}"
        raise typer.Exit(said(f"interrupted; {kept}, the same command goes on behind the last.", 130)) from None
    return found
