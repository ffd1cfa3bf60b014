"""Flows to begin with: equal within each table, about as much as keeps the dig just dry."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wellring.model.layouts.layout import Layout
from wellring.model.studies.sizing.responses import SolvedPoint, bound
from wellring.model.studies.sizing.rows import Rows

Floats = NDArray[np.float64]

MOST, LEAST = 0.95, 0.05
"""Parts of the scheme's own flows between which the start lies: below its wells' limits."""
OVER = 1.03
"""How many times what the straight line from rest to the scheme's own flows asks for."""


def start_flows(layout: Layout, rows: Rows, own: SolvedPoint, natural: Floats) -> Floats:
    """Flows (S, C) [m³/s].

    Parameters
    ----------
    own : the scheme as it stands.
    natural : heads of the natural state (nlay, nrow, ncol) [m].
    """
    heads = natural.reshape(layout.ground.active.shape)
    found = np.zeros(own.flows.shape)
    tables = np.array([candidate.table for candidate in rows.candidates])
    for s, stage in enumerate(rows.stages):
        part = _part(layout, rows, s, own.rows[s], heads)
        for table in np.unique(tables[stage.wells]) if stage.wells else []:
            wells = [i for i in stage.wells if tables[i] == table]
            mean = float(own.flows[s, wells].mean())
            if mean <= 0:
                mean = LEAST * float(np.mean([bound(rows.candidates[i]) for i in wells]))
            found[s, wells] = part * mean
    return found


def _part(layout: Layout, rows: Rows, s: int, values: Floats, heads: Floats) -> float:
    """Part of the scheme's own flows that the floor's rows ask for, straight from rest on."""
    stage = rows.stages[s]
    if stage.floor.size == 0:
        return MOST
    column = heads[:, stage.floor]
    wet = layout.ground.active[:, stage.floor] & (np.abs(column) < 1e20)
    wet &= column > layout.ground.layers.edges[1:][:, stage.floor]
    first = np.argmax(wet, axis=0)
    level = np.where(wet.any(axis=0), column[first, np.arange(stage.floor.size)], np.nan)
    potential = stage.floor_potential
    rest = potential.of(level) - potential.of(stage.floor_limit)
    now = values[: stage.floor.size]
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(rest > 0, rest / np.maximum(rest - now, 1e-9), 0.0)
    return float(np.clip(OVER * np.nanmax(part, initial=0.0), LEAST, MOST))
