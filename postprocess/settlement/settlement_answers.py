"""What is told of settlement: the largest and where, how far it reaches, slopes, by layer."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from wellring.postprocess.run.answer import Answer, Part, PlanLayer, Table, TimeSeries, number
from wellring.postprocess.run.contours import contour_areas
from wellring.postprocess.run.heads import reach
from wellring.postprocess.run.run_folder import DESCRIPTION_FILE, RunFolder
from wellring.postprocess.settlement.compressibility import clashing_stiffness, laws_of
from wellring.postprocess.settlement.settlement import Settlement, settlements
from wellring.postprocess.settlement.settlement_course import SettlementCourse, settlement_course

if TYPE_CHECKING:
    from wellring.postprocess.stage_results import StageResult

Floats = NDArray[np.float64]

METHOD = (
    "vertical compression of every layer under the change of effective stress between the natural "
    "state and the stage's steady state"
)
NOT_COVERED = (
    "settlement: only what the lowered water does is counted. Movement of the walls, vibration, "
    "washed-out fines, immediate and plastic settlement, and settlement still under way from "
    "before are not"
)
LARGE_STRAIN = 0.1
"""Strain from which one-dimensional small-strain laws are no longer to be trusted (common
practice, no source)."""
TOLD = 1e-3
"""Settlement or heave [m] from which its validity is told."""


def assess_settlement(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Answers, tables, warnings and assumptions on settlement."""
    if len(results) < 2:
        return Part()
    found = settlements(run, results)
    if not found:
        told = f"settlement is not assessed: this run folder holds no {DESCRIPTION_FILE}"
        return Part(warnings=[f"{told}; run the site again"])
    laws = laws_of(run)
    part = Part(assumptions=[*laws.assumptions, *_method(found)])
    if "soils" in run.provenance.get("reassessed", {}):
        source = run.provenance["reassessed"]["soils"]
        told = f"stiffness of soils from {source['file']} (SHA-256 {source['sha256'][:12]})"
        part.assumptions.insert(0, f"{told}, not from the site file alone")
    for item in found:
        _stage_answers(run, item, part)
    part.tables["settlement"] = _by_layer(run, results, found)
    part.tables["settlement_stages"] = _stages(run, found)
    course = settlement_course(run, results)
    if course is not None:
        part.tables["settlement_in_time"] = _in_time(course)
        part.series["settlement"] = TimeSeries(
            "Settlement in time, after Terzaghi",
            "settlement",
            course.day,
            {place.name: course.terzaghi[:, k] for k, place in enumerate(course.places)},
        )
    final = {item.entry.folder: item.final for item in found}
    part.fields["settlement"] = PlanLayer("Final settlement", "settlement", final)
    part.warnings += _warnings(found)
    if any(item.at_stage_end is not None for item in found):
        part.warnings += clashing_stiffness(run, laws)
    return part


def worst_place(run: RunFolder, field: Floats) -> tuple[int, float] | None:
    """Plan cell of the largest value of a field (n,) and its distance from the pit's edge [m]."""
    if not np.isfinite(field).any():
        return None
    cell = int(np.nanargmax(field))
    x, y = run.centres
    pit = shapely.Polygon(run.ledger.outline)
    return cell, float(pit.distance(shapely.Point(x[cell], y[cell])))


def largest_slope(run: RunFolder, field: Floats) -> tuple[float, int] | None:
    """Greatest slope [-] of a plan field (n,) [m] between neighbouring cells, and one of the two.

    Pairs of cells on either side of a wall are left out: the ground may part there.
    """
    nrow, ncol = run.plan_shape
    values, index = field.reshape(nrow, ncol), np.arange(nrow * ncol).reshape(nrow, ncol)
    x, y = run.local_centres
    walled = np.array([pair for wall in run.ledger.walls for pair in wall.faces], dtype=np.intp)
    walled = np.unique(np.sort(walled.reshape(-1, 2), axis=1) @ np.array([nrow * ncol, 1]))
    best: tuple[float, int] | None = None
    for axis, centres in ((1, x), (0, y)):
        step = np.abs(np.diff(centres))
        slope = np.abs(np.diff(values, axis=axis)) / (step if axis else step[:, None])
        first = index[:, :-1] if axis else index[:-1]
        other = index[:, 1:] if axis else index[1:]
        slope[np.isin(first * (nrow * ncol) + other, walled)] = np.nan
        if slope.size and np.isfinite(slope).any():
            at = int(np.nanargmax(slope))
            if best is None or slope.flat[at] > best[0]:
                best = float(slope.flat[at]), int(first.flat[at])
    return best


def _method(found: Sequence[Settlement]) -> list[str]:
    said = [
        "settlement: above the water a soil weighs its saturated weight less the water of its sy; "
        "suction there is not counted",
        NOT_COVERED,
    ]
    if any(item.at_stage_end is not None for item in found):
        said.append(
            "settlement in time: the stage's steady level acts from the stage's day on, and soils "
            "of kv below 1e-7 m/s consolidate after Terzaghi, each drained where a neighbour is "
            "at least 10 times more pervious (common practice, no source); in truth the water "
            "falls later and the settlement comes later"
        )
    return said


def _stage_answers(run: RunFolder, item: Settlement, part: Part) -> None:
    key, name = item.entry.folder, item.entry.name
    least = run.assessment.settlements[0]
    worst = worst_place(run, item.final)
    if worst is None:
        return
    cell, distance = worst
    x, y = run.place(cell)
    layers = sorted(item.by_unit, key=lambda label: -item.by_unit[label][cell])[:2]
    share = ", ".join(f"{label} {item.by_unit[label][cell] * 1e3:.1f} mm" for label in layers)
    part.answers[f"{key}.settlement_largest"] = Answer(
        float(item.final[cell]),
        "m",
        f"{METHOD}; outside the pit, at x {x:.1f}, y {y:.1f}, {distance:.1f} m from its edge; "
        f"{share}",
        f"{name}: largest final settlement",
        "settlement",
    )
    if item.at_stage_end is not None:
        part.answers[f"{key}.settlement_at_end"] = Answer(
            float(np.nanmax(item.at_stage_end)),
            "m",
            f"Terzaghi's consolidation up to day {item.end_day:g}, the end of the stage",
            f"{name}: largest settlement at its end",
            "settlement",
        )
    if item.at_stage_end_model is not None:
        part.answers[f"{key}.settlement_at_end_model"] = Answer(
            float(np.nanmax(item.at_stage_end_model)),
            "m",
            "effective stress from the model's own pore pressures in time",
            f"{name}: … followed in time",
            "settlement",
        )
    part.answers[f"{key}.settlement_reach"] = Answer(
        reach(run, item.final, least),
        "m",
        f"greatest distance from the pit's edge with a final settlement of {least * 1e3:g} mm "
        "or more",
        f"{name}: reach of {least * 1e3:g} mm settlement",
        "length",
    )
    slope = largest_slope(run, item.final)
    part.answers[f"{key}.settlement_slope"] = Answer(
        None if slope is None else slope[0],
        "1",
        "greatest slope of the final settlement between neighbouring cells outside the pit, not "
        "across walls",
        f"{name}: steepest slope of settlement",
        "slope",
    )
    for point in run.ledger.points:
        place = run.plan_cell(point.x, point.y)
        value = np.nan if place is None else float(item.final[place])
        part.answers[f"{key}.settlement.{point.name}"] = Answer(
            number(value),
            "m",
            METHOD if np.isfinite(value) else "not assessed: in the pit or outside the model",
            f"{name}: final settlement at {point.name}",
            "settlement",
        )


def _by_layer(run: RunFolder, results: Sequence[StageResult], found: Sequence[Settlement]) -> Table:
    """One row a stage, named point and layer that is there; the sum as layer "all"."""
    head = [
        "stage",
        "point",
        "layer",
        "thickness [m]",
        "final settlement [m]",
        "stage ends on day",
        "settlement then [m]",
    ]
    rows: list[Sequence[object]] = []
    grid = results[0].grid
    for item in found:
        for point in run.ledger.points:
            cell = run.plan_cell(point.x, point.y)
            if cell is None or not np.isfinite(item.final[cell]):
                continue
            thick = np.where(grid.active[:, cell], grid.top[:, cell] - grid.bottom[:, cell], 0.0)
            start = [item.entry.name, point.name]
            for index, (label, part) in enumerate(item.by_unit.items()):
                height = float(thick[run.unit[:, cell] == index].sum())
                if height > 0:
                    then = None if item.by_unit_at_end is None else item.by_unit_at_end[label]
                    rows.append(
                        [*start, label, height, float(part[cell]), item.end_day, _at(then, cell)]
                    )
            rows.append(
                [*start, "all", float(thick.sum()), float(item.final[cell]), item.end_day,
                 _at(item.at_stage_end, cell)]
            )  # fmt: skip
    return head, rows


def _largest(field: Floats) -> float | None:
    return number(np.fmax.reduce(field))


def _at(field: Floats | None, cell: int) -> float | None:
    return None if field is None else float(field[cell])


def _stages(run: RunFolder, found: Sequence[Settlement]) -> Table:
    """One row a stage and class of settlement: its area and how far it reaches."""
    head = [
        "stage",
        "from [m]",
        "to [m]",
        "area [m2]",
        "reach of its lower bound [m]",
        "largest final settlement [m]",
        "largest at stage end [m]",
        "steepest slope [-]",
    ]
    rows: list[Sequence[object]] = []
    for item in found:
        classes = run.assessment.settlements
        areas = {low: shape for low, _, shape in contour_areas(run, item.final, classes)}
        slope = largest_slope(run, item.final)
        for low, high in zip(classes, [*classes[1:], None], strict=True):
            rows.append(
                [
                    item.entry.name,
                    low,
                    high,
                    float(areas[low].area) if low in areas else 0.0,
                    reach(run, item.final, low),
                    _largest(item.final),
                    None if item.at_stage_end is None else _largest(item.at_stage_end),
                    None if slope is None else slope[0],
                ]
            )
    return head, rows


def _in_time(course: SettlementCourse) -> Table:
    """One row a day: settlement of every place, by either way."""
    head = ["day", "method", *(f"{place.name} [m]" for place in course.places)]
    ways = (
        ("steady levels and Terzaghi", course.day, course.terzaghi),
        ("the model's own pore pressures", course.model_day, course.model),
    )
    rows: list[Sequence[object]] = [
        [float(day), way, *(float(value) for value in values)]
        for way, days, fields in ways
        for day, values in zip(days, fields, strict=True)
    ]
    return head, rows


def _warnings(found: Sequence[Settlement]) -> list[str]:
    """Where a result leaves its method's range, told once for all stages."""
    said = []
    missing: dict[str, float] = {}
    for item in found:
        for label, rise in item.not_counted.items():
            missing[label] = max(missing.get(label, 0.0), rise)
    for label, rise in missing.items():
        if rise > 1e3:
            said.append(
                f"settlement of '{label}' is NOT counted: its soil has no compression table and is "
                f"too fine for a default; effective stress in it rises by up to {rise / 1e3:.0f} "
                "kPa, so the settlement told is too small"
            )
    drained = dict.fromkeys(label for item in found for label in item.drained)
    if drained:
        said.append(
            f"the water falls through {_list(drained)}: a tight soil that loses its water shrinks "
            "and cracks by suction, which is not counted"
        )
    afloat = dict.fromkeys(label for item in found for label in item.afloat)
    if afloat:
        said.append(
            f"before the work the water carries all of the ground's weight somewhere in "
            f"{_list(afloat)} (no effective stress); settlement there is not to be trusted"
        )
    strain = max(float(np.nanmax(item.strain, initial=0.0)) for item in found)
    if strain > LARGE_STRAIN:
        said.append(
            f"a layer is compressed by {strain:.0%}: soft soil then also creeps and flows "
            "sideways, which the settlement told does not hold"
        )
    heave = min(float(np.nanmin(item.final, initial=0.0)) for item in found)
    if heave < -TOLD:
        said.append(
            f"the ground heaves by up to {-heave * 1e3:.0f} mm where water is put back; with mv "
            "or e_oed heave is reckoned as stiff as settlement, which is too much"
        )
    return said


def _list(labels: dict[str, None]) -> str:
    return ", ".join(f"'{label}'" for label in labels)
