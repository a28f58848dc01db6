"""The commands that show a solved joint or a sweep: figures, the 3D view, the report."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.cli.terminal import Units, known_units, shown
from fejoint.errors import JointError

__all__ = ["draw", "report", "view"]

FIGURES = ("bondline", "section", "mesh")
# Where the joint was solved along its load's path, and where its strength was predicted.
OF_A_PATH = ("path", "bondline-steps", "edge-moment", "plastic-zone", "parting")
OF_STRENGTH = ("strength",)
AT_A_STEP = ("bondline", "plastic-zone")

RunFolder = Annotated[Path, typer.Argument(metavar="DIR", help="Folder that 'fejoint solve --out' wrote.")]


def draw(
    folder: RunFolder,
    what: Annotated[
        str | None,
        typer.Option(
            "--what",
            metavar="FIGURE",
            help=f"One of {', '.join(FIGURES)}; along a load's path also {', '.join(OF_A_PATH)}; of a predicted strength "
            "strength. All there are unless given.",
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Figure, .png, .svg or .pdf; DIR/FIGURE.png unless given.")
    ] = None,
    end: Annotated[
        str, typer.Option("--end", metavar="END", help="Which overlap end the mesh shows near, left or right.")
    ] = "left",
    interfaces: Annotated[bool, typer.Option("--interfaces", help="Draw both interfaces beside the mid-line.")] = False,
    step: Annotated[
        int | None,
        typer.Option(
            "--step", metavar="N", help=f"Increment on the load's path, of {' and '.join(AT_A_STEP)}; the last unless given."
        ),
    ] = None,
    units: Units = "mm",
) -> int:
    """Draw a solved joint: stresses along the bondline, theories, the section with its dimensions, the mesh, the load path."""
    known_units(units)
    known = FIGURES + OF_A_PATH + OF_STRENGTH
    if what not in (None, *known):
        raise JointError(f"--what {what}: must be one of {', '.join(known)}.")
    if step is not None and what is not None and what not in AT_A_STEP:
        raise JointError(f"--step {step}: only goes with --what {' or '.join(AT_A_STEP)}; leave it out.")
    if end not in ("left", "right"):
        raise JointError(f"--end {end}: must be one of left, right.")
    if out is not None and what is None:
        raise JointError(f"--out: names one figure; say which with --what, one of {', '.join(known)}.")
    from fejoint.show.plots import save_figure
    from fejoint.show.reading import read_run

    run = read_run(folder)
    names = (what,) if what is not None else AT_A_STEP if step is not None else known
    for name in names:
        if what is None and not _there(name, run):
            continue
        place = out or folder / (f"{name}.png" if step is None else f"{name}-{step:04d}.png")
        print(f"Written: {save_figure(_figure(name, run, end, interfaces, step, units), place)}")
    return 0


def _there(name: str, run: Any) -> bool:
    """Return whether a run has what a figure shows."""
    if name in FIGURES:
        return True
    if name == "strength":
        return run.strength is not None
    if name == "parting":
        return bool(run.path) and run.joint.analysis.cohesive
    if name == "edge-moment":
        return any(row["edge_moment_factor_left"] is not None for row in run.summary.get("path", []))
    return bool(run.path) and (name != "plastic-zone" or bool(run.joint.yielding()))


def _figure(name: str, run: Any, end: str, interfaces: bool, step: int | None, units: str) -> Any:
    from fejoint.show import drawing, mesh, path_plots, plots

    if name == "strength":
        if run.strength is None:
            why = run.strength_refused or "the folder holds no strength.json; run fejoint strength with --out."
            raise JointError(f"--what strength: {why}")
        from fejoint.show.strength_plots import strength_figure

        return strength_figure(run.strength, units)
    if name == "parting":
        from fejoint.show.cohesive_plots import parting_figure

        return parting_figure(run, units)
    if name == "path":
        return path_plots.path_figure(run, units)
    if name == "bondline-steps":
        return path_plots.bondline_steps_figure(run, None, units)
    if name == "edge-moment":
        return path_plots.edge_moment_figure(run, units)
    if name == "plastic-zone":
        return path_plots.plastic_zone_figure(run, step, units)
    if step is not None:
        run = path_plots.increment_of(run, step)
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
    stress: Annotated[
        str, typer.Option("--stress", metavar="NAME", help="shear, peel, axial, width, von-mises or plastic-strain.")
    ] = "peel",
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
    step: Annotated[
        int | None, typer.Option("--step", metavar="N", help="Increment on the load's path; the end of it unless given.")
    ] = None,
    animate: Annotated[
        Path | None, typer.Option("--animate", metavar="FILE", help="Write a moving picture along the load's path, .gif.")
    ] = None,
    units: Units = "mm",
) -> int:
    """Show a solved joint in 3D: deformed, coloured by stress; a click tells the stress, --point prints it (no window then)."""
    from fejoint.show.space.increments import section_at
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
    if animate is not None and (png is not None or step is not None or points):
        raise JointError("--animate: goes along the whole path and makes one picture; leave --png, --step and --point out.")
    if animate is not None:
        from fejoint.show.space.increments import animate_gif

        print(f"Written: {animate_gif(folder, animate, stress=stress, units=units, **options)}")
        return 0
    section, places = read_section(folder) if step is None else section_at(folder, step), read_points(points)
    options |= {"stress": stress, "points": places, "units": units}
    picked = spots(section, places, stress)
    if png is not None:
        view_png(section, png, **options)
    elif not places:
        open_window(folder if step is None else section, **options)
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
