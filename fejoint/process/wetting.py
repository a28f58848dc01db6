"""Whether an adhesive wets a surface: contact angles, surface energies, work of adhesion."""

from __future__ import annotations

from fejoint.joint.model import Model

__all__ = ["Wetting"]


class Wetting(Model):
    """Whether an adhesive wets a surface: contact angles, surface energies, work of adhesion."""
