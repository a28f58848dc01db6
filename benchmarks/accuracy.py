"""How right the numbers are: a table of checks against closed forms, statics, other solutions and another library.

    python -m benchmarks.accuracy

Each row holds one number of the package against a reference that does not come
from it, with the limit that the difference must keep and why (the text of the
function that makes the row). Exit code 1 when a row misses.
"""

from __future__ import annotations

import dataclasses
import importlib.util
import math
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from benchmarks.assumed import (
    beams_of,
    shear_lag_difference,
    three_bars_difference,
    two_beam_bondline,
    volkersen_difference,
)
from benchmarks.classical import solve_classical
from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Isotropic, Joint, Load, SingleLap, SteppedLap, solve
from fejoint.bondline.closed_form import goland_reissner, shear_lag, volkersen
from fejoint.bondline.closed_form.two_beams import Beam, Layer, frame, overlap
from fejoint.bondline.curves import Bondline, Curve
from fejoint.mechanics.checks import SETTLING, discretisation_error
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import Solution, assemble, laws_of, solve_linear
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import mesh_section
from fejoint.mechanics.symmetry import unfolded

ALUMINIUM = Isotropic(elastic_modulus=72_000, poisson_ratio=0.33, expansion=23.2e-6)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29, expansion=11.7e-6)
TOUGHENED = Adhesive(elastic_modulus=1850, poisson_ratio=0.33, expansion=60e-6)
BRITTLE = Adhesive(elastic_modulus=4890, poisson_ratio=0.35, expansion=60e-6)
POLYURETHANE = Adhesive(elastic_modulus=490, poisson_ratio=0.30, expansion=150e-6)


def part(material=ALUMINIUM, thickness=1.6) -> Adherend:
    """Return an adherend with an arm of 50 mm."""
    return Adherend(material=material, thickness=thickness, free_length=50)


def joint_of(family, adhesive, load, **geometry) -> Joint:
    """Return a joint 25 mm wide with a bondline of 0.2 mm under 100 N/mm, unless told otherwise."""
    sizes = {"width": 25, "bondline_thickness": 0.2, **geometry}
    return Joint(geometry=family(**sizes), adhesive=adhesive, load=load or Load(force=2500))


def lap(lower=(ALUMINIUM, 1.6), upper=(ALUMINIUM, 1.6), adhesive=TOUGHENED, load=None, **more) -> Joint:
    """Return a single lap; adherends as material and thickness."""
    sizes = {"overlap_length": 12.5, **more}
    return joint_of(SingleLap, adhesive, load, lower=part(*lower), upper=part(*upper), **sizes)


def double_lap(*outers, inner=(ALUMINIUM, 3.2), load=None, **more) -> Joint:
    """Return a double lap with like outers, or with the two given."""
    keys = ("lower_outer", "upper_outer") if outers else ("outer",)
    parts = dict(zip(keys, (part(*outer) for outer in outers or [()]), strict=True))
    sizes = {"overlap_length": 25, **more}
    return joint_of(DoubleLap, TOUGHENED, load or Load(force=5000), inner=part(*inner), **parts, **sizes)


def stepped_lap(load=None, thickness=3.2, upper=ALUMINIUM, **more) -> Joint:
    """Return a stepped lap of three equal treads, unless told otherwise."""
    sizes = more if "step_lengths" in more else {"steps": 3, "overlap_length": 30, **more}
    return joint_of(SteppedLap, TOUGHENED, load, lower=part(thickness=thickness), upper=part(upper, thickness), **sizes)


COUPON = lap()
PINNED = lap(load=Load(force=2500, ends="pinned"))
FILLET = lap(spew="fillet")
UNLIKE = lap((ALUMINIUM, 2.0), (STEEL, 1.2), load=Load(force=4000), overlap_length=25)
COOLED = UNLIKE.replace(load=Load(force=4000, temperature_change=-100))
COOLED_ONLY = UNLIKE.replace(load=Load(force=0, temperature_change=-100))
SOFT = lap((ALUMINIUM, 3.0), (ALUMINIUM, 3.0), POLYURETHANE, overlap_length=25, bondline_thickness=0.4)
THICK_ON_THIN = lap((ALUMINIUM, 3.0), (ALUMINIUM, 1.5), BRITTLE, load=Load(force=2500, ends="pinned"), overlap_length=25)
DOUBLE = double_lap()
DOUBLE_FILLET = double_lap(spew="fillet")
DOUBLE_UNLIKE = double_lap((ALUMINIUM, 1.0), (STEEL, 2.0))
DOUBLE_UNLIKE_COOLED = DOUBLE_UNLIKE.replace(load=Load(force=5000, temperature_change=-100))
DOUBLE_TURNED = double_lap(load=Load(force=5000, ends="pinned", moment=5000))
STEPPED = stepped_lap()
STEPPED_UNEQUAL = stepped_lap(step_lengths=[6, 9, 4], step_heights=[0.5, 1.2, 0.7, 0.8], spew="fillet")
STEPPED_UNLIKE = stepped_lap(upper=STEEL, step_lengths=[6, 9, 7], step_heights=[0.6, 1.0, 0.7, 0.9])

DERIVED = "derived for this project, confirmed by numerical solution"


@dataclass(frozen=True)
class Row:
    """One check: `difference` counts, in the sense that the function which makes the row states."""

    joint: str
    quantity: str
    ours: float
    reference: float
    source: str
    difference: float
    limit: float

    @property
    def passed(self) -> bool:
        return self.difference <= self.limit


def against(joint: str, quantity: str, ours: float, reference: float, source: str, limit: float) -> Row:
    """Return a row whose difference is relative."""
    return Row(joint, quantity, float(ours), float(reference), source, abs(ours / reference - 1), limit)


# ---- the checks ------------------------------------------------------------


def worked_cases() -> Iterator[Row]:
    """Closed forms against worked cases. Limit: half a unit of the last digit that the case gives."""

    def two_bars(x, s1, s2, load=200.0, mismatch=0.0):
        return float(volkersen.shear_stress(np.array([x]), load, 25, (s1, s2), 1000, 0.2, mismatch)[0])

    yield against("V1: 2 mm on 2 mm", "Volkersen end shear", two_bars(12.5, 140e3, 140e3), 26.79323, DERIVED, 2e-7)
    yield against("V1: 2 mm on 2 mm", "Volkersen middle shear", two_bars(0.0, 140e3, 140e3), 1.895112, DERIVED, 3e-7)
    yield against("V2: 3 mm on 1.5 mm", "Volkersen right shear", two_bars(12.5, 210e3, 105e3), 35.679625, DERIVED, 2e-8)
    yield against("V2: 3 mm on 1.5 mm", "Volkersen left shear", two_bars(-12.5, 210e3, 105e3), 17.906834, DERIVED, 3e-8)
    cooled = two_bars(12.5, 140e3, 210e3, 0.0, 1.1e-3)
    yield against("V3: Al on steel, -100 K", "Volkersen end shear", cooled, 22.442332, DERIVED, 3e-8)
    metal = Isotropic(elastic_modulus=70_000, poisson_ratio=0)  # no lateral contraction: E is the plane-strain modulus
    layer, load = Adhesive(shear_modulus=1000, poisson_ratio=0.4), Load(force=200 * 25)
    geometry = double_lap(inner=(metal, 3.2), bondline_thickness=0.15).geometry.replace(outer=part(metal))
    for bond in volkersen.curves(Joint(geometry=geometry, adhesive=layer, load=load)):
        yield against("T2: 1.6/3.2/1.6 mm", f"Volkersen end shear {bond.number}", bond.shear[-1], 17.257830, DERIVED, 3e-8)
    lengths, below, above = (10.0,) * 3, (210e3, 140e3, 70e3), (70e3, 140e3, 210e3)
    steps = shear_lag.step_coefficients(lengths, below, above, 1000 / 0.2, 300)
    for i, value in enumerate((24.199652, 12.619487, 12.619487)):
        left = shear_lag.step_shear(np.zeros(1), 10, (below[i], above[i]), 5000, steps[i])[0]
        yield against("S1: 3 steps", f"shear lag, left of tread {i + 1}", left, value, DERIVED, 5e-8)
    for i, value in enumerate((108.88358, 82.232834, 108.88358)):
        a, b = steps[i]
        decay = math.exp(-10 * math.sqrt(5000 * (1 / below[i] + 1 / above[i])))
        yield against("S1: 3 steps", f"shear lag, load of tread {i + 1}", (a - b) * (1 - decay), value, DERIVED, 5e-8)
    t, c, e = 2.0, 12.5, 70_000
    k = goland_reissner.edge_moment_factor(200, e / (1 - 0.33**2), t, c)
    yield against("G2: 2 mm on 2 mm", "Goland-Reissner k", k, 0.570182, DERIVED, 1e-6)
    x = np.array([c, 0.0])
    shear = goland_reissner.shear_stress(x, 200, k, e, t, c, 1000 / 0.2)
    yield against("G2: 2 mm on 2 mm", "Goland-Reissner end shear", shear[0], 38.80022, DERIVED, 2e-7)
    yield against("G2: 2 mm on 2 mm", "Goland-Reissner middle shear", shear[1], 2.66974, DERIVED, 2e-6)
    sideways = k * 200 * math.sqrt(3 * (1 - 0.33**2) * 200 / (t * e))
    peel = goland_reissner.peel_stress(x, k * 200 * t / 2, sideways, e, t, c, 2800 / 0.2)
    yield against("G2: 2 mm on 2 mm", "Goland-Reissner end peel", peel[0], 48.55183, DERIVED, 2e-7)
    yield against("G2: 2 mm on 2 mm", "Goland-Reissner middle peel", peel[1], -0.0338148, DERIVED, 2e-6)


def theory_assumptions() -> Iterator[Row]:
    """Finite elements with a theory's assumptions put into the materials, over the whole mid-line, as shares of the peak.

    Volkersen: 1e-3; w h of the longest cells is about 0.2 at twice the default
    density, and the recovered stress is off by (w h)^4 there. Two beams and a
    layer: 1e-3 at 2.5 times the default density; nine-node cells bend too
    stiffly while rigid in shear, by 1e-3 at twice, a quarter of it at four times.
    Double laps, unlike outers against three bars: as Volkersen. Stepped laps,
    shear lag with the stair's corners as drawn, from two bondline thicknesses
    inside the treads' ends: 5e-3 of the shear, 2e-3 of the loads, since the
    adherends' shear can be made 300 times too stiff, no more, where cells lean.
    """
    for name, joint in (("25 mm overlap", lap(overlap_length=25)), ("unlike", UNLIKE), ("unlike, cooled only", COOLED_ONLY)):
        share = volkersen_difference(joint, 2.0)
        yield Row(name, "shear curve, Volkersen's assumptions", share, 0.0, "closed form", share, 1e-3)
    share = volkersen_difference(DOUBLE, 2.0)
    yield Row("double", "shear curves, Volkersen's assumptions", share, 0.0, "closed form", share, 1e-3)
    held = DOUBLE_UNLIKE_COOLED.replace(analysis=Analysis(out_of_plane="plane-strain"))
    for name, joint in (("double, unlike outers", DOUBLE_UNLIKE), ("double, unlike, cooled", held)):
        share = three_bars_difference(joint, 2.0)
        yield Row(name, "shear curves, Volkersen's assumptions", share, 0.0, "three bars", share, 1e-3)
    for name, joint in (("stepped", STEPPED), ("stepped, unlike", STEPPED_UNLIKE)):
        found = shear_lag_difference(joint, 2.0, as_drawn=True)
        for quantity, share, limit in (("shear curves", found.shear, 5e-3), ("loads of the treads", found.loads, 2e-3)):
            yield Row(name, f"{quantity}, shear lag's assumptions", share, 0.0, "bars, corners as drawn", share, limit)
    for name, joint in (("coupon", COUPON), ("pinned", PINNED), ("soft, thick", SOFT), ("unlike", UNLIKE)):
        found, g = two_beam_bondline(joint, 2.5), joint.geometry
        layer = Layer(joint.adhesive.shear_modulus, joint.adhesive.elastic_modulus, g.bondline_thickness, "free ends")
        theory = frame(*beams_of(joint, shears=False), layer, g.overlap_length, (50, 50), joint.line_load, joint.load.ends)
        for stress in ("shear", "peel"):
            expected = getattr(theory, stress)
            share = float(np.abs(found.middle.at(theory.x, stress) - expected).max() / np.abs(expected).max())
            yield Row(name, f"{stress} curve, two beams' assumptions", share, 0.0, "two beams and layer", share, 1e-3)


def classical_assumptions() -> Iterator[Row]:
    """An operator that is not the package's, whose layer has du/dy alone for shear strain, against arms to the faces: 1e-3.

    What Goland and Reissner's second stage and its kin assume (benchmarks/classical.py).
    Cells halved: a quarter of the difference, which the rows of 45 cells show.
    """
    aluminium, steel, layer = Beam.plate(70_000, 2.0), Beam.plate(200_000, 1.0), Layer(1000, 2800, 0.2, "faces")
    for name, upper in (("identical", aluminium), ("steel on aluminium", steel)):
        left, right = -0.5 * 200 * aluminium.thickness / 2, 0.5 * 200 * upper.thickness / 2
        sideways = (200 * (upper.thickness + aluminium.thickness) / 2 - right + left) / 25
        loads = ((200.0, sideways, left), (200.0, sideways, right))
        theory = overlap(upper, aluminium, layer, 25, *loads)
        curve = Curve(theory.x, theory.shear, theory.peel, theory.peel)
        for cells, limit in ((90, 1e-3), (45, 4e-3)):
            found = solve_classical(upper, aluminium, layer, 25, *loads, cells=cells)
            for stress in ("shear", "peel"):
                gap = np.abs(getattr(found, stress) - curve.at(found.x, stress)).max()
                share = float(gap / np.abs(getattr(theory, stress)).max())
                yield Row(name, f"{stress} curve, classical operator, {cells} cells", share, 0.0, "arms to faces", share, limit)


def real_joints_inside() -> Iterator[Row]:
    """Real materials, a soft layer, from one bondline thickness inside the ends: 3 % of the peaks.

    What the theory leaves out: 13/35 of t/E' of each adherend in peel, 5 % of
    the layer's compliance here, of which half shows, and the end effect.
    """
    found, g = solve(SOFT).bondlines[0], SOFT.geometry
    layer = Layer.constrained(490, 0.30, g.bondline_thickness, "free ends")
    left, right = ((end.axial, end.shear, end.moment) for end in (found.left, found.right))
    theory = overlap(*beams_of(SOFT), layer, g.overlap_length, left, right)
    inside = (theory.x >= g.bondline_thickness) & (theory.x <= g.overlap_length - g.bondline_thickness)
    for stress, peak in (("shear", found.peak_shear.value), ("peel", found.peak_peel.value)):
        gap = np.abs(found.middle.at(theory.x[inside], stress) - getattr(theory, stress)[inside]).max()
        share = float(gap / abs(peak))
        yield Row("soft, thick", f"{stress} curve inside", share, 0.0, "two beams and layer", share, 0.03)


def edge_moments() -> Iterator[Row]:
    """Edge moments. Pinned ends: statics, to round-off (1e-5). Clamped: two beams and a layer, 1e-3 or (t/a)^2."""
    statics = 100 * 1.8 / 112.5 * 50
    yield against("pinned", "edge moment, N", solve(PINNED).bondlines[0].right.moment, statics, "statics", 1e-5)
    # A couple on one of two pinned ends in a line: the reactions across are a couple too, the moment falls linearly
    # from the couple to nothing. Positive stretches the lower face: counter-clockwise on a face that looks to -x is -M.
    edge, turning = solve(DOUBLE_TURNED).edges["inner"], DOUBLE_TURNED.line_moment
    yield against("double, pinned", "inner's edge moment, N", edge.moment, -turning * 75 / 125, "statics", 1e-5)
    yield against("double, pinned", "inner's edge shear, N/mm", edge.shear, -turning / 125, "statics", 1e-5)
    turned = solve(stepped_lap(Load(force=2500, ends="pinned", moment=5000))).edges
    yield against("stepped, pinned", "left edge moment, N", turned["lower"].moment, 200 * 50 / 130, "statics", 1e-5)
    yield against("stepped, pinned", "right edge moment, N", turned["upper"].moment, 200 * 80 / 130, "statics", 1e-5)
    for name, joint, limit in (("coupon", COUPON, 1e-3), ("soft, thick", SOFT, 3.6e-3), ("unlike", UNLIKE, 1.6e-3)):
        g, a = joint.geometry, joint.adhesive
        layer = Layer.constrained(a.elastic_modulus, a.poisson_ratio, g.bondline_thickness)
        theory = frame(*beams_of(joint), layer, g.overlap_length, (50, 50), joint.line_load, "clamped")
        found = solve(joint).bondlines[0]
        yield against(name, "left edge moment, N", found.left.moment, theory.lower[0, 4], "frame, two beams and layer", limit)
        yield against(name, "right edge moment, N", found.right.moment, theory.upper[-1, 4], "frame, two beams and layer", limit)


def error_estimates() -> Iterator[Row]:
    """Estimated discretisation error against the true one, from a mesh of six times the default density.

    Four times for double and stepped laps, whose sections are larger: the
    true error of density 2, of order 2 or more, is still known to a quarter.
    The estimate divides by 5, right within 0.6 to 3 for every order from 2 to
    4, so a factor of 3 either way is its limit. `ours` and `reference` are the
    two errors, as shares of the peak; `difference` is their ratio or its
    inverse.
    """
    joints = {
        "coupon": (COUPON, 6.0),
        "fillet": (FILLET, 6.0),
        "thick on thin": (THICK_ON_THIN, 6.0),
        "soft, thick": (SOFT, 6.0),
        "double, fillets": (DOUBLE_FILLET, 4.0),
        "double, unlike outers": (DOUBLE_UNLIKE, 4.0),
        "stepped": (STEPPED, 4.0),
    }
    for name, (joint, finest) in joints.items():
        truth = bondlines_at(joint, finest)
        level = {density: bondlines_at(joint, density) for density in (0.5, 1.0, 2.0)}
        ta = joint.geometry.bondline_thickness
        for density in (1.0, 2.0):
            estimate = discretisation_error(level[density], level[density / 2], ta)
            # The same measure of the difference from the finest mesh, as it is.
            true_error = {key: SETTLING * value for key, value in discretisation_error(level[density], truth, ta).items()}
            for key, ours in estimate.items():
                true = true_error[key]
                ratio = max(ours / true, true / ours)
                quantity = f"error of {key.replace('_', ' ')}, density {density:g}"
                yield Row(name, quantity, ours, true, f"mesh of density {finest:g}", ratio, 3.0)


def another_library() -> Iterator[Row]:
    """Curves from ngsolve's displacements on the same mesh, and its reaction to our elongation: 1e-6, round-off.

    Cells hundreds of times longer than high leave about 1e-7 in displacements.
    """
    if importlib.util.find_spec("ngsolve") is None:
        print("ngsolve is not installed: its rows are left out", file=sys.stderr)
        return
    from benchmarks.independent import solve_with_ngsolve

    joints = {
        "coupon": COUPON,
        "pinned": PINNED,
        "fillet": FILLET,
        "unlike, cooled": COOLED,
        "double, by its half": DOUBLE,
        "double, unlike, cooled": DOUBLE_UNLIKE_COOLED,
        "stepped, unequal, beads": STEPPED_UNEQUAL,
    }
    for name, joint in joints.items():
        ours = solution_at(joint, 1.0)
        theirs = solve_with_ngsolve(joint, ours.section, ours.elongation, ours.discretisation.points)
        swapped = dataclasses.replace(ours, displacement=theirs.displacement, width_strain=theirs.width_strain)
        mine, other = (recover_bondlines(s, nodal_stress(s)) for s in (ours, swapped))
        largest = np.abs(theirs.displacement).max()
        share = float(np.abs(ours.displacement - theirs.displacement).max() / largest)
        yield Row(name, "displacements", share, 0.0, "ngsolve", share, 1e-6)
        yield against(name, "reaction, N/mm", joint.line_load, theirs.loaded_axial, "ngsolve", 1e-6)
        for title, peak in (("shear", lambda b: abs(b.peak_shear.value)), ("peel", lambda b: b.peak_peel.value)):
            largest = (max(map(peak, bonds)) for bonds in (mine, other))
            yield against(name, f"peak {title}, MPa", *largest, "ngsolve", 1e-6)


CHECKS: tuple[Callable[[], Iterator[Row]], ...] = (
    worked_cases,
    theory_assumptions,
    classical_assumptions,
    real_joints_inside,
    edge_moments,
    error_estimates,
    another_library,
)


def solution_at(joint: Joint, density: float) -> Solution:
    """Return the solution on the mesh of one density, made whole where it is of half the section."""
    section, load = mesh_section(joint, density), joint.load
    system = assemble(discretise(section), laws_of(joint, section), load.ends, load.shear_force != 0)
    return unfolded(solve_linear(system, joint))


def bondlines_at(joint: Joint, density: float) -> list[Bondline]:
    """Return the bondlines on the mesh of one density."""
    solution = solution_at(joint, density)
    return recover_bondlines(solution, nodal_stress(solution))


def main(checks: tuple[Callable[[], Iterator[Row]], ...] = CHECKS) -> int:
    """Print the table of checks; return 1 when a row misses."""
    rows = [row for check in checks for row in check()]
    titles = ("joint", "quantity", "ours", "reference", "difference", "limit", "", "source")
    cells = [
        (
            row.joint,
            row.quantity,
            f"{row.ours:.7g}",
            f"{row.reference:.7g}",
            f"{row.difference:.1e}",
            f"{row.limit:.1e}",
            "ok" if row.passed else "MISSED",
            row.source,
        )
        for row in rows
    ]
    widths = [max(len(line[i]) for line in (titles, *cells)) for i in range(len(titles))]
    for line in (titles, *cells):
        print("  ".join(text.ljust(width) for text, width in zip(line, widths, strict=True)).rstrip())
    missed = sum(not r.passed for r in rows)
    print(f"\n{len(rows)} checks, {missed} missed")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
