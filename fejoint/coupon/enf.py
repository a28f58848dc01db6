"""End-notched flexure specimens: toughness in sliding, by calibrated compliance, corrected beam theory, and an effective crack.

Beam theory is derived (`C = (2 L^3 + 3 a^3) / (8 b E h^3)`, arms of thickness h,
half span L, which with `G = P^2/(2b) dC/da` gives all that follows); the offset
0.42 of that in opening is published (Wang & Williams 1992, from memory). A crack
in sliding is hard to see grow: so each way here takes its length before growth, or
has it follow from the compliance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.curve import Pull
from fejoint.coupon.initiation import LOW_HIGH, Beginning, beginning
from fejoint.coupon.reduction import Figure, Reduction, needed, t_factor
from fejoint.errors import JointError

__all__ = ["Calibration", "calibrated", "enf", "opening_offset", "sliding_compliance"]

Floats = NDArray[np.float64]
OF_OPENING = 0.42  # offset in sliding over that in opening (Wang & Williams 1992, from memory)
FORCE_LEFT = 0.5  # of the largest force: below it the effective crack is followed no further (our choice)


def sliding_compliance(
    crack: Floats | float, half_span: float, width: float, arm: float, modulus: float, shear: float | None = None
) -> Floats | float:
    """Return the compliance of the beam, mm/N; with the arms' shear modulus also what they give way in shear, 3 L/(10 G b h)."""
    bent = (2 * half_span**3 + 3 * crack**3) / (8 * width * modulus * arm**3)
    return bent + (3 * half_span / (10 * shear * width * arm) if shear else 0.0)


def opening_offset(arm: float, modulus: float, shear: float) -> float:
    """Return |Delta| in opening, mm, of arms of one elastic material on each other without a layer between.

    chi h, chi = sqrt{E/(11 G) [3 - 2 (Gamma/(1 + Gamma))^2]}, Gamma = 1.18 E/G (Williams 1989, from memory). A soft layer adds
    to it.
    """
    gamma = 1.18 * modulus / shear
    return arm * math.sqrt(modulus / (11 * shear) * (3 - 2 * (gamma / (1 + gamma)) ** 2))


@dataclass(frozen=True)
class Calibration:
    """Compliance over the cube of the crack length, C = intercept + slope a^3.

    Attributes
    ----------
    slope, slope_error : float
        1/(N mm^2), and its standard error.
    reading : float
        Standard error of one crack length as the points show it, mm.
    freedom : int
    """

    slope: float
    slope_error: float
    intercept: float
    reading: float
    freedom: int


def calibrated(crack: Floats, compliance: Floats, name: str = "") -> Calibration:
    """Return the line of compliance over a^3, each point weighed as its crack length was read: all alike well.

    An error of a length moves a point by 3 m a^2 of it, so weights are 1/a^4.

    Raises
    ------
    JointError
        Fewer than four points, or a compliance that does not rise with the crack.
    """
    n = len(crack)
    if n < 4:
        raise JointError(
            f"specimen {name}: its calibration has {n} crack length{'' if n == 1 else 's'}, and a line with a useful interval "
            "needs 4."
        )
    x, w = crack**3, 1 / crack**4
    middle, level = np.average(x, weights=w), np.average(compliance, weights=w)
    squares = float(np.sum(w * (x - middle) ** 2))
    if squares <= 0:
        raise JointError(f"specimen {name}: its calibration is of one crack length; it needs different ones.")
    slope = float(np.sum(w * (x - middle) * (compliance - level))) / squares
    left = compliance - level - slope * (x - middle)
    residual = math.sqrt(float(np.sum(w * left**2)) / (n - 2))
    if slope <= 0:
        raise JointError(f"specimen {name}: the compliance of its calibration does not rise with the crack length.")
    return Calibration(slope, residual / math.sqrt(squares), float(level - slope * middle), residual / (3 * slope), n - 2)


def enf(
    pull: Pull,
    dimensions: Mapping[str, float | None],
    calibration: Sequence[tuple[float, float]] = (),
    window: tuple[float, float] = LOW_HIGH,
    confidence: float = 0.95,
) -> Reduction:
    """Return the toughness in sliding of an end-notched flexure specimen.

    The main one is by calibrated compliance, C = C0 + m (a + Delta)^3 and G = 3 m P^2 (a + Delta)^2 / (2 b),
    where a calibration is given; Delta is 0, as the usual line in a^3 has it, where no offset is known. Else by
    corrected beam theory, G = 9 P^2 (a + Delta)^2 / (16 b^2 E h^3), where an elastic modulus is given; else by
    plain beams, G = 9 P d a^2 / (2 b (2 L^3 + 3 a^3)). All at 5 % more compliance or the largest force, whichever
    comes first; with an effective crack, of length such that a beam has the compliance measured, also as it grows.

    Parameters
    ----------
    pull : Pull
    dimensions : mapping
        ``width``, ``arm_thickness``, ``crack_length``, ``half_span``, mm; ``elastic_modulus``,
        ``adherend_shear_modulus``, MPa; ``opening_offset``: |Delta| of a double cantilever beam of the same arms, mm.
    calibration : sequence of (crack length, compliance), mm and mm/N
        Each at one crack length of the same specimen, before it grew.

    Raises
    ------
    JointError
        A dimension is missing, or the curve has no straight beginning.
    """
    width, arm, crack, span = needed(pull.name, dimensions, "width", "arm_thickness", "crack_length", "half_span")
    if crack >= span:
        raise JointError(
            f"specimen {pull.name}: crack_length = {crack:g} mm must be shorter than half_span, {span:g} mm; it is measured "
            "from the support."
        )
    start = beginning(pull, window)
    if start is None:
        raise JointError(
            f"specimen {pull.name}: its curve has no straight beginning between {100 * window[0]:g} and {100 * window[1]:g} % of "
            "the largest force; record the loading, or set coupons.reduction.initial_window."
        )
    modulus, shear, offset = (dimensions.get(key) for key in ("elastic_modulus", "adherend_shear_modulus", "opening_offset"))
    if offset is None and modulus is not None and shear is not None:
        offset = opening_offset(arm, modulus, shear)
    slide = OF_OPENING * (offset or 0.0)
    force, travel = start.five.force, start.five.displacement - start.slack
    figures: dict[str, Figure] = {}
    notes: list[str] = []
    more: dict[str, tuple[Floats, Floats]] = {}
    if calibration:
        points = np.array(calibration)
        line = calibrated(points[:, 0] + slide, points[:, 1], pull.name)
        figures["calibrated"] = _by_calibration(line, force, start, crack + slide, width, t_factor(line.freedom, confidence))
        more["line"] = (points[:, 0], points[:, 1])
        if not points[:, 0].min() <= crack <= points[:, 0].max():
            notes.append(f"The crack, {crack:g} mm, lies outside the lengths of the calibration.")
    if modulus is not None:
        value = 9 * force**2 * (crack + slide) ** 2 / (16 * width**2 * modulus * arm**3)
        figures["corrected"] = Figure("G_IIc by corrected beam theory", value, "N/mm")
        if offset is None:
            notes.append("No offset of the crack is known: give opening_offset, or adherend_shear_modulus; 0 was taken.")
    figures["plain"] = Figure(
        "G_IIc by plain beams and the displacement",
        9 * force * travel * crack**2 / (2 * width * (2 * span**3 + 3 * crack**3)),
        "N/mm",
    )
    seen, lengths, released = _effective(pull, start, (width, arm, crack + slide, span), shear)
    if len(lengths):
        figures["effective"] = Figure("G_IIc by the effective crack at the largest force", float(released[-1 - seen]), "N/mm")
    main = next(key for key in ("calibrated", "corrected", "plain") if key in figures)
    if main != "calibrated":
        notes.append("No calibration of compliance was given: this toughness has no interval from its own curve.")
    chosen = figures[main]
    toughness = Figure(f"toughness {chosen.name[:1].upper()}{chosen.name[1:]}", chosen.value, "N/mm", chosen.low, chosen.high)
    E = float(sliding_compliance(crack + slide, span, width, arm, 1.0) / _bending(start.compliance, span, width, arm, shear))
    if modulus is not None and not 0.9 < E / modulus < 1.1:
        notes.append(
            f"The beginning of the curve makes an elastic modulus of {E / 1000:.3g} GPa, {modulus / 1000:.3g} GPa were stated: "
            "check dimensions and the machine's compliance."
        )
    figures = {"toughness": toughness, **figures, "modulus": Figure("arms' elastic modulus by the beginning", E, "MPa")}
    if crack < 0.7 * span:
        notes.append(
            "The crack is shorter than 0.7 of the half span, where it runs on its own once it grows: no growth to follow."
        )
    return Reduction(
        figures,
        (start.nonlinear, start.five),
        curve=(lengths, released) if len(lengths) > 2 else None,
        notes=tuple(notes),
        more=more,
    )


def _by_calibration(line: Calibration, force: float, start: Beginning, crack: float, width: float, t: float) -> Figure:
    value = 3 * line.slope * force**2 * crack**2 / (2 * width)
    noise = start.scatter / start.compliance / force  # of one force, as the straight part shows it
    error = math.sqrt((line.slope_error / line.slope) ** 2 + (2 * line.reading / crack) ** 2 + (2 * noise) ** 2)
    return Figure("G_IIc by calibrated compliance", value, "N/mm", value * max(1 - t * error, 0.0), value * (1 + t * error))


def _bending(compliance: float, span: float, width: float, arm: float, shear: float | None) -> float:
    """Return a compliance without what the arms give way in shear."""
    bent = compliance - (3 * span / (10 * shear * width * arm) if shear else 0.0)
    if bent <= 0:
        raise JointError(
            f"compliance {compliance:.3g} mm/N is less than the arms' shear alone gives; check adherend_shear_modulus."
        )
    return bent


def _effective(
    pull: Pull, start: Beginning, beam: tuple[float, float, float, float], shear: float | None
) -> tuple[int, Floats, Floats]:
    """Return how many points follow the largest force, effective crack lengths and toughness from off the straight line on.

    The beam's modulus is the one that makes its compliance at the beginning that of the first crack (with its offset).
    """
    width, arm, crack, span = beam
    bent = _bending(start.compliance, span, width, arm, shear)
    cube = (2 * span**3 + 3 * crack**3) / bent  # 8 b E h^3
    top = int(np.argmax(pull.force))
    first = int(np.searchsorted(pull.displacement[: top + 1], start.nonlinear.displacement))
    chosen = np.arange(min(first, top), len(pull.force))
    fallen = np.flatnonzero(pull.force[top:] < FORCE_LEFT * pull.largest)
    chosen = chosen[chosen < top + int(fallen[0])] if len(fallen) else chosen
    P, d = pull.force[chosen], pull.displacement[chosen] - start.slack
    compliance = d / P - (3 * span / (10 * shear * width * arm) if shear else 0.0)
    length = np.cbrt(np.maximum(cube * compliance - 2 * span**3, 0.0) / 3)
    grown = (length >= 0.95 * crack) & (length < span)
    released = 9 * P**2 * length**2 / (2 * width * cube)
    after = int(np.sum(grown & (chosen > top)))
    if not grown[chosen == top].any():
        return 0, np.empty(0), np.empty(0)
    return after, length[grown], released[grown]
