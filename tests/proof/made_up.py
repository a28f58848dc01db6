"""The pull that ships with the demo, made up by a formula: nobody measured it.

Force over the coupon's own displacement u: F = k u / (1 + (k u / F0)^8)^(1/8) up to the break at u_b, and nothing after it.
The crosshead reads u, what the machine gives way (C F) and the slack of the grips; the load cell a ripple of 4 N on top. k and
u_b of five coupons stand about 17.9 kN/mm and 0.272 mm, near what fejoint predicts of a bondline of 0.5 mm.
"""

from __future__ import annotations

import math

STIFFNESS, TOP, POWER, BREAK = 17_900.0, 6_500.0, 8, 0.272  # N/mm, N, none, mm
MACHINE = 8e-6  # mm/N
# Coupon: share of its stiffness, of its displacement at break; slack, mm.
COUPONS = {
    "sill-1": (0.988, 1.012, 0.021),
    "sill-2": (1.004, 0.975, 0.034),
    "sill-3": (1.013, 1.004, 0.018),
    "sill-4": (0.994, 0.988, 0.027),
    "sill-5": (1.001, 1.021, 0.024),
}
POINTS, SPEED = 64, 1.3 / 60  # a coupon; mm/s


def force(u, stiffness):
    """Return the force at a displacement of the coupon."""
    elastic = stiffness * u
    return elastic / (1 + (elastic / TOP) ** POWER) ** (1 / POWER)


def rows():
    """Return coupon, displacement of the crosshead (mm) and force (N), point by point."""
    for number, (name, (of_stiffness, of_break, slack)) in enumerate(COUPONS.items(), 1):
        last = BREAK * of_break
        for i in range(POINTS):
            u = last * i / (POINTS - 1)
            ripple = 4.0 * math.sin(12.9898 * i + 78.233 * number)
            f = force(u, STIFFNESS * of_stiffness)
            yield name, u + MACHINE * f + slack, max(f + ripple, 0.0)
        yield name, last + MACHINE * f + slack + 0.01, 35.0
        yield name, last + MACHINE * f + slack + 0.02, 6.0


def table():
    """Return the tester's table as text: semicolons and decimal commas."""
    lines = ["Invented pull of door sill lap coupons, made by the formula in tests/proof/made_up.py: nobody measured it"]
    lines += ["Specimen;Time [s];Crosshead [mm];Load [kN]"]
    for name, travel, f in rows():
        lines.append(f"{name};{travel / SPEED:.2f};{travel:.5f};{f / 1000:.4f}".replace(".", ","))
    return "\n".join(lines) + "\n"


# ---- thick adherends so stiff that the layer alone gives way ---------------------------------------------------------------


# So tough that the layer gives way as a whole: the load is strength times area.
TOUGH = 'toughness_mode_1 = "1000 N/mm"\ntoughness_mode_2 = "1000 N/mm"\n'


def thick_lap(length=10.0, thickness=0.2, csv="pull.csv", more="", adhesive="", loads="", modulus="2e8 MPa"):
    """Return a test file of a thick-adherend lap: between clamps its layer is in simple shear, stiffness G b l / t_a."""
    part = f'material = {{ elastic_modulus = "{modulus}", poisson_ratio = 0.3 }}\nthickness = "9.5 mm"\nfree_length = "20 mm"\n'
    curve = f'[measured.curve]\nfile = "{csv}"\n' if csv else ""
    return (
        'title = "thick adherends of a door sill (invented)"\n[joint]\nkind = "single-lap"\nwidth = "25 mm"\n'
        f'overlap_length = "{length} mm"\nbondline_thickness = "{thickness} mm"\n[joint.lower]\n{part}[joint.upper]\n{part}'
        f'[adhesive]\nelastic_modulus = "2 GPa"\npoisson_ratio = 0.35\nshear_strength = "30 MPa"\n{TOUGH}{adhesive}'
        f'[load]\nends = "clamped"\n{more}\n[measured]\nsource = "made up"\n{loads}{curve}'
    )


def line_pull(stiffness, top, names=("one",), shares=(1.0,), slack=0.0, points=60):
    """Return a tester's table of straight pulls, a stiffness times its share each, after a slack."""
    lines = ["specimen,displacement [mm],force [N]"]
    for name, share in zip(names, shares, strict=True):
        for i in range(points):
            f = top * i / (points - 1)
            lines.append(f"{name},{f / (stiffness * share) + slack:.9f},{f:.4f}")
    return "\n".join(lines) + "\n"
