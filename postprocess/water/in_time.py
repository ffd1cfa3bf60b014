"""The dig day by day: is the water down before the excavator arrives, and what is pumped when.

Read from the heads and the budget of every step that the solver saved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.postprocess.run.answer import MASS_BALANCE_LIMIT, Answer, Curves, Part, TimeSeries
from wellring.postprocess.run.heads import level_at_point, water_table
from wellring.postprocess.run.ledger import PhaseEntry
from wellring.postprocess.run.run_folder import RunFolder, StageGrid
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.dryness import dryness

Floats = NDArray[np.float64]

NEARLY_STEADY = 0.05
"""Part by which the last flow may differ from the steady one before it is told."""


@dataclass(frozen=True)
class Course:
    """How water and flows go through the days of a run; all arrays one value a step (m,).

    Parameters
    ----------
    day : end of each step.
    phase : index of the ledger's phase each step belongs to.
    margins : by stage folder: depth of the highest water under that stage's floor below its
        formation [m], whether it is dug yet or not; NaN after its own time and where all of its
        floor is tight soil.
    pumped, excavation, returned : taken by points, running into the dig, given back [m³/s].
    points : by name of the user's point: its water level [m].
    begins : day on which the first step begins.
    """

    day: Floats
    phase: NDArray[np.intp]
    margins: dict[str, Floats]
    pumped: Floats
    excavation: Floats
    returned: Floats
    points: dict[str, Floats]
    begins: float

    @property
    def total(self) -> Floats:
        """All water to pump (m,) [m³/s]."""
        return self.pumped + self.excavation

    @property
    def length(self) -> Floats:
        """Length of each step (m,) [days]."""
        return np.diff(self.day, prepend=self.begins)

    @property
    def volume(self) -> Floats:
        """Water pumped up to the end of each step (m,) [m³]."""
        return np.cumsum(self.total * self.length * DAY)


def follow(run: RunFolder, results: Sequence[StageResult]) -> Course | None:
    """All phases of a run, read when first asked; None where it was not followed in time."""
    if run.ledger.phases and results[0].course is None:
        results[0].course = _read(run, results)
    return results[0].course


def _read(run: RunFolder, results: Sequence[StageResult]) -> Course:
    ledger = run.ledger
    dug = list(results[1:])
    days: list[float] = []
    number: list[int] = []
    margins: dict[str, list[float]] = {result.entry.folder: [] for result in dug}
    flows: dict[str, list[Floats]] = {"pumped": [], "excavation": [], "returned": []}
    points: dict[str, list[float]] = {point.name: [] for point in ledger.points}
    for index, phase in enumerate(ledger.phases):
        grid = _grid(results, phase)
        for day, heads in run.heads_in_time(phase):
            days.append(day)
            number.append(index)
            for at, result in enumerate(dug, start=1):
                margins[result.entry.folder].append(
                    _margin(run, result, heads) if at >= phase.stage else np.nan
                )
            _levels(run, grid, heads, points)
        for name, rate in flows_in_time(run, phase).items():
            flows[name].append(rate)
    return Course(
        np.array(days),
        np.array(number, dtype=np.intp),
        {name: np.array(values) for name, values in margins.items()},
        np.concatenate(flows["pumped"]),
        np.concatenate(flows["excavation"]),
        np.concatenate(flows["returned"]),
        {name: np.array(values) for name, values in points.items()},
        ledger.phases[0].begins,
    )


def _grid(results: Sequence[StageResult], phase: PhaseEntry) -> StageGrid:
    """Cells that take part in a phase: before the dig those of the natural state."""
    return results[0 if phase.formation is None else phase.stage].grid


def _margin(run: RunFolder, result: StageResult, heads: Floats) -> float:
    """Depth of the water below a stage's formation, seen in the ground that it leaves."""
    margin = dryness(run, result.entry, result.grid, heads).margin
    return np.nan if margin is None else margin


def _levels(run: RunFolder, grid: StageGrid, heads: Floats, points: dict[str, list[float]]) -> None:
    if not points:
        return
    table = water_table(grid, heads)
    for point in run.ledger.points:
        points[point.name].append(level_at_point(run, grid, heads, table, point))


def flows_in_time(run: RunFolder, phase: PhaseEntry) -> dict[str, Floats]:
    """Flows (m,) [m³/s] of every step: "pumped" from points, into the "excavation", "returned"."""
    _, rates = run.budget_in_time(phase)
    none = np.zeros_like(next(iter(rates.values())))
    drains = [rates[name] for name in rates if name.startswith("DRN_") and name.endswith("_OUT")]
    return {
        "pumped": rates.get("MAW_OUT", none),
        "excavation": np.sum([none, *drains], axis=0),
        "returned": rates.get("MAW_IN", none),
    }


def assess_time(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Answers, warnings and the table of a run that was followed in time; empty otherwise."""
    course = follow(run, results)
    if course is None:
        return Part()
    part = Part(tables={"time": _table(run, course)})
    for number, result in enumerate(results[1:], start=1):
        if any(phase.stage == number for phase in run.ledger.phases):
            _stage_answers(run, course, number, result, part)
    _flow_answers(run, course, results, part)
    part.series = _series(run, course)
    worst = max(abs(phase.discrepancy) for phase in run.ledger.phases)
    part.answers["time.mass_balance_error"] = Answer(
        worst,
        "%",
        "largest of all steps in time, from MODFLOW 6's own budgets",
        "Mass balance error in time",
        "percent",
        MASS_BALANCE_LIMIT,
        worst <= MASS_BALANCE_LIMIT,
    )
    return part


def _series(run: RunFolder, course: Course) -> dict[str, Curves]:
    """Curves for the report: flows, depth of the water under each floor, levels at points."""
    flows = {
        "all water to pump": course.total,
        "by wells": course.pumped,
        "into the excavation": course.excavation,
        "returned": course.returned,
    }
    flows = {name: rate for name, rate in flows.items() if np.any(rate > 0)}
    names = {stage.folder: stage.name for stage in run.ledger.stages}
    margins = {names[key]: values for key, values in course.margins.items()}
    found: dict[str, Curves] = {
        "flow": TimeSeries("Water to pump in time", "flow", course.day, flows),
        "margin": TimeSeries("Water below formation in time", "length", course.day, margins),
    }
    if course.points:
        label = "Water level at points in time"
        found["levels"] = TimeSeries(label, "level", course.day, course.points)
    return found


def _stage_answers(
    run: RunFolder, course: Course, number: int, result: StageResult, part: Part
) -> None:
    """Is the water down when a stage is dug, and since when."""
    key, name = result.entry.folder, result.entry.name
    margin, needed = course.margins[key], run.ledger.clearance
    # Of the first stage the pumping before the dig comes first.
    arrives = max(phase.begins for phase in run.ledger.phases if phase.stage == number)
    before = np.flatnonzero(course.day <= arrives + 1e-9)
    if np.isnan(margin).all():
        return
    basis = "transient MODFLOW 6, heads under the coming floor"
    if before.size:
        there = float(margin[before[-1]])
        part.answers[f"{key}.margin_on_arrival"] = Answer(
            there,
            "m",
            f"{basis} on day {arrives:g}, when the stage is dug",
            f"{name}: water below formation when dug",
            "length",
            needed,
            there >= needed - 1e-3,
        )
    since = _dry_since(course, margin, needed)
    part.answers[f"{key}.dry_from_day"] = Answer(
        since,
        "day",
        f"{basis}; first day from which the clearance is kept to the end of the stage",
        f"{name}: clearance kept from day",
        "day",
    )
    if before.size == 0 and not (since is not None and since <= arrives):
        part.warnings.append(
            f"{name}: the pumps start only on the day it is dug; give time.pumping_starts an "
            "earlier day to have the water down before"
        )


def _dry_since(course: Course, margin: Floats, needed: float) -> float | None:
    """Day from which a clearance is kept until the end of what is known; None where never."""
    known = np.flatnonzero(~np.isnan(margin))
    kept = margin[known] >= needed - 1e-3
    if not kept.size or not kept[-1]:
        return None
    broken = np.flatnonzero(~kept)
    if not broken.size:
        return float(course.day[known[0]])
    last, first = known[broken[-1]], known[broken[-1] + 1]
    # Straight between the step that breaks it and the one that keeps it.
    share = (needed - margin[last]) / max(margin[first] - margin[last], 1e-12)
    return float(course.day[last] + np.clip(share, 0, 1) * (course.day[first] - course.day[last]))


def _flow_answers(
    run: RunFolder, course: Course, results: Sequence[StageResult], part: Part
) -> None:
    total, volume = course.total, course.volume
    budget = "MODFLOW 6 budget of every step"
    peak = int(np.argmax(total))
    part.answers["time.peak_flow"] = Answer(
        float(total[peak]),
        "m3/s",
        f"{budget}; on day {course.day[peak]:.2f}, mean of a step of {course.length[peak]:.2g} d",
        "Largest flow to pump",
        "flow",
    )
    part.answers["time.volume"] = Answer(
        float(volume[-1]),
        "m3",
        f"{budget}, day {course.begins:g} to {course.day[-1]:g}",
        "Water pumped in all",
        "volume",
    )
    done = 0.0
    for index, phase in enumerate(run.ledger.phases):
        end = np.flatnonzero(course.phase == index)[-1]
        part.answers[f"time.{phase.folder}.volume"] = Answer(
            float(volume[end] - done),
            "m3",
            f"{budget}, day {phase.begins:g} to {phase.ends:g}",
            f"{phase.name}: water pumped",
            "volume",
        )
        done = float(volume[end])
        part.answers[f"time.{phase.folder}.flow_at_end"] = Answer(
            float(total[end]),
            "m3/s",
            f"{budget}; last step, to day {phase.ends:g}",
            f"{phase.name}: flow to pump at its end",
            "flow",
        )
    steady = results[run.ledger.phases[-1].stage].inflow
    if steady is not None and steady.total > 0:
        ratio = float(total[-1]) / steady.total
        part.answers["time.end_against_steady"] = Answer(
            (ratio - 1) * 100,
            "%",
            f"flow on day {course.day[-1]:g} against the steady state of the same stage",
            "Change of the last flow against the steady state",
            "percent",
        )
        if abs(ratio - 1) > NEARLY_STEADY:
            part.warnings.append(
                f"on day {course.day[-1]:g} the flow is still {ratio:.2f} times the steady one: "
                "drawdown far away goes on growing after it"
            )


def _table(run: RunFolder, course: Course) -> tuple[list[str], list[Sequence[object]]]:
    stages = {stage.folder: stage.name for stage in run.ledger.stages}
    head = [
        "day",
        "phase",
        "to pump [m3/s]",
        "from points [m3/s]",
        "into the excavation [m3/s]",
        "returned [m3/s]",
        "pumped so far [m3]",
        *(f"water below formation of {stages[key]} [m]" for key in course.margins),
        *(f"level at {name} [m]" for name in course.points),
    ]
    names = [phase.name for phase in run.ledger.phases]
    columns = [
        course.total,
        course.pumped,
        course.excavation,
        course.returned,
        course.volume,
        *course.margins.values(),
        *course.points.values(),
    ]
    rows: list[Sequence[object]] = [
        [
            float(course.day[step]),
            names[course.phase[step]],
            *(None if np.isnan(column[step]) else float(column[step]) for column in columns),
        ]
        for step in range(course.day.size)
    ]
    return head, rows
