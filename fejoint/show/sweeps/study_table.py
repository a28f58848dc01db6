"""A sweep's table as a notebook shows it. Needs pandas when imported."""

from __future__ import annotations

from typing import Any

import pandas as pd

__all__ = ["StudyTable"]


class StudyTable(pd.DataFrame):  # type: ignore[misc]
    """A pandas DataFrame that says in a notebook how its cases ended; what is made of it is a plain one."""

    @property
    def _constructor(self) -> Any:
        return pd.DataFrame

    def _repr_html_(self) -> str | None:
        from fejoint.errors import SetupError

        shown: str | None = super()._repr_html_()
        try:
            from fejoint.show.report.notebook import table_html

            return shown if shown is None else table_html(self, shown)
        except SetupError:
            return shown
