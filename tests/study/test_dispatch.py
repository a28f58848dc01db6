"""Handing out: nothing is lost, nothing goes on for ever, whatever an executor does. The executors here are made up."""

import time
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future

import pytest

from fejoint.errors import SetupError
from fejoint.study import dispatch as module
from fejoint.study.cases import Case
from fejoint.study.dispatch import dispatch
from fejoint.study.journal import Outcome
from fejoint.study.work import Task

CASES = [Case(n, str(n), b"") for n in range(20)]


class Made(Executor):
    """Answers a task by `answer(cases)`: outcomes, or an error to raise there."""

    def __init__(self, answer, workers=2):
        self.answer, self.sizes, self._max_workers = answer, [], workers

    def submit(self, work, task):
        future = Future()
        self.sizes.append(len(task.cases))
        try:
            future.set_result(self.answer([key for key, _ in task.cases]))
        except Exception as error:
            future.set_exception(error)
        return future


def done(keys):
    return [Outcome(key, "done") for key in keys]


def run(engine, *, ours=False, cases=CASES):
    found = []
    try:
        dispatch(cases, lambda n: {}, Task({}, (), {}, False, {}), engine, ours, found.extend, lambda: None)
    except SetupError as error:
        return found, str(error)
    return found, ""


def test_every_case_comes_back_once_and_tasks_grow():
    executor = Made(done)
    found, said = run(lambda: executor)
    assert sorted(int(outcome.key) for outcome in found) == list(range(20))
    assert said == ""
    assert executor.sizes[0] == 1
    assert max(executor.sizes) > 1


def test_what_a_worker_had_no_time_for_is_sent_again():
    executor = Made(lambda keys: done(keys[:1]))
    found, _ = run(lambda: executor)
    assert sorted(int(outcome.key) for outcome in found) == list(range(20))


def test_a_pool_of_our_own_is_made_anew_and_the_case_that_breaks_it_is_lost():
    pools = []

    def breaks(keys):
        if "7" in keys:
            raise BrokenExecutor("a process died")
        return done(keys)

    def engine():
        pools.append(Made(breaks))
        return pools[-1]

    found, said = run(engine, ours=True)
    assert said == ""
    assert {outcome.key: outcome.status for outcome in found} == {str(n): "lost" if n == 7 else "done" for n in range(20)}
    assert len(found) == 20
    assert len(pools) == 3  # its first death, in company, and its second, alone


def test_a_users_own_pool_that_broke_is_one_sentence():
    def breaks(keys):
        raise BrokenExecutor("a process died")

    _, said = run(lambda: Made(breaks))
    assert "executor's workers died" in said


@pytest.mark.parametrize("at", ["submit", "work"])
def test_workers_that_always_die_end_the_sweep(at):
    """Six pools: MOST_DEATHS rounds without an outcome, and the one that is too many."""
    pools = []

    class Broken(Made):
        def submit(self, work, task):
            if at == "submit":
                raise BrokenExecutor("cannot start")
            return super().submit(work, task)

    def breaks(keys):
        raise BrokenExecutor("a process died")

    def engine():
        pools.append(Broken(breaks))
        return pools[-1]

    _, said = run(engine, ours=True)
    assert "the workers die whatever they are given" in said
    assert len(pools) <= module.MOST_DEATHS + 1


def test_outcomes_that_came_back_beside_an_error_are_kept():
    """Two tasks come back at once, one with an error that ends the sweep: the other's outcomes are taken first."""

    def answer(keys):
        if "0" in keys:
            raise ValueError("no such module")
        return done(keys)

    found, said = run(lambda: Made(answer))
    assert "the workers cannot do the work (ValueError: no such module" in said
    assert sorted(outcome.key for outcome in found) == ["1", "2", "3"]


def test_the_cause_of_what_workers_cannot_do_is_told():
    def answer(keys):
        raise RuntimeError("a task failed") from ImportError("traceback ...\nModuleNotFoundError: No module named 'my_columns'")

    assert "No module named 'my_columns'" in run(lambda: Made(answer))[1]


def test_cancelled_work_means_that_the_workers_have_gone():
    def answer(keys):
        raise CancelledError

    assert "the workers have gone" in run(lambda: Made(answer))[1]


def test_no_workers_are_waited_for_without_haste_and_not_for_ever(monkeypatch):
    asked = []
    monkeypatch.setattr(module, "workers_of", lambda executor: asked.append(time.monotonic()) or 0)
    monkeypatch.setattr(module, "PATIENCE", 1.2)
    _, said = run(lambda: Made(done))
    assert "the workers have gone" in said
    assert len(asked) < 10  # half a second between two questions


def test_an_executor_that_was_shut_down_is_one_sentence():
    class Shut(Made):
        def submit(self, work, task):
            raise RuntimeError("cannot schedule new futures after shutdown")

    assert "cannot schedule new futures after shutdown" in run(lambda: Shut(done))[1]
