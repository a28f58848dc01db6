"""Limits on columns of a sweep, and what columns are called."""

import numpy as np
import pandas as pd
import pytest
from chart_parts import PEEL, G, L, M, T, with_refused

from fejoint.errors import JointError
from fejoint.show.sweeps.limits import Limit, column_label


@pytest.fixture
def table():
    return with_refused()


@pytest.mark.parametrize(
    ("name", "label"),
    [
        (L, "overlap length (mm)"),
        (G, "adhesive shear modulus (MPa)"),
        (PEEL, "peak peel (MPa)"),
        (T, "lower thickness (mm)"),
        (M, "lower material"),
        ("joint.lower.material.elastic_modulus_MPa", "lower elastic modulus (MPa)"),
        ("load.moment_N_mm", "moment (N mm)"),
        ("adhesive.thermal_expansion_per_K", "adhesive thermal expansion (1/K)"),
        ("peak_shear_MPa.x_mm", "x of peak shear (mm)"),
        ("adherend_peak_MPa.lower", "adherend peak lower (MPa)"),
        ("theories.Volkersen.peak_shear_MPa", "Volkersen peak shear (MPa)"),
        ("edge_moment_factor", "edge moment factor"),
        (f"{T} + joint.upper.thickness_mm", "lower thickness + upper thickness (mm)"),
        (f"{M} + {G}", "lower material + adhesive shear modulus (MPa)"),
    ],
)
def test_names_that_people_read(name, label):
    assert column_label(name) == label


def test_limits_are_read_and_held(table):
    limit = Limit.parse(" peak_peel_MPa<=2e1 ")
    assert (limit.column, limit.sense, limit.value) == (PEEL, "<=", 20.0)
    assert str(limit) == "peak_peel_MPa <= 20"
    assert limit.label == "peak peel ≤ 20 MPa"
    assert Limit.parse(str(limit)) == limit
    assert Limit.parse("a <= 20").holds(pd.DataFrame({"a": [19.0, 20.0, 21.0, np.nan]})).tolist() == [True, True, False, False]
    assert Limit.parse("a >= -20").holds(pd.DataFrame({"a": [-19.0, -20.0, -21.0, np.nan]})).tolist() == [
        True,
        True,
        False,
        False,
    ]
    assert Limit.parse("a >= 1").holds(pd.DataFrame({"a": [None, 1.0]})).tolist() == [False, True]
    np.testing.assert_array_equal(Limit.parse(f"{PEEL} <= 40").holds(table), table[PEEL] <= 40)
    with pytest.raises(JointError, match="no column 'peak_pel_MPa'; did you mean peak_peel_MPa"):
        Limit.parse("peak_pel_MPa <= 3").holds(table)
    with pytest.raises(JointError, match="texts"):
        Limit.parse("status <= 3").holds(table)


@pytest.mark.parametrize("text", ["a < 3", "a <= b", "a <=", "<= 3", "1 <= a <= 3", "a == 3", "a <= nan", "a <= 3 MPa", "", 3])
def test_other_forms_of_a_limit_are_refused(text):
    with pytest.raises(JointError, match="a column, <= or >=, and a number") as error:
        Limit.parse(text)
    assert repr(text) in str(error.value)
