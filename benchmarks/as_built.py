"""Theories against the section as it is built: how peak shear and peel of finite elements compare over some thirty laps.

    python -m benchmarks.as_built [--out DIR]

Single laps of 1.6 mm aluminium on 1.6 to 4.8 mm, 0.2 mm of adhesive of 0.1 to
5 GPa, overlaps of 4 to 60 times the thinner sheet, under 100 N/mm between
clamped ends. Printed: finite elements over theory, above 1 where the theory
is too low. With --out also as_built.csv and as_built.png. Nothing is asserted
here; tests/bondline/test_comparison.py holds the bounds that follow from what
the theories leave out.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

import argparse
import csv
import io
import math
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from fejoint import Adherend, Adhesive, Comparison, Isotropic, Joint, Load, SingleLap, compare

ALUMINIUM = Isotropic(elastic_modulus=72_000, poisson_ratio=0.33)
THICKNESS = 1.6  # mm, of the thinner sheet
OVERLAPS = (4, 8, 15, 30, 60)  # over the thickness
MODULI = (0.1, 0.5, 2.0, 5.0)  # GPa
RATIOS = (1.0, 1.5, 2.0, 3.0)  # thickness of the upper sheet over that of the lower
MIDDLE = 15  # overlap of the laps with unlike sheets
# Theories shown, with their look: dash and lightness both differ.
SHOWN = {
    "Volkersen": {"color": "#8a9199", "linestyle": (0, (10, 2, 1.2, 2, 1.2, 2)), "marker": "s"},
    "Tsai-Oplinger-Morton": {"color": "#1d2429", "linestyle": (0, (1.2, 1.6)), "marker": "x"},
    "Goland-Reissner, its own edge moment": {"color": "#4f9a94", "linestyle": (0, (6, 2, 1.2, 2)), "marker": "^"},
    "Goland-Reissner, edge moment of FE": {"color": "#8c6bb1", "linestyle": (0, (3, 1.5)), "marker": "v"},
    "Two beams and a layer, edge moment of FE": {"color": "#b8500f", "linestyle": "-", "marker": "o"},
}
SHORT = {
    "Volkersen": "Volk.",
    "Tsai-Oplinger-Morton": "T-O-M",
    "Goland-Reissner, its own edge moment": "G-R own",
    "Goland-Reissner, edge moment of FE": "G-R FE",
    "Two beams and a layer, edge moment of FE": "beams FE",
}


@dataclass(frozen=True)
class Point:
    """One lap of the study, solved and compared."""

    overlap: float
    modulus: float
    ratio: float
    found: Comparison

    def over(self, theory: str, stress: str) -> float:
        """Return finite elements over a theory; NaN where it does not give the stress, or refused."""
        row = next((row for row in self.found.rows if row.name == theory), None)
        beside = getattr(row, stress) if row is not None else None
        return math.nan if beside is None else beside.ratio


def lap(overlap: float, modulus: float, ratio: float = 1.0) -> Joint:
    """Return a lap by its overlap over the thickness, the adhesive's modulus in GPa and the ratio of the thicknesses."""
    lower, upper = (Adherend(material=ALUMINIUM, thickness=THICKNESS * r, free_length=50) for r in (1.0, ratio))
    return Joint(
        geometry=SingleLap(width=25, overlap_length=overlap * THICKNESS, bondline_thickness=0.2, lower=lower, upper=upper),
        adhesive=Adhesive(elastic_modulus=1000 * modulus, poisson_ratio=0.35),
        load=Load(force=2500),
    )


def cases() -> list[tuple[float, float, float]]:
    """Return overlap, modulus and ratio of every lap: all overlaps with like sheets, all ratios at the middle overlap."""
    like = [(overlap, modulus, 1.0) for modulus in MODULI for overlap in OVERLAPS]
    return like + [(MIDDLE, modulus, ratio) for modulus in MODULI for ratio in RATIOS[1:]]


def study() -> Iterator[Point]:
    """Solve and compare every lap."""
    for overlap, modulus, ratio in cases():
        yield Point(overlap, modulus, ratio, compare(lap(overlap, modulus, ratio)))


def rows(points: list[Point]) -> list[list[str]]:
    """Return the table, its head first: the lap, peaks of finite elements, validity, ratios."""
    head = ["overlap/t", "E_a GPa", "t2/t1", "t_a E/(t E_a)", "FE shear MPa", "FE peel MPa"]
    head += [f"shear {SHORT[name]}" for name in SHOWN]
    head += [f"peel {SHORT[name]}" for name in SHOWN if "Goland" in name or "beams" in name]
    table = [head]
    for point in points:
        result = point.found.result
        cells = [f"{point.overlap:g}", f"{point.modulus:g}", f"{point.ratio:g}", f"{point.found.validity.peel_flexibility:.2g}"]
        cells += [f"{result.peak_shear[0].value:.2f}", f"{result.peak_peel[0].value:.2f}"]
        for stress in ("shear", "peel"):
            for name in SHOWN if stress == "shear" else [n for n in SHOWN if "Goland" in n or "beams" in n]:
                value = point.over(name, stress)
                cells.append("-" if math.isnan(value) else f"{value:.3f}")
        table.append(cells)
    return table


def figure(points: list[Point]):
    """Return the ratios over the overlap and over the ratio of the thicknesses, a column an adhesive."""
    from fejoint.show.pen import drawing_style

    with drawing_style():
        from matplotlib.figure import Figure

        drawn = Figure(figsize=(14, 13), layout="constrained")
        drawn.suptitle("Finite elements over theory, aluminium single laps: above 1 the theory is too low", x=0.01, ha="left")
        top, bottom = drawn.subfigures(2, 1)
        for part, against, title in (
            (top, "overlap", f"like sheets of {THICKNESS:g} mm, against overlap / thickness"),
            (bottom, "ratio", f"overlap {MIDDLE:g} t, against the upper sheet's thickness over the lower's"),
        ):
            part.suptitle(title, x=0.01, ha="left", fontsize="medium")
            grid = part.subplots(2, len(MODULI), sharex=True, sharey="row")
            for line, stress in zip(grid, ("shear", "peel"), strict=True):
                for axes, modulus in zip(line, MODULI, strict=True):
                    taken = [
                        p
                        for p in points
                        if p.modulus == modulus and (p.ratio == 1 if against == "overlap" else p.overlap == MIDDLE)
                    ]
                    draw(axes, sorted(taken, key=lambda p: getattr(p, against)), against, stress)
                    if stress == "shear":
                        axes.set_title(f"adhesive of {modulus:g} GPa", fontsize="medium")
                line[0].set_ylabel(f"peak {stress}, FE over theory")
        handles, labels = top.axes[0].get_legend_handles_labels()
        drawn.legend(handles, labels, loc="outside lower center", ncols=3)
        return drawn


def draw(axes, points: list[Point], against: str, stress: str) -> None:
    axes.axhspan(0.9, 1.1, color="#eef1f3", zorder=0)
    axes.axhline(1.0, color="#1d2429", linewidth=0.9, zorder=1)
    x = [getattr(p, against) for p in points]
    for name, look in SHOWN.items():
        axes.plot(x, [p.over(name, stress) for p in points], label=name, markersize=5, linewidth=1.6, **look)
    if against == "overlap":
        axes.set_xscale("log")
        axes.minorticks_off()
    axes.set_xticks(
        OVERLAPS if against == "overlap" else RATIOS, [f"{v:g}" for v in (OVERLAPS if against == "overlap" else RATIOS)]
    )


def main() -> int:
    """Print the table; write table and figure."""
    parser = argparse.ArgumentParser(description="Finite elements over theory for some thirty single laps.")
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder for as_built.csv and as_built.png")
    out = parser.parse_args().out
    start = time.perf_counter()
    points = list(study())
    table = rows(points)
    widths = [max(len(line[i]) for line in table) for i in range(len(table[0]))]
    for line in table:
        print("  ".join(cell.rjust(width) for cell, width in zip(line, widths, strict=True)))
    missed = [f"{p.overlap:g}, {p.modulus:g}, {p.ratio:g}" for p in points if not p.found.result.passed]
    print(f"\n{len(points)} laps, {time.perf_counter() - start:.0f} s; self-checks missed: {'; '.join(missed) or 'none'}")
    if out is not None:
        from fejoint.show.files import write_files

        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows(table)
        drawn = figure(points)
        write_files(
            out,
            {
                "as_built.csv": lambda path: path.write_text(text.getvalue(), encoding="utf-8"),
                "as_built.png": lambda path: drawn.savefig(path, format="png"),
            },
        )
        print(f"Written to {out}: as_built.csv, as_built.png")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
