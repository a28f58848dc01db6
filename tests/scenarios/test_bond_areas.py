"""Areas that a small and a large bond need (benchmarks/bond_areas.py), against the formula worked by hand.

Tolerance: half a unit of the last digit worked out by hand.
"""

from __future__ import annotations

import pytest

from benchmarks.bond_areas import LARGE, SMALL, areas, sheets, small_rows, text


def found(load, adhesive, limit):
    return next(a for a in areas(load) if (a.adhesive, a.limit) == (adhesive, limit))


def test_area_is_force_over_stress():
    """By hand: 250 N / 14.6 MPa = 17.12 mm^2, of which the root is 4.138; 200,000 N / 17.9 MPa = 11,173 mm^2."""
    small = found(SMALL, "toughened epoxy", "yield")
    assert small.area == pytest.approx(17.12, abs=0.005)
    assert small.edge == pytest.approx(4.138, abs=0.0005)
    assert found(LARGE, "toughened epoxy", "strength").area == pytest.approx(11_173, abs=0.5)


def test_sheets_yield_at_stress_times_thickness_times_width():
    """By hand: 250 MPa on 1.6 mm is 400 N/mm, so 200 kN take 500 mm, and 14.6 MPa under 400 N/mm take 27.40 mm."""
    thin, thick = sheets()
    assert thin.width(LARGE) == pytest.approx(500, abs=0.5)
    assert thin.overlap(14.6) == pytest.approx(27.40, abs=0.005)
    assert thick.most(100) == pytest.approx(75_000, abs=0.5)


def test_marks_stand_below_the_tables():
    printed = text()
    assert "common practice, no source" in printed
    assert "from memory" in printed
    assert "None of these adhesives sets within seconds" in printed
    assert len(small_rows()) == 1 + 6
