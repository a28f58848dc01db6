"""Newton's method on small strips: how fast it comes to rest, what it costs, how it passes a limit load, how it gives up.

The strips are made here, without gmsh, and tied so that a test says what moves; wanted values are by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.sparse as sp
from skfem import MeshQuad

from benchmarks.nonlinear import Tied
from fejoint.errors import ConvergenceError
from fejoint.joint.conditions import Environment
from fejoint.joint.materials import Adhesive
from fejoint.joint.yielding import Hardening, Yielding
from fejoint.mechanics import newton
from fejoint.mechanics.behaviour import Behaviour
from fejoint.mechanics.body import Body
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.frames import FRAMES
from fejoint.mechanics.newton import Loading, Problem, State, equilibrium
from fejoint.mechanics.section import Section

E, NU = 2000.0, 0.35  # round figures of the order of an epoxy's, no material's data
GLUE = Adhesive(elastic_modulus=E, poisson_ratio=NU, expansion=60e-6)
HARDENING = Yielding(20.0, Hardening(rise=12.0, rate=60.0, slope=30.0))
PERFECT = Yielding(20.0)
NOW = Environment()


def strip(cells, size, angle=0.0):
    """Return the discretisation of a strip along x, its middle line on y = 0, turned by an angle; and places along it."""
    mesh = MeshQuad.init_tensor(np.linspace(0, size[0], cells[0] + 1), np.linspace(-size[1] / 2, size[1] / 2, cells[1] + 1))
    c, s = np.cos(angle), np.sin(angle)
    turned = MeshQuad(np.array([[c, -s], [s, c]]) @ mesh.p, mesh.t).with_subdomains({"adhesive": np.arange(cells[0] * cells[1])})
    d = discretise(Section(turned, 1.0))
    return d, d.points @ np.array([[c, -s], [s, c]])


def tied(d, driven, held):
    """Return the ties that move along the columns `driven`, hold some components and leave the others."""
    driven = np.column_stack(driven)
    free = np.setdiff1d(np.flatnonzero(~driven.any(axis=1)), held)
    pick = sp.coo_array((np.ones(len(free)), (free, np.arange(len(free)))), shape=(len(driven), len(free)))
    return Tied(d, sp.csr_array(sp.hstack([sp.csr_array(driven), pick])))


def one(d, *components):
    """Return a column that moves these components alike."""
    column = np.zeros(2 * len(d.points))
    column[np.concatenate(components)] = 1.0
    return column


def problem_of(ties, frame, yielding=None, **how):
    return Problem(Body(ties.discretisation, {"adhesive": Behaviour(GLUE, FRAMES[frame], yielding)}), ties, **how)


def at_load(problem, share, start=None, travel=None, guess=None):
    return equilibrium(problem, start or State.virgin(problem), Loading({}, {"axial": 1.0}, NOW, share, travel), guess)


def cantilever(length=5.0, cells=(4, 1)):
    """Return the ties of a strip held on the left that bears its load in the middle of its right edge."""
    d, at = strip(cells, (length, 1.0))
    left, right = np.flatnonzero(at[:, 0] < 1e-9), np.flatnonzero((at[:, 0] > length - 1e-9) & (np.abs(at[:, 1]) < 1e-9))
    return tied(d, [one(d, 2 * right + 1)], np.concatenate([2 * left, 2 * left + 1]))


RISE = 1.0


def arch():
    """Return half a shallow two-bar arch under a load on its apex, which is on the left and moves along y alone.

    The foot on the right turns where it is. The bar is straight, ten times as long as the arch is high and far from buckling.
    """
    length = np.hypot(10.0, RISE)
    d, at = strip((8, 2), (length, 2.0), -np.arctan(RISE / 10))
    on_line = np.abs(at[:, 1]) < 1e-9
    left, right = np.flatnonzero(on_line & (at[:, 0] < 1e-9)), np.flatnonzero(on_line & (at[:, 0] > length - 1e-9))
    ties = tied(d, [-one(d, 2 * left + 1)], np.concatenate([2 * left, 2 * right, 2 * right + 1]))
    return problem_of(ties, "green_lagrange")


def sheared_block():
    """Return the ties of a block on a fixed bottom whose top is moved along as a whole: no state is uniform in it."""
    d, at = strip((4, 3), (3.0, 1.0))
    low, high = np.flatnonzero(at[:, 1] < -0.5 + 1e-9), np.flatnonzero(at[:, 1] > 0.5 - 1e-9)
    return tied(d, [one(d, 2 * high)], np.concatenate([2 * low, 2 * low + 1]))


def stretched_bar(cells=1):
    """Return the ties of a bar that stays uniform, pulled along x and free across."""
    d, _ = strip((cells, cells), (1.0, 1.0))
    columns = [(d.points @ np.array(g, dtype=float).T).ravel() for g in ([[1, 0], [0, 0]], [[0, 0], [0, 1]])]
    return Tied(d, sp.csr_array(np.column_stack(columns)))


# ---- rate and cost ----------------------------------------------------------------------------------------------------


def order_of(residuals):
    """Return by which power the residual falls, from its last three values above what round-off leaves."""
    kept = [r for r in residuals if r > 1e-11][-3:]
    return np.log(kept[2] / kept[1]) / np.log(kept[1] / kept[0])


def plastic_case():
    """Return a block that flows and is to flow on: no point starts or stops to yield in its next increment."""
    problem = problem_of(sheared_block(), "logarithmic", HARDENING, symmetric=True)
    state = State.virgin(problem)
    for load in (36.0, 50.0, 54.0):
        state = at_load(problem, load, state).state
    return problem, state, 56.0


def turning_case():
    """Return a strip that is bent far and is to be bent farther."""
    problem = problem_of(cantilever(), "green_lagrange", symmetric=True)
    return problem, at_load(problem, -6.0, at_load(problem, -3.0).state).state, -8.0


CASES = pytest.mark.parametrize("case", [plastic_case, turning_case])


@CASES
def test_residual_falls_by_its_square(case, monkeypatch):
    """The order of the last three residuals is 2, above 1.7 as far from the root they still are; 1 with a tangent 5 % too stiff.

    A linear rate is what any error in the tangent leaves, so that the second half shows that the first would see one.
    """
    problem, state, load = case()
    monkeypatch.setattr(newton, "TOLERANCE", 1e-12)
    assert order_of(at_load(problem, load, state).residuals) > 1.7
    monkeypatch.setattr(newton, "TOLERANCE", 1e-8)
    evaluate = Body.evaluate

    def stiffer(self, *args):
        now = evaluate(self, *args)
        return replace(now, stiffness_ec=1.05 * now.stiffness_ec)

    monkeypatch.setattr(Body, "evaluate", stiffer)
    assert order_of(at_load(problem, load, state).residuals) == pytest.approx(1.0, abs=0.3)


def counted(monkeypatch):
    """Return a list that grows with every factorisation, and one that grows with every evaluation."""
    factorised, evaluated = [], []
    factorise, evaluate = newton.factorise_any, Body.evaluate
    monkeypatch.setattr(newton, "factorise_any", lambda *args: factorised.append(1) or factorise(*args))
    monkeypatch.setattr(Body, "evaluate", lambda *args: evaluated.append(1) or evaluate(*args))
    return factorised, evaluated


@pytest.mark.parametrize("travel", [None, 0.01])
def test_one_factorisation_and_one_evaluation_an_iteration(travel, monkeypatch):
    """Width strain and load as unknowns cost no factorisation more; where no step is shortened, no evaluation either."""
    problem = problem_of(sheared_block(), "small", HARDENING, generalised=True, symmetric=True)
    factorised, evaluated = counted(monkeypatch)
    found = at_load(problem, 30.0, travel=travel)
    assert found.iterations > 0
    assert len(factorised) == found.iterations
    assert len(evaluated) == found.iterations + 1


def test_steps_that_go_too_far_are_shortened(monkeypatch):
    """An arch under five times its limit load in one increment: soft where it is flat, it is thrown too far, and comes to rest.

    On the branch behind its mirror image: the load there, found by travel, is the same, to 1e-6 (what Newton's method leaves).
    """
    problem = arch()
    _, evaluated = counted(monkeypatch)
    found = at_load(problem, 3.0)
    assert len(evaluated) > found.iterations + 1
    assert found.state.unknowns[0] > 2 * RISE
    state, load = State.virgin(problem), 0.0
    for _ in range(10):
        rest = at_load(problem, load, state, travel=found.state.unknowns[0] / 10)
        state, load = rest.state, rest.share
    assert load == pytest.approx(3.0, rel=1e-6)


# ---- the unknowns beside the section's --------------------------------------------------------------------------------


@pytest.mark.parametrize(("frame", "yielding"), [("small", None), ("green_lagrange", None), ("logarithmic", HARDENING)])
def test_width_strain_leaves_no_force_across(frame, yielding):
    """Net force across the width below 1e-8 of the force that holds the width under the same load in plane strain."""
    free, held = (problem_of(sheared_block(), frame, yielding, generalised=on) for on in (True, False))
    environment = Environment(60.0)
    found, other = (equilibrium(p, State.virgin(p), Loading({}, {"axial": 1.0}, environment, 40.0)) for p in (free, held))

    def across(problem, rest):
        u = np.asarray(problem.pattern.transform @ rest.state.unknowns).reshape(-1, 2)
        start = State.virgin(problem).history
        return problem.body.evaluate(u, rest.state.width, start, environment, False, True).across

    assert found.state.width > 1e-3  # warm: it swells across
    assert other.state.width == 0
    assert abs(across(free, found)) < 1e-8 * abs(across(held, other))


def test_travel_passes_the_limit_load_of_a_shallow_arch():
    """Half a two-bar arch pressed flat and through: no load where the bar is level, none in its mirror image; between, a limit.

    The load's point goes to 2 h in steps of h / 4. At h the bar is straight and level, at 2 h it is turned and free
    of stress: loads of zero to 1e-6 of the largest, what Newton's method leaves. It rises to a limit before h and the same
    loads come back with the other sign behind: a mirror image with every force turned round, 1e-6 again.
    """
    problem = arch()
    state, load, loads = State.virgin(problem), 0.0, []
    for _ in range(8):
        rest = at_load(problem, load, state, travel=RISE / 4)
        state, load = rest.state, rest.share
        loads.append(load)
    largest = max(loads)
    assert state.unknowns[0] == pytest.approx(2 * RISE, abs=1e-6)
    assert loads.index(largest) in (0, 1)
    assert abs(loads[3]) < 1e-6 * largest
    assert abs(loads[7]) < 1e-6 * largest
    assert loads[:3] == pytest.approx([-force for force in loads[6:3:-1]], rel=1e-6)


def test_a_bar_that_flows_falls_below_its_limit_by_travel_alone():
    """Perfectly plastic, pulled: the load over the undeformed area is the Kirchhoff stress, 20, over the stretch, and falls.

    Travel follows it, to 1e-6 (what Newton's method leaves). No load above the limit has a state of rest: at a given load
    Newton's method says so.
    """
    problem = problem_of(stretched_bar(), "logarithmic", PERFECT, generalised=True)
    state, load, loads = State.virgin(problem), 0.0, []
    strain = np.linspace(0.005, 0.1, 20)
    for place in strain:
        before = state.unknowns
        guess = before + np.array([1.0, -NU if place < 0.01 else -0.5]) * (place - before[0])
        rest = at_load(problem, load, state, place - before[0], guess)
        state, load = rest.state, rest.share
        loads.append(load)
    flows = strain > 0.011
    assert np.array(loads)[flows] == pytest.approx(20 / (1 + strain[flows]), rel=1e-6)
    assert loads[-1] < 0.93 * max(loads)
    with pytest.raises(ConvergenceError, match="did not come to rest"):
        at_load(problem, 1.05 * max(loads))


# ---- giving up, going back, turning -----------------------------------------------------------------------------------


@pytest.mark.parametrize("large", [False, True], ids=["small", "large"])
def test_a_mechanism_ends_in_one_sentence(large):
    """A strip that nothing holds, and one that hinges on a node: no number that is none, no warning of numpy's."""
    d, at = strip((4, 1), (4.0, 1.0))
    right = np.flatnonzero(at[:, 0] > 4 - 1e-9)
    corner = np.flatnonzero((at[:, 0] < 1e-9) & (at[:, 1] < -0.5 + 1e-9))
    for held in (np.array([], dtype=int), np.concatenate([2 * corner, 2 * corner + 1])):
        problem = problem_of(tied(d, [one(d, 2 * right + 1)], held), "green_lagrange" if large else "small")
        with pytest.raises(ConvergenceError) as caught:
            at_load(problem, 1.0)
        assert str(caught.value).endswith(".")
        assert "\n" not in str(caught.value)
        assert np.isfinite(caught.value.load_factor)


def test_no_load_is_rest():
    """Bent far and let go: an elastic strip is straight again, 1e-6 of where it was; nothing at all asks for no iteration."""
    problem = problem_of(cantilever(), "green_lagrange", symmetric=True)
    bent = at_load(problem, -3.0).state
    assert abs(bent.unknowns[0]) > 0.5
    back = at_load(problem, 0.0, bent)
    assert np.abs(back.state.unknowns).max() < 1e-6 * np.abs(bent.unknowns).max()
    assert at_load(problem, 0.0).iterations == 0


def test_a_yielded_block_let_go_comes_to_rest():
    """A block that has flowed, let go: some of its shear is left, and no plastic strain is taken back."""
    problem, state, _ = plastic_case()
    back = at_load(problem, 0.0, state)
    assert 0.1 < back.state.unknowns[0] / state.unknowns[0] < 1
    before, after = state.history["adhesive"][1], back.state.history["adhesive"][1]
    assert (after >= before).all()


def bent(frame, moment, large, length=20.0):
    """Return the turn of a strip of a height of 1 under a moment on its right face, which stays plane; the left one turns not."""
    d, at = strip((10, 2), (length, 1.0))
    left, right = np.flatnonzero(at[:, 0] < 1e-9), np.flatnonzero(at[:, 0] > length - 1e-9)
    middle = left[np.abs(at[left, 1]) < 1e-9]
    turn = np.zeros(2 * len(at))
    turn[2 * right] = -at[right, 1]
    ties = tied(d, [one(d, 2 * right), turn], np.concatenate([2 * left, 2 * middle + 1]))
    ties = replace(ties, named={"axial": 0, "turn": 1})
    problem = problem_of(ties, frame, large=large)
    found = equilibrium(problem, State.virgin(problem), Loading({}, {"turn": 1.0}, NOW, moment))
    return float(found.state.unknowns[1]), found


def test_a_moment_turns_a_face_by_the_beams_formula():
    """M L / (E' I), E' = E / (1 - nu^2): exact in plane strain, to 1e-9 in one iteration (linear).

    Turned far, by 0.5, the unknown is the sine of that angle. The face may slide in itself, so that its forces lie along x:
    beside the moment they shear it to and fro, which fades within a thickness. That costs the part sin^2 t / L, 1.2 %; a
    moment whose work is on the sine would be off by 1 - cos, 12 %.
    """
    stiffness = E / (1 - NU**2) / 12
    sine, found = bent("small", 0.5 * stiffness / 20.0, False)
    assert found.iterations == 1
    assert sine == pytest.approx(0.5, rel=1e-9)
    sine, found = bent("green_lagrange", 0.5 * stiffness / 20.0, True)
    assert np.arcsin(sine) == pytest.approx(0.5, rel=np.sin(0.5) ** 2 / 20)
