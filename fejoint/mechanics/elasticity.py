"""Linear elasticity of a plane section, nothing else.

Strain and stress have four components in the order xx, yy, xy, zz; the shear
strain is the engineering one. The width strain e_zz is one number for the
whole section: zero in plane strain, an unknown in generalised plane strain.
The axes of an orthotropic material lie along x, y, z.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.conditions import Environment
from fejoint.joint.materials import AdherendMaterial, Adhesive

__all__ = ["Law", "element_stiffness", "law", "strain", "von_mises"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Law:
    """Hooke's law with the strain of free expansion and swelling: stress = stiffness (strain - free strain).

    Attributes
    ----------
    stiffness : (4, 4) array, MPa
    expansion : (4,) array, 1/K
    swelling : (4,) array
        Strain per mass fraction of water taken up.
    """

    stiffness: Floats
    expansion: Floats
    swelling: Floats = field(default_factory=lambda: np.zeros(4))

    def free_strain(self, environment: Environment) -> Floats:
        """Return the strain, (4,) array, that temperature and moisture cause without stress."""
        return self.expansion * environment.temperature_change + self.swelling * environment.moisture

    def free_stress(self, environment: Environment) -> Floats:
        """Return the stress, (4,) array in MPa, that the free strain takes away from that of the strain."""
        return self.stiffness @ self.free_strain(environment)

    def stress(self, strain_icq: Floats, environment: Environment) -> Floats:
        """Return the stress, MPa, of a strain of shape (4, ...) at a temperature and moisture."""
        elastic = strain_icq - self.free_strain(environment).reshape(-1, *[1] * (strain_icq.ndim - 1))
        return np.tensordot(self.stiffness, elastic, axes=1)


def law(material: AdherendMaterial | Adhesive, environment: Environment | None = None) -> Law:
    """Return Hooke's law of a material (Lekhnitskii, Theory of Elasticity of an Anisotropic Body, ch. 1, from memory).

    Where figures depend on the temperature they are those of the environment.
    """
    c = material.engineering_constants(environment)
    compliance = np.zeros((4, 4))
    compliance[np.ix_([0, 1, 3], [0, 1, 3])] = [
        [1 / c["e_x"], -c["nu_xy"] / c["e_x"], -c["nu_xz"] / c["e_x"]],
        [-c["nu_xy"] / c["e_x"], 1 / c["e_y"], -c["nu_yz"] / c["e_y"]],
        [-c["nu_xz"] / c["e_x"], -c["nu_yz"] / c["e_y"], 1 / c["e_z"]],
    ]
    compliance[2, 2] = 1 / c["g_xy"]
    stiffness = np.asarray(np.linalg.inv(compliance), dtype=np.float64)
    expansion = np.array([c["a_x"], c["a_y"], 0.0, c["a_z"]])
    swelling = material.free_strain(Environment(moisture=1.0))
    stiffness.flags.writeable = expansion.flags.writeable = False  # laws serve one joint after another
    return Law(stiffness, expansion, swelling)


def element_stiffness(stiffness_ijc: Floats, xx_abc: Floats, xy_abc: Floats, yy_abc: Floats) -> Floats:
    """Return element stiffness matrices per unit width, shape (c, 2a, 2a), N/mm/mm.

    Parameters
    ----------
    stiffness_ijc : (c, 4, 4) array
        Stiffness of every cell c, MPa.
    xx_abc, xy_abc, yy_abc : (c, a, a) arrays
        Integrals over cell c of N_a,x N_b,x; N_a,x N_b,y; N_a,y N_b,y for the
        shape functions a, b. The unknowns of a cell are u_x, u_y of shape
        function 0, then of 1, and so on.
    """
    c11, c22, c33, c12 = (stiffness_ijc[:, i, j, None, None] for i, j in ((0, 0), (1, 1), (2, 2), (0, 1)))
    cells, a, _ = xx_abc.shape
    k = np.empty((cells, a, 2, a, 2))
    yx_abc = xy_abc.transpose(0, 2, 1)
    k[:, :, 0, :, 0] = c11 * xx_abc + c33 * yy_abc
    k[:, :, 0, :, 1] = c12 * xy_abc + c33 * yx_abc
    k[:, :, 1, :, 0] = c12 * yx_abc + c33 * xy_abc
    k[:, :, 1, :, 1] = c22 * yy_abc + c33 * xx_abc
    return k.reshape(cells, 2 * a, 2 * a)


def strain(grad_ajqc: Floats, u_aic: Floats, width_strain: float) -> Floats:
    """Return the strain at the quadrature points, shape (4, c, q): xx, yy, xy (engineering), zz.

    Parameters
    ----------
    grad_ajqc : (c, q, a, 2) array
        Gradients of the shape functions, 1/mm.
    u_aic : (c, a, 2) array
        Displacement of every cell's nodes, mm.
    width_strain : float
        The uniform e_zz.
    """
    h = (grad_ajqc.transpose(0, 3, 1, 2) @ u_aic[:, None]).transpose(3, 1, 0, 2)  # i, j, c, q
    return np.stack([h[0, 0], h[1, 1], h[0, 1] + h[1, 0], np.full_like(h[0, 0], width_strain)])


def von_mises(stress: Floats) -> Floats:
    """Return the von Mises stress of stresses xx, yy, xy, zz along the first axis, MPa."""
    xx, yy, xy, zz = stress
    return np.asarray(np.sqrt(((xx - yy) ** 2 + (yy - zz) ** 2 + (zz - xx) ** 2) / 2 + 3 * xy**2))
