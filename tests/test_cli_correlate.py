"""`fejoint correlate` and `fejoint identify` as their user meets them: what they print and write, and what they refuse.

Pulls are made up from formulas; none was measured.
"""

from __future__ import annotations

import csv
import io
import json
import tomllib
from pathlib import Path

import pytest

from fejoint.cli import run
from fejoint.show.correlation.plots import curve_figure
from tests.proof import made_up

K, LOAD = 2000 / 2.7 * 25 * 10 / 0.2, 30 * 25 * 10.0
CAUSE = '[[measured.cause]]\nname = "no <b>primer</b>"\nknockdown = 0.8\nsource = "user\'s"\n'
SHEAR = "adhesive.shear_modulus"


@pytest.fixture
def thick(tmp_path, monkeypatch):
    """Return the path of a test file of thick adherends, its pull as stiff as is predicted and a tenth weaker."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "pull.csv").write_text(made_up.line_pull(K, 0.9 * LOAD, ("a", "b", "c"), (0.98, 1.0, 1.02)))
    loads = f"loads = [{0.88 * LOAD}, {0.9 * LOAD}, {0.92 * LOAD}]\n"
    path = tmp_path / "thick.toml"
    path.write_text(made_up.thick_lap(loads=loads) + CAUSE)
    return path


def test_correlate_writes_table_curve_causes_and_page(thick, capsys):
    assert run(["correlate", "thick.toml", "--quick", "--out", "out"]) == 0
    printed = capsys.readouterr().out
    assert "may explain all of it" in printed and "cannot be named" in printed
    assert "+11.1 %" not in printed and "1.111" in printed
    assert {path.name for path in Path("out").iterdir()} == {
        "correlation.json",
        "correlation.csv",
        "curve.png",
        "causes.png",
        "correlation.html",
    }
    data = json.loads(Path("out/correlation.json").read_text())
    assert data["ratios"]["load"] == pytest.approx(1 / 0.9, rel=1e-6)
    assert data["predicted"]["by"] == "plateau"
    assert {cause["key"] for cause in data["causes"]} >= {"thickness", "fillet", "grips", "machine", "plasticity", "preparation"}
    own = next(cause for cause in data["causes"] if cause["key"] == "own-1")
    assert own["verdict"] == "alone" and own["effects"][0]["load_ratio"] == pytest.approx(0.8, rel=1e-12)
    rows = list(csv.DictReader(io.StringIO(Path("out/correlation.csv").read_text(encoding="utf-8"))))
    assert [row["what"] for row in rows[:2]] == ["measured, mean", "predicted"]
    assert float(rows[0]["load_over_predicted"]) == pytest.approx(0.9, rel=1e-5)
    page = Path("out/correlation.html").read_text(encoding="utf-8")
    assert "<b>primer" not in page and "&lt;b&gt;primer" in page  # what a user typed is text
    assert "Content-Security-Policy" in page and "licensed engineer" in page


def test_the_predicted_curve_ends_at_its_load_also_where_it_was_followed_farther():
    """A path to 150 N of a joint that breaks at 100 N, by hand; the coupon as strong. Of a cohesive zone it goes on."""
    one = {"displacement_mm": [0.0, 0.1], "force_N": [0.0, 100.0], "name": "a", "load_N": 100.0}
    data = {
        "title": "t",
        "ratios": {"load": 1.0, "stiffness": 1.0, "work": 1.0},
        "gauge": None,
        "measured": {"specimens": [one], "load_N": 100.0, "load_allowance_N": 5.0, "load_deviation_N": None},
        "predicted": {"name": "p", "kind": "path", "load_N": 100.0, "displacement_mm": [0, 0.08, 0.16], "force_N": [0, 75, 150]},
    }
    drawn = {}
    for kind in ("path", "cohesive"):
        axes = curve_figure({**data, "predicted": {**data["predicted"], "kind": kind}}).axes[0]
        drawn[kind] = next(line for line in axes.lines if line.get_label() == "predicted: p").get_ydata()
    assert drawn["path"].tolist() == pytest.approx([0.0, 75.0, 100.0])
    assert drawn["cohesive"].max() == pytest.approx(150.0)


@pytest.mark.parametrize(("command", "work"), [("correlate", "effects.tried"), ("identify", "identify.identify")])
def test_an_interruption_leaves_no_file_and_says_so(thick, capsys, monkeypatch, command, work):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(f"fejoint.proof.{work}", interrupted)
    find = ["--find", SHEAR] if command == "identify" else []
    assert run([command, "thick.toml", "--quick", *find, "--out", "out"]) == 130
    assert capsys.readouterr().err == "fejoint: interrupted before it was finished; nothing was written.\n"
    assert not Path("out").exists()


def test_brackets_dollars_and_underscores_in_names_are_text(thick, capsys, monkeypatch):
    monkeypatch.setattr("fejoint.proof.effects.tried", lambda *_, **__: [])
    odd = r"_$\frac{ [/] [bold]b"
    table = Path("pull.csv").read_text().replace("\na,", f"\n{odd},")
    Path("pull.csv").write_text(table)
    assert run(["correlate", "thick.toml", "--quick", "--out", "out"]) == 0
    assert "[/] [bold]b" in " ".join(capsys.readouterr().out.split())
    axes = curve_figure(json.loads(Path("out/correlation.json").read_text())).axes[0]
    assert f" {odd}" in axes.get_legend_handles_labels()[1]


def test_correlate_prints_json(thick, capsys, monkeypatch):
    monkeypatch.setattr("fejoint.proof.effects.tried", lambda *_, **__: [])  # seen above, and takes longest
    assert run(["correlate", "thick.toml", "--quick", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["measured"]["specimens"][0]["name"] == "a"
    assert data["causes"] == [] and data["differs"] == ["load"]


def test_identify_writes_a_table_to_paste(thick, capsys):
    assert run(["identify", "thick.toml", "--find", SHEAR, "--bounds", f"{SHEAR}=0.2 GPa:3 GPa", "--out", "out"]) == 0
    assert SHEAR in capsys.readouterr().out
    assert {path.name for path in Path("out").iterdir()} == {"identify.json", "adhesive.toml", "fit.png"}
    table = tomllib.loads(Path("out/adhesive.toml").read_text())["adhesive"]
    assert table["shear_modulus"]["source"].startswith("identified from thick; 95 % interval ")
    value = float(table["shear_modulus"]["value"].split()[0])
    assert value == pytest.approx(2000 / 2.7, rel=0.02)  # free ends of the layer
    assert "elastic_modulus" not in table and table["poisson_ratio"] == 0.35  # two of three
    data = json.loads(Path("out/identify.json").read_text())
    figure = data["figures"][0]
    assert figure["low"] < value < figure["high"] and figure["bounds"] == [200.0, 3000.0]
    # The table makes a joint again.
    text = thick.read_text().split("[measured]")[0].replace("[load]", "[load]\nforce = 1e3")
    start = text[: text.index("[adhesive]")]
    (Path("again.toml")).write_text(start + Path("out/adhesive.toml").read_text() + text[text.index("[load]") :])
    assert run(["check", "again.toml"]) == 0


def test_a_library_adhesive_stays_named_and_its_figures_found_stand_beside_it(thick, capsys):
    """Two overlaps that gave way at 21 MPa, where the library says 17.9 MPa from memory: quick, by limit analysis."""
    for name, length in (("short", 5.0), ("long", 8.0)):
        loads = f"loads = [{20.8 * 25 * length}, {21.2 * 25 * length}]\n"
        text = made_up.thick_lap(length, csv="", loads=loads, modulus="200 GPa")
        start, end = text.index("[adhesive]"), text.index("[load]")
        Path(f"{name}.toml").write_text(f'{text[:start]}[adhesive]\nmaterial = "toughened epoxy"\n{text[end:]}')
    key, idle = "adhesive.shear_strength", "adhesive.failure_shear_strain"
    assert run(["identify", "short.toml", "long.toml", "--find", key, "--find", idle, "--quick", "--out", "out"]) == 0
    table = tomllib.loads(Path("out/adhesive.toml").read_text())["adhesive"]
    assert set(table) == {"material", "shear_strength"}
    assert float(table["shear_strength"]["value"].split()[0]) == pytest.approx(21.0, rel=1e-3)
    assert f"{idle}: not told by these tests" in Path("out/adhesive.toml").read_text()
    printed = " ".join(capsys.readouterr().out.split())
    assert f"{idle} has no influence on what was measured" in printed


def test_identify_warns_of_what_it_cannot_tell(thick, capsys):
    assert run(["identify", "thick.toml", "--find", SHEAR, "--find", "joint.bondline_thickness"]) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert f"The tests cannot tell {SHEAR} and joint.bondline_thickness apart" in printed
    assert "not told apart from joint.bondline_thickness" in printed


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["correlate", "away.toml"], "away.toml: cannot be read (no such file or directory); check the path."),
        (["correlate", "joint.toml"], "measured must be a table of keys: write [measured]"),
        (["correlate", "thick.toml", "--units", "furlong"], "--units furlong: must be one of mm, SI, inch."),
        (["identify", "thick.toml"], "--find is missing: name what to find, of adhesive.elastic_modulus"),
        (["identify", "thick.toml", "--find", "adhesive.colour"], "adhesive.colour: is none of the figures that can be found"),
        (["identify", "thick.toml", "--find", SHEAR, "--bounds", "x"], '--bounds "x": must be KEY=LOW:HIGH'),
        (
            ["identify", "thick.toml", "other.toml", "--find", SHEAR],
            "other: its adhesive has not the poisson_ratio of that of thick",
        ),
        (["correlate", "pressed.toml"], "turns the forces, so say which way they were; load.force = "),
        (["identify", "thick.toml", "thick.toml", "--find", SHEAR], "two of the test files have the same name"),
    ],
)
def test_what_is_refused_in_one_sentence(thick, capsys, arguments, says):
    text = thick.read_text()
    Path("joint.toml").write_text(text.split("[measured]")[0])
    Path("other.toml").write_text(text.replace("poisson_ratio = 0.35", "poisson_ratio = 0.4"))
    Path("pressed.toml").write_text(text.replace('file = "pull.csv"', 'file = "pull.csv"\ndata = { negative = true }'))
    assert run([*arguments, *(["--out", "never"] if arguments[0] == "identify" else [])]) == 2
    error = capsys.readouterr().err
    assert says in error and error.count("\n") == 1
    assert not Path("never").exists()


def test_a_spoiled_table_names_its_line(thick, capsys):
    spoiled = Path("pull.csv").read_text().splitlines()
    spoiled[20] = spoiled[20].rsplit(",", 1)[0] + ",many"
    Path("pull.csv").write_text("\n".join(spoiled))
    assert run(["correlate", "thick.toml"]) == 2
    assert "pull.csv, line 21, column 3" in capsys.readouterr().err


def test_benchmark_reads_a_test_with_a_curve(thick, capsys):
    text = thick.read_text()
    start = text.index("loads = [")
    thick.write_text(text[:start] + text[text.index("\n", start) + 1 :])
    assert run(["benchmark", "thick.toml", "--quick"]) == 0
    assert "3 coupons" in capsys.readouterr().out
