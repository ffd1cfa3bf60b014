"""The limits of every stage as rows g ≤ 0, read from a solve; each row belongs to a named limit.

Rows of the floor and of wells' levels are in metres of potential about the limit
(:mod:`wellring.model.studies.sizing.aquifer_potential`), all others are shares of their limit
less 1. A small reserve keeps the programme's answer on the safe side of the solver's closure.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.site.names import drainage_names
from wellring.model.drainage.points import GridPoint
from wellring.model.grid.grid_sizes import formations
from wellring.model.layouts.layout import Layout
from wellring.model.limits.flow_limits import most_flow
from wellring.model.runs.stages import stage_folder_name
from wellring.model.studies.sizing.aquifer_potential import Potential, potential_at
from wellring.model.studies.sizing.controls import FLOOR, FLOW, LEVEL, NEIGHBOUR, STABILITY
from wellring.model.studies.variants import Outcome
from wellring.postprocess.neighbours.neighbour_tables import CRITERIA

Floats = NDArray[np.float64]

RESERVE = 5e-3
"""Level [m] by which the programme keeps the floor drier than asked. Wells' levels are settled to
1 mm; the example solved anew from rest stood up to 0.2 mm from the warm start's levels. 5 mm of
7.5 m of lowering is 0.1 % of the flow, below the half percent that a further step is made for."""
SHARE_RESERVE = 5e-4
"""Part of their limit by which the others are kept (1 mm of the water under a plug is 1e-4)."""
LEFT = 0.5
"""Part of floor's and stability's reserve that the true model must show for a step to be taken."""
SCALARS = ("discharge_steady", "tank_area_needed")
"""Answers of a stage with a limit from above that are rows of their own."""
ORDER = {"dry": 0, "stability": 1, "answer": 2, "neighbour": 3}
"""Kinds of limits, the ones that matter most first."""


@dataclass(frozen=True)
class Candidate:
    """A well to be sized: its table and number in the scheme, its point, the stages it works in."""

    name: str
    table: int
    number: int
    point: GridPoint
    index: int
    first: int
    last: int

    def works(self, stage: int) -> bool:
        """Whether it may work in a stage (from 0)."""
        return self.first <= stage <= self.last


@dataclass(frozen=True)
class Limit:
    """One limit that rows belong to."""

    text: str
    kind: str
    stage: int

    @property
    def of_dig(self) -> bool:
        """Whether it is the dig's own: dry and stable before anything else."""
        return self.kind in ("dry", "stability")


@dataclass
class StageRows:
    """What the rows of one stage are: their limits, and how they are read from a solve.

    `limit` (m,) is each row's place in :attr:`Rows.limits`; the last rows are the wells' levels,
    one for each of `wells` (indices of candidates), and belong to no limit (−1).
    """

    stage: int
    folder: str
    floor: NDArray[np.intp]
    floor_potential: Potential
    floor_limit: Floats
    stability: NDArray[np.intp]
    neighbours: list[tuple[str, NDArray[np.intp]]]
    scalars: list[str]
    wells: list[int]
    well_potential: Potential
    lowest: Floats
    limit: NDArray[np.intp]

    def read(self, outcome: Outcome, points: Sequence[int]) -> Floats:
        """The rows (m,) of a solve; NaN where there is nothing to judge.

        Parameters
        ----------
        points : layout's index of the point of each of `wells`.
        """
        fields, s = outcome.fields, self.stage
        parts = [
            self.floor_potential.of(fields[FLOOR][s, self.floor])
            - self.floor_potential.of(self.floor_limit),
            fields[STABILITY][s, self.stability] - (1.0 - SHARE_RESERVE),
        ]
        for name, which in self.neighbours:
            values = fields.get(name)
            parts.append(
                np.full(which.size, np.nan)
                if values is None
                else values[s, which] - (1.0 - SHARE_RESERVE)
            )
        for name in self.scalars:
            told: Mapping[str, Any] = outcome.answers.get(f"{self.folder}.{name}", {})
            value, limit = told.get("value"), told.get("limit")
            share = value / limit if isinstance(value, int | float) and limit else np.nan
            parts.append(np.array([share - (1.0 - SHARE_RESERVE)]))
        level = fields[LEVEL][s, list(points)]
        parts.append(self.well_potential.of(self.lowest) - self.well_potential.of(level))
        return np.concatenate(parts)

    def levels(self, rows: Floats) -> Floats:
        """Levels [m] in the wells that belong to their rows (k,), on the straight line."""
        own = rows[-len(self.wells) :] if self.wells else rows[:0]
        low = self.lowest - self.well_potential.base
        found = self.well_potential.inverse(self.well_potential.of(self.lowest) - own)
        return np.asarray(np.where(low > 0, found, np.nan))

    def margin(self, rows: Floats, formation: float) -> float | None:
        """Least water [m] below `formation` that belongs to rows (m,); None without a floor."""
        if self.floor.size == 0:
            return None
        potential = self.floor_potential
        value = rows[: self.floor.size] + potential.of(self.floor_limit)
        return formation - float(np.nanmax(potential.inverse(value)))


@dataclass
class Rows:
    """All rows of a scheme, by stage, and the limits they belong to."""

    candidates: list[Candidate]
    stages: list[StageRows]
    limits: list[Limit]
    places: dict[int, tuple[Floats, Floats]]
    """Stage → site coordinates of the rows of floor and stability, which come first, for words."""
    untouchable: list[str]
    """Limits that were passed before the work: nothing helps."""

    def read(self, outcome: Outcome) -> list[Floats]:
        """The rows (m,) of every stage of a solve."""
        return [
            stage.read(outcome, [self.candidates[i].index for i in stage.wells])
            for stage in self.stages
        ]

    def flows(self, outcome: Outcome) -> Floats:
        """What each candidate gave (stages, candidates) [m³/s]; 0 where it does not work."""
        taken = outcome.fields[FLOW]
        which = [candidate.index for candidate in self.candidates]
        return np.array(np.where(self.working, taken[:, which], 0.0))

    def dig_holds(self, excess: Mapping[int, float]) -> bool:
        """Whether floor and stability keep their limits, with :data:`LEFT` of the reserve.

        Parameters
        ----------
        excess : by how much limits are passed, reserves included.
        """
        return self.dig_excess(excess) == 0.0

    def stage_passed(self, stage: int, excess: Mapping[int, float]) -> float | None:
        """By how much a stage passes the limits that are not the dig's; None: the dig's as well.

        Shares of the limits, added up; 0 where all limits hold, floor and stability as in
        `dig_holds`.
        """
        own = {i: t for i, t in excess.items() if self.limits[i].stage == stage}
        if not self.dig_holds(own):
            return None
        rest = [t for i, t in own.items() if not self.limits[i].of_dig]
        return sum(max(t - SHARE_RESERVE, 0.0) for t in rest)

    def dig_excess(self, excess: Mapping[int, float]) -> float:
        """What floor and stability lack to that (m, and shares), added up."""
        most = {"dry": (1 - LEFT) * RESERVE, "stability": (1 - LEFT) * SHARE_RESERVE}
        kinds = [(self.limits[i].kind, t) for i, t in excess.items()]
        return sum(max(t - most[kind], 0.0) for kind, t in kinds if kind in most)

    def limit_rows(self, stage: int) -> NDArray[np.bool_]:
        """(m,) which rows of a stage belong to a limit, and are not levels in wells."""
        return np.asarray(self.stages[stage].limit >= 0)

    @cached_property
    def working(self) -> NDArray[np.bool_]:
        """(stages, candidates) whether a candidate may work."""
        return np.array(
            [[c.works(stage.stage) for c in self.candidates] for stage in self.stages], dtype=bool
        )


def candidates_of(layout: Layout) -> list[Candidate]:
    """The deep wells of a scheme; all else keeps to its own rules."""
    labels = drainage_names(layout.scheme.drainage)
    found = []
    for index, (point, (first, last)) in enumerate(
        zip(layout.points, layout.point_stages, strict=True)
    ):
        if point.method != "deep wells":
            continue
        label, _, number = point.name.rpartition(" ")
        table = labels.index(label)
        free = replace(point, wanted=None, rates=None)
        found.append(Candidate(point.name, table, int(number) - 1, free, index, first, last))
    return found


def rows_of(layout: Layout, outcome: Outcome, keep_neighbours: bool) -> Rows:
    """The rows that a solve shows, and their limits.

    Parameters
    ----------
    keep_neighbours : whether the limits of neighbours are rows too.
    """
    candidates = candidates_of(layout)
    names = [stage.name for stage in layout.site.description.excavation.stages]
    limits: list[Limit] = []
    untouchable: list[str] = []
    stages, places = [], {}
    x, y = (values.ravel() for values in layout.plan.centres)
    for number, formation in enumerate(formations(layout.site)):
        rows = _stage_rows(layout, outcome, candidates, number, formation, keep_neighbours)
        own: list[int] = []

        def belongs(
            text: str, kind: str, count: int, own: list[int] = own, s: int = number
        ) -> None:
            own.extend([len(limits)] * count)
            limits.append(Limit(f"{names[s]}: {text}", kind, s))

        belongs("water below formation", "dry", rows.floor.size)
        belongs("stability of the floor", "stability", rows.stability.size)
        for name, which in rows.neighbours:
            criterion = CRITERIA[name.removeprefix(NEIGHBOUR)][0]
            assert layout.site.neighbours is not None
            for feature in which:
                belongs(f"{layout.site.neighbours.name[feature]}, {criterion}", "neighbour", 1)
        for name in rows.scalars:
            told = outcome.answers[f"{rows.folder}.{name}"]
            belongs(str(told["label"]).rpartition(": ")[2], "answer", 1)
        rows.limit = np.array([*own, *([-1] * len(rows.wells))], dtype=np.intp)
        stages.append(rows)
        cells = np.concatenate([rows.floor, rows.stability])
        places[number] = (x[cells], y[cells])
        for name, use in outcome.fields.items():
            if keep_neighbours and name.startswith(NEIGHBOUR) and np.isinf(use[number]).any():
                criterion = CRITERIA[name.removeprefix(NEIGHBOUR)][0]
                assert layout.site.neighbours is not None
                untouchable += [
                    f"{names[number]}: {layout.site.neighbours.name[i]}, {criterion}"
                    for i in np.flatnonzero(np.isinf(use[number]))
                ]
    return Rows(candidates, stages, limits, places, untouchable)


def _stage_rows(
    layout: Layout,
    outcome: Outcome,
    candidates: list[Candidate],
    number: int,
    formation: float,
    keep_neighbours: bool,
) -> StageRows:
    fields = outcome.fields
    name = layout.site.description.excavation.stages[number].name
    folder = stage_folder_name(number + 1, name)
    floor = np.flatnonzero(np.isfinite(fields[FLOOR][number]))
    clearance = layout.site.description.excavation.clearance
    limit = np.full(floor.size, formation - clearance - RESERVE)
    wells = [i for i, c in enumerate(candidates) if c.works(number)]
    points = [candidates[i].point for i in wells]
    lowest = np.array([point.lowest for point in points])
    n = layout.ground.area.size
    plan = np.array([int(point.node[0]) % n for point in points], dtype=np.intp)
    top = np.array([float(point.screen_top.max()) for point in points])
    neighbours = []
    for key, use in fields.items():
        if keep_neighbours and key.startswith(NEIGHBOUR):
            which = np.flatnonzero(np.isfinite(use[number]))
            if which.size:
                neighbours.append((key, which))
    scalars = [
        key
        for key in SCALARS
        if outcome.answers.get(f"{folder}.{key}", {}).get("limit") is not None
    ]
    return StageRows(
        stage=number,
        folder=folder,
        floor=floor,
        floor_potential=potential_at(layout.ground, floor, np.full(floor.size, formation), limit),
        floor_limit=limit,
        stability=np.flatnonzero(np.isfinite(fields[STABILITY][number])),
        neighbours=neighbours,
        scalars=scalars,
        wells=wells,
        well_potential=potential_at(layout.ground, plan, top, lowest),
        lowest=lowest,
        limit=np.zeros(0, dtype=np.intp),
    )


def well_capacity(point: GridPoint, level: float) -> tuple[float, float]:
    """The most a well gives [m³/s] at a level [m], and how that grows with the level [m²/s]."""
    at = max(level, point.lowest)
    step = 0.05
    here = most_flow(point, at)[0]
    more = most_flow(point, at + step)[0]
    if not np.isfinite(here):
        return np.inf, 0.0
    return here, max((more - here) / step, 0.0)
