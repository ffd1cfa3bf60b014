"""Limits of wells in a closed pit, where all levels stand alike and the inflow is nearly given.

Levels are H − A·q with one large resistance common to all wells, as of a tight wall around them.
"""

from __future__ import annotations

import numpy as np
import pytest
from closed_form import ClosedForm

from wellring.model.drainage.points import GridPoint, PointState
from wellring.model.limits.first_drives import lowest_drive
from wellring.model.limits.flow_limits import most_flow
from wellring.model.limits.growing_flows import settle_growing

ASKED = 1.1e-4
AROUND = 1000.0
SMOOTHED = 0.01
"""Depth [m] over which the solver lets a growing flow set in."""
WELLS = 16


def well(foot: float) -> GridPoint:
    """A well in clay up to `foot` and sand above: what it can take in sets in at a step."""
    return GridPoint(
        name="W", x=0.0, y=0.0, method="deep wells", radius=0.075, screen=(1.45, 9.0),
        node=np.arange(2), conductance=np.ones(2), lowest=1.95, wanted=ASKED, pump_capacity=None,
        screen_k=np.array([2e-3, 2e-9]), screen_bottom=np.array([foot, 1.45]),
        screen_top=np.array([9.0, foot]),
    )  # fmt: skip


class ClosedPit(ClosedForm):
    """Solves H − A·q = h for held levels and growing flows by Newton's method."""

    def __init__(self, inflow: float, seed: int):
        own = np.diag(np.random.default_rng(seed).uniform(20.0, 60.0, WELLS))
        super().__init__(self.respond, [10.0] * WELLS)
        self.supply = np.linalg.inv(own + AROUND / inflow)

    def respond(self, drives):
        held = np.array([drive.held is not None for drive in drives])
        level = np.array([10.0 if drive.held is None else drive.held for drive in drives])
        growth = np.array([drive.growth or 0.0 for drive in drives])
        still = np.array([drive.still for drive in drives])
        for _ in range(300):
            arriving = self.supply @ (10.0 + AROUND - level)
            above = np.maximum(level - still, 0.0)
            part = np.minimum(above / SMOOTHED, 1.0)
            share = part**2 * (3.0 - 2.0 * part)
            steep = np.where(part < 1.0, (6.0 * part - 6.0 * part**2) / SMOOTHED, 0.0)
            missed = (arriving - share * growth * above)[~held]
            if np.abs(missed).max(initial=0.0) < 1e-13:
                break
            slope = self.supply + np.diag(growth * (share + steep * above))
            step = np.linalg.solve(slope[np.ix_(~held, ~held)], missed)
            level[~held] += np.clip(step, -0.5, 0.5)
        return [PointState(float(h), float(q)) for h, q in zip(level, arriving, strict=True)]


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9, 0.97])
@pytest.mark.parametrize("seed", range(2))
def test_wells_share_an_inflow_below_what_is_asked_of_them(share, seed):
    random = np.random.default_rng(seed + 100)
    points = [well(foot) for foot in 7.1 + 0.02 * random.normal(size=WELLS)]
    pit = ClosedPit(share * WELLS * ASKED, seed)
    held = [lowest_drive(point) for point in points]
    drives, states, _, settled = settle_growing(points, pit, held, pit(held))
    assert settled
    for point, drive, state in zip(points, drives, states, strict=True):
        limit, name = most_flow(point, state.level)
        # A millimetre of level is what levels are kept to; it moves the limit by up to 8 % here.
        least = most_flow(point, state.level - 1e-3)[0] * (1 - 1.01e-3)
        most = most_flow(point, state.level + 1e-3)[0] * (1 + 1.01e-3)
        assert least - 2e-9 <= state.flow <= most + 2e-9
        assert abs(state.flow / limit - 1.0) < 0.1
        assert drive.governing == name
    # The inflow is that of the common resistance to within what the levels differ from 10 m.
    total = sum(state.flow for state in states)
    assert total == pytest.approx(share * WELLS * ASKED, rel=0.01)
