"""How right the numbers are where joints turn far and yield: a table of checks against what does not come from the package.

    python -m benchmarks.accuracy_nonlinear

As in `benchmarks.accuracy`: each row holds one number against a reference, with
the limit that the difference must keep and why (the text of the function that
makes the row). Exit code 1 when a row misses.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable, Iterator

import numpy as np

from benchmarks import accuracy
from benchmarks.accuracy import Row, against
from benchmarks.beams_large import large_lap
from benchmarks.nonlinear import (
    Cylinder,
    YieldingDoubleLap,
    beams_lap,
    cylinder_path,
    elastica,
    lap_difference,
    matched_double_lap,
    matched_lap,
    pulled,
    strip_across,
)
from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, SingleLap, solve
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import pattern_of
from fejoint.mechanics.nonlinear import problem_of
from fejoint.mechanics.section import mesh_section

# Invented figures.
SHEET = Isotropic(elastic_modulus=72_000, poisson_ratio=0.0)
STEEL_SHEET = Isotropic(elastic_modulus=200_000, poisson_ratio=0.0)
ALUMINIUM = Isotropic(elastic_modulus=72_000, poisson_ratio=0.33)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29)


def lap(lower, upper, length=12.5, ends="clamped", adhesive=(1850, 0.33), layer=0.2) -> Joint:
    """Return a single lap that turns far; adherends as material, thickness, free length."""
    parts = [Adherend(material=m, thickness=t, free_length=a) for m, t, a in (lower, upper)]
    return Joint(
        geometry=SingleLap(width=25, overlap_length=length, bondline_thickness=layer, lower=parts[0], upper=parts[1]),
        adhesive=Adhesive(elastic_modulus=adhesive[0], poisson_ratio=adhesive[1]),
        load=Load(force=7500, ends=ends),
        analysis=Analysis(large_rotation=True),
    )


def cantilevers() -> Iterator[Row]:
    """A strip of L/h = 100 moved across against Bisshopp & Drucker's elastica: 2 (h/L)^2 of the length, its shear and stretch."""
    for load in (1.0, 5.0):
        found, closed = strip_across(load), elastica(load)
        for quantity in ("across", "towards", "turn"):
            ours, reference = getattr(found, quantity), getattr(closed, quantity)
            name = f"strip, P L^2 / E I = {load:g}"
            yield Row(name, f"tip, {quantity}", ours, reference, "elastica", abs(ours - reference), 2e-4)


def laps() -> Iterator[Row]:
    """Laps under their assumptions against beams that turn far, a bondline thickness inside the ends: 5e-3 of the peaks.

    7 million MPa for what is to be rigid: 5e-4 of the layer's give in shear, twice that in peel; nine-node cells bend too
    stiffly while rigid in shear, 1e-3; the free end's effect on peel has fallen to 1e-3.
    """
    cases = {
        "coupon": (lap((SHEET, 1.6, 50), (SHEET, 1.6, 50)), 100, (50, 150, 300)),
        "coupon, compressed": (lap((SHEET, 1.6, 50), (SHEET, 1.6, 50)), 100, (-15,)),
        "unlike, pinned": (lap((SHEET, 1.6, 50), (STEEL_SHEET, 1.0, 40), 25, "pinned"), 40, (30, 100, 200, 300)),
        "thick, short arms": (lap((SHEET, 3.0, 20), (SHEET, 2.0, 30), 20, layer=0.3), 100, (100, 300)),
    }
    for name, (joint, multiplier, loads) in cases.items():
        nu = joint.adhesive.poisson_ratio
        across = joint.adhesive.elastic_modulus * (1 - nu) / ((1 + nu) * (1 - 2 * nu))
        solved = large_lap(beams_lap(joint, across), loads)
        for load, found, beams in zip(loads, matched_lap(joint, loads, across, multiplier), solved, strict=True):
            difference = lap_difference(found, beams)
            title = f"{name}, {load} N/mm"
            for stress in ("shear", "peel"):
                share = getattr(difference, stress)
                yield Row(title, f"{stress} curve, beams' assumptions", share, 0.0, "beams that turn far", share, 5e-3)
            yield Row(title, "edge moments", difference.moments, 0.0, "beams that turn far", difference.moments, 5e-3)
            yield against(title, "elongation, mm", found.elongation, beams.elongation, "beams that turn far", 5e-3)


def cylinders() -> Iterator[Row]:
    """Thick-walled cylinders, whatever Poisson's ratio: pressure at a front and limit pressure within 3e-4.

    Chords for arcs 1e-5; the front passes one Gauss point at a time, a hundredth of the radius each. Hill's pressure at a
    front is for nu = 1/2 and compared for ratios next to it; the limit is that of any.
    """
    for nu in (0.3, 0.49, 0.4999):
        cylinder = Cylinder(1.0, 2.0, 210_000, nu, 250)
        first = 2 * cylinder.widening(1.0)
        path = cylinder_path(cylinder, [first * share for share in (0.7, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0, 40.0)])
        name = f"cylinder, nu = {nu:g}"
        yield against(name, "limit pressure, MPa", path[-1][0], cylinder.limit, "Hill 1950", 3e-4)
        if nu > 0.49:
            pressure, widening = path[3]
            yield against(
                name, "pressure at a front, MPa", pressure, cylinder.pressure(cylinder.front(widening)), "Hill 1950", 3e-4
            )


def double_laps() -> Iterator[Row]:
    """Double laps under their assumptions against Hart-Smith's: end strains and yielded lengths within 1 %.

    The adherends' shear (100 times too stiff) is 1e-3 of the layer's give; the layer's stress rises by a thousandth; cells of
    a millimetre in the zones.
    """
    layer = {"length": 60.0, "thickness": 0.15, "shear_modulus": 1000.0, "yield_stress": 35.0}
    for name, outer, inner, mismatch in (
        ("double, balanced", (70_000, 1.6), (70_000, 3.2), 0.0),
        ("double, cooled", (70_000, 1.6), (200_000, 1.6), 1e-3),
        ("double, heated", (70_000, 1.6), (200_000, 1.6), -1e-3),
    ):
        parts = [
            Adherend(material=Isotropic(elastic_modulus=e, poisson_ratio=0.0), thickness=t, free_length=10)
            for e, t in (outer, inner)
        ]
        joint = Joint(
            geometry=DoubleLap(width=25, bondline_thickness=0.15, overlap_length=60, outer=parts[0], inner=parts[1]),
            adhesive=Adhesive(shear_modulus=1000, poisson_ratio=0.4),
            load=Load(force=2500),
        )
        theory = YieldingDoubleLap(outer=outer[0] * outer[1], inner=inner[0] * inner[1] / 2, mismatch=mismatch, **layer)
        load = theory.capacity(0.4)
        (found,) = matched_double_lap(joint, [load], 35.0, mismatch)[-1:]
        pairs = {"end strain": (found.end_strains, theory.end_strains(load))}
        pairs["yielded length, mm"] = found.zones(theory.elastic_strain), theory.zones(load)
        for quantity, (ours, reference) in pairs.items():
            for side, a, b in zip(("left", "right"), ours, reference, strict=True):
                yield against(name, f"{quantity}, {side}", a, b, "Hart-Smith 1973", 0.01)


def limit_of_a_real_joint() -> Iterator[Row]:
    """The limit load of a double lap with a perfectly plastic layer: at most 2 k l, at least 2 k (l - t_a), and a mesh's 1e-3.

    Limit analysis: the layers shearing as a whole is a mechanism, so that its load is an upper bound, in plane strain as for
    any width; the free ends, where shear is zero, cost no more than a layer's thickness.
    """
    plate = Adherend(material=ALUMINIUM, thickness=3.0, free_length=10)
    joint = Joint(
        geometry=DoubleLap(width=25, bondline_thickness=0.3, overlap_length=6, outer=plate, inner=plate),
        adhesive=Adhesive(elastic_modulus=1850, poisson_ratio=0.33, tensile_yield=20),
        load=Load(force=5000),
        analysis=Analysis(adhesive_model="plastic"),
    )
    found = solve(joint)
    bound = 2 * 20 / np.sqrt(3) * 6
    ours = found.joint.line_load
    missing = max(ours / bound - 1, (1 - 0.3 / 6) - ours / bound, 0.0) if found.limit else 1.0
    yield Row("double, short", "limit load, N/mm", ours, bound, "limit analysis", missing, 1e-3)


def another_library() -> Iterator[Row]:
    """ngsolve on the same mesh, moved by our elongation: displacements and load within 1e-6, round-off."""
    if importlib.util.find_spec("ngsolve") is None:
        print("ngsolve is not installed: its rows are left out", file=sys.stderr)
        return
    from benchmarks.independent_large import solve_large_rotation

    loads = [50.0, 150.0, 300.0]
    for name, joint in {
        "coupon": lap((ALUMINIUM, 1.6, 50), (ALUMINIUM, 1.6, 50)),
        "unlike": lap((ALUMINIUM, 2.0, 40), (STEEL, 1.2, 55), 25),
    }.items():
        d = discretise(mesh_section(joint, 1.0))
        ours = pulled(joint, problem_of(joint, d, pattern_of(d, "clamped", False)), loads)
        elongations = [found.elongation for found in ours]
        theirs = solve_large_rotation(joint, d.section, loads, d.points, elongations=elongations)
        for load, own, other in zip(loads, ours, theirs, strict=True):
            title = f"{name}, {load:g} N/mm"
            share = float(np.abs(own.displacement - other.displacement).max() / np.abs(other.displacement).max())
            yield Row(title, "displacements", share, 0.0, "ngsolve", share, 1e-6)
            yield against(title, "reaction, N/mm", load, other.load, "ngsolve", 1e-6)


CHECKS: tuple[Callable[[], Iterator[Row]], ...] = (
    cantilevers,
    laps,
    cylinders,
    double_laps,
    limit_of_a_real_joint,
    another_library,
)


def main() -> int:
    """Print the table; return 1 when a row misses."""
    return accuracy.main(CHECKS)


if __name__ == "__main__":
    sys.exit(main())
