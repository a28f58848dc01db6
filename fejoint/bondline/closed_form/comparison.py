"""The theories beside finite elements, and why they differ."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fejoint.bondline.closed_form import goland_reissner, shear_lag, volkersen
from fejoint.bondline.curves import Bondline, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import DoubleLap, SteppedLap

__all__ = ["Theory", "compare", "larger_moment", "why_they_differ"]


@dataclass(frozen=True, eq=False)
class Theory:
    """A theory's bondlines for a joint; none, and why, where it has none."""

    name: str
    bondlines: list[Bondline]
    reason: str = ""


def compare(joint: Joint, edges: Mapping[str, EdgeLoads] | None = None) -> list[Theory]:
    """Return what the theories say of a joint; `edges` holds the edge loads of finite elements by adherend, if there are any."""
    if isinstance(joint.geometry, DoubleLap):
        return [_tried("Volkersen, double lap", lambda: volkersen.double_lap(joint))]
    if isinstance(joint.geometry, SteppedLap):
        return [_tried("Shear lag, step by step", lambda: shear_lag.curves(joint))]
    found = [_tried("Volkersen", lambda: [volkersen.curves(joint)])]
    if joint.load.shear_force != 0 or joint.load.moment != 0:
        reason = "the edge moment of Goland and Reissner is that of a force along the joint alone."
        found.append(Theory("Goland-Reissner, its own edge moment", [], reason))
    else:
        found.append(_tried("Goland-Reissner, its own edge moment", lambda: [goland_reissner.curves(joint)]))
    if edges is not None:
        edge = larger_moment(edges["lower"], edges["upper"])
        found.append(_tried("Goland-Reissner, edge moment of FE", lambda: [goland_reissner.curves(joint, edge)]))
    return found


def larger_moment(left: EdgeLoads, right: EdgeLoads) -> EdgeLoads:
    """Return the edge loads with the larger moment; the left ones when they are equal but for round-off."""
    return right if abs(right.moment) > abs(left.moment) * (1 + 1e-6) else left


def why_they_differ(joint: Joint, theories: list[Theory], edges: Mapping[str, EdgeLoads]) -> str:
    """Return in words why theories and finite elements differ for this joint; nothing where no theory has a result."""
    if not any(theory.bondlines for theory in theories):
        return ""
    if joint.geometry.spew == "fillet":
        ends = "The theories end the adhesive square; in FE the fillet carries load past the end and lowers the peaks there."
    else:
        ends = "In FE the adhesive's end is free of stress, so the peaks lie inside; in the theories they lie at the very end."
    if isinstance(joint.geometry, DoubleLap):
        return f"Volkersen leaves out that the outers bend and that the adherends shear, which evens the stress out. {ends}"
    if isinstance(joint.geometry, SteppedLap):
        text = "The shear lag leaves all load to the treads, where in FE the risers and butt ends take their share in tension"
        return f"{text}; and it leaves out that the adherends bend and shear."
    text, own = "", next((t.bondlines[0] for t in theories if t.bondlines and t.name.endswith("own edge moment")), None)
    edge = larger_moment(edges["lower"], edges["upper"])
    if own is not None and own.left is not None and edge.moment != 0:
        share = 100 * (abs(edge.moment) / abs(own.left.moment) - 1)
        text = f"The linear FE edge moment is {abs(share):.0f} % {'above' if share > 0 else 'below'} Goland and Reissner's own: "
        if share > 0:
            text += "theirs falls as the joint turns under its load, and its lever arm leaves out the adhesive. "
        else:
            text += "theirs takes free lengths without end, where here the ends are close and take their share of the moment. "
    return text + f"Volkersen leaves out bending altogether. {ends}"


def _tried(name: str, theory: Callable[[], list[Bondline]]) -> Theory:
    try:
        return Theory(name, theory())
    except TheoryError as error:
        return Theory(name, [], str(error))
