"""The interactive 3D view of a page: what the script beside this draws, as data a page can hold.

All that the picture states (scales, where colours end, what is left out) is
found and worded here, by what the pictures of `fejoint.show.space.view` go by too;
the script only decodes, adds up and draws. Arrays are whole numbers of a step
that is small against what can be seen or read off, in base64.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib import resources, util
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fejoint.environment import require_extra
from fejoint.errors import SetupError
from fejoint.show.colours import FAINT, INK, METAL, UNDEFORMED, colour_limit, diverging, sequential
from fejoint.show.path_rows import in_words, path_rows, spread
from fejoint.show.report.arrays import packed, packed_indices
from fejoint.show.report.surface import cell_grid, surface
from fejoint.show.space.captions import WORDS, cut_notes, width_note
from fejoint.show.space.frame import Frame, framed
from fejoint.show.space.increments import along
from fejoint.show.space.pick import SINGULAR, singular_places, singular_reach
from fejoint.show.space.ribbon import RIBBONS, ribbon_notes, ribbons
from fejoint.show.space.solid import STRESSES, SolvedSection, Window, read_section
from fejoint.units import shown_unit

if TYPE_CHECKING:
    from fejoint.mechanics.driver import Result
    from fejoint.show.reading import Run

__all__ = ["scene_data", "scene_scripts"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Words = dict[str, Any]
Limits = dict[str, list[Words]]

LOOKS = {
    "whole": ("whole joint", None),
    "left": ("left end of the overlap", "left"),
    "right": ("right end of the overlap", "right"),
}
STRETCHES = {"whole": (1, 2, 3, 5, 10, 20), "left": (1, 2, 3), "right": (1, 2, 3)}
APART = 0.12  # of the length shown: how far, at most, neighbouring pieces are moved apart, as drawn

MANY_CELLS = 7_000  # beyond, cells are drawn by their corners alone
MOST_STEPS, MOST_NODES = 12, 40_000  # increments of a load's path, and nodes of all together
MOST_CELLS = 40_000  # beyond, the page would be too large
LARGEST_SCALE = 2.0  # of the displacements, times the fit one
SEEN = 1 / 4000  # of the length shown: an error in place that no screen shows
READ = 5e-5  # of the stress where the colours end: an error that leaves four digits
PART = ("inside", "triangles", "edges", "corners")


# ---- the whole -----------------------------------------------------------


def scene_scripts() -> list[str]:
    """Return the scripts of the interactive view, in order: the drawing library as its package holds it, and ours.

    Raises
    ------
    SetupError
        plotly is not installed, or lacks its script.
    """
    require_extra("plotly", "report", "the interactive 3D view")
    spec = util.find_spec("plotly")  # read without importing it, which would take longer than the page
    places = (spec.submodule_search_locations if spec else None) or []
    for place in places:
        file = Path(place) / "package_data" / "plotly.min.js"
        if file.is_file():
            return [
                file.read_text(encoding="utf-8"),
                resources.files(__package__).joinpath("scene.js").read_text(encoding="utf-8"),
            ]
    raise SetupError("plotly is installed without its plotly.min.js: pip install --force-reinstall plotly")


def scene_data(run: Result | Run, units: str = "mm") -> Words:
    """Return what the script of the interactive view draws, ready for JSON.

    Parameters
    ----------
    run : Result or Run
    units : str
        Display system of what is read off, one of `fejoint.units.DISPLAY_SYSTEMS`.

    Returns
    -------
    dict
        With the key ``refusal`` alone, a sentence, when the section has too many cells.
    """
    section = read_section(run)
    if len(section.cells) > MOST_CELLS:
        return {
            "refusal": f"The section has {len(section.cells):,} cells, too many to be turned in a page; fejoint view shows it."
        }
    steps = _steps(run, section, units)
    views = [view for key, (_, end) in LOOKS.items() for view in _views(section, key, end)]
    shown = list({_window(view): view for view in views}.values())  # where a stretch changes nothing of that, one does
    part = {_window(view): i for i, view in enumerate(shown)}
    limits = [_limits(section, view, units) for view in shown]
    length, stress = shown_unit("mm", units), shown_unit("MPa", units)
    return {
        "length": {"factor": length[0], "unit": length[1]},
        "stress": {"factor": stress[0], "unit": stress[1]},
        "inks": {"deformed": INK, "undeformed": UNDEFORMED, "metal": METAL, "faint": FAINT},
        "maps": {"signed": _colours(diverging(65)), "unsigned": _colours(sequential(64))},
        "stresses": [_named(section, key, units) for key in section.stress],
        "looks": [
            {"key": key, "label": label, "views": [_view(view, part[_window(view)]) for view in views if view.look == key]}
            for key, (label, _) in LOOKS.items()
        ],
        "shown": [_shown(steps, view.everything, cuts, units) for view, cuts in zip(shown, limits, strict=True)],
        "ribbons": [{"key": key, "label": " and ".join(reversed(names))} for key, names in RIBBONS.items()],
        "largest_scale": LARGEST_SCALE,
        "steps": [step.name for step in steps],
        "grid": cell_grid(_coarse(section)).tolist(),
        "singular": {
            "corners": singular_places(section.joint).tolist(),
            "reach": singular_reach(section.joint.geometry),
        },
        "pieces": _drawn_pieces(steps, views, shown, limits),
        "notes": _notes(section),
    }


class Step(NamedTuple):
    """A section on its way to the full load, and what that is called."""

    name: str
    section: SolvedSection


def _steps(run: Result | Run, end: SolvedSection, units: str) -> list[Step]:
    """Return the steps of loading, the end last: of a load's path some increments, as many as a page can hold."""
    rows = path_rows(run)
    if not rows:
        return [Step("full load", end)]
    nodes = len(end.points) // (4 if _coarse(end) else 1)
    numbers = spread(rows, int(np.clip(MOST_NODES // nodes, 1, MOST_STEPS)))
    before = [Step(in_words(rows[n - 1], units), along(run).section(n)) for n in numbers if n < len(rows)]
    return [*before, Step(in_words(rows[-1], units), end)]


def _named(section: SolvedSection, key: str, units: str) -> Words:
    """Return what the script knows of a stress: its names, whether it has a sign, its unit, whose it is where not of all."""
    stress = STRESSES[key]
    factor, unit = shown_unit(stress.unit, units)
    found: Words = {"key": key, "label": stress.label, "signed": stress.signed, "factor": factor, "unit": unit}
    return found if stress.unit else found | {"regions": list(section.joint.yielding())}


def _coarse(section: SolvedSection) -> bool:
    """Return whether cells are drawn by their corners alone."""
    return len(section.cells) > MANY_CELLS


# ---- looks ---------------------------------------------------------------


class View(NamedTuple):
    """A look at a stretch of the thickness: the frame of all that is in it, and that of the adhesive alone."""

    look: str
    stretch: int
    everything: Frame
    adhesive: Frame


def _views(section: SolvedSection, look: str, end: str | None) -> list[View]:
    """Return a look at all stretches it has."""
    metal = tuple(section.joint.geometry.adherends())
    return [
        View(look, stretch, *(framed(section, end, hidden, None, float(stretch), 1.0) for hidden in ((), metal)))
        for stretch in STRETCHES[look]
    ]


def _window(view: View) -> Window | None:
    return view.everything.window


def _view(view: View, part: int) -> Words:
    """Return what the script knows of a look at a stretch; `part`: which of what is shown it is."""
    frames = [
        {"scale": frame.scale, "centre": frame.centre.tolist(), "motion": frame.motion.tolist()}
        for frame in (view.everything, view.adhesive)
    ]
    gap = min(view.everything.gap, APART * view.everything.length / view.stretch)
    return {"stretch": view.stretch, "shown": part, "gap": gap, "frames": frames}


def _shown(steps: list[Step], frame: Frame, limits: Limits, units: str) -> Words:
    """Return what the script knows of what one or several views show."""
    section = steps[-1].section
    return {
        "width": frame.width,
        "length": frame.length,
        "limits": limits,
        "ribbon": _ribbon(steps, frame, units),
        "note": _sentence(width_note(section, frame, units)),
    }


def _limits(section: SolvedSection, view: View, units: str) -> Limits:
    """Return for every stress where its colours end, and what is said of that: of all that is shown, of adhesive alone."""
    frame = view.everything
    found: Limits = {}
    for name in section.stress:
        found[name] = []
        for alone in (False, True):
            cut, why = colour_limit(section, name, frame.shown, alone)
            notes = cut_notes(section, name, frame, cut, why, alone, units, ranged=False)
            found[name].append({"limit": cut, "notes": [_sentence(note) for note in notes]})
    return found


def _notes(section: SolvedSection) -> Words:
    """Return what is said of the drawing, `{}` for numbers that the controls set, and what holds always."""
    coarse = [f"The {len(section.cells):,} cells are drawn by their corners alone, straight lines between."]
    return {
        **{key: _sentence(WORDS[key]) for key in ("scale", "true", "stretched", "apart", "range")},
        "motion": WORDS["motion"],
        "singular": SINGULAR,
        "still": "Displacements not drawn; grey lines: undeformed.",
        "empty": "None of the chosen pieces is here.",
        "value": "Point or click at the joint to read a value.",
        "always": coarse if _coarse(section) else [],
    }


def _sentence(note: str) -> str:
    """Return a note of the pictures as a sentence."""
    return f"{note[0].upper()}{note[1:]}."


# ---- pieces --------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Piece:
    """Cells that are shown, hidden and moved together; `rank`: how many gaps it is moved up when pieces are moved apart."""

    label: str
    region: str
    rank: float
    cells: Bools


def _pieces(section: SolvedSection) -> list[Piece]:
    """Return the pieces of a section from below: adherends, and the layers between them."""
    unit = replace(framed(section), gap=1.0)
    middle = section.points[section.cells[:, :4], 1].mean(axis=1)
    found = []
    for name in section.regions:
        cells = section.cells_of(name)
        lift = unit.lift(name, middle)
        ranks = np.unique(lift[cells])
        for i, rank in enumerate(ranks.tolist(), 1):
            label = name.replace("_", " ") + (f" {i}" if len(ranks) > 1 else "")
            found.append(Piece(label, name, rank, cells & (lift == rank)))
    return sorted(found, key=lambda piece: piece.rank)


def _drawn_pieces(steps: list[Step], views: list[View], shown: list[View], limits: list[Limits]) -> list[Words]:
    """Return every piece as the script takes it: what its nodes hold, its cells, and what is shown of them."""
    section, seen = steps[-1].section, _tolerances(views)
    windows, names = [_window(view) for view in shown], list(section.stress)
    held = [np.column_stack([at.displacement, *(at.stress[name] for name in names)]) for _, at in steps]
    found = []
    for piece in _pieces(section):
        # Adherends have no colours when the adhesive alone has.
        adhesive = piece.region == "adhesive"
        ends = {name: [cut["limit"] for cuts in limits for cut in cuts[name][: 2 if adhesive else 1]] for name in names}
        made = surface(section.cells[piece.cells], np.column_stack([section.points, *held]), windows, _coarse(section))
        x, y, *columns = made.values.T
        each = iter(columns)
        found.append(
            {
                "label": piece.label,
                "adhesive": adhesive,
                "region": piece.region,
                "rank": piece.rank,
                "x": packed(x, seen["place"]),
                "y": packed(y, seen["place"]),
                "steps": [
                    {
                        "ux": packed(next(each), seen["motion"]),
                        "uy": packed(next(each), seen["motion"]),
                        "stresses": {name: packed(next(each), READ * min(ends[name]), around=0.0) for name in names},
                        "ranges": _ranges(section, piece, shown, at.stress),
                    }
                    for _, at in steps
                ],
                "cells": packed_indices(made.cells),
                "parts": [{name: packed_indices(getattr(part, name)) for name in PART} for part in made.parts],
            }
        )
    return found


def _ranges(
    section: SolvedSection, piece: Piece, shown: list[View], stress: Mapping[str, Floats]
) -> list[dict[str, list[float]] | None]:
    """Return the lowest and the highest of every stress of a piece, MPa, for each of what is shown; None where it is not seen."""
    own, found = np.unique(section.cells[piece.cells]), []
    for view in shown:
        nodes = np.intersect1d(view.everything.nodes, own)  # those in the window, as in the pictures
        values = {name: of[nodes] for name, of in stress.items()}
        ends = {name: [_six(float(of.min())), _six(float(of.max()))] for name, of in values.items()} if len(nodes) else None
        found.append(ends)
    return found


def _six(value: float) -> float:
    return float(f"{value:.6g}")


def _tolerances(views: list[View]) -> dict[str, float]:
    """Return the largest errors of places and of displacements, mm, that no view shows."""
    drawn = [(SEEN * frame.length / frame.stretch, frame.scale) for view in views for frame in (view.everything, view.adhesive)]
    return {"place": min(size for size, _ in drawn), "motion": min(size / (LARGEST_SCALE * scale) for size, scale in drawn)}


# ---- ribbons -------------------------------------------------------------


def _ribbon(steps: list[Step], frame: Frame, units: str) -> Words:
    """Return the ribbons of a frame and, for what can be asked for, where they stand over the body and how high: as pictures.

    The values of several steps stand one after another; where ribbons stand, and how high, is that of the end.
    """
    section = steps[-1].section
    on_the_way = [ribbons(step.section, frame, "both", 0.0) for step in steps]
    asked, many = {key: ribbons(section, frame, key, 0.0) for key in RIBBONS}, len(section.joint.geometry.bonds()) > 1
    return {
        "ribbons": [
            {
                "stress": one.stress,
                "name": one.bond or "the bondline",
                "colour": one.colour,
                "z": [one.back, one.front],
                "curves": [
                    {"name": f"bondline {number}" if many else "the bondline", "x": _rounded(x), "values": _rounded(values)}
                    for number, (x, values) in zip(one.numbers, (line.T for line in one.values(pieces=2)), strict=True)
                ],
                "steps": [
                    [_rounded(line[:, 1]) for line in before[i].values(pieces=2)] for before in on_the_way if len(steps) > 1
                ],
            }
            for i, one in enumerate(asked["both"])
        ],
        "choices": {
            key: {
                "bases": {one.stress: one.base for one in found},
                "high": found[0].high,
                "note": " ".join(_sentence(note) for note in ribbon_notes(found, frame, units)),
            }
            for key, found in asked.items()
        },
    }


def _rounded(values: Floats) -> list[float]:
    return [float(f"{value:.9g}") for value in values.tolist()]


def _colours(rgb: NDArray[np.int64]) -> list[str]:
    return [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in rgb.tolist()]
