"""Limits of wells on a linear aquifer whose answer is known: levels are H − A·q.

A is a matrix of influence (drawdown per flow), the inverse of an M-matrix as in any real aquifer.
"""

import itertools

import numpy as np
import pytest
from closed_form import ClosedForm

from wellring.model.drainage.points import GridPoint, PointDrive, PointState
from wellring.model.limits.first_drives import first_drive
from wellring.model.limits.flow_limits import most_flow
from wellring.model.limits.limits import settle

H = 10.0


def well(lowest=0.0, pump=None, wanted=None, screen=(-20.0, 20.0), radius=0.2, k=1.0, cells=1):
    """A well whose screen takes in 2π·r·√k/15 per metre wetted."""
    bottom, top = screen
    edges = np.linspace(top, bottom, cells + 1)
    return GridPoint(
        name="W", x=0.0, y=0.0, method="deep wells", radius=radius, screen=screen,
        node=np.arange(cells), conductance=np.ones(cells), lowest=lowest, wanted=wanted,
        pump_capacity=pump, screen_k=np.full(cells, k), screen_bottom=edges[1:],
        screen_top=edges[:-1],
    )  # fmt: skip


class Aquifer(ClosedForm):
    """Solves H − A·q for drives that hold levels or give rates; counts its solves."""

    def __init__(self, influence):
        self.a = np.atleast_2d(np.asarray(influence, float))
        super().__init__(self.respond, [H] * len(self.a))
        self.solves = 0
        self.flow = np.zeros(len(self.a))

    def respond(self, drives):
        self.solves += 1
        held = np.array([drive.held is not None for drive in drives])
        q = np.array([drive.rate or 0.0 for drive in drives])
        if held.any():
            levels = np.array([drive.held for drive in drives if drive.held is not None])
            rest = H - self.a[np.ix_(held, ~held)] @ q[~held]
            q[held] = np.linalg.solve(self.a[np.ix_(held, held)], rest - levels)
        self.flow = q
        level = H - self.a @ q
        return [PointState(float(h), float(f)) for h, f in zip(level, q, strict=True)]


def influence(seed, n):
    """Drawdowns of n wells on each other: ln(R/r) of random places."""
    rng = np.random.default_rng(seed)
    xy = rng.uniform(-40, 40, (n, 2))
    apart = np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1))
    np.fill_diagonal(apart, 0.2)
    return 50.0 * np.log(1000.0 / np.maximum(apart, 0.2))


def test_the_level_governs_where_nothing_else_limits():
    found = settle([well(lowest=4.0)], Aquifer(200.0))
    assert found.settled
    assert found.drives[0].governing == "level"
    assert found.states[0].flow == pytest.approx(6.0 / 200)
    assert found.states[0].level == pytest.approx(4.0)


def test_the_pump_governs_a_strong_well():
    found = settle([well(lowest=4.0, pump=0.01)], Aquifer(200.0))
    assert found.drives[0].governing == "pump"
    assert found.states[0].flow == pytest.approx(0.01)
    assert found.states[0].level == pytest.approx(8.0)


def test_the_rate_asked_for_governs_below_the_pumps_capacity():
    found = settle([well(lowest=4.0, pump=0.01, wanted=0.005)], Aquifer(200.0))
    assert found.drives[0].governing == "rate"
    assert found.states[0].level == pytest.approx(9.0)


def test_a_rate_too_high_for_the_level_is_cut_by_the_level():
    found = settle([well(lowest=4.0, pump=1.0, wanted=0.5)], Aquifer(200.0))
    assert found.drives[0].governing == "level"
    assert found.states[0].flow == pytest.approx(0.03)


@pytest.mark.parametrize("a", [20.0, 200.0, 2000.0])
def test_the_screen_governs_where_flow_meets_wetted_length(a):
    # q = c·(level − bottom) and level = H − A·q: q = c·(H − bottom)/(1 + c·A).
    c = 2 * np.pi * 0.2 * np.sqrt(1e-4) / 15
    aquifer = Aquifer(a)
    found = settle([well(lowest=-4.9, screen=(-5.0, 20.0), k=1e-4)], aquifer)
    assert found.drives[0].governing == "screen"
    assert found.states[0].flow == pytest.approx(c * 15.0 / (1 + c * a), rel=1e-3)
    assert aquifer.solves < 10


def test_a_well_that_would_feed_the_ground_is_shut():
    # The first draws the water at the second down to 10 − 150·0.04 = 4, below its 5.
    found = settle([well(lowest=2.0), well(lowest=5.0)], Aquifer([[200, 150], [150, 200]]))
    assert found.drives[1].governing == "no inflow"
    assert found.drives[1].shut
    assert found.states[1].flow == 0.0
    assert found.states[0].flow == pytest.approx(8.0 / 200)


def test_a_shut_well_opens_again_when_the_others_turn_out_weak():
    # Drawn to −20 the first would dry the second; its pump gives a tenth of that.
    aquifer = Aquifer([[200, 150], [150, 200]])
    found = settle([well(lowest=-19.0, pump=0.01), well(lowest=6.0)], aquifer)
    assert found.settled
    assert found.drives[0].governing == "pump"
    assert found.drives[1].governing == "level"
    assert found.states[1].level == pytest.approx(6.0)
    assert found.states[1].flow == pytest.approx((4.0 - 1.5) / 200)


def test_a_screen_without_cells_is_dry():
    point = well(cells=0)
    assert first_drive(point) == PointDrive(None, None, "dry")
    found = settle([point, well(lowest=4.0)], Aquifer([[200, 0], [0, 200]]))
    assert found.drives[0].governing == "dry"
    assert found.states[1].flow == pytest.approx(0.03)


def test_no_points_are_settled_at_once():
    aquifer = Aquifer(np.zeros((0, 0)))
    found = settle([], aquifer)
    assert found.settled
    assert aquifer.solves == 1


def random_wells(rng, n):
    return [
        well(
            lowest=float(rng.uniform(-8, 9)),
            pump=float(rng.uniform(1e-3, 0.03)) if rng.random() < 0.6 else None,
            wanted=float(rng.uniform(1e-3, 0.03)) if rng.random() < 0.3 else None,
            screen=(-9.0, float(rng.uniform(-6, 12))),
            k=float(10 ** rng.uniform(-5, -2)),
            cells=5,
        )
        for _ in range(n)
    ]


@pytest.mark.parametrize("seed", range(60))
def test_every_limit_holds_and_one_governs_each_well(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 15))
    points, aquifer = random_wells(rng, n), Aquifer(influence(seed, n))
    found = settle(points, aquifer)
    assert found.settled
    for point, drive, state in zip(points, found.drives, found.states, strict=True):
        assert state.flow >= -1e-9
        if drive.shut:
            assert drive.governing == "no inflow"
            assert state.level <= point.lowest + 0.0101  # it could give nothing if opened
            continue
        limit, name = most_flow(point, state.level)
        assert state.level >= point.lowest - 1.001e-3
        assert state.flow <= limit * 1.0011 + 1e-9
        if drive.governing == "level":
            assert state.level == pytest.approx(point.lowest)
        else:
            assert drive.governing == name
            assert state.flow == pytest.approx(limit, rel=1.1e-3, abs=1e-8)


@pytest.mark.parametrize("seed", range(5))
def test_stronger_pumps_never_give_less_in_all(seed):
    totals = []
    for pump in (1e-3, 3e-3, 1e-2, 1.0):
        aquifer = Aquifer(influence(seed, 6))
        found = settle([well(lowest=2.0, pump=pump) for _ in range(6)], aquifer)
        totals.append(sum(state.flow for state in found.states))
    assert all(b >= a * (1 - 1e-3) for a, b in itertools.pairwise(totals))
    assert totals[0] == pytest.approx(6e-3)


def test_a_solve_that_never_agrees_with_itself_is_not_called_settled():
    calls = []

    def restless(drives):
        calls.append(1)
        if drives[0].held is not None:
            return [PointState(0.0, 0.5)]  # held: far more than the pump gives
        return [PointState(-5.0, drives[0].rate)]  # at the pump's rate: drawn too low

    assert not settle([well(lowest=0.0, pump=0.1)], ClosedForm(restless, [H])).settled
    assert len(calls) <= 82  # both searches end


def test_screen_capacity_by_hand():
    # Sichardt: 2π·0.2·√1e-4/15 = 8.378e-4 m³/s per metre; 3 m wetted in the lower cell of two.
    point = well(screen=(0.0, 8.0), k=1e-4, cells=2)
    assert point.screen_capacity(3.0) == pytest.approx(3 * 8.3776e-4, rel=1e-4)
    assert point.screen_capacity(100.0) == pytest.approx(8 * 8.3776e-4, rel=1e-4)
    assert point.screen_capacity(-1.0) == 0.0
