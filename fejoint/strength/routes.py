"""Routes to a load beside the criteria on stress: growth of a disbond, the cohesive zone, the limit load of a path, shear lag."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from fejoint.bondline.closed_form import hart_smith_double, hart_smith_stepped
from fejoint.errors import ConvergenceError, JointError, TheoryError, one_line
from fejoint.joint.description import Joint
from fejoint.joint.disbond import Disbond
from fejoint.joint.families import DoubleLap, SteppedLap
from fejoint.mechanics.result import Result
from fejoint.mechanics.reuse import Kept
from fejoint.strength.advice import LEFT_YIELDS
from fejoint.strength.capacity import Capacity
from fejoint.strength.cohesive import CohesiveLoad, cohesive_load
from fejoint.strength.field import Field
from fejoint.strength.flaw_growth import FlawGrowth, flaw_growth
from fejoint.strength.fracture import disbond_load
from fejoint.strength.stretches import bonded_left, sound

__all__ = [
    "cohesive_capacity",
    "disbond_capacity",
    "elastic_plastic_capacity",
    "growth_capacity",
    "limit_load_capacity",
    "shear_lag_left",
    "sound_capacity",
]

# A bond has yielded as a whole where all but this share of its mid-line has not.
YIELDED_ALONG = 0.99


def disbond_capacity(joint: Joint, disbond: Disbond, density: float, variants: bool, kept: Kept) -> Capacity:
    """Return the load at which a disbond grows, by finite elements with the disbond in them."""
    made = Capacity(
        key="energy-disbond",
        name="growth of the disbond",
        route="energy",
        mode="interface" if disbond.place != "middle" else joint.strength.bond_mode,
        density=density,
        bias="linear elasticity; the bond ahead must be long against its zone; at half and double distance: at such lengths",
        source="virtual crack closure (from memory: Krueger, NASA/CR-2002-211628), checked by the J integral",
    )
    try:
        found = disbond_load(joint, disbond, density, kept)
    except JointError as error:
        if "toughness" not in str(error):
            raise
        return replace(made, reason=f"needs {str(error).split(' is missing')[0]}; add it")
    end = f"{disbond.end} end of bondline {disbond.bondline}, disbond of {disbond.length:.4g} mm"
    needed = ("toughness_mode_1", "toughness_mode_2") if disbond.place == "middle" else ("toughness_mode_1",)
    made = replace(
        made,
        factor=found.factor,
        force=found.force if math.isfinite(found.factor) else math.inf,
        place=end,
        bondline=disbond.bondline,
        x=disbond.tip(joint)[0],
        figures={key: float(getattr(joint.adhesive, key)) for key in needed},
    )
    if not variants:
        return made
    meshes = {
        name: disbond_load(joint, disbond, density * by, kept).force for name, by in (("coarser mesh", 0.5), ("finer mesh", 2.0))
    }
    lengths = {"half distance": 0.5, "double distance": 2.0}
    others = {}
    for name, by in lengths.items():
        try:
            others[name] = disbond_load(joint, disbond.replace(length=by * disbond.length), density, kept).force
        except JointError:  # no room for it
            continue
    return replace(made, distance=disbond.length, variants={**others, **meshes})


def growth_capacity(joint: Joint, density: float, variants: bool, kept: Kept) -> tuple[Capacity, FlawGrowth | None]:
    """Return the load at which the first of a joint's flaws grows, by finite elements with all of them, and the growth."""
    flaws = joint.merged_flaws().flaws
    at_interfaces = all(flaw.level in ("lower", "upper") for flaw in flaws)
    made = Capacity(
        key="energy-flaw",
        name="growth of a flaw",
        route="energy",
        mode="interface" if at_interfaces else joint.strength.bond_mode,
        density=density,
        bias="linear elasticity; flaw and bond ahead must be long against the zone in which the bond gives way; the first "
        "growth, which may stop again",
        source="virtual crack closure (from memory: Krueger, NASA/CR-2002-211628), checked by the J integral",
    )
    try:
        found = flaw_growth(joint, density, kept)
    except JointError as error:
        said = str(error)
        if "toughness" in said:
            return replace(made, reason=f"needs {said.split(' is missing')[0]}; add it"), None
        if "no flaw has a tip" in said:
            return replace(made, reason="no flaw has a tip inside the overlap"), None
        raise
    first = found.first.release
    needed = ("toughness_mode_1", "toughness_mode_2") if first.split else ("toughness_mode_1",)
    made = replace(
        made,
        mode=joint.strength.bond_mode if first.split else "interface",
        factor=found.factor,
        force=found.force if math.isfinite(found.factor) else math.inf,
        place=found.first.place,
        bondline=first.flaw.bondline,
        x=first.x,
        figures={key: float(getattr(joint.adhesive, key)) for key in needed},
    )
    if not variants:
        return made, found
    meshes = (("coarser mesh", 0.5), ("finer mesh", 2.0))
    return replace(made, variants={name: flaw_growth(joint, density * by, kept).force for name, by in meshes}), found


def sound_capacity(found: Capacity) -> Capacity:
    """Return a capacity of a joint without its flaws as that of the joint with them: they can only lower it."""
    return replace(found, bias=f"of the bond without its flaws, which can only lower it; {found.bias}")


def shear_lag_left(joint: Joint) -> list[Capacity]:
    """Return `elastic_plastic_capacity` of a joint with flaws: of the sound joint, or less where all that is left yields."""
    found = []
    for lag in map(sound_capacity, elastic_plastic_capacity(sound(joint))):
        if lag.is_met:
            assert joint.adhesive.shear_yield is not None
            left = joint.adhesive.shear_yield * bonded_left(joint) * joint.geometry.width
            if left < abs(lag.force):
                force = math.copysign(left, lag.force)
                lag = replace(lag, force=force, factor=force / joint.load.force, place=f"{LEFT_YIELDS} yields")
        found.append(lag)
    return found


def cohesive_capacity(
    joint: Joint, two_meshes: bool, kept: Kept, say: Callable[[str], None]
) -> tuple[Capacity, CohesiveLoad | None]:
    """Return the largest load of a joint with a cohesive layer in place of the adhesive, and the way over it."""
    made = Capacity(
        key="cohesive-zone",
        name="cohesive zone, largest load",
        route="cohesive",
        mode=joint.strength.bond_mode,
        bias="the shape of the law between strength and toughness is assumed; the layer's own stress along the joint is left out",
        source="cohesive law in place of the layer; strengths and toughnesses are the adhesive's",
    )
    try:
        found = cohesive_load(joint, kept, say, two_meshes=two_meshes)
    except (JointError, ConvergenceError) as error:
        return replace(made, reason=one_line(str(error)).rstrip(".")), None
    adhesive, first = joint.adhesive, found.bondline
    keys = ("tensile_strength", "shear_strength", "toughness_mode_1", "toughness_mode_2")
    place = f"bondline {first}, mid-line, x = {found.x:.4g} mm, {100 * found.mode_2_share:.0f} % of the work there in shear"
    return (
        replace(
            made,
            factor=found.load_factor,
            force=found.force,
            place=place,
            bondline=first,
            x=found.x,
            density=joint.analysis.mesh_density,
            figures={key: float(getattr(adhesive, key)) for key in keys},
        ),
        found,
    )


def limit_load_capacity(field: Field, result: Result) -> list[Capacity]:
    """Return the limit load that the joint's path ran into: whatever a criterion says, the joint as analysed bears no more."""
    if field.endless or not result.limit.startswith("limit load"):
        return []
    joint, bond = field.joint, max(result.yielded.values(), default=0.0) > YIELDED_ALONG
    metal = joint.analysis.adherend_plasticity and not bond
    buckled = joint.load.force < 0 and not (bond or metal)
    factor = float(field.shares[-1])
    return [
        Capacity(
            key="limit-load",
            name="limit load of the analysis",
            route="plateau",
            mode="buckling" if buckled else "adherend-yield" if metal else joint.strength.bond_mode,
            factor=factor,
            force=factor * joint.load.force,
            place="as a whole" if buckled else "adherends" if metal else "all along",
            density=field.density,
            bias="of materials that yield as stated and never break; an adhesive yields by its tensile curve, which may lie far "
            "from its shear strength",
            source="finite elements along the load's path: no equilibrium beyond",
        )
    ]


def elastic_plastic_capacity(joint: Joint) -> list[Capacity]:
    """Return the load by shear lag of a layer that yields and breaks at a strain, of the families that have that theory."""
    if not joint.load.force:
        return []
    theories = {DoubleLap: hart_smith_double.capacity, SteppedLap: hart_smith_stepped.capacity}
    theory = theories.get(type(joint.geometry))
    if theory is None:
        return []
    made = Capacity(
        key="elastic-plastic",
        name="shear lag, the layer yields and breaks at a strain",
        route="plateau",
        mode=joint.strength.bond_mode,
        bias="leaves peel, adherend shear and the adherends' own yield out",
        source="from memory: Hart-Smith, NASA CR-112235 and -112237, 1973",
    )
    try:
        limits = theory(joint).limits
    except TheoryError as error:
        return [replace(made, reason=str(error).rstrip("."))]
    name, load = next((name, load) for name, load in limits.items() if name.startswith("adhesive"))
    force = math.copysign(load * joint.geometry.width, joint.load.force)
    figures = {key: float(getattr(joint.adhesive, key)) for key in ("shear_yield", "failure_shear_strain")}
    factor = force / joint.load.force
    return [
        replace(
            made, factor=factor, force=force, place=name.removeprefix("adhesive, ").removeprefix("adhesive "), figures=figures
        )
    ]
