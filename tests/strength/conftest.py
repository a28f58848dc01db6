"""What the tests of strength share: joints solved once a session."""

from __future__ import annotations

from functools import cache

import pytest
from laps import QUICK

from fejoint import Joint, strength_of
from fejoint.mechanics.reuse import Kept
from fejoint.strength.field import Field, linear_field


@pytest.fixture(scope="session")
def solved():
    """Return the function that gives the stresses of linear elasticity of a joint, solved once a session."""
    kept = Kept()

    @cache
    def solve(joint: Joint, density: float = 1.0) -> Field:
        return linear_field(joint, density, kept)

    return solve


@pytest.fixture(scope="session")
def predicted():
    """Return the function that gives the strength of a joint without the cohesive zone, found once a session."""
    kept = Kept()

    @cache
    def find(joint: Joint, variants: bool = False):
        return strength_of(joint, routes=QUICK, variants=variants, kept=kept)

    return find
