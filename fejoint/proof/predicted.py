"""What a coupon is predicted to do in the tester: the force that it bears, and force against displacement on the way there.

The curve is that of the analysis behind the load: a line where all is in
proportion, the load's path where the analysis follows one, and up to the peak
and down again where the cohesive zone is believed. It begins where the force
does: what temperature and moisture have done before is no travel of the tester.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.load import QUANTITIES, Load
from fejoint.mechanics.driver import path_on, solve_on
from fejoint.mechanics.result import Result
from fejoint.mechanics.reuse import Kept
from fejoint.proof.coupons import breaking_load
from fejoint.proof.gauge import displacement_of
from fejoint.strength.capacity import Capacity
from fejoint.strength.predict import ROUTES, Strength, strength_of

__all__ = ["KINDS", "Predicted", "predicted", "secant", "stepped", "stiffness_of"]

Floats = NDArray[np.float64]
Say = Callable[[str], None]

KINDS = {
    "linear": "linear elasticity: a straight line up to the load",
    "path": "along the load's path, up to the load",
    "cohesive": "cohesive zone, over the largest load and down",
}


@dataclass(frozen=True, eq=False)
class Predicted:
    """What a coupon is predicted to do.

    Attributes
    ----------
    joint : Joint
    strength : Strength
    by : Capacity
        The criterion of the load: the one to believe of the bond, or what breaks before it.
    kind : str
        Of the curve, one of `KINDS`.
    displacement, force : (n,) arrays, mm and N
        As the gauge reads them, in magnitude, from nothing on; up to the load at least, unless the analysis ended before.
    """

    joint: Joint
    strength: Strength
    by: Capacity
    kind: str
    displacement: Floats
    force: Floats

    @property
    def load(self) -> float:
        """The failure load in magnitude, N; knockdowns are not in it."""
        return float(abs(self.by.force))

    def stiffness(self, low: float, high: float) -> float:
        """Return the stiffness between two forces (N) on the way up, N/mm."""
        return secant(self.displacement, self.force, low, high)


def predicted(
    joint: Joint,
    gauge: float | None = None,
    routes: Sequence[str] = ROUTES,
    kept: Kept | None = None,
    say: Say | None = None,
) -> Predicted:
    """Return what a coupon is predicted to do in the tester.

    Parameters
    ----------
    joint : Joint
        Under a force.
    gauge : float, mm, or None
        Length of an extensometer; None is between the grips.
    routes : sequence of str
        As of `fejoint.strength_of`; without the cohesive zone it takes a fraction of the time.
    kept : Kept, optional
    say : callable, optional
        Called with a line of text before each stage.

    Raises
    ------
    JointError
        No load can be told.
    MeshError, SetupError, ConvergenceError
        As `fejoint.solve`.
    """
    kept = Kept() if kept is None else kept
    strength = strength_of(joint, routes=routes, variants=False, progress=say, kept=kept)
    by = breaking_load(strength)
    if by is None or not np.isfinite(by.force):
        raise JointError("strength: no criterion tells a load at which this coupon breaks; add figures to the adhesive.")
    zone = strength.cohesive
    if zone is not None and strength.believed is not None and strength.believed.route == "cohesive":
        force, travel, kind = np.abs(zone.load), zone.elongation, "cohesive"
        if gauge is not None:  # what lies outside the gauge stays elastic, and stretches in proportion
            travel = travel - force * _outside(joint, gauge, kept) * np.sign(joint.load.force)
    elif joint.analysis.nonlinear and strength.result.path:
        path = strength.result.path
        force = np.array([abs(one.joint.load.force) for one in path])
        travel, kind = np.array([displacement_of(one.solution, gauge) for one in path if isinstance(one, Result)]), "path"
    else:
        start, end = (
            displacement_of(solve_on(at, strength.density, kept).solution, gauge) for at in (joint.at(force=0.0), joint)
        )
        factor = abs(by.force / joint.load.force)
        force, travel, kind = np.array([0.0, abs(by.force)]), np.array([0.0, factor * (end - start)]), "linear"
    force, travel = _from_nothing(force, travel)
    return Predicted(joint, strength, by, kind, travel * float(np.sign(joint.load.force)), force)


def stiffness_of(joint: Joint, low: float, high: float, gauge: float | None = None, kept: Kept | None = None) -> float:
    """Return the stiffness of a coupon between two forces (N, in magnitude), N/mm: one linear solution, or a short path.

    A cohesive layer is taken as elastic, as it is before it is damaged. The mesh is that of the joint's own density.

    Raises
    ------
    MeshError, SetupError, ConvergenceError
        As `fejoint.solve`.
    """
    kept = Kept() if kept is None else kept
    sign, density = float(np.sign(joint.load.force)), joint.analysis.mesh_density
    if joint.analysis.cohesive:
        joint = joint.replace(analysis=joint.analysis.replace(adhesive_model="elastic"))
    if not joint.analysis.nonlinear:
        at = [solve_on(joint.at(force=force), density, kept).solution for force in (0.0, sign * high)]
        start, end = (displacement_of(one, gauge) for one in at)
        return high / (sign * (end - start))
    found, limit = path_on(stepped(joint, [low, high]), density, kept, lambda text: None)
    ends = {one.step: displacement_of(one.solution, gauge) for one in found}
    if limit:
        return float("nan")
    return (high - low) / (sign * (ends["force 2"] - ends["force 1"]))


def stepped(joint: Joint, forces: Sequence[float]) -> Joint:
    """Return a joint whose load's path stops at forces (N, in magnitude, rising): steps ``force 1``, ``force 2`` and so on.

    What else acts, such as temperature or a moment, comes before them.
    """
    load, sign = joint.load, float(np.sign(joint.load.force))
    before = {key: value for key in QUANTITIES if key != "force" and (value := getattr(load, key))}
    steps: list[dict[str, Any]] = [{"name": "before", **before}] if before else []
    steps += [{"name": f"force {i}", "force": sign * force} for i, force in enumerate(forces, 1)]
    return joint.replace(load=Load(step=steps, ends=load.ends, stress_free_temperature=load.stress_free_temperature))


def secant(displacement: Floats, force: Floats, low: float, high: float) -> float:
    """Return the stiffness of a curve between two forces on its way up, N/mm; a smooth curve through its points.

    Where the curve ends below the higher force, up to there; NaN where it ends below the lower one.
    """
    top = int(np.argmax(force)) + 1
    rising = np.append(True, np.diff(np.maximum.accumulate(force[:top])) > 0)
    u, f = displacement[:top][rising], force[:top][rising]
    high = min(high, float(f[-1]))
    if len(f) < 2 or not low < high:
        return float("nan")
    if len(f) == 2:
        return float((f[1] - f[0]) / (u[1] - u[0]))
    from scipy.interpolate import PchipInterpolator

    at = PchipInterpolator(f, u)
    return float((high - low) / (at(high) - at(low)))


def _from_nothing(force: Floats, travel: Floats) -> tuple[Floats, Floats]:
    """Return a curve from the last point without force on, its displacement counted from there."""
    idle = np.flatnonzero(force == 0.0)
    if not len(idle):
        return np.append(0.0, force), np.append(0.0, travel)
    first = idle[-1]
    return force[first:], travel[first:] - travel[first]


def _outside(joint: Joint, gauge: float, kept: Kept) -> float:
    """Return how much of the travel between grips is outside a gauge, mm/N, by linear elasticity."""
    elastic = joint.elastic()
    both = [solve_on(elastic.at(force=force), joint.analysis.mesh_density, kept).solution for force in (0.0, joint.load.force)]
    start, end = (one.elongation - displacement_of(one, gauge) for one in both)
    return abs((end - start) / joint.load.force)
