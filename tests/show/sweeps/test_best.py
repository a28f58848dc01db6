"""The best designs of a sweep: shares of limits by hand, rankings and ends against plain loops over the cases."""

import itertools

import numpy as np
import pandas as pd
import pytest
from chart_parts import PEEL, SHEAR, G, L, M, T, grid, refused, samples, with_refused

from fejoint.errors import JointError
from fejoint.show.sweeps.best import best_designs, use_of_limits
from fejoint.show.sweeps.limits import Limit


def uses(values, *limits):
    table = pd.DataFrame(values) if isinstance(values, dict) else pd.DataFrame({PEEL: values})
    use, which = use_of_limits(table, [Limit.parse(limit) for limit in limits])
    return use.tolist(), which.tolist()


@pytest.mark.parametrize(
    ("limit", "values", "expected"),
    [
        ("peak_peel_MPa <= 20", [5, 20, 30, -3], [0.25, 1, 1.5, 0]),  # pressed together: nothing of a limit on peel is used
        ("peak_peel_MPa >= 20", [80, 20, 10, 0, -5], [0.25, 1, 2, np.inf, np.inf]),
        ("peak_peel_MPa >= -20", [-5, -20, -30, 4], [0.25, 1, 1.5, 0]),
        ("peak_peel_MPa <= -20", [-80, -20, -10, 0, 5], [0.25, 1, 2, np.inf, np.inf]),
    ],
)
def test_use_is_the_share_of_a_limit(limit, values, expected):
    """By hand; one division each, so exact."""
    assert uses(values, limit)[0] == expected
    holds = Limit.parse(limit).holds(pd.DataFrame({PEEL: values}))
    assert (holds == (np.array(expected) <= 1)).all()  # a case holds a limit where it uses no more than all of it


def test_shear_counts_by_its_magnitude_and_the_tightest_limit_is_named():
    use, which = uses({SHEAR: [-15.0, 3.0, np.nan], PEEL: [4.0, 4.0, 4.0]}, f"{SHEAR} <= 30", f"{PEEL} <= 20")
    assert use[:2] == [0.5, 0.2] and np.isnan(use[2])
    assert which == [0, 1, -1]


def test_a_limit_of_zero_has_no_share():
    assert np.isnan(uses([1.0, -1.0], "peak_peel_MPa <= 0")[0]).all()
    table = grid(**{L: [10.0, 20.0, 80.0]})
    best = best_designs(table, ["peak_peel_MPa <= 0"])
    assert best.feasible == 1 and not best.ranked
    assert any("no share" in note for note in best.notes) and any("alone is feasible" in note for note in best.notes)


LIMITS = (f"{PEEL} <= 75", f"{SHEAR} <= 22")


@pytest.mark.parametrize("table", [with_refused(), samples()], ids=["grid", "samples"])
def test_ranking_and_ends_against_loops(table):
    best = best_designs(table, LIMITS)
    good = [
        (max(row[PEEL] / 75, row[SHEAR] / 22), case)
        for case, row in table.iterrows()
        if row["status"] == "done" and row[PEEL] <= 75 and row[SHEAR] <= 22
    ]
    assert 5 < len(good) == best.feasible < len(table)
    ranked = [(found.use, found.case) for found in best.ranked]
    assert [case for _, case in ranked] == [case for _, case in sorted(good)[:10]]
    np.testing.assert_allclose([use for use, _ in ranked], [use for use, _ in sorted(good)[:10]], rtol=1e-12)
    for found in best.ranked:
        row = table.loc[found.case]
        assert found.tightest.column == (PEEL if row[PEEL] / 75 > row[SHEAR] / 22 else SHEAR)
    keys = [name for name in (L, T, G) if name in table]
    assert [(end.column, end.which) for end in best.extremes] == list(itertools.product(keys, ["least", "largest"]))
    for end in best.extremes:
        column = table[end.column]
        values = {case: column[case] for _, case in good}
        most = min(values.values()) if end.which == "least" else max(values.values())
        alike = [(use, case) for use, case in good if values[case] == most]
        assert (end.value, end.case, end.alike) == (most, min(alike)[1], len(alike))
        assert end.at_end == (most == (column.min() if end.which == "least" else column.max()))
    assert any(end.at_end for end in best.extremes) and not all(end.at_end for end in best.extremes)


def test_keys_that_move_together_are_one():
    ends = [end for end in best_designs(with_refused(), LIMITS).extremes if end.column == T]
    assert len(ends) == 2 and all(end.with_it == ("joint.upper.thickness_mm",) for end in ends)
    assert not any(end.column == "joint.upper.thickness_mm" for end in best_designs(with_refused(), LIMITS).extremes)


def test_texts_have_no_least_and_a_missed_check_is_no_design():
    table = grid(**{L: [10.0, 20.0], M: ["steel", "aluminium"]})
    table.loc[1, "status"] = "missed"
    best = best_designs(table, [f"{PEEL} <= 1000"])
    assert {end.column for end in best.extremes} == {L}
    assert sorted(found.case for found in best.ranked) == [2, 3, 4] and best.feasible == 3


def test_the_tables_own_word_counts_too():
    table = grid(**{L: [10.0, 20.0, 30.0]})
    table["feasible"] = pd.array([False, True, None], dtype="boolean")
    assert [found.case for found in best_designs(table, [f"{PEEL} <= 1000"]).ranked] == [2]
    best = best_designs(table)  # its limits unknown
    assert best.feasible == 1 and not best.ranked and best.extremes and any("not known" in note for note in best.notes)


def test_none_feasible_names_the_nearest():
    table = grid(**{L: [10.0, 20.0, 30.0]})
    best = best_designs(table, [f"{PEEL} <= 20"])
    assert best.feasible == 0 and not best.extremes and best.notes == ("No case is feasible.",)
    assert [(found.case, found.use) for found in best.ranked] == [(3, 2.0)]  # 70 - 30 over 20


def test_without_limits_the_least_of_each_result_in_magnitude():
    table = grid(**{L: [10.0, 20.0, 30.0]}).assign(**{"peak_peel_MPa.x_mm": [1.0, 2.0, 3.0], "same": 1.0})
    table[SHEAR] = [-9.0, 3.0, -2.0]
    best = best_designs(table)
    assert [(end.column, end.case, end.value) for end in best.extremes] == [(PEEL, 3, 40.0), (SHEAR, 3, -2.0)]
    assert best.feasible == 3 and not best.ranked and "No limits" in best.notes[0]


def test_what_has_nothing_to_rank_says_so_in_a_sentence():
    alone = best_designs(grid(**{L: [10.0]}), [f"{PEEL} <= 100"])
    assert [found.case for found in alone.ranked] == [1] and alone.notes == (
        "Case 1 alone is feasible: there is no other to compare it with.",
    )
    assert not alone.extremes  # nothing varies
    lost = best_designs(refused(grid(**{L: [10.0, 20.0]}), [1, 2]), [f"{PEEL} <= 100"])
    assert not lost.ranked and not lost.extremes and lost.feasible == 0 and "No case is solved" in lost.notes[0]
    assert best_designs(grid(**{L: [10.0]}).iloc[:0], LIMITS).notes == ("The table has no case.",)


def test_missing_values_and_columns():
    table = grid(**{L: [10.0, 20.0, 30.0]})
    table.loc[3, PEEL] = np.nan
    best = best_designs(table, [f"{PEEL} <= 100"])
    assert [found.case for found in best.ranked] == [2, 1]
    assert best.notes == (f"1 solved case has no value of {PEEL} and so cannot hold peak peel ≤ 100 MPa.",)
    none = best_designs(table, ["spew_MPa <= 3"])
    assert none.feasible == 0 and "No case has a value of spew_MPa" in none.notes[1]
    with pytest.raises(JointError, match="holds texts"):
        best_designs(table, ["status <= 3"])


# ---- loads that are varied -----------------------------------------------

FORCE, MOMENT, SHEAR_FORCE, HEAT = "load.force_N", "load.moment_N_mm", "load.shear_force_N", "load.temperature_change_K"


def under(**loads):
    """Return cases of a joint under some loads; peel, invented, is the sum of their magnitudes."""
    table = pd.DataFrame(loads, index=pd.RangeIndex(1, len(next(iter(loads.values()))) + 1, name="case"))
    table[PEEL] = table.abs().sum(axis=1)
    return table.assign(status="done")


def test_a_varied_force_ranks_by_its_magnitude_then_by_use():
    table = under(**{FORCE: [0.0, 10.0, -30.0, 20.0, 30.0, 50.0, 0.0]})
    table.loc[5, PEEL] = 25.0  # a better joint than that of case 3
    best = best_designs(table, [f"{PEEL} <= 40"])
    assert best.by_force == FORCE and best.feasible == 6  # case 6 breaks the limit
    assert [found.case for found in best.ranked] == [5, 3, 4, 2]
    assert [found.use for found in best.ranked] == [25 / 40, 30 / 40, 20 / 40, 10 / 40]
    assert best.notes == ("2 feasible cases carry no load at all, which says nothing of a design, and so are not ranked.",)
    # Every case carries a load of the joint file besides: none is left out.
    best = best_designs(table, [f"{PEEL} <= 40"], loaded=True)
    assert [found.case for found in best.ranked] == [5, 3, 4, 2, 1, 7] and not best.notes


@pytest.mark.parametrize("other", [MOMENT, SHEAR_FORCE, HEAT])
def test_other_loads_leave_the_ranking_by_use_and_count_as_loads(other):
    best = best_designs(under(**{other: [30.0, 0.0, -10.0]}), [f"{PEEL} <= 40"])
    assert not best.by_force and [found.case for found in best.ranked] == [3, 1]
    assert best.notes == ("1 feasible case carries no load at all, which says nothing of a design, and so is not ranked.",)
    # Without force, but not without load.
    best = best_designs(under(**{FORCE: [0.0, 0.0, 20.0], other: [0.0, 5.0, 0.0]}), [f"{PEEL} <= 40"])
    assert best.by_force == FORCE and [found.case for found in best.ranked] == [3, 2]


def test_a_force_that_is_the_same_in_all_cases_changes_nothing():
    best = best_designs(under(**{FORCE: [20.0] * 3, MOMENT: [3.0, 0.0, 1.0]}), [f"{PEEL} <= 40"])
    assert not best.by_force and not best.notes and [found.case for found in best.ranked] == [2, 3, 1]


def test_only_cases_without_load_are_no_ranking():
    best = best_designs(under(**{FORCE: [0.0, 90.0]}), [f"{PEEL} <= 40"])
    assert best.feasible == 1 and not best.ranked and best.notes[-1].endswith("There is no other to rank.")
    # None is feasible: the nearest is one that carries a load.
    table = under(**{FORCE: [0.0, 90.0, 80.0]})
    table.loc[1, PEEL] = 50.0  # by a column of one's own, say
    best = best_designs(table, [f"{PEEL} <= 40"])
    assert [found.case for found in best.ranked] == [3] and "1 solved case carries no load" in best.notes[-1]
