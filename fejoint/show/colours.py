"""The colours of drawings and pictures: inks, regions, the maps of a stress and where they end.

The maps step evenly to the eye: a difference in colour is a difference in
stress, wherever on the map. They end clear of the adhesive's corners, where
the stress is singular and would leave no colour for the rest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fejoint.bondline.curves import Curve

if TYPE_CHECKING:
    import pyvista as pv

    from fejoint.show.space.solid import SolvedSection

__all__ = [
    "FAINT",
    "INK",
    "METAL",
    "OUTLINE",
    "REGION_COLOURS",
    "UNDEFORMED",
    "colour_limit",
    "diverging",
    "lookup_table",
    "sequential",
]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

INK = "#1d2429"
OUTLINE = "#30383f"
FAINT = "#66717a"
UNDEFORMED, METAL = "#8a9199", "#c9d1d8"  # in 3D: lines of what is not displaced, adherends that are seen through
# Regions that face one another across the adhesive differ in lightness.
REGION_COLOURS = {
    "lower": "#dfe4e8",
    "upper": "#c9d1d8",
    "inner": "#dfe4e8",
    "lower_outer": "#c9d1d8",
    "upper_outer": "#c9d1d8",
    "adhesive": "#d98a32",
}

LEAST_LIMIT = 1e-12  # MPa: a joint without stress has colours too
LEAST_STRAIN = 1e-4  # plastic strain: less is next to none
SHARE = 0.99  # of the area shown that has its colour when there is no mid-line to go by

# OKLab (lightness, green-red, blue-yellow) to cone responses, and their cubes to linear sRGB, as published:
# B. Ottosson, A perceptual color space for image processing, 2020.
OKLAB_TO_LMS = np.array(
    [
        [1.0, 0.3963377774, 0.2158037573],
        [1.0, -0.1055613458, -0.0638541728],
        [1.0, -0.0894841775, -1.2914855480],
    ]
)
LMS_TO_RGB = np.array(
    [
        [4.0767416621, -3.3077115913, 0.2309699292],
        [-1.2684380046, 2.6097574011, -0.3413193965],
        [-0.0041960863, -0.7034186147, 1.7076147010],
    ]
)


# ---- where the colours end -----------------------------------------------


def colour_limit(section: SolvedSection, name: str, cells: Bools, adhesive_alone: bool) -> tuple[float, str]:
    """Return the stress at which the colours end, clear of the singular corners, and what it is.

    Parameters
    ----------
    section : SolvedSection
    name : str
        One of `fejoint.show.space.solid.STRESSES`.
    cells : (cells,) mask
        Which cells of the section are shown.
    adhesive_alone : bool
        Whether only the adhesive is coloured.

    Returns
    -------
    (float, str)
        MPa, positive; and where it comes from, in words for the picture.
    """
    value = np.abs(section.stress[name])
    lines = section.mid_lines()
    if name == "plastic-strain":
        return _strain_limit(section, value, lines, cells)
    if any(len(nodes) > 2 for nodes in lines) and (name in ("shear", "peel") or adhesive_alone):
        within = " within the overlap" if section.joint.geometry.fillet_height > 0 else ""
        return max(_largest(section, name, lines), LEAST_LIMIT), f"the largest on the layer's mid-line{within}"
    coloured = section.cells[cells & section.cells_of("adhesive") if adhesive_alone else cells]
    mean, area = value[coloured].mean(axis=1), _areas(section.points[coloured[:, :4]])
    order = np.argsort(mean)
    share = np.cumsum(area[order]) / area.sum()
    limit = float(mean[order][np.searchsorted(share, SHARE)])
    return max(limit, LEAST_LIMIT), f"what {100 * SHARE:g} % of the area shown stays within"


def _strain_limit(section: SolvedSection, value: Floats, lines: list[Ints], cells: Bools) -> tuple[float, str]:
    """Return the plastic strain at which the colours end: that of the mid-lines or, where it is larger, of adherends."""
    largest = _largest(section, "plastic-strain", lines) if any(len(nodes) > 2 for nodes in lines) else 0.0
    coloured = section.cells[cells & ~section.cells_of("adhesive")]
    mean, area = value[coloured].mean(axis=1), _areas(section.points[coloured[:, :4]])
    flowed = mean > LEAST_STRAIN
    if flowed.any():
        order = np.argsort(mean[flowed])
        share = np.cumsum(area[flowed][order]) / area[flowed].sum()
        limit = float(mean[flowed][order][np.searchsorted(share, SHARE)])
        if limit > largest:
            return limit, f"what {100 * SHARE:g} % of the adherends' yielded area stays within"
    return max(
        largest, LEAST_STRAIN
    ), "the largest on the layer's mid-line" if largest > LEAST_STRAIN else "next to nothing has yielded"


def _largest(section: SolvedSection, name: str, lines: list[Ints]) -> float:
    """Return the largest magnitude on lines of nodes, between nodes too, as the bondline's peaks are taken."""
    largest = 0.0
    for nodes in lines:
        if len(nodes) == 0:  # between flaws too near to one another
            continue
        value = section.stress[name][nodes]
        curve = Curve(section.points[nodes, 0], value, value, value)
        largest = max(largest, abs(curve.largest("shear").value))
    return largest


def _areas(corners: Floats) -> Floats:
    """Return the areas of quadrilaterals (n, 4, 2), by their diagonals."""
    (ax, ay), (bx, by) = (corners[:, 2] - corners[:, 0]).T, (corners[:, 3] - corners[:, 1]).T
    return np.asarray(np.abs(ax * by - ay * bx) / 2)


# ---- maps ----------------------------------------------------------------


def lookup_table(signed: bool, limit: float) -> pv.LookupTable:
    """Return colours from -limit to limit (signed) or 0 to limit, MPa."""
    import pyvista

    colours = diverging() if signed else sequential()
    table = pyvista.LookupTable(values=np.column_stack([colours, np.full(len(colours), 255)]).astype(np.uint8))
    table.scalar_range = (-limit if signed else 0.0, limit)
    return table


def diverging(n: int = 257) -> Ints:
    """Return blue over near-white to red, (n, 3) of 0 to 255: even steps of lightness and colour to both sides of the middle."""
    t = np.linspace(-1.0, 1.0, n)[:, None]
    middle, blue, red = np.array([[0.95, 0.0, 0.0], [0.40, -0.03, -0.165], [0.40, 0.14, 0.07]])  # OKLab
    return _srgb(middle + np.where(t < 0, -t * (blue - middle), t * (red - middle)))


def sequential(n: int = 256) -> Ints:
    """Return dark violet over teal to light yellow, (n, 3) of 0 to 255: equal distances between all neighbours."""
    s = np.linspace(0.0, 1.0, 2001)
    hue, chroma = np.radians(300.0 - 195.0 * s), 0.08 + 0.065 * s * s
    path = np.column_stack([0.22 + 0.72 * s, chroma * np.cos(hue), chroma * np.sin(hue)])
    steps = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
    even = np.linspace(0.0, steps[-1], n)
    return _srgb(np.column_stack([np.interp(even, steps, column) for column in path.T]))


def _srgb(oklab: Floats) -> Ints:
    """Return OKLab colours (n, 3) as sRGB, 0 to 255."""
    linear = np.clip((oklab @ OKLAB_TO_LMS.T) ** 3 @ LMS_TO_RGB.T, 0.0, 1.0)
    gamma = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * gamma), dtype=np.int64)
