"""The commands: Say what numbers of like coupons allow: mean, scatter, outliers, A- and B-basis."""

from __future__ import annotations

from fejoint.cli.terminal import JointFile
from fejoint.errors import JointError

__all__ = ["ageing", "statistics"]


def statistics(file: JointFile) -> int:
    """Say what numbers of like coupons allow: mean, scatter, outliers, A- and B-basis."""
    raise JointError(f"{file}: not built yet.")


def ageing(file: JointFile) -> int:
    """Fit strength against time and temperature, and predict it with its interval."""
    raise JointError(f"{file}: not built yet.")
