"""What a solved joint comes to: its curves, loads and checks, whether just solved or read back from the files of a run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from fejoint.bondline.curves import Bondline, EdgeLoads, Peak, foremost
from fejoint.joint.description import Joint
from fejoint.joint.families import SingleLap
from fejoint.mechanics.checks import Check
from fejoint.mechanics.layer import Crack
from fejoint.mechanics.load_path import AdherendSection, adherend_peaks

__all__ = ["Outcome"]


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Outcome:
    """What a solved joint comes to.

    Attributes
    ----------
    joint : Joint
        At the load that it bears here.
    bondlines : list of Bondline
    edges : dict of EdgeLoads
        What every adherend carries where it enters the overlap, by its name.
    bond_forces : dict
        Load that every part of the bond passes on, N/mm, by its name.
    adherend_sections : list of AdherendSection
        What the adherends carry at both ends of their arms, and at steps.
    spew_peaks : dict
        Largest shear and most opening peel of the mid-line in the spew, beyond
        the overlap, by bondline (`fejoint.mechanics.recovery.spew_peaks`).
    checks : list of Check
    discretisation_error : dict
        Estimated error of ``peak_shear`` and ``peak_peel``, as shares.
    unknowns : int
        Number of unknowns of the last mesh.
    seconds : dict
        Time by stage, all meshes together.
    warnings : list of str
    elongation, lift : float, mm
        Displacement of the loaded end, in the direction of a tensile force and along y.
    turn : float
        Rotation of the loaded end, counter-clockwise.
    asked : Joint or None
        The joint as given, where that is another: on the way there, or where
        the load could not be reached.
    step, number : str, int
        Name of the load step and number of the increment, of an analysis along the load's path.
    iterations : int
        Of the increment.
    plastic_strain : dict
        Largest equivalent plastic strain by region that may yield: on the
        mid-lines for the adhesive, anywhere for an adherend.
    yielded : dict
        Share of each bondline's mid-line that has yielded, by its number.
    cracks : dict of Crack
        How far each bondline of a cohesive layer has parted, by its number.
    limit : str
        Why the load could not be reached; empty where it was.
    path : tuple of Outcome
        Every increment on the load's path, the last one this outcome's own, or
        that of the largest load where a cohesive layer has parted; empty for a linear analysis.
    """

    joint: Joint
    bondlines: list[Bondline]
    edges: dict[str, EdgeLoads]
    bond_forces: dict[str, float]
    adherend_sections: list[AdherendSection]
    spew_peaks: dict[int, tuple[Peak, Peak]]
    checks: list[Check]
    discretisation_error: dict[str, float]
    unknowns: int
    seconds: dict[str, float]
    warnings: list[str]
    elongation: float = 0.0
    turn: float = 0.0
    lift: float = 0.0
    asked: Joint | None = None
    step: str = ""
    number: int = 0
    iterations: int = 0
    plastic_strain: dict[str, float] = field(default_factory=dict)
    yielded: dict[int, float] = field(default_factory=dict)
    cracks: dict[int, Crack] = field(default_factory=dict)
    limit: str = ""
    path: tuple[Outcome, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether all self-checks hold."""
        return all(check.passed for check in self.checks)

    @property
    def peak_shear(self) -> tuple[Peak, int]:
        """Mid-line shear of largest magnitude, and the bondline it is in."""
        return self._extreme(lambda b: b.peak_shear, lambda p: abs(p.value))

    @property
    def peak_peel(self) -> tuple[Peak, int]:
        """Most opening mid-line peel, and the bondline it is in."""
        return self._extreme(lambda b: b.peak_peel, lambda p: p.value)

    @property
    def least_peel(self) -> tuple[Peak, int]:
        """Most closing mid-line peel, and the bondline it is in."""
        return self._extreme(lambda b: b.least_peel, lambda p: -p.value)

    @property
    def adherend_peaks(self) -> dict[str, float]:
        """Largest beam stress of every adherend, by its name, MPa."""
        return adherend_peaks(self.adherend_sections)

    @property
    def edge_moment_factors(self) -> tuple[float, float] | None:
        """Edge moment factors 2 M / (P (t + t_a)) at both ends of a single lap under a force alone; else None."""
        load, geometry = self.joint.line_load, self.joint.geometry
        if load == 0 or not isinstance(geometry, SingleLap) or not self.joint.load.force_alone:
            return None
        left, right, ta = self.edges["lower"], self.edges["upper"], geometry.bondline_thickness
        return (
            -2 * left.moment / (load * (geometry.lower.thickness + ta)),
            2 * right.moment / (load * (geometry.upper.thickness + ta)),
        )

    def _extreme(self, peak: Callable[[Bondline], Peak], size: Callable[[Peak], float]) -> tuple[Peak, int]:
        first = self.bondlines[foremost([size(peak(bondline)) for bondline in self.bondlines])]
        return peak(first), first.number

    def __repr__(self) -> str:
        shear, peel = self.peak_shear[0], self.peak_peel[0]
        return (
            f"{type(self).__name__}({self.joint.title or self.joint.geometry.kind!r}: "
            f"peak shear {shear.value:.4g} MPa at x = {shear.x:.4g} mm, "
            f"peak peel {peel.value:.4g} MPa at x = {peel.x:.4g} mm, checks {'passed' if self.passed else 'MISSED'})"
        )
