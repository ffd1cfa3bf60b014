"""When a plug under the floor reaches its limit after pumps have stopped, plug by plug.

Every step of the outage's heads is judged by `check_floor`.
Where the limit is passed within the first step, or where the model is kinder than what remains
(relief wells without the limit of their screens, a pit that is open under a slab), the time is
Theis's, a lower bound but for walls and edges near the wells.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wellring.postprocess.run.answer import HELD
from wellring.postprocess.run.ledger import WellEntry
from wellring.postprocess.run.run_folder import RunFolder
from wellring.postprocess.stability.floor_check import FloorCheck, check_floor
from wellring.postprocess.stability.stability import FloorStability
from wellring.postprocess.stability.uplift import Boundary
from wellring.postprocess.stage_results import StageResult
from wellring.postprocess.water.dryness import TIGHT
from wellring.postprocess.water.theis_recovery import Aquifer, seconds_to_rise

Floats = NDArray[np.float64]
Pair = tuple[int, int]

FOLLOWED = "model in time"
THEIS = "Theis, lower bound unless walls or edges stand near the wells"
AT_ONCE = "within the first step of the model"


@dataclass(frozen=True)
class PlugBurst:
    """One plug after the pumps have stopped, at the place that governs in the end.

    Parameters
    ----------
    upper, lower : labels of the units above and beneath.
    head_before, head_allowed, head_at_end : [m]; the last one is what comes back in the end.
    factor : weight over water pressure in the end; `utilisation` then, up to 1 it holds.
    hours : when it reaches its limit; None where it does not within the days followed.
    basis : how `hours` was found; "" for None.
    """

    upper: str
    lower: str
    head_before: float
    head_allowed: float
    head_at_end: float
    factor: float | None
    utilisation: float
    hours: float | None
    basis: str = ""

    @property
    def name(self) -> str:
        """What it is called."""
        return f"plug of {self.upper} over {self.lower}"


def plug_bursts(
    run: RunFolder,
    result: StageResult,
    stable: FloorStability,
    end: FloorCheck,
    steps: Iterable[tuple[float, Floats]],
    stopped: Sequence[WellEntry],
    trusted: bool,
) -> list[PlugBurst]:
    """Every plug under the floor, the first to reach its limit first.

    Parameters
    ----------
    end : the floor under the heads that come back in the end.
    steps : hours and heads (nlay, n) [m] of every step after the stop.
    stopped : the wells that stop, relief wells that lose their outlet with them.
    trusted : whether a plug that holds in all steps may be taken to hold; else Theis's time counts.
    """
    hours = [0.0]
    used: dict[Pair, list[float]] = {}
    place: dict[Pair, Boundary] = {}
    for at, (hour, heads) in enumerate(
        [(0.0, result.heads), *steps]
    ):  # the steady stage comes first
        if at:
            hours.append(hour)
        check = check_floor(run, result, heads, stable.rules, stable.slab, lightest=stable.columns)
        for item in check.plugs:
            key = item.upper, item.lower
            used.setdefault(key, [0.0] * at).append(item.utilisation)
            if key not in place or place[key].utilisation <= HELD:
                place[key] = item
    found = []
    for item in end.plugs:
        key = item.upper, item.lower
        worst = place.get(key, item)
        reached, basis = _reached(np.array(hours), np.array(used.get(key, [0.0])))
        if basis == AT_ONCE or (reached is None and not trusted and item.utilisation > HELD):
            theis = theis_hours(run, result, stable, item, stopped)
            if basis == AT_ONCE:
                theis = min(theis or 0.0, theis_hours(run, result, stable, worst, stopped) or 0.0)
                reached, basis = (theis, THEIS) if theis < hours[1] else (0.0, AT_ONCE)
            else:
                reached, basis = theis, "" if theis is None else THEIS
        found.append(
            PlugBurst(
                run.ledger.units[item.upper].label,
                run.ledger.units[item.lower].label,
                head_before(stable, item),
                item.head_allowed,
                item.head,
                item.factor,
                item.utilisation,
                reached,
                basis,
            )
        )
    never = float("inf")
    found.sort(key=lambda item: (never if item.hours is None else item.hours, -item.utilisation))
    return found


def _reached(hours: Floats, used: Floats) -> tuple[float | None, str]:
    """When the utilisation passes 1, on the straight line over the logarithm of time.

    Heads come back with the logarithm of time, ever slower on a straight scale: on that a line
    between two steps would be late.
    """
    over = np.flatnonzero(used > HELD)
    if not over.size:
        return None, ""
    at = int(over[0])
    if at == 0:
        return 0.0, "over its limit in the steady stage already"
    if at == 1:
        return float(hours[1]), AT_ONCE
    share = (1.0 - used[at - 1]) / (used[at] - used[at - 1])
    return float(hours[at - 1] * (hours[at] / hours[at - 1]) ** share), FOLLOWED


def head_before(stable: FloorStability, item: Boundary) -> float:
    """Head [m] at a boundary in the steady stage."""
    return float(stable.columns.head_at[item.layer, item.column])


def theis_hours(
    run: RunFolder,
    result: StageResult,
    stable: FloorStability,
    item: Boundary,
    stopped: Sequence[WellEntry],
) -> float | None:
    """Hours until the head beneath a plug has used up what is spare, by Theis; None: never."""
    number = run.ledger.stages.index(result.entry)
    columns = stable.columns
    below, column = int(columns.below[item.layer, item.column]), item.column
    rows = np.arange(below, columns.active.shape[0])
    rows = rows[columns.active[rows, column]]
    tight = np.flatnonzero(columns.kv[rows, column] < TIGHT)
    rows = rows[: tight[0]] if tight.size and tight[0] > 0 else rows
    soils = [run.ledger.soils[unit.soil] for unit in run.ledger.units]
    unit, thickness = columns.unit[rows, column], columns.thickness[rows, column]
    aquifer = Aquifer(
        float(np.sum(np.array([soil.kh for soil in soils])[unit] * thickness)),
        float(np.sum(np.array([soil.ss for soil in soils])[unit] * thickness)),
    )
    x, y = (float(each[columns.plan[column]]) for each in run.centres)
    units = run.unit.reshape(-1)
    wells = [
        well
        for well in stopped
        if well.flow[number] > 0 and np.isin(units[np.asarray(well.nodes, np.intp)], unit).any()
    ]
    away = [max(float(np.hypot(well.x - x, well.y - y)), well.radius) for well in wells]
    spare = item.head_allowed - head_before(stable, item)
    seconds = seconds_to_rise(
        aquifer, np.array([well.flow[number] for well in wells]), np.array(away), spare
    )
    return None if seconds is None else seconds / 3600.0
