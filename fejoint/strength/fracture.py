"""At which load a disbond grows, and that load against its length.

With small rotations the energy release rates are quadratic in the load, so that one
linear solution gives the load. With large ones (`analysis.large_rotation`) the load's
path is followed until the disbond grows, and the place is then closed in on: a single
lap turns into the line of its load, so that it bears more than small rotations say.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from fejoint.bondline.closed_form import krenk
from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.joint.disbond import Disbond, checked
from fejoint.mechanics.energy_release import EnergyRelease, Rates, energy_release, released, rotating, rotation_caution
from fejoint.mechanics.flaw_release import TipRelease
from fejoint.mechanics.nonlinear import Deformed, follow
from fejoint.mechanics.reuse import Kept
from fejoint.strength.mixed_mode import growth_index, index_of, toughness

__all__ = [
    "DisbondLoad",
    "KrenkLoad",
    "LoadAgainstLength",
    "disbond_load",
    "growth_factor",
    "growth_index",
    "krenk_load",
    "load_against_length",
    "share_of",
]

Floats = NDArray[np.float64]

# Times the load that the mechanical part alone asks for: temperature moves it by a factor, not by orders of magnitude.
LARGEST_SHIFT = 1e4
STEPS_A_DECADE = 40
# Large rotations: how far beyond the load of small ones the path goes, at first and at each further try; and how near to 1
# the growth index is to come, which goes about with the square of the load.
BEYOND, TRIES, NEAR = 1.5, 5, 1e-4


@dataclass(frozen=True, eq=False)
class DisbondLoad:
    """The load at which a disbond grows.

    Attributes
    ----------
    joint : Joint
    disbond : Disbond
    factor : float
        Of the joint's force, moment and shear force; temperature and moisture stay. 0 where the disbond grows without
        them, infinite where they never grow it.
    force : float, N
        The joint's force times the factor.
    rates : Rates
        Energy release rates at that load.
    release : EnergyRelease
        What they come from, at the joint's own load; with large rotations at that load.
    said, rotation : tuples of str
        Warnings; those of what small rotations leave out at that load are apart.
    """

    joint: Joint
    disbond: Disbond
    factor: float
    force: float
    rates: Rates
    release: EnergyRelease
    said: tuple[str, ...]
    rotation: tuple[str, ...]

    @property
    def warnings(self) -> tuple[str, ...]:
        """All warnings."""
        return self.said + self.rotation


@dataclass(frozen=True, eq=False)
class LoadAgainstLength:
    """The load at which a disbond grows, against its length.

    Attributes
    ----------
    joint : Joint
    points : tuple of DisbondLoad
        One a length.
    lengths : (n,) array, mm
    factor : (n,) array
    force : (n,) array, N
    opening, shear, total : (n,) arrays, N/mm
        Energy release rates at that load; the parts are NaN at an interface.
    stable : (n,) array of bool
        Whether growth asks for more load as the disbond gets longer: then it stops when the load does.
    warnings : tuple of str
        Each once; of what small rotations leave out that at the largest load.
    """

    joint: Joint
    points: tuple[DisbondLoad, ...]
    lengths: Floats
    factor: Floats
    force: Floats
    opening: Floats
    shear: Floats
    total: Floats
    stable: NDArray[np.bool_]
    warnings: tuple[str, ...]


class KrenkLoad(NamedTuple):
    """Force at which the end of a balanced single lap parts by Krenk's rates, N, and those rates, N/mm."""

    force: float
    opening: float
    shear: float


def disbond_load(joint: Joint, disbond: Disbond, density: float | None = None, kept: Kept | None = None) -> DisbondLoad:
    """Return the load at which a disbond grows.

    Arguments and refusals are those of `energy_release`.

    Raises
    ------
    JointError
        The adhesive does not state the toughness that is needed: of both modes, or at an interface that of mode I.
    ConvergenceError
        With large rotations: the joint gives way before the disbond grows.
    """
    for mode in (1, 2) if disbond.place == "middle" else (1,):
        toughness(joint.adhesive, mode)
    kept = Kept() if kept is None else kept
    small = joint.replace(analysis=joint.analysis.replace(large_rotation=False))
    found = _load_of(energy_release(small, disbond, density, kept))
    if not joint.analysis.large_rotation or not 0 < found.factor < math.inf:
        return found
    return _rotating_load(joint, disbond, density, kept, found.factor)


def load_against_length(
    joint: Joint,
    lengths: Sequence[float | str],
    end: Literal["left", "right"] = "left",
    place: Literal["middle", "lower", "upper"] = "middle",
    bondline: int = 1,
    density: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> LoadAgainstLength:
    """Return the load at which a disbond grows against its length, and whether growth is stable.

    Every length is a mesh of its own and one linear solution.

    Parameters
    ----------
    joint : Joint
    lengths : sequence of float or str, mm
        Two or more, rising.
    end, place, bondline
        As of `Disbond`.
    density : float, optional
        Mesh density; by default that of the joint's first mesh.
    progress : callable, optional
        Called with a line of text before each length.

    Raises
    ------
    JointError
        As `disbond_load`, before anything is solved; or lengths that do not rise.
    ConvergenceError
        As `disbond_load`.
    """
    disbonds = [checked(Disbond(length=a, end=end, place=place, bondline=bondline), joint) for a in lengths]
    a = np.array([d.length for d in disbonds])
    if len(a) < 2 or not (np.diff(a) > 0).all():
        raise JointError("disbond lengths must be two or more, each larger than the one before.")
    points = []
    for i, disbond in enumerate(disbonds, 1):
        if progress is not None:
            progress(f"disbond {i} of {len(disbonds)}, {disbond.length:g} mm")
        points.append(disbond_load(joint, disbond, density))
    factor = np.array([p.factor for p in points])
    with np.errstate(invalid="ignore"):  # two loads that never come differ by nothing known
        rise = np.gradient(factor, a)
    opening, shear, total = np.array([p.rates for p in points]).T
    largest = max(points, key=lambda p: p.factor if math.isfinite(p.factor) else -1.0)
    return LoadAgainstLength(
        joint=joint,
        points=tuple(points),
        lengths=a,
        factor=factor,
        force=np.array([p.force for p in points]),
        opening=opening,
        shear=shear,
        total=total,
        stable=rise > 0,
        warnings=tuple(dict.fromkeys(text for p in points for text in p.said)) + largest.rotation,
    )


def krenk_load(joint: Joint) -> KrenkLoad:
    """Return the force at which the end of a balanced single lap without a disbond parts, by Krenk's rates.

    The end moment is Goland and Reissner's, which falls as the joint turns
    under its load; the joint's own force does not count. The rates are those of the
    layer's end, which a long overlap shares with a disbond that has just begun.

    Raises
    ------
    TheoryError
        As `krenk.energy_release`.
    JointError
        The adhesive does not state its toughnesses.
    """

    def rates(force: float) -> krenk.Release:
        return krenk.energy_release(joint.at(force=force))

    def index(logarithm: float) -> float:
        return math.log(growth_index(*rates(math.exp(logarithm)), joint.adhesive))

    # The rates grow about as the square of the force: from any start this lands near, and falling moments change it little.
    near = math.log(joint.geometry.width)
    near -= index(near) / 2
    force = math.exp(brentq(index, *_bracket(index, near), xtol=1e-12))
    return KrenkLoad(force, *rates(force))


# ---- parts ---------------------------------------------------------------


def _load_of(release: EnergyRelease) -> DisbondLoad:
    joint, disbond = release.joint, release.disbond
    factor = growth_factor(release)
    force = factor * joint.load.force if joint.load.force else 0.0
    told, turned = [text for text in release.warnings if text not in rotation_caution(joint, disbond)], list[str]()
    if math.isinf(factor):
        told.append("disbond: no multiple of the mechanical load grows it")
    elif factor == 0:
        told.append("disbond: it grows without any mechanical load, by temperature and moisture alone")
    else:  # how far the joint turns is a matter of the load at which it grows, not of the load stated
        load = joint.load
        grown = joint.at(force=factor * load.force, moment=factor * load.moment, shear_force=factor * load.shear_force)
        turned = rotation_caution(grown, disbond)
    told += _of_the_interface(disbond)
    rates = release.at(factor) if math.isfinite(factor) else Rates(math.nan, math.nan, math.nan)
    return DisbondLoad(joint, disbond, factor, force, rates, release, tuple(told), tuple(turned))


def growth_factor(release: EnergyRelease | TipRelease) -> float:
    """Return the smallest load factor at which a disbond grows, with small rotations.

    Without temperature and moisture all rates go with its square. With them
    it is where the index, known at every factor, first reaches 1.
    """
    assert release.terms is not None
    adhesive = release.joint.adhesive

    def at(factor: float) -> float:
        return index_of(release.at(factor), adhesive, release.split)

    if not release.terms[:2].any():
        now = at(1.0)
        return now**-0.5 if now > 0 else math.inf
    if at(0.0) >= 1:
        return 0.0
    # Of the load's own part, as if its opening were open: where to look.
    shear, opening = np.maximum(release.terms[2], 0.0)
    own = index_of(Rates(opening, shear, opening + shear), adhesive, release.split)
    if own <= 0:
        return math.inf
    decades = 2 * math.log10(LARGEST_SHIFT)
    tried = np.geomspace(1 / LARGEST_SHIFT, LARGEST_SHIFT, int(decades * STEPS_A_DECADE) + 1) / math.sqrt(own)
    beyond = next((i for i, factor in enumerate(tried) if at(factor) >= 1), None)
    if beyond is None:
        return math.inf
    low = tried[beyond - 1] if beyond else 0.0
    return float(brentq(lambda factor: at(factor) - 1, low, tried[beyond], xtol=1e-14, rtol=1e-12))


def _rotating_load(joint: Joint, disbond: Disbond, density: float | None, kept: Kept, guess: float) -> DisbondLoad:
    """Return the load at which a disbond grows with large rotations; `guess` is the factor of small ones."""
    load, end = joint.load, BEYOND * guess
    for _ in range(TRIES):
        far = joint.at(force=end * load.force, moment=end * load.moment, shear_force=end * load.shear_force)
        large, problem = rotating(far, disbond, density, kept)
        last = len(large.load.path()) - 1
        before: tuple[Deformed, float] | None = None
        for solution in follow(large, problem):
            share = share_of(solution, last)
            release = released(solution, disbond)
            index = index_of(release.rates, joint.adhesive, release.split)
            if index < 1:
                before = (solution, index)
                continue
            low, low_root = (0.0, 0.0) if before is None else (share_of(before[0], last), math.sqrt(before[1]))
            start = None if before is None else (before[0].state, before[0].pace)
            # The root of the index is nearly straight in the load: a secant closes in.
            high, root = share, math.sqrt(index)
            while abs(index - 1) > NEAR and high > low:
                now = low + (1 - low_root) / (root - low_root) * (high - low)
                *_, solution = follow(large, problem, start, until=(last, now))
                release = released(solution, disbond)
                index = index_of(release.rates, joint.adhesive, release.split)
                high, root = now, math.sqrt(index)
            told = [*release.warnings, *_of_the_interface(disbond)]
            return DisbondLoad(joint, disbond, high * end, high * end * load.force, release.rates, release, tuple(told), ())
        end *= 2
    nothing = Rates(math.nan, math.nan, math.nan)
    told = [f"disbond: with large rotations it does not grow up to {end / 2:.4g} times the load", *_of_the_interface(disbond)]
    return DisbondLoad(joint, disbond, math.inf, math.inf * load.force if load.force else 0.0, nothing, release, tuple(told), ())


def share_of(solution: Deformed, last: int) -> float:
    """Return the share of the last step at which a section is at rest; 0 before it."""
    return solution.pace.share if solution.pace.step == last else 0.0


def _of_the_interface(disbond: Disbond) -> list[str]:
    if disbond.place == "middle":
        return []
    return ["disbond: at an interface the total energy release rate is held against mode I toughness, a lower bound"]


def _bracket(function: Callable[[float], float], near: float) -> tuple[float, float]:
    """Return two places between which a rising function passes 0."""
    step = 0.1
    while step < 100:
        if function(near - step) < 0 < function(near + step):
            return near - step, near + step
        step *= 2
    raise JointError("Krenk's energy release rates reach the adhesive's toughness at no force.")
