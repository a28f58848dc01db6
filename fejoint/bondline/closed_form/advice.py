"""Why theories and finite elements differ for a joint, and which theory to trust.

Said from the joint's own numbers (`validity`), from the peaks of finite
elements where they are given, and from what benchmarks/as_built.py measured
over some thirty laps. Only theories that have a result are named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fejoint.bondline.closed_form.comparison import GOLAND, OF_FE, SHEAR_LAG, TSAI, TWO_BEAMS, Theory
from fejoint.bondline.closed_form.grid import axial_modulus, larger_moment
from fejoint.bondline.curves import Bondline, EdgeLoads, Peak
from fejoint.bondline.edge_moment import ROTATION
from fejoint.joint.description import Joint
from fejoint.joint.families import DoubleLap, SteppedLap

__all__ = ["Advice", "Validity", "peak_of", "validity", "which_to_trust", "why_they_differ"]

# Goland and Reissner ask about 10 of both their numbers. At less than a half the adherends give way across the
# layer twice as much as the layer does: there even two beams miss peak shear by 10 % and more (measured).
FLEXIBLE, STIFF = 10.0, 0.5
EVEN = 2.0  # w l below which Volkersen's peak shear is at most 1.3 times the mean: (w l / 2) coth(w l / 2)
SHARED = 0.05  # share from which adherend shear, or what bending adds, is worth a word
NEAR = 2.0  # free length over thickness below which the grip's disturbance reaches the overlap
# Overlap over the thickest adherend, half an inner counting, below which one end's disturbance reaches the other. Measured
# with t/t_a of 3 to 60 and adhesives of 0.3 to 4 GPa: peak peel of FE over that of two beams is 0.8 to 1.25 at 1 and up to
# 2.0 at 0.5, above 3 always below 1; peak shear of FE over Tsai-Oplinger-Morton's is up to 1.32 at 0.5, 1.26 at 1, 1.19 at
# 2 and 1.11 at 3.
SHORT = 3.0
WITHIN = 0.1  # of 1, what a ratio of peaks may be off where a theory is said to give the peak of a double lap

Peaks = Mapping[str, float]  # of finite elements, MPa, by stress
# The theories that come nearest, best first, and those that leave something out.
BEST = {"single-lap": (TWO_BEAMS + OF_FE, TWO_BEAMS), "double-lap": (TSAI,), "stepped-lap": (SHEAR_LAG,)}
UNBENT = ("Volkersen", "de Bruyne", TSAI)
UNSHEARED = ("Volkersen, double lap", "Hart-Smith, double lap")
TURNING = (f"{GOLAND}, its own edge moment", "Hart-Smith, single lap", "Ojalvo-Eidinoff")


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
    overlap : float
        The overlap over the thickest adherend, half an inner counting.
    unlike : bool
        Whether a bondline's adherends differ.
    fillet : bool
    rotation : float
        How far the edge moment of the joint as it turns under its load is from the linear one, as a share of that.
    """

    peel_flexibility: float
    shear_flexibility: float
    adherend_shear: float
    waves: float
    decay: float
    arms: float
    overlap: float
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
        ``"fillet"``, ``"grip"``, ``"short overlap"``, ``"risers"``.
    text : str
        The same in words.
    """

    shear: str
    peel: str
    doubts: tuple[str, ...]
    text: str


def validity(joint: Joint, rotation: float = 0.0) -> Validity:
    """Return the numbers that decide which theory holds; `rotation` is what the mechanics finds of it (`rotation_change`)."""
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
        overlap=g.length / max(t for t, _, _ in sheets.values()),
        unlike=any(sheets[a] != sheets[b] for a, b in pairs),
        fillet=g.spew == "fillet",
        rotation=rotation,
    )


def peak_of(bondlines: Sequence[Bondline], stress: str) -> Peak:
    """Return the shear of largest magnitude, or the most opening peel, of all bondlines."""
    if stress == "shear":
        return max((b.peak_shear for b in bondlines), key=lambda peak: abs(peak.value))
    return max((b.peak_peel for b in bondlines), key=lambda peak: peak.value)


def why_they_differ(joint: Joint, theories: Sequence[Theory], edges: Mapping[str, EdgeLoads], peaks: Peaks | None = None) -> str:
    """Return in words why theories and finite elements differ for this joint; nothing where no theory has a result.

    Parameters
    ----------
    joint : Joint
    theories : sequence of Theory
        Those that stand beside finite elements; of the others nothing is said.
    edges : mapping of EdgeLoads
        Of finite elements, by adherend.
    peaks : mapping, optional
        Peak ``"shear"`` and ``"peel"`` of finite elements, MPa: what a fillet does to them is said only where it is so.
    """
    there = _there(theories)
    if not there:
        return ""
    numbers, g = validity(joint), joint.geometry
    beams = any(name.startswith(TWO_BEAMS) for name in there)
    if g.spew == "fillet":
        best = _best(g.kind, there)
        below = (
            f", and the peaks lie below those of {best}" if best and _all_above(there[best], peaks) else " and changes the peaks"
        )
        ends = f"The theories end the adhesive square; in FE the fillet moves load past the end{below}."
    else:
        but = ", but for the two beams' shear," if beams else ""
        ends = (
            f"In FE the adhesive's end is free of shear, so the peaks lie inside; in the theories{but} they lie at the very end."
        )
    sheared = ""
    if numbers.adherend_shear >= SHARED:
        counting = [*([TSAI] if TSAI in there else []), *(["the two beams"] if beams else [])]
        who = f"{_listed(counting)} {'count' if beams else 'counts'}" if counting else "no theory here counts"
        sheared = f"The adherends' own shear gives {_percent(numbers.adherend_shear)} as much as the layer does, which {who}. "
    if isinstance(g, DoubleLap):
        return f"The theories leave out that the outers bend. {sheared}{ends}"
    if isinstance(g, SteppedLap):
        text = "The shear lag leaves all load to the treads, where in FE the risers and butt ends take their share in tension"
        return f"{text}; and it leaves out that the adherends bend and shear."
    text, own = "", next((bonds[0] for name, bonds in there.items() if name.endswith("own edge moment")), None)
    edge = larger_moment(edges["lower"], edges["upper"])
    if own is not None and own.left is not None and edge.moment != 0:
        share = 100 * (abs(edge.moment) / abs(own.left.moment) - 1)
        text = f"The linear FE edge moment is {abs(share):.0f} % {'above' if share > 0 else 'below'} Goland and Reissner's own: "
        if share > 0:
            text += "theirs falls as the joint turns under its load, and its lever arm leaves out the adhesive. "
        else:
            text += "theirs takes free lengths without end, where here the ends are close and take their share of the moment. "
    if "Volkersen" in there:
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


def which_to_trust(joint: Joint, theories: Sequence[Theory], rotation: float, peaks: Peaks | None = None) -> Advice:
    """Return which theory to trust for shear and for peel, and where not.

    Parameters
    ----------
    joint : Joint
    theories : sequence of Theory
        What `compare` returned.
    rotation : float
        Share of the linear edge moment by which rotation under load changes it, negative where it falls; infinite where
        the joint buckles.
    peaks : mapping, optional
        Peak ``"shear"`` and ``"peel"`` of finite elements, MPa: with them it says how the theory's peaks lie beside them.
    """
    numbers, kind = validity(joint, rotation), joint.geometry.kind
    there = _there(theories)
    doubts = {
        "stiff layer": _stiff(numbers),
        "rotation": abs(rotation) > ROTATION,
        "fillet": numbers.fillet,
        "grip": numbers.arms < NEAR,
        "short overlap": numbers.overlap < SHORT and kind != "stepped-lap",
        "risers": kind == "stepped-lap",
    }
    trusted = not (doubts["stiff layer"] or doubts["short overlap"] or doubts["risers"])
    shear = _best(kind, there) if trusted else ""
    peel = shear if kind == "single-lap" else ""
    if not there:
        text = [f"No theory here covers this {kind.replace('-', ' ')}: take finite elements, for shear and for peel."]
    elif kind == "stepped-lap":
        text = _trust_stepped(there, peaks)
    elif not shear:
        text = [_trust_none(joint, numbers, there, peaks)]
    elif kind == "single-lap":
        text = _trust_single(numbers, shear, there, peaks)
    else:
        text = _trust_double(numbers, shear, there, peaks)
    said = " ".join([*text, *_doubts(joint, numbers, there)])
    return Advice(shear, peel, tuple(name for name, holds in doubts.items() if holds), said)


# ---- parts ---------------------------------------------------------------

There = Mapping[str, Sequence[Bondline]]  # the theories that have a result, by name


def _there(theories: Sequence[Theory]) -> dict[str, Sequence[Bondline]]:
    return {theory.name: theory.bondlines for theory in theories if theory.bondlines}


def _best(kind: str, there: There) -> str:
    return next((name for name in BEST[kind] if name in there), "")


def _stiff(numbers: Validity) -> bool:
    return min(numbers.peel_flexibility, numbers.shear_flexibility) < STIFF


def _ratio(bondlines: Sequence[Bondline], stress: str, peaks: Peaks | None) -> float:
    """Return a peak of finite elements over a theory's; NaN where one is not known or there is none."""
    theory, fe = peak_of(bondlines, stress).value, (peaks or {}).get(stress, math.nan)
    if stress == "peel" and not (theory > 0 and fe > 0):  # nothing opens
        return math.nan
    return abs(fe / theory) if theory != 0 else math.nan


def _all_above(bondlines: Sequence[Bondline], peaks: Peaks | None) -> bool:
    """Return whether the peaks of finite elements are known to lie below all that a theory gives."""
    given = [stress for stress in ("shear", "peel") if not math.isnan(peak_of(bondlines, stress).value)]
    return all(_ratio(bondlines, stress, peaks) < 1 for stress in given)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %" if share >= 0.1 else f"{100 * share:.2g} %"


def _listed(names: Sequence[str]) -> str:
    return " and ".join([*([", ".join(names[:-1])] if names[1:] else []), *names[-1:]])


def _flexibility(numbers: Validity) -> str:
    return f"t_a E/(t E_a) = {numbers.peel_flexibility:.2g} and t_a G/(t G_a) = {numbers.shear_flexibility:.2g}"


def _trust_none(joint: Joint, numbers: Validity, there: There, peaks: Peaks | None) -> str:
    half = "; half the inner counts" if isinstance(joint.geometry, DoubleLap) else ""
    because = []
    if _stiff(numbers):
        because.append(
            f"the layer is too stiff beside its adherends ({_flexibility(numbers)}, the lesser below {STIFF:g}{half}), whose "
            "faces give way more than it does, which no theory here has in it"
        )
    if numbers.overlap < SHORT:
        because.append(
            f"the overlap is short beside its adherends ({numbers.overlap:.2g} times the thickest, below {SHORT:g}{half}), so "
            "that what the theories miss at one end reaches the other"
        )
    why = "; and ".join(because) or "those that would come nearest have no result here"
    off = {name: abs(math.log(ratio)) for name, bonds in there.items() if (ratio := _ratio(bonds, "shear", peaks)) > 0}
    nearest = f" For peak shear {min(off, key=lambda name: off[name])} comes nearest." if off else ""
    peel = " No theory here gives the peel of a double lap." if half else ""
    return f"Trust none of them closely, and take finite elements: {why}.{nearest}{peel}"


def _trust_single(numbers: Validity, shear: str, there: There, peaks: Peaks | None) -> list[str]:
    flexible, least = _flexibility(numbers), min(numbers.peel_flexibility, numbers.shear_flexibility)
    within = 5 if least >= 2 else 10
    if numbers.fillet:
        higher = f"; {shear} puts them higher" if _all_above(there[shear], peaks) else ""
        text = [
            f"For shear and peel trust {shear}, clear of the ends: no theory has a fillet, which moves load past the end and "
            f"tells for some bondline thicknesses beside it. Take the peaks from FE{higher}."
        ]
    else:
        text = [
            f"For shear trust {shear}: along the overlap and at its peak within about {within} %. For peel trust it from one "
            f"bondline thickness inside the ends, within about a tenth of its largest value{_end_peel(there[shear], peaks)}."
        ]
    if GOLAND + OF_FE in there and least >= FLEXIBLE:
        text.append(
            f"Goland-Reissner holds for shear too ({flexible}, both at least 10), under the edge moment of FE; its peel dies out "
            "too slowly, because its layer is free to contract everywhere."
        )
    elif GOLAND + OF_FE in there:
        text.append(
            f"Goland-Reissner asks about 10 of both its numbers, which are {flexible}: where it comes near, errors cancel."
        )
    unbent = [name for name in UNBENT if name in there]
    if unbent and numbers.waves < EVEN and abs(_ratio(there[unbent[0]], "shear", peaks) - 1) < WITHIN:
        text.append(f"Shear is nearly even (w l = {numbers.waves:.2g}), and {unbent[0]} comes near as well.")
    elif unbent:
        know, them = ("know", "them") if unbent[1:] else ("knows", "it")
        text.append(f"{_listed(unbent)} {know} no bending: trust {them} only where it is held back.")
    return text


def _end_peel(bondlines: Sequence[Bondline], peaks: Peaks | None) -> str:
    """Return what is to be said of a theory's peel at the very end, where the real layer is free to contract."""
    peak, ratio, x = peak_of(bondlines, "peel"), _ratio(bondlines, "peel", peaks), bondlines[0].x
    if not (peak.value > 0 and min(peak.x - x[0], x[-1] - peak.x) < 1e-6 * x[-1]):  # no end opens, or not most
        return ""
    free = "there the real layer is free to contract"
    if math.isnan(ratio):
        # Measured: 5 % at t/t_a = 60 and Poisson's ratio 0.3, 80 % at t/t_a = 2.5 and 0.4.
        return (
            "; where an end opens, its value there lies as a rule above the peak of FE, by 5 to 80 % of it, most on thick "
            f"layers that hardly compress: {free}"
        )
    if ratio < 1:
        return f"; where an end opens, its value there lies above the peak of FE, here by {100 * (1 / ratio - 1):.0f} %: {free}"
    return "; take the peak of peel from FE"


def _trust_double(numbers: Validity, shear: str, there: There, peaks: Peaks | None) -> list[str]:
    ratio = _ratio(there[shear], "shear", peaks)
    if numbers.fillet:
        peak = ""
    elif math.isnan(ratio):
        # Measured: FE over theory 0.77 with thin outers on a thick inner, 1.10 with thick adherends.
        peak = "; its peak is as a rule within a quarter, least well with thin outers on a thick inner, which bend"
    elif abs(ratio - 1) <= WITHIN:
        peak = ", and at its peak within about 10 %"
    else:
        peak = f"; its peak lies {100 * abs(1 / ratio - 1):.0f} % {'above' if ratio < 1 else 'below'} that of FE"
    text = [f"For shear trust {shear}, some bondline thicknesses clear of the ends{peak}."]
    top = abs(peak_of(there[shear], "shear").value)
    higher = [name for name in UNSHEARED if name in there and abs(peak_of(there[name], "shear").value) > top]
    if higher:
        puts = "put" if higher[1:] else "puts"
        share = f"{_percent(numbers.adherend_shear)} of the layer's give"
        text.append(f"Without adherend shear ({share}) {' and '.join(higher)} {puts} the peak higher.")
    return [*text, "For peel take finite elements: no theory here gives the peel of a double lap."]


def _trust_stepped(there: There, peaks: Peaks | None) -> list[str]:
    best = _best("stepped-lap", there)
    ratio = _ratio(there[best], "shear", peaks) if best else math.nan
    if math.isnan(ratio):
        above = ", so as a rule its peaks lie above those of FE, up to several times with few steps and a stiff adhesive"
    else:
        above = f", so its peak is {1 / ratio:.2g} times that of FE here" if ratio < 1 else ""
    return [
        "Trust none of them for the peaks, and take finite elements: the risers take load that shear lag leaves to the treads"
        f"{above}. No theory here gives the peel of a stepped lap."
    ]


def _doubts(joint: Joint, numbers: Validity, there: There) -> list[str]:
    text = []
    if math.isinf(numbers.rotation):
        text.append("As a frame of beams the joint has buckled: neither linear FE nor a theory beside it means anything.")
    elif abs(numbers.rotation) > ROTATION:
        more, share = ("above" if numbers.rotation > 0 else "below"), abs(numbers.rotation)
        turning = [name for name in TURNING if name in there]
        follow = "follow" if turning[1:] else "follows"
        own = f" Of the theories only {_listed(turning)} {follow} the load." if turning else ""
        text.append(
            f"Under this load the joint turns: the true edge moment lies about {100 * share:.0f} % {more} the linear "
            f"one of FE and of every theory under its edge loads, so agreement with FE is no agreement with the joint.{own}"
        )
    if numbers.fillet and there and joint.geometry.kind != "single-lap":
        text.append("No theory has a fillet; take the peaks from FE.")
    if numbers.arms < NEAR and there:
        text.append(
            f"A grip is near (free length {numbers.arms:.2g} times the thickness): beams do not see what it does to the overlap."
        )
    return text
