"""How long each stage is pumped, and how much water that gives: steady, or followed in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wellring.inputs.basics.units import DAY
from wellring.inputs.site.site import SiteDescription
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.water.in_time import flows_in_time


@dataclass(frozen=True)
class Discharge:
    """Water of one stage: `steady` is pumped less returned [m³/s], `days` how long, None unknown.

    `peak` [m³/s] and `volume` [m³] come from the run in time where there is one; otherwise the
    peak is None and the volume is the steady rate over the days.
    """

    steady: float
    days: float | None
    peak: float | None
    volume: float | None
    followed: bool


def discharge_of(run: RunFolder, stage: int, steady: float) -> Discharge:
    """Discharge of the ledger's stage number `stage` whose steady rate is known [m³/s]."""
    days = days_pumped(run.description)[stage - 1]
    series = _in_time(run, stage)
    if series is None:
        volume = None if days is None else steady * days * DAY
        return Discharge(steady, days, None, volume, False)
    peak, volume, length = series
    if days is None or abs(length - days) > 1e-6:
        # Followed for another time than the stage is said to last: the steady rate fills it up.
        volume = None if days is None else volume + steady * (days - length) * DAY
    return Discharge(steady, days, peak, volume, True)


def days_pumped(description: SiteDescription) -> list[float | None]:
    """Days that each stage is pumped: to the next stage's day, or as long as it lasts.

    Pumping before the dig belongs to the first stage. None where a stage does not tell.
    """
    stages, time = description.excavation.stages, description.time
    found: list[float | None] = []
    for stage, after in zip(stages, [*stages[1:], None], strict=True):
        begins = stage.day
        if not found and begins is not None and time and time.pumping_starts is not None:
            begins = min(begins, time.pumping_starts)
        if begins is not None and after is not None and after.day is not None:
            found.append(after.day - begins)
        elif stage.lasts is None:
            found.append(None)
        else:
            found.append(stage.lasts + (0.0 if begins is None else (stage.day or 0.0) - begins))
    return found


def _in_time(run: RunFolder, stage: int) -> tuple[float, float, float] | None:
    """Peak [m³/s], volume [m³] and length [days] of a stage's phases; None without any."""
    found = [phase for phase in run.ledger.phases if phase.stage == stage]
    if not found:
        return None
    peak, volume, length = 0.0, 0.0, 0.0
    for phase in found:
        day, _ = run.budget_in_time(phase)
        flows = flows_in_time(run, phase)
        net = flows["excavation"] + flows["pumped"] - flows["returned"]
        peak = max(peak, float(net.max()))
        volume += float(np.sum(net * np.diff(day, prepend=phase.begins)) * DAY)
        length += phase.ends - phase.begins
    return peak, volume, length
