"""Double cantilever beam specimens: toughness in opening, by corrected beam theory, beside plain beams and measured compliance.

Corrected beam theory and the points of initiation are those of ISO 25217, from
memory; the theory itself is derived: an arm that turns a little at the crack tip
is one that is longer by |Delta|, so that C^(1/3) is a line in the crack length.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fejoint.coupon.curve import Pull
from fejoint.coupon.initiation import LOW_HIGH, Beginning, beginning
from fejoint.coupon.reduction import Figure, Line, Mark, Reduction, fitted_line, needed, t_factor
from fejoint.errors import JointError

__all__ = ["Corrected", "corrected_beam", "dcb", "large_opening"]

Floats = NDArray[np.float64]
FEW, MANY = 5, 60  # readings: below and above, a note says what the interval then is worth (our choice)
MATTERS = 0.05  # of the mean toughness: a rise below it is not worth a word (our choice)
MOST_DISPLACEMENT = 0.4  # opening over crack length beyond which F is asked for (from memory)


def large_opening(
    displacement: ArrayLike, crack: ArrayLike, pin_height: float = 0.0, block: float = 0.0
) -> tuple[Floats, Floats]:
    """Return F and N: what a wide opening, and loading blocks, take off toughness and compliance.

    F = 1 - 3/10 (d/a)^2 - 3/2 l1 d/a^2; N = 1 - (l2/a)^3 - 9/8 [1 - (l2/a)^2] l1 d/a^2 - 9/35 (d/a)^2.
    From memory (ISO 15024 and 25217, ASTM D5528; Williams 1987); the terms without blocks are held against the elastica,
    those of a pin above the arm against statics. N's 9/8 is of the opening of the arms' axes; that of the pins, which also sink
    as the arms turn, would have 27/16 (derived): 0.6 l1 d/a^2 more in the toughness, so keep l1 d/a^2 below 0.02 or so.

    Parameters
    ----------
    displacement, crack : arrays, mm
    pin_height : float
        l1: from the loading pin to the arm's mid-plane, mm.
    block : float
        l2: from the pin to the block's edge along the arm, mm.
    """
    d, a = np.asarray(displacement, dtype=np.float64), np.asarray(crack, dtype=np.float64)
    wide, arm = d / a, pin_height * d / a**2
    F = 1 - 0.3 * wide**2 - 1.5 * arm
    N = 1 - (block / a) ** 3 - 1.125 * (1 - (block / a) ** 2) * arm - 9 / 35 * wide**2
    return F, N


@dataclass(frozen=True, eq=False)
class Corrected:
    """Corrected beam theory over the readings of one specimen.

    Attributes
    ----------
    toughness : (n,) array, N/mm
    offset : float
        |Delta|, mm: by how much the arm acts longer than the crack.
    offset_error : float
        Its standard error, mm.
    line : Line
        (C/N)^(1/3) over crack length.
    mean, low, high : float
        Mean of the toughness, N/mm, and its interval.
    share, freedom : float
        Standard error of the mean as a share of it, and its degrees of freedom.
    """

    toughness: Floats
    offset: float
    offset_error: float
    line: Line
    mean: float
    low: float
    high: float
    F: Floats
    N: Floats


def corrected_beam(
    crack: Floats,
    force: Floats,
    displacement: Floats,
    width: float,
    pin_height: float = 0.0,
    block: float = 0.0,
    confidence: float = 0.95,
    name: str = "",
) -> Corrected:
    """Return toughness at each reading: G = 3 P d / (2 b (a + |Delta|)) F/N, Delta from the line of (C/N)^(1/3) over a.

    The interval of the mean adds what the slope of the line does not know (through
    it an error of all crack lengths alike acts) to the scatter of the readings; both
    are independent under random errors, and their degrees of freedom are put together
    by Welch and Satterthwaite. It knows nothing of errors that all readings share, such as a wrong width.

    Raises
    ------
    JointError
        Fewer than three readings, or a compliance that does not rise with the crack.
    """
    if len(crack) < 3:
        raise JointError(
            f"specimen {name}: has {len(crack)} reading{'' if len(crack) == 1 else 's'} of a crack that grows, and corrected "
            "beam theory needs 3, longer than crack_length and each in a line of its own; check crack_length and the column."
        )
    F, N = large_opening(displacement, crack, pin_height, block)
    if (N <= 0.2).any() or (F <= 0.2).any():
        raise JointError(
            f"specimen {name}: its opening is too wide for its crack lengths (displacement over crack up to "
            f"{float(np.max(displacement / crack)):.3g}), or block_length or pin_height is too large; check units and columns."
        )
    root = np.cbrt(displacement / force / N)
    line = fitted_line(crack, root, f"specimen {name}, crack lengths")
    if line.slope <= 0:
        raise JointError(f"specimen {name}: its compliance does not rise with the crack length; check the columns.")
    offset = line.intercept / line.slope
    squares = (line.residual / line.slope_error) ** 2 if line.slope_error > 0 else math.inf
    error = line.residual / line.slope * math.sqrt(1 / line.number + (line.mean + offset) ** 2 / squares)
    offset = max(offset, 0.0)  # ISO 15024 takes none for one of the other sign (from memory); a note says so
    length = crack + offset
    toughness = 3 * force * displacement / (2 * width * length) * F / N
    mean = float(toughness.mean())
    of_line = (line.slope_error / line.slope) ** 2
    of_scatter = float(np.var(toughness, ddof=1)) / mean**2 / line.number
    both = of_line + of_scatter
    freedom = both**2 / (of_line**2 / line.freedom + of_scatter**2 / (line.number - 1)) if both > 0 else float(line.freedom)
    reach = t_factor(freedom, confidence) * math.sqrt(both) * mean
    return Corrected(toughness, offset, error, line, mean, mean - reach, mean + reach, F, N)


def dcb(
    pull: Pull,
    dimensions: Mapping[str, float | None],
    window: tuple[float, float] = LOW_HIGH,
    confidence: float = 0.95,
) -> Reduction:
    """Return the toughness in opening of a double cantilever beam.

    Beside corrected beam theory: plain beams, G = 3 P d / (2 b a), and measured
    compliance, C = k a^n, G = n P d / (2 b a); with an elastic modulus also G = 4
    P^2/(E b^2) (3 a^2/h^3 + 1/h). Initiation, at the first crack length: off the
    straight line, and 5 % more compliance or the largest force, whichever is first.

    Parameters
    ----------
    pull : Pull
        With `crack_length` where it was read.
    dimensions : mapping
        ``width``, ``arm_thickness`` (one adherend), ``crack_length`` (from the loading
        line to the tip before growth), ``pin_height``, ``block_length``, mm; ``elastic_modulus``, MPa.
    window : (low, high)
        Shares of the largest force between which the curve counts as straight.

    Raises
    ------
    JointError
        A dimension or crack lengths are missing, or the readings make no line.
    """
    width, arm = needed(pull.name, dimensions, "width", "arm_thickness")
    if pull.crack_length is None:
        raise JointError(
            f"specimen {pull.name}: a double cantilever beam needs crack lengths; give data.columns.crack_length, a column that "
            "is empty where none was read."
        )
    start = beginning(pull, window)
    slack = start.slack if start is not None else 0.0
    read = np.flatnonzero(np.isfinite(pull.crack_length))
    if (pull.crack_length[read] <= 0).any():
        raise JointError(f"specimen {pull.name}: a crack length is not above 0; leave the cell empty where none was read.")
    first = dimensions.get("crack_length")
    if len(read) and first is None:
        first = float(pull.crack_length[read[0]])
    grown = read[pull.crack_length[read] > (first or 0.0) * (1 + 1e-9)]
    a, P, d = pull.crack_length[grown], pull.force[grown], pull.displacement[grown] - slack
    if not ((P > 0).all() and (d > 0).all()):
        raise JointError(
            f"specimen {pull.name}: a crack was read where force or displacement is not above 0; check the readings."
        )
    height, block = float(dimensions.get("pin_height") or 0.0), float(dimensions.get("block_length") or 0.0)
    found = corrected_beam(a, P, d, width, height, block, confidence, pull.name)
    compliance = fitted_line(np.log(a), np.log(d / P / found.N), f"specimen {pull.name}, crack lengths")
    E = 8 / (width * (arm * found.line.slope) ** 3)
    t = t_factor(found.line.freedom, confidence)
    reach = t * found.offset_error
    figures = {
        "toughness": Figure(
            "toughness G_Ic, mean while the crack grows (corrected beam)", found.mean, "N/mm", found.low, found.high
        ),
        **_initiation(start, first, found, width, height, block, t),
        "simple_beam": Figure("mean by plain beams, 3 P d/(2 b a)", float(np.mean(3 * P * d / (2 * width * a))), "N/mm"),
        "measured_compliance": Figure(
            "mean by measured compliance, n P d/(2 b a)",
            float(np.mean(compliance.slope * P * d / (2 * width * a) * found.F / found.N)),
            "N/mm",
        ),
        "offset": Figure("|Delta|", found.offset, "mm", found.offset - reach, found.offset + reach),
        "exponent": Figure(
            "exponent n of compliance over crack length",
            compliance.slope,
            "",
            compliance.slope - t * compliance.slope_error,
            compliance.slope + t * compliance.slope_error,
        ),
        "modulus": Figure(
            "arms' elastic modulus by the line",
            E,
            "MPa",
            E * (1 + t * found.line.slope_error / found.line.slope) ** -3,
            E * max(1 - t * found.line.slope_error / found.line.slope, 1e-3) ** -3,
        ),
    }
    stated = dimensions.get("elastic_modulus")
    if stated is not None:
        plain = 4 * P**2 / (stated * width**2) * (3 * a**2 / arm**3 + 1 / arm)
        figures["stated_modulus"] = Figure("mean by plain beams of the stated modulus", float(plain.mean()), "N/mm")
    marks = [] if start is None else [start.nonlinear, start.five]
    return Reduction(
        figures,
        (*marks, *(Mark("crack read", float(x + slack), float(f)) for x, f in zip(d, P, strict=True))),
        curve=(a, found.toughness),
        notes=tuple(_notes(pull.name, found, a, d, stated, E, figures["modulus"], start, slack)),
        more={"line": (a, np.cbrt(d / P / found.N))},
    )


def _initiation(
    start: Beginning | None, first: float | None, found: Corrected, width: float, height: float, block: float, t: float
) -> dict[str, Figure]:
    """Return toughness at the first crack length, with an interval from the line and from how surely a crack is read."""
    if start is None or first is None:
        return {}
    figures = {}
    reading = found.line.residual / found.line.slope  # error of one crack length, as the line shows it
    error = math.hypot(found.offset_error, reading) / (first + found.offset)
    for key, mark, words in (
        ("nonlinear", start.nonlinear, "off the straight line"),
        ("initiation", start.five, "5 % more compliance or largest force"),
    ):
        opening = mark.displacement - start.slack
        F, N = large_opening(opening, first, height, block)
        value = 3 * mark.force * opening / (2 * width * (first + found.offset)) * float(F / N)
        figures[key] = Figure(
            f"G_Ic at initiation, {words}", value, "N/mm", value * max(1 - t * error, 0.0), value * (1 + t * error)
        )
    return figures


def _notes(
    name: str,
    found: Corrected,
    a: Floats,
    d: Floats,
    stated: float | None,
    E: float,
    modulus: Figure,
    start: Beginning | None,
    slack: float,
) -> list[str]:
    notes = []
    if len(a) < FEW:
        notes.append(f"Only {len(a)} crack lengths were read while the crack grew: the interval is wide for that.")
    if len(a) > MANY:
        notes.append(
            f"{len(a)} crack lengths were read, closer than errors of reading are independent: the interval is narrower than it "
            "should be; give fewer."
        )
    if (np.diff(a) < 0).any():
        i = int(np.argmax(np.diff(a) < 0))
        notes.append(
            f"A crack length of {a[i + 1]:.4g} mm follows one of {a[i]:.4g} mm: cracks do not shrink; check the readings."
        )
    if start is None:
        notes.append("The record has no straight beginning: no values at initiation, and no slack was taken off.")
    elif abs(slack) > 0.02 * float(d.max()):
        notes.append(f"{slack:.3g} mm of displacement before the specimen took load were taken off.")
    if found.line.intercept < 0:
        notes.append(
            "Delta came out with the other sign, as if the arms were shorter than the crack, and was taken as 0: check crack "
            "lengths, where they are measured from, and the machine's compliance."
        )
    if float(np.max(d / a)) > MOST_DISPLACEMENT:
        notes.append(
            f"The opening reaches {float(np.max(d / a)):.2g} of the crack length: F matters (least {found.F.min():.3f})."
        )
    if stated is not None and not (modulus.low or 0.0) <= stated <= (modulus.high or math.inf) and not 0.9 < E / stated < 1.1:
        notes.append(
            f"The line makes an elastic modulus of {E / 1000:.3g} GPa, {stated / 1000:.3g} GPa were stated: check arm_thickness, "
            "crack lengths and the machine's compliance."
        )
    rise = fitted_line(a, found.toughness, f"specimen {name}, toughness")
    sure = abs(rise.slope) > t_factor(rise.freedom, 0.99) * rise.slope_error
    if sure and abs(rise.slope) * (a.max() - a.min()) > MATTERS * found.mean:
        word = "rises" if rise.slope > 0 else "falls"
        notes.append(
            f"Toughness {word} with the crack length (by {abs(rise.slope) * (a.max() - a.min()):.2g} N/mm "
            "over the readings): one mean does not say all; see the curve."
        )
    return notes
