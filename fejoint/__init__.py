"""fejoint: stresses in bonded joints, from the joint file to the bondline.

Numbers are N, mm, MPa and K unless they come with a unit. See `solve`, `load`
and the classes that make a `Joint`.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fejoint.errors import ConvergenceError as ConvergenceError
    from fejoint.errors import FejointError as FejointError
    from fejoint.errors import JointError as JointError
    from fejoint.errors import MeshError as MeshError
    from fejoint.errors import SetupError as SetupError
    from fejoint.errors import TheoryError as TheoryError
    from fejoint.joint.description import Analysis as Analysis
    from fejoint.joint.description import Joint as Joint
    from fejoint.joint.description import Load as Load
    from fejoint.joint.families import DoubleLap as DoubleLap
    from fejoint.joint.families import SingleLap as SingleLap
    from fejoint.joint.families import SteppedLap as SteppedLap
    from fejoint.joint.file import load as load
    from fejoint.joint.geometry import Adherend as Adherend
    from fejoint.joint.materials import Adhesive as Adhesive
    from fejoint.joint.materials import Isotropic as Isotropic
    from fejoint.joint.materials import Orthotropic as Orthotropic
    from fejoint.mechanics.as_built import Comparison as Comparison
    from fejoint.mechanics.as_built import compare as compare
    from fejoint.mechanics.driver import Result as Result
    from fejoint.mechanics.driver import solve as solve
    from fejoint.study.sweep import sweep as sweep

__version__ = "0.1.0"

# Where each public name lives; loaded at first use, so that importing fejoint loads nothing heavy.
_HOME = {
    "Adherend": "fejoint.joint.geometry",
    "Adhesive": "fejoint.joint.materials",
    "Analysis": "fejoint.joint.description",
    "Comparison": "fejoint.mechanics.as_built",
    "ConvergenceError": "fejoint.errors",
    "DoubleLap": "fejoint.joint.families",
    "FejointError": "fejoint.errors",
    "Isotropic": "fejoint.joint.materials",
    "Joint": "fejoint.joint.description",
    "JointError": "fejoint.errors",
    "Load": "fejoint.joint.description",
    "MeshError": "fejoint.errors",
    "Orthotropic": "fejoint.joint.materials",
    "Result": "fejoint.mechanics.driver",
    "SetupError": "fejoint.errors",
    "SingleLap": "fejoint.joint.families",
    "SteppedLap": "fejoint.joint.families",
    "TheoryError": "fejoint.errors",
    "compare": "fejoint.mechanics.as_built",
    "load": "fejoint.joint.file",
    "solve": "fejoint.mechanics.driver",
    "sweep": "fejoint.study.sweep",
}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(importlib.import_module(_HOME[name]), name)
    raise AttributeError(f"module 'fejoint' has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
