"""Degree of cure and strength against time, for any history of temperature."""

from __future__ import annotations

from fejoint.joint.model import Model

__all__ = ["Cure"]


class Cure(Model):
    """Degree of cure and strength against time, for any history of temperature."""
