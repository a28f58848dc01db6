"""The load that a joint bears as a band: what the scatter of its inputs makes of it.

Every input that scatters is normal about its value, cut at three standard
deviations; the joints are a scrambled Sobol sequence of them (scipy), solved
through the sweep engine. Only the inputs scatter: the model's own error, and
inputs not named, are not in the band, and it is no allowable.
"""

from __future__ import annotations

import math
import tempfile
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fejoint.errors import JointError, SetupError
from fejoint.joint.description import Joint
from fejoint.joint.strength import Scatter
from fejoint.mechanics.result import Result
from fejoint.mechanics.reuse import Kept
from fejoint.show.files import csv_text, joint_as_understood
from fejoint.strength.predict import QUICK, strength_of

__all__ = ["NOT_COVERED", "Band", "load_band", "strength_column"]

NOT_COVERED = "input scatter only; not an allowable; model error not included"
CUT = 3.0  # standard deviations
SHARES = (0.05, 0.5, 0.95)
_of_this_thread = threading.local()  # joints that differ in strengths or loads alone share mesh and system
LEAST_DONE = 0.9  # of the joints: a band of what is left would be of other joints than those asked for


@dataclass(frozen=True, eq=False)
class Band:
    """The loads that joints with scattered inputs bear.

    Attributes
    ----------
    scatter : tuple of Scatter
    samples, done : int
        Joints asked for, and those that have a load.
    seed : int
    factors : (done,) array
        Share of the joint's loads that each bears, knockdowns counted in, ascending.
    force : float, N
        The joint's force.
    modes : dict
        How many fail first in which way.
    stated : float
        Share of the loads that the joint bears at the figures it states, by the same criteria.
    """

    scatter: tuple[Scatter, ...]
    samples: int
    done: int
    seed: int
    factors: np.ndarray[Any, np.dtype[np.float64]]
    force: float
    modes: dict[str, int]
    stated: float

    def factor(self, share: float) -> float:
        """Return the share of the load below which a share of the joints fails."""
        return float(np.quantile(self.factors, share))

    def data(self) -> dict[str, Any]:
        """Return the band as plain data."""
        low, middle, high = (self.factor(share) for share in SHARES)
        return {
            "not_covered": NOT_COVERED,
            "samples": self.samples,
            "done": self.done,
            "seed": self.seed,
            "scatter": [item.model_dump() for item in self.scatter],
            "factors": {
                "5 %": low,
                "50 %": middle,
                "95 %": high,
                "least": float(self.factors[0]),
                "most": float(self.factors[-1]),
                "stated": self.stated,
            },
            "force_N": {
                "5 %": low * self.force,
                "50 %": middle * self.force,
                "95 %": high * self.force,
                "stated": self.stated * self.force,
            },
            "below_applied": int((self.factors < 1).sum()),
            "modes": self.modes,
        }


def strength_column(result: Result) -> dict[str, Any]:
    """Return load and way of failing of a solved joint, as columns of a sweep; without the cohesive zone."""
    kept = _of_this_thread.__dict__.setdefault("kept", Kept())
    least = strength_of(result.joint, routes=QUICK, variants=False, kept=kept).governing
    return {"factor": least.factor, "mode": least.mode.key, "criterion": least.capacity.key}


def load_band(
    joint: Joint,
    samples: int = 32,
    seed: int = 1,
    workers: int | None = None,
    progress: Callable[[Any], None] | None = None,
) -> Band:
    """Return the loads of joints whose inputs scatter as ``[[strength.scatter]]`` says.

    Parameters
    ----------
    joint : Joint
    samples : int
        Joints; some dozens show the band, its ends need hundreds.
    seed : int
    workers : int, optional
        Processes; one a core unless given.
    progress : callable, optional
        As of `fejoint.sweep`.

    Raises
    ------
    JointError
        Nothing scatters, or a key that the joint has no number for.
    SetupError
        As `fejoint.sweep`; or more than a tenth of the joints have no load.
    """
    from fejoint.study.sweep import sweep

    scatter = joint.strength.scatter
    if not scatter:
        raise JointError(
            "strength.scatter is missing (what scatters, and how much): add it, for example "
            '[[strength.scatter]] key = "adhesive.shear_strength", variation = 0.08.'
        )
    means = {item.key: _number_at(joint, item.key) for item in scatter}
    points = _points(len(scatter), samples, seed)
    values = np.array([means[item.key] for item in scatter]) * (1 + points * np.array([item.variation for item in scatter]))
    rows = [list(means), *([repr(float(v)) for v in row] for row in values)]
    with tempfile.TemporaryDirectory() as scratch:
        table = Path(scratch) / "joints.csv"
        table.write_text(csv_text(rows), encoding="utf-8")
        found = sweep(joint, table=table, columns=[strength_column], workers=workers, progress=progress, yes=True)
    done = found[found["strength_column.factor"].notna()] if "strength_column.factor" in found else found[:0]
    if len(done) < LEAST_DONE * samples:
        reasons = [str(r) for r in found["reason"] if r]
        raise SetupError(
            f"the band: only {len(done)} of {samples} joints have a load ({reasons[0] if reasons else 'no reason'})."
        )
    modes = done["strength_column.mode"].value_counts().to_dict()
    return Band(
        scatter=scatter,
        samples=samples,
        done=len(done),
        seed=seed,
        factors=np.sort(done["strength_column.factor"].to_numpy(dtype=float)),
        force=joint.load.force,
        modes={str(mode): int(number) for mode, number in modes.items()},
        stated=strength_of(joint, routes=QUICK, variants=False).governing.factor,
    )


def _points(dimensions: int, samples: int, seed: int) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return standard normal numbers, cut, (samples, dimensions)."""
    import warnings

    from scipy.stats import norm, qmc

    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "The balance properties of Sobol", UserWarning)  # of numbers that are no power of 2
        shares = qmc.Sobol(dimensions, scramble=True, seed=seed).random(samples)
    low, high = norm.cdf(-CUT), norm.cdf(CUT)
    return np.asarray(norm.ppf(low + (high - low) * shares))


def _number_at(joint: Joint, key: str) -> float:
    """Return the number that a joint has under a dotted key of its file."""
    here: Any = joint_as_understood(joint)
    for part in key.split("."):
        here = here.get(part) if isinstance(here, dict) else None
    if isinstance(here, bool) or not isinstance(here, int | float) or not here or not math.isfinite(here):
        raise JointError(
            f'strength.scatter: key = "{key}": the joint has no number there that is not 0; check the key, or add the figure.'
        )
    return float(here)
