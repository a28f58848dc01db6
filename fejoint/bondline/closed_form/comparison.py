"""The theories beside finite elements, and why they differ."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fejoint.bondline.closed_form import goland_reissner, volkersen
from fejoint.bondline.curves import Bondline, EdgeLoads
from fejoint.errors import TheoryError
from fejoint.joint.families import Joint

__all__ = ["Theory", "compare", "why_they_differ"]


@dataclass(frozen=True, eq=False)
class Theory:
    """A theory's result for a joint, or why it has none."""

    name: str
    bondline: Bondline | None
    reason: str = ""


def compare(joint: Joint, edge: EdgeLoads | None = None) -> list[Theory]:
    """Return what the theories say of a joint; `edge` holds the edge loads of finite elements, if there are any."""
    found = [_tried("Volkersen", lambda: volkersen.curves(joint))]
    found.append(_tried("Goland-Reissner, its own edge moment", lambda: goland_reissner.curves(joint)))
    if edge is not None:
        found.append(_tried("Goland-Reissner, edge moment of FE", lambda: goland_reissner.curves(joint, edge)))
    return found


def why_they_differ(joint: Joint, theories: list[Theory], edge: EdgeLoads) -> str:
    """Return in words why theories and finite elements differ for this joint."""
    own = next((t.bondline for t in theories if t.name.endswith("own edge moment")), None)
    text = ""
    if own is not None and own.left is not None and edge.moment != 0:
        share = 100 * (abs(edge.moment) / abs(own.left.moment) - 1)
        text = f"The linear FE edge moment is {abs(share):.0f} % {'above' if share > 0 else 'below'} Goland and Reissner's own: "
        if share > 0:
            text += "theirs falls as the joint turns under its load, and its lever arm leaves out the adhesive. "
        else:
            text += "theirs takes free lengths without end, where here the ends are close and take their share of the moment. "
    if joint.geometry.spew == "fillet":
        ends = "The theories end the adhesive square; in FE the fillet carries load past the end and lowers the peaks there. "
    else:
        ends = "In FE the adhesive's end is free of stress, so the peaks lie inside; in the theories they lie at the very end. "
    return text + "Volkersen leaves out bending altogether. " + ends.rstrip()


def _tried(name: str, theory: Callable[[], Bondline]) -> Theory:
    try:
        return Theory(name, theory())
    except TheoryError as error:
        return Theory(name, None, str(error))
