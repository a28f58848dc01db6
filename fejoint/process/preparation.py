"""How a surface is prepared: routes of steps, their checks, hazards and waits."""

from __future__ import annotations

from fejoint.joint.model import Model

__all__ = ["Preparation"]


class Preparation(Model):
    """How a surface is prepared: routes of steps, their checks, hazards and waits."""
