"""Examples are tests."""

import importlib.util
from pathlib import Path

import pytest

from fejoint.bondline.closed_form import goland_reissner

EXAMPLES = Path(__file__).parents[2] / "examples"


def example(name):
    spec = importlib.util.spec_from_file_location(name, EXAMPLES / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_twenty_joints_from_a_script(monkeypatch):
    """All checks pass; peaks fall with overlap and thickness; the trend of shear is Goland and Reissner's.

    With FE's own edge loads their theory and FE differ only by the free end and the layer's
    thickness, some percent of the peak, and much less in the ratio of one joint to the next: 5 %.
    """
    module = example("overlap_and_thickness")
    seen = []
    solve = module.fejoint.solve
    monkeypatch.setattr(module.fejoint, "solve", lambda joint: seen.append(solve(joint)) or seen[-1], raising=False)
    rows = module.peaks()
    assert len(rows) == 20
    assert all(row[-1] for row in rows)
    by_case = {(row[0], row[1]): row[2:4] for row in rows}
    for overlap in module.OVERLAPS:
        for thin, thick in zip(module.THICKNESSES, module.THICKNESSES[1:], strict=False):
            assert by_case[overlap, thick][0] < by_case[overlap, thin][0]
            assert by_case[overlap, thick][1] < by_case[overlap, thin][1]
    theory = [goland_reissner.curves(r.joint, r.edges)[0].peak_shear.value for r in seen]
    ratios = [row[2] / value for row, value in zip(rows, theory, strict=True)]
    assert max(ratios) / min(ratios) == pytest.approx(1, abs=0.05)
