"""The chance that a limit fails, from a number of cases, and how many cases are enough."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Chance:
    """`failing` of `cases`; `low` and `high` bound the chance at 95 % (Clopper–Pearson, exact)."""

    failing: int
    cases: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """The share of cases that fail."""
        return self.failing / self.cases if self.cases else float("nan")

    def text(self) -> str:
        """In words."""
        return (
            f"{self.value:.0%} ({self.low:.0%} to {self.high:.0%}; {self.failing} of {self.cases})"
        )


def chance(fails: NDArray[np.bool_]) -> Chance:
    """The chance behind cases that fail or not (n,), with its 95 % interval."""
    from scipy.stats import binomtest

    n, failing = int(fails.size), int(fails.sum())
    if n == 0:
        return Chance(0, 0, 0.0, 1.0)
    interval = binomtest(failing, n).proportion_ci(0.95, method="exact")
    return Chance(failing, n, float(interval.low), float(interval.high))


def cases_needed(share: float, half_width: float = 0.05) -> int:
    """Cases after which a chance near `share` is known to ± `half_width` at 95 % (Wald)."""
    p = min(max(share, 0.02), 0.98)
    return int(np.ceil(1.96**2 * p * (1 - p) / half_width**2))
