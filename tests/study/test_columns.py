"""What is kept of a case, and when a function counts as another."""

import numpy as np
import pytest

import fejoint
from fejoint import JointError
from fejoint.joint.file import joint_from_text, template
from fejoint.mechanics.reuse import Kept
from fejoint.study.columns import column_values, source_of, split_columns, unknown_column


@pytest.fixture(scope="module")
def result():
    return fejoint.solve(joint_from_text(template("single-lap")))


def test_names_stand_for_values_and_for_all_that_a_table_holds(result):
    found = column_values(
        result, ("peak_shear_MPa", "peak_shear_MPa.x_mm", "adherend_peak_MPa", "checks.energy_balance.passed"), {}
    )
    peak, _ = result.peak_shear
    assert found["peak_shear_MPa"] == peak.value
    assert found["peak_shear_MPa.x_mm"] == peak.x
    assert {"adherend_peak_MPa.lower", "adherend_peak_MPa.upper"} <= set(found)
    assert found["checks.energy_balance.passed"] is True


def test_functions_return_numbers_texts_truth_values_or_tables_of_them(result):
    def pair(r):
        return {"cells": np.int64(3), "half": np.float32(0.5), "name": "a", "yes": np.bool_(True)}

    assert column_values(result, (), {"pair": pair}) == {"pair.cells": 3, "pair.half": 0.5, "pair.name": "a", "pair.yes": True}
    for bad in (object(), [1, 2], 10**30, np.zeros(3)):
        with pytest.raises(JointError, match="column odd: its function must return"):
            column_values(result, (), {"odd": lambda r, bad=bad: bad})
    with pytest.raises(JointError, match=r"column odd: its function fails \(ZeroDivisionError"):
        column_values(result, (), {"odd": lambda r: 1 / 0})


def test_unknown_names_are_seen_whole_or_by_their_first_part(result):
    assert "did you mean peak_shear_MPa?" in unknown_column(result, ["peak_sheer_MPa"])
    assert "did you mean adherend_peak_MPa.lower?" in unknown_column(result, ["adherend_peak_MPa.lowr"])
    assert unknown_column(result, ["adherend_peak_MPa.inner"], whole=False) is None
    assert unknown_column(result, ["adherend_peek.inner"], whole=False)


@pytest.mark.parametrize("name", ["case", "title", "status", "seconds"])
def test_the_tables_own_names_are_taken(name):
    with pytest.raises(JointError, match="is taken"):
        split_columns([name])


def limited(limit):
    def margin(result):
        return limit - 1

    return margin


def made(text):
    space = {}
    exec(text, space)
    return space["f"]


def test_a_function_counts_as_another_when_anything_of_its_own_differs():
    def first(r, k=1):
        return k

    def second(r, k=2):
        return k

    class Ratio:
        def __init__(self, k):
            self.k = k

        def __call__(self, r):
            return self.k

    pairs = [
        (limited(20), limited(30)),
        (made("def f(r): return r.unknowns * 2"), made("def f(r): return r.section * 2")),
        (made("def f(r): return r.unknowns * 2"), made("def f(r): return r.unknowns * 3")),
        (first, second),
        (Ratio(1), Ratio(2)),
    ]
    for one, other in pairs:
        assert source_of(one) != source_of(other)
        assert source_of(one) == source_of(one)
    assert source_of(limited(20)) == source_of(limited(20))
    assert source_of(Ratio(1)) == source_of(Ratio(1))


def test_a_function_cannot_spoil_what_the_next_joint_is_solved_with():
    """Every array that one result shares with the next refuses to be written into."""
    kept = Kept()
    joint = joint_from_text(template("single-lap"))
    result = fejoint.solve(joint, kept=kept)
    d = result.solution.discretisation
    law = result.solution.laws["adhesive"]
    for array in (
        d.points,
        d.weight_qc,
        d.nodes_ac,
        d.section.mesh.p,
        d.section.mesh.t,
        law.stiffness,
        d.line("bondline 1 middle"),
    ):
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0
    again = fejoint.solve(joint, kept=kept)
    assert (again.bondlines[0].shear == result.bondlines[0].shear).all()
