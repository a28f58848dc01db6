"""The page of a sweep, parsed: what it says, that its numbers are those of the table, that what a user typed is text."""

import html
import html.parser
import json
import re
import tomllib

import numpy as np
import pandas as pd
import pytest
from chart_parts import PEEL, SHEAR, L, M, T, grid, refused, samples, with_refused

import fejoint
from benchmarks.survival import SILL, Here
from fejoint.errors import JointError, SetupError
from fejoint.joint.file import template
from fejoint.show import report
from fejoint.show.report import sweep_page as sweep_pages
from fejoint.show.report import write_report
from fejoint.show.report.chart_words import chart_alt
from fejoint.show.report.page import Picture
from fejoint.show.report.sweep_page import sweep_page
from fejoint.show.report.sweep_table import cases_table
from fejoint.show.sweeps.best import best_designs
from fejoint.show.sweeps.limits import Limit
from fejoint.show.sweeps.table import SCHEMA_VERSION
from fejoint.study.table import write_sweep

LIMITS = [f"{PEEL} <= 75", f"{SHEAR} <= 22"]
VOID = {"meta", "link", "img", "input", "br", "wbr"}


class Parsed(html.parser.HTMLParser):
    """The elements of a page in order, with attributes and text."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.elements, self.open = [], []
        self.feed(text)
        assert not self.open, [element["tag"] for element in self.open]
        for element in self.elements:
            element["text"] = "".join(element["text"])

    def handle_starttag(self, tag, attrs):
        found = {"tag": tag, "attrs": dict(attrs), "text": [], "in": [element["tag"] for element in self.open]}
        self.elements.append(found)
        if tag not in VOID:
            self.open.append(found)

    def handle_endtag(self, tag):
        assert self.open and self.open[-1]["tag"] == tag, (tag, self.getpos())
        self.open.pop()
        if tag not in ("bdi", "strong", "code", "a", "span"):
            self.handle_data(" ")

    def handle_data(self, data):
        for element in self.open:
            element["text"].append(data)

    def all(self, tag, **attrs):
        return [e for e in self.elements if e["tag"] == tag and all(e["attrs"].get(k) == v for k, v in attrs.items())]

    def one(self, tag, **attrs):
        (found,) = self.all(tag, **attrs)
        return found

    def section(self, name):
        return " ".join(self.one("section", **{"aria-labelledby": name})["text"].split())

    def cases(self):
        """Return the names of the columns of the table of cases, and of each row its attributes and cells."""
        start = self.elements.index(self.one("table", id="cases"))
        heads, rows = [], []
        for element in self.elements[start + 1 :]:
            if element["tag"] in ("table", "section"):
                break
            if element["tag"] == "tr":
                rows.append((element["attrs"], []))
            elif element["tag"] == "th" and element["attrs"]["scope"] == "col":
                heads.append(element["text"])
            elif element["tag"] in ("th", "td"):
                rows[-1][1].append((element["attrs"].get("data-value"), element["text"]))
        return heads, rows[1:]


def ended(table, limits=()):
    """Return a table as a sweep ends it."""
    table = table.copy()
    if limits:
        holds = [limit.holds(table) for limit in map(Limit.parse, limits)]
        table["feasible"] = np.all(holds, axis=0) & (table["status"] == "done")
        table = table[[name for name in table if name != "status"] + ["status"]]
    table["reason"] = np.where(table["status"] == "refused", "joint.lower.thickness: must lie above 0 mm.", "")
    return table.assign(warnings="", seconds=0.25)


def written(folder, table, limits=(), joint_file=SILL, said=None):
    sweep = said or {"vary": {"joint.overlap_length": [10, 20]}, "limits": list(limits)}
    write_sweep(folder, table, joint_file, {"varied": [], "limits": list(limits), "sweep": sweep}, None)
    return folder


@pytest.fixture(scope="module")
def study():
    """A grid of which some cases are refused, and some carry warnings."""
    table = ended(with_refused(), LIMITS)
    table.loc[[1, 5], "warnings"] = (
        "peak peel, 72 MPa, is above the material's tensile strength, which a linear analysis does not see"
    )
    return table


@pytest.fixture(scope="module")
def parsed(study, tmp_path_factory):
    return Parsed(sweep_page(written(tmp_path_factory.mktemp("sweep") / "sill", study, LIMITS)))


@pytest.fixture
def no_charts(monkeypatch):
    """Without charts, which take most of the time."""
    monkeypatch.setattr("fejoint.show.report.sweep_page.overview", lambda table, limits: iter(()))


# ---- what it says --------------------------------------------------------


def test_the_page_has_its_parts_in_order_and_every_heading_is_reached(parsed):
    names = ["question", "ended", "best", "charts", "all", "cautions", "repeat"]
    assert [e["attrs"]["id"] for e in parsed.all("h2")] == names
    links = [e["attrs"]["href"] for e in parsed.all("a") if "nav" in e["in"]]
    assert links == [f"#{name}" for name in names]
    assert len(parsed.all("h1")) == 1
    ids = [e["attrs"]["id"] for e in parsed.elements if "id" in e["attrs"]]
    assert len(ids) == len(set(ids))
    assert {e["attrs"]["href"][1:] for e in parsed.all("a") if e["attrs"]["href"].startswith("#")} <= set(ids)


def test_question_and_ends_by_count(parsed, study):
    question = parsed.section("question")
    assert "20 cases: every combination" in question and f"{L} 10 to 50 5 none" in question
    assert f"{T} 1 to 3 4 joint.upper.thickness_mm" in question
    assert "peak peel ≤ 75 MPa" in question and f"{SHEAR} <= 22" in question and "Units stand at the end of the names" in question
    said = parsed.section("ended")
    number = int(study["feasible"].sum())
    assert "done 18 solved" in said and "refused 2 no valid joint" in said and "must lie above 0 mm" in said
    assert f"{number} of 20 are feasible" in said
    assert "2 of 20 carry warnings, 2 of the feasible ones among them" in said and "Those of case 1:" in said
    assert f"{number} of 20 cases hold all limits" in parsed.one("p", **{"class": "answer"})["text"]


def test_best_designs_are_those_of_the_function(parsed, study):
    best, said = best_designs(study, LIMITS), parsed.section("best")
    assert "no optimum among all joints, and no proof" in said
    for found in best.ranked:
        row = study.loc[found.case]
        shown = (
            f"case {found.case} {100 * found.use:.3g} % {found.tightest.label} {row[L]:g} {row[T]:g} {row[PEEL]:g} {row[SHEAR]:g}"
        )
        assert f"{shown} {'yes' if row['warnings'] else 'no'}" in said.replace("\N{NO-BREAK SPACE}", " "), shown
    assert "no larger value of the study is feasible" in said and "the study goes no further" in said


def test_cells_hold_the_numbers_of_the_table(parsed, study):
    heads, rows = parsed.cases()
    ended = ["feasible", "status", "warnings"]  # beside what was varied, before the many results
    assert heads == ["case", L, T, "joint.upper.thickness_mm", *ended, PEEL, SHEAR, "reason", "seconds"]
    assert sorted(heads[1:]) == sorted(study.columns) and len(rows) == len(study)
    for (attrs, cells), (case, row) in zip(rows, study.iterrows(), strict=True):
        assert attrs["id"] == f"case-{case}" and attrs["data-status"] == row["status"]
        assert attrs["data-feasible"] == ("yes" if row["feasible"] else "no")
        for (exact, text), name in zip(cells[1:], heads[1:], strict=True):
            if study[name].dtype.kind == "f":
                # To 12 digits, as it is written.
                assert (text == "") if np.isnan(row[name]) else float(exact or text) == pytest.approx(row[name], rel=1e-12)
                assert text == "" or float(text) == pytest.approx(row[name], rel=1e-4)  # 5 digits are seen
        if row["status"] == "refused":
            assert row["reason"] in [text for _, text in cells]


def test_a_number_that_is_shown_rounded_is_there_in_full(tmp_path, no_charts):
    table = ended(grid(**{L: [10.0, 40 / 3, 2e8 / 3]}))
    _, rows = Parsed(sweep_page(written(tmp_path / "s", table))).cases()
    assert [cells[1] for _, cells in rows] == [(None, "10"), ("13.3333333333", "13.333"), ("66666666.6667", "6.6667e+07")]


def test_controls_are_hidden_until_the_script_runs_and_are_labelled(parsed):
    assert "hidden" in parsed.one("div", id="cases-controls")["attrs"]
    labelled = {e["attrs"]["for"] for e in parsed.all("label")}
    assert labelled == {"cases-filter", "cases-feasible", "cases-status"}
    assert [e["attrs"]["value"] for e in parsed.all("option")] == ["", "done", "refused"]
    assert parsed.one("span", id="cases-shown")["attrs"]["aria-live"] == "polite"
    regions = [e for e in parsed.all("div") if "scroll" in e["attrs"].get("class", "")]
    assert regions and all(e["attrs"]["tabindex"] == "0" and e["attrs"]["role"] == "region" for e in regions)
    assert all(e["attrs"]["scope"] == "row" for e in parsed.all("th") if "tbody" in e["in"])


def test_a_print_has_the_columns_that_matter(parsed, study):
    style = parsed.all("style")[1]["text"]
    hidden = {int(n) - 2 for n in re.findall(r"tr > :nth-child\((\d+)\)", style)}
    printed = [name for i, name in enumerate(parsed.cases()[0][1:]) if i not in hidden]
    assert printed == [L, T, "feasible", PEEL, SHEAR, "reason"]


def test_charts_say_their_numbers(parsed, study):
    images = [e["attrs"] for e in parsed.all("img")]
    assert [alt.split(":")[0] for alt in (e["alt"] for e in images)] == ["Curves", "Contours", "Bars"] * 2
    assert all(e["src"].startswith("data:image/") for e in images)
    peel = study[PEEL].where(study["status"] == "done")
    feasible = int(study["feasible"].sum())
    for said in (e["alt"] for e in images[:2]):
        assert "At overlap length 10 mm: 70 MPa to 75 MPa; at overlap length 50 mm: 30 MPa to 50 MPa." in said
        assert f"Least {peel.min():g} MPa in case {peel.idxmin()}, largest {peel.max():g} MPa in case {peel.idxmax()}." in said
        assert (
            f"{feasible} cases hold peak peel ≤ 75 MPa and |peak shear| ≤ 22 MPa, {18 - feasible} do not. 2 have no result."
            in said
        )
    assert "overlap length from 10 mm to 50 mm: -40 MPa" in images[2]["alt"]  # by the invented formula: -1 a mm


def test_a_chart_of_too_many_marks_is_made_of_pixels(tmp_path, monkeypatch):
    monkeypatch.setattr("fejoint.show.report.sweep_page.HEAVIEST", 10)
    page = Parsed(sweep_page(written(tmp_path / "s", ended(grid(**{L: [10.0, 20.0]})))))
    assert [e["attrs"]["src"][:22] for e in page.all("img")] == ["data:image/png;base64,"] * 2


def test_too_large_a_page_is_written_without_charts_or_not_at_all(tmp_path, monkeypatch):
    source = "data:image/svg+xml;base64," + "A" * 400_000
    charts = [Picture(source, "Curves: peak peel over overlap length, 2 cases.", "")]
    monkeypatch.setattr(sweep_pages, "_charts", lambda table, limits: (charts, ""))
    folder = written(tmp_path / "s", ended(grid(**{L: [10.0, 20.0]})))
    assert len(Parsed(write_report(folder).read_text(encoding="utf-8")).all("img")) == 1  # room enough by default
    monkeypatch.setattr(report, "MOST_BYTES", 300_000)
    path = write_report(folder, tmp_path / "a.html")
    assert path.stat().st_size < 300_000
    page = Parsed(path.read_text(encoding="utf-8"))
    assert not page.all("img") and len(page.cases()[1]) == 2
    assert "With charts this page would take more than 0.3 MB; fejoint chart draws them" in page.section("charts")
    monkeypatch.setattr(report, "MOST_BYTES", 1000)
    with pytest.raises(SetupError, match="more than"):
        write_report(folder, tmp_path / "b.html")
    assert not (tmp_path / "b.html").exists()


def test_charts_of_texts_and_of_nothing_are_said_too():
    table = grid(**{L: [10.0, 20.0], M: ["steel", "aluminium"]})
    table[PEEL] += 5.0 * (table[M] == "steel")
    assert "lower material from aluminium to steel: +5 MPa" in chart_alt("effects", PEEL, table, ())
    assert "No case has a result." in chart_alt("curves", PEEL, refused(table, [1, 2, 3, 4]), ())


# ---- studies of all kinds ------------------------------------------------


def test_without_limits_nothing_is_called_feasible(tmp_path, no_charts):
    page = Parsed(sweep_page(written(tmp_path / "s", ended(grid(**{L: [10.0, 20.0, 30.0]})))))
    assert not page.all("input", id="cases-feasible")
    assert "No limits were set" in page.section("best") and "least of each result" in page.section("best")
    assert "feasible" not in page.section("ended") + page.one("p", **{"class": "answer"})["text"]


@pytest.mark.parametrize(
    ("table", "limits", "said"),
    [
        (refused(grid(**{L: [10.0, 20.0]}), [1, 2]), LIMITS, "No case is solved with all self-checks held"),
        (grid(**{L: [10.0]}), LIMITS, "Case 1 alone is feasible"),
        (grid(**{L: [10.0, 20.0]}), [f"{PEEL} <= 1"], "No case is feasible."),
        (grid(**{L: [10.0, 20.0]}).assign(status="missing", **{PEEL: np.nan, SHEAR: np.nan}), (), "No case is solved"),
    ],
    ids=["all refused", "one case", "none feasible", "stopped"],
)
def test_poor_studies_have_a_page_that_says_so(table, limits, said, tmp_path, no_charts):
    page = Parsed(sweep_page(written(tmp_path / "s", ended(table, limits), limits)))
    assert said in page.section("best")
    assert "None suits what was varied" in page.section("charts")
    assert len(page.cases()[1]) == len(table)


def test_shares_are_explained_as_they_are_counted(tmp_path, no_charts):
    """At a negative lower limit the share is the value over the limit: the words must not say otherwise."""
    limits = [f"{PEEL} >= -100"]
    table = ended(grid(**{L: [80.0, 120.0]}), limits)  # peel, by the invented formula: -10 and -50 MPa
    said = Parsed(sweep_page(written(tmp_path / "s", table, limits))).section("best").replace("\N{NO-BREAK SPACE}", " ")
    assert "case 1 10 %" in said and "case 2 50 %" in said
    assert "in magnitude, the value over the limit; where a value must stay beyond a limit" in said


def test_a_varied_load_is_warned_of(tmp_path, no_charts):
    table = ended(grid(**{L: [10.0, 20.0], "load.moment_N_mm": [1000.0, 2000.0]}), LIMITS)
    assert "The load was varied, too (moment)" in Parsed(sweep_page(written(tmp_path / "s", table, LIMITS))).section("best")


def test_a_varied_force_is_what_is_ranked_by_and_the_page_says_so(tmp_path, no_charts):
    table = ended(grid(**{L: [10.0, 20.0], "load.force_N": [0.0, 1000.0, -2000.0]}), LIMITS)
    page = Parsed(sweep_page(written(tmp_path / "s", table, LIMITS, SILL)))
    said = page.section("best")
    assert "the ranking is by the force held within all limits, the largest magnitude first" in said
    assert "feasible cases with the largest force" in said and "The load was varied, too" not in said
    assert "2 feasible cases carry no load at all, which says nothing of a design, and so are not ranked." in said
    # Of cases 3 and 6, at -2000 N, case 6 uses less: 50 of 75 MPa against 60, by the invented formula.
    order = [e["text"].strip() for e in page.all("a", **{"class": "case"}) if "tbody" in e["in"]][:4]
    assert order == ["case 6", "case 3", "case 5", "case 2"]
    answer = " ".join(page.one("p", **{"class": "answer"})["text"].replace("\N{NO-BREAK SPACE}", " ").split())
    assert "The largest force within all limits is held by case 6, which uses 68.2 % of |peak shear| ≤ 22 MPa." in answer


@pytest.mark.parametrize(
    ("more", "left_out"),
    [("", True), ('moment = "0 N*m"\n', True), ('shear_force = "10 N"\n', False), ("temperature_change = -20\n", False)],
)
def test_a_load_of_the_joint_file_acts_in_every_case(more, left_out, tmp_path, no_charts):
    text = f'[joint]\nkind = "single-lap"\n[load]\nforce = "5 kN"\n{more}'
    table = ended(grid(**{"load.force_N": [0.0, 1000.0]}), LIMITS)
    said = Parsed(sweep_page(written(tmp_path / "s", table, LIMITS, text))).section("best")
    assert ("1 feasible case carries no load at all" in said) == left_out


def test_the_filters_help_compares_magnitudes_as_a_limit_on_shear_does(tmp_path, no_charts):
    table = ended(grid(**{L: [10.0, 20.0]}), [f"{SHEAR} <= 22"])
    page = Parsed(sweep_page(written(tmp_path / "s", table, [f"{SHEAR} <= 22"])))
    hint = " ".join(page.one("p", id="cases-hint")["text"].split())
    assert f"a comparison such as |{SHEAR}| <= 22;" in hint
    assert f"takes the signed value; bars around the column, as in |{SHEAR}| < 10, its magnitude" in hint


@pytest.mark.parametrize("given", [object(), pd.DataFrame({"a": [1]}), None, b"out"], ids=["result", "table", "none", "bytes"])
def test_a_report_of_no_path_is_refused_in_a_sentence(given):
    with pytest.raises(JointError) as caught:
        write_report(given)
    said = "write_report: give the folder of a run or a sweep; fejoint.write_run writes that of a result."
    assert str(caught.value) == said


def test_a_large_study_keeps_what_matters_and_stays_small(tmp_path, no_charts):
    table = pd.concat([ended(samples(), LIMITS)] * 24, ignore_index=True)
    for i in range(10):
        table[f"result_{i}_MPa"] = np.random.default_rng(i).random(len(table))
    table.index = pd.RangeIndex(1, len(table) + 1, name="case")
    table["warnings"] = "peak shear is above the material's shear strength, which a linear analysis does not see; " * 8
    text = sweep_page(written(tmp_path / "s", table, LIMITS))
    assert 1_500_000 < len(text.encode()) < 2_600_000  # and some charts beside: 4 MB at most
    page = Parsed(text)
    _, rows = page.cases()
    assert 2000 < len(rows) <= 3000
    kept = [attrs["data-feasible"] for attrs, _ in rows]
    assert kept.count("yes") == min(int(table["feasible"].sum()), len(rows))
    assert f"{len(rows)} of 3600 cases have room on this page" in page.section("all")
    assert f"{3600 - len(rows)} are left out" in page.section("all") and "sweep.csv" in page.section("all")


def test_rows_that_have_no_room_are_the_least_feasible():
    table, limits = ended(grid(**{L: [40.0, 10.0, 30.0, 20.0, 5.0]}), [f"{PEEL} <= 55"]), [Limit.parse(f"{PEEL} <= 55")]
    found = cases_table(table, limits, most=3)
    assert [row.number for row in found.rows] == [1, 3, 4] and found.left_out == 2  # in their order; 50 for 55 is feasible
    long = table.assign(warnings="w" * 1000)
    place = [column.name for column in cases_table(long, limits).columns].index("warnings")
    assert all(row.cells[place].whole for row in cases_table(long, limits).rows)
    cut = cases_table(long, limits, bytes_=2000)
    assert cut.cut and len(cut.rows) == 5 and not any(cell.whole for row in cut.rows for cell in row.cells)


# ---- what a user typed is text -------------------------------------------

MARKUP = "\"'><script>alert(1)</script><img src=x onerror=alert(1)>{{ 7 * 7 }}</td></table>\N{RIGHT-TO-LEFT OVERRIDE}"


def test_markup_of_a_user_stays_text(tmp_path, no_charts):
    table = ended(grid(**{L: [10.0, 20.0], M: [f"steel{MARKUP}", "x" * 10_000]}), [f"{PEEL} <= 65"])
    table.insert(3, f"f.{MARKUP}", [1.0, 2.0, 3.0, 4.0])
    table["reason"], table["warnings"] = MARKUP, MARKUP * 40
    toml = f"title = {json.dumps(MARKUP + 'y' * 10_000)}\n" + SILL.replace("title", "# title", 1) + f"# {MARKUP}</pre>\n"
    assert tomllib.loads(toml)["title"].startswith(MARKUP)
    text = sweep_page(written(tmp_path / "s", table, [f"{PEEL} <= 65"], toml, {"table": MARKUP}))
    page = Parsed(text)  # which fails where markup closes what is open
    assert [e["attrs"] for e in page.all("script")] == [{}]
    assert not [name for e in page.elements for name in e["attrs"] if name.startswith("on")]
    assert all(e["attrs"]["src"].startswith("data:") for e in page.all("img"))
    assert "{{ 7 * 7 }}" in page.one("h1")["text"]
    heads, rows = page.cases()
    assert heads[7] == f"f.{MARKUP}" and len(rows) == 4
    assert rows[0][1][2][1] == f"steel{MARKUP}"
    assert MARKUP in page.section("ended")
    # Isolated, so that a direction that is turned in a cell stays inside.
    for element in page.elements:
        if element["tag"] in ("td", "th", "h1", "li", "blockquote") and "\N{RIGHT-TO-LEFT OVERRIDE}" in element["text"]:
            inside = page.elements[page.elements.index(element) + 1 :][:4]
            assert "bdi" in [other["tag"] for other in inside], element


def test_markup_in_what_a_chart_says_stays_text(tmp_path):
    table = ended(grid(**{L: [10.0, 20.0], M: [f"steel{MARKUP}", "x"]}))
    table[PEEL] += 5.0 * (table[M] == "x")
    images = Parsed(sweep_page(written(tmp_path / "s", table))).all("img")
    assert len(images) == 4 and all(set(e["attrs"]) == {"src", "alt"} for e in images)
    assert f"from steel{MARKUP} to x: +5 MPa" in images[1]["attrs"]["alt"]


def test_the_script_makes_no_markup_of_texts():
    from importlib import resources

    script = resources.files("fejoint.show.report").joinpath("table.js").read_text(encoding="utf-8")
    assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval|Function\(", script)


# ---- folders that are none -----------------------------------------------


@pytest.mark.parametrize("name", ["sweep.parquet", "sweep.json", "joint.toml"])
def test_a_missing_or_damaged_file_is_named(study, name, tmp_path):
    folder = written(tmp_path / "s", study, LIMITS)
    (folder / name).write_bytes(b"\xff\xfe{")
    with pytest.raises(SetupError, match=re.escape(name)):
        sweep_page(folder)
    (folder / name).unlink()
    with pytest.raises(JointError, match=rf"{re.escape(name)}: is not there"):
        sweep_page(folder)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            {"schema_version": SCHEMA_VERSION + 1},
            f"has schema version {SCHEMA_VERSION + 1}, and this fejoint reads {SCHEMA_VERSION}",
        ),
        ({"sweep": 3}, "lacks sweep"),
        ({"limits": ["peel"]}, "limit 'peel'"),
        ({"limits": ["status <= 3"]}, "holds texts"),
    ],
)
def test_what_sweep_json_says_wrong_is_said(study, change, said, tmp_path):
    folder = written(tmp_path / "s", study, LIMITS)
    path = folder / "sweep.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | change))
    with pytest.raises(SetupError, match=f"sweep.json.*{re.escape(said)}"):
        sweep_page(folder)


@pytest.mark.parametrize(
    "other",
    [
        {"case": [1, 1], "status": ["done", "done"]},
        {"case": [1.5, 2.5], "status": ["done", "done"]},
        {"case": [1, 2], "feasible": [True, False]},
        {"case": [1, 2], "status": [1e308, 1e308]},
        {"case": [1, 2], "status": [True, True]},
        {"case": [1, 2], "status": ["done", None]},
    ],
    ids=["one number", "no whole numbers", "no status", "numbers", "truths", "one missing"],
)
def test_a_table_of_something_else_is_refused(study, tmp_path, other):
    folder = written(tmp_path / "s", study, LIMITS)
    pd.DataFrame(other).to_parquet(folder / "sweep.parquet")
    with pytest.raises(SetupError, match=r"sweep\.parquet: is no table of a sweep"):
        sweep_page(folder)


# ---- to repeat it --------------------------------------------------------


def test_what_is_said_to_repeat_it_does(tmp_path, monkeypatch, no_charts):
    """Two real cases, given from Python: the lines of the page are run as they stand."""
    monkeypatch.setattr("fejoint.study.sweep.local_pool", lambda workers: Here())
    path, out = tmp_path / "sill.toml", tmp_path / "out"
    path.write_text(template("single-lap"), encoding="utf-8")
    table = fejoint.sweep(path, vary={"load.force": ["1 kN", "2 kN"]}, limits=[f"{SHEAR} <= 1000"], out=out)
    lines = Parsed(sweep_page(out)).all("pre")[0]["text"]
    assert "fejoint.sweep(" in lines
    monkeypatch.chdir(out)
    exec(compile(lines, "page", "exec"), {})
    again = pd.read_parquet(out / "again" / "sweep.parquet")
    pd.testing.assert_frame_equal(again.drop(columns="seconds"), pd.DataFrame(table).drop(columns="seconds"))


def test_a_joint_file_with_the_study_in_it_is_repeated_by_the_command(study, tmp_path, no_charts):
    own = '[sweep]\nlimits = ["a <= 1"]\n[sweep.vary]\n"load.force" = [1, 2]\n'
    said = {"vary": {"load.force": [1, 2]}, "limits": ["a <= 1"]}
    same = Parsed(sweep_page(written(tmp_path / "a", study, (), SILL + own, said)))
    assert same.all("pre")[0]["text"] == "fejoint sweep joint.toml --out again"
    assert same.all("pre")[1]["text"] == SILL + own
    other = Parsed(sweep_page(written(tmp_path / "b", study, (), SILL + own, said | {"limits": ["a <= 2"]})))
    assert "fejoint.sweep(" in other.all("pre")[0]["text"]
