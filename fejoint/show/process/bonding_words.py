"""What a job card says of adhesive, amounts, clamping and cure: facts with their sources, empty where they are to be written."""

from __future__ import annotations

from dataclasses import dataclass

from fejoint.errors import JointError
from fejoint.joint.description import Joint
from fejoint.process.cure_tables import AtTime
from fejoint.process.durations import duration
from fejoint.process.film import Amount, amount
from fejoint.process.job import Job
from fejoint.process.outcome import Checked
from fejoint.process.squeeze import ALLOWANCE, Squeezed
from fejoint.units import display

__all__ = ["Fact", "adhesive_facts", "amount_facts", "clamp_facts", "cure_facts"]

USERS = "user's"
COMMON = "common practice, no source"
COMPUTED = "computed by fejoint from the joint file"
MOST_POINTS = 8  # of a temperature history told point by point


@dataclass(frozen=True)
class Fact:
    """A fact of the card: its name, what is known (empty: room to write), where it comes from; `strong` where it is a warning."""

    name: str
    text: str = ""
    source: str = ""
    strong: bool = False


def adhesive_facts(joint: Joint, found: Checked) -> list[Fact]:
    """Return name, batch, mix ratio and pot life of the adhesive.

    Raises
    ------
    JointError
        Two pot lives are stated, and differ.
    """
    job = found.process.job or Job()
    name = job.adhesive or joint.adhesive.name
    life = pot_life(found)
    return [
        Fact("adhesive", name, USERS if job.adhesive else ""),
        Fact("batch, use by", job.batch or "", USERS),
        Fact("mix ratio", job.mix_ratio or "", USERS),
        Fact("pot life", "" if life is None else f"{duration(life)} from mixing", USERS),
        Fact("mixed at (time)"),
        Fact("to be closed by (time)"),
        Fact("place: temperature, humidity"),
    ]


def pot_life(found: Checked) -> float | None:
    """Return the pot life in s, of the job or of the squeeze-out.

    Raises
    ------
    JointError
        Both state one, and differ.
    """
    process = found.process
    of_job = process.job.pot_life if process.job else None
    of_flow = process.squeeze_out.working_life if process.squeeze_out else None
    if of_job is not None and of_flow is not None and abs(of_job - of_flow) > 1e-9 * of_flow:
        raise JointError(
            f'process.job.pot_life = "{duration(of_job)}": differs from process.squeeze_out.working_life, {duration(of_flow)}; '
            "state one of them."
        )
    return of_flow if of_job is None else of_job


def amount_facts(joint: Joint, found: Checked, units: str = "mm") -> list[Fact]:
    """Return how much adhesive the bond takes, its parts, and the cartridges."""
    g, squeeze = joint.geometry, found.process.squeeze_out
    if squeeze is None or found.squeeze_out is None:
        area, thickness, allowance = g.width * g.bonded_length, g.bondline_thickness, ALLOWANCE
        needed, bonds = amount(area, thickness, allowance), len({bond.number for bond in g.bonds()})
        allowed = COMMON
    else:
        line = found.squeeze_out
        area, thickness, allowance, needed, bonds = line.area, line.final, squeeze.allowance, line.amount, line.number
        allowed = USERS if "allowance" in squeeze.model_fields_set else COMMON
    facts = [
        Fact("bonded area", f"{area / 100:.4g} cm^2 in {bonds} bond{'' if bonds == 1 else 's'}", COMPUTED),
        Fact("stays in the glue line", f"{needed.net:.3g} mL at {display(thickness, 'mm', units)}", COMPUTED),
        Fact("allowance beside it", f"{100 * allowance:.3g} %", allowed),
        Fact("to be mixed at least", _volume(needed), COMPUTED),
    ]
    parts = _parts(found.process.job or Job(), needed)
    facts += [parts] if parts else []
    if needed.cartridges is not None and squeeze is not None and squeeze.cartridge is not None:
        number = f"{needed.cartridges} of {squeeze.cartridge:.4g} mL"
        facts.append(Fact("cartridges", f"{number}; what the nozzle keeps is part of the allowance", COMPUTED))
    facts.append(Fact("weighed (part A, part B)"))
    return facts


def _volume(needed: Amount) -> str:
    mass = "; no density stated, so no mass" if needed.mass is None else f" = {needed.mass:.3g} g"
    return f"{needed.volume:.3g} mL{mass}; never less than the data sheet lets one mix"


def _parts(job: Job, needed: Amount) -> Fact | None:
    """Return what of each part is taken, where the mix ratio tells it and its quantity is known."""
    shares = job.parts()
    if shares is None:
        return None
    one, two, by = shares
    whole, unit = (needed.volume, "mL") if by == "volume" else (needed.mass, "g")
    if whole is None:
        return None
    return Fact("part A, part B", f"{one * whole:.3g} {unit}, {two * whole:.3g} {unit}", f"{COMPUTED}, by the mix ratio")


def clamp_facts(joint: Joint, found: Checked, units: str = "mm") -> list[Fact]:
    """Return how the bondline thickness is kept, clamps, their pressure and time."""
    job, squeeze = found.process.job or Job(), found.process.squeeze_out
    beads = squeeze.spacer_diameter if squeeze else None
    kept = "; ".join(
        text for text in (job.spacers, f"spacers of {display(beads, 'mm', units)}" if beads is not None else None) if text
    )
    facts = [
        Fact("bondline thickness", display(joint.geometry.bondline_thickness, "mm", units), "joint file"),
        Fact("kept by", kept, USERS),
        Fact("clamps", job.clamping or "", USERS),
    ]
    if found.squeeze_out is None:
        facts.append(Fact("clamp pressure"))
    else:
        line = found.squeeze_out
        pressure = f"{display(line.film.pressure, 'MPa', units)}, {display(line.force, 'N', units)} on one bond"
        facts.append(Fact("clamp pressure", pressure, USERS))
        facts += _flow(line)
    handled = None if found.cure is None else found.cure.handling_time
    if job.clamp_time is not None or handled is None:
        facts.append(Fact("clamps stay", "" if job.clamp_time is None else duration(job.clamp_time), USERS))
    else:
        facts.append(Fact("clamps stay", f"until it may be handled, {duration(handled)} from mixing", COMPUTED))
    facts.append(Fact("clamps closed at (time), opened at"))
    return facts


def _flow(found: Squeezed) -> list[Fact]:
    """Return when the glue line is thin enough."""
    facts = []
    reach = found.time_to_target if found.time_to_target is not None else found.time_to_spacers
    if reach is not None:
        where = "spacers" if found.time_to_target is None else "thickness"
        facts.append(Fact(f"{where} reached after", f"about {duration(reach)} under the clamps", COMPUTED))
    return facts


def cure_facts(found: Checked, units: str = "mm") -> list[Fact]:
    """Return the cure schedule, and from when the joint may be handled."""
    cure, outcome = found.process.cure, found.cure
    if cure is None or outcome is None:
        return [Fact("cure schedule"), Fact("may be handled after"), Fact("oven or place, log number")]
    facts = [Fact("cure schedule", _history(cure.temperatures, units), USERS)]
    if outcome.handling_time is not None and cure.handling_load is not None:
        load = f"a handling load of {display(cure.handling_load, 'N', units)} (factor {cure.safety_factor:g})"
        facts.append(Fact("may be handled after", f"{duration(outcome.handling_time)} from mixing, for {load}", COMPUTED))
    else:
        facts.append(Fact("may be handled after"))
    facts.append(Fact("cured at the end of it", f"{100 * outcome.end_degree:.3g} % by the law of cure", COMPUTED))
    return [*facts, Fact("oven or place, log number")]


def _history(points: tuple[AtTime, ...], units: str) -> str:
    """Return a history of temperature in words."""
    if len({point.temperature for point in points}) == 1:
        return f"{display(points[0].temperature, 'K absolute', units)} for {duration(points[-1].time)}"
    if len(points) > MOST_POINTS:
        hottest = max(points, key=lambda point: point.temperature)
        return (
            f"{len(points)} points over {duration(points[-1].time)}, up to {display(hottest.temperature, 'K absolute', units)} "
            f"at {duration(hottest.time)}; as in the joint file"
        )
    told = [f"{display(p.temperature, 'K absolute', units)} at {duration(p.time) if p.time else 'mixing'}" for p in points]
    return f"{', '.join(told)}; times from mixing, straight in between"
