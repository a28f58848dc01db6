"""Values of any kind as text, and as a few words of an error sentence."""

from __future__ import annotations

import json
from typing import Any

__all__ = ["as_json", "line", "plain_data", "short"]


def as_json(value: Any) -> str:
    """Return any value as text: JSON where it is of a kind that JSON has."""
    try:
        return json.dumps(value, default=str, ensure_ascii=False).encode("utf-8", "backslashreplace").decode()
    except (TypeError, ValueError, RecursionError):  # keys that are none, too many digits, lists that hold themselves
        return f"a {type(value).__name__}"


def plain_data(value: Any) -> Any:
    """Return any value as JSON has it; what it cannot have, as text."""
    text = as_json(value)
    try:
        return json.loads(text, parse_constant=str)  # NaN as text
    except ValueError:
        return text


def short(value: Any) -> str:
    """Return a value as a user wrote it, or its beginning."""
    text = value if isinstance(value, str) else as_json(value)
    text = "".join(c if c.isprintable() else " " for c in text)
    return text if len(text) <= 60 else text[:57] + "..."


def line(error: Exception | str) -> str:
    """Return what another library says, on a line, or its beginning."""
    return short(" ".join(str(error).split())) or type(error).__name__
