"""What a run's page says in sentences: the question, the answer in short, and what each picture shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from fejoint.bondline.curves import Bondline, Peak
from fejoint.joint.description import Joint
from fejoint.joint.families import DoubleLap, SteppedLap
from fejoint.mechanics.as_built import Comparison
from fejoint.mechanics.cautions import NEAR_BUCKLING
from fejoint.mechanics.outcome import Outcome
from fejoint.show.flaw_marks import flaw_texts
from fejoint.show.path_rows import cauchy_peaks, in_words, path_rows, step_ends
from fejoint.show.report.page import percent
from fejoint.units import display

__all__ = [
    "Answer",
    "answers",
    "comparison_alt",
    "curves_alt",
    "edge_moment_alt",
    "end_alt",
    "ends_in_words",
    "mesh_alt",
    "mesh_error",
    "path_alt",
    "question",
    "seconds_in_words",
    "section_alt",
    "solid_alt",
]

FAMILY = {
    "single-lap": "two adherends bonded over one overlap",
    "double-lap": "an inner adherend bonded between two outer ones",
    "stepped-lap": "two flush adherends bonded along a stair of steps",
}
MOST_PARTS = 8  # of a bond whose shares are told one by one


class Answer(NamedTuple):
    """A line of the answer in short."""

    name: str
    text: str
    look: str = ""


# ---- the question ----------------------------------------------------------


def question(joint: Joint, units: str) -> str:
    """Return in a sentence or two what was asked."""
    g, load = joint.geometry, joint.load

    def mm(value: float) -> str:
        return display(value, "mm", units)

    steps = f" of {len(g.treads)} steps" if isinstance(g, SteppedLap) else ""
    kind = g.kind.replace("-", " ")
    what = f"a {kind} joint ({FAMILY.get(g.kind, kind)}), {mm(g.width)} wide, overlap {mm(g.length)}{steps}"
    acting = []
    if load.force:
        acting.append(f"{display(abs(load.force), 'N', units)} in {'tension' if load.force > 0 else 'compression'}")
    if load.moment:
        acting.append(f"a moment of {display(load.moment, 'N*mm', units)} on the loaded end")
    if load.shear_force:
        acting.append(f"a sideways force of {display(load.shear_force, 'N', units)} on the loaded end")
    if load.temperature_change:
        change = display(abs(load.temperature_change), "K", units)
        acting.append(f"a temperature {change} {'above' if load.temperature_change > 0 else 'below'} the stress-free one")
    if load.moisture:
        acting.append(f"a moisture of {load.moisture:.3g}")
    under = _joined(acting) if acting else "no load at all"
    way = ""
    if joint.analysis.nonlinear:
        path = load.path()
        steps_told = f", in the steps {_joined([step.name for step in path])}" if len(path) > 1 else ""
        way = f"The load is followed from nothing to its end{steps_told}, with {_analysed(joint)}. "
    return (
        f"{way}"
        f"How large are shear and peel along the adhesive layer, {mm(g.bondline_thickness)} thick, of {what}, under {under}? "
        f"And which part of the bond passes on how much of the load, and what does that leave in the adherends?"
    )


def _analysed(joint: Joint) -> str:
    """Return what an analysis along the load's path takes into account."""
    analysis, parts = joint.analysis, []
    parts += ["large rotation"] if analysis.large_rotation else []
    parts += ["an adhesive that yields"] if analysis.adhesive_model == "plastic" else []
    parts += ["an adhesive that damages and parts"] if analysis.cohesive else []
    parts += ["adherends that yield"] if analysis.adherend_plasticity else []
    return _joined(parts)


def _joined(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def ends_in_words(joint: Joint) -> str:
    """Return how the joint is held and loaded."""
    g, load = joint.geometry, joint.load
    names = {name: name.replace("_", " ") for name in g.adherends()}
    held, loaded = (_joined([names[name] for name in which]) for which in (g.gripped, g.loaded))
    turn = "do not turn" if load.ends == "clamped" else "turn freely"
    sides = ("left", "right") if g.pull > 0 else ("right", "left")
    lift = "is free to move sideways" if load.guided else "is held against moving sideways"
    plane = {
        "plane-strain": "Across the width nothing strains (plane strain), as in the middle of a wide joint.",
        "generalised": "Across the width the joint strains evenly so that no net force acts there (generalised plane strain).",
    }[joint.out_of_plane]
    half = " The outer adherends are alike, so that the upper half was solved and stands for both." if joint.half else ""
    plural = "s are" if len(g.gripped) > 1 else " is"
    return (
        f"The {held} adherend{plural} gripped at the {sides[0]}, the {loaded} one is loaded at the {sides[1]}. The ends are "
        f"{load.ends}: their faces {turn}. The loaded end {lift}. {plane}{half}"
    )


# ---- the answer ------------------------------------------------------------


def answers(outcome: Outcome, units: str) -> list[Answer]:
    """Return the answer in short."""
    joint = outcome.joint
    mean = joint.mean_shear
    shear, peel = outcome.peak_shear, outcome.peak_peel
    times = f", {abs(shear[0].value / mean):.3g} times the mean of {display(mean, 'MPa', units)}" if mean else ""
    found = [Answer("Load not reached", f"{outcome.limit}.", "bad")] if outcome.limit else []
    found += [
        Answer("Peak shear", f"{_place(shear, outcome, units)}{times}"),
        Answer("Peak peel", _place(peel, outcome, units)),
        Answer("Least peel", f"{_place(outcome.least_peel, outcome, units)} (where the layer is pressed together most)"),
        *_on_the_path(outcome, units),
        *_beyond(outcome, units),
        Answer("Mean shear", f"{display(mean, 'MPa', units)}, the force over the bonded area"),
        Answer("Load passed on", _shares(outcome, units)),
        Answer("Adherends", _adherends(outcome, units)),
    ]
    share = next((check.value for check in outcome.checks if check.name == "buckling"), 0.0)
    if share > 0:
        said = f"this compression is {percent(share)} of that at which the joint buckles as a frame of beams"
        found.append(Answer("Buckling", said, "bad" if share >= NEAR_BUCKLING else ""))
    missed = [check.name for check in outcome.checks if not check.passed]
    if missed:
        text = f"MISSED: {', '.join(missed)}. Do not rely on these numbers before you know why; see Mesh and self-checks."
    else:
        text = f"all {len(outcome.checks)} passed. They say that the numbers solve the stated problem, not that the bond holds."
    return [
        *found,
        Answer("Self-checks", text, "bad" if missed else "good"),
        Answer("Mesh error, estimated", mesh_error(outcome)),
    ]


def _on_the_path(outcome: Outcome, units: str) -> list[Answer]:
    """Return which stress this is, that in the axes of space beside it, and what has yielded."""
    if not outcome.joint.analysis.nonlinear:
        return []
    found = [Answer("Stress measure", outcome.bondlines[0].measure)]
    space = cauchy_peaks(outcome)
    if space:
        told = [f"{name.replace('_', ' ')} {_place(place, outcome, units)}" for name, place in space.items()]
        found.append(Answer("Cauchy stress in the axes of space", ", ".join(told)))
    strains = [f"{name.replace('_', ' ')} {value:.3g}" for name, value in outcome.plastic_strain.items()]
    if strains:
        found.append(Answer("Largest plastic strain", f"{', '.join(strains)} (of the adhesive on the mid-line)"))
    if outcome.yielded:
        which = [f"{percent(share)} of bondline {number}" for number, share in outcome.yielded.items()]
        told = which if len(which) > 1 else [f"{percent(share)} of the mid-line" for share in outcome.yielded.values()]
        found.append(Answer("Yielded", ", ".join(told[:MOST_PARTS])))
    return found


def path_alt(outcome: Outcome, units: str) -> str:
    """Return what the figure of the load's path shows."""
    rows = path_rows(outcome)
    ends = [rows[i] for i in [*step_ends(rows), len(rows) - 1]]
    told = [
        f"after {in_words(row, units)}: elongation {display(row['elongation_mm'], 'mm', units)}, peak shear "
        f"{display(row['peak_shear_MPa'], 'MPa', units)}, peak peel {display(row['peak_peel_MPa'], 'MPa', units)}"
        for row in ends[-MOST_PARTS:]
    ]
    return f"The load against the elongation, and peaks on the mid-line against the load, by increment; {'; '.join(told)}."


def edge_moment_alt(outcome: Outcome, units: str) -> str:
    """Return what the figure of the edge moment shows."""
    rows = [row for row in path_rows(outcome) if row["edge_moment_factor_left"] is not None]
    first, last = ([abs(row[f"edge_moment_factor_{end}"]) for end in ("left", "right")] for row in (rows[0], rows[-1]))
    return (
        f"The edge moment factor against the force, beside theories: {max(first):.3g} at "
        f"{display(rows[0]['force_N'], 'N', units)}, {max(last):.3g} at {display(rows[-1]['force_N'], 'N', units)}."
    )


def mesh_error(outcome: Outcome) -> str:
    """Return the estimated errors that the mesh leaves."""
    return ", ".join(f"{name.replace('_', ' ')} {percent(share)}" for name, share in outcome.discretisation_error.items())


def seconds_in_words(outcome: Outcome) -> str:
    """Return how long the run took, and what for."""
    stages = ", ".join(f"{stage} {value:.2g}" for stage, value in outcome.seconds.items())
    return f"solved in {sum(outcome.seconds.values()):.2g} s ({stages})"


def _place(found: tuple[Peak, int], outcome: Outcome, units: str) -> str:
    peak, number = found
    return f"{display(peak.value, 'MPa', units)} at x = {display(peak.x, 'mm', units)}{_which(number, outcome)}"


def _which(number: int, outcome: Outcome) -> str:
    if len(outcome.bondlines) == 1:
        return ""
    if outcome.joint.half:
        return " in both bondlines"
    return f" in {'tread' if isinstance(outcome.joint.geometry, SteppedLap) else 'bondline'} {number}"


def _beyond(outcome: Outcome, units: str) -> list[Answer]:
    """Return what the spew holds when that is more than the overlap."""
    said = []
    shear = max((shear for shear, _ in outcome.spew_peaks.values()), key=lambda p: abs(p.value), default=None)
    peel = max((peel for _, peel in outcome.spew_peaks.values()), key=lambda p: p.value, default=None)
    if shear is not None and abs(shear.value) > abs(outcome.peak_shear[0].value):
        said.append(f"shear up to {display(shear.value, 'MPa', units)}")
    if peel is not None and peel.value > outcome.peak_peel[0].value:
        said.append(f"peel up to {display(peel.value, 'MPa', units)}")
    return [Answer("In the spew", f"beyond the overlap, in the spew, the mid-line holds more: {_joined(said)}")] if said else []


def _shares(outcome: Outcome, units: str) -> str:
    g, forces = outcome.joint.geometry, outcome.bond_forces
    total = outcome.joint.line_load
    if total == 0:
        return "no force acts; what the bond passes to and fro adds up to nothing"
    if isinstance(g, SteppedLap):
        across = sum(force for name, force in forces.items() if name.startswith("riser")) / total
        worst = max(forces, key=lambda name: abs(forces[name]))
        return (
            f"the treads pass on {percent(1 - across, 3)} by shear, the risers, butt ends among them, {percent(across, 3)} "
            f"straight across; most, {percent(forces[worst] / total, 3)}, {worst}"
        )
    parts = [f"{name} {percent(force / total, 3)} ({display(force * g.width, 'N', units)})" for name, force in forces.items()]
    first = outcome.bondlines[0]
    if first.transferred is None:
        return ", ".join(parts)
    quarter = _passed_by(outcome, 0.25)
    return f"{', '.join(parts[:MOST_PARTS])}; the first quarter of the overlap passes on {percent(quarter, 3)}"


def _passed_by(outcome: Outcome, share: float) -> float:
    """Return the share of the load that all bondlines have passed on by a share of the overlap."""
    x = share * outcome.joint.geometry.length
    passed = sum(float(np.interp(x, b.x, b.transferred)) for b in outcome.bondlines if b.transferred is not None)
    return passed / outcome.joint.line_load


def _adherends(outcome: Outcome, units: str) -> str:
    parts = [f"{name.replace('_', ' ')} {display(value, 'MPa', units)}" for name, value in outcome.adherend_peaks.items()]
    factors = outcome.edge_moment_factors
    more = f"; edge moment factor {max(factors, key=abs):.3g}" if factors else ""
    return f"largest beam stress {', '.join(parts)}{more}"


# ---- what pictures show ----------------------------------------------------


def section_alt(joint: Joint, units: str) -> str:
    """Return what the dimensioned section shows."""
    g = joint.geometry
    parts = [f"{name.replace('_', ' ')} adherend {display(p.thickness, 'mm', units)} thick" for name, p in g.adherends().items()]
    return (
        f"Drawing of the {g.kind.replace('-', ' ')} from the side, to scale along its length: overlap "
        f"{display(g.length, 'mm', units)}, bondline {display(g.bondline_thickness, 'mm', units)}, {', '.join(parts)}; the left "
        f"overlap end magnified, with {'spew fillets' if g.fillet_height else 'square adhesive ends'}."
        f"{_flaws(joint, units)} All dimensions stand in the table below."
    )


def _flaws(joint: Joint, units: str) -> str:
    return f" Flaws: {'; '.join(flaw_texts(joint, units))}." if joint.flaws else ""


def curves_alt(outcome: Outcome, theories: Sequence[str], units: str) -> str:
    """Return what the curves along the bondline show."""
    beside = _flaws(outcome.joint, units) + (f" Drawn over it: {'; '.join(theories)}." if theories else "")
    return (
        f"Curves over x, from 0 to {display(outcome.joint.geometry.length, 'mm', units)}, under a drawing of the overlap. Shear: "
        f"peak {_place(outcome.peak_shear, outcome, units)}, mean {display(outcome.joint.mean_shear, 'MPa', units)}. Peel: peak "
        f"{_place(outcome.peak_peel, outcome, units)}, least {_place(outcome.least_peel, outcome, units)}. Load passed on: from "
        f"0 at the left to {display(outcome.joint.load.force, 'N', units)} at the right.{beside}"
    )


def solid_alt(outcome: Outcome, units: str) -> str:
    """Return what the whole joint in 3D shows, coloured by peel."""
    return (
        f"The joint in 3D, its section drawn over the width of {display(outcome.joint.geometry.width, 'mm', units)}, deformed "
        "beside its undeformed outline and coloured by peel; over it the peel on the mid-line as a ribbon, highest, "
        f"{display(outcome.peak_peel[0].value, 'MPa', units)}, at x = {display(outcome.peak_peel[0].x, 'mm', units)}, lowest, "
        f"{display(outcome.least_peel[0].value, 'MPa', units)}, at x = {display(outcome.least_peel[0].x, 'mm', units)}."
    )


def end_alt(outcome: Outcome, end: str, units: str) -> str:
    """Return what the overlap end in 3D shows, coloured by peel."""
    shown, half = end_bondline(outcome, end), outcome.joint.geometry.length / 2
    first, last = float(shown.x[0]), float(shown.x[-1])
    near = shown.middle.part(*((first, min(last, half)) if end == "left" else (max(first, half), last)))
    high, low = near.highest("peel"), near.lowest("peel")
    which = f" of bondline {shown.number}, the uppermost," if isinstance(outcome.joint.geometry, DoubleLap) else ""
    return (
        f"The {end} end of the overlap in 3D, cut out and coloured by peel, which on the mid-line{which} lies between "
        f"{display(low.value, 'MPa', units)} at x = {display(low.x, 'mm', units)} and {display(high.value, 'MPa', units)} at "
        f"x = {display(high.x, 'mm', units)} in this half of the overlap and has no limit in the adhesive's corners."
    )


def end_bondline(outcome: Outcome, end: str) -> Bondline:
    """Return the bondline that the look at an end shows: of several layers the uppermost, of a stair its tread there."""
    return outcome.bondlines[0 if end == "left" and isinstance(outcome.joint.geometry, SteppedLap) else -1]


def comparison_alt(comparison: Comparison) -> str:
    """Return what the figure of the comparison shows."""
    said = []
    for name in ("shear", "peel"):
        ratios = [(row.name, getattr(row, name)) for row in comparison.rows if getattr(row, name) is not None]
        told = [f"{theory} {beside.ratio:.2f}" for theory, beside in ratios if not math.isnan(beside.ratio)]
        said.append(f"Peak {name}, finite elements over theory: {', '.join(told)}." if told else f"No theory gives the {name}.")
    return "Curves of shear and peel, whole and at the end with the peak, beside bars of ratios. " + " ".join(said)


def mesh_alt(outcome: Outcome, cells: int, unknowns: int) -> str:
    """Return what the mesh shows."""
    layers = "bondlines" if isinstance(outcome.joint.geometry, DoubleLap) else "bondline"
    return (
        f"The mesh of {cells} quadrilateral nine-node cells with {unknowns} unknowns, whole and at the left end of the overlap: "
        f"cells are smallest in the {layers} near the overlap's ends and grow away from there."
    )
