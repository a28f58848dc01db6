"""The command: Say how large a flaw may stay: capacity against its length and place."""

from __future__ import annotations

from fejoint.cli.terminal import JointFile
from fejoint.errors import JointError

__all__ = ["flaws"]


def flaws(file: JointFile) -> int:
    """Say how large a flaw may stay: capacity against its length and place."""
    raise JointError(f"{file}: not built yet.")
