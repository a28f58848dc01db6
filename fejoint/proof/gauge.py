"""What is measured of a coupon's displacement: between its grips, or by an extensometer about the overlap's middle."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.mechanics.linear import Solution
from fejoint.proof.tested import MeasuredCurve

__all__ = ["checked_gauge", "displacement_of", "gauge_points", "moved"]

Floats = NDArray[np.float64]


def gauge_points(joint: Joint, length: float) -> tuple[float, float]:
    """Return where an extensometer holds the gripped and the loaded adherend, x in mm, alike far from the overlap's middle."""
    middle, side = joint.geometry.length / 2, joint.geometry.pull
    return middle - side * length / 2, middle + side * length / 2


def checked_gauge(joint: Joint, curve: MeasuredCurve | None) -> float | None:
    """Return the gauge length of a curve's extensometer, mm, None of one between the grips.

    Raises
    ------
    JointError
        The extensometer is longer than the specimen.
    """
    if curve is None or curve.gauge_length is None:
        return None
    geometry = joint.geometry
    ends = [geometry.adherends()[name].free_length for name in (*geometry.gripped, *geometry.loaded)]
    most = geometry.length + 2 * min(ends)
    if curve.gauge_length > most:
        raise JointError(
            f'measured.curve.gauge_length = "{curve.gauge_length:g} mm": must be at most {most:g} mm, as far as both adherends '
            "reach between the grips."
        )
    return curve.gauge_length


def displacement_of(solution: Solution, gauge: float | None) -> float:
    """Return what a gauge reads of a solution, mm: positive when it lengthens.

    Parameters
    ----------
    solution : Solution
        Of a whole section.
    gauge : float, mm, or None
        Length of an extensometer on the mid-planes of the adherends; None is between the grips.
    """
    if gauge is None:
        return solution.elongation
    geometry = solution.joint.geometry
    held, pulled = gauge_points(solution.joint, gauge)
    there = float(np.mean([moved(solution, name, pulled) for name in geometry.loaded]))
    here = float(np.mean([moved(solution, name, held) for name in geometry.gripped]))
    return geometry.pull * (there - here)


def moved(solution: Solution, region: str, x: float) -> float:
    """Return the displacement along x of an adherend's mid-plane at a place x (mm of the undeformed section), mm.

    Raises
    ------
    JointError
        The adherend does not reach there.
    """
    d = solution.discretisation
    nodes = d.nodes_ac[d.section.cells(region)]
    at = d.points[nodes]  # (cells, 9, 2)
    slack = 1e-9 * float(np.ptp(at[:, :, 0]))
    column = np.flatnonzero((at[:, :4, 0].min(axis=1) <= x + slack) & (at[:, :4, 0].max(axis=1) >= x - slack))
    if not len(column):
        raise JointError(f"the {region} adherend does not reach x = {x:g} mm; shorten the gauge.")
    y = (at[column][:, :, 1].min() + at[column][:, :, 1].max()) / 2
    cell = column[np.argmin(np.abs(at[column, 8, 1] - y))]  # the ninth node is the cell's middle
    middle, size = at[cell].mean(axis=0), np.ptp(at[cell], axis=0)

    def powers(points: Floats) -> Floats:
        s, t = ((points - middle) / size).T
        return np.stack([s**i * t**j for i in range(3) for j in range(3)], axis=-1)

    shares = np.linalg.solve(powers(at[cell]).T, powers(np.array([[x, y]]))[0])
    return float(shares @ solution.displacement[nodes[cell], 0])
