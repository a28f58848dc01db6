"""Test curves of specimens, and what a point of a material does at the same strains: in tension, and under shear alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.errors import JointError
from fejoint.joint.yielding import Yielding

__all__ = ["Compared", "first_slope", "point_stress", "shear_factor", "shear_path", "up_to_break"]

Floats = NDArray[np.float64]

FEWEST = 8
FALLEN = 0.95  # of the largest stress: what lies below it for good is the break
ITERATIONS = 60


@dataclass(frozen=True, eq=False)
class Compared:
    """A measured curve and the fitted material's, at the same strains.

    Attributes
    ----------
    strain, stress, model : (n,) arrays, none and MPa
        In tension logarithmic strain and true stress; in shear nominal
        engineering shear strain and shear stress.
    """

    strain: Floats
    stress: Floats
    model: Floats

    @property
    def residual(self) -> float:
        """Root mean square of the difference, as a share of the largest stress."""
        return float(np.sqrt(np.mean((self.model - self.stress) ** 2)) / np.max(self.stress))


def shear_factor(surface: str, ratio: float) -> float:
    """Return the yield stress in pure shear over that in tension, at a compression ratio.

    Paraboloid (Raghava, Caddell & Yeh 1973, from memory): sqrt(ratio / 3); cone
    (Drucker & Prager 1952, from memory): 2 ratio / ((ratio + 1) sqrt(3)); both are
    1 / sqrt(3) at ratio 1, as von Mises' is.
    """
    if surface == "paraboloid":
        return math.sqrt(ratio / 3)
    return 2 * ratio / ((ratio + 1) * math.sqrt(3)) if surface == "cone" else 1 / math.sqrt(3)


def shear_path(surface: str, plastic_poisson_ratio: float) -> float:
    """Return the equivalent plastic strain per plastic engineering shear strain, under shear stress alone.

    The equivalent strain is the norm of the plastic strain over
    sqrt(1 + 2 nu_p^2). The paraboloid's flow keeps the volume under shear; the
    cone's does not: it goes by q + p tan psi, tan psi = 3 (1 - 2 nu_p) / (2 (1 + nu_p)).
    """
    if surface == "von-mises":
        return 1 / math.sqrt(3)
    nu = plastic_poisson_ratio
    dilation = 3 * (1 - 2 * nu) / (2 * (1 + nu)) if surface == "cone" else 0.0
    return math.sqrt(1.5 + dilation**2 / 3) / math.sqrt(3) / math.sqrt(1 + 2 * nu**2)


def up_to_break(name: str, curve: tuple[ArrayLike, ArrayLike], notes: list[str]) -> tuple[Floats, Floats]:
    """Return strain and stress of a measured curve up to its break; a note on what was left out is added to `notes`.

    Raises
    ------
    JointError
        It is no curve; `name` says which.
    """
    try:
        e, s = (np.asarray(part, dtype=np.float64) for part in curve)
    except (TypeError, ValueError):
        raise JointError(f"{name}: must be strains and stresses (MPa), two lists of numbers.") from None
    if e.ndim != 1 or e.shape != s.shape or len(e) < FEWEST:
        raise JointError(f"{name}: must be two lists of one length, at least {FEWEST} points; give strains and stresses.")
    if not (np.isfinite(e).all() and np.isfinite(s).all()):
        raise JointError(f"{name}: holds what is no finite number; leave such points out.")
    if (np.diff(e) < 0).any() or e[0] < 0:
        at = int(np.argmax(np.diff(e, prepend=0.0) < 0)) + 1
        raise JointError(f"{name}: strain of point {at} ({e[at - 1]:g}) must not fall, nor lie below 0; order the points.")
    if e[-1] > 5:
        raise JointError(f"{name}: strains reach {e[-1]:g}; they are numbers, not per cent: divide by 100.")
    if np.max(s) <= 0 or e[-1] == 0:
        raise JointError(f"{name}: no point lies above zero stress and strain; check the columns.")
    last = int(np.flatnonzero(s >= FALLEN * np.max(s))[-1]) + 1
    if last < FEWEST:
        raise JointError(f"{name}: has {last} points up to its largest stress, and needs {FEWEST}; check the columns.")
    if last < len(e):
        notes.append(f"The {name} curve was followed up to strain {e[last - 1]:.4g}, where its stress falls for good.")
    return e[:last], s[:last]


def point_stress(strain: Floats, modulus: float, yielding: Yielding, factor: float, path: float) -> Floats:
    """Return the stress of a point at total strains: modulus, then factor * yield stress at path * plastic strain.

    Newton's method on modulus (strain - plastic) = yield stress, from no
    plastic strain up: the difference falls with it, ever less steeply, so that no
    step goes too far.
    """
    plastic = np.zeros_like(strain)
    for _ in range(ITERATIONS):
        off = modulus * (strain - plastic) - factor * yielding.stress(path * plastic)
        step = off / (modulus + factor * path * yielding.slope(path * plastic))
        plastic = np.maximum(plastic + step, 0.0)
        if np.max(np.abs(step) * (plastic > 0), initial=0.0) < 1e-13:
            break
    return modulus * (strain - plastic)


def first_slope(strain: Floats, stress: Floats) -> float:
    """Return the slope of a curve's beginning, up to a third of its largest stress, from the origin."""
    beyond = np.flatnonzero(stress >= np.max(stress) / 3)[0]
    n = max(int(beyond), 3)
    e, s = strain[:n], stress[:n]
    squares = float(e @ e)
    slope = float(e @ s) / squares if squares > 0 else 0.0
    return slope if slope > 0 else float(np.max(stress) / strain[-1])
