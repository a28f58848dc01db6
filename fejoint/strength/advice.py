"""Which criterion when: how long the zone in which the bond gives way is, against the overlap.

Two loads bound what a bond carries: all of it at its strength (limit
analysis), and its end parting by the energy of the adherends, whatever
lies behind (a long overlap). Their ratio is overlap over zone length; a bond
far shorter than its zone gives way all at once, one far longer from its end.
For a layer that yields perfectly the lesser of the two is exact at any
ratio (derived from Hart-Smith's double lap, NASA CR-112235, 1973: the whole layer yields up to
(w l/2)^2 = 2 gp/ge, which is ratio 1 where the elastic strain is small);
other laws round the corner off between about a half and two.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fejoint.strength.capacity import ADHESIVE_MODES, Capacity

__all__ = ["LEFT_YIELDS", "LONG", "SHORT", "Advice", "advice"]

# Ratios of overlap to zone: below the first the bond gives way as a whole, above the second from its end. A bilinear law of
# shear lag lies up to a fifth below the lesser load between them, and within 6 % of it outside (derived; tested).
SHORT, LONG = 0.5, 2.0
BETWEEN = "up to a fifth too high; the cohesive zone tells more"
# Where shear lag has all of the layer yielding that flaws leave.
LEFT_YIELDS = "all that the flaws leave"
# Criteria of what is parted from the start.
GROWTH = ("energy-flaw", "energy-disbond")


@dataclass(frozen=True)
class Advice:
    """Which load to believe, and why.

    Attributes
    ----------
    believed : Capacity or None
        None where no criterion of the bond can run.
    ratio : float
        Overlap over the length of the zone in which it gives way; NaN where the figures for it are missing.
    zone : float, mm
        That length.
    why : str
    """

    believed: Capacity | None
    ratio: float
    zone: float
    why: str


def advice(capacities: Sequence[Capacity], length: float) -> Advice:
    """Return which of the capacities to believe; none but the cohesive zone's beyond the bond's limit load along the load's path.

    Parameters
    ----------
    capacities : sequence of Capacity
    length : float, mm
        Of the overlap.
    """
    of = {c.key: c for c in capacities if c.runs and math.isfinite(c.factor)}
    # To part from its end the bond would need more load than was followed.
    beyond = any(c.key == "energy-end" and c.reason.startswith("not met") for c in capacities)
    found, limit = _advice(of, length, beyond), of.get("limit-load")
    if limit is None or limit.mode not in ADHESIVE_MODES or (found.believed and found.believed.factor <= limit.factor):
        return found
    if found.believed and found.believed.route == "cohesive":  # it has the shear strength, where yielding has tensile figures
        return found
    why = "the analysis along the load's path finds that the bond bears no more, less than other criteria allow"
    return replace(found, believed=limit, why=why)


def _advice(of: Mapping[str, Capacity], length: float, beyond: bool) -> Advice:
    """Return which of the capacities, by key, to believe, the limit load left aside."""
    plateau, end = of.get("plateau"), of.get("energy-end")
    ratio = plateau.factor / end.factor if plateau and end and end.factor > 0 else math.nan
    zone = length / ratio if ratio > 0 else math.nan
    size = (
        ""
        if math.isnan(ratio)
        else f"the overlap is {ratio:.2g} times as long as the zone in which the bond gives way ({zone:.3g} mm)"
    )
    grown = next((of[key] for key in GROWTH if key in of), None)
    if grown is not None:
        return _parted(of, grown, Advice(None, ratio, zone, ""), beyond, length)
    if "cohesive-zone" in of:
        where = (
            "; so short a bond gives way as a whole, and limit analysis should agree"
            if ratio < SHORT
            else "; so long a bond parts from its end, and the energy of the adherends should agree"
            if ratio > LONG
            else "; between the two limits only a law with both strength and toughness tells"
            if ratio >= SHORT
            else ""
        )
        return Advice(
            of["cohesive-zone"],
            ratio,
            zone,
            f"the cohesive zone has both strength and toughness in it: {size}{where}".rstrip(": "),
        )
    if not math.isnan(ratio) and plateau and end:
        if ratio < SHORT:
            return Advice(
                _yielding(of, plateau), ratio, zone, f"{size}: it gives way as a whole; peaks of elastic stress do not decide"
            )
        lag = of.get("elastic-plastic")
        if lag and lag.factor < min(plateau.factor, end.factor):
            return Advice(
                lag, ratio, zone, f"{size}; a layer that breaks at its failure_shear_strain bears less than either limit"
            )
        if ratio > LONG:
            return Advice(end, ratio, zone, f"{size}: it parts from its end, and toughness decides; strength hardly counts")
        least = min((plateau, end), key=lambda c: c.factor)
        return Advice(
            least,
            ratio,
            zone,
            f"{size}: between the limits; the lesser of both is shown, {BETWEEN}",
        )
    if beyond and plateau:
        return Advice(
            _yielding(of, plateau),
            ratio,
            zone,
            "to part from its end the bond would need more load than was followed: it gives way as a whole",
        )
    if "elastic-plastic" in of:
        return Advice(
            of["elastic-plastic"],
            ratio,
            zone,
            "a layer that yields and breaks at a strain holds on short and long overlaps alike",
        )
    points = ("interaction-point", "interaction-mean", "shear-point", "peel-point", "principal-point")
    point = next((of[key] for key in points if key in of), None)
    known = [c for c in (point, plateau, end) if c is not None]
    if not known:
        return Advice(None, ratio, zone, "no criterion of the bond can run: the adhesive states neither strength nor toughness")
    least = min(known, key=lambda c: c.factor)
    if least is point:
        why = "no limit analysis and no energy tell here how far stress peaks count; a point at an untested distance is a guess"
    else:
        why = "the least of what can run; it is an upper bound, since what is missing could only lower it"
    return Advice(least, ratio, zone, why)


def _parted(of: Mapping[str, Capacity], grown: Capacity, known: Advice, beyond: bool, length: float) -> Advice:
    """Return which load to believe where something is parted from the start: the least of its growth and what is left."""
    # What the sound bond bears, or all that is left of it, the joint with the disbond cannot exceed.
    most = [of[key] for key in ("cohesive-zone", "plateau", "elastic-plastic") if key in of]
    flawed, why = grown.key == "energy-flaw", ""
    if flawed and "cohesive-zone" not in of:
        rest = _advice({key: c for key, c in of.items() if key not in GROWTH}, length, beyond)
        most, why = (
            [*most, *([rest.believed] if rest.believed else []), *([of["ligament"]] if "ligament" in of else [])],
            rest.why,
        )
    least = min((grown, *most), key=lambda c: c.factor)
    it = "a flaw" if flawed else "its disbond"
    if least is grown:
        said = "there are flaws, and the growth of one decides" if flawed else "there is a disbond, and its growth decides"
    elif least.key == "plateau" or least.place.startswith(LEFT_YIELDS):
        said = f"what is left of the bond gives way as a whole before {it} grows"
    elif least.key == "ligament":
        said = "a stretch of the bond that flaws cut off gives way by itself, shorter than the zone in which the bond gives way"
    elif least.key == "cohesive-zone":
        parted = "the flaws" if flawed else "the disbond"
        said = f"the bond gives way before {it} grows: the cohesive zone has strength and toughness in it, and {parted}"
    elif why:
        said = f"the bond gives way before {it} grows; of the sound bond, so that flaws can only lower it: {why}"
    else:
        said = f"the bond gives way before {it} grows; of the sound bond, so that {it.replace('its', 'the')} can only lower it"
    if flawed and "cohesive-zone" not in of and SHORT <= known.ratio <= LONG and BETWEEN not in said:
        said = f"{said}; {BETWEEN}"
    return replace(known, believed=least, why=said)


def _yielding(of: Mapping[str, Capacity], plateau: Capacity) -> Capacity:
    others = (of.get("elastic-plastic"), of.get("strain-peak"))
    return min((plateau, *(c for c in others if c is not None)), key=lambda c: c.factor)
