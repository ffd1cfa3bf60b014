"""What is told of contaminated ground and salt water: does it reach the pit in the dig's time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from wellring.postprocess.run.answer import Answer, Part, PlanMark, Table
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.run.site_layer import site_layer
from wellring.postprocess.travel.travel_times import Travel, Travels, travels

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from wellring.postprocess.stage_results import StageResult

METHOD = (
    "travel paths: water followed through each stage's steady flow (Pollock 1988), which acts from "
    "the stage's day on; in truth the water turns toward the pit later"
)
CAUTION = (
    "travel paths follow the mean flow of the water alone: a pervious seam that no boring met may "
    "be ten times faster, spreading (dispersion) brings a part of it sooner, and what binds to the "
    "soil comes later; the different weight of salt water is not counted. Measure before and "
    "during the work"
)


def assess_travel(run: RunFolder, results: Sequence[StageResult]) -> Part:
    """Arrivals of the water of every contaminated feature; nothing where there is none."""
    found = travels(run, results)
    if found is None:
        return Part()
    part = Part(assumptions=[METHOD, *found.assumptions], warnings=[CAUTION], title="Travel paths")
    if not found.dated:
        part.warnings.append(
            "the stages have no days: arrivals are counted in days of the last stage's flow, and "
            "whether they fall into the dig's time is not judged"
        )
    for item in found.items:
        _arrival(item, found, part)
        if len(item.path) > 1:
            note = f"{item.where} after {_days(item, found)}"
            part.marks.append(
                PlanMark(f"way from {item.name}", "travel path", item.path[:, :2], {"": note})
            )
    part.tables["travel_paths"] = _table(found)
    return part


def travel_layer(run: RunFolder, results: Sequence[StageResult]) -> dict[str, GeoDataFrame]:
    """Layer `travel_paths`: the fastest way of each feature's water; none where none arrives."""
    found = travels(run, results)
    ways = [item for item in found.items if len(item.path) > 1] if found else []
    if not ways:
        return {}
    lines = np.empty(len(ways), dtype=object)
    lines[:] = [shapely.LineString(item.path[:, :2]) for item in ways]
    columns = {
        "name": [item.name for item in ways],
        "reaches": [item.where for item in ways],
        "arrival_day": np.array([item.first for item in ways], dtype=float),
        "share_within_dig": np.array([item.within for item in ways]),
        "share_at_all": np.array([item.ever for item in ways]),
    }
    return {"travel_paths": site_layer(run, columns, lines)}


def _days(item: Travel, found: Travels) -> str:
    assert item.first is not None
    return f"{item.first - found.begins:,.0f} days"


def _arrival(item: Travel, found: Travels, part: Part) -> None:
    label = f"{item.name}: first water of it at the pit"
    key = f"travel.{item.name}.arrival"
    if item.count == 0:
        part.answers[key] = Answer(
            None, "day", "no ground water of the model lies under it", label, "day"
        )
        return
    ok = None
    if found.ends is not None:
        ok = item.first is None or item.first > found.ends
    if item.first is None:
        basis = f"none of {item.count} paths reaches a well or the dig within a century"
    else:
        basis = (
            f"fastest of {item.count} paths, to {item.where}, {_days(item, found)} after day "
            f"{found.begins:g}; {item.within:.0%} of them arrive within the dig's time, "
            f"{item.ever:.0%} in a century"
        )
    part.answers[key] = (
        Answer("not within a century", "", basis, label, "text", None, ok)
        if item.first is None
        else Answer(item.first, "day", basis, label, "day", None, ok)
    )
    if ok is False:
        part.warnings.append(
            f"water from '{item.name}' reaches {item.where} on day {item.first:.0f}, within the "
            "dig's time: what is pumped may have to be treated, and the permit may forbid it"
        )


def _table(found: Travels) -> Table:
    head = [
        "from", "paths", "first arrival on day", "days on its way", "reaches",
        "share within the dig's time [-]", "share in a century [-]", "length of the way [m]",
    ]  # fmt: skip
    rows: list[Sequence[object]] = [
        [
            item.name,
            item.count,
            item.first,
            None if item.first is None else item.first - found.begins,
            item.where or None,
            item.within if found.ends is not None else None,
            item.ever,
            _length(item),
        ]
        for item in found.items
    ]
    return head, rows


def _length(item: Travel) -> float | None:
    if len(item.path) < 2:
        return None
    return float(np.linalg.norm(np.diff(item.path, axis=0), axis=1).sum())
