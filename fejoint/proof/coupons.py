"""Runs tests: what each criterion predicts of a joint beside the loads that its coupons were measured to bear.

Nothing is fitted: a prediction knows the joint, not the loads. A criterion of
the bond is held against tests in which the bond parted, one of the adherend's
rupture against those in which the adherend did, as far as the failure pattern
says; of the others the load is a lower bound, and they count for neither.
Beside the criteria stands the load that the whole joint is predicted to bear:
the least of the criterion to believe for the bond, the adherend's rupture and
the limit load, where the load's path came to one.
"""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from fejoint.errors import ConvergenceError, JointError, MeshError, TheoryError
from fejoint.joint.strength import Knockdown
from fejoint.proof.case import CaseFile
from fejoint.proof.measured import PATTERNS, CouponTest, Measured, coupons_from_text
from fejoint.proof.runner import Verdict, each
from fejoint.strength.capacity import MODES, Capacity
from fejoint.strength.margins import margin_of
from fejoint.strength.predict import QUICK, ROUTES, Strength, strength_of

__all__ = ["QUICK", "CouponReport", "CouponsReport", "Criterion", "Prediction", "breaking_load", "run_coupons", "run_test"]

LIMIT = "limit-load"  # the most that a section bears which flows on: of yield the one load that a test can measure


@dataclass(frozen=True)
class Prediction:
    """What one criterion says of one test.

    Attributes
    ----------
    capacity : Capacity
    measured : Measured
    of_joint : bool
        Whether it says what the whole joint bears, by whichever way it fails.
    """

    capacity: Capacity
    measured: Measured
    of_joint: bool = False

    @property
    def key(self) -> str:
        """The criterion's key; ``joint`` of the whole joint."""
        return "joint" if self.of_joint else self.capacity.key

    @property
    def name(self) -> str:
        """The criterion's name."""
        return "the joint: criterion believed, or rupture" if self.of_joint else self.capacity.name

    @property
    def as_seen(self) -> bool:
        """Whether the coupons failed in the mode that is predicted, as far as their pattern says."""
        return self.measured.counts_against(MODES[self.capacity.mode])

    @property
    def force(self) -> float:
        """Predicted failure load in magnitude, N; infinite where no load breaks the joint so, NaN where it cannot run."""
        return float(abs(self.capacity.force))

    @property
    def ratio(self) -> float:
        """Predicted load over the mean of the measured ones: above 1 the criterion promises too much."""
        return self.force / self.measured.mean

    @property
    def error(self) -> float:
        """Predicted load less the mean measured one, as a share of the latter."""
        return self.ratio - 1

    @property
    def inside(self) -> bool:
        """Whether the error is no larger than the standard deviation of the measured loads; False of a single load."""
        deviation = self.measured.deviation
        return deviation is not None and abs(self.force - self.measured.mean) <= deviation

    @property
    def excluded(self) -> str:
        """Why it does not count among the criterion's errors, in words; empty where it does."""
        if not self.capacity.runs:
            return self.capacity.reason
        if math.isinf(self.force):
            return "no load breaks the joint so"
        if self.of_joint:
            return ""
        if self.capacity.mode == "adherend-yield":
            return "" if self.capacity.key == LIMIT else "nothing parts when it yields"
        if self.capacity.mode == "buckling":
            return "nothing parts when it buckles"
        if not self.as_seen:
            parted = f"{PATTERNS[self.measured.pattern]} parted"
            return f"at least {-100 * self.error:.0f} % too low: {parted}" if self.error < -0.005 else f"not refuted: {parted}"
        return ""


@dataclass(frozen=True)
class CouponReport:
    """What became of a test: a prediction a criterion; where it could not be read or predicted, why.

    Attributes
    ----------
    name : str
    test : CouponTest or None
        None where it could not be read.
    predictions : tuple of Prediction
    verdict : str
        ``bad`` where it is refused, ``missed`` where its joint could not be solved, else ``met``: a test has nothing to pass.
    message : str
    seconds : float
    """

    name: str
    test: CouponTest | None
    predictions: tuple[Prediction, ...] = ()
    verdict: Verdict = "met"
    message: str = ""
    seconds: float = 0.0

    @property
    def at_the_interface(self) -> bool:
        """Whether the coupons parted at the interface while their file has the bond part within the adhesive."""
        return (
            self.test is not None
            and self.test.measured.pattern == "adhesive"
            and self.test.joint.strength.failure_at == "adhesive"
        )


@dataclass(frozen=True)
class Criterion:
    """One criterion over all tests.

    Attributes
    ----------
    key, name : str
        As of its predictions.
    counted : tuple of (str, Prediction)
        Name of the test and prediction, where the error counts.
    left_out : tuple of (str, str)
        Name of the test and why its prediction does not count.
    """

    key: str
    name: str
    counted: tuple[tuple[str, Prediction], ...]
    left_out: tuple[tuple[str, str], ...]

    @property
    def errors(self) -> list[float]:
        """Signed errors, as shares of the mean measured load."""
        return [prediction.error for _, prediction in self.counted]

    @property
    def mean_error(self) -> float:
        """Mean of the errors' magnitudes; NaN without any."""
        return statistics.fmean(map(abs, self.errors)) if self.counted else math.nan

    @property
    def bias(self) -> float:
        """Mean of the signed errors: above 0 the criterion promises too much; NaN without any."""
        return statistics.fmean(self.errors) if self.counted else math.nan

    @property
    def spread(self) -> float:
        """Standard deviation (n - 1) of the signed errors: what is left when the bias is taken off; NaN of fewer than two."""
        return statistics.stdev(self.errors) if len(self.counted) > 1 else math.nan

    @property
    def inside(self) -> int:
        """How many errors lie inside the scatter of their test."""
        return sum(prediction.inside for _, prediction in self.counted)

    @property
    def worst(self) -> tuple[str, float] | None:
        """The test with the largest error in magnitude, and that error; None without any."""
        if not self.counted:
            return None
        name, prediction = max(self.counted, key=lambda item: abs(item[1].error))
        return name, prediction.error


@dataclass(frozen=True)
class CouponsReport:
    """What became of all tests."""

    tests: tuple[CouponReport, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of its tests."""
        found = {test.verdict for test in self.tests}
        return "bad" if "bad" in found else "missed" if "missed" in found else "met"

    @property
    def criteria(self) -> tuple[Criterion, ...]:
        """Return every criterion over all tests, in the order in which they first come."""
        found: dict[str, list[tuple[str, Prediction]]] = {}
        for test in self.tests:
            for prediction in test.predictions:
                found.setdefault(prediction.key, []).append((test.name, prediction))
        return tuple(_criterion(items) for items in found.values())


def _criterion(items: list[tuple[str, Prediction]]) -> Criterion:
    first = items[0][1]
    counted = tuple(item for item in items if not item[1].excluded)
    left_out = tuple((name, prediction.excluded) for name, prediction in items if prediction.excluded)
    return Criterion(first.key, first.name, counted, left_out)


def run_coupons(
    files: Iterable[CaseFile], routes: tuple[str, ...] = ROUTES, progress: Callable[[str], None] | None = None
) -> CouponsReport:
    """Read and predict tests, one after the other; one that is bad does not stop the others.

    Parameters
    ----------
    files : iterable of CaseFile
        The tests among those of `fejoint.proof.case.case_files`, from `fejoint.proof.measured.parted_files`.
    routes : tuple of str
        Which criteria are asked: `ROUTES`, or `QUICK` without the cohesive zone, which takes longest.
    progress : callable, optional
        Called with a line of text before each stage.

    Raises
    ------
    SetupError
        The machine lacks something.
    """
    reports = []
    for file, say in each(files, "test", progress):
        try:
            if isinstance(file.text, JointError):
                raise file.text
            test = coupons_from_text(file.text, file.name, file.place, Path(file.place).parent)
        except JointError as error:
            reports.append(CouponReport(file.name, None, verdict="bad", message=str(error)))
            continue
        reports.append(run_test(test, routes, say))
    return CouponsReport(tuple(reports))


def run_test(test: CouponTest, routes: tuple[str, ...] = ROUTES, progress: Callable[[str], None] | None = None) -> CouponReport:
    """Predict one test by every criterion of some routes.

    Raises
    ------
    SetupError
        The machine lacks something.
    """
    start = time.perf_counter()
    try:
        found = strength_of(test.joint, routes=routes, variants=False, progress=progress)
    except (ConvergenceError, MeshError) as error:
        return CouponReport(test.name, test, (), "missed", str(error), _since(start))
    except (JointError, TheoryError) as error:
        return CouponReport(test.name, test, (), "bad", str(error), _since(start))
    predictions = [Prediction(one, test.measured) for one in found.capacities]
    whole = breaking_load(found)
    predictions += [] if whole is None else [Prediction(whole, test.measured, of_joint=True)]
    return CouponReport(test.name, test, tuple(predictions), seconds=_since(start))


def breaking_load(strength: Strength, knockdowns: Sequence[Knockdown] = ()) -> Capacity | None:
    """Return by what the joint is predicted to break first, whatever parts, knockdowns counted in; None where nothing can tell.

    The capacity's own load is without them.
    """
    others = [
        one for one in strength.capacities if one.runs and (one.mode in ("adherend-rupture", "buckling") or one.key == LIMIT)
    ]
    found = [one for one in (strength.believed, *others) if one is not None]
    return min(found, key=lambda one: abs(margin_of(one, knockdowns).force), default=None)


def _since(start: float) -> float:
    return round(time.perf_counter() - start, 3)
