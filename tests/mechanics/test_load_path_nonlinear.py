"""Along the load's path: what the end must be where it is known otherwise, and what no path may depend on.

Meshes are coarse, since every comparison here is on one and the same mesh, or with a limit load that no mesh changes much.
"""

from __future__ import annotations

import io
from dataclasses import fields
from functools import cache

import numpy as np
import pytest

from fejoint import Adherend, Adhesive, Analysis, DoubleLap, Joint, Load, SingleLap, SteppedLap
from fejoint.mechanics.discretisation import discretise
from fejoint.mechanics.linear import assemble, laws_of, pattern_of, solve_linear
from fejoint.mechanics.newton import State
from fejoint.mechanics.nonlinear import Pace
from fejoint.mechanics.path import Marker, follow_path, marker_of
from fejoint.mechanics.reuse import mesh_key
from fejoint.mechanics.section import mesh_section

# Round figures of the order of aluminium, steel, a carbon ply and an epoxy: stand-ins, no material's data.
METAL = {
    "elastic_modulus": 70_000.0,
    "poisson_ratio": 0.33,
    "expansion": 23e-6,
    "tensile_yield": 270.0,
    "hardening": {"exponent": 20},
}
STEEL = {"elastic_modulus": 210_000.0, "poisson_ratio": 0.3, "expansion": 12e-6}
PLY = {
    "elastic_modulus_x": 140_000.0,
    "elastic_modulus_y": 9_000.0,
    "elastic_modulus_z": 11_000.0,
    "poisson_ratio_xy": 0.3,
    "poisson_ratio_xz": 0.25,
    "poisson_ratio_yz": 0.45,
    "shear_modulus_xy": 5_000.0,
    "expansion_x": -0.5e-6,
    "expansion_y": 30e-6,
    "expansion_z": 30e-6,
}
ELASTIC = {"elastic_modulus": 2_000.0, "poisson_ratio": 0.35, "expansion": 60e-6, "swelling": 0.3}
GLUE = {**ELASTIC, "tensile_yield": 20.0, "hardening": {"rise": 12.0, "rate": 60}}
CONE = {**GLUE, "yield_surface": "cone", "compression_ratio": 1.3, "plastic_poisson_ratio": 0.4}
PARABOLOID = {**CONE, "yield_surface": "paraboloid"}


def single(material=METAL, upper=None, overlap=12.5, arm=20.0):
    return SingleLap(
        width=25.0,
        overlap_length=overlap,
        bondline_thickness=0.3,
        lower=Adherend(material=material, thickness=1.6, free_length=arm),
        upper=Adherend(material=upper or material, thickness=1.6, free_length=arm),
    )


def double(material=METAL, outer=None, overlap=12.5):
    return DoubleLap(
        width=25.0,
        overlap_length=overlap,
        bondline_thickness=0.3,
        inner=Adherend(material=material, thickness=3.0, free_length=15.0),
        outer=Adherend(material=outer or material, thickness=1.6, free_length=15.0),
    )


def stepped(material=METAL):
    return SteppedLap(
        width=25.0,
        steps=2,
        overlap_length=14.0,
        bondline_thickness=0.3,
        lower=Adherend(material=material, thickness=3.0, free_length=15.0),
        upper=Adherend(material=material, thickness=3.0, free_length=15.0),
    )


def joint(geometry, adhesive=GLUE, load=None, **analysis):
    return Joint(joint=geometry, adhesive=Adhesive(**adhesive), load=Load(**(load or {})), analysis=Analysis(**analysis))


ALL = {"large_rotation": True, "adhesive_model": "plastic", "adherend_plasticity": True}
PLASTIC = {"adhesive_model": "plastic"}
LARGE = {"large_rotation": True}
# Orthotropic adherends never yield: with this the path is walked, and everything is elastic and small.
NOTHING = {"adherend_plasticity": True}

_meshes: dict = {}


def mesh_of(made, density=0.3):
    key = f"{mesh_key(made, density)} {made.half}"
    if key not in _meshes:
        _meshes[key] = discretise(mesh_section(made, density))
    return _meshes[key]


@cache
def walked(made, density=0.3):
    """Return the results along a joint's path, and why it ended."""
    d = mesh_of(made, density)
    found, limit, _ = follow_path(made, d, pattern_of(d, made.load.ends, made.load.guided), lambda text: None)
    return found, limit


def end_of(made, density=0.3):
    found, limit = walked(made, density)
    assert limit == ""
    return found[-1]


def linear(made):
    """Return the linear solution of the same joint on the same mesh, at the end of its path."""
    d = mesh_of(made)
    plain = made.replace(analysis=Analysis(out_of_plane=made.out_of_plane))
    return solve_linear(assemble(d, laws_of(plain, d.section), made.load.ends, made.load.guided), plain)


def difference(solution, other):
    """Return the largest difference of two displacements, by the largest displacement."""
    return np.abs(solution.displacement - other.displacement).max() / np.abs(other.displacement).max()


# ---- the linear analysis as a limit -----------------------------------------------------------------------------------

FAMILIES = {"single": single, "double": double, "stepped": stepped}
LOADS = {
    "clamped": {"force": 2e-3},
    "clamped, sheared": {"force": 2e-3, "shear_force": 1e-4},
    "pinned": {"force": 2e-3, "ends": "pinned"},
    "pinned, moment": {"force": 1e-3, "moment": -5e-3, "ends": "pinned"},
}


@pytest.mark.parametrize(
    ("family", "load"),
    [(single, name) for name in LOADS] + [(double, "clamped"), (stepped, "clamped, sheared"), (stepped, "pinned, moment")],
)
def test_small_loads_give_the_linear_answer(family, load):
    """A millionth of a working load, with large rotation: displacements, end forces and stresses of the linear analysis.

    Tolerance 1e-6: at the working load rotation changes the answer by the order of itself, so at a millionth by 1e-6
    of that, and Newton's method leaves 1e-8.
    """
    made = joint(family(), GLUE, LOADS[load], **LARGE)
    solution, wanted = end_of(made).solution, linear(made)
    assert difference(solution, wanted) < 1e-6
    for name, end in wanted.ends.items():
        size = abs(made.line_load)
        now = solution.ends[name]
        assert (now.axial, now.lateral) == pytest.approx((end.axial, end.lateral), abs=1e-6 * size)
        assert now.moment == pytest.approx(end.moment, abs=1e-6 * size * 30)
    assert (solution.elongation, solution.turn, solution.lift) == pytest.approx(
        (wanted.elongation, wanted.turn, wanted.lift), abs=1e-6 * np.abs(wanted.displacement).max()
    )
    for kind in ("bondline", "cauchy"):
        found, stress = solution.stress("adhesive", kind), wanted.stress("adhesive")
        assert np.abs(found - stress).max() < 1e-5 * np.abs(stress).max()  # differences of displacements: a digit less


def test_small_loads_know_no_frames():
    """Where nothing yields yet, small and large rotation agree at a millionth of a working load (1e-6, as above)."""
    load = {"force": 2e-3, "temperature_change": -1e-4}
    small, large = (end_of(joint(single(), CONE, load, **{**ALL, "large_rotation": on})) for on in (False, True))
    assert difference(large.solution, small.solution) < 1e-6
    assert large.plastic_strain["adhesive"] == 0


@pytest.mark.parametrize(
    ("adhesive", "load"),
    [
        (ELASTIC, {"force": 0.0, "temperature_change": -100.0}),
        (ELASTIC, {"force": 2000.0, "temperature_change": 60.0, "ends": "pinned", "moment": 900.0}),
        (ELASTIC, {"force": 2000.0, "shear_force": 20.0}),
        (ELASTIC, {"force": 1500.0, "moisture": 0.02}),
        (
            {
                **ELASTIC,
                "at_temperature": {
                    "temperature": [233.0, 296.0, 393.0],
                    "elastic_modulus": [2300.0, 2000.0, 600.0],
                    "expansion": [50e-6, 60e-6, 90e-6],
                },
            },
            {"force": 2000.0, "temperature_change": -120.0, "stress_free_temperature": 383.0},
        ),
    ],
    ids=["cool-down", "warm and turned", "sheared", "swelling", "table of temperatures"],
)
def test_elastic_small_rotation_ends_at_the_linear_answer(adhesive, load):
    """Walked in increments, nothing yields and nothing turns: the linear answer at the end's figures.

    Tolerance 1e-9 of the largest displacement: an iteration that solves a linear problem twice leaves round-off,
    1e-16 times the condition of the section, below 1e7.
    """
    made = joint(single(PLY), adhesive, load, **NOTHING)
    assert made.yielding() == {}
    solution, wanted = end_of(made).solution, linear(made)
    assert difference(solution, wanted) < 1e-9
    assert solution.width_strain == pytest.approx(wanted.width_strain, abs=1e-9)
    assert np.abs(solution.stress("adhesive") - wanted.stress("adhesive")).max() < 1e-7 * np.abs(wanted.stress("adhesive")).max()


# ---- order of steps, unloading ----------------------------------------------------------------------------------------


def in_steps(*steps):
    return {"step": [{"name": f"{i}", **step} for i, step in enumerate(steps)]}


PULLED_AND_COOLED = (
    in_steps({"force": 3000.0}, {"temperature_change": -80.0}),
    in_steps({"temperature_change": -80.0}, {"force": 3000.0}),
    in_steps({"force": 3000.0, "temperature_change": -80.0}),
)


def test_elastic_joints_do_not_know_the_order_of_steps():
    """Pulled and cooled, cooled and pulled, or both at once: one end state, to what Newton's method leaves (1e-8 a force)."""
    ends = [end_of(joint(single(METAL, STEEL), ELASTIC, load, **LARGE)).solution for load in PULLED_AND_COOLED]
    for other in ends[1:]:
        assert difference(other, ends[0]) < 1e-7


def test_plastic_joints_do_know_it():
    """Beyond yield the order matters: peaks of plastic strain differ by more than a percent, far above what is left over."""
    ends = [end_of(joint(single(METAL, STEEL), GLUE, load, **PLASTIC)) for load in PULLED_AND_COOLED[:2]]
    strains = [end.plastic_strain["adhesive"] for end in ends]
    assert min(strains) > 1e-3
    assert abs(strains[0] / strains[1] - 1) > 0.01


@pytest.mark.parametrize("analysis", [LARGE, ALL], ids=["elastic", "all"])
def test_unloaded_joints_are_at_rest(analysis):
    """Up and down to no load at all: an elastic joint is as it was, a joint that has yielded keeps some length."""
    end = end_of(joint(single(), GLUE, in_steps({"force": 3500.0}, {"force": 0.0}), **analysis))
    top = next(
        r for r in walked(joint(single(), GLUE, in_steps({"force": 3500.0}, {"force": 0.0}), **analysis))[0] if r.step == "1"
    )
    assert end.joint.load.force == 0
    if analysis is LARGE:
        assert np.abs(end.solution.displacement).max() < 1e-6 * np.abs(top.solution.displacement).max()
    else:
        assert end.elongation > 1e-3 * top.elongation


def test_unloading_follows_the_elastic_slope():
    """After yield a tenth of the load is taken off: elongation falls by the elastic compliance and no strain flows.

    Compliance from the same joint at 1 N, where nothing yields. Tolerance 1e-6: small rotation, what Newton's method leaves.
    """
    found, limit = walked(joint(single(), GLUE, in_steps({"force": 4000.0}, {"force": 3600.0}), **PLASTIC))
    assert limit == ""
    top, end = next(r for r in reversed(found) if r.step == "0"), found[-1]
    soft = end_of(joint(single(), GLUE, {"force": 1.0}, **PLASTIC)).elongation
    assert top.plastic_strain["adhesive"] > 1e-2
    assert (top.elongation - end.elongation) / 400 == pytest.approx(soft, rel=1e-6)
    assert np.array_equal(top.solution.plastic_strain("adhesive"), end.solution.plastic_strain("adhesive"))
    assert top.elongation > 1.01 * 4000 * soft


# ---- limit loads ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("surface", "shear"),
    [
        ({}, 20 / np.sqrt(3)),
        pytest.param({"yield_surface": "cone", "compression_ratio": 1.3}, 20 / np.sqrt(3) * 2.6 / 2.3, marks=pytest.mark.slow),
    ],
    ids=["von-mises", "cone"],
)
def test_perfectly_plastic_layer_bears_its_yield_stress_times_its_area(surface, shear):
    """A double lap with steel adherends flows along both bonds: the limit load is tau_y times their area, by hand.

    Tolerance 1 %: on the last thickness at each free end peel and shear share the yield surface (part of 2 x 0.3 of 40 mm),
    and the load counts as at its limit where it grows by less than half a percent of what it did. The reason says what yields.
    """
    adhesive = {**ELASTIC, "tensile_yield": 20.0, **surface}
    made = joint(double(STEEL, overlap=40.0), adhesive, {"force": 1.2 * shear * 2 * 25 * 40}, **PLASTIC)
    found, limit = walked(made)
    assert found[-1].joint.load.force == pytest.approx(shear * 2 * 25 * 40, rel=0.01)
    assert "limit load" in limit
    assert "the adhesive has yielded along the whole bondline" in limit
    assert min(found[-1].yielded.values()) > 0.98


# ---- going on from where a run stopped --------------------------------------------------------------------------------


def through_a_file(marker):
    """Return a marker written by numpy to a file and read back, without pickles."""
    state, pace = marker.state, marker.pace
    held = {f"state.{f.name}": np.asarray(getattr(state, f.name)) for f in fields(State) if f.name != "history"}
    held |= {f"pace.{f.name}": np.asarray(np.nan if (v := getattr(pace, f.name)) is None else v) for f in fields(Pace)}
    for name, (metric, plastic) in state.history.items():
        held |= {f"metric {name}": metric, f"plastic {name}": plastic}
    file = io.BytesIO()
    np.savez(file, internal=marker.internal, iterations=marker.iterations, residual=marker.residual, **held)
    file.seek(0)
    with np.load(file, allow_pickle=False) as read:
        history = {name: (read[f"metric {name}"], read[f"plastic {name}"]) for name in state.history}
        made = {f.name: read[f"state.{f.name}"] for f in fields(State) if f.name != "history"}
        made = {k: v if v.ndim else v.item() for k, v in made.items()}
        paced = {f.name: read[f"pace.{f.name}"] for f in fields(Pace)}
        paced = {k: v if v.ndim else v.item() for k, v in paced.items()}
        paced["travel"] = None if np.isnan(paced["travel"]) else paced["travel"]
        return Marker(
            State(history=history, **made), Pace(**paced), int(read["iterations"]), float(read["residual"]), read["internal"]
        )


def test_interrupted_paths_go_on_to_the_last_bit():
    """Cooled, then pulled to its limit (increments by travel at the end): the first increments stored, the rest walked anew."""
    made = joint(single(), CONE, {"force": 6500.0, "temperature_change": -60.0}, **ALL)
    whole, limit = walked(made)
    d = mesh_of(made)
    markers = [through_a_file(marker_of(result)) for result in whole[:4]]
    again, why, _ = follow_path(made, d, pattern_of(d, "clamped", False), lambda text: None, start=markers)
    assert why == limit
    assert len(again) == len(whole)
    for one, other in zip(whole, again, strict=True):
        assert np.array_equal(one.solution.displacement, other.solution.displacement)
        assert np.array_equal(one.bondlines[0].shear, other.bondlines[0].shear)
        assert [(c.name, c.value) for c in one.checks] == [(c.name, c.value) for c in other.checks]
        assert one.solution.pace.share == other.solution.pace.share


# ---- all at once, and what the checks see ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("family", "adhesive"),
    [(single, GLUE), (double, CONE), (stepped, PARABOLOID)],
    ids=["single, von-mises", "double, cone", "stepped, paraboloid"],
)
def test_everything_at_once_comes_through(family, adhesive):
    """Large rotation, plastic adhesive and adherends, cooled and pulled: finite, at its load, and its forces balance.

    The balances are those of recovered stresses, which at this mesh are good to a few percent; work and equilibrium
    hold on any mesh, to the limits of the checks.
    """
    made = joint(family(), adhesive, {"force": 4000.0, "temperature_change": -60.0}, **ALL)
    end = end_of(made)
    assert end.joint.load.force == 4000
    checks = {check.name: check for check in end.checks}
    for name in ("energy_balance", "newton_residual", "yield_excess"):
        assert checks[name].passed
    assert max(checks[name].value for name in ("load_transferred", "peel_balance", "moment_balance")) < 0.05
    assert all(np.isfinite(b.shear).all() and np.isfinite(b.peel).all() for b in end.bondlines)
