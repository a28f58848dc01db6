"""What a sweep varies: points, ties, tables, and one sentence for what is wrong."""

import itertools

import numpy as np
import pandas as pd
import pint
import pytest
from scipy.stats import qmc

from fejoint import JointError
from fejoint.joint.file import document_from_joint, document_from_text, joint_from_text, template
from fejoint.study.plan import make_plan, sweep_schema, sweep_table

DOCUMENT = document_from_text(template("single-lap"))
LENGTH, GLUE, SHEET = "joint.overlap_length", "adhesive.elastic_modulus", "joint.lower.thickness"


def plan(tmp_path=None, document=DOCUMENT, **given):
    return make_plan(sweep_table(document, given), document, tmp_path)


def points(made):
    return [made.values(n) for n in range(made.number)]


def test_a_grid_is_every_combination_in_order():
    made = plan(vary={LENGTH: ["10 mm", "2 cm"], GLUE: [1000, 2000, 3000]})
    wanted = [{LENGTH: a, GLUE: b} for a, b in itertools.product(["10 mm", "2 cm"], [1000, 2000, 3000])]
    assert points(made) == wanted
    assert made.columns(3) == {"joint.overlap_length_mm": 20.0, "adhesive.elastic_modulus_MPa": 1000.0}


def test_a_grid_of_a_million_is_not_made_beforehand():
    steps = {"from": 1, "to": 2, "steps": 1000}
    made = plan(vary={LENGTH: steps, GLUE: steps})
    assert made.number == 10**6
    assert made.values(10**6 - 1) == {LENGTH: 2.0, GLUE: 2.0}


def test_ranges_have_equal_steps_or_ratios_in_any_unit():
    made = plan(vary={LENGTH: {"from": "1 cm", "to": "40 mm", "steps": 4}})
    assert [p[LENGTH] for p in points(made)] == [10, 20, 30, 40]
    made = plan(vary={GLUE: {"from": "0.1 GPa", "to": "10 GPa", "steps": 5, "spacing": "logarithmic"}})
    # Equal ratios, to the twelve digits that ranges are rounded to.
    assert [p[GLUE] for p in points(made)] == pytest.approx([100, 316.227766017, 1000, 3162.27766017, 10000], rel=1e-11)
    assert 0.3 in [
        p["joint.bondline_thickness"]
        for p in points(plan(vary={"joint.bondline_thickness": {"from": 0.1, "to": 0.3, "steps": 3}}))
    ]


def test_zip_goes_side_by_side():
    made = plan(vary={LENGTH: [10, 20], GLUE: {"from": 1000, "to": 2000, "steps": 2}}, points="zip")
    assert points(made) == [{LENGTH: 10, GLUE: 1000.0}, {LENGTH: 20, GLUE: 2000.0}]
    with pytest.raises(JointError, match=r'points = "zip".*joint.overlap_length has 3, adhesive.elastic_modulus has 2'):
        plan(vary={LENGTH: [1, 2, 3], GLUE: [1, 2]}, points="zip")


def test_tied_keys_follow():
    made = plan(vary={SHEET: [1.5, 2]}, tie={"joint.upper.thickness": SHEET})
    assert points(made) == [{SHEET: t, "joint.upper.thickness": t} for t in (1.5, 2)]
    assert list(made.columns(0)) == ["joint.lower.thickness_mm", "joint.upper.thickness_mm"]


@pytest.mark.parametrize("kind", ["latin-hypercube", "sobol"])
def test_samples_fill_the_space_between_the_ends(kind):
    """One value in every one of 64 equal strata of each key: what defines both designs in one dimension (Latin hypercube:
    McKay et al. 1979; Sobol' net of base 2: Owen 1998; both from memory)."""
    vary = {
        LENGTH: {"from": 10, "to": 40},
        GLUE: {"from": 100, "to": 10_000, "spacing": "logarithmic"},
        "load.ends": ["clamped", "pinned"],
    }
    made = plan(vary=vary, points=kind, samples=64, seed=3)
    found = pd.DataFrame(points(made))
    assert sorted((found[LENGTH] - 10) / 30 * 64 // 1) == list(range(64))
    assert sorted(np.log10(found[GLUE] / 100) / 2 * 64 // 1) == list(range(64))
    assert list(found["load.ends"].value_counts()) == [32, 32]
    assert points(plan(vary=vary, points=kind, samples=64, seed=3)) == points(made)
    assert points(plan(vary=vary, points=kind, samples=64, seed=4)) != points(made)
    # More even than independent points: the discrepancy of scipy as a measure from outside.
    cube = np.column_stack([(found[LENGTH] - 10) / 30, np.log10(found[GLUE] / 100) / 2])
    assert qmc.discrepancy(cube) < qmc.discrepancy(np.random.default_rng(0).random((64, 2)))


@pytest.mark.parametrize("ending", ["csv", "parquet"])
def test_a_table_of_joints_has_a_row_each(tmp_path, ending):
    rows = {"joint.overlap_length": ["10 mm", None, "2 cm"], "load.force_N": ["1000", "2000", "3e3"], "title": ["a", "b", "c"]}
    frame = pd.DataFrame(rows)
    path = tmp_path / f"joints.{ending}"
    frame.to_csv(path, index=False) if ending == "csv" else frame.to_parquet(path)
    made = plan(tmp_path, table=path.name)
    assert points(made) == [
        {LENGTH: "10 mm", "load.force": 1000, "title": "a"},
        {"load.force": 2000, "title": "b"},
        {LENGTH: "2 cm", "load.force": 3000.0, "title": "c"},
    ]
    assert made.columns(2) == {"joint.overlap_length_mm": 20.0, "load.force_N": 3000.0, "title": "c"}


def test_arrays_of_numpy_and_pint_are_lists():
    ureg = pint.application_registry
    made = plan(vary={LENGTH: np.array([10.0, 20.0]), "joint.bondline_thickness": ureg.Quantity([0.1, 0.2], "mm")})
    assert made.columns(3) == {"joint.overlap_length_mm": 20.0, "joint.bondline_thickness_mm": 0.2}


WRONG = {
    "no key": ({"vary": {"joint.overlap_lenght": [1]}}, r"no key joint.overlap_lenght; did you mean joint.overlap_length\?"),
    "far off": ({"vary": {"zzz": [1]}}, r"no key zzz; known: title, joint.kind"),
    "key of another family": ({"vary": {"joint.steps": [1]}}, r"no key joint.steps"),
    "a table": ({"vary": {"joint.lower": [1]}}, r"no key joint.lower; did you mean joint.lower"),
    "no list": ({"vary": {LENGTH: "10 mm"}}, r"sweep.vary.joint.overlap_length = 10 mm: must be a list of values"),
    "empty": ({"vary": {LENGTH: []}}, r"must be a list of values"),
    "nothing": ({}, r"sweep.vary is missing: name at least one key"),
    "steps missing": ({"vary": {LENGTH: {"from": 1, "to": 2}}}, r"steps is missing"),
    "steps none": ({"vary": {LENGTH: {"from": 1, "to": 2, "steps": 0}}}, r"steps = 0: must be"),
    "unknown in range": ({"vary": {LENGTH: {"from": 1, "too": 2}}}, r"too: unknown key; did you mean to\?"),
    "wrong unit": ({"vary": {LENGTH: {"from": "1 N", "to": 2, "steps": 2}}}, r"must be a length"),
    "log of zero": ({"vary": {LENGTH: {"from": 0, "to": 2, "steps": 2, "spacing": "logarithmic"}}}, r"both be above"),
    "range of text": ({"vary": {"load.ends": {"from": "a", "to": "b", "steps": 2}}}, r"is no quantity.*give a list"),
    "tie to nothing": (
        {"vary": {SHEET: [1]}, "tie": {"joint.upper.thickness": "joint.lower.thicknes"}},
        r"did you mean joint.lower.thickness\?",
    ),
    "tie unknown": ({"vary": {SHEET: [1]}, "tie": {"joint.uper.thickness": SHEET}}, r"did you mean joint.upper.thickness\?"),
    "tie of another dimension": ({"vary": {SHEET: [1]}, "tie": {GLUE: SHEET}}, r"not of one dimension"),
    "tie varied": (
        {"vary": {SHEET: [1], "joint.upper.thickness": [1]}, "tie": {"joint.upper.thickness": SHEET}},
        r"is varied itself",
    ),
    "inside": (
        {"vary": {"joint.lower.material": ["steel A36"], "joint.lower.material.elastic_modulus": [1]}},
        r"lies inside joint.lower.material",
    ),
    "samples of a grid": ({"vary": {LENGTH: [1]}, "samples": 3}, r"samples = 3.*only goes with"),
    "no samples": ({"vary": {LENGTH: [1]}, "points": "sobol"}, r"samples is missing"),
    "no power of two": ({"vary": {LENGTH: [1]}, "points": "sobol", "samples": 48}, r"power of two, such as 32 or 64"),
    "steps of samples": (
        {"vary": {LENGTH: {"from": 1, "to": 2, "steps": 2}}, "points": "sobol", "samples": 2},
        r"leave steps out",
    ),
    "kind of points": ({"vary": {LENGTH: [1]}, "points": "lattice"}, r"sweep.points = .lattice."),
    "unknown": ({"vary": {LENGTH: [1]}, "ponts": "grid"}, r"sweep.ponts: unknown key; did you mean points\?"),
    "limit": ({"vary": {LENGTH: [1]}, "limits": ["peak < 3"]}, r"limit 'peak < 3'"),
    "columns": ({"vary": {LENGTH: [1]}, "columns": []}, r"sweep.columns is missing"),
    "table and vary": ({"vary": {LENGTH: [1]}, "table": "a.csv"}, r"brings its own points"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_one_sentence(case, tmp_path):
    given, sentence = WRONG[case]
    with pytest.raises(JointError, match=sentence) as caught:
        plan(tmp_path, **given)
    assert "\n" not in str(caught.value)


TABLES = {
    "not there": (None, "cannot be read"),
    "binary": (b"\x00\x01\xff\xfe", "is no table that can be read"),
    "empty": (b"", "is no table that can be read"),
    "no rows": (b"joint.overlap_length\n", "has no rows"),
    "unknown": (b"joint.overlap_lengt\n1\n", "did you mean joint.overlap_length"),
    "twice": (b"joint.overlap_length,joint.overlap_length_mm\n1,2\n", "stands in two columns"),
}


@pytest.mark.parametrize("case", TABLES)
def test_a_table_that_is_none_is_one_sentence(case, tmp_path):
    content, sentence = TABLES[case]
    if content is not None:
        (tmp_path / "joints.csv").write_bytes(content)
    with pytest.raises(JointError, match=sentence):
        plan(tmp_path, table="joints.csv")


def test_a_named_adherend_opens_for_a_figure_and_python_joints_have_the_same_keys():
    from fejoint.study.cases import joint_of

    joint = joint_of(DOCUMENT, {"joint.lower.material.elastic_modulus": "60 GPa"})
    assert joint.geometry.lower.material.elastic_modulus == 60_000
    ratio = joint_from_text(template("single-lap")).geometry.lower.material.poisson_ratio
    assert joint.geometry.lower.material.poisson_ratio == pytest.approx(ratio)
    assert joint.geometry.upper.material.elastic_modulus != 60_000
    again = document_from_joint(joint)
    assert joint_of(again, {}) == joint
    assert joint_of(again, {LENGTH: 20}).geometry.overlap_length == 20
    assert joint_of(again, {}) == joint  # the base is as it was


def test_the_schema_describes_the_table():
    jsonschema = pytest.importorskip("jsonschema")
    schema = sweep_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate({"vary": {LENGTH: [1]}, "points": "grid"}, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"points": "lattice"}, schema)
