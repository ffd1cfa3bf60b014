"""What solves show of each stage: least flows that hold, where to plan about, what was missed."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from wellring.model.studies.sizing.known_stages import INSIDE, MOST_EXTRA, KnownStages
from wellring.model.studies.sizing.programme import Planned, Programme, StageProgramme, plan
from wellring.model.studies.sizing.responses import Responses, SolvedPoint
from wellring.model.studies.sizing.rows import Limit

LIMITS = [Limit("one: water", "dry", 0), Limit("two: water", "dry", 1),
          Limit("two: a house", "neighbour", 1)]  # fmt: skip


@pytest.fixture
def rows() -> Any:
    """Two stages of two wells: a row a limit, and the wells' levels, which belong to none."""
    stages = [
        SimpleNamespace(limit=np.array([0, -1, -1])),
        SimpleNamespace(limit=np.array([1, 2, -1, -1])),
    ]
    return SimpleNamespace(
        stages=stages, limits=LIMITS, limit_rows=lambda stage: stages[stage].limit >= 0
    )


SEEN = Responses(
    [
        np.array([[-2.0, -1.0], [0.0, 0.0], [0.0, 0.0]]),
        np.array([[-2.0, -1.0], [0.5, 0.5], [0.0, 0.0], [0.0, 0.0]]),
    ]
)


def point(flows: Any, first: float, second: float, house: float = -1.0) -> SolvedPoint:
    return SolvedPoint(
        np.array(flows, dtype=float),
        [np.array([first, np.nan, -1.0]), np.array([second, house, -1.0, -1.0])],
    )


def test_each_stage_keeps_its_own_least_flows(rows: Any) -> None:
    known = KnownStages(rows, point([[3, 3], [4, 4]], -1, -1))
    known.note(point([[3, 3], [4, 4]], -1, -1), [0.0, 0.0])
    known.note(point([[1, 1], [3, 3]], 0.2, -0.5), [None, 0.0])
    known.note(point([[2, 2], [5, 5]], -0.1, -2.0), [0.0, 0.0])
    assert known.all_hold is not None
    assert known.all_hold.tolist() == [[2, 2], [3, 3]]


def test_no_flows_hold_in_all_stages_before_each_has_some(rows: Any) -> None:
    known = KnownStages(rows, point([[3, 3], [4, 4]], 1, -1))
    known.note(known.at, [None, 0.0])
    assert known.all_hold is None
    assert known.between() is None


def test_flows_that_pass_a_neighbours_limit_least_are_kept_beside_those_that_hold(
    rows: Any,
) -> None:
    known = KnownStages(rows, point([[3, 3], [4, 4]], 1, -1))
    known.note(point([[3, 3], [4, 4]], -1, -1, 0.5), [0.0, 0.5])
    known.note(point([[3, 2], [5, 4]], -1, -1, 0.4), [0.0, 0.4])  # more flow, less harm
    known.note(point([[3, 3], [3, 3]], -1, -1, 0.4), [None, 0.6])
    assert known.all_hold is None
    assert known.all_dry is not None
    assert known.all_dry.tolist() == [[3, 2], [5, 4]]
    planned = Planned(np.array([[3.0, 2.0], [9.0, 9.0]]), 0.0)
    assert known.merged(planned, 5e-3).tolist() == [[3, 2], [9, 9]]  # no good answer to keep to
    known.note(point([[3, 3], [9, 8]], -1, -1), [None, 0.0])
    assert known.all_hold is not None
    assert known.all_hold.tolist() == [[3, 2], [9, 8]]


def test_saved_flow_is_weighed_against_the_flow_that_mends(rows: Any) -> None:
    """1 m3/s lowers the row by 2 at most: 0.1 of it is 0.05 m3/s, and counts 4 times."""
    known = KnownStages(rows, point([[3, 3], [4, 4]], 0, 0))
    known.move(point([[2.5, 3.3], [4, 4]], 0.1, 0.0), SEEN, always=False)  # 0.2 saved for 0.2
    assert known.at.flows[0].tolist() == [2.5, 3.3]
    known.move(point([[2.5, 3.25], [4, 3.9]], 0.2, 0.1), SEEN, always=False)  # 0.05, 0.1 for 0.2
    assert known.at.flows.tolist() == [[2.5, 3.3], [4, 4]]
    known.move(point([[2.5, 3.25], [4, 3.9]], 0.2, 0.1), SEEN, always=True)
    assert known.at.flows.tolist() == [[2.5, 3.25], [4, 3.9]]


def test_what_was_missed_is_kept_tighter_and_let_go_again(rows: Any) -> None:
    known = KnownStages(rows, point([[3, 3], [4, 4]], 0, 0))
    hoped = Planned(np.zeros((2, 2)), 0.0, {1: 0.03})
    known.tighten(hoped, {0: 0.04, 1: 0.03, 2: 0.5})
    assert known.extra == {
        0: pytest.approx(0.02)
    }  # 1 was told to be passed, 2 is no limit of the dig
    known.tighten(hoped, {})
    assert known.extra == {0: pytest.approx(0.01)}
    for _ in range(5):
        known.tighten(hoped, {})
    assert not known.missed
    known.tighten(hoped, {0: 5.0})
    assert known.extra == {0: MOST_EXTRA}


def test_a_plan_that_saves_nothing_leaves_what_holds(rows: Any) -> None:
    known = KnownStages(rows, point([[3, 3], [4, 4]], -1, -1))
    known.note(known.at, [0.0, 0.0])
    planned = Planned(np.array([[3.1, 2.88], [3.0, 4.0]]), 0.0)
    assert known.merged(planned, 5e-3).tolist() == [[3, 3], [3, 4]]


def test_between_what_holds_and_what_misses(rows: Any) -> None:
    """Held at −0.3, missed by 0.1: three quarters of the way is just dry, and a tenth is left."""
    known = KnownStages(rows, point([[2, 2], [3, 3]], 0.1, -0.1))
    known.note(point([[4, 4], [5, 5]], -0.3, -0.6), [0.0, 0.0])
    flows = known.between()
    assert flows is not None
    assert flows[0] == pytest.approx([4 - 2 * 0.75 * INSIDE] * 2)
    assert flows[1] == pytest.approx([3, 3])  # nothing is missed there


def test_a_programme_that_holds_still_moves_no_flow_for_little() -> None:
    """The second well does the same for 1 % less: it takes all, but not where moving costs 2 %."""
    stage = StageProgramme(
        wells=[0, 1],
        at=np.array([0.01, 0.0]),
        rows=np.array([0.1]),
        jacobian=np.array([[-100.0, -101.0]]),
        limit=np.array([0]),
        most=np.array([0.05, 0.05]),
    )

    def flows(still: float) -> Planned:
        return plan(Programme([stage], LIMITS[:1], [0, 0], still=still))

    free, kept = flows(0.0), flows(0.02)
    assert free.flows[0] == pytest.approx([0.0, 1.1 / 101.0], abs=1e-7)
    assert kept.flows[0] == pytest.approx([0.01, 0.1 / 101.0], abs=1e-7)  # what is missing
    assert kept.objective == pytest.approx((0.01 + 0.1 / 101.0) * 3600)  # without the moving
