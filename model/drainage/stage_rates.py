"""Flows that are asked of wells stage by stage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.site.drainage import DeepWells, Drainage
from wellring.model.drainage.points import GridPoint


def with_rates(
    table: Drainage,
    points: list[GridPoint],
    stages: Sequence[str],
    file: str,
    place: str,
    faults: FaultLog,
) -> list[GridPoint]:
    """The points of a table with the flow of each stage [m³/s] that its `rates` ask of them.

    A list that has not one flow for each point is a fault at `place`.
    """
    if not isinstance(table, DeepWells) or not table.rates:
        return points
    by_stage: list[Sequence[float]] = []
    for stage in stages:
        asked = table.rates.get(stage, 0.0)
        flows = [asked] * len(points) if isinstance(asked, float) else list(asked)
        if len(flows) != len(points):
            faults.add(
                file,
                f"{place}.rates",
                f"{len(flows)} flows in {stage}",
                f"one flow, or one for each of the {len(points)} wells",
            )
            return points
        by_stage.append(flows)
    return [
        replace(point, wanted=None, rates=tuple(own))
        for point, own in zip(points, zip(*by_stage, strict=True), strict=True)
    ]
