"""Tables of coupons: separators, decimal commas, what is refused and where it stands."""

import math

import pytest

from fejoint.coupon.value_table import quantity_of, read_values, unit_of
from fejoint.errors import JointError


def written(tmp_path, text):
    path = tmp_path / "lot.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize(
    "text",
    [
        "name,strength_MPa\na,22.5\nb,-3e1\n",
        "name;strength_MPa\na;22,5\nb;-3e1\n",
        "name\tstrength_MPa\r\na\t22,5\r\nb\t-30\r\n",
        "\ufeff# INVENTED\n\n name , strength_MPa \n a , 22.5 \n,\nb,-30\n",
        '"name";"strength_MPa"\n"a";"22.5"\n"b";"-30"\n',
    ],
)
def test_forms_of_a_table(tmp_path, text):
    table = read_values(written(tmp_path, text))
    assert table.texts("name") == ("a", "b")
    assert table.numbers("strength_MPa") == (22.5, -30.0)


def test_one_column_may_have_decimal_commas_but_no_column_both(tmp_path):
    assert read_values(written(tmp_path, "strength_MPa\n22,5\n23\n")).numbers("strength_MPa") == (22.5, 23.0)
    assert read_values(written(tmp_path, "strength_MPa\n22.5\n23\n")).numbers("strength_MPa") == (22.5, 23.0)
    for text in ("strength_MPa\n22,5\n23.5\n", "a;strength_MPa\n1;1.234,5\n2;3\n"):
        with pytest.raises(JointError, match="mixes decimal commas and points"):
            read_values(written(tmp_path, text)).numbers("strength_MPa")


def test_blank_cells_answers_and_beginnings(tmp_path):
    table = read_values(written(tmp_path, "time_h;temperature_degC;broken\n0;;yes\n1;40;No\n2;40;1\n"))
    assert math.isnan(table.numbers("temperature_degC", blank=True)[0])
    assert table.answers("broken") == (True, False, True)
    assert table.beginning(("time",)) == "time_h"
    assert table.beginning(("strength",)) is None
    assert (unit_of("time_h"), unit_of("strength")) == ("h", "")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "needs a first line with the names of the columns and a line for each coupon."),
        ("strength_MPa\n", "needs a first line"),
        ("a,a\n1,2\n", "must name every column, each once."),
        ("a,\n1,2\n", "must name every column, each once."),
        ("a,b\n1,2\n3\n", "lot.csv, line 3: has 1 cells; the first line names 2 columns."),
        ("a,b\n1,22,5\n", "line 2: has 3 cells"),
        ('a,b\n"1,2\n3",4\n', "a cell in quotes must end on its own line."),
        ('a,b\n"1,2\n', "is no table"),
        (b"a,b\n1\x00,2\n", "is no text file"),
    ],
)
def test_what_is_no_table(tmp_path, text, says):
    with pytest.raises(JointError) as error:
        read_values(written(tmp_path, text))
    assert says in str(error.value)


@pytest.mark.parametrize("cell", ["strong", "nan", "inf", "1_000", "", "1.2.3"])
def test_what_is_no_number_is_named_with_its_line(tmp_path, cell):
    table = read_values(written(tmp_path, f"name,strength_MPa\na,22.5\n\nb,{cell}\n"))
    with pytest.raises(JointError, match=r"lot.csv, line 4: strength_MPa = .* must be a finite number"):
        table.numbers("strength_MPa")


def test_missing_files_columns_and_answers(tmp_path):
    with pytest.raises(JointError, match="cannot be read"):
        read_values(tmp_path / "none.csv")
    table = read_values(written(tmp_path, "a,b\n1,maybe\n"))
    with pytest.raises(JointError, match="has no column c; it has a, b"):
        table.numbers("c")
    with pytest.raises(JointError, match=r'line 2: b = "maybe" must be yes or no'):
        table.answers("b")


@pytest.mark.parametrize("encoding", ["utf-8", "latin-1", "utf-16"])
@pytest.mark.parametrize("head", ["strength_MPa", "Strength (MPa)", "Strength [MPa]"])
def test_heads_and_encodings_of_spreadsheets(tmp_path, head, encoding):
    path = tmp_path / "table.csv"
    path.write_bytes(f"{head};Temp °C\n20,5;23\n21;23\n".encode(encoding))
    read = read_values(path)
    assert read.beginning(["strength"]) == head
    assert (unit_of(head), quantity_of(head).lower()) == ("MPa", "strength")
    assert read.numbers(head) == (20.5, 21.0)
