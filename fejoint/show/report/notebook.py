"""What a notebook shows of a joint, a solved joint or a sweep in place of their plain text."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING, Any

from fejoint.environment import require_extra
from fejoint.show.pen import shortened
from fejoint.show.report.page import LONGEST_HEADING, environment, picture
from fejoint.show.report.run_words import answers, curves_alt, section_alt

if TYPE_CHECKING:
    import pandas as pd

    from fejoint.joint.description import Joint
    from fejoint.mechanics.outcome import Outcome

__all__ = ["joint_html", "outcome_html", "table_html"]


def joint_html(joint: Joint, units: str = "mm") -> str:
    """Return a joint as a piece of HTML: its title and its section, drawn with dimensions.

    Raises
    ------
    SetupError
        matplotlib or jinja2 is not installed.
    """
    require_extra("jinja2", "report", "a joint in a notebook")
    from fejoint.show.drawing import section_figure

    return _piece(joint, picture(section_figure(joint, units), section_alt(joint, units)))


def outcome_html(outcome: Outcome, units: str = "mm") -> str:
    """Return a solved joint as a piece of HTML: warnings, what it comes to, and the stresses along the bondline.

    Raises
    ------
    SetupError
        matplotlib or jinja2 is not installed.
    """
    require_extra("jinja2", "report", "a solved joint in a notebook")
    from fejoint.show.plots import bondline_figure, main_theories

    theories = main_theories(outcome)
    drawn = picture(bondline_figure(outcome, theories, units), curves_alt(outcome, list(theories), units))
    return _piece(outcome.joint, drawn, outcome.warnings, [tuple(answer[:2]) for answer in answers(outcome, units)])


def table_html(table: pd.DataFrame, shown: str) -> str:
    """Return a sweep's table as a piece of HTML: how its cases ended, over what pandas shows of it (`shown`)."""
    if list(table.columns).count("status") != 1:
        return shown
    counts = ", ".join(f"{number} {escape(str(status))}" for status, number in table["status"].value_counts().items())
    said = f"{len(table)} case{'' if len(table) == 1 else 's'}: {counts}."
    if "feasible" in table:
        said += f" {int(table['feasible'].sum())} feasible: done, and within all limits."
    return f"<p>{said}</p>\n{shown}"


def _piece(joint: Joint, drawn: Any, warnings: Sequence[str] = (), facts: Sequence[Any] = ()) -> str:
    heading = shortened(joint.title or joint.geometry.kind, LONGEST_HEADING)
    template = environment().get_template("notebook.html")
    return template.render(heading=heading, warnings=warnings, facts=facts, picture=drawn)
