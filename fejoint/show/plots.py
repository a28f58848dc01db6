"""Curves along the bondline, as matplotlib figures.

Every function returns a `matplotlib.figure.Figure` that belongs to nobody: no
window, no global state, the same on a machine without a display. Stresses are
those that the result holds; nothing is computed here but where ink goes.
Lines differ by dash and lightness, so that a grey print still tells them apart.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form.comparison import compare
from fejoint.bondline.curves import Bondline, Curve, Peak
from fejoint.errors import JointError, SetupError
from fejoint.joint.families import SteppedLap
from fejoint.joint.geometry import Geometry
from fejoint.show.colours import FAINT, INK
from fejoint.show.flaw_marks import shade_flaws
from fejoint.show.looks import theory_looks
from fejoint.show.marks import place_clear
from fejoint.show.overlap import draw_overlap
from fejoint.show.pen import drawing_style, heading, legend_below, plate, settled
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from fejoint.mechanics.outcome import Outcome

__all__ = ["bondline_figure", "main_theories", "save_figure", "stress_axes"]

Floats = NDArray[np.float64]

FORMATS = (".png", ".svg", ".pdf")
# Finite elements: a second bondline thinner and lighter, on the first.
ELEMENTS: list[dict[str, Any]] = [
    {"color": "#0b2f52", "linestyle": "-", "linewidth": 2.3},
    {"color": "#5094cb", "linestyle": "-", "linewidth": 1.7},
]
INTERFACE: dict[str, Any] = {"linewidth": 0.9, "markevery": 0.12, "markersize": 5}
MARKERS = {"lower": 6, "upper": 7}  # of the interfaces: matplotlib's carets upwards and downwards
MIDLINE_NOTE = "mid-line of the layer{}, clear of the corners, where the stress is singular"


# ---- curves --------------------------------------------------------------


def bondline_figure(
    result: Outcome,
    theories: Mapping[str, Bondline | Sequence[Bondline]] | None = None,
    units: str = "mm",
    interfaces: bool = False,
) -> Figure:
    """Return shear, peel and the load passed on along the bondline, under the section of the overlap on the same x axis.

    The axes are labelled section, shear, peel and load (`Axes.get_label`). The
    mean shear and the peaks are marked with value and place. The treads of a
    stepped lap make one line; two bondlines make two, or one where they are alike.

    Parameters
    ----------
    result : Outcome
        A solved joint, a `Result` or read back from a folder; all its bondlines are drawn.
    theories : mapping of name to Bondline, or to several, optional
        Closed forms to draw over it. A stress that a theory does not give (NaN) is left out.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.
    interfaces : bool
        Whether to draw the two interfaces too, from where they are clear of the corners.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    """
    with drawing_style():
        from matplotlib.figure import Figure

        g = result.joint.geometry
        figure = Figure(figsize=(10, 10), layout="constrained")
        heights = [1.7 if isinstance(g, SteppedLap) else 1.25 + 0.35 * (len(g.adherends()) - 2), 3.0, 3.0, 2.1]
        heights[0] *= 1.3 if result.joint.flaws else 1.0
        top, shear, peel, load = figure.subplots(4, 1, sharex=True, gridspec_kw={"height_ratios": heights})
        mm, length_unit = shown_unit("mm", units)
        figure.suptitle(heading(result.joint, "stresses along the bondline"), x=0.01, ha="left")
        draw_overlap(top, result.joint, mm, units)
        for axes, name in ((shear, "shear"), (peel, "peel")):
            _draw_stress(axes, name, result, theories or {}, units, interfaces)
        _draw_passed_on(load, result, units)
        _draw_ends(load, g, mm)
        shade_flaws(load, result.joint, mm)
        load.set_xlabel(f"x along the overlap, {length_unit}")
        for axes, name in zip(figure.axes, ("section", "shear", "peel", "load"), strict=True):
            axes.set_label(name)
        figure.align_ylabels((shear, peel, load))
        handles, _ = shear.get_legend_handles_labels()
        legend_below(figure, handles, 2 if len(handles) > 3 else 3)
        settled(figure)
        # What is free of curves is known once the axes have their places.
        for axes, name in ((shear, "shear"), (peel, "peel")):
            _mark_peaks(axes, name, result, units)
        return figure


def stress_axes(
    result: Outcome,
    stress: str,
    axes: Axes | None = None,
    theories: Mapping[str, Bondline | Sequence[Bondline]] | None = None,
    units: str = "mm",
    interfaces: bool = False,
) -> Axes:
    """Draw one stress along the bondline, its peaks marked, into axes that may be part of a figure of your own.

    Parameters
    ----------
    result, theories, units, interfaces
        As for `bondline_figure`.
    stress : str
        ``"shear"`` or ``"peel"``.
    axes : matplotlib Axes, optional
        Where to draw; those of a new figure by default.

    Returns
    -------
    matplotlib Axes
        With labels and, in a new figure, a legend.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    JointError
        Another stress.
    """
    if stress not in ("shear", "peel"):
        raise JointError(f'stress = "{stress}": must be one of shear, peel.')
    with drawing_style():
        from matplotlib.figure import Figure

        own = axes is None
        axes = Figure(figsize=(10, 5), layout="constrained").subplots() if axes is None else axes
        figure = axes.get_figure(root=True)
        assert isinstance(figure, Figure)
        _draw_stress(axes, stress, result, theories or {}, units, interfaces)
        mm, length_unit = shown_unit("mm", units)
        axes.set_xlabel(f"x along the overlap, {length_unit}")
        # Beyond the overlap's end stands the mean, of shear.
        axes.set_xlim(-0.04 * result.joint.geometry.length * mm, 1.2 * result.joint.geometry.length * mm)
        if own:
            figure.suptitle(heading(result.joint, f"{stress} stress along the bondline"), x=0.01, ha="left")
            legend_below(figure, axes.get_legend_handles_labels()[0], 2)
            settled(figure)
        else:
            figure.draw_without_rendering()
        _mark_peaks(axes, stress, result, units)
        return axes


def _draw_stress(
    axes: Axes,
    name: str,
    result: Outcome,
    theories: Mapping[str, Bondline | Sequence[Bondline]],
    units: str,
    interfaces: bool,
) -> None:
    """Draw a stress, what theories say of it, its mean, and where the overlap ends."""
    drawn = {theory: [solved] if isinstance(solved, Bondline) else list(solved) for theory, solved in theories.items()}
    _draw_curves(axes, name, result, drawn, units, interfaces)
    _note_spew(axes, name, result, units)
    if name == "shear":
        _mark_level(axes, result.joint.mean_shear, "MPa", "mean", result, units)
    _draw_ends(axes, result.joint.geometry, shown_unit("mm", units)[0])
    shade_flaws(axes, result.joint, shown_unit("mm", units)[0])


def _draw_ends(axes: Axes, g: Geometry, mm: float) -> None:
    """Draw zero, the overlap's ends and the risers of a stepped lap as faint lines."""
    axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
    for end in (0.0, g.length):
        axes.axvline(end * mm, color=FAINT, linewidth=0.8, linestyle=(0, (2, 3)), zorder=0)
    for bond in g.bonds()[1:] if isinstance(g, SteppedLap) else ():
        axes.axvline(bond.start * mm, color=FAINT, linewidth=0.6, alpha=0.6, zorder=0, gid="riser")


def _mark_peaks(axes: Axes, name: str, result: Outcome, units: str) -> None:
    extremes = [("peak", result.peak_shear)] if name == "shear" else [("peak", result.peak_peel), ("least", result.least_peel)]
    for word, (peak, number) in extremes:
        _mark_peak(axes, peak, number, word, result, units)


def main_theories(result: Outcome) -> dict[str, list[Bondline]]:
    """Return the few theories that stand beside the finite elements, by name: those of the joint's family that have a result."""
    return {theory.name: theory.bondlines for theory in compare(result.joint, result.edges, main=True) if theory.bondlines}


def lines_of(g: Geometry, bondlines: Sequence[Bondline]) -> list[tuple[str, Sequence[Bondline]]]:
    """Return which bondlines make a line together, and what to add to its name."""
    if isinstance(g, SteppedLap) or len(bondlines) == 1:
        return [("", bondlines)]
    if _are_alike(bondlines):
        return [(", both bondlines (alike)", bondlines[:1])]
    return [(f", bondline {bondline.number}", [bondline]) for bondline in bondlines]


def _are_alike(bondlines: Sequence[Bondline]) -> bool:
    """Return whether the curves of bondlines lie on one another as far as the eye can tell."""
    first = bondlines[0].middle
    for name in ("shear", "peel"):
        values = getattr(first, name)
        for other in bondlines[1:]:
            off = np.abs(np.interp(first.x, other.middle.x, getattr(other.middle, name)) - values)
            if not np.isnan(values).all() and np.nanmax(off) > 2e-3 * np.nanmax(np.abs(values)):
                return False
    return True


def _draw_curves(
    axes: Axes, name: str, result: Outcome, theories: Mapping[str, Sequence[Bondline]], units: str, interfaces: bool
) -> None:
    """Draw one stress along all bondlines, and what theories say of it."""
    g, mm = result.joint.geometry, shown_unit("mm", units)[0]
    mpa, unit = shown_unit("MPa", units)
    axes.set_ylabel(f"{name} stress, {unit}")
    for i, (which, bondlines) in enumerate(lines_of(g, result.bondlines)):
        style = ELEMENTS[i]
        x, values = joined([dense(bondline.middle, name) for bondline in bondlines])
        axes.plot(x * mm, values * mpa, label=f"finite elements{which}", zorder=3 + 0.1 * i, **style)
        one = f", bondline {bondlines[0].number}" if which else ""  # alike ones are mirror images: lower is upper there
        for level in MARKERS if interfaces else ():
            curves = [bondline.levels()[level] for bondline in bondlines if level in bondline.levels()]
            if curves:
                x, values = joined([dense(curve, name) for curve in curves])
                look = {**INTERFACE, "color": style["color"], "marker": MARKERS[level]}
                axes.plot(x * mm, values * mpa, label=f"finite elements{one}, {level} interface", **look)
    looks = theory_looks(g, theories)
    for theory, solved in theories.items():
        for k, (which, bondlines) in enumerate(lines_of(g, solved)):
            x, values = joined([(bondline.x, getattr(bondline, name)) for bondline in bondlines])
            if not np.isnan(values).all():
                style = {**looks[theory], **({"linewidth": 1.0} if k else {})}
                axes.plot(x * mm, values * mpa, label=theory + which.replace(" (alike)", ""), **style)
    axes.margins(y=0.16)


def dense(curve: Curve, name: str) -> tuple[Floats, Floats]:
    """Return places and stresses between the points too, so that the quadratic pieces are drawn as curves."""
    x = np.unique(np.concatenate([np.linspace(curve.x[:-1], curve.x[1:], 5).ravel(), curve.x]))
    return x, curve.at(x, name)


def joined(parts: Sequence[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    """Return curves one after the other as one, with a gap where one follows another."""
    x, values = parts[0]
    for more_x, more in parts[1:]:
        x, values = np.concatenate([x, [more_x[0]], more_x]), np.concatenate([values, [np.nan], more])
    return x, values


def _note_spew(axes: Axes, name: str, result: Outcome, units: str) -> None:
    """Write over the curves of a stress where they are, and what the spew beyond them holds when that is more."""
    notes = []
    if result.joint.analysis.nonlinear and name == "shear":  # several stresses come into question; once for both
        notes.append(result.bondlines[0].measure)
    if name == "shear":
        notes.append(MIDLINE_NOTE.format(" within the overlap" if result.joint.geometry.fillet_height > 0 else ""))
        more = max((shear.value for shear, _ in result.spew_peaks.values()), key=abs, default=0.0)
        exceeds = abs(more) > abs(result.peak_shear[0].value)
    else:
        more = max((peel.value for _, peel in result.spew_peaks.values()), default=-np.inf)
        exceeds = more > result.peak_peel[0].value
    if exceeds:
        notes.append(f"in the spew beyond the overlap up to {display(more, 'MPa', units, 3)}")
    axes.set_title("\n".join(notes), color=FAINT, fontsize="medium", wrap=True)


def _mark_level(axes: Axes, value: float, inside: str, word: str, result: Outcome, units: str) -> None:
    """Mark a value that holds for the whole overlap, its text beyond the overlap's end, where no curve runs."""
    length, factor = result.joint.geometry.length * shown_unit("mm", units)[0], shown_unit(inside, units)[0]
    axes.plot([0.0, length], [value * factor] * 2, color=INK, linewidth=1.0, linestyle=(0, (4, 3)), gid=f"{word} level")
    axes.text(1.015 * length, value * factor, f"{word}\n{display(value, inside, units, 3)}", va="center", **plate())


def _mark_peak(axes: Axes, peak: Peak, number: int, word: str, result: Outcome, units: str) -> None:
    """Mark an extreme with its value and place, the text where it covers no line."""
    g, mm, mpa = result.joint.geometry, shown_unit("mm", units)[0], shown_unit("MPa", units)[0]
    place, value = peak.x * mm, peak.value * mpa
    where = ""
    if len(result.bondlines) > 1:
        where = f", tread {number}" if isinstance(g, SteppedLap) else f", bondline {number}"
        where = where if len(lines_of(g, result.bondlines)) > 1 or isinstance(g, SteppedLap) else ""
    axes.plot([place], [value], marker="o", color=ELEMENTS[0]["color"], markerfacecolor="white", zorder=5, gid=f"{word} mark")
    note = axes.annotate(
        f"{word} {display(peak.value, 'MPa', units, 3)} at x = {display(peak.x, 'mm', units, 3)}{where}",
        (place, value),
        xytext=(0.0, 0.0),
        textcoords="offset points",
        va="center",
        arrowprops={"arrowstyle": "-", "color": FAINT, "linewidth": 0.9, "shrinkB": 4},
        zorder=6,
        **plate(),
    )
    place_clear(axes, note, 1 if peak.x <= g.length / 2 else -1)


def _draw_passed_on(axes: Axes, result: Outcome, units: str) -> None:
    """Draw the load that the bond has passed on along the overlap, from nothing at its left to all at its right."""
    g, mm = result.joint.geometry, shown_unit("mm", units)[0]
    newton, unit = shown_unit("N", units)
    axes.set_ylabel(f"load passed on, {unit}")
    lines = lines_of(g, result.bondlines)
    for i, (_, bondlines) in enumerate(lines):
        x, values = _passed_on(result, bondlines)
        axes.plot(x * mm, values * newton, zorder=3, gid="load", **ELEMENTS[i])
    if not isinstance(g, SteppedLap) and len(result.bondlines) > 1:
        x, total = _all_passed_on(result)
        axes.plot(x * mm, total * newton, color=FAINT, linewidth=1.4, zorder=2, gid="load of all")
        for text, share in [("both bondlines together", 1.0), ("each bondline", 0.5)][: 1 + (len(lines) == 1)]:
            values = share * total
            place = 0.5 * g.length * mm, np.interp(0.5 * g.length, x, values) * newton
            side = "right" if values[-1] >= 0 else "left"  # above the lower part of the line
            axes.annotate(text, place, (0, 4), textcoords="offset points", ha=side, va="bottom", color=FAINT)
    if result.joint.load.force != 0:
        _mark_level(axes, result.joint.load.force, "N", "force", result, units)
    if isinstance(g, SteppedLap):
        axes.set_title("jumps: what goes straight across the risers", color=FAINT, fontsize="medium")
    elif g.fillet_height > 0:
        axes.set_title("jumps at the ends: what the fillets pass on", color=FAINT, fontsize="medium")
    axes.margins(y=0.16)


def _passed_on(result: Outcome, bondlines: Sequence[Bondline]) -> tuple[Floats, Floats]:
    """Return places (mm) and the load (N) passed on up to there, with what goes over before the first and after the last."""
    whole = isinstance(result.joint.geometry, SteppedLap)
    passed = [force for name, force in result.bond_forces.items() if whole or name == f"bondline {bondlines[0].number}"]
    x = np.concatenate([bondlines[0].x[:1], *(b.x for b in bondlines), bondlines[-1].x[-1:]])
    load = np.concatenate([[0.0], *(b.transferred for b in bondlines if b.transferred is not None), [sum(passed)]])
    return x, load * result.joint.geometry.width


def _all_passed_on(result: Outcome) -> tuple[Floats, Floats]:
    """Return places (mm) and the load (N) that all layers of an overlap have passed on up to there."""
    parts = [_passed_on(result, [bondline]) for bondline in result.bondlines]
    if not result.joint.flaws:  # they share the mesh lines across the overlap
        return parts[0][0], np.asarray(np.sum([part[1] for part in parts], axis=0))
    x = np.unique(np.concatenate([part[0] for part in parts]))
    inside = np.sum([np.interp(x, at[1:-1], load[1:-1]) for at, load in parts], axis=0)
    ends = [sum(load[k] for _, load in parts) for k in (0, -1)]
    return np.concatenate([x[:1], x, x[-1:]]), np.concatenate([ends[:1], inside, ends[1:]])


# ---- files ---------------------------------------------------------------


def save_figure(figure: Figure, path: str | Path) -> Path:
    """Write a figure as png, svg or pdf, by the name's ending: whole or not at all.

    Raises
    ------
    SetupError
        Another ending, or the folder cannot be written.
    """
    from fejoint.show.files import write_files

    path = Path(path)
    kind = path.suffix.lower()
    if kind not in FORMATS:
        raise SetupError(f"{path}: a figure is written as {', '.join(FORMATS)}; give the file one of these endings.")
    # Without dates in it, the same figure makes the same file.
    metadata: dict[str, Any] = {".svg": {"Date": None}, ".pdf": {"CreationDate": None}}.get(kind, {})
    with drawing_style():
        write_files(path.parent, {path.name: lambda p: figure.savefig(p, format=kind[1:], metadata=metadata)})
    return path
