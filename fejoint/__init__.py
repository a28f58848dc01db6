"""fejoint: stresses in bonded joints, from the joint file to the bondline.

Numbers are N, mm, MPa and K unless they come with a unit. See `solve`, `load`
and the classes that make a `Joint`.
"""

from __future__ import annotations

import importlib
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fejoint.coupon.ageing import aged as aged
    from fejoint.coupon.ageing import ageing_fits as ageing_fits
    from fejoint.coupon.basis import basis_values as basis_values
    from fejoint.coupon.reduce import reduce_coupons as reduce_coupons
    from fejoint.coupon.statistics import described as described
    from fejoint.errors import ConvergenceError as ConvergenceError
    from fejoint.errors import FejointError as FejointError
    from fejoint.errors import JointError as JointError
    from fejoint.errors import MeshError as MeshError
    from fejoint.errors import SetupError as SetupError
    from fejoint.errors import TheoryError as TheoryError
    from fejoint.joint.description import Analysis as Analysis
    from fejoint.joint.description import Joint as Joint
    from fejoint.joint.description import Load as Load
    from fejoint.joint.disbond import Disbond as Disbond
    from fejoint.joint.families import DoubleLap as DoubleLap
    from fejoint.joint.families import SingleLap as SingleLap
    from fejoint.joint.families import SteppedLap as SteppedLap
    from fejoint.joint.file import load as load
    from fejoint.joint.flaws import Flaw as Flaw
    from fejoint.joint.geometry import Adherend as Adherend
    from fejoint.joint.inspection import read_inspection as read_inspection
    from fejoint.joint.inspection import with_flaws as with_flaws
    from fejoint.joint.materials import Adhesive as Adhesive
    from fejoint.joint.materials import Isotropic as Isotropic
    from fejoint.joint.materials import Orthotropic as Orthotropic
    from fejoint.joint.strength import Knockdown as Knockdown
    from fejoint.joint.strength import Scatter as Scatter
    from fejoint.joint.strength import StrengthRules as StrengthRules
    from fejoint.mechanics.as_built import Comparison as Comparison
    from fejoint.mechanics.as_built import compare as compare
    from fejoint.mechanics.driver import Result as Result
    from fejoint.mechanics.driver import solve as solve
    from fejoint.process.cure_strength import handling_time as handling_time
    from fejoint.process.energies import contact_angle as contact_angle
    from fejoint.process.energies import surface_energy as surface_energy
    from fejoint.process.film import Film as Film
    from fejoint.process.rate_law import cure_curve as cure_curve
    from fejoint.process.routes import routes as routes
    from fejoint.proof.correlation import correlate as correlate
    from fejoint.proof.identify import identify as identify
    from fejoint.proof.measured import read_test as read_test
    from fejoint.show.cohesive_plots import parting_figure as parting_figure
    from fejoint.show.coupons.reduction_files import write_coupons as write_coupons
    from fejoint.show.drawing import section_figure as section_figure
    from fejoint.show.files import write_run as write_run
    from fejoint.show.flaw_plots import flaw_capacity_figure as flaw_capacity_figure
    from fejoint.show.mesh import mesh_figure as mesh_figure
    from fejoint.show.path_plots import bondline_steps_figure as bondline_steps_figure
    from fejoint.show.path_plots import edge_moment_figure as edge_moment_figure
    from fejoint.show.path_plots import path_figure as path_figure
    from fejoint.show.path_plots import plastic_zone_figure as plastic_zone_figure
    from fejoint.show.plots import bondline_figure as bondline_figure
    from fejoint.show.plots import save_figure as save_figure
    from fejoint.show.plots import stress_axes as stress_axes
    from fejoint.show.process.job_card import write_job_card as write_job_card
    from fejoint.show.reading import read_run as read_run
    from fejoint.show.report import write_report as write_report
    from fejoint.show.space.view import stress_view as stress_view
    from fejoint.show.space.view import view_png as view_png
    from fejoint.show.strength_plots import strength_figure as strength_figure
    from fejoint.strength.cohesive import CohesiveLoad as CohesiveLoad
    from fejoint.strength.cohesive import cohesive_load as cohesive_load
    from fejoint.strength.flaw_growth import flaw_growth as flaw_growth
    from fejoint.strength.fracture import disbond_load as disbond_load
    from fejoint.strength.fracture import load_against_length as load_against_length
    from fejoint.strength.predict import Strength as Strength
    from fejoint.strength.predict import strength_of as strength_of
    from fejoint.study.flaw_capacity import flaw_capacity as flaw_capacity
    from fejoint.study.scatter import load_band as load_band
    from fejoint.study.sweep import sweep as sweep

__version__ = "0.1.0"

# Where each public name lives; loaded at first use, so that importing fejoint loads nothing heavy.
_HOME = {
    "Adherend": "fejoint.joint.geometry",
    "Adhesive": "fejoint.joint.materials",
    "Analysis": "fejoint.joint.description",
    "CohesiveLoad": "fejoint.strength.cohesive",
    "Comparison": "fejoint.mechanics.as_built",
    "ConvergenceError": "fejoint.errors",
    "Disbond": "fejoint.joint.disbond",
    "DoubleLap": "fejoint.joint.families",
    "FejointError": "fejoint.errors",
    "Film": "fejoint.process.film",
    "Flaw": "fejoint.joint.flaws",
    "Isotropic": "fejoint.joint.materials",
    "Joint": "fejoint.joint.description",
    "JointError": "fejoint.errors",
    "Knockdown": "fejoint.joint.strength",
    "Load": "fejoint.joint.description",
    "MeshError": "fejoint.errors",
    "Orthotropic": "fejoint.joint.materials",
    "Result": "fejoint.mechanics.driver",
    "Scatter": "fejoint.joint.strength",
    "SetupError": "fejoint.errors",
    "SingleLap": "fejoint.joint.families",
    "SteppedLap": "fejoint.joint.families",
    "Strength": "fejoint.strength.predict",
    "StrengthRules": "fejoint.joint.strength",
    "TheoryError": "fejoint.errors",
    "aged": "fejoint.coupon.ageing",
    "ageing_fits": "fejoint.coupon.ageing",
    "basis_values": "fejoint.coupon.basis",
    "bondline_figure": "fejoint.show.plots",
    "bondline_steps_figure": "fejoint.show.path_plots",
    "cohesive_load": "fejoint.strength.cohesive",
    "compare": "fejoint.mechanics.as_built",
    "contact_angle": "fejoint.process.energies",
    "correlate": "fejoint.proof.correlation",
    "cure_curve": "fejoint.process.rate_law",
    "described": "fejoint.coupon.statistics",
    "disbond_load": "fejoint.strength.fracture",
    "edge_moment_figure": "fejoint.show.path_plots",
    "flaw_capacity": "fejoint.study.flaw_capacity",
    "flaw_capacity_figure": "fejoint.show.flaw_plots",
    "flaw_growth": "fejoint.strength.flaw_growth",
    "handling_time": "fejoint.process.cure_strength",
    "identify": "fejoint.proof.identify",
    "load": "fejoint.joint.file",
    "load_against_length": "fejoint.strength.fracture",
    "load_band": "fejoint.study.scatter",
    "mesh_figure": "fejoint.show.mesh",
    "parting_figure": "fejoint.show.cohesive_plots",
    "path_figure": "fejoint.show.path_plots",
    "plastic_zone_figure": "fejoint.show.path_plots",
    "read_inspection": "fejoint.joint.inspection",
    "read_run": "fejoint.show.reading",
    "read_test": "fejoint.proof.measured",
    "reduce_coupons": "fejoint.coupon.reduce",
    "routes": "fejoint.process.routes",
    "save_figure": "fejoint.show.plots",
    "section_figure": "fejoint.show.drawing",
    "solve": "fejoint.mechanics.driver",
    "strength_figure": "fejoint.show.strength_plots",
    "strength_of": "fejoint.strength.predict",
    "stress_axes": "fejoint.show.plots",
    "stress_view": "fejoint.show.space.view",
    "surface_energy": "fejoint.process.energies",
    "sweep": "fejoint.study.sweep",
    "view_png": "fejoint.show.space.view",
    "with_flaws": "fejoint.joint.inspection",
    "write_coupons": "fejoint.show.coupons.reduction_files",
    "write_job_card": "fejoint.show.process.job_card",
    "write_report": "fejoint.show.report",
    "write_run": "fejoint.show.files",
}

__all__ = sorted(_HOME)

# What a notebook shows of an object is made by the outputs, which stand on top and are imported by nobody below: the
# package hands it down to the classes once they are loaded.
_SHOWN = {("fejoint.joint.description", "Joint"): "joint_html", ("fejoint.mechanics.outcome", "Outcome"): "outcome_html"}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        found = getattr(importlib.import_module(_HOME[name]), name)
        for (module, shown), function in _SHOWN.items():
            if module in sys.modules:
                sys.modules[module].__dict__[shown]._repr_html_ = _html_by(function)
        return found
    raise AttributeError(f"module 'fejoint' has no attribute {name!r}")


def _html_by(function: str) -> Any:
    def _repr_html_(self: Any) -> str | None:
        """Return what a notebook shows; None, for plain text, where the extra ``report`` is not installed."""
        from fejoint.errors import SetupError

        try:
            html: str = getattr(importlib.import_module("fejoint.show.report.notebook"), function)(self)
        except SetupError:
            return None
        return html

    return _repr_html_


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
