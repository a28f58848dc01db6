"""What a user must be told of a solved joint beside its numbers: limits passed, and where the analysis does not reach."""

from __future__ import annotations

import math

import numpy as np

from fejoint.bondline.curves import Bondline
from fejoint.bondline.edge_moment import ROTATION, buckles, rotation_change
from fejoint.joint.description import Joint
from fejoint.joint.families import SteppedLap
from fejoint.joint.flaws import WHOLE_WIDTH, reach
from fejoint.joint.materials import AdherendMaterial, Adhesive
from fejoint.mechanics.checks import Check
from fejoint.mechanics.disbond import opening
from fejoint.mechanics.linear import Solution
from fejoint.mechanics.load_path import AdherendSection, adherend_peaks
from fejoint.mechanics.opened import FACES
from fejoint.mechanics.taper import middle_of_layer

__all__ = ["NEAR_BUCKLING", "cautions"]

# From this share of the buckling force on a warning says so: there a beam-column moves sideways about twice as far as a
# linear analysis says, by 1 / (1 - P / P_cr) (theory of elastic stability, from memory).
NEAR_BUCKLING = 0.5
# How near to a tip nothing is said of its faces, in bondline thicknesses: four and a half of its cells.
NEAR_TIP = 0.28
# Faces that overlap by less than this share of their largest movement touch, to the accuracy of the cells.
TOUCHING = 1e-3
# Shear strain up to which a layer in simple shear is tested to follow the curve that was put in.
SHEARED = 0.6
# Strain from which engineering and logarithmic strain differ by more than 5 %.
STRAINED = 0.1


def cautions(
    solution: Solution,
    bondlines: list[Bondline],
    sections: list[AdherendSection],
    forces: dict[str, float],
    checks: list[Check],
) -> list[str]:
    """Return the warnings that go with a solved joint."""
    joint = solution.joint
    found = [*joint.merged_flaws().said, WHOLE_WIDTH, *_closed(solution)] if joint.flaws else []
    for check in checks:
        if not check.passed:
            found.append(f"self-check missed: {check.name} = {check.value:.3g}, limit {check.limit:g} ({check.meaning})")
    found += _over_limits(joint, bondlines, sections, forces)
    if not joint.analysis.large_rotation:
        share = next((check.value for check in checks if check.name == "buckling"), 0.0)
        found += _rotation(solution, sections, share)
    return found + _over_range(joint, bondlines)


def _closed(solution: Solution) -> list[str]:
    """Return where the faces of a flaw run into each other."""
    joint, d, found = solution.joint, solution.discretisation, []
    if joint.analysis.cohesive or all(flaw.kind == "void" for flaw in joint.merged_flaws().flaws):
        return []
    apart, x = opening(d, solution.displacement)
    y = d.points[d.line(FACES[0]), 1].ravel()
    moved = max(float(np.abs(solution.displacement[d.line(name)]).max()) for name in FACES)
    bonds = {bond.number: bond for bond in joint.geometry.bonds()}
    for flaw in joint.merged_flaws().flaws:
        bond, ta = bonds[flaw.bondline], joint.geometry.bondline_thickness
        # At an interface faces overlap within the last cells at a tip even when pulled apart, which is the equations' doing.
        off = min(NEAR_TIP * ta, flaw.length / 4)
        low, high = (place + side * off for place, side in zip(reach(flaw, bond), (1, -1), strict=True))
        near = ta + joint.geometry.fillet_height  # of two layers, or treads, this one's
        own = (x > low) & (x < high) & (np.abs(y - middle_of_layer(joint.geometry, bond, x)) < near)
        if flaw.kind != "void" and own.any() and apart[own].min() < -TOUCHING * moved:
            worst = np.flatnonzero(own)[int(np.argmin(apart[own]))]
            found.append(
                f"the faces of the {flaw} of bondline {flaw.bondline} run into each other by up to {-apart[worst]:.3g} mm, at "
                f"x = {x[worst]:.4g} mm; contact and friction are not in the analysis"
            )
    return found


def _over_range(joint: Joint, bondlines: list[Bondline]) -> list[str]:
    """Return where a strain is larger than its measure is good for."""
    found: list[str] = []
    if joint.analysis.cohesive:  # which is made to be torn
        if joint.load.temperature_change or joint.load.moisture:
            found.append(
                "a cohesive layer has no free strain of its own: temperature and moisture act through the adherends alone, which "
                "leaves out what the adhesive's own shrinking or swelling does at the ends"
            )
        return found
    plastic, large = joint.analysis.adhesive_model == "plastic", joint.analysis.large_rotation
    limit = SHEARED if plastic else STRAINED
    for bond in bondlines:
        largest = 0.0 if bond.shear_strain is None else float(np.abs(bond.shear_strain).max())
        if largest > limit:
            why = (
                "up to which a layer in simple shear is verified to follow its stress-strain curve"
                if plastic
                else "beyond which a stress in proportion to the strain overstates an adhesive"
            )
            found.append(f"bondline {bond.number}: shear strain {largest:.3g} at the mid-line is above {limit:g}, {why}")
        flowed = 0.0 if bond.plastic_strain is None else float(np.max(bond.plastic_strain))
        if not large and flowed > STRAINED:
            found.append(
                f"bondline {bond.number}: plastic strain {flowed:.3g} at the mid-line is above {STRAINED:g}: engineering strains "
                "of that size mislead where the layer is pulled as well as sheared; set analysis.large_rotation = true"
            )
    return found


def _rotation(solution: Solution, sections: list[AdherendSection], share: float) -> list[str]:
    """Return what is to be said of a joint that turns or moves sideways under its load, which a linear analysis leaves out."""
    joint = solution.joint
    if buckles(joint):
        return ["taken as a frame of beams the joint has buckled under this compression: its linear stresses mean nothing"]
    near = []
    if share >= NEAR_BUCKLING:
        near = [
            f"this compression is {100 * share:.0f} % of that at which the joint buckles as a frame of beams: it bends far more "
            "than a linear analysis says, and how much the straightness of the real parts decides"
        ]
    return near + _turned(solution, sections)


def _turned(solution: Solution, sections: list[AdherendSection]) -> list[str]:
    """Return by how much the joint's turning or moving sideways changes what the linear analysis found."""
    joint = solution.joint
    pulled = joint.load.force > 0
    analysis = "small rotation" if joint.analysis.nonlinear else "linear analysis"
    change = rotation_change(joint)
    if abs(change) > ROTATION:
        more = change > 0
        return [
            f"{analysis}: the joint {'turns' if pulled else 'bends further'} under this load, so the true edge moment "
            f"is about {100 * abs(change):.0f} % {'larger' if more else 'smaller'} than the linear one; shear and peel at "
            f"the overlap ends are {'understated' if more else 'overstated'}"
        ]
    # Other joints and loads: what the force makes of the sideways movement, as bending stress, against what there is.
    moved = float(np.abs(solution.displacement[:, 1]).max())
    bending = max(6 * abs(joint.line_load) * moved / s.thickness**2 for s in sections)
    largest = max(s.peak_stress for s in sections)
    if bending > ROTATION * largest and not (joint.load.force_alone and joint.geometry.kind == "single-lap"):
        return [
            f"{analysis}: the joint moves sideways by up to {moved:.3g} mm, where this force changes its bending stress "
            f"by up to about {bending:.3g} MPa, {100 * bending / largest:.0f} % of the largest beam stress"
        ]
    return []


def _over_limits(joint: Joint, bondlines: list[Bondline], sections: list[AdherendSection], forces: dict[str, float]) -> list[str]:
    """Return where a linear stress lies above a limit that the material states; no prediction of failure."""
    shear = max(abs(b.peak_shear.value) for b in bondlines)
    peel = max(b.peak_peel.value for b in bondlines)
    stated: list[tuple[str, float, Adhesive | AdherendMaterial, tuple[str, str]]] = [
        ("peak shear", shear, joint.adhesive, ("shear_strength", "shear_yield")),
        ("peak peel", peel, joint.adhesive, ("tensile_strength", "tensile_yield")),
    ]
    yields = joint.yielding()
    if "adhesive" in yields or joint.analysis.cohesive:  # its stress is what it can bear
        stated = []
    if isinstance(joint.geometry, SteppedLap):
        tension = {f"riser {i}": forces[f"riser {i}"] / height for i, height in enumerate(joint.geometry.risers, 1)}
        worst = max(tension, key=lambda name: tension[name])
        limits = ("tensile_strength", "tensile_yield")
        if "adhesive" not in yields:
            stated.append((f"mean tension across {worst}", tension[worst], joint.adhesive, limits))
    parts = joint.geometry.adherends()
    for name, stress in adherend_peaks(sections).items():
        if name in yields:
            continue
        what = f"largest beam stress of the {name.replace('_', ' ')} adherend"
        stated.append((what, stress, parts[name].material, ("tensile_strength", "tensile_yield")))
    found = []
    for what, stress, material, limits in stated:
        limit = next((key for key in limits if stress > (getattr(material, key, None) or math.inf)), None)
        if limit is not None:
            found.append(
                f"{what}, {stress:.3g} MPa, is above the material's {limit.replace('_', ' ')}, "
                f"{getattr(material, limit):.3g} MPa ({material.source(limit)}), which an elastic analysis does not see"
            )
    return found
