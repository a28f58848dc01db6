"""Random valid joints solve and pass their own checks."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import fejoint
from fejoint import Adherend, Adhesive, Analysis, Joint, Load, SingleLap

METALS = ("aluminium 2024-T3", "aluminium 7075-T6", "aluminium 6082-T6", "steel A36", "titanium Ti-6Al-4V")
ADHERENDS = (*METALS, "carbon ply T300/5208, 0 degrees")


@st.composite
def joints(draw):
    """Any joint of workshop proportions: layers 0.05 to 1 mm, sheets 0.8 to 6 mm, overlaps 5 to 80 mm."""
    layer = draw(st.floats(0.05, 1.0))
    parts = [
        Adherend(
            material=draw(st.sampled_from(ADHERENDS)), thickness=draw(st.floats(0.8, 6)), free_length=draw(st.floats(15, 120))
        )
        for _ in range(2)
    ]
    return Joint(
        geometry=SingleLap(
            width=draw(st.floats(10, 50)),
            overlap_length=draw(st.floats(5, 80)),
            bondline_thickness=layer,
            spew=draw(st.sampled_from(["square", "fillet"])),
            lower=parts[0],
            upper=parts[1],
        ),
        adhesive=Adhesive(
            elastic_modulus=draw(st.floats(50, 6000)),
            poisson_ratio=draw(st.floats(0.2, 0.44)),
            expansion=draw(st.floats(3e-5, 2e-4)),
        ),
        load=Load(
            force=draw(st.floats(-5000, 5000)),
            ends=draw(st.sampled_from(["clamped", "pinned"])),
            temperature_change=draw(st.sampled_from([0.0, -80.0, 40.0])),
        ),
        analysis=Analysis(error_target=0.02),
    )


@settings(max_examples=200, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(joints())
def test_random_joints_pass_their_checks(joint):
    result = fejoint.solve(joint)
    assert result.passed, [(c.name, c.value, c.limit) for c in result.checks if not c.passed]
