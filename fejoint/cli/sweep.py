"""The commands of many joints: sweep and chart."""

from __future__ import annotations

import contextlib
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fejoint.cli.terminal import Changes, JointFile, MaterialFiles, console, said, shown
from fejoint.errors import FejointError, JointError

if TYPE_CHECKING:
    from fejoint.study.dispatch import Progress

__all__ = ["chart", "sweep"]

A_LINE_EVERY = 60.0  # seconds, where output is no terminal


def sweep(
    file: JointFile,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder for the journal, the table and the pictures.")],
    workers: Annotated[int | None, typer.Option("--workers", metavar="N", help="Processes; one a core unless given.")] = None,
    retry: Annotated[bool, typer.Option("--retry", help="Try failed and lost cases of an earlier run again.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do a sweep of very many cases.")] = False,
    changes: Changes = [],  # noqa: B006 - typer copies it
    materials: MaterialFiles = [],  # noqa: B006
    cluster: Annotated[
        str | None,
        typer.Option("--cluster", metavar="ADDRESS", help="Send the work to a running dask scheduler, such as tcp://host:8786."),
    ] = None,
    tls_ca: Annotated[Path | None, typer.Option("--tls-ca", metavar="FILE", help="Certificate authority of the cluster.")] = None,
    tls_cert: Annotated[Path | None, typer.Option("--tls-cert", metavar="FILE", help="Own certificate for the cluster.")] = None,
    tls_key: Annotated[Path | None, typer.Option("--tls-key", metavar="FILE", help="Key of the own certificate.")] = None,
) -> int:
    """Solve a joint over and over as its [sweep] table says; run again to go on where it was stopped."""
    if cluster is None and (tls_ca or tls_cert or tls_key):
        raise JointError("--tls-ca, --tls-cert and --tls-key only go with --cluster; leave them out.")
    if cluster is not None and workers is not None:
        raise JointError("--workers: a cluster has its own number of workers; leave one of the two out.")
    from fejoint.study.cluster import cluster_executor
    from fejoint.study.engines import stop
    from fejoint.study.sweep import sweep as run_sweep

    executor: Executor | None = None
    last: list[Progress] = []
    before = signal.signal(signal.SIGTERM, _interrupt)  # of a batch system whose time is up
    try:
        if cluster is not None:
            executor = cluster_executor(cluster, tls_ca=tls_ca, tls_cert=tls_cert, tls_key=tls_key)
        with _progress() as show:

            def progress(state: Progress) -> None:
                last[:] = [state]
                show(state)

            table = run_sweep(
                file,
                out=out,
                executor=executor,
                workers=workers,
                retry=retry,
                yes=yes,
                progress=progress,
                changes=changes,
                material_files=materials,
            )
    except KeyboardInterrupt:
        kept = (
            f"{last[0].finished} of {last[0].total} cases are kept in {out}; run the same again to go on"
            if last
            else "nothing begun"
        )
        return said(f"interrupted: {kept}.", 130)
    finally:
        signal.signal(signal.SIGTERM, before)
        if executor is not None:
            stop(executor)
    from fejoint.show.sweeps.table import sweep_report

    console().print(sweep_report(table))
    files = [path.name for path in sorted(out.iterdir()) if path.suffix in (".csv", ".parquet", ".json", ".toml")]
    pictures = shown(lambda say: _pictures(table, out, say))
    print(f"Written to {out}: {', '.join([*files, *pictures])}")
    counts = table["status"].value_counts()
    return 1 if sum(int(counts.get(status, 0)) for status in ("missed", "failed", "lost")) else 0


def _interrupt(*_: object) -> None:
    raise KeyboardInterrupt


def chart(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="Folder that 'fejoint sweep' wrote.")],
    column: Annotated[str, typer.Option("--of", metavar="COLUMN", help="Column of sweep.csv that is shown.")],
    along: Annotated[
        list[str],
        typer.Option("--along", metavar="COLUMN", help="Varied column of the x axis; given twice, of x and y: contours."),
    ] = [],  # noqa: B006
    by: Annotated[
        str | None, typer.Option("--by", metavar="COLUMN", help="A curve for each value of this varied column.")
    ] = None,
    where: Annotated[
        list[str], typer.Option("--where", metavar="COLUMN=VALUE", help="Only cases with this value; may be repeated.")
    ] = [],  # noqa: B006
    limit: Annotated[
        list[str],
        typer.Option(
            "--limit",
            metavar="LIMIT",
            help='Such as "peak_peel_MPa <= 20"; cases beyond it are hatched; the sweep\'s own unless given.',
        ),
    ] = [],  # noqa: B006
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Picture, .png or .svg; both, into DIR, unless given.")
    ] = None,
) -> int:
    """Draw a sweep: curves along one varied key, contours over two, or without --along the keys ranked by effect."""
    from fejoint.show.sweeps.table import chosen, read_study_limits, read_table

    table = chosen(read_table(folder), where)
    figure, name = _figure(folder, table, column, along, by, limit or list(read_study_limits(folder)))
    from fejoint.show.pen import settled
    from fejoint.show.plots import save_figure
    from fejoint.show.sweeps.charts import save_chart, title

    if where:
        title(figure, f"{figure.get_suptitle()}; only {', '.join(where)}")
        figure.set_layout_engine("constrained")
        settled(figure)
        name += "".join(f"-{_in_a_name(condition)}" for condition in where)
    for path in save_chart(figure, folder / name) if out is None else [save_figure(figure, out)]:
        print(f"Written: {path}")
    return 0


def _figure(folder: Path, table: Any, column: str, along: list[str], by: str | None, limits: list[str]) -> tuple[Any, str]:
    from fejoint.environment import require_extra

    require_extra("matplotlib", "plot", "a chart")
    from fejoint.show.sweeps.contours import contour_figure
    from fejoint.show.sweeps.curve_families import bondline_family_figure, family_figure
    from fejoint.show.sweeps.ranking import effects_figure

    if len(along) > 2:
        raise JointError("--along: once for curves, twice for contours, not more.")
    named = _in_a_name("-".join([column, *along, *([by] if by else [])]))
    if column in ("shear", "peel"):
        if len(along) != 0 or by is None:
            raise JointError(
                f"--of {column}: draws the stress along the bondline of kept cases, one curve a case: give --by COLUMN."
            )
        from fejoint.show.sweeps.table import read_curves

        return bondline_family_figure(read_curves(folder), table, by, column), f"bondline-{named}"
    if by is not None and len(along) != 1:
        raise JointError("--by: only goes with one --along.")
    if not along:
        from fejoint.show.sweeps.effects import effects

        return effects_figure(effects(table, column), column), f"effects-{named}"
    if len(along) == 1:
        return family_figure(table, column, along[0], by, limits), f"curves-{named}"
    return contour_figure(table, column, along[0], along[1], limits), f"contours-{named}"


def _in_a_name(text: str) -> str:
    """Return a text as a part of a file's name."""
    return re.sub(r"[^\w.+=-]", "_", text)


def _pictures(table: Any, out: Path, say: Callable[[str], None] | None) -> list[str]:
    """Draw what suits the sweep, of its first columns; say in one sentence what cannot be drawn."""
    if say is not None:
        say("drawing")
    try:
        from fejoint.environment import require_extra

        require_extra("matplotlib", "plot", "a chart")
        from fejoint.show.sweeps.charts import save_chart
        from fejoint.show.sweeps.overview import KINDS, overview
        from fejoint.show.sweeps.table import read_study_limits

        for name in {f"{kind}-{column}.{ending}" for kind in KINDS for column in table.columns for ending in ("png", "svg")}:
            (out / name).unlink(missing_ok=True)  # of an earlier run, with other values
        figures = overview(table, read_study_limits(out))
        return [path.name for name, figure in figures for path in save_chart(figure, out / name)]
    except FejointError as error:
        said(f"pictures left out: {error}", 0)
        return []


@contextlib.contextmanager
def _progress() -> Iterator[Callable[[Progress], None]]:
    """Give what shows progress on standard error: a bar on a terminal, else a line a minute."""
    if not sys.stderr.isatty():
        yield _lines()
        return
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bar

    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[said]}"),
        TimeElapsedColumn(),
    )
    with Bar(*columns, console=console(stderr=True), transient=True) as bar:
        task = bar.add_task("sweep", total=None, said="reading")
        yield lambda state: bar.update(task, total=state.total, completed=state.finished, said=_said_of(state))


def _lines() -> Callable[[Progress], None]:
    told = time.monotonic()

    def show(state: Progress) -> None:
        nonlocal told
        if time.monotonic() - told >= A_LINE_EVERY:
            told = time.monotonic()
            print(f"fejoint: {state.finished} of {state.total} cases, {_said_of(state)}", file=sys.stderr, flush=True)

    return show


def _said_of(state: Progress) -> str:
    parts = [f"{state.rate:.3g} a second" if state.rate else "starting workers"]
    if state.left == state.left and state.finished < state.total:
        parts.append(f"{_clock(state.left)} left")
    return ", ".join([*parts, *([f"{state.failed} failed"] if state.failed else [])])


def _clock(seconds: float) -> str:
    minutes, seconds = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"
