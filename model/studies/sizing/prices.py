"""What a well and its flow cost, from the user's prices: the slopes that the programme needs.

Quantities are those of `operations`, whose run of the final scheme tells
the cost itself; here heads are those of the scheme as it stands, pipes' losses are left out, and
standby pumps count as a tenth of a pump each.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wellring.inputs.basics.units import DAY
from wellring.inputs.read_site import Site
from wellring.inputs.site.drainage import DeepWells
from wellring.inputs.site.operations import Operations
from wellring.model.layouts.layout import Layout
from wellring.model.studies.sizing.programme import Prices
from wellring.model.studies.sizing.rows import Rows
from wellring.postprocess.operation.costs import WEEK
from wellring.postprocess.operation.operations import (
    MOTOR_EFFICIENCY,
    PUMPS_PER_OPERATOR,
    STANDBY_PER,
    manning_of,
)
from wellring.postprocess.operation.pump_power import pump_power, weekly_energy
from wellring.postprocess.operation.pump_stations import EFFICIENCY
from wellring.postprocess.water.discharge import days_pumped

Floats = NDArray[np.float64]

PRICED = ("wage", "power_price", "pump_hire", "standby_hire", "drilling", "installation",
          "discharge_fee", "treatment")  # fmt: skip
"""Prices that flows and wells change the sum of."""
NO_QUOTATION = "costs are estimates from your prices and printed defaults, no quotation"


def check_prices(site: Site) -> None:
    """Refuse the goal of least cost where nothing has a price.

    Raises
    ------
    InputFaults : [operations] has no price that wells and flows change the sum of.
    """
    given = site.description.operations or Operations()
    if not any(getattr(given, key) for key in PRICED):
        faults = site.fault_log()
        faults.add(site.file.name, "operations", None,
                   f"a price for --goal cost: one of {', '.join(PRICED)}",
                   "Add it, or take --goal pumping or --goal wells.")  # fmt: skip
        faults.raise_if_any()


def stage_weeks(layout: Layout) -> tuple[Floats, bool]:
    """Weeks (S,) each stage is pumped, and whether all are known; 1 where one is not."""
    found = days_pumped(layout.site.description)
    return np.array([1.0 if d is None else d / WEEK for d in found]), None not in found


def prices_of(layout: Layout, rows: Rows, levels: Sequence[Floats]) -> Prices:
    """The programme's prices.

    Parameters
    ----------
    levels : in each stage, the level [m] in each of its wells (k,) as the scheme stands.
    """
    given = layout.site.description.operations or Operations()
    weeks, _ = stage_weeks(layout)
    count = len(rows.candidates)
    flow = np.zeros((len(rows.stages), count))
    well = np.zeros(count)
    ground = layout.ground
    for s, stage in enumerate(rows.stages):
        for j, c in enumerate(stage.wells):
            candidate = rows.candidates[c]
            table = layout.scheme.drainage[candidate.table]
            assert isinstance(table, DeepWells)
            top = candidate.point.delivery
            if given.discharge_level is not None and (
                table.pump is None or table.pump.discharge_level is None
            ):
                top = given.discharge_level
            level = float(levels[s][j])
            lift = top - (level if np.isfinite(level) else candidate.point.lowest)
            overall = (
                (table.pump.efficiency if table.pump else None) or EFFICIENCY[table.method]
            ) * (given.motor_efficiency or MOTOR_EFFICIENCY)
            power = pump_power(1.0, lift, overall, given.temperature)
            standby = 1.0 if given.standby_power is None else given.standby_power
            week = (
                weekly_energy(power) * (given.power_price or 0.0)
                + standby * power / 1e3 * (given.standby_hire or 0.0)
                + WEEK * DAY * ((given.discharge_fee or 0.0) + (given.treatment or 0.0))
            )
            flow[s, c] = week * weeks[s]
    for c, candidate in enumerate(rows.candidates):
        plan = int(candidate.point.node[0]) % ground.area.size
        depth = float(ground.layers.edges[0, plan]) - candidate.point.screen[0]
        well[c] = max(depth, 0.0) * (given.drilling or 0.0) + (given.installation or 0.0)
    hire = (given.pump_hire or 0.0) * (1.0 + 1.0 / STANDBY_PER)
    post = (given.wage or 0.0) * manning_of(given).paid_hours
    return Prices(
        well, hire * weeks, flow, post * weeks, given.pumps_per_operator or PUMPS_PER_OPERATOR
    )
