"""Finite elements meet the classical beam-and-spring theories when they make their one unphysical assumption.

The operator is that of benchmarks/classical.py: the layer's shear strain is
du/dy alone. It is for these tests only; what the package solves joints with
keeps dv/dx, and its lever arms reach the middle of the layer
(tests/scenarios/test_theories_meet_fe.py).
"""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.classical import Classical, solve_classical
from fejoint.bondline.closed_form import goland_reissner
from fejoint.bondline.closed_form.two_beams import Beam, Layer, overlap
from fejoint.bondline.curves import Curve

P, LENGTH, LAYER = 200.0, 25.0, Layer(1000.0, 2800.0, 0.2, "faces")
ALUMINIUM, STEEL = Beam.plate(70_000.0, 2.0), Beam.plate(200_000.0, 1.0)
THIN = Beam.plate(70_000.0, 1.0)

CASES = {
    # upper, lower, edge moment factor
    "identical": (ALUMINIUM, ALUMINIUM, 0.57),
    "unlike materials": (ALUMINIUM, STEEL, 0.5),
    "unlike thickness": (THIN, ALUMINIUM, 0.4),
    "no edge moment": (ALUMINIUM, ALUMINIUM, 0.0),
}


def edge_loads(upper: Beam, lower: Beam, k: float) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """Return edge loads in balance: moments k P t / 2, and the sideways force that they leave."""
    left, right = -k * P * lower.thickness / 2, k * P * upper.thickness / 2
    sideways = (P * (upper.thickness + lower.thickness) / 2 - right + left) / LENGTH
    return (P, sideways, left), (P, sideways, right)


def difference(found: Classical, theory: Curve) -> tuple[float, float]:
    """Return how far shear and peel are from a theory over the whole overlap, as shares of its peaks."""
    return tuple(
        float(np.abs(getattr(found, name) - theory.at(found.x, name)).max() / np.abs(getattr(theory, name)).max())
        for name in ("shear", "peel")
    )


def two_beams(upper: Beam, lower: Beam, k: float, form: str = "faces") -> Curve:
    layer = Layer(LAYER.shear_modulus, LAYER.peel_modulus, LAYER.thickness, form)
    lap = overlap(upper, lower, layer, LENGTH, *edge_loads(upper, lower, k))
    return Curve(lap.x, lap.shear, lap.peel, np.zeros_like(lap.x))


@pytest.mark.parametrize(("upper", "lower", "k"), CASES.values(), ids=CASES.keys())
def test_two_beams_with_arms_to_the_faces(upper, lower, k):
    """Shear and peel everywhere on the mid-line, ends included: 1e-3 of the peak, with quadratic elements.

    90 cells along, from 0.008 mm at the ends (60 left 1.0e-3 in the worst case): their end values are off by
    (root of the layer's stiffness times cell)^2, some 1e-4; what remains of the
    rigid adherends' give, 1e-6, shows with its root, 1e-3 at most.
    """
    found = solve_classical(upper, lower, LAYER, LENGTH, *edge_loads(upper, lower, k))
    assert max(difference(found, two_beams(upper, lower, k))) <= 1e-3


def test_goland_and_reissners_second_stage():
    """The same against their formulas for identical adherends, with the sideways force that linear balance asks for.

    V = (1 - k) P t / (2 c); their beam-column's own V breaks linear balance. Tolerance as above.
    """
    k, c = 0.57, LENGTH / 2
    left, right = edge_loads(ALUMINIUM, ALUMINIUM, k)
    assert left[1] == pytest.approx((1 - k) * P * 2.0 / (2 * c), rel=1e-12)
    found = solve_classical(ALUMINIUM, ALUMINIUM, LAYER, LENGTH, left, right)
    x = np.linspace(0, LENGTH, 2001)
    shear = goland_reissner.shear_stress(x - c, P, k, 70_000.0, 2.0, c, LAYER.shear_modulus / LAYER.thickness)
    peel = goland_reissner.peel_stress(x - c, right[2], left[1], 70_000.0, 2.0, c, LAYER.peel_modulus / LAYER.thickness)
    assert max(difference(found, Curve(x, shear, peel, peel))) <= 1e-3


def test_it_is_approached_with_the_mesh():
    """Halving the cells divides the difference in peel by about four: order 2 of curves taken at the ends, between 3 and 5."""
    theory = two_beams(ALUMINIUM, ALUMINIUM, 0.57)
    loads = edge_loads(ALUMINIUM, ALUMINIUM, 0.57)
    found = [difference(solve_classical(ALUMINIUM, ALUMINIUM, LAYER, LENGTH, *loads, cells=n), theory)[1] for n in (30, 60, 120)]
    assert 3 <= found[0] / found[1] <= 5
    assert 3 <= found[1] / found[2] <= 5


def test_other_lever_arms_are_told_apart():
    """Arms to the middle of the layer, t_a / t = 0.1 longer, miss by far more than the tolerance: by percents.

    Their own loads are in balance with a longer lever, so the curves of the
    same edge loads cannot agree.
    """
    found = solve_classical(ALUMINIUM, ALUMINIUM, LAYER, LENGTH, *edge_loads(ALUMINIUM, ALUMINIUM, 0.57))
    assert max(difference(found, two_beams(ALUMINIUM, ALUMINIUM, 0.57, "middle"))) > 0.02
