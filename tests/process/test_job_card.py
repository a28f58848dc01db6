"""The job card as who bonds the joint gets it: what stands on it, that it is safe to open, and the command.

Amounts are worked out by hand here: area times thickness times one plus the allowance.
"""

from __future__ import annotations

import re
import sys
from html import unescape
from html.parser import HTMLParser

import pytest

from fejoint.cli import run
from fejoint.errors import JointError
from fejoint.joint.file import document_from_text, joint_from_document
from fejoint.process.description import process_of
from fejoint.process.job import Job
from fejoint.process.outcome import checked
from fejoint.process.routes import ALWAYS, routes
from fejoint.show.process.bonding_words import amount_facts
from fejoint.show.process.job_card import FINAL_CHECKS, _drawing, job_card

# The door sill of a cable-car cabin (invented), prepared by the route of common practice.
SILL = """
title = "door sill (invented)"

[joint]
kind = "single-lap"
width = "25 mm"
overlap_length = "12.5 mm"
bondline_thickness = "0.2 mm"

[joint.lower]
material = "aluminium 6082-T6"
thickness = "1.6 mm"
free_length = "50 mm"

[joint.upper]
material = "aluminium 6082-T6"
thickness = "1.6 mm"
free_length = "50 mm"

[adhesive]
material = "toughened epoxy"

[load]
force = "2.5 kN"

[process.preparation]
route = "aluminium-blast-chromic-anodise"
"""
JOB = """
[process.job]
number = "sill 12"
mix_ratio = "100 : 40 by weight"
pot_life = "40 min"
spacers = "glass beads"
clamping = "spring clamps"
clamp_time = "12 h"
"""
SQUEEZE = """
[process.squeeze_out]
viscosity = "100 Pa*s"
clamp_pressure = "0.1 MPa"
"""
DOUBLE = """
[joint]
kind = "double-lap"
width = "25 mm"
overlap_length = "20 mm"
bondline_thickness = "0.2 mm"
outer = { material = "aluminium 6082-T6", thickness = "2 mm", free_length = "50 mm" }
inner = { material = "steel A36", thickness = "3 mm", free_length = "50 mm" }

[adhesive]
material = "toughened epoxy"

[load]
force = "2.5 kN"

[process.preparation]
route = "aluminium-abrade"

[process.preparation.inner]
route = "steel-blast-prime"
"""


class Read(HTMLParser):
    """What a browser would find: tags with their attributes, and the text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.styles = 0
        self.feed(page)
        self.text = re.sub(r"\s+", " ", " ".join(self.words))

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.styles += tag == "style"

    def handle_endtag(self, tag):
        self.styles -= tag == "style"

    def handle_data(self, data):
        if not self.styles:
            self.words.append(data)


@pytest.fixture(scope="module", autouse=True)
def no_drawing():
    """Leave the drawing out where it is not what is tested: it takes most of the time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("fejoint.show.process.job_card._drawing", lambda joint, units: None)
        yield


def card(text):
    document = document_from_text(text)
    return job_card(joint_from_document(document), process_of(document))


def read(text):
    return Read(card(text))


# ---- what stands on it -----------------------------------------------------


def test_the_card_of_the_common_practice_route():
    """Common practice, no source: soak of about half an hour, jets, blast, hot chromic-acid anodise; gloves and masks."""
    text = read(SILL).text
    steps = text.partition("Hazards, cautions Done")[2]
    places = [steps.index(f"{n} {step}") for n, step in enumerate(("detergent soak", "water jets", "grit blast", "anodise"), 1)]
    assert places == sorted(places)
    assert "about 30 min" in text
    assert "Gloves for adhesives that irritate the skin, masks for blasting dust" in text
    assert "chemical-resistant gloves" in text and "dust mask or supplied-air hood" in text
    assert "A mask is worn whenever there is blasting dust" in text
    assert "Ask first whether a route free of chromate serves" in text
    assert text.count(ALWAYS) == 2
    assert text.index(ALWAYS) < text.index("Protective equipment") < text.index("The joint")
    for check, _ in FINAL_CHECKS:
        assert check in text


@pytest.mark.parametrize("found", routes().values(), ids=lambda found: found.name)
def test_every_route_has_a_card_with_room_for_what_is_open(found):
    # What the route is for does not matter here: a card of an unfit one is written too, and says so.
    whole = card(SILL.replace("aluminium-blast-chromic-anodise", found.name))
    page = Read(whole)
    rooms = sum(tag == "span" and attrs.get("class") == "room" for tag, attrs in page.tags)
    assert rooms >= sum(figure.is_open for figure in found.figures())
    assert ("Do not bond" in page.text) == (found.families[0] != "aluminium")
    assert all(step.do.split()[0] in page.text for step in found.steps)
    # Every figure has the number of its own source beside it.
    sources = dict(re.findall(r'<li value="(\d+)"><bdi>(.*?)</bdi>', whole.replace("<wbr>", "")))
    beside = {(text, unescape(sources[n])) for text, n in re.findall(r"<bdi>([^<]*)</bdi><sup>\[(\d+)\]</sup>", whole)}
    told = {(unescape(text), source) for text, source in beside}
    for figure in [figure for step in found.steps for figure in step.figures.values() if not figure.is_open]:
        assert (figure.value.replace("degC", "°C"), figure.source) in told, figure


def test_numbers_of_sources_and_the_list_agree():
    page = card(SILL + JOB)
    listed = re.findall(r'<li value="(\d+)">', page)
    used = set(re.findall(r"<sup>\[(\d+)\]</sup>", page))
    assert [int(number) for number in listed] == list(range(1, len(listed) + 1))
    assert used == set(listed)


def test_amounts_are_area_times_thickness_and_allowance():
    """25 mm x 12.5 mm x 0.2 mm = 0.0625 mL; with 30 % (common practice, no source) 0.08125 mL."""
    text = read(SILL + JOB).text
    assert "3.125 cm² in 1 bond" in text and "0.0625 mL at 0.2 mm" in text and "0.0813 mL" in text and "30 %" in text
    assert "part A, part B" not in text.replace("weighed (part A, part B)", "")  # no density, so no mass to part
    # With 1.2 g/cm^3: 0.0975 g, of which 100/140 and 40/140.
    text = read(SILL + JOB + SQUEEZE + 'density = "1.2 g/cm^3"\ncartridge = "50 mL"\n').text
    assert "0.0975 g" in text and "0.0696 g, 0.0279 g" in text and "1 of 50 mL" in text
    assert "0.1 MPa, 31.25 N on one bond" in text


def test_a_double_lap_has_two_bonds_and_both_materials_their_steps():
    """2 x 25 mm x 20 mm x 0.2 mm = 0.2 mL, 0.26 mL with 30 %."""
    text = read(DOUBLE).text
    assert "10 cm² in 2 bonds" in text and "0.26 mL" in text
    assert "Surface of lower outer and upper outer : Degrease, abrade, wipe" in text
    assert "Surface of inner : Degrease, grit blast, prime before it rusts" in text
    document = document_from_text(DOUBLE)
    joint = joint_from_document(document)
    facts = {fact.name: fact for fact in amount_facts(joint, checked(process_of(document), joint.geometry))}
    assert facts["allowance beside it"].source == "common practice, no source"


@pytest.mark.parametrize(
    ("ratio", "parts"),
    [
        ("100 : 40 by weight", (100 / 140, 40 / 140, "mass")),
        ("2:1 by volume", (2 / 3, 1 / 3, "volume")),
        ("1.5:1 by mass", (0.6, 0.4, "mass")),
        ("as the pack says", None),
        (None, None),
    ],
)
def test_parts_of_a_mix_ratio(ratio, parts):
    found = Job(mix_ratio=ratio).parts()
    assert found == (parts if parts is None else (pytest.approx(parts[0]), pytest.approx(parts[1]), parts[2]))


def test_what_the_user_stated_stands_on_the_card():
    keys = 'done_by = "A. Operator"\nprepared = 2026-03-02T08:30:00\nwater_break = true\nwaited = "2 h"\nlongest_wait = "8 h"\n'
    text = read(SILL + keys + 'knockdown = { factor = 0.9, source = "own coupons" }\n' + JOB).text
    for words in (
        "sill 12", "A. Operator", "2026-03-02 08:30", "water-break test stated as passed", "wait as stated 2 h", "8 h",
        "100 : 40 by weight", "40 min from mixing", "glass beads", "spring clamps", "clamps stay 12 h",
        "surface preparation 0.9 on adhesive (own coupons)", "As stated so far: fit",
    ):  # fmt: skip
        assert words in text, words


def test_what_forbids_bonding_stands_on_top():
    text = read(SILL + "water_break = false\n").text
    assert text.index("Do not bond: lower and upper: water break failed") < text.index("Read the data sheets")


def test_two_pot_lives_must_agree():
    squeeze = SQUEEZE + 'working_life = "30 min"\n'
    with pytest.raises(JointError, match=r'pot_life = "40 min": differs from process.squeeze_out.working_life, 30 min'):
        card(SILL + JOB + squeeze)
    assert "30 min from mixing" in read(SILL + squeeze).text


# ---- safe to open ----------------------------------------------------------

HOSTILE = "</title></style><script>alert(1)</script><img src=x onerror='alert(2)'>\" & {{ 7 * 7 }} <b>"


def test_what_a_user_typed_is_text():
    quoted = f"'''{HOSTILE}'''"
    joint = SILL.replace('"door sill (invented)"', quoted).replace(
        'material = "aluminium 6082-T6"\nthickness = "1.6 mm"\nfree_length = "50 mm"\n\n[adhesive]',
        f"material = {{ name = {quoted}, elastic_modulus = 70000, poisson_ratio = 0.33 }}\n"
        'thickness = "1.6 mm"\nfree_length = "50 mm"\n\n[adhesive]',
    )
    keys = f"primer = {{ value = {quoted}, source = {quoted} }}\ndone_by = {quoted}\nprepared = {quoted}\n"
    keys += f"figure = [{{ step = 1, of = 'bath', value = {quoted}, source = {quoted} }}]\n"
    keys += f"lower = {{ step = [{{ operation = {quoted}, do = {quoted}, check = {quoted}, wait = {quoted} }}] }}\n"
    job = "".join(f"{key} = {quoted}\n" for key in ("number", "adhesive", "batch", "mix_ratio", "spacers", "clamping"))
    text = card(f"{joint}{keys}[process.job]\n{job}notes = [{quoted}]\n")
    page = Read(text)
    assert not {"script", "b", "iframe", "object"} & {tag for tag, _ in page.tags}
    assert not [tag for tag, attrs in page.tags if tag == "img" or any(key.startswith("on") for key in attrs)]
    assert page.text.count("alert(1)") >= 15
    assert "{{ 7 * 7 }}" in page.text and "49 <b>" not in page.text


def test_the_page_runs_nothing_and_loads_nothing():
    page = read(SILL + JOB)
    policy = next(attrs["content"] for tag, attrs in page.tags if attrs.get("http-equiv") == "Content-Security-Policy")
    assert "default-src 'none'" in policy and "script-src 'none'" in policy
    addresses = [value for _, attrs in page.tags for key, value in attrs.items() if key in ("href", "src", "action")]
    assert all(value.startswith(("#", "data:")) for value in addresses)


# ---- the command -----------------------------------------------------------


@pytest.fixture
def sill(tmp_path):
    path = tmp_path / "sill.toml"
    path.write_text(SILL + JOB, encoding="utf-8")
    return path


def test_the_command_writes_the_card_beside_the_file(sill, capsys):
    assert run(["job-card", str(sill)]) == 0
    assert capsys.readouterr().out == f"Written: {sill.parent / 'sill-job-card.html'}\n"
    assert "water jets" in (sill.parent / "sill-job-card.html").read_text(encoding="utf-8")


def test_keys_can_be_overridden_and_what_forbids_bonding_exits_1_with_the_card_kept(sill, capsys):
    out = sill.parent / "card.html"
    assert run(["job-card", str(sill), "--out", str(out), "--set", "process.preparation.water_break=false"]) == 1
    assert "water break failed" in capsys.readouterr().err
    assert "Do not bond" in out.read_text(encoding="utf-8")


def test_strength_counts_the_knockdown_of_the_preparation_once(sill):
    from fejoint.cli.terminal import read_prepared

    sill.write_text(SILL + 'knockdown = { factor = 0.8, source = "own coupons" }\n', encoding="utf-8")
    joint, text = read_prepared(sill, ["strength.knockdown=[{name = 'damp', factor = 0.7}]"], [])
    assert [(k.name, k.factor, k.source) for k in joint.strength.knockdown] == [
        ("damp", 0.7, "user's"),
        ("surface preparation", 0.8, "own coupons"),
    ]
    sill.write_text(text, encoding="utf-8")
    assert read_prepared(sill, [], []) == (joint, text)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ([], "FILE is missing"),
        (["sill.toml", "--routes"], "give one of them alone"),
        (["--routes", "--route", "aluminium-abrade"], "give one of them alone"),
        (["--route", "aluminium-abrad"], "did you mean aluminium-abrade?"),
        (["sill.toml", "--out", "card.pdf"], "a job card is written as .html"),
        (["sill.toml", "--set", "process.preparation.route=x"], "preparation.route"),
        (["sill.toml", "--set", "process.job.pot_life=2 mm"], 'job.pot_life = "2 mm": must be a time'),
        (["sill.toml", "--set", "process.preparation.outer.route=steel-blast-bond"], "the joint's adherends are lower, upper"),
        (["sill.toml", "--units", "furlong"], "--units furlong"),
        (["plain.toml"], "needs [process.preparation]"),
        (["none.toml"], "cannot be read"),
    ],
)
def test_bad_input_is_one_sentence_and_writes_nothing(arguments, sentence, sill, capsys, monkeypatch):
    monkeypatch.chdir(sill.parent)
    (sill.parent / "plain.toml").write_text(SILL.partition("[process")[0], encoding="utf-8")
    before = sorted(path.name for path in sill.parent.iterdir())
    assert run(["job-card", *arguments]) == 2
    said = capsys.readouterr().err
    assert sentence in said and said.count("\n") == 1
    assert sorted(path.name for path in sill.parent.iterdir()) == before


def test_the_list_of_routes_tells_marks_and_one_route_every_source(capsys):
    assert run(["job-card", "--routes"]) == 0
    listed = capsys.readouterr().out
    assert all(name in listed for name in routes())
    assert "from memory" in listed and "left to the data" in listed and ALWAYS in listed
    assert run(["job-card", "--route", "aluminium-phosphoric-anodise"]) == 0
    shown = re.sub(r"\s+", " ", capsys.readouterr().out)
    assert "about 10 V (from" in shown and "data sheet decides" in shown and "READ" in shown


def test_without_matplotlib_the_drawing_is_left_out(monkeypatch):
    from fejoint.show.process import job_card as module

    monkeypatch.setitem(sys.modules, "matplotlib", None)
    monkeypatch.setattr(module, "_drawing", _drawing)
    assert "needs matplotlib" in read(SILL).text


def test_the_drawing_is_part_of_the_page(monkeypatch):
    from fejoint.show.process import job_card as module

    monkeypatch.setattr(module, "_drawing", _drawing)
    images = [attrs for tag, attrs in read(SILL).tags if tag == "img"]
    assert len(images) == 1 and images[0]["src"].startswith("data:image/svg+xml;base64,") and "overlap" in images[0]["alt"]
