"""What parameters do to a column: held against integrals, hand-made grids and scipy's own estimator."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from scipy import integrate
from scipy.stats import qmc, sobol_indices, uniform

from fejoint.errors import JointError
from fejoint.show.sweeps.effects import effects

A, B, C = "joint.overlap_length_mm", "joint.lower.material", "adhesive.shear_modulus_MPa"


def grid(**levels):
    return pd.DataFrame(list(itertools.product(*levels.values())), columns=list(levels))


def sample(x, names=(A, C, "load.force_N")):
    return pd.DataFrame(dict(zip(names, np.asarray(x).T, strict=False)))


def test_additive_grid_by_hand():
    # y = 2 a + 4 [steel]: variances 4 * 1.25 = 5 of a in 0 to 3, 16 / 4 = 4 of the material, in all 9; exact but for rounding.
    table = grid(**{A: [0.0, 1.0, 2.0, 3.0], B: ["aluminium", "steel"], "joint.flag": [False, True]})
    table["peak_peel_MPa"] = 2 * table[A] + 4 * (table[B] == "steel")
    found = effects(table, "peak_peel_MPa")
    assert list(found.index) == [A, B, "joint.flag"]
    assert found["share"].to_numpy() == pytest.approx([5 / 9, 4 / 9, 0.0], abs=1e-12)
    assert found["effect"].to_numpy() == pytest.approx([6.0, 4.0, 0.0], abs=1e-12)
    assert found["effect_error"].to_numpy() == pytest.approx(0.0)
    assert (found.loc[A, "low"], found.loc[A, "high"]) == (0.0, 3.0)
    assert (found.loc[B, "low"], found.loc[B, "high"]) == ("aluminium", "steel")
    assert (found.loc["joint.flag", "low"], found.loc["joint.flag", "high"]) == (False, True)
    assert found.loc[A, ["mean_at_low", "mean_at_high"]].tolist() == pytest.approx([2.0, 8.0])


def test_what_parameters_only_do_together_is_nobodys():
    # y = a c on {0, 1, 2}^2: E[y | a] = a, variance 2/3; of y (5/3)^2 - 1 = 16/9; so 3/8 each and a quarter for both together.
    table = grid(**{A: [0.0, 1.0, 2.0], C: [0.0, 1.0, 2.0]})
    table["y"] = table[A] * table[C]
    assert effects(table, "y")["share"].to_numpy() == pytest.approx([3 / 8, 3 / 8], abs=1e-12)


def test_steel_first_a_falling_effect_has_its_sign():
    table = grid(**{A: [3.0, 1.0, 2.0], B: ["steel", "aluminium"]})
    table["y"] = -5 * table[A] + (table[B] == "aluminium")
    found = effects(table, "y")
    assert found.loc[A, "effect"] == pytest.approx(-10.0)
    assert (found.loc[B, "low"], found.loc[B, "high"]) == ("steel", "aluminium")  # of texts the lowest mean comes first


def ishigami(x):
    return np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0])


def test_ishigami():
    """T. Ishigami, T. Homma, ISUMA 1990, from memory; its indices by integrals here.

    Tolerance: estimates from n = 1024 points scatter by at most about 1 / sqrt(n) = 0.03, quasi-random ones by less.
    """

    def mean(f):
        return integrate.quad(f, -np.pi, np.pi)[0] / (2 * np.pi)

    s2, s4 = mean(lambda x: np.sin(x) ** 2), mean(lambda x: np.sin(x) ** 4)
    x4, x8 = mean(lambda x: x**4), mean(lambda x: x**8)
    first = (1 + 0.1 * x4) ** 2 * s2
    second = 49 * (s4 - s2**2)
    total = second + (1 + 0.2 * x4 + 0.01 * x8) * s2  # sin(x1) has mean zero
    x = np.pi * (2 * qmc.Sobol(3, seed=3).random(1024) - 1)
    table = sample(x).assign(y=ishigami(x.T))
    found = effects(table, "y")
    assert list(found.index[:2]) == [C, A]
    assert found["share"].reindex([A, C, "load.force_N"]).to_numpy() == pytest.approx(
        [first / total, second / total, 0], abs=0.03
    )


def test_latin_hypercube_against_scipy():
    """scipy.stats.sobol_indices (Saltelli's estimator) with 2^14 points; ours from 800, so 1 / sqrt(800) = 0.035."""

    def f(x):
        return np.exp(-2 * x[0]) * (1 + x[1]) + 0.3 * x[2] ** 2

    reference = sobol_indices(func=f, n=2**14, dists=[uniform()] * 3, rng=np.random.default_rng(1)).first_order
    x = qmc.LatinHypercube(3, seed=5).random(800)
    found = effects(sample(x).assign(y=f(x.T)), "y")
    assert found["share"].reindex([A, C, "load.force_N"]).to_numpy() == pytest.approx(reference, abs=0.035)
    # From end to end, the others averaged: (e^-2 - 1) 3/2. The error stated is its standard error.
    assert abs(found.loc[A, "effect"] - 1.5 * (np.exp(-2) - 1)) < 3 * found.loc[A, "effect_error"] < 0.1


def test_noise_does_not_raise_the_share():
    # y = x + noise of equal variance: half. 200 samples scatter by 0.07 each, their mean by 0.005; three times that.
    # Without the correction it lies 0.5 * 6 knots / 60 cases = 0.05 too high.
    rng = np.random.default_rng(0)
    shares = []
    for _ in range(200):
        x = rng.random((60, 2))
        table = sample(x).assign(y=x[:, 0] * np.sqrt(12) + rng.normal(size=60))
        found = effects(table, "y")["share"]
        assert found.between(0, 1).all()
        shares.append(found[A])
    assert np.mean(shares) == pytest.approx(0.5, abs=0.015)


@pytest.mark.parametrize("n", [12, 24])
@pytest.mark.parametrize("factors", [[3.0], [3.0, 3.0], [3.0, 1.0], [3.0, 1.5, 0.0]])
def test_additive_shares_of_few_samples(n, factors):
    """Without noise the shares are factor^2 / 12 (a text's: 1/4) over their sum, and add up to one but for rounding.

    Tolerance: a value of a Latin hypercube lies anywhere in its n-th, so the variance of n of them scatters about 1/12 by
    2 / sqrt(n) * sqrt(1/12) * 1 / (n sqrt(12)), a relative 2 / n^1.5; a share s by s (1 - s) sqrt(2) times that, at most
    0.71 / n^1.5. Four standard deviations: 0.068 of 12 samples, 0.024 of 24.
    """
    of_steel = 0.5 if len(factors) > 1 else 0.0
    expected = np.array([*np.square(factors) / 12, of_steel**2 / 4])
    order = [A, C, "load.force_N"][: len(factors)]
    for seed in range(10):
        x = qmc.LatinHypercube(len(factors) + 1, rng=seed).random(n)
        steel = x[:, -1] < 0.5
        table = sample(x[:, :-1]).assign(**{B: np.where(steel, "steel", "aluminium")}, y=x[:, :-1] @ factors + of_steel * steel)
        found = effects(table, "y")["share"]
        assert found.sum() == pytest.approx(1.0, abs=1e-9)
        assert found.reindex([*order, B]).to_numpy() == pytest.approx(expected / expected.sum(), abs=0.71 * 4 / n**1.5)


def test_few_samples_are_fitted_by_straight_lines():
    x = qmc.LatinHypercube(3, seed=0).random(8)
    found = effects(sample(x).assign(y=3 * x[:, 0] - x[:, 1]), "y")
    ends = x.max(axis=0) - x.min(axis=0)
    assert found["effect"].reindex([A, C, "load.force_N"]).to_numpy() == pytest.approx([3 * ends[0], -ends[1], 0.0], abs=1e-9)


def test_missing_cases_do_not_mix_the_effects():
    """Where the largest values have no result, plain means over the rest would say another effect; an additive y is known."""
    table = grid(**{A: [10.0, 20.0, 30.0, 40.0], C: [1.0, 2.0, 3.0]})
    table["y"] = 2 * table[A] + 5 * table[C] ** 2
    whole = effects(table, "y")
    table.loc[table["y"] > 95, "y"] = np.nan
    assert table["y"].isna().sum() == 3
    plain = table.groupby(A)["y"].mean()
    assert abs(plain.iloc[-1] - plain.iloc[0] - 60) > 10
    found = effects(table, "y")
    assert found["effect"].to_numpy() == pytest.approx(whole["effect"].reindex(found.index).to_numpy(), rel=1e-9)


def test_parameters_that_move_together_are_one_row():
    table = grid(**{A: [1.0, 2.0, 3.0], B: ["aluminium", "steel"]})
    table["joint.upper.thickness_mm"] = 10 - table[A] ** 2
    table["joint.upper.material"] = table[B]
    table["load.force_N"] = 5.0  # does not vary
    table["y"] = table[A]
    found = effects(table, "y")
    assert list(found.index) == [f"{A} + joint.upper.thickness_mm", f"{B} + joint.upper.material"]
    assert found["share"].to_numpy() == pytest.approx([1.0, 0.0], abs=1e-12)
    # In a sample no value comes twice, so that any two columns go one to one: only rising together counts.
    x = qmc.LatinHypercube(2, seed=2).random(40)
    table = sample(np.column_stack([x, -x[:, 0]])).assign(y=x[:, 1])
    assert set(effects(table, "y").index) == {f"{A} + load.force_N", C}
    # One that goes with another, but not back, is a row of its own.
    table = grid(**{A: [1.0, 2.0, 3.0], C: [1.0, 2.0]})
    table[B] = np.where(table[A] == 1, "aluminium", "steel")
    for order in ([A, B, C], [B, A, C]):
        assert set(effects(table[order].assign(y=table[C]), "y").index) == {A, B, C}
    # A key that some cases lack goes with another one that the same cases lack.
    table = grid(**{A: [np.nan, 1.0, 2.0], C: [1.0, 2.0]})
    table["joint.upper.thickness_mm"] = 3 * table[A]
    found = effects(table.assign(y=table[C]), "y")
    assert list(found.index) == [C, f"{A} + joint.upper.thickness_mm"]
    assert {found["low"].iloc[1], found["high"].iloc[1]} < {"nan", "1.0", "2.0"}


def test_a_parameter_with_results_at_one_value_alone():
    table = grid(**{A: [1.0, 2.0, 3.0], C: [1.0, 2.0]})
    table["y"] = np.where(table[C] == 1, table[A], np.nan)
    found = effects(table, "y")
    assert found.loc[A, "share"] == pytest.approx(1.0)
    assert np.isnan(found.loc[C, "effect"])
    assert np.isnan(found.loc[C, "share"])
    assert list(found.index) == [A, C]


def test_a_column_that_does_not_vary():
    table = grid(**{A: [1.0, 2.0], C: [1.0, 2.0]}).assign(y=0.1)
    found = effects(table, "y")
    assert (found["effect"] == 0).all()
    assert (found["share"] == 0).all()


@pytest.mark.parametrize(
    ("change", "column", "text"),
    [
        (lambda t: t, "pek", "did you mean peak"),
        (lambda t: t, B, "texts"),
        (lambda t: t.iloc[:1], "peak", "no parameter varies"),
        (lambda t: t.assign(peak=np.nan), "peak", "0 of 6 cases have a value"),
        (lambda t: t.assign(peak=[1.0, *[np.nan] * 5]), "peak", "1 of 6 cases"),
        (lambda t: t.iloc[[0, 3, 4]], "peak", "3 cases with a value are too few for 2 parameters; at least 5"),
        (lambda t: t.assign(peak=[1.0, *[np.nan] * 2, 2.0, np.nan, 3.0]), "peak", "too few"),
        (lambda t: pd.concat([t.assign(peak=[1.0, *[np.nan] * 2, 2.0, np.nan, 3.0])] * 2), "peak", "apart"),
    ],
)
def test_what_cannot_be_told_is_one_sentence(change, column, text):
    table = grid(**{A: [1.0, 2.0, 3.0], B: ["aluminium", "steel"]}).assign(peak=1.0)
    with pytest.raises(JointError, match=text) as error:
        effects(change(table), column)
    assert "\n" not in str(error.value)
