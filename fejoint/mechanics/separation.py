"""What a thin layer bears as its two faces part: a traction of the separation, with damage that grows and never heals.

The separation has two parts, the opening and the sliding. The law is of the
damage kind: a potential (1 - d) Y, with Y = k_n <opening>^2 / 2 + k_t sliding^2 / 2 the
energy of the sound layer, one damage d for both parts, and unloading straight
back to the origin. Closing faces press on each other with the sound stiffness,
whatever the damage, and pressing damages nothing.

Along a path of one mode mix the traction rises to the onset, where the squares of the
stresses over their strengths add up to 1; stays there over a plateau, or not
(bilinear); and falls straight to nothing. The mix is B = Y_2 / (Y_1 + Y_2), which the ratio
of the separations decides and damage does not change. So the work of such a path is
shared between the modes as B says, and the failure separation is chosen such that
the work is exactly the toughness of that mix:

power     (G_1/G_1c)^m + (G_2/G_2c)^m = 1
b-k       G_c = G_1c + (G_2c - G_1c) B^m  (Benzeggagh & Kenane, Compos. Sci. Technol. 56, 1996, 439-449, from memory)

Where the mix changes on the way the damage is the largest that the separations
so far ask for, each by the law of its own mix: it never falls, and what is dissipated,
the sum of Y dd, is never negative (the kind of law of Camanho, Davila & de Moura, J. Compos. Mater. 37,
2003, 1415-1438, from memory; the two stiffnesses, plateaus and the mix by energy are derived here).

With f the ratio of onset, e the energy Y at the onset and r the plateau's share, all of
one mix, the work up to failure at the ratio F = separation / onset separation is
e (F + r (F - 1)), hence F = (G_c / e + r) / (1 + r).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["Mix", "Pulled", "TractionLaw"]

Floats = NDArray[np.float64]

# Steps in which the work of an increment is summed: damage along a straight line of separations is that smooth.
PIECES = 8


class Mix(NamedTuple):
    """What a mode mix decides, (n,) each.

    Attributes
    ----------
    share : array
        Of mode II in the work, B.
    toughness, onset_energy : arrays, N/mm
    plateau, failure : arrays
        Plateau's share r; separation at failure over that at onset.
    """

    share: Floats
    toughness: Floats
    onset_energy: Floats
    plateau: Floats
    failure: Floats


class Pulled(NamedTuple):
    """What a layer answers to separations.

    Attributes
    ----------
    traction : (n, 2) array, MPa
        Normal and shear.
    damage : (n,) array
        After the increment.
    moduli : (n, 2, 2) array or None, N/mm^3
        Derivatives of the traction by opening and sliding.
    """

    traction: Floats
    damage: Floats
    moduli: Floats | None


@dataclass(frozen=True)
class TractionLaw:
    """Traction of the separation of a layer's faces.

    Attributes
    ----------
    normal_stiffness, shear_stiffness : float, N/mm^3
    normal_strength, shear_strength : float, MPa
    toughness_1, toughness_2 : float, N/mm
        In pure opening and pure sliding; above the energy at onset, strength^2 / (2 stiffness).
    plateau_1, plateau_2 : float
        (End of the plateau - onset) / (failure - onset), of the separation: 0 is bilinear. In between the mix's share decides.
    rule : str
        ``"power"`` or ``"b-k"``.
    exponent : float
    """

    normal_stiffness: float
    shear_stiffness: float
    normal_strength: float
    shear_strength: float
    toughness_1: float
    toughness_2: float
    plateau_1: float = 0.0
    plateau_2: float = 0.0
    rule: str = "power"
    exponent: float = 1.0

    def mix(self, share: Floats) -> Mix:
        """Return what goes with shares of mode II in the work, (n,)."""
        toughness, _ = self._toughness(share)
        energy, _ = self._onset_energy(share)
        plateau = self.plateau_1 + (self.plateau_2 - self.plateau_1) * share
        return Mix(share, toughness, energy, plateau, (toughness / energy + plateau) / (1 + plateau))

    def onset(self, separation: Floats) -> Floats:
        """Return how far separations (n, 2) are towards onset: 1 there, in proportion to them along one mode mix."""
        opening, sliding = np.maximum(separation[:, 0], 0.0), separation[:, 1]
        return np.asarray(
            np.hypot(self.normal_stiffness * opening / self.normal_strength, self.shear_stiffness * sliding / self.shear_strength)
        )

    def progress(self, separation: Floats) -> tuple[Floats, Floats]:
        """Return how far separations are towards failure, 1 there, (n,), and how that goes with them at one mix, (n, 2)."""
        f = self.onset(separation)
        mix = self.mix(self.shares(separation))
        squares = [(self.normal_stiffness / self.normal_strength) ** 2, (self.shear_stiffness / self.shear_strength) ** 2]
        pulled = np.stack([np.maximum(separation[:, 0], 0.0), separation[:, 1]], axis=1)
        return f / mix.failure, pulled * squares / (np.maximum(f, 1e-300) * mix.failure)[:, None]

    def respond(self, separation: Floats, damage: Floats, tangent: bool = True) -> Pulled:
        """Return traction, damage and moduli.

        Parameters
        ----------
        separation : (n, 2) array, mm
            Opening and sliding.
        damage : (n,) array
            At the increment's start.
        tangent : bool
        """
        stiffness = np.array([self.normal_stiffness, self.shear_stiffness])
        opens = separation[:, 0] >= 0
        asked, slope = self._damage(separation, tangent)
        now = np.maximum(damage, asked)
        sound = np.stack([np.where(opens, 1 - now, 1.0), 1 - now], axis=1) * stiffness
        traction = sound * separation
        if slope is None:
            return Pulled(traction, now, None)
        moduli = np.zeros((len(now), 2, 2))
        moduli[:, [0, 1], [0, 1]] = sound
        grows = (asked > damage)[:, None, None]
        pulled = stiffness * np.stack([np.where(opens, separation[:, 0], 0.0), separation[:, 1]], axis=1)
        moduli -= np.where(grows, pulled[:, :, None] * slope[:, None, :], 0.0)
        return Pulled(traction, now, moduli)

    def dissipated(self, start: Floats, end: Floats, damage: Floats) -> Floats:
        """Return the work lost in opening and in sliding, (n, 2), N/mm, on the straight way between separations, (n, 2).

        `damage` is that at the start.
        """
        lost = np.zeros_like(start)
        before, energy = damage, self._energies(start)
        for share in np.arange(1, PIECES + 1) / PIECES:
            place = start + share * (end - start)
            now, then = np.maximum(before, self._damage(place, False)[0]), self._energies(place)
            lost += (now - before)[:, None] * (energy + then) / 2
            before, energy = now, then
        return lost

    # ---- parts ----

    def _energies(self, separation: Floats) -> Floats:
        """Return the energy of the sound layer in opening and in sliding, (n, 2), N/mm."""
        opening = np.maximum(separation[:, 0], 0.0)
        return np.stack([self.normal_stiffness * opening**2, self.shear_stiffness * separation[:, 1] ** 2], axis=1) / 2

    def shares(self, separation: Floats) -> Floats:
        """Return the share of mode II in the work of separations of one mix, (n,)."""
        energy = self._energies(separation)
        total = energy.sum(axis=1)
        return np.asarray(energy[:, 1] / np.where(total > 0, total, 1.0))

    def _toughness(self, share: Floats) -> tuple[Floats, Floats]:
        """Return the toughness of a mix and its derivative by the share."""
        m, first, second = self.exponent, self.toughness_1, self.toughness_2
        b = np.clip(share, 1e-12, 1 - 1e-12)  # powers below 1 have no slope at the ends
        if self.rule == "b-k":
            return first + (second - first) * share**m, (second - first) * m * b ** (m - 1)
        total = ((1 - share) / first) ** m + (share / second) ** m
        by = m * (b / second) ** (m - 1) / second - m * ((1 - b) / first) ** (m - 1) / first
        return total ** (-1 / m), -(total ** (-1 / m - 1)) * by / m

    def _onset_energy(self, share: Floats) -> tuple[Floats, Floats]:
        """Return the energy at onset of a mix and its derivative by the share."""
        first, second = 2 * self.normal_stiffness / self.normal_strength**2, 2 * self.shear_stiffness / self.shear_strength**2
        energy = 1 / ((1 - share) * first + share * second)
        return energy, -(energy**2) * (second - first)

    def _damage(self, separation: Floats, slope: bool) -> tuple[Floats, Floats | None]:
        """Return the damage that separations ask for, (n,), and its derivatives by them, (n, 2)."""
        f = self.onset(separation)
        share = self.shares(separation)
        mix = self.mix(share)
        r, last = mix.plateau, mix.failure
        end = 1 + r * (last - 1)  # of the plateau
        safe = np.maximum(f, 1.0)
        falls, gone = safe > end, safe >= last
        # What is left of the onset traction: 1 on the plateau, then straight down.
        left = np.where(falls, np.clip((last - safe) / (last - end), 0.0, 1.0), 1.0)
        damage = np.where(gone, 1.0, 1 - left / safe)
        if not slope:
            return damage, None
        # d = 1 - left / f, left of f, F and r; those of the mix.
        span = last - end
        left_f = np.where(falls, -1 / span, 0.0)
        left_last = np.where(falls, (1 - left * (1 - r)) / span, 0.0)
        left_r = np.where(falls, left * (last - 1) / span, 0.0)
        _, toughness_b = self._toughness(share)
        _, energy_b = self._onset_energy(share)
        r_b = self.plateau_2 - self.plateau_1
        ratio = mix.toughness / mix.onset_energy
        ratio_b = (toughness_b - ratio * energy_b) / mix.onset_energy
        last_b = ratio_b / (1 + r) + r_b * (1 - ratio) / (1 + r) ** 2
        by_f = left / safe**2 - left_f / safe
        by_b = -(left_last * last_b + left_r * r_b) / safe
        opening, sliding = np.maximum(separation[:, 0], 0.0), separation[:, 1]
        total = np.maximum(self._energies(separation).sum(axis=1), 1e-300)
        b_by = np.stack(
            [
                -share * self.normal_stiffness * opening / total,
                (1 - share) * self.shear_stiffness * sliding / total,
            ],
            axis=1,
        )
        f_by = np.stack(
            [
                (self.normal_stiffness / self.normal_strength) ** 2 * opening / safe,
                (self.shear_stiffness / self.shear_strength) ** 2 * sliding / safe,
            ],
            axis=1,
        )
        by = by_f[:, None] * f_by + by_b[:, None] * b_by
        return damage, np.where(((f > 1) & ~gone)[:, None], by, 0.0)
