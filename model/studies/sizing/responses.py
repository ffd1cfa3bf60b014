"""How the rows answer to the flows: one solve a well, then learnt from every step taken."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.model.studies.sizing.programme import StageProgramme
from wellring.model.studies.sizing.rows import Candidate, Rows, well_capacity

Floats = NDArray[np.float64]

CHANGE = 0.3
"""Part of a well's flow (or of the mean) that it is changed by to see the response."""


@dataclass
class SolvedPoint:
    """A solved point: what each candidate gave (S, C) [m³/s], and the rows of each stage."""

    flows: Floats
    rows: list[Floats]


@dataclass
class Responses:
    """Jacobians (m, k) of every stage's rows [1/(m³/s)]."""

    jacobians: list[Floats]

    @classmethod
    def seen(cls, rows: Rows, start: SolvedPoint, others: Sequence[SolvedPoint]) -> Responses:
        """From the point `start` and one point for each candidate whose flow was changed.

        The flows of the other wells change a little too where a limit of theirs governs: the
        changes of rows are those of all flows, solved for as one system.
        """
        found: list[Floats] = []
        for s, stage in enumerate(rows.stages):
            flows = np.array([point.flows[s, stage.wells] for point in others])
            change = flows - start.flows[s, stage.wells]
            moved = np.array([point.rows[s] for point in others]) - start.rows[s]
            dead = ~np.isfinite(moved)
            if change.size == 0:
                found.append(np.zeros((start.rows[s].size, len(stage.wells))))
                continue
            solved: Any = np.linalg.lstsq(change, np.where(dead, 0.0, moved), rcond=1e-6)[0]
            answer: Floats = np.array(solved.T)
            own = rows.limit_rows(s)
            answer[own & dead.any(axis=0)] = np.nan
            found.append(answer)
        return cls(found)

    def learn(self, rows: Rows, before: SolvedPoint, after: SolvedPoint) -> None:
        """Broyden's (1965) update: the step from one point to the other is answered as seen."""
        for s, stage in enumerate(rows.stages):
            step = after.flows[s, stage.wells] - before.flows[s, stage.wells]
            size = float(step @ step)
            if size < 1e-18:
                continue
            miss = after.rows[s] - before.rows[s] - self.jacobians[s] @ step
            self.jacobians[s] += np.nan_to_num(miss)[:, None] * step[None, :] / size

    def copy(self) -> Responses:
        """One that learns on its own."""
        return Responses([item.copy() for item in self.jacobians])


def expected(rows: Rows, before: SolvedPoint, seen: Responses, flows: Floats) -> list[Floats]:
    """The rows of every stage that the responses expect of flows (S, C) [m³/s]."""
    return [
        before.rows[s] + seen.jacobians[s] @ (flows[s, stage.wells] - before.flows[s, stage.wells])
        for s, stage in enumerate(rows.stages)
    ]


def filled(rows: Rows, point: SolvedPoint, before: SolvedPoint, seen: Responses) -> SolvedPoint:
    """The point with rows that it does not tell (idle wells' levels) as the responses expect."""
    hoped = expected(rows, before, seen, point.flows)
    made = [
        np.where(np.isnan(told), told_before, told)
        for told, told_before in zip(point.rows, hoped, strict=True)
    ]
    return SolvedPoint(point.flows, made)


def about(
    rows: Rows, point: SolvedPoint, seen: Responses, extra: Mapping[int, float] | None = None
) -> list[StageProgramme]:
    """The programme's stages about a solved point: the limits, and what each well can give.

    A well's most is a straight line through its limit at the level it has there.

    Parameters
    ----------
    extra : what limits are kept tighter by.
    """
    found = []
    for s, stage in enumerate(rows.stages):
        k = len(stage.wells)
        jacobian, values = seen.jacobians[s], point.rows[s]
        tighter = np.zeros(values.size)
        for limit, more_of_it in (extra or {}).items():
            tighter[stage.limit == limit] = more_of_it
        levels = stage.levels(values)
        at = point.flows[s, stage.wells]
        more = np.zeros((k, k))
        room = np.zeros(k)
        for j, well in enumerate(stage.wells):
            most, grows = well_capacity(rows.candidates[well].point, float(levels[j]))
            # The level falls as its row grows, by the slope of the potential there.
            slope = float(stage.well_potential.slope(levels)[j])
            more[j] = grows / slope * jacobian[values.size - k + j]
            more[j, j] += 1.0
            room[j] = at[j] - most
        found.append(
            StageProgramme(
                stage.wells,
                at,
                np.concatenate([values + tighter, room]),
                np.vstack([jacobian, more]),
                np.concatenate([stage.limit, np.full(k, -1)]),
                np.array([bound(rows.candidates[i]) for i in stage.wells]),
            )
        )
    return found


def bound(candidate: Candidate) -> float:
    """The most a well could give with its whole screen under water [m³/s]."""
    most = well_capacity(candidate.point, candidate.point.screen[1])[0]
    return most if np.isfinite(most) else 2.0
