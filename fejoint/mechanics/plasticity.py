"""Plasticity of a material point in strain space: the elastic trial strain goes in, stress and moduli come out.

All three yield surfaces and both flow potentials depend on a stress by its von
Mises stress q and its mean p alone, and elasticity is isotropic. So the stress
that is left has the trial's deviatoric direction, a return is one scalar
equation, and

    s = q / q_tr s_tr,   dq_tr = 3 G s_tr : d eps / q_tr,   dp_tr = K tr d eps

make the consistent moduli from four numbers, the derivatives of q and p by
q_tr and p_tr. Steps are implicit (backward Euler).

    von-mises    q = sigma_t                                         flow along q
    cone         (l + 1) / (2 l) q + 3 (l - 1) / (2 l) p = sigma_t   flow along q + p tan psi
    paraboloid   q^2 + 3 (l - 1) sigma_t p = l sigma_t^2             flow along q^2 + alpha p^2

l is the ratio of the yield stresses in compression and tension, sigma_t(e) the
yield stress in tension at the equivalent plastic strain e, whose increment is
|d eps_p| / sqrt(1 + 2 nu_p^2); tan psi = 3 (1 - 2 nu_p) / (2 (1 + nu_p)) and alpha =
3 tan psi give the plastic Poisson ratio nu_p in uniaxial tension. (Cone: Drucker
& Prager 1952; paraboloid: Raghava, Caddell & Yeh 1973; both from memory.)

**The tip.** With l > 1 cone and paraboloid end in a tip on the axis of
hydrostatic tension, at p = 2 l sigma_t / (3 (l - 1)) and half of that. A cone's
trial beyond the tip returns to it: the deviatoric elastic strain flows away
as a whole, the volume by what brings p down to the tip, and both count in the
equivalent plastic strain. The same is done where nu_p = 0.5, although that flow
alone could never lower p: the stress would have nowhere to go. It is the limit
of nu_p just below 0.5, for both surfaces (tested); in words, at the tip the
material gives way by volume whatever its nu_p. Moduli are zero there without
hardening.

**A caution.** A cone that dilates more than the associated flow, nu_p <
(3 - l) / (4 l), does negative plastic work in deep compression, p <
-sigma_t / (a tan psi - b), with a and b the factors of q and p above.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.joint.yielding import Yielding
from fejoint.mechanics.elasticity import von_mises

__all__ = ["Updated", "updated"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A return ends at this share of the yield stress: differences of the stress over steps of 1e-6 then still give the moduli.
CLOSE = 1e-13
# What double precision leaves of a trial stress after a few operations.
ROUND_OFF = 2e-15
# A stress counts as elastic up to this share above the yield stress, so that what has been returned is not returned again.
ON_SURFACE = 1e-12
# Far more than ever needed: bisection alone takes some 60 turns, and a tip that is all but isochoric a few more.
TURNS = 200

ONE = np.array([1.0, 1.0, 0.0, 1.0])


@dataclass(frozen=True)
class Updated:
    """The state after a step.

    Attributes
    ----------
    stress : (n, 4) array, MPa
    moduli : (n, 4, 4) array, MPa, or None
        Derivative of the stress by the trial strain; not symmetric where the flow is not associated.
    elastic : (n, 4) array
        What is left of the trial strain, eigenstrain included.
    plastic : (n,) array
        Equivalent plastic strain.
    """

    stress: Floats
    moduli: Floats | None
    elastic: Floats
    plastic: Floats


@dataclass(frozen=True)
class _Point:
    """What all points share: shear and bulk modulus (MPa), how they yield and flow, at which temperature."""

    yielding: Yielding
    temperature: float | None
    shear: float
    bulk: float

    @property
    def isochoric(self) -> bool:
        return self.yielding.surface == "von-mises"

    @property
    def ratio(self) -> float:
        return 1.0 if self.isochoric else self.yielding.compression_ratio

    @property
    def nu(self) -> float:
        return 0.5 if self.isochoric else self.yielding.plastic_poisson_ratio

    @property
    def dilation(self) -> float:
        """Tan psi."""
        return 3 * (1 - 2 * self.nu) / (2 * (1 + self.nu))

    @property
    def cone(self) -> tuple[float, float]:
        """Factors of q and p in the cone's equivalent stress."""
        return (self.ratio + 1) / (2 * self.ratio), 3 * (self.ratio - 1) / (2 * self.ratio)

    def strength(self, plastic: Floats) -> Floats:
        return self.yielding.stress(plastic, self.temperature)

    def slope(self, plastic: Floats) -> Floats:
        return self.yielding.slope(plastic, self.temperature)


def updated(
    yielding: Yielding,
    e_modulus: float,
    nu: float,
    trial: Floats,
    plastic: Floats,
    free: Floats,
    temperature: float | None,
    tangent: bool = True,
) -> Updated:
    """Return stress, moduli and state of points that were at `plastic` and have been strained elastically to `trial`.

    Parameters
    ----------
    yielding
        Surface, flow and hardening.
    e_modulus, nu : float, MPa, -
    trial : (n, 4) array
        Elastic trial strain xx, yy, xy (engineering), zz, with the eigenstrain in it.
    plastic : (n,) array
        Equivalent plastic strain before the step.
    free : (4,) array
        Eigenstrain (thermal, swelling): a trial strain equal to it is free of stress.
    temperature : float or None, K
        Absolute temperature at which the yield stress is asked for.
    tangent : bool
        Whether moduli are wanted.
    """
    shear, bulk = e_modulus / (2 * (1 + nu)), e_modulus / (3 * (1 - 2 * nu))
    point = _Point(yielding, temperature, shear, bulk)
    stiffness = (bulk - 2 * shear / 3) * np.outer(ONE, ONE) + shear * np.diag([2.0, 2.0, 1.0, 2.0])
    strain = trial - free
    stress, elastic, after = strain @ stiffness, np.array(trial), np.array(plastic)
    moduli = np.tile(stiffness, (len(trial), 1, 1)) if tangent else None

    xx, yy, xy, zz = np.ascontiguousarray(strain.T)
    p = bulk * (xx + yy + zz)
    # From differences of strains: under a large pressure those of the stresses would be round-off.
    q = 2 * shear * von_mises(np.stack([xx, yy, xy / 2, zz]))
    strength = point.strength(plastic)
    equivalent = _paraboloid_stress(point, q, p)[0] if yielding.surface == "paraboloid" else _cone_stress(point, q, p)
    at = np.flatnonzero(equivalent - strength > ON_SURFACE * (strength + q + np.abs(p)))
    if not len(at):
        return Updated(stress, moduli, elastic, after)

    q_tr, p_tr = q[at], p[at]
    returned = (_on_paraboloid if yielding.surface == "paraboloid" else _on_cone)(point, q_tr, p_tr, plastic[at])
    q, p, after[at] = returned[:3]
    part = _ratio(q, q_tr)  # of the deviator that is left
    volume = ONE[:, None] * (p_tr / (3 * bulk))
    deviator = strain[at].T - volume  # of strain, xy engineering
    elastic[at] = (free[:, None] + part * deviator + ONE[:, None] * (p / (3 * bulk))).T
    s_tr = deviator * (2 * shear)
    s_tr[2] /= 2
    stress[at] = (part * s_tr + ONE[:, None] * p).T
    if moduli is not None:
        moduli[at] = _moduli(point, _ratio(s_tr, q_tr), part, returned).transpose(2, 0, 1)
    return Updated(stress, moduli, elastic, after)


def _moduli(point: _Point, direction: Floats, part: Floats, returned: Floats) -> Floats:
    """Return d stress / d strain, (4, 4, n), for deviators along `direction` = s_tr / q_tr, (4, n)."""
    q_q, q_p, p_q, p_p = returned[3:]
    g, k = point.shear, point.bulk
    one = ONE[:, None]
    # Products first, then the factor: so the moduli are symmetric to the last digit where they are symmetric at all.
    made = direction[:, None] * direction[None, :] * (3 * g * (q_q - part))
    made += (np.diag([2.0, 2.0, 1.0, 2.0]) - np.outer(ONE, ONE) * (2 / 3))[:, :, None] * (g * part)
    made += np.outer(ONE, ONE)[:, :, None] * (k * p_p)
    if point.cone[1] or point.dilation:
        made += (direction * (k * q_p))[:, None] * one[None]
        made += one[:, None] * (direction * (3 * g * p_q))[None]
    return np.asarray(made)


# Returns: rows q, p, equivalent plastic strain, dq/dq_tr, dq/dp_tr, dp/dq_tr, dp/dp_tr.


def _cone_stress(point: _Point, q: Floats, p: Floats) -> Floats:
    a, b = point.cone
    return a * q + b * p if b else q


def _on_cone(point: _Point, q_tr: Floats, p_tr: Floats, before: Floats) -> Floats:
    """Return trials outside the cone, or the von Mises cylinder, to it: q = q_tr - 3 G x, p = p_tr - K tan psi x."""
    (a, b), t, g, k = point.cone, point.dilation, point.shear, point.bulk
    rate = 1.5 / (1 + point.nu)  # equivalent plastic strain by x
    most = q_tr / (3 * g)  # there q = 0
    start = a * q_tr + b * p_tr
    fall = 3 * g * a + b * k * t
    out = np.empty((7, len(q_tr)))

    beyond = b * (p_tr - k * t * most) > point.strength(before + rate * most)
    if beyond.any():
        at = np.flatnonzero(beyond)
        out[:, at] = _on_tip(point, b, t * most[at], q_tr[at], p_tr[at], before[at])

    at = np.flatnonzero(~beyond)
    q_tr, p_tr, before, start = q_tr[at], p_tr[at], before[at], start[at]

    def excess(x: Floats, i: Ints) -> tuple[Floats, Floats]:
        now = before[i] + rate * x
        return start[i] - fall * x - point.strength(now), -fall - rate * point.slope(now)

    small = CLOSE * point.strength(before) + ROUND_OFF * (q_tr + b * np.abs(p_tr))
    x = _roots(excess, np.zeros_like(q_tr), most[at], small)
    plastic = before + rate * x
    h = fall + rate * point.slope(plastic)
    q = np.maximum(q_tr - 3 * g * x, 0.0)
    out[:, at] = [q, p_tr - k * t * x, plastic, 1 - 3 * g * a / h, -3 * g * b / h, -k * t * a / h, 1 - k * t * b / h]
    return out


def _paraboloid_stress(point: _Point, q: Floats, p: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the stress in tension that is as near to yield, and its derivatives by q and p (0 where there is no stress).

    The positive root sigma of l sigma^2 - 3 (l - 1) p sigma - q^2 = 0. It grows with q and p and is homogeneous, which
    the paraboloid's own equation is not.
    """
    c = 3 * (point.ratio - 1)
    root = np.sqrt((c * p) ** 2 + 4 * point.ratio * q**2)
    large = root + c * np.abs(p)  # the root that does not cancel
    sigma = np.where(p < 0, _ratio(2 * q**2, large), large / (2 * point.ratio))
    return sigma, _ratio(2 * q, root), _ratio(c * sigma, root)


def _on_paraboloid(point: _Point, q_tr: Floats, p_tr: Floats, before: Floats) -> Floats:
    """Return trials outside the paraboloid to it: q = y q_tr, p = y / (y + kappa (1 - y)) p_tr, 0 < y < 1.

    The flow's closed forms q = q_tr / (1 + 6 G dg), p = p_tr / (1 + 2 K alpha dg), in y = 1 / (1 + 6 G dg): then the
    equation is all but linear, and exactly so for perfect plasticity with nu_p = nu (kappa = 1). It has one root
    only: for one and the same strength q^2 less the line in p, over y, is convex and then concave; and the strength falls with y.
    """
    g, k, ratio = point.shear, point.bulk, point.ratio
    alpha = 3 * point.dilation
    kappa = k * alpha / (3 * g)
    norm = 6 * g * np.sqrt(1 + 2 * point.nu**2)
    b = 3 * (ratio - 1) / ratio
    out = np.empty((7, len(q_tr)))

    beyond = np.zeros(len(q_tr), dtype=bool)
    if alpha == 0:  # else the flow itself brings p down
        beyond = b * p_tr > point.strength(before + np.sqrt(6) * q_tr / norm)
    if beyond.any():
        at = np.flatnonzero(beyond)
        out[:, at] = _on_tip(point, b, np.zeros(len(at)), q_tr[at], p_tr[at], before[at])

    at = np.flatnonzero(~beyond)
    q_tr, p_tr, before = q_tr[at], p_tr[at], before[at]

    def excess(y: Floats, i: Ints) -> tuple[Floats, Floats]:
        """Return the excess of the stress and its derivative by y; the strain is (1 - y) size."""
        deep = y + kappa * (1 - y)
        sigma, by_q, by_p = _paraboloid_stress(point, y * q_tr[i], y / deep * p_tr[i])
        volume = 4 / 3 * (alpha * p_tr[i] / deep) ** 2
        size = np.sqrt(6 * q_tr[i] ** 2 + volume) / norm
        now = before[i] + (1 - y) * size
        growth = -size - (1 - y) * (1 - kappa) * volume / (deep * norm**2 * size)
        slope = by_q * q_tr[i] + by_p * p_tr[i] * kappa / deep**2 - point.slope(now) * growth
        return sigma - point.strength(now), slope

    # No differences of large numbers here, so no round-off of the trial.
    y = _roots(excess, np.ones_like(q_tr), np.zeros_like(q_tr), CLOSE * point.strength(before))
    deep = y + kappa * (1 - y)
    w, dw = y / deep, kappa / deep**2
    q, p = y * q_tr, w * p_tr
    _, by_q, by_p = _paraboloid_stress(point, q, p)
    size = np.sqrt(6 * q_tr**2 + 4 / 3 * (alpha * p_tr / deep) ** 2) / norm
    plastic = before + (1 - y) * size
    hardening = point.slope(plastic) * (1 - y) / (norm**2 * size)
    slope = excess(y, np.arange(len(at)))[1]
    y_q = -(by_q * y - hardening * 6 * q_tr) / slope
    y_p = -(by_p * w - hardening * 4 / 3 * alpha**2 * p_tr / deep**2) / slope
    out[:, at] = [q, p, plastic, y + q_tr * y_q, q_tr * y_p, p_tr * dw * y_q, w + p_tr * dw * y_p]
    return out


def _on_tip(point: _Point, b: float, least: Floats, q_tr: Floats, p_tr: Floats, before: Floats) -> Floats:
    """Return trials beyond the tip to it, b p = strength; the volume flows by at least `least`."""
    k, norm = point.bulk, 1 + 2 * point.nu**2
    shape = q_tr**2 / (6 * point.shear**2)  # squared size of the deviator that flows away

    def size(v: Floats, i: Ints) -> Floats:
        return np.sqrt((shape[i] + v**2 / 3) / norm)

    def excess(v: Floats, i: Ints) -> tuple[Floats, Floats]:
        e = size(v, i)
        now = before[i] + e
        return b * (p_tr[i] - k * v) - point.strength(now), -b * k - point.slope(now) * _ratio(v, 3 * norm * e)

    everywhere = np.arange(len(q_tr))
    small = CLOSE * point.strength(before) + ROUND_OFF * b * p_tr
    v = _roots(excess, least, p_tr / k, small)
    e = size(v, everywhere)
    slope, fall = point.slope(before + e), -excess(v, everywhere)[1]
    v_q = -slope * q_tr / (6 * point.shear**2 * norm * e) / fall
    none = np.zeros_like(v)
    return np.stack([none, p_tr - k * v, before + e, none, none, -k * v_q, 1 - k * b / fall])


def _ratio(above: Floats, below: Floats) -> Floats:
    """Return above / below, 0 where below is."""
    return np.divide(above, below, out=np.zeros(np.broadcast_shapes(above.shape, below.shape)), where=below != 0)


def _roots(
    function: Callable[[Floats, Ints], tuple[Floats, Floats]], positive: Floats, negative: Floats, small: Floats
) -> Floats:
    """Return where functions are zero between places where they are positive and not, to a value of at most `small`.

    ``function(x, i)`` gives values and slopes of the functions numbered i. Newton's method from the positive end, only
    for those that are not done; where it leaves the bracket, or the value does not halve, the bracket is halved.
    """
    x, root = positive, positive.copy()
    i, last = np.arange(len(x)), np.full(len(x), np.inf)
    for _ in range(TURNS):
        value, slope = function(x, i)
        root[i] = x
        above = value > 0
        positive, negative = np.where(above, x, positive), np.where(above, negative, x)
        newton = x - _ratio(value, slope)
        size = np.abs(value)
        good = ((newton - positive) * (newton - negative) < 0) & (2 * size <= last)
        x = np.where(good, newton, (positive + negative) / 2)
        going = (size > small) & (x != positive) & (x != negative)
        if not going.any():
            break
        if not going.all():
            positive, negative, x, i, size, small = (part[going] for part in (positive, negative, x, i, size, small))
        last = size
    return root
