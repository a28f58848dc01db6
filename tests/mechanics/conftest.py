"""What the tests of the mechanics share: a joint to vary by keywords, and one mesh solved stage by stage."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest

from fejoint import Adherend, Adhesive, Analysis, Joint, Load, SingleLap
from fejoint.bondline.curves import Bondline
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import Solution, assemble, laws_of, solve_linear
from fejoint.mechanics.recovery import nodal_stress, recover_bondlines
from fejoint.mechanics.section import mesh_section

# Round figures of the order of aluminium and of an epoxy: stand-ins, no material's data.
METAL = {"elastic_modulus": 70_000.0, "poisson_ratio": 0.33, "expansion": 23e-6}
GLUE = {"elastic_modulus": 2_000.0, "poisson_ratio": 0.35, "expansion": 60e-6}


def _lap(
    *,
    overlap: float = 12.5,
    layer: float = 0.2,
    lower: dict[str, float] | str = METAL,
    upper: dict[str, float] | str = METAL,
    lower_thickness: float = 1.6,
    upper_thickness: float = 1.6,
    lower_arm: float = 50.0,
    upper_arm: float = 50.0,
    adhesive: dict[str, float] = GLUE,
    fillet: float | bool = False,
    force: float = 2500.0,
    temperature: float = 0.0,
    ends: str = "clamped",
    **analysis: Any,
) -> Joint:
    spew = {"spew": "fillet" if fillet else "square"} | ({} if isinstance(fillet, bool) else {"spew_height": fillet})
    return Joint(
        joint=SingleLap(
            width=25.0,
            overlap_length=overlap,
            bondline_thickness=layer,
            lower=Adherend(material=lower, thickness=lower_thickness, free_length=lower_arm),
            upper=Adherend(material=upper, thickness=upper_thickness, free_length=upper_arm),
            **spew,
        ),
        adhesive=Adhesive(**adhesive),
        load=Load(force=force, temperature_change=temperature, ends=ends),
        analysis=Analysis(**analysis),
    )


@dataclass(frozen=True)
class Level:
    """One mesh, solved."""

    solution: Solution
    stress: np.ndarray
    bondline: Bondline


def _level(joint: Joint, density: float = 1.0) -> Level:
    system = assemble(discretise(mesh_section(joint, density)), laws_of(joint), joint.load.ends)
    solution = solve_linear(system, joint)
    stress = nodal_stress(solution)
    return Level(solution, stress, recover_bondlines(solution, stress)[0])


@pytest.fixture(scope="session")
def lap():
    """Return the function that makes a single lap from keywords (mm, MPa, N, K)."""
    return _lap


@pytest.fixture(scope="session")
def level():
    """Return the function that solves a joint on the mesh of one density, without refinement."""
    return _level


@cache
def _curves(joint: Joint, density: float) -> Bondline:
    return _level(joint, density).bondline


@pytest.fixture(scope="session")
def curves_at():
    """Return the function that gives the bondline on the mesh of one density; fine meshes are solved once a session."""
    return _curves


@pytest.fixture(scope="session")
def plain(lap, level):
    """Return the joint of the default keywords, solved at density 1."""
    return level(lap())
