"""Failure patterns of coupons: the words of the standards, what parted, and shares that add to 100 per cent.

The words are those of ASTM D5573 (the first seven) and of ISO 10365 (substrate
and delamination), as test houses print them; both designate patterns by looks,
without magnification. The letters of ISO 10365 are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

__all__ = ["ANY", "BOND", "LETTERS", "METAL", "PATTERNS", "PLIES", "TOLERANCE", "Pattern", "averaged", "pattern_of"]

# What a failure pattern says of where the coupon parted.
BOND, METAL, PLIES, ANY = "the bond", "the adherend", "the adherend's plies", ""
PATTERNS = {
    "adhesive": BOND,
    "cohesive": BOND,
    "thin-layer cohesive": BOND,
    "fiber-tear": PLIES,
    "light-fiber-tear": PLIES,
    "stock-break": METAL,
    "mixed": ANY,
    "substrate": METAL,
    "delamination": PLIES,
}
LETTERS = {"AF": "adhesive", "CF": "cohesive", "SCF": "thin-layer cohesive", "SF": "substrate", "DF": "delamination"}
TOLERANCE = 0.5  # per cent: what whole per cents of a few classes lose when they are rounded
DOMINATING = 50.0  # per cent of the area; below it the pattern is mixed (common practice, no source)


@dataclass(frozen=True)
class Pattern:
    """The failure pattern of one specimen, or of several.

    Attributes
    ----------
    shares : dict
        Per cent of the bonded area by word, the largest first.
    """

    shares: dict[str, float]

    @property
    def word(self) -> str:
        """The one word: the class that covers more than half of the area, else ``mixed``; what `PATTERNS` and proof take."""
        first, share = next(iter(self.shares.items()))
        return first if share > DOMINATING else "mixed"

    def __str__(self) -> str:
        """Return the pattern as ASTM D5573 writes it: per cent and class, the largest first."""
        if len(self.shares) == 1:
            return self.word
        return ", ".join(f"{share:g} % {word}" for word, share in self.shares.items())


def _known(given: str) -> str | None:
    """Return the word of the standards that was meant: letters of ISO 10365, capitals, hyphens and spaces alike."""
    if given.strip().upper() in LETTERS:
        return LETTERS[given.strip().upper()]

    def plain(word: str) -> str:
        return "".join(letter for letter in word.lower().replace("fibre", "fiber") if letter.isalnum())

    return next((word for word in PATTERNS if plain(word) == plain(given)), None)


def pattern_of(given: str | Mapping[str, Any]) -> Pattern:
    """Return the pattern that a word, or a table of words and per cents, stands for.

    Raises
    ------
    ValueError
        A word that the standards do not have, or shares that do not add to 100.
        The text says what is allowed.
    """
    words = ", ".join(word for word in PATTERNS if word != "mixed")
    if isinstance(given, str):
        word = _known(given)
        if word is None or word == "mixed":
            raise ValueError(
                "mixed needs its shares: write a table, such as { cohesive = 80, adhesive = 20 }"
                if word
                else f"must be one of {words}, or a table of them with per cents"
            )
        return Pattern({word: 100.0})
    shares: dict[str, float] = {}
    for key, value in given.items():
        word = _known(str(key))
        if word is None or word == "mixed":
            raise ValueError(f'"{key}" is no class of ASTM D5573 or ISO 10365 with a share; known: {words}')
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or not 0 <= value <= 100:
            raise ValueError(f"{key} must be per cent of the bonded area, from 0 to 100")
        if word in shares:
            raise ValueError(f"{word} is there twice; give it once")
        shares[word] = float(value)
    total = sum(shares.values())
    if abs(total - 100.0) > TOLERANCE:
        raise ValueError(f"shares must add to 100 per cent of the area, and add to {total:g}")
    return Pattern(dict(sorted(((w, s) for w, s in shares.items() if s > 0), key=lambda item: -item[1])))


def averaged(patterns: list[Pattern]) -> Pattern | None:
    """Return the mean pattern of specimens that count alike; None of none."""
    if not patterns:
        return None
    words = [word for word in PATTERNS if any(word in p.shares for p in patterns)]
    mean = {word: sum(p.shares.get(word, 0.0) for p in patterns) / len(patterns) for word in words}
    return Pattern(dict(sorted(mean.items(), key=lambda item: -item[1])))
