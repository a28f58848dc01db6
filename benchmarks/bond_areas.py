"""What bonded area a small and a large bond need: 250 N within seconds, and 200 kN of structural shear.

    python -m benchmarks.bond_areas [--out DIR]

Two loads that bonds are expected to carry (common practice, no source): a
small fast-setting bond that holds 250 N in shear seconds after it is closed,
and a large structural bond that takes 200 kN to shear. Printed for the
library's adhesives: the area whose mean shear stress is the adhesive's shear
yield stress or its strength, the edge of a square of that area, and, of the
large one, how much of the load single laps of 1.6 and 3 mm aluminium pass on
before they yield. With --out also bond_areas.md.

A mean stress is no peak stress. Where the ends of an overlap carry more than
its middle, a layer of little ductility parts at less than these areas promise;
they are the least that could do. Nothing is asserted here.
"""

from __future__ import annotations

import argparse
import math
import sys
from dataclasses import dataclass
from pathlib import Path

from fejoint import Adhesive, Isotropic
from fejoint.joint.library import named, shipped

SMALL, LARGE = 250.0, 200e3  # N: common practice, no source
METAL = "aluminium 6082-T6"
THICKNESSES = (1.6, 3.0)  # mm
LIMITS = {"yield": "shear_yield", "strength": "shear_strength"}
MARK = "Loads of 250 N and 200 kN: common practice, no source."


@dataclass(frozen=True)
class Area:
    """The bonded area that a load needs where its mean shear stress is a limit of the adhesive.

    Attributes
    ----------
    adhesive, limit : str
        Name in the library; ``"yield"`` or ``"strength"``.
    load : float, N
    stress : float, MPa
        The mean shear stress.
    source : str
        Where that figure comes from, with its mark.
    """

    adhesive: str
    limit: str
    load: float
    stress: float
    source: str

    @property
    def area(self) -> float:
        """Bonded area, mm^2."""
        return self.load / self.stress

    @property
    def edge(self) -> float:
        """Edge of a square bond of this area, mm."""
        return math.sqrt(self.area)


@dataclass(frozen=True)
class Passed:
    """What a single lap of sheets of one thickness passes on before they yield.

    Mean stress of the sheet's section alone: the bending of a single lap,
    which comes on top, lowers the load further.

    Attributes
    ----------
    thickness : float, mm
    yield_stress : float, MPa
    """

    thickness: float
    yield_stress: float

    @property
    def line_load(self) -> float:
        """Force per width at which the section yields, N/mm."""
        return self.yield_stress * self.thickness

    def most(self, width: float) -> float:
        """Return the force at which sheets of a width yield, N."""
        return self.line_load * width

    def width(self, load: float) -> float:
        """Return the width that sheets need to carry a load without yielding, mm."""
        return load / self.line_load

    def overlap(self, stress: float) -> float:
        """Return the overlap at which the bond's mean shear stress is `stress` (MPa) when the sheets yield, mm."""
        return self.line_load / stress


def areas(load: float) -> list[Area]:
    """Return the areas that a load needs with each of the library's adhesives, by each limit."""
    found = []
    for name in shipped()["adhesive"]:
        adhesive = Adhesive(material=name)
        for limit, key in LIMITS.items():
            found.append(Area(name, limit, load, getattr(adhesive, key), adhesive.source(key)))
    return found


def sheets() -> list[Passed]:
    """Return what sheets of aluminium pass on, by thickness."""
    metal = Isotropic(**named("adherend", METAL, None))
    return [Passed(t, metal.tensile_yield) for t in THICKNESSES]


def small_rows() -> list[list[str]]:
    """Return the table of the small bond, its head first."""
    table = [["adhesive", "shear limit", "mean shear MPa", "area mm^2", "square edge mm"]]
    for a in areas(SMALL):
        table.append([a.adhesive, a.limit, f"{a.stress:g}", f"{a.area:.1f}", f"{a.edge:.2f}"])
    return table


def large_rows() -> list[list[str]]:
    """Return the table of the large bond, its head first: a square bond, and what its sheets pass on at that width."""
    head = ["adhesive", "shear limit", "mean shear MPa", "area cm^2", "square edge mm"]
    head += [f"{t:g} mm sheets that wide yield at kN" for t in THICKNESSES]
    head += [f"overlap mm for {t:g} mm sheets" for t in THICKNESSES]
    table = [head]
    for a in areas(LARGE):
        cells = [a.adhesive, a.limit, f"{a.stress:g}", f"{a.area / 100:.1f}", f"{a.edge:.1f}"]
        cells += [f"{sheet.most(a.edge) / 1000:.1f}" for sheet in sheets()]
        cells += [f"{sheet.overlap(a.stress):.1f}" for sheet in sheets()]
        table.append(cells)
    return table


def words() -> list[str]:
    """Return what the tables say, an item a list entry."""
    small, large, metal = areas(SMALL), areas(LARGE), sheets()
    wide = ", or ".join(f"{sheet.width(LARGE):.0f} mm wide at {sheet.thickness:g} mm" for sheet in metal)
    square = [max(sheet.most(a.edge) for sheet in metal) for a in large]
    sooner = sum(most < LARGE for most in square)
    return [
        f"250 N need {min(a.area for a in small):.0f} to {max(a.area for a in small):.0f} mm^2: a square of "
        f"{min(a.edge for a in small):.1f} to {max(a.edge for a in small):.1f} mm. None of these adhesives sets within seconds, "
        "and one that does has not its full strength by then; its own figure at that time takes the place of these.",
        f"200 kN need {min(a.area for a in large) / 100:.0f} to {max(a.area for a in large) / 100:.0f} cm^2.",
        f"To pass 200 kN on without yielding, sheets of {METAL} (yield {metal[0].yield_stress:g} MPa) must be {wide}. "
        f"As wide as a square bond they yield at {max(square) / 1000:.0f} kN at most: in {sooner} of {len(large)} rows before "
        "the bond is at its limit, so that such a bond is made wide and short, or holds thicker parts.",
        "Last columns: the overlap at which the sheets yield just when the bond's mean shear stress is at its limit; a longer "
        "overlap carries no more.",
        "These are mean stresses. The ends of an overlap carry more than its middle, and a layer of little ductility parts "
        "before the mean is at its limit; single laps bend, so that their sheets yield sooner. "
        "The least areas that could do, not those to build.",
    ]


def marks() -> list[str]:
    """Return where the figures come from, each once."""
    metal = Isotropic(**named("adherend", METAL, None))
    sources = [f"{METAL}: {metal.source('tensile_yield')}.", *(f"{a.adhesive}: {a.source}." for a in areas(SMALL))]
    return [MARK, *dict.fromkeys(sources)]


def text() -> str:
    """Return tables, words and marks as Markdown that reads well as it stands."""
    parts = ["## A small fast-setting bond: 250 N in shear within seconds", *markdown(small_rows())]
    parts += ["", "## A large structural bond: 200 kN to shear it", *markdown(large_rows()), ""]
    return "\n".join([*parts, *(f"- {line}" for line in words()), "", *(f"- {line}" for line in marks())]) + "\n"


def markdown(rows: list[list[str]], words: int = 2) -> list[str]:
    """Return the lines of a table, its head first; the first columns hold words, the others numbers."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    aligned = [
        [cell.ljust(width) if i < words else cell.rjust(width) for i, (cell, width) in enumerate(zip(row, widths, strict=True))]
        for row in rows
    ]
    rule = ["-" * width if i < words else "-" * (width - 1) + ":" for i, width in enumerate(widths)]
    return ["", *(f"| {' | '.join(cells)} |" for cells in (aligned[0], rule, *aligned[1:]))]


def main() -> int:
    """Print the text; write it."""
    parser = argparse.ArgumentParser(description="What bonded area a small and a large bond need.")
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder for bond_areas.md")
    out = parser.parse_args().out
    print(text(), end="")
    if out is not None:
        from fejoint.show.proof import write_texts

        write_texts(out, {"bond_areas.md": text()})
        print(f"Written to {out}: bond_areas.md")
    return 0


if __name__ == "__main__":
    sys.exit(main())
