"""Checks between collars, layers and readings, and the logs that come of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from wellring.inputs.basics.faults import nearest
from wellring.inputs.logs.borings import Boring, BoringLogs, Interval, WaterReading
from wellring.inputs.logs.log_tables import LISTED, Reporter

if TYPE_CHECKING:
    import pandas as pd


def check_cross_references(
    files: Sequence[str],
    collars: pd.DataFrame,
    layers: pd.DataFrame,
    water: pd.DataFrame,
    reporter: Reporter,
) -> None:
    """Report collars without layers, and layers and readings without a collar."""
    given = ", ".join(files)
    for kind, rows, columns in (
        ("collars", collars, "id, x, y, ground"),
        ("layers", layers, "id, top_depth, bottom_depth, soil"),
    ):
        if rows.empty:
            expected = f"a file with {kind} ({columns}), or AGS4 with LOCA and GEOL"
            reporter.faults.add(given, "[borings] files", None, expected, "Add the file")
            return
    for rows, what in ((layers, "layers"), (water, "water readings")):
        stray = rows[~rows["id"].isin(collars["id"])]
        lost = stray.drop_duplicates("id")
        counts = stray["id"].value_counts()
        known = list(collars["id"])
        wanted = [
            f"a boring with a collar ({counts[name]} {what} have none)" for name in lost["id"]
        ]
        remedies = [
            nearest(name, known) if len(known) <= 2000 else "Add its collar"
            for name in lost["id"].head(LISTED)
        ]
        reporter.report(lost, "id", lost["id"], wanted, remedies)
    bare = collars[~collars["id"].isin(layers["id"])]
    from_ags = np.array([bool(table.group) for table in reporter.tables])
    gauged = bare["id"].isin(water["id"]) | from_ags[bare["source"].to_numpy(dtype=int)]
    rows = bare[~gauged]
    advice = "Add its layers, or take the collar out"
    reporter.report(rows, "id", rows["id"], "layers for each boring", advice)
    for name in bare["id"][gauged].head(LISTED):
        reporter.faults.warn(f"boring {name} has no layers; it tells nothing of the strata")
    if gauged.sum() > LISTED:
        reporter.faults.warn(f"{int(gauged.sum()) - LISTED} more borings have no layers")


def assembled(
    collars: pd.DataFrame, layers: pd.DataFrame, water: pd.DataFrame, reporter: Reporter
) -> BoringLogs:
    """The logs of the borings without a fault, in the order of their collars."""
    intervals: dict[str, list[Interval]] = {}
    columns = (layers["id"], layers["top"], layers["bottom"], layers["soil"])
    for name, top, bottom, soil in zip(*(column.tolist() for column in columns), strict=True):
        intervals.setdefault(name, []).append(Interval(top, bottom, soil))
    gauged = set(water["id"])
    borings = []
    for row in collars[collars["ok"]].itertuples():
        if row.id in reporter.faulty or not (row.id in intervals or row.id in gauged):
            continue
        met = tuple(intervals.get(row.id, ()))
        end = met[-1].bottom if met else row.ground if np.isnan(row.final) else row.final
        borings.append(Boring(row.id, row.x, row.y, row.ground, float(end), met))
    kept = {boring.id for boring in borings}
    readings = [
        WaterReading(row.id, row.level, row.date, row.soil or None, row.kind)
        for row in water.itertuples()
        if row.id in kept
    ]
    return BoringLogs(tuple(borings), tuple(readings))
