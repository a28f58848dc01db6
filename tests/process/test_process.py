"""A process as its user states it: verdicts, what its parts say of one another, refusals, what the command prints and writes."""

import json
from importlib import resources

import numpy as np
import pytest

from fejoint.cli import run
from fejoint.errors import JointError
from fejoint.joint.file import document_from_text, joint_from_document
from fejoint.process.description import process_of
from fejoint.process.durations import duration
from fejoint.process.outcome import checked
from fejoint.process.squeeze import SqueezeOut, squeezed
from fejoint.process.verdict import wets
from fejoint.process.wetting import Wetting, wetted
from fejoint.show.process.data import process_data
from fejoint.show.process.plots import process_figures
from fejoint.show.process.tables import answer

SILL = resources.files("fejoint.demo").joinpath("whole-job/sill.toml").read_text(encoding="utf-8")
ADHESIVE = {"dispersive": 33, "polar": 9}


# ---- wetting ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("angle", "word"), [(0, "wets"), (30, "wets"), (30.1, "marginal"), (60, "marginal"), (61, "does not wet")]
)
def test_verdict_by_angle(angle, word):
    """Limits are inputs; these defaults are common practice, no source."""
    found = wetted(Wetting(adhesive_angle=angle))
    assert found.verdict.word == word and found.verdict.reasons and found.verdict.advice
    assert wets(angle, wets_up_to=0, does_not_above=180).word == ("wets" if angle == 0 else "marginal")


def test_a_broken_film_of_water_overrides_every_angle():
    found = wetted(Wetting(adhesive_angle=5, water_film_whole=False))
    assert found.verdict.word == "does not wet" and "not clean" in found.verdict.reasons[0]
    assert wetted(Wetting(water_film_whole=True)).verdict.word == "not known"  # water is no adhesive
    assert wetted(Wetting(surface="PMMA")).verdict.word == "not known"
    assert wetted(Wetting(adhesive_angle=80, water_film_whole=True)).verdict.word == "does not wet"


def test_an_angle_that_was_read_counts_before_a_computed_one():
    both = wetted(Wetting(adhesive=ADHESIVE, surface="PTFE", adhesive_angle=20))
    assert both.angle == 20 and both.computed_angle > 60 and both.verdict.word == "wets"
    assert both.work == pytest.approx(42 * (1 + np.cos(np.radians(20))))
    assert wetted(Wetting(adhesive=ADHESIVE, surface="PTFE")).verdict.word == "does not wet"
    simple = wetted(Wetting(adhesive_tension="42 mJ/m^2", adhesive_angle=90))
    assert (simple.work, simple.spreading) == pytest.approx((42, -42))


def test_readings_across_a_limit_are_said():
    readings = [{"liquid": "water", "angles": 95}, {"liquid": "diiodomethane", "angles": [62]}]
    found = wetted(Wetting(adhesive=ADHESIVE, readings=readings, wets_up_to=53, does_not_above=90))
    assert found.band[0] < 53 < found.band[1]
    assert any("across the limit of 53" in text for text in found.verdict.reasons)


def test_a_whole_film_on_a_surface_that_water_beads_on_is_questioned():
    readings = [{"liquid": "water", "angles": [90]}, {"liquid": "diiodomethane", "angles": [45]}]
    assert any("not the same surface" in n for n in wetted(Wetting(readings=readings, water_film_whole=True)).notes)


# ---- squeeze-out -----------------------------------------------------------

SQUEEZE = {"viscosity": 100, "clamp_pressure": 0.1, "width": 12.5, "length": 200, "target_thickness": 0.2, "start_thickness": 0.6}


def test_time_of_a_strip():
    """eta w^2 / (2 P) (1/h^2 - 1/h0^2) = 100 x 12.5^2 / 2e5 x (25 - 25/9) s."""
    found = squeezed(SqueezeOut(**SQUEEZE))
    assert found.time_to_target == pytest.approx(100 * 12.5**2 / 2e5 * (25 - 25 / 9))
    assert found.force == pytest.approx(250.0)
    assert squeezed(SqueezeOut(**SQUEEZE | {"clamp_pressure": None, "clamp_force": 250})).film == found.film
    assert any("Without spacer beads" in text for text in found.warnings)


def test_spacer_beads_are_a_floor():
    found = squeezed(SqueezeOut(**SQUEEZE, spacer_diameter=0.25, working_life="1 h"))
    assert found.time_to_target is None and found.final == 0.25
    assert found.time_to_spacers == pytest.approx(100 * 12.5**2 / 2e5 * (16 - 25 / 9))
    assert found.at_end == 0.25 and found.at_end_without_spacers < 0.2
    assert found.thickness.min() == 0.25 and found.without_spacers.min() < 0.25
    assert any("keep the line from its target" in text for text in found.warnings)
    small = squeezed(SqueezeOut(**SQUEEZE, spacer_diameter=0.1, working_life="1 h"))
    assert small.time_to_target is not None and any("past its target" in text for text in small.warnings)


def test_working_life_ends_the_flow():
    """At 1 s of flow: 1/h^2 = 1/h0^2 + 2 P t / (eta w^2)."""
    found = squeezed(SqueezeOut(**SQUEEZE, working_life="31 s", time_before_clamping="30 s"))
    assert found.at_end == pytest.approx((1 / 0.36 + 2e5 / (100 * 12.5**2)) ** -0.5)
    assert any("stays" in text for text in found.warnings)


def test_the_joint_gives_what_is_left_out():
    document = document_from_text(SILL)
    joint, stated = joint_from_document(document), process_of(document)
    found = checked(stated, joint.geometry).squeeze_out
    assert (found.film.size, found.target, found.area) == (20.0, 0.3, 12_000.0)
    assert found.amount.volume == pytest.approx(12 * 0.3 * 2)
    with pytest.raises(JointError, match=r"process\.squeeze_out\.width is missing"):
        checked(stated)


def test_both_bonds_of_a_double_lap_are_filled():
    text = resources.files("fejoint.demo").joinpath("roof-rib.toml").read_text(encoding="utf-8")
    joint = joint_from_document(document_from_text(text))
    found = squeezed(SqueezeOut(viscosity=100, clamp_pressure=0.1), joint.geometry)
    assert found.number == 2
    assert found.area == pytest.approx(joint.geometry.bonded_length * joint.geometry.width)


def test_treads_of_a_stepped_lap_are_one_strip():
    text = resources.files("fejoint.demo").joinpath("floor-splice.toml").read_text(encoding="utf-8")
    joint = joint_from_document(document_from_text(text))
    found = squeezed(SqueezeOut(viscosity=100, clamp_pressure=0.1), joint.geometry)
    assert found.number == 1 and found.film.size == joint.geometry.length


# ---- of one another --------------------------------------------------------


def test_a_water_break_test_of_the_preparation_counts_for_the_wetting():
    """One that failed overrides, wherever it was recorded; a preparation that does not fit is missed."""
    for whole, word in ((True, "wets"), (False, "does not wet")):
        upper = [
            "process.preparation.upper.route=aluminium-abrade",
            f"process.preparation.upper.water_break={str(whole).lower()}",
        ]
        document = document_from_text(SILL, upper)
        found = checked(process_of(document), joint_from_document(document).geometry)
        assert found.wetting.verdict.word == word
        assert bool(found.missed) is not whole
    document = document_from_text(SILL, ["process.preparation.lower.route=steel-blast-bond"])
    found = checked(process_of(document), joint_from_document(document).geometry)
    assert "the preparation of the lower adherend: not fit" in found.missed


def test_gelling_before_the_line_is_thin_is_said():
    """From the demo with a hundred times the viscosity: hours under the clamps."""
    document = document_from_text(SILL, ["process.squeeze_out.viscosity=40000 Pa*s", "process.squeeze_out.working_life=20 h"])
    found = checked(process_of(document), joint_from_document(document).geometry)
    assert any("has gelled" in text for text in found.warnings)
    assert any("working life stated" in text for text in found.warnings)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.123, "0.12 s"), (9.99, "10 s"), (42.4, "42 s"), (59.7, "1 min"), (61, "1 min 1 s"), (3599.6, "1 h"), (3600, "1 h"),
        (5400, "1 h 30 min"), (86399, "1 d"), (86400, "1 d"), (90000, "1 d 1 h"), (1e8, "1157 d"),
    ],
)  # fmt: skip
def test_times_in_words(seconds, text):
    assert duration(seconds) == text


def test_what_forbids_bonding_is_missed_without_a_joint_too(tmp_path, capsys):
    """A file of [process] alone names no adherends, but a broken film of water is one on any of them; it is said once."""
    path = tmp_path / "only.toml"
    steps = "[process.preparation]\nstep = [{ operation = 'wipe', do = 'wipe' }]\n"
    path.write_text(f"{steps}water_break = false\n[process.preparation.upper]\nroute = 'aluminium-abrade'\n"
                    "waited = '3 h'\nlongest_wait = '2 h'\n", encoding="utf-8")  # fmt: skip
    assert run(["process", str(path), "--require"]) == 1
    said = capsys.readouterr().err
    assert said == (
        "fejoint: the preparation of every surface: water break failed; the preparation of the upper adherend: wait exceeded.\n"
    )


def test_the_answer_names_what_decides():
    """A small angle beside "does not wet" would puzzle its reader."""
    found = checked(process_of({"process": {"wetting": {"adhesive_angle": 5, "water_film_whole": False}}}))
    assert answer(process_data(found)) == "Wetting: does not wet (the film of water broke)."


def test_surfaces_that_came_out_differently_are_no_contradiction():
    upper = {"route": "steel-blast-bond", "water_break": False}
    stated = {"preparation": {"route": "aluminium-abrade", "water_break": True, "upper": upper}, "wetting": {"surface": "PMMA"}}
    assert checked(process_of({"process": stated})).wetting.verdict.word == "does not wet"


# ---- what is refused -------------------------------------------------------

HISTORY = '[{ time = "0 s", temperature = "20 degC" }, { time = "1 h", temperature = "20 degC" }]'
LAW = f'rate_factor = "1e5 1/s"\nactivation_energy = "55 kJ/mol"\ntemperatures = {HISTORY}\n'
FLOW = 'viscosity = "50 Pa*s"\nclamp_pressure = "0.1 MPa"\nwidth = "10 mm"\nlength = "100 mm"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no [process] table"),
        ("[process]", "says nothing"),
        ("[process.wetting]\nadhesive_angle = '190 deg'", 'process.wetting.adhesive_angle = "190 deg": must be at most 180 deg'),
        ("[process.wetting]\nadhesive_angle = '-1 deg'", "must be at least 0 deg"),
        ("[process.wetting]", "adhesive_angle is missing"),
        ("[process.wetting]\nwater_film_whole = 'perhaps'", "must be true or false"),
        ("[process.wetting]\nwater_film = true", "did you mean water_film_whole?"),
        ("[process.wetting]\nadhesive = { dispersive = 33, polar = 9 }", "adhesive_angle is missing"),
        ("[process.wetting]\nadhesive_angle = 5\nsurface = 'glue'", "no such solid is shipped; known: PMMA"),
        ("[process.wetting]\nwater_film_whole = true\nreadings = [{ liquid = 'water', angles = [40] }]", "one liquid alone"),
        (
            "[process.wetting]\nwater_film_whole = true\n"
            "readings = [{ liquid = 'glycerol', angles = 40 }, { liquid = 'ethylene glycol', angles = 30 }]",
            "cannot be told apart",
        ),
        (
            "[process.wetting]\nwater_film_whole = true\n"
            "readings = [{ liquid = 'water', angles = [40, 181] }, { liquid = 'diiodomethane', angles = 30 }]",
            "must be at most 180 deg",
        ),
        ("[process.wetting]\nadhesive_angle = 5\nadhesive = { dispersive = 0, polar = 0 }", "must lie above 0"),
        ("[process.wetting]\nadhesive_angle = 5\nwets_up_to = 70", "must be at most does_not_above"),
        ("[process.wetting]\nadhesive_angle = 5\nreading_uncertainty = 1e-300", "must be at least 0.01 deg"),
        ("[process.preparation]\nroute = '" + 9000 * "x" + "'", "there is none of this name"),
        ("[process.preparation]\nroute = 'aluminium-abrade'\nwaited = 1e300", "must be at most 1e+09 s"),
        (
            "[process.preparation]\nroute = 'aluminium-abrade'\nlongest_wait = { value = '2 h', source = '' }",
            "must be text of 1 to 300 printable characters",
        ),
        (
            "[process.preparation]\nroute = 'aluminium-abrade'\nfigure = [{ step = true, of = 'time', value = '2 h' }]",
            "process.preparation.figure item 1.step = true: ",
        ),
        ("[process.job]\nmix_ratio = '0 : 0 by weight'", "both parts must lie above 0"),
        (f"[process.squeeze_out]\n{FLOW}target_thickness = 0.2\nnumber = true", "process.squeeze_out.number = true: "),
        (f"[process.cure]\n{LAW.replace('1 h', '1e-300 s')}", "must lie above the time before it"),
        (f"[process.squeeze_out]\n{FLOW}clamp_force = 5\ntarget_thickness = 0.2", "one of the two"),
        (f"[process.squeeze_out]\n{FLOW}", "target_thickness is missing"),
        (f"[process.squeeze_out]\n{FLOW}target_thickness = 0.2\nstart_thickness = 0.1", "must lie above target_thickness"),
        (f"[process.squeeze_out]\n{FLOW}target_thickness = 0.2\ndiameter = 5", "is no size of a strip"),
        ("[process.squeeze_out]\nviscosity = 5\nclamp_force = 5\nshape = 'disc'\ntarget_thickness = 0.2", "a disc needs it"),
        (
            f"[process.squeeze_out]\n{FLOW}target_thickness = 0.2\nworking_life = 60\ntime_before_clamping = 60",
            "must lie below working_life",
        ),
        (f"[process.squeeze_out]\n{FLOW}target_thickness = 0.2\nworking_life = '-5 min'", "must be at least 0.001 s"),
        (f"[process.squeeze_out]\n{FLOW.replace('50 Pa*s', '50 mPa')}target_thickness = 0.2", "must be a viscosity"),
        (
            f"[process.cure]\n{LAW.replace('1 h', '-1 h')}",
            'process.cure.temperatures item 2.time = "-1 h": must be at least 0 s',
        ),
        (f"[process.cure]\n{LAW.replace('1 h', '0 h')}", "must lie above the time before it"),
        (f"[process.cure]\n{LAW.replace('0 s', '1 s')}", "must be 0"),
        (f"[process.cure]\n{LAW.replace('rate_factor', '# rate_factor')}", "or points to fit the law to"),
        (f"[process.cure]\n{LAW.replace('activation', '# activation')}", "activation_energy is missing"),
        (f"[process.cure]\n{LAW}handling_load = '5 N'", "full_strength is missing"),
        (f"[process.cure]\n{LAW}handling_load = '5 N'\nfull_strength = 20", "handling_area is missing"),
        (
            f"[process.cure]\n{LAW}strength_points = [{{ degree = 0.6, strength = 1 }}, {{ degree = 0.5, strength = 2 }}]",
            "must lie above",
        ),
        (
            f"[process.cure]\n{LAW}points = [{{ time = 5, temperature = 300, degree = 0.5 }}]",
            "must be left out where it is fitted",
        ),
        (
            f"[process.cure]\ntemperatures = {HISTORY}\npoints = [{{ time = 5, temperature = 300, degree = 0.5 }}]",
            "fewer than the",
        ),
        (f"[process.cure]\ntemperatures = {HISTORY}\npoints = [{{ time = 5, temperature = 300 }}]", "one of the two"),
        (
            f"[process.cure]\ntemperatures = {HISTORY}\npoints = [{{ time = 5, temperature = 300, strength = 2 }}]",
            "needs full_strength",
        ),
        ("[proces]\n[process.wetting]\nadhesive_angle = 5", "unknown key beside [process]"),
        ("title = 5\n[process.wetting]\nadhesive_angle = 5", "title must be text"),
    ],
)
def test_bad_processes_are_refused_in_one_sentence(text, says, tmp_path, capsys):
    path, out = tmp_path / "job.toml", tmp_path / "out"
    path.write_text(text, encoding="utf-8")
    assert run(["process", str(path), "--out", str(out)]) == 2
    printed = capsys.readouterr()
    assert printed.out == "" and printed.err.count("\n") == 1 and "Traceback" not in printed.err
    assert says in printed.err
    assert not out.exists()


# ---- the command -----------------------------------------------------------


def test_the_demo_prints_and_writes_its_process(tmp_path, capsys):
    path, out = tmp_path / "sill.toml", tmp_path / "out"
    path.write_text(SILL, encoding="utf-8")
    assert run(["process", str(path), "--out", str(out), "--require"]) == 0
    printed = capsys.readouterr().out
    for text in (
        "verdict",
        "water-break test",
        "time to 0.3 mm",
        "adhesive to put on",
        "may carry 2000 N",
        "Caution: ",
        "data sheet",
    ):
        assert text in printed
    assert "from memory" in printed  # the mark of a probe liquid's figures stays
    assert {p.name for p in out.iterdir()} == {"process.json", "wetting.png", "squeeze-out.png", "cure.png", "cure-fit.png"}
    data = json.loads((out / "process.json").read_text(encoding="utf-8"))
    assert data["wetting"]["verdict"] == "wets" and not data["missed"]
    assert data["cure"]["curve"]["time_s"][-1] == data["cure"]["end_time_s"] == 18 * 3600
    assert len(data["cure"]["curve"]["strength_MPa"]) == len(data["cure"]["curve"]["degree"])


def test_json_units_and_requirement(tmp_path, capsys):
    path = tmp_path / "bracket.toml"
    path.write_text(
        f"title = 'roof bracket'\n[process.wetting]\nadhesive_angle = 75\n[process.cure]\n{LAW}needed_degree = 0.99\n"
    )
    assert run(["process", str(path), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["wetting"]["verdict"] == "does not wet" and len(data["missed"]) == 2 and "squeeze_out" not in data
    assert run(["process", str(path), "--require"]) == 1
    assert "does not wet" in capsys.readouterr().err
    path.write_text(f"[process.squeeze_out]\n{FLOW}target_thickness = 0.2\n")
    assert run(["process", str(path), "--units", "inch", "--set", "process.squeeze_out.target_thickness=0.254 mm"]) == 0
    assert "time to 0.01 in" in capsys.readouterr().out


@pytest.mark.parametrize("angle", [0, 12, 90, 150, 180])
def test_a_drop_alone_is_drawn(angle, tmp_path):
    path, out = tmp_path / "a.toml", tmp_path / "out"
    path.write_text(f"[process.wetting]\nadhesive_angle = {angle}\nwater_film_whole = false\n")
    assert run(["process", str(path), "--out", str(out)]) == 0
    assert {p.name for p in out.iterdir()} == {"process.json", "wetting.png"}


def test_a_long_title_leaves_room_for_what_a_figure_shows():
    """The text over every figure ends within the figure, and still says what it shows."""
    document = document_from_text(SILL)
    found = checked(process_of(document), joint_from_document(document).geometry)
    for name, figure in process_figures(found, 200 * "wide ").items():
        figure.canvas.draw()
        assert figure._suptitle.get_window_extent().x1 <= figure.bbox.x1, name
        assert "...: " in figure._suptitle.get_text()
