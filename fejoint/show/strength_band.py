"""The band that the scatter of the inputs makes of a load, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fejoint.strength.capacity import MODES
from fejoint.units import display

__all__ = ["band_in_words"]


def band_in_words(band: Mapping[str, Any], system: str = "mm") -> str:
    """Return the band in a few sentences: where most joints lie, how they fail, what is not in it."""
    by_force = bool(band["force_N"]["50 %"])
    low, middle, high, stated = (
        display(band["force_N"][share], "N", system) if by_force else f"{band['factors'][share]:.3g} times the load"
        for share in ("5 %", "50 %", "95 %", "stated")
    )
    modes = sorted(band["modes"].items(), key=lambda item: -item[1])
    first = ", ".join(f"{MODES[mode].name if mode in MODES else mode} in {number}" for mode, number in modes)
    inputs = ", ".join(f"{item['key']} {100 * item['variation']:.3g} % ({item['source']})" for item in band["scatter"])
    return (
        f"Band by the scatter of {inputs}: of {band['done']} joints the middle one bears {middle}, a twentieth less than {low} "
        f"and a twentieth more than {high}; {band['below_applied']} bear less than is applied. What fails first: {first}. "
        f"({band['not_covered'].capitalize()}; without the cohesive zone: then the joint as stated bears {stated}.)"
    )
