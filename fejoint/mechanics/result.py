"""A solved joint in memory: its outcome, with the mesh and the displacements behind it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.mechanics.linear import Solution
from fejoint.mechanics.outcome import Outcome
from fejoint.mechanics.section import Section

__all__ = ["Result"]


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Result(Outcome):
    """A solved joint, complete: what it comes to, and the mesh and displacements behind that.

    Attributes
    ----------
    section : Section
        The last mesh.
    solution : Solution
        Displacements and reactions on it.
    adhesive_stress : (nodes, 4) array, MPa
        Recovered stress xx, yy, xy, zz; NaN outside the adhesive.
    """

    section: Section
    solution: Solution
    adhesive_stress: NDArray[np.float64]
