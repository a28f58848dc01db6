"""The joint file: both ways, and one clear sentence for everything wrong with it."""

import copy
import json
import tomllib

import jsonschema
import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fejoint.errors import JointError
from fejoint.joint.file import joint_from_text, joint_schema, joint_to_toml, load, template, with_changes

BASE = template("single-lap")


def refusal(*changes, text=BASE):
    with pytest.raises(JointError) as caught:
        joint_from_text(text, changes)
    message = str(caught.value)
    assert "\n" not in message
    assert "Traceback" not in message
    return message


def test_the_template_is_a_valid_joint_and_states_every_default():
    joint = joint_from_text(BASE)
    opened = "\n".join(line.removeprefix("# ") if " = " in line else line for line in BASE.splitlines())
    other_ways = ("spew_height", "shear_modulus", "step", "stress_free_temperature", "at_temperature")
    opened = "\n".join(line for line in opened.splitlines() if line.partition(" ")[0] not in other_ways)
    everything = joint_from_text(opened)
    assert everything.analysis == joint.analysis
    assert everything.load == joint.load
    assert everything.geometry == joint.geometry


def test_round_trip_leaves_joint_and_input_unchanged():
    text = BASE + '\n[materials.adherend."own alloy"]\nelastic_modulus = "68 GPa"\npoisson_ratio = 0.33\nsource = "x"\n'
    joint = joint_from_text(BASE, ["load.temperature_change=-60 degC", "adhesive.expansion=60e-6 1/K"])
    before = joint.model_dump()
    again = joint_from_text(joint_to_toml(joint))
    assert again == joint
    assert hash(again) == hash(joint)
    assert joint.model_dump() == before
    assert text.startswith(BASE)


def test_changes_are_written_so_that_the_text_repeats_the_joint():
    materials = (
        '[adherend."own alloy"]\nelastic_modulus = { value = "68 GPa", source = "mill certificate" }\npoisson_ratio = 0.33\n'
    )
    changes = ["joint.overlap_length=20 mm", "joint.lower.material=own alloy", "analysis.error_target=0.02"]
    joint = joint_from_text(BASE, changes, [materials])
    text = with_changes(BASE, changes, [materials])
    assert joint_from_text(text) == joint
    assert joint.geometry.overlap_length == 20
    assert joint.geometry.lower.material.source("elastic_modulus") == "mill certificate"
    assert "# Joint file of fejoint" in text  # comments stay
    assert with_changes(BASE, [], []) == BASE


def test_python_and_file_make_equal_joints():
    from fejoint import Adherend, Adhesive, Joint, Load, SingleLap

    part = Adherend(material="aluminium 2024-T3", thickness=1.6, free_length="50 mm")
    made = Joint(
        title="lap coupon",
        geometry=SingleLap(width=25, overlap_length="0.0125 m", bondline_thickness=0.2, lower=part, upper=part),
        adhesive=Adhesive(elastic_modulus="2 GPa", poisson_ratio=0.35),
        load=Load(force=2500),
    )
    assert made == joint_from_text(BASE)
    with pytest.raises(JointError, match=r"thickness = \"-1 mm\": must lie above 0 mm"):
        part.replace(thickness=-1)
    with pytest.raises(Exception, match="frozen"):
        part.thickness = 2.0


@pytest.mark.parametrize(
    ("change", "key", "says"),
    [
        ("joint.widht=25 mm", "joint.widht", "did you mean width"),
        ("joint.lower.tickness=2", "joint.lower.tickness", "did you mean thickness"),
        ("lod={force=1}", "lod", "did you mean load"),
        ("joint.width=2 kg", "joint.width", "must be a length"),
        ("load.force=3 mm", "load.force", "must be a force"),
        ("load.temperature_change=3 mm", "load.temperature_change", "temperature difference"),
        ("joint.bondline_thickness=0", "joint.bondline_thickness", "above 0 mm"),
        ("joint.lower.thickness=-1.6 mm", "joint.lower.thickness", "above 0 mm"),
        ("joint.lower.thickness=nan", "joint.lower.thickness", "finite"),
        ("joint.upper.thickness=inf", "joint.upper.thickness", "finite"),
        ("joint.width=11 m", "joint.width", "at most 10000 mm"),
        ("adhesive.poisson_ratio=0.5", "adhesive.poisson_ratio", "below 0.5"),
        ("adhesive.poisson_ratio=-1", "adhesive.poisson_ratio", "above -1"),
        ("adhesive.shear_modulus=0.9 GPa", "adhesive.shear_modulus", "disagrees with elastic_modulus"),
        ("adhesive={elastic_modulus='2 GPa', shear_modulus='0.6 GPa'}", "adhesive.shear_modulus", "must lie above 666.7 MPa"),
        ("adhesive={elastic_modulus='2 GPa'}", "adhesive.poisson_ratio", "any two of"),
        ("joint.overlap_length=0.1 mm", "joint.overlap_length", "longer than the bondline is thick"),
        ("joint.lower.material=aluminum 2024", "joint.lower.material", 'did you mean "aluminium 2024-T3"'),
        ("joint.lower.material=unobtainium", "joint.lower.material", "known:"),
        ("adhesive={material='epoxy toughened'}", "adhesive.material", "toughened epoxy"),
        ("joint.kind=butt", "joint.kind", '"single-lap"'),
        ("joint.spew=round", "joint.spew", '"square" or "fillet"'),
        ("joint.spew_height=0.2", "joint.spew_height", 'spew = "fillet"'),
        ("load.ends=welded", "load.ends", '"clamped" or "pinned"'),
        ("load.temperature_change=-100 K", "adhesive.expansion", "is missing"),
        ("load.moment=1 N*m", "load.moment", 'only goes with ends = "pinned"'),
        ("analysis.large_rotation=perhaps", "analysis.large_rotation", "true or false"),
        ("analysis.adhesive_model=brittle", "analysis.adhesive_model", 'must be "elastic", "plastic" or "cohesive"'),
        ("analysis.adhesive_model=cohesive", "adhesive.tensile_strength", 'needed because analysis.adhesive_model = "cohesive"'),
        ("analysis.adhesive_model=plastic", "adhesive.tensile_yield", 'needed because analysis.adhesive_model = "plastic"'),
        ("analysis.error_target=0", "analysis.error_target", "at least 0.0001"),
        ("analysis.mesh_density=100", "analysis.mesh_density", "at most 16"),
        ("joint.lower=3", "joint.lower", "must be a table"),
        ("adhesive=3", "adhesive", "must be a table"),
        ("title=3", "title", "text in quotes"),
        ("joint.lower.material={elastic_modulus={value='70 GPa'}}", "joint.lower.material.elastic_modulus", "source"),
        ("joint.lower.material.elastic_modulus=3", "joint.lower.material.elastic_modulus", "not a table"),
        ("joint.overlap_length", "--set joint.overlap_length", "KEY=VALUE"),
        ("joint.lower.material={elastic_modulus_x='181 GPa'}", "joint.lower.material.elastic_modulus_y", "is missing"),
    ],
)
def test_one_sentence_names_key_value_and_what_is_allowed(change, key, says):
    message = refusal(change)
    assert key in message
    assert says in message


def test_orthotropic_constants_must_give_a_stable_material():
    """Lekhnitskii's limits: |nu_ij| < sqrt(E_i / E_j)."""
    ply = (
        "joint.lower.material={elastic_modulus_x='10 GPa', elastic_modulus_y='100 GPa', elastic_modulus_z='10 GPa', "
        "poisson_ratio_xy=0.4, poisson_ratio_xz=0.3, poisson_ratio_yz=0.3, shear_modulus_xy='5 GPa'}"
    )
    assert "poisson_ratio_xy = 0.4: must lie between -0.3162 and 0.3162" in refusal(ply)


@pytest.mark.parametrize("key", ["width", "overlap_length", "bondline_thickness", "kind"])
def test_missing_keys_are_named_with_an_example(key):
    document = tomllib.loads(BASE)
    del document["joint"][key]
    message = refusal(text=tomlkit.dumps(document))
    assert f"joint.{key} is missing" in message


def test_broken_toml_is_placed(tmp_path):
    assert "line 2, column" in refusal(text='title = "x"\nwidth = \n')
    binary = tmp_path / "joint.toml"
    binary.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(JointError, match="is not text"):
        load(binary)
    with pytest.raises(JointError, match="no such file"):
        load(tmp_path / "nothing.toml")
    with pytest.raises(JointError, match="is a directory"):
        load(tmp_path)
    with pytest.raises(JointError, match="nested too deeply"):
        joint_from_text("a = " + "[" * 100_000)
    binary.write_bytes(b"#" * 2_000_000)
    with pytest.raises(JointError, match="larger than"):
        load(binary)


def test_library_adhesive_with_own_figures():
    """One elastic constant changed keeps Poisson's ratio; the ratio changed keeps the modulus."""
    changed = joint_from_text(BASE, ["adhesive={material='toughened epoxy', shear_modulus='1 GPa'}"]).adhesive
    assert changed.poisson_ratio == 0.33
    assert changed.elastic_modulus == pytest.approx(2 * 1000 * 1.33, rel=1e-12)
    assert changed.source("shear_modulus") == "given by the user"
    assert changed.source("poisson_ratio").startswith("from memory")
    ratio = joint_from_text(BASE, ["adhesive={material='toughened epoxy', poisson_ratio=0.4}"]).adhesive
    assert ratio.elastic_modulus == 1850
    alloy = joint_from_text(BASE, ["joint.lower.material=aluminium 6082-T6"]).geometry.lower.material
    assert alloy.poisson_ratio == pytest.approx(70 / (2 * 26.4) - 1, rel=1e-12)


def test_schema_accepts_what_the_reader_accepts_and_refuses_unknown_keys():
    """Held against jsonschema, the general-purpose validator."""
    schema = joint_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    document = tomllib.loads(BASE)
    validator.validate(document)
    validator.validate(tomllib.loads(joint_to_toml(joint_from_text(BASE))))
    named = copy.deepcopy(document)
    named["adhesive"] = {"material": "toughened epoxy", "elastic_modulus": 2000}
    validator.validate(named)
    for spoil in ({"joint": {**document["joint"], "widht": 2}}, {"load": {"force": True}}, {"adhesive": 3}):
        assert not validator.is_valid({**document, **spoil})
    json.dumps(schema)


LEAVES = [
    ("joint", "width"),
    ("joint", "overlap_length"),
    ("joint", "bondline_thickness"),
    ("joint", "kind"),
    ("joint", "lower", "material"),
    ("joint", "lower", "thickness"),
    ("joint", "upper", "free_length"),
    ("adhesive", "elastic_modulus"),
    ("adhesive", "poisson_ratio"),
    ("load", "force"),
]
NONSENSE = st.one_of(
    st.sampled_from(["", "abc", "2 kg", "3 s", "1 mm mm mm**3", "-1 parsec", "0x10 mm", "1;2", "nan", "inf mm", "1e400 mm"]),
    st.text(max_size=12).filter(lambda text: not any(c.isdigit() for c in text)),
    st.just(float("nan")),
    st.just(float("-inf")),
    st.booleans(),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.sampled_from(["value", "x"]), st.integers(), max_size=2),
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(LEAVES), NONSENSE)
def test_any_nonsense_value_gets_one_sentence_that_names_its_key(path, value):
    document = tomllib.loads(BASE)
    table = document
    for part in path[:-1]:
        table = table[part]
    table[path[-1]] = value
    text = tomlkit.dumps(document)
    with pytest.raises(JointError) as caught:
        joint_from_text(text)
    message = str(caught.value)
    assert path[-1] in message
    assert len(message) < 500


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_any_corruption_of_the_text_is_read_or_refused_in_one_sentence(data):
    """Cut, doubled, replaced or inserted characters: a joint or a JointError, never anything else."""
    at = data.draw(st.integers(0, len(BASE)))
    width = data.draw(st.integers(0, 40))
    text = BASE[:at] + data.draw(st.text(max_size=8)) + BASE[at + width :]
    try:
        joint_from_text(text)
    except JointError as error:
        assert len(str(error)) < 600
