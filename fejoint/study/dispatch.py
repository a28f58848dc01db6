"""Hand cases out to workers and take their outcomes in, until all are done or the user stops it.

What is in flight is bounded, cases that share a system stay together, and a
case whose worker dies is tried once more, alone.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, wait
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any

from fejoint.errors import FejointError, SetupError
from fejoint.study.cases import Case
from fejoint.study.engines import stop, worker_died, workers_of
from fejoint.study.journal import Outcome
from fejoint.study.work import Task, work

__all__ = ["Progress", "dispatch"]

LARGEST_TASK = 64  # cases
MOST_DEATHS = 5  # in a row, none of them followed by an outcome
COUNT_EVERY, PATIENCE = 5.0, 20.0  # seconds: the workers of a cluster are counted, and waited for when there are none
TASKS_A_WORKER = 2  # one at work, one waiting, so that no worker waits for this process


@dataclass(frozen=True)
class Progress:
    """How far a sweep has come.

    Attributes
    ----------
    total : int
        Cases of the sweep.
    finished : int
        Those that the journal holds, from earlier runs too.
    failed : int
        Of these: refused, failed, or lost with their worker.
    seconds : float
        Since this run began to solve.
    now : int
        Cases finished by this run.
    """

    total: int
    finished: int = 0
    failed: int = 0
    seconds: float = 0.0
    now: int = 0

    @property
    def rate(self) -> float:
        """Cases a second of this run; 0 before the first."""
        return self.now / self.seconds if self.seconds > 0 else 0.0

    @property
    def left(self) -> float:
        """Seconds left at this rate; NaN before the first case."""
        return (self.total - self.finished) / self.rate if self.rate > 0 else float("nan")


def dispatch(
    cases: Iterable[Case],
    values: Callable[[int], dict[str, Any]],
    task: Task,
    engine: Callable[[], Executor],
    ours: bool,
    finished: Callable[[list[Outcome]], None],
    tick: Callable[[], None],
) -> None:
    """Have every case worked on, and hand each outcome to `finished` as it comes.

    Parameters
    ----------
    cases : iterable of Case
        Those that share a mesh and a system next to each other.
    values : callable
        What case number n sets in the joint file.
    task : Task
        The study; its cases are filled in here.
    engine : callable
        Makes the executor.
    ours : bool
        Whether it is our own: stopped in the end, made anew when its workers have died.
    finished : callable
        Takes outcomes.
    tick : callable
        Called once a second or more often.

    Raises
    ------
    SetupError
        The workers cannot do the work at all, are gone, or those of a user's own executor died.
    """
    hands = _Hands(deque(cases), values, task, engine(), finished)
    try:
        while hands.busy:
            before = hands.deaths
            sound = hands.fill()
            sound = hands.take(timeout=1) and sound
            if not sound and hands.deaths == before:  # nothing was in flight that could have told
                hands.deaths += 1
            if hands.deaths > MOST_DEATHS:
                raise SetupError(
                    "the workers die whatever they are given (memory? a library?); finished cases are kept, "
                    "and run again it goes on behind the lost ones."
                )
            if not sound:
                if not ours:
                    raise SetupError("the executor's workers died; finished cases are kept: run the same again with a new one.")
                stop(hands.executor)
                hands.suspect_all()
                hands.executor = engine()
            tick()
    finally:
        if ours:
            stop(hands.executor)
        for future in hands.flying:
            future.cancel()


@dataclass
class _Hands:
    """What waits, what is in flight, and the cases under suspicion: those in flight when a worker died."""

    waiting: deque[Case]
    values: Callable[[int], dict[str, Any]]
    task: Task
    executor: Executor
    finished: Callable[[list[Outcome]], None]
    suspects: deque[Case] = field(default_factory=deque)
    flying: dict[Future[list[Outcome]], list[Case]] = field(default_factory=dict)
    size: int = 1
    """Cases of the next task: as many as a worker has lately done in its time, and twice as many as long as it has time left"""
    deaths: int = 0
    """Rounds with a death since the last outcome"""
    workers: int = 0
    seen: float = field(default_factory=time.monotonic)
    """When the workers were counted and there were some"""

    @property
    def busy(self) -> bool:
        return bool(self.waiting or self.suspects or self.flying)

    def fill(self) -> bool:
        """Keep all workers busy; return whether the executor is sound."""
        most = TASKS_A_WORKER * self._count_workers()
        if self.suspects:  # one, alone: if a worker dies now, this case is why
            return bool(self.flying) or self._send([self.suspects[0]])
        while self.waiting and len(self.flying) < most:
            some = list(islice(self.waiting, min(self.size, -(-len(self.waiting) // most))))
            if not self._send(some):
                return False
            for _ in some:
                self.waiting.popleft()
        return True

    def take(self, timeout: float) -> bool:
        """Take in what comes back within a time, s; return whether the executor is sound."""
        if not self.flying:  # no workers just now
            time.sleep(min(timeout, 0.5))
            return True
        sound, died = True, False
        done = wait(self.flying, timeout=timeout, return_when=FIRST_COMPLETED).done
        # Outcomes first: an error ends the sweep, and what came back beside it must not be lost.
        for future in sorted(done, key=lambda future: future.cancelled() or future.exception() is not None):
            some = self.flying.pop(future)
            alone = bool(self.suspects) and some[0] is self.suspects[0]
            try:
                outcomes = future.result()
            except Exception as error:
                if isinstance(error, CancelledError):
                    raise _gone() from None
                if not worker_died(error):
                    raise _explained(error) from None
                sound, died = sound and not isinstance(error, BrokenExecutor), True
                if alone:
                    self.suspects.popleft()
                    self.finished([Outcome(some[0].key, "lost", "its worker died, and again when it was tried alone")])
                else:
                    self.suspects.extend(some)
                continue
            self.deaths = 0
            self.finished(outcomes)
            if alone:
                self.suspects.popleft()
                continue
            rest = some[len(outcomes) :]
            self.waiting.extendleft(reversed(rest))
            self.size = max(1, len(outcomes)) if rest else min(LARGEST_TASK, max(self.size, 2 * len(some)))
        self.deaths += died
        return sound

    def suspect_all(self) -> None:
        """Take in what a stopped executor leaves: outcomes that had come back, and suspects."""
        wait(self.flying, timeout=30)
        for future, some in self.flying.items():
            outcomes = future.result() if future.done() and not future.cancelled() and future.exception() is None else []
            self.finished(outcomes)
            self.suspects.extend(some[len(outcomes) :])
        self.flying.clear()

    def _send(self, some: list[Case]) -> bool:
        """Return whether the executor took these cases."""
        sent = replace(self.task, cases=tuple((case.key, self.values(case.number)) for case in some))
        try:
            self.flying[self.executor.submit(work, sent)] = some
        except BrokenExecutor:
            return False
        except RuntimeError as error:  # it was shut down
            raise _explained(error) from None
        return True

    def _count_workers(self) -> int:
        """Return the number of workers; of a cluster it is asked for now and then, and waited for a while."""
        now = time.monotonic()
        if not self.workers or now - self.seen > COUNT_EVERY:
            self.workers = workers_of(self.executor)
            if self.workers:
                self.seen = now
            elif now - self.seen > PATIENCE:
                raise _gone()
        return self.workers


def _gone() -> SetupError:
    return SetupError(
        "the workers have gone (has the cluster stopped, was the executor shut down?); finished cases are kept: "
        "run the same again to go on."
    )


def _explained(error: BaseException) -> SetupError:
    if isinstance(error, FejointError):
        return SetupError(str(error))
    cause = str(error.__cause__ or "").strip('"\n ').splitlines()[-1:]  # of a traceback sent as text
    said = ": ".join([type(error).__name__, " ".join(str(error).split())[:200], *cause])
    return SetupError(f"the workers cannot do the work ({said}); they need this fejoint and what the columns' functions use.")
