"""Reading cases: what is refused, in one sentence that names file and key."""

from __future__ import annotations

import pytest

from fejoint.errors import JointError
from fejoint.joint.file import joint_from_text, template
from fejoint.proof.case import CaseFile, case_files, case_from_text
from fejoint.proof.quantities import FINITE_ELEMENTS, QUANTITIES, Place

GIVEN = {"value": None, "tolerance": None}


def test_a_case_holds_the_joint_of_its_file(case, joint_text):
    read = case({})
    assert read.joint == joint_from_text(joint_text)
    assert read.about.source == "derived"
    e = read.expect[0]
    assert (e.expected, e.allowed(e.expected), e.of) == (26.79323, 2e-7 * 26.79323, "Volkersen")


def test_values_and_tolerances_take_units(case):
    read = case({"value": '"0.02679323 GPa"', "tolerance": None, "absolute": '"10 kPa"'})
    assert read.expect[0].expected == pytest.approx(26.79323)
    assert read.expect[0].allowed(1.0) == pytest.approx(0.01)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"quantity": '"peak_sheer"'}, 'quantity = "peak_sheer": no such quantity; did you mean peak_shear?'),
        ({"quantity": '"colour"'}, "--quantities"),
        ({"quantity": None}, "expect item 1.quantity is missing"),
        ({"reason": None}, "expect item 1.reason is missing"),
        ({"reason": '" "'}, "must say why"),
        ({"value": None}, "value is missing: give value or theory"),
        ({"theory": '"Volkersen"'}, "only goes without value"),
        ({"tolerance": None}, "tolerance is missing: give tolerance or absolute"),
        ({"absolute": '"1 MPa"'}, "only goes without tolerance"),
        ({"tolerance": "0"}, "must lie above 0"),
        ({"tolerance": None, "absolute": "-1"}, "must lie above 0"),
        ({"tolerance": '"1 mm"'}, "must be a number without unit"),
        ({"value": '"3 mm"'}, 'expect item 1.value = "3 mm": must be a stress, such as "12 MPa"'),
        ({"value": "true"}, "must be a stress"),
        ({"value": '"0 MPa"'}, "is 0; give absolute"),
        ({"tolerance": None, "absolute": '"3 kg"'}, "absolute = \"3 kg\": must be a stress"),
        ({"quantity": '"edge_shear"', "adherend": '"lower"', "value": '"3 kg"'}, "must be a force per width"),
        ({"quantity": '"load_share"', "value": '"3 kg"'}, "must be a number without unit"),
        ({"tolerence": "1"}, "expect item 1.tolerence: unknown key; did you mean tolerance?"),
        ({"quantity": '"shear_at"'}, "at is missing: shear_at needs it"),
        ({"at": '"3 mm"'}, "does not go with peak_shear"),
        ({"quantity": '"shear_at"', "at": '"3 kN"'}, "must be a length"),
        ({"quantity": '"shear_at"', "at": '"25.1 mm"'}, "lies outside the bondline (0 to 25 mm)"),
        ({"bondline": "2"}, "no such bondline; this joint has 1"),
        ({"bondline": "0"}, "must be at least 1"),
        ({"bondline": '"1"'}, "must be a whole number"),
        ({"quantity": '"edge_moment"', "value": '"1 N"'}, "adherend is missing: edge_moment needs it"),
        ({"quantity": '"edge_moment"', "value": '"1 N"', "adherend": '"inner"'}, "this joint has lower, upper"),
        ({"quantity": '"load_share"', "value": "1", "part": '"tread 1"'}, "this joint has bondline 1"),
        ({"of": '"Volkerson"'}, 'of = "Volkerson": no such theory; did you mean Volkersen?'),
        ({"of": '"Bernoulli"'}, "known for this joint: finite elements"),
        ({"value": None, "theory": '"Bernoulli"'}, "no such theory"),
        ({"quantity": '"elongation"', "value": '"1 mm"'}, "no theory gives elongation"),
    ],
)  # fmt: skip
def test_a_bad_expectation_is_one_sentence(changes, says, case_text):
    with pytest.raises(JointError) as caught:
        case_from_text(case_text(changes), place="my.toml")
    sentence = str(caught.value)
    assert says in sentence
    assert sentence.startswith("my.toml: expect item 1.")
    assert "\n" not in sentence


def test_the_second_of_two_is_named_as_such(case_text):
    with pytest.raises(JointError, match=r"expect item 2\.bondline"):
        case_from_text(case_text({}, {"bondline": "7"}))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('source = "derived"', "", "case.source is missing (Where the expected values come from"),
        ('source = "derived"', 'source = " "', "must say where"),
        ('title = "2 mm', 'titel = "2 mm', "case.titel: unknown key; did you mean title?"),
        ("[case]", "[cass]", "cass: unknown key; did you mean case?"),
        ('width = "25 mm"', 'width = "25 kg"', 'joint.width = "25 kg": must be a length'),
        ("[load]", "[lode]", "lode: unknown key; did you mean load?"),
        ('kind = "single-lap"', "", "joint.kind is missing"),
        ('force = "5 kN"', 'force = "0 kN"', "load_share"),
        ("[case]", "[case", "is not valid TOML"),
    ],
)
def test_a_bad_case_is_one_sentence(old, new, says, case_text):
    text = case_text({"quantity": '"load_share"', "value": "1"})
    assert old in text
    with pytest.raises(JointError) as caught:
        case_from_text(text.replace(old, new), place="my.toml")
    assert says in str(caught.value)
    assert str(caught.value).startswith("my.toml: ")
    assert str(caught.value).count("\n") == 0


def test_nothing_expected_is_no_case(case_text):
    with pytest.raises(JointError, match="expect is missing"):
        case_from_text(case_text())
    with pytest.raises(JointError, match=r"expect = \[\]: must hold at least 1"):
        case_from_text("expect = []\n" + case_text())
    with pytest.raises(JointError, match=r"write \[\[expect\]\], in double brackets"):
        case_from_text(case_text({}).replace("[[expect]]", "[expect]"))
    with pytest.raises(JointError, match="nested too deeply"):
        case_from_text("a = " + "[" * 5000)


def test_what_only_some_joints_have(case_text):
    """A factor of edge moments is a single lap's; where two bondlines lie at x, one must be named."""
    double = template("double-lap").replace("# ", "#") + '\n[case]\nsource = "x"\n'
    expect = '\n[[expect]]\nquantity = "{}"\nvalue = 1\ntolerance = 1\nreason = "x"\n'
    with pytest.raises(JointError, match="single lap under a force alone"):
        case_from_text(double + expect.format("edge_moment_factor"))
    with pytest.raises(JointError, match="say which: bondlines 1 and 2 lie at x = 3 mm"):
        case_from_text(double + expect.format("peel_at") + "at = 3\n")
    assert case_from_text(double + expect.format("peel_at") + "at = 3\nbondline = 2\n").expect[0].place == Place(2, 3.0)


def test_files_and_folders(tmp_path, case_text):
    for name in ("b", "a"):
        (tmp_path / f"{name}.toml").write_text(case_text({}))
    (tmp_path / "notes.txt").write_text("no case")
    assert [file.name for file in case_files([tmp_path])] == ["a", "b"]
    assert [file.name for file in case_files([tmp_path / "b.toml"])] == ["b"]
    (tmp_path / "empty").mkdir()
    with pytest.raises(JointError, match=r"holds no case files"):
        case_files([tmp_path / "empty"])
    with pytest.raises(JointError, match="no such file or folder"):
        case_files([tmp_path / "gone.toml"])
    (tmp_path / "c.toml").write_bytes(b"\xff\xfe\xff")
    broken = case_files([tmp_path])[-1]
    assert isinstance(broken, CaseFile)
    with pytest.raises(JointError, match="is not text"):
        broken.read()


def test_every_quantity_says_what_it_is():
    for name, quantity in QUANTITIES.items():
        assert quantity.meaning, name
        assert set(quantity.needs) <= set(quantity.takes) <= {"bondline", "at", "adherend", "part"}, name
    assert FINITE_ELEMENTS not in QUANTITIES
