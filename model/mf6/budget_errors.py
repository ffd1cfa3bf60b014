"""How well MODFLOW 6's own water budgets close: of a steady state, and of every step in time."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import numpy as np

_STILL = 2e-2
"""Total inflow [m³/day] below which the water stands still: 20 litres a day over the whole model.
The solver's own rest is a few millilitres a day; a percent of less than this says nothing."""
_DISCREPANCY = re.compile(r"PERCENT DISCREPANCY =\s*(\S+)")
_TOTAL_IN = re.compile(r"TOTAL IN =\s*(\S+)")


def budget_error(listing: Path) -> tuple[float, float]:
    """Percent discrepancy and total inflow [m³/day] of the last budget in the model's listing."""
    with open(listing, "rb") as file:
        file.seek(max(0, listing.stat().st_size - 200_000))
        text = file.read().decode("ascii", "replace")
    found, totals = _DISCREPANCY.findall(text), _TOTAL_IN.findall(text)
    try:
        # The listing prints the cumulative and the rate column; the rate is the last one.
        percent, total = float(found[-1]) + 0.0, float(totals[-1])  # no "-0"
    except (IndexError, ValueError):
        return float("nan"), float("nan")
    return _counted(percent, total), total


def worst_step_error(record: Path) -> tuple[float, float]:
    """As :func:`budget_error`, of the step in time whose budget closes worst.

    Parameters
    ----------
    record : budgets of every step (CSV), as MODFLOW 6 writes them.
    """
    try:
        with open(record, newline="") as file:
            rows = [
                {name.strip(): value for name, value in row.items()} for row in csv.DictReader(file)
            ]
        steps = [(float(row["PERCENT_DIFFERENCE"]), float(row["TOTAL_IN"])) for row in rows]
    except (KeyError, ValueError, AttributeError, TypeError):
        return float("nan"), float("nan")
    if not steps or not np.isfinite(steps).all():
        return float("nan"), float("nan")
    errors = [_counted(percent, total) for percent, total in steps]
    worst = int(np.argmax(np.abs(errors)))
    return errors[worst], steps[worst][1]


def _counted(percent: float, total: float) -> float:
    """Percent of next to nothing says nothing; it is counted of :data:`_STILL` instead."""
    return percent * total / _STILL if total < _STILL else percent
