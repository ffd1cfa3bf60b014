"""Boring logs from CSV and AGS4 files to :class:`~wellring.inputs.logs.borings.BoringLogs`.

A CSV file is known by its headings (any case; "," ";" or tab between the cells):

collars
    ``id, x, y, ground`` and, where known, ``final_depth`` or ``final_level``, ``datum``.
layers
    ``id, soil`` with ``top_depth, bottom_depth`` or ``top_level, bottom_level``. Plain
    ``top, bottom`` are depths where they grow downward from 0, and refused otherwise.
water
    ``id, date`` with ``level`` or ``depth`` and, where known, ``soil`` and ``kind`` (level |
    strike). Dates are ISO 8601, such as 2024-03-01 or 2024-03-01T10:30.

Numbers are in metres, or in the unit in brackets behind the heading: ``x [ft]``. With ";" or
tabs between the cells a decimal comma is read too. Columns with other headings are left alone.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Collection
from pathlib import Path

import numpy as np
from shapely import Polygon

from wellring.inputs.basics.faults import FaultLog
from wellring.inputs.logs.ags import is_ags, read_ags
from wellring.inputs.logs.borings import BoringLogs
from wellring.inputs.logs.collar_checks import checked_collars
from wellring.inputs.logs.csv_logs import read_csv_log
from wellring.inputs.logs.layer_checks import checked_layers
from wellring.inputs.logs.log_checks import assembled, check_cross_references
from wellring.inputs.logs.log_tables import LogTable, Reporter, log_text, typed
from wellring.inputs.logs.water_checks import checked_water
from wellring.inputs.site.site import Borings


def read_borings(
    table: Borings,
    folder: Path,
    soils: Collection[str],
    faults: FaultLog,
    *,
    area: Polygon | None = None,
    ground: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None,
    metres_per_unit: float = 1.0,
) -> BoringLogs:
    """Read all files of [borings] and check them against one another.

    Parameters
    ----------
    table : the [borings] table; its `codes` map the logs' codes to soils.
    folder : folder of the site file; the files' names are relative to it.
    soils : names of the soils of the site file.
    faults : receives what is wrong and what should be known. Nothing is raised for bad data.
    area : the site in plan, in the coordinates of the collars [m].
    ground : function of x and y (n,) [m] giving the ground level (n,) [m], NaN where unknown.
    metres_per_unit : of the site's crs; x and y stand in its units where nothing says otherwise.

    Returns
    -------
    BoringLogs : all borings that could be read without a fault, in the order of their collars,
        and their water readings ordered by boring and date. Levels and places in metres. A
        boring with water readings but no layers has no intervals.
    """
    tables: list[LogTable] = []
    whole = True
    seen: dict[str, str] = {}
    for name in table.files:
        path = folder / name
        whose = os.path.realpath(path)  # unlike Path.resolve, no error for links in a circle
        if whose in seen:
            earlier = seen[whose]
            remedy = f"It is the file given as '{earlier}'; take it out"
            faults.add(name, "[borings] files", name, "each file once", remedy)
            continue
        seen[whose] = name
        text = log_text(path, name, faults)
        found: list[LogTable] | None = None
        if text is not None:
            read = read_ags if is_ags(path, text) else read_csv_log
            found = read(text, name, faults)
            _read_in_crs_units(found or [], metres_per_unit)
        whole = whole and found is not None
        tables.extend(found or ())
    reporter = Reporter(tables, faults)
    collars = checked_collars(typed("collars", reporter), reporter, area, ground)
    layers = typed("layers", reporter)
    water = typed("water", reporter)
    if whole:
        check_cross_references(table.files, collars, layers, water, reporter)
    layers = checked_layers(layers, collars, soils, table.codes, reporter)
    water = checked_water(water, collars, layers, soils, table.codes, reporter)
    return assembled(collars, layers, water, reporter)


def _read_in_crs_units(tables: list[LogTable], metres_per_unit: float) -> None:
    """Take x and y in units of the crs; feet named in a heading are the crs's kind of feet.

    A US survey foot is longer than a foot by 2 ppm: half a metre in a coordinate of 300 km.
    """
    for table in tables:
        if table.kind != "collars":
            continue
        for column in ("x", "y"):
            told = table.metres.get(column, metres_per_unit)
            same = abs(told / metres_per_unit - 1.0) < 1e-5
            table.metres[column] = metres_per_unit if same else told
