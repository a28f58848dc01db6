"""Do the tests see a mistake? Single changes of the package, one at a time, each of which must turn a test red.

    python -m benchmarks.mutations [NAME ...]

Every change is made in a copy of the checkout; the tests listed with it run
there until one fails. Prints which one did, as a table for DEVELOPERS.md;
exit code 1 when a change is seen by none. Takes some five minutes.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PARTS = ("fejoint", "geometries", "tests", "benchmarks", "examples", "pyproject.toml", "README.md")


@dataclass(frozen=True)
class Mutation:
    """A change of one place in one file, and the tests that should see it, in the order they run."""

    name: str
    file: str
    old: str
    new: str
    tests: str


LINEAR, RECOVERY = "fejoint/mechanics/linear.py", "fejoint/mechanics/recovery.py"
FORMS, STRENGTH = "fejoint/bondline/closed_form", "fejoint/strength"
MEET = "tests/scenarios/test_theories_meet_fe.py"
PROOF, PROOF_TESTS = "fejoint/proof", "tests/proof"
FLAWED, FLAWED_STRENGTH = "tests/mechanics/test_flawed_joints.py", "tests/strength/test_flawed_strength.py"
PROCESS, PROCESS_TESTS = "fejoint/process", "tests/process"
RELEASE, FRACTURE = "tests/mechanics/test_energy_release.py", "tests/strength/test_fracture.py"

MUTATIONS = (
    Mutation(
        "sign of peel",
        RECOVERY,
        "return Curve(x, bond.sign * shear, peel, axial)",
        "return Curve(x, bond.sign * shear, -peel, axial)",
        "tests/mechanics/test_recovery.py tests/mechanics/test_physics.py",
    ),
    Mutation(
        "sign of shear in a double lap's lower bond",
        "fejoint/joint/families.py",
        "0.0, self.overlap_length, -y, -1)",
        "0.0, self.overlap_length, -y, 1)",
        "tests/mechanics/test_symmetry.py tests/mechanics/test_families_physics.py",
    ),
    Mutation(
        "free thermal strain without (1 + nu)",
        f"{FORMS}/grid.py",
        'return c["a_x"] * change + c["nu_xz"] * c["e_z"] / c["e_x"] * (c["a_z"] * change - width)',
        'return c["a_x"] * change',
        f"tests/bondline/test_volkersen.py {MEET}",
    ),
    Mutation(
        "thermal strain added instead of taken off",
        "fejoint/mechanics/elasticity.py",
        "elastic = strain_icq - self.free_strain",
        "elastic = strain_icq + self.free_strain",
        "tests/mechanics/test_physics.py",
    ),
    Mutation(
        "lower and upper swapped",
        "fejoint/joint/families.py",
        '"lower_thickness": self.lower.thickness,',
        '"lower_thickness": self.upper.thickness,',
        "tests/mechanics/test_section.py tests/mechanics/test_physics.py",
    ),
    Mutation(
        "materials of lower and upper swapped",
        LINEAR,
        "made = {name: law(material, joint.environment) for name, material in joint.materials().items()}",
        "swap = {'lower': 'upper', 'upper': 'lower'}; made = "
        "{swap.get(name, name): law(material, joint.environment) for name, material in joint.materials().items()}",
        "tests/mechanics/test_physics.py tests/scenarios/test_independent_fe.py",
    ),
    Mutation(
        "lever arm without t_a / 2",
        f"{FORMS}/two_beams.py",
        'reach = 0.0 if layer.form == "faces" else ta / 2',
        "reach = 0.0",
        f"tests/bondline/test_two_beams.py {MEET}",
    ),
    Mutation(
        "force not divided by the width",
        "fejoint/joint/description.py",
        "return self.load.force / self.geometry.width",
        "return self.load.force / 1.0",
        "tests/mechanics/test_physics.py tests/mechanics/test_families_physics.py",
    ),
    Mutation(
        "half model under the whole load",
        LINEAR,
        "(0.5 if d.section.half else 1.0)",
        "(1.0 if d.section.half else 1.0)",
        "tests/mechanics/test_symmetry.py",
    ),
    Mutation(
        "mirror image without the sign of v",
        "fejoint/mechanics/symmetry.py",
        "* [1.0, -1.0]\n    # What",
        "* [1.0, 1.0]\n    # What",
        "tests/mechanics/test_symmetry.py",
    ),
    Mutation(
        "E instead of E / (1 - nu^2)",
        f"{FORMS}/grid.py",
        'return c["e_x"] / (1 - c["nu_xz"] ** 2 * c["e_z"] / c["e_x"])',
        'return c["e_x"]',
        f"tests/bondline/test_goland_reissner.py tests/bondline/test_volkersen.py {MEET}",
    ),
    Mutation(
        "shear strain of the tensor instead of the engineer's",
        "fejoint/mechanics/elasticity.py",
        "h[0, 1] + h[1, 0], np.full_like",
        "(h[0, 1] + h[1, 0]) / 2, np.full_like",
        "tests/mechanics/test_elements.py tests/mechanics/test_physics.py",
    ),
    Mutation(
        "pinned ends turn the wrong way",
        "fejoint/mechanics/ends.py",
        '"turn gripped"] = middle - float(height)',
        '"turn gripped"] = float(height) - middle',
        "tests/mechanics/test_families_physics.py",
    ),
    Mutation(
        "knockdowns left out of the load borne",
        f"{STRENGTH}/margins.py",
        "force=left * capacity.force,",
        "force=capacity.force,",
        "tests/strength/test_margins.py",
    ),
    Mutation(
        "peel that closes counts as peel that opens",
        f"{STRENGTH}/criteria.py",
        'lambda shear, peel, axial, limit: np.maximum(peel, 0.0) / limit["tensile"],',
        'lambda shear, peel, axial, limit: np.abs(peel) / limit["tensile"],',
        "tests/strength/test_criteria.py",
    ),
    Mutation(
        "a point's distance from the middle of the overlap",
        f"{STRENGTH}/criteria.py",
        "x = np.clip([line.left + inside, line.right - inside], first, last)",
        "x = np.clip([(first + last) / 2 - inside, (first + last) / 2 + inside], first, last)",
        "tests/strength/test_criteria.py",
    ),
    Mutation(
        "a plastic hinge without its moment",
        f"{STRENGTH}/adherends.py",
        "return abs(section.axial / full) ** 2 + 4 * abs(section.moment or 0.0) / (full * section.thickness)",
        "return abs(section.axial / full) ** 2",
        "tests/strength/test_adherends.py",
    ),
    Mutation(
        "a long overlap's end without the sideways force",
        f"{STRENGTH}/long_overlap.py",
        "sideways = section.shear or 0.0",
        "sideways = 0.0",
        "tests/strength/test_long_overlap.py",
    ),
    Mutation(
        "mismatch with the other sign where an end parts",
        f"{STRENGTH}/long_overlap.py",
        "locked = loaded * other / whole * mismatch",
        "locked = -loaded * other / whole * mismatch",
        "tests/strength/test_long_overlap.py",
    ),
    Mutation(
        "Goland-Reissner's overlap not eight times as stiff",
        f"{FORMS}/goland_reissner.py",
        "u2 = u1 / (2 * math.sqrt(2))",
        "u2 = u1 / 2",
        "tests/bondline/test_goland_reissner.py",
    ),
    Mutation(
        "Volkersen's imbalance reversed",
        f"{FORMS}/volkersen.py",
        "odd = line_load * w / 2 * (s1 - s2)",
        "odd = line_load * w / 2 * (s2 - s1)",
        "tests/bondline/test_volkersen.py",
    ),
    Mutation(
        "width strain of generalised plane strain reversed",
        LINEAR,
        "parts.append((-width_strain, width))",
        "parts.append((width_strain, width))",
        "tests/mechanics/test_physics.py",
    ),
    Mutation(
        "steps from the wrong face",
        "fejoint/joint/families.py",
        "y = [self.lower.thickness / 2 - down for down in accumulate(self.risers)]",
        "y = [down - self.lower.thickness / 2 for down in accumulate(self.risers)]",
        "tests/joint/test_families.py",
    ),
    Mutation(
        "risers left out of the load passed on",
        "fejoint/mechanics/load_path.py",
        'f"riser {i + 1}": f"riser {i + 1} middle"}',
        "}",
        "tests/mechanics/test_families_physics.py",
    ),
    Mutation(
        "spew fillet half as high as stated",
        "geometries/single_lap.geo",
        "f = spew_height;",
        "f = spew_height / 2;",
        "tests/mechanics/test_section.py",
    ),
    Mutation(
        "a system kept for unlike materials",
        "fejoint/mechanics/reuse.py",
        " {constants!r}",
        "",
        "tests/mechanics/test_reuse.py",
    ),
    Mutation(
        "a case's key without its load",
        "fejoint/study/cases.py",
        'said.pop("title")',
        'said.pop("title"), said.pop("load")',
        "tests/study/test_sweep.py",
    ),
    Mutation(
        "what a worker had no time for is dropped",
        "fejoint/study/dispatch.py",
        "self.waiting.extendleft(reversed(rest))",
        "pass",
        "tests/study/test_dispatch.py",
    ),
    Mutation(
        "shear limited by its sign",
        "fejoint/show/sweeps/limits.py",
        "values = np.abs(values)",
        "pass",
        "tests/study/test_sweep.py",
    ),
    Mutation(
        "what a user typed is not escaped in the page",
        "fejoint/show/report/page.py",
        "autoescape=True",
        "autoescape=False",
        "tests/show/report/test_notebook.py",
    ),
    Mutation(
        "ribbon of a double lap's lower bond with the sign of the axes",
        "fejoint/show/space/solid.py",
        "bond.sign * shear[nodes]",
        "shear[nodes]",
        "tests/show/space/test_ribbon.py",
    ),
    Mutation(
        "a run of another schema version is read",
        "fejoint/show/space/solid.py",
        "if version != SCHEMA_VERSION",
        "if not version",
        "tests/show/test_reading.py",
    ),
    Mutation(
        "Green-Lagrange strain without its products",
        "fejoint/mechanics/frames.py",
        "strain[:, 2] = xy + yx + xx * xy + yx * yy",
        "strain[:, 2] = xy + yx",
        "tests/mechanics/test_frames.py",
    ),
    Mutation(
        "stiffness of the stress with the other sign",
        "fejoint/mechanics/frames.py",
        "by[:, i, i], by[:, i + 1, i + 1] = stress[:, 0], stress[:, 1]",
        "by[:, i, i], by[:, i + 1, i + 1] = -stress[:, 0], -stress[:, 1]",
        "tests/mechanics/test_newton.py tests/mechanics/test_frames.py",
    ),
    Mutation(
        "forces without the projected mean stress",
        "fejoint/mechanics/body.py",
        "force = force + excess[:, None] * measured.dilatation",
        "pass",
        "tests/mechanics/test_body.py",
    ),
    Mutation(
        "equivalent plastic strain without its factor",
        "fejoint/mechanics/plasticity.py",
        "rate = 1.5 / (1 + point.nu)",
        "rate = 1.0 + 0 * point.nu",
        "tests/mechanics/test_plasticity.py tests/mechanics/test_body.py",
    ),
    Mutation(
        "plastic strain not remembered",
        "fejoint/mechanics/body.py",
        "metric, flowed = self.metric, updated.plastic != self.plastic",
        "metric, flowed = self.metric, np.zeros(len(self.plastic), dtype=bool)",
        "tests/mechanics/test_body.py tests/mechanics/test_newton.py",
    ),
    Mutation(
        "free strain added along the load's path",
        "fejoint/mechanics/behaviour.py",
        "return np.asarray((elastic - self.free) @ self.stiffness.T)",
        "return np.asarray((elastic + self.free) @ self.stiffness.T)",
        "tests/mechanics/test_load_path_nonlinear.py",
    ),
    Mutation(
        "stress of a bondline that turns left in the axes of space",
        "fejoint/mechanics/frames.py",
        "t = turn @ _matrix(cauchy) @ turn.transpose(0, 2, 1)",
        "t = _matrix(cauchy)",
        "tests/mechanics/test_frames.py tests/mechanics/test_body.py",
    ),
    Mutation(
        "temperature and load in one go",
        "fejoint/joint/load.py",
        "return (first,) if first.values() == end else (first, last)",
        "return (last,)",
        "tests/mechanics/test_load_path.py tests/joint/test_load_steps.py",
    ),
    Mutation(
        "stress of a swollen layer by its first volume",
        "fejoint/mechanics/body.py",
        "            if behaviour.dilates:\n",
        "            if False:\n",
        "tests/mechanics/test_body.py",
    ),
    Mutation(
        "moment's work on the sine of a large turn",
        "fejoint/mechanics/newton.py",
        'leans = problem.large and name == "turn"',
        "leans = False",
        "tests/mechanics/test_newton.py",
    ),
    Mutation(
        "crack closure without its mid-side node",
        "fejoint/mechanics/closure.py",
        "return np.asarray(-(self.force * other.jump).sum(axis=0) / (2 * self.length))",
        "return np.asarray(-(self.force * other.jump)[0] / (2 * self.length))",
        RELEASE,
    ),
    Mutation(
        "J without the strain energy",
        "fejoint/mechanics/closure.py",
        "along = xx * slope[..., 0] + yx * slope[..., 1] - field.energy[cells]",
        "along = xx * slope[..., 0] + yx * slope[..., 1]",
        RELEASE,
    ),
    Mutation(
        "J with the energy of the whole strain, the free one too",
        "fejoint/mechanics/closure.py",
        "(own * (total - law.free_strain(environment)[:, None, None]))",
        "(own * total)",
        RELEASE,
    ),
    Mutation(
        "opening and shear change places",
        "fejoint/mechanics/energy_release.py",
        "return Rates(opens, shear, shear + opens) if split",
        "return Rates(shear, opens, shear + opens) if split",
        f"{RELEASE} {FRACTURE}",
    ),
    Mutation(
        "a closed disbond that opens",
        "fejoint/mechanics/energy_release.py",
        "    if gap <= 0:  # forces",
        "    if gap > 1e9:  # forces",
        f"{RELEASE} {FRACTURE}",
    ),
    Mutation(
        "temperature grows with the load that grows a disbond",
        "fejoint/mechanics/energy_release.py",
        "np.array([1.0, factor, factor * factor]) @ terms",
        "factor * factor * terms.sum(axis=0)",
        f"{RELEASE} {FRACTURE}",
    ),
    Mutation(
        "the parts of a turned tip along x and y",
        "fejoint/mechanics/closure.py",
        "        c, s = np.cos(turned), np.sin(turned)",
        "        c, s = np.cos(5 * turned), np.sin(5 * turned)",
        FRACTURE,
    ),
    Mutation(
        "mixed mode by the share of opening",
        "fejoint/joint/cohesion.py",
        "float(share**m)",
        "float((1 - share) ** m)",
        FRACTURE,
    ),
    Mutation(
        "a tip that is parted too",
        "fejoint/mechanics/opened.py",
        "joined = np.setdiff1d(np.flatnonzero(mesh.f2t[1] >= 0), facets)",
        "joined = np.setdiff1d(np.flatnonzero(mesh.f2t[1] >= 0), [*facets, *facets + 1])",
        "tests/mechanics/test_disbond.py",
    ),
    Mutation(
        "plateau of a traction law without its area",
        "fejoint/mechanics/separation.py",
        "(toughness / energy + plateau) / (1 + plateau))",
        "toughness / energy)",
        "tests/mechanics/test_separation.py",
    ),
    Mutation(
        "damage that heals",
        "fejoint/mechanics/separation.py",
        "now = np.maximum(damage, asked)",
        "now = asked",
        "tests/mechanics/test_separation.py",
    ),
    Mutation(
        "shear of an interface without the layer's lever arm",
        "fejoint/mechanics/interface.py",
        "d_by[:, :, 0] + h * g_by[:, :, 1]], axis=2)\n",
        "d_by[:, :, 0]], axis=2)\n",
        "tests/mechanics/test_interface.py",
    ),
    Mutation(
        "an interface that does not turn with its line",
        "fejoint/mechanics/interface.py",
        "by = np.stack([across - along * turn, slid + off * turn], axis=2)",
        "by = np.stack([across, slid], axis=2)",
        "tests/mechanics/test_interface.py",
    ),
    Mutation(
        "dispersive and polar parts multiplied crosswise",
        f"{PROCESS}/energies.py",
        "return float(2 * solid.roots @ liquid.roots)",
        "return float(2 * solid.roots @ liquid.roots[::-1])",
        f"{PROCESS_TESTS}/test_energies.py",
    ),
    Mutation(
        "readings all counted alike",
        f"{PROCESS}/energies.py",
        "rows, left = a / error[:, None], y / error",
        "rows, left = a / error.mean(), y / error.mean()",
        f"{PROCESS_TESTS}/test_energies.py",
    ),
    Mutation(
        "agreeing readings narrow the errors",
        f"{PROCESS}/energies.py",
        "of_roots = normal * max(scatter, 1.0) ** 2",
        "of_roots = normal * (scatter or 1.0) ** 2",
        f"{PROCESS_TESTS}/test_energies.py",
    ),
    Mutation(
        "a strip's flow as a disc's",
        f"{PROCESS}/film.py",
        "return float(2 * n / (2 * n + 1) * per_n ** (1 / n))",
        "return float(4 * n / (2 * n + 1) * per_n ** (1 / n))",
        f"{PROCESS_TESTS}/test_film.py",
    ),
    Mutation(
        "consistency without its shear rate",
        f"{PROCESS}/film.py",
        "return float(self.viscosity * self.at_rate ** (1 - self.flow_index))",
        "return float(self.viscosity)",
        f"{PROCESS_TESTS}/test_film.py",
    ),
    Mutation(
        "a broken film of water overlooked",
        f"{PROCESS}/verdict.py",
        "    if water_film is False:\n        word = DOES_NOT\n",
        "    if water_film is False:\n        word = word\n",
        f"{PROCESS_TESTS}/test_process.py",
    ),
    Mutation(
        "cure beyond the glass",
        f"{PROCESS}/rate_law.py",
        "* np.maximum(self.largest - alpha, 0.0) ** self.order",
        "* np.maximum(1 - alpha, 0.0) ** self.order",
        f"{PROCESS_TESTS}/test_cure.py",
    ),
    Mutation(
        "ramp taken as its first temperature",
        f"{PROCESS}/rate_law.py",
        "return law.rate(alpha, history.at(time))",
        "return law.rate(alpha, history.at(begin))",
        f"{PROCESS_TESTS}/test_cure.py",
    ),
    Mutation(
        "handling load without its factor",
        f"{PROCESS}/cure_strength.py",
        "return load * safety_factor / area",
        "return load / area",
        f"{PROCESS_TESTS}/test_cure.py",
    ),
    Mutation(
        "interval of the rate factor without that of the energy",
        f"{PROCESS}/cure_fit.py",
        'interval({"ln_k": 1.0, "energy": of_energy},',
        'interval({"ln_k": 1.0},',
        f"{PROCESS_TESTS}/test_cure_fit.py",
    ),
    Mutation(
        "a surface that waits as long as it may is too late",
        f"{PROCESS}/surface_verdict.py",
        "if waited > most:",
        "if waited >= most:",
        f"{PROCESS_TESTS}/test_preparation.py",
    ),
    Mutation(
        "a water-break test that nobody did is taken for passed",
        f"{PROCESS}/surface_verdict.py",
        "preparation.water_break is None and planned.water_break",
        "False and planned.water_break",
        f"{PROCESS_TESTS}/test_preparation.py",
    ),
    Mutation(
        "the best surface's knockdown counts",
        f"{PROCESS}/surface_verdict.py",
        "least = min(given",
        "least = max(given",
        f"{PROCESS_TESTS}/test_preparation.py",
    ),
    Mutation(
        "adhesive to mix without its allowance",
        "fejoint/show/process/bonding_words.py",
        'f"{needed.volume:.3g} mL{mass}',
        'f"{needed.net:.3g} mL{mass}',
        f"{PROCESS_TESTS}/test_job_card.py",
    ),
    Mutation(
        "a card's figures without the numbers of their sources",
        "fejoint/show/process/job_card.py",
        "0 if figure.is_open else sources.number(figure.source)",
        "0",
        f"{PROCESS_TESTS}/test_job_card.py",
    ),
    Mutation(
        "what forbids bonding counts only where a joint names the adherends",
        f"{PROCESS}/outcome.py",
        "else unnamed_materials(process.preparation)",
        "else {}",
        f"{PROCESS_TESTS}/test_process.py",
    ),
    Mutation(
        "a void that stays",
        "fejoint/mechanics/flaws.py",
        "return without(section, void) if len(void) else section",
        "return section",
        FLAWED,
    ),
    Mutation("cut through the tip", "fejoint/mechanics/flaws.py", "        if in_middle:", "        if False:", FLAWED),
    Mutation(
        "a taper of the other sign",
        "fejoint/mechanics/taper.py",
        "np.clip(x / geometry.length, 0.0, 1.0) - 0.5)\n    mirrored",
        "0.5 - np.clip(x / geometry.length, 0.0, 1.0))\n    mirrored",
        FLAWED,
    ),
    Mutation(
        "a peak at the tip itself",
        "fejoint/mechanics/stations.py",
        "low = start + distance if corner[0] or held(before[i]) else start",
        "low = start + distance if corner[0] else start",
        FLAWED,
    ),
    Mutation(
        "flaws that touch are two",
        "fejoint/joint/flaws.py",
        "item[1].start < reach + least - SAME",
        "item[1].start < reach - SAME",
        "tests/joint/test_flaw_keys.py",
    ),
    Mutation(
        "what flaws part counts as bonded",
        f"{STRENGTH}/stretches.py",
        "start, left = flaw.end, flaw",
        "start, left = flaw.start, flaw",
        FLAWED_STRENGTH,
    ),
    Mutation(
        "a void as a disbond no longer than it is",
        "fejoint/mechanics/flaw_release.py",
        "before, after = min(before, ta / 2), min(after, ta / 2)",
        "before, after = 0.0, 0.0",
        "tests/mechanics/test_flaw_release.py",
    ),
    Mutation(
        "a cohesive layer sound in its flaws",
        "fejoint/mechanics/interface.py",
        "np.where(sound, 0.0, 1.0)",
        "np.zeros(sound.shape)",
        "tests/strength/test_cohesive_flaws.py",
    ),
    Mutation(
        "a longer flaw may count as better",
        "fejoint/study/flaw_capacity.py",
        "return np.minimum.accumulate([point.factor for point in self.points])",
        "return np.array([point.factor for point in self.points])",
        "tests/study/test_flaw_capacity.py",
    ),
    Mutation(
        "the last tip in place of the first",
        f"{STRENGTH}/flaw_growth.py",
        "min(tips, key=lambda tip: tip.factor), list[str]()",
        "max(tips, key=lambda tip: tip.factor), list[str]()",
        FLAWED_STRENGTH,
    ),
    Mutation(
        "interval of a mean toughness without what its line does not know",
        "fejoint/coupon/dcb.py",
        "    both = of_line + of_scatter\n",
        "    both = of_scatter\n",
        "tests/coupon/test_beams.py",
    ),
    Mutation(
        "calibration points weighed alike",
        "fejoint/coupon/enf.py",
        "x, w = crack**3, 1 / crack**4",
        "x, w = crack**3, 1 / crack**0",
        "tests/coupon/test_beams.py",
    ),
    Mutation(
        "stiffening of a wide opening with the other factor",
        "fejoint/coupon/dcb.py",
        "- 9 / 35 * wide**2",
        "- 0.3 * wide**2",
        "tests/coupon/test_beams.py",
    ),
    Mutation(
        "a pin above the arm with two thirds for three halves",
        "fejoint/coupon/dcb.py",
        "- 1.5 * arm",
        "- arm * 2 / 3",
        "tests/coupon/test_beams.py",
    ),
    Mutation(
        "a loading block that makes the arm softer",
        "fejoint/coupon/dcb.py",
        "N = 1 - (block / a) ** 3 -",
        "N = 1 + (block / a) ** 3 -",
        "tests/coupon/test_beams.py",
    ),
    Mutation(
        "toughness without the offset of the crack",
        "fejoint/coupon/dcb.py",
        "    length = crack + offset\n",
        "    length = crack\n",
        "tests/coupon/test_beams.py",
    ),
    Mutation(
        "peel over half the grips' travel",
        "fejoint/coupon/peel.py",
        "TRAVEL_PER_PEEL = 2.0",
        "TRAVEL_PER_PEEL = 1.0",
        "tests/coupon/test_reductions.py",
    ),
    Mutation(
        "metal's share over the whole gauge length",
        "fejoint/coupon/thick_adherend.py",
        "own = (gauge - layer) / gauge * metal if",
        "own = metal if",
        "tests/coupon/test_reductions.py",
    ),
    Mutation(
        "times that fall are passed over",
        "fejoint/coupon/tester.py",
        "if time is not None and (np.diff(time) < 0).any():",
        "if time is not None and (np.diff(time) < -1e9).any():",
        "tests/coupon/test_tester.py",
    ),
    Mutation(
        "of specimens side by side the last ends the table",
        "fejoint/coupon/tester.py",
        "        most = max(most, count)\n",
        "        most = count\n",
        "tests/coupon/test_tester.py",
    ),
    Mutation(
        "shares of a pattern may add to less than 100",
        "fejoint/coupon/patterns.py",
        "    if abs(total - 100.0) > TOLERANCE:",
        "    if total - 100.0 > TOLERANCE:",
        "tests/coupon/test_patterns.py",
    ),
    Mutation(
        "squares divided by n",
        "fejoint/coupon/statistics.py",
        "deviation = float(np.std(x, ddof=1))",
        "deviation = float(np.std(x))",
        "tests/coupon/test_statistics.py",
    ),
    Mutation(
        "basis factor with n degrees of freedom",
        "fejoint/coupon/tolerance.py",
        "n - 1 if freedom is None else freedom",
        "n if freedom is None else freedom",
        "tests/coupon/test_basis.py",
    ),
    Mutation(
        "Weibull's bound with another prior of the spread",
        "fejoint/coupon/tolerance.py",
        "(n - 1) * log_z + z * total - n * log_sum",
        "n * log_z + z * total - n * log_sum",
        "tests/coupon/test_basis.py",
    ),
    Mutation(
        "the highest basis value recommended",
        "fejoint/coupon/basis.py",
        "return by[min(found)[1]] if found",
        "return by[max(found)[1]] if found",
        "tests/coupon/test_basis.py",
    ),
    Mutation(
        "specimens that were not broken taken for broken",
        "fejoint/coupon/likelihood.py",
        "by_m = np.where(broken, z, hazard) / s",
        "by_m = z / s",
        "tests/coupon/test_ageing.py",
    ),
    Mutation(
        "a new specimen without its scatter",
        "fejoint/coupon/ageing.py",
        "(self.deviation**2 if specimen else 0.0)",
        "0.0",
        "tests/coupon/test_ageing.py",
    ),
    Mutation(
        "slack added instead of taken off",
        f"{PROOF}/correlation.py",
        "    u = u - start\n",
        "    u = u + start\n",
        f"{PROOF_TESTS}/test_correlation.py",
    ),
    Mutation(
        "what the machine gives way left on",
        f"{PROOF}/tested.py",
        "pull.without_machine(curve.machine_compliance or 0.0)",
        "pull.without_machine(0.0)",
        f"{PROOF_TESTS}/test_correlation.py",
    ),
    Mutation(
        "machine's compliance taken off a prediction",
        f"{PROOF}/effects.py",
        "gives = 1 / stiffness + change.compliance",
        "gives = 1 / stiffness - change.compliance",
        f"{PROOF_TESTS}/test_causes.py",
    ),
    Mutation(
        "a preparation's knockdown not counted",
        f"{PROOF}/effects.py",
        "load = abs(margin_of(first, [change.knockdown]).force)",
        "load = abs(margin_of(first, []).force)",
        f"{PROOF_TESTS}/test_causes.py",
    ),
    Mutation(
        "scatter over n, not n - p",
        f"{PROOF}/estimate.py",
        "np.asarray(sum_of_squares, dtype=np.float64) / (n - p)",
        "np.asarray(sum_of_squares, dtype=np.float64) / n",
        f"{PROOF_TESTS}/test_identify.py",
    ),
    Mutation(
        "feet of the extensometer uneven",
        f"{PROOF}/gauge.py",
        "return middle - side * length / 2, middle + side * length / 2",
        "return middle - side * length, middle + side * length / 2",
        f"{PROOF_TESTS}/test_correlation.py",
    ),
    Mutation(
        "sign of the correlation of figures",
        f"{PROOF}/estimate.py",
        "inner = -(part / size).T @ (part / size)",
        "inner = (part / size).T @ (part / size)",
        f"{PROOF_TESTS}/test_identify.py",
    ),
    Mutation(
        "Poisson's ratio lost with a new shear modulus",
        f"{PROOF}/findable.py",
        'own |= {"elastic_modulus": None, "poisson_ratio": adhesive.poisson_ratio}',
        'own |= {"poisson_ratio": None}',
        f"{PROOF_TESTS}/test_identify.py",
    ),
    Mutation(
        "loads counted at which the adherend parted",
        f"{PROOF}/identify.py",
        "if LOAD in kinds and not test.measured.only_at_least:",
        "if LOAD in kinds:",
        f"{PROOF_TESTS}/test_identify.py",
    ),
    Mutation(
        "a share of cooling as one of load",
        f"{STRENGTH}/cohesive.py",
        "top is None or top.pace.step < now.pace.step or on_the_way",
        "top is None or on_the_way",
        "tests/strength/test_cohesive.py",
    ),
    Mutation(
        "arms no longer than the sound joint's",
        f"{STRENGTH}/adherends.py",
        "1 / buckling_share(_without_parted_ends(joint))",
        "1 / buckling_share(joint)",
        "tests/strength/test_adherends.py",
    ),
    Mutation(
        "a flaw's strip hinged",
        f"{STRENGTH}/adherends.py",
        "4 * math.pi**2 * bending / flaw.length**2",
        "math.pi**2 * bending / flaw.length**2",
        "tests/strength/test_adherends.py",
    ),
)


def first_red(mutation: Mutation) -> str | None:
    """Return the first test that fails with a change, None when all pass.

    Raises
    ------
    ValueError
        The change does not fit the file any more.
    """
    with tempfile.TemporaryDirectory(prefix="mutation-") as folder:
        copy = Path(folder)
        for part in PARTS:
            source = ROOT / part
            if source.is_dir():
                shutil.copytree(source, copy / part, ignore=shutil.ignore_patterns("__pycache__"))
            elif source.is_file():
                shutil.copy(source, copy / part)
        path = copy / mutation.file
        text = path.read_text(encoding="utf-8")
        if text.count(mutation.old) != 1:
            raise ValueError(f"{mutation.name}: {mutation.file} holds what is to be changed {text.count(mutation.old)} times.")
        path.write_text(text.replace(mutation.old, mutation.new), encoding="utf-8")
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--no-header", *mutation.tests.split()]
        environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
        done = subprocess.run(command, cwd=copy, env=environment, capture_output=True, text=True, check=False)
        found = re.search(r"^(?:FAILED|ERROR) (.+?)(?: - .*)?$", done.stdout, re.MULTILINE)
        if done.returncode == 0:
            return None
        if found is None:
            raise ValueError(f"{mutation.name}: the tests did not run: {done.stdout[-500:]}{done.stderr[-500:]}")
        return found.group(1)


def main(names: list[str]) -> int:
    """Print which test sees which change; return 1 when one is seen by none."""
    chosen = [m for m in MUTATIONS if not names or m.name in names]
    missed = 0
    print("| change | seen by |\n| --- | --- |")
    for mutation in chosen:
        red = first_red(mutation)
        missed += red is None
        print(f"| {mutation.name} | {f'`{red}`' if red else '**nothing**'} |", flush=True)
    print(f"\n{len(chosen)} changes, {missed} seen by no test")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
