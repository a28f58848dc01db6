"""Finds figures of an adhesive from coupon tests: the values by which the tool's own prediction follows them best.

Moduli are told by stiffnesses, strengths and toughnesses by failure loads,
yielding by forces along the curve. Several tests are taken together: other
overlap lengths, bondline thicknesses or ways of loading are what tells figures
apart. Every coupon counts; what is left over and how alike coupons are say how
well the figures are known.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from fejoint.errors import ConvergenceError, JointError, MeshError, TheoryError
from fejoint.joint.description import Joint
from fejoint.mechanics.driver import path_on
from fejoint.mechanics.reuse import Kept
from fejoint.proof.correlation import ASSUMED_SCATTER, Specimen, specimen_of
from fejoint.proof.coupons import breaking_load
from fejoint.proof.estimate import Estimate, Sought, estimated
from fejoint.proof.findable import CURVE, FINDABLE, LOAD, STIFFNESS, stated, unit_of, with_figures
from fejoint.proof.gauge import checked_gauge, displacement_of
from fejoint.proof.measured import CouponTest
from fejoint.proof.predicted import stepped, stiffness_of
from fejoint.strength.predict import ROUTES, strength_of

__all__ = ["UNITS", "Identified", "Observation", "identify"]

Say = Callable[[str], None]

UNITS = {STIFFNESS: "N/mm", LOAD: "N", CURVE: "N"}
WITHIN = 5.0  # times and parts of where the search begins, unless bounds are given
LEAST_SD = 0.002  # of coupons that are more alike than a tester can tell (an assumption)
# A mesh of a cohesive layer goes by its figures, in whole numbers of cells: steps for slopes must be larger than that jump.
STEP = {STIFFNESS: 1e-3, LOAD: 0.03, CURVE: 0.03}
ALONG = (0.25, 0.5, 0.75, 1.0)  # of the displacement at the largest force: where a curve is taken
STOPS = 26
BEYOND = 1.3  # times the largest measured force: as far as a curve is followed


@dataclass(frozen=True)
class Observation:
    """One value measured on one coupon.

    Attributes
    ----------
    test : str
    specimen : str
    kind : str
        ``stiffness`` (N/mm), ``load`` (N) or ``curve`` (the force, N, at a displacement).
    value : float
    at : float, mm
        Displacement of a curve's; else NaN.
    """

    test: str
    specimen: str
    kind: str
    value: float
    at: float = math.nan


@dataclass(frozen=True, eq=False)
class Identified:
    """Figures found from coupon tests.

    Attributes
    ----------
    estimate : Estimate
    observations : tuple of Observation
        In the order of `estimate.observed`.
    before : (n,) array
        What the files' own figures make of them.
    tests : tuple of CouponTest
    notes : tuple of str
        What was assumed, in sentences.
    quick : bool
        Whether loads were asked without the cohesive zone.
    """

    estimate: Estimate
    observations: tuple[Observation, ...]
    before: tuple[float, ...]
    tests: tuple[CouponTest, ...]
    notes: tuple[str, ...] = ()
    quick: bool = False

    @property
    def values(self) -> dict[str, float]:
        """The figures found, by key."""
        return {one.key: float(value) for one, value in zip(self.estimate.sought, self.estimate.values, strict=True)}

    def joint(self) -> Joint:
        """Return the first test's coupon with the figures found."""
        return with_figures(self.tests[0].joint, self.values)


def identify(
    tests: Sequence[CouponTest],
    find: Sequence[str],
    bounds: Mapping[str, tuple[float, float]] | None = None,
    routes: Sequence[str] = ROUTES,
    progress: Say | None = None,
) -> Identified:
    """Return figures of the adhesive by which the predictions follow coupon tests best.

    Parameters
    ----------
    tests : sequence of CouponTest
        All of one adhesive.
    find : sequence of str
        Keys of `FINDABLE`; the search begins at what the first test's file says.
    bounds : mapping, optional
        Least and largest value by key, in the unit inside; a fifth and five times the start unless given.
    routes : sequence of str
        As of `fejoint.strength_of`, for loads; without the cohesive zone it takes a fraction of the time.
    progress : callable, optional
        Called with a line of text before each evaluation.

    Raises
    ------
    JointError
        A key cannot be found, or nothing was measured that tells it.
    MeshError, SetupError
        As `fejoint.solve`.
    """
    sought = _sought(tests, find, bounds or {})
    _check_alike(tests, {one.key: one.start for one in sought})
    kinds = list(dict.fromkeys(FINDABLE[one.key][1] for one in sought))
    coupons = [_Coupon.of(test, kinds) for test in tests]
    observations = [one for coupon in coupons for one in coupon.observations]
    _check_told(sought, kinds, observations)
    sd, notes = _weights(observations)
    if LOAD in kinds:
        notes += _of_patterns(tests)
    kept = Kept()

    def model(values: Mapping[str, float]) -> np.ndarray:
        return np.concatenate([coupon.expected(values, routes, kept) for coupon in coupons])

    before = model({})
    found = estimated(model, [one.value for one in observations], sd, sought, progress)
    return Identified(
        found, tuple(observations), tuple(map(float, before)), tuple(tests), tuple(notes), quick="cohesive" not in routes
    )


# ---- what is sought --------------------------------------------------------


def _sought(tests: Sequence[CouponTest], find: Sequence[str], bounds: Mapping[str, tuple[float, float]]) -> list[Sought]:
    if not tests:
        raise JointError("no tests: name a test file with [measured].")
    if not find:
        raise JointError("nothing is sought: name a figure, such as --find adhesive.elastic_modulus.")
    for key in bounds:
        if key not in find:
            raise JointError(f"--bounds {key}: is not sought; add --find {key}, or leave its bounds out.")
    found = []
    for key in dict.fromkeys(find):
        unit, kind = unit_of(key), FINDABLE[key][1]
        start = stated(tests[0].joint, key)
        if key.startswith("joint.") and len({stated(test.joint, key) for test in tests}) > 1:
            raise JointError(f"{key}: the tests state unlike ones, so that one value cannot be that of all; leave it out.")
        if kind == CURVE and any(test.joint.analysis.adhesive_model != "plastic" for test in tests):
            raise JointError(
                f'{key}: is found along the curve of an adhesive that yields; set analysis.adhesive_model = "plastic".'
            )
        if start is None and (key not in bounds or "hardening" in key):
            raise JointError(f"{key}: the first test's file does not state it; state where the search begins, or give --bounds.")
        low, high = bounds.get(key, (0.0, 0.0)) if start is None else bounds.get(key, (start / WITHIN, start * WITHIN))
        if not 0 < low < high:
            raise JointError(f"--bounds {key}: must be two values above 0, the lower one first, not {low:g} and {high:g}.")
        begin = math.sqrt(low * high) if start is None or not low < start < high else start
        found.append(Sought(key, unit, begin, low, high, max(STEP[FINDABLE[k][1]] for k in find)))
    return found


def _check_alike(tests: Sequence[CouponTest], start: Mapping[str, float]) -> None:
    """Refuse tests of different adhesives: beside what is sought all must state the same of theirs."""
    first, *others = (with_figures(test.joint, start).adhesive for test in tests)
    for test, other in zip(tests[1:], others, strict=True):
        # Poisson's ratio before the moduli, of which one may follow from it.
        for key in sorted(type(first).model_fields, key=lambda key: key != "poisson_ratio"):
            of, here = getattr(first, key), getattr(other, key)
            if key not in ("name", "sources") and not _same(of, here):
                named = f" ({other.name} here, {first.name} there)" if other.name != first.name else ""
                raise JointError(
                    f"{test.name}: its adhesive{named} has not the {key} of that of {tests[0].name}, and the tests must be of "
                    "one adhesive; make the [adhesive] tables alike."
                )


def _same(one: object, other: object) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-9)
    return one == other


def _check_told(sought: Sequence[Sought], kinds: Sequence[str], observations: Sequence[Observation]) -> None:
    measured = {one.kind for one in observations}
    for kind in kinds:
        if kind not in measured:
            key = next(one.key for one in sought if FINDABLE[one.key][1] == kind)
            if kind == LOAD:
                raise JointError(f"{key}: is told by loads at which the bond parted, and in all of the tests the adherend did.")
            raise JointError(
                f"{key}: is told by the curve's {'stiffness' if kind == STIFFNESS else 'forces'}, and no test names a curve; add "
                "[measured.curve]."
            )


def _weights(observations: Sequence[Observation]) -> tuple[list[float], list[str]]:
    """Return the scatter of every observation as a share of it, pooled over like coupons, and what was assumed of it."""
    groups: dict[tuple[str, str, float], list[float]] = {}
    for one in observations:
        groups.setdefault((one.kind, one.test, _slot(one)), []).append(math.log(one.value))
    pooled: dict[str, float] = {}
    for kind in UNITS:
        alike = [group for (of, _, _), group in groups.items() if of == kind and len(group) > 1]
        freedom = sum(len(group) - 1 for group in alike)
        if freedom:
            squares = sum(statistics.variance(group) * (len(group) - 1) for group in alike)
            pooled[kind] = max(math.sqrt(squares / freedom), LEAST_SD)
    notes = []
    for kind in dict.fromkeys(one.kind for one in observations):
        if kind not in pooled:
            pooled[kind] = ASSUMED_SCATTER
            notes.append(
                f"Scatter of each {kind}: {100 * ASSUMED_SCATTER:g} %, an assumption, since no test has two like coupons."
            )
    if any(one.kind == CURVE for one in observations):
        notes.append(
            "Points of one curve are not independent of one another: intervals of figures of yielding are rather too narrow."
        )
    return [pooled[one.kind] for one in observations], notes


def _of_patterns(tests: Sequence[CouponTest]) -> list[str]:
    """Return what the failure patterns of tests leave of their loads, in sentences."""
    least = [test.name for test in tests if test.measured.only_at_least]
    interface = [test.name for test in tests if test.measured.pattern == "adhesive"]
    notes = []
    if least:
        notes.append(f"Loads left out, since the adherend parted and the bond bore at least as much: {', '.join(least)}.")
    if interface:
        notes.append(
            f"Parted at the interface (adhesive failure): {', '.join(interface)}; strengths and toughnesses found from that are "
            "those of the interface, not of the adhesive, and the preparation of the surfaces may be why."
        )
    return notes


def _slot(one: Observation) -> float:
    """Return what tells like observations of a test from others: of a curve, that every point is its own."""
    return one.at if one.kind == CURVE else 0.0


# ---- one test --------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Coupon:
    """A test with what is taken of it."""

    test: CouponTest
    gauge: float | None
    line: tuple[float, float]
    observations: tuple[Observation, ...]

    @classmethod
    def of(cls, test: CouponTest, kinds: Sequence[str]) -> _Coupon:
        """Return what a test tells of the kinds that are asked for."""
        curve, mean = test.measured.curve, test.measured.mean
        gauge = checked_gauge(test.joint, curve)
        found: list[Observation] = []
        line = (0.1, 0.4) if curve is None else (curve.line_from, curve.line_to)
        if curve is not None and (STIFFNESS in kinds or CURVE in kinds):
            specimens = [specimen_of(pull, *line, extension=gauge is not None) for pull in test.pulls()]
            if STIFFNESS in kinds:
                found += [Observation(test.name, one.name, STIFFNESS, one.stiffness) for one in specimens]
            if CURVE in kinds:
                found += _along(test.name, specimens)
        if LOAD in kinds and not test.measured.only_at_least:
            found += [Observation(test.name, f"coupon {i}", LOAD, load) for i, load in enumerate(test.measured.loads, 1)]
        return cls(test, gauge, (line[0] * mean, line[1] * mean), tuple(found))

    def expected(self, values: Mapping[str, float], routes: Sequence[str], kept: Kept) -> np.ndarray:
        """Return what figures make of the observations; NaN where they have no answer."""
        kinds = {one.kind for one in self.observations}
        try:
            joint = with_figures(self.test.joint, values)  # of two moduli not every pair is a material
            of = {
                STIFFNESS: stiffness_of(joint, *self.line, self.gauge, kept) if STIFFNESS in kinds else math.nan,
                LOAD: _load(joint, routes, kept) if LOAD in kinds else math.nan,
            }
            forces = self._forces(joint, kept) if CURVE in kinds else {}
        except (JointError, TheoryError, MeshError, ConvergenceError):
            if not values:  # the coupon as it stands in its file
                raise
            return np.full(len(self.observations), math.nan)
        return np.array([forces[one.at] if one.kind == CURVE else of[one.kind] for one in self.observations])

    def _forces(self, joint: Joint, kept: Kept) -> dict[float, float]:
        """Return the forces at the displacements of the curves; behind a limit load the force stays."""
        sign = float(np.sign(joint.load.force))
        # Stops on the way, so that no increment cuts across the knee of the curve.
        far = BEYOND * max(self.test.measured.loads) * np.arange(1, STOPS + 1) / STOPS
        path, limit = path_on(stepped(joint, far.tolist()), joint.analysis.mesh_density, kept, lambda text: None)
        travel = np.append(0.0, [sign * displacement_of(one.solution, self.gauge) for one in path])
        force = np.append(0.0, [abs(one.joint.load.force) for one in path])
        at = sorted({one.at for one in self.observations if one.kind == CURVE})
        found = np.interp(at, travel, force, right=float(force.max()) if limit else math.nan)
        return dict(zip(at, map(float, found), strict=True))


def _along(test: str, specimens: Sequence[Specimen]) -> list[Observation]:
    """Return the forces of specimens at the same displacements, up to the earliest of their peaks."""
    peaks = [int(np.argmax(one.force)) for one in specimens]
    far = min(float(one.displacement[top]) for one, top in zip(specimens, peaks, strict=True))
    found = []
    for one, top in zip(specimens, peaks, strict=True):
        u, f = one.displacement[: top + 1], one.force[: top + 1]
        order = np.argsort(u, kind="stable")
        at = [share * far for share in ALONG]
        found += [Observation(test, one.name, CURVE, float(np.interp(x, u[order], f[order])), x) for x in at]
    return found


def _load(joint: Joint, routes: Sequence[str], kept: Kept) -> float:
    by = breaking_load(strength_of(joint, routes=routes, variants=False, kept=kept))
    return math.nan if by is None else float(abs(by.force))
