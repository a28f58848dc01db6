"""What a job card is told beside joint and process: number, adhesive as bought, mixing, clamping (``[process.job]``)."""

from __future__ import annotations

import re
from typing import Annotated, Self

from annotated_types import Len
from pydantic import BeforeValidator, Field, model_validator

from fejoint.joint.model import Model, Unit, in_order, refuse
from fejoint.process.preparation import Text

__all__ = ["Job"]

RATIO = re.compile(r"\s*(\d+(?:\.\d+)?)\s*:\s*(\d+(?:\.\d+)?)\s+by\s+(weight|mass|volume)\s*")


class Job(Model):
    """What a job card is told beside joint and process; what is left out leaves room to write on the card."""

    number: Text | None = Field(None, examples=["sill 12"])
    """Number of the job"""
    adhesive: Text | None = Field(None, examples=["two-part epoxy, as on its pack"])
    """Adhesive as on its pack; the joint's adhesive when left out"""
    batch: Text | None = Field(None, examples=["batch 4711, use by 2027-01"])
    """Batch and use-by date"""
    mix_ratio: Text | None = Field(None, examples=["100 : 40 by weight"])
    """Mix ratio by the data sheet; as "A : B by weight" or "by volume" the card tells the parts"""
    pot_life: Annotated[float, Unit("s", gt=0, le=1e9)] | None = Field(None, examples=["40 min"])
    """Pot life by the data sheet; squeeze_out.working_life when left out"""
    spacers: Text | None = Field(None, examples=["glass beads, strewn into the wet adhesive"])
    """How the bondline thickness is kept"""
    clamping: Text | None = Field(None, examples=["spring clamps every 50 mm over a caul plate"])
    """How the joint is clamped"""
    clamp_time: Annotated[float, Unit("s", gt=0, le=1e9)] | None = Field(None, examples=["12 h"])
    """How long the clamps stay; until the handling time when left out"""
    notes: Annotated[tuple[Text, ...], Len(0, 20), BeforeValidator(in_order)] = Field((), examples=[["bond the left sill first"]])
    """Anything else that is to stand on the card"""

    @model_validator(mode="after")
    def _of_two_parts(self) -> Self:
        found = RATIO.fullmatch(self.mix_ratio or "")
        if found is not None and not min(float(found[1]), float(found[2])) > 0:
            refuse("mix_ratio", self.mix_ratio, "both parts must lie above 0; leave it out where there is only one")
        return self

    def parts(self) -> tuple[float, float, str] | None:
        """Return the shares of both parts of the adhesive, and ``"mass"`` or ``"volume"``; None where the ratio is only words."""
        found = RATIO.fullmatch(self.mix_ratio or "")
        if found is None:
            return None
        one, two = float(found[1]), float(found[2])
        return one / (one + two), two / (one + two), "volume" if found[3] == "volume" else "mass"
