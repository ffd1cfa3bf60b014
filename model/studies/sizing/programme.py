"""The linear programme: least pumping, fewest wells or least cost under the rows of all stages.

Solved by HiGHS through scipy's milp (Huangfu and Hall 2018, Math. Prog. Comp. 10). Rows are many
and few of them govern: those that the last answer breaks most are added until none is broken.
Where no flows keep all limits, the elastic programme lets each limit be passed by an excess and
makes the excesses least, the dig's before the neighbours'. Flows inside are in m³/h.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from wellring.model.studies.sizing.rows import Limit

Floats = NDArray[np.float64]
Goal = Literal["pumping", "wells", "cost"]

HOUR = 3600.0
EVEN = 1e-3
"""Weight of the largest flow of a stage beside the sum: of equal sums the most even is taken."""
WEIGHT = {"dry": 1e4, "stability": 1e4, "answer": 1e2, "neighbour": 1.0}
"""What an excess of 1 m, or of once the limit, weighs in the elastic programme."""
_ADDED = 40
_MOST_TURNS = 60
_CLOSE = 1e-6


@dataclass
class StageProgramme:
    """One stage's rows about a solved point.

    Parameters
    ----------
    wells : (k,) indices of candidates.
    at : (k,) flows of the point [m³/s].
    rows, jacobian : (m,), (m, k) rows g there and their change with the flows [1/(m³/s)].
    limit : (m,) the limit of each row, −1: hard.
    most : (k,) upper bounds [m³/s].
    """

    wells: list[int]
    at: Floats
    rows: Floats
    jacobian: Floats
    limit: NDArray[np.intp]
    most: Floats

    def predicted(self, flows: Floats) -> Floats:
        """Rows (m,) at other flows (k,)."""
        return np.asarray(self.rows + self.jacobian @ (flows - self.at))


@dataclass(frozen=True)
class Prices:
    """What flows and wells cost: money each.

    Parameters
    ----------
    well : (C,) once for a well. pump : (S,) for a pump that runs through a stage.
    flow : (S, C) for 1 m³/s through a stage. post : (S,) for an operator's post through a stage.
    pumps_per_post : pumps one operator minds.
    """

    well: Floats
    pump: Floats
    flow: Floats
    post: Floats
    pumps_per_post: int


@dataclass
class Programme:
    """What is asked: stages about their points, limits, goal.

    `tables` (C,) is the drainage table of each candidate; with `equal` all wells of a table give
    the same in a stage. `step` bounds each change by a share of the well's largest flow. `still` is
    what a change of flow costs, as a part of what flow itself costs: where many answers are nearly
    as good, the one close to the point that was solved is the surest.
    """

    stages: list[StageProgramme]
    limits: list[Limit]
    tables: list[int]
    goal: Goal = "pumping"
    equal: bool = False
    prices: Prices | None = None
    step: float = 1.0
    still: float = 0.0


@dataclass
class Planned:
    """Flows (S, C) [m³/s], the goal's value (m³/h, wells, money), and the excess of each limit."""

    flows: Floats
    objective: float
    excess: dict[int, float] = field(default_factory=dict)

    @property
    def feasible(self) -> bool:
        """Whether all limits hold in the programme."""
        return not self.excess


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """HiGHS prints lines of its own making in spite of all its options: not among our answers."""
    sys.stdout.flush()
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


class Infeasible(Exception):
    """Not even the elastic programme has an answer: wells' own limits contradict one another."""


def plan(programme: Programme) -> Planned:
    """The best flows under all limits; where there are none, those of the least excess.

    Raises
    ------
    Infeasible : see there.
    """
    model = _Model(programme)
    found = model.solve(None)
    if found is not None:
        return found
    excess = model.least_excess()
    found = model.solve(excess)
    if found is None:
        raise Infeasible
    found.excess = {i: t for i, t in excess.items() if t > 1e-5}
    return found


class _Model:
    """Columns: flows of stage after stage, then the largest of each stage, wells, pumps, posts."""

    def __init__(self, programme: Programme):
        self.programme = programme
        stages = programme.stages
        self.start = np.cumsum([0, *(len(stage.wells) for stage in stages)])
        count = int(self.start[-1])
        self.flows = count
        self.most = np.concatenate([s.most * HOUR for s in stages]) if stages else np.zeros(0)
        self.low = np.zeros(count)
        if programme.step < 1.0:
            at = np.concatenate([s.at for s in stages]) * HOUR
            reach = programme.step * self.most
            self.low, self.most = np.maximum(at - reach, 0.0), np.minimum(at + reach, self.most)
            self.most = np.maximum(self.most, self.low)
        self.keep = [self._first(stage) for stage in stages]
        self._columns()

    def _first(self, stage: StageProgramme) -> set[int]:
        hard = set(np.flatnonzero(stage.limit < 0).tolist())
        worst = np.argsort(-np.nan_to_num(stage.rows, nan=-1e9))[:_ADDED]
        return hard | set(worst.tolist())

    def _columns(self) -> None:
        """Cost, bounds and integrality of all columns, and the rows that tie them together."""
        told, stages = self.programme, self.programme.stages
        wells = len(told.tables)
        goal, n = told.goal, self.flows
        cost, low, high, whole = [np.ones(n)], [self.low], [self.most], [np.zeros(n)]
        ties: list[tuple[dict[int, float], float, float]] = []
        at = n

        def add(count: int, price: Floats, most: Floats, integer: bool) -> int:
            nonlocal at
            cost.append(price)
            low.append(np.zeros(count))
            high.append(most)
            whole.append(np.full(count, float(integer)))
            at += count
            return at - count

        largest = add(len(stages), np.full(len(stages), EVEN), np.full(len(stages), np.inf), False)
        for s, stage in enumerate(stages):
            for j in range(len(stage.wells)):
                ties.append(({int(self.start[s]) + j: 1.0, largest + s: -1.0}, -np.inf, 0.0))
            if told.equal:
                ties += self._equal(s, stage)
        if goal != "pumping":
            price = np.ones(wells)
            if goal == "cost":
                assert told.prices is not None
                price = told.prices.well
                cost[0] = np.concatenate(
                    [told.prices.flow[s, stage.wells] / HOUR for s, stage in enumerate(stages)]
                )
                cost[1] = np.full(len(stages), 1e-6)
            else:
                cost[0] = np.full(n, 1e-3 / max(float(self.most.sum()), 1e-9))
                cost[1] = cost[1] * cost[0][:1].sum()
            used = add(wells, price, np.ones(wells), True)
            for s, stage in enumerate(stages):
                for j, well in enumerate(stage.wells):
                    column = int(self.start[s]) + j
                    ties.append(
                        ({column: 1.0, used + well: -float(self.most[column])}, -np.inf, 0.0)
                    )
        if goal == "cost":
            assert told.prices is not None
            self._pumps(told.prices, add, ties)
        if told.still > 0:
            price = told.still * cost[0]
            moved = add(n, price, np.full(n, np.inf), False)
            where = np.concatenate([stage.at for stage in stages]) * HOUR
            for j, flow in enumerate(where.tolist()):
                ties.append(({j: 1.0, moved + j: -1.0}, -np.inf, flow))
                ties.append(({j: -1.0, moved + j: -1.0}, -np.inf, -flow))
        self.cost, self.lows = np.concatenate(cost), np.concatenate(low)
        self.highs, self.whole = np.concatenate(high), np.concatenate(whole)
        self.ties = ties

    def _equal(self, s: int, stage: StageProgramme) -> list[tuple[dict[int, float], float, float]]:
        found: list[tuple[dict[int, float], float, float]] = []
        first: dict[int, int] = {}
        for j, well in enumerate(stage.wells):
            column = int(self.start[s]) + j
            other = first.setdefault(self.programme.tables[well], column)
            if other != column:
                found.append(({other: 1.0, column: -1.0}, 0.0, 0.0))
        return found

    def _pumps(self, prices: Prices, add: Any, ties: list[Any]) -> None:
        """Pumps that run in each stage, and the posts they need."""
        for s, stage in enumerate(self.programme.stages):
            k = len(stage.wells)
            runs = add(k, np.full(k, prices.pump[s]), np.ones(k), True)
            for j in range(k):
                column = int(self.start[s]) + j
                ties.append(({column: 1.0, runs + j: -float(self.most[column])}, -np.inf, 0.0))
            if prices.post[s] > 0:
                post = add(1, prices.post[s : s + 1], np.array([np.inf]), True)
                row = {runs + j: 1.0 for j in range(k)}
                ties.append(({**row, post: -float(prices.pumps_per_post)}, -np.inf, 0.0))

    def least_excess(self) -> dict[int, float]:
        """The excess of each limit in the elastic programme."""
        found = self._loop({}, elastic=True)
        if found is None:
            raise Infeasible
        return found[1]

    def solve(self, allowed: dict[int, float] | None) -> Planned | None:
        """The best flows with each limit passed by no more than `allowed`; None where none are."""
        slack = {i: t * (1 + 1e-6) + 1e-7 for i, t in (allowed or {}).items()}
        found = self._loop(slack, elastic=False)
        if found is None:
            return None
        x = found[0]
        flows = np.zeros((len(self.programme.stages), len(self.programme.tables)))
        for s, stage in enumerate(self.programme.stages):
            flows[s, stage.wells] = x[self.start[s] : self.start[s + 1]] / HOUR
        if self.programme.goal == "pumping":
            value = float(x[: self.flows].sum())
        elif self.programme.goal == "wells":
            value = float((flows > 1e-9).any(axis=0).sum())
        else:
            moved = self.flows if self.programme.still > 0 else 0  # the last columns
            value = float(self.cost[: x.size - moved] @ x[: x.size - moved])
        return Planned(flows, value)

    def _loop(
        self, allowed: dict[int, float], elastic: bool
    ) -> tuple[Floats, dict[int, float]] | None:
        """Solve with the rows kept so far, add those that are broken, until none is."""
        for _ in range(_MOST_TURNS):
            found = self._once(allowed, elastic)
            if found is None:
                return None
            x, excess = found
            if not self._add_broken(x, excess if elastic else allowed):
                return found
        return found

    def _add_broken(self, x: Floats, excess: dict[int, float]) -> bool:
        grown = False
        for s, stage in enumerate(self.programme.stages):
            flows = x[self.start[s] : self.start[s + 1]] / HOUR
            room = np.array([excess.get(int(i), 0.0) for i in stage.limit])
            over = np.nan_to_num(stage.predicted(flows) - room, nan=-1.0)
            over[list(self.keep[s])] = -1.0
            worst = np.argsort(-over)[:_ADDED]
            new = set(worst[over[worst] > _CLOSE].tolist())
            self.keep[s] |= new
            grown |= bool(new)
        return grown

    def _once(
        self, allowed: dict[int, float], elastic: bool
    ) -> tuple[Floats, dict[int, float]] | None:
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        limits = self._limits_kept() if elastic else []
        n = self.cost.size
        slack = {limit: n + i for i, limit in enumerate(limits)}
        at: list[tuple[int, int, float]] = []
        low: list[float] = []
        high: list[float] = []
        for row, least, most in self.ties:
            at += [(len(low), column, value) for column, value in row.items()]
            low.append(least)
            high.append(most)
        for s, stage in enumerate(self.programme.stages):
            for r in sorted(self.keep[s]):
                line = stage.jacobian[r] / HOUR
                right = float(stage.jacobian[r] @ stage.at - stage.rows[r])
                if not (np.isfinite(line).all() and np.isfinite(right)):
                    continue
                limit = int(stage.limit[r])
                i = len(low)
                at += [(i, int(self.start[s]) + j, float(v)) for j, v in enumerate(line)]
                if limit in slack:
                    at.append((i, slack[limit], -1.0))
                low.append(-np.inf)
                high.append(right + (allowed.get(limit, 0.0) if limit >= 0 else 0.0))
        total = n + len(limits)
        cost = np.concatenate([self.cost, np.zeros(len(limits))])
        if elastic:
            weight = [WEIGHT[self.programme.limits[i].kind] for i in limits]
            tiny = 1e-6 / max(float(np.abs(self.cost[: self.flows]).max(initial=0.0)), 1e-9)
            cost = np.concatenate([self.cost * tiny, weight])
        entries = np.array(at, dtype=float).reshape(-1, 3)
        where = entries[:, :2].astype(int).T
        matrix = coo_array((entries[:, 2], tuple(where)), shape=(len(low), total)).tocsr()
        with _quiet():
            done = milp(
                cost,
                integrality=np.concatenate([self.whole, np.zeros(len(limits))]),
                bounds=Bounds(
                    np.concatenate([self.lows, np.zeros(len(limits))]),
                    np.concatenate([self.highs, np.full(len(limits), np.inf)]),
                ),
                constraints=LinearConstraint(matrix, low, high),
                options={"time_limit": 120.0, "mip_rel_gap": 1e-4},
            )
        if done.x is None:
            return None
        return done.x[:n], {limit: float(done.x[column]) for limit, column in slack.items()}

    def _limits_kept(self) -> list[int]:
        return sorted(
            {
                int(stage.limit[r])
                for s, stage in enumerate(self.programme.stages)
                for r in self.keep[s]
                if stage.limit[r] >= 0
            }
        )


def predicted_excess(stages: Sequence[StageProgramme], limits: Sequence[Limit]) -> dict[int, float]:
    """By how much each limit is passed at the stages' own points; only those that are."""
    found: dict[int, float] = {}
    for stage in stages:
        for limit in np.unique(stage.limit[stage.limit >= 0]):
            rows = stage.rows[stage.limit == limit]
            worst = float(np.nanmax(rows, initial=-np.inf))
            if worst > 0:
                found[int(limit)] = worst
    assert all(0 <= i < len(limits) for i in found)
    return found
