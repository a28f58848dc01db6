"""Whole cells: simple shear and tension by hand, tangents by finite differences, patch tests, and limit loads without locking.

The blocks are made here, without gmsh, and tied so that a test says what moves; frames, return mapping, projection and
Newton's method are the package's own.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from skfem import MeshQuad

from benchmarks.nonlinear import Tied
from fejoint.joint.conditions import Environment
from fejoint.joint.materials import Adhesive, Orthotropic
from fejoint.joint.yielding import Hardening, Yielding
from fejoint.mechanics import body as body_module
from fejoint.mechanics.behaviour import Behaviour
from fejoint.mechanics.body import Body
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.frames import FRAMES
from fejoint.mechanics.linear import cell_dofs
from fejoint.mechanics.newton import Loading, Problem, State, equilibrium
from fejoint.mechanics.section import Section

E, NU = 2000.0, 0.35  # round figures of the order of an epoxy's, no material's data
G = E / (2 * (1 + NU))
GLUE = Adhesive(elastic_modulus=E, poisson_ratio=NU, expansion=60e-6)
PLY = Orthotropic(
    elastic_modulus_x=14_000.0,
    elastic_modulus_y=9_000.0,
    elastic_modulus_z=11_000.0,
    poisson_ratio_xy=0.3,
    poisson_ratio_xz=0.25,
    poisson_ratio_yz=0.35,
    shear_modulus_xy=5_000.0,
)
NOW = Environment()
HARDENING = Hardening(rise=12.0, rate=60.0, slope=30.0)
TABLE = Hardening(plastic_strain=(0.0, 0.01, 0.05), stress=(20.0, 28.0, 31.0))
STIFF = 1e9  # a yield stress that is never reached: elastic, projected

LAWS = {
    "von-mises, perfect": Yielding(20.0),
    "von-mises, saturating": Yielding(20.0, HARDENING),
    "von-mises, table": Yielding(20.0, TABLE),
    "cone, perfect": Yielding(20.0, None, "cone", 1.3, 0.5),
    "cone, saturating": Yielding(20.0, HARDENING, "cone", 1.4, 0.5),
    "paraboloid, perfect": Yielding(20.0, None, "paraboloid", 1.3, 0.5),
    "paraboloid, table": Yielding(20.0, TABLE, "paraboloid", 1.4, 0.5),
}
DILATING = {
    "cone": Yielding(20.0, HARDENING, "cone", 1.3, 0.4),
    "paraboloid": Yielding(20.0, HARDENING, "paraboloid", 1.3, 0.4),
}
FRAME = pytest.mark.parametrize("frame", ["small", "logarithmic"])


def block(cells=2, share=0.25, size=(1.0, 1.0)):
    """Return the discretisation of a rectangle of one region, its inner nodes moved at random by up to `share` of a cell."""
    nx, ny = (cells, cells) if isinstance(cells, int) else cells
    mesh = MeshQuad.init_tensor(np.linspace(0, 1, nx + 1), np.linspace(0, 1, ny + 1))
    points, inner = mesh.p.copy(), mesh.interior_nodes()
    points[:, inner] += np.random.default_rng(nx).uniform(-share, share, (2, len(inner))) / [[nx], [ny]]
    mesh = MeshQuad(points * np.array(size)[:, None], mesh.t).with_subdomains({"adhesive": np.arange(nx * ny)})
    return discretise(Section(mesh, 1.0))


def alike(d, *gradients):
    """Return the ties that let a block deform alike everywhere: by these gradients only."""
    return Tied(d, sp.csr_array(np.column_stack([(d.points @ np.array(g, dtype=float).T).ravel() for g in gradients])))


def held_rim(d, gradient):
    """Return the ties that drive the rim by a gradient and leave what is inside."""
    low, high = d.points.min(axis=0), d.points.max(axis=0)
    on_rim = ((np.abs(d.points - low) < 1e-12) | (np.abs(d.points - high) < 1e-12)).any(axis=1)
    moved = np.where(on_rim[:, None], d.points @ np.array(gradient, dtype=float).T, 0.0).ravel()
    inside = np.flatnonzero(~np.repeat(on_rim, 2))
    pick = sp.coo_array((np.ones(len(inside)), (inside, np.arange(len(inside)))), shape=(len(moved), len(inside)))
    return Tied(d, sp.csr_array(sp.hstack([sp.csr_array(moved[:, None]), pick])))


SHEAR, ALONG, THROUGH = [[0, 1], [0, 0]], [[1, 0], [0, 0]], [[0, 0], [0, 1]]


def driven(yielding, frame, tied, places, generalised=False, material=GLUE):
    """Return problem, states and loads with the first unknown at `places`, one after the other."""
    problem = Problem(Body(tied.discretisation, {"adhesive": Behaviour(material, FRAMES[frame], yielding)}), tied, generalised)
    state, load, found = State.virgin(problem), 0.0, []
    velocity = np.eye(1, len(state.unknowns))[0]
    for place in places:
        before = state.unknowns
        loading = Loading({}, {"axial": 1.0}, NOW, load, place - before[0])
        rest = equilibrium(problem, state, loading, before + (place - before[0]) * velocity)
        velocity = (rest.state.unknowns - before) / (place - before[0])
        state, load = rest.state, rest.share
        found.append((state, load))
    return problem, found


def stresses(problem, state):
    u = np.asarray(problem.pattern.transform @ state.unknowns).reshape(-1, 2)
    return problem.body.stresses("adhesive", u, state.width, state.history, NOW)


def shear_of(yielding, plastic):
    """Return the shear stress of a layer in pure shear by hand, p = 0: q = sqrt(3) tau in the surface's equation."""
    ratio, sigma = yielding.compression_ratio, yielding.stress(plastic)
    if yielding.surface == "cone":
        return 2 * ratio / (ratio + 1) * sigma / np.sqrt(3)
    return np.sqrt(ratio / 3) * sigma


def curve(yielding, strains, isochoric=True):
    """Return tau(gamma) by hand: gamma = tau / G + sqrt(3) ep, ep taken from a fine table.

    With dilation gamma_p is smaller: of the plastic strain, sqrt(1 + 2 nu_p^2) ep in size, a part is volume.
    """
    ep = np.concatenate([[0.0], np.geomspace(1e-7, 1, 20_000)])
    tau = shear_of(yielding, ep)
    nu = yielding.plastic_poisson_ratio
    # The cone flows along q + p tan psi: d gamma_p = sqrt(3) x, d ep = 1.5 / (1 + nu_p) x. The paraboloid, at p = 0, along q.
    per = np.sqrt(3) * (1 + nu) / 1.5 if yielding.surface == "cone" else np.sqrt(3 * (1 + 2 * nu**2) / 1.5)
    gamma = tau / G + per * ep
    return np.where(strains < gamma[0], G * strains, np.interp(strains, gamma, tau))


# ---- simple shear and tension by hand -------------------------------------------------------------------------------

GAMMA = np.concatenate([[0.005, 0.01], np.linspace(0.02, 0.6, 30)])


@pytest.mark.parametrize("yielding", LAWS.values(), ids=LAWS)
@FRAME
def test_simple_shear_follows_the_curve_that_was_put_in(yielding, frame):
    """A distorted block sheared to gamma = 0.6: its shear stress is the input curve's at every increment.

    Tolerance 1 % with large rotation: elastic strains of up to 2 % turn by gamma / 2 at most, and increments of 0.02
    follow the flow's direction to a few 1e-3. Small rotation is exact: 1e-6, what Newton's method leaves. The bondline's
    own stress and the Cauchy stress are the shear force over the area: the block's lower edge never turns.
    """
    gamma = GAMMA[::3] if frame == "small" else GAMMA
    problem, found = driven(yielding, frame, alike(block(), SHEAR), gamma)
    tau = np.array([load for _, load in found])
    assert np.abs(tau / curve(yielding, gamma) - 1).max() < (1e-6 if frame == "small" else 0.01)
    made = stresses(problem, found[-1][0])
    assert np.abs(made.bondline[2] - tau[-1]).max() < 1e-6 * tau[-1]
    assert np.abs(made.cauchy[2] - tau[-1]).max() < 1e-6 * tau[-1]


@pytest.mark.parametrize("yielding", DILATING.values(), ids=DILATING)
@FRAME
def test_free_shear_of_what_dilates(yielding, frame):
    """Flow that makes volume, in a block free to grow: the input curve, with the shear part of the plastic strain.

    To gamma = 0.08. Small rotation: 1e-5 (no pressure but what Newton's method leaves). Large: the stress that yields is the
    Kirchhoff stress, the true one times the change of volume, and the shear of the grown layer adds up as
    d gamma / (1 + growth); 1 % as in simple shear, of which most goes to the true stress gamma tau along x that no
    force per area of the undeformed block leaves: a pressure gamma tau / 3, 0.7 % on the cone.
    """
    gamma = np.linspace(0.005, 0.08, 20)
    problem, found = driven(yielding, frame, alike(block(1), SHEAR, ALONG, THROUGH), gamma, generalised=True)
    tau = np.array([stresses(problem, state).cauchy[2].mean() for state, _ in found])
    sheared = gamma
    if frame == "logarithmic":
        grown = np.array([[state.unknowns[1], state.unknowns[2], state.width] for state, _ in found])
        through = np.append(0.0, grown[:, 1])
        sheared = np.cumsum(np.diff(gamma, prepend=0) / (1 + (through[1:] + through[:-1]) / 2))
        tau = tau * np.prod(1 + grown, axis=1)
    assert np.abs(tau / curve(yielding, sheared) - 1).max() < (1e-5 if frame == "small" else 0.01)
    rest = np.abs(stresses(problem, found[-1][0]).cauchy[[0, 1, 3]]).max()
    assert rest < (1e-5 if frame == "small" else 0.1) * tau[-1]


@pytest.mark.parametrize("yielding", [*LAWS.values(), *DILATING.values()], ids=[*LAWS, *(f"{n}, dilating" for n in DILATING)])
@FRAME
def test_uniaxial_tension_follows_the_curve_that_was_put_in(yielding, frame):
    """A bar pulled by 12 %, free across: stress = curve(strain - stress / E), narrowing by nu and nu_p.

    Small: engineering strain, to 1e-6. Large: logarithmic strain and, of the isochoric, true stress within 1 % (elastic
    change of volume below 0.5 %). The Kirchhoff stress is the curve's times the plastic change of volume by hand,
    exp((1 - 2 nu_p) ep), to 1e-5 (no axis turns, so no increment errs), and so is what is elastic in the strain. The load, over
    an area of one, is the true stress times the narrowed area, to 1e-6: forces and stresses are made in two places.
    """
    strain = np.concatenate([[0.002, 0.006], np.linspace(0.01, 0.12, 12)])
    problem, found = driven(yielding, frame, alike(block(1), THROUGH, ALONG), strain, generalised=True)
    ep = np.array([state.history["adhesive"][1].mean() for state, _ in found])
    true = np.array([stresses(problem, state).cauchy[1].mean() for state, _ in found])
    logged = np.log1p(strain) if frame == "logarithmic" else strain
    across = np.array([[state.unknowns[1], state.width] for state, _ in found])
    if frame == "logarithmic":
        across = np.log1p(across)
    load = np.array([load for _, load in found])
    assert np.abs(load / (true * (np.exp(across.sum(axis=1)) if frame == "logarithmic" else 1.0)) - 1).max() < 1e-6
    kirchhoff = true * (np.exp(logged + across.sum(axis=1)) if frame == "logarithmic" else 1.0)
    grown = np.exp((1 - 2 * yielding.plastic_poisson_ratio) * ep) if frame == "logarithmic" else 1.0
    wanted = np.where(ep > 0, yielding.stress(ep) * grown, E * logged)
    assert np.abs(kirchhoff / wanted - 1).max() < 1e-5
    elastic = kirchhoff / grown / E
    assert np.abs(elastic + ep - logged).max() < 1e-6
    narrowing = NU * elastic + yielding.plastic_poisson_ratio * ep
    if yielding.surface != "paraboloid" or yielding.plastic_poisson_ratio == 0.5:
        assert np.abs(across + narrowing[:, None]).max() < 1e-6
    if yielding.plastic_poisson_ratio == 0.5:
        assert np.abs(true / wanted - 1).max() < 0.01


@pytest.mark.parametrize("name", ["cone, perfect", "paraboloid, perfect"])
def test_uniaxial_compression_reaches_the_compression_ratio(name):
    """Pressed by 8 % the bar bears compression_ratio times its yield stress in tension, to 1e-6 (perfectly plastic)."""
    yielding = LAWS[name]
    problem, found = driven(yielding, "small", alike(block(1), THROUGH, ALONG), np.linspace(-0.005, -0.08, 10), generalised=True)
    pressed = stresses(problem, found[-1][0]).cauchy[1]
    assert np.abs(pressed + yielding.compression_ratio * 20.0).max() < 1e-6 * 20


@pytest.mark.parametrize("name", ["von-mises, saturating", "cone, saturating"])
def test_bondline_stress_does_not_see_a_rotation_on_top(name):
    """A sheared block turned by 35 degrees as a whole: the same stress in the bondline's directions, the same forces turned.

    To 1e-9 of the yield stress: round-off, and what an elastic increment of zero strain leaves.
    """
    problem, found = driven(LAWS[name], "logarithmic", alike(block(), SHEAR), np.linspace(0.02, 0.4, 20))
    state = found[-1][0]
    u = np.asarray(problem.pattern.transform @ state.unknowns).reshape(-1, 2)
    c, s = np.cos(np.radians(35)), np.sin(np.radians(35))
    turn = np.array([[c, -s], [s, c]])
    points = problem.body.discretisation.points
    turned = (points + u) @ turn.T - points
    again = problem.body.evaluate(turned, 0.0, state.history, NOW, False, False)
    still = problem.body.evaluate(u, 0.0, state.history, NOW, False, False)
    assert np.abs(again.internal.reshape(-1, 2) - still.internal.reshape(-1, 2) @ turn.T).max() < 1e-9 * 20
    before, after = (problem.body.stresses("adhesive", at, 0.0, state.history, NOW) for at in (u, turned))
    assert np.abs(before.bondline - after.bondline).max() < 1e-9 * 20
    assert np.abs(before.cauchy[2] - after.cauchy[2]).max() > 1.0  # in the axes of space it does turn


def test_unloaded_layer_keeps_its_plastic_strain():
    """Sheared to 0.3, then let go: back by tau / G, and sqrt(3) ep of shear are left; nothing flows on the way.

    Small rotation exact to 1e-8. Large: 1e-3 of the shear, second order of the elastic strain (2 %); 1 % for ep as above.
    """
    loads, yielding = np.linspace(0.02, 0.3, 15), LAWS["von-mises, saturating"]
    for frame, off in (("small", 1e-8), ("logarithmic", 1e-3)):
        problem, found = driven(yielding, frame, alike(block(1), SHEAR), loads)
        state, tau = found[-1]
        ep = state.history["adhesive"][1].mean()
        back = equilibrium(problem, state, Loading({}, {"axial": 1.0}, NOW, 0.0))
        assert back.state.unknowns[0] == pytest.approx(0.3 - tau / G, rel=off)
        assert back.state.unknowns[0] == pytest.approx(np.sqrt(3) * ep, rel=max(off, 0.01 if frame == "logarithmic" else 0))
        assert np.array_equal(back.state.history["adhesive"][1], state.history["adhesive"][1])


# ---- tangents ---------------------------------------------------------------------------------------------------------

TANGENTS = {
    "small, orthotropic": ("small", None, PLY),
    "green_lagrange, orthotropic": ("green_lagrange", None, PLY),
    "green_lagrange, isotropic": ("green_lagrange", None, GLUE),
    "logarithmic, elastic": ("logarithmic", None, GLUE),
    "small, projected": ("small", Yielding(STIFF), GLUE),
    "logarithmic, projected": ("logarithmic", Yielding(STIFF), GLUE),
    "small, von-mises": ("small", LAWS["von-mises, saturating"], GLUE),
    "logarithmic, von-mises": ("logarithmic", LAWS["von-mises, saturating"], GLUE),
    "small, cone": ("small", DILATING["cone"], GLUE),
    "logarithmic, cone": ("logarithmic", DILATING["cone"], GLUE),
    "small, paraboloid": ("small", DILATING["paraboloid"], GLUE),
    "logarithmic, paraboloid": ("logarithmic", DILATING["paraboloid"], GLUE),
}


def moved_block(frame, yielding, material, size=0.15):
    """Return a body, its random displacements and width strain after an increment of half the size, and the history then."""
    d = block(2)
    body = Body(d, {"adhesive": Behaviour(material, FRAMES[frame], yielding)})
    random = np.random.default_rng(7)
    size = 0.002 if frame == "small" and yielding is None else size
    u = size * random.uniform(-0.5, 0.5, d.points.shape) + d.points @ (size * np.array([[0.5, 2.0], [-0.4, -0.3]]))
    history = body.evaluate(u / 2, size / 8, body.start(), NOW, False, True).history
    return body, u, size / 4, history


@pytest.mark.parametrize("case", TANGENTS.values(), ids=TANGENTS)
def test_tangent_is_the_derivative_of_the_forces(case):
    """Every entry on a distorted block of four cells at random displacements, width strain and history included.

    Central differences over 1e-6: they err by the third derivative times 1e-12, at most 1e4 where strains of 1 % decide
    over plastic flow, and by round-off, 1e-13 / 1e-6 of the forces; so 1e-6 of the largest entry leaves room.
    """
    body, u, width, history = moved_block(*case)
    now = body.evaluate(u, width, history, NOW, True, True)
    dofs, size = cell_dofs(body.discretisation), u.size
    k = np.zeros((size, size))
    np.add.at(k, (dofs[:, :, None], dofs[:, None, :]), now.stiffness_ec)
    if case[1] is not None and case[1].yield_stress < STIFF:
        flowing = now.history["adhesive"][1] > history["adhesive"][1]
        assert flowing.mean() > 0.5
    forces, across = np.empty((size + 1, size)), np.empty(size + 1)
    for j in range(size + 1):
        step = np.zeros(size)
        step[min(j, size - 1)] = 1e-6 * (j < size)
        more = 1e-6 * (j == size)
        above, below = (
            body.evaluate(u + sign * step.reshape(-1, 2), width + sign * more, history, NOW, False, True) for sign in (1, -1)
        )
        forces[j], across[j] = (above.internal - below.internal) / 2e-6, (above.across - below.across) / 2e-6
    largest = np.abs(k).max()
    assert np.abs(forces[:-1].T - k).max() < 1e-6 * largest
    assert np.abs(forces[-1] - now.width_column).max() < 1e-6 * largest
    assert np.abs(across[:-1] - now.width_row).max() < 1e-6 * largest
    assert across[-1] == pytest.approx(now.width_stiffness, abs=1e-6 * largest)


@pytest.mark.parametrize("frame", ["small", "green_lagrange", "logarithmic"])
def test_elastic_forces_are_those_of_an_energy(frame):
    """Without flow the tangent is symmetric, projected or not, and its row is its column: to round-off, 1e-12 of the largest."""
    for yielding in (None,) if frame == "green_lagrange" else (None, Yielding(STIFF)):
        body, u, width, history = moved_block(frame, yielding, GLUE)
        now = body.evaluate(u, width, history, NOW, True, True)
        largest = np.abs(now.stiffness_ec).max()
        assert np.abs(now.stiffness_ec - now.stiffness_ec.transpose(0, 2, 1)).max() < 1e-12 * largest
        assert np.abs(now.width_row - now.width_column).max() < 1e-12 * largest


def test_small_frame_is_the_linear_stiffness():
    """The internal forces of the small frame are those of the linear element, K u, free strain included (1e-12, round-off)."""
    from fejoint.mechanics.elasticity import element_stiffness, law

    d = block(3)
    body = Body(d, {"adhesive": Behaviour(PLY, FRAMES["small"], None)})
    every = np.broadcast_to(law(PLY).stiffness, (len(d.nodes_ac), 4, 4))
    k = element_stiffness(every, d.xx_abc, d.xy_abc, d.yy_abc)
    u = np.random.default_rng(3).uniform(-1e-3, 1e-3, d.points.shape)
    now = body.evaluate(u, 0.0, body.start(), NOW, True, False)
    assert np.abs(now.stiffness_ec - k).max() < 1e-12 * np.abs(k).max()


# ---- patch tests and locking ------------------------------------------------------------------------------------------

PATCHES = {
    "green_lagrange": ("green_lagrange", None),
    "projected, small": ("small", Yielding(STIFF)),
    "projected, logarithmic": ("logarithmic", Yielding(STIFF)),
    "plastic, small": ("small", LAWS["von-mises, saturating"]),
    "plastic, logarithmic": ("logarithmic", LAWS["von-mises, saturating"]),
    "cone, logarithmic": ("logarithmic", DILATING["cone"]),
    "paraboloid, small": ("small", DILATING["paraboloid"]),
}


@pytest.mark.parametrize("case", PATCHES.values(), ids=PATCHES)
def test_patch_test_of_distorted_cells(case):
    """The rim follows a constant gradient (30 % shear, turn, stretch) and the inside does the same, after plastic flow too.

    Tolerance 1e-8 of the block: Newton's method leaves 1e-8 of the largest force, and a tangent that has fallen a
    hundredfold by flow makes of that a hundred times the strain, which is 1e-2 of one at those stresses.
    """
    frame, yielding = case
    d = block(4)
    gradient = np.array([[0.1, 0.25], [-0.1, -0.08]])
    problem, found = driven(yielding, frame, held_rim(d, gradient), [0.005, 0.05, 0.2, 0.5, 1.0])
    u = np.asarray(problem.pattern.transform @ found[-1][0].unknowns).reshape(-1, 2)
    assert np.abs(u - d.points @ gradient.T).max() < 1e-8
    made = stresses(problem, found[-1][0]).cauchy
    assert np.ptp(made.reshape(4, -1), axis=1).max() < 1e-6 * np.abs(made).max()


def under_punch(cells):
    """Return half of a block, 4 wide and 2 deep, on whose top a rough rigid punch of half width 1 is pressed in."""
    d = block((4 * cells, 2 * cells), 0.0, (4.0, 2.0))
    x, y = d.points.T
    punch = (y > 2 - 1e-9) & (x < 1 + 1e-9)
    along = (x < 1e-9) | (x > 4 - 1e-9) | (y < 1e-9) | punch
    held = np.concatenate([2 * np.flatnonzero(along), 2 * np.flatnonzero((y < 1e-9) | punch) + 1])
    free = np.setdiff1d(np.arange(2 * len(x)), held)
    pressed = 2 * np.flatnonzero(punch) + 1
    rows, columns = np.concatenate([pressed, free]), np.concatenate([np.zeros(len(pressed), dtype=int), 1 + np.arange(len(free))])
    values = np.concatenate([-np.ones(len(pressed)), np.ones(len(free))])
    return Tied(d, sp.csr_array(sp.coo_array((values, (rows, columns)), shape=(2 * len(x), 1 + len(free)))))


def mean_pressure(cells, until):
    """Return the pressure under the punch, over k, at `until` and a tenth before it: perfectly plastic von Mises."""
    tied = under_punch(cells)
    problem = Problem(Body(tied.discretisation, {"adhesive": Behaviour(GLUE, FRAMES["small"], Yielding(20.0))}), tied, False)
    rest = equilibrium(problem, State.virgin(problem), Loading({}, {"axial": 1.0}, NOW, 8.0))  # elastic
    velocity, pressure = rest.state.unknowns / rest.state.unknowns[0], []
    for place in np.append(np.linspace(0.015, 0.9 * until, 8), until):
        state = rest.state
        far = place - state.unknowns[0]
        loading = Loading({}, {"axial": 1.0}, NOW, rest.share, far)
        rest = equilibrium(problem, state, loading, state.unknowns + far * velocity)
        velocity = (rest.state.unknowns - state.unknowns) / far
        pressure.append(rest.share / (20 / np.sqrt(3)))
    return pressure[-2:]


def test_punch_finds_its_limit_load_with_the_projection_alone(monkeypatch):
    """A rough rigid punch on a perfectly plastic half space bears (2 + pi) k (Prandtl, 1920, from memory).

    Displacements alone come from above, in proportion to the cell at the punch's edge, where a fan of slip ends: the
    limit of two meshes, extrapolated so, within 1 %, and a load that has stopped growing (1e-3 over the last tenth).
    Without the projection the nine points' volumes hold the flow back: above by a tenth on the finer mesh still, and rising.
    """
    coarse, fine = (mean_pressure(cells, 0.17) for cells in (2, 4))
    assert fine[1] / fine[0] - 1 < 1e-3
    assert 2 * fine[1] - coarse[1] == pytest.approx(2 + np.pi, rel=0.01)
    monkeypatch.setattr(body_module, "_projection", lambda d, name: np.broadcast_to(np.eye(9), (len(d.nodes_ac), 9, 9)))
    locked = mean_pressure(4, 0.17)
    assert locked[1] > 1.1 * (2 + np.pi)
    assert locked[1] / locked[0] - 1 > 1e-3
