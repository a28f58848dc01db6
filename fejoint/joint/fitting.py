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
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.errors import JointError
from fejoint.joint.file import plain
from fejoint.joint.hardening import Hardening
from fejoint.joint.materials import Adhesive
from fejoint.joint.yielding import Yielding

__all__ = ["Fitted", "Compared", "fitted", "shear_factor", "shear_path"]

Floats = NDArray[np.float64]
Surface = Literal["von-mises", "cone", "paraboloid"]
Measure = Literal["engineering", "true"]

FEWEST = 8
LARGEST_RATIO = 10.0
FALLEN = 0.95  # of the largest stress: what lies below it for good is the break
ITERATIONS = 60
TABLE_POINTS = 12


@dataclass(frozen=True, eq=False)
class Compared:
    """A measured curve and the fitted material's, at the same strains.

    Attributes
    ----------
    strain, stress, model : (n,) arrays, none and MPa
        In tension logarithmic strain and true stress; in shear nominal
        engineering shear strain and shear stress.
    """

    strain: Floats
    stress: Floats
    model: Floats

    @property
    def residual(self) -> float:
        """Root mean square of the difference, as a share of the largest stress."""
        return float(np.sqrt(np.mean((self.model - self.stress) ** 2)) / np.max(self.stress))


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


def shear_factor(surface: str, ratio: float) -> float:
    """Return the yield stress in pure shear over that in tension, at a compression ratio.

    Paraboloid (Raghava, Caddell & Yeh 1973, from memory): sqrt(ratio / 3); cone
    (Drucker & Prager 1952, from memory): 2 ratio / ((ratio + 1) sqrt(3)); both are
    1 / sqrt(3) at ratio 1, as von Mises' is.
    """
    if surface == "paraboloid":
        return math.sqrt(ratio / 3)
    return 2 * ratio / ((ratio + 1) * math.sqrt(3)) if surface == "cone" else 1 / math.sqrt(3)


def shear_path(surface: str, plastic_poisson_ratio: float) -> float:
    """Return the equivalent plastic strain per plastic engineering shear strain, under shear stress alone.

    The equivalent strain is the norm of the plastic strain over
    sqrt(1 + 2 nu_p^2). The paraboloid's flow keeps the volume under shear; the
    cone's does not: it goes by q + p tan psi, tan psi = 3 (1 - 2 nu_p) / (2 (1 + nu_p)).
    """
    if surface == "von-mises":
        return 1 / math.sqrt(3)
    nu = plastic_poisson_ratio
    dilation = 3 * (1 - 2 * nu) / (2 * (1 + nu)) if surface == "cone" else 0.0
    return math.sqrt(1.5 + dilation**2 / 3) / math.sqrt(3) / math.sqrt(1 + 2 * nu**2)


def fitted(
    tension: tuple[ArrayLike, ArrayLike],
    shear: tuple[ArrayLike, ArrayLike] | None = None,
    *,
    measure: Measure = "engineering",
    surface: Surface = "paraboloid",
    form: Literal["saturating", "table"] = "saturating",
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
    notes: list[str] = []
    e, s = _checked("tension", tension, notes)
    if measure == "engineering":
        e, s = np.log1p(e), s * (1 + e)
    elif measure != "true":
        raise JointError(f'measure = "{measure}": must be "engineering" or "true".')
    if poisson_ratio is not None and not 0 <= poisson_ratio < 0.5:
        raise JointError(f"poisson_ratio = {poisson_ratio:g}: must be at least 0 and lie below 0.5.")
    if not 0 <= plastic_poisson_ratio <= 0.5:
        raise JointError(f"plastic_poisson_ratio = {plastic_poisson_ratio:g}: must be at least 0 and at most 0.5.")
    slid = _checked("shear", shear, notes) if shear is not None else None
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
    elif form != "saturating":
        raise JointError(f'form = "{form}": must be "saturating" or "table".')
    yielding = Yielding(start, hardening, surface)
    if surface != "von-mises":
        yielding = Yielding(start, hardening, surface, ratio, plastic_poisson_ratio)
    pulled = Compared(e, s, _stress(e, modulus, yielding, 1.0, 1.0))
    if slid is None:
        return Fitted(modulus, nu, yielding, pulled, None, tuple(notes))
    g = modulus / (2 * (1 + (nu or 0.0)))
    model = _stress(slid[0], g, yielding, shear_factor(surface, ratio), task.path)
    return Fitted(modulus, nu, yielding, pulled, Compared(*slid, model), tuple(notes))


# ---- curves ----------------------------------------------------------------


def _checked(name: str, curve: tuple[ArrayLike, ArrayLike], notes: list[str]) -> tuple[Floats, Floats]:
    """Return strain and stress of a curve up to its break."""
    try:
        e, s = (np.asarray(part, dtype=np.float64) for part in curve)
    except (TypeError, ValueError):
        raise JointError(f"{name}: must be strains and stresses (MPa), two lists of numbers.") from None
    if e.ndim != 1 or e.shape != s.shape or len(e) < FEWEST:
        raise JointError(f"{name}: must be two lists of one length, at least {FEWEST} points; give strains and stresses.")
    if not (np.isfinite(e).all() and np.isfinite(s).all()):
        raise JointError(f"{name}: holds what is no finite number; leave such points out.")
    if (np.diff(e) < 0).any() or e[0] < 0:
        at = int(np.argmax(np.diff(e, prepend=0.0) < 0)) + 1
        raise JointError(f"{name}: strain of point {at} ({e[at - 1]:g}) must not fall, nor lie below 0; order the points.")
    if e[-1] > 5:
        raise JointError(f"{name}: strains reach {e[-1]:g}; they are numbers, not per cent: divide by 100.")
    if np.max(s) <= 0 or e[-1] == 0:
        raise JointError(f"{name}: no point lies above zero stress and strain; check the columns.")
    last = int(np.flatnonzero(s >= FALLEN * np.max(s))[-1]) + 1
    if last < FEWEST:
        raise JointError(f"{name}: has {last} points up to its largest stress, and needs {FEWEST}; check the columns.")
    if last < len(e):
        notes.append(f"The {name} curve was followed up to strain {e[last - 1]:.4g}, where its stress falls for good.")
    return e[:last], s[:last]


def _stress(strain: Floats, modulus: float, yielding: Yielding, factor: float, path: float) -> Floats:
    """Return the stress of a point at total strains: modulus, then factor * yield stress at path * plastic strain.

    Newton's method on modulus (strain - plastic) = yield stress, from no
    plastic strain up: the difference falls with it, ever less steeply, so that no
    step goes too far.
    """
    plastic = np.zeros_like(strain)
    for _ in range(ITERATIONS):
        off = modulus * (strain - plastic) - factor * yielding.stress(path * plastic)
        step = off / (modulus + factor * path * yielding.slope(path * plastic))
        plastic = np.maximum(plastic + step, 0.0)
        if np.max(np.abs(step) * (plastic > 0), initial=0.0) < 1e-13:
            break
    return modulus * (strain - plastic)


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
        modulus = _first_slope(e, s)
        width = max(float(e[-1]) - top / modulus, 0.1 * float(e[-1]))
        rows = [
            (modulus, modulus / 5, modulus * 5),
            (share * top, 0.02 * top, 1.2 * top),
            ((1 - share) * top, 1e-4 * top, 5 * top),
            (3 / width, 0.03 / width, 300 / width),
            (0.05 * top / width, 1e-6 * top / width, 5 * top / width),
        ]
        if self.shear is not None and self.poisson_ratio is None:
            g = _first_slope(*self.shear)
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
        off = [(_stress(e, modulus, yielding, 1.0, 1.0) - s) / (np.max(s) * math.sqrt(len(s)))]
        if self.shear is not None:
            e, s = self.shear
            g = float(x[5]) if self.poisson_ratio is None else modulus / (2 * (1 + self.poisson_ratio))
            factor = shear_factor(self.surface, self.ratio(x))
            off.append((_stress(e, g, yielding, factor, self.path) - s) / (np.max(s) * math.sqrt(len(s))))
        return np.concatenate(off)


def _first_slope(strain: Floats, stress: Floats) -> float:
    """Return the slope of a curve's beginning, up to a third of its largest stress, from the origin."""
    beyond = np.flatnonzero(stress >= np.max(stress) / 3)[0]
    n = max(int(beyond), 3)
    e, s = strain[:n], stress[:n]
    squares = float(e @ e)
    slope = float(e @ s) / squares if squares > 0 else 0.0
    return slope if slope > 0 else float(np.max(stress) / strain[-1])
