"""The page of a run: what was asked, what was found, how far to believe it, how to repeat it."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from fejoint.bondline.closed_form.comparison import THEORIES
from fejoint.errors import FejointError, SetupError, one_line
from fejoint.joint.description import Joint
from fejoint.mechanics.as_built import Comparison, compared
from fejoint.show.colours import FAINT
from fejoint.show.reading import Run
from fejoint.show.report import run_tables, run_words
from fejoint.show.report.page import Picture, download, page, picture, png_picture, visible

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["SECTIONS", "run_page"]

Made = TypeVar("Made")

SECTIONS = (
    ("question", "The question"),
    ("joint", "The joint as understood"),
    ("materials", "Materials"),
    ("loads", "Loads and ends"),
    ("bondline", "Stress along the bondline"),
    ("solid", "The joint in 3D"),
    ("theories", "Beside the theories"),
    ("checks", "Mesh and self-checks"),
    ("cautions", "Cautions"),
    ("repeat", "To repeat this"),
)
STRENGTH_SECTION = ("strength", "Will it hold?")  # where its strength has been predicted, behind the question
PATH_SECTION = ("path", "Along the load's path")  # where there is one, before the joint in 3D
HEADS = ("place, or theory", "part of the bond", "adherend")  # of the first columns of what the command prints
SOLID_STRESS = "peel"  # what the picture in 3D is coloured by
MOST_ROWS = 60  # of increments
MANY_CELLS = 10_000  # of a mesh: beyond, its picture is one of pixels
WIDTH = 11.0  # inches, of drawings that are wider for a screen
SOLID_SIZE = (1280, 720)  # its pixels: at the width of a page finer than what is seen


@dataclass(frozen=True)
class Part:
    """A part of the page that may fail without the rest: what it is, or why it is not there."""

    made: Any = None
    why_not: str = ""


def run_page(run: Run, units: str = "mm", progress: Callable[[str], None] | None = None, most_bytes: int | None = None) -> str:
    """Return the page of a run.

    Parameters
    ----------
    run : Run
        As `fejoint.show.reading.read_run` returns it.
    units : str
        Display system, one of `fejoint.units.DISPLAY_SYSTEMS`.
    progress : callable, optional
        Called with a line of text before each stage.
    most_bytes : int, optional
        A page that would be larger goes without the view that can be turned, which takes most of its bytes.

    Raises
    ------
    SetupError
        jinja2 or matplotlib is not installed.
    """
    say = progress or (lambda text: None)
    joint, repeats = _as_given(run)
    say("theories")
    comparison = _attempt(lambda: compared(run), "the comparison with theories")
    say("drawings")
    pictures = _drawings(run, joint, comparison.made, units)
    say("3D view")
    if run.path:
        say("load path")
        pictures |= _along_the_path(run, units)
    pictures["solid"] = _attempt(lambda: _solid(run, units), "the picture in 3D")
    pictures["end"] = _attempt(lambda: _solid_end(run, units), "the picture of the overlap's end")
    scene = _attempt(lambda: _scene(run, units), "the view in 3D that can be turned")
    strength = run.strength or {}
    if strength:
        pictures["strength"] = _strength_picture(strength, units)
    say("page")
    context = {
        "sections": _sections(run),
        "strength": strength,
        "strength_words": _strength_words(strength, units),
        "nonlinear": joint.analysis.nonlinear,
        "joint": joint,
        "run": run,
        "units": units,
        "pictures": pictures,
        "picture": pictures["solid"].made,
        "why_no_picture": pictures["solid"].why_not or None,
        "question": run_words.question(joint, units),
        "answers": run_words.answers(run, units),
        "ends": run_words.ends_in_words(joint),
        "mesh_error": run_words.mesh_error(run),
        "seconds": run_words.seconds_in_words(run),
        "comparison": comparison,
        "refused": _refused(comparison.made),
        "tables": _tables(run, joint, comparison.made, units),
        "repeats": repeats,
        "joint_file": visible(run.joint_file),
        "joint_file_link": download(run.joint_file),
    }

    def filled(scene: Part) -> str:
        scripts, data = scene.made or ([], {})
        more = {"interactive": scene.made is not None, "why_not_interactive": scene.why_not}
        return page("run.html", joint.title or joint.geometry.kind, {**context, **more}, scripts, data)

    text = filled(scene)
    if most_bytes is not None and len(text.encode("utf-8")) > most_bytes:
        text = filled(Part(why_not=f"with it the page would take more than {most_bytes / 1e6:g} MB. fejoint view shows it."))
    return text


def _sections(run: Run) -> list[tuple[str, str]]:
    """Return the page's sections, of those that not every run has the ones that this one has."""
    found = []
    for section in SECTIONS:
        found += [PATH_SECTION] if section[0] == "solid" and run.path else []
        found.append(section)
        found += [STRENGTH_SECTION] if section[0] == "question" and (run.strength or run.strength_refused) else []
    return found


def _as_given(run: Run) -> tuple[Joint, bool]:
    """Return the joint as its file gives it, which tells what was given from defaults, and whether it is the one solved."""
    from fejoint.joint.file import joint_from_text

    try:
        given = joint_from_text(run.joint_file, name="joint.toml")
    except FejointError:
        return run.joint, False
    asked = run.joint if run.asked is None else run.asked
    return (given, True) if given == asked else (asked, False)


def _attempt(make: Callable[[], Made], what: str) -> Part:
    """Return what a function makes; a part that fails costs the page this part alone."""
    try:
        return Part(make())
    except FejointError as error:
        return Part(why_not=str(error))
    except Exception as error:  # whatever it is: the rest of the page does not hang on it
        return Part(why_not=one_line(f"{what} could not be made ({type(error).__name__}: {error})."))


# ---- pictures --------------------------------------------------------------


def _drawings(run: Run, joint: Joint, comparison: Comparison | None, units: str) -> dict[str, Part]:
    """Return the drawings; over them stands what they show, not the title, which the page has."""
    from fejoint.show.comparison import comparison_figure
    from fejoint.show.drawing import section_figure
    from fejoint.show.mesh import mesh_figure
    from fejoint.show.plots import bondline_figure

    untitled = replace(run, joint=joint.model_copy(update={"title": ""}))
    theories = _main_theories(run, comparison)

    def drawn(make: Callable[[], Figure], alt: Callable[[], str], caption: str, pixels: bool = False) -> Part:
        return _attempt(lambda: picture(make(), alt(), caption, pixels), "this drawing")

    found = {
        "section": drawn(
            lambda: section_figure(untitled.joint, units),
            lambda: run_words.section_alt(joint, units),
            "The section as solved. Names are keys of the joint file; how far the thickness is drawn larger stands over it.",
        ),
        "bondline": drawn(
            lambda: bondline_figure(untitled, theories, units),
            lambda: run_words.curves_alt(run, list(theories), units),
            "Stresses on the mid-line of the adhesive layer, half-way between its two faces. Shear is positive where the layer "
            "passes a tensile force on, peel where the layer is pulled open.",
        ),
        "mesh": drawn(
            lambda: mesh_figure(untitled, units=units),
            lambda: run_words.mesh_alt(run, len(run.section.cells), run.unknowns),
            "The mesh on which the numbers of this page were found.",
            len(run.section.cells) > MANY_CELLS,
        ),
    }
    if comparison is not None and comparison.rows:
        found["comparison"] = drawn(
            lambda: _for_paper(comparison_figure(replace(comparison, result=untitled), units)),
            lambda: run_words.comparison_alt(comparison),
            "Finite elements and the main theories. Bars start at 1, where a theory gives the same peak; the grey band is "
            "within a tenth.",
        )
    return found


def _along_the_path(run: Run, units: str) -> dict[str, Part]:
    """Return the drawings of the load's path that there are."""
    from fejoint.show import path_plots
    from fejoint.show.path_rows import path_rows

    untitled = replace(run, joint=run.joint.model_copy(update={"title": ""}))
    rows = path_rows(run)

    def drawn(make: Callable[[], Figure], alt: Callable[[], str], caption: str, pixels: bool = False) -> Part:
        return _attempt(lambda: picture(make(), alt(), caption, pixels), "this drawing")

    found = {
        "path": drawn(
            lambda: path_plots.path_figure(untitled, units),
            lambda: run_words.path_alt(run, units),
            "Every point is an increment at which the joint is at rest under the load that acts there.",
        ),
        "steps": drawn(
            lambda: path_plots.bondline_steps_figure(untitled, None, units),
            lambda: "Shear, peel and plastic strain along the bondline at several increments, each a line; the last is the end.",
            "The curves along the mid-line at some increments, from dark to light along the path.",
        ),
    }
    if any(row["edge_moment_factor_left"] is not None for row in rows):
        found["edge"] = drawn(
            lambda: path_plots.edge_moment_figure(untitled, units),
            lambda: run_words.edge_moment_alt(run, units),
            "The edge moment factor as the force grows. Theories take adherends to be elastic, and the overlap to bend as one.",
        )
    if run.joint.analysis.cohesive:
        from fejoint.show.cohesive_plots import parting_figure

        found["parting"] = drawn(
            lambda: parting_figure(untitled, units),
            lambda: "Load against travel over the peak, the length that is parted and damaged, and damage along the bondline.",
            "How the layer parts: the ring is the largest load; behind it the layer parts on while the load falls.",
        )
    if run.joint.yielding():
        first = next((row["number"] for row in rows if (row["yielded_share"] or 0) > 0), len(rows))
        for key, number in {"zone_first": first, "zone": len(rows)}.items():
            if key == "zone" or number < len(rows):
                said = "where the mid-line begins to yield" if key == "zone_first" else "at the end of the path"
                found[key] = drawn(
                    lambda number=number: path_plots.plastic_zone_figure(untitled, number, units),  # type: ignore[misc]
                    lambda said=said: f"The overlap and both its ends enlarged, coloured by equivalent plastic strain, {said}.",  # type: ignore[misc]
                    f"Equivalent plastic strain {said}.",
                    True,
                )
    return found


def _strength_words(strength: Mapping[str, Any], units: str) -> dict[str, Any]:
    """Return what is said of a predicted strength."""
    if not strength:
        return {}
    from fejoint.show.strength_band import band_in_words
    from fejoint.show.strength_tables import (
        SUPPORT,
        distances_in_words,
        flaws_in_words,
        knockdowns_in_words,
        left_out_in_words,
        limits_in_words,
        marks_in_words,
    )
    from fejoint.show.strength_words import answer, zone_in_words

    return {
        "answer": answer(strength, units),
        "holds": (strength["governing"]["margin"] or 0.0) >= 0,
        "knockdowns": knockdowns_in_words(strength),
        "limits": f"{limits_in_words(strength, units)} {distances_in_words(strength, units)}",
        "zone": zone_in_words(strength["cohesive"], units) if strength.get("cohesive") else "",
        "band": band_in_words(strength["band"], units) if strength.get("band") else "",
        "flaws": flaws_in_words(strength, units) if strength.get("flaws") else "",
        "marks": marks_in_words(strength),
        "left_out": left_out_in_words(strength),
        "biases": [(c["name"], c["bias"], c["source"]) for c in strength["criteria"] if not c["reason"]],
        "support": SUPPORT,
    }


def _strength_picture(strength: Mapping[str, Any], units: str) -> Part:
    from fejoint.show.strength_plots import strength_figure
    from fejoint.show.strength_words import verdict

    return _attempt(
        lambda: picture(
            strength_figure(strength, units, headed=False),
            f"A bar for every criterion, as long as the load at which it is met. {verdict(strength, units)}",
            "The load by every criterion; knockdowns are in the broken line alone. Thin lines reach to the loads at half and "
            "double distance from the overlap's end, and on meshes of half and double density.",
        ),
        "this drawing",
    )


def _for_paper(figure: Figure) -> Figure:
    """Return the figure of a comparison narrower, its letters large enough at the width of a page."""
    width, height = figure.get_size_inches()
    figure.set_size_inches(WIDTH, height * 1.25 * WIDTH / width)
    for axes in figure.axes[2::3]:  # of ratios: their titles are longer than the bars
        title = axes.get_title(loc="left")
        axes.set_title("", loc="left")
        axes.set_title(title, loc="right", fontsize="medium", color=FAINT)
        low, high = axes.get_xlim()
        axes.set_xlim(low - 0.15 * (high - low), high + 0.05 * (high - low))  # the letters of values take more of the width
    return figure


def _main_theories(run: Run, comparison: Comparison | None) -> dict[str, Any]:
    """Return the few theories that are drawn over the curves, by name, out of the comparison, which has solved them."""
    main = [entry.name for entry in THEORIES if run.joint.geometry.kind in entry.main]
    return {row.name: row.bondlines for row in (comparison.rows if comparison else []) if row.name in main}


def _solid(run: Run, units: str) -> Picture:
    """Return the whole joint in 3D as a picture."""
    words = "The joint in 3D, deformed and coloured by peel, with the peel along the bondline as a ribbon over it."
    return _view(run, run_words.solid_alt(run, units), words, ribbon=SOLID_STRESS, units=units)


def _solid_end(run: Run, units: str) -> Picture:
    """Return the overlap end with the peak of peel as a picture."""
    largest = max(run.peak_peel[0], run.least_peel[0], key=lambda peak: abs(peak.value))
    end = "left" if largest.x <= run.joint.geometry.length / 2 else "right"
    return _view(
        run, run_words.end_alt(run, end, units), f"The {end} end of the overlap, cut out of the joint.", end=end, units=units
    )


def _view(run: Run, alt: str, words: str, **options: Any) -> Picture:
    from fejoint.show.space.view import view_png

    with tempfile.TemporaryDirectory() as scratch:
        path = view_png(run, Path(scratch) / "view.png", size=SOLID_SIZE, stress=SOLID_STRESS, **options)
        more = "What is drawn larger, and where the colours end, stands in the picture."
        return png_picture(path, alt, f"{words} {more}")


def _scene(run: Run, units: str) -> tuple[list[str], dict[str, Any]]:
    """Return scripts and data of the view that can be turned."""
    from fejoint.show.report.scene import scene_data, scene_scripts

    data = dict(scene_data(run, units))
    if "refusal" in data:
        raise SetupError(data["refusal"])
    return scene_scripts(), {"scene-data": data}


# ---- tables ----------------------------------------------------------------


def _tables(run: Run, joint: Joint, comparison: Comparison | None, units: str) -> dict[str, Part]:
    from fejoint.show.comparison import comparison_table
    from fejoint.show.tables import path_table, result_report

    keys = run_tables.keys_of(joint, units)

    def of(prefix: str) -> list[run_tables.Key]:
        return [key for key in keys if key.key.startswith(prefix)]

    predicted = {
        key.rpartition(".")[2] for c in (run.strength or {}).get("criteria", ()) if not c["reason"] for key in c["figures"]
    }

    def beside() -> list[Any]:
        return run_tables.tables_in(comparison_table(comparison, units), "theory") if comparison is not None else []

    return {
        "joint": Part([run_tables.key_table("Dimensions", [key for key in keys if key.key in ("title", "flaw")] + of("joint."))]),
        "materials": _attempt(lambda: run_tables.material_tables(joint, units, predicted), "the tables of materials"),
        "strength": _attempt(lambda: _strength_tables(run, units), "the tables of strength"),
        "rules": Part([run_tables.key_table("What a prediction of strength is told", of("strength."))]),
        "loads": Part([run_tables.key_table("Loads and ends", of("load."))]),
        "analysis": Part([run_tables.key_table("How it was analysed", of("analysis."))]),
        # Peaks, load shares and adherends, as the command prints them.
        "stresses": _attempt(
            lambda: run_tables.tables_in(result_report(replace(run, path=(), summary={}), units), *HEADS),
            "the tables of stresses",
        ),
        "path": _attempt(
            lambda: [run_tables.as_table(path_table(run, units, MOST_ROWS), "increment")] if run.path else [],
            "the table of increments",
        ),
        "theories": _attempt(beside, "the table of theories"),
        "checks": Part([run_tables.check_table(run)]),
        "versions": Part([run_tables.version_table(run.summary.get("versions") or {})]),
    }


def _strength_tables(run: Run, units: str) -> list[Any]:
    from fejoint.show.strength_tables import criteria_table, flaws_table, margins_table

    if not run.strength:
        return []
    margins = run_tables.as_table(margins_table(run.strength, units), "way of failing")
    criteria = run_tables.as_table(criteria_table(run.strength, units), "criterion")
    flaws = [run_tables.as_table(flaws_table(run.strength, units), "tip")] if run.strength.get("flaws") else []
    return [margins, criteria, *flaws]


def _refused(comparison: Comparison | None) -> dict[str, str]:
    """Return why theories have no result, by reason the names of those left out."""
    reasons: dict[str, list[str]] = {}
    for name, reason in (comparison.refused if comparison else {}).items():
        reasons.setdefault(reason, []).append(name)
    return {"; ".join(names): reason for reason, names in reasons.items()}
