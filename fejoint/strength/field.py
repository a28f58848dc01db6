"""Stresses of a joint at any share of its loads: what criteria on the stress field look at.

Linear elasticity: temperature and moisture leave a stress, the loads add one in
proportion. Along a load's path: between increments the stress is
interpolated. Both are stresses at a few shares of the loads, straight between
them; linear elasticity has two and goes on beyond them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Bondline, Curve
from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.mechanics.driver import solve_on
from fejoint.mechanics.load_path import AdherendSection, adherend_sections
from fejoint.mechanics.outcome import Outcome
from fejoint.mechanics.reuse import Kept
from fejoint.strength.stretches import stretches

__all__ = ["STRESSES", "Field", "Line", "field_of_path", "linear_field", "unloaded"]

Floats = NDArray[np.float64]
STRESSES = ("shear", "peel", "axial")
SHORTEST = 0.25  # of a line between flaws, in bondline thicknesses


@dataclass(frozen=True, eq=False)
class Line:
    """Stresses along one level of a bonded stretch of a bondline at every share.

    Attributes
    ----------
    number : int
        Of the bondline.
    level : str
        ``middle``, ``lower`` or ``upper``.
    left, right : float, mm
        Where the stretch ends, at the overlap's end or a flaw's edge; where the stress is singular there the curve begins inside.
    x : (m,) array, mm
    stress : (shares, 3, m) array, MPa
        Shear, peel, axial.
    strain : (shares, m) array or None
        Engineering shear strain of the mid-line, of a load's path.
    """

    number: int
    level: str
    left: float
    right: float
    x: Floats
    stress: Floats
    strain: Floats | None = None


@dataclass(frozen=True, eq=False)
class Field:
    """Stresses at some shares of a joint's loads.

    Attributes
    ----------
    joint : Joint
        Under its whole load.
    density : float
        Of the mesh.
    shares : (n,) array
        Of the loads, increasing from 0.
    lines : tuple of Line
    sections : tuple of lists of AdherendSection
        Of every share.
    endless : bool
        Whether stresses go on in proportion beyond the last share.
    why_ended : str
        Why there are none beyond the last share, in words; empty where they go on.
    """

    joint: Joint
    density: float
    shares: Floats
    lines: tuple[Line, ...]
    sections: tuple[Sequence[AdherendSection], ...]
    endless: bool
    why_ended: str = ""

    def curve(self, line: Line, share: float) -> Curve:
        """Return the stresses along a line at a share of the loads."""
        return Curve(line.x, *self.between(line.stress, share))

    def strain(self, line: Line, share: float) -> Floats | None:
        """Return the shear strain along a line at a share of the loads, (m,)."""
        return None if line.strain is None else self.between(line.strain, share)

    def sections_at(self, share: float) -> list[AdherendSection]:
        """Return what the adherends carry at a share of the loads."""
        i, t = self._place(share)

        def mixed(a: float | None, b: float | None) -> float | None:
            return None if a is None or b is None else a + t * (b - a)

        return [
            replace(a, **{key: mixed(getattr(a, key), getattr(b, key)) for key in ("axial", "shear", "moment")})  # type: ignore[arg-type]
            for a, b in zip(self.sections[i], self.sections[i + 1], strict=True)
        ]

    def between(self, values: Floats, share: float) -> Floats:
        """Return what is known at every share (first axis) at a share of the loads: straight between them."""
        i, t = self._place(share)
        return np.asarray(values[i] + t * (values[i + 1] - values[i]))

    def _place(self, share: float) -> tuple[int, float]:
        if len(self.shares) == 1:  # the path ended before any load acted
            return -1, 0.0
        i = int(np.clip(np.searchsorted(self.shares, share, side="right") - 1, 0, len(self.shares) - 2))
        return i, float((share - self.shares[i]) / (self.shares[i + 1] - self.shares[i]))


def unloaded(joint: Joint) -> Joint:
    """Return the joint under its temperature and moisture alone, in the state out of plane of the whole load, ends held alike."""
    return joint.at(force=0.0, moment=0.0, shear_force=0.0)


def linear_field(joint: Joint, density: float, kept: Kept) -> Field:
    """Return the stresses of linear elasticity on the mesh of a density.

    Raises
    ------
    MeshError, SetupError, ConvergenceError
        As `fejoint.solve`.
    """
    loaded = solve_on(joint, density, kept)
    sections = adherend_sections(loaded.solution, loaded.bondlines)
    environment = joint.environment
    if environment.temperature_change or environment.moisture:
        # With the end guided, or not, as under the load: a tiny force keeps it so.
        bare = joint.at(force=0.0, moment=0.0, shear_force=1e-9 * joint.load.shear_force)
        first = solve_on(bare, density, kept)
        lines = _lines(joint, [first.bondlines, loaded.bondlines])
        return Field(
            joint, density, np.array([0.0, 1.0]), lines, (adherend_sections(first.solution, first.bondlines), sections), True
        )
    lines = _from_nothing(_lines(joint, [loaded.bondlines]))
    return Field(joint, density, np.array([0.0, 1.0]), lines, (_bearing_nothing(sections), sections), True)


def field_of_path(joint: Joint, path: Sequence[Outcome], density: float, why_ended: str) -> Field:
    """Return the stresses along a load's path.

    Parameters
    ----------
    joint : Joint
        Under the load that is share 1.
    path : sequence of Outcome
        Its increments, those of temperature and moisture first.
    density : float
    why_ended : str

    Raises
    ------
    JointError
        The joint has no load whose share could be asked for.
    """
    name, whole = next(
        ((key, value) for key in ("force", "moment", "shear_force") if (value := getattr(joint.load, key))), ("", 0.0)
    )
    if not whole:
        raise JointError("load.force = 0 N: strength is a share of the loads, and there is none; give force.")
    last = path[-1].step
    outcomes = [o for o in path if o.step == last]
    before = [o for o in path if o.step != last][-1:]
    shares = [getattr(o.joint.load, name) / whole for o in outcomes]
    curves, sections = [o.bondlines for o in outcomes], [list(o.adherend_sections) for o in outcomes]
    if before:
        shares, curves, sections = [0.0, *shares], [before[0].bondlines, *curves], [list(before[0].adherend_sections), *sections]
    lines = _lines(joint, curves)
    if not before:
        shares, sections, lines = [0.0, *shares], [_bearing_nothing(sections[0]), *sections], _from_nothing(lines)
    # Past a limit load the load falls; criteria are asked on the way up.
    rising = [0]
    for i, share in enumerate(shares[1:], 1):
        if share > shares[rising[-1]] + 1e-9:
            rising.append(i)
    lines = tuple(
        replace(line, stress=line.stress[rising], strain=None if line.strain is None else line.strain[rising]) for line in lines
    )
    return Field(joint, density, np.array(shares)[rising], lines, tuple(sections[i] for i in rising), False, why_ended)


def _bearing_nothing(sections: Sequence[AdherendSection]) -> list[AdherendSection]:
    """Return sections of adherends without load; what is not known of them stays so."""
    return [
        replace(s, axial=0.0, shear=None if s.shear is None else 0.0, moment=None if s.moment is None else 0.0) for s in sections
    ]


def _from_nothing(lines: Sequence[Line]) -> tuple[Line, ...]:
    """Return lines with a share of 0 before the others, at which there is no stress."""

    def led(values: Floats) -> Floats:
        return np.concatenate([0.0 * values[:1], values])

    return tuple(
        replace(line, stress=led(line.stress), strain=None if line.strain is None else led(line.strain)) for line in lines
    )


def _lines(joint: Joint, curves: Sequence[Sequence[Bondline]]) -> tuple[Line, ...]:
    """Return the lines of solutions on one mesh, one a bonded stretch and level; of a symmetric joint, both bondlines."""
    found, parts = [], stretches(joint)
    for k, bondline in enumerate(curves[0]):
        own = parts[bondline.number]
        for level, first in bondline.levels().items():
            levels = [solution[k].levels()[level] for solution in curves]
            strains = [solution[k].shear_strain if level == "middle" else None for solution in curves]
            for part in own:
                start, end = part.inside(level, joint.geometry.bondline_thickness)
                cut, slid = levels, strains
                if len(own) > 1 or part.left or part.right:
                    start, end = max(start, float(first.x[0])), min(end, float(first.x[-1]))
                    if end - start < SHORTEST * joint.geometry.bondline_thickness:
                        continue  # between two singular ends no place is clear of both
                    cut = [_between(curve, start, end) for curve in levels]
                    strained = [None if s is None else replace(c, shear=s) for c, s in zip(levels, strains, strict=True)]
                    slid = [None if c is None else _between(c, start, end).shear for c in strained]
                stress = np.stack([np.stack([getattr(c, name) for name in STRESSES]) for c in cut])
                strain = np.stack(slid) if all(s is not None for s in slid) else None  # type: ignore[arg-type]
                found.append(Line(bondline.number, level, part.start, part.end, cut[0].x, stress, strain))
    return tuple(found)


def _between(curve: Curve, start: float, end: float) -> Curve:
    """Return a curve between two places, each with the stress that it has inside: at a flaw's edge a curve may jump."""
    inset = 1e-7 * (end - start)
    part = curve.part(start + inset, end - inset)
    x = part.x.copy()
    x[0], x[-1] = start, end
    return replace(part, x=x)
