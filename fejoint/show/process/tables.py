"""A bonding process in words and tables."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from fejoint.errors import one_line
from fejoint.process.durations import duration
from fejoint.units import display

__all__ = ["answer", "process_report"]

WATER = {True: "passed: the film stayed whole", False: "failed: the film broke", None: "not recorded"}
LIMITS = " (common practice, no source)"
FIGURES = {
    "rate_factor": ("rate factor A, 1/s", 1.0),
    "activation_energy": ("activation energy E, kJ/mol", 1e-3),
    "order": ("order n", 1.0),
    "start_share": ("k1 over k2", 1.0),
    "power": ("autocatalytic power m", 1.0),
}
OPEN = 1e6  # times the figure: an interval beyond tells nothing
Row = tuple[str, str]


def answer(data: Mapping[str, Any], system: str = "mm") -> str:
    """Return the process in one or two sentences: whether it wets, how long to clamp, how much to mix, when to handle it."""
    said: list[str] = []
    if wetting := data.get("wetting"):
        why = "" if wetting["angle_deg"] is None else f" ({wetting['angle_deg']:.3g} degrees)"
        if wetting["water_film_whole"] is False:  # it decides, whatever the angle
            why = " (the film of water broke)"
        said.append(f"Wetting: {wetting['verdict']}{why}")
    if squeeze := data.get("squeeze_out"):
        reached = squeeze["time_to_target_s"]
        target = display(squeeze["target_thickness_mm"], "mm", system)
        said.append(f"{target} {'is not reached' if reached is None else f'after {duration(reached)}'} under the clamps")
        said.append(f"{_amount(squeeze)} of adhesive")
    if cure := data.get("cure"):
        said.append(f"degree of cure {cure['end_degree']:.3g} after {duration(cure['end_time_s'])}")
        if cure["handling_load_N"] is not None:
            ready = cure["handling_time_s"]
            said.append(f"may carry {display(cure['handling_load_N'], 'N', system)} {_after(ready)}")
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def process_report(data: Mapping[str, Any], system: str = "mm", preparation: list[str] | None = None) -> RenderableType:
    """Return what the command prints."""
    parts: list[RenderableType] = [Text(one_line(data["title"]) or "bonding process", style="bold")]
    parts += [Text(text) for text in [answer(data, system)] if text] + [Text("")]
    parts += [Text(f"Warning: {text}", style="bold") for text in data["warnings"]]
    for key, title, rows in (
        ("wetting", "Wetting", _wetting_rows),
        ("squeeze_out", "Squeeze-out", _squeeze_rows),
        ("cure", "Cure and handling", _cure_rows),
    ):
        part = data.get(key)
        if part is None:
            continue
        parts.append(_table(title, rows(part, system)))
        if key == "cure" and part["fit"] is not None:
            parts.append(_fit_table(part["fit"]))
        if key == "wetting":
            parts += [Text(f"Why: {text}") for text in part["reasons"]]
            parts += [Text(f"What to do: {text}") for text in part["advice"]]
        parts += [Text(f"Note: {text}") for text in part["notes"]]
        parts.append(Text(""))
    if preparation is not None:
        parts += [Text("Preparation", style="italic"), *(Text(line) for line in preparation), Text("")]
    parts += [Text(f"Missed: {text}.", style="bold") for text in data["missed"]]
    parts += [Text(f"Caution: {text}") for text in data["cautions"]]
    return Group(*parts)


def _table(title: str, rows: list[Row]) -> Table:
    table = Table(title=title, title_justify="left", box=box.SIMPLE, show_header=False, pad_edge=False)
    table.add_column(overflow="fold")
    table.add_column(overflow="fold")
    for name, value in rows:
        table.add_row(name, value)
    return table


def _energies(e: Mapping[str, Any], errors: Mapping[str, Any] | None = None) -> str:
    def part(key: str) -> str:
        error = "" if errors is None else f" ± {errors[f'{key}_error']:.2g}"
        return f"{e[f'{key}_mN_per_m']:.4g}{error}"

    return f"{part('total')} mN/m: {part('dispersive')} dispersive, {part('polar')} polar ({e['source']})"


def _wetting_rows(w: Mapping[str, Any], system: str) -> list[Row]:
    rows = [("verdict", w["verdict"]), ("water-break test (ASTM F22)", WATER[w["water_film_whole"]])]
    if w["angle_deg"] is not None:
        how = "as read" if w["angle_was_read"] else "from surface energies"
        rows.append(("contact angle of the adhesive", f"{w['angle_deg']:.3g} degrees ({how})"))
        rows.append(
            (
                "limits of the angle",
                f"wets up to {w['wets_up_to_deg']:g}, does not above {w['does_not_above_deg']:g} degrees{LIMITS}",
            )
        )
    if w["surface"] is not None:
        rows.append(("surface", _energies(w["surface"], w["surface_from_readings"])))
    if w["adhesive"] is not None:
        rows.append(("adhesive", _energies(w["adhesive"])))
    elif w["adhesive_tension_mN_per_m"] is not None:
        rows.append(("adhesive", f"{w['adhesive_tension_mN_per_m']:.4g} mN/m"))
    if w["work_of_adhesion_mJ_per_m2"] is not None:
        rows.append(("work of adhesion", f"{w['work_of_adhesion_mJ_per_m2']:.4g} mJ/m^2"))
        rows.append(("spreading coefficient", f"{w['spreading_mN_per_m']:+.3g} mN/m (from 0 on it spreads by itself)"))
    rows += _readings(w["surface_from_readings"])
    return rows


def _readings(measured: Mapping[str, Any] | None) -> list[Row]:
    """Return a row for each probe liquid: its angles as read, and the one that the surface energy found makes."""
    by_liquid: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for reading in (measured or {}).get("readings", []):
        by_liquid.setdefault(tuple(reading["liquid"].values()), []).append(reading)
    rows: list[Row] = []
    for readings in by_liquid.values():
        liquid = readings[0]["liquid"]
        angles = ", ".join(f"{reading['angle_deg']:.3g}" for reading in readings)
        made = readings[0]["angle_deg"] - readings[0]["residual_deg"]
        parts = f"{liquid['dispersive_mN_per_m']:g} + {liquid['polar_mN_per_m']:g} mN/m, {liquid['source']}"
        rows.append((f"angles of {liquid['name'] or 'a liquid'}", f"{angles} degrees; {made:.3g} by the energies ({parts})"))
    return rows


def _amount(s: Mapping[str, Any]) -> str:
    more = [] if s["mass_g"] is None else [f"{s['mass_g']:.3g} g"]
    if s["cartridges"] is not None:
        more.append(f"{s['cartridges']} cartridge{'s' if s['cartridges'] != 1 else ''}")
    return f"{s['volume_mL']:.3g} mL" + (f" ({', '.join(more)})" if more else "")


def _after(time: float | None) -> str:
    return "never" if time is None else f"after {duration(time)}"


def _squeeze_rows(s: Mapping[str, Any], system: str) -> list[Row]:
    def mm(value: float | None) -> str:
        return "-" if value is None else display(value, "mm", system, 3)

    size = f"strip {mm(s['strip_width_mm'])} wide" if s["shape"] == "strip" else f"disc of {mm(2 * s['radius_mm'])}"
    size += f", {display(s['bond_area_mm2'], 'mm^2', system)}" + (f", {s['bonds']} of them" if s["bonds"] != 1 else "")
    law = "" if s["flow_index"] == 1 else f" at {s['viscosity_rate_per_s']:g} 1/s, flow index {s['flow_index']:g}"
    rows = [
        ("bond", size),
        (
            "clamps",
            f"{display(s['clamp_pressure_MPa'], 'MPa', system)} mean, {display(s['clamp_force_N'], 'N', system)} on one bond",
        ),
        ("viscosity", f"{s['viscosity_Pa_s']:g} Pa*s{law}"),
        ("thickness at the start", mm(s["start_thickness_mm"])),
        (f"time to {mm(s['target_thickness_mm'])}", _time(s["time_to_target_s"])),
    ]
    if s["spacer_diameter_mm"] is not None:
        rows.append(
            (f"spacer beads, {mm(s['spacer_diameter_mm'])}", f"reached after {duration(s['time_to_spacers_s'])}, then they bear")
        )
    if s["flow_time_s"] is not None:
        without = mm(s["thickness_at_end_of_flow_without_spacers_mm"])
        beads = "" if s["spacer_diameter_mm"] is None else f" (without spacer beads {without})"
        rows.append((f"when it no longer flows, {duration(s['flow_time_s'])}", f"{mm(s['thickness_at_end_of_flow_mm'])}{beads}"))
    rows.append(("adhesive to put on, with allowance", _amount(s)))
    rows.append(("of it in the glue line", f"{s['volume_in_glue_line_mL']:.3g} mL"))
    return rows


def _time(seconds: float | None) -> str:
    return "never" if seconds is None else duration(seconds)


def _cure_rows(c: Mapping[str, Any], system: str) -> list[Row]:
    rows = [("degree of cure at the end of the history", f"{c['end_degree']:.3g} after {duration(c['end_time_s'])}")]
    if c["end_strength_MPa"] is not None:
        rows.append(("strength then", display(c["end_strength_MPa"], "MPa", system, 3)))
        rows.append((f"strength begins (degree {c['gel_degree']:.3g})", _time(c["gel_time_s"])))
    if c["needed_degree"] is not None:
        rows.append((f"degree of {c['needed_degree']:g}", _time(c["needed_degree_time_s"])))
    if c["handling_load_N"] is not None:
        area = display(c["handling_area_mm2"], "mm^2", system)
        need = display(c["needed_strength_MPa"], "MPa", system, 3)
        load = display(c["handling_load_N"], "N", system)
        rows.append(
            (f"may carry {load}", f"{_time(c['handling_time_s'])} ({need} on {area}, with a factor of {c['safety_factor']:g})")
        )
    return rows


def _fit_table(fit: Mapping[str, Any]) -> Table:
    table = Table(title=f"{fit['kind']} law fitted", title_justify="left", box=box.SIMPLE, pad_edge=False)
    table.add_column("figure")
    for name in ("value", "from", "to (95 %)"):
        table.add_column(name, justify="right")
    for key, (name, factor) in FIGURES.items():
        if key in fit["figures"]:
            figure = fit["figures"][key]
            low, high, most = figure["low_95"], figure["high_95"], OPEN * abs(figure["value"])
            cells = ["-" if v is None else "open" if abs(v) > most else f"{factor * v:.4g}" for v in (low, high)]
            table.add_row(name, f"{factor * figure['value']:.4g}", *cells)
    return table
