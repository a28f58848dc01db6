"""The joint in 3D along its load's path: one increment, a slider over all, a moving picture."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from fejoint.errors import JointError, SetupError
from fejoint.show.colours import INK, colour_limit
from fejoint.show.path_rows import Row, in_words, path_rows, spread
from fejoint.show.space.camera import seen
from fejoint.show.space.solid import SolvedSection, read_section, read_summary

if TYPE_CHECKING:
    from fejoint.mechanics.driver import Result
    from fejoint.show.reading import Run
    from fejoint.show.space.view import Picture

    Source = str | Path | Result | Run | SolvedSection

__all__ = ["Along", "add_slider", "along", "animate_gif", "section_at"]

MOST_FRAMES = 40
SECONDS = 6.0  # of a moving picture, and of its last frame, which stands
STANDS = 1.5
COLOURS = 256


class Along(NamedTuple):
    """The increments of a source: their rows, and what gives the section at a number from 1."""

    rows: list[Row]
    section: Callable[[int], SolvedSection]


def along(source: Source) -> Along:
    """Return the increments of a run's folder, of a run or of a result; none of a linear one.

    Raises
    ------
    JointError, SetupError
        As `read_section`.
    """
    if isinstance(source, SolvedSection):
        return Along([], lambda number: source)
    if not isinstance(source, (str, Path)):
        path: Any = source.path
        return Along(path_rows(source), lambda number: read_section(path[number - 1]))
    folder = Path(source)
    rows = read_summary(folder).get("path") or []
    if not isinstance(rows, list) or [row.get("number") for row in rows if isinstance(row, dict)] != [*range(1, len(rows) + 1)]:
        raise SetupError(f"{folder / 'summary.json'}: is damaged; solve the joint again.")
    return Along(rows, lambda number: read_section(folder / "path" / f"{number:04d}"))


def section_at(source: Source, number: int) -> SolvedSection:
    """Return the section at an increment on the load's path.

    Raises
    ------
    JointError
        There is no path, or no such increment.
    """
    found = along(source)
    if not found.rows:
        raise JointError(f"step = {number}: this run has no load path; ask for large_rotation or plasticity in [analysis].")
    if not 1 <= number <= len(found.rows):
        raise JointError(f"step = {number}: must be the number of an increment, 1 to {len(found.rows)}.")
    return found.section(number)


def add_slider(picture: Picture, source: Source) -> Callable[[float], None] | None:
    """Add a slider over the increments to a picture of a source, and return what it does at a value.

    None, and no slider, where there is no path to go along, or ribbons stand that would not go with it.
    """
    found = along(source)
    plotter: Any = picture.plotter
    if len(found.rows) < 2 or any("ribbon" in name for name in plotter.actors):
        return None
    shown = [len(found.rows)]

    def go(value: float) -> None:
        number = round(value)
        if number == shown[0]:
            return
        shown[0] = number
        slider.GetRepresentation().SetTitleText(in_words(found.rows[number - 1], picture.units))
        picture.show(found.section(number))

    slider = plotter.add_slider_widget(
        go,
        rng=(1, len(found.rows)),
        value=len(found.rows),
        title=in_words(found.rows[-1], picture.units),
        pointa=(0.79, 0.13),
        pointb=(0.97, 0.13),
        color=INK,
        fmt="%.0f",
        title_height=0.018,
    )
    return go


def animate_gif(source: Source, path: str | Path, size: tuple[int, int] = (1120, 630), **options: Any) -> Path:
    """Write the joint along its load's path as a moving picture: one eye, one scale and one end of the colours for all frames.

    Parameters
    ----------
    source : path, Run or Result
        Of a joint that was solved along its load's path.
    path : str or Path
        The moving picture, ``.gif``: written whole or not at all.
    size : (int, int)
        Width and height in pixels.
    options
        As for `fejoint.show.space.view.stress_view`.

    Raises
    ------
    SetupError
        Another ending, nothing to render with, Pillow is missing (it comes with matplotlib), a file cannot be read or written.
    JointError
        There is no path, or an unknown option value.
    """
    from fejoint.environment import require_extra
    from fejoint.show.files import write_files
    from fejoint.show.space.view import picture

    path = Path(path)
    if path.suffix.lower() != ".gif":
        raise SetupError(f"{path}: a moving picture is written as .gif; give the file this ending.")
    require_extra("PIL", "plot", "a moving picture")
    from PIL import Image

    found = along(source)
    if len(found.rows) < 2:
        raise JointError("animate: this run has no load path; ask for large_rotation or plasticity in [analysis].")
    numbers = spread(found.rows, MOST_FRAMES)
    sections = {number: found.section(number) for number in numbers}
    # The frame with the largest displacement sets the scale and the eye, that with the largest stress the colours.
    farthest = max(numbers, key=lambda number: float(np.abs(sections[number].displacement).max()))
    first = picture(sections[farthest], size=size, **options)
    eye, scale = seen(first.plotter), first.frame.scale
    first.plotter.close()
    alone = first.see_through or not any(
        (first.frame.shown & one.cells_of(name)).any() for one in [first.section] for name in one.joint.geometry.adherends()
    )
    fixed = {**options, "scale": scale, "eye": eye, "size": size}
    if options.get("limit") is None:
        ends = [colour_limit(section, first.name, first.frame.shown, alone) for section in sections.values()]
        limit, why = max(ends)
        fixed |= {"limit": limit, "why": f"{why}, of all increments"}
    frames = []
    for number in numbers:
        made = picture(sections[number], **fixed)
        frames.append(Image.fromarray(np.asarray(made.plotter.screenshot(return_img=True))))
        made.plotter.close()
    # One set of colours for all frames, lest those of the scale change from one to the next.
    samples = [frames[0], frames[len(frames) // 2], frames[-1]]
    board = Image.fromarray(np.concatenate([np.asarray(frame) for frame in samples]))
    palette = board.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE)
    reduced = [frame.quantize(palette=palette, dither=Image.Dither.NONE) for frame in frames]
    each = round(1000 * SECONDS / len(frames))
    durations = [each] * (len(frames) - 1) + [round(1000 * STANDS)]

    def save(file: Path) -> None:
        reduced[0].save(file, format="GIF", save_all=True, append_images=reduced[1:], duration=durations, loop=0)

    write_files(path.parent, {path.name: save})
    return path
