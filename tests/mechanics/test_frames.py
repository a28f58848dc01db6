"""Three frames against finite differences, hand formulas, and what no strain measure may do: see a rigid rotation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import expm, logm

from fejoint.joint.yielding import Hardening, Yielding
from fejoint.mechanics.frames import FRAMES
from fejoint.mechanics.plasticity import updated

E, NU = 2000.0, 0.35  # round figures of the order of an epoxy's, no material's data
STIFFNESS = (
    E / ((1 + NU) * (1 - 2 * NU)) * np.array([[1 - NU, NU, 0, NU], [NU, 1 - NU, 0, NU], [0, 0, 0.5 - NU, 0], [NU, NU, 0, 1 - NU]])
)
EVERY = pytest.mark.parametrize("frame", FRAMES.values(), ids=FRAMES)
LARGE = pytest.mark.parametrize("frame", [FRAMES["green_lagrange"], FRAMES["logarithmic"]], ids=["green_lagrange", "logarithmic"])

RANDOM = np.random.default_rng(4)
# Gradients (n, 2, 2) and histories (n, 4) of all sizes; the last kinds have principal values that are equal, or nearly so.
TURN = np.array([[np.cos(0.5), -np.sin(0.5)], [np.sin(0.5), np.cos(0.5)]])
STATES = {
    "large": (0.4 * RANDOM.uniform(-1, 1, (20, 2, 2)), 0.3 * RANDOM.uniform(-1, 1, (20, 4)), 0.07),
    "small": (1e-5 * RANDOM.uniform(-1, 1, (20, 2, 2)), 1e-5 * RANDOM.uniform(-1, 1, (20, 4)), -2e-6),
    "undeformed": (np.zeros((1, 2, 2)), np.zeros((1, 4)), 0.0),
    "turned": (TURN[None] - np.eye(2), np.zeros((1, 4)), 0.0),
    "swollen": (1.2 * TURN[None] - np.eye(2), np.zeros((1, 4)), 0.1),
    # About both sides of where the logarithm is taken from a series.
    "nearly equal": (
        1.1 * TURN @ (np.eye(2) + np.geomspace(1e-6, 1e-2, 30)[:, None, None] * np.array([[1.0, 0.7], [0.2, -0.6]])) - np.eye(2),
        np.zeros((30, 4)),
        0.05,
    ),
}
KINDS = pytest.mark.parametrize("kind", STATES)


def state_of(frame, kind):
    """Return gradients, histories that the frame has, the width strain, and a shift of volume."""
    gradient, history, width = STATES[kind]
    history = history[:, : frame.history].copy()
    if frame.name == "logarithmic":
        history[:, 2] /= 2
    projected = frame.name != "green_lagrange"
    shift = np.linspace(-1, 1, len(gradient)) * np.abs(gradient).max() / 3 if projected else np.zeros(len(gradient))
    return gradient, history, width, shift


def matrix(s):
    """Return tensor components xx, yy, xy, zz as a 3 x 3 matrix."""
    return np.array([[s[0], s[2], 0], [s[2], s[1], 0], [0, 0, s[3]]])


def vector(m):
    """Return a strain of a 3 x 3 matrix, shear as the engineer's."""
    return np.array([m[0, 0], m[1, 1], 2 * m[0, 1], m[2, 2]])


def deformation(gradient, width):
    f = np.eye(3)
    f[:2, :2] += gradient
    f[2, 2] += width
    return f


def by_hand(frame, gradient, width, shift, history):
    """Return the trial strain as the frames' definitions say, with the matrix logarithm of scipy."""
    f = deformation(gradient, width)
    volume = np.array([1.0, 1.0, 0.0, 1.0]) * shift / 3
    if frame.name == "small":
        return vector((f + f.T) / 2 - np.eye(3)) + volume - history
    if frame.name == "green_lagrange":
        return vector((f.T @ f - np.eye(3)) / 2)
    return vector(np.real(logm(f @ (np.eye(3) + matrix(history)) @ f.T)) / 2) + volume


def moves(gradient, width, size):
    """Yield, for every component of the gradient and the width strain, the state moved up and down by `size`."""
    for j in range(5):
        step = np.zeros_like(gradient)
        if j < 4:
            step[:, j // 2, j % 2] = size
        across = size if j == 4 else 0.0
        yield (gradient + step, width + across), (gradient - step, width - across)


@EVERY
@KINDS
def test_strain_is_as_defined(frame, kind):
    """Against the definitions written with scipy's matrix logarithm.

    Tolerance 1e-12: round-off of the logarithm of a matrix near one, some ten units of 1e-16 times its condition, below 100.
    The small strains keep their own digits: 1e-9 of them, what scipy's logarithm leaves (1e-16 over 1e-5, times ten).
    """
    gradient, history, width, shift = state_of(frame, kind)
    found = frame.measured(gradient, width, shift, history).strain
    wanted = np.array([by_hand(frame, g, width, s, h) for g, s, h in zip(gradient, shift, history, strict=True)])
    assert np.abs(found - wanted).max() < 1e-12 + (1e-9 * np.abs(wanted).max() if kind == "small" else 0)


def test_tiny_logarithmic_strains_keep_their_digits():
    """A strain of 1e-9 equals the small one to 1e-8 of itself: they differ by its square, and nothing is lost to round-off."""
    gradient = 1e-9 * RANDOM.uniform(-1, 1, (50, 2, 2))
    none, virgin = np.zeros(50), np.zeros((50, 4))
    logarithmic = FRAMES["logarithmic"].measured(gradient, 3e-10, none, virgin).strain
    small = FRAMES["small"].measured(gradient, 3e-10, none, virgin).strain
    assert np.abs(logarithmic - small).max() < 1e-8 * np.abs(small).max()


@EVERY
@KINDS
def test_derivatives_are_those_of_the_strain(frame, kind):
    """Central differences over 1e-6 for strain, volume and forces.

    Tolerance 1e-6 of the largest derivative, which is of order one: the differences err by
    the third derivative times 1e-12 (strains of order one: below 1e-10) and by round-off
    1e-16 / 1e-6 = 1e-10, times the stiffness for the forces, whose scale it is.
    """
    gradient, history, width, shift = state_of(frame, kind)

    def forces(measured):
        return np.einsum("nij,nj->ni", measured.force_of, stress)

    now = frame.measured(gradient, width, shift, history)
    stress = now.strain @ STIFFNESS + 1.0  # held while the geometry moves
    geometric = frame.geometric(now, stress, forces(now), width)
    for j, (up, down) in enumerate(moves(gradient, width, 1e-6)):
        above, below = (frame.measured(*at, shift, history) for at in (up, down))
        by = (above.strain - below.strain) / 2e-6
        assert np.abs(by - now.by_gradient[..., j]).max() < 1e-6 * np.abs(now.by_gradient).max()
        by = (forces(above) - forces(below)) / 2e-6
        wanted = np.zeros_like(by) if geometric is None else geometric[..., j]
        assert np.abs(by - wanted).max() < 1e-6 * np.abs(stress).max()
        if frame.name != "green_lagrange":  # which projects no volume
            by = (frame.volume(*up) - frame.volume(*down)) / 2e-6
            assert np.abs(by - now.dilatation[:, j]).max() < 1e-6


@EVERY
@KINDS
def test_forces_do_the_work_of_the_stress(frame, kind):
    """P : dF is the stress on the strain's change, for a stress that follows from it (Hooke's).

    With central differences; tolerance 1e-6 of the stiffness, as above.
    """
    gradient, history, width, shift = state_of(frame, kind)
    now = frame.measured(gradient, width, shift, history)
    stress = now.strain @ STIFFNESS
    force = np.einsum("nij,nj->ni", now.force_of, stress)
    for j, (up, down) in enumerate(moves(gradient, width, 1e-6)):
        energies = [
            np.einsum("ni,ij,nj->n", e, STIFFNESS, e) / 2
            for e in (frame.measured(*at, shift, history).strain for at in (up, down))
        ]
        assert np.abs((energies[0] - energies[1]) / 2e-6 - force[:, j]).max() < 1e-6 * STIFFNESS.max() * max(
            np.abs(now.strain).max(), 1e-3
        )


@LARGE
def test_a_rigid_rotation_is_no_strain(frame):
    """30 degrees: no strain, no stress, to round-off (1e-15); the small frame sees 1 - cos 30 degrees = 0.134."""
    c, s = np.cos(np.pi / 6), 0.5
    gradient = np.array([[[c - 1, -s], [s, c - 1]]])
    strain = frame.measured(gradient, 0.0, np.zeros(1), frame.start(1)).strain
    assert np.abs(strain).max() < 1e-15
    small = FRAMES["small"].measured(gradient, 0.0, np.zeros(1), np.zeros((1, 4))).strain[0]
    assert small == pytest.approx([c - 1, c - 1, 0, 0], abs=1e-15)


@LARGE
@KINDS
def test_a_rotation_turns_cauchy_stress_and_leaves_the_bondlines_own(frame, kind):
    """F becomes Q F: Cauchy stress becomes Q s Q^T, the stress in the bondline's directions stays. To 1e-12 of the stiffness."""
    gradient, history, width, shift = state_of(frame, kind)
    found = []
    for turn in (np.eye(2), TURN):
        moved = turn @ (gradient + np.eye(2)) - np.eye(2)
        stress = frame.measured(moved, width, shift, history).strain @ STIFFNESS
        found.append((frame.cauchy(moved, width, stress), frame.bondline(moved, width, stress)))
    q = deformation(TURN - np.eye(2), 0.0)
    for before, after in zip(found[0][0], found[1][0], strict=True):
        assert np.abs(q @ matrix(before) @ q.T - matrix(after)).max() < 1e-12 * STIFFNESS.max()
    assert np.abs(found[0][1] - found[1][1]).max() < 1e-12 * STIFFNESS.max()


@LARGE
def test_cauchy_stress_by_hand(frame):
    """J s = P F^T, P from the frame's forces: Nanson's formula with two other pieces of code. To round-off, 1e-13."""
    gradient, history, width, shift = state_of(frame, "large")
    now = frame.measured(gradient, width, shift, history)
    stress = now.strain @ STIFFNESS
    force = np.einsum("nij,nj->ni", now.force_of, stress)
    for g, p, s in zip(gradient, force, frame.cauchy(gradient, width, stress), strict=True):
        f, first = deformation(g, width), np.zeros((3, 3))
        first[0, :2], first[1, :2], first[2, 2] = p[:2], p[2:4], p[4]
        assert np.abs(first @ f.T / np.linalg.det(f) - matrix(s)).max() < 1e-13 * np.abs(stress).max()


@pytest.mark.parametrize("frame", [FRAMES["small"], FRAMES["logarithmic"]], ids=["small", "logarithmic"])
@KINDS
def test_history_brings_the_elastic_strain_back(frame, kind):
    """What is stored for an elastic strain gives that strain again at the same gradient.

    Tolerance 1e-14 of one, the round-off of metrics of order one; strains of 1e-5 are kept to that as well, 1e-9 of them.
    """
    gradient, _, width, shift = state_of(frame, kind)
    size = max(float(np.abs(gradient).max()), 1e-6)
    elastic = size * RANDOM.uniform(-0.5, 0.5, (len(gradient), 4))
    elastic[0] = 0.0
    if len(elastic) > 2:
        elastic[1], elastic[2] = size * np.array([0.1, 0.1, 0.0, -0.1]), size * np.array([0.1, 0.1 + 1e-9, 1e-9, -0.1])
    history = frame.advanced(gradient, width, shift, elastic)
    assert np.abs(frame.measured(gradient, width, shift, history).strain - elastic).max() < 1e-14


def test_plastic_metric_is_the_exponential_maps():
    """A flow of D along one direction from the virgin state: C_p^-1 = F^-1 exp(2 (e_trial - D)) F^-T. Round-off, 1e-13."""
    frame = FRAMES["logarithmic"]
    gradient, _, width, shift = state_of(frame, "large")
    shift = np.zeros_like(shift)
    trial = frame.measured(gradient, width, shift, frame.start(len(gradient))).strain
    elastic = 0.3 * trial
    for g, e, h in zip(gradient, elastic, frame.advanced(gradient, width, shift, elastic), strict=True):
        f = np.linalg.inv(deformation(g, width))
        b = expm(2 * matrix(e * [1, 1, 0.5, 1]))
        assert np.abs(f @ b @ f.T - np.eye(3) - matrix(h)).max() < 1e-13


SURFACES = {
    "von-mises": Yielding(20.0, Hardening(rise=12.0, rate=60.0, slope=30.0)),
    "cone": Yielding(20.0, Hardening(rise=12.0, rate=60.0), "cone", 1.3, 0.4),
    "paraboloid": Yielding(20.0, None, "paraboloid", 1.4, 0.35),
}


@pytest.mark.parametrize("yielding", SURFACES.values(), ids=SURFACES)
def test_plastic_history_is_the_same_to_whoever_turns_with_it(yielding):
    """A deformation to 50 % shear and 20 % stretch, bare and with a rotation that grows to 200 degrees along it.

    The stress is the rotated one at every increment and the plastic strain the same, to round-off that 40 increments
    hand on: 1e-11 of the yield stress. Before the last yields the rotation alone exceeds every strain.
    """
    frame, free = FRAMES["logarithmic"], np.zeros(4)
    ends = []
    for degrees in (0.0, 200.0):
        history, plastic, found = frame.start(1), np.zeros(1), []
        for share in np.linspace(0, 1, 41)[1:]:
            f = np.eye(2) + share * np.array([[0.2, 0.5], [-0.1, -0.05]])
            angle = np.radians(degrees) * share
            turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
            gradient, none = (turn @ f - np.eye(2))[None], np.zeros(1)
            trial = frame.measured(gradient, 0.02 * share, none, history).strain
            made = updated(yielding, E, NU, trial, plastic, free, None)
            history, plastic = frame.advanced(gradient, 0.02 * share, none, made.elastic), made.plastic
            back = deformation(turn - np.eye(2), 0.0)
            found.append((back.T @ matrix(made.stress[0]) @ back, plastic[0]))
        ends.append(found)
    assert ends[0][-1][1] > 0.1
    for (stress, plastic), (turned, as_plastic) in zip(*ends, strict=True):
        assert np.abs(stress - turned).max() < 1e-11 * 20
        assert plastic == pytest.approx(as_plastic, abs=1e-12)
