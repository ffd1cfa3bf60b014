"""[match]: values that are fitted to measurements, their bounds, and what is foretold then."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from wellring.inputs.basics.table import Misfit, Table, Text
from wellring.inputs.site.vary_plan import StudyParameter, number

WIDE = (0.1, 10.0)
"""Bounds on the file's value where none are given: k is known within a factor of ten."""


class MatchParameter(StudyParameter):
    """[[match.parameters]]: one value to be fitted, or several that go up and down together.

    Bounds: `factor` [low, high] on the file's value, or `range` [low, high]. What was known before
    may join the fit: `spread`, log-normal about the file's value, which one standard deviation
    multiplies or divides by it; `deviation` of a level, normal about the file's value.
    """

    @model_validator(mode="after")
    def _fits(self) -> MatchParameter:
        if self.factor is not None and self.range is not None:
            raise Misfit("factor or range, not both", "Both say how far the value may go.", "range")
        if self.spread is not None and self.deviation is not None:
            raise Misfit("spread or deviation, not both", "Both say what was known.", "deviation")
        return self


class MatchPlan(Table):
    """[match]: the measurements, what is fitted to them, and what is foretold from the fit."""

    observations: Text
    """A CSV of measurements, beside the file that names it."""
    scheme: Text | None = None
    """The scheme that was at work when they were made; the first where left out."""
    predict: Text | None = None
    """The scheme that is foretold; the same where left out."""
    parameters: Annotated[tuple[MatchParameter, ...], Field(min_length=1)]
    cases: Annotated[int, number("a whole number from 0 to 10000", 0, 10_000, True)] = 32
    """Cases drawn before, and again after the fit, to foretell answers; 0 leaves that out."""
    seed: Annotated[int, number("a whole number from 0", 0, 2**31, True)] = 1
