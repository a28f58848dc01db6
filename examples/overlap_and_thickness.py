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


def edge_moment(result: fejoint.Result) -> float:
    """Return the moment that the lower sheet carries into the overlap, N (per unit width)."""
    return abs(result.edges["lower"].moment)


def peaks(**options):
    """Return the table of all twenty; options go to `fejoint.sweep`."""
    return fejoint.sweep(
        sill(),
        vary={"joint.overlap_length": OVERLAPS, "joint.lower.thickness": THICKNESSES},
        tie={"joint.upper.thickness": "joint.lower.thickness"},
        columns=["peak_shear_MPa", "peak_peel_MPa", "theories", edge_moment],
        **options,
    )


if __name__ == "__main__":
    shown = ["joint.overlap_length_mm", "joint.lower.thickness_mm", "peak_shear_MPa", "peak_peel_MPa", "edge_moment", "status"]
    print(peaks()[shown].to_string())
