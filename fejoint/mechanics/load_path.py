"""How the load passes from adherend to adherend: through which part of the bond, and what that leaves in the metal."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Bondline
from fejoint.joint.families import SteppedLap
from fejoint.mechanics.linear import Solution
from fejoint.mechanics.recovery import cut_resultant, edge_loads, passed_on

__all__ = ["AdherendSection", "adherend_peaks", "adherend_sections", "bond_forces"]

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class AdherendSection:
    """What an adherend carries at one place, per unit width.

    Attributes
    ----------
    adherend : str
    place : str
        ``"overlap"`` where it enters the overlap, ``"end"`` at its gripped or
        loaded end, ``"step"`` where a step has taken metal away.
    x, thickness : float, mm
        Where, and how much metal there is.
    axial, shear : float, N/mm
    moment : float or None, N
        About the adherend's mid-plane; None at the steps of a stepped lap,
        where only the axial load is known.
    """

    adherend: str
    place: str
    x: float
    thickness: float
    axial: float
    shear: float | None
    moment: float | None

    @property
    def axial_stress(self) -> float:
        """Mean stress along x, MPa."""
        return self.axial / self.thickness

    @property
    def peak_stress(self) -> float:
        """Largest beam stress on the faces in magnitude, N/t + 6 M/t^2; the mean where no moment is known, MPa."""
        return abs(self.axial_stress) + 6 * abs(self.moment or 0.0) / self.thickness**2


def bond_forces(solution: Solution, stress: Floats) -> dict[str, float]:
    """Return the load that every part of the bond passes on, N/mm, positive for a joint in tension; they add up to the load.

    One part a bond, over its whole cut, spew fillets included; of a stepped
    lap its treads (by shear) and risers (by tension across them). `stress` is
    the recovered adhesive stress (`nodal_stress`, kind ``carried``).
    """
    geometry = solution.joint.geometry
    if isinstance(geometry, SteppedLap):
        if solution.joint.flaws:
            return _stair_forces(solution, stress)
        parts = {"riser 1": "riser 1 middle"}
        for i in range(1, len(geometry.treads) + 1):
            parts |= {f"tread {i}": f"bondline {i} middle", f"riser {i + 1}": f"riser {i + 1} middle"}
        return {name: cut_resultant(solution, stress, curve, (0.0, 0.0)).x for name, curve in parts.items()}
    return {
        f"bondline {bond.number}": bond.sign * cut_resultant(solution, stress, f"cut {bond.number}", (0.0, 0.0)).x
        for bond in geometry.bonds()
    }


def adherend_sections(solution: Solution, bondlines: list[Bondline]) -> list[AdherendSection]:
    """Return the adherends' sections that matter: at both ends of each arm, and where steps have taken metal away.

    Along an arm the moment runs straight, so it is largest at one of its ends:
    where it enters the overlap, by equilibrium from the end face, or at that
    face. At a step the axial load is what the bond has not yet passed on, with
    the step's riser and, on the far side of it, its spew counted as passed.
    """
    geometry = solution.joint.geometry
    parts, entries = geometry.adherends(), geometry.entries()
    found = []
    for name, loads in edge_loads(solution).items():
        end, t = solution.ends[name], parts[name].thickness
        at_end = (end.moment if end.x > entries[name] else -end.moment) + 0.0
        found.append(AdherendSection(name, "overlap", entries[name], t, loads.axial, loads.shear, loads.moment))
        found.append(AdherendSection(name, "end", end.x, t, loads.axial, loads.shear, at_end))
    if isinstance(geometry, SteppedLap):
        load = solution.joint.line_load
        net, right = geometry.net_thickness(), [*accumulate(geometry.treads)]
        for i, bondline in enumerate(bondlines):
            assert bondline.transferred is not None
            before, after = float(bondline.transferred[0]), float(bondline.transferred[-1])
            left = right[i - 1] if i else 0.0
            found.append(AdherendSection("lower", "step", left, net["lower"][i], load - before, None, None))
            found.append(AdherendSection("upper", "step", right[i], net["upper"][i], after, None, None))
    return found


def _stair_forces(solution: Solution, stress: Floats) -> dict[str, float]:
    """Return the load that treads and risers of a stair with flaws pass on, from the cut that keeps clear of their tips."""
    d = solution.discretisation
    so_far, cut = passed_on(solution, stress, "cut 1"), d.line("cut 1")
    found: dict[str, float] = {}
    before = 0.0
    for bond in solution.joint.geometry.bonds():
        tread = d.line(f"bondline {bond.number} middle")
        start, end = (float(so_far[node]) for node in (tread[0, 0], tread[-1, 2]))
        found |= {f"riser {bond.number}": start - before, f"tread {bond.number}": end - start}
        before = end
    return {**found, f"riser {len(solution.joint.geometry.bonds()) + 1}": float(so_far[cut[-1, 2]]) - before}


def adherend_peaks(sections: list[AdherendSection]) -> dict[str, float]:
    """Return the largest beam stress of every adherend, by its name, MPa."""
    peaks: dict[str, float] = {}
    for section in sections:
        peaks[section.adherend] = max(section.peak_stress, peaks.get(section.adherend, 0.0))
    return peaks
