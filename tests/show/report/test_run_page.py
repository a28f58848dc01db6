"""The report says what the run's files hold, stands alone, and is text to whatever a user typed."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shutil
from collections import Counter
from dataclasses import replace
from html.parser import HTMLParser
from urllib.parse import unquote

import numpy as np
import pytest

from fejoint.errors import JointError, SetupError
from fejoint.mechanics.checks import Check
from fejoint.show import report
from fejoint.show.files import write_run
from fejoint.show.reading import read_run
from fejoint.show.report import page as pages
from fejoint.show.report import run_page, run_words, sweep_page, write_report
from fejoint.show.report.page import Picture, page
from fejoint.units import display

VOID = {"meta", "link", "img", "br", "wbr", "input", "hr", "col"}
PIXEL = "data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
FREE = ("wbr", "details", "summary", "p", "bdi")  # elements of which a long text has some of its own
HOSTILE = {
    "script": "<script>alert(1)</script>",
    "image": "\"><img src=x onerror=alert(1)>'",
    "template": "{{7*7}} {% raw %} ${7*7} {{ config }}",
    "end of data": "]]> --> <!-- </pre></code></style></title></script><svg onload=alert(1)>",
    "address": "javascript:alert(1) &lt;b&gt; &#60;i&#62;",
    "other direction": "abc \u202e)1(trela\u2066 \u0000\u0007\ud800 end",
    "long word": "W" * 10_000,
    "long text": "ab <b>cd</b> " * 800,
    "maths": r"$\frac{$ $x_{ \alpha$ \n %s %(x)s",
}


class Seen(HTMLParser):
    """What a browser makes of a page: tags, attributes, headings, texts of elements."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.open, self.scripts, self.rows, self.texts = [], [], [], [], Counter()
        self.headings, self.parts = [], {}
        self.feed(text)
        self.close()
        assert not self.open  # every element ends

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag == "tr":
            self.rows.append([])
        if tag in ("th", "td"):
            self.rows[-1].append("")
        if tag == "script":
            self.scripts.append((dict(attrs), ""))
        if tag in ("h1", "h2", "h3", "h4"):
            self.headings.append([int(tag[1]), ""])
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] == "script":
            self.scripts[-1] = (self.scripts[-1][0], self.scripts[-1][1] + data)
        for tag in set(self.open):
            self.parts[tag] = self.parts.get(tag, "") + data
        if {"th", "td"} & set(self.open):
            self.rows[-1][-1] += data
        if re.search(r"\bh[1-4]\b", " ".join(self.open)):
            self.headings[-1][1] += data

    def all(self, tag):
        return [attrs for name, attrs in self.tags if name == tag]

    def row(self, heading):
        (found,) = [row for row in self.rows if row and row[0] == heading]
        return found


def safe(seen):
    """Check that a browser runs nothing of a page but scripts that its policy names by hash, and loads nothing."""
    (policy,) = [m["content"] for m in seen.all("meta") if m.get("http-equiv") == "Content-Security-Policy"]
    allowed = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert allowed["default-src"] == "'none'" and allowed["img-src"] == "data:"
    run = [text for attrs, text in seen.scripts if "type" not in attrs]
    hashes = [f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'" for text in run]
    assert allowed["script-src"].split() == (hashes or ["'none'"])
    assert all(attrs == {} or (attrs["type"], sorted(attrs)) == ("application/json", ["id", "type"]) for attrs, _ in seen.scripts)
    for tag, attrs in seen.tags:
        assert tag not in ("iframe", "object", "embed", "form", "base", "math", "video", "audio"), tag
        for name, value in attrs.items():
            assert not name.startswith("on") and name not in ("srcdoc", "style", "formaction"), (tag, name)
            if name in ("src", "href"):
                assert value.startswith(("data:image/", "data:text/plain", "#")) or value == "data:,", (tag, value[:60])
    assert not [m for m in seen.all("meta") if m.get("http-equiv", "") not in ("", "Content-Security-Policy")]


@pytest.fixture(scope="module")
def run(folder):
    return read_run(folder)


@pytest.fixture
def quick(monkeypatch):
    """Leave out what draws, so that a page takes a moment."""
    drawn = {name: run_page.Part(Picture(PIXEL, name, name)) for name in ("section", "bondline", "mesh", "comparison")}
    monkeypatch.setattr(run_page, "_drawings", lambda *_: drawn)
    monkeypatch.setattr(run_page, "_solid", lambda *_: Picture(PIXEL, "solid", "solid"))
    monkeypatch.setattr(run_page, "_solid_end", lambda *_: Picture(PIXEL, "end", "end"))
    monkeypatch.setattr(run_page, "_scene", lambda *_: (["window.one = 1;", "window.two = '<\\/b>';"], {"a": "</script>&\u2028"}))


@pytest.fixture(scope="module")
def drawn(folder, tmp_path_factory):
    """Return the page of a run, drawn but for 3D, and its file."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(run_page, "_solid", lambda *_: Picture(PIXEL, "solid", "solid"))
        patch.setattr(run_page, "_solid_end", lambda *_: Picture(PIXEL, "end", "end"))
        patch.setattr(run_page, "_scene", lambda *_: (["window.one = 1;"], {"a": 1}))
        path = write_report(folder, tmp_path_factory.mktemp("report") / "new" / "Run.HTML")
    return Seen(path.read_text(encoding="utf-8")), path


# ---- what it says ----------------------------------------------------------


def test_sections_come_in_order_and_headings_do_not_jump(drawn):
    seen, _ = drawn
    assert seen.headings[0][0] == 1
    assert [text for level, text in seen.headings if level == 2] == [name for _, name in run_page.SECTIONS]
    assert all(after - before <= 1 for (before, _), (after, _) in zip(seen.headings, seen.headings[1:], strict=False))
    assert Counter(level for level, _ in seen.headings)[1] == 1
    ids = [attrs["id"] for _, attrs in seen.tags if "id" in attrs]
    assert len(set(ids)) == len(ids)
    assert {a["href"][1:] for a in seen.all("a") if a["href"].startswith("#")} <= set(ids)


@pytest.mark.parametrize(("units", "stress", "mpa"), [("mm", "MPa", 1.0), ("SI", "Pa", 1e-6), ("inch", "psi", 0.00689475729)])
def test_the_answer_is_that_of_the_summary(run, quick, units, stress, mpa):
    warned = replace(run, warnings=["peak shear, 22.5 MPa, is above a limit", "the joint turns"])
    seen = Seen(run_page.run_page(warned, units))
    for name, key in (("Peak shear", "peak_shear_MPa"), ("Peak peel", "peak_peel_MPa"), ("Least peel", "least_peel_MPa")):
        said, value = seen.row(name)[1], run.summary[key]
        number, unit = re.match(r"(\S+) (\S+) at x = ", said).groups()
        assert unit == stress
        assert float(number) * mpa == pytest.approx(value["value"], rel=1e-3)  # shown to four digits
        assert said.startswith(f"{number} {unit} at x = {display(value['x_mm'], 'mm', units)}")
    assert seen.row("Mean shear")[1].startswith(display(run.summary["mean_shear_MPa"], "MPa", units))
    assert display(run.summary["transferred_N"]["bondline 1"], "N", units) in seen.row("Load passed on")[1]
    assert all(display(value, "MPa", units) in seen.row("Adherends")[1] for value in run.summary["adherend_peak_MPa"].values())
    assert ("stresses in MPa" in seen.parts["main"]) == (units != "mm")  # of the warnings
    assert all(text in seen.parts["li"] for text in warned.warnings)


def test_the_printed_tables_stand_in_it_with_all_their_rows(drawn, run):
    seen, _ = drawn
    shear, peel = run.peak_shear[0], run.peak_peel[0]
    (row,) = [row for row in seen.rows if row and row[0] == "Finite elements" and len(row) == 6]
    assert row[1:5] == [display(v, u) for v, u in ((shear.value, "MPa"), (shear.x, "mm"), (peel.value, "MPa"), (peel.x, "mm"))]
    named = {row[0] for row in seen.rows if row}
    theories = run.summary["theories"]
    assert {name for name, said in theories.items() if "reason" not in said} <= named
    assert all(said["reason"] in seen.parts["main"] for said in theories.values() if "reason" in said)
    assert "in the spew" in seen.row("In the spew")[1]


def test_every_key_of_the_joint_stands_in_it_with_its_value(drawn, run):
    seen, _ = drawn

    def leaves(table, prefix=""):
        for key, value in table.items():
            if isinstance(value, dict) and key not in ("sources",):
                yield from leaves(value, f"{prefix}{key}.")
            elif key not in ("sources", "name"):
                yield f"{prefix}{key}", value

    for key, value in leaves(run.summary["joint"]):
        place, of_material, figure = key.partition(".material.")
        if of_material or key.startswith("adhesive."):
            figure = figure if of_material else key.removeprefix("adhesive.")
            shown = [row for row in seen.rows if row and row[0] == figure]
        else:
            shown = [seen.row(key)]
        assert shown, key
        if isinstance(value, float):
            numbers = [float(row[1].split()[0]) for row in shown]
            assert any(number == pytest.approx(value, rel=1e-3) for number in numbers), key
        assert place


def test_figures_from_memory_or_without_source_bear_their_mark(drawn, run):
    seen, _ = drawn
    marked = [row for row in seen.rows if len(row) == 6 and row[4] in ("from memory", "typical, no source")]
    materials = run.joint.materials().values()
    tables = [table for m in materials for table in (m, *m.parts().values())]
    expected = {s for table in tables for s in table.sources.values() if s.startswith(("from memory", "typical"))}
    assert {f"{row[4]}: {row[5]}".removesuffix(": ") for row in marked} == expected
    assert [row[5] for row in seen.rows if len(row) == 6 and row[0] == "elastic_modulus"][-1] == "given by the user"
    assert any(row[5].startswith("follows from") for row in seen.rows if len(row) == 6)


def test_checks_are_told_in_words_with_their_numbers(drawn, run):
    seen, _ = drawn
    for check in run.checks:
        (row,) = [row for row in seen.rows if len(row) == 5 and f"[{check.name}]" in row[4]]
        assert row[1:4] == ["passed", f"{check.value:.2g}", f"{check.limit:g}"]
        assert len(row[4]) > 40


def test_a_missed_check_is_said_at_the_top_and_in_its_row(run, quick):
    missed = [*run.checks[1:], Check("stress_jump", 0.3, 0.1, "jump"), Check("another_check", float("nan"), 0.1, "what it means")]
    seen = Seen(run_page.run_page(replace(run, checks=missed)))
    assert "MISSED: stress_jump, another_check" in seen.row("Self-checks")[1]
    assert seen.row("another check")[1:4] == ["MISSED", "nan", "0.1"]
    assert "what it means" in seen.row("another check")[4]


def test_pictures_say_what_is_seen_and_tables_what_they_hold(drawn, run):
    seen, path = drawn
    images = seen.all("img")
    assert len(images) >= 5
    assert all(image["alt"].strip() and not image["alt"].lower().startswith("figure") for image in images)
    curves = next(image["alt"] for image in images if image["alt"].startswith("Curves over x"))
    assert display(run.peak_shear[0].value, "MPa") in curves
    assert display(run.peak_peel[0].value, "MPa") in curves
    assert len(seen.all("caption")) == len(seen.all("table"))
    assert all(cell.get("scope") in ("row", "col") for cell in seen.all("th"))
    regions = [attrs for attrs in seen.all("div") if attrs.get("class") == "scroll"]
    assert regions and all(r["tabindex"] == "0" and r["role"] == "region" and r["aria-label"] for r in regions)
    assert seen.all("html") == [{"lang": "en"}]
    for image in images:  # drawings, each a few hundred kB at most
        assert len(image["src"]) < 400_000
    assert path.stat().st_size < 1_500_000  # without what turns in 3D


@pytest.mark.parametrize(
    ("name", "end", "number", "elsewhere"),
    [
        # Of two layers the upper one is seen: at the right of one joint, and at the left of one in compression, the lower
        # one holds the least peel of all, which is not to be told of the upper one.
        ("double unlike", "left", 2, ()),
        ("double unlike", "right", 2, ("peak_peel", "least_peel")),
        ("double pinned", "left", 2, ("least_peel",)),
        ("stepped unequal", "left", 1, ("least_peel",)),
        ("stepped unequal", "right", 4, ("peak_peel",)),
        ("single", "left", 1, ()),
    ],
)
def test_words_on_an_end_are_those_of_the_layer_seen_there(solved, name, end, number, elsewhere):
    """Against the curve at 20,001 places of that half of the overlap; numbers are shown to four digits."""
    result = solved[name]
    bond = next(b for b in result.bondlines if b.number == number)
    half = result.joint.geometry.length / 2
    x = np.linspace(bond.x[0], bond.x[-1], 20_001)
    x = x[x <= half] if end == "left" else x[x >= half]
    peel = bond.middle.at(x, "peel")
    alt = run_words.end_alt(result, end, "mm")
    assert alt.startswith(f"The {end} end of the overlap")
    told = re.search(r"lies between (\S+) MPa at x = (\S+) mm and (\S+) MPa at x = (\S+) mm", alt).groups()
    low, x_low, high, x_high = map(float, told)
    assert (low, high) == pytest.approx((peel.min(), peel.max()), rel=1e-3)
    assert (x_low, x_high) == pytest.approx((x[peel.argmin()], x[peel.argmax()]), abs=5e-3)  # places a few steps apart
    assert ("bondline 2, the uppermost" in alt) == name.startswith("double")
    for peak in elsewhere:
        assert display(getattr(result, peak)[0].value, "MPa") not in alt


@pytest.mark.parametrize(
    ("name", "end"),
    [
        ("double unlike", "left"),
        ("double pinned", "left"),  # in compression
        ("stepped unequal", "right"),  # in compression: pressed together most at the right, pulled open most at the left
    ],
)
def test_the_end_that_is_shown_has_the_largest_peel_in_magnitude(solved, monkeypatch, name, end):
    monkeypatch.setattr(run_page, "_view", lambda run, alt, words, **options: (alt, words, options))
    result = solved[name]
    every = [(abs(peel), x) for b in result.bondlines for x, peel in zip(b.x, b.middle.peel, strict=True)]
    assert ("left" if max(every)[1] < result.joint.geometry.length / 2 else "right") == end
    alt, words, options = run_page._solid_end(result, "mm")
    assert options["end"] == end and f"The {end} end" in alt and f"The {end} end" in words


def test_it_holds_the_file_that_repeats_it(drawn, run, folder):
    seen, _ = drawn
    (link,) = [a for a in seen.all("a") if a.get("download")]
    assert unquote(link["href"].partition(",")[2]) == (folder / "joint.toml").read_text(encoding="utf-8")
    assert run.joint_file.strip() in seen.parts["pre"]
    assert all(seen.row(name) == [name, version] for name, version in run.summary["versions"].items())


def test_a_joint_file_of_another_joint_is_told_apart(run, quick):
    other = replace(run, joint_file=run.joint_file.replace("12.5 mm", "13.5 mm"))
    assert other.joint_file != run.joint_file
    for spoiled in (other, replace(run, joint_file="no toml")):
        seen = Seen(run_page.run_page(spoiled))
        assert "does not describe the joint that was solved" in seen.parts["main"]
        assert seen.row("joint.overlap_length")[1] == "12.5 mm"  # as solved


# ---- what a user typed is text ---------------------------------------------


def hostile_run(run, text):
    """Return a run that says a text wherever its user, or who edited its files, may say one."""
    g = run.joint.geometry
    sources = {"elastic_modulus": text, "poisson_ratio": f"from memory: {text}"}
    metal = g.lower.material.model_copy(update={"name": text, "sources": sources})
    joint = run.joint.model_copy(
        update={
            "title": text,
            "geometry": g.model_copy(update={"lower": g.lower.model_copy(update={"material": metal})}),
            "adhesive": run.joint.adhesive.model_copy(update={"name": text, "sources": sources}),
        }
    )
    return replace(
        run,
        joint=joint,
        joint_file=f"# {text}\n{run.joint_file}",
        warnings=[text],
        checks=[*run.checks, Check(text, 0.0, 1.0, text)],
        seconds={text: 1.0},
        discretisation_error={**run.discretisation_error, text: 0.1},
        summary={**run.summary, "versions": {"fejoint": text, text: text}},
    )


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_hostile_texts_leave_no_markup(run, quick, text):
    """A browser sees the elements of the page and no others, and the text as it was typed."""
    seen, harmless = (Seen(run_page.run_page(hostile_run(run, t))) for t in (text, "harmless"))
    safe(seen)
    assert "could not be made" not in seen.parts["main"]
    counts = [Counter(tag for tag, _ in s.tags if tag not in FREE) for s in (seen, harmless)]
    assert counts[0] == counts[1]
    assert [text for attrs, text in seen.scripts] == [text for attrs, text in harmless.scripts]
    assert len(seen.parts["title"]) <= pages.LONGEST_TITLE
    assert len(seen.headings[0][1]) <= pages.LONGEST_HEADING
    assert "\u202e" not in seen.parts["title"] + seen.parts["pre"]
    if "\ud800" not in text:  # half a pair of characters is no text
        assert " ".join(text.split()) in " ".join(seen.parts["main"].split())
    assert "49" not in seen.headings[0][1]


def test_hostile_texts_in_an_edited_summary_leave_no_markup(folder, quick, tmp_path):
    hostile, harmless = HOSTILE["end of data"] + HOSTILE["image"] + HOSTILE["script"], "harmless"
    seen = []
    for text in (hostile, harmless):
        place = tmp_path / text[:1].encode().hex()
        shutil.copytree(folder, place)
        said = json.loads((place / "summary.json").read_text(encoding="utf-8"))
        said["warnings"] = [text]
        said["versions"] = {"fejoint": text, text: text}
        said["seconds"] = {text: 1.0}
        said["checks"][0] |= {"name": text, "meaning": text}
        said["joint"]["title"] = said["joint"]["adhesive"]["name"] = text
        said["joint"]["adhesive"]["sources"] = {"elastic_modulus": text, text: text}
        (place / "summary.json").write_text(json.dumps(said), encoding="utf-8")
        seen.append(Seen(write_report(place).read_text(encoding="utf-8")))
    safe(seen[0])
    counts = [Counter(tag for tag, _ in s.tags if tag not in FREE) for s in seen]
    assert counts[0] == counts[1]
    assert seen[0].parts["main"].count(hostile) == seen[1].parts["main"].count(harmless) >= 6


def test_drawings_take_any_title_and_name(run):
    """They bear no title, and what they write of materials is no formula."""
    hostile = hostile_run(run, HOSTILE["maths"] + HOSTILE["long word"])
    parts = run_page._drawings(hostile, hostile.joint, None, "mm")
    assert [part.why_not for part in parts.values()] == [""] * 3


def test_scripts_and_data_cannot_end_their_element_early():
    scripts = ["var a = '</script><script>alert(1)</script>';\r\nvar b = '<!-- <script>';", "var c = 1;"]
    data = {"rows": {"a": "</script><!-- & \u2028 é \ud800", "b": [1.5, None]}}
    text = page("base.html", "title", {}, scripts, data)
    seen = Seen(text)
    safe(seen)
    assert [attrs for attrs, _ in seen.scripts] == [{"type": "application/json", "id": "rows"}, {}, {}]
    assert json.loads(seen.scripts[0][1]) == data["rows"]
    assert "\u2028" not in text
    for key, value in (("a b", 1), ('"x', 1), ("a", float("nan"))):
        with pytest.raises(ValueError, match=r"id|JSON"):
            page("base.html", "title", {}, (), {key: value})


# ---- what may be missing ---------------------------------------------------


def test_without_a_renderer_it_says_what_is_missing(folder, quick, monkeypatch, tmp_path):
    import fejoint.show.space.view

    def refuse(*_, **__):
        raise SetupError("the 3D view needs libEGL.so.1: install <it>")

    monkeypatch.undo()
    drawn = {name: run_page.Part(Picture(PIXEL, name, name)) for name in ("section", "bondline", "mesh")}
    monkeypatch.setattr(run_page, "_drawings", lambda *_: drawn)
    monkeypatch.setattr(run_page, "_scene", refuse)
    monkeypatch.setattr(fejoint.show.space.view, "view_png", refuse)
    seen = Seen(write_report(folder, tmp_path / "a.html").read_text(encoding="utf-8"))
    assert seen.parts["main"].count("the 3D view needs libEGL.so.1: install <it>") == 2  # of the picture, and of what turns
    assert not seen.scripts
    assert [text for level, text in seen.headings if level == 2] == [name for _, name in run_page.SECTIONS]


def test_a_part_that_fails_costs_its_section_alone(run, quick, monkeypatch):
    def fail(*_):
        raise RuntimeError("theories at odds")

    monkeypatch.setattr(run_page, "compared", fail)
    seen = Seen(run_page.run_page(run))
    assert (
        "There is no comparison: the comparison with theories could not be made (RuntimeError: theories at odds)."
        in (seen.parts["main"])
    )
    assert seen.row("Peak shear")[1].startswith(display(run.peak_shear[0].value, "MPa"))
    assert [text for level, text in seen.headings if level == 2] == [name for _, name in run_page.SECTIONS]


def test_too_large_a_page_is_written_without_what_turns_or_not_at_all(folder, quick, monkeypatch, tmp_path):
    monkeypatch.setattr(run_page, "_scene", lambda *_: (["1;" * 400_000], {"a": 1}))
    monkeypatch.setattr(report, "MOST_BYTES", 400_000)
    path = write_report(folder, tmp_path / "a.html")
    assert path.stat().st_size < 400_000
    seen = Seen(path.read_text(encoding="utf-8"))
    assert not seen.scripts
    assert "with it the page would take more than 0.4 MB" in seen.parts["main"]
    monkeypatch.setattr(report, "MOST_BYTES", 1000)
    with pytest.raises(SetupError, match="more than"):
        write_report(folder, tmp_path / "b.html")
    assert [p.name for p in tmp_path.iterdir()] == ["a.html"]


# ---- folders and files -----------------------------------------------------


def test_the_kind_of_folder_decides(folder, tmp_path, monkeypatch):
    monkeypatch.setattr(sweep_page, "sweep_page", lambda folder, units, *_: f"sweep {folder.name} {units}")
    (tmp_path / "sweep.json").write_text("{}")
    assert write_report(tmp_path, units="SI").read_text() == f"sweep {tmp_path.name} SI"
    assert (tmp_path / "report.html").is_file()


def test_what_is_wrong_is_said_in_a_sentence_and_nothing_is_written(filleted, folder, tmp_path, quick):
    empty, broken, newer = tmp_path / "empty", tmp_path / "broken", tmp_path / "newer"
    empty.mkdir()
    shutil.copytree(folder, broken)
    (broken / "section.vtu").unlink()
    write_run(filleted, newer, "")
    said = (newer / "summary.json").read_text()
    (newer / "summary.json").write_text(said.replace('"schema_version": 1', '"schema_version": 99'))
    cases = [
        (tmp_path / "none", {}, JointError, "there is no such folder"),
        (empty, {}, JointError, r"neither a run \(summary.json\) nor a sweep \(sweep.json\)"),
        (broken, {}, JointError, "section.vtu"),
        (newer, {}, SetupError, "schema_version 99"),
        (folder, {"out": tmp_path / "a.pdf"}, SetupError, r"\.html"),
        (folder, {"out": tmp_path / "a.html", "units": "cgs"}, JointError, "must be one of mm, SI, inch"),
        (folder, {"out": empty.parent / "newer" / "joint.toml" / "a.html"}, SetupError, "cannot be written"),
    ]
    for place, options, kind, words in cases:
        with pytest.raises(kind, match=words):
            write_report(place, **options)
    assert not list(tmp_path.rglob("*.html"))
    assert not (folder / "report.html").exists()


def test_a_failure_half_way_leaves_the_old_report(folder, quick, tmp_path, monkeypatch):
    path = tmp_path / "a.html"
    path.write_text("old")

    def fail(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(run_page, "_tables", fail)
    with pytest.raises(KeyboardInterrupt):
        write_report(folder, path)
    assert [p.name for p in tmp_path.iterdir()] == ["a.html"]
    assert path.read_text() == "old"
