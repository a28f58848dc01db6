"""Shear lag with an adhesive that yields: one overlap or a stair of treads, solved exactly.

Volkersen's assumptions (`volkersen`: adherends only stretch, the layer only
shears) with a layer that is elastic up to a yield stress and then carries that
stress on, up to a strain at which it breaks; thermal mismatch; on every tread
another stiffness of the adherends. With d the upper adherend's displacement
less the lower's and N the lower's load,

    tau = G d / ta within +-tau_p,  N' = -tau,  d' = (P - N)/S2 + e2 - N/S1 - e1

N = P at the left, 0 at the right; d and N go over from tread to tread. The law
has no memory: what has yielded and turns back goes back the way it came.

Valid where bending is small: double and stepped laps; the single lap's edge
moment is not in it (`two_beams`). No peel, no adherend shear, no stress-free
adhesive end. For an adhesive that stays elastic use `volkersen` and
`shear_lag`, which this then equals.

Derived for this project; the idea is L. J. Hart-Smith's, NASA CR-112235 and
CR-112237, 1973 (cited from memory), who solves special cases
(`hart_smith_double`, `hart_smith_stepped`). A stretch where the layer is
elastic or has yielded all along has an exact solution in d at both its ends, so
that the balance of N where stretches meet is a small linear system. Where the
layer yields is found in turns: solve, see where |tau| passes the yield stress,
solve again, until the stretches stay where they are (Newton's method; where the
layer yields one way it climbs to the solution, since that only makes it softer;
where it yields both ways load and mismatch are raised by degrees if need be).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded
from scipy.optimize import brentq

from fejoint.bondline.closed_form.grid import places
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint

__all__ = [
    "Capacity",
    "Overlap",
    "Sheared",
    "YieldingLayer",
    "at_load",
    "capacity",
    "net_section_load",
    "shear_lag",
    "yielding_layer",
]

Floats = NDArray[np.float64]


# Where all but this share of the layer has yielded, what is left elastic is lost in round-off.
NEARLY = 1 - 1e-7


@dataclass(frozen=True)
class YieldingLayer:
    """An elastic, then perfectly plastic layer.

    Attributes
    ----------
    shear_modulus, thickness, yield_stress : float, MPa, mm, MPa
        G, ta, tau_p.
    failure_strain : float
        Engineering shear strain at which it breaks: the elastic one, tau_p / G, and the plastic one together.
    """

    shear_modulus: float
    thickness: float
    yield_stress: float
    failure_strain: float

    @property
    def elastic_strain(self) -> float:
        """Shear strain at which it yields."""
        return self.yield_stress / self.shear_modulus

    @property
    def plastic_strain(self) -> float:
        """Shear strain from yield to failure."""
        return self.failure_strain - self.elastic_strain

    @property
    def energy(self) -> float:
        """Work per area up to failure, N/mm: the area under the shear curve times the thickness."""
        return self.thickness * self.yield_stress * (self.elastic_strain / 2 + self.plastic_strain)


@dataclass(frozen=True)
class Overlap:
    """Treads from the left: length (mm), stiffness E t of the lower and the upper adherend there (N/mm); thermal mismatch.

    `mismatch` is the free thermal strain of the upper adherend less that of the lower.
    """

    lengths: tuple[float, ...]
    lower: tuple[float, ...]
    upper: tuple[float, ...]
    mismatch: float = 0.0

    @property
    def length(self) -> float:
        """Length of all treads together, mm."""
        return sum(self.lengths)

    def along(self, force: float) -> Overlap:
        """Return the overlap as a force in tension meets it: under compression the mismatch counts the other way."""
        return replace(self, mismatch=-self.mismatch) if force < 0 else self


@dataclass(frozen=True)
class Capacity:
    """What a joint carries, N/mm, in the direction of its force (tension where there is none).

    Attributes
    ----------
    load : float, N/mm
        The least of the limits.
    governs : str
        Its name.
    limits : dict
        Load at which each of the adhesive and the adherends, as far as their figures are known, gives way. An adherend's is
        that of its mean stress, its mismatch stress included, wherever in the joint it is largest; zero where mismatch alone
        reaches it. In compression, too, its tensile_yield and tensile_strength are what counts: buckling and figures of its
        own for compression are not looked at.
    """

    load: float
    governs: str
    limits: dict[str, float]

    @classmethod
    def least(cls, limits: dict[str, float]) -> Capacity:
        """Return the capacity that the least of the limits makes."""
        governs = min(limits, key=lambda name: limits[name])
        return cls(limits[governs], governs, limits)


@dataclass(frozen=True, eq=False)
class Sheared:
    """The solved overlap in stretches within which the layer is elastic or has yielded.

    Attributes
    ----------
    tread : (n,) array
        Number of the tread that each stretch lies on, from 0.
    yields : (n,) array
        0 elastic, 1 yielded, -1 yielded the other way.
    x : (n + 1,) array, mm
        Ends of the stretches.
    slip : (n + 1,) array
        d there, over its value at yield.
    """

    overlap: Overlap
    layer: YieldingLayer
    line_load: float
    tread: NDArray[np.int_]
    yields: NDArray[np.int_]
    x: Floats
    slip: Floats

    @property
    def largest_strain(self) -> float:
        """Shear strain of largest magnitude, with its sign: always at the end of a tread."""
        return float(self.slip[np.argmax(np.abs(self.slip))] * self.layer.elastic_strain)

    @property
    def end_strains(self) -> tuple[float, float]:
        """Shear strain at the overlap's left and right end."""
        return float(self.slip[0] * self.layer.elastic_strain), float(self.slip[-1] * self.layer.elastic_strain)

    def strain(self, x: Floats) -> Floats:
        """Return the shear strain at places x (mm)."""
        return self.layer.elastic_strain * self._slip(np.asarray(x, dtype=float))

    def shear(self, x: Floats) -> Floats:
        """Return the shear stress at places x (mm), MPa."""
        return np.asarray(self.layer.yield_stress * np.clip(self._slip(np.asarray(x, dtype=float)), -1, 1))

    def places(self, tread: int) -> Floats:
        """Return places along a tread (mm, odd in number), such that no piece of a curve spans the start of yielding."""
        parts = [self.x[i] + places(float(self.x[i + 1] - self.x[i]), 200) for i in np.flatnonzero(self.tread == tread)]
        return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])

    def yielded(self) -> list[tuple[float, float]]:
        """Return where the layer has yielded, from and to, mm."""
        return [(float(self.x[i]), float(self.x[i + 1])) for i in np.flatnonzero(self.yields)]

    def lower_loads(self) -> Floats:
        """Return the lower adherend's load at the left end of every tread, and at the right end of the last, N/mm."""
        passed = np.concatenate([[0.0], np.cumsum(self._passed())])
        first = np.flatnonzero(np.diff(self.tread, prepend=-1))
        return np.asarray(self.line_load - np.append(passed[first], passed[-1]))

    def load_range(self) -> tuple[Floats, Floats]:
        """Return the lower adherend's least and largest load on every tread, N/mm; the upper's is the joint's less that.

        They lie at the ends of a tread or where the slip changes its sign, which
        it does at most once on a stretch, and on an elastic one.
        """
        ends = self.line_load - np.concatenate([[0.0], np.cumsum(self._passed())])
        left, right = self.slip[:-1], self.slip[1:]
        h, w = np.diff(self.x), _waves(self.overlap, self.layer)[self.tread]
        turns = (self.yields == 0) & (left * right < 0)
        # The slip goes as a exp(-w x) + b exp(-w (h - x)), nil at w x = z; as far as there it passes left tanh(z/2) / w on.
        decay = np.exp(-w * h)
        a, b = np.where(turns, left - right * decay, 1.0), np.where(turns, right - left * decay, -1.0)
        z = (w * h - np.log(-b / a)) / 2
        between = np.where(turns, ends[:-1] - self.layer.yield_stress * left * np.tanh(z / 2) / w, ends[:-1])
        loads = np.stack([ends[:-1], between, ends[1:]])
        first = np.flatnonzero(np.diff(self.tread, prepend=-1))
        return np.minimum.reduceat(loads.min(axis=0), first), np.maximum.reduceat(loads.max(axis=0), first)

    def _passed(self) -> Floats:
        """Return the load that every stretch passes on, N/mm."""
        h = np.diff(self.x)
        z = _waves(self.overlap, self.layer)[self.tread] * h
        # The integral of an elastic stretch between its two ends is (sum) tanh(z/2) / w.
        elastic = (self.slip[:-1] + self.slip[1:]) * np.where(z > 0, np.tanh(z / 2) / np.where(z > 0, z, 1), 0.5)
        return np.asarray(self.layer.yield_stress * h * np.where(self.yields == 0, elastic, self.yields))

    def _slip(self, x: Floats) -> Floats:
        i = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, len(self.tread) - 1)
        h, w = np.diff(self.x)[i], _waves(self.overlap, self.layer)[self.tread[i]]
        from_left = np.clip(x - self.x[i], 0, h)
        left, right, side = self.slip[i], self.slip[i + 1], self.yields[i]
        elastic = left * _sinh_ratio(w * (h - from_left), w * h) + right * _sinh_ratio(w * from_left, w * h)
        yielded = left + (right - left) * from_left / h - side * w**2 * from_left * (h - from_left) / 2
        return np.asarray(np.where(side == 0, elastic, yielded))


def shear_lag(overlap: Overlap, layer: YieldingLayer, line_load: float) -> Sheared:
    """Return the overlap under a load (N/mm); strains beyond the layer's failure are not refused.

    Raises
    ------
    TheoryError
        A load that not even the whole layer yielding can carry.
    """
    if abs(line_load) > NEARLY * layer.yield_stress * overlap.length:
        raise TheoryError(
            f"{abs(line_load):.4g} N/mm is more than the adhesive carries when all of it yields, "
            f"{layer.yield_stress * overlap.length:.4g} N/mm."
        )
    n = len(overlap.lengths)
    elastic = Sheared(
        overlap, layer, 0.0, np.arange(n), np.zeros(n, dtype=int), np.cumsum([0.0, *overlap.lengths]), np.zeros(n + 1)
    )
    # Where the layer yields both ways, Newton's method may go to and fro: then load and mismatch are raised by degrees.
    found, done, step = elastic, 0.0, 1.0
    while done < 1:
        share = min(1.0, done + step)
        part = replace(overlap, mismatch=share * overlap.mismatch)
        nearer = _balanced(replace(found, overlap=part, line_load=share * line_load))
        if nearer is not None:
            found, done, step = nearer, share, 2 * step
        elif step < 1e-6:
            raise TheoryError("no balance found for the yielding layer; its parts yield to and fro.")
        else:
            step /= 4
    return found


def capacity(overlap: Overlap, layer: YieldingLayer) -> tuple[float, tuple[float, ...]]:
    """Return the tensile load at which the largest shear strain reaches the layer's failure strain, N/mm, and where, mm.

    Where the whole layer yields before any of it breaks, that load, and no place.

    Raises
    ------
    TheoryError
        Mismatch alone strains the layer to failure.
    """
    alone = abs(shear_lag(overlap, layer, 0.0).largest_strain)
    if alone >= layer.failure_strain:
        raise TheoryError(
            f"the thermal mismatch alone strains the adhesive to {alone:.4g}, beyond its failure_shear_strain of "
            f"{layer.failure_strain:g}."
        )
    most = layer.yield_stress * overlap.length
    at_most = layer.elastic_strain * (1 + _spread(overlap, layer)) - layer.failure_strain
    if at_most <= 0:
        return most, ()

    def excess(load: float) -> float:
        # Load only ever adds to the slip, everywhere; so it is the positive strain that reaches failure first.
        if load > NEARLY * most:
            return at_most
        return float(layer.elastic_strain * shear_lag(overlap, layer, load).slip.max() - layer.failure_strain)

    load = float(brentq(excess, 0.0, most, xtol=1e-12 * most, rtol=1e-13))
    broken = shear_lag(overlap, layer, min(load, NEARLY * most))
    return load, tuple(float(x) for x in broken.x[broken.slip >= (1 - 1e-6) * broken.slip.max()])


def at_load(overlap: Overlap, layer: YieldingLayer, line_load: float) -> Sheared:
    """Return the overlap under a load (N/mm) that it can carry.

    Raises
    ------
    TheoryError
        The load is beyond the capacity.
    """
    side = -1 if line_load < 0 else 1
    most, _ = capacity(replace(overlap, mismatch=side * overlap.mismatch), layer)
    if abs(line_load) > most:
        raise TheoryError(f"the load of {abs(line_load):.4g} N/mm is beyond what the adhesive carries, {most:.4g} N/mm.")
    # All of the layer yielding leaves its slip unknown; the last balance before that stands for it.
    limit = NEARLY * layer.yield_stress * overlap.length
    return shear_lag(overlap, layer, side * min(abs(line_load), limit))


def net_section_load(
    overlap: Overlap, layer: YieldingLayer, lower: tuple[float, ...], upper: tuple[float, ...], limits: tuple[float, float]
) -> tuple[float, float]:
    """Return the load (N/mm) at which the mean stress of the lower and of the upper adherend first reaches its limit.

    Anywhere on a tread, in tension or compression; zero where the mismatch alone
    reaches it; infinite where all of the layer yields before.

    Parameters
    ----------
    overlap : Overlap
    layer : YieldingLayer
    lower, upper : tuple of float, mm
        Thicknesses of the adherends on every tread.
    limits : (float, float), MPa
        Stress that the lower and the upper adherend bear.
    """
    most = NEARLY * layer.yield_stress * overlap.length

    def excess(load: float, which: int) -> float:
        least, largest = shear_lag(overlap, layer, load).load_range()
        stress = np.maximum(np.abs(least), np.abs(largest)) / lower
        if which == 1:
            stress = np.maximum(np.abs(load - least), np.abs(load - largest)) / upper
        return float(stress.max() - limits[which])

    found = []
    for which in (0, 1):
        # Load only ever adds to either adherend's tension, everywhere: what does not press too hard without it never will.
        if limits[which] < np.inf and excess(0.0, which) >= 0:
            found.append(0.0)
        elif limits[which] == np.inf or excess(most, which) < 0:
            found.append(float("inf"))
        else:
            found.append(float(brentq(excess, 0.0, most, args=(which,), xtol=1e-10 * most)))
    return found[0], found[1]


def yielding_layer(joint: Joint, theory: str) -> YieldingLayer:
    """Return a joint's adhesive as a yielding layer; TheoryError where a figure is missing."""
    adhesive = joint.adhesive
    for key in ("shear_yield", "failure_shear_strain"):
        if getattr(adhesive, key) is None:
            raise TheoryError(f"{theory} needs adhesive.{key}, which is missing.")
    assert adhesive.shear_yield is not None and adhesive.failure_shear_strain is not None
    g = adhesive.engineering_constants()["g_xy"]
    layer = YieldingLayer(g, joint.geometry.bondline_thickness, adhesive.shear_yield, adhesive.failure_shear_strain)
    if layer.plastic_strain < 0:
        raise TheoryError(
            f"{theory} needs an adhesive that yields before it fails: failure_shear_strain = {layer.failure_strain:g} lies "
            f"below the strain at yield, shear_yield / shear_modulus = {layer.elastic_strain:.4g}."
        )
    return layer


# ---- parts ---------------------------------------------------------------


def _waves(overlap: Overlap, layer: YieldingLayer) -> Floats:
    """Return w of d'' = w^2 d on every tread."""
    k = layer.shear_modulus / layer.thickness
    return np.asarray(np.sqrt(k * (1 / np.array(overlap.lower) + 1 / np.array(overlap.upper))))


def _sinh_ratio(a: Floats, b: Floats) -> Floats:
    """Return sinh(a) / sinh(b) for 0 <= a <= b, without overflow."""
    return np.asarray(np.where(b > 0, np.exp(a - b) * np.expm1(-2 * a) / np.where(b > 0, np.expm1(-2 * b), 1.0), 0.0))


def _balanced(start: Sheared) -> Sheared | None:
    """Return the overlap in balance, by Newton's method from the stretches of another; None where it finds none."""
    overlap, layer, tread, yields, x = start.overlap, start.layer, start.tread, start.yields, start.x
    shift = np.inf
    for _ in range(60):
        try:
            slip = _solved(overlap, layer, start.line_load, tread, yields, x)
        except np.linalg.LinAlgError:  # all of it yields
            return None
        new = _stretches(overlap, layer, tread, yields, x, slip)
        before, shift = shift, np.inf
        if len(new[0]) == len(tread) and np.array_equal(new[1], yields):
            shift = float(np.abs(new[2] - x).max()) / overlap.length
        # Converges quadratically; when nearly all yields, round-off sets in above 1e-12: then it moves no nearer.
        if shift <= 1e-12 or before / 4 <= shift <= 1e-7:
            return Sheared(overlap, layer, start.line_load, tread, yields, x, slip)
        tread, yields, x = new
    return None


def _solved(
    overlap: Overlap, layer: YieldingLayer, load: float, tread: NDArray[np.int_], yields: NDArray[np.int_], x: Floats
) -> Floats:
    """Return the slip at the ends of given stretches, by the balance of the lower adherend's load where they meet."""
    s1, s2 = np.array(overlap.lower)[tread], np.array(overlap.upper)[tread]
    h, w = np.diff(x), _waves(overlap, layer)[tread]
    flexibility = 1 / s1 + 1 / s2
    unit = layer.elastic_strain * layer.thickness
    z = np.where(yields == 0, w * h, 1.0)
    # Slopes at the ends of a stretch by the slips there: w coth z and w / sinh z, or a straight line and a parabola.
    own = np.where(yields == 0, w * (1 + np.exp(-2 * z)) / -np.expm1(-2 * z), 1 / h) / flexibility
    other = np.where(yields == 0, w * 2 * np.exp(-z) / -np.expm1(-2 * z), 1 / h) / flexibility
    bands = np.zeros((2, len(x)))
    bands[1, :-1] += own
    bands[1, 1:] += own
    bands[0, 1:] = -other
    # Load of the lower adherend at either end of a stretch that does not slip.
    even = (load / s2 + overlap.mismatch) / flexibility
    right = np.zeros(len(x))
    right[0] = load
    right[:-1] -= even
    right[1:] += even
    pull = yields * layer.yield_stress * h / 2
    right[:-1] -= pull
    right[1:] -= pull
    return np.asarray(solveh_banded(bands, right / unit, check_finite=False))


def _stretches(
    overlap: Overlap, layer: YieldingLayer, tread: NDArray[np.int_], yields: NDArray[np.int_], x: Floats, slip: Floats
) -> tuple[NDArray[np.int_], NDArray[np.int_], Floats]:
    """Return the stretches anew: cut where the slip passes yield, joined where neighbours on a tread are alike."""
    waves = _waves(overlap, layer)
    found: list[tuple[int, int, float]] = []  # tread, yields, right end
    for i, t in enumerate(tread):
        w, h = waves[t], x[i + 1] - x[i]
        cuts = [0.0, *_crossings(w, h, slip[i], slip[i + 1], int(yields[i])), h]
        part = Sheared(overlap, layer, 0.0, tread[i : i + 1], yields[i : i + 1], np.array([0.0, h]), slip[i : i + 2])
        for a, b in pairwise(cuts):
            if b - a <= 1e-13 * overlap.length and b < h:
                continue
            middle = float(part._slip(np.array([(a + b) / 2]))[0])
            state = int(np.sign(middle)) if abs(middle) > 1 else 0
            if found and found[-1][:2] == (t, state):
                found.pop()
            found.append((int(t), state, float(x[i] + b)))
    return (
        np.array([f[0] for f in found]),
        np.array([f[1] for f in found]),
        np.array([0.0, *(f[2] for f in found)]),
    )


def _crossings(w: float, h: float, left: float, right: float, side: int) -> list[float]:
    """Return where the slip of a stretch is 1 or -1, from its left end, in order."""
    places: list[float] = []
    for level in (1.0, -1.0):
        if side == 0:
            # d = a exp(-w x) + b exp(-w (h - x)); each root is taken where it does not underflow (x > 0, x < h).
            decay = np.exp(-w * h)
            a, b = (left - right * decay) / (1 - decay**2), (right - left * decay) / (1 - decay**2)
            inside = level**2 - 4 * a * b * decay
            if inside < 0:
                continue
            q = (level + np.copysign(np.sqrt(inside), level)) / 2
            if a * q > 0 and abs(a) > abs(q):
                places.append(-float(np.log(q / a)) / w)
            if b * q > 0 and abs(b) > abs(q):
                places.append(h + float(np.log(q / b)) / w)
        else:
            # d = left + p x + c x^2
            c = side * w**2 / 2
            p = (right - left) / h - c * h
            inside = p**2 - 4 * c * (left - level)
            if inside < 0:
                continue
            q = -(p + np.copysign(np.sqrt(inside), p)) / 2
            places.append(float(q / c))
            if q:
                places.append(float((left - level) / q))
    return sorted(place for place in places if 0 < place < h)


def _spread(overlap: Overlap, layer: YieldingLayer) -> float:
    """Return the largest less the least slip when all of the layer yields, over the slip at yield."""
    passed = np.cumsum([0.0, *overlap.lengths])
    load = layer.yield_stress * passed[-1]
    slip, ends = 0.0, [0.0]
    for i, h in enumerate(overlap.lengths):
        s1, s2 = overlap.lower[i], overlap.upper[i]
        n = load - layer.yield_stress * passed[i]
        slope = (load - n) / s2 + overlap.mismatch - n / s1
        bend = layer.yield_stress * (1 / s1 + 1 / s2)
        lowest = -slope / bend
        if 0 < lowest < h:
            ends.append(slip + slope * lowest / 2)
        slip += slope * h + bend * h**2 / 2
        ends.append(slip)
    return (max(ends) - min(ends)) / (layer.elastic_strain * layer.thickness)
