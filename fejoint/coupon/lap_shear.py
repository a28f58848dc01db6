"""Lap shear coupons: the largest force over the bonded area, of one bond or of two."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fejoint.coupon.curve import Pull
from fejoint.coupon.reduction import Figure, Mark, Reduction, needed

__all__ = ["lap_shear"]


def lap_shear(pull: Pull, dimensions: Mapping[str, float | None], bonds: int = 1) -> Reduction:
    """Return the lap shear strength of a pull.

    tau = F / (b l) of a single lap, F / (2 b l) of a double lap: an average over
    the area, no stress that the adhesive has anywhere, since shear and peel
    gather at the ends (`fejoint.solve` shows how much). It compares coupons of
    one geometry and is no allowable (ASTM D4896, in a publisher's abstract).

    Parameters
    ----------
    pull : Pull
    dimensions : mapping
        ``width`` and ``overlap_length`` (of each bond), mm; ``thickness`` of the (inner) adherend where its stress is asked for.
    bonds : int
        1 or 2.

    Raises
    ------
    JointError
        A dimension is missing.
    """
    width, overlap = needed(pull.name, dimensions, "width", "overlap_length")
    top = int(np.argmax(pull.force))
    force = float(pull.force[top])
    figures = {
        "strength": Figure("lap shear strength", force / (bonds * width * overlap), "MPa"),
        "force": Figure("largest force", force, "N"),
        "travel": Figure("displacement at the largest force", float(pull.displacement[top] - pull.displacement[0]), "mm"),
    }
    thickness = dimensions.get("thickness")
    if thickness is not None:
        figures["adherend_stress"] = Figure("adherend's mean stress at the largest force", force / (width * thickness), "MPa")
    if pull.time is not None:
        figures["time"] = Figure("time to the largest force", float(pull.time[top] - pull.time[0]), "s")
    return Reduction(figures, (Mark("largest force", float(pull.displacement[top]), force),))
