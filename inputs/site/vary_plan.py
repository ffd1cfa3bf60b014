"""[vary]: which values of a site are uncertain, how, and how many cases are to be looked at."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, model_validator

from wellring.inputs.basics.table import Misfit, Table, Text, Texts
from wellring.inputs.basics.units import to_si


def number(expected: str, low: float, high: float, whole: bool = False) -> BeforeValidator:
    """A reader of a plain number within bounds."""

    def read(value: Any) -> Any:
        kinds = int if whole else (int, float)
        good = isinstance(value, kinds) and not isinstance(value, bool)
        if not good or not low <= value <= high:
            raise Misfit(expected)
        return value

    return BeforeValidator(read)


def pair(value: Any) -> tuple[Any, Any]:
    """Two values [low, high] as they are written."""
    if not isinstance(value, list | tuple) or len(value) != 2:
        raise Misfit("two values [low, high]")
    return value[0], value[1]


def factors(value: Any) -> tuple[float, float]:
    """Two factors [low, high] above 0."""
    low, high = pair(value)
    for item in (low, high):
        if not isinstance(item, int | float) or isinstance(item, bool) or not 0 < item < 1e12:
            raise Misfit("two factors above 0, such as [0.3, 3.0]")
    if low >= high:
        raise Misfit("factors [low, high] with low below high", "Turn them around.")
    return float(low), float(high)


def _limits(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise Misfit('limits by answer, such as { "02-final.inflow_total" = "60 m3/h" }')
    return value


def _depths(value: Any) -> dict[str, float]:
    if not isinstance(value, dict) or not set(value) <= {"drawdown", "settlement"}:
        raise Misfit('a table such as { drawdown = "0.5 m", settlement = "20 mm" }')
    found = {}
    for name, item in value.items():
        try:
            found[name] = to_si(item, "m")
        except (ValueError, TypeError):
            raise Misfit('a depth such as "20 mm"', key=name, value=item) from None
    return found


class StudyParameter(Table):
    """One value of a site by its path, or several that go up and down together."""

    path: Text
    together: Texts = ()
    factor: Annotated[tuple[float, float], BeforeValidator(factors)] | None = None
    range: Annotated[tuple[Any, Any], BeforeValidator(pair)] | None = None
    spread: Annotated[float, number("a factor from 1.01 to 1000", 1.01, 1000.0)] | None = None
    deviation: Any = None


class VaryParameter(StudyParameter):
    """[[vary.parameters]]: one uncertain value, or several that go up and down together.

    Exactly one of: `factor` [low, high] on the file's value, each ratio as likely as another;
    `range` [low, high], evenly likely; `spread`, log-normal about the file's value, which a
    standard deviation multiplies or divides by it; `deviation`, normal about the file's value.
    """

    @model_validator(mode="after")
    def _one_kind(self) -> VaryParameter:
        self.require_one("factor", "range", "spread", "deviation")
        if self.together and (self.factor is None and self.spread is None):
            raise Misfit("factor or spread beside together", "Only factors move several alike.")
        return self


class Correlation(Table):
    """[[vary.correlations]]: rank correlation (Spearman's) of two parameters."""

    of: Texts
    rank: Annotated[float, number("a rank correlation from -0.99 to 0.99", -0.99, 0.99)]


class VaryPlan(Table):
    """[vary]: parameters, how cases are drawn, and limits to be judged beside those of the site."""

    design: Literal["one at a time", "latin hypercube", "sobol", "random", "indices"] = (
        "latin hypercube"
    )
    runs: Annotated[int, number("a whole number from 2 to 100000", 2, 100000, True)] = 64
    seed: Annotated[int, number("a whole number from 0", 0, 2**31, True)] = 1
    scheme: Text | None = None
    parameters: Annotated[tuple[VaryParameter, ...], Field(min_length=1)]
    correlations: tuple[Correlation, ...] = ()
    limits: Annotated[dict[str, Any], BeforeValidator(_limits)] = Field(default={})
    """Answer → the most it may be."""
    beyond: Annotated[dict[str, float], BeforeValidator(_depths)] = Field(
        default={"drawdown": 0.5, "settlement": 0.02}
    )
    """Drawdown and settlement [m] whose chance of being exceeded is mapped."""
