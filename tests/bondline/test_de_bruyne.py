"""De Bruyne's concentration and joint factor, against the shear lag's differential equation, its limits and a worked case.

N. A. de Bruyne, Aircraft Engineering 16, 1944, 115-118 (from memory). The
worked case was derived for this project and confirmed by numerical solution;
it proves the algebra, not the citation.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from fejoint import Adherend, Adhesive, DoubleLap, Isotropic, Joint, Load, SingleLap, TheoryError
from fejoint.bondline.closed_form import de_bruyne, volkersen
from fejoint.bondline.closed_form.de_bruyne import concentration, joint_factor, shear_stress

ALUMINIUM = Isotropic(elastic_modulus=70_000, poisson_ratio=0.33, expansion=23e-6)

# overlap, E t, G / t_a
CASES = {"V1": (25, 140e3, 5000), "soft": (12.5, 350e3, 300), "stiff": (50, 70e3, 15_000)}


def numerically(load, length, stretch, g_layer):
    """Return the shear stress from N1' = -tau, tau' = g_layer (N2 - N1)/(E t), N2 = P - N1; N1 goes from P to 0."""

    def slopes(x, y):  # N1 and tau over P
        return np.vstack([-y[1], g_layer * (1 - 2 * y[0]) / stretch])

    x = np.linspace(-length / 2, length / 2, 401)
    found = solve_bvp(slopes, lambda a, b: np.array([a[0] - 1, b[0]]), x, np.zeros((2, x.size)), tol=1e-9, max_nodes=20_000)
    assert found.success
    return lambda z: load * found.sol(z)[1]


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_solves_the_differential_equation(case):
    """Collocation to a residual of 1e-9 reproduces the closed form to 1e-7 of its peak, and n is its peak over the mean."""
    x = np.linspace(-case[0] / 2, case[0] / 2, 201)
    exact, found = shear_stress(x, -150.0, *case), numerically(-150.0, *case)(x)
    assert np.abs(exact - found).max() <= 1e-7 * np.abs(exact).max()
    assert float(concentration(*case)) == pytest.approx(found[0] / (-150.0 / case[0]), rel=1e-7)


def test_worked_case():
    """V1, derived for this project: 70 GPa, 2 mm on 2 mm, l 25, G 1000, t_a 0.2: n 3.349154; seven digits given."""
    assert float(concentration(*CASES["V1"])) == pytest.approx(3.349154, rel=2e-7)
    assert shear_stress(np.array([12.5]), 200.0, *CASES["V1"]) == pytest.approx([26.79323], rel=2e-7)


def test_limits():
    """Short overlaps shear evenly, n = 1 + D/3; long ones have n = root D, to exp(-2 root D)."""
    assert float(concentration(0.1, 140e3, 5000)) == pytest.approx(1 + 0.01 * 5000 / 280e3 / 3, rel=1e-8)
    root = math.sqrt(5000 * 200**2 / 280e3)
    assert float(concentration(200, 140e3, 5000)) == pytest.approx(root, rel=4 * math.exp(-2 * root))


def test_very_long_overlap_does_not_overflow():
    """At root D = 2000 cosh and sinh alone would overflow; the end stress is n times the mean, the middle is still."""
    length = 2000 * math.sqrt(280e3 / 5000)
    with np.errstate(over="raise", invalid="raise"):
        end, middle = shear_stress(np.array([length / 2, 0.0]), 200.0, length, 140e3, 5000)
        assert end == pytest.approx(200 / length * 2000, rel=1e-12)
        assert float(concentration(length, 140e3, 5000)) == pytest.approx(2000, rel=1e-12)
    assert abs(middle) < 1e-100


def test_transfers_the_load():
    """The integral of the shear stress is the load; Gauss with 60 points integrates these curves to round-off."""
    place, weight = np.polynomial.legendre.leggauss(60)
    for case in CASES.values():
        assert case[0] / 2 * (weight @ shear_stress(case[0] / 2 * place, 200.0, *case)) == pytest.approx(200, rel=1e-12)


def test_one_joint_factor_one_concentration():
    """Overlaps that grow as the root of the thickness keep root t / l and n; all at once, as arrays, exact but for round-off."""
    thickness = np.array([0.8, 1.6, 3.2])
    length = 20 * np.sqrt(thickness)
    assert joint_factor(thickness, length) == pytest.approx([0.05] * 3, rel=1e-12)
    n = concentration(length, 70_000 * thickness, 5000)
    assert n == pytest.approx([n[0]] * 3, rel=1e-12)
    assert n[0] > 1.5
    # Of one bondline thickness only: a layer four times as thick halves root D, and n is another.
    assert (concentration(length, 70_000 * thickness, 5000 / 4) < 0.7 * n).all()
    assert joint_factor(1.6, 12.5) == pytest.approx(math.sqrt(1.6) / 12.5, rel=1e-15)


# ---- a joint in, curves out ------------------------------------------------


def lap(upper_thickness=2.0, **load) -> Joint:
    parts = [Adherend(material=ALUMINIUM, thickness=t, free_length=40) for t in (2.0, upper_thickness)]
    return Joint(
        geometry=SingleLap(
            width=25, overlap_length=25, bondline_thickness=0.2, lower=parts[0], upper=parts[1], spew="fillet", spew_height=0.3
        ),
        adhesive=Adhesive(elastic_modulus=2800, shear_modulus=1000, expansion=60e-6),
        load=Load(**{"force": 5000, **load}),
    )


@pytest.mark.parametrize("force", [5000, -5000])
def test_curves_of_a_joint(force):
    """It is Volkersen's balanced case, which is coded apart, in plane strain; a fillet is let pass."""
    joint = lap(force=force)
    (bondline,), (other,) = de_bruyne.curves(joint), volkersen.curves(joint)
    assert bondline.shear == pytest.approx(other.shear, rel=1e-10)
    n = float(concentration(25, 140_000 / (1 - 0.33**2), 5000))
    assert bondline.peak_shear.value == pytest.approx(joint.mean_shear * n, rel=1e-9)
    assert np.isnan(bondline.peel).all()
    assert "de Bruyne 1944" in bondline.measure


def test_joints_outside_it_are_refused():
    """One sentence each, which names the theory and the reason."""
    double = DoubleLap(
        width=25, overlap_length=25, bondline_thickness=0.2, inner=lap().geometry.lower, outer=lap().geometry.upper
    )
    for joint, reason in (
        (lap(upper_thickness=1.5), r"identical adherends.*Volkersen"),
        (lap(temperature_change=-60), "temperature"),
        (lap(moment=100, ends="pinned"), "moment"),
        (lap(shear_force=10), "shear_force"),
        (lap().replace(geometry=double), r"single-lap.*double-lap"),
    ):
        with pytest.raises(TheoryError, match=rf"de Bruyne.*{reason}"):
            de_bruyne.curves(joint)
