"""Why theories and finite elements differ for a joint, and which theory to trust.

Said from the joint's own numbers (`validity`) and from what
benchmarks/as_built.py measured over some thirty laps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fejoint.bondline.closed_form.comparison import GOLAND, OF_FE, TSAI, TWO_BEAMS, Theory
from fejoint.bondline.closed_form.grid import axial_modulus, larger_moment
from fejoint.bondline.curves import EdgeLoads
from fejoint.joint.description import Joint
from fejoint.joint.families import DoubleLap, SteppedLap

__all__ = ["Advice", "Validity", "validity", "which_to_trust", "why_they_differ"]

# Goland and Reissner ask about 10 of both their numbers. At less than a half the adherends give way across the
# layer twice as much as the layer does: there even two beams miss peak shear by 10 % and more (measured).
FLEXIBLE, STIFF = 10.0, 0.5
ROTATION = 0.05  # share of the linear edge moment from which rotation counts, as in the warnings of a run
EVEN = 2.0  # w l below which Volkersen's peak shear is at most 1.3 times the mean: (w l / 2) coth(w l / 2)
SHARED = 0.05  # share from which adherend shear, or what bending adds, is worth a word
NEAR = 2.0  # free length over thickness below which the grip's disturbance reaches the overlap


@dataclass(frozen=True)
class Validity:
    """What decides which theory holds: a joint's own numbers. A bondline's adherends are those that go with it.

    Attributes
    ----------
    peel_flexibility, shear_flexibility : float
        t_a E/(t E_a) and t_a G/(t G_a), the lesser of both adherends (E across
        the layer): how much more the layer gives than an adherend.
    adherend_shear : float
        What the adherends' shear adds to the layer's give, t1/(3 G1) + t2/(3 G2) over t_a/G_a.
    waves : float
        w l: the overlap over the length in which shear dies out without bending.
    decay : float
        That length over the bondline's thickness.
    arms : float
        The shortest free length over its adherend's thickness.
    unlike : bool
        Whether a bondline's adherends differ.
    fillet : bool
    rotation : float
        How far the edge moment of the joint as it turns under its load is from the linear one, as a share.
    """

    peel_flexibility: float
    shear_flexibility: float
    adherend_shear: float
    waves: float
    decay: float
    arms: float
    unlike: bool
    fillet: bool
    rotation: float


@dataclass(frozen=True)
class Advice:
    """Which theory to trust.

    Attributes
    ----------
    shear, peel : str
        Its name, for either stress; empty where none is to be trusted.
    doubts : tuple of str
        What speaks against theories here: ``"stiff layer"``, ``"rotation"``,
        ``"fillet"``, ``"grip"``, ``"risers"``.
    text : str
        The same in words.
    """

    shear: str
    peel: str
    doubts: tuple[str, ...]
    text: str


def validity(joint: Joint, rotation: float = 0.0) -> Validity:
    """Return the numbers that decide which theory holds; `rotation` is what the mechanics finds of it (`rotation_share`)."""
    g, adhesive, ta = joint.geometry, joint.adhesive.engineering_constants(), joint.geometry.bondline_thickness
    parts = g.adherends()
    # Half an inner goes with either bondline.
    halved = {"inner"} if isinstance(g, DoubleLap) else set()
    sheets = {
        name: (part.thickness / (2 if name in halved else 1), axial_modulus(part.material), part.material.engineering_constants())
        for name, part in parts.items()
    }
    pairs = list(dict.fromkeys((bond.below, bond.above) for bond in g.bonds()))
    shear = [sum(sheets[name][0] / (3 * sheets[name][2]["g_xy"]) for name in pair) for pair in pairs]
    k = adhesive["g_xy"] / ta
    wave = max(math.sqrt(k * sum(1 / (sheets[name][0] * sheets[name][1]) for name in pair)) for pair in pairs)
    return Validity(
        peel_flexibility=min(ta * c["e_y"] / (t * adhesive["e_y"]) for t, _, c in sheets.values()),
        shear_flexibility=min(ta * c["g_xy"] / (t * adhesive["g_xy"]) for t, _, c in sheets.values()),
        adherend_shear=max(shear) * k,
        waves=wave * g.length,
        decay=1 / (wave * ta),
        arms=min(part.free_length / part.thickness for part in parts.values()),
        unlike=any(sheets[a] != sheets[b] for a, b in pairs),
        fillet=g.spew == "fillet",
        rotation=rotation,
    )


def why_they_differ(joint: Joint, theories: Sequence[Theory], edges: Mapping[str, EdgeLoads]) -> str:
    """Return in words why theories and finite elements differ for this joint; nothing where no theory has a result."""
    if not any(theory.bondlines for theory in theories):
        return ""
    numbers, g = validity(joint), joint.geometry
    if g.spew == "fillet":
        ends = "The theories end the adhesive square; in FE the fillet carries load past the end and lowers the peaks there."
    else:
        but = ", but for the two beams' shear," if g.kind == "single-lap" else ""
        ends = (
            f"In FE the adhesive's end is free of stress, so the peaks lie inside; in the theories{but} they lie at the very end."
        )
    sheared = ""
    if numbers.adherend_shear >= SHARED:
        who = {"single-lap": f"{TSAI} and the two beams count", "double-lap": f"{TSAI} counts"}.get(
            g.kind, "no theory here counts"
        )
        sheared = f"The adherends' own shear gives {100 * numbers.adherend_shear:.2g} % as much as the layer does, which {who}. "
    if isinstance(g, DoubleLap):
        return (
            f"Volkersen leaves out that the outers bend and that the adherends shear, which evens the stress out. {sheared}{ends}"
        )
    if isinstance(g, SteppedLap):
        text = "The shear lag leaves all load to the treads, where in FE the risers and butt ends take their share in tension"
        return f"{text}; and it leaves out that the adherends bend and shear."
    text, own = "", next((t.bondlines[0] for t in theories if t.bondlines and t.name.endswith("own edge moment")), None)
    edge = larger_moment(edges["lower"], edges["upper"])
    if own is not None and own.left is not None and edge.moment != 0:
        share = 100 * (abs(edge.moment) / abs(own.left.moment) - 1)
        text = f"The linear FE edge moment is {abs(share):.0f} % {'above' if share > 0 else 'below'} Goland and Reissner's own: "
        if share > 0:
            text += "theirs falls as the joint turns under its load, and its lever arm leaves out the adhesive. "
        else:
            text += "theirs takes free lengths without end, where here the ends are close and take their share of the moment. "
    if any(theory.bondlines and theory.name == "Volkersen" for theory in theories):
        text += f"Volkersen leaves out bending altogether{_bending(joint, edge, numbers)}. "
    return f"{text}{sheared}{ends}"


def _bending(joint: Joint, edge: EdgeLoads, numbers: Validity) -> str:
    """Return by how much bending raises the end shear of like adherends: Goland and Reissner's over Volkersen's.

    With k = 2 M/(P t) that is ((1 + 3 k) coth(w l) + 3 (1 - k)/(w l)) / (2 coth(w l/2)), nearly (1 + 3 k)/2 on long overlaps.
    """
    if numbers.unlike or joint.line_load == 0 or not joint.load.force_alone or joint.load.temperature_change != 0:
        return ""
    k, z = 2 * abs(edge.moment / joint.line_load) / joint.geometry.adherends()["lower"].thickness, numbers.waves
    factor = ((1 + 3 * k) / math.tanh(z) + 3 * (1 - k) / z) * math.tanh(z / 2) / 2
    return f", which makes the shear at the ends about {factor:.2f} times as large here" if factor > 1 + SHARED else ""


def which_to_trust(joint: Joint, theories: Sequence[Theory], rotation: float) -> Advice:
    """Return which theory to trust for shear and for peel, and where not.

    Parameters
    ----------
    joint : Joint
    theories : sequence of Theory
        What `compare` returned.
    rotation : float
        Share by which rotation under load changes the edge moment; infinite where the joint buckles.
    """
    numbers, kind = validity(joint, rotation), joint.geometry.kind
    there = {theory.name for theory in theories if theory.bondlines}
    stiff = min(numbers.peel_flexibility, numbers.shear_flexibility) < STIFF
    doubts = {
        "stiff layer": stiff,
        "rotation": rotation > ROTATION,
        "fillet": numbers.fillet,
        "grip": numbers.arms < NEAR,
        "risers": kind == "stepped-lap",
    }
    best = {"single-lap": (TWO_BEAMS + OF_FE, TWO_BEAMS), "double-lap": (TSAI,)}.get(kind, ())
    shear = "" if stiff else next((name for name in best if name in there), "")
    peel = shear if kind == "single-lap" else ""
    say = {"single-lap": _trust_single, "double-lap": _trust_double, "stepped-lap": _trust_stepped}[kind]
    text = " ".join([*say(numbers, shear, there), *_doubts(joint, numbers)])
    return Advice(shear, peel, tuple(name for name, holds in doubts.items() if holds), text)


def _flexibility(numbers: Validity) -> str:
    return f"t_a E/(t E_a) = {numbers.peel_flexibility:.2g} and t_a G/(t G_a) = {numbers.shear_flexibility:.2g}"


def _trust_single(numbers: Validity, shear: str, there: set[str]) -> list[str]:
    flexible, least = _flexibility(numbers), min(numbers.peel_flexibility, numbers.shear_flexibility)
    if not shear:
        return [
            f"Trust none of them closely, and take finite elements: the layer is too stiff beside its adherends ({flexible}, "
            "the lesser below 0.5), whose faces give way more than it does, which no theory here has in it."
        ]
    within = 5 if least >= 2 else 10
    if numbers.fillet:
        text = [
            f"For shear and peel trust {shear}, clear of the ends: no theory has a fillet, which carries load past the end and "
            "tells for some bondline thicknesses beside it. Take the peaks from FE; theories put them higher."
        ]
    else:
        text = [
            f"For shear trust {shear}: along the overlap and at its peak within about {within} %. For peel trust it from one "
            "bondline thickness inside the ends, within about a tenth of the peak; where an end opens, its value there lies "
            "above the peak of FE, by 15 to 40 % of it and more on thick layers: there the real layer is free to contract."
        ]
    if numbers.unlike:
        text.append("The adherends are unlike: Goland and Reissner, Hart-Smith, Ojalvo and Eidinoff do not cover them.")
    elif GOLAND + OF_FE in there and least >= FLEXIBLE:
        text.append(
            f"Goland-Reissner holds for shear too ({flexible}, both at least 10), under the edge moment of FE; its peel dies out "
            "too slowly, because its layer is free to contract everywhere."
        )
    elif GOLAND + OF_FE in there:
        text.append(
            f"Goland-Reissner asks about 10 of both its numbers, which are {flexible}: where it comes near, errors cancel."
        )
    if numbers.waves < EVEN:
        text.append(f"The overlap is short (w l = {numbers.waves:.2g}): shear is nearly even, and Volkersen comes near as well.")
    else:
        text.append("Volkersen, de Bruyne and Tsai-Oplinger-Morton know no bending: trust them only where it is held back.")
    return text


def _trust_double(numbers: Validity, shear: str, there: set[str]) -> list[str]:
    flexible = _flexibility(numbers)
    if shear:
        how = "away from the ends" if numbers.fillet else "the peak within about 10 %"
        text = [
            f"For shear trust {shear}, {how}; not nearer to the ends than some bondline thicknesses. "
            f"Without adherend shear ({100 * numbers.adherend_shear:.2g} % of the layer's give) Volkersen and "
            "Hart-Smith put the peak higher."
        ]
    elif TSAI in there:
        text = [
            f"Trust none of them closely, and take finite elements: the layer is too stiff beside its adherends ({flexible}, the "
            f"lesser below 0.5; half the inner counts). {TSAI} comes nearest."
        ]
    else:
        text = ["No theory here covers this double lap; take finite elements."]
    return [*text, "For peel take finite elements: no theory here gives the peel of a double lap."]


def _trust_stepped(numbers: Validity, shear: str, there: set[str]) -> list[str]:
    return [
        "Trust none of them for the peaks, and take finite elements: the risers take load that shear lag leaves to the treads, "
        "so its peaks lie above those of FE, up to several times with few steps and a stiff adhesive. No theory here gives "
        "the peel of a stepped lap."
    ]


def _doubts(joint: Joint, numbers: Validity) -> list[str]:
    text = []
    if math.isinf(numbers.rotation):
        text.append("As a frame of beams the joint has buckled: neither linear FE nor a theory beside it means anything.")
    elif numbers.rotation > ROTATION:
        # The share is of the larger moment, in compression the true one; told is that of the linear one.
        more, share = (
            ("below", numbers.rotation) if joint.load.force > 0 else ("above", numbers.rotation / (1 - numbers.rotation))
        )
        own = (
            " Of the theories only Goland-Reissner's and Hart-Smith's own edge moments follow the load."
            if more == "below"
            else ""
        )
        text.append(
            f"Under this load the joint turns: the true edge moment lies about {100 * share:.0f} % {more} the linear "
            f"one of FE and of every theory under its edge loads, so agreement with FE is no agreement with the joint.{own}"
        )
    if numbers.fillet and joint.geometry.kind != "single-lap":
        text.append("No theory has a fillet; take the peaks from FE.")
    if numbers.arms < NEAR:
        text.append(
            f"A grip is near (free length {numbers.arms:.2g} times the thickness): beams do not see what it does to the overlap."
        )
    return text
