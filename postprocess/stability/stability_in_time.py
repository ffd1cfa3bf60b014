"""Stability of the floor day by day: does the pressure fall before the weight is dug away?

Uplift of a coming floor is followed from the first day on, by the weight that the dig will leave
and the model's own pore pressures; seepage heave and the exit gradient from the day on which the
floor is there. A floor is judged from the day it is dug.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.answer import HELD, Answer, Part, TimeSeries
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.floor_columns import floor_columns
from wellring.postprocess.stability.seepage_heave import seepage_heave
from wellring.postprocess.stability.stability import FloorStability, slabs
from wellring.postprocess.stability.uplift import Boundary, uplift
from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

SAYS = "the model's pore pressures in time"
STORAGE = (
    "stability in time follows the soils' storage, above all ss of tight soil, which is rarely "
    "measured: do not dig before piezometers show the head that is needed"
)


@dataclass(frozen=True)
class FloorCourse:
    """One floor in time; arrays (m,) over the steps followed, NaN where it is not judged.

    Parameters
    ----------
    arrives : day on which it is dug.
    day : the first day of the run, then the end of each step to the end of the stage.
    uplift, heave, gradient : largest share used over the floor.
    worst : the boundary that governs in the worst step from the last one before `arrives` on;
        None where no soil boundary lies under the floor.
    """

    result: StageResult
    arrives: float
    day: Floats
    uplift: Floats
    heave: Floats
    gradient: Floats
    worst: Boundary | None

    @property
    def judged(self) -> NDArray[np.bool_]:
        """Steps (m,) that count for uplift: the last one before the dig, and all after it."""
        before = np.flatnonzero(self.day <= self.arrives + 1e-9)
        first = before[-1] if before.size else 0
        return np.arange(self.day.size) >= first

    @property
    def holds_from(self) -> float | None:
        """Day of the step from which uplift holds to the end; None where it never does."""
        fails = np.flatnonzero(self.uplift > HELD)
        if not fails.size:
            return float(self.day[0])
        return float(self.day[fails[-1] + 1]) if fails[-1] + 1 < self.day.size else None


def floors_in_time(
    run: RunFolder, found: Sequence[tuple[StageResult, FloorStability]]
) -> list[FloorCourse]:
    """The floors of all dug stages that were followed in time, in order; none without time.

    Parameters
    ----------
    found : the stages with a floor and their steady stability.
    """
    stages, weights = run.ledger.stages, slabs(run)
    number = {id(result): stages.index(result.entry) for result, _ in found}
    steps: dict[int, list[tuple[float, float, float, float]]] = {k: [] for k in number.values()}
    worst: dict[int, tuple[float, Boundary]] = {}
    arrives = _arrivals(run)
    for phase in run.ledger.phases:
        coming = [(r, s) for r, s in found if number[id(r)] >= phase.stage]
        steps_of: Iterator[tuple[float, Floats]] = run.heads_in_time(phase)
        if phase is run.ledger.phases[0]:
            steps_of = chain([(phase.begins, run.heads(stages[0]))], steps_of)
        for day, heads in steps_of:
            for result, stable in coming:
                at = number[id(result)]
                slab = weights.get(result.entry.name)
                seen = result.with_heads(heads)
                columns = floor_columns(run, seen, slab.weight if slab else 0.0)
                lifted = uplift(columns, stable.rules)
                heaved = gradient = np.nan
                there = at == phase.stage and phase.formation is not None
                if there and slab is None:
                    heave = seepage_heave(run, seen, columns, stable.rules)
                    now = replace(stable, columns=columns, heave=heave)
                    heaved, gradient = _most(heave.judged), _most(now.gradient_used)
                used = _most(lifted.utilisation)
                steps[at].append((day, used, heaved, gradient))
                if lifted.boundaries and at in arrives:
                    # The last step up to the day of the dig takes the place of those before it.
                    early = day <= arrives[at] + 1e-9
                    if early or at not in worst or used > worst[at][0]:
                        worst[at] = used, lifted.boundaries[0]
    courses = []
    for result, _ in found:
        at = number[id(result)]
        if at in arrives and steps[at]:
            day, used, heaved, gradient = np.array(steps[at], dtype=np.float64).T
            governs = worst[at][1] if at in worst else None
            courses.append(FloorCourse(result, arrives[at], day, used, heaved, gradient, governs))
    return courses


def _arrivals(run: RunFolder) -> dict[int, float]:
    """Day on which each stage followed in time is dug, by the stage's number."""
    # Of the first stage the pumping before the dig comes first.
    return {p.stage: p.begins for p in run.ledger.phases if p.formation is not None}


def _most(values: Floats) -> float:
    return float(np.nanmax(values)) if np.isfinite(values).any() else np.nan


def add_stability_in_time(
    run: RunFolder, found: Sequence[tuple[StageResult, FloorStability]], part: Part
) -> None:
    """Answers, warnings and curves of the floors in time; nothing where none was followed."""
    courses = floors_in_time(run, found)
    if not courses:
        return
    for course in courses:
        _uplift(run, course, part)
        _largest(course, "heave", course.heave, "seepage heave", part)
        _largest(course, "exit_gradient", course.gradient, "exit gradient over its limit", part)
    part.warnings.append(STORAGE)
    _curves("uplift", "Uplift", courses, [course.uplift for course in courses], part)
    _curves("heave", "Seepage heave", courses, [course.heave for course in courses], part)


def _curves(
    key: str, label: str, courses: Sequence[FloorCourse], used: Sequence[Floats], part: Part
) -> None:
    """Curves of all stages on the days of the longest one; NaN after a stage's own end."""
    day = max((course.day for course in courses), key=len)
    lines = {}
    for course, values in zip(courses, used, strict=True):
        if np.isfinite(values).any():
            lines[course.result.entry.name] = np.full(day.size, np.nan)
            lines[course.result.entry.name][: values.size] = values
    if lines:
        text = f"{label} in time: share used of what holds"
        dug = {course.result.entry.name: course.arrives for course in courses}
        part.series[f"{key}_used"] = TimeSeries(text, "share", day, lines, marks=dug)


def _uplift(run: RunFolder, course: FloorCourse, part: Part) -> None:
    key, name, item = course.result.entry.folder, course.result.entry.name, course.worst
    if item is None:
        return
    values = np.where(course.judged, course.uplift, np.nan)
    at = int(np.nanargmax(values))
    upper, lower = (run.ledger.units[index].label for index in (item.upper, item.lower))
    since = course.holds_from
    part.answers[f"{key}.uplift_in_time"] = Answer(
        float(values[at]),
        "1",
        f"{SAYS}, day {course.arrives:g}, on which it is dug, to {course.day[-1]:g}; worst on day "
        f"{course.day[at]:.2f} at the base of {upper} over {lower}, level {item.level:.2f} m: head "
        f"{item.head:.2f} m, may be {item.head_allowed:.2f} m",
        f"{name}: uplift, worst day",
        "ratio",
        1.0,
        bool(values[at] <= HELD),
    )
    part.answers[f"{key}.uplift_holds_from_day"] = Answer(
        "not within the days followed" if since is None else since,
        "" if since is None else "day",
        f"{SAYS}; first step from which the coming floor is held to the end of the stage",
        f"{name}: … holds from day",
        "text" if since is None else "day",
    )
    if values[at] > HELD:
        when = "not within the days followed" if since is None else f"only from day {since:.1f} on"
        part.warnings.append(
            f"{name}: dug on day {course.arrives:g} the floor HEAVES by uplift on day "
            f"{course.day[at]:.1f}: the head in {lower} is {item.head:.2f} m there and may be "
            f"{item.head_allowed:.2f} m; it holds {when}. Dig later, pump earlier, or relieve "
            f"{lower}"
        )


def _largest(course: FloorCourse, what: str, values: Floats, label: str, part: Part) -> None:
    """The worst day of heave or of the exit gradient."""
    if not np.isfinite(values).any():
        return
    at = int(np.nanargmax(values))
    name = course.result.entry.name
    part.answers[f"{course.result.entry.folder}.{what}_in_time"] = Answer(
        float(values[at]),
        "1",
        f"{SAYS}, day {course.arrives:g} to {course.day[-1]:g}; worst on day {course.day[at]:.2f}",
        f"{name}: {label}, worst day",
        "ratio",
        1.0,
        bool(values[at] <= HELD),
    )
