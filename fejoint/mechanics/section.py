"""From a joint to its meshed cross-section: the only module that imports gmsh."""

from __future__ import annotations

import threading
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from skfem import MeshQuad

from fejoint.environment import SYSTEM_LIBRARIES
from fejoint.errors import MeshError, SetupError
from fejoint.joint.description import Joint
from fejoint.joint.flaws import edge_parameters, flaw_edges
from fejoint.mechanics.flaws import flawed
from fejoint.mechanics.meshed import Section, areas_of, facets_between
from fejoint.mechanics.taper import tapered

__all__ = ["Section", "facets_between", "mesh_section", "read_script"]

# gmsh keeps one model a process: everything from clearing it to reading it back is one step.
_LOCK = threading.Lock()


def mesh_section(joint: Joint, density: float | None = None, whole: bool = False, disbond_tip: float | None = None) -> Section:
    """Return the meshed section of a joint; a pure function of its arguments.

    Where the joint is its own mirror image, its upper half alone, unless the
    whole is asked for. The joint's flaws are in it, and the taper of its layer.
    With a `disbond_tip` the cells are fine and even round that x (mm), still in
    one piece: `opened` parts them.

    Raises
    ------
    MeshError
        The geometry script lacks a parameter or a named group, or a region
        does not have the joint's area.
    SetupError
        gmsh lacks a system library.
    """
    geometry, half = joint.geometry, joint.half and not whole
    density = joint.analysis.mesh_density if density is None else density
    parameters = {**joint.script_parameters(half), "mesh_density": density}
    if disbond_tip is not None:
        edges = flaw_edges(joint)
        parameters |= edge_parameters({**edges, disbond_tip: True}) if edges else {"disbond_tip": disbond_tip}
    mesh = read_script(script_path(geometry.script), parameters)
    expected = geometry.region_areas(half)
    missing = [name for name in expected if name not in mesh.subdomains]
    if missing:
        raise MeshError(f"{geometry.script}: the surface named {missing[0]!r} is missing.")
    missing = [name for name in geometry.curve_names(half) if name not in mesh.boundaries]
    if missing:
        raise MeshError(f"{geometry.script}: the curve named {missing[0]!r} is missing.")
    areas = areas_of(mesh.p[:, mesh.t])
    for name, area in expected.items():
        found = float(areas[mesh.subdomains[name]].sum())
        if not abs(found - area) <= 1e-6 * area:
            raise MeshError(f"{geometry.script}: region {name!r} has {found:.8g} mm^2 where the joint has {area:.8g} mm^2.")
    covered = np.concatenate([mesh.subdomains[name] for name in expected])
    if len(np.unique(covered)) != mesh.t.shape[1] or len(covered) != mesh.t.shape[1]:
        raise MeshError(f"{geometry.script}: every cell must belong to exactly one named region.")
    section = Section(mesh, density)
    # The elements of a cohesive layer know its flaws themselves.
    return tapered(flawed(section, joint) if joint.flaws and not joint.analysis.cohesive else section, joint)


def script_path(name: str) -> Path:
    """Return the path of a shipped geometry script, installed or in a checkout."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "geometries", package.parent / "geometries"):
        if (folder / name).is_file():
            return folder / name
    raise MeshError(f"{name}: this geometry script is not part of the installation; install fejoint again.")


def read_script(path: Path, parameters: dict[str, float]) -> MeshQuad:
    """Run a geometry script with parameters and return its mesh with named regions and curves.

    A geometry script is code: only run scripts that you trust.

    Raises
    ------
    MeshError
        Unknown parameter, gmsh cannot mesh it, or cells other than
        quadrilaterals.
    """
    gmsh = _gmsh()
    with _LOCK:
        try:
            known = _script_parameters(path, path.stat().st_mtime_ns)
            unknown = sorted(set(parameters) - known)
            if unknown:
                raise MeshError(f"{path.name}: no parameter {unknown[0]!r}; it has {', '.join(sorted(known))}.")
            _open(path, parameters)
            gmsh.model.mesh.generate(2)
            return _mesh_in_memory(path.name)
        except MeshError:
            raise
        except Exception as error:  # gmsh raises bare Exception
            # A script that stopped half-way leaves gmsh's parser busy: every later one would fail too.
            gmsh.finalize()
            _gmsh.cache_clear()
            raise MeshError(f"{path.name}: gmsh cannot mesh it ({error}).") from None
        finally:
            _gmsh().clear()


@cache
def _gmsh() -> Any:
    """Return gmsh, initialised without reading the user's own settings."""
    try:
        import gmsh
    except (OSError, ImportError) as error:
        lacking = str(error).split(":")[0]
        raise SetupError(f"gmsh cannot be loaded ({lacking}); on Debian or Ubuntu run as root: {SYSTEM_LIBRARIES}") from None
    gmsh.initialize([], readConfigFiles=False, interruptible=False)
    gmsh.option.setNumber("General.Terminal", 0)
    gmsh.option.setNumber("General.NumThreads", 1)
    return gmsh


@cache
def _script_parameters(path: Path, _changed: int) -> frozenset[str]:
    """Return the parameters that a script declares; gmsh itself ignores unknown ones silently."""
    _open(path, {})
    names = _gmsh().onelab.getNames("^Parameters/")
    return frozenset(name.removeprefix("Parameters/") for name in names)


def _open(path: Path, parameters: dict[str, float]) -> None:
    gmsh = _gmsh()
    gmsh.clear()
    gmsh.onelab.clear()
    for name, value in parameters.items():
        gmsh.onelab.setNumber(f"Parameters/{name}", [value])
    gmsh.open(str(path))


def _mesh_in_memory(script: str) -> MeshQuad:
    """Return gmsh's present mesh, cells counter-clockwise."""
    mesh = _gmsh().model.mesh
    tags, xyz, _ = mesh.getNodes()
    node = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    node[tags.astype(np.int64)] = np.arange(len(tags))
    points = np.ascontiguousarray(xyz.reshape(-1, 3)[:, :2].T)

    cells, cell_of_surface, n = [], {}, 0
    for _, surface in _gmsh().model.getEntities(2):
        kinds, _, nodes = mesh.getElements(2, surface)
        if list(kinds) != [3]:
            raise MeshError(f"{script}: surface {surface} has cells other than 4-node quadrilaterals.")
        cells.append(node[nodes[0].astype(np.int64)].reshape(-1, 4))
        cell_of_surface[surface] = np.arange(n, n + len(cells[-1]))
        n += len(cells[-1])
    t = np.concatenate(cells).T
    backwards = areas_of(points[:, t]) < 0
    t[:, backwards] = t[::-1, backwards]

    # Nodes that carry no cell (such as unused grid points) must not reach the solver.
    used = np.unique(t)
    renumber = np.full(points.shape[1], -1)
    renumber[used] = np.arange(len(used))
    quads = MeshQuad(np.ascontiguousarray(points[:, used]), np.ascontiguousarray(renumber[t]))

    regions: dict[str, Any] = {}
    curves: dict[str, Any] = {}
    for dim, group in _gmsh().model.getPhysicalGroups():
        name = _gmsh().model.getPhysicalName(dim, group)
        entities = _gmsh().model.getEntitiesForPhysicalGroup(dim, group)
        if dim == 2:
            regions[name] = np.concatenate([cell_of_surface[e] for e in entities])
        elif dim == 1:
            ends = np.concatenate([mesh.getElements(1, e)[2][0] for e in entities]).astype(np.int64).reshape(-1, 2)
            try:
                curves[name] = facets_between(quads, renumber[node[ends]].T)
            except MeshError:
                raise MeshError(f"{script}: the curve named {name!r} does not run along the sides of cells.") from None
    return quads.with_subdomains(regions).with_boundaries(curves)
