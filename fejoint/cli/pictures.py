"""The commands that show a solved joint or a sweep: figures and the report."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.cli.terminal import Units, known_units, shown
from fejoint.errors import JointError

__all__ = ["draw", "report"]

FIGURES = ("bondline", "section", "mesh")

RunFolder = Annotated[Path, typer.Argument(metavar="DIR", help="Folder that 'fejoint solve --out' wrote.")]


def draw(
    folder: RunFolder,
    what: Annotated[
        str | None, typer.Option("--what", metavar="FIGURE", help=f"One of {', '.join(FIGURES)}; all of them unless given.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Figure, .png, .svg or .pdf; DIR/FIGURE.png unless given.")
    ] = None,
    end: Annotated[
        str, typer.Option("--end", metavar="END", help="Which overlap end the mesh shows near, left or right.")
    ] = "left",
    interfaces: Annotated[bool, typer.Option("--interfaces", help="Draw both interfaces beside the mid-line.")] = False,
    units: Units = "mm",
) -> int:
    """Draw a solved joint: stresses along the bondline with theories, the section with its dimensions, the mesh."""
    known_units(units)
    if what not in (None, *FIGURES):
        raise JointError(f"--what {what}: must be one of {', '.join(FIGURES)}.")
    if end not in ("left", "right"):
        raise JointError(f"--end {end}: must be one of left, right.")
    if out is not None and what is None:
        raise JointError(f"--out: names one figure; say which with --what, one of {', '.join(FIGURES)}.")
    from fejoint.show.plots import save_figure
    from fejoint.show.reading import read_run

    run = read_run(folder)
    for name in FIGURES if what is None else (what,):
        print(f"Written: {save_figure(_figure(name, run, end, interfaces, units), out or folder / f'{name}.png')}")
    return 0


def _figure(name: str, run: Any, end: str, interfaces: bool, units: str) -> Any:
    from fejoint.show import drawing, mesh, plots

    if name == "section":
        return drawing.section_figure(run.joint, units)
    if name == "mesh":
        return mesh.mesh_figure(run, end, units)
    return plots.bondline_figure(run, plots.main_theories(run), units, interfaces)


def report(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder that 'fejoint solve --out' or 'fejoint sweep' wrote.")],
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="The page; DIR/report.html unless given.")] = None,
    units: Units = "mm",
) -> int:
    """Write one HTML file that explains a solved joint or a sweep, and opens anywhere, offline."""
    known_units(units)
    from fejoint.show.report import write_report

    print(f"Written: {shown(lambda progress: write_report(folder, out, units, progress))}")
    return 0
