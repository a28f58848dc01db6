"""Yielding as a joint file states it: hardening curves by hand, sentences for what is wrong, both ways through a file."""

import math

import jsonschema
import numpy as np
import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from fejoint import Adherend, Adhesive, Analysis, Isotropic, Joint, JointError, Load, Orthotropic, SingleLap
from fejoint.joint.conditions import Environment
from fejoint.joint.file import (
    document_from_joint,
    document_from_text,
    joint_from_document,
    joint_from_text,
    joint_schema,
    joint_to_toml,
    template,
)
from fejoint.joint.hardening import Hardening
from fejoint.joint.keys import known_keys, with_values
from fejoint.joint.library import shipped
from fejoint.joint.yielding import Yielding, yielding_of

BASE = template("single-lap")
METAL = {"elastic_modulus": 70_000.0, "poisson_ratio": 0.33, "expansion": 23e-6}
GLUE = {"elastic_modulus": 2000.0, "poisson_ratio": 0.35, "expansion": 60e-6}
PLASTIC = "analysis.adhesive_model=plastic"
STRAINS = np.array([0.0, 1e-4, 0.002, 0.01, 0.03, 0.2])
TABLE = {"plastic_strain": [0, 0.01, 0.05], "stress": [20.0, 28.0, 31.0]}

CURVES = {
    "perfect": Yielding(20.0),
    "table": Yielding(20.0, Hardening(**TABLE)),
    "saturating": Yielding(20.0, Hardening(rise=12, rate=60, slope=30)),
    "saturating alone": Yielding(20.0, Hardening(rise=12, rate=60)),
    "power": Yielding(250.0, Hardening(exponent=20)),
    "scaled": Yielding(20.0, Hardening(rise=12, rate=60), temperatures=(250.0, 300.0, 350.0), factors=(1.5, 1.0, 0.5)),
}


def refusal(*changes, text=BASE):
    with pytest.raises(JointError) as caught:
        joint_from_text(text, changes)
    assert str(caught.value).isprintable()
    return str(caught.value)


# ---- curves ----------------------------------------------------------------


def test_curves_by_hand():
    """The formulas of the forms; to round-off."""
    exact = {"rel": 1e-12}
    assert CURVES["perfect"].stress(STRAINS) == pytest.approx(np.full(6, 20.0), **exact)
    expected = [20 + 12 * (1 - math.exp(-60 * e)) + 30 * e for e in STRAINS]
    assert CURVES["saturating"].stress(STRAINS) == pytest.approx(expected, **exact)
    assert CURVES["saturating alone"].stress(np.array(1.0)) == pytest.approx(32.0, **exact)
    # Between the points straight; beyond the last the stress stays.
    assert CURVES["table"].stress(np.array([0.005, 0.03, 0.05, 9.0])) == pytest.approx([24, 29.5, 31, 31], **exact)


def test_ramberg_osgood_goes_through_the_proof_stress():
    """At 0.002 exactly; elsewhere ep = 0.002 (stress / proof)^n but for the millionth of plastic strain that is left out."""
    curve = CURVES["power"]
    assert float(curve.stress(0.002)) == pytest.approx(250, rel=1e-14)
    strain = np.array([1e-4, 0.01, 0.05])
    assert 0.002 * (curve.stress(strain) / 250) ** 20 == pytest.approx(strain, rel=0.011, abs=1e-7)
    assert 0.5 * 250 < float(curve.stress(0.0)) < 0.75 * 250
    assert np.isfinite(curve.slope(0.0))


@pytest.mark.parametrize("name", CURVES)
def test_the_slope_is_that_of_the_curve(name):
    """Differences, central within and forward at 0 and at kinks.

    A central step of 1e-4 of the strain is off by (rate h)^2 / 6 or (h / e)^2 of
    the slope, below 1e-7; 1e-5 leaves room for round-off.
    """
    curve, temperature = CURVES[name], 275.0
    inside = np.array([1e-4, 0.004, 0.02, 0.2])
    h = 1e-4 * inside
    central = (curve.stress(inside + h, temperature) - curve.stress(inside - h, temperature)) / (2 * h)
    assert curve.slope(inside, temperature) == pytest.approx(central, rel=1e-5, abs=1e-6)
    ahead = np.array([0.0, 0.01, 0.05])  # the table's kinks
    h = 1e-9
    forward = (curve.stress(ahead + h, temperature) - curve.stress(ahead, temperature)) / h
    # Of the power the curvature at 0 is 1 / SHIFT: a step of 1e-9 is off by 5e-4 of the slope; round-off is 1e-14 * 250 / 1e-9.
    assert curve.slope(ahead, temperature) == pytest.approx(forward, rel=1e-3, abs=1e-4)


@pytest.mark.parametrize("name", CURVES)
def test_curves_take_any_shape_and_never_fall(name):
    grid = np.linspace(0, 0.4, 60).reshape(3, 4, 5)
    stress = CURVES[name].stress(grid, 300.0)
    assert stress.shape == CURVES[name].slope(grid, 300.0).shape == grid.shape
    assert (np.diff(stress.ravel()) >= 0).all()


def test_temperature_scales_the_whole_curve():
    cold, warm = (CURVES["scaled"].stress(STRAINS, t) for t in (275.0, 325.0))
    assert cold == pytest.approx(1.25 * CURVES["saturating alone"].stress(STRAINS), rel=1e-12)
    assert warm == pytest.approx(0.75 * CURVES["saturating alone"].stress(STRAINS), rel=1e-12)
    with pytest.raises(ValueError, match="temperature"):
        CURVES["scaled"].stress(STRAINS)


# ---- from material to yielding -----------------------------------------------


def test_surfaces_and_their_figures():
    cone = Adhesive(**GLUE, tensile_yield=20, yield_surface="cone", compression_ratio=1.3, plastic_poisson_ratio=0.4)
    made = yielding_of(cone)
    assert (made.surface, made.compression_ratio, made.plastic_poisson_ratio) == ("cone", 1.3, 0.4)
    assert yielding_of(cone.replace(plastic_poisson_ratio=None)).plastic_poisson_ratio == 0.5
    # So that a sweep may vary the surface alone, von Mises takes no notice of the two.
    mises = yielding_of(cone.replace(yield_surface="von-mises"))
    assert (mises.surface, mises.compression_ratio, mises.plastic_poisson_ratio) == ("von-mises", 1, 0.5)


def test_a_table_brings_its_yield_stress():
    glue = Adhesive(**GLUE, hardening=TABLE)
    assert glue.tensile_yield == 20
    assert yielding_of(glue).stress(0.0) == 20
    assert glue.replace(hardening={**TABLE, "stress": [10, 28, 31]}).tensile_yield == 10
    with pytest.raises(JointError, match=r"^tensile_yield = \"25 MPa\": disagrees with the first stress of hardening \(20 MPa\)"):
        glue.replace(tensile_yield=25)


def test_table_against_temperature_without_a_reference_is_taken_as_it_is():
    glue = Adhesive(**GLUE, at_temperature={"temperature": [250, 350], "tensile_yield": [30, 10]})
    assert float(yielding_of(glue).stress(0.01, 300.0)) == pytest.approx(20, rel=1e-12)
    # With one the hardening belongs to it: at 275 K all is 25 / 40 of the curve from 40 MPa.
    glue = glue.replace(tensile_yield=40, hardening={"rise": 8, "rate": 1e4})
    assert float(yielding_of(glue).stress(0.0, 275.0)) == pytest.approx(25, rel=1e-12)
    assert float(yielding_of(glue).stress(0.1, 275.0)) == pytest.approx(48 * 25 / 40, rel=1e-12)


def part(material):
    return Adherend(material=material, thickness=1.6, free_length=50)


def lap(lower=METAL, upper=METAL, glue=GLUE, load=None, **analysis):
    geometry = SingleLap(width=25, overlap_length=12.5, bondline_thickness=0.2, lower=part(lower), upper=part(upper))
    return Joint(geometry=geometry, adhesive=glue, load=load or Load(force=2500), analysis=Analysis(**analysis))


def test_what_yields_follows_the_analysis():
    ply = {**dict.fromkeys(("elastic_modulus_x", "elastic_modulus_y", "elastic_modulus_z"), 1e5), "shear_modulus_xy": 4e4}
    ply |= dict.fromkeys(("poisson_ratio_xy", "poisson_ratio_xz", "poisson_ratio_yz"), 0.3)
    soft, glue = {**METAL, "tensile_yield": 200}, {**GLUE, "tensile_yield": 20}
    assert lap(soft, ply, glue).yielding() == {}
    assert set(lap(soft, ply, glue, adhesive_model="plastic").yielding()) == {"adhesive"}
    assert set(lap(soft, ply, glue, adherend_plasticity=True).yielding()) == {"lower"}  # a ply stays elastic
    assert isinstance(lap(soft, ply).geometry.upper.material, Orthotropic)
    both = lap(soft, soft, glue, adhesive_model="plastic", adherend_plasticity=True).yielding()
    assert {name: float(y.stress(0.0)) for name, y in both.items()} == {"lower": 200, "upper": 200, "adhesive": 20}


def test_any_nonlinearity_asks_for_the_whole_section():
    double = joint_from_text(template("double-lap"), ["adhesive.tensile_yield=20"])
    assert double.half
    assert not double.analysis.nonlinear
    for change in ({"large_rotation": True}, {"adhesive_model": "plastic"}, {"adherend_plasticity": True}):
        changed = double.replace(analysis=Analysis(**change))
        assert changed.analysis.nonlinear
        assert not changed.half


# ---- temperature and moisture -------------------------------------------------

HOT = {"temperature": ["-40 degC", "20 degC", "120 degC"], "elastic_modulus": [2400, 2000, 1000], "expansion": [5e-5, 6e-5, 8e-5]}


def test_figures_at_a_temperature_by_hand():
    glue = Adhesive(**GLUE, at_temperature=HOT, swelling=0.3)
    at = Environment(-50.0, 273.15 + 45, 0.02)  # a quarter of the way from 20 to 120 degC
    assert glue.elastic_at(at) == pytest.approx((1750, 0.35), rel=1e-12)
    c = glue.engineering_constants(at)
    assert (c["e_x"], c["nu_xy"], c["a_x"]) == pytest.approx((1750, 0.35, 6.5e-5), rel=1e-12)
    assert c["g_xy"] == pytest.approx(1750 / 2.7, rel=1e-12)
    free = 6.5e-5 * -50 + 0.3 * 0.02
    assert glue.free_strain(at) == pytest.approx([free, free, 0, free], rel=1e-12)
    assert glue.engineering_constants() == Adhesive(**GLUE).engineering_constants()


def test_free_strain_of_the_other_materials():
    at = Environment(-100.0, None, 0.02)
    assert Isotropic(**METAL).free_strain(at) == pytest.approx(np.array([1, 1, 0, 1]) * -23e-4, rel=1e-12)
    ply = Orthotropic(
        **dict(elastic_modulus_x=1e5, elastic_modulus_y=1e4, elastic_modulus_z=1e4, shear_modulus_xy=5e3),
        **dict(
            poisson_ratio_xy=0.3, poisson_ratio_xz=0.3, poisson_ratio_yz=0.4, expansion_x=1e-6, expansion_y=2e-5, expansion_z=3e-5
        ),
    )
    assert ply.free_strain(at) == pytest.approx([-1e-4, -2e-3, 0, -3e-3], rel=1e-12)
    assert Isotropic(**METAL).elastic_at(at) == (70_000, 0.33)


# ---- one sentence -------------------------------------------------------------

TEMPERED = "adhesive.at_temperature={temperature=['-40 degC', '80 degC'], elastic_modulus=[2400, 1200]}"
WRONG = [
    (["adhesive.hardening={}"], "adhesive.hardening.rise is missing: give plastic_strain and stress"),
    (["adhesive.hardening=3"], "adhesive.hardening = 3: must be a table"),
    (["adhesive.hardening={rise=3}"], "adhesive.hardening.rate is missing: it goes with rise"),
    (["adhesive.hardening={rise=3, rate=60}"], "adhesive.tensile_yield is missing: the yield stress that hardening begins at"),
    (["adhesive.hardening={rise=3, exponent=9}"], "adhesive.hardening.exponent = 9: does not go with rise"),
    (["adhesive.hardening={rise='3 mm', rate=60}"], 'adhesive.hardening.rise = "3 mm": must be a stress'),
    (["adhesive.hardening={rise=-3, rate=60}"], 'adhesive.hardening.rise = "-3 MPa": must be at least 0 MPa'),
    (["adhesive.hardening={exponent=0.5}"], "adhesive.hardening.exponent = 0.5: must be at least 1"),
    (["adhesive.hardening={rize=3, rate=60}"], "adhesive.hardening.rize: unknown key; did you mean rise?"),
    (["adhesive.hardening={stress=[20, 28]}"], "adhesive.hardening.plastic_strain is missing: it goes with stress"),
    (
        ["adhesive.hardening={plastic_strain=[0, 0.1, 0.2], stress=[20, 28]}"],
        'adhesive.hardening.stress = ["20 MPa", "28 MPa"]: must hold 3 stresses, one for each plastic_strain, not 2',
    ),
    (
        ["adhesive.hardening={plastic_strain=[0.01, 0.1], stress=[20, 28]}"],
        "adhesive.hardening.plastic_strain = [0.01, 0.1]: must begin with 0, where yielding begins, not with 0.01",
    ),
    (
        ["adhesive.hardening={plastic_strain=[0, 0.1, 0.1], stress=[20, 28, 30]}"],
        "plastic_strain = [0, 0.1, 0.1]: must rise from item to item; item 3 (0.1) follows 0.1",
    ),
    (
        ["adhesive.hardening={plastic_strain=[0, 0.1, 0.2], stress=[20, '28 MPa', 25]}"],
        "item 3 (25 MPa) lies below the one before (28 MPa); the stress must not fall",
    ),
    (["adhesive.hardening={plastic_strain=[0], stress=['3 mm']}"], 'adhesive.hardening.stress item 1 = "3 mm": must be a stress'),
    ([PLASTIC], "adhesive.tensile_yield is missing: needed because analysis.adhesive_model"),
    (
        ["analysis.adherend_plasticity=true", "joint.lower.material={elastic_modulus='70 GPa', poisson_ratio=0.3}"],
        "joint.lower.material.tensile_yield is missing: needed because analysis.adherend_plasticity = true",
    ),
    (["analysis.adhesive_model=rubber"], 'analysis.adhesive_model = "rubber": must be "elastic", "plastic" or "cohesive"'),
    (["adhesive.yield_surface=cone"], 'adhesive.compression_ratio is missing: yield_surface = "cone" needs it'),
    (["adhesive.yield_surface=tresca"], 'adhesive.yield_surface = "tresca": must be "von-mises", "cone" or "paraboloid"'),
    (["adhesive.compression_ratio=0.9"], "adhesive.compression_ratio = 0.9: must be at least 1"),
    (["adhesive.plastic_poisson_ratio=0.6"], "adhesive.plastic_poisson_ratio = 0.6: must be at most 0.5"),
    (["load.moisture=0.02"], "adhesive.swelling is missing: needed because load.moisture = 0.02"),
    (["load.moisture=1.2"], "load.moisture = 1.2: must be at most 1"),
    (["load.stress_free_temperature=-300 degC"], 'load.stress_free_temperature = "-300 degC": must'),
    (["load.stress_free_temperature=3 mm"], 'load.stress_free_temperature = "3 mm": must be an absolute temperature'),
    ([TEMPERED], "load.stress_free_temperature is missing: adhesive.at_temperature needs it"),
    (
        [TEMPERED, "load.stress_free_temperature=120 degC"],
        "covers -40 degC to 80 degC, but the stress-free temperature is at 120 degC; add figures up to there",
    ),
    (
        [TEMPERED, "load.stress_free_temperature=60 degC", "load.temperature_change=-110", "adhesive.expansion=6e-5"],
        "covers -40 degC to 80 degC, but step cool-down is at -50 degC; add figures up to there",
    ),
    (
        ["load.stress_free_temperature=20 degC", "load.temperature_change=-300", "adhesive.expansion=6e-5"],
        "step cool-down reaches -6.85 K, below absolute zero",
    ),
    (
        ["adhesive.at_temperature={temperature=[300, 250], elastic_modulus=[1, 2]}"],
        'adhesive.at_temperature.temperature = ["300 K", "250 K"]: must rise from item to item; item 2',
    ),
    (
        ["adhesive.at_temperature={temperature=[250, 300], elastic_modulus=[1, 2, 3]}"],
        "must hold 2 figures, one for each temperature, not 3",
    ),
    (
        ["adhesive.at_temperature={temperature=[250, 300]}"],
        "a table holds at least one of elastic_modulus, tensile_yield, expansion",
    ),
    (["adhesive.at_temperature={temperature=[250], expansion=[1]}"], "adhesive.at_temperature.temperature"),
]


@pytest.mark.parametrize(("changes", "says"), WRONG, ids=[f"{i} {says[:30]}" for i, (_, says) in enumerate(WRONG)])
def test_one_sentence_names_key_value_and_what_to_do(changes, says):
    assert says in refusal(*changes)


def test_what_lies_just_inside_is_read():
    """Rounded sums of temperatures count as covered, a flat table as hardening."""
    ok = [TEMPERED, "load.stress_free_temperature=80 degC", "load.temperature_change=-120 K", "adhesive.expansion=6e-5"]
    assert joint_from_text(BASE, ok).environment.temperature == pytest.approx(233.15)
    flat = joint_from_text(BASE, [PLASTIC, "adhesive.hardening={plastic_strain=[0, 0.1], stress=[20, 20]}"])
    assert float(flat.yielding()["adhesive"].slope(0.05)) == 0
    # An expansion that depends on the temperature stands for the one that is asked for.
    hot = "adhesive.at_temperature={temperature=['-40 degC', '120 degC'], expansion=[5e-5, 8e-5]}"
    joint_from_text(BASE, [hot, "load.stress_free_temperature=120 degC", "load.temperature_change=-100 K"])


# ---- both ways -----------------------------------------------------------------

STEEL = "elastic_modulus='200 GPa', poisson_ratio=0.3, expansion='12e-6 1/K'"
FULL = [
    "adhesive.expansion=60e-6 1/K",
    "adhesive.tensile_yield=20 MPa",
    "adhesive.swelling=0.3",
    "adhesive.hardening={rise={value='12 MPa', source='fitted'}, rate=60}",
    "adhesive.at_temperature.temperature=['-40 degC', '23 degC', '120 degC']",
    "adhesive.at_temperature.elastic_modulus={value=['2.3 GPa', '2 GPa', '0.6 GPa'], source='own tests'}",
    "adhesive.at_temperature.tensile_yield=['24 MPa', '20 MPa', '7 MPa']",
    f"joint.upper.material={{{STEEL}, hardening={{plastic_strain=[0, 0.02], stress=['250 MPa', '300 MPa']}}}}",
    "load.stress_free_temperature=120 degC",
    "load.temperature_change=-100 K",
    "analysis.large_rotation=true",
    "analysis.adhesive_model=plastic",
    "analysis.adherend_plasticity=true",
]


def full():
    return joint_from_text(BASE, FULL)


def test_round_trip_keeps_nested_tables_and_their_sources():
    joint = full()
    text = joint_to_toml(joint)
    assert 'stress_free_temperature = "393.15 K"\n' in text
    again = joint_from_text(text)
    assert again == joint
    assert hash(again) == hash(joint)
    assert joint_from_document(document_from_joint(joint)) == joint
    assert again.adhesive.hardening.source("rise") == "fitted"
    assert again.adhesive.hardening.source("rate") == "given by the user"
    assert again.adhesive.at_temperature.source("elastic_modulus") == "own tests"
    assert again.adhesive.at_temperature.temperature == (233.15, 296.15, 393.15)
    assert again.geometry.upper.material.tensile_yield == 250
    assert again.yielding() == joint.yielding()
    assert set(again.adhesive.parts()) == {"hardening", "at_temperature"}
    assert again.geometry.upper.material.parts()["hardening"].stress == (250, 300)


def test_the_schema_takes_what_the_reader_takes():
    validator = jsonschema.Draft202012Validator(joint_schema())
    validator.validate(document_from_joint(full()))
    document = document_from_text(BASE, ["adhesive.hardening={rise=3, rate={value=60, source='x'}}"])
    validator.validate(document)
    for spoil in ({"rise": 3, "rize": 2}, {"plastic_strain": 3}, 3):
        document["adhesive"]["hardening"] = spoil
        assert not validator.is_valid(document)


def test_dotted_keys_reach_a_hardening():
    """As --set and sweeps do: of the library's form one by one, of another in its place."""
    assert known_keys("single-lap")["adhesive.hardening.rise"] == "MPa"
    assert known_keys("single-lap")["load.stress_free_temperature"] == "K absolute"
    assert known_keys("single-lap")["adhesive.hardening.stress"] is None
    named = document_from_text(BASE, ["adhesive={material='toughened epoxy'}"])
    before = joint_from_document(named).adhesive
    rise = joint_from_document(with_values(named, {"adhesive.hardening.rise": "5 MPa"})).adhesive
    assert (rise.hardening.rise, rise.hardening.rate) == (5, before.hardening.rate)
    assert rise.hardening.source("rate") == before.hardening.source("rate")
    assert rise.hardening.source("rise") == "given by the user"
    table = joint_from_document(with_values(named, {"adhesive.hardening": TABLE})).adhesive
    assert (table.tensile_yield, table.hardening.rise) == (20, None)
    exponents = {"joint.lower.material.hardening.exponent": 11, "joint.upper.material.hardening.exponent": 12}
    metal = joint_from_document(with_values(named, exponents)).geometry
    assert (metal.lower.material.hardening.exponent, metal.upper.material.hardening.exponent) == (11, 12)
    assert metal.lower.material.tensile_yield == 345
    other = joint_from_document(
        with_values(named, {"joint.lower.material.hardening.rise": 90, "joint.lower.material.hardening.rate": 9})
    ).geometry.lower.material
    assert (other.hardening.form, other.hardening.rise) == ("saturating", 90)


# ---- library ---------------------------------------------------------------------


def test_hardening_of_the_library_has_sources_and_meets_its_strengths():
    """The curve at the strain that its source names against the tensile strength: 5 % of the rise, a rounded exponent."""
    strength = {"aluminium 2024-T3": 0.15, "aluminium 7075-T6": 0.08}
    failure = {"stiff brittle epoxy": 0.0121, "toughened epoxy": 0.0477, "flexible polyurethane": 0.1918}
    for kind, cls in (("adherend", Isotropic), ("adhesive", Adhesive)):
        for name, table in shipped()[kind].items():
            if "hardening" not in table:
                continue
            made = cls.model_validate(table)
            assert set(made.hardening.sources) == set(table["hardening"])
            assert all(s.startswith(("from memory: ", "typical, no source: ")) for s in made.hardening.sources.values())
            curve, top = yielding_of(made), made.tensile_strength
            if name in strength:
                assert float(curve.stress(strength[name])) == pytest.approx(top, rel=2e-3)
            elif name in failure:
                plastic = failure[name] - top / made.elastic_modulus
                rise = top - made.tensile_yield
                assert float(curve.stress(plastic)) == pytest.approx(top - math.exp(-3) * rise, abs=0.005 * rise)
            else:
                assert name == "aluminium 6082-T6"


def test_a_file_with_a_hardening_is_valid_toml_of_its_own():
    document = tomlkit.parse(joint_to_toml(full()))
    assert document["adhesive"]["hardening"]["rise"]["source"] == "fitted"


# ---- nonsense --------------------------------------------------------------------

NONSENSE = st.one_of(
    st.sampled_from(["", "abc", "2 kg", "-1 parsec", "nan", "inf MPa", "1e400 K", "-300 degC", "5 delta_degC"]),
    st.sampled_from([math.nan, -math.inf, 10**400, -(10**20), -1, 0, 1e300]),
    st.booleans(),
    st.lists(st.sampled_from([-1, 0, "x", True, [], {}]), max_size=3),
    st.dictionaries(st.sampled_from(["value", "source", "rise", "exponent", "x"]), st.integers(), max_size=2),
)


def places(table, path=()):
    inner = table.items() if isinstance(table, dict) else enumerate(table) if isinstance(table, list) else ()
    return [place for key, value in inner for place in [(*path, key), *places(value, (*path, key))]]


@settings(max_examples=200, deadline=None, derandomize=True, database=None)
@given(st.data())
def test_any_nonsense_in_the_new_keys_is_read_or_refused_in_one_sentence(data):
    steps = "load.step=[{name='cool', temperature_change=-100}, {name='pull', force=2500}]"
    document = document_from_joint(joint_from_text(BASE, [*FULL, "load.temperature_change=-100", steps]))
    new = ("hardening", "at_temperature", "step", "stress_free_temperature", "yield_surface", "swelling")
    place = data.draw(st.sampled_from([p for p in places(document) if any(key in p for key in new)]))
    table = document
    for key in place[:-1]:
        table = table[key]
    table[place[-1]] = data.draw(NONSENSE)
    try:
        joint = joint_from_document(document)
    except JointError as error:
        assert str(error).isprintable()
        assert len(str(error)) < 600
        assert str(error).split(".")[0] in ("adhesive", "load", "joint")
    else:
        assert joint_from_text(joint_to_toml(joint)) == joint
