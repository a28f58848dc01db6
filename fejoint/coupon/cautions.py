"""What to mind about a coupon test: where it is not as its standard has it, and what its failure patterns say."""

from __future__ import annotations

from fejoint.coupon.description import Coupons
from fejoint.coupon.outcome import ReducedSpecimen
from fejoint.coupon.standards import Standard

__all__ = ["cautions_of"]

NEAR = 0.05  # of a standard's figure: what is farther off is said (our choice)


def cautions_of(test: Coupons, specimens: tuple[ReducedSpecimen, ...]) -> list[str]:
    """Return what to mind about a test, a sentence each: where it is not as the standard has it, and what its patterns say."""
    said = _of_standard(test.followed, test, specimens) if test.followed is not None else []
    counted = [one for one in specimens if one.counts]
    if test.what in ("single-lap shear", "double-lap shear"):
        said.append(
            "Lap shear strength is an average over the bonded area: it compares coupons of one geometry and is no design "
            "allowable (ASTM D4896, from a publisher's abstract)."
        )
    bare = [one.name for one in counted if one.entry.seen is None]
    if bare:
        said.append(f"No failure pattern is stated for {_named(bare)}: a figure without it does not say what failed.")
    patterns = [(one.name, one.entry.seen) for one in counted if one.entry.seen is not None]
    poor = [name for name, seen in patterns if seen.shares.get("adhesive", 0.0) >= 50.0]
    if poor:
        said.append(
            f"Half or more of the area of {_named(poor)} parted at the interface: such figures are of the surface's "
            "preparation, not of the adhesive (common practice, no source)."
        )
    metal = [name for name, seen in patterns if {"stock-break", "substrate"} & set(seen.shares)]
    if metal:
        said.append(f"The adherend of {_named(metal)} gave way: its figure is a lower bound of the bond's.")
    return said


def _of_standard(known: Standard, test: Coupons, specimens: tuple[ReducedSpecimen, ...]) -> list[str]:
    said = []
    counted = [one for one in specimens if one.counts]
    for key, nominal in known.dimensions.items():
        off = [one.name for one in specimens if key in one.dimensions and abs(one.dimensions[key] / nominal.value - 1) > NEAR]
        if off:
            said.append(
                f"{key} of {_named(off)} is not the {nominal.value:g} mm of {known.name} ({nominal.mark}): figures of other "
                "dimensions do not compare with it."
            )
    if known.fewest is not None and len(counted) < known.fewest.value:
        said.append(
            f"{known.name} asks for at least {known.fewest.value:g} specimens ({known.fewest.mark}); {len(counted)} "
            f"count{'s' if len(counted) == 1 else ''} here."
        )
    if known.speed is not None and test.speed is not None and abs(test.speed / known.speed.value - 1) > NEAR:
        said.append(
            f"The speed, {test.speed:g} mm/min, is not the {known.speed.value:g} mm/min of {known.name} ({known.speed.mark})."
        )
    if known.break_within is not None:
        low, high, mark = known.break_within
        times = {one.name: one.reduction.figures["time"].value for one in counted if "time" in one.reduction.figures}
        off = [name for name, time in times.items() if not low <= time <= high]
        if off:
            said.append(f"{_named(off)} broke outside the {low:g} to {high:g} s of {known.name} ({mark}).")
    return said


def _named(names: list[str]) -> str:
    if len(names) == 1:
        return f"specimen {names[0]}"
    shown = names[:8] + ([f"{len(names) - 8} more"] if len(names) > 8 else [])
    return f"specimens {', '.join(shown[:-1])} and {shown[-1]}"
