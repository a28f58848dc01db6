"""The command that makes an adhesive of test curves."""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Annotated, Any

import typer

from fejoint.cli.terminal import Units, known_units, said
from fejoint.errors import JointError

__all__ = ["fit"]

COLUMNS = ("strain", "stress_MPa")
MOST_BYTES = 20_000_000  # of a test curve: more is none
SURFACES, FORMS = ("paraboloid", "cone", "von-mises"), ("saturating", "table")


def fit(
    tension: Annotated[
        Path, typer.Argument(metavar="TENSION.csv", help="Bulk tensile curve: a table with columns strain and stress_MPa.")
    ],
    shear: Annotated[
        Path | None,
        typer.Argument(metavar="SHEAR.csv", help="Thick-adherend shear curve: engineering shear strain and shear stress."),
    ] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="DIR", help="Folder for adhesive.toml and fit.png.")] = None,
    surface: Annotated[str, typer.Option("--surface", metavar="NAME", help=f"Yield surface: {', '.join(SURFACES)}.")] = SURFACES[
        0
    ],
    form: Annotated[str, typer.Option("--form", metavar="NAME", help=f"Hardening curve: {', '.join(FORMS)}.")] = FORMS[0],
    poisson_ratio: Annotated[
        float | None,
        typer.Option("--poisson-ratio", metavar="NUMBER", help="Poisson's ratio; follows from both curves unless given."),
    ] = None,
    plastic_poisson_ratio: Annotated[
        float, typer.Option("--plastic-poisson-ratio", metavar="NUMBER", help="Poisson's ratio of plastic strain under tension.")
    ] = 0.5,
    true: Annotated[
        bool, typer.Option("--true", help="The tensile curve holds true stress and logarithmic strain, not engineering ones.")
    ] = False,
    units: Units = "mm",
) -> int:
    """Fit an adhesive that yields to its test curves: prints its table for the joint file."""
    from fejoint.joint.fitting import fitted

    known_units(units)
    for option, value, known in (("--surface", surface, SURFACES), ("--form", form, FORMS)):
        if value not in known:
            raise JointError(f"{option} {value}: must be one of {', '.join(known)}.")
    if shear is None and poisson_ratio is None:
        raise JointError("a tensile curve alone does not tell Poisson's ratio; give --poisson-ratio, or a shear curve.")
    found = fitted(
        _curve(tension),
        None if shear is None else _curve(shear),
        measure="true" if true else "engineering",
        surface=surface,  # type: ignore[arg-type]
        form=form,  # type: ignore[arg-type]
        poisson_ratio=poisson_ratio,
        plastic_poisson_ratio=plastic_poisson_ratio,
    )
    files = " and ".join(path.name for path in (tension, shear) if path is not None)
    text = found.toml(f"fitted to {files}")
    if out is not None:  # what would stop the picture in the end stops all now
        from fejoint.show.files import write_files, write_text
        from fejoint.show.fit_plots import fit_figure
        from fejoint.show.plots import save_figure

        figure = fit_figure(found, units)
        write_files(out, {"adhesive.toml": lambda path: write_text(path, text)})
        save_figure(figure, out / "fit.png")
    print(text, end="")
    for note in found.notes:
        said(note, 0)
    told = [("tension", found.tension)] + ([("shear", found.shear)] if found.shear is not None else [])
    said(
        f"left over (root mean square, of the largest stress): {', '.join(f'{n} {100 * c.residual:.2g} %' for n, c in told)}.", 0
    )
    if out is not None:
        said(f"written to {out}: adhesive.toml, fit.png", 0)
    return 0


def _curve(path: Path) -> tuple[list[float], list[float]]:
    """Return strains and stresses (MPa) of a test curve's file.

    Raises
    ------
    JointError
        It cannot be read, or is no table of two columns of numbers: says where.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise JointError(f"{path}: is too large for a test curve; give a table of strain and stress_MPa.")
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows: list[list[str]] = [row for row in csv.reader(file) if any(cell.strip() for cell in row)]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        reason = getattr(error, "strerror", None) or ("no UTF-8 text" if isinstance(error, UnicodeDecodeError) else str(error))
        raise JointError(f"{path}: cannot be read ({reason.lower()}).") from None
    head = [cell.strip() for cell in rows[0]] if rows else []
    missing = [name for name in COLUMNS if head.count(name) != 1]
    if missing:
        raise JointError(
            f"{path}: needs a first line with the columns {' and '.join(COLUMNS)}, once each; there is no {missing[0]}."
        )
    places = [head.index(name) for name in COLUMNS]
    found: list[list[float]] = []
    for number, row in enumerate(rows[1:], start=1):
        try:
            found.append([_number(row[place]) for place in places])
        except (ValueError, IndexError):
            cells: Any = ", ".join(row)[:40]
            raise JointError(f'{path}: point {number} ("{cells}") must be two numbers, strain and stress in MPa.') from None
    return [row[0] for row in found], [row[1] for row in found]


def _number(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(text)
    return value
