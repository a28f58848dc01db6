"""A coupon test against its prediction: load, stiffness, work, and force at the same displacement all along the curve.

Nothing is fitted. A measured curve begins where the line through its early
part meets zero force, which takes off the slack and the settling of the grips;
what the machine gave way is taken off where the test file says how much that is.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.curve import Pull
from fejoint.errors import JointError
from fejoint.mechanics.reuse import Kept
from fejoint.proof.gauge import checked_gauge
from fejoint.proof.measured import CouponTest
from fejoint.proof.predicted import Predicted, predicted
from fejoint.strength.predict import ROUTES

__all__ = ["ASSUMED_SCATTER", "Correlation", "Specimen", "correlate", "specimen_of", "work_to_peak"]

Floats = NDArray[np.float64]

LEAST_ON_THE_LINE = 4  # points that a line is laid through: fewer tell nothing of its scatter
COMPARED_AT = 200  # places along a curve where forces are compared
ASSUMED_SCATTER = 0.05  # of loads and stiffnesses of which one alone is known (an assumption)
LEAST_SCATTER = 0.01  # of coupons more alike than that: no tester and no model tells less (an assumption)


@dataclass(frozen=True, eq=False)
class Specimen:
    """One specimen's pull, as it is compared.

    Attributes
    ----------
    name : str
    displacement, force : (n,) arrays, mm and N
        From where its line meets zero force, up to the end of the record.
    stiffness : float, N/mm
        Of the line through its early part.
    slack : float, mm
        Displacement that was taken off its beginning.
    load : float, N
        The largest force.
    work : float, N mm
        Up to the largest force.
    largest_difference, rms_difference : float
        Predicted less measured force at the same displacement, up to the earlier of both peaks, as shares of the
        specimen's largest force: the largest in magnitude (with its sign) and the root mean square.
    """

    name: str
    displacement: Floats
    force: Floats
    stiffness: float
    slack: float
    load: float
    work: float
    largest_difference: float = math.nan
    rms_difference: float = math.nan


@dataclass(frozen=True, eq=False)
class Correlation:
    """A coupon test beside its prediction.

    Attributes
    ----------
    test : CouponTest
    predicted : Predicted
    routes : tuple of str
        Which criteria were asked.
    specimens : tuple of Specimen
        None where the test names no curve.
    gauge : float, mm, or None
        Length of the extensometer; None is between the grips.
    """

    test: CouponTest
    predicted: Predicted
    routes: tuple[str, ...]
    specimens: tuple[Specimen, ...]
    gauge: float | None

    @property
    def load(self) -> float:
        """Mean measured load, N."""
        return self.test.measured.mean

    @property
    def load_ratio(self) -> float:
        """Predicted over mean measured load."""
        return self.predicted.load / self.load

    @property
    def load_allowance(self) -> float:
        """Scatter within which loads count as the same, N: one standard deviation of the lot, 1 % at least; assumed of one."""
        deviation = self.test.measured.deviation
        return ASSUMED_SCATTER * self.load if deviation is None else max(deviation, LEAST_SCATTER * self.load)

    @property
    def line(self) -> tuple[float, float]:
        """Forces between which stiffnesses are taken, N."""
        curve = self.test.measured.curve
        low, high = (0.1, 0.4) if curve is None else (curve.line_from, curve.line_to)
        return low * self.load, high * self.load

    @property
    def stiffness(self) -> float:
        """Mean measured stiffness, N/mm; NaN without a curve."""
        return statistics.fmean(one.stiffness for one in self.specimens) if self.specimens else math.nan

    @property
    def predicted_stiffness(self) -> float:
        """Predicted stiffness between the same forces, N/mm."""
        return self.predicted.stiffness(*self.line)

    @property
    def stiffness_ratio(self) -> float:
        """Predicted over mean measured stiffness; NaN without a curve."""
        return self.predicted_stiffness / self.stiffness

    @property
    def stiffness_allowance(self) -> float:
        """Scatter within which stiffnesses count as the same, N/mm; assumed of a single specimen; NaN without a curve."""
        found = [one.stiffness for one in self.specimens]
        if len(found) < 2:
            return ASSUMED_SCATTER * self.stiffness
        return max(statistics.stdev(found), LEAST_SCATTER * self.stiffness)

    @property
    def work(self) -> float:
        """Mean measured work up to the largest force, N mm; NaN without a curve."""
        return statistics.fmean(one.work for one in self.specimens) if self.specimens else math.nan

    @property
    def predicted_work(self) -> float:
        """Predicted work up to the load, N mm."""
        return work_to_peak(self.predicted.displacement, self.predicted.force, self.predicted.load)

    @property
    def work_ratio(self) -> float:
        """Predicted over mean measured work up to the largest force; NaN without a curve."""
        return self.predicted_work / self.work

    @property
    def compliance_wanted(self) -> float:
        """What more of machine compliance would make both stiffnesses equal, mm/N; below 0 where less would."""
        return 1 / self.stiffness - 1 / self.predicted_stiffness

    @property
    def differs(self) -> tuple[str, ...]:
        """What lies outside the scatter of the coupons: ``load``; where there is a curve, ``stiffness``."""
        pairs = {"load": (self.predicted.load, self.load, self.load_allowance)}
        if self.specimens:
            pairs["stiffness"] = (self.predicted_stiffness, self.stiffness, self.stiffness_allowance)
        return tuple(name for name, (one, other, allowed) in pairs.items() if not abs(one - other) <= allowed)

    @property
    def within_scatter(self) -> bool:
        """Whether load and, where there is a curve, stiffness lie within the scatter of the coupons."""
        return not self.differs


def correlate(
    test: CouponTest,
    routes: Sequence[str] = ROUTES,
    kept: Kept | None = None,
    progress: Callable[[str], None] | None = None,
) -> Correlation:
    """Return a coupon test beside its prediction.

    Parameters
    ----------
    test : CouponTest
    routes : sequence of str
        As of `fejoint.strength_of`; `QUICK` leaves out the cohesive zone.
    kept : Kept, optional
    progress : callable, optional
        Called with a line of text before each stage.

    Raises
    ------
    JointError
        The curve cannot be read or has no early line; no criterion tells a load.
    MeshError, SetupError, ConvergenceError
        As `fejoint.solve`.
    """
    curve = test.measured.curve
    gauge = checked_gauge(test.joint, curve)
    pulls = test.pulls()
    line = (0.1, 0.4) if curve is None else (curve.line_from, curve.line_to)
    specimens = [specimen_of(pull, *line, extension=gauge is not None) for pull in pulls]
    found = predicted(test.joint, gauge, routes, kept, progress)
    return Correlation(test, found, tuple(routes), tuple(_compared(one, found) for one in specimens), gauge)


def specimen_of(pull: Pull, line_from: float, line_to: float, extension: bool = False) -> Specimen:
    """Return a pull as it is compared, its displacement counted from where the line through its early part meets zero force.

    Parameters
    ----------
    pull : Pull
        What the machine gave way taken off already.
    line_from, line_to : float
        Shares of the largest force between which the line is laid, by least squares of displacement on force.
    extension : bool
        Whether its displacement is what its extensometer read.

    Raises
    ------
    JointError
        Fewer than four points lie on that part of its way up, or the line does not rise.
    """
    travel = pull.extension if extension else pull.displacement
    assert travel is not None  # pulls_of has looked
    top = int(np.argmax(pull.force))
    u, f = np.asarray(travel, dtype=np.float64), np.asarray(pull.force, dtype=np.float64)
    load = float(f[top])
    way = f[: top + 1]
    # From the last time that the force was below, so that a start with a jerk does not count.
    below = np.flatnonzero(way < line_from * load)
    first = int(below[-1]) + 1 if len(below) else 0
    above = np.flatnonzero(way[first:] > line_to * load)
    last = first + int(above[0]) if len(above) else top + 1
    if last - first < LEAST_ON_THE_LINE:
        raise JointError(
            f"specimen {pull.name}: {last - first} points lie between {100 * line_from:g} and {100 * line_to:g} % of its largest "
            f"force on the way up, and its stiffness needs {LEAST_ON_THE_LINE}; widen measured.curve.line_from and line_to."
        )
    per_force, start = np.polyfit(f[first:last], u[first:last], 1)
    if not per_force > 0:
        lies = "what is taken off for the machine is more than what was measured" if not extension else "check its column"
        raise JointError(f"specimen {pull.name}: its displacement does not rise with the force; {lies}.")
    u = u - start
    # What lies before its line is slack: the line itself stands in its place.
    u, f = np.concatenate([[0.0], u[first:]]), np.concatenate([[0.0], f[first:]])
    return Specimen(pull.name, u, f, float(1 / per_force), float(start), load, work_to_peak(u, f, load))


def work_to_peak(displacement: Floats, force: Floats, load: float) -> float:
    """Return the work up to where a curve first comes to a load (its largest force at most), N mm."""
    top = int(np.argmax(force))
    load = min(load, float(force[top]))
    way = np.maximum.accumulate(force[: top + 1])
    at = int(np.argmax(way >= load))
    u, f = displacement[: at + 1].copy(), force[: at + 1].copy()
    if at > 0 and f[-1] > load:
        u[-1] = u[-2] + (u[-1] - u[-2]) * (load - f[-2]) / (f[-1] - f[-2])
        f[-1] = load
    return float(np.trapezoid(f, u))


def _compared(specimen: Specimen, found: Predicted) -> Specimen:
    """Return a specimen with what the prediction differs from it, up to the earlier of both peaks."""
    top = int(np.argmax(specimen.force))
    peak = int(np.argmax(found.force >= min(found.load, float(found.force.max())) * (1 - 1e-12)))
    u, way = specimen.displacement[: top + 1], specimen.force[: top + 1]
    order = np.argsort(u, kind="stable")  # recorded displacements may step back by their noise
    at = np.linspace(0.0, min(float(specimen.displacement[top]), float(found.displacement[peak])), COMPARED_AT)
    off = (np.interp(at, found.displacement, found.force) - np.interp(at, u[order], way[order])) / specimen.load
    worst = float(off[np.argmax(np.abs(off))])
    return replace(specimen, largest_difference=worst, rms_difference=float(np.sqrt(np.mean(off**2))))
