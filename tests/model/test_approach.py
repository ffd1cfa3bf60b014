"""The first solve of a stage where the lowest levels cannot be held at one stroke.

The ground is closed-form; a solve that asks for too much at once fails, as MODFLOW 6 does where a
thin layer swings between wet and dry. Common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from closed_form import ClosedForm

from wellring.inputs.faults import SolverFailed
from wellring.model.approach import begin
from wellring.model.drainage.points import GridPoint, PointState
from wellring.model.first_drives import lowest_drive
from wellring.model.limited_rates import most_flow
from wellring.model.limits import settle

REST, INFLUENCE = 10.0, 2000.0


def well(lowest: float) -> GridPoint:
    """A well whose screen takes in 8.4e-4 m³/s a metre wetted above 0 m."""
    return GridPoint(
        name="W", x=0.0, y=0.0, method="deep wells", radius=0.2, screen=(0.0, 12.0),
        node=np.arange(1), conductance=np.ones(1), lowest=lowest, wanted=None, pump_capacity=None,
        screen_k=np.array([1e-4]), screen_bottom=np.array([0.0]), screen_top=np.array([12.0]),
    )  # fmt: skip


class Brittle(ClosedForm):
    """Answers only to drives that lower the level by no more than `stride` [m] from the last."""

    def __init__(self, stride: float, lowest_ever: float = -np.inf):
        super().__init__(self.respond, [REST])
        self.stride, self.lowest_ever, self.level = stride, lowest_ever, REST
        self.asked: list[float] = []

    def respond(self, drives):
        (drive,) = drives
        if drive.held is not None:
            level = drive.held
        elif drive.growth is not None:
            level = (REST + INFLUENCE * drive.growth * drive.still) / (1 + INFLUENCE * drive.growth)
        else:
            level = REST - INFLUENCE * (drive.rate or 0.0)
        self.asked.append(level)
        if self.level - level > self.stride or level < self.lowest_ever:
            raise SolverFailed("dig 1", "it swings", None)
        self.level = level
        return [PointState(level, (REST - level) / INFLUENCE)]


def test_lowest_levels_are_held_at_one_stroke_where_that_goes():
    ground = Brittle(20.0)
    begun = begin([well(2.0)], ground, [lowest_drive(well(2.0))])
    assert not begun.gently
    assert ground.asked == [2.0]


def test_by_thirds_to_where_the_limit_is_met():
    ground = Brittle(4.0)
    begun = begin([well(1.0)], ground, [lowest_drive(well(1.0))])
    assert begun.gently
    assert ground.asked[:3] == pytest.approx([1.0, 7.0, 4.0])
    # On a straight line the limit is met at once: (10 − h)/2000 = 8.378e-4·h, h = 3.737 m.
    (state,) = begun.states
    assert state.level == pytest.approx(10.0 / (1.0 + INFLUENCE * 8.3776e-4), rel=1e-3)
    assert state.flow == pytest.approx(most_flow(well(1.0), state.level)[0], rel=1e-3)


def test_the_limits_are_settled_though_the_lowest_level_has_no_answer():
    ground = Brittle(4.0, lowest_ever=3.0)
    found = settle([well(1.0)], ground)
    assert found.settled
    assert found.drives[0].governing == "screen"
    assert found.states[0].level == pytest.approx(10.0 / (1.0 + INFLUENCE * 8.3776e-4), rel=2e-3)


def test_from_flows_that_grow_where_not_even_a_third_can_be_held():
    class OnlyFlows(Brittle):
        def respond(self, drives):
            if drives[0].held is not None:
                raise SolverFailed("dig 1", "it swings", None)
            return super().respond(drives)

    found = settle([well(1.0)], OnlyFlows(20.0))
    assert found.settled
    assert found.states[0].flow == pytest.approx(
        most_flow(well(1.0), found.states[0].level)[0], rel=2e-3
    )


def test_where_nothing_goes_the_failure_is_told():
    with pytest.raises(SolverFailed):
        settle([well(1.0)], Brittle(0.1))
