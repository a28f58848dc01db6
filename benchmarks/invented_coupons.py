"""Writes the invented coupon tests of the demo: curves from formulas, with noise and the machine's compliance in them.

    python -m benchmarks.invented_coupons [FOLDER]

No coupon was tested: every figure is made up for the cable-car cabin of the demos,
and each file says INVENTED. The truth that the curves were made from is in
`TRUTH`; tests hold the reductions against it. The same seed makes the same files.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

FOLDER = Path(__file__).resolve().parents[1] / "fejoint" / "demo" / "coupons"
MACHINE = 8e-6  # mm/N, of every invented machine here
# What the curves were made from: N, mm, MPa.
TRUTH = {
    "lap": {"strength": (19.4, 20.3, 18.7, 20.9, 19.8), "width": 25.0, "overlap": 12.5},
    "peel": {"force": (4.6, 4.9, 4.4, 4.7), "width": 25.0},
    "thick": {
        "G": (820.0, 850.0, 800.0),
        "strength": (31.0, 32.0, 30.2),
        "layer": 0.2,
        "width": 25.0,
        "overlap": 5.0,
        "metal": 26000.0,
    },
    "dcb": {"G": (0.92, 1.01, 0.88, 0.97), "width": 25.0, "arm": 8.0, "E": 70000.0, "offset": 5.5, "crack": 45.0},
    "enf": {
        "G": (2.4, 2.6, 2.25),
        "width": 25.0,
        "arm": 8.0,
        "E": 70000.0,
        "shear": 26000.0,
        "offset": 2.25,
        "crack": 50.0,
        "span": 80.0,
    },
}
HEAD = "INVENTED data: no coupon was tested; made by benchmarks/invented_coupons.py for the cable-car cabin of the demos"


def dcb_curve(rng, G, width, arm, E, offset, crack, last=105.0, read_every=5.0, points=60, noise=0.002, reading=0.3):
    """Return displacement, force and crack lengths (NaN where not read) of a crack that grows at one toughness."""
    stiff = E * width * arm**3
    loading = np.linspace(0.0, 1.0, points)
    a = np.linspace(crack, last, points)
    force = np.sqrt(G * width**2 * E * arm**3 / 12) / (a + offset)
    opened = 8 * (a + offset) ** 3 / stiff * force
    P = np.concatenate([loading[:-1] * force[0], force])
    d = np.concatenate([loading[:-1] * opened[0], opened])
    P = P + noise * force[0] * rng.standard_normal(len(P))
    d = d + MACHINE * P
    lengths = np.full(len(P), np.nan)
    at = points - 1 + np.searchsorted(a, np.arange(crack + read_every, last, read_every))
    lengths[at] = a[at - points + 1] + reading * rng.standard_normal(len(at))
    return d, P, lengths


def enf_compliance(a, width, arm, E, span, shear=np.inf, offset=0.0):
    """Return the compliance of a beam whose crack acts longer by an offset; with shear, as `fejoint.coupon.enf` derives it."""
    return (2 * span**3 + 3 * (a + offset) ** 3) / (8 * width * E * arm**3) + 3 * span / (10 * shear * width * arm)


def enf_curve(rng, G, width, arm, E, crack, span, shear=np.inf, offset=0.0, points=80, noise=0.001):
    """Return displacement and force up to where the crack runs, and a little after."""
    most = np.sqrt(16 * width**2 * E * arm**3 * G / 9) / (crack + offset)
    P = np.concatenate([np.linspace(0, most, points), [0.62 * most, 0.64 * most, 0.66 * most]])
    d = P * enf_compliance(crack, width, arm, E, span, shear, offset)
    d[points:] = P[points:] * enf_compliance(span, width, arm, E, span, shear, offset)
    P = P + noise * most * rng.standard_normal(len(P))
    return d + MACHINE * P, P


def enf_calibration(rng, width, arm, E, span, shear=np.inf, offset=0.0, cracks=(20, 30, 40, 50, 60), reading=0.2, noise=0.001):
    """Return crack lengths as read and compliances as the machine measured them."""
    a = np.array(cracks, dtype=float)
    compliance = enf_compliance(a, width, arm, E, span, shear, offset)
    return a + reading * rng.standard_normal(len(a)), compliance * (1 + noise * rng.standard_normal(len(a))) + MACHINE


def lap_curve(rng, strength, width, overlap, points=70):
    most = strength * width * overlap
    P = most * np.sin(np.linspace(0, 0.46 * np.pi, points)) / np.sin(0.46 * np.pi)
    d = 6e-5 * P + 0.12 * (P / most) ** 4
    P = np.append(P + 0.002 * most * rng.standard_normal(points) * (np.arange(points) < points - 1), 0.02 * most)
    d = np.append(d, d[-1] + 0.01) + MACHINE * P
    return np.maximum.accumulate(d), np.maximum(P, 0.0)


def peel_curve(rng, force, width, points=260):
    """Return travel and force: a rise, a first peak, then stick and slip about the mean over 150 mm of bond."""
    x = np.linspace(0.0, 330.0, points)
    wave = 1 + 0.07 * np.sin(x / 4.1) + 0.03 * rng.standard_normal(points)
    rise = np.clip(x / 14.0, 0.0, 1.0)
    peak = 0.55 * np.exp(-(((x - 15.0) / 5.0) ** 2))
    return x, np.maximum(force * width * rise * (wave + peak), 0.0)


def thick_curve(rng, G, strength, layer, width, overlap, metal, gauge=2.0, points=140, last=0.45):
    """Return force, extension and crosshead: straight up to 45 % of strength, then bent; the metal between the points added."""
    strain = np.linspace(0, last, points) ** 1.6 / last**0.6
    yielding = 0.45 * strength / G
    beyond = np.maximum(strain - yielding, 0.0) / (last - yielding)
    bent = (0.85 * (1 - np.exp(-14 * beyond)) + 0.15 * beyond) / (0.85 * (1 - np.exp(-14)) + 0.15)
    stress = np.where(strain <= yielding, G * strain, 0.45 * strength + 0.55 * strength * bent)
    P = stress * width * overlap
    extension = layer * strain + P * (gauge - layer) / (width * overlap * metal)
    extension = extension + 2e-5 * rng.standard_normal(points) * (np.arange(points) > 0)
    return P, extension, 3 * extension + 2e-5 * P + MACHINE * P


def table(rows, decimal=",", delimiter=";"):
    return "\n".join(delimiter.join(cell.replace(".", decimal) for cell in row) for row in rows) + "\n"


def files() -> dict[str, str]:
    """Return the text of every file by its name."""
    rng = np.random.default_rng(20240312)
    out: dict[str, str] = {}

    t = TRUTH["lap"]
    rows = [[HEAD], ["Test", "door sill, lap coupons"], ["Machine", "invented"], [], ["Specimen", "Time", "Crosshead", "Force"]]
    rows.append(["", "s", "mm", "kN"])
    for i, strength in enumerate(t["strength"], start=1):
        d, P = lap_curve(rng, strength, t["width"], t["overlap"])
        rows += [[f"S{i}", f"{max(0.0, 60 * x / d[-1]):.2f}", f"{x:.4f}", f"{f / 1000:.4f}"] for x, f in zip(d, P, strict=True)]
    out["door-sill-lap.csv"] = table(rows)

    t = TRUTH["peel"]
    text = ""
    for i, force in enumerate(t["force"], start=1):
        x, P = peel_curve(rng, force, t["width"])
        rows = [[HEAD], [f"Specimen: P{i}"], ["Travel (mm)", "Load (N)"]]
        text += table(rows + [[f"{a:.2f}", f"{f:.2f}"] for a, f in zip(x, P, strict=True)], ".", ",") + "\n"
    out["roof-peel.csv"] = text

    t = TRUTH["thick"]
    rows = [[HEAD], ["Specimen", "Load [N]", "Extensometer [um]", "Crosshead [mm]"]]
    for i, (G, strength) in enumerate(zip(t["G"], t["strength"], strict=True), start=1):
        P, e, d = thick_curve(rng, G, strength, t["layer"], t["width"], t["overlap"], t["metal"])
        rows += [[f"T{i}", f"{f:.1f}", f"{1000 * x:.3f}", f"{c:.4f}"] for f, x, c in zip(P, e, d, strict=True)]
    out["floor-thick.csv"] = table(rows, ".")

    t = TRUTH["dcb"]
    rows = [[HEAD], ["Specimen", "Opening / mm", "Load / N", "Crack length / mm"]]
    for i, G in enumerate(t["G"], start=1):
        d, P, a = dcb_curve(rng, G, t["width"], t["arm"], t["E"], t["offset"], t["crack"])
        each = zip(d, P, a, strict=True)
        rows += [[f"D{i}", f"{x:.4f}", f"{f:.2f}", "" if np.isnan(c) else f"{c:.1f}"] for x, f, c in each]
    out["floor-dcb.csv"] = table(rows)

    t = TRUTH["enf"]
    rows = [[HEAD], ["Specimen", "Displacement / mm", "Load / N"]]
    entries = ""
    for i, G in enumerate(t["G"], start=1):
        d, P = enf_curve(rng, G, t["width"], t["arm"], t["E"], t["crack"], t["span"], t["shear"], t["offset"])
        rows += [[f"E{i}", f"{x:.5f}", f"{f:.2f}"] for x, f in zip(d, P, strict=True)]
        points = zip(*enf_calibration(rng, t["width"], t["arm"], t["E"], t["span"], t["shear"], t["offset"]), strict=True)
        listed = "".join(f'  {{ crack_length = "{a:.1f} mm", compliance = "{c:.4e} mm/N" }},\n' for a, c in points)
        entries += f'\n[[coupons.specimens]]\nname = "E{i}"\npattern = "cohesive"\ncalibration = [\n{listed}]\n'
    out["floor-enf.csv"] = table(rows)

    compliance = f'machine_compliance = "{MACHINE:g} mm/N"'
    out["door-sill-lap.toml"] = f"""# {HEAD}.
[coupons]
title = "cabin door sill, lap coupons (invented)"
standard = "ISO 4587"
source = "INVENTED, no coupon was tested"
adhesive = "toughened epoxy (invented lot)"
adherends = "aluminium 6082-T6, 1.6 mm"
preparation = "wiped, abraded, wiped; cured as the maker's data sheet says (invented)"
conditions = "23 degC, 50 % r.h."
speed = "1 mm/min"

[coupons.data]
files = "door-sill-lap.csv"                # semicolons, decimal commas, units in a row: found from the file
{compliance}

[coupons.specimen]
width = "25 mm"
overlap_length = "12.5 mm"
thickness = "1.6 mm"

[[coupons.specimens]]
name = "S1"
pattern = {{ cohesive = 80, adhesive = 20 }}

[[coupons.specimens]]
name = "S2"
pattern = "cohesive"

[[coupons.specimens]]
name = "S3"
overlap_length = "12.4 mm"
pattern = {{ adhesive = 60, cohesive = 30, "thin-layer cohesive" = 10 }}
note = "shiny patches near one end"

[[coupons.specimens]]
name = "S4"
pattern = {{ cohesive = 95, "thin-layer cohesive" = 5 }}

[[coupons.specimens]]
name = "S5"
pattern = {{ cohesive = 90, adhesive = 10 }}
"""
    out["roof-peel.toml"] = f"""# {HEAD}.
[coupons]
title = "cabin roof skin, T-peel (invented)"
standard = "ISO 11339"
source = "INVENTED, no coupon was tested"
speed = "100 mm/min"

[coupons.data]
files = "roof-peel.csv"

[coupons.specimen]
width = "25 mm"

[[coupons.specimens]]
name = "P1"
pattern = {{ cohesive = 70, adhesive = 30 }}

[[coupons.specimens]]
name = "P3"
pattern = {{ cohesive = 55, adhesive = 45 }}
excluded = true
reason = "arm of unlike thickness (invented)"
"""
    out["floor-thick.toml"] = f"""# {HEAD}.
[coupons]
title = "cabin floor adhesive, thick-adherend shear (invented)"
standard = "ISO 11003-2"
source = "INVENTED, no coupon was tested"

[coupons.data]
files = "floor-thick.csv"
{compliance}

[coupons.specimen]
width = "25 mm"
overlap_length = "5 mm"
thickness = "6 mm"
bondline_thickness = "0.2 mm"
gauge_length = "2 mm"
adherend_shear_modulus = "26 GPa"
"""
    out["floor-dcb.toml"] = f"""# {HEAD}.
[coupons]
title = "cabin floor adhesive, double cantilever beams (invented)"
standard = "ISO 25217"
source = "INVENTED, no coupon was tested"

[coupons.data]
files = "floor-dcb.csv"
{compliance}

[coupons.specimen]
width = "25 mm"
arm_thickness = "8 mm"
crack_length = "45 mm"
elastic_modulus = "70 GPa"

[[coupons.specimens]]
name = "D1"
pattern = "cohesive"

[[coupons.specimens]]
name = "D2"
pattern = {{ cohesive = 92, adhesive = 8 }}
"""
    out["floor-enf.toml"] = (
        f"""# {HEAD}.
[coupons]
title = "cabin floor adhesive, end-notched flexure (invented)"
kind = "enf"
source = "INVENTED, no coupon was tested"

[coupons.data]
files = "floor-enf.csv"
{compliance}

[coupons.specimen]
width = "25 mm"
arm_thickness = "8 mm"
crack_length = "50 mm"
half_span = "80 mm"
elastic_modulus = "70 GPa"
adherend_shear_modulus = "26 GPa"
"""
        + entries
    )
    return out


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
