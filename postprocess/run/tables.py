"""Tables of a run as CSV, in SI with the unit in each heading."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from wellring.inputs.basics.units import conductivity_text
from wellring.postprocess.run.inflow import water_balance
from wellring.postprocess.run.run_folder import RunFolder

if TYPE_CHECKING:
    from pandas import DataFrame

    from wellring.postprocess.run.answer import Part, Table
    from wellring.postprocess.stage_results import StageResult

TABLES_FOLDER = "tables"


def write_tables(
    run: RunFolder,
    results: Sequence[StageResult],
    parts: Sequence[Part] = (),
    place: Path | None = None,
) -> None:
    """Write the tables of :func:`make_tables` as CSV, into `place` (default: the run folder)."""
    folder = (place or run.path) / TABLES_FOLDER
    folder.mkdir(exist_ok=True)
    for name, table in make_tables(run, results, parts).items():
        write_table(folder / f"{name}.csv", *table)


def make_tables(
    run: RunFolder, results: Sequence[StageResult], parts: Sequence[Part] = ()
) -> dict[str, Table]:
    """Stages, inflow, inflow by unit, wells, water balance, soils, then each part's tables."""
    dug = [result for result in results if result.inflow is not None]
    found = {
        "stages": _stages(dug),
        "inflow": _inflow(dug),
        "inflow_by_layer": _inflow_by_layer(dug),
        "wells": _wells(run, dug),
        "water_balance": _balance(run, results),
        "soils": _soils(run),
    }
    for part in parts:
        found |= part.tables
    return found


def _stages(dug: Sequence[StageResult]) -> Table:
    head = [
        "stage",
        "formation [m]",
        "water below formation [m]",
        "needed [m]",
        "dry",
        "least at x [m]",
        "least at y [m]",
        "tight floor [-]",
        "reach of 0.1 m [m]",
        "closed form [m3/s]",
        "solved by",
        "mass balance error [%]",
    ]
    rows: list[Sequence[object]] = []
    for result in dug:
        dry = result.dryness
        assert dry is not None
        rows.append(
            [
                result.entry.name,
                result.entry.formation,
                dry.margin,
                dry.needed,
                {True: "yes", False: "no", None: "not judged"}[result.stays_dry],
                dry.x,
                dry.y,
                dry.tight_share,
                result.reach,
                result.estimate.flow if result.estimate else None,
                result.entry.rung,
                result.entry.discrepancy,
            ]
        )
    return head, rows


def _inflow(dug: Sequence[StageResult]) -> Table:
    parts = [
        "total",
        "excavation",
        "floor",
        "faces",
        "wall",
        "wells",
        "returned",
        "through_wall",
        "under_toe",
        "open_ground",
    ]
    rows: list[Sequence[object]] = [
        [r.entry.name, *(getattr(r.inflow, part) for part in parts)] for r in dug
    ]
    return ["stage", *(f"{part.replace('_', ' ')} [m3/s]" for part in parts)], rows


def _inflow_by_layer(dug: Sequence[StageResult]) -> Table:
    rows: list[Sequence[object]] = []
    for result in dug:
        assert result.inflow is not None
        for part, units in result.inflow.by_unit.items():
            rows += [[result.entry.name, part, unit, flow] for unit, flow in units.items()]
    return ["stage", "where", "layer", "flow [m3/s]"], rows


def _wells(run: RunFolder, dug: Sequence[StageResult]) -> Table:
    head = [
        "stage",
        "well",
        "method",
        "x [m]",
        "y [m]",
        "screen bottom [m]",
        "screen top [m]",
        "level in well [m]",
        "flow [m3/s]",
        "governed by",
        "pump capacity [m3/s]",
        "screen capacity [m3/s]",
    ]
    rows: list[Sequence[object]] = []
    for result in dug:
        number = run.ledger.stages.index(result.entry)
        for well in run.ledger.wells:
            rows.append(
                [
                    result.entry.name,
                    well.name,
                    well.method,
                    well.x,
                    well.y,
                    *well.screen,
                    well.level[number],
                    well.flow[number],
                    well.governing[number],
                    well.pump_capacity,
                    well.screen_capacity[number],
                ]
            )
    return head, rows


def _balance(run: RunFolder, results: Sequence[StageResult]) -> Table:
    rows: list[Sequence[object]] = [
        [result.entry.name, name, into, out]
        for result in results
        for name, into, out in water_balance(run, result.entry)
    ]
    return ["stage", "what", "into the ground [m3/s]", "out of the ground [m3/s]"], rows


def _soils(run: RunFolder) -> Table:
    rows: list[Sequence[object]] = [
        [
            name,
            conductivity_text(s.kh, "metric"),
            conductivity_text(s.kv, "metric"),
            s.ss,
            s.sy,
            s.weight,
        ]
        for name, s in run.ledger.soils.items()
    ]
    return ["soil", "kh", "kv", "ss [1/m]", "sy [-]", "unit weight [N/m3]"], rows


def write_table(path: Path, head: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write one CSV table; text that a spreadsheet would run as a formula is written as text."""
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow([_cell(title) for title in head])
        for row in rows:
            writer.writerow([_cell(value) for value in row])


def write_frame(path: Path, frame: DataFrame) -> None:
    """Write a frame as :func:`write_table` does, without its index."""
    write_table(path, [str(name) for name in frame.columns], frame.itertuples(index=False))


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return f"'{value}"
    if not isinstance(value, float):
        return value
    if math.isnan(value):
        return ""
    # Coordinates and levels to the millimetre, small numbers to seven digits.
    return f"{value:.3f}" if abs(value) >= 1e3 else f"{value:.7g}"
