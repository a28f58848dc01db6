"""Figures with their sources: ``key = { value = ..., source = "..." }``."""

from __future__ import annotations

from typing import Any

from pydantic import Field, model_validator

from fejoint.joint.model import Model, models_in, refuse

__all__ = ["Sourced"]

GIVEN = "given by the user"


class Sourced(Model):
    """Base of tables of figures: each may say where it comes from."""

    sources: dict[str, str] = Field(default_factory=dict)
    """Source of each figure, by its key"""

    @model_validator(mode="before")
    @classmethod
    def _split_sources(cls, data: Any) -> Any:
        """Part ``key = {value = ..., source = ...}`` into the value and its source."""
        if not isinstance(data, dict):
            return data
        values, sources = {}, dict(data.get("sources") or {})
        for key, given in data.items():
            field = cls.model_fields.get(key)
            if field is None or models_in(field.annotation) or not isinstance(given, dict):
                if key != "sources":
                    values[key] = given
            elif key != "sources":
                if set(given) != {"value", "source"}:
                    refuse(key, given, 'must be a quantity, or { value = ..., source = "..." }')
                values[key], sources[key] = given["value"], str(given["source"])
        return {**values, "sources": sources}

    def __hash__(self) -> int:  # `sources` is a dict, which has no hash of its own
        return hash((type(self), *(v for k in type(self).model_fields if k != "sources" for v in (k, getattr(self, k)))))

    def source(self, figure: str) -> str:
        """Return where a figure comes from."""
        return self.sources.get(figure, GIVEN)
