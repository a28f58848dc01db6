"""The command that shows what there is: invented scenarios, solved and drawn, and the whole job on one of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fejoint.cli.solving import code_of, solved
from fejoint.cli.terminal import Units, console, known_units, said
from fejoint.cli.whole_job import whole_job
from fejoint.errors import FejointError, JointError

if TYPE_CHECKING:
    from fejoint.mechanics.driver import Result

__all__ = ["DEMOS", "demo"]

DEMOS = ("door-sill", "floor-strap", "roof-winter", "sill-step", "roof-rib", "roof-hanger", "floor-splice", "sill-overload")


def demo(
    name: Annotated[str, typer.Argument(metavar="NAME", help=f"One of {', '.join(DEMOS)}.")] = DEMOS[0],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for files and pictures; fejoint-demo/NAME unless given.")
    ] = None,
    whole: Annotated[
        bool, typer.Option("--whole-job", help="The door sill from the process check to the coupon: every command in turn.")
    ] = False,
    units: Units = "mm",
) -> int:
    """Solve a shipped, invented scenario of a cable-car cabin: tables and pictures."""
    from importlib import resources

    from fejoint.joint.file import joint_from_text

    known_units(units)
    if whole:
        if name != DEMOS[0] or units != "mm":
            raise JointError(f"--whole-job goes with the {DEMOS[0]} alone, in mm; leave out the rest.")
        from fejoint.cli import run

        return whole_job(Path("fejoint-demo") / "whole-job" if out is None else out, run)
    if name not in DEMOS:
        raise JointError(f"{name}: no such demo; known: {', '.join(DEMOS)}.")
    out = Path("fejoint-demo") / name if out is None else out
    text = resources.files("fejoint.demo").joinpath(f"{name}.toml").read_text(encoding="utf-8")
    result = solved(joint_from_text(text, name=f"{name}.toml"))
    from fejoint.show.files import write_run
    from fejoint.show.tables import result_report

    files = write_run(result, out, text)
    console().print(result_report(result, units))
    files += pictures(result, out)
    print("Written:")
    for path in files:
        print(f"  {path}")
    return code_of(result)


def pictures(result: Result, folder: Path) -> list[Path]:
    """Write the pictures that this machine can make; say in one sentence what the others need."""
    made: list[Path] = []

    def curves() -> list[Path]:
        from fejoint.show import drawing, mesh, plots
        from fejoint.show.path_rows import path_rows

        figures = {
            "bondline.png": plots.bondline_figure(result, plots.main_theories(result)),
            "section.png": drawing.section_figure(result.joint),
            "mesh.png": mesh.mesh_figure(result),
        }
        if result.path:
            from fejoint.show import path_plots

            figures["path.png"] = path_plots.path_figure(result)
            figures["bondline-steps.png"] = path_plots.bondline_steps_figure(result)
            if any(row["edge_moment_factor_left"] is not None for row in path_rows(result)):
                figures["edge-moment.png"] = path_plots.edge_moment_figure(result)
            if result.joint.yielding():
                figures["plastic-zone.png"] = path_plots.plastic_zone_figure(result)
        return [plots.save_figure(figure, folder / name) for name, figure in figures.items()]

    def solid() -> list[Path]:
        from fejoint.show.space.view import view_png

        view_png(folder, folder / "view.png")
        view_png(folder, folder / "view-end.png", end="left")
        return [folder / "view.png", folder / "view-end.png"]

    for make in (curves, solid):
        try:
            made += make()
        except FejointError as error:
            said(f"pictures left out: {error}", 0)
    return made
