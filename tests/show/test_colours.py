"""The maps step evenly, and end clear of the singular corners."""

from __future__ import annotations

import numpy as np
import pytest

from fejoint.show import colours
from fejoint.show.space.solid import read_section


def test_colours_step_evenly_and_have_a_light_middle():
    signed, plain = colours.diverging(), colours.sequential()
    luminance = [0.2126, 0.7152, 0.0722]
    assert (np.diff(plain @ luminance) >= -0.5).all()
    middle = signed[len(signed) // 2]
    assert np.ptp(middle) <= 1
    assert middle.min() > 220
    light = signed @ luminance
    np.testing.assert_allclose(light, light[::-1], atol=30)


@pytest.mark.parametrize("signed", [True, False])
def test_a_table_runs_to_the_limit_and_from_its_opposite_when_signed(signed):
    table = colours.lookup_table(signed, 12.0)
    assert tuple(table.scalar_range) == (-12.0 if signed else 0.0, 12.0)
    np.testing.assert_array_equal(table.values[:, :3], colours.diverging() if signed else colours.sequential())


def test_colours_end_at_the_largest_on_the_mid_line(section, filleted, solved):
    everywhere = np.ones(len(section.cells), dtype=bool)
    for name, adhesive_alone in (("peel", False), ("shear", True), ("von-mises", True)):
        limit, why = colours.colour_limit(section, name, everywhere, adhesive_alone)
        assert limit >= max(np.abs(section.stress[name][nodes]).max() for nodes in section.mid_lines()) * (1 - 1e-12)  # round-off
        assert limit < np.abs(section.stress[name]).max()
        assert "mid-line within the overlap" in why  # it goes on into the fillets
    # The number in the picture is the one in the table, of every family: between nodes too. To round-off.
    for shown in [filleted, *solved.values()]:
        here = read_section(shown)
        every = np.ones(len(here.cells), dtype=bool)
        peel = max(shown.peak_peel[0].value, -shown.least_peel[0].value)
        assert colours.colour_limit(here, "shear", every, False)[0] == pytest.approx(abs(shown.peak_shear[0].value), rel=1e-9)
        limit, why = colours.colour_limit(here, "peel", every, False)
        assert limit == pytest.approx(peel, rel=2e-6)  # of treads that agree to 1e-6 the table has the first
        assert ("within the overlap" in why) == (shown.joint.geometry.spew == "fillet")


def test_colours_of_adherends_leave_one_part_in_a_hundred_of_the_area(section, areas):
    everywhere = np.ones(len(section.cells), dtype=bool)
    limit, why = colours.colour_limit(section, "von-mises", everywhere, False)
    assert "99 %" in why
    corners = section.points[section.cells[:, :4]]
    x, y = corners[..., 0], corners[..., 1]
    area = (x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1) / 2
    assert area.sum() == pytest.approx(sum(areas.values()))
    beyond = area[section.stress["von-mises"][section.cells].mean(axis=1) > limit].sum() / area.sum()
    assert 0.005 < beyond <= 0.01


def test_a_joint_without_stress_has_colours_too(section):
    still = type(section)(**{**vars(section), "stress": {"peel": np.zeros(len(section.points))}})
    assert colours.colour_limit(still, "peel", np.ones(len(section.cells), dtype=bool), False)[0] > 0
