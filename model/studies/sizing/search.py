"""Sequential linear programming: each answer of the programme is solved by the true model.

The programme is set up about the best point solved of each stage, and the responses are learnt from
each step. A limit that a step missed is kept tighter in the next one, which then moves no flow for
little. An answer is taken only when the true model's answers say that all limits hold; the search
ends when the programme promises less than half a percent more, or the solves are used up: the last
two go to flows between those that hold and those that nearly do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import shown
from wellring.model.studies.engine import Study
from wellring.model.studies.sizing.known_stages import KnownStages
from wellring.model.studies.sizing.programme import (
    HOUR,
    Goal,
    Infeasible,
    Planned,
    Prices,
    Programme,
    plan,
    predicted_excess,
)
from wellring.model.studies.sizing.responses import (
    CHANGE,
    Responses,
    SolvedPoint,
    about,
    bound,
    expected,
    filled,
)
from wellring.model.studies.sizing.rows import SCALARS, Rows
from wellring.model.studies.sizing.sized_site import rounded, variant_of
from wellring.model.studies.variants import Outcome, Variant

Floats = NDArray[np.float64]

MORE_SOLVES = 10
"""Solves beside one for each candidate."""
WORTH = 5e-3
"""What a further step must promise, as a part of the goal."""
DELIVERED = 5e-3
"""Part of a flow that the true model may give less than was asked."""
STILL = 0.02
"""What flow must be saved, as a part of the flow moved, where the last step missed a limit."""
MOST_EQUAL = 3
"""Solves that equal rates may take."""
DIG = ("dry_margin", "uplift", "exit_gradient", "heave", *SCALARS)
"""Answers of a stage that must hold for a step to be taken."""


@dataclass
class Step:
    """One set of flows (S, C) [m³/s] solved by the true model.

    `broken` are the answers that fail; `excess` by how much each limit of the rows is passed;
    `taken` whether all that must hold does.
    """

    what: str
    flows: Floats
    outcome: Outcome
    point: SolvedPoint
    objective: float
    excess: dict[int, float]
    broken: list[str]
    taken: bool
    expected: list[Floats] = field(default_factory=list)
    """The rows that the programme expected of it, by stage; none of the start."""

    def words(self) -> str:
        """Whether it is taken, and if not why."""
        if self.taken:
            return "all limits hold"
        if self.broken:
            return f"{len(self.broken)} limits do not hold"
        return "limits hold, too little to spare"

    @property
    def total(self) -> float:
        """All flows of all stages added up [m³/s]."""
        return float(self.flows.sum())


@dataclass
class Search:
    """The search for the best flows of one scheme.

    Parameters
    ----------
    study : its base case is that of :func:`sizing_base`.
    solves : used before (the base case and the scheme as it stands).
    keep_neighbours : whether neighbours' limits must hold.
    """

    study: Study
    rows: Rows
    number: int
    stages: Sequence[str]
    goal: Goal
    prices: Prices | None
    keep_neighbours: bool
    solves: int
    say: Callable[[str], None]
    steps: list[Step] = field(default_factory=list)
    equal: list[Step] = field(default_factory=list)
    planned: Planned | None = None
    start: Step | None = None
    first: Responses | None = None
    step: float = 1.0
    seen_variants: set[str] = field(default_factory=set)
    blocked: bool = False
    """Whether it ended since no flows keep all limits, not since solves ran out."""

    @property
    def denied(self) -> bool:
        """Whether the last programme, about what was solved, had no flows that keep all limits."""
        return self.planned is not None and not self.planned.feasible

    @property
    def most_solves(self) -> int:
        """Solves that may be used in all."""
        return len(self.rows.candidates) + MORE_SOLVES

    @property
    def best(self) -> Step | None:
        """The best step that holds, else None."""
        taken = [step for step in self.steps if step.taken]
        return min(taken, key=lambda step: step.objective, default=None)

    @property
    def nearest(self) -> Step:
        """The step whose limits are passed least, the dig's limits first."""
        return min(self.steps, key=self._badness)

    def run(self, start: Floats, own: SolvedPoint | None = None) -> None:
        """Look for the best flows, beginning about `start` (S, C) [m³/s].

        Parameters
        ----------
        own : the scheme as it stands.

        Raises
        ------
        Infeasible : the wells' own limits contradict one another.
        """
        begun = self._solve("start", start)
        self.start = begun
        seen = self._responses(begun)
        self.first = seen.copy()
        known = KnownStages(self.rows, begun.point)
        if own is not None:
            known.note(own, self._passed(own, own.flows))
        known.note(begun.point, self._passed(begun.point, begun.flows))
        # Two solves are left for the same wells at equal rates, once there is something to compare.
        while self.solves < self.most_solves - (2 if self.best is not None else 0):
            flows = self._next(known, seen)
            if flows is None:
                break
            after = self._solve(f"step {len(self.steps) + 1}", flows)
            if after.outcome.failed:  # once more, half of the way
                flows = self._as_written(0.5 * (flows + known.at.flows))
                after = self._solve(f"step {len(self.steps) + 1}, halved", flows)
                if after.outcome.failed:
                    break
                self.step *= 0.5
            self._learn(known, seen, after)
        if self.best is not None:
            self._equal(begun)

    def _next(self, known: KnownStages, seen: Responses) -> Floats | None:
        """The flows to solve next, as written; None where the search is at its end."""
        fall_back = self.goal == "pumping" and self.best is None
        left = self.most_solves - self.solves
        if fall_back and left <= 2:
            held = known.between() if left == 2 else known.all_hold
            if held is None and self.denied:
                held = known.all_dry
            if held is not None and not self._solved(self._as_written(held)):
                return self._as_written(held)
        found = self._plan(known, seen)
        self.planned = found
        merge = self.goal == "pumping" and found.feasible
        flows = self._as_written(known.merged(found, WORTH) if merge else found.flows)
        if self._enough(found):
            self.blocked = not found.feasible
            return None
        if not self._solved(flows):
            return flows
        self.blocked = not found.feasible
        last = [known.between(), known.all_hold] if fall_back and found.feasible else []
        written = [self._as_written(item) for item in last if item is not None]
        return next((item for item in written if not self._solved(item)), None)

    def _solved(self, flows: Floats) -> bool:
        return any(np.allclose(flows, step.flows, rtol=1e-6, atol=1e-12) for step in self.steps)

    def _learn(self, known: KnownStages, seen: Responses, after: Step) -> None:
        """What a step of the search shows: also where to trust, and what holds in its stages."""
        self._take_in(known, seen, after)
        self.steps.append(after)
        self._trust(after)
        if self.planned is not None:
            known.tighten(self.planned, after.excess)
        known.note(after.point, self._passed(after.point, after.flows))
        known.move(after.point, seen, always=self.goal != "pumping")

    def _take_in(self, known: KnownStages, seen: Responses, after: Step) -> None:
        """Set what was expected of a solved step beside it, and let the responses learn from it."""
        after.expected = expected(self.rows, known.at, seen, after.point.flows)
        after.point = filled(self.rows, after.point, known.at, seen)
        seen.learn(self.rows, known.at, after.point)

    def _judged(
        self, point: SolvedPoint, asked: Floats
    ) -> tuple[dict[int, float], NDArray[np.bool_]]:
        """By how much each limit is passed at a point, and which wells (S, C) gave too little."""
        excess = predicted_excess(about(self.rows, point, _still(self.rows)), self.rows.limits)
        return excess, np.abs(point.flows - asked) > DELIVERED * asked + 1e-9

    def _passed(self, point: SolvedPoint, asked: Floats) -> list[float | None]:
        """By how much each stage passes the limits that are not the dig's; None: the dig's too."""
        excess, short = self._judged(point, asked)
        return [
            None if bool(short[s].any()) else self.rows.stage_passed(s, excess)
            for s in range(len(self.rows.stages))
        ]

    def _enough(self, found: Planned) -> bool:
        """Whether the programme promises too little to go on."""
        best = self.best
        if best is not None:
            return found.objective > best.objective * (1.0 - WORTH)
        if found.feasible or len(self.steps) < 2:
            return False
        if not self._dig_passed(found.excess) and not self.rows.dig_holds(self.steps[-1].excess):
            return False
        # Twice the least excess was found to be what the true model has: that is the answer.
        told = {i: t for i, t in self.steps[-1].excess.items() if t > 5e-3}
        hoped = sum(found.excess.values())
        return bool(told) and abs(sum(told.values()) - hoped) <= 0.03 * hoped + 5e-3

    def _plan(self, known: KnownStages, seen: Responses, equal: bool = False) -> Planned:
        tables = [candidate.table for candidate in self.rows.candidates]
        goal: Goal = "pumping" if equal else self.goal
        step = self.step if goal == "pumping" else 1.0
        still = STILL if known.missed and not equal else 0.0

        def planned(extra: Mapping[int, float]) -> Planned:
            stages, limits = about(self.rows, known.at, seen, extra), self.rows.limits
            return plan(Programme(stages, limits, tables, goal, equal, self.prices, step, still))

        found = planned(known.extra)
        if not known.missed or not self._dig_passed(found.excess):
            return found  # where only neighbours' limits are in the way, the dig's stay tighter
        return planned({})  # what blocks is told by the limits as they are

    def _dig_passed(self, excess: Mapping[int, float]) -> bool:
        return any(self.rows.limits[i].of_dig for i in excess)

    def _responses(self, begun: Step) -> Responses:
        """One solve for each candidate, whose flow is lowered, or raised where it is small."""
        variants, n = [], len(self.rows.candidates)
        working = self.rows.working
        counts = np.maximum(working.sum(axis=1), 1)
        mean = begun.point.flows.sum(axis=1) / counts
        for c in range(n):
            flows = begun.point.flows.copy()
            small = flows[:, c] < 0.2 * mean
            change = np.where(small, CHANGE * mean, -CHANGE * flows[:, c])
            flows[:, c] = np.where(working[:, c], flows[:, c] + change, 0.0)
            variants.append(self._variant(flows))
        self.say(f"responses: {n} solves, one a well")
        self._ask(variants)
        points = []
        for variant in variants:
            outcome = self.study.store.outcome(variant, fields=True)
            if outcome.failed:  # its well is left as it is
                points.append(begun.point)
                continue
            points.append(SolvedPoint(self.rows.flows(outcome), self.rows.read(outcome)))
        return Responses.seen(self.rows, begun.point, points)

    def _as_written(self, flows: Floats) -> Floats:
        most = np.array([bound(candidate) for candidate in self.rows.candidates])
        return rounded(flows, most, self.study.base.site.description.site.show)

    def _variant(self, flows: Floats) -> Variant:
        name = next(iter(self.study.base.schemes))
        return variant_of(name, self.number, self.rows.candidates, self.stages, flows)

    def _ask(self, variants: Sequence[Variant]) -> None:
        keys = {variant.key(self.study.store.base_hash) for variant in variants}
        self.solves += len(keys - self.seen_variants)
        self.seen_variants |= keys
        self.study.solve(variants)

    def _solve(self, what: str, flows: Floats) -> Step:
        variant = self._variant(flows)
        self._ask([variant])
        outcome = self.study.store.outcome(variant, fields=True)
        if outcome.failed:
            empty = SolvedPoint(flows, [])
            return Step(what, flows, outcome, empty, np.inf, {}, [outcome.failed], False)
        point = SolvedPoint(self.rows.flows(outcome), self.rows.read(outcome))
        broken = [name for name, told in outcome.answers.items() if told.get("ok") is False]
        excess, short = self._judged(point, flows)
        held = (
            not any(self.asked(name) for name in broken)
            and not bool(short.any())
            and self.rows.dig_holds(excess)
        )
        done = Step(what, flows, outcome, point, self._objective(flows), excess, broken, held)
        flow = shown("flow", self.study.base.site.description.site.show)
        self.say(
            f"{what}: {flow.text(float(flows.sum()))} over all stages, "
            f"{done.words()} "
            f"({self.solves} of {self.most_solves} solves)"
        )
        return done

    def asked(self, name: str) -> bool:
        """Whether an answer of this name is one that the search must keep within its limit."""
        if name.startswith("neighbours."):
            return self.keep_neighbours
        return name.rpartition(".")[2] in DIG

    def _objective(self, flows: Floats) -> float:
        """The goal's value as the programme has it."""
        if self.goal == "pumping":
            return float(flows.sum()) * HOUR
        used = (flows > 0).any(axis=0)
        if self.goal == "wells":
            return float(used.sum()) + 1e-6 * float(flows.sum()) * HOUR
        assert self.prices is not None
        return cost_of(self.prices, flows)

    def _badness(self, step: Step) -> tuple[bool, float, float, float]:
        dig = self.rows.dig_excess(step.excess)
        rest = sum(t for i, t in step.excess.items() if not self.rows.limits[i].of_dig)
        return dig > 0, round(dig, 3), round(rest, 3), step.objective

    def _trust(self, after: Step) -> None:
        """Where the true model is far from what was expected, the next step is bounded."""

        def most(excess: Mapping[int, float]) -> float:
            return max((excess[i] for i in excess if self.rows.limits[i].kind == "dry"), default=0)

        if most(after.excess) > most(self.planned.excess if self.planned else {}) + 0.25:
            self.step = max(0.5 * self.step, 0.1)

    def _equal(self, begun: Step) -> None:
        """The same wells, all of a table alike: what the sizing is compared with."""
        assert self.first is not None
        seen, known = self.first.copy(), KnownStages(self.rows, begun.point)
        while (
            self.solves < self.most_solves
            and len(self.equal) < MOST_EQUAL
            and not any(step.taken for step in self.equal)
        ):
            try:
                found = self._plan(known, seen, equal=True)
            except Infeasible:
                return
            after = self._solve("equal rates", self._as_written(found.flows))
            if after.outcome.failed:
                return
            self._take_in(known, seen, after)
            self.equal.append(after)
            known.tighten(found, after.excess)
            known.move(after.point, seen, always=True)


def _still(rows: Rows) -> Responses:
    """Responses that say nothing: for rows at a point alone."""
    return Responses([np.zeros((stage.limit.size, len(stage.wells))) for stage in rows.stages])


def cost_of(prices: Prices, flows: Floats) -> float:
    """What flows (S, C) [m³/s] cost by the programme's prices."""
    on = flows > 0
    posts = np.ceil(on.sum(axis=1) / prices.pumps_per_post)
    return float(
        prices.well @ on.any(axis=0)
        + prices.pump @ on.sum(axis=1)
        + (prices.flow * flows).sum()
        + prices.post @ posts
    )
