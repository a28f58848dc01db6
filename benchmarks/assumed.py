"""The package's own mesh, assembly, solver and recovery under the assumptions that theories of the bondline make."""

from __future__ import annotations

import dataclasses
from itertools import accumulate, pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

from fejoint import DoubleLap, Joint, SteppedLap
from fejoint.bondline.closed_form import shear_lag, volkersen
from fejoint.bondline.closed_form.grid import axial_modulus, free_strains
from fejoint.bondline.closed_form.two_beams import Beam
from fejoint.bondline.curves import Bondline
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.elasticity import Law
from fejoint.mechanics.factor import factorise
from fejoint.mechanics.linear import Solution, System, assemble, solve_linear
from fejoint.mechanics.load_path import bond_forces
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import mesh_section

Floats = NDArray[np.float64]


def assumed_laws(joint: Joint, multiplier: float, *, peel: bool) -> dict[str, Law]:
    """Return laws as the theories assume: adherends that stretch along x, a layer of shear and, if wanted, peel stiffness.

    What theories take as rigid (the adherends' shear and their stiffness
    across) is the real one times `multiplier`. Along x and across the width
    the adherends, which are isotropic, are plates free through their thickness.
    """
    laws = {}
    for name, part in joint.geometry.adherends().items():
        m = part.material
        plate = m.elastic_modulus / (1 - m.poisson_ratio**2)
        stiffness = np.diag([plate, multiplier * plate, multiplier * m.shear_modulus, plate])
        stiffness[[0, 3], [3, 0]] = m.poisson_ratio * plate
        expansion = m.expansion or 0.0
        laws[name] = Law(stiffness, np.array([expansion, 0.0, 0.0, expansion]))
    across = joint.adhesive.elastic_modulus if peel else 0.0
    laws["adhesive"] = Law(np.diag([0.0, across, joint.adhesive.shear_modulus, 0.0]), np.zeros(4))
    return laws


def beams_of(joint: Joint, *, shears: bool = True) -> tuple[Beam, Beam]:
    """Return the upper and the lower adherend (isotropic) of a lap of two as beams."""
    parts = [(part.material, part.thickness) for part in (joint.geometry.upper, joint.geometry.lower)]
    upper, lower = (Beam.isotropic(m.elastic_modulus, m.poisson_ratio, t, shears=shears) for m, t in parts)
    return upper, lower


def two_beam_bondline(joint: Joint, density: float, multiplier: float = 500.0) -> Bondline:
    """Return the bondline with adherends that only stretch and bend and a layer of shear and peel stiffness alone."""
    system = assemble(discretise(mesh_section(joint, density)), assumed_laws(joint, multiplier, peel=True), joint.load.ends)
    solution = solve_linear(system, joint)
    return recover_bondlines(solution, nodal_stress(solution))[0]


def held_sideways(system: System, laws: dict[str, Law]) -> System:
    """Return the system with every displacement along y held, and other laws that differ in peel stiffness alone."""
    keep = np.setdiff1d(np.arange(system.transform.shape[1]), system.transform[1::2].indices)
    matrix = system.matrix[keep][:, keep].tocsc()
    return dataclasses.replace(
        system,
        laws=laws,
        matrix=matrix,
        transform=system.transform[:, keep],
        solve=factorise(matrix),
        named={name: int(np.searchsorted(keep, number)) for name, number in system.named.items()},
    )


def shear_lag_solution(joint: Joint, density: float, multiplier: float = 1e4) -> Solution:
    """Return the whole section solved with adherends that only stretch, held along y, and a layer that only shears."""
    # The peel stiffness lets the section be factored before it is held; held, it has nothing to act on.
    section = mesh_section(joint, density, whole=True)
    free = assemble(discretise(section), assumed_laws(joint, multiplier, peel=True), "clamped")
    return solve_linear(held_sideways(free, assumed_laws(joint, multiplier, peel=False)), joint)


def volkersen_difference(joint: Joint, density: float, multiplier: float = 1e4) -> float:
    """Return how far the recovered mid-line shear is from Volkersen's, over the whole overlap, as a share of its peak.

    Of a single lap, or of either bondline of a double lap with like outers.
    """
    solution = shear_lag_solution(joint, density, multiplier)
    theories = volkersen.curves(joint)
    found = recover_bondlines(solution, nodal_stress(solution))
    return max(
        float(np.abs(own.middle.at(theory.x) - theory.shear).max() / np.abs(theory.shear).max())
        for own, theory in zip(found, theories, strict=True)
    )


# ---- double laps -----------------------------------------------------------


def three_bars(joint: Joint, x: Floats) -> Floats:
    """Return the shear of both layers of a double lap, shape (2, n), at increasing x from 0 to L: bars that only stretch.

    By matrix exponentials. States: u and N of lower outer, inner, upper outer,
    and 1: u' = N/S + e, a layer passes tau = k (u_outer - u_inner) on. At the
    left the inner has all load, at the right none; the outers, unlike ones
    too, go on to a grip that moves as one. For isotropic adherends, whose
    plane-strain stiffness and free strain (the width held) are written out here.
    """
    g, load, change = joint.geometry, joint.line_load, joint.load.temperature_change
    assert isinstance(g, DoubleLap)
    parts = (g.outers[0], g.inner, g.outers[1])
    softness = [(1 - p.material.poisson_ratio**2) / (p.material.elastic_modulus * p.thickness) for p in parts]
    free = [(1 + p.material.poisson_ratio) * (p.material.expansion or 0.0) * change for p in parts]
    k = joint.adhesive.shear_modulus / g.bondline_thickness
    a = np.zeros((7, 7))
    for i in range(3):
        a[2 * i, [2 * i + 1, 6]] = softness[i], free[i]
    for outer in (0, 4):
        a[[outer + 1, 3], [outer, outer]] = k, -k
        a[outer + 1, 2] = -k
        a[3, 2] += k
    # One state a place, all in one system, scaled so that forces and displacements are of one size.
    scale = np.array([1e-6, 1.0] * 3 + [1.0])
    n = len(x)
    matrix, right = np.zeros((7 * n, 7 * n)), np.zeros(7 * n)
    for i, (x0, x1) in enumerate(pairwise(x)):
        matrix[7 * i : 7 * i + 7, 7 * i : 7 * i + 7] = expm(a * (x1 - x0)) / scale[:, None] * scale
        matrix[7 * i : 7 * i + 7, 7 * i + 7 : 7 * i + 14] = -np.eye(7)
    for row, (column, value) in enumerate([(1, 0.0), (2, 0.0), (3, load), (5, 0.0), (6, 1.0), (7 * n - 4, 0.0)], 7 * n - 7):
        matrix[row, column], right[row] = 1.0, value
    arm, last = g.outers[0].free_length, 7 * n - 7
    matrix[-1, [last, last + 1]] = 1.0, arm * softness[0] * scale[1] / scale[0]
    matrix[-1, [last + 4, last + 5]] = -1.0, -arm * softness[2] * scale[1] / scale[0]
    right[-1] = arm * (free[2] - free[0]) / scale[0]
    states = np.linalg.solve(matrix, right).reshape(n, 7) * scale
    return k * (states[:, [0, 4]] - states[:, 2:3]).T


def three_bars_difference(joint: Joint, density: float, multiplier: float = 1e4) -> float:
    """Return how far both bondlines of a double lap held to shear lag are from three bars, as a share of the peak."""
    solution = shear_lag_solution(joint, density, multiplier)
    found = recover_bondlines(solution, nodal_stress(solution))
    x = found[0].x[::4]
    expected = three_bars(joint, x)
    gaps = [np.abs(own.middle.at(x) - shear).max() for own, shear in zip(found, expected, strict=True)]
    return float(max(gaps) / np.abs(expected).max())


# ---- stepped laps ----------------------------------------------------------


@dataclasses.dataclass(frozen=True)
class SteppedDifference:
    """How far finite elements held to shear lag are from one of its forms: the treads' shear, as a share of the
    largest, and the loads that they pass on, as a share of the largest."""

    shear: float
    loads: float


def shear_lag_difference(joint: Joint, density: float, multiplier: float = 300.0, *, as_drawn: bool = False) -> SteppedDifference:
    """Return how far a stepped lap held to shear lag is from the shear lag, step by step.

    Shear is compared from two bondline thicknesses inside the ends of every
    tread's mid-line. `as_drawn` takes the stair's corners as they are
    (`drawn_shear_lag`) in place of treads that meet in a point. Cells that
    lean, as they do behind the stair, bear no multiplier as high as upright
    ones do: 1e4 stiffens them by percents.
    """
    g, ta = joint.geometry, joint.geometry.bondline_thickness
    solution = shear_lag_solution(joint, density, multiplier)
    stress = nodal_stress(solution)
    forces = bond_forces(solution, stress)
    found = [forces[f"tread {i}"] for i in range(1, len(g.treads) + 1)]
    gaps, peaks, loads = [], [], []
    theories = shear_lag.curves(joint)
    for own, theory in zip(recover_bondlines(solution, stress), theories, strict=True):
        x = theory.x[::8]
        x = x[(x >= theory.x[0] + 2 * ta) & (x <= theory.x[-1] - 2 * ta)]
        expected = drawn_shear_lag(joint, x)[1] if as_drawn else theory.middle.at(x)
        gaps.append(float(np.abs(own.middle.at(x) - expected).max()))
        peaks.append(float(np.abs(expected).max()))
        if as_drawn:
            before, after = drawn_shear_lag(joint, theory.x[[0, -1]])[0]
            loads.append(float(before - after))
        else:
            loads.append(theory.middle.mean("shear") * float(np.ptp(theory.x)))
    scale = max(abs(load) for load in loads)
    return SteppedDifference(
        shear=max(gaps) / max(peaks), loads=max(abs(a - b) for a, b in zip(found, loads, strict=True)) / scale
    )


def drawn_shear_lag(joint: Joint, x: Floats) -> tuple[Floats, Floats]:
    """Return load of the lower adherend, N/mm, and mid-line shear, MPa, of a stepped lap's shear lag with its corners as drawn.

    A tread's layer lies between both adherends from half a bondline thickness
    beyond its left riser to half short of its right one. The column between
    two treads is a layer as well, as thick as the riser is high and the
    bondline thick; over it the upper adherend still has the left tread's
    metal, under it the lower one already has the right one's. Over the butt
    ends there is one adherend alone, and nothing to shear.
    """
    g, load = joint.geometry, joint.line_load
    assert isinstance(g, SteppedLap)
    ta, net, free = g.bondline_thickness, g.net_thickness(), free_strains(joint)
    stiffness = {name: axial_modulus(part.material) for name, part in g.adherends().items()}
    shear_modulus = joint.adhesive.engineering_constants()["g_xy"]
    right = list(accumulate(g.treads))
    pieces = []  # where it ends, metal below and above, thickness of the layer
    for i, end in enumerate(right):
        pieces.append((end - ta / 2, net["lower"][i], net["upper"][i], ta))
        if i + 1 < len(right):
            pieces.append((end + ta / 2, net["lower"][i + 1], net["upper"][i], g.risers[i + 1] + ta))
    # State N, u_upper - u_lower, 1, stepped through from the left; the slip there is what leaves no load at the right.
    start, here, states = ta / 2, np.eye(3), []
    for end, below, above, thickness in pieces:
        s1, s2, k = stiffness["lower"] * below, stiffness["upper"] * above, shear_modulus / thickness
        a = np.array([[0, -k, 0], [-(1 / s1 + 1 / s2), 0, load / s2 + free["upper"] - free["lower"]], [0, 0, 0]])
        states.append((start, end, a, here, k))
        here, start = expm(a * (end - start)) @ here, end
    slip = -(here[0, 0] * load + here[0, 2]) / here[0, 1]
    known = np.array([load, slip, 1.0])
    axial, shear = np.empty(len(x)), np.zeros(len(x))
    for i, place in enumerate(x):
        if place <= ta / 2 or place >= start:
            axial[i] = load if place <= ta / 2 else 0.0
            continue
        first, _, a, entering, k = next(s for s in states if s[0] <= place <= s[1])
        state = expm(a * (place - first)) @ entering @ known
        axial[i], shear[i] = state[0], k * state[1]
    return axial, shear
