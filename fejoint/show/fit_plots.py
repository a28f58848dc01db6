"""Test curves of an adhesive and what was fitted to them, as a matplotlib figure."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fejoint.joint.fitting import Fitted
from fejoint.show.colours import FAINT
from fejoint.show.looks import LOOKS
from fejoint.show.pen import drawing_style, legend_below, settled
from fejoint.show.plots import ELEMENTS
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["fit_figure"]


def fit_figure(fitted: Fitted, units: str = "mm") -> Figure:
    """Return the test curves with the curves of the fitted adhesive over them; axes are labelled tension and shear.

    Parameters
    ----------
    fitted : Fitted
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        curves = {"tension": fitted.tension} | ({} if fitted.shear is None else {"shear": fitted.shear})
        words = {
            "tension": ("logarithmic strain in tension", "true stress"),
            "shear": ("engineering shear strain", "shear stress"),
        }
        figure = Figure(figsize=(5.5 * max(len(curves), 1.4), 4.9), layout="constrained")
        grid = figure.subplots(1, len(curves), squeeze=False)[0]
        mpa, unit = shown_unit("MPa", units)
        for axes, (name, curve) in zip(grid, curves.items(), strict=True):
            points = {**LOOKS[0], "linestyle": "", "marker": "o", "markersize": 4, "markerfacecolor": "none"}
            every = max(1, len(curve.strain) // 60)
            axes.plot(curve.strain, mpa * curve.stress, label="test", markevery=every, **points)
            axes.plot(curve.strain, mpa * curve.model, label="fitted adhesive", zorder=3, **ELEMENTS[0])
            axes.set_label(name)
            axes.set_xlabel(words[name][0])
            axes.set_ylabel(f"{words[name][1]}, {unit}")
            axes.set_ylim(bottom=0.0)
            axes.set_title(f"{name}: {100 * curve.residual:.2g} % left over", color=FAINT)
        told = [f"E = {display(fitted.elastic_modulus, 'MPa', units)}"]
        told += [] if fitted.poisson_ratio is None else [f"nu = {fitted.poisson_ratio:.3g}"]
        told += [f"yield stress {display(fitted.yielding.yield_stress, 'MPa', units)}", fitted.yielding.surface]
        if fitted.yielding.surface != "von-mises":
            told.append(f"compression over tension {fitted.yielding.compression_ratio:.3g}")
        figure.suptitle(", ".join(told), x=0.01, ha="left", fontsize="medium")
        legend_below(figure, grid[0].get_legend_handles_labels()[0], 2)
        return settled(figure)
