"""The base of all tables of a site file, and the plain types they share."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Days = Annotated[float, Field(ge=-3650, le=36500)]
Name = Annotated[str, Field(min_length=1, max_length=80)]
Point = tuple[float, float]


class Table(BaseModel):
    """Base of all tables: immutable, unknown keys refused, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
