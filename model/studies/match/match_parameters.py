"""Parameters of a fit: how they are transformed, how far they may go, what was known of them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.site.match_plan import WIDE, MatchParameter, MatchPlan
from wellring.inputs.site.overrides import Keys, find_path, value_at
from wellring.model.studies.base_case import BaseCase
from wellring.model.studies.vary.designs import Uncertain, in_si, is_number, moved_together

Floats = NDArray[np.float64]

LOG_STEP = 0.05
"""Step of differences in the natural logarithm: 5 %, far above the solver's closure."""
LEVEL_STEP = 0.02
"""Step of differences of levels, as a part of their range."""
INTERVAL_95 = 1.96
_LEVELS = re.compile(r"water\.levels?(\..*)?|.*\.(stage|head|level|hold|toe|bed|formation|top)")
"""Paths whose values are levels: fitted as they are, not by their logarithm."""


@dataclass(frozen=True, kw_only=True)
class Fitted(Uncertain):
    """One parameter of a fit; `quantile` is that of what was known before.

    Parameters
    ----------
    start : the value the fit begins with [SI].
    low, high : bounds on the value [SI].
    log : whether its logarithm is fitted.
    known : standard deviation of what was known, of the transformed value.
    joins : whether that joins the fit as one more measurement.
    """

    start: float
    low: float
    high: float
    log: bool
    known: float
    joins: bool

    def to_x(self, value: float) -> float:
        """The transformed value."""
        return float(np.log(value)) if self.log else float(value)

    def to_value(self, x: float) -> float:
        """The value [SI], rounded so that a case's name does not hang on the last digits."""
        return float(f"{np.exp(x) if self.log else x:.9g}")

    @property
    def step(self) -> float:
        """Step of differences of the transformed value."""
        return LOG_STEP if self.log else LEVEL_STEP * (self.high - self.low)


def transformed(parameters: Sequence[Fitted], which: str) -> Floats:
    """One attribute ("start", "low", "high") of all parameters (p,), transformed."""
    return np.array([item.to_x(getattr(item, which)) for item in parameters])


def values_at(parameters: Sequence[Fitted], x: Floats) -> Floats:
    """Values [SI] (p,) of transformed parameters (p,)."""
    return np.array([item.to_value(float(one)) for item, one in zip(parameters, x, strict=True)])


def read_fitted(plan: MatchPlan, base: BaseCase, file: str, faults: FaultLog) -> list[Fitted]:
    """The parameters of a plan in SI.

    Parameters
    ----------
    file : the file the plan stands in.

    Raises
    ------
    InputFaults : a path that is not there, bounds upside down, a file's value beyond them; all
        are told.
    """
    found = []
    seen: set[str] = set()
    for index, item in enumerate(plan.parameters):
        place = f"match.parameters.{index}"
        for path in (item.path, *item.together):
            if path in seen:
                faults.add(file, place, path, "each path in one parameter only")
            seen.add(path)
        made = _Reader(item, place, base, file, faults).fitted()
        if made is not None:
            found.append(made)
    faults.raise_if_any()
    return found


class _Reader:
    def __init__(
        self, item: MatchParameter, place: str, base: BaseCase, file: str, faults: FaultLog
    ):
        self.item, self.place, self.base, self.faults = item, place, base, faults
        self.file = file
        self.log = _LEVELS.fullmatch(item.path) is None

    def _fault(self, key: str, value: object, expected: str, remedy: str = "") -> None:
        self.faults.add(self.file, f"{self.place}.{key}", value, expected, remedy)

    def fitted(self) -> Fitted | None:
        """The parameter, or None with faults."""
        item, site = self.item, self.base.site.description
        keys = find_path(item.path, site, self.file, f"{self.place}.path", self.faults)
        if keys is None:
            return None
        value: Any = value_at(site, keys)
        value = float(value) if is_number(value) else None
        others = moved_together(item.together, self.place, self.base, self.faults)
        if others and (not self.log or value is None):
            self._fault("together", list(item.together), "none beside a level or without a value")
        bounds = self._bounds(value, keys)
        if bounds is None:
            return None
        low, high = bounds
        start = value if value is not None else float(np.sqrt(low * high))
        if not low < start < high:
            self._fault("range" if item.range else "factor", list(item.range or item.factor or ()),
                        f"bounds about the file's value ({start:.4g})")  # fmt: skip
            return None
        known = self._known(bounds, keys)
        if known is None:
            return None
        joins = item.spread is not None or item.deviation is not None
        text = f"from {low:.4g} to {high:.4g}"
        if joins:
            told = f"to a factor {np.exp(known):.3g}" if self.log else f"± {known:.3g}"
            text += f", known {told} about {start:.4g}"
        return Fitted(
            path=item.path, quantile=_prior(self.log, start, known, low, high), base=start,
            others=others, text=text, start=start, low=low, high=high, log=self.log, known=known,
            joins=joins,
        )  # fmt: skip

    def _bounds(self, value: float | None, keys: Keys) -> tuple[float, float] | None:
        item = self.item
        if item.range is not None:
            ends = [
                in_si(self.base, keys, end, f"{self.place}.range", self.faults)
                for end in item.range
            ]
            low, high = ends
            if low is None or high is None:
                return None
            if low >= high or (self.log and low <= 0):
                least = "above 0 and " if self.log else ""
                self._fault("range", list(item.range), f"a low end {least}below the high end")
                return None
            return low, high
        if value is None:
            self._fault("path", item.path, "a value that stands in the site file",
                        "Write it into the file, or give range = [low, high] here.")  # fmt: skip
            return None
        if not self.log:
            remedy = "A level is fitted within a range of levels: range = [low, high]."
            self._fault("range", None, "this key, which is missing", remedy)
            return None
        low, high = item.factor or WIDE
        return value * low, value * high

    def _known(self, bounds: tuple[float, float], keys: Keys) -> float | None:
        """Standard deviation of what was known; where not told, the bounds hold 95 % of it."""
        item = self.item
        wrong = item.deviation if self.log else item.spread
        if wrong is not None:
            key, other = ("deviation", "spread") if self.log else ("spread", "deviation")
            remedy = "k and the like are known to a factor, levels to a distance."
            self._fault(key, wrong, f"{other} in its place", remedy)
            return None
        if item.spread is not None:
            return float(np.log(item.spread))
        if item.deviation is not None:
            place = f"{self.place}.deviation"
            wide = in_si(self.base, keys, item.deviation, place, self.faults)
            if wide is not None and wide <= 0:
                self._fault("deviation", item.deviation, "a deviation above 0")
                return None
            return wide
        low, high = bounds
        return float(np.log(high / low) if self.log else high - low) / (2 * INTERVAL_95)


def _prior(log: bool, start: float, known: float, low: float, high: float) -> Any:
    """Quantiles of what was known: normal of the transformed value, cut off at the bounds."""
    from scipy.stats import truncnorm

    centre = np.log(start) if log else start
    below, above = ((np.log(end) if log else end) - centre for end in (low, high))
    law = truncnorm(below / known, above / known, loc=centre, scale=known)
    return (lambda quantile: np.exp(law.ppf(quantile))) if log else law.ppf
