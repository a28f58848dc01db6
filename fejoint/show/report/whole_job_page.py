"""The page that leads through the whole job: every step with its command, its pictures and its files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from fejoint.show.report.page import page, png_picture

__all__ = ["whole_job_page"]

TITLE = "From the process check to the coupon: the bonded door sill of a cable-car cabin (invented)"


class StepLike(Protocol):
    """What the page needs of a step."""

    @property
    def title(self) -> str:
        """Its heading."""

    @property
    def why(self) -> str:
        """Why it comes here."""

    @property
    def pictures(self) -> Sequence[tuple[str, str]]:
        """File and what is seen, relative to the job's folder."""

    @property
    def page(self) -> str:
        """A page that it wrote, relative to the job's folder; empty for none."""


def whole_job_page(steps: Sequence[StepLike], typed: Sequence[str], folder: Path) -> str:
    """Return the page of a job whose steps have written their files into a folder.

    Parameters
    ----------
    steps : sequence of steps
    typed : sequence of str
        Their commands' arguments, as one types them.
    folder : Path
    """
    shown = [
        {
            "title": step.title,
            "why": step.why,
            "command": f"fejoint {arguments}",
            "pictures": [png_picture(folder / name, alt, alt) for name, alt in step.pictures],
            "page": step.page,
        }
        for step, arguments in zip(steps, typed, strict=True)
    ]
    return page("whole-job.html", TITLE, {"steps": shown})
