"""How large a flaw may stay: what a joint bears against the length of one flaw, at several places of a bondline.

Every point is a joint of its own with that one flaw in an otherwise sound bond, and its load is that of the least margin
(`fejoint.strength.predict`), knockdowns counted in. No flaw makes a bond stronger: where a criterion says so
between two lengths, the lesser load of the shorter flaw counts on. The longest flaw that may stay is read off
a monotone curve (Fritsch & Carlson's piecewise cubic, scipy) through the points, the sound joint among them, with more
points next to the place; nothing is said beyond the longest flaw that was solved.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.errors import ConvergenceError, JointError
from fejoint.joint.description import Joint
from fejoint.joint.disbond import SHORTEST
from fejoint.joint.flaws import Flaw
from fejoint.mechanics.reuse import Kept
from fejoint.strength.advice import BETWEEN
from fejoint.strength.predict import QUICK, ROUTES, strength_of
from fejoint.study.flaw_places import name_of, planned, start_of
from fejoint.units import known

__all__ = ["AtPlace", "FlawCapacity", "Point", "flaw_capacity"]

Floats = NDArray[np.float64]

CLOSER = 4  # points more next to the length that may just stay
TOO_HIGH = (
    "lengths that may stay are read off loads that may be up to a fifth too high: between a short overlap and a long one only "
    "the cohesive zone tells the load; ask for it (--cohesive) before one of them stays"
)
NEAR = 0.005  # of the bondline: a point so near to it is near enough


@dataclass(frozen=True)
class Point:
    """What the joint bears with one flaw.

    Attributes
    ----------
    length : float, mm
        Of the flaw; 0 of the sound joint.
    start : float, mm
        Where it begins; NaN of the sound joint.
    factor : float
        Share of the joint's loads that is borne, knockdowns counted in.
    force : float, N
    mode, criterion : str
        What fails first, and the criterion's name.
    """

    length: float
    start: float
    factor: float
    force: float
    mode: str
    criterion: str


@dataclass(frozen=True, eq=False)
class AtPlace:
    """What the joint bears against the length of a flaw at one place.

    Attributes
    ----------
    name : str
        ``"left end"``, ``"middle"``, ...
    share : float
        Where along the bondline: 0 a flaw from its left end on, 1 one up to its right end, between them one about that place.
    points : tuple of Point
        The sound joint first, lengths rising.
    required : float
        Share of the loads that must be borne.
    """

    name: str
    share: float
    points: tuple[Point, ...]
    required: float

    @property
    def lengths(self) -> Floats:
        """Lengths of the flaw, (n,), mm."""
        return np.array([point.length for point in self.points])

    @property
    def factor(self) -> Floats:
        """Share of the loads that is borne, (n,): never more than with a shorter flaw."""
        return np.minimum.accumulate([point.factor for point in self.points])

    @property
    def longest(self) -> float:
        """Length of the longest flaw that was solved, mm."""
        return float(self.lengths[-1])

    @property
    def allowed(self) -> float:
        """Length of the longest flaw that may stay, mm: 0 where none may, `longest` where all that were solved may."""
        factor = self.factor
        if factor[0] < self.required:
            return 0.0
        below = np.flatnonzero(factor < self.required)
        if not len(below):
            return self.longest
        from scipy.optimize import brentq

        k = int(below[0])
        low, high = float(self.lengths[k - 1]), float(self.lengths[k])
        if factor[k - 1] == self.required:
            return low
        return float(brentq(lambda length: self.at(length) - self.required, low, high, xtol=1e-9))

    @property
    def all_may_stay(self) -> bool:
        """Whether even the longest flaw that was solved leaves what is required; of longer ones nothing is known."""
        return bool(self.factor[-1] >= self.required)

    def at(self, length: float) -> float:
        """Return the share of the loads that is borne with a flaw of a length, mm.

        Raises
        ------
        JointError
            It is longer than any that was solved, or below 0.
        """
        if not 0 <= length <= self.longest:
            raise JointError(
                f"flaw length {length:g} mm at {self.name}: must be from 0 to {self.longest:g} mm, the longest that was solved; "
                "what a longer one leaves is not known from these."
            )
        from scipy.interpolate import PchipInterpolator

        return float(PchipInterpolator(self.lengths, self.factor)(length)) if len(self.points) > 1 else float(self.factor[0])


@dataclass(frozen=True, eq=False)
class FlawCapacity:
    """How large a flaw of one kind may stay in a joint.

    Attributes
    ----------
    joint : Joint
        Without flaws.
    kind, place, bondline
        Of the flaw; place is empty of a void.
    required : float
        Share of the joint's loads that must be borne: 1 and the margin required.
    cohesive : bool
        Whether the cohesive zone was asked, too.
    sound : Point
    places : tuple of AtPlace
    warnings : tuple of str
    """

    joint: Joint
    kind: str
    place: str
    bondline: int
    required: float
    cohesive: bool
    sound: Point
    places: tuple[AtPlace, ...]
    warnings: tuple[str, ...]

    def by(self, name: str) -> AtPlace:
        """Return what the joint bears at a place by its name; JointError where there is none of that name."""
        found = next((place for place in self.places if place.name == name), None)
        if found is None:
            raise JointError(f"place {name}: there is none; known: {', '.join(place.name for place in self.places)}.")
        return found

    def data(self) -> dict[str, Any]:
        """Return it as plain data, in N-mm; what is not known, or infinite, is None."""
        return {
            "kind": self.kind,
            "place": self.place,
            "bondline": self.bondline,
            "required_factor": self.required,
            "required_N": self.required * self.joint.load.force,
            "cohesive": self.cohesive,
            "places": [_place_data(at) for at in self.places],
            "warnings": list(self.warnings),
        }


def flaw_capacity(
    joint: Joint,
    kind: str = "disbond",
    place: str | None = None,
    bondline: int = 1,
    *,
    lengths: int = 6,
    places: int = 5,
    margin: float = 0.0,
    cohesive: bool = False,
    progress: Callable[[str], None] | None = None,
    kept: Kept | None = None,
) -> FlawCapacity:
    """Return what a joint bears against the length of one flaw, at places evenly along a bondline from end to end.

    Where the joint is its own image turned by half a turn (a balanced single lap), the right half is that of the left and
    left out.

    Parameters
    ----------
    joint : Joint
        Its own flaws are left out: it is one flaw alone that is asked for.
    kind : str
        ``"disbond"``, ``"void"`` or ``"unwetted"``.
    place : str, optional
        Where in the layer's thickness, as of `Flaw`.
    bondline : int
    lengths : int
        Of the flaw at every place, 2 or more, besides those next to the length that may just stay.
    places : int
        1 is the middle alone; 5 ends, quarters and middle.
    margin : float
        Required margin: the load to be borne is the joint's times 1 and this.
    cohesive : bool
        Whether to ask the cohesive zone, too, which takes many times as long.
    progress : callable, optional
        Called with a line of text before each joint.
    kept : Kept, optional

    Raises
    ------
    JointError
        A figure out of range; a flaw that the joint has no room for; a joint of which no strength is known.
    ConvergenceError
        Not even the sound joint's strength could be found.
    """
    bare, bond, first, spans = planned(joint, kind, place, bondline, lengths=lengths, places=places, margin=margin)
    say, kept = progress or (lambda text: None), Kept() if kept is None else kept
    shares = list(spans)
    routes = ROUTES if cohesive else QUICK
    told: list[str] = []
    total, done = 1 + sum(map(len, spans.values())), 0

    def borne(flaw: Flaw | None) -> Point:
        nonlocal done
        done += 1
        say(f"joint {done} of about {total}: {'sound' if flaw is None else flaw}")
        strength = strength_of(bare.replace(flaws=() if flaw is None else (flaw,)), routes=routes, variants=False, kept=kept)
        least = strength.governing
        bond_bears = min((m.factor for m in strength.margins if m.capacity is strength.advice.believed), default=math.inf)
        if BETWEEN in strength.advice.why and 0.8 * bond_bears < least.factor:
            told.append(TOO_HIGH)
        place = (0.0, math.nan) if flaw is None else (flaw.length, flaw.start)
        return Point(*place, least.factor, least.force, least.mode.name, least.capacity.name)

    whole = borne(None)
    required, found = 1.0 + margin, []
    for share in shares:
        points = [whole]

        def add(length: float, share: float = share, points: list[Point] = points) -> None:
            flaw = first.replace(start=start_of(bare, bond, share, length), length=length)
            try:
                points.append(borne(flaw))
            except ConvergenceError as error:
                told.append(f"{flaw}: left out, no strength could be found ({str(error).rstrip('.')})")
            points.sort(key=lambda point: point.length)

        for length in spans[share]:
            add(length)
        at = AtPlace(name_of(share, shares), share, tuple(points), required)
        for _ in range(CLOSER):
            length = at.allowed
            if at.all_may_stay or not length or np.abs(at.lengths - length).min() < NEAR * (bond.end - bond.start):
                break
            add(max(length, SHORTEST * bare.geometry.bondline_thickness))
            at = AtPlace(at.name, share, tuple(points), required)
        found.append(at)
    level = first.level
    return FlawCapacity(
        joint=bare,
        kind=kind,
        place="" if level == "all" else level,
        bondline=bondline,
        required=required,
        cohesive=cohesive,
        sound=whole,
        places=tuple(found),
        warnings=tuple(dict.fromkeys(told)),
    )


# ---- parts ---------------------------------------------------------------


def _place_data(at: AtPlace) -> dict[str, Any]:
    return {
        "name": at.name,
        "share": at.share,
        "allowed_mm": at.allowed,
        "all_may_stay": at.all_may_stay,
        "longest_mm": at.longest,
        "points": [
            {
                "length_mm": point.length,
                "start_mm": known(point.start),
                "factor": known(point.factor),
                "force_N": known(point.force),
                "counted_factor": known(float(counted)),
                "mode": point.mode,
                "criterion": point.criterion,
            }
            for point, counted in zip(at.points, at.factor, strict=True)
        ],
    }
