"""A coupon's curve beside its prediction: what is read, what is taken off, and numbers that formulas give.

Curves here are made up from formulas; none was measured. Unless a test says otherwise numbers are compared to 1e-6, the
digits of the tables that are written and read back.
"""

from __future__ import annotations

import math
from importlib import resources

import made_up
import numpy as np
import pytest

from fejoint.coupon.curve import Pull
from fejoint.errors import JointError
from fejoint.joint.file import joint_from_text
from fejoint.mechanics.driver import solve_on
from fejoint.mechanics.reuse import Kept
from fejoint.proof.correlation import correlate, specimen_of, work_to_peak
from fejoint.proof.gauge import displacement_of, moved
from fejoint.proof.measured import coupons_from_text, read_test
from fejoint.proof.predicted import secant, stepped, stiffness_of
from fejoint.strength.predict import QUICK

DIGITS = 1e-6
# Free ends of the layer carry no shear over about half a thickness each: of 10 mm by 0.2 mm some 1 % at most.
FREE_ENDS = 0.015
G = 2000 / (2 * 1.35)


@pytest.fixture
def test_of(tmp_path):
    """Return the function that makes a test of the text of its file and of its table."""

    def make(text, table=None, name="pull.csv"):
        if table is not None:
            (tmp_path / name).write_text(table)
        return coupons_from_text(text, "thick", "thick.toml", tmp_path)

    return make


LINE = made_up.line_pull(1e6, 6000.0, ("a", "b"), (1.0, 0.96))


# ---- reading ---------------------------------------------------------------


def test_loads_left_out_are_the_largest_forces_of_the_curve(test_of):
    test = test_of(made_up.thick_lap(), LINE)
    assert test.measured.loads == pytest.approx((6000.0, 6000.0), rel=DIGITS)
    assert test.joint.load.force == pytest.approx(6000.0, rel=DIGITS)
    one = test_of(made_up.thick_lap().replace('file = "pull.csv"', 'file = "pull.csv"\nspecimen = "b"'))
    assert [pull.name for pull in one.pulls()] == ["b"]


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"pull.csv"', '"../pull.csv"', 'measured.curve.file = "../pull.csv": must stay under the folder of the test file'),
        ('"pull.csv"', '"/etc/passwd"', "must stay under the folder of the test file"),
        ('"pull.csv"', '"away.csv"', "away.csv: cannot be read (no such file or directory)"),
        ('"pull.csv"', '"pull.csv"\nspecimen = "c"', 'measured.curve.specimen = "c": no such specimen in pull.csv; there: a, b'),
        ('"pull.csv"', '"pull.csv"\ngauge = "extensometer"', "curve.gauge_length is missing: an extensometer has one"),
        ('"pull.csv"', '"pull.csv"\ngauge_length = "25 mm"', 'only goes with gauge = "extensometer"'),
        ('"pull.csv"', '"pull.csv"\ngauge = "extensometer"\ngauge_length = "25 mm"', "specimen a of pull.csv has no extension"),
        ('"pull.csv"', '"pull.csv"\nmachine_compliance = "1e-5 N/mm"', "must be a compliance, such as '5e-6 mm/N'"),
        ('"pull.csv"', '"pull.csv"\nline_from = 0.5', "line_to = 0.4: must lie above line_from (0.5)"),
        ('"pull.csv"', '"pull.csv"\nfiel = 1', "measured.curve.fiel: unknown key"),
        (
            '"pull.csv"\n',
            '"pull.csv"\n[[measured.cause]]\nname = "x"\nset = { "joint.bondline_thicknes" = "0.3 mm" }\n',
            "item 1 (x): set: joint.bondline_thicknes: unknown key; did you mean bondline_thickness?",
        ),
        (
            '"pull.csv"\n',
            '"pull.csv"\n[[measured.cause]]\nname = "x"\nset = { "joint.bondline_thickness" = "0.3 kg" }\n',
            'joint.bondline_thickness = "0.3 kg": must be a length',
        ),
        ('"pull.csv"\n', '"pull.csv"\n[[measured.cause]]\nname = "x"\nknockdown = 0.8\n', "source is missing: a knockdown is no"),
        ('"pull.csv"\n', '"pull.csv"\n[[measured.cause]]\nname = "x"\n', "give one of set, knockdown and machine_compliance"),
        ('"pull.csv"\n', '"pull.csv"\n[measured.cause]\nname = "x"\n', "write [[measured.cause]], in double brackets"),
    ],
)
def test_what_is_refused(test_of, old, new, says):
    with pytest.raises(JointError) as refused:
        test_of(made_up.thick_lap().replace(old, new), LINE)
    assert says in str(refused.value)
    assert str(refused.value).startswith("thick.toml: ")


def test_a_link_that_leads_away_is_refused(test_of, tmp_path):
    (tmp_path.parent / "outside.csv").write_text(LINE)
    (tmp_path / "pull.csv").symlink_to(tmp_path.parent / "outside.csv")
    with pytest.raises(JointError, match="must stay under the folder"):
        test_of(made_up.thick_lap())


def test_the_shipped_pull_is_the_one_of_its_formula():
    folder = resources.files("fejoint.demo") / "whole-job"
    assert (folder / "pull.csv").read_text(encoding="utf-8") == made_up.table()
    with resources.as_file(folder) as place:
        test = read_test(place / "coupon.toml")
        found = [specimen_of(pull, 0.1, 0.4) for pull in test.pulls()]
    assert "invented" in test.joint.title and "invented" in test.measured.source
    for one, (of_stiffness, of_break, slack) in zip(found, made_up.COUPONS.values(), strict=True):
        # A ripple of a = 4 N tilts a least squares line over L = 1400 N of force by 3 a / L at most (a square wave about its
        # middle), and moves its foot by a / k (1 + 3 (1200 N / L)) at most.
        assert one.stiffness == pytest.approx(made_up.STIFFNESS * of_stiffness, rel=0.009)
        last = made_up.BREAK * of_break
        assert one.load == pytest.approx(made_up.force(last, made_up.STIFFNESS * of_stiffness), abs=4.5)
        assert one.slack == pytest.approx(slack, abs=8e-4)


# ---- one specimen ----------------------------------------------------------


def test_line_slack_and_work_of_a_straight_pull():
    # F = k (u - s), with a jerk that falls back: the last way up counts.
    k, slack, top = 5000.0, 0.3, 900.0
    f = np.concatenate([[0.0, 120.0, 0.0], np.linspace(0.0, top, 91)])
    u = np.concatenate([[0.0, 0.1, 0.2], slack + np.linspace(0.0, top, 91) / k])
    one = specimen_of(Pull("a", u, f), 0.1, 0.4)
    assert one.stiffness == pytest.approx(k, rel=1e-9)
    assert one.slack == pytest.approx(slack, rel=1e-9)
    assert one.work == pytest.approx(top**2 / (2 * k), rel=1e-9)


def test_what_the_machine_gives_way_is_two_springs_in_a_row(test_of):
    # 1 / k_seen = 1 / k + C; the table is of the springs together.
    k, c = 1e6, 4e-7
    text = made_up.thick_lap().replace('file = "pull.csv"', f'file = "pull.csv"\nmachine_compliance = "{c} mm/N"')
    test = test_of(text, made_up.line_pull(1 / (1 / k + c), 5000.0, slack=0.02))
    one = specimen_of(test.pulls()[0], 0.1, 0.4)
    assert one.stiffness == pytest.approx(k, rel=1e-4)  # the table's nanometres
    assert one.slack == pytest.approx(0.02, abs=1e-8)


def test_a_curve_without_an_early_line_is_refused():
    with pytest.raises(JointError, match=r"1 points lie between 10 and 40 % of its largest force on the way up"):
        specimen_of(Pull("a", np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 300.0, 800.0, 1000.0])), 0.1, 0.4)
    with pytest.raises(JointError, match="more than what was measured"):
        specimen_of(Pull("a", np.linspace(0, 1, 50), np.linspace(0, 1e3, 50)).without_machine(2e-3), 0.1, 0.4)


def test_work_and_secant_of_a_parabola():
    # F = 2 a u - u^2 / 2 ... up to u = 2 a, where it is largest; work by its integral; trapezes of 2000 parts: 1e-6.
    a = 3.0
    u = np.linspace(0.0, 3 * a, 3001)
    f = 2 * a * u - u**2 / 2
    assert work_to_peak(u, f, 1e9) == pytest.approx(a * (2 * a) ** 2 - (2 * a) ** 3 / 6, rel=DIGITS)
    low, high = 2.0, 8.0
    at = [2 * a - math.sqrt(4 * a * a - 2 * force) for force in (low, high)]
    assert secant(u, f, low, high) == pytest.approx((high - low) / (at[1] - at[0]), rel=DIGITS)
    assert math.isnan(secant(u, f, 100.0, 200.0))


# ---- against formulas of mechanics -----------------------------------------


def test_stiffness_of_thick_adherends_is_that_of_the_layer():
    kept = Kept()
    for length, thickness in ((10.0, 0.2), (20.0, 0.4)):
        joint = joint_from_text(
            made_up.thick_lap(length, thickness).split("[measured]")[0].replace("[load]", "[load]\nforce = 1e3")
        )
        found = stiffness_of(joint, 100.0, 400.0, None, kept)
        assert found == pytest.approx(G * 25 * length / thickness, rel=FREE_ENDS)
        assert found < G * 25 * length / thickness  # free ends only soften


def test_stiffness_along_a_path_is_the_linear_one_where_nothing_turns():
    # Rigid adherends between clamps cannot straighten: large rotation changes nothing but strains of 1e-4.
    text = made_up.thick_lap().split("[measured]")[0].replace("[load]", "[load]\nforce = 1e3")
    joint = joint_from_text(text)
    bent = joint.replace(analysis=joint.analysis.replace(large_rotation=True))
    assert stiffness_of(bent, 100.0, 400.0) == pytest.approx(stiffness_of(joint, 100.0, 400.0), rel=1e-3)


def test_a_path_keeps_what_acts_beside_the_force():
    text = made_up.thick_lap().split("[measured]")[0].replace('ends = "clamped"', 'ends = "pinned"\nforce = 1e3\nmoment = 500')
    bent = stepped(joint_from_text(text), [100.0, 400.0])
    assert [(step.force, step.moment) for step in bent.load.path()] == [(0.0, 500.0), (100.0, 500.0), (400.0, 500.0)]


def test_extensometer_sees_the_adherends_between_its_feet():
    """Clear of the overlap an adherend's mid-plane stretches by N / (E' t), E' = E / (1 - nu^2): beam theory, 1e-3."""
    part = 'material = { elastic_modulus = "70 GPa", poisson_ratio = 0.33 }\nthickness = "2 mm"\nfree_length = "60 mm"'
    text = made_up.thick_lap(12.0, 0.2, csv="").split("[measured]")[0].replace("[load]", "[load]\nforce = 2500")
    old = text[text.index("material") : text.index("[joint.upper]")].strip()
    joint = joint_from_text(text.replace(old, part))
    solution = solve_on(joint, 1.0, Kept()).solution
    per_mm = 2500 / 25 * (1 - 0.33**2) / (70e3 * 2)
    near, far = displacement_of(solution, 50.0), displacement_of(solution, 90.0)
    assert far - near == pytest.approx(40.0 * per_mm, rel=1e-3)
    assert displacement_of(solution, None) == pytest.approx(far + (132 - 90) * per_mm, rel=1e-3)
    with pytest.raises(JointError, match="does not reach"):
        moved(solution, "lower", 20.0)


def test_ratios_of_a_coupon_that_is_softer_and_weaker_by_known_shares(test_of):
    # Predicted: k = G b l / t_a (free ends: 1.5 %), load = shear strength times area, exactly (the layer gives way as a whole).
    k, load = G * 25 * 10 / 0.2, 30 * 25 * 10.0
    test = test_of(made_up.thick_lap(), made_up.line_pull(0.8 * k, 0.9 * load, ("a", "b", "c"), (0.98, 1.0, 1.02), slack=0.01))
    found = correlate(test, QUICK)
    assert found.predicted.by.key == "plateau"
    assert found.load_ratio == pytest.approx(1 / 0.9, rel=DIGITS)
    assert found.stiffness_ratio == pytest.approx(1 / 0.8, rel=FREE_ENDS)
    # Work of straight lines: (P / p)^2 (k_m / k_p), with the mean of k over 1/k of the three: 1.0003.
    assert found.work_ratio == pytest.approx((1 / 0.9) ** 2 * 0.8, rel=FREE_ENDS + 3e-4)
    assert found.compliance_wanted == pytest.approx((1 / 0.8 - 1) / k, rel=10 * FREE_ENDS)
    # Forces at the same displacement differ by (k_p / k_m - 1) of the force there: at the end of the common way the largest;
    # the root mean square of a line from 0 is 1 / sqrt(3) of it.
    one = found.specimens[1]
    end = min(0.9 * load / (0.8 * k), load / k)
    largest = (k - 0.8 * k) * end / (0.9 * load)
    assert one.largest_difference == pytest.approx(largest, abs=2 * FREE_ENDS)
    assert one.rms_difference == pytest.approx(abs(one.largest_difference) / math.sqrt(3), rel=0.01)  # of 200 places
    assert not found.within_scatter
