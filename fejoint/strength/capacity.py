"""One answer to what load breaks the joint, by one criterion."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

__all__ = ["ADHESIVE_MODES", "MODES", "Capacity", "Mode"]


@dataclass(frozen=True)
class Mode:
    """A way to fail, in the words of the standards for the looks of a broken bond.

    ISO 10365 and ASTM D5573 designate failure patterns; the letters of the
    former are from memory. D5573 is for fibre-reinforced adherends; its words
    are used for metal too (common practice, no source).
    """

    key: str
    name: str
    iso_10365: str
    astm_d5573: str


MODES = {
    mode.key: mode
    for mode in (
        Mode("cohesive", "cohesive failure in the adhesive", "cohesion failure (CF)", "cohesive failure"),
        Mode("interface", "adhesive failure at the interface", "adhesion failure (AF)", "adhesive failure"),
        Mode("adherend-yield", "yield of an adherend", "none: nothing parts", "none: nothing parts"),
        Mode("buckling", "buckling of the joint", "none: nothing parts", "none: nothing parts"),
        Mode("adherend-rupture", "rupture of an adherend", "substrate failure (SF)", "stock-break failure"),
    )
}
ADHESIVE_MODES = ("cohesive", "interface")


@dataclass(frozen=True, kw_only=True)
class Capacity:
    """The load that a joint bears by one criterion.

    Attributes
    ----------
    key : str
        Of the criterion, such as ``"shear-point"``.
    name : str
    route : str
        ``"stress"``, ``"plateau"``, ``"energy"``, ``"cohesive"`` or ``"adherend"``: what the criterion looks at.
    mode : str
        Key of `MODES`.
    factor : float
        Share of the joint's loads (force, moment, shear force) at which it is met, temperature and moisture staying as
        they are; infinite where no load does; NaN where the criterion cannot run.
    force : float, N
        Factor times the joint's force; knockdowns are not in it.
    place : str
        Where it is met, in words.
    bondline : int or None
    x : float, mm
        NaN where it is met nowhere in particular.
    figures : dict
        Figures of the materials that it used, by key.
    distance : float, mm
        From the overlap's end, or the length averaged over; NaN where there is none.
    density : float
        Of the mesh; NaN where there is none.
    variants : dict
        Force, N, at ``"half distance"``, ``"double distance"``, ``"coarser mesh"`` (half the density) and ``"finer mesh"``
        (twice the density), each with the rest unchanged.
    reason : str
        Why it cannot run, what it needs; empty where it did.
    bias : str
        Its known bias.
    source : str
        Where it comes from, with its mark.
    """

    key: str
    name: str
    route: str
    mode: str
    factor: float = math.nan
    force: float = math.nan
    place: str = ""
    bondline: int | None = None
    x: float = math.nan
    figures: dict[str, float] = field(default_factory=dict)
    distance: float = math.nan
    density: float = math.nan
    variants: dict[str, float] = field(default_factory=dict)
    reason: str = ""
    bias: str = ""
    source: str = ""

    @property
    def is_met(self) -> bool:
        """Whether it gave a load, and a finite one."""
        return self.runs and math.isfinite(self.factor)

    @property
    def runs(self) -> bool:
        """Whether the criterion gave a load."""
        return not self.reason
