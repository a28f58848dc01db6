"""The command: Write the job card of a joint: steps, amounts, checks, boxes to sign."""

from __future__ import annotations

from fejoint.cli.terminal import JointFile
from fejoint.errors import JointError

__all__ = ["job_card"]


def job_card(file: JointFile) -> int:
    """Write the job card of a joint: steps, amounts, checks, boxes to sign."""
    raise JointError(f"{file}: not built yet.")
