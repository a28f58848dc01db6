"""Thick-adherend shear specimens: stress against shear strain of the adhesive, the adherends' own deformation taken off."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from fejoint.coupon.curve import Pull
from fejoint.coupon.reduction import Figure, Mark, Reduction, fitted_line, needed, t_factor
from fejoint.errors import JointError

__all__ = ["FALLEN", "metal_compliance", "thick_adherend"]

Floats = NDArray[np.float64]
FALLEN = 0.95  # of the largest force: what lies below it for good is the break


def metal_compliance(run: Pull) -> float:
    """Return extension over force (mm/N) of a specimen of metal alone, by least squares over 20 to 90 % of its largest force.

    Raises
    ------
    JointError
        The run has no extension, or too few points.
    """
    if run.extension is None:
        raise JointError(f"{run.name}: the run on metal alone needs a column of the extensometer; give data.columns.extension.")
    last = int(np.argmax(run.force)) + 1
    inside = (run.force[:last] >= 0.2 * run.largest) & (run.force[:last] <= 0.9 * run.largest)
    return fitted_line(run.force[:last][inside], run.extension[:last][inside], f"{run.name} (metal alone)").slope


def thick_adherend(
    pull: Pull,
    dimensions: Mapping[str, float | None],
    window: tuple[float, float],
    by_strain: bool = False,
    metal: float | None = None,
    confidence: float = 0.95,
) -> Reduction:
    """Return shear modulus, shear strength and strains of a thick-adherend specimen.

    tau = F / (b l); gamma = (e - e_metal) / t_a, where e is what the extensometer
    reads between points `gauge_length` apart across the bond, and e_metal what the
    metal between them adds. From a run on metal alone, of compliance e/F, that is
    F (e/F) (g - t_a)/g; without one, and with the metal's shear modulus, F (g -
    t_a)/(b l G): metal under the bond's own mean shear (derived; metal farther from
    the bond carries less, so it takes off a little too much). Without either
    nothing is taken off, and a note says so.

    The modulus is the slope by least squares of strain over stress between two
    stresses (shares of the largest) or two strains, with its interval; the chord
    between the curve's points there stands beside it.

    Parameters
    ----------
    pull : Pull
        With `extension`.
    dimensions : mapping
        ``width``, ``overlap_length``, ``bondline_thickness``, ``gauge_length``, mm; ``adherend_shear_modulus``, MPa.
    window : (low, high)
        Shares of the largest stress, or strains where `by_strain`.
    metal : float or None
        Compliance of the run on metal alone, mm/N.

    Raises
    ------
    JointError
        A dimension, the extension, or points within the window are missing.
    """
    width, overlap, layer = needed(pull.name, dimensions, "width", "overlap_length", "bondline_thickness")
    if pull.extension is None:
        raise JointError(
            f"specimen {pull.name}: shear strain needs a column of an extensometer across the bond; give data.columns.extension."
        )
    notes: list[str] = []
    stiff = dimensions.get("adherend_shear_modulus")
    extension = pull.extension - pull.extension[0]
    if metal is None and stiff is None:
        notes.append(
            "The adherends' own deformation was not taken off: give data.metal_run, or adherend_shear_modulus with gauge_length; "
            "the modulus is too low."
        )
        own = 0.0
    else:
        (gauge,) = needed(pull.name, dimensions, "gauge_length")
        if gauge <= layer:
            raise JointError(
                f"specimen {pull.name}: gauge_length = {gauge:g} mm must be larger than bondline_thickness, {layer:g} mm."
            )
        own = (gauge - layer) / gauge * metal if metal is not None else (gauge - layer) / (width * overlap * float(stiff or 1.0))
    stress = pull.force / (width * overlap)
    strain = (extension - own * (pull.force - pull.force[0])) / layer
    top = int(np.argmax(stress))
    last = int(np.flatnonzero(pull.force >= FALLEN * pull.largest)[-1])
    measure = strain if by_strain else stress / stress[top]
    ends = [_crossing(measure[: top + 1], limit) for limit in window]
    inside = slice(math.ceil(ends[0]), math.floor(ends[1]) + 1)
    low, high = (f"{end:g}" if by_strain else f"{100 * end:g} %" for end in window)
    shown = f"strains {low} and {high}" if by_strain else f"{low} and {high} of strength"
    if measure[: top + 1].max() < window[1]:
        raise JointError(
            f"specimen {pull.name}: its strain reaches {float(measure[: top + 1].max()):.3g} and no {high}; give a lower "
            "coupons.reduction.modulus_window."
        )
    if inside.stop - inside.start < 3:
        raise JointError(
            f"specimen {pull.name}: points between {shown}: {max(inside.stop - inside.start, 0)}, and the line of the modulus "
            "needs 3; give a wider coupons.reduction.modulus_window, or record more often."
        )
    # Strain over stress: what an extensometer reads is less sure than a force.
    line = fitted_line(stress[inside], strain[inside], f"specimen {pull.name}, between {shown}")
    reach = t_factor(line.freedom, confidence) * line.slope_error
    chord = np.array([[np.interp(e, np.arange(top + 1), part[: top + 1]) for e in ends] for part in (strain, stress)])
    (g0, g1), (s0, s1) = chord
    if line.slope <= reach or g1 <= g0:
        raise JointError(
            f"specimen {pull.name}: strain does not surely rise between {shown}; check extension, gauge_length and what is "
            "taken off, or give a wider coupons.reduction.modulus_window."
        )
    if own * pull.largest > 0.5 * float(extension[top]):
        notes.append(
            f"More than half of the extension is the adherends' own ({100 * own * pull.largest / float(extension[top]):.0f} %)."
        )
    figures = {
        "strength": Figure("shear strength", float(stress[top]), "MPa"),
        "modulus": Figure(
            f"shear modulus between {shown}", 1 / line.slope, "MPa", 1 / (line.slope + reach), 1 / (line.slope - reach)
        ),
        "chord_modulus": Figure("chord modulus between the same ends", float((s1 - s0) / (g1 - g0)), "MPa"),
        "strain_at_strength": Figure("shear strain at the largest stress", float(strain[top]), ""),
        "strain_at_break": Figure("shear strain at break", float(strain[last]), ""),
        "adherends_share": Figure("adherends' share of the extension", own * pull.largest / float(extension[top]), ""),
    }
    mark = Mark("largest force", float(pull.displacement[top]), float(pull.force[top]))
    return Reduction(
        figures,
        (mark,),
        curve=(strain[: last + 1], stress[: last + 1]),
        notes=tuple(notes),
        more={"modulus": (line.intercept + line.slope * np.array([s0, s1]), np.array([s0, s1]))},
    )


def _crossing(measure: Floats, limit: float) -> float:
    """Return where a curve first reaches a limit, as a place between its points."""
    i = int(np.argmax(measure >= limit))
    if i == 0:
        return 0.0
    below, above = measure[i - 1], measure[i]
    return i - 1 + float((limit - below) / (above - below))
