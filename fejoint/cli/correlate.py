"""The commands: Hold a coupon test against its prediction, and name what may explain the difference."""

from __future__ import annotations

from fejoint.cli.terminal import JointFile
from fejoint.errors import JointError

__all__ = ["correlate", "identify"]


def correlate(file: JointFile) -> int:
    """Hold a coupon test against its prediction, and name what may explain the difference."""
    raise JointError(f"{file}: not built yet.")


def identify(file: JointFile) -> int:
    """Find adhesive figures from coupon tests, with their intervals."""
    raise JointError(f"{file}: not built yet.")
