"""The commented test file to start from: accepted as it is printed, with any key taken, and with a tester's table beside it."""

from __future__ import annotations

import shutil

import pytest

from benchmarks.invented_coupons import FOLDER
from fejoint.cli import run
from fejoint.coupon.file import coupon_test_from_text
from fejoint.coupon.reduce import reduce_coupons
from fejoint.coupon.standards import KINDS, standards
from fejoint.coupon.template import coupons_template

TABLES = {  # of the invented demos
    "single-lap shear": "door-sill-lap",
    "double-lap shear": "door-sill-lap",
    "t-peel": "roof-peel",
    "thick-adherend shear": "floor-thick",
    "dcb": "floor-dcb",
    "enf": "floor-enf",
}


@pytest.mark.parametrize("wanted", [*KINDS, *standards(), "astm d1002-10"])
def test_what_is_printed_is_accepted_and_reduces_a_table(wanted, tmp_path, capsys):
    assert run(["coupons", "--new", wanted]) == 0
    text = capsys.readouterr().out
    kind = coupon_test_from_text(text).what
    shutil.copy(FOLDER / f"{TABLES[kind]}.csv", tmp_path / "door-sill.csv")
    (tmp_path / "test.toml").write_text(text, encoding="utf-8")
    found = reduce_coupons(tmp_path / "test.toml")
    assert found.test.what == kind == (wanted if wanted in KINDS else found.test.followed.kind)
    assert len(found.values()) == len(found.specimens) >= 3


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_that_is_shown_may_be_taken(kind):
    """Each by itself: two of them exclude one another."""
    lines = coupons_template(kind).partition("\n# One such table")[0].splitlines()
    optional = [i for i, line in enumerate(lines) if line.startswith("# ") and " = " in line]
    assert len(optional) > 15
    for i in optional:
        coupon_test_from_text("\n".join([*lines[:i], lines[i].removeprefix("# "), *lines[i + 1 :]]))


def test_the_table_of_a_specimen_may_be_taken():
    text = coupons_template("enf")
    head, _, specimen = text.partition("of its own:\n")
    taken = "\n".join(line.removeprefix("# ") for line in specimen.splitlines())
    (one,) = coupon_test_from_text(f"{head.rpartition('#')[0]}\n{taken}").specimens
    assert one.excluded and len(one.calibration) == 1 and one.seen.shares == {"cohesive": 80, "adhesive": 20}


def test_what_is_no_kind_and_what_does_not_go_together_is_refused(capsys):
    for arguments, says in (
        (["--new", "peal"], "no kind of coupon test"),
        (["--new", "tpeel"], "did you mean t-peel"),
        (["--new", "dcb", "test.toml"], "goes with no FILE"),
        ([], "give a coupon-test file, or --new KIND"),
    ):
        assert run(["coupons", *arguments]) == 2
        assert says in capsys.readouterr().err
