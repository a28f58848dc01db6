"""The files of a coupon test: data, table, figures and report, all or none."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fejoint.coupon.outcome import ReducedTest
from fejoint.show.coupons.reduction_data import coupons_csv, coupons_data, looked
from fejoint.show.coupons.reduction_page import coupons_figures, coupons_page
from fejoint.show.files import write_files, write_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["write_coupons"]


def write_coupons(found: ReducedTest, folder: str | Path, units: str = "mm") -> list[Path]:
    """Write ``coupons.json``, ``coupons.csv``, ``report.html``, ``coupons.png``, and pictures of patterns and statistics.

    Parameters
    ----------
    found : ReducedTest
    folder : path
        Made if it is not there.
    units : str
        Display system of figures and report; json and csv are N, mm, MPa, s.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    SetupError
        matplotlib or jinja2 is not installed, or the folder cannot be written; nothing new is left behind.
    """
    statistics = looked(found, units)
    figures = coupons_figures(found, statistics, units)
    texts = {
        "coupons.json": json.dumps(coupons_data(found, looked(found)), indent=2, allow_nan=False) + "\n",
        "coupons.csv": coupons_csv(found),
        "report.html": coupons_page(found, statistics, figures, units),
    }

    def text_of(text: str) -> Callable[[Path], Any]:
        return lambda path: write_text(path, text)

    def picture_of(figure: Figure) -> Callable[[Path], Any]:
        return lambda path: figure.savefig(path, format="png")

    writers = {name: text_of(text) for name, text in texts.items()}
    return write_files(folder, writers | {name: picture_of(figure) for name, figure in figures.items()})
