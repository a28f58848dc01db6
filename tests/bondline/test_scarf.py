"""The scarf joint, against a stress tensor turned round, the limit of many steps, and a worked case."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fejoint import TheoryError
from fejoint.bondline.closed_form import scarf
from fejoint.bondline.closed_form.shear_lag import step_coefficients


def test_worked_case():
    """Derived for this project: P/t = 100, 3 degrees: shear 5.22642, peel 0.273905 (six digits)."""
    shear, peel = scarf.stresses(300, 3.0, math.radians(3))
    assert shear == pytest.approx(5.22642, rel=1e-6)
    assert peel == pytest.approx(0.273905, rel=2e-6)


@pytest.mark.parametrize("degrees", [1, 10, 45, 80])
def test_is_the_stress_on_an_inclined_plane(degrees):
    """Traction of a uniaxial stress on the bond's plane, split along it and across; and the bond's resultant is the load."""
    angle, load, t = math.radians(degrees), 120.0, 4.0
    along, normal = np.array([math.cos(angle), math.sin(angle)]), np.array([-math.sin(angle), math.cos(angle)])
    traction = np.array([[load / t, 0.0], [0.0, 0.0]]) @ normal
    shear, peel = scarf.stresses(load, t, angle)
    assert shear == pytest.approx(abs(traction @ along), rel=1e-12)
    assert peel == pytest.approx(traction @ normal, rel=1e-12)
    length = scarf.bond_length(t, angle)
    assert length * (shear * math.cos(angle) + peel * math.sin(angle)) == pytest.approx(load, rel=1e-12)
    assert length * (shear * math.sin(angle) - peel * math.cos(angle)) == pytest.approx(0, abs=1e-9 * load)


def stair_shear(steps: int, moduli: tuple[float, float], load: float, t: float, length: float):
    """Return the mean shear of every step of a stair between two sheets, by elastic shear lag."""
    lengths = [length / steps] * steps
    left = t * (1 - (np.arange(steps) + 0.5) / steps)
    lower, upper = moduli[0] * left, moduli[1] * (t - left)
    a, b = step_coefficients(lengths, lower, upper, 1000 / 0.2, load).T
    rate = np.sqrt(5000 * (1 / lower + 1 / upper))
    # The integral of w (a exp(-w x) - b exp(-w (l - x))) over a step's length l.
    return (a - b) * -np.expm1(-rate * length / steps) * steps / length


def test_is_the_limit_of_many_steps():
    """A stair between equal sheets at 1 in 50 shears ever more evenly, at the scarf's shear stress.

    Shear lag counts along the load, not the slope, which is 1/cos^2 a = 1.0004
    higher. A tenth of the length inside its ends a stair of n steps changes
    thickness by 10/n a step, (10/n)^2 is left: 2.5e-3 for 200 steps, a quarter
    for twice as many (a third leaves room). Between unlike sheets the stress
    does not even out: it varies with the ratio of their moduli.
    """
    angle = math.atan(scarf.SLOPE_BY_RULE)
    load, t = 300.0, 3.0
    expected = scarf.stresses(load, t, angle)[0] / math.cos(angle) ** 2
    gaps = []
    for steps in (200, 400):
        inside = slice(steps // 10, -steps // 10)
        even = stair_shear(steps, (70e3, 70e3), load, t, t / math.tan(angle))[inside]
        gaps.append(np.abs(even / expected - 1).max())
    assert gaps[0] <= 2.5e-3
    assert gaps[1] <= gaps[0] / 3
    uneven = stair_shear(200, (70e3, 210e3), load, t, t / math.tan(angle))
    assert uneven.max() / uneven.min() > 2


def test_capacity_and_steepest_angle():
    """At its capacity the shear stress is the strength; at the steepest angle the sheets stand at theirs."""
    angle = math.radians(4)
    assert scarf.stresses(scarf.capacity(20, 3, angle), 3, angle)[0] == pytest.approx(20, rel=1e-12)
    steepest = scarf.steepest_angle(20, 300)
    assert scarf.capacity(20, 3, steepest) == pytest.approx(300 * 3, rel=1e-12)
    assert steepest == pytest.approx(20 / 300, rel=0.01)  # for small angles sin a cos a is a: 2/3 a^2 = 0.3 % less
    assert scarf.steepest_angle(400, 300) == math.pi / 4
    # The rule of 1 in 50 (MIL-HDBK-17-3F) is on the safe side of this for a 300 MPa sheet and a 20 MPa adhesive.
    assert math.tan(steepest) > scarf.SLOPE_BY_RULE


def test_refusals():
    with pytest.raises(TheoryError, match="equally stiff"):
        scarf.stresses(100, 2, 0.05, moduli=(70e3, 210e3))
    scarf.stresses(100, 2, 0.05, moduli=(70e3, 70e3))
    for angle in (0.0, -0.1, math.pi / 2):
        with pytest.raises(TheoryError, match="between 0 and 90"):
            scarf.stresses(100, 2, angle)
