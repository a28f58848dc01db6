"""The nine-node element against fields known exactly: constant, smooth, singular.

Meshes are made here, without gmsh; stiffness and strain are the package's own.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.sparse as sp
from scipy.optimize import brentq
from scipy.sparse.linalg import spsolve
from skfem import BilinearForm, CellBasis, ElementQuad2, ElementVector, FacetBasis, LinearForm, MeshQuad
from skfem.helpers import ddot, eye, sym_grad, trace

from fejoint.bondline.closed_form.grid import axial_modulus
from fejoint.joint.materials import Isotropic, Orthotropic
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.elasticity import element_stiffness, law, strain
from fejoint.mechanics.linear import assemble
from fejoint.mechanics.section import Section

ISOTROPIC = Isotropic(elastic_modulus=3_000.0, poisson_ratio=0.4)
ORTHOTROPIC = Orthotropic(
    elastic_modulus_x=140_000.0,
    elastic_modulus_y=9_000.0,
    elastic_modulus_z=11_000.0,
    poisson_ratio_xy=0.3,
    poisson_ratio_xz=0.25,
    poisson_ratio_yz=0.45,
    shear_modulus_xy=5_000.0,
)
MATERIALS = pytest.mark.parametrize("material", [ISOTROPIC, ORTHOTROPIC], ids=["isotropic", "orthotropic"])


def distorted(n: int, share: float = 0.25) -> MeshQuad:
    """Return an n x n mesh of the unit square, its inner nodes moved at random by up to `share` of a cell."""
    line = np.linspace(0, 1, n + 1)
    mesh = MeshQuad.init_tensor(line, line)
    inner = mesh.interior_nodes()
    points = mesh.p.copy()
    points[:, inner] += np.random.default_rng(n).uniform(-share / n, share / n, (2, len(inner)))
    return MeshQuad(points, mesh.t)


def stiffness_matrix(mesh: MeshQuad, material):
    """Return the discretisation and the stiffness matrix of a mesh of one material, by the package's elements."""
    d = discretise(Section(mesh.with_subdomains({"lower": np.arange(mesh.t.shape[1])}), 1.0))
    every = np.broadcast_to(law(material).stiffness, (len(d.nodes_ac), 4, 4))
    return d, scattered(d, element_stiffness(every, d.xx_abc, d.xy_abc, d.yy_abc))


def scattered(d, stiffness_ec) -> sp.csr_array:
    dofs = (2 * d.nodes_ac[:, :, None] + [0, 1]).reshape(len(d.nodes_ac), -1)
    rows, columns = np.repeat(dofs, 18, axis=1).ravel(), np.tile(dofs, (1, 18)).ravel()
    size = 2 * len(d.points)
    return sp.csr_array(sp.coo_array((stiffness_ec.ravel(), (rows, columns)), shape=(size, size)))


def solved(matrix, load, held, values):
    """Return the solution with the unknowns `held` at the given values."""
    u = np.zeros(matrix.shape[0])
    u[held] = values
    free = np.setdiff1d(np.arange(len(u)), held)
    u[free] = spsolve(matrix[free][:, free].tocsc(), (load - matrix @ u)[free], permc_spec="MMD_AT_PLUS_A")
    return u


def rim(d) -> np.ndarray:
    """Return the unknowns on the edge of the unit square."""
    nodes = np.flatnonzero((np.abs(d.points - 0.5) > 0.5 - 1e-12).any(axis=1))
    return (2 * nodes[:, None] + [0, 1]).ravel()


def order(cells, errors) -> float:
    """Return the order of convergence: minus the slope of the errors over the cells per side, by a log-log fit."""
    return float(-np.polyfit(np.log(cells), np.log(errors), 1)[0])


@MATERIALS
@pytest.mark.parametrize(
    "gradient",
    [[[1, 0], [0, 0]], [[0, 0], [0, 1]], [[0, 1], [0, 0]], [[0.3, -0.7], [0.2, 0.5]]],
    ids=["stretch along", "stretch through", "simple shear", "all at once"],
)
def test_patch_test_reproduces_constant_strain_on_distorted_cells(material, gradient):
    """A linear displacement on the rim is continued inside (the patch test of Irons; Irons & Razzaque, 1972, from memory).

    Tolerance 1e-10: round-off 1e-16 times the condition number of a small mesh, below 1e5, leaves room.
    """
    d, matrix = stiffness_matrix(distorted(5), material)
    gradient = np.array(gradient, dtype=float)
    exact = d.points @ gradient.T + [0.1, -0.2]
    u = solved(matrix, np.zeros(matrix.shape[0]), rim(d), exact.ravel()[rim(d)]).reshape(-1, 2)
    assert np.abs(u - exact).max() < 1e-10
    found = strain(d.grad_ajqc, u[d.nodes_ac], 0.0)
    wanted = [gradient[0, 0], gradient[1, 1], gradient[0, 1] + gradient[1, 0], 0.0]
    assert np.abs(found - np.array(wanted)[:, None, None]).max() < 1e-10


def test_patch_test_over_regions_assembled_by_name():
    """Three named regions of one material, assembled by the package itself, act as one body (tolerance as above)."""
    mesh = distorted(6)
    thirds = np.array_split(np.arange(36), 3)
    mesh = mesh.with_subdomains(dict(zip(("lower", "adhesive", "upper"), thirds, strict=True)))
    mesh = mesh.with_boundaries({"gripped": lambda x: x[0] < 1e-9, "loaded": lambda x: x[0] > 1 - 1e-9})
    d = discretise(Section(mesh, 1.0))
    system = assemble(d, dict.fromkeys(("lower", "adhesive", "upper"), law(ORTHOTROPIC)), "clamped")
    matrix = scattered(d, system.stiffness_ec)
    exact = (d.points @ np.array([[0.3, -0.7], [0.2, 0.5]]).T).ravel()
    assert np.abs(solved(matrix, np.zeros(len(exact)), rim(d), exact[rim(d)]) - exact).max() < 1e-10


def test_regions_get_their_own_material():
    """A stack of two layers stretched through the thickness divides the strain as 1 : C22'/C22 (springs in series).

    Tolerance as for the patch test: the strain is constant in each layer.
    """
    line = np.linspace(0, 1, 5)
    mesh = MeshQuad.init_tensor(line, line)
    low = mesh.p[1, mesh.t].mean(axis=0) < 0.5
    mesh = mesh.with_subdomains({"lower": np.flatnonzero(low), "upper": np.flatnonzero(~low)})
    mesh = mesh.with_boundaries({"gripped": lambda x: x[0] < 1e-9, "loaded": lambda x: x[0] > 1 - 1e-9})
    d = discretise(Section(mesh, 1.0))
    laws = {"lower": law(ISOTROPIC), "upper": law(ORTHOTROPIC)}
    matrix = scattered(d, assemble(d, laws, "clamped").stiffness_ec)
    y = d.points[:, 1]
    nodes = np.arange(len(y))
    held = np.concatenate([2 * nodes, 2 * np.flatnonzero((y < 1e-12) | (y > 1 - 1e-12)) + 1])
    u = solved(matrix, np.zeros(2 * len(y)), held, np.where((held % 2 == 1) & (y[held // 2] > 0.5), 1.0, 0.0))
    soft, stiff = laws["lower"].stiffness[1, 1], laws["upper"].stiffness[1, 1]
    at_joint = (1 / soft) / (1 / soft + 1 / stiff)
    assert np.abs(u[2 * np.flatnonzero(np.abs(y - 0.5) < 1e-12) + 1] - at_joint).max() < 1e-10


# A smooth displacement, its second derivatives by hand: u = sin(2x + 0.3) cos(1.5y), v = cos(1.2x) sin(2y + 0.5) + 0.2 sin(3x).
def smooth(x, y):
    return np.sin(2 * x + 0.3) * np.cos(1.5 * y), np.cos(1.2 * x) * np.sin(2 * y + 0.5) + 0.2 * np.sin(3 * x)


def smooth_strain(x, y):
    xx = 2 * np.cos(2 * x + 0.3) * np.cos(1.5 * y)
    yy = 2 * np.cos(1.2 * x) * np.cos(2 * y + 0.5)
    u_y = -1.5 * np.sin(2 * x + 0.3) * np.sin(1.5 * y)
    v_x = -1.2 * np.sin(1.2 * x) * np.sin(2 * y + 0.5) + 0.6 * np.cos(3 * x)
    return xx, yy, u_y + v_x


def smooth_body_force(c, x, y):
    """Return minus the divergence of the stress of the smooth displacement for the stiffness c."""
    u_xx, u_yy = -4 * np.sin(2 * x + 0.3) * np.cos(1.5 * y), -2.25 * np.sin(2 * x + 0.3) * np.cos(1.5 * y)
    u_xy = -3 * np.cos(2 * x + 0.3) * np.sin(1.5 * y)
    v_xx = -1.44 * np.cos(1.2 * x) * np.sin(2 * y + 0.5) - 1.8 * np.sin(3 * x)
    v_yy = -4 * np.cos(1.2 * x) * np.sin(2 * y + 0.5)
    v_xy = -2.4 * np.sin(1.2 * x) * np.cos(2 * y + 0.5)
    return (
        -(c[0, 0] * u_xx + c[0, 1] * v_xy + c[2, 2] * (u_yy + v_xy)),
        -(c[2, 2] * (u_xy + v_xx) + c[0, 1] * u_xy + c[1, 1] * v_yy),
    )


def smooth_errors(n: int, material) -> tuple[float, float]:
    """Return the L2 and the energy error of the smooth field on a distorted n x n mesh, integrated by order 8."""
    mesh = distorted(n)
    d, matrix = stiffness_matrix(mesh, material)
    c = law(material).stiffness
    place = np.einsum("qa,cai->icq", d.shape_qa, d.points[d.nodes_ac])
    force = np.stack(smooth_body_force(c, *place), axis=-1)
    nodal = np.einsum("cqi,cq,qa->cai", force, d.weight_qc, d.shape_qa, optimize=True)
    load = np.bincount((2 * d.nodes_ac[:, :, None] + [0, 1]).ravel(), nodal.ravel(), matrix.shape[0])
    exact = np.column_stack(smooth(*d.points.T)).ravel()
    u = solved(matrix, load, rim(d), exact[rim(d)]).reshape(-1, 2)
    basis = CellBasis(mesh, ElementQuad2(), intorder=8)
    x, y = basis.global_coordinates()
    fields = [basis.interpolate(component) for component in u.T]
    l2 = sum((basis.dx * (field - wanted) ** 2).sum() for field, wanted in zip(fields, smooth(x, y), strict=True))
    (u_x, u_y), (v_x, v_y) = (field.grad for field in fields)
    e = np.stack([u_x, v_y, u_y + v_x]) - np.stack(smooth_strain(x, y))
    energy = (basis.dx * np.einsum("icq,ij,jcq->cq", e, c[:3, :3], e)).sum()
    return float(np.sqrt(l2)), float(np.sqrt(energy))


@MATERIALS
def test_smooth_field_converges_with_order_three_and_two_on_distorted_cells(material):
    """Order 3 in L2 and 2 in energy, kept on any quadrilaterals (Arnold, Boffi & Falk, Math. Comp. 71, 2002, from memory).

    Tolerance 0.15: every mesh has its own random distortion, which may change the constant
    by a fifth; over two halvings that changes the fitted order by log2(1.2)/2 = 0.13.
    """
    cells = [8, 16, 32]
    l2, energy = zip(*(smooth_errors(n, material) for n in cells), strict=True)
    assert order(cells, l2) == pytest.approx(3, abs=0.15)
    assert order(cells, energy) == pytest.approx(2, abs=0.15)


def corner_exponent(angle: float) -> float:
    """Return the least exponent, opening mode, of the displacement at a corner with free faces.

    sin(lambda angle) + lambda sin(angle) = 0, angle filled with material
    (Williams, J. Appl. Mech. 19, 1952, 526-528, free-free corner; from memory).
    """
    return float(brentq(lambda s: np.sin(s * angle) + s * np.sin(angle), 0.1, 0.8))


def corner_energy(n: int) -> float:
    """Return the strain energy of an L of three unit squares, n x n cells each, its two end faces bent open."""
    line = np.linspace(-1, 1, 2 * n + 1)
    mesh = MeshQuad.init_tensor(line, line)
    mesh = mesh.remove_elements(np.flatnonzero((mesh.p[:, mesh.t].mean(axis=1) > 0).all(axis=0)))
    d, matrix = stiffness_matrix(mesh, ISOTROPIC)
    load = np.zeros((len(d.points), 2))
    for axis in (0, 1):  # a linear traction without resultant force on the face x = 1, and its mirror image on y = 1
        face = mesh.facets_satisfying(lambda x, axis=axis: x[axis] > 1 - 1e-9)
        # order 4 integrates the linear traction times the quadratic shape functions exactly
        form = LinearForm(lambda v, w, axis=axis: (w.x[1 - axis] + 0.5) * v)
        load[:, axis] = form.assemble(FacetBasis(mesh, ElementQuad2(), facets=face, intorder=4))
    # Three unknowns hold the balanced body: the outer corner, and one other node of the bottom edge.
    outer, other = (int(np.argmin(np.abs(d.points - at).sum(axis=1))) for at in ([-1, -1], [0, -1]))
    u = solved(matrix, load.ravel(), np.array([2 * outer, 2 * outer + 1, 2 * other + 1]), 0.0)
    return float(load.ravel() @ u / 2)


def test_reentrant_corner_converges_with_its_singular_exponent():
    """On even meshes the energy error falls with the corner's exponent (270 degrees), far below order 2.

    Tolerance 0.02: the next symmetric term has an exponent of 1.63, so the energy error
    C h^(2 lambda) carries a correction h^1.1, 5 % on the coarser of the last meshes (n = 16),
    which changes the rate of the energy by 0.05 (1 - 2^-1.1)/ln 2 = 0.04 and the exponent by half of that.
    """
    exponent = corner_exponent(1.5 * np.pi)
    energies = np.array([corner_energy(n) for n in (16, 32, 64)])
    gains = np.diff(energies)
    # Halving gains C h^(2 lambda)(1 - 2^(-2 lambda)): the ratio of two gains gives twice the order in the energy norm.
    found = np.log2(gains[0] / gains[1]) / 2
    assert (gains > 0).all()  # the energy of a body under given loads comes from below
    assert found < 1.0
    assert found == pytest.approx(exponent, abs=0.02)


@MATERIALS
def test_stiffness_equals_the_library_assembly_of_the_weak_form(material):
    """The same integral, assembled by scikit-fem from the form itself (tolerance 1e-12: sums in another order)."""
    mesh = distorted(6)
    _, matrix = stiffness_matrix(mesh, material)
    c = law(material).stiffness

    @BilinearForm
    def work(u, v, _):
        e, f = sym_grad(u), sym_grad(v)
        return (
            (c[0, 0] * e[0, 0] + c[0, 1] * e[1, 1]) * f[0, 0]
            + (c[1, 0] * e[0, 0] + c[1, 1] * e[1, 1]) * f[1, 1]
            + 4 * c[2, 2] * e[0, 1] * f[0, 1]
        )

    other = work.assemble(CellBasis(mesh, ElementVector(ElementQuad2()), intorder=4))
    assert np.abs((matrix - other).toarray()).max() < 1e-12 * np.abs(other.data).max()


def test_isotropic_stiffness_equals_lame_form():
    """Plane strain by the Lame constants of a textbook, lambda tr(e) I + 2 mu e (tolerance as above)."""
    mesh = distorted(6)
    _, matrix = stiffness_matrix(mesh, ISOTROPIC)
    e, nu = ISOTROPIC.elastic_modulus, ISOTROPIC.poisson_ratio
    lame, shear = e * nu / ((1 + nu) * (1 - 2 * nu)), e / (2 * (1 + nu))

    @BilinearForm
    def work(u, v, _):
        s = lame * eye(trace(sym_grad(u)), 2) + 2 * shear * sym_grad(u)
        return ddot(s, sym_grad(v))

    other = work.assemble(CellBasis(mesh, ElementVector(ElementQuad2()), intorder=4))
    assert np.abs((matrix - other).toarray()).max() < 1e-12 * np.abs(other.data).max()


@MATERIALS
def test_rigid_motion_carries_no_force(material):
    """Shifts and a small turn strain nothing, other motions do (tolerance: round-off of sums of 18 terms)."""
    d, matrix = stiffness_matrix(distorted(5), material)
    x, y = d.points.T
    largest = np.abs(matrix.data).max()
    for motion in (np.column_stack([1 + 0 * x, 0 * x]), np.column_stack([0 * x, 1 + 0 * x]), np.column_stack([-y, x])):
        assert np.abs(matrix @ motion.ravel()).max() < 1e-12 * largest
    values = np.linalg.eigvalsh(matrix.toarray())
    assert (np.abs(values) < 1e-10 * values[-1]).sum() == 3  # no hidden zero-energy mode of the quadrature either


def test_law_is_hookes_law_by_engineering_constants():
    """Compliance read back from the stiffness gives E, nu, G (tolerance 1e-12: one inversion of a 4 x 4 matrix)."""
    compliance = np.linalg.inv(law(ORTHOTROPIC).stiffness)
    m = ORTHOTROPIC
    assert 1 / np.diag(compliance) == pytest.approx(
        [m.elastic_modulus_x, m.elastic_modulus_y, m.shear_modulus_xy, m.elastic_modulus_z], rel=1e-12
    )
    assert -compliance[1, 0] * m.elastic_modulus_x == pytest.approx(m.poisson_ratio_xy, rel=1e-12)
    assert -compliance[3, 0] * m.elastic_modulus_x == pytest.approx(m.poisson_ratio_xz, rel=1e-12)
    assert -compliance[3, 1] * m.elastic_modulus_y == pytest.approx(m.poisson_ratio_yz, rel=1e-12)
    assert compliance == pytest.approx(compliance.T, abs=1e-18)


def test_plane_strain_modulus_is_e_over_one_minus_nu_squared():
    """The plate modulus of an isotropic material (tolerance 1e-12: round-off)."""
    e, nu = ISOTROPIC.elastic_modulus, ISOTROPIC.poisson_ratio
    assert axial_modulus(ISOTROPIC) == pytest.approx(e / (1 - nu**2), rel=1e-12)


@MATERIALS
def test_theories_and_elements_have_one_plane_strain_modulus(material):
    """Stress over strain along x, thickness free, no width strain, by Hooke's law (1e-12: one inversion of a 4 x 4 matrix)."""
    c = law(material).stiffness
    assert axial_modulus(material) == pytest.approx(c[0, 0] - c[0, 1] ** 2 / c[1, 1], rel=1e-12)
