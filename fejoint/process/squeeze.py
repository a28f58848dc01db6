"""How a glue line thins under clamp pressure, and how much adhesive an area takes."""

from __future__ import annotations

from fejoint.joint.model import Model

__all__ = ["SqueezeOut"]


class SqueezeOut(Model):
    """How a glue line thins under clamp pressure, and how much adhesive an area takes."""
