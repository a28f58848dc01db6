"""The command: Check a bonding process: wetting, squeeze-out, cure, preparation."""

from __future__ import annotations

from fejoint.cli.terminal import JointFile
from fejoint.errors import JointError

__all__ = ["process"]


def process(file: JointFile) -> int:
    """Check a bonding process: wetting, squeeze-out, cure, preparation."""
    raise JointError(f"{file}: not built yet.")
