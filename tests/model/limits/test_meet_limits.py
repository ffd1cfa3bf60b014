"""Limits of many points are met in few solves; expected values are hand calculations."""

import numpy as np
import pytest
from test_limits import Aquifer, H, influence, random_wells, well

from wellring.model.drainage.points import PointDrive, PointState
from wellring.model.limits.flow_limits import flow_range, most_flow
from wellring.model.limits.linear_response import LinearResponse
from wellring.model.limits.meet_limits import meet_limits


class Stage:
    """A linear aquifer that solves as a stage does: flows grow with the level, or are throttled."""

    def __init__(self, matrix):
        self.aquifer = Aquifer(matrix)
        self.solves = 0

    def at_rest(self):
        return [H] * len(self.aquifer.a)

    def estimate(self, drives):
        return None

    def __call__(self, drives):
        self.solves += 1
        a, n = self.aquifer.a, len(self.aquifer.a)
        held = np.array([drive.held is not None for drive in drives])
        level = np.array([drive.held if drive.held is not None else H for drive in drives])
        supply = np.linalg.inv(a)
        for _ in range(200):
            flow, slope = np.zeros(n), np.zeros(n)
            for i, drive in enumerate(drives):
                above = level[i] - drive.still
                if drive.growth is not None:
                    flow[i], slope[i] = drive.growth * max(above, 0.0), drive.growth * (above > 0)
                elif drive.rate is not None:
                    part = (
                        1.0 if drive.throttled is None else np.clip(above / drive.throttled, 0, 1)
                    )
                    flow[i] = drive.rate * part * part * (3 - 2 * part)
                    if drive.throttled is not None:
                        slope[i] = drive.rate * 6 * part * (1 - part) / drive.throttled
            missed = (supply @ (H - level) - flow)[~held]
            if np.abs(missed).max(initial=0.0) < 1e-14:
                break
            step = np.linalg.solve((supply + np.diag(slope))[np.ix_(~held, ~held)], missed)
            level[~held] += np.clip(step, -1.0, 1.0)
        flow = supply @ (H - level)
        return [PointState(float(h), float(q)) for h, q in zip(level, flow, strict=True)]


@pytest.mark.parametrize("seed", range(30))
def test_all_limits_hold_on_any_linear_aquifer(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 15))
    points, stage = random_wells(rng, n), Stage(influence(seed, n))
    found = meet_limits(points, stage)
    assert found.settled
    assert stage.solves == found.rounds <= 20
    for point, drive, state in zip(points, found.drives, found.states, strict=True):
        if drive.shut:
            assert state.level <= point.lowest + 0.0101
            continue
        least, most = flow_range(point, state.level)
        assert state.level >= point.lowest - 1.001e-3
        assert state.flow <= most
        if drive.held is None:
            assert state.flow >= least
            assert drive.governing == most_flow(point, state.level)[1]


def test_the_response_is_exact_at_the_last_solve():
    stage = Stage([[200.0, 150.0], [150.0, 200.0]])
    response = LinearResponse([well(lowest=4.0), well(lowest=4.0)], stage.at_rest())
    drives = [PointDrive(4.0, None, "level"), PointDrive(6.0, None, "level")]
    response.learn(stage(drives))
    for one, other in zip(response(drives), stage(drives), strict=True):
        assert one.level == pytest.approx(other.level)
        assert one.flow == pytest.approx(other.flow)
