"""How the line of a theory looks: the same in every figure of a joint. Dash and lightness both differ, for a grey print."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from fejoint.bondline.closed_form.comparison import THEORIES
from fejoint.joint.geometry import Geometry

__all__ = ["LOOKS", "theory_looks"]

LOOKS: list[dict[str, Any]] = [
    {"color": "#b8500f", "linestyle": (0, (6, 2))},
    {"color": "#4f9a94", "linestyle": (0, (6, 2, 1.2, 2))},
    {"color": "#8c6bb1", "linestyle": (0, (1.2, 1.6))},
    {"color": "#8a9199", "linestyle": (0, (10, 2, 1.2, 2, 1.2, 2))},
]


def theory_looks(g: Geometry, names: Collection[str]) -> dict[str, dict[str, Any]]:
    """Return the look of theories by name: those that stand beside every result keep theirs."""
    main = {entry.name: i for i, entry in enumerate(e for e in THEORIES if g.kind in e.main)}
    drawn = list(dict.fromkeys([*main, *names]))
    others = [name for name in drawn if name not in main]
    # Others take first what no theory among them has.
    taken = {main[name] for name in names if name in main}
    free = sorted(range(len(LOOKS)), key=lambda i: i in taken)
    places = main | {name: free[i % len(free)] for i, name in enumerate(others)}
    return {name: LOOKS[places[name] % len(LOOKS)] for name in drawn}
