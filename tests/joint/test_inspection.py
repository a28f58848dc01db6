"""Inspection results from a CSV file: what is taken, in which units, and every row's errors by line and column."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest

from fejoint import Adherend, Adhesive, Joint, JointError, Load, SingleLap
from fejoint.joint.file import joint_from_text
from fejoint.joint.flaws import Flaw
from fejoint.joint.inspection import inspected, read_inspection, text_with_flaws, with_flaws

PART = Adherend(material={"elastic_modulus": 70_000.0, "poisson_ratio": 0.33}, thickness=1.6, free_length=50)
LAP = Joint(
    geometry=SingleLap(width=25, overlap_length=12.5, bondline_thickness=0.2, lower=PART, upper=PART),
    adhesive=Adhesive(elastic_modulus=2000.0, poisson_ratio=0.35),
    load=Load(force=2500.0),
)


def flaws(*lines):
    return inspected(list(lines), "scan.csv").flaws


@pytest.mark.parametrize(
    "lines",
    [
        ("start_mm,length_mm,kind", "3.5,2,void"),
        ("start_mm;length_mm;kind", "3,5;2,0;void"),
        ("kind\tlength_mm\tstart_mm", "void\t2\t3,5"),
        ('"start_mm","length_mm","kind"', '"3,5","2","VOID"'),
        ("start,length,kind", "3.5 mm,0.2 cm,void"),
        ("START_mm ; LENGTH_cm ; Kind", " 3,5 ; ,2 ; void "),
        ("", "start_mm,length_mm,kind,place,bondline", "", "3.5,2,void,,1", ","),
        ("start_in,length_in,kind,note", '0.1377952755905512,0.07874015748031496,void,"a ""bubble"", small"'),
    ],
    ids=["commas", "decimal commas", "tabs", "quoted", "units in cells", "spaces, capitals", "empty lines", "inches"],
)
def test_a_flaw_however_it_is_written(lines):
    """3.5 and 2 mm; an inch is 25.4 mm by definition."""
    (flaw,) = flaws(*lines)
    assert (flaw.kind, flaw.start, flaw.length, flaw.bondline) == ("void", pytest.approx(3.5), pytest.approx(2.0), 1)


def test_kinds_places_and_notes():
    found = inspected(
        [
            "start_mm,length_mm,kind,place,bondline,found_by,note",
            "1,2,disbond,upper,2,tap test,near the door",
            "5,1,unwetted,,1,,",
        ],
        "scan.csv",
    )
    assert found.flaws == (
        Flaw(kind="disbond", start=1, length=2, place="upper", bondline=2),
        Flaw(kind="unwetted", start=5, length=1),
    )
    assert (found.rows[0].line, found.rows[0].found_by, found.rows[0].note) == (2, "tap test", "near the door")
    assert found.said == ()


def test_a_patch_counts_across_the_whole_width_and_that_is_said():
    found = inspected(["start_mm,length_mm,kind,width_mm", "1,2,void,8", "5,1,void,", "8,1,void,3"], "scan.csv")
    assert [row.width for row in found.rows] == [8, None, 3]
    (sentence,) = found.said
    assert "lines 2, 4" in sentence and "across the whole width" in sentence


@pytest.mark.parametrize(
    ("lines", "sentences"),
    [
        ([], ["scan.csv: is empty"]),
        (["", " , "], ["scan.csv: is empty"]),
        (["start_mm,length_mm,kind"], ["has no flaws below its first line"]),
        (["start_mm,kind", "1,void"], ["has no column length_mm"]),
        (["start_mm,length_mm", "1,2"], ["has no column kind"]),
        (["start_mm,length_mm,kind,depth_mm", "1,2,void,3"], ['column "depth_mm" is not known']),
        (["start_mm,start_cm,length_mm,kind", "1,2,3,void"], ["has the column start twice"]),
        (["start_MPa,length_mm,kind", "1,2,void"], ["column start_MPa: mpa is no unit of length"]),
        (
            ["start_mm;length_mm;kind", "x;2;void", "1;;disbond", "2;3;hole", "4;1;void"],
            [
                'line 2, column start_mm: "x" must be a number alone',
                "line 3, column length_mm: is empty",
                'line 4, column kind: kind = "hole"',
            ],
        ),
        (
            ["start_mm,length_mm,kind", "3,5,2,void"],
            ["line 2: has 4 cells where there are 3 columns (is a comma a decimal point here?"],
        ),
        (["start_mm,length_mm,kind,bondline", "3,5,void,1.5"], ['line 2, column bondline: "1.5" must be a whole number']),
        (["start_mm,length_mm,kind,width_mm", "3,5,void,0"], ["line 2, column width_mm: "]),
        (["start_mm,length_mm,kind,place", "3,5,void,lower"], ["line 2, column place: ", "a void goes through"]),
        (["start_mm,length_mm,kind", "1e999,5,void"], ["line 2, column start_mm: "]),
        (["start_mm,length_mm,kind", "-1,5,void"], ["line 2, column start_mm: ", "must be at least 0 mm"]),
        (["start_mm,length_mm,kind", *["x,1,void"] * 8], ["; and 3 more"]),
    ],
)
def test_every_error_by_line_and_column(lines, sentences):
    with pytest.raises(JointError) as error:
        inspected(lines, "scan.csv")
    for sentence in sentences:
        assert sentence in str(error.value)
    assert "\n" not in str(error.value) and str(error.value).startswith("scan.csv: ")


def test_flaws_that_the_joint_has_no_room_for_by_their_lines():
    found = inspected(
        ["start_mm,length_mm,kind,bondline", "1,1,void,1", "13,1,void,1", "12,1,void,1", "3,1,void,2", "5,0.01,void,1"],
        "scan.csv",
    )
    with pytest.raises(JointError) as error:
        with_flaws(LAP, found)
    text = str(error.value)
    assert text.startswith("scan.csv: line 3: start = 13 mm") or 'scan.csv: line 3: start = "13 mm"' in text
    for words in ("line 4: length", "line 5: bondline = 2", "line 6: length"):
        assert words in text
    assert "line 2" not in text
    whole = inspected(["start_mm,length_mm,kind", "0,6,void", "6,6.5,void"], "scan.csv")
    with pytest.raises(JointError, match=r"^scan.csv: .*leaves 0 mm"):
        with_flaws(LAP, whole)


def test_they_join_those_of_the_joint_file_and_stand_in_its_text():
    """The text makes the same joint again, whatever form its own flaws have."""
    found = inspected(["start_mm,length_mm,kind,place", "3,1,disbond,lower", "6,1,void,"], "scan\n.csv")
    for own in (
        "",
        '\n[[flaw]]\nkind = "void"\nstart = "1 mm"\nlength = "1 mm"\n',
        'flaw = [{ kind = "void", start = 1, length = 1 }]\n',
    ):
        from fejoint.joint.file import joint_to_toml

        text = own + joint_to_toml(LAP) if own.startswith("flaw") else joint_to_toml(LAP) + own
        joint = with_flaws(joint_from_text(text), found)
        assert len(joint.flaws) == 2 + bool(own)
        new = text_with_flaws(text, found)
        assert joint_from_text(new).flaws == joint.flaws
        assert len(tomllib.loads(new)["flaw"]) == len(joint.flaws)


def test_the_shipped_example_is_of_the_door_sill():
    """It merges what touches, and says so; invented, marked."""
    with resources.as_file(resources.files("fejoint.demo") / "whole-job" / "inspection.csv") as path:
        found = read_inspection(path)
    joint = with_flaws(
        joint_from_text(resources.files("fejoint.demo").joinpath("door-sill.toml").read_text(encoding="utf-8")), found
    )
    assert len(joint.flaws) == 4 and len(joint.merged_flaws().flaws) == 3 and "overlap" in joint.merged_flaws().said[0]
    assert all("invented" in row.note for row in found.rows) and found.said


def test_a_file_that_cannot_be_read(tmp_path):
    with pytest.raises(JointError, match="cannot be read"):
        read_inspection(tmp_path / "none.csv")
    (tmp_path / "odd.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(JointError, match="is not text; give a CSV file"):
        read_inspection(tmp_path / "odd.csv")


@pytest.mark.parametrize("head", ["start (mm),length (mm),kind", "start [mm],length mm,kind,,", "Start(MM),LENGTH [mm],Kind"])
def test_heads_and_empty_columns_as_a_spreadsheet_writes_them(head):
    (flaw,) = flaws(head, "3.5,2,void" + "," * (head.count(",") - 2))
    assert (flaw.start, flaw.length) == (3.5, 2.0)


@pytest.mark.parametrize(
    ("cell", "head", "said"),
    [
        ("2 mm", "start_mm", '"2 mm" must be a number alone, such as 3.5; the column is in mm'),
        ("1.000,5", "start_mm", '"1.000,5" must be a number alone'),
        ("1_0", "start_mm", '"1_0" must be a number alone'),
        ("1", "start (mm", "is no unit of length; write start_mm"),
        ("1", "start_%", "% is no unit of length"),
    ],
)
def test_numbers_and_units_that_are_none(cell, head, said):
    with pytest.raises(JointError) as error:
        flaws(f"{head};length_mm;kind", f"{cell};2;void")
    assert said in str(error.value)


def test_what_is_wrong_with_one_flaw_and_its_joint_is_a_sentence():
    """A flaw of the whole bondline, by its line; a patch wider than the joint. One as wide as the joint is no patch of it."""
    whole = inspected(["start_mm,length_mm,kind", "0,12.5,void"], "scan.csv")
    with pytest.raises(JointError, match=r"^scan.csv: line 2: it leaves 0 mm of bondline 1 bonded; it must be at least 0.2 mm"):
        with_flaws(LAP, whole)
    wide = inspected(["start_mm,length_mm,kind,width_mm", "1,2,void,25", "4,2,void,26"], "scan.csv")
    with pytest.raises(JointError, match=r'^scan.csv: line 3: width = "26 mm": must be at most the joint\'s 25 mm.$'):
        with_flaws(LAP, wide)


def test_notes_hold_nothing_that_steers_a_terminal():
    (row,) = inspected(["start_mm,length_mm,kind,note,found_by", "1,2,void,\x1b[31mred\x1b]0;x\x07,a\x9bb"], "scan.csv").rows
    assert (row.note + row.found_by).isprintable() and "red" in row.note
