"""The command: Reduce coupon tests: strengths, toughness, failure patterns, statistics."""

from __future__ import annotations

from fejoint.cli.terminal import JointFile
from fejoint.errors import JointError

__all__ = ["coupons"]


def coupons(file: JointFile) -> int:
    """Reduce coupon tests: strengths, toughness, failure patterns, statistics."""
    raise JointError(f"{file}: not built yet.")
