"""Whether an adhesive wets a surface, why, and what to do.

The limits are common practice, no source: an adhesive is said to wet where it
lies flat (30 degrees), not to wet where it beads up (60 degrees: the 90 of
physics is where a liquid no longer creeps into a gap, too late for a bond). A surface that
fails the water-break test is not clean, whatever its angles say.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from fejoint.errors import JointError

__all__ = ["DOES_NOT", "MARGINAL", "NOT_KNOWN", "WETS", "Verdict", "wets"]

WETS: Final = "wets"
MARGINAL: Final = "marginal"
DOES_NOT: Final = "does not wet"
NOT_KNOWN: Final = "not known"
Word = Literal["wets", "marginal", "does not wet", "not known"]
WETS_UP_TO, DOES_NOT_ABOVE = 30.0, 60.0  # degrees; common practice, no source


@dataclass(frozen=True)
class Verdict:
    """Whether an adhesive wets a surface, the reasons, and what to do; `reasons` and `advice` are sentences."""

    word: Word
    reasons: tuple[str, ...]
    advice: tuple[str, ...]


def wets(
    angle: float | None,
    *,
    band: tuple[float, float] | None = None,
    solid: float | None = None,
    liquid: float | None = None,
    water_film: bool | None = None,
    wets_up_to: float = WETS_UP_TO,
    does_not_above: float = DOES_NOT_ABOVE,
) -> Verdict:
    """Return whether an adhesive wets a surface.

    Parameters
    ----------
    angle : float or None
        Contact angle of the adhesive on the surface, degrees; None where it is not known.
    band : (float, float), optional
        The angle one standard error lower and higher.
    solid, liquid : float, optional
        Surface energy of the surface and tension of the adhesive, mN/m.
    water_film : bool, optional
        The water-break test (ASTM F22): whether the film of water stayed whole.
    wets_up_to, does_not_above : float
        Limits of the angle, degrees; common practice, no source.

    Raises
    ------
    JointError
        Limits that are none, an angle outside 0 to 180, or nothing to judge by.
    """
    if not 0 <= wets_up_to <= does_not_above <= 180:
        raise JointError(f"wets_up_to = {wets_up_to:g} deg: must lie between 0 and does_not_above, {does_not_above:g}.")
    if angle is not None and not 0 <= angle <= 180:
        raise JointError(f"angle = {angle:g} deg: must be at least 0 and at most 180.")
    if angle is None and water_film is None and solid is None:
        raise JointError("wetting: there is nothing to judge by; give a contact angle, surface energies or the water-break test.")
    reasons: list[str] = []
    word: Word = NOT_KNOWN
    if angle is not None:
        word = WETS if angle <= wets_up_to else DOES_NOT if angle > does_not_above else MARGINAL
        reasons.append(_of_angle(angle, word, wets_up_to, does_not_above))
        if band is not None and band[1] > 0:
            across = [limit for limit in (wets_up_to, does_not_above) if band[0] <= limit < band[1]]
            reasons += [
                f"One standard error of the readings reaches from {band[0]:.3g} to {band[1]:.3g} degrees"
                + (f", across the limit of {across[0]:g}: more readings would tell." if across else ".")
            ]
    elif solid is not None:
        reasons.append("Only the surface's energy is known, which says nothing of the adhesive yet.")
    if solid is not None and liquid is not None and solid < liquid:
        reasons.append(f"The surface's energy, {solid:.3g} mN/m, lies below the adhesive's tension, {liquid:.3g} mN/m.")
    if water_film is False:
        word = DOES_NOT
        reasons.insert(0, "The film of water broke (water-break test): the surface is not clean, whatever angles say.")
    elif water_film:
        more = "" if angle is not None else ", which does not tell whether the adhesive wets it"
        reasons.append(f"The film of water stayed whole (water-break test): water wets the surface{more}.")
    return Verdict(word, tuple(reasons), _advice(word, water_film, solid, liquid))


def _of_angle(angle: float, word: str, low: float, high: float) -> str:
    spread = "the adhesive spreads by itself" if angle == 0 else f"a contact angle of {angle:.3g} degrees"
    if word == WETS:
        return f"{spread[0].upper()}{spread[1:]}: it lies flat, up to {low:g} degrees."
    if word == MARGINAL:
        return (
            f"{spread[0].upper()}{spread[1:]}: between {low:g}, up to which it lies flat, and {high:g}, above which it beads up."
        )
    return f"{spread[0].upper()}{spread[1:]}: it beads up, above {high:g} degrees."


def _advice(word: str, water_film: bool | None, solid: float | None, liquid: float | None) -> tuple[str, ...]:
    """Return what to do; common practice, no source."""
    if water_film is False:
        return ("Clean and prepare the surface anew, then repeat the water-break test; do not bond it as it is.",)
    if word == WETS:
        wait = "Bond it, or prime it, within the time that the preparation allows: a clean surface does not stay clean."
        return (wait,) if water_film else (wait, "Record the water-break test on every part that water may touch.")
    if word == NOT_KNOWN:
        return ("Read the adhesive's own contact angle, or those of two probe liquids, to know whether it wets.",)
    raise_it = (
        "Raise the surface's energy: clean, abrade, then etch, anodise, treat with plasma or flame, or prime; read it anew."
    )
    lower_it = "Or choose an adhesive or a primer whose tension lies below the surface's energy."
    if solid is not None and liquid is not None and solid >= liquid:
        lower_it = "Or choose an adhesive or a primer whose share of polar energy is nearer to the surface's."
    pressure = "Until then work the adhesive into the surface and test coupons: pressure does not make up for wetting."
    return (raise_it, lower_it, pressure) if word == MARGINAL else (raise_it, lower_it, "Do not bond it as it is.")
