"""At which load a joint's flaws grow: that of the tip which is first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fejoint.errors import ConvergenceError, JointError
from fejoint.joint.description import Joint
from fejoint.mechanics.energy_release import Rates
from fejoint.mechanics.flaw_release import TipRelease, flaw_release, flaws_rotating, released_at_tips
from fejoint.mechanics.nonlinear import Deformed, follow
from fejoint.mechanics.reuse import Kept
from fejoint.strength.fracture import BEYOND, NEAR, TRIES, growth_factor, share_of
from fejoint.strength.mixed_mode import index_of, toughness
from fejoint.strength.stretches import flawed_joint

__all__ = ["FlawGrowth", "TipLoad", "flaw_growth"]

VOID = (
    "a void's end is no sharp tip: it is taken as a disbond in the middle of the layer, longer by half the layer's thickness at "
    "each end, which sets free as much energy"
)
INTERFACE = "at an interface the total energy release rate is held against mode I toughness, a lower bound"


@dataclass(frozen=True, eq=False)
class TipLoad:
    """The load at which a flaw grows at one of its tips.

    Attributes
    ----------
    release : TipRelease
        At the joint's own load; with large rotations at the load of the first tip.
    factor : float
        Of the joint's force, moment and shear force; temperature and moisture stay. 0 where it grows without them, infinite
        where they never grow it; with large rotations NaN of all tips but the first.
    force : float, N
    rates : Rates
        At that load; with large rotations at that of the first tip.
    """

    release: TipRelease
    factor: float
    force: float
    rates: Rates

    @property
    def place(self) -> str:
        """Where the tip is, in words."""
        return self.release.place


@dataclass(frozen=True, eq=False)
class FlawGrowth:
    """The loads at which the flaws of a joint grow.

    Attributes
    ----------
    joint : Joint
    tips : tuple of TipLoad
        By bondline and along x.
    first : TipLoad
        Where the load is least.
    warnings : tuple of str
    """

    joint: Joint
    tips: tuple[TipLoad, ...]
    first: TipLoad
    warnings: tuple[str, ...]

    @property
    def factor(self) -> float:
        """Share of the loads at which the first flaw grows."""
        return self.first.factor

    @property
    def force(self) -> float:
        """The joint's force there, N."""
        return self.first.force


def flaw_growth(joint: Joint, density: float | None = None, kept: Kept | None = None) -> FlawGrowth:
    """Return the load at which the flaws of a joint grow, at every tip, and the first of them.

    Parameters
    ----------
    joint : Joint
        With flaws; a `strength.disbond` counts among them.
    density, kept
        As of `fejoint.mechanics.flaw_release.flaw_release`.

    Raises
    ------
    JointError
        The joint has no flaws; or the adhesive does not state the toughness that is needed: of both modes, where all
        flaws lie at interfaces that of mode I.
    ConvergenceError
        With large rotations: the joint gives way before a flaw grows.
    """
    joint = flawed_joint(joint)
    levels = {flaw.level for flaw in joint.merged_flaws().flaws}
    for mode in (1, 2) if levels & {"middle", "all"} else (1,):
        toughness(joint.adhesive, mode)
    kept = Kept() if kept is None else kept
    small = joint.replace(analysis=joint.analysis.replace(large_rotation=False))
    tips = tuple(_tip_load(release) for release in flaw_release(small, density, kept))
    if not tips:
        raise JointError("growth of flaws: no flaw has a tip inside the overlap.")
    first, grown = min(tips, key=lambda tip: tip.factor), list[str]()
    if joint.analysis.large_rotation and 0 < first.factor < math.inf:
        tips, first, grown = _rotating(joint, density, kept, first.factor)
    told = [*joint.merged_flaws().said, *grown]
    told += [VOID] if any(flaw.kind == "void" for flaw in joint.merged_flaws().flaws) else []
    told += [INTERFACE] if levels & {"lower", "upper"} else []
    told += _closed(tips)
    # How far the joint turns is a matter of the load at which a flaw grows, and of no matter at one that it never bears.
    told += [text for tip in tips for text in tip.release.warnings if "small rotations" not in text]
    return FlawGrowth(joint, tips, first, tuple(dict.fromkeys(told)))


# ---- parts ---------------------------------------------------------------


def _closed(tips: Sequence[TipLoad]) -> list[str]:
    """Return which disbonds are pressed together, in a sentence: none says it of a void, whose faces do not meet."""
    places = [f"x = {tip.release.x:.4g} mm" for tip in tips if tip.release.closed and tip.release.flaw.kind != "void"]
    if not places:
        return []
    return [
        f"closed at the flaws' tips at {', '.join(places)}: opening counts as 0 there; contact and friction between the faces "
        "are not in the energy"
    ]


def _tip_load(release: TipRelease) -> TipLoad:
    factor, force = growth_factor(release), release.joint.load.force
    rates = release.at(factor) if math.isfinite(factor) else Rates(math.nan, math.nan, math.nan)
    return TipLoad(release, factor, factor * force if force else 0.0, rates)


def _rotating(joint: Joint, density: float | None, kept: Kept, guess: float) -> tuple[tuple[TipLoad, ...], TipLoad, list[str]]:
    """Return the tips at the load at which the first flaw grows with large rotations, the first, and what is to be said.

    `guess` is the factor of small rotations. A flaw in the middle of an overlap may ask for more load than the joint has an
    equilibrium for: no load grows it then.
    """
    load, end, reached = joint.load, BEYOND * guess, 0.0
    tips: tuple[TipRelease, ...] = ()
    for _ in range(TRIES):
        far = joint.at(force=end * load.force, moment=end * load.moment, shear_force=end * load.shear_force)
        large, problem = flaws_rotating(far, density, kept)
        last = len(large.load.path()) - 1
        before: tuple[Deformed, float] | None = None
        try:
            for solution in follow(large, problem):
                share, (index, tips, which) = share_of(solution, last), _worst(solution, joint)
                if index < 1:
                    before, reached = (solution, index), max(reached, share * end)
                    continue
                low, low_root = (0.0, 0.0) if before is None else (share_of(before[0], last), math.sqrt(before[1]))
                start = None if before is None else (before[0].state, before[0].pace)
                high, root = share, math.sqrt(index)
                while abs(index - 1) > NEAR and high > low:  # as `fejoint.strength.fracture`
                    now = low + (1 - low_root) / (root - low_root) * (high - low)
                    *_, solution = follow(large, problem, start, until=(last, now))
                    index, tips, which = _worst(solution, joint)
                    high, root = now, math.sqrt(index)
                factor = high * end
                loads = tuple(
                    TipLoad(tip, factor if i == which else math.nan, factor * load.force if i == which else math.nan, tip.rates)
                    for i, tip in enumerate(tips)
                )
                return loads, loads[which], []
        except ConvergenceError:
            if before is None:
                raise
            break
        end *= 2
    nothing = Rates(math.nan, math.nan, math.nan)
    loads = tuple(TipLoad(tip, math.inf, math.inf * load.force if load.force else 0.0, nothing) for tip in tips)
    told = f"with large rotations no flaw grows up to {reached:.4g} times the load, as far as an equilibrium was found"
    return loads, loads[0], [told]


def _worst(solution: Deformed, joint: Joint) -> tuple[float, tuple[TipRelease, ...], int]:
    """Return the largest growth index of all tips, the tips, and which it is."""
    tips = released_at_tips(solution, joint)
    indices = [index_of(tip.rates, joint.adhesive, tip.split) for tip in tips]
    which = max(range(len(tips)), key=lambda i: indices[i])
    return indices[which], tips, which
