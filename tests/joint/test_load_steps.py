"""Steps of loading: what acts when, momentary joints on the path, and sentences for what is wrong."""

import re
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import fejoint
from fejoint import JointError, Load
from fejoint.joint.conditions import Environment
from fejoint.joint.file import document_from_joint, joint_from_document, joint_from_text, joint_schema, joint_to_toml, template
from fejoint.joint.load import QUANTITIES, LoadStep, Step

BASE = template("single-lap")
README = Path(fejoint.__file__).parents[1] / "README.md"
COLD = "adhesive.expansion=60e-6 1/K"
WET = "adhesive.swelling=0.3"
COOL, SOAK, PULL = (
    {"name": "cool-down", "temperature_change": "-100 K"},
    {"name": "winter", "moisture": 0.02},
    {"name": "rope pull", "force": "2.5 kN"},
)


def toml(steps):
    return "[" + ", ".join("{" + ", ".join(f"{k} = {v!r}" for k, v in step.items()) + "}" for step in steps) + "]"


def stepped(*steps, changes=(), text=BASE):
    """Read the template with steps in place of its force."""
    text = text.replace('force = "2.5 kN"', f"step = {toml(steps)}", 1)
    return joint_from_text(text, [COLD, WET, *changes])


def refusal(*steps, changes=()):
    with pytest.raises(JointError) as caught:
        stepped(*steps, changes=changes)
    assert str(caught.value).isprintable()
    return str(caught.value)


# ---- the path ------------------------------------------------------------------


def test_what_a_step_does_not_name_stays_as_it_was():
    joint = stepped(COOL, SOAK, PULL, {"name": "off", "force": 0}, {"name": "spring", "temperature_change": 0, "force": "-1 kN"})
    assert joint.load.path() == (
        Step("cool-down", temperature_change=-100),
        Step("winter", temperature_change=-100, moisture=0.02),
        Step("rope pull", force=2500, temperature_change=-100, moisture=0.02),
        Step("off", temperature_change=-100, moisture=0.02),
        Step("spring", force=-1000, moisture=0.02),
    )
    assert (joint.load.force, joint.load.temperature_change, joint.load.moisture) == (-1000, 0, 0.02)
    assert joint.line_load == -1000 / 25


def test_without_steps_temperature_and_moisture_come_first():
    cold = Load(force=2500, temperature_change=-100, moisture=0.01, ends="pinned", moment=20)
    first = Step("cool-down", temperature_change=-100, moisture=0.01)
    assert cold.path() == (first, Step("load", 2500, 20, 0, -100, 0.01))
    assert [s.name for s in Load(force=1, temperature_change=5).path()] == ["warm-up", "load"]
    assert [s.name for s in Load(force=1, moisture=0.1).path()] == ["soak", "load"]
    assert Load(force=2500).path() == (Step("load", force=2500),)
    assert Load(force=0, temperature_change=-60).path() == (Step("cool-down", temperature_change=-60),)
    assert Load(force=0).path() == (Step("load"),)


@settings(max_examples=100, deadline=None, derandomize=True, database=None)
@given(
    st.lists(
        st.dictionaries(st.sampled_from(["force", "temperature_change", "moisture"]), st.floats(0.01, 1), min_size=1), max_size=5
    )
)
def test_any_path_ends_at_the_load_and_is_told_by_its_steps(named):
    """The state after each step is the fold of what was named so far."""
    steps = [{"name": f"step {i}", **values} for i, values in enumerate(named)]
    now, changing, expected = dict.fromkeys(QUANTITIES, 0.0), [], []
    for step in steps:
        then = now | {key: value for key, value in step.items() if key != "name"}
        if then != now:
            changing.append(step)
            expected.append(Step(step["name"], **then))
        now = then
    if not changing:
        return
    load = Load(step=changing)
    assert load.path() == tuple(expected)
    assert {key: getattr(load, key) for key in QUANTITIES} == now == load.path()[-1].values()


def test_the_end_may_stand_beside_its_steps_when_it_agrees():
    assert joint_from_text(BASE, [f"load.step={toml([PULL])}"]).load.force == 2500
    assert Load(force=2500, step=[PULL]) == Load(step=[PULL])
    with pytest.raises(JointError, match=r'^force = "3000 N": the last step ends at 2500 N; leave force out, the steps say it'):
        Load(force=3000, step=[PULL])


def test_an_end_that_is_lifted_at_any_time_is_guided():
    assert Load(step=[{"name": "lift", "shear_force": 5}, {"name": "down", "shear_force": 0, "force": 9}]).guided
    assert Load(force=1, shear_force=-3).guided
    assert not Load(step=[PULL]).guided


# ---- momentary joints ----------------------------------------------------------------


def test_a_momentary_joint_is_the_same_but_for_its_load():
    joint = stepped(COOL, SOAK, PULL, changes=["load.stress_free_temperature=120 degC"])
    half = joint.at(force=1250, moisture=0.01)
    assert half.load == Load(force=1250, temperature_change=-100, moisture=0.01, stress_free_temperature="120 degC")
    assert half.load.step is None
    assert (half.geometry, half.adhesive, half.title) == (joint.geometry, joint.adhesive, joint.title)
    assert half.environment == Environment(-100.0, pytest.approx(293.15), 0.01)
    assert joint.at().load.path()[-1].values() == joint.load.path()[-1].values()
    assert joint_from_text(joint_to_toml(half)) == half


def test_the_state_out_of_plane_is_that_of_the_whole_path():
    """Else the width would be held in one increment and free in the next."""
    back = {"name": "warm again", "temperature_change": 0}
    joint = stepped(COOL, back, PULL)
    assert joint.load.temperature_change == 0
    assert joint.out_of_plane == joint.at(force=0).out_of_plane == "generalised"
    assert stepped(SOAK, PULL).at(moisture=0).out_of_plane == "generalised"
    assert stepped(PULL).out_of_plane == stepped(PULL).at(force=3).out_of_plane == "plane-strain"
    assert stepped(COOL, changes=["analysis.out_of_plane=plane-strain"]).at().out_of_plane == "plane-strain"


def test_a_joint_on_the_path_of_a_plastic_one_yields_the_same():
    joint = stepped(COOL, PULL, changes=["analysis.adhesive_model=plastic", "adhesive.tensile_yield=20"])
    assert joint.at(force=100).yielding() == joint.yielding()


# ---- one sentence ---------------------------------------------------------------------

WRONG = [
    (({"name": "a"},), (), "load.step item 1 = {...}: changes nothing: name one of force, moment, shear_force, temp"),
    (({"name": "a", "force": 0},), (), "load.step item 1 = {...}: changes nothing"),
    ((PULL, {"name": "again", "force": 2500}), (), "load.step item 2 = {...}: changes nothing"),
    ((PULL, {"name": "rope pull", "force": 0}), (), 'load.step item 2.name = "rope pull": item 1 bears this name'),
    (({"name": " ", "force": 3},), (), 'load.step item 1.name = " ": must be a name of 1 to 60 printable characters'),
    (({"name": "a" * 61, "force": 3},), (), "must be a name of 1 to 60 printable characters"),
    (({"force": 3},), (), "load.step item 1.name is missing (What the step is called in tables; each its own): add it"),
    (({"name": "a", "forse": 3},), (), "load.step item 1.forse: unknown key; did you mean force?"),
    (({"name": "a", "force": "3 mm"},), (), 'load.step item 1.force = "3 mm": must be a force'),
    (({"name": "a", "moisture": -0.1},), (), "load.step item 1.moisture = -0.1: must be at least 0"),
    ((PULL, {"name": "a", "moment": 3}), (), 'load.step item 2.moment = "3 N*mm": only goes with ends = "pinned"'),
    (
        (PULL, {"name": "a", "shear_force": 3}, {"name": "b", "shear_force": 0}),
        ("load.ends=pinned",),
        'load.step item 2.shear_force = "3 N": only goes with ends = "clamped"',
    ),
    ((), (), "load.step = []: must hold at least 1"),
    ((PULL,), ("load.force=3 kN",), 'load.force = "3000 N": the last step ends at 2500 N; leave force out'),
    ((PULL,), ("load.temperature_change=-5",), 'load.temperature_change = "-5 K": the last step ends at 0 K'),
    ((PULL,), ("load.step=3",), "load.step = 3: must be a list"),
    ((PULL,), ("load.step.force=3",), "load.step"),
]


@pytest.mark.parametrize(("steps", "changes", "says"), WRONG, ids=[f"{i} {w[2][:40]}" for i, w in enumerate(WRONG)])
def test_one_sentence_names_key_value_and_what_to_do(steps, changes, says):
    assert says in refusal(*steps, changes=changes)


def test_names_that_do_not_print_are_refused_in_a_line_that_does():
    with pytest.raises(JointError) as caught:
        Load(step=[{"name": "two\nlines", "force": 1}])
    assert str(caught.value).isprintable()
    assert r'step item 1.name = "two\nlines": must be a name' in str(caught.value)


def test_too_many_steps():
    many = [{"name": str(i), "force": i + 1.0} for i in range(51)]
    assert len(Load(step=many[:50]).path()) == 50
    with pytest.raises(JointError, match=r"must hold at most 50"):
        Load(step=many)


@pytest.mark.parametrize(
    ("steps", "place"),
    [
        ((COOL, {"name": "back", "temperature_change": 0}, PULL), "load.step item 1.temperature_change = -100 K"),
        ((PULL, {"name": "warm", "temperature_change": 30}), "load.step item 2.temperature_change = 30 K"),
    ],
)
def test_a_change_in_any_step_asks_for_expansions(steps, place):
    """Even when it is undone before the end."""
    text = BASE.replace('force = "2.5 kN"', f"step = {toml(steps)}", 1)
    with pytest.raises(JointError) as caught:
        joint_from_text(text)
    assert str(caught.value) == f"adhesive.expansion is missing: needed because {place}; add it."


def test_moisture_in_any_step_asks_for_swelling():
    text = BASE.replace('force = "2.5 kN"', f"step = {toml([SOAK, {'name': 'dry', 'moisture': 0}, PULL])}", 1)
    with pytest.raises(JointError, match=r"^adhesive\.swelling is missing: needed because load\.step item 1\.moisture = 0\.02"):
        joint_from_text(text)


def test_a_table_must_cover_every_step():
    table = "adhesive.at_temperature={temperature=['-40 degC', '120 degC'], elastic_modulus=[2400, 1200]}"
    free = "load.stress_free_temperature=120 degC"
    frost = {"name": "frost", "temperature_change": "-165 K"}
    assert "but step frost is at -45 degC" in refusal(frost, {"name": "warm", "temperature_change": -100}, changes=[table, free])
    stepped(COOL, PULL, changes=[table, free])


def test_force_is_still_asked_for_without_steps():
    text = BASE.replace('force = "2.5 kN"', "", 1)
    with pytest.raises(JointError, match=r"^load\.force is missing: add it .*, for example force = \"2\.5 kN\"; or give steps"):
        joint_from_text(text)


# ---- both ways ---------------------------------------------------------------------------


def test_round_trip():
    joint = stepped(COOL, SOAK, PULL, {"name": 'say "hup"', "force": "3.3 kN"})
    text = joint_to_toml(joint)
    assert text.count("[[load.step]]") == 4
    again = joint_from_text(text)
    assert again == joint
    assert hash(again) == hash(joint)
    assert "force" not in again.load.model_fields_set
    assert joint_from_document(document_from_joint(joint)) == joint
    jsonschema.Draft202012Validator(joint_schema()).validate(document_from_joint(joint))
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**document_from_joint(joint), "load": {"ends": "clamped"}}, joint_schema())


def test_a_file_may_write_tables_of_steps():
    text = (
        BASE.replace('force = "2.5 kN"', "", 1)
        + '\n[[load.step]]\nname = "half"\nforce = "1 kN"\n[[load.step]]\nname = "full"\nforce = "2 kN"\n'
    )
    assert [(s.name, s.force) for s in joint_from_text(text).load.path()] == [("half", 1000), ("full", 2000)]


def test_a_step_in_words():
    assert str(LoadStep(**COOL)) == "cool-down (temperature_change -100 K)"
    assert str(LoadStep(name="x", force=1500, moisture=0.02)) == "x (force 1500 N, moisture 0.02)"


def test_the_example_of_the_readme_reads():
    """Its tables on what yields and when stand for those of the first example."""
    first, then = re.findall(r"```toml\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)[:2]
    joint = joint_from_text(first.split("[adhesive]")[0] + then)
    assert [step.name for step in joint.load.path()] == ["cool-down", "winter", "rope pull"]
    assert set(joint.yielding()) == {"lower", "upper", "adhesive"}
    assert joint.analysis.nonlinear


def test_a_load_too_small_for_numbers_to_hold_is_none():
    """2^-1030 N is below the least normal number (IEEE 754, 2^-1022): displacements under it would lose their digits."""
    assert Load(force=2.0**-1030, temperature_change=-(2.0**-1030), moisture=1e-200) == Load(
        force=0, temperature_change=0, moisture=0
    )
    assert Load(force=1e-90).force == 1e-90
