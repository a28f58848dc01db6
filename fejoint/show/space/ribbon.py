"""The stress along the bondlines as ribbons above the joint: the higher, the larger."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Curve, Peak, foremost_peak
from fejoint.joint.geometry import Bond
from fejoint.show.colours import FAINT, INK
from fejoint.show.space.frame import Frame
from fejoint.show.space.labels import Label, text_extent
from fejoint.show.space.solid import SolvedSection
from fejoint.units import display, shown_unit

__all__ = ["RIBBONS", "Ribbon", "add_ribbons", "mid_line_curves", "ribbon_notes", "ribbons"]

Floats = NDArray[np.float64]

RIBBONS = {"shear": ("shear",), "peel": ("peel",), "both": ("peel", "shear")}  # by what is asked for: from below
COLOURS = ("#d98a32", "#7a4a12")  # of the first bondline and the second, wherever they are shown
HEIGHT, AT_END = 0.11, 0.2  # of the largest stress, over the length shown: of the whole joint, of an end of the overlap
CLEAR = 0.035  # between the joint and ribbons, and between ribbons, over the length shown
PIECES = 4  # of each quadratic piece of a curve; 2 for its nodes
BAND, SLIM = 0.8, 0.25  # a ribbon is at most so wide: of its share of the width, and over its length
ALMOST = 1e-9  # MPa: less is no stress that could be drawn


@dataclass(frozen=True, eq=False)
class Ribbon:
    """One stress along one bondline (of a stepped lap along all its treads), drawn over the overlap.

    Attributes
    ----------
    stress : str
        ``shear`` or ``peel``.
    bond : str
        Name of the bondline, empty where there is only one.
    curves : list of Curve
        What is shown of its mid-line, from the left: shear positive when a tensile force is passed on.
    numbers : list of int
        Of the bonds that the curves are of, as tables count them: of a stepped lap the treads.
    base : float, mm
        Height at which the stress is zero.
    front, back : float, mm
        Between which it lies across the width.
    high : float, mm/MPa
        Height of a MPa.
    colour : str
    """

    stress: str
    bond: str
    curves: list[Curve]
    numbers: list[int]
    base: float
    front: float
    back: float
    high: float
    colour: str

    @property
    def peaks(self) -> list[tuple[str, Peak]]:
        """What is largest, as tables give it: shear by its magnitude, peel that opens; peel that closes too when it is larger."""
        if self.stress == "shear":
            return [("peak", foremost_peak([curve.largest("shear") for curve in self.curves], lambda peak: abs(peak.value)))]
        high = foremost_peak([curve.highest("peel") for curve in self.curves], lambda peak: peak.value)
        low = foremost_peak([curve.lowest("peel") for curve in self.curves], lambda peak: -peak.value)
        return [("peak", high), ("least", low)] if -low.value > max(high.value, ALMOST) else [("peak", high)]

    def height(self, value: Floats | float) -> Floats:
        """Return where a stress (MPa) stands, mm."""
        return np.asarray(self.base + self.high * np.asarray(value))

    def values(self, pieces: int = PIECES) -> list[Floats]:
        """Return x, mm, and the stress, MPa, (n, 2) along its curves, each quadratic piece parted in so many."""
        found = []
        for curve in self.curves:
            ends = curve.x[::2]
            inside = ends[:-1, None] + np.diff(ends)[:, None] * np.linspace(0.0, 1.0, pieces, endpoint=False)
            peaks = [peak.x for _, peak in self.peaks if ends[0] <= peak.x <= ends[-1]]
            x = np.unique(np.concatenate([inside.ravel(), ends[-1:], peaks]))
            found.append(np.column_stack([x, curve.at(x, self.stress)]))
        return found

    def lines(self) -> list[Floats]:
        """Return x and y (n, 2) along its curves, mm."""
        return [np.column_stack([x, self.height(values)]) for x, values in (line.T for line in self.values())]


def mid_line_curves(section: SolvedSection) -> list[Curve]:
    """Return the stresses on the mid-line of every bond, with the signs of a bondline."""
    return section.mid_line_curves()


def ribbons(section: SolvedSection, frame: Frame, asked: str, top: float) -> list[Ribbon]:
    """Return the ribbons of a joint: bondlines beside one another across the width, shear above peel.

    Parameters
    ----------
    section : SolvedSection
    frame : Frame
    asked : str
        One of `RIBBONS`.
    top : float, mm
        Height of what is drawn below them.
    """
    bonds = section.joint.geometry.bonds()
    lines = list(dict.fromkeys((bond.below, bond.above) for bond in bonds))  # the treads of a stair are one
    groups: dict[int, dict[int, Curve]] = {}
    for i, (bond, curve) in enumerate(zip(bonds, mid_line_curves(section), strict=True), start=1):
        shown = _part(curve, bond, frame)
        if shown is not None:
            groups.setdefault(lines.index((bond.below, bond.above)), {})[i] = shown
    names = RIBBONS[asked]
    extremes = {
        name: [
            (min(0.0, *(c.lowest(name).value for c in of.values())), max(0.0, *(c.highest(name).value for c in of.values())))
            for of in groups.values()
        ]
        for name in names
    }
    largest = max(max(-low, high) for pairs in extremes.values() for low, high in pairs)
    tall = (HEIGHT if frame.window is None else AT_END) * frame.length
    high = float(f"{tall / largest:.2g}") if largest > ALMOST else 1.0
    found, room = [], frame.width / len(groups)
    for name in names:
        base = top + CLEAR * frame.length - high * min(low for low, _ in extremes[name])
        for i, (line, of) in enumerate(groups.items()):
            curves = list(of.values())
            middle = frame.width - (i + 0.5) * room
            half = min(BAND * room, SLIM * float(curves[-1].x[-1] - curves[0].x[0])) / 2
            named = f"bondline {line + 1}" if len(lines) > 1 else ""
            colour = COLOURS[line % len(COLOURS)]
            found.append(Ribbon(name, named, curves, list(of), base, middle + half, middle - half, high, colour))
        top = base + high * max(most for _, most in extremes[name])
    return found


def ribbon_notes(found: list[Ribbon], frame: Frame, units: str = "mm") -> list[str]:
    """Return what is said of the ribbons' scale, in a display system."""
    largest = max(abs(peak.value) for ribbon in found for _, peak in ribbon.peaks)
    factor, _ = shown_unit("MPa", units)
    stress = _round_below(factor * largest) / factor
    names = " above ".join(dict.fromkeys(ribbon.stress for ribbon in reversed(found)))
    peaks = ", peaks of what is shown" if frame.window is not None else ""
    return [
        f"ribbon{'s' if len(found) > 1 else ''}: mid-line {names} at the undeformed x{peaks}; "
        f"{display(stress, 'MPa', units)} are as high as {display(stress * found[0].high, 'mm', units, 3)} along x"
    ]


def add_ribbons(plotter: Any, found: list[Ribbon], pixels: int, units: str = "mm") -> tuple[list[Label], Floats]:
    """Add ribbons; return the labels of their peaks, and points (n, 3) that these keep clear of."""
    import pyvista

    labels, clear = [], []
    for ribbon in found:
        name = f"ribbon {ribbon.stress} {ribbon.bond}".strip()
        lines = ribbon.lines()
        sheets = [_strip(np.vstack([_at(line, ribbon.front), _at(line, ribbon.back)])) for line in lines]
        zeros = [np.column_stack([line[:, 0], np.full(len(line), ribbon.base)]) for line in lines]
        walls = [
            _strip(np.vstack([_at(line, ribbon.front), _at(zero, ribbon.front)])) for line, zero in zip(lines, zeros, strict=True)
        ]
        look: dict[str, Any] = {"color": ribbon.colour, "lighting": False, "reset_camera": False, "pickable": False}
        plotter.add_mesh(pyvista.merge(sheets), name=name, opacity=0.9, **look)
        plotter.add_mesh(pyvista.merge(walls), name=f"{name} wall", opacity=0.22, **look)
        edges = [_at(line, z) for line in lines for z in (ribbon.front, ribbon.back)]
        clear += edges
        plotter.add_mesh(_polylines(edges), name=f"{name} edges", **{**look, "color": INK}, line_width=1.6)
        x0, x1 = lines[0][0, 0], lines[-1][-1, 0]
        corners = [(x0, ribbon.front), (x1, ribbon.front), (x1, ribbon.back), (x0, ribbon.back), (x0, ribbon.front)]
        zero = np.array([(x, ribbon.base, z) for x, z in corners])
        plotter.add_mesh(_polylines([zero]), name=f"{name} zero", **{**look, "color": FAINT}, line_width=1.2)
        for word, peak in ribbon.peaks:
            bond = f"{ribbon.bond}, " if ribbon.bond else ""
            x = round(peak.x, 6) + 0.0  # no -0, nor an end that round-off has moved
            value, at = display(peak.value, "MPa", units, 3), display(x, "mm", units, 3)
            text = f"{bond}{word} {ribbon.stress} {value} at x = {at}"
            place = np.array([peak.x, float(ribbon.height(peak.value)), (ribbon.front + ribbon.back) / 2])
            side = "right" if peak.x < (x0 + x1) / 2 else "left"  # beside the ribbon, not on it
            labels.append(Label(f"{name} {word}", text, place, text_extent(text, pixels), side, "side"))
    return labels, np.vstack(clear)


# ---- parts ---------------------------------------------------------------


def _part(curve: Curve, bond: Bond, frame: Frame) -> Curve | None:
    """Return what a look shows of a curve."""
    if frame.window is None:
        return curve
    (x0, x1), (y0, y1) = frame.window
    start, end = max(bond.start, x0), min(bond.end, x1)
    return curve.part(start, end) if end > start and y0 < bond.y < y1 else None


def _round_below(value: float) -> float:
    """Return 1, 2 or 5 times a power of ten, the next below a value."""
    if value <= ALMOST:
        return 1.0
    power = 10.0 ** np.floor(np.log10(value))
    return float(max(m * power for m in (1.0, 2.0, 5.0) if m * power <= value * (1 + 1e-12)))


def _at(line: Floats, z: float) -> Floats:
    return np.column_stack([line, np.full(len(line), z)])


def _strip(points: Floats) -> Any:
    """Return the quadrilaterals between two lines of as many points, one line after the other."""
    import pyvista

    n = len(points) // 2
    i = np.arange(n - 1)
    return pyvista.PolyData(points, faces=np.column_stack([np.full(n - 1, 4), i, i + 1, i + 1 + n, i + n]).ravel())


def _polylines(lines: list[Floats]) -> Any:
    import pyvista

    starts = np.cumsum([0, *(len(line) for line in lines)])
    cells = [np.append(len(line), start + np.arange(len(line))) for line, start in zip(lines, starts, strict=False)]
    return pyvista.PolyData(np.vstack(lines), lines=np.concatenate(cells))
