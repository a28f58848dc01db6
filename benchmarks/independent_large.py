"""A section that turns far, solved by ngsolve: an independent check of the package's large rotation.

As in `benchmarks/independent.py` nothing of the package's mechanics is used but
the mesh. The St Venant-Kirchhoff body's energy is written down as it is, half
the Green-Lagrange strain times Hooke's stiffness times itself, and ngsolve
differentiates it, twice; Newton's method and its steps are written anew.
Clamped ends and plane strain alone. Element and rule are the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import ngsolve as ng
import numpy as np
from numpy.typing import NDArray

from benchmarks.independent import as_ngsolve_mesh, at_points, face_motion, gauss_rule, hooke
from fejoint import Joint
from fejoint.mechanics.section import Section

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LargeRotation:
    """What ngsolve finds at one load.

    Attributes
    ----------
    displacement : (points, 2) array, mm
        At the points asked for.
    second_piola : (points, 4) array, MPa
        xx, yy, xy, zz of the layer's second Piola-Kirchhoff stress at the places asked for.
    elongation : float, mm
    load : float, N/mm
        Tensile force on the loaded end.
    forces : dict
        Force along x and y and moment about the face's middle, where it is then, on every end face, N/mm and N.
    steps : list of float
        Residual after every iteration, as a share of the load.
    """

    displacement: Floats
    second_piola: Floats
    elongation: float
    load: float
    forces: dict[str, tuple[float, float, float]]
    steps: list[float]


def solve_large_rotation(
    joint: Joint,
    section: Section,
    loads: list[float],
    points: Floats,
    places: Floats | None = None,
    stiffness: dict[str, Floats] | None = None,
    elongations: list[float] | None = None,
) -> list[LargeRotation]:
    """Return a whole section under growing tensile loads (N/mm), or moved by given elongations.

    Parameters
    ----------
    points : (n, 2) array
        Nodes whose displacement is asked for.
    places : (m, 2) array, optional
        Places inside cells of the layer whose stress is asked for.
    stiffness : dict of (4, 4) arrays, optional
        By region, in place of the joint's materials.
    elongations : list of float, optional
        Instead of the loads, which then are the answer.
    """
    assert joint.load.ends == "clamped" and joint.out_of_plane != "generalised"
    mesh = as_ngsolve_mesh(section)
    faces = mesh.GetBoundaries()
    dx = ng.dx(intrules={ng.QUAD: gauss_rule()})
    plane = ng.VectorH1(mesh, order=2, dirichletx="|".join(faces))
    space = ng.FESpace([plane, *[ng.NumberSpace(mesh, definedon=mesh.Boundaries(face)) for face in faces]])
    if stiffness is None:
        law = hooke(joint, mesh)[0]
    else:
        law = ng.CF([ng.CF(tuple(stiffness[name].ravel().tolist()), dims=(4, 4)) for name in mesh.GetMaterials()])

    def strain(gradient):
        h = gradient
        return ng.CF(
            (
                h[0, 0] + (h[0, 0] ** 2 + h[1, 0] ** 2) / 2,
                h[1, 1] + (h[0, 1] ** 2 + h[1, 1] ** 2) / 2,
                h[0, 1] + h[1, 0] + h[0, 0] * h[0, 1] + h[1, 0] * h[1, 1],
                0.0,
            )
        )

    u, *holds = space.TrialFunction()
    form = ng.BilinearForm(space, symmetric=False)
    e = strain(ng.Grad(u))
    form += ng.Variation(ng.InnerProduct(law * e, e) / 2 * dx)
    for face, hold in zip(faces, holds, strict=True):
        form += ng.Variation(hold * u[1] * ng.ds(face))

    loaded = "|".join(face for face in faces if face.startswith("loaded"))
    pull = joint.geometry.pull
    moved = ng.GridFunction(space)
    moved.components[0].vec.data = pull * face_motion(plane, loaded, ng.CF(1.0)).vec
    solution = ng.GridFunction(space)
    residual, change, following = (solution.vec.CreateVector() for _ in range(3))
    free = space.FreeDofs()
    given = ng.Projector(free, range=True)

    # Each goal starts from a parabola through the last three answers: forces of Newton's first step grow with the square of a
    # turn that is not foreseen.
    found, known = [], [(0.0, solution.vec.FV().NumPy().copy())]
    for goal in elongations or loads:
        steps = []
        past = known[-3:]
        if len(past) > 1:
            shares = [np.prod([(goal - other) / (own - other) for other, _ in past if other != own]) for own, _ in past]
            solution.vec.FV().NumPy()[:] = sum(share * vector for share, (_, vector) in zip(shares, past, strict=True))
        if elongations:
            start = ng.InnerProduct(solution.vec, moved.vec) / ng.InnerProduct(moved.vec, moved.vec)
            solution.vec.data += (goal - start) * moved.vec
        for _ in range(60):
            form.Apply(solution.vec, residual)
            load = ng.InnerProduct(residual, moved.vec)
            form.AssembleLinearization(solution.vec)
            inverse = form.mat.Inverse(free, inverse="umfpack")
            inside = residual.CreateVector()
            inside.data = given * residual
            missing = 0.0 if elongations else goal - load
            steps.append(
                float(max(np.abs(inside.FV().NumPy()).max(), abs(missing)) / abs(goal if not elongations else load or 1))
            )
            change.data = -(inverse * residual)
            if not elongations:
                # The face's motion is one unknown more, eliminated last.
                following.data = moved.vec
                following.data -= inverse * (form.mat * moved.vec).Evaluate()
                stiff = ng.InnerProduct((form.mat * following).Evaluate(), moved.vec)
                give = ng.InnerProduct((form.mat * change).Evaluate(), moved.vec)
                change.data += float((missing - give) / stiff) * following
            # Long steps turn cells inside out.
            largest = np.abs(change.FV().NumPy()[: plane.ndof]).max()
            solution.vec.data += min(1.0, 2.0 / largest if largest > 0 else 1.0) * change
            size = np.abs(solution.vec.FV().NumPy()[: plane.ndof]).max()
            if largest < 1e-11 * size + 1e-14:
                break
        else:
            raise RuntimeError(f"ngsolve does not settle at {goal:g}: {steps[-3:]}")
        known.append((goal, solution.vec.FV().NumPy().copy()))
        form.Apply(solution.vec, residual)
        whole = solution.components[0]

        def work_on(face, motion, residual=residual):
            field = ng.GridFunction(space)
            field.components[0].Set(motion, definedon=mesh.Boundaries(face))
            return float(ng.InnerProduct(residual, field.vec))

        # The multipliers' work is in the residual: what they hold is their number times the face's length.
        held = {face: -part.vec[0] for face, part in zip(faces, solution.components[1:], strict=True)}
        forces = {}
        for face in faces:
            boundary = mesh.Boundaries(face)
            high = ng.Integrate(1.0, mesh, definedon=boundary)
            middle = ng.Integrate(ng.y, mesh, definedon=boundary) / high
            forces[face] = (
                work_on(face, ng.CF((1.0, 0.0))),
                float(held[face] * high),
                work_on(face, ng.CF((middle - ng.y - whole[1], 0.0))),
            )
        second = np.zeros((0, 4))
        if places is not None:
            second = np.array([(law * strain(ng.Grad(whole)))(mesh(*place)) for place in places])
        found.append(
            LargeRotation(
                displacement=at_points(mesh, whole, points),
                second_piola=second,
                elongation=float(ng.InnerProduct(solution.vec, moved.vec) / ng.InnerProduct(moved.vec, moved.vec)),
                load=float(ng.InnerProduct(residual, moved.vec)),
                forces=forces,
                steps=steps,
            )
        )
    return found
