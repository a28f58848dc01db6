"""Yielding up to the limit load against closed forms: Hill's cylinder, Hart-Smith's double lap.

The closed forms are written anew in benchmarks/nonlinear.py and held against
their differential equations first.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchmarks.nonlinear import Cylinder, YieldingDoubleLap, cylinder_path, matched_double_lap
from fejoint import Adherend, Adhesive, DoubleLap, Isotropic, Joint, Load

# Invented figures.
CYLINDER = Cylinder(inner=1.0, outer=2.0, modulus=210_000, poisson_ratio=0.499, yield_stress=250)
LAYER = {"length": 40.0, "thickness": 0.15, "shear_modulus": 1000.0, "yield_stress": 35.0}
BALANCED = YieldingDoubleLap(outer=70_000 * 1.6, inner=70_000 * 3.2 / 2, **LAYER)
COOLED = YieldingDoubleLap(outer=70_000 * 1.6, inner=200_000 * 1.6 / 2, mismatch=0.5e-3, **LAYER)


# ---- the references --------------------------------------------------------


@pytest.mark.parametrize("front", [1.0001, 1.4, 2.0])
def test_hills_cylinder_is_in_balance(front):
    """Pressure from d s_r/dr = (s_theta - s_r) / r, and the limit 2/sqrt 3 sigma_y ln(b/a); 1e-10, the quadrature's."""
    assert CYLINDER.pressure(front) == pytest.approx(CYLINDER.pressure_by_integration(front), rel=1e-10)
    assert CYLINDER.limit == pytest.approx(2 / math.sqrt(3) * 250 * math.log(2), rel=1e-12)


@pytest.mark.parametrize("lap", [BALANCED, COOLED], ids=["balanced", "cooled, unlike"])
def test_hart_smiths_double_lap_solves_its_equation(lap):
    """End strains by trough and zones against the differential equation: 1e-5.

    The solver's tolerance is 1e-7, on a kinked law.
    """
    load = lap.capacity(0.3)
    assert lap.end_strains(load) == pytest.approx(lap.by_collocation(load), rel=1e-5)
    # Capacity: the larger end strain is the elastic one and 0.3, but for what the elastic middle carries, of a slope
    # of which tanh(w e / 2) leaves 1e-3.
    assert max(lap.end_strains(load)) == pytest.approx(0.335, rel=2e-3)


def test_capacity_of_a_worked_case():
    """Aluminium 1.6/3.2/1.6 mm, t_a 0.15 mm, tau_p 35 MPa, strains 0.035 and 0.4: 1981.878 N/mm.

    Derived for this project, confirmed by numerical solution; half a unit of the last digit.
    """
    assert BALANCED.capacity(0.4) == pytest.approx(1981.878, abs=5e-4)


# ---- the package against them ----------------------------------------------


def test_cylinder_yields_from_inside_out():
    """Pressure by the outer surface's displacement, from first yield to the limit, with nu = 0.499: 3e-4.

    The wedge of a hundredth of a radian has chords for arcs, 1e-5; forty nine-node cells see the front pass a Gauss point at
    a time, of which each holds a hundredth of the radius: (1/100)^2 and less. (Not a proof that the projection of the volume
    is needed: one cell round the axis does not lock without it either.)
    """
    first = 2 * CYLINDER.widening(1.0)  # the inner surface's displacement at first yield, nearly
    path = cylinder_path(CYLINDER, [first * share for share in (0.5, 1.0, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0)])
    fronts = [min(CYLINDER.front(widening), 2.0) for _, widening in path[2:]]
    assert fronts[0] < 1.3 and fronts[-1] == 2.0
    for (pressure, _), front in zip(path[2:], fronts, strict=True):
        assert pressure == pytest.approx(CYLINDER.pressure(front), rel=3e-4)
    # Beyond the limit the pressure stays.
    assert path[-1][0] == pytest.approx(path[-2][0], rel=1e-5)


def test_limit_does_not_know_poissons_ratio():
    """The limit pressure with nu = 0.3: the plastic flow alone counts, 3e-4 as above."""
    cylinder = Cylinder(1.0, 2.0, 210_000, 0.3, 250)
    first = 2 * cylinder.widening(1.0)
    path = cylinder_path(cylinder, [first * share for share in (0.7, 1.0, 1.5, 2.5, 5.0, 10.0, 20.0, 40.0)])
    assert path[-1][0] == pytest.approx(cylinder.limit, rel=3e-4)


@pytest.mark.parametrize(
    ("lap", "outer", "inner"),
    [(BALANCED, (70_000, 1.6), (70_000, 3.2)), (COOLED, (70_000, 1.6), (200_000, 1.6))],
    ids=["balanced", "cooled, unlike"],
)
def test_double_lap_yields_from_its_ends(lap, outer, inner):
    """Adherends that only stretch, a layer that only shears: end strains and lengths of the yielded ends within 1 %.

    At its capacity for a plastic strain of 0.3 and at nine tenths of it. The adherends' shear (100 times too stiff) is 1e-3
    of the layer's give; the layer's stress rises by a thousandth; a zone's end is known to a fraction of the cell that it
    lies in, a millimetre long: an error of (w h)^2 / 12 of its length. An end strain goes with
    the square of the load, which is given.
    """

    def part(modulus, thickness):
        material = Isotropic(elastic_modulus=modulus, poisson_ratio=0.0)
        return Adherend(material=material, thickness=thickness, free_length=10)

    geometry = DoubleLap(width=25, bondline_thickness=0.15, overlap_length=40, outer=part(*outer), inner=part(*inner))
    joint = Joint(geometry=geometry, adhesive=Adhesive(shear_modulus=1000, poisson_ratio=0.4), load=Load(force=2500))
    loads = [share * lap.capacity(0.3) for share in (0.9, 1.0)]
    for load, found in zip(loads, matched_double_lap(joint, loads, 35.0, lap.mismatch), strict=True):
        np.testing.assert_allclose(found.end_strains, lap.end_strains(load), rtol=0.01)
        np.testing.assert_allclose(found.zones(lap.elastic_strain), lap.zones(load), rtol=0.01)
