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
    """What ngsolve finds.

    Attributes
    ----------
    displacement : (points, 2) array, mm
        At the points asked for.
    width_strain : float
    axial : dict
        Force along x on every end face, N/mm, by its name (``gripped lower``).
    pull : int
        Direction along x in which a tensile force moves the loaded end.
    """

    displacement: NDArray[np.float64]
    width_strain: float
    axial: dict[str, float]
    pull: int

    @property
    def loaded_axial(self) -> float:
        """Tensile force on the loaded end, N/mm."""
        return self.pull * sum(force for face, force in self.axial.items() if face.startswith("loaded"))

    @property
    def gripped_axial(self) -> float:
        """Force that the gripped end holds against it, N/mm, positive in the sense of a tensile force."""
        return self.pull * sum(force for face, force in self.axial.items() if face.startswith("gripped"))


def solve_with_ngsolve(joint: Joint, section: Section, elongation: float, points: NDArray[np.float64]) -> Independent:
    """Return ngsolve's solution of a whole section whose loaded face is moved along x by `elongation`, at the given points.

    A moment and a force across the joint act as loads. Compare them with a
    solution on the same whole section; of a joint solved by half that also
    proves the symmetry.
    """
    mesh = as_ngsolve_mesh(section)
    # The end faces by the adherend they belong to; an end of two adherends moves along x and turns as one.
    faces = mesh.GetBoundaries()
    ends = {end: "|".join(face for face in faces if face.startswith(end)) for end in ("gripped", "loaded")}
    generalised = joint.out_of_plane == "generalised"
    lifted = joint.load.shear_force != 0
    held = [face for face in faces if not (lifted and face.startswith("loaded"))]
    rule = {ng.QUAD: gauss_rule()}
    dx = ng.dx(intrules=rule)

    # The unknowns: displacement; e_zz; what holds the mean of u_y on each face; the turn of each pinned end.
    plane = ng.VectorH1(mesh, order=2, dirichletx="|".join(faces))
    moved = face_motion(plane, ends["loaded"], ng.CF(1.0))
    turned = []
    if joint.load.ends == "pinned":
        turned = [face_motion(plane, end, middle_of(mesh, end) - ng.y) for end in ends.values()]
    multipliers = [ng.NumberSpace(mesh, definedon=mesh.Boundaries(face)) for face in held]
    space = ng.FESpace([plane, *[ng.NumberSpace(mesh)] * generalised, *multipliers, *[ng.NumberSpace(mesh)] * len(turned)])
    (u, *trial), (v, *test) = space.TnT()
    turns = slice(generalised + len(held), None)

    def strain(field, factors):
        gradient = ng.Grad(field)
        for motion, turn in zip(turned, factors[turns], strict=True):
            gradient = gradient + turn * ng.Grad(motion)
        width = factors[0] if generalised else ng.CF(0.0)
        return ng.CF((gradient[0, 0], gradient[1, 1], gradient[0, 1] + gradient[1, 0], width))

    stiffness, free_strain = hooke(joint, mesh)
    form = ng.BilinearForm(space)
    form += ng.InnerProduct(stiffness * strain(u, trial), strain(v, test)) * dx
    for face, holds, varied in zip(held, trial[generalised:], test[generalised:], strict=False):
        form += (holds * v[1] + varied * u[1]) * ng.ds(face)
    # The loaded face, which belongs to one adherend in every family, moves the way that a tensile force pulls it.
    motion = joint.geometry.pull * elongation
    pull = ng.Grad(moved)
    given = ng.CF((motion * pull[0, 0], motion * pull[1, 1], motion * (pull[0, 1] + pull[1, 0]), 0.0))
    right = ng.LinearForm(space)
    right += ng.InnerProduct(stiffness * (free_strain - given), strain(v, test)) * dx
    high = ng.Integrate(1.0, mesh, definedon=mesh.Boundaries(ends["loaded"]))
    if lifted:
        right += joint.line_shear / high * v[1] * ng.ds(ends["loaded"])
    if turned:
        right += joint.line_moment / high * test[-1] * ng.ds(ends["loaded"])
    form.Assemble()
    right.Assemble()
    solution = ng.GridFunction(space)
    everywhere = [space.Range(1 + i).start for i in range(len(trial)) if i < generalised or i >= turns.start]
    inverse = bordered_inverse(form.mat, space.FreeDofs(), everywhere)
    for _ in range(2):  # the second time round takes off the round-off of the first
        solution.vec.data += inverse((right.vec - form.mat * solution.vec).Evaluate())
    factors = [part.vec[0] for part in solution.components[1:]]

    whole = ng.GridFunction(plane)
    whole.vec.data = solution.components[0].vec + motion * moved.vec
    for turning, turn in zip(turned, factors[turns], strict=True):
        whole.vec.data += turn * turning.vec
    g = ng.Grad(whole)
    width_strain = factors[0] if generalised else 0.0
    stress = stiffness * (ng.CF((g[0, 0], g[1, 1], g[0, 1] + g[1, 0], width_strain)) - free_strain)

    def work_on(motion) -> float:
        d = ng.Grad(motion)
        return float(ng.Integrate(ng.InnerProduct(stress, ng.CF((d[0, 0], d[1, 1], d[0, 1] + d[1, 0], 0.0))) * dx, mesh))

    return Independent(
        displacement=at_points(mesh, whole, points),
        width_strain=float(width_strain),
        axial={face: work_on(face_motion(plane, face, ng.CF(1.0))) for face in faces},
        pull=joint.geometry.pull,
    )


def as_ngsolve_mesh(section: Section):
    """Return the section as an ngsolve mesh with its regions by name and its end faces as ``gripped lower`` and so on."""
    from netgen.meshing import Element1D, Element2D, Mesh, MeshPoint, Pnt

    made = Mesh(dim=2)
    points = [made.Add(MeshPoint(Pnt(x, y, 0.0))) for x, y in section.mesh.p.T]
    for name in section.mesh.subdomains:
        region = made.AddRegion(name, dim=2)
        for corners in section.mesh.t[:, section.cells(name)].T:
            made.Add(Element2D(region, [points[corner] for corner in corners]))
    for end in ("gripped", "loaded"):
        facets = section.facets(end)
        for name in section.mesh.subdomains:
            own = facets[np.isin(section.mesh.f2t[0, facets], section.cells(name))]
            if len(own) == 0:
                continue
            region = made.AddRegion(f"{end} {name}", dim=1)
            for ends in section.mesh.facets[:, own].T:
                made.Add(Element1D([points[end] for end in ends], index=region))
    return ng.Mesh(made)


def bordered_inverse(matrix, free, everywhere: list[int]):
    """Return the function that solves with a matrix; the numbers `everywhere`, which meet all others, are eliminated last.

    Left among the others their full rows would fill the factors.
    """
    others = ng.BitArray(free)
    for number in everywhere:
        others.Clear(number)
    inverse = matrix.Inverse(others, inverse="umfpack")
    # The motions that each number drives, the others following free of force; and what force they ask for at the numbers.
    driven = []
    for number in everywhere:
        motion = matrix.CreateColVector()
        motion[:] = 0.0
        motion[number] = 1.0
        follows = (inverse * (matrix * motion)).Evaluate()
        motion.data -= follows
        driven.append(motion)
    forces = [(matrix * motion).Evaluate() for motion in driven]
    border = np.array([[force[number] for force in forces] for number in everywhere])

    def solve(right):
        found = (inverse * right).Evaluate()
        if everywhere:
            asked = (right - matrix * found).Evaluate()
            for factor, motion in zip(np.linalg.solve(border, [asked[number] for number in everywhere]), driven, strict=True):
                found.data += float(factor) * motion
        return found

    return solve


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
