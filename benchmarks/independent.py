"""A section solved by another finite-element library, ngsolve: an independent check of the package's mechanics.

Nothing of the package's mechanics is used but the mesh: points, quadrilaterals
and the names of regions and end faces. Hooke's law is written anew from the
engineering constants, the ends are held by other means (multipliers and added
shape functions instead of tied nodes), and the system is factored by another
solver. Element and rule are the same: nine nodes, three Gauss points a side.

ngsolve: J. Schoeberl, NETGEN An advancing front 2D/3D-mesh generator based on
abstract rules, Comput. Visual. Sci. 1, 1997, 41-52 (cited from memory);
https://ngsolve.org.
"""

from __future__ import annotations

from dataclasses import dataclass

import ngsolve as ng
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from fejoint import Joint, Orthotropic
from fejoint.mechanics.section import Section


@dataclass(frozen=True)
class Independent:
    """What ngsolve finds: displacement at the points asked for, width strain, reactions along x."""

    displacement: NDArray[np.float64]
    width_strain: float
    loaded_axial: float
    gripped_axial: float


def solve_with_ngsolve(joint: Joint, section: Section, elongation: float, points: NDArray[np.float64]) -> Independent:
    """Return ngsolve's solution of a section whose loaded face is moved along x by `elongation`, at the given points."""
    mesh = as_ngsolve_mesh(section)
    clamped = joint.load.ends == "clamped"
    generalised = joint.out_of_plane == "generalised"
    rule = {ng.QUAD: gauss_rule()}
    dx = ng.dx(intrules=rule)

    # The unknowns: displacement; e_zz; what holds the mean of u_y on each face; the turn of each pinned face.
    plane = ng.VectorH1(mesh, order=2, dirichletx="gripped|loaded")
    numbers = (1 if generalised else 0) + 2 + (0 if clamped else 2)
    space = ng.FESpace([plane] + [ng.NumberSpace(mesh)] * numbers)
    (u, *trial), (v, *test) = space.TnT()
    moved = face_motion(plane, "loaded", ng.CF(1.0))
    turned = [] if clamped else [face_motion(plane, face, middle_of(mesh, face) - ng.y) for face in ("gripped", "loaded")]

    def strain(field, factors):
        gradient = ng.Grad(field)
        factors = list(factors)
        width = factors.pop(0) if generalised else ng.CF(0.0)
        for motion, turn in zip(turned, factors[2:], strict=True):
            gradient = gradient + turn * ng.Grad(motion)
        return ng.CF((gradient[0, 0], gradient[1, 1], gradient[0, 1] + gradient[1, 0], width))

    stiffness, free_strain = hooke(joint, mesh)
    form = ng.BilinearForm(space)
    form += ng.InnerProduct(stiffness * strain(u, trial), strain(v, test)) * dx
    for face, holds, varied in zip(("gripped", "loaded"), trial[generalised:], test[generalised:], strict=False):
        form += (holds * v[1] + varied * u[1]) * ng.ds(face)
    pull = ng.Grad(moved)
    given = ng.CF((elongation * pull[0, 0], elongation * pull[1, 1], elongation * (pull[0, 1] + pull[1, 0]), 0.0))
    right = ng.LinearForm(space)
    right += ng.InnerProduct(stiffness * (free_strain - given), strain(v, test)) * dx
    form.Assemble()
    right.Assemble()
    solution = ng.GridFunction(space)
    inverse = form.mat.Inverse(space.FreeDofs(), inverse="umfpack")
    for _ in range(2):  # the second time round takes off the round-off of the first
        solution.vec.data += inverse * (right.vec - form.mat * solution.vec)
    factors = [part.vec[0] for part in solution.components[1:]]

    whole = ng.GridFunction(plane)
    whole.vec.data = solution.components[0].vec + elongation * moved.vec
    for motion, turn in zip(turned, factors[2 + generalised :], strict=True):
        whole.vec.data += turn * motion.vec
    g = ng.Grad(whole)
    width_strain = factors[0] if generalised else 0.0
    stress = stiffness * (ng.CF((g[0, 0], g[1, 1], g[0, 1] + g[1, 0], width_strain)) - free_strain)

    def work_on(motion) -> float:
        d = ng.Grad(motion)
        return float(ng.Integrate(ng.InnerProduct(stress, ng.CF((d[0, 0], d[1, 1], d[0, 1] + d[1, 0], 0.0))) * dx, mesh))

    return Independent(
        displacement=at_points(mesh, whole, points),
        width_strain=float(width_strain),
        loaded_axial=work_on(moved),
        gripped_axial=work_on(face_motion(plane, "gripped", ng.CF(1.0))),
    )


def as_ngsolve_mesh(section: Section):
    """Return the section as an ngsolve mesh with its regions and end faces by name."""
    from netgen.meshing import Element1D, Element2D, Mesh, MeshPoint, Pnt

    made = Mesh(dim=2)
    points = [made.Add(MeshPoint(Pnt(x, y, 0.0))) for x, y in section.mesh.p.T]
    for name in ("lower", "adhesive", "upper"):
        region = made.AddRegion(name, dim=2)
        for corners in section.mesh.t[:, section.cells(name)].T:
            made.Add(Element2D(region, [points[corner] for corner in corners]))
    for name in ("gripped", "loaded"):
        region = made.AddRegion(name, dim=1)
        for ends in section.mesh.facets[:, section.facets(name)].T:
            made.Add(Element1D([points[end] for end in ends], index=region))
    return ng.Mesh(made)


def gauss_rule():
    """Return the rule of three Gauss points a side on the unit square."""
    place, weight = np.polynomial.legendre.leggauss(3)
    place, weight = (place + 1) / 2, weight / 2
    return ng.IntegrationRule([(x, y) for x in place for y in place], [a * b for a in weight for b in weight])


def face_motion(plane, face: str, along_x):
    """Return the displacement that is `along_x` on the nodes of a face and zero at all others."""
    motion = ng.GridFunction(plane)
    motion.Set(ng.CF((along_x, 0.0)), definedon=plane.mesh.Boundaries(face))
    return motion


def middle_of(mesh, face: str) -> float:
    """Return the height of a face's middle."""
    boundary = mesh.Boundaries(face)
    return ng.Integrate(ng.y, mesh, definedon=boundary) / ng.Integrate(1.0, mesh, definedon=boundary)


def hooke(joint: Joint, mesh):
    """Return stiffness (xx, yy, xy, zz) and free thermal strain by region, from Hooke's law in three dimensions."""
    stiffness, strain = [], []
    for region in mesh.GetMaterials():
        material = joint.materials()[region]
        if isinstance(material, Orthotropic):
            m = material
            e, f, g = 1 / m.elastic_modulus_x, 1 / m.elastic_modulus_y, 1 / m.elastic_modulus_z
            xy, xz, yz = -m.poisson_ratio_xy * e, -m.poisson_ratio_xz * e, -m.poisson_ratio_yz * f
            softness = np.array([[e, xy, xz], [xy, f, yz], [xz, yz, g]])
            normal, shear = np.linalg.inv(softness), m.shear_modulus_xy
            expansion = [m.expansion_x, m.expansion_y, m.expansion_z]
        else:
            modulus, nu = material.elastic_modulus, material.poisson_ratio
            lame = modulus * nu / ((1 + nu) * (1 - 2 * nu))
            shear = modulus / (2 * (1 + nu))
            normal = lame + 2 * shear * np.eye(3)
            expansion = [material.expansion] * 3
        law = np.zeros((4, 4))
        law[np.ix_([0, 1, 3], [0, 1, 3])] = normal
        law[2, 2] = shear
        stiffness.append(ng.CF(tuple(law.ravel().tolist()), dims=(4, 4)))
        x, y, z = ((value or 0.0) * joint.load.temperature_change for value in expansion)
        strain.append(ng.CF((x, y, 0.0, z)))
    return ng.CF(stiffness), ng.CF(strain)


def at_points(mesh, field, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a displacement at points that are nodes of nine-node cells, found by their coordinates."""
    side = (0.0, 0.5, 1.0)
    nodes = ng.IntegrationRule([(x, y) for x in side for y in side], [0.0] * 9)
    places = mesh.MapToAllElements({ng.QUAD: nodes}, ng.VOL)
    coordinates = ng.CF((ng.x, ng.y))(places)
    distance, nearest = cKDTree(coordinates).query(points)
    assert distance.max() < 1e-9
    return field(places)[nearest]
