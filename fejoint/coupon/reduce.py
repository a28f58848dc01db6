"""From a coupon test to its figures: every specimen's curve reduced as the standard or the file says."""

from __future__ import annotations

from pathlib import Path

from fejoint.coupon.cautions import cautions_of
from fejoint.coupon.curve import Pull
from fejoint.coupon.dcb import dcb
from fejoint.coupon.description import Coupons
from fejoint.coupon.enf import enf
from fejoint.coupon.file import coupon_test_from_text, pulls_of
from fejoint.coupon.lap_shear import lap_shear
from fejoint.coupon.outcome import ReducedSpecimen, ReducedTest
from fejoint.coupon.peel import t_peel
from fejoint.coupon.reduction import Reduction
from fejoint.coupon.thick_adherend import thick_adherend
from fejoint.errors import JointError
from fejoint.joint.file import read_text

__all__ = ["peel_range", "reduce_coupons", "reduced"]


def reduce_coupons(path: str | Path) -> ReducedTest:
    """Return the coupon test of a file, all its specimens reduced.

    Raises
    ------
    JointError
        The file, the tester's files or a specimen is refused: one sentence.
    """
    path = Path(path)
    test = coupon_test_from_text(read_text(path), str(path))
    try:
        pulls, machine, metal = pulls_of(test, path.parent)
        return reduced(test, pulls, machine, metal)
    except JointError as error:
        raise JointError(str(error) if str(error).startswith(str(path.parent)) else f"{path}: {error}") from None


def reduced(test: Coupons, pulls: list[Pull], machine: float = 0.0, metal: float | None = None) -> ReducedTest:
    """Return a coupon test with every pull reduced.

    Parameters
    ----------
    test : Coupons
    pulls : list of Pull
        Machine's compliance taken off already.
    machine : float
        That compliance, mm/N; for the calibration of end-notched flexure, which was measured with it, and for the report.
    metal : float or None
        Compliance of a run on metal alone, mm/N.

    Raises
    ------
    JointError
        A specimen cannot be reduced: names it.
    """
    found = tuple(
        ReducedSpecimen(
            pull,
            test.of(pull.name),
            test.dimensions(pull.name),
            _reduction(test, pull, test.dimensions(pull.name), machine, metal),
        )
        for pull in pulls
    )
    if not any(one.counts for one in found):
        raise JointError("coupons.specimens: every specimen is excluded; nothing is left to report.")
    return ReducedTest(test, found, machine, metal, tuple(cautions_of(test, found)))


def _reduction(test: Coupons, pull: Pull, dimensions: dict[str, float], machine: float, metal: float | None) -> Reduction:
    if not dimensions:
        raise JointError(
            f"specimen {pull.name}: has no dimensions; give them in [coupons.specimen] for all, or in [[coupons.specimens]] with "
            f'name = "{pull.name}".'
        )
    options, kind = test.reduction, test.what
    if kind in ("single-lap shear", "double-lap shear"):
        return lap_shear(pull, dimensions, 2 if kind == "double-lap shear" else 1)
    if kind == "t-peel":
        length, skip, after = peel_range(test)
        return t_peel(pull, dimensions, length, skip, after)
    if kind == "thick-adherend shear":
        by_strain = options.modulus_by == "strain"
        return thick_adherend(pull, dimensions, options.modulus_window, by_strain, metal, options.confidence)
    if kind == "dcb":
        return dcb(pull, dimensions, options.initial_window, options.confidence)
    points = [(point.crack_length, point.compliance - machine) for point in test.of(pull.name).calibration]
    if any(compliance <= 0 for _, compliance in points):
        raise JointError(f"specimen {pull.name}: a compliance of its calibration is no more than the machine's own.")
    return enf(pull, dimensions, points, options.initial_window, options.confidence)


def peel_range(test: Coupons) -> tuple[float, float, bool]:
    """Return over which length of bond the peel force is averaged, what is left out before (mm), and from where that counts.

    Raises
    ------
    JointError
        Neither standard nor file says a length.
    """
    options = test.reduction
    known = test.followed.peel if test.followed is not None else None
    length = options.peel_length if options.peel_length is not None else known[0] if known else None
    if length is None:
        raise JointError(
            "coupons.reduction.peel_length is missing (length of bond over which the force is averaged): add it, or a standard."
        )
    skip = options.peel_skip if options.peel_skip is not None else known[1] if known else 0.0
    after = options.after_first_peak if options.after_first_peak is not None else known[2] if known else True
    return length, skip, after
