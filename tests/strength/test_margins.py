"""Margins by arithmetic, the words of the standards, and strength.json: whole, read back, damaged, of another joint."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from laps import GLUE, METAL, QUICK, single, without
from rich.console import Console

from fejoint import SetupError
from fejoint.joint.strength import Knockdown
from fejoint.show.strength_files import FILE, read_strength, strength_csv, strength_data, strength_marks
from fejoint.show.strength_plots import strength_figure
from fejoint.show.strength_tables import answer, strength_report
from fejoint.strength.capacity import MODES, Capacity
from fejoint.strength.margins import margin_of, margins_of

WET = Knockdown(name="hot and wet", factor=0.7, source="user's")
SCATTER = Knockdown(name="scatter", factor=0.8, on="all")
HEAT = Knockdown(name="welded", factor=0.5, on="adherends")


def capacity(key="plateau", factor=2.0, mode="cohesive", **rest):
    return Capacity(key=key, name=key, route="plateau", mode=mode, factor=factor, force=1000 * factor, **rest)


# ---- arithmetic -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mode", "left", "names"),
    [
        ("cohesive", 0.7 * 0.8, ["hot and wet", "scatter"]),
        ("interface", 0.7 * 0.8, ["hot and wet", "scatter"]),
        ("adherend-yield", 0.8 * 0.5, ["scatter", "welded"]),
        ("adherend-rupture", 0.8 * 0.5, ["scatter", "welded"]),
    ],
)
def test_knockdowns_multiply_the_load_of_the_part_they_are_for(mode, left, names):
    """Load borne = product of the factors times the capacity, margin = that over the load less 1 (common practice)."""
    found = margin_of(capacity(mode=mode), (WET, SCATTER, HEAT))
    assert found.factor == pytest.approx(2.0 * left, rel=1e-12)
    assert found.force == pytest.approx(2000.0 * left, rel=1e-12)
    assert found.margin == pytest.approx(2.0 * left - 1, rel=1e-12)
    assert [k.name for k in found.knockdowns] == names


def test_without_knockdowns_the_margin_is_the_load_over_that_applied():
    assert margin_of(capacity(factor=0.75), ()).margin == pytest.approx(-0.25, rel=1e-12)
    assert margin_of(capacity(factor=math.inf), (WET,)).margin == math.inf
    assert margin_of(capacity(factor=0.0), (WET,)).margin == -1.0


def test_the_least_margin_governs_and_each_way_of_failing_has_one():
    """Knockdowns decide who governs: the bond by 2 x 0.7 x 0.8 = 1.12, not the adherend by 1.5, which first yields at 0.4.

    First yield on a face and a criterion that is not believed are no margins; of hinge and net section the lesser counts.
    """
    of = [
        capacity("plateau", 2.0),
        capacity("interaction-peak", 0.1),
        capacity("adherend-face-yield", 0.4, "adherend-yield"),
        capacity("adherend-hinge", 1.5, "adherend-yield"),
        capacity("adherend-net-yield", 1.8, "adherend-yield"),
        capacity("adherend-rupture", 3.0, "adherend-rupture"),
    ]
    found = margins_of(of, of[0], (WET, Knockdown(name="scatter", factor=0.8)))
    assert [m.capacity.key for m in found] == ["plateau", "adherend-hinge", "adherend-rupture"]
    assert [m.factor for m in found] == pytest.approx([1.12, 1.5, 3.0], rel=1e-12)
    assert [m.capacity.key for m in margins_of(of, of[0], ())] == ["adherend-hinge", "plateau", "adherend-rupture"]
    swapped = [replace(c, factor=1.2) if c.key == "adherend-net-yield" else c for c in of]
    assert margins_of(swapped, None, ())[0].capacity.key == "adherend-net-yield"


def test_a_limit_load_of_the_adherends_is_a_yield_of_theirs():
    """Found along the path below hinge and net section: it stands for yield; that of a bond does not."""
    hinge = capacity("adherend-hinge", 1.5, "adherend-yield")
    for mode, factor in (("adherend-yield", 1.3), ("cohesive", 1.5)):
        found = margins_of([hinge, capacity("limit-load", 1.3, mode)], None, ())
        assert [m.factor for m in found] == [factor]


def test_what_cannot_run_leaves_no_margin():
    missing = capacity("adherend-rupture", math.nan, "adherend-rupture", reason="needs it")
    assert margins_of([missing], None, ()) == []


def test_words_of_the_standards():
    """Designations of ISO 10365 (letters from memory) and terms of ASTM D5573 (from memory)."""
    assert {k: (m.iso_10365, m.astm_d5573) for k, m in MODES.items()} == {
        "cohesive": ("cohesion failure (CF)", "cohesive failure"),
        "interface": ("adhesion failure (AF)", "adhesive failure"),
        "adherend-yield": ("none: nothing parts", "none: nothing parts"),
        "buckling": ("none: nothing parts", "none: nothing parts"),
        "adherend-rupture": ("substrate failure (SF)", "stock-break failure"),
    }


# ---- the file -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def found(predicted):
    joint = single(rules={"knockdown": [{"name": "hot and wet", "factor": 0.7}]})
    return predicted(joint, True)


@pytest.fixture(scope="module")
def data(found):
    return strength_data(found)


@pytest.fixture
def folder(tmp_path, data):
    (tmp_path / FILE).write_text(json.dumps(data, indent=2, allow_nan=False) + "\n", encoding="utf-8")
    return tmp_path


def test_the_file_read_back_is_what_was_written(folder, data, found):
    """Number by number: JSON keeps doubles; of its joint it is, of another it is not."""
    assert read_strength(folder) == json.loads(json.dumps(data))
    assert read_strength(folder, found.joint) == json.loads(json.dumps(data))
    assert read_strength(folder / "nowhere") is None


def test_numbers_in_the_file_are_those_of_the_object(data, found):
    assert data["governing"]["margin"] == found.governing.margin
    assert data["applied"]["force_N"] == 2500.0
    of = {c["key"]: c for c in data["criteria"]}
    assert list(of) == [c.key for c in found.capacities]
    for c in found.capacities:
        assert of[c.key]["force_N"] == (c.force if math.isfinite(c.force) else None)
        assert of[c.key]["variants_N"].keys() == c.variants.keys()
    assert of["strain-peak"]["force_N"] is None
    assert of["strain-peak"]["reason"]


def test_the_table_has_a_row_a_criterion(data):
    rows = [row.split(",") for row in strength_csv(data).splitlines()]
    assert rows[0][:5] == ["criterion", "route", "mode", "force_N", "share_of_load"]
    assert [row[0] for row in rows[1:]] == [c["key"] for c in data["criteria"]]
    plateau = next(row for row in rows if row[0] == "plateau")
    assert float(plateau[3]) == pytest.approx(30.0 * 25 * 12.5, rel=1e-6)


def test_figures_from_memory_keep_their_marks():
    """Of the library's adhesive, whose figures are from memory; round stand-ins have no mark."""
    from fejoint import strength_of

    joint = single(adhesive={"material": "toughened epoxy"})
    marks = strength_marks(strength_of(joint, routes=QUICK, variants=False))
    assert marks["adhesive.shear_strength"].startswith("from memory")
    assert marks["adhesive.toughness_mode_2"].startswith("from memory")
    assert strength_marks(strength_of(single(), routes=QUICK, variants=False)) == {}


def damaged(folder, joint=None):
    with pytest.raises(SetupError) as caught:
        read_strength(folder, joint)
    message = str(caught.value)
    assert "\n" not in message
    assert "run fejoint strength again" in message
    assert FILE in message
    return message


@pytest.mark.parametrize(
    "text", ["", "[]", "{}", "3", "null", '{"schema_version": 1}', "{" * 5000, "\x00", '{"schema_version": 1, "criteria": 3}']
)
def test_a_file_that_is_none_is_refused_in_one_sentence(tmp_path, text):
    (tmp_path / FILE).write_text(text, encoding="utf-8")
    assert "is damaged" in damaged(tmp_path)


def test_another_version_is_named(folder, data):
    (folder / FILE).write_text(json.dumps(data | {"schema_version": 2}), encoding="utf-8")
    assert "is of version 2, not 1" in damaged(folder)


def test_another_joint_is_refused(folder):
    """By one newton, or one figure of the adhesive."""
    for other in (
        single(force=2501.0),
        single(adhesive=GLUE | {"shear_strength": 31.0}),
        single(upper=without(METAL, "tensile_strength")),
    ):
        assert "is of another joint" in damaged(folder, other)


WRONG = {"of another kind": "x", "a list": [3], "nothing": None, "a table": {"a": 1}, "a number": 3.5}


def test_whatever_part_is_damaged_it_is_read_or_refused_in_one_sentence(folder, data, found):
    """Every key of the file, left out or of another kind: refused, or words, table and figure are made of it."""
    for key in data:
        for what in ("missing", *WRONG):
            spoiled = {k: v for k, v in data.items() if k != key} if what == "missing" else data | {key: WRONG[what]}
            (folder / FILE).write_text(json.dumps(spoiled), encoding="utf-8")
            for joint in (None, found.joint):
                try:
                    read = read_strength(folder, joint)
                except SetupError as error:
                    assert "\n" not in str(error)
                else:
                    shown(read)


@pytest.mark.parametrize("part", ["criteria", "margins"])
def test_whatever_row_is_damaged_it_is_read_or_refused_in_one_sentence(folder, data, part):
    row = data[part][0]
    for key in row:
        for what in ("missing", *WRONG):
            spoiled = {k: v for k, v in row.items() if k != key} if what == "missing" else row | {key: WRONG[what]}
            (folder / FILE).write_text(json.dumps(data | {part: [spoiled, *data[part][1:]]}), encoding="utf-8")
            try:
                read = read_strength(folder)
            except SetupError as error:
                assert "\n" not in str(error)
            else:
                shown(read)


def words(data, width=120):
    """Return the report of a prediction as text."""
    console = Console(width=width)
    with console.capture() as caught:
        console.print(strength_report(data))
    return caught.get()


def shown(read):
    """Make all that is made of a file, but for the figure, which takes long and reads the same keys."""
    assert answer(read)
    assert words(read)
    assert strength_csv(read)


def test_words_and_figure_of_a_prediction(data):
    """The report names what governs, the believed criterion, knockdowns with their source; the figure has a bar a criterion."""
    text = words(data, 160)
    for said in ("hot and wet 0.7 on adhesive (source: user's)", "It holds", "governs", "believed", "no allowables", "ISO 10365"):
        assert said in text
    (axes,) = strength_figure(data).axes
    bars = [c for c in data["criteria"] if not c["reason"] and c["factor"] is not None]
    assert len(axes.patches) == len(bars)
    widths = sorted(p.get_width() for p in axes.patches)
    assert widths == pytest.approx(sorted(c["force_N"] / 1000 for c in bars), rel=1e-9)
