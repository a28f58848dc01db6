"""A regression case out of a solved joint: its values as they are, so that a later version that changes them is noticed."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from fejoint import __version__
from fejoint.errors import JointError
from fejoint.mechanics.driver import Result
from fejoint.proof.case import case_from_text
from fejoint.proof.quantities import QUANTITIES, Place, bond_parts, by_finite_elements

__all__ = ["frozen_case"]

SAFETY = 3.0  # times the estimated mesh error: the estimate is right within a factor of 3
FLOOR = 1e-3  # share: what another gmsh places its points apart, and other round-off, stays below
NOTHING = 1e-6  # share of the joint's scale below which a value is round-off


def frozen_case(result: Result, joint_text: str, file: str, date: str) -> str:
    """Return the text of a case that holds the joint as given and its main quantities as values.

    Parameters
    ----------
    result : Result
    joint_text : str
        The joint file that it was solved from.
    file, date : str
        What the source calls the file; when it was frozen.

    Raises
    ------
    JointError
        The result missed a self-check.
    """
    import tomlkit

    if not result.passed:
        missed = ", ".join(check.name for check in result.checks if not check.passed)
        raise JointError(f"{file}: the self-checks {missed} missed, so there is nothing to freeze; refine the mesh.")
    about = {
        "title": result.joint.title or f"{result.joint.geometry.kind}, {PurePath(file).stem}",
        "source": f"frozen by fejoint {__version__} on {date} from {PurePath(file).name}",
        "note": f"Values of fejoint {__version__}: they guard against change and are no truth.",
    }
    text = joint_text.rstrip() + "\n\n# ---- frozen ----\n\n" + tomlkit.dumps({"case": about, "expect": _expectations(result)})
    case_from_text(text, place=file)  # what is written can be read
    return text


def _expectations(result: Result) -> list[dict[str, Any]]:
    """Return the main quantities of a result, each with a difference that its mesh error allows."""
    answers, joint = by_finite_elements(result), result.joint
    error = result.discretisation_error
    largest = max(error.values())
    stress = max(abs(result.peak_shear[0].value), abs(result.peak_peel[0].value), abs(result.least_peel[0].value))
    found: list[dict[str, Any]] = []

    def freeze(quantity: str, share: float, scale: float, adherend: str | None = None, part: str | None = None) -> None:
        """Freeze one quantity whose error is a share of a scale, in its unit."""
        asked = QUANTITIES[quantity]
        if asked.excluded(joint) or scale == 0:
            return
        value, unit = asked.of(answers, Place(adherend=adherend, part=part)), asked.unit
        if abs(value) < NOTHING * scale:
            value = 0.0
        allowed = max(SAFETY * share, FLOOR)
        found.append(
            {
                "quantity": quantity,
                **{key: name for key, name in (("adherend", adherend), ("part", part)) if name is not None},
                "value": f"{value!r} {unit}".strip(),
                "absolute": f"{allowed * scale:.3g} {unit}".strip(),
                "reason": f"value of fejoint {__version__}, guards change, not truth; {100 * allowed:.2g} % of "
                f"{scale:.4g} {unit}".rstrip()
                + f": three times the estimated mesh error ({100 * share:.2g} %), at least {100 * FLOOR:g} %",
            }
        )

    # A peel that hardly opens is known as well as the layer's other stresses, not better.
    freeze("peak_shear", error["peak_shear"], max(abs(result.peak_shear[0].value), 0.1 * stress))
    freeze("peak_peel", error["peak_peel"], max(abs(result.peak_peel[0].value), 0.1 * stress))
    freeze("least_peel", error["peak_peel"], max(abs(result.least_peel[0].value), 0.1 * stress))
    for quantity in ("peak_over_mean_shear", "least_over_mean_shear"):
        if joint.load.force != 0:
            freeze(quantity, largest, max(1.0, abs(QUANTITIES["peak_over_mean_shear"].of(answers, Place()))))
    # What follows is an integral or a displacement, whose error is below that of the peaks.
    moment = max(abs(loads.moment) for loads in result.edges.values())
    for name, peak in result.adherend_peaks.items():
        freeze("edge_moment", largest, moment, adherend=name)
        freeze("adherend_peak", largest, peak, adherend=name)
    for part in bond_parts(joint) if len(result.bond_forces) > 1 else ():
        freeze("load_share", largest, 1.0, part=part)
    for quantity in ("elongation", "width_strain", "lift"):
        freeze(quantity, largest, abs(QUANTITIES[quantity].of(answers, Place())))
    return found
