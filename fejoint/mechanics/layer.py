"""What becomes of a cohesive layer: its tractions and damage at the nodes, its cracks, and where it parts first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.mechanics.body import Body, History
from fejoint.mechanics.discretisation import Discretisation
from fejoint.mechanics.interface import Interface

__all__ = ["Crack", "Nodal", "Onset", "crack_of", "first_parting", "nodal_tractions"]

Floats = NDArray[np.float64]

ROUND_OFF = 1e-6  # of the stiffness: a place that has no more of it has parted, at a balance found to round-off


@dataclass(frozen=True)
class Crack:
    """How far a bondline has parted.

    Attributes
    ----------
    left, right : float, mm
        Length that is parted without a gap from either end of the overlap; both are the whole where all is.
    parted, damaged : float, mm
        Length that is parted in all, flaws among it; length that is damaged and still bears.
    lost_1, lost_2 : float, N
        Work lost in opening and in sliding, per unit width.
    """

    left: float
    right: float
    parted: float
    damaged: float
    lost_1: float
    lost_2: float


class Onset(NamedTuple):
    """Where a layer is nearest to parting.

    Attributes
    ----------
    bondline : int
    x : float, mm
    share : float
        Of mode II in the work lost there, or where none is in the energy stored.
    progress : float
        Separation there over that at failure.
    """

    bondline: int
    x: float
    share: float
    progress: float


class Nodal(NamedTuple):
    """Fields of the layers at all nodes; NaN outside them.

    Attributes
    ----------
    bondline : (nodes, 4) array, MPa
        Normal and shear traction as yy and xy; no stress along the joint or across.
    carried : (nodes, 5) array, MPa
        In the axes of space: what the upper face does to the lower one, xy along x and yy along y.
    cauchy : (nodes, 4) array, MPa
        The tractions' stress turned into the axes of space.
    damage, opening, sliding : (nodes,) arrays
    """

    bondline: Floats
    carried: Floats
    cauchy: Floats
    damage: Floats
    opening: Floats
    sliding: Floats


def crack_of(interface: Interface, history: tuple[Floats, Floats]) -> Crack:
    """Return how far an interface has parted."""
    damage, weight = history[1].ravel(), interface.weight.ravel()
    gone = damage >= 1 - ROUND_OFF
    lost = (history[0][..., 2:] * interface.weight[..., None]).sum(axis=(0, 1))
    held = np.flatnonzero(~gone)
    left, right = (weight.sum(),) * 2 if not len(held) else (weight[: held[0]].sum(), weight[held[-1] + 1 :].sum())
    return Crack(
        left=float(left),
        right=float(right),
        parted=float(weight[gone].sum()),
        damaged=float(weight[(damage > 0) & ~gone].sum()),
        lost_1=float(lost[0]),
        lost_2=float(lost[1]),
    )


def first_parting(body: Body, history: History) -> Onset:
    """Return where the layers are nearest to parting, the first of equals; give it the state at the largest load."""
    found: list[Onset] = []
    for interface in body.interfaces:
        known, damage = history[interface.name]
        flat, law = known.reshape(-1, 4), interface.law
        progress = np.where(damage.ravel() >= 1, np.maximum(law.progress(flat[:, :2])[0], 1.0), law.progress(flat[:, :2])[0])
        progress = np.where(interface.sound.ravel(), progress, -1.0)  # flaws have parted before
        at = int(np.flatnonzero(progress >= progress.max() * (1 - 1e-6))[0])
        lost = flat[at, 2:]
        share = lost[1] / lost.sum() if lost.sum() > 0 else float(law.shares(flat[at : at + 1, :2])[0])
        number = int(interface.name.removeprefix("bondline "))
        found.append(Onset(number, float(interface.place.ravel()[at]), float(share), float(progress[at])))
    best = max(one.progress for one in found)
    return next(one for one in found if one.progress >= best * (1 - 1e-6))


def nodal_tractions(body: Body, displacement: Floats, history: History) -> Nodal:
    """Return the tractions, damage and separations of the layers at the nodes of their cells: the same all through the layer.

    Places of two elements have the mean of both; tractions are those of places at nodes (`interface.QUADRATURE`).
    """
    d = body.discretisation
    values = np.zeros((len(d.points), 9))  # normal, shear, along x and y in space, tangent (x, y), damage, opening, sliding
    counted = np.zeros(len(d.points))
    for interface in body.interfaces:
        known = history[interface.name]
        stuck = interface.evaluate(displacement, known, False)
        tangent = interface.tangents(displacement)
        normal = np.stack([-tangent[..., 1], tangent[..., 0]], axis=-1)
        space = stuck.traction[..., :1] * normal + stuck.traction[..., 1:] * tangent
        parts = [stuck.traction, space, tangent, known[1][..., None], known[0][..., :2]]
        own = np.concatenate(parts, axis=-1).reshape(-1, 9)
        at = interface.lower.ravel()
        np.add.at(values, at, own)
        np.add.at(counted, at, 1.0)
    values /= np.maximum(counted, 1.0)[:, None]
    field = np.full((len(d.points), 9), np.nan)
    inside, below = _below(d, body.interfaces)
    field[inside] = values[below]
    sigma, tau, along_x, along_y, cos, sin, damage, opening, sliding = field.T
    nothing = np.where(np.isnan(sigma), np.nan, 0.0)
    length = np.hypot(cos, sin)
    c, s = cos / length, sin / length
    return Nodal(
        bondline=np.stack([nothing, sigma, tau, nothing], axis=1),
        carried=np.stack([nothing, along_y, along_x, nothing, nothing], axis=1),
        cauchy=np.stack(
            [sigma * s * s - 2 * tau * s * c, sigma * c * c + 2 * tau * s * c, tau * (c * c - s * s) - sigma * s * c, nothing],
            axis=1,
        ),
        damage=damage,
        opening=opening,
        sliding=sliding,
    )


def _below(d: Discretisation, interfaces: tuple[Interface, ...]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the nodes of the layers' cells, and for each the node of the lower face below it."""
    inside = np.unique(d.nodes_ac[d.section.cells("adhesive")])
    found, below = [], []
    for interface in interfaces:
        line = np.append(interface.lower[:, :2].ravel(), interface.lower[-1, 2])
        low, high = d.points[interface.lower[0, 0], 1], d.points[interface.upper[0, 0], 1]
        own = inside[(d.points[inside, 1] > low - 0.01 * (high - low)) & (d.points[inside, 1] < high + 0.01 * (high - low))]
        x = d.points[line, 0]
        k = np.clip(np.searchsorted(x, d.points[own, 0] - 1e-9 * (x[-1] - x[0])), 0, len(x) - 1)
        found.append(own)
        below.append(line[k])
    return np.concatenate(found), np.concatenate(below)
