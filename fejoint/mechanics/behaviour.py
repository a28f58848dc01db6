"""How a region of the section behaves: a frame, and in it a material that makes a stress of a strain."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.conditions import Environment
from fejoint.joint.description import Joint
from fejoint.joint.materials import AdherendMaterial, Adhesive, Orthotropic
from fejoint.joint.yielding import Yielding
from fejoint.mechanics.elasticity import law
from fejoint.mechanics.frames import FRAMES, VOLUME, Frame, Logarithmic
from fejoint.mechanics.plasticity import Updated, updated

__all__ = ["Behaviour", "Core", "Hooke", "Yields", "behaviours_of"]

Floats = NDArray[np.float64]


class Core(Protocol):
    """A material in one environment: what its stress is, and what is left of a strain."""

    def respond(self, trial: Floats, plastic: Floats, tangent: bool) -> Updated:
        """Return stress, moduli and what became of the elastic trial strain, (n, 4), the free strain included."""

    def of_elastic(self, elastic: Floats) -> Floats:
        """Return the stress of an elastic strain, (n, 4)."""


@dataclass(frozen=True, eq=False)
class Hooke:
    """Linear elasticity. `stiffness` (4, 4), MPa; `free` (4,) the strain without stress."""

    stiffness: Floats
    free: Floats

    def respond(self, trial: Floats, plastic: Floats, tangent: bool) -> Updated:
        """Return stress and stiffness; the strain stays elastic."""
        moduli = np.broadcast_to(self.stiffness, (len(trial), 4, 4)) if tangent else None
        return Updated(self.of_elastic(trial), moduli, trial, plastic)

    def of_elastic(self, elastic: Floats) -> Floats:
        """Return the stress of an elastic strain, (n, 4)."""
        return np.asarray((elastic - self.free) @ self.stiffness.T)


@dataclass(frozen=True, eq=False)
class Yields:
    """Elasticity up to yield, then plastic flow (`fejoint.mechanics.plasticity`)."""

    hooke: Hooke
    yielding: Yielding
    modulus: float
    poisson_ratio: float
    temperature: float | None

    def respond(self, trial: Floats, plastic: Floats, tangent: bool) -> Updated:
        """Return stress, consistent moduli, and the elastic and equivalent plastic strain at the increment's end."""
        e, nu = self.modulus, self.poisson_ratio
        return updated(self.yielding, e, nu, trial, plastic, self.hooke.free, self.temperature, tangent)

    def of_elastic(self, elastic: Floats) -> Floats:
        """Return the stress of an elastic strain, (n, 4)."""
        return self.hooke.of_elastic(elastic)


@dataclass(frozen=True, eq=False)
class Behaviour:
    """A region's material in a frame.

    Attributes
    ----------
    material : Isotropic, Orthotropic or Adhesive
    frame : Frame
    yielding : Yielding or None
        None: elastic for good.
    """

    material: AdherendMaterial | Adhesive
    frame: Frame
    yielding: Yielding | None

    @property
    def projected(self) -> bool:
        """Whether the change of volume is projected."""
        return self.yielding is not None

    @property
    def symmetric(self) -> bool:
        """Whether its moduli are symmetric: flow is normal to the yield surface."""
        return self.yielding is None or self.yielding.surface == "von-mises"

    @property
    def dilates(self) -> bool:
        """Whether plastic flow may change the volume, so that it matters of which volume the material's stress is."""
        return self.frame.name == "logarithmic" and self.yielding is not None and self.yielding.surface != "von-mises"

    def of_plastic_volume(self, core: Core, trial: Floats, history: Floats, found: Updated) -> Updated:
        """Return stress and moduli per undeformed volume, those of the core being per volume after plastic flow.

        The material's energy, and with it the yield stress, is that of a unit of the
        material as it has flowed. Else a layer that swells as it flows would
        fall below its own curve by as much as it has swollen.
        """
        assert isinstance(self.frame, Logarithmic)
        assert isinstance(core, Yields)
        bulk = float(VOLUME @ core.hooke.stiffness @ VOLUME) / 9
        ratio = self.frame.plastic_volume(history) * np.exp((trial - found.elastic) @ VOLUME)
        moduli = found.moduli
        if moduli is not None:
            by_trial = VOLUME - VOLUME @ moduli / (3 * bulk)
            moduli = ratio[:, None, None] * (moduli + found.stress[:, :, None] * by_trial[:, None, :])
        return replace(found, stress=ratio[:, None] * found.stress, moduli=moduli)

    def core(self, environment: Environment) -> Core:
        """Return the material in an environment."""
        hooke = Hooke(law(self.material, environment).stiffness, self.material.free_strain(environment))
        if self.yielding is None:
            return hooke
        assert not isinstance(self.material, Orthotropic)  # which never yields
        modulus, ratio = self.material.elastic_at(environment)
        return Yields(hooke, self.yielding, modulus, ratio, environment.temperature)


def behaviours_of(joint: Joint) -> dict[str, Behaviour]:
    """Return the behaviour of every region of a joint, as its analysis asks for; a cohesive layer has none."""
    yielding, large = joint.yielding(), joint.analysis.large_rotation

    def frame(name: str) -> str:
        if not large:
            return "small"
        return "logarithmic" if name in yielding else "green_lagrange"

    regions = {name: m for name, m in joint.materials().items() if name != "adhesive" or not joint.analysis.cohesive}
    return {name: Behaviour(m, FRAMES[frame(name)], yielding.get(name)) for name, m in regions.items()}
