"""Will it hold? The load by every criterion, which of them to believe, and the margin against each way of failing."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from fejoint.errors import ConvergenceError, JointError
from fejoint.joint.description import Joint
from fejoint.joint.disbond import checked
from fejoint.joint.geometry import Geometry
from fejoint.mechanics.driver import path_on, solve
from fejoint.mechanics.result import Result
from fejoint.mechanics.reuse import Kept
from fejoint.strength.adherends import adherend_capacities, buckling_capacity, plateau_capacity
from fejoint.strength.advice import Advice, advice
from fejoint.strength.capacity import Capacity
from fejoint.strength.cohesive import CohesiveLoad
from fejoint.strength.criteria import stress_capacities
from fejoint.strength.field import Field, field_of_path, linear_field
from fejoint.strength.flaw_growth import FlawGrowth
from fejoint.strength.ligaments import ligament_capacity
from fejoint.strength.long_overlap import long_overlap_capacity
from fejoint.strength.margins import Margin, margin_of, margins_of
from fejoint.strength.routes import (
    cohesive_capacity,
    disbond_capacity,
    elastic_plastic_capacity,
    growth_capacity,
    limit_load_capacity,
    shear_lag_left,
    sound_capacity,
)
from fejoint.strength.stretches import bonded_left, cracked_joint, flawed_joint, sound

__all__ = ["QUICK", "ROUTES", "Strength", "strength_of"]

ROUTES = ("stress", "plateau", "energy", "cohesive", "adherend")
"""What a load is asked of: peaks and means of stress, limit analysis, energy, the cohesive zone, the adherends"""
QUICK = tuple(route for route in ROUTES if route != "cohesive")
"""Without the cohesive zone, which takes longest"""

# A load path is followed this much beyond the largest load that any criterion of linear elasticity asks for, and no farther
# than this beyond the rupture of an adherend. Joints that straighten bear more than linear elasticity says.
BEYOND = 1.2
# Curves of the interfaces begin this many bondline thicknesses inside the corners.
CLEAR = 0.5


@dataclass(frozen=True, eq=False, kw_only=True)
class Strength:
    """What load breaks a joint, how, and with what margin.

    Attributes
    ----------
    joint : Joint
    result : Result
        Of the joint under its load; of a load path, under the largest load that was followed.
    capacities : tuple of Capacity
        By every criterion, those that cannot run with the reason.
    advice : Advice
        Which to believe for the bond, and why.
    margins : tuple of Margin
        Against every way of failing, the least first.
    density, distance, length : float
        Mesh density, point distance and averaging length (mm) of the criteria on the stress field.
    warnings : tuple of str
    cohesive : CohesiveLoad or None
        The way over the peak load of a cohesive layer, where that route ran.
    growth : FlawGrowth or None
        The loads at which the flaws grow, where there are some and that could be found.
    """

    joint: Joint
    result: Result
    capacities: tuple[Capacity, ...]
    advice: Advice
    margins: tuple[Margin, ...]
    density: float
    distance: float
    length: float
    warnings: tuple[str, ...] = ()
    cohesive: CohesiveLoad | None = None
    growth: FlawGrowth | None = None

    @property
    def believed(self) -> Capacity | None:
        """The load to believe for the bond; None where nothing can run."""
        return self.advice.believed

    @property
    def governing(self) -> Margin:
        """The least margin."""
        return self.margins[0]

    @property
    def force(self) -> float:
        """Force that the joint bears, knockdowns counted in, N."""
        return self.governing.force

    def by(self, key: str) -> Capacity:
        """Return the capacity of a criterion.

        Raises
        ------
        JointError
            No such criterion, or one that cannot run: what it needs, and those that can.
        """
        of = {c.key: c for c in self.capacities}
        can = ", ".join(key for key, c in of.items() if c.runs)
        if key not in of:
            raise JointError(f"criterion {key}: no such criterion; known: {', '.join(of)}.")
        if not of[key].runs:
            raise JointError(f"criterion {key}: {of[key].reason}; those that can run here: {can}.")
        return of[key]

    def margin_by(self, key: str) -> Margin:
        """Return the margin by one criterion, knockdowns counted in; raises as `by`."""
        return margin_of(self.by(key), self.joint.strength.knockdown)

    def __repr__(self) -> str:
        least = self.governing
        load = f"{least.force:.4g} N" if self.joint.load.force else f"{least.factor:.4g} times the load"
        return (
            f"Strength({self.joint.title or self.joint.geometry.kind!r}: {least.mode.name} at {load} by "
            f"{least.capacity.name!r}, margin {least.margin:+.3g})"
        )


def strength_of(
    joint: Joint,
    *,
    routes: Sequence[str] = ROUTES,
    variants: bool = True,
    finer_path: bool = False,
    progress: Callable[[str], None] | None = None,
    kept: Kept | None = None,
) -> Strength:
    """Return what load breaks a joint, how, and with what margin, by independent routes.

    Loads grow in proportion (force, moment, shear force); temperature and
    moisture stay as they are. With large rotation or plasticity the stresses are
    those along the load's path; else they are in proportion to the loads.

    Parameters
    ----------
    joint : Joint
    routes : sequence of str
        Of `ROUTES`; ``"cohesive"`` takes longest.
    variants : bool
        Whether loads are also found at half and double distance and mesh density.
    finer_path : bool
        Whether that is so for double density along a load's path, too, which takes several times as long as all else.
    progress : callable, optional
        Called with a line of text before each stage.
    kept : Kept, optional
        What other solves left for this one.

    Raises
    ------
    JointError
        Unknown route; a joint without load, or without any figure of strength.
    MeshError, SetupError, ConvergenceError
        As `fejoint.solve`.

    Examples
    --------
    >>> import fejoint
    >>> strength = fejoint.strength_of(fejoint.load("joint.toml"))  # doctest: +SKIP
    >>> strength.governing.margin  # doctest: +SKIP
    """
    if not isinstance(joint, Joint):
        raise JointError(f"strength_of: a {type(joint).__name__} is no Joint; make one, or read a file with fejoint.load.")
    unknown = [route for route in routes if route not in ROUTES]
    if unknown:
        raise JointError(f"routes: no route {unknown[0]!r}; known: {', '.join(ROUTES)}.")
    if not routes:
        raise JointError(f"routes: there is none; name one or more of {', '.join(ROUTES)}.")
    if not (joint.load.force or joint.load.moment or joint.load.shear_force):
        raise JointError("load.force = 0 N: strength is a share of the loads, and there is none; give force.")
    asked = joint
    say, kept = progress or (lambda text: None), Kept() if kept is None else kept
    warnings: list[str] = []
    if joint.load.step:
        warnings.append("load steps are left aside: temperature and moisture come first, then all loads grow in proportion")
        joint = joint.at()
    if joint.analysis.cohesive:  # the criteria look at the stress of a layer that is there
        joint = joint.replace(analysis=joint.analysis.replace(adhesive_model="elastic"))
    joint = flawed_joint(joint)
    warnings += joint.merged_flaws().said
    rules = joint.strength
    distance, length = _distances(joint)
    result, fields = _fields(joint, variants, finer_path, distance, length, say, kept)
    field = fields["named"]
    found: list[Capacity] = []
    growth: FlawGrowth | None = None
    if "stress" in routes:
        found += _stress(fields, distance, length, variants)
    if "plateau" in routes:
        lag = shear_lag_left(joint) if joint.flaws else elastic_plastic_capacity(joint)
        found += [plateau_capacity(joint), *lag]
    found += limit_load_capacity(field, result)
    if "energy" in routes:
        if joint.flaws:
            say("the bond without its flaws")
            bare = sound(joint).elastic()
            of_sound = {name: linear_field(bare, f.density, kept) for name, f in fields.items()}
            ends = _with_meshes(of_sound, lambda f: [long_overlap_capacity(f)])
            found += map(sound_capacity, ends)
            zone = _zone_length(plateau_capacity(bare), ends[0], bare.geometry)
            found += _with_meshes(fields, lambda f: ligament_capacity(f, zone))
            say("growth of the flaws")
            capacity, growth = growth_capacity(joint, field.density, variants, kept)
            found.append(capacity)
            warnings += [f"{capacity.name}: {capacity.reason}"] if growth is None else growth.warnings
        else:
            found += _with_meshes(fields, lambda f: [long_overlap_capacity(f)])
        if rules.disbond is not None:
            say("growth of the disbond")
            grown = disbond_capacity(joint, rules.disbond, field.density, variants, kept)
            found.append(grown)
            warnings += [] if grown.runs else [f"{grown.name}: {grown.reason}"]
            warnings.append("stress criteria and the energy of a long overlap are of a bond without the disbond")
    parting: CohesiveLoad | None = None
    if "cohesive" in routes:
        say("the cohesive zone")
        capacity, parting = cohesive_capacity(cracked_joint(asked.at() if asked.load.step else asked), variants, kept, say)
        found.append(capacity)
    if "adherend" in routes:
        found += [*_with_meshes(fields, adherend_capacities), *buckling_capacity(joint)]
    chosen = advice(found, bonded_left(joint) / len({b.number for b in joint.geometry.bonds()}))
    margins = margins_of(found, chosen.believed, rules.knockdown)
    if not margins:
        needed = ", ".join(
            dict.fromkeys(c.reason.split(";")[0].removeprefix("needs ") for c in found if c.reason.startswith("needs adhesive"))
        )
        raise JointError(f"strength: no criterion can run here; add to the adhesive one of {needed}.")
    if rules.failure_at == "interface":
        warnings.append(
            "failure at the interface is judged by the adhesive's own figures: after a poor preparation it bears less, and only "
            "tests tell how much less"
        )
    if "adherend" in routes and not any(margin.mode.key.startswith("adherend") for margin in margins):
        warnings.append("no limit of an adherend is known: whether the adherends bear the load the margins do not say")
    if chosen.believed is None:
        warnings.append("no load of the bond is known: the margins are those of the adherends alone")
    return Strength(
        joint=asked,
        result=result,
        capacities=tuple(found),
        advice=chosen,
        margins=tuple(margins),
        density=field.density,
        distance=distance,
        length=length,
        cohesive=parting,
        # Of a load path the result is that far beyond the joint's load, and what it warns of is, too.
        warnings=tuple(dict.fromkeys((*warnings, *(() if joint.analysis.nonlinear else result.warnings)))),
        growth=growth,
    )


# ---- parts ---------------------------------------------------------------


def _zone_length(plateau: Capacity, end: Capacity, geometry: Geometry) -> float:
    """Return the length of the zone in which a bond gives way, mm, as `fejoint.strength.advice`; NaN where it is not known."""
    if not (plateau.is_met and end.is_met and plateau.factor > 0):
        return math.nan
    return geometry.bonded_length / len(geometry.bonds()) * end.factor / plateau.factor


def _distances(joint: Joint) -> tuple[float, float]:
    """Return point distance and averaging length, mm; JointError where they, or a disbond, do not fit the joint."""
    rules, thickness = joint.strength, joint.geometry.bondline_thickness
    distance = rules.point_distance or thickness
    shortest = min(bond.end - bond.start for bond in joint.geometry.bonds())
    length = rules.averaging_length or min(4 * distance, shortest)
    for key, value in (("point_distance", distance), ("averaging_length", length)):
        if value > shortest:
            raise JointError(f'strength.{key} = "{value:g} mm": must be at most the overlap\'s {shortest:g} mm; shorten it.')
    if rules.failure_at == "interface" and distance < CLEAR * thickness:
        raise JointError(
            f'strength.point_distance = "{distance:g} mm": at an interface at least {CLEAR * thickness:g} mm (half the '
            "bondline's thickness), since the stress nearer to the corner is singular; lengthen it."
        )
    if rules.disbond is not None:  # before anything is solved
        try:
            checked(rules.disbond, joint)
        except JointError as error:
            raise JointError(f"strength.{error}") from None
    return distance, length


def _fields(
    joint: Joint, variants: bool, finer_path: bool, distance: float, length: float, say: Callable[[str], None], kept: Kept
) -> tuple[Result, dict[str, Field]]:
    """Return the joint's result, and the stresses on its mesh, on one of half the density and one of twice."""
    if not joint.analysis.nonlinear:
        result = solve(joint, say, kept)
        density = result.section.density
        fields = {"named": linear_field(joint, density, kept)}
        if variants:
            say("stress on a coarser and a finer mesh")
            fields |= {name: linear_field(joint, density * by, kept) for name, by in (("coarser mesh", 0.5), ("finer mesh", 2.0))}
        return result, fields
    say("loads of linear elasticity")
    first = linear_field(joint.elastic(), joint.analysis.mesh_density, kept)
    bond = [*stress_capacities(first, distance, length), plateau_capacity(joint), long_overlap_capacity(first)]
    metal = [c.factor for c in adherend_capacities(first) if math.isfinite(c.factor)]
    far = max((c.factor for c in bond if math.isfinite(c.factor)), default=1.0)
    most = BEYOND * max(min(far, max(metal)) if metal else far, 1.0)
    load = joint.load
    scaled = joint.at(force=most * load.force, moment=most * load.moment, shear_force=most * load.shear_force)
    result = solve(scaled, say, kept)
    density = result.section.density
    why = result.limit or f"the load was followed to {most:.3g} times the joint's"
    fields = {"named": field_of_path(joint, result.path, density, why)}
    if variants:
        for name, by in (("coarser mesh", 0.5), ("finer mesh", 2.0))[: 2 if finer_path else 1]:
            say(f"the path once more, on a {name}")
            try:
                path, limit = path_on(scaled, density * by, kept, say)
            except ConvergenceError:
                continue
            fields[name] = field_of_path(joint, path, density * by, limit or why)
    return result, fields


def _stress(fields: dict[str, Field], distance: float, length: float, variants: bool) -> list[Capacity]:
    """Return the loads of the criteria on the stress field, with those at other distances and on other meshes."""
    named = fields["named"]
    found = _with_meshes(fields, lambda f: stress_capacities(f, distance, length))
    if not variants:
        return found
    halved = {c.key: c for c in stress_capacities(named, distance / 2, length / 2)}
    doubled = {c.key: c for c in stress_capacities(named, 2 * distance, 2 * length)}
    return [
        c
        if math.isnan(c.distance)
        else replace(c, variants={"half distance": halved[c.key].force, "double distance": doubled[c.key].force, **c.variants})
        for c in found
    ]


def _with_meshes(fields: dict[str, Field], capacities: Callable[[Field], list[Capacity]]) -> list[Capacity]:
    """Return the capacities on the mesh that is named, each with its loads on the others."""
    others = {name: {c.key: c.force for c in capacities(field)} for name, field in fields.items() if name != "named"}
    return [
        replace(c, variants={name: forces[c.key] for name, forces in others.items()}) if not math.isnan(c.density) else c
        for c in capacities(fields["named"])
    ]
