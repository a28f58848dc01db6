"""Dotted keys: held against the JSON schema of the joint file and against what the reader takes and refuses."""

import copy

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fejoint import JointError
from fejoint.joint.families import FAMILIES
from fejoint.joint.file import document_from_text, joint_from_document, joint_schema, template
from fejoint.joint.keys import column_name, known_keys, near, value_at, with_values
from fejoint.joint.library import shipped
from fejoint.units import DIMENSIONS

SCHEMA = joint_schema()
DOCUMENTS = {kind: document_from_text(template(kind)) for kind in FAMILIES}
ALL = [(kind, key) for kind in FAMILIES for key in known_keys(kind)]
DIRECTIONAL = [
    *("elastic_modulus_x", "elastic_modulus_y", "elastic_modulus_z", "shear_modulus_xy", "expansion_x", "expansion_y"),
    *("expansion_z", "poisson_ratio_xy", "poisson_ratio_xz", "poisson_ratio_yz"),
]
LOWER = "joint.lower.material"


def schema_examples(kind):
    """Every leaf of the schema of a family by dotted key, with its example; None where the schema has none."""
    found = {}

    def walk(node, key, examples):
        if "$ref" in node:
            name = node["$ref"].rsplit("/", 1)[1]
            for inner, below in SCHEMA["$defs"][name]["properties"].items():
                if inner not in ("name", "sources"):
                    walk(below, f"{key}.{inner}" if key else inner, None)
            return
        examples = node.get("examples", examples)
        options = node.get("anyOf") or node.get("oneOf")
        if options:
            for option in options:
                walk(option, key, examples)
        elif node.get("type") != "null" and "value" not in node.get("properties", {}):
            found[key] = examples[0] if examples else None

    for key, node in SCHEMA["properties"].items():
        if key == "joint":
            walk({"$ref": f"#/$defs/{FAMILIES[kind].__name__}"}, key, None)
        elif key != "materials":
            walk(node, key, None)
    return found


EXAMPLES = {kind: schema_examples(kind) for kind in FAMILIES}


def document_for(kind, key):
    """A document of the family that has the table of a key: unlike outers where the key is one of theirs."""
    document = DOCUMENTS[kind]
    if "_outer." in key:
        outer = document["joint"]["outer"]
        document = with_values(document, {"joint.lower_outer": outer, "joint.upper_outer": outer})
        del document["joint"]["outer"]
    return document


def refusal(document, values):
    """The sentence of a joint with values in it; None when it is taken."""
    try:
        joint_from_document(with_values(document, values))
    except JointError as error:
        return str(error)
    return None


@pytest.mark.parametrize("kind", FAMILIES)
def test_known_keys_are_the_leaves_of_the_schema(kind):
    assert set(known_keys(kind)) == set(EXAMPLES[kind])


def test_all_families_together_know_the_keys_of_each():
    together = known_keys()
    assert set(together) == {key for kind in FAMILIES for key in known_keys(kind)}
    assert all(together[key] == unit for kind in FAMILIES for key, unit in known_keys(kind).items())


# What a template with an example in one more place is refused for, by the end of the key.
NEEDS_ANOTHER = {
    "spew_height": 'spew = "fillet"',
    "shear_modulus": "disagrees with elastic_modulus",
    "step_lengths": "only goes without step_lengths",
    "hardening.plastic_strain": "it goes with plastic_strain",
    "hardening.stress": "it goes with stress",
    "hardening.rise": "it goes with rise",
    "hardening.rate": "it goes with rate",
    "hardening.slope": "it goes with slope",
    "hardening.exponent": "tensile_yield is missing",
    **dict.fromkeys(("disbond.end", "disbond.place", "disbond.bondline"), "strength.disbond.length is missing"),
    "at_temperature.temperature": "holds at least one of",
    "at_temperature.elastic_modulus": "temperature is missing",
    "at_temperature.tensile_yield": "temperature is missing",
    "at_temperature.expansion": "temperature is missing",
    **dict.fromkeys(DIRECTIONAL, "none by direction"),
}


@pytest.mark.parametrize(("kind", "key"), ALL)
def test_an_example_in_the_place_of_its_key_is_taken_or_refused_for_what_it_needs(kind, key):
    example = EXAMPLES[kind][key]
    if key.endswith(".material"):
        example = "toughened epoxy" if key == "adhesive.material" else "steel A36"
    sentence = refusal(document_for(kind, key), {key: example})
    if sentence is not None:
        ends = [end for end in NEEDS_ANOTHER if key.endswith(f".{end}")]
        assert ends, sentence
        assert "unknown key" not in sentence
        assert NEEDS_ANOTHER[ends[0]] in sentence


@pytest.mark.parametrize("kind", FAMILIES)
def test_orthotropic_figures_go_in_together(kind):
    part = next(key for key in known_keys(kind) if key.endswith(".material") and value_at(DOCUMENTS[kind], key))
    document = with_values(DOCUMENTS[kind], {part: {}})
    figures = {f"{part}.{figure}": EXAMPLES[kind][f"{part}.{figure}"] for figure in DIRECTIONAL}
    assert refusal(document, figures) is None
    assert "all its figures by direction" in refusal(with_values(document, figures), {f"{part}.tensile_yield": "250 MPa"})


@pytest.mark.parametrize(("kind", "key"), ALL)
def test_what_is_no_key_is_refused_as_unknown(kind, key):
    sentence = refusal(document_for(kind, key), {f"{key}x": EXAMPLES[kind][key]})
    assert sentence.startswith(f"{key}x: unknown key; ")


@pytest.mark.parametrize("kind", FAMILIES)
def test_keys_of_other_families_are_refused_as_unknown(kind):
    others = {key: other for other in FAMILIES for key in known_keys(other) if key not in known_keys(kind)}
    assert others
    for key, other in others.items():
        assert "unknown key" in refusal(DOCUMENTS[kind], {key: EXAMPLES[other][key]}), key


@pytest.mark.parametrize(("kind", "key"), [(kind, key) for kind, key in ALL if known_keys(kind)[key] is not None])
def test_the_unit_of_a_key_is_the_readers(kind, key):
    """Seconds, which no key takes, are refused with the dimension of the unit; a bare number is one in the unit."""
    unit = known_keys(kind)[key]
    document = document_for(kind, key)
    part, figure = key.rsplit(".", 1)
    if figure in DIRECTIONAL:
        document = with_values(document, {part: {name: EXAMPLES[kind][f"{part}.{name}"] for name in DIRECTIONAL}})
    sentence = refusal(document, {key: "1 s"})
    assert DIMENSIONS[unit][0] in sentence
    assert figure in sentence
    wide = {"mm": "3", "MPa": "90000", "N": "100", "K": "1"}.get(unit, "0.31")
    bare, said = (with_values(document, {key: value}) for value in (float(wide), f"{wide} {unit}".strip()))
    try:
        joint = joint_from_document(bare)
    except JointError as error:
        with pytest.raises(JointError) as caught:
            joint_from_document(said)
        assert str(caught.value).replace('"', "") == str(error).replace('"', "")
    else:
        assert joint_from_document(said) == joint


def test_names_of_columns_lead_back_to_their_keys():
    known = known_keys()
    back = {column_name(key, unit): key for key, unit in known.items()}
    assert len(back) == len(known)
    for key, unit in known.items():
        assert back[column_name(key, unit)] == key
        assert key == column_name(key, unit) or key not in back, "a key that is the column of another"
    assert column_name("joint.overlap_length", "mm") == "joint.overlap_length_mm"
    assert column_name("adhesive.toughness_mode_1", "N/mm") == "adhesive.toughness_mode_1_N_per_mm"
    assert column_name("load.ends", None) == "load.ends"
    # A name is that of a column in a file and in formulas: no spaces, no operators.
    assert all(part.isidentifier() for name in back for part in name.split("."))


VALUES = st.one_of(
    st.floats(),
    st.integers(),
    st.text(max_size=8),
    st.booleans(),
    st.none(),
    st.sampled_from(["10 mm", "steel A36", "1 GPa", "clamped"]),
    st.lists(st.integers(), max_size=2),
    st.dictionaries(st.sampled_from(["elastic_modulus", "value", "x"]), st.integers(), max_size=2),
)


@settings(max_examples=200, deadline=None, derandomize=True, database=None)
@given(st.sampled_from(list(FAMILIES)), st.dictionaries(st.sampled_from(list(known_keys())), VALUES, max_size=4), st.booleans())
def test_values_leave_the_given_document_and_the_library_as_they_are(kind, values, deep):
    document = copy.deepcopy(DOCUMENTS[kind])
    if deep:
        figure = {"value": "70 GPa", "source": "certificate"}
        document["joint"].setdefault("lower", {})["material"] = {"elastic_modulus": figure, "poisson_ratio": 0.3}
    before, given_before, library = repr(document), repr(values), repr(shipped())
    try:
        new = with_values(document, values)
        joint_from_document(new)
    except JointError:
        new = None
    assert (repr(document), repr(values), repr(shipped())) == (before, given_before, library)
    if new is not None:  # nothing that a key leads to is shared: a second point starts from the same document
        again = with_values(document, values)
        assert repr(again) == repr(new)


def test_values_are_where_their_keys_say_and_nothing_else_has_changed():
    document = DOCUMENTS["single-lap"]
    new = with_values(document, {"joint.lower.thickness": 3, "analysis.mesh_density": 2, LOWER: "steel A36"})
    assert value_at(new, "joint.lower.thickness") == 3
    assert value_at(new, "analysis.mesh_density") == 2
    assert value_at(document, "analysis.mesh_density") is None
    back = with_values(new, {key: value_at(document, key) for key in ("joint.lower.thickness", LOWER)})
    del back["analysis"]["mesh_density"]
    assert back == document
    assert value_at(document, "joint.lower.nothing.at.all") is None


def test_an_opened_adherend_keeps_the_sources_of_untouched_figures():
    before = joint_from_document(DOCUMENTS["single-lap"]).geometry.lower.material
    assert len(before.sources) > 3
    after = joint_from_document(
        with_values(DOCUMENTS["single-lap"], {f"{LOWER}.tensile_yield": "250 MPa"})
    ).geometry.lower.material
    assert after.tensile_yield == 250
    assert after.source("tensile_yield") == "given by the user"
    rest = set(before.sources) - {"tensile_yield"}
    assert rest
    assert {key: after.source(key) for key in rest} == {key: before.source(key) for key in rest}
    assert {key: after.figures()[key] for key in rest} == pytest.approx({key: before.figures()[key] for key in rest}, rel=1e-12)
    assert after.name == before.name


def test_an_opened_adherend_of_the_files_own_keeps_them_too():
    own = {"elastic_modulus": {"value": "68 GPa", "source": "mill certificate"}, "poisson_ratio": 0.33, "expansion": "23e-6 1/K"}
    document = {**DOCUMENTS["single-lap"], "materials": {"adherend": {"own alloy": own}}}
    values = {LOWER: "own alloy", f"{LOWER}.expansion": "22e-6 1/K"}
    lower = joint_from_document(with_values(document, values)).geometry.lower.material
    assert lower.source("elastic_modulus") == "mill certificate"
    assert lower.expansion == 22e-6
    assert lower.name == "own alloy"


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"title.x": 1}, "title is a value, not a table"),
        ({"joint.width.x": 1}, "joint.width is a value, not a table"),
        ({LOWER: 3, f"{LOWER}.elastic_modulus": 1}, f"{LOWER}: is a value, neither the name of a material nor a table"),
        ({LOWER: "stel", f"{LOWER}.elastic_modulus": 1}, f'{LOWER} = "stel": no adherend material of this name'),
    ],
)
def test_keys_that_lead_into_values_are_refused(values, says):
    with pytest.raises(JointError) as caught:
        with_values(DOCUMENTS["single-lap"], values)
    assert says in str(caught.value)


def test_hints_name_the_nearest_word_and_stay_short():
    assert near("joint.overlap_lenght", known_keys()) == "did you mean joint.overlap_length?"
    hint = near("zzz", known_keys())
    assert hint.startswith("known: title, joint.kind, ")
    assert hint.endswith(" more.")
    assert len(hint) < 400
    assert near("zzz", ["a", "b"]) == "known: a, b."
