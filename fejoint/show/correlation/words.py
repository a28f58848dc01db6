"""What a correlation says, in sentences that claim no more than it knows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fejoint.show.correlation.data import by
from fejoint.show.pen import printable
from fejoint.units import display

__all__ = ["VERDICTS", "findings", "percent", "verdict_in_words"]

DIFFERENT = 0.05  # between stated loads and the curves' largest forces: more than reading them off makes
VERDICTS = {
    "alone": "may explain all of it",
    "load": "may explain the load only",
    "stiffness": "may explain the stiffness only",
    "towards": "moves it nearer, not far enough",
    "past": "moves it past the coupons",
    "away": "moves it further away",
    "none": "hardly moves it",
    "unnamed": "cannot be named",
}


def verdict_in_words(data: Mapping[str, Any], cause: Mapping[str, Any]) -> str:
    """Return what a cause of a correlation says, in a few words."""
    if cause["verdict"] == "unnamed":
        return VERDICTS["unnamed"] if cause["key"] in ("preparation", "machine") else "not tried"
    if data["within_scatter"]:
        return "nothing needs explaining"
    if cause["verdict"] == "none":
        return f"hardly moves the {' or '.join(data['differs'])}"
    return VERDICTS[cause["verdict"]]


def percent(ratio: float | None) -> str:
    """Return how far a ratio is from 1, in per cent with its sign."""
    return "-" if ratio is None else f"{round(100 * (ratio - 1), 1) + 0.0:+.1f} %"  # no minus nothing


def findings(data: Mapping[str, Any], units: str = "mm") -> list[str]:
    """Return what a correlation says, a sentence each: how far off, what may explain it, what cannot be named."""
    m, p, ratios = data["measured"], data["predicted"], data["ratios"]
    of_lot = m["load_deviation_N"] == m["load_allowance_N"]
    scatter = "one standard deviation of the coupons" if of_lot else "the assumed scatter"
    off = abs(p["load_N"] - m["load_N"])
    size = "within" if off <= m["load_allowance_N"] else "more than"
    told = [
        f"The predicted load, {display(p['load_N'], 'N', units)}, is {_apart(ratios['load'])} the mean measured one, "
        f"{display(m['load_N'], 'N', units)}: {size} {scatter} ({display(m['load_allowance_N'], 'N', units, 3)})."
    ]
    if ratios["stiffness"] is not None:
        told.append(
            f"The predicted stiffness, {display(p['stiffness_N_per_mm'], 'N/mm', units)}, is {_apart(ratios['stiffness'])} the "
            f"measured one, {display(m['stiffness_N_per_mm'], 'N/mm', units)}."
        )
    of_machine = _machine(data, units)
    told += of_machine
    tops = [one["load_N"] for one in m["specimens"]]
    if tops and abs(sum(tops) / len(tops) / m["load_N"] - 1) > DIFFERENT:
        told.append(
            f"The largest forces of the curves, {display(sum(tops) / len(tops), 'N', units)} on the average, are not the loads "
            "that the file states: check that both are of the same coupons."
        )
    if not data["as_seen"]:
        told.append(
            f"The coupons did not fail as is predicted ({data['pattern']} failure seen, {p['mode_name']} predicted): what is "
            "predicted would have come at no smaller load than theirs."
        )
    told += _surfaces(data)
    if data["within_scatter"]:
        return [
            *told,
            "That is within the scatter of the coupons: nothing needs explaining, and nothing is proven by it either.",
        ]
    by: dict[str, list[Mapping[str, Any]]] = {}
    for cause in data["causes"]:
        by.setdefault(cause["verdict"], []).append(cause)
    what = "load and stiffness together" if len(data["differs"]) > 1 else f"the {data['differs'][0]}, which alone differs"
    alone = [_named(cause) for cause in by.get("alone", [])]
    told.append(
        f"Each may explain {what}: {'; '.join(alone)}."
        if len(alone) > 1
        else f"May explain {what}: {alone[0]}."
        if alone
        else f"None of the causes tried can explain {what}, as far as it was varied."
    )
    for verdict in ("load", "stiffness"):
        named = [_named(cause) for cause in by.get(verdict, [])]
        other = (
            ""
            if ratios["stiffness"] is None
            else f", but not the {'stiffness' if verdict == 'load' else 'load'} by the same change"
        )
        if named:
            told.append(f"May explain the {verdict}{other}: {'; '.join(named)}.")
    near = [f"{printable(c['name'])} ({' and '.join(c['moves'])})" for c in by.get("towards", [])]
    if near:
        told.append(f"Move the prediction nearer, not far enough: {', '.join(near)}.")
    past = [f"{printable(c['name'])} ({' and '.join(c['moves'])})" for c in by.get("past", [])]
    if past:
        told.append(f"Move the prediction past the coupons: {', '.join(past)}.")
    unnamed = [
        f"{printable(c['name'])} ({printable(c['reason'])})"
        for c in by.get("unnamed", [])
        if not (c["key"] == "machine" and of_machine)  # which is told already
    ]
    told += [f"Not tried: {text.rstrip('.')}." for text in unnamed]
    told += [
        f"Of {printable(c['name'])} not all was tried: {printable(c['reason'])}."
        for c in data["causes"]
        if c["effects"] and c["reason"]
    ]
    return told


def _surfaces(data: Mapping[str, Any]) -> list[str]:
    """Return what speaks for the preparation of the surfaces as the cause: how the coupons looked, what their file says."""
    signs = [printable(text) for text in data["against_surfaces"]]
    if data["pattern"] == "adhesive":
        signs.append("the coupons parted mostly at the interface (adhesive failure)")
    if not signs:
        return []
    text = f"{' and '.join(signs)}: "
    weaker = data["measured"]["load_N"] < data["predicted"]["load_N"] and "load" in data["differs"]
    end = (
        "the preparation of the surfaces may be why they bore less than predicted."
        if weaker
        else "mind the preparation of the surfaces, although the coupons bore no less than predicted."
    )
    return [text[0].upper() + text[1:] + end]


def _apart(ratio: float) -> str:
    share = 100 * (ratio - 1)
    return "equal to" if abs(share) < 0.05 else f"{abs(share):.1f} % {'above' if share > 0 else 'below'}"


def _machine(data: Mapping[str, Any], units: str) -> list[str]:
    """Return what the machine's compliance does to the stiffness, where it is not stated."""
    gauge, wanted = data["gauge"], data["compliance_wanted_mm_per_N"]
    if gauge is None or data["ratios"]["stiffness"] is None:
        return []
    if gauge["between"] != "grips" or gauge["machine_compliance_mm_per_N"] is not None:
        return []
    more = f"; {display(wanted, 'mm/N', units, 3)} would make both equal" if wanted > 0 else ""
    return [f"Nothing was taken off for the machine: measured.curve.machine_compliance is not stated{more}."]


def _named(cause: Mapping[str, Any]) -> str:
    share = cause["share"]
    part = f", from {100 * share:.0f} % of this change on" if share is not None and cause["partial"] and 0 < share < 0.995 else ""
    return f"{printable(cause['name'])} ({printable(cause['change'])}{by(cause)}{part}; {printable(cause['source'])})"
