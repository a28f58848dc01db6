"""The commands that show a solved joint or a sweep: figures, the 3D view, the report."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.cli.terminal import Units, known_units, shown
from fejoint.errors import JointError

__all__ = ["draw", "report", "view"]

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


def view(
    folder: RunFolder,
    stress: Annotated[str, typer.Option("--stress", metavar="NAME", help="shear, peel, axial, width or von-mises.")] = "peel",
    png: Annotated[Path | None, typer.Option("--png", metavar="FILE", help="Write a picture; needs no display.")] = None,
    end: Annotated[str | None, typer.Option("--end", metavar="SIDE", help="Look at one overlap end: left or right.")] = None,
    scale: Annotated[
        float | None,
        typer.Option("--scale", metavar="FACTOR", help="Draw displacements this many times; one that fits unless given."),
    ] = None,
    stretch: Annotated[
        str | None,
        typer.Option(
            "--stretch", metavar="FACTOR", help="Draw the thickness this many times; fit: as suits (so with --end), else 1."
        ),
    ] = None,
    apart: Annotated[
        float,
        typer.Option("--apart", metavar="FACTOR", help="Move pieces apart, by so many times the thickness of what is shown."),
    ] = 0.0,
    hide: Annotated[
        list[str], typer.Option("--hide", metavar="REGION", help="Leave out a region, such as upper; may be repeated.")
    ] = [],  # noqa: B006 - typer copies it
    adherends: Annotated[
        str, typer.Option("--adherends", metavar="LOOK", help="Show the adherends solid, see-through or hidden.")
    ] = "solid",
    ribbon: Annotated[
        str | None,
        typer.Option("--ribbon", metavar="NAME", help="Stress along the bondlines as ribbons above: shear, peel or both."),
    ] = None,
    points: Annotated[
        list[str],
        typer.Option("--point", metavar="X,Y", help="Print the stress at a place, mm, and label it with --png; may be repeated."),
    ] = [],  # noqa: B006
    limit: Annotated[float | None, typer.Option("--limit", metavar="MPA", help="Stress at which the colours end, MPa.")] = None,
    units: Units = "mm",
) -> int:
    """Show a solved joint in 3D: deformed, coloured by stress; a click tells the stress, --point prints it (no window then)."""
    from fejoint.show.space.pick import read_points, spots
    from fejoint.show.space.solid import read_section
    from fejoint.show.space.view import open_window, view_png

    known_units(units)
    options: dict[str, Any] = {"end": end, "scale": scale, "stretch": _number_or_word(stretch), "apart": apart}
    options |= {"hide": hide, "adherends": adherends, "ribbon": ribbon, "limit": limit}
    if points and png is None:
        plain: dict[str, Any] = {"apart": 0.0, "hide": [], "adherends": "solid"}
        for key, value in options.items():
            if value != plain.get(key):
                raise JointError(f"--{key} only goes with a picture; give --png, or leave --point out.")
    section, places = read_section(folder), read_points(points)
    options |= {"stress": stress, "points": places, "units": units}
    picked = spots(section, places, stress)
    if png is not None:
        view_png(section, png, **options)
    elif not places:
        open_window(section, **options)
    for spot in picked:
        print(" ".join(spot.lines(units)))
    if png is not None:
        print(f"Written: {png}")
    return 0


def _number_or_word(text: str | None) -> float | str | None:
    try:
        return None if text is None else float(text)
    except ValueError:
        return text
