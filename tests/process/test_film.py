"""Squeeze-out against a numerical solution of lubrication, scipy's integrators and the torsion of bars."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.sparse import diags, identity, kron
from scipy.sparse.linalg import spsolve

from fejoint.errors import JointError
from fejoint.process.film import Film, amount, rectangle_share

NODES, WEIGHTS = np.polynomial.legendre.leggauss(80)


def flow(gradient, thickness, consistency, n):
    """Flow out of a slit per breadth: the shear law integrated twice across it, numerically. mm, s; gradient in Pa/mm."""
    y = thickness / 4 * (NODES + 1)  # from the middle plane to a plate
    rate = (gradient * y / consistency) ** (1 / n)  # tau = gradient y = K rate^n
    # q = 2 int u dy = 2 int y rate dy, u = 0 at the plate (integrated by parts)
    return 2 * float(np.sum(WEIGHTS * y * rate) * thickness / 4)


def load(shape, size, speed, thickness, consistency, n):
    """Mean pressure in Pa that a closing speed (mm/s) makes: the gradient at each place is sought so that the flow leaves."""
    half = size / 2 if shape == "strip" else size
    x = half / 2 * (NODES + 1)
    gradient = np.empty_like(x)
    for i, place in enumerate(x):
        wanted = speed * place * (1.0 if shape == "strip" else 0.5)  # what closes inside flows through here
        gradient[i] = math.exp(brentq(lambda g, w=wanted: math.log(flow(math.exp(g), thickness, consistency, n) / w), -40, 60))
    if shape == "strip":  # int p dx over the half width by parts, over the half width
        return float(np.sum(WEIGHTS * gradient * x)) * half / 2 / half
    return float(np.sum(WEIGHTS * gradient * math.pi * x**2)) * half / 2 / (math.pi * half**2)


@pytest.mark.parametrize("n", [1.0, 0.6, 0.3, 1.5])
@pytest.mark.parametrize("shape", ["strip", "disc"])
def test_closing_speed_is_that_of_lubrication(shape, n):
    """Quadrature of powers at 80 points errs by less than 1e-6, at n = 1 by rounding; the closed form is exact: 1e-5."""
    film = Film(shape, 14.0, 0.08, 90.0, n, at_rate=3.0)
    speed = float(film.closing_speed(0.37))
    assert load(shape, 14.0, speed, 0.37, 90.0 * 3.0 ** (1 - n), n) == pytest.approx(0.08e6, rel=1e-5)


@pytest.mark.parametrize("n", [1.0, 0.6, 0.3, 1.5])
@pytest.mark.parametrize("shape", ["strip", "disc"])
def test_thickness_solves_the_differential_equation(shape, n):
    """solve_ivp at 1e-10; both ways, thickness at a time and time to a thickness."""
    film = Film(shape, 9.0, 0.05, 200.0, n, at_rate=0.5)
    end = film.time_to(0.8, 0.1)
    solved = solve_ivp(
        lambda _, h: -film.closing_speed(h), (0, end), [0.8], method="DOP853", rtol=1e-11, atol=1e-14, dense_output=True
    )
    times = np.linspace(0, end, 30)
    assert film.thickness(0.8, times) == pytest.approx(solved.sol(times)[0], rel=1e-8)
    assert solved.y[0, -1] == pytest.approx(0.1, rel=1e-8)


def test_newtonian_forms_of_the_handbook():
    """Stefan 1874 (from memory): strip F = eta V L w^3 / h^3, disc F = 3 pi eta V R^4 / (2 h^3); SI; a formula, so rounding."""
    eta, h = 75.0, 0.3e-3
    w, length, force = 12e-3, 25e-3, 40.0
    film = Film("strip", 12.0, force / (w * length) * 1e-6, eta)
    assert float(film.closing_speed(0.3)) == pytest.approx(1e3 * force * h**3 / (eta * length * w**3), rel=1e-12)
    radius = 15e-3
    film = Film("disc", 15.0, force / (math.pi * radius**2) * 1e-6, eta)
    assert float(film.closing_speed(0.3)) == pytest.approx(1e3 * 2 * force * h**3 / (3 * math.pi * eta * radius**4), rel=1e-12)


def test_largest_shear_rate_is_that_of_the_flow_at_the_edge():
    """At n = 1 that of a slit, 6 q / h^2; at another n tau = g h/2 with the gradient of that flow, as above 1e-5."""
    film = Film("strip", 10.0, 0.1, 50.0)
    assert film.shear_rate(0.2) == pytest.approx(6 * float(film.closing_speed(0.2)) * 5.0 / 0.2**2, rel=1e-12)
    film = Film("disc", 10.0, 0.1, 50.0, 0.5)
    wanted = float(film.closing_speed(0.2)) * 5.0
    gradient = brentq(lambda g: flow(g, 0.2, 50.0, 0.5) - wanted, 1e-3, 1e9)
    assert film.shear_rate(0.2) == pytest.approx((gradient * 0.1 / 50.0) ** 2, rel=1e-5)


def test_a_rectangle_is_the_torsion_of_a_bar():
    """Torsion factors of a square and of 2 to 1, 0.1406 and 0.229 (from memory: Timoshenko & Goodier), over a strip's 1/3."""
    assert rectangle_share(10.0, 10.0) == pytest.approx(3 * 0.1406, abs=3e-4)
    assert rectangle_share(10.0, 20.0) == pytest.approx(3 * 0.229, abs=2e-3)
    assert rectangle_share(10.0, 1e5) == pytest.approx(1.0, abs=1e-4)
    # Wider than long: it leaves along the short way; a strip of that width would take (a / width)^2 of this one's.
    assert rectangle_share(20.0, 10.0) == pytest.approx(rectangle_share(10.0, 20.0) / 4, rel=1e-12)


@pytest.mark.parametrize(("width", "length"), [(10.0, 14.0), (10.0, 33.0), (20.0, 12.0)])
def test_a_rectangle_is_poissons_equation(width, length):
    """Five-point differences on 80 by 80 cells: second order, (1/80)^2 times a few, 1e-3."""
    n = 80
    hx, hy = width / n, length / n
    second = [diags([1.0, -2.0, 1.0], [-1, 0, 1], shape=(n - 1, n - 1)) / h**2 for h in (hx, hy)]
    eye = identity(n - 1)
    p = spsolve((kron(second[0], eye) + kron(eye, second[1])).tocsc(), -np.ones((n - 1) ** 2))
    of_strip = width**3 * length / 12  # int of x (w - x) / 2
    assert rectangle_share(width, length) == pytest.approx(float(p.sum()) * hx * hy / of_strip, abs=1e-3)


def test_amount_of_an_area():
    """12,000 mm^2 at 0.3 mm are 3.6 mL; a third more is 4.8 mL."""
    found = amount(12_000.0, 0.3, 1 / 3, density=1.2, cartridge=2.4)
    assert (found.net, found.volume, found.mass) == pytest.approx((3.6, 4.8, 5.76))
    assert found.cartridges == 2  # just two: rounding does not open a third
    assert amount(12_000.0, 0.3, 0.34, cartridge=2.4).cartridges == 3
    assert amount(1.0, 0.1, 0.0).mass is None


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Film("strip", 0.0, 0.1, 100.0), "size"),
        (lambda: Film("disc", 10.0, 0.1, -1.0), "viscosity"),
        (lambda: Film("wedge", 10.0, 0.1, 1.0), "shape"),
        (lambda: Film("disc", 10.0, 0.1, 1.0).thickness(0.5, [-1.0]), "time"),
        (lambda: Film("disc", 10.0, 0.1, 1.0).time_to(0.5, 0.0), "target"),
        (lambda: amount(100.0, 0.2, -0.1), "allowance"),
        (lambda: amount(100.0, 0.2, 0.1, cartridge=0.0), "cartridge"),
    ],
)
def test_what_is_none_is_refused(make, says):
    with pytest.raises(JointError, match=says):
        make()
