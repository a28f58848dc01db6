"""An adhesive's figures from its test curves: bulk tension, and shear of a thick-adherend specimen where there is one.

The curves are those of a point: a modulus up to the yield stress, then a
hardening curve. Under shear alone the same curve is passed through, higher by
the factor that the yield surface has between shear and tension, and over a
plastic shear strain that makes the same equivalent plastic strain. So two curves
give one material, and what is left over says how far they are from one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.errors import JointError
from fejoint.joint.file import plain
from fejoint.joint.hardening import Hardening
from fejoint.joint.materials import Adhesive
from fejoint.joint.specimens import Compared, first_slope, point_stress, shear_factor, shear_path, up_to_break
from fejoint.joint.yielding import Yielding

__all__ = ["Compared", "Fitted", "fitted", "shear_factor", "shear_path"]

Floats = NDArray[np.float64]
Surface = Literal["von-mises", "cone", "paraboloid"]
Measure = Literal["engineering", "true"]
Form = Literal["saturating", "table"]

LARGEST_RATIO = 10.0
TABLE_POINTS = 12


@dataclass(frozen=True, eq=False)
class Fitted:
    """Figures of an adhesive that follow its test curves.

    Attributes
    ----------
    elastic_modulus : float, MPa
    poisson_ratio : float or None
        From both moduli, or as given; None where nothing says it.
    yielding : Yielding
        Yield stress, hardening, surface and its figures.
    tension, shear : Compared
        What was measured and what the material does; shear is None without its curve.
    notes : tuple of str
        What to know about the fit, in sentences.
    """

    elastic_modulus: float
    poisson_ratio: float | None
    yielding: Yielding
    tension: Compared
    shear: Compared | None
    notes: tuple[str, ...] = ()

    def adhesive(self, source: str = "fitted to test curves", poisson_ratio: float | None = None) -> Adhesive:
        """Return the adhesive, its figures to four digits, each with its source.

        Raises
        ------
        JointError
            Poisson's ratio is neither fitted nor given.
        """
        nu = self.poisson_ratio if poisson_ratio is None else poisson_ratio
        if nu is None:
            raise JointError("poisson_ratio is missing: a tensile curve alone does not tell it; give it, or a shear curve.")
        y, says = self.yielding, {"source": source}
        h = y.hardening
        assert h is not None
        inner = {
            key: _rounded(value) for key in ("plastic_strain", "stress", "rise", "rate", "slope") if (value := getattr(h, key))
        }
        return Adhesive.model_validate(
            {
                "elastic_modulus": {"value": _rounded(self.elastic_modulus), **says},
                "poisson_ratio": {"value": _rounded(nu), **says},
                "tensile_yield": {"value": _rounded(y.yield_stress), **says},
                "hardening": {key: {"value": value, **says} for key, value in inner.items()},
                **self._surface(says),
            }
        )

    def _surface(self, says: dict[str, str]) -> dict[str, object]:
        y = self.yielding
        if y.surface == "von-mises":
            return {"yield_surface": y.surface}
        return {
            "yield_surface": y.surface,
            "compression_ratio": {"value": _rounded(y.compression_ratio), **says},
            "plastic_poisson_ratio": y.plastic_poisson_ratio,
        }

    def toml(self, source: str = "fitted to test curves", poisson_ratio: float | None = None) -> str:
        """Return the text of an ``[adhesive]`` table with the fitted figures; see `adhesive`."""
        import tomlkit

        return tomlkit.dumps({"adhesive": plain(self.adhesive(source, poisson_ratio))})


def fitted(
    tension: tuple[ArrayLike, ArrayLike],
    shear: tuple[ArrayLike, ArrayLike] | None = None,
    *,
    measure: Measure = "engineering",
    surface: Surface = "paraboloid",
    form: Form = "saturating",
    poisson_ratio: float | None = None,
    plastic_poisson_ratio: float = 0.5,
) -> Fitted:
    """Return the figures of an adhesive that follow its test curves best.

    Parameters
    ----------
    tension : strain and stress, (n,) arrays, none and MPa
        Curve of a bulk specimen in tension, from the origin.
    shear : strain and stress, (m,) arrays, none and MPa
        Nominal engineering shear strain and shear stress of a thick-adherend specimen.
    measure : str
        What the tensile curve holds: ``"engineering"`` (turned into true stress
        and logarithmic strain as if the volume stayed) or ``"true"``.
    surface : str
        ``"paraboloid"`` or ``"cone"``, whose compression ratio follows from both curves; or ``"von-mises"``.
    form : str
        Of the hardening: ``"saturating"`` or ``"table"``.
    poisson_ratio : float
        Sets the shear modulus; without it the shear curve does.
    plastic_poisson_ratio : float
        0 to 0.5.

    Raises
    ------
    JointError
        A curve is none, or both moduli do not fit one isotropic material.
    """
    for key, given, known in (("measure", measure, Measure), ("surface", surface, Surface), ("form", form, Form)):
        if given not in get_args(known):
            raise JointError(f'{key} = "{given}": must be one of {", ".join(get_args(known))}.')
    if poisson_ratio is not None and not 0 <= poisson_ratio < 0.5:
        raise JointError(f"poisson_ratio = {poisson_ratio:g}: must be at least 0 and lie below 0.5.")
    if not 0 <= plastic_poisson_ratio <= 0.5:
        raise JointError(f"plastic_poisson_ratio = {plastic_poisson_ratio:g}: must be at least 0 and at most 0.5.")
    notes: list[str] = []
    e, s = up_to_break("tension", tension, notes)
    if measure == "engineering":
        e, s = np.log1p(e), s * (1 + e)
    slid = up_to_break("shear", shear, notes) if shear is not None else None
    if slid is None and surface != "von-mises":
        notes.append("Without a shear curve nothing tells the compression ratio: yield surface von-mises.")
        surface = "von-mises"
    task = _Task((e, s), slid, surface, shear_path(surface, plastic_poisson_ratio), poisson_ratio)
    found = task.solved()
    modulus, start, rise, rate, slope = found[:5]
    nu = poisson_ratio
    if slid is not None and nu is None:
        nu = modulus / (2 * found[5]) - 1
        if not 0 <= nu < 0.5:
            raise JointError(
                f"shear: begins with a shear modulus of {found[5]:.4g} MPa, which with an elastic_modulus of {modulus:.4g} MPa "
                f"makes Poisson's ratio {nu:.3g}; no isotropic material has it: give poisson_ratio, which sets the shear modulus."
            )
    ratio = task.ratio(found)
    if surface != "von-mises" and not 1 + 1e-6 < ratio < LARGEST_RATIO * (1 - 1e-6):
        notes.append(f"The compression ratio stands at its limit {ratio:.3g}: the {surface} cannot follow both curves.")
    hardening = Hardening(rise=rise, rate=rate, slope=slope if slope * np.max(e) > 1e-3 * start else None)
    if form == "table":
        hardening = _table(e, s, modulus, start)
        assert hardening.plastic_strain is not None
        if slid is not None and task.path * float(np.max(slid[0])) > 1.5 * hardening.plastic_strain[-1]:
            notes.append(
                "The shear curve goes further than the table, which ends with the tensile curve: there its stress stays."
            )
    yielding = Yielding(start, hardening, surface)
    if surface != "von-mises":
        yielding = Yielding(start, hardening, surface, ratio, plastic_poisson_ratio)
    pulled = Compared(e, s, point_stress(e, modulus, yielding, 1.0, 1.0))
    if slid is None:
        return Fitted(modulus, nu, yielding, pulled, None, tuple(notes))
    g = modulus / (2 * (1 + (nu or 0.0)))
    model = point_stress(slid[0], g, yielding, shear_factor(surface, ratio), task.path)
    return Fitted(modulus, nu, yielding, pulled, Compared(*slid, model), tuple(notes))


def _table(strain: Floats, stress: Floats, modulus: float, start: float) -> Hardening:
    """Return the hardening that the tensile curve itself shows, in a few points that do not fall."""
    from scipy.optimize import isotonic_regression

    plastic = np.maximum(strain - stress / modulus, 0.0)
    beyond = stress > start
    if not beyond.any():
        return Hardening(plastic_strain=[0.0], stress=_rounded([start]))
    order = np.argsort(plastic[beyond], kind="stable")
    x, y = plastic[beyond][order], isotonic_regression(stress[beyond][order]).x
    # Denser where the curve bends most.
    at = np.concatenate([[0.0], np.max(plastic) * np.linspace(0, 1, TABLE_POINTS)[1:] ** 2])
    values = np.maximum.accumulate(np.concatenate([[start], np.interp(at[1:], x, y)]))
    return Hardening(plastic_strain=_rounded(at), stress=_rounded(values))


def _rounded(value: float | Sequence[float] | Floats) -> float | list[float]:
    """Return figures to four digits."""
    return [float(f"{v:.4g}") for v in value] if isinstance(value, Sequence | np.ndarray) else float(f"{value:.4g}")


# ---- the search ------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Task:
    """Least squares over both curves, each by its largest stress and its number of points, so that both count alike."""

    tension: tuple[Floats, Floats]
    shear: tuple[Floats, Floats] | None
    surface: str
    path: float
    poisson_ratio: float | None

    def solved(self) -> Floats:
        """Return elastic modulus, yield stress, rise, rate, slope, shear modulus and compression ratio, where sought."""
        from scipy.optimize import least_squares

        best, least = np.empty(0), math.inf
        for share in (0.3, 0.5, 0.7):  # the yield stress is where searches end in a wrong valley
            first, low, high = self.starts(share)
            found = least_squares(lambda x: self.residuals(np.exp(x)), np.log(first), bounds=(np.log(low), np.log(high)))
            if found.cost < least:
                best, least = np.exp(found.x), found.cost
        return best

    def starts(self, share: float) -> tuple[Floats, Floats, Floats]:
        """Return where a search begins, with its bounds, all above zero."""
        (e, s), top = self.tension, float(np.max(self.tension[1]))
        modulus = first_slope(e, s)
        width = max(float(e[-1]) - top / modulus, 0.1 * float(e[-1]))
        rows = [
            (modulus, modulus / 5, modulus * 5),
            (share * top, 0.02 * top, 1.2 * top),
            ((1 - share) * top, 1e-4 * top, 5 * top),
            (3 / width, 0.03 / width, 300 / width),
            (0.05 * top / width, 1e-6 * top / width, 5 * top / width),
        ]
        if self.shear is not None and self.poisson_ratio is None:
            g = first_slope(*self.shear)
            rows.append((g, g / 5, g * 5))
        if self.shear is not None and self.surface != "von-mises":
            rows.append((1.3, 1.0, LARGEST_RATIO))
        first, low, high = np.array(rows).T
        return first, low, high

    def ratio(self, x: Floats) -> float:
        """Return the compression ratio of what was found."""
        return float(x[-1]) if self.shear is not None and self.surface != "von-mises" else 1.0

    def residuals(self, x: Floats) -> Floats:
        """Return the differences of both curves, each as a share of its largest stress over the root of its points."""
        modulus, start, rise, rate, slope = map(float, x[:5])
        yielding = Yielding(start, Hardening.model_construct(rise=rise, rate=rate, slope=slope))
        e, s = self.tension
        off = [(point_stress(e, modulus, yielding, 1.0, 1.0) - s) / (np.max(s) * math.sqrt(len(s)))]
        if self.shear is not None:
            e, s = self.shear
            g = float(x[5]) if self.poisson_ratio is None else modulus / (2 * (1 + self.poisson_ratio))
            factor = shear_factor(self.surface, self.ratio(x))
            off.append((point_stress(e, g, yielding, factor, self.path) - s) / (np.max(s) * math.sqrt(len(s))))
        return np.concatenate(off)
