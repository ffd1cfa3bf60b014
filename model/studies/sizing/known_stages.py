"""What the solves have shown of each stage: where to plan about, what holds, what was missed.

Steady stages are models of their own: the flows of one change nothing in another. So each stage is
planned about its own best point, and the least flows found to hold in a stage stay known whatever
the other stages did in that solve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wellring.model.studies.sizing.programme import Planned
from wellring.model.studies.sizing.responses import Responses, SolvedPoint
from wellring.model.studies.sizing.rows import Rows

Floats = NDArray[np.float64]

DEAR = 4.0
"""How many times the flow that would mend it a passed limit counts, against flow saved."""
MOST_EXTRA = 0.1
"""The most [m of potential, share] that a limit of the dig is tightened by."""
LEAST_EXTRA = {"dry": 1e-3, "stability": 1e-4}
"""Below this it is let go: a fifth of the reserves that the limits of the dig are kept by."""
INSIDE = 0.9
"""Part of the way to a point that misses, of what the straight line between two solves allows."""


@dataclass(frozen=True)
class Known:
    """Flows (C,) [m³/s] of a stage that keep the dig's limits, with their rows.

    `passed` is by how much they pass all others (:meth:`Rows.stage_passed`).
    """

    flows: Floats
    rows: Floats
    passed: float

    @property
    def rank(self) -> tuple[float, float]:
        """The less the better."""
        return round(self.passed, 3), float(self.flows.sum())


@dataclass
class KnownStages:
    """What is known of every stage.

    Parameters
    ----------
    at : the point that each stage is planned about, flows (S, C) [m³/s] and rows.
    least : by stage the flows that pass the neighbours' limits least, and of those the least
        flows; None where none keep the dig's limits.
    extra : by limit what the programme keeps it tighter by, since its last steps missed it.
    """

    rows: Rows
    at: SolvedPoint
    least: list[Known | None] = field(default_factory=list)
    extra: dict[int, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.least = self.least or [None] * len(self.rows.stages)

    @property
    def missed(self) -> bool:
        """Whether a limit is kept tighter, since it was missed of late."""
        return bool(self.extra)

    def note(self, point: SolvedPoint, passed: Sequence[float | None]) -> None:
        """Keep the flows of stages where they are the best so far.

        Parameters
        ----------
        passed : by stage (:meth:`Rows.stage_passed`); None where the dig's limits do not hold.
        """
        for s, over in enumerate(passed):
            if over is None:
                continue
            known, new = self.least[s], Known(point.flows[s].copy(), point.rows[s].copy(), over)
            if known is None or new.rank < known.rank:
                self.least[s] = new

    def move(self, after: SolvedPoint, seen: Responses, always: bool) -> None:
        """Plan about `after` from here on, in the stages where it is the better point.

        Flow that is saved is weighed against the flow that would mend what is passed.

        Parameters
        ----------
        always : in all stages, better or not.
        """
        flows, rows = self.at.flows.copy(), list(self.at.rows)
        for s in range(len(rows)):
            if always or self._merit(s, after, seen) <= self._merit(s, self.at, seen):
                flows[s], rows[s] = after.flows[s], after.rows[s]
        self.at = SolvedPoint(flows, rows)

    def _merit(self, s: int, point: SolvedPoint, seen: Responses) -> float:
        own = self.rows.limit_rows(s)
        values = np.nan_to_num(point.rows[s][own], nan=-1.0)
        strength = np.abs(seen.jacobians[s][own]).max(axis=1, initial=0.0)
        mend = np.maximum(values, 0.0) / np.maximum(np.nan_to_num(strength), 1e-9)
        limit = self.rows.stages[s].limit[own]
        passed = sum(float(mend[limit == i].max()) for i in np.unique(limit[mend > 0]))
        return float(point.flows[s].sum()) + DEAR * passed

    def tighten(self, planned: Planned, excess: dict[int, float]) -> None:
        """Keep limits of the dig tighter by what the last step missed them by; less if it did not.

        Parameters
        ----------
        excess : by how much the true model passes each limit.
        """
        found = {}
        for i, limit in enumerate(self.rows.limits):
            if not limit.of_dig:
                continue
            miss = max(excess.get(i, 0.0) - planned.excess.get(i, 0.0), 0.0)
            extra = min(0.5 * (self.extra.get(i, 0.0) + miss), MOST_EXTRA)
            if extra > LEAST_EXTRA[limit.kind]:
                found[i] = extra
        self.extra = found

    def merged(self, planned: Planned, worth: float) -> Floats:
        """Flows (S, C): planned ones, but known ones where the plan promises no more than that.

        Parameters
        ----------
        worth : part of the flow that a stage's plan must save.
        """
        flows = planned.flows.copy()
        for s, known in enumerate(self.least):
            if known is None or known.passed > 0:
                continue
            if flows[s].sum() > known.flows.sum() * (1.0 - worth):
                flows[s] = known.flows
        return flows

    @property
    def all_hold(self) -> Floats | None:
        """The least flows (S, C) known to hold, stage by stage; None where a stage has none."""
        if any(known is None or known.passed > 0 for known in self.least):
            return None
        return self.all_dry

    @property
    def all_dry(self) -> Floats | None:
        """As `all_hold`, with the limits of neighbours passed where none are known that keep them.

        Those are flows that pass them least.
        """
        if any(known is None for known in self.least):
            return None
        return np.array([known.flows for known in self.least if known is not None])

    def between(self) -> Floats | None:
        """Flows (S, C) between those that hold and the points planned about, which miss a little.

        Two solves bound them: the rows are taken as straight from the one to the other, which the
        discharge potential nearly is.
        """
        flows = self.all_hold
        if flows is None:
            return None
        for s, known in enumerate(self.least):
            assert known is not None
            if self.at.flows[s].sum() >= known.flows.sum():
                continue
            own = self.rows.limit_rows(s)
            low, high = known.rows[own], self.at.rows[s][own]
            with np.errstate(invalid="ignore", divide="ignore"):
                part = np.where(high > 0, np.maximum(-low, 0.0) / (high - low), 1.0)
            least = float(np.nanmin(part, initial=1.0))
            flows[s] += (least if least == 1.0 else INSIDE * least) * (self.at.flows[s] - flows[s])
        return flows
