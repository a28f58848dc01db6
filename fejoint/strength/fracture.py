"""At which load a disbond grows: fracture criteria, and the load against the disbond's length.

Opening and shear together grow a disbond by one of two rules, whose exponent comes
from tests:

- power law, (G_I/G_Ic)^a + (G_II/G_IIc)^a = 1 (a = 1 where none is given);
- Benzeggagh and Kenane, G_I + G_II = G_Ic + (G_IIc - G_Ic) (G_II/(G_I + G_II))^eta
  (M. L. Benzeggagh, M. Kenane, Compos. Sci. Technol. 56, 1996, 439-449, from memory).

At an interface the parts mean nothing; the total is then held against G_Ic, which is
the lower bound of both rules as long as G_Ic is the smaller toughness. Toughnesses
of adhesives are measured in the layer, and an interface may hold less than either.

All is linear elastic with small rotations (`energy_release`): the rates are quadratic
in the load, so that one solution gives the load at which the disbond grows.
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
from fejoint.joint.materials import Adhesive
from fejoint.mechanics.energy_release import EnergyRelease, Rates, energy_release, rotation_caution
from fejoint.mechanics.reuse import Kept

__all__ = [
    "DisbondLoad",
    "KrenkLoad",
    "LoadAgainstLength",
    "disbond_load",
    "growth_index",
    "krenk_load",
    "load_against_length",
]

Floats = NDArray[np.float64]

# Times the load that the mechanical part alone asks for: temperature moves it by a factor, not by orders of magnitude.
LARGEST_SHIFT = 1e4
STEPS_A_DECADE = 40


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
        What they come from, at the joint's own load.
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


def growth_index(opening: float, shear: float, adhesive: Adhesive) -> float:
    """Return energy release rate over toughness at its mix of opening and shear: 1 where a disbond grows.

    It is in proportion to the rates under either rule.

    Parameters
    ----------
    opening, shear : float, N/mm
        G_I and G_II, not negative.
    adhesive : Adhesive

    Raises
    ------
    JointError
        The adhesive does not state a toughness.
    """
    first, second = _toughness(adhesive, 1), _toughness(adhesive, 2)
    total, exponent = opening + shear, adhesive.mixed_mode_exponent
    if total <= 0:
        return 0.0
    if adhesive.mixed_mode_rule == "b-k":
        assert exponent is not None  # the adhesive refuses to be without
        return float(total / (first + (second - first) * (shear / total) ** exponent))
    a = 1.0 if exponent is None else exponent
    return float(((opening / first) ** a + (shear / second) ** a) ** (1 / a))


def disbond_load(joint: Joint, disbond: Disbond, density: float | None = None, kept: Kept | None = None) -> DisbondLoad:
    """Return the load at which a disbond grows, from one linear solution.

    Arguments and refusals are those of `energy_release`.

    Raises
    ------
    JointError
        The adhesive does not state the toughness that is needed: of both modes, or at an interface that of mode I.
    """
    for mode in (1, 2) if disbond.place == "middle" else (1,):
        _toughness(joint.adhesive, mode)
    return _load_of(energy_release(joint, disbond, density, kept))


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


def _toughness(adhesive: Adhesive, mode: int) -> float:
    key = f"toughness_mode_{mode}"
    value: float | None = getattr(adhesive, key)
    if value is None:
        meaning = "opening" if mode == 1 else "shear"
        raise JointError(
            f"adhesive.{key} is missing: the growth of a disbond needs it (fracture toughness in {meaning}); add it."
        )
    return value


def _load_of(release: EnergyRelease) -> DisbondLoad:
    joint, disbond = release.joint, release.disbond
    factor = _factor(release)
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
    if disbond.place != "middle":
        told.append("disbond: at an interface the total energy release rate is held against mode I toughness, a lower bound")
    rates = release.at(factor) if math.isfinite(factor) else Rates(math.nan, math.nan, math.nan)
    return DisbondLoad(joint, disbond, factor, force, rates, release, tuple(told), tuple(turned))


def _factor(release: EnergyRelease) -> float:
    """Return the smallest load factor at which a disbond grows.

    Without temperature and moisture all rates go with its square. With them
    it is where the index, known at every factor, first reaches 1.
    """
    adhesive = release.joint.adhesive

    def index(rates: Rates) -> float:
        if not release.split:
            return rates.total / _toughness(adhesive, 1)
        # Round-off may leave a rate that is nothing just below 0.
        return growth_index(max(rates.opening, 0.0), max(rates.shear, 0.0), adhesive)

    def at(factor: float) -> float:
        return index(release.at(factor))

    if not release.terms[:2].any():
        now = at(1.0)
        return now**-0.5 if now > 0 else math.inf
    if at(0.0) >= 1:
        return 0.0
    # Of the load's own part, as if its opening were open: where to look.
    shear, opening = np.maximum(release.terms[2], 0.0)
    own = index(Rates(opening, shear, opening + shear))
    if own <= 0:
        return math.inf
    decades = 2 * math.log10(LARGEST_SHIFT)
    tried = np.geomspace(1 / LARGEST_SHIFT, LARGEST_SHIFT, int(decades * STEPS_A_DECADE) + 1) / math.sqrt(own)
    beyond = next((i for i, factor in enumerate(tried) if at(factor) >= 1), None)
    if beyond is None:
        return math.inf
    low = tried[beyond - 1] if beyond else 0.0
    return float(brentq(lambda factor: at(factor) - 1, low, tried[beyond], xtol=1e-14, rtol=1e-12))


def _bracket(function: Callable[[float], float], near: float) -> tuple[float, float]:
    """Return two places between which a rising function passes 0."""
    step = 0.1
    while step < 100:
        if function(near - step) < 0 < function(near + step):
            return near - step, near + step
        step *= 2
    raise JointError("Krenk's energy release rates reach the adhesive's toughness at no force.")
