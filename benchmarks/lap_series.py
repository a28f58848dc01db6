"""Three series of single laps, an adhesive each: the load by every criterion against the overlap, nothing fitted.

    python -m benchmarks.lap_series [--out DIR] [--large-rotation] [--cohesive]

Aluminium 6082-T651 of 3 mm, 25 mm wide, 0.2 mm of adhesive, overlaps of 12.5
to 50 mm; the library's stiff brittle epoxy, toughened epoxy and flexible
polyurethane. Every figure is from memory (`MARK`), and no measured load stands
here: what is shown is how far the criteria lie apart, and where. Each series
is run with the shear yield stress and with the shear strength as the shear
limit. With --out also lap_series.md, lap_series.csv and lap_series.png.

Linear elasticity and small rotation, about 10 s. --large-rotation follows the
load, which straightens the joint and takes a minute or two; --cohesive adds the
cohesive zone, about a minute a joint. Nothing is asserted here;
tests/scenarios/test_lap_series.py holds what can be known by hand.
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
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchmarks.bond_areas import markdown
from fejoint import Adherend, Adhesive, Isotropic, Joint, Load, SingleLap
from fejoint.joint.description import Analysis
from fejoint.joint.strength import StrengthRules
from fejoint.mechanics.reuse import Kept
from fejoint.strength.capacity import ADHESIVE_MODES, Capacity
from fejoint.strength.predict import QUICK, ROUTES, strength_of

ADHESIVES = ("stiff brittle epoxy", "toughened epoxy", "flexible polyurethane")
OVERLAPS = (12.5, 25.0, 37.5, 50.0)  # mm
LIMITS = ("yield", "strength")
FROM_MEMORY = "from memory: Campilho et al., Int. J. Adhesion Adhes. 44, 2013, 48-56"
MARK = f"All figures and dimensions {FROM_MEMORY}; Poisson's ratio and the free length of 50 mm: typical, no source."
METAL = Isotropic(
    name="aluminium 6082-T651",
    elastic_modulus={"value": "70.07 GPa", "source": FROM_MEMORY},
    poisson_ratio={"value": 0.33, "source": "typical, no source"},
    tensile_yield={"value": "261.67 MPa", "source": FROM_MEMORY},
    tensile_strength={"value": "324 MPa", "source": FROM_MEMORY},
)
WIDTH, THICKNESS, LAYER, FREE = 25.0, 3.0, 0.2, 50.0  # mm
YIELDS = {"adherend-net-yield": "through the thickness", "adherend-hinge": "all through in bending"}


@dataclass(frozen=True)
class Point:
    """One lap with one shear limit.

    Attributes
    ----------
    adhesive, limit : str
        Name in the library; ``"yield"`` or ``"strength"``.
    overlap : float, mm
    loads : dict
        Capacity by key.
    believed : str
        Key of the criterion to believe for the bond.
    """

    adhesive: str
    limit: str
    overlap: float
    loads: dict[str, Capacity]
    believed: str

    def force(self, key: str) -> float:
        """Return the load by a criterion, kN; NaN where it cannot run."""
        return self.loads[key].force / 1000 if key in self.loads else math.nan

    @property
    def bond(self) -> dict[str, Capacity]:
        """Criteria of the bond that gave a load."""
        return {key: c for key, c in self.loads.items() if c.mode in ADHESIVE_MODES and math.isfinite(c.force)}


def lap(adhesive: str, overlap: float, limit: str = "strength", large_rotation: bool = False) -> Joint:
    """Return a lap of the series by its adhesive, overlap (mm) and shear limit."""
    sheet = Adherend(material=METAL, thickness=THICKNESS, free_length=FREE)
    return Joint(
        title=f"{adhesive}, overlap {overlap:g} mm",
        geometry=SingleLap(width=WIDTH, overlap_length=overlap, bondline_thickness=LAYER, lower=sheet, upper=sheet),
        adhesive=Adhesive(material=adhesive),
        load=Load(force=5000),
        analysis=Analysis(large_rotation=large_rotation),
        strength=StrengthRules(shear_limit=limit),
    )


def pair(adhesive: str, overlap: float, routes: Sequence[str] = QUICK, large_rotation: bool = False) -> list[Point]:
    """Return one lap with either shear limit; the cohesive zone, which has a law of its own, is asked once."""
    kept, points = Kept(), []
    law: dict[str, Capacity] = {}
    for limit in reversed(LIMITS):
        asked = [route for route in routes if route != "cohesive" or not law]
        found = strength_of(lap(adhesive, overlap, limit, large_rotation), routes=asked, variants=False, kept=kept)
        loads = {c.key: c for c in found.capacities} | law
        law = {key: c for key, c in loads.items() if c.route == "cohesive"}
        believed = next((key for key, c in law.items() if c.runs), found.believed.key if found.believed else "")
        points.append(Point(adhesive, limit, overlap, loads, believed))
    return points[::-1]


def study(
    adhesives: Iterable[str] = ADHESIVES,
    overlaps: Iterable[float] = OVERLAPS,
    routes: Sequence[str] = QUICK,
    large_rotation: bool = False,
    say: Callable[[str], None] = lambda text: None,
) -> list[Point]:
    """Return every lap of the series, with either shear limit."""
    points: list[Point] = []
    for adhesive in adhesives:
        for overlap in overlaps:
            say(f"{adhesive}, {overlap:g} mm")
            points += pair(adhesive, overlap, routes, large_rotation)
    return points


def of_the_shear_limit(capacity: Capacity) -> bool:
    """Return whether a criterion goes by the shear limit; the cohesive zone goes by the shear strength whatever it is."""
    return capacity.route != "cohesive" and any(key in capacity.figures for key in ("shear_yield", "shear_strength"))


# ---- what the series say ---------------------------------------------------


def series(points: list[Point], adhesive: str, limit: str) -> list[Point]:
    """Return the laps of an adhesive with a shear limit, by overlap."""
    return sorted((p for p in points if (p.adhesive, p.limit) == (adhesive, limit)), key=lambda p: p.overlap)


def criteria(points: list[Point]) -> dict[str, str]:
    """Return the names of all criteria that gave a load somewhere, by key."""
    return {key: c.name for p in points for key, c in p.loads.items() if math.isfinite(c.force)}


def passes(laps: list[Point], key: str, yields: str) -> float:
    """Return the overlap from which a criterion of the bond allows more than the adherend's yield, mm, straight between laps.

    0 where it does from the shortest on, infinite where it does at none. Along a
    load's path a load that is not met lies beyond the others: then nothing is
    interpolated, and the first lap in question is returned.
    """
    above = [_beyond(p.force(key)) - _beyond(p.force(yields)) for p in laps]
    for i, (p, a) in enumerate(zip(laps, above, strict=True)):
        if a >= 0 and i == 0:
            return 0.0
        if a >= 0:
            before, q = above[i - 1], laps[i - 1]
            straight = math.isfinite(before) and math.isfinite(a)
            return q.overlap + (p.overlap - q.overlap) * before / (before - a) if straight else p.overlap
    return math.inf


def _beyond(force: float) -> float:
    return math.inf if math.isnan(force) else force


def head(adhesive: str, overlaps: Iterable[float]) -> list[str]:
    """Return the head of an adhesive's table: the shear limit of every column, as it was used."""
    figures = Adhesive(material=adhesive)
    tau = {"yield": figures.shear_yield, "strength": figures.shear_strength}
    columns = [f"{overlap:g} ({limit} {tau[limit]:g})" for limit in LIMITS for overlap in overlaps]
    return ["load, kN, at an overlap, mm (tau, MPa), by", *columns]


def rows(points: list[Point], adhesive: str) -> list[list[str]]:
    """Return an adhesive's table, its head first: a row a criterion, a column an overlap and shear limit."""
    weak, strong = (series(points, adhesive, limit) for limit in LIMITS)
    table = [head(adhesive, [p.overlap for p in strong])]
    for key, name in criteria([*weak, *strong]).items():
        table.append([name, *(_number(p.force(key)) for p in (*weak, *strong))])
    table.append(["to believe for the bond", *(_number(p.force(p.believed)) for p in (*weak, *strong))])
    return table


def _number(value: float) -> str:
    return f"{value:.2f}" if math.isfinite(value) else "-"


def words(points: list[Point], adhesive: str) -> list[str]:
    """Return what an adhesive's series says, a sentence an item."""
    strong = series(points, adhesive, "strength")
    first, last = strong[0], strong[-1]
    said = []
    for p in (first, last):
        low, high = (pick(p.bond.values(), key=lambda c: c.force) for pick in (min, max))
        said.append(
            f"At {p.overlap:g} mm the bond's criteria lie between {low.force / 1000:.2f} kN ({low.name}) and "
            f"{high.force / 1000:.2f} kN ({high.name}): a factor of {high.force / low.force:.1f}."
        )
    keys = [key for key in first.bond if key in last.bond]
    grown = {key: last.force(key) / first.force(key) for key in keys}
    slow, fast = min(grown, key=grown.__getitem__), max(grown, key=grown.__getitem__)
    names = criteria(strong)
    said.append(
        f"From {first.overlap:g} to {last.overlap:g} mm the load grows by a factor of {grown[slow]:.2f} by the one that grows "
        f"least ({names[slow]}) and of {grown[fast]:.2f} by the one that grows most ({names[fast]})."
    )
    for yields, how in YIELDS.items():
        over = {names[key]: passes(strong, key, yields) for key in keys}
        which = [f"{name} from {f'{at:.1f} mm' if at else 'the shortest'} on" for name, at in over.items() if at < last.overlap]
        by = "; ".join(which) or "no criterion, up to the longest"
        said.append(f"The adherend yields {how} before the bond is at its limit by: {by}.")
    up_to = {names[p.believed]: p.overlap for p in strong if p.believed}
    said.append(f"To believe for the bond: {', then '.join(f'{name} up to {at:g} mm' for name, at in up_to.items())}.")
    return said


def text(points: list[Point], conditions: str) -> str:
    """Return tables, words and marks as Markdown that reads well as it stands."""
    parts = ["# Single laps of 3 mm aluminium: load by each criterion against overlap", "", MARK, conditions]
    parts.append("Nothing is fitted, and no measured load stands here. tau: the shear limit that a column was made with, MPa.")
    for adhesive in dict.fromkeys(p.adhesive for p in points):
        parts += ["", f"## {adhesive}", *markdown(rows(points, adhesive), 1), ""]
        parts += [f"- {line}" for line in words(points, adhesive)]
    return "\n".join(parts) + "\n"


def table(points: list[Point]) -> str:
    """Return all loads as CSV: a row an adhesive and criterion, the shear limit in the columns' names, kN."""
    found = io.StringIO()
    writer = csv.writer(found, lineterminator="\n")
    overlaps = sorted({p.overlap for p in points})
    columns = [f"{overlap:g} mm, tau = shear {limit}, kN" for limit in LIMITS for overlap in overlaps]
    writer.writerow(["adhesive", "criterion", "name", "mode", "looks at tau", *columns, "mark"])
    for adhesive in dict.fromkeys(p.adhesive for p in points):
        laps = {(p.limit, p.overlap): p for p in points if p.adhesive == adhesive}
        for key, name in criteria(list(laps.values())).items():
            of = next(p.loads[key] for p in laps.values())
            looks = of_the_shear_limit(of)
            here = [laps.get((limit, overlap)) for limit in LIMITS for overlap in overlaps]
            forces = [f"{p.force(key):.4f}" if p and math.isfinite(p.force(key)) else "" for p in here]
            writer.writerow([adhesive, key, name, of.mode, "yes" if looks else "no", *forces, FROM_MEMORY])
    return found.getvalue()


# ---- figure ----------------------------------------------------------------

BAND = "#8a9199"
# Lines drawn, with their looks: dash and lightness both differ; the second is drawn thinner for the yield stress.
SHOWN = {
    "shear-point": {"color": "#0b2f52", "marker": "o"},
    "peel-point": {"color": "#4f9a94", "marker": "^"},
    "plateau": {"color": "#b8500f", "marker": "s"},
    "energy-end": {"color": "#8c6bb1", "marker": "D"},
    "cohesive-zone": {"color": "#1d2429", "marker": "P"},
}
METAL_SHOWN = {
    "adherend-face-yield": {"linestyle": (0, (1.2, 1.6))},
    "adherend-hinge": {"linestyle": (0, (6, 2, 1.2, 2))},
    "adherend-net-yield": {"linestyle": "-"},
}


def figure(points: list[Point], conditions: str):
    """Return the loads against overlap, a panel an adhesive; solid with the shear strength, broken with the yield stress."""
    from fejoint.show.pen import drawing_style

    with drawing_style():
        from matplotlib.figure import Figure

        adhesives = list(dict.fromkeys(p.adhesive for p in points))
        drawn = Figure(figsize=(14, 8.2), layout="constrained")
        drawn.suptitle(
            f"Single laps of 3 mm aluminium, 25 mm wide: load by each criterion against overlap, nothing fitted\n"
            f"figures and dimensions {FROM_MEMORY}; nu and free length typical; {conditions.lower().rstrip('.')}",
            x=0.01, ha="left", fontsize="medium",
        )  # fmt: skip
        panels = drawn.subplots(1, len(adhesives), sharey=True, squeeze=False)[0]
        for axes, adhesive in zip(panels, adhesives, strict=True):
            _draw(axes, points, adhesive)
        panels[0].set_ylabel("load, kN")
        handles, labels = panels[0].get_legend_handles_labels()
        drawn.legend(handles, labels, loc="outside lower center", ncols=3)
        return drawn


def _draw(axes, points: list[Point], adhesive: str) -> None:
    """Draw an adhesive's series: the band of all criteria on the stress field, single criteria, the adherend's yield."""
    weak, strong = (series(points, adhesive, limit) for limit in LIMITS)
    names, x = criteria(points), [p.overlap for p in strong]
    stress = [[c.force / 1000 for c in p.bond.values() if c.route == "stress"] for p in strong]
    axes.fill_between(
        x, [min(f) for f in stress], [max(f) for f in stress], color=BAND, alpha=0.25, linewidth=0,
        label="all criteria on the stress field, tau = shear strength",
    )  # fmt: skip
    for key, look in SHOWN.items():
        if key not in names:
            continue
        looks = of_the_shear_limit(strong[0].loads[key])
        words = ", tau = shear strength" if looks else ""
        axes.plot(x, [p.force(key) for p in strong], label=names[key] + words, markersize=5, linewidth=1.8, **look)
        if looks:
            thin = {**look, "markerfacecolor": "white", "linestyle": (0, (3, 1.5)), "linewidth": 1.2, "markersize": 5}
            axes.plot(x, [p.force(key) for p in weak], label=f"{names[key]}, tau = shear yield", **thin)
    for key, look in METAL_SHOWN.items():
        axes.plot(x, [p.force(key) for p in strong], label=names[key], color="#66717a", linewidth=1.4, **look)
    ring = {"linestyle": "none", "marker": "o", "markersize": 13, "markerfacecolor": "none", "color": "#1d2429"}
    axes.plot(x, [p.force(p.believed) for p in strong], label="to believe for the bond, tau = shear strength", **ring)
    figures = Adhesive(material=adhesive)
    axes.set_title(f"{adhesive}\ntau: yield {figures.shear_yield:g}, strength {figures.shear_strength:g} MPa")
    axes.set_yscale("log")
    axes.set_yticks([1, 2, 5, 10, 20, 50])
    axes.minorticks_off()
    axes.yaxis.set_major_formatter("{x:g}")
    axes.set_xticks(x, [f"{v:g}" for v in x])
    axes.set_xlabel("overlap, mm")


def main(arguments: Sequence[str] | None = None) -> int:
    """Print tables and words; write them with the figure."""
    parser = argparse.ArgumentParser(description="Load by each criterion against overlap for three series of single laps.")
    parser.add_argument("--out", type=Path, metavar="DIR", help="folder for lap_series.md, lap_series.csv and lap_series.png")
    parser.add_argument("--large-rotation", action="store_true", help="let the laps straighten under load; takes a minute or two")
    parser.add_argument("--cohesive", action="store_true", help="ask the cohesive zone, too; about a minute a lap")
    given = parser.parse_args(arguments)
    start = time.perf_counter()
    routes = ROUTES if given.cohesive else QUICK
    points = study(routes=routes, large_rotation=given.large_rotation, say=lambda line: print(line, file=sys.stderr, flush=True))
    conditions = f"Linear elasticity, {'large' if given.large_rotation else 'small'} rotation, clamped ends."
    print(text(points, conditions), end="")
    print(f"\n{len(points) // len(LIMITS)} laps, {time.perf_counter() - start:.0f} s")
    if given.out is not None:
        from fejoint.show.files import write_files

        drawn = figure(points, conditions)
        texts = {"lap_series.md": text(points, conditions), "lap_series.csv": table(points)}
        write_files(
            given.out,
            {
                **{name: lambda path, one=one: path.write_text(one, encoding="utf-8") for name, one in texts.items()},
                "lap_series.png": lambda path: drawn.savefig(path, format="png"),
            },
        )
        print(f"Written to {given.out}: lap_series.md, lap_series.csv, lap_series.png")
    return 0


if __name__ == "__main__":
    sys.exit(main())
