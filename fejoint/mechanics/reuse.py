"""What one solve leaves for the next, where that changes no number.

Joints that differ in load or temperature alone share factored systems and
their answers to unit loads; joints that differ in materials share mesh and
discretisation, with everything that depends on the mesh alone. What is kept is
a pure function of its key, so a result does not depend on which joints were
solved before, nor on whether anything is kept at all.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import is_dataclass
from typing import Any, TypeVar, cast

import scipy.sparse as sp

from fejoint.joint.conditions import Environment
from fejoint.joint.description import Joint

__all__ = ["Kept", "mesh_key", "system_key"]

Made = TypeVar("Made")


def mesh_key(joint: Joint, density: float | None = None) -> str:
    """Return what the joint's mesh of a density depends on, as text; by default that of its first mesh.

    It is what the geometry script is given, the half of it that symmetry
    leaves to mesh, which hangs on the load's kind, and what is made of its mesh:
    flaws, and a taper.
    """
    density = joint.analysis.mesh_density if density is None else density
    parameters = joint.script_parameters(joint.half)
    flaws = f" flaws={joint.merged_flaws().flaws!r} {joint.analysis.cohesive}" if joint.flaws else ""
    taper = f" taper={joint.geometry.bondline_taper!r}" if joint.geometry.bondline_taper else ""
    return f"{joint.geometry.script} half={joint.half} density={density!r} {parameters!r}{flaws}{taper}"


def system_key(joint: Joint, density: float | None = None) -> str:
    """Return what the factored system depends on beside the mesh: materials and how the ends are held, as text.

    Plane strain and generalised plane strain share a system: the width strain
    is one more load on it.
    """
    environment, wet = joint.environment, Environment(moisture=1.0)
    constants = {
        name: (material.engineering_constants(environment), material.free_strain(wet).tolist())
        for name, material in joint.materials().items()
    }
    load = joint.load
    return f"{mesh_key(joint, density)} ends={load.ends} lifted={load.shear_force != 0} {constants!r}"


class Kept:
    """A small store of discretisations, patterns and factored systems; what was longest unused gives way to what is new.

    Not for two threads at once: each has its own.

    Parameters
    ----------
    number : int
        How many are kept at most; a joint has three of them a mesh, and two
        meshes or more.
    size : int, bytes
        How large they may be together, about, weighed whenever something new
        comes in. What is larger alone is used and not kept.
    """

    def __init__(self, number: int = 24, size: int = 200_000_000) -> None:
        self.number, self.size = number, size
        self._made: OrderedDict[str, Any] = OrderedDict()

    def once(self, key: str, make: Callable[[], Made]) -> Made:
        """Return what was made under a key, or make it."""
        if key in self._made:
            self._made.move_to_end(key)
            return cast("Made", self._made[key])
        made = self._made[key] = make()
        while len(self._made) > self.number or (self._made and self.nbytes > self.size):
            self._made.popitem(last=False)
        return made

    @property
    def nbytes(self) -> int:
        """Size of all that is kept, bytes: of its arrays, each counted once, and of its factors."""
        total, seen, left = 0, set[int](), list(self._made.values())
        while left:
            thing = left.pop()
            if id(thing) in seen or isinstance(thing, float | str):
                continue
            seen.add(id(thing))
            size = getattr(thing, "nbytes", None)
            if isinstance(size, int):
                total += size
            elif isinstance(thing, dict):
                left += thing.values()
            elif isinstance(thing, sp.csc_array | sp.csr_array):
                left += (thing.data, thing.indices, thing.indptr)
            elif isinstance(thing, list | tuple) or is_dataclass(thing):
                left += thing if isinstance(thing, list | tuple) else vars(thing).values()
        return total

    def __len__(self) -> int:
        return len(self._made)

    def __repr__(self) -> str:
        return f"Kept({len(self)} of at most {self.number}, {self.nbytes / 1e6:.0f} of at most {self.size / 1e6:.0f} MB)"
