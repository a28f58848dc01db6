"""From the displacement gradient to a strain, and from the stress back to forces: three frames, one for each range of motion.

A frame says which strain measures the deformation and which stress does work
on it. What the material makes of the strain is none of its business, so that
every frame takes every material whose stress follows from a strain.

``small``
    Engineering strain and Cauchy stress: rotations and strains are small.
``green_lagrange``
    Green-Lagrange strain and second Piola-Kirchhoff stress: any rotation, and
    strains small enough for a stiffness that does not change with them
    (with Hooke's law the St Venant-Kirchhoff material).
``logarithmic``
    Logarithmic elastic strain and Kirchhoff stress in the axes of space: any
    rotation and any plastic strain. The deformation is the product of an elastic
    and a plastic one, the plastic one is advanced by the exponential map, and
    a return mapping written for small strains serves unchanged (Weber & Anand,
    Comput. Methods Appl. Mech. Eng. 79, 1990, 173-202; Simo, ibid. 99, 1992,
    61-112; both from memory). In simple shear its plastic strain
    grows by the shear over the square root of three, whatever the rotation of the axes,
    which is why it is the one for a layer that shears far. Isotropic materials only.

Indices: n point; displacement gradients (n, 2, 2) hold du_i/dX_J, strains and
stresses (n, 4) hold xx, yy, xy (engineering shear strain), zz; forces per area of the
undeformed body, (n, 5), the first Piola-Kirchhoff stress xx, xy, yx, yy, zz,
where xy is the force along x on a face whose normal was along y.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["FRAMES", "GreenLagrange", "Logarithmic", "Measured", "Small"]

Floats = NDArray[np.float64]

VOLUME = np.array([1.0, 1.0, 0.0, 1.0])
"""What makes the relative change of volume of a strain, and a strain of a change of volume"""
NEARLY_EQUAL = 1e-3  # principal values closer than this share of their mean: a series is the more accurate form


@dataclass(frozen=True, eq=False)
class Measured:
    """The strain at points, and how forces and strain go with the gradient.

    Attributes
    ----------
    strain : (n, 4) array
        With the history taken off: the elastic trial strain.
    by_gradient : (n, 4, 5) array
        Its derivatives by the gradient's components xx, xy, yx, yy and the width strain.
    force_of : (n, 5, 4) array
        What makes forces of the stress.
    inverse : (n, 2, 2) array or None
        Of the deformation gradient, where the frame needs it.
    dilatation : (n, 5) array
        Derivatives of the change of volume by the gradient.
    """

    strain: Floats
    by_gradient: Floats
    force_of: Floats
    inverse: Floats | None
    dilatation: Floats


class Small:
    """Engineering strain. History: the plastic strain xx, yy, xy, zz."""

    name = "small"
    history = 4

    def start(self, points: int) -> Floats:
        """Return the history of a virgin material, (points, 4)."""
        return np.zeros((points, 4))

    def volume(self, gradient: Floats, width: float) -> Floats:
        """Return the change of volume that is projected, (n,)."""
        return np.asarray(gradient[:, 0, 0] + gradient[:, 1, 1] + width)

    def measured(self, gradient: Floats, width: float, shift: Floats, history: Floats) -> Measured:
        """Return the elastic trial strain; `shift` is added to the change of volume."""
        n = len(gradient)
        return Measured(
            strain=self._total(gradient, width) + shift[:, None] / 3 * VOLUME - history,
            by_gradient=np.broadcast_to(_SMALL, (n, 4, 5)),
            force_of=np.broadcast_to(_SMALL.T, (n, 5, 4)),
            inverse=None,
            dilatation=np.broadcast_to(np.array([1.0, 0.0, 0.0, 1.0, 1.0]), (n, 5)),
        )

    def geometric(self, measured: Measured, stress: Floats, force: Floats, width: float) -> Floats | None:
        """Return how the forces go with the gradient at constant stress, (n, 5, 5); None for not at all."""
        return None

    def advanced(self, gradient: Floats, width: float, shift: Floats, elastic: Floats) -> Floats:
        """Return the history that goes with an elastic strain."""
        return np.asarray(self._total(gradient, width) + shift[:, None] / 3 * VOLUME - elastic)

    def _total(self, gradient: Floats, width: float) -> Floats:
        g = gradient
        return np.stack([g[:, 0, 0], g[:, 1, 1], g[:, 0, 1] + g[:, 1, 0], np.full(len(g), width)], axis=1)

    def cauchy(self, gradient: Floats, width: float, stress: Floats) -> Floats:
        """Return the Cauchy stress in the axes of space, (n, 4)."""
        return stress

    def bondline(self, gradient: Floats, width: float, stress: Floats) -> Floats:
        """Return the stress in the bondline's own directions, (n, 4)."""
        return stress


class GreenLagrange:
    """Green-Lagrange strain. No history: for elastic materials."""

    name = "green_lagrange"
    history = 0

    def start(self, points: int) -> Floats:
        """Return no history, (points, 0)."""
        return np.zeros((points, 0))

    def volume(self, gradient: Floats, width: float) -> Floats:
        """Return the change of volume that is projected, (n,)."""
        return _log_volume(gradient, width)

    def measured(self, gradient: Floats, width: float, shift: Floats, history: Floats) -> Measured:
        """Return the strain."""
        h, n = gradient, len(gradient)
        (xx, xy), (yx, yy) = (h[:, 0].T, h[:, 1].T)
        strain = np.empty((n, 4))
        strain[:, 0] = xx + (xx * xx + yx * yx) / 2
        strain[:, 1] = yy + (xy * xy + yy * yy) / 2
        strain[:, 2] = xy + yx + xx * xy + yx * yy
        strain[:, 3] = width + width * width / 2
        by = np.zeros((n, 4, 5))
        by[:, 0, 0], by[:, 0, 2] = 1 + xx, yx
        by[:, 1, 1], by[:, 1, 3] = xy, 1 + yy
        by[:, 2, 0], by[:, 2, 1], by[:, 2, 2], by[:, 2, 3] = xy, 1 + xx, 1 + yy, yx
        by[:, 3, 4] = 1 + width
        return Measured(strain, by, by.transpose(0, 2, 1), None, np.zeros((n, 5)))

    def geometric(self, measured: Measured, stress: Floats, force: Floats, width: float) -> Floats | None:
        """Return how the forces go with the gradient at constant stress, (n, 5, 5)."""
        by = np.zeros((len(stress), 5, 5))
        for i in (0, 2):  # dP_iJ = dF_iK S_KJ
            by[:, i, i], by[:, i + 1, i + 1] = stress[:, 0], stress[:, 1]
            by[:, i, i + 1] = by[:, i + 1, i] = stress[:, 2]
        by[:, 4, 4] = stress[:, 3]
        return by

    def advanced(self, gradient: Floats, width: float, shift: Floats, elastic: Floats) -> Floats:
        """Return no history."""
        return self.start(len(gradient))

    def cauchy(self, gradient: Floats, width: float, stress: Floats) -> Floats:
        """Return the Cauchy stress in the axes of space, (n, 4)."""
        f = gradient + np.eye(2)
        s = f @ _matrix(stress) @ f.transpose(0, 2, 1)
        volume = _determinant(f) * (1 + width)
        return np.asarray(
            np.stack([s[:, 0, 0], s[:, 1, 1], s[:, 0, 1], stress[:, 3] * (1 + width) ** 2], axis=1) / volume[:, None]
        )

    def bondline(self, gradient: Floats, width: float, stress: Floats) -> Floats:
        """Return the stress in the bondline's own directions, (n, 4): the second Piola-Kirchhoff stress itself."""
        return stress


class Logarithmic:
    """Logarithmic strain. History: the inverse of the plastic metric, C_p^-1, less one: xx, yy, xy, zz."""

    name = "logarithmic"
    history = 4

    def start(self, points: int) -> Floats:
        """Return the history of a virgin material, (points, 4)."""
        return np.zeros((points, 4))

    def volume(self, gradient: Floats, width: float) -> Floats:
        """Return the change of volume that is projected, (n,): the logarithm of the ratio of volumes."""
        return _log_volume(gradient, width)

    def measured(self, gradient: Floats, width: float, shift: Floats, history: Floats) -> Measured:
        """Return the elastic trial strain; `shift` is added to the change of volume."""
        n, f = len(gradient), gradient + np.eye(2)
        metric = _matrix(history) + np.eye(2)
        # b - 1, not b: its digits are those of the strain.
        change = gradient + gradient.transpose(0, 2, 1) + gradient @ gradient.transpose(0, 2, 1)
        change = change + f @ _matrix(history) @ f.transpose(0, 2, 1)
        across = (1 + width) ** 2 * history[:, 3] + width * (2 + width)
        half_sum, half_difference, off = (
            (change[:, 0, 0] + change[:, 1, 1]) / 2,
            (change[:, 0, 0] - change[:, 1, 1]) / 2,
            change[:, 0, 1],
        )
        mean, square = 1 + half_sum, half_difference**2 + off**2
        with np.errstate(invalid="ignore", divide="ignore"):
            determinant = mean**2 - square
            share = np.sqrt(square) / mean
            near = share < NEARLY_EQUAL
            safe = np.where(near, 1.0, share)
            log_ratio = np.where(
                near, (1 + share**2 / 3 + share**4 / 5) / mean, np.arctanh(np.where(near, 0.5, safe)) / (safe * mean)
            )
            area = np.log1p(2 * half_sum + half_sum**2 - square) / 4
            bend = np.where(
                near,
                (2 / 3 + 4 / 5 * share**2 + 6 / 7 * share**4) / mean**3,
                (mean / determinant - log_ratio) / np.where(near, 1.0, square),
            )
            strain = np.stack(
                [
                    area + log_ratio * half_difference / 2,
                    area - log_ratio * half_difference / 2,
                    log_ratio * off,
                    np.log1p(across) / 2,
                ],
                axis=1,
            )
        strain += shift[:, None] / 3 * VOLUME

        # Derivatives by the half sum, the half difference and the off-diagonal of b.
        by_b = np.empty((n, 3, 3))
        area_by = np.stack([mean, -half_difference, -off], axis=1) / (2 * determinant[:, None])
        ratio_by = np.stack([-1 / determinant, bend * half_difference, bend * off], axis=1)
        turned = half_difference[:, None] * ratio_by / 2
        turned[:, 1] += log_ratio / 2
        by_b[:, 0], by_b[:, 1] = area_by + turned, area_by - turned
        by_b[:, 2] = off[:, None] * ratio_by
        by_b[:, 2, 2] += log_ratio
        m = metric @ f.transpose(0, 2, 1)
        b_by = np.empty((n, 3, 4))
        b_by[:, 0] = np.stack([m[:, 0, 0], m[:, 1, 0], m[:, 0, 1], m[:, 1, 1]], axis=1)
        b_by[:, 1] = b_by[:, 0] * [1, 1, -1, -1]
        b_by[:, 2] = np.stack([m[:, 0, 1], m[:, 1, 1], m[:, 0, 0], m[:, 1, 0]], axis=1)
        by = np.zeros((n, 4, 5))
        by[:, :3, :4] = by_b @ b_by
        by[:, 3, 4] = 1 / (1 + width)

        inverse = _inverse(f)
        force_of = np.zeros((n, 5, 4))
        for j in (0, 1):
            force_of[:, j, 0], force_of[:, j, 2] = inverse[:, j, 0], inverse[:, j, 1]
            force_of[:, 2 + j, 2], force_of[:, 2 + j, 1] = inverse[:, j, 0], inverse[:, j, 1]
        force_of[:, 4, 3] = 1 / (1 + width)
        return Measured(strain, by, force_of, inverse, force_of @ VOLUME)

    def plastic_volume(self, history: Floats) -> Floats:
        """Return the plastic ratio of volumes, (n,)."""
        xx, yy, xy, zz = history.T
        return np.asarray(1 / np.sqrt(((1 + xx) * (1 + yy) - xy * xy) * (1 + zz)))

    def geometric(self, measured: Measured, stress: Floats, force: Floats, width: float) -> Floats | None:
        """Return how the forces go with the gradient at constant stress, (n, 5, 5)."""
        assert measured.inverse is not None
        by = np.zeros((len(stress), 5, 5))
        p = force[:, :4].reshape(-1, 2, 2)
        # dP_iJ = -P_iL F^-1_JM dF_ML
        by[:, :4, :4] = -np.einsum("nil,njm->nijml", p, measured.inverse).reshape(-1, 4, 4)
        by[:, 4, 4] = -force[:, 4] / (1 + width)
        return by

    def advanced(self, gradient: Floats, width: float, shift: Floats, elastic: Floats) -> Floats:
        """Return the history that goes with an elastic strain: F^-1 exp(2 strain) F^-T, less one."""
        f = gradient + np.eye(2)
        mean, difference, off = elastic[:, 0] + elastic[:, 1], elastic[:, 0] - elastic[:, 1], elastic[:, 2]
        size = np.hypot(difference, off)
        stretch = np.where(size > 1e-4, np.sinh(size) / np.where(size > 1e-4, size, 1.0), 1 + size**2 / 6)
        b = np.empty((len(f), 2, 2))
        b[:, 0, 0], b[:, 1, 1] = np.cosh(size) + stretch * difference, np.cosh(size) - stretch * difference
        b[:, 0, 1] = b[:, 1, 0] = stretch * off
        inverse = _inverse(f)
        scale = np.exp(mean - 2 * shift / 3)[:, None, None]
        metric = scale * (inverse @ b @ inverse.transpose(0, 2, 1))
        across = np.exp(2 * elastic[:, 3] - 2 * shift / 3) / (1 + width) ** 2
        return np.stack([metric[:, 0, 0] - 1, metric[:, 1, 1] - 1, metric[:, 0, 1], across - 1], axis=1)

    def cauchy(self, gradient: Floats, width: float, stress: Floats) -> Floats:
        """Return the Cauchy stress in the axes of space, (n, 4)."""
        return np.asarray(stress / (_determinant(gradient + np.eye(2)) * (1 + width))[:, None])

    def bondline(self, gradient: Floats, width: float, stress: Floats) -> Floats:
        """Return the Cauchy stress in the directions of the line that lay along x, (n, 4)."""
        along = gradient[:, :, 0] + [1.0, 0.0]
        c, s = (along / np.hypot(*along.T)[:, None]).T
        turn = np.stack([np.stack([c, s], axis=1), np.stack([-s, c], axis=1)], axis=1)
        cauchy = self.cauchy(gradient, width, stress)
        t = turn @ _matrix(cauchy) @ turn.transpose(0, 2, 1)
        return np.stack([t[:, 0, 0], t[:, 1, 1], t[:, 0, 1], cauchy[:, 3]], axis=1)


Frame = Small | GreenLagrange | Logarithmic
FRAMES: dict[str, Frame] = {frame.name: frame for frame in (Small(), GreenLagrange(), Logarithmic())}

_SMALL = np.zeros((4, 5))
_SMALL[0, 0] = _SMALL[1, 3] = _SMALL[2, 1] = _SMALL[2, 2] = _SMALL[3, 4] = 1.0


def _matrix(s: Floats) -> Floats:
    """Return the in-plane part of (n, 4) as (n, 2, 2)."""
    return np.stack([s[:, 0], s[:, 2], s[:, 2], s[:, 1]], axis=1).reshape(-1, 2, 2)


def _determinant(f: Floats) -> Floats:
    return np.asarray(f[:, 0, 0] * f[:, 1, 1] - f[:, 0, 1] * f[:, 1, 0])


def _inverse(f: Floats) -> Floats:
    turned = np.stack([f[:, 1, 1], -f[:, 0, 1], -f[:, 1, 0], f[:, 0, 0]], axis=1).reshape(-1, 2, 2)
    return np.asarray(turned / _determinant(f)[:, None, None])


def _log_volume(gradient: Floats, width: float) -> Floats:
    g = gradient
    change = g[:, 0, 0] + g[:, 1, 1] + g[:, 0, 0] * g[:, 1, 1] - g[:, 0, 1] * g[:, 1, 0]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.log1p(change) + np.log1p(width))
