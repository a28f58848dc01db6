"""Tables as testers write them: one test in many forms is read as the same numbers; what is wrong is named with its place.

Numbers are made up here, and known to all digits: compared to 1e-12.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fejoint.coupon.curve import Pull
from fejoint.coupon.tester import Columns, ColumnUnits, Reading, decoded, pulls_from_file, pulls_from_text
from fejoint.errors import JointError

EXACT = 1e-12
ROWS = [(0.0, 0.0, 0.0), (0.5, 0.0125, 120.5), (1.0, 0.025, 1240.25), (1.5, 0.0375, 2360.125)]  # s, mm, N


def same(pull, rows=ROWS, force=1.0):
    assert pull.time == pytest.approx([r[0] for r in rows], abs=EXACT)
    assert pull.displacement == pytest.approx([r[1] for r in rows], abs=EXACT)
    assert pull.force == pytest.approx([force * r[2] for r in rows], abs=1e-9)


def table(delimiter=",", decimal=".", head=("Time [s]", "Travel [mm]", "Load [N]"), before=(), rows=ROWS, units=(), thousands=""):
    def number(value):
        whole, _, part = f"{value:.4f}".partition(".")
        whole = f"{int(whole):,}".replace(",", thousands) if thousands else whole
        return f"{whole}{decimal}{part}"

    lines = [*before, delimiter.join(head), *([delimiter.join(units)] if units else [])]
    return "\n".join([*lines, *(delimiter.join(map(number, row)) for row in rows)]) + "\n"


@pytest.mark.parametrize(
    ("delimiter", "decimal", "thousands"),
    [(d, c, t) for d, c, t in itertools.product(",;\t|", ".,", ("", ".", ",", " ", "'")) if c not in (d, t) and t != d],
)
def test_delimiters_and_decimal_signs_are_found(delimiter, decimal, thousands):
    text = table(delimiter, decimal, before=["Machine of ours;Lab 2", "Date;12.03.2024", ""], thousands=thousands)
    (pull,) = pulls_from_text(text, place="sill.csv")
    same(pull)
    assert pull.name == "sill"
    stated = Reading(delimiter=delimiter, decimal=decimal, thousands=thousands, header_lines=3)
    same(pulls_from_text(text, stated)[0])


@pytest.mark.parametrize(
    ("head", "units", "force"),
    [
        (("Time [s]", "Crosshead (mm)", "Force (N)"), (), 1),
        (("time_s", "displacement_mm", "force_N"), (), 1),
        (("Time / s", "Stroke / mm", "Load / kN"), (), 1000),
        (("Zeit", "Standardweg", "Standardkraft"), ("s", "mm", "kN"), 1000),
        (("Time", "Position", "Load"), ("(s)", "(mm)", "(lbf)"), 4.4482216152605),
        (("Elapsed time, s", "Crosshead position, mm", "Load, kgf"), (), 9.80665),
    ],
)
def test_columns_and_units_are_found(head, units, force):
    """Names of the trade in English and German; units in the head or under it; lbf and kgf are exact by definition."""
    reading = Reading(columns=Columns(force="Standardkraft")) if head[2] == "Standardkraft" else None
    text = table("\t", head=head, units=units)
    same(pulls_from_text(text, reading)[0], force=force)


def test_what_is_stated_goes_before_what_is_found():
    """Columns by name or number, units over those of the head, lines before the head that hold numbers."""
    text = "1;2;3\n4;5;6\nA [N];B [kN];Crosshead [mm];T\n" + "".join(f"{i};{2 * i};{3 * i};{i}\n" for i in range(1, 5))
    reading = Reading(
        header_lines=2, columns=Columns(force="B", displacement=3, time=4), units=ColumnUnits(force="N", displacement="um")
    )
    (pull,) = pulls_from_text(text, reading)
    assert pull.force == pytest.approx([2, 4, 6, 8])
    assert pull.displacement == pytest.approx([0.003, 0.006, 0.009, 0.012])
    pressed = pulls_from_text("Travel [mm],Load [N]\n0,-1\n-1,-2\n-2,-3\n", Reading(negative=True))[0]
    assert pressed.force == pytest.approx([1, 2, 3]) and pressed.displacement == pytest.approx([0, 1, 2])


def test_several_specimens_by_a_column_and_by_blocks():
    by_column = "Specimen;Load [N];Travel [mm]\n" + "".join(f"{s};{i}.5;{i}\n" for s in ("A 1", "B") for i in range(4))
    assert [p.name for p in pulls_from_text(by_column)] == ["A 1", "B"]
    blocks = "".join(
        f"Specimen: {s}\nWidth;25\nLoad [N];Travel [mm]\n" + "".join(f"{i}.5;{i}.0\n" for i in range(n)) + "\n"
        for s, n in (("P1", 4), ("P2", 6))
    )
    found = pulls_from_text(blocks)
    assert [(p.name, len(p.force)) for p in found] == [("P1", 4), ("P2", 6)]
    bare = "".join("Load [N];Travel [mm]\n" + "".join(f"{i}.5;{i}.0\n" for i in range(4)) for _ in range(2))
    assert [p.name for p in pulls_from_text(bare, place="x.csv")] == ["x 1", "x 2"]


def test_a_table_of_results_may_stand_before():
    """What is read is the first table with force and displacement; quotes, a name in a line over each block."""
    blocks = "".join(
        f'"Specimen {i}"\n"Time (s)";"Travel (mm)";"Load (N)"\n"0,0";"0,0";"1,5"\n"0,1";"0,2";"{i}00,25"\n"0,2";"0,3";"3,5"\n\n'
        for i in (1, 2)
    )
    found = pulls_from_text('"Results"\n"";"Strength (MPa)";"Energy (J)"\n"1";"20";"5"\n"2";"21";"6"\n\n' + blocks)
    assert [(p.name, p.largest) for p in found] == [("1", 100.25), ("2", 200.25)]


def test_crack_lengths_are_empty_where_none_was_read():
    text = "Travel [mm],Load [N],Crack length [mm]\n0,0,\n1,5,45\n2,4,\n3,3,55.5\n"
    crack = pulls_from_text(text)[0].crack_length
    assert np.isnan(crack[[0, 2]]).all()
    assert crack[[1, 3]] == pytest.approx([45, 55.5])


def test_an_extension_alone_is_the_displacement():
    pull = pulls_from_text("Load [N],Extension [um]\n0,0\n1,5\n2,9\n")[0]
    assert pull.displacement == pytest.approx([0, 0.005, 0.009]) and pull.extension == pytest.approx(pull.displacement)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1", "utf-16", "utf-16-le"])
def test_encodings(encoding, tmp_path):
    text = table(";", ",", before=["Prüfer;Frau Ärmel", "23 °C"])
    path = tmp_path / "sill.csv"
    path.write_bytes(text.encode(encoding))
    same(pulls_from_file(path)[0])
    assert "Ärmel" in decoded(text.encode(encoding), None, "x")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("1240.2500", "broken"), r'x\.csv, line 4, column 3 \(Load \[N\]\): "broken" is no number with the decimal sign'),
        (("1240.2500", ""), r"x\.csv, line 4, column 3 .*a number is missing"),
        (("1240.2500", "nan"), r"x\.csv, line 4, column 3 .*\"nan\" is no number"),
        (("1240.2500", "1_240"), r"x\.csv, line 4, column 3 "),
        (
            ("1.5000|", "0.2500|"),
            r"x\.csv, line 5, column 1 \(Time \[s\]\): time falls from 1 s to 0\.25 s; times must not",
        ),
        (("Load [N]", "Load"), r"column 3 \(Load\) says no unit; give data\.units\.force, such as \"N\""),
        (("Load [N]", "Load [mm]"), r'column 3 \(Load \[mm\]\), unit "mm": must be a force'),
        (
            ("Load [N]", "Channel 3 [N]"),
            r"no column is the force, .*; give data\.columns\.force; columns: Time \[s\]",
        ),
        (("Travel [mm]", "Load [kN]"), r"columns Load \[kN\], Load \[N\] may all be the force; give data\.columns\.force"),
        (("120.5000", "120,5"), r"x\.csv"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(change, said):
    old, new = change
    text = table("|")
    assert old in text
    with pytest.raises(JointError, match=said):
        pulls_from_text(text.replace(old, new), place="x.csv")


@pytest.mark.parametrize(
    ("text", "reading", "said"),
    [
        ("", None, "no table of numbers found in its first 500 lines"),
        ("hello\nworld\n", None, "no table of numbers found"),
        ("1,2\n3,4\n5,6\n", None, "no line with the names of the columns"),
        (
            table(),
            Reading(header_lines=70),
            "data.header_lines = 70: line 71 should hold the names of the columns, and is not there",
        ),
        (table(), Reading(columns=Columns(force="Kraft")), 'data.columns.force = "Kraft": there is none; columns: Time'),
        (table(), Reading(columns=Columns(force=9)), "data.columns.force = 9: the table has 3 columns"),
        (table(), Reading(columns=Columns(force=2, displacement=2)), "force and displacement are one column"),
        (table(rows=ROWS[:2]), None, "has 2 points, and a curve needs 3"),
        (
            table(rows=[(0, 0, -1), (1, 1, -2), (2, 2, -3)]),
            None,
            "no force lies above 0; if pressing counts as negative, say data.negative",
        ),
        ("S;Load [N];Travel [mm]\n;1;2\n;2;3\n;3;4\n", Reading(columns=Columns(specimen="S")), "names no specimen"),
        ("Travel [mm];Load [N]\n1,5;2.5\n2,5;3.5\n3,5;4.5\n", None, "numbers have both points and commas; say which is which"),
        ("Load [N];Travel [mm]\n1,500;1\n2,500;2\n3,500;3\n", None, "may be a number with a decimal sign or one in thousands"),
        (table(), Reading(delimiter=";"), "no column is the|header_lines"),
    ],
)
def test_bad_tables(text, reading, said):
    with pytest.raises(JointError, match=said):
        pulls_from_text(text, reading)


def test_limits(tmp_path, monkeypatch):
    """Files that are too large, folders, and files that are no text are refused before they are read in."""
    path = tmp_path / "x.csv"
    path.write_bytes(b"\x00\x01\x02\x00" * 100)
    with pytest.raises(JointError, match="is no text"):
        pulls_from_file(path)
    with pytest.raises(JointError, match="is a folder, a pipe or a device"):
        pulls_from_file(tmp_path)
    with pytest.raises(JointError, match="cannot be read"):
        pulls_from_file(tmp_path / "none.csv")
    monkeypatch.setattr("fejoint.coupon.tester.MOST_BYTES", 10)
    with pytest.raises(JointError, match="is larger than"):
        pulls_from_file(path)
    monkeypatch.setattr("fejoint.coupon.tester.MOST_POINTS", 3)
    with pytest.raises(JointError, match="has more than 3 lines"):
        pulls_from_text(table())
    with pytest.raises(JointError, match=r'units\.force = "mm": must be a force'):
        Reading(units={"force": "mm"})


def test_a_machine_that_gives_way():
    """Displacement less compliance times force; force and all else as before."""
    pull = Pull("S", np.array([0.0, 0.2]), np.array([0.0, 1000.0]))
    assert pull.without_machine(5e-5).displacement == pytest.approx([0, 0.15])


# ---- what testers' programs do to tables -----------------------------------------


@pytest.mark.parametrize("mark", ["\u00a0", "\u202f", "\u2009", "\u2019"])
def test_thousands_may_be_parted_by_blanks_that_do_not_break_and_by_curled_quotes(mark):
    same(pulls_from_text(table(";", thousands=mark))[0])


@pytest.mark.parametrize(
    "notes",
    ["\nOperator: A. Person\nMost, 2360, N\n", "END\n", "\nMean,0.5,1.1,1.2\nDeviation,1,2,3\n", "End of test\nMost,2,3,4\n"],
)
def test_notes_under_a_table_are_none_of_it(notes):
    same(pulls_from_text(table() + notes)[0])


@pytest.mark.parametrize("last", ["2.0,0.05,five\n", "2.0,five,2500\n", "\n2.0,0.05,five\n"])
def test_a_damaged_last_row_is_no_note(last):
    text = table().replace("\n", "\n\n") if last.startswith("\n") else table()  # empty lines all through part nothing
    with pytest.raises(JointError, match='"five" is no number'):
        pulls_from_text(text + last)
    with pytest.raises(JointError, match='"five" is no number'):  # nor in a block before another
        pulls_from_text(text + last + "\n" + table())


def test_times_before_the_start_are_refused():
    with pytest.raises(JointError, match=r"line 2, column 1.*time is -0.5 s; times must be 0 or more"):
        pulls_from_text(table(rows=[(-0.5, 0, 0), *ROWS]))


@pytest.mark.parametrize("unit", ["", " (hh:mm:ss)", " [s]"])
def test_times_may_be_of_a_clock(unit):
    rows = "".join(f"1:00:{t:04.1f};{x};{f}\n" for t, x, f in ROWS)
    same(pulls_from_text(f"Time{unit};Travel (mm);Load (N)\n{rows}")[0], [(3600 + t, x, f) for t, x, f in ROWS])
    with pytest.raises(JointError, match='"1:00:61" is no number'):
        pulls_from_text(f"Time;Travel (mm);Load (N)\n{rows}1:00:61;1;1\n")


def test_heads_with_in_with_a_hash_and_with_units_of_what_is_not_read():
    rows = "".join(f"{t};{x};{f};23\n" for t, x, f in ROWS)
    same(pulls_from_text(f"# Time in s;Travel in mm;Kraft in N;Temperature in °C\n{rows}")[0])
    same(pulls_from_text(f"Time;Travel;Load;Temperature\ns;mm;N;°C\n{rows}")[0])


def test_big_endian_text_without_a_mark_is_read():
    same(pulls_from_text(decoded(table().encode("utf-16-be"), None, "sill.csv"))[0])


BESIDE = [
    "S1;;;S2;;\nTime;Travel;Load;Time;Travel;Load\ns;mm;N;s;mm;N\n",
    "S1 Time (s);S1 Travel (mm);S1 Load (N);S2 Time (s);S2 Travel (mm);S2 Load (N)\n",
    "Time_S1 (s);Travel_S1 (mm);Load_S1 (N);Time_S2 (s);Travel_S2 (mm);Load_S2 (N);\n",
]


@pytest.mark.parametrize("head", BESIDE)
@pytest.mark.parametrize("longer", ["S1", "S2"])
def test_specimens_side_by_side_are_told_apart(head, longer):
    """Of unlike length: where one has ended the other goes on."""
    short, empty = ROWS[:3], ("", "", "")
    left, right = (ROWS, [*short, empty]) if longer == "S1" else ([*short, empty], ROWS)
    text = head + "".join(";".join(map(str, (*a, *b))) + "\n" for a, b in zip(left, right, strict=True))
    first, second = pulls_from_text(text)
    assert (first.name, second.name) == ("S1", "S2")
    same(first, ROWS if longer == "S1" else short)
    same(second, ROWS if longer == "S2" else short)


def test_specimens_side_by_side_are_refused_in_different_units_and_told_where_they_are_wrong():
    rows = "".join(f"{x};{f};{x};{f}\n" for _, x, f in ROWS)
    with pytest.raises(JointError, match=r"different units \(N, kN\)"):
        pulls_from_text(f"Travel (mm);Load (N);Travel (mm);Load (kN)\n{rows}")
    with pytest.raises(JointError, match=r"line 6, column 4 \(Load \(N\)\)"):
        pulls_from_text(f"Travel (mm);Load (N);Travel (mm);Load (N)\n{rows}1;2;3;x\n1;2;3;4\n")
    with pytest.raises(JointError, match="may all be the force"):  # one specimen, two load cells
        pulls_from_text("Travel (mm);Load 1 (N);Load 2 (N)\n0;1;1\n1;2;2\n2;3;3\n")


def test_specimens_side_by_side_without_names_get_the_files_with_a_number():
    rows = "".join(f"{x};{f};;{x};{f}\n" for _, x, f in ROWS)
    found = pulls_from_text(f"Travel (mm);Load (N);;Travel (mm);Load (N)\n{rows}", place="sill.csv")
    assert [pull.name for pull in found] == ["sill 1", "sill 2"]
