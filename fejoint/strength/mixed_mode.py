"""When opening and shear together grow a disbond: two rules, whose exponent comes from tests.

- power law, (G_I/G_Ic)^a + (G_II/G_IIc)^a = 1 (a = 1 where none is given);
- Benzeggagh and Kenane, G_I + G_II = G_Ic + (G_IIc - G_Ic) (G_II/(G_I + G_II))^eta
  (M. L. Benzeggagh, M. Kenane, Compos. Sci. Technol. 56, 1996, 439-449, from memory).

At an interface the parts mean nothing; the total is then held against G_Ic, which is
the lower bound of both rules as long as G_Ic is the smaller toughness. Toughnesses
of adhesives are measured in the layer, and an interface may hold less than either.
"""

from __future__ import annotations

from fejoint.errors import JointError
from fejoint.joint.cohesion import toughness_at
from fejoint.joint.materials import Adhesive
from fejoint.mechanics.energy_release import Rates

__all__ = ["growth_index", "index_of", "toughness"]


def growth_index(opening: float, shear: float, adhesive: Adhesive) -> float:
    """Return energy release rate over toughness at its mix of opening and shear: 1 where a disbond grows.

    It is in proportion to the rates under either rule.

    Parameters
    ----------
    opening, shear : float, N/mm
        G_I and G_II, not negative.
    adhesive : Adhesive

    Raises
    ------
    JointError
        The adhesive does not state a toughness.
    """
    for mode in (1, 2):
        toughness(adhesive, mode)
    total = opening + shear
    return total / toughness_at(adhesive, shear / total) if total > 0 else 0.0


def index_of(rates: Rates, adhesive: Adhesive, split: bool) -> float:
    """Return the growth index of rates whose parts mean something (`split`), or of their total against mode I toughness."""
    if not split:
        return rates.total / toughness(adhesive, 1)
    # Round-off may leave a rate that is nothing just below 0.
    return growth_index(max(rates.opening, 0.0), max(rates.shear, 0.0), adhesive)


def toughness(adhesive: Adhesive, mode: int) -> float:
    """Return the adhesive's toughness in mode 1 or 2, N/mm; JointError where it states none."""
    key = f"toughness_mode_{mode}"
    value: float | None = getattr(adhesive, key)
    if value is None:
        meaning = "opening" if mode == 1 else "shear"
        raise JointError(
            f"adhesive.{key} is missing: the growth of a disbond needs it (fracture toughness in {meaning}); add it."
        )
    return value
