"""Every joint family from its file and from Python: keys, limits, sentences, schema, and what it tells the mechanics."""

from __future__ import annotations

import copy
import math
import tomllib
from itertools import pairwise

import jsonschema
import numpy as np
import pint
import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fejoint import Adherend, Adhesive, DoubleLap, Joint, Load, SingleLap, SteppedLap
from fejoint.errors import JointError
from fejoint.joint.families import FAMILIES
from fejoint.joint.file import joint_from_text, joint_schema, joint_to_toml, template
from fejoint.joint.geometry import Bond
from fejoint.joint.strength import StrengthRules

KINDS = {"single-lap": SingleLap, "double-lap": DoubleLap, "stepped-lap": SteppedLap}
BASES = {kind: tomllib.loads(template(kind)) for kind in KINDS}
every_kind = pytest.mark.parametrize("kind", KINDS)

SHEET = {"material": "aluminium 2024-T3", "thickness": "1.6 mm", "free_length": "50 mm"}
NO_EXPANSION = {**SHEET, "material": {"elastic_modulus": "70 GPa", "poisson_ratio": 0.33}}
ONE_WAY = {  # invented round figures of the order of a carbon ply
    "elastic_modulus_x": "150 GPa",
    "elastic_modulus_y": "10 GPa",
    "elastic_modulus_z": "10 GPa",
    "poisson_ratio_xy": 0.3,
    "poisson_ratio_xz": 0.3,
    "poisson_ratio_yz": 0.4,
    "shear_modulus_xy": "5 GPa",
}
UNLIKE = {"joint.outer": None, "joint.lower_outer": SHEET, "joint.upper_outer": {**SHEET, "thickness": "3 mm"}}
TREADS = {"joint.steps": None, "joint.overlap_length": None, "joint.step_lengths": ["5 mm", 12, "0.8 cm"]}
HEIGHTS = {"joint.step_heights": ["0.2 mm", 0.5, "300 um", 0.6]}
COLD = {"load.temperature_change": "-60 K", "adhesive.expansion": "60e-6 1/K"}


def document(kind: str, changes=()):
    """Return the template's keys with some changed, by dotted key; None takes one out."""
    doc = copy.deepcopy(BASES[kind])
    for key, value in dict(changes).items():
        table = doc
        *path, last = key.split(".")
        for part in path:
            table = table.setdefault(part, {})
        if value is None:
            del table[last]
        else:
            table[last] = copy.deepcopy(value)
    return doc


def read(kind: str, changes=()) -> Joint:
    return joint_from_text(tomlkit.dumps(document(kind, changes)))


def refusal(kind: str, changes) -> str:
    with pytest.raises(JointError) as caught:
        read(kind, changes)
    message = str(caught.value)
    assert "\n" not in message
    assert len(message) < 500
    return message


# Every way to state each family.
STATED = {
    "single-lap": ("single-lap", {}),
    "single-lap, fillet": ("single-lap", {"joint.spew": "fillet", "joint.spew_height": "0.3 mm"}),
    "double-lap": ("double-lap", {}),
    "double-lap, unlike outers": ("double-lap", UNLIKE),
    "double-lap, fillet": ("double-lap", {"joint.spew": "fillet", "joint.spew_height": "0.7 mm"}),
    "double-lap, cold": ("double-lap", COLD),
    "double-lap, inner of a ply": ("double-lap", {"joint.inner.material": ONE_WAY}),
    "double-lap, on pins": ("double-lap", {"load.ends": "pinned", "load.moment": "1 N*m"}),
    "stepped-lap": ("stepped-lap", {}),
    "stepped-lap, treads": ("stepped-lap", TREADS),
    "stepped-lap, heights": ("stepped-lap", HEIGHTS),
    "stepped-lap, treads and heights": ("stepped-lap", TREADS | HEIGHTS),
    "stepped-lap, one step": ("stepped-lap", {"joint.steps": 1}),
    "stepped-lap, twenty steps": ("stepped-lap", {"joint.steps": 20, "joint.bondline_thickness": "0.05 mm"}),
    "stepped-lap, beads": ("stepped-lap", {"joint.spew": "fillet"}),
    "stepped-lap, lifted": ("stepped-lap", {"load.shear_force": "-20 N"}),
}
every_way = pytest.mark.parametrize(("kind", "changes"), STATED.values(), ids=STATED)


# ---- template, file, Python -------------------------------------------------


@every_kind
def test_template_is_a_valid_joint_and_states_every_default(kind):
    """With every line open that is no second way to say the same, nor asks for something more: nothing changes."""
    other_ways = (
        "spew_height",
        "step_lengths",
        "step",
        "flaw",
        "stress_free_temperature",
        *adhesive_limits(),
        *strength_asked_for(),
    )
    lines = [line.removeprefix("# ") if " = " in line else line for line in template(kind).splitlines()]
    opened = "\n".join(line for line in lines if line.partition(" ")[0] not in other_ways)
    assert opened.count("\n") > 20
    joint, everything = joint_from_text(template(kind)), joint_from_text(opened)
    assert type(joint.geometry) is KINDS[kind]
    assert everything.replace(geometry=joint.geometry) == joint
    assert everything.geometry.script_parameters() == joint.geometry.script_parameters()
    assert set(everything.geometry.model_fields_set) > set(joint.geometry.model_fields_set)


def adhesive_limits():
    return [key for key in Adhesive.model_fields if key not in ("elastic_modulus", "poisson_ratio")]


def strength_asked_for():
    """Keys of strength that stand for nothing where they are left out."""
    return [key for key, field in StrengthRules.model_fields.items() if field.default in (None, ())]


@every_kind
def test_template_names_every_key(kind):
    """Those of unlike outers stand in the line on outer; of the alternatives every one is there to be opened."""
    text = template(kind)
    for key in KINDS[kind].model_fields:
        lines = (f"{key} = ", f"[joint.{key}]", f"give {key} and ", f"give lower_outer and {key}")
        assert any(line in text for line in lines), key


def test_families_are_known_by_their_kinds():
    assert FAMILIES == KINDS
    with pytest.raises(JointError, match=r"scarf: no such joint family; known: single-lap, double-lap, stepped-lap"):
        template("scarf")


@every_way
def test_round_trip_gives_the_same_joint(kind, changes):
    """File, joint, file, joint: equal, of equal hash, and the second file is the third."""
    joint = read(kind, changes)
    before = joint.model_dump()
    text = joint_to_toml(joint)
    again = joint_from_text(text)
    assert again == joint
    assert hash(again) == hash(joint)
    assert joint_to_toml(again) == text
    assert joint.model_dump() == before
    for key in document(kind, changes)["joint"]:
        assert key in tomllib.loads(text)["joint"]


def test_python_and_file_make_equal_joints():
    """Whatever units and sequences they are given in; unlike in any key they are unequal."""
    sheet = Adherend(material="aluminium 2024-T3", thickness=1.6, free_length="5 cm")
    thick = Adherend(material="aluminium 2024-T3", thickness="3 mm", free_length=50)
    shared = {"width": "2.5 cm", "bondline_thickness": 0.2}
    rest = {"title": "lap coupon", "adhesive": Adhesive(elastic_modulus=2000, poisson_ratio=0.35), "load": Load(force=2500)}
    lower_upper = {"lower": sheet, "upper": sheet}
    made = {
        ("double-lap",): DoubleLap(**shared, overlap_length=25, inner=sheet, outer=sheet),
        ("double-lap", *UNLIKE): DoubleLap(**shared, overlap_length="25 mm", inner=sheet, lower_outer=sheet, upper_outer=thick),
        ("stepped-lap",): SteppedLap(**shared, steps=3, overlap_length="0.03 m", **lower_upper),
        ("stepped-lap", *TREADS): SteppedLap(**shared, step_lengths=(5, "1.2 cm", 8.0), **lower_upper),
        ("stepped-lap", *HEIGHTS): SteppedLap(
            **shared, steps=3, overlap_length=30, step_heights=[0.2, 0.5, 0.3, 0.6], **lower_upper
        ),
    }
    changes = UNLIKE | TREADS | HEIGHTS
    joints = []
    for (kind, *keys), geometry in made.items():
        joint, file = Joint(geometry=geometry, **rest), read(kind, {key: changes[key] for key in keys})
        assert joint == file
        assert hash(joint) == hash(file)
        joints.append(joint)
    assert len(set(joints)) == len(joints)
    stepped = made[("stepped-lap",)]
    assert stepped.replace(steps=4) != stepped
    assert stepped.replace(steps=None, overlap_length=None, step_lengths=[10, 20]).treads == (10, 20)
    double = made[("double-lap",)]
    assert double.replace(outer=None, lower_outer=sheet, upper_outer=thick) == made[("double-lap", *UNLIKE)]
    with pytest.raises(JointError, match=r"^steps = 3: only goes without step_lengths"):
        stepped.replace(step_lengths=[10, 20])
    with pytest.raises(JointError, match=r"^lower_outer = {...}: only goes without outer"):
        double.replace(lower_outer=sheet)


# ---- one sentence for everything wrong --------------------------------------

WITHOUT_OUTER = {"joint.outer": None}
WITHOUT_STEPS = {"joint.steps": None, "joint.overlap_length": None}
FILLET = {"joint.spew": "fillet"}
D, S = "double-lap", "stepped-lap"


def treads(*lengths):
    return {**WITHOUT_STEPS, "joint.step_lengths": list(lengths)}


def heights(*h):
    return {"joint.step_heights": list(h)}


WRONG = [
    # kind
    *(
        (k, {"joint.kind": v}, "joint.kind", 'one of "single-lap", "double-lap", "stepped-lap"')
        for k in (D, S)
        for v in ("x", 3, [])
    ),
    *((k, {"joint.kind": None}, "joint.kind", "one of single-lap, double-lap, stepped-lap") for k in (D, S)),
    (D, {"joint.kind": 3}, "joint.kind = 3", "must be one of"),
    *((k, {"joint": v}, "joint", "must be a table of keys") for k in (D, S) for v in (3, "text", [])),
    # tables
    (D, {"joint.inner": None}, "joint.inner", "is missing (Adherend in the middle, loaded at the left)"),
    (D, WITHOUT_OUTER, "joint.outer", "add it for both outers alike, or lower_outer and upper_outer"),
    (S, {"joint.lower": None}, "joint.lower", "is missing (Adherend gripped at the left)"),
    (S, {"joint.upper": None}, "joint.upper", "is missing (Adherend loaded at the right"),
    *(
        (k, {f"joint.{part}": v}, f"joint.{part}", "must be a table of keys")
        for k, part in ((D, "inner"), (D, "outer"), (S, "lower"), (S, "upper"))
        for v in (3, True, "text", [])
    ),
    *((D, {**UNLIKE, f"joint.{part}": 3}, f"joint.{part}", "must be a table of keys") for part in ("lower_outer", "upper_outer")),
    *(
        (k, {f"joint.{part}.{key}": None}, f"joint.{part}.{key}", "is missing")
        for k, part in ((D, "inner"), (D, "outer"), (S, "lower"), (S, "upper"))
        for key in SHEET
    ),
    # the adherends' own keys
    *(
        (k, {f"joint.{part}.{key}": value}, f"joint.{part}.{key}", says)
        for k, part in ((D, "inner"), (D, "outer"), (S, "lower"))
        for key, value, says in (
            ("material", "unobtainium", "known:"),
            ("material", "steel A63", 'did you mean "steel A36"'),
            ("material", 3, "must be the name of a material, in quotes, or a table of its properties"),
            ("thickness", "2 kg", "must be a length"),
            ("thickness", -1, "must lie above 0 mm"),
            ("thickness", "11 m", "at most 10000 mm"),
            ("thickness", True, "must be a length"),
            ("free_length", "nan", "must be a length"),
            ("free_length", 0.01, "tenth of the bondline's thickness to 1000 times the adherend's (0.02 to 1600 mm)"),
            ("free_length", "2 m", "tenth of the bondline's thickness to 1000 times the adherend's (0.02 to 1600 mm)"),
        )
    ),
    (D, {"joint.inner.thickness": 201}, "joint.inner.thickness", "1/20 to 1000 times the bondline's thickness (0.01 to 200 mm)"),
    (D, {"joint.outer.thickness": 201}, "joint.outer.thickness", "1/20 to 1000 times the bondline's thickness (0.01 to 200 mm)"),
    (
        D,
        {**UNLIKE, "joint.upper_outer.thickness": 201},
        "joint.upper_outer.thickness",
        "1/20 to 1000 times the bondline's thickness (0.01 to 200 mm)",
    ),
    (D, {**UNLIKE, "joint.lower_outer.material": "x"}, "joint.lower_outer.material", "no adherend material of this name"),
    *((D, {f"joint.{p}.thickness": 0.001}, f"joint.{p}.thickness", "(0.01 to 200 mm)") for p in ("inner", "outer")),
    # outers
    (D, {"joint.lower_outer": SHEET}, "joint.lower_outer", "only goes without outer"),
    (D, {"joint.upper_outer": SHEET}, "joint.upper_outer", "only goes without outer"),
    (D, {**WITHOUT_OUTER, "joint.lower_outer": SHEET}, "joint.upper_outer", "is missing: it goes with lower_outer"),
    (D, {**WITHOUT_OUTER, "joint.upper_outer": SHEET}, "joint.lower_outer", "is missing: it goes with upper_outer"),
    (
        D,
        {**UNLIKE, "joint.upper_outer.free_length": 40},
        "joint.upper_outer.free_length",
        "must equal lower_outer.free_length (50 mm)",
    ),
    # overlap
    (D, {"joint.overlap_length": 0.2}, "joint.overlap_length", "longer than the bondline is thick (0.2 mm)"),
    (D, {"joint.overlap_length": "2 m"}, "joint.overlap_length", "1000 times the thinnest adherend's thickness (1600 mm)"),
    (D, {"joint.overlap_length": None}, "joint.overlap_length", "is missing"),
    (S, {"joint.overlap_length": 0.6}, "joint.overlap_length", "every tread must be longer than the bondline is thick (0.2 mm)"),
    (S, {"joint.overlap_length": "2 m"}, "joint.overlap_length", "1000 times the thinnest adherend's thickness (1600 mm)"),
    # spew: up to nine tenths of an outer, of half the inner, of a stepped adherend; four tenths of the outermost treads
    *((k, {"joint.spew_height": 0.2}, "joint.spew_height", 'only goes with spew = "fillet"') for k in (D, S)),
    *((k, {"joint.spew": "round"}, "joint.spew", '"square" or "fillet"') for k in (D, S)),
    *(
        (k, {**FILLET, "joint.spew_height": 0.019}, "joint.spew_height", "from a tenth of the bondline's thickness")
        for k in (D, S)
    ),
    (D, {**FILLET, "joint.spew_height": 0.73}, "joint.spew_height", "half the inner's thickness (0.02 to 0.72 mm)"),
    (
        D,
        {**FILLET, "joint.spew_height": 1.1, "joint.inner.thickness": 8, "joint.outer.thickness": 1.2},
        "joint.spew_height",
        "to 1.08 mm)",
    ),
    (S, {**FILLET, "joint.spew_height": 1.45}, "joint.spew_height", "(0.02 to 1.44 mm)"),
    (S, {**FILLET, "joint.spew_height": 0.85, **treads(9, 2)}, "joint.spew_height", "first and last tread's length"),
    (S, {**FILLET, "joint.spew_height": 0.85, **treads(2, 9)}, "joint.spew_height", "(0.02 to 0.8 mm)"),
    (D, {**FILLET, "joint.bondline_thickness": 15, "joint.inner.free_length": 60}, "joint.spew", "leave a fillet no room"),
    (D, {**FILLET, "joint.inner.free_length": 0.44}, "joint.inner.free_length", "must be longer than the fillet on it (0.44 mm)"),
    (D, {**FILLET, "joint.outer.free_length": 0.44}, "joint.outer.free_length", "must be longer than the fillet on it (0.44 mm)"),
    (
        S,
        {**FILLET, "joint.spew_height": 1.44, "joint.upper.free_length": 1.8},
        "joint.upper.free_length",
        "must be longer than the fillet on it (1.804 mm)",
    ),
    # steps
    (S, {"joint.steps": 0}, "joint.steps", "must be at least 1"),
    (S, {"joint.steps": 21}, "joint.steps", "must be at most 20"),
    *((S, {"joint.steps": v}, "joint.steps", "must be a whole number") for v in (2.5, 3.0, True, "three", "3", [], {})),
    (S, {"joint.steps": None}, "joint.steps", "is missing: give steps and overlap_length, or step_lengths"),
    (S, {"joint.overlap_length": None}, "joint.overlap_length", "is missing: give steps and overlap_length, or step_lengths"),
    (S, WITHOUT_STEPS, "joint.steps", "is missing: give steps and overlap_length, or step_lengths"),
    (S, {"joint.steps": 14}, "joint.steps", "14 steps in 1.6 mm leave no metal at the ends"),
    (S, {"joint.steps": 14}, "joint.steps", "at most 13"),
    (S, {"joint.bondline_thickness": 2}, "joint.bondline_thickness", "leaves no metal at the ends of adherends 1.6 mm thick"),
    (S, {"joint.steps": 10**400}, "joint.steps", "must be at most 20"),
    # treads
    (S, {"joint.step_lengths": [10, 10]}, "joint.steps", "only goes without step_lengths"),
    (S, {"joint.step_lengths": [10, 10], "joint.steps": None}, "joint.overlap_length", "only goes without step_lengths"),
    (S, treads(), "joint.step_lengths", "must hold at least 1"),
    (S, treads(*[1] * 21), "joint.step_lengths", "must hold at most 20"),
    (S, treads(10, "10 kg"), "joint.step_lengths item 2", "must be a length"),
    (S, treads(10, 10, -1), "joint.step_lengths item 3", "must lie above 0 mm"),
    (S, treads(0), "joint.step_lengths item 1", "must lie above 0 mm"),
    (S, treads(10, [10]), "joint.step_lengths item 2", "must be a length"),
    (S, treads(10, True), "joint.step_lengths item 2", "must be a length"),
    (S, treads(10, math.nan), "joint.step_lengths item 2", "must be a finite number"),
    (
        S,
        treads(10, 0.2),
        'joint.step_lengths = ["10 mm", "0.2 mm"]',
        "every tread must be longer than the bondline is thick (0.2 mm)",
    ),
    (S, treads(900, 900), 'joint.step_lengths = ["900 mm", "900 mm"]', "thinnest adherend's thickness (1600 mm) in all"),
    (S, treads(*[2] * 14), 'joint.step_lengths = ["2 mm", ', "14 steps in 1.6 mm leave no metal at the ends"),
    *(
        (S, {**WITHOUT_STEPS, "joint.step_lengths": v}, "joint.step_lengths", "must be a list in square brackets")
        for v in (3, "3 mm", True, {})
    ),
    # heights
    (S, heights(), "joint.step_heights", "must hold at least 2"),
    (S, heights(*[0.05] * 22), "joint.step_heights", "must hold at most 21"),
    (S, heights(0.8, 0.8), "joint.step_heights", "must hold 4 heights, one more than there are treads"),
    (S, heights(0.4, 0.4, 0.4, 0.2, 0.2), "joint.step_heights", "must hold 4 heights, one more than there are treads"),
    (
        S,
        {**heights(0.8, 0.4, 0.4), **treads(5, 6, 7)},
        "joint.step_heights",
        "must hold 4 heights, one more than there are treads",
    ),
    (S, heights(0.4, 0.4, 0.4, 0.5), "joint.step_heights", "must add up to the adherends' thickness (1.6 mm), not to 1.7 mm"),
    (
        S,
        heights(0.1, 0.5, 0.5, 0.5),
        'joint.step_heights = ["0.1 mm", "0.5 mm", "0.5 mm", "0.5 mm"]',
        "the first step leaves no metal",
    ),
    (S, heights(0.5, 0.5, 0.5, 0.1), "joint.step_heights", "the last step leaves no metal"),
    (S, heights(0.5, 0.009, 0.591, 0.5), "joint.step_heights", "at least 1/20 of the bondline's thickness (0.01 mm)"),
    (S, heights(0.4, 0.4, 0.4, "0.4 s"), "joint.step_heights item 4", "must be a length"),
    (S, heights(0.4, 0.4, -0.4, 1.2), "joint.step_heights item 3", "must lie above 0 mm"),
    (S, {"joint.step_heights": "0.4 mm"}, "joint.step_heights", "must be a list in square brackets"),
    # flush, and long enough for the mesh's lines
    (S, {"joint.upper.thickness": 2}, "joint.upper.thickness", "must equal lower.thickness (1.6 mm)"),
    (S, {"joint.lower.free_length": 1.5}, "joint.lower.free_length", "must be at least the adherend's thickness (1.6 mm)"),
    (S, {"joint.upper.free_length": 1.5}, "joint.upper.free_length", "must be at least the adherend's thickness (1.6 mm)"),
    # load
    *((k, {"load.moment": "1 N*m"}, "load.moment", 'only goes with ends = "pinned"') for k in KINDS),
    *((k, {"load.ends": "pinned", "load.shear_force": 1}, "load.shear_force", 'only goes with ends = "clamped"') for k in KINDS),
    *((k, {"load.shear_force": v}, "load.shear_force", "must be a force") for k in KINDS for v in ("1 mm", True)),
    # expansion, under the key that the user wrote
    *((k, {**COLD, "adhesive.expansion": "x"}, "adhesive.expansion", "an expansion per degree") for k in KINDS),
    *((k, {"load.temperature_change": 5}, "adhesive.expansion", "load.temperature_change = 5 K") for k in KINDS),
    (D, {**COLD, "joint.outer": NO_EXPANSION}, "joint.outer.material.expansion", "is missing: needed because"),
    (D, {**COLD, "joint.inner": NO_EXPANSION}, "joint.inner.material.expansion", "is missing: needed because"),
    *(
        (D, {**COLD, **UNLIKE, f"joint.{part}": NO_EXPANSION}, f"joint.{part}.material.expansion", "is missing: needed because")
        for part in ("lower_outer", "upper_outer")
    ),
    (D, {**COLD, "joint.outer.material": ONE_WAY}, "joint.outer.material.expansion_x", "is missing: needed because"),
    *((S, {**COLD, f"joint.{p}": NO_EXPANSION}, f"joint.{p}.material.expansion", "needed because") for p in ("lower", "upper")),
    # misspelt
    (D, {"joint.iner": SHEET, "joint.inner": None}, "joint.iner", "did you mean inner?"),
    (D, {"joint.outter": SHEET, "joint.outer": None}, "joint.outter", "did you mean outer?"),
    (
        D,
        {**WITHOUT_OUTER, "joint.lower_outr": SHEET, "joint.upper_outer": SHEET},
        "joint.lower_outr",
        "did you mean lower_outer?",
    ),
    (D, {"joint.outer.fre_length": 3}, "joint.outer.fre_length", "did you mean free_length?"),
    (D, {"joint.inner.tickness": 3}, "joint.inner.tickness", "did you mean thickness?"),
    (S, {"joint.step": 3, "joint.steps": None}, "joint.step", "did you mean steps?"),
    (S, {**WITHOUT_STEPS, "joint.step_length": [3]}, "joint.step_length", "did you mean step_lengths?"),
    (S, {"joint.step_hights": [3]}, "joint.step_hights", "did you mean step_heights?"),
    (S, {"load.shearforce": 3}, "load.shearforce", "did you mean shear_force?"),
    # of another family, or none of the user's
    (D, {"joint.lower": SHEET}, "joint.lower", "unknown key; did you mean lower_outer?"),
    (D, {"joint.upper": SHEET}, "joint.upper", "unknown key; did you mean upper_outer?"),
    (D, {"joint.steps": 3}, "joint.steps", "unknown key; known here: kind, width,"),
    (S, {"joint.inner": SHEET}, "joint.inner", "unknown key; known here: kind, width,"),
    ("single-lap", {"joint.inner": SHEET}, "joint.inner", "unknown key; known here: kind, width,"),
    ("single-lap", {"joint.steps": 3}, "joint.steps", "unknown key; known here: kind, width,"),
    (D, {"joint.kind": "single-lap"}, "joint.inner", "unknown key"),
    *(
        (k, {f"joint.{key}": 1}, f"joint.{key}", "unknown key")
        for k in (D, S)
        for key in ("script", "gripped", "pull", "treads", "doublelap", "steppedlap", *KINDS)
    ),
    (D, {"joint.outer.adherend": 1}, "joint.outer.adherend", "unknown key"),
    (D, {"joint.inner.material": {**NO_EXPANSION["material"], "isotropic": 1}}, "joint.inner.material.isotropic", "unknown key"),
    (D, {"title": ["two\nlines"]}, 'title = ["two\\nlines"]', "text in quotes"),
    (D, {"joint.two\nlines": 3}, 'joint."two\\nlines"', "unknown key"),
]


@pytest.mark.parametrize(
    ("kind", "changes", "key", "says"), WRONG, ids=[f"{i} {kind} {key}" for i, (kind, _, key, _) in enumerate(WRONG)]
)
def test_one_sentence_names_key_value_and_what_is_allowed(kind, changes, key, says):
    """The sentence begins with the dotted key that the user has to look at."""
    message = refusal(kind, changes)
    assert message.startswith((f"{key} = ", f"{key} is missing", f"{key}: ") if " = " not in key else key)
    assert says in message


def test_limits_themselves_are_accepted():
    """What lies just inside each of the limits above is read."""
    for kind, changes in (
        (D, {"joint.overlap_length": 0.21}),
        (D, {**FILLET, "joint.spew_height": 0.72}),
        (D, {**FILLET, "joint.spew_height": 0.02}),  # a tenth of 0.2, though 0.1 * 0.2 is more than 0.02
        (D, {**FILLET, "joint.inner.free_length": 0.45, "joint.outer.free_length": 0.45}),
        (D, {"joint.overlap_length": "1.6 m"}),
        (D, {"joint.inner.thickness": 200}),
        (S, {"joint.steps": 13}),
        (S, {"joint.overlap_length": 0.61}),
        (S, {**FILLET, "joint.spew_height": 1.44, "joint.upper.free_length": 1.81}),
        (S, treads(0.21)),
        (S, heights(0.11, 0.5, 0.88, 0.11)),
        (S, heights(0.5, 0.01, 0.59, 0.5)),
        (S, heights(0.4, 0.4, 0.4, 0.4 + 1e-6)),  # a millionth of the thickness, as rounded sums are
        (S, {"joint.lower.free_length": 1.6, "joint.upper.free_length": 1.6}),
    ):
        assert type(read(kind, changes).geometry) is KINDS[kind]


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "9" * 5000,
        "joint.kind = 'double-lap'\njoint.width = 0x" + "F" * 5000,
        "joint.kind = 'double-lap'\njoint.width = " + "[" * 400 + "]" * 400,
        "[materials.adherend." + ".".join("a" * 3000) + "]\nx = 1",
        '"' + "k" * 5000 + '" = 1',
    ],
    ids=["digits", "hexadecimal", "deep list", "deep table", "long key"],
)
def test_what_no_joint_file_holds_gets_one_sentence(text):
    """More digits than Python turns into text, deeper nesting than it follows."""
    with pytest.raises(JointError) as caught:
        joint_from_text(text)
    assert len(str(caught.value)) < 500
    with pytest.raises(JointError):
        joint_from_text(
            template(D), [f"joint.width={text.rpartition(' = ')[2]}x" if "= [" not in text else "joint.width=" + "[" * 9999]
        )


def test_lists_from_python_keep_their_order():
    """Arrays and whole numbers of numpy are taken; a set is not, since it has no order."""
    geometry = read(S).geometry
    assert geometry.replace(steps=np.int64(4)).steps == 4
    free = {"steps": None, "overlap_length": None}
    assert geometry.replace(**free, step_lengths=np.array([30.0, 10.0])).treads == (30, 10)
    assert geometry.replace(**free, step_lengths=[1, 0.5] * pint.application_registry.cm).treads == (10, 5)
    with pytest.raises(JointError, match=r"^step_lengths = .*a set has no order"):
        geometry.replace(**free, step_lengths={30.0, 10.0})
    with pytest.raises(JointError, match=r"^steps = true: must be a whole number"):
        geometry.replace(steps=True)
    with pytest.raises(JointError, match=r"^geometry.width is missing"):
        Joint(geometry={"kind": "double-lap"}, adhesive={}, load={})
    with pytest.raises(JointError, match=r"^geometry.kind is missing: add it\."):
        Joint(geometry={"width": 3}, adhesive={}, load={})


# ---- nonsense everywhere ----------------------------------------------------


def leaves(table, path=()):
    """Return the place of every value in nested tables and lists, and of the tables and lists themselves."""
    places = [path] if path else []
    if isinstance(table, dict):
        places += [place for key, value in table.items() for place in leaves(value, (*path, key))]
    if isinstance(table, list):
        places += [place for i, value in enumerate(table) for place in leaves(value, (*path, i))]
    return places


NONSENSE = st.one_of(
    st.sampled_from(["", "abc", "2 kg", "3 s", "1 mm mm mm**3", "-1 parsec", "0x10 mm", "1;2", "nan", "inf mm", "1e400 mm"]),
    st.text(max_size=12).filter(lambda text: not any(c.isdigit() for c in text)),
    st.sampled_from([math.nan, -math.inf, 10**400, 10**20, -(10**20), -1, 1e300, -0.0]),
    st.booleans(),
    st.lists(st.sampled_from([-1, "x", True, [], {}]), max_size=2),
    st.dictionaries(st.sampled_from(["value", "x"]), st.integers(), max_size=2),
)
# Keys whose numbers may have either sign, or have no limit above.
ANY_NUMBER = ("force", "moment", "shear_force", "temperature_change", "expansion", "poisson_ratio", "elastic_mod", "shear_mod")
STATED_LEAVES = [
    (name, place)
    for name, (kind, changes) in STATED.items()
    if kind != "single-lap"
    for place in leaves(document(kind, changes))
    if place not in (("title",), ("analysis",), ("strength",))  # which may be any text, and empty tables
]


@settings(max_examples=600, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(STATED_LEAVES), NONSENSE)
def test_any_nonsense_value_gets_one_sentence_that_names_its_key(leaf, value):
    """In place of any value, list item or whole table of any family; what may be any number (a force of -1) is read."""
    name, path = leaf
    doc = document(*STATED[name])
    table = doc
    for part in path[:-1]:
        table = table[part]
    table[path[-1]] = value
    key = ".".join(f"item {part + 1}" if isinstance(part, int) else part for part in path).replace(".item", " item")
    number = isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e301
    try:
        joint_from_text(tomlkit.dumps(doc))
    except JointError as error:
        message = str(error)
        assert "\n" not in message
        assert len(message) < 500
        # A number that is one, yet does not go with the others, may be told at one of the others.
        assert message.startswith(key) or (number and message.startswith(f"{path[0]}."))
    else:
        assert number
        assert path[-1].startswith(ANY_NUMBER)


# ---- the schema for editors -------------------------------------------------


@pytest.fixture(scope="module")
def schema():
    """Return the general-purpose validator of the schema."""
    made = joint_schema()
    jsonschema.Draft202012Validator.check_schema(made)
    return jsonschema.Draft202012Validator(made)


@every_way
def test_schema_accepts_what_the_reader_accepts(schema, kind, changes):
    schema.validate(document(kind, changes))
    schema.validate(tomllib.loads(joint_to_toml(read(kind, changes))))


@every_way
def test_schema_refuses_unknown_keys_in_every_table(schema, kind, changes):
    doc = document(kind, changes)
    tables = [place for place in leaves(doc) if not isinstance(place[-1], int)]
    spoiled = 0
    for place in tables:
        copied = copy.deepcopy(doc)
        table = copied
        for part in place:
            table = table[part]
        if isinstance(table, dict):
            table["widht"] = 2
            spoiled += 1
            assert not schema.is_valid(copied), place
    assert spoiled >= 5


WRONG_FOR_THE_SCHEMA = [
    *((k, {"joint.kind": v}) for k in KINDS for v in ("scarf", 3, "")),
    *((k, {"joint.kind": None}) for k in KINDS),
    *((k, {"joint.kind": other}) for k, other in (("single-lap", D), (D, "single-lap"), (D, S), (S, "single-lap"), (S, D))),
    (D, {"joint.lower": SHEET}),
    (S, {"joint.inner": SHEET}),
    ("single-lap", {"joint.steps": 3}),
    (D, {"joint.inner": None}),
    (D, {"joint.overlap_length": None}),
    (D, {"joint.outer": 3}),
    (D, {"joint.inner.thickness": True}),
    (S, {"joint.steps": 0}),
    (S, {"joint.steps": 21}),
    (S, {"joint.steps": 2.5}),
    (S, {"joint.steps": "3"}),
    (S, {"joint.step_lengths": []}),
    (S, {"joint.step_lengths": [1] * 21}),
    (S, {"joint.step_lengths": "3 mm"}),
    (S, {"joint.step_lengths": [True]}),
    (S, {"joint.step_heights": [1]}),
    (S, {"joint.step_heights": [1] * 22}),
    (S, {"load.shear_force": True}),
]


@pytest.mark.parametrize(("kind", "changes"), WRONG_FOR_THE_SCHEMA)
def test_schema_refuses_what_it_can_tell(schema, kind, changes):
    """And so does the reader."""
    assert not schema.is_valid(document(kind, changes))
    refusal(kind, changes)


# ---- what a family tells the mechanics --------------------------------------


def test_bonds_lie_where_the_keys_put_them():
    """By hand. Tolerance 1e-12 mm: round-off of a few sums."""
    single = read("single-lap").geometry
    assert single.bonds() == [Bond(1, "lower", "upper", 0.0, 12.5, 0.0, 1)]
    assert single.cuts() == [("cut 1", "lower", "upper")]
    double = read(D, {"joint.inner.thickness": 3.2}).geometry
    # Half of 3.2 mm and of the layer's 0.2 mm. The inner pulls to the left: above it the layer shears as in a single lap
    # turned over, so the lower bond's sign is the opposite.
    assert double.bonds() == [
        Bond(1, "lower_outer", "inner", 0.0, 25.0, pytest.approx(-1.7, abs=1e-12), -1),
        Bond(2, "inner", "upper_outer", 0.0, 25.0, pytest.approx(1.7, abs=1e-12), 1),
    ]
    assert double.cuts() == [("cut 1", "lower_outer", "inner"), ("cut 2", "inner", "upper_outer")]
    stepped = read(S, TREADS | HEIGHTS).geometry
    wanted = [(0, 5, 0.6), (5, 17, 0.1), (17, 25, -0.2)]  # 0.8 mm less 0.2, 0.5 and 0.3 one after the other
    for bond, (number, (start, end, y)) in zip(stepped.bonds(), enumerate(wanted, 1), strict=True):
        assert bond[:3] == (number, "lower", "upper")
        assert bond[3:6] == pytest.approx((start, end, y), abs=1e-12)
        assert bond.sign == 1
    assert stepped.cuts() == [("cut 1", "lower", "upper")]
    alike = read(S).geometry
    assert [bond.y for bond in alike.bonds()] == pytest.approx([0.4, 0.0, -0.4], abs=1e-12)
    assert [(bond.start, bond.end) for bond in alike.bonds()] == [(0, 10), (10, 20), (20, 30)]


def test_curve_names_are_those_of_the_bonds():
    assert read(S, {"joint.steps": 1}).geometry.curve_names() == [
        "gripped",
        "loaded",
        *(f"bondline 1 {level}" for level in ("middle", "lower", "upper")),
        "cut 1",
        "riser 1 middle",
        "riser 2 middle",
    ]
    double = read(D).geometry
    assert set(double.curve_names()) - set(double.curve_names(half=True)) == {
        "cut 1",
        *(f"bondline 1 {level}" for level in ("middle", "lower", "upper")),
    }
    assert set(double.curve_names(half=True)) - set(double.curve_names()) == {"symmetry"}


def test_entries_and_ends():
    """Left ends enter at x = 0, right ends at x = L; a double lap is loaded at the left, the others at the right."""
    assert read("single-lap").geometry.entries() == {"lower": 0.0, "upper": 12.5}
    assert read(D).geometry.entries() == {"lower_outer": 25.0, "inner": 0.0, "upper_outer": 25.0}
    assert read(S, TREADS).geometry.entries() == {"lower": 0.0, "upper": 25.0}
    for kind, pull, gripped, loaded in (
        ("single-lap", 1, ("lower",), ("upper",)),
        (D, -1, ("lower_outer", "upper_outer"), ("inner",)),
        (S, 1, ("lower",), ("upper",)),
    ):
        g = read(kind).geometry
        assert (g.pull, g.gripped, g.loaded) == (pull, gripped, loaded)


def test_lengths_and_depths():
    """By hand; force over all bonded area, 2500 N over 25 mm times 12.5, 2 x 25 and 5 + 12 + 8 mm."""
    single, double, stepped = read("single-lap"), read(D, UNLIKE), read(S, TREADS)
    assert [j.geometry.length for j in (single, double, stepped)] == [12.5, 25, 25]
    assert [j.geometry.bonded_length for j in (single, double, stepped)] == [12.5, 50, 25]
    assert [j.mean_shear for j in (single, double, stepped)] == pytest.approx([8, 2, 4], rel=1e-12)
    assert [j.geometry.depth for j in (single, double, stepped)] == pytest.approx([3.4, 1.6 + 1.6 + 3 + 0.4, 1.6], rel=1e-12)
    assert [j.geometry.length_key for j in (single, double, stepped, read(S))] == [
        "overlap_length",
        "overlap_length",
        "step_lengths",
        "overlap_length",
    ]


def test_net_thickness_is_the_metal_left_at_every_tread():
    """By hand: 1.6 mm less the way down and half the layer under a tread, the way down less half the layer over it."""
    net = read(S, TREADS | HEIGHTS).geometry.net_thickness()
    assert net["lower"] == pytest.approx((1.3, 0.8, 0.5), abs=1e-12)
    assert net["upper"] == pytest.approx((0.1, 0.6, 0.9), abs=1e-12)


@pytest.mark.parametrize(
    ("kind", "changes", "height"),
    [
        ("single-lap", {}, 0.2),
        ("single-lap", {"joint.bondline_thickness": 1}, 0.8),  # half the thinner adherend
        (D, {}, 0.2),
        (D, {"joint.bondline_thickness": 1}, 0.4),  # those from both faces of the inner: half of its half
        (D, {"joint.bondline_thickness": 1, "joint.inner.thickness": 8}, 0.8),
        (S, {}, 0.2),
        (S, {**treads(0.5, 9), "joint.bondline_thickness": 0.2}, 1 / 9),  # 5/9 of four tenths of the tread
        (S, {"joint.bondline_thickness": 1, "joint.steps": 1}, 0.8),
    ],
)
def test_default_fillet_has_room(kind, changes, height):
    """The bondline's thickness, at most 5/9 of the largest height that is accepted; none at square ends."""
    assert read(kind, {**changes, **FILLET}).geometry.fillet_height == pytest.approx(height, rel=1e-12)
    assert read(kind, changes).geometry.fillet_height == 0


def test_adherend_key_is_the_one_that_the_user_wrote():
    alike, unlike = read(D), read(D, UNLIKE)
    assert [alike.geometry.adherend_key(n) for n in alike.geometry.adherends()] == ["outer", "inner", "outer"]
    assert [unlike.geometry.adherend_key(n) for n in unlike.geometry.adherends()] == ["lower_outer", "inner", "upper_outer"]
    assert set(alike.materials_by_key()) == {"joint.outer.material", "joint.inner.material", "adhesive"}
    assert set(unlike.materials()) == {"lower_outer", "inner", "upper_outer", "adhesive"}
    assert [read(S).geometry.adherend_key(n) for n in ("lower", "upper")] == ["lower", "upper"]


def test_half_stands_for_the_whole_where_the_section_mirrors_itself():
    """Outers alike in thickness and elastic constants, however they are named; no load that would spoil it."""
    alike = {**UNLIKE, "joint.upper_outer": SHEET}
    constants = read(D).geometry.inner.material.engineering_constants()
    table = {"elastic_modulus": constants["e_x"], "poisson_ratio": constants["nu_xy"], "expansion": constants["a_x"]}
    for changes, mirrors in (
        ({}, True),
        (alike, True),
        ({**alike, "joint.upper_outer.material": table}, True),
        ({**alike, "joint.upper_outer.thickness": 1.7}, False),
        ({**alike, "joint.upper_outer.material": "steel A36"}, False),
        ({**alike, "joint.upper_outer.material": {**table, "expansion": 1e-6}}, False),
        ({"joint.inner.material": "steel A36", "joint.inner.thickness": 5}, True),
        ({"load.force": -1, **COLD, **FILLET}, True),
    ):
        joint = read(D, changes)
        assert joint.geometry.has_like_halves is mirrors, changes
        assert joint.half is mirrors, changes
    for load in ({"load.ends": "pinned", "load.moment": 1}, {"load.shear_force": 1}):
        joint = read(D, load)
        assert joint.geometry.has_like_halves
        assert not joint.half
    assert read(D, {"load.ends": "pinned"}).half
    for kind in ("single-lap", S):
        assert not read(kind).half


# ---- areas against polygons drawn round them --------------------------------


def polygon_area(*corners: tuple[float, float]) -> float:
    """Return the area of a polygon with corners counter-clockwise."""
    return 0.5 * sum(ax * by - bx * ay for (ax, ay), (bx, by) in pairwise([*corners, corners[0]]))


def outline_of_single(g):
    h, f, right = g.bondline_thickness / 2, g.fillet_height, g.overlap_length
    leg = f + 2 * h if f else 0.0
    bottom, top = -h - g.lower.thickness, h + g.upper.thickness
    left, end = -g.lower.free_length, right + g.upper.free_length
    return polygon_area(
        *((left, bottom), (right, bottom), (right, -h - f), (right + leg, h), (end, h)),
        *((end, top), (0, top), (0, h + f), (-leg, -h), (left, -h)),
    )


def outline_of_double(g, half=False):
    ta, f, right, face = g.bondline_thickness, g.fillet_height, g.overlap_length, g.inner.thickness / 2
    leg = f + ta if f else 0.0
    below, above = g.outers
    left, end = -g.inner.free_length, right + above.free_length

    def side(sign, thickness):
        """Return the corners of one side, from the inner's right end to its left end."""
        near, far = face + ta, face + ta + thickness
        corners = [(right, face - f), (right + leg, near), (end, near), (end, far), (0, far), (0, near + f), (-leg, face)]
        return [(x, sign * y) for x, y in [*corners, (left, face)]]

    if half:
        return polygon_area((left, 0), (right, 0), *side(1, above.thickness))
    return polygon_area(*side(1, above.thickness), *side(-1, below.thickness)[::-1])


def outline_of_stepped(g):
    h, f, right, t = g.bondline_thickness / 2, g.fillet_height, sum(g.treads), g.lower.thickness / 2
    left, end = -g.lower.free_length, right + g.upper.free_length
    return polygon_area(
        *((left, -t), (right - h - f, -t), (right - h, -t - f), (right + h, -t - f), (right + h + f, -t), (end, -t)),
        *((end, t), (h + f, t), (h, t + f), (-h, t + f), (-h - f, t), (left, t)),
    )


def lower_of_stepped(g):
    h, t = g.bondline_thickness / 2, g.lower.thickness / 2
    x, y, stair = 0.0, t, [(-h, t)]
    for length, height in zip(g.treads, g.risers, strict=False):
        y -= height
        stair += [(x - h, y - h), (x + length - h, y - h)]
        x += length
    return polygon_area((-g.lower.free_length, -t), (x - h, -t), *stair[::-1], (-g.lower.free_length, t))


SIZE = st.floats(0.5, 10.0)
ARM = st.floats(15.0, 100.0)


@st.composite
def geometries(draw):
    """Any geometry of workshop proportions: layers 0.05 to 0.5 mm, sheets 0.5 to 10 mm, 1 to 12 steps."""
    kind, ta = draw(st.sampled_from(list(KINDS))), draw(st.floats(0.05, 0.5))
    keys = {"width": 25, "bondline_thickness": ta, "spew": draw(st.sampled_from(["square", "fillet"]))}
    climb = draw(st.one_of(st.none(), st.floats(0.1, 1.0)))

    def part(thickness, arm):
        return Adherend(material="steel A36", thickness=thickness, free_length=arm)

    if kind == S:
        n, t = draw(st.integers(1, 12)), draw(SIZE)
        shares = draw(st.lists(st.floats(0.05, 1.0), min_size=n + 1, max_size=n + 1))
        least = [0.56 * ta, *[0.06 * ta] * (n - 1), 0.56 * ta]
        t = max(t, 1.1 * sum(least))
        keys["step_lengths"] = draw(st.lists(st.floats(1.0, 20.0), min_size=n, max_size=n))
        keys["step_heights"] = [a + s / sum(shares) * (t - sum(least)) for a, s in zip(least, shares, strict=True)]
        parts = {"lower": part(t, draw(ARM)), "upper": part(t, draw(ARM))}
        room = min(0.4 * keys["step_lengths"][0], 0.4 * keys["step_lengths"][-1], 0.9 * t)
    elif kind == D:
        arm = draw(ARM)
        keys["overlap_length"] = draw(st.floats(1.0, 80.0))
        parts = {"inner": part(draw(SIZE), draw(ARM)), "lower_outer": part(draw(SIZE), arm), "upper_outer": part(draw(SIZE), arm)}
        thin = [parts[name].thickness for name in ("lower_outer", "upper_outer")]
        room = 0.9 * min(parts["inner"].thickness / 2, *thin)
    else:
        keys["overlap_length"] = draw(st.floats(1.0, 80.0))
        parts = {"lower": part(draw(SIZE), draw(ARM)), "upper": part(draw(SIZE), draw(ARM))}
        room = 0.9 * min(parts["lower"].thickness, parts["upper"].thickness)
    if keys["spew"] == "fillet" and climb is not None:
        keys["spew_height"] = 0.11 * ta + climb * 0.99 * (room - 0.11 * ta)
    return KINDS[kind](**keys, **parts)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(geometries())
def test_areas_are_those_of_polygons_round_the_regions(geometry):
    """The regions' areas add up to the outline's, and each adherend's is its own polygon's; 1e-9: round-off of sums."""
    areas = geometry.region_areas()
    if isinstance(geometry, SteppedLap):
        assert sum(areas.values()) == pytest.approx(outline_of_stepped(geometry), rel=1e-9)
        assert areas["lower"] == pytest.approx(lower_of_stepped(geometry), rel=1e-9)
    elif isinstance(geometry, DoubleLap):
        assert sum(areas.values()) == pytest.approx(outline_of_double(geometry), rel=1e-9)
        assert sum(geometry.region_areas(half=True).values()) == pytest.approx(outline_of_double(geometry, True), rel=1e-9)
        assert "lower_outer" not in geometry.region_areas(half=True)
        assert areas["inner"] == geometry.inner.thickness * (geometry.inner.free_length + geometry.overlap_length)
    else:
        assert sum(areas.values()) == pytest.approx(outline_of_single(geometry), rel=1e-9)
        assert areas["upper"] == geometry.upper.thickness * (geometry.upper.free_length + geometry.overlap_length)
    assert list(areas) == [*list(geometry.adherends())[:1], *[n for n in areas if n not in list(geometry.adherends())[:1]]]
    assert set(areas) == {*geometry.adherends(), "adhesive"}
