"""Coupon tests as a user runs them: files in, table, files, figures and page out; what is refused, in one sentence.

The demos are invented; what they were made from is in `benchmarks.invented_coupons.TRUTH`.
"""

from __future__ import annotations

import csv
import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from benchmarks.invented_coupons import FOLDER, TRUTH, files
from fejoint.cli import run
from fejoint.coupon.file import coupon_test_from_text, coupons_schema
from fejoint.coupon.reduce import reduce_coupons
from fejoint.errors import JointError
from fejoint.show.coupons.reduction_data import coupons_data, looked, thinned
from fejoint.show.coupons.reduction_plots import coupons_figure, patterns_figure

LAP = (FOLDER / "door-sill-lap.toml").read_text(encoding="utf-8")
DEMOS = ("door-sill-lap", "roof-peel", "floor-thick", "floor-dcb", "floor-enf")


def test_the_demos_are_what_their_script_writes():
    """Byte for byte, and every one says that it is invented."""
    texts = files()
    assert set(texts) == {path.name for path in FOLDER.iterdir() if path.suffix in (".csv", ".toml")}
    for name, text in texts.items():
        assert (FOLDER / name).read_text(encoding="utf-8") == text, name
        assert "INVENTED" in text.splitlines()[0]


def test_the_demos_return_what_made_them():
    """Strengths and peel forces by their noise; moduli and toughness by intervals three or four times as wide."""
    lap = reduce_coupons(FOLDER / "door-sill-lap.toml")
    # The third is 12.4 mm long where its curve was made for 12.5.
    made = [t * (12.5 / 12.4 if i == 2 else 1) for i, t in enumerate(TRUTH["lap"]["strength"])]
    assert lap.values() == pytest.approx(made, rel=0.003)  # noise of 0.2 %, on the largest point none
    peel = reduce_coupons(FOLDER / "roof-peel.toml")
    assert len(peel.values()) == 3  # one is left out
    made = [TRUTH["peel"]["force"][i] for i in (0, 1, 3)]
    assert peel.values() == pytest.approx(made, rel=0.01)  # 3 % noise over 157 points: 0.24 %; waves that are not whole: 0.2 %
    thick = reduce_coupons(FOLDER / "floor-thick.toml")
    assert thick.values() == pytest.approx(TRUTH["thick"]["strength"], rel=1e-3)
    for value, one in zip(TRUTH["thick"]["G"], thick.specimens, strict=True):
        figure = one.reduction.figures["modulus"]
        assert abs(figure.value - value) < 2 * (figure.high - figure.low)
    for name, key in (("floor-dcb", "dcb"), ("floor-enf", "enf")):
        for value, one in zip(TRUTH[key]["G"], reduce_coupons(FOLDER / f"{name}.toml").specimens, strict=True):
            figure = one.reduction.figures["toughness"]
            assert abs(figure.value - value) < 1.5 * (figure.high - figure.low)
            assert figure.value == pytest.approx(value, rel=0.05)


@pytest.mark.parametrize("name", DEMOS)
def test_the_table(name, capsys):
    """Every kind of test: each specimen's figure as it is reported, source, standard and cautions."""
    assert run(["coupons", str(FOLDER / f"{name}.toml")]) == 0
    text = capsys.readouterr().out
    found = reduce_coupons(FOLDER / f"{name}.toml")
    assert all(f" {found.reported(one.reduction.figures[found.kind.main].value)} " in text for one in found.specimens)
    assert "INVENTED" in text and "no design allowables" in text
    assert (found.test.standard or "No standard is stated") in text


@pytest.mark.parametrize("name", ["door-sill-lap", "floor-thick"])
def test_the_files(name, tmp_path, capsys):
    """Files and figures; json and csv say the same numbers; the page loads nothing; without patterns no picture of them."""
    out = tmp_path / "out"
    assert run(["coupons", str(FOLDER / f"{name}.toml"), "--out", str(out)]) == 0
    assert "Written to" in capsys.readouterr().out
    found = reduce_coupons(FOLDER / f"{name}.toml")
    data = json.loads((out / "coupons.json").read_text())
    with (out / "coupons.csv").open(newline="") as opened:
        rows = list(csv.DictReader(opened))
    for one, said, row in zip(found.specimens, data["specimens"], rows, strict=True):
        value = one.reduction.figures["strength"].value
        assert said["figures"]["strength"]["value"] == value
        assert float(row["strength_MPa"]) == pytest.approx(value, rel=1e-8)
    assert (out / "coupons.png").read_bytes().startswith(b"\x89PNG")
    assert (out / "patterns.png").is_file() == (found.pattern is not None)
    page = (out / "report.html").read_text()
    assert "No design allowable" in page and "from memory" in page
    assert "divided by n - 1" in page and "90 % of all such coupons are stronger, with 95 % confidence" in page
    assert ("No failure pattern is stated" in page) == (found.pattern is None)


def test_json_and_other_units(capsys):
    """The json is in N, mm, MPa whatever is shown; 1 MPa is 145.0377 psi (an inch is 25.4 mm, a pound 4.4482216 N)."""
    assert run(["coupons", str(FOLDER / "door-sill-lap.toml"), "--json", "--units", "inch"]) == 0
    data = json.loads(capsys.readouterr().out)
    mean = data["statistics"]["groups"][0]["described"]["mean"]
    assert mean == pytest.approx(np.mean([s["figures"]["strength"]["value"] for s in data["specimens"]]), rel=1e-12)
    assert run(["coupons", str(FOLDER / "door-sill-lap.toml"), "--units", "inch"]) == 0
    shown = capsys.readouterr().out
    assert f"{mean * 145.0377:.0f}"[:3] in shown and " psi" in shown
    assert run(["coupons", str(FOLDER / "door-sill-lap.toml"), "--units", "feet"]) == 2


def test_statistics_leave_out_what_is_excluded_and_say_what_they_need():
    """Three of four peel specimens; of one alone no standard deviation, with the number needed."""
    peel = reduce_coupons(FOLDER / "roof-peel.toml")
    lot = looked(peel).lots.lots[0]
    assert lot.described.n == 3
    assert lot.described.deviation == pytest.approx(np.std(peel.values(), ddof=1), rel=1e-12)
    alone = replace(peel, specimens=peel.specimens[:1])
    assert looked(alone).refused == "mean peel force per width: 1 value given; a standard deviation needs at least 2."


@pytest.fixture
def folder(tmp_path):
    """Return a function that writes the lap demo, its text changed, and returns its path."""
    shutil.copy(FOLDER / "door-sill-lap.csv", tmp_path)

    def write(text=LAP):
        path = tmp_path / "test.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def changed(old, new):
    assert old in LAP
    return LAP.replace(old, new)


def added(option):
    return changed("[coupons.specimen]", f"[coupons.reduction]\n{option}\n\n[coupons.specimen]")


MACHINE = 'machine_compliance = "8e-06 mm/N"'
SPECIMENS = LAP[LAP.index("[[coupons.specimens]]") :]
COMMON = LAP[LAP.index("[coupons.specimen]") : LAP.index("[[coupons.specimens]]")]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "has no [coupons] table"),
        ("[coupons", "is no TOML"),
        (changed('source = "INVENTED, no coupon was tested"', ""), "coupons.source is missing"),
        (changed('source = "INVENTED, no coupon was tested"', 'source = " "'), "must say who tested what, and when"),
        (changed('standard = "ISO 4587"', ""), "coupons.kind is missing: give coupons.standard, or coupons.kind"),
        (changed('standard = "ISO 4587"', 'standard = "ISO 4588"'), "is not known here; did you mean ISO 4587?"),
        (changed('standard = "ISO 4587"', 'standard = "ISO 4587"\nkind = "dcb"'), "ISO 4587 is for single-lap shear"),
        (
            changed("{ cohesive = 80, adhesive = 20 }", "{ cohesive = 80, adhesive = 25 }"),
            "of the area, and add to 105",
        ),
        (changed('name = "S5"', 'name = "S7"'), '"S7" is in none of the files; they hold S1, S2, S3, S4, S5'),
        (changed('name = "S5"', 'name = "S4"'), "is there already; give each specimen once"),
        (changed('name = "S5"', 'name = "S5"\nexcluded = true'), "must say why the specimen is left out"),
        (changed('width = "25 mm"', 'width = "25 MPa"'), "coupons.specimen.width"),
        (changed('width = "25 mm"', 'widht = "25 mm"'), "coupons.specimen.widht: unknown key; did you mean width?"),
        (
            LAP.replace(COMMON, "").replace('overlap_length = "12.4 mm"', ""),
            "S1: has no dimensions; give them in",
        ),
        (LAP.replace(COMMON, ""), "specimen S1: has no dimensions"),
        (changed('overlap_length = "12.5 mm"', ""), "specimen S1: overlap_length missing; give it in"),
        (changed('files = "door-sill-lap.csv"', 'files = "none.csv"'), "none.csv: cannot be read (no such file or directory)"),
        (changed('files = "door-sill-lap.csv"', 'files = "../door-sill-lap.csv"'), "must lie beside the file that names it"),
        (changed('files = "door-sill-lap.csv"', 'files = "/etc/passwd"'), "must lie beside the file that names it"),
        (changed('files = "door-sill-lap.csv"', "files = []"), "coupons.data.files"),
        (
            changed('files = "door-sill-lap.csv"', 'files = ["door-sill-lap.csv", "door-sill-lap.csv"]'),
            "S1 is in",
        ),
        (
            changed('machine_compliance = "8e-06 mm/N"', 'machine_compliance = "8e-06 mm/N"\ncompliance_run = "x.csv"'),
            "only without machine_compliance",
        ),
        (
            changed('machine_compliance = "8e-06 mm/N"', "columns = { force = 9 }"),
            "data.columns.force = 9: the table has 4 columns",
        ),
        (
            changed("[coupons.specimen]", "[coupons.reduction]\nmodulus_window = [0.4, 0.1]\n\n[coupons.specimen]"),
            "must be two rising shares below 1",
        ),
        (
            changed("[coupons.specimen]", "[coupons.reduction]\nconfidence = 1.5\n\n[coupons.specimen]"),
            "confidence = 1.5: must be at most 0.999",
        ),
        (LAP.replace("pattern =", 'excluded = true\nreason = "x"\npattern ='), "every specimen is excluded"),
    ],
)
def test_bad_tests_are_refused_in_one_sentence(text, said, folder, tmp_path, capsys):
    """Exit 2, one line, nothing written."""
    out = tmp_path / "out"
    assert run(["coupons", str(folder(text)), "--out", str(out)]) == 2
    captured = capsys.readouterr()
    assert said in captured.err
    assert captured.err.count("\n") == 1 and not captured.out and not out.exists()


def test_a_force_column_of_text_and_times_that_fall(folder, tmp_path, capsys):
    """File, line and column, as a user sees them."""
    path = folder()
    data = tmp_path / "door-sill-lap.csv"
    lines = data.read_text().splitlines()
    for column, cell, said in (
        (3, "slipped", 'line 20, column 4 (Force): "slipped" is no number'),
        (1, "0,01", "line 20, column 2 (Time)"),
    ):
        cells = lines[19].split(";")
        cells[column] = cell
        data.write_text("\n".join([*lines[:19], ";".join(cells), *lines[20:]]) + "\n")
        assert run(["coupons", str(path)]) == 2
        assert said in capsys.readouterr().err


def test_what_a_user_typed_is_text(folder, tmp_path, capsys):
    """Title, source, reason, note and the specimen's name in the page are escaped; in the console no markup."""
    evil = "<script>alert(1)</script>[red]"
    text = changed('title = "cabin door sill, lap coupons (invented)"', f'title = "{evil}"')
    text = text.replace('source = "INVENTED, no coupon was tested"', f'source = "{evil}"').replace(
        'note = "shiny patches near one end"', f'note = "{evil}"'
    )
    text = text.replace('name = "S5"', f'name = "S5"\nexcluded = true\nreason = "{evil}"')
    path, out = folder(text), tmp_path / "out"
    assert run(["coupons", str(path), "--out", str(out)]) == 0
    page = (out / "report.html").read_text()
    assert "<script>alert" not in page and "&lt;script&gt;alert" in page
    assert "[red]" in capsys.readouterr().out


def test_compliance_and_metal_runs_are_read_like_the_rest(folder, tmp_path):
    """A run on a stiff specimen of 2e-5 mm/N: taken off as if stated."""
    force = np.linspace(0, 9, 40)
    lines = [
        "Specimen;Time;Crosshead;Force",
        ";s;mm;kN",
        *(f"block;{i};{0.02 * f:.6f};{f:.4f}".replace(".", ",") for i, f in enumerate(force)),
    ]
    (tmp_path / "stiff.csv").write_text("\n".join(lines) + "\n")
    by_run = reduce_coupons(folder(changed(MACHINE, 'compliance_run = "stiff.csv"')))
    stated = reduce_coupons(folder(changed('"8e-06 mm/N"', '"2e-5 mm/N"')))
    assert by_run.machine_compliance == pytest.approx(2e-5, rel=1e-4)  # six decimals of a millimetre
    travel = [[one.reduction.figures["travel"].value for one in test.specimens] for test in (by_run, stated)]
    assert travel[0] == pytest.approx(travel[1], abs=1e-4)


def test_what_to_mind(folder):
    """Other dimensions than the standard's, too few specimens, a speed of another standard, times, patterns at the interface."""
    text = changed('standard = "ISO 4587"', 'standard = "ASTM D1002"')
    said = " ".join(reduce_coupons(folder(text)).cautions)
    assert "ASTM D1002 asks for at least 30 specimens (from memory); 5 count here" in said
    assert "The speed, 1 mm/min, is not the 1.3 mm/min of ASTM D1002 (test-house page)" in said
    assert "Half or more of the area of specimen S3" in said
    said = " ".join(reduce_coupons(folder(changed('overlap_length = "12.5 mm"', 'overlap_length = "20 mm"'))).cautions)
    assert "overlap_length of specimens S1, S2, S4 and S5 is not the 12.5 mm of ISO 4587 (from memory)" in said
    data = (folder().parent / "door-sill-lap.csv").read_text().replace(";s;", ";min;")
    (folder().parent / "door-sill-lap.csv").write_text(data)
    assert "broke outside the 45 to 85 s of ISO 4587" in " ".join(reduce_coupons(folder()).cautions)


def test_figures_show_every_specimen_and_the_points_read_off(capsys):
    """Lines of the curves end where the data do; marks lie on them; patterns stack to 100."""
    found = reduce_coupons(FOLDER / "floor-dcb.toml")
    figure = coupons_figure(found)
    FigureCanvasAgg(figure)
    pulls, curves = figure.axes
    assert (pulls.get_label(), curves.get_label()) == ("pulls", "reduced")
    drawn = [line for line in pulls.lines if len(line.get_xdata()) > 20]
    assert [len(line.get_xdata()) for line in drawn] == [len(one.pull.force) for one in found.specimens]
    assert drawn[0].get_ydata() == pytest.approx(found.specimens[0].pull.force)
    assert curves.lines[0].get_ydata() == pytest.approx(found.specimens[0].reduction.curve[1])
    bars = patterns_figure(reduce_coupons(FOLDER / "door-sill-lap.toml")).axes[0]
    widths = {}
    for bar in bars.patches:
        widths[round(bar.get_y(), 3)] = widths.get(round(bar.get_y(), 3), 0.0) + bar.get_width()
    assert list(widths.values()) == pytest.approx([100.0] * 6)


def test_many_specimens_and_hostile_names_are_drawn(folder, tmp_path):
    """Twenty specimens share one look; a dollar in a name is a dollar."""
    lines = (tmp_path / "door-sill-lap.csv").read_text().splitlines()
    body = [line for line in lines[6:] if line.startswith("S1;")]
    many = [line.replace("S1;", f"$x_{i}$;") for i in range(20) for line in body]
    (tmp_path / "door-sill-lap.csv").write_text("\n".join([*lines[:6], *many]) + "\n")
    found = reduce_coupons(folder(LAP.replace(SPECIMENS, "")))
    assert len(found.specimens) == 20 and found.pattern is None
    assert [text.get_text() for text in coupons_figure(found).legends[0].get_texts()] == ["20 specimens", "largest force"]
    assert coupons_data(found, looked(found))["pattern"] is None


def test_schema_and_reading_from_text():
    """The schema knows the table's keys; a Coupons of a text answers as the file's."""
    assert {"standard", "data", "specimens"} <= set(coupons_schema()["properties"])
    test = coupon_test_from_text(LAP)
    assert test.dimensions("S3") == {"width": 25.0, "overlap_length": 12.4, "thickness": 1.6}
    assert test.dimensions("unheard of") == {"width": 25.0, "overlap_length": 12.5, "thickness": 1.6}
    with pytest.raises(JointError, match="no TOML"):
        coupon_test_from_text("[" * 5000)
    assert Path(FOLDER).is_dir()


def test_long_records_are_thinned(folder, tmp_path):
    """Ten thousand points: some hundreds are drawn, the highest among them, and the figures are those of all points."""
    x = np.linspace(0, 1, 10_000)
    force = 5 * x
    force[7321] = 6.0
    rows = ["Specimen;Time;Crosshead;Force", ";s;mm;kN", *(f"S1;{a:.4f};{a:.4f};{f:.4f}" for a, f in zip(x, force, strict=True))]
    (tmp_path / "door-sill-lap.csv").write_text("\n".join(rows) + "\n")
    found = reduce_coupons(folder(LAP.replace(SPECIMENS, "").replace('"door-sill-lap.csv"', '["door-sill-lap.csv"]')))
    assert found.values() == pytest.approx([6000 / (25 * 12.5)])
    assert looked(found).refused.endswith("1 value given; a standard deviation needs at least 2.")
    drawn = thinned(x, force, 300)
    assert len(drawn[0]) <= 302 and drawn[1].max() == 6.0 and (drawn[0][0], drawn[0][-1]) == (0, 1)


def test_a_machine_that_takes_off_all_displacement_is_refused(tmp_path, capsys):
    text = LAP.replace('machine_compliance = "8e-06 mm/N"', 'machine_compliance = "8e-03 mm/N"')
    assert text != LAP
    shutil.copy(FOLDER / "door-sill-lap.csv", tmp_path)
    (tmp_path / "test.toml").write_text(text, encoding="utf-8")
    assert run(["coupons", str(tmp_path / "test.toml"), "--out", str(tmp_path / "out")]) == 2
    assert "takes off all of its displacement" in capsys.readouterr().err and not (tmp_path / "out").exists()
