"""A load's path as matplotlib figures: load and travel, peaks, edge moments, plastic zones, curves by increment."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.closed_form import goland_reissner, hart_smith_single
from fejoint.bondline.closed_form.grid import axial_modulus, balanced_lap
from fejoint.bondline.edge_moment import lap_edge_moment
from fejoint.errors import JointError, TheoryError
from fejoint.joint.description import Joint
from fejoint.joint.families import SingleLap
from fejoint.joint.load import QUANTITIES
from fejoint.mechanics.outcome import Outcome
from fejoint.show.colours import FAINT, INK, METAL, OUTLINE, colour_limit, sequential
from fejoint.show.looks import LOOKS
from fejoint.show.marks import noted, place_clear
from fejoint.show.path_rows import LOAD_WORDS, Row, column_of, in_words, path_rows, spread, step_ends
from fejoint.show.pen import drawing_style, heading, legend_below, settled
from fejoint.show.plots import ELEMENTS, dense, joined
from fejoint.show.shape import end_window, outlines, round_factor
from fejoint.show.space.solid import GRID, SolvedSection, read_section
from fejoint.units import display, shown_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["bondline_steps_figure", "edge_moment_figure", "increment_of", "path_figure", "plastic_zone_figure"]

Floats = NDArray[np.float64]

MOST_CURVES = 7  # in one figure: more are not told apart
DARKEST, LIGHTEST = 0.05, 0.86  # of the colour map: what lines of it are still seen on white
POINTS = 60  # of a theory's curve
MOST_FACTOR = 2.0  # edge moment factors beyond are those of a load that is next to none


# ---- load, travel and peaks ------------------------------------------------


def path_figure(result: Outcome, units: str = "mm") -> Figure:
    """Return the load against the travel of the loaded end, and what the layer bears against the load.

    Axes are labelled (`Axes.get_label`) travel and peaks and, where something
    may yield, strain and yielded. Every point is an increment; rings are ends of load steps.

    Parameters
    ----------
    result : Outcome
        Solved along its load's path, a `Result` or read back from a folder.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    JointError
        A linear result, which has no path.
    """
    rows = _rows(result)
    with drawing_style():
        from matplotlib.figure import Figure

        plastic = any(_values(rows, name) is not None for name in ("adhesive_plastic_strain", "adherend_plastic_strain"))
        figure = Figure(figsize=(10, 8.2 if plastic else 4.9), layout="constrained")
        grid = figure.subplots(2 if plastic else 1, 2, squeeze=False)
        figure.suptitle(heading(result.joint, "along the load's path"), x=0.01, ha="left")
        load = load_of(rows, units)
        _draw_travel(grid[0, 0], result, rows, load, units)
        _draw_peaks(grid[0, 1], rows, load, units)
        if plastic:
            _draw_strain(grid[1, 0], rows, load)
            _draw_yielded(grid[1, 1], rows, load)
        for axes, label in zip(grid.flat, ("travel", "peaks", "strain", "yielded"), strict=False):
            axes.set_label(label)
            axes.margins(x=0.06, y=0.12)
            axes.locator_params(axis="x", nbins=6)
        handles, _ = grid[0, 0].get_legend_handles_labels()
        legend_below(figure, handles, 3)
        settled(figure)
        for axes in grid.flat:
            for note in [text for text in axes.texts if text.get_gid() == "mark"]:
                place_clear(axes, note, 1)
        return figure


class Quantity(NamedTuple):
    """What is drawn against: its values in the display system, and what stands at the axis."""

    values: Floats
    label: str
    key: str


def load_of(rows: Sequence[Row], units: str) -> Quantity:
    """Return the load by which a path is told: the force, or where none acts the first that does."""
    key = next((key for key in QUANTITIES if any(row[column_of(key)] for row in rows)), "force")
    factor, shown = shown_unit(QUANTITIES[key], units)
    values = factor * np.array([row[column_of(key)] for row in rows])
    return Quantity(values, f"{LOAD_WORDS[key]}, {shown}".rstrip(", "), key)


def _values(rows: Sequence[Row], name: str) -> Floats | None:
    """Return a column of the path; None where no increment has a value."""
    found = np.array([math.nan if row[name] is None else row[name] for row in rows], dtype=float)
    return None if np.isnan(found).all() else found


def _draw_travel(axes: Axes, result: Outcome, rows: Sequence[Row], load: Quantity, units: str) -> None:
    """Draw the load against the travel of the point at which it acts."""
    name, unit, word = {
        "moment": ("turn", "", "rotation of the loaded end, rad"),
        "shear_force": ("lift_mm", "mm", "sideways travel of the loaded end"),
    }.get(load.key, ("elongation_mm", "mm", "elongation"))
    factor, shown = shown_unit(unit, units)
    x = factor * np.array([row[name] for row in rows])
    start = "o" if len(rows) < 40 else ""
    axes.plot(
        [0.0, *x], [0.0, *load.values], marker=start, markersize=4, label="finite elements, a point an increment", **ELEMENTS[0]
    )
    axes.set_xlabel(f"{word}, {shown}" if shown else word)
    axes.set_ylabel(load.label)
    ends = step_ends(rows)
    _ring(axes, x, load.values, ends, "end of a load step")
    last = result.number - 1  # the last increment, or where a layer has parted that of the largest load
    for i in [*ends, last]:
        word = "limit load of" if i == last and result.limit else "end of"
        noted(axes, f"{word} {rows[i]['step']}", float(x[i]), float(load.values[i]))
    if result.limit and result.asked is not None and load.key == "force":
        asked = result.asked.load.force * shown_unit("N", units)[0]
        axes.axhline(asked, color=FAINT, linestyle=(0, (4, 3)), linewidth=1.0, label="force asked for", gid="asked")


def _ring(axes: Axes, x: Floats, y: Floats, places: Sequence[int], label: str | None = None) -> None:
    if places:
        look: dict[str, Any] = {
            "linestyle": "",
            "marker": "o",
            "markersize": 9,
            "markerfacecolor": "none",
            "markeredgecolor": INK,
        }
        axes.plot(x[list(places)], y[list(places)], label=label, zorder=4, gid="rings", **look)


def _against(
    axes: Axes, rows: Sequence[Row], load: Quantity, curves: Sequence[tuple[str, Floats | None, dict[str, Any]]]
) -> None:
    """Draw columns of the path against the load, with rings at ends of load steps and a legend inside."""
    many = len(rows) >= 40
    for label, values, look in curves:
        if values is not None:
            axes.plot(load.values, values, label=label, marker="" if many else "o", markersize=4, **look)
            _ring(axes, load.values, values, step_ends(rows))
    axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
    axes.set_xlabel(load.label)
    axes.legend(loc="best")


def _draw_peaks(axes: Axes, rows: Sequence[Row], load: Quantity, units: str) -> None:
    mpa, unit = shown_unit("MPa", units)
    peaks = [(name, _values(rows, f"{name}_MPa")) for name in ("peak_shear", "peak_peel")]
    looks: list[dict[str, Any]] = [ELEMENTS[0], {**ELEMENTS[1], "linestyle": (0, (6, 2))}]
    _against(
        axes,
        rows,
        load,
        [(n.replace("_", " "), None if v is None else mpa * v, look) for (n, v), look in zip(peaks, looks, strict=True)],
    )
    axes.set_ylabel(f"stress on the mid-line, {unit}")


def _draw_strain(axes: Axes, rows: Sequence[Row], load: Quantity) -> None:
    found = [
        ("adhesive, on the mid-line", _values(rows, "adhesive_plastic_strain"), ELEMENTS[0]),
        ("adherends, anywhere", _values(rows, "adherend_plastic_strain"), {**ELEMENTS[1], "linestyle": (0, (6, 2))}),
    ]
    _against(axes, rows, load, found)
    axes.set_ylabel("largest equivalent plastic strain")


def _draw_yielded(axes: Axes, rows: Sequence[Row], load: Quantity) -> None:
    share = _values(rows, "yielded_share")
    if share is None:
        axes.set_axis_off()
        return
    _against(axes, rows, load, [("adhesive", 100 * share, ELEMENTS[0])])
    axes.get_legend().remove()  # type: ignore[union-attr]
    axes.set_ylabel("yielded share of the mid-line, %")
    axes.set_ylim(-4, 104)


# ---- edge moment -----------------------------------------------------------


def edge_moment_figure(result: Outcome, units: str = "mm") -> Figure:
    """Return the edge moment factor 2 M / (P (t + t_a)) of a single lap against the force, theories beside it.

    The larger one of both ends. Theories: beams in line, with small and with large rotation; for
    identical adherends in tension the factors k of Goland and Reissner, and of Hart-Smith.

    Parameters
    ----------
    result : Outcome
        Of a single lap under a force, solved along its load's path.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    JointError
        Another joint, or a linear result.
    """
    rows = [row for row in _rows(result) if row["edge_moment_factor_left"] is not None]
    joint = result.joint
    if not isinstance(joint.geometry, SingleLap) or not rows:
        raise JointError("edge_moment_figure: only a single lap under a force alone has an edge moment factor.")
    with drawing_style():
        from matplotlib.figure import Figure

        newton, unit = shown_unit("N", units)
        force = np.array([row["force_N"] for row in rows])
        found = np.array([[row[f"edge_moment_factor_{end}"] for end in ("left", "right")] for row in rows])
        larger = np.take_along_axis(found, np.abs(found).argmax(axis=1)[:, None], axis=1)[:, 0]
        figure = Figure(figsize=(10, 6.2), layout="constrained")
        axes = figure.subplots()
        axes.set_label("factor")
        figure.suptitle(heading(joint, "edge moment"), x=0.01, ha="left")
        many: dict[str, Any] = {} if len(rows) >= 40 else {"marker": "o", "markersize": 5}
        axes.plot(newton * force, larger, label="finite elements, a point an increment", zorder=4, **ELEMENTS[0], **many)
        # Closer where the load is small: there the factors of theories are steep.
        least, most = min(force.min(), 0.0), max(force.max(), 0.0)
        places = np.concatenate([end * np.linspace(1 / POINTS, 1, POINTS) ** 2 for end in (least, most) if end])
        for (label, factor), look in zip(_theories(joint), LOOKS, strict=False):
            order = np.sort(places)
            axes.plot(newton * order, [factor(p) for p in order.tolist()], label=label, **look)
        axes.set_xlabel(f"force, {unit}")
        axes.set_ylabel("edge moment factor")
        drawn = np.concatenate([np.asarray(line.get_ydata(), dtype=float) for line in axes.lines])
        drawn = drawn[np.isfinite(drawn) & (np.abs(drawn) <= MOST_FACTOR)]
        axes.set_ylim(min(0.0, 1.1 * drawn.min(initial=0.0)), 1.1 * drawn.max(initial=0.9))
        axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
        axes.set_title("2 M / (P (t + t_a)) at the end with the larger moment; Goland and Reissner: 2 M / (P t)", color=FAINT)
        legend_below(figure, axes.get_legend_handles_labels()[0], 2)
        return settled(figure)


def _theories(joint: Joint) -> list[tuple[str, Callable[[float], float]]]:
    """Return what theories say of the edge moment factor at a force, N, with their names."""
    g = joint.geometry
    assert isinstance(g, SingleLap)
    lever = (g.lower.thickness + g.upper.thickness) / 2 + g.bondline_thickness

    def of_beams(rotating: bool) -> Callable[[float], float]:
        def factor(force: float) -> float:
            moment = lap_edge_moment(joint.at(force=force), rotating)
            return 2 * moment / abs(force / g.width * lever) if math.isfinite(moment) else math.nan

        return factor

    found = [
        ("beams, small rotation (linear)", of_beams(False)),
        ("beams, large rotation, ends as they are held", of_beams(True)),
    ]
    try:
        balanced_lap(joint, "")
    except TheoryError:
        return found
    modulus, t, c = axial_modulus(g.lower.material), g.lower.thickness, g.overlap_length / 2
    arm = g.lower.free_length if joint.load.ends == "pinned" else math.inf

    def goland(force: float) -> float:
        return goland_reissner.edge_moment_factor(force / g.width, modulus, t, c, arm) if force > 0 else math.nan

    def hart_smith(force: float) -> float:
        return hart_smith_single.edge_moment_factor(force / g.width, modulus, t, c) if force > 0 else math.nan

    return [*found, ("Goland and Reissner, k", goland), ("Hart-Smith, k", hart_smith)]


# ---- plastic zones ---------------------------------------------------------


def plastic_zone_figure(result: Outcome, number: int | None = None, units: str = "mm") -> Figure:
    """Return the equivalent plastic strain of the section: the whole overlap, and both its ends enlarged.

    Axes are labelled overlap, left and right.

    Parameters
    ----------
    result : Outcome
        Solved along its load's path, with something that may yield.
    number : int, optional
        Of the increment; the last one by default.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    JointError
        Nothing may yield, a linear result, or no such increment.
    """
    rows = _rows(result)
    shown = increment_of(result, number)
    section = read_section(shown)  # type: ignore[arg-type]
    if "plastic-strain" not in section.stress:
        raise JointError(
            "plastic_zone_figure: nothing may yield in this analysis; ask for adhesive_model or adherend_plasticity."
        )
    with drawing_style():
        from matplotlib.cm import ScalarMappable
        from matplotlib.colors import ListedColormap, Normalize
        from matplotlib.figure import Figure

        mm, unit = shown_unit("mm", units)
        limit, why = colour_limit(section, "plastic-strain", np.ones(len(section.cells), dtype=bool), False)
        look: dict[str, Any] = {"cmap": ListedColormap(sequential() / 255.0), "norm": Normalize(0.0, limit)}
        figure = Figure(figsize=(10, 7.6), layout="constrained")
        parts = figure.subplot_mosaic([["overlap", "overlap"], ["left", "right"]], height_ratios=[1.0, 1.12])
        figure.suptitle(heading(result.joint, "plastic strain"), x=0.01, ha="left")
        g = section.joint.geometry
        for name, axes in parts.items():
            axes.set_label(name)
            axes.grid(visible=False)
            _draw_zone(axes, section, name, mm, look)
            axes.set_xlabel(f"x, {unit}")
        parts["overlap"].set_ylabel(f"y, {unit}")
        parts["left"].set_ylabel(f"y, {unit}")
        bar = figure.colorbar(ScalarMappable(**look), ax=list(parts.values()), location="bottom", shrink=0.6, aspect=40, pad=0.03)
        bar.set_label(f"equivalent plastic strain; colours end at {limit:.3g}, {why}")
        bar.outline.set_linewidth(0.6)
        parts["left"].set_title("left end of the overlap, to scale", color=FAINT)
        parts["right"].set_title("right end of the overlap, to scale", color=FAINT)
        stretch = float(parts["overlap"].get_aspect())
        more = f", thickness drawn {stretch:g} times as large" if stretch != 1 else ""
        said = f"increment {in_words(rows[shown.number - 1], units)}"
        parts["overlap"].set_title(f"{said}; overlap of {display(g.length, 'mm', units)}{more}", color=FAINT)
        return settled(figure)


def _draw_zone(axes: Axes, section: SolvedSection, place: str, mm: float, look: dict[str, Any]) -> None:
    """Draw the plastic strain of the overlap or of one of its ends, with the outlines of the regions."""
    from matplotlib.patches import Polygon
    from matplotlib.tri import Triangulation

    g = section.joint.geometry
    if place == "overlap":
        low, high = section.points[:, 1].min(), section.points[:, 1].max()
        x, y = (-0.06 * g.length, 1.06 * g.length), (low, high)
        stretch = round_factor(0.16 * (x[1] - x[0]) / (high - low))
    else:
        (x, y), stretch = end_window(g, place, 0.62), 1.0
    corners = section.points[section.cells[:, :4]]
    inside = (corners[..., 0].max(axis=1) > x[0]) & (corners[..., 0].min(axis=1) < x[1])
    inside &= (corners[..., 1].max(axis=1) > y[0]) & (corners[..., 1].min(axis=1) < y[1])
    yielding = set(section.joint.yielding())
    inside &= np.isin(section.region, [section.regions[name] for name in yielding])
    cells = section.cells[inside][:, GRID]
    a, b, c, d = cells[:, :-1, :-1], cells[:, :-1, 1:], cells[:, 1:, 1:], cells[:, 1:, :-1]
    triangles = np.concatenate([np.stack(part, axis=-1).reshape(-1, 3) for part in ((a, b, c), (a, c, d))])
    mesh = Triangulation(mm * section.points[:, 0], mm * section.points[:, 1], triangles)
    axes.tripcolor(mesh, section.stress["plastic-strain"], shading="gouraud", rasterized=True, **look)
    for name, polygons in outlines(g).items():
        for polygon in polygons:
            # What stays elastic has no colour of the scale, which would say that it did not yield.
            ground = "none" if name in yielding else METAL
            line = 0.5 if name == "adhesive" else 0.8
            axes.add_patch(Polygon(mm * polygon, facecolor=ground, edgecolor="none", zorder=0.5))
            axes.add_patch(Polygon(mm * polygon, fill=False, edgecolor=OUTLINE, linewidth=line, zorder=3, gid=name))
    axes.set_xlim(mm * x[0], mm * x[1])
    rim = 0.02 * (y[1] - y[0]) if place == "overlap" else 0.0
    axes.set_ylim(mm * (y[0] - rim), mm * (y[1] + rim))
    axes.set_aspect(stretch)
    axes.locator_params(nbins=6)


# ---- curves by increment ---------------------------------------------------


def bondline_steps_figure(result: Outcome, numbers: Sequence[int] | None = None, units: str = "mm") -> Figure:
    """Return shear, peel and, where the adhesive may yield, plastic strain along the bondline at several increments.

    Lines run from dark to light along the path. Axes are labelled shear, peel and strain.

    Parameters
    ----------
    result : Outcome
        Solved along its load's path.
    numbers : sequence of int, optional
        Of the increments; by default ends of load steps and some between.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Raises
    ------
    SetupError
        matplotlib is not installed.
    JointError
        A linear result, or no such increment.
    """
    rows = _rows(result)
    chosen = [
        increment_of(result, number) for number in (spread(rows, MOST_CURVES) if numbers is None else dict.fromkeys(numbers))
    ]
    with drawing_style():
        from matplotlib.figure import Figure

        plastic = all(b.plastic_strain is not None for one in chosen for b in one.bondlines)
        names = ("shear", "peel", "strain") if plastic else ("shear", "peel")
        figure = Figure(figsize=(10, 3.1 * len(names) + 1.2), layout="constrained")
        grid = figure.subplots(len(names), 1, sharex=True)
        figure.suptitle(heading(result.joint, "along the bondline, by increment"), x=0.01, ha="left")
        (mm, length_unit), (mpa, unit) = shown_unit("mm", units), shown_unit("MPa", units)
        colours = sequential(201) / 255.0
        for i, one in enumerate(chosen):
            share = DARKEST + (LIGHTEST - DARKEST) * (i / max(len(chosen) - 1, 1))
            look = {"color": tuple(colours[round(200 * share)]), "linewidth": 1.6}
            label = in_words(rows[one.number - 1], units)
            for axes, name in zip(grid, names, strict=True):
                if name == "strain":
                    parts = [(b.x, b.plastic_strain) for b in one.bondlines if b.plastic_strain is not None]
                    x, values = joined(parts)
                else:
                    x, values = joined([dense(b.middle, name) for b in one.bondlines])
                    values = mpa * values
                axes.plot(mm * x, values, label=label, zorder=3 + 0.01 * i, **look)
        for axes, name in zip(grid, names, strict=True):
            axes.set_label(name)
            axes.axhline(0.0, color=FAINT, linewidth=0.8, zorder=0)
            axes.set_ylabel("equivalent plastic strain" if name == "strain" else f"{name} stress, {unit}")
            axes.margins(x=0.02, y=0.08)
        grid[0].set_title(f"mid-line of the layer; {result.bondlines[0].measure}", color=FAINT, fontsize="medium", wrap=True)
        grid[-1].set_xlabel(f"x along the overlap, {length_unit}")
        figure.align_ylabels(list(grid))
        legend_below(figure, grid[0].get_legend_handles_labels()[0], 3)
        return settled(figure)


def increment_of(result: Outcome, number: int | None = None) -> Outcome:
    """Return an increment on a load's path by its number, or the result's own: the last, or that of the largest load.

    Raises
    ------
    JointError
        A linear result, or no such increment.
    """
    count = len(_rows(result))
    if number is None:
        return result.path[result.number - 1] if result.path else result
    if not 1 <= number <= count:
        raise JointError(f"step = {number}: must be the number of an increment, 1 to {count}.")
    return result.path[number - 1]


def _rows(result: Outcome) -> list[Row]:
    rows = path_rows(result)
    if not rows:
        raise JointError("this result has no load path; ask for large_rotation or plasticity in [analysis] and solve it.")
    return rows
