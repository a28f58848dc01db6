"""What a bonding process comes to: wetting, squeeze-out and cure together, and what it misses."""

from __future__ import annotations

from dataclasses import dataclass

from fejoint.errors import JointError
from fejoint.joint.geometry import Geometry
from fejoint.process.cure import Cured, cured
from fejoint.process.description import Process
from fejoint.process.durations import duration
from fejoint.process.preparation import OVERRIDES
from fejoint.process.squeeze import Squeezed, squeezed
from fejoint.process.surface_verdict import EVERY_SURFACE, material_names, unnamed_materials, verdicts
from fejoint.process.verdict import DOES_NOT
from fejoint.process.wetting import Wetted, wetted

__all__ = ["CAUTIONS", "Checked", "checked"]

CAUTIONS = (
    "Curing makes heat: large mixes and thick beads can scald, smoke and burn. Mix what you use, spread it at once, never leave "
    "a full pot.",
    "Uncured resins and hardeners can sensitise skin and lungs for life; solvents and primers burn and harm. Gloves, eye "
    "protection, ventilation, no flames.",
    "The adhesive maker's data sheet and safety data sheet, local codes and licensed practice decide; these figures support "
    "trials on your own process and do not replace them.",
)


@dataclass(frozen=True, eq=False)
class Checked:
    """What a process comes to.

    Attributes
    ----------
    process : Process
    area : float or None, mm^2
        Bonded area of the joint; that of the squeeze-out where there is no joint.
    wetting : Wetted or None
    squeeze_out : Squeezed or None
    cure : Cured or None
    warnings : tuple of str
        All of them, in order.
    missed : tuple of str
        What the process does not do that it was to do.
    cautions : tuple of str
    """

    process: Process
    area: float | None
    wetting: Wetted | None
    squeeze_out: Squeezed | None
    cure: Cured | None
    warnings: tuple[str, ...]
    missed: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS


def checked(process: Process, geometry: Geometry | None = None) -> Checked:
    """Return what a process comes to, the joint's dimensions in place of what it leaves out.

    Raises
    ------
    JointError
        A dimension is missing or does not fit, or points do not tell a law of cure.
    """
    if all(part is None for part in (process.wetting, process.squeeze_out, process.cure, process.preparation)):
        raise JointError("process: says nothing; give [process.wetting], [process.squeeze_out], [process.cure] or preparation.")
    process = _with_water_film(process)
    wetting = None if process.wetting is None else wetted(process.wetting)
    squeeze = None if process.squeeze_out is None else squeezed(process.squeeze_out, geometry)
    area = None if geometry is None else geometry.bonded_length * geometry.width
    if area is None and squeeze is not None:
        area = squeeze.area
    cure = None if process.cure is None else cured(process.cure, area)
    warnings = [*(squeeze.warnings if squeeze is not None else ()), *(cure.warnings if cure is not None else ())]
    warnings += _between(process, squeeze, cure)
    missed = (*_unprepared(process, geometry), *_missed(process, wetting, squeeze, cure))
    return Checked(process, area, wetting, squeeze, cure, tuple(warnings), missed)


def _between(process: Process, squeeze: Squeezed | None, cure: Cured | None) -> list[str]:
    """Return what squeeze-out and cure say of each other."""
    if squeeze is None or cure is None or cure.gel_time is None or process.squeeze_out is None:
        return []
    reached = squeeze.time_to_target if squeeze.time_to_target is not None else squeeze.time_to_spacers
    clock = (reached or 0.0) + process.squeeze_out.time_before_clamping
    said: list[str] = []
    if clock > cure.gel_time:
        said.append(
            f"By the rate law the adhesive has gelled {duration(cure.gel_time)} after mixing, before the line is as thin as "
            f"wanted ({duration(clock)}): clamp sooner or press harder."
        )
    life = process.squeeze_out.working_life
    if life is not None and life > cure.gel_time:
        said.append(
            f"The working life stated, {duration(life)}, is longer than the rate law takes to gel, {duration(cure.gel_time)}: "
            "one of them is wrong, or they are for other temperatures."
        )
    return said


def _with_water_film(process: Process) -> Process:
    """Return the process whose wetting knows the water-break tests of the preparation, too: one that failed counts."""
    if process.wetting is None or process.preparation is None:
        return process
    stated = [process.preparation, *(getattr(process.preparation, name) for name in OVERRIDES)]
    known = {process.wetting.water_film_whole, *(surface.water_break for surface in stated if surface is not None)} - {None}
    if not known:
        return process
    wetting = process.wetting.replace(water_film_whole=False not in known)
    # Not validated anew: the surfaces of two adherends may well differ, which is no contradiction of their user's.
    return process.model_copy(update={"wetting": wetting})


def _unprepared(process: Process, geometry: Geometry | None) -> list[str]:
    """Return what forbids bonding on surfaces as they are prepared."""
    if process.preparation is None:
        return []
    materials = material_names(geometry) if geometry is not None else unnamed_materials(process.preparation)
    found = verdicts(process.preparation, materials)
    return [
        f"the preparation of {'' if name == EVERY_SURFACE else 'the '}{name.replace('_', ' ')}"
        f"{'' if name == EVERY_SURFACE else ' adherend'}: {v.state}"
        for name, v in found.items()
        if v.forbids_bonding
    ]


def _missed(process: Process, wetting: Wetted | None, squeeze: Squeezed | None, cure: Cured | None) -> list[str]:
    said: list[str] = []
    if wetting is not None and wetting.verdict.word == DOES_NOT:
        said.append("the adhesive does not wet the surface")
    if squeeze is not None:
        if squeeze.time_to_target is None:
            said.append("spacer beads keep the glue line from its target thickness")
        if squeeze.at_end is not None and squeeze.at_end > max(squeeze.target, squeeze.spacer or 0.0) * (1 + 1e-9):
            said.append("the glue line is not as thin as wanted when the adhesive no longer flows")
    if cure is not None and process.cure is not None:
        for wanted, time, name in (
            (process.cure.needed_degree, cure.needed_time, "degree of cure"),
            (process.cure.handling_load, cure.handling_time, "strength for handling"),
        ):
            if wanted is not None and (time is None or time > cure.end_time):
                said.append(f"the {name} needed is not reached by the end of the history")
    return said
