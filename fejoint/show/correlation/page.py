"""A correlation as one HTML page: what was measured and predicted, the causes, pictures and cautions."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from fejoint.show.correlation.data import by
from fejoint.show.correlation.tables import figure_text
from fejoint.show.correlation.words import findings, percent, verdict_in_words
from fejoint.show.report.page import Row, Table, page, picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["correlation_page"]

CURVES = "Force against displacement, from where the line through the early part of each curve meets zero force."
BARS = "Change of the predicted load and stiffness by each cause alone; dashed: the coupons, in the band of their scatter."


def correlation_page(data: Mapping[str, Any], curve: Figure, causes: Figure, units: str = "mm") -> str:
    """Return the page of a correlation; `curve` and `causes` are its figures.

    Raises
    ------
    SetupError
        jinja2 or matplotlib is not installed.
    """
    told = findings(data, units)
    context = {
        "source": data["source"],
        "note": data["note"],
        "pattern": data["pattern"] or "not stated",
        "number": data["number"],
        "findings": told,
        "curve": picture(curve, f"Force against displacement of the coupons and of the prediction. {told[0]}", CURVES),
        "bars": picture(causes, "What each cause does to the prediction, as bars; the table below has the numbers.", BARS),
        "sides": _sides(data, units),
        "causes": _causes(data),
        "cautions": data["cautions"],
        "warnings": data["predicted"]["warnings"],
        "marked": ", ".join(f"{key} ({source})" for key, source in data["marked_figures"].items()),
    }
    return page("correlation.html", data["title"], context)


def _sides(data: Mapping[str, Any], units: str) -> Table:
    rows = [
        Row(
            [
                name,
                *(figure_text(data[side][key], unit, units) for side in ("predicted", "measured")),
                f"{data['ratios'][of]:.3f}",
            ]
        )
        for name, key, unit, of in (
            ("failure load", "load_N", "N", "load"),
            ("stiffness", "stiffness_N_per_mm", "N/mm", "stiffness"),
            ("work up to the load", "work_N_mm", "N*mm", "work"),
        )
        if data["ratios"][of] is not None
    ]
    p = data["predicted"]
    return Table(f"Predicted ({p['name']}; {p['curve']}) and measured, mean", ["", "predicted", "measured", "ratio"], rows)


def _causes(data: Mapping[str, Any]) -> Table:
    rows = []
    for cause in data["causes"]:
        verdict = verdict_in_words(data, cause) + (f": {cause['reason']}" if cause["reason"] else "")
        for effect in cause["effects"]:
            mine = effect["change"] == (cause["change"] or effect["change"])
            cells = [
                cause["name"],
                effect["change"] + by(effect),
                percent(effect["load_ratio"]),
                percent(effect["stiffness_ratio"]),
            ]
            rows.append(Row([*cells, verdict if mine else "", cause["source"]]))
        if not cause["effects"]:
            rows.append(Row([cause["name"], "", "-", "-", verdict, cause["source"]]))
    columns = ["cause", "changed to", "load", "stiffness", "what it says", "source"]
    return Table("Causes, each varied alone", columns, rows, words=(0, 1, 4, 5))
