"""Twenty joints from a script: how overlap and thickness move the peaks.

Run it with ``python examples/overlap_and_thickness.py``. The joint is the
invented door sill of a cable-car cabin.
"""

from importlib import resources

import fejoint
from fejoint.joint.file import joint_from_text

OVERLAPS = (10.0, 12.5, 20.0, 30.0, 40.0)  # mm
THICKNESSES = (1.0, 1.6, 2.0, 3.0)  # mm


def sill() -> fejoint.Joint:
    """Return the joint that is varied."""
    return joint_from_text(resources.files("fejoint.demo").joinpath("door-sill.toml").read_text(encoding="utf-8"))


def vary(joint: fejoint.Joint, overlap: float, thickness: float) -> fejoint.Joint:
    """Return the joint with another overlap and both adherends of another thickness."""
    g = joint.geometry
    return joint.replace(
        geometry=g.replace(
            overlap_length=overlap,
            lower=g.lower.replace(thickness=thickness),
            upper=g.upper.replace(thickness=thickness),
        )
    )


def peaks() -> list[tuple[float, float, float, float, bool]]:
    """Return overlap and thickness (mm), peak shear and peel (MPa), and whether the self-checks passed."""
    rows = []
    for overlap in OVERLAPS:
        for thickness in THICKNESSES:
            result = fejoint.solve(vary(sill(), overlap, thickness))
            rows.append((overlap, thickness, result.peak_shear[0].value, result.peak_peel[0].value, result.passed))
    return rows


if __name__ == "__main__":
    print("overlap_mm  thickness_mm  peak_shear_MPa  peak_peel_MPa  checks")
    for overlap, thickness, shear, peel, passed in peaks():
        print(f"{overlap:10g}  {thickness:12g}  {shear:14.2f}  {peel:13.2f}  {'passed' if passed else 'MISSED'}")
