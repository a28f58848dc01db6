"""A small case to start from, asked of theories alone, so that nothing is meshed."""

from __future__ import annotations

import pytest

from fejoint.proof.case import case_from_text

TEXT = """
[case]
title = "2 mm on 2 mm"
source = "derived"

[joint]
kind = "single-lap"
width = "25 mm"
overlap_length = "25 mm"
bondline_thickness = "0.2 mm"

[joint.lower]
material = { elastic_modulus = "70 GPa", poisson_ratio = 0.0 }
thickness = "2 mm"
free_length = "50 mm"

[joint.upper]
material = { elastic_modulus = "70 GPa", poisson_ratio = 0.0 }
thickness = "2 mm"
free_length = "50 mm"

[adhesive]
elastic_modulus = "2800 MPa"
shear_modulus = "1000 MPa"

[load]
force = "5 kN"
"""
EXPECT = {
    "quantity": '"peak_shear"',
    "of": '"Volkersen"',
    "value": '"26.79323 MPa"',
    "tolerance": "2e-7",
    "reason": '"half a digit"',
}


def _text(*expected, start=TEXT):
    """Return a case with expectations; each a dict of TOML values in place of those of `EXPECT`, None to leave one out."""
    parts = [start]
    for changes in expected:
        keys = {**EXPECT, **changes}
        parts.append("[[expect]]\n" + "".join(f"{key} = {value}\n" for key, value in keys.items() if value is not None))
    return "\n".join(parts)


@pytest.fixture(scope="session")
def case_text():
    """Return the function that makes a case's text from changes to one expectation each."""
    return _text


@pytest.fixture(scope="session")
def joint_text():
    """Return the joint of that case as a joint file."""
    return "\n".join(line for line in TEXT.splitlines() if not line.startswith(("[case]", "title", "source")))


@pytest.fixture(scope="session")
def case():
    """Return the function that makes a case from changes to one expectation each."""
    return lambda *expected, start=TEXT: case_from_text(_text(*expected, start=start))
