"""One specimen's pull: force against displacement, as the tester recorded it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = ["Pull"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Pull:
    """Force against displacement of one specimen.

    Attributes
    ----------
    name : str
        The specimen's.
    displacement : (n,) array, mm
        Between the grips, or of the loading point.
    force : (n,) array, N
    extension : (n,) array, mm, or None
        What an extensometer on the specimen read.
    time : (n,) array, s, or None
    crack_length : (n,) array, mm, or None
        Of specimens with a crack, where it was read; NaN elsewhere.
    """

    name: str
    displacement: Floats
    force: Floats
    extension: Floats | None = None
    time: Floats | None = None
    crack_length: Floats | None = None

    def without_machine(self, compliance: float) -> Pull:
        """Return the pull with what the machine gave way (compliance in mm/N, times the force) taken off its displacement."""
        return replace(self, displacement=self.displacement - compliance * self.force)

    @property
    def largest(self) -> float:
        """The largest force, N."""
        return float(np.max(self.force))
