"""Shear lag with an adhesive that yields, against its differential equation, and what any such solution must obey."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_bvp

from fejoint import TheoryError
from fejoint.bondline.closed_form import shear_lag as elastic_shear_lag
from fejoint.bondline.closed_form import volkersen
from fejoint.bondline.closed_form.elastic_plastic import (
    NEARLY,
    Overlap,
    YieldingLayer,
    at_load,
    capacity,
    net_section_load,
    shear_lag,
)

DUCTILE = YieldingLayer(1000, 0.15, 35, 0.435)
BRITTLE = YieldingLayer(1000, 0.2, 30, 0.1)
ENDLESS = YieldingLayer(1000, 0.2, 1e5, 200.0)  # never yields

PLAIN = Overlap((30.0,), (112e3,), (112e3,))
UNLIKE = Overlap((40.0,), (200e3,), (112e3,), 1e-3)
STAIR = Overlap((10.0, 10.0, 10.0), (210e3, 140e3, 70e3), (70e3, 140e3, 210e3))
COOLED_STAIR = Overlap((12.0, 8.0, 15.0), (250e3, 120e3, 60e3), (100e3, 200e3, 320e3), -1.5e-3)

# overlap, layer, share of the load at which all yields
CASES = {
    "elastic": (PLAIN, BRITTLE, 0.2),
    "both ends yield": (PLAIN, BRITTLE, 0.8),
    "one end yields": (UNLIKE, BRITTLE, 0.35),
    "unlike ends yield": (UNLIKE, DUCTILE, 0.6),
    "mismatch yields both ways": (Overlap((60.0,), (200e3,), (112e3,), 5e-3), DUCTILE, 0.0),
    "mismatch over load": (UNLIKE, BRITTLE, 0.05),
    "compressed": (UNLIKE, BRITTLE, -0.5),
    "nearly all yields": (PLAIN, DUCTILE, 0.98),
    "stair": (STAIR, BRITTLE, 0.93),
    "cooled stair": (COOLED_STAIR, BRITTLE, 0.6),
    # Newton's method alone goes to and fro here: load and mismatch have to be raised by degrees.
    "yields to and fro": (
        Overlap((41.0, 16.0), (199e3, 193e3), (51e3, 374e3), -0.015),
        YieldingLayer(1000, 0.1, 20, 1.0),
        0.4,
    ),
}


def load_of(case) -> float:
    overlap, layer, share = case
    return share * layer.yield_stress * overlap.length


def numerically(case):
    """Return shear strain over that at yield from d' = (P - N)/S2 + e - N/S1, N' = -tau(d), all treads on 0 to 1 at once."""
    overlap, layer, _ = case
    load, n = load_of(case), len(overlap.lengths)
    unit, force = layer.elastic_strain * layer.thickness, layer.yield_stress * overlap.length

    def slopes(s, y):
        rows = []
        for i in range(n):
            carried = force * y[2 * i + 1]
            stretch = (load - carried) / overlap.upper[i] + overlap.mismatch - carried / overlap.lower[i]
            rows += [overlap.lengths[i] * stretch / unit, -overlap.lengths[i] * np.clip(y[2 * i], -1, 1) / overlap.length]
        return np.vstack(rows)

    def ends(a, b):
        joined = [v for i in range(n - 1) for v in (b[2 * i] - a[2 * i + 2], b[2 * i + 1] - a[2 * i + 3])]
        return np.array([a[1] - load / force, b[2 * n - 1], *joined])

    s = np.linspace(0, 1, 801)
    found = solve_bvp(slopes, ends, s, np.zeros((2 * n, s.size)), tol=1e-7, max_nodes=100_000)
    assert found.success
    return found


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_solves_the_differential_equation(case):
    """Collocation to a residual of 1e-7 gives the strain on every tread.

    The law has a kink, in whose cell collocation falls to first order, while
    the mesh is refined there; when nearly all yields the slip hangs on the
    little that does not, 50 times the residual: 1e-4 of the largest.
    """
    overlap, layer, _ = case
    found, theory = numerically(case), shear_lag(overlap, layer, load_of(case))
    s, starts = np.linspace(0, 1, 201), np.cumsum([0, *overlap.lengths])
    largest = np.abs(theory.slip).max()
    for i, length in enumerate(overlap.lengths):
        expected = found.sol(s)[2 * i]
        here = theory.strain(starts[i] + length * s) / layer.elastic_strain
        assert np.abs(here - expected).max() <= 1e-4 * largest
        # The kink in the slope of N where treads meet is not in the slip itself, so both sides agree there.
        carried = layer.yield_stress * overlap.length * found.sol([0.0, 1.0])[2 * i + 1]
        assert theory.lower_loads()[i] == pytest.approx(carried[0], abs=1e-5 * layer.yield_stress * overlap.length)
        assert theory.lower_loads()[i + 1] == pytest.approx(carried[1], abs=1e-5 * layer.yield_stress * overlap.length)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_least_and_largest_loads(case):
    """The lower adherend's load on every tread, by collocation at 20 001 places, to 1e-5 of the load at which all yields.

    That as at the ends of treads. Between two of the places a turn of N, where tau is nil, is lost to the
    second order of their distance, 1e-9 of that load.
    """
    overlap, layer, _ = case
    found, scale = numerically(case), layer.yield_stress * overlap.length
    carried = scale * found.sol(np.linspace(0, 1, 20_001))[1::2]
    least, largest = shear_lag(overlap, layer, load_of(case)).load_range()
    assert least == pytest.approx(carried.min(axis=1), abs=1e-5 * scale)
    assert largest == pytest.approx(carried.max(axis=1), abs=1e-5 * scale)


@pytest.mark.parametrize("name", ["mismatch yields both ways", "mismatch over load"])
def test_mismatch_loads_the_adherends_inside_a_tread(name):
    """The cases decide: a load inside a tread lies beyond those at its ends by more than a tenth of the largest."""
    found = shear_lag(CASES[name][0], CASES[name][1], load_of(CASES[name]))
    least, largest = found.load_range()
    ends = np.stack([found.lower_loads()[:-1], found.lower_loads()[1:]])
    beyond = np.maximum(largest - ends.max(axis=0), ends.min(axis=0) - least)
    assert beyond.max() > 0.1 * np.maximum(np.abs(least), np.abs(largest)).max()


@pytest.mark.parametrize("mismatch", [-1.5e-3, 1.5e-3])
def test_net_section_inside_an_elastic_tread(mismatch):
    """Metal that gives way inside a tread, by N'' = w^2 (N - N0), N = P at the left, 0 at the right: largest by 200 001 places.

    Places lose the largest to the second order of their distance: 1e-9; the
    root is found to 1e-10 of the 4e6 N/mm at which all yields, 4e-6 of some 100: 1e-5.
    """
    s1, s2, length, limit = 112e3, 160e3, 40.0, 90.0
    w = math.sqrt(1000 / 0.2 * (1 / s1 + 1 / s2))
    x = np.linspace(0, length, 200_001)
    thickness = (1.6, 1.6)
    found = net_section_load(
        Overlap((length,), (s1,), (s2,), mismatch), ENDLESS, (thickness[0],), (thickness[1],), (limit, limit)
    )
    # The adherend that the mismatch pulls reaches its limit inside; the one that it presses, where it is loaded.
    pulled = 0 if mismatch > 0 else 1
    load = found[pulled]
    rest = (load / s2 + mismatch) / (1 / s1 + 1 / s2)
    carried = rest + ((load - rest) * np.sinh(w * (length - x)) - rest * np.sinh(w * x)) / np.sinh(w * length)
    stress = (carried if pulled == 0 else load - carried) / thickness[pulled]
    assert 0 < load < 0.95 * limit * thickness[pulled]
    assert 0 < np.argmax(np.abs(stress)) < x.size - 1
    assert np.abs(stress).max() == pytest.approx(limit, rel=1e-5)
    assert found[1 - pulled] == pytest.approx(limit * thickness[1 - pulled], rel=1e-5)


def test_net_section_does_not_hang_on_how_treads_are_cut():
    """A yielding, cooled tread cut into 200 without a step between, whose ends then come near every place: the same loads.

    A turn of N between two ends is lost to the second order of a piece of 1/200, (pi/200)^2 / 8: 3e-5 of the largest; so 1e-4.
    """
    whole = Overlap((60.0,), (200e3,), (112e3,), 2e-3)
    cut = Overlap((0.3,) * 200, (200e3,) * 200, (112e3,) * 200, 2e-3)
    limits = (60.0, 60.0)
    once = net_section_load(whole, DUCTILE, (2.8,), (1.6,), limits)
    assert once == pytest.approx(net_section_load(cut, DUCTILE, (2.8,) * 200, (1.6,) * 200, limits), rel=1e-4)
    assert 0 < once[0] < 0.95 * 60 * 2.8


def test_net_section_at_no_load_and_beyond_the_layer():
    """Mismatch that alone reaches the limit leaves nothing; one that all of the layer yielding does not reach is infinite."""
    overlap = Overlap((60.0,), (200e3,), (112e3,), 2e-3)
    rest = 2e-3 / (1 / 200e3 + 1 / 112e3) / 2.8  # far from the ends both stretch alike
    assert net_section_load(overlap, DUCTILE, (2.8,), (1.6,), (0.99 * rest, float("inf"))) == (0.0, float("inf"))
    little, endless = net_section_load(overlap, DUCTILE, (2.8,), (1.6,), (1.01 * rest, 2000.0))
    assert 0 < little < 0.1 * 1.01 * rest * 2.8
    assert endless == float("inf")


def test_cases_yield_as_they_are_called():
    """What the cases are there for: none, both, one, and both ways."""

    def kinds(name):
        overlap, layer, _ = CASES[name]
        return [int(y) for y in shear_lag(overlap, layer, load_of(CASES[name])).yields]

    assert kinds("elastic") == [0]
    assert kinds("both ends yield") == [1, 0, 1]
    assert kinds("one end yields") == [0, 1]
    assert kinds("mismatch yields both ways") == [-1, 0, 1]
    assert kinds("compressed") == [-1, 0, -1]
    assert len(kinds("stair")) > 6


@pytest.mark.parametrize("mismatch", [0.0, 1.1e-3])
def test_one_elastic_tread_is_volkersen(mismatch):
    """A layer that never yields: Volkersen's shear, to round-off."""
    overlap = Overlap((25.0,), (210e3,), (105e3,), mismatch)
    x = np.linspace(0, 25, 101)
    expected = volkersen.shear_stress(x - 12.5, 200, 25, (210e3, 105e3), 1000, 0.2, mismatch)
    assert np.abs(shear_lag(overlap, ENDLESS, 200.0).shear(x) - expected).max() <= 1e-11 * np.abs(expected).max()


def test_worked_case_of_steps():
    """S1, derived for this project: steps of 10 mm, 3 on 1, 2 on 2, 1 on 3 mm aluminium, G 1000, t_a 0.2, 300 N/mm.

    Shear at the joints of steps 24.199652, 12.619487, 12.619487; loads passed
    on 108.88358, 82.232834, 108.88358; eight digits given.
    """
    found = shear_lag(STAIR, ENDLESS, 300.0)
    assert found.shear(np.array([0.0, 10.0, 20.0, 30.0])) == pytest.approx([24.199652, 12.619487, 12.619487, 24.199652], rel=5e-8)
    assert -np.diff(found.lower_loads()) == pytest.approx([108.88358, 82.232834, 108.88358], rel=5e-8)


def test_elastic_steps_are_shear_lag():
    """Unlike steps with mismatch, elastic: the module for elastic treads, another solution of the same equations."""
    found = shear_lag(COOLED_STAIR, ENDLESS, 200.0)
    o = COOLED_STAIR
    k = ENDLESS.shear_modulus / ENDLESS.thickness
    coefficients = elastic_shear_lag.step_coefficients(o.lengths, o.lower, o.upper, k, 200.0, o.mismatch)
    start = 0.0
    for i, length in enumerate(o.lengths):
        x = np.linspace(0, length, 51)
        expected = elastic_shear_lag.step_shear(x, length, (o.lower[i], o.upper[i]), k, coefficients[i])
        # The last point of a tread belongs to the next in `shear`; the stress is the same there.
        assert found.shear(start + x) == pytest.approx(expected, rel=1e-9, abs=1e-9)
        start += length


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_passes_the_load_on(case):
    """The integral of the shear stress over every tread is the load it passes on, and over all the load, to round-off.

    Gauss with 40 points on every stretch, where the stress is smooth.
    """
    overlap, layer, _ = case
    found = shear_lag(overlap, layer, load_of(case))
    place, weight = np.polynomial.legendre.leggauss(40)
    passed = np.zeros(len(overlap.lengths))
    for i, tread in enumerate(found.tread):
        a, b = found.x[i], found.x[i + 1]
        passed[tread] += (b - a) / 2 * (weight @ found.shear((a + b) / 2 + (b - a) / 2 * place))
    scale = layer.yield_stress * overlap.length
    assert -np.diff(found.lower_loads()) == pytest.approx(passed, abs=1e-9 * scale)
    assert passed.sum() == pytest.approx(load_of(case), abs=1e-9 * scale)
    assert (np.abs(found.shear(np.linspace(0, overlap.length, 999))) <= layer.yield_stress).all()


@given(
    lengths=st.lists(st.floats(1.0, 40.0), min_size=1, max_size=6),
    thickness=st.floats(0.5, 10.0),
    moduli=st.tuples(st.floats(1e4, 2.1e5), st.floats(1e4, 2.1e5)),
    mismatch=st.floats(-4e-3, 4e-3),
    share=st.floats(-0.999, 0.999),
    modulus=st.floats(50.0, 2000.0),
    yield_stress=st.floats(2.0, 50.0),
)
@settings(max_examples=60, deadline=None)
def test_any_stair_balances(lengths, thickness, moduli, mismatch, share, modulus, yield_stress):
    """Any stair, load and mismatch has a solution: it carries the load and yields exactly where the slip says.

    The balance is that of a linear system with stretches down to 1e-9 of the
    length: 1e-6 of the load at which all yields.
    """
    n = len(lengths)
    left = thickness * (1 - np.arange(1, n + 1) / (n + 1))
    overlap = Overlap(tuple(lengths), tuple(moduli[0] * left), tuple(moduli[1] * (thickness - left)), mismatch)
    layer = YieldingLayer(modulus, 0.2, yield_stress, 1.0)
    load = share * yield_stress * overlap.length
    found = shear_lag(overlap, layer, load)
    assert found.lower_loads()[0] == load
    assert found.lower_loads()[-1] == pytest.approx(0, abs=1e-6 * yield_stress * overlap.length)
    middles = (found.x[1:] + found.x[:-1]) / 2
    slip = found.strain(middles) / layer.elastic_strain
    clear = np.abs(np.abs(slip) - 1) > 1e-6
    assert (np.where(np.abs(slip) > 1, np.sign(slip), 0) == found.yields)[clear].all()


@pytest.mark.parametrize("overlap", [PLAIN, UNLIKE, STAIR, COOLED_STAIR], ids=["plain", "unlike", "stair", "cooled stair"])
def test_capacity_is_where_the_strain_reaches_failure(overlap):
    """At the capacity the largest strain is the failure strain, where it says; below it, less; it grows with the load."""
    load, where = capacity(overlap, BRITTLE)
    found = shear_lag(overlap, BRITTLE, load)
    assert found.largest_strain == pytest.approx(BRITTLE.failure_strain, rel=1e-8)
    assert found.strain(np.array(where)) == pytest.approx(np.full(len(where), BRITTLE.failure_strain), rel=1e-5)
    strains = [shear_lag(overlap, BRITTLE, share * load).slip.max() for share in (0, 0.3, 0.6, 0.9, 1.0)]
    assert strains == sorted(strains)


def test_a_short_overlap_yields_all_along():
    """Where the slip varies less than the plastic strain, the load is tau_p times the length: just so at (w l/2)^2 = 2 gp/ge.

    Balanced, plain: the parabola of the slip rises by tau_p l^2 / (8 ...) at its
    ends, L. J. Hart-Smith's condition (CR-112235, from memory).
    """
    w = math.sqrt(1000 / 0.15 * 2 / 112e3)
    limit = 2 / w * math.sqrt(2 * 0.4 / 0.035)
    assert capacity(Overlap((0.999 * limit,), (112e3,), (112e3,)), DUCTILE) == (pytest.approx(35 * 0.999 * limit), ())
    load, where = capacity(Overlap((1.01 * limit,), (112e3,), (112e3,)), DUCTILE)
    assert load < 35 * 1.01 * limit
    assert len(where) == 2


def test_capacity_does_not_jump():
    """Across the length at which all yields, and across the share of it where round-off takes over, it goes on smoothly."""
    limit = 2 / math.sqrt(1000 / 0.15 * 2 / 112e3) * math.sqrt(2 * 0.4 / 0.035)
    lengths = limit * (1 + np.array([-1e-3, -1e-5, 0, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3]))
    loads = np.array([capacity(Overlap((length,), (112e3,), (112e3,)), DUCTILE)[0] for length in lengths])
    # The mean stress never exceeds tau_p, and falls short of it by less than the length exceeds the limit.
    assert (loads <= 35 * lengths * (1 + 1e-9)).all()
    assert (loads >= 35 * np.minimum(lengths, limit) * (1 - 2e-7)).all()


def test_at_load():
    """Below the capacity a solution, at the load at which all yields the last before it, beyond an error; either way round."""
    load, _ = capacity(UNLIKE, BRITTLE)
    assert at_load(UNLIKE, BRITTLE, 0.99 * load).line_load == 0.99 * load
    with pytest.raises(TheoryError, match=r"beyond what the adhesive carries"):
        at_load(UNLIKE, BRITTLE, 1.01 * load)
    # Pushed, the mismatch counts the other way round: the capacity is another one.
    other, _ = capacity(Overlap(UNLIKE.lengths, UNLIKE.lower, UNLIKE.upper, -UNLIKE.mismatch), BRITTLE)
    assert other > 1.02 * load
    assert at_load(UNLIKE, BRITTLE, -0.999 * other).largest_strain < -0.9 * BRITTLE.failure_strain
    with pytest.raises(TheoryError, match=r"beyond what the adhesive carries"):
        at_load(UNLIKE, BRITTLE, -1.001 * other)
    turned = Overlap(UNLIKE.lengths, UNLIKE.lower, UNLIKE.upper, -UNLIKE.mismatch)
    pushed, pulled = at_load(UNLIKE, BRITTLE, -300.0), at_load(turned, BRITTLE, 300.0)
    x = np.linspace(0, 40, 81)
    assert pushed.shear(x) == pytest.approx(-pulled.shear(x), abs=1e-9)
    short = Overlap((5.0,), (112e3,), (112e3,))
    assert at_load(short, DUCTILE, 35 * 5.0).line_load == pytest.approx(35 * 5.0 * NEARLY)


def test_mismatch_alone_can_break_it():
    """A mismatch that strains the layer beyond failure without any load is refused."""
    with pytest.raises(TheoryError, match="mismatch alone"):
        capacity(Overlap((60.0,), (200e3,), (112e3,), 0.05), DUCTILE)


def test_more_than_all_of_it_yielding_is_refused():
    with pytest.raises(TheoryError, match="when all of it yields"):
        shear_lag(PLAIN, BRITTLE, 901.0)
