"""Statistics and ageing from the command line: what is printed and written, drawn, and refused."""

import json
from importlib import resources

import numpy as np
import pytest

from fejoint.cli import run
from fejoint.coupon.basis import basis_values

VALUES = [22.4, 23.1, 21.7, 24.0, 22.9, 20.8, 23.6, 22.2, 23.0, 21.9]
DEMO = resources.files("fejoint.demo") / "ageing" / "sill-coupons.csv"


@pytest.fixture
def lot(tmp_path):
    path = tmp_path / "lot.csv"
    rows = [f"S{i};{'AB'[i % 2]};{v}".replace(".", ",") for i, v in enumerate(VALUES)]
    path.write_text("coupon;batch;strength_MPa\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_lot_is_described_and_written(lot, tmp_path, capsys):
    out = tmp_path / "out"
    assert run(["statistics", str(lot), "--out", str(out)]) == 0
    printed = capsys.readouterr().out
    for text in ("22.56", "s (n - 1)", "not a design allowable", "needs 29 values, has 10", "Shapiro-Wilk", "no outlier"):
        assert text in " ".join(printed.split()), text
    data = json.loads((out / "statistics.json").read_text())
    (group,) = data["groups"]
    found = basis_values(VALUES)
    assert group["described"]["deviation"] == pytest.approx(np.std(VALUES, ddof=1))
    assert group["basis"]["recommended_bounds"]["B"]["value"] == pytest.approx(found.bound("B").value)
    assert data["unit"] == "MPa"
    assert (out / "statistics.png").read_bytes().startswith(b"\x89PNG")
    assert sorted(path.name for path in out.iterdir()) == ["statistics.json", "statistics.png"]


def test_groups_are_compared_pooled_and_taken_together(lot, capsys):
    assert run(["statistics", str(lot), "--by", "batch", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [group["name"] for group in data["groups"]] == ["A", "B"]
    assert data["compared"]["alike"] and data["whole"]["described"]["n"] == 10
    assert data["pooled"][0]["freedom"] == 8
    assert run(["statistics", str(lot), "--by", "batch"]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert "could be of one population" in printed and "takes for granted that groups scatter alike" in printed


def test_the_figure_marks_values_and_basis_values():
    from fejoint.coupon.lots import lots_of
    from fejoint.show.coupons.statistics_plots import statistics_figure

    found = lots_of({"lot": VALUES})
    figure = statistics_figure(found, "MPa")
    parts = {axes.get_label(): axes for axes in figure.axes}
    marks = {line.get_gid(): line for line in parts["shares"].lines}
    assert sorted(marks["ranks"].get_xdata()) == sorted(VALUES)
    for method in ("normal", "lognormal", "weibull"):
        assert marks[f"{method} B"].get_xdata()[0] == pytest.approx(found.lots[0].basis.bound("B", method).value)
        assert marks[f"{method} B"].get_ydata()[0] == pytest.approx(-1.2815516)  # the normal quantile of 10 %
    assert parts["values"].get_xlabel() == "strength, MPa"
    several = statistics_figure(lots_of({"dry <b>$x$": VALUES, "wet": [v - 5 for v in VALUES], "one": [20.0, 21.0]}), "MPa")
    assert [text.get_text() for text in several.axes[0].get_yticklabels()] == ["dry <b>$x$", "wet", "one"]


def test_ageing_of_the_demo(tmp_path, capsys):
    """The demo was made with 24.6 MPa, 1.05 MPa per root of week at 50 degC, 55 kJ/mol: found within three standard errors."""
    out = tmp_path / "out"
    options = ["--model", "root-of-time", "--at", "1 year", "--at-temperature", "40 degC", "--reach", "15 MPa", "--out", str(out)]
    with resources.as_file(DEMO) as file:
        assert "INVENTED" in file.read_text(encoding="utf-8")
        assert run(["ageing", str(file), *options]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    for text in ("4 of them not broken", "Extrapolated in time: 2.01 times", "of one new specimen", "Lack of fit is not tested"):
        assert text in printed, text
    data = json.loads((out / "ageing.json").read_text())
    (law,) = [law for law in data["laws"] if law["taken"]]
    rate = 1.05 * np.exp(55e3 / 8.314462618 * (1 / 323.15 - 1 / law["reference_temperature_K"]))
    for name, value in {"start": 24.6, "log rate": np.log(rate), "activation energy": 55e3}.items():
        assert abs(law["parameters"][name] - value) < 3 * law["standard_errors"][name]
    assert law["prediction"]["time"] == pytest.approx(365.25 / 7)
    assert data["reached"]["earliest"] < data["reached"]["time"] < data["reached"]["latest"]
    assert (out / "ageing.png").read_bytes().startswith(b"\x89PNG")


def test_the_figure_shows_specimens_and_both_intervals():
    from fejoint.coupon.ageing import aged, ageing_fit
    from fejoint.coupon.ageing_prediction import predicted
    from fejoint.show.coupons.ageing_plots import ageing_figure

    time, strength = [0, 0, 4, 4, 9, 9.0], [30, 29, 24.5, 25, 20, 20.5]
    fit = ageing_fit(aged(time, strength, None, [False, *[True] * 5]), "root-of-time")
    (axes,) = ageing_figure(fit, predicted(fit, 16.0), "MPa", "week").axes
    lines = {line.get_gid(): line for line in axes.lines}
    assert list(lines["broken"].get_xdata()) == time[1:]
    assert list(lines["not broken"].get_ydata()) == [30]
    assert {c.get_gid() for c in axes.collections} >= {"specimen", "interval"}
    assert axes.get_xlim()[1] > 16
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("time, week", "strength, MPa")


def test_ageing_chooses_and_shows_all(tmp_path, capsys):
    path = tmp_path / "aged.csv"
    rng = np.random.default_rng(0)
    rows = [
        f"{t},{500 * (30 + 50 * np.exp(-t / 5)) + 900 * rng.standard_normal():.1f}" for t in (0, 1, 3, 6, 12, 24) for _ in "1234"
    ]
    path.write_text("time_day,load_N\n" + "\n".join(rows) + "\n", encoding="utf-8")
    assert run(["ageing", str(path), "--json", "--at", "48", "--reach", "20 kN"]) == 0
    data = json.loads(capsys.readouterr().out)
    (law,) = [law for law in data["laws"] if law["taken"]]
    assert law["model"] == "level-off"
    assert all(other["lack_of_fit"]["rejected"] for other in data["laws"] if other["model"] == "line")
    assert law["prediction"]["time"] == 48
    assert data["reached"]["strength"] == pytest.approx(20_000)


@pytest.mark.parametrize(
    ("text", "options", "says"),
    [
        ("strength_MPa\n22.1\n", [], "strength_MPa: 1 value given; a standard deviation needs at least 2."),
        ("strength_MPa\n22.1\nhigh\n", [], 'line 3: strength_MPa = "high" must be a finite number.'),
        ("a_MPa,b_MPa\n1,2\n", [], "has no one column strength_...; say with --column which of a_MPa, b_MPa."),
        ("strength_MPa\n22.1\n22.2\n", ["--column", "load_N"], "has no column load_N"),
        ("strength_MPa\n22.1\n22.2\n", ["--unit", "psi"], "--unit psi: the column strength_MPa of table.csv says MPa"),
        ("strength_MPa,lot\n22.1,\n22.2,a\n", ["--by", "lot"], "column lot is empty for one coupon or more"),
        ("strength_MPa,lot\n22.1,b\n22.2,a\n22.3,a\n", ["--by", "lot"], "b: 1 value given"),
        (None, [], "cannot be read"),
    ],
)
def test_bad_statistics_are_one_sentence(tmp_path, capsys, text, options, says):
    refused("statistics", tmp_path, capsys, text, options, says)


HEAD = "time_h,strength_MPa,temperature_degC,broken\n"
ROWS = "0,30,23,yes\n1,28,23,yes\n2,27,23,yes\n3,24,23,yes\n4,23,23,yes\n"


@pytest.mark.parametrize(
    ("text", "options", "says"),
    [
        (HEAD + "-1,30,23,yes\n" + ROWS, [], "time: -1 is among them; a time of ageing must be 0 or more."),
        (HEAD + "0,30,23,perhaps\n" + ROWS, [], 'line 2: broken = "perhaps" must be yes or no.'),
        (HEAD + "5,22,,yes\n" + ROWS, [], "line 2: temperature_degC is empty; an aged specimen needs it."),
        (HEAD + "0,30,-300,yes\n" + ROWS, [], "temperature: -26.85 K is among them"),
        (HEAD + "0,30,23,yes\n1,28,23,yes\n", [], "2 broken specimens given; the model line needs at least 4."),
        (HEAD + ROWS, ["--model", "wave"], "model wave: must be one of line, root-of-time, level-off."),
        (HEAD + ROWS, ["--log"], "--log goes with --model"),
        (HEAD + ROWS, ["--at", "12 MPa"], "--at 12 MPa: must be a number with a unit that goes with h."),
        (HEAD + ROWS, ["--at", "-2"], "time -2: must be 0 or more."),
        (HEAD + ROWS, ["--reach", "2 h"], "--reach 2 h: must be a number with a unit that goes with MPa."),
        (HEAD + ROWS, ["--at-temperature", "40"], "--at-temperature 40: must be an absolute temperature with its unit"),
        (HEAD + ROWS, ["--at-temperature", "40 degC"], "one temperature say nothing of another"),
        (HEAD.replace("time_h", "time") + ROWS, [], "the column time must end with its unit, such as time_h"),
        (HEAD.replace("_degC", "") + ROWS, [], "the column temperature must end with its unit: temperature_degC"),
        (HEAD + ROWS, ["--strength", "load_N"], "has no column load_N"),
    ],
)
def test_bad_ageing_is_one_sentence(tmp_path, capsys, text, options, says):
    refused("ageing", tmp_path, capsys, text, options, says)


def refused(command, tmp_path, capsys, text, options, says):
    path = tmp_path / "table.csv"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    assert run([command, str(path), *options, "--out", str(tmp_path / "out")]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 1
    assert says in printed.err
    assert not (tmp_path / "out").exists()


def test_a_unit_that_is_none_is_refused_and_a_sure_level_is_100_per_cent(tmp_path, capsys):
    path = tmp_path / "three.csv"
    path.write_text("strength\n19\n20\n21\n", encoding="utf-8")
    assert run(["statistics", str(path), "--unit", "bananas"]) == 2
    assert "--unit bananas: must be a unit" in capsys.readouterr().err
    assert run(["statistics", str(path), "--unit", "psi"]) == 0
    printed = capsys.readouterr().out
    assert "(level 100 %)" in printed and "Mean and scatter, psi" in printed


def test_a_mean_that_an_ageing_law_takes_below_nothing_is_called_that(tmp_path, capsys):
    path = tmp_path / "aged.csv"
    path.write_text("time_week,strength_MPa\n0,25\n4,21.1\n8,16.7\n12,13.2\n16,9.1\n", encoding="utf-8")
    assert run(["ageing", str(path), "--model", "line", "--at", "100 week"]) == 0
    assert "The mean itself is not above 0" in " ".join(capsys.readouterr().out.split())
