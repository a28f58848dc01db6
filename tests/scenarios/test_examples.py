"""Examples are tests."""

import importlib.util
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parents[2] / "examples"


def example(name):
    spec = importlib.util.spec_from_file_location(name, EXAMPLES / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_twenty_joints_from_a_script():
    """All checks pass; peaks fall with overlap and thickness; the trend of shear is Goland and Reissner's.

    With FE's own edge loads their theory and FE differ only by the free end and the layer's
    thickness, some percent of the peak, and much less in the ratio of one joint to the next: 5 %.
    """
    with ThreadPoolExecutor(1) as executor:
        table = example("overlap_and_thickness").peaks(executor=executor)
    assert len(table) == 20
    assert (table["status"] == "done").all()
    for column in ("peak_shear_MPa", "peak_peel_MPa"):
        grid = table.pivot(index="joint.overlap_length_mm", columns="joint.lower.thickness_mm", values=column).to_numpy()
        assert (grid[:, 1:] < grid[:, :-1]).all()
        assert (grid[1:] < grid[:-1]).all()
    ratios = table["peak_shear_MPa"] / table["theories.Goland-Reissner, edge moment of FE.peak_shear_MPa"]
    assert ratios.max() / ratios.min() == pytest.approx(1, abs=0.05)
