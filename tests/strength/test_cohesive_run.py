"""A cohesive joint as a run: limit, path and files, read back, gone on from, drawn."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

import fejoint
from fejoint import Adherend, Analysis, Joint, Load, SingleLap
from fejoint.joint.file import joint_to_toml
from fejoint.mechanics.checks import stress_floor
from fejoint.mechanics.path import marker_of
from fejoint.show.path_files import PathWriter
from fejoint.show.reading import read_run

PART = Adherend(
    material={"elastic_modulus": 70_000.0, "poisson_ratio": 0.33, "expansion": 23e-6}, thickness=1.6, free_length=25.0
)


def joint_of(force, **load):
    return Joint(
        joint=SingleLap(width=25.0, overlap_length=10.0, bondline_thickness=0.2, lower=PART, upper=PART),
        adhesive={"material": "stiff brittle epoxy"},
        load=Load(force=force, **load),
        analysis=Analysis(adhesive_model="cohesive", large_rotation=True, mesh_density=0.75),
    )


@cache
def broken():
    return fejoint.solve(joint_of(20_000.0))


def test_a_load_out_of_reach_ends_at_the_largest_and_keeps_the_falling_branch():
    result = broken()
    forces = np.array([one.joint.load.force for one in result.path])
    assert "limit load" in result.limit and "bondline 1" in result.limit and "mode II" in result.limit
    assert result.joint.load.force == forces.max() == forces[result.number - 1]
    assert result.number < len(forces)
    assert forces[-1] <= 0.2 * forces.max()  # followed as far as that, as asked for
    assert not next(check for check in result.checks if check.name == "load_reached").passed
    for one in result.path:
        assert all(check.passed for check in one.checks if check.name not in ("load_reached",)), one.number
    damage = np.array([one.bondlines[0].damage for one in result.path])
    assert (np.diff(damage, axis=0) >= 0).all()
    lost = [one.cracks[1].lost_1 + one.cracks[1].lost_2 for one in result.path]
    assert (np.diff([0.0, *lost]) >= 0).all()


def test_a_load_just_below_is_reached_before_the_peak_and_not_behind_it():
    """The falling branch has an equilibrium under the same load, at a larger elongation and with more damage."""
    top = broken()
    result = fejoint.solve(joint_of(0.97 * top.joint.load.force))
    assert not result.limit
    assert result.number == len(result.path)
    assert result.elongation < top.elongation
    assert result.cracks[1].damaged < top.cracks[1].damaged
    assert result.passed


def test_the_tractions_balance_with_the_load_and_never_pass_the_strengths():
    result = broken()
    # The load passed on is the integral of the shear along the mid-line, 1e-3 as every balance of the package.
    assert result.bond_forces["bondline 1"] == pytest.approx(result.joint.line_load, rel=1e-3)
    a = result.joint.adhesive
    for one in result.path:
        b = one.bondlines[0]
        # At the nodes; places between are interpolated. Damage begins where the squares add up to one.
        assert ((b.shear / a.shear_strength) ** 2 + (np.maximum(b.peel, 0) / a.tensile_strength) ** 2).max() <= 1 + 1e-6


def test_a_run_is_written_and_read_back(tmp_path):
    result = broken()
    fejoint.write_run(result, tmp_path / "run", joint_to_toml(result.asked))
    run = read_run(tmp_path / "run")
    assert run.limit == result.limit
    assert run.number == result.number and len(run.path) == len(result.path)
    for mine, theirs in zip(run.bondlines, result.bondlines, strict=True):
        for name in ("damage", "opening", "sliding"):
            assert np.allclose(getattr(mine, name), getattr(theirs, name), rtol=1e-7, atol=1e-12)
    assert vars(run.cracks[1]) == pytest.approx(vars(result.cracks[1]))
    rows = run.summary["path"]
    assert rows[-1]["parted_mm"] > 0 and rows[0]["parted_mm"] == 0
    assert "parted_mm" in (tmp_path / "run" / "path.csv").read_text().splitlines()[0]


def test_an_interrupted_path_goes_on_to_the_same_numbers(tmp_path):
    joint, whole = joint_of(20_000.0), broken()
    writer = PathWriter(joint, tmp_path / "run")

    def record(result):
        writer.record(result)
        if result.number == whole.number + 2:  # behind the peak
            raise InterruptedError

    with pytest.raises(InterruptedError):
        fejoint.solve(joint, record=record)
    again = PathWriter(joint, tmp_path / "run")
    assert len(again.start) == whole.number + 2
    result = fejoint.solve(joint, record=again.record, start=again.start)
    assert [one.elongation for one in result.path] == [one.elongation for one in whole.path]
    assert result.number == whole.number
    ends = [marker_of(one.path[-1]).state for one in (whole, result)]
    assert np.array_equal(ends[0].unknowns, ends[1].unknowns)


def test_it_is_drawn():
    pytest.importorskip("matplotlib")
    result = broken()
    figure = fejoint.parting_figure(result)
    axes = {one.get_label(): one for one in figure.axes}
    assert set(axes) == {"travel", "crack", "damage"}
    x, y = axes["travel"].lines[0].get_data()
    assert y.max() == pytest.approx(result.joint.load.force)
    assert x[1:] == pytest.approx([one.elongation for one in result.path])
    with pytest.raises(fejoint.JointError, match="not cohesive"):
        fejoint.parting_figure(fejoint.solve(joint_of(1000.0).replace(analysis=Analysis())))


def test_adherends_that_shrink_freely_leave_the_layer_sound():
    """Two like adherends cool without stress; the layer's own shrinking is left out (it is thin beside them)."""
    result = fejoint.solve(joint_of(1000.0, temperature_change=-80.0))
    assert not result.limit
    cold = result.path[0]
    assert cold.step == "cool-down"
    # What the package counts as free of stress: a thousandth of that of fully restrained expansion. Newton's iterations stop
    # at 1e-8 of it, node by node.
    assert abs(cold.bondlines[0].shear).max() < stress_floor(cold.joint)
    assert not cold.bondlines[0].damage.any()
    assert result.passed


@pytest.mark.parametrize("large", [False, True])
def test_while_it_is_sound_it_is_a_layer_of_elastic_cells(large):
    """Far below its strengths, beside the package's other way: cells of the adhesive, with Hooke's law in them.

    Near its free end a layer of cells contracts and bears little, which lines do not know: as if it began a share of
    its thickness further inside. So the curves are compared from two thicknesses inside, to 2 % of the largest, with one
    moved along by up to a quarter of a thickness; what the adherends do hardly knows of it (0.2 %).
    """
    glue = {"elastic_modulus": 1850.0, "poisson_ratio": 0.33}
    glue |= {"tensile_strength": 1e4, "shear_strength": 1e4, "toughness_mode_1": 1e5, "toughness_mode_2": 1e5}
    found = []
    for model in ("elastic", "cohesive"):
        joint = joint_of(4000.0).replace(adhesive=glue, analysis=Analysis(adhesive_model=model, large_rotation=large))
        found.append(fejoint.solve(joint))
    cells, lines = found
    assert lines.passed
    assert lines.elongation == pytest.approx(cells.elongation, rel=2e-3)
    assert lines.edge_moment_factors == pytest.approx(cells.edge_moment_factors, rel=2e-3)
    x, largest = np.linspace(0.4, 5.0, 24), max(cells.peak_shear[0].value, cells.peak_peel[0].value)
    of_cells, of_lines = (one.bondlines[0].middle for one in found)
    off = [
        max(np.abs(of_cells.at(x, name) - of_lines.at(x - moved, name)).max() for name in ("shear", "peel"))
        for moved in np.linspace(0, 0.05, 11)
    ]
    assert min(off) < 0.02 * largest
