"""What can be asked of a solved joint, by finite elements or by a theory: one table, `QUANTITIES`.

Edge loads are those of the package: per unit width, moments counter-clockwise
positive on the side that faces +x.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

import numpy as np

from fejoint.bondline.closed_form.comparison import THEORIES, Registered, Theory
from fejoint.bondline.curves import Bondline, EdgeLoads, Peak, foremost_peak
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import SingleLap, SteppedLap
from fejoint.joint.geometry import Bond
from fejoint.mechanics.driver import Result

__all__ = [
    "FINITE_ELEMENTS",
    "QUANTITIES",
    "Answers",
    "Place",
    "Quantity",
    "bond_parts",
    "bonds_at",
    "by_finite_elements",
    "by_theory",
    "theories",
    "theory_names",
]

FINITE_ELEMENTS = "finite elements"
MIDDLE = 0.8  # part of a bondline's length that counts as its middle
NEAR = 1e-9  # mm: a place this far outside a bondline is its end


@dataclass(frozen=True)
class Place:
    """Where a quantity is asked for; None where it is not said."""

    bondline: int | None = None
    at: float | None = None
    adherend: str | None = None
    part: str | None = None


@dataclass(frozen=True, eq=False)
class Answers:
    """What finite elements or a theory found for a joint.

    Attributes
    ----------
    source : str
        ``"finite elements"`` or the theory's name.
    joint : Joint
    bondlines : list of Bondline
    edges : dict of EdgeLoads
        By adherend, as far as they are known.
    result : Result or None
        The whole result of finite elements; None for a theory.
    """

    source: str
    joint: Joint
    bondlines: list[Bondline]
    edges: Mapping[str, EdgeLoads]
    result: Result | None = None


@dataclass(frozen=True)
class Quantity:
    """One thing that can be asked for.

    Attributes
    ----------
    unit : str
        Inside unit.
    meaning : str
    compute : callable
        From answers and place to the number.
    takes, needs : tuples of str
        Keys of the place that may and must be given.
    theories : bool
        Whether a theory can give it.
    excluded : callable
        From a joint to the reason why it has no meaning there; empty where it has one.
    """

    unit: str
    meaning: str
    compute: Callable[[Answers, Place], float]
    takes: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    theories: bool = True
    excluded: Callable[[Joint], str] = lambda joint: ""

    def of(self, answers: Answers, place: Place) -> float:
        """Return the value.

        Raises
        ------
        TheoryError
            The theory does not give it.
        """
        value = float(self.compute(answers, place))
        if answers.result is None and not math.isfinite(value):
            raise TheoryError(f"{answers.source} does not give this quantity.")
        return value


# ---- where answers come from -----------------------------------------------


def by_finite_elements(result: Result) -> Answers:
    """Return the answers of finite elements."""
    return Answers(FINITE_ELEMENTS, result.joint, result.bondlines, result.edges, result)


def theories(joint: Joint, edges: Mapping[str, EdgeLoads] | None, names: Collection[str]) -> dict[str, Theory]:
    """Return what the theories of these names say of a joint; those loaded by finite elements only with their edge loads."""
    found = {}
    for entry in _listed(joint, edges is not None):
        if entry.name in names:
            try:
                found[entry.name] = Theory(entry.name, entry.curves(joint, edges if entry.fe_edges else None))
            except TheoryError as error:
                found[entry.name] = Theory(entry.name, [], str(error))
    return found


def theory_names(joint: Joint, edges: bool) -> list[str]:
    """Return the names of the theories for a joint, with or without those loaded by finite elements."""
    return [entry.name for entry in _listed(joint, edges)]


def _listed(joint: Joint, edges: bool) -> list[Registered]:
    return [entry for entry in THEORIES if joint.geometry.kind in entry.families and (edges or not entry.fe_edges)]


def by_theory(theory: Theory, joint: Joint) -> Answers:
    """Return the answers of a theory for a joint.

    Raises
    ------
    TheoryError
        It does not cover this joint.
    """
    if not theory.bondlines:
        raise TheoryError(theory.reason or f"{theory.name} has no result for this joint.")
    entries, ends = joint.geometry.entries(), {0.0: theory.bondlines[0].left, joint.geometry.length: theory.bondlines[-1].right}
    edges = {}
    for x, loads in ends.items():
        entering = [adherend for adherend, place in entries.items() if place == x]
        if loads is not None and len(entering) == 1:
            edges[entering[0]] = loads
    return Answers(theory.name, joint, theory.bondlines, edges)


# ---- places ----------------------------------------------------------------


def bonds_at(joint: Joint, place: Place) -> list[Bond]:
    """Return the bonds that a place can mean."""
    bonds = [bond for bond in joint.geometry.bonds() if place.bondline in (None, bond.number)]
    if place.at is None:
        return bonds
    return [bond for bond in bonds if bond.start - NEAR <= place.at <= bond.end + NEAR]


def bond_parts(joint: Joint) -> dict[str, float]:
    """Return the parts of the bond by name, as in a run's ``transferred_N``, with the length or height of each, mm."""
    g = joint.geometry
    if not isinstance(g, SteppedLap):
        return {f"bondline {bond.number}": bond.end - bond.start for bond in g.bonds()}
    treads = {f"tread {i}": length for i, length in enumerate(g.treads, 1)}
    return {**treads, **{f"riser {i}": height for i, height in enumerate(g.risers, 1)}}


def _asked(answers: Answers, place: Place) -> list[Bondline]:
    numbers = {bond.number for bond in bonds_at(answers.joint, place)}
    return [bondline for bondline in answers.bondlines if bondline.number in numbers]


def _one(answers: Answers, place: Place) -> tuple[Bondline, float]:
    """Return the bondline at a place, and the place, on it."""
    bondline = _asked(answers, place)[0]
    assert place.at is not None
    return bondline, float(np.clip(place.at, bondline.x[0], bondline.x[-1]))


def _edge(answers: Answers, place: Place) -> EdgeLoads:
    assert place.adherend is not None
    if place.adherend not in answers.edges:
        raise TheoryError(f"{answers.source} has no edge loads of {place.adherend}.")
    return answers.edges[place.adherend]


def _result(answers: Answers) -> Result:
    assert answers.result is not None
    return answers.result


# ---- the quantities --------------------------------------------------------


def _peak_shear(answers: Answers, place: Place) -> Peak:
    return foremost_peak([b.peak_shear for b in _asked(answers, place)], lambda peak: abs(peak.value))


def _peak_peel(answers: Answers, place: Place) -> Peak:
    return foremost_peak([b.peak_peel for b in _asked(answers, place)], lambda peak: peak.value)


def _least_peel(answers: Answers, place: Place) -> Peak:
    return foremost_peak([b.least_peel for b in _asked(answers, place)], lambda peak: -peak.value)


def _stress_at(name: str) -> Callable[[Answers, Place], float]:
    def compute(answers: Answers, place: Place) -> float:
        bondline, x = _one(answers, place)
        return float(bondline.middle.at(x, name)[0])

    return compute


def _force_along(bondline: Bondline, end: float | None = None) -> float:
    """Return the shear force of a bondline from its left end up to a place, N/mm."""
    x = bondline.x
    curve = bondline.middle if end is None else bondline.middle.part(float(x[0]), end) if end > x[0] else None
    return 0.0 if curve is None else curve.mean("shear") * float(curve.x[-1] - curve.x[0])


def _mean_shear(answers: Answers, place: Place) -> float:
    asked = _asked(answers, place)
    return sum(_force_along(b) for b in asked) / sum(float(b.x[-1] - b.x[0]) for b in asked)


def _least_in_middle(answers: Answers, place: Place) -> float:
    """Return the least shear in the middle of the bondlines over their mean shear."""
    least = []
    for b in _asked(answers, place):
        inset = (1 - MIDDLE) / 2 * (b.x[-1] - b.x[0])
        least.append(b.middle.part(float(b.x[0] + inset), float(b.x[-1] - inset)).lowest("shear").value)
    return min(least) / _mean_shear(answers, place)


def _passed_on(answers: Answers, part: str | None) -> float:
    """Return the load that a part of the bond passes on, N/mm; of all parts together without one."""
    if answers.result is not None:
        forces = answers.result.bond_forces
    else:
        word = "tread" if isinstance(answers.joint.geometry, SteppedLap) else "bondline"
        forces = {f"{word} {b.number}": _force_along(b) for b in answers.bondlines}
    if part is None:
        return sum(forces.values())
    if part not in forces:
        raise TheoryError(f"{answers.source} knows no load of {part}.")
    return forces[part]


def _transferred_at(answers: Answers, place: Place) -> float:
    bondline, x = _one(answers, place)
    if answers.result is not None:
        assert bondline.transferred is not None
        passed = float(np.interp(x, bondline.x, bondline.transferred))
    else:
        stepped = isinstance(answers.joint.geometry, SteppedLap)
        before = [b for b in answers.bondlines if stepped and b.number < bondline.number]
        passed = sum(_force_along(b) for b in before) + _force_along(bondline, x)
    return passed * answers.joint.geometry.width


def _edge_moment_factor(answers: Answers, place: Place) -> float:
    """Return the larger 2 M / (P (t + t_a)) of a single lap's ends, as `Result.edge_moment_factors` has them."""
    g = answers.joint.geometry
    assert isinstance(g, SingleLap)
    found = []
    for name, part, sign in (("lower", g.lower, -1), ("upper", g.upper, 1)):
        moment = _edge(answers, Place(adherend=name)).moment
        found.append(2 * sign * moment / (answers.joint.line_load * (part.thickness + g.bondline_thickness)))
    return max(found, key=abs)


def _adherend_peak(answers: Answers, place: Place) -> float:
    if answers.result is not None:
        peaks = answers.result.adherend_peaks
    else:
        parts = answers.joint.geometry.adherends()
        peaks = {name: loads.surface_stress(parts[name].thickness) for name, loads in answers.edges.items()}
    if place.adherend is None:
        return max(peaks.values(), default=math.nan)
    return peaks.get(place.adherend, math.nan)


def _reaction(answers: Answers, place: Place) -> float:
    g = answers.joint.geometry
    return -g.pull * _result(answers).solution.gripped.axial * g.width


def _without_force(joint: Joint) -> str:
    return "needs a force along the joint; here load.force is 0" if joint.load.force == 0 else ""


def _without_edge_moment_factor(joint: Joint) -> str:
    if not isinstance(joint.geometry, SingleLap) or not joint.load.force_alone:
        return "is that of a single lap under a force alone; ask for edge_moment"
    return _without_force(joint)


_BOND, _AT = ("bondline",), ("bondline", "at")

QUANTITIES: dict[str, Quantity] = {
    "peak_shear": Quantity("MPa", "mid-line shear of largest magnitude", lambda a, p: _peak_shear(a, p).value, _BOND),
    "peak_shear_x": Quantity("mm", "where that is", lambda a, p: _peak_shear(a, p).x, _BOND),
    "peak_peel": Quantity("MPa", "most opening mid-line peel", lambda a, p: _peak_peel(a, p).value, _BOND),
    "peak_peel_x": Quantity("mm", "where that is", lambda a, p: _peak_peel(a, p).x, _BOND),
    "least_peel": Quantity("MPa", "most closing mid-line peel", lambda a, p: _least_peel(a, p).value, _BOND),
    "shear_at": Quantity("MPa", "mid-line shear at x", _stress_at("shear"), _AT, ("at",)),
    "peel_at": Quantity("MPa", "mid-line peel at x", _stress_at("peel"), _AT, ("at",)),
    "mean_shear": Quantity("MPa", "mean of the mid-line shear over its length", _mean_shear, _BOND),
    "peak_over_mean_shear": Quantity(
        "",
        "peak shear over mean shear",
        lambda a, p: abs(_peak_shear(a, p).value / _mean_shear(a, p)),
        _BOND,
        excluded=_without_force,
    ),
    "least_over_mean_shear": Quantity(
        "", "least shear in the middle 80 % over mean shear", _least_in_middle, _BOND, excluded=_without_force
    ),
    "edge_axial": Quantity(
        "N/mm",
        "axial load of an adherend where it enters the overlap",
        lambda a, p: _edge(a, p).axial,
        ("adherend",),
        ("adherend",),
    ),
    "edge_shear": Quantity("N/mm", "its shear force there", lambda a, p: _edge(a, p).shear, ("adherend",), ("adherend",)),
    "edge_moment": Quantity("N", "its moment there, per width", lambda a, p: _edge(a, p).moment, ("adherend",), ("adherend",)),
    "edge_moment_factor": Quantity(
        "",
        "2 M / (P (t + t_a)) of a single lap, the larger of both ends",
        _edge_moment_factor,
        excluded=_without_edge_moment_factor,
    ),
    "adherend_peak": Quantity(
        "MPa", "largest beam stress of an adherend, N/t + 6 M/t^2; of all without one", _adherend_peak, takes=("adherend",)
    ),
    "load_share": Quantity(
        "",
        'share of the load that a part of the bond passes on ("bondline 1", "tread 2", "riser 1"); of all without one',
        lambda a, p: _passed_on(a, p.part) / a.joint.line_load,
        takes=("part",),
        excluded=_without_force,
    ),
    "part_stress": Quantity(
        "MPa",
        "mean stress of a part of the bond: its load over its length, or over a riser's height",
        lambda a, p: _passed_on(a, p.part) / bond_parts(a.joint)[p.part or ""],
        takes=("part",),
        needs=("part",),
    ),
    "transferred_at": Quantity("N", "load that a bondline has passed on from the left up to x", _transferred_at, _AT, ("at",)),
    "reaction": Quantity("N", "reaction of the gripped end to a tensile force", _reaction, theories=False),
    "elongation": Quantity(
        "mm", "displacement of the loaded end along a tensile force", lambda a, p: _result(a).solution.elongation, theories=False
    ),
    "lift": Quantity("mm", "mean displacement of the loaded end along y", lambda a, p: _result(a).solution.lift, theories=False),
    "turn": Quantity("", "rotation of the loaded end, counter-clockwise", lambda a, p: _result(a).solution.turn, theories=False),
    "width_strain": Quantity(
        "", "strain across the width (0 in plane strain)", lambda a, p: _result(a).solution.width_strain, theories=False
    ),
}
