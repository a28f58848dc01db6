"""Tests of coupons: what is refused, which errors count, what is said of them.

Loads here are made up so that the answer is known by hand; none was measured.
Unless a test says otherwise numbers are compared to 1e-12: a few sums of doubles.
"""

from __future__ import annotations

import io
import json
import math
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from rich.console import Console

from fejoint.errors import ConvergenceError, JointError
from fejoint.joint.file import joint_from_text, template
from fejoint.proof.case import CaseFile
from fejoint.proof.coupons import QUICK, run_coupons, run_test
from fejoint.proof.measured import PATTERNS, Measured, coupons_from_text, parted_files
from fejoint.proof.runner import Report
from fejoint.show.measured import coupons_figure, coupons_json, coupons_table
from fejoint.show.proof import report_json
from fejoint.strength.capacity import MODES, Capacity
from fejoint.strength.predict import ROUTES

LAP = template("single-lap")
MEASURED = '\n[measured]\nloads = ["9 kN", "11000 N"]\nsource = "made up"\npattern = "cohesive"\n'
FORCE = next(line for line in LAP.splitlines() if line.startswith("force = "))
EXACT = 1e-12


def text_of(old="", new="", start=LAP + MEASURED):
    assert old in start
    return start.replace(old, new) if old else start


def file_of(name, text):
    return CaseFile(name, f"{name}.toml", text)


def capacity(key="shear", force=10e3, mode="cohesive", **more):
    return Capacity(key=key, name=f"{key} in words", route="stress", mode=mode, force=force, **more)


@pytest.fixture
def predicted(monkeypatch):
    """Return the function that sets what strength is predicted: capacities, or an error to raise; it keeps the routes asked."""

    def predict(*capacities, error=None):
        def strength_of(joint, *, routes, **_):
            predict.routes = routes
            if error is not None:
                raise error
            bond = [one for one in capacities if one.runs and one.mode == "cohesive"]
            return SimpleNamespace(capacities=capacities, believed=bond[0] if bond else None)

        monkeypatch.setattr("fejoint.proof.coupons.strength_of", strength_of)

    return predict


def reported(loads, *, pattern=""):
    """Return the report of tests, a list of loads each."""
    files = [
        file_of(f"test-{i}", f'{LAP}\n[measured]\nloads = {given}\nsource = "made up"\npattern = "{pattern}"\n')
        for i, given in enumerate(loads, 1)
    ]
    return run_coupons(files)


# ---- reading ---------------------------------------------------------------


def test_a_test_holds_loads_and_the_joint_of_its_file():
    test = coupons_from_text(text_of(), "mine")
    assert test.measured.loads == (9000.0, 11000.0)
    assert (test.name, test.measured.source, test.measured.pattern) == ("mine", "made up", "cohesive")
    assert test.joint == joint_from_text(LAP)


def test_without_a_force_the_load_is_the_mean_of_the_measured_ones():
    assert coupons_from_text(text_of(FORCE, "")).joint.load.force == pytest.approx(10_000, rel=EXACT)
    assert coupons_from_text(text_of(FORCE, 'force = "-1 kN"')).joint.load.force == -1000


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"11000 N"', '"11 kg"', "measured.loads item 2 = \"11 kg\": must be a force, such as '2.5 kN'."),
        ('"11000 N"', "-3", "measured.loads item 2 = \"-3 N\": must be at least 0.001 N."),
        ('"11000 N"', "0", "measured.loads item 2 = \"0 N\": must be at least 0.001 N."),
        ('["9 kN", "11000 N"]', "[]", "measured.loads = []: must hold at least 1."),
        ('["9 kN", "11000 N"]', "9", "measured.loads = \"9 N\": must be a list in square brackets."),
        ('loads = ["9 kN", "11000 N"]', "", "measured.loads is missing (Failure loads of like coupons, in magnitude)"),
        ('source = "made up"', "", "measured.source is missing (Where the loads come from"),
        ('source = "made up"', 'source = " "', "must say where the loads come from"),
        ('"cohesive"', '"cohesiv"', 'pattern = "cohesiv": must be one of adhesive, cohesive, thin-layer cohesive'),
        ("pattern", "patern", "measured.patern: unknown key; did you mean pattern?"),
        ("[measured]", "[mesured]", "mesured: unknown key; did you mean measured?"),
        ("[measured]", "[[measured]]", "measured must be a table of keys: write [measured]"),
        ("[measured]", '[case]\nsource = "x"\n[measured]', "[measured] does not go with [case] and [[expect]]"),
        (FORCE, 'force = "0 N"', "load.force = 0: must not be 0"),
        ('width = "25 mm"', 'width = "25 kg"', 'joint.width = "25 kg": must be a length'),
        ("[load]", "[lode]", "lode: unknown key; did you mean load?"),
        ("[measured]", "[measured", "is not valid TOML"),
    ],
)  # fmt: skip
def test_a_bad_test_is_one_sentence(old, new, says):
    with pytest.raises(JointError) as caught:
        coupons_from_text(text_of(old, new), place="my.toml")
    sentence = str(caught.value)
    assert says in sentence
    assert sentence.startswith("my.toml: ")
    assert "\n" not in sentence


def test_cases_and_tests_of_a_folder_go_their_ways():
    broken = CaseFile("gone", "gone.toml", JointError("gone.toml: cannot be read."))
    files = [file_of("case", "[case]\n"), file_of("test", text_of()), file_of("broken", "["), broken]
    cases, tests = parted_files(files)
    assert [file.name for file in tests] == ["test"]
    assert [file.name for file in cases] == ["case", "broken", "gone"]


# ---- what counts -----------------------------------------------------------


def test_standard_deviation_is_that_of_the_lot():
    """By hand: of 2, 4, 4, 4, 5, 5, 7, 9 the squares about the mean 5 sum to 32; over 7, not 8, the root is 2.1381."""
    measured = Measured(loads=[2, 4, 4, 4, 5, 5, 7, 9], source="made up")
    assert measured.mean == pytest.approx(5, rel=EXACT)
    assert measured.deviation == pytest.approx(math.sqrt(32 / 7), rel=EXACT)
    assert Measured(loads=[3], source="made up").deviation is None


def test_error_is_over_the_mean_and_inside_one_standard_deviation(predicted):
    """By hand: 9 and 11 kN have the mean 10 and the deviation sqrt(2) kN; 11.4 kN lies within it, 11.5 kN does not."""
    predicted(capacity("near", 11_400), capacity("far", 11_500), capacity("low", 8_600))
    near, far, low, _ = reported(["[9000, 11000]"]).tests[0].predictions
    assert [one.error for one in (near, far, low)] == pytest.approx([0.14, 0.15, -0.14], abs=EXACT)
    assert [one.inside for one in (near, far, low)] == [True, False, True]
    single = reported(["[10000]"]).tests[0].predictions[0]
    assert not single.inside


def test_criteria_over_all_tests(predicted):
    """By hand: errors of +0.1, -0.2 and +0.4 have magnitudes with the mean 0.7/3, the mean 0.1 and the deviation 0.3."""
    predicted(capacity(force=-10_000))  # in compression; loads are given in magnitude
    loads = [10_000 / 1.1, 10_000 / 0.8, 10_000 / 1.4]
    report = reported([f"[{load!r}]" for load in loads])
    one = report.criteria[0]
    assert one.errors == pytest.approx([0.1, -0.2, 0.4], abs=EXACT)
    assert one.mean_error == pytest.approx(0.7 / 3, abs=EXACT)
    assert one.bias == pytest.approx(0.1, abs=EXACT)
    assert one.spread == pytest.approx(0.3, abs=EXACT)
    assert one.worst == ("test-3", pytest.approx(0.4, abs=EXACT))
    alone = reported(["[10000]"]).criteria[0]
    assert (alone.mean_error, alone.bias) == (0, 0)
    assert math.isnan(alone.spread)


@pytest.mark.parametrize(
    ("pattern", "counted"),
    [
        ("", {"cohesive", "interface", "adherend-rupture"}),
        ("mixed", {"cohesive", "interface", "adherend-rupture"}),
        ("cohesive", {"cohesive", "interface"}),
        ("thin-layer cohesive", {"cohesive", "interface"}),
        ("adhesive", {"cohesive", "interface"}),
        ("stock-break", {"adherend-rupture"}),
        ("substrate", {"adherend-rupture"}),
        ("fiber-tear", set()),
        ("light-fiber-tear", set()),
        ("delamination", set()),
    ],
)
def test_a_load_counts_for_what_parted(pattern, counted, predicted):
    """Where something else parted the load is a lower bound, and a sheet that yields parts nowhere."""
    assert pattern in ("", *PATTERNS)
    predicted(*(capacity(key=mode, mode=mode) for mode in MODES))
    report = reported(["[8000]"], pattern=pattern)
    assert {one.key for one in report.criteria if one.counted} == counted | {"joint"}
    assert all(reason for one in report.criteria for _, reason in one.left_out)


def test_a_bound_that_a_prediction_stays_below_is_said(predicted):
    predicted(capacity(force=6_000), capacity("high", 9_000), capacity("none", math.inf))
    low, high, never = (one.excluded for one in reported(["[8000]"], pattern="stock-break").tests[0].predictions[:3])
    assert low == "at least 25 % too low: the adherend parted"  # 6 of 8 kN
    assert high.startswith("not refuted")
    assert never == "no load breaks the joint so"


def test_what_cannot_run_says_which_figure_it_needs(predicted):
    predicted(capacity(), capacity("energy", math.nan, reason="needs adhesive.toughness_mode_2"))
    report = reported(["[8000]", "[9000]"])
    energy = report.criteria[1]
    assert energy.counted == ()
    assert energy.left_out == tuple((f"test-{i}", "needs adhesive.toughness_mode_2") for i in (1, 2))
    assert "needs adhesive.toughness_mode_2" in printed(report)


def test_one_that_fails_does_not_stop_the_others(predicted):
    predicted(capacity())
    said = []
    report = run_coupons([file_of("bad", text_of('"9 kN"', "true")), file_of("good", text_of())], progress=said.append)
    assert [test.verdict for test in report.tests] == ["bad", "met"]
    assert report.verdict == "bad"
    assert said[0] == "test 1 of 2, bad: reading"
    for error, verdict in ((ConvergenceError("no equilibrium."), "missed"), (JointError("no room."), "bad")):
        predicted(error=error)
        report = run_coupons([file_of("one", text_of())])
        assert (report.verdict, report.tests[0].message) == (verdict, str(error))
        assert report.criteria == ()


def test_the_cohesive_zone_is_asked_unless_it_is_to_be_quick(predicted):
    predicted(capacity())
    run_test(coupons_from_text(text_of()))
    assert predicted.routes == ROUTES
    run_coupons([file_of("one", text_of())], QUICK)
    assert set(ROUTES) - set(predicted.routes) == {"cohesive"}


def test_the_joint_bears_the_lesser_of_the_bond_and_the_adherend(predicted):
    """Whatever parted: the load of the joint is what was measured."""
    predicted(capacity(force=10_000), capacity("rupture", 12_000, "adherend-rupture"))
    joint = reported(["[8000]"], pattern="stock-break").tests[0].predictions[-1]
    assert (joint.of_joint, joint.force, joint.excluded, joint.as_seen) == (True, 10_000, "", False)
    predicted(capacity(force=-13_000), capacity("rupture", -12_000, "adherend-rupture"))
    joint = reported(["[8000]"], pattern="stock-break").tests[0].predictions[-1]
    assert (joint.force, joint.as_seen) == (12_000, True)
    predicted(capacity("energy", math.nan, reason="needs something"))
    assert not any(one.of_joint for one in reported(["[8000]"]).tests[0].predictions)


def test_a_limit_load_counts_whatever_parts_then(predicted):
    """Where a sheet flows on the load cannot rise: that is what the coupon bore, though its bond parted in the end."""
    predicted(capacity(force=10_000), capacity("limit-load", 9_000, "adherend-yield"), capacity("hinge", 7_000, "adherend-yield"))
    bond, limit, hinge, joint = reported(["[8000]"], pattern="cohesive").tests[0].predictions
    assert (bond.excluded, limit.excluded) == ("", "")
    assert hinge.excluded == "nothing parts when it yields"
    assert (joint.force, joint.as_seen) == (9_000, False)


# ---- outside ---------------------------------------------------------------

SHEETS = """
[joint]
kind = "single-lap"
width = "25 mm"
overlap_length = "50 mm"
bondline_thickness = "0.2 mm"
lower = { material = "aluminium 6082-T6", thickness = "1.6 mm", free_length = "50 mm" }
upper = { material = "aluminium 6082-T6", thickness = "2 mm", free_length = "50 mm" }

[adhesive]
material = "toughened epoxy"

[measured]
loads = ["11.6 kN"]                 # no load was measured: sigma_u b t by hand, so that one answer is known
source = "made up: 290 MPa x 25 mm x 1.6 mm"
pattern = "stock-break"
"""


def test_a_load_that_a_formula_gives_is_met_by_the_criterion_that_is_that_formula():
    """Statics: the thinner sheet's section breaks at sigma_u b t = 290 x 25 x 1.6 = 11,600 N; the bond's criteria count not.

    The criterion takes the sheet's load from a finite element solution under a
    unit load whose end reactions balance to 1e-9; 1e-6 leaves room for round-off.
    """
    test = run_test(coupons_from_text(SHEETS), ("adherend", "plateau"))
    rupture = next(one for one in test.predictions if one.key == "adherend-rupture")
    assert rupture.error == pytest.approx(0, abs=1e-6)
    assert not rupture.excluded
    plateau = next(one for one in test.predictions if one.key == "plateau")
    assert plateau.force == pytest.approx(17.9 * 25 * 50, rel=EXACT)  # shear strength of the library times bonded area
    assert plateau.excluded == "not refuted: the adherend parted"


# ---- table, JSON, figure ---------------------------------------------------


def printed(report):
    console = Console(width=120, record=True, file=io.StringIO())
    console.print(coupons_table(report))
    return console.export_text()


@pytest.fixture
def report(predicted):
    """Return a report of three tests, of four criteria of which one never runs and one counts for nothing."""
    predicted(
        capacity(),
        capacity("rupture", 24e3, "adherend-rupture"),
        capacity("energy", math.nan, reason="needs adhesive.toughness_mode_2"),
        capacity("yield", 9_000, "adherend-yield"),
    )
    files = [
        file_of("pulled", text_of()),
        file_of("torn", text_of('"cohesive"', '"adhesive"')),
        file_of("bad", text_of("9", "x")),
    ]
    return run_coupons(files)


def test_the_table_says_what_was_measured_and_stays_in_120_columns(report):
    text = printed(report)
    flat = " ".join(text.split())
    assert "mean 10000 N, standard deviation 1410 N (14.1 %), 2 coupons; seen: cohesive" in flat
    assert "within the scatter" in flat
    assert "shear in words 10000 N 1.00 +0.0 %" in flat
    assert "nothing parts when it yields" in flat
    assert "Held against no test: rupture in words; energy in words; yield in words." in flat
    assert 'set strength.failure_at = "interface"' in flat  # of the one that parted at the interface
    assert "bad.toml: measured.loads item 1" in flat
    assert max(len(line.rstrip()) for line in text.splitlines()) <= 120


def test_json_holds_no_number_that_is_none(report):
    found = json.loads(json.dumps(report_json(Report([]), report), allow_nan=False))
    assert (found["verdict"], found["cases"]) == ("bad", [])
    assert found["tests"] == json.loads(json.dumps(coupons_json(report)["tests"]))
    pulled = found["tests"][0]
    assert (pulled["mean_N"], pulled["number"], pulled["pattern"]) == (10_000, 2, "cohesive")
    assert pulled["deviation_N"] == pytest.approx(1000 * math.sqrt(2), rel=EXACT)
    assert [one["predicted_N"] for one in pulled["predictions"]] == [10_000, 24_000, None, 9_000, 10_000]
    assert [one["counted"] for one in pulled["predictions"]] == [True, False, False, False, True]
    assert found["criteria"][0]["tests"] == 2
    assert found["criteria"][2]["worst"] == {"test": None, "error": None}


def test_json_takes_the_numbers_of_numpy(predicted):
    """As the cohesive zone's load comes out of an array: comparisons of such numbers are no truth values that JSON writes."""
    predicted(capacity(force=np.float64(10_000), figures={"shear_strength": np.float64(20)}))
    found = json.loads(json.dumps(coupons_json(reported(["[9000, 11000]"])), allow_nan=False))
    assert found["tests"][0]["predictions"][0]["inside_scatter"] is True


def test_the_figure_has_every_prediction_where_it_belongs(report):
    loads, ratios = coupons_figure(report).axes[:2]
    assert (loads.get_label(), ratios.get_label()) == ("loads", "ratios")
    marks = [line for line in loads.lines if line.get_gid() in ("counted", "left out")]
    found = sorted((line.get_xdata()[0], line.get_ydata()[0], line.get_gid()) for line in marks)
    bond = joint = (10.0, 10.0, "counted")
    assert found == sorted(2 * [bond, joint, (10.0, 9.0, "left out"), (10.0, 24.0, "left out")])
    means = [(line.get_xdata()[0], line.get_ydata()[0]) for line in ratios.lines if line.get_gid() == "mean"]
    assert means == [(pytest.approx(1.0, rel=EXACT), row) for row in (0, 4)]
    dots = [line for line in ratios.lines if line.get_gid() in ("counted", "left out")]
    assert np.allclose(sorted(line.get_xdata()[0] for line in dots), [0.9, 0.9, 1, 1, 1, 1, 2.4, 2.4], rtol=EXACT)
    assert "needs adhesive.toughness_mode_2" in [text.get_text() for text in ratios.texts]


def test_all_of_the_figure_lies_inside_it(report):
    figure = coupons_figure(report)
    FigureCanvasAgg(figure).draw()
    width, height = figure.canvas.get_width_height()
    texts = [text for axes in figure.axes for text in (*axes.texts, axes.xaxis.label, axes.yaxis.label, axes.title)]
    for text in [*texts, *figure.axes[1].get_yticklabels(), *figure.texts, *figure.legends[0].get_texts()]:
        box = text.get_window_extent()
        assert box.x0 > -1, text
        assert box.x1 < width + 1, text
        assert box.y0 > -1, text
        assert box.y1 < height + 1, text


def test_tests_that_are_all_bad_have_a_figure_too():
    assert coupons_figure(run_coupons([file_of("bad", "[measured]\n")])).axes
