"""A commented coupon-test file to start from, made from the models that read it."""

from __future__ import annotations

import difflib
import json

from fejoint.coupon.description import DIMENSIONS, Coupons
from fejoint.coupon.standards import KINDS, standard, standards
from fejoint.errors import JointError
from fejoint.joint.file import commented

__all__ = ["coupons_template"]

# By kind: dimensions that it cannot do without, and those that it may take.
DIMENSIONS_OF = {
    "single-lap shear": (("width", "overlap_length"), ("thickness",)),
    "double-lap shear": (("width", "overlap_length"), ("thickness",)),
    "t-peel": (("width",), ()),
    "thick-adherend shear": (
        ("width", "overlap_length", "bondline_thickness"),
        ("thickness", "gauge_length", "adherend_shear_modulus"),
    ),
    "dcb": (("width", "arm_thickness"), ("crack_length", "pin_height", "block_length", "elastic_modulus")),
    "enf": (
        ("width", "arm_thickness", "crack_length", "half_span"),
        ("opening_offset", "elastic_modulus", "adherend_shear_modulus"),
    ),
}
OF_KINDS = {  # other keys that only some kinds take
    "metal_run": ("thick-adherend shear",),
    "extension": ("thick-adherend shear",),
    "crack_length": ("dcb",),
    "peel_length": ("t-peel",),
    "peel_skip": ("t-peel",),
    "after_first_peak": ("t-peel",),
    "modulus_window": ("thick-adherend shear",),
    "modulus_by": ("thick-adherend shear",),
    "initial_window": ("dcb", "enf"),
}
SPECIMENS = """
# One such table for a specimen that has dimensions, a failure pattern or a note of its own:
# [[coupons.specimens]]
# name = "S1"                              # as in the tester's file
# pattern = { cohesive = 80, adhesive = 20 } # words of ASTM D5573 or ISO 10365, per cent of the area, add to 100
# note = "void at the edge"                # what was seen
# excluded = true                          # left out of the statistics; needs a reason
# reason = "slipped in the grips"
"""
CALIBRATION = """# calibration = [                          # compliance at four crack lengths or more, before it grew
#   { crack_length = "30 mm", compliance = "1.7e-4 mm/N" },
# ]
"""


def coupons_template(wanted: str) -> str:
    """Return a commented coupon-test file of a kind of test, or of a standard, ready to be edited.

    Raises
    ------
    JointError
        It is neither.
    """
    kind, given = _given(wanted)
    lines = ["# Coupon-test file of fejoint. Quantities are text with a unit; bare numbers are N, mm, MPa, s."]
    lines += ["# Lines that begin with '#' are defaults or optional keys.", "", "[coupons]"]
    commented(Coupons, ("coupons",), lines, {})
    needed, useful = DIMENSIONS_OF[kind]
    if kind == "t-peel" and given.startswith("kind"):
        needed = (*needed, "peel_length")  # which no standard says then
    out: list[str] = []
    table = ""
    for line in lines:
        bare = line.removeprefix("# ")
        key = bare.partition(" =")[0]
        table = line.partition("]")[0].strip("[") if line.startswith("[") else table
        if key in ("standard", "kind") and table == "coupons":
            out += [given] if given.startswith(key) else []
        elif table == "coupons.specimen" and key in DIMENSIONS:
            out += [_said(bare)] if key in needed else [line] if key in useful else []
        elif key not in OF_KINDS or kind in OF_KINDS[key]:
            out.append(_said(bare) if key == "peel_length" and key in needed else line)
    return "\n".join(out) + "\n" + SPECIMENS + (CALIBRATION if kind == "enf" else "")


def _said(line: str) -> str:
    """Return a key that must be given, its comment below the others'."""
    return line.replace(" # ", "   # ", 1)


def _given(wanted: str) -> tuple[str, str]:
    """Return the kind, and the line that says it."""
    named = wanted.strip().lower()
    if named in KINDS:
        return named, f"kind = {json.dumps(named)}".ljust(43) + " # Kind of test; or standard = the name of a standard"
    try:
        known = standard(wanted)
    except JointError:
        near = difflib.get_close_matches(named, KINDS, n=1)
        hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(KINDS)}, and {', '.join(standards())}."
        raise JointError(f"--new {wanted[:60]}: is no kind of coupon test and no standard known here; {hint}") from None
    return known.kind, f"standard = {json.dumps(known.name)}".ljust(43) + " # Test standard"
