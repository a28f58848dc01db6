"""Two beams joined by a layer, against their differential equations, the special theories within them, energy and statics.

The equations were derived for this project and stand in the module's header;
here they are written again, from kinematics and equilibrium, and solved by
collocation. Goland & Reissner 1944, Volkersen 1938, Krenk 1992 (Eng. Fract.
Mech. 43, 549-559) and Timoshenko 1925 (bimetal strips, J. Opt. Soc. Am. 11,
233-255) are cited from memory.
"""

from __future__ import annotations

import math
import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.integrate import solve_bvp

import fejoint
from fejoint import Adherend, Adhesive, Analysis, Isotropic, Joint, Load, Orthotropic, SingleLap, TheoryError
from fejoint.bondline.closed_form import goland_reissner, two_beams, volkersen
from fejoint.bondline.closed_form.grid import free_strains
from fejoint.bondline.closed_form.two_beams import Beam, Lap, Layer, frame, overlap
from fejoint.bondline.curves import EdgeLoads

ALUMINIUM = Isotropic(elastic_modulus=72_000, poisson_ratio=0.33, expansion=23.2e-6)
STEEL = Isotropic(elastic_modulus=200_000, poisson_ratio=0.29, expansion=11.7e-6)
TOUGHENED = Adhesive(elastic_modulus=1850, poisson_ratio=0.33, expansion=60e-6)
POLYURETHANE = Adhesive(elastic_modulus=490, poisson_ratio=0.30, expansion=150e-6)
# Figures from memory (Tsai & Hahn 1980); nu_yz typical.
PLY = Orthotropic(
    elastic_modulus_x=181_000,
    elastic_modulus_y=10_300,
    elastic_modulus_z=9_000,
    poisson_ratio_xy=0.28,
    poisson_ratio_xz=0.28,
    poisson_ratio_yz=0.4,
    shear_modulus_xy=7170,
    expansion_x=0.02e-6,
    expansion_y=22.5e-6,
    expansion_z=22.5e-6,
)

SHEET = Beam.isotropic(72_000, 0.33, 1.6)
STRAP = Beam.isotropic(200_000, 0.29, 1.0)
FORMS = ("free ends", "middle", "faces")
N, W, R, M, Q = 1, 2, 3, 4, 5


def balanced(upper: Beam, lower: Beam, gap: float, length: float, load: float, left: float, right: float):
    """Return edge loads (N, Q, M) with the given moments, and the shear force that balances them."""
    lever = (upper.thickness + lower.thickness) / 2 + gap
    shear = (load * lever - right + left) / length
    return (load, shear, left), (load, shear, right)


def total(x, stress) -> float:
    """Return the integral of a stress over the places of a lap, by Simpson's rule."""
    width = np.diff(x[::2])
    return float((width * (stress[:-1:2] + 4 * stress[1::2] + stress[2::2])).sum() / 6)


# ---- the differential equations --------------------------------------------

# upper, lower, layer's G and E', thickness, length, free strains of upper and lower, load, moments left and right
CASES = {
    "identical": (SHEET, SHEET, 700, 2700, 0.2, 12.5, (0.0, 0.0), 100.0, -75.0, 75.0),
    "unlike": (SHEET, STRAP, 700, 2700, 0.2, 12.5, (0.0, 0.0), 100.0, -62.0, 110.0),
    "unlike, shear-rigid": (
        Beam.isotropic(72_000, 0.33, 1.6, shears=False),
        Beam.isotropic(200_000, 0.29, 1.0, shears=False),
        *(190, 650, 0.4, 20.0, (0.0, 0.0), 60.0, -40.0, 70.0),
    ),
    "cooled": (SHEET, STRAP, 700, 2700, 0.2, 12.5, (-3.1e-3, -1.5e-3), 0.0, 0.0, 0.0),
    "cooled and loaded": (STRAP, SHEET, 190, 650, 0.5, 15.0, (-1.5e-3, -3.1e-3), 80.0, -90.0, 30.0),
}


def numerically(case, form):
    """Return shear and peel from the equations of the header, by collocation; states scaled to one size.

    u, w in micrometres, N in hundreds of N/mm, r in thousandths, M in hundreds
    of N, Q in tens of N/mm, tau in tens of MPa.
    """
    upper, lower, g, e, ta, length, strains, load, left_moment, right_moment = case
    reach = 0.0 if form == "faces" else ta / 2
    left, right = balanced(upper, lower, 2 * reach, length, load, left_moment, right_moment)
    unit = np.array([1e-3, 100, 1e-3, 1e-3, 100, 10] * 2 + [10, 10] * (form == "free ends"))

    def stresses(y):
        u1, _, w1, r1, _, q1, u2, _, w2, r2, _, q2 = y[:12]
        slip = (u1 + upper.thickness / 2 * r1 - u2 + lower.thickness / 2 * r2) / ta
        # w' = r + s (Q - reach tau): tau stands on both sides.
        turn = 0.0 if form == "faces" else (r1 + upper.shear_softness * q1 + r2 + lower.shear_softness * q2) / 2
        back = 0.0 if form == "faces" else (upper.shear_softness + lower.shear_softness) * reach / 2
        sigma = e * (w1 - w2) / ta
        if form == "free ends":
            return y[12], sigma, slip + turn, back
        return (slip + turn) / (1 / g + back), sigma, slip + turn, back

    def slopes(x, scaled):
        y = scaled * unit[:, None]
        tau, sigma, strain, back = stresses(y)
        rows = []
        for beam, first, side, free in ((upper, 0, 1, strains[0]), (lower, 6, -1, strains[1])):
            _, n, _, r, m, q = y[first : first + 6]
            rows += [
                n / beam.stretch + free,
                side * tau,
                r + beam.shear_softness * (q - reach * tau),
                m / beam.bending,
                tau * (beam.thickness / 2 + reach) - q,
                side * sigma,
            ]
        if form == "free ends":
            rows += [y[13], 12 * e / ta**2 * (tau / g + back * tau - strain)]
        return np.array(rows) / unit[:, None]

    def ends(a, b):
        a, b = a * unit, b * unit
        known = [a[N], a[Q], a[M], a[6 + N] - left[0], a[6 + Q] - left[1], a[6 + M] - left[2], a[6], a[6 + W]]
        known += [b[N] - right[0], b[Q] - right[1], b[M] - right[2], b[6 + W]]
        scale = [*unit[[N, Q, M, N, Q, M, 0, W, N, Q, M, W]]]
        if form == "free ends":
            known, scale = [*known, a[12], b[12]], [*scale, 10, 10]
        return np.array(known) / scale

    x = np.linspace(0, length, 401)
    found = solve_bvp(slopes, ends, x, np.zeros((len(unit), x.size)), tol=1e-8, max_nodes=50_000)
    assert found.success
    return (
        lambda z: stresses(found.sol(z) * unit[:, None])[0] * np.ones_like(z),
        lambda z: stresses(found.sol(z) * unit[:, None])[1],
    )


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_solves_the_differential_equations(case, form):
    """Collocation to a relative residual of 1e-8 of states whose sizes spread over two decades: 1e-5 of the peaks."""
    upper, lower, g, e, ta, length, strains, load, left_moment, right_moment = case
    left, right = balanced(upper, lower, 0.0 if form == "faces" else ta, length, load, left_moment, right_moment)
    found = overlap(upper, lower, Layer(g, e, ta, form), length, left, right, strains=strains)
    shear, peel = numerically(case, form)
    assert np.abs(found.shear - shear(found.x)).max() <= 1e-5 * np.abs(found.shear).max()
    assert np.abs(found.peel - peel(found.x)).max() <= 1e-5 * np.abs(found.peel).max()


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_resultants(case, form):
    """Shear adds up to the load and peel to the shear force, and the free ends carry nothing.

    Simpson's rule on 400 pieces, an edge effect of ta / 7 with free ends
    spanning a dozen of them: 1e-6 of the stress times the length.
    """
    upper, lower, g, e, ta, length, strains, load, left_moment, right_moment = case
    left, right = balanced(upper, lower, 0.0 if form == "faces" else ta, length, load, left_moment, right_moment)
    found = overlap(upper, lower, Layer(g, e, ta, form), length, left, right, strains=strains)
    assert total(found.x, found.shear) == pytest.approx(load, abs=1e-6 * length * np.abs(found.shear).max())
    assert total(found.x, found.peel) == pytest.approx(right[1], abs=1e-6 * length * np.abs(found.peel).max())
    scale = np.abs(found.lower).max(axis=0) + np.abs(found.upper).max(axis=0)
    assert (np.abs(found.upper[0, [N, Q, M]]) <= 1e-9 * scale[[N, Q, M]]).all()
    assert (np.abs(found.lower[-1, [N, Q, M]]) <= 1e-9 * scale[[N, Q, M]]).all()


# ---- the special theories within it ----------------------------------------


def test_worked_case():
    """B1, derived for this project: plane stress, aluminium 70 GPa, 2 mm on 2 mm, l 25, G 1000, E_a 2800, t_a 0.2, 200 N/mm.

    k = 0.5 and V = (1 - k) P t / l, arms to the faces: end shear 36.40776, end
    peel 43.70849 MPa, seven digits given.
    """
    sheet = Beam.plate(70_000, 2.0)
    found = overlap(sheet, sheet, Layer(1000, 2800, 0.2, "faces"), 25, (200, 8, -100), (200, 8, 100))
    assert found.shear[[0, -1]] == pytest.approx([36.40776] * 2, rel=2e-7)
    assert found.peel[[0, -1]] == pytest.approx([43.70849] * 2, rel=2e-7)


@pytest.mark.parametrize("k", [0.0, 0.45, 1.0])
@pytest.mark.parametrize(("t", "c", "ta"), [(2.0, 12.5, 0.2), (1.6, 25.0, 0.5), (3.0, 4.0, 0.2)])
def test_identical_adherends_are_goland_and_reissners_second_stage(k, t, c, ta):
    """Identical beams that do not shear, arms to the faces: shear and peel part, and are Goland and Reissner's curves.

    With k = 2 M / (P t) and the shear force that balances the moments, not
    their beam-column's. Exact: what is left is round-off of 800 pieces, 1e-9.
    """
    modulus, load, g, e = 80_000.0, 150.0, 700.0, 2700.0
    moment, sideways = k * load * t / 2, (1 - k) * load * t / (2 * c)
    sheet = Beam.plate(modulus, t)
    found = overlap(sheet, sheet, Layer(g, e, ta, "faces"), 2 * c, (load, sideways, -moment), (load, sideways, moment))
    shear = goland_reissner.shear_stress(found.x - c, load, k, modulus, t, c, g / ta)
    peel = goland_reissner.peel_stress(found.x - c, moment, sideways, modulus, t, c, e / ta)
    assert np.abs(found.shear - shear).max() <= 1e-9 * np.abs(shear).max()
    assert np.abs(found.peel - peel).max() <= 1e-9 * np.abs(peel).max()


def test_endless_bending_stiffness_is_volkersen():
    """Beams ten million times stiffer in bending only stretch: Volkersen's curve, mismatch included, to 1e-6.

    The rotations left are 1e-7 of those that make up three quarters of the
    end's slip in a lap that bends.
    """
    s1, s2 = 144e3, 220e3  # lower, pulled at the left; upper
    lower, upper = Beam(s1, 1e7 * s1 * 2.0**2 / 12, 2.0), Beam(s2, 1e7 * s2 * 1.0**2 / 12, 1.0)
    left, right = balanced(upper, lower, 0.2, 20.0, 120.0, -90.0, 60.0)
    found = overlap(upper, lower, Layer(700, 2700, 0.2), 20.0, left, right, strains=(-1.5e-3, -2.6e-3))
    expected = volkersen.shear_stress(found.x - 10, 120, 20, (s1, s2), 700, 0.2, 1.1e-3)
    assert np.abs(found.shear - expected).max() <= 1e-6 * np.abs(expected).max()


@pytest.mark.parametrize("form", ["faces", "middle"])
@pytest.mark.parametrize(("upper", "lower"), [(SHEET, SHEET), (SHEET, STRAP), (STRAP, SHEET)], ids=["like", "thin", "thick"])
def test_energy_release(upper, lower, form):
    """sigma^2 ta/(2 E') + tau^2 ta/(2 G) at the end of a long overlap is the energy of the arm less that of the bonded section.

    Krenk 1992 (from memory; path independence gives the same). No shear force
    at the end, so that beams have no other energy there. On 60 mm the far end
    is exp(-10) away or more (5e-5, squared in the energy): 1e-6 leaves a hundred times that square.
    """
    g, e, ta, load = 700.0, 2700.0, 0.2, 100.0
    gap = ta if form == "middle" else 0.0
    lever = (upper.thickness + lower.thickness) / 2 + gap
    upper, lower = (Beam(b.stretch, b.bending, b.thickness) for b in (upper, lower))
    moment = -40.0
    found = overlap(upper, lower, Layer(g, e, ta, form), 60.0, (load, 0.0, moment), (load, 0.0, moment + load * lever))
    # The bonded section: its axis above the lower mid-plane, and the moment about it.
    axis = lever * upper.stretch / (upper.stretch + lower.stretch)
    bending = upper.bending + lower.bending + lever**2 / (1 / upper.stretch + 1 / lower.stretch)
    inside = load**2 / (2 * (upper.stretch + lower.stretch)) + (moment + load * axis) ** 2 / (2 * bending)
    for place, arm, m in ((0, lower, moment), (-1, upper, moment + load * lever)):
        energy = load**2 / (2 * arm.stretch) + m**2 / (2 * arm.bending) - inside
        opened, sheared = found.peel[place] ** 2 * ta / (2 * e), found.shear[place] ** 2 * ta / (2 * g)
        assert opened + sheared == pytest.approx(energy, rel=1e-6)


def test_energy_release_of_the_balanced_lap():
    """Krenk 1992 (from memory): G_II = (1 + 3 k)^2 P^2/(16 E t), G_I = 3 k^2 P^2/(4 E t) with M = k P t/2 and V = 0.

    V = 0 and both edge moments k P t/2 balance for k = 1 only. Long overlap as above.
    """
    t, modulus, load, ta = 1.6, 80_000.0, 100.0, 0.2
    sheet = Beam.plate(modulus, t)
    found = overlap(sheet, sheet, Layer(700, 2700, ta, "faces"), 60.0, (load, 0, -load * t / 2), (load, 0, load * t / 2))
    assert found.shear[0] ** 2 * ta / 1400 == pytest.approx(load**2 / (modulus * t), rel=1e-6)
    assert found.peel[0] ** 2 * ta / 5400 == pytest.approx(3 * load**2 / (4 * modulus * t), rel=1e-6)


def test_bimetal_strip():
    """Far from the ends a cooled lap bends as a bimetal strip: Timoshenko 1925 (from memory).

    1/r = h de / (h^2 + (D1 + D2)(1/S1 + 1/S2)). The upper beam shortens less, so the middle rises: curvature
    negative. 30 mm from either end of the layer's slowest mode leave 1e-6.
    """
    strains = (-1.5e-3, -3.1e-3)
    found = overlap(STRAP, SHEET, Layer(700, 2700, 0.2), 60.0, (0, 0, 0), (0, 0, 0), strains=strains)
    lever = (1.6 + 1.0) / 2 + 0.2
    flexible = (STRAP.bending + SHEET.bending) * (1 / STRAP.stretch + 1 / SHEET.stretch)
    curvature = -lever * (strains[0] - strains[1]) / (lever**2 + flexible)
    for beam, state in ((STRAP, found.upper), (SHEET, found.lower)):
        assert state[len(found.x) // 2, M] / beam.bending == pytest.approx(curvature, rel=1e-5)


def test_free_ends_differ_at_the_ends_alone():
    """The layer's ends free of shear: zero there, a peak inside, and the form without it a bondline thickness or two inside.

    The edge effect dies out as exp(-sqrt(12 E'/G) x / ta), 1e-6 at two
    thicknesses. What the ends no longer carry, the end stress over
    ta/sqrt(12 E'/G) = 0.03 mm, is carried over the decay length of 2.4 mm
    beyond: 1.2 % of the stress, and 2 % with what the peel adds.
    """
    left, right = balanced(SHEET, STRAP, 0.2, 12.5, 100.0, -62.0, 110.0)
    free, plain = (overlap(SHEET, STRAP, Layer(700, 2700, 0.2, form), 12.5, left, right) for form in ("free ends", "middle"))
    assert np.abs(free.shear[[0, -1]]).max() < 1e-9 * free.shear.max()
    assert 0.05 < free.x[np.argmax(free.shear[: len(free.x) // 2])] < 0.4
    inside = (free.x > 0.4) & (free.x < 12.1)
    assert np.abs(free.shear - plain.shear)[inside].max() < 0.02 * plain.shear.max()
    assert np.abs(free.shear - plain.shear).max() > 0.9 * plain.shear.max()


@pytest.mark.parametrize(("ta", "length"), [(0.005, 200.0), (0.02, 100.0), (0.0016, 400.0)])
def test_thin_layers_keep_their_digits(ta, length):
    """Edge effects a thousand times shorter than the overlap are parted from the rest; many short pieces need no parting.

    Both are exact but for round-off, 1e-7 of the peaks: it hangs on the processor, whose kernels of linear algebra add in
    another order; 1e-8 held on one and missed on another, at 2e-8. One exponential over a piece would grow to exp(100) and
    lose all digits.
    """
    layer = Layer(700, 2700, ta, "free ends")
    found = frame(SHEET, STRAP, layer, length, (50, 60), 100, "clamped", pieces=100)
    fine = frame(SHEET, STRAP, layer, length, (50, 60), 100, "clamped", pieces=1600)
    for name in ("shear", "peel"):
        few, many = getattr(found, name)[::2], getattr(fine, name)[::32]
        assert np.abs(few - many).max() <= 1e-7 * np.abs(many).max()
    assert found.lower[0, M] == pytest.approx(fine.lower[0, M], rel=1e-7)


# ---- the frame -------------------------------------------------------------


def test_pinned_frame_with_a_moment_is_statics():
    """Pinned: the sideways force is (P e + m) / l with e the offset of the mid-planes, m the moment; no model enters."""
    found = frame(SHEET, STRAP, Layer(700, 2700, 0.2), 12.5, (40, 60), 100, "pinned", moment=30.0)
    sideways = (100 * 1.5 - 30.0) / 112.5
    assert found.lower[0, [N, Q, M]] == pytest.approx([100, sideways, -sideways * 40], rel=1e-9)
    assert found.upper[-1, [N, Q, M]] == pytest.approx([100, sideways, 30.0 + sideways * 60], rel=1e-9)


def test_clamped_frame_lifted():
    """A lifting force on the clamped end, which is free to move: it is the shear force everywhere."""
    found = frame(SHEET, STRAP, Layer(700, 2700, 0.2), 12.5, (40, 60), 0.0, "clamped", shear_force=0.4)
    assert found.lower[0, Q] == pytest.approx(0.4, rel=1e-9)
    assert found.upper[-1, Q] == pytest.approx(0.4, rel=1e-9)
    # Clamped at both ends and lifted, the moment falls by V l from the left to the right; alike arms share it.
    alike = frame(SHEET, SHEET, Layer(700, 2700, 0.2), 12.5, (50, 50), 0.0, "clamped", shear_force=0.4)
    assert alike.lower[0, M] == pytest.approx(0.4 * 12.5 / 2, rel=1e-7)
    assert alike.upper[-1, M] == pytest.approx(-0.4 * 12.5 / 2, rel=1e-7)


# ---- a joint in, curves out ------------------------------------------------


def lap(lower=(ALUMINIUM, 2.0, 40), upper=(STEEL, 1.2, 60), adhesive=TOUGHENED, out_of_plane="automatic", **load) -> Joint:
    parts = [Adherend(material=m, thickness=t, free_length=a) for m, t, a in (lower, upper)]
    return Joint(
        geometry=SingleLap(width=25, overlap_length=12.5, bondline_thickness=0.2, lower=parts[0], upper=parts[1]),
        adhesive=adhesive,
        load=Load(**{"force": 2500, **load}),
        analysis=Analysis(out_of_plane=out_of_plane),
    )


LAPS = {
    "unlike": lap(),
    "pinned, moment": lap(ends="pinned", moment=1000),
    "lifted": lap(shear_force=10),
    "cooled": lap(temperature_change=-60),
    "compressed": lap(force=-500),
    "ply": lap((PLY, 2.0, 40), (ALUMINIUM, 2.0, 50)),
}


@pytest.mark.parametrize("form", FORMS)
def test_curves_of_a_joint(form):
    """The joint's frame: beams by E/(1 - nu^2) and G, the layer constrained, free strains by its out-of-plane rule."""
    joint = lap(ends="pinned", moment=1000, temperature_change=-60)
    found = two_beams.curves(joint, form=form)[0]
    layer = Layer.constrained(1850, 0.33, 0.2, form)
    free = free_strains(joint)
    upper, lower = Beam.isotropic(200_000, 0.29, 1.2), Beam.isotropic(72_000, 0.33, 2.0)
    strains = free["upper"], free["lower"]
    theory = frame(upper, lower, layer, 12.5, (40, 60), 100, "pinned", moment=40.0, strains=strains)
    assert found.shear == pytest.approx(theory.shear, rel=1e-12)
    assert found.peel == pytest.approx(theory.peel, rel=1e-12)
    assert (found.x[0], found.x[-1]) == (0.0, 12.5)
    assert np.isnan(found.middle.axial).all()
    assert "two beams" in found.measure
    assert found.left == EdgeLoads(*theory.lower[0, [N, Q, M]])
    assert found.right == EdgeLoads(*theory.upper[-1, [N, Q, M]])


@pytest.mark.parametrize("adhesive", [TOUGHENED, POLYURETHANE], ids=["toughened", "polyurethane"])
def test_constrained_layer(adhesive):
    """Stress over strain across the layer with no strain along and across the width, by Hooke's law inverted."""
    e, nu = adhesive.elastic_modulus, adhesive.poisson_ratio
    compliance = (np.eye(3) * (1 + nu) - nu) / e
    layer = Layer.of(adhesive, 0.3)
    assert layer.peel_modulus == pytest.approx(np.linalg.inv(compliance)[1, 1], rel=1e-12)
    assert layer.shear_modulus == pytest.approx(e / (2 * (1 + nu)), rel=1e-12)


def test_orthotropic_adherend():
    """A ply stretches and bends with E_x/(1 - nu_xz nu_zx), nu_zx = nu_xz E_z/E_x, and shears with 5/6 of G_xy t."""
    beam = Beam.of(Adherend(material=PLY, thickness=2.0, free_length=40))
    stiffness = 181_000 / (1 - 0.28 * 0.28 * 9_000 / 181_000)
    assert beam.stretch == pytest.approx(2 * stiffness, rel=1e-12)
    assert beam.bending == pytest.approx(stiffness * 8 / 12, rel=1e-12)
    assert beam.shear_softness == pytest.approx(1 / (5 / 6 * 7170 * 2), rel=1e-12)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("joint", LAPS.values(), ids=LAPS.keys())
def test_its_own_edge_loads_give_its_own_curves(joint, form):
    """The frame's edge loads, put on the overlap alone, give the frame's curves, to round-off: 1e-8.

    Not with arms to the faces: the moments are kept there, and the frame's own
    shear force is the one that balances them, so those loads balance over
    shorter levers and are refused as given ones.
    """
    own = two_beams.curves(joint, form=form)[0]
    edges = {"lower": own.left, "upper": own.right}
    if form == "faces":
        with pytest.raises(TheoryError, match="do not balance"):
            two_beams.curves(joint, edges, form)
        return
    given = two_beams.curves(joint, edges, form)[0]
    for name in ("shear", "peel"):
        expected = getattr(own, name)
        assert np.abs(getattr(given, name) - expected).max() <= 1e-8 * np.abs(expected).max()
    assert given.measure != own.measure


def test_faces_keep_the_moments_and_balance_them():
    """Given edge loads on the true levers, arms to the faces: moments kept, the shear force is what balances them there."""
    edges = {"lower": EdgeLoads(100, (100 * 1.8 - 150) / 12.5, -75.0), "upper": EdgeLoads(100, (100 * 1.8 - 150) / 12.5, 75.0)}
    found = two_beams.curves(lap(), edges, "faces")[0]
    assert (found.left.moment, found.right.moment) == pytest.approx((-75.0, 75.0), rel=1e-9)
    assert found.right.shear == pytest.approx((100 * 1.6 - 150) / 12.5, rel=1e-9)
    assert total(found.x, found.peel) == pytest.approx(found.right.shear, abs=1e-5 * 12.5 * found.peel.max())


@pytest.mark.parametrize("form", FORMS)
def test_a_lap_seen_from_behind_is_the_same_lap(form):
    """Turned half round in its plane the upper adherend becomes the lower one: the curves run backwards."""
    there = two_beams.curves(lap(force=2500), form=form)[0]
    back = two_beams.curves(lap(lower=(STEEL, 1.2, 60), upper=(ALUMINIUM, 2.0, 40)), form=form)[0]
    assert np.abs(there.shear - back.shear[::-1]).max() <= 1e-9 * there.shear.max()
    assert np.abs(there.peel - back.peel[::-1]).max() <= 1e-9 * there.peel.max()
    assert there.left.moment == pytest.approx(-back.right.moment, rel=1e-9)


def test_load_and_temperature_add_up():
    """Linear: the curves of load, moment and cooling together are the sum of each alone."""
    whole = two_beams.curves(lap(ends="pinned", moment=800, temperature_change=-60))[0]
    parts = [
        two_beams.curves(lap(ends="pinned"))[0],
        two_beams.curves(lap(force=0, ends="pinned", moment=800))[0],
        two_beams.curves(lap(force=0, ends="pinned", temperature_change=-60))[0],
    ]
    for name in ("shear", "peel"):
        summed = sum(getattr(part, name) for part in parts)
        assert np.abs(getattr(whole, name) - summed).max() <= 1e-9 * np.abs(summed).max()


FINITE_ELEMENTS = {
    "pinned, moment": (lap(ends="pinned", moment=1000), 1e-5),
    "lifted": (lap(shear_force=10), 2e-3),
    "cooled": (lap(temperature_change=-60), 5e-3),
}


@pytest.mark.parametrize(("joint", "moments"), FINITE_ELEMENTS.values(), ids=FINITE_ELEMENTS.keys())
def test_moment_lift_and_cooling_against_finite_elements(joint, moments):
    """The frame's edge moments and peak shear against finite elements, where the scenarios test plain tension alone.

    Moments: statics when pinned, as the lap's in `test_edge_moment` (2e-3) when
    clamped; cooled, the layer's own shortening and the ends' free contraction
    are left out, some 1.5 N/mm of 100: 5e-3. Peak shear: 5 %, about the sum of
    what the module's header says the beams leave out.
    """
    result = fejoint.solve(joint)
    found = two_beams.curves(joint)[0]
    for own, true in ((found.left, result.edges["lower"]), (found.right, result.edges["upper"])):
        assert own.moment == pytest.approx(true.moment, rel=moments)
        assert own.axial == pytest.approx(true.axial, rel=1e-5)
    assert found.peak_shear.value == pytest.approx(result.bondlines[0].peak_shear.value, rel=0.05)
    assert abs(found.peak_shear.x - result.bondlines[0].peak_shear.x) < 0.2
    # The given edge loads of finite elements balance well enough to be taken, and change little.
    given = two_beams.curves(joint, result.edges)[0]
    assert np.abs(given.shear - found.shear).max() < 0.01 * np.abs(found.shear).max()


def test_refusals():
    """Another family, and edge loads that do not balance, are refused in words."""
    other = SimpleNamespace(geometry=SimpleNamespace(kind="double-lap"))
    with pytest.raises(TheoryError, match=r"two beams.*single-lap.*double-lap"):
        two_beams.curves(other)
    for wrong in (EdgeLoads(100, 2.4, 76.0), EdgeLoads(101, 2.4, 75.0), EdgeLoads(100, 2.5, 75.0)):
        with pytest.raises(TheoryError, match="do not balance"):
            two_beams.curves(lap(), {"lower": EdgeLoads(100, 2.4, -75.0), "upper": wrong})
    two_beams.curves(lap(), {"lower": EdgeLoads(100, 2.4, -75.0), "upper": EdgeLoads(100, 2.4, 75.0)})


@pytest.mark.parametrize("ends", ["pinned", "clamped"])
def test_round_off_of_finite_elements_is_not_out_of_balance(ends):
    """Cooled between pins a lap bends freely: its edge loads are round-off, and the curves those without any.

    Finite elements leave 1e-6 or less of some 250 N/mm held back, 3e-4 N/mm and, times arms of 300 mm, 0.1 N:
    less than a hundredth of the shear that cooling makes. Long arms between clamped ends carry a little,
    of which round-off is more than a ten-thousandth; theirs are the frame's as near as above, 5e-3.
    """
    joint = lap((ALUMINIUM, 2.0, 300), (STEEL, 1.2, 300), force=0, ends=ends, temperature_change=-60)
    edges = fejoint.solve(joint).edges
    assert abs(edges["upper"].shear) < 1e-3  # the joint is what the test speaks of
    given, own = two_beams.curves(joint, edges)[0], two_beams.curves(joint)[0]
    for name in ("shear", "peel"):
        assert np.abs(getattr(given, name) - getattr(own, name)).max() <= 1e-2 * np.abs(own.shear).max()


def test_what_counts_as_round_off():
    """Up to 1e-6 of the thermal force held back, times offset and overlap for moments; nothing where nothing is cooled.

    The softer adherend is the aluminium, 72 GPa/(1 - 0.33^2) 2 mm = 161.6 kN/mm; the larger free strain is its
    own, 1.4e-3 with (1 + nu) times that, 1.9e-3, at most. So 2e-4 to 3.1e-4 N/mm, the layer's 2 N/mm
    being a hundredth of it, and times 1.8 mm + 12.5 mm 2.8e-3 to 4.5e-3 N: a factor of two is left either way.
    """
    nothing, cooled = EdgeLoads(0.0, 0.0, 0.0), lap(force=0, ends="pinned", temperature_change=-60)
    for off in ((1e-4, 0, 0), (0, 1e-4, 0), (0, 0, 1.4e-3)):
        assert two_beams.curves(cooled, {"lower": nothing, "upper": EdgeLoads(*off)})
    still = lap(force=0, ends="pinned", moment=1000)
    for joint, off in (
        *((cooled, off) for off in ((7e-4, 0, 0), (0, 7e-4, 0), (0, 0, 0.01))),
        *((still, off) for off in ((1e-4, 0, 0), (0, 1e-4, 0), (0, 0, 1e-3))),
    ):
        with pytest.raises(TheoryError, match="do not balance"):
            two_beams.curves(joint, {"lower": nothing, "upper": EdgeLoads(*off)})


def test_starts_without_finite_elements():
    heavy = "{'skfem', 'gmsh', 'meshio'}"
    code = f"import sys, fejoint.bondline.closed_form.two_beams; print({heavy} & {{m.split('.')[0] for m in sys.modules}})"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "set()"


def test_results_are_a_lap():
    """States of both beams at every place: loads of the two add up to the load, everywhere, to round-off."""
    found = frame(SHEET, STRAP, Layer(700, 2700, 0.2), 12.5, (40, 60), 100, "clamped")
    assert isinstance(found, Lap)
    assert found.upper[:, N] + found.lower[:, N] == pytest.approx(np.full(len(found.x), 100.0), rel=1e-9)
    assert found.upper[:, Q] + found.lower[:, Q] == pytest.approx(np.full(len(found.x), found.lower[0, Q]), rel=1e-8)
    assert math.isclose(found.lower[0, M], found.upper[-1, M] + 12.5 * found.lower[0, Q] - 100 * 1.5, rel_tol=1e-8)
