"""The prediction of strength in sentences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fejoint.units import display

__all__ = ["answer", "force", "in_short", "named", "share", "verdict", "zone_in_words"]


def verdict(data: Mapping[str, Any], system: str = "mm") -> str:
    """Return in one sentence whether the joint holds: what fails first, at what load, with what margin."""
    least, applied = data["governing"], data["applied"]["force_N"]
    if least["factor"] is None or least["margin"] is None:
        return "No multiple of the load reaches any limit that is known."
    load = force(least, system) if applied else share(least)
    margin = f"margin of safety {least['margin']:+.2f}"
    against = f" against {display(applied, 'N', system)} applied" if applied else ""
    counted = f", with knockdowns ({', '.join(least['knockdowns'])})" if least["knockdowns"] else ""
    known = "It holds" if data["believed"] else "Whether it holds is not known"
    holds = known if least["margin"] >= 0 else "It does not hold"
    return f"{holds}: what fails first is {least['name']}, at {load}{against}, {margin}{counted}."


def in_short(data: Mapping[str, Any], system: str = "mm") -> str:
    """Return what fails first, load and margin, in one line of a picture."""
    least = data["governing"]
    if least["factor"] is None or least["margin"] is None:
        return "no load reaches a limit"
    load = force(least, system) if data["applied"]["force_N"] else share(least)
    return f"fails first: {least['name']}, at {load}, margin {least['margin']:+.2f}" + (
        ", knockdowns counted in" if least["knockdowns"] else ""
    )


def answer(data: Mapping[str, Any], system: str = "mm") -> str:
    """Return the answer: what fails first, at what load and margin; which load to believe for the bond, and why."""
    first = verdict(data, system)
    if not data["believed"]:
        return f"{first} Of the bond: {data['why']}."
    return f"{first} For the bond, believe {named(data, data['believed'])}: {data['why']}."


def zone_in_words(zone: Mapping[str, Any], system: str = "mm") -> str:
    """Return how a cohesive layer parts, in one sentence or two."""
    crack, process = zone["crack_mm"] or 0.0, zone["process_zone_mm"] or 0.0
    share_of_shear = zone["shear_share_of_work"]
    mix = "" if share_of_shear is None else f", {100 * share_of_shear:.0f} % of the work lost there in shear, the rest in opening"
    mesh = zone["mesh_difference"]
    off = "" if mesh is None else f" A mesh of half the density has a largest load that is {100 * abs(mesh):.2g} % off."
    flawed = f", {display(zone['flawed_mm'], 'mm', system)} of it from the start" if zone.get("flawed_mm") else ""
    said = "".join(f" {text.rstrip('.').capitalize()}." for text in zone["warnings"])
    first = f"x = {display(zone['x_mm'] or 0.0, 'mm', system)} of bondline {zone['bondline']}"
    damaged = f"{display(process, 'mm', system)} are damaged there ({zone['elements_in_zone']} elements)"
    return (
        f"Cohesive zone: the layer parts first at {first}{mix}; at the largest load {damaged} and "
        f"{display(crack, 'mm', system)} are parted{flawed}.{off}{said}"
    )


def named(data: Mapping[str, Any], key: str) -> str:
    """Return the name of a criterion by its key."""
    return next((f'"{c["name"]}"' for c in data["criteria"] if c["key"] == key), key)


def force(item: Mapping[str, Any], system: str) -> str:
    """Return a force as text; a dash where none is known."""
    return "-" if item["force_N"] is None else display(item["force_N"], "N", system)


def share(item: Mapping[str, Any]) -> str:
    """Return a share of the load as text."""
    return "never by this measure" if item["factor"] is None else f"{item['factor']:.3g} times the load"
