"""Runs cases: asks finite elements and theories, and holds the answers against what is expected."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from fejoint.errors import ConvergenceError, JointError, MeshError, TheoryError
from fejoint.mechanics.driver import Result, solve
from fejoint.proof.case import Case, CaseFile, Expectation
from fejoint.proof.quantities import FINITE_ELEMENTS, Answers, by_finite_elements, by_theory, theories, theory_names

__all__ = ["CaseReport", "Report", "Row", "Verdict", "each", "run_case", "run_cases"]

Verdict = Literal["met", "missed", "bad"]


@dataclass(frozen=True)
class Row:
    """One expectation and what became of it.

    Attributes
    ----------
    expectation : Expectation
    verdict : str
        ``met``; ``missed``; ``bad`` where it cannot be asked.
    expected, got, allowed : float
        In the quantity's unit; NaN where there is none.
    message : str
        Why it missed for another reason than the difference, or is bad.
    """

    expectation: Expectation
    verdict: Verdict
    expected: float = math.nan
    got: float = math.nan
    allowed: float = math.nan
    message: str = ""

    @property
    def difference(self) -> float:
        """Got less expected."""
        return self.got - self.expected

    @property
    def ratio(self) -> float:
        """Difference over the allowed one, in magnitude."""
        return abs(self.difference) / self.allowed if self.allowed > 0 else math.nan


@dataclass(frozen=True)
class CaseReport:
    """What became of a case: its rows, or, where it could not be read, why.

    Attributes
    ----------
    name : str
    case : Case or None
    rows : list of Row
    message : str
    seconds : float
    """

    name: str
    case: Case | None
    rows: list[Row]
    message: str = ""
    seconds: float = 0.0

    @property
    def verdict(self) -> Verdict:
        """The worst of its rows."""
        if self.case is None or any(row.verdict == "bad" for row in self.rows):
            return "bad"
        return "missed" if any(row.verdict == "missed" for row in self.rows) else "met"


@dataclass(frozen=True)
class Report:
    """What became of all cases."""

    cases: list[CaseReport]

    @property
    def verdict(self) -> Verdict:
        """The worst of its cases."""
        found = {case.verdict for case in self.cases}
        return "bad" if "bad" in found else "missed" if "missed" in found else "met"

    def count(self, verdict: Verdict) -> int:
        """Return how many rows have a verdict; a case that could not be read counts as one bad row."""
        rows = sum(row.verdict == verdict for case in self.cases for row in case.rows)
        return rows + (sum(case.case is None for case in self.cases) if verdict == "bad" else 0)


def run_cases(files: Iterable[CaseFile], progress: Callable[[str], None] | None = None) -> Report:
    """Read and run cases, one after the other; one that is bad does not stop the others.

    Parameters
    ----------
    files : iterable of CaseFile
        From `shipped_cases` or `case_files`.
    progress : callable, optional
        Called with a line of text before each stage.

    Raises
    ------
    SetupError
        The machine lacks something.
    """
    reports = []
    for file, say in each(files, "case", progress):
        try:
            reports.append(run_case(file.read(), say))
        except JointError as error:
            reports.append(CaseReport(file.name, None, [], str(error)))
    return Report(reports)


def each(
    files: Iterable[CaseFile], word: str, progress: Callable[[str], None] | None
) -> Iterator[tuple[CaseFile, Callable[[str], None] | None]]:
    """Yield files one after the other, each with what tells how far its work is; `word` is what a file is called."""
    files = list(files)
    for i, file in enumerate(files, 1):
        head = f"{word} {i} of {len(files)}, {file.name}"
        say = (lambda text, head=head: progress(f"{head}: {text}")) if progress is not None else None
        if say is not None:
            say("reading")
        yield file, say


def run_case(case: Case, progress: Callable[[str], None] | None = None) -> CaseReport:
    """Run one case. Finite elements are only asked where an expectation, or a theory that takes their edge loads, needs them.

    Raises
    ------
    SetupError
        The machine lacks something.
    """
    start = time.perf_counter()
    wanted = {name for e in case.expect for name in e.names}
    result, trouble = None, ""
    if not wanted <= set(theory_names(case.joint, edges=False)):
        try:
            result = solve(case.joint, progress)
        except (ConvergenceError, MeshError) as error:
            trouble = str(error)
    found = theories(case.joint, result.edges if result else None, wanted)
    answers: dict[str, Answers | TheoryError] = {}
    if result is not None:
        answers[FINITE_ELEMENTS] = by_finite_elements(result)
    for name, theory in found.items():
        try:
            answers[name] = by_theory(theory, case.joint)
        except TheoryError as error:
            answers[name] = error
    rows = [_row(e, answers, result, trouble) for e in case.expect]
    return CaseReport(case.name, case, rows, seconds=round(time.perf_counter() - start, 3))


def _row(e: Expectation, answers: dict[str, Answers | TheoryError], result: Result | None, trouble: str) -> Row:
    if not e.names <= set(answers):  # the joint is as it should be, and yet it was not solved
        return Row(e, "missed", message=trouble)

    def ask(name: str) -> float:
        answer = answers[name]
        if isinstance(answer, TheoryError):
            raise answer
        return e.asked.of(answer, e.place)

    try:
        expected, got = (ask(e.theory) if e.theory else e.expected), ask(e.of)
    except TheoryError as error:
        return Row(e, "bad", message=str(error))
    allowed = e.allowed(expected)
    if allowed == 0:
        return Row(
            e, "bad", expected, got, message=f"{e.theory} gives 0, of which a relative tolerance is nothing; give absolute."
        )
    if result is not None and not result.passed and FINITE_ELEMENTS in e.names:
        missed = ", ".join(check.name for check in result.checks if not check.passed)
        return Row(e, "missed", expected, got, allowed, f"finite elements missed their self-checks: {missed}.")
    return Row(e, "met" if abs(got - expected) <= allowed else "missed", expected, got, allowed)
