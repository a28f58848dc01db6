"""Times in words: seconds as people read them off a clock or a calendar."""

from __future__ import annotations

import math

__all__ = ["duration"]

UNITS = ((86400.0, "d"), (3600.0, "h"), (60.0, "min"), (1.0, "s"))


def duration(seconds: float) -> str:
    """Return a time as text of two units at most, such as ``2 h 30 min``; below ten seconds to two digits."""
    if not math.isfinite(seconds):
        return "never"
    if seconds < 10:
        return f"{seconds:.2g} s"
    if seconds < 59.5:
        return f"{seconds:.0f} s"
    place = next(i for i, (size, _) in enumerate(UNITS) if seconds >= size * (1 - 0.5 / 60 if size > 60 else 0.99))
    size, name = UNITS[place]
    small, small_name = UNITS[place + 1]
    whole, rest = divmod(round(seconds / small), round(size / small))
    if whole >= 100:
        return f"{whole} {name}"
    return f"{whole} {name}" + (f" {rest} {small_name}" if rest else "")
