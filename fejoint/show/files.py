"""The files of a run: written whole or not at all.

Numbers in them are N, mm, MPa, K whatever the display system.
"""

from __future__ import annotations

import csv
import io
import json
import os
import platform
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint import __version__
from fejoint.bondline.closed_form.comparison import Theory, compare
from fejoint.errors import SetupError
from fejoint.joint.cohesion import FIGURES
from fejoint.joint.description import Joint
from fejoint.mechanics.driver import Result
from fejoint.mechanics.elasticity import von_mises
from fejoint.mechanics.factor import solver_name
from fejoint.mechanics.linear import Solution
from fejoint.mechanics.nonlinear import Deformed
from fejoint.mechanics.recovery import nodal, nodal_stress
from fejoint.show.path_rows import LAYER_COLUMNS, cauchy_peaks, path_row
from fejoint.show.space.solid import SCHEMA_VERSION
from fejoint.units import known

__all__ = [
    "adherends_csv",
    "bondline_csv",
    "check_kind",
    "joint_as_understood",
    "section_mesh",
    "summary",
    "write_files",
    "write_run",
]

PATH = "path"  # the folder of a load's path, in that of the run
# Columns of bondline.csv behind the measure: on the mid-line alone.
ALONG = ("transferred_N", "shear_strain", "plastic_strain", "cauchy_shear_MPa", "cauchy_peel_MPa", "cauchy_axial_MPa")
RUN_FILES = ("bondline.csv", "adherends.csv", "summary.json", "section.vtu", "joint.toml")


def write_run(result: Result, folder: str | Path, joint_file: str) -> list[Path]:
    """Write ``bondline.csv``, ``adherends.csv``, ``summary.json``, ``section.vtu`` and ``joint.toml``.

    Of a result along a load's path also ``path.csv`` and, in ``path``, every increment as a run of its own.

    Parameters
    ----------
    result : Result
    folder : path
        Made if it is not there.
    joint_file : str
        Text of the joint file, as given.

    Raises
    ------
    SetupError
        The folder cannot be written, holds a sweep, or the disk is full; nothing new is left behind.
    """
    from fejoint.show.path_files import remove_path, write_path

    check_kind(folder, "run")
    if result.path:  # before the summary, which says that the run is finished
        write_path(result, folder)
    else:
        remove_path(folder)
    return write_files(folder, run_writers(result, joint_file))


def run_writers(result: Result, joint_file: str) -> dict[str, Callable[[Path], Any]]:
    """Return what writes each file of a run, by its name; for `write_files`. Theories are for the end of a path, not the way."""
    theories = not result.joint.analysis.nonlinear or bool(result.path)
    texts = {
        "bondline.csv": lambda: bondline_csv(result),
        "adherends.csv": lambda: adherends_csv(result),
        "summary.json": lambda: json.dumps(summary(result, theories), indent=2, allow_nan=False) + "\n",
        "joint.toml": lambda: joint_file,
    }
    return {
        **{name: lambda path, text=text: write_text(path, text()) for name, text in texts.items()},  # type: ignore[misc]
        "section.vtu": lambda path: section_mesh(result).write(path),
    }


def check_kind(folder: str | Path, kind: str) -> None:
    """Refuse a folder that holds what another command wrote: a run's files beside a sweep's would be taken for one another.

    Parameters
    ----------
    folder : path
    kind : str
        ``run`` or ``sweep``: what is to be written.

    Raises
    ------
    SetupError
        The folder holds the other kind.
    """
    other, marks = ("sweep", ["journal.sqlite"]) if kind == "run" else ("run", ["summary.json", f"{PATH}/path.json"])
    for mark in marks:
        if os.path.lexists(Path(folder) / mark):
            raise SetupError(f"{folder}: holds the files of a {other} ({mark}); choose another folder for this {kind}.")


def write_files(folder: str | Path, writers: dict[str, Callable[[Path], Any]]) -> list[Path]:
    """Write files into a folder, all of them or none: into a temporary one beside them first, then by renaming.

    Raises
    ------
    SetupError
        The folder cannot be written or the disk is full.
    """
    folder = Path(folder)
    made = not folder.exists()
    scratch: Path | None = None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=".writing-", dir=folder))
        for name, write in writers.items():
            write(scratch / name)
            if not (scratch / name).is_file():
                raise OSError(f"{name} was not written")
        for name in writers:
            os.replace(scratch / name, folder / name)
    except BaseException as error:  # an interruption leaves nothing behind either
        for rest in [scratch, folder if made else None]:
            if rest is not None:
                shutil.rmtree(rest, ignore_errors=True)
        if not isinstance(error, OSError):
            raise
        reason = (error.strerror or str(error)).lower()
        raise SetupError(f"{folder}: cannot be written ({reason}); choose another folder or free some space.") from None
    shutil.rmtree(scratch, ignore_errors=True)
    return [folder / name for name in writers]


def bondline_csv(result: Result) -> str:
    """Return the stresses along all bondlines as CSV, and on the mid-line what goes with them there.

    That is the load passed on from the left up to there and, along a load's
    path, strains and the stress in the axes of space; empty elsewhere.
    """
    rows: list[list[Any]] = [["bondline", "level", "x_mm", "shear_MPa", "peel_MPa", "axial_MPa", "measure", *ALONG]]
    cohesive = result.joint.analysis.cohesive
    rows[0] += LAYER_COLUMNS if cohesive else ()
    width = result.joint.geometry.width
    for bondline in result.bondlines:
        space = bondline.cauchy
        of_middle = (
            None if bondline.transferred is None else width * bondline.transferred,
            bondline.shear_strain,
            bondline.plastic_strain,
            *((None, None, None) if space is None else (space.shear, space.peel, space.axial)),
            *((bondline.damage, bondline.opening, bondline.sliding) if cohesive else ()),
        )
        for level, curve in bondline.levels().items():
            beside = [
                [""] * len(curve.x) if values is None or level != "middle" else [f"{value:.9g}" for value in values]
                for values in of_middle
            ]
            for x, shear, peel, axial, *more in zip(curve.x, curve.shear, curve.peel, curve.axial, *beside, strict=True):
                said = (f"{value:.9g}" for value in (x, shear, peel, axial))
                rows.append([bondline.number, level, *said, bondline.measure, *more])
    return csv_text(rows)


def adherends_csv(result: Result) -> str:
    """Return what the adherends carry where they enter the overlap, at their far ends and at the steps of a stepped lap, as CSV.

    Per unit width; ``peak_MPa`` is N/t + 6 M/t^2, at a step, where the moment is not known, N/t.
    """
    rows: list[list[Any]] = [
        ["adherend", "place", "x_mm", "thickness_mm", "axial_N_per_mm", "shear_N_per_mm", "moment_N", "axial_MPa", "peak_MPa"]
    ]
    for s in result.adherend_sections:
        values = (s.x, s.thickness, s.axial, s.shear, s.moment, s.axial_stress, s.peak_stress)
        rows.append([s.adherend, s.place, *("" if value is None else f"{value:.9g}" for value in values)])
    return csv_text(rows)


def csv_text(rows: list[list[Any]]) -> str:
    """Return rows as CSV."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def summary(result: Result, theories: bool = True) -> dict[str, Any]:
    """Return the summary of a run, ready for JSON (N, mm, MPa, K); without `theories` theirs are neither in it nor computed."""
    joint, solution = result.joint, result.solution
    width, entries = joint.geometry.width, joint.geometry.entries()
    factors = result.edge_moment_factors
    return {
        "schema_version": SCHEMA_VERSION,
        "title": joint.title,
        "passed": result.passed,
        **{f"{name}_MPa": _peak(*getattr(result, name)) for name in ("peak_shear", "peak_peel", "least_peel")},
        "interface_peaks_MPa": {
            level: {
                "shear": max((b.levels()[level].largest("shear").value for b in result.bondlines), key=abs),
                "peel": max(b.levels()[level].highest("peel").value for b in result.bondlines),
            }
            for level in ("lower", "upper")
        },
        "spew_peaks_MPa": {
            str(number): {"shear": shear.value, "shear_x_mm": shear.x, "peel": peel.value, "peel_x_mm": peel.x}
            for number, (shear, peel) in result.spew_peaks.items()
        },
        "mean_shear_MPa": joint.mean_shear,
        "applied_N": joint.load.force,
        "reaction_N": -joint.geometry.pull * solution.gripped.axial * width,
        "elongation_mm": result.elongation,
        "lift_mm": result.lift,
        "turn": result.turn,
        **({"flaws": _flaws(joint)} if joint.flaws else {}),
        "transferred_N": {name: force * width for name, force in result.bond_forces.items()},
        "checks": [
            {"name": c.name, "value": known(c.value), "limit": c.limit, "passed": c.passed, "meaning": c.meaning}
            for c in result.checks
        ],
        "discretisation_error": {name: known(value) for name, value in result.discretisation_error.items()},
        "edge_moment_factor": None if factors is None else max(factors, key=abs),
        "edge_loads": {
            name: {"x_mm": entries[name], "axial_N_per_mm": e.axial, "shear_N_per_mm": e.shear, "moment_N": e.moment}
            for name, e in result.edges.items()
        },
        "adherend_peak_MPa": result.adherend_peaks,
        **({"theories": {theory.name: _theory(theory) for theory in compare(joint, result.edges)}} if theories else {}),
        "stress_measure": result.bondlines[0].measure,
        "out_of_plane": joint.out_of_plane,
        "width_strain": solution.width_strain,
        "mesh_density": result.section.density,
        "dofs": result.unknowns,
        "half_by_symmetry": joint.half,
        "seconds": result.seconds,
        "regions": {name: number for number, name in enumerate(solution.laws)},
        "warnings": result.warnings,
        "marked_figures": joint_marks(joint),
        "versions": versions(),
        "joint": joint_as_understood(joint),
        **(_along_the_path(result) if joint.analysis.nonlinear else {}),
    }


def _flaws(joint: Joint) -> list[dict[str, Any]]:
    """Return the flaws that the joint was solved with, merged."""
    return [
        {"bondline": f.bondline, "kind": f.kind, "place": f.level, "start_mm": f.start, "end_mm": f.end}
        for f in joint.merged_flaws().flaws
    ]


def _along_the_path(result: Result) -> dict[str, Any]:
    """Return what the summary of a run along a load's path has beside that of a linear one."""
    given = {} if result.asked is None or not result.limit else {"asked": joint_as_understood(result.asked)}
    return {
        "limit": result.limit,
        "step": result.step,
        "number": result.number,
        "iterations": result.iterations,
        "plastic_strain": result.plastic_strain,
        "yielded": {str(number): share for number, share in result.yielded.items()},
        **({"cracks": {str(number): vars(crack) for number, crack in result.cracks.items()}} if result.cracks else {}),
        **{f"cauchy_{name}_MPa": _peak(*found) for name, found in cauchy_peaks(result).items()},
        "increment": path_row(result),
        **given,
        "path": [path_row(increment) for increment in result.path],
    }


def joint_as_understood(joint: Joint) -> dict[str, Any]:
    """Return the joint by the keys of its file, in N-mm-MPa-K, defaults and library figures filled in."""
    return joint.model_dump(by_alias=True, exclude_none=True)


def joint_marks(joint: Joint) -> dict[str, str]:
    """Return the figures used that come from memory or without a source, by key, with their mark."""
    used = ("elastic_modulus", "shear_modulus", "poisson_ratio", "expansion" if joint.load.temperature_change else "elastic")
    stated = used + FIGURES if joint.analysis.cohesive else used
    return {
        f"{place}.{key}": source
        for place, material in joint.materials_by_key().items()
        for key, source in material.sources.items()
        if key.startswith(stated) and source.startswith(("from memory", "typical"))
    }


def versions() -> dict[str, str]:
    """Return the versions of everything that has a part in the numbers."""
    solver = solver_name()
    used = ("numpy", "scipy", "scikit-fem", "gmsh", "pydantic") + (("kvxopt",) if solver == "CHOLMOD" else ())
    return {"fejoint": __version__, "python": platform.python_version(), "solver": solver, **{n: _version(n) for n in used}}


@cache
def _version(package: str) -> str:
    return metadata.version(package)


def section_mesh(result: Result) -> Any:
    """Return the solved section as a meshio mesh.

    Nine-node quadrilaterals; the nodes of every region are its own, so that
    stresses may jump where regions meet. Point data: ``displacement`` (mm),
    Cauchy stresses in the global axes (MPa) and, where something may yield,
    ``equivalent_plastic_strain``; cell data: ``region``, numbered as in the summary.
    """
    import meshio

    solution = result.solution
    d, yielding = solution.discretisation, result.joint.yielding()
    large = result.joint.analysis.large_rotation
    points, cells, regions, displacement, stress, strain = [], [], [], [], [], []
    offset = 0
    for number, region in enumerate(solution.laws):
        nodes = d.nodes_ac[d.section.cells(region)]
        used, local = np.unique(nodes, return_inverse=True)
        if large:
            field = nodal_stress(solution, region, "cauchy")
        else:
            field = result.adhesive_stress if region == "adhesive" else nodal_stress(solution, region)
        points.append(d.points[used])
        displacement.append(solution.displacement[used])
        stress.append(field[used])
        strain.append(_plastic_strain(solution, region)[used] if region in yielding else np.zeros(len(used)))
        cells.append(local.reshape(nodes.shape) + offset)
        regions.append(np.full(len(nodes), number))
        offset += len(used)

    def in_space(parts: list[Any]) -> Any:
        flat = np.concatenate(parts)
        return np.column_stack([flat, np.zeros(len(flat))])

    xx, yy, xy, zz = np.nan_to_num(np.concatenate(stress)).T
    return meshio.Mesh(
        in_space(points),
        [("quad9", np.concatenate(cells))],
        point_data={
            "displacement": in_space(displacement),
            "stress_xx_MPa": xx,
            "stress_yy_MPa": yy,
            "stress_xy_MPa": xy,
            "stress_zz_MPa": zz,
            "von_mises_MPa": von_mises(np.stack([xx, yy, xy, zz])),
            **({"equivalent_plastic_strain": np.nan_to_num(np.concatenate(strain))} if yielding else {}),
        },
        cell_data={"region": [np.concatenate(regions)]},
    )


def _plastic_strain(solution: Solution, region: str) -> NDArray[np.float64]:
    """Return the equivalent plastic strain of a region at all nodes; never below nothing, where the recovery may swing to."""
    assert isinstance(solution, Deformed)
    return np.maximum(nodal(solution.discretisation, solution.plastic_strain(region)[None], region)[:, 0], 0.0)


def write_text(path: Path, text: str) -> None:
    """Write a text as it stands, in UTF-8."""
    path.write_text(text, encoding="utf-8", newline="\n")


def _peak(peak: Any, bondline: int) -> dict[str, Any]:
    return {"value": peak.value, "x_mm": peak.x, "bondline": bondline}


def _theory(theory: Theory) -> dict[str, Any]:
    if not theory.bondlines:
        return {"reason": theory.reason}
    edge = theory.bondlines[0].edge
    return {
        "peak_shear_MPa": known(max((b.peak_shear.value for b in theory.bondlines), key=abs)),
        "peak_peel_MPa": known(max(b.peak_peel.value for b in theory.bondlines)),
        "edge_moment_N": abs(edge.moment) if edge else None,
    }
