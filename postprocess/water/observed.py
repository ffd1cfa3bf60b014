"""What a run says where and when something was measured."""

from __future__ import annotations

from collections.abc import Sequence
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.measured.observations import Observation
from wellring.postprocess.run.heads import level_at_point
from wellring.postprocess.run.ledger import PhaseEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.in_time import Course, follow

Floats = NDArray[np.float64]


def computed(
    run: RunFolder, results: Sequence[StageResult], observations: Sequence[Observation]
) -> Floats:
    """The run's value for each observation (m,), SI.

    Levels at named points are read between cell centres (:func:`level_at_point`), those of wells
    in the well. Between two steps in time a level lies on a straight line over the logarithm of
    the time since the last change; flows are those of the step. A drawdown is that against the
    natural level. NaN where there is no water, no such point, or the day is not followed.
    """
    natural: dict[str, float] = {}
    courses: dict[str, _Levels] = {}
    course = follow(run, results) if any(o.day is not None for o in observations) else None
    found = np.full(len(observations), np.nan)
    for index, item in enumerate(observations):
        if item.kind == "flow":
            found[index] = _flow(run, results, course, item)
            continue
        if item.point not in natural:
            natural[item.point] = _natural_level(run, results, item.point)
        if item.stage is not None:
            level = _level(run, results, item.point, item.stage)
        else:
            assert course is not None
            if item.point not in courses:
                courses[item.point] = _Levels(run, course, item.point, natural[item.point])
            level = courses[item.point].at(item.day or 0.0)
        if item.kind == "drawdown":
            found[index] = natural[item.point] - level
        elif item.kind == "head":
            found[index] = level
        else:
            assert_never(item.kind)
    return found


def _level(run: RunFolder, results: Sequence[StageResult], name: str, stage: int) -> float:
    result = results[stage]
    for point in run.ledger.points:
        if point.name == name:
            return level_at_point(run, result.grid, result.heads, result.table, point)
    for well in run.ledger.wells:
        if well.name == name:
            level = well.level[stage] if stage else _around(result, well.nodes)
            return float("nan") if level is None else level
    return float("nan")


def _natural_level(run: RunFolder, results: Sequence[StageResult], name: str) -> float:
    return _level(run, results, name, 0)


def _around(result: StageResult, nodes: Sequence[int]) -> float:
    """Mean level [m] around an idle well's screen."""
    levels = result.heads.reshape(-1)[list(nodes)]
    levels = levels[np.isfinite(levels)]
    return float(levels.mean()) if levels.size else float("nan")


def _flow(
    run: RunFolder, results: Sequence[StageResult], course: Course | None, item: Observation
) -> float:
    if item.stage is not None:
        result = results[item.stage]
        if not item.point:
            return result.inflow.total if result.inflow is not None else 0.0
        named = (well.flow[item.stage] for well in run.ledger.wells if well.name == item.point)
        return next(named, float("nan"))
    assert course is not None
    day = item.day or 0.0
    if not item.point:
        return _held(course.day, course.total, course.begins, day)
    for phase in run.ledger.phases:
        if _within(phase, day):
            days, wells = run.wells_in_time(phase)
            if item.point in wells:
                return _held(days, wells[item.point][1], phase.begins, day)
            known = any(well.name == item.point for well in run.ledger.wells)
            return 0.0 if known else float("nan")
    return float("nan")


def _within(phase: PhaseEntry, day: float) -> bool:
    return phase.begins < day <= phase.ends + 1e-9


def _held(days: Floats, values: Floats, begins: float, day: float) -> float:
    """The value of the step that a day lies in; NaN beyond."""
    if not begins < day <= days[-1] + 1e-9:
        return 0.0 if day <= begins else float("nan")
    return float(values[min(int(np.searchsorted(days, day - 1e-9)), days.size - 1)])


class _Levels:
    """The level at one point through the phases of a run."""

    def __init__(self, run: RunFolder, course: Course, name: str, natural: float):
        self.natural, self.begins = natural, course.begins
        self.phases: list[tuple[PhaseEntry, Floats, Floats, float]] = []
        before = natural
        for index, phase in enumerate(run.ledger.phases):
            if name in course.points:
                mine = course.phase == index
                days, levels = course.day[mine], course.points[name][mine]
            else:
                days, wells = run.wells_in_time(phase)
                if name not in wells:
                    continue
                levels = wells[name][0]
            self.phases.append((phase, days, levels, before))
            before = float(levels[-1])

    def at(self, day: float) -> float:
        """Level [m] on a day."""
        if day <= self.begins:
            return self.natural
        for phase, days, levels, before in self.phases:
            if not _within(phase, day):
                continue
            since = max(day - phase.begins, 1e-12)
            steps = days - phase.begins
            if since < steps[0]:
                return before + (levels[0] - before) * float(since / steps[0])
            return float(np.interp(np.log(since), np.log(steps), levels))
        return float("nan")
