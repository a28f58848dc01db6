"""As-built comparison: what the theories say of a joint, held against its solved section.

The theories reduce a joint to bars, beams and springs; the finite elements
here solve the section as it is built, with corners, free ends and fillets. A
ratio is finite elements over theory: above 1 the theory is too low.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.advice import Advice, Validity, peak_of, validity, which_to_trust, why_they_differ
from fejoint.bondline.closed_form.comparison import THEORIES, Theory
from fejoint.bondline.closed_form.comparison import compare as theories_of
from fejoint.bondline.curves import Bondline, Peak
from fejoint.bondline.edge_moment import rotation_change
from fejoint.errors import JointError, TheoryError
from fejoint.joint.description import Joint
from fejoint.mechanics.checks import stress_floor
from fejoint.mechanics.driver import solve
from fejoint.mechanics.outcome import Outcome

__all__ = ["FAR", "Beside", "Comparison", "Row", "Stretch", "compare", "compared", "peak_towards", "peaks_of"]

Floats = NDArray[np.float64]

FAR = 0.1  # of the peak of finite elements: where a theory is off by more, its place is told
NONE_BESIDE = "{!r} is no theory beside this joint, which no theory covers."
PLACES = 2001  # along every bondline; a stretch's ends are found between them


class Stretch(NamedTuple):
    """Part of a bondline, from start to end, mm."""

    bondline: int
    start: float
    end: float


@dataclass(frozen=True)
class Beside:
    """One stress of a theory beside finite elements.

    Attributes
    ----------
    peak : Peak
        Shear of largest magnitude, or most opening peel, of all bondlines.
    ratio : float
        Peak of finite elements over the theory's; NaN where either is none.
    off : list of Stretch
        Where the theory is off by more than a tenth of the peak of finite
        elements, from one bondline thickness inside the ends of every bondline.
    """

    peak: Peak
    ratio: float
    off: list[Stretch]


@dataclass(frozen=True)
class Row:
    """A theory beside finite elements; `shear`, `peel` are None where it does not give them."""

    name: str
    bondlines: list[Bondline]
    shear: Beside | None
    peel: Beside | None

    @property
    def measure(self) -> str:
        """Which stress this is."""
        return self.bondlines[0].measure


@dataclass(frozen=True, eq=False)
class Comparison:
    """Theories beside the solved section of a joint.

    Attributes
    ----------
    result : Outcome
        Of finite elements.
    rows : list of Row
        Theories that have a result.
    refused : dict
        Name of a theory to why it has none.
    validity : Validity
        The numbers that decide which theory holds.
    why : str
        Why theories and finite elements differ.
    advice : Advice
        Which theory to trust.
    """

    result: Outcome
    rows: list[Row]
    refused: dict[str, str]
    validity: Validity
    why: str
    advice: Advice

    def row(self, name: str) -> Row:
        """Return the row of a theory by its name.

        Raises
        ------
        TheoryError
            It has no result for this joint, or there is no such theory; says why, or which there are.
        """
        rows = {row.name: row for row in self.rows}
        if name in rows:
            return rows[name]
        if name in self.refused:
            raise TheoryError(f"{name} has no result for this joint: {self.refused[name]}")
        known = "; ".join(f'"{known}"' for known in rows)
        raise TheoryError(f"{name!r} is no theory beside this joint; there are {known}." if known else NONE_BESIDE.format(name))


def compare(joint: Joint, progress: Callable[[str], None] | None = None) -> Comparison:
    """Solve a joint and hold every theory for its family against the result.

    Parameters
    ----------
    joint : Joint
    progress : callable, optional
        Called with a line of text before each stage.

    Raises
    ------
    JointError, MeshError, SetupError, ConvergenceError
        As `fejoint.solve`.

    Examples
    --------
    >>> import fejoint
    >>> found = fejoint.compare(fejoint.load("joint.toml"))  # doctest: +SKIP
    >>> {row.name: row.shear.ratio for row in found.rows}  # doctest: +SKIP
    """
    if not isinstance(joint, Joint):
        raise JointError(f"compare: give a Joint, not {type(joint).__name__}; fejoint.load reads one from a file.")
    return compared(solve(joint, progress))


def compared(result: Outcome) -> Comparison:
    """Hold every theory for a joint's family against its result of finite elements."""
    joint, theories = result.joint, theories_of(result.joint, result.edges)
    rotation, peaks = rotation_change(joint), peaks_of(result)
    return Comparison(
        result=result,
        rows=[_row(theory, result) for theory in theories if theory.bondlines],
        refused={theory.name: theory.reason for theory in theories if not theory.bondlines},
        validity=validity(joint, rotation),
        why=why_they_differ(joint, theories, result.edges, peaks),
        advice=which_to_trust(joint, theories, rotation, peaks),
    )


def peaks_of(result: Outcome) -> dict[str, float]:
    """Return the peaks of finite elements, MPa, by stress; without those that are none but for round-off."""
    floor = stress_floor(result.joint)
    peaks = {"shear": result.peak_shear[0].value, "peel": result.peak_peel[0].value}
    return {name: value for name, value in peaks.items() if abs(value) > floor}


# ---- parts ---------------------------------------------------------------


def _row(theory: Theory, result: Outcome) -> Row:
    gives = next(entry.gives for entry in THEORIES if entry.name == theory.name)
    found = {name: _beside(theory.bondlines, result, name) if name in gives else None for name in ("shear", "peel")}
    return Row(theory.name, theory.bondlines, found["shear"], found["peel"])


def _beside(bondlines: list[Bondline], result: Outcome, name: str) -> Beside:
    peak, fe = peak_of(bondlines, name), peaks_of(result).get(name)
    if fe is None:
        return Beside(peak, math.nan, [])
    if name == "shear":  # of the sign of the FE peak: where both signs peak alike, the two may pick unlike ends
        peak = peak_towards(bondlines, fe)
    ratio = fe / peak.value if abs(peak.value) > 1e-9 * abs(fe) else math.nan
    inset = result.joint.geometry.bondline_thickness
    solved = {b.number: b for b in result.bondlines}
    off = [
        Stretch(b.number, start, end) for b in bondlines for start, end in _off(solved[b.number], b, name, inset, FAR * abs(fe))
    ]
    return Beside(peak, ratio, off)


def peak_towards(bondlines: list[Bondline], fe: float) -> Peak:
    """Return a theory's largest shear in the direction of that of finite elements."""
    if fe > 0:
        return max((b.middle.highest("shear") for b in bondlines), key=lambda peak: peak.value)
    return min((b.middle.lowest("shear") for b in bondlines), key=lambda peak: peak.value)


def _off(solved: Bondline, theory: Bondline, name: str, inset: float, limit: float) -> list[tuple[float, float]]:
    """Return where a theory is off by more than a limit (MPa), from an inset (mm) inside the bondline's ends."""
    start, end = float(solved.x[0]) + inset, float(solved.x[-1]) - inset
    if end <= start:
        return []
    x = np.linspace(start, end, PLACES)
    return _stretches(x, np.abs(theory.middle.at(x, name) - solved.middle.at(x, name)) - limit)


def _stretches(x: Floats, excess: Floats) -> list[tuple[float, float]]:
    """Return where a function given at places x is positive, from and to, its zeros found between the places."""
    above = excess > 0
    cross = np.flatnonzero(above[1:] != above[:-1])
    zeros = x[cross] + (x[cross + 1] - x[cross]) * excess[cross] / (excess[cross] - excess[cross + 1])
    ends = [*([x[0]] if above[0] else []), *zeros, *([x[-1]] if above[-1] else [])]
    return [(float(a), float(b)) for a, b in zip(ends[::2], ends[1::2], strict=True)]
