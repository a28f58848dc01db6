"""The bonding process as its user states it: the ``[process]`` table of a joint file, which the joint itself does not need."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Self

from pydantic import Field, ValidationError, model_validator

from fejoint.errors import JointError
from fejoint.joint.model import Model, as_joint_error, refuse
from fejoint.process.cure import Cure
from fejoint.process.job import Job
from fejoint.process.preparation import Preparation
from fejoint.process.squeeze import SqueezeOut
from fejoint.process.wetting import Wetting

__all__ = ["Process", "process_of", "process_schema"]


class Process(Model):
    """How a joint is bonded; every part may be left out."""

    wetting: Wetting | None = Field(None)
    """Whether the adhesive wets the surface"""
    preparation: Preparation | None = Field(None)
    """How the surfaces are prepared"""
    squeeze_out: SqueezeOut | None = Field(None)
    """How the glue line thins under the clamps"""
    cure: Cure | None = Field(None)
    """How the adhesive cures, and when the joint may be handled"""
    job: Job | None = Field(None)
    """What the job card is told beside: number, adhesive as bought, mixing, clamping"""

    @model_validator(mode="after")
    def _one_water_break_test(self) -> Self:
        film = None if self.wetting is None else self.wetting.water_film_whole
        stated = None if self.preparation is None else self.preparation.water_break
        if film is not None and stated is not None and film != stated:
            why = f"contradicts wetting.water_film_whole = {str(film).lower()}: it is the same test (ASTM F22); state it once"
            refuse("preparation.water_break", stated, why)
        return self


class _InFile(Model):
    """What errors call the process: its keys are dotted from the file's top."""

    process: Process


def process_of(document: Mapping[str, Any], place: str = "joint file") -> Process | None:
    """Return the process that the dict of a joint file describes; None where it has no ``[process]``.

    Raises
    ------
    JointError
        A value is refused.
    """
    if "process" not in document:
        return None
    try:
        return _InFile.model_validate({"process": document["process"]}).process
    except ValidationError as error:
        raise JointError(f"{place}: {as_joint_error(error, _InFile)}") from None


def process_schema() -> dict[str, Any]:
    """Return the JSON schema of the ``[process]`` table."""
    return Process.model_json_schema(by_alias=True)
