"""The report: a solved joint or a sweep as one HTML file that opens anywhere and needs nothing else."""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial
from pathlib import Path

from fejoint.errors import JointError, SetupError
from fejoint.units import DISPLAY_SYSTEMS

__all__ = ["MOST_BYTES", "write_report"]

MOST_BYTES = 8_000_000  # of a page: what mail and browsers still take
OF_A_SWEEP = ("sweep.json", "sweep.parquet", "journal.sqlite")
OF_A_RUN = ("summary.json", "section.vtu", "bondline.csv", "adherends.csv")


def write_report(
    folder: str | Path, out: str | Path | None = None, units: str = "mm", progress: Callable[[str], None] | None = None
) -> Path:
    """Write the report of a run or of a sweep: one HTML file, whole or not at all.

    Parameters
    ----------
    folder : path
        What ``fejoint solve --out`` or ``fejoint sweep --out`` wrote.
    out : path, optional
        The file, ``.html``; by default ``report.html`` in the folder.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.
    progress : callable, optional
        Called with a line of text before each stage.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    JointError
        No path, no such folder, one that holds neither a run nor a sweep, a missing file, or another display system.
    SetupError
        A file is damaged or of another version, an extra is missing, the page
        cannot be written or is above `MOST_BYTES`.
    """
    from fejoint.show.files import write_files

    if not isinstance(folder, str | os.PathLike):  # a Result, a table
        raise JointError("write_report: give the folder of a run or a sweep; fejoint.write_run writes that of a result.")
    folder = Path(folder)
    out = folder / "report.html" if out is None else Path(out)
    if out.suffix.lower() != ".html":
        raise SetupError(f"{out}: a report is written as .html; give the file this ending.")
    if units not in DISPLAY_SYSTEMS:
        raise JointError(f'units = "{units}": must be one of {", ".join(DISPLAY_SYSTEMS)}.')
    data = _page(folder, units, progress).encode("utf-8")
    if len(data) > MOST_BYTES:
        raise SetupError(
            f"{folder}: its report would take more than {MOST_BYTES / 1e6:g} MB; open the files of the folder instead."
        )
    return write_files(out.parent, {out.name: partial(_write, data)})[0]


def _page(folder: Path, units: str, progress: Callable[[str], None] | None) -> str:
    """Return the page of a folder, by what it holds."""
    if _holds(folder, OF_A_SWEEP):
        from fejoint.show.report.sweep_page import sweep_page

        return sweep_page(folder, units, progress, MOST_BYTES)
    if _holds(folder, OF_A_RUN):
        from fejoint.show.reading import read_run
        from fejoint.show.report.run_page import run_page

        return run_page(read_run(folder), units, progress, MOST_BYTES)
    what = f"holds neither a run ({OF_A_RUN[0]}) nor a sweep ({OF_A_SWEEP[0]})" if folder.is_dir() else "there is no such folder"
    raise JointError(f"{folder}: {what}; give a folder that fejoint solve --out or fejoint sweep --out wrote.")


def _holds(folder: Path, names: tuple[str, ...]) -> bool:
    """Return whether a folder holds any of some files."""
    try:
        return any((folder / name).is_file() for name in names)
    except OSError as error:
        raise SetupError(f"{folder}: cannot be read ({(error.strerror or str(error)).lower()}).") from None


def _write(data: bytes, path: Path) -> None:
    path.write_bytes(data)
